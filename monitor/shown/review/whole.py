"""All the reviews of one batch together: what was found, then finding by finding; as text, as plain values, and in sections for a page.

What is said once for all of them stands once: what supported means, which batches stand beside, the sources.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from monitor.analysis.review.judged import NOT_MEASURED, VERDICTS, Verdict
from monitor.analysis.review.whole import BatchReview, Reviewed
from monitor.domain.eggs.words import eggs_words
from monitor.domain.published.causes import Catalogue
from monitor.domain.published.findings import FINDING, FINDINGS
from monitor.domain.wall import filled
from monitor.shown.form import Shown
from monitor.shown.plain import utc
from monitor.shown.review.finding import (
    CLOSING,
    HEADS,
    PREAMBLE,
    TEMPERATURES_OF,
    source_lines,
    to_json,
    told_lines,
    unseen_lines,
)

TITLE, PART, HEAD = 1, 2, 3  # levels of a section's heading
READING = "How to read this"


@dataclass(frozen=True, slots=True)
class Section:
    """A heading of some level, and lines; a line that is set in belongs to the one before. verdicts: those that the lines tell, in order."""

    level: int
    head: str
    lines: tuple[str, ...] = ()
    verdicts: tuple[Verdict, ...] = ()


def sections(whole: BatchReview, catalogue: Catalogue, shown: Shown) -> Iterator[Section]:
    """Everything there is to say, in order."""
    eggs = eggs_words(whole.eggs) if whole.eggs is not None else "eggs not recorded"
    closed = "still open" if whole.closed_at is None else f"closed {shown.time(whole.closed_at)}"
    about = f"profile {whole.profile}, {eggs}, set {shown.time(whole.set_at)}, {closed}"
    yield Section(TITLE, f"Review of batch {whole.batch}", (about,))
    if not whole.reviewed:
        about = "" if whole.egg is None else f" about egg {whole.egg}"
        others = (f"Written about the batch: {'; '.join(whole.others)}.",) if whole.others else ()
        yield Section(PART, f"Nothing found is written{about}", (*others, *_how(whole.batch)))
        return
    found = [
        f"{_name(each)}: {each.subject}{'' if each.written else ' (asked about, not written)'}"
        for each in whole.reviewed
    ]
    yield Section(PART, "Found", tuple(found))
    yield Section(PART, READING, (PREAMBLE, _beside(whole, catalogue)))
    for each in whole.reviewed:
        yield Section(PART, f"{_name(each)}: {each.subject}")
        for name in VERDICTS:
            told = [v for v in each.verdicts if v.verdict == name]
            head = HEADS[name] if told else f"{HEADS[name].split(':')[0]}: none of the published causes"
            lines = [
                line
                for v in told
                for line in (unseen_lines(v, shown.unit) if name == NOT_MEASURED else told_lines(v, shown.unit))
            ]
            yield Section(HEAD, head, tuple(line.removeprefix("  ") for line in lines), tuple(told))
        yield Section(HEAD, "CAUTION", (catalogue.findings[each.finding].caution,))
    yield Section(PART, "Whom to ask", (CLOSING,))
    cited = [line for each in whole.reviewed for line in source_lines(catalogue, each.verdicts)]
    last = [TEMPERATURES_OF] if TEMPERATURES_OF in cited else []
    yield Section(PART, "Sources", (*sorted(set(cited) - {TEMPERATURES_OF}), *last))


def whole_text(whole: BatchReview, catalogue: Catalogue, shown: Shown) -> str:
    """The reviews for people, at most 80 columns."""
    lines: list[str] = []
    for section in sections(whole, catalogue, shown):
        head = section.head.upper() if section.level == PART else section.head
        lines += ["", head] if lines else [head]
        inset = "" if section.level == TITLE else "  "
        lines += [inset + line for line in section.lines]
    return "\n".join(filled(line) for line in lines) + "\n"


def whole_json(whole: BatchReview, catalogue: Catalogue) -> dict[str, object]:
    """The reviews as plain values, in the units of the record."""
    return {
        "batch": whole.batch,
        "profile": whole.profile,
        "eggs": whole.eggs,
        "set_at": utc(whole.set_at),
        "closed_at": None if whole.closed_at is None else utc(whole.closed_at),
        "egg": whole.egg,
        "found_in_others": list(whole.others),
        "went_well": list(whole.good),
        "went_well_share": whole.good_share,
        "reviews": [
            to_json(catalogue, each.finding, each.subject, each.verdicts)
            | {"eggs": list(each.eggs), "count": each.count, "written": each.written}
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
    return f"Beside it stand batches of {whole.profile} that went well ({went}): {', '.join(whole.good)}{few}."


def _how(batch: str) -> Iterator[str]:
    yield "A review begins with what was seen, chosen from the trade's list, of eggs by number or of a count:"
    yield f"  eggroom egg finding {batch} 7 sticky-chick"
    yield f"  eggroom egg finding {batch} --count 4 dead-unpipped"
    yield "The list:"
    for each in FINDINGS:
        yield f"  {each.id:<21} {each.words}"
