"""One profile from its table: what arrives, with which source, and how each fault is told."""

import copy
from typing import Any

import pytest

from monitor.adapters.tables.profile import read_profile
from monitor.domain.needs.profile import Band, Profile, ProfileError, Stage

KEYS = {"book", "definition"}


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
    return read_profile(sound() if data is None else data, "t.toml", source_keys=KEYS, **options)


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
    profile = read_profile(data, "t.toml", source_keys=KEYS | {"own"}, plain_source="own")
    assert (profile.days, profile.egg_mass_g) == (20.5, (40.0, 60.0))
    assert (profile.sources["days"], profile.sources["lockdown_day"]) == ("own", "book")


def test_parsing_leaves_the_table_alone() -> None:
    """The table can be used again, as the base of another profile."""
    data = sound()
    before = copy.deepcopy(data)
    parsed(data)
    assert data == before


ONE_OF = "unknown setting, expected one of:"
REMOVE = object()
WRONG = [
    (("colour",), ["blue", "book"], f"colour: {ONE_OF} days, egg_mass_g, hatch_day_first, hatch_day_last, id, kind, "
     "lethal_heat, lockdown_by, lockdown_day, name, notes, rules, scientific_name, stage, still_air_offset_k, "
     "target_loss_pct, target_loss_to, unknown"),
    (("stage", 0, "co2_pct"), {},
     f"stage.setter.co2_pct: {ONE_OF} dry_bulb_c, from_day, name, rh_pct, wet_bulb_c"),
    (("stage", 0, "dry_bulb_c", "high_alrm"), [39, "book"], "stage.setter.dry_bulb_c.high_alrm: "
     f"{ONE_OF.replace(',', ', nearest high_alarm,')} high_alarm, high_warning, low_alarm, low_warning, target"),
    (("id",), REMOVE, "id: missing, expected a text"),
    (("id",), "Test Bird", "id: 'Test Bird', expected the form ^[a-z0-9-]{1,32}$"),
    (("id",), "x" * 33, "id: 'xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx', expected the form ^[a-z0-9-]{1,32}$"),
    (("name",), 7, "name: 7, expected a text"),
    (("scientific_name",), " ", "scientific_name: ' ', expected a text"),
    (("notes",), "one", "notes: 'one', expected a list of texts"),
    (("notes",), [1], "notes[1]: 1, expected a text"),
    (("days",), REMOVE, "days: missing, expected a number from 0 to 120"),
    (("days",), 20, 'days: 20, expected it with its source, [value, "KEY"]'),
    (("days",), [20, "rumour"], "days: unknown source key 'rumour', expected one of those in SOURCES.toml"),
    (("days",), ["20", "book"], "days: '20', expected a number from 0 to 120"),
    (("days",), [True, "book"], "days: True, expected a number from 0 to 120"),
    (("days",), [float("nan"), "book"], "days: nan, expected a number from 0 to 120"),
    (("days",), [22, "book"], "days: 22, expected from hatch_day_first, 19, to hatch_day_last, 21"),
    (("days",), [18, "book"], "days: 18, expected from hatch_day_first, 19, to hatch_day_last, 21"),
    (("egg_mass_g",), [50, "book"], "egg_mass_g: 50, expected [low, high], numbers from 0.1 to 3000"),
    (("egg_mass_g",), [[70, 50], "book"],
     "egg_mass_g: 70 above 50, expected low to high"),
    (("egg_mass_g",), [50, 70],
     'egg_mass_g: [50, 70], expected it with its source, [value, "KEY"]'),
    (("target_loss_pct",), [[11, 99], "book"],
     "target_loss_pct[2]: 99, expected [low, high], numbers from 0 to 40"),
    (("target_loss_to",), ["pip", "book"],
     "target_loss_to: 'pip', expected a day from 1 to 120, or internal pip or hatch"),
    (("target_loss_to",), [0, "book"],
     "target_loss_to: 0, expected a day from 1 to 120, or internal pip or hatch"),
    (("target_loss_to",), "hatch", "target_loss_to: 'hatch', expected it with its source, "
     '[value, "KEY"]'),
    (("kind",), "fish", "kind: 'fish', expected one of fowl, waterfowl, pigeon, ratite, parrot, raptor, kingfisher, penguin"),
    (("kind",), 7, "kind: 7, expected one of fowl, waterfowl, pigeon, ratite, parrot, raptor, kingfisher, penguin"),
    (("lockdown_by",), ["peeping", "book"],
     "lockdown_by: 'peeping', expected one of calendar, draw-down, internal pip, external pip"),
    (("lethal_heat",), [[105, 30], "book"],
     "lethal_heat[1]: 105, expected [°C, minutes], from 37 to 60 °C and from 1 to 10080 minutes"),
    (("lethal_heat",), [40.6, "book"],
     "lethal_heat: 40.6, expected [°C, minutes], from 37 to 60 °C and from 1 to 10080 minutes"),
    (("unknown",), "all", "unknown: 'all', expected a list of texts"),
    (("still_air_offset_k",), [37.8, "book"], "still_air_offset_k: 37.8, expected a number from 0 to 5"),
    (("stage",), REMOVE, "stage: missing, expected one or more tables [[stage]]"),
    (("stage",), [], "stage: [], expected at least one [[stage]]"),
    (("stage",), [3], "stage[1]: 3, expected a table"),
    (("stage", 1), REMOVE,
     "stage: setter, hatch, expected setter, lockdown and perhaps hatch, in this order"),
    (("stage", 0, "name"), "lockdown",
     "stage: lockdown, lockdown, hatch, expected setter, lockdown and perhaps hatch, in this order"),
    (("stage", 0, "name"), "egg", "stage.egg.name: 'egg', expected one of setter, lockdown, hatch"),
    (("stage", 0, "name"), REMOVE, "stage[1].name: missing, expected one of setter, lockdown, hatch"),
    (("stage", 0, "from_day"), [1, "book"], "stage.setter.from_day: 1, expected 0"),
    (("stage", 1, "from_day"), [16, "book"], "stage.lockdown.from_day: 16, expected lockdown_day, 17"),
    (("stage", 2, "from_day"), REMOVE,
     "stage.hatch: from_day: missing, expected the day on which this stage starts"),
    (("stage", 2, "from_day"), [17, "book"],
     "stage.hatch.from_day: 17, expected above 17, where lockdown starts"),
    (("stage", 2, "from_day"), [19, "book"], "stage.hatch.from_day: 19, expected below hatch_day_first, 19"),
    (("lockdown_day",), [0, "book"], "stage.lockdown.from_day: 0, expected above 0, where setter starts"),
    (("stage", 0, "dry_bulb_c"), REMOVE, "stage.setter.dry_bulb_c: missing, expected a band"),
    (("stage", 0, "dry_bulb_c"), 37.5, "stage.setter.dry_bulb_c: 37.5, expected a table"),
    (("stage", 1, "dry_bulb_c", "target"), REMOVE,
     "stage.lockdown.dry_bulb_c.target: missing, expected a number from 20 to 45"),
    (("stage", 2, "dry_bulb_c", "high_alarm"), REMOVE,
     "stage.hatch.dry_bulb_c.high_alarm: missing, expected a number from 20 to 45"),
    (("stage", 2, "dry_bulb_c", "low_alarm"), REMOVE,
     "stage.hatch.dry_bulb_c.low_alarm: missing, expected a number from 20 to 45"),
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
