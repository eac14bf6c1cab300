"""Nodes of other makes: a `[[payload]]` rule says which topic is which probe, and where in its JSON the numbers stand.

A rule is checked when it is made, so that a mistake shows at `eggroom check` and not at the first message. Messages are read as
strictly as our own; °F becomes °C here. Such nodes do not number their messages, so a reading is dated by its arrival.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import field

from monitor.adapters.link.strict_json import (
    MAX_TOPIC,
    MOST,
    is_number,
    joined,
    printable,
    read_json,
    refused,
    shown,
)
from monitor.domain.air.units import fahrenheit_to_celsius
from monitor.domain.fixed import fixed
from monitor.domain.needs.site import ID
from monitor.domain.readings.reading import Pack, Refused, Sample
from monitor.domain.refusal import Refusal

MAX_FILTER = 200  # characters
MAX_POINTER = 200
_MAX_INDEX = 9  # digits of a place in an array: more than a message can hold

# What a sensor can give at all, in the unit in which it comes. Beyond it a value stands for none: that is passed on, up to MOST.
_RANGES = {"C": (-80, 150), "F": (-112, 302), "%RH": (-10, 120)}
_ID = re.compile(ID)
_LEVEL = re.compile(r"\{([1-9][0-9]?)\}")
_TO_HYPHEN = str.maketrans("_.: ", "----")  # what other makes put between words and in hardware addresses


class MappingError(Refusal):
    """A rule that cannot work; one line."""


@fixed
class PayloadRule:
    """One probe of another make.

    topic_filter: an MQTT filter, with + for one level and # for the rest. node, probe: ids; `{2}` stands for the topic's second
    level, made an id: lower case, with a hyphen for each of `_ . :` and space.
    dry_bulb, rh: JSON Pointers (RFC 6901) to numbers; "" is a message that is a bare number. unit: of the temperature.
    Raises MappingError for a rule that cannot work.
    """

    topic_filter: str
    node: str
    probe: str
    dry_bulb: str
    rh: str | None = None
    unit: str = "C"
    levels: tuple[str, ...] = field(init=False, repr=False)
    pointers: tuple[tuple[str, ...], tuple[str, ...] | None] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        levels = _filter_levels(self.topic_filter)
        where = f"payload rule {self.topic_filter!r}"
        for name, template in (("node", self.node), ("probe", self.probe)):
            _check_template(f"{where}: {name}", template, levels)
        if self.unit not in ("C", "F"):
            raise MappingError(where, f"unit {self.unit!r}", "C or F")
        rh = None if self.rh is None else _tokens(f"{where}: rh", self.rh)
        object.__setattr__(self, "levels", levels)
        object.__setattr__(self, "pointers", (_tokens(f"{where}: dry_bulb", self.dry_bulb), rh))


def map_payload(rules: Sequence[PayloadRule], topic: str, payload: bytes, *, retained: bool) -> Pack | Refused | None:
    """One message by the rules whose filter its topic matches: several of them are several probes of one node.

    None when no rule is about this topic; Refused when a rule is, and the message cannot be understood; never an exception. A
    number that a rule points to and that is missing or null is a quantity not measured; one must be there. Where something else than
    a number is there, the other numbers are taken all the same.
    """
    levels = topic.split("/")
    matching = [rule for rule in rules if _matches(rule.levels, levels)]
    if not matching:
        return None
    node = ""
    try:
        node = _named(matching[0].node, levels)
        _, document = read_json(payload, "JSON", "a plain message")
        samples: dict[str, Sample] = {}
        wrong: list[Refusal] = []
        for rule in matching:
            if _named(rule.node, levels) != node:
                raise Refusal("", "rules that name different nodes for one message", "one node")
            sample = _sample(rule, _named(rule.probe, levels), document, wrong=wrong)
            if sample is None:
                continue
            if sample.probe in samples:
                raise Refusal("", f"probe {sample.probe} twice in one message", "once")
            samples[sample.probe] = sample
        if all(s.dry_bulb_c is None and s.rh_pct is None for s in samples.values()):
            pointed = " or ".join(repr(p) for rule in matching for p in (rule.dry_bulb, rule.rh) if p is not None)
            raise joined(wrong) if wrong else Refusal("", "no number in the message", f"one at {pointed[:MAX_TOPIC]}")
    except Refusal as refusal:
        why = Refusal(node or f"topic {printable(topic)}", refusal.came, refusal.expected)
        return refused(topic, payload, why, node=node)
    aside = None
    if wrong:
        aside = refused(topic, payload, joined(wrong, "the other numbers were taken", where=node), node=node)
    return Pack(node, tuple(samples.values()), retained=retained, refused=aside)


def _sample(rule: PayloadRule, probe: str, document: object, *, wrong: list[Refusal]) -> Sample | None:
    """What a rule finds; why a number cannot be used is added to `wrong`."""
    values: list[float | None] = []
    rh_wrong = False
    before = len(wrong)
    for what, pointer, unit in zip((f"{probe}/t", f"{probe}/rh"), rule.pointers, (rule.unit, "%RH"), strict=True):
        try:
            values.append(None if pointer is None else _number(what, _at(document, pointer), unit))
        except Refusal as refusal:
            rh_wrong = bool(values)  # of the two, the humidity comes second
            values.append(None)
            wrong.append(refusal)
    dry_bulb, rh_pct = values
    if dry_bulb is None and rh_pct is None and len(wrong) == before:
        return None
    if dry_bulb is not None and rule.unit == "F":
        dry_bulb = fahrenheit_to_celsius(dry_bulb)
    return Sample(probe, dry_bulb, rh_pct, fault=str(joined(wrong[before:])), rh_wrong=rh_wrong)


def _number(what: str, value: object, unit: str) -> float | None:
    if value is None:
        return None
    if not is_number(value):
        raise Refusal("", f"{what} {shown(value)}", "a number")
    if not -MOST <= value <= MOST:
        low, high = _RANGES[unit]
        raise Refusal("", f"{what} {shown(value)} {unit}", f"{low} to {high}")
    return float(value)


def _at(document: object, tokens: tuple[str, ...]) -> object:
    """What a pointer points to (RFC 6901, 4); None where nothing is."""
    for token in tokens:
        if isinstance(document, dict):
            document = document.get(token)
        elif isinstance(document, list) and _is_index(token) and int(token) < len(document):
            document = document[int(token)]
        else:
            return None
    return document


def _is_index(token: str) -> bool:
    return token.isascii() and token.isdigit() and len(token) <= _MAX_INDEX and (token == "0" or token[0] != "0")


def _tokens(where: str, pointer: str) -> tuple[str, ...]:
    """The parts of a JSON Pointer, with ~1 for / and ~0 for ~ (RFC 6901, 3)."""
    if len(pointer) > MAX_POINTER or (pointer and pointer[0] != "/") or re.search("~(?![01])", pointer):
        raise MappingError("", f"{where} {shown(pointer)}", "a JSON Pointer such as /temperature")
    return tuple(token.replace("~1", "/").replace("~0", "~") for token in pointer.split("/")[1:])


def _filter_levels(topic_filter: str) -> tuple[str, ...]:
    """The levels of an MQTT topic filter (MQTT 3.1.1, 4.7)."""
    levels = tuple(topic_filter.split("/"))
    wrong = (
        not 1 <= len(topic_filter) <= MAX_FILTER
        or not topic_filter.isprintable()
        or any(("+" in level or "#" in level) and len(level) > 1 for level in levels)
        or "#" in levels[:-1]
        or levels[0] == "$share"  # a shared subscription gives each message to one member only
    )
    if wrong:
        raise MappingError(f"payload rule {shown(topic_filter)}", expected="a topic filter such as sensors/+/climate")
    return levels


def _check_template(where: str, template: str, levels: tuple[str, ...]) -> None:
    numbers = [int(number) for number in _LEVEL.findall(template)]
    if not _ID.fullmatch(_LEVEL.sub("x", template)):
        raise MappingError(
            "",
            f"{where} {shown(template)}",
            "at most 32 of a-z, 0-9 and -, or {2} for the topic's second level",
        )
    if numbers and max(numbers) > len(levels) - (levels[-1] == "#"):
        raise MappingError("", f"{where} {shown(template)}", "a level that every topic of the filter has")


def _named(template: str, levels: list[str]) -> str:
    name = _LEVEL.sub(lambda match: levels[int(match[1]) - 1].lower().translate(_TO_HYPHEN), template)
    if not _ID.fullmatch(name):
        raise Refusal("", f"name {shown(name)} from the topic", "at most 32 of a-z, 0-9 and -")
    return name


def _matches(wanted: tuple[str, ...], levels: list[str]) -> bool:
    """Whether a topic matches a filter; a leading wildcard does not match the broker's own $ topics (MQTT 3.1.1, 4.7.2)."""
    if levels[0].startswith("$") and wanted[0] in ("+", "#"):
        return False
    for place, level in enumerate(wanted):
        if level == "#":
            return True
        if place >= len(levels) or level not in ("+", levels[place]):
            return False
    return len(levels) == len(wanted)
