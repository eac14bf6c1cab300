"""What looks at which machine is written down when it is no longer as it was."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

from monitor.domain.needs.batch import Batch
from monitor.domain.needs.site import Machine, Probe, Site
from monitor.domain.needs.then import SiteThen, site_then
from monitor.domain.readings.reading import Now, to_ms
from monitor.domain.state.happened import Arranged, Change
from monitor.domain.state.known import Look, State
from monitor.domain.state.record import Group
from monitor.domain.state.site_kept import changes_of, keep_site
from tests.seasons import make_site

T0 = datetime(2026, 3, 1, 12, tzinfo=UTC)
SITE = make_site()
HENS = Batch("hen-1", "chicken", T0 - timedelta(days=3), 12)
MOVED = replace(SITE, probes={**SITE.probes, "node-a/top": Probe("node-a/top", "setter-2", 600.0)})
KNOWN = site_then(SITE, ["chicken"], None)


def run(
    known: SiteThen | None, site: Site = SITE, *batches: Batch, record: bool = True, clock_ok: bool = True
) -> tuple[State, Site]:
    """A run that began at T0 with what was written down last."""
    state = State(to_ms(T0) - 500_000.0, clock_ok, 500.0)
    state.site_kept, state.had_record = known, record
    state.batches = {batch.id: batch for batch in batches}
    return state, site


def kept(begun: tuple[State, Site], second: float = 0.0, *, clock_ok: bool = True) -> Group:
    """What one look writes."""
    state, site = begun
    look = Look(state, site, Now(500.0 + second, T0 + timedelta(seconds=second), clock_ok))
    keep_site(look)
    return look.out


def test_the_first_is_taken_for_all_that_was_before() -> None:
    """Said in a record that has a past; a new record has nothing to say of it."""
    out = kept(run(None, SITE, HENS))
    assert out.sites == [KNOWN]
    assert [(e.kind, e.subject, e.what) for e in out.events] == [("site", "site", Arranged())]
    fresh = kept(run(None, SITE, HENS, record=False))
    assert (fresh.sites, fresh.events) == ([KNOWN], [])


def test_what_is_as_it_was_is_not_written_again() -> None:
    """Neither at a start nor later in the run."""
    begun = run(KNOWN, SITE, HENS)
    assert kept(begun).empty()
    assert kept(begun, 3600).empty()


def test_a_changed_configuration_holds_from_the_runs_begin() -> None:
    """Also where the first look comes later; and is told with what changed."""
    out = kept(run(KNOWN, MOVED, HENS), 90)
    assert out.sites == [site_then(MOVED, ["chicken"], T0)]
    assert [e.what for e in out.events] == [Arranged((Change("probe", "node-a/top", "setter-1", "setter-2"),))]
    assert out.events[0].at == T0 + timedelta(seconds=90)


def test_a_species_that_comes_to_the_open_batches_is_written_when_it_comes() -> None:
    """Without a word: nothing of the house has changed. One that is gone, or comes again as it was, is no news."""
    begun = run(KNOWN, SITE, HENS)
    assert kept(begun).empty()
    begun[0].batches["goose-1"] = Batch("goose-1", "goose", T0, 3)
    out = kept(begun, 60)
    assert out.sites == [site_then(SITE, ["chicken", "goose"], T0 + timedelta(seconds=60))]
    assert out.events == []
    begun[0].batches["hen-1"] = replace(HENS, closed_at=T0)
    assert kept(begun, 120).empty()
    begun[0].batches["hen-2"] = replace(HENS, id="hen-2")
    assert kept(begun, 180).empty()


def test_a_profile_that_was_edited_is_told() -> None:
    """It is the house's own file, and the figures of open batches rest on it from now on."""
    edited = replace(SITE, profiles={**SITE.profiles, "chicken": replace(SITE.profiles["chicken"], days=20.5)})
    out = kept(run(KNOWN, edited, HENS))
    assert [e.what for e in out.events] == [Arranged((Change("profile", "chicken", "", ""),))]
    assert out.sites[0].profiles["chicken"].days == 20.5


def test_under_a_clock_that_nobody_set_it_waits() -> None:
    """Its label would be wrong; once the clock is right, it is the run's begin by the right one."""
    begun = run(KNOWN, MOVED, HENS, clock_ok=False)
    assert kept(begun, clock_ok=False).empty()
    begun[0].anchor_ms += 3_600_000.0  # the clock is set forward by an hour, and the labels of the run with it
    out = kept(begun, 7200)
    assert [then.since for then in out.sites] == [T0 + timedelta(hours=1)]


def test_all_that_can_change() -> None:
    """Machines, their kind and air; probes, where they look, how often, and where they hang; the house's height and zone."""
    now = replace(
        KNOWN,
        zone="Europe/Berlin",
        pressure_kpa=KNOWN.pressure_kpa - 5.0,
        machines={
            "setter-1": replace(KNOWN.machines["setter-1"], air="still"),
            "setter-2": replace(KNOWN.machines["setter-2"], kind="hatcher"),
            "setter-9": Machine("setter-9", "Nine"),
        },
        probes={
            "node-a/top": Probe("node-a/top", "setter-9", 10.0, "low"),
            "node-d/top": Probe("node-d/top", "setter-1"),
        },
    )
    assert list(changes_of(KNOWN, now)) == [
        Change("air", "setter-1", "forced", "still"),
        Change("kind", "setter-2", "setter", "hatcher"),
        Change("machine", "setter-9", "", "setter"),
        Change("machine", "hatcher-1", "hatcher", ""),
        Change("probe", "node-a/top", "setter-1", "setter-9"),
        Change("interval_s", "node-a/top", "600", "10"),
        Change("position", "node-a/top", "", "low"),
        Change("probe", "node-d/top", "", "setter-1"),
        Change("probe", "node-c/top", "setter-2", ""),
        Change("probe", "node-b/top", "hatcher-1", ""),
        Change("pressure_kpa", "", "101.33", "96.33"),
        Change("zone", "", "UTC", "Europe/Berlin"),
    ]
    assert list(changes_of(now, now)) == []
