"""An entry as programs read it."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from monitor.domain.eggs.entry import Entry, LookAgain, Weighing
from monitor.domain.eggs.view import entry_view

AT = datetime(2026, 3, 5, 9, 0, tzinfo=UTC)


def test_an_entry_for_programs() -> None:
    """Every key is there, with null for what was not said; moments are RFC 3339, in the fact too; a scale is named only where it was."""
    later = AT + timedelta(hours=1)
    assert entry_view(Entry(AT, later, "Mo", LookAgain(later, "vessels"), egg=7, number=4, replaces=2)) == {
        "number": 4,
        "at": "2026-03-05T09:00:00.000Z",
        "written_at": "2026-03-05T10:00:00.000Z",
        "by": "Mo",
        "egg": 7,
        "count": None,
        "tray": None,
        "kind": "look-again",
        "fact": {"look_at": "2026-03-05T10:00:00.000Z", "text": "vessels"},
        "replaces": 2,
    }
    tray = entry_view(Entry(AT, AT, "Mo", Weighing(900.0, 300.0, scale="fine"), count=10, tray="A", number=1))
    assert (tray["egg"], tray["count"], tray["tray"], tray["replaces"]) == (None, 10, "A", None)
    assert tray["fact"] == {"gross_g": 900.0, "tare_g": 300.0, "error_g": None, "scale": "fine"}
