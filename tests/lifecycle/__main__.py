"""python -m tests.lifecycle [--sequences N] [--processes N] [--on-disk N] [--seed N]: the long form. Exit code 1 on a counterexample.

Only sequences of the full 80 steps are counted; shorter ones, which the search makes as well, come on top.
"""

from __future__ import annotations

import argparse
import multiprocessing
import random
import sys
import time
from collections import Counter
from concurrent.futures import ProcessPoolExecutor

from tests.lifecycle.known import KNOWN
from tests.lifecycle.machine import STEPS_EACH, search
from tests.lifecycle.model import STATES


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.lifecycle")
    parser.add_argument("--sequences", type=int, default=1000)
    parser.add_argument("--on-disk", type=int, default=40, help="sequences more, on a record in a file")
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--seed", type=int, default=random.SystemRandom().randrange(10**9))
    asked = parser.parse_args()
    print(f"seed {asked.seed}", flush=True)
    share = -(-asked.sequences // asked.processes)
    work = [("in memory", share, asked.seed + 10**6 * i) for i in range(asked.processes)]
    if asked.on_disk:
        work.append(("on disk", asked.on_disk, asked.seed))
    began_s = time.monotonic()
    seen: Counter[str] = Counter()
    failures = []
    with ProcessPoolExecutor(asked.processes, mp_context=multiprocessing.get_context("spawn")) as pool:
        for found, failure in pool.map(search, *zip(*work, strict=True)):
            seen += found
            failures += [failure] if failure else []
    print(
        f"{seen['full sequences']} sequences of {STEPS_EACH} steps and {seen['sequences'] - seen['full sequences']} shorter ones:"
        f" {seen['steps']} steps, {seen['episodes']} episodes compared, {seen['readings']} readings,"
        f" {seen['restarts']} restarts, {seen['crashes']} crashes, {seen['clock steps']} clock steps,"
        f" {time.monotonic() - began_s:.0f} s"
    )
    for state in STATES:
        print(f"{seen[state]:>8}  {state}")
    for fault in sorted(KNOWN):
        print(f"kept out of, for it is known: {fault}")
    for failure in failures:
        print(failure)
    missed = [state for state in STATES if not seen[state]]
    if missed and not failures:
        print(f"never visited: {', '.join(missed)}")
    return 1 if failures or missed else 0


if __name__ == "__main__":
    sys.exit(main())
