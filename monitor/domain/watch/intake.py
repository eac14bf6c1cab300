"""From a pack to dated readings: each message once, each sample at its true time, nothing of an unknown probe lost.

A repeat is recognised by (node, boot, seq). What waited in a broker or in a node is history: it is stored, and judged by nobody.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from operator import attrgetter

from monitor.domain.alarms.about import LATE, REPEATED, UNDATED, Fault, Unusable
from monitor.domain.fixed import fixed
from monitor.domain.needs.site import OF_TURNING, Probe
from monitor.domain.readings.calibration import corrected
from monitor.domain.readings.dating import UNSETTLED, relabel
from monitor.domain.readings.numbering import Gap, Numbering, give_up, take
from monitor.domain.readings.quality import Assessment, Trail, assess, flag_of
from monitor.domain.readings.reading import FAIL, MISSING, NOT_EVALUATED, Pack, Sample, from_ms, to_ms
from monitor.domain.signs.switch import chatters, follow
from monitor.domain.state.dates import Dated, forget_boots, when_taken
from monitor.domain.state.happened import TURNING, Clash, ClockSet, NeverCame, Turned
from monitor.domain.state.known import Look, NodeState, ProbeState, Said, troubled
from monitor.domain.state.memory import Held, NodeFact
from monitor.domain.state.record import Event, Reflag, RefusedRow, StoredReading, Unknown
from monitor.domain.watch.plan import SITE_SUBJECT

MAX_FACTS = 32  # of what a node says besides its air
MAX_SAID = 600  # messages of a node of which it is known what they said: a node keeps 512 to send again
MAX_UNKNOWN = 64  # names of unknown probes kept aside; a rogue node cannot fill the memory
STARTED_S = 600  # a node whose first message says a longer uptime did not start just now
BACKLOG_S = 5.0  # boots that come sooner after one another have waited together
MAX_STARTS = 32
STEP_MS = 2_000  # the label clock was set, rather than steered, when it moves by more than this


_UNSEEN = Trail()
_said = attrgetter("probe", "dry_bulb_c", "rh_pct")  # of a sample


@fixed
class Fresh:
    """A reading that is news, corrected by the probe's calibration. Each value is there whether it is fit to be judged or not;
    `quality` says which is. confirmed: the reading before, where that was a jump and this one says that it was none of the sensor's.
    sent_c: the temperature as sent."""

    probe: Probe
    at: datetime
    mono_s: float
    dry_bulb_c: float
    rh_pct: float | None
    quality: Assessment
    known: ProbeState
    confirmed: Held | None = None
    sent_c: float | None = None


def take_in(look: Look, pack: Pack) -> list[Fresh]:
    """Store what the pack holds; return the readings that are news, at most one per probe, the newest."""
    if pack.node not in look.site.by_node:
        _keep_all_aside(look, pack)
        return []
    node = look.state.node(pack.node)
    if not _is_new(look, pack, node):
        _came_again(look, pack)
        return []
    _keep_facts(look, pack, node)
    named, now_s, probes = look.site.named[pack.node], look.now.mono_s, look.state.probes
    fresh: dict[str, Fresh] = {}
    dates: dict[str, Dated] = {}
    dated: Sample | None = None  # samples of one instant, as nearly all of a pack are, are dated once
    at: datetime | None = None
    for sample in pack.samples:
        if dated is None or sample.offset_s != dated.offset_s or sample.at_ms != dated.at_ms:
            taken, at, dated = when_taken(look, pack, sample, dates=dates), None, sample
        if taken is None:
            continue
        line, up_ms, waited_s = taken
        probe = named.get(sample.probe)
        if probe is None:
            _keep_aside(look, f"{pack.node}/{sample.probe}", sample)
            continue
        name = probe.key
        if sample.dry_bulb_c is None or pack.retained or waited_s == UNSETTLED:
            look.out.readings.append(_by_itself(name, line.id, up_ms, sample))
            if not pack.retained:
                _note_trouble(look, probe, sample, waited_s=waited_s)
            continue
        mono_s = now_s - waited_s
        if at is None:
            at = from_ms(line.offset_ms + up_ms)
        known = probes.get(name) or look.state.probe(name)
        quality, confirmed = _assess(look, probe, known, line.id, up_ms, at, mono_s, sample)
        if waited_s <= probe.fresh_s:
            dry_bulb_c, rh_pct = sample.dry_bulb_c, sample.rh_pct
            node.spoke_mono_s = now_s
            if known.humid_from_s is None and (rh_pct is not None or sample.rh_wrong):
                known.humid_from_s = now_s
            seen = fresh.get(name)
            if seen is None or at > seen.at:
                if known.calibrations:
                    dry_bulb_c, rh_pct = corrected(known.calibrations, at, dry_bulb_c, rh_pct)
                fresh[name] = Fresh(probe, at, mono_s, dry_bulb_c, rh_pct, quality, known, confirmed, sample.dry_bulb_c)
        else:
            _note_trouble(look, probe, sample, waited_s=waited_s)
    _hear_switches(look, pack, dates)
    return list(fresh.values())


def _is_new(look: Look, pack: Pack, node: NodeState) -> bool:
    """Whether this number of this boot comes for the first time; then it is noted. What bears no number is always new."""
    if pack.boot is None or pack.seq is None:
        return True
    came = node.numberings
    numbering = came.get(pack.boot)
    if numbering is None:
        numbering = Numbering()
        forget_boots(came)
        _note_start(look, pack, node)
    taken = take(numbering, pack.seq, look.now.mono_s)
    if taken is numbering:
        return False
    came[pack.boot] = look.out.numberings[pack.node, pack.boot] = taken
    return True


def _note_start(look: Look, pack: Pack, node: NodeState) -> None:
    """A boot of which nothing came before: the node has started; but of what waited in a broker or a node several boots come at once."""
    mono_s = look.now.mono_s
    if pack.retained or pack.up_s is None or pack.up_s > STARTED_S:
        return
    if not node.starts or mono_s - node.starts[-1] >= BACKLOG_S:
        node.starts = (*node.starts, mono_s)[-MAX_STARTS:]


def _keep_facts(look: Look, pack: Pack, node: NodeState) -> None:
    """What the node says besides its air, what of it was not understood, and what this number stands for."""
    if not (pack.samples or pack.retained):
        node.spoke_mono_s = look.now.mono_s
    for other in pack.others:
        before = node.facts.get(other.name)
        if before is None and len(node.facts) >= MAX_FACTS:
            continue
        count = 1 if before is None else before.count + 1
        node.facts[other.name] = NodeFact(other.name, other.value, other.unit, look.now.utc, count)
    if pack.boot is not None and pack.seq is not None:
        node.said_in[pack.boot, pack.seq] = _content(pack)
        if len(node.said_in) > MAX_SAID:
            del node.said_in[next(iter(node.said_in))]
    if pack.refused is not None:
        look.out.refused.append(RefusedRow(look.now.utc, pack.refused))


def _hear_switches(look: Look, pack: Pack, dates: dict[str, Dated]) -> None:
    """What the switches of a node say now: what waited in a broker or a node is history. dates: of the pack so far."""
    if not (pack.others and look.site.switches):
        return
    newest = max(pack.samples, key=lambda s: (s.at_ms or 0, s.offset_s), default=Sample("", None, None))
    taken = None
    for other in pack.others:
        switch = look.site.switches.get(f"{pack.node}/{other.name}")
        if switch is None or not isinstance(other.value, bool) or pack.retained:
            continue
        if taken is None and (taken := when_taken(look, pack, newest, dates=dates)) is None:
            return
        line, up_ms, waited_s = taken
        if waited_s > switch.silence_s:
            continue
        before = look.state.contacts.get(switch.key)
        at, mono_s = from_ms(line.offset_ms + up_ms), look.now.mono_s
        now = follow(before, switch.wrong(other.value), at=at, order=(line.id, up_ms), mono_s=mono_s)
        if now.said is not now.kept and not chatters(now, mono_s):
            subject = switch.machine or SITE_SUBJECT
            kind = TURNING if switch.kind == OF_TURNING else "switch"
            if kind != TURNING or now.said:  # each turn is one event, by its begin
                look.out.events.append(Event(now.since, kind, subject, what=Turned(switch.kind, now.said)))
            now = replace(now, kept=now.said)
        look.state.contacts[switch.key] = now


def _came_again(look: Look, pack: Pack) -> None:
    """A number that came before: the same message again, which is as it should be, or another one under it, which is counted."""
    node = look.state.node(pack.node)
    allowed_s = max(p.silence_s for p in look.site.by_node[pack.node])
    node.trouble = troubled(node.trouble, look.now.mono_s, Unusable(REPEATED, by=pack.boot or 0), within_s=allowed_s)
    known = node.said_in.get((pack.boot or 0, pack.seq or 0))
    if known is None or known == _content(pack):
        return
    node.clashes += 1
    if node.clashes == 1:
        look.out.events.append(Event(look.now.utc, "node", pack.node, what=Clash(pack.seq or 0, pack.boot or 0)))


def _content(pack: Pack) -> int:
    """What a message says, in one number. Its own clock is left out: a node may learn the time before it sends again."""
    return hash((pack.up_s, tuple(map(_said, pack.samples))))


def _note_trouble(look: Look, probe: Probe, sample: Sample, *, waited_s: float) -> None:
    """A message of this probe came, and nothing in it can be judged: what is wrong with it. What a node that is gone had left behind
    is no news of it."""
    node = look.state.node(probe.node)
    if waited_s <= probe.fresh_s:
        about: Fault | Unusable = Fault(sample.fault)
        node.spoke_mono_s = look.now.mono_s
        if node.said is not None and not node.said.online:
            node.said = Said(True, look.now.mono_s)
    elif node.said is not None and not node.said.online:
        return
    else:
        about = Unusable(UNDATED) if waited_s == UNSETTLED else Unusable(LATE, by=waited_s)
    known = look.state.probe(probe.key)
    known.trouble = troubled(known.trouble, look.now.mono_s, about, within_s=probe.silence_s)


def _by_itself(name: str, line: int, up_ms: int, sample: Sample) -> StoredReading:  # noqa: PLR0917 - with each reading
    """A reading that nobody knows the age of is not compared with others."""
    rh_flag = MISSING if sample.rh_pct is None else flag_of(20.0, sample.rh_pct)
    return StoredReading(name, line, up_ms, sample.dry_bulb_c, sample.rh_pct, flag_of(sample.dry_bulb_c, None), rh_flag)


def _assess(  # noqa: PLR0917 - with each reading
    look: Look, probe: Probe, known: ProbeState, line: int, up_ms: int, at: datetime, mono_s: float, sample: Sample
) -> tuple[Assessment, Held | None]:
    """Store one reading with what the tests say of it, and settle the flags of the one before, where that waited for this.

    known: what is known of the probe. line, up_ms: what dates the reading, and its counted time; at, mono_s: the same on the label and the
    forward clock.
    """
    known.trail, quality = assess(known.trail or _UNSEEN, mono_s, sample.dry_bulb_c, sample.rh_pct, probe.interval_s)
    flag, rh_flag = quality.dry_bulb_flag, quality.rh_flag
    confirmed = None
    if quality.before is not None:
        held, known.held = known.held, None
        if held is not None:
            settled = quality.before if held.dry_bulb_held else held.flag
            settled_rh = quality.before if held.rh_held else held.rh_flag
            look.out.reflags.append(Reflag(probe.key, held.line, held.up_ms, settled, settled_rh))
            if quality.before < FAIL and not quality.held:
                confirmed = held
    if quality.held:
        if quality.dry_bulb_held:
            flag = max(flag, NOT_EVALUATED)
        if quality.rh_held:
            rh_flag = max(rh_flag, NOT_EVALUATED)
        known.held = Held(
            at, sample.dry_bulb_c or 0.0, line, up_ms, flag, rh_flag, quality.dry_bulb_held, quality.rh_held
        )
    look.out.readings.append(StoredReading(probe.key, line, up_ms, sample.dry_bulb_c, sample.rh_pct, flag, rh_flag))
    return quality, confirmed


def follow_clock(look: Look) -> None:
    """Notice that the label clock was set, and mend what it labelled.

    Labels given while the clock was known to be wrong move with it, once. A clock that was right, and is set all the same, leaves
    the labels before it as they are.
    """
    state, now = look.state, look.now
    anchor_ms = to_ms(now.utc) - now.mono_s * 1000.0
    moved_ms = anchor_ms - state.anchor_ms
    if -STEP_MS <= moved_ms <= STEP_MS and (state.clock_ok or not now.clock_ok):
        return
    was_ok, anchor_before_ms = look.state.clock_ok, look.state.anchor_ms
    look.state.anchor_ms, look.state.clock_ok = anchor_ms, look.now.clock_ok
    look.state.plan_anew()
    if was_ok:
        # Until a node speaks again nothing says how its count lies to the new label: a run that begins before must not go by it.
        for node in look.state.nodes.values():
            node.split.update(node.lines)
            for boot, parts in node.lines.items():
                doubted = replace(parts[-1], trusted=False)
                node.lines[boot] = (*parts[:-1], doubted)
                look.out.lines[doubted.id] = doubted
    else:
        for node in look.state.nodes.values():
            for boot, parts in node.lines.items():
                mended = tuple(relabel(line, anchor_ms) for line in parts)
                for line, before in zip(mended, parts, strict=True):
                    if line != before:
                        look.out.lines[line.id] = line
                node.lines[boot] = mended
        _mend_alarms(look, anchor_before_ms)
    by_s = round(moved_ms / 1000.0, 1)
    look.out.events.append(Event(look.now.utc, "clock", "site", what=ClockSet(by_s, mended=not was_ok)))


def give_up_holes(look: Look) -> None:
    """Numbers that are overdue become a recorded gap, so that the node can forget what came after them."""
    for id_, node in look.state.nodes.items():
        for boot, numbering in node.numberings.items():
            later, hole = give_up(numbering, look.now.mono_s) if numbering.above else (numbering, None)
            if hole is not None:
                node.numberings[boot] = look.out.numberings[id_, boot] = later
                look.out.gaps.append(Gap(id_, boot, hole[0], hole[1], True))
                look.out.events.append(
                    Event(look.now.utc, "gap", id_, what=NeverCame(boot, first=hole[0], last=hole[1]))
                )


def _mend_alarms(look: Look, anchor_before_ms: float) -> None:
    """The times of alarms that began in this run, under a label clock that was wrong; they are told with the right ones."""
    began_ms = anchor_before_ms + look.state.started_mono_s * 1000.0
    ended_ms = anchor_before_ms + look.now.mono_s * 1000.0

    def mended(at: datetime | None) -> datetime | None:
        if at is None or not began_ms <= to_ms(at) <= ended_ms:
            return at  # of a run before this one, labelled by another clock
        return from_ms(round(to_ms(at) - anchor_before_ms + look.state.anchor_ms))

    def until(mono_s: float | None, at: datetime | None) -> datetime | None:
        return at if mono_s is None else from_ms(round(mono_s * 1000 + look.state.anchor_ms))

    for subject, out in look.state.out.items():
        if mended(out.since) != out.since:
            later = replace(out, since=mended(out.since) or out.since, until=until(out.until_mono_s, out.until))
            look.out.outs += [replace(out, ended=out.since), later]  # a row is found by when it began
        elif out.until is not None:  # of a run before this one: its label is right, and what was counted from it is not
            mono_s = (to_ms(out.until) - look.state.anchor_ms) / 1000.0
            later = replace(out, until_mono_s=mono_s)
        else:
            continue
        look.state.out[subject] = later
    for key, alarm in look.state.alarms.items():
        look.state.alarms[key] = replace(
            alarm,
            since=mended(alarm.since),
            ended=mended(alarm.ended),
            pending_at=mended(alarm.pending_at),
            shelved_until=until(alarm.shelved_until_mono_s, alarm.shelved_until),
            out_until=until(alarm.out_until_mono_s, alarm.out_until),
        )


def _keep_all_aside(look: Look, pack: Pack) -> None:
    """What an unknown node says: nothing of it is stored, so it is not told so, and may keep what it has till it is known."""
    for sample in pack.samples:
        _keep_aside(look, f"{pack.node}/{sample.probe}", sample)
    if pack.refused is not None:
        look.out.refused.append(RefusedRow(look.now.utc, pack.refused))


def _keep_aside(look: Look, name: str, sample: Sample) -> None:
    seen = look.state.unknown.get(name)
    if seen is None and len(look.state.unknown) >= MAX_UNKNOWN:
        return
    first = look.now.utc if seen is None else seen.first_at
    count = 1 if seen is None else seen.count + 1
    look.state.unknown[name] = look.out.unknown[name] = Unknown(
        name, first, look.now.utc, count, sample.dry_bulb_c, sample.rh_pct
    )
