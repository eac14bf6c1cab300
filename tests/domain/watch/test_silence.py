"""A probe of which nothing can be judged: whether nothing comes of it, or what is wrong with what comes; and what a node says besides."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from functools import partial
from typing import TypeAlias

import pytest

from monitor.domain.alarms.about import (
    BROKER,
    ELSEWHERE,
    LATE,
    NETWORK,
    REFUSED,
    REPEATED,
    Fault,
    Unfit,
    Unheard,
    Unusable,
)
from monitor.domain.alarms.alarm import NORMAL, RETURNED, UNACKNOWLEDGED, Alarm
from monitor.domain.needs.rules import ALL_SILENT, NO_DATA, NO_HUMIDITY, NODE_OFFLINE, NODE_RESTARTS, SENSOR_FAILED
from monitor.domain.needs.site import Probe
from monitor.domain.readings.reading import Other, Pack, Presence, Refused, Sample, to_ms
from monitor.domain.state.happened import Clash
from monitor.domain.state.known import Said, Trouble
from monitor.domain.state.memory import Heard
from monitor.domain.state.remembering import remember, take_up
from monitor.domain.watch.due import due_mono_s
from monitor.domain.watch.silence import SAYS_NOTHING, silent_s, spoke, trouble_of
from monitor.domain.watch.silence import restarting as node_restarts
from monitor.domain.watch.view import alarm_view, machine_view
from monitor.shown.about import about_words
from monitor.shown.now.alarms import alarm_line
from tests.domain.house import MONO0_S, T0, Story, batch, pack, probes, site, there
from tests.told import event_words

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
    assert told.title == "Urgent: Setter 1 (node-a/top) readings not usable"
    assert "cable" not in told.text
    assert "Look at the node: eggroom health." in told.text
    view = alarm_view(story.alarm(NO_DATA, TOP), lambda about: about_words(about, story.site))
    assert "readings not usable" in alarm_line(view, story.site, story.now().utc, live=True)
    assert "no reading" not in alarm_line(view, story.site, story.now().utc, live=True)
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
        (-128.0, "reads -128: bad checksum (RNG-T)"),
        (-45.0, "reads -45: data line low (RNG-T)"),
        (-46.85, "reads -46.85: data line low (RNG-T)"),
        (130.0, "reads 130: no sensor answers (RNG-T)"),
        (998.0, "reads 998: no answer in time (RNG-T)"),
        (999.0, "reads 999: bad checksum (RNG-T)"),
        (-90.0, "temperature no sensible value (RNG-T)"),
    ],
)
def test_a_failed_read_is_told_as_such(sent: float, words: str) -> None:
    """What libraries give in place of a temperature (tests/reference/sensors/failed_reads.csv) is told with its meaning."""
    story = begun()
    sending(story, lambda n: pack("node-a", 6 + n, 170 + 10 * n, Sample("top", sent, None)), minutes=3)
    assert story.alarm(SENSOR_FAILED, TOP).about == Unfit("RNG-T", sent)
    assert story.about(SENSOR_FAILED, TOP) == words


@pytest.mark.parametrize(
    ("sent", "fault", "lost"),
    [
        (85.0, "", True),
        (127.9375, "", True),
        (None, "power-up", True),
        (None, "weak-supply", True),
        (-127.0, "", False),
        (84.94, "", False),
        (None, "crc", False),
    ],
)
def test_a_chip_that_says_its_start_value_has_lost_its_power(sent: float | None, fault: str, lost: bool) -> None:
    """That is what is told, with supply and wires as the first act; of any other failed read the sensor is looked at."""
    story = begun()
    sending(story, lambda n: pack("node-a", 6 + n, 170 + 10 * n, Sample("top", sent, None, fault=fault)), minutes=3)
    (told,) = story.notices
    assert ("sensor lost power" in told.title, "sensor failed" in told.title) == (lost, not lost)
    assert ("Check its plug, its supply and all its wires." in told.text) is lost
    view = alarm_view(story.alarm(SENSOR_FAILED, TOP), partial(about_words, site=story.site))
    assert view.get("why", "") == ("powerless" if lost else "")


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
    said = [event_words(event) for event in story.events if event.kind == "node"]
    assert said == [
        "message 6 of boot 7 came again with other values: two nodes of one name, or a boot number used again"
    ]
    later = begun()
    take_up(later.look(), replace(remember(story.look()), mono_s=0.0))
    assert later.state.node("node-a").clashes == 3


def test_the_first_number_of_a_boot_stands_for_one_message_too() -> None:
    """Number 0 again, as a boot number that is used twice begins."""
    story = Story()
    story.hear(pack("node-a", 0, 110, GOOD))
    story.hear(pack("node-a", 1, 120, replace(GOOD, dry_bulb_c=36.0)))
    story.hear(pack("node-a", 0, 110, GOOD))
    assert story.state.node("node-a").clashes == 0
    story.hear(pack("node-a", 0, 110, replace(GOOD, dry_bulb_c=36.0)))
    assert story.state.node("node-a").clashes == 1
    assert [e.what for e in story.events if e.kind == "node"] == [Clash(0, 7)]


def test_a_boot_may_be_numbered_nought() -> None:
    """It is drawn at random: what is told of it is its own number."""
    story = Story()
    for dry_bulb_c in (37.5, 36.0):
        story.hear(pack("node-a", 0, 110, replace(GOOD, dry_bulb_c=dry_bulb_c), boot=0))
    assert [e.what for e in story.events if e.kind == "node"] == [Clash(0, 0)]
    trouble = there(story.state.node("node-a").trouble)
    assert trouble.about == Unusable(REPEATED, by=0)


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


# --- edges


def at(story: Story, at_s: float) -> Story:
    """One look at that second."""
    story.at_s = at_s
    story.tick()
    return story


def test_a_probe_is_silent_after_three_intervals_and_not_at_them() -> None:
    """Thirty seconds after the last word are allowed, from the start of the run where there was none; the delay of the alarm, twenty
    seconds, begins after them."""
    story = Story(batches=(batch(),))
    assert (TOP, NO_DATA) not in at(story, 30.0).state.alarms
    assert at(story, 31.0).alarm(NO_DATA, TOP).pending_mono_s == story.now().mono_s
    assert at(story, 50.0).state_of(NO_DATA, TOP) == NORMAL
    assert at(story, 51.0).state_of(NO_DATA, TOP) == UNACKNOWLEDGED
    before = Story(batches=(batch(),))
    before.state.probe(TOP).life_mono_s = before.now().mono_s - 1000.0  # of the run before
    assert silent_s(at(before, 20.0).look(), TOP) == 20.0
    before.state.probe(TOP).life_mono_s = before.now().mono_s - 5.0
    assert silent_s(before.look(), TOP) == 5.0


@pytest.mark.parametrize(
    ("before", "message", "said_at_s", "text"),
    [
        (None, Presence("node-a", True), 100.0, "came online"),
        (None, Presence("node-a", False), 100.0, "went offline (last will)"),
        (None, Presence("node-a", False, retained=True), 100.0, "went offline (last will)"),
        (Said(True, 50.0), Presence("node-a", False), 100.0, "went offline (last will)"),
        (Said(True, 50.0), Presence("node-a", False, retained=True), 100.0, "went offline (last will)"),
        (Said(True, 50.0), Presence("node-a", True), 100.0, ""),  # the newest word counts, and is no news
        (Said(True, 50.0), Presence("node-a", True, retained=True), 50.0, ""),  # sent again with our new connection
        (Said(False, 50.0), Presence("node-a", False, retained=True), 50.0, ""),
        (Said(False, 50.0), Presence("node-a", False), 100.0, ""),
    ],
)
def test_what_a_node_says_of_itself(before: Said | None, message: Presence, said_at_s: float, text: str) -> None:
    """What it said last, and when; a change is a line in the record."""
    story = Story()
    story.at_s = 100.0
    begin_s = story.now().mono_s - 100.0
    node = story.state.node("node-a")
    node.said = None if before is None else Said(before.online, begin_s + before.mono_s)
    story.hear(message)
    assert node.said == Said(message.online, begin_s + said_at_s)
    assert [(e.kind, e.subject, event_words(e)) for e in story.events] == ([("node", "node-a", text)] if text else [])


def test_a_node_that_is_not_ours_says_nothing() -> None:
    """No line, and nothing kept."""
    story = Story()
    story.hear(Presence("node-x", True))
    assert (story.events, "node-x" in story.state.nodes) == ([], False)


@pytest.mark.parametrize(("life_s", "gone"), [(99.0, True), (100.0, True), (100.5, False)])
def test_a_node_is_gone_if_nothing_came_after_its_will(life_s: float, gone: bool) -> None:
    """A reading of the very second of the will proves nothing, one after it that the node is there."""
    story = Story(site=site(probes((TOP, "setter-1"), (LOW, "setter-1"))), batches=(batch(),))
    begin_s = story.now().mono_s
    story.state.node("node-a").said = Said(False, begin_s + 100.0)
    story.state.probe(LOW).life_mono_s = begin_s + life_s
    at(story, 101.0)
    assert (("node-a", NODE_OFFLINE) in story.state.alarms) is gone


def test_a_node_that_was_gone_is_there_with_its_first_reading() -> None:
    """Its will is out of date then; what it says later of itself counts from then."""
    story = begun()
    story.hear(Presence("node-a", False))
    story.at_s += 10.0
    story.send("node-a", GOOD)
    assert story.state.node("node-a").said == Said(True, story.now().mono_s)
    story.state.node("node-a").said = Said(True, 7.0)
    story.at_s += 10.0
    story.send("node-a", GOOD)
    assert story.state.node("node-a").said == Said(True, 7.0)


def house_of(*names: str) -> Story:
    """A house with these probes, none of which was ever heard."""
    return Story(site=site(probes(*((name, "setter-1") for name in names))), batches=(batch(),))


def test_every_node_silent_is_counted() -> None:
    """Of three nodes all are mute: so many are named. Of one alone it is never said, nor while another speaks, nor of a node of which
    one probe speaks."""
    story = house_of(TOP, "node-b/top", "node-c/top")
    assert ("site", ALL_SILENT) not in at(story, 30.0).state.alarms
    assert at(story, 31.0).state_of(ALL_SILENT, "site") == UNACKNOWLEDGED
    assert story.alarm(ALL_SILENT, "site").about == Unheard(3)
    alone = house_of(TOP, LOW)
    partly = house_of(TOP, LOW, "node-b/top")
    partly.air = {LOW: (37.5, 45.0)}
    for story in (alone, partly):
        story.run(minutes=3)
        assert ("site", ALL_SILENT) not in story.state.alarms


@pytest.mark.parametrize("why", [BROKER, NETWORK])
def test_what_this_machine_knows_of_a_silence_is_said(why: str) -> None:
    """Its broker or its network is gone: that is the message, of one node too, with a first act of its own."""
    for names in ((TOP,), (TOP, "node-b/top")):
        story = house_of(*names)
        story.state.lost = why
        assert at(story, 31.0).state_of(ALL_SILENT, "site") == UNACKNOWLEDGED
        assert story.alarm(ALL_SILENT, "site").about == Unheard(len(names), why)
        (told,) = story.notices
        word, act = {"broker": ("broker", "systemctl restart"), "network": ("network", "router")}[why]
        assert word in told.title
        assert act in told.text


def test_what_a_silence_comes_of_is_news_when_it_is_found_out() -> None:
    """It was told as a silence; a little later the broker is known to be gone: told once more, and once, under its number."""
    story = house_of(TOP, "node-b/top")
    at(story, 31.0)
    story.state.lost = NETWORK
    story.run(minutes=1)
    assert [n.facts.about for n in story.notices if n.facts] == [Unheard(2), Unheard(2, NETWORK)]
    assert len({n.alarm_number for n in story.notices}) == 1
    story.state.lost = ""
    story.run(minutes=1)
    assert story.alarm(ALL_SILENT, "site").about == Unheard(2, NETWORK)


def test_a_node_of_another_site_is_said_to_be_one() -> None:
    """It speaks, as of another site, and not as of this one since; its last will here says no more. Once it speaks here again it is over."""
    story = house_of(TOP, "node-b/top")
    story.air = {TOP: (37.5, 45.0), "node-b/top": (37.5, 45.0)}
    story.run(minutes=1)
    story.state.elsewhere["node-a"] = ("barn", story.now().mono_s + 1.0)
    story.air[TOP] = None
    story.run(minutes=1)
    story.hear(Presence("node-a", False))
    story.run(minutes=2)
    (told,) = story.notices
    assert (told.facts and told.facts.rule, told.facts and told.facts.about) == (
        NO_DATA,
        Unusable(ELSEWHERE, words="barn"),
    )
    assert "another site" in told.title
    assert "'barn'" in told.text
    story.air[TOP] = (37.5, 45.0)
    story.run(minutes=2)
    assert story.state_of(NO_DATA, TOP) != UNACKNOWLEDGED
    story.air[TOP] = None  # the next silence is one
    story.run(minutes=3)
    assert story.alarm(NO_DATA, TOP).about == ""


def test_a_humidity_is_lost_after_three_intervals_of_its_own() -> None:
    """Counted from when it came last, and no earlier than this run; from the thirty-first second it is missed, while its probe speaks."""
    for humid_s, lost_at_s in ((100.0, 131.0), (-500.0, 31.0)):
        story = Story(batches=(batch(),))
        begin_s = story.now().mono_s
        known = story.state.probe(TOP)
        for at_s in (lost_at_s - 1.0, lost_at_s):
            story.at_s = at_s
            known.life_mono_s = story.now().mono_s
            known.heard = Heard(story.now().mono_s, T0, 37.5, None, begin_s + humid_s)
            story.tick()
            assert ((TOP, NO_HUMIDITY) in story.state.alarms) is (at_s == lost_at_s)
        known.life_mono_s = begin_s
        story.state.alarms.clear()
        at(story, lost_at_s + 40.0)
        assert (TOP, NO_HUMIDITY) not in story.state.alarms  # a silent probe is asked for nothing else


FAULT, LATE_ONES, REFUSED_ONES = Fault("crc"), Unusable(LATE, by=600.0), Unusable(REFUSED, words="why")


@pytest.mark.parametrize(
    ("of_probe", "of_node", "spoke_s", "found"),
    [
        # (how long ago it came, how long it has been so, what), likewise of the node, how long ago that spoke
        ((30.0, 0.0, FAULT), None, None, FAULT),
        ((30.5, 0.0, FAULT), None, None, None),
        ((1.0, 30.0, LATE_ONES), None, None, LATE_ONES),
        ((1.0, 29.5, LATE_ONES), None, None, None),  # it may be the last of a node that is gone
        ((1.0, 29.5, LATE_ONES), None, 1.0, SAYS_NOTHING),
        (None, (1.0, 0.0, REFUSED_ONES), None, REFUSED_ONES),
        (None, (31.0, 0.0, REFUSED_ONES), None, None),
        ((1.0, 60.0, LATE_ONES), (2.0, 0.0, REFUSED_ONES), 1.0, LATE_ONES),  # the newest
        ((3.0, 60.0, LATE_ONES), (2.0, 0.0, REFUSED_ONES), 1.0, REFUSED_ONES),
        (None, None, 30.0, SAYS_NOTHING),
        (None, None, 30.5, None),
        (None, None, None, None),
    ],
)
def test_what_is_wrong_with_a_silent_probe(
    of_probe: tuple[float, float, Fault | Unusable] | None,
    of_node: tuple[float, float, Fault | Unusable] | None,
    spoke_s: float | None,
    found: Fault | Unusable | None,
) -> None:
    """The newest trouble within the silence that is allowed, if it has lasted as long; a failure or a refusal at once; else whether its
    node speaks at all."""
    story = Story()
    story.at_s = 1000.0
    now_s = story.now().mono_s

    def trouble(of: tuple[float, float, Fault | Unusable] | None) -> Trouble | None:
        return None if of is None else Trouble(now_s - of[0], of[2], now_s - of[0] - of[1])

    story.state.probe(TOP).trouble, story.state.node("node-a").trouble = trouble(of_probe), trouble(of_node)
    story.state.node("node-a").spoke_mono_s = None if spoke_s is None else now_s - spoke_s
    assert trouble_of(story.look(), story.site.probes[TOP]) == found


@pytest.mark.parametrize(
    ("began_s", "lasted_s", "found"),
    [
        # (how long after the last reading they began, how long they have come); of an interval of 60 s
        (60.0, 45.0, LATE_ONES),
        (60.0, 44.5, None),  # the same message again, perhaps
        (90.0, 45.0, LATE_ONES),
        (90.5, 179.5, None),  # after a break
        (90.5, 180.0, LATE_ONES),
        (-600.0, 704.5, None),  # beside readings until the last of these: as of a message at the next one's time
        (-600.0, 705.0, LATE_ONES),
    ],
)
def test_messages_in_the_place_of_readings_need_not_last(
    began_s: float, lasted_s: float, found: Unusable | None
) -> None:
    """Two of them are enough, an interval or nearly so apart; after a break it takes as long as the silence."""
    story = paced(60)
    story.state.node("node-a").spoke_mono_s = None
    heard_s = there(story.state.probe(TOP).life_mono_s)
    came_s = heard_s + began_s + lasted_s
    story.state.probe(TOP).trouble = Trouble(came_s, LATE_ONES, came_s - lasted_s)
    story.at_s = came_s + 1.0 - MONO0_S
    assert trouble_of(story.look(), story.site.probes[TOP]) == found


def test_a_node_speaks_as_slowly_as_its_slowest_probe() -> None:
    """Of two probes one is to be heard each ten seconds and one each minute: within three minutes the node is there."""
    both = {TOP: Probe(TOP, "setter-1", 10.0), LOW: Probe(LOW, "setter-1", 60.0)}
    story = Story(site=site(both))
    story.at_s = 1000.0
    for ago_s, speaks in ((180.0, True), (181.0, False)):
        story.state.node("node-a").spoke_mono_s = story.now().mono_s - ago_s
        assert spoke(story.look(), "node-a") is speaks


def test_a_probe_that_failed_is_not_told_as_silent_too() -> None:
    """Only where it was told as silent before is that said to be over."""
    for stands in (False, True):
        story = begun()
        if stands:
            story.state.alarms[TOP, NO_DATA] = Alarm(TOP, NO_DATA, 1, 1, condition=True, acknowledged=False)
        sending(story, lambda n: pack("node-a", 6 + n, 170 + 10 * n, Sample("top", None, 45.0, fault="crc")), minutes=2)
        assert ((TOP, NO_DATA) in story.state.alarms) is stands
        if stands:
            assert story.state_of(NO_DATA, TOP) == RETURNED


def restarting(story: Story, every_s: int, minutes: float, *, first: int = 200) -> None:
    """A node that starts anew each so many seconds and speaks each ten while it runs."""
    for second in range(round(minutes * 60)):
        story.at_s += 1.0
        story.tick()
        up_s, boot = second % every_s, first + second // every_s
        if up_s % 10 == 0:
            story.hear(
                pack("node-a", up_s // 10, up_s, replace(GOOD, dry_bulb_c=37.5 + 0.003 * (second // 10 % 3)), boot=boot)
            )


def test_a_node_that_keeps_restarting_is_told_as_that() -> None:
    """Soon, with the fourth start, for what it sends in between is judged; over once it has run on for half an hour."""
    story = begun()
    restarting(story, 60, 6)
    assert story.states() == [(NODE_RESTARTS, UNACKNOWLEDGED)]
    told = story.notices[0]
    assert told.title == "Soon: Setter 1 (node-a) node keeps restarting"
    assert "It started 5 times within 4 min. Check its supply, plug and cable." in told.text
    ran_on = story.now().utc
    restarting(story, 100_000, 33, first=900)
    assert not story.alarm(NODE_RESTARTS, "node-a").condition
    assert there(story.alarm(NODE_RESTARTS, "node-a").ended) >= ran_on + timedelta(minutes=30)
    assert [n.title for n in story.notices if "node-a)" in n.title] == [told.title]


def test_a_node_that_starts_before_its_second_message_is_as_urgent_as_a_silent_one() -> None:
    """Nothing of it can be judged then: one message, that names what it comes of, and no second beside it."""
    story = begun()
    restarting(story, 20, 8)
    sent: set[str] = {n.title for n in story.notices}
    restarting(story, 10, 8, first=900)
    assert {n.title for n in story.notices} - sent == {"Urgent: Setter 1 (node-a/top) node restarts"}
    assert "Check its supply, plug and cable." in story.notices[-1].text


HOUR_S = 3600.0


@pytest.mark.parametrize(
    ("started_s", "at_s", "told"),
    [
        ((0.0, 600.0, 1200.0), 1300.0, None),  # three are an update
        ((0.0, 600.0, 1200.0, 1800.0), 1800.0, (4, 1800.0)),
        ((0.0, 600.0, 1200.0, 2 * HOUR_S), 2 * HOUR_S, (4, 2 * HOUR_S)),  # within two hours
        ((0.0, 600.0, 1200.0, 2 * HOUR_S + 1.0), 2 * HOUR_S + 1.0, None),
        ((-9 * HOUR_S, 0.0, 600.0, 1200.0, 1800.0), 1800.0, (4, 1800.0)),  # the one long before is another story
        ((0.0, 60.0, 120.0, 180.0), 180.0 + 1799.0, (4, 180.0)),  # half an hour without another, and it runs
        ((0.0, 60.0, 120.0, 180.0), 180.0 + 1800.0, None),
        ((0.0, 60.0, 120.0, 2120.0), 2120.0 + 3999.0, (4, 2120.0)),  # it had run for 2,000 s before and fallen again
        ((0.0, 60.0, 120.0, 2120.0), 2120.0 + 4000.0, None),
        ((0.0, 2000.0, 2060.0, 2120.0, 2180.0), 2180.0 + 1800.0, None),  # but not lately
    ],
)
def test_when_a_node_keeps_restarting(
    started_s: tuple[float, ...], at_s: float, told: tuple[int, float] | None
) -> None:
    """From the fourth start within two hours on, until it has run for half an hour, or for twice as long as it did between the last four."""
    story = Story(at_s=at_s)
    story.state.node("node-a").starts = tuple(MONO0_S + s for s in started_s)
    found = node_restarts(story.look(), "node-a")
    assert (None if found is None else (found.times, found.within_s)) == told


def test_three_starts_in_a_row_and_a_backlog_of_many_are_nobodys_fault() -> None:
    """An update, a plug that was pulled; and what a broker kept of a node's boots while nobody listened comes at once."""
    story = begun()
    restarting(story, 120, 4)
    assert story.notices == []
    story = begun()
    for boot in range(20):
        story.hear(pack("node-a", 0, 0, GOOD, boot=500 + boot))
    restarting(story, 10_000, 3, first=900)
    assert (("node-a", NODE_RESTARTS)) not in story.state.alarms


# --- at every pace

PACES_S = (2, 10, 30, 60, 120, 300, 600)
LATE_WORDS, UNDATED_WORDS = "its messages come ", "nobody knows when its readings were taken"
# Of one message: its number, its second of the story, and that of the last good one before it.
AtPace: TypeAlias = Callable[[int, float, float], "Pack | Refused"]
BAD_AT_PACE: dict[str, tuple[AtPace, str]] = {
    "an hour late": (lambda n, at_s, _: pack("node-a", 900 + n, int(at_s) + 100 - 3600, lively(n)), LATE_WORDS),
    "numbers that came": (lambda n, at_s, _: pack("node-a", n % 3, int(at_s) + 100, lively(n)), "its messages bear numbers of boot 7"),
    "one number": (lambda _, at_s, since_s: pack("node-a", 5, int(since_s) + 100, GOOD), "its messages bear numbers of boot 7"),
    "a count that stands still": (lambda n, _, since_s: pack("node-a", 900 + n, int(since_s) + 100, lively(n)), LATE_WORDS),
    "a count at half the pace": (lambda n, at_s, since_s: pack("node-a", 900 + n, int(at_s + since_s) // 2 + 100, lively(n)), LATE_WORDS),
    "a clock that jumps": (lambda n, _, __: timed(n, to_ms(T0) + (n * 7919 % 13 + 3) * 10**11), UNDATED_WORDS),
    "a start each time": (lambda n, _, __: pack("node-a", 0, 5000, lively(n), boot=1000 + n), UNDATED_WORDS),
    "not understood": (lambda n, _, __: Refused("t", b"x", f"node-a #{n}: no such unit", "node-a"), "its messages are not understood"),
}  # fmt: skip
# One of those that ends a probe's life by itself, at once: refused is refused, and a count at half the pace is fresh for a while.
ODD = [
    what
    for what in BAD_AT_PACE
    if what not in {"not understood", "a count that stands still", "a count at half the pace"}
]


def lively(n: int) -> Sample:
    """A sample of a sensor that does not stand still."""
    return replace(GOOD, dry_bulb_c=37.5 + (n * 7919 % 5 - 2) * 0.003)


def timed(n: int, at_ms: int) -> Pack:
    """A message of a node that has a clock and does not count."""
    return Pack("node-a", (replace(lively(n), at_ms=at_ms),))


def paced(interval_s: int, *names: str) -> Story:
    """A machine with eggs whose probes speak at that pace, and were heard six times."""
    house = site(probes(*((name, "setter-1") for name in names or (TOP,)), interval_s=float(interval_s)))
    story = Story(site=house, batches=(batch(),), interval_s=float(interval_s))
    story.air = dict.fromkeys(names or (TOP,), (37.5, 45.0))
    story.run(seconds=6 * interval_s)
    assert story.transitions == []
    return story


def passing(story: Story, seconds: float) -> None:
    """A tick each second, and nothing comes."""
    story.air, air = {}, story.air
    story.run(seconds=seconds)
    story.air = air


def sends_bad(story: Story, what: str, *, every_s: float, times: int, until_told: bool = False) -> None:
    """So many messages of which nothing can be judged, at that pace; until_told: until the phone has heard of it."""
    message, since_s = BAD_AT_PACE[what][0], story.at_s
    for n in range(times):
        due_s = since_s + (n + 1) * every_s
        while story.at_s < due_s and not (until_told and story.notices):
            passing(story, 1)
        if until_told and story.notices:
            return
        story.hear(message(n, story.at_s, since_s))


@pytest.mark.parametrize("slower", [1.0, 1.1])
@pytest.mark.parametrize("interval_s", PACES_S)
@pytest.mark.parametrize("what", BAD_AT_PACE)
def test_at_every_pace_the_first_message_says_what_is_wrong(what: str, interval_s: int, slower: float) -> None:
    """While messages come at the probe's own pace, or a tenth slower, the phone hears what is wrong with them, never "no reading"; two good
    ones in time end it."""
    story = paced(interval_s)
    sends_bad(story, what, every_s=interval_s * slower, times=40 + 240 // interval_s, until_told=True)
    (told,) = story.notices
    assert "no reading" not in told.title
    assert "cable" not in told.text or "restarts" in told.title
    about = story.about(NO_DATA, TOP)
    assert about.startswith(BAD_AT_PACE[what][1]) or (what == "a start each time" and "it has started" in about)
    story.boots["node-a"] = 9000
    story.seqs.clear()
    story.run(seconds=5 * interval_s)
    assert story.states(NO_DATA) == [(TOP, UNACKNOWLEDGED), (TOP, RETURNED)]


@pytest.mark.parametrize("interval_s", PACES_S)
@pytest.mark.parametrize("what", ODD)
def test_one_odd_message_and_then_nothing_is_silence(what: str, interval_s: int) -> None:
    """It may have been the last of a node that is gone; so may a few that came at once."""
    for times in (1, 3):
        story = paced(interval_s)
        sends_bad(story, what, every_s=interval_s, times=1)
        for n in range(1, times):
            story.hear(BAD_AT_PACE[what][0](n, story.at_s, story.at_s - interval_s))
        passing(story, 4 * interval_s + 60)
        (told,) = story.notices
        assert "no reading" in told.title
        assert story.about(NO_DATA, TOP) == ""


@pytest.mark.parametrize("interval_s", PACES_S)
def test_silence_is_silence_at_every_pace(interval_s: int) -> None:
    """Nothing comes: no reading, and nothing is said of messages; also of a node that sends each of its messages twice, the last one too."""
    for twice in (False, True):
        story = paced(interval_s)
        for n in range(4 if twice else 0):
            story.at_s += interval_s - 1.0
            story.tick()
            story.send("node-a", lively(n))
            story.at_s += 1.0
            story.hear(pack("node-a", story.seqs["node-a"], int(story.at_s) + 99, lively(n)))
        last = pack("node-a", story.seqs["node-a"], int(story.at_s) + 99, lively(3))
        if twice:
            passing(story, interval_s - 1)
            story.hear(last)  # as late as its next would have been
        passing(story, 4 * interval_s + 60)
        assert "no reading" in story.notices[0].title
        assert story.about(NO_DATA, TOP) == ""


@pytest.mark.parametrize("interval_s", PACES_S)
def test_of_nodes_that_all_send_what_cannot_be_judged_none_is_silent(interval_s: int) -> None:
    """Two nodes, both with numbers that came before: not that every node is silent."""
    story = paced(interval_s, TOP, "node-b/top")
    for n in range(4 + 60 // interval_s):
        passing(story, interval_s)
        for node in ("node-a", "node-b"):
            story.hear(pack(node, n % 3, int(story.at_s) + 100, lively(n)))
    assert ("site", ALL_SILENT) not in story.state.alarms
    assert {(rule, state) for rule, state in story.states()} == {(NO_DATA, UNACKNOWLEDGED)}
    assert all("readings not usable" in title for title in story.titles())


@pytest.mark.parametrize("interval_s", PACES_S)
def test_a_node_that_comes_back_is_not_told_as_unusable(interval_s: int) -> None:
    """After a silence its first two messages cannot be dated, as a rule, for the second arrives quicker than the first: nobody hears of that."""
    story = paced(interval_s)
    passing(story, 10 * interval_s + 60)
    assert [notice.title for notice in story.notices] == ["Urgent: Setter 1 (node-a/top) no reading"]
    for n in range(4):
        story.hear(pack("node-a", n, n * interval_s + (2 if n else 0), lively(n), boot=8))
        assert story.about(NO_DATA, TOP) == ""
        passing(story, interval_s)
    assert story.states(NO_DATA) == [(TOP, UNACKNOWLEDGED), (TOP, RETURNED)]
