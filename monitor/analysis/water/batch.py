"""The water of a whole batch: how its eggs differ, the humidity that serves most, and whether one is off its track.

Eggs of one batch differ in conductance by a seventh to a third (hens 14 to 31 %, Meir & Ar 2008; turkeys 15 %, Meir and others
1984), so one humidity never suits all. Each egg has a range of RH that brings it into the window; the humidity that lies in
most of these ranges serves most.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from statistics import fmean, median, median_high, stdev

from monitor.analysis.water.ahead import Ahead, EggLoss, Mend
from monitor.analysis.water.loss import Interval
from monitor.domain.air.psychrometrics import wet_bulb_c
from monitor.domain.alarms.about import Projection, Setting
from monitor.domain.readings.reading import from_ms

# An egg this far from the batch's middle, in the sd that the middle half of them shows, is told apart; with fewer eggs than
# this there is no middle.
OUTLIER_SD, FEWEST = 3.5, 4
MAD_TO_SD = 1.4826  # of a normal distribution
ON_TRACK, OFF_TRACK, UNSURE = "on track", "off track", "unsure"
INNER_RH = 2.0  # a humidity for many eggs lies so far inside their ranges, where these are wide enough, so that none is served by a hair


@dataclass(frozen=True, slots=True)
class Serving:
    """One humidity for all: to set until lockdown, which eggs it brings into the window, and which of the rest want drier or damper.

    Of an egg of which nobody can say yet where it leads, nothing is said but that it is to be weighed again.
    """

    rh_pct: float
    wet_bulb_c: float
    served: tuple[int, ...]
    drier: tuple[int, ...]
    wetter: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class BatchLoss:
    """The eggs of a batch together; numbers are those of eggs.

    pip_pct: mean of their projected losses, as far in doubt as its eggs are on average (what is wrong with the air or the
    egg's temperature is wrong for all). sd_pct, low_pct, high_pct: their spread; sd 0 for one egg. conductance_cv: spread of
    conductance per gram, None where it is not known or for one egg. outliers: eggs that differ from the rest by more than
    chance. serving: None where no egg has a mending humidity. again_ms: when most of its eggs that are unsure will no longer be, weighed
    again; None where none is.
    """

    eggs: tuple[int, ...]
    now_pct: Interval
    pip_pct: Interval
    sd_pct: float
    low_pct: float
    high_pct: float
    conductance_cv: float | None
    outliers: tuple[int, ...]
    serving: Serving | None
    again_ms: int | None = None


@dataclass(frozen=True, slots=True)
class Track:
    """Whether a projected loss is off the window: state ON_TRACK, OFF_TRACK or UNSURE, and what is told of it.

    Off track: the whole interval lies outside the window. On track: the whole interval fits into it. Else nobody knows yet.
    """

    state: str
    where_to: Projection

    @property
    def off(self) -> bool:
        """Whether it is worth an alarm."""
        return self.state == OFF_TRACK


def batch_loss(losses: Mapping[int, EggLoss], ahead: Ahead) -> BatchLoss | None:
    """The eggs of one machine together, by their numbers; None for no eggs."""
    if not losses:
        return None
    values = [loss.pip_pct.value for loss in losses.values()]
    again = [loss.again_ms for loss in losses.values() if loss.again_ms is not None]
    per_gram = [
        found.value / loss.line.mass_at_set_g.value
        for loss in losses.values()
        if (found := loss.line.conductance_mg_d_kpa) is not None
    ]
    return BatchLoss(
        eggs=tuple(losses),
        now_pct=_mean([loss.now_pct for loss in losses.values()]),
        pip_pct=_mean([loss.pip_pct for loss in losses.values()]),
        sd_pct=stdev(values) if len(values) > 1 else 0.0,
        low_pct=min(values),
        high_pct=max(values),
        conductance_cv=stdev(per_gram) / fmean(per_gram) if len(per_gram) > 1 else None,
        outliers=_outliers(losses),
        serving=_serving(losses, ahead),
        again_ms=median_high(again) if again else None,
    )


def track(
    loss: EggLoss, window_pct: tuple[float, float], *, rh_now_pct: float | None = None, others: Sequence[Mend] = ()
) -> Track:
    """Whether an egg's projected loss is off its window: what is projected, and what would mend it, or when to weigh again.

    rh_now_pct: the machine's, to say which way to turn. others: what the other weighed eggs of the machine want.
    """
    return _track(loss.pip_pct, window_pct, setting_of(loss.mend, rh_now_pct, others), again_ms=loss.again_ms)


def batch_track(
    batch: BatchLoss, window_pct: tuple[float, float], rh_now_pct: float | None = None, *, others: Sequence[Mend] = ()
) -> Track:
    """The same of a whole batch: its mean, and the humidity that serves most of its eggs. others: of other batches in the machine."""
    serving, setting = batch.serving, None
    if serving is not None:
        served, eggs = len(serving.served), len(batch.eggs)
        setting = Setting(serving.rh_pct, serving.wet_bulb_c, rh_now_pct, served=served, eggs=eggs)
        setting = _with_others(setting, others)
    return _track(batch.pip_pct, window_pct, setting, again_ms=batch.again_ms)


def setting_of(mend: Mend | None, rh_now_pct: float | None = None, others: Sequence[Mend] = ()) -> Setting | None:
    """The mending humidity as it is told; None where there is none."""
    if mend is None:
        return None
    setting = Setting(
        mend.rh_pct,
        mend.wet_bulb_c,
        rh_now_pct,
        loss_pct=mend.loss_pct,
        reachable=mend.reachable,
        do_pct=mend.do_pct,
    )
    return _with_others(setting, others)


def state_of(pip_pct: Interval, window_pct: tuple[float, float]) -> str:
    """ON_TRACK, OFF_TRACK or UNSURE; see `Track`."""
    if pip_pct.inside(*window_pct):
        return ON_TRACK
    return OFF_TRACK if pip_pct.outside(*window_pct) else UNSURE


def _with_others(setting: Setting, others: Sequence[Mend]) -> Setting:
    now = setting.now_pct
    return replace(
        setting,
        others=len(others) or None,
        others_now=None if now is None or not others else sum(mend.serves(now) for mend in others),
        others_then=sum(mend.serves(setting.rh_pct) for mend in others) if others else None,
    )


def _track(
    pip_pct: Interval, window_pct: tuple[float, float], setting: Setting | None, *, again_ms: int | None
) -> Track:
    state = state_of(pip_pct, window_pct)
    where_to = Projection(
        pip_pct.value,
        pip_pct.low,
        pip_pct.high,
        window_pct,
        on_track=state == ON_TRACK,
        setting=setting if state == OFF_TRACK else None,
        unsure=state == UNSURE,
        again=from_ms(again_ms) if state == UNSURE and again_ms is not None else None,
    )
    return Track(state, where_to)


def _mean(intervals: list[Interval]) -> Interval:
    middle = fmean(each.value for each in intervals)
    down, up = fmean(each.value - each.low for each in intervals), fmean(each.high - each.value for each in intervals)
    return Interval(middle, middle - down, middle + up)


def _outliers(losses: Mapping[int, EggLoss]) -> tuple[int, ...]:
    """Eggs far from the median in the batch's own spread, and by more than their own interval."""
    if len(losses) < FEWEST:
        return ()
    middle = median(loss.pip_pct.value for loss in losses.values())
    sd = MAD_TO_SD * median(abs(loss.pip_pct.value - middle) for loss in losses.values())
    return tuple(
        egg
        for egg, loss in losses.items()
        if abs(loss.pip_pct.value - middle) > OUTLIER_SD * sd and loss.pip_pct.outside(middle, middle)
    )


def _serving(losses: Mapping[int, EggLoss], ahead: Ahead) -> Serving | None:
    """The humidity inside most eggs' ranges that is nearest to that of now; where none is inside any, the nearest to what the middle egg wants."""
    mends = {egg: loss.mend for egg, loss in losses.items() if loss.mend is not None}
    if not mends:
        return None
    window_pct = ahead.target_pct
    sure = {n: m for n, m in mends.items() if window_pct and state_of(losses[n].pip_pct, window_pct) != UNSURE}
    low, high = ahead.held_pct
    inner = {rh for mend in mends.values() for rh in (mend.rh_low_pct, mend.rh_high_pct) if low < rh < high}
    stretches = [
        (sum(mend.serves((a + b) / 2.0) for mend in mends.values()), a, b)
        for a, b in pairwise(sorted(inner | {low, high}))
    ]
    most = max(count for count, _, _ in stretches)
    wanted = median(mend.rh_pct for mend in mends.values())
    now = wanted if ahead.rh_pct is None else ahead.rh_pct
    settings = [_into(now, a, b) for count, a, b in stretches if count == most] if most else [wanted]
    rh_pct = min(settings, key=lambda rh: abs(rh - now))
    return Serving(
        rh_pct,
        wet_bulb_c(ahead.dry_bulb_c, rh_pct, ahead.pressure_kpa),
        tuple(egg for egg, mend in mends.items() if mend.serves(rh_pct)),
        tuple(egg for egg, mend in sure.items() if mend.rh_high_pct < rh_pct),
        tuple(egg for egg, mend in sure.items() if mend.rh_low_pct > rh_pct),
    )


def _into(now: float, low: float, high: float) -> float:
    """The humidity nearest to that of now between two, and a little inside; that of now where it lies there."""
    if low <= now <= high:
        return now
    inside = min(INNER_RH, (high - low) / 4.0)
    return min(max(now, low + inside), high - inside)
