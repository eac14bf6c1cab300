"""What an alarm is about, in words: for messages, for the list of alarms, and as the record keeps them beside the facts."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime, timedelta

from monitor.domain.air.units import Unit, show_difference, show_temperature
from monitor.domain.alarms.about import (
    BROKER,
    CARD_FAILING,
    CARD_FULL,
    CHATTERING,
    CONTRADICTED,
    ELSEWHERE,
    LATE,
    MAINS,
    NETWORK,
    POWERLESS,
    READ_ONLY,
    RECORD_BEHIND,
    RECORD_EXCHANGED,
    RECORD_GONE,
    REFUSED,
    REPEATED,
    RESTARTS,
    SILENT,
    UNDATED,
    UNREAD,
    About,
    Apart,
    Astray,
    Away,
    Damaged,
    Disbelieved,
    EachDay,
    Fault,
    Heading,
    Losing,
    Moving,
    Overdue,
    Projection,
    Regained,
    Restarting,
    Seen,
    Setting,
    Switched,
    Unfit,
    Unheard,
    Unmet,
    Unrecorded,
    Unusable,
    Weighed,
    unusable,
    why_of,
)
from monitor.domain.alarms.alarm import CLOSED, GONE, NO_EGGS, NOT_JUDGED, TAKEN_WHOLE
from monitor.domain.needs.bands import DRY_BULB
from monitor.domain.needs.rules import Rule
from monitor.domain.needs.site import OF_DOOR, OF_MAINS, OF_TURNING, OF_WATER, Site
from monitor.domain.wall import local_time, printable, wall_day
from monitor.shown.entries import said
from monitor.shown.form import rough_span
from monitor.shown.values import harm_words, show_window, stage_words

NOT_USABLE, SEE_HEALTH = "readings not usable", "Look at the node: eggroom health."
MAX_SEEN = 58  # characters of the breeder's own words, and of what was seen last: both must fit one message
MAX_LOSING = 138  # characters: what one message has room for
RESTARTING, CHECK_SUPPLY = "node restarts", "Check its supply, plug and cable."
WRONG_SITE, SET_SITE = "node set to another site", "Set its site to this one's id."
# What is the matter, likely harm and first act of a silence, or of a record, of which it is known what it comes of.
LOST = {
    BROKER: ("the broker on this Pi has stopped", "The machines may be well; nobody is watching.", "Restart it: sudo systemctl restart mosquitto."),
    NETWORK: ("the network is gone", "Nobody is watching; it may be the mains as well.", "Check router and cable, then the mains."),
    UNREAD: ("the record cannot be read", "Nobody knows which eggs there are: none is judged.", "Look at the machines, then at the card."),
    RECORD_GONE: ("the record was gone", "Readings of before may be missing.", "Look at eggroom batch list, and who was in its folder."),
    RECORD_EXCHANGED: ("the record was exchanged", "It was put back: what lay there is beside it.", "To go back to another, stop eggroom first."),
    RECORD_BEHIND: ("the record lacked its newest part", "Readings of that time may be missing.", "Look at eggroom batch list, then at the card."),
    MAINS: ("the mains have failed", "The machines have no heat.", "Check fuse and supply; keep every machine shut."),
}  # fmt: skip
_TROUBLE = {
    ELSEWHERE: (WRONG_SITE, SET_SITE),
    RESTARTS: (RESTARTING, CHECK_SUPPLY),
    POWERLESS: ("sensor lost power", "Check its plug, its supply and all its wires."),
}  # of messages that come and cannot be judged
_UNRECORDED = {
    CARD_FULL: "the card is full",
    READ_ONLY: "the card can only be read",
    CARD_FAILING: "the card does not take it, or does not answer",
}
SWITCH_WORDS = {OF_MAINS: "mains", OF_DOOR: "door", OF_WATER: "water", OF_TURNING: "turning"}
_DISBELIEVED = {
    SILENT: "says nothing, though its node speaks",
    CHATTERING: "turns on and off all the time",
    CONTRADICTED: "says shut while the air shows openings",
}
AWAY_SHOWN = 3  # machines that a message names after a time when nobody watched
ALSO_SHOWN = 6  # further eggs that a message names
_FAULTS = {"RNG": "no sensible value", "FLAT": "stands still", "NOISE": "restless", "SPK": "jumps", "ROC": "moves faster than air does"}  # fmt: skip
_UNJUDGED = {
    NO_EGGS: "no eggs in it",
    NOT_JUDGED: "no such limit now",
    GONE: "no longer configured",
    CLOSED: "the batch is closed",
    TAKEN_WHOLE: "its probe or machine is out of service",
}
# What libraries and chips give in place of a temperature (tests/reference/sensors/failed_reads.csv).
_CODES = {
    -128.0: "bad checksum",
    -127.0: "no sensor answers",
    -46.85: "data line low",
    -45.0: "data line low",
    85.0: "its value at power-up",
    127.94: "weak supply",
    130.0: "no sensor answers",
    998.0: "no answer in time",
    999.0: "bad checksum",
}
_TESTS = {
    f"{kind}-{quantity}": f"{name} {words}"
    for quantity, name in (("T", "temperature"), ("H", "humidity"))
    for kind, words in _FAULTS.items()
}


def matter(rule: Rule, about: About, over: bool = False) -> str:
    """What is the matter, or no longer."""
    return rule.over if over else matter_by(rule, why_of(about), unusable(about))


def matter_by(rule: Rule, why: str, unusable: bool) -> str:
    """What is the matter. why: what a silence comes of, empty where nothing is known of it; unusable: whether messages come, and nothing in them can be judged."""
    if why in LOST:
        return LOST[why][0]
    if why in _TROUBLE:
        return _TROUBLE[why][0]
    return NOT_USABLE if unusable else rule.words


def advice(rule: Rule, about: About, *, of_hens: bool = False) -> list[str]:
    """Likely harm and first act. of_hens: as for `harm_words`."""
    return advice_by(rule, why_of(about), unusable(about), of_hens=of_hens)


def advice_by(rule: Rule, why: str, unusable: bool, *, of_hens: bool = False) -> list[str]:
    """The same, of a program's view of it; why, unusable: as for `matter_by`."""
    if why in LOST:
        return [*LOST[why][1:]]
    act = _TROUBLE[why][1] if why in _TROUBLE else SEE_HEALTH if unusable else rule.first_act
    return [harm_words(rule, of_hens), act]


def about_words(about: About, site: Site) -> str:
    """`node-a/top is 0.8 °C off`; of a quantity its name, for it is told as a value."""
    if isinstance(about, str):
        return about
    if isinstance(about, Unfit):
        return _unfit(about)
    if isinstance(about, Fault):
        return f"the node says: {_cut(about.word)}" if about.word else "no temperature in its messages"
    if isinstance(about, Unusable | Restarting):
        return _unusable(about)
    if isinstance(about, Apart):
        return _apart(about, site.unit)
    if isinstance(about, Heading):
        now, limit = (show_temperature(c, site.unit) for c in (about.now_c, about.limit_c))
        return f"{now} now, {limit} in {max(1.0, about.in_s / 60.0):.0f} min or more"
    if isinstance(about, Unheard):
        return f"None of {about.nodes} nodes is heard"
    if isinstance(about, Away):
        return _away(about, site)
    if isinstance(about, Damaged | Regained | Unrecorded):
        return _record(about)
    if isinstance(about, Switched | Disbelieved):
        return _switched(about, site)
    if isinstance(about, Overdue):
        return ", ".join(f"{batch} is on day {day}" for batch, day in about.batches)
    if isinstance(about, Astray | EachDay):
        return _astray(about) if isinstance(about, Astray) else _each_day(about)
    if isinstance(about, Unmet):
        return f"{' and '.join(about.what)}: {_inside(about)}{_places(about, site)}"
    return _seen(about, site) if isinstance(about, Seen) else losing_words(about, site)


_REGAINED = {
    RECORD_GONE: "was gone",
    RECORD_EXCHANGED: "another file was in its place",
    RECORD_BEHIND: "lacked its newest part",
}


def _astray(about: Astray) -> str:
    return f"{', '.join(f'{batch} in {machine}' for batch, machine in about.batches)}: no such machine"


def _each_day(about: EachDay) -> str:
    """`3 days running, up to 30 min: eggroom cooling goose-1 --at 08:05 --for 30m`."""
    return f"{about.days} days running, up to {about.for_s / 60.0:.0f} min: {declaring(about)}"


def declaring(about: EachDay) -> str:
    """The command that declares what was seen: `eggroom cooling goose-1 --at 08:05 --for 30m`."""
    hours = " ".join(f"--at {minute // 60:02}:{minute % 60:02}" for minute in about.at_min)
    return f"eggroom cooling {about.of} {hours} --for {about.for_s / 60.0:.0f}m"


def _record(about: Damaged | Regained | Unrecorded) -> str:
    """`the card is full`;
    `/var/lib/eggroom/eggroom.db: damaged (malformed), set aside as eggroom.db.damaged-1; a new record was begun, taken over: batch, stay`."""
    if isinstance(about, Unrecorded):
        return _UNRECORDED.get(about.why, about.why)
    if isinstance(about, Regained):
        aside = f", what lay there set aside as {about.aside}" if about.aside else ""
        rows = ", ".join(f"{count} of {table}" for table, count in about.back)
        came = (
            "put back whole"
            if about.whole and not rows
            else f"back from its second file: {rows}"
            if rows
            else "nothing"
        )
        return f"{about.path}: {_REGAINED.get(about.how, about.how)}{aside}; {came}"
    taken = "with what could be taken over"
    if about.taken is not None:
        taken = f"taken over: {', '.join(about.taken) or 'nothing'}"
    why = f" ({about.why})" if about.why else ""
    return f"{about.path}: damaged{why}, set aside as {about.aside}; a new record was begun, {taken}"


def unjudged_words(why: str) -> str:
    """Why an alarm is no longer judged; what another version's program wrote stands as it is."""
    return _UNJUDGED.get(why, why)


def _unfit(about: Unfit) -> str:
    """`temperature stands still (FLAT-T)`, `reads -127: no sensor answers (RNG-T)`."""
    meaning = None if about.sent is None else _CODES.get(round(about.sent, 2))
    if meaning is not None:
        return f"reads {about.sent:g}: {meaning} ({about.test})"
    return f"{_TESTS[about.test]} ({about.test})" if about.test in _TESTS else about.test


def _unusable(about: Unusable | Restarting) -> str:
    """`its messages come 2 h late`, `it started 5 times within 12 min`."""
    if isinstance(about, Restarting):
        return f"it started {about.times} times within {rough_span(about.within_s)}"
    if about.why == LATE:
        return f"its messages come {rough_span(about.by)} late"
    if about.why == REPEATED:
        return f"its messages bear numbers of boot {about.by:.0f} that came before"
    if about.why == REFUSED:
        return f"its messages are not understood: {_cut(about.words)}"
    if about.why == ELSEWHERE:
        return f"it speaks as of site {_cut(about.words)!r}"
    if about.why == RESTARTS:
        return f"it has started {about.by:.0f} times lately, and nobody knows when its readings were taken"
    if about.why == UNDATED:
        return "nobody knows when its readings were taken: it starts anew each time, or its clock jumps"
    return "the node speaks, but says nothing of it"


def _away(about: Away, site: Site) -> str:
    """`for 6 h, from 22:04 on; Setter 1: air 24.1 °C now, eggs about 27 °C`, the coldest machine first."""
    since = local_time(about.since, site.zone, about.since + timedelta(seconds=about.for_s))
    return "; ".join([f"for {rough_span(about.for_s)}, from {since} on", *_felt(about.felt, site)])


def _switched(about: Switched | Disbelieved, site: Site) -> str:
    """`Setter 1: air 31.0 °C now, eggs about 34 °C`, `node-a/door says so`; where all is warm, that it may not be so."""
    if isinstance(about, Disbelieved):
        return f"{about.switch} ({SWITCH_WORDS[about.kind]}) {_DISBELIEVED[about.why]}"
    said = f"{about.switch} says so"
    if about.warm:
        return (
            f"{said}, yet it is warm: other power, or a wrong contact"
            if about.kind == MAINS
            else f"{said}, yet it is warm in there: a wrong contact?"
        )
    return "; ".join(_felt(about.felt, site)) or said


def _felt(felt: tuple[tuple[str, float | None, float | None], ...], site: Site) -> list[str]:
    """Each machine's air and eggs, the coldest first."""
    told = []
    for machine, air_c, egg_c in sorted(felt, key=lambda each: each[2] if each[2] is not None else 99.0):
        air = "nothing heard yet" if air_c is None else f"air {show_temperature(air_c, site.unit)} now"
        eggs = "" if egg_c is None else f", eggs about {show_temperature(egg_c, site.unit)}"
        told.append(f"{_name(machine, site)}: {air}{eggs}")
    return told[:AWAY_SHOWN]


def _apart(about: Apart, unit: Unit) -> str:
    """`node-a/top is 0.8 °C off`, `node-a/top and node-a/low differ by 0.8 °C`."""
    by = f"{about.by:.0f} %RH"
    if about.quantity == DRY_BULB:
        by = show_difference(about.by, unit)
    if about.unmixed:
        differ = "differs" if len(about.probes) == 1 else "differ"
        return f"{' and '.join(about.probes)} {differ} otherwise than usual, by {by}"
    if len(about.probes) == 1:
        return f"{about.probes[0]} is {by} off"
    if about.jumped in about.probes:
        other = next(p for p in about.probes if p != about.jumped)
        return f"{about.jumped} jumped and is {by} from {other}, which did not"
    return f"{' and '.join(about.probes)} {'have moved apart by' if about.moved else 'differ by'} {by}"


def _inside(about: Unmet) -> str:
    """`hen-1 day 10 incubation, goose-2 day 26 lockdown, lost-1 (profile unknown)`; of many their names alone, for the groups tell them all."""
    if _many(about):
        return f"{len(about.batches)} batches"
    known = [f"{batch} day {day} {stage_words(stage)}" for batch, day, stage in about.batches]
    return ", ".join([*known, *(f"{batch} (profile unknown)" for batch in about.unknown)])


def _many(about: Unmet) -> bool:
    """Whether more groups than a machine and another are told."""
    return len(about.groups) > 2 and len(about.batches) > 2


def _places(about: Unmet, site: Site) -> str:
    """`; goose-2 would do in Setter 2`, of the one that fits with no other; or `; goose-2 needs a machine of its own`; or who fits with whom.

    Of two nobody can say which is the odd one: the first that has a place, or one of them.
    """
    if not about.places:
        return ""
    if _many(about):
        return f" fit in {len(about.groups)} machines: {', '.join(' + '.join(group) for group in about.groups)}"
    if len(about.batches) > 2 and len(about.groups) == 2:
        odd = about.groups[1]
        machines = set.intersection(*(set(dict(about.places)[batch]) for batch in odd))
        to = next((_name(m, site) for m in dict(about.places)[odd[0]] if m in machines), "")
        who = " and ".join(odd)
        if to:
            return f"; {who} would do in {to}"
        return f"; {who} {'needs a machine of its own' if len(odd) == 1 else 'need a machine of their own'}"
    batch, to_any = next(((b, m) for b, m in about.places if m), ("", ()))
    return f"; {batch} would do in {_name(to_any[0], site)}" if batch else "; one of them needs a machine of its own"


def moving_words(move: Moving, site: Site) -> str:
    """`Move grey-1 to Hatcher.`, what is done before anything else."""
    to = (
        _name(move.to, site)
        if move.to
        else "a machine of its own"
        if len(move.batches) == 1
        else "a machine of their own"
    )
    return f"Move {', '.join(move.batches)} to {to}."


def _name(machine: str, site: Site) -> str:
    return site.machines[machine].name if machine in site.machines else machine


def _seen(about: Seen, site: Site) -> str:
    """`Weak, put back. Seen last: external pip at 09:12`."""
    words = _cut(about.why)
    if about.last is None:
        return words
    at = local_time(about.last.at, site.zone, about.at)
    return ". ".join(part for part in (words, f"Seen last: {_cut(said(about.last, site.zone))} at {at}") if part)


def _cut(text: str) -> str:
    text = " ".join(printable(text).split()).rstrip(".")
    return text if len(text) <= MAX_SEEN else f"{text[: MAX_SEEN - 1]}…"


def losing_words(about: Losing, site: Site) -> str:
    """`egg 9: loss by pip 18.0 % (16.6 to 19.4), target 11 to 14 %; ...; also egg 7`; the others only where there is room."""
    who = "" if about.who == Weighed() else f"{_who(about.who)}: "
    told = [f"{who}{projection_words(where_to, site)}" for where_to in _shorter(about.where_to)]
    words = next((each for each in told if len(each) <= MAX_LOSING), told[-1])
    named = [_who(each) for each in about.also]
    also = f"; also {', '.join(named[:ALSO_SHOWN])}{' and more' if len(named) > ALSO_SHOWN else ''}" if named else ""
    return words if len(words) + len(also) > MAX_LOSING else words + also


def _shorter(found: Projection) -> Iterator[Projection]:
    """The same, then without what it does to others, then without the range that would do: what is to be set must not be lost for them."""
    yield found
    if found.setting is not None:
        alone = replace(found.setting, others=None)
        yield replace(found, setting=alone)
        yield replace(found, setting=replace(alone, do_pct=None))


def _who(about: Weighed) -> str:
    if about.egg is not None:
        return f"egg {about.egg}"
    return f"tray {about.tray:.20}" if about.tray else "eggs weighed together"


def projection_words(found: Projection, site: Site) -> str:
    """`loss by pip 18.0 % (16.6 to 19.4), target 11 to 14 %; 35 % RH (wet bulb 25.1 °C) from now on, 52 % now, leads to 14.5 %`."""
    words = (
        f"loss by pip {found.pip_pct:.1f} % ({found.low_pct:.1f} to {found.high_pct:.1f}), "
        f"target {show_window(found.window_pct)} %"
    )
    if found.on_track:
        return words
    return f"{words}; {again_words(found.again, site) if found.unsure else setting_words(found.setting, site)}"


def again_words(again: datetime | None, site: Site) -> str:
    """When to weigh again, while nobody can say on which side of the window's edge an egg is."""
    if again is None:
        return "the weighings cannot tell yet: weigh each day, on a finer scale if there is one"
    return f"weigh again on {wall_day(again, site.zone)}"


def setting_words(setting: Setting | None, site: Site) -> str:
    """`45 % RH (wet bulb 28.1 °C) from now on, 52 % now, leads to 13.4 %; 30 to 47 % would do`, or why there is nothing to set."""
    if setting is None:
        return "no humidity can be told"
    if setting.served == 0:
        return (
            f"not reachable within their band for any of {setting.eggs} eggs; {setting.rh_pct:.0f} % RH comes nearest"
        )
    if not setting.reachable:
        return f"not reachable within its band: even {setting.rh_pct:.0f} % RH leads to {setting.loss_pct:.1f} %"
    wet = show_temperature(setting.wet_bulb_c, site.unit)
    now = "" if setting.now_pct is None else f", {setting.now_pct:.0f} % now,"
    leads = (
        f"leads to {setting.loss_pct:.1f} %"
        if setting.served is None
        else f"serves {setting.served} of {setting.eggs} eggs"
    )
    return f"{setting.rh_pct:.0f} % RH (wet bulb {wet}) from now on{now} {leads}{_would_do(setting)}{_others(setting)}"


def _would_do(setting: Setting) -> str:
    if setting.do_pct is None:
        return ""
    low, high = setting.do_pct
    return f"; {low:.0f} to {high:.0f} % would do"


def _others(setting: Setting) -> str:
    """What it does to the other weighed eggs of the machine."""
    if setting.others is None:
        return ""
    then, now = setting.others_then, setting.others_now
    if setting.others > 1:
        without = "" if now is None else f", {now} without it"
        return f"; of the {setting.others} other weighed eggs there {then} would reach their target with it{without}"
    without = "" if now is None else f", {'reach' if now else 'miss'} it without"
    return f"; the other weighed egg there would {'reach' if then else 'miss'} its target with it{without}"
