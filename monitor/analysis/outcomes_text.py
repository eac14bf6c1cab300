"""How batches ended, and what goes together with it, as text of at most 80 columns and as plain values. Nothing is judged here."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence

from monitor.analysis.shown import filled
from monitor.analysis.statistics import Association, Rate, Rates

TOGETHER_MEANS = (
    "Batches whose record shows it are set against batches whose record does not. Together is not because of: what was not"
    " measured may lie behind both, and one machine, one season or one flock may hold most of such batches."
)


def outcomes_text(
    every: Rates,
    groups: Mapping[str, Rates],
    found: Sequence[Association],
    left_out: Mapping[str, str],
    unwritten: int,
    read: int,
    good_share: float,
    older: int = 0,
) -> str:
    """For people.

    Parameters
        every, groups: the rates of all batches, and of each group. left_out: batch id to why it is not counted. unwritten: eggs without
            a written end. read: batches whose air was looked at; older: those beyond the newest, which were not.
    """
    lines = [f"HOW {_batches(every.batches).upper()} ENDED"]
    if not every.batches:
        lines += [
            "  No closed batch has its outcome written yet. When a hatch is over:",
            "    eggroom egg outcome hen-1 1-18 hatched",
            "    eggroom egg outcome hen-1 19 dead --stage late",
            "    eggroom batch close hen-1",
        ]
    else:
        lines += _rates(every)
    if unwritten:
        lines.append(f"  {unwritten} eggs without a written end count as not hatched.")
    for name, each in groups.items():
        lines += ["", f"{name}: {_batches(each.batches)}", *_rates(each)]
    if left_out:
        lines += ["", "NOT COUNTED", *(f"  {batch}: {why}" for batch, why in left_out.items())]
    if every.batches:
        lines += ["", *_together(found, read, good_share, older)]
    return "\n".join(filled(line) for line in lines) + "\n"


def outcomes_json(
    every: Rates,
    groups: Mapping[str, Rates],
    found: Sequence[Association],
    left_out: Mapping[str, str],
    unwritten: int,
    read: int,
    good_share: float,
) -> dict[str, object]:
    """The same as plain values for `json.dumps`: shares 0 to 1; what is not known, and an end of an interval without limit, is null."""
    return {
        "all": _rates_row(every),
        "groups": {name: _rates_row(each) for name, each in groups.items()},
        "not_counted": dict(left_out),
        "eggs_without_end": unwritten,
        "went_well_share": good_share,
        "batches_looked_at": read,
        "together": [_association_row(each) for each in found],
    }


def _batches(count: int) -> str:
    return "1 batch" if count == 1 else f"{count} batches"


def _rates(each: Rates) -> Iterator[str]:
    yield f"  {'fertile':<18} {_words(each.fertility)}"
    yield f"  {'hatched of set':<18} {each.hatch_of_set.words()}"
    yield f"  {'hatched of fertile':<18} {_words(each.hatch_of_fertile)}"
    for stage, lost in each.lost.items():
        yield f"  {f'lost, {stage}':<18} {_words(lost)}"


def _words(rate: Rate) -> str:
    return rate.words() if rate.of else "not known: the clear eggs were not told apart"


def _together(found: Sequence[Association], read: int, good_share: float, older: int) -> Iterator[str]:
    yield "WHAT GOES TOGETHER WITH A BATCH THAT DID NOT GO WELL"
    yield f"  A batch went well when {100.0 * good_share:.0f} % or more of its fertile eggs hatched. {TOGETHER_MEANS}"
    if older:
        yield f"  Only the newest {read} batches were looked at; {older} older ones were not."
    if not found:
        yield "  They all ended alike, well or not: there is nothing to compare."
        return
    telling = [a for a in found if not a.too_few]
    for each in telling:
        yield f"  - {each.words()}"
    compared = [a for a in found if a.odds_ratio is not None]
    few = [a for a in compared if a.too_few]
    if few and not telling:
        yield (
            f"  {_batches(read)}, with so few that ended badly, or that had it, are too few: even the clearest split of them"
            " could be chance. So far (ended badly, of all):"
        )
    elif few:
        yield "  Too few to tell, even by the clearest split (ended badly, of all):"
    for each in few:
        t = each.table
        with_it, without = (t.exposed_bad, t.exposed_bad + t.exposed_good), (t.other_bad, t.other_bad + t.other_good)
        yield f"    {each.exposure}: with it {with_it[0]} of {with_it[1]}, without {without[0]} of {without[1]}"
    seen = [a for a in found if a.table.total]
    alike = [a.exposure for a in seen if a not in compared]
    if alike:
        yield f"  Nothing to compare, for the batches are alike in it or all ended alike: {'; '.join(alike)}."
    unseen = [a.exposure for a in found if a not in seen]
    if unseen:
        yield f"  No batch's record can say: {'; '.join(unseen)}."


def _rates_row(each: Rates) -> dict[str, object]:
    return {
        "batches": each.batches,
        "fertility": _rate_row(each.fertility),
        "hatch_of_set": _rate_row(each.hatch_of_set),
        "hatch_of_fertile": _rate_row(each.hatch_of_fertile),
        "lost": {stage: _rate_row(lost) for stage, lost in each.lost.items()},
    }


def _rate_row(rate: Rate) -> dict[str, object]:
    return {
        "count": rate.count,
        "of": rate.of,
        "share": _finite(rate.share),
        "low": _finite(rate.low),
        "high": _finite(rate.high),
    }


def _association_row(each: Association) -> dict[str, object]:
    names = ("exposed_bad", "exposed_good", "other_bad", "other_good")
    return {
        "exposure": each.exposure,
        **dict(zip(names, each.table.counts, strict=True)),
        "odds_ratio": _finite(each.odds_ratio),
        "low": _finite(each.low),
        "high": _finite(each.high),
        "p": _finite(each.p),
        "p_corrected": _finite(each.p_corrected),
        "looked_at": each.looked_at,
        "too_few": each.too_few,
        "words": each.words(),
    }


def _finite(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else round(value, 6)
