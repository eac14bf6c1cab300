"""Made-up eggs for the tests of what they lose, and the published figures."""

from __future__ import annotations

import csv
from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from monitor.analysis.water.loss import LossLine, line_of
from monitor.analysis.water.pull import Pull
from monitor.domain.eggs.book import FreshMass, Mass
from monitor.domain.needs.profile import Band, Profile, Stage
from monitor.domain.readings.reading import DAY_MS, to_ms

REFERENCE = Path(__file__).parents[1] / "reference" / "water_loss"
SET = datetime(2026, 3, 1, 8, 0, tzinfo=UTC)
SET_MS = to_ms(SET)
SEA_KPA = 101.325
KPA_PER_TORR = 101.325 / 760.0  # by definition; conductance is published in mg per day and torr


def rows(name: str) -> list[dict[str, str]]:
    """A table of published figures."""
    with (REFERENCE / name).open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


def steady(deficit: float, set_ms: int, until_ms: int) -> Pull:
    """The pull of a deficit that stays the same, kPa: what a published figure of one humidity means."""
    days = (until_ms - set_ms) / DAY_MS
    return Pull(set_ms, np.array([set_ms, until_ms]), np.array([0.0, deficit * days]), np.array([0.0, days]))


def figure(id_: str) -> float:
    """One published figure."""
    return next(float(row["value"]) for row in rows("arithmetic.csv") if row["id"] == id_)


def day_ms(day: float) -> int:
    return SET_MS + round(day * DAY_MS)


def weighed(masses: Iterable[tuple[float, float]], error_g: float = 0.02, scale: str = "") -> list[Mass]:
    """Weighings (day, g), numbered from 1; on a scale of the house, or one that nobody named."""
    return [
        Mass(i, SET + timedelta(days=float(day)), float(g), error_g, scale=scale)
        for i, (day, g) in enumerate(masses, 1)
    ]


def line(
    masses: Iterable[tuple[float, float]],
    pull: Pull | None = None,
    error_g: float = 0.02,
    pressure_kpa: float = SEA_KPA,
    fresh: FreshMass | None = None,
    *,
    scale: str = "",
) -> LossLine:
    """The line of weighings (day, g); over days where no pull is given."""
    found = line_of(weighed(masses, error_g, scale), pull, set_ms=SET_MS, pressure_kpa=pressure_kpa, fresh=fresh)
    assert isinstance(found, LossLine)
    return found


def constant(deficit: float, days: float = 60.0) -> Pull:
    return steady(deficit, SET_MS, day_ms(days))


def bird(
    days: float = 27.0,
    lockdown_day: float = 23.0,
    target_loss_pct: tuple[float, float] | None = (13.0, 16.0),
    later_rh_pct: float = 65.0,
) -> Profile:
    """A made-up species at 37.5 °C."""
    warm = Band(36.0, 37.0, 37.5, 38.0, 39.0)
    setter = Stage("setter", 0.0, warm, Band(30.0, 40.0, 50.0, 60.0, 70.0))
    later = Stage("lockdown", lockdown_day, warm, Band(None, None, later_rh_pct, None, None))
    return Profile(
        "bird",
        "Bird",
        "Avis ficta",
        days,
        days - 1.0,
        days + 1.0,
        lockdown_day,
        (setter, later),
        egg_mass_g=(18.0, 22.0),
        target_loss_pct=target_loss_pct,
    )
