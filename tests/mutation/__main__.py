"""Plant small mistakes in the package, and see which of them no test notices.

`python -m tests.mutation --only domain/watch --sample 40 --seed 1`: forty of all that can be planted in that room, drawn by the seed.
Several rooms with commas; without --only every room that DEVELOPERS.md names for this; without --sample all (hours). Each is planted in
a copy in a temporary folder, and asked are the fast tests that come to its function (or `--tests PATHS`, for a test just written).
The first run after a change of sources finds out who comes where, which takes as long as the fast tests. Two processes.
Ends with 1 if more than the share allowed is alive anywhere.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import random
import sys
import tempfile
import tomllib
from collections.abc import Iterator, Sequence
from multiprocessing import get_context
from pathlib import Path

from tests.mutation.operators import Mistake, mistakes
from tests.mutation.reach import Reach
from tests.mutation.trial import (
    ALIVE,
    HUNG,
    NOTICED,
    PACKAGE,
    ROOT,
    UNREACHED,
    Bench,
    Outcome,
    collect,
    fast_tests,
    tried,
    warm,
)

EQUAL = Path(__file__).parent / "equal.toml"
ALARM_PATH = (
    "domain/alarms",
    "domain/needs",
    "domain/readings",
    "domain/signs",
    "domain/state",
    "domain/watch",
    "service/watch",
    "adapters/store",
)
ELSEWHERE = ("domain/air", "domain/eggs", "domain/published", "service/reports")
ALLOWED = {**dict.fromkeys(ALARM_PATH, 0.08), **dict.fromkeys(ELSEWHERE, 0.15)}
READ_SIDE = ("history.py", "batch_record.py")  # of the store: what only reads


def planted_in(room: str) -> list[Mistake]:
    """All that can be planted in a room (a folder, or a file of one)."""
    place = ROOT / PACKAGE / room
    files = [place] if place.suffix else sorted(place.rglob("*.py"))
    found: list[Mistake] = []
    for file in files:
        if room == "adapters/store" and file.name in READ_SIDE:
            continue
        found += mistakes(file.read_text(encoding="utf-8"), str(file.relative_to(ROOT / PACKAGE)))
    return found


def equals() -> dict[tuple[str, str, str, str, int], str]:
    """The mistakes that change nothing that anyone could see, each with its reason."""
    entries = tomllib.loads(EQUAL.read_text(encoding="utf-8")).get("equal", [])
    return {(e["path"], e["where"], e["was"], e["now"], e.get("nth", 0)): e["why"] for e in entries}


def reach_of(tests: Sequence[str], fresh: bool) -> Reach:
    """Who comes where: as found before for these very sources, or found now."""
    told = hashlib.sha256()
    for file in sorted([*(ROOT / PACKAGE).rglob("*.py"), *(ROOT / "tests").rglob("*.py")]):
        told.update(file.read_bytes())
    kept = Path(tempfile.gettempdir()) / f"planted-reach-{os.getuid()}-{told.hexdigest()[:16]}.json"
    if fresh or not kept.exists():
        print("finding out which test comes where ...", flush=True)
        collect(kept, tests)
    reach: Reach = json.loads(kept.read_text())
    return reach


def outcomes(planted: Sequence[Mistake], reach: Reach | Sequence[str], processes: int = 2) -> Iterator[Outcome]:
    """Of each, as they come."""
    warm()
    with tempfile.TemporaryDirectory(prefix="planted-") as folder:
        context = get_context("fork")
        todo, done = context.Queue(), context.Queue()
        for number in range(len(planted)):
            todo.put(number)
        for _ in range(processes):
            todo.put(None)

        def work(place: Path) -> None:
            bench = Bench(place)
            while (number := todo.get()) is not None:
                done.put(tried(bench, planted[number], reach))

        workers = [context.Process(target=work, args=(Path(folder) / str(n),)) for n in range(processes)]
        for worker in workers:
            worker.start()
        for _ in planted:
            yield done.get()
        for worker in workers:
            worker.join()


def main(argv: Sequence[str]) -> int:
    """See the module."""
    parser = argparse.ArgumentParser(prog="python -m tests.mutation", description=__doc__)
    parser.add_argument("--only", default=",".join(ALLOWED), metavar="ROOMS")
    parser.add_argument("--sample", type=int, metavar="N", help="so many of each room")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--tests", metavar="PATHS", help="ask these and no others")
    parser.add_argument("--fresh", action="store_true", help="find out anew which test comes where")
    parser.add_argument("--processes", type=int, default=2)
    given = parser.parse_args(argv)
    known = equals()
    rooms = given.only.split(",")
    drawn: dict[tuple[str, str, str, str, int], str] = {}
    planted: list[Mistake] = []
    for room in rooms:
        all_ = planted_in(room)
        if not all_:
            parser.error(f"{room!r}: nothing to plant there, expected a folder or file below {PACKAGE}/")
        some = all_ if given.sample is None else random.Random(given.seed).sample(all_, min(given.sample, len(all_)))
        drawn |= {m.key: room for m in some}
        planted += [m for m in some if m.key not in known]
    reach = given.tests.split(",") if given.tests else reach_of(fast_tests(), given.fresh)
    told = []
    for outcome in outcomes(planted, reach, given.processes):
        told.append(outcome)
        if outcome.verdict in (ALIVE, UNREACHED):
            m = outcome.mistake
            print(
                f"{outcome.verdict} {PACKAGE}/{m.path}:{m.line} {m.where or 'the module'} ({outcome.tests} tests, {outcome.left} more)"
            )
            print(f"  - {m.was}\n  + {m.now}", flush=True)
    return table(rooms, drawn, told, known)


def table(
    rooms: Sequence[str],
    drawn: dict[tuple[str, str, str, str, int], str],
    told: Sequence[Outcome],
    known: dict[tuple[str, str, str, str, int], str],
) -> int:
    """Print the shares; 1 if a room has more alive than it may."""
    print(f"\n{'room':<22}{'planted':>8}{'noticed':>9}{'hung':>6}{'alive':>7}{'share':>8}{'allowed':>9}{'equal':>7}")
    over = False
    for room in rooms:
        verdicts = [o.verdict for o in told if drawn[o.mistake.key] == room]
        alive = sum(v in (ALIVE, UNREACHED) for v in verdicts)
        equal = sum(1 for key, of in drawn.items() if of == room and key in known)
        share = alive / len(verdicts) if verdicts else 0.0
        allowed = next((share for name, share in ALLOWED.items() if room.startswith(name)), 0.15)
        over |= share > allowed
        noticed, hung = verdicts.count(NOTICED), verdicts.count(HUNG)
        print(f"{room:<22}{len(verdicts):>8}{noticed:>9}{hung:>6}{alive:>7}{share:>8.1%}{allowed:>9.0%}{equal:>7}")
    return int(over)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
