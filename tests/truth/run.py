"""All scenarios, over as many processes as there are cores: the same rows in the same order however many there are."""

from __future__ import annotations

import logging
import multiprocessing
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

from monitor.domain.needs.profile import CALENDAR
from tests.truth.faults import FAULTS, MACHINE, QUIET, SPIKE, TOP, TWO_WEEK, profiles
from tests.truth.floods import FLOODS, Flooded, flood
from tests.truth.judges import Deaf, Judge, Nervous, Real
from tests.truth.machines import Unfit
from tests.truth.scenarios import Scenario
from tests.truth.score import Label, Row, score
from tests.truth.steady import LIMITS, Sat, sat
from tests.truth.world import Truth, play

STORY, STEADY, FLOOD = "story", "steady", "flood"
SHARED = {"power_cut", "room_temperature"}  # they touch every machine of the room
STEADY_EVERY_S = (10, 30, 60)
FLOODS_FULL, FLOODS_QUICK = 20, 2


@dataclass(frozen=True, slots=True)
class Job:
    """One thing to play. what: a fault, a rule or a kind of flood; days: how much of a long story, 0 for all."""

    kind: str
    what: str
    seed: int
    days: float = 0.0
    interval_s: int = 0


@dataclass(slots=True)
class Results:
    """What all jobs came to. unfit: scenarios for which no machine could be drawn; they count for nothing."""

    rows: list[Row] = field(default_factory=list)
    sats: list[Sat] = field(default_factory=list)
    floods: list[Flooded] = field(default_factory=list)
    unfit: list[str] = field(default_factory=list)

    def add(self, others: Iterable[Row | Sat | Flooded | str]) -> None:
        """Sort them in."""
        for each in others:
            if isinstance(each, Row):
                self.rows.append(each)
            elif isinstance(each, Sat):
                self.sats.append(each)
            elif isinstance(each, Flooded):
                self.floods.append(each)
            else:
                self.unfit.append(each)

    def of(self, judge: str) -> Results:
        """Those of one judge."""
        return Results(
            [r for r in self.rows if r.judge == judge],
            [s for s in self.sats if s.judge == judge],
            [f for f in self.floods if f.judge == judge],
            self.unfit,
        )


def jobs(first_seed: int, *, quick: bool = False) -> list[Job]:
    """Every job, the long ones first. Each fault's seeds follow one another from first_seed."""
    months = 0 if quick else FAULTS["clean month"].full
    result = [Job(STORY, "clean month", first_seed + i) for i in range(months)]
    if quick:
        result += [Job(STORY, "clean month", first_seed, days=3.0), Job(STORY, TWO_WEEK, first_seed, days=2.0)]
    names = sorted(FAULTS, key=lambda name: -(FAULTS[name].lead_s + FAULTS[name].cap_s))
    for name in names:
        if name != "clean month":
            count = FAULTS[name].quick if quick else FAULTS[name].full
            result += [Job(STORY, name, first_seed + i) for i in range(count)]
    every_s = (60,) if quick else STEADY_EVERY_S
    result += [Job(STEADY, rule, first_seed, interval_s=i) for rule, *_ in LIMITS for i in every_s]
    result += [
        Job(FLOOD, kind, first_seed + i) for kind in FLOODS for i in range(FLOODS_QUICK if quick else FLOODS_FULL)
    ]
    return result


def scenarios_in(all_jobs: Sequence[Job]) -> int:
    """How many of them are scenarios, not days on a limit or floods."""
    return sum(job.kind == STORY for job in all_jobs)


def run(all_jobs: Sequence[Job], processes: int) -> Results:
    """Play them all. Processes are spawned, so nothing is inherited."""
    results = Results()
    if processes <= 1:
        for job in all_jobs:
            results.add(play_one(job))
        return results
    with multiprocessing.get_context("spawn").Pool(processes) as pool:
        for rows in pool.imap(play_one, all_jobs):
            results.add(rows)
    return results


def play_one(job: Job) -> list[Row | Sat | Flooded | str]:
    """One job, before the real judge and the two that must fail."""
    logging.disable(logging.CRITICAL)  # a refused message is part of some stories, and the daemon logs each
    try:
        return [*_played(job)]
    finally:
        logging.disable(logging.NOTSET)


def _played(job: Job) -> Iterator[Row | Sat | Flooded | str]:
    judges: list[Judge] = [Real(), Deaf(), Nervous()]
    if job.kind == STEADY:
        for judge in judges:
            yield sat(judge, job.what, job.interval_s, job.seed)
    elif job.kind == FLOOD:
        for judge in judges:
            yield flood(judge, job.what, job.seed)
    else:
        try:
            scenario, truth = play(job.what, job.seed, judges, job.days * 86_400.0 if job.days else float("inf"))
        except Unfit as unfit:
            yield str(unfit)
            return
        label = label_of(scenario, truth)
        for judge in judges:
            yield score(
                label, judge.told, judge.flagged, judge=judge.name, fault=job.what, seed=job.seed,
                story=str(scenario), danger=truth.limits.why,
            )  # fmt: skip


def label_of(scenario: Scenario, truth: Truth) -> Label:
    """The truth of a scenario, as the scorer wants it. Raises ValueError for a quiet story that harmed eggs: it was none."""
    fault = scenario.fault
    if fault.kind == QUIET and truth.limits.harm_s is not None:
        raise ValueError(f"{scenario}: {truth.limits.why} at {truth.limits.harm_s:.0f} s, expected no harm")
    failed, failed_s = scenario.failed or ("", 0.0)
    # Beside a failed probe a sound one is what the machine is watched by: a word against it is false.
    spoken = [failed] if failed else [*scenario.probes]
    about = {MACHINE, "site", *spoken, *(key.partition("/")[0] for key in spoken)}
    left_s = truth.left_s
    if fault.gradual and truth.limits.harm_s is not None:
        left_s = truth.left_temperature_s  # the danger is one of temperature, so its time counts from there
    bird = profiles()[scenario.profile]
    days_to_go = bird.lockdown_day - scenario.day if bird.lockdown_by != CALENDAR else float("inf")
    return Label(
        fault.kind,
        frozenset(about),
        scenario.onset_s,
        truth.lived_s,
        truth.limits.harm_s,
        left_s,
        gradual=fault.gradual,
        shared=any(action in SHARED for _, action, _ in scenario.script),
        wanted=fault.wanted,
        allowed_s=fault.allowed_s,
        machines=1 + scenario.other,
        probes=len(scenario.probes),
        interval_s=scenario.interval_s,
        spiked=TOP if fault.kind == SPIKE else "",
        failed=failed,
        failed_s=failed_s,
        due_s=days_to_go * 86_400.0,
    )
