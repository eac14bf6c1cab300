"""Profiles shipped with the package against the published figures, and the breeder's own files.

tests/reference/species.csv holds the published rows, as they were noted: `profile` is the profiles that draw
on the row (`parrots`, `falcons`: all of them), `source_key` is spelled out in
monitor/data/profiles/SOURCES.toml (MEMORY: recalled, no page found), `evidence` says whether the figure itself was
seen. The `*_rh_equiv_pct` columns were computed from the wet bulb with the psychrometer formula at
101.325 kPa. tests/reference/target_losses.csv holds the target losses, each with its clock.
"""

import csv
import re
import time
from dataclasses import replace
from pathlib import Path

import pytest

from monitor.adapters.tables import profiles as files
from monitor.adapters.tables.profiles import load_profiles, load_sources
from monitor.adapters.tables.rules import shipped_rules
from monitor.domain.air.psychrometrics import rh_from_wet_bulb_pct
from monitor.domain.needs.profile import KINDS, LIMIT_NAMES, Band, Profile, ProfileError, Stage
from monitor.domain.published.exposure import EXPOSURES
from tests.targets import TARGETS, clock_of
from tests.targets import span as figures

REFERENCE = Path(__file__).parents[2] / "reference"
ROWS = list(csv.DictReader((REFERENCE / "species.csv").read_text(encoding="utf-8").splitlines()))
SHIPPED = load_profiles()
EACH = pytest.mark.parametrize("profile", SHIPPED.values(), ids=SHIPPED.keys())

# Chosen here or by definition: no page to compare with. What was chosen is tested for its rule further down.
UNPUBLISHED = {"judgement", "common-practice", "definition"}

ASKED_FOR = {
    "chicken", "turkey", "pekin-duck", "muscovy-duck", "goose", "japanese-quail", "pheasant", "guinea-fowl",
    "pigeon", "peafowl", "bobwhite-quail", "cockatiel", "budgerigar", "african-grey", "blue-fronted-amazon",
    "blue-and-gold-macaw", "umbrella-cockatoo", "eclectus", "lovebird", "ringneck", "galah", "sun-conure",
    "ostrich", "emu", "rhea", "peregrine-falcon", "kestrel", "barn-owl", "harriss-hawk",
    "superb-parrot", "guam-kingfisher", "european-roller", "european-bee-eater", "african-penguin", "cassowary", "kiwi",
    "mallard", "bantam", "american-kestrel", "common-kestrel",
}  # fmt: skip


def numbers(profile: Profile) -> dict[str, float | tuple[float, float]]:
    """Every number of a profile by its dotted path."""
    found = {
        name: getattr(profile, name)
        for name in (
            "days", "hatch_day_first", "hatch_day_last", "lockdown_day",
            "still_air_offset_k", "egg_mass_g", "target_loss_pct", "lethal_heat",
        )
    }  # fmt: skip
    for stage in profile.stages:
        found[f"stage.{stage.name}.from_day"] = stage.from_day
        for quantity in ("dry_bulb_c", "rh_pct", "wet_bulb_c"):
            for limit, value in (getattr(stage, quantity) or Band()).limits():
                found[f"stage.{stage.name}.{quantity}.{limit}"] = value
    return {path: value for path, value in found.items() if value is not None}


def target_c(stage: Stage) -> float:
    """The dry bulb that a stage is kept at: every shipped one has it."""
    assert stage.dry_bulb_c.target is not None
    return stage.dry_bulb_c.target


def of(profile: Profile, rows: list[dict[str, str]], column: str, key: str) -> list[dict[str, str]]:
    """The rows of one source that a profile draws on."""
    source = "MEMORY" if key == "memory" else key.removesuffix("-memory")
    shared = {profile.id, {"parrot": "parrots", "raptor": "falcons"}.get(profile.kind or "", "")}
    return [row for row in rows if row["source_key"] == source and shared & set(row[column].split())]


# --- what is shipped ---------------------------------------------------------------------------------------


def test_the_species_a_breeder_would_look_for_are_there() -> None:
    """Poultry, waterfowl, game birds, parrots, ratites, birds of prey, kingfishers and penguins are shipped."""
    assert SHIPPED.keys() >= ASKED_FOR


def test_a_file_is_read_when_its_species_is_asked_for(monkeypatch: pytest.MonkeyPatch) -> None:
    """A house needs a few of them: naming or counting all reads none, asking for one reads that one, once."""
    read: list[str] = []
    whole = files._read

    def noted(file: Path) -> dict[str, object]:
        read.append(file.name)
        return whole(file)

    monkeypatch.setattr(files, "_read", noted)
    profiles = load_profiles()
    assert "chicken" in list(profiles)
    assert len(profiles) == len(SHIPPED)
    assert "dodo" not in profiles
    assert read == []
    assert profiles["chicken"] is profiles["chicken"]
    assert "chicken" in profiles
    assert [name for name in read if name != "SOURCES.toml"] == ["chicken.toml"]


def test_each_file_bears_the_id_of_its_species() -> None:
    """So that a species is found without looking into the files."""
    assert {id_: profile.id for id_, profile in SHIPPED.items()} == {id_: id_ for id_ in SHIPPED}


@EACH
def test_every_value_carries_a_known_source_key(profile: Profile) -> None:
    """No number of a shipped profile goes without a source, and every key is spelled out."""
    clock = {"target_loss_to"} if profile.target_loss_pct is not None else set()
    assert profile.sources.keys() == numbers(profile).keys() | {"lockdown_by"} | clock
    assert set(profile.sources.values()) <= load_sources().keys() - {"own"}


@EACH
def test_sources_named_in_notes_are_spelled_out(profile: Profile) -> None:
    """A key that a note names in brackets can be looked up."""
    named = set(re.findall(r"\b[A-Z][A-Z]+[A-Z0-9]*-[A-Z0-9]+\b", " ".join(profile.notes)))
    assert named <= load_sources().keys()
    assert profile.notes


@EACH
def test_what_was_chosen_is_argued(profile: Profile) -> None:
    """A profile with a value of our own choice says so, and why, in its notes."""
    if "judgement" in profile.sources.values():
        assert any(note.startswith("Judgement:") for note in profile.notes)


@EACH
def test_dry_bulb_bands_are_complete(profile: Profile) -> None:
    """Heat and cold are watched at both levels in every stage."""
    for stage in profile.stages:
        assert [name for name, _ in stage.dry_bulb_c.limits()] == list(LIMIT_NAMES)


@EACH
def test_lockdown_comes_before_the_first_chick(profile: Profile) -> None:
    """Eggs are in the hatcher before the first normal hatch day, and the driest air that is borne does not get drier there."""
    setter, lockdown = profile.stages
    assert 0 < lockdown.from_day < profile.hatch_day_first
    before, after = (stage.rh_pct or stage.wet_bulb_c or Band() for stage in (setter, lockdown))
    for limit in ("low_alarm", "low_warning"):
        first, then = getattr(before, limit), getattr(after, limit)
        assert then is None or first is None or then >= first
        assert (first is None) is (profile.id == "african-penguin")  # of whose setter no source speaks
    assert after.low_alarm is not None


@EACH
def test_each_says_what_is_not_known_of_it(profile: Profile) -> None:
    """Its kind, and in whole sentences, each said once, what no source was found to say; that no heat is known to kill among them."""
    assert profile.kind in KINDS
    assert len(set(profile.unknown)) == len(profile.unknown) >= 3
    for sentence in profile.unknown:
        assert re.fullmatch(r"[A-Z].*\.", sentence)
    if profile.lethal_heat is None:
        assert any(" heat " in sentence for sentence in profile.unknown)
    if profile.target_loss_pct is None or profile.sources["target_loss_pct"] == "AR-80":
        assert any(sentence.startswith("How much weight its eggs should lose") for sentence in profile.unknown)
    if profile.still_air_offset_k is None:
        assert any("still-air" in sentence for sentence in profile.unknown)


BY_THE_EGG = {"parrot", "raptor", "kingfisher", "penguin"}


@EACH
def test_who_goes_by_the_egg(profile: Profile) -> None:
    """Parrots (EPV), and where no source of the bird names a day the birds of a general chapter (HRB-K); poultry by its charts.

    Cassowaries and kiwis hatch over ten and twenty days and geese over six, which no day of the calendar fits.
    """
    odd = profile.id in {"goose", "cassowary", "kiwi"}
    by_egg = profile.kind in BY_THE_EGG or odd
    assert (profile.lockdown_sign is not None) == by_egg
    expected = {"parrot": ("internal pip", "EPV"), "waterfowl": ("internal pip", "judgement")}
    if by_egg:
        sign = expected.get(profile.kind or "", ("external pip", "HRB-K"))
        assert (profile.lockdown_sign, profile.sources["lockdown_by"]) == sign
        (why,) = [note for note in profile.notes if "oes by the egg" in note]
        assert "HRB-K" in why
        assert profile.kind != "parrot" or {"EPV", "NSW-SP", "memory"} <= set(re.findall(r"[\w-]+", why))
        assert odd or profile.hatch_day_last - profile.hatch_day_first < 6


def test_no_hatcher_humidity_is_made_up_for_birds_of_prey() -> None:
    """No source has one: only air that would be far too dry in the setter is judged, and the page says so."""
    raptors = [profile for profile in SHIPPED.values() if profile.kind == "raptor"]
    assert len(raptors) == 6
    for profile in raptors:
        setter, lockdown = profile.stages
        assert setter.rh_pct is not None
        assert lockdown.rh_pct == Band(low_alarm=setter.rh_pct.low_alarm)
        assert profile.sources["stage.lockdown.rh_pct.low_alarm"] == "judgement"
        assert any("No source has a hatcher humidity for birds of prey" in note for note in profile.notes)
        assert any("hatcher" in sentence for sentence in profile.unknown)


def test_kestrels_are_two_species_and_the_old_name_is_the_american_one() -> None:
    """Eggs set as plain `kestrel` go on by the same figures; what is new says which of the two it is."""
    old, american, common = (SHIPPED[id_] for id_ in ("kestrel", "american-kestrel", "common-kestrel"))
    same = replace(old, id=american.id, name=american.name, notes=american.notes)
    assert same == american
    assert "american-kestrel or common-kestrel" in old.notes[-1]
    assert (american.scientific_name, common.scientific_name) == ("Falco sparverius", "Falco tinnunculus")
    assert (american.days, common.days) == (29, 28)


def test_the_lethal_heat_is_the_published_one() -> None:
    """The hen's and the bantam's: what an extension text says kills many (MSU-HMG), the same as among the published exposures."""
    (published_one,) = [each for each in EXPOSURES if each.id == "heat-30min-40.6"]
    assert published_one.hours is not None
    assert published_one.source == "MSU-HMG"
    with_one = {id_: p.lethal_heat for id_, p in SHIPPED.items() if p.lethal_heat is not None}
    assert with_one == dict.fromkeys(("bantam", "chicken"), (published_one.temp_c, 60.0 * published_one.hours))


# --- against the published figures -------------------------------------------------------------------------

COLUMNS = {
    "days": "incubation_days_typical",
    "hatch_day_first": "incubation_days_min",
    "hatch_day_last": "incubation_days_max",
    "lockdown_day": "transfer_day",
    "egg_mass_g": "egg_mass_g",
    "target_loss_pct": "target_loss_pct",
}
# Printed as one figure with a swing: 0.5 °F either way in the text of MSU-IIF, ± 0.2 °C in NSW-SP.
SWING_K = {"MSU-IIF": 0.5 / 1.8, "NSW-SP": 0.2}


def fact(profile: Profile, path: str, key: str) -> object:
    """A published figure that is no cell of the species table, as its source prints it; or None."""
    limit = path.rpartition(".")[2]
    match (limit, key):
        case ("low_alarm", "MSU-HMG"):  # alarm low at 97-98 °F: machines at 99 and at 100 °F
            return c_from_f(98) if target_c(profile.stages[0]) > 37.5 else c_from_f(97)
        case ("high_alarm", "MSU-HMG"):  # alarm high at 102 °F
            return c_from_f(102)
        case ("low_warning", "BURNHAM-83"):  # below 37 °C gave deformities
            return 37.0
        case ("still_air_offset_k", "MSU-IIF"):  # 102 °F at egg top in still air, 100 °F in forced air
            return 2 / 1.8
        case ("still_air_offset_k", "FAO-OST"):  # 38-38.5 °C at egg top in still air
            return (38 + 38.5) / 2 - target_c(profile.stages[0])
        case ("lockdown_day" | "from_day", "HRB-K"):  # draw-down at about 85 % of the term
            return 0.85 * profile.days
        case ("lockdown_day" | "from_day", "NSW-SP"):  # three days before hatch
            return profile.days - 3
        case ("lethal_heat", "MSU-HMG"):  # 40.6 °C for 30 min "kills many"
            return (40.6, 30)
        case ("target_loss_pct", "AR-80"):  # 0.150 ± 0.025 of egg mass, 81 species
            return (12.5, 17.5)
    return None


def published(profile: Profile, path: str, key: str) -> object:
    """The figure that the source prints for this value; fails when it prints none."""
    known = fact(profile, path, key)
    if known is not None:
        return known
    rows = of(profile, ROWS, "profile", key)
    cells = [cell for row in rows if (cell := cell_of(row, path))]
    if (
        path == "target_loss_pct" and profile.sources["target_loss_to"] == key
    ):  # with its clock it stands in a table of its own
        cells = [row["target_pct"] for row in of(profile, TARGETS, "profiles", key)]
    assert len(cells) == 1, f"{profile.id}: {path}: {key} prints {cells}"
    low, high = span(cells[0])
    match path.rpartition(".")[2]:
        case "egg_mass_g" | "target_loss_pct":
            return low, high
        case "low_warning":
            return low - SWING_K[key] if low == high and key in SWING_K else low
        case "high_warning":
            return high + SWING_K[key] if low == high and key in SWING_K else high
    return (low + high) / 2


def cell_of(row: dict[str, str], path: str) -> str:
    if path in COLUMNS:
        return row[COLUMNS[path]]
    _, stage, *rest = path.split(".")
    if rest == ["from_day"]:
        return row["transfer_day"]
    column = "dry_c" if rest[0] == "dry_bulb_c" else "rh_or_wb"
    # Sources for ratites and birds of prey print no hatcher figure; there the setter's is kept.
    return (row[f"hatcher_{column}"] if stage == "lockdown" else "") or row[f"setter_{column}"]


def span(cell: str) -> tuple[float, float]:
    """The first range of a cell (one figure: a range of no width); wet bulbs from °F."""
    wet = re.search(r"WB (\d+)(?:-(\d+))? F", cell)
    return (c_from_f(float(wet[1])), c_from_f(float(wet[2] or wet[1]))) if wet else figures(cell)


def c_from_f(f: float) -> float:
    return (f - 32) / 1.8


def tolerance(path: str) -> float:
    """Half of the last digit that the profiles keep: two decimals for a wet bulb, one for the rest."""
    return 0.0051 if ".wet_bulb_c." in path else 0.0501


@EACH
def test_every_cited_number_is_the_published_one(profile: Profile) -> None:
    """Each number with a source equals what that source prints, to the digits that a profile keeps."""
    values = numbers(profile)
    cited = {path: key for path, key in profile.sources.items() if key not in UNPUBLISHED and path in values}
    assert cited
    for path, key in cited.items():
        wanted = published(profile, path, key)
        assert values[path] == pytest.approx(wanted, abs=tolerance(path)), f"{path} by {key}"


@EACH
def test_what_was_chosen_follows_its_rule(profile: Profile) -> None:
    """Alarms no source prints lie 1.1 K from the target, 8 % or 1.5 K of wet bulb outside the warnings."""
    for stage in profile.stages:
        for quantity, margin in (("dry_bulb_c", 1.1), ("rh_pct", 8.0), ("wet_bulb_c", 1.5)):
            band = getattr(stage, quantity)
            for limit, sign in (("low_alarm", -1), ("high_alarm", 1)):
                if profile.sources.get(f"stage.{stage.name}.{quantity}.{limit}") == "judgement":
                    warning = getattr(band, limit.replace("alarm", "warning"))
                    if warning is None:  # where nothing else is judged, the setter's
                        warning = getattr(getattr(profile.stages[0], quantity), limit.replace("alarm", "warning"))
                    origin = band.target if quantity == "dry_bulb_c" else warning
                    assert getattr(band, limit) == pytest.approx(origin + sign * margin, abs=0.006)


def test_no_temperature_band_is_narrower_than_two_good_sensors_apart() -> None:
    """0.4 K: sensors of ± 0.2 K that are both right would warn of each other in less (the emu's printed range is 0.3 K)."""
    for profile in SHIPPED.values():
        for stage in profile.stages:
            band = stage.dry_bulb_c
            assert band.low_warning is not None
            assert band.high_warning is not None
            assert band.high_warning - band.low_warning > 0.4 - 1e-9, profile.id


def test_no_humidity_band_is_narrower_than_two_good_sensors_apart() -> None:
    """4 points: sensors of ± 2 %RH that are both right would warn of each other in less (a printed 85-86 °F is 3)."""
    for profile in SHIPPED.values():
        for stage in profile.stages:
            wet, band = stage.wet_bulb_c, stage.rh_pct or Band()
            low, high = band.low_warning, band.high_warning
            if wet is not None:
                assert wet.low_warning is not None
                assert wet.high_warning is not None
                low, high = (
                    rh_from_wet_bulb_pct(target_c(stage), each, 101.325) for each in (wet.low_warning, wet.high_warning)
                )
            assert low is None or high is None or high - low > 4.0, profile.id


def test_no_high_alarm_lies_far_above_its_target() -> None:
    """What bears less heat alarms earlier: no high alarm is more than 102 °F over a target of 99 °F."""
    for profile in SHIPPED.values():
        for stage in profile.stages:
            high_c = stage.dry_bulb_c.high_alarm
            assert high_c is not None
            assert high_c - target_c(stage) <= 1.71, profile.id


def day_of(clock: float | str, profile: Profile) -> float:
    """The day of incubation that a clock means; internal pip at 0.9 of the term (0.89 to 0.93: Poultry World, HRB-K, EPV)."""
    return {"internal pip": 0.9 * profile.days, "hatch": profile.days}[clock] if isinstance(clock, str) else clock


@EACH
def test_each_target_keeps_the_clock_of_its_source(profile: Profile) -> None:
    """The clock is that of the line that is cited for it, and the line itself lies in the window; none is cited: it is argued."""
    if profile.target_loss_pct is None:
        assert (profile.id, profile.target_loss_to) == ("kiwi", "internal pip")
        return
    key = profile.sources["target_loss_to"]
    if key == "judgement":
        assert any(
            note.startswith("Judgement:") and ("clock" in note or "taken as to" in note) for note in profile.notes
        )
        return
    (row,) = of(profile, TARGETS, "profiles", key)
    assert profile.target_loss_to == clock_of(row)
    low, high = span(row["target_pct"])
    assert profile.target_loss_pct[0] <= low <= high <= profile.target_loss_pct[1]


HELD = [
    ("chicken", "MEIR-08"), ("chicken", "PPP-WL"), ("chicken", "MEMORY"), ("chicken", "DEUSTO"), ("turkey", "MEIR-84"),
    ("pekin-duck", "BWA"), ("african-grey", "NSW-SP"), ("ostrich", "OST-SEC"), ("ostrich", "CHR-96"), ("ostrich", "HRB-R"),
]  # fmt: skip


@pytest.mark.parametrize(("id_", "key"), HELD)
def test_sources_that_agree_are_held_by_one_window(id_: str, key: str) -> None:
    """An egg on the middle of another source's line, drawn on to the profile's clock, is in its window too."""
    profile = SHIPPED[id_]
    assert profile.target_loss_pct is not None
    (row,) = of(profile, TARGETS, "profiles", key)
    low, high = span(row["target_pct"])
    loss_pct = (low + high) / 2 * day_of(profile.target_loss_to, profile) / day_of(clock_of(row), profile)
    assert profile.target_loss_pct[0] <= loss_pct <= profile.target_loss_pct[1]


def test_every_published_target_names_a_source_and_a_bird() -> None:
    """Each row can be traced to a citation, and belongs to a profile that is shipped."""
    for row in TARGETS:
        assert row["source_key"] in load_sources().keys() | {"MEMORY"}
        assert set(row["profiles"].split()) <= SHIPPED.keys() | {"parrots"}
        assert (row["evidence"] == "memory") == (row["source_key"] == "MEMORY")


CHART = [row for row in ROWS if row["source_key"] == "MSU-IIF"]


@pytest.mark.parametrize("row", CHART, ids=[row["common_name"] for row in CHART])
def test_wet_bulb_bands_give_the_humidity_worked_out_for_the_chart(row: dict[str, str]) -> None:
    """At the target temperature the wet-bulb limits are the relative humidity of the reference, within 1 %RH.

    The reference took a ventilated wick (A = 0.00066) and whole percents, here it is the thermodynamic wet
    bulb: together that makes up to 0.9 %RH.
    """
    setter, lockdown = SHIPPED[row["profile"].split()[0]].stages
    low, high = span(row["setter_rh_equiv_pct"])
    hatching = float(row["hatcher_rh_equiv_pct"])
    for stage, limit, rh_pct in (
        (setter, "low_warning", low),
        (setter, "high_warning", high),
        (lockdown, "target", hatching),
    ):
        wet_bulb_c = getattr(stage.wet_bulb_c, limit)
        if SHIPPED[row["profile"].split()[0]].sources[f"stage.{stage.name}.wet_bulb_c.{limit}"] == "judgement":
            # Half a °F beyond a printed range of one: waterfowl and Japanese quail.
            assert (row["setter_rh_or_wb"], abs(wet_bulb_c - c_from_f(85.5))) == (
                "WB 85-86 F",
                pytest.approx(1 / 1.8, abs=0.01),
            )
            continue
        worked_out = rh_from_wet_bulb_pct(stage.dry_bulb_c.target, wet_bulb_c, 101.325)
        assert worked_out == pytest.approx(rh_pct, abs=1.0), f"{stage.name} {limit}"


def test_reference_rows_name_known_sources() -> None:
    """Each row of the reference table can be traced to a full citation."""
    known = load_sources().keys() | {"MEMORY"}
    assert {row["source_key"] for row in ROWS} <= known
    assert {id_ for row in ROWS for id_ in row["profile"].split()} == SHIPPED.keys() | {"parrots", "falcons"}


def test_loading_is_quick() -> None:
    """All shipped profiles load in under a second, many times what a small computer needs."""
    started = time.perf_counter()
    dict(load_profiles())
    assert time.perf_counter() - started < 1.0


# --- the breeder's own files -------------------------------------------------------------------------------

COMPLETE = """
id = "test-bird"
name = "Test bird"
scientific_name = "Avis probata"
days = 20
hatch_day_first = 19
hatch_day_last = 21
lockdown_day = [17, "common-practice"]
egg_mass_g = [30, 40]
[[stage]]
name = "setter"
dry_bulb_c = { low_alarm = 36.2, target = 37.3, high_alarm = 38.4 }
[[stage]]
name = "lockdown"
dry_bulb_c = { low_alarm = 36.2, target = 37.0, high_alarm = 38.4 }
rh_pct = { low_warning = 65 }
"""


def own_file(tmp_path: Path, text: str, name: str = "mine.toml") -> Path:
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return path


def test_an_own_profile_is_added(tmp_path: Path) -> None:
    """A new id joins the shipped profiles; its plain values have the source `own`."""
    profiles = load_profiles(own_file(tmp_path, COMPLETE))
    assert profiles.keys() == SHIPPED.keys() | {"test-bird"}
    mine = profiles["test-bird"]
    assert (mine.days, mine.egg_mass_g, mine.stages[1].rh_pct) == (20.0, (30.0, 40.0), Band(None, 65.0))
    assert (mine.sources["days"], mine.sources["lockdown_day"]) == ("own", "common-practice")
    assert mine.sources["stage.setter.from_day"] == "definition"


def test_an_own_profile_takes_the_place_of_a_shipped_one(tmp_path: Path) -> None:
    """The same id replaces the shipped profile whole, and leaves the others as they are."""
    profiles = load_profiles(own_file(tmp_path, COMPLETE.replace("test-bird", "chicken")))
    assert profiles["chicken"].name == "Test bird"
    assert {id_: p for id_, p in profiles.items() if id_ != "chicken"} == {
        id_: p for id_, p in SHIPPED.items() if id_ != "chicken"
    }


def test_based_on_gives_only_what_differs(tmp_path: Path) -> None:
    """Values that are given replace those of the base, one by one; the rest keep value and source."""
    text = """
    based_on = "chicken"
    id = "small-hen"
    name = "Small hen"
    days = 20
    hatch_day_first = 19
    hatch_day_last = 21
    lockdown_day = 17
    notes = ["Ours hatch a day early."]
    [[stage]]
    name = "lockdown"
    dry_bulb_c = { target = 37.6 }
    """
    hen, chicken = load_profiles(own_file(tmp_path, text))["small-hen"], SHIPPED["chicken"]
    assert (hen.name, hen.scientific_name, hen.days) == ("Small hen", chicken.scientific_name, 20.0)
    assert hen.stages[0] == chicken.stages[0]
    assert hen.stages[1].from_day == hen.lockdown_day == 17.0  # the stage follows the day
    assert hen.stages[1].dry_bulb_c == Band(36.7, 37.5, 37.6, 38.1, 38.9)
    assert hen.stages[1].wet_bulb_c == chicken.stages[1].wet_bulb_c
    assert hen.notes == (*chicken.notes, "Ours hatch a day early.")
    changed = {path for path, key in hen.sources.items() if key == "own"}
    assert changed == {
        "days", "hatch_day_first", "hatch_day_last", "lockdown_day",
        "stage.lockdown.from_day", "stage.lockdown.dry_bulb_c.target",
    }  # fmt: skip
    assert load_profiles()["chicken"] == chicken


def test_based_on_may_keep_the_id(tmp_path: Path) -> None:
    """With its base's own id, a profile adjusts the shipped one in place."""
    text = 'based_on = "chicken"\nid = "chicken"\ntarget_loss_pct = [12, 13]\n'
    profiles = load_profiles(own_file(tmp_path, text))
    assert profiles["chicken"].target_loss_pct == (12.0, 13.0)
    assert profiles["chicken"].egg_mass_g == SHIPPED["chicken"].egg_mass_g
    assert profiles.keys() == SHIPPED.keys()


def test_based_on_takes_the_base_s_kind_sign_and_clock(tmp_path: Path) -> None:
    """What a file does not say, its base says: this bird's kind, what begins its lockdown, by when its target is meant."""
    base = 'kind = "fowl"\nlockdown_by = "internal pip"\ntarget_loss_pct = [12, 13]\ntarget_loss_to = 18\n'
    own_file(tmp_path, 'based_on = "chicken"\nid = "chicken"\n' + base)
    profile = load_profiles(tmp_path)["chicken"]
    assert (profile.kind, profile.lockdown_sign) == ("fowl", "internal pip")
    assert (profile.target_loss_pct, profile.target_loss_to) == ((12.0, 13.0), 18.0)
    assert profile.sources["lockdown_by"] == profile.sources["target_loss_to"] == "own"


@pytest.mark.parametrize(
    "limit", ["low_alarm = 52", "low_warning = 60", "target = 65", "high_warning = 80", "high_alarm = 88"]
)
def test_an_own_file_of_before_may_give_one_limit_of_a_band(tmp_path: Path, limit: str) -> None:
    """Birds of prey had a band for the hatcher once; a file that changes one limit of it is read as ever."""
    for base in (profile.id for profile in SHIPPED.values() if profile.kind == "raptor"):
        text = f'based_on = "{base}"\nid = "mine"\n[[stage]]\nname = "lockdown"\nrh_pct = {{ {limit} }}\n'
        assert load_profiles(own_file(tmp_path, text))["mine"].stages[1].rh_pct is not None


def test_an_own_file_may_be_based_on_the_old_name_of_the_kestrel(tmp_path: Path) -> None:
    """A house that kept its kestrels by a file of its own is read as ever, by the name that it gave."""
    mine = load_profiles(own_file(tmp_path, 'based_on = "kestrel"\nid = "kestrel"\ndays = 28.5\n'))["kestrel"]
    assert (mine.id, mine.days, mine.scientific_name) == ("kestrel", 28.5, "Falco sparverius")
    assert mine.stages == SHIPPED["american-kestrel"].stages


def test_an_own_target_without_a_clock_is_to_internal_pip(tmp_path: Path) -> None:
    """A target that somebody wrote when all targets were to pip still is, whatever the clock of the base's own target."""
    for base in SHIPPED.values():
        text = f'based_on = "{base.id}"\nid = "mine"\ntarget_loss_pct = [12, 13]\n'
        mine = load_profiles(own_file(tmp_path, text))["mine"]
        assert (mine.target_loss_pct, mine.target_loss_to) == ((12.0, 13.0), "internal pip")


def test_based_on_may_change_the_kind_of_humidity(tmp_path: Path) -> None:
    """A relative-humidity band takes the place of the base's wet-bulb band in that stage only."""
    text = """
    based_on = "chicken"
    id = "chicken"
    [[stage]]
    name = "setter"
    rh_pct = { low_warning = 45, target = 50, high_warning = 55 }
    """
    setter, lockdown = load_profiles(own_file(tmp_path, text))["chicken"].stages
    assert (setter.rh_pct, setter.wet_bulb_c) == (Band(None, 45.0, 50.0, 55.0), None)
    assert lockdown == SHIPPED["chicken"].stages[1]


def test_based_on_may_add_a_hatch_stage(tmp_path: Path) -> None:
    """A stage that the base lacks is added after the others."""
    text = """
    based_on = "cockatiel"
    id = "cockatiel"
    [[stage]]
    name = "hatch"
    from_day = 17.5
    dry_bulb_c = { low_alarm = 35.8, target = 36.8, high_alarm = 38.0 }
    """
    stages = load_profiles(own_file(tmp_path, text))["cockatiel"].stages
    assert [stage.name for stage in stages] == ["setter", "lockdown", "hatch"]
    assert stages[:2] == SHIPPED["cockatiel"].stages


def test_a_folder_of_own_files_is_read(tmp_path: Path) -> None:
    """Each TOML file of a folder counts, other files do not."""
    own_file(tmp_path, COMPLETE, "a.toml")
    own_file(tmp_path, COMPLETE.replace("test-bird", "other-bird"), "b.toml")
    own_file(tmp_path, "not a profile", "readme.txt")
    assert load_profiles(tmp_path).keys() == SHIPPED.keys() | {"test-bird", "other-bird"}


def test_an_empty_folder_adds_nothing(tmp_path: Path) -> None:
    """A folder made ready but not filled leaves the shipped profiles."""
    assert load_profiles(tmp_path) == SHIPPED


def test_an_own_profile_may_change_rules(tmp_path: Path) -> None:
    """Its numbers are kept by rule, each with its source; what it is based on keeps none."""
    text = """
    based_on = "chicken"
    id = "mine"
    [rules.dry-bulb-low-alarm]
    on_delay_s = 120
    priority = ["critical", "common-practice"]
    [rules.hatch-overdue]
    limit = 3
    """
    profiles = load_profiles(own_file(tmp_path, text))
    mine = profiles["mine"]
    assert mine.rules == {
        "dry-bulb-low-alarm": {"on_delay_s": 120, "priority": "critical"},
        "hatch-overdue": {"limit": 3},
    }
    assert mine.sources["rules.dry-bulb-low-alarm.on_delay_s"] == "own"
    assert mine.sources["rules.dry-bulb-low-alarm.priority"] == "common-practice"
    assert profiles["chicken"].rules == {}


def test_a_profile_may_be_based_on_one_with_rules(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Numbers of the base stay unless they are given anew, one by one."""
    read = files._read

    def with_rules(file: Path) -> dict[str, object]:
        table = read(file)
        numbers = {"on_delay_s": [15, "common-practice"], "off_delay_s": [90, "common-practice"]}
        return table | ({"rules": {"dry-bulb-high-alarm": numbers}} if file.name == "chicken.toml" else {})

    monkeypatch.setattr(files, "_read", with_rules)
    text = 'based_on = "chicken"\nid = "mine"\n[rules.dry-bulb-high-alarm]\non_delay_s = 10\n'
    profiles = load_profiles(own_file(tmp_path, text))
    assert profiles["chicken"].rules == {"dry-bulb-high-alarm": {"on_delay_s": 15, "off_delay_s": 90}}
    assert profiles["mine"].rules == {"dry-bulb-high-alarm": {"on_delay_s": 10, "off_delay_s": 90}}


HEAD = 'based_on = "chicken"\nid = "mine"\n'
ALL_IDS = ", ".join(sorted(SHIPPED))
OWN_WRONG = [
    ('based_on = "dodo"\nid = "mine"', f"mine.toml: line 1: based_on: 'dodo', expected one of: {ALL_IDS}"),
    ('based_on = 3\nid = "mine"', f"mine.toml: line 1: based_on: 3, expected one of: {ALL_IDS}"),
    ('based_on = "chicken"', "mine.toml: id: missing, expected text ('chicken' replaces the shipped)"),
    (HEAD + "days = 200", "mine.toml: line 3: days: 200, expected a number from 0 to 120"),
    (HEAD + 'days = "21"', "mine.toml: line 3: days: '21', expected a number from 0 to 120"),
    (HEAD + 'days = [21, "a friend"]',
     "mine.toml: line 3: days: unknown source key 'a friend', expected one of those in SOURCES.toml"),
    (HEAD + "stage = 3", "mine.toml: line 3: stage: 3, expected one or more tables [[stage]]"),
    (HEAD + 'notes = "one"', "mine.toml: line 3: notes: 'one', expected a list of texts"),
    (HEAD + "[[stage]]\nrh_pct = { target = 50 }", "mine.toml: stage[3].name: missing, expected one of setter, lockdown, hatch"),
    (HEAD + '[[stage]]\nname = "setter"\ndry_bulb_c = 37.5',
     "mine.toml: line 5: stage.setter.dry_bulb_c: 37.5, expected a table"),
    (HEAD + '[[stage]]\nname = "setter"\ndry_bulb_c = { target = 39.0 }',
     "mine.toml: line 5: stage.setter.dry_bulb_c: target 39 above high_warning 38.1, expected low to high"),
    (HEAD + '[[stage]]\nname = "setter"\nrh_pct = { target = 50 }\nwet_bulb_c = { target = 30 }',
     "mine.toml: line 3: stage.setter: both rh_pct and wet_bulb_c came, expected one humidity band or none"),
    (HEAD + '[[stage]]\nname = "hatch"\nfrom_day = 19\n',
     "mine.toml: line 3: stage.hatch.dry_bulb_c: missing, expected a band"),
    (COMPLETE + '[[stage]]\nname = "setter"\ndry_bulb_c = {low_alarm = 36, target = 37, high_alarm = 38}',
     "mine.toml: line 10: stage: setter, lockdown, setter, "
     "expected setter, lockdown and perhaps hatch, in this order"),
    (HEAD + "rules = 3", "mine.toml: line 3: rules: 3, expected a table"),
    (HEAD + "[rules]\nno-data = 3", "mine.toml: line 4: rules.no-data: 3, expected a table"),
    (HEAD + "[rules.no-data]\non_delay = 3",
     "mine.toml: line 4: rules.no-data.on_delay: unknown setting, nearest on_delay_s or off_delay_s, expected one of: "
     "deadband, limit, off_delay_s, on_delay_s, priority, re_alarm_s, respond_min"),
    (HEAD + "[rules.no-data]\non_delay_s = -3",
     "mine.toml: line 4: rules.no-data.on_delay_s: -3, expected a number from 0 to 604800"),
    (HEAD + '[rules.no-data]\npriority = "urgent"',
     "mine.toml: line 4: rules.no-data.priority: 'urgent', expected one of low, medium, high, critical"),
    (HEAD + '[rules.no-data]\non_delay_s = [3, "a friend"]',
     "mine.toml: line 3: rules.no-data: on_delay_s: unknown source key 'a friend', expected one of those in SOURCES.toml"),
    (HEAD + "[rules.dry-bulb-high-alarm]\nlimit = 38.5",
     "mine.toml: line 4: rules.dry-bulb-high-alarm.limit: 38.5, expected it in a band of [[stage]]"),
    (HEAD + "[rules.all-silent]\non_delay_s = 60",
     "mine.toml: line 3: rules.all-silent: a rule of the whole site, expected [rules.all-silent] in the configuration"),
    (HEAD + "[rules.too-hot]\non_delay_s = 60",
     f"mine.toml: line 3: rules.too-hot: no such rule, nearest egg-too-hot, expected one of {len(shipped_rules())}"),
    (HEAD + 'scientific_name = "a\\nb"',
     "mine.toml: line 3: scientific_name: 'a\\nb', expected text in one line, without control characters"),
    ("id = 'mine'\ndays 21",
     'mine.toml: line 2: words without a value, expected such as name = "setter-1"'),
]  # fmt: skip


@pytest.mark.parametrize(("text", "line"), OWN_WRONG)
def test_what_is_wrong_in_an_own_file_is_said_in_one_line(tmp_path: Path, text: str, line: str) -> None:
    """Each fault in a breeder's file is one line that names the file and the place."""
    with pytest.raises(ProfileError) as caught:
        load_profiles(own_file(tmp_path, text))
    assert str(caught.value) == line


def test_a_stage_changed_twice_is_refused(tmp_path: Path) -> None:
    """Two tables for one stage are not quietly reduced to one."""
    stage = '[[stage]]\nname = "setter"\ndry_bulb_c = { low_alarm = 36, target = 37.8, high_alarm = 38.5 }\n'
    with pytest.raises(ProfileError, match=r"mine.toml: line 3: stage: setter, lockdown, setter, expected setter"):
        load_profiles(own_file(tmp_path, HEAD + stage + stage))


def test_one_id_in_two_own_files_is_refused(tmp_path: Path) -> None:
    """Two own files for one bird are named, for neither can be meant to win."""
    own_file(tmp_path, COMPLETE, "a.toml")
    own_file(tmp_path, COMPLETE, "b.toml")
    with pytest.raises(ProfileError) as caught:
        load_profiles(tmp_path)
    assert str(caught.value) == "b.toml: line 2: id: 'test-bird', expected an id not used in a.toml"


def test_a_missing_path_is_refused(tmp_path: Path) -> None:
    """A configured path that is not there is an error, not an empty set of profiles."""
    path = tmp_path / "nowhere"
    with pytest.raises(ProfileError) as caught:
        load_profiles(path)
    assert str(caught.value) == f"{path}: no such file or folder, expected a TOML file or a folder of them"


def test_bytes_that_are_not_text_are_refused_with_their_line(tmp_path: Path) -> None:
    """A file in another encoding is named with the line where it goes wrong."""
    path = tmp_path / "mine.toml"
    path.write_bytes('id = "mine"\nname = "Höhner"\n'.encode("latin-1"))
    with pytest.raises(ProfileError) as caught:
        load_profiles(path)
    assert str(caught.value) == "mine.toml: line 2: bytes that are not UTF-8, expected text"


def test_a_file_that_cannot_be_read_is_refused(tmp_path: Path) -> None:
    """A folder that bears the name of a file is said so, without a traceback."""
    (tmp_path / "mine.toml").mkdir()
    with pytest.raises(ProfileError, match=r"^mine.toml: Is a directory, expected a file that can be read$"):
        load_profiles(tmp_path)
