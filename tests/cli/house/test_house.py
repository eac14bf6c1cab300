"""`eggroom check` and `eggroom contact ...`."""

from __future__ import annotations

from pathlib import Path

from tests.cli.commands import Capture, ok, told
from tests.receivers import HttpReceiver
from tests.running import configure, sample_configuration


def test_check(capsys: Capture, config: Path) -> None:
    """`check` counts what it found good, and says when nobody is told."""
    assert "nobody is told: no [[contact]] yet" in ok(capsys, "check", config=config)
    found = told(capsys, "check", config=config)
    assert {key: found[key] for key in ("ok", "machines", "probes", "contacts")} == {
        "ok": True,
        "machines": 2,
        "probes": 2,
        "contacts": 0,
    }


def test_the_sample_configuration_is_good(capsys: Capture, tmp_path: Path) -> None:
    """The sample in deploy/ passes `check`, once the broker's password is where it says."""
    assert "good: 4 machines, 4 probes" in ok(capsys, "check", config=sample_configuration(tmp_path))


def test_contacts_are_masked(capsys: Capture, tmp_path: Path) -> None:
    """`contact list` shows who is told and by which kind of service, not the address."""
    config = configure(tmp_path, 1, contact="ntfys://s3cret-topic")
    assert ok(capsys, "contact", "list", config=config).split() == ["sam", "Sam", "ntfys://…"]
    assert told(capsys, "contact", "list", config=config) == [{"id": "sam", "name": "Sam", "service": "ntfys"}]


def test_contact_test_reaches_the_phone(capsys: Capture, tmp_path: Path) -> None:
    """`contact test` sends one message at once, with or without a daemon, and says that accepted is not heard."""
    with HttpReceiver() as phone:
        config = configure(tmp_path, 1, contact=phone.url())
        assert "Accepted is not heard" in ok(capsys, "contact", "test", "sam", config=config)
        assert told(capsys, "contact", "test", "sam", config=config) == {"contact": "sam", "accepted": True}
        assert [message["title"] for message in phone.got] == ["eggroom: test"] * 2
