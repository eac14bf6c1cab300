"""From a pack to dated readings: each message once, each sample at its true time, and only news is judged."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.domain.alarms.about import LATE, REPEATED, Fault, Unusable
from monitor.domain.alarms.alarm import Alarm
from monitor.domain.readings.calibration import Calibration, by_offset
from monitor.domain.readings.dating import ARRIVAL_BOOT, CLOCK_BOOT, Line
from monitor.domain.readings.numbering import Numbering
from monitor.domain.readings.reading import (
    FAIL,
    MISSING,
    NOT_EVALUATED,
    PASS,
    Pack,
    Presence,
    Refused,
    Sample,
    from_ms,
    to_ms,
)
from monitor.domain.state.record import Group, StoredReading
from monitor.domain.watch.intake import follow_clock, take_in
from tests.domain.house import T0, Story, pack, probes, site, there
from tests.told import event_words

# Written out: taken from the program, they would move with it.
PART_MS = 1_000
HOLE_S = 600.0  # ten minutes
MAX_BOOTS = 64
MAX_UNKNOWN = 64

TOP = "node-a/top"


def lines(story: Story) -> dict[tuple[str, int], tuple[Line, ...]]:
    """The lines of every (node, boot)."""
    return {(id_, boot): parts for id_, node in story.state.nodes.items() for boot, parts in node.lines.items()}


def numberings(story: Story) -> dict[tuple[str, int], Numbering]:
    """What came of every (node, boot)."""
    return {(id_, boot): of for id_, node in story.state.nodes.items() for boot, of in node.numberings.items()}


def good(**changes: object) -> Sample:
    return replace(Sample("top", 37.5, 45.0), **changes)  # type: ignore[arg-type]


def label_s(story: Story, reading: StoredReading) -> float:
    """Where a stored reading is labelled at the end of the story, in seconds after its start."""
    by_id = {line.id: line for parts in lines(story).values() for line in parts}
    return (by_id[reading.line].at_ms(reading.up_ms) - to_ms(T0)) / 1000.0


def news(story: Story, at_s: float, message: Pack) -> list[str]:
    """The probes that are news in a message that arrives then."""
    story.at_s = at_s
    out = Group()
    fresh = take_in(story.look(out), message)
    story.adopt(out)
    return [f.probe.key for f in fresh]


def steady(story: Story, until_s: int = 60) -> None:
    """A node that speaks every 10 s since second 10, its counter 100 s ahead of the story."""
    for n in range(until_s // 10):
        news(story, 10.0 * (n + 1), pack("node-a", n, 10 * (n + 1) + 100, good()))


def test_the_first_message_of_a_boot_is_stored_and_not_judged() -> None:
    """Nothing proves yet that it did not wait; the second, which agrees, is news."""
    story = Story()
    assert news(story, 10, pack("node-a", 0, 100, good())) == []
    assert news(story, 20, pack("node-a", 1, 110, good())) == [TOP]
    assert len(story.readings) == 2


@pytest.mark.parametrize(
    ("rh_pct", "dry_flag", "rh_flag"), [(45.0, PASS, PASS), (None, PASS, MISSING), (104.1, PASS, FAIL)]
)
def test_what_is_not_judged_has_flags_all_the_same(rh_pct: float | None, dry_flag: int, rh_flag: int) -> None:
    """The first message of a boot is flagged by itself: its humidity by its own range, or as missing."""
    story = Story()
    news(story, 10, pack("node-a", 0, 100, good(rh_pct=rh_pct)))
    assert [(r.flag, r.rh_flag) for r in story.readings] == [(dry_flag, rh_flag)]


def test_a_message_met_twice_changes_nothing() -> None:
    """The same (node, boot, seq) again, at once or hours later, stores nothing, judges nothing and moves no line."""
    story = Story()
    steady(story)
    before = (list(story.readings), lines(story), numberings(story))
    for at_s in (61.0, 4_000.0):
        assert news(story, at_s, pack("node-a", 3, 140, good(dry_bulb_c=45.0))) == []
    assert (story.readings, lines(story), numberings(story)) == before


def test_a_pack_understood_in_part_is_taken_in_part() -> None:
    """The good records are readings, what was refused is kept beside them; sent again, both are known already."""
    story = Story()
    steady(story)
    aside = Refused("t", b"x", "node-a #6: low/t in 'Fah', expected Cel; the other records were taken", "node-a")
    message = replace(pack("node-a", 6, 170, good()), refused=aside)
    for times in (1, 2):
        assert news(story, 70, message) == ([TOP] if times == 1 else [])
    assert [row.refused for row in story.refused] == [aside]


def test_the_same_number_of_another_boot_is_another_message() -> None:
    """After a restart of the node its numbers begin anew."""
    story = Story()
    steady(story)
    news(story, 70, pack("node-a", 0, 3, good(), boot=8))
    assert news(story, 80, pack("node-a", 1, 13, good(), boot=8)) == [TOP]
    assert len(story.readings) == 8


def test_a_late_message_is_labelled_when_it_was_sampled_and_is_no_news() -> None:
    """A message that waited an hour is stored at its true time, and is not judged; the next fresh one is."""
    story = Story()
    steady(story)
    assert news(story, 3_700, pack("node-a", 6, 170, good())) == []
    assert label_s(story, story.readings[-1]) == pytest.approx(70.0, abs=2.0)
    assert news(story, 3_710, pack("node-a", 7, 3_810, good())) == [TOP]


def test_out_of_order() -> None:
    """Messages that overtake each other all come to their true times; a gap is known until it is filled."""
    story = Story()
    for n in (0, 2, 5, 1, 4, 3):
        news(story, 100.0 + n, pack("node-a", n, 10 * n, good()))
    numbering = story.state.node("node-a").numberings[7]
    assert (numbering.contiguous, numbering.above) == (5, ())
    labels = sorted(label_s(story, r) for r in story.readings)
    assert [round(b - a, 3) for a, b in pairwise(labels)] == [10.0] * 5


def test_a_quicker_message_mends_what_was_stored_before() -> None:
    """The first two messages of a boot waited 40 and 30 s; the third did not: all three labels are right in the end."""
    story = Story()
    for n, wait_s in enumerate((40, 30, 0)):
        news(story, 100.0 + 10 * n + wait_s, pack("node-a", n, 10 * n, good()))
    assert [label_s(story, r) for r in story.readings] == [100.0, 110.0, 120.0]


def test_a_backlog_of_a_boot_never_heard_is_history() -> None:
    """Two hours of samples that a node kept, sent within a minute after the first contact: all stored, none judged, none at a time
    it was not taken; what follows live is news."""
    story = Story()
    judged = []
    for n in range(720):
        judged += news(story, 7_200 + n * 0.08, pack("node-a", n, 10 * n, good(dry_bulb_c=45.0)))
    assert judged == []
    live = [news(story, 7_260 + 10 * n, pack("node-a", 720 + n, 7_260 + 10 * n, good())) for n in range(4)]
    assert live[-2:] == [[TOP], [TOP]]
    assert len(story.readings) == 724
    for n, reading in enumerate(story.readings[:720]):
        assert label_s(story, reading) == pytest.approx(10 * n, abs=0.2)


def test_several_samples_in_one_pack_have_their_own_times() -> None:
    """A pack that brings four instants, the oldest first, labels the newest at the arrival and none in the future; only the newest of a
    probe is judged."""
    story = Story()
    news(story, 10, pack("node-a", 0, 110, good()))
    caught_up = [good(dry_bulb_c=45.0, offset_s=-float(back)) for back in (300, 200, 100)]
    assert news(story, 500, pack("node-a", 1, 600, *caught_up, good())) == [TOP]
    assert [label_s(story, r) for r in story.readings[1:]] == pytest.approx([200, 300, 400, 500], abs=0.2)
    assert story.state.node("node-a").lines[7][0].last_up_ms == 600_000


@pytest.mark.parametrize("clock", [False, True])
def test_probes_that_caught_up_side_by_side_have_their_own_times(clock: bool) -> None:
    """Two probes told in turn, of two instants each, by a counter or by a clock: each sample has the time of its own instant."""

    def taken(probe: str, at_s: int) -> Sample:
        when: dict[str, Any] = {"at_ms": to_ms(T0) + at_s * 1000} if clock else {"offset_s": at_s - 100.0}
        return Sample(probe, 37.5, 45.0, **when)

    story = Story(site=site(probes((TOP, "setter-1"), ("node-a/low", "setter-1"))))
    told = (("top", 40), ("low", 40), ("top", 100), ("low", 100), ("top", 70))
    samples = tuple(taken(*each) for each in told)
    news(story, 100, Pack("node-a", samples) if clock else pack("node-a", 0, 900, *samples))
    assert [label_s(story, r) for r in story.readings] == [40.0, 40.0, 100.0, 100.0, 70.0]


def test_the_first_pack_of_a_boot_may_bring_old_samples() -> None:
    """When a boot's very first message holds samples of minutes ago, none of them is labelled later than it arrived."""
    story = Story()
    news(story, 400, pack("node-a", 0, 900, good(offset_s=-300.0), good(offset_s=-150.0), good()))
    assert [label_s(story, r) for r in story.readings] == [100.0, 250.0, 400.0]


def test_old_samples_in_a_fresh_pack_are_no_news() -> None:
    """A sample older than the probe's fresh_s is history even when its pack is not."""
    story = Story()
    steady(story)
    assert news(story, 70, pack("node-a", 6, 170, good(offset_s=-61.0))) == []
    assert news(story, 80, pack("node-a", 7, 180, good(offset_s=-59.0))) == [TOP]


def test_two_probes_in_one_pack() -> None:
    """Each probe of a pack is a reading of its own, at one time."""
    story = Story(site=site(probes((TOP, "setter-1"), ("node-a/low", "setter-1"))))
    steady(story)
    both = pack("node-a", 6, 170, good(), Sample("low", 37.0, None))
    assert news(story, 70, both) == [TOP, "node-a/low"]
    assert {r.up_ms for r in story.readings[-2:]} == {170_000}


# Retained, absolute, other makes.


def test_a_retained_pack_is_history() -> None:
    """A retained pack of ours is stored at its time and judged by nobody; one without `up` is not stored, for nobody knows when it was."""
    story = Story()
    steady(story)
    assert news(story, 70, pack("node-a", 6, 165, good(), retained=True)) == []
    assert len(story.readings) == 7
    assert news(story, 71, Pack("node-a", (good(),), retained=True)) == []
    assert news(story, 72, pack("node-a", 9, None, good(), retained=True)) == []
    assert len(story.readings) == 7


def test_a_node_of_another_make_is_dated_by_its_arrival() -> None:
    """Without any time of its own a message is as old as it is when it comes, and news."""
    story = Story()
    for n in range(3):
        assert news(story, 10.0 * n + 5, Pack("node-a", (good(),))) == [TOP]
    assert [label_s(story, r) for r in story.readings] == [5.0, 15.0, 25.0]
    assert set(lines(story)) == {("node-a", ARRIVAL_BOOT)}


def test_a_node_with_a_clock_that_agrees() -> None:
    """Absolute times are taken as they stand; the first message is news at once, a late one is history at its time."""
    story = Story()

    def stamped(at_s: float) -> Sample:
        return good(at_ms=to_ms(T0) + round(at_s * 1000))

    assert news(story, 10, Pack("node-a", (stamped(9.5),))) == [TOP]
    assert news(story, 20, Pack("node-a", (stamped(19.5),))) == [TOP]
    assert news(story, 3_630, Pack("node-a", (stamped(30),))) == []
    assert [label_s(story, r) for r in story.readings] == [9.5, 19.5, 30.0]
    assert set(lines(story)) == {("node-a", CLOCK_BOOT)}


def test_a_node_with_a_clock_that_disagrees() -> None:
    """A node an hour ahead is labelled by its arrival, and is news; its late message is an hour too late all the same."""
    story = Story()

    def ahead(at_s: float) -> Sample:
        return good(at_ms=to_ms(T0) + round(at_s * 1000) + 3_600_000)

    assert news(story, 10, Pack("node-a", (ahead(10),))) == [TOP]
    assert news(story, 20, Pack("node-a", (ahead(20),))) == [TOP]
    assert news(story, 630, Pack("node-a", (ahead(30),))) == []
    assert [label_s(story, r) for r in story.readings] == pytest.approx([10, 20, 30], abs=0.2)


def test_absolute_and_counted_times_in_one_pack_do_not_mix() -> None:
    """A pack of ours in which one sample has an absolute time and the next has not: each is dated by its own."""
    story = Story(site=site(probes((TOP, "setter-1"), ("node-a/low", "setter-1"))))
    news(story, 10, pack("node-a", 0, 110, good(at_ms=to_ms(T0) + 10_000), Sample("low", 37.0, None)))
    assert [label_s(story, r) for r in story.readings] == [10.0, 10.0]


# What is unknown, missing or failed.


def test_an_unknown_probe_is_kept_aside() -> None:
    """A probe that nobody configured is counted under its name with its last values, and stored nowhere else."""
    story = Story()
    for n in range(3):
        news(story, 10.0 * n, pack("node-a", n, 10 * n, Sample("new", 30.0 + n, None)))
    assert story.readings == []
    unknown = story.state.unknown["node-a/new"]
    assert (unknown.count, unknown.dry_bulb_c, unknown.first_at, unknown.last_at) == (
        3,
        32.0,
        T0,
        T0 + timedelta(seconds=20),
    )


def test_unknown_probes_are_bounded() -> None:
    """However many names a rogue sends, MAX_UNKNOWN are kept, and a stranger fills no other table either."""
    story = Story()
    for n in range(10 * MAX_UNKNOWN):
        news(story, float(n), pack(f"rogue-{n}", 0, 10, Sample(f"p-{n}", 37.5, None), boot=n))
    assert len(story.state.unknown) == MAX_UNKNOWN
    assert lines(story) == {}
    assert numberings(story) == {}
    assert news(story, 9_000, pack("node-a", 0, 10, good())) == []
    assert len(story.readings) == 1


def test_a_node_that_restarts_all_the_time_does_not_fill_the_memory() -> None:
    """Of one node MAX_BOOTS starts are told apart, the newest ones; another node's are not touched."""
    story = Story(site=site(probes((TOP, "setter-1"), ("node-b/top", "setter-1"))))
    news(story, 0.0, pack("node-b", 0, 10, good(), boot=1))
    news(story, 0.5, Pack("node-a", (good(),)))
    for boot in range(3 * MAX_BOOTS):
        news(story, 1.0 + boot, pack("node-a", 0, 10, good(), boot=boot))
        news(story, 1.5 + boot, pack("node-a", 1, 11, good(), boot=boot))
    kept = [boot for node, boot in numberings(story) if node == "node-a"]
    assert kept == list(range(2 * MAX_BOOTS, 3 * MAX_BOOTS))
    assert [boot for node, boot in lines(story) if node == "node-a" and boot >= 0] == kept
    assert ("node-b", 1) in numberings(story)
    assert ("node-a", ARRIVAL_BOOT) in lines(story)
    assert len(story.readings) == 6 * MAX_BOOTS + 2


@pytest.mark.parametrize(
    ("sample", "flag"), [(good(dry_bulb_c=None, fault="no answer"), MISSING), (good(dry_bulb_c=85.0), FAIL)]
)
def test_what_is_no_reading_is_stored_with_its_flag(sample: Sample, flag: int) -> None:
    """A missing reading has its row and is no news; a failed one is a sign of life, and not fit to be judged."""
    story = Story()
    steady(story)
    assert news(story, 70, pack("node-a", 6, 170, sample)) == ([TOP] if flag == FAIL else [])
    assert story.readings[-1].flag == flag


def test_a_hole_is_given_up_in_its_time() -> None:
    """A number that never comes becomes a recorded gap after HOLE_S, with an event, and the node may forget what came after it."""
    story = Story()
    for seq in (0, 1, 3):
        news(story, 10.0 * seq, pack("node-a", seq, 10 * seq, good()))
    story.at_s += HOLE_S - 1
    assert story.tick().gaps == []
    story.at_s += 1
    out = story.tick()
    assert [(g.node, g.boot, g.first, g.last, g.lost) for g in out.gaps] == [("node-a", 7, 2, 2, True)]
    assert out.numberings[("node-a", 7)].contiguous == 3
    assert event_words(story.events[-1]) == "boot 7: messages 2 to 2 never came"


def test_a_late_filler_is_stored() -> None:
    """A message that comes after its gap was given up is stored at its true time."""
    story = Story()
    for seq in (0, 1, 3):
        news(story, 10.0 * seq, pack("node-a", seq, 10 * seq, good()))
    story.at_s += HOLE_S
    story.tick()
    news(story, 700.0, pack("node-a", 2, 20, good()))
    assert len(story.readings) == 4


# The label clock is set.


@pytest.mark.parametrize("hours", [-3.0, 3.0, 24.0 * 9_000])
def test_a_wrong_clock_that_is_set_mends_the_labels_once(hours: float) -> None:
    """What was labelled while the clock was known to be wrong moves with it, by exactly as much; with an event, and lines to write."""
    story = Story(clock_ok=False, utc_step=timedelta(hours=-hours))
    steady(story)
    assert label_s(story, story.readings[0]) == pytest.approx(10.0 - hours * 3_600)
    story.utc_step, story.clock_ok = timedelta(0), True
    out = story.tick()
    assert [label_s(story, r) for r in story.readings] == [10.0 * n for n in range(1, 7)]
    assert {line.at_ms(0) for line in out.lines.values()} == {to_ms(T0) - 100_000}
    assert event_words(story.events[-1]) == f"the clock was set by {hours * 3600:+.1f} s, labels of this run mended"
    assert story.tick().lines == {}
    assert news(story, 70, pack("node-a", 6, 170, good())) == [TOP]


def test_a_wrong_clock_that_is_set_mends_the_times_of_alarms() -> None:
    """When an alarm of this run began, ended or waits moves with the label, and its shelf, or its time out of service, ends when it would have;
    what an earlier run labelled stays."""
    story = Story(clock_ok=False, utc_step=timedelta(hours=-5))
    steady(story)
    began, before = story.now().utc, story.now().utc - timedelta(days=3)
    shelved_s = story.now().mono_s + 600.0
    alarm = Alarm("setter-1", "dry-bulb-high-alarm", number=1, condition=True, since=began, pending_at=began)
    shelved = replace(alarm, shelved_until=began + timedelta(seconds=600), shelved_until_mono_s=shelved_s)
    shelved = replace(shelved, out_until=began + timedelta(seconds=600), out_until_mono_s=shelved_s)
    old = replace(alarm, rule="dry-bulb-low-alarm", condition=False, since=before, ended=before, pending_at=None)
    story.state.alarms = {a.key: a for a in (shelved, old)}
    story.utc_step, story.clock_ok = timedelta(0), True
    follow_clock(story.look(Group()))
    right = began + timedelta(hours=5)
    found = story.state.alarms[alarm.key]
    assert (found.since, found.pending_at, found.ended) == (right, right, None)
    assert found.shelved_until == found.out_until == right + timedelta(seconds=600)
    assert story.state.alarms[old.key] == old


def test_a_clock_found_right_is_right() -> None:
    """A clock that turns out to have been right mends nothing, and is right from then on."""
    story = Story(clock_ok=False)
    steady(story)
    before = [label_s(story, r) for r in story.readings]
    story.clock_ok = True
    story.tick()
    assert story.state.clock_ok
    assert [label_s(story, r) for r in story.readings] == before


@pytest.mark.parametrize("hours", [-3.0, 3.0])
def test_a_right_clock_that_is_set_leaves_the_labels_before(hours: float) -> None:
    """What a right clock labelled stays where it is; what comes after is labelled by the new time; a late message from before, too, keeps
    to the old one."""
    story = Story()
    steady(story)
    before = [label_s(story, r) for r in story.readings]
    story.utc_step = timedelta(hours=hours)
    story.tick()
    news(story, 65, pack("node-a", 9, 130, good()))  # from before the step, out of order
    assert [label_s(story, r) for r in story.readings[:6]] == before
    assert label_s(story, story.readings[6]) == pytest.approx(30.0, abs=0.1)
    assert news(story, 70, pack("node-a", 6, 170, good())) == [TOP]
    assert [label_s(story, r) for r in story.readings[:6]] == before
    assert label_s(story, story.readings[7]) == pytest.approx(70.0 + hours * 3_600, abs=0.1)


@pytest.mark.parametrize("seconds", [-1.9, 1.9])
def test_a_steered_clock_is_not_set(seconds: float) -> None:
    """A time server that steers by less than STEP_MS is no event, and moves nothing."""
    story = Story()
    steady(story)
    story.utc_step = timedelta(seconds=seconds)
    story.tick()
    assert [e for e in story.events if e.kind == "clock"] == []


def test_a_clock_node_is_labelled_right_once_our_own_clock_is() -> None:
    """With our clock hours behind, a node whose clock is right is labelled by ours; once ours is set, by its own."""
    story = Story(clock_ok=False, utc_step=timedelta(hours=-2))
    for n in (1, 2, 3):
        news(story, 10.0 * n, Pack("node-a", (good(at_ms=to_ms(T0) + 10_000 * n),)))
    assert label_s(story, story.readings[0]) == pytest.approx(10.0 - 7_200)
    story.utc_step, story.clock_ok = timedelta(0), True
    story.tick()
    assert [label_s(story, r) for r in story.readings] == [10.0, 20.0, 30.0]


@given(
    st.lists(st.tuples(st.integers(0, 25), st.floats(0.0, 40.0)), min_size=2, max_size=60),
    st.booleans(),
)
@settings(max_examples=150, deadline=None)
def test_whatever_the_order_each_message_is_stored_once_and_spaced_as_sampled(
    arrivals: list[tuple[int, float]], clock_ok: bool
) -> None:
    """Messages in any order, any number of times, with any waits: each is stored once, the labels keep the spacing of the samples (but
    for a part's worth), and none is labelled before it was taken."""
    story = Story(clock_ok=clock_ok)
    arrived = sorted((10.0 * seq + wait_s, seq) for seq, wait_s in arrivals)
    for at_s, seq in arrived:
        news(story, at_s, pack("node-a", seq, 10 * seq, good()))
    assert len(story.readings) == len({seq for seq, _ in arrivals})
    errors = [label_s(story, r) - r.up_ms / 1000.0 for r in story.readings]
    assert max(errors) - min(errors) <= PART_MS / 1000.0 + 0.001
    assert min(errors) >= -0.001


def test_a_reading_is_dated_by_the_clock_of_its_arrival_not_of_its_handling() -> None:
    """What is judged carries the label of the sample, not of the moment."""
    story = Story()
    steady(story)
    story.at_s = 85.0
    out = Group()
    (fresh,) = take_in(story.look(out), pack("node-a", 6, 170, good()))
    assert fresh.at == from_ms(to_ms(T0) + 70_000)


@pytest.mark.parametrize(
    "back_s", [(0.0, 5.0, 9.0), (9.0, 5.0, 0.0), (5.0, 0.0, 9.0)], ids=["newest first", "last", "between"]
)
def test_of_a_packs_samples_the_newest_is_the_news(back_s: tuple[float, ...]) -> None:
    """In whatever order a pack lists what a probe said, judged is what it said last; the others are history."""
    story = Story()
    steady(story)
    story.at_s = 70.0
    samples = [good(dry_bulb_c=37.5 + 0.01 * back, offset_s=-back) for back in back_s]
    (news_of_it,) = take_in(story.look(), pack("node-a", 6, 170, *samples))
    assert (news_of_it.dry_bulb_c, (news_of_it.at - T0).total_seconds()) == (37.5, 70.0)


@pytest.mark.parametrize("back_s", [(0, 20, 40), (40, 20, 0), (20, 0, 40)], ids=["newest first", "last", "between"])
def test_a_nodes_own_clock_counts_back_from_its_newest_sample(back_s: tuple[int, ...]) -> None:
    """The counter is that of the pack, so of its newest sample; the node's clock, however wrong, says how long before it the others were."""
    story = Story()
    steady(story)
    wrong_ms = to_ms(T0) - 86_400_000
    samples = [good(dry_bulb_c=37.5 + 0.001 * back, at_ms=wrong_ms - back * 1000) for back in back_s]
    news(story, 70, pack("node-a", 6, 170, *samples))
    stored = {round((r.dry_bulb_c or 0.0) - 37.5, 3): label_s(story, r) for r in story.readings[-3:]}
    assert stored == {0.0: 70.0, 0.02: 50.0, 0.04: 30.0}


def test_a_hole_that_is_given_up_is_recorded_from_its_first_number_to_its_last() -> None:
    """Three messages that never came: the gap and the words for it name the first and the last of them, of that boot."""
    story = Story()
    steady(story)
    news(story, 100, pack("node-a", 9, 200, good()))
    story.at_s = 100.0 + HOLE_S
    out = story.tick()
    assert [(gap.node, gap.boot, gap.first, gap.last, gap.lost) for gap in out.gaps] == [("node-a", 7, 6, 8, True)]
    assert [event_words(event) for event in out.events if event.kind == "gap"] == ["boot 7: messages 6 to 8 never came"]


@pytest.mark.parametrize(("late_s", "told"), [(15.0, True), (90.0, False)])
def test_what_was_sent_before_the_clock_was_set_is_news_only_if_it_comes_at_once(late_s: float, told: bool) -> None:
    """A message that was overtaken by one sent after our clock was set goes to the labels of before; it waited for as long as it is
    late, and is judged as long as that is under a minute."""
    low = "node-a/low"
    story = Story(site=site(probes((TOP, "setter-1"), (low, "setter-1"))))
    steady(story)
    story.utc_step = timedelta(hours=3)
    story.tick()
    assert news(story, 70, pack("node-a", 7, 170, good())) == [TOP]
    came = news(story, 65 + late_s, pack("node-a", 6, 165, good(probe="low")))
    assert came == ([low] if told else [])
    assert label_s(story, story.readings[-1]) == pytest.approx(65.0, abs=0.1)


@pytest.mark.parametrize(("moved_s", "set_"), [(2.0, False), (-2.0, False), (2.001, True), (-2.001, True)])
def test_a_clock_that_moves_by_more_than_two_seconds_was_set(moved_s: float, set_: bool) -> None:
    """Two seconds, either way, are steering; a millisecond more is a clock that was set, and told as such."""
    story = Story()
    story.tick()
    story.utc_step = timedelta(seconds=moved_s)
    story.tick()
    assert [event_words(e) for e in story.events] == ([f"the clock was set by {moved_s:+.1f} s"] if set_ else [])


def test_a_clock_that_is_known_to_be_right_all_at_once_is_noticed_though_it_does_not_move() -> None:
    """Labels that could not be trusted can be from then on; one that was right, and is doubted now, is no news by itself."""
    story = Story(clock_ok=False)
    story.tick()
    story.clock_ok = True
    story.tick()
    assert [event_words(e) for e in story.events] == ["the clock was set by +0.0 s, labels of this run mended"]
    assert story.state.clock_ok
    story.clock_ok = False
    story.tick()
    assert story.state.clock_ok
    assert len(story.events) == 1


@pytest.mark.parametrize(("after_began_s", "moves"), [(-1.0, False), (0.0, True), (60.0, True), (61.0, False)])
def test_only_times_of_this_run_are_mended(after_began_s: float, moves: bool) -> None:
    """From the very start of the run to the instant at which the clock is set; what lies outside bears another clock's label. When a
    shelf ends is counted on the clock that goes forward alone."""
    story = Story(clock_ok=False, utc_step=timedelta(hours=-5))
    story.state.started_mono_s = story.now().mono_s
    at = story.now().utc + timedelta(seconds=after_began_s)
    alarm = Alarm("setter-1", "dry-bulb-high-alarm", number=1, condition=True, since=at, ended=at, pending_at=at)
    until = story.now().utc + timedelta(hours=20)
    label = Alarm("setter-1", "dry-bulb-low-alarm", number=2, condition=True, shelved_until=until)
    story.state.alarms = {a.key: a for a in (alarm, label)}
    story.at_s = 60.0
    story.utc_step, story.clock_ok = timedelta(0), True
    follow_clock(story.look(Group()))
    found = story.state.alarms[alarm.key]
    right = at + timedelta(hours=5 if moves else 0)
    assert (found.since, found.ended, found.pending_at) == (right, right, right)
    assert story.state.alarms[label.key].shelved_until == until


@pytest.mark.parametrize(("waited_s", "fresh"), [(60.0, True), (61.0, False)])
def test_a_message_is_news_for_a_minute(waited_s: float, fresh: bool) -> None:
    """Of readings each ten seconds, what waited for longer than a minute is history, and is then what is wrong with its messages."""
    story = Story()
    steady(story)
    story.state.probe(TOP).trouble = None  # of the first message of the boot, whose age nobody knew
    came = news(story, 70.0 + waited_s, pack("node-a", 6, 170, good()))
    assert came == ([TOP] if fresh else [])
    trouble = story.state.probe(TOP).trouble
    assert (trouble is None) is fresh
    if trouble is not None:
        assert trouble.about == Unusable(LATE, by=pytest.approx(waited_s, abs=0.1))  # type: ignore[arg-type]


@pytest.mark.parametrize(("waited_s", "fresh"), [(60.0, True), (61.0, False)])
def test_a_probe_without_a_temperature_fails_only_by_news(waited_s: float, fresh: bool) -> None:
    """That it failed, and how, counts for as long as a reading would; what is older is only late. A node that said that it goes, and
    fails aloud all the same, is there."""
    story = Story()
    steady(story)
    story.state.probe(TOP).trouble = None
    story.hear(Presence("node-a", False))
    news(story, 70.0 + waited_s, pack("node-a", 6, 170, good(dry_bulb_c=None, fault="crc")))
    trouble = story.state.probe(TOP).trouble
    said = there(story.state.node("node-a").said)
    assert said.online is fresh
    assert (None if trouble is None else trouble.about) == (Fault("crc") if fresh else None)


def test_a_pack_without_a_sample_is_a_sign_of_its_node_alone() -> None:
    """A node that only tells of its battery speaks; a message that a broker kept says nothing of now."""
    story = Story()
    assert story.state.node("node-a").spoke_mono_s is None
    news(story, 10.0, pack("node-a", 0, 10, retained=True))
    assert story.state.node("node-a").spoke_mono_s is None
    news(story, 20.0, pack("node-a", 1, 20))
    assert story.state.node("node-a").spoke_mono_s == story.now().mono_s
    other = Story()
    news(other, 10.0, pack("node-a", 0, 10, good()))  # of which nobody knows yet how old it is
    assert other.state.node("node-a").spoke_mono_s is None


def test_what_an_unknown_probe_said_is_counted_from_its_first_word_to_its_newest() -> None:
    """When it was heard first and last, how often, and what it said last; also of a node that is not configured at all."""
    story = Story()
    for n, node in enumerate(("node-a", "node-x")):
        for count in (1, 2, 3):
            news(story, 100.0 * n + 10.0 * count, pack(node, count, 10 * count, Sample("odd", 20.0 + count, 40.0)))
        seen = story.state.unknown[f"{node}/odd"]
        first = T0 + timedelta(seconds=100.0 * n + 10.0)
        assert (seen.first_at, seen.last_at, seen.count) == (first, first + timedelta(seconds=20), 3)
        assert (seen.dry_bulb_c, seen.rh_pct) == (23.0, 40.0)


@pytest.mark.parametrize("jump", ["temperature", "humidity"])
def test_a_jump_is_settled_by_the_next_reading_in_the_quantity_that_jumped(jump: str) -> None:
    """The row of a jump is written as not evaluated, and set right by the next one: as passed if that confirms it, as failed if not;
    the other quantity's flag stays as it was."""
    for confirmed, flag in ((True, PASS), (False, FAIL)):
        story = Story()
        steady(story, 120)
        odd = good(dry_bulb_c=42.0) if jump == "temperature" else good(rh_pct=75.0)
        for n, sample in ((12, odd), (13, odd if confirmed else good())):
            story.at_s = 10.0 * (n + 1)
            out = Group()
            take_in(story.look(out), pack("node-a", n, 10 * (n + 1) + 100, sample))
            story.adopt(out)
            if n == 12:
                held = there(story.state.probe(TOP).held)
                row = story.readings[-1]
                assert held.dry_bulb_c == sample.dry_bulb_c
                assert (row.flag, row.rh_flag) == (
                    (NOT_EVALUATED, PASS) if jump == "temperature" else (PASS, NOT_EVALUATED)
                )
        (settled,) = out.reflags
        assert (settled.probe, settled.line, settled.up_ms) == (TOP, row.line, row.up_ms)
        assert (settled.flag, settled.rh_flag) == ((flag, PASS) if jump == "temperature" else (PASS, flag))
        assert story.state.probe(TOP).held is None


def test_readings_are_corrected_and_stored_as_they_came() -> None:
    """A calibration changes what is judged; the record keeps what the probe said, and so does what is told of a failed one."""
    story = Story()
    steady(story)
    story.state.probe(TOP).calibrations = (Calibration(TOP, T0, None, dry_bulb_c=by_offset("dry_bulb_c", 0.4)),)
    story.at_s = 70.0
    out = Group()
    (fresh,) = take_in(story.look(out), pack("node-a", 6, 170, good()))
    assert fresh.dry_bulb_c == pytest.approx(37.9)
    assert (fresh.sent_c, fresh.rh_pct) == (37.5, 45.0)
    assert [r.dry_bulb_c for r in out.readings] == [37.5]


def test_messages_under_a_number_that_came_are_counted_at_the_first_alone_in_the_record() -> None:
    """What a node repeats is what is wrong with it, with the boot whose numbers it repeats; repeats an hour apart are two such times."""
    story = Story()
    steady(story)
    for at_s in (70.0, 80.0, 100.0, 4000.0):
        news(story, at_s, pack("node-a", 3, 140, good()))
        trouble = there(story.state.node("node-a").trouble)
        assert trouble.about == Unusable(REPEATED, by=7)
        assert trouble.mono_s == story.now().mono_s
        assert trouble.since_s - story.now().mono_s == (0.0 if at_s in (70.0, 4000.0) else 70.0 - at_s)
