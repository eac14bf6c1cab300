"""What an egg loses: its conductance from its weighings, its loss so far and up to pip, and the humidity that would mend it.

    mass(t) = mass at set - G · pull(t)        G: conductance, g/(kPa·d); pull: `pull`, what the record shows

The line is fitted to all weighings at once by least squares, so the mass at set is found even when the first weighing came
late. Into the interval go the scale's error and the common scatter of weighings, or the masses' own about the line where that
is greater; of time without record (which is given the mean deficit of the rest) GAP_DOUBT; of the time to come AHEAD_DOUBT.

One bad weighing (the tray left on, 19.3 for 13.9) is found by leaving out each in turn. Least squares with Huber's weights
was thought of: the last weighing has the most leverage, and draws such a line to itself. So were medians of slopes (Theil and
Sen): with four weighings one in four already breaks them, and they have no interval of 95 %. A weighing is left out when the
others agree so much better without it that chance does not explain it, when no other would do as well, and never more than
one in four. With three weighings nobody can say which is wrong: then the interval widens.

A line can break. A crack or a repair that was written ends one line and begins another: the conductance is another from then on, and
what a repair weighs is a step. Between a crack and its seal an egg leaks as it likes, much at first or all the time, and never less than
a whole one: what the weighings show of it is lost. Another scale is a step too, within what scales differ by, or as other eggs weighed on
both say. A kink that the weighings show, and nobody wrote, is taken like these where it explains them far better than one bad weighing
would; the breeder is asked what it was. Lighter at once on one and the same scale may have been lost or not: it is counted, and the
interval reaches to both. Over days alone, other air makes a kink too. What was lost is the sum over the pieces.

Without any record of humidity the same line runs over days instead of pull: the published rule of three, true while the air
stays as it was. No humidity can then be advised.

Valid for a whole shell from set to internal pip. The estimate of the egg's temperature, and a sensor that is always 2 % off,
shift the conductance by 4 % or so, which its interval does not show; the projection hardly, for both sides of it shift alike.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from itertools import pairwise
from statistics import NormalDist

import numpy as np

from monitor.analysis.line.trace import Floats, Integers, Mask
from monitor.analysis.water.pull import Pull
from monitor.domain.air.psychrometrics import SEA_LEVEL_KPA
from monitor.domain.eggs.book import FreshMass, Mass, ShellBreak
from monitor.domain.readings.reading import DAY_MS, to_ms

CONFIDENCE = 0.95
# Loss during time without record, as a share of itself (1 sd): under a parent the deficit is 27 torr (Ar & Rahn 1985),
# a quarter above that of a machine at 37.5 °C and 55 %; in a silent machine it is nearer than that.
GAP_DOUBT = 0.25
# Loss yet to come, as a share of itself (1 sd): late in the term the egg's own warmth is known to half of its 0.7 K, and
# that is 4 % of the deficit.
AHEAD_DOUBT = 0.04
# In a store of 15 °C and 75 % the deficit is 0.43 kPa (computed); weighings before the set time are brought to it with this.
STORE_KPA = 0.4
# Masses scatter more than a good scale does: the amazon's daily weights in "Hand-Rearing Birds" (Kasielke, chapter 3) lie
# 0.030 g about their line, 0.11 % of the egg, on a scale of 0.01 g (computed). Draughts, dew, and days that differ.
SCATTER_SHARE = 0.001
# The scale's stated error counts as much as that many weighings' scatter: with two, nothing else is known of it.
ERROR_WORTH = 8
# Less scatter than chance makes once in twenty times of a stated error does not speak against it (judgement).
BELIEVED = 0.95
OUTLIER, CLEAR_BY = 16.0, 6.0  # of chi-squared: 4 sd, and e**3 to 1 against the next suspect
ONE_BAD_IN = 4
# Judgement: an egg that was repaired loses as much as before it cracked, give or take as much again (1 sd); wax or glue weighs some
# thousandths of the egg; two household scales differ by up to a hundredth.
BREAK_SHARE, REPAIR_SHARE, OFFSET_SHARE = 1.0, 0.005, 0.01
# Judgement: what a cracked egg loses beyond a whole one, in losses of a whole one (1 sd); eight times as much in all is no surprise.
CRACK_SHARE = 4.0
# Of chi-squared, for a kink that nobody wrote: 4 sd. It needs so many weighings before it and after it, and a change of that size.
KINK, KINK_BEFORE, KINK_AFTER = 16.0, 3, 2
KINK_TIMES, KINK_STEP_SHARE = 1.2, 0.005
_NO_OFFSETS: Mapping[str, tuple[float, float]] = {}
SHORTEST_KPA_D = 1.0  # weighings nearer to each other than some hours of pull are one weighing


@dataclass(frozen=True, slots=True)
class Interval:
    """A value and the bounds it lies between with CONFIDENCE."""

    value: float
    low: float
    high: float

    def inside(self, low: float, high: float) -> bool:
        """Whether all of it lies from low to high."""
        return low <= self.low and self.high <= high

    def outside(self, low: float, high: float) -> bool:
        """Whether none of it does."""
        return self.high < low or self.low > high


# Why there is no line: no weighing, one alone, or some that are too close together.
NOT_WEIGHED, WEIGHED_ONCE, TOO_CLOSE = "not weighed", "weighed once", "too close"


@dataclass(frozen=True, slots=True)
class NoLine:
    """Why nothing can be said of an egg's loss: NOT_WEIGHED, WEIGHED_ONCE or TOO_CLOSE, and by how many weighings."""

    why: str
    weighings: int


@dataclass(frozen=True, slots=True)
class FarOff:
    """A weighing far off the line of the others."""


@dataclass(frozen=True, slots=True)
class Kink:
    """Where weighings break. entry, at: the first after it. times: how many times as much the egg loses from then on; step_g: or what it was shown heavier at once.

    lost: whether what it was shown lighter at once is counted as lost, for nobody wrote another scale, or something of its shell; sure: whether it can be
    nothing else.
    """

    entry: int
    at: datetime
    times: float | None = None
    step_g: float | None = None
    lost: bool = False
    sure: bool = False


@dataclass(frozen=True, slots=True)
class LossLine:
    """The fitted line of one egg (or tray, as one egg of it).

    by_days: no humidity was recorded, and what stands for pull is days. used, left_out: weighings, by their entry numbers.
    recorded: share of the time from set to the last weighing with a record. kink: where the weighings break for no reason that was written, None where
    they do not. offsets_g: of each scale but the first, what it shows more, and its doubt (1 sd). freedom: what is known of the weighings' scatter, as the
    degrees of freedom of its estimate; error_g: of the last weighing. perhaps_g: of what is counted as lost, what may have been none. The rest is for the
    methods.
    """

    by_days: bool
    used: tuple[int, ...]
    left_out: tuple[int, ...]
    recorded: float
    last_ms: int
    pressure_kpa: float
    theta: Floats
    covariance: Floats
    freedom: float
    error_g: float
    past: Floats
    shows: Floats
    kink: Kink | None = None
    offsets_g: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    perhaps_g: float = 0.0

    @property
    def reach(self) -> float:
        """How many sd the interval reaches to each side."""
        return _student(self.freedom)

    @property
    def mass_at_set_g(self) -> Interval:
        """The egg's mass at the set time."""
        return self._interval(float(self.theta[0]), [1.0])

    @property
    def conductance_mg_d_kpa(self) -> Interval | None:
        """Water-vapour conductance at the site's pressure; None where only days are known."""
        return None if self.by_days else self._scaled(1000.0)

    @property
    def conductance_sea_level_mg_d_kpa(self) -> Interval | None:
        """The same at sea level, to compare with published ones: diffusion goes with one over the pressure (Rahn 1977)."""
        return None if self.by_days else self._scaled(1000.0 * self.pressure_kpa / SEA_LEVEL_KPA)

    def loss_pct(self, pull: float, doubt_g: float = 0.0) -> Interval:
        """Loss in per cent of the mass at set, when the pull since then is this; doubt_g: of the loss, beyond the line's."""
        mass_g, per_pull, extra_g = float(self.theta[0]), float(self.theta[1]), float(self.past @ self.theta)
        pct = 100.0 * (per_pull * pull + extra_g) / mass_g
        gradient = 100.0 / mass_g * self.past
        gradient[:2] += -pct / mass_g, 100.0 * pull / mass_g
        told = self._interval(pct, gradient, 100.0 * doubt_g / mass_g)
        return replace(told, low=told.low - 100.0 * self.perhaps_g / mass_g)

    def pull_for(self, loss_pct: float) -> float:
        """The pull since set that brings the egg to this loss; infinite for an egg that does not lose."""
        mass_g, per_pull, extra_g = float(self.theta[0]), float(self.theta[1]), float(self.past @ self.theta)
        return (loss_pct / 100.0 * mass_g - extra_g) / per_pull if per_pull > 0.0 else math.inf

    def weighed_again(self, pull: float) -> LossLine:
        """The line as one more weighing like the last will leave it, at that pull since set, where it shows what the line says: only the doubt shrinks."""
        row = self.shows.copy()
        row[1] -= pull
        spread = self.covariance @ row
        covariance = self.covariance - np.outer(spread, spread) / (float(row @ spread) + self.error_g**2)
        return replace(self, covariance=covariance, freedom=self.freedom + 1)

    @property
    def g_per_pull(self) -> float:
        """What the egg loses per unit of pull: per kPa·d, or per day where by_days."""
        return float(self.theta[1])

    def _scaled(self, factor: float) -> Interval:
        found = self._interval(float(self.theta[1]) * factor, [0.0, factor])
        return Interval(found.value, max(0.0, found.low), found.high)

    def _interval(self, value: float, gradient: Sequence[float] | Floats, doubt: float = 0.0) -> Interval:
        g = np.zeros(len(self.theta))
        g[: len(gradient)] = gradient
        half = self.reach * math.sqrt(float(g @ self.covariance @ g) + doubt * doubt)
        return Interval(value, value - half, value + half)


def line_of(
    masses: Sequence[Mass],
    pull: Pull | None,
    *,
    set_ms: int,
    pressure_kpa: float,
    fresh: FreshMass | None = None,
    breaks: Sequence[ShellBreak] = (),
    offsets_g: Mapping[str, tuple[float, float]] = _NO_OFFSETS,
) -> LossLine | NoLine:
    """The line of one egg.

    Parameters
        masses: its weighings; those left out by the book are not used. pull: what the record shows, None where it has no
            humidity. fresh: mass at lay from length and breadth, for an egg never weighed about then. breaks: what was written of
            its shell. offsets_g: what a scale shows more than the one that the egg was weighed on first, and its doubt (1 sd), as
            other eggs say; those of which nothing is said are taken to differ by OFFSET_SHARE.
    Returns
        The line, or why there is none: it takes two weighings, or one and the fresh mass.
    """
    mean_kpa = None if pull is None else pull.mean_kpa
    use = sorted((m for m in masses if not m.left_out), key=lambda m: (m.at, m.entry))
    if not use:
        return NoLine(NOT_WEIGHED, 0)

    def since(at_ms: int) -> tuple[float, float]:
        if pull is None or mean_kpa is None:
            return (at_ms - set_ms) / DAY_MS, 0.0
        return since_set(pull, mean_kpa, set_ms=set_ms, at_ms=at_ms)

    at_ms = [to_ms(m.at) for m in use]
    parts = [since(at) for at in at_ms]
    x, missing = np.array([a for a, _ in parts]), np.array([b for _, b in parts])
    span = float(x.max() if fresh is not None else x.max() - x.min())
    if span < SHORTEST_KPA_D and len(use) == 1 and fresh is None:
        return NoLine(WEIGHED_ONCE, 1)
    if span < SHORTEST_KPA_D:
        return NoLine(TOO_CLOSE, len(use))
    known_breaks = [
        _Break(
            since(to_ms(b.at))[0],
            np.array(at_ms) >= to_ms(b.at),
            slope=True,
            step_share=REPAIR_SHARE if b.sealed else 0.0,
            written=True,
        )
        for b in breaks
        if to_ms(b.at) > set_ms
    ]
    mass_g = np.array([m.mass_g for m in use])
    error_g = np.array([math.hypot(m.error_g, SCATTER_SHARE * m.mass_g) for m in use])
    gaps = np.diff(np.concatenate(([0.0], missing)))
    scales = [m.scale for m in use]
    table = _table(
        _Weighed(
            x=x, mass_g=mass_g, error_g=error_g, holes=np.flatnonzero(gaps > 0.0), gaps=gaps, fresh=fresh, scales=scales
        ),
        known_breaks,
        offsets_g=offsets_g,
    )
    fit, kept, freedom = _without_the_bad(table)
    by_days = pull is None or mean_kpa is None
    found = _kink(table, fit, kept, breaks=known_breaks, offsets_g=offsets_g)
    kink = None
    while found is not None:
        table, at, new = found
        fit, kept, freedom = _without_the_bad(table)
        kink = _named(use[at], table, fit, new=new, known=known_breaks)
        crack = _seen_later(known_breaks, new, kink)
        if crack is None:
            break
        # A crack is written when it is seen, and began when the egg began to lose more, as the weighings say without it: asked about is
        # what else there is.
        others = [each for each in known_breaks if each is not crack]
        without = _table(table.weighed, others, offsets_g=offsets_g)
        began = _kink(without, *_without_the_bad(without)[:2], breaks=others, offsets_g=offsets_g)
        begins = new if began is None or began[2].pull > crack.pull else began[2]
        known_breaks = [*others, _crack_of(table.weighed, begins)]
        table, kink = _table(table.weighed, known_breaks, offsets_g=offsets_g), None
        fit, kept, freedom = _without_the_bad(table)
        found = _kink(table, fit, kept, breaks=known_breaks, offsets_g=offsets_g)
    widened, known = _doubt(fit, freedom, stated=all(scales))
    covariance = fit.covariance * widened
    past = table.past.copy()
    perhaps_g = 0.0
    if kink is not None and kink.step_g is not None and kink.lost:
        past[table.steps_at[-1]] = -1.0
        perhaps_g = 0.0 if kink.sure else -kink.step_g
    return LossLine(
        by_days=by_days,
        used=tuple(m.entry for m, keep in zip(use, kept, strict=True) if keep),
        left_out=tuple(m.entry for m, keep in zip(use, kept, strict=True) if not keep),
        recorded=0.0 if pull is None else _share(pull, set_ms, at_ms[-1]),
        last_ms=at_ms[-1],
        pressure_kpa=pressure_kpa,
        theta=fit.theta,
        covariance=covariance,
        freedom=known,
        error_g=float(error_g[-1]) * math.sqrt(widened),
        past=past,
        shows=table.shows,
        kink=kink,
        offsets_g={
            scale: (float(fit.theta[column]), math.sqrt(float(covariance[column, column])))
            for scale, column in table.scale_at.items()
        },
        perhaps_g=perhaps_g,
    )


@dataclass(frozen=True, slots=True)
class ScalesApart:
    """What the line of one egg says of the scales that it was weighed on: of each but the first, what it shows more, and its doubt (1 sd)."""

    first: str
    offsets_g: Mapping[str, tuple[float, float]]
    mass_g: float

    def more(self, scale: str, than: str) -> tuple[float, float] | None:
        """(what a scale shows more than another, its doubt); None where this egg says nothing of it."""
        if self.first == than:
            return self.offsets_g.get(scale)
        if self.first == scale and than in self.offsets_g:
            value, sd = self.offsets_g[than]
            return -value, sd
        return None


def scales_apart(line: LossLine, masses: Sequence[Mass]) -> ScalesApart | None:
    """What an egg says of its scales; None where it was weighed on one. masses: those that the line is of."""
    if not line.offsets_g:
        return None
    return ScalesApart(next(m.scale for m in masses if m.scale), line.offsets_g, line.mass_at_set_g.value)


def pooled_offset(said: Sequence[ScalesApart], mass_g: float, *, scale: str, than: str) -> tuple[float, float]:
    """What a scale shows more than another to an egg of that mass, and its doubt (1 sd), from what other eggs say: each line knew OFFSET_SHARE of its
    own egg's mass beforehand, which is counted once."""
    worth, total = 1.0 / (OFFSET_SHARE * mass_g) ** 2, 0.0
    for egg in said:
        if (more := egg.more(scale, than)) is not None:
            value, sd = more
            total += value / sd**2
            worth += max(0.0, 1.0 / sd**2 - 1.0 / (OFFSET_SHARE * egg.mass_g) ** 2)
    return total / worth, worth**-0.5


def since_set(pull: Pull, mean_kpa: float, *, set_ms: int, at_ms: int) -> tuple[float, float]:
    """(pull from the set time to at_ms, the part of it that is assumed), kPa·d.

    Time without record is given the mean deficit of the rest; time before the set time that of a store.
    """
    if at_ms <= set_ms:
        return STORE_KPA * (at_ms - set_ms) / DAY_MS, 0.0
    (at_end, days_at_end), (at_set, days_at_set) = pull.until(at_ms), pull.until(set_ms)
    unrecorded_d = max(0.0, (at_ms - set_ms) / DAY_MS - (days_at_end - days_at_set))
    if unrecorded_d < 0.01:  # a quarter of an hour: the rounding of the bins
        unrecorded_d = 0.0
    assumed = mean_kpa * unrecorded_d
    return at_end - at_set + assumed, assumed


@dataclass(frozen=True, slots=True)
class _Weighed:
    """The weighings of a fit: pull, masses, errors; before which of them time is unrecorded, and how much pull that is; each one's scale."""

    x: Floats
    mass_g: Floats
    error_g: Floats
    holes: Integers
    gaps: Floats
    fresh: FreshMass | None
    scales: Sequence[str]


@dataclass(frozen=True, slots=True)
class _Break:
    """A break in a line: at which pull, and which weighings come after it. slope: the conductance is another from then on; step_share: what is added
    to the egg at once, as a share of its mass (1 sd). within: how far about that pull it may lie, where nobody saw it. written: whether it is in the book."""

    pull: float
    after: Mask
    slope: bool
    step_share: float
    within: float = 0.0
    written: bool = False

    @property
    def crack(self) -> bool:
        """Whether it is a crack that was written."""
        return self.written and self.slope and not self.step_share

    @property
    def seal(self) -> bool:
        """Whether it is a repair that was written."""
        return self.written and self.step_share > 0.0


@dataclass(frozen=True, slots=True)
class _Leak:
    """The pull in which an egg was cracked: from the weighing before the crack was seen, for it may have begun then, to its seal; infinite where there is none."""

    crack: _Break
    began: float
    ended: float

    @property
    def sealed(self) -> bool:
        return self.ended < math.inf


def _leaks(weighed: _Weighed, breaks: Sequence[_Break]) -> list[_Leak]:
    """When an egg was cracked, as was written."""
    written = sorted((b for b in breaks if b.written), key=lambda b: b.pull)
    found = []
    for each, following in pairwise([*written, None]):
        if each is not None and each.crack:
            before = weighed.x[weighed.x <= each.pull - (each.within or SHORTEST_KPA_D) + 1e-9]
            began = float(before[-1]) if len(before) else min(0.0, each.pull)
            found.append(_Leak(each, began, following.pull if following is not None and following.seal else math.inf))
    return found


def _crack_of(weighed: _Weighed, found: _Break) -> _Break:
    """A crack that began where the weighings break."""
    if found.slope:
        return replace(found, written=True)
    return replace(_bend(weighed, int(np.flatnonzero(found.after)[0])), written=True)


@dataclass(frozen=True, slots=True)
class _Table:
    """Weighings with what their masses are made of, column by column: mass at set, loss per pull now, what each hole in the record took beyond its
    mean share, loss per pull before each break, steps, scales, what leaked between weighings. prior_rows: what is known of these beforehand, each with
    value and sd. past: what had been lost where the line of now begins; shows: what the scale shows of it. scale_at: the column of each scale; leak_at: the
    columns of what leaked, and their priors."""

    weighed: _Weighed
    rows: Floats
    prior_rows: Floats
    prior_values: Floats
    prior_sd: Floats
    past: Floats
    shows: Floats
    scale_at: Mapping[str, int]
    slopes_at: tuple[int, ...]
    steps_at: tuple[int, ...]
    leak_at: Mapping[int, int]


def _table(weighed: _Weighed, breaks: Sequence[_Break], *, offsets_g: Mapping[str, tuple[float, float]]) -> _Table:
    x, holes, typical_g = weighed.x, weighed.holes, float(np.median(weighed.mass_g))
    slope = max(abs(_slope(weighed)), 1e-9)
    # Of a crack that was sealed no slope is known, for it may leak more at first: what it took is a column for each time between two weighings.
    leaks = [leak for leak in _leaks(weighed, breaks) if leak.sealed]
    leaked = [part for leak in leaks for part in _leaked(weighed, leak)]
    closed = [leak.crack for leak in leaks]
    breaks = [b for b in breaks if not any(b is crack for crack in closed)]
    bends = sorted((b for b in breaks if b.slope), key=lambda b: b.pull)
    stepped = [b for b in breaks if b.step_share > 0.0]
    # One that nobody named is taken for the first.
    named = list(dict.fromkeys(scale for scale in weighed.scales if scale))
    edges = [b.pull for b in bends]
    slopes_at = tuple(range(2 + len(holes), 2 + len(holes) + len(edges)))
    steps_at = tuple(range(2 + len(holes) + len(edges), 2 + len(holes) + len(edges) + len(stepped)))
    first_scale = 2 + len(holes) + len(edges) + len(stepped)
    scale_at = {scale: first_scale + place for place, scale in enumerate(named[1:])}
    unseen = [b for b in breaks if b.within > 0.0]
    unseen_at = range(first_scale + len(scale_at), first_scale + len(scale_at) + len(unseen))
    leak_at = range(unseen_at.stop, unseen_at.stop + len(leaked))
    rows = np.zeros((len(x), leak_at.stop))
    past, shows = np.zeros(rows.shape[1]), np.zeros(rows.shape[1])
    rows[:, 0], rows[:, 1] = 1.0, -(np.maximum(x - edges[-1], 0.0) if edges else x)
    past[1] = -edges[-1] if edges else 0.0
    for column, hole in enumerate(holes):
        rows[hole:, 2 + column] = -1.0
    past[2 : 2 + len(holes)] = 1.0
    for place, column in enumerate(slopes_at):
        begin = edges[place - 1] if place else None
        rows[:, column] = -(np.minimum(x, edges[0]) if begin is None else np.clip(x - begin, 0.0, edges[place] - begin))
        past[column] = edges[place] - (begin or 0.0)
    for column, each in zip(unseen_at, unseen, strict=True):
        rows[each.after, column] = -1.0
        past[column] = 1.0
    for column, (first, _) in zip(leak_at, leaked, strict=True):
        rows[first:, column] = -1.0
        past[column] = 1.0
    shows[0] = 1.0
    shows -= past
    for column, step in zip(steps_at, stepped, strict=True):
        rows[step.after, column] = shows[column] = 1.0
    for scale, column in scale_at.items():
        rows[[each == scale for each in weighed.scales], column] = 1.0
        shows[column] = float(weighed.scales[-1] == scale)
    priors: list[tuple[dict[int, float], float, float]] = [
        ({2 + column: 1.0}, 0.0, max(GAP_DOUBT * slope * float(weighed.gaps[hole]), 1e-9))
        for column, hole in enumerate(holes)
    ]
    in_order = (*slopes_at, 1)
    priors += [
        ({before: -1.0, after: 1.0}, 0.0, slope * (CRACK_SHARE if bend.crack else BREAK_SHARE))
        for (before, after), bend in zip(pairwise(in_order), bends, strict=True)
    ]
    priors += [({column: 1.0}, 0.0, s.step_share * typical_g) for column, s in zip(steps_at, stepped, strict=True)]
    priors += [
        ({column: 1.0}, *offsets_g.get(scale, (0.0, OFFSET_SHARE * typical_g))) for scale, column in scale_at.items()
    ]
    priors += [({column: 1.0}, 0.0, slope * each.within) for column, each in zip(unseen_at, unseen, strict=True)]
    if weighed.fresh is not None:
        priors.append(({0: 1.0}, weighed.fresh.mass_g, weighed.fresh.doubt_g))
    first_leak = len(priors)
    priors += [
        ({column: 1.0}, 0.0, CRACK_SHARE * slope * run) for column, (_, run) in zip(leak_at, leaked, strict=True)
    ]
    prior_rows = np.zeros((len(priors), rows.shape[1]))
    for row, (columns, _, _) in zip(prior_rows, priors, strict=True):
        row[list(columns)] = list(columns.values())
    return _Table(
        weighed=weighed,
        rows=rows,
        prior_rows=prior_rows,
        prior_values=np.array([value for _, value, _ in priors]),
        prior_sd=np.array([sd for _, _, sd in priors]),
        past=past,
        shows=shows,
        scale_at=scale_at,
        slopes_at=slopes_at,
        steps_at=steps_at,
        leak_at={column: first_leak + place for place, column in enumerate(leak_at)},
    )


def _leaked(weighed: _Weighed, leak: _Leak) -> Iterator[tuple[int, float]]:
    """(the first weighing after it, how much pull) of each part of a leak that lies between two weighings; of the last, beyond them, from when the crack
    was seen on, for no weighing speaks of more."""
    edges = [-math.inf, *weighed.x, math.inf]
    for first, (since, until) in enumerate(pairwise(edges)):
        began = leak.began if first < len(weighed.x) else leak.crack.pull
        run = min(until, leak.ended) - max(since, began)
        if run > 0.0:
            yield first, float(run)


@dataclass(frozen=True, slots=True)
class _Fit:
    theta: Floats
    covariance: Floats
    chi2: float
    unclear: bool = False


def _fit(table: _Table, kept: Mask) -> _Fit:
    """Least squares for the columns of a table, none of which leaked less than nothing: else a seal that weighs something would be water that came back."""
    sd, none = table.prior_sd, set[int]()
    while True:
        found = _squares(table, kept, sd)
        back = {at for column, at in table.leak_at.items() if found.theta[column] < 0.0} - none
        if not back:
            break
        none |= back
        sd = _at_most(table.prior_sd, none, 1e-9)
    if not none:
        return found
    # That none leaked is not known for certain: no better than what a repair weighs.
    doubt_g = REPAIR_SHARE * float(np.median(table.weighed.mass_g))
    return replace(found, covariance=_squares(table, kept, _at_most(table.prior_sd, none, doubt_g)).covariance)


def _at_most(sd: Floats, which: Collection[int], most: float) -> Floats:
    tight = sd.copy()
    for at in which:
        tight[at] = min(tight[at], most)
    return tight


def _squares(table: _Table, kept: Mask, prior_sd: Floats) -> _Fit:
    rows = np.vstack((table.rows[kept], table.prior_rows))
    values = np.concatenate((table.weighed.mass_g[kept], table.prior_values))
    errors = np.concatenate((table.weighed.error_g[kept], prior_sd))
    weighted = rows / errors[:, None]
    inverse = np.linalg.pinv(weighted)
    theta = inverse @ (values / errors)
    left = values / errors - weighted @ theta
    return _Fit(theta, inverse @ inverse.T, float(left @ left))


def _kink(
    table: _Table, fit: _Fit, kept: Mask, *, breaks: Sequence[_Break], offsets_g: Mapping[str, tuple[float, float]]
) -> tuple[_Table, int, _Break] | None:
    """(the table with the break that explains the weighings best, the first weighing after it, that break); None where one bad weighing, or none, explains them as well."""
    weighed, n = table.weighed, len(table.weighed.x)
    left_out = OUTLIER * (n - int(kept.sum()))
    if fit.chi2 + left_out <= KINK:  # nothing can be so much better than that
        return None
    every = np.ones(n, dtype=bool)

    def tried(new: Sequence[_Break]) -> tuple[_Table, _Fit]:
        table_ = _table(weighed, [*breaks, *new], offsets_g=offsets_g)
        return table_, _fit(table_, every)

    slopes = {first: _bend(weighed, first) for first in range(KINK_BEFORE, n - KINK_AFTER + 1)}
    closed = {first for leak in _leaks(weighed, breaks) if leak.sealed for first, _ in _leaked(weighed, leak)}
    slopes = {
        first: new
        for first, new in slopes.items()
        if weighed.x[-1] - weighed.x[first - 1] >= SHORTEST_KPA_D and first not in closed
    }
    best: tuple[_Table, _Fit, int, _Break] | None = None
    for first, bend in slopes.items():
        for new in (bend, replace(bend, slope=False, step_share=OFFSET_SHARE * 5.0, within=0.0)):
            table_, found = tried([new])
            if (best is None or found.chi2 < best[1].chi2) and _matters(table_, found, new):
                best = (table_, found, first, new)
    freedom = n + (weighed.fresh is not None) - 3

    def enough(found: _Fit, worse: float, kinks: int) -> bool:
        scatter = max(1.0, (ERROR_WORTH + found.chi2) / max(1, ERROR_WORTH + freedom))
        return found.chi2 / scatter + kinks * KINK < worse / scatter

    one = best is not None and enough(best[1], fit.chi2 + left_out, 1)
    # A crack that was repaired is two: asked about is the first, and once that is written the other.
    alone = best[1].chi2 if best is not None and one else math.inf
    if min(alone, fit.chi2 + left_out) > 2.0 * KINK:
        two = _two_bends(slopes, tried)
        if two is not None and enough(two[1], min(alone, fit.chi2 + left_out), 1 if one else 2):
            table_, _, first, new = two
            return table_, first, new
    return (best[0], best[2], best[3]) if best is not None and one else None


def _bend(weighed: _Weighed, first: int) -> _Break:
    """Another slope from somewhere between that weighing and the one before it."""
    gap = float(weighed.x[first] - weighed.x[first - 1])
    after = np.arange(len(weighed.x)) >= first
    middle = float(weighed.x[first - 1 : first + 1].mean())
    return _Break(middle, after, slope=True, step_share=0.0, within=max(gap / 2.0, 1e-6))


def _two_bends(
    slopes: Mapping[int, _Break], tried: Callable[[Sequence[_Break]], tuple[_Table, _Fit]]
) -> tuple[_Table, _Fit, int, _Break] | None:
    """The same for the two bends that explain the weighings best, of which the first is given; None where they are not of a size to be asked about.

    The second is looked for beside the best one, and then that one anew beside the second: of daily weighings each pair would be hundreds of fits.
    """
    if len(slopes) < 2:
        return None

    def chi2(*at: int) -> float:
        return tried([slopes[each] for each in sorted(at)])[1].chi2

    one = min(slopes, key=chi2)
    other = min((each for each in slopes if each != one), key=lambda each: chi2(one, each))
    one = min((each for each in slopes if each != other), key=lambda each: chi2(each, other))
    first, last = sorted((one, other))
    table, found = tried([slopes[first], slopes[last]])
    whole = _matters(table, found, slopes[first]) and _matters(table, found, slopes[last])
    return (table, found, first, slopes[first]) if whole else None


def _matters(table: _Table, fit: _Fit, new: _Break) -> bool:
    """Whether a break is of a size that somebody should be asked about."""
    if not new.slope:
        return abs(float(fit.theta[table.steps_at[-1]])) >= KINK_STEP_SHARE * abs(float(fit.theta[0]))
    times = _times(table, fit, new.pull)
    return times is not None and not 1.0 / KINK_TIMES < times < KINK_TIMES


def _times(table: _Table, fit: _Fit, pull: float) -> float | None:
    """How many times as much the egg loses after a break at that pull; None where it lost nothing before it."""
    edges = np.cumsum([table.past[column] for column in table.slopes_at])
    place = int(np.argmin(np.abs(edges - pull)))
    slopes = [float(fit.theta[column]) for column in (*table.slopes_at, 1)]
    return slopes[place + 1] / slopes[place] if slopes[place] > 0.0 else None


def _named(mass: Mass, table: _Table, fit: _Fit, *, new: _Break, known: Sequence[_Break]) -> Kink:
    """The break that was found, for people. known: what was written."""
    if new.slope:
        return Kink(mass.entry, mass.at, times=_times(table, fit, new.pull))
    scales = list(zip(table.weighed.scales, new.after, strict=True))
    before, after = {scale for scale, later in scales if not later}, {scale for scale, later in scales if later}
    one_scale = bool((before & after) - {""})
    cracked = any(leak.began <= new.pull <= leak.ended for leak in _leaks(table.weighed, known))
    seen_since = any(each.written and each.pull >= new.pull for each in known)
    step_g = float(fit.theta[table.steps_at[-1]])
    return Kink(
        mass.entry,
        mass.at,
        step_g=step_g,
        lost=step_g < 0.0 and (one_scale or cracked or seen_since),
        sure=step_g < 0.0 and (cracked or (one_scale and seen_since)),
    )


def _seen_later(breaks: Sequence[_Break], new: _Break, kink: Kink) -> _Break | None:
    """The crack that was written after an egg began to lose more, or had lost much at once, before anything was sealed; None where none was."""
    if (kink.times is None or kink.times <= 1.0) if new.slope else not kink.sure:
        return None
    later = min((each for each in breaks if each.pull >= new.pull), key=lambda each: each.pull, default=None)
    return later if later is not None and later.crack and not later.within else None


def _without_the_bad(table: _Table) -> tuple[_Fit, Mask, int]:
    """(fit, which weighings it used, its degrees of freedom), after leaving out those that are clearly wrong."""
    n = len(table.weighed.x)
    prior = 0 if table.weighed.fresh is None else 1
    kept = np.ones(n, dtype=bool)
    fit = _fit(table, kept)
    for _ in range(max(1, n // ONE_BAD_IN)):
        freedom = int(kept.sum()) + prior - 2
        if freedom < 1:
            break
        without = {i: _fit(table, kept & (np.arange(n) != i)) for i in np.flatnonzero(kept)}
        ranked = sorted(without, key=lambda i: without[i].chi2)
        best = without[ranked[0]]
        scatter = max(1.0, (ERROR_WORTH + best.chi2) / (ERROR_WORTH + freedom - 1))
        if (fit.chi2 - best.chi2) / scatter <= OUTLIER:
            break
        rival = without[ranked[1]].chi2 - best.chi2 if len(ranked) > 1 else 0.0
        if freedom < 2 or n < ONE_BAD_IN or rival / scatter <= CLEAR_BY:
            fit = _Fit(fit.theta, fit.covariance, fit.chi2, unclear=True)
            break
        kept[ranked[0]] = False
        fit = best
    return fit, kept, max(0, int(kept.sum()) + prior - 2)


def _doubt(fit: _Fit, freedom: int, *, stated: bool) -> tuple[float, float]:
    """(what the variances of a fit are to be multiplied by, the degrees of freedom with which they are known).

    stated: each scale's error is. Then it is known, and the scatter of a few weighings says nothing of it that is better, unless it is more than
    chance makes of it. Where a weighing is wrong and nobody can say which, the scale's error means nothing: the scatter alone counts.
    """
    if stated and not fit.unclear and fit.chi2 <= _chance(freedom):
        return 1.0, math.inf
    known = 0 if fit.unclear else ERROR_WORTH
    return max(1.0, (known + fit.chi2) / max(1, known + freedom)), max(1, known + freedom)


def _chance(freedom: int) -> float:
    """The chi-squared that chance passes once in twenty times (Wilson & Hilferty 1931, within 3 %)."""
    if freedom < 1:
        return 0.0
    part = 2.0 / (9.0 * freedom)
    return float(freedom * (1.0 - part + NormalDist().inv_cdf(BELIEVED) * math.sqrt(part)) ** 3)


def _slope(table: _Weighed) -> float:
    """A first loss per pull, for the size of the doubt of holes: the median of all pairs (Theil 1950)."""
    first, second = np.triu_indices(len(table.x), k=1)
    run, lost = table.x[second] - table.x[first], table.mass_g[first] - table.mass_g[second]
    if table.fresh is not None:
        run, lost = np.append(run, table.x), np.append(lost, table.fresh.mass_g - table.mass_g)
    far = run >= min(SHORTEST_KPA_D, float(run.max()))
    return float(np.median(lost[far] / run[far]))


def _share(pull: Pull, set_ms: int, at_ms: int) -> float:
    """Share of the time from set to at_ms that is recorded."""
    days = (at_ms - set_ms) / DAY_MS
    return min(1.0, (pull.until(at_ms)[1] - pull.until(set_ms)[1]) / days) if days > 0.0 else 0.0


def _student(freedom: float) -> float:
    """Student's t for CONFIDENCE on both sides: exact for 1 and 2, else Abramowitz & Stegun 26.7.5, within 0.03 from 3 on; of inf the normal quantile."""
    if freedom == 1:
        return math.tan(math.pi * CONFIDENCE / 2.0)
    if freedom == 2:
        return CONFIDENCE * math.sqrt(2.0 / (1.0 - CONFIDENCE**2))
    z, n = NormalDist().inv_cdf(0.5 + CONFIDENCE / 2.0), freedom
    return (
        z
        + (z**3 + z) / (4 * n)
        + (5 * z**5 + 16 * z**3 + 3 * z) / (96 * n**2)
        + (3 * z**7 + 19 * z**5 + 17 * z**3 - 15 * z) / (384 * n**3)
    )
