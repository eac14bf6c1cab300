"""How well the tests of a reading find faults, and how seldom they see one where there is none, on the cabinet model.

`python -m tests.domain.readings.quality_figures` prints the figures; the tests assert a short form of them. Everything is drawn from fixed
seeds. A recording is a list of (s, °C, %RH) of one probe; a fault is put into a copy of it, so that the truth is known.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import product

from monitor.domain.air.psychrometrics import vapour_kpa
from monitor.domain.readings.agreement import DRIFT, XDIS, Agreement, Given, Pairs, agree
from monitor.domain.readings.quality import Trail, assess
from monitor.domain.readings.reading import FAIL, MISSING, SUSPECT
from monitor.rehearse.cabinet import PROPORTIONAL, Air, Cabinet, CabinetSpec, Probe, ProbeSpec

SMALL = CabinetSpec(45.0, heater_w=30.0, humidifier_g_h=25.0, eggs=12, age_days=4.0)  # hysteresis
LARGE = CabinetSpec(400.0, heater_w=400.0, humidifier_g_h=250.0, control=PROPORTIONAL, eggs=300, age_days=4.0)
HOUR_S, DAY_S, WEEK_S = 3600, 86_400, 604_800
FINEST_S = 10  # recordings are made so often, and thinned for longer intervals
INTERVALS_S = (10, 20, 30, 60)
OPENINGS_S = (10, 20, 30, 60, 120, 300)

Reading = tuple[float, float | None, float | None]
Recording = Sequence[Reading]
Sound = list[Given]  # as a probe without a fault gives it


def room_air(at_s: float) -> Air:
    """A room between 16 and 24 °C over the day."""
    dry_bulb_c = 20.0 + 4.0 * math.sin(2.0 * math.pi * at_s / DAY_S)
    return Air(dry_bulb_c, vapour_kpa(20.0, 50.0))


def openings(rng: random.Random, hours: float, a_day: float) -> list[tuple[int, int]]:
    """(opened, shut) in seconds, at odd times, of 10 s to 5 min, none within 2 min of another."""
    result: list[tuple[int, int]] = []
    at_s = 0.0
    while a_day > 0:
        at_s += 120.0 + rng.expovariate(a_day / DAY_S)
        lasts_s = rng.choice(OPENINGS_S)
        if at_s + lasts_s > hours * HOUR_S:
            break
        result.append((int(at_s), int(at_s) + lasts_s))
        at_s += lasts_s
    return result


def record(
    spec: CabinetSpec,
    probes: Sequence[ProbeSpec],
    hours: float,
    *,
    seed: int = 1,
    openings_a_day: float = 20.0,
    doors: Iterable[tuple[int, int]] | None = None,
) -> list[Sound]:
    """What each probe of one cabinet says every 10 s, once the machine has run in."""
    rng = random.Random(seed)
    made = tuple(Probe(p, random.Random(f"{seed}/{i}")) for i, p in enumerate(probes))
    cabinet = Cabinet(spec, made)
    cabinet.step(6.0 * HOUR_S, room_air(0.0))
    moves: dict[int, bool] = {}
    for opened, shut in openings(rng, hours, openings_a_day) if doors is None else doors:
        moves[opened], moves[shut] = True, False
    result: list[Sound] = [[] for _ in probes]
    for at_s in range(0, int(hours * HOUR_S), FINEST_S):
        room = room_air(at_s)
        done_s = at_s
        for second in range(at_s, at_s + FINEST_S):
            if second in moves:
                cabinet.step(second - done_s, room)
                done_s = second
                cabinet.door_open = moves[second]
        cabinet.step(at_s + FINEST_S - done_s, room)
        for recording, probe in zip(result, made, strict=True):
            reading = probe.read()
            assert reading is not None
            recording.append((float(at_s + FINEST_S), *reading))
    return result


def thinned(recording: Recording, interval_s: int, first: int = 0) -> Recording:
    """The readings of a probe that speaks less often."""
    return recording[first :: interval_s // FINEST_S]


@dataclass
class Flags:
    """The final flag of each reading, and its tests; held: which readings waited."""

    flags: list[int] = field(default_factory=list)
    tests: list[tuple[tuple[str, int], ...]] = field(default_factory=list)
    held: list[bool] = field(default_factory=list)
    trail: Trail = field(default_factory=Trail)

    def named(self, prefix: str) -> int:
        """How many readings a test had something against."""
        return sum(any(name.startswith(prefix) and flag >= SUSPECT for name, flag in tests) for tests in self.tests)

    @property
    def false(self) -> int:
        """Readings with a fault flag."""
        return sum(flag in (SUSPECT, FAIL) for flag in self.flags)


def flags_of(recording: Recording, interval_s: float, trail: Trail | None = None) -> Flags:
    """Every reading assessed in its turn; a held one gets the flag that the next one gave it."""
    result = Flags(trail=Trail() if trail is None else trail)
    waiting = None
    for at_s, dry_bulb_c, rh_pct in recording:
        result.trail, found = assess(result.trail, at_s, dry_bulb_c, rh_pct, interval_s=interval_s)
        if found.before is not None and waiting is not None:
            result.flags[waiting] = found.before
            if found.before == FAIL:
                result.tests[waiting] = (*result.tests[waiting], ("SPK", FAIL))
        result.flags.append(found.flag)
        result.tests.append(found.tests)
        result.held.append(found.held)
        if found.flag != MISSING:
            waiting = len(result.flags) - 1 if found.held else None
    return result


# Probes of the makes that are met: of a fine humidity chip at several heights, lags and noises, and a coarse one without humidity.
QUIET = ProbeSpec(noise_k=0.01)
USUAL = ProbeSpec(noise_k=0.02, height=1.0, offset_k=0.2, rh_offset_pct=1.5)
SLOW = ProbeSpec(noise_k=0.03, height=-1.0, lag_s=60.0)
NOISY = ProbeSpec(noise_k=0.05, lag_s=3.0, rh_lag_s=3.0)
BARE = ProbeSpec(noise_k=0.03, humidity=False)
COARSE = ProbeSpec(noise_k=0.012, step=0.0625, lag_s=30.0, humidity=False)
PROBES = {"quiet": QUIET, "usual": USUAL, "slow": SLOW, "noisy": NOISY, "bare": BARE, "coarse": COARSE}
CABINETS = {"hysteresis": SMALL, "proportional": LARGE}

Found = tuple[int, int]  # of so many


@dataclass(frozen=True)
class Room:
    """Recordings by cabinet and probe, with openings or without."""

    hours: float
    recordings: Mapping[tuple[str, str], Sound]

    @staticmethod
    def watched(hours: float, openings_a_day: float, probes: Mapping[str, ProbeSpec] = PROBES, seed: int = 1) -> Room:
        """Each cabinet once, with all its probes in it."""
        recordings: dict[tuple[str, str], Sound] = {}
        for name, spec in CABINETS.items():
            made = record(spec, [*probes.values()], hours, seed=seed, openings_a_day=openings_a_day)
            recordings |= {(name, probe): recording for probe, recording in zip(probes, made, strict=True)}
        return Room(hours, recordings)


def false_flags(room: Room, intervals_s: Iterable[int] = INTERVALS_S) -> Iterator[tuple[str, str, int, float, Flags]]:
    """(cabinet, probe, interval, node-weeks, what was flagged) of recordings without any fault."""
    for (cabinet, probe), recording in room.recordings.items():
        for interval_s in intervals_s:
            yield cabinet, probe, interval_s, room.hours / 168.0, flags_of(thinned(recording, interval_s), interval_s)


def called_faults(count: int, intervals_s: Iterable[int]) -> dict[tuple[int, int, str], Found]:
    """By (opening, interval, probe): readings with a fault flag, of all until half an hour after `count` openings, in both cabinets."""
    rng = random.Random("doors")
    doors = [(0, 0)]
    for lasts_s in OPENINGS_S * count:
        opened = doors[-1][1] + 3000 + rng.randrange(60)
        doors.append((opened, opened + lasts_s))
    result: dict[tuple[int, int, str], Found] = {}
    for spec in CABINETS.values():
        made = record(spec, [*PROBES.values()], doors[-1][1] / HOUR_S + 0.6, seed=3, doors=doors[1:])
        for (probe, recording), interval_s in product(zip(PROBES, made, strict=True), intervals_s):
            readings = thinned(recording, interval_s)
            flags = flags_of(readings, interval_s).flags
            for opened, shut in doors[1:]:
                near = [f for (at_s, *_), f in zip(readings, flags, strict=True) if opened <= at_s <= shut + 1800]
                key = (shut - opened, interval_s, probe)
                bad, of = result.get(key, (0, 0))
                result[key] = (bad + sum(f in (SUSPECT, FAIL) for f in near), of + len(near))
    return result


def spoilt(
    recording: Recording, at: int, fault: Callable[[int, Reading], tuple[float | None, float | None]]
) -> Recording:
    """The recording from `at` on as a fault makes it of (how many readings after its start, the true reading)."""
    bad = [(reading[0], *fault(i, reading)) for i, reading in enumerate(recording[at:])]
    return [*recording[:at], *bad]


def trials(
    room: Room, interval_s: int, count: int, before_s: int, after_s: int, seed: object, probes: Iterable[str]
) -> Iterator[tuple[random.Random, str, Recording, int]]:
    """(chance, probe, a piece of a recording, where the fault begins in it), at times taken by chance."""
    rng = random.Random(f"{interval_s}/{seed}")
    keys = [key for key in room.recordings if key[1] in probes]
    for number in range(count):
        key = keys[number % len(keys)]
        whole = thinned(room.recordings[key], interval_s)
        at = rng.randrange(before_s // interval_s, len(whole) - after_s // interval_s - 1)
        begin = at - before_s // interval_s
        yield rng, key[1], whole[begin : at + after_s // interval_s + 1], at - begin


def found_stuck(room: Room, interval_s: int, count: int, probes: Iterable[str], within_s: int, flag: int) -> Found:
    """A probe that goes on saying what it said last gets at least this flag within so long."""
    found = 0
    for _, _, piece, at in trials(room, interval_s, count, 2 * HOUR_S, within_s, "stuck", probes):
        last = piece[at - 1]
        bad = spoilt(piece, at, lambda i, r, last=last: (last[1], last[2]))  # type: ignore[misc]
        found += any(
            name == "FLAT-T" and f >= flag for tests in flags_of(bad, interval_s).tests[at:] for name, f in tests
        )
    return found, count


def found_spikes(room: Room, interval_s: int, count: int, probes: Iterable[str], sizes_k: Sequence[float]) -> Found:
    """A spike of one reading fails, and its neighbours do not."""
    found = 0
    for rng, _, piece, at in trials(room, interval_s, count, 2 * HOUR_S, 5 * interval_s, "spike", probes):
        k = rng.choice(sizes_k) * rng.choice((-1.0, 1.0))
        bad = spoilt(piece, at, lambda i, r, k=k: (r[1] + (k if i == 0 else 0.0), r[2]))  # type: ignore[misc]
        flags = flags_of(bad, interval_s).flags
        found += flags[at] == FAIL and FAIL not in flags[at + 1 :]
    return found, count


SHAKY = (("NOISE-T", SUSPECT), ("NOISE-T", FAIL), ("SPK-T", SUSPECT))


def found_noise(room: Room, interval_s: int, count: int, probes: Iterable[str], noise_k: float) -> Found:
    """Noise of that spread on top of its own is flagged, as noise or as too many spikes, within half an hour or 60 readings."""
    found = 0
    after_s = max(1800, 60 * interval_s)
    for rng, _, piece, at in trials(room, interval_s, count, 4 * HOUR_S, after_s, "noise", probes):
        bad = spoilt(piece, at, lambda i, r, rng=rng: (r[1] + rng.gauss(0.0, noise_k), r[2]))  # type: ignore[misc]
        found += any(test in SHAKY for tests in flags_of(bad, interval_s).tests[at:] for test in tests)
    return found, count


ABSENT = (
    -45.0,
    130.0,
    -46.85,
    128.86,
    85.0,
    127.9375,
    127.94,
    0.0,
    -0.0625,
    -0.06,
    -127.0,
    -128.0,
    998.0,
    999.0,
    4083.0,
)
WILD = (math.nan, math.inf, -math.inf, -20.01, 80.01, 117_917.6)


def found_out_of_range(room: Room, interval_s: int, probes: Iterable[str]) -> Found:
    """What chips and libraries say in place of a reading, and what no air can be, fails at once, and only that."""
    found, count = 0, 0
    for value in ABSENT + WILD:
        for _, _, piece, at in trials(room, interval_s, 3, HOUR_S, 5 * interval_s, value, probes):
            bad = spoilt(piece, at, lambda i, r, value=value: (value if i == 0 else r[1], r[2]))  # type: ignore[misc]
            flags = flags_of(bad, interval_s).flags
            found += flags[at] == FAIL and FAIL not in flags[at + 1 :]
            count += 1
    return found, count


def found_dropouts(room: Room, interval_s: int, count: int, probes: Iterable[str]) -> Found:
    """Readings without a temperature, up to ten in a row, are missing, and what comes after them is not flagged."""
    found = 0
    for rng, _, piece, at in trials(room, interval_s, count, HOUR_S, 20 * interval_s, "dropout", probes):
        lost = rng.randint(1, 10)
        bad = spoilt(piece, at, lambda i, r, lost=lost: (None, None) if i < lost else (r[1], r[2]))  # type: ignore[misc]
        flags = flags_of(bad, interval_s).flags[at:]
        found += all(f == MISSING for f in flags[:lost]) and not any(
            f in (SUSPECT, FAIL, MISSING) for f in flags[lost:]
        )
    return found, count


def compared(
    recordings: Mapping[str, Recording], interval_s: int, still: bool = False
) -> Iterator[tuple[float, Agreement]]:
    """The probes of a machine, each heard in its turn, out of step by up to half an interval, as nodes are."""
    heard: dict[str, Given] = {}
    state = Pairs()
    step = interval_s // FINEST_S
    arrivals = [
        (reading[0], name, reading)
        for number, (name, recording) in enumerate(recordings.items())
        for reading in thinned(recording, interval_s, number * step // 2 % step)
    ]
    for at_s, name, (_, dry_bulb_c, rh_pct) in sorted(arrivals, key=lambda a: (a[0], a[1])):
        assert dry_bulb_c is not None
        heard[name] = (at_s, dry_bulb_c, rh_pct)
        result = agree(state, at_s, heard, interval_s=interval_s, still=still)
        state = result.pairs
        yield at_s, result


PAIRED = (("quiet", "usual"), ("usual", "slow"), ("quiet", "noisy"), ("bare", "coarse"))


def false_differences(
    room: Room, intervals_s: Iterable[int], sets: Iterable[Sequence[str]] = PAIRED
) -> tuple[int, float]:
    """(times that something was found between sound probes, weeks of a machine looked at)."""
    times, weeks = 0, 0.0
    for cabinet in CABINETS:
        for names in sets:
            for interval_s in intervals_s:
                stood = False
                for _, result in compared({n: room.recordings[cabinet, n] for n in names}, interval_s):
                    times += bool(result.found) and not stood
                    stood = bool(result.found)
                weeks += room.hours / 168.0
    return times, weeks


def found_apart(
    room: Room, interval_s: int, count: int, names: Sequence[str], offsets: Sequence[float], within_s: int, flag: int
) -> Found:
    """One of the probes is off by so much from one reading to the next: said within so long, and of it or its pair alone."""
    found = 0
    rng = random.Random(f"apart/{interval_s}/{names}")
    for number in range(count):
        cabinet = [*CABINETS][number % 2]
        readings = {n: room.recordings[cabinet, n] for n in names}
        bad = rng.choice(names)
        off = rng.choice(offsets) * rng.choice((-1.0, 1.0))
        start = rng.randrange(2 * HOUR_S, int(room.hours * HOUR_S) - within_s)
        pieces = {
            n: [
                (at_s, dry + (off if n == bad and at_s >= start else 0.0), rh)
                for at_s, dry, rh in r
                if start - HOUR_S <= at_s <= start + within_s
            ]
            for n, r in readings.items()
        }
        named = {
            d.probes for _, a in compared(pieces, interval_s) for d in a.found if d.test == XDIS and d.flag >= flag
        }
        found += named == {(bad,)} if len(names) > 2 else named == {tuple(sorted(names))}
    return found, count


def found_drift(room: Room, interval_s: int, names: Sequence[str], k_a_day: float, within_s: int) -> Found:
    """Each probe in turn drifts, up and down, from the 24th hour on: said within so long, and of it or its pair, and not before."""
    found, count = 0, 0
    for cabinet in CABINETS:
        for bad in names:
            for sign in (-1.0, 1.0):
                drifting = {
                    n: [
                        (at_s, dry + (sign * k_a_day * max(0.0, at_s - DAY_S) / DAY_S if n == bad else 0.0), rh)
                        for at_s, dry, rh in room.recordings[cabinet, n]
                        if at_s <= DAY_S + within_s
                    ]
                    for n in names
                }
                named = [
                    (at_s, d.probes) for at_s, a in compared(drifting, interval_s) for d in a.found if d.test == DRIFT
                ]
                right = (bad,) if len(names) > 2 else tuple(sorted(names))
                found += bool(named) and named[0][0] >= DAY_S and {probes for _, probes in named} == {right}
                count += 1
    return found, count


def _share(found: Found) -> str:
    return f"{found[0]:5d} of {found[1]:5d}  {100.0 * found[0] / found[1]:6.2f} %"


def main() -> None:
    """Print the figures."""
    opened, calm = (
        Room.watched(60, 20.0),
        Room.watched(36, 0.0, {n: PROBES[n] for n in ("quiet", "noisy", "slow", "bare")}, 2),
    )
    fine, two, three = ("quiet", "usual", "slow", "noisy"), ("quiet", "noisy"), ("quiet", "noisy", "slow")
    spikes_k, offsets_k = (0.7, 1.0, 2.0, 5.0, 20.0), (0.7, 1.0, 2.0)
    print("False flags, 20 openings a day (cabinet, probe, interval; readings in so many node-weeks):")
    for cabinet, probe, interval_s, weeks, flags in false_flags(opened):
        tests = sorted({n for t in flags.tests for n, f in t if f >= SUSPECT})
        print(f"  {cabinet:12} {probe:7} {interval_s:3d} s {flags.false:4d} in {weeks:.2f}  {' '.join(tests)}")
    print("Openings (length, interval): readings called a fault, of all until half an hour after them")
    for (lasts_s, interval_s, probe), (bad, of) in called_faults(6, (10, 30, 60)).items():
        print(f"  {lasts_s:3d} s {interval_s:2d} s {probe:7} {bad} of {of}")
    for interval_s, (name, room) in product((10, 30, 60), (("20 openings a day", opened), ("no openings", calm))):
        sound = [p for p in fine if ("hysteresis", p) in room.recordings]
        print(f"Found, every {interval_s} s, {name}:")
        print("  stuck, suspect in 16 min ", _share(found_stuck(room, interval_s, 40, sound, 960, SUSPECT)))
        print("  stuck, fail in 61 min    ", _share(found_stuck(room, interval_s, 20, sound, 3660, FAIL)))
        print("  out of range             ", _share(found_out_of_range(room, interval_s, PROBES)))
        print("  dropout                  ", _share(found_dropouts(room, interval_s, 40, PROBES)))
        print("  spike 0.7 to 20 K        ", _share(found_spikes(room, interval_s, 120, sound, spikes_k)))
        print("  spike, no humidity       ", _share(found_spikes(room, interval_s, 60, ("bare",), spikes_k)))
        print("  noise 1 K, half an hour  ", _share(found_noise(room, interval_s, 20, sound, 1.0)))
        print("  two apart, 20 min        ", _share(found_apart(room, interval_s, 24, two, offsets_k, 1200, SUSPECT)))
        print("  two apart, 60 min        ", _share(found_apart(room, interval_s, 24, two, offsets_k, 3600, SUSPECT)))
        print("  odd one of three, 60 min ", _share(found_apart(room, interval_s, 24, three, offsets_k, 3600, SUSPECT)))
    print("Drift of 0.5 K in a day, found within 15 h:")
    for interval_s in (30, 60):
        print(f"  every {interval_s} s, two       ", _share(found_drift(opened, interval_s, two, 0.5, 15 * HOUR_S)))
        print(f"  every {interval_s} s, three     ", _share(found_drift(opened, interval_s, three, 0.5, 15 * HOUR_S)))
    times, weeks = false_differences(opened, (10, 30, 60))
    print(f"Differences found between sound probes: {times} in {weeks:.1f} weeks of a machine")


if __name__ == "__main__":
    main()
