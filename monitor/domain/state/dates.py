"""When each sample of a pack was taken: the line that dates it, and how long it waited."""

from __future__ import annotations

from dataclasses import replace

from monitor.domain.readings.dating import (
    ARRIVAL,
    ARRIVAL_BOOT,
    CLOCK,
    CLOCK_AGREES_MS,
    CLOCK_BOOT,
    CLOCK_SAME_MS,
    CLOCK_STEP_MS,
    DOUBTED,
    UNSETTLED,
    UPTIME,
    WAS_SET,
    Line,
    ended,
    hear,
    hear_clock,
    start_line,
)
from monitor.domain.readings.numbering import Numbering
from monitor.domain.readings.reading import Now, Pack, Sample
from monitor.domain.state.happened import AGREES, BY_ITS_COUNT, BY_OURS, NodeClockSet
from monitor.domain.state.known import Look, NodeState
from monitor.domain.state.record import Event

MAX_BOOTS = 64  # starts of one node whose messages are still told apart; the record keeps them all


# What dates the samples of one pack that are told in one way: the line, None for a clock that is doubted; how long its newest sample
# waited, s; and the counted time of that, ms. A plain tuple, for one is made with each message.
Dated = tuple[Line | None, float, int]


def when_taken(look: Look, pack: Pack, sample: Sample, *, dates: dict[str, Dated]) -> tuple[Line, int, float] | None:
    """(line, counted time in ms, seconds that it waited) of a sample; None where nobody knows.

    dates: by basis, of this pack so far; what is found is added.
    """
    boot, basis, up_ms = _counted(pack, sample, look.now)
    if pack.retained and basis == ARRIVAL:
        return None
    found = dates.get(basis)
    if found is None or basis == ARRIVAL:
        found = dates[basis] = _dated(look, pack, (boot, basis, up_ms))
    line, age_s, base_ms = found
    if line is not None:
        return line, up_ms, age_s + (base_ms - up_ms) / 1000.0
    if pack.retained:
        return None
    arrived_ms = round(look.now.mono_s * 1000) - (base_ms - up_ms)
    known = look.state.node(pack.node)
    line, _ = _line_for(look, pack.node, (ARRIVAL_BOOT, ARRIVAL, arrived_ms), known=known)
    return line, arrived_ms, UNSETTLED


def forget_boots(known: dict[int, Numbering] | dict[int, tuple[Line, ...]]) -> None:
    """Make room for one more boot of a node: one that restarts all the time must not fill the memory with its past."""
    boots = [boot for boot in known if boot >= 0]
    for boot in boots[: max(0, len(boots) + 1 - MAX_BOOTS)]:
        del known[boot]


def _dated(look: Look, pack: Pack, counted: tuple[int, str, int]) -> Dated:
    """What dates a pack's samples. Several samples in one pack: what arrived just now is its newest, not its oldest."""
    boot, basis, base_ms = counted
    if basis == CLOCK:
        base_ms = max(s.at_ms for s in pack.samples if s.at_ms is not None)
        return *_clock_line(look, pack.node, base_ms), base_ms
    if pack.up_s is not None and basis == UPTIME:
        base_ms = pack.up_s * 1000
    known = look.state.node(pack.node)
    before = known.lines.get(boot)
    line, age_s = _line_for(look, pack.node, (boot, basis, base_ms), known=known)
    if basis == UPTIME:
        if before is None or not before[-1].settled or before[-1].offset_ms != line.offset_ms:
            line = _before_and_after(look, pack, line)
        if pack.samples[0].at_ms is not None and (before is None or base_ms > before[-1].last_up_ms):
            _note_own_clock(look, pack, age_s)
    return line, age_s, base_ms


def _note_own_clock(look: Look, pack: Pack, age_s: float) -> None:
    """Say where the clock was set that a node has besides its counter. No reading is dated by it; whoever reads the times on the node is to
    know. Two messages that follow each other prove it, as they do of a node that has nothing else."""
    if age_s == UNSETTLED:
        return
    known = look.state.node(pack.node)
    told_ms = max(s.at_ms for s in pack.samples if s.at_ms is not None)
    off_ms = told_ms - (look.now.mono_s - age_s) * 1000.0
    was_ms, odd_ms, known.clock_odd_ms = known.clock_off_ms, known.clock_odd_ms, None
    if was_ms is None or -CLOCK_STEP_MS <= off_ms - was_ms <= CLOCK_STEP_MS:
        known.clock_off_ms = off_ms
    elif odd_ms is None or abs(off_ms - odd_ms) > CLOCK_SAME_MS:
        known.clock_odd_ms = off_ms
    else:
        known.clock_off_ms = off_ms
        ours = abs(off_ms - look.state.anchor_ms) <= CLOCK_AGREES_MS
        _say_clock_set(look, pack.node, off_ms - was_ms, dated=AGREES if ours else BY_ITS_COUNT)


def _say_clock_set(look: Look, node: str, by_ms: float, *, dated: str) -> None:
    look.out.events.append(Event(look.now.utc, "clock", node, what=NodeClockSet(float(round(by_ms / 1000.0)), dated)))


def _before_and_after(look: Look, pack: Pack, line: Line) -> Line:
    """Note what the node's own clock says of a boot of which nobody knows yet how long it waited; and end the boots before it."""
    known = look.state.node(line.node).lines
    parts = known[line.boot]
    if not line.settled and (told := [s.at_ms for s in pack.samples if s.at_ms is not None]):
        line = replace(line, clock_ms=max(told) - (pack.up_s or 0) * 1000)
        _keep(look, known, parts, line=line)
    if len(known) == 1:
        return line
    start_ms = parts[0].offset_ms
    boots = sorted((p[0].id, boot) for boot, p in known.items() if p[0].id < parts[0].id and p[0].basis == UPTIME)
    while boots:
        _, boot = boots.pop()
        newest = known[boot][-1]
        if newest.settled:
            break
        before = known[boots[-1][1]][-1] if boots else None
        mended = ended(newest, start_ms, None if before is None else before.at_ms(before.last_up_ms))
        if mended is not newest:
            _keep(look, known, known[boot], line=mended)
        start_ms = mended.offset_ms
    return line


def _counted(pack: Pack, sample: Sample, now: Now) -> tuple[int, str, int]:
    """The boot, the basis and the counted time in milliseconds that date a sample."""
    if pack.up_s is not None and pack.boot is not None:
        # A clock that the node has besides only says how far its samples lie apart: it may be set, its counter cannot.
        apart_ms = (
            0 if sample.at_ms is None else sample.at_ms - max(s.at_ms for s in pack.samples if s.at_ms is not None)
        )
        offset_ms = round(sample.offset_s * 1000) if sample.offset_s else 0
        return pack.boot, UPTIME, pack.up_s * 1000 + offset_ms + apart_ms
    if sample.at_ms is not None:
        return CLOCK_BOOT, CLOCK, sample.at_ms
    return ARRIVAL_BOOT, ARRIVAL, round(now.mono_s * 1000 + sample.offset_s * 1000)


def _line_for(look: Look, node: str, counted: tuple[int, str, int], *, known: NodeState) -> tuple[Line, float]:
    """The line that dates this counted time, kept up to date, and how long the sample waited, in seconds.

    counted: the boot, the basis, and the counted time in ms. known: what is known of the node.
    """
    boot, basis, up_ms = counted
    mono_ms = look.now.mono_s * 1000.0
    parts = known.lines.get(boot)
    if parts is None:
        return _begin(look, node, counted), UNSETTLED if basis == UPTIME else 0.0
    newest = parts[-1]
    if up_ms < newest.from_up_ms and len(parts) > 1:
        waited_ms = 0.0 if newest.mono_offset_ms is None else mono_ms - up_ms - newest.mono_offset_ms
        return _part_of(parts, up_ms), max(0.0, waited_ms / 1000.0)
    line, age_s, drifted = hear(newest, up_ms, mono_ms, look.state.anchor_ms)
    if drifted or boot in known.split:
        if up_ms > newest.last_up_ms:
            return _begin(look, node, counted, of=line), age_s
        line = replace(line, offset_ms=newest.offset_ms)  # an older message: what the clock was set by is not for it
    _keep(look, known.lines, parts, line=line)
    return line, age_s


def _clock_line(look: Look, node: str, at_ms: int) -> tuple[Line | None, float]:
    """The line of a node's own clock for a time that it told, and how long that waited, in seconds; None while it is doubted."""
    counted = CLOCK_BOOT, CLOCK, at_ms
    known = look.state.node(node)
    parts = known.lines.get(CLOCK_BOOT)
    if parts is None:
        line = _begin(look, node, counted)
        return line, 0.0 if line.settled else UNSETTLED
    newest = parts[-1]
    mono_ms = look.now.mono_s * 1000.0
    line, age_s, told = hear_clock(newest, at_ms, mono_ms, anchor_ms=look.state.anchor_ms)
    if told == DOUBTED:
        _keep(look, known.lines, parts, line=line)
        return None, UNSETTLED
    if told == WAS_SET or (CLOCK_BOOT in known.split and at_ms > newest.last_up_ms):
        begun = replace(_begin(look, node, counted), settled=True, odd_ms=None)
        _keep(look, known.lines, known.lines[CLOCK_BOOT], line=begun)
        before_ms = newest.mono_offset_ms
        if before_ms is not None and abs(by_ms := before_ms - (mono_ms - at_ms)) > CLOCK_STEP_MS:
            _say_clock_set(look, node, by_ms, dated=AGREES if begun.offset_ms == 0 else BY_OURS)
        return begun, age_s
    if CLOCK_BOOT in known.split:
        line = replace(line, offset_ms=newest.offset_ms)
    _keep(look, known.lines, parts, line=line)
    return (line if at_ms >= line.from_up_ms else _part_of((*parts[:-1], line), at_ms)), age_s


def _begin(look: Look, node: str, counted: tuple[int, str, int], *, of: Line | None = None) -> Line:
    """A new line, or a new part of a boot that has one. of: the line so far, whose estimate goes on."""
    boot, basis, up_ms = counted
    known = look.state.node(node)
    parts = known.lines.get(boot)
    if parts is None:
        forget_boots(known.lines)
    known.split.discard(boot)
    look.state.last_line += 1
    mono_ms, anchor_ms = look.now.mono_s * 1000.0, look.state.anchor_ms
    line = start_line(
        look.state.last_line,
        node,
        boot,
        basis=basis,
        up_ms=up_ms,
        arrival_mono_ms=mono_ms,
        anchor_ms=anchor_ms,
        trusted=look.state.clock_ok,
    )
    if of is not None:
        estimate = of.mono_offset_ms
        offset_ms = round((estimate or 0.0) + anchor_ms)
        line = replace(line, mono_offset_ms=estimate, offset_ms=offset_ms, settled=of.settled)
    known.lines[boot] = (line,) if parts is None else (*parts, line)
    look.out.lines[line.id] = line
    return line


def _keep(look: Look, lines: dict[int, tuple[Line, ...]], parts: tuple[Line, ...], *, line: Line) -> None:
    """The newest part of a boot, kept up to date. lines: of its node; parts: of the boot so far."""
    lines[line.boot] = (*parts[:-1], line) if len(parts) > 1 else (line,)
    look.out.lines[line.id] = line


def _part_of(parts: tuple[Line, ...], up_ms: int) -> Line:
    """The newest part that a counted time can be of."""
    return next((p for p in reversed(parts) if p.from_up_ms <= up_ms), parts[0])
