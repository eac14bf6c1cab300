"""What stands in a room, and how soon its probes are to be heard."""

from __future__ import annotations

from dataclasses import replace

import pytest

from monitor.domain.needs.hearing import EVERYTHING, Hearing
from monitor.domain.needs.site import Machine, Probe, Switch, grouped
from tests.domain.house import site


@pytest.mark.parametrize(
    ("interval_s", "silence_s", "fresh_s", "hot_within_s", "slow"),
    [(5.0, 30.0, 60.0, 10.0, False), (10.0, 30.0, 60.0, 20.0, False), (60.0, 180.0, 180.0, 120.0, False), (61.0, 183.0, 183.0, 122.0, True)],
)  # fmt: skip
def test_how_soon_a_probe_is_to_be_heard(
    interval_s: float, silence_s: float, fresh_s: float, hot_within_s: float, slow: bool
) -> None:
    """Three readings may be missed, and never less than half a minute; a reading is judged for as long, and for a minute at least; heat is told with the
    second reading, which is later than two minutes of one that speaks more seldom than each minute."""
    probe = Probe("node-a/top", "setter-1", interval_s)
    assert (probe.node, probe.silence_s, probe.fresh_s) == ("node-a", silence_s, fresh_s)
    assert (probe.hot_within_s, probe.slow) == (hot_within_s, slow)


@pytest.mark.parametrize(("interval_s", "silence_s"), [(10.0, 60.0), (20.0, 60.0), (30.0, 90.0)])
def test_how_soon_a_switch_is_to_be_heard(interval_s: float, silence_s: float) -> None:
    """Three messages may be missed, and never less than a minute."""
    switch = Switch("node-a/door", "door", "setter-1", interval_s=interval_s)
    assert (switch.node, switch.silence_s) == ("node-a", silence_s)


@pytest.mark.parametrize(("kind", "true_is_wrong"), [("mains", False), ("door", True), ("water", True)])
def test_what_of_a_switch_is_wrong(kind: str, true_is_wrong: bool) -> None:
    """That there are no mains, that the door is open, that the water is low; of one that is wired the other way round, the other value."""
    for true_means in (True, False):
        switch = Switch("node-a/x", kind, true_means=true_means)
        assert [switch.wrong(value) for value in (True, False)] == [
            true_is_wrong is true_means,
            true_is_wrong is not true_means,
        ]


def test_what_a_site_has_of_each_machine_and_contact() -> None:
    """The doors of a machine, and no other switch; a contact hears everything unless it says otherwise; eggs go into setters and hatchers."""
    doors = tuple(Switch(f"node-a/{name}", "door", "setter-1") for name in ("front", "back"))
    others = (Switch("node-a/tank", "water", "setter-1"), Switch("node-b/door", "door", "hatcher-1"))
    house = site(switches=(*doors, *others))
    assert dict(house.doors) == {"setter-1": doors, "hatcher-1": others[1:]}
    kim = Hearing("high")
    some = replace(house, hearing={"kim": kim})
    assert (some.hearing_of("kim"), some.hearing_of("sam")) == (kim, EVERYTHING)
    kinds = ("setter", "hatcher", "brooder", "room")
    assert [Machine("m", "M", kind).holds_eggs for kind in kinds] == [True, True, False, False]


def test_probes_by_machine_and_by_node() -> None:
    """Each with all of them, in the order in which they are given."""
    probes = {key: Probe(key, machine) for key, machine in (("a/top", "m"), ("b/top", "n"), ("a/low", "n"))}
    assert {name: [p.key for p in each] for name, each in grouped(probes, "machine").items()} == {
        "m": ["a/top"],
        "n": ["b/top", "a/low"],
    }
    assert {name: [p.key for p in each] for name, each in grouped(probes, "node").items()} == {
        "a": ["a/top", "a/low"],
        "b": ["b/top"],
    }
