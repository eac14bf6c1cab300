"""Faults of the daemon that these sequences have found and that stand; `stories` has the shortest one that shows each.

While a name is in KNOWN, the sequences keep out of what leads to it (`Lifecycle`'s preconditions ask `in_the_way`), and
`test_known_faults_stand` fails as soon as it is mended: then the name is taken out, and the sequences go there.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from monitor.domain.alarms.alarm import Alarm
from tests.lifecycle.model import MODELLED

if TYPE_CHECKING:
    from tests.lifecycle.room import Room

# A fact that changes while something else lies over the alarm is no change of state, so no row is written; the next run has the old one.
UNWRITTEN = "a fact that changes under a cover is not in the record"
# Each run's forward clock begins at the label's UTC seconds. After a step the delays, shelves and reminders of the run before are off by it.
STEPPED = "the forward clock does not go on over a restart after the label clock was stepped"
# After a crash the memory is up to five minutes old: delays that ended since run on, and an alarm that began since is never told again.
STALE = "after a crash the memory is older than the alarms"
# A line keeps its old label until its node speaks; a run that begins before that takes every reading of the node for a late one.
UNHEARD = "a node that was not heard between a clock step and a restart is not judged again"
# What a run wrote when it stopped stays in the record until the next one first writes its own; a crash before that goes back to it.
KEPT = "a crash soon after a restart takes up the memory of the stop before"
# The forward end of a shelf is only taken from the memory where its alarm has neither come nor gone since; else the label tells it.
SHELF = "a shelf over an alarm that came or went since the memory is off by a clock step after a crash"

KNOWN: frozenset[str] = frozenset()


def in_the_way(room: Room, crash: bool) -> str:
    """The known fault that stopping now would lead into; '' when none does."""
    faults = {
        UNWRITTEN: not room.all_written(),
        STEPPED: room.stepped,
        STALE: crash and not _memory_is_true(room),
        UNHEARD: not room.dated(committed=crash),
        KEPT: crash and _is_final(room),
        SHELF: crash and room.stepped and any(a.shelf_ends_s is not None for a in room.model.alarms.values()),
    }
    return next((name for name, met in faults.items() if met and name in KNOWN), "")


def _memory_is_true(room: Room) -> bool:
    """Whether the memory in the record has the delays as they are now."""
    memory = room.ledger.load().memory
    live = room.engine._state.alarms
    known = [] if memory is None else [a for a in memory.alarms if a.rule in MODELLED]
    for a in known:
        now = live.get((a.subject, a.rule), Alarm(a.subject, a.rule))
        if a.pending_mono_s != now.pending_mono_s or (now.condition and a.asked_mono_s is None):
            return False
    return True


def _is_final(room: Room) -> bool:
    memory = room.ledger.load().memory
    return memory is not None and memory.final
