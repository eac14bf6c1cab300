"""The rules: what is judged, and everything a rule is rationalised by (cause, consequence, first act, time to respond).

A rule ships as data (`monitor/data/rules.toml`); a site, a profile and a machine may change its numbers (`rulebook`). Field names
follow ANSI/ISA-18.2.

Priority is worked out from what is lost and how soon, as that standard has it: it asks for the method, and leaves the matrix to
each site. This one is our judgement, in the shape that is common practice (and, from memory, of IEC 60601-1-8: harm by its onset):

    what is lost if nobody acts               within the hour   before the next look (12 h)   later
    severe: the eggs of a machine, or more    critical          high                          medium
    moderate: some of them, or their watch    high              medium                        low
    slight: nothing that cannot be mended     low               low                           low

The next look: a breeder sees each machine morning and evening. Slight covers also what comes before, or beside, a worse alarm that
will not be forgotten: only an alarm above low is told again until somebody answers.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from monitor.domain.fixed import fixed
from monitor.domain.refusal import Refusal

LOW, MEDIUM, HIGH, CRITICAL = "low", "medium", "high", "critical"
PRIORITIES = (LOW, MEDIUM, HIGH, CRITICAL)  # rising

SLIGHT, MODERATE, SEVERE = "slight", "moderate", "severe"
WITHIN_MIN = (60.0, 720.0)  # the hour; the next look
MATRIX = {
    SEVERE: (CRITICAL, HIGH, MEDIUM),
    MODERATE: (HIGH, MEDIUM, LOW),
    SLIGHT: (LOW, LOW, LOW),
}

DRY_BULB, HUMIDITY, EGG, DAYS = "dry_bulb_c", "humidity", "egg_c", "days"
OF_THE_AIR = (DRY_BULB, HUMIDITY, EGG)  # of one machine, with limits that follow from what is in it
ABOVE, BELOW = "high", "low"
LETHAL, ALARM, WARNING = "lethal", "alarm", "warning"  # what a source says kills; the band's own limits
JUDGED = {"quantity": (*OF_THE_AIR, DAYS), "side": (ABOVE, BELOW), "level": (LETHAL, ALARM, WARNING)}

# The rules that are judged each in its own way, as the configuration and the record call them. No other place spells a rule: one of a
# band is found by what it judges.
NOT_RAISED = "humidity-not-raised"
CONFLICT, MISSING = "bands-in-conflict", "bands-missing"
NO_DATA, NO_HUMIDITY, NODE_OFFLINE, ALL_SILENT = "no-data", "no-humidity", "node-offline", "all-silent"
NODE_RESTARTS = "node-restarts"
SENSOR_FAILED, SENSOR_SUSPECT = "sensor-failed", "sensor-suspect"
DISAGREE, DRIFTING = "probes-disagree", "sensor-drift"
EGG_HOT, EGG_COLD = "egg-too-hot", "egg-too-cold"
HANDLING_OVER, LOCKDOWN_OVERDUE, HATCH_OVERDUE = "handling-over", "lockdown-overdue", "hatch-overdue"
WEIGHT_OFF, LOOK_AGAIN = "weight-off-track", "look-again"
DRAW_DOWN_DUE = "draw-down-due"
COOLED_EACH_DAY = "cooled-each-day"
RECORD_DAMAGED, NOT_RECORDED = "record-damaged", "not-recorded"
WAS_AWAY, KEEPS_STOPPING = "was-away", "keeps-stopping"
MAINS_LOST, DOOR_OPEN, WATER_LOW, SWITCH_DOUBTFUL = "mains-lost", "door-open", "water-low", "switch-doubtful"
OF_SWITCHES = (MAINS_LOST, DOOR_OPEN, WATER_LOW)  # what a switch says
OF_SENSORS = (
    NO_DATA, NO_HUMIDITY, NODE_OFFLINE, ALL_SILENT, SENSOR_FAILED, SENSOR_SUSPECT, DISAGREE, DRIFTING,
)  # fmt: skip
LOCKDOWN_GRACE_DAYS = 0.5  # of LOCKDOWN_OVERDUE where it has no limit: a day's work is done when there is time for it

MACHINE, NODE, ROOM, BATCH = "machine", "node", "room", "batch"
GROUPS = (MACHINE, NODE, ROOM, BATCH)
SITE_WIDE = (NODE, ROOM)  # these groups have the site's numbers: no machine and no profile has a say in them


class RuleError(Refusal):
    """A rule that cannot be used."""


Judged = tuple[str, str, str]  # quantity, side, level


@fixed
class Rule:
    """One kind of alarm.

    on_delay_s and off_delay_s: elapsed time, with fresh readings, before the condition counts as come or gone.
    deadband: reset only, in the rule's unit: the alarm comes at the limit and goes at the limit less the deadband.
    re_alarm_s: an acknowledged alarm that still stands after so long asks again; None never asks.
    respond_min: minutes from the alarm to the harm. words: what the message calls it; over: what it says when it has passed.
    severity: what is lost if nobody acts; with respond_min it makes the priority. group: what its messages are told together with.
    limit: the breeder's own in place of the band's (°C, %RH), or the days after the due day; None: as the profile has it.
    quantity: what it judges by a limit: dry_bulb_c, humidity, egg_c or days; None: it has no limit. side: wrong above it (`high`) or below.
    level: which limit that is: the band's (`alarm`, `warning`), or what a source says kills (`lethal`); None: neither. foretells: the rule whose limit it says is ahead.
    over_s: the value is a fading mean over so long (`signs/lately`); 0: each reading by itself. sensor_error: so far, in the rule's unit, the
    band's limit is widened, for a good sensor may be off by that. change: so far from what its machine usually holds, in the rule's unit,
    half an hour is enough (`signs/lately`); 0: never.
    """

    id: str
    words: str
    over: str
    unit: str
    priority: str
    severity: str
    group: str
    on_delay_s: float
    off_delay_s: float
    deadband: float
    re_alarm_s: float | None
    respond_min: float
    cause: str
    consequence: str
    first_act: str
    limit: float | None = None
    quantity: str | None = None
    side: str | None = None
    level: str | None = None
    foretells: str | None = None
    over_s: float = 0.0
    sensor_error: float = 0.0
    change: float = 0.0

    @property
    def of_band(self) -> bool:
        """Whether its limit is one of the band's, or a published one, where it has none of its own."""
        return self.level is not None

    @property
    def of_the_air(self) -> bool:
        """Whether it judges the air of one machine, or what the eggs in there feel of it."""
        return self.quantity in OF_THE_AIR

    @property
    def may_chatter(self) -> bool:
        """Whether it can come and go by itself: what is measured, and not what people do with eggs.

        Not what kills within the hour: each time it comes it is news, whoever answered the time before.
        """
        return (self.of_the_air and self.level != LETHAL) or self.id in OF_SENSORS + OF_SWITCHES


CHANGEABLE = ("priority", "limit", "on_delay_s", "off_delay_s", "deadband", "re_alarm_s", "respond_min")
OPTIONAL = {"re_alarm_s", "limit", "quantity", "side", "level", "foretells"}

# (lowest, highest) value of each number, and what they are counted in. A week is longer than any incubator may wait.
SPANS = {
    "on_delay_s": (0.0, 604_800.0),
    "off_delay_s": (0.0, 604_800.0),
    "deadband": (0.0, 604_800.0),
    "re_alarm_s": (60.0, 604_800.0),
    "respond_min": (1.0, 10_080.0),
}
# A dry bulb in °F, or a slip of the decimal point, must be refused instead of watched over: as in the profiles.
_LIMITS = {DRY_BULB: (20.0, 45.0, "°C"), HUMIDITY: (0.0, 100.0, "%RH"), DAYS: (0.0, 30.0, "days")}


def worked_out(severity: str, respond_min: float) -> str:
    """The priority by the matrix above. respond_min: minutes, above 0; raises KeyError for a severity that is none."""
    column = sum(respond_min > within_min for within_min in WITHIN_MIN)
    return MATRIX[severity][column]


def by_limit(rules: Mapping[str, Rule]) -> dict[Judged, str]:
    """The rule of each limit of a band, and its id: by quantity, side and level."""
    return {(r.quantity, r.side, r.level): r.id for r in rules.values() if r.quantity and r.side and r.level}


def check_together(rules: Mapping[str, Rule], where: str) -> None:
    """See that what the rules judge hangs together. Raises RuleError.

    Two rules of one limit would ring twice; one that foretells no alarm, or another side's, would say what is not so.
    """
    found = by_limit(rules)
    for rule in rules.values():
        if (rule.quantity is None) != (rule.side is None):
            came = f"quantity {rule.quantity!r}, side {rule.side!r}"
            raise RuleError(_at(where, rule), came, "both or neither")
        if rule.level is not None and (rule.quantity not in (DRY_BULB, HUMIDITY) or rule.foretells is not None):
            raise RuleError(_at(where, rule, "level"), repr(rule.level), "none: it judges by no limit of a band")
        if rule.level == LETHAL and (rule.quantity, rule.side) != (DRY_BULB, ABOVE):
            raise RuleError(_at(where, rule, "level"), repr(rule.level), "it of high temperature alone")
        if rule.over_s and (
            rule.quantity not in (DRY_BULB, HUMIDITY) or (rule.quantity == DRY_BULB and rule.level in (ALARM, LETHAL))
        ):
            raise RuleError(_at(where, rule, "over_s"), f"{rule.over_s:g}", "0: it is judged by single readings")
        if rule.change and not rule.over_s:
            raise RuleError(_at(where, rule, "change"), f"{rule.change:g}", "0: it is judged by no mean")
        if rule.foretells is not None and not rule.over_s:
            raise RuleError(_at(where, rule, "over_s"), "0", "more than 0: no single reading says what lies ahead")
        if rule.foretells is not None and rule.quantity != DRY_BULB:
            expected = "none: only temperature is foretold"
            raise RuleError(_at(where, rule, "foretells"), repr(rule.foretells), expected)
    for rule in rules.values():
        if rule.of_band and rule.id not in found.values():
            limit = f"{rule.quantity}, {rule.side}, {rule.level}"
            raise RuleError(_at(where, rule), limit, "a limit that no other rule judges by")
        if rule.foretells is not None and found.get((rule.quantity or "", rule.side or "", ALARM)) != rule.foretells:
            expected = "the alarm of the same quantity and side"
            raise RuleError(_at(where, rule, "foretells"), repr(rule.foretells), expected)


def changed(rule: Rule, changes: Mapping[str, Any], where: str) -> Rule:
    """The rule with someone's own numbers; another time to respond works the priority out anew, unless it is given. Raises RuleError."""
    for name in changes:
        if name not in CHANGEABLE:
            raise RuleError(_at(where, rule, name), "not a setting", f"one of {', '.join(CHANGEABLE)}")
    mine = checked(replace(rule, **changes), where)
    if "respond_min" in changes and "priority" not in changes:
        return replace(mine, priority=worked_out(mine.severity, mine.respond_min))
    return mine


def checked(rule: Rule, where: str) -> Rule:
    """The rule, if its values can be used. Raises RuleError."""
    for name, known in (("priority", PRIORITIES), ("severity", tuple(MATRIX)), ("group", GROUPS)):
        if getattr(rule, name) not in known:
            raise RuleError(_at(where, rule, name), repr(getattr(rule, name)), f"one of {', '.join(known)}")
    for name, (low, high) in SPANS.items():
        value = getattr(rule, name)
        if not (name in OPTIONAL and value is None) and not _is_number_in(value, low, high):
            raise RuleError(_at(where, rule, name), repr(value), f"a number from {low:g} to {high:g}")
    if rule.limit is not None:
        if not (rule.of_band or rule.quantity == DAYS):
            raise RuleError(_at(where, rule, "limit"), repr(rule.limit), "none: this rule has no limit to set")
        low, high, unit = _LIMITS[rule.quantity or DAYS]
        if not _is_number_in(rule.limit, low, high):
            raise RuleError(_at(where, rule, "limit"), repr(rule.limit), f"a number from {low:g} to {high:g} ({unit})")
    return rule


def _at(where: str, rule: Rule, name: str = "") -> str:
    """`rules.toml: too-hot.limit`; where: what it begins with, "" for nothing."""
    key = f"{rule.id}.{name}" if name else rule.id
    return f"{where}: {key}" if where else key


def _is_number_in(value: object, low: float, high: float) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool) and low <= value <= high
