"""Nodes of other makes: rules, and what becomes of their messages."""

from __future__ import annotations

import json

import paho.mqtt.client as mqtt
import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st

from monitor.adapters.link.mapping import MappingError, PayloadRule, map_payload
from monitor.adapters.link.strict_json import MAX_BYTES
from monitor.domain.readings.reading import Pack, Refused, Sample

RULE = PayloadRule("sensors/+/climate", "{2}", "top", "/temperature", "/humidity")
TOPIC = "sensors/node-x/climate"


def heard(payload: bytes, topic: str = TOPIC, *rules: PayloadRule, retained: bool = False) -> Pack | Refused | None:
    return map_payload(rules or (RULE,), topic, payload, retained=retained)


def samples(payload: bytes, topic: str = TOPIC, *rules: PayloadRule) -> tuple[Sample, ...]:
    message = heard(payload, topic, *rules)
    assert isinstance(message, Pack), message
    return message.samples


def reason(payload: bytes, topic: str = TOPIC, *rules: PayloadRule) -> str:
    message = heard(payload, topic, *rules)
    assert isinstance(message, Refused), message
    return message.reason


def test_a_plain_message() -> None:
    """A rule picks its two numbers and names node and probe; such a node sends no number, so none is made up."""
    payload = b'{"temperature":37.5,"humidity":52,"battery":91}'
    assert heard(payload) == Pack("node-x", (Sample("top", 37.5, 52.0),))
    assert heard(payload, retained=True) == Pack("node-x", (Sample("top", 37.5, 52.0),), retained=True)


def test_fahrenheit_becomes_celsius() -> None:
    """A rule in °F turns at the border: 99.5 °F is 37.5 °C, and the ends of the range are those of °C."""
    rule = PayloadRule("f", "a", "b", "/t", unit="F")
    assert samples(b'{"t":99.5}', "f", rule)[0].dry_bulb_c == pytest.approx(37.5, abs=1e-9)
    assert samples(b'{"t":-112}', "f", rule)[0].dry_bulb_c == pytest.approx(-80.0, abs=1e-9)
    assert samples(b'{"t":302}', "f", rule)[0].dry_bulb_c == pytest.approx(150.0, abs=1e-9)
    assert reason(b'{"t":1e7}', "f", rule) == "a: b/t 10000000.0 F, expected -112 to 302"


def test_the_document_may_be_a_bare_number() -> None:
    """An empty pointer is the whole message (RFC 6901, 5)."""
    assert samples(b" 37.5 ", "t", PayloadRule("t", "a", "b", "")) == (Sample("b", 37.5, None),)


# The examples of RFC 6901, section 5, as numbers, with pointers and what they point to.
RFC_6901 = {"foo": [1, 2], "": 3, "a/b": 4, "c%d": 5, "e^f": 6, "g|h": 7, "i\\j": 8, 'k"l': 9, " ": 10, "m~n": 11}


@pytest.mark.parametrize(
    ("pointer", "value"),
    [
        ("/foo/0", 1),
        ("/foo/1", 2),
        ("/", 3),
        ("/a~1b", 4),
        ("/c%d", 5),
        ("/e^f", 6),
        ("/g|h", 7),
        ("/i\\j", 8),
        ('/k"l', 9),
        ("/ ", 10),
        ("/m~0n", 11),
    ],
)
def test_pointers_of_the_standard(pointer: str, value: int) -> None:
    """Each pointer of RFC 6901's own example finds its value."""
    assert samples(json.dumps(RFC_6901).encode(), "t", PayloadRule("t", "a", "b", pointer))[0].dry_bulb_c == value


@pytest.mark.parametrize("pointer", ["/foo/2", "/foo/-", "/foo/00", "/foo/01", "/foo/x", "/foo/²", "/foo/" + "9" * 150, "/nil/x"])  # fmt: skip
def test_pointers_to_nothing(pointer: str) -> None:
    """A place that the message does not have is no number, whatever the pointer looks like."""
    rule = PayloadRule("t", "a", "b", pointer)
    assert reason(json.dumps(RFC_6901).encode(), "t", rule).startswith("a: no number in the message, expected one at ")


def test_a_missing_or_null_number_is_not_measured() -> None:
    """One of two numbers is enough; with neither the message is refused."""
    assert samples(b'{"temperature":37.5}') == (Sample("top", 37.5, None),)
    assert samples(b'{"temperature":null,"humidity":52}') == (Sample("top", None, 52.0),)
    words = "node-x: no number in the message, expected one at '/temperature' or '/humidity'"
    assert reason(b'{"battery":91}') == reason(b'{"temperature":null}') == reason(b"[]") == words


def test_several_rules_for_one_message() -> None:
    """Rules about one topic are several probes of its node; a probe that is missing does not silence the other."""
    rules = [
        PayloadRule("tele/+/SENSOR", "{2}", probe, f"/{probe}/Temperature") for probe in ("ds18b20-1", "ds18b20-2")
    ]
    both = b'{"ds18b20-1":{"Temperature":37.5},"ds18b20-2":{"Temperature":36}}'
    assert samples(both, "tele/hut/SENSOR", *rules) == (
        Sample("ds18b20-1", 37.5, None),
        Sample("ds18b20-2", 36.0, None),
    )
    assert samples(b'{"ds18b20-2":{"Temperature":36}}', "tele/hut/SENSOR", *rules) == (Sample("ds18b20-2", 36.0, None),)


def test_one_bad_number_spoils_no_other() -> None:
    """What is no number is told, of its probe and of the message; the others are taken. A value that stands for none is passed on."""
    rules = [
        PayloadRule("tele/+/SENSOR", "{2}", probe, f"/{probe}", unit=unit) for probe, unit in (("a", "C"), ("b", "F"))
    ]
    for payload, expected, words in (
        (b'{"a":-127,"b":99.5}', (Sample("a", -127.0, None), Sample("b", 37.5, None)), None),
        (b'{"a":37.5,"b":-196.6}', (Sample("a", 37.5, None), Sample("b", -127.0, None)), None),
        (b'{"a":"nan","b":99.5}', (Sample("a", None, None, fault="a/t 'nan', expected a number"), Sample("b", 37.5, None)), "hut: a/t 'nan', "),
        (b'{"a":NaN,"b":99.5}', (Sample("a", None, None, fault="a/t nan, expected -80 to 150"), Sample("b", 37.5, None)), "hut: a/t nan C, "),
    ):  # fmt: skip
        message = heard(payload, "tele/hut/SENSOR", *rules)
        assert isinstance(message, Pack)
        for sample, wanted in zip(message.samples, expected, strict=True):
            assert (sample.probe, bool(sample.fault)) == (wanted.probe, bool(wanted.fault))
            assert sample.dry_bulb_c == (None if wanted.dry_bulb_c is None else pytest.approx(wanted.dry_bulb_c))
        assert (message.refused is None) == (words is None)
        if message.refused is not None and words is not None:
            assert message.refused.reason.startswith(words)
            assert message.refused.reason.endswith("; the other numbers were taken")
    humid = heard(b'{"temperature":37.5,"humidity":"\\ud800"}')
    assert isinstance(humid, Pack)
    assert humid.samples == (Sample("top", 37.5, None, fault="top/rh '\\ud800', expected a number", rh_wrong=True),)


def test_rules_that_contradict_each_other() -> None:
    """One message is one node, and each of its probes once."""
    other_node = PayloadRule("sensors/#", "other", "top", "/temperature")
    same_probe = PayloadRule("sensors/+/#", "{2}", "top", "/humidity")
    payload = b'{"temperature":37.5,"humidity":52}'
    assert "rules that name different nodes for one message" in reason(payload, TOPIC, RULE, other_node)
    assert "probe top twice in one message" in reason(payload, TOPIC, RULE, same_probe)


def test_names_from_the_topic() -> None:
    """A level becomes an id: lower case, hyphens for what other makes use; what cannot be one is refused, never bent."""
    rule = PayloadRule("ble/+/+", "tag-{2}", "{3}", "/t")
    message = heard(b'{"t":1}', "ble/A4:C1:38:0F_01.2 b/Probe_1", rule)
    assert isinstance(message, Pack)
    assert (message.node, message.samples[0].probe) == ("tag-a4-c1-38-0f-01-2-b", "probe-1")
    for level in ("küche", "a\\b", "x" * 29, "a\nb", "\ud800"):
        refused = heard(b'{"t":1}', f"ble/{level}/p", rule)
        assert isinstance(refused, Refused)
        assert "from the topic, expected at most 32 of a-z, 0-9 and -" in refused.reason
        (refused.topic + refused.reason).encode()
        assert (refused.topic + refused.reason).isprintable()


@pytest.mark.parametrize(
    ("payload", "words"),
    [
        (b"", "not JSON: expecting value at character 0"),
        (b'{"temperature":37.5', "not JSON"),
        (b"37,5", "not JSON: extra data"),
        (b'{"temperature":37.5}'.ljust(MAX_BYTES + 1), f"{MAX_BYTES + 1} bytes, expected at most {MAX_BYTES}"),
        (b'{"temperature":37.5,"x":"\xff"}', "not UTF-8 at byte 25"),
        (b'\xef\xbb\xbf{"temperature":37.5}', "byte order mark"),
        ('{"temperature":37.5}'.encode("utf-16"), "not UTF-8 at byte 0"),
        (b"[" * 8000, "expected"),
        (b'{"temperature":NaN}', "top/t nan C, expected -80 to 150"),
        (b'{"temperature":-Infinity}', "top/t -inf C, expected -80 to 150"),
        (b'{"temperature":1e999}', "top/t inf C, expected -80 to 150"),
        (b'{"temperature":' + b"9" * 5000 + b"}", "a number with thousands of digits"),
        (b'{"temperature":' + b"9" * 4000 + b"}", "expected -80 to 150"),
        (b'{"temperature":true}', "top/t true, expected a number"),
        (b'{"temperature":"37.5"}', "top/t '37.5', expected a number"),
        (b'{"temperature":{"value":37.5}}', "top/t an object, expected a number"),
        (b'{"temperature":[37.5]}', "top/t an array, expected a number"),
        (b'{"temperature":37.5,"temperature":38}', "label 'temperature' twice in one object"),
        (b'{"temperature":37.5,"x":{"y":1,"y":2}}', "label 'y' twice in one object"),
        (b'{"temperature":1500000}', "top/t 1500000 C, expected -80 to 150"),
        (b'{"temperature":"x","humidity":"y"}', "top/t 'x', expected a number; top/rh 'y', expected a number"),
    ],
)
def test_poison_is_refused_with_its_reason(payload: bytes, words: str) -> None:
    """A message that cannot be understood is refused whole, kept as far as the cap, and its reason names what is wrong."""
    message = heard(payload)
    assert isinstance(message, Refused)
    assert message.reason.startswith("node-x: ")
    assert words in message.reason
    assert message.reason.isprintable()
    assert (message.topic, message.payload) == (TOPIC, payload[:MAX_BYTES])


def test_a_topic_of_no_rule_is_nobodys() -> None:
    """A message that no rule is about is left to others."""
    assert heard(b"{}", "sensors/node-x/other") is None
    assert map_payload((), TOPIC, b"{}", retained=False) is None


@pytest.mark.parametrize(
    ("rule", "words"),
    [
        (("", "a", "b", "/t"), "payload rule '': expected a topic filter"),
        (("a/#/b", "a", "b", "/t"), "payload rule 'a/#/b': expected a topic filter"),
        (("a/b#", "a", "b", "/t"), "payload rule 'a/b#': expected a topic filter"),
        (("a/b+/c", "a", "b", "/t"), "payload rule 'a/b+/c': expected a topic filter"),
        (("a\0b", "a", "b", "/t"), "expected a topic filter"),
        (("$share/group/a", "a", "b", "/t"), "expected a topic filter"),
        (("a" * 201, "a", "b", "/t"), "expected a topic filter"),
        (("a", "Node", "b", "/t"), "payload rule 'a': node 'Node', expected at most 32 of a-z, 0-9 and -"),
        (("a", "a", "", "/t"), "payload rule 'a': probe '', expected at most 32"),
        (("a", "n" * 33, "b", "/t"), "expected at most 32"),
        (("a", "{0}", "b", "/t"), "node '{0}', expected at most 32"),
        (("a", "{x}", "b", "/t"), "node '{x}', expected at most 32"),
        (("a/+", "{3}", "b", "/t"), "node '{3}', expected a level that every topic of the filter has"),
        (("a/#", "a", "{2}", "/t"), "probe '{2}', expected a level that every topic of the filter has"),
        (("a", "a", "b", "temperature"), "dry_bulb 'temperature', expected a JSON Pointer such as /temperature"),
        (("a", "a", "b", "/t", "~"), "rh '~', expected a JSON Pointer"),
        (("a", "a", "b", "/t~2"), "dry_bulb '/t~2', expected a JSON Pointer"),
        (("a", "a", "b", "/" + "x" * 200), "expected a JSON Pointer"),
        (("a", "a", "b", "/t", None, "K"), "payload rule 'a': unit 'K', expected C or F"),
    ],
)
def test_a_bad_rule_says_so_when_it_is_made(rule: tuple[str, ...], words: str) -> None:
    """A rule that cannot work is one clear line at configuration time."""
    with pytest.raises(MappingError) as caught:
        PayloadRule(*rule)
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


_LEVELS = st.sampled_from(["", "a", "b", "$SYS", "+", "#", "air"])
_FILTERS = st.lists(_LEVELS, min_size=1, max_size=4).map("/".join)
_TOPICS = st.lists(st.sampled_from(["", "a", "b", "$SYS", "air"]), min_size=1, max_size=4).map("/".join)


@settings(max_examples=600)
@given(topic_filter=_FILTERS, topic=_TOPICS)
@example(topic_filter="a/#", topic="a")
@example(topic_filter="#", topic="$SYS/a")
@example(topic_filter="+/a", topic="$SYS/a")
@example(topic_filter="$SYS/#", topic="$SYS/a")
def test_filters_match_as_the_clients_own_matcher_does(topic_filter: str, topic: str) -> None:
    """Filter and topic match here exactly when they match in the MQTT client's library."""
    assume(topic_filter and topic)
    try:
        rule = PayloadRule(topic_filter, "a", "b", "")
    except MappingError:
        assert "#" in topic_filter[:-1]
        return
    matched = map_payload((rule,), topic, b"1", retained=False) is not None
    assert matched == mqtt.topic_matches_sub(topic_filter, topic)


_JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from(["temperature", "humidity", "x"]), inner)
    ),
    max_leaves=10,
)


@settings(max_examples=600, deadline=1000)
@given(
    payload=st.binary(max_size=200) | _JSON.map(lambda v: json.dumps(v).encode()),
    topic=st.text(max_size=12) | st.just(TOPIC),
)
def test_any_bytes_give_a_value(payload: bytes, topic: str) -> None:
    """Whatever comes, nothing is raised, and what is understood is in range."""
    wide = PayloadRule("#", "any", "top", "/temperature", "/humidity")
    message = map_payload((wide,), topic, payload, retained=False)
    assert isinstance(message, Pack | Refused | None)
    if isinstance(message, Pack):
        (sample,) = message.samples
        assert sample.dry_bulb_c is None or -1e6 <= sample.dry_bulb_c <= 1e6
        assert sample.rh_pct is None or -1e6 <= sample.rh_pct <= 1e6
