"""Whether a reading is fit to be judged: named tests in the manner of IOOS QARTOD (real-time quality control), probe by probe.

`flag_of` looks at a reading by itself; `assess` also knows what came before it, from a `Trail` of fixed size. A failed reading
is stored with its flag and judged by nobody; a suspect one is judged like any other: a flag must not silence danger. Each
quantity is tested by itself, so that a broken humidity sensor hides no heat.

RNG: range, and what chips say in place of a reading. SPK: a jump that the next reading does not confirm, or too many of them. ROC:
a rate that no air has; never worse than suspect, for whatever burns is fast too. FLAT: a value that stands still. NOISE: more to
and fro than this probe is used to. Probes are compared with one another in `agreement`.

An opened door is no fault: its air moves temperature and humidity together, and stays longer than one sample.
"""

from __future__ import annotations

from dataclasses import field, replace

from monitor.domain.fixed import fixed
from monitor.domain.readings.reading import FAIL, MISSING, NOT_EVALUATED, PASS, SUSPECT
from monitor.domain.readings.track import (
    LIMITS,
    Limits,
    Pace,
    Scale,
    Track,
    around,
    beside,
    followed,
    gone_on,
    in_a_quiet_room,
    moved_again,
    neither_moved,
    noisy,
    step,
    still,
)

# Outside this no sensor in a hatching room speaks the truth: below a deep freezer, above a kettle's steam, or a humidity beyond
# what saturation and a sensor's own error can give.
DRY_BULB_C_FAIL = (-20.0, 80.0)
RH_PCT_FAIL = (0.0, 104.0)
# Outside this a room or a machine can be only when something is badly wrong, with it or with the sensor.
DRY_BULB_C_SUSPECT = (5.0, 50.0)
# What chips and libraries give in place of a reading: a DS18B20's power-up value, a weak supply.
SENTINELS_C = (85.0, 127.9375)
# A DS18B20's line held low or left open, also as a node may round it. In a frosty room they may be true.
LINE_FAULTS_C = (0.0, -0.0625, -0.06)
_LEAST_C, _MOST_C = DRY_BULB_C_SUSPECT  # within these nothing of the above is met
_LEAST_PCT, _MOST_PCT = RH_PCT_FAIL

Mark = tuple[float, float, float]  # an instant, its dry bulb and its humidity


@fixed
class Trail:
    """What is kept of one probe, however long it runs. mark, newer_mark: what rates are taken from.

    event_s: when exchanged air last moved. odd_since_s: since when the humidity is at an end of its scale. held_flag: the flag
    of the reading that is held but for its jump, 0 when none is. together: whether both its quantities fell, as a door's air does; None
    when it had only one.
    """

    newest_s: float | None = None
    dry_bulb: Track | None = None
    humidity: Track | None = None
    mark: Mark | None = None
    newer_mark: Mark | None = None
    event_s: float | None = None
    odd_since_s: float | None = None
    held_flag: int = 0
    together: bool | None = False


@fixed
class Assessment:
    """What the tests say of one reading.

    flag: the roll-up of tests, which are those that did not pass; NOT_EVALUATED stands for a jump that is held. dry_bulb_flag,
    rh_flag: of each quantity, MISSING where none came. before: the final flag of the reading that was held, once it is settled.
    held: whether a quantity waits for the next reading, which settles this one's flag. dry_bulb_fit, rh_fit: whether each may be judged
    now.
    """

    flag: int
    tests: tuple[tuple[str, int], ...] = ()
    dry_bulb_flag: int = PASS
    rh_flag: int = MISSING
    dry_bulb_held: bool = False
    rh_held: bool = False
    before: int | None = None

    held: bool = field(init=False, repr=False, compare=False)
    dry_bulb_fit: bool = field(init=False, repr=False, compare=False)
    rh_fit: bool = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "held", self.dry_bulb_held or self.rh_held)
        object.__setattr__(self, "dry_bulb_fit", self.dry_bulb_flag < FAIL and not self.dry_bulb_held)
        object.__setattr__(self, "rh_fit", self.rh_flag < FAIL and not self.rh_held)


# What is said of nearly every reading, with a humidity and without one.
_WELL, _WELL_DRY = Assessment(PASS, (), PASS, PASS), Assessment(PASS, (), PASS, MISSING)


def flag_of(dry_bulb_c: float | None, rh_pct: float | None) -> int:
    """The flag of one reading, from its own values alone."""
    if dry_bulb_c is None:
        return MISSING
    if not DRY_BULB_C_FAIL[0] <= dry_bulb_c <= DRY_BULB_C_FAIL[1] or dry_bulb_c in SENTINELS_C:
        return FAIL
    if rh_pct is not None and not RH_PCT_FAIL[0] <= rh_pct <= RH_PCT_FAIL[1]:
        return FAIL
    if not DRY_BULB_C_SUSPECT[0] <= dry_bulb_c <= DRY_BULB_C_SUSPECT[1]:
        return SUSPECT
    return PASS


def assess(  # noqa: PLR0917 - with each reading
    trail: Trail,
    mono_s: float,
    dry_bulb_c: float | None,
    rh_pct: float | None,
    interval_s: float,
    resolution_k: float = 0.01,
    limits: Limits = LIMITS,
) -> tuple[Trail, Assessment]:
    """The trail after one reading of one probe, raw, taken at mono_s on the forward clock, and what the tests say of it.

    interval_s: how often the probe speaks. resolution_k: its step, until its own is seen (the humidity's likewise, in %RH). A
    reading that is not newer than the trail is looked at by itself, and leaves the trail as it is.
    """
    if dry_bulb_c is None:
        return trail, Assessment(MISSING, (("GAP", MISSING),), MISSING)
    gap_s, window_s = limits.gap_intervals * interval_s, limits.noise_readings * interval_s
    gap_s = gap_s if gap_s > limits.gap_s else limits.gap_s
    pace = (mono_s, window_s if window_s > limits.noise_s else limits.noise_s, resolution_k, limits, gap_s)
    dry, humid = trail.dry_bulb, trail.humidity
    if dry is None or humid is None or rh_pct is None:
        return _assessed(trail, dry_bulb_c, rh_pct, pace)
    air, water = limits.dry_bulb, limits.humidity
    newest_s, few, flat_s = trail.newest_s, limits.flat_readings - 1, limits.flat_s[0]
    driest, dampest = limits.odd_rh_pct  # nothing within these is out of range
    jump_k, jump_pct = air.jump, water.jump
    # Nearly always both only go on: each near its last value, which was believed a moment ago, so that none is held, and neither still for long
    # nor spiky. What else there may be to say is asked apart.
    if not (
        dry.mono_s == newest_s
        and humid.mono_s == newest_s
        and 0.0 < mono_s - newest_s <= gap_s
        and _LEAST_C <= dry_bulb_c <= _MOST_C
        and driest <= rh_pct <= dampest
        and -jump_k <= dry_bulb_c - dry.value <= jump_k
        and -jump_pct <= rh_pct - humid.value <= jump_pct
        and dry.run_readings < few
        and humid.run_readings < few
        and newest_s - dry.run_s <= flat_s
        and newest_s - humid.run_s <= flat_s
        and not (dry.spikes or humid.spikes)
    ):
        return _assessed(trail, dry_bulb_c, rh_pct, pace)
    tests: dict[str, int] = {}
    dry, humid = gone_on(dry, dry_bulb_c, air, pace), gone_on(humid, rh_pct, water, pace)
    if dry.noise > air.noise:
        _own(dry, humid, False, "T", air, pace, tests)
    if humid.noise > water.noise:
        _own(humid, dry, False, "H", water, pace, tests)
    here, event_s = (mono_s, dry_bulb_c, rh_pct), trail.event_s
    mark, newer_mark = trail.mark, trail.newer_mark
    if newer_mark is None or mono_s - newer_mark[0] >= limits.rate_s:
        mark, newer_mark = newer_mark, here
    if mark is not None:
        least_k, least_pct = limits.event_k, limits.event_pct  # less is neither fast nor exchanged air
        if not (-least_k < dry_bulb_c - mark[1] < least_k and -least_pct < rh_pct - mark[2] < least_pct):
            event_s = _rates(mark, here, event_s, limits, tests)
    later = Trail(mono_s, dry, humid, mark, newer_mark, event_s)
    return later, _answer(tests, rh_pct) if tests else _WELL


def _assessed(  # noqa: PLR0917 - with each reading
    trail: Trail, dry_bulb_c: float, rh_pct: float | None, pace: Pace
) -> tuple[Trail, Assessment]:
    """The same of any reading that has a temperature."""
    mono_s, _, _, limits, _ = pace
    tests: dict[str, int] = {}
    gross, gross_rh = PASS, MISSING if rh_pct is None else PASS
    if not (_LEAST_C <= dry_bulb_c <= _MOST_C and (rh_pct is None or _LEAST_PCT <= rh_pct <= _MOST_PCT)):
        gross, gross_rh = _range(trail, dry_bulb_c, rh_pct, tests)
    if trail.newest_s is not None and mono_s <= trail.newest_s:
        return trail, _answer(tests, rh_pct)
    fit, fit_rh = gross < FAIL, gross_rh < FAIL
    was_dry, was_humid = trail.dry_bulb, trail.humidity
    airs = _airs(trail, limits) if trail.held_flag else trail.together
    dry, dry_was, dry_jumped, dry_held, dry_moved = step(
        was_dry, dry_bulb_c if fit else None, limits.dry_bulb, airs, pace
    )
    humid, humid_was, humid_jumped, humid_held, humid_moved = step(
        was_humid, rh_pct if fit_rh else None, limits.humidity, airs, pace
    )
    before = max(dry_was, humid_was, trail.held_flag) if trail.held_flag else None
    least_s = limits.flat_s[0]  # asked here, for a call would cost more than the question
    if (was_dry is not None and was_dry.mono_s - was_dry.run_s > least_s) or (
        was_humid is not None and was_humid.mono_s - was_humid.run_s > least_s
    ):
        dry, humid = _taught(trail, dry, humid, pace=pace)
    few = limits.flat_readings
    if dry is not None and humid is not None and (dry.run_readings >= few or humid.run_readings >= few):
        dry, humid = _side_by_side(dry, humid, limits)
    odd_since_s = None
    if (
        fit
        and dry is not None
        and not dry_held
        and (dry_jumped or dry.spikes or dry.run_readings >= few or dry.noise > limits.dry_bulb.noise)
    ):
        _own(dry, humid, dry_jumped, "T", limits.dry_bulb, pace, tests)
    if rh_pct is not None and fit_rh:
        low, high = limits.odd_rh_pct
        if not low <= rh_pct <= high:  # at the end of its scale a humidity stands still of itself
            odd_since_s = _odd_since(trail, mono_s, limits, tests)
        elif (
            humid is not None
            and not humid_held
            and (humid_jumped or humid.spikes or humid.run_readings >= few or humid.noise > limits.humidity.noise)
        ):
            _own(humid, dry, humid_jumped, "H", limits.humidity, pace, tests)
    held = dry_held or humid_held
    mark, newer_mark, event_s = trail.mark, trail.newer_mark, trail.event_s
    if rh_pct is not None and fit and fit_rh and not held:
        here = (mono_s, dry_bulb_c, rh_pct)
        if newer_mark is None or mono_s - newer_mark[0] >= limits.rate_s:
            mark, newer_mark = newer_mark, here
        if mark is not None:
            event_s = _rates(mark, here, event_s, limits, tests)
    held_flag = max(PASS, *tests.values(), 0) if held else 0
    together = None if not (fit and fit_rh) else held and _fell_together(dry_moved, humid_moved, limits)
    later = Trail(mono_s, dry, humid, mark, newer_mark, event_s, odd_since_s, held_flag, together)
    if not (tests or held or before is not None):  # as of nearly all
        return later, _WELL_DRY if rh_pct is None else _WELL
    return later, _answer(tests, rh_pct, dry_held, humid_held, before)


def _range(trail: Trail, dry_bulb_c: float, rh_pct: float | None, tests: dict[str, int]) -> tuple[int, int]:  # noqa: PLR0917 - with each reading
    """RNG: each quantity by itself, but for a humidity that lingers at an end of its scale."""
    gross = flag_of(dry_bulb_c, None)
    gross_rh = MISSING if rh_pct is None else PASS if RH_PCT_FAIL[0] <= rh_pct <= RH_PCT_FAIL[1] else FAIL
    if dry_bulb_c in LINE_FAULTS_C:
        warm = trail.dry_bulb is None or trail.dry_bulb.value > DRY_BULB_C_SUSPECT[0]
        gross = FAIL if warm or rh_pct == 0.0 else gross
        gross_rh = FAIL if rh_pct == 0.0 else gross_rh
    if gross > PASS:
        tests["RNG-T"] = gross
    if gross_rh == FAIL:
        tests["RNG-H"] = FAIL
    return gross, gross_rh


def _side_by_side(dry: Track, humid: Track, limits: Limits) -> tuple[Track, Track]:
    """The tracks, each with what the other is while it stands still."""
    if dry.run_readings >= limits.flat_readings:
        dry = beside(dry, humid.value)
    if humid.run_readings >= limits.flat_readings:
        humid = beside(humid, dry.value)
    return dry, humid


def stands_still(trail: Trail, limits: Limits = LIMITS) -> bool:
    """Whether its temperature is one value for long enough to be asked about."""
    return trail.dry_bulb is not None and trail.dry_bulb.run_readings >= limits.flat_readings


def among(trail: Trail, others_c: float, step_k: float) -> Trail:
    """The trail of a temperature that stands still, with where the other probes of its machine are: see `track.around`."""
    dry = trail.dry_bulb
    if dry is None:
        return trail
    kept = around(dry, others_c, step_k)
    return trail if kept is dry else replace(trail, dry_bulb=kept)


def leapt(trail: Trail | None, limits: Limits = LIMITS) -> bool:
    """Whether its last temperature that was believed came farther than one reading of this probe goes, though no farther than the machine's own
    swing may: alone it is no fault, beside another probe that stood still it may be."""
    dry = None if trail is None else trail.dry_bulb
    if dry is None or dry.held is not None:
        return False
    moved = dry.change if dry.change >= 0.0 else -dry.change
    if moved <= limits.dry_bulb.jump:  # as nearly always
        return False
    if dry.middle is None or abs(dry.value - dry.middle) > limits.swing_reach * dry.swing:
        return False  # it was believed because the air goes on as it went
    return moved > limits.jump_levels * dry.level and moved > 3.0 * (dry.step or 0.0)


def step_k_of(trail: Trail | None, limits: Limits = LIMITS) -> float:
    """The step of a probe's temperature, or what that may be of one that never moved."""
    dry = None if trail is None else trail.dry_bulb
    return limits.coarse_k if dry is None or dry.step is None else dry.step


def _taught(trail: Trail, dry: Track | None, humid: Track | None, *, pace: Pace) -> tuple[Track | None, Track | None]:
    """The tracks, with what is to be learnt where a long stillness is over."""
    limits = pace[3]
    was_dry, was_humid = trail.dry_bulb, trail.humidity
    if (
        dry is not None
        and was_dry is not None
        and humid is not None
        and was_humid is not None
        and (dry.run_s != was_dry.run_s or humid.run_s != was_humid.run_s)
    ):
        dry = neither_moved(dry, was_dry, was_humid, limits=limits)
    if dry is not None and was_dry is not None and dry.run_s != was_dry.run_s and _long_still(was_dry, limits):
        dry = followed(dry, was_dry, scale=limits.dry_bulb, pace=pace)
        dry, by = moved_again(dry, was_dry, was_humid, scale=limits.dry_bulb, pace=pace)
        if by and humid is not None:
            humid = in_a_quiet_room(humid, by, scale=limits.humidity, pace=pace)
    if (
        humid is not None
        and was_humid is not None
        and humid.run_s != was_humid.run_s
        and _long_still(was_humid, limits)
    ):
        humid, by = moved_again(humid, was_humid, was_dry, scale=limits.humidity, pace=pace)
        if by and dry is not None:
            dry = in_a_quiet_room(dry, by, scale=limits.dry_bulb, pace=pace)
    return dry, humid


def _long_still(track: Track | None, limits: Limits) -> bool:
    """Whether it stands still for longer than any limit is."""
    return track is not None and track.mono_s - track.run_s > limits.flat_s[0]


def _own(  # noqa: PLR0917 - with each reading
    track: Track, other: Track | None, jumped: bool, quantity: str, scale: Scale, pace: Pace, tests: dict[str, int]
) -> None:
    """SPK, FLAT and NOISE of one quantity that is not held."""
    limits = pace[3]
    if jumped or track.spikes > limits.spikes_an_hour:
        tests[f"SPK-{quantity}"] = SUSPECT
    if track.run_readings >= limits.flat_readings and (flat := still(track, other, scale=scale, pace=pace)) > PASS:
        tests[f"FLAT-{quantity}"] = flat
    if track.noise > scale.noise and (noise := noisy(track, scale, pace)) > PASS:  # no level is under the scale's
        tests[f"NOISE-{quantity}"] = noise


def _odd_since(trail: Trail, mono_s: float, limits: Limits, tests: dict[str, int]) -> float:  # noqa: PLR0917 - with each reading
    """Since when the humidity is at an end of its scale; RNG-H once it has lingered there."""
    since_s = mono_s if trail.odd_since_s is None else trail.odd_since_s
    if mono_s - since_s >= limits.odd_rh_s:
        tests["RNG-H"] = SUSPECT
    return since_s


def _fell_together(moved_k: float, moved_pct: float, limits: Limits) -> bool:
    """Whether a jump is a door's: both fall, the humidity by far."""
    fell = moved_k <= -limits.event_k / 2.0 and moved_pct <= -limits.event_pct / 2.0
    return fell and moved_pct <= limits.answer_pct_k * moved_k


def _airs(trail: Trail, limits: Limits) -> bool | None:
    """Whether a jump that is held was the air's: a door's (`together`), or that of sprayed water, which cools what it dampens and is over by
    the next reading. None where nobody can tell."""
    dry, humid = trail.dry_bulb, trail.humidity
    if dry is None or humid is None or dry.held is None:
        return trail.together
    damper = humid.change if humid.held is None else humid.held - humid.value
    return trail.together or (dry.held - dry.value <= -limits.event_k and damper >= limits.event_pct)


def _rates(mark: Mark, here: Mark, event_s: float | None, limits: Limits, tests: dict[str, int]) -> float | None:  # noqa: PLR0917 - with each reading
    """ROC: what moves fast without the other quantity's answer. Returns when air that may be exchanged last moved."""
    (from_s, from_c, from_pct), (mono_s, dry_bulb_c, rh_pct) = mark, here
    minutes = (mono_s - from_s) / 60.0
    warmer, damper = dry_bulb_c - from_c, rh_pct - from_pct
    # In a room as damp as the machine an opened door moves the temperature alone: what falls may always be a door.
    if warmer <= -limits.event_k:
        return mono_s
    if event_s is not None and mono_s - event_s <= limits.event_s:
        moving = abs(warmer) >= limits.event_k or abs(damper) >= limits.event_pct
        return mono_s if moving else event_s
    air, water = limits.dry_bulb, limits.humidity
    if not -air.fall * minutes <= warmer <= air.rise * minutes:
        saturated = rh_pct > limits.odd_rh_pct[1]  # nothing to be told from it
        if not saturated and abs(damper) < limits.answer_pct_k * abs(warmer):
            tests["ROC-T"] = SUSPECT
    if not -water.fall * minutes <= damper <= water.rise * minutes and abs(warmer) < limits.answer_k_pct * abs(damper):
        tests["ROC-H"] = SUSPECT
    return event_s


def _answer(  # noqa: PLR0917 - with each reading
    tests: dict[str, int],
    rh_pct: float | None,
    dry_bulb_held: bool = False,
    rh_held: bool = False,
    before: int | None = None,
) -> Assessment:
    dry_bulb_flag, rh_flag = PASS, MISSING if rh_pct is None else PASS
    for name, flag in tests.items():
        if name[-1] == "T":
            dry_bulb_flag = max(dry_bulb_flag, flag)
        else:
            rh_flag = max(rh_flag, flag)
    named = [*tests.items()]
    if dry_bulb_held:
        named.append(("SPK-T", NOT_EVALUATED))
    if rh_held:
        named.append(("SPK-H", NOT_EVALUATED))
    worst = max((flag for _, flag in named), default=PASS)
    return Assessment(worst, tuple(named), dry_bulb_flag, rh_flag, dry_bulb_held, rh_held, before)
