"""`eggroom run`, `check` and `contact`: the daemon, what is wrong with its configuration, and whom it tells."""

from __future__ import annotations

import contextlib
from datetime import datetime
from pathlib import Path

from monitor.adapters.delivery import AppriseDelivery
from monitor.app import StartError, link_settings, open_history, run, start_logging
from monitor.cli.frame import Asked, Failed, Given, Parsers, Verbs, Wrong, command, show
from monitor.cli.record import house_and_contacts_of, house_of
from monitor.domain.alarms.notice import Notice
from monitor.domain.fixed import fixed
from monitor.domain.needs.profile import ProfileError
from monitor.domain.needs.rules import HIGH, PRIORITIES
from monitor.domain.needs.then import Sites
from monitor.service.ports import Delivered, StoreFailure
from monitor.settings import House, SettingsError, read_contact
from monitor.shown.now.room import fan_lines, gone_lines, slow_lines


@fixed(kw_only=True)
class Run(Given):
    """run"""

    config: Path


@fixed(kw_only=True)
class Test(Asked):
    """contact test"""

    contact: str
    priority: str


def add(parsers: Parsers) -> None:
    """Say what each of them takes."""
    command(parsers["run"], _run, Run)
    command(parsers["check"], _check, Asked)
    verbs = Verbs(parsers["contact"])
    verbs.command("list", _contact_list, Asked, about="the contacts, addresses masked")
    test = verbs.command("test", _contact_test, Test, about="send one test message")
    test.add_argument("contact", metavar="ID")
    test.add_argument("--priority", choices=PRIORITIES, default=HIGH, help="as one of this priority would come")


def _run(options: Run) -> int:
    house, _ = house_and_contacts_of(options.config)
    try:
        link_settings(house)
    except StartError as error:
        raise Wrong(str(error)) from error
    start_logging()
    try:
        return run(house)
    except (StartError, StoreFailure) as error:
        raise Failed(str(error)) from error


def _check(options: Asked) -> int:
    house, contacts = house_and_contacts_of(options.config)
    delivery = AppriseDelivery()
    wrong = []
    for contact in contacts:
        problems = filter(None, map(delivery.problem, contact.addresses()))
        wrong += [f"{options.config}: contact {contact.id}: {problem}" for problem in problems]
    try:
        link_settings(house)
    except StartError as error:
        wrong.append(str(error))
    for id_ in house.site.profiles:  # each is read only here and where it is asked for
        try:
            house.site.profiles[id_]
        except ProfileError as error:
            wrong.append(str(error))
    if wrong:
        raise Wrong("\n".join(wrong))
    counts = {
        "machines": len(house.site.machines),
        "probes": len(house.site.probes),
        "contacts": len(contacts),
        "profiles": len(house.site.profiles),
    }
    if house.site.switches:
        counts["switches"] = len(house.site.switches)
    words = ", ".join(f"{n} {name if n != 1 else name.removesuffix('s')}" for name, n in counts.items())
    notes = [] if contacts else ["nobody is told: no [[contact]] yet"]
    probes = house.site.probes.values()
    late = {p.key: p.hot_within_s for p in probes if p.slow}
    unforetold = [p.key for p in probes if not p.foretells and house.site.machines[p.machine].holds_eggs]
    gone = _configured_no_longer(house, options.utc())
    of_probes = (*slow_lines(house.site), *fan_lines(house.site), *gone_lines(gone, house.site))
    lines = (f"{options.config}: good: {words}", *notes, *of_probes)
    told = {"hot_within_s": late, "not_foretold": unforetold, "configured_no_longer": gone}
    return show(options.json, {"ok": True, **counts, **told}, "\n".join(lines))


def _configured_no_longer(house: House, now: datetime) -> dict[str, str]:
    """By probe: the machine that it looked at since the oldest open batch was set, and that nothing in the configuration names; nothing where
    there is no record, or it cannot be read here."""
    try:
        with contextlib.closing(open_history(house)) as history:
            since = [batch.set_at for batch in history.batches() if batch.closed_at is None]
            sites = Sites(house.site, tuple(history.sites()))
    except (StoreFailure, OSError):
        return {}
    return sites.looked_at(min(since, default=now), now, beside=house.site.probes)


def _contact_list(options: Asked) -> int:
    house = house_of(options.config)
    rows = []
    for settings in house.settings.contact:
        try:
            service: str | None = read_contact(settings, house.path).url.partition(":")[0]
        except SettingsError:  # mostly that the file is for the daemon's account alone: `check` says why
            service = None
        rows.append({"id": settings.id, "name": settings.name or settings.id, "service": service})
    text = "\n".join(
        f"{r['id']:<16} {r['name']:<20} "
        + ("its address cannot be read here" if r["service"] is None else f"{r['service']}://…")
        for r in rows
    )
    return show(options.json, rows, text or "nobody: no [[contact]] in the configuration")


def _contact_test(options: Test) -> int:
    house = house_of(options.config)
    settings = next((c for c in house.settings.contact if c.id == options.contact), None)
    if settings is None:
        known = ", ".join(c.id for c in house.settings.contact) or "none yet"
        raise Wrong(f"contact {options.contact!r}: no such contact, expected one of: {known}")
    try:
        contact = read_contact(settings, house.path)
    except SettingsError as error:
        raise Failed(str(error)) from error
    text = f"Test from {house.settings.site.name or house.site.id}. If this woke you, it works."
    notice = Notice(
        id=0,
        dedupe="test",
        contact=contact.id,
        priority=options.priority,
        title="eggroom: test",
        text=text,
        created=options.utc(),
        alarm_number=0,
    )
    outcome = AppriseDelivery().send(notice, contact)
    if not isinstance(outcome, Delivered):
        raise Failed(f"contact {contact.id}: not sent: {outcome.detail}")
    said = f"contact {contact.id}: accepted by the service. Accepted is not heard: look at the phone."
    return show(options.json, {"contact": contact.id, "accepted": True}, said)
