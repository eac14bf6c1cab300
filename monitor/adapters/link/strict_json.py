"""JSON from outside, read strictly: a cap before the parser, UTF-8, every label once in its object.

Which of two equal labels a parser takes is anybody's guess, so neither is taken. What cannot be read is a Refusal, which says
what came and what was expected; it never leaves this folder: a message that is refused becomes a value, `Refused`. NaN and the infinities
are read as Python reads them: they are what some nodes send of a failed probe, and whoever takes a number checks its range.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import TypeGuard

from monitor.domain.readings.reading import Refused
from monitor.domain.refusal import Refusal

# A pack of eight probes has under 1 KiB; the cap stands before the parser, whose cost grows with the size.
MAX_BYTES = 8_192
MAX_SHOWN = 40  # characters of a wrong value that a reason repeats
MAX_TOPIC = 200  # characters of a refused topic that are kept
MAX_REASONS = 2  # of one message that are told
# What a sensor can give at all is narrower: that a value is none is told of its probe, and decided elsewhere. Beyond this it is no number
# that any library gives in place of one (117,917.6 °C and 65,537 %RH were seen).
MOST = 1e6
_NUMBERS: frozenset[type] = frozenset({int, float})  # by exact class: in Python a bool is an int


def read_json(payload: bytes, expected: str, form: str) -> tuple[str, object]:
    """(text, what it says). expected, form: what such a message should be, and be made of, for the reason. Raises Refusal."""
    if len(payload) > MAX_BYTES:
        raise Refusal("", f"{len(payload)} bytes", f"at most {MAX_BYTES}")
    try:
        text = payload.decode()
    except UnicodeDecodeError as error:
        raise Refusal("", f"not UTF-8 at byte {error.start}", f"{expected} in UTF-8") from None
    if text.startswith("\ufeff"):
        raise Refusal("", "begins with a byte order mark", f"{expected} in plain UTF-8")
    try:
        return text, _value(text)
    except json.JSONDecodeError as error:
        raise Refusal("", f"not JSON: {error.msg.lower()} at character {error.pos}", expected) from None
    except Refusal:  # a label twice; it is a ValueError too
        raise
    except RecursionError:
        raise Refusal("", "nested too deeply", form) from None
    except ValueError:  # Python reads no whole number of more than 4300 digits
        raise Refusal("", "a number with thousands of digits", "a number") from None


def refused(topic: str, payload: bytes, why: Refusal, *, node: str = "") -> Refused:
    """A message, or what of it was not understood, kept as refused: cut to what a table and a terminal can bear."""
    return Refused(printable(topic), payload[:MAX_BYTES], str(why), node)


def joined(reasons: Sequence[Refusal], rest: str = "", *, where: str = "") -> Refusal:
    """Several reasons of one message as one, of bounded length. rest: what became of the rest of it."""
    told = [str(each) for each in reasons[:MAX_REASONS]]
    if (more := len(reasons) - MAX_REASONS) > 0:
        told.append(f"and {more} more")
    return Refusal(where, "; ".join([*told, rest] if rest else told))


def printable(topic: str) -> str:
    """A topic as it can be shown: short, and without what a terminal acts on."""
    return (topic if topic.isprintable() else ascii(topic)[1:-1])[:MAX_TOPIC]


def is_number(value: object) -> TypeGuard[float]:
    """Whether a value that was read is a number, true and false not among them."""
    return type(value) in _NUMBERS


def shown(value: object) -> str:
    """What came, short and printable."""
    if isinstance(value, dict | list):
        return "an object" if isinstance(value, dict) else "an array"
    if value is None or isinstance(value, bool):
        return {None: "nothing", True: "true", False: "false"}[value]
    text = ascii(value)
    return text if len(text) <= MAX_SHOWN else f"{text[:MAX_SHOWN]}..."


def _once(pairs: list[tuple[str, object]]) -> dict[str, object]:
    found = dict(pairs)
    if len(found) != len(pairs):
        seen: set[str] = set()
        for label, _ in pairs:
            if label in seen:
                raise Refusal("", f"label {shown(label)} twice in one object", "once")
            seen.add(label)
    return found


_DECODER = json.JSONDecoder(object_pairs_hook=_once)


def _value(text: str) -> object:
    """What a text says. Nearly every one is its value alone; the library looks for white space around it by two regular expressions."""
    try:
        value, end = _DECODER.raw_decode(text)
    except json.JSONDecodeError:
        end = -1
    return value if end == len(text) else _DECODER.decode(text)
