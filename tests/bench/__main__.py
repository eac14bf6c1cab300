"""python -m tests.bench [--rows 1,2,5] [--pairs N] [--quick]: measure, and print the table. Exit code 1 when a row fails."""

from __future__ import annotations

import argparse
import platform
import signal
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from types import FrameType

from tests.bench.pairs import PAIRS, Goal, Result, calibrate
from tests.bench.room import Missing

QUICK_PAIRS = 3
ALL = tuple(str(number) for number in range(1, 21))
_WIDTH = 104


def steps(rows: frozenset[str], pairs: int, quick: bool) -> Iterator[tuple[str, Callable[[], list[Result]]]]:
    """The rows asked for, in order of what they need; each step is a name and what measures it."""
    # Imported here, so that a row that needs nothing but arithmetic does not wait for the rest.
    from tests.bench import rows_air, rows_history, rows_judge, rows_link, rows_phone, rows_process, rows_record

    if "6" in rows:
        yield "6", lambda: rows_air.accuracy(20_000 if quick else 200_000)
    if "7" in rows:
        yield "7", lambda: rows_air.array_speed(pairs, 100_000 if quick else 1_000_000)
    if "8" in rows:
        yield "8", lambda: rows_air.scalar_speed(pairs, 2_000 if quick else 20_000)
    if "14" in rows:
        yield "14", lambda: rows_judge.cost(pairs, 20 if quick else 200)
    if "15" in rows:
        yield "15", lambda: rows_judge.speed(pairs, 50 if quick else 300)
    if "16" in rows:
        yield "16", lambda: rows_judge.growth(40 if quick else 400, 3 if quick else 15)
    if rows & {"9", "11"}:
        yield "9, 11", lambda: rows_record.days(pairs, 2 if quick else 28, rows)
    if "10" in rows:
        sizes = (120_000, 600_000) if quick else (200_000, 1_400_000, 10_000_000)
        yield "10", lambda: rows_record.growth(sizes, 5 if quick else 25)
    if rows & {"17", "18"}:
        yield "17, 18", lambda: rows_history.reports(pairs, 3.0 if quick else 28.0, rows)
    if "19" in rows:
        yield "19", lambda: rows_history.season(pairs, 3 if quick else 60, 28.0)
    if "20" in rows:
        lengths, years = ((2.0, 4.0), (0.2, 0.4)) if quick else ((7.0, 14.0, 28.0, 56.0), (1.0, 3.0, 9.0))
        yield "20", lambda: rows_history.growth(lengths, years, 2 if quick else 7)
    if "1" in rows:
        yield "1", lambda: rows_link.flood(pairs, 2_000 if quick else 20_000)
    if rows & {"2", "3"}:
        yield "2, 3", lambda: rows_link.paced(pairs, 1.0 if quick else 4.0, rows)
    if "4" in rows:
        yield "4", lambda: rows_link.strict(pairs, 200 if quick else 1_000)
    if "5" in rows:
        yield "5", lambda: rows_phone.alarms(pairs, 3 if quick else 12)
    if "12" in rows:
        yield "12", lambda: rows_process.start(pairs)
    if rows & {"12", "13"}:
        yield "12, 13", lambda: rows_process.rest(5.0 if quick else 70.0, 1_000 if quick else rows_process.BURST, rows)


def shown(result: Result) -> str:
    """One row for people."""
    head = f"{result.row:>2}  {result.what}"
    lines = [f"{head:<{_WIDTH}}  {result.verdict}"]
    if result.value is not None:
        value = f"{result.value:.3g} {result.unit}"
        if result.low is not None and result.high is not None:
            value += f" [{result.low:.3g} to {result.high:.3g}]"
        figures = [f"{value}, goal {result.goal}"]
        if result.pairs:
            figures.append(f"{result.trusted} of {result.pairs} pairs trusted")
        lines.append(f"    {'; '.join(figures)}")
        if result.ours:
            lines.append(f"    ours {result.ours}; {result.theirs} for {result.reference}")
        elif result.reference != "none":
            lines.append(f"    against {result.reference}")
    if result.note:
        lines.append(f"    {result.note}")
    return "\n".join(lines)


def main(arguments: Sequence[str] | None = None) -> int:
    """Measure what is asked for, row by row as it is found."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.bench", description="Speed and size, each beside a reference."
    )
    parser.add_argument("--rows", default=",".join(ALL), metavar="N,N", help="which rows (default: all)")
    parser.add_argument("--pairs", type=int, default=None, metavar="N", help=f"trusted pairs to find (default {PAIRS})")
    parser.add_argument("--quick", action="store_true", help="small sizes: whether it runs, not how fast it is")
    options = parser.parse_args(arguments)
    rows = frozenset(options.rows.split(","))
    if not rows <= set(ALL):
        parser.error(f"--rows {options.rows}, expected numbers from 1 to {len(ALL)}")
    if options.pairs is not None and options.pairs < 1:
        parser.error(f"--pairs {options.pairs}, expected 1 or more")
    pairs = options.pairs or (QUICK_PAIRS if options.quick else PAIRS)
    signal.signal(signal.SIGTERM, _interrupt)  # so that what was started is stopped
    print(f"Python {platform.python_version()}, {platform.machine()}, calibration loop {calibrate() * 1e3:.2f} ms")
    if options.quick:
        print("--quick: small sizes; the figures say that a row runs, and no more")
    began, failed = time.monotonic(), False
    for name, step in steps(rows, pairs, options.quick):
        try:
            results = step()
        except Missing as missing:
            results = [Result(name, "", "none", Goal(0.0), None, note=str(missing))]
        for result in results:
            failed = failed or result.verdict.startswith("FAIL")
            print(shown(result), flush=True)
    print(f"{time.monotonic() - began:.0f} s")
    return 1 if failed else 0


def _interrupt(number: int, frame: FrameType | None) -> None:
    raise KeyboardInterrupt


if __name__ == "__main__":
    try:
        sys.exit(main())
    except KeyboardInterrupt:
        sys.exit(130)
