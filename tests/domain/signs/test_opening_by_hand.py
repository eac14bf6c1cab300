"""An opening, reading by reading: one machine whose usual air is known, and what one more reading makes of it.

Usual are 38 °C and 4 kPa, of which a hundredth is 0.04 kPa; readings come each ten seconds unless said. Each bound is met from both sides.
"""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from monitor.domain.air.psychrometrics import vapour_kpa
from monitor.domain.signs.opening import (
    ENDED,
    NOT_RECOVERING,
    OPENING,
    QUIET,
    RECOVERING,
    Episode,
    Verdict,
    Watch,
    cold_as_usual,
    declare,
    dipped,
    finish,
    overshoots,
    settles,
    usual_overshoot,
    watch,
)
from monitor.domain.signs.seen import LATE, NOT_CLIMBING, NOT_TURNED
from tests.domain.house import there
from tests.domain.signs.test_opening import at

NOW_S = 10_000.0
KNOWN = Watch(NOW_S, NOW_S, 600.0, 38.0, 0.0, 4.0, 0.0, last_kpa=4.0)
AT_ALL = 10.0  # seconds to the next reading


def read(
    state: Watch, dry_bulb_c: float, kpa: float, after_s: float = AT_ALL, every_s: float = 10.0, **said: bool
) -> tuple[Watch, Verdict]:
    """One more reading, so long after NOW_S."""
    return watch(state, NOW_S + after_s, dry_bulb_c, kpa, interval_s=every_s, band_low_c=36.0, cold_c=36.0, **said)


def suspected(state: Watch, fell_k: float, gone_kpa: float, after_s: float = AT_ALL, **more: float | bool) -> bool:
    """Whether a reading that fell by so much makes a fall of it."""
    after, verdict = read(state, 38.0 - fell_k, 4.0 - gone_kpa, after_s, **more)  # type: ignore[arg-type]
    assert verdict == Verdict(QUIET)
    return after.episode is not None


@pytest.mark.parametrize(
    ("fell_k", "gone_kpa", "after_s", "fallen"),
    [
        (0.41, 1.0, 10.0, True),
        (0.39, 1.0, 10.0, False),
        (1.0, 0.49, 10.0, True),  # 12 % of the vapour
        (1.0, 0.47, 10.0, False),
        (1.0, 0.49, 30.0, True),
        (1.0, 0.70, 60.0, True),  # and 0.15 % more for each second after thirty
        (1.0, 0.65, 60.0, False),
        (1.0, 1.03, 120.0, True),
        (1.0, 1.01, 120.0, False),
        (1.0, 3.00, 121.0, False),  # no door takes so long
        (3.0, 0.35, 10.0, True),  # 0.7 of that, where it fell by two kelvin and more
        (3.0, 0.33, 10.0, False),
        (2.0, 0.72, 120.0, True),
        (1.9, 0.72, 120.0, False),
    ],
)
def test_what_a_door_takes_and_how_soon(fell_k: float, gone_kpa: float, after_s: float, fallen: bool) -> None:
    """Four tenths of a kelvin and an eighth of the vapour within half a minute; later more, for vents take some too."""
    assert suspected(KNOWN, fell_k, gone_kpa, after_s) is fallen


def test_of_a_probe_that_speaks_each_minute_two_intervals_and_their_jitter_are_soon() -> None:
    """Undisturbed 132 s ago it may have been the door; 133 s ago nobody knows."""
    assert suspected(KNOWN, 2.5, 1.5, 132.0, every_s=60.0)
    assert not suspected(KNOWN, 2.5, 1.5, 133.0, every_s=60.0)


@pytest.mark.parametrize(
    ("gone_kpa", "after_s", "door"),
    [
        (0.55, 10.0, True),
        (0.53, 10.0, False),
        (0.61, 20.0, True),
        (0.59, 20.0, False),
        (1.5, 23.0, False),
    ],
)
def test_of_air_that_went_away_by_itself_a_door_is_known_from_where_it_was(
    gone_kpa: float, after_s: float, door: bool
) -> None:
    """Chicks that have dried wet the air no more: for half an hour it is a tenth drier than usual, and then somebody opens. What is gone since the
    newest readings is asked, which show what was within half a minute; after a silence nobody knows how fast it went."""
    drier = replace(KNOWN, near_s=NOW_S - 1800.0, last_kpa=3.6)
    assert (read(drier, 38.0, 3.6 - gone_kpa, after_s)[0].opened_s == NOW_S + after_s) is door
    never_back = replace(drier, first_s=NOW_S - 1800.0, opened_s=NOW_S - 5500.0)
    assert read(never_back, 38.0, 3.6 - gone_kpa, after_s)[0].opened_s == NOW_S - 5500.0


def test_a_fall_is_more_than_the_machines_own_ripple() -> None:
    """Four times the mean distance of either quantity; of a vapour that swings by itself never more than a quarter of it."""
    swings = replace(KNOWN, ripple_k=0.5)
    assert suspected(swings, 2.01, 1.0)
    assert not suspected(swings, 1.99, 1.0)
    for ripple_kpa, least_kpa in ((0.2, 0.8), (0.5, 1.0)):
        damp = replace(KNOWN, ripple_kpa=ripple_kpa)
        assert suspected(damp, 1.0, least_kpa + 0.01)
        assert not suspected(damp, 1.0, least_kpa - 0.01)


def test_what_is_usual_must_be_known_for_ten_minutes() -> None:
    """Before that nothing is a fall, not even for one who said that they are at work."""
    young = replace(KNOWN, learnt_s=599.0)
    for said in ({}, {"at_work": True}, {"door_open": True}):
        assert suspected(KNOWN, 3.0, 2.0, **said)
        assert not suspected(young, 3.0, 2.0, **said)


@pytest.mark.parametrize(("off_pct", "fallen"), [(2.1, True), (1.9, False), (-2.1, True), (-1.9, False)])
def test_a_humidity_that_stays_as_it_was_makes_a_lower_temperature_doubtful(off_pct: float, fallen: bool) -> None:
    """Within two %RH of its usual the sensor may only read low: its vapour is worked out from that."""
    usual_pct = 100.0 * 4.0 / float(vapour_kpa(38.0, 100.0))
    kpa = float(vapour_kpa(34.0, usual_pct + off_pct))
    assert suspected(KNOWN, 4.0, 4.0 - kpa) is fallen


def test_a_machine_without_vapour_shows_no_door() -> None:
    """A probe that sends no humidity has none to lose; who says that they are there is believed."""
    dry = replace(KNOWN, usual_kpa=0.0, last_kpa=0.0)
    assert read(dry, 34.0, 0.0)[0].episode is None
    assert read(dry, 34.0, 0.0, at_work=True)[0].episode is not None


def test_whoever_is_there_explains_any_fall() -> None:
    """Work that was declared, a door that its contact says is open, or the half-hour since somebody came; without them it has no shape."""
    assert not suspected(KNOWN, 0.5, 0.0)
    assert suspected(KNOWN, 0.5, 0.0, at_work=True)
    assert suspected(KNOWN, 0.5, 0.0, door_open=True)
    for came_s, explains in ((1799.0, True), (1800.0, False)):
        visited = replace(KNOWN, visit_s=NOW_S + AT_ALL - came_s)
        assert suspected(visited, 0.5, 0.0) is explains


# A fall by two kelvin and 1 kPa at NOW_S, of air that was undisturbed ten seconds before.
FALL = Episode(
    "suspected", NOW_S - 10.0, 2.0, 1.0, deepest_c=36.0, lowest_c=36.0, lowest_s=NOW_S, turn_by_s=NOW_S + 370.0, last_kpa=3.0
)  # fmt: skip
FELL = replace(KNOWN, near_s=NOW_S - 10.0, episode=FALL)


@pytest.mark.parametrize(
    ("down_k", "gone_kpa", "at_work", "held"),
    [
        (0.41, 0.9, False, True),
        (0.39, 0.9, False, False),
        (1.5, 0.21, False, True),
        (1.5, 0.19, False, False),
        (1.5, 0.19, True, True),  # whose vapour needs no shape
        (1.5, -0.50, True, True),
    ],
)
def test_a_fifth_of_a_fall_must_still_be_gone_at_the_next_reading(
    down_k: float, gone_kpa: float, at_work: bool, held: bool
) -> None:
    """Air comes back slowly; only a sensor is back at once."""
    after, verdict = read(FELL, 38.0 - down_k, 4.0 - gone_kpa, at_work=at_work)
    assert verdict.kind == (RECOVERING if held else QUIET)
    assert (after.episode is not None) is held


def test_a_fifth_exactly_is_still_air() -> None:
    """Of 2.5 K and 1.25 kPa half a kelvin and a quarter of a kilopascal are left."""
    fell = replace(FELL, episode=replace(FALL, first_k=2.5, first_kpa=1.25))
    assert read(fell, 37.5, 3.75)[0].episode is not None


def test_a_hold_counts_from_the_first_fall_of_a_visit() -> None:
    """The second fall within half an hour belongs to the visit of the first; one at half an hour begins another."""
    for came_s, first in ((1799.0, True), (1800.0, False)):
        visit_s = NOW_S + AT_ALL - came_s
        after, _ = read(replace(FELL, visit_s=visit_s), 35.5, 2.5)
        assert after.visit_s == (visit_s if first else FALL.since_s)
        assert there(after.episode).held_s == NOW_S + AT_ALL


def test_a_glimpse_through_the_door_holds_nothing() -> None:
    """Air that is back at the second reading was held for no time, and is recorded with how deep it came."""
    after, verdict = read(replace(FELL, episode=replace(FALL, first_k=1.0, first_kpa=0.5)), 37.75, 3.85)
    opening = there(verdict.opening)
    assert (verdict.kind, after.episode) == (ENDED, None)
    assert (opening.since_s, opening.until_s, opening.deepest_c) == (NOW_S - 10.0, NOW_S + AT_ALL, 36.0)
    assert (opening.hold_s, opening.back) == (0.0, True)


# An opening that is held since a minute: eight kelvin down, half an hour's time not yet over.
HELD = replace(
    FALL, phase=OPENING, deepest_c=30.0, lowest_c=30.0, held_s=NOW_S - 60.0, since_s=NOW_S - 70.0, last_kpa=2.0
)
OPEN = replace(KNOWN, near_s=NOW_S - 70.0, visit_s=NOW_S - 70.0, first_s=NOW_S - 70.0, episode=HELD)


@pytest.mark.parametrize(
    ("state", "off_k", "off_kpa", "back"),
    [
        (OPEN, 0.29, 0.0, True),
        (OPEN, 0.31, 0.0, False),
        (OPEN, 0.0, 0.23, True),  # 6 % of the vapour
        (OPEN, 0.0, 0.25, False),
        (replace(OPEN, ripple_k=0.2), 0.59, 0.0, True),
        (replace(OPEN, ripple_k=0.2), 0.61, 0.0, False),
        (replace(OPEN, ripple_k=0.25), 0.75, 0.0, True),  # three ripples exactly
        (replace(OPEN, ripple_kpa=0.25), 0.0, 0.75, True),
        (replace(OPEN, ripple_kpa=0.2), 0.0, 0.59, True),
        (replace(OPEN, ripple_kpa=0.2), 0.0, 0.61, False),
        (OPEN, -2.0, -1.0, True),  # above what is usual nothing is awaited
    ],
)
def test_an_opening_is_over_when_both_are_near_their_usual(
    state: Watch, off_k: float, off_kpa: float, back: bool
) -> None:
    """Within three tenths of a kelvin and six hundredths of the vapour, or three ripples of the machine's own."""
    after, verdict = read(state, 38.0 - off_k, 4.0 - off_kpa)
    assert (verdict.kind == ENDED) is back
    assert (after.episode is None) is back


@pytest.mark.parametrize(
    ("lowest_c", "dry_bulb_c", "kind"),
    [
        (30.0, 30.41, RECOVERING),  # a twentieth of eight kelvin
        (30.0, 30.39, OPENING),
        (36.0, 36.16, RECOVERING),  # but 0.15 K at least
        (36.0, 36.14, OPENING),
    ],
)
def test_air_has_turned_when_it_has_risen_by_a_twentieth_of_its_fall(
    lowest_c: float, dry_bulb_c: float, kind: str
) -> None:
    """That is the first step on its way home."""
    state = replace(OPEN, episode=replace(HELD, lowest_c=lowest_c, deepest_c=lowest_c))
    after, verdict = read(state, dry_bulb_c, 2.1)
    assert verdict.kind == kind
    if kind == RECOVERING:
        assert (there(after.episode).step_c, there(after.episode).step_s) == (dry_bulb_c, NOW_S + AT_ALL)


def test_the_lowest_is_kept_while_the_door_is_open() -> None:
    """Colder is a new lowest, of the opening and since the door was last opened; as cold is not."""
    for dry_bulb_c, lowest_c, lowest_s in ((29.0, 29.0, NOW_S + AT_ALL), (30.0, 30.0, NOW_S), (30.1, 30.0, NOW_S)):
        episode = there(read(OPEN, dry_bulb_c, 1.9)[0].episode)
        assert (episode.lowest_c, episode.deepest_c, episode.lowest_s) == (lowest_c, lowest_c, lowest_s)
        assert episode.last_kpa == pytest.approx(1.9 + 0.1 * 30.0 / 40.0)  # of the last half minute


def aged(state: Watch, age_s: float) -> Watch:
    """The opening whose first fall is so old at the next reading."""
    return replace(state, visit_s=NOW_S + AT_ALL - age_s, near_s=NOW_S + AT_ALL - age_s, first_s=NOW_S + AT_ALL - age_s)


def test_air_that_has_not_turned_is_told_at_half_an_hour() -> None:
    """Not before, and not before its own time to turn, six minutes and two readings from the fall."""
    for age_s, turn_by_s, told in (
        (1800.0, NOW_S, True),
        (1799.0, NOW_S, False),
        (1800.0, NOW_S + AT_ALL, True),
        (1800.0, NOW_S + AT_ALL + 1.0, False),
    ):
        _, verdict = read(aged(replace(OPEN, episode=replace(HELD, turn_by_s=turn_by_s)), age_s), 30.0, 2.0)
        assert verdict == (Verdict(NOT_RECOVERING, NOT_TURNED) if told else Verdict(OPENING))
    fell, _ = read(KNOWN, 34.0, 2.5)
    assert there(fell.episode).turn_by_s == NOW_S + 360.0 + 2 * 10.0


def test_at_work_nothing_is_told_and_afterwards_the_time_to_turn_is_left() -> None:
    """Fifty minutes after the fall somebody works there: then six minutes and two readings from now, and nothing is borne beyond."""
    state = aged(replace(OPEN, episode=replace(HELD, turn_by_s=NOW_S)), 3000.0)
    after, verdict = read(state, 30.0, 2.0, at_work=True)
    assert verdict.kind == OPENING
    assert after.visit_s == NOW_S + AT_ALL - 1800.0
    assert there(after.episode).turn_by_s == NOW_S + AT_ALL + 380.0
    late = aged(OPEN, 5400.0)
    assert read(late, 30.0, 2.0, at_work=True)[1].kind == OPENING
    assert read(late, 30.0, 2.0)[1] == Verdict(NOT_RECOVERING, LATE)


def test_a_hold_ends_with_the_last_reading_within_ninety_minutes() -> None:
    """The next one would come too late to be told by."""
    rising = replace(HELD, phase=RECOVERING, step_c=33.0, step_s=NOW_S)
    for age_s, held in ((5390.0, True), (5391.0, False)):
        _, verdict = read(aged(replace(OPEN, episode=rising), age_s), 33.1, 2.5)
        assert verdict == (Verdict(RECOVERING) if held else Verdict(NOT_RECOVERING, LATE))


def test_air_in_its_band_when_a_hold_ends_is_no_trouble() -> None:
    """At 36 °C, where its band begins, the opening is over without having come back; below it is told."""
    rising = replace(HELD, phase=RECOVERING, step_c=35.9, step_s=NOW_S)
    for dry_bulb_c, kind in ((36.0, ENDED), (35.99, NOT_RECOVERING)):
        _, verdict = read(aged(replace(OPEN, episode=rising), 5400.0), dry_bulb_c, 2.5)
        assert verdict.kind == kind
    _, verdict = read(aged(replace(OPEN, episode=rising), 5400.0), 36.5, 2.5)
    opening = there(verdict.opening)
    assert not opening.back
    assert opening.hold_s == NOW_S + AT_ALL - HELD.held_s


RISING = replace(HELD, phase=RECOVERING, step_c=33.0, step_s=NOW_S - 100.0, lowest_s=NOW_S - 700.0, last_kpa=3.0)
HOMING = replace(OPEN, episode=RISING)


def test_a_loss_of_vapour_on_the_way_back_is_the_door_again() -> None:
    """A twelfth of the usual from one reading to the next: 0.32 of 4 kPa. The way back then begins anew."""
    for kpa, kind in ((2.69, RECOVERING), (2.67, OPENING)):
        after, verdict = read(HOMING, 33.2, kpa)
        assert verdict.kind == kind
    episode = there(after.episode)
    assert (episode.lowest_c, episode.lowest_s) == (33.2, NOW_S + AT_ALL)
    assert episode.turn_by_s == NOW_S + AT_ALL + 380.0
    assert episode.deepest_c == 30.0


def test_air_that_was_home_and_falls_by_a_kelvin_is_the_door_again() -> None:
    """While only vapour was awaited; it has half an hour of its own where the first one's is over."""
    home = replace(RISING, home_s=NOW_S - 100.0, step_s=NOW_S - 100.0)
    for age_s, renewed in ((1799.0, False), (1800.0, True)):
        state = aged(replace(HOMING, episode=home), age_s)
        after, verdict = read(state, 36.99, 2.9)
        assert verdict.kind == OPENING
        assert after.visit_s == (NOW_S + AT_ALL if renewed else state.visit_s)
    assert read(replace(HOMING, episode=home), 37.01, 2.9)[1].kind == RECOVERING
    assert read(replace(HOMING, episode=home, ripple_k=0.3), 36.81, 2.9)[1].kind == RECOVERING  # four ripples: 1.2 K
    assert read(replace(HOMING, episode=replace(home, home_s=-math.inf)), 36.99, 2.9)[1].kind == RECOVERING


def test_air_that_is_home_waits_for_its_vapour() -> None:
    """Within three tenths of its usual: since then only that is awaited, and nothing is asked of a step."""
    for dry_bulb_c, home_s in ((37.71, NOW_S + AT_ALL), (37.69, -math.inf)):
        after, verdict = read(replace(HOMING, episode=replace(RISING, step_c=37.6)), dry_bulb_c, 3.1)
        assert verdict.kind == RECOVERING
        assert there(after.episode).home_s == home_s


@pytest.mark.parametrize(
    ("step_c", "dry_bulb_c", "stepped"),
    [
        (33.0, 33.50, True),  # of five kelvin the usual curve brings all but 0.7 % in ten minutes: a tenth of that
        (33.0, 33.49, False),
        (37.5, 37.56, True),  # and 0.05 K at least
        (37.5, 37.54, False),
    ],
)
def test_each_ten_minutes_must_bring_a_tenth_of_what_is_usual(step_c: float, dry_bulb_c: float, stepped: bool) -> None:
    """After half an hour; before it the door is taken to stand open, and nothing is told."""
    rising = replace(RISING, step_c=step_c, step_s=NOW_S - 590.0, lowest_c=step_c)
    after, verdict = read(aged(replace(HOMING, episode=rising), 2000.0), dry_bulb_c, 3.0)
    if stepped:
        assert verdict.kind == RECOVERING
        assert (there(after.episode).step_c, there(after.episode).step_s) == (dry_bulb_c, NOW_S + AT_ALL)
    elif dry_bulb_c < 36.0:
        assert verdict == Verdict(NOT_RECOVERING, NOT_CLIMBING)
    else:  # in its band that is no trouble
        assert (verdict.kind, there(verdict.opening).back) == (ENDED, False)
    after, verdict = read(aged(replace(HOMING, episode=rising), 1500.0), dry_bulb_c, 3.0)
    assert verdict.kind == (RECOVERING if stepped else OPENING)
    assert there(after.episode).lowest_c == (step_c if stepped else dry_bulb_c)


def test_a_stretch_is_ten_minutes_or_three_readings() -> None:
    """Of a probe that speaks each four minutes it is twelve."""
    for every_s, stretch_s in ((10.0, 600.0), (240.0, 720.0)):
        for since_s, told in ((stretch_s, True), (stretch_s - 1.0, False)):
            rising = replace(RISING, step_s=NOW_S + AT_ALL - since_s)
            _, verdict = read(aged(replace(HOMING, episode=rising), 2000.0), 33.01, 3.0, every_s=every_s)
            assert (verdict.kind == NOT_RECOVERING) is told


def test_a_door_counts_as_open_while_the_air_falls_or_its_contact_says_so() -> None:
    """On the way back it is shut, unless the contact has it open."""
    assert read(OPEN, 30.0, 2.0)[0].opened_s == NOW_S + AT_ALL
    assert read(HOMING, 33.2, 3.0)[0].opened_s == -math.inf
    assert read(HOMING, 33.2, 3.0, door_open=True)[0].opened_s == NOW_S + AT_ALL


def test_when_a_door_was_first_open_is_kept_until_the_air_was_undisturbed() -> None:
    """Opened again before that, it goes on; after it, it begins anew."""
    assert read(replace(OPEN, near_s=NOW_S - 80.0), 30.0, 2.0)[0].first_s == OPEN.first_s
    assert read(replace(OPEN, near_s=NOW_S - 60.0), 30.0, 2.0)[0].first_s == NOW_S + AT_ALL


def test_what_was_given_up_holds_nothing_until_the_air_is_back_or_two_hours_are_over() -> None:
    """Then what is there is learnt as usual, from nothing, with the machine's own curve."""
    given_up = replace(OPEN, recovery_s=77.0, episode=replace(HELD, phase="released", released_s=NOW_S - 30.0))
    assert read(given_up, 30.0, 2.0)[1] == Verdict(NOT_RECOVERING)
    _, verdict = read(given_up, 37.8, 3.9)
    assert (verdict.kind, there(verdict.opening).back) == (ENDED, True)
    assert there(verdict.opening).hold_s == 30.0  # from a minute ago to half a minute ago
    for since_s, anew in ((7199.0, False), (7200.0, True)):
        old = replace(given_up, episode=replace(there(given_up.episode), since_s=NOW_S + AT_ALL - since_s))
        after, verdict = read(old, 30.0, 2.0)
        assert (verdict.kind == ENDED) is anew
        # Since when it is cold is kept with it: what lasted so long is no cooling, whenever it ends.
        assert (after == Watch(recovery_s=77.0, cold_s=NOW_S + AT_ALL - since_s)) is anew


def test_a_way_back_teaches_a_quarter_of_its_time_constant() -> None:
    """From 30 to 37.8 °C in 200 s: e-fold in 200 / ln(8 / 0.3) = 61 s; a usual of 120 s goes a quarter of the way. Never under 30 s nor
    over ten minutes."""
    for took_s, seen_s in ((200.0, 200.0 / math.log(8.0 / 0.3)), (20.0, 30.0), (4000.0, 600.0)):
        rising = replace(RISING, lowest_c=30.0, lowest_s=NOW_S + AT_ALL - took_s)
        after, _ = read(replace(HOMING, episode=rising), 37.8, 3.9)
        assert after.recovery_s == pytest.approx(120.0 + (seen_s - 120.0) / 4.0)
    untaught = (
        replace(RISING, lowest_c=37.41),  # a fall of less than twice what is near teaches nothing
        replace(HELD, lowest_s=NOW_S - 200.0),  # nor air that was back before it turned
    )
    for episode in untaught:
        assert read(replace(HOMING, episode=episode), 37.8, 3.9)[0].recovery_s == 120.0
    after, _ = read(replace(HOMING, episode=replace(RISING, lowest_c=37.39)), 37.8, 3.9)
    assert after.recovery_s != 120.0


# Undisturbed air.


@pytest.mark.parametrize(
    ("state", "off_k", "off_kpa", "near"),
    [
        (KNOWN, -0.14, 0.0, True),
        (KNOWN, -0.16, 0.0, False),
        (KNOWN, 0.0, -0.11, True),  # 3 % of the vapour
        (KNOWN, 0.0, -0.13, False),
        (replace(KNOWN, ripple_k=0.1), -0.29, 0.0, True),
        (replace(KNOWN, ripple_k=0.1), -0.31, 0.0, False),
        (replace(KNOWN, ripple_kpa=0.06), 0.0, -0.17, True),
        (replace(KNOWN, ripple_kpa=0.06), 0.0, -0.19, False),
        (replace(KNOWN, ripple_kpa=0.2), 0.0, -0.23, True),  # but 6 % at most, however it swings
        (replace(KNOWN, ripple_kpa=0.2), 0.0, -0.25, False),
        (replace(KNOWN, ripple_k=0.25), -0.75, 0.0, True),  # three ripples exactly
        (replace(KNOWN, ripple_kpa=0.0625), 0.0, -0.1875, True),
        (KNOWN, 3.0, 1.0, True),  # what is above its usual was let out by nobody
    ],
)
def test_air_is_undisturbed_near_its_usual(state: Watch, off_k: float, off_kpa: float, near: bool) -> None:
    """A fall is timed from there."""
    after, _ = read(state, 38.0 + off_k, 4.0 + off_kpa)
    assert (after.near_s == NOW_S + AT_ALL) is near


def test_undisturbed_air_stays_so_at_a_reading_that_is_not_newer() -> None:
    """Nothing changes, and nothing is said."""
    for after_s in (0.0, -5.0):
        assert read(KNOWN, 30.0, 1.0, after_s) == (KNOWN, Verdict(QUIET))


def test_a_reading_teaches_by_its_time() -> None:
    """Ten seconds beside ten minutes: 10/610 of the way, of level and ripple; in the first ten minutes it is a plain mean."""
    after, _ = read(KNOWN, 38.1, 4.1)
    share = 10.0 / 610.0
    assert (after.usual_c, after.usual_kpa) == pytest.approx((38.0 + 0.1 * share, 4.0 + 0.1 * share))
    assert (after.ripple_k, after.ripple_kpa) == pytest.approx((0.1 * share, 0.1 * share))
    assert (after.newest_s, after.learnt_s, after.last_kpa) == (NOW_S + AT_ALL, 600.0, 4.1)
    young, _ = read(replace(KNOWN, learnt_s=10.0), 38.1, 4.1)
    assert (young.usual_c, young.learnt_s) == pytest.approx((38.05, 20.0))


def test_silence_teaches_for_three_intervals() -> None:
    """What comes after thirty seconds counts for thirty, and so does what comes after an hour."""
    for after_s in (30.0, 31.0, 3600.0):
        assert read(KNOWN, 38.1, 4.0, after_s)[0].usual_c == pytest.approx(38.0 + 0.1 * 30.0 / 630.0)


def test_a_reading_far_off_teaches_as_one_at_the_edge() -> None:
    """0.15 K and 3 % either way, or three ripples."""
    share = 10.0 / 610.0
    for way in (1.0, -1.0):
        after, _ = read(KNOWN, 38.0 + 0.3 * way, 4.0 + way)
        assert after.usual_c == pytest.approx(38.0 + way * 0.15 * share)
        if way > 0.0:  # what is let out is learnt by another rule
            assert after.usual_kpa == pytest.approx(4.0 + 0.12 * share)
        wide, _ = read(replace(KNOWN, ripple_k=0.1), 38.0 + 0.35 * way, 4.0)
        assert wide.usual_c == pytest.approx(38.0 + way * 0.3 * share)


@pytest.mark.parametrize(
    ("kpa", "last_kpa", "after_s", "door_open", "opened"),
    [
        (3.51, 4.0, 10.0, False, True),  # 12 % at once
        (3.53, 4.0, 10.0, False, False),
        (3.87, 4.0, 10.0, True, True),  # 3 %, where a contact says so
        (3.89, 4.0, 10.0, True, False),
    ],
)
def test_vapour_that_a_door_lets_out(
    kpa: float, last_kpa: float, after_s: float, door_open: bool, opened: bool
) -> None:
    """It is timed from there, with the temperature at its usual."""
    after, _ = read(replace(KNOWN, last_kpa=last_kpa), 38.0, kpa, after_s, door_open=door_open)
    assert (after.opened_s == NOW_S + AT_ALL) is opened
    assert (after.first_s == NOW_S + AT_ALL) is opened
    young, _ = read(replace(KNOWN, learnt_s=599.0), 38.0, kpa, after_s, door_open=door_open)
    assert young.opened_s == -math.inf


def test_while_the_air_settles_its_vapour_is_not_learnt_and_a_twelfth_is_the_door_again() -> None:
    """0.32 of 4 kPa from one reading to the next; less is the same dry air as before."""
    dry = replace(KNOWN, near_s=NOW_S - 1000.0, opened_s=NOW_S - 900.0, first_s=NOW_S - 950.0, last_kpa=3.0)
    for kpa, again in ((2.69, False), (2.67, True)):
        after, _ = read(dry, 38.0, kpa)
        assert (after.usual_kpa, after.ripple_kpa) == (4.0, 0.0)
        assert after.opened_s == (NOW_S + AT_ALL if again else NOW_S - 900.0)
        assert after.first_s == NOW_S - 950.0
    calm = replace(dry, opened_s=NOW_S - 9000.0, first_s=NOW_S - 9000.0)  # settled long ago: it is learnt, and no door
    after, _ = read(calm, 38.0, 2.67)
    assert after.usual_kpa < 4.0
    assert after.opened_s == NOW_S - 9000.0


def test_air_that_is_not_back_when_it_should_have_settled_has_another_vapour() -> None:
    """Undisturbed since the door was first open, it goes on; not since, its vapour begins anew with what is there, and its temperature does not."""
    opened = replace(KNOWN, opened_s=NOW_S - 9000.0, first_s=NOW_S - 9000.0)
    anew, _ = read(replace(opened, near_s=NOW_S - 9000.0), 37.9, 3.0)
    assert (anew.usual_kpa, anew.learnt_s, anew.near_s, anew.first_s) == (3.0, 600.0, NOW_S + AT_ALL, -math.inf)
    assert 37.99 < anew.usual_c < 38.0
    assert read(replace(opened, near_s=NOW_S - 8999.0), 37.9, 3.0)[0].usual_kpa > 3.9


def test_dry_air_that_is_half_way_home_has_ninety_minutes() -> None:
    """A strong heater keeps the air warm at an open door, and nobody sees when it was shut: what comes back is waited for, what does not is told."""
    first_s = NOW_S - 3000.0
    for kpa, after_s, has_time in (
        (2.6, AT_ALL, True),  # of 1 to 4 kPa
        (2.4, AT_ALL, False),
        (1.0, AT_ALL, False),
        (2.6, 2399.0, True),
        (2.6, 2400.0, False),
    ):
        dry = replace(KNOWN, opened_s=first_s, first_s=first_s, driest_kpa=1.0, last_kpa=kpa)
        assert settles(dry, NOW_S + after_s) is has_time
    assert not settles(replace(KNOWN, opened_s=first_s, first_s=first_s), NOW_S)
    since = replace(
        KNOWN, near_s=NOW_S - 950.0, opened_s=NOW_S - 900.0, first_s=NOW_S - 900.0, last_kpa=2.0, driest_kpa=1.5
    )
    assert read(since, 38.0, 1.4)[0].driest_kpa == 1.4
    assert read(since, 38.0, 1.6)[0].driest_kpa == 1.5
    assert read(since, 38.0, 4.0)[0].driest_kpa == math.inf


def test_a_door_that_is_opened_again_is_seen_however_slowly_the_sensor_follows() -> None:
    """A kilopascal in fifty seconds, drawn out over five readings of a fifth: none of them alone is a twelfth of the usual vapour."""
    state = replace(KNOWN, near_s=NOW_S - 950.0, opened_s=NOW_S - 900.0, first_s=NOW_S - 950.0, last_kpa=3.0)
    for n in range(1, 6):
        state, _ = read(state, 38.0, 3.0 - 0.2 * n, 10.0 * n)
    assert state.opened_s >= NOW_S + 30.0
    slow = replace(KNOWN, near_s=NOW_S - 950.0, opened_s=NOW_S - 900.0, first_s=NOW_S - 950.0, last_kpa=3.0)
    for n in range(1, 26):  # as much in four minutes: a vent takes it
        slow, _ = read(slow, 38.0, 3.0 - 0.04 * n, 10.0 * n)
    assert slow.opened_s == NOW_S - 900.0


def test_an_opening_is_not_over_while_the_air_is_colder_than_its_band() -> None:
    """A machine that swings widely is near its usual level long before: the hold goes on, as long as any other's."""
    swings = replace(OPEN, ripple_k=0.8)
    assert read(swings, 36.1, 4.0)[1].kind == ENDED
    assert read(swings, 35.9, 4.0)[1].kind == RECOVERING
    cold = replace(
        swings, usual_c=35.8
    )  # what is usual there is colder than its band: then that is all there is to wait for
    assert read(cold, 35.8, 4.0)[1].kind == ENDED


def test_what_a_door_made_of_the_temperature_says_nothing_of_what_is_usual() -> None:
    """A controller that goes too far after a door would else be the usual level before long, and no next fall one."""
    after_door = replace(KNOWN, opened_s=NOW_S - 600.0, first_s=NOW_S - 700.0)
    assert read(after_door, 39.5, 4.0)[0].usual_c == 38.0
    assert read(KNOWN, 39.5, 4.0)[0].usual_c > 38.0
    assert read(after_door, 38.1, 4.0)[0].usual_c > 38.0


def test_a_machine_that_swings_widely_shows_its_door_by_the_vapour() -> None:
    """Two kelvin down are no fall of its own, but what is as cold soon after a door let out its vapour is that door's."""
    swings = replace(KNOWN, ripple_k=0.6, opened_s=NOW_S - 20.0, first_s=NOW_S - 60.0, last_kpa=2.5)
    assert read(swings, 36.0, 2.5)[0].episode is not None
    assert (
        read(replace(swings, opened_s=-math.inf, first_s=-math.inf, near_s=NOW_S - 300.0), 36.0, 2.5)[0].episode is None
    )
    steady_kpa = float(vapour_kpa(36.0, 100.0 * 4.0 / float(vapour_kpa(38.0, 100.0))))
    assert read(swings, 36.0, steady_kpa)[0].episode is None  # its humidity stayed: the temperature only reads low


def overshot(state: Watch, for_s: float, by_k: float) -> Watch:
    """After a door that was shut at NOW_S: for so long so much too warm, and then as usual."""
    state = replace(state, opened_s=NOW_S, first_s=NOW_S - 60.0)
    for n in range(1, round(for_s / 10.0) + 2):
        state, _ = read(state, 38.0 + by_k, 4.0, 10.0 * n)
    return read(state, 38.0, 4.0, for_s + 20.0)[0]


def test_how_far_a_controller_goes_too_far_is_learnt_from_each_door() -> None:
    """Its length and its height: more at once, less by and by. As long and as high again, and a quarter more, it is as usual."""
    state = overshot(KNOWN, 400.0, 1.2)
    assert state.over_s == pytest.approx(410.0)
    assert state.over_k == pytest.approx(1.2)
    again = replace(state, above_s=NOW_S + 1000.0)
    for after_s, usual in ((500.0, True), (512.5, True), (513.0, False)):
        as_long, up_to_c = usual_overshoot(again, NOW_S + 1000.0 + after_s)
        assert as_long is usual
        assert up_to_c == pytest.approx(38.0 + 1.25 * 1.2 + 0.3)
    less = overshot(replace(state, newest_s=NOW_S, near_s=NOW_S), 200.0, 0.4)
    assert 400.0 < less.over_s < state.over_s
    assert 1.1 < less.over_k < state.over_k


def test_air_that_is_not_warmer_than_usual_overshoots_by_nothing() -> None:
    """Of two probes after a door the watched one is well: what is too hot then is the other, and no overshoot as usual, whatever was learnt."""
    known = replace(KNOWN, over_s=400.0, over_k=1.2, opened_s=NOW_S)
    assert not usual_overshoot(known, NOW_S + 100.0)[0]
    assert usual_overshoot(replace(known, above_s=NOW_S), NOW_S)[0]  # it has just become so


def test_heat_without_a_door_is_no_overshoot_and_heat_that_stays_is_none_either() -> None:
    """Nothing is learnt of it, and nothing waits for it."""
    warm = KNOWN
    for n in range(1, 60):
        warm, _ = read(warm, 39.0, 4.0, 10.0 * n)
    assert not overshoots(warm, NOW_S + 600.0)
    stays = replace(KNOWN, opened_s=NOW_S, first_s=NOW_S)
    for n in range(1, 560):
        stays, _ = read(stays, 39.0, 4.0, 10.0 * n)
    assert not overshoots(stays, NOW_S + 5600.0)
    assert (stays.over_s, stays.over_k) == (0.0, 0.0)


def test_what_was_cold_without_a_door_is_no_overshoot_when_it_is_hot() -> None:
    """A fall by half a kelvin while the vapour stays is no door's: heat after it may be a thermostat that fails, waits for nothing, and
    teaches nothing of what this machine does after its doors."""
    warm, _ = read(KNOWN, 37.5, 4.0)
    for n in range(1, 60):
        warm, _ = read(warm, 38.6, 4.0, 10.0 * n)
        assert not overshoots(warm, NOW_S + 10.0 * n)
    warm, _ = read(warm, 38.0, 4.0, 600.0)
    assert (warm.over_s, warm.over_k) == (0.0, 0.0)


DAY_S = 86_400.0


def held_until(*visits: tuple[float, float]) -> float:
    """Until how long after its first fall an opening that does not turn is held, s, after such visits: days before, and s open."""
    begun_s = 20 * DAY_S
    seen = tuple((begun_s - days * DAY_S, open_s) for days, open_s in visits)
    fell_s = begun_s + 10.0
    state = replace(
        OPEN, newest_s=fell_s, near_s=begun_s, visit_s=begun_s, first_s=begun_s, visits=seen,
        episode=replace(HELD, since_s=begun_s, held_s=fell_s, lowest_s=fell_s, turn_by_s=fell_s + 370.0),
    )  # fmt: skip
    for n in range(1, 500):
        mono_s = fell_s + 10.0 * n
        state, verdict = watch(state, mono_s, 30.0, 2.0, interval_s=10.0, band_low_c=36.0)
        if verdict.kind == NOT_RECOVERING:
            return mono_s - begun_s
    return math.inf


@pytest.mark.parametrize(
    ("visits", "least_s", "most_s"),
    [
        ((), 1800.0, 1810.0),
        (((1.0, 2000.0),), 2900.0, 2910.0),  # as long as yesterday, and a quarter of an hour
        (((2.0, 2000.0),), 2900.0, 2910.0),  # or as the day before
        (((2.0, 2000.0), (1.0, 1500.0)), 2900.0, 2910.0),  # the longer of both
        (((2.02, 700.0), (0.98, 800.0)), 1800.0, 1810.0),  # never shorter than without
        (((2.0, 3500.0), (1.0, 3500.0)), 3600.0, 3610.0),  # nor longer than may be declared
        (((2.1, 2000.0), (1.1, 1500.0)), 1800.0, 1810.0),  # at another hour
        (((4.0, 2000.0), (3.0, 1500.0)), 1800.0, 1810.0),  # it is not done any more
    ],
)
def test_a_cooling_of_each_day_is_known_by_its_hour(
    visits: tuple[tuple[float, float], ...], least_s: float, most_s: float
) -> None:
    """Open at about this hour on the last days, it is expected to stay so for as long as it did then: longer is told at once."""
    assert least_s <= held_until(*visits) <= most_s


def test_a_long_opening_that_came_back_is_remembered() -> None:
    """Ten minutes from the first fall to the coldest; tray by tray it is one visit. Of work that was declared it counts from its first fall."""
    for open_s, kept in ((600.0, True), (599.0, False)):
        begun_s = NOW_S - open_s - 300.0
        long = replace(OPEN, visit_s=begun_s, episode=replace(HELD, lowest_s=begun_s + open_s))
        assert (read(long, 38.0, 4.0)[0].visits == ((begun_s, open_s),)) is kept
        worked = replace(
            long, visit_s=NOW_S - 1800.0, episode=replace(there(long.episode), since_s=begun_s, worked=True)
        )
        assert (read(worked, 38.0, 4.0)[0].visits == ((begun_s, open_s),)) is kept
        again = replace(long, visits=((begun_s, 610.0),))
        assert len(read(again, 38.0, 4.0)[0].visits) == 1


def chilled(state: Watch, for_s: float, at_c: float = 35.0) -> Watch:
    """Too cold from the next reading on, for so long, while its vapour stays, which no door does."""
    for n in range(1, round(for_s / 10.0) + 1):
        state, _ = read(state, at_c, 4.0, 10.0 * n)
        assert state.episode is None
    return state


@pytest.mark.parametrize(
    ("for_s", "kept"), [(590.0, False), (600.0, True), (5400.0, True), (5410.0, False), (9000.0, False)]
)
def test_cold_without_a_door_that_came_back_by_itself_is_remembered(for_s: float, kept: bool) -> None:
    """Where it lasted for ten minutes, and for no longer than any opening is held: with when it began, and how long it was."""
    cold = chilled(KNOWN, for_s)
    assert (cold.visits, cold.cold_s) == ((), NOW_S + AT_ALL)
    after, _ = read(cold, 38.0, 4.0, for_s + 10.0)
    assert (after.visits, after.cold_s) == (((NOW_S + AT_ALL, for_s),) if kept else (), math.inf)


def test_cold_at_its_edge_is_one_cold() -> None:
    """It is over three tenths of a kelvin above the limit that began it, or a sensor's noise would begin it anew for ever."""
    cold = chilled(KNOWN, 1200.0)
    assert read(cold, 36.29, 4.0, 1210.0)[0].cold_s == NOW_S + AT_ALL
    assert read(cold, 36.31, 4.0, 1210.0)[0].cold_s == math.inf
    assert read(KNOWN, 36.01, 4.0)[0].cold_s == math.inf  # but it begins at the limit itself
    assert read(KNOWN, 35.99, 4.0)[0].cold_s == NOW_S + AT_ALL


def test_cold_that_an_opening_explains_is_the_openings_own() -> None:
    """While one is followed nothing is counted beside it, and what was counted before is forgotten: one door is no two coolings."""
    assert read(OPEN, 30.0, 2.0)[0].cold_s == math.inf
    began = replace(OPEN, cold_s=NOW_S - 3000.0)
    assert read(began, 30.0, 2.0)[0].cold_s == math.inf
    after, verdict = read(began, 38.0, 4.0)
    assert (verdict.kind, after.visits) == (ENDED, ())


@pytest.mark.parametrize(
    ("days", "near_s", "usual"),
    [
        (1.0, 0.0, True),  # yesterday
        (2.0, 0.0, True),
        (3.0, 0.0, False),  # two days without it
        (0.0, 0.0, False),  # today is no habit
        (0.5, 0.0, False),
        (1.0, 3599.0, True),  # an hour earlier, or later
        (1.0, 3601.0, False),
        (1.0, -3599.0, True),
        (1.0, -3601.0, False),
        (2.0, 3599.0, True),
        (2.0, -3601.0, False),
    ],
)
def test_cold_is_usual_at_the_hour_of_yesterday_or_the_day_before(days: float, near_s: float, usual: bool) -> None:
    """Within an hour of it, and for as long as then and a quarter of an hour; of air that is not too cold it is not said."""
    began_s = 20 * DAY_S
    seen = replace(KNOWN, visits=((began_s - days * DAY_S - near_s, 1200.0),))
    cold = replace(seen, cold_s=began_s)
    assert cold_as_usual(cold, began_s) is usual
    assert cold_as_usual(cold, began_s + 2099.0) is usual
    assert not cold_as_usual(cold, began_s + 2100.0)
    assert not cold_as_usual(seen, began_s)


def test_of_several_days_the_longest_says_how_long_cold_is_usual() -> None:
    """At its own hour: what was longer at another says nothing."""
    began_s = 20 * DAY_S
    visits = ((began_s - 2 * DAY_S, 1800.0), (began_s - DAY_S, 900.0), (began_s - 0.8 * DAY_S, 3000.0))
    cold = replace(KNOWN, cold_s=began_s, visits=visits)
    assert cold_as_usual(cold, began_s + 2699.0)
    assert not cold_as_usual(cold, began_s + 2700.0)


@pytest.mark.parametrize("noise_c", [35.0, 36.1])
def test_cold_is_usual_for_an_hour_at_most(noise_c: float) -> None:
    """However long it was yesterday, and also where a reading now and then is just above its limit."""
    cold = replace(KNOWN, visits=((NOW_S - DAY_S, 5000.0),))
    for n in range(1, 1000):
        cold, _ = read(cold, noise_c if n % 50 == 0 else 35.0, 4.0, 10.0 * n)
        assert cold_as_usual(cold, NOW_S + 10.0 * n) is (n <= 360)


@pytest.mark.parametrize("usual", [True, False])
def test_what_is_cold_at_its_hour_makes_no_heat_an_overshoot(usual: bool) -> None:
    """Neither while it lasts nor after it: no door was seen, so that heat may be a thermostat that fails. It teaches nothing of what the
    machine does after its doors."""
    state = replace(KNOWN, visits=((NOW_S - DAY_S, 1500.0),) if usual else ())
    for n in range(1, 151):
        state, _ = read(state, 35.0, 4.0, 10.0 * n)
        assert cold_as_usual(state, NOW_S + 10.0 * n) is usual
        assert not overshoots(state, NOW_S + 10.0 * n)
    for n in range(151, 221):
        state, _ = read(state, 39.0, 4.0, 10.0 * n)
        assert not overshoots(state, NOW_S + 10.0 * n)
    state, _ = read(state, 38.0, 4.0, 2210.0)
    assert (state.over_s, state.over_k) == (0.0, 0.0)


def test_dry_air_waits_for_what_is_cold_at_its_hour_as_for_a_door() -> None:
    """For as long as it is cold as usual, and three quarters of an hour; where cold is no habit it does not wait."""
    usual = chilled(replace(KNOWN, visits=((NOW_S - DAY_S, 1500.0),)), 1200.0)
    after, _ = read(usual, 38.0, 4.0, 1210.0)
    for after_s, waits in ((1210.0, True), (1200.0 + 2699.0, True), (1200.0 + 2700.0, False)):
        assert settles(after, NOW_S + after_s) is waits
    assert read(usual, 38.0, 3.75, 1210.0)[0].usual_kpa == 4.0  # nor is it learnt
    other = chilled(KNOWN, 1200.0)
    assert not settles(other, NOW_S + 1200.0)
    assert read(other, 38.0, 3.75, 1210.0)[0].usual_kpa < 4.0


def test_what_is_cold_at_its_hour_is_no_opening_of_the_record() -> None:
    """Its humidity moves with its temperature: that is no door that anybody saw, and is held no longer than by its hour."""
    cold = chilled(replace(KNOWN, visits=((NOW_S - DAY_S, 1500.0),)), 1800.0)
    assert (cold.opened_s, cold.episode) == (-math.inf, None)


# A door was open a quarter of an hour ago, and let out three of four kilopascals.
DRIED = replace(
    KNOWN, near_s=NOW_S - 1000.0, opened_s=NOW_S - 900.0, first_s=NOW_S - 950.0, last_kpa=3.2, driest_kpa=1.0
)


@pytest.mark.parametrize(
    ("state", "dry_bulb_c", "kpa", "again"),
    [
        (DRIED, 38.0, 3.26, True),  # three quarters of it
        (DRIED, 38.0, 3.24, False),
        (DRIED, 37.86, 3.26, True),
        (DRIED, 37.84, 3.26, False),  # and its temperature as near as undisturbed air
        (DRIED, 38.5, 3.26, True),
        (replace(DRIED, driest_kpa=2.0), 38.0, 3.49, False),  # of what it let out, however much that was
        (replace(DRIED, driest_kpa=2.0), 38.0, 3.51, True),
        (replace(DRIED, driest_kpa=math.inf), 38.0, 3.51, False),  # where no door let out any, none has come back
    ],
)
def test_air_with_three_quarters_of_its_vapour_back_is_undisturbed_again(
    state: Watch, dry_bulb_c: float, kpa: float, again: bool
) -> None:
    """What makes it moist works, and the next opening is one of its own, with the time that one has."""
    after, _ = read(state, dry_bulb_c, kpa)
    assert (after.near_s == NOW_S + AT_ALL) is again
    opened, _ = read(after, dry_bulb_c, kpa - 1.0, 20.0)
    assert opened.first_s == (NOW_S + 20.0 if again else DRIED.first_s)


def test_an_opening_is_over_with_three_quarters_of_its_vapour_back() -> None:
    """And its temperature within three tenths of its usual. What is then still missing counts from the last door; how much that let out stays
    known until the rest is home."""
    rising = replace(HOMING, driest_kpa=2.0, first_s=NOW_S - 5000.0, opened_s=NOW_S - 600.0)
    for dry_bulb_c, kpa, back in ((37.71, 3.51, True), (37.71, 3.49, False), (37.69, 3.51, False)):
        after, verdict = read(rising, dry_bulb_c, kpa)
        assert (verdict.kind == ENDED) is back
        assert (after.driest_kpa, after.first_s) == (2.0, NOW_S - (600.0 if back else 5000.0))
    assert read(rising, 37.71, 3.8)[0].driest_kpa == math.inf


def test_a_door_that_comes_before_the_rest_of_the_vapour_is_home_is_a_door() -> None:
    """Three quarters are back and the opening is over; eight minutes later the rest is still missing, when somebody opens again: that is a fall
    from where the air was by then, and dry air has its time anew."""
    state = replace(HOMING, driest_kpa=1.0, first_s=NOW_S - 2000.0, opened_s=NOW_S - 1900.0)
    for n in range(1, 49):
        state, _ = read(state, 38.0, 3.3 + 0.005 * n, 10.0 * n)
    assert state.episode is None
    for after_s, kpa in ((490.0, 2.0), (500.0, 1.8)):
        state, _ = read(state, 36.0, kpa, after_s)
    assert there(state.episode).phase == OPENING
    assert state.first_s == NOW_S + 490.0
    assert settles(state, NOW_S + 490.0 + 2600.0)


def test_vapour_that_is_half_home_has_ninety_minutes_from_the_last_door_once_most_of_it_was_back() -> None:
    """Opened three times in an hour and a half, it came back to three quarters: what is then missing is the last door's, and no longer the first's."""
    state = replace(KNOWN, near_s=NOW_S - 5500.0, first_s=NOW_S - 5500.0, opened_s=NOW_S - 2000.0, driest_kpa=1.0)
    state, _ = read(
        replace(state, last_kpa=3.2, learnt_s=600.0, usual_kpa=4.0, episode=replace(HELD, phase=RECOVERING)), 38.0, 3.3
    )
    assert state.episode is None
    for kpa, half in ((2.51, True), (2.49, False)):
        for after_s, in_time in ((3390.0, True), (3401.0, False)):
            assert settles(replace(state, last_kpa=kpa), NOW_S + after_s) is (half and in_time)


def test_a_machine_that_is_on_its_way_home_at_the_second_reading_was_open_at_the_first() -> None:
    """A strong heater and a probe that speaks each minute: what its controller then goes too far is a door's."""
    state, _ = read(KNOWN, 36.3, 2.3, 60.0, every_s=60.0)
    state, verdict = read(state, 36.6, 2.1, 120.0, every_s=60.0)
    assert verdict.kind == RECOVERING
    assert (state.opened_s, state.first_s) == (NOW_S + 60.0, NOW_S + 60.0)
    assert overshoots(state, NOW_S + 60.0 + 2690.0)


@pytest.mark.parametrize(
    ("ripple_k", "fell_k", "seen"), [(0.0, 0.71, True), (0.0, 0.69, False), (0.4, 1.01, True), (0.4, 0.99, False)]
)
def test_a_fall_beyond_the_swing_is_one_after_which_a_controller_goes_too_far(
    ripple_k: float, fell_k: float, seen: bool
) -> None:
    """Seven tenths of a kelvin, and two and a half times the mean distance of a machine that swings, of which two are its own: whatever its vapour
    says. For five minutes what is warmer than it ever is by itself is no ripple of it either."""
    swings = replace(KNOWN, ripple_k=ripple_k)
    fell, _ = read(swings, 38.0 - fell_k, 4.0)
    home, _ = read(fell, 38.0, 4.0, 20.0)
    assert dipped(home, NOW_S + 30.0) is seen
    assert not dipped(home, NOW_S + 310.0)
    for after_s, learns in ((300.0, not seen), (320.0, True)):
        warm, _ = read(replace(home, newest_s=NOW_S + after_s - 10.0), 39.5, 4.0, after_s)
        assert (warm.ripple_k > home.ripple_k) is learns


def test_the_driest_of_an_opening_is_kept_while_it_is_followed() -> None:
    """Drier is a new driest, at the open door and on the way back; what is moister is not."""
    for state in (OPEN, HOMING):
        for kpa, driest_kpa in ((1.9, 1.9), (2.1, 2.0)):
            assert read(replace(state, driest_kpa=2.0), 33.2, kpa)[0].driest_kpa == driest_kpa


def test_air_settles_for_three_quarters_of_an_hour_and_ninety_minutes_at_most() -> None:
    """From when the door was last seen open, and from when it first was."""
    for opened_s, first_s, until_s in ((0.0, 0.0, 2700.0), (4000.0, 0.0, 5400.0), (4000.0, 3000.0, 6700.0)):
        open_ = replace(KNOWN, opened_s=opened_s, first_s=first_s)
        assert settles(open_, until_s - 0.1)
        assert not settles(open_, until_s)


def test_the_first_reading_is_what_is_usual_until_more_is_known() -> None:
    """Also of a machine in a freezing shed."""
    for dry_bulb_c in (38.0, -5.0):
        after, verdict = watch(Watch(recovery_s=50.0), NOW_S, dry_bulb_c, 0.4, interval_s=10.0)
        assert verdict == Verdict(QUIET)
        assert after == Watch(NOW_S, NOW_S, 0.0, dry_bulb_c, 0.0, 0.4, 0.0, 50.0, last_kpa=0.4)


def test_work_that_is_over_is_not_finished_again() -> None:
    """At its very end it is over, with the label that was declared, wherever the clock was set meanwhile."""
    handling = declare("setter-1", for_s=1200.0, by="sam", now=at(0))
    assert finish(handling, at(20, utc_shift_s=-3600.0)) == handling
    assert finish(handling, at(19.9)).until == at(19.9).utc
