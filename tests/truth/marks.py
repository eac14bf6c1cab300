"""What one life came to: plain values, from what was told and what was true.

A *word* is the first notice of an episode. It counts for the phone from when the phone has it; what is low waits for the day's summary, and is
counted as a word even where it was over before that. A *waking* word is of high or critical priority.

Whether a word is true is asked of the truth alone: air beyond that limit where a probe hangs, within a quarter of an hour; a forecast
whose limit is passed within FORECAST_S; sensors that disagree where one is off or the air stands in layers; silence where something was
silent. So a hot word of a probe that is off is the wrong cause, however hot it reads.
"""

from __future__ import annotations

import math
import re
import tempfile
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from monitor.domain.needs.rules import ABOVE, DISAGREE, DRY_BULB, EGG, HANDLING_OVER, HUMIDITY, LOW, Rule
from tests.truth.ear import Rung, ear_of
from tests.truth.families import (
    ANSWERED,
    DAMP_WORDS,
    DRY_WORDS,
    FAMILIES,
    FAULT,
    FOLLOWED_S,
    LINKS,
    SENSOR_WORDS,
    Story,
    drawn,
)
from tests.truth.faults import HOUR_S, MINUTE_S
from tests.truth.judges import Told
from tests.truth.lives import World
from tests.truth.machines import beyond
from tests.truth.scenarios import by_night
from tests.truth.score import URGENT
from tests.truth.world import rules

FORECAST_S = 3.0 * HOUR_S  # a forecast looks two hours ahead, and says "or more"
FORESEEN_S = 600.0  # at least so long before the limit
NEAR_S, NEAR_K = 900.0, 0.3
SENSOR_RH_PCT, SENSOR_WET_K = 1.8, 0.3  # a humidity sensor's own error: nobody has to be told within it
APART_K = 0.5
CALM_OUT_S = 60.0  # so long may a machine without fault have been out of place


@dataclass(frozen=True, slots=True)
class Forecast:
    """A word that a limit lies ahead, and whether it was passed."""

    rule: str
    priority: str
    came_true: bool


@dataclass(slots=True)
class Lived:
    """One life before one judge. days: that count; share: of the time to harm, when a waking word came (inf: not before harm; None: no harm).

    words: by priority and rule. found_s: for each thing that had to be told, how late it was (inf: never). rung: messages by priority and
    'day' or 'night', after the onset; overs: those of them that say by night that something is over; crossed: whether heat that came slowly passed its limit, and foreseen: whether that was foretold.
    right: whether the first waking word had the right cause; None where none was needed and none came. both: one machine was called hot and cold within the hour.
    """

    judge: str
    family: str
    seed: int
    group: str
    text: str
    days: float
    fit: bool
    why: str = ""
    harm: str = ""
    share: float | None = None
    wake_s: float | None = None
    first_s: float | None = None
    words: Counter[tuple[str, str]] = field(default_factory=Counter)
    found_s: list[float] = field(default_factory=list)
    rung: Counter[tuple[str, str]] = field(default_factory=Counter)
    overs: int = 0
    forecasts: list[Forecast] = field(default_factory=list)
    crossed: bool = False
    foreseen: bool = False
    right: bool | None = None
    both: bool = False
    first_word: str = ""
    refused: list[str] = field(default_factory=list)

    @property
    def messages(self) -> int:
        """All that rang after the onset."""
        return sum(self.rung.values())

    def count(self, *priorities: str) -> int:
        """Words of those priorities."""
        return sum(n for (priority, _), n in self.words.items() if priority in priorities)


def lived(family: str, seed: int, judge: str) -> Lived:
    """Play it, and mark it. Raises Unfit."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) if family == "cut with the daemon" else None
        story = drawn(family, seed, ear_of(judge, folder))
        story.world.live()
        return marked(story, judge)


def words_of(world: World) -> list[tuple[Told, float | None]]:
    """The first notice of each episode, and when the phone had it."""
    seen: set[int] = set()
    first = []
    for told, rang_s in zip(world.ear.said, world.ear.rang_s, strict=True):
        if told.rule and not told.closing and told.number not in seen:  # a day's summary is none
            seen.add(told.number)
            first.append((told, rang_s))
    return first


def waking_of(world: World) -> list[tuple[Told, float | None]]:
    """The first notice of each episode that wakes, and when the phone had it: what was mild at first, and became urgent, is among them."""
    seen: set[int] = set()
    first = []
    for told, rang_s in zip(world.ear.said, world.ear.rang_s, strict=True):
        if told.rule and not told.closing and told.priority in URGENT and told.number not in seen:
            seen.add(told.number)
            first.append((told, rang_s))
    return first


def marked(story: Story, judge: str) -> Lived:
    """The marks of a life that was lived."""
    world, family = story.world, FAMILIES[story.family]
    out = Lived(
        judge, story.family, story.seed, family.group, story.text, (world.lasts_s - world.onset_s) / 86_400.0, True
    )
    out.refused = world.refused
    if world.calm is not None:
        out.fit, out.why = world.calm.out_s <= CALM_OUT_S, world.calm.worst
        out.days = world.lasts_s / 86_400.0
    words = [(t, rang_s) for t, rang_s in words_of(world) if t.at_s >= world.onset_s]
    out.words = Counter((t.priority, t.rule) for t, _ in words)
    out.forecasts = [f for t, _ in words if (f := _forecast(world, t)) is not None and family.group != ANSWERED]
    out.both = _hot_and_cold(words)
    out.first_s = words[0][0].at_s - world.onset_s if words else None
    end_s = world.onset_s + FOLLOWED_S if family.group in (FAULT, ANSWERED) else math.inf
    for rung in world.ear.rung:
        if world.onset_s <= rung.at_s <= end_s:
            when = "night" if night(world, rung.at_s) else "day"
            out.rung[rung.priority, when] += 1
            out.overs += rung.over and when == "night"
    if family.group in (FAULT, ANSWERED):
        _mark_fault(out, story, words)
    return out


def _hot_and_cold(words: Sequence[tuple[Told, float | None]]) -> bool:
    hot = [t for t, _ in words if t.rule.startswith("dry-bulb-high") or t.rule == "dry-bulb-lethal"]
    cold = [t for t, _ in words if t.rule.startswith("dry-bulb-low")]
    return any(h.subject == c.subject and abs(h.at_s - c.at_s) <= HOUR_S for h in hot for c in cold)


def night(world: World, at_s: float) -> bool:
    """Whether people sleep."""
    return by_night(world.begin_s + at_s)


def _mark_fault(out: Lived, story: Story, words: Sequence[tuple[Told, float | None]]) -> None:
    world, family = story.world, FAMILIES[story.family]
    waking = [(t, rang_s) for t, rang_s in waking_of(world) if t.at_s >= world.onset_s and rang_s is not None]
    crossed_s = _crossed_s(world)
    base_s = world.onset_s
    if family.slow and world.trail.left_s is not None:
        base_s = world.trail.left_s
    if waking:
        out.wake_s = max(0.0, (waking[0][1] or 0.0) - base_s)
        out.first_word = f"{waking[0][0].rule} of {waking[0][0].subject}"
    if world.limits.harm_s is not None and world.limits.harm_s > world.onset_s:
        harm_s = world.limits.harm_s
        out.harm = world.limits.why
        rang_s = next((r for _, r in waking if r is not None and r < harm_s), None)
        left_s = harm_s - base_s
        out.share = math.inf if rang_s is None or left_s <= 0.0 else max(0.0, rang_s - base_s) / left_s
    if family.slow and crossed_s is not None:
        out.crossed = True
        out.foreseen = any(
            rules()[t.rule].foretells and r is not None and r <= crossed_s - FORESEEN_S
            for t, r in words
            if t.rule in rules()
        )
    for wanted in story.wants:
        out.found_s += _found_s(world, wanted, words, from_onset=family.from_onset)
    if family.says:
        since_s = world.onset_s if world.back_s is None else world.back_s
        said = (
            r.at_s
            for r in world.ear.rung
            if r.at_s >= since_s and re.search(family.says, f"{r.title}\n{r.text}", re.IGNORECASE)
        )
        out.found_s.append(next(said, math.inf) - since_s)
    if waking:
        out.right = true_word(world, waking[0][0]) and _named(world, family.named)
    elif out.harm:
        out.right = False


def _found_s(
    world: World, wanted: Sequence[str], words: Sequence[tuple[Told, float | None]], *, from_onset: bool
) -> list[float]:
    """How late one of those rules was told; empty where the truth never asked for it."""
    base_s: float | None = world.onset_s
    if not from_onset and set(wanted) & {*DRY_WORDS, *DAMP_WORDS}:
        base_s = _humid_s(world, low=bool(set(wanted) & set(DRY_WORDS)))
    if base_s is None:
        return []
    # What is low goes with the day's summary: it counts from when it was known.
    rang = [
        t.at_s if t.priority == LOW else r
        for t, r in words
        if t.rule in wanted and (t.priority == LOW or r is not None)
    ]
    known = [at_s for at_s in rang if at_s is not None]
    return [max(0.0, min(known) - base_s)] if known else [math.inf]


def _humid_s(world: World, *, low: bool) -> float | None:
    """When the true humidity has been beyond its warning, and a sensor's error, in the mean of an hour."""
    band = world.bands.humid
    if band is None:
        return None
    margin = SENSOR_WET_K if world.bands.kind == "wet_bulb_c" else SENSOR_RH_PCT
    rows = [(row[0], world.bands.humidity(row[3], row[4])) for row in world.trail.rows if row[0] >= world.onset_s]
    for i in range(60, len(rows)):
        mean = sum(v for _, v in rows[i - 60 : i]) / 60.0
        limit = band.low_warning if low else band.high_warning
        if limit is not None and (mean < limit - margin if low else mean > limit + margin):
            return rows[i][0]
    return None


def _crossed_s(world: World) -> float | None:
    limit = world.bands.dry.high_alarm
    return next(
        (row[0] for row in world.trail.rows if row[0] >= world.onset_s and limit is not None and row[2] >= limit), None
    )


def _forecast(world: World, told: Told) -> Forecast | None:
    rule = rules().get(told.rule)
    if rule is None or rule.foretells is None:
        return None
    if world.calm is not None:  # it never left its alarm limits
        return Forecast(told.rule, told.priority, False)
    came = _comes(world, rule, told.at_s)
    if not came and world.lasts_s < told.at_s + FORECAST_S:
        return None  # nobody knows
    return Forecast(told.rule, told.priority, came)


def _comes(world: World, rule: Rule, at_s: float) -> bool:
    dry = world.bands.dry
    limit = dry.high_alarm if rule.side == ABOVE else dry.low_alarm
    rows = world.trail.between(at_s, at_s + FORECAST_S)
    if limit is None:
        return False
    return any(row[2] >= limit if rule.side == ABOVE else row[1] <= limit for row in rows)


def true_word(world: World, told: Told) -> bool:
    """Whether what a word says is so: see the module."""
    rule = rules().get(told.rule)
    if told.rule in SENSOR_WORDS and told.rule != DISAGREE:
        return world.blind
    rows = world.trail.between(told.at_s - NEAR_S, told.at_s + MINUTE_S)
    if told.rule == DISAGREE:
        return world.blind or any(row[7] >= APART_K for row in rows)
    if rule is None or rule.quantity is None:
        return told.rule == HANDLING_OVER or world.blind
    if rule.foretells is not None:
        return _comes(world, rule, told.at_s)
    high = rule.side == ABOVE
    if rule.quantity == EGG:
        target = world.bands.dry.target or 37.5
        return any(row[6] >= target + 0.8 if high else row[5] <= target - 2.0 for row in rows)
    if rule.quantity == HUMIDITY:
        band = world.bands.humid
        values = [world.bands.humidity(row[3], row[4]) for row in rows]
        return band is not None and any(beyond(band.low_warning, band.high_warning, v) for v in values)
    assert rule.quantity == DRY_BULB
    dry = world.bands.dry
    limit = {"lethal": 40.6, "alarm": dry.high_alarm if high else dry.low_alarm}.get(
        rule.level or "", dry.high_warning if high else dry.low_warning
    )
    if limit is None:
        return False
    return any(row[2] >= limit - NEAR_K if high else row[1] <= limit + NEAR_K for row in rows)


def _named(world: World, named: str) -> bool:
    """Whether the first waking message names that cause before the others."""
    if not named:
        return True
    first = next((r for r in world.ear.rung if r.at_s >= world.onset_s and r.priority in URGENT), None)
    return first is not None and first_named(first) == named


def first_named(rung: Rung) -> str:
    """Which of the causes of a silence a message names first."""
    text = f"{rung.title}\n{rung.text}".lower()
    places = {name: found.start() for name, pattern in LINKS.items() if (found := re.search(pattern, text))}
    return min(places, key=lambda name: places[name]) if places else ""
