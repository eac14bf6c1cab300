"""The rooms in which mistakes are planted: how many may stay alive, and whose tests are asked."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from tests.mutation.operators import Mistake, mistakes

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = "monitor"
ALARM_PATH = 0.08
ELSEWHERE = 0.15


@dataclass(frozen=True, slots=True)
class Room:
    """allowed: the share that may be alive; stories: tests beside the room's own that come through it."""

    allowed: float
    stories: tuple[str, ...] = ()
    leave: tuple[str, ...] = ()  # files that are no part of it


JUDGED = ("tests/domain/watch", "tests/rehearse/test_streams.py")
RUNNING = (*JUDGED, "tests/service/watch")
ROOMS = {
    "domain/alarms": Room(ALARM_PATH, (*RUNNING, "tests/shown/phone")),
    "domain/needs": Room(
        ALARM_PATH, (*JUDGED, "tests/adapters/tables", "tests/service/watch", "tests/cli/room/test_rules.py")
    ),
    "domain/readings": Room(
        ALARM_PATH, ("tests/domain/state/test_dates.py", *JUDGED, "tests/service/watch/test_calibrate.py")
    ),
    "domain/signs": Room(ALARM_PATH, JUDGED),
    "domain/state": Room(
        ALARM_PATH, ("tests/domain/readings/test_dating.py", *RUNNING, "tests/adapters/store/test_memory.py")
    ),
    "domain/watch": Room(ALARM_PATH, (*RUNNING, "tests/rehearse/test_weights_played.py")),
    "service/watch": Room(
        ALARM_PATH,
        (
            "tests/adapters/test_door.py",
            "tests/adapters/test_requests.py",
            "tests/service/chores",
            "tests/domain/state/test_cooling.py",
        ),
    ),
    "adapters/store": Room(ALARM_PATH, ("tests/service/watch",), leave=("history.py",)),  # which only reads
    "adapters/delivery.py": Room(ALARM_PATH, ("tests/service/watch/test_dispatcher.py",)),
    "domain/air": Room(ELSEWHERE, ("tests/analysis/line", "tests/shown/test_air.py")),
    "domain/eggs": Room(ELSEWHERE, ("tests/service/watch/test_egg_requests.py", "tests/analysis/water")),
    "domain/published": Room(
        ELSEWHERE, ("tests/adapters/tables", "tests/analysis/history/test_dose.py", "tests/analysis/review")
    ),
    "service/reports": Room(
        ELSEWHERE, ("tests/cli/batch/test_review.py", "tests/adapters/archive/test_archive.py", "tests/shown/sheet")
    ),
    "service/across": Room(ELSEWHERE, ("tests/cli/batch/test_review.py",)),
}


def room_of(place: str) -> Room:
    """The room that a folder or file lies in; another place has what is allowed elsewhere, and its own tests."""
    return next((room for name, room in ROOMS.items() if f"{place}/".startswith(f"{name}/")), Room(ELSEWHERE))


def asked_in(place: str) -> tuple[str, ...]:
    """Those beside it, then the stories that come through it."""
    folder, _, name = place.rpartition("/")
    own = f"tests/{place}"
    if name.endswith(".py"):
        own = f"tests/{folder}/test_{name}" if place in ROOMS else f"tests/{folder}"
    return (own, *(story for story in room_of(place).stories if story != own))


def planted_in(place: str) -> list[Mistake]:
    """All that can be planted in a folder, or a file of one."""
    at = ROOT / PACKAGE / place
    leave = room_of(place).leave
    files = [at] if at.suffix else sorted(file for file in at.rglob("*.py") if file.name not in leave)
    found: list[Mistake] = []
    for file in files:
        found += mistakes(file.read_text(encoding="utf-8"), str(file.relative_to(ROOT / PACKAGE)))
    return found
