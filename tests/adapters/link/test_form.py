"""Packs read by their node's form: equal to what reading them in full gives, whatever comes."""

from __future__ import annotations

import json
import random

import pytest

from monitor.adapters.link import wire
from monitor.adapters.link.form import MAX_BYTES, MAX_NODES, Forms
from monitor.domain.readings.reading import Message, Pack

# Every way to write a number that a parser, a table or a sensor might trip over, beside those that nodes send.
VALUES = [
    "37.5", "37", "0", "-0", "-0.0", "0.0", "-127", "85", "998", "-40.25", "1e2", "1E-3", "3.70e1", "007", "-01", "1.", ".5", "+1", "--1",
    "999999", "999999.999999999999999", "1000000", "1000000.0", "1000001", "-1000000", "117917.6", "37.1234567890123", "37.123456789012345",
    "37.1234567890123456", "0.1", "NaN", "-Infinity", "1e400", "null", "true", '"37.5"', "[1]", "{}", "", "3 7", "37.5 ", " 37.5", "\u0663", "1_0",
    "9" * 5_000,
]  # fmt: skip
COUNTS = [
    "0", "1", "1804", "999999999", "1000000000", "2147483647", "2147483648", "-1", "-0", "1.0", "1e3", "007", "null", "true", "", '"5"',
    "99999999999999999999",
]  # fmt: skip
FORMS = {
    "as our nodes": '[{{"bn":"{node}/","n":"top/t","u":"Cel","v":{a},"boot":{boot},"seq":{seq},"up":{up}}},{{"n":"top/rh","u":"%RH","v":{b}}}]',
    "as json.dumps": '[{{"bn": "{node}/", "n": "top/t", "u": "Cel", "v": {a}, "boot": {boot}, "seq": {seq}, "up": {up}}}, {{"n": "top/rh", "u": "%RH", "v": {b}}}]',
    "counts first, humidity first, two probes": '[{{"up":{up},"seq":{seq},"boot":{boot},"bn":"{node}/a/","n":"rh","v":{a},"u":"%RH"}},\n{{"bn":"{node}/b-2/","n":"t","u":"Cel","v":{b}}}]',
    "no base name": '[{{"n":"{node}/top/t","u":"Cel","v":{a},"boot":{boot},"seq":{seq},"up":{up}}},{{"n":"{node}/2/t","u":"Cel","v":{b}}}]',
    "base unit": '[{{"bn":"{node}/","bu":"Cel","n":"top/t","v":{a},"boot":{boot},"seq":{seq},"up":{up}}},{{"n":"two/t","v":{b}}}]',
    "base value": '[{{"bn":"{node}/","bv":1,"n":"top/t","u":"Cel","v":{a},"boot":{boot},"seq":{seq},"up":{up}}},{{"n":"top/rh","u":"%RH","v":{b}}}]',
    "share": '[{{"bn":"{node}/","n":"top/t","u":"Cel","v":{a},"boot":{boot},"seq":{seq},"up":{up}}},{{"n":"top/rh","u":"/","v":{b}}}]',
    "times": '[{{"bn":"{node}/","bt":-5,"n":"top/t","u":"Cel","v":{a},"boot":{boot},"seq":{seq},"up":{up}}},{{"n":"top/t","u":"Cel","t":-10,"v":{b}}}]',
    "twice": '[{{"bn":"{node}/","n":"top/t","u":"Cel","v":{a},"boot":{boot},"seq":{seq},"up":{up}}},{{"n":"top/t","u":"Cel","v":{b}}}]',
    "others": '[{{"bn":"{node}/","n":"top/t","u":"Cel","v":{a},"boot":{boot},"seq":{seq},"up":{up}}},{{"n":"battery","u":"V","v":{b}}}]',
    "another temperature": '[{{"bn":"{node}/","n":"top/t","u":"Cel","v":{a},"boot":{boot},"seq":{seq},"up":{up}}},{{"n":"outside","u":"Cel","v":{b}}}]',
    "fault": '[{{"bn":"{node}/","n":"top/t","u":"Cel","v":{a},"boot":{boot},"seq":{seq},"up":{up}}},{{"n":"two/fault","vs":"crc"}},{{"n":"3/t","u":"Cel","v":{b}}}]',
    "escape": '[{{"bn":"{node}/","n":"top\\u002ft","u":"Cel","v":{a},"boot":{boot},"seq":{seq},"up":{up}}},{{"n":"top/rh","u":"%RH","v":{b}}}]',
    "label twice": '[{{"bn":"{node}/","n":"top/t","u":"Cel","v":{a},"boot":{boot},"seq":{seq},"up":{up}}},{{"n":"top/rh","u":"%RH","v":1,"v":{b}}}]',
    "no counts": '[{{"bn":"{node}/","n":"top/t","u":"Cel","v":{a}}},{{"n":"top/rh","u":"%RH","v":{b}}}]',
    "no up": '[{{"bn":"{node}/","n":"top/t","u":"Cel","v":{a},"boot":{boot},"seq":{seq}}},{{"n":"top/rh","u":"%RH","v":{b}}}]',
    "a later count": '[{{"bn":"{node}/","n":"top/t","u":"Cel","v":{a},"boot":{boot},"seq":{seq}}},{{"n":"top/rh","u":"%RH","v":{b},"up":{up}}}]',
    "a name like a label": '[{{"bn":"{node}/","n":"seq/t","u":"Cel","v":{a},"boot":{boot},"seq":{seq},"up":{up}}},{{"n":"v/t","u":"Cel","v":{b}}}]',
}  # fmt: skip
READ_BY_FORM = {
    "as our nodes",
    "as json.dumps",
    "counts first, humidity first, two probes",
    "no base name",
    "a name like a label",
}


@pytest.fixture(autouse=True)
def forms(monkeypatch: pytest.MonkeyPatch) -> Forms:
    """Nothing learnt before."""
    found = Forms()
    monkeypatch.setattr(wire, "_forms", found)
    return found


def made(form: str, **numbers: str) -> bytes:
    """A pack of that form."""
    usual = {"node": "node-a", "a": "37.5", "b": "52.4", "boot": "91", "seq": "1804", "up": "18040"}
    return FORMS[form].format(**{**usual, **numbers}).encode("utf-8", "surrogatepass")


def decoded(payload: bytes, node: str = "node-a", *, retained: bool = False) -> Message:
    """As the link reads it."""
    return wire.decode(f"eggroom/home/{node}/air", payload, root="eggroom", site="home", retained=retained)


def in_full(payload: bytes, node: str = "node-a", *, retained: bool = False) -> Message:
    """As a link reads it that has learnt nothing."""
    kept, wire._forms = wire._forms, Forms()
    try:
        return decoded(payload, node, retained=retained)
    finally:
        wire._forms = kept


@pytest.mark.parametrize("form", FORMS)
def test_what_is_read_by_its_form_is_what_it_would_be_in_full(form: str, forms: Forms) -> None:
    """Each way to write each number, in each form, after two packs of it; compared to the sign of a zero."""
    for seq in ("1", "2"):
        decoded(made(form, seq=seq))
    assert (forms.read("node-a", made(form, a="36.9", b="-3", seq="3", up="7"), False) is not None) == (
        form in READ_BY_FORM
    )
    chance = random.Random(form)
    for _ in range(600):
        a, b = chance.choice(VALUES), chance.choice(["37.5", *VALUES])
        seq, up, boot = (chance.choice([usual] * 6 + COUNTS) for usual in ("5", "6", "91"))
        payload = made(form, a=a, b=b, seq=seq, up=up, boot=boot)
        assert repr(decoded(payload)) == repr(in_full(payload)), payload[:300]


@pytest.mark.parametrize("form", FORMS)
def test_however_the_numbers_were_written_from_which_a_form_is_learnt(form: str) -> None:
    """The same number three times, and then others in its place."""
    for a in VALUES:
        for again in (a, a, a, a.replace("37", "36"), "36.5"):
            payload = made(form, a=again, b=again)
            assert repr(decoded(payload)) == repr(in_full(payload)), payload[:300]


@pytest.mark.parametrize("form", sorted(READ_BY_FORM))
def test_a_byte_more_or_less_or_another(form: str) -> None:
    """Of a learnt form, mutilated anywhere."""
    for seq in ("1", "2"):
        decoded(made(form, seq=seq))
    chance = random.Random(form)
    for _ in range(1_000):
        payload = bytearray(made(form, seq=str(chance.randrange(100)), a=f"{chance.uniform(-50, 90):.3f}"))
        for _ in range(chance.choice([1, 1, 2])):
            place = chance.randrange(len(payload) + 1)
            kind = chance.randrange(3)
            byte = chance.choice(b'0123456789.-eE+,:"{}[]\\ \n\x00\x7f\xff' + bytes(payload))
            payload[place : place + (kind != 0)] = b"" if kind == 1 else bytes([byte])
        assert repr(decoded(bytes(payload))) == repr(in_full(bytes(payload))), bytes(payload)


def test_a_form_is_of_one_node_and_one_start() -> None:
    """Another node's pack under this topic is refused as ever, another boot is read in full, and a retained one stays retained."""
    for seq in ("1", "2"):
        decoded(made("as our nodes", seq=seq))
    for payload, node in ((made("as our nodes", node="node-b"), "node-a"), (made("as our nodes"), "node-b")):
        assert repr(decoded(payload, node)) == repr(in_full(payload, node))
    other = decoded(made("as our nodes", boot="92", seq="0"))
    assert isinstance(other, Pack)
    assert (other.boot, other.seq) == (92, 0)
    stored = decoded(made("as our nodes"), retained=True)
    assert isinstance(stored, Pack)
    assert stored.retained


def test_a_form_is_learnt_with_its_second_pack_and_anew_with_another(forms: Forms) -> None:
    """One that comes once costs no more than it did; a node that changes its form, or starts anew, is followed."""
    first, second, third = (made("as our nodes", boot=boot) for boot in ("1", "1", "2"))
    decoded(first)
    assert forms.read("node-a", first, False) is None
    decoded(second)
    assert forms.read("node-a", first, False) is not None
    decoded(third)
    assert forms.read("node-a", third, False) is None
    decoded(third)
    assert forms.read("node-a", third, False) is not None
    assert forms.read("node-a", first, False) is None


def test_what_is_kept_is_bounded(forms: Forms) -> None:
    """Of a flood of names some forms are kept, and of long packs none; all are read."""
    for number in range(MAX_NODES + 20):
        node = f"node-{number}"
        for _ in range(2):
            assert isinstance(decoded(made("as our nodes", node=node), node), Pack)
    assert forms.read("node-5", made("as our nodes", node="node-5"), False) is not None
    assert forms.read(node, made("as our nodes", node=node), False) is None
    assert len(forms._last) == len(forms._forms) == MAX_NODES

    def pack(probes: int, value: float) -> bytes:
        records = [{"n": f"node-5/{n:032}/t", "u": "Cel", "v": value} for n in range(probes)]
        return json.dumps([{**records[0], "boot": 1, "seq": 2, "up": 3}, *records[1:]], separators=(",", ":")).encode()

    for probes in (28, 31):
        short = pack(probes, 1)
        assert (len(short) <= MAX_BYTES) == (probes == 28)
        for _ in range(2):
            decoded(short, "node-5")
        assert (forms.read("node-5", short, False) is not None) == (probes == 28)
    # With every number as long as a form takes it, such a pack is one that is read in full as well.
    longest = pack(28, 1).replace(b'"v":1', b'"v":-' + b"9" * 6 + b"." + b"9" * 15)
    for _ in range(2):
        decoded(pack(28, 1), "node-5")
    assert repr(forms.read("node-5", longest, False)) == repr(in_full(longest, "node-5"))
