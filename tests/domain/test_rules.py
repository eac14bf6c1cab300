"""The rules as they ship, and a site's own numbers for them."""

from __future__ import annotations

import math
from typing import Any

import pytest

from monitor.domain import plan
from monitor.domain.alarm import MAX_SHELF_S
from monitor.domain.rules import CHANGEABLE, CRITICAL, HIGH, LOW, MEDIUM, RuleError, changed, parse_rules
from tests.domain.house import RULES

SOUND: dict[str, Any] = {
    "words": "warm",
    "over": "no longer warm",
    "unit": "C",
    "priority": "low",
    "on_delay_s": 60,
    "off_delay_s": 60,
    "deadband": 0.1,
    "respond_min": 30,
    "cause": "sun",
    "consequence": "It gets warm.",
    "first_act": "Draw the curtain.",
}


def test_every_rule_that_the_code_names_is_there() -> None:
    """Each limit of a band and each condition has its rule; a name without one would be a silence."""
    limits = {
        f"{q}-{side}-{level}"
        for q in (plan.DRY_BULB_PREFIX, plan.HUMIDITY_PREFIX)
        for side in ("low", "high")
        for level in ("alarm", "warning")
    }
    named = {value for name, value in vars(plan).items() if name.isupper() and isinstance(value, str) and "-" in value}
    assert set(RULES) == limits | named - {plan.DRY_BULB_PREFIX}


@pytest.mark.parametrize("rule", RULES.values(), ids=RULES.keys())
def test_every_rule_is_rationalised(rule: Any) -> None:
    """Cause, consequence and first act are there, short enough for a phone, and the delays leave time to respond."""
    assert rule.cause
    assert 10 <= len(rule.consequence) <= 50
    assert 10 <= len(rule.first_act) <= 50
    assert 3 <= len(rule.words) <= 32
    assert 3 <= len(rule.over) <= 32
    assert rule.consequence.endswith(".")
    assert rule.first_act.endswith(".") or rule.first_act.endswith("?")
    assert rule.on_delay_s <= rule.respond_min * 60 / 4
    assert rule.re_alarm_s is not None
    assert not {"chick", "egg"} & {w.lower().strip(".,") for w in rule.first_act.split()}  # never told to handle either


def test_danger_is_asked_for_again_soon() -> None:
    """The more dangerous the air, the sooner its standing alarm asks again; and the higher a priority, the shorter its shelf."""
    again = [RULES[f"dry-bulb-{name}"].re_alarm_s or 0 for name in ("high-alarm", "low-alarm", "high-warning")]
    assert again == sorted(set(again))
    for rule in RULES.values():
        limit_s = {CRITICAL: 3600, HIGH: 3600, MEDIUM: 4 * 3600, LOW: 12 * 3600}[rule.priority]
        assert rule.re_alarm_s is not None
        assert rule.re_alarm_s <= limit_s, rule.id
    assert MAX_SHELF_S[CRITICAL] < MAX_SHELF_S[HIGH] < MAX_SHELF_S[MEDIUM] < MAX_SHELF_S[LOW] <= 8 * 3600


def test_dangerous_heat_is_told_fastest() -> None:
    """No on-delay of the air is shorter than that of dangerous heat."""
    air = [r for r in RULES.values() if r.id.startswith(("dry-bulb", "humidity"))]
    assert min(air, key=lambda r: r.on_delay_s).id == "dry-bulb-high-alarm"
    assert RULES["dry-bulb-high-alarm"].priority == CRITICAL


@pytest.mark.parametrize(
    ("changes", "complaint"),
    [
        ({"priority": "urgent"}, "f: r.priority: 'urgent', expected one of low, medium, high, critical"),
        ({"on_delay_s": -1}, "f: r.on_delay_s: -1, expected a number from 0 to 604800"),
        ({"on_delay_s": "60"}, "f: r.on_delay_s: '60', expected a number from 0 to 604800"),
        ({"on_delay_s": True}, "f: r.on_delay_s: True, expected a number from 0 to 604800"),
        ({"on_delay_s": math.nan}, "f: r.on_delay_s: nan, expected a number from 0 to 604800"),
        ({"off_delay_s": math.inf}, "f: r.off_delay_s: inf, expected a number from 0 to 604800"),
        ({"deadband": -0.1}, "f: r.deadband: -0.1, expected a number from 0 to 604800"),
        ({"re_alarm_s": 30}, "f: r.re_alarm_s: 30, expected 60 or more"),
        ({"words": "hot"}, f"f: r.words: not a setting, expected one of {', '.join(CHANGEABLE)}"),
        ({"on_delay": 5}, f"f: r.on_delay: not a setting, expected one of {', '.join(CHANGEABLE)}"),
    ],
)
def test_a_number_that_cannot_be_used(changes: dict[str, Any], complaint: str) -> None:
    """A site's own number that is wrong is refused in one line: where, what came, what was expected."""
    rule = parse_rules({"r": SOUND}, "f")["r"]
    with pytest.raises(RuleError) as raised:
        changed(rule, changes, "f")
    assert str(raised.value) == complaint


def test_a_sites_own_numbers_stand() -> None:
    """Only what a site gives is changed."""
    rule = parse_rules({"r": SOUND}, "f")["r"]
    mine = changed(rule, {"on_delay_s": 5, "priority": "high", "re_alarm_s": 600}, "f")
    assert (mine.on_delay_s, mine.priority, mine.re_alarm_s, mine.deadband) == (5, "high", 600, 0.1)


@pytest.mark.parametrize(
    ("table", "complaint"),
    [
        ({"r": 5}, "f: r: 5, expected a table"),
        ({"r": {**SOUND, "colour": 1}}, "f: r: unknown ['colour'], missing [], expected exactly the rule's fields"),
        (
            {"r": {k: v for k, v in SOUND.items() if k != "words"}},
            "f: r: unknown [], missing ['words'], expected exactly the rule's fields",
        ),
        ({"r": {**SOUND, "priority": 3}}, "f: r.priority: 3, expected one of low, medium, high, critical"),
    ],
)
def test_a_shipped_table_that_is_wrong(table: dict[str, Any], complaint: str) -> None:
    """A rule with a field too many, one too few, or a wrong value is refused."""
    with pytest.raises(RuleError) as raised:
        parse_rules(table, "f")
    assert str(raised.value) == complaint
