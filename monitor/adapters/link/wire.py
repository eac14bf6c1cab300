"""What our own nodes send, to values: a SenML JSON pack (RFC 8428) or a node's presence; and the answer that a node waits for.

Nothing here raises, whatever the bytes: what cannot be understood comes back as Refused, with a reason a person can read. The
checks go from the outside in (size, UTF-8, JSON, records, one record, one value), so a hostile message costs little.
"""

from __future__ import annotations

import json
import re
from typing import Any, NoReturn

from monitor.domain.readings.reading import Pack, Presence, Refused, Sample

# A pack of eight probes has under 1 KiB; the cap stands before the parser, whose cost grows with the size.
MAX_BYTES = 8_192
MAX_RECORDS = 64
MAX_COUNT = 2**31 - 1  # boot, seq and up: whole numbers that any node and any table can hold
RELATIVE_S = 2**28  # RFC 8428, 4.5.3: a time below this counts from now, one from here on from 1970
MAX_AT_S = 4_102_444_800  # 2100-01-01; a later time is a mistake
MAX_FAULT = 64  # characters of a node's own word for what is wrong
MAX_SHOWN = 40  # characters of a wrong value that a reason repeats
MAX_TOPIC = 200  # characters of a refused topic that are kept

# What the formulas in the sensors' datasheets can give at all; whether a reading is fit to be judged is decided elsewhere.
_RANGES = {"t": ("Cel", -80, 150), "rh": ("%RH", -10, 120)}
_PLACES = {"t": 0, "rh": 1, "fault": 2}
_KNOWN = frozenset({"bn", "bt", "bu", "n", "u", "v", "vs", "t", "boot", "seq", "up"})
_OURS = frozenset({"boot", "seq", "up"})
# Of RFC 8428, but values of another kind than ours, or sums.
_OTHER_VALUES = frozenset({"bv", "bs", "s", "vb", "vd"})
_VERSION = 10  # of SenML, RFC 8428, 4.4
_NUMBERS: frozenset[Any] = frozenset({int, float})  # by exact class: in Python a bool is an int
_UNSEEN = re.compile(r"[\x00-\x1f\x7f-\x9f\ud800-\udfff]")  # control characters, lone surrogates
_id = re.compile(r"[a-z0-9-]{1,32}").fullmatch


class _Refusal(Exception):
    """Why a message is refused; never leaves this module."""


def decode(topic: str, payload: bytes, *, root: str, site: str, retained: bool) -> Pack | Presence | Refused:
    """One message of a node of ours.

    Parameters
        topic: as it came. payload: as it came, any bytes. root, site: the topics' first levels.
        retained: the broker's mark for a stored message; passed on, for what is retained is history.
    Returns
        Pack from `<root>/<site>/<node>/air`, Presence from `.../status`, Refused for anything else; never an exception.
    """
    prefix = f"{root}/{site}/"
    node, _, kind = topic[len(prefix) :].partition("/") if topic.startswith(prefix) else ("", "", "")
    if kind not in ("air", "status") or not _id(node):
        return _refused(topic, payload, f"topic {_shown(topic)}, expected {prefix}<node>/air or {prefix}<node>/status")
    if kind == "status":
        if payload not in (b"online", b"offline"):
            came = _shown(payload[: MAX_SHOWN + 1])
            return _refused(topic, payload, f"{node}: status {came}, expected online or offline")
        return Presence(node, payload == b"online", retained)
    seq = None
    try:
        records = _records(payload)
        boot, seq, up_s = _numbers(records[0])
        samples = _samples(node, records)
    except _Refusal as refusal:
        return _refused(topic, payload, f"{node}{'' if seq is None else f' #{seq}'}: {refusal}")
    return Pack(node, samples, boot, seq, up_s, retained)


def speaks_elsewhere(topic: str, payload: bytes, *, root: str, site: str) -> tuple[str, str, bool] | None:
    """(node, site, online) from `<root>/<another site>/<node>/status`, where a node set up for another site says that it is there.

    None for anything else: what other sites say is not for us.
    """
    levels = topic.removeprefix(f"{root}/").split("/") if topic.startswith(f"{root}/") else []
    if len(levels) != 3 or levels[2] != "status" or payload not in (b"online", b"offline"):
        return None
    other, node, _ = levels
    if other == site or not _id(other) or not _id(node):
        return None
    return node, other, payload == b"online"


def encode_stored(boot: int, seq: int) -> bytes:
    """The payload of `<root>/<site>/<node>/stored`: all of this boot up to this number is durable."""
    return b'{"boot":%d,"seq":%d}' % (boot, seq)


def _records(payload: bytes) -> list[dict[str, Any]]:
    """The pack's records, each a mapping with every label once."""
    if len(payload) > MAX_BYTES:
        raise _Refusal(f"{len(payload)} bytes, expected at most {MAX_BYTES}")
    try:
        text = payload.decode()
    except UnicodeDecodeError as error:
        raise _Refusal(f"not UTF-8 at byte {error.start}, expected a SenML pack in UTF-8") from None
    if text.startswith("\ufeff"):
        raise _Refusal("begins with a byte order mark, expected a SenML pack in plain UTF-8")
    try:
        records: Any = _DECODER.decode(text)
    except json.JSONDecodeError as error:
        raise _Refusal(f"not JSON: {error.msg.lower()} at character {error.pos}, expected a SenML pack") from None
    except RecursionError:
        raise _Refusal("nested too deeply, expected an array of records") from None
    except ValueError:  # Python reads no whole number of more than 4300 digits
        raise _Refusal("a number with thousands of digits, expected a number") from None
    if not isinstance(records, list):
        raise _Refusal(f"{_shown(records)}, expected an array of records")
    if not 1 <= len(records) <= MAX_RECORDS:
        raise _Refusal(f"{len(records)} records, expected 1 to {MAX_RECORDS}")
    for record in records:
        if not isinstance(record, dict):
            raise _Refusal(f"{_shown(record)} among the records, expected objects alone")
    if "\\" in text or not text.isprintable():
        _check_texts(records)
    return records


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """An object of the JSON text; which of two equal labels a parser takes is anybody's guess, so neither is taken."""
    found = dict(pairs)
    if len(found) != len(pairs):
        seen: set[str] = set()
        for label, _ in pairs:
            if label in seen:
                raise _Refusal(f"label {_shown(label)} twice in one record, expected once")
            seen.add(label)
    return found


def _not_finite(word: str) -> NoReturn:
    raise _Refusal(f"{word}, expected a finite number")


_DECODER = json.JSONDecoder(object_pairs_hook=_once, parse_constant=_not_finite)


def _numbers(first: dict[str, Any]) -> tuple[int | None, int | None, int | None]:
    """boot, seq and up of the first record; none of them for a node of another make."""
    for label in ("boot", "seq", "up"):
        if label in first:
            value = first[label]
            if value.__class__ is not int or not 0 <= value <= MAX_COUNT:
                raise _Refusal(f"{label} {_shown(value)}, expected a whole number from 0 to {MAX_COUNT}")
    boot, seq, up_s = first.get("boot"), first.get("seq"), first.get("up")
    if (boot is None) != (seq is None):
        raise _Refusal("one of boot and seq, expected both or neither")
    if boot is None and up_s is not None:
        raise _Refusal("up without boot and seq, expected all three")
    return boot, seq, up_s


def _samples(node: str, records: list[dict[str, Any]]) -> tuple[Sample, ...]:
    """The records resolved (RFC 8428, 4.6), those of one probe at one time joined."""
    base_name, base_s, base_unit = "", 0.0, None
    found: dict[tuple[str, float], list[Any]] = {}
    for record in records:
        if not record.keys() <= _KNOWN or None in record.values():
            _check_labels(record)
        get = record.get
        if record is not records[0] and not _OURS.isdisjoint(record):
            raise _Refusal("boot, seq or up in a later record, expected in the first alone")
        if (text := get("bn")) is not None:
            base_name = _text("bn", text)
        if (number := get("bt")) is not None:
            base_s = _seconds("bt", number)
        if (text := get("bu")) is not None:
            base_unit = _text("bu", text)
        probe, quantity = _name(node, base_name + _text("n", get("n", "")))
        time_s = base_s if (number := get("t")) is None else base_s + _seconds("t", number)
        if time_s and not (-RELATIVE_S < time_s < 0 or RELATIVE_S <= time_s <= MAX_AT_S):
            raise _Refusal(f"time {_shown(time_s)}, expected at most 0 (so long ago) or seconds since 1970")
        values = found.setdefault((probe, time_s), [None, None, None])
        place = _PLACES[quantity]
        if values[place] is not None:
            raise _Refusal(f"{probe}/{quantity} twice for one time, expected once")
        if quantity == "fault":
            values[place] = _fault(probe, record)
        else:
            values[place] = _value(probe, quantity, record, get("u", base_unit))
    return tuple([_sample(probe, time_s, *values) for (probe, time_s), values in found.items()])


def _sample(probe: str, time_s: float, dry_bulb_c: float | None, rh_pct: float | None, fault: str | None) -> Sample:
    if time_s < RELATIVE_S:
        return Sample(probe, dry_bulb_c, rh_pct, time_s, None, fault or "")
    return Sample(probe, dry_bulb_c, rh_pct, 0.0, round(time_s * 1000), fault or "")


def _name(node: str, name: str) -> tuple[str, str]:
    """Probe and quantity of a resolved name."""
    parts = name.split("/")
    if parts[0] != node:
        raise _Refusal(f"name {_shown(name)}, expected one that begins with {node}/, as the topic does")
    if len(parts) != 3 or not _id(parts[1]) or parts[2] not in _PLACES:
        raise _Refusal(f"name {_shown(name)}, expected {node}/<probe>/ and t, rh or fault")
    return parts[1], parts[2]


def _value(probe: str, quantity: str, record: dict[str, Any], unit: object) -> float:
    value: Any = record.get("v")
    expected_unit, low, high = _RANGES[quantity]
    if unit != expected_unit:
        raise _Refusal(f"{probe}/{quantity} in {_shown(unit)}, expected {expected_unit}")
    if type(value) not in _NUMBERS or "vs" in record:
        raise _Refusal(f"{probe}/{quantity} {_shown(record.get('vs', value))}, expected one number")
    if not low <= value <= high:
        raise _Refusal(f"{probe}/{quantity} {_shown(value)}, expected {low} to {high}")
    return float(value)


def _fault(probe: str, record: dict[str, Any]) -> str:
    word = record.get("vs")
    if not isinstance(word, str) or "v" in record:
        raise _Refusal(f"{probe}/fault {_shown(record.get('v', word))}, expected one string")
    if not 1 <= len(word) <= MAX_FAULT or not word.isprintable():
        raise _Refusal(f"{probe}/fault {_shown(word)}, expected 1 to {MAX_FAULT} printable characters")
    return word


def _text(label: str, value: object) -> str:
    if not isinstance(value, str):
        raise _Refusal(f"{label} {_shown(value)}, expected a string")
    return value


def _seconds(label: str, value: Any) -> float:
    """A time or a base time, still to be added up."""
    # Compared before it becomes a float: a whole number of a thousand digits cannot become one.
    if type(value) not in _NUMBERS or not -MAX_AT_S <= value <= MAX_AT_S:
        raise _Refusal(f"{label} {_shown(value)}, expected at most {MAX_AT_S} seconds either way")
    return float(value)


def _check_labels(record: dict[str, Any]) -> None:
    """A record with labels that we do not know, or with a null: what may be ignored, and what may not."""
    for label, value in record.items():
        if value.__class__ in (dict, list):
            raise _Refusal(f"{_shown(value)} in label {_shown(label)}, expected records of plain values")
        if label in _KNOWN:
            if value is None:
                raise _Refusal(f"{label} null, expected a value")
        elif label.endswith("_"):
            raise _Refusal(f"label {_shown(label)} must be understood (RFC 8428, 4.4), and is not known here")
        elif label in _OTHER_VALUES:
            raise _Refusal(f"label {_shown(label)}, expected values as v or vs alone")
        elif label == "bver" and (value.__class__ is not int or value != _VERSION):
            raise _Refusal(f"bver {_shown(value)}, expected {_VERSION}")


def _check_texts(records: list[dict[str, Any]]) -> None:
    """Strings that came by an escape, or beside unprintable characters, may not hold what no table or terminal can show."""
    for record in records:
        for label, value in record.items():
            for text in (label, value):
                if text.__class__ is str and _UNSEEN.search(text):
                    raise _Refusal(f"{_shown(text)} holds a control character or half a character, expected plain text")


def _shown(value: object) -> str:
    """What came, short and printable."""
    if isinstance(value, dict | list):
        return "an object" if isinstance(value, dict) else "an array"
    if value is None or isinstance(value, bool):
        return {None: "nothing", True: "true", False: "false"}[value]
    text = ascii(value)
    return text if len(text) <= MAX_SHOWN else f"{text[:MAX_SHOWN]}..."


def _refused(topic: str, payload: bytes, reason: str) -> Refused:
    printable = topic if topic.isprintable() else ascii(topic)[1:-1]
    return Refused(printable[:MAX_TOPIC], payload[:MAX_BYTES], reason)
