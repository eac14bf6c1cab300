"""How batches ended, and what goes together with it, as a report for people and as plain values. Nothing is judged here."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from monitor.analysis.across.statistics import CHANCE, Association, Ending, Rate, Rates
from monitor.analysis.across.together import CHOSEN, PUBLISHED, SET_BEFORE, Across, Written
from monitor.shown.report import text
from monitor.shown.report.tree import INSET, Block, Heading, Item, Paragraph, Report, Section, plain

TOGETHER_MEANS = (
    "Batches of which it is so are set against batches of which it is not; where the record cannot say, a batch is in"
    " neither. Together is not because of: what was not measured may lie behind both, and one machine, one season or one"
    " flock may hold most of such batches."
)


def outcomes_text(across: Across) -> str:
    """For people."""
    return text.drawn(outcomes_report(across))


def outcomes_report(across: Across) -> Report:
    """How all ended, the finding asked about, each group, and what goes together."""
    every, finding = across.every, across.finding
    told = [_ended(across)]
    if every.batches and finding is not None:
        told.append(_finding(finding))
    for name, each in across.groups.items():
        often = [] if finding is None else _often(*finding.groups[name])
        told.append(Section(Heading("", f"{name}: {_batches(each.batches)}"), (*_rates(each), *often)))
    if across.left_out:
        told.append(Section(Heading("not counted"), plain(f"{batch}: {why}" for batch, why in across.left_out.items())))
    if every.batches:
        told += [_together(across), *_members(across), *_within(across), *_legend(across)]
    return Report("", sections=tuple(told))


def _ended(across: Across) -> Section:
    every = across.every
    if every.batches:
        blocks = _rates(every)
    else:
        blocks = [
            Paragraph("No closed batch has its outcome written yet. When a hatch is over:"),
            Paragraph("eggroom egg outcome hen-1 1-18 hatched", INSET),
            Paragraph("eggroom egg outcome hen-1 19 dead --stage late", INSET),
            Paragraph("eggroom batch close hen-1", INSET),
        ]
    if across.unwritten:
        words = f"{_eggs(across.unwritten)} without a written end: not hatched, as far as is known."
        blocks.append(Paragraph(words))
    return Section(Heading(f"how {_batches(every.batches)} ended"), tuple(blocks))


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


def _rates(each: Rates) -> list[Paragraph]:
    return [
        _row("fertile", _words(each.fertility)),
        _row("hatched of set", each.hatch_of_set.words()),
        _row("hatched of fertile", _words(each.hatch_of_fertile)),
        *(_row(f"lost, {stage}", _words(lost)) for stage, lost in each.lost.items()),
    ]


def _row(label: str, words: str) -> Paragraph:
    return Paragraph(f"{label:<18} {words}")


def _words(rate: Rate) -> str:
    return rate.words() if rate.of else "not known: the clear eggs were not told apart"


def _often(eggs: Rate, batches: Rate) -> list[Paragraph]:
    return [_row("eggs with it", eggs.words()), _row("batches with it", batches.words())]


def _finding(finding: Written) -> Section:
    words = [
        Paragraph(f"{finding.words[0].upper()}{finding.words[1:]}."),
        *_often(finding.eggs, finding.batches),
        *plain([f"In {', '.join(finding.names)}."] if finding.names else []),
        Paragraph(
            "Of the batches above, whose eggs were looked at: how they ended is written. Where `eggroom egg finding` wrote"
            " nothing of it, it is taken as not there; what was only candled is not counted."
        ),
    ]
    return Section(Heading("", f"HOW OFTEN {finding.finding} WAS WRITTEN"), tuple(words))


def _together(across: Across) -> Section:
    if across.finding is None:
        head = "WHAT GOES TOGETHER WITH A BATCH THAT DID NOT GO WELL"
    else:
        head = f"WHAT GOES TOGETHER WITH {across.finding.finding}"
    return Section(Heading("", head), tuple(_compared(across)))


def _compared(across: Across) -> Iterator[Block]:
    if across.finding is None:
        yield Paragraph(f"A batch went well when {100.0 * across.good_share:g} % or more of its fertile eggs hatched.")
    yield Paragraph(_looked_at(across))
    yield from plain(_not_looked_at(across))
    if not across.looked_at:
        return
    if across.found:
        yield Paragraph(TOGETHER_MEANS)
        yield from _listed(across.found, across.ending)
    elif across.read:
        alike = (
            "They all ended alike, well or not"
            if across.finding is None
            else "It was written for all of them or for none"
        )
        yield Paragraph(f"{alike}: there is nothing to compare.")


def _not_looked_at(across: Across) -> Iterator[str]:
    """How many batches were left out, and why."""
    if across.older:
        newest = "batch was" if across.read == 1 else f"{across.read} batches were"
        older = "1 older was" if across.older == 1 else f"{across.older} older ones were"
        yield f"Only the newest {newest} looked at; {older} not."
    if across.split_off:
        yield f"Not compared, for a clutch counts once, as the batch that was set: {_batches(across.split_off)} split off another."
    without = across.every.batches - across.older - across.read - across.split_off
    if without:
        yield f"Without a machine or a profile that is known, so without air to ask: {_batches(without)}."


def _looked_at(across: Across) -> str:
    """What was looked at, and why so few."""
    many = len(across.looked_at)
    things = "1 thing" if many == 1 else f"{many} things"
    if not many:
        return (
            "No sensor sees anything that its published causes name, so nothing was looked at in the air; `eggroom"
            " review` lists them. What else to look at, you choose with --exposure."
        )
    if across.why == CHOSEN:
        return (
            f"Looked at: {things} that you chose. That is fair when chosen beforehand; when picked because another look"
            " showed it, chance has picked too."
        )
    why = {
        SET_BEFORE: "the same for everyone, set before any record was seen",
        PUBLISHED: "all that its published causes name and a sensor sees",
    }
    return (
        f"Looked at: {things}, {why[across.why]}. Each more that is looked at makes the rest harder to tell; fewer, or"
        " others, you choose with --exposure."
    )


def _members(across: Across) -> Iterator[Section]:
    if across.by is None:
        return
    head = Heading(f"one {across.by} against the others")
    if not across.members:
        yield Section(head, plain([f"All counted batches are of one {across.by}: nothing to compare."]))
        return
    listed = _listed(across.members, across.ending)
    yield Section(head, (Paragraph("All counted batches, whatever their air."), *listed))


def _within(across: Across) -> Iterator[Section]:
    if not across.within:
        return
    telling = [a for a in across.within if not a.too_few]
    blocks: list[Block] = [Item((each.words(across.ending),)) for each in telling]
    left = len(across.within) - len(telling)
    if not telling:
        words = f"{left} comparisons, and for none are there enough batches to tell, even by the clearest split."
        blocks.append(Paragraph(words))
    elif left:
        words = f"{left} more {'has' if left == 1 else 'have'} too few batches to tell, even by the clearest split."
        blocks.append(Paragraph(words))
    yield Section(Heading(f"the same within one {across.by} alone"), tuple(blocks))


def _legend(across: Across) -> Iterator[Section]:
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
    words = (
        f"Odds: {odds}. p: how often chance alone would split batches as clearly as that, or more. {made} made;"
        f" {corrected}. With a p up to {CHANCE:g} they are said to go together."
    )
    yield Section(None, plain([words]))


def _listed(found: Sequence[Association], ending: Ending) -> Iterator[Block]:
    """What can tell in full, the rest in short."""
    telling = [a for a in found if not a.too_few]
    yield from (Item((each.words(ending),)) for each in telling)
    compared = [a for a in found if a.odds_ratio is not None]
    few = [a for a in compared if a.too_few]
    if few and not telling:
        yield Paragraph(
            "So few batches cannot tell anything: even the clearest split of them could be chance. So far"
            f" ({ending.had}, of all):"
        )
    elif few:
        yield Paragraph(f"Too few to tell, even by the clearest split ({ending.had}, of all):")
    for each in few:
        t = each.table
        with_it, without = t.exposed_bad + t.exposed_good, t.other_bad + t.other_good
        words = f"{each.exposure}: {t.exposed_bad} of {with_it}, otherwise {t.other_bad} of {without}"
        yield Paragraph(words, INSET)
    seen = [a for a in found if a.table.total]
    alike = [a.exposure for a in seen if a not in compared]
    if alike:
        words = "; ".join(alike)
        yield Paragraph(f"Nothing to compare, for the batches are alike in it or all ended alike: {words}.")
    unseen = [a.exposure for a in found if a not in seen]
    if unseen:
        yield Paragraph(f"No batch's record can say: {'; '.join(unseen)}.")


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
