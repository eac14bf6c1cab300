"""The configuration file: one TOML file, read strictly. An unknown key is an error, for a limit that is misspelt is a limit that is
not there. Every complaint is one line: file, key, what came, what was expected.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import time
from pathlib import Path
from typing import Annotated, Literal
from zoneinfo import ZoneInfo, available_timezones

from pydantic import BeforeValidator, Field, model_validator

from monitor.adapters.secret import SecretError, read_secret
from monitor.adapters.tables.profiles import load_profiles
from monitor.adapters.tables.refused import Complaint, Expected, Id, Line, Table, TableError, read
from monitor.adapters.tables.rules import Numbers, given, shipped_rules
from monitor.adapters.tables.toml import lines_of, numbered, read_toml
from monitor.domain.air.psychrometrics import pressure_kpa
from monitor.domain.fixed import fixed
from monitor.domain.needs.hearing import SUMMARY_AT, Hearing
from monitor.domain.needs.profile import Profile, ProfileError
from monitor.domain.needs.rules import LOW, SITE_WIDE, Rule, RuleError, changed
from monitor.domain.needs.site import FORCED, ID, OF_MAINS, ROOM, SETTER, Machine, Probe, Site, Switch, grouped
from monitor.domain.refusal import sought
from monitor.service.ports import Contact


class SettingsError(Exception):
    """A configuration that cannot be used: all that is wrong with it."""

    def __init__(self, complaints: Sequence[Complaint]) -> None:
        super().__init__("\n".join(map(str, complaints)))
        self.complaints = tuple(complaints)


_PROBE_NAMES = ("t", "rh", "fault")  # how the records of a probe end
_Priority = Literal["low", "medium", "high", "critical"]


def _clock(given: object) -> time:
    """A time of day, as TOML has it or as text."""
    if isinstance(given, time):
        return given.replace(second=0, microsecond=0)  # as finely as the calendar looks
    hour, _, minute = given.partition(":") if isinstance(given, str) else ("", "", "")
    if not (hour.isdecimal() and minute.isdecimal() and len(minute) == 2 and int(hour) < 24 and int(minute) < 60):
        raise Expected("a time of day such as 07:30")
    return time(int(hour), int(minute))


def _hours(given: object) -> tuple[time, time]:
    since, _, until = given.partition("-") if isinstance(given, str) else ("", "", "")
    try:
        first, last = _clock(since.strip()), _clock(until.strip())
    except Expected:
        first = last = time()
    if first == last:
        raise Expected("two times of day such as 07:00-22:00")
    return first, last


_Clock = Annotated[time, BeforeValidator(_clock)]
_Hours = Annotated[tuple[time, time], BeforeValidator(_hours)]

# TOML has no path and no tuple of its own: a text becomes the one, a list the other. All else is what was written.
_Path = Annotated[Path, Field(strict=False)]


class SiteSettings(Table):
    """[site]"""

    id: Id
    name: Line = ""
    by: Line = ""
    zone: str = "UTC"
    elevation_m: float = Field(0.0, ge=-430, le=5500)
    unit: Literal["C", "F"] = "C"
    data: _Path = Path("/var/lib/eggroom")
    archives: _Path | None = None
    settle_min: float = Field(60.0, ge=0, le=720)
    wick_coefficient_per_k: float | None = Field(None, ge=4e-4, le=2e-3)
    link: str = Field("", max_length=200)
    profiles: _Path | None = None


class BrokerSettings(Table):
    """[broker]"""

    host: str = "127.0.0.1"
    port: int = Field(default=1883, ge=1, le=65535)
    protocol: Literal["3.1.1", "5"] = "3.1.1"
    root: Annotated[str, Field(pattern=f"^{ID}(/{ID})*$")] = "eggroom"
    username: str | None = None
    password_file: _Path | None = None
    ca_file: _Path | None = None
    keepalive_s: int = Field(default=30, ge=5, le=600)


class MachineSettings(Table):
    """[[machine]]"""

    id: Id
    name: Line = Field("", max_length=24)
    kind: Literal["setter", "hatcher", "brooder", "room"] = SETTER  # type: ignore[assignment]  # the constant is one of them, which its type does not say
    air: Literal["forced", "gentle", "still"] = FORCED  # type: ignore[assignment]  # as above
    rules: dict[str, Numbers] = Field(default_factory=dict)


class ProbeSettings(Table):
    """[[probe]]"""

    node: Id
    probe: Id
    machine: Id
    position: Line = Field("", max_length=40)
    interval_s: float = Field(10.0, ge=1, le=900)


class SwitchSettings(Table):
    """[[switch]]"""

    node: Id
    name: Annotated[str, Field(pattern=f"^{ID}(/{ID})*$")]
    of: Literal["mains", "door", "water", "turning"]
    machine: Id | None = None
    true_means: bool = True
    interval_s: float | None = Field(None, ge=1, le=900)


class AddressSettings(Table):
    """[contact.address.PRIORITY]"""

    url: str | None = None
    url_file: _Path | None = None

    @model_validator(mode="after")
    def _one_address(self) -> AddressSettings:
        if (self.url is None) == (self.url_file is None):
            raise Expected("one of url and url_file")
        return self


class ContactSettings(AddressSettings):
    """[[contact]]"""

    id: Id
    name: Line = ""
    from_priority: _Priority = LOW  # type: ignore[assignment]  # the constant is one of them, which its type does not say
    hours: _Hours | None = None
    summary: _Clock | None = None
    address: dict[_Priority, AddressSettings] = Field(default_factory=dict)


class ScaleSettings(Table):
    """[[scale]]"""

    id: Id
    error_g: float = Field(ge=0.0001, le=1000.0)


class PayloadSettings(Table):
    """[[payload]]"""

    topic: str
    node: str
    probe: str
    dry_bulb: str
    rh: str | None = None
    unit: Literal["C", "F"] = "C"


class Settings(Table):
    """The whole file."""

    site: SiteSettings
    broker: BrokerSettings = BrokerSettings()
    machine: tuple[MachineSettings, ...] = Field(min_length=1, strict=False)
    probe: tuple[ProbeSettings, ...] = Field(min_length=1, strict=False)
    switch: tuple[SwitchSettings, ...] = Field((), strict=False)
    contact: tuple[ContactSettings, ...] = Field((), strict=False)
    payload: tuple[PayloadSettings, ...] = Field((), strict=False)
    scale: tuple[ScaleSettings, ...] = Field((), strict=False)
    rules: dict[str, Numbers] = Field(default_factory=dict)


@fixed
class House:
    """A configuration that holds together, as the parts need it."""

    settings: Settings
    site: Site
    path: Path


def load_house(path: Path) -> House:
    """Read a configuration file and everything it points to. Raises SettingsError with every complaint found, and its line."""
    with _numbered(path):
        return _house(read_settings(path), path)


def load_house_and_contacts(path: Path) -> tuple[House, tuple[Contact, ...]]:
    """The same with the secret addresses, for what sends or checks. Raises SettingsError with every complaint about either."""
    with _numbered(path):
        settings = read_settings(path)
        wrong: list[Complaint] = []
        try:
            house = _house(settings, path)
        except SettingsError as error:
            wrong += error.complaints
        try:
            contacts = read_contacts(settings, path)
        except SettingsError as error:
            wrong += error.complaints
        if wrong:
            raise SettingsError(wrong)
        return house, contacts


@contextlib.contextmanager
def _numbered(path: Path) -> Iterator[None]:
    """Complaints about the file have the line that they are about."""
    try:
        yield
    except SettingsError as error:
        try:
            lines = lines_of(path.read_text(encoding="utf-8-sig"))
        except (OSError, UnicodeDecodeError):  # which is the complaint
            lines = {}
        raise SettingsError(
            [numbered(each, lines) if each.file == str(path) else each for each in error.complaints]
        ) from error


def _house(settings: Settings, path: Path) -> House:
    return build_house(settings, _profiles(settings, path), path)


def read_contacts(settings: Settings, path: Path) -> tuple[Contact, ...]:
    """Whom to tell, with their addresses, which may be for the daemon's account alone. Raises SettingsError with every complaint."""
    result: list[Contact] = []
    wrong: list[Complaint] = []
    for contact in settings.contact:
        try:
            result.append(read_contact(contact, path))
        except SettingsError as error:
            wrong += error.complaints
    if wrong:
        raise SettingsError(wrong)
    return tuple(result)


def read_contact(contact: ContactSettings, path: Path) -> Contact:
    """One of them; path: the configuration file's. Raises SettingsError."""
    where = (str(path), f"contact {contact.id}")
    url = _address(contact, path, where)
    urls: dict[str, str] = {
        name: _address(each, path, (*where, f"address.{name}")) for name, each in contact.address.items()
    }
    return Contact(contact.id, contact.name or contact.id, url, urls, _hearing(contact))


def _address(address: AddressSettings, path: Path, where: tuple[str, ...]) -> str:
    if address.url_file is None:
        return (address.url or "").strip()
    try:
        return read_secret(path.parent / address.url_file, "a file with one address").strip()
    except SecretError as error:
        raise SettingsError([Complaint.of_file(*where, f"url_file {address.url_file}", error=error)]) from error


def read_settings(path: Path) -> Settings:
    """The file alone. Raises SettingsError."""
    try:
        data = read_toml(path, str(path), "a configuration file")
    except TableError as error:
        raise SettingsError(error.complaints) from error
    return parse_settings(data, str(path))


def parse_settings(data: Mapping[str, object], where: str) -> Settings:
    """Settings from a table already read. Raises SettingsError."""
    try:
        return read(Settings, data, where)
    except TableError as error:
        raise SettingsError(error.complaints) from None


def build_house(settings: Settings, profiles: Mapping[str, Profile], path: Path) -> House:
    """Put the parts together and see that they fit. Raises SettingsError with every complaint."""
    wrong: list[Complaint] = []
    machines: dict[str, Machine] = {}
    for m in settings.machine:
        if m.id in machines:
            wrong.append(_twice(path, f"machine {m.id}", "each id once"))
        machines[m.id] = Machine(m.id, m.name or m.id, m.kind, m.air, given(m.rules))
    probes: dict[str, Probe] = {}
    for p in settings.probe:
        key = f"{p.node}/{p.probe}"
        if key in probes:
            wrong.append(_twice(path, f"probe {key}", "each probe once"))
        if p.machine not in machines:
            near, known = sought(p.machine, machines)
            wrong.append(Complaint(str(path), f"probe {key}", came=f"machine {p.machine!r}{near}", expected=known))
        probes[key] = Probe(key, p.machine, p.interval_s, p.position)
    switches = _switches(settings, machines, probes, path=path, wrong=wrong)
    _check_contacts(settings, path, wrong)
    scales: dict[str, float] = {}
    for s in settings.scale:
        if s.id in scales:
            wrong.append(_twice(path, f"scale {s.id}", "each id once"))
        scales[s.id] = s.error_g
    rules = with_numbers(shipped_rules(), settings.rules, (str(path), "rules"), wrong=wrong)
    for m in settings.machine:
        check_machines_numbers(rules, m.rules, (str(path), f"machine {m.id}", "rules"), wrong=wrong)
    try:
        zone = ZoneInfo(settings.site.zone)
    except (KeyError, ValueError, OSError):
        expected = "a zone of the tz database such as UTC"
        came = f"{settings.site.zone!r}{_near_zones(settings.site.zone)}"
        wrong.append(Complaint(str(path), "site.zone", came=came, expected=expected))
        zone = ZoneInfo("UTC")
    if wrong:
        raise SettingsError(wrong)
    watched = {p.machine for p in probes.values()}
    for machine in machines.values():
        if machine.id not in watched and machine.kind != ROOM:
            came, expected = "no probe looks at it", "at least one [[probe]]"
            wrong.append(Complaint(str(path), f"machine {machine.id}", came=came, expected=expected))
    if wrong:
        raise SettingsError(wrong)
    site = Site(
        id=settings.site.id,
        zone=zone,
        unit=settings.site.unit,
        pressure_kpa=float(pressure_kpa(settings.site.elevation_m)),
        machines=machines,
        probes=probes,
        switches=switches,
        profiles=profiles,
        rules=rules,
        contacts=tuple(c.id for c in settings.contact),
        hearing={c.id: _hearing(c) for c in settings.contact},
        settle_s=settings.site.settle_min * 60.0,
        link=settings.site.link,
        wick_coefficient_per_k=settings.site.wick_coefficient_per_k,
        by_machine=grouped(probes, "machine"),
        by_node=grouped(probes, "node"),
        own_rules=given(settings.rules),
        scales=scales,
    )
    return House(settings, site, path)


def _switches(
    settings: Settings,
    machines: Mapping[str, Machine],
    probes: Mapping[str, Probe],
    *,
    path: Path,
    wrong: list[Complaint],
) -> dict[str, Switch]:
    """The switches; each of a node that has a probe, so that its silence is heard, and as often as that speaks where nothing is said."""
    found: dict[str, Switch] = {}
    for s in settings.switch:
        key = f"{s.node}/{s.name}"
        where = (str(path), f"switch {key}")
        beside = [p for p in probes.values() if p.node == s.node]
        if key in found:
            wrong.append(_twice(path, f"switch {key}", "each switch once"))
        if s.name.rpartition("/")[2] in _PROBE_NAMES:
            came, expected = f"name {s.name!r}", "none that ends like a probe's"
            wrong.append(Complaint(*where, came=came, expected=expected))
        if not beside:
            near, known = sought(s.node, {p.node: p for p in probes.values()})
            wrong.append(Complaint(*where, came=f"node {s.node!r}{near}", expected=known))
        if s.machine is None and s.of != OF_MAINS:
            wrong.append(Complaint(*where, came="machine missing", expected=f"whose {s.of} it is"))
        if s.machine is not None and s.machine not in machines:
            near, known = sought(s.machine, machines)
            wrong.append(Complaint(*where, came=f"machine {s.machine!r}{near}", expected=known))
        interval_s = s.interval_s or max((p.interval_s for p in beside), default=10.0)
        found[key] = Switch(key, s.of, s.machine or "", s.true_means, interval_s)
    return found


def _near_zones(typed: str) -> str:
    """`, nearest Europe/Berlin` for a town that is mistyped; empty where none is near."""
    town = typed.rpartition("/")[2]
    near = [zone for zone in sorted(available_timezones()) if sought(town, [zone.rpartition("/")[2]])[0]]
    return f", nearest {' or '.join(near[:2])}" if near else ""


def _twice(path: Path, what: str, expected: str) -> Complaint:
    return Complaint(str(path), what, came="named twice", expected=expected)


def _profiles(settings: Settings, path: Path) -> Mapping[str, Profile]:
    own = settings.site.profiles
    try:
        return load_profiles(None if own is None else path.parent / own)
    except ProfileError as error:
        raise SettingsError([Complaint.of_file("", error=error)]) from error


def _check_contacts(settings: Settings, path: Path, wrong: list[Complaint]) -> None:
    """See that the contacts fit together. Their secret addresses are read only by what sends or checks."""
    seen: set[str] = set()
    for c in settings.contact:
        if c.id in seen:
            wrong.append(_twice(path, f"contact {c.id}", "each id once"))
        seen.add(c.id)
        for name, each in {"": c, **{f"address.{name}.": each for name, each in c.address.items()}}.items():
            if each.url is not None and not each.url.strip():
                wrong.append(Complaint(str(path), f"contact {c.id}", f"{name}url", came="empty", expected="an address"))
        if c.summary is not None and not _hearing(c).within(c.summary):
            came, expected = f"{c.summary:%H:%M}", "a time within its hours"
            wrong.append(Complaint(str(path), f"contact {c.id}", "summary", came=came, expected=expected))


def _hearing(contact: ContactSettings) -> Hearing:
    """What a contact hears, and when; a summary of which nothing is said comes when its hours have begun, at 8 at the soonest."""
    heard = Hearing(contact.from_priority, contact.hours)
    if contact.summary is not None:
        return replace(heard, summary=contact.summary)
    return heard if heard.hours is None or heard.within(SUMMARY_AT) else replace(heard, summary=heard.hours[0])


def with_numbers(
    rules: Mapping[str, Rule], own: Mapping[str, Numbers], where: tuple[str, ...], *, wrong: list[Complaint]
) -> dict[str, Rule]:
    """The rules with someone's own numbers; what cannot be used goes to `wrong`."""
    result = dict(rules)
    for id_, numbers in own.items():
        if id_ not in rules:
            near, known = sought(id_, rules)
            wrong.append(Complaint(*where[:-1], f"{where[-1]}.{id_}", came=f"no such rule{near}", expected=known))
            continue
        try:
            result[id_] = changed(rules[id_], numbers.given(), "")
        except RuleError as error:
            wrong.append(Complaint.of_file(*where, error=error))
    return result


def check_machines_numbers(
    rules: Mapping[str, Rule], own: Mapping[str, Numbers], where: tuple[str, ...], *, wrong: list[Complaint]
) -> None:
    """See that a machine's own numbers can be used."""
    with_numbers(rules, own, where, wrong=wrong)
    for id_ in own:
        if id_ in rules and rules[id_].group in SITE_WIDE:
            came, expected = "a rule of the whole site", f"it in [rules.{id_}]"
            wrong.append(Complaint(*where[:-1], f"{where[-1]}.{id_}", came=came, expected=expected))
