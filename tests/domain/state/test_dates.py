"""When samples were taken: nodes whose own clock is set, jumps, began anew or is nonsense, and boots that nobody heard live."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta

import pytest

from monitor.domain.alarms.alarm import UNACKNOWLEDGED
from monitor.domain.needs.rules import NO_DATA
from monitor.domain.readings.dating import ARRIVAL, ARRIVAL_BOOT, CLOCK_BOOT, UNSETTLED, Line
from monitor.domain.readings.reading import Pack, Sample, to_ms
from monitor.domain.state.dates import Dated, forget_boots, when_taken
from monitor.domain.state.record import Group, StoredReading
from monitor.domain.watch.evaluate import hear
from monitor.domain.watch.intake import take_in
from tests.domain.house import T0, Story, batch, probes, site, there
from tests.told import event_words

TOP = "node-a/top"
HOUR_S = 3600.0
# What a node's clock is set by, in seconds, and why: the cases of a house. A dead cell begins at 2000, or at 1970.
SETS = {
    "summer time begins": HOUR_S,
    "summer time ends": -HOUR_S,
    "the network sets it back": -90.0,
    "the network sets it on": 90.0,
    "local time for UTC": 5.5 * HOUR_S,
    "a day back": -86_400.0,
    "a dead cell, from 2000": (datetime(2000, 1, 1, tzinfo=UTC) - T0).total_seconds(),
    "a dead cell, from 1970": (datetime(1970, 1, 1, 0, 5, tzinfo=UTC) - T0).total_seconds(),
    "to 2100": (datetime(2100, 1, 1, tzinfo=UTC) - T0).total_seconds(),
}


@dataclass
class Clocked:
    """A node without a counter, whose clock is off by so much; it speaks every interval_s, of whole seconds."""

    story: Story
    interval_s: float = 10.0
    off_s: float = 0.0
    judged: list[float] = field(default_factory=list)  # when a reading was news, in seconds of the story

    @staticmethod
    def begun(interval_s: float) -> Clocked:
        """A node whose clock is right, heard for ten minutes."""
        watched = site(probes((TOP, "setter-1"), interval_s=interval_s))
        node = Clocked(Story(site=watched, batches=(batch(),), interval_s=interval_s), interval_s)
        node.speak(600.0)
        return node

    def speak(self, for_s: float, *, dry_bulb_c: float = 37.5) -> None:
        """Live for so long."""
        until_s = self.story.at_s + for_s
        while self.story.at_s + self.interval_s <= until_s:
            self.story.at_s += self.interval_s
            self.say(self.story.at_s, dry_bulb_c)

    def say(self, at_s: float, dry_bulb_c: float = 37.5) -> StoredReading:
        """One message, now, of a sample taken at that second of the story."""
        sample = Sample("top", dry_bulb_c, 45.0, at_ms=(to_ms(T0) + int((at_s + self.off_s) * 1000)) // 1000 * 1000)
        out = Group()
        if take_in(self.story.look(out), Pack("node-a", (sample,))):
            self.judged.append(self.story.at_s)
        self.story.adopt(out)
        return out.readings[-1]

    def label_s(self, reading: StoredReading) -> float:
        """Where it is labelled, in seconds of the story."""
        by_id = {line.id: line for parts in self.story.state.node("node-a").lines.values() for line in parts}
        return (by_id[reading.line].at_ms(reading.up_ms) - to_ms(T0)) / 1000.0

    def said_of_the_clock(self) -> list[str]:
        """The words in the record."""
        return [event_words(event) for event in self.story.events if event.kind == "clock"]


@pytest.mark.parametrize("interval_s", [1.0, 2.0, 10.0, 30.0, 60.0, 300.0])
@pytest.mark.parametrize("why", SETS)
def test_a_nodes_clock_that_is_set_silences_nothing(why: str, interval_s: float) -> None:
    """Within a minute, or with its second message where it speaks less often, the node is judged again; the record says by how much
    its clock was set, and no label leaves the present for more than the first message."""
    node = Clocked.begun(interval_s)
    node.off_s = SETS[why]
    node.judged.clear()
    set_s = node.story.at_s
    node.speak(max(600.0, 3 * interval_s))
    assert node.judged[0] - set_s <= max(60.0, 2.0 * interval_s)
    assert node.judged[1:] == [node.judged[0] + interval_s * n for n in range(1, len(node.judged))]
    agrees = "its readings are dated by ours"
    assert node.said_of_the_clock() == [f"the node's clock was set by {SETS[why]:+.0f} s, {agrees}"]
    late = [r for r in node.story.readings if r.up_ms / 1000.0 + 1 > (to_ms(T0) / 1000.0 + set_s + SETS[why])]
    assert node.label_s(late[-1]) == pytest.approx(node.story.at_s, abs=1.5)


@pytest.mark.parametrize("why", SETS)
def test_and_back(why: str) -> None:
    """A clock that was set wrong and is set right again is judged again as soon, and believed as before."""
    node = Clocked.begun(10.0)
    node.off_s = SETS[why]
    node.speak(1800.0)
    node.off_s = 0.0
    node.judged.clear()
    back_s = node.story.at_s
    node.speak(300.0)
    assert node.judged[0] - back_s <= 60.0
    assert node.said_of_the_clock()[-1] == f"the node's clock was set by {-SETS[why]:+.0f} s and agrees with ours"
    reading = node.say(node.story.at_s)
    assert node.label_s(reading) == node.story.at_s
    assert reading.up_ms == to_ms(T0) + round(node.story.at_s * 1000)


@dataclass
class Counting(Clocked):
    """A node that counts its seconds, and has a clock besides."""

    boot: int = 91
    began_s: float = 0.0
    seq: int = 0

    @staticmethod
    def begun(interval_s: float) -> Counting:
        """Heard for ten minutes, or for three messages."""
        watched = site(probes((TOP, "setter-1"), interval_s=interval_s))
        node = Counting(Story(site=watched, batches=(batch(),), interval_s=interval_s), interval_s)
        node.speak(max(600.0, 3.0 * interval_s))
        return node

    def say(self, at_s: float, dry_bulb_c: float = 37.5) -> StoredReading:
        """One message, now, of a sample taken at that second of the story."""
        told_ms = (to_ms(T0) + int((at_s + self.off_s) * 1000)) // 1000 * 1000
        pack = Pack(
            "node-a", (Sample("top", dry_bulb_c, 45.0, at_ms=told_ms),), self.boot, self.seq, int(at_s - self.began_s)
        )
        self.seq += 1
        out = Group()
        if take_in(self.story.look(out), pack):
            self.judged.append(self.story.at_s)
        self.story.adopt(out)
        return out.readings[-1]


@pytest.mark.parametrize("interval_s", [1.0, 2.0, 10.0, 60.0, 600.0])
@pytest.mark.parametrize("why", SETS)
def test_the_clock_of_a_node_that_counts_is_only_told_of(why: str, interval_s: float) -> None:
    """Each reading is judged, and dated by the counter; the record says once by how much the clock was set, and once that it is right again."""
    node = Counting.begun(interval_s)
    node.judged.clear()
    began_s = node.story.at_s
    node.off_s = SETS[why]
    node.speak(6 * interval_s)
    set_by = f"the node's clock was set by {SETS[why]:+.0f} s, its readings are dated by its own count"
    assert node.said_of_the_clock() == [set_by]
    node.off_s = 0.0
    node.speak(6 * interval_s)
    right = f"the node's clock was set by {-SETS[why]:+.0f} s and agrees with ours"
    assert node.said_of_the_clock() == [set_by, right]
    assert node.judged == [began_s + interval_s * n for n in range(1, 13)]
    assert node.label_s(node.story.readings[-1]) == pytest.approx(node.story.at_s, abs=1.5)


def test_a_clock_that_begins_anew_with_its_node_is_told_of() -> None:
    """A dead cell shows after a start: the counter begins at 0, and the clock at 2000."""
    node = Counting.begun(10.0)
    node.boot, node.seq, node.began_s, node.off_s = 92, 0, node.story.at_s, SETS["a dead cell, from 2000"]
    node.speak(60.0)
    assert len(node.said_of_the_clock()) == 1


def test_one_odd_time_beside_a_counter_is_not_told() -> None:
    """Nor several that do not agree, nor what was kept before the clock was set and comes later."""
    node = Counting.begun(10.0)
    kept = node.story.at_s
    for off_s in (HOUR_S, 0.0, -90.0, 2 * HOUR_S, 0.0):
        node.off_s = off_s
        node.speak(10.0)
    assert node.said_of_the_clock() == []
    node.off_s = HOUR_S
    node.speak(60.0)
    node.off_s = 0.0
    for at_s in (kept + 1.0, kept + 2.0, kept + 3.0):
        node.say(at_s)
    node.off_s = HOUR_S
    node.speak(60.0)
    assert len(node.said_of_the_clock()) == 1


@pytest.mark.parametrize(("by_s", "told"), [(10.0, False), (-10.0, False), (11.0, True), (-11.0, True)])
def test_a_clock_that_is_steered_by_ten_seconds_was_not_set(by_s: float, told: bool) -> None:
    """Beside a counter: ten seconds are the network's doing, or a slow message; more was somebody."""
    node = Counting.begun(10.0)
    node.off_s = by_s
    node.speak(60.0)
    assert bool(node.said_of_the_clock()) is told


@pytest.mark.parametrize(
    ("odd_s", "told"), [((3600.0, 3602.0), True), ((3602.0, 3600.0), True), ((7200.0, 3600.0), False)]
)
def test_two_times_are_of_one_clock_within_two_seconds(odd_s: tuple[float, float], told: bool) -> None:
    """Whichever of them is ahead: two that are further apart prove nothing."""
    node = Counting.begun(10.0)
    for node.off_s in (*odd_s, 0.0):
        node.speak(10.0)
    assert bool(node.said_of_the_clock()) is told


@pytest.mark.parametrize(
    ("off_s", "words"), [(60.0, "and agrees with ours"), (61.0, ", its readings are dated by its own count")]
)
def test_a_clock_agrees_with_ours_within_a_minute(off_s: float, words: str) -> None:
    """That is said where it is set."""
    node = Counting.begun(10.0)
    for node.off_s in (HOUR_S, off_s):
        node.speak(60.0)
    assert node.said_of_the_clock()[1].endswith(words)


def test_of_a_message_with_several_times_the_newest_is_its_clocks() -> None:
    """A node that counts, and begins to tell three instants in each message, has set no clock."""
    node = Counting.begun(10.0)
    for n in range(6):
        node.story.at_s += 30.0
        newest_ms = to_ms(T0) + round(node.story.at_s * 1000)
        samples = tuple(Sample("top", 37.5, 45.0, at_ms=newest_ms - 1000 * back) for back in (20, 10, 0))
        out = Group()
        take_in(node.story.look(out), Pack("node-a", samples, node.boot, node.seq + n, int(node.story.at_s)))
        node.story.adopt(out)
    assert node.said_of_the_clock() == []


def test_one_odd_time_that_two_messages_of_one_second_tell_is_one() -> None:
    """As of a node that sends each probe by itself: only a later one can prove it."""
    node = Counting.begun(10.0)
    node.story.at_s += 10.0
    node.off_s = HOUR_S
    for _ in range(3):
        node.say(node.story.at_s)
    node.off_s = 0.0
    node.speak(60.0)
    assert node.said_of_the_clock() == []


def test_what_comes_late_and_in_order_was_told_by_a_clock_that_is_right() -> None:
    """A broker that holds each message back for five minutes: how long it waited is known, and is none of the clock's."""
    node = Counting.begun(10.0)
    node.story.at_s += 300.0
    for _ in range(12):
        node.story.at_s += 10.0
        assert node.label_s(node.say(node.story.at_s - 300.0)) == pytest.approx(node.story.at_s - 300.0, abs=1.5)
    assert node.said_of_the_clock() == []


@pytest.mark.parametrize("by_s", [HOUR_S, -HOUR_S, 90.0])
def test_our_own_clock_that_is_set_is_none_of_the_nodes(by_s: float) -> None:
    """A node's clock goes on as it did, wherever ours is put."""
    node = Counting.begun(10.0)
    node.story.utc_step += timedelta(seconds=by_s)
    node.off_s = 0.0
    node.speak(120.0)
    assert node.said_of_the_clock() == []


@pytest.mark.parametrize("why", SETS)
@pytest.mark.parametrize("count", [1, 3])
def test_single_odd_times_change_nothing(why: str, count: int) -> None:
    """One message with a wrong date, or several that do not agree, leave the clock as it was: what comes next is judged at once."""
    node = Clocked.begun(10.0)
    for n in range(count):
        node.story.at_s += 10.0
        node.off_s = SETS[why] * (1.0 + 0.1 * n)
        reading = node.say(node.story.at_s)
        if (
            abs(SETS[why]) > 86_400.0 or SETS[why] > 0.0
        ):  # it cannot have waited so long, and nothing comes from the future
            assert node.label_s(reading) == pytest.approx(node.story.at_s, abs=0.1)
    node.off_s = 0.0
    node.judged.clear()
    start_s = node.story.at_s
    node.speak(60.0)
    assert node.judged == [start_s + 10.0 * n for n in range(1, 7)]
    assert node.said_of_the_clock() == []
    assert max(node.label_s(r) for r in node.story.readings) <= node.story.at_s


def test_an_odd_time_is_dated_by_its_arrival_beside_messages_that_tell_none() -> None:
    """A node that sends no time while its clock is not set, and then a wrong one: both are of when they came, long after the program began."""
    node = Clocked.begun(10.0)
    for odd in (False, True):
        node.story.at_s += 3600.0
        at_ms = to_ms(T0) + int((node.story.at_s + SETS["to 2100"]) * 1000) if odd else None
        out = Group()
        take_in(node.story.look(out), Pack("node-a", (Sample("top", 37.5, 45.0, at_ms=at_ms),)))
        assert [node.label_s(r) for r in out.readings] == pytest.approx([node.story.at_s], abs=0.1)


def test_samples_of_one_odd_message_lie_as_far_apart_as_they_were_taken() -> None:
    """A node whose clock jumps to 2100 in between: by their arrival the newest is of now, the one before it ten seconds older."""
    node = Clocked.begun(10.0)
    node.story.at_s += 20.0
    odd_ms = to_ms(T0) + int((node.story.at_s + SETS["to 2100"]) * 1000)
    samples = tuple(Sample("top", 37.5, 45.0, at_ms=odd_ms - back_ms) for back_ms in (10_000, 0))
    out = Group()
    take_in(node.story.look(out), Pack("node-a", samples))
    now_s = node.story.at_s
    assert [node.label_s(r) for r in out.readings] == pytest.approx([now_s - 10.0, now_s], abs=0.1)


def counted(*, clocked: bool = False) -> Story:
    """Three messages of a node that counts, ten seconds apart, the first at 100 s of its boot 7; clocked: each with one of a node that has a clock."""
    story = Story()
    for n in range(3):
        story.send("node-a", Sample("top", 37.5, 45.0), up_s=100 + 10 * n)
        if clocked:
            Clocked(story).say(story.at_s)
        story.at_s += 10.0
    return story


def test_what_belongs_to_an_earlier_part_of_a_boot_waited_since_then() -> None:
    """A crystal had drifted by a second, and a new part of the line began; a message from before that comes only now waited for two minutes."""
    story = counted()
    node = story.state.node("node-a")
    (line,) = node.lines[7]
    node.lines[7] = line, replace(line, id=2, from_up_ms=125_000)
    story.at_s = 120.0 + 10.0  # of the counted second 110, which was at 10.0
    late = Pack("node-a", (Sample("top", 37.5, 45.0),), 7, 9, 110)
    found = when_taken(story.look(), late, late.samples[0], dates={})
    assert found is not None
    assert (found[0].id, found[1]) == (line.id, 110_000)
    assert found[2] == pytest.approx(120.0)


def test_when_a_message_was_taken_that_a_broker_kept() -> None:
    """By the node's counter or clock as ever; of one that has neither nobody knows, though it is of now where it was not kept."""
    story = counted(clocked=True)
    bare, clocked = Sample("top", 37.5, 45.0), Sample("top", 37.5, 45.0, at_ms=to_ms(T0) + 20_000)
    for sample, boot, up_s, taken_s in ((bare, 7, 120, 20.0), (clocked, None, None, 20.0), (bare, None, None, None)):
        kept = Pack("node-a", (sample,), boot, None, up_s, retained=True)
        found = when_taken(story.look(), kept, sample, dates={})
        assert (found is None) is (taken_s is None)
        if found is not None:
            assert (found[0].at_ms(found[1]) - to_ms(T0)) / 1000.0 == pytest.approx(taken_s, abs=0.1)
            assert found[2] == pytest.approx(10.0, abs=0.1)
    live = Pack("node-a", (bare,))
    line, up_ms, age_s = there(when_taken(story.look(), live, bare, dates={}))
    assert (line.at_ms(up_ms), age_s) == (to_ms(T0) + 30_000, 0.0)


def test_a_message_of_a_part_that_an_earlier_run_began_is_taken_as_of_now() -> None:
    """How long it waited nobody knows where a wrong clock kept this run from taking up the line."""
    story = Story()
    story.send("node-a", Sample("top", 37.5, 45.0), up_s=100)
    node = story.state.node("node-a")
    (line,) = node.lines[7]
    node.lines[7] = line, replace(line, id=2, from_up_ms=125_000, mono_offset_ms=None)
    late = Pack("node-a", (Sample("top", 37.5, 45.0),), 7, 9, 110)
    assert when_taken(story.look(), late, late.samples[0], dates={}) == (line, 110_000, 0.0)


@pytest.mark.parametrize(("boot", "seq", "up_s"), [(7, 1, None), (None, None, 100)], ids=["no count", "no start"])
def test_a_count_dates_only_with_the_start_that_it_is_of(boot: int | None, seq: int | None, up_s: int | None) -> None:
    """A node that numbers its messages and does not count seconds, or counts and does not say since which start, is dated by their arrival."""
    story = Story()
    sample = Sample("top", 37.5, 45.0)
    line, up_ms, age_s = there(when_taken(story.look(), Pack("node-a", (sample,), boot, seq, up_s), sample, dates={}))
    assert (line.basis, line.at_ms(up_ms), age_s) == (ARRIVAL, to_ms(T0), 0.0)


def test_a_node_that_tells_no_time_is_judged_with_each_message() -> None:
    """All that is known is when it came: for an hour each message is of now, and news."""
    story = Story()
    fresh = []
    for _ in range(360):
        story.at_s += 10.0
        out = Group()
        fresh += take_in(story.look(out), Pack("node-a", (Sample("top", 37.5, 45.0),)))
        (line,) = story.state.node("node-a").lines[ARRIVAL_BOOT]
        assert line.at_ms(out.readings[0].up_ms) == to_ms(T0) + round(story.at_s * 1000)
    assert len(fresh) == 360


def test_an_older_message_widens_the_line_that_it_belongs_to() -> None:
    """It came out of order: the line reaches back to it, as it is written."""
    story = Story()
    for up_s in (110, 120):
        story.send("node-a", Sample("top", 37.5, 45.0), up_s=up_s)
        story.at_s += 10.0
    out = story.send("node-a", Sample("top", 37.5, 45.0), up_s=100)
    (line,) = story.state.node("node-a").lines[7]
    assert (line.from_up_ms, line.first_up_ms, line.last_up_ms) == (110_000, 100_000, 120_000)
    assert out.lines == {line.id: line}


def test_after_our_clock_was_set_a_new_part_begins_with_what_is_newer() -> None:
    """What was sampled before that, and comes only now, keeps the label that it would have had; and so it is of a node's own clock."""
    story = Story()
    clock = Clocked(story)
    for up_s in (100, 110, 120):
        story.send("node-a", Sample("top", 37.5, 45.0), up_s=up_s)
        clock.say(story.at_s)
        story.at_s += 10.0
    node = story.state.node("node-a")
    story.utc_step = timedelta(hours=1)
    for up_s in (115, 120):  # also what tells of the very second that was heard last
        story.send("node-a", Sample("top", 37.5, 45.0), up_s=up_s)
    clock.say(15.0)
    (line,), (by_clock,) = node.lines[7], node.lines[CLOCK_BOOT]
    assert line.at_ms(115_000) - to_ms(T0) == pytest.approx(15_000, abs=1)
    assert by_clock.offset_ms == 0
    assert node.split == {7, CLOCK_BOOT}
    out = story.send("node-a", Sample("top", 37.5, 45.0), up_s=130)
    assert out.lines[node.lines[7][-1].id] == node.lines[7][-1]
    clock.say(30.0)
    assert node.split == set()
    before, after = node.lines[7]
    assert (before.offset_ms, after.from_up_ms) == (line.offset_ms, 130_000)
    assert after.at_ms(130_000) - to_ms(T0) == pytest.approx(3_630_000, abs=50)
    before, after = node.lines[CLOCK_BOOT]
    assert (before.offset_ms, after.from_up_ms) == (0, to_ms(T0) + 30_000)
    assert after.at_ms(to_ms(T0) + 30_000) - to_ms(T0) == pytest.approx(3_630_000, abs=50)


def test_the_newest_part_of_a_boot_goes_on() -> None:
    """What belongs to it is noted in it, and written; the parts before stay as they are."""
    story = counted()
    node = story.state.node("node-a")
    (line,) = node.lines[7]
    node.lines[7] = line, replace(line, id=2), replace(line, id=3, from_up_ms=125_000)
    out = story.send("node-a", Sample("top", 37.5, 45.0), up_s=130)
    assert [part.id for part in node.lines[7]] == [line.id, 2, 3]
    assert node.lines[7][-1].last_up_ms == 130_000
    assert out.lines == {3: node.lines[7][-1]}


@pytest.mark.parametrize("clock", [False, True], ids=["by its counter", "by its clock"])
def test_samples_of_one_message_are_as_old_as_they_lie_apart(clock: bool) -> None:
    """Three instants in one pack of a node that counts: what has just come is its newest, wherever it stands in the pack."""
    story = counted()
    at_ms = [to_ms(T0) + 1000 * (3600 - back) if clock else None for back in (20, 0, 10)]
    offsets_s = (0.0, 0.0, 0.0) if clock else (-20.0, 0.0, -10.0)
    samples = tuple(Sample("top", 37.5, 45.0, offset_s=o, at_ms=a) for o, a in zip(offsets_s, at_ms, strict=True))
    pack = Pack("node-a", samples, 7, 9, 130)
    dates: dict[str, Dated] = {}
    found = [there(when_taken(story.look(), pack, sample, dates=dates)) for sample in samples]
    assert [up_ms for _, up_ms, _ in found] == [110_000, 130_000, 120_000]
    assert [age_s for _, _, age_s in found] == pytest.approx([20.0, 0.0, 10.0], abs=0.1)


@pytest.mark.parametrize(
    ("kind", "waited_s"),
    [
        ("counter", UNSETTLED),
        ("counter and clock", UNSETTLED),
        ("clock", 0.0),
        ("clock behind", UNSETTLED),
        ("neither", 0.0),
    ],
)
def test_the_newest_of_a_first_message_is_of_now(kind: str, waited_s: float) -> None:
    """Of a node that nobody heard before, three instants in one message: the newest cannot be later than now, and its line reaches to it.
    Whether it had waited a counter does not say, nor a clock that is behind."""
    story = Story()
    story.at_s = 600.0
    now_ms, off_s = to_ms(story.now().utc), 7200.0 if kind == "clock behind" else 0.0
    samples = []
    for back_s in (20.0, 0.0, 10.0):
        at_ms = now_ms - round(1000 * (back_s + off_s)) if "clock" in kind else None
        samples.append(Sample("top", 37.5, 45.0, offset_s=0.0 if "clock" in kind else -back_s, at_ms=at_ms))
    counts = "counter" in kind
    pack = Pack("node-a", tuple(samples), *((7, 0, 100) if counts else (None, None, None)))
    dates: dict[str, Dated] = {}
    found = [there(when_taken(story.look(), pack, sample, dates=dates)) for sample in samples]
    ((newest,),) = story.state.node("node-a").lines.values()
    assert [newest.at_ms(up_ms) - now_ms for _, up_ms, _ in found] == pytest.approx([-20_000, 0, -10_000], abs=1)
    assert newest.last_up_ms == max(up_ms for _, up_ms, _ in found)
    assert found[1][2] == waited_s


def test_the_first_message_of_a_node_whose_clock_is_right_is_judged() -> None:
    """It cannot have waited, for its clock says when it was taken."""
    assert Clocked.begun(10.0).judged[:2] == [10.0, 20.0]


def test_what_a_node_said_by_its_clock_is_not_ended_by_its_counter() -> None:
    """Its program was changed to one that counts: what is labelled by the clock stays where it is, though it was never settled."""
    story = Story()
    Clocked(story, off_s=-7200.0).say(10.0)
    (before,) = story.state.node("node-a").lines[CLOCK_BOOT]
    assert not before.settled
    story.at_s = 60.0
    for n in range(3):
        story.send("node-a", Sample("top", 37.5, 45.0), up_s=10 * n)
        story.at_s += 10.0
    assert story.state.node("node-a").lines[CLOCK_BOOT] == (before,)


def test_what_was_said_under_each_clock_is_dated_by_that_one() -> None:
    """A node whose clock was set on twice, by an hour each time: what waited comes to where it was taken, and no part of the past is lost."""
    node = Clocked.begun(10.0)
    middle_s = []
    for off_s in (HOUR_S, 2 * HOUR_S, 3 * HOUR_S):
        node.off_s = off_s
        node.speak(180.0)
        middle_s.append(node.story.at_s - 60.0)
    parts = node.story.state.node("node-a").lines[CLOCK_BOOT]
    assert len(parts) == 4
    for off_s, taken_s in ((0.0, 300.0), *zip((HOUR_S, 2 * HOUR_S, 3 * HOUR_S), middle_s, strict=True)):
        node.off_s = off_s
        assert node.label_s(node.say(taken_s)) == pytest.approx(taken_s, abs=1.5)
    node.speak(60.0)
    assert [p.id for p in node.story.state.node("node-a").lines[CLOCK_BOOT]] == [p.id for p in parts]


def test_a_node_that_restarts_all_the_time_does_not_fill_the_memory() -> None:
    """With its 65th start the oldest is forgotten; messages of one that is known forget none."""
    story = Story()
    story.send("node-a", Sample("top", 37.5, 45.0))
    node = story.state.node("node-a")
    (line,) = node.lines[7]
    node.lines.update({boot: (replace(line, boot=boot),) for boot in range(100, 163)})
    for boot, oldest in ((7, 7), (500, 100), (500, 100)):
        story.at_s += 10.0
        story.boots["node-a"] = boot
        story.send("node-a", Sample("top", 37.5, 45.0))
        assert (len(node.lines), next(iter(node.lines))) == (64, oldest)


def test_a_clock_that_an_earlier_run_heard_is_taken_as_it_is() -> None:
    """Where a wrong clock of ours kept this run from taking up its line: it begins a part, and nobody is said to have set it."""
    node = Clocked(Story())
    node.say(0.0)
    known = node.story.state.node("node-a")
    (line,) = known.lines[CLOCK_BOOT]
    known.lines[CLOCK_BOOT] = (replace(line, mono_offset_ms=None),)
    node.story.at_s = 20.0
    assert node.label_s(node.say(20.0)) == 20.0
    assert node.said_of_the_clock() == []
    assert len(known.lines[CLOCK_BOOT]) == 2


def test_starts_that_are_forgotten_are_counted_from_number_0() -> None:
    """A node may draw 0 as the number of a boot; what is not of a boot (below 0) is none of them."""
    known: dict[int, tuple[Line, ...]] = dict.fromkeys((-2, -1, *range(64)), ())
    forget_boots(known)
    assert sorted(known) == [-2, -1, *range(1, 64)]


@pytest.mark.parametrize("off_s", [0.0, 2 * HOUR_S, -2 * HOUR_S])
@pytest.mark.parametrize("pace_s", [0.05, 1.0, 3.0])
def test_a_backlog_is_no_clock_that_was_set(off_s: float, pace_s: float) -> None:
    """What a node or a broker kept for two hours comes quicker than it was sampled: history at its own time, whatever the clock says."""
    node = Clocked.begun(10.0)
    if off_s:
        node.off_s = off_s
        node.speak(120.0)
    said = len(node.said_of_the_clock())
    sampled_s = node.story.at_s
    node.story.at_s += 7200.0
    node.judged.clear()
    stored = []
    while sampled_s + 60.0 < node.story.at_s:
        sampled_s += 10.0
        stored.append((sampled_s, node.say(sampled_s)))
        node.story.at_s += pace_s
    assert [at_s for at_s in node.judged if at_s < node.story.at_s - 60.0] == []
    assert len(node.said_of_the_clock()) == said
    for at_s, reading in stored:
        assert node.label_s(reading) == pytest.approx(at_s, abs=1.5)


def test_first_messages_that_waited_are_not_judged() -> None:
    """A node that nobody heard before brings its backlog first: history at its own time; live, it is judged with its first message."""
    story = Story()
    story.at_s = 3600.0
    node = Clocked(story)
    stored = [node.say(10.0 * n) for n in range(350)]
    assert node.judged == []
    node.speak(20.0)
    assert node.judged == [3610.0, 3620.0]
    assert [node.label_s(r) for r in stored] == [10.0 * n for n in range(350)]


def test_a_clock_that_is_behind_from_the_start_is_judged_from_its_second_message() -> None:
    """Behind by two hours from the first message on: that one may have waited, the second proves that it had not."""
    node = Clocked(Story(), off_s=-7200.0)
    node.speak(40.0)
    assert node.judged == [20.0, 30.0, 40.0]
    assert [node.label_s(r) for r in node.story.readings] == pytest.approx([10.0, 20.0, 30.0, 40.0], abs=0.1)


def test_heat_is_told_soon_after_the_clock_was_set_back() -> None:
    """The case of a house: summer time ends, and a minute later the machine runs hot. It is told, and no cable is blamed."""
    node = Clocked.begun(10.0)
    node.off_s = -HOUR_S
    story = node.story
    for n in range(60):
        for _ in range(10):
            story.at_s += 1.0
            story.tick()
        sample = Sample(
            "top", 37.5 if n < 6 else 39.5 + 0.01 * (n % 3), 45.0, at_ms=to_ms(T0) + round((story.at_s - HOUR_S) * 1000)
        )
        out = Group()
        hear(story.look(out), Pack("node-a", (sample,)))
        story.adopt(out)
    assert story.states() == [("dry-bulb-high-alarm", UNACKNOWLEDGED)]
    assert (NO_DATA, UNACKNOWLEDGED) not in story.states()


def test_a_pack_of_several_instants_is_one_message() -> None:
    """A node that tells three samples in each message, the oldest first, and whose clock is set back: its newest is judged from the second
    message on, as of a node that sends them one by one."""
    node = Clocked.begun(30.0)
    node.off_s = -HOUR_S
    news = []
    for _ in range(3):
        node.story.at_s += 30.0
        sent = [
            Sample("top", 37.5, 45.0, at_ms=to_ms(T0) + round((node.story.at_s - HOUR_S - back) * 1000))
            for back in (20, 10, 0)
        ]
        news.append(len(take_in(node.story.look(), Pack("node-a", tuple(sent)))))
    assert news == [0, 1, 1]


# Boots that nobody heard live.


@pytest.mark.parametrize(
    "clock_s",
    [None, 0.0, 1800.0, -10 * 86_400.0, -40 * 86_400.0],
    ids=["none", "right", "fast", "days behind", "dead cell"],
)
@pytest.mark.parametrize("heard_before", [True, False])
def test_boots_of_a_time_when_nobody_listened(clock_s: float | None, heard_before: bool) -> None:
    """Two boots that began and ended while eggroom was off, and came from the broker afterwards: each is over before the next begins; by
    the node's clock, where it has one that can be right, to the second. The boot that speaks now is judged as ever."""
    story = Story()

    def say(boot: int, seq: int, up_s: int, began_s: float) -> list[str]:
        at_ms = None if clock_s is None else to_ms(T0) + round((began_s + up_s + clock_s) * 1000)
        sample = Sample("top", 37.5, 45.0, at_ms=at_ms)
        out = Group()
        fresh = take_in(story.look(out), Pack("node-a", (sample,), boot, seq, up_s))
        story.adopt(out)
        return [f.probe.key for f in fresh]

    if heard_before:
        for n in range(60):
            story.at_s = 10.0 * n
            say(1, n, 10 * n, 0.0)
    story.at_s = 5 * HOUR_S  # off from ten past on
    began = {2: 1 * HOUR_S, 3: 2.5 * HOUR_S, 4: 4 * HOUR_S}
    stored_from = len(story.readings)
    for boot, lasted_s in ((2, 1800), (3, 1200), (4, 3590)):
        for n in range(lasted_s // 10):
            story.at_s += 0.01
            assert say(boot, n, 10 * n, began[boot]) == []
    now_s = 5 * HOUR_S + 100.0
    news = []
    for n in range(6):
        story.at_s = now_s + 10.0 * n
        news.append(say(4, 400 + n, int(story.at_s - began[4]), began[4]))
    assert news[-4:] == [[TOP]] * 4
    story.at_s = (
        now_s + 60.0 - 0.8
    )  # one that comes quicker than any before it moves the start of this boot, and so the end of the last
    say(4, 406, int(now_s + 60.0 - began[4]), began[4])
    by_id = {line.id: line for parts in story.state.node("node-a").lines.values() for line in parts}
    labels: dict[int, list[tuple[float, float]]] = {}
    for reading in story.readings[stored_from:]:
        line = by_id[reading.line]
        label_s = (line.at_ms(reading.up_ms) - to_ms(T0)) / 1000.0
        labels.setdefault(line.boot, []).append((label_s, began[line.boot] + reading.up_ms / 1000.0))
    if heard_before:
        assert min(at for at, _ in labels[2]) >= 590.0  # after what was heard live
    assert max(at for at, _ in labels[2]) <= min(at for at, _ in labels[3])
    assert max(at for at, _ in labels[3]) <= min(at for at, _ in labels[4])
    assert all(at == pytest.approx(true, abs=1.0) for at, true in labels[4])
    if clock_s == 0.0:
        assert all(at == pytest.approx(true, abs=1.0) for boot in (2, 3) for at, true in labels[boot])
    if clock_s == 1800.0:  # fast by half an hour, which leaves each boot within its room
        assert all(at == pytest.approx(true + 1800.0, abs=1.0) for boot in (2, 3) for at, true in labels[boot])


def test_one_boot_that_nobody_heard_is_over_before_the_first_live_one_begins() -> None:
    """Of a node whose messages hold two instants and the time of its clock: to the second by that, as far as it can be right."""
    story = Story()
    story.at_s = 7200.0
    began = {1: 600.0, 2: 7000.0}

    def say(boot: int, seq: int, up_s: int) -> None:
        at_ms = to_ms(T0) + round((began[boot] + up_s) * 1000)
        samples = tuple(Sample("top", 37.5, 45.0, at_ms=at_ms - back) for back in (5_000, 0))
        out = Group()
        take_in(story.look(out), Pack("node-a", samples, boot, seq, up_s))
        story.adopt(out)

    for n in range(60):
        story.at_s += 0.01
        say(1, n, 10 + 10 * n)
    (line,) = story.state.node("node-a").lines[1]
    assert not line.settled
    assert line.clock_ms == to_ms(T0) + 600_000
    for n in range(4):
        story.at_s = 7210.0 + 10.0 * n
        say(2, n, round(story.at_s - began[2]))
    (line,) = story.state.node("node-a").lines[1]
    assert line.offset_ms == to_ms(T0) + 600_000


def test_a_boot_that_was_heard_live_keeps_its_labels() -> None:
    """A node that starts anew while it is watched: what it said before stays where it was, also under a clock of ours that was set back."""
    story = Story()
    for n in range(6):
        story.at_s = 10.0 * n
        story.send("node-a", Sample("top", 37.5, 45.0))
    before = {line.id: line.offset_ms for parts in story.state.node("node-a").lines.values() for line in parts}
    story.boots["node-a"] = 8
    for n in range(6):
        story.at_s = 60.0 + 10.0 * n
        story.send("node-a", Sample("top", 37.5, 45.0), up_s=10 * n, seq=n)
    after = {line.id: line.offset_ms for parts in story.state.node("node-a").lines.values() for line in parts}
    assert {id_: after[id_] for id_ in before} == before
