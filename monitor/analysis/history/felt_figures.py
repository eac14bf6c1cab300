"""For each stage of a batch and the whole: its dose of heat and cold, its eggs as they are estimated, and its openings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import groupby

from monitor.analysis.history.dose import doses_of, joined
from monitor.analysis.history.environment import WHOLE
from monitor.analysis.history.excursions import Place
from monitor.analysis.history.felt import NO_DOUBT, Doubt, Felt, Happening, SideDose
from monitor.analysis.history.figures import Figures, figures_of, merged
from monitor.analysis.line.eggs import egg_lines
from monitor.analysis.line.stretch import Stretch
from monitor.analysis.line.trace import Trace
from monitor.analysis.water.pull import Pull, pull_of
from monitor.domain.eggs.temperature import EggModel
from monitor.domain.readings.reading import DAY_MS

DAY_HOURS = 24.0
SHARES = tuple((n + 0.5) / 24.0 for n in range(24))  # of a stretch, at which the doubt of its mean is looked at


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
        stretches: one or more, as for `history_of`. models: the egg in each machine, by `Stretch.egg_in`.
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
        _felt(stage, run, models=models, pull=pull, opened_ms=opened_ms, set_ms=set_ms)
        for stage, run in [*runs, (WHOLE, single)]
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
    set_ms: int,
) -> Felt:
    since_ms, until_ms = parts[0][0].since_ms, parts[-1][0].until_ms
    (before, before_d), (after, after_d) = pull.until(since_ms), pull.until(until_ms)
    days = after_d - before_d
    egg_c = merged([egg for _, _, egg in parts])
    return Felt(
        stage=stage,
        since_ms=since_ms,
        until_ms=until_ms,
        doses=joined(doses for _, doses, _ in parts),
        egg_c=egg_c,
        tau_s=tuple(dict.fromkeys(models[s.egg_in].tau_s for s, _, _ in parts if s.egg_in in models)),
        deficit_kpa=(after - before) / days if days > 0.0 else None,
        deficit_hours=days * DAY_HOURS,
        openings=sum(since_ms <= at < until_ms for at in opened_ms),
        doubts_k=_doubts_k(
            [(stretch, models[stretch.egg_in], egg) for stretch, _, egg in parts if egg.mean is not None],
            egg_c,
            set_ms,
        ),
    )


def _doubts_k(
    parts: Sequence[tuple[Stretch, EggModel, Figures]], egg_c: Figures, set_ms: int
) -> tuple[Doubt, Doubt, Doubt]:
    """Of the mean, over the time for which the egg is known, and of the lowest and the highest when they were reached."""
    if not parts or egg_c.min_at_ms is None or egg_c.max_at_ms is None:
        return NO_DOUBT, NO_DOUBT, NO_DOUBT

    def at(at_ms: float) -> Doubt:
        _, model, _ = next(part for part in parts if at_ms < part[0].until_ms or part is parts[-1])
        return model.doubt_k(model.offset_k(max(0.0, (at_ms - set_ms) / DAY_MS)))

    hours = [egg.hours_covered for _, _, egg in parts]
    spread = [
        (model.doubt_k(model.offset_k(max(0.0, (stretch.since_ms + share * (stretch.until_ms - stretch.since_ms) - set_ms) / DAY_MS))), covered)
        for (stretch, model, _), covered in zip(parts, hours, strict=True)
        for share in SHARES
    ]  # fmt: skip
    weight = sum(hours) * len(SHARES)
    down_k, up_k = (
        (sum(doubt[end] * covered for doubt, covered in spread) / weight for end in (0, 1)) if weight else NO_DOUBT
    )
    return (down_k, up_k), at(egg_c.min_at_ms), at(egg_c.max_at_ms)
