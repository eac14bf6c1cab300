"""The scorer counts right, on timelines made by hand: one machine whose fault begins at 1000 s."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from tests.truth.faults import MACHINE_FAULT, PLAN, QUIET, SENSOR, SPIKE
from tests.truth.judges import Told
from tests.truth.report import bars, table
from tests.truth.run import Results
from tests.truth.score import FOUND, MISSED, NOTHING, Label, Row, percentile, score

ABOUT = frozenset({"m-1", "node-a", "node-a/top", "site"})
DANGER = Label(MACHINE_FAULT, ABOUT, 1000.0, 4000.0, harm_s=4000.0, left_s=1100.0)


def told(at_s: float, rule: str = "dry-bulb-high-alarm", priority: str = "critical", **more: object) -> Told:
    """A notice about the machine, as alarm 1."""
    return Told(at_s, **{"subject": "m-1", "number": 1, **more}, rule=rule, priority=priority)  # type: ignore[arg-type]


def scored(label: Label, *notices: Told, flagged: tuple[tuple[float, str], ...] = ()) -> Row:
    """The row of that truth and those notices."""
    return score(label, notices, flagged, judge="by hand", fault="heater stuck on", seed=1, danger="egg too hot")


def test_a_danger_told_in_time_is_found() -> None:
    """Told after 600 of 3000 s: found, a fifth of the time used."""
    row = scored(DANGER, told(1600.0))
    assert (row.verdict, row.delay_s, row.left_for_s, row.rule) == (FOUND, 600.0, 3000.0, "dry-bulb-high-alarm")
    assert row.share == pytest.approx(0.2)
    assert (row.false, row.notices) == (0, 1)


def test_a_danger_told_after_harm_is_missed() -> None:
    """One second after the limit is too late, and uses more than all the time."""
    row = scored(replace(DANGER, lived_s=5000.0), told(4001.0))
    assert row.verdict == MISSED
    assert math.isinf(row.share)


def test_a_mild_word_does_not_tell_a_danger() -> None:
    """Only high and critical wake anybody; the early word is kept apart."""
    row = scored(DANGER, told(1200.0, "dry-bulb-high-warning", "low"), told(2500.0, number=2))
    assert (row.verdict, row.delay_s, row.early_s) == (FOUND, 1500.0, 200.0)
    assert scored(DANGER, told(1200.0, "dry-bulb-high-warning", "medium")).verdict == MISSED


def test_nothing_told_is_missed() -> None:
    """Silence finds nothing and is never false."""
    row = scored(DANGER)
    assert (row.verdict, row.false, row.early_s) == (MISSED, 0, None)


def test_a_closing_message_tells_nothing() -> None:
    """Good news is no alarm."""
    assert scored(DANGER, told(1600.0, priority="critical", closing=True)).verdict == MISSED


def test_what_was_told_before_the_fault_is_false_and_finds_nothing() -> None:
    """An alarm before the onset is false once, however often it is repeated, and does not count for the fault."""
    row = scored(DANGER, told(500.0), told(800.0, again=True), told(900.0, number=2, priority="low"))
    assert (row.verdict, row.false, row.false_urgent) == (MISSED, 2, 1)
    assert row.sound_s == 1000.0


def test_a_reminder_of_an_old_alarm_after_the_onset_counts() -> None:
    """Whoever is told again while the machine fails is told."""
    assert scored(DANGER, told(500.0), told(1300.0, again=True)).delay_s == 300.0


def test_an_alarm_about_the_machine_beside_is_false() -> None:
    """The sound machine is not the one that fails, unless the fault touches all."""
    beside = told(1500.0, subject="m-2", number=7)
    label = replace(DANGER, machines=2)
    row = scored(label, beside)
    assert (row.verdict, row.false) == (MISSED, 1)
    assert row.sound_s == 1000.0 * 2 + 3000.0
    assert scored(replace(label, shared=True), beside).false == 0


def test_the_room_and_the_node_speak_of_the_machine() -> None:
    """That every node is silent, or this machine's node, tells its danger."""
    for subject in ("site", "node-a", "node-a/top"):
        assert scored(DANGER, told(1060.0, "all-silent", subject=subject)).delay_s == 60.0


def test_the_time_of_a_gradual_fault_counts_from_where_the_air_left_its_band() -> None:
    """Told 400 s after that, of 2900 to harm; a word before it has used no time."""
    label = replace(DANGER, gradual=True)
    assert (scored(label, told(1500.0)).delay_s, scored(label, told(1500.0)).left_for_s) == (400.0, 2900.0)
    assert scored(label, told(1050.0)).delay_s == 0.0


def test_without_harm_a_machine_is_judged_by_its_air() -> None:
    """Any word within the hour after the air left its band; later is missed; no departure, nothing to find."""
    label = replace(DANGER, harm_s=None, lived_s=9000.0)
    assert scored(label, told(1400.0, "humidity-low-warning", "low")).delay_s == 300.0
    assert scored(label, told(4701.0, "humidity-low-warning", "low")).verdict == MISSED
    quiet = scored(replace(label, left_s=None))
    assert (quiet.verdict, quiet.delay_s) == (NOTHING, None)


def test_a_story_that_ends_too_early_says_nothing() -> None:
    """Where the air left its band shortly before the end nobody had to be told yet."""
    assert scored(replace(DANGER, harm_s=None, left_s=3900.0)).verdict == NOTHING


def test_waking_someone_for_air_that_never_left_its_band_is_false() -> None:
    """A high alarm is; a mild word may be right."""
    label = replace(DANGER, harm_s=None, left_s=None)
    assert scored(label, told(2000.0)).false_urgent == 1
    assert scored(label, told(2000.0, priority="low")).false == 0
    assert scored(replace(label, shared=True), told(2000.0, subject="m-2")).false == 0


def test_a_sensor_fault_needs_its_own_rule_in_time() -> None:
    """The right rule within the time allowed; another rule, or later, is missed."""
    label = Label(SENSOR, ABOUT, 1000.0, 9000.0, wanted=("sensor-failed", "no-data"), allowed_s=600.0)
    assert scored(label, told(1500.0, "no-data", "high", subject="node-a/top")).delay_s == 500.0
    assert scored(label, told(1500.0)).verdict == MISSED
    assert scored(label, told(1601.0, "no-data", "high")).verdict == MISSED
    assert scored(label, told(990.0, "no-data", "high")).verdict == MISSED


def test_a_plan_fault_is_found_by_what_says_it() -> None:
    """Mixed batches are told as that, not as warm air."""
    label = Label(PLAN, ABOUT, 1000.0, 2000.0, wanted=("bands-in-conflict",), allowed_s=60.0)
    assert scored(label, told(1010.0, "bands-in-conflict", "low")).verdict == FOUND
    assert scored(label, told(1010.0)).verdict == MISSED


def test_a_spike_is_found_by_its_flag_and_wakes_nobody() -> None:
    """The flagged reading of that probe, at once; an alarm for it is false."""
    label = Label(SPIKE, ABOUT, 1000.0, 2000.0, interval_s=10.0, spiked="node-a/top")
    row = scored(label, flagged=((1012.0, "node-a/top"),))
    assert (row.verdict, row.delay_s, row.false) == (FOUND, 12.0, 0)
    assert scored(label, flagged=((1012.0, "node-b/low"),)).verdict == MISSED
    assert scored(label, flagged=((990.0, "node-a/top"),)).verdict == MISSED
    assert scored(label, flagged=((1100.0, "node-a/top"),)).verdict == MISSED
    assert scored(label, told(1020.0), flagged=((1012.0, "node-a/top"),)).false_urgent == 1


def test_in_a_quiet_story_everything_is_false() -> None:
    """Each alarm once, the mild ones too; every flag as well."""
    label = Label(QUIET, ABOUT, 0.0, 5000.0, machines=1, probes=2)
    row = scored(
        label,
        told(100.0, priority="low"),
        told(900.0, number=2),
        flagged=((50.0, "node-a/top"), (4000.0, "node-b/low")),
    )
    assert (row.verdict, row.false, row.false_urgent, row.bad_flags) == (NOTHING, 2, 1, 2)
    assert (row.sound_s, row.flag_s) == (5000.0, 10_000.0)


def test_a_reminder_is_right_from_its_day_on() -> None:
    """Of a bird that goes by the egg, whatever else the story is about; before its day, or of one that goes by the calendar, it is false."""
    for kind in (QUIET, MACHINE_FAULT):
        due = Label(kind, ABOUT, 1000.0, 5000.0, due_s=900.0)
        reminders = [
            told(at_s, "draw-down-due", subject="first", priority="low", number=n)
            for n, at_s in ((1, 800.0), (2, 950.0))
        ]
        assert scored(due, *reminders).false == 1
        assert scored(replace(due, due_s=math.inf), *reminders).false == 2
        again = told(990.0, "draw-down-due", subject="first", priority="low", number=3)
        assert scored(due, *reminders, again).false == 2


def test_flags_after_the_onset_are_not_false() -> None:
    """Once something is wrong a flag may be right."""
    assert scored(DANGER, flagged=((500.0, "node-a/top"), (1500.0, "node-a/top"))).bad_flags == 1


def test_of_two_probes_on_a_node_the_failed_one_tells_no_danger_of_the_air() -> None:
    """That a sensor failed is right from then on, and not what the eggs need to be told: only a word of the air finds the danger."""
    label = replace(DANGER, about=ABOUT - {"node-a/top"} | {"node-a/low"}, failed="node-a/low", failed_s=900.0)
    failed = told(950.0, "sensor-failed", "high", subject="node-a/low", number=2)
    again = told(1500.0, "sensor-failed", "high", subject="node-a/low", number=2, again=True)
    assert (scored(label, failed, again).verdict, scored(label, failed, again).false) == (MISSED, 0)
    apart = told(1500.0, "probes-disagree", "high", number=3)
    assert scored(label, failed, apart).verdict == MISSED
    assert scored(label, failed, told(1600.0)).delay_s == 600.0
    assert scored(label, replace(failed, at_s=899.0), told(1600.0)).false == 1


def test_a_word_against_the_sound_probe_of_two_is_false() -> None:
    """Whoever is told so in the night doubts the one that still watches."""
    label = Label(
        SENSOR, frozenset({"m-1", "site", "node-a", "node-a/low"}), 1000.0, 4000.0, wanted=("sensor-failed",),
        allowed_s=600.0, probes=2, failed="node-a/low", failed_s=1000.0,
    )  # fmt: skip
    right = told(1100.0, "sensor-failed", "high", subject="node-a/low")
    wrong = told(1100.0, "sensor-failed", "high", subject="node-a/top", number=2)
    assert (scored(label, right).verdict, scored(label, right).false) == (FOUND, 0)
    assert (scored(label, wrong).verdict, scored(label, wrong).false_urgent) == (MISSED, 1)


def test_flags_of_a_probe_that_failed_before_the_heat_are_not_false() -> None:
    """Looked at is only the time before anything was wrong."""
    label = replace(DANGER, probes=2, failed="node-a/low", failed_s=600.0)
    row = scored(label, flagged=((500.0, "node-a/top"), (700.0, "node-a/low")))
    assert (row.bad_flags, row.flag_s) == (1, 1200.0)


def test_percentiles_are_nearest_ranks() -> None:
    """The smallest value that so many do not exceed; of a miss in ten, the 95th percentile is never."""
    assert percentile(range(1, 101), 0.95) == 95
    assert percentile([3.0], 0.5) == 3.0
    assert percentile([*range(9), math.inf], 0.95) == math.inf
    assert math.isnan(percentile([], 0.5))


def rows(*, shares: tuple[float, ...]) -> Results:
    """Dangers told after those shares of 1000 s; above 1, too late."""
    label = replace(DANGER, harm_s=2000.0)
    return Results([scored(label, told(1000.0 + 1000.0 * share)) for share in shares])


def test_a_bar_is_met_only_by_what_it_asks() -> None:
    """All told, at a third of the time or later: the first bar is met and the second is not; one too late: neither."""
    fast, slow, late = (
        {bar.name: bar.met for bar in bars(rows(shares=each))}
        for each in ((0.1,) * 50, (0.1,) * 40 + (0.334,) * 10, (0.1,) * 45 + (1.1,) * 5)
    )
    first, second = list(fast)[:2]
    assert (fast[first], fast[second]) == (True, True)
    assert (slow[first], slow[second]) == (True, False)
    assert (late[first], late[second]) == (False, False)


def test_a_sample_that_is_too_small_meets_and_misses_nothing() -> None:
    """A 95th percentile of three is no percentile: that bar is left out, and the share that was told is not."""
    names = [bar.name for bar in bars(rows(shares=(0.1, 0.9, 0.9)))]
    assert [name for name in names if "percentile" in name] == []
    assert any("dangers told" in name for name in names)


def test_the_table_has_a_line_for_each_fault_that_was_played() -> None:
    """One fault gives its line and the sum."""
    lines = table(rows(shares=(0.1, 0.2)).rows)
    assert [line.split()[0] for line in lines] == ["fault", "heater", "all"]
