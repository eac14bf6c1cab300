"""Moist air: wet bulb, dew point, vapour pressure, and what the air draws from an egg.

One formula serves one reading and a year of them: a function takes floats, or numpy arrays that broadcast,
and answers in kind; numpy is loaded when the first array comes. A float that is out of range or NaN raises
ValueError. In an array NaN gives NaN, and any other value out of range raises.

Temperatures are °C, pressures kPa, humidity 0 to 100 %. Air is a perfect gas. Relative humidity and dew point
are over liquid water at every temperature, below 0 °C too (WMO-No. 8; it is what sensors report); the
thermodynamic wet bulb is over ice below 0 °C. A reading may lie between -40 and 80 °C, the pressure of a site
between 50 and 110 kPa.

Equation and table numbers without a book: ASHRAE Handbook - Fundamentals (SI), 2021, chapter 1.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from functools import cache
from math import exp, log
from typing import TYPE_CHECKING, Any, NamedTuple, TypeVar

from monitor.domain.fixed import fixed

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    # Inside, one number or an array of them: what comes is answered in kind.
    _Value = float | NDArray[np.float64]
    _Truth = bool | NDArray[np.bool_]
    _Pair = tuple[_Value, _Value]  # saturation pressure, and the slope of its logarithm
    _Balance = tuple[_Value, _Value, _Value, _Value]

Values = TypeVar("Values", float, "NDArray[np.float64]")

SEA_LEVEL_KPA = 101.325
ZERO_C_IN_K = 273.15
WATER_TO_AIR = 0.621945  # molar mass of water over that of dry air, eq. 20
WATER_GAS_CONSTANT = 0.461524  # kJ/(kg K), eq. 2
DRY_AIR_HEAT = 1.006  # kJ/(kg K), eq. 30
VAPOUR_HEAT = 1.86  # kJ/(kg K), eq. 30

SETTLED_K = 0.0003  # a last step this long leaves an error below 1e-9 K (see _settle)
STEPS_HIGH = 8  # the farthest corner of the ranges below settles in 5
BEND = 0.415  # see _settle
DEW_POINT_C_LOW = -80.0  # air drier than this (a sensor that reads 0 %) is said to have no dew point
ROUNDING_PCT = 1e-6  # an inverse may leave 0 to 100 % by this much and is brought back
FEW = 4  # fewer than one in so many: to pick them out costs less than to go on with all
BLOCK = 8192  # array elements worked on at once: what lies between stays in the processor's cache


class _Range(NamedTuple):
    name: str
    low: float
    high: float


DRY_BULB_C = (-40.0, 80.0)  # air that has a wet bulb here
ELEVATION_M = (-500.0, 5500.0)
WICK_PER_K = (4e-4, 3e-3)  # from a gale on the wick to stagnant air
_DRY_BULB = _Range("dry_bulb_c", *DRY_BULB_C)
_WET_BULB = _Range("wet_bulb_c", -60.0, 80.0)
_SATURATED = _Range("dry_bulb_c", DEW_POINT_C_LOW, 200.0)  # the fit ends at 200 °C
_EGG = _Range("egg_c", -40.0, 80.0)
_RH = _Range("rh_pct", 0.0, 100.0)
_RH_FOUND = _Range("at this wet bulb rh_pct", 0.0, 100.0)
_DEPRESSION = _Range("dry_bulb_c less wet_bulb_c", 0.0, 140.0)
_VAPOUR = _Range("vapour_kpa", 0.0, 47.5)  # air saturated at 80 °C has 47.41
_PRESSURE = _Range("pressure_kpa", 50.0, 110.0)
_ELEVATION = _Range("elevation_m", *ELEVATION_M)
_COEFFICIENT = _Range("coefficient_per_k", *WICK_PER_K)
# The judge asks with each reading, in floats: within these there is nothing to choose or to refuse.
(_, _COLDEST_C, _HOTTEST_C), (_, _DRIEST_PCT, _DAMPEST_PCT), (_, _LEAST_KPA, _MOST_KPA) = _DRY_BULB, _RH, _PRESSURE


def _curve(  # noqa: PLR0917 - the terms in the order in which they are printed
    c1: float, c2: float, c3: float, c4: float, c5: float, c6: float, c7: float
) -> tuple[float, ...]:
    """ln(p in Pa) = c1/T + c2 + c3·T + c4·T² + c5·T³ + c6·T⁴ + c7·ln T, and the multiples its slope needs."""
    return c1, c2, c3, c4, c5, c6, c7, 2 * c4, 3 * c5, 4 * c6


class _Phase(NamedTuple):
    """Water or ice, as the wet bulb meets it (eq. 33 and 35) and as it evaporates (eq. 6 and 5)."""

    latent: float  # kJ/kg at 0 °C
    latent_fall: float  # kJ/(kg K)
    heat: float  # kJ/(kg K)
    curve: tuple[float, ...]


# Hyland and Wexler, 1983. Over water the fit is for 0 to 200 °C; below, it carries on for supercooled water.
_WATER = _Phase(
    latent=2501.0,
    latent_fall=2.326,
    heat=4.186,
    curve=_curve(-5.8002206e3, 1.3914993, -4.8640239e-2, 4.1764768e-5, -1.4452093e-8, 0.0, 6.5459673),
)
_ICE = _Phase(
    latent=2830.0,
    latent_fall=0.24,
    heat=2.1,
    curve=_curve(-5.6745359e3, 6.3925247, -9.677843e-3, 6.2215701e-7, 2.0747825e-9, -9.484024e-13, 4.1635019),
)


class _Library(NamedTuple):
    """What floats and arrays do differently; the formulas are written once in these terms."""

    exp: Callable[[_Value], _Value]
    log: Callable[[_Value], _Value]
    any: Callable[..., bool]
    where: Callable[[_Truth, _Value, _Value], _Value]
    few: Callable[..., bool]  # whether it is worth while to go on with some elements alone
    put: Callable[..., _Value]  # where, what, into what


_PLAIN = _Library(
    math.exp,
    math.log,
    bool,
    lambda condition, yes, no: yes if condition else no,
    lambda chosen: False,
    lambda chosen, new, old: new,
)
_NUMBER = (float, int)


@cache
def _array_library() -> _Library:
    import numpy as np

    def put(chosen: NDArray[np.bool_], new: NDArray[np.float64], old: NDArray[np.float64]) -> NDArray[np.float64]:
        if not old.ndim:
            return new
        old[chosen] = new
        return old

    def few(chosen: NDArray[np.bool_]) -> bool:
        return bool(FEW * np.count_nonzero(chosen) < chosen.size)

    return _Library(np.exp, np.log, lambda condition: bool(condition.any()), np.where, few, put)


def _pick(chosen: _Truth, values: Iterable[_Value]) -> list[_Value]:
    """Of arrays the chosen elements; what is one number for all of them stays so."""
    return [value if isinstance(value, _NUMBER) or not value.ndim else value[chosen] for value in values]


def _accept(where: str, *values: tuple[_Value, _Range]) -> _Library:
    """The library that fits the values, once each is known to lie in its range."""
    library = _PLAIN
    for value, (name, low, high) in values:
        if isinstance(value, _NUMBER):
            if not low <= value <= high:
                raise ValueError(f"{where}: {name} {value:g}, expected {low:g} to {high:g}")
        else:
            library = _array_library()
            # Least and greatest are quick to find and enough as a rule; NaN or trouble earns a closer look.
            if value.size and not (low <= value.min() and value.max() <= high):
                for bad in value[(value < low) | (value > high)][:1]:
                    raise ValueError(f"{where}: {name} {bad:g}, expected {low:g} to {high:g}")
    return library


def _each(library: _Library, kernel: Callable[..., Any], first: Values, *others: _Value) -> Values:
    """kernel(library, first, *others): at once for floats, block by block for arrays."""
    answer: Values
    if library is _PLAIN:
        answer = kernel(library, first, *others)
        return answer
    import numpy as np

    arrays = [np.asarray(value, dtype=float) for value in (first, *others)]
    shape = np.broadcast_shapes(*(array.shape for array in arrays))
    flat = [np.broadcast_to(array, shape).reshape(-1) if array.ndim else array for array in arrays]
    out: Any = np.empty(math.prod(shape))
    for start in range(0, out.size, BLOCK):
        block = slice(start, start + BLOCK)
        out[block] = kernel(library, *(array[block] if array.ndim else array for array in flat))
    answer = out.reshape(shape)
    return answer


def _saturation(library: _Library, phase: _Phase, surface_c: _Value) -> _Pair:
    """Saturation pressure (kPa) at a surface of water or ice, and the slope of its logarithm (1/K)."""
    c1, c2, c3, c4, c5, c6, c7, twice_c4, thrice_c5, four_c6 = phase.curve
    kelvin = surface_c + ZERO_C_IN_K
    first = c1 / kelvin
    powers = kelvin * (c3 + kelvin * (c4 + kelvin * (c5 + kelvin * c6)))
    pressure = library.exp(first + c2 + powers + c7 * library.log(kelvin)) * 0.001
    slope = (c7 - first) / kelvin + c3 + kelvin * (twice_c4 + kelvin * (thrice_c5 + kelvin * four_c6))
    return pressure, slope


_C1, _C2, _C3, _C4, _C5 = _WATER.curve[:5]
_C7, _TWICE_C4, _THRICE_C5 = _WATER.curve[6:9]  # over water nothing stands at T⁴


def over_water_kpa(surface_c: float) -> float:
    """`saturation_vapour_kpa` of one float, to the last bit, for who asks several times with each reading: its range is not looked at."""
    kelvin = surface_c + ZERO_C_IN_K
    powers = kelvin * (_C3 + kelvin * (_C4 + kelvin * _C5))
    return exp(_C1 / kelvin + _C2 + powers + _C7 * log(kelvin)) * 0.001


def over_water_per_k(surface_c: float) -> float:
    """By what share of itself that pressure rises with each kelvin, 1/K: the slope of its logarithm, of one float, to the last bit."""
    kelvin = surface_c + ZERO_C_IN_K
    return (_C7 - _C1 / kelvin) / kelvin + _C3 + kelvin * (_TWICE_C4 + kelvin * _THRICE_C5)


def _settle(  # noqa: PLR0917 - a formula's terms
    library: _Library, phase: _Phase, start_c: _Value, at_start: _Pair, balance: _Balance, *, before: int = 0
) -> _Value:
    """The temperature w where saturation(w)·(a + b·w) = c + d·w, the form of every balance in this module.

    Newton's steps, lengthened for the bend of the saturation curve (Halley's method). Half the second
    derivative is taken as BEND times that of a pure exponential: right within a few per cent for water and
    ice, and what is wrong with it only slows the steps, never moves where they end. The wet bulb starts from
    the dry bulb, where saturation is known anyway, and three steps do at 15 to 45 °C and 5 to 100 %, but for one
    in a thousand; of an array only those few go on. before: steps taken to get to start_c.
    """
    a, b, c, d = balance
    w = start_c
    pressure, slope = at_start
    for taken in range(before + 1, STEPS_HIGH + 1):
        left = pressure * (a + b * w)
        excess = left - (c + d * w)
        rise = left * slope
        gradient = rise + pressure * b - d
        step = excess / (gradient - BEND * slope * rise * excess / gradient)
        w = w - step
        unsettled: _Truth = abs(step) >= SETTLED_K  # type: ignore[operator]  # either has a size, which mypy does not see of both
        if not library.any(unsettled):
            return w
        if library.few(unsettled):
            a, b, c, d, start_c = _pick(unsettled, (*balance, w))
            rest = _settle(library, phase, start_c, _saturation(library, phase, start_c), (a, b, c, d), before=taken)
            return library.put(unsettled, rest, w)
        pressure, slope = _saturation(library, phase, w)
    raise ArithmeticError(f"psychrometrics: no balance within {STEPS_HIGH} steps")


def _over_water(library: _Library, dry_bulb_c: _Value) -> _Value:
    return _saturation(library, _WATER, dry_bulb_c)[0]


def saturation_vapour_kpa(dry_bulb_c: Values) -> Values:
    """Vapour pressure of air saturated over liquid water.

    dry_bulb_c: -80 to 200. The fit is for 0 to 200; below 0 it is carried on for supercooled water, within
    0.1 % of Sonntag (1990) down to -40. Hyland and Wexler 1983, eq. 6; check values: table 3.
    """
    if type(dry_bulb_c) is float and _COLDEST_C <= dry_bulb_c <= _HOTTEST_C:
        return over_water_kpa(dry_bulb_c)
    return _each(_accept("saturation_vapour_kpa", (dry_bulb_c, _SATURATED)), _over_water, dry_bulb_c)


def _vapour(library: _Library, dry_bulb_c: _Value, rh_pct: _Value) -> _Value:
    return 0.01 * rh_pct * _over_water(library, dry_bulb_c)


def vapour_kpa(dry_bulb_c: Values, rh_pct: Values) -> Values:
    """Vapour pressure of the air. dry_bulb_c: -40 to 80; rh_pct: 0 to 100. Eq. 22."""
    plain = type(dry_bulb_c) is type(rh_pct) is float
    if plain and _COLDEST_C <= dry_bulb_c <= _HOTTEST_C and _DRIEST_PCT <= rh_pct <= _DAMPEST_PCT:
        return 0.01 * rh_pct * over_water_kpa(dry_bulb_c)  # type: ignore[arg-type, no-any-return]  # of a float, a float
    return _each(_accept("vapour_kpa", (dry_bulb_c, _DRY_BULB), (rh_pct, _RH)), _vapour, dry_bulb_c, rh_pct)


def _dew_point(library: _Library, vapour_kpa: _Value) -> _Value:
    driest = _over_water(_PLAIN, DEW_POINT_C_LOW)
    vapour_kpa = library.where(vapour_kpa < driest, math.nan, vapour_kpa)
    # First guess: the Magnus curve of WMO-No. 8, annex 4.B, turned round; within 0.1 K above 0 °C.
    logarithm = library.log(vapour_kpa / 0.6112)
    start_c = 243.12 * logarithm / (17.62 - logarithm)
    balance = (1.0, 0.0, vapour_kpa, 0.0)
    return _settle(library, _WATER, start_c, _saturation(library, _WATER, start_c), balance)


def dew_point_c(vapour_kpa: Values) -> Values:
    """Temperature at which this vapour saturates air over liquid water (below 0 °C: not the frost point).

    vapour_kpa: 0 to 47.5. NaN, for a float too, where the air is so dry (0 %RH, say) that it has no dew point
    above -80 °C. Eq. 36, solved.
    """
    return _each(_accept("dew_point_c", (vapour_kpa, _VAPOUR)), _dew_point, vapour_kpa)


def humidity_ratio(vapour_kpa: Values, pressure_kpa: Values | float) -> Values:
    """Water carried by dry air, kg/kg. vapour_kpa: 0 to 47.5; pressure_kpa: 50 to 110. Eq. 20."""
    _accept("humidity_ratio", (vapour_kpa, _VAPOUR), (pressure_kpa, _PRESSURE))
    return WATER_TO_AIR * vapour_kpa / (pressure_kpa - vapour_kpa)


def absolute_humidity_g_m3(dry_bulb_c: Values, vapour_kpa: Values) -> Values:
    """Water in a cubic metre of the air, g. dry_bulb_c: -40 to 80; vapour_kpa: 0 to 47.5. Eq. 2."""
    _accept("absolute_humidity_g_m3", (dry_bulb_c, _DRY_BULB), (vapour_kpa, _VAPOUR))
    return 1000.0 * vapour_kpa / (WATER_GAS_CONSTANT * (dry_bulb_c + ZERO_C_IN_K))


def deficit_kpa(egg_c: Values | float, vapour_kpa: Values) -> Values:
    """The air's pull on an egg's water: saturated at the egg's temperature, less the vapour in the air.

    egg_c: -40 to 80; vapour_kpa: 0 to 47.5. Below 0, water condenses on the egg.
    """
    library = _accept("deficit_kpa", (egg_c, _EGG), (vapour_kpa, _VAPOUR))
    return _each(library, lambda lib, vapour, egg: _over_water(lib, egg) - vapour, vapour_kpa, egg_c)


def _heat_balance(phase: _Phase, dry_bulb_c: _Value, ratio: _Value, pressure_kpa: _Value) -> _Balance:  # noqa: PLR0917 - a formula's terms
    """Eq. 33 (water) or 35 (ice), multiplied out so that nothing is divided, in the form _settle takes."""
    heat = DRY_AIR_HEAT * dry_bulb_c + ratio * (phase.latent + VAPOUR_HEAT * dry_bulb_c)
    fall = DRY_AIR_HEAT + ratio * phase.heat
    return (
        WATER_TO_AIR * phase.latent + heat,
        -(WATER_TO_AIR * phase.latent_fall + fall),
        pressure_kpa * heat,
        -pressure_kpa * fall,
    )


def _wet_bulb(library: _Library, dry_bulb_c: _Value, rh_pct: _Value, pressure_kpa: _Value) -> _Value:  # noqa: PLR0917 - a formula's terms
    at_dry_bulb = _saturation(library, _WATER, dry_bulb_c)
    vapour_kpa = 0.01 * rh_pct * at_dry_bulb[0]
    ratio = WATER_TO_AIR * vapour_kpa / (pressure_kpa - vapour_kpa)
    balance = _heat_balance(_WATER, dry_bulb_c, ratio, pressure_kpa)
    wet_bulb_c = _settle(library, _WATER, dry_bulb_c, at_dry_bulb, balance)
    freezing = wet_bulb_c < 0.0
    if library.any(freezing):
        start_c, dry, ratio, pressure = _pick(freezing, (wet_bulb_c, dry_bulb_c, ratio, pressure_kpa))
        at_start = _saturation(library, _ICE, start_c)
        over_ice = _settle(library, _ICE, start_c, at_start, _heat_balance(_ICE, dry, ratio, pressure))
        wet_bulb_c = library.put(freezing, over_ice, wet_bulb_c)
    return library.where(wet_bulb_c > dry_bulb_c, dry_bulb_c, wet_bulb_c)


def wet_bulb_c(dry_bulb_c: Values, rh_pct: Values, pressure_kpa: Values | float) -> Values:
    """Thermodynamic wet bulb: the temperature of adiabatic saturation, within 1e-9 K of the exact root.

    dry_bulb_c: -40 to 80; rh_pct: 0 to 100; pressure_kpa: 50 to 110. Eq. 33, and eq. 35 below freezing.

    Near 0 °C both equations can have a root. Water counts wherever its root is 0 °C or more, ice where it is
    not; so as air dries the wet bulb falls to 0 °C, then drops by up to 0.8 K as the water freezes.
    Frosty air may be damper than air over ice can be: its wet bulb is then the dry bulb.
    """
    plain = type(dry_bulb_c) is type(rh_pct) is type(pressure_kpa) is float
    if (
        plain
        and _COLDEST_C <= dry_bulb_c <= _HOTTEST_C
        and _DRIEST_PCT <= rh_pct <= _DAMPEST_PCT
        and _LEAST_KPA <= pressure_kpa <= _MOST_KPA
    ):
        wet_bulb: Values = _wet_bulb(_PLAIN, dry_bulb_c, rh_pct, pressure_kpa)  # type: ignore[assignment]  # of a float, a float
        return wet_bulb
    library = _accept("wet_bulb_c", (dry_bulb_c, _DRY_BULB), (rh_pct, _RH), (pressure_kpa, _PRESSURE))
    return _each(library, _wet_bulb, dry_bulb_c, rh_pct, pressure_kpa)


def _rh_at_wet_bulb(library: _Library, dry_bulb_c: _Value, wet_bulb_c: _Value, pressure_kpa: _Value) -> _Value:  # noqa: PLR0917 - a formula's terms
    def over(phase: _Phase) -> _Value:
        saturated_kpa = _saturation(library, phase, wet_bulb_c)[0]
        saturated = WATER_TO_AIR * saturated_kpa / (pressure_kpa - saturated_kpa)
        latent = phase.latent - phase.latent_fall * wet_bulb_c
        ratio = (latent * saturated - DRY_AIR_HEAT * (dry_bulb_c - wet_bulb_c)) / (
            phase.latent + VAPOUR_HEAT * dry_bulb_c - phase.heat * wet_bulb_c
        )
        return pressure_kpa * ratio / (WATER_TO_AIR + ratio)

    vapour_kpa = over(_WATER)
    freezing = wet_bulb_c < 0.0
    if library.any(freezing):
        vapour_kpa = library.where(freezing, over(_ICE), vapour_kpa)
    return _rounded(library, 100.0 * vapour_kpa / _over_water(library, dry_bulb_c))


def _rounded(library: _Library, rh_pct: _Value) -> _Value:
    rh_pct = library.where((rh_pct < 0.0) & (rh_pct > -ROUNDING_PCT), 0.0, rh_pct)
    return library.where((rh_pct > 100.0) & (rh_pct < 100.0 + ROUNDING_PCT), 100.0, rh_pct)


def _rh_from(where: str, kernel: Callable[..., _Value], dry: Values, wet: Values, *others: _Value) -> Values:  # noqa: PLR0917 - a formula's terms
    ranges = (_DRY_BULB, _WET_BULB, _PRESSURE, _COEFFICIENT)
    library = _accept(where, *zip((dry, wet, *others), ranges, strict=False))
    _accept(where, (dry - wet, _DEPRESSION))
    rh_pct = _each(library, kernel, dry, wet, *others)
    _accept(where, (rh_pct, _RH_FOUND))
    return rh_pct


def rh_from_wet_bulb_pct(dry_bulb_c: Values, wet_bulb_c: Values, pressure_kpa: Values | float) -> Values:
    """Relative humidity from a thermodynamic wet bulb: the inverse of wet_bulb_c.

    dry_bulb_c: -40 to 80; wet_bulb_c: at most the dry bulb, taken over ice below 0; pressure_kpa: 50 to 110.
    ValueError too where the wet bulb is lower than even air without water could show. Eq. 33 and 35.
    """
    return _rh_from("rh_from_wet_bulb_pct", _rh_at_wet_bulb, dry_bulb_c, wet_bulb_c, pressure_kpa)


def _wick(  # noqa: PLR0917 - a formula's terms
    library: _Library, dry_bulb_c: _Value, rh_pct: _Value, pressure_kpa: _Value, coefficient_per_k: _Value
) -> _Value:
    at_dry_bulb = _saturation(library, _WATER, dry_bulb_c)
    pull = coefficient_per_k * pressure_kpa
    balance = (1.0, 0.0, 0.01 * rh_pct * at_dry_bulb[0] + pull * dry_bulb_c, -pull)
    wet_bulb_c = _settle(library, _WATER, dry_bulb_c, at_dry_bulb, balance)
    return library.where(wet_bulb_c > dry_bulb_c, dry_bulb_c, wet_bulb_c)


def wick_wet_bulb_c(
    dry_bulb_c: Values, rh_pct: Values, pressure_kpa: Values | float, *, coefficient_per_k: float
) -> Values:
    """What a thermometer in a wet wick shows: w in vapour = saturated(w) - coefficient·pressure·(dry - w).

    dry_bulb_c: -40 to 80; rh_pct: 0 to 100; pressure_kpa: 50 to 110; coefficient_per_k: 4e-4 to 3e-3. In FAO
    Irrigation and Drainage Paper 56 (1998) it is 6.62e-4 with air at 5 m/s on the wick, 8.0e-4 at 1 m/s and
    1.2e-3 indoors without a fan. The water counts as liquid, below 0 °C too: an iced wick reads otherwise.
    """
    given = (dry_bulb_c, rh_pct, pressure_kpa, coefficient_per_k)
    ranges = (_DRY_BULB, _RH, _PRESSURE, _COEFFICIENT)
    return _each(_accept("wick_wet_bulb_c", *zip(given, ranges, strict=True)), _wick, *given)


def _rh_at_wick(  # noqa: PLR0917 - a formula's terms
    library: _Library, dry_bulb_c: _Value, wick_c: _Value, pressure_kpa: _Value, coefficient_per_k: _Value
) -> _Value:
    vapour_kpa = _over_water(library, wick_c) - coefficient_per_k * pressure_kpa * (dry_bulb_c - wick_c)
    return _rounded(library, 100.0 * vapour_kpa / _over_water(library, dry_bulb_c))


def rh_from_wick_pct(
    dry_bulb_c: Values, wet_bulb_c: Values, pressure_kpa: Values | float, *, coefficient_per_k: float
) -> Values:
    """Relative humidity from what a wick shows: the inverse of wick_wet_bulb_c, with its ranges.

    ValueError too where the wick shows more than the dry bulb, or less than air without water would give.
    """
    return _rh_from("rh_from_wick_pct", _rh_at_wick, dry_bulb_c, wet_bulb_c, pressure_kpa, coefficient_per_k)


def pressure_kpa(elevation_m: Values) -> Values:
    """Pressure of the standard atmosphere at an elevation of -500 to 5500 m. Eq. 3; check values: table 1."""
    _accept("pressure_kpa", (elevation_m, _ELEVATION))
    answer: Values = SEA_LEVEL_KPA * (1.0 - 2.25577e-5 * elevation_m) ** 5.2559
    return answer


def elevation_m(pressure_kpa: float) -> float:
    """The elevation at which the standard atmosphere has a pressure above 0: the inverse of `pressure_kpa`."""
    return (1.0 - math.pow(pressure_kpa / SEA_LEVEL_KPA, 1.0 / 5.2559)) / 2.25577e-5


@fixed
class AirState:
    """A reading and what follows from it; no dew point (None) where air is too dry for one, as at 0 %RH."""

    dry_bulb_c: float
    rh_pct: float
    wet_bulb_c: float
    dew_point_c: float | None
    vapour_kpa: float
    deficit_kpa: float


def air_state(dry_bulb_c: float, rh_pct: float, pressure_kpa: float, *, egg_c: float | None = None) -> AirState:
    """The air state of one reading, its deficit to an egg at egg_c (None: at the temperature of the air).

    Ranges as for wet_bulb_c and deficit_kpa; ValueError outside them.
    """
    wet_bulb = wet_bulb_c(dry_bulb_c, rh_pct, pressure_kpa)
    vapour = vapour_kpa(dry_bulb_c, rh_pct)
    dew_point = dew_point_c(vapour)
    return AirState(
        dry_bulb_c=dry_bulb_c,
        rh_pct=rh_pct,
        wet_bulb_c=wet_bulb,
        dew_point_c=None if math.isnan(dew_point) else dew_point,
        vapour_kpa=vapour,
        deficit_kpa=deficit_kpa(dry_bulb_c if egg_c is None else egg_c, vapour),
    )
