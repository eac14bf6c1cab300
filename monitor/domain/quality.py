"""Whether a reading is fit to be judged: named tests in the manner of IOOS QARTOD (real-time quality control), probe by probe.

`flag_of` looks at a reading by itself; `assess` also knows what came before it, from a `Trail` of fixed size. A failed reading
is stored with its flag and judged by nobody; a suspect one is judged like any other: a flag must not silence danger. Each
quantity is tested by itself, so that a broken humidity sensor hides no heat.

RNG: range, and what chips say in place of a reading. SPK: a jump is held for one sample; the next one confirms it, or shows it
to have been a spike. Of two readings in a row at least one is judged, so danger waits one interval at most. ROC: a rate that no
air has; never worse than suspect, for whatever burns is fast too. FLAT: a value that stands still. NOISE: more to and fro than
this probe is used to. Probes are compared with one another in `agreement`.

An opened door is no fault: its air moves temperature and humidity together, and stays longer than one sample.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from monitor.domain.reading import FAIL, MISSING, NOT_EVALUATED, PASS, SUSPECT

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

SAME = 1e-6  # values closer than this are one value: the rounding of sums
FINEST = 0.002  # no probe has finer steps than a 16-bit temperature chip, 0.0027 K


@dataclass(frozen=True, slots=True)
class Scale:
    """The limits of one quantity, in its unit.

    jump: a step beyond this is held. back: so near its start a jump has come back. noise: three times so much to and fro is
    nobody's concern. coarse: of a probe with coarser steps, stillness says less in proportion. rise, fall: per minute, faster
    than which no air is believed to be by itself.
    """

    jump: float
    back: float
    noise: float
    coarse: float
    rise: float
    fall: float


@dataclass(frozen=True, slots=True)
class Limits:
    """Every number that the tests turn on. "Measured": on the cabinet model, see tests/domain/quality_figures.py."""

    # jump: QARTOD's spike test with the steps that weather stations ask again for. coarse: a DS18B20's step of 0.0625 K is. rise
    # and fall, measured: a heater stuck on 3 K/min, home from an opening 5 K/min, humidity after a refill 20 %RH/min.
    dry_bulb: Scale = Scale(jump=0.5, back=0.25, noise=0.02, coarse=0.025, rise=5.0, fall=3.0)
    humidity: Scale = Scale(jump=5.0, back=2.0, noise=0.3, coarse=0.05, rise=30.0, fall=10.0)
    back_share: float = 0.2  # of the jump: the air of a 10 s opening keeps a third of it 60 s later (measured)
    spikes_an_hour: float = 3.0  # one odd sample is nothing, so many are a loose wire (judgement)
    rate_s: float = 30.0  # a rate over less is noise: thrice the lag of a probe
    answer_pct_k: float = 1.0  # air warmed by 1 K loses 3 %RH, of which a controlled humidity hides a part (measured: to 1.4)
    answer_k_pct: float = 0.02  # an opening moves 0.08 K with each %RH (measured)
    event_k: float = 0.3  # air was exchanged when both fell by so much within the time of a rate
    event_pct: float = 3.0
    event_s: float = 600.0  # and is still coming home so long after it last moved
    flat_s: tuple[float, float] = (900.0, 3600.0)  # suspect, fail: a thermostat's ripple moves any sensor
    flat_longest_s: tuple[float, float] = (43_200.0, 86_400.0)  # where stillness is usual: half a day has an opening in it
    flat_readings: int = 15  # fewer equal ones come by chance
    flat_times: tuple[float, float] = (8.0, 16.0)  # of its usual stillness; by chance it lasts 8 times in 1 of 10 million runs
    noise_s: float = 600.0  # over which the present to and fro is taken, and at least over so many readings:
    noise_readings: int = 30
    noise_times: tuple[float, float] = (3.0, 6.0)  # of this probe's own level: suspect, fail
    noise_clip: float = 12.0  # one turn of the air counts no more than so many levels
    learn_s: float = 7 * 86_400.0  # the level is that of a week, and known after an hour
    learn_least_s: float = 3600.0
    usual_s: float = 86_400.0  # the usual stillness is that of a day
    odd_rh_pct: tuple[float, float] = (5.0, 99.0)  # beyond these for so long a sensor is wet, cut off or spent
    odd_rh_s: float = 1800.0
    gap_intervals: float = 3.0  # readings further apart than so many intervals, and a minute, are no neighbours
    gap_s: float = 60.0


LIMITS = Limits()


@dataclass(frozen=True, slots=True)
class Track:
    """What is kept of one quantity. value: the newest that was believed; change: what it moved by.

    held: a jump not believed yet. run_s, run_value, run_readings: since when, where and how often it stands still; usual_s: for
    how long it does at an instant taken by chance. step: the finest seen. noise, level: to and fro now, and as it is used to.
    """

    mono_s: float
    value: float
    run_s: float
    run_value: float
    run_readings: int = 1
    change: float = 0.0
    held: float | None = None
    usual_s: float = 0.0
    step: float | None = None
    noise: float = 0.0
    level: float = 0.0
    learnt_s: float = 0.0
    spikes: float = 0.0


Mark = tuple[float, float, float]  # an instant, its dry bulb and its humidity


@dataclass(frozen=True, slots=True)
class Trail:
    """What is kept of one probe, whatever its age. mark, newer_mark: what rates are taken from.

    event_s: when exchanged air last moved. odd_since_s: since when the humidity is at an end of its scale. held_flag: the flag
    of a held reading but for its jump, 0 when none is. together: whether both its quantities fell, as a door's air does.
    """

    newest_s: float | None = None
    dry_bulb: Track | None = None
    humidity: Track | None = None
    mark: Mark | None = None
    newer_mark: Mark | None = None
    event_s: float | None = None
    odd_since_s: float | None = None
    held_flag: int = 0
    together: bool = False


@dataclass(frozen=True, slots=True)
class Assessment:
    """What the tests say of one reading, and the trail to hand in with the next.

    flag: the roll-up of tests, which did not pass; NOT_EVALUATED stands for a jump that is held. dry_bulb_flag, rh_flag: of each
    quantity, MISSING where none came. held, rh_held: not to be judged yet. before: the final flag of the last reading that was
    held, when this one settled it.
    """

    trail: Trail
    flag: int
    tests: tuple[tuple[str, int], ...] = ()
    dry_bulb_flag: int = PASS
    rh_flag: int = MISSING
    held: bool = False
    rh_held: bool = False
    before: int | None = None

    @property
    def dry_bulb_fit(self) -> bool:
        """Whether the temperature may be judged now."""
        return self.dry_bulb_flag < FAIL and not self.held

    @property
    def rh_fit(self) -> bool:
        """Whether the humidity may be judged now."""
        return self.rh_flag < FAIL and not self.rh_held


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


def assess(
    trail: Trail,
    mono_s: float,
    dry_bulb_c: float | None,
    rh_pct: float | None,
    *,
    interval_s: float,
    resolution_k: float = 0.01,
    limits: Limits = LIMITS,
) -> Assessment:
    """One reading of one probe, raw, taken at mono_s on the forward clock.

    interval_s: how often the probe speaks. resolution_k: its step, until its own is seen (the humidity's likewise, in %RH). A
    reading that is not newer than the trail is looked at by itself, and leaves the trail as it is.
    """
    if dry_bulb_c is None:
        return Assessment(trail, MISSING, (("GAP", MISSING),), MISSING)
    tests: dict[str, int] = {}
    gross, gross_rh = _range(trail, dry_bulb_c, rh_pct, tests)
    if trail.newest_s is not None and mono_s <= trail.newest_s:
        return _answer(trail, tests, gross, gross_rh)
    gap_s = max(limits.gap_intervals * interval_s, limits.gap_s)
    warm = _Look(trail.dry_bulb, mono_s, dry_bulb_c if gross < FAIL else None, limits.dry_bulb, limits, resolution_k, gap_s)
    raise NotImplementedError
