"""Whether a reading is fit to be judged: named tests in the manner of IOOS QARTOD (real-time quality control), probe by probe.

`flag_of` looks at a reading by itself; `assess` also knows what came before it, from a `Trail` of fixed size. A failed reading
is stored with its flag and judged by nobody; a suspect one is judged like any other: a flag must not silence danger. Each
quantity is tested by itself, so that a broken humidity sensor hides no heat.

RNG range, and what chips say in place of a reading. SPK a jump: it is held for one sample; the next one confirms it, or shows it
to have been a spike. Of two readings in a row at least one is judged, so danger waits one interval at most. ROC a rate that no
air has: never worse than suspect, for whatever burns or freezes is fast too. FLAT a value that stands still. NOISE more to and
fro than this probe is used to. Between probes, see `agreement`.

An opened door is no fault: its air moves temperature and humidity together and stays longer than one sample.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from monitor.domain.reading import FAIL, MISSING, NOT_EVALUATED, PASS, SUSPECT

# Outside this no sensor in a hatching room speaks the truth: below a deep freezer, above a kettle's steam, or a humidity beyond
# what saturation and a sensor's own error can give.
DRY_BULB_C_FAIL = (-20.0, 80.0)
RH_PCT_FAIL = (0.0, 104.0)
# Outside this a room or a machine can be only when something is badly wrong, with it or with the sensor.
DRY_BULB_C_SUSPECT = (5.0, 50.0)
# What chips and libraries give in place of a reading: a DS18B20's power-up value, a weak supply.
SENTINELS_C = (85.0, 127.9375)
# A DS18B20's line held low or left open, also as rounded by a node; in a frosty room they may be true.
LINE_FAULTS_C = (0.0, -0.0625, -0.06)

SAME = 1e-6  # what is closer than this is the same value: the rounding of sums
FINEST = 0.002  # no probe's step is finer than a 16-bit humidity chip's, 0.0027 K


@dataclass(frozen=True, slots=True)
class Scale:
    """The limits of one quantity, in its unit.

    jump: a step beyond this is held. back: how near its start a jump that was none returns. noise: to and fro under three times
    this is nobody's concern. coarse: of probes with coarser steps than this, stillness says less, in proportion. rise, fall:
    fastest per minute that air is believed to be.
    """

    jump: float
    back: float
    noise: float
    coarse: float
    rise: float
    fall: float


@dataclass(frozen=True, slots=True)
class Limits:
    """Every number that the tests turn on, with where it is from; "measured": on the cabinet model, see the tests."""

    # SPK: meteorological practice and QARTOD give 0.5 K and 5 %RH for "ask again". NOISE: a hundredth of what an egg feels.
    # coarse: half of a DS18B20's 0.0625 K step still moves with an ordinary thermostat. rise and fall: measured, a heater stuck
    # on reaches 3 K/min and recovery from an opening 5 K/min; a humidifier after a refill 20 %/min, an opening -100 %/min.
    dry_bulb: Scale = Scale(jump=0.5, back=0.25, noise=0.02, coarse=0.025, rise=5.0, fall=3.0)
    humidity: Scale = Scale(jump=5.0, back=2.0, noise=0.3, coarse=0.05, rise=30.0, fall=10.0)
    back_share: float = 0.2  # of the jump: the air of a 10 s opening is a third of the way from home 60 s later (measured)
    spikes_an_hour: float = 3.0  # one odd sample is nothing; this many are a loose wire (judgement)
    rate_s: float = 30.0  # a rate over less is noise: thrice the lag of a probe
    answer_pct_k: float = 1.0  # air that warms or cools by 1 K at constant vapour moves 3 %RH; a controlled humidity hides most
    answer_k_pct: float = 0.02  # an opening moves 0.08 K with each %RH (measured)
    event_k: float = 0.3  # air was exchanged when both fell at least so much within the time of a rate
    event_pct: float = 3.0
    event_s: float = 600.0  # and goes on coming back for a while
    flat_s: tuple[float, float] = (900.0, 3600.0)  # suspect, fail; thermostat ripple guarantees movement
    flat_longest_s: tuple[float, float] = (43_200.0, 86_400.0)  # even where stillness is usual, half a day has an opening in it
    flat_readings: int = 15  # fewer equal ones than this happen by chance
    flat_times: tuple[float, float] = (8.0, 16.0)  # usual stillness; of runs that end by chance one in 10 million is so long
    noise_s: float = 600.0  # over which the present noise is taken
    noise_readings: int = 30  # and at least over so many
    noise_times: tuple[float, float] = (3.0, 6.0)  # this probe's own level: suspect, fail
    noise_clip: float = 12.0  # one turn of the air counts no more than this many levels
    learn_s: float = 7 * 86_400.0  # a probe's own level is that of a week
    learn_least_s: float = 3600.0
    odd_rh_pct: tuple[float, float] = (5.0, 99.0)  # outside it for so long the sensor is wet, cut off or spent
    odd_rh_s: float = 1800.0
    gap_intervals: float = 3.0  # readings further apart than this, and a minute, are no neighbours
    gap_s: float = 60.0


LIMITS = Limits()


@dataclass(frozen=True, slots=True)
class Track:
    """What is kept of one quantity of one probe. value: the newest that was believed; change: from the one before.

    held: a jump not yet believed. run_s, run_value, run_readings: since when, where and how often it stands still; usual_s: how
    long it does so at an instant taken by chance. step: its finest step seen. noise, level: to and fro now, and as it is used to.
    """

    mono_s: float
    value: float
    change: float = 0.0
    held: float | None = None
    run_s: float = 0.0
    run_value: float = 0.0
    run_readings: int = 1
    usual_s: float = 0.0
    step: float | None = None
    noise: float = 0.0
    level: float = 0.0
    learnt_s: float = 0.0
    spikes: float = 0.0


Mark = tuple[float, float, float | None]  # an instant, its dry bulb and its humidity


@dataclass(frozen=True, slots=True)
class Trail:
    """What is kept of one probe, all of it: two tracks, two marks to take rates from, and four instants or flags.

    event_s: when the air was last exchanged or coming back. odd_since_s: since when the humidity is at the end of its scale.
    held_flag: the flag of a held reading, but for its jump; 0 when none is held. together: whether it was the air's.
    """

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

    flag: the roll-up. tests: those that did not pass, each with its flag; NOT_EVALUATED while held. dry_bulb_flag, rh_flag: of
    each quantity (rh_flag MISSING where none came). held: not to be judged until the next reading. before: the final flag of the
    reading before this one, if that was held; else None.
    """

    trail: Trail
    flag: int
    tests: tuple[tuple[str, int], ...] = ()
    held: bool = False
    dry_bulb_flag: int = PASS
    rh_flag: int = MISSING
    before: int | None = None

    @property
    def dry_bulb_fit(self) -> bool:
        """Whether the temperature may be judged now."""
        return self.dry_bulb_flag in (PASS, SUSPECT)

    @property
    def rh_fit(self) -> bool:
        """Whether the humidity may be judged now."""
        return self.rh_flag in (PASS, SUSPECT)


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


Tests = list[tuple[str, int]]


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

    interval_s: how often the probe speaks. resolution_k: its step, until its own is seen (humidity likewise, in %RH). A
    reading that is not newer than the trail is looked at by itself, and leaves the trail as it is.
    """
    dry: Tests = []
    humid: Tests = []
    if dry_bulb_c is None:
        return Assessment(trail, MISSING, (("GAP", MISSING),), dry_bulb_flag=MISSING)
    _range(trail, dry_bulb_c, rh_pct, dry, humid)
    before = trail.dry_bulb
    if before is not None and mono_s <= before.mono_s:
        return _answer(trail, dry, humid, rh_pct is not None)
    gap_s = max(limits.gap_intervals * interval_s, limits.gap_s)
    dry_ok, rh_ok = not dry, rh_pct is not None and not humid
    if dry_ok or dry[0][1] == SUSPECT:
        pass
    raise NotImplementedError
