"""Bytes from our own nodes to values: what is understood, and what is refused with which reason."""

from __future__ import annotations

import csv
import json
import time
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from monitor.adapters.link.strict_json import MAX_BYTES
from monitor.adapters.link.wire import decode, encode_stored, speaks_elsewhere
from monitor.domain.readings.reading import Other, Pack, Presence, Refused, Sample
from tests.firmware.port import firmware

REFERENCE = Path(__file__).parents[2] / "reference" / "sensors"
TOPIC = "eggroom/home/node-a/air"
# The example of the wire's description.
EXAMPLE = b'[{"bn":"node-a/","n":"top/t","u":"Cel","v":37.52,"boot":91,"seq":1804,"up":18040},{"n":"top/rh","u":"%RH","v":52.4}]'


def hear(payload: bytes, topic: str = TOPIC, *, retained: bool = False) -> Pack | Presence | Refused:
    return decode(topic, payload, root="eggroom", site="home", retained=retained)


def pack(payload: bytes) -> Pack:
    message = hear(payload)
    assert isinstance(message, Pack), message
    return message


def reason(payload: bytes, topic: str = TOPIC) -> str:
    message = hear(payload, topic)
    assert isinstance(message, Refused), message
    assert message.reason.isprintable()
    assert len(message.reason) < 300
    return message.reason


def one(more: str, value: str = '"v":37.5') -> bytes:
    """A pack of one temperature, with more labels in its record."""
    return f'[{{"n":"node-a/top/t","u":"Cel",{value}{"," + more if more else ""}}}]'.encode()


def test_the_example_becomes_one_sample_with_both_quantities() -> None:
    """Two records of one probe at one time are one sample; boot, seq and up come from the first record."""
    assert hear(EXAMPLE) == Pack("node-a", (Sample("top", 37.52, 52.4),), 91, 1804, 18040)


def test_what_the_firmware_writes_is_understood() -> None:
    """The node's own pack, with a fault and with a clock, says here what the node meant."""
    node = firmware("node")
    record = [18040, 37520, 52400, 0, -62, node.NOTHING, 6]
    found = pack(node.pack("node-a", ("top", "egg"), record, boot=91, seq=1804))
    egg_fault = node.FAULTS[6]
    assert found.samples == (Sample("top", 37.52, 52.4), Sample("egg", -0.062, None, fault=egg_fault))
    assert (found.boot, found.seq, found.up_s) == (91, 1804, 18040)
    dated = pack(node.pack("node-a", ("top", "egg"), record, boot=91, seq=1804, started_unix_s=1_770_000_000))
    assert {s.at_ms for s in dated.samples} == {1_770_018_040_000}


def test_a_fault_alone_is_a_sample_without_values() -> None:
    """A probe that cannot measure says why, and is heard saying it."""
    found = pack(b'[{"bn":"node-a/","n":"top/fault","vs":"absent","boot":1,"seq":0,"up":5}]')
    assert found.samples == (Sample("top", None, None, fault="absent"),)


def test_base_fields_hold_until_the_next_of_their_kind() -> None:
    """Base name, time and unit apply to their own record and the following ones (RFC 8428, 4.1)."""
    found = pack(
        b'[{"bn":"node-a/","bt":-30,"bu":"Cel","n":"top/t","v":37},{"n":"low/t","v":36},'
        b'{"bn":"node-a/low/","bu":"%RH","bt":0,"n":"rh","v":50},{"n":"rh","v":51,"t":-10}]'
    )
    assert found.samples == (
        Sample("top", 37.0, None, -30.0),
        Sample("low", 36.0, None, -30.0),
        Sample("low", None, 50.0),
        Sample("low", None, 51.0, -10.0),
    )
    assert (found.boot, found.seq, found.up_s) == (None, None, None)


def test_base_time_and_time_add_up() -> None:
    """The sum decides: below 2**28 relative, from there on absolute (RFC 8428, 4.5.3)."""
    assert pack(one('"bt":-5,"t":-2.5')).samples[0].offset_s == -7.5
    assert pack(one('"bt":5,"t":-5')).samples[0].offset_s == 0.0
    sample = pack(one('"bt":1770000000,"t":0.25')).samples[0]
    assert (sample.offset_s, sample.at_ms) == (0.0, 1_770_000_000_250)
    assert pack(one('"t":268435456')).samples[0].at_ms == 268_435_456_000


def test_values_at_the_ends_of_their_range_pass() -> None:
    """The ends belong to the range, and whole numbers are numbers."""
    assert [pack(one("", f'"v":{v}')).samples[0].dry_bulb_c for v in (-80, 150, 0)] == [-80.0, 150.0, 0.0]
    for value in (-10, 120):
        assert pack(b'[{"n":"node-a/top/rh","u":"%%RH","v":%d}]' % value).samples[0].rh_pct == value


def test_unknown_labels_and_plain_escapes_are_passed_over() -> None:
    """What a later version adds is ignored unless it must be understood, and an escaped slash is a slash."""
    assert pack(one('"ut":60,"note":"warm \\u00e9","x":null,"bver":10')).samples[0].dry_bulb_c == 37.5
    assert pack(b'[{"n":"node-a\\/top\\/t","u":"Cel","v":1}]').samples[0].dry_bulb_c == 1.0
    assert pack(b'\n[ {"n": "node-a/top/t",\n\t"u": "Cel", "v": 1} ]\r\n').samples[0].dry_bulb_c == 1.0


def test_retained_is_passed_on() -> None:
    """What the broker had stored is marked, for readings and for presence."""
    message, presence = hear(EXAMPLE, retained=True), hear(b"online", "eggroom/home/node-a/status", retained=True)
    assert isinstance(message, Pack)
    assert message.retained
    assert presence == Presence("node-a", True, True)


def test_presence() -> None:
    """Birth and last will are the two words of a status topic."""
    assert hear(b"online", "eggroom/home/node-a/status") == Presence("node-a", True)
    assert hear(b"offline", "eggroom/home/node-a/status") == Presence("node-a", False)
    assert reason(b"Online", "eggroom/home/node-a/status") == "node-a: status b'Online', expected online or offline"
    assert reason(b"", "eggroom/home/node-a/status") == "node-a: status b'', expected online or offline"
    assert len(reason(b"\xff" * 1_000_000, "eggroom/home/node-a/status")) < 300


def test_the_payload_of_stored() -> None:
    """A node reads which boot and up to which number."""
    assert json.loads(encode_stored(91, 1804)) == {"boot": 91, "seq": 1804}
    assert encode_stored(91, 1804) == b'{"boot":91,"seq":1804}'


# Payloads that must not get through, by kind; each with words that its reason must hold.
POISON: dict[str, tuple[bytes, str]] = {
    "empty": (b"", "not JSON: expecting value at character 0"),
    "not JSON": (b"37.5 C", "not JSON: extra data at character 5"),
    "cut short": (EXAMPLE[:-2], "not JSON"),
    "two packs": (EXAMPLE + EXAMPLE, "not JSON: extra data"),
    "too long": (EXAMPLE + b" " * MAX_BYTES, f"expected at most {MAX_BYTES}"),
    "not UTF-8": (EXAMPLE.replace(b"top", b"t\xffp"), "not UTF-8 at byte"),
    "encoded surrogate": (EXAMPLE.replace(b"top", b"\xed\xa0\x80"), "not UTF-8 at byte"),
    "byte order mark": (b"\xef\xbb\xbf" + EXAMPLE, "byte order mark"),
    "UTF-16": (EXAMPLE.decode().encode("utf-16"), "not UTF-8 at byte 0"),
    "UTF-16 without a mark": (EXAMPLE.decode().encode("utf-16-le"), "not JSON"),
    "NUL": (EXAMPLE.replace(b"top", b"t\x00p"), "not JSON: invalid control character"),
    "escaped NUL in a name": (EXAMPLE.replace(b"top", b"t\\u0000p"), "control character"),
    "escaped NUL in a label that is ignored": (one('"x":"a\\u0000"'), "control character"),
    "control character of Latin-1": (one('"x":"a\u009b2J"'), "control character"),
    "line feed in a fault": (b'[{"n":"node-a/top/fault","vs":"a\\nb"}]', "control character"),
    "lone surrogate in a name": (EXAMPLE.replace(b"top", b"\\ud800"), "half a character"),
    "lone surrogate in a label": (one('"\\udfff":1'), "half a character"),
    "lone surrogate in a fault": (b'[{"n":"node-a/top/fault","vs":"\\ud800"}]', "half a character"),
    "object instead of array": (EXAMPLE[1:-1].split(b"},{")[0] + b"}", "an object, expected an array of records"),
    "number alone": (b"37.5", "37.5, expected an array of records"),
    "null alone": (b"null", "nothing, expected an array of records"),
    "no record": (b"[]", "0 records, expected 1 to 64"),
    "too many records": (b"[" + b",".join([b"{}"] * 65) + b"]", "65 records, expected 1 to 64"),
    "record that is a number": (b"[1]", "1 among the records"),
    "no record but nulls": (b"[null,null]", "nothing among the records"),
    "a null, and nothing else understood": (EXAMPLE.replace(b"Cel", b"Fah").replace(b"%RH", b"%")[:-1] + b",null]", "top/t in 'Fah'"),
    "array in the array": (b"[[]]", "an array among the records"),
    # How deep a parser follows differs between Pythons, so the reason does too.
    "deep nesting": (b"[" * 4000 + b"]" * 4000, "expected"),
    "deep objects": (b'{"a":' * 1300 + b"1" + b"}" * 1300, "expected an array of records"),
    "nested value": (one("", '"v":{"v":37.5}'), "top/t an object, expected one number"),
    "nested in a label that is ignored": (one('"x":[1]'), "an array in label 'x'"),
    "NaN": (one("", '"v":NaN'), "top/t nan, expected -80 to 150"),
    "Infinity": (one("", '"v":Infinity'), "top/t inf, expected -80 to 150"),
    "minus Infinity": (one("", '"v":-Infinity'), "top/t -inf, expected -80 to 150"),
    "1e999": (one("", '"v":1e999'), "top/t inf, expected -80 to 150"),
    "whole number of 5,000 digits": (one("", '"v":' + "9" * 5000), "thousands of digits"),
    "whole number of 4,000 digits": (one("", '"v":' + "9" * 4000), "expected -80 to 150"),
    "time of 4,000 digits": (one('"t":-' + "9" * 4000), "t -999"),
    "boolean": (one("", '"v":true'), "top/t true, expected one number"),
    "boolean seq": (EXAMPLE.replace(b"1804,", b"true,"), "seq true, expected a whole number from 0"),
    "boolean time": (one('"t":false'), "t false, expected"),
    "string": (one("", '"v":"37.5"'), "top/t '37.5', expected one number"),
    "null": (one("", '"v":null'), "top/t nothing, expected one number"),
    "no value": (b'[{"n":"node-a/top/t","u":"Cel"}]', "top/t nothing, expected one number"),
    "two values": (one('"vs":"x"'), "top/t 'x', expected one number"),
    "fault with a number": (b'[{"n":"node-a/top/fault","v":1}]', "top/fault 1, expected one string"),
    "empty fault": (b'[{"n":"node-a/top/fault","vs":""}]', "top/fault '', expected 1 to 64 printable"),
    "long fault": (b'[{"n":"node-a/top/fault","vs":"%s"}]' % (b"x" * 65), "expected 1 to 64 printable"),
    "label twice": (EXAMPLE.replace(b'"n":"top/t"', b'"n":"top/t","n":"top/t"'), "label 'n' twice in one object"),
    "label that must be understood": (one('"x_":1'), "label 'x_' must be understood"),
    "boolean value": (one("", '"vb":true'), "top/t nothing, expected one number"),
    "sum alone": (one("", '"s":37.5'), "top/t nothing, expected one number"),
    "base that must be understood": (EXAMPLE.replace(b'"n":"top/t"', b'"n":"top/t","bx_":1'), "label 'bx_' must be"),
    "base unit that is a number": (EXAMPLE.replace(b'"bn"', b'"bu":1,"bn"'), "bu 1, expected a string"),
    "base value that is a string": (EXAMPLE.replace(b'"bn"', b'"bv":"1","bn"'), "bv '1', expected a number"),
    "null for a base": (EXAMPLE.replace(b'"bn":"node-a/"', b'"bn":null'), "bn null, expected a value"),
    "nothing of it understood": (
        EXAMPLE.replace(b"Cel", b"Fah").replace(b"%RH", b"%"),
        "node-a #1804: top/t in 'Fah', expected Cel; top/rh in '%', expected %RH",
    ),
    "another version": (one('"bver":11'), "bver 11, expected 10"),
    "another node": (EXAMPLE.replace(b"node-a/", b"node-b/"), "'node-b/top/t', expected one that begins with node-a/"),
    "capital in a probe": (EXAMPLE.replace(b"top", b"Top"), "'node-a/Top/t', expected"),
    "probe with a line feed": (EXAMPLE.replace(b"top/", b"top\\n/"), "control character"),
    "seq without boot": (EXAMPLE.replace(b'"boot":91,', b""), "one of boot and seq, expected both or neither"),
    "up without boot and seq": (one('"up":5'), "up without boot and seq"),
    "negative boot": (EXAMPLE.replace(b":91,", b":-1,"), "boot -1, expected a whole number from 0 to 4294967295"),
    "boot of 33 bits": (EXAMPLE.replace(b":91,", b":4294967296,"), "boot 4294967296, expected a whole number"),
    "seq too large": (EXAMPLE.replace(b":1804,", b":2147483648,"), "seq 2147483648, expected a whole number"),
    "seq with a fraction": (EXAMPLE.replace(b":1804,", b":1804.0,"), "seq 1804.0, expected a whole number"),
    "up as a string": (EXAMPLE.replace(b":18040", b':"18040"'), "up '18040', expected a whole number"),
    "seq in a later record": (EXAMPLE.replace(b'"v":52.4', b'"v":52.4,"seq":1'), "expected in the first alone"),
    "time in ms": (one('"t":1770000000000'), "t 1770000000000, expected at most 253402300799"),
    "time nine years ago": (one('"t":-268435456'), "time -268435456.0, expected"),
}  # fmt: skip


# One record that cannot be understood, beside others that can: what is taken all the same, and the words of what is not.
SPOILT: dict[str, tuple[bytes, tuple[Sample, ...], str]] = {
    "Fahrenheit": (EXAMPLE.replace(b"Cel", b"Fah"), (Sample("top", None, 52.4, fault="top/t in 'Fah', expected Cel"),), "top/t in 'Fah'"),
    "unit of the other quantity": (EXAMPLE.replace(b"%RH", b"Cel"), (Sample("top", 37.52, None, fault="top/rh in 'Cel', expected %RH", rh_wrong=True),), "top/rh in 'Cel'"),
    "no unit": (EXAMPLE.replace(b'"u":"Cel",', b""), (Sample("top", None, 52.4, fault="top/t in nothing, expected Cel"),), "top/t in nothing"),
    "no probe": (EXAMPLE.replace(b"top/rh", b"rh"), (Sample("top", 37.52, None),), "'node-a/rh', expected node-a/<probe>/ and t, rh"),
    "capital in a probe": (EXAMPLE.replace(b"top/rh", b"Top/rh"), (Sample("top", 37.52, None),), "'node-a/Top/rh', expected"),
    "another node's": (EXAMPLE.replace(b'"n":"top/rh"', b'"bn":"node-b/","n":"top/rh"'), (Sample("top", 37.52, None),), "begins with node-a/"),
    "name that is a number": (EXAMPLE.replace(b'"top/rh"', b"7"), (Sample("top", 37.52, None),), "n 7, expected a string"),
    "a null": (EXAMPLE.replace(b"52.4", b"null"), (Sample("top", 37.52, None, fault="top/rh nothing, expected one number", rh_wrong=True),), "top/rh nothing"),
    "NaN, beside the bases": (EXAMPLE.replace(b"37.52", b"NaN"), (Sample("top", None, 52.4, fault="top/t nan, expected -80 to 150"),), "top/t nan, expected"),
    "a unit that is null": (EXAMPLE.replace(b'"%RH"', b"null"), (Sample("top", 37.52, None),), "u null, expected a value"),
    "a string": (EXAMPLE.replace(b"52.4", b'"nan"'), (Sample("top", 37.52, None, fault="top/rh 'nan', expected one number", rh_wrong=True),), "top/rh 'nan'"),
    "not a number that anything gives": (EXAMPLE.replace(b"52.4", b"1e7"), (Sample("top", 37.52, None, fault="top/rh 10000000.0, expected -10 to 120", rh_wrong=True),), "top/rh 10000000.0"),
    "nested": (EXAMPLE.replace(b'"v":52.4', b'"v":52.4,"x":[1]'), (Sample("top", 37.52, None),), "an array in label 'x'"),
    "must be understood": (EXAMPLE.replace(b'"v":52.4', b'"v":52.4,"x_":1'), (Sample("top", 37.52, None),), "label 'x_' must be"),
    "control character": (EXAMPLE.replace(b"top/rh", b"top\\u0007/rh"), (Sample("top", 37.52, None),), "control character"),
    "quantity twice": (one("")[:-1] + b"," + one("", '"v":36')[1:], (Sample("top", 37.5, None, fault="top/t twice for one time, expected once"),), "top/t twice"),
    "a number among the records": (EXAMPLE[:-1] + b",7]", (Sample("top", 37.52, 52.4),), "#1804: 7 among the records"),
    "a null before the bases": (b"[null," + EXAMPLE[1:], (Sample("top", 37.52, 52.4),), "#1804: nothing among the records"),
    "an array between": (EXAMPLE.replace(b"},{", b"},[],{"), (Sample("top", 37.52, 52.4),), "an array among the records"),
    "a null and another": (EXAMPLE.replace(b"%RH", b"lux")[:-1] + b",null]", (Sample("top", 37.52, None, fault="top/rh in 'lux', expected %RH", rh_wrong=True),), "nothing among the records, expected objects alone; top/rh in"),
    "time in ms": (EXAMPLE.replace(b'"v":52.4', b'"v":52.4,"t":1770000000000'), (Sample("top", 37.52, None),), "t 1770000000000, expected"),
}  # fmt: skip


@pytest.mark.parametrize("kind", SPOILT)
def test_one_bad_record_spoils_no_other(kind: str) -> None:
    """The records that are understood are taken, numbered as before; what is wrong with the other is kept beside them."""
    payload, samples, words = SPOILT[kind]
    message = pack(payload)
    assert message.samples == samples
    assert (message.boot, message.seq) in ((91, 1804), (None, None))
    assert message.refused is not None
    assert words in message.refused.reason
    assert message.refused.reason.endswith("; the other records were taken")
    assert (message.refused.topic, message.refused.payload, message.refused.node) == (TOPIC, payload, "node-a")


FAILED_READS = [float(row["value_c"]) for row in csv.DictReader((REFERENCE / "failed_reads.csv").open(newline=""))]


@pytest.mark.parametrize("code", FAILED_READS)
def test_what_libraries_say_in_place_of_a_reading_is_passed_on(code: float) -> None:
    """Each code of tests/reference/sensors/failed_reads.csv: a failed probe is no reason to refuse the sound one beside it."""
    message = pack(
        b'[{"bn":"node-a/","n":"top/t","u":"Cel","v":%a,"boot":1,"seq":0,"up":5},{"n":"low/t","u":"Cel","v":37.5}]'
        % code
    )
    assert message.samples == (Sample("top", float(code), None), Sample("low", 37.5, None))
    assert message.refused is None


def test_records_that_are_not_ours_are_passed_on() -> None:
    """Other names, units and kinds of value that the standard knows (RFC 8428, 4.2, 12.1; RFC 8798 for ppm): what the node says besides."""
    message = pack(
        b'[{"bn":"node-a/","n":"top/t","u":"Cel","v":37.5,"boot":1,"seq":0,"up":5},{"n":"top/co2","u":"ppm","v":612},'
        b'{"n":"battery","u":"%EL","v":88},{"n":"supply","u":"V","v":3.31},{"n":"door","vb":true},{"n":"version","vs":"1.4"},'
        b'{"n":"blob","vd":"aGk"},{"n":"counted","u":"J","s":120}]'
    )
    assert message.samples == (Sample("top", 37.5, None),)
    assert message.others == (
        Other("top/co2", 612.0, "ppm"),
        Other("battery", 88.0, "%EL"),
        Other("supply", 3.31, "V"),
        Other("door", True),
        Other("version", "1.4"),
        Other("blob", "aGk"),
        Other("counted", 120.0, "J"),
    )
    assert message.refused is None
    alone = pack(b'[{"n":"node-a/battery","u":"%EL","v":88,"boot":1,"seq":1,"up":6}]')
    assert (alone.samples, alone.others, alone.seq) == ((), (Other("battery", 88.0, "%EL"),), 1)


def test_a_record_that_is_not_ours_must_be_one_value_all_the_same() -> None:
    """Two values, none, or one too large to be kept is told like any other bad record."""
    for record, words in (
        ('"v":1,"vs":"x"', "'battery': 2 values, expected one"),
        ('"u":"V"', "'battery': 0 values, expected one"),
        ('"v":1e300', "battery 1e+300, expected a number"),
        ('"vb":null,"v":1', "'battery': 2 values"),
    ):
        message = pack(EXAMPLE[:-1] + b',{"n":"battery",' + record.encode() + b"}]")
        assert message.samples == (Sample("top", 37.52, 52.4),)
        assert message.refused is not None
        assert words in message.refused.reason


def test_a_base_value_is_added() -> None:
    """Base value and value add up, and the missing one is 0 (RFC 8428, 4.1 and 4.5.4); it holds until the next base value."""
    message = pack(
        b'[{"bn":"node-a/","bu":"Cel","bv":37,"n":"top/t","v":0.1},{"n":"low/t","v":-0.5},{"n":"mid/t"},'
        b'{"bv":0,"n":"out/t","v":21.5},{"n":"out/fault","vs":"crc"}]'
    )
    assert [(s.probe, s.dry_bulb_c, s.fault) for s in message.samples] == [
        ("top", 37.1, ""),
        ("low", 36.5, ""),
        ("mid", 37.0, ""),
        ("out", 21.5, "crc"),
    ]
    assert pack(one('"bs":30,"s":40')).samples[0].dry_bulb_c == 37.5  # a sum beside the value says nothing of the value


def test_a_humidity_may_come_as_a_share() -> None:
    """`/` is a ratio, of one (RFC 8428, 12.1); `%` names the same and is not read so, for most who write it mean a percentage."""
    for text, rh_pct in ((b"0.48", 48.0), (b"0", 0.0), (b"1", 100.0), (b"1.01", 101.0), (b"48", 4800.0)):
        humid = EXAMPLE.replace(b'"%RH","v":52.4', b'"/","v":' + text)
        assert pack(humid).samples == (Sample("top", 37.52, rh_pct),)
    based = b'[{"bn":"node-a/top/","bu":"/","bv":0.4,"n":"rh","v":0.07},{"bv":0,"n":"t","u":"Cel","v":37.5}]'
    assert pack(based).samples == (Sample("top", 37.5, 47.0),)
    share_of_heat = pack(EXAMPLE.replace(b"Cel", b"/"))
    assert share_of_heat.samples == (Sample("top", None, 52.4, fault="top/t in '/', expected Cel"),)


def test_a_boot_of_32_bits() -> None:
    """A random number of 32 bits, as boards give it, is a boot."""
    assert pack(EXAMPLE.replace(b":91,", b":4294967295,")).boot == 4_294_967_295


def test_a_clock_that_began_anew_is_a_clock() -> None:
    """Seconds since 1970 that are few: nothing that was measured lies ahead, so it is the node's clock, not a time to come."""
    assert pack(one('"t":18040')).samples == (Sample("top", 37.5, None, at_ms=18_040_000),)
    assert pack(one('"bt":4200000000')).samples[0].at_ms == 4_200_000_000_000  # 2103


@pytest.mark.parametrize("kind", POISON)
def test_poison_is_refused_with_its_reason(kind: str) -> None:
    """Each kind of payload that cannot be understood is refused, kept as far as the cap, and its reason names what is wrong."""
    payload, words = POISON[kind]
    message = hear(payload)
    assert isinstance(message, Refused)
    assert words in message.reason
    assert message.reason.startswith("node-a")
    assert (message.topic, message.payload) == (TOPIC, payload[:MAX_BYTES])


def test_the_cap_is_eight_kibibytes() -> None:
    """8,192 bytes are read, 8,193 are not."""
    assert pack(EXAMPLE.ljust(8192)).seq == 1804
    assert reason(EXAMPLE.ljust(8193)) == "node-a: 8193 bytes, expected at most 8192"


@pytest.mark.parametrize(
    "topic",
    [
        "",
        "eggroom/home/air",
        "eggroom/home//air",
        "eggroom/home/node-a",
        "eggroom/home/node-a/air/",
        "eggroom/home/node-a/stored",
        "eggroom/home/service/alive",
        "eggroom/home/machine/setter-1/state",
        "eggroom/yard/node-a/air",
        "Eggroom/home/node-a/air",
        "eggroom/home/Node/air",
        "eggroom/home/node_a/air",
        "eggroom/home/node-a\n/air",
        f"eggroom/home/{'n' * 33}/air",
        "eggroom/home/\ud800/air",
        "x" * 70_000,
    ],
)
def test_other_topics_are_refused(topic: str) -> None:
    """A topic that is not a node's own is refused, and what is kept of it can be printed."""
    message = hear(EXAMPLE, topic)
    assert isinstance(message, Refused)
    assert "expected eggroom/home/<node>/air or eggroom/home/<node>/status" in message.reason
    assert message.topic.isprintable()
    assert len(message.topic) <= 200


def test_a_root_of_several_levels() -> None:
    """The root may have levels of its own."""
    assert isinstance(decode("birds/eggroom/home/node-a/air", EXAMPLE, root="birds/eggroom", site="home", retained=False), Pack)  # fmt: skip


# Text that looks like a pack, so that the fuzz gets past the outer checks.
_SCALARS = (
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.text(max_size=8)
    | st.sampled_from(["Cel", "%RH", "top/t"])
)
_LABELS = st.sampled_from(
    ["bn", "bt", "bu", "n", "u", "v", "vs", "vb", "vd", "s", "t", "boot", "seq", "up", "bv", "x_", "x", "bver"]
)
_NAMES = st.sampled_from(["node-a/top/t", "node-a/top/rh", "node-a/low/fault", "node-a/battery", "top/t", "node-a/"])
_RECORDS = st.dictionaries(_LABELS, _SCALARS | _NAMES | st.lists(_SCALARS, max_size=2), max_size=8)
_PACKS = st.lists(_RECORDS, max_size=5).map(lambda records: json.dumps(records).encode("utf-8", "surrogatepass"))
_SPLICED = st.tuples(st.integers(0, len(EXAMPLE)), st.integers(0, 8), st.binary(max_size=8)).map(
    lambda cut: EXAMPLE[: cut[0]] + cut[2] + EXAMPLE[cut[0] + cut[1] :]
)


@settings(max_examples=1500, deadline=1000)  # ms; loose, for the machine may be busy: speed is measured below
@given(payload=st.binary(max_size=300) | _PACKS | _SPLICED, topic=st.just(TOPIC) | st.text(max_size=40))
@example(payload=b'{"a":' * 1600, topic=TOPIC)
def test_any_bytes_give_one_of_three_types(payload: bytes, topic: str) -> None:
    """Whatever comes, a value comes back; what is understood keeps its promises, what is refused can be stored and shown."""
    message = decode(topic, payload, root="eggroom", site="home", retained=False)
    if isinstance(message, Pack):
        assert message.samples or message.others
        for other in message.others:
            assert len(other.name) <= 64
            assert (other.name + other.unit + str(other.value)).isprintable()
        if message.refused is not None:
            assert message.refused.reason.isprintable()
            assert len(message.refused.reason) < 300
        for sample in message.samples:
            assert sample.dry_bulb_c is None or -1e6 <= sample.dry_bulb_c <= 1e6
            assert sample.rh_pct is None or -1e6 <= sample.rh_pct <= 1e6
            assert -(2**28) < sample.offset_s <= 0
            assert sample.fault == "" or sample.fault.isprintable()
            assert (sample.dry_bulb_c, sample.rh_pct, sample.fault) != (None, None, "")
    else:
        assert isinstance(message, Refused | Presence)
        if isinstance(message, Refused):
            (message.topic + message.reason).encode()
            assert message.reason.isprintable()


def test_hostile_payloads_of_the_largest_size_are_quick() -> None:
    """No payload that the cap lets through takes 50 ms, whatever it is made of."""
    hostile = [
        b"[" * MAX_BYTES,
        b'{"a":' * (MAX_BYTES // 5),
        b"[{" + b",".join(b'"%d":1' % i for i in range(900)) + b',"899":1}]',
        b"[" + b",".join([b'{"n":"node-a/top/t","u":"Cel","v":1,"t":-%d}' % i for i in range(64)]) + b"]",
        b'[{"n":"' + b"\\u0061" * 1300 + b'"}]',
        b'[{"n":"' + b"a/" * 4000 + b'"}]',
        b'[{"v":' + b"9" * 4299 + b"}]",
        b'[{"v":0.' + b"9" * 8000 + b"}]",
        b'[{"v":1' + b"0" * 300 + b"e-400}]",
    ]
    for payload in hostile:
        assert len(payload) <= MAX_BYTES
        took = []
        for _ in range(3):
            began = time.perf_counter()
            hear(payload)
            took.append(time.perf_counter() - began)
        assert min(took) < 0.05, payload[:40]


@pytest.mark.parametrize(
    ("topic", "payload", "expected"),
    [
        ("eggroom/barn/node-a/status", b"online", ("node-a", "barn", True)),
        ("eggroom/barn/node-a/status", b"offline", ("node-a", "barn", False)),
        ("eggroom/barn/node-a/status", b"on", None),
        ("eggroom/home/node-a/status", b"online", None),
        ("eggroom/barn/node-a/air", b"online", None),
        ("eggroom/barn/node-a/b/status", b"online", None),
        ("eggroom/Barn/node-a/status", b"online", None),
        ("eggroom/barn/node a/status", b"online", None),
        ("other/barn/node-a/status", b"online", None),
        ("eggroom", b"online", None),
    ],
)
def test_a_node_of_another_site(topic: str, payload: bytes, expected: tuple[str, str, bool] | None) -> None:
    """Presence under our root and another site's name is recognised; nothing else is, and least of all our own."""
    assert speaks_elsewhere(topic, payload, root="eggroom", site="home") == expected
