"""How often the review is right about an invented season: `python -m tests.planted --recorded SEASONS`.

Each season is written into a record and played through the review as `eggroom review` does it. Counted are the batches whose planted
cause is first and supported under the finding that tells of it, by check, direction and window (an alike one, of another window, apart).
Innocent is each cause that a sensor sees, under what was found in any batch, whose figure the faults left as it was: the same season
is made without them, and its figures are laid beside. Where nothing was planted, every cause is innocent; one such batch of each season
is asked every question there is, whether or not such a thing was found in it.
"""

from __future__ import annotations

import contextlib
import tempfile
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from monitor.adapters.tables.causes import shipped_causes
from monitor.analysis.review.judged import SUPPORTED, Verdict
from monitor.app import open_history, store_path
from monitor.domain.published.causes import HUMIDITY, LOSS
from monitor.domain.readings.reading import from_ms
from monitor.rehearse.season import PLACES, Season, drawn
from monitor.rehearse.season_demo import configuration, fill, house_of
from monitor.rehearse.season_faults import Fault
from monitor.service.across.review import batch_review
from monitor.service.ports import ReviewRecord
from monitor.settings import House

CATALOGUE = shipped_causes()
NOW = from_ms(1_780_000_000_000)  # long after the season's end
FIRST = 5000  # seed; lower ones were looked at while this was written
LIGHT_S = 900.0  # a reading each quarter of an hour
LEFT_ALONE = 0.1  # of the exposure that supports a cause: moved by less, the fault left it as it was

Question = tuple[str, str, str]


@dataclass
class Tally:
    """What came of the seasons, by the words of what was planted; findings: all that were written of it; innocent questions and how many were called supported;
    batches, and those of them in which any innocent cause was."""

    planted: Counter[str] = field(default_factory=Counter)
    supported: Counter[str] = field(default_factory=Counter)
    first: Counter[str] = field(default_factory=Counter)
    alike: Counter[str] = field(default_factory=Counter)
    findings: Counter[str] = field(default_factory=Counter)
    findings_first: Counter[str] = field(default_factory=Counter)
    innocent: Counter[Question] = field(default_factory=Counter)
    wrongly: Counter[Question] = field(default_factory=Counter)
    batches: int = 0
    batches_wrong: int = 0

    @property
    def first_share(self) -> float:
        """Of the batches that went wrong, those whose planted cause came out first."""
        return self.first.total() / self.planted.total()

    @property
    def wrong_share(self) -> float:
        """Of the innocent questions, those that were called supported."""
        return self.wrongly.total() / self.innocent.total()


@contextlib.contextmanager
def written(seed: int, planted: bool, step_s: float = LIGHT_S) -> Iterator[tuple[House, ReviewRecord]]:
    """The season in a record of its own."""
    with tempfile.TemporaryDirectory() as name:
        house = house_of(configuration(seed, step_s), Path(name))
        store_path(house).parent.mkdir()
        fill(house, seed, planted=planted, step_s=step_s)
        with contextlib.closing(open_history(house)) as history:
            yield house, history


def play(seed: int, tally: Tally) -> None:
    """One season into the tally."""
    season = drawn(seed)
    with written(seed, True) as (house, marred), written(seed, False) as (_, clean):
        for batch in marred.batches():
            reviews = list(batch_review(marred, house.site, batch, now=NOW, catalogue=CATALOGUE).reviewed)
            before: dict[tuple[str, Question], float | None] = {}
            if (fault := season.faults.get(batch.id)) is not None:
                twin = next(b for b in clean.batches() if b.id == batch.id)
                for each in reviews:
                    beside = batch_review(
                        clean, house.site, twin, now=NOW, catalogue=CATALOGUE, finding=each.finding
                    ).reviewed[0]
                    before |= {(each.finding, question(v)): v.exposure for v in beside.verdicts}
                for each in reviews:
                    tally.findings[fault.words] += 1
                    tally.findings_first[fault.words] += right(fault, each.verdicts[0])
                judge(fault, next(r for r in reviews if r.finding == fault.findings[0]).verdicts, tally)
            elif batch.id == _asked_all(season):
                for finding in EVERY_QUESTION:
                    reviews += batch_review(
                        marred, house.site, batch, now=NOW, catalogue=CATALOGUE, finding=finding
                    ).reviewed
            asked: set[Question] = set()
            wrong_before = tally.wrongly.total()
            for each in reviews:
                for verdict in each.verdicts:
                    key = question(verdict)
                    if verdict.check is None or key in asked:
                        continue
                    if fault is None or _left_alone(verdict, before[each.finding, key]):
                        asked.add(key)
                        tally.innocent[key] += 1
                        tally.wrongly[key] += verdict.verdict == SUPPORTED
            tally.batches += 1
            tally.batches_wrong += tally.wrongly.total() > wrong_before


def _asked_all(season: Season) -> str:
    """The batch that is asked every question there is: one of the last three that nothing was planted in."""
    return [name for name, *_ in PLACES if name not in season.faults][-1 - season.seed % 3]


def question(verdict: Verdict) -> Question:
    """What a verdict is about."""
    return verdict.first.variable, verdict.first.direction, verdict.first.window


def _left_alone(verdict: Verdict, before: float | None) -> bool:
    return verdict.exposure is not None and before is not None and abs(verdict.exposure - before) < LEFT_ALONE


def judge(fault: Fault, verdicts: Sequence[Verdict], tally: Tally) -> None:
    """One batch that went wrong into the tally, by what the review says in its order."""
    tally.planted[fault.words] += 1
    tally.supported[fault.words] += any(right(fault, v) for v in verdicts)
    tally.first[fault.words] += right(fault, verdicts[0])
    tally.alike[fault.words] += alike(fault, verdicts[0])


def alike(fault: Fault, verdict: Verdict) -> bool:
    """Whether it is supported and speaks of the same, though of another window or dose."""
    return verdict.verdict == SUPPORTED and any(
        (check, direction) == (fault.check, fault.direction) for check, direction, _ in _asked(verdict)
    )


def right(fault: Fault, verdict: Verdict) -> bool:
    """Whether it is the planted cause, and supported."""
    return verdict.verdict == SUPPORTED and (fault.check, fault.direction, fault.window) in _asked(verdict)


def _asked(verdict: Verdict) -> set[Question]:
    """What decided, and, of eggs that were weighed, the humidity beside the loss that it made."""
    beside = [way for way in verdict.beside if verdict.asked.check == LOSS and way.asked.check == HUMIDITY]
    return {(way.asked.check, way.asked.direction, way.asked.window) for way in (verdict, *beside)}


def _every_question() -> tuple[str, ...]:
    """A few findings whose causes ask every question that any of the causes asks."""
    of = {f.id: {(c.variable, c.direction, c.window) for c in f.causes if c.check} for f in CATALOGUE.findings.values()}
    left, chosen = set().union(*of.values()), []
    while left:
        chosen.append(max(of, key=lambda id_: len(of[id_] & left)))
        left -= of[chosen[-1]]
    return tuple(chosen)


EVERY_QUESTION = _every_question()


def tell(count: int) -> None:
    """Of so many seasons a line for each fault, then the two shares."""
    tally = Tally()
    for seed in range(FIRST, FIRST + count):
        play(seed, tally)
    print(f"{count} seasons of {len(PLACES)} batches, two of them gone wrong")
    print(f"{'planted':52}{'batches':>8}{'supported':>10}{'first':>7}{'alike':>7}")
    for words, planted in sorted(tally.planted.items()):
        print(f"{words:52}{planted:8}{tally.supported[words]:10}{tally.first[words]:7}{tally.alike[words]:7}")
    batches = tally.planted.total()
    for name, counted in (("supported", tally.supported), ("first", tally.first), ("first, or alike", tally.alike)):
        print(f"planted cause {name}: {counted.total()} of {batches}, {100.0 * counted.total() / batches:.1f} %")
    of, first = tally.findings.total(), tally.findings_first.total()
    print(f"planted cause first under any finding written of it: {first} of {of}, {100.0 * first / of:.1f} %")
    asked, wrong = tally.innocent.total(), tally.wrongly.total()
    print(f"innocent cause called supported: {wrong} of {asked}, {100.0 * wrong / asked:.2f} %")
    print(
        f"batches in which any was: {tally.batches_wrong} of {tally.batches}, {100.0 * tally.batches_wrong / tally.batches:.1f} %"
    )
    for key, count in sorted(tally.innocent.items(), key=lambda item: -tally.wrongly[item[0]] / item[1])[:8]:
        print(f"    {' '.join(key):40}{tally.wrongly[key]:6} of {count}")
