"""When a sample was taken, told by a node that has no clock.

A node counts whole seconds since its start (`up`). The difference between a message's arrival and its `up` is the node's
start plus however long the message waited, so the smallest difference seen dates every sample of that start, late ones too.
A line holds that difference for one (node, boot); readings are stored with the line and `up_ms`, so a better estimate mends
every label of the line by changing one number.

Three things the plain minimum gets wrong are mended here:

- A node's crystal may run slow. Its differences then grow for ever, and after days every fresh message would look late and
  so never be judged. The estimate therefore creeps up by CREEP of the time that passes, far more than a crystal's error
  and far less than a wait. A crystal that runs fast takes the estimate down by as little; that is no better news of the
  earlier samples, whose labels it may not move. When either has taken it more than PART_MS from the line's own offset, a
  new part of the line begins; labels before it stay.
- The first messages of a start may be old ones that a node had kept. Each of them arrives quicker than the one before, so a
  message that betters the estimate by more than SETTLED_MS proves nothing about its own age yet: it is history until the
  next one agrees.
- Our own label clock may be set while we run. The estimate is kept on the clock that only goes forward; the label is that
  plus the anchor (utc minus mono), and when the anchor steps the lines of this run are labelled anew.

A node with a set clock sends absolute times instead (`hear_clock`). They pass through the same door with the node's clock in the place of
`up`; within CLOCK_AGREES_MS of ours they are taken as they stand. Such a clock may be set at any time: for summer, by the network, or
because its cell is dead. One odd time proves nothing, for it may be that of a message that waited. Two that follow each other as
their messages arrived are a clock that was set, and a new part begins; no backlog comes at the pace at which it was sampled.
"""

from __future__ import annotations

import math
from dataclasses import replace

from monitor.domain.fixed import fixed
from monitor.domain.readings.reading import DAY_MS

UPTIME, CLOCK, ARRIVAL = "uptime", "clock", "arrival"
UNSETTLED = math.inf  # the age of a sample when nothing proves that it is fresh
FITS, WAS_SET, DOUBTED = "fits", "was set", "doubted"  # what one absolute time is to the clock that its node had so far

CREEP = 200e-6  # of elapsed time; crystals of microcontrollers are within 100 parts per million (common practice)
PART_MS = 1_000  # a part's labels are never further than this from the estimate by drift alone
# messages that follow each other as they were sampled agree within this; a caught-up backlog does not
SETTLED_MS = 1_000
MEND_MS = 50  # a better estimate is written once it is better by this much: network jitter is not news
CLOCK_AGREES_MS = 60_000  # a node's clock this close to ours is believed
# A node's clock that is off by less from what it was has been steered, or its message waited a little.
CLOCK_STEP_MS = 10_000
CLOCK_SAME_MS = 2_000  # two odd times are of one clock within this: whole seconds, and a network's jitter
CLOCK_APART_MS = 8_000  # and prove it if their messages came so far apart
# A broker may keep messages for weeks, and the clock of a dead cell is further off (judgement).
CLOCK_BACK_MS = 30 * DAY_MS
KEPT_MS = DAY_MS  # no node keeps a message for longer than a day: a clock that jumps by more was set
# Boots that no node sends, for samples that are not dated by `up`: by their arrival, or by the node's own clock.
ARRIVAL_BOOT = -1
CLOCK_BOOT = -2


@fixed
class Line:
    """One part of one boot of one node: where its counted time lies on ours.

    id: the store's number of the line. from_up_ms: first counted time of this part. offset_ms: label of a sample is
    offset_ms + up_ms. mono_offset_ms, seen_mono_ms: the running estimate on our forward clock (None until heard in this run).
    first_up_ms, last_up_ms: range of samples that the store holds for it. set_mono_ms: when this run last set offset_ms.
    trusted: whether our own label clock was right when it was labelled; only then can a later run tell waits from the labels.
    settled: whether it is known how long its messages waited; odd_ms, odd_mono_ms: of a clock, the newest difference that did not fit, and
    since when; clock_ms: of a counter that is not settled, when it began by the node's own clock.
    """

    id: int
    node: str
    boot: int
    basis: str
    from_up_ms: int
    offset_ms: int
    first_up_ms: int
    last_up_ms: int
    mono_offset_ms: float | None = None
    seen_mono_ms: float = 0.0
    set_mono_ms: float = 0.0
    trusted: bool = True
    settled: bool = True
    odd_ms: float | None = None
    odd_mono_ms: float = 0.0
    clock_ms: int | None = None

    def at_ms(self, up_ms: int) -> int:
        """The label of a sample, ms since the epoch."""
        return self.offset_ms + up_ms


def label_offset(basis: str, mono_offset_ms: float, anchor_ms: float) -> int:
    """The offset that labels a line's samples, from its estimate on the forward clock and the anchor (utc - mono)."""
    offset = round(mono_offset_ms + anchor_ms)
    return 0 if basis == CLOCK and abs(offset) <= CLOCK_AGREES_MS else offset


def start_line(
    id_: int,
    node: str,
    boot: int,
    *,
    basis: str,
    up_ms: int,
    arrival_mono_ms: float,
    anchor_ms: float,
    trusted: bool = True,
) -> Line:
    """The first line of a boot: until a quicker message comes, its first message is taken as fresh."""
    estimate = arrival_mono_ms - up_ms
    offset = label_offset(basis, estimate, anchor_ms)
    line = Line(
        id_, node, boot, basis, up_ms, offset, up_ms, up_ms, estimate, arrival_mono_ms, arrival_mono_ms, trusted
    )
    if basis == UPTIME:
        return replace(line, settled=False)
    if basis == CLOCK and offset > 0:  # it waited, or its clock is behind: the next message says which
        return replace(line, settled=False, odd_ms=estimate, odd_mono_ms=arrival_mono_ms)
    return line


def resume_line(line: Line, anchor_ms: float, mono_ms: float) -> Line:
    """A stored line taken up by a new run whose label clock is right: its waits are known from the labels.

    The estimate creeps for the time that nobody listened too; if by more than the crystal, the next message says so.
    """
    if line.basis == ARRIVAL:
        return line
    unheard_ms = max(0.0, mono_ms + anchor_ms - line.at_ms(line.last_up_ms))
    estimate = line.offset_ms - anchor_ms + (CREEP * unheard_ms if line.basis == UPTIME else 0.0)
    return replace(line, mono_offset_ms=estimate, seen_mono_ms=mono_ms, set_mono_ms=mono_ms)


def hear(line: Line, up_ms: int, arrival_mono_ms: float, anchor_ms: float) -> tuple[Line, float, bool]:  # noqa: PLR0917 - with each reading
    """A message of this line arrived: the better line, the sample's age in seconds, and whether a new part must begin.

    The age is how long the sample waited before it reached us, never below 0; UNSETTLED while that is not known.
    """
    seen = arrival_mono_ms - up_ms
    before = line.mono_offset_ms
    if before is None:
        estimate = seen
    else:
        passed_ms = arrival_mono_ms - line.seen_mono_ms
        crept = before + CREEP * passed_ms if passed_ms > 0.0 else before
        estimate = seen if seen < crept else crept
    age_s = (seen - estimate) / 1000.0
    if line.basis == UPTIME and (before is None or before - seen > SETTLED_MS):
        age_s = UNSETTLED
    offset = round(estimate + anchor_ms) if line.basis == UPTIME else label_offset(line.basis, estimate, anchor_ms)
    better_ms = line.offset_ms - offset
    # Of a line that an earlier run began, and a wrong label clock kept us from taking up, the labels are left as they are.
    anew = before is None
    by_crystal = anew or better_ms <= CREEP * (arrival_mono_ms - line.set_mono_ms)
    drifted = by_crystal and (anew or abs(better_ms) > PART_MS) and up_ms > line.last_up_ms
    mended = line.offset_ms if by_crystal or better_ms < MEND_MS else offset
    if line.basis == CLOCK and offset != line.offset_ms and 0 in (offset, line.offset_ms):
        # Either the first messages of a node had waited, or its clock was set just now: what it said before, stays.
        had_waited = offset == 0 < line.offset_ms <= KEPT_MS
        mended, drifted = (0, False) if had_waited else (line.offset_ms, True)
    return (
        Line(
            line.id,
            line.node,
            line.boot,
            line.basis,
            line.from_up_ms,
            mended,
            up_ms if up_ms < line.first_up_ms else line.first_up_ms,
            up_ms if up_ms > line.last_up_ms else line.last_up_ms,
            estimate,
            arrival_mono_ms,
            line.set_mono_ms if mended == line.offset_ms else arrival_mono_ms,
            line.trusted,
            line.settled or age_s != UNSETTLED,
            None,
            0.0,
            line.clock_ms,
        ),
        age_s,
        drifted,
    )


def hear_clock(line: Line, at_ms: int, arrival_mono_ms: float, *, anchor_ms: float) -> tuple[Line, float, str]:
    """A message with an absolute time: the line, the sample's age in seconds, and what that time is to the line.

    FITS: it is of this line; so is one that is late by less than KEPT_MS. WAS_SET: the node's clock was set, and a new part must begin.
    DOUBTED: nobody can say yet whether it was; no reading can be dated by it.
    """
    seen = arrival_mono_ms - at_ms
    if line.mono_offset_ms is None:
        line, age_s, anew = hear(line, at_ms, arrival_mono_ms, anchor_ms)
        return line, age_s, WAS_SET if anew else FITS
    late_ms = seen - line.mono_offset_ms - CREEP * max(0.0, arrival_mono_ms - line.seen_mono_ms)
    ours = label_offset(CLOCK, seen, anchor_ms) == 0
    same = line.odd_ms is not None and abs(seen - line.odd_ms) <= CLOCK_SAME_MS
    proven = same and arrival_mono_ms - line.odd_mono_ms >= CLOCK_APART_MS
    if not line.settled:
        later, age_s, anew = hear(line, at_ms, arrival_mono_ms, anchor_ms)
        if not (ours or proven):
            odd = (line.odd_ms, line.odd_mono_ms) if same else (seen, arrival_mono_ms)
            return replace(later, settled=False, odd_ms=odd[0], odd_mono_ms=odd[1]), UNSETTLED, FITS
        return later, age_s, WAS_SET if anew else FITS
    if abs(late_ms) <= CLOCK_STEP_MS or (ours and line.offset_ms == 0):
        later, age_s, anew = hear(line, at_ms, arrival_mono_ms, anchor_ms)
        return later, age_s, WAS_SET if anew else FITS
    if proven:
        return line, 0.0, WAS_SET
    later = line if same else replace(line, odd_ms=seen, odd_mono_ms=arrival_mono_ms)
    return later, late_ms / 1000.0, FITS if 0.0 < late_ms <= KEPT_MS else DOUBTED


def ended(line: Line, start_ms: int, before_ms: int | None) -> Line:
    """A boot whose messages all waited, and whose node began anew at start_ms: it was over by then.

    It is dated by the node's own clock where that can be true: where it has the boot begin after before_ms, when the boot before it
    was last heard, and end before the next began. A boot that was heard live keeps its labels.
    """
    if line.settled:
        return line
    offset_ms = min(line.offset_ms, start_ms - line.last_up_ms)
    earliest_ms = start_ms - CLOCK_BACK_MS if before_ms is None else before_ms
    if line.clock_ms is not None and earliest_ms <= line.clock_ms + line.first_up_ms and line.clock_ms <= offset_ms:
        offset_ms = line.clock_ms
    return line if offset_ms == line.offset_ms else replace(line, offset_ms=offset_ms)


def relabel(line: Line, anchor_ms: float) -> Line:
    """The line under a new anchor: our label clock was set. A line not heard in this run keeps its labels."""
    if line.mono_offset_ms is None:
        return line
    return replace(line, offset_ms=label_offset(line.basis, line.mono_offset_ms, anchor_ms), trusted=True)
