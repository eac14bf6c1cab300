"""What our own nodes send, to values: a SenML JSON pack (RFC 8428) or a node's presence; and the answer that a node waits for.

Nothing here raises, whatever the bytes: what cannot be understood comes back as Refused, with a reason a person can read. The
checks go from the outside in (size, UTF-8, JSON, records, one record, one value), so a hostile message costs little.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

from monitor.adapters.link.strict_json import MAX_SHOWN, NUMBERS, Refusal, read_json, refused, shown
from monitor.domain.readings.reading import Pack, Presence, Refused, Sample

MAX_RECORDS = 64
MAX_COUNT = 2**31 - 1  # boot, seq and up: whole numbers that any node and any table can hold
RELATIVE_S = 2**28  # RFC 8428, 4.5.3: a time below this counts from now, one from here on from 1970
MAX_AT_S = 4_102_444_800  # 2100-01-01; a later time is a mistake
MAX_FAULT = 64  # characters of a node's own word for what is wrong

# What the formulas in the sensors' datasheets can give at all; whether a reading is fit to be judged is decided elsewhere.
_RANGES = {"t": ("Cel", -80, 150), "rh": ("%RH", -10, 120)}
_PLACES = {"t": 0, "rh": 1, "fault": 2}
_KNOWN = frozenset({"bn", "bt", "bu", "n", "u", "v", "vs", "t", "boot", "seq", "up"})
_OURS = frozenset({"boot", "seq", "up"})
# Of RFC 8428, but values of another kind than ours, or sums.
_OTHER_VALUES = frozenset({"bv", "bs", "s", "vb", "vd"})
_VERSION = 10  # of SenML, RFC 8428, 4.4
_UNSEEN = re.compile(r"[\x00-\x1f\x7f-\x9f\ud800-\udfff]")  # control characters, lone surrogates
_id = re.compile(r"[a-z0-9-]{1,32}").fullmatch


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
        return refused(topic, payload, f"topic {shown(topic)}, expected {prefix}<node>/air or {prefix}<node>/status")
    if kind == "status":
        if payload not in (b"online", b"offline"):
            came = shown(payload[: MAX_SHOWN + 1])
            return refused(topic, payload, f"{node}: status {came}, expected online or offline")
        return Presence(node, payload == b"online", retained)
    seq = None
    try:
        records = _records(payload)
        boot, seq, up_s = _numbers(records[0])
        samples = _samples(node, records)
    except Refusal as refusal:
        return refused(topic, payload, f"{node}{'' if seq is None else f' #{seq}'}: {refusal}")
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
    text, records = read_json(payload, "a SenML pack", "an array of records")
    if not isinstance(records, list):
        raise Refusal(f"{shown(records)}, expected an array of records")
    if not 1 <= len(records) <= MAX_RECORDS:
        raise Refusal(f"{len(records)} records, expected 1 to {MAX_RECORDS}")
    for record in records:
        if not isinstance(record, dict):
            raise Refusal(f"{shown(record)} among the records, expected objects alone")
    if "\\" in text or not text.isprintable():
        _check_texts(records)
    return records


def _numbers(first: dict[str, Any]) -> tuple[int | None, int | None, int | None]:
    """boot, seq and up of the first record; none of them for a node of another make."""
    for label in ("boot", "seq", "up"):
        if label in first:
            value = first[label]
            if value.__class__ is not int or not 0 <= value <= MAX_COUNT:
                raise Refusal(f"{label} {shown(value)}, expected a whole number from 0 to {MAX_COUNT}")
    boot, seq, up_s = first.get("boot"), first.get("seq"), first.get("up")
    if (boot is None) != (seq is None):
        raise Refusal("one of boot and seq, expected both or neither")
    if boot is None and up_s is not None:
        raise Refusal("up without boot and seq, expected all three")
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
            raise Refusal("boot, seq or up in a later record, expected in the first alone")
        if (text := get("bn")) is not None:
            base_name = _text("bn", text)
        if (number := get("bt")) is not None:
            base_s = _seconds("bt", number)
        if (text := get("bu")) is not None:
            base_unit = _text("bu", text)
        probe, quantity = _name(node, base_name + _text("n", get("n", "")))
        time_s = base_s if (number := get("t")) is None else base_s + _seconds("t", number)
        if time_s and not (-RELATIVE_S < time_s < 0 or RELATIVE_S <= time_s <= MAX_AT_S):
            raise Refusal(f"time {shown(time_s)}, expected at most 0 (so long ago) or seconds since 1970")
        values = found.setdefault((probe, time_s), [None, None, None])
        place = _PLACES[quantity]
        if values[place] is not None:
            raise Refusal(f"{probe}/{quantity} twice for one time, expected once")
        if quantity == "fault":
            values[place] = _fault(probe, record)
        else:
            values[place] = _value(probe, quantity, record, unit=get("u", base_unit))
    return tuple([_sample(probe, time_s, values) for (probe, time_s), values in found.items()])


def _sample(probe: str, time_s: float, values: Sequence[Any]) -> Sample:
    """values: at the place of each quantity what came, or None."""
    dry_bulb_c, rh_pct, fault = values
    if time_s < RELATIVE_S:
        return Sample(probe, dry_bulb_c, rh_pct, time_s, None, fault or "")
    return Sample(probe, dry_bulb_c, rh_pct, 0.0, round(time_s * 1000), fault or "")


def _name(node: str, name: str) -> tuple[str, str]:
    """Probe and quantity of a resolved name."""
    parts = name.split("/")
    if parts[0] != node:
        raise Refusal(f"name {shown(name)}, expected one that begins with {node}/, as the topic does")
    if len(parts) != 3 or not _id(parts[1]) or parts[2] not in _PLACES:
        raise Refusal(f"name {shown(name)}, expected {node}/<probe>/ and t, rh or fault")
    return parts[1], parts[2]


def _value(probe: str, quantity: str, record: dict[str, Any], *, unit: object) -> float:
    value: Any = record.get("v")
    expected_unit, low, high = _RANGES[quantity]
    if unit != expected_unit:
        raise Refusal(f"{probe}/{quantity} in {shown(unit)}, expected {expected_unit}")
    if type(value) not in NUMBERS or "vs" in record:
        raise Refusal(f"{probe}/{quantity} {shown(record.get('vs', value))}, expected one number")
    if not low <= value <= high:
        raise Refusal(f"{probe}/{quantity} {shown(value)}, expected {low} to {high}")
    return float(value)


def _fault(probe: str, record: dict[str, Any]) -> str:
    word = record.get("vs")
    if not isinstance(word, str) or "v" in record:
        raise Refusal(f"{probe}/fault {shown(record.get('v', word))}, expected one string")
    if not 1 <= len(word) <= MAX_FAULT or not word.isprintable():
        raise Refusal(f"{probe}/fault {shown(word)}, expected 1 to {MAX_FAULT} printable characters")
    return word


def _text(label: str, value: object) -> str:
    if not isinstance(value, str):
        raise Refusal(f"{label} {shown(value)}, expected a string")
    return value


def _seconds(label: str, value: Any) -> float:
    """A time or a base time, still to be added up."""
    # Compared before it becomes a float: a whole number of a thousand digits cannot become one.
    if type(value) not in NUMBERS or not -MAX_AT_S <= value <= MAX_AT_S:
        raise Refusal(f"{label} {shown(value)}, expected at most {MAX_AT_S} seconds either way")
    return float(value)


def _check_labels(record: dict[str, Any]) -> None:
    """A record with labels that we do not know, or with a null: what may be ignored, and what may not."""
    for label, value in record.items():
        if value.__class__ in (dict, list):
            raise Refusal(f"{shown(value)} in label {shown(label)}, expected records of plain values")
        if label in _KNOWN:
            if value is None:
                raise Refusal(f"{label} null, expected a value")
        elif label.endswith("_"):
            raise Refusal(f"label {shown(label)} must be understood (RFC 8428, 4.4), and is not known here")
        elif label in _OTHER_VALUES:
            raise Refusal(f"label {shown(label)}, expected values as v or vs alone")
        elif label == "bver" and (value.__class__ is not int or value != _VERSION):
            raise Refusal(f"bver {shown(value)}, expected {_VERSION}")


def _check_texts(records: list[dict[str, Any]]) -> None:
    """Strings that came by an escape, or beside unprintable characters, may not hold what no table or terminal can show."""
    for record in records:
        for label, value in record.items():
            for text in (label, value):
                if text.__class__ is str and _UNSEEN.search(text):
                    raise Refusal(f"{shown(text)} holds a control character or half a character, expected plain text")
