"""The bars of what reaches the ear: each with its figure, its limit, and the lives to look at first.

    python -m tests.truth --bars                     all of them, on seeds that no rule was fitted to
    python -m tests.truth --bars --tuning            on seeds that may be looked at
    python -m tests.truth --bars --only "fan dead"   these families (a part of the name is enough), on tuning seeds
    python -m tests.truth --bars --few 4             at most four seeds of each family
    python -m tests.truth --bars --story "fan dead" 3   one life, with everything that rang

A bar that the judge does not meet yet stands in `not_yet.py` with its worst figure and is printed so. The whole run on its own seeds fails
for any other that is missed, for a figure beyond that, and for one that is met and still stands there.
"""

from __future__ import annotations

import logging
import math
import multiprocessing
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass

from tests.truth.families import ANSWERED, CLEAN, FAMILIES, FAULT, HATCH, WORK
from tests.truth.judges import DEAF, NERVOUS, REAL
from tests.truth.machines import Unfit
from tests.truth.marks import Lived, lived
from tests.truth.not_yet import NOT_YET, QUICK_NOT_YET, complaints, key_of, waits
from tests.truth.report import LEAST_DANGERS, Bar
from tests.truth.score import URGENT, percentile
from tests.truth.season_played import PlayedBatch, played, summed

WEEK_D = 7.0
SEASONS_FULL, SEASONS_QUICK = 4, 1
SEASON = "season"
LOUD = ("medium", *URGENT)
UNDECLARED = "daily cooling, not declared"
PLAIN_CLEAN = ("aliased", "still air", "one-wire")

# Those that are enough to show that a bad judge fails.
BAD_HEAR = (
    "switching every 60 s",
    "candlings",
    "hatch",
    "heater on",
    "slow heat of the thermostat",
    "dry pan",
    "probe off",
    "answered: probe off",
)


@dataclass(frozen=True, slots=True)
class Job:
    """One life, or one batch of a season, before one judge."""

    family: str
    seed: int
    judge: str = REAL
    most: int = 8  # of a season, so many batches


Found = Lived | PlayedBatch | str


def jobs(first_seed: int, *, quick: bool = False, only: str = "", few: int = 1_000) -> list[Job]:
    """Every job, the long ones first. few: at most so many seeds of each family; a bad judge hears those of BAD_HEAR alone."""
    wanted = [part.strip() for part in only.split(",") if part.strip()]
    names = [name for name in FAMILIES if not wanted or any(part in name for part in wanted)]
    names.sort(
        key=lambda name: (
            -(FAMILIES[name].lasts_s + FAMILIES[name].lead_s) / (10.0 if name.endswith("every 2 s") else 60.0)
        )
    )
    counts = {name: min(few, FAMILIES[name].quick if quick else FAMILIES[name].full) for name in names}
    result = [Job(name, first_seed + i) for name in names for i in range(counts[name])]
    if not wanted or any(part in SEASON for part in wanted):
        result = [
            Job(SEASON, first_seed + i, most=1 if quick else 8)
            for i in range(min(few, SEASONS_QUICK if quick else SEASONS_FULL))
        ] + result
    if not wanted:
        result += [Job(name, first_seed, judge) for name in BAD_HEAR for judge in (DEAF, NERVOUS)]
        result.append(Job(SEASON, first_seed, NERVOUS, most=1))
    return result


def run(all_jobs: Sequence[Job], processes: int, each: Callable[[int], None] = lambda done: None) -> list[Found]:
    """Play them all, in order; unfit ones come as text. each: is told how many are done."""
    results: list[Found] = []
    if processes <= 1:
        for job in all_jobs:
            results += play_one(job)
            each(len(results))
        return results
    with multiprocessing.get_context("spawn").Pool(processes) as pool:
        for rows in pool.imap(play_one, all_jobs):
            results += rows
            each(len(results))
    return results


def play_one(job: Job) -> list[Found]:
    """One job."""
    logging.disable(logging.CRITICAL)
    try:
        if job.family == SEASON:
            return [*played(job.seed, job.judge, most=job.most)]
        return [lived(job.family, job.seed, job.judge)]
    except Unfit as unfit:
        return [str(unfit)]
    finally:
        logging.disable(logging.NOTSET)


def bars(found: Sequence[Found], judge: str = REAL) -> list[Bar]:
    """Every bar of one judge; one without any sample is left out."""
    rows = [r for r in found if isinstance(r, Lived) and r.judge == judge and r.fit]
    batches = [b for b in found if isinstance(b, PlayedBatch) and b.judge == judge]
    made = [
        *_danger(rows),
        *_clean(rows),
        *_work(rows),
        *_forecasts(rows),
        *_faults(rows),
        *_messages(rows),
        *_manners(rows),
        *_season(batches),
    ]
    return [bar for bar in made if bar.of]


def told_of(row: Lived, text: str) -> str:
    """One case in a line."""
    return f"{text}: {row.text}"


def _worst(rows: Iterable[Lived], key: Callable[[Lived], float], text: Callable[[Lived], str]) -> tuple[str, ...]:
    return tuple(told_of(row, text(row)) for row in sorted(rows, key=key, reverse=True)[:8] if key(row) > 0.0)


def _danger(rows: Sequence[Lived]) -> Iterator[Bar]:
    dangers = [r for r in rows if r.share is not None and r.group == FAULT]
    told = [r for r in dangers if r.share is not None and r.share < 1.0]
    share = len(told) / len(dangers) if dangers else math.nan
    yield Bar(
        "dangers told before harm", share, 1.0, True, len(dangers), "%",
        worst=tuple(told_of(r, f"{r.harm}, {_minutes(r.wake_s)}") for r in dangers if r not in told),
    )  # fmt: skip
    if len(dangers) < LEAST_DANGERS:
        return
    yield Bar(
        "waking delay, 95th percentile, as a share of the time left", percentile((r.share or 0.0 for r in dangers), 0.95),
        1.0 / 3.0, False, len(dangers), "%", worst=_worst(dangers, lambda r: r.share or 0.0, lambda r: f"{100.0 * (r.share or 0.0):.0f} % ({_minutes(r.wake_s)})"),
    )  # fmt: skip


def _clean(rows: Sequence[Lived]) -> Iterator[Bar]:
    clean = [r for r in rows if r.group == CLEAN]
    groups: list[tuple[str, list[Lived]]] = [
        (f"clean, sampled each {every} s", [r for r in clean if r.family.endswith(f"every {every} s")])
        for every in (2, 10, 30, 60)
    ]
    groups += [(f"clean, {name}", [r for r in clean if r.family == name]) for name in PLAIN_CLEAN]
    for name, of in [*groups, ("clean, all", clean)]:
        weeks = sum(r.days for r in of) / WEEK_D
        if not of:
            continue
        low, loud = sum(r.count("low") for r in of), sum(r.count(*LOUD) for r in of)
        yield Bar(
            f"{name}: low words a machine-week ({low} in {weeks:.1f})", low / weeks, 1.0, False, len(of),
            worst=_worst(of, lambda r: r.count("low"), _rules_low),
        )  # fmt: skip
        yield Bar(
            f"{name}: medium and higher a machine-week ({loud} in {weeks:.1f})", loud / weeks, _or_one(0.02, weeks, of is clean), False, len(of),
            worst=_worst(of, lambda r: r.count(*LOUD), _rules_loud),
        )  # fmt: skip


def _or_one(limit: float, weeks: float, whole: bool) -> float:
    """What a part may have: as the whole, or one, where its weeks are too few for that; of the whole itself nothing more is allowed."""
    return limit if whole else max(limit, 1.0 / weeks)


def _work(rows: Sequence[Lived]) -> Iterator[Bar]:
    untold = [r for r in rows if r.family == UNDECLARED]
    if untold:  # nobody said that it is on purpose: the first days it is told
        yield Bar(
            f"{UNDECLARED}: medium and higher, most in a month", float(max(r.count(*LOUD) for r in untold)), 2.0, False, len(untold),
            worst=_worst(untold, lambda r: r.count(*LOUD), _rules_loud),
        )  # fmt: skip
    work = [r for r in rows if r.group == WORK and r.family != UNDECLARED]
    by_family = [
        (name, [r for r in work if r.family == name])
        for name in FAMILIES
        if FAMILIES[name].group == WORK and name != UNDECLARED
    ]
    for name, of in [*by_family, ("openings, candlings and work, all", work)]:
        weeks = sum(r.days for r in of) / WEEK_D
        loud, low = sum(r.count(*LOUD) for r in of), sum(r.count("low") for r in of)
        if of:
            yield Bar(
                f"{name}: medium and higher a machine-week ({loud} in {weeks:.1f}; {low} low)", loud / weeks, _or_one(0.1, weeks, of is work), False, len(of),
                worst=_worst(of, lambda r: r.count(*LOUD), _rules_loud),
            )  # fmt: skip
    hatches = [r for r in rows if r.group == HATCH]
    if hatches:
        yield Bar(
            "a hatch: medium and higher, in all of them", float(sum(r.count(*LOUD) for r in hatches)), max(1.0, 0.1 * sum(r.days for r in hatches) / WEEK_D),
            False, len(hatches), worst=_worst(hatches, lambda r: r.count(*LOUD), _rules_loud),
        )  # fmt: skip
        yield Bar(
            "a hatch: low words, 90th percentile", percentile((r.count("low") for r in hatches), 0.9), 4.0, False, len(hatches),
            worst=_worst(hatches, lambda r: r.count("low"), _rules_low),
        )  # fmt: skip


def _forecasts(rows: Sequence[Lived]) -> Iterator[Bar]:
    told = [(r, f) for r in rows for f in r.forecasts if f.priority in LOUD]
    true = sum(f.came_true for _, f in told)
    untrue = [r for r, f in told if not f.came_true]
    yield Bar(
        "forecasts that wake and come true", true / len(told) if told else math.nan, 0.7, True, len(told), "%",
        worst=tuple(dict.fromkeys(told_of(r, "not true") for r in untrue))[:12],
    )  # fmt: skip
    slow = [r for r in rows if r.crossed]
    yield Bar(
        "slow heat that is foreseen", sum(r.foreseen for r in slow) / len(slow) if slow else math.nan, 0.8, True, len(slow), "%",
        worst=tuple(told_of(r, "not foreseen") for r in slow if not r.foreseen)[:8],
    )  # fmt: skip


def _faults(rows: Sequence[Lived]) -> Iterator[Bar]:
    for name, family in FAMILIES.items():
        of = [r for r in rows if r.family == name and r.found_s]
        if not of:
            continue
        late = [r for r in of if max(r.found_s) > family.allowed_s]
        yield Bar(
            f"{name}: told within {family.allowed_s / 60.0:.0f} min", 1.0 - len(late) / len(of), 1.0, True, len(of), "%",
            worst=tuple(told_of(r, ", ".join(_minutes(s) for s in r.found_s)) for r in late[:8]),
        )  # fmt: skip
    waked = [r for r in rows if r.right is not None and r.group == FAULT]
    wrong = [r for r in waked if not r.right]
    yield Bar(
        "first waking word with the right cause", 1.0 - len(wrong) / len(waked) if waked else math.nan, 0.97, True, len(waked), "%",
        worst=tuple(told_of(r, r.first_word or "nothing told") for r in wrong[:12]),
    )  # fmt: skip


def _messages(rows: Sequence[Lived]) -> Iterator[Bar]:
    for name, group, limit in (("unanswered", FAULT, 30), ("answered", ANSWERED, 8)):
        of = [r for r in rows if r.group == group and r.family != "two at once"]
        yield Bar(
            f"messages for one {name} fault in 12 h, at most", float(max((r.messages for r in of), default=0)), limit, False, len(of),
            worst=_worst([r for r in of if r.messages > limit], lambda r: r.messages, lambda r: str(r.messages)),
        )  # fmt: skip


def _manners(rows: Sequence[Lived]) -> Iterator[Bar]:
    overs = sum(r.overs for r in rows)
    loud = [r for r in rows if r.rung["low", "night"] > r.overs]
    lows = sum(r.rung["low", "night"] - r.overs for r in loud)
    yield Bar(
        f"low messages that ring at night (beside {overs} that say that something is over)", float(lows), 0.0, False, len(rows),
        worst=_worst(loud, lambda r: r.rung["low", "night"] - r.overs, lambda r: f"{r.rung['low', 'night'] - r.overs} by night"),
    )  # fmt: skip
    both = [r for r in rows if r.both and r.group in (FAULT, ANSWERED) and FAMILIES[r.family].sensor]
    apart = [r for r in rows if r.group in (FAULT, ANSWERED) and FAMILIES[r.family].sensor]
    yield Bar(
        "a probe that is off: called hot and cold within an hour", float(len(both)), 0.0, False, len(apart),
        worst=tuple(told_of(r, "both") for r in both[:8]),
    )  # fmt: skip


def _season(batches: Sequence[PlayedBatch]) -> Iterator[Bar]:
    well = [b for b in batches if b.well]
    worst = sorted(well, key=lambda b: -b.humid_a_week)
    yield Bar(
        "season: humidity messages a week, in the worst batch that went well", max((b.humid_a_week for b in well), default=math.nan), 1.0,
        False, len(well), worst=tuple(b.line() for b in worst[:8]),
    )  # fmt: skip


def _rules_low(row: Lived) -> str:
    return _rules(row, ("low",))


def _rules_loud(row: Lived) -> str:
    return _rules(row, LOUD)


def _rules(row: Lived, priorities: Sequence[str]) -> str:
    return ", ".join(f"{n} {rule}" for (priority, rule), n in row.words.most_common() if priority in priorities)


def _minutes(seconds: float | None) -> str:
    return "never" if seconds is None or math.isinf(seconds) else f"{seconds / 60.0:.0f} min"


def table(rows: Sequence[Lived]) -> list[str]:
    """One line for each family: how many, first and waking word, what had to be told, words by priority, messages."""
    lines = [
        f"  {'family':30}{'n':>4}{'harm':>5}{'first word':>12}{'waking p50':>11}{'p95':>7}{'wanted p50':>11}{'p95':>7}"
        f"{'low/wk':>8}{'med+/wk':>8}{'messages p50':>13}{'max':>5}{'by night':>9}{'wrong':>6}"
    ]
    for name in FAMILIES:
        of = [r for r in rows if r.family == name and r.judge == REAL and r.fit]
        if of:
            lines.append(_line(name, of))
    return lines


def _line(name: str, of: Sequence[Lived]) -> str:
    weeks = sum(r.days for r in of) / WEEK_D
    first = percentile((math.inf if r.first_s is None else r.first_s for r in of), 0.5)
    wake = [math.inf if r.wake_s is None else r.wake_s for r in of]
    found = [s for r in of for s in r.found_s]
    nights = sum(n for r in of for (_, when), n in r.rung.items() if when == "night")
    return (
        f"  {name:30}{len(of):4d}{sum(r.share is not None for r in of):5d}{_minutes(first):>12}{_minutes(percentile(wake, 0.5)):>11}"
        f"{_minutes(percentile(wake, 0.95)):>7}{_short(found, 0.5):>11}{_short(found, 0.95):>7}"
        f"{sum(r.count('low') for r in of) / weeks:8.1f}{sum(r.count(*LOUD) for r in of) / weeks:8.1f}"
        f"{percentile((r.messages for r in of), 0.5):13.0f}{max(r.messages for r in of):5d}{nights:9d}{sum(r.right is False for r in of):6d}"
    )


def _short(values: Sequence[float], share: float) -> str:
    return _minutes(percentile(values, share)) if values else "-"


def told(found: Sequence[Found], *, worst: int, whole: bool, quick: bool, own_seeds: bool, began_s: float) -> int:
    """Print everything; the exit code. whole: all families were played, so that the bad judges have to fail; own_seeds: what is not yet is held."""
    rows = [r for r in found if isinstance(r, Lived)]
    print("\n".join(table(rows)))
    batches = [b for b in found if isinstance(b, PlayedBatch) and b.judge == REAL]
    for batch in batches:
        print(f"  {batch.line()}")
    if batches:
        print(f"  {summed(batches)}")
    unfit = [
        *(r for r in found if isinstance(r, str)),
        *(f"{r.text}: not calm ({r.why})" for r in rows if not r.fit and r.judge == REAL),
    ]
    print(f"{len(unfit)} lives left out, whose machine kept no band" + (f", as: {unfit[0]}" if unfit else ""))
    refused = [f"{r.text}: {'; '.join(r.refused)}" for r in rows if r.refused and r.judge == REAL]
    if refused:
        print(f"{len(refused)} lives in which the judge refused what it was told, as: {refused[0]}")
    print("Bars:")
    made, known = bars(found), QUICK_NOT_YET if quick else NOT_YET
    for bar in made:
        print(bar.line().replace("MISSED", "not yet") if waits(bar, known) else bar.line())
        for case in bar.worst[:worst] if not bar.met else ():
            print(f"            {case}")
    wrong = (
        complaints(made, known)
        if whole and own_seeds
        else [key_of(b) for b in made if not b.met and not waits(b, known)]
    )
    print(f"{sum(bar.met for bar in made)} of {len(made)} bars met; {len(wrong)} are not as they should be")
    for line in wrong:
        print(f"            {line}")
    fair = not whole or all([_fails(found, DEAF), _fails(found, NERVOUS)])
    print(f"({time.perf_counter() - began_s:.0f} s)")
    return 0 if fair and not wrong else 1


DEAF_MISSES = (
    "dangers told before harm", "slow heat that is foreseen",
    "first waking word with the right cause", "dry pan: told within 30 min", "probe off: told within 60 min",
)  # fmt: skip
NERVOUS_MISSES = (
    "clean, all: low words a machine-week", "clean, all: medium and higher a machine-week",
    "openings, candlings and work, all: medium and higher a machine-week", "a hatch: medium and higher, in all of them", "a hatch: low words, 90th percentile",
    "forecasts that wake and come true", "messages for one unanswered fault in 12 h, at most", "messages for one answered fault in 12 h, at most",
    "first waking word with the right cause", "low messages that ring at night", "a probe that is off: called hot and cold within an hour",
    "season: humidity messages a week, in the worst batch that went well",
)  # fmt: skip


def misses(found: Sequence[Found], judge: str) -> list[str]:
    """What a judge that is known to be bad should miss, and meets: empty where the bars can fail."""
    missed = {key_of(bar) for bar in bars(found, judge) if not bar.met}
    return [name for name in (DEAF_MISSES if judge == DEAF else NERVOUS_MISSES) if name not in missed]


def _fails(found: Sequence[Found], judge: str) -> bool:
    met = misses(found, judge)
    print(
        f"The {judge} judge fails" if not met else f"The {judge} judge: THE BARS CANNOT FAIL: it meets {'; '.join(met)}"
    )
    return not met
