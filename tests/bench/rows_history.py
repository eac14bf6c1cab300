"""Rows 17 to 20: what the reports of a batch cost beside reading its rows, and that no report pays for the years of others."""

from __future__ import annotations

import contextlib
import math
import time
from collections.abc import Callable, Iterator, Sequence
from functools import partial

from monitor.adapters.store.history import SqliteHistory
from monitor.adapters.tables.causes import shipped_causes
from monitor.domain.eggs.entry import Candling, Dead, Entry, Fact, Found, Hatched, Weighing
from monitor.domain.needs.batch import Batch, Stay
from monitor.domain.readings.reading import from_ms
from monitor.domain.state.record import Group
from monitor.service.across.review import batch_review
from monitor.service.across.together import across_batches
from monitor.service.reports.archive import archive_of
from monitor.service.reports.batch import batch_charts, batch_history
from monitor.shown.history.report import Header, to_html
from tests.bench.incubation import (
    BEGAN_MS,
    DAY_MS,
    EGGS,
    HATCHER,
    SETTER,
    STEP_MS,
    Bare,
    batch_of,
    long_after,
    openings,
    reading,
    site_of,
    write_air,
    write_batch,
    write_years,
    writing,
)
from tests.bench.pairs import Goal, Pair, Result, measure, ratio_of
from tests.bench.room import folder

Work = Callable[[], object]
REFERENCE = "np.fromiter over the bare query of its rows"
SEASON_STEP_MS = 300_000
APART_D = 7.0  # between the settings of a season
WEIGHED = 6  # of the eggs, the first
YEARS_STEP_MS = 60_000


def reports(pairs: int, days: float, rows: frozenset[str]) -> list[Result]:
    """Rows 17 and 18: the figures of a batch, and its page with the drawings, each beside the bare cost of its rows."""
    batch, site, now = batch_of("duck-1", BEGAN_MS, days), site_of(), long_after()
    pages: list[str] = []
    samples: list[int] = []
    with folder() as path:
        file = path / "record.db"
        with writing(file) as ledger:
            write_batch(ledger, batch)
        with reading(file) as history, contextlib.closing(Bare(file)) as bare:
            plan = bare.plan(batch)
            count = bare.read(plan)

            def alone() -> None:
                samples.append(batch_history(history, site, batch, now=now).whole.dry_bulb_c.samples)

            def page() -> None:
                figures, charts = batch_charts(history, site, batch, now=now)
                samples.append(figures.whole.dry_bulb_c.samples)
                pages.append(to_html(figures, charts, Header(batch.id, batch.profile, batch.eggs, batch.set_at), zone=site.zone, unit=site.unit))  # fmt: skip

            ours = {row: work for row, work in (("17", alone), ("18", page)) if row in rows}
            found = {row: _beside(work, lambda: bare.read(plan), pairs) for row, work in ours.items()}
    wrong = "" if set(samples) == {count} else f"{sorted(set(samples))} readings counted, expected {count}"
    of = f"of {days:g} days at {STEP_MS // 1000} s from 2 probes ({count:,} readings)"
    results = []
    if "17" in found:
        results.append(_ratio("17", f"history {of}", Goal(2.2, 1.5), found["17"], wrong=wrong))
    if "18" in found:
        note = f"{len(pages[-1].encode()) / 1e3:.0f} kB, all of it in one page"
        results.append(_ratio("18", f"first chart: the page with its drawings {of}", Goal(2.8, 2.0), found["18"], note=note, wrong=wrong))  # fmt: skip
    return results


def season(pairs: int, batches: int, days: float) -> list[Result]:
    """Row 19: a season's batches, all of them reviewed at once as `eggroom outcomes` tells them in its table, and one of them reviewed as
    `eggroom review` does it, beside all that went well; each against reading each batch's rows once."""
    site, now, causes = site_of(SEASON_STEP_MS), long_after(), shipped_causes()
    every = [batch_of(f"duck-{n}", BEGAN_MS + round(n * APART_D * DAY_MS), days) for n in range(1, batches + 1)]
    last = every[-1]  # of a multiple of four it has the more findings
    told: list[tuple[int, int]] = []
    with folder() as path:
        file = path / "record.db"
        with writing(file) as ledger:
            for place, batch in enumerate(every):
                ledger.commit(Group(batches={batch.id: batch}, entries=[(batch.id, e) for e in _book(batch, place)]))
            end_ms = BEGAN_MS + round(((batches + 1) * APART_D + days) * DAY_MS)
            for machine in (SETTER, HATCHER):
                write_air(ledger, machine, BEGAN_MS, end_ms, SEASON_STEP_MS)
                stay = Stay(machine, from_ms(BEGAN_MS), from_ms(end_ms))
                ledger.commit(Group(events=list(openings([stay]))))
        with reading(file) as real, contextlib.closing(Bare(file)) as bare:
            plans = [bare.plan(batch) for batch in every]
            asked = [0]
            history: SqliteHistory = _Counting(real, asked)  # type: ignore[assignment]

            def together() -> None:
                across = across_batches(history, site, catalogue=causes, now=now)
                told.append((len(across.lines), across.read))

            def alone() -> None:
                whole = batch_review(history, site, last, now=now, catalogue=causes)
                told.append((len(whole.reviewed), len(whole.good)))

            def theirs() -> None:
                counts.append(sum(bare.read(plan) for plan in plans))

            counts: list[int] = []
            found, notes, results = [], [], []
            for work in (together, alone):
                asked[0], before = 0, len(told)
                found.append(_beside(work, theirs, pairs))
                notes.append(f"{asked[0] // (len(told) - before):,} readings read for {counts[-1]:,}")
    expected = {
        (batches, batches),
        (1 if batches % 4 else 2, batches - 1),
    }  # every one of them went well, if some only just
    wrong = "" if set(told) == expected else f"{sorted(set(told))} told, expected {sorted(expected)}"
    of = f"{batches} batches of {days:g} days, 2 probes each, a reading every {SEASON_STEP_MS // 60_000} min"
    whats = (f"a season reviewed at once, {of}", f"one review beside all others that went well, of {of}")
    for what, pair, note in zip(whats, found, notes, strict=True):
        results.append(_ratio("19", what, Goal(10.0, 5.0), pair, reference=f"{REFERENCE}, each batch once", note=note, wrong=wrong))  # fmt: skip
    return results


def growth(lengths: Sequence[float], years: Sequence[float], repeats: int) -> list[Result]:
    """Row 20: exponents of the history's cost with the batch's length, and with the years in the record around the same batch."""
    return [_of_length(lengths, repeats), _of_years(years, repeats)]


def _of_length(lengths: Sequence[float], repeats: int) -> Result:
    site, now = site_of(), long_after()
    with folder() as path, contextlib.ExitStack() as stack:
        works: list[Work] = []
        for days in lengths:
            batch, file = batch_of("duck-1", BEGAN_MS, days), path / f"{days:g}.db"
            with writing(file) as ledger:
                write_batch(ledger, batch)
            works.append(partial(batch_history, stack.enter_context(reading(file)), site, batch, now=now))
        (least,) = _by_turns([works], repeats)
    note = f"least ms {', '.join(f'{s * 1e3:.0f}' for s in least)}"
    what = f"growth of the history with the batch's length, {', '.join(f'{d:g}' for d in lengths)} days at 10 s"
    return Result("20", what, "itself", Goal(1.15, 1.05), _exponent(lengths, least), "exponent", note=note)


def _of_years(years: Sequence[float], repeats: int) -> Result:
    """The oldest batch of each record, which all the years came after, and the newest, before which they were; a reading each minute,
    since beside one each ten seconds a cost that grows would hardly show."""
    site, now = site_of(YEARS_STEP_MS), long_after()
    with folder() as path, contextlib.ExitStack() as stack:
        works: dict[str, list[Work]] = {"oldest": [], "newest": [], "archive of the oldest": []}
        for length in years:
            between, file = round(length * 365), path / f"{length:g}.db"
            oldest, newest = batch_of("old", BEGAN_MS), batch_of("new", BEGAN_MS + (between + 29) * DAY_MS)
            with writing(file) as ledger:
                write_batch(ledger, oldest, YEARS_STEP_MS)
                write_years(ledger, BEGAN_MS + 29 * DAY_MS, between)
                write_batch(ledger, newest, YEARS_STEP_MS)
            history = stack.enter_context(reading(file))
            works["oldest"].append(partial(batch_history, history, site, oldest, now=now))
            works["newest"].append(partial(batch_history, history, site, newest, now=now))
            works["archive of the oldest"].append(partial(archive_of, history, site, oldest, now=now, say=str))
        least = dict(zip(works, _by_turns(list(works.values()), repeats), strict=True))
    found = {name: _exponent(years, times) for name, times in least.items()}
    shown = [f"{name} {found[name]:.3f} ({', '.join(f'{s * 1e3:.0f}' for s in times)} ms)" for name, times in least.items()]  # fmt: skip
    of = max(found["oldest"], found["newest"])
    what = f"growth of a 28-day history with the years in the record, {', '.join(f'{y:g}' for y in years)}"
    return Result("20", what, "itself", Goal(0.1, 0.05), of, "exponent", min(found.values()), max(found.values()), note="; ".join(shown))  # fmt: skip


class _Counting:
    """A history that counts the readings which are asked of it."""

    def __init__(self, history: SqliteHistory, asked: list[int]) -> None:
        self._history, self._asked = history, asked

    def series(self, *window: object) -> object:
        found = self._history.series(*window)  # type: ignore[arg-type]
        self._asked[0] += found.at_ms.size
        return found

    def __getattr__(self, name: str) -> object:
        return getattr(self._history, name)


def _book(batch: Batch, place: int) -> Iterator[Entry]:
    """A batch's egg book: six eggs weighed four times, all candled, every end written. Of each four batches three went well, in which one
    egg died late; in the fourth six did, on three days, and four chicks were wet."""
    dead = 6 if place % 4 == 3 else 1
    span = (batch.closed_at or batch.set_at) - batch.set_at
    written: list[tuple[float, Fact, int]] = []
    for egg in range(1, EGGS + 1):
        if egg <= WEIGHED:
            written += [(d / 28.0, Weighing(round(86.0 + egg - 0.47 * d, 2)), egg) for d in (0.0, 9.0, 18.0, 24.0)]
        written.append((7.0 / 28.0, Candling("alive"), egg))
        end: Fact = Dead("late") if egg <= dead else Hatched()
        written.append(((25.2 + egg % 3) / 28.0 if egg <= dead else 0.97, end, egg))
    written += [(0.99, Found("dead-unpipped"), egg) for egg in range(1, dead + 1)]
    if dead > 1:
        written += [(0.99, Found("wet-chick"), egg) for egg in range(EGGS - 3, EGGS + 1)]
    for number, (share, fact, egg) in enumerate(sorted(written, key=lambda row: row[0]), 1):
        at = batch.set_at + span * share
        yield Entry(at, at, "sam", fact, egg=egg, number=number)


def _beside(ours: Work, theirs: Work, pairs: int) -> list[Pair]:
    """Pairs of the seconds that each takes, after one of each that does not count."""
    ours(), theirs()
    return measure(lambda: _seconds(ours), lambda: _seconds(theirs), pairs)


def _seconds(work: Work) -> float:
    began = time.perf_counter()
    work()
    return time.perf_counter() - began


def _by_turns(rows: Sequence[Sequence[Work]], repeats: int) -> list[list[float]]:
    """The least seconds of each work, all of them in turn so often: what slows the machine for a while slows every one."""
    times = [[math.inf] * len(row) for row in rows]
    for _ in range(repeats):
        for least, row in zip(times, rows, strict=True):
            for place, work in enumerate(row):
                least[place] = min(least[place], _seconds(work))
    return times


def _ratio(row: str, what: str, goal: Goal, found: list[Pair], reference: str = REFERENCE, note: str = "", wrong: str = "") -> Result:  # fmt: skip
    return ratio_of(row, what, reference, goal, found, shown=lambda s: f"{s * 1e3:.0f} ms", note=note, wrong=wrong)


def _exponent(sizes: Sequence[float], times: Sequence[float]) -> float:
    """The slope of log time over log size, by least squares."""
    x, y = [math.log(s) for s in sizes], [math.log(t) for t in times]
    mean_x, mean_y = sum(x) / len(x), sum(y) / len(y)
    up = sum((a - mean_x) * (b - mean_y) for a, b in zip(x, y, strict=True))
    return up / sum((a - mean_x) ** 2 for a in x)
