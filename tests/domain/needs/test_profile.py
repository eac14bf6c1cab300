"""Bands, stages and the parsing of profiles."""

import copy
from dataclasses import astuple, replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.domain.needs.profile import Band, Profile, ProfileError, Stage, parse_profile

KEYS = {"book", "definition"}
Declared = tuple[tuple[str, float], ...]


def sound() -> dict[str, Any]:
    """A profile as TOML gives it, with nothing wrong; the figures are invented."""
    return {
        "id": "test-bird",
        "name": "Test bird",
        "scientific_name": "Avis probata",
        "days": [20, "book"],
        "hatch_day_first": [19, "book"],
        "hatch_day_last": [21, "book"],
        "lockdown_day": [17, "book"],
        "still_air_offset_k": [1.1, "book"],
        "egg_mass_g": [[50, 70], "book"],
        "target_loss_pct": [[11, 14], "book"],
        "target_loss_to": [17, "book"],
        "kind": "fowl",
        "lockdown_by": ["draw-down", "book"],
        "lethal_heat": [[40.6, 30], "book"],
        "notes": ["Books disagree."],
        "unknown": ["What it sings."],
        "stage": [
            {
                "name": "setter",
                "from_day": [0, "definition"],
                "dry_bulb_c": {
                    "low_alarm": [36.7, "book"],
                    "low_warning": [37.5, "book"],
                    "target": [37.8, "book"],
                    "high_warning": [38.1, "book"],
                    "high_alarm": [38.9, "book"],
                },
                "rh_pct": {"low_warning": [40, "book"], "high_warning": [55, "book"]},
            },
            {
                "name": "lockdown",
                "dry_bulb_c": {
                    "low_alarm": [36.0, "book"],
                    "target": [37.2, "book"],
                    "high_alarm": [38.3, "book"],
                },
                "wet_bulb_c": {"low_warning": [31.0, "book"]},
            },
            {
                "name": "hatch",
                "from_day": [18.5, "book"],
                "dry_bulb_c": {
                    "low_alarm": [36.0, "book"],
                    "target": [37.0, "book"],
                    "high_alarm": [38.3, "book"],
                },
            },
        ],
    }


def parsed(data: dict[str, Any] | None = None, **options: Any) -> Profile:
    return parse_profile(sound() if data is None else data, "t.toml", source_keys=KEYS, **options)


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
    assert parsed().stage_at(day, declared).name == stage


def test_hatch_declared_without_a_hatch_stage_is_lockdown() -> None:
    """A profile of two stages takes a declared hatch as lockdown, from the declared day on."""
    data = sound()
    del data["stage"][2]
    profile = parsed(data)
    assert profile.stage_at(15.0, (("hatch", 14.0),)).name == "lockdown"
    assert profile.stage_at(13.9, (("hatch", 14.0),)).name == "setter"


def test_unknown_declared_stage_is_an_error() -> None:
    """A stage name that does not exist is our own mistake, and is not passed over."""
    with pytest.raises(ValueError, match=r"^stage: 'pip', expected one of setter, lockdown, hatch$"):
        parsed().stage_at(3.0, (("pip", 2.0),))


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
    assert parsed().next_change_day(day, declared) == turn


@given(
    st.floats(-5, 30),
    st.lists(st.tuples(st.sampled_from(["setter", "lockdown", "hatch"]), st.floats(0, 30)), max_size=3),
)
def test_nothing_changes_before_the_next_change(day: float, said: list[tuple[str, float]]) -> None:
    """Up to the next change the stage stays; on it, the stage is another."""
    profile, declared = parsed(), tuple(said)
    now, turn = profile.stage_at(day, declared), profile.next_change_day(day, declared)
    end = 31.0 if turn is None else turn
    for part in range(20):
        assert profile.stage_at(day + (end - day) * part / 20, declared) is now
    assert turn is None or (turn > day and profile.stage_at(turn, declared) is not now)


# --- parsing -----------------------------------------------------------------------------------------------


def test_a_sound_profile_is_parsed_whole() -> None:
    """Every value of the table arrives in the profile."""
    profile = parsed()
    assert (profile.id, profile.name, profile.scientific_name) == ("test-bird", "Test bird", "Avis probata")
    assert (profile.days, profile.lockdown_day) == (20, 17)
    assert (profile.hatch_day_first, profile.hatch_day_last) == (19, 21)
    assert profile.still_air_offset_k == 1.1
    assert (profile.egg_mass_g, profile.target_loss_pct) == ((50, 70), (11, 14))
    assert (profile.target_loss_to, profile.kind, profile.lethal_heat) == (17.0, "fowl", (40.6, 30.0))
    assert (profile.lockdown_by, profile.lockdown_sign) == ("draw-down", "draw-down")
    assert (profile.notes, profile.unknown) == (("Books disagree.",), ("What it sings.",))
    assert profile.stages == (
        Stage("setter", 0, Band(36.7, 37.5, 37.8, 38.1, 38.9), rh_pct=Band(None, 40, None, 55)),
        Stage("lockdown", 17, Band(36.0, None, 37.2, None, 38.3), wet_bulb_c=Band(None, 31.0)),
        Stage("hatch", 18.5, Band(36.0, None, 37.0, None, 38.3)),
    )


def test_every_value_has_its_source() -> None:
    """Each value is found in `sources` under its dotted path, a stage's day taken from elsewhere too."""
    sources = parsed().sources
    assert sources["days"] == sources["egg_mass_g"] == "book"
    assert sources["stage.lockdown.wet_bulb_c.low_warning"] == "book"
    assert sources["stage.setter.from_day"] == "definition"
    assert sources["stage.lockdown.from_day"] == "book"
    assert sources["lockdown_by"] == sources["target_loss_to"] == sources["lethal_heat"] == "book"
    assert len(sources) == 10 + 8 + 5 + 4  # the profile's own values, then setter, lockdown, hatch


def test_optional_values_may_be_missing() -> None:
    """A profile stands without them, as those written before they were known: it goes by the calendar, its target is to pip."""
    data = sound()
    for key in (
        "still_air_offset_k", "egg_mass_g", "target_loss_pct", "target_loss_to", "kind", "lockdown_by", "lethal_heat",
        "notes", "unknown",
    ):  # fmt: skip
        del data[key]
    profile = parsed(data)
    assert (profile.still_air_offset_k, profile.egg_mass_g, profile.target_loss_pct) == (None, None, None)
    assert (profile.kind, profile.lethal_heat, profile.notes, profile.unknown) == (None, None, (), ())
    assert (profile.lockdown_by, profile.lockdown_sign, profile.target_loss_to) == ("calendar", None, "internal pip")


@pytest.mark.parametrize(
    ("came", "clock"), [("internal pip", "internal pip"), ("hatch", "hatch"), (18, 18.0), (17.5, 17.5)]
)
def test_a_target_is_meant_to_a_day_to_pip_or_to_hatch(came: object, clock: float | str) -> None:
    """The clock of a target is one of two words, or a day of incubation, with its source."""
    profile = parsed(sound() | {"target_loss_to": [came, "book"]})
    assert (profile.target_loss_to, profile.sources["target_loss_to"]) == (clock, "book")


def test_plain_values_are_taken_where_allowed() -> None:
    """With a source for plain values they need no key; a pair stays a pair, a cited one keeps its key."""
    data = sound()
    data["days"], data["egg_mass_g"] = 20.5, [40, 60]
    profile = parse_profile(data, "t.toml", source_keys=KEYS | {"own"}, plain_source="own")
    assert (profile.days, profile.egg_mass_g) == (20.5, (40.0, 60.0))
    assert (profile.sources["days"], profile.sources["lockdown_day"]) == ("own", "book")


def test_parsing_leaves_the_table_alone() -> None:
    """The table can be used again, as the base of another profile."""
    data = sound()
    before = copy.deepcopy(data)
    parsed(data)
    assert data == before


ONE_OF = "unknown key, expected one of"
REMOVE = object()
WRONG = [
    (("colour",), ["blue", "book"], f"colour: {ONE_OF} id, name, scientific_name, days, hatch_day_first, "
     "hatch_day_last, lockdown_day, kind, lockdown_by, still_air_offset_k, egg_mass_g, target_loss_pct, "
     "target_loss_to, lethal_heat, notes, unknown, rules, stage"),
    (("stage", 0, "co2_pct"), {},
     f"stage.setter.co2_pct: {ONE_OF} name, from_day, dry_bulb_c, rh_pct, wet_bulb_c"),
    (("stage", 0, "dry_bulb_c", "high_alrm"), [39, "book"], "stage.setter.dry_bulb_c.high_alrm: "
     f"{ONE_OF} low_alarm, low_warning, target, high_warning, high_alarm"),
    (("id",), REMOVE, "id: missing, expected text"),
    (("id",), "Test Bird", "id: 'Test Bird', expected 1 to 32 of a-z, 0-9 and -"),
    (("id",), "x" * 33, "id: 'xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx', expected 1 to 32 of a-z, 0-9 and -"),
    (("name",), 7, "name: 7, expected text"),
    (("scientific_name",), " ", "scientific_name: ' ', expected text"),
    (("notes",), "one", "notes: 'one', expected a list of texts"),
    (("notes",), [1], "notes: [1], expected a list of texts"),
    (("days",), REMOVE, 'days: missing, expected a number with its source, [value, "KEY"]'),
    (("days",), 20, 'days: 20, expected a number with its source, [value, "KEY"]'),
    (("days",), [20, "rumour"], "days: unknown source key 'rumour', expected one of those in SOURCES.toml"),
    (("days",), ["20", "book"], "days: '20', expected a number from 0 to 120"),
    (("days",), [True, "book"], "days: True, expected a number from 0 to 120"),
    (("days",), [float("nan"), "book"], "days: nan, expected a number from 0 to 120"),
    (("days",), [22, "book"], "days: 22, expected from hatch_day_first, 19, to hatch_day_last, 21"),
    (("days",), [18, "book"], "days: 18, expected from hatch_day_first, 19, to hatch_day_last, 21"),
    (("egg_mass_g",), [50, "book"], "egg_mass_g: 50, expected [low, high], numbers from 0.1 to 3000"),
    (("egg_mass_g",), [[70, 50], "book"],
     "egg_mass_g: [70, 50], expected [low, high], numbers from 0.1 to 3000"),
    (("egg_mass_g",), [50, 70],
     'egg_mass_g: [50, 70], expected a pair [low, high] with its source, [value, "KEY"]'),
    (("target_loss_pct",), [[11, 99], "book"],
     "target_loss_pct: [11, 99], expected [low, high], numbers from 0 to 40"),
    (("target_loss_to",), ["pip", "book"],
     "target_loss_to: 'pip', expected a day from 1 to 120, or internal pip or hatch"),
    (("target_loss_to",), [0, "book"],
     "target_loss_to: 0, expected a day from 1 to 120, or internal pip or hatch"),
    (("target_loss_to",), "hatch", "target_loss_to: 'hatch', expected a day from 1 to 120, "
     'or internal pip or hatch with its source, [value, "KEY"]'),
    (("kind",), "fish", "kind: 'fish', expected one of fowl, waterfowl, pigeon, ratite, parrot, raptor, kingfisher, penguin"),
    (("kind",), 7, "kind: 7, expected text"),
    (("lockdown_by",), ["peeping", "book"],
     "lockdown_by: 'peeping', expected one of calendar, draw-down, internal pip, external pip"),
    (("lethal_heat",), [[105, 30], "book"],
     "lethal_heat: [105, 30], expected [°C, minutes], from 37 to 60 °C and from 1 to 10080 minutes"),
    (("lethal_heat",), [40.6, "book"],
     "lethal_heat: 40.6, expected [°C, minutes], from 37 to 60 °C and from 1 to 10080 minutes"),
    (("unknown",), "all", "unknown: 'all', expected a list of texts"),
    (("still_air_offset_k",), [37.8, "book"], "still_air_offset_k: 37.8, expected a number from 0 to 5"),
    (("stage",), REMOVE, "stage: missing, expected one or more tables [[stage]]"),
    (("stage",), [], "stage: [], expected one or more tables [[stage]]"),
    (("stage",), [3], "stage: [3], expected one or more tables [[stage]]"),
    (("stage", 1), REMOVE,
     "stage: setter, hatch, expected setter, lockdown and perhaps hatch, in this order"),
    (("stage", 0, "name"), "lockdown",
     "stage: lockdown, lockdown, hatch, expected setter, lockdown and perhaps hatch, in this order"),
    (("stage", 0, "name"), "egg", "stage.1: name: 'egg', expected one of setter, lockdown, hatch"),
    (("stage", 0, "name"), REMOVE, "stage.1.name: missing, expected text"),
    (("stage", 0, "from_day"), [1, "book"], "stage.setter.from_day: 1, expected 0"),
    (("stage", 1, "from_day"), [16, "book"], "stage.lockdown.from_day: 16, expected lockdown_day, 17"),
    (("stage", 2, "from_day"), REMOVE,
     "stage.hatch.from_day: missing, expected the day on which this stage starts"),
    (("stage", 2, "from_day"), [17, "book"],
     "stage.hatch.from_day: 17, expected above 17, where lockdown starts"),
    (("stage", 2, "from_day"), [19, "book"], "stage.hatch.from_day: 19, expected below hatch_day_first, 19"),
    (("lockdown_day",), [0, "book"], "stage.lockdown.from_day: 0, expected above 0, where setter starts"),
    (("stage", 0, "dry_bulb_c"), REMOVE, "stage.setter.dry_bulb_c: missing, expected a band"),
    (("stage", 0, "dry_bulb_c"), 37.5, "stage.setter.dry_bulb_c: 37.5, expected a table of limits"),
    (("stage", 1, "dry_bulb_c", "target"), REMOVE,
     "stage.lockdown.dry_bulb_c.target: missing, expected a value"),
    (("stage", 2, "dry_bulb_c", "high_alarm"), REMOVE,
     "stage.hatch.dry_bulb_c.high_alarm: missing, expected a value"),
    (("stage", 2, "dry_bulb_c", "low_alarm"), REMOVE,
     "stage.hatch.dry_bulb_c.low_alarm: missing, expected a value"),
    (("stage", 0, "dry_bulb_c", "target"), [100, "book"],
     "stage.setter.dry_bulb_c.target: 100, expected a number from 20 to 45"),
    (("stage", 0, "dry_bulb_c", "target"), [38.5, "book"],
     "stage.setter.dry_bulb_c: target 38.5 above high_warning 38.1, expected low to high"),
    (("stage", 0, "rh_pct"), {},
     "stage.setter.rh_pct: no limits, expected one or more of "
     "low_alarm, low_warning, target, high_warning, high_alarm"),
    (("stage", 0, "wet_bulb_c"), {"target": [29, "book"]},
     "stage.setter: both rh_pct and wet_bulb_c came, expected one humidity band or none"),
]  # fmt: skip


@pytest.mark.parametrize(("path", "value", "line"), WRONG, ids=[line[:60] for _, _, line in WRONG])
def test_what_is_wrong_is_said_in_one_line(path: tuple[Any, ...], value: object, line: str) -> None:
    """Each fault is refused with one line: file, key, what came, what was expected."""
    data = sound()
    place = data
    for step in path[:-1]:
        place = place[step]
    if value is REMOVE:
        del place[path[-1]]
    else:
        place[path[-1]] = value
    with pytest.raises(ProfileError) as caught:
        parsed(data)
    assert str(caught.value) == f"t.toml: {line}"


def test_long_values_are_cut_in_messages() -> None:
    """A message stays one short line whatever came."""
    data = sound() | {"days": [[list(range(500))], "book"]}
    with pytest.raises(ProfileError) as caught:
        parsed(data)
    assert len(str(caught.value)) < 120
    assert "\n" not in str(caught.value)


def test_profiles_can_be_used_as_keys() -> None:
    """Profile, stage and band are values: equal when their contents are, and usable as keys."""
    assert parsed() == parsed()
    assert len({parsed(), parsed()}) == 1


@pytest.mark.parametrize(
    ("changes", "line"),
    [
        ({"kind": "fish"}, "kind: 'fish', expected one of fowl, "),
        ({"lockdown_by": "peeping"}, "lockdown_by: 'peeping', expected one of calendar, draw-down, "),
        ({"target_loss_to": "pip"}, "target_loss_to: 'pip', expected a day from 1 to 120, "),
    ],
)
def test_a_kind_a_sign_or_a_clock_that_is_none_is_refused(changes: dict[str, str], line: str) -> None:
    """An archive makes profiles without the parser: what is none there never comes to be either."""
    with pytest.raises(ValueError, match=line):
        replace(parsed(), **changes)  # type: ignore[arg-type]
