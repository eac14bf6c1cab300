"""What was told against what was true: one row for each scenario and judge, from plain values, so that it can be checked by hand.

Counted as told is the making of a notice, no later than the deadline. Of a danger any notice of high or critical priority
about that machine counts; of anything else, one of the rules that say it. Notices before the onset, or about a sound
machine beside, are false. Several notices of one episode of an alarm are one false alarm.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from tests.truth.faults import MACHINE_FAULT, PAIR_RULES, QUIET, SENSOR_RULES, SPIKE
from tests.truth.judges import Told

URGENT = ("high", "critical")
OF_SENSORS = {*SENSOR_RULES, *PAIR_RULES}
REMINDER = "draw-down-due"
LEAVES_S = 3600.0  # without danger: so long after the true air has left its band somebody has been told
FOUND, MISSED, NOTHING = "found", "missed", "nothing to find"


@dataclass(frozen=True, slots=True)
class Label:
    """The truth of one scenario, in s from its beginning.

    about: the subjects that speak of the machine that fails. harm_s: when published harm begins, None if never.
    left_s: when the true air left its band. shared: the fault touches every machine. gradual: time counts from left_s.
    failed: a probe that fails at failed_s beside a sound one: from then on words of the sensors are right, and tell no danger of the air.
    due_s: when the day comes on which a bird that goes by the egg is to be candled: its reminder is right from then on.
    """

    kind: str
    about: frozenset[str]
    onset_s: float
    lived_s: float
    harm_s: float | None = None
    left_s: float | None = None
    gradual: bool = False
    shared: bool = False
    wanted: tuple[str, ...] = ()
    allowed_s: float = LEAVES_S
    machines: int = 1
    probes: int = 1
    interval_s: float = 10.0
    spiked: str = ""
    failed: str = ""
    failed_s: float = 0.0
    due_s: float = math.inf


@dataclass(frozen=True, slots=True)
class Row:
    """One scenario as one judge told it. share: of the time that was left, used up when a danger was told.

    early_s: the first notice of any priority, after the onset. false: alarms that nothing justified; false_urgent: of
    these, high and critical ones. sound_s: machine-seconds in which any alarm was false. bad_flags, flag_s: readings
    flagged where no sensor was wrong, and the probe-seconds looked at.
    """

    judge: str
    fault: str
    seed: int
    kind: str
    story: str
    verdict: str
    danger: str
    delay_s: float | None
    left_for_s: float | None
    early_s: float | None
    rule: str
    false: int
    false_urgent: int
    false_rules: tuple[str, ...]
    sound_s: float
    notices: int
    lived_s: float
    bad_flags: int
    flag_s: float

    @property
    def share(self) -> float:
        """Infinite for what was never told."""
        if self.delay_s is None or self.left_for_s is None or self.verdict == MISSED:
            return math.inf
        return self.delay_s / self.left_for_s if self.left_for_s > 0.0 else math.inf


def score(
    label: Label, told: Sequence[Told], flagged: Iterable[tuple[float, str]], *, judge: str, fault: str, seed: int, story: str = "", danger: str = ""
) -> Row:  # fmt: skip
    """One row; danger: in words, what harm it came to."""
    flagged = list(flagged)
    openings = [t for t in told if not t.closing]
    after = [t for t in openings if t.at_s >= label.onset_s and t.subject in label.about]
    quiet = label.kind == QUIET
    verdict, delay_s, left_for_s, first = NOTHING, None, None, None
    if label.kind == MACHINE_FAULT:
        if label.failed:
            after = [t for t in after if t.rule not in OF_SENSORS]
        verdict, delay_s, left_for_s, first = _machine(label, after)
    elif label.kind == SPIKE:
        window_s = 3.0 * label.interval_s + 15.0
        hits = [at_s for at_s, probe in flagged if probe == label.spiked and 0.0 <= at_s - label.onset_s <= window_s]
        verdict = FOUND if hits else MISSED
        delay_s = min(hits) - label.onset_s if hits else None
    elif not quiet:
        first = next((t for t in after if t.rule in label.wanted and t.at_s - label.onset_s <= label.allowed_s), None)
        verdict = FOUND if first is not None else MISSED
        delay_s = first.at_s - label.onset_s if first is not None else None
    false = _false(label, openings, nothing_to_find=verdict == NOTHING or label.kind == SPIKE)
    sound_s = label.lived_s * label.machines if quiet else label.onset_s * label.machines
    if not quiet and not label.shared:
        sound_s += (label.lived_s - label.onset_s) * (label.machines - 1)
    looked_s = label.lived_s if quiet else min(label.onset_s, label.failed_s) if label.failed else label.onset_s
    return Row(
        judge, fault, seed, label.kind, story, verdict, danger if label.harm_s is not None else "",
        delay_s, left_for_s,
        max(0.0, after[0].at_s - _base_s(label)) if after else None,
        first.rule if first is not None else "",
        len({t.number for t in false}),
        len({t.number for t in false if t.priority in URGENT}),
        tuple(sorted({t.rule for t in false})),
        sound_s, len(told), label.lived_s,
        sum(at_s < looked_s for at_s, _ in flagged), looked_s * label.probes,
    )  # fmt: skip


def _base_s(label: Label) -> float:
    """Where the time begins to count."""
    if label.gradual and label.left_s is not None:
        return label.left_s
    return label.onset_s


def _machine(label: Label, after: Sequence[Told]) -> tuple[str, float | None, float | None, Told | None]:
    base_s = _base_s(label)
    if label.harm_s is not None:
        first = next((t for t in after if t.priority in URGENT and t.at_s <= label.harm_s), None)
        delay_s = max(0.0, first.at_s - base_s) if first is not None else None
        return (FOUND if first is not None else MISSED), delay_s, label.harm_s - base_s, first
    if label.left_s is None:
        return NOTHING, None, None, None
    first = next((t for t in after if t.at_s <= label.left_s + LEAVES_S), None)
    if first is None and label.lived_s < label.left_s + LEAVES_S:
        return NOTHING, None, None, None  # the story ended before anybody had to be told
    delay_s = max(0.0, first.at_s - label.left_s) if first is not None else None
    return (FOUND if first is not None else MISSED), delay_s, None, first


def _false(label: Label, openings: Sequence[Told], nothing_to_find: bool) -> list[Told]:
    result, reminded = [], set()
    for told in openings:
        beside = told.subject not in label.about and not label.shared
        rightly = told.subject == label.failed and told.at_s >= label.failed_s
        before = told.at_s < label.onset_s and not rightly
        # Where the true air never left its band there was nothing to be woken for, though a mild word may be right.
        needless = nothing_to_find and told.subject in label.about and told.priority in URGENT
        if told.rule == REMINDER and told.at_s >= label.due_s and told.subject not in reminded:
            reminded.add(told.subject)  # once, and no more
            continue
        if label.kind == QUIET or before or beside or needless:
            result.append(told)
    return result


def percentile(values: Iterable[float], share: float) -> float:
    """The nearest rank: the smallest value that at least this share of them does not exceed. NaN for none."""
    ordered = sorted(values)
    return ordered[max(0, math.ceil(share * len(ordered)) - 1)] if ordered else math.nan
