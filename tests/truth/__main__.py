"""Whether the judge tells in time and keeps quiet otherwise.

    python -m tests.truth              all scenarios, seeds that no rule was fitted to (about fifteen minutes on two cores)
    python -m tests.truth --tuning     the same on the seeds that may be looked at while rules are changed
    python -m tests.truth --quick      about fifty of the tuning scenarios, in under a minute
    python -m tests.truth --from N     held-out seeds from N on, for a verdict after this one has been looked at
    python -m tests.truth --only "fan dead,turner jam"   these faults alone, on tuning seeds: while a rule is changed
    python -m tests.truth --story "heater dead" 3    one scenario, told
    python -m tests.truth --bars       what reaches the ear, on other machines: see bars.py (--tuning, --quick, --from, --only, --few N, --worst N)
    python -m tests.truth --bars --story "fan dead" 3   one of its lives, with everything that rang

Exit code 0 when the real judge meets every bar (of `--bars`: but what stands in not_yet.py) and the two bad judges do not, 1 otherwise.
"""

from __future__ import annotations

import argparse
import logging
import os
import sys
import time
from collections.abc import Callable, Container, Sequence

from tests.truth import bars as ear_bars
from tests.truth.families import FAMILIES
from tests.truth.faults import FAULTS
from tests.truth.judges import DEAF, NERVOUS, REAL, Real
from tests.truth.report import Bar, bars, false_alarms, own_rules, table
from tests.truth.run import jobs, label_of, run, scenarios_in
from tests.truth.scenarios import HELD_OUT, TUNING
from tests.truth.score import score
from tests.truth.told_story import tell
from tests.truth.world import play

SHOWN = 6  # cases of a missed bar
MANY = 1_000  # seeds of a family: more than any has
MUST_MISS = 3  # bars that a bad judge misses at the least, or the scorer cannot fail


def main(arguments: Sequence[str]) -> int:
    """Run, print, and say whether every bar is met."""
    asked = _asked(arguments)
    if asked.story:
        name, seed = asked.story[0], int(asked.story[1])
        return _life(name, seed, every=asked.every) if asked.bars else _one(name, seed)
    if asked.bars:
        return _bars(asked)
    began_s = time.perf_counter()
    tuning = asked.quick or asked.tuning or asked.only
    first_seed = asked.first if asked.first is not None else (TUNING if tuning else HELD_OUT)[0]
    todo = jobs(first_seed, quick=asked.quick)
    if asked.only:
        todo = [job for job in todo if job.what in asked.only.split(",")]
    results = run(todo, asked.processes)
    which = "held-out" if first_seed in HELD_OUT else "tuning"
    print(f"{scenarios_in(todo)} scenarios, {which} seeds from {first_seed}; {len(results.unfit)} could not be drawn")
    real = results.of(REAL)
    print("\n".join(table(real.rows)))
    print("Bars:")
    found = bars(real)
    for bar in found:
        print(bar.line())
        for case in bar.worst[:SHOWN] if not bar.met else ():
            print(f"            {case}")
    _also("Told late or not at all, without danger (no bar is set for these):", own_rules(real.rows))
    _also("Told without need:", false_alarms(real.rows))
    fair = [_must_fail(name, bars(results.of(name))) for name in (DEAF, NERVOUS)]
    missed = [bar.name for bar in found if not bar.met]
    print(f"{len(found) - len(missed)} of {len(found)} bars met{': missed ' + '; '.join(missed) if missed else ''}")
    print(f"({time.perf_counter() - began_s:.0f} s)")
    return 0 if all(fair) and not missed else 1


def _asked(arguments: Sequence[str]) -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m tests.truth")
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--tuning", action="store_true")
    parser.add_argument("--only", default="", metavar="FAULT,FAULT")
    parser.add_argument("--bars", action="store_true")
    parser.add_argument("--few", type=int, default=MANY, metavar="N")
    parser.add_argument(
        "--every", action="store_true", help="of a story: the air each minute, not each quarter of an hour"
    )
    parser.add_argument("--worst", type=int, default=SHOWN, help="lives shown of a missed bar")
    parser.add_argument("--from", dest="first", type=int)
    parser.add_argument("--processes", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--story", nargs=2, metavar=("FAULT", "SEED"))
    return parser.parse_args(arguments)


def _also(head: str, lines: Sequence[str]) -> None:
    if lines:
        print(head)
        print("\n".join(lines[:20]))


def _bars(asked: argparse.Namespace) -> int:
    """What reaches the ear."""
    began_s = time.perf_counter()
    tuning = asked.quick or asked.tuning or asked.only
    first_seed = asked.first if asked.first is not None else (TUNING if tuning else HELD_OUT)[0]
    todo = ear_bars.jobs(first_seed, quick=asked.quick, only=asked.only, few=asked.few)
    if not todo:
        print(
            f"--only {asked.only!r}: none, expected a part of one of: {', '.join([*FAMILIES, ear_bars.SEASON])}",
            file=sys.stderr,
        )
        return 2
    found = ear_bars.run(todo, asked.processes, _counted(len(todo)))
    print(f"{len(todo)} lives, {'held-out' if first_seed in HELD_OUT else 'tuning'} seeds from {first_seed}")
    return ear_bars.told(
        found,
        worst=asked.worst,
        whole=not asked.only,
        quick=asked.quick,
        own_seeds=asked.few >= MANY and first_seed == (TUNING if asked.quick else HELD_OUT)[0],
        began_s=began_s,
    )


def _counted(of: int) -> Callable[[int], None]:
    """Progress, on a terminal."""

    def each(done: int) -> None:
        end = "" if sys.stderr.isatty() else "\n"
        if end == "" or done % 50 == 0:
            print(f"\r{done} of {of}", end=end, file=sys.stderr, flush=True)

    return each


def _must_fail(name: str, found: Sequence[Bar]) -> bool:
    """A judge that is known to be bad, before the same bars."""
    missed = [bar.name for bar in found if not bar.met]
    fair = len(missed) >= MUST_MISS
    print(f"The {name} judge misses {len(missed)} of {len(found)} bars{'' if fair else ': THE SCORER CANNOT FAIL'}:")
    print(f"            {'; '.join(missed)}")
    return fair


def _elsewhere(name: str, those: Container[str], how: str) -> str:
    return f"; it is told {how} --bars" if name in those else ""


def _life(name: str, seed: int, *, every: bool) -> int:
    """One life and everything that rang."""
    if name not in FAMILIES:
        print(
            f"{name!r}: no such life, expected one of: {', '.join(FAMILIES)}{_elsewhere(name, FAULTS, 'without')}",
            file=sys.stderr,
        )
        return 2
    return tell(name, seed, every=every)


def _one(name: str, seed: int) -> int:
    """One scenario and everything that was told."""
    if name not in FAULTS:
        print(
            f"{name!r}: no such fault, expected one of: {', '.join(FAULTS)}{_elsewhere(name, FAMILIES, 'with')}",
            file=sys.stderr,
        )
        return 2
    logging.disable(logging.CRITICAL)
    judge = Real()
    scenario, truth = play(name, seed, [judge])
    print(scenario)
    left = "never" if truth.left_s is None else f"{truth.left_s:.0f} s"
    harm = "never" if truth.limits.harm_s is None else f"{truth.limits.harm_s:.0f} s ({truth.limits.why})"
    print(
        f"onset {scenario.onset_s:.0f} s, air out of its band {left}, harm {harm}, hot is {truth.limits.hot_c:.1f} °C"
    )
    told = [
        (t.at_s, f"{t.priority:9}{t.subject} {t.rule}{' over' if t.closing else ' again' if t.again else ''}")
        for t in judge.told
    ]
    shown = [
        (at_s, f"air {air_c:.2f} °C {rh:.1f} %RH, hottest egg {egg_c:.2f} °C")
        for at_s, air_c, rh, egg_c in truth.trail[::10]
    ]
    flags = [(at_s, f"flagged: {probe}") for at_s, probe in judge.flagged]
    for at_s, text in sorted([*told, *shown, *flags]):
        print(f"{at_s:9.0f} s {(at_s - scenario.onset_s) / 60.0:+8.1f} min  {text}")
    row = score(label_of(scenario, truth), judge.told, judge.flagged, judge=REAL, fault=name, seed=seed)
    print(f"{row.verdict}; delay {row.delay_s}, of {row.left_for_s}; false {row.false} ({', '.join(row.false_rules)})")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
