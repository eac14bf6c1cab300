"""All the reviews of one batch together: what was found, then finding by finding; as text, as a page, and as plain values.

What is said once for all of them stands once: what supported means, which batches stand beside, the sources.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace

from monitor.analysis.review.judged import CANNOT_SAY, COVERAGE, NOT_MEASURED, SUPPORTED, UNLIKE, VERDICTS, Verdict
from monitor.analysis.review.whole import BatchReview, Reviewed, Subject
from monitor.domain.published.causes import Catalogue
from monitor.domain.published.findings import FINDING, FINDINGS
from monitor.domain.wall import WIDTH, utc_text
from monitor.shown.entries import eggs_words
from monitor.shown.form import Shown
from monitor.shown.report import page, text
from monitor.shown.report.style import STYLE
from monitor.shown.report.tree import INSET, OF_DRAWINGS, Heading, Paragraph, Report, Section, plain
from monitor.shown.review.facts import answer_words, facts_json, facts_section
from monitor.shown.review.facts import cited as facts_cited
from monitor.shown.review.finding import (
    CLOSING,
    PREAMBLE,
    SUPPORTED_MEANS,
    TEMPERATURES_OF,
    WHY,
    cause_item,
    finding_sections,
    source_lines,
    to_json,
)
from monitor.shown.review.house import habit_json, outside_words
from monitor.shown.values import per_cent

# Beside the style of a history: a cause and what is said to it stay on one sheet, a caution stands in a frame.
ITEMS = (
    "h3{border-left:4px solid var(--mark);padding-left:.5em}p.cause{margin-top:.5em}p.cause+p.in{margin-top:.1em}"
    "p.caution{border:1px solid var(--hot);border-radius:4px;padding:.4em .6em}"
    "svg.strip{height:12px;margin:.2em 0}.here{stroke:var(--line);stroke-width:4}.good{stroke:var(--ink);stroke-width:1.2}"
    "div{break-inside:avoid}div+div{margin-top:1em}h2.one{margin-top:2em;border-bottom:2px solid var(--ink)}"
)
_STYLE = STYLE + ITEMS
KEY = (
    "In the drawings: shaded, the target (or what is said to be harmless); the thick line, this record; thin lines, batches that went"
    " well."
)

REST = "Every cause with its figures and its source: the same with --full."
LISTED = 12  # eggs that are named one by one


def review_report(whole: BatchReview, catalogue: Catalogue, shown: Shown) -> Report:
    """Everything there is to say, in order."""
    eggs = eggs_words(whole.eggs) if whole.eggs is not None else "eggs not recorded"
    closed = "still open" if whole.closed_at is None else f"closed {shown.time(whole.closed_at)}"
    about = Paragraph(f"profile {whole.profile}, {eggs}, set {shown.time(whole.set_at)}, {closed}")
    told = _told(whole, catalogue, shown) if whole.reviewed else [_nothing(whole)]
    facts = [] if whole.facts is None else [facts_section(whole.facts, shown, short=False)]
    return Report(f"Review of batch {whole.batch}", (about,), (*facts, *told), plain(_answers(whole, shown)))


def brief_report(whole: BatchReview, catalogue: Catalogue, shown: Shown) -> Report:
    """What is read first: what the record shows, in full; the other causes counted."""
    report = review_report(whole, catalogue, shown)
    told = _short(whole, catalogue, shown.unit) if whole.reviewed else [_nothing(whole, listed=False)]
    facts = [] if whole.facts is None else [facts_section(whole.facts, shown, short=True)]
    return replace(report, sections=(*facts, *told))


def found_answers(whole: BatchReview, shown: Shown) -> Iterator[str]:
    """What the review comes to, of each finding a line."""
    return (_answer(each, shown.unit) for each in whole.reviewed)


def _answers(whole: BatchReview, shown: Shown) -> Iterator[str]:
    if not whole.reviewed:
        about = "" if whole.egg is None else f" about egg {whole.egg}"
        yield f"Nothing found is written{about}, so there is nothing to review."
    if whole.facts is not None:
        yield from answer_words(whole.facts, shown)
    yield from found_answers(whole, shown)


def _nothing(whole: BatchReview, *, listed: bool = True) -> Section:
    """How to begin, where nothing was written. listed: with all that can be found."""
    others = plain([f"Written about the batch: {'; '.join(_others(whole))}."] if whole.others else [])
    return Section(None, (*others, *_how(whole.batch, listed=listed)))


def _short(whole: BatchReview, catalogue: Catalogue, unit: str) -> Iterator[Section]:
    shows = False
    for each in whole.reviewed:
        supported = [verdict for verdict in each.verdicts if verdict.verdict in (SUPPORTED, UNLIKE)]
        shows = shows or any(verdict.verdict == SUPPORTED for verdict in supported)
        counts = Counter(verdict.verdict for verdict in each.verdicts if verdict.named)
        counted = ", ".join(f"{name} {counts[name] or 'none'}" for name in VERDICTS if name != UNLIKE or counts[name])
        head = Heading(f"{_name(each)}: {subject_words(each.subject, whole.eggs)}")
        yield Section(
            head, (*(cause_item(verdict, unit) for verdict in supported), Paragraph(f"published causes: {counted}"))
        )
    outside = outside_words(whole.habits, whole.profile, unit)
    lines = [*([SUPPORTED_MEANS] if shows else []), _beside(whole, catalogue), *([outside] if outside else [])]
    yield Section(None, plain(lines))
    cautions = dict.fromkeys(catalogue.findings[each.finding].caution for each in whole.reviewed)
    yield Section(Heading("caution"), plain([*cautions, CLOSING]))
    yield Section(None, plain([REST]))


def _told(whole: BatchReview, catalogue: Catalogue, shown: Shown) -> Iterator[Section]:
    found = [
        f"{_name(each)}: {subject_words(each.subject, whole.eggs)}{'' if each.written else ' (asked about, not written)'}"
        for each in whole.reviewed
    ]
    yield Section(Heading("found"), plain(found))
    outside = outside_words(whole.habits, whole.profile, shown.unit)
    lines = [PREAMBLE, _beside(whole, catalogue), *([outside] if outside else [])]
    reading = (*plain(lines), Paragraph(KEY, OF_DRAWINGS))
    yield Section(Heading("how to read this"), reading)
    for each in whole.reviewed:
        parts = finding_sections(catalogue, each.finding, each.verdicts, unit=shown.unit)
        yield Section(Heading(f"{_name(each)}: {subject_words(each.subject, whole.eggs)}"), parts=tuple(parts))
    yield Section(Heading("whom to ask"), plain([CLOSING]))
    cited = [line for each in whole.reviewed for line in source_lines(catalogue, each.verdicts)]
    if whole.facts is not None:
        named = {line.partition(":")[0] for line in cited}
        cited += [f"{key}: {words}" for key, words in facts_cited(whole.facts).items() if key not in named]
    last = [TEMPERATURES_OF] if TEMPERATURES_OF in cited else []
    yield Section(Heading("sources"), plain([*sorted(set(cited) - {TEMPERATURES_OF}), *last]))


def _answer(each: Reviewed, unit: str) -> str:
    """What the review comes to for one finding: how many of its published causes the record shows, and which; and of how many it cannot say."""
    asked = [verdict for verdict in each.verdicts if verdict.verdict != NOT_MEASURED and verdict.named]
    shows = [verdict for verdict in asked if verdict.verdict == SUPPORTED]
    unsure = [verdict for verdict in asked if verdict.verdict == CANNOT_SAY]
    of = f"of {len(asked)} published causes that can be asked"
    unnamed = [verdict.asked.words for verdict in each.verdicts if verdict.verdict == SUPPORTED and not verdict.named]
    also = f" Also, named by no source: {', '.join(unnamed)}." if unnamed else ""
    unlike = dict.fromkeys(verdict.causes[0].told(unit) for verdict in asked if verdict.verdict == UNLIKE)
    also += f" Within its target, but unlike your good batches: {'; '.join(unlike)}." if unlike else ""
    if unsure and len(unsure) == len(asked):
        return f"{_name(each)}: cannot say {of}: {_why(unsure)}.{also}"
    told = dict.fromkeys(verdict.causes[0].told(unit) for verdict in shows)
    which = f": {'; '.join(told)}" if shows else ""
    but = f". Of {len(unsure)} it cannot say: {_why(unsure)}" if unsure else ""
    return f"{_name(each)}: the record shows {len(shows) or 'none'} {of}{which}{but}.{also}"


def _why(unsure: Sequence[Verdict]) -> str:
    """What is missing, or why what is there says nothing; of what is not on record how much is."""
    shares = [v.figure.coverage for v in unsure if v.reason == COVERAGE and v.figure is not None]
    few = f" ({per_cent(max(shares))} at most)" if shares else ""
    reasons = dict.fromkeys(v.reason for v in unsure)
    return "; ".join(f"{WHY[reason]}{few if reason == COVERAGE else ''}" for reason in reasons)


def whole_text(whole: BatchReview, catalogue: Catalogue, shown: Shown, *, columns: int = WIDTH) -> str:
    """The reviews for people, so many columns wide."""
    return text.drawn(review_report(whole, catalogue, shown), columns=columns)


def brief_text(whole: BatchReview, catalogue: Catalogue, shown: Shown, *, columns: int = WIDTH) -> str:
    """The reviews in short, so many columns wide."""
    return text.drawn(brief_report(whole, catalogue, shown), columns=columns)


def whole_html(whole: BatchReview, catalogue: Catalogue, shown: Shown) -> str:
    """The same sentences as one HTML page, to read on a phone and to print, with a drawing for each figure."""
    return page.drawn(review_report(whole, catalogue, shown), _STYLE)


def whole_json(whole: BatchReview, catalogue: Catalogue) -> dict[str, object]:
    """The reviews as plain values, in the units of the record."""
    return {
        "batch": whole.batch,
        "profile": whole.profile,
        "eggs": whole.eggs,
        "set_at": utc_text(whole.set_at),
        "closed_at": None if whole.closed_at is None else utc_text(whole.closed_at),
        "egg": whole.egg,
        "found_in_others": _others(whole),
        "went_well": list(whole.good),
        "went_well_share": whole.good_share,
        "went_well_outside": [habit_json(habit) for habit in whole.habits],
        "facts": None if whole.facts is None else facts_json(whole.facts),
        "reviews": [
            to_json(catalogue, each.finding, subject_words(each.subject, whole.eggs), verdicts=each.verdicts)
            | {"eggs": list(each.subject.eggs), "count": each.subject.count, "written": each.written}
            for each in whole.reviewed
        ],
    }


def _name(each: Reviewed) -> str:
    return FINDING[each.finding].words


def _beside(whole: BatchReview, catalogue: Catalogue) -> str:
    went = f"{100.0 * whole.good_share:g} % or more of the fertile eggs hatched"
    if not whole.good:
        return f"No other batch of {whole.profile} that went well ({went}) is written to the end, so none stands beside it."
    few = "" if len(whole.good) >= catalogue.least_good else f"; fewer than {catalogue.least_good} set nothing apart"
    more = f" and {len(whole.good) - LISTED} more" if len(whole.good) > LISTED else ""
    return f"Beside it stand batches of {whole.profile} that went well ({went}): {', '.join(whole.good[:LISTED])}{more}{few}."


def _how(batch: str, *, listed: bool) -> Iterator[Paragraph]:
    yield Paragraph(
        "A review begins with what was seen, chosen from the trade's list, of eggs by number or of a count:"
    )
    yield Paragraph(f"eggroom egg finding {batch} 7 sticky-chick", INSET)
    yield Paragraph(f"eggroom egg finding {batch} --count 4 dead-unpipped", INSET)
    if not listed:
        yield Paragraph("The list: eggroom egg finding list")
        return
    yield Paragraph("The list:")
    yield from (Paragraph(f"{each.id:<21} {each.words}", INSET) for each in FINDINGS)


def subject_words(subject: Subject, of: int | None) -> str:
    """Whose finding it is: `egg 7`, `2 of 24 eggs (3 and 7)`, `4 of 24 eggs`, `the batch`. of: the batch's eggs, None where not recorded."""
    eggs, count = subject.eggs, subject.count
    total = len(eggs) + count
    if not total:
        return "the batch"
    if not count and len(eggs) == 1:
        return f"egg {eggs[0]}"
    shown = [str(e) for e in eggs[:LISTED]]
    more = f" and {len(eggs) - LISTED} more" if len(eggs) > LISTED else ""
    unnumbered = f"{count} without number" if count and eggs else ""
    named = ", ".join([*shown, *([unnumbered] if unnumbered else [])]) + more
    return f"{total}{'' if of is None else f' of {of}'} eggs" + (f" ({named})" if named else "")


def _others(whole: BatchReview) -> list[str]:
    return [f"{FINDING[id_].words} of {subject_words(subject, whole.eggs)}" for id_, subject in whole.others]
