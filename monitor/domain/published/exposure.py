"""How much heat or cold an excursion was, and what has been published about as much.

A `Dose` sums one excursion as it happens, in constant memory: hours and degree-hours beyond its limit, the worst value,
and the hours at or beyond each published temperature. `nearest` then finds the published exposures that it reached,
those it stayed within, and the results that contradict them. These are other people's eggs, mostly hens' in
experiments: what is said of them (`shown/history/exposures.py`) says "published", and nothing is concluded about the eggs in the machine.

The published temperatures are those of air in a machine, so the doses that are compared with them are of air. Of the
figures marked (copy) the text was seen in a copy, the rest in the publication's text or abstract, LUNDY-69 apart: that
is from memory.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from monitor.domain.air.units import celsius_to_fahrenheit

ABOVE, BELOW = "above", "below"
REACHED, WITHIN, SHORT, CONTRADICTS = "reached", "within", "short", "contradicts"
BEST_C = 37.8  # the shell at which hen eggs do best (Lourens and others 2005): what is farther from it is listed first
HEN_TERM_DAYS = 21.0  # the ages below are days of this term
AS_OLD_D = 1.0  # days of that term, by which sources that count from 0 and from 1 differ
ON_THE_LIMIT = 1e-9  # K: rounding of a mean or a calibration, far below any sensor's step
ROUNDED_K = 0.05  # the published temperatures are given to 0.1 °C, most of them as 105 or 110 °F turned into °C


@dataclass(frozen=True, slots=True)
class Exposure:
    """One published exposure of eggs to heat or cold.

    side: ABOVE or BELOW. temp_c and hours: of the air, None where the source gives none; hours in all where it was
    repeated. day: first and last day of the hen's term, None where the source gives no age. harm: False where the eggs
    are said to have borne it. result: with `{}` for each temperature in it, which are temps_c, and `{unit}` for its unit. against: ids of
    published results that say otherwise.
    """

    id: str
    side: str
    temp_c: float | None
    hours: float | None
    day: tuple[float, float] | None
    harm: bool
    result: str
    source: str
    against: tuple[str, ...] = ()
    eggs: str = "hen"
    temps_c: tuple[float, ...] = ()

    def told(self, unit: str) -> str:
        """The result with its temperatures in the unit of who reads, C or F."""
        return quoted(self.result, self.temps_c, unit)


SOURCES = {
    "ANDE-81": "Ande, Wilson. Acute high temperature stress. Poultry Science 60:1561-1566, 1981",
    "BUCKLAND-70": "Buckland. Cold stress of 17-day embryos. Can. J. Anim. Sci., 1970 (author, year from memory)",
    "CSIRO-77": "High incubating temperature and chick embryo growth. Aust. J. Agric. Res. 28:551-555, 1977",
    "HATSIG": "Hatchery Signals, a trade handbook (extracts)",
    "LUNDY-69": "H. Lundy. Review of temperature, humidity, turning and gas effects, 1969 (from memory)",
    "MSU-HMG": "T. W. Smith. Hatchery Management Guide. Mississippi State University Extension (copy)",
    "PSU-PO": "Extension page on power cuts during incubation. Pennsylvania State University",
    "SUAREZ-96": "Suarez and others. Low temperature effects. Poultry Science 75:924, 1996",
    "TAINIKA-22": "B. Tainika. Thermal manipulation. IntechOpen 10.5772/intechopen.101894, 2022",
    "THOMPSON-76": "Heat stress of 16-day embryos. Poultry Science 55:892-894, 1976 (authors from memory)",
    "UIUC-ASK": "Extension answers on incubation. University of Illinois",
}

_D16, _D17, _LATER, _SECOND_HALF = (16.0, 16.0), (17.0, 17.0), (8.0, 18.0), (10.0, 17.0)
_HALF = "about half the usual hatch"

EXPOSURES = (
    Exposure("heat-30min-40.6", ABOVE, 40.6, 0.5, None, True, "harms, or kills many", "MSU-HMG",
             ("heat-24h-40.6", "heat-7d-40.6"), "poultry"),
    Exposure("heat-24h-40.6", ABOVE, 40.6, 24.0, _D16, False, "no large effect", "THOMPSON-76"),
    Exposure("heat-6h-43.3", ABOVE, 43.3, 6.0, _D16, True, "hatch falls", "THOMPSON-76"),
    Exposure("heat-9h-43.3", ABOVE, 43.3, 9.0, _D16, True, "hatch falls steeply from here on", "THOMPSON-76"),
    Exposure("heat-3h-46.1", ABOVE, 46.1, 3.0, _D16, True, "all died", "THOMPSON-76"),
    Exposure("heat-1h-48.9", ABOVE, 48.9, 1.0, _D16, True, "all died", "THOMPSON-76"),
    Exposure("heat-12h-43.3", ABOVE, 43.3, 12.0, (3.0, 3.0), True, _HALF, "ANDE-81"),
    Exposure("heat-4h-43.3", ABOVE, 43.3, 4.0, (7.0, 7.0), True, _HALF, "ANDE-81"),
    Exposure("heat-7h-43.3", ABOVE, 43.3, 7.0, (11.0, 16.0), True, _HALF, "ANDE-81"),
    Exposure("heat-5h-43.3", ABOVE, 43.3, 5.0, (19.0, 19.0), True, "more than half lost", "ANDE-81"),
    Exposure("heat-7d-40.6", ABOVE, 40.6, 168.0, _SECOND_HALF, False,
             "0 % dead, 3.5 % at {} {unit}; embryos of 17.3 g, 18.5 g there", "CSIRO-77", temps_c=(37.6,)),
    Exposure("heat-7d-41.7", ABOVE, 41.7, 168.0, _SECOND_HALF, True, "25 % dead", "CSIRO-77"),
    Exposure("heat-7d-42.8", ABOVE, 42.8, 168.0, _SECOND_HALF, True, "50 % dead", "CSIRO-77"),
    Exposure("heat-18h-39.5", ABOVE, 39.5, 18.0, (7.0, 18.0), False, "no clear harm, 3 to 18 h a day", "TAINIKA-22"),
    Exposure("heat-3h-39.5", ABOVE, 39.5, 3.0, (7.0, 18.0), True, "above it, 3 to 18 h a day, hatch falls",
             "TAINIKA-22", ("heat-24h-40.6", "heat-7d-40.6")),
    Exposure("heat-40", ABOVE, 40.0, None, None, True, "an embryo as warm as this is lost", "HATSIG",
             ("heat-24h-40.6", "heat-7d-40.6")),
    Exposure("heat-40.5", ABOVE, 40.5, None, None, True, "none hatch when it lasts the whole term", "LUNDY-69",
             ("heat-7d-40.6",)),
    Exposure("cold-4h-32.2", BELOW, 32.2, 4.0, None, False, "growth only slows, few deaths", "MSU-HMG", (), "poultry"),
    Exposure("cold-18h-32.2", BELOW, 32.2, 18.0, None, True,
             "some survive, up to 18 h; candling 4 to 6 days later tells", "PSU-PO",
             ("cold-24h-21.2", "cold-6h-24"), "poultry"),
    Exposure("cold-cut", BELOW, None, None, None, True,
             "a power cut of ordinary length: some days late, 40 to 50 % hatch", "PSU-PO",
             ("cold-24h-21.2", "cold-6h-24", "cold-few-h"), "poultry"),
    Exposure("cold-few-h", BELOW, None, None, None, False, "a few hours without heat, covered: not a big problem",
             "UIUC-ASK", (), "poultry"),
    Exposure("cold-21", BELOW, 21.0, None, None, False, "survived a short time", "PSU-PO", ("cold-cut",), "poultry"),
    Exposure("cold-24h-21.2", BELOW, 21.2, 24.0, _D17, False, "no significant fall in hatch", "BUCKLAND-70"),
    Exposure("cold-11.3", BELOW, 11.3, None, _D17, True, "significant fall in hatch", "BUCKLAND-70"),
    Exposure("cold-12h-5.2", BELOW, 5.2, 12.0, _D17, True, "hatch falls, later deaths rise", "BUCKLAND-70"),
    Exposure("cold-6h-24", BELOW, 24.0, 6.0, _LATER, False, "every 48 h at {} or {} {unit}: no more deaths", "SUAREZ-96",
             temps_c=(18.0, 24.0)),
    Exposure("cold-12h-24", BELOW, 24.0, 12.0, _LATER, True,
             "12 to 72 h at {} or {} {unit}: hatch late by about as long, more water lost", "SUAREZ-96", temps_c=(18.0, 24.0)),
    Exposure("cold-36h-24", BELOW, 24.0, 36.0, _LATER, True, "36 to 72 h at {} or {} {unit}: weight and survival suffer",
             "SUAREZ-96", temps_c=(18.0, 24.0)),
)  # fmt: skip
EXPOSURE = {each.id: each for each in EXPOSURES}

LEVELS_C = {
    side: tuple(
        sorted({e.temp_c for e in EXPOSURES if e.side == side and e.temp_c is not None and e.hours is not None})
    )
    for side in (ABOVE, BELOW)
}


@dataclass(frozen=True, slots=True)
class Dose:
    """What one side of a limit has had so far: add to it as readings come.

    hours and degree_h: beyond limit_c; a value equal to it is inside. peak_c: the farthest beyond. at_levels: hours at
    or beyond each of the side's LEVELS_C, as long as the limit lies nearer to normal than these. Raises ValueError for
    a side that is neither ABOVE nor BELOW.
    """

    side: str
    limit_c: float
    hours: float = 0.0
    degree_h: float = 0.0
    peak_c: float | None = None
    at_levels: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        if self.side not in (ABOVE, BELOW):
            raise ValueError(f"dose: side {self.side!r}, expected {ABOVE} or {BELOW}")

    def add(self, before_c: float, after_c: float, seconds: float) -> Dose:
        """The dose with a straight piece of the line more, exactly; ValueError for what is no number or goes back."""
        if not (seconds >= 0.0 and math.isfinite(before_c + after_c + seconds)):
            raise ValueError(f"dose: {before_c:g}, {after_c:g} °C, {seconds:g} s, expected finite values, 0 s or more")
        sign = 1.0 if self.side == ABOVE else -1.0
        first, last = sign * (before_c - self.limit_c), sign * (after_c - self.limit_c)
        if first <= ON_THE_LIMIT and last <= ON_THE_LIMIT:
            return self
        hours = seconds / 3600.0
        share, mean_k = _beyond(first, last)
        levels = LEVELS_C[self.side]
        edges = [level - sign * ROUNDED_K for level in levels]
        spent = [_beyond(sign * (before_c - edge), sign * (after_c - edge))[0] * hours for edge in edges]
        farthest = max(sign * c for c in (before_c, after_c, self.peak_c) if c is not None)
        return replace(
            self,
            hours=self.hours + share * hours,
            degree_h=self.degree_h + share * mean_k * hours,
            peak_c=sign * farthest,
            at_levels=tuple(a + b for a, b in zip(self.at_levels or (0.0,) * len(levels), spent, strict=True)),
        )

    def hours_at(self, temp_c: float) -> float:
        """Hours at or beyond a published temperature. Raises ValueError for one that is not among LEVELS_C."""
        place = LEVELS_C[self.side].index(temp_c)
        return self.at_levels[place] if self.at_levels else 0.0


@dataclass(frozen=True, slots=True)
class Match:
    """A published exposure beside a dose.

    standing: REACHED (as much heat or cold as was harmful there, or more), WITHIN (less than was borne there), SHORT
    (the one that came closest of those not reached), CONTRADICTS (a result that says otherwise than one of these).
    hours: how long the dose was at or beyond the published temperature. as_old: that it was published of eggs as old as these.
    """

    exposure: Exposure
    standing: str
    hours: float
    as_old: bool = False


def quoted(words: str, temps_c: Sequence[float], unit: str, *, degree: str = "°") -> str:
    """Published words with their temperatures in the unit of who reads: `every 48 h at 18 or 24 °C`, as exact as they were given."""
    if not temps_c:
        return words
    figures = [f"{c:g}" if unit == "C" else f"{celsius_to_fahrenheit(c):.1f}" for c in temps_c]
    return words.format(*figures, unit=degree + unit)


def nearest(dose: Dose, share_of_term: float) -> tuple[Match, ...]:
    """The published exposures that stand nearest to a dose of air; none for a dose of nothing.

    Those it reached, those borne that it stayed within, the one it came closest to of the rest, and where all of these are of other ages, or
    milder, the one it came closest to of eggs as old; each set in the order
    of age (that nearest to share_of_term, 0 to 1, first; no age given last) and of temperature; then the published
    results that contradict any of these. Nothing is left out because it disagrees.
    """
    if dose.peak_c is None:
        return ()
    reached, within, short = [], [], []
    for each in EXPOSURES:
        if each.side != dose.side or each.temp_c is None or each.hours is None:
            continue
        spent = dose.hours_at(each.temp_c)
        if each.harm and spent >= each.hours:
            reached.append(Match(each, REACHED, spent))
        elif each.harm and spent > 0.0:
            short.append(Match(each, SHORT, spent))
        elif not each.harm and dose.hours <= each.hours and not _passes(dose, each.temp_c):
            within.append(Match(each, WITHIN, spent))
    by_age = _by_age(share_of_term)
    short.sort(key=lambda m: -m.hours / (m.exposure.hours or 1.0))
    every = [
        replace(match, as_old=by_age(match)[0] <= AS_OLD_D)
        for match in (*sorted(reached, key=by_age), *sorted(within, key=by_age), *short)
    ]
    found = every[: len(every) - len(short[1:])]
    as_far = max((_far_k(match) for match in found if match.as_old), default=0.0)
    found += [match for match in every[len(found) :] if match.as_old and _far_k(match) > as_far][:1]
    named = {m.exposure.id: m.exposure for m in found}
    others = [e for e in EXPOSURES if e.id not in named and any(_disagree(e, other) for other in named.values())]
    return (*found, *(Match(each, CONTRADICTS, 0.0) for each in others))


def _beyond(first: float, last: float) -> tuple[float, float]:
    """Of a straight piece from first to last: the share above 0, and its mean height there."""
    if first <= 0.0 and last <= 0.0:
        return 0.0, 0.0
    if first >= 0.0 and last >= 0.0:
        return 1.0, (first + last) / 2.0
    top = max(first, last)
    return top / (top - min(first, last)), top / 2.0


def _passes(dose: Dose, temp_c: float) -> bool:
    """Whether the dose was ever beyond a published temperature, as far as that is known."""
    if dose.peak_c is None:
        return False
    beyond_k = dose.peak_c - temp_c if dose.side == ABOVE else temp_c - dose.peak_c
    return beyond_k > ROUNDED_K


def disagreeing(each: Exposure) -> tuple[Exposure, ...]:
    """The published results that say otherwise than this one, whichever of the two names the other."""
    return tuple(other for other in EXPOSURES if _disagree(each, other))


def _disagree(one: Exposure, other: Exposure) -> bool:
    return one.id in other.against or other.id in one.against


def _far_k(match: Match) -> float:
    return abs((match.exposure.temp_c or BEST_C) - BEST_C)


def _by_age(share_of_term: float) -> Callable[[Match], tuple[float, float]]:
    """Sort key: days of the hen's term from that age, then the farther temperature first."""
    hen_day = share_of_term * HEN_TERM_DAYS

    def key(match: Match) -> tuple[float, float]:
        day = match.exposure.day
        apart = HEN_TERM_DAYS if day is None else max(day[0] - hen_day, hen_day - day[1], 0.0)
        return apart, -_far_k(match)

    return key
