"""How batches ended, and what goes together with it, as text of at most 80 columns and as plain values. Nothing is judged here."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from monitor.analysis.across.statistics import CHANCE, Association, Ending, Rate, Rates
from monitor.analysis.across.together import CHOSEN, PUBLISHED, SET_BEFORE, Across, Written
from monitor.domain.wall import filled

TOGETHER_MEANS = (
    "Batches of which it is so are set against batches of which it is not; where the record cannot say, a batch is in"
    " neither. Together is not because of: what was not measured may lie behind both, and one machine, one season or one"
    " flock may hold most of such batches."
)


def outcomes_text(across: Across) -> str:
    """For people."""
    every = across.every
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
    if across.unwritten:
        lines.append(f"  {_eggs(across.unwritten)} without a written end: not hatched, as far as is known.")
    if every.batches and across.finding is not None:
        lines += ["", *_finding(across.finding)]
    for name, each in across.groups.items():
        lines += ["", f"{name}: {_batches(each.batches)}", *_rates(each)]
        if across.finding is not None:
            lines += _often(*across.finding.groups[name])
    if across.left_out:
        lines += ["", "NOT COUNTED", *(f"  {batch}: {why}" for batch, why in across.left_out.items())]
    if every.batches:
        for section in (_together(across), _members(across), _within(across), _legend(across)):
            told = list(section)
            lines += ["", *told] if told else []
    return "\n".join(filled(line) for line in lines) + "\n"


def outcomes_json(across: Across) -> dict[str, object]:
    """The same as plain values for `json.dumps`: shares 0 to 1; what is not known, and an end of an interval without limit, is null."""
    finding, ids = across.finding, {words: id_ for id_, words in across.looked_at.items()}
    rows = [_association_row(each, across.ending) for each in across.found]
    return {
        "all": _rates_row(across.every),
        "groups": {
            name: _rates_row(each) | ({} if finding is None else _often_row(*finding.groups[name]))
            for name, each in across.groups.items()
        },
        "not_counted": dict(across.left_out),
        "eggs_without_end": across.unwritten,
        "went_well_share": across.good_share if finding is None else None,
        "finding": None
        if finding is None
        else {
            "id": finding.finding,
            "words": finding.words,
            "batches": list(finding.names),
            **_often_row(finding.eggs, finding.batches),
        },
        "by": across.by,
        "batches_looked_at": across.read,
        "older_batches_not_looked_at": across.older,
        "split_off_not_compared": across.split_off,
        "looked_at": [{"id": id_, "words": words} for id_, words in across.looked_at.items()],
        "compared": len(across.compared),
        "together": [{"id": ids[str(row["exposure"])], **row} for row in rows],
        "against_others": [_association_row(each, across.ending) for each in across.members],
        "within": [_association_row(each, across.ending) for each in across.within],
    }


def _batches(count: int) -> str:
    return "1 batch" if count == 1 else f"{count} batches"


def _eggs(count: int) -> str:
    return "1 egg" if count == 1 else f"{count} eggs"


def _rates(each: Rates) -> Iterator[str]:
    yield f"  {'fertile':<18} {_words(each.fertility)}"
    yield f"  {'hatched of set':<18} {each.hatch_of_set.words()}"
    yield f"  {'hatched of fertile':<18} {_words(each.hatch_of_fertile)}"
    for stage, lost in each.lost.items():
        yield f"  {f'lost, {stage}':<18} {_words(lost)}"


def _words(rate: Rate) -> str:
    return rate.words() if rate.of else "not known: the clear eggs were not told apart"


def _often(eggs: Rate, batches: Rate) -> Iterator[str]:
    yield f"  {'eggs with it':<18} {eggs.words()}"
    yield f"  {'batches with it':<18} {batches.words()}"


def _finding(finding: Written) -> Iterator[str]:
    yield f"HOW OFTEN {finding.finding} WAS WRITTEN"
    yield f"  {finding.words[0].upper()}{finding.words[1:]}."
    yield from _often(finding.eggs, finding.batches)
    if finding.names:
        yield f"  In {', '.join(finding.names)}."
    yield (
        "  Of the batches above, whose eggs were looked at: how they ended is written. Where `eggroom egg finding` wrote"
        " nothing of it, it is taken as not there; what was only candled is not counted."
    )


def _together(across: Across) -> Iterator[str]:
    if across.finding is None:
        yield "WHAT GOES TOGETHER WITH A BATCH THAT DID NOT GO WELL"
        yield f"  A batch went well when {100.0 * across.good_share:g} % or more of its fertile eggs hatched."
    else:
        yield f"WHAT GOES TOGETHER WITH {across.finding.finding}"
    yield from _looked_at(across)
    if across.older:
        newest = "batch was" if across.read == 1 else f"{across.read} batches were"
        older = "1 older was" if across.older == 1 else f"{across.older} older ones were"
        yield f"  Only the newest {newest} looked at; {older} not."
    if across.split_off:
        yield f"  Not compared, for a clutch counts once, as the batch that was set: {_batches(across.split_off)} split off another."
    without = across.every.batches - across.older - across.read - across.split_off
    if without:
        yield f"  Without a machine or a profile that is known, so without air to ask: {_batches(without)}."
    if not across.looked_at:
        return
    if across.found:
        yield f"  {TOGETHER_MEANS}"
        yield from _listed(across.found, across.ending)
    elif across.read:
        alike = (
            "They all ended alike, well or not"
            if across.finding is None
            else "It was written for all of them or for none"
        )
        yield f"  {alike}: there is nothing to compare."


def _looked_at(across: Across) -> Iterator[str]:
    """What was looked at, and why so few."""
    many = len(across.looked_at)
    things = "1 thing" if many == 1 else f"{many} things"
    if not many:
        yield (
            "  No sensor sees anything that its published causes name, so nothing was looked at in the air; `eggroom"
            " review` lists them. What else to look at, you choose with --exposure."
        )
    elif across.why == CHOSEN:
        yield (
            f"  Looked at: {things} that you chose. That is fair when chosen beforehand; when picked because another look"
            " showed it, chance has picked too."
        )
    else:
        why = {
            SET_BEFORE: "the same for everyone, set before any record was seen",
            PUBLISHED: "all that its published causes name and a sensor sees",
        }
        yield (
            f"  Looked at: {things}, {why[across.why]}. Each more that is looked at makes the rest harder to tell; fewer, or"
            " others, you choose with --exposure."
        )


def _members(across: Across) -> Iterator[str]:
    if across.by is None:
        return
    yield f"ONE {across.by.upper()} AGAINST THE OTHERS"
    if not across.members:
        yield f"  All counted batches are of one {across.by}: nothing to compare."
        return
    yield "  All counted batches, whatever their air."
    yield from _listed(across.members, across.ending)


def _within(across: Across) -> Iterator[str]:
    if not across.within:
        return
    yield f"THE SAME WITHIN ONE {str(across.by).upper()} ALONE"
    telling = [a for a in across.within if not a.too_few]
    for each in telling:
        yield f"  - {each.words(across.ending)}"
    left = len(across.within) - len(telling)
    if not telling:
        yield f"  {left} comparisons, and for none are there enough batches to tell, even by the clearest split."
    elif left:
        yield f"  {left} more {'has' if left == 1 else 'have'} too few batches to tell, even by the clearest split."


def _legend(across: Across) -> Iterator[str]:
    """What the figures mean, where there are any."""
    telling = sum(not a.too_few for a in across.compared)
    if not telling:
        return
    odds = "bad ends to good ones" if across.finding is None else "batches with it written to those without"
    made = "1 comparison was" if len(across.compared) == 1 else f"{len(across.compared)} comparisons were"
    corrected = (
        "1 could tell something, so nothing is to be corrected"
        if telling == 1
        else f"{telling} could tell something: each p is corrected for so many, each interval stands for itself"
    )
    yield (
        f"Odds: {odds}. p: how often chance alone would split batches as clearly as that, or more. {made} made;"
        f" {corrected}. With a p up to {CHANCE:g} they are said to go together."
    )


def _listed(found: Sequence[Association], ending: Ending) -> Iterator[str]:
    """What can tell in full, the rest in short."""
    telling = [a for a in found if not a.too_few]
    for each in telling:
        yield f"  - {each.words(ending)}"
    compared = [a for a in found if a.odds_ratio is not None]
    few = [a for a in compared if a.too_few]
    if few and not telling:
        yield (
            "  So few batches cannot tell anything: even the clearest split of them could be chance. So far"
            f" ({ending.had}, of all):"
        )
    elif few:
        yield f"  Too few to tell, even by the clearest split ({ending.had}, of all):"
    for each in few:
        t = each.table
        with_it, without = t.exposed_bad + t.exposed_good, t.other_bad + t.other_good
        yield f"    {each.exposure}: {t.exposed_bad} of {with_it}, otherwise {t.other_bad} of {without}"
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


def _often_row(eggs: Rate, batches: Rate) -> dict[str, object]:
    return {"eggs_with_it": _rate_row(eggs), "batches_with_it": _rate_row(batches)}


def _association_row(each: Association, ending: Ending) -> dict[str, object]:
    names = [f"{who}_{end}" for who in ("exposed", "other") for end in ending.keys]
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
        "words": each.words(ending),
    }


def _finite(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else round(value, 6)
