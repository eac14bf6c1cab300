"""What our own nodes send, to values: a SenML JSON pack (RFC 8428) or a node's presence; and the answer that a node waits for.

Nothing here raises, whatever the bytes: what cannot be understood comes back as Refused, with a reason a person can read. The
checks go from the outside in (size, UTF-8, JSON, records, one record, one value), so a hostile message costs little.
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Any

from monitor.adapters.link.form import Forms
from monitor.adapters.link.strict_json import MAX_SHOWN, MOST, is_number, joined, read_json, refused, shown
from monitor.domain.fixed import kept
from monitor.domain.needs.site import ID
from monitor.domain.readings.reading import Other, Pack, Presence, Refused, Sample
from monitor.domain.refusal import Refusal

MAX_RECORDS = 64
MAX_BOOT = 2**32 - 1  # boot: random, of 32 bits
MAX_COUNT = 2**31 - 1  # seq and up: whole numbers that any node and any table can hold
RELATIVE_S = 2**28  # RFC 8428, 4.5.3: a time below this counts from now, one from here on from 1970
MAX_AT_S = 253_402_300_799  # the last second of 9999; whether a date can be true is decided elsewhere
MAX_NAMES = 1_024  # topics and names taken apart that are kept: a node says the same ones for ever. What is refused is not kept.
MAX_WORD = 64  # characters of a node's own word for what is wrong, and of what it says besides its air

_UNITS = {"t": "Cel", "rh": "%RH"}
# What the formulas in the sensors' datasheets can give at all. Beyond it a value stands for none: that is passed on, up to MOST.
_RANGES = {"t": (-80, 150), "rh": (-10, 120)}
_RATIO = "/"  # of one, and not of a hundred (RFC 8428, 12.1); so a humidity may come too
_PLACES = {"t": 0, "rh": 1, "fault": 2}
_VALUES = ("v", "vs", "vb", "vd")  # of which a record has one (RFC 8428, 4.2)
_KNOWN = frozenset({"bn", "bt", "bu", "n", "u", "v", "vs", "t", "boot", "seq", "up"})  # what our nodes send
_MEANT = (_KNOWN | {"bv", "bver"}) - {"v"}  # that may not be null; of a value that is, its probe is told
_OURS = frozenset({"boot", "seq", "up"})
_HELD = frozenset({"bn", "bt", "bu", "bv"})
_GREATEST = 1e15  # of a number that is kept
_VERSION = 10  # of SenML, RFC 8428, 4.4
_UNSEEN = re.compile(r"[\x00-\x1f\x7f-\x9f\ud800-\udfff]")  # control characters, lone surrogates
_forms = Forms()
_id = re.compile(ID).fullmatch
_other = re.compile(r"[A-Za-z0-9][A-Za-z0-9:._/-]{0,63}").fullmatch  # RFC 8428, 4.5.1, of bounded length


def decode(topic: str, payload: bytes, *, root: str, site: str, retained: bool) -> Pack | Presence | Refused:
    """One message of a node of ours.

    Parameters
        topic: as it came. payload: as it came, any bytes. root, site: the topics' first levels.
        retained: the broker's mark for a stored message; passed on, for what is retained is history.
    Returns
        Pack from `<root>/<site>/<node>/air`, Presence from `.../status`, Refused for anything else; never an exception.
        A pack with records that cannot be understood holds the others, and says which it does not. What is registered and not
        ours, such as a battery's level, is passed on as it is.
    """
    try:
        node, kind = _address(topic, root, site)
    except Refusal as refusal:
        return refused(topic, payload, refusal)
    if kind == "status":
        if payload not in (b"online", b"offline"):
            came = shown(payload[: MAX_SHOWN + 1])
            return refused(topic, payload, Refusal(node, f"status {came}", "online or offline"), node=node)
        return Presence(node, payload == b"online", retained)
    return _forms.read(node, payload, retained) or _read(node, topic, payload, retained=retained)


def _read(node: str, topic: str, payload: bytes, *, retained: bool) -> Pack | Refused:
    seq = None
    try:
        records, plain, wrong = _records(payload)
        boot, seq, up_s = _numbers(records[0])
        samples, others = _resolved(node, records, plain, wrong=wrong)
    except Refusal as refusal:
        why = Refusal(_numbered(node, seq), refusal.came, refusal.expected)
        return refused(topic, payload, why, node=node)
    if not wrong:
        pack = Pack(node, samples, boot, seq, up_s, retained, others)
        _forms.learn(pack, payload, records)
        return pack
    why = joined(wrong, "the other records were taken", where=_numbered(node, seq))
    return Pack(node, samples, boot, seq, up_s, retained, others, refused(topic, payload, why, node=node))


def _numbered(node: str, seq: int | None) -> str:
    return node if seq is None else f"{node} #{seq}"


@lru_cache(maxsize=MAX_NAMES)
def _address(topic: str, root: str, site: str) -> tuple[str, str]:
    """Node and kind of a topic: `air` or `status`."""
    prefix = f"{root}/{site}/"
    node, _, kind = topic[len(prefix) :].partition("/") if topic.startswith(prefix) else ("", "", "")
    if kind not in ("air", "status") or not _id(node):
        raise Refusal("", f"topic {shown(topic)}", f"{prefix}<node>/air or {prefix}<node>/status")
    return node, kind


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


def _records(payload: bytes) -> tuple[list[dict[str, object]], bool, list[Refusal]]:
    """The pack's records, each a mapping with every label once; whether none of their texts can hold what must not be shown; and
    what is wrong with those that are no mappings, which some nodes put where a sensor is absent."""
    text, records = read_json(payload, "a SenML pack", "an array of records")
    if not isinstance(records, list):
        raise Refusal("", shown(records), "an array of records")
    if not 1 <= len(records) <= MAX_RECORDS:
        raise Refusal("", f"{len(records)} records", f"1 to {MAX_RECORDS}")
    plain = "\\" not in text and text.isprintable()
    if all(isinstance(record, dict) for record in records):
        return records, plain, []
    wrong = [Refusal("", f"{shown(r)} among the records", "objects alone") for r in records if not isinstance(r, dict)]
    records = [record for record in records if isinstance(record, dict)]
    if not records:
        raise joined(wrong)
    return records, plain, wrong


def _numbers(first: dict[str, object]) -> tuple[int | None, int | None, int | None]:
    """boot, seq and up of the first record; none of them for a node of another make."""
    boot, seq, up_s = _count("boot", first, MAX_BOOT), _count("seq", first, MAX_COUNT), _count("up", first, MAX_COUNT)
    if (boot is None) != (seq is None):
        raise Refusal("", "one of boot and seq", "both or neither")
    if boot is None and up_s is not None:
        raise Refusal("", "up without boot and seq", "all three")
    return boot, seq, up_s


def _count(label: str, first: dict[str, object], most: int) -> int | None:
    if label not in first:
        return None
    value = first[label]
    if type(value) is not int or not 0 <= value <= most:
        raise Refusal("", f"{label} {shown(value)}", f"a whole number from 0 to {most}")
    return value


@kept
class _Bases:
    """What holds for a record and those after it, until the next of its kind (RFC 8428, 4.1)."""

    name: str = ""
    time_s: float = 0.0
    unit: str | None = None
    value: float = 0.0


def _resolved(
    node: str, records: list[dict[str, object]], plain: bool, *, wrong: list[Refusal]
) -> tuple[tuple[Sample, ...], tuple[Other, ...]]:
    """The records resolved (RFC 8428, 4.6): those of one probe at one time joined, and those not ours. What is wrong with the rest is
    added to `wrong`.

    Raises Refusal where none of them is understood, or what holds for several is not.
    """
    bases = _Bases()
    found: dict[tuple[str, float], list[Any]] = {}
    others: list[Other] = []
    before = len(wrong)
    for record in records:
        if record is not records[0] and not _OURS.isdisjoint(record):
            raise Refusal("", "boot, seq or up in a later record", "in the first alone")
        odd = not plain or not record.keys() <= _KNOWN or None in record.values()
        if odd:
            _check(record, base=True)
        if not _HELD.isdisjoint(record):
            _hold(bases, record)
        try:
            if odd:
                _check(record, base=False)
            _take(node, record, bases, found=found, others=others)
        except Refusal as refusal:
            wrong.append(refusal)
    if len(wrong) - before == len(records):
        raise joined(wrong)
    return tuple([_sample(*key, values) for key, values in found.items()]), tuple(others)


def _hold(bases: _Bases, record: dict[str, object]) -> None:
    """Take over what a record says for itself and those after it."""
    get = record.get
    if (text := get("bn")) is not None:
        bases.name = _text("bn", text)
    if (number := get("bt")) is not None:
        bases.time_s = _seconds("bt", number)
    if (text := get("bu")) is not None:
        bases.unit = _text("bu", text)
    if (number := get("bv")) is not None:
        bases.value = _number("bv", number)


def _take(
    node: str,
    record: dict[str, object],
    bases: _Bases,
    *,
    found: dict[tuple[str, float], list[Any]],
    others: list[Other],
) -> None:
    """One record: into the values of its probe and time (t, rh, fault, what is wrong, whether with its rh), or among the others."""
    get = record.get
    name = bases.name + _text("n", get("n", ""))
    probe, quantity = _name(node, name)
    unit = get("u", bases.unit)
    if quantity is None:
        others.append(_what_else(name[len(node) + 1 :], record, unit=unit, base=bases.value))
        return
    time_s = bases.time_s if (number := get("t")) is None else bases.time_s + _seconds("t", number)
    if not -RELATIVE_S < time_s <= MAX_AT_S:
        raise Refusal("", f"time {shown(time_s)}", "seconds since 1970, or so long ago at most")
    values = found.setdefault((probe, time_s), [None, None, None, "", False])
    place = _PLACES[quantity]
    try:
        if values[place] is not None:
            raise Refusal("", f"{probe}/{quantity} twice for one time", "once")
        if quantity == "fault":
            values[place] = _fault(probe, record)
        else:
            values[place] = _value(probe, quantity, record, unit=unit, base=bases.value)
    except Refusal as refusal:
        values[3] = str(refusal)[:MAX_WORD]
        values[4] |= quantity == "rh"
        raise


def _sample(probe: str, time_s: float, values: list[Any]) -> Sample:
    dry_bulb_c, rh_pct, fault, wrong, rh_wrong = values
    if time_s <= 0.0:
        return Sample(probe, dry_bulb_c, rh_pct, time_s, None, fault or wrong, rh_wrong)
    # Between now and RELATIVE_S it would be yet to come, which nothing that was measured is: a clock that began anew, at 1970.
    return Sample(probe, dry_bulb_c, rh_pct, 0.0, round(time_s * 1000), fault or wrong, rh_wrong)


@lru_cache(maxsize=MAX_NAMES)
def _name(node: str, name: str) -> tuple[str, str | None]:
    """Probe and quantity of a resolved name; no quantity where it is none of ours."""
    parts = name.split("/")
    if parts[0] != node:
        raise Refusal("", f"name {shown(name)}", f"one that begins with {node}/, as the topic does")
    if parts[-1] not in _PLACES and _other(name[len(node) + 1 :]):
        return "", None
    if len(parts) != 3 or not _id(parts[1]) or parts[2] not in _PLACES:
        raise Refusal("", f"name {shown(name)}", f"{node}/<probe>/ and t, rh or fault")
    return parts[1], parts[2]


def _value(probe: str, quantity: str, record: dict[str, object], *, unit: object, base: float) -> float:
    value = record.get("v")
    share = quantity == "rh" and unit == _RATIO
    if not share and unit != _UNITS[quantity]:
        raise Refusal("", f"{probe}/{quantity} in {shown(unit)}", _UNITS[quantity])
    if base and value is None and _lacks_value(record):
        value = 0.0  # of base value and value, the missing one is 0 (RFC 8428, 4.5)
    if not is_number(value) or "vs" in record or "vb" in record or "vd" in record:
        raise Refusal("", f"{probe}/{quantity} {shown(record.get('vs', value))}", "one number")
    if base and -MOST <= value <= MOST:
        value = round(base + value, 9)  # 37 and 0.1 make 37.1
    if share and -MOST <= value <= MOST:
        value = round(100.0 * value, 7)
    if not -MOST <= value <= MOST:
        low, high = _RANGES[quantity]
        raise Refusal("", f"{probe}/{quantity} {shown(value)}", f"{low} to {high}")
    return float(value)


def _fault(probe: str, record: dict[str, object]) -> str:
    word = record.get("vs")
    if not isinstance(word, str) or "v" in record:
        raise Refusal("", f"{probe}/fault {shown(record.get('v', word))}", "one string")
    if not 1 <= len(word) <= MAX_WORD or not word.isprintable():
        raise Refusal("", f"{probe}/fault {shown(word)}", f"1 to {MAX_WORD} printable characters")
    return word


def _what_else(name: str, record: dict[str, object], *, unit: object, base: float) -> Other:
    """A record that is none of ours, as what it says: its value, of whatever kind, or its sum."""
    came = [record[label] for label in _VALUES if label in record] or ([record["s"]] if "s" in record else [])
    if base and _lacks_value(record):
        came = [0.0]
    if len(came) != 1:
        raise Refusal("", f"{shown(name)}: {len(came)} values", "one")
    value = came[0]
    if is_number(value):
        value = _number(name, value) + (base if "v" in record or _lacks_value(record) else 0.0)
    elif isinstance(value, str):
        value = value[:MAX_WORD]
    elif not isinstance(value, bool):
        raise Refusal("", f"{shown(name)}: {shown(value)}", "one value")
    return Other(name, value, "" if unit is None else _text("u", unit)[:MAX_WORD])


def _lacks_value(record: dict[str, object]) -> bool:
    return "s" not in record and all(label not in record for label in _VALUES)


def _text(label: str, value: object) -> str:
    if not isinstance(value, str):
        raise Refusal("", f"{label} {shown(value)}", "a string")
    return value


def _seconds(label: str, value: object) -> float:
    """A time or a base time, still to be added up."""
    # Compared before it becomes a float: a whole number of a thousand digits cannot become one.
    if not is_number(value) or not -MAX_AT_S <= value <= MAX_AT_S:
        raise Refusal("", f"{label} {shown(value)}", f"at most {MAX_AT_S} seconds either way")
    return float(value)


def _number(label: str, value: object) -> float:
    if not is_number(value) or not -_GREATEST <= value <= _GREATEST:
        raise Refusal("", f"{label} {shown(value)}", "a number")
    return float(value)


def _check(record: dict[str, object], *, base: bool) -> None:
    """A record with labels that we do not know, nulls, or texts that may not be plain: what may be ignored, and what may not.

    base: of the labels that hold for later records too, which all begin with b (RFC 8428, 12.2), or else of the others. What came
    by an escape may not hold what no table or terminal can show.
    """
    for label, value in record.items():
        if (label[:1] == "b") != base:
            continue
        for text in (label, value):
            if text.__class__ is str and _UNSEEN.search(text):
                raise Refusal("", f"{shown(text)} holds a control character or half a character", "plain text")
        if value.__class__ in (dict, list):
            raise Refusal("", f"{shown(value)} in label {shown(label)}", "records of plain values")
        if label in _MEANT:
            if value is None:
                raise Refusal("", f"{label} null", "a value")
            if label == "bver" and (value.__class__ is not int or value != _VERSION):
                raise Refusal("", f"bver {shown(value)}", str(_VERSION))
        elif label.endswith("_"):
            raise Refusal("", f"label {shown(label)} must be understood (RFC 8428, 4.4), and is not known here")
