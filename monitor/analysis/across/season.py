"""The closed batches of a house in a table, one line each: how it ended, what its eggs lost, and what of its air stood out.

What stands out is what a review would call supported, or unlike the batches that went well, whatever was found in the eggs; of one thing
asked in several windows the one that shows most. It is told and not tested: what goes together with how batches end is asked apart.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from monitor.analysis.across.looked_at import LookedAt
from monitor.analysis.review.judged import SUPPORTED, UNLIKE, Record, Verdict, asked
from monitor.domain.published.causes import BEYOND_OF, CHILL, LOSS, OVERHEAT, TEMPERATURE, WHOLE, Catalogue, Cause, Key

# Of what is published to be looked at: each quantity in the windows in which a fault of it is told best.
TOLD = (
    "temperature-high-whole",
    "temperature-high-early",
    "temperature-high-late",
    "temperature-low-whole",
    "temperature-low-early",
    "temperature-low-late",
    "humidity-high-setter",
    "humidity-low-setter",
    "humidity-high-hatcher",
    "humidity-low-hatcher",
    "swing-high-whole",
    "spread-high-setter",
    "openings-high-hatcher",
    "loss-low-whole",
    "loss-high-whole",
)
# All of the heat, or of the cold, beyond the alarm limits, which no source names as such.
BEYOND = tuple(LookedAt(check, Cause("", "", "", WHOLE, check)) for check in (OVERHEAT, CHILL))


@dataclass(frozen=True, slots=True)
class Out:
    """What stood out. id: of what was looked at; verdict: SUPPORTED or UNLIKE, with its figure."""

    id: str
    verdict: Verdict


@dataclass(frozen=True, slots=True)
class Line:
    """One batch. eggs: set; fertile, hatched: None where that is not known; lost: dead embryos by stage. loss_pct: of water to pip, the middle of
    its eggs, with its target. uncounted: why its eggs are not counted, empty otherwise. split_from: of which batch's eggs these are a part,
    empty for one that was set. good: whether its clutch went well, as a whole; None where that is not known."""

    batch: str
    species: str
    set_at: datetime
    eggs: int | None
    fertile: int | None = None
    hatched: int | None = None
    lost: Mapping[str, int] = field(default_factory=dict)
    loss_pct: float | None = None
    loss_band: tuple[float | None, float | None] = (None, None)
    out: tuple[Out, ...] = ()
    asked: bool = True  # whether it has a machine and a profile, and so air to ask
    uncounted: str = ""
    split_from: str = ""
    good: bool | None = None


def told_of(every: Mapping[str, LookedAt]) -> tuple[LookedAt, ...]:
    """What is looked at in each line. every: all that can be."""
    return (*BEYOND, *(every[id_] for id_ in TOLD))


def keys_of(looked_at: Sequence[LookedAt]) -> frozenset[Key]:
    """The figures that it takes."""
    found = {(each.cause.variable, each.cause.window) for each in looked_at} | {(LOSS, WHOLE)}
    # With a mean temperature, the spells that may have moved it.
    found |= {(BEYOND_OF[c.direction], c.window) for c in (each.cause for each in looked_at) if c.check == TEMPERATURE}
    return frozenset(found)


def stood_out(
    catalogue: Catalogue, looked_at: Sequence[LookedAt], record: Record, *, good: Sequence[Record]
) -> Iterator[Out]:
    """What of a batch stood out, what shows most first. good: of other batches that went well."""
    strongest: dict[tuple[str, str], Out] = {}
    for each in looked_at:
        verdict = asked(catalogue, each.cause, record, good=good)
        if verdict.verdict not in (SUPPORTED, UNLIKE) or verdict.by_beyond:  # a spell stands there by itself
            continue
        of = each.cause.check, each.cause.direction
        if of not in strongest or _order(verdict) < _order(strongest[of].verdict):
            strongest[of] = Out(each.id, verdict)
    yield from sorted(strongest.values(), key=lambda out: _order(out.verdict))


def _order(verdict: Verdict) -> tuple[bool, float]:
    return verdict.verdict != SUPPORTED, -verdict.strength
