"""Lists for the terminal: in the zone and the unit of the site."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from monitor.adapters.tables.profiles import load_profiles
from monitor.domain.needs.batch import Batch, Stay
from monitor.domain.needs.site import Site
from monitor.domain.readings.reading import Refused
from monitor.domain.signs.seen import Opened
from monitor.domain.state.record import Event
from monitor.service.ports import RefusedRow, TransitionRow
from monitor.settings import build_house, parse_settings
from monitor.shown.now.health import Check, health_text
from monitor.shown.terminal import (
    batch_text,
    event_table,
    refused_text,
    transition_table,
)

AT = datetime(2026, 3, 1, 18, 0, tzinfo=UTC)


def site(unit: str) -> Site:
    data = {
        "site": {"id": "home", "unit": unit, "zone": "Asia/Kathmandu"},
        "machine": [{"id": "setter-1", "name": "Setter 1"}],
        "probe": [{"node": "node-a", "probe": "top", "machine": "setter-1", "interval_s": 60}],
    }
    return build_house(parse_settings(data, "test"), load_profiles(None), Path("test.toml")).site


def test_an_opening_is_told_in_the_sites_unit_and_time() -> None:
    """What the record keeps in °C is shown in °F where the site is; what else happened stays as it was written."""
    events = [
        Event(AT, "opening", "setter-1", "opened for about 2 min, lowest 34.0 °C", Opened(2.0, 34.0)),
        Event(AT, "batch", "site", "hen-1: 24 C eggs"),
    ]
    assert (
        event_table(events, site("C"))
        .splitlines()[0]
        .endswith("opening Setter 1: opened for about 2 min, lowest 34.0 °C")
    )
    first, other = event_table(events, site("F")).splitlines()
    assert first.endswith("opening Setter 1: opened for about 2 min, lowest 93.2 °F")
    assert first.startswith("01 Mar 2026 23:45:00")
    assert other.endswith("batch: hen-1: 24 C eggs")


NEXT_YEAR = datetime(2027, 2, 1, tzinfo=UTC)
ODD = "a\x1b[2Jb\r\nc\u202ed"


def test_a_batch_has_its_years_and_fits() -> None:
    """In its own year a batch is shown without it; looked at in the next, and over New Year, each time has its year; no line over 80."""
    stays = (Stay("setter-1", AT, AT + timedelta(days=18)), Stay("hatcher-in-the-barn-number-two-a", AT, NEXT_YEAR))
    batch = Batch("hen-1", "chicken", AT, 24, stays=stays, note=f"{ODD} {'a long note ' * 20}")
    this, later = (batch_text(batch, site("C"), now) for now in (AT + timedelta(days=20), NEXT_YEAR))
    assert "set 01 Mar 23:45, day 20.0" in this
    assert "2026" not in this
    assert "set 01 Mar 2026 23:45, day 336.2" in later
    assert "  lockdown 19 Mar 2026 23:45, hatch 2" in later
    assert "  in setter-1 from 01 Mar 2026 23:45 to 19 Mar 2026 23:45" in later
    assert max(map(len, f"{this}\n{later}".splitlines())) <= 80
    assert all(line.isprintable() for line in later.splitlines())
    winter = replace(batch, set_at=datetime(2026, 12, 20, tzinfo=UTC), stays=())
    text = batch_text(winter, site("C"), datetime(2026, 12, 28, tzinfo=UTC))
    assert "set 20 Dec 05:45" in text
    assert "lockdown 07 Jan 2027 05:45" in text


def test_what_was_typed_moves_no_terminal() -> None:
    """A name, the text of an event and of a refused message stay on their line, whatever they hold."""
    states = ("normal", "unacknowledged")
    row = TransitionRow(1, AT, "site", "look-again", 2, 2, *states, ODD, None, None, None, None, ODD)
    refused = RefusedRow(AT, Refused("topic" + ODD, b"\x1b[2J", ODD))
    texts = [
        transition_table([row], site("C")),
        event_table([Event(AT, "note", "site", ODD)], site("C")),
        *refused_text(1, [refused], [], site=site("C")).splitlines()[1:2],
    ]
    assert all(text.isprintable() and "a [2Jb  c d" in text for text in texts)


@pytest.mark.parametrize(
    ("state", "cause", "who", "told"),
    [
        ("unacknowledged", "beyond its limit", "", "new (beyond its limit)"),
        ("acknowledged", "acknowledged", "sam", "seen by sam"),
        ("normal", "acknowledged", "sam", "over, seen by sam"),
        ("shelved", "shelved for 20 min", "sam", "quiet for 20 min by sam"),
        ("shelved", "beyond its limit", "", "quiet (beyond its limit)"),
        ("unacknowledged", "unshelved", "sam", "new (quiet no longer by sam)"),
        ("unacknowledged", "shelf ended", "", "new (its quiet time is over)"),
        ("out of service", "taken out of service", "sam", "out of service by sam"),
        ("unacknowledged", "came back before it was acknowledged", "", "new (came back before it was seen)"),
        ("suppressed by design", "suppressed: no eggs in it", "", "not judged (no eggs in it)"),
        ("unacknowledged", "chattering: 3 times", "", "new (comes and goes: 3 times)"),
    ],
)
def test_a_turn_of_an_alarm_in_people_s_words(state: str, cause: str, who: str, told: str) -> None:
    """The record keeps ISA-18.2's; a list for people says each thing once, in theirs."""
    row = TransitionRow(1, AT, "site", "look-again", 2, 2, "normal", state, cause, None, None, None, None, who)
    assert transition_table([row], site("C")).endswith(f": {told}")


def test_health_fits_the_terminal() -> None:
    """However much was found, no line is wider than 80 columns."""
    assert max(map(len, health_text([Check("broker", True, "word " * 40)]).splitlines())) <= 80


def test_what_comes_when_counts_the_days_in_store() -> None:
    """The hatch of eggs that were long in store is told later, by the hours of those that were there the shortest and the longest."""
    batch = Batch("hen-1", "chicken", AT, 24)
    assert "hatch 21 Mar 23:45 to 23 Mar 23:45" in batch_text(batch, site("C"), AT)
    assert "hatch 22 Mar 01:45 to 24 Mar 09:45" in batch_text(batch, site("C"), AT, store_h=(2.0, 10.0))
