"""What `eggroom doctor` looks at: the daemon's own facts through its door, and what it needs around it."""

from __future__ import annotations

import os
import platform
import shutil
import socket
import sqlite3
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import monitor
from monitor.adapters.clock import SystemClock
from monitor.adapters.delivery import AppriseDelivery
from monitor.adapters.door import DoorClosed, ask_door
from monitor.adapters.secret import NotForThisAccount
from monitor.app import StartError, data_folder, door_path, link_settings, open_history, store_path
from monitor.domain.wall import wall_time
from monitor.service.ports import StoreFailure
from monitor.settings import House, SettingsError, read_contact

MIN_FREE_BYTES = 200_000_000  # months of readings of a full room; under it a card is nearly full of something else

OF_THE_DAEMON = "the running daemon has read it"

BROKER_S = 3.0  # a broker on this machine, or in the house, takes a connection at once


def examine(house: House) -> dict[str, Any]:
    """{"checks": [{"what", "good", "found"}], "daemon": the daemon's facts or None}."""
    checks: list[dict[str, Any]] = []

    def check(what: str, good: bool, found: str) -> None:
        checks.append({"what": what, "good": good, "found": found})

    site = house.site
    check(
        "eggroom", True, f"{monitor.__version__}, Python {platform.python_version()}, SQLite {sqlite3.sqlite_version}"
    )
    check("configuration", True, f"{house.path}: {len(site.machines)} machines, {len(site.probes)} probes")
    clock = SystemClock().now()
    synchronised = "right" if clock.clock_ok else "not set; days of incubation and times shown are wrong"
    check("clock", clock.clock_ok, f"{wall_time(clock.utc, site.zone)}: {synchronised}")
    facts = _daemon(house, check)
    _record(house, check)
    _contacts(house, facts, check)
    try:
        link_settings(house)
    except StartError as error:
        why = error.__cause__
        if facts is not None and isinstance(why, NotForThisAccount):
            check("broker settings", True, f"{why.account} may not read the password; {OF_THE_DAEMON}")
        else:
            check("broker settings", False, str(error))
    return {"checks": checks, "daemon": facts}


def _contacts(house: House, facts: dict[str, Any] | None, check: Any) -> None:
    """Whether the addresses can be used; one that is for the daemon's account alone, a running daemon has read at its start."""
    known = [] if facts is None else facts["contacts"]
    delivery = AppriseDelivery()
    for settings in house.settings.contact:
        what = f"contact {settings.id}"
        try:
            contact = read_contact(settings, house.path)
        except SettingsError as error:
            why = error.__cause__
            if settings.id in known and isinstance(why, NotForThisAccount):
                check(what, True, f"{why.account} may not read the address; {OF_THE_DAEMON}")
            else:
                check(what, False, str(error))
            continue
        problem = delivery.problem(contact.url)
        check(what, problem is None, problem or "the address can be used; try `eggroom contact test`")
    if not house.settings.contact:
        check("contacts", False, "nobody is told, expected at least one [[contact]]")


def _daemon(house: House, check: Any) -> dict[str, Any] | None:
    try:
        facts = ask_door(door_path(house), {"do": "facts"})
    except DoorClosed as error:
        check("daemon", False, f"not running ({error}), expected `eggroom run`")
        _broker(house, check)
        return None
    if "error" in facts:
        check("daemon", False, str(facts["error"]))
        return None
    check(
        "daemon",
        True,
        f"running for {facts['up_s'] / 3600:.1f} h, {facts['messages']} messages, {facts['refused']} refused",
    )
    since = facts["broker_since"]
    since = f" since {wall_time(datetime.fromisoformat(since), house.site.zone)}" if since else ""
    check("broker", facts["broker_connected"], f"{facts['broker']}{since}")
    failing = facts["store_failing_s"]
    check("store", failing is None, "writing" if failing is None else f"failing for {failing:.0f} s")
    silent = facts["silent_probes"]
    check("probes", not silent, f"silent: {', '.join(silent)}" if silent else "all speak")
    unknown = [p for p in facts["unknown_probes"] if p not in house.site.probes]
    if unknown:
        check("unknown probes", True, f"{', '.join(unknown)}; see `eggroom refused`")
    for node, other in facts["elsewhere"].items():
        mistake = node in house.site.by_node
        mend = "; mend SITE in the node's settings, or id in [site] here" if mistake else ""
        check(f"node {node}", not mistake, f"speaks, but as site {other!r}, expected {house.site.id!r}{mend}")
    waiting = facts["notices_waiting"]
    found = ", ".join(f"{n} for {c}" for c, n in waiting.items()) if waiting else "none wait"
    check("notices", not any(n > 20 for n in waiting.values()), found)
    return facts


def _broker(house: House, check: Any) -> None:
    """Where no daemon can tell: whether anybody listens there."""
    host, port = house.settings.broker.host, house.settings.broker.port
    try:
        socket.create_connection((host, port), BROKER_S).close()
        check("broker", True, f"{host}:{port}: somebody listens there")
    except (OSError, UnicodeError) as error:
        why = getattr(error, "strerror", None) or "no connection"
        check("broker", False, f"{host}:{port}: {why[:1].lower()}{why[1:]}, expected an MQTT broker")


def _record(house: House, check: Any) -> None:
    folder = data_folder(house)
    try:
        history = open_history(house)
        batches = history.batches()
        size = store_path(house).stat().st_size
        known = [b for b in batches if b.closed_at is None and b.profile not in house.site.profiles]
        check("record", True, f"{store_path(house)}: {size / 1e6:.1f} MB, {len(batches)} batches")
        for batch in known:
            check(f"batch {batch.id}", False, f"profile {batch.profile!r} is not among the profiles")
        for batch in batches:
            stay = batch.stay_at(datetime.now(UTC))
            if stay is not None and stay.machine not in house.site.machines:
                check(f"batch {batch.id}", False, f"in {stay.machine!r}, which is not configured: nobody watches it")
    except (StoreFailure, OSError) as error:
        there = _may_be_there(store_path(house))
        check("record", not there, str(error) if there else "none yet")
    where = folder if os.path.exists(folder) else house.path.parent
    free = shutil.disk_usage(where).free
    check("disk", free >= MIN_FREE_BYTES, f"{free / 1e9:.1f} GB free at {where}")


def _may_be_there(path: Path) -> bool:
    try:
        return path.exists()
    except OSError:  # a folder that is not for us to look into
        return True
