"""A profile of a house's own, drafted from its batches that went well: what they had where it lies outside the published band, and nothing else.

Each number says how it was come by. What the batches do not tell, or tell as it is published, stays as it is published; alarm limits of
temperature always do, for they are of what kills. A draft is a text to be read: nothing takes effect by it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime

from monitor.analysis.review.house import ASKED, Habit, habits_of
from monitor.domain.needs.batch import Batch
from monitor.domain.needs.profile import Band, Profile, Stage
from monitor.domain.needs.site import Site
from monitor.domain.needs.target import target_of
from monitor.domain.published.causes import LOSS, SETTER, TEMPERATURE, WHOLE, Catalogue
from monitor.domain.refusal import Refusal
from monitor.service.across.beside import Beside
from monitor.service.across.outcomes import WENT_WELL_SHARE
from monitor.service.ports import SeasonRecord
from monitor.service.reports.batch import humidity_bands

# How a limit was come by: seen in the batches; as far from the target as published; the farthest that a batch had; not beyond an alarm.
SEEN, AS_FAR, FARTHEST, HELD = "seen", "as far", "farthest", "held"


class NoDraft(Refusal):
    """There is nothing to draft from, or nothing to draft; one line."""


@dataclass(frozen=True, slots=True)
class Limit:
    """One limit of a band: its value, and how it was come by."""

    value: float
    how: str


@dataclass(frozen=True, slots=True)
class Drafted:
    """One band. stage: of the profile, empty for the loss; name: its key in a file; habit: what it is drafted from."""

    stage: str
    name: str
    limits: Mapping[str, Limit]
    habit: Habit


@dataclass(frozen=True, slots=True)
class Draft:
    """batches: those that went well, in the order they were set; eggs: how many were set in each. bands: what is drafted; kept: what the batches
    have as it is published; untold: what too few of them tell. good_share: from which on they went well. left: bands whose middle lies beyond the
    profile's own alarm limits, so that nothing is drafted of them."""

    profile: Profile
    batches: tuple[Batch, ...]
    eggs: Mapping[str, int]
    bands: tuple[Drafted, ...]
    kept: tuple[Habit, ...]
    untold: tuple[tuple[str, str], ...]
    left: tuple[Habit, ...]
    good_share: float

    def eggs_of(self, habit: Habit) -> int:
        """Eggs that were set in the batches which tell it."""
        return sum(self.eggs.get(name, 0) for name, _ in habit.values)


def draft_of(
    history: SeasonRecord,
    site: Site,
    species: str,
    *,
    catalogue: Catalogue,
    now: datetime,
    good_share: float = WENT_WELL_SHARE,
) -> Draft:
    """A draft for a species of the site. Raises NoDraft: too few batches went well, or all they tell is as published."""
    beside, profile = Beside(history, site, now, frozenset(ASKED), good_share), site.profiles[species]
    batches = beside.went_well(species)
    if len(batches) < catalogue.least_good:
        few = f"{len(batches)} that went well, with their air on record"
        raise NoDraft(f"batches of {species}", few, f"{catalogue.least_good} or more")
    habits = list(habits_of(catalogue, [beside.record(batch) for batch in batches]))
    bands: list[Drafted] = []
    left: list[Habit] = []
    for habit in habits:
        found = list(_drafted(profile, habit, site.pressure_kpa)) if habit.side else []
        bands += found
        if habit.side and not found:
            left.append(habit)
    if not bands:
        came = (
            "your good batches lie inside its bands, or are too few to tell"
            if not left
            else "they lie beyond its alarm limits"
        )
        raise NoDraft(f"profile {species}", came, "batches that went well outside of a band")
    told = {(habit.check.id, habit.window) for habit in habits}
    return Draft(
        profile=profile,
        batches=tuple(sorted(batches, key=lambda b: b.set_at)),
        eggs={batch.id: batch.eggs or 0 for batch in batches},
        bands=tuple(bands),
        kept=tuple(habit for habit in habits if not habit.side),
        untold=tuple(key for key in ASKED if key not in told),
        left=tuple(left),
        good_share=good_share,
    )


def _drafted(profile: Profile, habit: Habit, pressure_kpa: float) -> Iterator[Drafted]:
    """The bands that a habit changes: of each stage of its window."""
    if (habit.check.id, habit.window) == (LOSS, WHOLE):
        target = target_of(profile)
        if target is not None:
            low, high = target.by_pip_pct
            moved = _moved(Band(low_warning=low, high_warning=high), habit)
            yield Drafted("", "target_loss_pct", moved, habit)
        return
    for stage in profile.stages:
        if (stage.name == "setter") != (habit.window == SETTER):
            continue
        name, band = _band(stage, habit, pressure_kpa)
        if band is not None and band.target is not None:
            limits = _moved(band, habit)
            if limits:
                yield Drafted(stage.name, name, limits, habit)


def _band(stage: Stage, habit: Habit, pressure_kpa: float) -> tuple[str, Band | None]:
    if habit.check.id == TEMPERATURE:
        return "dry_bulb_c", stage.dry_bulb_c
    return "rh_pct", humidity_bands(stage, stage.dry_bulb_c, pressure_kpa)[0]


def _moved(band: Band, habit: Habit) -> dict[str, Limit]:
    """The limits moved by as much as the middle batch is off; none where the middle would lie beyond an alarm limit of temperature."""
    warm = habit.check.id == TEMPERATURE
    low, high = band.calm
    assert low is not None
    assert high is not None
    shift = habit.shift
    middle = (low + high) / 2.0 + shift
    target = None if band.target is None else band.target + shift
    spread = tuple(end - habit.middle for end in habit.ends)
    found: dict[str, Limit] = {}
    warned = {
        "low_warning": _farther(low + shift, middle + spread[0], least=True),
        "high_warning": _farther(high + shift, middle + spread[1], least=False),
    }
    if warm:
        if not (band.low_alarm or low) <= (target or middle) <= (band.high_alarm or high):
            return {}
        for name, limit in warned.items():
            alarm = band.low_alarm if name == "low_warning" else band.high_alarm
            inside = alarm is None or (limit.value >= alarm if name == "low_warning" else limit.value <= alarm)
            warned[name] = limit if inside or alarm is None else Limit(alarm, HELD)
    elif band.low_alarm is not None and band.low_warning is not None:
        found["low_alarm"] = Limit(max(0.0, warned["low_warning"].value - (low - band.low_alarm)), AS_FAR)
    found["low_warning"] = warned["low_warning"]
    if target is not None:
        found["target"] = Limit(target, SEEN)
    found["high_warning"] = warned["high_warning"]
    if not warm and band.high_alarm is not None and band.high_warning is not None:
        found["high_alarm"] = Limit(min(100.0, warned["high_warning"].value + (band.high_alarm - high)), AS_FAR)
    return found


def _farther(moved: float, seen: float, *, least: bool) -> Limit:
    """Whichever lies farther out: the limit as it was moved, or what the farthest batch had."""
    out = seen < moved if least else seen > moved
    return Limit(seen, FARTHEST) if out else Limit(moved, AS_FAR)
