"""Faults that once were, each in the shortest story that shows it, and two that never were: a story fails as long as its fault stands."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

from tests.lifecycle.known import KEPT, SHELF, STALE, STEPPED, UNHEARD, UNWRITTEN
from tests.lifecycle.room import Room

SETTER, HATCHER = "setter-1", "hatcher-1"


def _shelved_and_stepped(room: Room) -> None:
    """A silent setter, shelved for an hour; the label clock put on by two, and the setter speaks again."""
    number = _silent_setter(room)
    alarm = room.model.alarms[room.numbers[number]]
    room.ask(lambda: room.model.shelve(alarm, 3600), do="shelve", alarm=number, for_s=3600)
    room.step_clock(timedelta(hours=2))
    room.speaks[SETTER] = True


def _silent_setter(room: Room) -> int:
    """The number of the alarm of a silent probe."""
    room.set_eggs(HATCHER)
    room.speaks[SETTER] = False
    room.pass_time(60)
    alarm = room.pick(0)
    assert alarm is not None
    return alarm.number


def a_lifted_shelf_comes_back(room: Room) -> None:
    """Out of service, shelved, unshelved, restarted: the shelf lies over it again."""
    number = _silent_setter(room)
    alarm = room.model.alarms[room.numbers[number]]
    room.ask(lambda: room.model.service(alarm, True), do="out-of-service", alarm=number, out=True)
    room.ask(lambda: room.model.shelve(alarm, 900), do="shelve", alarm=number, for_s=900)
    room.ask(lambda: room.model.unshelve(alarm), do="unshelve", alarm=number)
    room.restart(0)
    room.check()


def an_end_is_not_written(room: Room) -> None:
    """Too cold, out of service, the last eggs moved away: the episode is over, and no row says so."""
    room.set_eggs(HATCHER)
    room.air[HATCHER].wanted_c = 35.2
    room.pass_time(900)
    alarm = room.model.alarms[HATCHER, "dry-bulb-low-alarm"]
    room.ask(lambda: room.model.service(alarm, True), do="out-of-service", alarm=alarm.number, out=True)
    room.close(room.batches["b0"])
    room.restart(0)
    assert room.all_written()


def a_step_and_a_restart_tell_again(room: Room) -> None:
    """The label clock is put on by two hours; after the next restart an alarm told seconds ago is told again."""
    room.set_eggs(HATCHER)
    room.pass_time(20)
    room.step_clock(timedelta(hours=2))
    room.pass_time(19, 1)
    room.speaks[SETTER] = False
    room.pass_time(60)
    room.restart(0)


def a_step_and_a_restart_end_a_shelf(room: Room) -> None:
    """A shelf of an hour, the label clock put on by two: the next restart ends it."""
    _shelved_and_stepped(room)
    room.pass_time(20)
    room.restart(0)
    room.check()


def a_step_back_and_a_restart_lose_a_delay(room: Room) -> None:
    """The label clock is put back by two hours; the restart after it forgets that it has been too cold for ten minutes."""
    room.set_eggs(HATCHER)
    room.pass_time(20)
    room.step_clock(timedelta(hours=-2))
    room.pass_time(19, 1)
    room.air[HATCHER].wanted_c = 35.2
    room.pass_time(600)
    room.restart(0)
    room.pass_time(120)


def a_crash_leaves_an_alarm_untold(room: Room) -> None:
    """The delay of "too cold" was running when the memory was written; it began, the daemon crashed, and no reminder is ever due."""
    room.set_eggs(HATCHER)
    room.pass_time(100)
    room.air[HATCHER].wanted_c = 35.2
    room.pass_time(720)
    room.crash(0)


def a_crash_revives_a_delay(room: Room) -> None:
    """It was cool when the memory was written, and well since; after the crash one cool reading is an alarm at once."""
    room.set_eggs(HATCHER)
    room.air[HATCHER].wanted_c = 36.8
    room.pass_time(310)
    room.air[HATCHER].wanted_c = 37.5
    room.pass_time(60)
    room.crash(0)


def a_crash_goes_back_to_the_stop_before(room: Room) -> None:
    """It was cool when the daemon stopped; the eggs were taken away in the next run, which crashed: the delay runs on."""
    room.set_eggs(HATCHER)
    room.air[HATCHER].wanted_c = 36.8
    room.pass_time(60)
    room.speaks[SETTER] = room.speaks[HATCHER] = False
    room.restart(0)
    room.close(room.batches["b0"])
    room.crash(0)


def a_crash_after_a_step_moves_a_shelf(room: Room) -> None:
    """Shelved, the label clock put on by two hours, the alarm's condition over under its shelf, a crash: the shelf has ended."""
    _shelved_and_stepped(room)
    room.pass_time(40)
    room.crash(0)
    room.check()


def a_node_is_not_judged_again(room: Room) -> None:
    """The label clock is put on by two hours and the daemon restarted at once: the readings of a node that counts are history for good."""
    room.set_eggs(SETTER)
    room.pass_time(60)
    room.step_clock(timedelta(hours=2))
    room.restart(0)
    room.pass_time(3900, 26)


def a_crash_forgets_an_answer(room: Room) -> None:
    """Told again, answered, out of service and back, a crash: it asks as if nobody had answered, and as seldom as what was long told."""
    number = _silent_setter(room)
    alarm = room.model.alarms[room.numbers[number]]
    room.pass_time(960, 20)
    assert alarm.asks
    room.ask(lambda: room.model.acknowledge(alarm), do="acknowledge", alarm=number, by="sam")
    room.ask(lambda: room.model.service(alarm, True), do="out-of-service", alarm=number, out=True)
    room.ask(lambda: room.model.service(alarm, False), do="out-of-service", alarm=number, out=False)
    room.crash(0)
    assert alarm.known


def a_small_step_leaves_a_delay(room: Room) -> None:
    """It has been too cold for eight minutes when somebody puts the label clock on by four: the delay runs on."""
    room.set_eggs(HATCHER)
    room.pass_time(100)
    room.air[HATCHER].wanted_c = 35.2
    room.pass_time(480)
    room.step_clock(timedelta(minutes=4))
    room.pass_time(900)


def a_narrow_band_is_come_back_into(room: Room) -> None:
    """Too cold where the band is narrower than four deadbands of the rule: it is over from a quarter of the band inwards."""
    room.set_eggs(SETTER)
    room.air[SETTER].wanted_c = 35.7
    room.pass_time(1800)
    room.air[SETTER].wanted_c = 36.2
    room.pass_time(1800)
    assert not room.model.alarms[SETTER, "dry-bulb-low-alarm"].stands


STORIES: dict[Callable[[Room], None], str] = {
    a_lifted_shelf_comes_back: UNWRITTEN,
    an_end_is_not_written: UNWRITTEN,
    a_step_and_a_restart_tell_again: STEPPED,
    a_step_and_a_restart_end_a_shelf: STEPPED,
    a_step_back_and_a_restart_lose_a_delay: STEPPED,
    a_crash_leaves_an_alarm_untold: STALE,
    a_crash_revives_a_delay: STALE,
    a_crash_forgets_an_answer: STALE,
    a_node_is_not_judged_again: UNHEARD,
    a_crash_goes_back_to_the_stop_before: KEPT,
    a_crash_after_a_step_moves_a_shelf: SHELF,
    a_small_step_leaves_a_delay: "",
    a_narrow_band_is_come_back_into: "",
}
