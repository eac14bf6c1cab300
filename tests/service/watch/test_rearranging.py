"""What was changed in the house, written down by the run that ends with it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import pytest

from monitor.adapters.requests import read_request
from monitor.domain.needs.site import Probe, Site, grouped
from monitor.domain.needs.then import Sites, site_then
from monitor.domain.readings.reading import Now
from monitor.domain.state.happened import Arranged, Change
from monitor.domain.wall import utc_text
from monitor.service.ports import StoreFailure
from monitor.service.watch.inbox import Opened, Rearranged
from monitor.service.watch.requests import Rearrange
from tests.domain.house import site
from tests.fakes import MemoryStore
from tests.service.watch.test_weights import T0, Room


def with_probes(before: Site, **of: str) -> Site:
    """The site where these nodes' first probes look at these machines."""
    probes = {f"{node.replace('_', '-')}/top": machine for node, machine in of.items()}
    made = {key: Probe(key, machine, 10.0) for key, machine in probes.items()}
    return replace(before, probes=made, **_grouped(made))


def with_machine(before: Site, id_: str, instead_of: str) -> Site:
    """The site where another machine is in the place of one, with its probes."""
    machines = {id_ if key == instead_of else key: m for key, m in before.machines.items()}
    machines[id_] = replace(before.machines[instead_of], id=id_)
    probes = {k: replace(p, machine=id_) if p.machine == instead_of else p for k, p in before.probes.items()}
    return replace(before, machines=machines, probes=probes, **_grouped(probes))


def _grouped(probes: Mapping[str, Probe]) -> dict[str, Any]:
    return {f"by_{key}": grouped(probes, key) for key in ("machine", "node")}


def ask(room: Room, new: Site, **request: Any) -> Mapping[str, Any]:
    asked = read_request({"do": "rearrange"} | request)
    assert isinstance(asked, Rearrange)
    answers: list[Mapping[str, Any]] = []
    room.engine.work(Rearranged(room.now(), new, asked, answers.append))
    return answers[0] if answers else {}


def at(seconds: float) -> datetime:
    return T0 + timedelta(seconds=seconds)


def begun() -> Room:
    """A run an hour old, with hens in setter-1 for three days."""
    room = Room(with_probes(site(), node_a="setter-1", node_b="setter-2"), at_s=3600.0)
    said = room.ask("batch-add", profile="hen", set_at=at(-3 * 86_400).isoformat(), machine="setter-1")
    assert "error" not in said, said
    return room


def test_two_nodes_that_changed_places_an_hour_ago() -> None:
    """What is said now holds from then on: before, each looked at its own machine."""
    room = begun()
    new = with_probes(room.site, node_a="setter-2", node_b="setter-1")
    assert ask(room, new, at=at(600).isoformat()) == {"since": utc_text(at(600)), "moved": []}
    sites = Sites(new, tuple(room.store.sites()))
    assert [sites.at(at(s)).probes["node-a/top"].machine for s in (0, 599, 600, 4000)] == [
        "setter-1",
        "setter-1",
        "setter-2",
        "setter-2",
    ]
    changes = [e.what.changes for e in room.store.events() if isinstance(e.what, Arranged)]
    assert changes == [
        (
            Change("probe", "node-a/top", "setter-1", "setter-2"),
            Change("probe", "node-b/top", "setter-2", "setter-1"),
        )
    ]


def test_the_batches_of_a_machine_go_to_the_one_in_its_place() -> None:
    """Since then; what it lived through before stays the other's."""
    room = begun()
    new = with_machine(room.site, "setter-9", "setter-1")
    answer = ask(room, new, at=at(600).isoformat(), was="setter-1", now="setter-9")
    assert answer["moved"] == ["hen-1"]
    (batch,) = room.store.batches()
    assert [(stay.machine, stay.since) for stay in batch.stays][1:] == [("setter-9", at(600))]
    assert "setter-9" in room.store.sites()[-1].machines
    assert "setter-1" in room.store.sites()[0].machines


def test_nothing_else_is_done_by_a_run_that_ends_with_it() -> None:
    """What comes afterwards is the next run's."""
    room = begun()
    ask(room, with_probes(room.site, node_c="setter-1", node_b="setter-2"))
    assert room.engine._stopped


def test_a_run_too_young_to_have_written_how_it_is_does_so_first() -> None:
    """A configuration that was changed before its start, too: what was found then holds from then, and what is said now from when it is said to be."""
    room = begun()
    other = with_probes(room.site, node_q="setter-1", node_b="setter-2")
    room.engine._state.site_kept = site_then(other, [], None)
    room.at_s += 60.0
    ask(room, with_probes(room.site, node_c="setter-1", node_b="setter-2"))
    assert [sorted(then.probes) for then in room.store.sites()] == [
        ["node-a/top", "node-b/top"],
        ["node-b/top", "node-c/top"],
    ]
    assert len([e for e in room.store.events() if isinstance(e.what, Arranged)]) == 2


def test_the_same_house_is_not_written_down_again() -> None:
    """A configuration read anew in which nothing of this changed."""
    room = begun()
    ask(room, room.site)
    assert len(room.store.sites()) == 1
    assert not [e for e in room.store.events() if isinstance(e.what, Arranged)]


@pytest.mark.parametrize("refused", ["future", "before the last", "before it was set", "clock"])
def test_what_cannot_be_changes_nothing(refused: str) -> None:
    """The run goes on with the house as it was, and no batch has moved."""
    room = begun()
    new = with_machine(room.site, "setter-9", "setter-1")
    when = {"future": 3601.0, "before it was set": -4 * 86_400.0}.get(refused, 600.0)
    if refused == "before the last":
        room.engine._state.site_kept = replace(site_then(room.site, ["hen"], None), since=at(900))
    if refused == "clock":
        room.now = lambda: replace(Now(500.0 + 3600.0, at(3600)), clock_ok=False)  # type: ignore[method-assign]
    answer = ask(room, new, at=at(when).isoformat(), was="setter-1", now="setter-9")
    assert "error" in answer
    assert not room.engine._stopped
    assert [stay.machine for stay in room.store.batches()[0].stays] == ["setter-1"]
    assert room.store.sites() == []


def test_a_record_that_cannot_be_written_is_said_so() -> None:
    """And the run goes on."""

    class Full(MemoryStore):
        full = False

        def commit(self, group: Any) -> None:
            if self.full:
                raise StoreFailure("record", "no space", "a disk with room")
            super().commit(group)

    store = Full()
    room = Room(with_probes(site(), node_a="setter-1"), store, at_s=3600.0)
    store.full = True
    room.engine.work(Opened(room.now(), None))
    room.ask("batch-add", profile="hen", set_at=at(-60).isoformat(), machine="setter-1")
    room.at_s += 5.0
    answer = ask(room, with_probes(room.site, node_c="setter-1"))
    assert answer.get("failed") is True
    assert not room.engine._stopped


def test_without_a_configuration_it_is_no_request() -> None:
    """As one that came past whoever reads it."""
    room = begun()
    assert "error" in room.ask("rearrange", None)
