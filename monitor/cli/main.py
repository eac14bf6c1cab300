"""The command line: reads arguments, calls one function, prints. Exit codes: 0 done, 1 the thing asked for failed, 2 the request was
wrong; then one clear line on standard error, and no traceback.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import logging
import os
import re
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from datetime import UTC, datetime, tzinfo
from pathlib import Path
from typing import Any, NoReturn

import monitor

DONE, FAILED, WRONG = 0, 1, 2
INTERRUPTED = 130  # what a shell says of a command that Ctrl-C ended
CONFIG_VARIABLE, DEFAULT_CONFIG = "EGGROOM_CONFIG", "/etc/eggroom/eggroom.toml"
_SPAN = re.compile(r"(\d+(?:\.\d+)?)(s|m|min|h)")
_MOMENT = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(?:\.\d+)?(?:Z|\+00:00)")
_SPAN_S = {"s": 1.0, "m": 60.0, "min": 60.0, "h": 3600.0}


class Wrong(Exception):
    """A request that was wrong; one line."""


class Failed(Exception):
    """A thing asked for that failed; one line."""


class Unprinted(Exception):
    """What was to be said cannot be printed; one line."""


class _Parser(argparse.ArgumentParser):
    """Says what is wrong in one line."""

    def error(self, message: str) -> NoReturn:
        sys.stderr.write(f"{self.prog}: {message} (see {self.prog} --help)\n")
        sys.exit(WRONG)


def main(arguments: Sequence[str] | None = None) -> int:
    """The command `eggroom`."""
    try:
        return _perform(arguments)
    except Wrong as error:
        return _complain(str(error), WRONG)
    except Failed as error:
        return _complain(str(error), FAILED)
    except KeyboardInterrupt:
        return INTERRUPTED
    except BrokenPipeError:  # who was to read it has seen enough
        _forget_output()
        return DONE
    except Unprinted as error:
        _forget_output()
        return _complain(str(error), FAILED)


def _perform(arguments: Sequence[str] | None) -> int:
    # What goes wrong is told by the command itself, in its one line; `run` logs in its own way.
    logging.getLogger("eggroom").addHandler(logging.NullHandler())
    try:
        options = _parser().parse_args(arguments)
        return int(options.act(options) or DONE)
    finally:
        with _printing():
            sys.stdout.flush()  # here, where a closed pipe is still met by `main`


@contextlib.contextmanager
def _printing() -> Iterator[None]:
    try:
        yield
    except BrokenPipeError:
        raise
    except OSError as error:  # a full disk, mostly
        raise Unprinted(f"output: {error.strerror}, expected that it can be written") from error


def _forget_output() -> None:
    """What is left to flush goes nowhere."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _complain(text: str, code: int) -> int:
    for line in text.splitlines():
        sys.stderr.write(f"eggroom: {line}\n")
    return code


def _parser() -> argparse.ArgumentParser:
    parser = _Parser(prog="eggroom", description="Watches incubators for a bird breeder.")
    parser.add_argument("--version", action="version", version=f"eggroom {monitor.__version__}")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND", parser_class=_Parser)

    def add(name: str, act: Callable[[Any], int | None], help_: str, *, config: bool = True, data: bool = True) -> argparse.ArgumentParser:  # fmt: skip
        return _command(commands, name, act, help_, config=config, data=data)

    demo = add("demo", _demo, "a simulated room, end to end; nothing else needed", config=False, data=False)
    demo.add_argument("--speed", type=float, default=None, help="how many times as fast as life")
    demo.add_argument("--for", dest="for_s", type=float, default=None, metavar="SECONDS", help="end after so long")
    demo.add_argument("--port", type=int, default=None, help="port of the demo's broker (default: a free one)")
    season = "an invented season written into a new folder, to try the review on (default: eggroom-season/seed-N)"
    demo.add_argument("--season", type=Path, nargs="?", const=True, default=None, metavar="DIR", help=season)
    demo.add_argument("--seed", type=int, default=None, metavar="N", help="another number, another season (default: 1)")
    demo.add_argument("--tell", action="store_true", help="what went wrong in a season that was written")

    add("run", _run, "the daemon", data=False)
    add("check", _check, "say what is wrong with a configuration")

    air = add("air", _air, "what air is: wet bulb, dew point, its pull on the egg's water", config=False)
    air.add_argument("--dry-bulb", required=True, metavar="T", help="such as 37.5C or 99.5F")
    one = air.add_mutually_exclusive_group(required=True)
    one.add_argument("--rh", type=float, metavar="PERCENT")
    one.add_argument("--wet-bulb", metavar="T")
    one.add_argument("--dew-point", metavar="T")
    air.add_argument("--elevation", type=float, default=0.0, metavar="METRES")
    air.add_argument(
        "--wick", type=float, default=None, metavar="COEFFICIENT", help="per K, of an old wick thermometer"
    )

    from monitor.cli.batch import add_batch_commands
    from monitor.cli.egg import add_egg_commands

    add_batch_commands(commands)

    add_egg_commands(commands)

    add("room", _room, "each machine against what its eggs need now")
    alarms = add("alarms", _alarms, "what stands, and what was not acknowledged")
    alarms.add_argument("--all", action="store_true", help="every transition in the record")
    ack = add("ack", _ack, "acknowledge an alarm")
    ack.add_argument("alarm", type=int, metavar="ID")
    ack.add_argument("--by", required=True, metavar="NAME")
    shelve = add("shelve", _shelve, "quiet an alarm for a bounded time")
    shelve.add_argument("alarm", type=int, metavar="ID")
    shelve.add_argument("--for", dest="span", required=True, metavar="TIME", help="such as 20m")
    shelve.add_argument("--by", default="", metavar="NAME")
    unshelve = add("unshelve", _unshelve, "take an alarm off its shelf")
    unshelve.add_argument("alarm", type=int, metavar="ID")
    handling = add(
        "handling", _handling, "say that you work at an open machine: its air alarms wait, dangerous heat does not"
    )
    handling.add_argument("machine")
    handling.add_argument("--for", dest="span", default=None, metavar="TIME", help="such as 20m; at most 1h")
    handling.add_argument("--done", action="store_true", help="the machine is shut again")
    handling.add_argument("--by", default="", metavar="NAME")
    _calibrate_command(add("calibrate", _calibrate, "a probe held against a reference; alone: every calibration"))

    from monitor.cli.history import add_history_command

    add_history_command(commands)
    from monitor.cli.review import add_review_commands

    add_review_commands(commands)
    replay = add("replay", _replay, "a recorded stream through the same path")
    replay.add_argument("file", type=Path)
    replay.add_argument(
        "--rules", type=Path, default=None, metavar="FILE", help="other rules: what they would have made of it"
    )
    refused = add("refused", _refused, "messages that were not understood, and probes nobody configured")
    refused.add_argument("--limit", type=int, default=20)
    events = add("events", _events, "what else happened: openings, nodes, gaps, moves, the clock, the broker")
    events.add_argument("--limit", type=int, default=50)
    contact = commands.add_parser("contact", help="whom to tell")
    verbs = contact.add_subparsers(dest="verb", required=True, metavar="VERB", parser_class=_Parser)
    _command(verbs, "list", _contact_list, "the contacts, addresses masked")
    test = _command(verbs, "test", _contact_test, "send one test message")
    test.add_argument("contact", metavar="ID")
    profiles = add("profiles", _profiles, "the species, and what one of them needs", config=False)
    profiles.add_argument("profile", nargs="?")
    profiles.add_argument("--own", type=Path, default=None, metavar="FILE", help="your own profiles")
    rules = add("rules", _rules, "the rules in force for each machine now, and whose number each is")
    rules.add_argument("machine", nargs="?")
    from monitor.cli.archive import add_archive_command

    add_archive_command(commands)
    backup = add("backup", _backup, "a whole, checked copy of the record")
    backup.add_argument("file", type=Path)
    add("doctor", _doctor, "how the daemon and what it needs are doing")
    return parser


def _command(commands: Any, name: str, act: Callable[[Any], int | None], help_: str, *, config: bool = True, data: bool = True) -> argparse.ArgumentParser:  # fmt: skip
    parser: argparse.ArgumentParser = commands.add_parser(name, help=help_, description=help_.capitalize() + ".")
    parser.set_defaults(act=act)
    if config:
        default = os.environ.get(CONFIG_VARIABLE, DEFAULT_CONFIG)
        parser.add_argument("--config", type=Path, default=Path(default), metavar="FILE", help=f"default: {default}")
    if data:
        parser.add_argument("--json", action="store_true", help="for a program to read")
    return parser


def _calibrate_command(calibrate: argparse.ArgumentParser) -> None:
    # argparse takes -0.3K for an option, for only plain numbers are numbers to it. No option here begins with a digit.
    calibrate._negative_number_matcher = re.compile(r"^-\.?\d")
    calibrate.add_argument("probe", nargs="?", metavar="PROBE", help="such as node-a/top")
    calibrate.add_argument("--list", action="store_true", help="the calibrations of the probe, or of all")
    calibrate.add_argument("--offset", default=None, metavar="K", help="reference minus reading, such as 0.3K or 0.5F")
    calibrate.add_argument(
        "--points", nargs="+", default=None, metavar="READ=TRUE", help="one or two, such as 36.8=37.0 38.9=39.1"
    )
    calibrate.add_argument("--rh-offset", default=None, metavar="PERCENT", help="reference minus reading, in %%RH")
    calibrate.add_argument(
        "--salt", action="append", default=None, metavar="SALT=READ", help="such as sodium-chloride=73.1; once or twice"
    )
    calibrate.add_argument("--at-temperature", default=None, metavar="T", help="of the jar with the salt, such as 25C")
    calibrate.add_argument("--at", default="now", metavar="TIME", help="when it was made (default: now)")
    since = "from when on it holds: start, or a time (default: the first from the start, a later one from --at)"
    calibrate.add_argument("--since", default=None, metavar="TIME", help=since)
    calibrate.add_argument("--due", default=None, metavar="TIME", help="when to make it again: a date, or 12mo")
    calibrate.add_argument("--by", default="", metavar="NAME")
    calibrate.add_argument("--note", default="")


# --- what each command does


def _demo(options: Any) -> int:
    if options.season is not None:
        return _demo_season(options)
    if options.seed is not None or options.tell:
        raise Wrong("demo: --seed or --tell came without --season, expected them with it")
    from monitor.rehearse.demo import DemoError, run_demo

    try:
        return run_demo(speed=options.speed, for_s=options.for_s, port=options.port)
    except DemoError as error:
        raise Failed(str(error)) from error


def _demo_season(options: Any) -> int:
    from monitor.rehearse.season_demo import SeasonError, tell_season, write_season

    if (options.speed, options.for_s, options.port) != (None, None, None):
        raise Wrong("demo --season: --speed, --for or --port came with it, expected none: nothing is played")
    folder = None if options.season is True else options.season  # True: a bare --season
    seed = 1 if options.seed is None else options.seed
    try:
        print(tell_season(folder, seed) if options.tell else write_season(folder, seed))
    except SeasonError as error:
        raise Failed(str(error)) from error
    return DONE


def _run(options: Any) -> int:
    from monitor.app import StartError, link_settings, run
    from monitor.cli.logs import start_logging
    from monitor.service.ports import StoreFailure

    house, _ = _house_and_contacts(options)
    try:
        link_settings(house)
    except StartError as error:
        raise Wrong(str(error)) from error
    start_logging()
    try:
        return run(house)
    except (StartError, StoreFailure) as error:
        raise Failed(str(error)) from error


def _check(options: Any) -> int:
    house, contacts = _house_and_contacts(options)
    from monitor.adapters.delivery import AppriseDelivery

    delivery = AppriseDelivery()
    wrong = []
    for contact in contacts:
        problem = delivery.problem(contact.url)
        if problem:
            wrong.append(f"{options.config}: contact {contact.id}: {problem}")
    from monitor.app import StartError, link_settings

    try:
        link_settings(house)
    except StartError as error:
        wrong.append(str(error))
    if wrong:
        raise Wrong("\n".join(wrong))
    counts = {
        "machines": len(house.site.machines),
        "probes": len(house.site.probes),
        "contacts": len(contacts),
        "profiles": len(house.site.profiles),
    }
    words = ", ".join(f"{n} {name}" for name, n in counts.items())
    note = "" if contacts else "\nnobody is told: no [[contact]] yet"
    _print(options, {"ok": True, **counts}, f"{options.config}: good: {words}{note}")
    return DONE


def _air(options: Any) -> int:
    from monitor.domain.air.units import parse_temperature
    from monitor.shown.air import air_report, air_text

    try:
        report = air_report(
            dry_bulb_c=parse_temperature(options.dry_bulb),
            rh_pct=options.rh,
            wet_bulb_c=None if options.wet_bulb is None else parse_temperature(options.wet_bulb),
            dew_point_c=None if options.dew_point is None else parse_temperature(options.dew_point),
            elevation_m=options.elevation,
            wick_coefficient_per_k=options.wick,
        )
    except ValueError as error:
        raise Wrong(str(error)) from error
    _print(options, report, air_text(report))
    return DONE


def _room(options: Any) -> int:
    from monitor.shown.terminal import room_text

    house = _house(options)
    answer = _ask_daemon(house, {"do": "room"})
    _print(options, answer, room_text(answer, house.site))
    return DONE


def _alarms(options: Any) -> int:
    from monitor.domain.alarms.alarm import state_of
    from monitor.domain.watch.view import alarm_view
    from monitor.shown.terminal import alarm_table, transition_table, transition_view

    house = _house(options)
    history = _history_of(house)
    if options.all:
        rows = list(history.transitions())
        _print(options, [transition_view(r) for r in rows], transition_table(rows, house.site))
        return DONE
    alarms = [a for a in history.alarms() if state_of(a) != "normal"]
    _print(options, [alarm_view(a) for a in alarms], alarm_table(alarms, house.site))
    return DONE


def _ack(options: Any) -> int:
    request = {"do": "acknowledge", "alarm": options.alarm, "by": options.by}
    return _did(options, _house(options), request, f"alarm {{number}}: acknowledged by {options.by}; now {{state}}")


def _shelve(options: Any) -> int:
    request = {"do": "shelve", "alarm": options.alarm, "for_s": _span(options.span), "by": options.by}
    return _did(options, _house(options), request, "alarm {number}: shelved until {shelved_until}")


def _unshelve(options: Any) -> int:
    return _did(options, _house(options), {"do": "unshelve", "alarm": options.alarm}, "alarm {number}: {state}")


def _handling(options: Any) -> int:
    if options.done == (options.span is not None):
        raise Wrong("handling: expected either --for TIME or --done")
    request: dict[str, Any] = {"do": "handling", "machine": options.machine, "by": options.by}
    request |= {"done": True} if options.done else {"for_s": _span(options.span)}
    return _did(options, _house(options), request, "{machine}: handling {did}")


def _calibrate(options: Any) -> int:
    from monitor.cli.calibrate import calibrated_text, corrections_asked, due_asked

    if options.probe is None or options.list:
        return _calibrate_list(options)
    house = _house(options)
    zone, at = house.site.zone, _when(options.at, house.site.zone)
    try:
        request = {"do": "calibrate", "probe": options.probe, **corrections_asked(options, house.site.unit)}
        due = None if options.due is None else due_asked(options.due, datetime.fromisoformat(at))
    except ValueError as error:
        raise Wrong(str(error)) from error
    if options.due is not None:
        request["due"] = _when(options.due, zone) if due is None else due.isoformat()
    if options.since is not None:
        request["since"] = "start" if options.since == "start" else _when(options.since, zone)
    if options.at != "now":  # the daemon's own now lies a moment later than ours, or on another clock
        request["at"] = at
    answer = _ask(house, {**request, "by": options.by, "note": options.note})
    _print(options, answer, calibrated_text(answer, house.site, datetime.now(UTC)))
    return DONE


def _calibrate_list(options: Any) -> int:
    from monitor.cli.calibrate import list_text, list_view

    house = _house(options)
    probe, now = options.probe, datetime.now(UTC)
    measured = (options.offset, options.points, options.salt, options.rh_offset)
    if probe is None and any(given is not None for given in measured):
        raise Wrong(f"calibrate: which probe, expected one of: {', '.join(house.site.probes)}")
    found = [c for c in _history_of(house).calibrations() if probe in (None, c.probe)]
    if probe is not None and not found and probe not in house.site.probes:
        raise Wrong(f"probe {probe!r}: no such probe, expected one of: {', '.join(house.site.probes)}")
    _print(options, list_view(found, now), list_text(found, house.site, probe, now))
    return DONE


def _profile_of(site: Any, batch: Any) -> Any:
    if batch.profile not in site.profiles:
        raise Failed(f"batch {batch.id}: profile {batch.profile!r} is not among the profiles, expected its file")
    return site.profiles[batch.profile]


def _replay(options: Any) -> int:
    from monitor.rehearse.replay import ReplayError, as_json, replay, text_lines

    house = _house(options)
    if options.rules is not None:
        return _preview(options, house)
    try:
        timeline = replay(options.file, house)
    except ReplayError as error:
        raise Wrong(str(error)) from error
    _print(options, as_json(timeline), "\n".join(text_lines(timeline)))
    return DONE


def _preview(options: Any, house: Any) -> int:
    from monitor.rehearse.preview import as_json, preview, text_lines
    from monitor.rehearse.replay import ReplayError
    from monitor.settings import SettingsError

    try:
        seen = preview(options.file, house, options.rules)
    except ReplayError as error:
        raise Wrong(str(error)) from error
    except SettingsError as error:
        raise Wrong("\n".join(error.lines)) from error
    _print(options, as_json(seen), "\n".join(text_lines(seen, house)))
    return DONE


def _refused(options: Any) -> int:
    from monitor.shown.terminal import refused_text, refused_view

    house = _house(options)
    history = _history_of(house)
    total, rows = history.refused(max(1, options.limit))
    unknown = [u for u in history.unknown() if u.probe not in house.site.probes]
    _print(options, refused_view(total, rows, unknown), refused_text(total, rows, unknown, house.site))
    return DONE


def _events(options: Any) -> int:
    from monitor.shown.terminal import event_table, event_view

    house = _house(options)
    events = _history_of(house).events(limit=max(1, options.limit))
    _print(options, [event_view(e) for e in events], event_table(events, house.site))
    return DONE


def _contact_list(options: Any) -> int:
    from monitor.settings import SettingsError, read_contact

    house = _house(options)
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
    _print(options, rows, text or "nobody: no [[contact]] in the configuration")
    return DONE


def _contact_test(options: Any) -> int:
    from monitor.adapters.delivery import AppriseDelivery
    from monitor.domain.alarms.notice import Notice
    from monitor.service.ports import Delivered
    from monitor.settings import SettingsError, read_contact

    house = _house(options)
    settings = next((c for c in house.settings.contact if c.id == options.contact), None)
    if settings is None:
        known = ", ".join(c.id for c in house.settings.contact) or "none yet"
        raise Wrong(f"contact {options.contact!r}: no such contact, expected one of: {known}")
    try:
        contact = read_contact(settings, house.path)
    except SettingsError as error:
        raise Failed(str(error)) from error
    text = f"Test from {house.settings.site.name or house.site.id}. If this woke you, it works."
    notice = Notice(0, "test", contact.id, "high", "eggroom: test", text, datetime.now(UTC), 0)
    outcome = AppriseDelivery().send(notice, contact)
    if not isinstance(outcome, Delivered):
        raise Failed(f"contact {contact.id}: not sent: {outcome.detail}")
    said = f"contact {contact.id}: accepted by the service. Accepted is not heard: look at the phone."
    _print(options, {"contact": contact.id, "accepted": True}, said)
    return DONE


def _profiles(options: Any) -> int:
    from monitor.adapters.profile_files import load_profiles, load_sources
    from monitor.domain.needs.profile import ProfileError
    from monitor.shown.terminal import profile_table, profile_text, profile_view

    try:
        profiles = load_profiles(options.own)
    except ProfileError as error:
        raise Wrong(str(error)) from error
    if options.profile is None:
        _print(options, [profile_view(p) for p in profiles.values()], profile_table(profiles.values()))
        return DONE
    if options.profile not in profiles:
        raise Wrong(f"profile {options.profile!r}: no such species, expected one of: {', '.join(sorted(profiles))}")
    profile = profiles[options.profile]
    _print(options, profile_view(profile), profile_text(profile, load_sources()))
    return DONE


def _rules(options: Any) -> int:
    from monitor.shown.rules import rules_text, rules_view

    house = _house(options)
    machines = house.site.machines
    if options.machine is not None and options.machine not in machines:
        raise Wrong(f"machine {options.machine!r}: no such machine, expected one of: {', '.join(machines)}")
    asked = [machines[options.machine]] if options.machine is not None else list(machines.values())
    view = rules_view(house.site, _history_of(house).batches(), datetime.now(UTC), asked)
    _print(options, view, rules_text(view, house.site))
    return DONE


def _backup(options: Any) -> int:
    from monitor.adapters.store.ledger import backup
    from monitor.app import store_path
    from monitor.service.ports import StoreFailure

    house = _house(options)
    try:
        size = backup(store_path(house), options.file)
    except StoreFailure as error:
        raise Failed(str(error)) from error
    except OSError as error:
        raise Failed(f"{options.file}: {error.strerror}, expected a file that can be written") from error
    _print(options, {"file": str(options.file), "bytes": size}, f"{options.file}: whole and checked, {size} bytes")
    return DONE


def _doctor(options: Any) -> int:
    from monitor.cli.doctor import examine
    from monitor.shown.terminal import doctor_text

    house = _house(options)
    facts = examine(house)
    _print(options, facts, doctor_text(facts))
    return FAILED if any(not f["good"] for f in facts["checks"]) else DONE


# --- what they share


def _house(options: Any) -> Any:
    from monitor.settings import SettingsError, load_house

    try:
        return load_house(options.config)
    except SettingsError as error:
        raise Wrong("\n".join(error.lines)) from error


def _house_and_contacts(options: Any) -> Any:
    from monitor.settings import SettingsError, load_house_and_contacts

    try:
        return load_house_and_contacts(options.config)
    except SettingsError as error:
        raise Wrong("\n".join(error.lines)) from error


def _history_of(house: Any) -> Any:
    from monitor.app import open_history
    from monitor.service.ports import StoreFailure

    try:
        return open_history(house)
    except StoreFailure as error:
        raise Failed(str(error)) from error


def _one_batch(house: Any, name: str) -> Any:
    batches = _history_of(house).batches()
    for batch in batches:
        if batch.id == name:
            return batch
    raise Wrong(f"batch {name!r}: no such batch, expected one of: {', '.join(b.id for b in batches) or 'none yet'}")


def _ask_daemon(house: Any, request: Mapping[str, Any]) -> dict[str, Any]:
    """Ask the running daemon. Raises Wrong for its no, Failed when it cannot or none runs."""
    from monitor.adapters.door import DoorClosed, ask_door
    from monitor.app import door_path

    try:
        answer = ask_door(door_path(house), request)
    except DoorClosed as error:
        raise Failed(f"no daemon runs here ({error}), expected `eggroom run`") from error
    return _done(answer, house.site.zone)


def _ask(house: Any, request: Mapping[str, Any]) -> dict[str, Any]:
    """Ask the running daemon; where none runs, do it on the record itself."""
    from monitor.adapters.door import DoorClosed, ask_door
    from monitor.app import Offline, StartError, door_path
    from monitor.service.ports import StoreFailure

    try:
        answer = ask_door(door_path(house), request)
    except DoorClosed:
        try:
            with Offline(house) as offline:
                answer = offline.ask(request)
        except (StoreFailure, StartError) as error:
            raise Failed(str(error)) from error
    return _done(answer, house.site.zone)


def _done(answer: dict[str, Any], zone: tzinfo) -> dict[str, Any]:
    """The answer. A no is in words, and its times are those on the wall, as they were typed."""
    if "error" in answer:
        raise (Failed if answer.get("failed") else Wrong)(
            _MOMENT.sub(lambda m: _wall(m[0], zone), str(answer["error"]))
        )
    return answer


def _wall(moment: str, zone: tzinfo) -> str:
    try:
        return f"{datetime.fromisoformat(moment).astimezone(zone):%Y-%m-%d %H:%M}"
    except (ValueError, OverflowError):
        return moment


def _did(options: Any, house: Any, request: Mapping[str, Any], words: str) -> int:
    from monitor.domain.needs.batch import day_words

    answer = _ask(house, request)
    said = {k: "no machine" if v is None else v for k, v in answer.items()}
    if "day" in answer:
        said["day"] = day_words(answer["day"])
    _print(options, answer, words.format(**said))
    return DONE


def _print(options: Any, data: Any, text: str) -> None:
    with _printing():
        print(json_text(data) if options.json else text)


def print_or_written(options: Any, files: Iterable[Path | None], data: Any, text: Callable[[], str]) -> None:
    """Print what was asked for; where it was written into files, only which, but for --json."""
    written = [file for file in files if file is not None]
    _print(options, data, "\n".join(f"{file}: written" for file in written) if written else text())


def json_text(data: Any) -> str:
    """What --json prints, without the end of the last line."""
    return json.dumps(data, ensure_ascii=False, indent=2, allow_nan=False)


def _write(path: Path, text: str) -> None:
    """A file whole or not at all; of a link, the file that it leads to."""
    path = path.resolve()
    if path.exists() and not path.is_file():  # a folder; or a device, in whose place a file would be put
        raise Failed(f"{path}: not a file, expected one that can be written")
    part = path.with_name(path.name + ".part")
    try:
        part.write_text(text, encoding="utf-8", newline="")
        part.replace(path)
    except OSError as error:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)
        raise Failed(f"{path}: {error.strerror}, expected a file that can be written") from error


def _when(text: str, zone: tzinfo) -> str:
    """A person's time as RFC 3339: `now`, a date, a date and time on the wall clock, or one with its own offset."""
    if text == "now":
        return datetime.now(UTC).isoformat()
    try:
        at = datetime.fromisoformat(text)
        return (at if at.tzinfo is not None else at.replace(tzinfo=zone)).astimezone(UTC).isoformat()
    except (ValueError, OverflowError):  # no time; or one that in UTC lies before the year 1 or after 9999
        raise Wrong(f"time {text!r}: expected now, 2026-03-01, 2026-03-01T18:00 or 2026-03-01T18:00Z") from None


def _span(text: str) -> float:
    match = _SPAN.fullmatch(text.strip())
    if match is None:
        raise Wrong(f"time {text!r}: expected such as 20m, 90s or 1h")
    return float(match[1]) * _SPAN_S[match[2]]


if __name__ == "__main__":
    sys.exit(main())
