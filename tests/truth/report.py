"""What the rows add up to: a table by fault, and the bars, each with its figure, its limit and whether it is met."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from tests.truth.faults import (
    COLD_BESIDE,
    DAY_S,
    FAULTS,
    HOT_BESIDE,
    ONE_FAILED,
    ONE_STUCK,
    QUIET,
    TWO_CANDLING,
    TWO_WEEK,
)
from tests.truth.run import Results
from tests.truth.score import FOUND, MISSED, NOTHING, Row, percentile

WEEK_S, MONTH_S = 7.0 * DAY_S, 30.0 * DAY_S
SHARE_OF_TIME = 1.0 / 3.0
RECALL = {  # sensor faults: the least share that is found
    "stuck": (("probe stuck",), 0.99),
    "dropout": (("probe silent", "node silent"), 0.99),
    "range": (("probe out of range",), 0.99),
    "spike": (("probe spike",), 0.95),
    "disagreement": (("two probes apart",), 0.97),
    "drift of 0.5 K in 24 h": (("probe drifting",), 0.90),
    "one of two on a node": ((ONE_FAILED,), 0.99),
    "one of two on a node, stuck": ((ONE_STUCK,), 0.99),
}
BESIDE_FAILED = (HOT_BESIDE, COLD_BESIDE)
BAD_FLAGS_A_WEEK = 1.0
NOTICES_A_WEEK = 1.0
ACTIVATIONS = 4
# Below these a bar says nothing, and is left out: in a short run.
LEAST_DANGERS, LEAST_NODE_WEEKS = 40, 4.0
FLOOD_FIRST_S, FLOOD_MESSAGES = 5.0, 3


@dataclass(frozen=True, slots=True)
class Bar:
    """One bar. of: how large the sample was; worst: the cases to look at first."""

    name: str
    figure: float
    limit: float
    at_least: bool
    of: int
    unit: str = ""
    strictly: bool = False
    worst: tuple[str, ...] = ()

    @property
    def met(self) -> bool:
        """A figure that is no number meets nothing."""
        if math.isnan(self.figure):
            return False
        if self.strictly:
            return self.figure > self.limit if self.at_least else self.figure < self.limit
        return self.figure >= self.limit if self.at_least else self.figure <= self.limit

    def line(self) -> str:
        """`  met     dangers told ... 100.0 % (at least 100 %), 231`."""
        sign = "at least" if self.at_least else "under" if self.strictly else "at most"
        return (
            f"  {'met   ' if self.met else 'MISSED'}  {self.name}: {_shown(self.figure, self.unit)}"
            f" ({sign} {_shown(self.limit, self.unit)}), of {self.of}"
        )


def _shown(value: float, unit: str) -> str:
    if math.isinf(value):
        return "never"
    if unit == "%":
        return f"{100.0 * value:.1f} %"
    return f"{value:.3g}{' ' + unit if unit else ''}"


def bars(results: Results) -> list[Bar]:
    """Every bar of one judge, of whatever was played; a bar without any sample is left out."""
    found = [*_danger(results.rows), *_beside_failed(results.rows), *_sensors(results.rows), *_quiet(results.rows)]
    found += [*_steady(results), *_floods(results)]
    return [bar for bar in found if bar.of]


def _danger(rows: Sequence[Row]) -> Iterable[Bar]:
    dangers = [row for row in rows if row.danger]
    told = [row for row in dangers if row.verdict == FOUND]
    share = len(told) / len(dangers) if dangers else math.nan
    missed = [told_of(row) for row in dangers if row.verdict == MISSED]
    yield Bar("dangers told before published harm begins", share, 1.0, True, len(dangers), "%", worst=tuple(missed))
    if len(dangers) < LEAST_DANGERS:
        return
    slow = sorted(dangers, key=lambda row: -row.share)
    yield Bar(
        "95th percentile of the delay as a share of the time left", percentile((r.share for r in dangers), 0.95),
        SHARE_OF_TIME, False, len(dangers), "%", strictly=True, worst=tuple(told_of(row) for row in slow[:8]),
    )  # fmt: skip


def _beside_failed(rows: Sequence[Row]) -> Iterable[Bar]:
    """What a node with two probes tells when one of them has failed: the air by the sound one, and no word against that."""
    dangers = [row for row in rows if row.fault in BESIDE_FAILED and row.danger]
    share = sum(row.verdict == FOUND for row in dangers) / len(dangers) if dangers else math.nan
    missed = tuple(told_of(row) for row in dangers if row.verdict == MISSED)
    yield Bar("dangers told by the sound probe beside a failed one", share, 1.0, True, len(dangers), "%", worst=missed)
    of = [row for row in rows if row.fault in (*BESIDE_FAILED, ONE_FAILED, ONE_STUCK)]
    wrong = [row for row in of if row.false]
    yield Bar(
        "false words beside a failed probe", float(sum(row.false for row in wrong)), 0.0, False, len(of),
        worst=tuple(f"{', '.join(row.false_rules)}: {row.story}" for row in wrong),
    )  # fmt: skip


def _sensors(rows: Sequence[Row]) -> Iterable[Bar]:
    for name, (faults, limit) in RECALL.items():
        of = [row for row in rows if row.fault in faults]
        share = sum(row.verdict == FOUND for row in of) / len(of) if of else math.nan
        missed = tuple(told_of(row) for row in of if row.verdict == MISSED)
        yield Bar(f"sensor faults found, {name}", share, limit, True, len(of), "%", worst=missed)
    looked = [row for row in rows if row.flag_s > 0.0]
    weeks = sum(row.flag_s for row in looked) / WEEK_S
    if weeks < LEAST_NODE_WEEKS:
        return
    flags = sum(row.bad_flags for row in looked)
    worst = sorted((r for r in looked if r.bad_flags), key=lambda r: -r.bad_flags / r.flag_s)
    yield Bar(
        f"false flags a node-week (in {weeks:.1f} of them)", flags / weeks, BAD_FLAGS_A_WEEK,
        False, len(looked), worst=tuple(f"{r.bad_flags} flags: {r.story}" for r in worst[:5]),
    )  # fmt: skip


def _quiet(rows: Sequence[Row]) -> Iterable[Bar]:
    for name in ("clean month", "candling 20 times a day", TWO_WEEK, TWO_CANDLING):
        of = [row for row in rows if row.fault == name]
        loud = tuple(f"{', '.join(r.false_rules)}: {r.story}" for r in of if r.false_urgent)
        high = float(sum(r.false_urgent for r in of)) if of else math.nan
        yield Bar(f"{name}: high alarms", high, 0.0, False, len(of), worst=loud)
    months = [row for row in rows if row.fault in ("clean month", TWO_WEEK) and row.lived_s >= WEEK_S]
    weekly = {row: row.notices / (row.lived_s / WEEK_S) for row in months}
    worst = sorted(months, key=lambda row: -weekly[row])
    yield Bar(
        "clean weeks: notices a week, in the worst story", max(weekly.values(), default=math.nan), NOTICES_A_WEEK,
        False, len(months), worst=tuple(f"{weekly[r]:.1f} a week ({', '.join(r.false_rules)}): {r.story}" for r in worst),
    )  # fmt: skip


def _steady(results: Results) -> Iterable[Bar]:
    sats = results.sats
    most = max((s.activations for s in sats), default=0)
    often = tuple(f"{s.rule} every {s.interval_s} s: {s.activations}" for s in sats if s.activations > ACTIVATIONS)
    yield Bar("a day of noise on a limit: activations at most", float(most), ACTIVATIONS, False, len(sats), worst=often)
    chatter = tuple(f"{s.rule} every {s.interval_s} s" for s in sats if s.chattered)
    yield Bar(
        "a day of noise on a limit: limits that chattered", float(len(chatter)), 0.0, False, len(sats), worst=chatter
    )


def _floods(results: Results) -> Iterable[Bar]:
    floods = results.floods
    first = [math.inf if f.first_s is None else f.first_s for f in floods]
    yield Bar(
        "flood: first message after, at most", max(first, default=math.nan), FLOOD_FIRST_S, False, len(floods), "s"
    )
    many = sorted(floods, key=lambda f: -f.messages)
    loud = tuple(
        f"{f.messages} messages, {f.kind} #{f.seed}: {'; '.join(f.titles)}" for f in many if f.messages > FLOOD_MESSAGES
    )
    most = float(max((f.messages for f in floods), default=0))
    yield Bar("flood: messages in ten minutes", most, FLOOD_MESSAGES, False, len(floods), worst=loud)
    wrong = tuple(f"{f.kind} #{f.seed}: {'; '.join(f.titles[:1])}" for f in floods if not f.named)
    share = sum(f.named for f in floods) / len(floods) if floods else math.nan
    yield Bar("flood: first-out named rightly", share, 1.0, True, len(floods), "%", worst=wrong)


def told_of(row: Row) -> str:
    """One case in a line."""
    early = "nothing told" if row.early_s is None else f"first word after {row.early_s / 60.0:.0f} min"
    urgent = "" if row.delay_s is None else f", told after {row.delay_s / 60.0:.1f} min by {row.rule or 'a flag'}"
    left = "" if row.left_for_s is None else f" of {row.left_for_s / 60.0:.0f} to harm ({row.danger})"
    return f"{row.story}: {row.verdict}, {early}{urgent}{left}"


def table(rows: Sequence[Row]) -> list[str]:
    """One line for each fault."""
    head = (
        f"  {'fault':40}{'n':>4}{'danger':>7}{'found':>6}{'missed':>7}{'none':>5}{'delay: median':>14}{'p95':>8}"
        f"{'share of time: median':>22}{'p95':>7}{'false/machine-month':>20}{'urgent':>7}{'notices/day':>12}"
    )
    lines = [head]
    for name in FAULTS:
        of = [row for row in rows if row.fault == name]
        if of:
            lines.append(_line(name, of))
    lines.append(_line("all", rows))
    return lines


def _line(name: str, of: Sequence[Row]) -> str:
    delays = [row.delay_s for row in of if row.delay_s is not None and row.verdict == FOUND]
    shares = [row.share for row in of if row.danger]
    months = sum(row.sound_s for row in of) / MONTH_S
    days = sum(row.lived_s for row in of) / DAY_S
    counts = [sum(row.verdict == verdict for row in of) for verdict in (FOUND, MISSED, NOTHING)]
    false, urgent = sum(row.false for row in of), sum(row.false_urgent for row in of)
    return (
        f"  {name:40}{len(of):4d}{len(shares):7d}{counts[0]:6d}{counts[1]:7d}{counts[2]:5d}"
        f"{_minutes(percentile(delays, 0.5)):>14}{_minutes(percentile(delays, 0.95)):>8}"
        f"{_share(percentile(shares, 0.5)):>22}{_share(percentile(shares, 0.95)):>7}"
        f"{false / months if months else 0.0:20.1f}{urgent / months if months else 0.0:7.1f}"
        f"{sum(row.notices for row in of) / days if days else 0.0:12.1f}"
    )


def _minutes(seconds: float) -> str:
    return "-" if math.isnan(seconds) else f"{seconds / 60.0:.1f} min"


def _share(share: float) -> str:
    return "-" if math.isnan(share) else "never" if math.isinf(share) else f"{100.0 * share:.0f} %"


def false_alarms(rows: Sequence[Row], limit: int = 12) -> list[str]:
    """What was told without need, the most frequent rules first, and where."""
    by_rule: dict[str, list[Row]] = {}
    for row in rows:
        for rule in row.false_rules:
            by_rule.setdefault(rule, []).append(row)
    ordered = sorted(by_rule.items(), key=lambda item: -len(item[1]))
    return [f"  {rule}: in {len(of)} scenarios, as in {of[0].story}" for rule, of in ordered[:limit]]


def own_rules(rows: Sequence[Row]) -> list[str]:
    """Faults without danger that were told too late or not at all; the plan sets no bar for them."""
    return [f"  {told_of(row)}" for row in rows if row.verdict == MISSED and not row.danger and row.kind != QUIET]
