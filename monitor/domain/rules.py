"""The rules: what is judged, and everything a rule is rationalised by (cause, consequence, first act, time to respond).

A rule ships as data (`monitor/rules/rules.toml`) and a site may change its numbers. Field names follow ANSI/ISA-18.2.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from typing import Any

LOW, MEDIUM, HIGH, CRITICAL = "low", "medium", "high", "critical"
PRIORITIES = (LOW, MEDIUM, HIGH, CRITICAL)  # rising


class RuleError(ValueError):
    """A rule that cannot be used; the message is one line that says where, what came and what was expected."""


@dataclass(frozen=True, slots=True)
class Rule:
    """One kind of alarm.

    on_delay_s and off_delay_s: elapsed time, with fresh readings, before the condition counts as come or gone.
    deadband: reset only, in the rule's unit: the alarm comes at the limit and goes at the limit less the deadband.
    re_alarm_s: an acknowledged alarm that still stands after so long asks again; None never asks.
    respond_min: minutes from the alarm to the harm. words: what the message calls it; over: what it says when it has passed.
    """

    id: str
    words: str
    over: str
    unit: str
    priority: str
    on_delay_s: float
    off_delay_s: float
    deadband: float
    re_alarm_s: float | None
    respond_min: float
    cause: str
    consequence: str
    first_act: str


_NUMBERS = ("on_delay_s", "off_delay_s", "deadband", "respond_min")
CHANGEABLE = ("priority", "on_delay_s", "off_delay_s", "deadband", "re_alarm_s")


def parse_rules(data: Mapping[str, Any], where: str) -> dict[str, Rule]:
    """Rules by id from the shipped table. Raises RuleError with one line for anything missing, unknown or wrong."""
    result: dict[str, Rule] = {}
    names = {f.name for f in fields(Rule)}
    for id_, given in data.items():
        if not isinstance(given, Mapping):
            raise RuleError(f"{where}: {id_}: {given!r}, expected a table")
        unknown = sorted(set(given) - names)
        missing = sorted(names - {"id", "re_alarm_s"} - set(given))
        if unknown or missing:
            raise RuleError(f"{where}: {id_}: unknown {unknown}, missing {missing}, expected exactly the rule's fields")
        result[id_] = checked(Rule(id=id_, **{"re_alarm_s": None, **given}), where)
    return result


def changed(rule: Rule, changes: Mapping[str, Any], where: str) -> Rule:
    """The rule with a site's own numbers. Raises RuleError."""
    for name in changes:
        if name not in CHANGEABLE:
            raise RuleError(f"{where}: {rule.id}.{name}: not a setting, expected one of {', '.join(CHANGEABLE)}")
    return checked(replace(rule, **changes), where)


def checked(rule: Rule, where: str) -> Rule:
    """The rule, if its values can be used. Raises RuleError."""
    if rule.priority not in PRIORITIES:
        raise RuleError(f"{where}: {rule.id}.priority: {rule.priority!r}, expected one of {', '.join(PRIORITIES)}")
    for name in (*_NUMBERS, "re_alarm_s"):
        value = getattr(rule, name)
        if name == "re_alarm_s" and value is None:
            continue
        if isinstance(value, bool) or not isinstance(value, (int, float)) or not 0 <= value <= 7 * 86_400:
            raise RuleError(f"{where}: {rule.id}.{name}: {value!r}, expected a number from 0 to 604800")
    if rule.re_alarm_s is not None and rule.re_alarm_s < 60:
        raise RuleError(f"{where}: {rule.id}.re_alarm_s: {rule.re_alarm_s!r}, expected 60 or more")
    return rule
