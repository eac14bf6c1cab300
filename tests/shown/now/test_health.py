"""What `eggroom health` says of nodes and probes that a running daemon told it of."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from monitor.shown.now.alarms import Told
from monitor.shown.now.health import (
    Check,
    DaemonFound,
    Found,
    Program,
    RecordFound,
    SecretFound,
    checks_of,
    health_text,
)

AT = datetime(2026, 3, 1, 12, 0, tzinfo=UTC)
FACTS: dict[str, Any] = {
    "clock_ok": True,
    "up_s": 3600.0,
    "messages": 10,
    "refused": 0,
    "broker_connected": True,
    "broker": "there",
    "broker_since": None,
    "store_failing_s": None,
    "silent_probes": [],
    "notices_waiting": {},
    "unknown_probes": [],
    "elsewhere": {},
    "contacts": [],
}


def found(record: RecordFound | None = None, **more: Any) -> Found:
    """What a look at a sound house with a running daemon gives; more: its facts besides."""
    return Found(
        program=Program("0", "3", "3"),
        config=Path("eggroom.toml"),
        site="home",
        nodes=("node-a",),
        machines=1,
        probes=["node-a/top"],
        names={"node-a/top": "Setter 1 middle (node-a/top)", "setter-1": "Setter 1"},
        at=AT,
        clock_ok=True,
        daemon=DaemonFound(FACTS | more),
        broker=None,
        record=record or RecordFound(Path("eggroom.db"), there=False),
        disk=Path("/"),
        free_bytes=10**12,
        contacts=(),
        link=SecretFound("", None),
    )


def lines(**more: Any) -> dict[str, Check]:
    """What is said of nodes and probes, by what was looked at and found."""
    return {f"{c.what}: {c.found}": c for c in checks_of(found(**more), UTC) if c.what.startswith(("node ", "probe "))}


@pytest.mark.parametrize(
    ("here", "daemon", "good", "words"),
    [
        (True, True, True, "right"),
        (True, False, False, "not taken as right: the record has something later"),
        (False, False, False, "not set"),
    ],
)
def test_the_clock_is_what_the_daemon_takes_it_for(here: bool, daemon: bool, good: bool, words: str) -> None:
    """A label that looks right may lie before what is in the record: then nothing is dated by it, and that is to be looked at."""
    (said,) = [c for c in checks_of(replace(found(clock_ok=daemon), clock_ok=here), UTC) if c.what == "clock"]
    assert said.good is good
    assert said.found.partition(": ")[2].startswith(words)


def test_what_is_wrong_with_a_probes_messages_is_bad() -> None:
    """A probe whose messages cannot be judged is to be looked at, with the reason."""
    said = lines(unusable_probes={"node-a/top": "its messages come 60 min late"})
    assert [(text, c.good) for text, c in said.items()] == [
        ("probe node-a/top: not usable: its messages come 60 min late", False)
    ]


def test_what_a_node_says_besides_is_good_and_a_clash_is_not() -> None:
    """A battery is told, and is well; a number that stood for two messages is not. What a terminal acts on is not passed on."""
    says = {
        "battery": {"value": 88.0, "unit": "%EL", "count": 3},
        "door": {"value": True, "unit": "", "count": 1},
        "version": {"value": "1\x1b[2J", "unit": "", "count": 2},
    }
    said = lines(nodes={"node-a": {"says": says, "clashes": 2}})
    (told, well), (why, clash) = said.items()
    assert told.startswith("node node-a: says besides its air: battery 88 %EL (3 times), door yes (once), version 1")
    assert "\x1b" not in told
    assert well.good
    assert (
        why == "node node-a: 2 messages with the number of another: two nodes of one name, or a boot number used again"
    )
    assert not clash.good


def test_what_is_out_of_service_is_good_and_said() -> None:
    """It was somebody's word; with its end, or without one, and by whom."""
    out = [
        {
            "subject": "node-a/top",
            "until": "2026-03-01T14:00:00.000Z",
            "by": "sam",
            "judged_by": [],
            "batches": ["hen-1"],
        },
        {"subject": "setter-1", "until": None, "by": "sam", "judged_by": [], "batches": []},
    ]
    said = [c for c in checks_of(found(out_of_service=out), UTC) if c.what == "out of service"]
    assert [(c.found, c.good) for c in said] == [
        ("Setter 1 middle (node-a/top) until 14:00 by sam; nobody watches hen-1", True),
        ("Setter 1 until it is put back, by sam", True),
    ]


def test_an_older_daemon_tells_less() -> None:
    """What a daemon of before does not say is not asked of it."""
    assert lines() == {}


def test_the_count_is_on_top_and_the_worst_first() -> None:
    """Somebody just woken reads the first two lines."""
    text = health_text([
        Check("eggroom", True, "0"), Check("node node-a", False, "clash"), Check("probes", False, "silent: x"), Check("messages", False, "NOT DELIVERED to sam since 18:44"),
    ])  # fmt: skip
    assert text.splitlines() == [
        "3 to look at", "", "BAD messages: NOT DELIVERED to sam since 18:44", "BAD probes: silent: x", "BAD node node-a: clash", "ok  eggroom: 0",
    ]  # fmt: skip
    assert health_text([Check("eggroom", True, "0")]).splitlines()[0] == "all good"


def test_one_urgent_message_that_failed_is_bad() -> None:
    """Not twenty: who does not hear the first, hears none."""
    told = [Told("sam", AT - timedelta(hours=1), AT - timedelta(minutes=5)), Told("kim", AT, None)]
    record = RecordFound(Path("eggroom.db"), there=True, undelivered=told)
    (check,) = [c for c in checks_of(found(record=record), UTC) if c.what == "messages"]
    assert (check.good, check.found) == (False, "NOT DELIVERED to sam since 11:55")
    record = RecordFound(Path("eggroom.db"), there=True, undelivered=told[1:])
    (check,) = [c for c in checks_of(found(record=record), UTC) if c.what == "messages"]
    assert (check.good, check.found) == (True, "none high or critical failed")
