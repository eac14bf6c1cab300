"""The rules as they ship, and a site's own numbers for them."""

from __future__ import annotations

import ast
import csv
import math
from collections import Counter
from dataclasses import replace
from itertools import product
from pathlib import Path
from typing import Any

import pytest

from monitor.adapters.tables.rules import read_rules
from monitor.domain.alarms.alarm import MAX_SHELF_S
from monitor.domain.eggs.entry import LookAgain
from monitor.domain.needs import rules
from monitor.domain.needs.rules import (
    BATCH,
    CHANGEABLE,
    CRITICAL,
    DRY_BULB,
    HIGH,
    HUMIDITY,
    LOW,
    MATRIX,
    MEDIUM,
    MODERATE,
    OF_SWITCHES,
    PRIORITIES,
    SEVERE,
    SLIGHT,
    Rule,
    RuleError,
    by_limit,
    changed,
    worked_out,
)
from monitor.shown.phone.notices import MAX_TITLE, PAST, SOON, URGENT, WHEN_YOU_CAN
from tests.domain.house import RULES

# Written out: taken from the program, they would move with it.
WITHIN_MIN = (60.0, 720.0)  # the hour; the next look

SOUND: dict[str, Any] = {
    "words": "warm",
    "over": "no longer warm",
    "unit": "C",
    "severity": "moderate",
    "group": "machine",
    "on_delay_s": 60,
    "off_delay_s": 60,
    "deadband": 0.1,
    "respond_min": 30,
    "cause": "sun",
    "consequence": "It gets warm.",
    "first_act": "Draw the curtain.",
}
FIELDS = ", ".join(
    sorted(
        {*SOUND, "re_alarm_s", "limit", "quantity", "side", "level", "foretells", "over_s", "sensor_error", "change"}
    )
)
WARM = {"quantity": "dry_bulb_c", "side": "high", "level": "alarm"}
LEFT_OF_A_NAME = 9  # what a title keeps of the name at least; the text begins with what is cut there


def rule_of(**changes: Any) -> Rule:
    """A sound rule, called r, with these fields."""
    return read_rules({"r": {**SOUND, **changes}}, "f")["r"]


def test_every_rule_that_the_code_names_is_there() -> None:
    """Each limit of a band and each condition has its rule: a name without one would be a silence, a rule without one a promise."""
    found = by_limit(RULES)
    of_bands = set(product((DRY_BULB, HUMIDITY), ("low", "high"), ("alarm", "warning")))
    assert set(found) == of_bands | {(DRY_BULB, "high", "lethal")}
    foretold = {rule.foretells: rule.id for rule in RULES.values() if rule.foretells}
    assert set(foretold) == {found[DRY_BULB, side, "alarm"] for side in ("low", "high")}
    limits = {*found.values(), *foretold.values()}
    named = {value for name, value in vars(rules).items() if name.isupper() and isinstance(value, str) and "-" in value}
    assert set(RULES) == limits | named
    assert not limits & named


def test_only_one_place_spells_the_name_of_a_rule() -> None:
    """What a rule is about is its data; a name that is written in a second place is one that could be spelled otherwise there."""
    monitor = Path(rules.__file__).parents[2]
    for path in monitor.rglob("*.py"):
        if path.name == "demo.py" or (path.name == "rules.py" and path.parent.name in ("needs", "archive")):
            continue  # the demo says which alarms its owner answers, an archive has the names of its time
        words = ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        written = {node.value for node in words if isinstance(node, ast.Constant) and isinstance(node.value, str)}
        assert written & set(RULES) <= {LookAgain.kind}, path


@pytest.mark.parametrize(
    ("quantity", "expected"), [(None, 4), ("dry_bulb_c", 7), ("humidity", 5), ("egg_c", 2), ("days", 2)]
)
def test_what_each_rule_judges(quantity: str | None, expected: int) -> None:
    """Alarms and warnings on both sides, what lies ahead of an alarm, the lockdown humidity, the eggs, the days after the due day."""
    of_it = [rule for rule in RULES.values() if rule.quantity == quantity]
    assert len(of_it) == expected if quantity else len(of_it) >= expected
    assert all((rule.side is None) == (quantity is None) for rule in of_it)
    assert all(rule.of_the_air == (quantity in ("dry_bulb_c", "humidity", "egg_c")) for rule in of_it)
    for rule in of_it:  # the unit it is shown in
        assert rule.unit == {"dry_bulb_c": "C", "egg_c": "C", "humidity": "%RH"}.get(quantity or "", rule.unit)


ONCE = {
    "draw-down-due",
    "cooled-each-day",
    "bands-in-conflict",
    "was-away",
}  # what is no less true for being told again, and loses nothing in a day


@pytest.mark.parametrize("rule", RULES.values(), ids=RULES.keys())
def test_every_rule_is_rationalised(rule: Any) -> None:
    """Cause, consequence and first act are there, short enough for a phone, and the delays leave time to respond."""
    assert rule.cause
    assert 10 <= len(rule.consequence) <= 50
    assert 10 <= len(rule.first_act) <= 50
    assert 3 <= len(rule.words) <= 32
    how = {"critical": URGENT, "high": URGENT, "medium": SOON, "low": WHEN_YOU_CAN}[rule.priority]
    again = rule.words if rule.priority == "low" else f"STILL {rule.words}"  # what is low is not told again
    assert LEFT_OF_A_NAME + len(f"{how}:  {again}") <= MAX_TITLE
    assert LEFT_OF_A_NAME + len(f"{PAST}:  {rule.over}") <= MAX_TITLE
    assert rule.consequence.endswith(".")
    assert rule.first_act.endswith(".") or rule.first_act.endswith("?")
    assert rule.on_delay_s <= rule.respond_min * 60 / 4
    assert (rule.re_alarm_s is None) is (rule.id in ONCE)
    told = {w.lower().strip(".,;") for w in rule.first_act.split()}
    assert not {"chick", "chicks", "egg", "eggs", "shell"} & told  # never told to handle either


# What cannot come and go by itself: what people do or leave undone with eggs, what happened once, and what kills, which is news each time.
NO_CHATTER = {
    "dry-bulb-lethal",
    "handling-over",
    "lockdown-overdue",
    "hatch-overdue",
    "weight-off-track",
    "look-again",
    "draw-down-due",
    "cooled-each-day",
    "bands-in-conflict",
    "bands-missing",
    "record-damaged",
    "was-away",
    "not-recorded",
    "keeps-stopping",
    "node-restarts",
    "switch-doubtful",  # a day of what it says, and not one message
}


def test_what_may_chatter_is_what_is_measured() -> None:
    """The air, what eggs feel of it, and what sensors and switches say; and nothing else."""
    assert {id_ for id_, rule in RULES.items() if not rule.may_chatter} == NO_CHATTER


def test_no_rule_shuts_the_vents() -> None:
    """One act for every stage: in the hatcher too little air kills chicks that are ready (MSU-TS), so what is too dry is mended by water."""
    path = Path(__file__).parents[2] / "reference" / "hatch_problems.csv"
    with path.open(encoding="utf-8", newline="") as file:
        rows = [r for r in csv.DictReader(file) if (r["environmental_variable"], r["direction"], r["window"]) == ("ventilation", "low", "hatcher")]  # fmt: skip
    assert ("fully developed, dead without pipping", "MSU-TS", "seen") in {
        (r["finding"], r["source_key"], r["evidence"]) for r in rows
    }
    for rule in RULES.values():
        told = rule.first_act.lower()
        assert "vent" not in told or not {"close", "shut"} & {word.strip(".,;") for word in told.split()}, rule.id
        if rule.quantity == HUMIDITY and rule.side == "low":
            assert "vent" not in told, rule.id
    assert RULES["humidity-high-alarm"].first_act.startswith("Open the vents first")  # damp and stale go together there


def test_danger_is_asked_for_again_soon() -> None:
    """The more dangerous the air, the sooner its standing alarm asks again; and the higher a priority, the shorter its shelf."""
    again = [
        RULES[f"dry-bulb-{name}"].re_alarm_s or 0 for name in ("lethal", "high-alarm", "low-alarm", "high-warning")
    ]
    assert again == sorted(set(again))
    for rule in RULES.values():
        limit_s = {CRITICAL: 3600, HIGH: 3600, MEDIUM: 4 * 3600, LOW: 24 * 3600}[rule.priority]
        if rule.group == BATCH:  # which is counted in days
            limit_s = 24 * 3600
        if rule.id in ONCE:
            continue
        assert rule.re_alarm_s is not None
        assert rule.re_alarm_s <= limit_s, rule.id
        assert rule.re_alarm_s <= rule.respond_min * 60, rule.id
    assert MAX_SHELF_S[CRITICAL] < MAX_SHELF_S[HIGH] < MAX_SHELF_S[MEDIUM] < MAX_SHELF_S[LOW] <= 8 * 3600


def test_dangerous_heat_is_told_fastest() -> None:
    """No on-delay of the air is shorter than that of dangerous heat: of what kills, and of what may be on its way there."""
    air = [r for r in RULES.values() if r.id.startswith(("dry-bulb", "humidity"))]
    least_s = min(r.on_delay_s for r in air)
    assert {r.id for r in air if r.on_delay_s == least_s} == {"dry-bulb-lethal", "dry-bulb-high-alarm"}
    assert (RULES["dry-bulb-lethal"].priority, RULES["dry-bulb-high-alarm"].priority) == (CRITICAL, HIGH)


# --- priorities


def test_the_matrix() -> None:
    """The worse what is lost, and the sooner, the higher the priority; only what is lost whole within the hour is critical."""
    hour, look = WITHIN_MIN
    minutes = (1.0, hour, hour + 1.0, look, look + 1.0, 10_080.0)
    rows = {severity: [worked_out(severity, m) for m in minutes] for severity in (SLIGHT, MODERATE, SEVERE)}
    assert rows == {
        SLIGHT: [LOW] * 6,
        MODERATE: [HIGH, HIGH, MEDIUM, MEDIUM, LOW, LOW],
        SEVERE: [CRITICAL, CRITICAL, HIGH, HIGH, MEDIUM, MEDIUM],
    }
    assert set(MATRIX) == set(rows)
    with pytest.raises(KeyError):
        worked_out("awful", 30.0)


def test_a_priority_is_worked_out() -> None:
    """Every shipped rule has the priority of its severity and time; another time to respond gives another, unless one is given."""
    assert all(rule.priority == worked_out(rule.severity, rule.respond_min) for rule in RULES.values())
    rule = rule_of()
    assert rule.priority == HIGH
    assert changed(rule, {"respond_min": 61}, "f").priority == MEDIUM
    assert changed(rule, {"respond_min": 61, "priority": LOW}, "f").priority == LOW
    assert changed(replace(rule, priority=LOW), {"on_delay_s": 5}, "f").priority == LOW


def test_only_what_kills_within_the_hour_is_critical() -> None:
    """Heat that a source says kills, and a room of which nothing is heard: nothing else may be as loud, and nothing else says so."""
    assert {rule.id for rule in RULES.values() if rule.priority == CRITICAL} == {"dry-bulb-lethal", "all-silent"}
    said = {rule.id for rule in RULES.values() if "kill" in rule.consequence or "within the hour" in rule.consequence}
    assert said == {"dry-bulb-lethal"}
    sent = {rule.id for rule in RULES.values() if "switch its heater off" in rule.first_act}
    assert sent == {"dry-bulb-lethal"}


# What is told once and perhaps forgotten: a worse alarm of the same thing stands behind it, which is not; or there are days.
BEHIND = {
    "dry-bulb-high-warning": "dry-bulb-high-alarm",
    "dry-bulb-low-warning": "dry-bulb-low-alarm",
    "dry-bulb-low-heading": "dry-bulb-low-alarm",
    "egg-too-cold": "dry-bulb-low-alarm",
    "humidity-low-warning": "humidity-low-alarm",
    "sensor-suspect": "sensor-failed",
    "not-recorded": "record-damaged",  # of a start that finds nothing
    "probes-disagree": "dry-bulb-high-alarm",  # the worse of the two is judged
}
BLIND = {"no-data", "sensor-failed", "node-offline", "bands-missing", "record-damaged", "all-silent", "keeps-stopping"}
DAYS = {
    "humidity-high-alarm",
    "humidity-high-warning",
    "sensor-drift",
    "hatch-overdue",
    "weight-off-track",
    "bands-in-conflict",
    "draw-down-due",
    "cooled-each-day",
    "switch-doubtful",  # then the air is judged, as without it
}


def test_nothing_that_must_not_be_forgotten_is_low() -> None:
    """What is low has a louder rule behind it, or leaves a day and more; whatever makes blind is not among it."""
    low = {rule.id for rule in RULES.values() if rule.priority == LOW}
    assert low == BEHIND.keys() | DAYS
    assert all(RULES[louder].priority != LOW for louder in BEHIND.values())
    assert all(RULES[id_].respond_min >= 1440 for id_ in DAYS)
    assert {RULES[id_].priority for id_ in BLIND} == {HIGH, CRITICAL}


def room(machines: int, probes_each: int, batches: int) -> Counter[str]:
    """How many alarms of each priority are configured in a room with a node in each machine: what a plant counts."""
    found: Counter[str] = Counter()
    for rule in RULES.values():
        if rule.id in ("no-data", "no-humidity", "sensor-failed", "sensor-suspect", "sensor-drift"):
            count = machines * probes_each
        elif rule.id in ("all-silent", "record-damaged", "not-recorded", "was-away", "keeps-stopping"):
            count = 1
        elif rule.id in ("weight-off-track", "look-again"):
            count = batches
        elif rule.id in (*OF_SWITCHES, "switch-doubtful"):
            count = 0  # no switch is configured in it
        elif rule.id == "probes-disagree":
            count = machines if probes_each > 1 else 0
        elif rule.id == "dry-bulb-high-alarm":
            count = 0  # the lower step of "deadly heat", counted there: one danger, of which one step is told at a time
        else:
            count = machines
        found[rule.priority] += count
    return found


@pytest.mark.parametrize(("machines", "probes_each", "batches"), [(6, 1, 8), (6, 2, 8), (1, 1, 1)])
def test_the_spread_of_priorities(machines: int, probes_each: int, batches: int) -> None:
    """Of the alarms configured in a room about half are low, more than of any other; at most 5 % are critical, a third high or worse.

    Guidance (EEMUA 191, ANSI/ISA-18.2; figures from memory) is about 80 % low, 15 % medium, 5 % high, under 1 % critical, for
    plants with thousands of alarms and someone at the screen. This departs from it on two points. Each machine has its own
    dangerous heat, one alarm of some thirty (in two steps, counted by the louder), so critical cannot be under 1 %. And of what is high, over half says that nobody
    watches any more (no reading, sensor failed, node gone, eggs that nobody judges, a daemon that keeps stopping): fewer would be a false silence, and
    together they ring once, for one cause is told once. The forecast of dangerous heat is high although "too hot" stands
    behind it: of a heat that comes slowly the alarm itself leaves the eggs less than half of their time. The room as a whole is silent once: a site of one machine has more
    of its few alarms in the room's two.
    """
    count = room(machines, probes_each, batches)
    share = {name: 100.0 * count[name] / count.total() for name in PRIORITIES}
    told = f"{machines} machines, {probes_each} probes each: {count.total()} alarms: " + ", ".join(f"{name} {share[name]:.0f} %" for name in PRIORITIES)  # fmt: skip
    print(told)
    single = machines == 1
    assert share[LOW] == max(share.values()), told
    assert share[LOW] >= (40.0 if single else 45.0), told
    assert share[HIGH] + share[CRITICAL] <= (36.0 if single else 100.0 / 3.0), told
    assert share[CRITICAL] <= (8.0 if single else 5.0), told
    loud = [rule.id for rule in RULES.values() if rule.priority == HIGH and rule.id not in OF_SWITCHES]
    assert len(BLIND.intersection(loud)) > len(loud) / 2
    by_rule = Counter(rule.priority for rule in RULES.values())
    assert by_rule[LOW] == max(by_rule.values())


# --- a site's, a profile's or a machine's own numbers


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
        ({"re_alarm_s": 30}, "f: r.re_alarm_s: 30, expected a number from 60 to 604800"),
        ({"respond_min": 0}, "f: r.respond_min: 0, expected a number from 1 to 10080"),
        ({"severity": "slight"}, f"f: r.severity: not a setting, expected one of {', '.join(CHANGEABLE)}"),
        ({"limit": 40}, "f: r.limit: 40, expected none: this rule has no limit to set"),
        ({"words": "hot"}, f"f: r.words: not a setting, expected one of {', '.join(CHANGEABLE)}"),
        ({"on_delay": 5}, f"f: r.on_delay: not a setting, expected one of {', '.join(CHANGEABLE)}"),
    ],
)
def test_a_number_that_cannot_be_used(changes: dict[str, Any], complaint: str) -> None:
    """A site's own number that is wrong is refused in one line: where, what came, what was expected."""
    rule = rule_of()
    with pytest.raises(RuleError) as raised:
        changed(rule, changes, "f")
    assert str(raised.value) == complaint


def test_a_sites_own_numbers_stand() -> None:
    """Only what a site gives is changed."""
    rule = rule_of()
    mine = changed(rule, {"on_delay_s": 5, "priority": "high", "re_alarm_s": 600}, "f")
    assert (mine.on_delay_s, mine.priority, mine.re_alarm_s, mine.deadband) == (5, "high", 600, 0.1)


@pytest.mark.parametrize(
    ("id_", "good", "bad", "expected"),
    [
        ("dry-bulb-lethal", (20, 45), (19.9, 45.1, 105, math.nan), "20 to 45 (°C)"),
        ("dry-bulb-high-alarm", (20, 45), (19.9, 45.1, 102, math.nan), "20 to 45 (°C)"),
        ("dry-bulb-low-warning", (20.0, 37.2), (0, 98.6, math.inf), "20 to 45 (°C)"),
        ("humidity-low-alarm", (0, 100), (-0.1, 100.1, True, "40"), "0 to 100 (%RH)"),
        ("lockdown-overdue", (0, 0.5), (-1, 31), "0 to 30 (days)"),
        ("hatch-overdue", (0, 3), (31, [1]), "0 to 30 (days)"),
    ],
)
def test_a_limit_of_ones_own(id_: str, good: tuple[Any, ...], bad: tuple[Any, ...], expected: str) -> None:
    """A limit is taken in the rule's unit within the range of any bird; a value in °F or a slip of the decimal point is refused."""
    for value in good:
        assert changed(RULES[id_], {"limit": value}, "f").limit == value
    for value in bad:
        with pytest.raises(RuleError) as raised:
            changed(RULES[id_], {"limit": value}, "f")
        assert str(raised.value) == f"f: {id_}.limit: {value!r}, expected a number from {expected}"


def test_a_limit_belongs_to_few_rules() -> None:
    """A rule that would not heed a limit refuses one: a limit that nobody looks at would be a false silence."""
    heed = {*by_limit(RULES).values(), "lockdown-overdue", "hatch-overdue"}
    for rule in RULES.values():
        if rule.id in heed:
            assert changed(rule, {"limit": 25}, "f").limit == 25
        else:
            with pytest.raises(RuleError, match="this rule has no limit to set"):
                changed(rule, {"limit": 25}, "f")


@pytest.mark.parametrize(
    ("table", "complaint"),
    [
        ({"r": 5}, "f: r: 5, expected a table"),
        ({"r": {**SOUND, "colour": 1}}, "f: r.colour: unknown setting, expected one of: " + FIELDS),
        (
            {"r": {k: v for k, v in SOUND.items() if k != "words"}},
            "f: r.words: missing, expected a value",
        ),
        (
            {"r": {**SOUND, "priority": "high"}},
            "f: r.priority: unknown setting, expected one of: " + FIELDS,
        ),
        ({"r": {**SOUND, "severity": "awful"}}, "f: r.severity: 'awful', expected one of severe, moderate, slight"),
        ({"r": {**SOUND, "group": 3}}, "f: r.group: 3, expected one of machine, node, room, batch"),
        ({"r": {**SOUND, "respond_min": None}}, "f: r.respond_min: None, expected a number from 1 to 10080"),
        (
            {"r": {**SOUND, "quantity": "ph", "side": "low"}},
            "f: r.quantity: 'ph', expected one of dry_bulb_c, humidity, egg_c, days",
        ),
        ({"r": {**SOUND, "side": "up"}}, "f: r.side: 'up', expected one of high, low"),
        ({"r": {**SOUND, "side": "low"}}, "f: r: quantity None, side 'low', expected both or neither"),
        (
            {"r": {**SOUND, "quantity": "egg_c", "side": "low", "level": "alarm"}},
            "f: r.level: 'alarm', expected none: it judges by no limit of a band",
        ),
        (
            {"r": {**SOUND, "quantity": "humidity", "side": "low", "foretells": "s", "over_s": 600}},
            "f: r.foretells: 's', expected none: only temperature is foretold",
        ),
        (
            {"r": {**SOUND, "quantity": "humidity", "side": "low", "level": "warning", "change": 5}},
            "f: r.change: 5, expected 0: it is judged by no mean",
        ),
        (
            {"r": {**SOUND, **WARM, "over_s": 600}},
            "f: r.over_s: 600, expected 0: it is judged by single readings",
        ),
        (
            {"r": {**SOUND, "quantity": "dry_bulb_c", "side": "low", "foretells": "s"}},
            "f: r.over_s: 0, expected more than 0: no single reading says what lies ahead",
        ),
        (
            {"r": {**SOUND, **WARM}, "s": {**SOUND, **WARM}},
            "f: r: dry_bulb_c, high, alarm, expected a limit that no other rule judges by",
        ),
        (
            {
                "r": {**SOUND, **WARM},
                "s": {**SOUND, "quantity": "dry_bulb_c", "side": "low", "foretells": "r", "over_s": 600},
            },
            "f: s.foretells: 'r', expected the alarm of the same quantity and side",
        ),
    ],
)
def test_a_shipped_table_that_is_wrong(table: dict[str, Any], complaint: str) -> None:
    """A rule with a field too many, one too few, or a wrong value is refused."""
    with pytest.raises(RuleError) as raised:
        read_rules(table, "f")
    assert str(raised.value) == complaint
