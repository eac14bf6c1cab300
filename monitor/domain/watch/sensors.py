"""Whether a machine's sensors can be believed: each by itself, and against one another. A doubt silences no danger.

And what its switches say: no mains, an open door, little water; and which of them says nothing, chatters, or is contradicted by the air.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from statistics import median

from monitor.domain.alarms.about import (
    CHATTERING,
    CONTRADICTED,
    OFF_SCALE,
    SILENT,
    About,
    Apart,
    Disbelieved,
    Fault,
    Switched,
    Unfit,
)
from monitor.domain.alarms.alarm import BETWEEN, IN, OUT, Judgement, more_urgent
from monitor.domain.needs.bands import DRY_BULB
from monitor.domain.needs.rules import (
    ALARM,
    DISAGREE,
    DOOR_OPEN,
    DRIFTING,
    LETHAL,
    MAINS_LOST,
    SENSOR_FAILED,
    SENSOR_SUSPECT,
    SWITCH_DOUBTFUL,
    WATER_LOW,
)
from monitor.domain.needs.site import FORCED, OF_DOOR, OF_MAINS, OF_WATER, STILL, Switch
from monitor.domain.readings.agreement import DRIFT, SHIFT, XDIS, Agreement, Difference, Given, Pairs, agree
from monitor.domain.readings.quality import among, stands_still, step_k_of
from monitor.domain.readings.reading import FAIL, SUSPECT, Pack
from monitor.domain.signs.opening import BORNE_S, holds
from monitor.domain.signs.switch import Contact, chatters
from monitor.domain.state.contacts import MISSED, believed
from monitor.domain.state.known import Look, MachineState, apart_outside
from monitor.domain.state.service import in_service
from monitor.domain.watch.deciding import judge, settle
from monitor.domain.watch.intake import Fresh
from monitor.domain.watch.plan import SITE_SUBJECT
from monitor.domain.watch.silence import felt_in, spoke

RULE_OF = {OF_MAINS: MAINS_LOST, OF_DOOR: DOOR_OPEN, OF_WATER: WATER_LOW}
# Without heat, or with an open door, a cabinet of ten hours' time constant is half a kelvin down by then (judgement).
WARM_S = 1800.0
_NOTHING = Pairs()
# A jump and the ten minutes after which the two are found apart, with the readings that are not compared.
JUMP_S = 1800.0
# So far apart two good sensors are not; so much of a jump must stay, and so little may the other have moved in its last minutes (judgement).
APART_K, STAYS_SHARE, STILL_K = 0.5, 0.6, 0.25
LASTS_S = 120.0  # then the other has had its time to follow, also where a thermostat moves both
FALLEN_S = 240.0  # before "too cold" is told: a door that is shut by then has let the other probe move
# A temperature beyond what eggs live in is news of the machine, not of the sensor: the air's own alarms say it.
_OF_THE_AIR = OFF_SCALE


def judge_sensor(look: Look, reading: Fresh) -> None:
    """One probe by its own tests: failed, doubtful, or neither."""
    quality, probe = reading.quality, reading.probe.key
    failed, suspect = (probe, SENSOR_FAILED), (probe, SENSOR_SUSPECT)
    if quality.dry_bulb_flag == FAIL:
        about = _about(quality.tests, FAIL, reading.sent_c)
        judge(look, failed, Judgement(OUT, reading.at, about=about))
    elif failed in look.state.alarms and quality.dry_bulb_fit:
        judge(look, failed, Judgement(IN, reading.at))
    if quality.held:
        return  # the next reading says what this one was
    doubtful = any(flag == SUSPECT and test != _OF_THE_AIR for test, flag in quality.tests)
    if not doubtful and any(flag == FAIL for _, flag in quality.tests):
        return  # what was doubtful has failed, and is not believed again
    if doubtful or suspect in look.state.alarms:
        about = _about(quality.tests, SUSPECT) if doubtful else ""
        judge(look, suspect, Judgement(OUT if doubtful else IN, reading.at, about=about))


def judge_faults(look: Look, pack: Pack) -> None:
    """Probes that are heard, and say that they have no temperature: failed, like those that give none."""
    for sample in pack.samples:
        if sample.dry_bulb_c is not None:
            continue
        known = look.state.probes.get(f"{pack.node}/{sample.probe}")
        trouble = None if known is None else known.trouble
        if trouble is not None and trouble.mono_s == look.now.mono_s and isinstance(trouble.about, Fault):
            key = f"{pack.node}/{sample.probe}", SENSOR_FAILED
            judge(look, key, Judgement(OUT, look.now.utc, about=trouble.about))


def compare_sensors(look: Look, machine: str) -> None:
    """The probes of one machine against one another."""
    given: dict[str, Given] = {}
    unmoved: list[str] = []
    interval_s = 0.0  # the longest of theirs
    probes = look.state.probes
    for probe in in_service(look, machine):
        if probe.interval_s > interval_s:
            interval_s = probe.interval_s
        state = probes.get(probe.key)
        heard = None if state is None else state.heard
        if state is not None and heard is not None:
            given[probe.key] = (heard.mono_s, heard.dry_bulb_c, heard.rh_pct)
            if state.trail is not None and stands_still(state.trail):
                unmoved.append(probe.key)
    if len(given) < 2:
        return
    known = look.state.machine(machine)
    air = look.site.machines[machine].air
    found = agree(
        known.pairs or _NOTHING,
        look.now.mono_s,
        given,
        interval_s=interval_s,
        still=air != FORCED,
        shifts=air != STILL and _around_eggs(look, machine, known),
        disturbed=_disturbed(look, known),
    )
    known.pairs = found.pairs
    for name in unmoved:
        _tell_around(look, name, found.pairs.lately, others=[other for other in given if other != name])
    early = None if len(given) != 2 else _jumped_apart(look, machine, given, lately=found.pairs.lately)
    known.unmixed = False
    if found.found or early or look.state.alarms:  # else nothing is wrong, and nothing was
        _judge_agreement(look, machine, found, early=early)


def _around_eggs(look: Look, machine: str, known: MachineState) -> bool:
    """Whether there are eggs in it, which need its air to be moved; in a room, or a machine that is empty, air moves as it likes."""
    plan = known.plan
    return plan is not None and bool(plan.limits) and look.site.machines[machine].holds_eggs


def _disturbed(look: Look, known: MachineState) -> bool:
    """Whether its door is open, or the air on its way home; or somebody said that they are at work there, or just put eggs in."""
    mono_s, handling = look.now.mono_s, known.handling
    if (handling is not None and mono_s < handling.until_mono_s) or mono_s < known.put_in_s + BORNE_S:
        return True
    return known.watch is not None and holds(known.watch, mono_s)


def _tell_around(look: Look, name: str, lately: Mapping[str, Given], *, others: Sequence[str]) -> None:
    """A probe that stands still, where the others of its machine are: what moved around it says whether it should."""
    state = look.state.probe(name)
    known = [other for other in others if other in lately]
    if state.trail is not None and known:
        step_k = max(step_k_of(look.state.probe(other).trail) for other in known)
        state.trail = among(state.trail, median(lately[other][1] for other in known), step_k)


def _jumped_apart(
    look: Look, machine: str, given: dict[str, Given], *, lately: Mapping[str, Given]
) -> Difference | None:
    """Two probes of which one moved all at once and stayed there, while the air at the other stands still: no air does that, so nobody has to
    wait until it has lasted. What fell may be an open door's, so it has to outlast that by itself; only what passes an alarm limit is so urgent."""
    jumped = _jumped(look, machine, tuple(given))
    if not jumped:
        return None
    other = next(name for name in given if name != jumped)
    state, mono_s = look.state.probe(jumped), look.now.mono_s
    by_k, jumped_k = given[jumped][1] - given[other][1], state.jumped_k
    if look.state.probe(other).held is not None or given[other][0] < state.jumped_from_s:
        return None  # it may be about to say the same
    since_s = mono_s - (state.jumped_mono_s or 0.0)
    moved_k = abs(given[other][1] - lately[other][1]) if other in lately else math.inf
    if abs(by_k) < APART_K or by_k * jumped_k <= 0.0 or abs(by_k) < STAYS_SHARE * abs(jumped_k):
        return None
    if (since_s < LASTS_S and moved_k > STILL_K) or (jumped_k < 0.0 and since_s < FALLEN_S):
        return None
    plan, value_c = look.state.plan_of(machine), given[jumped][1]
    limits = [] if plan is None else [li for li in plan.limits if li.quantity == 0 and li.rule.level in (ALARM, LETHAL)]
    # A limit that lies in the way of the jump: what rises from a door's cold air is still below a low one, and on its way home.
    if not any(jumped_k * limit.side > 0.0 and (value_c - limit.limit) * limit.side > 0.0 for limit in limits):
        return None
    return Difference(XDIS, DRY_BULB, SUSPECT, (jumped, other), by_k)


def _judge_agreement(look: Look, machine: str, found: Agreement, *, early: Difference | None) -> None:
    apart = [d for d in found.found if d.test != DRIFT] + ([early] if early else [])
    drifted = [d for d in found.found if d.test == DRIFT]
    for standing, rule in ((apart, DISAGREE), (drifted, DRIFTING)):
        key = (machine, rule)
        if standing:
            _judge_apart(look, key, standing)
        elif key in look.state.alarms and found.compared:
            judge(look, key, Judgement(IN, look.now.utc))


def _judge_apart(look: Look, key: tuple[str, str], standing: Sequence[Difference]) -> None:
    """What differs most; it is news once more as soon as the air at one of the probes is out of its band, or does not mix any more."""
    before, machine = look.state.alarms.get(key), key[0]
    known = before.about if before is not None and before.condition and isinstance(before.about, Apart) else None
    shift = next((d for d in standing if d.test == SHIFT), None)
    worst = shift or max(standing, key=lambda d: d.flag)
    outside, unmixed, jumped = False, False, ""
    if worst.test != DRIFT and worst.quantity == DRY_BULB:
        same = known is not None and known.quantity == worst.quantity and known.jumped in worst.probes
        jumped = known.jumped if known is not None and same else _jumped(look, machine, worst.probes)
        unmixed = shift is not None and not jumped  # air does not jump at one probe alone
        if shift is not None and jumped:
            worst = max((d for d in standing if d is not shift), key=lambda d: d.flag, default=shift)
        look.state.machine(machine).unmixed = unmixed
        outside = worst.quantity == DRY_BULB and apart_outside(look, machine)
    about = Apart(worst.probes, worst.quantity, abs(worst.by), worst.test == DRIFT, outside, jumped, unmixed)
    judge(look, key, Judgement(OUT, look.now.utc, about=about))
    if known is not None and (outside or unmixed) and not (known.outside or known.unmixed):
        settle(look, key, more_urgent(look.state.alarms[key], look.now))


def _jumped(look: Look, machine: str, probes: tuple[str, ...]) -> str:
    """Which of two, or that one of several which is apart from the others, moved all at once before they came apart; empty where none of them
    did, or another as well, as in a door's air."""
    among = probes if len(probes) == 2 else [probe.key for probe in in_service(look, machine)]
    lately = [
        p for p in among if (at_s := look.state.probe(p).jumped_mono_s) is not None and look.now.mono_s - at_s <= JUMP_S
    ]
    return lately[0] if len(lately) == 1 and lately[0] in probes else ""


def _about(tests: tuple[tuple[str, int], ...], flag: int, sent_c: float | None = None) -> About:
    """The first test with that flag; with what was sent, where that is no temperature."""
    test = next((t for t, came in tests if came == flag and not (t == _OF_THE_AIR and flag == SUSPECT)), None)
    if test is None:
        return ""
    return Unfit(test, sent_c if test == _OF_THE_AIR else None)


def judge_switches(look: Look, node: str) -> None:
    """After a message of a node: what its switches say."""
    for switch in look.site.switches.values():
        if switch.node == node:
            _judge_doubt(look, switch)
            _judge_said(look, switch)


def judge_silent_switches(look: Look) -> None:
    """As time passes: switches of which nothing comes, though their node speaks. That it does not is its own alarm."""
    for switch in look.site.switches.values():
        if _why_doubted(look, switch) or (switch.key, SWITCH_DOUBTFUL) in look.state.alarms:
            _judge_doubt(look, switch)


def subject_of(switch: Switch) -> str:
    """What its alarm is about."""
    return switch.machine or SITE_SUBJECT


def _judge_doubt(look: Look, switch: Switch) -> None:
    why, key = _why_doubted(look, switch), (switch.key, SWITCH_DOUBTFUL)
    if why:
        judge(look, key, Judgement(OUT, look.now.utc, about=Disbelieved(switch.key, switch.kind, why)))
    elif key in look.state.alarms and believed(look, switch) is not None:
        judge(look, key, Judgement(IN, look.now.utc))


def _why_doubted(look: Look, switch: Switch) -> str:
    contact, mono_s = look.state.contacts.get(switch.key), look.now.mono_s
    listens_s = look.state.listens_mono_s
    heard_s = listens_s if contact is None else max(contact.mono_s, listens_s)
    if mono_s - heard_s > switch.silence_s:
        return SILENT if spoke(look, switch.node) else ""
    if contact is None:
        return ""
    if contact.missed >= MISSED:
        return CONTRADICTED
    return CHATTERING if chatters(contact, mono_s) else ""


def _judge_said(look: Look, switch: Switch) -> None:
    """All switches of one kind and subject together: one that says it is enough, and all must say that it is over."""
    if switch.kind not in RULE_OF:
        return  # a turner at rest, or not, wakes nobody
    key = (subject_of(switch), RULE_OF[switch.kind])
    alike = [s for s in look.site.switches.values() if (s.kind, s.machine) == (switch.kind, switch.machine)]
    said = [(s, contact) for s in alike if (contact := believed(look, s)) is not None]
    wrong = [each for each in said if each[1].said]
    if wrong:
        first, contact = min(wrong, key=lambda each: each[1].turned_mono_s)
        _judge_wrong(look, key, first, contact=contact)
    elif key in look.state.alarms and said:
        newest = max(contact.since for _, contact in said)
        judge(look, key, Judgement(IN if len(said) == len(alike) else BETWEEN, newest))


def _judge_wrong(look: Look, key: tuple[str, str], switch: Switch, *, contact: Contact) -> None:
    machines = [switch.machine] if switch.machine else [*look.site.machines]
    felt = tuple(found for m in machines if (found := felt_in(look, m)) is not None) if switch.kind == OF_MAINS else ()
    lasts = switch.kind != OF_WATER and look.now.mono_s - contact.turned_mono_s >= WARM_S
    about = Switched(switch.key, switch.kind, felt, lasts and _all_warm(look, machines))
    before = look.state.alarms.get(key)
    known = before.about if before is not None and before.condition and isinstance(before.about, Switched) else None
    handling = look.state.machine(switch.machine).handling if switch.kind == OF_DOOR else None
    judge(look, key, Judgement(OUT, contact.since, about=about), held=handling is not None)
    if known is not None and known.warm and not about.warm:
        settle(look, key, more_urgent(look.state.alarms[key], look.now))


def _all_warm(look: Look, machines: list[str]) -> bool:
    """Whether every machine that is heard, and that should be warm, is."""
    found: list[bool] = []
    for machine in machines:
        plan = look.state.plan_of(machine)
        if plan is None or plan.low_dry_bulb_c is None:
            continue
        for probe in in_service(look, machine):
            heard = look.state.probe(probe.key).heard
            if heard is not None and look.now.mono_s - heard.mono_s <= probe.silence_s:
                found.append(heard.dry_bulb_c >= plan.low_dry_bulb_c)
    return bool(found) and all(found)
