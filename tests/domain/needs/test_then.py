"""What looked at which machine, at each moment."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from monitor.domain.needs.site import Machine, Probe, Site
from monitor.domain.needs.then import Sites, SiteThen, holds, site_then
from tests.seasons import make_site

T0 = datetime(2026, 3, 1, 6, tzinfo=UTC)
NOW = make_site()
NODE_A, NODE_C = "node-a/top", "node-c/top"


def at(hours: float) -> datetime:
    return T0 + timedelta(hours=hours)


def swapped(site: Site) -> Site:
    """The nodes of the two setters, exchanged."""
    probes = {
        **site.probes,
        NODE_A: replace(site.probes[NODE_A], machine="setter-2"),
        NODE_C: replace(site.probes[NODE_C], machine="setter-1"),
    }
    return replace(site, probes=probes)


FOUND = site_then(NOW, ["chicken"], None)
EXCHANGED = site_then(swapped(NOW), ["chicken"], at(10))
BACK = site_then(NOW, ["chicken"], at(20))


def looks(
    sites: Sites, machine: str = "setter-1", since: float = 0, until: float = 30
) -> list[tuple[float, float, tuple[str, ...]]]:
    return [
        (
            (a - T0) / timedelta(hours=1),
            (b - T0) / timedelta(hours=1),
            tuple(p.key for p in site.by_machine.get(machine, ())),
        )
        for a, b, site in sites.spans(machine, "chicken", (at(since), at(until)))
    ]


def test_where_nothing_is_written_down_it_is_as_now() -> None:
    """In one piece."""
    assert looks(Sites(NOW)) == [(0, 30, (NODE_A,))]
    assert Sites(NOW).at(at(5)) is NOW


def test_each_time_has_its_own_probe() -> None:
    """Two nodes exchanged, and exchanged back: whatever the configuration of now says."""
    for now in (NOW, swapped(NOW)):
        sites = Sites(now, (FOUND, EXCHANGED, BACK))
        assert looks(sites) == [(0, 10, (NODE_A,)), (10, 20, (NODE_C,)), (20, 30, (NODE_A,))]
        assert looks(sites, since=12, until=15) == [(12, 15, (NODE_C,))]
        assert looks(sites, since=10, until=20) == [(10, 20, (NODE_C,))]
        assert looks(sites, "hatcher-1") == [(0, 30, ("node-b/top",))]


def test_the_first_stands_for_all_that_was_before() -> None:
    """Also where its own instant is known."""
    sites = Sites(NOW, (replace(EXCHANGED, since=at(10)), BACK))
    assert looks(sites) == [(0, 20, (NODE_C,)), (20, 30, (NODE_A,))]


def test_what_is_no_longer_configured_was_there_then() -> None:
    """A machine, and its probe; since then there is neither."""
    gone = replace(
        FOUND,
        since=at(10),
        machines={"incubator": Machine("incubator", "I")},
        probes={NODE_A: Probe(NODE_A, "incubator")},
    )
    sites = Sites(NOW, (FOUND, gone))
    assert looks(sites) == [(0, 10, (NODE_A,)), (10, 30, ())]
    assert looks(sites, "incubator") == [(0, 10, ()), (10, 30, (NODE_A,))]


@pytest.mark.parametrize(
    "change",
    [
        lambda then: replace(then, pressure_kpa=90.0),
        lambda then: replace(then, machines=then.machines | {"setter-1": Machine("setter-1", "One", air="still")}),
        lambda then: replace(then, probes={**then.probes, NODE_A: Probe(NODE_A, "setter-1", 10.0)}),
        lambda then: replace(then, probes={**then.probes, "node-d/low": Probe("node-d/low", "setter-1")}),
        lambda then: replace(then, profiles={"chicken": replace(then.profiles["chicken"], days=20.5)}),
    ],
    ids=["elevation", "air", "interval", "another probe", "profile"],
)
def test_what_bears_on_figures_cuts(change: object) -> None:
    """The air pressure, the machine's air, an interval, one more probe, the profile."""
    assert callable(change)
    assert [(a, b) for a, b, _ in looks(Sites(NOW, (FOUND, change(replace(FOUND, since=at(10))))))] == [
        (0, 10),
        (10, 30),
    ]


@pytest.mark.parametrize(
    "change",
    [
        lambda then: replace(then, zone="Europe/Berlin"),
        lambda then: replace(then, machines=then.machines | {"setter-1": Machine("setter-1", "Another name")}),
        lambda then: replace(then, probes={**then.probes, "node-d/low": Probe("node-d/low", "setter-2")}),
        lambda then: replace(then, profiles={}),
        lambda then: replace(then, profiles={**then.profiles, "goose": NOW.profiles["goose"]}),
    ],
    ids=["zone", "name", "another machine's probe", "no open batch", "another species"],
)
def test_what_bears_on_no_figure_does_not(change: object) -> None:
    """A zone, a name, what is another machine's or another species'."""
    assert callable(change)
    assert [(a, b) for a, b, _ in looks(Sites(NOW, (FOUND, change(replace(FOUND, since=at(10))))))] == [(0, 30)]


def test_a_profile_is_as_it_was_when_the_eggs_were_in() -> None:
    """Or as it first was, where it came with a later batch; one that is a file no longer is still known."""
    early, late = (replace(NOW.profiles["chicken"], days=days) for days in (21.0, 20.5))
    sites = Sites(
        replace(NOW, profiles={"goose": NOW.profiles["goose"]}),
        (
            replace(FOUND, profiles={}),
            replace(FOUND, since=at(10), profiles={"chicken": early}),
            replace(FOUND, since=at(20), profiles={"chicken": late}),
        ),
    )
    assert [sites.at(at(hours), "chicken").profiles["chicken"].days for hours in (5, 10, 19, 20, 40)] == [
        21,
        21,
        21,
        20.5,
        20.5,
    ]
    assert "chicken" not in sites.at(at(5), "goose").profiles
    assert sites.at(at(5), "goose").profiles["goose"] is NOW.profiles["goose"]


def test_beyond_its_time_at_the_machine_a_probe_is_not_read() -> None:
    """What it said elsewhere is of another air: the margin ends where it came, and where it left."""
    sites, margin = Sites(NOW, (FOUND, EXCHANGED, BACK)), timedelta(hours=2)
    a, c = NOW.probes[NODE_A], Probe(NODE_C, "setter-1", 600.0)
    assert sites.reach(a, (at(0), at(10)), margin) == (at(-2), at(10))
    assert sites.reach(c, (at(10), at(20)), margin) == (at(10), at(20))
    assert sites.reach(a, (at(20), at(30)), margin) == (at(20), at(32))
    assert sites.reach(a, (at(3), at(9)), margin) == (at(1), at(10))
    assert sites.reach(NOW.probes["node-b/top"], (at(0), at(10)), margin) == (at(-2), at(12))


def test_what_looked_at_which_machine_in_a_time() -> None:
    """Of a probe that is configured no longer; what looked there before that time alone is left out."""
    gone = replace(FOUND, since=at(20), probes={"node-d/top": Probe("node-d/top", "setter-1")})
    sites, later = Sites(NOW, (FOUND, EXCHANGED, gone)), {"node-d/top"}
    every = {NODE_A: "setter-2", NODE_C: "setter-1", "node-b/top": "hatcher-1"}
    assert sites.looked_at(at(5), at(30), beside=later) == every
    assert sites.looked_at(at(5), at(8), beside=later) == {**every, NODE_A: "setter-1", NODE_C: "setter-2"}
    assert sites.looked_at(at(25), at(30), beside=later) == {}
    assert sites.looked_at(at(5), at(30), beside=NOW.probes) == {"node-d/top": "setter-1"}
    assert Sites(NOW).looked_at(at(5), at(30), beside=()) == {}


def test_what_is_written_down_holds_while_it_is_so() -> None:
    """A species of which no batch is open any more may stand there; a new one, or anything else, is news."""
    both = site_then(NOW, ["chicken", "goose"], None)
    assert holds(both, site_then(NOW, ["chicken"], at(5)))
    assert holds(both, site_then(NOW, [], at(5)))
    assert not holds(FOUND, site_then(NOW, ["chicken", "goose"], at(5)))
    assert not holds(both, site_then(swapped(NOW), ["chicken"], at(5)))
    assert not holds(both, site_then(replace(NOW, pressure_kpa=90.0), ["chicken"], at(5)))


def test_a_species_that_the_site_does_not_know_is_left_out() -> None:
    """An own profile whose file is gone."""
    assert site_then(NOW, ["chicken", "dodo"], None).profiles.keys() == {"chicken"}


def test_a_machines_own_numbers_are_those_of_now() -> None:
    """Only what is judged now asks for them; they are not written down."""
    rules = {"humidity-low-alarm": {"on_delay_s": 5}}
    now = replace(NOW, machines={**NOW.machines, "setter-1": replace(NOW.machines["setter-1"], rules=rules)})
    assert site_then(now, [], None).machines["setter-1"].rules == {}
    assert Sites(now, (site_then(now, [], None),)).at(at(1)).machines["setter-1"].rules == rules
    assert isinstance(FOUND, SiteThen)
