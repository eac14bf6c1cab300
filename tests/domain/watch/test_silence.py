"""A probe of which nothing can be judged: whether nothing comes of it, or what is wrong with what comes; and what a node says besides."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from monitor.domain.alarms.about import Fault, Unfit
from monitor.domain.alarms.alarm import NORMAL, UNACKNOWLEDGED
from monitor.domain.needs.rules import ALL_SILENT, NO_DATA, SENSOR_FAILED
from monitor.domain.readings.reading import Other, Pack, Presence, Refused, Sample, to_ms
from monitor.domain.state.remembering import remember, take_up
from monitor.domain.watch.due import due_mono_s
from monitor.domain.watch.view import alarm_view, machine_view
from monitor.shown.about import about_words
from monitor.shown.terminal import alarm_line
from tests.domain.house import T0, Story, batch, pack, probes, site, there

TOP, LOW = "node-a/top", "node-a/low"
GOOD = Sample("top", 37.5, 45.0)


def sending(story: Story, message: Callable[[int], Pack | Refused], minutes: float = 5.0) -> None:
    """A message each ten seconds, of its number, and a tick each second."""
    for n in range(round(minutes * 6)):
        for _ in range(10):
            story.at_s += 1.0
            story.tick()
        story.hear(message(n))


def begun() -> Story:
    """A machine with eggs whose one probe was heard for a minute."""
    story = Story(batches=(batch(),), air={TOP: (37.5, 45.0)})
    story.run(minutes=1)
    assert story.transitions == []
    return story


WRONG: dict[str, tuple[Callable[[int], Pack | Refused], str]] = {
    "an hour late": (lambda n: pack("node-a", 100 + n, 3000 + 10 * n - 3600 + 160 - 3000, GOOD), "its messages come 60 min late"),
    "numbers that came": (
        lambda n: pack("node-a", n % 5, 160 + 10 * n, GOOD),
        "its messages bear numbers of boot 7 that came before",
    ),
    "a new boot each time": (
        lambda n: pack("node-a", 0, 3, GOOD, boot=100 + n),
        "nobody knows when its readings were taken: it starts anew each time, or its clock jumps",
    ),
    "a clock that jumps": (
        lambda n: Pack("node-a", (replace(GOOD, at_ms=to_ms(T0) + (n * 7919 % 13 + 3) * 10**11),)),
        "nobody knows when its readings were taken: it starts anew each time, or its clock jumps",
    ),
    "not understood": (
        lambda n: Refused("t", b"x", "node-a #6: top/t in 'Fah', expected Cel", "node-a"),
        "its messages are not understood: node-a #6: top/t in 'Fah', expected Cel",
    ),
}  # fmt: skip


@pytest.mark.parametrize("what", WRONG)
def test_what_is_wrong_with_messages_is_told_and_no_cable_is_blamed(what: str) -> None:
    """While messages come there is never "no reading": one alarm says what is wrong with them, here, in the list and on the phone."""
    message, words = WRONG[what]
    story = begun()
    sending(story, message)
    assert story.states() == [(NO_DATA, UNACKNOWLEDGED)]
    assert story.about(NO_DATA, TOP) == words
    told = story.notices[0]
    assert told.title == "Setter 1 (node-a/top): readings not usable"
    assert "cable" not in told.text
    assert "Look at the node: eggroom doctor." in told.text or len(told.text) > 150
    view = alarm_view(story.alarm(NO_DATA, TOP), lambda about: about_words(about, story.site))
    assert "readings not usable" in alarm_line(view, story.site)
    assert "no reading" not in alarm_line(view, story.site)
    assert machine_view(story.look(), "setter-1", str)["probes"][0].get("unusable") is True


def test_silence_after_unusable_messages_is_silence() -> None:
    """When such messages stop, nothing comes any more, and that is what the alarm says from then on; readings end it."""
    story = begun()
    sending(story, WRONG["not understood"][0], minutes=3)
    story.air = {}
    story.run(minutes=2)
    assert story.about(NO_DATA, TOP) == ""
    assert len(story.states()) == 1
    story.air = {TOP: (37.5, 45.0)}
    story.run(minutes=1)
    assert story.state_of(NO_DATA, TOP) != UNACKNOWLEDGED


@pytest.mark.parametrize(("fault", "words"), [("crc", "the node says: crc"), ("", "no temperature in its messages")])
def test_a_probe_that_says_that_it_failed_has_failed(fault: str, words: str) -> None:
    """A failed read told by the node is a failed sensor after its delay, as urgent as its machine; a good one between ends it."""
    story = begun()
    sending(story, lambda n: pack("node-a", 6 + n, 170 + 10 * n, Sample("top", None, 45.0, fault=fault)), minutes=3)
    assert story.states() == [(SENSOR_FAILED, UNACKNOWLEDGED)]
    assert story.about(SENSOR_FAILED, TOP) == words
    assert story.alarm(SENSOR_FAILED, TOP).about == Fault(fault)
    assert (story.transitions[0].at - T0).total_seconds() == 70 + 60
    mixed = begun()
    sending(
        mixed,
        lambda n: pack("node-a", 6 + n, 170 + 10 * n, replace(GOOD, dry_bulb_c=None if n % 3 else 37.5 + n % 5 * 0.01)),
    )
    assert mixed.states() == []


@pytest.mark.parametrize(
    ("sent", "words"),
    [
        (-127.0, "reads -127: no sensor answers (RNG-T)"),
        (85.0, "reads 85: its value at power-up (RNG-T)"),
        (127.9375, "reads 127.938: weak supply (RNG-T)"),
        (-90.0, "temperature no sensible value (RNG-T)"),
    ],
)
def test_a_failed_read_is_told_as_such(sent: float, words: str) -> None:
    """What libraries give in place of a temperature (tests/reference/sensors/failed_reads.csv) is told with its meaning."""
    story = begun()
    sending(story, lambda n: pack("node-a", 6 + n, 170 + 10 * n, Sample("top", sent, None)), minutes=3)
    assert story.alarm(SENSOR_FAILED, TOP).about == Unfit("RNG-T", sent)
    assert story.about(SENSOR_FAILED, TOP) == words


def test_a_probe_that_its_node_says_nothing_of() -> None:
    """The node speaks, of another probe alone: no reading, with that beside it; not every node is silent, and the cable is the place to look."""
    story = Story(
        site=site(probes((TOP, "setter-1"), (LOW, "setter-1"), ("node-b/top", "hatcher-1"))), batches=(batch(),)
    )
    story.air = {TOP: (37.5, 45.0)}
    story.run(minutes=2)
    assert story.about(NO_DATA, LOW) == "the node speaks, but says nothing of it"
    assert story.about(NO_DATA, "node-b/top") == ""
    assert story.state_of(ALL_SILENT, "site") == NORMAL
    assert "no reading" in story.notices[0].title


def test_what_a_dead_node_had_left_behind_is_no_news_of_it() -> None:
    """A backlog that a broker kept of a node that is gone says nothing against its being gone."""
    story = begun()
    story.hear(Presence("node-a", False))
    sending(story, lambda n: pack("node-a", 6 + n, 170 + 10 * n - 1800, GOOD), minutes=2)
    assert not [rule for rule, _ in story.states() if rule == NO_DATA]


def test_what_a_node_says_besides_its_air_is_kept_and_counted() -> None:
    """The newest value of each name, how many came, over a restart too; so many names and no more."""
    story = begun()
    for n in range(3):
        message = replace(pack("node-a", 6 + n, 170 + 10 * n, GOOD), others=(Other("battery", 88.0 - n, "%EL"),))
        story.hear(message)
        story.hear(message)  # sent again: counted once
    story.hear(replace(pack("node-a", 9, 200, GOOD), others=tuple(Other(f"x{n}", 1.0) for n in range(100))))
    fact = story.state.node("node-a").facts["battery"]
    assert (fact.value, fact.unit, fact.count) == (86.0, "%EL", 3)
    assert len(story.state.node("node-a").facts) == 32
    later = begun()
    take_up(later.look(), replace(remember(story.look()), mono_s=0.0))
    assert later.state.node("node-a").facts == story.state.node("node-a").facts


def test_a_number_that_stands_for_another_message_is_counted() -> None:
    """The same message again is as it should be, also with the time that its node has learnt since; another one under its number is
    counted, said once in the record, and stores nothing."""
    story = begun()
    story.hear(pack("node-a", 6, 170, GOOD))
    stored = len(story.readings)
    story.hear(pack("node-a", 6, 170, replace(GOOD, at_ms=to_ms(T0))))
    assert story.state.node("node-a").clashes == 0
    for dry_bulb_c in (36.0, 35.0):
        story.hear(pack("node-a", 6, 170, replace(GOOD, dry_bulb_c=dry_bulb_c)))
    story.hear(pack("node-a", 6, 180, GOOD))
    assert story.state.node("node-a").clashes == 3
    assert len(story.readings) == stored
    said = [event.text for event in story.events if event.kind == "node"]
    assert said == [
        "message 6 of boot 7 came again with other values: two nodes of one name, or a boot number used again"
    ]
    later = begun()
    take_up(later.look(), replace(remember(story.look()), mono_s=0.0))
    assert later.state.node("node-a").clashes == 3


def test_how_many_messages_are_remembered_is_bounded() -> None:
    """Of a node that speaks for ever only the newest messages are told from others under their number."""
    story = begun()
    for n in range(2000):
        story.at_s += 1.0
        story.hear(pack("node-a", 6 + n, 170 + n, GOOD))
    assert len(story.state.node("node-a").said_in) == 600


def test_a_tick_is_due_when_what_is_wrong_is_no_longer_news() -> None:
    """A record that is played stops where a message's trouble is over, and no later, so that silence is told on time."""
    story = begun()
    sending(story, WRONG["not understood"][0], minutes=3)
    came_s = there(story.state.node("node-a").trouble).mono_s
    over_s = came_s + story.site.probes[TOP].silence_s
    while story.about(NO_DATA, TOP):
        due_s = due_mono_s(story.look())
        assert story.now().mono_s <= due_s <= over_s
        story.at_s += max(1.0, due_s - story.now().mono_s)
        story.tick()
    assert story.now().mono_s - over_s <= 1.0
