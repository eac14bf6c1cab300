"""For each stage of a batch and the whole: its dose of heat and cold, its eggs as they are estimated, and its openings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import groupby

from monitor.analysis.history.dose import doses_of, joined
from monitor.analysis.history.environment import WHOLE
from monitor.analysis.history.excursions import Place
from monitor.analysis.history.felt import Felt, Happening, SideDose
from monitor.analysis.history.figures import Figures, figures_of, merged
from monitor.analysis.line.eggs import egg_lines
from monitor.analysis.line.stretch import Stretch
from monitor.analysis.line.trace import Trace
from monitor.analysis.water.pull import Pull, pull_of
from monitor.domain.eggs.temperature import EggModel

DAY_HOURS = 24.0


def felt_of(
    stretches: Sequence[Stretch],
    models: Mapping[str, EggModel],
    *,
    set_ms: int,
    term_days: float,
    happenings: Sequence[Happening] = (),
) -> tuple[Felt, ...]:
    """What stands beside the figures of a batch's life, in the order of `history_of`: each stage, then the whole.

    Parameters
        stretches: one or more, as for `history_of`. models: the egg in each machine, by its id.
        set_ms: day 0; term_days: days of incubation, above 0. happenings: of which the openings are counted.
    Raises
        ValueError: no stretches, or a machine with air and no model.
    """
    pull = pull_of(stretches, models, set_ms)
    lines = egg_lines(stretches, models, set_ms)
    opened_ms = [each.at_ms for each in happenings if each.kind == "opening" and each.counts]
    single = [
        (stretch, doses_of(stretch, set_ms, term_days), _egg(stretch, line))
        for stretch, line in zip(stretches, lines, strict=True)
    ]
    runs = [(stage, list(run)) for stage, run in groupby(single, key=lambda each: each[0].stage)]
    return tuple(
        _felt(stage, run, models=models, pull=pull, opened_ms=opened_ms) for stage, run in [*runs, (WHOLE, single)]
    )


def _egg(stretch: Stretch, line: Trace) -> Figures:
    return figures_of(
        line,
        None,
        Place(stretch.machine, stretch.stage, stretch.since_ms),
        max_gap_s=stretch.max_gap_s,
        samples=0,
        flagged=0,
    )


def _felt(
    stage: str,
    parts: Sequence[tuple[Stretch, tuple[SideDose, ...], Figures]],
    *,
    models: Mapping[str, EggModel],
    pull: Pull,
    opened_ms: Sequence[int],
) -> Felt:
    since_ms, until_ms = parts[0][0].since_ms, parts[-1][0].until_ms
    (before, before_d), (after, after_d) = pull.until(since_ms), pull.until(until_ms)
    days = after_d - before_d
    return Felt(
        stage,
        since_ms,
        until_ms,
        joined(doses for _, doses, _ in parts),
        merged([egg for _, _, egg in parts]),
        tuple(dict.fromkeys(models[s.machine].tau_s for s, _, _ in parts if s.machine in models)),
        (after - before) / days if days > 0.0 else None,
        days * DAY_HOURS,
        sum(since_ms <= at < until_ms for at in opened_ms),
    )
