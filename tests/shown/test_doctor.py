"""What `eggroom doctor` says of nodes and probes that a running daemon told it of."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from monitor.shown.doctor import Check, DaemonFound, Found, Program, RecordFound, SecretFound, checks_of

AT = datetime(2026, 3, 1, 12, 0, tzinfo=UTC)
FACTS: dict[str, Any] = {
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


def lines(**more: object) -> dict[str, Check]:
    """What is said of nodes and probes, by what was looked at and found."""
    found = Found(
        program=Program("0", "3", "3"),
        config=Path("eggroom.toml"),
        site="home",
        nodes=("node-a",),
        machines=1,
        probes=("node-a/top",),
        at=AT,
        clock_ok=True,
        daemon=DaemonFound(FACTS | more),
        broker=None,
        record=RecordFound(Path("eggroom.db"), there=False),
        disk=Path("/"),
        free_bytes=10**12,
        contacts=(),
        link=SecretFound("", None),
    )
    return {f"{c.what}: {c.found}": c for c in checks_of(found, UTC) if c.what.startswith(("node ", "probe "))}


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
    assert told.startswith(
        "node node-a: says besides its air: battery 88 %EL (3 times), door True (1 times), version 1"
    )
    assert "\x1b" not in told
    assert well.good
    assert (
        why == "node node-a: 2 messages with the number of another: two nodes of one name, or a boot number used again"
    )
    assert not clash.good


def test_an_older_daemon_tells_less() -> None:
    """What a daemon of before does not say is not asked of it."""
    assert lines() == {}
