"""`eggroom health`: looks at the daemon through its door, and at what it needs around it."""

from __future__ import annotations

import contextlib
import os
import platform
import shutil
import socket
import sqlite3
from datetime import datetime
from pathlib import Path

import monitor
from monitor.adapters.archive.folder import kept_of
from monitor.adapters.clock import SystemClock
from monitor.adapters.delivery import AppriseDelivery
from monitor.adapters.door import DoorClosed, DoorSilent, ask_door
from monitor.adapters.secret import NotForThisAccount
from monitor.app import StartError, archives_folder, data_folder, door_path, link_settings, open_history, store_path
from monitor.cli.frame import DONE, FAILED, Asked, Parsers, columns, command, show
from monitor.cli.record import house_of
from monitor.domain.readings.reading import Now
from monitor.service.ports import StoreFailure
from monitor.settings import ContactSettings, House, SettingsError, read_contact
from monitor.shown.now.alarms import HANGS, told_to
from monitor.shown.now.health import (
    ArchivesFound,
    BrokerFound,
    DaemonFound,
    Found,
    Program,
    RecordFound,
    SecretFound,
    checks_of,
    health_text,
    health_view,
    names_of,
)

MAX_NOTICES = 500  # the newest, to see whether any got through
BROKER_S = 3.0  # a broker on this machine, or in the house, takes a connection at once


def add(parsers: Parsers) -> None:
    """Say what `health` takes."""
    command(parsers["health"], _health, Asked)


def _health(options: Asked) -> int:
    house = house_of(options.config)
    found = examine(house, SystemClock(utc=options.utc).now())
    checks = checks_of(found, house.site.zone)
    show(options.json, health_view(found, checks), health_text(checks, columns()))
    return FAILED if any(not check.good for check in checks) else DONE


def examine(house: House, now: Now) -> Found:
    """Look at everything."""
    site, folder = house.site, data_folder(house)
    daemon, record = _daemon(house), _record(house, now.utc)
    where = folder if os.path.exists(folder) else house.path.parent
    return Found(
        program=Program(monitor.__version__, platform.python_version(), sqlite3.sqlite_version),
        config=house.path,
        site=site.id,
        nodes=site.by_node,
        machines=len(site.machines),
        probes=site.probes,
        names=names_of(site),
        at=now.utc,
        clock_ok=now.clock_ok,
        daemon=daemon,
        broker=_broker(house) if daemon.closed else None,
        record=record,
        archives=_archives(house) if record.there and not record.why else None,
        disk=where,
        free_bytes=shutil.disk_usage(where).free,
        contacts=[_contact(house, contact) for contact in house.settings.contact],
        link=_link(house),
        switches=site.switches,
    )


def _daemon(house: House) -> DaemonFound:
    try:
        facts = ask_door(door_path(house), {"do": "facts"})
    except DoorSilent:
        return DaemonFound(None, HANGS)
    except DoorClosed as error:
        return DaemonFound(None, str(error), closed=True)
    return DaemonFound(None, str(facts["error"])) if "error" in facts else DaemonFound(facts)


def _broker(house: House) -> BrokerFound:
    host, port = house.settings.broker.host, house.settings.broker.port
    try:
        socket.create_connection((host, port), BROKER_S).close()
    except (OSError, UnicodeError) as error:
        return BrokerFound(host, port, getattr(error, "strerror", None) or "no connection")
    return BrokerFound(host, port, "")


def _record(house: House, now: datetime) -> RecordFound:
    path, site = store_path(house), house.site
    try:
        with contextlib.closing(open_history(house)) as history:
            batches, rows = history.batches(), history.notices(MAX_NOTICES)
        size = path.stat().st_size
    except (StoreFailure, OSError) as error:
        return RecordFound(path, _may_be_there(path), str(error))
    strangers = [(b.id, b.profile) for b in batches if b.closed_at is None and b.profile not in site.profiles]
    stays = [(b.id, stay.machine) for b in batches if (stay := b.stay_at(now)) is not None]
    lost = [(batch, machine) for batch, machine in stays if machine not in site.machines]
    return RecordFound(
        path=path,
        there=True,
        why="",
        size_bytes=size,
        batches=len(batches),
        undelivered=told_to(rows),
        strangers=strangers,
        lost=lost,
    )


def _archives(house: House) -> ArchivesFound:
    """Which closed batches lack an archive of all that is written of them."""
    folder = archives_folder(house)
    try:
        with contextlib.closing(open_history(house)) as history, history.instant():
            batches, written, calibrations = history.batches(), history.written(), history.calibrations()
        closed = [batch for batch in batches if batch.closed_at is not None]
        kept = {
            batch.id: kept_of(folder, batch, written.get(batch.id), calibrations=calibrations, whole=False)
            for batch in closed
        }
    except (StoreFailure, OSError) as error:
        return ArchivesFound(folder, str(getattr(error, "strerror", None) or error))
    return ArchivesFound(folder, "", len(closed), {name: each.due_at for name, each in kept.items() if each.due_at})


def _contact(house: House, settings: ContactSettings) -> SecretFound:
    try:
        contact = read_contact(settings, house.path)
    except SettingsError as error:
        return SecretFound(settings.id, str(error), _account_kept_out(error))
    problems = map(AppriseDelivery().problem, contact.addresses())
    return SecretFound(settings.id, next((str(each) for each in problems if each is not None), None))


def _link(house: House) -> SecretFound:
    try:
        link_settings(house)
    except StartError as error:
        return SecretFound("", str(error), _account_kept_out(error))
    return SecretFound("", None)


def _account_kept_out(error: Exception) -> str:
    return error.__cause__.account if isinstance(error.__cause__, NotForThisAccount) else ""


def _may_be_there(path: Path) -> bool:
    try:
        return path.exists()
    except OSError:  # a folder that is not for us to look into
        return True
