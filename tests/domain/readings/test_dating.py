"""When a sample was taken: the smallest wait, crystals that run slow or fast, labels that are mended, clocks that are set."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.domain.needs.site import Site
from monitor.domain.readings import dating
from monitor.domain.readings.dating import (
    ARRIVAL,
    CLOCK,
    CLOCK_BOOT,
    DOUBTED,
    FITS,
    UNSETTLED,
    UPTIME,
    WAS_SET,
    Line,
    ended,
    hear,
    hear_clock,
    label_offset,
    relabel,
    resume_line,
    start_line,
)
from monitor.domain.readings.reading import Now, Pack, Sample, from_ms, to_ms
from monitor.domain.state.known import Look, State
from monitor.domain.state.record import Group
from monitor.domain.watch.evaluate import hear as hear_message
from monitor.service.ports import Loaded
from monitor.service.watch.engine import start_state
from tests.domain.house import T0, Story, site, there

# Written out: taken from the program, they would move with it.
CREEP = 200e-6  # of elapsed time
PART_MS = 1_000
SETTLED_MS = 1_000
MEND_MS = 50
CLOCK_AGREES_MS = 60_000  # a minute

ANCHOR_MS = 1_750_000_000_000.0
DAY_S = 86_400


def heard(line: Line, *messages: tuple[int, float]) -> tuple[Line, list[float]]:
    """The line after messages (counted ms, arrival ms), and the age of each in seconds."""
    ages = []
    for up_ms, arrival_ms in messages:
        line, age_s, _ = hear(line, up_ms, arrival_ms, ANCHOR_MS)
        ages.append(age_s)
    return line, ages


def begun(up_ms: int = 0, arrival_ms: float = 0.0, basis: str = UPTIME) -> Line:
    return start_line(1, "node-a", 7, basis=basis, up_ms=up_ms, arrival_mono_ms=arrival_ms, anchor_ms=ANCHOR_MS)


def test_a_quicker_message_mends_the_labels_of_its_boot() -> None:
    """The first message waited 5 s, the second came at once: the first sample's label moves by those 5 s."""
    line = begun(0, 5_000.0)
    assert line.at_ms(0) == ANCHOR_MS + 5_000
    line, _ = heard(line, (10_000, 10_000.0))
    assert line.at_ms(0) == ANCHOR_MS
    assert line.at_ms(10_000) == ANCHOR_MS + 10_000


def test_a_late_message_gets_its_true_time_and_its_age() -> None:
    """A message that waited two hours is two hours old, and its label is when it was sampled."""
    line, ages = heard(begun(), (10_000, 10_000.0), (20_000, 20_000.0 + 7_200_000))
    assert line.at_ms(20_000) == ANCHOR_MS + 20_000
    assert ages[1] == pytest.approx(7_200, abs=CREEP * 7_200 + 0.1)


def test_a_caught_up_backlog_is_never_settled() -> None:
    """Messages of a boot never heard before, each quicker than the one before, have no known age until two agree."""
    backlog = [(n * 10_000, 3_600_000.0 + n * 50) for n in range(1, 361)]
    live = [(3_610_000, 3_618_100.0), (3_620_000, 3_628_100.0)]
    _, ages = heard(begun(0, 3_600_000.0), *backlog, *live)
    assert set(ages[:-2]) == {UNSETTLED}
    assert ages[-1] < 1.0


def test_jitter_of_the_network_is_not_news() -> None:
    """A message that is quicker by less than MEND_MS changes no label."""
    line, ages = heard(begun(0, 40.0), (10_000, 10_000.0))
    assert line.offset_ms == begun(0, 40.0).offset_ms
    assert ages == [0.0]


def crystal(error: float, days: float, interval_s: int = 60, wait_ms: float = 40.0) -> Iterable[tuple[int, float]]:
    """(counted ms, arrival ms) of a node whose crystal is wrong by a share: + counts too fast. `up` in whole ms."""
    for n in range(1, int(days * DAY_S / interval_s)):
        true_ms = n * interval_s * 1000.0
        yield round(true_ms * (1.0 + error)), true_ms + wait_ms


class Node:
    """A node whose messages go through the whole intake; it keeps where each sample was labelled at the end."""

    def __init__(self) -> None:
        self.state = State(ANCHOR_MS, True, 0.0)
        self.site: Site = site()
        self.lines: dict[int, Line] = {}
        self.rows: list[tuple[float, int, int]] = []  # true ms, line, up_ms
        self.fresh = 0

    def message(self, seq: int, up_s: int, arrival_ms: float, taken_ms: float) -> None:
        out = Group()
        now = Now(arrival_ms / 1000.0, from_ms(round(ANCHOR_MS + arrival_ms)))
        look = Look(self.state, self.site, now, out)
        hear_message(look, Pack("node-a", (Sample("top", 37.5, 45.0),), 7, seq, up_s))
        self.lines |= out.lines
        self.rows += [(taken_ms, r.line, r.up_ms) for r in out.readings]
        self.fresh += self.state.probe("node-a/top").life_mono_s == now.mono_s

    def errors_ms(self) -> list[float]:
        """How far the final label of each sample lies from when it was taken."""
        return [self.lines[line].at_ms(up_ms) - (ANCHOR_MS + true_ms) for true_ms, line, up_ms in self.rows]


@pytest.mark.parametrize("error", [-100e-6, -20e-6, 20e-6, 100e-6])
def test_a_crystal_that_is_wrong_for_thirty_days(error: float) -> None:
    """With a crystal 100 ppm slow or fast for 30 days every message is still news, and every label within 1.1 s (and the whole
    second that `up` is cut to)."""
    node = Node()
    for seq, (up_ms, arrival_ms) in enumerate(crystal(error, days=30)):
        node.message(seq, up_ms // 1000, arrival_ms, arrival_ms - 40.0)
    assert len(node.rows) == node.fresh + 1  # the first of a boot proves nothing of its own age
    errors = node.errors_ms()
    assert max(errors) <= PART_MS + 100
    assert min(errors) >= -(PART_MS + 100 + 1000)


@pytest.mark.parametrize("error", [-100e-6, 100e-6])
def test_labels_of_weeks_ago_are_not_moved_by_a_crystal(error: float) -> None:
    """What a line labelled in its first hour keeps that label to within a part, however far the crystal has gone since."""
    line, parts, first = begun(), 1, None
    for up_ms, arrival_ms in crystal(error, days=30):
        line, _, drifted = hear(line, up_ms, arrival_ms, ANCHOR_MS)
        first = first or line
        if parts == 1:
            assert abs(line.at_ms(0) - first.at_ms(0)) <= MEND_MS
        if drifted:
            parts += 1
            line = replace(
                start_line(
                    parts, "node-a", 7, basis=UPTIME, up_ms=up_ms, arrival_mono_ms=arrival_ms, anchor_ms=ANCHOR_MS
                )
            )
    assert parts == pytest.approx(30 * DAY_S * 1000 * 100e-6 / PART_MS, rel=0.1)


@given(st.lists(st.integers(0, 30_000), min_size=2, max_size=60), st.integers(1, 30))
@settings(max_examples=200, deadline=None)
def test_label_error_is_at_most_the_smallest_delay(delays_ms: list[int], interval_s: int) -> None:
    """With any delays, in any order of arrival, no label is early, none is later than the smallest delay (and MEND_MS, and what a
    crystal might do meanwhile), and the labels of the boot keep their spacing to the millisecond."""
    arrivals = sorted((n * interval_s * 1000 + delay, n) for n, delay in enumerate(delays_ms))
    first_ms, first = arrivals[0]
    line = begun(first * interval_s * 1000, float(first_ms))
    for arrival_ms, n in arrivals[1:]:
        line, _, drifted = hear(line, n * interval_s * 1000, float(arrival_ms), ANCHOR_MS)
        assert not drifted
    span_ms = arrivals[-1][0] - first_ms
    errors = [line.at_ms(n * interval_s * 1000) - ANCHOR_MS - n * interval_s * 1000 for _, n in arrivals]
    assert len(set(errors)) == 1
    assert 0 <= errors[0] <= min(delays_ms) + MEND_MS + CREEP * span_ms + 1


@given(st.lists(st.integers(0, 900_000), min_size=1, max_size=40))
@settings(max_examples=200, deadline=None)
def test_no_sample_is_younger_than_it_can_be(delays_ms: list[int]) -> None:
    """A known age is never below zero, and never above the true wait by more than the crystal's allowance."""
    line = begun(0, 0.0)
    for n, delay in enumerate(delays_ms, start=1):
        line, age_s, _ = hear(line, n * 900_000, n * 900_000.0 + delay, ANCHOR_MS)
        assert age_s == UNSETTLED or 0.0 <= age_s <= delay / 1000.0 + 0.001


def test_a_stored_line_knows_the_waits_after_a_restart() -> None:
    """A new run takes the waits from the labels: a message that waited an hour for the daemon is an hour old."""
    kept = replace(begun(), last_up_ms=50_000)
    # The forward clock began anew, so the anchor is another one.
    line = resume_line(kept, ANCHOR_MS - 1_000.0, 61_000.0)
    _, age_s, _ = hear(line, 60_000, 61_000.0 + 3_600_000, ANCHOR_MS - 1_000.0)
    assert age_s == pytest.approx(3_600, abs=1.0)


def test_a_daemon_that_was_off_for_a_season_hears_its_nodes() -> None:
    """After 90 days without a daemon a node with a slow crystal (50 ppm) is news again with its second message."""
    days = 90
    kept = replace(begun(), last_up_ms=0)
    start_ms = days * DAY_S * 1000.0
    line = resume_line(kept, ANCHOR_MS, start_ms)
    ages = []
    for n in range(3):
        true_ms = start_ms + n * 10_000
        line, age_s, _ = hear(line, round(true_ms * (1 - 50e-6)), true_ms, ANCHOR_MS)
        ages.append(age_s)
    assert max(ages[1:]) < 60.0


def test_a_run_with_a_wrong_clock_leaves_the_labels_of_the_run_before() -> None:
    """A line from the record that is first heard under a wrong label clock gets a new part; what it labelled stays, and is not
    moved to 1970."""
    kept = replace(begun(), mono_offset_ms=None, last_up_ms=100_000)
    line, age_s, drifted = hear(kept, 110_000, 5_000.0, 0.0)
    assert drifted
    assert age_s == UNSETTLED
    assert line.at_ms(100_000) == ANCHOR_MS + 100_000


def test_a_new_anchor_moves_what_was_heard_in_this_run() -> None:
    """When our clock is set the labels follow; those of a line not heard in this run stay."""
    line, _ = heard(begun(), (10_000, 10_000.0))
    assert relabel(line, ANCHOR_MS + 3_600_000).at_ms(0) == ANCHOR_MS + 3_600_000
    silent = replace(line, mono_offset_ms=None)
    assert relabel(silent, ANCHOR_MS + 3_600_000) == silent


def test_a_clock_that_agrees_is_believed() -> None:
    """Absolute times within CLOCK_AGREES_MS of ours stand as they are, also when the message waited."""
    at_ms = int(ANCHOR_MS) + 30_000
    line = begun(at_ms, 0.0, CLOCK)
    assert line.at_ms(at_ms) == at_ms
    line, ages = heard(line, (at_ms + 10_000, 10_000.0), (at_ms + 20_000, 20_000.0 + 3_600_000))
    assert line.at_ms(at_ms + 20_000) == at_ms + 20_000
    assert ages[0] < 1.0
    assert ages[1] == pytest.approx(3_600, abs=2.0)


def test_a_clock_that_disagrees_is_used_as_a_counter() -> None:
    """A node a day ahead is labelled by our clock, and its messages are still news, or late, as they are."""
    at_ms = int(ANCHOR_MS) + DAY_S * 1000
    line = begun(at_ms, 100.0, CLOCK)
    assert line.at_ms(at_ms) == ANCHOR_MS + 100
    line, ages = heard(line, (at_ms + 10_000, 10_100.0), (at_ms + 20_000, 620_100.0))
    assert ages == [pytest.approx(0.0, abs=0.01), pytest.approx(600.0, abs=0.2)]


@pytest.mark.parametrize("offset_ms", [-CLOCK_AGREES_MS, 0, CLOCK_AGREES_MS])
def test_the_border_of_agreement(offset_ms: int) -> None:
    """A clock is believed up to and including CLOCK_AGREES_MS, either way, and not beyond."""
    assert label_offset(CLOCK, offset_ms, 0.0) == 0
    beyond = offset_ms + (1 if offset_ms >= 0 else -1) * (CLOCK_AGREES_MS + 1)
    assert label_offset(CLOCK, beyond, 0.0) == beyond


@pytest.mark.parametrize("years", [26, 56])
def test_a_node_whose_clock_is_set_keeps_what_it_said_before(years: int) -> None:
    """A node that woke in 2000 or 1970 and then learns the time: the samples before stay at their time, and do not move to 1970."""
    wrong_ms = int(ANCHOR_MS) - years * 365 * DAY_S * 1000
    line = begun(wrong_ms, 0.0, CLOCK)
    line, _ = heard(line, (wrong_ms + 10_000, 10_000.0))
    after, age_s, drifted = hear(line, int(ANCHOR_MS) + 20_000, 20_000.0, ANCHOR_MS)
    assert drifted
    assert age_s == 0.0
    assert after.at_ms(wrong_ms + 10_000) == ANCHOR_MS + 10_000


def test_a_clock_that_was_believed_and_steps_ahead_does_not_move_history() -> None:
    """A node's good clock that jumps an hour ahead begins a new part: the months before keep their labels."""
    at_ms = int(ANCHOR_MS)
    line, _ = heard(begun(at_ms, 0.0, CLOCK), (at_ms + 10_000, 10_000.0))
    after, _, drifted = hear(line, at_ms + 20_000 + 3_600_000, 20_000.0, ANCHOR_MS)
    assert drifted
    assert after.at_ms(at_ms) == at_ms


def test_first_messages_with_a_clock_that_had_waited_get_their_true_time() -> None:
    """The first ever messages of a node waited an hour in the broker; once a fresh one agrees, they are where they belong."""
    at_ms = int(ANCHOR_MS)
    line = begun(at_ms, 3_600_000.0, CLOCK)
    assert line.at_ms(at_ms) == at_ms + 3_600_000
    line, _, drifted = hear(line, at_ms + 3_610_000, 3_610_000.0, ANCHOR_MS)
    assert not drifted
    assert line.at_ms(at_ms) == at_ms


def test_settled_is_tighter_than_an_interval() -> None:
    """A backlog of samples one interval apart can never look settled at the usual intervals, whatever the speed of the link."""
    assert 2 * SETTLED_MS < 10_000
    assert PART_MS <= SETTLED_MS


def test_a_restart_after_a_wrong_clock_hears_its_nodes() -> None:
    """A run an hour behind labels a boot and ends; the next run, with the right clock, judges that boot's messages again."""
    wrong = Story(utc_step=timedelta(hours=-1), clock_ok=False, air={"node-a/top": (37.5, 45.0)})
    wrong.run(minutes=2)
    lines = tuple(
        replace(li, mono_offset_ms=None)
        for node in wrong.state.nodes.values()
        for parts in node.lines.values()
        for li in parts
    )
    loaded = Loaded(lines, {}, (), (), (), (), 9, 0, 0, None)
    later = Story(at_s=130.0, air={"node-a/top": (37.5, 45.0)}, seqs=dict(wrong.seqs))
    later.state = start_state(loaded, later.site, later.now())
    later.run(minutes=5)
    assert later.state.probe("node-a/top").heard is not None


def test_a_nodes_clock_that_goes_back_does_not_stop_the_judging() -> None:
    """A node with a counter and a clock, whose clock is set back an hour, is still heard."""
    story = Story()
    for n in range(60):
        story.at_s = 10.0 * (n + 1)
        back_ms = 3_600_000 if n >= 30 else 0
        at_ms = to_ms(T0) + round(story.at_s * 1000) - back_ms
        story.send("node-a", Sample("top", 37.5, 45.0, at_ms=at_ms))
    heard_s = there(story.state.probe("node-a/top").heard).mono_s
    assert story.now().mono_s - heard_s < 60.0


# --- by hand


def counted(**changes: object) -> Line:
    """A counter that was heard for an hour: it began with our forward clock's zero, which is ANCHOR_MS on the label."""
    line = Line(1, "node-a", 7, UPTIME, 0, int(ANCHOR_MS), 10_000, 3_600_000, 0.0, 3_600_000.0, 3_600_000.0)
    return replace(line, **changes)  # type: ignore[arg-type]


def clocked(**changes: object) -> Line:
    """A node whose clock agrees with ours, heard for an hour."""
    at_ms = int(ANCHOR_MS)
    line = Line(
        1, "node-a", CLOCK_BOOT, CLOCK, at_ms, 0, at_ms, at_ms + 3_600_000, -ANCHOR_MS, 3_600_000.0, 3_600_000.0
    )
    return replace(line, **changes)  # type: ignore[arg-type]


def test_the_numbers_that_dating_turns_on() -> None:
    """Crystals, jitter, backlogs, and how far off a node's clock may be (see the module): none moves unseen."""
    assert (CREEP, PART_MS, SETTLED_MS, MEND_MS) == (dating.CREEP, dating.PART_MS, dating.SETTLED_MS, dating.MEND_MS)
    assert (dating.CLOCK_AGREES_MS, dating.CLOCK_STEP_MS) == (60_000, 10_000)
    assert (dating.CLOCK_SAME_MS, dating.CLOCK_APART_MS) == (2_000, 8_000)
    assert (dating.CLOCK_BACK_MS, dating.KEPT_MS) == (30 * 86_400_000, 86_400_000)
    assert (dating.ARRIVAL_BOOT, dating.CLOCK_BOOT) == (-1, -2)


@pytest.mark.parametrize(
    ("late_ms", "offset_ms", "age_s"),
    [
        (0.0, 0, 0.0),
        (-40.0, 0, 0.0),  # jitter of the network is not news
        (-49.0, 0, 0.0),
        (-50.0, -50, 0.0),
        (-900.0, -900, 0.0),
        (-1000.0, -1000, 0.0),  # it settles what came before
        (-1001.0, -1001, UNSETTLED),  # a backlog that catches up
        (500.0, 0, 0.4979),  # ten and a half seconds on, the estimate has crept by 2.1 ms
        (60_000.0, 0, 59.986),
    ],
)
def test_a_message_ten_seconds_on(late_ms: float, offset_ms: int, age_s: float) -> None:
    """A quicker one mends the labels, a later one has waited so long."""
    line, age, anew = hear(counted(), 3_610_000, 3_610_000.0 + late_ms, ANCHOR_MS)
    assert line.offset_ms - int(ANCHOR_MS) == offset_ms
    assert age == (UNSETTLED if age_s == UNSETTLED else pytest.approx(age_s, abs=1e-6))
    assert not anew
    assert (line.first_up_ms, line.last_up_ms, line.seen_mono_ms) == (10_000, 3_610_000, 3_610_000.0 + late_ms)
    assert line.set_mono_ms == (3_600_000.0 if offset_ms == 0 else 3_610_000.0 + late_ms)
    assert line.mono_offset_ms == pytest.approx(late_ms if late_ms <= 0.0 else CREEP * (10_000.0 + late_ms))
    assert line.settled


@pytest.mark.parametrize(("up_ms", "first", "last"), [(5_000, 5_000, 3_600_000), (10_000, 10_000, 3_600_000), (3_700_000, 10_000, 3_700_000)])  # fmt: skip
def test_what_range_a_line_holds(up_ms: int, first: int, last: int) -> None:
    """From its first sample to its last, in whatever order they come."""
    line, _, _ = hear(counted(), up_ms, 3_700_000.0, ANCHOR_MS)
    assert (line.first_up_ms, line.last_up_ms) == (first, last)


@pytest.mark.parametrize(
    ("off_ms", "up_ms", "anew"),
    [(1000, 3_700_000, False), (1001, 3_700_000, True), (1001, 3_600_000, False), (1001, 3_600_001, True)],
)
def test_a_new_part_begins_when_the_crystal_has_gone_a_second(off_ms: int, up_ms: int, anew: bool) -> None:
    """Either way by more than that from the line's own offset, and only with samples that are later than what it holds."""
    slow = counted(offset_ms=int(ANCHOR_MS) - off_ms, seen_mono_ms=float(up_ms))
    assert hear(slow, up_ms, float(up_ms), ANCHOR_MS)[2] is anew
    fast = counted(offset_ms=int(ANCHOR_MS) + off_ms, set_mono_ms=up_ms - 6e6, seen_mono_ms=float(up_ms))
    assert hear(fast, up_ms, float(up_ms), ANCHOR_MS)[2] is anew


def test_what_a_crystal_can_have_gained_is_no_better_news() -> None:
    """In an hour up to 720 ms: labels stay; more than that is a quicker message, and mends them."""
    for gained_ms, mends in ((720, False), (721, True)):
        line = counted(offset_ms=int(ANCHOR_MS) + gained_ms, set_mono_ms=0.0)
        later, _, _ = hear(line, 3_600_000, 3_600_000.0, ANCHOR_MS)
        assert (later.offset_ms == int(ANCHOR_MS)) is mends


def test_a_line_that_is_not_of_this_run_begins_a_part() -> None:
    """Its labels are left, and of its first message nobody knows how long it waited; a clock needs no such proof."""
    line, age_s, anew = hear(counted(mono_offset_ms=None, settled=False), 3_610_000, 3_610_000.0, ANCHOR_MS)
    assert (line.offset_ms, line.mono_offset_ms, line.settled) == (int(ANCHOR_MS), 0.0, False)
    assert (age_s, anew) == (UNSETTLED, True)
    line, age_s, anew = hear(counted(mono_offset_ms=None), 3_600_000, 3_610_000.0, ANCHOR_MS)
    assert not anew
    assert line.settled
    _, age_s, _ = hear(clocked(mono_offset_ms=None), int(ANCHOR_MS) + 3_610_000, 3_610_000.0, ANCHOR_MS)
    assert age_s == 0.0


def test_a_line_is_taken_up_with_what_its_crystal_may_have_gone() -> None:
    """An hour and ten seconds unheard are 722 ms of creeping for a counter, none for a clock; what came by arrival is left alone."""
    now_ms = 7_210_000.0
    line = resume_line(counted(mono_offset_ms=None), ANCHOR_MS, now_ms)
    assert line.mono_offset_ms == pytest.approx(CREEP * 3_610_000.0)
    assert (line.seen_mono_ms, line.set_mono_ms) == (now_ms, now_ms)
    assert resume_line(clocked(mono_offset_ms=None), ANCHOR_MS, now_ms).mono_offset_ms == -ANCHOR_MS
    assert resume_line(counted(mono_offset_ms=None), ANCHOR_MS, 3_000_000.0).mono_offset_ms == 0.0
    by_arrival = counted(basis=ARRIVAL)
    assert resume_line(by_arrival, ANCHOR_MS, now_ms) is by_arrival


@pytest.mark.parametrize(
    ("late_ms", "what", "age_s"),
    [
        (0.0, FITS, 0.0),
        (60_000.0, FITS, 60.0),  # as long as ours and its clock agree by a minute
        (86_400_000.0, FITS, 86_400.0),  # a message that waited for a day
        (86_400_003.0, DOUBTED, 86_400.0),
        (-70_000.0, DOUBTED, -70.0),
    ],
)
def test_one_absolute_time(late_ms: float, what: str, age_s: float) -> None:
    """It fits, it is late by a day at most, or nobody can say yet; a doubted one is remembered, and when it came."""
    arrival = 3_610_000.0
    at_ms = int(ANCHOR_MS + arrival - late_ms)
    line, age, is_ = hear_clock(clocked(), at_ms, arrival, anchor_ms=ANCHOR_MS)
    assert is_ == what
    assert age == pytest.approx(age_s, abs=0.02)
    odd = abs(late_ms) > 60_000.0
    assert (line.odd_ms is not None) is odd
    if odd:
        assert (line.odd_ms, line.odd_mono_ms) == (arrival - at_ms, arrival)


@pytest.mark.parametrize(
    ("same_ms", "apart_ms", "what"),
    [(2_000.0, 8_000.0, WAS_SET), (2_001.0, 8_000.0, DOUBTED), (0.0, 7_999.0, DOUBTED), (-2_000.0, 9_000.0, WAS_SET)],
)
def test_two_odd_times_that_follow_each_other_prove_a_clock_that_was_set(
    same_ms: float, apart_ms: float, what: str
) -> None:
    """Within two seconds of each other, from messages that came eight seconds apart or more."""
    ahead_ms = 400 * DAY_S * 1000.0
    line, _, first = hear_clock(clocked(), int(ANCHOR_MS + 3_610_000.0 + ahead_ms), 3_610_000.0, anchor_ms=ANCHOR_MS)
    assert first == DOUBTED
    arrival = 3_610_000.0 + apart_ms
    later, age_s, second = hear_clock(line, int(ANCHOR_MS + arrival + ahead_ms + same_ms), arrival, anchor_ms=ANCHOR_MS)
    assert second == what
    if what == WAS_SET:
        assert (later, age_s) == (line, 0.0)
    else:
        again = same_ms <= 2_000.0
        assert later.odd_mono_ms == (3_610_000.0 if again else arrival)


@pytest.mark.parametrize(
    ("off_ms", "fits"), [(10_000.0, True), (10_001.0, False), (-10_000.0, True), (-10_003.0, False)]
)
def test_a_clock_that_is_steered_is_the_same(off_ms: float, fits: bool) -> None:
    """Ten seconds either way from what it was are steering; this one is five minutes off ours, and used as a counter."""
    line = clocked(offset_ms=300_000, mono_offset_ms=300_000.0 - ANCHOR_MS, seen_mono_ms=3_610_000.0)
    at_ms = int(ANCHOR_MS + 3_610_000.0 - 300_000.0 - off_ms)
    _, _, what = hear_clock(line, at_ms, 3_610_000.0, anchor_ms=ANCHOR_MS)
    assert (what == FITS and hear_clock(line, at_ms, 3_610_000.0, anchor_ms=ANCHOR_MS)[0].odd_ms is None) is fits


@pytest.mark.parametrize(
    ("basis", "offset_ms", "label"),
    [
        (CLOCK, 60_000.0, 0),
        (CLOCK, -60_000.0, 0),
        (CLOCK, 60_001.0, 60_001),
        (CLOCK, -60_001.0, -60_001),
        (UPTIME, 60_000.0, 60_000),
        (UPTIME, 0.6, 1),
    ],
)
def test_what_labels_a_line(basis: str, offset_ms: float, label: int) -> None:
    """A clock that agrees with ours by a minute is believed as it stands; a counter lies where it lies."""
    assert label_offset(basis, offset_ms - ANCHOR_MS, ANCHOR_MS) == label


@pytest.mark.parametrize(("off_ms", "settled"), [(-100_000, True), (0, True), (60_000, True), (100_000, False)])
def test_the_first_time_of_a_clock(off_ms: int, settled: bool) -> None:
    """One that is behind ours has waited, or is wrong: the next message says which; one ahead is only wrong."""
    at_ms = int(ANCHOR_MS) + 10_000 - off_ms
    line = start_line(1, "node-a", CLOCK_BOOT, basis=CLOCK, up_ms=at_ms, arrival_mono_ms=10_000.0, anchor_ms=ANCHOR_MS)
    assert line.settled is settled
    assert (line.odd_ms, line.odd_mono_ms) == ((None, 0.0) if settled else (10_000.0 - at_ms, 10_000.0))
    counter = start_line(1, "node-a", 7, basis=UPTIME, up_ms=10_000, arrival_mono_ms=10_000.0, anchor_ms=ANCHOR_MS)
    assert (counter.settled, counter.odd_ms, counter.trusted) == (False, None, True)
    assert (counter.from_up_ms, counter.first_up_ms, counter.last_up_ms) == (10_000, 10_000, 10_000)
    assert (counter.seen_mono_ms, counter.set_mono_ms) == (10_000.0, 10_000.0)


@pytest.mark.parametrize(
    ("clock_ms", "before_ms", "offset_ms"),
    [
        (None, None, -600_000),  # it was over when the next boot began
        (-700_000, None, -700_000),
        (-600_000, None, -600_000),
        (-599_999, None, -600_000),  # it cannot have ended after the next began
        (-700_000, -650_000, -700_000),
        (
            -700_000,
            -649_999,
            -600_000,
        ),  # nor have begun, with its first sample, before the one before it was last heard
        (-30 * DAY_S * 1000 - 50_000, None, -30 * DAY_S * 1000 - 50_000),
        (-30 * DAY_S * 1000 - 50_001, None, -600_000),  # thirty days back no broker keeps anything
    ],
)
def test_a_boot_that_was_over(clock_ms: int | None, before_ms: int | None, offset_ms: int) -> None:
    """Its counter went from 50 s to 600 s, the next boot began at 0: dated by the node's own clock where that can be true."""
    boot = counted(offset_ms=0, first_up_ms=50_000, last_up_ms=600_000, settled=False, clock_ms=clock_ms)
    found = ended(boot, 0, None if before_ms is None else before_ms)
    assert found.offset_ms == offset_ms
    assert ended(replace(boot, settled=True), 0, before_ms).offset_ms == 0
    early = replace(boot, offset_ms=-900_000, clock_ms=None)
    assert ended(early, 0, before_ms) is early


@pytest.mark.parametrize(
    ("same_ms", "apart_ms", "proven"),
    [(0.0, 8_000.0, True), (2_000.0, 8_000.0, True), (2_001.0, 8_000.0, False), (0.0, 7_999.0, False)],
)
def test_a_clock_that_began_behind_ours_is_settled_by_a_second_time(
    same_ms: float, apart_ms: float, proven: bool
) -> None:
    """Two hours behind: the message may have waited so long. One that follows as it was sampled had not; one that agrees with ours shows that
    the first had."""
    arrival = 10_000.0 + apart_ms

    def second(behind_ms: float) -> tuple[Line, float, str]:
        first = start_line(
            1, "node-a", CLOCK_BOOT, basis=CLOCK, up_ms=int(ANCHOR_MS) + 10_000 - 7_200_000, arrival_mono_ms=10_000.0,
            anchor_ms=ANCHOR_MS,
        )  # fmt: skip
        return hear_clock(first, int(ANCHOR_MS + arrival - behind_ms), arrival, anchor_ms=ANCHOR_MS)

    line, age_s, what = second(7_200_000.0 + same_ms)
    assert what == FITS
    assert (line.settled, age_s == UNSETTLED) == (proven, not proven)
    if not proven:  # what is doubted is remembered, since when it first was so
        again = same_ms <= 2_000.0
        assert (line.odd_ms, line.odd_mono_ms) == (
            (7_200_000.0 - ANCHOR_MS, 10_000.0) if again else (7_200_000.0 + same_ms - ANCHOR_MS, arrival)
        )
    line, age_s, what = second(0.0)
    assert (line.settled, line.offset_ms, age_s, what) == (True, 0, 0.0, FITS)


@pytest.mark.parametrize(("behind_ms", "what"), [(86_400_000, FITS), (86_401_000, WAS_SET)])
def test_a_clock_that_was_behind_by_more_than_a_day_and_agrees_was_set(behind_ms: int, what: str) -> None:
    """A day a message may have waited; of more the clock was wrong, and what it said before stays where it was."""
    first = start_line(
        1, "node-a", CLOCK_BOOT, basis=CLOCK, up_ms=int(ANCHOR_MS) + 10_000 - behind_ms, arrival_mono_ms=10_000.0,
        anchor_ms=ANCHOR_MS,
    )  # fmt: skip
    line, _, told = hear_clock(first, int(ANCHOR_MS) + 20_000, 20_000.0, anchor_ms=ANCHOR_MS)
    assert (told, line.offset_ms) == (what, 0 if what == FITS else behind_ms)
