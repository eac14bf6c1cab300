"""What goes together across batches: their air, and their machine, species or season, against how they ended or what was found in them.

Every closed batch is in it; the air of each is read once. All that is compared is corrected together, in groups or not: see
`analysis/across/statistics.py`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from operator import attrgetter

from monitor.analysis.across.looked_at import USUAL, LookedAt, every_one, of_finding
from monitor.analysis.across.season import Line, keys_of, stood_out, told_of
from monitor.analysis.across.statistics import (
    Association,
    Outcome,
    Rate,
    Rates,
    against_others,
    associations,
    rate,
    rates,
    rates_by,
    shares_of,
    table_of,
)
from monitor.analysis.across.together import CHOSEN, PUBLISHED, SET_BEFORE, Across, Exposed, Written
from monitor.analysis.review.judged import shows
from monitor.domain.needs.batch import Batch
from monitor.domain.needs.site import Site
from monitor.domain.published.causes import LOSS, WHOLE, Catalogue
from monitor.service.across.beside import Beside
from monitor.service.across.outcomes import CLUTCH, PAIR, WENT_WELL_SHARE, Ended, ended_of
from monitor.service.ports import SeasonRecord

BY = ("machine", "species", "season", PAIR, CLUTCH)  # what batches can be told apart by

Key = Callable[[Outcome], str]
_Apart = tuple[Sequence[Outcome], Mapping[str, bool | None]]  # cases, and of each by its batch whether it is so


@dataclass(frozen=True, slots=True)
class Together:
    """What was compared. found: each thing looked at, over all clutches; members: each group against the others; within: each thing in
    each group alone. found and within are empty where all ended alike. batches: how many could be asked for their air."""

    found: tuple[Association[Exposed], ...]
    members: tuple[Association[Exposed], ...]
    within: tuple[Association[Exposed], ...]
    batches: int


def across_batches(
    history: SeasonRecord,
    site: Site,
    *,
    catalogue: Catalogue,
    now: datetime,
    species: str | None = None,
    by: str | None = None,
    finding: str | None = None,
    exposures: Sequence[str] = (),
    good_share: float = WENT_WELL_SHARE,
) -> Across:
    """All that is told of the closed batches.

    Parameters
        species: only this one. by: one of BY. finding: batches are counted by whether it was written, in place of how they ended.
        exposures: ids of what to look at, in place of the finding's published causes, or of the usual ones.
    Raises
        KeyError: an exposure that is none.
    """
    every = every_one(catalogue)
    if exposures:
        looked_at, why = {id_: every[id_] for id_ in exposures}, CHOSEN
    elif finding is not None:
        looked_at, why = of_finding(catalogue, finding), PUBLISHED
    else:
        looked_at, why = {id_: every[id_] for id_ in USUAL}, SET_BEFORE
    told = told_of(every)
    beside = Beside(history, site, now, keys_of(told) | keys_of(tuple(looked_at.values())), good_share)
    batches = [b for b in beside.every if species in (None, b.profile)]
    ended = ended_of(history, batches, site.zone, good_share=good_share, finding=finding, by=by)
    whole = {o.batch for o in ended.outcomes if by in (PAIR, CLUTCH) and _key(by)(o)}
    mixed = [id_ for id_, parts in ended.parts.items() if id_ not in whole and (parts is None or len(parts) > 1)]
    together = together_of(beside, ended, catalogue=catalogue, looked_at=tuple(looked_at.values()), by=by)
    cases = {o.batch for o in ended.cases}
    return Across(
        every=rates(ended.outcomes),
        groups=_last_unwritten(rates_by(_grouped(ended, by), _key(by or ""))),
        left_out=ended.left_out,
        unwritten=ended.unwritten,
        good_share=good_share,
        looked_at=looked_at,
        why=why,
        found=together.found,
        members=together.members,
        within=together.within,
        read=together.batches,
        by=by,
        finding=None if finding is None else _written(finding, ended, by),
        lines=tuple(lines_of(beside, ended, batches, catalogue=catalogue, looked_at=told)),
        split_off=sum(o.batch not in cases for o in ended.outcomes) - len(ended.waiting),
        waiting=ended.waiting,
        mixed=len(mixed),
        untold=tuple(id_ for id_, parts in ended.parts.items() if parts is None),
    )


def together_of(
    beside: Beside, ended: Ended, *, catalogue: Catalogue, looked_at: Sequence[LookedAt], by: str | None = None
) -> Together:
    """What these batches have together. looked_at: things of the air. by: one of BY, or None for no groups."""
    known = [o for o in ended.cases if _has_air(beside, o.batch)]
    # Where all ended alike there is nothing to compare, and no need to read weeks of air.
    exposed = {} if _alike(ended, known) else _exposed(beside, ended, known, catalogue=catalogue, looked_at=looked_at)
    found: dict[Exposed, _Apart] = {Exposed(id_): (known, by_batch) for id_, by_batch in exposed.items()}
    members: dict[Exposed, _Apart] = {}
    within: dict[Exposed, _Apart] = {}
    if by is not None:
        cases, near = ([o for o in each if _key(by)(o)] for each in (ended.cases, known))
        groups = against_others(cases, _key(by))
        members = {_member(by, group, cases): (cases, of_it) for group, of_it in groups.items()}
        names = sorted({_key(by)(each) for each in near})
        if len(names) > 1:  # or it would be the same again, and corrected for twice
            alone = {name: [o for o in near if _key(by)(o) == name] for name in names}
            within = {Exposed(id_, name): (alone[name], of_it) for id_, of_it in exposed.items() for name in names}
    asked = {**found, **members, **within}
    every = associations(
        {what: table_of(cases, by_batch, ended.bad) for what, (cases, by_batch) in asked.items()},
        None if ended.written is not None else {what: shares_of(*apart) for what, apart in asked.items()},
    )
    of_found, of_members, of_within = (
        tuple(a for a in every if a.exposure in apart) for apart in (found, members, within)
    )
    return Together(of_found, of_members, of_within, len(known))


def lines_of(
    beside: Beside, ended: Ended, batches: Sequence[Batch], *, catalogue: Catalogue, looked_at: Sequence[LookedAt]
) -> Iterator[Line]:
    """A line for each closed batch, in the order they were set."""
    counted = {o.batch: o for o in ended.outcomes}
    well = {part: o.went_well for o in ended.cases for part in ended.clutch_of(o.batch)}
    for batch in sorted((b for b in batches if b.closed_at is not None), key=lambda b: (b.set_at, b.id)):
        line = Line(
            batch=batch.id,
            species=batch.profile,
            set_at=batch.set_at,
            eggs=batch.eggs,
            uncounted=ended.left_out.get(batch.id, ""),
            split_from=batch.split_from,
            good=well.get(batch.id),
            asked=_has_air(beside, batch.id),
        )
        if (outcome := counted.get(batch.id)) is not None:
            line = replace(line, fertile=outcome.fertile, hatched=outcome.hatched, lost=outcome.lost)
        if line.asked:
            record = beside.record(batch)
            loss = record.figures.get((LOSS, WHOLE))
            line = replace(line, out=tuple(stood_out(catalogue, looked_at, record, good=beside.good(batch))))
            if loss is not None:
                line = replace(line, loss_pct=loss.value, loss_band=(loss.low, loss.high))
        yield line


def _has_air(beside: Beside, batch: str) -> bool:
    """Whether a batch was in a machine, and its profile is known."""
    found = beside.batch(batch)
    return found.profile in beside.site.profiles and bool(found.stays)


def _alike(ended: Ended, cases: Sequence[Outcome]) -> bool:
    """Whether they all ended alike in what they are counted by."""
    ends = {ended.bad(each) for each in cases}
    return len(ends) < 2 and (ended.written is not None or len({each.share for each in cases}) < 2)


def _exposed(
    beside: Beside, ended: Ended, cases: Sequence[Outcome], *, catalogue: Catalogue, looked_at: Sequence[LookedAt]
) -> dict[str, dict[str, bool | None]]:
    """By what was looked at, of each clutch: whether its record shows it; None where it cannot say, or its parts differ."""
    exposed: dict[str, dict[str, bool | None]] = {each.id: {} for each in looked_at}
    for case in cases if looked_at else ():
        parts = [beside.batch(part) for part in ended.clutch_of(case.batch) if _has_air(beside, part)]
        records = [beside.record(part) for part in parts]
        for each in looked_at:
            said = {shows(catalogue, each.cause, record) for record in records}
            exposed[each.id][case.batch] = said.pop() if len(said) == 1 else None
    return exposed


def _key(by: str) -> Key:
    """What an outcome's group is called."""
    return attrgetter(by)


def _last_unwritten(groups: Mapping[str, Rates]) -> dict[str, Rates]:
    """Those of which nobody wrote whose they are after all others."""
    return dict(sorted(groups.items(), key=lambda each: not each[0]))


def _grouped(ended: Ended, by: str | None) -> list[Outcome]:
    """What is counted by group: batches, or of several pairs or clutches the eggs of each."""
    if by in (PAIR, CLUTCH):
        return [part for parts in ended.parts.values() for part in parts or ()]
    return [] if by is None else list(ended.outcomes)


def _member(by: str, group: str, outcomes: Sequence[Outcome]) -> Exposed:
    """To be in that group; where there are only two, instead of which."""
    others = sorted({_key(by)(each) for each in outcomes} - {group})
    return Exposed(group=group, rather_than=others[0] if len(others) == 1 else "")


def _written(finding: str, ended: Ended, by: str | None) -> Written:
    """How often the finding was written, over all batches and in each group."""
    names = [o.batch for o in ended.outcomes if ended.bad(o)]
    groups: dict[str, list[Outcome]] = {}
    for each in _grouped(ended, by):
        groups.setdefault(_key(by or "")(each), []).append(each)
    of_groups = {name: _often(ended, group, name) for name, group in groups.items()}
    return Written(finding, *_often(ended, ended.outcomes), tuple(names), of_groups)


def _often(ended: Ended, outcomes: Sequence[Outcome], part: str = "") -> tuple[Rate, Rate]:
    """(of their eggs, of these batches), those with the finding written. part: the pair or clutch that is counted alone."""
    written = ended.written or {}
    of = {o.batch: min(o.eggs, ended.part_written.get((o.batch, part), written[o.batch])) for o in outcomes}
    eggs = rate(sum(of.values()), sum(o.eggs for o in outcomes))
    clutches = {ended.clutch_of(o.batch) for o in outcomes}
    return eggs, rate(sum(any(of.get(part, 0) > 0 for part in clutch) for clutch in clutches), len(clutches))
