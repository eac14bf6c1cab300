"""Nodes of other makes: a `[[payload]]` rule says which topic is which probe, and where in its JSON the numbers stand.

A rule is checked when it is made, so that a mistake shows at `eggroom check` and not at the first message. Messages are read as
strictly as our own; °F becomes °C here. Such nodes do not number their messages, so a reading is dated by its arrival.
"""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, NoReturn

from monitor.domain.air.units import fahrenheit_to_celsius
from monitor.domain.readings.reading import Pack, Refused, Sample

MAX_BYTES = 8_192  # as for our own nodes: the cap stands before the parser
MAX_FILTER = 200  # characters
MAX_POINTER = 200
MAX_SHOWN = 40  # characters of a wrong value that a reason repeats
MAX_TOPIC = 200  # characters of a refused topic that are kept
_MAX_INDEX = 9  # digits of a place in an array: more than a message can hold

# What a sensor can give at all, in the unit in which it comes; whether a reading is fit to be judged is decided elsewhere.
_RANGES = {"C": (-80, 150), "F": (-112, 302), "%RH": (-10, 120)}
_ID = re.compile(r"[a-z0-9-]{1,32}")
_LEVEL = re.compile(r"\{([1-9][0-9]?)\}")
_TO_HYPHEN = str.maketrans("_.: ", "----")  # what other makes put between words and in hardware addresses
_NUMBERS: frozenset[Any] = frozenset({int, float})  # by exact class: in Python a bool is an int


class MappingError(ValueError):
    """A rule that cannot work; one line."""


class _Refusal(Exception):
    """Why a message is refused; never leaves this module."""


@dataclass(frozen=True, slots=True)
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
            raise MappingError(f"{where}: unit {self.unit!r}, expected C or F")
        rh = None if self.rh is None else _tokens(f"{where}: rh", self.rh)
        object.__setattr__(self, "levels", levels)
        object.__setattr__(self, "pointers", (_tokens(f"{where}: dry_bulb", self.dry_bulb), rh))


def map_payload(rules: Sequence[PayloadRule], topic: str, payload: bytes, *, retained: bool) -> Pack | Refused | None:
    """One message by the rules whose filter its topic matches: several of them are several probes of one node.

    None when no rule is about this topic; Refused when a rule is, and the message cannot be understood; never an exception. A
    number that a rule points to and that is missing or null is a quantity not measured; one must be there.
    """
    levels = topic.split("/")
    matching = [rule for rule in rules if _matches(rule.levels, levels)]
    if not matching:
        return None
    node = ""
    try:
        node = _named(matching[0].node, levels)
        document = _document(payload)
        samples: dict[str, Sample] = {}
        for rule in matching:
            if _named(rule.node, levels) != node:
                raise _Refusal("rules that name different nodes for one message, expected one node")
            sample = _sample(rule, _named(rule.probe, levels), document)
            if sample is None:
                continue
            if sample.probe in samples:
                raise _Refusal(f"probe {sample.probe} twice in one message, expected once")
            samples[sample.probe] = sample
        if not samples:
            pointed = " or ".join(repr(p) for rule in matching for p in (rule.dry_bulb, rule.rh) if p is not None)
            raise _Refusal(f"no number in the message, expected one at {pointed[:MAX_TOPIC]}")
    except _Refusal as refusal:
        printable = topic if topic.isprintable() else ascii(topic)[1:-1]
        where = node or f"topic {printable[:MAX_TOPIC]}"
        return Refused(printable[:MAX_TOPIC], payload[:MAX_BYTES], f"{where}: {refusal}")
    return Pack(node, tuple(samples.values()), retained=retained)


def _sample(rule: PayloadRule, probe: str, document: object) -> Sample | None:
    to_dry_bulb, to_rh = rule.pointers
    dry_bulb = _number(f"{probe}/t", _at(document, to_dry_bulb), rule.unit)
    rh_pct = None if to_rh is None else _number(f"{probe}/rh", _at(document, to_rh), "%RH")
    if dry_bulb is None and rh_pct is None:
        return None
    if dry_bulb is not None and rule.unit == "F":
        dry_bulb = fahrenheit_to_celsius(dry_bulb)
    return Sample(probe, dry_bulb, rh_pct)


def _number(what: str, value: Any, unit: str) -> float | None:
    if value is None:
        return None
    low, high = _RANGES[unit]
    if type(value) not in _NUMBERS:
        raise _Refusal(f"{what} {_shown(value)}, expected a number")
    if not low <= value <= high:
        raise _Refusal(f"{what} {_shown(value)} {unit}, expected {low} to {high}")
    return float(value)


def _document(payload: bytes) -> object:
    """The message's JSON, with every label once in its object and finite numbers alone."""
    if len(payload) > MAX_BYTES:
        raise _Refusal(f"{len(payload)} bytes, expected at most {MAX_BYTES}")
    try:
        text = payload.decode()
        if text.startswith("\ufeff"):
            raise _Refusal("begins with a byte order mark, expected plain UTF-8")
        return _DECODER.decode(text)
    except UnicodeDecodeError as error:
        raise _Refusal(f"not UTF-8 at byte {error.start}, expected JSON in UTF-8") from None
    except json.JSONDecodeError as error:
        raise _Refusal(f"not JSON: {error.msg.lower()} at character {error.pos}, expected JSON") from None
    except RecursionError:
        raise _Refusal("nested too deeply, expected a plain message") from None
    except ValueError:  # Python reads no whole number of more than 4300 digits
        raise _Refusal("a number with thousands of digits, expected a number") from None


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for label, value in pairs:
        if label in found:
            raise _Refusal(f"label {_shown(label)} twice in one object, expected once")
        found[label] = value
    return found


def _not_finite(word: str) -> NoReturn:
    raise _Refusal(f"{word}, expected a finite number")


_DECODER = json.JSONDecoder(object_pairs_hook=_once, parse_constant=_not_finite)


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
        raise MappingError(f"{where} {_shown(pointer)}, expected a JSON Pointer such as /temperature")
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
        raise MappingError(f"payload rule {_shown(topic_filter)}: expected a topic filter such as sensors/+/climate")
    return levels


def _check_template(where: str, template: str, levels: tuple[str, ...]) -> None:
    numbers = [int(number) for number in _LEVEL.findall(template)]
    if not _ID.fullmatch(_LEVEL.sub("x", template)):
        raise MappingError(
            f"{where} {_shown(template)}, expected at most 32 of a-z, 0-9 and -, or {{2}} for the topic's second level"
        )
    if numbers and max(numbers) > len(levels) - (levels[-1] == "#"):
        raise MappingError(f"{where} {_shown(template)}, expected a level that every topic of the filter has")


def _named(template: str, levels: list[str]) -> str:
    name = _LEVEL.sub(lambda match: levels[int(match[1]) - 1].lower().translate(_TO_HYPHEN), template)
    if not _ID.fullmatch(name):
        raise _Refusal(f"name {_shown(name)} from the topic, expected at most 32 of a-z, 0-9 and -")
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


def _shown(value: object) -> str:
    """What came, short and printable."""
    if isinstance(value, dict | list):
        return "an object" if isinstance(value, dict) else "an array"
    if isinstance(value, bool):
        return "true" if value else "false"
    text = ascii(value)
    return text if len(text) <= MAX_SHOWN else f"{text[:MAX_SHOWN]}..."
