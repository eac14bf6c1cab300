"""How batches ended, and what goes together with it, as a report for people and as plain values. Nothing is judged here."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, tzinfo

from monitor.analysis.across.looked_at import LookedAt
from monitor.analysis.across.season import Line, Out
from monitor.analysis.across.statistics import CHANCE, Association, Rate, Rates, What
from monitor.analysis.across.together import CHOSEN, PUBLISHED, SET_BEFORE, Across, Exposed, Written
from monitor.analysis.review.judged import SUPPORTED
from monitor.domain.eggs.entry import DEATHS, EXTERNAL_PIP, INTERNAL_PIP, MIDDLE
from monitor.domain.eggs.entry import EARLY as EARLY_DEATH
from monitor.domain.eggs.entry import LATE as LATE_DEATH
from monitor.domain.needs.bands import DRY_BULB
from monitor.domain.published.causes import (
    EARLY,
    HATCHER,
    HEAT,
    HIGH,
    HUMIDITY,
    LATE,
    LOSS,
    LOW,
    OPENINGS,
    SETTER,
    SPREAD,
    SWING,
    TEMPERATURE,
    TO_MIDDLE,
    WHOLE,
)
from monitor.domain.published.exposure import ABOVE
from monitor.domain.published.findings import FINDING
from monitor.domain.wall import WIDTH, utc_text
from monitor.service.across.outcomes import DEC_FEB, JUN_AUG, MAR_MAY, NO_EGGS, NO_OUTCOME, SEP_NOV, TOO_MANY, UNTOLD
from monitor.shown.report import text
from monitor.shown.report.tree import INSET, Block, Column, Heading, Item, Listing, Paragraph, Report, Section, plain
from monitor.shown.values import show_figure

TOGETHER_MEANS = (
    "Clutches of which it is so are set against clutches of which it is not, each as a whole, whatever it was split into;"
    " where the record cannot say, or parts differ, one is in neither. Together is not because of: what was not measured may lie behind both, and one machine, one season or one"
    " flock may hold most of such batches."
)


_LOOKED_AT = {
    (TEMPERATURE, HIGH): "too warm",
    (TEMPERATURE, LOW): "too cool",
    (HUMIDITY, HIGH): "too humid",
    (HUMIDITY, LOW): "too dry",
    (SWING, HIGH): "temperature swinging",
    (SPREAD, HIGH): "unevenly warm",
    (OPENINGS, HIGH): "opened often",
    (LOSS, HIGH): "water loss to pip too high",
    (LOSS, LOW): "water loss to pip too low",
}
_WHEN = {
    WHOLE: "over the whole incubation",
    SETTER: "in incubation",
    HATCHER: "in lockdown and hatch",
    EARLY: "in the first third",
    TO_MIDDLE: "up to the end of the middle third",
    LATE: "in the last third",
}
_NOT_COUNTED = {
    NO_EGGS: "how many eggs were set is not written",
    NO_OUTCOME: "no outcome is written",
    TOO_MANY: "more eggs are written than were set",
}
# Dead embryos by stage, as a table's head has them.
_STAGE = {EARLY_DEATH: "E", MIDDLE: "M", LATE_DEATH: "L", INTERNAL_PIP: "IP", EXTERNAL_PIP: "EP", UNTOLD: "?"}
_STAGE_WORDS = {UNTOLD: "stage not written"}
# By what batches are told apart, and what one group of them is called, where that is not its own name.
_GROUPS = {"season": {DEC_FEB: "Dec to Feb", MAR_MAY: "Mar to May", JUN_AUG: "Jun to Aug", SEP_NOV: "Sep to Nov"}}
# How it is said of a batch that it is in a group.
_IN_GROUP = {
    "machine": "set in {}",
    "species": "{}",
    "season": "set in {}",
    "pair": "eggs of {}",
    "clutch": "eggs of {}",
}


@dataclass(frozen=True, slots=True)
class Ending:
    """The end that batches are counted by: `3 of 5 batches ended badly`, the odds of `a bad end`. keys: with it and without, for values."""

    had: str
    odds: str
    keys: tuple[str, str]


BADLY = Ending("ended badly", "a bad end", ("bad", "good"))


@dataclass(frozen=True, slots=True)
class Told:
    """What is told, and how: the words for each thing looked at, by its id."""

    across: Across
    looked_at: Mapping[str, str]
    unit: str = "C"
    zone: tzinfo = UTC

    @classmethod
    def of(cls, across: Across, unit: str, zone: tzinfo = UTC) -> Told:
        """unit: C or F, of temperatures in the words. zone: of the house, for the days on which batches were set."""
        return cls(across, {id_: looked_at_words(each, unit) for id_, each in across.looked_at.items()}, unit, zone)

    @property
    def ending(self) -> Ending:
        """The end that batches are counted by."""
        finding = self.across.finding
        return BADLY if finding is None else ending_of(finding.finding)

    def name(self, exposed: Exposed) -> str:
        """`too humid in incubation`, `set in setter-1 rather than setter-2`, `too humid in incubation, setter-1 alone`."""
        if exposed.id:
            what = self.looked_at[exposed.id]
            return f"{what}, {group_words(self.across, exposed.group)} alone" if exposed.group else what
        member = _IN_GROUP.get(self.across.by or "", "{}").format(group_words(self.across, exposed.group))
        other = group_words(self.across, exposed.rather_than) if exposed.rather_than else ""
        return f"{member} rather than {other}" if other else member

    def words(self, each: Association[Exposed]) -> str:
        """Counts first, then what they are worth, in one paragraph."""
        return association_words(each, self.name(each.exposure), self.ending)


def ending_of(finding: str) -> Ending:
    """That a finding was written, as it is said of a batch."""
    return Ending(f"had {finding} written", finding, ("written", "not_written"))


def looked_at_words(each: LookedAt, unit: str = "C") -> str:
    """`too humid in incubation`, `6 h in all at or above 43.3 °C in the last third`; unit: C or F."""
    cause = each.cause
    if cause.window == WHOLE and cause.check in (SWING, LOSS):  # there is no other time to confuse it with
        return _LOOKED_AT[cause.check, cause.direction]
    return f"{_dose(each, unit) or _LOOKED_AT[cause.check, cause.direction]} {_WHEN[cause.window]}"


def _dose(each: LookedAt, unit: str) -> str:
    """Cold is counted on end, heat in all."""
    if each.hours is None or each.temp_c is None:
        return ""
    long = f"{each.hours:g} h" if each.hours >= 1.0 else f"{60.0 * each.hours:g} min"
    side, kind = ("above", "in all") if each.cause.check == HEAT else ("below", "on end")
    return f"{long} {kind} at or {side} {show_figure(DRY_BULB, each.temp_c, unit)}"


def rate_words(rate: Rate) -> str:
    """`3 of 5, 60 % (95 % interval 23 to 88 %)`: never a percentage without its count."""
    if rate.share is None or rate.low is None or rate.high is None:
        return f"{rate.count} of {rate.of}"
    low, high = (f"{100.0 * x:.0f}" for x in (rate.low, rate.high))
    return f"{rate.count} of {rate.of}, {100.0 * rate.share:.0f} % (95 % interval {low} to {high} %)"


def association_words(each: Association[What], name: str, ending: Ending = BADLY) -> str:
    """Counts first, then what they are worth, in one paragraph. name: what the batches were told apart by."""
    t = each.table
    with_it, without = t.exposed_bad + t.exposed_good, t.other_bad + t.other_good
    text = f"{name}: {t.exposed_bad} of {with_it} batches {ending.had}, otherwise {t.other_bad} of {without}."
    if each.ranks is not None:
        of = "1 batch" if with_it == 1 else f"the {with_it}"
        text += f" Of the fertile eggs hatched {_share(each.ranks.middle)} in the middle one of {of}, otherwise {_share(each.ranks.other_middle)}."
    if each.ranks is None and each.odds_ratio is None:
        return f"{text} There is nothing to compare it with."
    if each.too_few:
        return f"{text} That is too few to tell: even the clearest split of so many could be chance."
    if each.odds_ratio is not None and each.low is not None and each.high is not None:
        text += f" Odds of {ending.odds} {_times(each.odds_ratio, each.low, each.high)}."
    many = f", corrected for {each.looked_at} that could tell" if each.looked_at > 1 else ""
    if each.p_corrected > CHANCE:
        return f"{text} Not told from chance (p {_p(each.p_corrected)}{many})."
    return f"{text} They go together (p {_p(each.p_corrected)}{many}); that names no cause."


def _share(share: float) -> str:
    return f"{100.0 * share:.0f} %"


def _times(ratio: float, low: float, high: float) -> str:
    """An odds ratio with its interval; one without an end is told by its other end."""
    if math.isinf(ratio):
        return f"at least {_ratio(low)} times as high (95 % interval, without an upper end)"
    if ratio == 0.0:
        return f"at most {_ratio(high)} times as high (95 % interval, from 0)"
    return f"{_ratio(ratio)} times as high (95 % interval {_ratio(low)} to {_ratio(high)})"


def _ratio(value: float) -> str:
    return f"{value:.2g}" if value < 10.0 else f"{value:.0f}"


def _p(value: float) -> str:
    return "below 0.001" if value < 0.001 else f"{value:.2g}"


def outcomes_text(said: Told, *, columns: int = WIDTH) -> str:
    """For people, so many columns wide."""
    return text.drawn(outcomes_report(said), columns=columns)


def outcomes_report(said: Told) -> Report:
    """How all ended, the finding asked about, each group, and what goes together."""
    across = said.across
    every, finding = across.every, across.finding
    told = [*_table(said), _ended(across)]
    if every.batches and finding is not None:
        told.append(_finding(finding))
    for name, each in across.groups.items():
        often = [] if finding is None else _often(*finding.groups[name])
        told.append(
            Section(Heading("", f"{group_words(across, name)}: {_batches(each.batches)}"), (*_rates(each), *often))
        )
    if across.left_out:
        told.append(
            Section(
                Heading("not counted"), plain(f"{batch}: {_NOT_COUNTED[why]}" for batch, why in across.left_out.items())
            )
        )
    if every.batches:
        told += [_together(said), *_members(said), *_within(said), *_legend(across)]
    return Report("", sections=tuple(told))


def _table(told: Told) -> Iterator[Section]:
    """Every closed batch, a line each."""
    lines = told.across.lines
    if not lines:
        return
    stages = [stage for stage in (*DEATHS, UNTOLD) if any(line.lost.get(stage) for line in lines)]
    name = max(len("batch"), *(len(line.batch) for line in lines))
    columns = (
        Column("batch", name, gap=0),
        Column("set", 10),
        *(Column(head, len(head), right=True, gap=1) for head in ("eggs", "fertile", "hatched")),
        *(Column(_STAGE[stage], max(2, len(_STAGE[stage])), right=True, gap=1) for stage in stages),
        Column("lost", 5, right=True, gap=1),
        Column("what stood out", gap=2),
    )
    rows = tuple((line.batch, *_cells(line, stages, told.zone), _stood_out(line, told)) for line in lines)
    dead = ", ".join(f"{_STAGE[stage]} {_STAGE_WORDS.get(stage, stage)}" for stage in stages)
    words = (
        f"{f'Dead: {dead}. ' if dead else ''}Lost: water to pip, the middle of the weighed eggs, % of their mass. What stood out: beyond"
        " the target, and beyond your good batches where there are three of that species, by more than sensors can tell; `beside your good ones`:"
        " beyond these alone. It names no cause; `eggroom review` tells each with its figures."
    )
    yield Section(Heading("your closed batches"), (Listing(columns, rows), Paragraph(words)))


def _cells(line: Line, stages: Sequence[str], zone: tzinfo) -> tuple[str, ...]:
    """From the set to the loss."""
    counted = not line.uncounted
    figures = [line.eggs, line.fertile, line.hatched, *(line.lost.get(stage, 0) for stage in stages)]
    told = [str(x) if x is not None and (counted or place == 0) else "-" for place, x in enumerate(figures)]
    loss = "-" if line.loss_pct is None else f"{line.loss_pct:.1f}"
    return (f"{line.set_at.astimezone(zone):%Y-%m-%d}", *told, loss)


def _stood_out(line: Line, told: Told) -> str:
    parts = []
    if line.split_from:
        parts.append(f"split off {line.split_from}")
    if line.uncounted:
        parts.append(_NOT_COUNTED[line.uncounted])
    if not line.asked:
        parts.append("no air to ask")
    parts += [out_words(out, told.unit) for out in line.out]
    return "; ".join(parts) or "-"


def out_words(out: Out, unit: str) -> str:
    """`too humid in incubation, 71 %RH`, `heat for 5.1 h, up to 43.6 °C on day 16`; unit: C or F."""
    verdict, check = out.verdict, out.verdict.check
    figure = verdict.figure
    if figure is None or check is None:
        return ""
    if figure.beyond is not None:
        beyond = figure.beyond
        dose, (day, _) = beyond.dose.dose, max(beyond.by_day, key=lambda each: each[1])
        word, way = ("heat", "up") if beyond.side == ABOVE else ("cold", "down")
        return f"{word} for {beyond.hours:.1f} h, {way} to {show_figure(DRY_BULB, dose.peak_c or 0.0, unit)}, day {day}"
    what = looked_at_words(LookedAt(out.id, verdict.asked), unit)
    value = {
        TEMPERATURE: lambda: show_figure(DRY_BULB, figure.value, unit, finer=1),
        HUMIDITY: lambda: f"{figure.value:.0f} %RH",
        LOSS: lambda: f"{figure.value:.1f} %",
        SWING: lambda: f"{100.0 * figure.value:.0f} % of the time either way",
        SPREAD: lambda: (
            f"{figure.value * (1.8 if unit == 'F' else 1.0):.1f} {'°F' if unit == 'F' else 'K'} between probes"
        ),
        OPENINGS: lambda: f"{figure.value:.0f} a day",
    }[check.id]()
    unlike = "" if verdict.verdict == SUPPORTED else " beside your good ones"
    return f"{what}{unlike}, {value}"


def _line_row(line: Line, told: Told) -> dict[str, object]:
    return {
        "batch": line.batch,
        "species": line.species,
        "set_at": utc_text(line.set_at),
        "split_from": line.split_from or None,
        "eggs": line.eggs,
        "fertile": line.fertile,
        "hatched": line.hatched,
        "dead": dict(line.lost),
        "loss_pct": _finite(line.loss_pct),
        "loss_target_pct": [_finite(each) for each in line.loss_band],
        "went_well": line.good,
        "not_counted": _NOT_COUNTED.get(line.uncounted),
        "asked": line.asked,
        "stood_out": [
            {
                "id": out.id,
                "verdict": out.verdict.verdict,
                "value": _finite(None if out.verdict.figure is None else out.verdict.figure.value),
                "words": out_words(out, told.unit),
            }
            for out in line.out
        ],
    }


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


def group_words(across: Across, group: str) -> str:
    """What a group of batches is called: `setter-1`, `Dec to Feb`."""
    return _GROUPS.get(across.by or "", {}).get(group, group) or f"{across.by} not written"


def outcomes_json(told: Told) -> dict[str, object]:
    """The same as plain values for `json.dumps`: shares 0 to 1; what is not known, and an end of an interval without limit, is null."""
    across = told.across
    finding = across.finding
    return {
        "batches": [_line_row(line, told) for line in across.lines],
        "all": _rates_row(across.every),
        "groups": {
            group_words(across, name): _rates_row(each) | ({} if finding is None else _often_row(*finding.groups[name]))
            for name, each in across.groups.items()
        },
        "not_counted": {batch: _NOT_COUNTED[why] for batch, why in across.left_out.items()},
        "eggs_without_end": across.unwritten,
        "went_well_share": across.good_share if finding is None else None,
        "finding": None
        if finding is None
        else {
            "id": finding.finding,
            "words": FINDING[finding.finding].words,
            "batches": list(finding.names),
            **_often_row(finding.eggs, finding.batches),
        },
        "by": across.by,
        "batches_looked_at": across.read,
        "split_off_judged_with_theirs": across.split_off,
        "waiting_for_a_part": list(across.waiting),
        "mixed_not_compared": across.mixed,
        "mixed_and_counted": list(across.untold),
        "looked_at": [{"id": id_, "words": words} for id_, words in told.looked_at.items()],
        "compared": len(across.compared),
        "together": [{"id": each.exposure.id, **_association_row(each, told)} for each in across.found],
        "against_others": [_association_row(each, told) for each in across.members],
        "within": [_association_row(each, told) for each in across.within],
    }


def _batches(count: int) -> str:
    return "1 batch" if count == 1 else f"{count} batches"


def _eggs(count: int) -> str:
    return "1 egg" if count == 1 else f"{count} eggs"


def _rates(each: Rates) -> list[Paragraph]:
    return [
        _row("fertile", _words(each.fertility)),
        _row("hatched of set", rate_words(each.hatch_of_set)),
        _row("hatched of fertile", _words(each.hatch_of_fertile)),
        *(_row(f"lost, {stage}", _words(lost)) for stage, lost in each.lost.items()),
    ]


def _row(label: str, words: str) -> Paragraph:
    return Paragraph(f"{label:<18} {words}")


def _words(rate: Rate) -> str:
    return rate_words(rate) if rate.of else "not known: the clear eggs were not told apart"


def _often(eggs: Rate, batches: Rate) -> list[Paragraph]:
    return [_row("eggs with it", rate_words(eggs)), _row("batches with it", rate_words(batches))]


def _finding(finding: Written) -> Section:
    words = FINDING[finding.finding].words
    told = [
        Paragraph(f"{words[0].upper()}{words[1:]}."),
        *_often(finding.eggs, finding.batches),
        *plain([f"In {', '.join(finding.names)}."] if finding.names else []),
        Paragraph(
            "Of the batches above, whose eggs were looked at: how they ended is written. Where `eggroom egg finding` wrote"
            " nothing of it, it is taken as not there; what was only candled is not counted."
        ),
    ]
    return Section(Heading("", f"HOW OFTEN {finding.finding} WAS WRITTEN"), tuple(told))


def _together(told: Told) -> Section:
    across = told.across
    if across.finding is None:
        head = "WHAT GOES TOGETHER WITH A BATCH THAT DID NOT GO WELL"
    else:
        head = f"WHAT GOES TOGETHER WITH {across.finding.finding}"
    return Section(Heading("", head), tuple(_compared(told)))


def _compared(told: Told) -> Iterator[Block]:
    across = told.across
    if across.finding is None:
        yield Paragraph(f"A batch went well when {100.0 * across.good_share:g} % or more of its fertile eggs hatched.")
    yield Paragraph(_looked_at(across))
    yield from plain(_not_looked_at(across))
    if not across.looked_at:
        return
    if across.found:
        yield Paragraph(TOGETHER_MEANS)
        yield from _listed(across.found, told)
    elif across.read:
        alike = (
            "They all ended alike, well or not"
            if across.finding is None
            else "It was written for all of them or for none"
        )
        yield Paragraph(f"{alike}: there is nothing to compare.")


def _not_looked_at(across: Across) -> Iterator[str]:
    """How many batches were left out, and why."""
    if across.split_off:
        yield f"Judged with the clutch that they were set with, as one: {_batches(across.split_off)} split off another."
    if across.waiting:
        yield f"Not compared, for a part of their clutch is not counted yet: {', '.join(across.waiting)}."
    without = across.every.batches - across.read - across.split_off - len(across.waiting)
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


def _members(told: Told) -> Iterator[Section]:
    across = told.across
    if across.by is None:
        return
    head = Heading(f"one {across.by} against the others")
    beside = plain(_mixed(across))
    if not across.members:
        words = f"All counted batches are of one {across.by}: nothing to compare."
        if across.mixed or "" in across.groups:
            words = f"No two batches are each of one {across.by}, and of another: nothing to compare."
        yield Section(head, (*plain([words]), *beside))
        return
    listed = _listed(across.members, told)
    yield Section(head, (Paragraph("All counted batches, whatever their air."), *beside, *listed))


def _mixed(across: Across) -> Iterator[str]:
    """Batches of several pairs or clutches."""
    many = {"pair": "pairs", "clutch": "clutches"}.get(across.by or "", "")
    if across.mixed:
        yield f"Of several {many}, so not compared, for they shared their air: {_batches(across.mixed)}. Above, each egg counts with its own."
    if across.untold:
        yield f"Of several {many}, and ended in counts, so that nobody knows whose they were: {', '.join(across.untold)}."


def _within(told: Told) -> Iterator[Section]:
    across = told.across
    if not across.within:
        return
    telling = [a for a in across.within if not a.too_few]
    blocks: list[Block] = [Item((told.words(each),)) for each in telling]
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
    ranks = (
        " It is of the hatch itself, batches ranked by the share of their fertile eggs that hatched; how many ended badly only tells it in short."
        if across.finding is None
        else ""
    )
    made = "1 comparison was" if len(across.compared) == 1 else f"{len(across.compared)} comparisons were"
    corrected = (
        "1 could tell something, so nothing is to be corrected"
        if telling == 1
        else f"{telling} could tell something: each p is corrected for so many, each interval stands for itself"
    )
    words = (
        f"Odds: {odds}. p: how often chance alone would split batches as clearly as that, or more.{ranks} {made} made;"
        f" {corrected}. With a p up to {CHANCE:g} they are said to go together."
    )
    yield Section(None, plain([words]))


def _listed(found: Sequence[Association[Exposed]], told: Told) -> Iterator[Block]:
    """What can tell in full, the rest in short."""
    ending = told.ending
    telling = [a for a in found if not a.too_few]
    yield from (Item((told.words(each),)) for each in telling)
    compared = [a for a in found if a.odds_ratio is not None or (a.ranks is not None and not a.too_few)]
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
        words = f"{told.name(each.exposure)}: {t.exposed_bad} of {with_it}, otherwise {t.other_bad} of {without}"
        yield Paragraph(words, INSET)
    seen = [a for a in found if a.table.total]
    alike = [told.name(a.exposure) for a in seen if a not in compared]
    if alike:
        words = "; ".join(alike)
        yield Paragraph(f"Nothing to compare, for the batches are alike in it or all ended alike: {words}.")
    unseen = [told.name(a.exposure) for a in found if a not in seen]
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


def _association_row(each: Association[Exposed], told: Told) -> dict[str, object]:
    names = [f"{who}_{end}" for who in ("exposed", "other") for end in told.ending.keys]
    return {
        "exposure": told.name(each.exposure),
        **dict(zip(names, each.table.counts, strict=True)),
        "odds_ratio": _finite(each.odds_ratio),
        "low": _finite(each.low),
        "high": _finite(each.high),
        "p": _finite(each.p),
        "p_corrected": _finite(each.p_corrected),
        "looked_at": each.looked_at,
        "too_few": each.too_few,
        "by": "table" if each.ranks is None else "ranks",
        "hatch_middle": None if each.ranks is None else _finite(each.ranks.middle),
        "hatch_middle_otherwise": None if each.ranks is None else _finite(each.ranks.other_middle),
        "words": told.words(each),
    }


def _finite(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else round(value, 6)
