"""The water of a batch's eggs from its record: against eggs whose loss was worked out by hand, and what of it is judged."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from monitor.adapters.tables.profiles import load_profiles
from monitor.analysis.water.loss import NOT_WEIGHED, WEIGHED_ONCE, NoLine
from monitor.domain.air.psychrometrics import rh_from_wet_bulb_pct, saturation_vapour_kpa
from monitor.domain.eggs.book import After, EggBook, add
from monitor.domain.eggs.entry import Candling, Dead, Entry, Fact, Hatched, Removed, Sign, Size, Split, Weighing
from monitor.domain.eggs.temperature import model_of
from monitor.domain.needs.batch import Batch, Stay, closed, moved
from monitor.domain.needs.site import FORCED, STILL, Site
from monitor.domain.needs.target import pip_day
from monitor.domain.readings.calibration import Calibration, by_offset
from monitor.domain.readings.dating import UPTIME, Line
from monitor.domain.readings.reading import PASS, to_ms
from monitor.domain.state.record import Group, StoredReading
from monitor.service.ports import WeightVerdict
from monitor.service.reports import water as water_module
from monitor.service.reports import weighed as weighed_module
from monitor.service.reports.batch import stretches_of
from monitor.service.reports.water import water_of, water_to_pip, weight_verdict
from monitor.service.reports.weighed import NoWater, Water
from monitor.settings import build_house, parse_settings
from monitor.shown.about import MAX_LOSING, losing_words, projection_words
from tests.domain.house import there
from tests.fakes import MemoryStore
from tests.hens import WINDOW_PCT, with_window

SET = datetime(2026, 3, 1, 18, 0, tzinfo=UTC)
HEN = Batch("hen-1", "chicken", SET, 24, stays=(Stay("setter-1", SET),))
WARM_C, RH_PCT = 37.6, 50.0

PIP_DAY = 18.9  # 0.9 of 21 days


def day(days: float) -> datetime:
    return SET + timedelta(days=days)


@pytest.fixture(scope="module")
def site() -> Site:
    return make_site()


def make_site(unit: str = "C") -> Site:
    data = {
        "site": {"id": "home", "unit": unit},
        "machine": [{"id": "setter-1", "name": "Setter 1"}, {"id": "hatcher-1", "kind": "hatcher"}],
        "probe": [
            {"node": "node-a", "probe": "top", "machine": "setter-1", "interval_s": 600},
            {"node": "node-b", "probe": "top", "machine": "hatcher-1", "interval_s": 600},
        ],
    }
    return with_window(build_house(parse_settings(data, "test"), load_profiles(None), Path("test.toml")).site)


def record(until: float, since: float = 0.0, rh_pct: float = RH_PCT, probe: str = "node-a/top") -> Group:
    """Steady air, a reading each ten minutes."""
    line = Line(1, "node-a", 7, UPTIME, 0, to_ms(SET), 0, 0)
    ups = range(round(since * 86_400_000), round(until * 86_400_000) + 1, 600_000)
    return Group(lines={1: line}, readings=[StoredReading(probe, 1, up, WARM_C, rh_pct, PASS, PASS) for up in ups])


def kept(*groups: Group) -> MemoryStore:
    store = MemoryStore()
    for group in groups:
        store.commit(group)
    return store


def pull(site: Site, first: float, last: float, rh_pct: float = RH_PCT) -> float:
    """The pull of that air between two days, kPa d: by hand, in steps of a hundredth of a day."""
    model = model_of(site.profiles["chicken"], FORCED)
    steps = round((last - first) * 100)
    air_kpa = rh_pct / 100.0 * saturation_vapour_kpa(WARM_C)
    eggs_kpa = [saturation_vapour_kpa(model.start(WARM_C, first + (i + 0.5) / 100.0)) for i in range(steps)]
    return sum(kpa - air_kpa for kpa in eggs_kpa) / 100.0


def weighed(
    site: Site, book: EggBook, egg: int, loss_at_pip_pct: float, days: tuple[float, ...], mass_g: float = 60.0
) -> EggBook:
    """The weighings of an egg that loses so much by pip while that air stays; on a scale of 0.01 g."""
    per_pull = mass_g * loss_at_pip_pct / 100.0 / pull(site, 0.0, PIP_DAY)
    for at in days:
        shown_g = round(mass_g - per_pull * pull(site, 0.0, at), 2)
        book = put(book, at, Weighing(shown_g, error_g=0.01), egg)
    return book


def put(book: EggBook, at: float, fact: Fact, egg: int | None = None, **about: object) -> EggBook:
    return add(book, Entry(day(at), day(at), "ada", fact, egg=egg, **about))  # type: ignore[arg-type]


def seen(site: Site, book: EggBook, now: float = 12.0, *groups: Group) -> Water:
    return water_of(kept(*(groups or (record(now),))), site, book, now=day(now))


DAYS = (0.0, 4.0, 8.0, 12.0)


# --- against what was worked out by hand


@pytest.mark.parametrize("by_pip_pct", [9.0, 12.5, 16.0])
def test_a_projection(site: Site, by_pip_pct: float) -> None:
    """Of an egg that was made to lose so much by pip in air that stays: the loss now within 0.1, that by pip within 0.5.

    The record's lockdown humidity, that of the profile, begins on day 18: the hand's air goes on, so the last day may differ.
    """
    water = seen(site, weighed(site, EggBook(HEN), 3, by_pip_pct, DAYS))
    loss = water.eggs[3].loss
    assert loss is not None
    expected_now = by_pip_pct * pull(site, 0.0, 12.0) / pull(site, 0.0, PIP_DAY)
    assert loss.now_pct.value == pytest.approx(expected_now, abs=0.1)
    assert loss.pip_pct.value == pytest.approx(by_pip_pct, abs=0.5)
    conductance = loss.line.conductance_mg_d_kpa
    assert conductance is not None
    assert conductance.value == pytest.approx(1000.0 * 60.0 * by_pip_pct / 100.0 / pull(site, 0.0, PIP_DAY), rel=0.01)
    assert water.window_pct == WINDOW_PCT
    assert water.machine == "setter-1"
    assert (water.lately_c, water.lately_rh_pct) == pytest.approx((WARM_C, RH_PCT))


@pytest.mark.parametrize(("by_pip_pct", "edge"), [(14.8, 14.0), (15.2, 14.0)])
def test_the_humidity_that_mends_it(site: Site, by_pip_pct: float, edge: float) -> None:
    """Set from now until lockdown, what is told leads by hand into the window, and no farther."""
    water = seen(site, weighed(site, EggBook(HEN), 3, by_pip_pct, DAYS))
    loss = water.eggs[3].loss
    assert loss is not None
    assert loss.mend is not None
    assert loss.mend.reachable
    assert (loss.mend.rh_pct < RH_PCT) == (by_pip_pct < 12.5)
    per_pull = by_pip_pct / pull(site, 0.0, PIP_DAY)
    stage = site.profiles["chicken"].stage_at(18.5)
    assert stage.wet_bulb_c is not None
    later_pct = rh_from_wet_bulb_pct(stage.dry_bulb_c.target or 0.0, stage.wet_bulb_c.target or 0.0, site.pressure_kpa)
    led_to = per_pull * (
        pull(site, 0.0, 12.0) + pull(site, 12.0, 18.0, loss.mend.rh_pct) + pull(site, 18.0, PIP_DAY, later_pct)
    )
    assert led_to == pytest.approx(loss.mend.loss_pct, abs=0.3)
    assert abs(loss.mend.loss_pct - edge) <= 0.16


def test_a_hole_in_the_record_widens(site: Site) -> None:
    """With four of twelve days unrecorded the loss is the same, and its interval wider."""
    book = weighed(site, EggBook(HEN), 3, 12.5, DAYS)
    whole, holed = seen(site, book), seen(site, book, 12.0, record(4.0), record(12.0, since=8.0))
    one, other = whole.eggs[3].loss, holed.eggs[3].loss
    assert one is not None
    assert other is not None
    assert other.pip_pct.value == pytest.approx(one.pip_pct.value, abs=0.5)
    assert other.pip_pct.high - other.pip_pct.low > one.pip_pct.high - one.pip_pct.low
    assert other.line.recorded == pytest.approx(2 / 3, abs=0.02)


def test_without_any_humidity_it_goes_by_days(site: Site) -> None:
    """A batch whose machine has no record yet: a loss by days, and no humidity is told."""
    water = water_of(MemoryStore(), site, weighed(site, EggBook(HEN), 3, 12.5, DAYS), now=day(12))
    loss = water.eggs[3].loss
    assert loss is not None
    assert loss.line.by_days
    assert loss.mend is None
    assert loss.pip_pct.value == pytest.approx(12.5, abs=0.7)
    assert water.lately_rh_pct is None


def test_a_calibration_holds_here_too(site: Site) -> None:
    """A sensor corrected to damper air has pulled less, so the same weighings are a higher conductance."""
    book = weighed(site, EggBook(HEN), 3, 12.5, DAYS)
    mended = record(12.0)
    mended.calibrations = [Calibration("node-a/top", day(12), rh_pct=by_offset("rh_pct", 5.0))]
    plain, corrected = seen(site, book), seen(site, book, 12.0, mended)
    assert corrected.lately_rh_pct == pytest.approx(RH_PCT + 5.0)
    found = [w.eggs[3].loss.line.conductance_mg_d_kpa for w in (plain, corrected) if w.eggs[3].loss is not None]
    assert all(c is not None for c in found)
    assert found[1].value > 1.05 * found[0].value  # type: ignore[union-attr]


def test_the_machine_as_it_is_now(site: Site) -> None:
    """Just moved: the air of the machine it is in counts for what is to come, and only that."""
    book = weighed(site, EggBook(moved(HEN, "hatcher-1", day(11.5))), 3, 12.5, DAYS)
    water = seen(site, book, 12.0, record(11.5), record(12.0, since=11.5, rh_pct=70.0, probe="node-b/top"))
    assert water.machine == "hatcher-1"
    assert water.lately_rh_pct == pytest.approx(70.0)
    loss = water.eggs[3].loss
    assert loss is not None
    assert loss.pip_pct.value < 12.0


def test_a_silent_machine_goes_on_as_it_was(site: Site) -> None:
    """Where the last day has no humidity, none is shown as of now, and the eggs are taken to go on as before."""
    book = weighed(site, EggBook(HEN), 3, 12.5, DAYS)
    water = seen(site, book, 12.0, record(10.0))
    assert water.lately_rh_pct is None
    loss = water.eggs[3].loss
    assert loss is not None
    assert loss.pip_pct.value == pytest.approx(12.5, abs=0.6)


def test_the_air_ahead_where_none_was_measured(site: Site) -> None:
    """A machine that was never heard is taken to be at its stage's target; in still air as much above it as the species' source says."""
    chicken = site.profiles["chicken"]
    target_c = there(chicken.stage_at(5.0, ()).dry_bulb_c.target)
    unsaid = replace(chicken, still_air_offset_k=None)
    for air, profile, above_k in ((FORCED, chicken, 0.0), (STILL, chicken, 1.1), (STILL, unsaid, 0.0)):
        machines = {**site.machines, "setter-1": replace(site.machines["setter-1"], air=air)}
        there_ = replace(site, machines=machines, profiles={"chicken": profile})
        record_, lately = weighed_module._record(there_, HEN, day(5.0), stretches=())
        assert lately == (None, None)
        assert record_.dry_bulb_c == pytest.approx(target_c + above_k)


def told(water: Water, egg: int) -> float:
    """The RH that is told for an egg."""
    loss = water.eggs[egg].loss
    assert loss is not None
    assert loss.mend is not None
    return loss.mend.rh_pct


def test_no_humidity_beyond_what_the_stage_may_have(site: Site) -> None:
    """A tight hen's egg would need drier air than its setter is warned of: that limit is told, and that it is not enough. What is advised
    must not ring."""
    water = seen(site, weighed(site, EggBook(HEN), 3, 9.0, DAYS))
    band = site.profiles["chicken"].stages[0].wet_bulb_c
    assert band is not None
    assert band.low_warning is not None
    floor = rh_from_wet_bulb_pct(WARM_C, band.low_warning, site.pressure_kpa)
    assert told(water, 3) == pytest.approx(floor, abs=0.01)
    assert re.search(r"; not reachable within its band: even 55 % RH leads to \d+\.\d %$", said(water, site))


def test_the_others_in_the_machine_bound_it_too_and_are_counted(site: Site) -> None:
    """With quail of another batch in the machine, what may be set is bounded by their band as well; and what it does to their weighed eggs is said."""
    other = Batch("hen-2", "chicken", SET, 24, stays=(Stay("setter-1", SET),))
    mine, theirs = weighed(site, EggBook(HEN), 3, 15.2, DAYS), weighed(site, EggBook(other), 1, 12.5, DAYS)
    theirs = weighed(site, theirs, 2, 10.6, DAYS)
    store = kept(record(12.0), Group(entries=[(other.id, e) for e in theirs.entries], batches={other.id: other}))
    alone = water_of(store, site, mine, now=day(12.0))
    assert " other" not in said(alone, site)
    water = water_of(store, site, mine, now=day(12.0), batches=[HEN, other])
    track = water.eggs[3].track
    assert track is not None
    assert track.where_to.setting is not None
    setting = track.where_to.setting
    assert (setting.others, setting.others_now) == (2, 1)
    assert setting.others_then == 1
    assert projection_words(track.where_to, site).endswith(
        "; of the 2 other weighed eggs there 1 would reach their target with it, 1 without it"
    )
    elsewhere = replace(other, stays=(Stay("hatcher-1", SET),))
    assert " other" not in said(water_of(store, site, mine, now=day(12.0), batches=[HEN, elsewhere]), site)


def test_the_bands_of_the_others_bound_it_too(site: Site) -> None:
    """With geese in the machine, whose low warning is damper than the hen's, no drier air is told than they may have."""
    geese, tight = replace(HEN, id="goose-2", profile="goose"), weighed(site, EggBook(HEN), 3, 9.0, DAYS)
    band = site.profiles["goose"].stages[0].wet_bulb_c
    assert band is not None
    assert band.low_warning is not None
    store = kept(record(12.0), Group(batches={geese.id: geese}))
    water = water_of(store, site, tight, now=day(12.0), batches=[HEN, geese])
    floor = rh_from_wet_bulb_pct(WARM_C, band.low_warning, site.pressure_kpa)
    assert told(water, 3) == pytest.approx(floor, abs=0.01)
    assert told(seen(site, tight), 3) < floor - 1.0


# --- which eggs


def test_who_goes_on(site: Site) -> None:
    """Dead, clear and pipped eggs are not among those that a humidity is sought for; each keeps its loss until then."""
    book = EggBook(HEN)
    for egg in (1, 2, 3, 4):
        book = weighed(site, book, egg, 12.5, DAYS)
    book = put(book, 10, Candling("fertile"), 1)
    book = put(book, 11, Candling("clear"), 2)
    book = put(book, 11, Dead("middle"), 3)
    book = put(book, 11.5, Sign("internal pip"), 4)
    water = seen(site, book)
    assert water.together is not None
    assert water.together.eggs == (1,)
    assert {egg: w.until for egg, w in water.eggs.items()} == {
        1: None, 2: day(11), 3: day(11), 4: day(11.5),
    }  # fmt: skip
    pipped = water.eggs[4].loss
    assert pipped is not None
    assert pipped.pip_pct == pipped.now_pct
    assert pipped.mend is None


def test_why_there_is_none(site: Site) -> None:
    """No weighing, one, or only such as say nothing: each egg says why it has no loss."""
    book = put(EggBook(HEN), 5, Candling("fertile"), 1)
    book = put(book, 5, Weighing(58.0), 2)
    book = put(put(book, 5, Sign("external pip"), 3), 6, Weighing(58.0), 3)
    reasons = {egg: w.unknown for egg, w in seen(site, book).eggs.items()}
    assert reasons[1] == NoLine(NOT_WEIGHED, 0)
    assert reasons[2] == NoLine(WEIGHED_ONCE, 1)
    assert reasons[3] == After("pipped")


def test_measures_stand_in_for_a_weighing(site: Site) -> None:
    """Weighed once, with length and breadth: a loss, wide as it is."""
    book = put(put(EggBook(HEN), 0, Size(57.0, 43.5), 1), 12, Weighing(54.0), 1)
    assert seen(site, book).eggs[1].loss is not None


def test_a_tray(site: Site) -> None:
    """Eggs weighed together have a loss as one egg of them."""
    book = EggBook(HEN)
    for at in DAYS:
        egg_g = 60.0 * (1.0 - 0.125 * pull(site, 0.0, at) / pull(site, 0.0, PIP_DAY))
        book = put(book, at, Weighing(12 * egg_g + 150.0, 150.0, 0.1), count=12, tray="A")
    loss = seen(site, book).trays["A"].loss
    assert loss is not None
    assert loss.pip_pct.value == pytest.approx(12.5, abs=0.5)


def test_an_unknown_species(site: Site) -> None:
    """A batch whose profile is gone cannot be worked out, and says so in one line."""
    with pytest.raises(NoWater, match="batch hen-1: profile 'dodo' is not among the profiles, expected its file"):
        seen(site, EggBook(replace(HEN, profile="dodo")))


def test_a_closed_batch(site: Site) -> None:
    """Its water is of the time when it was closed, whenever one asks."""
    book = weighed(site, EggBook(closed(HEN, day(12))), 3, 12.5, DAYS)
    early, late = seen(site, book), water_of(kept(record(12.0)), site, book, now=day(300))
    assert (early.at, early.day, early.machine) == (late.at, late.day, late.machine) == (day(12), 12.0, "setter-1")


# --- what is judged


def said(water: Water, site: Site) -> str:
    """What is told of a loss that is off, in words."""
    assert water.about is not None
    return losing_words(water.about, site)


def test_on_track(site: Site) -> None:
    """Nothing is off where every egg leads into the window."""
    book = weighed(site, weighed(site, EggBook(HEN), 1, 12.2, DAYS), 2, 12.8, DAYS)
    water = seen(site, book)
    assert (water.off, water.about) == (False, None)


def test_the_batch_together(site: Site) -> None:
    """All off the same way: the batch is told, with the humidity that serves most of its eggs."""
    book = EggBook(HEN)
    for egg in range(1, 7):
        book = weighed(site, book, egg, 14.9 + 0.02 * egg, DAYS)
    water = seen(site, book)
    assert water.off is True
    assert said(water, site).startswith("loss by pip 14.")
    assert ", target 11 to 14 %; " in said(water, site)
    mended = re.search(
        r"; (\d\d) % RH \(wet bulb \d\d\.\d °C\) from now on, 50 % now, serves 6 of 6 eggs$", said(water, site)
    )
    assert mended is not None
    assert int(mended[1]) > 55
    assert len(said(water, site)) <= MAX_LOSING


def test_one_egg_of_many(site: Site) -> None:
    """One of many that differs from the rest is told by its number; others that only stray a little are not."""
    book = EggBook(HEN)
    for egg in range(1, 9):
        book = weighed(site, book, egg, 12.1 + 0.1 * egg, DAYS)
    book = weighed(site, book, 9, 20.0, DAYS)
    water = seen(site, book)
    assert water.together is not None
    assert water.together.outliers == (9,)
    assert water.off is True
    assert said(water, site).startswith("egg 9: loss by pip ")


def test_each_of_few(site: Site) -> None:
    """Of fewer eggs than make a middle each counts; the one farthest off leads, and the other is named."""
    book = weighed(site, EggBook(HEN), 1, 9.0, DAYS)
    book = weighed(site, book, 2, 18.0, DAYS)
    book = weighed(site, book, 3, 12.5, DAYS)
    water = seen(site, book)
    assert water.off is True
    assert said(water, site).startswith("egg 1: loss by pip ") or said(water, site).startswith("egg 2: loss by pip ")
    assert said(water, site).endswith(("; also egg 2", "; also egg 1"))


def test_nobody_can_say(site: Site) -> None:
    """A loss whose interval reaches into the window is neither: what stands stays, nothing begins."""
    book = put(put(EggBook(HEN), 8.0, Weighing(60.0, error_g=0.1), 1), 10.0, Weighing(58.9, error_g=0.1), 1)
    water = seen(site, book)
    track = water.eggs[1].track
    assert track is not None
    assert track.state == "unsure"
    assert (water.off, water.about) == (None, None)


def test_nothing_goes_on(site: Site) -> None:
    """Once every egg has ended nothing is off: what stood is over."""
    book = put(weighed(site, EggBook(HEN), 1, 18.0, DAYS), 12, Dead("late"), 1)
    assert seen(site, book, 13.0, record(13.0)).off is False


def test_an_egg_that_was_never_weighed_keeps_nothing_off(site: Site) -> None:
    """After pip, with every weighed egg at its end, one without a weight that goes on has no loss to be judged by."""
    book = weighed(site, EggBook(HEN), 1, 18.0, DAYS)
    book = put(put(book, 12.0, Candling("alive"), 2), 20.0, Hatched(), 1)
    water = seen(site, book, 20.9, record(20.9))
    assert water.eggs[2].loss is None
    assert (water.off, water.about) == (False, None)


def test_after_pip_it_is_judged_by_the_day_of_pip(site: Site) -> None:
    """An egg that goes on past pip loses more than the target, which is of pip: it is on track, alone or with others, and what it lost until
    now is still told."""
    for eggs in (1, 6):
        book = EggBook(HEN)
        for egg in range(1, eggs + 1):
            book = weighed(site, book, egg, 13.0 + 0.1 * egg, DAYS)
        water = seen(site, book, 20.9, record(20.9))
        own = water.eggs[1]
        assert own.loss is not None
        assert own.loss.now_pct.value > WINDOW_PCT[1]
        assert own.by_pip_pct is not None
        assert own.by_pip_pct.value == pytest.approx(13.1, abs=0.4)
        assert own.track is not None
        assert (own.track.state, water.off) == ("on track", False)
        assert water.together is not None
        assert water.together.now_pct.value > WINDOW_PCT[1] > water.together.pip_pct.value
    dry = weighed(site, EggBook(HEN), 1, 18.0, DAYS)
    assert seen(site, dry, 20.9, record(20.9)).off is True


@pytest.mark.parametrize("at", [14.0, 19.5])
@pytest.mark.parametrize("found", ["clear", "early dead"])
def test_an_egg_without_a_chick_loses_nothing_to_pip(site: Site, at: float, found: str) -> None:
    """An egg that was last candled clear, or dead since its first days, has no loss to pip, whether or not its end was written as well."""
    book = put(weighed(site, EggBook(HEN), 3, 12.5, DAYS), at, Candling(found), 3)
    stretches = tuple(stretches_of(kept(record(21.0)), site, book.batch, now=day(21.0)))
    assert water_to_pip(site, book, day(21.0), stretches=stretches)[1] == {}
    alive = put(book, at + 0.1, Candling("alive"), 3)
    assert list(water_to_pip(site, alive, day(21.0), stretches=stretches)[1]) == [3]


def test_a_hatch_that_was_put_right_after_pip(site: Site) -> None:
    """What was lost by pip goes by the date that stands, and not by the wrong one before."""
    plain = weighed(site, EggBook(HEN), 3, 12.5, (*DAYS, 16.0))
    wrong = put(plain, 17.0, Hatched(), 3)
    mended = put(wrong, 21.0, Hatched(), 3, replaces=wrong.entries[-1].number)
    right = put(plain, 21.0, Hatched(), 3)
    air = record(21.5)
    by_pip = seen(site, mended, 21.5, air).eggs[3].by_pip_pct
    assert by_pip == seen(site, right, 21.5, air).eggs[3].by_pip_pct
    assert by_pip is not None
    assert by_pip.value == pytest.approx(12.5, abs=0.4)


def test_a_species_without_a_target(site: Site) -> None:
    """Nothing is judged where no source says what the loss should be."""
    bare = replace(site.profiles["chicken"], target_loss_pct=None)
    other = replace(site, profiles={**site.profiles, "chicken": bare})
    water = seen(other, weighed(site, EggBook(HEN), 1, 20.0, DAYS))
    assert (water.off, water.window_pct) == (None, None)
    assert water.eggs[1].track is None
    assert water.eggs[1].loss is not None


@pytest.mark.parametrize("others", [0, 3])
def test_what_is_to_be_set_fits_one_message(site: Site, others: int) -> None:
    """With the range that would do and what it does to many others the words outgrow a message: these are left out, never what is to be set."""
    book = EggBook(HEN)
    for egg in range(1, others + 1):
        book = weighed(site, book, egg, 12.0 + 0.1 * egg, DAYS)
    water = seen(site, weighed(site, book, 24, 15.2, DAYS))
    words = said(water, site)
    assert len(words) <= MAX_LOSING
    assert words.startswith("egg 24: loss by pip ")
    assert re.search(r"\d\d % RH .*from now on, 50 % now, leads to \d+\.\d %", words)
    for unit in ("C", "F"):
        assert water.about is not None
        assert len(losing_words(water.about, make_site(unit))) <= MAX_LOSING


def two_scales(site: Site, eggs: int) -> EggBook:
    """Eggs that lose 12.5 % by pip, weighed on one scale up to day 8 and on another from then on, which shows 0.3 g more."""
    book, per_pull = EggBook(HEN), 60.0 * 0.125 / pull(site, 0.0, PIP_DAY)
    for egg in range(1, eggs + 1):
        for at in (0.0, 4.0, 8.0, 9.0, 12.0):
            more_g, scale = (0.3, "new") if at > 8.0 else (0.0, "old")
            shown_g = round(60.0 - per_pull * pull(site, 0.0, at) + more_g, 2)
            book = put(book, at, Weighing(shown_g, error_g=0.01, scale=scale), egg)
    return book


def test_a_new_scale_is_fitted_from_the_eggs_weighed_on_both(site: Site) -> None:
    """The loss is that of the eggs and not of the scale; with five others weighed on both, its offset and the loss are told closer than by one egg alone."""
    alone, many = (seen(site, two_scales(site, eggs)).eggs[1].loss for eggs in (1, 6))
    assert alone is not None
    assert many is not None
    for loss in (alone, many):
        assert loss.line.offsets_g["new"][0] == pytest.approx(0.3, abs=0.05)
        assert loss.pip_pct.value == pytest.approx(12.5, abs=0.5)
        assert loss.line.kink is None
    assert many.line.offsets_g["new"][1] < 0.7 * alone.line.offsets_g["new"][1]
    assert many.pip_pct.high - many.pip_pct.low < alone.pip_pct.high - alone.pip_pct.low


def to_pip(book: EggBook, until_d: float | None, egg: int = 3) -> tuple[float, bool] | None:
    """What a loss of 12 % comes to, of an egg that ended on a day of a term with its pip on day 20."""
    loss = SimpleNamespace(pip_pct=SimpleNamespace(value=12.0))
    until = None if until_d is None else day(until_d)
    water: Any = SimpleNamespace(eggs={3: SimpleNamespace(loss=loss, until=until)}, pip_day=20.0)
    return water_module._lost_to_pip(book, egg, water)


@pytest.mark.parametrize(
    ("until_d", "lost"),
    [
        (None, (12.0, False)),
        (20.5, (12.0, False)),
        (19.0, (12.0, False)),
        (18.0, (12.0 / 0.9, True)),
        (10.0, (24.0, True)),
        (9.99, None),
    ],
)
def test_from_when_on_a_loss_is_that_to_pip(until_d: float | None, lost: tuple[float, bool] | None) -> None:
    """From 95 % of the way to pip it is; from half the way on it is carried there at the egg's own pace; before, it says too little."""
    found = to_pip(EggBook(HEN), until_d)
    assert found == pytest.approx(lost)
    assert to_pip(EggBook(HEN), until_d, egg=4) is None


@pytest.mark.parametrize(
    ("facts", "lost"),
    [
        ([Sign("internal pip")], (12.0, False)),
        ([Sign("external pip")], (12.0, False)),
        ([Hatched()], (12.0, False)),
        ([Dead("late")], (20.0, True)),
        ([Dead("internal pip")], (20.0, True)),
        ([Removed("broken")], (20.0, True)),
        ([Candling("alive")], (20.0, True)),
        ([Candling("dead")], (20.0, True)),
        ([Dead("early")], None),
        ([Dead("middle")], None),
        ([Removed("clear")], None),
        ([Split("hen-1-b")], None),
        ([Candling("clear")], None),
        ([Candling("early dead")], None),
        ([Candling("clear"), Dead("late")], (20.0, True)),  # its end counts more than how it was candled
    ],
)
def test_whose_loss_leads_to_pip(facts: list[Fact], lost: tuple[float, bool] | None) -> None:
    """Of an egg that ended on day 12 of 20: as it was where it pipped or hatched, carried on where it lived past its middle, else none."""
    book = EggBook(HEN)
    for fact in facts:
        book = put(book, 12.0, fact, 3)
    found = to_pip(book, 12.0)
    assert found == pytest.approx(lost)


def test_the_book_as_on_the_day_of_pip(site: Site) -> None:
    """Until that instant as it is; after it closed there, in no machine longer, and without an end that came later."""
    book = put(put(weighed(site, EggBook(HEN), 1, 12.0, DAYS), PIP_DAY, Hatched(), 1), PIP_DAY + 0.1, Hatched(), 2)
    pip = HEN.set_at + timedelta(days=pip_day(site.profiles["chicken"]))
    assert water_module._at_pip(book, site, pip) is book
    at = water_module._at_pip(book, site, pip + timedelta(seconds=1))
    assert at.batch.closed_at == pip
    assert [stay.until for stay in at.batch.stays] == [pip]
    assert [e.egg for e in at.entries if e.ends] == [1]
    two = replace(
        HEN, stays=(Stay("setter-1", SET, day(18.0)), Stay("hatcher-1", day(18.0), day(21.0)), Stay("setter-1", pip))
    )
    stays = water_module._at_pip(EggBook(two), site, day(21.0)).batch.stays
    assert [(s.machine, s.until) for s in stays] == [("setter-1", day(18.0)), ("hatcher-1", pip)]
    ended = replace(HEN, closed_at=pip)
    assert water_module._at_pip(EggBook(ended), site, day(30.0)).batch is ended


def test_who_is_beside_a_batch() -> None:
    """The other open batches that are in its machine at that instant; nobody beside one that is in none."""
    beside = replace(HEN, id="hen-2")
    elsewhere = replace(HEN, id="hen-3", stays=(Stay("hatcher-1", SET),))
    over = replace(HEN, id="hen-4", closed_at=day(30.0))
    moved_on = replace(HEN, id="hen-5", stays=(Stay("setter-1", SET, day(3.0)),))
    house = (HEN, beside, elsewhere, over, moved_on)
    assert water_module._beside(HEN, house, day(5.0)) == (beside,)
    assert water_module._beside(HEN, house, day(2.0)) == (beside, moved_on)
    assert water_module._beside(replace(HEN, stays=()), house, day(5.0)) == ()


def test_what_a_verdict_is_of(site: Site) -> None:
    """None of an unknown species, and of one without a window; else whether it is off and what is told, nothing being empty words."""
    on_track = weighed(site, EggBook(HEN), 1, 12.5, DAYS)
    store = kept(record(12.0), Group(batches={HEN.id: HEN}, entries=[(HEN.id, e) for e in on_track.entries]))
    assert weight_verdict(store, site, HEN, now=day(12.0)) == WeightVerdict(False, "")
    assert weight_verdict(store, site, replace(HEN, profile="moa"), now=day(12.0)) is None
    bare = replace(site.profiles["chicken"], target_loss_pct=None)
    assert weight_verdict(store, replace(site, profiles={"chicken": bare}), HEN, now=day(12.0)) is None


def test_a_scale_s_offset_is_fitted_from_every_egg_of_the_house(site: Site) -> None:
    """An egg weighed twice on a new scale that shows 0.5 g more: what eggs of another batch say, which were weighed on both, narrows its loss by a
    third and more, and brings it to the truth."""

    def on_both(book: EggBook, egg: int, days: tuple[float, ...], new_from: float) -> EggBook:
        per_pull = 60.0 * 0.125 / pull(site, 0.0, PIP_DAY)
        for at in days:
            new = at >= new_from
            shown_g = round(60.0 - per_pull * pull(site, 0.0, at) + 0.5 * new, 2)
            book = put(book, at, Weighing(shown_g, error_g=0.01, scale="new" if new else "old"), egg)
        return book

    mine = on_both(EggBook(HEN), 1, (0.0, 9.0, 12.0), 9.0)
    other = EggBook(replace(HEN, id="hen-2"))
    for egg in range(1, 7):
        other = on_both(other, egg, (0.0, 3.0, 5.9, 6.0, 9.0, 12.0), 6.0)
    history = kept(record(12.0))
    books = {mine.batch.id: mine, other.batch.id: other}
    history.book = lambda batch: books[batch.id]  # type: ignore[method-assign]
    alone, helped = (
        there(water_of(history, site, mine, now=day(12.0), batches=batches).eggs[1].loss).pip_pct
        for batches in ((mine.batch,), (mine.batch, other.batch))
    )
    assert helped.high - helped.low < 0.67 * (alone.high - alone.low)
    assert helped.value == pytest.approx(12.5, abs=0.3)
