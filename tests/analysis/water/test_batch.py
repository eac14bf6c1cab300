"""A batch's eggs together: spread, strangers, the humidity that serves most, and whether they are off their track."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.analysis.water.ahead import HELD_RH_PCT, Ahead, EggLoss, Mend, egg_loss
from monitor.analysis.water.batch import (
    OFF_TRACK,
    ON_TRACK,
    UNSURE,
    BatchLoss,
    Track,
    batch_loss,
    batch_track,
    setting_of,
    state_of,
    track,
)
from monitor.analysis.water.loss import Interval
from monitor.domain.air.psychrometrics import saturation_vapour_kpa, wet_bulb_c
from monitor.shown.about import projection_words, setting_words
from tests.analysis.weighed import SEA_KPA, SET_MS, constant, day_ms, figure, line
from tests.one_egg import make_site

SITE = make_site()
WINDOW = (13.0, 16.0)
AHEAD = Ahead(day_ms(12.0), 12.0, saturation_vapour_kpa(37.5), 37.5, 53.0, SEA_KPA, 0.0, 0.0, 0.0, 0.0, WINDOW)


def egg(g: float, error_g: float = 0.02) -> EggLoss:
    """20 g, weighed every third day up to day 12 at a deficit of 3 kPa; g in g/(kPa d): 0.04 loses 14.5 % by day 24."""
    found = line([(float(d), 20.0 - g * 3.0 * d) for d in range(0, 13, 3)], constant(3.0), error_g)
    return egg_loss(found, constant(3.0), set_ms=SET_MS, ahead=AHEAD)


def batch(*gs: float) -> BatchLoss:
    found = batch_loss({i: egg(g) for i, g in enumerate(gs, 1)}, AHEAD)
    assert found is not None
    return found


def said(found: Track) -> str:
    """In words, where temperatures are shown in °C."""
    return projection_words(found.where_to, SITE)


def test_spread() -> None:
    """Mean, spread and extremes of four eggs' projected losses; their conductance differs by the share it was given."""
    found = batch(0.036, 0.038, 0.042, 0.044)
    assert found.pip_pct.value == pytest.approx(egg(0.04).pip_pct.value, rel=1e-6)
    assert found.low_pct == pytest.approx(egg(0.036).pip_pct.value)
    assert found.high_pct == pytest.approx(egg(0.044).pip_pct.value)
    assert found.conductance_cv == pytest.approx(0.0913, abs=0.0005)  # sd of 36, 38, 42, 44 over 40
    assert found.sd_pct == pytest.approx(0.0913 * egg(0.04).pip_pct.value, rel=0.01)
    assert found.outliers == ()


def test_one_egg_is_a_batch() -> None:
    """One egg has no spread, is no stranger to itself, and is served by its own humidity; no eggs are no batch."""
    found = batch(0.03)
    own = egg(0.03).mend
    assert own is not None
    assert (found.sd_pct, found.conductance_cv, found.outliers) == (0.0, None, ())
    assert found.serving is not None
    assert own.serves(found.serving.rh_pct)
    assert found.serving.rh_pct == pytest.approx(own.rh_pct, abs=1.0)
    assert found.serving.served == (1,)
    assert batch_loss({}, AHEAD) is None


def test_the_stranger_is_told_apart() -> None:
    """Of six alike eggs and one whose shell leaks twice as much, that one is named; six that differ a little are not."""
    assert batch(0.039, 0.0395, 0.04, 0.0405, 0.041, 0.0402, 0.08).outliers == (7,)
    assert batch(0.036, 0.038, 0.040, 0.042, 0.044, 0.041).outliers == ()


def test_the_humidity_that_serves_most() -> None:
    """Three eggs alike, a tight one and a leaky one: the three are served, the tight one wants drier, the leaky one damper."""
    found = batch(0.040, 0.041, 0.0405, 0.028, 0.062)
    assert found.serving is not None
    assert found.serving.served == (1, 2, 3)
    assert found.serving.drier == (4,)
    assert found.serving.wetter == (5,)
    assert found.serving.wet_bulb_c == pytest.approx(wet_bulb_c(37.5, found.serving.rh_pct, SEA_KPA))


def test_of_an_egg_that_is_unsure_nobody_says_what_it_wants() -> None:
    """The tight egg and the leaky one, not yet known well enough to be told off their track, are to be weighed again, and no more."""
    losses = {n: egg(g) for n, g in enumerate((0.040, 0.041, 0.0405, 0.028, 0.062), start=1)}
    for unsure in (4, 5):
        pip = losses[unsure].pip_pct
        wide = Interval(pip.value, pip.value - 9.0, pip.value + 9.0)  # and no one weighing that would settle it
        known = batch_loss(losses | {unsure: replace(losses[unsure], pip_pct=wide, again_ms=None)}, AHEAD)
        assert known is not None
        assert known.serving is not None
        assert known.serving.served == (1, 2, 3)
        assert (known.serving.drier, known.serving.wetter) == (() if unsure == 4 else (4,), () if unsure == 5 else (5,))


def test_of_two_camps_the_one_nearer_to_the_middle_egg() -> None:
    """Two tight eggs, two leaky ones and a single one at the leaky side's edge: both camps count two, the humidity is that of the nearer."""
    found = batch(0.030, 0.030, 0.052, 0.052, 0.090)
    assert found.serving is not None
    assert found.serving.served == (3, 4)
    assert found.serving.drier == (1, 2)
    assert found.serving.wetter == (5,)


def test_nobody_served() -> None:
    """Eggs that no humidity a machine holds brings into the window are all unserved, on the side that they want."""
    found = batch(0.012, 0.013)
    assert found.serving is not None
    assert found.serving.served == ()
    assert found.serving.drier == (1, 2)
    assert said(batch_track(found, WINDOW)).endswith(
        "; not reachable within their band for any of 2 eggs; 15 % RH comes nearest"
    )


@settings(max_examples=60, deadline=None)
@given(st.lists(st.floats(0.02, 0.07), min_size=1, max_size=8))
def test_no_other_humidity_serves_more(gs: list[float]) -> None:
    """Trying every half per cent that a machine can hold finds none that serves more eggs, and each egg is served, wants one way, or is unsure."""
    losses = {i: egg(g) for i, g in enumerate(gs, 1)}
    found = batch_loss(losses, AHEAD)
    assert found is not None
    assert found.serving is not None
    mends = [loss.mend for loss in losses.values() if loss.mend is not None]
    low, high = HELD_RH_PCT
    tried = [low + 0.5 * i for i in range(int((high - low) * 2) + 1)]
    best = max(sum(m.rh_low_pct <= rh <= m.rh_high_pct for m in mends) for rh in tried)
    assert len(found.serving.served) >= best
    sides = (*found.serving.served, *found.serving.drier, *found.serving.wetter)
    unsure = [
        i for i, loss in losses.items() if state_of(loss.pip_pct, WINDOW) == UNSURE and i not in found.serving.served
    ]
    assert sorted((*sides, *unsure)) == sorted(losses)
    assert low <= found.serving.rh_pct <= high


def heading(pip: Interval, mend: Mend | None = None, again_ms: int | None = None) -> EggLoss:
    """An egg that is heading there."""
    return replace(egg(0.04), pip_pct=pip, mend=mend, again_ms=again_ms)


@pytest.mark.parametrize(
    ("pip", "state"),
    [
        (Interval(14.0, 13.2, 14.8), ON_TRACK),
        (Interval(14.0, 12.0, 17.0), UNSURE),
        (Interval(14.0, -159.0, 187.0), UNSURE),
        (Interval(12.5, 11.5, 13.5), UNSURE),
        (Interval(11.0, 9.5, 12.9), OFF_TRACK),
        (Interval(16.5, 15.5, 17.5), UNSURE),
        (Interval(18.0, 16.1, 19.9), OFF_TRACK),
    ],
)
def test_on_track_fits_into_the_window_and_off_track_lies_outside(pip: Interval, state: str) -> None:
    """Only a whole interval inside is on track, and only one wholly outside off it; nobody knows of the rest, however its value lies."""
    found = track(heading(pip), WINDOW)
    assert found.state == state
    assert found.off is (state == OFF_TRACK)


DRY = Mend(58.0, 29.8, 15.4, True, 52.0, 60.0, (52.0, 60.0), 9.0)


def test_the_words_of_a_dry_machine_s_egg() -> None:
    """Projected loss with its bounds, window, and the RH and wet bulb that mend it, in the site's unit, short enough for a phone."""
    loss = heading(Interval(18.0, 16.6, 19.4), DRY)
    found = track(loss, WINDOW, rh_now_pct=41.0)
    assert said(found) == (
        "loss by pip 18.0 % (16.6 to 19.4), target 13 to 16 %; "
        "58 % RH (wet bulb 29.8 °C) from now on, 41 % now, leads to 15.4 %; 52 to 60 % would do"
    )
    assert "wet bulb 85.6 °F" in projection_words(found.where_to, make_site(unit="F"))
    assert len(said(found)) < 200


def test_what_it_does_to_the_others() -> None:
    """Of the other weighed eggs of the machine it is said how many reach their window with it, and how many as it is."""
    others = [replace(DRY, rh_low_pct=low, rh_high_pct=low + 12.0) for low in (35.0, 38.0, 50.0)]
    found = track(heading(Interval(18.0, 16.6, 19.4), DRY), WINDOW, rh_now_pct=41.0, others=others)
    assert said(found).endswith("; of the 3 other weighed eggs there 1 would reach their target with it, 2 without it")
    unheard = track(heading(Interval(18.0, 16.6, 19.4), DRY), WINDOW, others=others)
    assert said(unheard).endswith(
        "; of the 3 other weighed eggs there 1 would reach their target with it"
    )  # where its humidity now is not known
    for other, words in (
        (others[0], "miss its target with it, reach it without"),
        (others[2], "reach its target with it, miss it without"),
    ):
        one = track(heading(Interval(18.0, 16.6, 19.4), DRY), WINDOW, rh_now_pct=41.0, others=[other])
        assert said(one).endswith(f"; the other weighed egg there would {words}")
    alone = setting_of(DRY, 41.0)
    assert alone is not None
    assert (alone.others, alone.others_now, alone.others_then) == (None, None, None)


def test_nothing_is_to_be_set_while_nobody_knows() -> None:
    """An egg across an edge of its window is told when to weigh again, and no humidity; one that no weighing can settle is told so."""
    wide = Interval(12.8, 11.9, 13.7)
    found = track(heading(wide, DRY, day_ms(15.0)), WINDOW, rh_now_pct=41.0)
    assert found.where_to.setting is None
    assert said(found) == "loss by pip 12.8 % (11.9 to 13.7), target 13 to 16 %; weigh again on 16 Mar 2026"
    assert said(track(heading(wide, DRY), WINDOW)).endswith(
        "; the weighings cannot tell yet: weigh each day, on a finer scale if there is one"
    )


def test_the_words_of_what_cannot_be_reached() -> None:
    """What a machine cannot hold is called not reachable, with what its limit would still do; without any humidity that is said."""
    mend = Mend(15.0, 20.1, 9.8, False, -20.0, 2.0, None, 5.0)
    words = "not reachable within its band: even 15 % RH leads to 9.8 %"
    assert setting_words(setting_of(mend), SITE) == words
    assert setting_words(setting_of(None), SITE) == "no humidity can be told"


def test_a_batch_off_its_track() -> None:
    """A batch whose mean is off is said to be, with the humidity for most of its eggs; on track it says no more than its loss."""
    tight = batch(0.026, 0.027, 0.028)
    found = batch_track(tight, WINDOW, 53.0)
    assert found.off
    assert tight.serving is not None
    assert f"{tight.serving.rh_pct:.0f} % RH" in said(found)
    assert said(found).endswith("from now on, 53 % now, serves 3 of 3 eggs")
    well = batch_track(batch(0.039, 0.040, 0.041), WINDOW)
    assert well.state == ON_TRACK
    assert ";" not in said(well)
    dumb = batch_track(replace(tight, serving=None), WINDOW)
    assert said(dumb).endswith("; no humidity can be told")


def test_a_tray_is_weighed_without_its_tray() -> None:
    """The published tray of 100 eggs has lost 10 % once its own 300 g are taken off, and 9.5 % if they are not."""
    gross = figure("tray-gross-set-g"), figure("tray-gross-now-g")
    for tare, lost in ((figure("tray-tare-g"), figure("tray-loss-pct")), (0.0, figure("tray-loss-untared-pct"))):
        each = [(g - tare) / figure("tray-eggs") for g in gross]
        assert line([(0.0, each[0]), (18.0, each[1])]).loss_pct(18.0).value == pytest.approx(lost, abs=0.03)
