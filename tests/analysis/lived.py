"""A made-up life with everything in it, for the tests of what is told beside the figures."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import numpy as np

from monitor.analysis.history.environment import BatchHistory, Stretch, history_of
from monitor.analysis.history.felt import DECLARED, HANDLING, MOVE, OPENING, Happening
from monitor.analysis.history.felt_figures import felt_of
from monitor.domain.eggs.temperature import EggModel
from monitor.domain.readings.reading import from_ms
from monitor.domain.signs.seen import NotBack, Opened
from tests.analysis.air import HOUR, T0, Readings, readings, stretch

DAY_MS = 24 * HOUR
TERM_DAYS = 21.0
MODELS = {"setter-a": EggModel(60.0, TERM_DAYS), "hatcher-b": EggModel(60.0, TERM_DAYS, "still")}
SET_AT: datetime = from_ms(T0)
HAPPENINGS = (
    Happening(T0, MOVE, "setter-a", "to setter-a"),
    Happening(T0 + 10 * HOUR, OPENING, "setter-a", "opened for about 3 min, lowest 34.8 °C", seen=Opened(3.0, 34.8)),
    Happening(T0 + 11 * HOUR, OPENING, "setter-a", "not coming back after an opening: the temperature has not turned", seen=NotBack("the temperature has not turned")),
    Happening(T0 + 30 * HOUR, OPENING, "setter-a", "opened for about 2 min, lowest 35.1 °C", seen=Opened(2.0, 35.1)),
    Happening(T0 + 31 * HOUR, HANDLING, "setter-a", "declared", T0 + 31 * HOUR + 1_200_000, "sam <b>"),
    Happening(T0 + 46 * HOUR, DECLARED, "setter-a", "lockdown"),
    Happening(T0 + 48 * HOUR, MOVE, "hatcher-b", "to hatcher-b"),
    Happening(T0 + 50 * HOUR, OPENING, "hatcher-b", "opened for about 5 min, lowest 33.0 °C", seen=Opened(5.0, 33.0)),
)  # fmt: skip


def warmed() -> tuple[Readings, Readings]:
    """Three days at a minute of two probes: two hours at 41 °C on the second day, a silence of an hour, one spike of a reading."""
    minute = np.concatenate((np.arange(0, 2400), np.arange(2460, 4380)))
    warm = np.full(minute.size, 37.5)
    warm[(minute >= 1500) & (minute < 1620)] = 41.0
    warm[minute == 600] = 38.7
    return readings(minute * 60, warm, 50.0), readings(minute * 60, warm + 0.2, 51.0)


def stretches() -> list[Stretch]:
    """Two days in the setter, one in the hatcher."""
    air = warmed()
    return [
        stretch(*air, hours=48.0, max_gap_s=180.0),
        replace(stretch(*air, hours=24.0, since_s=48 * 3600.0, max_gap_s=180.0), machine="hatcher-b", stage="lockdown"),
    ]


def lived() -> BatchHistory:
    """The history of that life, with all that stands beside its figures."""
    life = stretches()
    return replace(
        history_of(life),
        felt=felt_of(life, MODELS, set_ms=T0, term_days=TERM_DAYS, happenings=HAPPENINGS),
        happenings=HAPPENINGS,
    )
