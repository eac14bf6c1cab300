"""One quantity of one probe, reading by reading: each number and each edge by itself, worked out by hand."""

from __future__ import annotations

import math
from dataclasses import asdict, fields, replace

import pytest

from monitor.domain.readings.reading import FAIL, NOT_EVALUATED, PASS, SUSPECT
from monitor.domain.readings.track import (
    LIMITS,
    UNTAUGHT,
    Pace,
    Scale,
    Step,
    Stillness,
    Track,
    around,
    beside,
    followed,
    in_a_quiet_room,
    moved_again,
    neither_moved,
    noisy,
    step,
    still,
)
from tests.domain.house import there

DAY_S = 86_400.0
# Written out: taken from the program, they would move with it.
TEMPERATURE = Scale(jump=0.5, back=0.25, noise=0.04, fine=0.02, coarse=0.01, unseen=0.1, rise=5.0, fall=3.0, brief=2.5)
HUMID = Scale(jump=5.0, back=2.0, noise=0.3, fine=0.1, coarse=0.05, unseen=1.0, rise=30.0, fall=10.0, brief=40.0)


def test_the_numbers_that_the_tests_turn_on() -> None:
    """As they were measured on the cabinet model, or judged (see the module): none moves unseen."""
    expected: dict[str, object] = {
        "dry_bulb": TEMPERATURE,
        "humidity": HUMID,
        "jump_levels": 8.0,
        "swing_reach": 2.5,  # a sine's peak is pi / 2 mean distances from its middle, a pulse's that is a fifth of the time 2.5
        "swing_noise": 3.2,  # and from peak to peak pi
        "swing_s": 21_600.0,  # six hours
        "back_share": 0.05,
        "brief_s": 45.0,
        "spikes_an_hour": 3.0,
        "rate_s": 30.0,
        "answer_pct_k": 1.0,
        "follows_pct_k": 3.0,  # at 20 °C and 50 %RH
        "answer_k_pct": 0.008,
        "event_k": 0.3,
        "event_pct": 3.0,
        "event_s": 600.0,  # ten minutes
        "flat_s": (900.0, 3600.0),  # a quarter of an hour, an hour
        "flat_longest_s": (43_200.0, 86_400.0),  # half a day, a day
        "flat_readings": 15,
        "flat_times": (7.0, 14.0),
        "usual_s": DAY_S,
        "long_times": (4.0, 4.0),
        "alone_times": 4.0,
        "alone_doubt_times": 1.5,
        "long_longest_s": (3 * DAY_S, 6 * DAY_S),
        "coarse_k": 0.5,
        "coarse_pct": 1.0,
        "neither_times": 1.5,
        "behind_k": 0.3,
        "behind_times": 2.0,
        "both_fade_s": 2 * DAY_S,
        "once_fade_s": 7 * DAY_S,
        "long_fade_s": 28 * DAY_S,
        "noise_s": 600.0,
        "noise_readings": 30.0,
        "noise_times": (3.0, 6.0),
        "noise_clip": 12.0,
        "level_s": 7 * DAY_S,
        "level_least_s": 3600.0,
        "odd_rh_pct": (5.0, 99.0),
        "odd_rh_s": 1800.0,  # half an hour
        "gap_intervals": 3.0,
        "gap_s": 60.0,
    }
    found = asdict(LIMITS)
    assert {**found, "dry_bulb": LIMITS.dry_bulb, "humidity": LIMITS.humidity} == expected


def pace(mono_s: float, *, window_s: float = 600.0, own_step: float = 0.01, gap_s: float = 60.0) -> Pace:
    """A reading at that second."""
    return (mono_s, window_s, own_step, LIMITS, gap_s)


BEFORE = Track(100.0, 37.5, 0.0, 37.5, 5)


def stepped(track: Track | None, value: float | None, *, at_s: float = 110.0, together: bool | None = False) -> Step:
    """The next reading of a temperature."""
    return step(track, value, TEMPERATURE, together, pace(at_s))


def test_what_cannot_be_used_leaves_the_track() -> None:
    """Nothing is settled by it but a jump that was held: of that nobody will know."""
    assert stepped(None, None) == (None, 0, False, False, 0.0)
    assert stepped(BEFORE, None) == (BEFORE, 0, False, False, 0.0)
    assert stepped(replace(BEFORE, held=39.0), None) == (BEFORE, SUSPECT, False, False, 0.0)


def test_the_first_reading_begins_a_track() -> None:
    """A run of one value that begins with it."""
    assert stepped(None, 37.5) == (Track(110.0, 37.5, 110.0, 37.5), 0, False, False, 0.0)


@pytest.mark.parametrize(("after_s", "neighbours"), [(60.0, True), (60.5, False)])
def test_readings_that_are_too_far_apart_are_no_neighbours(after_s: float, neighbours: bool) -> None:
    """A jump after longer than a gap is none: what was learnt stays, the run begins anew. After a held one twice the gap is allowed."""
    learnt = replace(BEFORE, change=0.2, usual_s=50.0, step=0.01, noise=0.01, level=0.02, learnt_s=30.0, spikes=1.0)
    anew = replace(
        learnt, mono_s=100.0 + after_s, value=39.0, run_s=100.0 + after_s, run_value=39.0, run_readings=1, change=0.0
    )
    found = stepped(learnt, 39.0, at_s=100.0 + after_s)
    assert found == ((replace(learnt, held=39.0), 0, True, True, 1.5) if neighbours else (anew, 0, False, False, 0.0))
    held = replace(learnt, held=39.0)
    at_s = 100.0 + 2.0 * after_s
    track, was, jumped, waits, moved = stepped(held, 39.0, at_s=at_s)
    assert (was, jumped, waits, moved) == ((PASS, False, False, 1.5) if neighbours else (SUSPECT, False, False, 0.0))
    assert track is not None
    assert (track.value, track.held, track.run_s) == (39.0, None, at_s)
    assert track.change == 0.0


@pytest.mark.parametrize(
    ("track", "value", "held"),
    [
        (BEFORE, 38.0, False),  # half a degree is none yet
        (BEFORE, 38.01, True),
        (BEFORE, 37.0, False),
        (BEFORE, 36.99, True),
        (replace(BEFORE, step=0.25), 38.25, False),  # thrice its coarse steps
        (replace(BEFORE, step=0.25), 38.26, True),
        (replace(BEFORE, level=0.125), 38.5, False),  # eight times what it is used to
        (replace(BEFORE, level=0.125), 38.51, True),
        (replace(BEFORE, change=0.25), 38.25, False),  # it goes on as it went, and no more than a jump faster
        (replace(BEFORE, change=0.25), 38.26, True),
        (replace(BEFORE, change=0.24), 38.2, True),  # it hardly went
        (replace(BEFORE, change=-0.25), 36.75, False),
        (replace(BEFORE, change=-0.25), 36.74, True),
        (replace(BEFORE, change=-1.0), 38.2, True),  # it turns
    ],
)
def test_what_counts_as_a_jump(track: Track, value: float, held: bool) -> None:
    """More than half a degree, than coarse steps and noise can be, and than the air was moving already."""
    found, was, jumped, waits, moved = stepped(track, value)
    assert (was, jumped, waits, moved) == (0, held, held, value - 37.5)
    assert found is not None
    assert found.held == (value if held else None)
    assert found.value == (37.5 if held else value)


@pytest.mark.parametrize(
    ("held", "value", "together", "after_s", "was"),
    [
        (39.5, 37.76, False, 20.0, PASS),  # more than the way back is still gone
        (39.5, 37.75, False, 20.0, FAIL),
        (39.5, 37.2, False, 20.0, FAIL),  # beyond where it began
        (47.5, 38.01, False, 20.0, PASS),  # of a large one a twentieth
        (47.5, 38.0, False, 20.0, FAIL),
        (35.5, 37.24, False, 20.0, PASS),
        (35.5, 37.25, False, 20.0, FAIL),
        (35.5, 37.5, True, 20.0, PASS),  # a door's air
        (35.5, 37.5, None, 46.0, NOT_EVALUATED),  # perhaps a door between two readings
        (35.5, 37.5, None, 45.0, FAIL),  # in so short a time no door comes and goes
        (35.01, 37.5, None, 46.0, NOT_EVALUATED),
        (35.0, 37.5, None, 46.0, FAIL),  # deeper than any opening so short
        (39.5, 37.5, None, 46.0, FAIL),  # no door warms
        (35.5, 37.5, False, 46.0, FAIL),
    ],
)
def test_what_became_of_a_jump(held: float, value: float, together: bool | None, after_s: float, was: int) -> None:
    """The next reading confirms it, shows a spike, or leaves it open."""
    track, settled, *_ = stepped(replace(BEFORE, held=held, spikes=0.5), value, at_s=100.0 + after_s, together=together)
    assert settled == was
    assert track is not None
    faded = 1.0 - after_s / 3600.0
    assert track.spikes == pytest.approx((1.5 if was == FAIL else 0.5) * faded)
    assert track.held is None


def test_a_spike_to_the_other_side_is_judged_and_doubted() -> None:
    """After a spike the next jump is not held again: it is followed, and said to have jumped; after a jump that was true it is not."""
    track, was, jumped, held, moved = stepped(replace(BEFORE, held=41.0), 33.5, at_s=120.0)
    assert (was, jumped, held, moved) == (FAIL, True, False, -4.0)
    assert track is not None
    assert track.value == 33.5
    track, was, jumped, held, moved = stepped(replace(BEFORE, held=41.0), 44.9, at_s=120.0)
    assert (was, jumped, held) == (PASS, False, False)


def follow(
    track: Track, value: float, *, after_s: float = 10.0, window_s: float = 600.0, own_step: float = 0.01
) -> Track:
    """The track gone on."""
    found = step(track, value, TEMPERATURE, False, pace(track.mono_s + after_s, window_s=window_s, own_step=own_step))[
        0
    ]
    assert found is not None
    return found


def test_a_run_ends_with_more_than_half_a_step() -> None:
    """Within half a step it is the same value; beyond, its time is what teaches how long this probe stands still: 100 s of a day."""
    same = follow(BEFORE, 37.504)
    assert (same.run_s, same.run_value, same.run_readings, same.usual_s) == (0.0, 37.5, 6, 0.0)
    for value in (37.51, 37.49):
        moved = follow(BEFORE, value)
        assert (moved.run_s, moved.run_value, moved.run_readings) == (110.0, value, 1)
        assert moved.usual_s == pytest.approx(100.0 * 100.0 / 86_500.0)
    coarse = replace(BEFORE, step=0.1)
    assert follow(coarse, 37.54).run_readings == 6
    assert follow(coarse, 37.56).run_readings == 1
    assert follow(replace(BEFORE, usual_s=300.0), 37.6).usual_s == pytest.approx(300.0 - 200.0 * 100.0 / 86_500.0)


def test_no_run_teaches_more_than_its_limit() -> None:
    """A sensor that hung for two hours and came back has taught an hour of it: what fails a probe of fine steps."""
    hung = replace(BEFORE, mono_s=7200.0, step=0.01)
    assert follow(hung, 37.6).usual_s == pytest.approx(3600.0 * 3600.0 / 90_000.0)
    short = replace(BEFORE, mono_s=3600.0, step=0.01)
    assert follow(short, 37.6).usual_s == pytest.approx(3600.0 * 3600.0 / 90_000.0)


def test_the_finest_step_is_kept() -> None:
    """The smallest that was seen, no finer than a chip's; values that differ by the rounding of sums are one."""
    assert follow(BEFORE, 37.53).step == pytest.approx(0.03)
    assert follow(replace(BEFORE, step=0.02), 37.53).step == 0.02
    assert follow(replace(BEFORE, step=0.05), 37.53).step == pytest.approx(0.03)
    assert follow(BEFORE, 37.501).step == 0.002
    assert follow(BEFORE, 37.5 + 1e-9).step is None


@pytest.mark.parametrize(
    ("change", "by", "level", "own_step", "turn"),
    [
        (0.03, -0.02, 0.0, 0.01, 0.02),  # the smaller side of the turn
        (0.02, -0.03, 0.0, 0.01, 0.02),
        (-0.02, 0.03, 0.0, 0.01, 0.02),
        (0.02, 0.03, 0.0, 0.01, 0.0),  # no turn
        (0.0, 0.03, 0.0, 0.01, 0.0),
        (0.49, -0.495, 0.0, 0.01, 0.48),  # no more than twelve levels, which are at least the scale's 0.04
        (0.49, -0.495, 0.05, 0.01, 0.49),
        (0.47, -0.49, 0.0, 0.01, 0.47),
    ],
)
def test_to_and_fro(change: float, by: float, level: float, own_step: float, turn: float) -> None:
    """Ten seconds of ten minutes take a sixtieth of the turn into the noise of now; the level learns no more than thrice itself."""
    track = replace(BEFORE, change=change, level=level, learnt_s=90.0, noise=0.012)
    found = follow(track, 37.5 + by, own_step=own_step)
    assert found.noise == pytest.approx(0.012 + (turn - 0.012) / 60.0)
    most = 3.0 * max(level, 0.04)
    assert (found.learnt_s, found.change) == pytest.approx((100.0, by))
    assert found.level == pytest.approx(level + (min(turn, most) - level) / 10.0)


def test_a_coarse_probe_goes_to_and_fro_by_its_steps() -> None:
    """Half a step is a level, too: of steps of 0.2 K twelve times 0.1 K may count, which no turn under half a degree reaches."""
    coarse = replace(BEFORE, change=0.49, step=0.2, learnt_s=90.0)
    assert follow(coarse, 37.01).noise == pytest.approx(0.49 / 60.0)
    assert follow(coarse, 37.01).level == pytest.approx(0.3 / 10.0)


def test_a_long_wait_between_readings_is_all_of_the_noise() -> None:
    """No share is more than the whole."""
    assert follow(replace(BEFORE, change=0.03, noise=0.5), 37.48, after_s=50.0, window_s=40.0).noise == pytest.approx(
        0.02
    )


@pytest.mark.parametrize(
    ("learnt_s", "noise", "after_s"),
    [
        (3500.0, 0.5, 3510.0),  # not known yet: whatever comes is learnt
        (3600.0, 0.5, 3600.0),  # known, and much more than usual: that is no lesson
        (3600.0, 0.1, 3610.0),
        (7 * DAY_S - 5.0, 0.0, 7 * DAY_S),  # that of a week
        (7 * DAY_S, 0.0, 7 * DAY_S),
    ],
)
def test_what_is_learnt_of_the_level(learnt_s: float, noise: float, after_s: float) -> None:
    """For an hour anything, then only what is no more than thrice what it is used to, and of a week at most."""
    found = follow(replace(BEFORE, learnt_s=learnt_s, noise=noise, level=0.04), 37.5)
    assert found.learnt_s == after_s
    assert found.level == pytest.approx(0.04 if after_s == learnt_s == 3600.0 else 0.04 * (1.0 - 10.0 / after_s))


def test_spikes_fade_within_the_hour() -> None:
    """Ten seconds take a 360th; after more than an hour none is left, and never less."""
    assert follow(replace(BEFORE, spikes=2.0), 37.5).spikes == pytest.approx(2.0 * 359.0 / 360.0)
    found = step(replace(BEFORE, spikes=2.0), 37.5, TEMPERATURE, False, pace(4100.0, gap_s=9000.0))[0]
    assert found is not None
    assert found.spikes == 0.0


def ran(run_s: float, **changes: object) -> Track:
    """A probe of fine steps, known for a day, that has stood still for so long at second 100,000."""
    track = Track(100_000.0, 37.5, 100_000.0 - run_s, 37.5, 50, step=0.01, learnt_s=DAY_S)
    of_long = {f.name for f in fields(Stillness)}
    stillness = replace(UNTAUGHT, **{name: value for name, value in changes.items() if name in of_long})  # type: ignore[arg-type]
    own = {name: value for name, value in changes.items() if name not in of_long}
    return replace(track, stillness=stillness, **own)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("changes", "suspect_s", "fail_s"),
    [
        ({}, 900.0, 3600.0),
        ({"step": 0.02}, 900.0, 3600.0),
        ({"step": 0.0625}, 900.0 * 5.25, 3600.0 * 5.25),  # (0.0625 - 0.02) / 0.01 and one
        ({"step": None}, 900.0 * 9.0, math.inf),  # it may have steps of a tenth, and who never moved never stopped
        ({"step": 0.0625, "learnt_s": DAY_S - 1.0}, 900.0 * 5.25, math.inf),  # nobody knows yet how it is used to stand
        ({"step": 0.02, "learnt_s": 0.0}, 900.0, 3600.0),
        ({"usual_s": 200.0}, 1400.0, 3600.0),
        ({"usual_s": 300.0}, 2100.0, 4200.0),
        ({"usual_s": 7000.0}, 43_200.0, 86_400.0),  # at most half a day, and a day
        ({"usual_s": 100.0, "step": 0.0625}, 4725.0, 18_900.0),
        (
            {"usual_s": 700.0, "step": 0.0625},
            4900.0,
            86_400.0,
        ),  # a room that is used to stand still for longer than its steps allow
        ({"both_s": 1000.0}, 4000.0, 8000.0),
        ({"both_s": 200.0}, 900.0, 3600.0),
        ({"both_s": 200_000.0}, 3 * DAY_S, 6 * DAY_S),
        ({"once_s": 3000.0}, 12_000.0, 24_000.0),  # it was doubted, and had not failed by then
        ({"once_s": 200.0}, 900.0, 3600.0),
        ({"once_s": 3600.0}, 900.0, 3600.0),  # it had failed
        ({"once_s": 3000.0, "both_s": 4000.0}, 16_000.0, 32_000.0),
        ({"once_s": 80_000.0, "usual_s": 7000.0}, 3 * DAY_S, 6 * DAY_S),
        ({"once_s": 5000.0, "step": 0.0625}, 4725.0, 18_900.0),  # without a humidity, and coarse: `long_s` is for that
        ({"long_s": 5000.0}, 900.0, 3600.0),  # without another quantity that moves it says nothing
    ],
)
def test_for_how_long_a_probe_may_stand_still(changes: dict[str, object], suspect_s: float, fail_s: float) -> None:
    """From that second on it is suspect, then failed; a second before it is not."""
    ends = ((fail_s - 1.0, SUSPECT), (fail_s, FAIL)) if fail_s < math.inf else ((30 * DAY_S, SUSPECT),)
    for run_s, flag in ((suspect_s - 1.0, PASS), (suspect_s, SUSPECT), *ends):
        assert still(ran(run_s, **changes), None, scale=TEMPERATURE, pace=pace(100_000.0)) == flag


@pytest.mark.parametrize(("other_run_s", "suspect_s", "fail_s"), [(999.0, 4000.0, 8000.0), (2001.0, 900.0, 3600.0)])
def test_a_probe_whose_other_quantity_moves_is_alive(other_run_s: float, suspect_s: float, fail_s: float) -> None:
    """The air stood still for 1000 s once while the humidity moved: four times that is allowed again, as long as the humidity has
    moved when the temperature had stood for half its time."""
    for run_s, flag in ((suspect_s, SUSPECT), (fail_s, FAIL)):
        other = ran(min(other_run_s, 0.49 * run_s) if other_run_s < 1000.0 else 0.5 * run_s)
        one = ran(run_s, long_s=1000.0)
        assert still(one, other, scale=TEMPERATURE, pace=pace(100_000.0)) == flag
        assert still(replace(one, run_s=one.run_s + 1.0), other, scale=TEMPERATURE, pace=pace(100_000.0)) < flag


def ended(lasted_s: float, other_run_s: float | None, **changes: object) -> tuple[Track, float]:
    """What a stillness of so long has taught, when it is over; other_run_s: for how long the other quantity stood by then."""
    before = ran(lasted_s, **changes)
    other = None if other_run_s is None else ran(other_run_s)
    after = replace(before, mono_s=100_010.0, run_s=100_010.0, value=37.6, run_value=37.6, run_readings=1)
    return moved_again(after, before, other, scale=TEMPERATURE, pace=pace(100_010.0))


def test_a_stillness_within_its_limit_teaches_nothing() -> None:
    """A quarter of an hour is a thermostat's."""
    track, by = ended(900.0, 100.0, long_s=500.0)
    assert (track.stillness.long_s, track.stillness.both_s, track.stillness.once_s, by) == (500.0, 0.0, 0.0, 0.0)


def test_a_stillness_in_which_the_other_quantity_moved_was_the_rooms() -> None:
    """It counts whole, by how much it was over what its own steps allow, 900 s; what was known before has faded a little: in 28 days
    all of it is gone."""
    track, by = ended(1800.0, 100.0, long_s=300.0, both_s=400.0, once_s=300.0)
    assert (track.stillness.long_s, by) == (1800.0, 2.0)
    assert (track.stillness.both_s, track.stillness.once_s) == (400.0, 300.0)
    faded, _ = ended(1800.0, None, long_s=1900.0)
    assert faded.stillness.long_s == pytest.approx(1900.0 * (1.0 - 1800.0 / (28 * DAY_S)))


@pytest.mark.parametrize(
    ("lasted_s", "known_s", "counts_s"),
    [
        (3600.0, 1000.0, 3600.0),
        (DAY_S, 1000.0, 8000.0),
        (DAY_S, 3 * DAY_S, DAY_S),
        (3 * DAY_S, 3 * DAY_S, 3 * DAY_S),
    ],
)
def test_what_was_learnt_while_nothing_moved_fades_in_two_days(
    lasted_s: float, known_s: float, counts_s: float
) -> None:
    """With each stillness that ends, by its length, and by no more than what would be failed: a quiet week's end is no measure of the
    days after it. What was so once fades in a week."""
    before = ran(lasted_s, both_s=known_s, once_s=2000.0)
    after, _, _, _, _ = step(before, 37.6, TEMPERATURE, False, pace(100_010.0))
    assert after is not None
    assert (after.stillness.both_s, after.stillness.once_s) == pytest.approx(
        (known_s * max(0.0, 1.0 - counts_s / (2 * DAY_S)), 2000.0 * (1.0 - counts_s / (7 * DAY_S)))
    )


@pytest.mark.parametrize(
    ("lasted_s", "other", "once_s", "both_s"),
    [
        (1800.0, True, 0.0, 1800.0),  # up to twice what it may be it counts whole
        (1801.0, True, 0.0, 0.0),  # longer, and the first such: it proves nothing
        (5000.0, True, 3000.0, 3000.0),  # the second: as much as the first
        (2500.0, True, 3000.0, 2500.0),
        (3000.0, False, 0.0, 3000.0),
        (5000.0, False, 0.0, 3600.0),  # of a probe that has no other quantity, up to four times
    ],
)
def test_a_stillness_in_which_nothing_moved(lasted_s: float, other: bool, once_s: float, both_s: float) -> None:
    """One that is longer than twice what it may be proves nothing; two do."""
    track, by = ended(lasted_s, lasted_s if other else None, once_s=once_s)
    assert by == 0.0
    assert track.stillness.both_s == both_s
    assert track.stillness.once_s == max(lasted_s, once_s)


def test_what_was_proved_before_is_not_taken_back() -> None:
    """A second one that proves less than is known leaves that as it is."""
    track, _ = ended(9000.0, 9000.0, both_s=1000.0, once_s=500.0)
    assert track.stillness.both_s == 1000.0


def test_a_coarse_quantity_has_failed_when_nothing_of_its_sensor_moves() -> None:
    """A temperature of tenths fails after nine hours in which its humidity stood still too: one that moved, however little, is alive."""
    for other_run_s, flag in ((32_399.0, SUSPECT), (32_400.0, FAIL)):
        assert still(ran(40_000.0, step=0.1), ran(other_run_s), scale=TEMPERATURE, pace=pace(100_000.0)) == flag
    fine = ran(40_000.0, step=0.02)
    assert still(fine, ran(10.0), scale=TEMPERATURE, pace=pace(100_000.0)) == FAIL  # no air stays within so little


@pytest.mark.parametrize(
    ("scale", "step_", "moved", "flag"),
    [
        (LIMITS.dry_bulb, 0.1, 0.9, PASS),  # 0.1 K bring 0.3 %RH, and twice its own level of 0.3 is nothing
        (LIMITS.dry_bulb, 0.1, 0.91, SUSPECT),
        (LIMITS.dry_bulb, 0.5, 2.1, PASS),
        (LIMITS.dry_bulb, 0.5, 2.11, SUSPECT),
        (LIMITS.humidity, 0.5, 0.58, PASS),  # 0.5 %RH go with 0.5 K where it is controlled
        (LIMITS.humidity, 0.5, 0.59, SUSPECT),
    ],
)
def test_what_stands_still_beside_what_moves(scale: Scale, step_: float, moved: float, flag: int) -> None:
    """A thermostat may hold a coarse temperature for ever while the humidity flickers: it is in doubt when that moved by more than goes
    with one step; and when nothing moved beside it."""
    one = ran(43_200.0, step=step_, beside=(50.0, 50.0))
    one = beside(beside(one, 50.0 + moved - 0.0001), 50.0)
    assert still(one, ran(10.0), scale=scale, pace=pace(100_000.0)) == flag
    for seen in (None, (50.0, 50.0)):
        assert still(ran(43_200.0, step=step_, beside=seen), ran(10.0), scale=scale, pace=pace(100_000.0)) == SUSPECT


@pytest.mark.parametrize(
    ("run_s", "step_", "moved", "behind", "flag"),
    [
        (3600.0, 0.5, 0.81, 0.0, SUSPECT),  # one step and what places of one machine may differ by
        (3600.0, 0.5, 0.79, 0.0, PASS),
        (3599.0, 0.5, 2.0, 0.0, PASS),  # as long as a fine one may, and no shorter
        (3600.0, 0.0625, 0.37, 0.0, SUSPECT),
        (3600.0, 0.0625, 0.36, 0.0, PASS),
        (3600.0, None, 0.79, 0.0, PASS),  # one that never moved may have any step
        (3600.0, None, 0.81, 0.0, SUSPECT),
        (3600.0, 0.0625, 1.0, 0.5, PASS),  # twice what others once moved by before it did
        (3600.0, 0.0625, 1.01, 0.5, SUSPECT),
        (50_000.0, 0.5, 0.79, 0.0, PASS),  # and where its humidity shows that it is alive
        (50_000.0, 0.5, 0.81, 0.0, SUSPECT),
    ],
)
def test_what_stands_still_where_the_machines_other_probe_moves(
    run_s: float, step_: float | None, moved: float, behind: float, flag: int
) -> None:
    """The other tells its own air to half a step: of what it moved by, one step of it counts for nothing."""
    one = ran(run_s, step=step_, behind=behind, beside=(50.0, 50.5))
    for others_c in (37.5, 37.5 - moved - 0.25, 37.5):
        one = around(one, others_c, 0.25)
    assert still(one, ran(10.0), scale=TEMPERATURE, pace=pace(100_000.0)) == flag
    learnt = followed(ran(0.0, behind=behind), one, scale=TEMPERATURE, pace=pace(100_000.0)).stillness.behind
    assert learnt == pytest.approx(moved if flag == SUSPECT else behind)


def test_a_chip_that_is_coarse_in_one_quantity_is_so_in_the_other() -> None:
    """A temperature that never moved, beside a humidity of whole percents, may have steps of half a degree: either is waited for half a day."""
    by_time = pace(100_000.0)

    def flag(dry: Track, humid: Track, *, of_humidity: bool = False) -> int:
        one, two = (humid, dry) if of_humidity else (dry, humid)
        return still(one, two, scale=LIMITS.humidity if of_humidity else LIMITS.dry_bulb, pace=by_time)

    for of_humidity in (False, True):
        for run_s, came in ((43_199.0, PASS), (43_200.0, SUSPECT)):
            for dry_step, humid_step in ((None, 1.0), (0.5, 0.4), (0.5, None), (0.5, 1.0)):
                pair = ran(run_s, step=dry_step), ran(run_s, step=humid_step)
                assert flag(*pair, of_humidity=of_humidity) == came
        for dry_step, humid_step in ((None, 0.9), (0.4, 1.0)):
            assert flag(ran(43_199.0, step=dry_step), ran(43_199.0, step=humid_step), of_humidity=of_humidity) > PASS
        for value, humid, came in (
            (37.5, 50.0, PASS),
            (37.4, 50.0, SUSPECT),
            (37.5, 50.5, SUSPECT),
        ):  # by their last digits
            one, two = (replace(ran(43_199.0, step=None), value=v, run_value=v) for v in (value, humid))
            assert flag(one, two, of_humidity=of_humidity) == came


@pytest.mark.parametrize(("long_h", "hours"), [(0.0, 5.25), (1.0, 5.25), (8.0, 32.0)])
def test_a_coarse_probe_without_another_quantity_has_failed_after_more_than_it_came_out_of(
    long_h: float, hours: float
) -> None:
    """Four times the longest stillness that ended by itself."""
    track = ran(hours * 3600.0, step=0.0625, long_s=long_h * 3600.0, learnt_s=7 * DAY_S)
    assert still(track, None, scale=TEMPERATURE, pace=pace(100_000.0)) == FAIL
    assert still(replace(track, run_s=track.run_s + 1.0), None, scale=TEMPERATURE, pace=pace(100_000.0)) == SUSPECT


@pytest.mark.parametrize(
    ("learnt_s", "long_h", "usual_s", "suspect_h", "fail_h"),
    [
        (DAY_S, 0.0, 0.0, 1.3125, 5.25),  # as its steps allow
        (
            DAY_S,
            1.0,
            0.0,
            4.0,
            math.inf,
        ),  # doubted once by mistake in its first week: four times as much, and not failed in it
        (7 * DAY_S, 1.0, 0.0, 1.5, 5.25),  # later half as much again
        (
            DAY_S,
            0.0,
            1000.0,
            1.9444,
            24.0,
        ),  # seven times what it is used to; of its first week nobody knows how a week goes
        (7 * DAY_S, 0.0, 1000.0, 1.9444, 5.25),
        (7 * DAY_S, 3.0, 1000.0, 4.5, 12.0),
        (7 * DAY_S, 72.0, 0.0, 72.0, math.inf),  # at most three days
    ],
)
def test_a_coarse_probe_alone_after_it_was_doubted_by_mistake(
    learnt_s: float, long_h: float, usual_s: float, suspect_h: float, fail_h: float
) -> None:
    """Its longest stillness that ended by itself says when it may be doubted again, so that a quiet room is told once a week."""
    known = ran(0.0, step=0.0625, learnt_s=learnt_s, long_s=long_h * 3600.0, usual_s=usual_s)
    for hours, flag in ((suspect_h, SUSPECT), (fail_h, FAIL)):
        for aside_s, came in ((2.0, flag), (-2.0, flag - 1 if flag == FAIL else PASS)):
            track = replace(known, run_s=100_000.0 - min(hours, 1000.0) * 3600.0 - aside_s)
            came = SUSPECT if hours == math.inf else came
            assert still(track, None, scale=TEMPERATURE, pace=pace(100_000.0)) == came


@pytest.mark.parametrize(
    ("learnt_s", "neither_h", "suspect_h"),
    [
        (7 * DAY_S - 1.0, 1.0, 12.0),  # its first week
        (7 * DAY_S, 0.0, 4.75),  # as long as whole percents by themselves
        (7 * DAY_S, 4.0, 6.0),
        (7 * DAY_S, 9.0, 12.0),  # at most half a day
    ],
)
def test_for_how_long_a_coarse_pair_stands_still_is_learnt(learnt_s: float, neither_h: float, suspect_h: float) -> None:
    """Half as much again as the longest of a week in which neither moved."""
    for aside_s, came in ((1.0, SUSPECT), (-1.0, PASS)):
        run_s = suspect_h * 3600.0 + aside_s
        dry = ran(run_s, step=0.5, learnt_s=learnt_s, neither_s=neither_h * 3600.0)
        assert still(dry, ran(run_s, step=1.0), scale=TEMPERATURE, pace=pace(100_000.0)) == came
        assert still(ran(run_s, step=1.0), dry, scale=LIMITS.humidity, pace=pace(100_000.0)) == came


@pytest.mark.parametrize(
    ("run_s", "humid_run_s", "known_s", "ago_s", "kept_s"),
    [
        (3000.0, 2000.0, 0.0, 0.0, 2000.0),  # the shorter of the two: then neither moved
        (2000.0, 3000.0, 0.0, 0.0, 2000.0),
        (2000.0, 2000.0, 2500.0, DAY_S, 2500.0),
        (2000.0, 2000.0, 2500.0, 7 * DAY_S, 2000.0),  # of a week
        (900.0, 900.0, 0.0, 0.0, 0.0),  # what a thermostat does teaches nothing
    ],
)
def test_what_is_kept_of_a_time_in_which_neither_moved(
    run_s: float, humid_run_s: float, known_s: float, ago_s: float, kept_s: float
) -> None:
    """The longest of a week, and when it was over."""
    before = ran(run_s, neither_s=known_s, neither_at_s=100_000.0 - ago_s)
    after = replace(before, mono_s=100_010.0, run_s=100_010.0)
    found = neither_moved(after, before, ran(humid_run_s), limits=LIMITS)
    assert found.stillness.neither_s == kept_s
    assert found.stillness.neither_at_s == (before.stillness.neither_at_s if kept_s == known_s else 100_000.0)


def test_where_air_stood_for_half_a_day_no_coarse_probe_fails_by_that() -> None:
    """However long it stands: it is in doubt."""
    for long_s, came in ((43_199.0, FAIL), (43_200.0, SUSPECT)):
        assert (
            still(
                ran(30 * DAY_S, step=0.0625, long_s=long_s, learnt_s=7 * DAY_S),
                None,
                scale=TEMPERATURE,
                pace=pace(100_000.0),
            )
            == came
        )


def test_a_coarse_quantity_that_never_moved_has_not_stopped() -> None:
    """A thermostat's air may stay within one of its steps for ever: it is in doubt, and failed only after it once moved."""
    for step_, came in ((None, SUSPECT), (0.5, FAIL)):
        assert (
            still(ran(3 * DAY_S, step=step_), ran(3 * DAY_S, step=1.0), scale=TEMPERATURE, pace=pace(100_000.0)) == came
        )


def test_a_stillness_of_a_month_leaves_nothing_of_the_ones_before() -> None:
    """What has faded is nothing, and never less."""
    before = replace(ran(0.0, both_s=900.0, once_s=900.0, long_s=900.0), run_s=100_000.0 - 40 * DAY_S)
    after = replace(before, mono_s=100_010.0, run_s=100_010.0, run_readings=1)
    track, _ = moved_again(after, before, before, scale=TEMPERATURE, pace=pace(100_010.0))
    assert track.stillness.long_s == 0.0
    alone, _ = moved_again(after, before, None, scale=TEMPERATURE, pace=pace(100_010.0))
    assert alone.stillness.long_s == 100_000.0 - before.run_s


def test_in_a_quiet_room_both_quantities_may_stand() -> None:
    """So many times what its own steps allow; what is known to be longer stays."""
    assert in_a_quiet_room(ran(0.0), 3.0, scale=TEMPERATURE, pace=pace(100_000.0)).stillness.long_s == 2700.0
    assert (
        in_a_quiet_room(ran(0.0, long_s=3000.0), 3.0, scale=TEMPERATURE, pace=pace(100_000.0)).stillness.long_s
        == 3000.0
    )


@pytest.mark.parametrize(
    ("learnt_s", "level", "own_step", "noise", "flag"),
    [
        (3599.0, 0.1, 0.01, 9.0, PASS),
        (3600.0, 0.125, 0.01, 0.375, PASS),  # thrice its level
        (3600.0, 0.125, 0.01, 0.376, SUSPECT),
        (3600.0, 0.125, 0.01, 0.75, SUSPECT),  # six times
        (3600.0, 0.125, 0.01, 0.751, FAIL),
        (3600.0, 0.0, 0.01, 0.12, PASS),  # a level is at least the scale's
        (3600.0, 0.0, 0.01, 0.121, SUSPECT),
        (3600.0, 0.0, 0.5, 0.75, PASS),  # and half a step
        (3600.0, 0.0, 0.5, 0.751, SUSPECT),
    ],
)
def test_noisier_than_it_is_used_to(learnt_s: float, level: float, own_step: float, noise: float, flag: int) -> None:
    """Known after an hour; suspect over thrice its level, failed over six times."""
    track = replace(BEFORE, learnt_s=learnt_s, level=level, step=own_step, noise=noise)
    assert noisy(track, TEMPERATURE, pace(110.0)) == flag
    assert noisy(replace(track, step=None), TEMPERATURE, pace(110.0, own_step=own_step)) == flag


def test_of_a_probe_that_was_just_heard_nothing_is_learnt() -> None:
    """Its value is where it stands, since now; no step, no noise, no stillness is known of it."""
    first, *_ = stepped(None, 37.5, at_s=110.0)
    assert asdict(there(first)) == {
        "mono_s": 110.0, "value": 37.5, "run_s": 110.0, "run_value": 37.5, "run_readings": 1, "change": 0.0, "held": None,
        "usual_s": 0.0, "step": None, "noise": 0.0, "level": 0.0, "learnt_s": 0.0, "spikes": 0.0, "middle": None, "swing": 0.0,
        "stillness": {
            "long_s": 0.0, "both_s": 0.0, "once_s": 0.0, "beside": None, "around": None, "behind": 0.0, "neither_s": 0.0,
            "neither_at_s": 0.0,
        },
    }  # fmt: skip


@pytest.mark.parametrize(
    ("value", "held"), [(38.5, False), (38.51, True), (36.5, False), (36.49, True)]
)  # two and a half times 0.4 K about 37.5
def test_where_the_air_goes_all_the_time_is_no_jump(value: float, held: bool) -> None:
    """From one end of its swing to the other, as a slow sampling has it."""
    track = replace(BEFORE, value=36.6 if value > 37.5 else 38.4, middle=37.5, swing=0.4)
    assert stepped(track, value)[3] is held
    assert stepped(replace(track, middle=None), value)[3]


def test_a_value_teaches_the_swing_by_its_share_of_the_hours() -> None:
    """Ten seconds of a hundred; after six hours no less than of those. What is far beyond teaches as much as the edge of what is known."""
    young = there(stepped(replace(BEFORE, learnt_s=90.0, middle=37.4, swing=0.1), 37.7)[0])
    assert (young.middle, young.swing) == pytest.approx((37.4 + 0.03, 0.1 + 0.02))
    far = replace(BEFORE, value=37.9, learnt_s=86_400.0, middle=37.4, swing=0.2)
    share = 10.0 / 21_610.0
    old = there(stepped(far, 38.3)[0])
    assert (old.middle, old.swing) == pytest.approx((37.4 + share * 0.5, 0.2 + share * 0.3))
    down = there(stepped(replace(far, value=36.6), 36.5)[0])
    assert (down.middle, down.swing) == pytest.approx((37.4 - share * 0.5, 0.2 + share * 0.3))


def test_noise_that_begins_teaches_no_swing() -> None:
    """What is beyond twice the scale's own noise counts as that, once an hour is known; and nothing while the noise is told."""
    calm = replace(BEFORE, learnt_s=86_400.0, middle=37.5, swing=0.01)
    share = 10.0 / 21_610.0
    found = there(stepped(calm, 37.9)[0])
    assert found.swing == pytest.approx(0.01 + share * 0.07)
    told = there(stepped(replace(calm, noise=0.5), 37.9)[0])
    assert (told.middle, told.swing) == (37.5, 0.01)


def test_what_alternates_is_learnt_though_each_jump_is_held() -> None:
    """A switching machine sampled twice in its period: once the first readings are over none is held, and none is noise."""
    track: Track | None = None
    held = []
    for n in range(240):
        track, _, _, waits, _ = step(
            track, 37.8 + (0.45 if n % 2 else -0.45), TEMPERATURE, False, pace(60.0 * n, window_s=1800.0, gap_s=180.0)
        )
        held.append(waits)
    assert not any(held[8:])
    assert noisy(there(track), TEMPERATURE, pace(14_400.0)) == PASS


@pytest.mark.parametrize(("noise", "flag"), [(1.59, PASS), (1.61, SUSPECT), (3.19, SUSPECT), (3.21, FAIL)])
def test_to_and_fro_within_the_swing_of_the_air_is_no_noise(noise: float, flag: int) -> None:
    """Its peaks are 3.2 times as far apart as it is from its middle, on average; failed at twice that."""
    track = replace(BEFORE, learnt_s=7200.0, middle=37.5, swing=0.5, noise=noise)
    assert noisy(track, TEMPERATURE, pace(110.0)) == flag


@pytest.mark.parametrize(("after_s", "goes_on"), [(60.0, True), (60.1, False)])
def test_a_stillness_is_over_with_a_gap(after_s: float, goes_on: bool) -> None:
    """What is as it was after a minute without a word may have been anything meanwhile."""
    found = there(stepped(BEFORE, 37.5, at_s=100.0 + after_s)[0])
    assert (found.run_s, found.run_readings) == ((0.0, 6) if goes_on else (100.0 + after_s, 1))
