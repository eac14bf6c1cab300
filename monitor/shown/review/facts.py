"""What the record shows of a batch's eggs, whatever any source names: in words, first of all in a review, and as values. Nothing is judged
here, and no cause is named."""

from __future__ import annotations

import statistics
from collections.abc import Iterator, Sequence

from monitor.analysis.history.figures import Figures
from monitor.analysis.review.beyond import Beyond
from monitor.analysis.review.facts import EndOf, Facts, Lost, Pauses, Rang
from monitor.domain.eggs.entry import Dead, Removed, Split
from monitor.domain.needs.bands import DRY_BULB, RH
from monitor.domain.needs.batch import whole_day
from monitor.domain.needs.rules import LOW, PRIORITIES
from monitor.domain.published.exposure import ABOVE, BELOW, CONTRADICTS, SOURCES, Match
from monitor.domain.readings.reading import to_ms
from monitor.domain.wall import printable, utc_text
from monitor.shown.entries import eggs_words
from monitor.shown.form import Shown, capital, duration
from monitor.shown.history.exposures import match_words
from monitor.shown.history.report import doubt_words
from monitor.shown.report.tree import INSET, Block, Heading, Paragraph, Section
from monitor.shown.review.beyond import LIMIT, beyond_json, beyond_words, exposure_words
from monitor.shown.values import per_cent, show_figure

NAMES = {ABOVE: "heat", BELOW: "cold"}
MOST_PUBLISHED, MOST_RANG = 3, 5  # told in short, of each side, and of all alarms
SAYS = "Other people's eggs: nothing is concluded from them about these."


def facts_section(facts: Facts, shown: Shown, *, short: bool) -> Section:
    """All of it. short: with the nearest published exposures and the most urgent alarms alone."""
    head = Heading("what the record shows of these eggs", ", whatever any source names")
    return Section(head, tuple(_blocks(facts, shown, short=short)))


def answer_words(facts: Facts, shown: Shown) -> Iterator[str]:
    """The first lines: what went beyond the alarm limits, and whether as much is published to have done harm."""
    for beyond in facts.met:
        told = f"{capital(NAMES[beyond.side])}: {beyond_words(beyond, shown.unit, LIMIT)}"
        nearest = beyond.nearest_harm
        if beyond.reach >= 1.0 and nearest is not None:
            yield f"{told}; as much, or less, did harm elsewhere: {exposure_words(nearest, shown.unit)}."
        elif beyond.reach >= 1.0 / 2.0 and nearest is not None:
            yield f"{told}; half or more of what did harm elsewhere: {exposure_words(nearest, shown.unit)}."
        else:
            yield f"{told}; under half of every dose that is published to have done harm."
    if not facts.met:
        share = per_cent(facts.warm.coverage)
        yield f"Never beyond an alarm limit of temperature in the {share} of the time that is on record."


def _blocks(facts: Facts, shown: Shown, *, short: bool) -> Iterator[Block]:
    yield Paragraph(f"ended: {'; '.join(map(_end_words, facts.ended)) or 'nothing is written'}")
    for beyond in facts.beyond:
        limits = " and ".join(show_figure(DRY_BULB, c, shown.unit) for c in beyond.dose.limits_c)
        plural = "s" if len(beyond.dose.limits_c) > 1 else ""
        yield Paragraph(
            f"{NAMES[beyond.side]} beyond the alarm limit{plural}, {limits}: {beyond_words(beyond, shown.unit)}{_area(beyond, shown)}"
        )
        told = _nearest(beyond.dose.published) if short else beyond.dose.published
        yield from (Paragraph(match_words(match, shown.unit, "Here"), INSET) for match in told)
        if told and beyond is [each for each in facts.beyond if each.hours][-1]:
            yield Paragraph(SAYS, INSET)
    yield from _alarms(facts, shown, short=short)
    yield Paragraph(f"on record: {_covered(facts)}")
    for quantity, figures in ((DRY_BULB, facts.warm), (RH, facts.humid)):
        if figures.doubt.hours:
            yield Paragraph(f"doubtful: {doubt_words(quantity, figures.doubt, shown)}")
    yield Paragraph(
        f"loss of water to pip: {_lost_words(facts.lost) if facts.lost is not None else 'not known' if facts.weighed else 'not weighed'}"
    )
    yield Paragraph(f"days in store: {_range(facts.stored_days, '') or 'not written'}")
    yield Paragraph(f"turned: {'not counted' if facts.turned is None else turned_words(facts.turned)}")


def _area(beyond: Beyond, shown: Shown) -> str:
    if not beyond.hours:
        return ""
    stays = beyond.dose.stays
    return f", {shown.area(DRY_BULB, beyond.dose.dose.degree_h)} in {f'{stays} stays' if stays > 1 else '1 stay'}"


def _nearest(published: Sequence[Match]) -> Sequence[Match]:
    """The first of what is published, of eggs as old as these before others, and one that says otherwise."""
    agree = [m for m in published if m.standing != CONTRADICTS]
    agree = sorted(agree, key=lambda m: not m.as_old)[: MOST_PUBLISHED - 1]
    others = [m for m in published if m.standing == CONTRADICTS]
    return [*agree, *others[: MOST_PUBLISHED - len(agree)]]


def _end_words(end: EndOf) -> str:
    fact, first, last = end.fact, whole_day(end.first_day), whole_day(end.last_day)
    day = f"day {first}" if first == last else f"days {first} to {last}"
    if isinstance(fact, Dead):
        return f"{end.eggs} dead ({fact.stage}), written on {day}"
    if isinstance(fact, Removed):
        return f"{end.eggs} taken out ({fact.why}), {day}"
    return (
        f"{end.eggs} went on as batch {fact.into}, {day}" if isinstance(fact, Split) else f"{end.eggs} hatched, {day}"
    )


def _alarms(facts: Facts, shown: Shown, *, short: bool) -> Iterator[Block]:
    rang = sorted(facts.rang, key=lambda each: (-_urgency(each), each.since))
    if not rang:
        yield Paragraph("alarms in their life: none")
        return
    unseen = sum(each.answered is None for each in rang)
    nobody = f", {unseen} of them answered by nobody" if unseen else ""
    yield Paragraph(f"alarms in their life: {len(rang)}{nobody}")
    told = [each for each in rang if _urgency(each) > PRIORITIES.index(LOW)][:MOST_RANG] if short else rang
    yield from (Paragraph(_rang_words(each, facts, shown), INSET) for each in told)
    if len(told) < len(rang):
        yield Paragraph(f"and {len(rang) - len(told)} more", INSET)


def _urgency(each: Rang) -> int:
    return PRIORITIES.index(each.priority) if each.priority in PRIORITIES else -1


def _rang_words(each: Rang, facts: Facts, shown: Shown) -> str:
    day = whole_day(max(facts.day(to_ms(each.since)), 0.0))
    lasted = "still standing" if each.until is None else f"for {duration((each.until - each.since).total_seconds())}"
    who = "answered by nobody"
    if each.answered is not None:
        name, at = each.answered
        after = duration(max(0.0, (at - each.since).total_seconds()))
        who = f"answered by {printable(name)} after {after}"
    return f"day {day}, No. {each.number} {printable(each.subject)}: {each.words or each.rule}, {lasted}, {who}"


def _covered(facts: Facts) -> str:
    told = {
        name: f"{per_cent(figures.coverage)} of the time{_gaps(figures, facts)}"
        for name, figures in (("temperature", facts.warm), ("humidity", facts.humid))
    }
    if len(set(told.values())) == 1:
        return f"temperature and humidity {told['temperature']}"
    return "; ".join(f"{name} {words}" for name, words in told.items())


def _gaps(figures: Figures, facts: Facts) -> str:
    gap = figures.longest_gap
    if gap is None:
        return ""
    many = f"{len(figures.gaps)} gaps, the longest" if len(figures.gaps) > 1 else "a gap of"
    return f", {many} {duration(gap.seconds)} on day {whole_day(max(facts.day(gap.since_ms), 0.0))}"


def _lost_words(lost: Lost) -> str:
    of = "eggs weighed together" if lost.by_tray else f"{eggs_words(len(lost.values_pct))} weighed"
    pace = f" ({lost.at_pace} of them dead before pip, at the pace until then)" if lost.at_pace else ""
    words = f"{_range(lost.values_pct, ' %')}, {of}{pace}"
    if lost.band is None:
        return f"{words}; no target is known"
    low, high = lost.band
    below, above = sum(v < low for v in lost.values_pct), sum(v > high for v in lost.values_pct)
    where = [f"{below} below it"] * bool(below) + [f"{above} above it"] * bool(above)
    beside = "" if lost.by_tray or len(lost.values_pct) == 1 else f", {' and '.join(where) or 'none beyond it'}"
    return f"{words}; target {low:g} to {high:g} %{beside}"


def turned_words(turned: Pauses) -> str:
    """`every 3.0 h on average up to lockdown, the longest time without a turn 9.0 h`; of a part of that time which."""
    share = f", counted in {per_cent(turned.counted)} of that time" if turned.counted < 1.0 else ""
    return f"every {turned.mean_h:.1f} h on average up to lockdown, the longest time without a turn {turned.longest_h:.1f} h{share}"


def _range(values: Sequence[float], unit: str) -> str:
    if not values:
        return ""
    if max(values) - min(values) < 0.05:
        return f"{values[0]:.1f}{unit}"
    return f"{min(values):.1f} to {max(values):.1f}{unit}, middle {statistics.median(values):.1f}{unit}"


def cited(facts: Facts) -> dict[str, str]:
    """Full citation by key of every source that is named."""
    return {m.exposure.source: SOURCES[m.exposure.source] for beyond in facts.met for m in beyond.dose.published}


def facts_json(facts: Facts) -> dict[str, object]:
    """The same as plain values, in the units of the record."""
    return {
        "ended": [
            {
                "what": end.fact.kind,
                "detail": getattr(end.fact, "stage", getattr(end.fact, "why", getattr(end.fact, "into", None))),
                "eggs": end.eggs,
                "first_day": round(end.first_day, 3),
                "last_day": round(end.last_day, 3),
            }
            for end in facts.ended
        ],
        "beyond": [beyond_json(each) for each in facts.beyond],
        "alarms": [
            {
                "number": each.number,
                "subject": each.subject,
                "rule": each.rule,
                "since": utc_text(each.since),
                "day": round(facts.day(to_ms(each.since)), 3),
                "until": None if each.until is None else utc_text(each.until),
                "answered_by": None if each.answered is None else each.answered[0],
                "answered_at": None if each.answered is None else utc_text(each.answered[1]),
            }
            for each in facts.rang
        ],
        "on_record": {name: _covered_json(f) for name, f in (("dry_bulb_c", facts.warm), ("rh_pct", facts.humid))},
        "loss": None
        if facts.lost is None
        else {
            "to_pip_pct": [round(v, 3) for v in facts.lost.values_pct],
            "at_pace": facts.lost.at_pace,
            "by_tray": facts.lost.by_tray,
            "target_pct": None if facts.lost.band is None else list(facts.lost.band),
        },
        "stored_days": [round(v, 3) for v in facts.stored_days],
        "turned": None
        if facts.turned is None
        else {
            "mean_h": round(facts.turned.mean_h, 3),
            "longest_h": round(facts.turned.longest_h, 3),
            "counted": round(facts.turned.counted, 4),
        },
    }


def _covered_json(figures: Figures) -> dict[str, object]:
    return {
        "coverage": round(figures.coverage, 4),
        "gaps": len(figures.gaps),
        "longest_gap_s": round(figures.longest_gap_s, 1),
        "doubtful_hours": round(figures.doubt.hours, 4),
        "doubtful_by": dict(figures.doubt.by),
        "doubtful_low": figures.doubt.low,
        "doubtful_high": figures.doubt.high,
    }
