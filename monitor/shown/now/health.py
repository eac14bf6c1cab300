"""What `eggroom health` found, as values; and each of it in a line, with whether it is good."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, tzinfo
from pathlib import Path
from typing import TYPE_CHECKING, cast

from monitor.domain.needs.site import Site
from monitor.domain.wall import WIDTH, filled, local_time, printable, wall_time
from monitor.shown.form import duration, until_by
from monitor.shown.now.alarms import START, Told, out_eggs
from monitor.shown.now.archives import BY_HAND, OVERDUE
from monitor.shown.values import probe_words

if TYPE_CHECKING:
    from monitor.domain.watch.view import OutView
    from monitor.service.ports import Answer

MIN_FREE_BYTES = 200_000_000  # months of readings of a full room; under it a card is nearly full of something else
OF_THE_DAEMON = "the running daemon has read it"
# What leaves everybody in the dark stands before what leaves one thing unseen.
WORST_FIRST = (
    "daemon",
    "messages",
    "contacts",
    "contact",
    "notices",
    "store",
    "record",
    "broker",
    "probes",
    "probe",
    "batch",
    "clock",
    "node",
    "disk",
    "archives",
)
MB_FROM = 100_000  # bytes, from which tenths of a megabyte say something
MOST_NAMED = 3  # batches without their archive
TIMER = "eggroom-archive.timer"
MANY_WAITING = 20  # notices to one contact: more have not got through for long


@dataclass(frozen=True, slots=True)
class Program:
    """What runs. Versions."""

    eggroom: str
    python: str
    sqlite: str


@dataclass(frozen=True, slots=True)
class DaemonFound:
    """The running daemon's own facts; or None, and why. closed: nobody answers at its door."""

    facts: Answer | None
    why: str = ""
    closed: bool = False


@dataclass(frozen=True, slots=True)
class BrokerFound:
    """Whether anybody listens at the broker's address, asked where no daemon can tell. why: '' where somebody does."""

    host: str
    port: int
    why: str


@dataclass(frozen=True, slots=True)
class RecordFound:
    """The record. why: what hinders reading it, '' for nothing; undelivered: contacts to whom something high or critical did not
    get through; strangers: (batch, profile) that is unknown; lost: (batch, machine) that
    is not configured."""

    path: Path
    there: bool
    why: str = ""
    size_bytes: int = 0
    batches: int = 0
    undelivered: Sequence[Told] = ()
    strangers: Sequence[tuple[str, str]] = ()
    lost: Sequence[tuple[str, str]] = ()


@dataclass(frozen=True, slots=True)
class ArchivesFound:
    """The archives of closed batches. why: what hinders looking at them, '' for nothing; closed: how many batches are; due: from when on
    the next archive of one is to be made, by batch, where it lacks something."""

    folder: Path
    why: str = ""
    closed: int = 0
    due: Mapping[str, datetime] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class SecretFound:
    """What hangs on a secret: a contact by its id, or the broker's settings (id ''). why: it cannot be used, None where it can; account:
    this one, where that is because the secret is not for it to read, else ''."""

    id: str
    why: str | None
    account: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """All of it. names: what each probe and machine is called, by its key or id. switches: those of the configuration, by key."""

    program: Program
    config: Path
    site: str
    nodes: Collection[str]
    machines: int
    probes: Collection[str]
    names: Mapping[str, str]
    at: datetime
    clock_ok: bool
    daemon: DaemonFound
    broker: BrokerFound | None
    record: RecordFound
    disk: Path
    free_bytes: int
    contacts: Sequence[SecretFound]
    link: SecretFound
    archives: ArchivesFound | None = None
    switches: Collection[str] = ()


def names_of(site: Site) -> dict[str, str]:
    """What each probe is called to somebody who looks for it, by its key, and each machine, by its id."""
    return {key: probe_words(key, site) for key in site.probes} | {id_: m.name for id_, m in site.machines.items()}


@dataclass(frozen=True, slots=True)
class Check:
    """One line: what was looked at, whether it is good, and what was found, in words."""

    what: str
    good: bool
    found: str


def health_view(found: Found, checks: Sequence[Check]) -> dict[str, object]:
    """{"checks": [{"what", "good", "found"}], "daemon": the daemon's facts or None}."""
    return {
        "checks": [{"what": c.what, "good": c.good, "found": c.found} for c in checks],
        "daemon": found.daemon.facts,
    }


def health_text(checks: Sequence[Check], columns: int = WIDTH) -> str:
    """How many are bad first, then what was looked at, so many columns wide, one a line, the bad ones on top and the worst of them first."""
    ordered = sorted(checks, key=lambda c: (c.good, _worst(c) if not c.good else 0))
    lines = [f"{'ok ' if c.good else 'BAD'} {c.what}: {c.found}" for c in ordered]
    bad = sum(not c.good for c in checks)
    return "\n".join(["all good" if not bad else f"{bad} to look at", "", *(filled(line, columns) for line in lines)])


def _worst(check: Check) -> int:
    """Where a bad one stands among the bad: first what leaves everybody in the dark."""
    return next((place for place, word in enumerate(WORST_FIRST) if check.what.split(" ")[0] == word), len(WORST_FIRST))


def checks_of(found: Found, zone: tzinfo) -> list[Check]:
    """Each thing that was looked at, in words; times are on the wall's clock."""
    of = found.program
    facts = found.daemon.facts
    read = () if facts is None else facts["contacts"]
    contacts = [_contact(each, each.id in read) for each in found.contacts]
    return [
        Check("eggroom", True, f"{of.eggroom}, Python {of.python}, SQLite {of.sqlite}"),
        Check("configuration", True, f"{found.config}: {found.machines} machines, {len(found.probes)} probes"),
        _clock(found, zone),
        *_daemon(found, zone),
        *([] if found.broker is None else [_broker(found.broker)]),
        *_record(found.record),
        *([] if found.archives is None else _archives(found.archives, found.at, zone)),
        *_messages(found, zone),
        Check("disk", found.free_bytes >= MIN_FREE_BYTES, f"{found.free_bytes / 1e9:.1f} GB free at {found.disk}"),
        *(contacts or [Check("contacts", False, "nobody is told, expected at least one [[contact]]")]),
        *(
            []
            if found.link.why is None
            else [_secret("broker settings", "password", found.link, daemon_has_it=facts is not None)]
        ),
    ]


def _clock(found: Found, zone: tzinfo) -> Check:
    """As the daemon takes it, which knows what the record has; where none answers, as it is here."""
    good = found.clock_ok and (found.daemon.facts is None or bool(found.daemon.facts["clock_ok"]))
    if good:
        said = "right"
    elif found.clock_ok:
        said = "not taken as right: the record has something later. Set by the network, it is: timedatectl"
    else:
        said = "not set; days of incubation and times shown are wrong: timedatectl"
    return Check("clock", good, f"{wall_time(found.at, zone)}: {said}")


def _daemon(found: Found, zone: tzinfo) -> list[Check]:
    daemon, facts = found.daemon, found.daemon.facts
    if facts is None:
        words = f"NOBODY IS WATCHING: not running ({daemon.why}). {START}" if daemon.closed else daemon.why
        return [Check("daemon", False, words)]
    running = f"running for {duration(facts['up_s'])}, {facts['messages']} messages, {facts['refused']} refused"
    since = facts["broker_since"]
    since = f" since {wall_time(datetime.fromisoformat(since), zone)}" if since else ""
    failing, silent, waiting = facts["store_failing_s"], facts["silent_probes"], facts["notices_waiting"]
    unknown = [p for p in facts["unknown_probes"] if p not in found.probes]
    queued = ", ".join(f"{n} for {c}" for c, n in waiting.items()) if waiting else "none wait"
    return [
        *(Check("out of service", True, _out(out, found, zone)) for out in facts.get("out_of_service", ())),
        Check("daemon", True, running),
        Check("broker", facts["broker_connected"], f"{facts['broker']}{since}"),
        Check("store", failing is None, "writing" if failing is None else _failing(facts, failing)),
        Check(
            "probes",
            not silent,
            f"silent: {', '.join(found.names.get(p, p) for p in silent)}" if silent else "all speak",
        ),
        *(
            Check(f"probe {probe}", False, f"not usable: {why}")
            for probe, why in facts.get("unusable_probes", {}).items()
        ),
        *([Check("unknown probes", True, f"{', '.join(unknown)}; see `eggroom refused`")] if unknown else []),
        *(check for node, of in facts.get("nodes", {}).items() for check in _node(node, of, found.switches)),
        *(_elsewhere(node, other, found) for node, other in facts["elsewhere"].items()),
        Check("notices", not any(n > MANY_WAITING for n in waiting.values()), queued),
    ]


def _failing(facts: Answer, for_s: float) -> str:
    """`failing for 2 h: the card is full; watched and told from memory, where 8,640 readings wait`."""
    left = f", {count:,} left out" if (count := facts.get("left_out_readings", 0)) else ""
    waits = f"watched and told from memory, where {facts['unwritten_readings']:,} readings wait{left}"
    why = facts.get("store_failing_why", "")  # a daemon of before says none
    return f"failing for {duration(for_s)}: {f'{why}; ' if why else ''}{waits}"


def _out(out: Answer, found: Found, zone: tzinfo) -> str:
    """`Setter 1 top until 18:00 by sam`."""
    until = None if out["until"] is None else local_time(datetime.fromisoformat(out["until"]), zone, found.at)
    name = found.names.get(out["subject"], out["subject"])
    return f"{name} {until_by(until, printable(out['by']))}{out_eggs(cast('OutView', out))}"


def _size(bytes_: float) -> str:
    return f"{bytes_ / 1e6:.1f} MB" if bytes_ >= MB_FROM else f"{bytes_ / 1e3:.0f} kB"


def _node(node: str, of: Answer, switches: Collection[str]) -> list[Check]:
    """What a node says besides its air and the switches that `room` shows, and how many of its messages bore the number of another."""
    says, clashes = {name: f for name, f in of["says"].items() if f"{node}/{name}" not in switches}, of["clashes"]
    told = ", ".join(
        printable(f"{name} {_figure(f['value'])} {f['unit']}".rstrip() + f" ({_times(f['count'])})")
        for name, f in says.items()
    )
    why = f"{clashes} messages with the number of another: two nodes of one name, or a boot number used again"
    return [
        *([Check(f"node {node}", True, f"says besides its air: {told}")] if says else []),
        *([Check(f"node {node}", False, why)] if clashes else []),
    ]


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count} times"


def _figure(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:g}" if isinstance(value, float) else str(value)


def _elsewhere(node: str, other: str, found: Found) -> Check:
    """A node that speaks as another site: a mistake where it is one of ours."""
    mistake = node in found.nodes
    mend = "; mend SITE in the node's settings, or id in [site] here" if mistake else ""
    return Check(f"node {node}", not mistake, f"speaks, but as site {other!r}, expected {found.site!r}{mend}")


def _contact(found: SecretFound, daemon_has_it: bool) -> Check:
    if found.why is None:
        return Check(f"contact {found.id}", True, "the address can be used; try `eggroom contact test`")
    return _secret(f"contact {found.id}", "address", found, daemon_has_it=daemon_has_it)


def _secret(what: str, secret: str, found: SecretFound, *, daemon_has_it: bool) -> Check:
    """One that cannot be used; what is for the daemon's account alone, a running daemon has read at its start."""
    if found.account and daemon_has_it:
        return Check(what, True, f"{found.account} may not read the {secret}; {OF_THE_DAEMON}")
    return Check(what, False, str(found.why))


def _broker(found: BrokerFound) -> Check:
    if not found.why:
        return Check("broker", True, f"{found.host}:{found.port}: somebody listens there")
    why = f"{found.why[:1].lower()}{found.why[1:]}"
    return Check("broker", False, f"{found.host}:{found.port}: {why}, expected an MQTT broker")


def _messages(found: Found, zone: tzinfo) -> list[Check]:
    """Whether what is high or critical gets through: bad from its first failure until one has."""
    if found.record.why:
        return []
    stuck = [(each.contact, each.waiting_since) for each in found.record.undelivered if each.waiting_since is not None]
    said = ", ".join(f"{contact} since {local_time(since, zone, found.at)}" for contact, since in stuck)
    return [Check("messages", not stuck, f"NOT DELIVERED to {said}" if stuck else "none high or critical failed")]


def _record(found: RecordFound) -> list[Check]:
    if found.why:
        return [Check("record", not found.there, found.why if found.there else "none yet")]
    batches = "1 batch" if found.batches == 1 else f"{found.batches} batches"
    return [
        Check("record", True, f"{found.path}: {_size(found.size_bytes)}, {batches}"),
        *(Check(f"batch {b}", False, f"profile {p!r} is not among the profiles") for b, p in found.strangers),
        *(Check(f"batch {b}", False, f"in {m!r}, which is not configured: nobody watches it") for b, m in found.lost),
    ]


def _archives(found: ArchivesFound, now: datetime, zone: tzinfo) -> list[Check]:
    """Whether each closed batch has its archive: bad once one has waited for longer than the timer leaves between two looks."""
    if not found.closed and not found.why:
        return []
    if found.why:
        return [Check("archives", False, f"{found.folder}: {found.why}, expected a folder that can be read")]
    late = {batch: due for batch, due in found.due.items() if due + OVERDUE <= now}
    if not late:
        to_come = f", {len(found.due)} to come" if found.due else ""
        return [
            Check(
                "archives",
                True,
                f"{found.folder}: {found.closed - len(found.due)} of {found.closed} closed batches{to_come}",
            )
        ]
    first = sorted(late.items(), key=lambda each: each[1])
    said = [f"{batch} since {local_time(due, zone, now)}" for batch, due in first[:MOST_NAMED]]
    more = f" and {len(first) - MOST_NAMED} more" if len(first) > MOST_NAMED else ""
    act = f"`{BY_HAND}` makes them and says what is wrong; `systemctl status {TIMER}` whether it is done each day"
    return [Check("archives", False, f"NOT ARCHIVED: {', '.join(said)}{more}. {act}")]
