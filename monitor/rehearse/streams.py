"""The recorded streams of `demo_streams/`: short invented stories told by the simulated room, one JSON object a line.

    {"recording":"calm-day","about":"...","site":"demo"}                   the first line
    {"at":"...","topic":"eggroom/demo/node-a/air","payload":"[...]"}       a message, when it arrived
    {"at":"...","do":"batch-add","batch":"hen-1", ...}                     what the breeder did, when
    {"at":"...","do":"end"}                                                the last line: the clock runs to here

The recorder is there before the nodes start, so every message arrives live and none as a retained one.

`python -m monitor.rehearse.streams DIR` writes them all. The same code writes the same bytes.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

from monitor.domain.needs.site import OF_DOOR, OF_MAINS, OF_WATER
from monitor.rehearse.cabinet import PROPORTIONAL, CabinetSpec, ProbeSpec
from monitor.rehearse.room import Happening, MachineSpec, Room

BEGIN = datetime(2026, 3, 1, 6, 0, tzinfo=UTC)
SITE = "demo"
MINUTE_S, HOUR_S = 60.0, 3600.0
SETTLE_S = 6 * HOUR_S  # machines have run in when a story begins
SETTER_RH_PCT, HATCHER_RH_PCT = 57.4, 70.5  # set points; the humidifiers hold 1 or 2 % less

_IN_CABINET = ProbeSpec(height=0.5)
_MIDDLE = CabinetSpec(60.0, heater_w=45.0, humidifier_g_h=40.0, rh_pct=SETTER_RH_PCT, eggs=24, age_days=10.0)
_SMALL = CabinetSpec(45.0, heater_w=28.0, humidifier_g_h=25.0, rh_pct=SETTER_RH_PCT, eggs=12, age_days=4.0)
_HATCHER = CabinetSpec(
    90.0,
    heater_w=90.0,
    humidifier_g_h=100.0,
    rh_pct=HATCHER_RH_PCT,
    control=PROPORTIONAL,
    vent_per_h=10.0,  # hatching eggs need more fresh air than young ones
    eggs=24,
    age_days=18.6,
)
SETTER_1 = MachineSpec("setter-1", "setter", _MIDDLE, {"node-a/top": _IN_CABINET})
SETTER_2 = MachineSpec("setter-2", "setter", _SMALL, {"node-b/top": _IN_CABINET})
HATCHER_1 = MachineSpec("hatcher-1", "hatcher", _HATCHER, {"node-c/top": _IN_CABINET})
ROOM = MachineSpec("room", "room", None, {"node-room/shelf": ProbeSpec(lag_s=60.0)})


@dataclass(frozen=True, slots=True)
class Story:
    """One stream. script: what happens in the room; done: what the breeder tells the program; both at s from BEGIN.

    batches: those in the machines from the beginning, by the id of the machine.
    """

    about: str
    hours: float
    machines: tuple[MachineSpec, ...]
    batches: dict[str, str]
    script: tuple[Happening, ...]
    done: tuple[tuple[float, dict[str, object]], ...] = ()
    interval_s: float = 60.0


def record(name: str) -> Iterator[str]:
    """The lines of a stream, without line ends. Raises KeyError for a name that is not in STORIES."""
    story = STORIES[name]()
    yield _line({"recording": name, "about": story.about, "site": SITE})
    # Seeded by the name, so that no two streams share a boot: they may be replayed into one record.
    room = Room(story.machines, site=SITE, seed=name, interval_s=story.interval_s, dry_bulb_c=20.5, script=story.script)
    room.settle(SETTLE_S)
    done = [(0.0, _batch_add(batch, machine)) for batch, machine in _batches(story)]
    done += sorted(story.done, key=lambda item: item[0])
    while room.now_s < story.hours * HOUR_S:
        room.step(MINUTE_S)
        for message in room.packs(room.now_s):
            while done and done[0][0] <= message.at_s:
                yield _timed(*done.pop(0))
            yield _timed(message.at_s, {"topic": message.topic, "payload": message.payload})
    for item in done:
        yield _timed(*item)
    yield _timed(story.hours * HOUR_S, {"do": "end"})


def write_all(folder: Path) -> None:
    """Write every stream as `<name>.jsonl` into an existing folder, beside it the configuration of its room, `<name>.toml`."""
    for name, story in STORIES.items():
        text = "".join(f"{line}\n" for line in record(name))
        (folder / f"{name}.jsonl").write_text(text, encoding="utf-8", newline="\n")
        (folder / f"{name}.toml").write_text(configuration(name, story()), encoding="utf-8", newline="\n")


def configuration(name: str, story: Story) -> str:
    """The room of a stream, as a configuration file."""
    lines = [f"# The room of {name}.jsonl, written together with it. Invented.", "", "[site]", f'id = "{SITE}"']
    for machine in story.machines:
        shown = machine.id.replace("-", " ").capitalize()
        lines += ["", "[[machine]]", f'id = "{machine.id}"', f'name = "{shown}"', f'kind = "{machine.kind}"']
    for machine in story.machines:
        for key in machine.probes:
            node, _, probe = key.partition("/")
            lines += ["", "[[probe]]", f'node = "{node}"', f'probe = "{probe}"', f'machine = "{machine.id}"']
            lines.append(f"interval_s = {story.interval_s:g}")
        for key, of in machine.switches.items():
            node, _, name = key.partition("/")
            lines += ["", "[[switch]]", f'node = "{node}"', f'name = "{name}"', f'of = "{of}"']
            lines += [] if of == OF_MAINS else [f'machine = "{machine.id}"']
    return "\n".join(lines) + "\n"


def _batches(story: Story) -> Iterator[tuple[str, MachineSpec]]:
    for machine in story.machines:
        if machine.id in story.batches:
            yield story.batches[machine.id], machine


def _batch_add(batch: str, machine: MachineSpec) -> dict[str, object]:
    cabinet = machine.cabinet
    if cabinet is None:
        raise ValueError(f"batch {batch}: in {machine.id}, expected a machine with a cabinet")
    return {
        "do": "batch-add",
        "batch": batch,
        "profile": "chicken",
        "set_at": f"{BEGIN - timedelta(days=cabinet.age_days):%Y-%m-%dT%H:%M:%SZ}",
        "machine": machine.id,
        "eggs": cabinet.eggs,
    }


def _timed(at_s: float, what: dict[str, object]) -> str:
    at = BEGIN + timedelta(milliseconds=round(at_s * 1000))
    return _line({"at": f"{at:%Y-%m-%dT%H:%M:%S}.{at.microsecond // 1000:03d}Z", **what})


def _line(what: dict[str, object]) -> str:
    return json.dumps(what, separators=(",", ":"))


def _opened(machine: str, at_s: float, for_s: float) -> tuple[Happening, Happening]:
    return (at_s, "door_open", {"machine": machine}), (at_s + for_s, "door_close", {"machine": machine})


def _calm_day() -> Story:
    warming = (2 * HOUR_S, "room_temperature", {"dry_bulb_c": 22.0, "over_s": 7 * HOUR_S})
    cooling = (12 * HOUR_S, "room_temperature", {"dry_bulb_c": 19.5, "over_s": 10 * HOUR_S})
    return Story(
        about="Two setters go through a day without trouble; each is opened for a minute to candle. Invented.",
        hours=24.0,
        machines=(SETTER_1, SETTER_2),
        batches={"setter-1": "hen-1", "setter-2": "hen-2"},
        script=(
            warming,
            cooling,
            *_opened("setter-1", 3.5 * HOUR_S, 60.0),
            *_opened("setter-2", 3.7 * HOUR_S, 60.0),
        ),
        interval_s=120.0,  # at 60 s a day of two machines would be 700 kB
    )


def _door_left_open() -> Story:
    return Story(
        about="A setter is opened at 06:45, and its door stays open for 40 minutes. Invented.",
        hours=4.0,
        machines=(SETTER_1, ROOM),
        batches={"setter-1": "hen-1"},
        script=_opened("setter-1", 45 * MINUTE_S, 40 * MINUTE_S),
    )


def _heater_stuck_on() -> Story:
    return Story(
        about="A small setter's heater sticks on at 07:00; it is put right and aired at 07:50. Invented.",
        hours=5.0,
        machines=(SETTER_2, ROOM),
        batches={"setter-2": "hen-2"},
        script=(
            (60 * MINUTE_S, "heater_stuck_on", {"machine": "setter-2"}),
            (110 * MINUTE_S, "heater_ok", {"machine": "setter-2"}),
            *_opened("setter-2", 110 * MINUTE_S, 5 * MINUTE_S),
        ),
        done=((108 * MINUTE_S, {"do": "acknowledge", "alarm": 1, "by": "sam"}),),
    )


def _dry_humidifier_at_lockdown() -> Story:
    lockdown_s = 2 * HOUR_S
    moved_s = lockdown_s + 5 * MINUTE_S
    day = 18.0 - lockdown_s / 86_400.0
    return Story(
        about="A batch comes to lockdown in a hatcher that is nearly dry; it is filled 3 h later. Invented.",
        hours=8.0,
        machines=(
            replace(SETTER_1, cabinet=replace(_MIDDLE, age_days=day)),
            replace(HATCHER_1, cabinet=replace(_HATCHER, eggs=0)),
        ),
        batches={"setter-1": "hen-1"},
        script=(
            (0.0, "water_low", {"machine": "hatcher-1", "share": 0.155}),
            *_opened("setter-1", moved_s - 60.0, 60.0),
            *_opened("hatcher-1", moved_s - 15.0, 45.0),
            (moved_s, "move_eggs", {"source": "setter-1", "target": "hatcher-1"}),
            (lockdown_s + 3 * HOUR_S, "water_ok", {"machine": "hatcher-1"}),
        ),
        done=((moved_s, {"do": "move", "batch": "hen-1", "machine": "hatcher-1"}),),
    )


def _dying_node() -> Story:
    # From which minute, for how many. Below three quarters of a minute the broker does not notice.
    silences = ((62, 0.7), (70, 2.5), (81, 1.2), (94, 4.0), (104, 0.5), (111, 6.5), (120, 120.0))
    script: list[Happening] = []
    for at, lasts in silences:
        script.append((at * MINUTE_S, "node_silent", {"node": "node-b"}))
        script.append(((at + lasts) * MINUTE_S, "node_back", {"node": "node-b"}))
    return Story(
        about="A node loses its link, at last for two hours, and comes back with what it kept. Invented.",
        hours=6.0,
        machines=(SETTER_1, SETTER_2),
        batches={"setter-1": "hen-1", "setter-2": "hen-2"},
        script=tuple(script),
    )


def _switches() -> Story:
    setter = replace(
        SETTER_1,
        switches={"node-a/mains": OF_MAINS, "node-a/door": OF_DOOR, "node-a/water": OF_WATER},
    )
    return Story(
        about=(
            "A setter whose node, on a battery, reads mains, door and water: candled at 06:30, water low at 07:00, "
            "door left open at 08:00, no mains from 09:30 for 50 minutes. Invented."
        ),
        hours=5.0,
        machines=(setter,),
        batches={"setter-1": "hen-1"},
        script=(
            *_opened("setter-1", 30 * MINUTE_S, 2 * MINUTE_S),
            (60 * MINUTE_S, "water_low", {"machine": "setter-1", "share": 0.15}),
            (95 * MINUTE_S, "water_ok", {"machine": "setter-1"}),
            *_opened("setter-1", 120 * MINUTE_S, 14 * MINUTE_S),
            (210 * MINUTE_S, "machine_off", {"machine": "setter-1"}),
            (260 * MINUTE_S, "machine_on", {"machine": "setter-1"}),
        ),
        done=((96 * MINUTE_S, {"do": "acknowledge", "alarm": 1, "by": "sam"}),),
    )


def _power_cut() -> Story:
    return Story(
        about="The mains fail for 35 minutes at 07:00: nodes and heaters are off, the broker is not. Invented.",
        hours=4.0,
        machines=(SETTER_1, SETTER_2, HATCHER_1, ROOM),
        batches={"setter-1": "hen-1", "setter-2": "hen-2", "hatcher-1": "hen-3"},
        script=((60 * MINUTE_S, "power_cut", {}), (95 * MINUTE_S, "power_back", {})),
    )


STORIES: dict[str, Callable[[], Story]] = {
    "calm-day": _calm_day,
    "door-left-open": _door_left_open,
    "heater-stuck-on": _heater_stuck_on,
    "dry-humidifier-at-lockdown": _dry_humidifier_at_lockdown,
    "dying-node": _dying_node,
    "power-cut": _power_cut,
    "switches": _switches,
}


if __name__ == "__main__":
    if len(sys.argv) != 2 or not Path(sys.argv[1]).is_dir():
        sys.exit("usage: python -m monitor.rehearse.streams DIR (an existing folder)")
    write_all(Path(sys.argv[1]))
