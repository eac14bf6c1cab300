"""Every moment that a command prints: for programs in one form, for people on the wall's clock of the site."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from monitor.adapters.clock import utc_now
from monitor.adapters.store.connection import open_writer
from monitor.adapters.store.ledger import SqliteLedger
from monitor.domain.alarms.alarm import Alarm, Transition
from monitor.domain.readings.reading import Refused
from monitor.domain.state.record import Event, Group, RefusedRow, Unknown
from tests.archived import CONFIG, fill, open_batch
from tests.cli.commands import COMMANDS, Capture, ok, told
from tests.running import ROOT

FORM = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z")
MOMENT = re.compile(r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d")
STREAM = ROOT / "demo_streams" / "power-cut"
NEEDS_A_DAEMON = ("room", "health")
PLAYED = ("replay",)
ELSEWHERE = ("replace",)  # in house/test_replace.py, for it needs a configuration that it can change
SAY_NO_MOMENT = {
    "check",
    "contact list",
    "contact test",
    "air",
    "profiles",
    "backup",
    "egg finding",
    "egg save",
    "draft",
    "completion",
}


@pytest.fixture
def written(tmp_path: Path) -> Path:
    """A record with a batch, its book, an alarm, and one of each thing that a list shows; its moments have odd fractions."""
    config = tmp_path / "eggroom.toml"
    config.write_text(CONFIG.replace('zone = "UTC"', 'zone = "Europe/Berlin"'), encoding="utf-8")
    (tmp_path / "record").mkdir()
    opened = open_writer(tmp_path / "record" / "eggroom.db")
    ledger = SqliteLedger(opened.connection)
    fill(ledger, open_batch())
    at = utc_now().replace(microsecond=123_456) - timedelta(minutes=5)
    alarm = Alarm("batch hen-1", "weight-off-track", number=1, condition=True, acknowledged=False, since=at)
    ledger.commit(
        Group(
            transitions=[Transition(alarm, "normal", "unacknowledged", "beyond its limit", at, 0.0)],
            events=[Event(at, "node", "node-a", "online")],
            refused=[RefusedRow(at, Refused("eggroom/home/x/air", b"{", "not JSON"))],
            unknown={"node-x/top": Unknown("node-x/top", at, at, 3, None, None)},
        )
    )
    opened.close()
    return config


def commands(file: Path) -> dict[str, list[str]]:
    """A good line of each command that answers on a record alone, in an order in which each can be done."""
    egg, day, laid = ["egg"], *(f"{utc_now() - timedelta(days=days):%Y-%m-%d}" for days in (3, 5))
    return {
        "alarms": ["alarms", "--all"], "ack": ["ack", "1", "--by", "sam"], "shelve": ["shelve", "1", "--for", "10m"],
        "unshelve": ["unshelve", "1"], "out-of-service": ["out-of-service", "1", "--by", "sam", "--back"],
        "handling": ["handling", "setter-1", "--for", "10m"],
        "calibrate": ["calibrate", "node-a/top", "--offset", "0.1K", "--due", "12mo"],
        "refused": ["refused"], "events": ["events"], "rules": ["rules"],
        "history": ["history", "hen-1"], "review": ["review", "hen-1"], "archive": ["archive", "hen-1", str(file)],
        "batch add": ["batch", "add", "b", "--species", "chicken", "--machine", "setter-1", "--set", day, "--eggs", "9"],
        "batch list": ["batch", "list", "--all"], "batch show": ["batch", "show", "hen-1"],
        "batch stage": ["batch", "stage", "b", "lockdown", "--sure"], "batch move": ["batch", "move", "b", "hatcher-1"],
        "egg weigh": [*egg, "weigh", "b", "7", "55.5", "--sure"], "egg candle": [*egg, "candle", "b", "7", "alive"],
        "egg size": [*egg, "size", "b", "7", "55", "42"], "egg laid": [*egg, "laid", "b", "7", "--on", laid],
        "egg note": [*egg, "note", "b", "7", "a thin shell"], "egg look-again": [*egg, "look-again", "b", "7", "--in", "3h"],
        "egg event": [*egg, "event", "b", "7", "internal-pip", "--sure"], "egg correct": [*egg, "correct", "b", "1", "gross_g=55.4"],
        "egg withdraw": [*egg, "withdraw", "b", "2"], "egg sheet": [*egg, "sheet", "b", "7"], "egg outcome": [*egg, "outcome", "b", "7", "hatched", "--sure"],
        "egg identity": [*egg, "identity", "b", "7", "--pair", "P1", "--sure"], "egg air-cell": [*egg, "air-cell", "b", "7", "9", "--sure"],
        "egg turned": [*egg, "turned", "b", "5", "--sure"], "egg chick": [*egg, "chick", "b", "7", "38.2"],
        "egg file": [*egg, "file", "b", "7", str(file)],
        "egg show": [*egg, "show", "b", "7"], "egg undo": [*egg, "undo", "b"],
        "batch not-yet": ["batch", "not-yet", "grey", "--for", "12h"],
        "batch split": ["batch", "split", "b", "4-5", "--to", "setter-1"],
        "batch remove": ["batch", "remove", "slip", "--sure"], "now": ["now"],
        "cooling": ["cooling", "setter-1", "--at", "14:00", "--for", "20m", "--by", "sam"],
        "batch close": ["batch", "close", "b", "--sure"], "outcomes": ["outcomes"], "batch reopen": ["batch", "reopen", "b"],
    }  # fmt: skip


def moments(data: object) -> Iterator[str]:
    """Every text among plain values that begins as a moment does."""
    if isinstance(data, dict):
        data = list(data.values())
    if isinstance(data, list):
        for each in data:
            yield from moments(each)
    elif isinstance(data, str) and MOMENT.match(data):
        yield data


def test_every_command_is_looked_at(tmp_path: Path) -> None:
    """A new command is either in the list below, or known to say no moment."""
    takes_json = {name for name, parser in COMMANDS.items() if "--json" in parser._option_string_actions}
    assert {*commands(tmp_path), *NEEDS_A_DAEMON, *PLAYED, *ELSEWHERE} | SAY_NO_MOMENT == takes_json


def test_programs_are_given_one_form(capsys: Capture, written: Path, tmp_path: Path) -> None:
    """Each moment in --json is RFC 3339, in UTC, to the millisecond."""
    for name, species in (("slip", "chicken"), ("grey", "african-grey")):
        ok(capsys, "batch", "add", name, "--species", species, config=written)
    for name, line in commands(tmp_path / "b.zip").items():
        found = list(moments(told(capsys, *line, config=written)))
        assert found, name
        assert [each for each in found if not FORM.fullmatch(each)] == [], name
    listed = list(moments(told(capsys, "calibrate", "--list", config=written)))
    assert len(listed) >= 2
    assert all(map(FORM.fullmatch, listed))


def test_so_are_those_that_ask_the_daemon(capsys: Capture, running: Path) -> None:
    """What the running daemon says of its machines and of itself."""
    from tests.running import typed

    for name in NEEDS_A_DAEMON:
        _, out, _ = typed(capsys, name, "--json", config=running)
        found = list(moments(json.loads(out)))
        assert found, name
        assert all(map(FORM.fullmatch, found)), name


def test_and_those_that_play(capsys: Capture, tmp_path: Path) -> None:
    """A recording, alone and under other rules."""
    rules = tmp_path / "rules.toml"
    rules.write_text("[rules.all-silent]\non_delay_s = 86400\n")
    for more in ((), ("--rules", str(rules))):
        found = list(moments(told(capsys, "replay", f"{STREAM}.jsonl", *more, config=Path(f"{STREAM}.toml"))))
        assert found
        assert all(map(FORM.fullmatch, found))


def test_a_shelf_ends_on_the_wall(capsys: Capture, written: Path) -> None:
    """`shelve` says until when on the clock of the house."""
    before = datetime.now(UTC)
    said = ok(capsys, "shelve", "1", "--for", "10m", config=written)
    berlin = ZoneInfo("Europe/Berlin")
    ends = [(before + timedelta(minutes=10, seconds=s)).astimezone(berlin) for s in (0, 20)]
    assert said in {f"No. 1: quiet until {end:%d %b %H:%M}\n" for end in ends}
