"""What other rules would have made of a recording: both replayed, and what rang under the one set against what rang under the other.

An episode of the one is the same as an episode of the other when they are about the same subject and rule and stood at the same
time. Ringing is the first message of an episode. Messages are counted as one contact gets them: joined in a flood, and held back, by
the same parts as live, with a phone service that always works. What the recording has people answer is done to the same alarm
under both rules, however it is numbered there.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from monitor.domain.alarms.notice import Notice
from monitor.domain.needs.rules import PRIORITIES
from monitor.domain.wall import utc_text, wall_clock
from monitor.rehearse.replay import cut_off_words, replay
from monitor.rehearse.tape import Timeline
from monitor.rehearse.tried_rules import with_rules
from monitor.service.ports import Words
from monitor.service.watch.notify import pass_through, standard_stages
from monitor.service.watch.outbox import Queue
from monitor.settings import House
from monitor.shown.phone.joined import NoticeWords

OLD_ONLY, NEW_ONLY, BOTH = "old only", "new only", "both"
_DAY, _SECOND = timedelta(days=1), timedelta(seconds=1)
_LATEST = datetime.max.replace(tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class Episode:
    """One episode that rang. since: its condition's first sample; ended: None while it stood at the recording's end."""

    subject: str
    rule: str
    number: int
    since: datetime
    rang: datetime
    ended: datetime | None
    priority: str


@dataclass(frozen=True, slots=True)
class Pair:
    """An episode under the old rules, under the new, or both."""

    old: Episode | None
    new: Episode | None

    @property
    def either(self) -> Episode:
        """One of them, the old before the new."""
        one = self.old or self.new
        assert one is not None
        return one

    @property
    def rings(self) -> str:
        """Under which rules it rang."""
        if self.old is None:
            return NEW_ONLY
        return OLD_ONLY if self.new is None else BOTH

    @property
    def later_s(self) -> float:
        """How much later it rang under the new rules, in whole seconds; 0 where it rang under one of them only."""
        if self.old is None or self.new is None:
            return 0.0
        old, new = (e.rang.replace(microsecond=0) for e in (self.old, self.new))  # as they are shown
        return (new - old).total_seconds()


@dataclass(frozen=True, slots=True)
class Count:
    """What one set of rules came to. notices and messages are those of one contact; messages by priority."""

    alarms: Mapping[str, int]
    notices: int
    notices_a_day: float
    messages: Mapping[str, int]


@dataclass(frozen=True, slots=True)
class Preview:
    """A recording under two sets of rules. span: from its first line to its last. cut_off: the last line, where it is a part of one."""

    span: timedelta
    pairs: tuple[Pair, ...]
    old: Count
    new: Count
    cut_off: int | None = None


def preview(recording: Path, house: House, rules: Path, *, beside_others: bool = False) -> Preview:
    """Run the recording under the house's own rules and under those of the file. Raises ReplayError, SettingsError.

    beside_others: other recordings are played at the same time, and have the other cores.
    """
    other = with_rules(house, rules)
    if beside_others or _may_name_alarms(recording):
        old = replay(recording, house, delivered=True)
        new = replay(recording, other, delivered=True, answering=old)
    else:  # neither waits for the other, and there is a core for each
        with ProcessPoolExecutor(1) as pool:
            beside = pool.submit(replay, recording, other, delivered=True)
            old = replay(recording, house, delivered=True)
            new = beside.result()
    pairs = sorted(
        _pairs(episodes(old), episodes(new)), key=lambda p: (p.either.since, p.either.subject, p.either.rule)
    )
    words = NoticeWords(house.site)
    return Preview(old.span, tuple(pairs), _count(old, words), _count(new, words), old.cut_off)


def _may_name_alarms(recording: Path) -> bool:
    """Whether a request of the recording may name an alarm by its number: then one replay needs what the other has numbered."""
    try:
        with recording.open("rb") as file:
            return any(b'"alarm"' in text or b"\\u" in text for text in file)  # a key may be written with escapes
    except OSError:  # told when it is played
        return True


def episodes(timeline: Timeline) -> list[Episode]:
    """The episodes that rang, in the order in which they did."""
    rang: dict[int, Notice] = {}
    for notice in timeline.notices:
        if not notice.closing:
            rang.setdefault(notice.alarm_number, notice)
    last = {t.alarm.number: t.alarm for t in timeline.transitions}  # of each episode
    return [
        Episode(
            subject=a.subject,
            rule=a.rule,
            number=n,
            since=a.since or notice.created,
            rang=notice.created,
            ended=a.ended,
            priority=notice.priority,
        )
        for n, notice in rang.items()
        if (a := last.get(n)) is not None
    ]


def words(preview: Preview) -> str:
    """What would have been otherwise, in one line."""
    rings = Counter(p.rings for p in preview.pairs)
    later = [p.later_s for p in preview.pairs if p.later_s > 0]
    sooner = [-p.later_s for p in preview.pairs if p.later_s < 0]
    ranked = sum(p.old is not None and p.new is not None and p.old.priority != p.new.priority for p in preview.pairs)
    said = [
        f"{_alarms(rings[OLD_ONLY])} would not have rung" if rings[OLD_ONLY] else "",
        f"{rings[NEW_ONLY]} more would have rung" if rings[NEW_ONLY] else "",
        f"{len(later)} would have rung later by {_range(later)}" if later else "",
        f"{len(sooner)} sooner by {_range(sooner)}" if sooner else "",
        f"{ranked} with another priority" if ranked else "",
    ]
    if not preview.pairs:
        return "No alarm rings under either."
    if not any(said):
        return f"The same rings under both: {_alarms(rings[BOTH])}."
    return f"With the new rules {', '.join(s for s in said if s)}."


def text_lines(preview: Preview, house: House) -> Iterator[str]:
    """The comparison for a person, in the site's zone, within 80 columns."""
    zone = house.site.zone
    yield f"{'subject':<17} {'rule':<24} {'since':<11} {'old':<5} {'new':<5} rings"
    for pair in preview.pairs:
        one = pair.either
        at = [wall_clock(e.rang, zone) if e is not None else "-" for e in (pair.old, pair.new)]
        since = f"{one.since.astimezone(zone):%m-%d %H:%M}"
        yield f"{_cut(one.subject, 17):<17} {_cut(one.rule, 24):<24} {since:<11} {at[0]:<5} {at[1]:<5} {_rings(pair)}"
    yield ""
    old, new = preview.old, preview.new
    yield f"{'alarms that rang, by rule':<42} {'old':>8} {'new':>8}"
    for rule in sorted({*old.alarms, *new.alarms}):
        yield _row(f"  {rule}", old.alarms.get(rule, 0), new.alarms.get(rule, 0))
    yield _row("notices to each contact", old.notices, new.notices)
    yield f"{'  a day':<42} {old.notices_a_day:>8.1f} {new.notices_a_day:>8.1f}"
    yield _row("messages, joined where many came at once", sum(old.messages.values()), sum(new.messages.values()))
    for priority in reversed(PRIORITIES):
        if priority in old.messages or priority in new.messages:
            yield _row(f"  {priority}", old.messages.get(priority, 0), new.messages.get(priority, 0))
    yield ""
    yield f"Times are in {zone}; the recording spans {_span(preview.span.total_seconds())}."
    if preview.cut_off is not None:
        yield f"Its {cut_off_words(preview.cut_off)}."
    yield words(preview)


def as_json(preview: Preview) -> dict[str, object]:
    """The comparison as a plain mapping; times are UTC."""

    def side(episode: Episode | None) -> dict[str, object] | None:
        if episode is None:
            return None
        return {"rang": utc_text(episode.rang), "priority": episode.priority, "number": episode.number}

    def count(of: Count) -> dict[str, object]:
        messages = {p: of.messages.get(p, 0) for p in PRIORITIES}
        return {
            "alarms": dict(of.alarms),
            "notices": of.notices,
            "notices_a_day": round(of.notices_a_day, 2),
            "messages": messages,
        }

    return {
        "span_s": preview.span.total_seconds(),
        "episodes": [
            {
                "subject": p.either.subject,
                "rule": p.either.rule,
                "since": utc_text(p.either.since),
                "rings": p.rings,
                "later_s": p.later_s,
                "old": side(p.old),
                "new": side(p.new),
            }
            for p in preview.pairs
        ],
        "old": count(preview.old),
        "new": count(preview.new),
        "words": words(preview),
    } | ({} if preview.cut_off is None else {"cut_off": preview.cut_off})


def _pairs(old: Sequence[Episode], new: Sequence[Episode]) -> list[Pair]:
    """Each episode of the one with the first of the other, not yet taken, that stood at the same time."""
    left = list(new)
    pairs = []
    for episode in old:
        same = next((other for other in left if _same(episode, other)), None)
        if same is not None:
            left.remove(same)
        pairs.append(Pair(episode, same))
    return pairs + [Pair(None, other) for other in left]


def _same(one: Episode, other: Episode) -> bool:
    if (one.subject, one.rule) != (other.subject, other.rule):
        return False
    return one.since <= (other.ended or _LATEST) and other.since <= (one.ended or _LATEST)


def _count(timeline: Timeline, words: Words) -> Count:
    told = [n for n in timeline.notices if n.contact == timeline.notices[0].contact]
    days = max(timeline.span, _SECOND) / _DAY
    alarms = Counter(e.rule for e in episodes(timeline))
    return Count(dict(alarms), len(told), len(told) / days, Counter(m.priority for m in messages(told, words)))


def messages(notices: Sequence[Notice], words: Words) -> list[Notice]:
    """The messages that one contact's notices become, in order; each notice arrives when it was created."""
    queue, stages = Queue(lambda wait_s: 0.0), standard_stages(words)
    sent: list[tuple[float, Notice]] = []
    coming = sorted(notices, key=lambda n: (n.created, n.id))
    while coming or len(queue):
        dues = [
            due_s for due_s in (queue.due_s(), coming[0].created.timestamp() if coming else None) if due_s is not None
        ]
        now_s = max(min(dues), sent[-1][0] if sent else float("-inf"))
        while coming and coming[0].created.timestamp() <= now_s:
            queue.offer(coming.pop(0), now_s)
        batch = queue.next_due(now_s)
        if batch:
            message = pass_through(stages, batch, queue.told())[0]
            queue.sent(message.ids, now_s)
            sent.append((now_s, message.notice))
    return [notice for _, notice in sent]


def _rings(pair: Pair) -> str:
    if pair.old is None or pair.new is None:
        return pair.rings
    said = []
    if pair.later_s:
        said.append(f"{_span(abs(pair.later_s))} {'later' if pair.later_s > 0 else 'sooner'}")
    if pair.old.priority != pair.new.priority:
        said.append(f"now {pair.new.priority}")
    return ", ".join(said) or "both"


def _alarms(count: int) -> str:
    return f"{count} alarm" if count == 1 else f"{count} alarms"


def _range(spans_s: Sequence[float]) -> str:
    low, high = _span(min(spans_s)), _span(max(spans_s))
    return low if low == high else f"{low} to {high}"


def _span(span_s: float) -> str:
    if span_s < 120:
        return f"{span_s:.0f} s"
    if span_s < 120 * 60:
        return f"{span_s / 60:.0f} min"
    return f"{span_s / 3600:.1f} h" if span_s < 48 * 3600 else f"{span_s / 86_400:.1f} d"


def _row(name: str, old: int, new: int) -> str:
    return f"{name:<42} {old:>8} {new:>8}"


def _cut(text: str, length: int) -> str:
    return text if len(text) <= length else f"{text[: length - 1]}…"
