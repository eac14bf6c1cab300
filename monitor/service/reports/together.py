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
from monitor.service.reports.outcomes import WENT_WELL_SHARE, Ended, ended_of

MOST_RECORDS = 40  # batches whose air is read, the newest: each is weeks of readings
BY = ("machine", "species", "season")  # what batches can be told apart by

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
    ended = ended_of(history, batches, site.zone, good_share=good_share, finding=finding)
    together = together_of(
        history, site, ended, catalogue=catalogue, now=now, looked_at=tuple(looked_at.values()), by=by
    )
    return Across(
        every=rates(ended.outcomes),
        groups={} if by is None else rates_by(ended.outcomes, _key(by)),
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
        tables = tables_of_groups(ended.cases, _key(by), ended.bad)
        members = {_member(by, group, ended.cases): table for group, table in tables.items()}
        if len({_key(by)(each) for each in newest}) > 1:  # or it would be the same again, and corrected for twice
            alone = tables_by(newest, exposed, key=_key(by), bad=ended.bad)
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


def _member(by: str, group: str, outcomes: Sequence[Outcome]) -> Exposed:
    """To be in that group; where there are only two, instead of which."""
    others = sorted({_key(by)(each) for each in outcomes} - {group})
    return Exposed(group=group, rather_than=others[0] if len(others) == 1 else "")


def _written(finding: str, ended: Ended, by: str | None) -> Written:
    """How often the finding was written, over all batches and in each group."""
    groups: dict[str, list[Outcome]] = {}
    for each in ended.outcomes if by is not None else ():
        groups.setdefault(_key(by or "")(each), []).append(each)
    names = [o.batch for o in ended.outcomes if ended.bad(o)]
    of_groups = {name: _often(ended, group) for name, group in groups.items()}
    return Written(finding, *_often(ended, ended.outcomes), tuple(names), of_groups)


def _often(ended: Ended, outcomes: Sequence[Outcome]) -> tuple[Rate, Rate]:
    """(of their eggs, of these batches), those with the finding written."""
    written = ended.written or {}
    eggs = rate(sum(written[o.batch] for o in outcomes), sum(o.eggs for o in outcomes))
    cases = [o for o in outcomes if o.batch not in ended.split_off]
    return eggs, rate(sum(map(ended.bad, cases)), len(cases))
