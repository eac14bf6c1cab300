"""`eggroom replace`: a probe, a node or a machine that another took the place of, since a time that may be past."""

from __future__ import annotations

import time

from monitor.adapters.door import DoorClosed, check_door
from monitor.adapters.tables.edited import (
    EditError,
    put_back,
    with_other_machine,
    with_other_node,
    with_other_probe,
    write_whole,
)
from monitor.app import door_path, read_anew
from monitor.cli.frame import Asked, Failed, Parsers, Wrong, command, show, tell
from monitor.cli.record import Hangs, ask, house_of
from monitor.cli.typed import typed_past
from monitor.domain.fixed import fixed
from monitor.domain.needs.site import AIRS, BROODER, HATCHER, ROOM, SETTER
from monitor.domain.refusal import sought
from monitor.settings import House, SettingsError

AGAIN = 150  # times that it is asked whether the daemon is there again; a start takes a second or two


@fixed(kw_only=True)
class Replace(Asked):
    """replace"""

    was: str
    now: str
    at: str | None
    name: str | None
    kind: str | None
    air: str | None


def add(parsers: Parsers) -> None:
    """Say what `replace` takes."""
    replace = command(parsers["replace"], _replace, Replace)
    replace.add_argument("was", metavar="WAS", help="a probe such as node-a/top, a node or a machine")
    replace.add_argument(
        "now", metavar="NOW", help="what took its place; two probes or nodes of the house change places"
    )
    replace.add_argument("--at", default=None, metavar="TIME", help="since when; default: now")
    replace.add_argument("--name", default=None, metavar="TEXT", help="of a machine: what people call it")
    replace.add_argument("--kind", choices=(SETTER, HATCHER, BROODER, ROOM), default=None, help="of a machine")
    replace.add_argument("--air", choices=AIRS, default=None, help="of a machine: how strongly its air is moved")


def _replace(options: Replace) -> int:
    house, file = house_of(options.config), options.config
    request: dict[str, object] = {"do": "rearrange"}
    if options.at is not None:
        request |= typed_past(options.at, house.site.zone, options.utc)
    text = _edited(options, house)
    if options.was in house.site.machines and options.was != options.now:
        request |= {"was": options.was, "now": options.now}
    try:
        before = write_whole(file, text)
    except OSError as error:
        root = f": sudo eggroom replace {options.was} {options.now}" if isinstance(error, PermissionError) else ""
        raise Failed(f"{file}: {error.strerror}, nothing was changed{root}") from error
    try:
        new, runs = read_anew(file), _runs(house)
        answer = ask(house, request)
    except Hangs:  # it may have been written: then the record and the file say the same, and else the next start brings them together
        raise
    except (SettingsError, Wrong, Failed) as error:
        put_back(file)
        if isinstance(error, SettingsError):
            raise Wrong(f"{error}\nnothing was changed") from error
        raise
    if runs:
        _wait(new)
    moved = answer["moved"]
    both = options.now in house.site.probes or options.now in house.site.by_node
    done = (
        f"{options.was} and {options.now} changed places" if both else f"{options.now} is in the place of {options.was}"
    )
    said = [f"{done}, in {file} too; as it was before: {before}"]
    said += [f"moved with it: {', '.join(moved)}"] if moved else []
    said += [f"{key}: not calibrated here, hold it against a reference: eggroom calibrate" for key in _new(house, new)]
    return show(
        options.json,
        {"was": options.was, "now": options.now, "since": answer["since"], "moved": moved},
        "\n".join(said),
    )


def _new(before: House, now: House) -> list[str]:
    """Probes of which nothing was known."""
    return [key for key in now.site.probes if key not in before.site.probes]


def _edited(options: Replace, house: House) -> str:
    """The text of the file as it is to be. Raises Wrong."""
    was, now, site = options.was, options.now, house.site
    said = {key: value for key in ("name", "kind", "air") if (value := getattr(options, key)) is not None}
    try:
        text = before = options.config.read_text(encoding="utf-8-sig")
        if was in site.machines:
            if now in site.machines and now != was:
                raise Wrong(f"replace {was}: {now} is there already: eggroom batch move BATCH {now}")
            text = with_other_machine(text, was, now, **said)
        elif said:
            raise Wrong(
                f"replace {was}: --{next(iter(said))} is a machine's, expected one of {', '.join(site.machines)}"
            )
        elif was in site.probes:
            if now.count("/") != 1:
                raise Wrong(f"replace {was}: {now!r}, expected a probe such as {was}")
            text = with_other_probe(text, was, now)
        elif was in site.by_node:
            text = with_other_node(text, was, now)
        else:
            near, known = sought(was, [*site.probes, *site.by_node, *site.machines])
            raise Wrong(f"replace {was!r}: not in the configuration{near}, expected {known}")
        if text == before:
            raise Wrong(f"replace {was}: it is {now} already, nothing was changed")
    except EditError as error:
        raise Wrong(f"{options.config}: {error}") from error
    except OSError as error:
        raise Failed(f"{options.config}: {error.strerror}") from error
    return text


def _runs(house: House) -> bool:
    try:
        check_door(door_path(house))
    except DoorClosed:
        return False
    return True


def _wait(house: House) -> None:
    """Until the daemon watches with it."""
    time.sleep(1.0)
    for _ in range(AGAIN):
        if _runs(house):
            return
        time.sleep(0.2)
    tell("the daemon does not answer yet: eggroom health")
