"""Plant small mistakes in the package, and see which of them no test notices.

`python -m tests.mutation --only domain/watch --sample 40 --seed 1`: forty of all that can be planted in that room, drawn by the seed.
Several rooms (or files) with commas; without --only all that `rooms.py` names; without --sample every mistake (hours). First the room's
tests run once where nothing is wrong, which finds out who comes to which function, and ends the run if one fails by itself. Then each
mistake is planted in a copy in a temporary folder, and asked are the tests that come to its function, the nearest first and some
twenty seconds of them, until one fails, and of what those let pass two minutes of the others: so a share that is printed is at most too
high. `--tests PATHS` asks these instead of the room's. Ends with 1 if more than the share allowed is alive anywhere.

`--equal` plants only what equal.toml names, asks the quick tests, and ends with 1 if one notices it: then it is not equal.
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

from tests.mutation.operators import Mistake
from tests.mutation.reach import Reach, together
from tests.mutation.rooms import PACKAGE, ROOMS, ROOT, asked_in, planted_in, room_of
from tests.mutation.trial import ALIVE, HUNG, NOTICED, UNREACHED, Bench, Outcome, collect, tried, warm

EQUAL = Path(__file__).parent / "equal.toml"


def equals() -> dict[tuple[str, str, str, str, int], str]:
    """The mistakes that change nothing that anyone could see, each with its reason."""
    entries = tomllib.loads(EQUAL.read_text(encoding="utf-8")).get("equal", [])
    return {(e["path"], e["where"], e["was"], e["now"], e.get("nth", 0)): e["why"] for e in entries}


def reach_of(tests: Sequence[str]) -> Reach:
    """Who comes where: as found before for these very sources, or found now; each path by itself, for several rooms ask it."""
    shared = [f for f in (ROOT / "tests").rglob("*.py") if not f.name.startswith("test_")]
    found = []
    for path in tests:
        at = ROOT / path.partition("::")[0]
        told = hashlib.sha256(path.encode())
        for file in sorted({*(ROOT / PACKAGE).rglob("*.py"), *shared, *(at.rglob("*.py") if at.is_dir() else [at])}):
            told.update(file.read_bytes())
        name = told.hexdigest()[:16]
        kept = Path(tempfile.gettempdir()) / f"planted-reach-{os.getuid()}-{name}.json"
        if not kept.exists():
            print(f"with nothing planted: {path}", flush=True)
            collect(kept, [path])
        found.append(Reach(**json.loads(kept.read_text())))
    return together(found)


def outcomes(planted: Sequence[Mistake], reach: Reach, processes: int = 2, *, slow: bool = True) -> Iterator[Outcome]:
    """Of each, as they come. slow: also ask the slow tests of what the quick ones let pass."""
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
                done.put(tried(bench, planted[number], reach, slow=slow))

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
    parser.add_argument("--only", default=",".join(ROOMS), metavar="ROOMS")
    parser.add_argument("--sample", type=int, metavar="N", help="so many of each room")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--tests", metavar="PATHS", help="ask these and no others")
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--equal", action="store_true", help="plant what is named equal, and nothing else")
    given = parser.parse_args(argv)
    shown = (NOTICED, HUNG) if given.equal else (ALIVE, UNREACHED)
    known = equals()
    told: dict[str, tuple[list[Outcome], int]] = {}
    warm()
    for room in given.only.split(","):
        all_ = planted_in(room)
        if not all_:
            parser.error(f"{room!r}: nothing to plant there, expected a folder or file below {PACKAGE}/")
        drawn = all_ if given.sample is None else random.Random(given.seed).sample(all_, min(given.sample, len(all_)))
        reach = reach_of(given.tests.split(",") if given.tests else asked_in(room))
        if reach.failed or not reach.took_s:
            print(
                f"{room}: with nothing planted {' '.join(reach.failed) or 'no test ran'}", "failed" * bool(reach.failed)
            )
            return 2
        planted = [m for m in drawn if (m.key in known) is given.equal]
        came: list[Outcome] = []
        for outcome in outcomes(planted, reach, given.processes, slow=not given.equal):
            came.append(outcome)
            if outcome.verdict in shown:
                m = outcome.mistake
                asked = f"{outcome.tests} tests" + f", {outcome.left} left out" * bool(outcome.left)
                print(f"{outcome.verdict} {PACKAGE}/{m.path}:{m.line} {m.where or 'the module'} ({asked})")
                print(f"  - {m.was}\n  + {m.now}", flush=True)
        told[room] = came, len(drawn) - len(planted)
    if given.equal:
        wrong = sum(outcome.verdict in shown for came, _ in told.values() for outcome in came)
        print(f"{wrong} of {sum(len(came) for came, _ in told.values())} that are named equal are not")
        return int(wrong > 0)
    return table(told, "all" if given.sample is None else f"seed {given.seed}")


def table(told: dict[str, tuple[list[Outcome], int]], drawn: str) -> int:
    """Print the shares; 1 if a room has more alive than it may. told: of each room its outcomes and how many are equal."""
    print(f"\n{drawn:<22}{'planted':>8}{'noticed':>9}{'hung':>6}{'alive':>7}{'share':>8}{'allowed':>9}{'equal':>7}")
    over = False
    for room, (came, equal) in told.items():
        verdicts = [outcome.verdict for outcome in came]
        alive = sum(verdict in (ALIVE, UNREACHED) for verdict in verdicts)
        share = alive / len(verdicts) if verdicts else 0.0
        allowed = room_of(room).allowed
        over |= share > allowed
        noticed, hung = verdicts.count(NOTICED), verdicts.count(HUNG)
        print(f"{room:<22}{len(verdicts):>8}{noticed:>9}{hung:>6}{alive:>7}{share:>8.1%}{allowed:>9.0%}{equal:>7}")
    return int(over)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
