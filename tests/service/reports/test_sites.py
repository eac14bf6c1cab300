"""A batch's figures rest on what looked at its machine then: no change of the configuration afterwards moves one."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import asdict, replace
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from monitor.adapters.archive.contents import read_archive, write_archive
from monitor.adapters.archive.history import ArchivedHistory
from monitor.domain.needs.batch import Batch, Stay
from monitor.domain.needs.site import Machine, Probe, Site, grouped
from monitor.domain.needs.then import SiteThen, site_then
from monitor.domain.readings.dating import UPTIME, Line
from monitor.domain.readings.reading import PASS, to_ms
from monitor.domain.state.record import Group, StoredReading
from monitor.service.reports.archive import archive_of
from monitor.service.reports.batch import batch_history
from tests.fakes import MemoryStore
from tests.seasons import FIRST, make_site

WELL_C, OTHER_C = 37.6, 43.7
HEN = Batch("b-0", "chicken", FIRST, 12, stays=(Stay("setter-1", FIRST),), closed_at=FIRST + timedelta(days=10))
END = FIRST + timedelta(days=10)
LATER = FIRST + timedelta(days=40)
Said = Callable[[str, float], float]  # the temperature that a probe says on a day


def day(days: float) -> datetime:
    return FIRST + timedelta(days=days)


def record(*sites: SiteThen, says: Said) -> MemoryStore:
    """A record in which each of two probes speaks each ten minutes, from the first day on and for a day longer than the batch's ten."""
    kept, keys = MemoryStore(), ("node-a/top", "node-c/top")
    lines = {n: Line(n, key.partition("/")[0], 7, UPTIME, 0, to_ms(FIRST), 0, 0) for n, key in enumerate(keys, 1)}
    readings = [
        StoredReading(key, n, at_s * 1000, says(key, at_s / 86_400), 55.0, PASS, PASS)
        for n, key in enumerate(keys, 1)
        for at_s in range(0, 11 * 86_400, 600)
    ]
    kept.commit(Group(lines=lines, readings=readings, batches={HEN.id: HEN}, sites=list(sites)))
    return kept


def configured(*probes: tuple[str, str, float], machines: tuple[Machine, ...] | None = None) -> Site:
    """A house with these probes: key, machine, interval."""
    site = make_site()
    keys = {key: Probe(key, machine, interval_s) for key, machine, interval_s in probes}
    named = site.machines if machines is None else {machine.id: machine for machine in machines}
    return replace(
        site, machines=named, probes=keys, by_machine=grouped(keys, "machine"), by_node=grouped(keys, "node")
    )


FIRST_HOUSE = configured(("node-a/top", "setter-1", 600), ("node-c/top", "setter-2", 600))
EXCHANGED = configured(("node-a/top", "setter-2", 600), ("node-c/top", "setter-1", 600))


def well_and_other(key: str, days: float) -> float:
    """node-a says what hens want; node-c what kills them."""
    return WELL_C if key == "node-a/top" else OTHER_C


def figures(history: MemoryStore, site: Site, now: datetime = LATER) -> dict[str, object]:
    return asdict(batch_history(history, site, HEN, now=now))


def test_two_nodes_exchanged_afterwards_change_nothing() -> None:
    """The healthy batch keeps its own machine's air, and is not given 43.7 °C of the other's."""
    found = site_then(FIRST_HOUSE, ["chicken"], None)
    before = figures(record(found, says=well_and_other), FIRST_HOUSE)
    after = record(found, site_then(EXCHANGED, ["chicken"], day(20)), says=well_and_other)
    assert figures(after, EXCHANGED) == before
    assert figures(after, FIRST_HOUSE) == before
    whole = batch_history(after, EXCHANGED, HEN, now=LATER).whole.dry_bulb_c
    assert (whole.max, round(whole.coverage, 3)) == (WELL_C, 1.0)


def test_nodes_exchanged_in_the_middle_are_each_read_in_its_time() -> None:
    """node-c looks at the batch's machine from day 4 to 6, and says there what is so there; the line goes on without a gap."""
    house = [
        site_then(FIRST_HOUSE, ["chicken"], None),
        site_then(EXCHANGED, ["chicken"], day(4)),
        site_then(FIRST_HOUSE, ["chicken"], day(6)),
    ]

    def says(key: str, days: float) -> float:
        here = (key == "node-c/top") is (4 <= days < 6)
        return WELL_C if here else OTHER_C

    whole = batch_history(record(*house, says=says), FIRST_HOUSE, HEN, now=LATER).whole.dry_bulb_c
    assert (whole.min, whole.max) == (WELL_C, WELL_C)
    assert whole.hours_covered == pytest.approx(240.0, abs=0.5)  # a node's first line ends with its last reading


@pytest.mark.parametrize(
    "now",
    [
        configured(("node-d/top", "setter-1", 600), ("node-c/top", "setter-2", 600)),
        configured(("node-a/top", "setter-1", 10), ("node-c/top", "setter-2", 600)),
        configured(("node-a/top", "incubator", 600), machines=(Machine("incubator", "I"),)),
        configured(("node-a/top", "setter-1", 600), ("node-c/top", "setter-1", 600)),
        replace(FIRST_HOUSE, pressure_kpa=80.0),
        replace(FIRST_HOUSE, machines={**FIRST_HOUSE.machines, "setter-1": Machine("setter-1", "S", air="still")}),
        replace(FIRST_HOUSE, profiles={**FIRST_HOUSE.profiles, "chicken": FIRST_HOUSE.profiles["goose"]}),
        replace(FIRST_HOUSE, profiles={}),
        configured(),
    ],
    ids=[
        "a node replaced",
        "interval_s 600 to 10",
        "a machine renamed",
        "one more probe",
        "the house moved up",
        "air",
        "profile",
        "no profile",
        "nothing",
    ],
)
def test_no_change_of_the_house_moves_a_figure_of_before(now: Site) -> None:
    """A node replaced, an interval, a machine renamed, an elevation, a profile: the batch that was closed before is told as it was."""
    found = site_then(FIRST_HOUSE, ["chicken"], None)
    before = figures(record(found, says=well_and_other), FIRST_HOUSE)
    for open_then in ([], ["chicken"]):
        known = [profile for profile in open_then if profile in now.profiles]
        after = record(found, site_then(now, known, day(20)), says=well_and_other)
        assert figures(after, now) == before


def test_another_interval_in_the_middle_covers_all() -> None:
    """A node that speaks each ten minutes, then each ten seconds: 100 % covered, where the house of now alone knew of the ten seconds."""
    slow, fast = FIRST_HOUSE, configured(("node-a/top", "setter-1", 60), ("node-c/top", "setter-2", 600))
    kept = record(site_then(slow, ["chicken"], None), site_then(fast, ["chicken"], day(5)), says=well_and_other)
    quick = [
        StoredReading("node-a/top", 1, at_s * 1000, WELL_C, 55.0, PASS, PASS) for at_s in range(432_000, 864_000, 60)
    ]
    kept.commit(Group(readings=quick))
    for site in (slow, fast):
        assert batch_history(kept, site, HEN, now=LATER).whole.dry_bulb_c.coverage == pytest.approx(1.0, abs=1e-3)


def test_a_record_of_before_is_taken_as_it_stands() -> None:
    """Where nothing was written down, the house is as configured now, as it always was."""
    kept = record(says=well_and_other)
    assert batch_history(kept, EXCHANGED, HEN, now=LATER).whole.dry_bulb_c.max == OTHER_C
    assert batch_history(kept, FIRST_HOUSE, HEN, now=LATER).whole.dry_bulb_c.max == WELL_C


@pytest.mark.parametrize("seed", range(12))
def test_whatever_is_changed_the_archive_and_the_record_say_the_same(seed: int, tmp_path: Path) -> None:
    """Random houses in the batch's time and after it: its figures are those of its end, from the record under any house, and from its archive."""
    rng = random.Random(seed)

    def drawn() -> Site:
        keys = ["node-a/top", "node-c/top"]
        rng.shuffle(keys)
        machines = rng.sample(["setter-1", "setter-2"], 2) if rng.random() < 0.7 else ["setter-1", "setter-1"]
        site = configured(
            *((key, machine, rng.choice((60.0, 600.0))) for key, machine in zip(keys, machines, strict=True))
        )
        air = {**site.machines, "setter-1": Machine("setter-1", "S", air=rng.choice(("still", "forced")))}
        return replace(site, machines=air, pressure_kpa=rng.choice((101.325, 85.0)))

    houses = [site_then(drawn(), ["chicken"], None)]
    houses += [
        site_then(drawn(), ["chicken"], day(days))
        for days in sorted(rng.uniform(0.0, 10.0) for _ in range(rng.randrange(4)))
    ]

    def says(key: str, days: float) -> float:
        return (37.2 if key == "node-a/top" else 37.9) + 0.1 * (int(days * 24) % 3)

    kept = record(*houses, says=says)
    now = drawn()
    told = figures(kept, now, now=END)
    path = tmp_path / "b-0.egg"
    archive = archive_of(kept, now, HEN, now=END, say=str)
    write_archive(
        path,
        archive,
        program="test",
        kept=dict.fromkeys(("history.json", "review.json", "review.txt", "review.html"), ""),
        sources={},
    )
    back = read_archive(path).archive
    assert asdict(batch_history(ArchivedHistory(back), back.site, HEN, now=END)) == told
    kept.commit(Group(sites=[site_then(drawn(), [], day(20)), site_then(drawn(), ["chicken", "goose"], day(30))]))
    for _ in range(3):
        assert figures(kept, drawn()) == told
