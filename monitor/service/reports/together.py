"""What goes together across batches: their air, and their machine, species or season, against how they ended or what was found in them.

Bounded: the air of the newest MOST_RECORDS batches is read, each once, and of none where all ended alike. All that is compared
is corrected together, in groups or not: see `analysis/across/statistics.py`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from operator import attrgetter

from monitor.analysis.across.looked_at import USUAL, LookedAt, every_one, of_finding
from monitor.analysis.across.statistics import (
    Association,
    Outcome,
    Rate,
    Rates,
    Table,
    associations,
    rate,
    rates,
    rates_by,
    table_of,
    tables_by,
    tables_of_groups,
)
from monitor.analysis.across.together import CHOSEN, PUBLISHED, SET_BEFORE, Across, Exposed, Written
from monitor.analysis.review.judged import shows
from monitor.domain.needs.batch import Batch
from monitor.domain.needs.site import Site
from monitor.domain.published.causes import Catalogue
from monitor.service.ports import BatchRecord, SeasonRecord
from monitor.service.reports.lived import lived_of
from monitor.service.reports.outcomes import CLUTCH, PAIR, WENT_WELL_SHARE, Ended, ended_of

MOST_RECORDS = 40  # batches whose air is read, the newest: each is weeks of readings
BY = ("machine", "species", "season", PAIR, CLUTCH)  # what batches can be told apart by

Key = Callable[[Outcome], str]


@dataclass(frozen=True, slots=True)
class Together:
    """What was compared. found: each thing looked at, over all batches; members: each group against the others; within: each thing in
    each group alone. found and within are empty where all ended alike. batches: how many could be asked for their air, of these
    the newest; left_out: older ones, which were not."""

    found: tuple[Association[Exposed], ...]
    members: tuple[Association[Exposed], ...]
    within: tuple[Association[Exposed], ...]
    batches: int
    left_out: int


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
    batches = [b for b in history.batches() if species in (None, b.profile)]
    ended = ended_of(history, batches, site.zone, good_share=good_share, finding=finding, by=by)
    whole = {o.batch for o in ended.outcomes if by in (PAIR, CLUTCH) and _key(by)(o)}
    mixed = [id_ for id_, parts in ended.parts.items() if id_ not in whole and (parts is None or len(parts) > 1)]
    together = together_of(
        history, site, ended, catalogue=catalogue, now=now, looked_at=tuple(looked_at.values()), by=by
    )
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
        older=together.left_out,
        by=by,
        finding=None if finding is None else _written(finding, ended, by),
        split_off=len(ended.split_off),
        mixed=len(mixed),
        untold=tuple(id_ for id_, parts in ended.parts.items() if parts is None),
    )


def together_of(
    history: SeasonRecord,
    site: Site,
    ended: Ended,
    *,
    catalogue: Catalogue,
    now: datetime,
    looked_at: Sequence[LookedAt],
    by: str | None = None,
    most: int = MOST_RECORDS,
) -> Together:
    """What these batches have together. looked_at: things of the air. by: one of BY, or None for no groups."""
    batches = {b.id: b for b in history.batches()}
    known = [o for o in ended.cases if o.species in site.profiles and batches[o.batch].stays]
    newest = sorted(known, key=lambda o: batches[o.batch].set_at, reverse=True)[:most]
    exposed: Mapping[str, Mapping[str, bool | None]] = {}
    alike = len({ended.bad(each) for each in newest}) < 2
    if not alike:  # or there is nothing to compare, and no need to read weeks of air
        exposed = _exposed(
            history, site, [batches[each.batch] for each in newest], catalogue=catalogue, now=now, looked_at=looked_at
        )
    found = {Exposed(id_): table_of(newest, by_batch, ended.bad) for id_, by_batch in exposed.items()}
    members: dict[Exposed, Table] = {}
    within: dict[Exposed, Table] = {}
    if by is not None:
        cases, near = ([o for o in each if _key(by)(o)] for each in (ended.cases, newest))
        tables = tables_of_groups(cases, _key(by), ended.bad)
        members = {_member(by, group, cases): table for group, table in tables.items()}
        if len({_key(by)(each) for each in near}) > 1:  # or it would be the same again, and corrected for twice
            alone = tables_by(near, exposed, key=_key(by), bad=ended.bad)
            within = {Exposed(id_, group): table for (id_, group), table in alone.items()}
    every = associations({**found, **members, **within})
    of_found, of_members, of_within = (
        tuple(a for a in every if a.exposure in tables) for tables in (found, members, within)
    )
    return Together(of_found, of_members, of_within, len(newest), len(known) - len(newest))


def _exposed(
    history: BatchRecord,
    site: Site,
    batches: Sequence[Batch],
    *,
    catalogue: Catalogue,
    now: datetime,
    looked_at: Sequence[LookedAt],
) -> dict[str, dict[str, bool | None]]:
    """By what was looked at, of each batch: whether its record shows it; None where it cannot say."""
    exposed: dict[str, dict[str, bool | None]] = {each.id: {} for each in looked_at}
    wanted = frozenset((each.cause.variable, each.cause.window) for each in looked_at)
    for batch in batches if looked_at else ():
        lived = lived_of(history, site, history.book(batch), now=now, wanted=wanted)
        record = lived.record(None, loss_pct=lived.middle_loss_pct)
        for each in looked_at:
            exposed[each.id][batch.id] = shows(catalogue, each.cause, record)
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
    cases = [o for o in outcomes if o.batch not in ended.split_off]
    return eggs, rate(sum(of[o.batch] > 0 for o in cases), len(cases))
