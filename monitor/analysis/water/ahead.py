"""Where an egg's loss leads to by pip and by hatch, and the humidity that from now on brings it to the target.

An egg is judged by its loss from the set time to internal pip, to which `needs/target` turns what its source says. The line to follow is straight: at a steady deficit an egg
loses the same each day. Humidity can be chosen until lockdown, where that of the profile takes over; once lockdown has begun,
until pip. Needed: the pull that is still missing for the target, spread over those days. Taken from the egg's saturated
pressure it gives the vapour pressure of the air, and with the machine's temperature its RH and wet bulb.

What is told is the smallest change that brings the egg into its window, and not the middle of it: every other egg of the machine
bears the change too. What no machine can hold, or the stage may not have, is not told as a number to set: it is "not reachable",
with what the driest or dampest air that it may have would still reach. While the interval lies across an edge of the window
nothing is told to be set, but when another weighing will have made it narrow enough.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from monitor.analysis.water.loss import AHEAD_DOUBT, GAP_DOUBT, Interval, LossLine, since_set
from monitor.analysis.water.pull import Pull
from monitor.domain.air.psychrometrics import rh_from_wet_bulb_pct, saturation_vapour_kpa, wet_bulb_c
from monitor.domain.eggs.temperature import EggModel
from monitor.domain.needs.profile import Profile, Stage
from monitor.domain.needs.target import pip_day, target_of
from monitor.domain.readings.reading import DAY_MS

# Dry end: air of a dry room (18 °C, 45 %) warmed to 37.5 °C has 14 % (computed); drier needs a dryer. Damp end: a machine
# that breathes does not hold more for days on end (judgement; hatchers are run at up to 80 %).
HELD_RH_PCT = (15.0, 85.0)
SHORTEST_D = 0.5  # less is too late to steer an egg by
# So far inside the window's edge, as a share of the window, so that no egg is brought there by a hair.
INSIDE_SHARE = 0.05


@dataclass(frozen=True, slots=True)
class Ahead:
    """What lies before an egg if the machine stays as it is.

    steer_d: days for which humidity can be chosen; egg_kpa: mean saturated pressure at the egg's temperature in them, and
    dry_bulb_c, rh_pct the machine's air. later_pull: from then to pip, kPa·d; later_d: the days of that. hatch_pull, hatch_d:
    from pip to hatch as if the shell stayed whole. target_pct: the window of loss at pip, None where the profile has none.
    held_pct: the RH that may be set in those days, low and high: what a machine holds and its stage may have.
    """

    now_ms: int
    steer_d: float
    egg_kpa: float
    dry_bulb_c: float
    rh_pct: float | None
    pressure_kpa: float
    later_pull: float
    later_d: float
    hatch_pull: float
    hatch_d: float
    target_pct: tuple[float, float] | None
    held_pct: tuple[float, float] = HELD_RH_PCT

    @property
    def air_kpa(self) -> float:
        """Saturated pressure at the machine's dry bulb: RH is a share of this."""
        return saturation_vapour_kpa(self.dry_bulb_c)

    @property
    def deficit_kpa(self) -> float | None:
        """Mean deficit in the days to steer, if the humidity stays; None where it is not known."""
        return None if self.rh_pct is None else self.egg_kpa - self.rh_pct / 100.0 * self.air_kpa


@dataclass(frozen=True, slots=True)
class Mend:
    """The humidity from now on. rh_pct, wet_bulb_c: to set. loss_pct: at pip with it.

    reachable: whether that lies in the window. rh_low_pct, rh_high_pct: between these the loss ends inside the window; they
    may lie beyond what a machine holds, and beyond 0 to 100. do_pct: of that range what may be set, None where nothing may.
    until_d: for how many days.
    """

    rh_pct: float
    wet_bulb_c: float
    loss_pct: float
    reachable: bool
    rh_low_pct: float
    rh_high_pct: float
    do_pct: tuple[float, float] | None
    until_d: float

    def serves(self, rh_pct: float) -> bool:
        """Whether that humidity from now on brings the egg into its window."""
        return self.rh_low_pct <= rh_pct <= self.rh_high_pct


@dataclass(frozen=True, slots=True)
class EggLoss:
    """One egg's water: its line, its loss in per cent of its mass at set, now, by pip and by hatch, and the mending humidity.

    mend: None where no humidity was recorded, the profile has no target, or there is no time left. again_ms: while the loss by pip
    lies across an edge of the window: when one more weighing will as likely as not show on which side; None where none will.
    """

    line: LossLine
    now_pct: Interval
    pip_pct: Interval
    hatch_pct: Interval
    mend: Mend | None
    again_ms: int | None = None


def ahead_of(
    profile: Profile,
    model: EggModel,
    *,
    set_ms: int,
    now_ms: int,
    dry_bulb_c: float,
    rh_pct: float | None,
    pressure_kpa: float,
    lockdown_day: float | None = None,
    pip: float | None = None,
) -> Ahead:
    """What lies before the eggs of a batch.

    Parameters
        model: the egg in the machine it is in. dry_bulb_c, rh_pct: that machine's air, as it has been lately (means of a
            day, say); rh_pct None where it is not measured. lockdown_day: as declared, None for the profile's. pip: day of
            internal pip, None for `pip_day`.
    """
    day = (now_ms - set_ms) / DAY_MS
    pip = max(day, pip_day(profile) if pip is None else pip)
    hatch, target = max(pip, profile.days), target_of(profile)
    lockdown = profile.lockdown_day if lockdown_day is None else lockdown_day
    turn = lockdown if day < lockdown < pip else pip
    after = next(stage for stage in profile.stages if stage.name == "lockdown")
    later_dry_c, later_rh = _set_air(after, model, pressure_kpa)
    if turn == pip or later_rh is None:
        later_dry_c, later_rh = dry_bulb_c, rh_pct
    deficit = [
        _egg_kpa(model, dry_c, first_day=first, last_day=last) - (rh or 0.0) / 100.0 * saturation_vapour_kpa(dry_c)
        for dry_c, rh, first, last in ((later_dry_c, later_rh, turn, pip), (later_dry_c, later_rh, pip, hatch))
    ]
    return Ahead(
        now_ms=now_ms,
        steer_d=turn - day,
        egg_kpa=_egg_kpa(model, dry_bulb_c, first_day=day, last_day=turn),
        dry_bulb_c=dry_bulb_c,
        rh_pct=rh_pct,
        pressure_kpa=pressure_kpa,
        later_pull=deficit[0] * (pip - turn),
        later_d=pip - turn,
        hatch_pull=deficit[1] * (hatch - pip),
        hatch_d=hatch - pip,
        target_pct=None if target is None else target.by_pip_pct,
    )


def egg_loss(line: LossLine, pull: Pull | None, *, set_ms: int, ahead: Ahead) -> EggLoss:
    """The loss of one egg, as it is and as it will be."""
    mean_kpa = None if pull is None else pull.mean_kpa
    if line.by_days or pull is None or mean_kpa is None:
        now, assumed = (ahead.now_ms - set_ms) / DAY_MS, 0.0
        to_pip, to_hatch = ahead.steer_d + ahead.later_d, ahead.hatch_d
    else:
        now, assumed = since_set(pull, mean_kpa, set_ms=set_ms, at_ms=ahead.now_ms)
        assumed = max(0.0, assumed - since_set(pull, mean_kpa, set_ms=set_ms, at_ms=line.last_ms)[1])
        deficit = mean_kpa if ahead.deficit_kpa is None else ahead.deficit_kpa
        to_pip, to_hatch = deficit * ahead.steer_d + ahead.later_pull, ahead.hatch_pull
    rate = abs(line.g_per_pull)
    gap_g = GAP_DOUBT * rate * assumed

    def at(more: float) -> Interval:
        return line.loss_pct(now + more, math.hypot(gap_g, AHEAD_DOUBT * rate * max(0.0, more)))

    pip_pct = at(to_pip)
    again_ms = _sure_ms(line, ahead, pip_pct, now=now, to_pip=to_pip)
    return EggLoss(
        line=line,
        now_pct=at(0.0),
        pip_pct=pip_pct,
        hatch_pct=at(to_pip + to_hatch),
        mend=mend_of(line, now, ahead),
        again_ms=again_ms,
    )


def mend_of(line: LossLine, pull_now: float, ahead: Ahead) -> Mend | None:
    """The humidity nearest to that of now which brings the egg into the window, or as near to it as it may be set."""
    if line.by_days or ahead.target_pct is None or ahead.steer_d < SHORTEST_D or not line.g_per_pull > 0.0:
        return None

    def rh_for(loss_pct: float) -> float:
        deficit = (line.pull_for(loss_pct) - pull_now - ahead.later_pull) / ahead.steer_d
        return 100.0 * (ahead.egg_kpa - deficit) / ahead.air_kpa

    low_pct, high_pct = ahead.target_pct
    (held_low, held_high), inside = ahead.held_pct, INSIDE_SHARE * (high_pct - low_pct)
    driest, dampest = rh_for(high_pct - inside), rh_for(low_pct + inside)
    now_pct = (driest + dampest) / 2.0 if ahead.rh_pct is None else ahead.rh_pct
    rh_pct = min(max(min(max(now_pct, driest), dampest), held_low), held_high)
    deficit = ahead.egg_kpa - rh_pct / 100.0 * ahead.air_kpa
    loss_pct = line.loss_pct(pull_now + deficit * ahead.steer_d + ahead.later_pull).value
    rh_low, rh_high = rh_for(high_pct), rh_for(low_pct)
    do_pct = (max(rh_low, held_low), min(rh_high, held_high))
    return Mend(
        rh_pct=rh_pct,
        wet_bulb_c=wet_bulb_c(ahead.dry_bulb_c, rh_pct, ahead.pressure_kpa),
        loss_pct=loss_pct,
        reachable=rh_low <= rh_pct <= rh_high,
        rh_low_pct=rh_low,
        rh_high_pct=rh_high,
        do_pct=do_pct if do_pct[0] <= do_pct[1] else None,
        until_d=ahead.steer_d,
    )


def _sure_ms(line: LossLine, ahead: Ahead, pip_pct: Interval, *, now: float, to_pip: float) -> int | None:
    """When one more weighing will as likely as not show on which side of the window's edge the loss by pip lies; in whole days from now.

    The loss that is projected then is not that of now: it moves by as much as the doubt of now is greater than that of then.
    """
    window, days = ahead.target_pct, int(ahead.steer_d + ahead.later_d)
    if window is None or days < 1 or pip_pct.inside(*window) or pip_pct.outside(*window):
        return None
    sd_now = (pip_pct.high - pip_pct.value) / line.reach

    def sure(day: int) -> bool:
        done = to_pip * day / (ahead.steer_d + ahead.later_d)
        then = line.weighed_again(now + done)
        found = then.loss_pct(now + to_pip, AHEAD_DOUBT * abs(line.g_per_pull) * max(0.0, to_pip - done))
        up, down = found.high - found.value, found.value - found.low
        moved = NormalDist(pip_pct.value, math.sqrt(max(1e-12, sd_now**2 - (up / then.reach) ** 2)))
        inside = max(0.0, moved.cdf(window[1] - up) - moved.cdf(window[0] + down))
        return inside + moved.cdf(window[0] - up) + 1.0 - moved.cdf(window[1] + down) >= 0.5

    if not sure(days):
        return None
    early, late = 0, days  # the later, the narrower: halved until the first day is found
    while late - early > 1:
        middle = (early + late) // 2
        early, late = (early, middle) if sure(middle) else (middle, late)
    return ahead.now_ms + late * DAY_MS


def _set_air(stage: Stage, model: EggModel, pressure_kpa: float) -> tuple[float, float | None]:
    """(dry bulb, RH) that a stage aims at, as the probe of that machine reads them; RH None where nothing says."""
    dry_c = stage.dry_bulb_c.target
    if dry_c is None:
        return math.nan, None
    dry_c += model.layer_k
    if stage.rh_pct is not None:
        return dry_c, stage.rh_pct.target
    wet_c = None if stage.wet_bulb_c is None else stage.wet_bulb_c.target
    return dry_c, None if wet_c is None else rh_from_wet_bulb_pct(dry_c, min(wet_c, dry_c), pressure_kpa)


def _egg_kpa(model: EggModel, dry_bulb_c: float, *, first_day: float, last_day: float) -> float:
    """Mean saturated pressure at the egg's temperature, over days in air that stays."""
    days = np.linspace(first_day, last_day, 25)
    egg_c = np.array([model.start(dry_bulb_c, float(day)) for day in days])
    kpa = saturation_vapour_kpa(egg_c)
    return float((kpa[:-1] + kpa[1:]).sum() / (2.0 * (len(kpa) - 1)))
