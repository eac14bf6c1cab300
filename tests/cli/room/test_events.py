"""`eggroom events` and `eggroom refused`, with a running daemon."""

from __future__ import annotations

from pathlib import Path

from tests.cli.commands import Capture, ok, told


def test_events(capsys: Capture, running: Path) -> None:
    """`events` tells what else happened, oldest first, as text and as values; before there is a record it says so."""
    text = ok(capsys, "events", config=running)
    assert "batch hen-1: set: chicken" in text
    assert "connected" in text
    newest = told(capsys, "events", "--limit", "1", config=running)
    assert [event.keys() for event in newest] == [{"at", "kind", "subject", "text"}]


def test_refused(capsys: Capture, running: Path) -> None:
    """`refused` says so when there was nothing that was not understood."""
    assert ok(capsys, "refused", config=running) == "0 messages refused\n"
    assert told(capsys, "refused", config=running) == {"refused_total": 0, "newest": [], "unknown_probes": []}
