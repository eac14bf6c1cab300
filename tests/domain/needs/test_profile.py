"""Bands, stages, and what of a profile has to go together."""

import copy
import math
from dataclasses import astuple, replace

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from monitor.domain.needs import profile as profile_module
from monitor.domain.needs.profile import Band, Profile, Stage

Declared = tuple[tuple[str, float], ...]

# The figures are invented.
BIRD = Profile(
    id="test-bird",
    name="Test bird",
    scientific_name="Avis probata",
    days=20.0,
    hatch_day_first=19.0,
    hatch_day_last=21.0,
    lockdown_day=17.0,
    stages=(
        Stage("setter", 0.0, Band(36.7, 37.5, 37.8, 38.1, 38.9), rh_pct=Band(None, 40.0, None, 55.0)),
        Stage("lockdown", 17.0, Band(36.0, None, 37.2, None, 38.3), wet_bulb_c=Band(None, 31.0)),
        Stage("hatch", 18.5, Band(36.0, None, 37.0, None, 38.3)),
    ),
)


# --- bands -------------------------------------------------------------------------------------------------


def floor(band: Band) -> float:
    """The lowest value free of a warning (of an alarm, where no warning is given)."""
    return max([v for v in (band.low_alarm, band.low_warning) if v is not None], default=float("-inf"))


def ceiling(band: Band) -> float:
    return min([v for v in (band.high_alarm, band.high_warning) if v is not None], default=float("inf"))


@st.composite
def bands(draw: st.DrawFn) -> Band:
    values = sorted(draw(st.lists(st.integers(300, 400), min_size=5, max_size=5)))
    kept = draw(st.lists(st.booleans(), min_size=5, max_size=5))
    return Band(*(value / 10 if keep else None for value, keep in zip(values, kept, strict=True)))


@given(bands(), bands())
def test_intersection_commutes(one: Band, other: Band) -> None:
    """Taking the batches of a machine in either order gives the same band."""
    assert one.intersect(other) == other.intersect(one)


@given(bands(), bands(), bands())
def test_intersection_is_associative(one: Band, two: Band, three: Band) -> None:
    """With three batches the order makes no difference either, for limits or target."""
    left, right = one.intersect(two), two.intersect(three)
    assert (left and left.intersect(three)) == (right and one.intersect(right))


@given(bands())
def test_intersection_with_itself_changes_no_limit(band: Band) -> None:
    """Two batches of one profile need what one of them needs."""
    assert band.intersect(band) == band


@given(bands(), bands())
def test_intersection_is_none_iff_disjoint(one: Band, other: Band) -> None:
    """There is no band exactly when no value suits both."""
    disjoint = max(floor(one), floor(other)) > min(ceiling(one), ceiling(other))
    assert (one.intersect(other) is None) == disjoint


@given(bands(), bands(), st.integers(300, 400))
def test_a_value_is_inside_the_intersection_iff_inside_both(one: Band, other: Band, tenths: int) -> None:
    """What the shared band lets pass unwarned, each of the two lets pass, and the other way round."""
    both, value = one.intersect(other), tenths / 10
    if both is not None:
        inside = [floor(band) <= value <= ceiling(band) for band in (one, other, both)]
        assert (inside[0] and inside[1]) == inside[2]


@given(bands(), bands())
def test_alarms_of_the_intersection_are_the_stricter_ones(one: Band, other: Band) -> None:
    """The shared band alarms where the stricter of the two would."""
    both = one.intersect(other)
    if both is not None:
        lows = [band.low_alarm for band in (one, other) if band.low_alarm is not None]
        highs = [band.high_alarm for band in (one, other) if band.high_alarm is not None]
        assert (both.low_alarm, both.high_alarm) == (max(lows, default=None), min(highs, default=None))


@given(bands(), bands())
def test_target_of_the_intersection_lies_inside_it(one: Band, other: Band) -> None:
    """The shared target is one that both allow, given whenever either has a target."""
    both = one.intersect(other)
    if both is not None:
        assert (both.target is None) == (one.target is None and other.target is None)
        assert both.target is None or floor(both) <= both.target <= ceiling(both)


def test_intersection_by_example() -> None:
    """Two setters share a narrow strip, and the lower of their targets moves up into it."""
    chicken = Band(36.7, 37.5, 37.8, 38.1, 38.9)
    turkey = Band(36.1, 36.9, 37.2, 37.6, 38.9)
    assert chicken.intersect(turkey) == Band(36.7, 37.5, 37.5, 37.6, 38.9)
    assert chicken.intersect(Band(35.15, 36.0, 36.25, 36.5, 37.35)) is None


def test_a_single_shared_value_is_a_band() -> None:
    """Bands that touch in one point can share a machine, if only just."""
    assert Band(low_warning=37.0).intersect(Band(high_warning=37.0)) == Band(None, 37.0, None, 37.0, None)


def test_warning_is_not_left_outside_a_foreign_alarm() -> None:
    """When one band gives only an alarm, the other's warning is moved to it, never left beyond it."""
    assert Band(low_alarm=36.0).intersect(Band(low_warning=35.0)) == Band(36.0, 36.0)
    assert Band(high_alarm=38.0).intersect(Band(high_warning=39.0)) == Band(None, None, None, 38.0, 38.0)


def test_shifted_moves_every_limit_and_no_gap() -> None:
    """A still-air shift moves each limit given by the same amount and invents none."""
    assert astuple(Band(36.0, None, 37.0, 38.0, None).shifted(1.5)) == (37.5, None, 38.5, 39.5, None)


@pytest.mark.parametrize(
    ("limits", "line"),
    [
        ({"low_alarm": 38, "low_warning": 37}, "low_alarm 38 above low_warning 37, expected low to high"),
        ({"low_alarm": 39, "high_alarm": 36}, "low_alarm 39 above high_alarm 36, expected low to high"),
        ({"target": 39, "high_warning": 38}, "target 39 above high_warning 38, expected low to high"),
        ({"target": float("nan")}, "target nan, expected a finite number"),
        ({"high_alarm": float("inf")}, "high_alarm inf, expected a finite number"),
    ],
)
def test_upside_down_band_is_refused(limits: dict[str, float], line: str) -> None:
    """A band that does not run from low to high, or holds no number, never comes to be."""
    with pytest.raises(ValueError, match=r"expected") as caught:
        Band(**limits)
    assert str(caught.value) == line


# --- stages by day -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("day", "declared", "stage"),
    [
        (-1.0, (), "setter"),
        (0.0, (), "setter"),
        (16.999, (), "setter"),
        (17.0, (), "lockdown"),
        (18.5, (), "hatch"),
        (40.0, (), "hatch"),
        (15.9, (("lockdown", 16.0),), "setter"),  # not declared yet
        (16.0, (("lockdown", 16.0),), "lockdown"),
        (16.5, (("hatch", 16.2),), "hatch"),
        (16.5, (("hatch", 16.2), ("lockdown", 16.4)), "hatch"),  # a later word does not take it back
        (18.0, (("setter", 17.5),), "lockdown"),
    ],
)
def test_stage_at(day: float, declared: Declared, stage: str) -> None:
    """The stage is that of the day, or a later one from the moment it was declared."""
    assert BIRD.stage_at(day, declared).name == stage


def test_hatch_declared_without_a_hatch_stage_is_lockdown() -> None:
    """A profile of two stages takes a declared hatch as lockdown, from the declared day on."""
    profile = replace(BIRD, stages=BIRD.stages[:2])
    assert profile.stage_at(15.0, (("hatch", 14.0),)).name == "lockdown"
    assert profile.stage_at(13.9, (("hatch", 14.0),)).name == "setter"


def test_unknown_declared_stage_is_an_error() -> None:
    """A stage name that does not exist is our own mistake, and is not passed over."""
    with pytest.raises(ValueError, match=r"^stage: 'pip', expected one of setter, lockdown, hatch$"):
        BIRD.stage_at(3.0, (("pip", 2.0),))


@pytest.mark.parametrize(
    ("day", "declared", "turn"),
    [
        (0.0, (), 17.0),
        (17.0, (), 18.5),
        (18.5, (), None),
        (0.0, (("lockdown", 15.2),), 15.2),
        (15.2, (("lockdown", 15.2),), 18.5),  # day 17 changes nothing any more
        (16.0, (("hatch", 15.0),), None),
        (0.0, (("lockdown", 17.5),), 17.0),
    ],
)
def test_next_change_day(day: float, declared: Declared, turn: float | None) -> None:
    """The next change is the next day on which the stage really is another one."""
    assert BIRD.next_change_day(day, declared) == turn


@given(
    st.floats(-5, 30),
    st.lists(st.tuples(st.sampled_from(["setter", "lockdown", "hatch"]), st.floats(0, 30)), max_size=3),
)
@example(day=0.0, said=[("lockdown", 5e-324)])
def test_nothing_changes_before_the_next_change(day: float, said: list[tuple[str, float]]) -> None:
    """Up to the next change the stage stays; on it, the stage is another."""
    profile, declared = BIRD, tuple(said)
    now, turn = profile.stage_at(day, declared), profile.next_change_day(day, declared)
    end = 31.0 if turn is None else turn
    last = math.nextafter(end, -math.inf)  # of a way that short, a part may be rounded to all of it
    for part in range(20):
        assert profile.stage_at(min(day + (end - day) * part / 20, last), declared) is now
    assert turn is None or (turn > day and profile.stage_at(turn, declared) is not now)


# --- what goes together ------------------------------------------------------------------------------------


def test_profiles_can_be_used_as_keys() -> None:
    """Profile, stage and band are values: equal when their contents are, and usable as keys."""
    assert copy.deepcopy(BIRD) == BIRD
    assert len({copy.deepcopy(BIRD), BIRD}) == 1


@pytest.mark.parametrize(
    ("changes", "line"),
    [
        ({"kind": "fish"}, "kind: 'fish', expected one of fowl, "),
        ({"lockdown_by": "peeping"}, "lockdown_by: 'peeping', expected one of calendar, draw-down, "),
        ({"egg_mass_g": (70.0, 50.0)}, "egg_mass_g: 70 above 50, expected low to high"),
        ({"target_loss_pct": (14.0, 11.0)}, "target_loss_pct: 14 above 11, expected low to high"),
        ({"target_loss_to": 25.0}, "target_loss_to: day 25, expected a day of its term, at most 20"),
        ({"target_loss_to": "pip"}, "target_loss_to: 'pip', expected a day from 1 to 120, "),
    ],
)
def test_what_is_none_or_upside_down_is_refused(changes: dict[str, object], line: str) -> None:
    """An archive makes profiles without a table: what is none there never comes to be either."""
    with pytest.raises(ValueError, match=line):
        replace(BIRD, **changes)  # type: ignore[arg-type]


def test_what_came_is_shown_up_to_sixty_characters() -> None:
    """A value as long as that is shown whole, a longer one is cut."""
    assert profile_module._shown("a" * 58) == "'" + "a" * 58 + "'"
    assert len(profile_module._shown("a" * 59)) <= 60
    assert profile_module._shown("a" * 59) != "'" + "a" * 59 + "'"


@pytest.mark.parametrize("sign", ["draw-down", "internal pip", "external pip"])
def test_no_day_begins_a_stage_of_a_bird_that_goes_by_the_egg(sign: str) -> None:
    """Only what was declared does, and only from then on."""
    by_egg = replace(BIRD, lockdown_by=sign)
    assert [by_egg.stage_at(day).name for day in (0.0, 17.0, 30.0)] == ["setter"] * 3
    assert by_egg.next_change_day(0.0) is None
    assert by_egg.stage_at(19.0, (("lockdown", 18.2),)).name == "lockdown"
    assert by_egg.next_change_day(18.0, (("lockdown", 18.2),)) == 18.2
    assert [by_egg.reminds(day, "setter") for day in (16.9, 17.0, 25.0)] == [False, True, True]
    assert not by_egg.reminds(19.0, "lockdown")
    assert not BIRD.reminds(19.0, "setter")
