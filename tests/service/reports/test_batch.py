"""A batch's life cut into stretches of one machine and one stage, each with its bands and its air."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.adapters.tables.profiles import load_profiles
from monitor.analysis.history.environment import Stretch
from monitor.analysis.history.felt import SPLIT
from monitor.domain.air.psychrometrics import rh_from_wet_bulb_pct, wet_bulb_c
from monitor.domain.eggs.book import EggBook, add
from monitor.domain.eggs.entry import Entry, Split
from monitor.domain.eggs.temperature import model_of
from monitor.domain.needs.bands import DRY_BULB, RH
from monitor.domain.needs.batch import Batch, Stay, closed, declared, moved
from monitor.domain.needs.profile import Band
from monitor.domain.needs.site import Site
from monitor.domain.readings.calibration import Calibration, by_offset
from monitor.domain.readings.dating import UPTIME, Line
from monitor.domain.readings.reading import FAIL, NOT_EVALUATED, PASS, to_ms
from monitor.domain.signs.opening import Handling
from monitor.domain.signs.seen import NotBack
from monitor.domain.state.record import Event, Group, Reflag, StoredReading
from monitor.service.reports.batch import (
    DEFAULT_SILENCE_S,
    NoRecord,
    batch_charts,
    batch_development,
    batch_history,
    happenings_of,
    humidity_bands,
    stretches_of,
)
from monitor.settings import build_house, parse_settings
from monitor.shown.history.felt import what_words
from tests.fakes import MemoryStore

SET = datetime(2026, 3, 1, 18, 0, tzinfo=UTC)
PROFILES = load_profiles(None)


def day(days: float) -> datetime:
    return SET + timedelta(days=days)


@pytest.fixture(scope="module")
def site() -> Site:
    return make_site()


def make_site() -> Site:
    """setter-1 with two probes, a still-air setter-2, a hatcher heard every minute."""
    data = {
        "site": {"id": "home"},
        "machine": [{"id": "setter-1"}, {"id": "setter-2", "air": "still"}, {"id": "hatcher-1", "kind": "hatcher"}],
        "probe": [
            {"node": "node-a", "probe": "top", "machine": "setter-1"},
            {"node": "node-a", "probe": "bottom", "machine": "setter-1", "interval_s": 20},
            {"node": "node-b", "probe": "top", "machine": "setter-2"},
            {"node": "node-c", "probe": "top", "machine": "hatcher-1", "interval_s": 60},
        ],
    }
    return build_house(parse_settings(data, "test"), PROFILES, Path("test.toml")).site


def store(*rows: tuple[str, datetime, float, float]) -> MemoryStore:
    """A record with these readings: probe, time, dry bulb, humidity."""
    kept = MemoryStore()
    line = Line(1, "node-a", 7, UPTIME, 0, to_ms(SET), 0, 0)
    readings = [StoredReading(probe, 1, to_ms(at) - to_ms(SET), t, rh, PASS, PASS) for probe, at, t, rh in rows]
    kept.commit(Group(lines={1: line}, readings=readings))
    return kept


def cut(site: Site, batch: Batch, now: datetime, record: MemoryStore | None = None) -> list[Stretch]:
    return list(stretches_of(record or MemoryStore(), site, batch, now=now))


def told(stretches: Sequence[Stretch]) -> list[tuple[str, str, float, float]]:
    """(machine, stage, from day, to day)."""
    start = to_ms(SET)
    return [
        (s.machine, s.stage, (s.since_ms - start) / 86_400_000, (s.until_ms - start) / 86_400_000) for s in stretches
    ]


HEN = Batch("hen-1", "chicken", SET, 24, stays=(Stay("setter-1", SET),))


def test_a_stage_begins_by_its_day(site: Site) -> None:
    """One machine, two stages: the cut lies at the profile's lockdown day, the end is now."""
    assert told(cut(site, HEN, day(20))) == [("setter-1", "setter", 0, 18), ("setter-1", "lockdown", 18, 20)]
    assert told(cut(site, HEN, day(4))) == [("setter-1", "setter", 0, 4)]


def test_a_stage_declared_early(site: Site) -> None:
    """Lockdown declared on day 16.5 cuts there, and not on its own day again."""
    batch = declared(HEN, "lockdown", day(16.5))
    assert told(cut(site, batch, day(20))) == [("setter-1", "setter", 0, 16.5), ("setter-1", "lockdown", 16.5, 20)]


def test_machine_after_machine(site: Site) -> None:
    """A move cuts; a stage goes on in the next machine."""
    batch = moved(HEN, "hatcher-1", day(19))
    assert told(cut(site, batch, day(20))) == [
        ("setter-1", "setter", 0, 18),
        ("setter-1", "lockdown", 18, 19),
        ("hatcher-1", "lockdown", 19, 20),
    ]


def test_time_in_no_machine_is_a_stretch_without_air(site: Site) -> None:
    """Between two stays apart lies a stretch of no machine, whose silence is a gap."""
    batch = replace(HEN, stays=(Stay("setter-1", SET, day(3)), Stay("hatcher-1", day(4))))
    stretches = cut(site, batch, day(5))
    assert told(stretches) == [("setter-1", "setter", 0, 3), ("", "setter", 3, 4), ("hatcher-1", "setter", 4, 5)]
    assert (stretches[1].air, stretches[1].max_gap_s) == ((), DEFAULT_SILENCE_S)


def test_a_closed_batch_ends_when_it_was_closed(site: Site) -> None:
    """The history of a closed batch does not grow."""
    batch = closed(HEN, day(21))
    assert told(cut(site, batch, day(40)))[-1] == ("setter-1", "lockdown", 18, 21)
    assert told(cut(site, batch, day(40))) == told(cut(site, batch, day(400)))


def test_its_history_begins_where_it_first_was(site: Site) -> None:
    """Eggs that were in no machine at first have a history from their first machine on; in none yet, there is none."""
    late = replace(HEN, stays=(Stay("setter-1", day(2)),))
    assert told(cut(site, late, day(3))) == [("setter-1", "setter", 2, 3)]
    with pytest.raises(
        NoRecord, match="batch hen-1: in no machine yet, expected `eggroom batch move hen-1 MACHINE` first"
    ):
        batch_history(MemoryStore(), site, replace(HEN, stays=()), now=day(3))


def test_a_machine_that_is_no_longer_configured(site: Site) -> None:
    """Its time stays in the history, with nothing measured."""
    batch = replace(HEN, stays=(Stay("old-one", SET, day(1)), Stay("setter-1", day(1))))
    history = batch_history(store(("node-a/top", day(1.5), 37.8, 55.0)), site, batch, now=day(2))
    assert history.whole.machines == ("old-one", "setter-1")
    assert history.whole.dry_bulb_c.hours_total == pytest.approx(48.0)
    assert history.whole.dry_bulb_c.samples == 1


def test_the_air_is_that_of_the_machine_at_the_time(site: Site) -> None:
    """Each stretch has every probe of its machine, with readings up to twice the allowed silence beyond both ends."""
    batch = moved(HEN, "hatcher-1", day(19))
    second = timedelta(seconds=1)
    record = store(
        ("node-a/top", day(18) - 121 * second, 37.0, 50.0),
        ("node-a/top", day(18) - 119 * second, 37.1, 50.0),
        ("node-a/top", day(19) + 119 * second, 37.2, 50.0),
        ("node-a/top", day(19) + 121 * second, 37.3, 50.0),
        ("node-a/bottom", day(18.5), 37.4, 50.0),
        ("node-c/top", day(18.5), 20.0, 50.0),
    )
    setter, lockdown, hatcher = cut(site, batch, day(20), record)
    assert lockdown.max_gap_s == 60.0  # of the slower probe: three readings of 20 s
    assert [list(air.dry_bulb_c) for air in lockdown.air] == [[37.1, 37.2], [37.4]]
    assert hatcher.max_gap_s == 180.0
    assert [list(air.dry_bulb_c) for air in hatcher.air] == [[]]
    assert [list(air.dry_bulb_c) for air in setter.air] == [[37.0, 37.1], []]


def test_still_air_is_judged_by_its_own_band(site: Site) -> None:
    """A still-air machine's temperature band lies higher by the profile's offset, its wet-bulb band where it was."""
    forced, still = cut(site, HEN, day(1))[0], cut(site, replace(HEN, stays=(Stay("setter-2", SET),)), day(1))[0]
    offset_k = PROFILES["chicken"].still_air_offset_k
    assert offset_k == 1.1
    for name, value in forced.dry_bulb_c.limits():  # type: ignore[union-attr]
        assert getattr(still.dry_bulb_c, name) == pytest.approx(value + offset_k)
    assert still.wet_bulb_c == forced.wet_bulb_c


def test_the_other_humidity_band_is_derived() -> None:
    """A band given as wet bulb is shown as humidity at the target temperature and the site's pressure, and the other way round."""
    dry_bulb = Band(low_warning=37.5, target=37.8, high_warning=38.1)
    by_wet = PROFILES["chicken"].stages[0]
    rh, wet = humidity_bands(by_wet, dry_bulb, 95.0)
    assert wet == by_wet.wet_bulb_c
    assert rh is not None
    assert wet is not None
    assert wet.high_warning is not None
    assert rh.high_warning == rh_from_wet_bulb_pct(37.8, wet.high_warning, 95.0)
    by_rh = PROFILES["african-grey"].stages[0]
    rh, wet = humidity_bands(by_rh, dry_bulb, 95.0)
    assert rh == by_rh.rh_pct
    assert wet is not None
    assert rh is not None
    assert rh.high_warning is not None
    assert wet.high_warning == wet_bulb_c(37.8, rh.high_warning, 95.0)
    assert humidity_bands(by_wet, Band(high_alarm=39.0), 95.0) == (None, by_wet.wet_bulb_c)


def test_the_figures(site: Site) -> None:
    """A constant air gives that mean, full cover and no excursion; half an hour over the band is one, with its area."""
    second = timedelta(seconds=1)
    rows = [("node-c/top", day(0) + n * 60 * second, 39.0 if 30 <= n < 60 else 37.8, 55.0) for n in range(181)]
    batch = replace(HEN, stays=(Stay("hatcher-1", SET),))
    figures = batch_history(store(*rows), site, batch, now=SET + timedelta(hours=3)).whole.dry_bulb_c
    assert figures.coverage == pytest.approx(1.0)
    # 29 min at 39.0 and a minute up and down at its ends; over the warning limit of 38.1 the ramps count from where they cross it.
    assert figures.mean == pytest.approx(37.8 + 1.2 * 30 / 180, abs=1e-6)
    assert [round(e.peak, 6) for e in figures.excursions] == [39.0]
    assert figures.degree_hours_above == pytest.approx((29 * 0.9 + 2 * 0.5 * 0.75 * 0.9) / 60, abs=1e-6)


def calm(*probes: str) -> MemoryStore:
    """Three hours of a minute's readings: 37.8 °C and 55 %RH."""
    step = timedelta(minutes=1)
    return store(*[(probe, SET + n * step, 37.8, 55.0) for n in range(181) for probe in probes])


def test_a_calibration_added_later_mends_the_history(site: Site) -> None:
    """Before and after, every figure of a batch that is over differs by just the offset; the readings in the record do not."""
    record = calm("node-c/top")
    batch = closed(replace(HEN, stays=(Stay("hatcher-1", SET),)), SET + timedelta(hours=3))
    before = batch_history(record, site, batch, now=day(9))
    raw = record.series("node-c/top", day(-1), day(1))
    calibration = Calibration("node-c/top", day(5), dry_bulb_c=by_offset(DRY_BULB, 0.3), rh_pct=by_offset(RH, -2.0))
    record.commit(Group(calibrations=[calibration]))
    after = batch_history(record, site, batch, now=day(9))
    assert (before.calibrations, after.calibrations) == ((), (calibration,))
    for name in ("mean", "min", "max"):
        assert getattr(after.whole.dry_bulb_c, name) - getattr(before.whole.dry_bulb_c, name) == pytest.approx(0.3)
        assert getattr(after.whole.rh_pct, name) - getattr(before.whole.rh_pct, name) == pytest.approx(-2.0)
    assert after.whole.wet_bulb_c.mean == pytest.approx(wet_bulb_c(38.1, 53.0, site.pressure_kpa))
    assert record.series("node-c/top", day(-1), day(1)).dry_bulb_c.tolist() == raw.dry_bulb_c.tolist()


def test_a_calibration_holds_from_its_since(site: Site) -> None:
    """Half of the time it holds, half not; those of other times, quantities' successors and machines are not told as applied."""
    record = calm("node-c/top")
    hour = timedelta(hours=1)
    batch = closed(replace(HEN, stays=(Stay("hatcher-1", SET),)), SET + 3 * hour)

    def made(k: float, since: datetime | None, probe: str = "node-c/top") -> Calibration:
        return Calibration(probe, day(5), since, dry_bulb_c=by_offset(DRY_BULB, k))

    half = made(0.4, SET + 1.5 * hour)
    others = [made(0.1, SET + 3.5 * hour), made(0.2, day(2)), made(0.3, None, "node-a/top")]
    record.commit(Group(calibrations=[half, *others]))
    history = batch_history(record, site, batch, now=day(9))
    # From one minute's reading to the next it climbs, half of that minute before the change.
    assert history.whole.dry_bulb_c.mean == pytest.approx(37.8 + 0.4 * 90.5 / 180, abs=1e-9)
    assert (history.whole.dry_bulb_c.min, history.whole.dry_bulb_c.max) == pytest.approx((37.8, 38.2))
    assert history.calibrations == (half,)


def test_of_two_probes_each_has_its_own(site: Site) -> None:
    """The air of a machine is that of its probes, each corrected by its own calibration."""
    record = calm("node-a/top", "node-a/bottom")
    record.commit(Group(calibrations=[Calibration("node-a/top", day(1), dry_bulb_c=by_offset(DRY_BULB, 0.5))]))
    (stretch,) = cut(site, HEN, SET + timedelta(hours=3), record)
    assert [float(air.dry_bulb_c[0]) for air in stretch.air] == pytest.approx([38.3, 37.8])


def test_a_humidity_that_failed_takes_no_temperature(site: Site) -> None:
    """Readings whose humidity failed count for the temperature, and a lone held one for both, until it is settled."""
    record = calm("node-c/top")
    line, at_ms = 1, range(0, 181 * 60_000, 60_000)
    record.commit(Group(reflags=[Reflag("node-c/top", line, ms, PASS, FAIL) for ms in at_ms[:90]]))
    record.commit(Group(reflags=[Reflag("node-c/top", line, at_ms[100], NOT_EVALUATED, NOT_EVALUATED)]))
    batch = replace(HEN, stays=(Stay("hatcher-1", SET),))
    whole = batch_history(record, site, batch, now=SET + timedelta(hours=3)).whole
    assert (whole.dry_bulb_c.samples, whole.dry_bulb_c.flagged) == (180, 0)
    assert (whole.rh_pct.samples, whole.rh_pct.flagged) == (90, 90)
    assert whole.dry_bulb_c.coverage == pytest.approx(1.0)
    assert whole.rh_pct.coverage == pytest.approx(0.5)


def test_the_dose_and_the_egg_are_those_of_the_batch(site: Site) -> None:
    """Three hours in the hatcher, one at 41 °C: the dose beyond its species' alarm limit, as old as the batch then is; the egg of its species."""
    minute = timedelta(minutes=1)
    rows = [("node-c/top", day(16) + n * minute, 41.0 if 300 <= n < 360 else 37.8, 55.0) for n in range(601)]
    batch = replace(HEN, stays=(Stay("hatcher-1", day(16)),))
    history = batch_history(store(*rows), site, batch, now=day(16) + timedelta(hours=10))
    (above, below), whole = history.felt[-1].doses, history.felt[-1]
    assert above.limits_c == (PROFILES["chicken"].stages[0].dry_bulb_c.high_alarm,)
    assert above.dose.hours == pytest.approx((59 + 2 * (41.0 - 38.9) / 3.2) / 60)
    assert above.share_of_term == pytest.approx((16 + 5 / 24) / 21)
    assert below.dose.peak_c is None
    model = model_of(PROFILES["chicken"], "forced")
    assert whole.tau_s == (model.tau_s,)
    # An hour is more than three time constants: 97 % of the way to what that air would make of it.
    before_c, settles_c = (model.start(air_c, 16.25) for air_c in (37.8, 41.0))
    assert whole.egg_c.max == pytest.approx(
        settles_c - (settles_c - before_c) * math.exp(-3600.0 / model.tau_s), abs=0.03
    )
    assert [f.stage for f in history.felt] == ["setter", "whole"]


def test_what_was_done_to_a_batch(site: Site) -> None:
    """Moves, declared stages, closing; openings and handlings of the machine it was in at the time, and of no other."""
    batch = closed(declared(moved(HEN, "hatcher-1", day(18)), "lockdown", day(17)), day(21))
    record = MemoryStore()
    opened = "opened for about 3 min, lowest 34.8 °C"
    record.commit(
        Group(
            events=[
                Event(day(-1), "opening", "setter-1", opened),
                Event(day(3), "opening", "setter-1", opened),
                Event(day(3.001), "opening", "setter-1", what=NotBack("late")),
                Event(day(4), "opening", "hatcher-1", opened),
                Event(day(5), "clock", "site", "set"),
                Event(day(19), "opening", "setter-1", opened),
                Event(day(20), "opening", "hatcher-1", opened),
                Event(day(22), "opening", "hatcher-1", opened),
            ],
            handlings={
                "setter-1": Handling("setter-1", day(6), day(6.01), 0.0, "sam"),
                "hatcher-1": Handling("hatcher-1", day(7), day(7.01), 0.0, ""),
            },
        )
    )
    found = happenings_of(record, batch, day(30))
    told = [((h.at_ms - to_ms(SET)) / 86_400_000, h.kind, h.machine) for h in found]
    assert told == [
        (0, "move", "setter-1"),
        (3, "opening", "setter-1"),
        (pytest.approx(3.001), "opening", "setter-1"),
        (6, "handling", "setter-1"),
        (17, "stage", "setter-1"),
        (18, "move", "hatcher-1"),
        (20, "opening", "hatcher-1"),
        (21, "move", ""),
    ]
    assert [h.counts for h in found if h.kind == "opening"] == [True, False, True]
    assert (found[3].until_ms, found[3].by, what_words(found[-1], UTC)) == (to_ms(day(6.01)), "sam", "closed")
    history = batch_history(record, site, batch, now=day(30))
    assert history.happenings == tuple(found)
    assert [f.openings for f in history.felt] == [1, 1, 2]
    assert happenings_of(record, replace(HEN, stays=()), day(3)) == []


def test_at_the_instant_of_a_move_it_is_where_it_came() -> None:
    """What happens then in the machine that it left is nothing to it; what happens in the other is, and what was going on there until then."""
    batch, record = moved(HEN, "hatcher-1", day(18)), MemoryStore()
    record.commit(
        Group(
            events=[Event(day(18), "opening", machine, "opened") for machine in ("setter-1", "hatcher-1")],
            handlings={
                "setter-1": Handling("setter-1", day(18), day(18.1), 0.0, "sam"),
                "hatcher-1": Handling("hatcher-1", day(17.9), day(18), 0.0, "sam"),
            },
        )
    )
    found = [(h.kind, h.machine) for h in happenings_of(record, batch, day(30)) if h.kind != "move"]
    assert sorted(found) == [("handling", "hatcher-1"), ("opening", "hatcher-1")]


def test_an_old_batch_does_not_ask_for_what_came_since(site: Site) -> None:
    """However long ago a batch was closed, no event and no handling of after its end is read for its history."""
    batch, record = closed(HEN, day(21)), Watched()
    begun = [Handling("setter-1", day(d), day(d + 0.01), 0.0, "") for d in (-3, 5, 40, 41)]
    for handling in begun:
        record.commit(Group(handlings={"setter-1": handling}))
    record.commit(Group(events=[Event(day(d / 10), "opening", "setter-1", "opened") for d in range(-50, 900)]))
    found = happenings_of(record, batch, day(1_000))
    assert sum(h.kind == "opening" for h in found) == 210
    assert [h.at_ms for h in found if h.kind == "handling"] == [to_ms(day(5))]
    assert record.read == 210 + 1


class Watched(MemoryStore):
    """A record that counts the events and handlings that were read."""

    read = 0

    def events(self, *asked: Any, **by: Any) -> list[Event]:
        found = super().events(*asked, **by)
        self.read += len(found)
        return found

    def handlings(self, *asked: Any) -> list[Handling]:
        found = super().handlings(*asked)
        self.read += len(found)
        return found


def test_the_charts_are_of_the_same_record(site: Site) -> None:
    """One look at the record gives the same history as without, and a chart for each quantity from its beginning to its end."""
    record = calm("node-c/top")
    batch = replace(HEN, stays=(Stay("hatcher-1", SET),))
    now = SET + timedelta(hours=3)
    history, charts = batch_charts(record, site, batch, now=now)
    assert history == batch_history(record, site, batch, now=now)
    assert [chart.quantity for chart in charts] == ["dry_bulb_c", "rh_pct", "wet_bulb_c", "egg_c"]
    assert {(c.since_ms, c.until_ms) for c in charts} == {(to_ms(SET), to_ms(now))}


@settings(deadline=None, max_examples=200)
@given(data=st.data())
def test_no_instant_is_lost_or_told_twice(data: st.DataObject) -> None:
    """However it was moved and declared, to the microsecond: the stretches follow one another without a hole, from the first stay
    to the end, and each has the stage of its middle."""
    site = make_site()
    instants = st.timedeltas(timedelta(0), timedelta(days=25)).map(lambda delta: SET + delta)
    times = sorted(data.draw(st.lists(instants, min_size=1, max_size=6, unique=True)))
    names = data.draw(
        st.lists(st.sampled_from(["setter-1", "hatcher-1", "setter-2"]), min_size=len(times), max_size=len(times))
    )
    batch = replace(HEN, stays=())
    for name, at in zip(names, times, strict=True):
        if not batch.stays or batch.stays[-1].machine != name:
            batch = moved(batch, name, at)
    for stage in data.draw(st.sets(st.sampled_from(["lockdown", "hatch"]))):
        batch = declared(batch, stage, data.draw(instants))
    now = times[-1] + data.draw(st.timedeltas(timedelta(milliseconds=2), timedelta(days=9)))
    if data.draw(st.booleans()):
        batch = closed(batch, now)
    stretches = cut(site, batch, now + timedelta(days=1) if batch.closed_at else now)
    assert (stretches[0].since_ms, stretches[-1].until_ms) == (to_ms(times[0]), to_ms(now))
    assert all(before.until_ms == after.since_ms for before, after in pairwise(stretches))
    for s in stretches:
        if s.until_ms - s.since_ms > 2:  # a cut is exact to the millisecond
            middle = (s.since_ms + s.until_ms) / 2000.0
            at = datetime.fromtimestamp(middle, tz=UTC)
            assert s.stage == PROFILES["chicken"].stage_at(batch.day(at), batch.declared_days(now)).name
            stay = batch.stay_at(at)
            assert s.machine == (stay.machine if stay else "")


def test_how_far_it_should_be(site: Site) -> None:
    """A batch right on its target is on time, and its history has the same; what was not recorded counts as normal and widens the doubt."""
    at = [SET + timedelta(minutes=m) for m in range(24 * 60 + 1)]
    record = store(*[("node-c/top", t, 37.8, 55.0) for t in at])
    batch = replace(HEN, stays=(Stay("hatcher-1", SET),))
    found = batch_development(record, site, batch, now=day(1))
    assert found is not None
    assert found == batch_history(record, site, batch, now=day(1)).development
    assert found.hours_recorded == pytest.approx(24.0)
    assert abs(found.lag.hours) < 0.1
    later = batch_development(record, site, closed(batch, day(2)), now=day(30))
    assert later is not None
    assert later.hours == 48.0
    assert later.hours_recorded == pytest.approx(24.0, abs=0.1)
    assert later.lag.high > found.lag.high


def test_where_that_cannot_be_said(site: Site) -> None:
    """Before it was set, in no machine, of an unknown species, or of one without a target, if only in one stage, there is no development."""
    bare = replace(
        PROFILES["chicken"], stages=tuple(replace(s, dry_bulb_c=Band(37.0, 37.5)) for s in PROFILES["chicken"].stages)
    )
    last = PROFILES["chicken"].stages[-1]
    one = replace(bare, stages=(*PROFILES["chicken"].stages[:-1], replace(last, dry_bulb_c=Band(37.0, 37.5))))
    for batch, where, now in (
        (HEN, replace(site, profiles={"chicken": one}), day(1)),
        (HEN, site, day(-1)),
        (replace(HEN, stays=()), site, day(1)),
        (replace(HEN, profile="dodo"), site, day(1)),
        (HEN, replace(site, profiles={"chicken": bare}), day(1)),
    ):
        assert batch_development(MemoryStore(), where, batch, now=now) is None


def test_eggs_that_went_on_in_another_batch_are_told() -> None:
    """Those that left at one time for one batch in one line, where they were; what another batch's book says is not told."""
    book = EggBook(HEN)
    for egg, into, at in ((3, "hen-1-b", 5.0), (4, "hen-1-b", 5.0), (7, "hen-1-c", 9.0)):
        book = add(book, Entry(day(at), day(at), "ada", Split(into), egg=egg))
    record = MemoryStore()
    record.commit(Group(batches={HEN.id: HEN}, entries=[(HEN.id, e) for e in book.entries]))
    found = [h for h in happenings_of(record, HEN, day(8)) if h.kind == SPLIT]
    assert [(h.at_ms, h.machine, what_words(h, UTC)) for h in found] == [
        (to_ms(day(5)), "setter-1", "2 eggs went on as batch hen-1-b")
    ]
    assert len([h for h in happenings_of(record, HEN, day(30)) if h.kind == SPLIT]) == 2
