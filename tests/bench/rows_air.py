"""Rows 6 to 8: the wet bulb's accuracy and speed. The exact root is found here by bisection, from the equations written anew."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from statistics import median
from typing import Any

import numpy as np

from monitor.domain.air.psychrometrics import wet_bulb_c
from tests.bench.pairs import Goal, Result, measure, ratio_of
from tests.bench.room import Missing

BOX = ((0.0, 50.0), (5.0, 100.0), (70.0, 105.0))  # °C, %RH, kPa
ROOM = ((15.0, 45.0), *BOX[1:])  # what a hatching room and its machines have; no wet bulb below 0 °C
BLOCK = 8192  # array elements at once, so that both sides work in the processor's cache
Floats = Any


def saturation_kpa(t_c: Floats) -> Floats:
    """Over water: Hyland and Wexler 1983, ASHRAE Handbook - Fundamentals (SI), 2021, chapter 1, eq. 6."""
    k = t_c + 273.15
    return 0.001 * np.exp(-5.8002206e3 / k + 1.3914993 + k * (-4.8640239e-2 + k * (4.1764768e-5 - k * 1.4452093e-8)) + 6.5459673 * np.log(k))  # fmt: skip


def saturation_ice_kpa(t_c: Floats) -> Floats:
    """Over ice: the same, eq. 5."""
    k = t_c + 273.15
    powers = k * (-9.677843e-3 + k * (6.2215701e-7 + k * (2.0747825e-9 - k * 9.484024e-13)))
    return 0.001 * np.exp(-5.6745359e3 / k + 6.3925247 + powers + 4.1635019 * np.log(k))


def exact_wet_bulb_c(dry_bulb_c: Floats, rh_pct: Floats, pressure_kpa: Floats) -> Floats:
    """The root of eq. 33, or of eq. 35 (over ice) where the first lies below 0 °C; at most the dry bulb. By bisection."""
    vapour = 0.01 * rh_pct * saturation_kpa(dry_bulb_c)
    ratio = 0.621945 * vapour / (pressure_kpa - vapour)

    def ratio_at(w: Floats, saturation: Callable[[Floats], Floats], latent: float, fall: float, heat: float) -> Floats:
        saturated = saturation(w)
        most = 0.621945 * saturated / (pressure_kpa - saturated)
        up = (latent - fall * w) * most - 1.006 * (dry_bulb_c - w)
        return up / (latent + 1.86 * dry_bulb_c - heat * w)

    def root(*of: Any) -> Floats:
        low, high = np.full_like(dry_bulb_c, -60.0), np.array(dry_bulb_c)
        for _ in range(60):
            middle = 0.5 * (low + high)
            wetter = ratio_at(middle, *of) > ratio
            low, high = np.where(wetter, low, middle), np.where(wetter, middle, high)
        return 0.5 * (low + high)

    water = root(saturation_kpa, 2501.0, 2.326, 4.186)
    return np.where(water < 0.0, root(saturation_ice_kpa, 2830.0, 0.24, 2.1), water)


def spread(count: int, over: tuple[tuple[float, float], ...]) -> tuple[Floats, ...]:
    """Points spread over a box, its edges and corners among them."""
    drawn = np.random.default_rng(6).uniform(size=(count, 3))
    corner = np.stack(np.meshgrid(*([np.linspace(0.0, 1.0, 17)] * 3)), axis=-1).reshape(-1, 3)
    return tuple(low + (high - low) * share for (low, high), share in zip(over, np.vstack((drawn, corner)).T, strict=True))  # fmt: skip


def accuracy(count: int) -> list[Result]:
    """Row 6: array and plain floats, which share the formula but not the arithmetic library."""
    dry, rh, pressure = spread(count, BOX)
    exact = exact_wet_bulb_c(dry, rh, pressure)
    error = float(np.max(np.abs(wet_bulb_c(dry, rh, pressure) - exact)))
    few = slice(None, None, max(1, len(dry) // 5_000))
    points = zip(dry[few], rh[few], pressure[few], exact[few], strict=True)
    plain = max(abs(wet_bulb_c(float(d), float(r), float(p)) - float(e)) for d, r, p, e in points)
    what = f"wet bulb, largest error at {len(dry):,} points of 0 to 50 °C, 5 to 100 %, 70 to 105 kPa"
    note = f"arrays {error:.1e} K, plain floats {plain:.1e} K"
    return [Result("6", what, "the exact root, by bisection", Goal(1e-6), max(error, plain), "K", note=note)]


def array_speed(pairs: int, count: int) -> list[Result]:
    """Row 7: the air of the room; the whole box, where some of the water freezes, is told beside."""
    room, whole = (tuple(values[:count] for values in spread(count, over)) for over in (ROOM, BOX))

    def two_saturations() -> tuple[float, float]:
        dry, out = room[0], np.empty_like(room[0])
        began = time.perf_counter()
        for _ in range(2):
            for start in range(0, count, BLOCK):
                out[start : start + BLOCK] = saturation_kpa(dry[start : start + BLOCK])
        elapsed = time.perf_counter() - began
        return elapsed, elapsed

    def ours() -> tuple[float, float]:
        times = []
        for values in (room, whole):
            began = time.perf_counter()
            wet_bulb_c(*values)
            times.append(time.perf_counter() - began)
        return times[0], times[1]

    ours(), two_saturations()
    found = measure(ours, two_saturations, pairs)
    of_whole = median(p.ours[1] / p.theirs[1] for p in found)
    what = f"wet bulb, {count:,} as an array, 15 to 45 °C"
    note = f"over the whole box of row 6, some of it ice: {of_whole:.3g} x"
    shown = lambda s: f"{s * 1e9 / count:.1f} ns"  # noqa: E731
    reference = "two saturation pressures of the same array"
    return [ratio_of("7", what, reference, Goal(6.0), found, lambda s: s[0], shown, note)]


def scalar_speed(pairs: int, count: int) -> list[Result]:
    """Row 8. The library's compiled form, which it takes where numba is installed, is kept out: a Pi has no compiler."""
    if "numba" not in sys.modules:
        sys.modules["numba"] = None  # type: ignore[assignment]
    try:
        import psychrolib
    except ImportError:
        raise Missing("psychrolib is not installed (pip install psychrolib)") from None
    if sys.modules["numba"] is not None:
        raise Missing("numba is loaded already, so the reference would not be plain Python")
    psychrolib.SetUnitSystem(psychrolib.SI)
    dry, rh, pressure = ([float(v) for v in values[:count]] for values in spread(count, ROOM))
    points = list(zip(dry, rh, pressure, strict=True))

    def ours() -> float:
        began = time.perf_counter()
        for d, r, p in points:
            wet_bulb_c(d, r, p)
        return (time.perf_counter() - began) / len(points)

    def theirs() -> float:
        find = psychrolib.GetTWetBulbFromRelHum
        some = points[: max(1, len(points) // 8)]
        began = time.perf_counter()
        for d, r, p in some:
            find(d, 0.01 * r, 1000.0 * p)
        return (time.perf_counter() - began) / len(some)

    found = measure(ours, theirs, pairs)
    shown = lambda s: f"{s * 1e6:.2f} us"  # noqa: E731
    what = "wet bulb, one in plain floats, 15 to 45 °C"
    return [ratio_of("8", what, "PsychroLib in plain Python", Goal(0.2), found, shown=shown)]
