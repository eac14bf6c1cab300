"""Archives that were made by each version of the format: every report out of them gives the bytes that it gave then."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from dataclasses import asdict, replace
from pathlib import Path
from typing import cast

import pytest
from pydantic import TypeAdapter

from monitor.adapters.archive.batch import BatchMember
from monitor.adapters.archive.container import FORMAT_VERSION, unpack
from monitor.adapters.archive.contents import read_archive, write_archive
from monitor.adapters.archive.house import ProfileMember
from monitor.adapters.kept.site import ArchivedProfile
from monitor.adapters.tables.profiles import load_sources
from tests.adapters.archive.kept_reports import KEPT, REPORTS, archives, expected, report
from tests.running import typed

Capture = pytest.CaptureFixture[str]


@pytest.mark.parametrize("archive", archives(), ids=lambda path: path.stem)
@pytest.mark.parametrize("name", REPORTS)
def test_a_report_gives_the_bytes_it_gave(archive: Path, name: str, capsys: Capture) -> None:
    """Text, JSON, table and page out of an archive of before are what they were, and figures that differ from its own are told."""
    complaints = []

    def run(line: list[str]) -> str:
        code, out, err = typed(capsys, *line)
        assert code == 0
        complaints.append(err)
        return out

    made, then = report(archive, name, run), expected(archive, name)
    assert made.splitlines() == then.splitlines()
    assert made == then
    same = expected(archive, "history.json") == unpack(archive)[1]["history.json"]
    assert (complaints[0] != "") is (name.startswith("history.") and not same)


# Every key that format version 1 writes; under `*` the keys are names that a house or a species gives.
BAND = "low_alarm low_warning target high_warning high_alarm"
RULE = "id words over unit priority severity group on_delay_s off_delay_s deadband re_alarm_s respond_min cause consequence first_act limit"
ALARM = (
    "subject rule number episode condition acknowledged latched shelved_until shelved_until_mono_s suppressed out_of_service since ended"
    " value worst limit about told asked_mono_s pending_mono_s pending_at"
)
TRANSITION = "id at subject rule number episode state_before state cause value worst limit since who"
KEYS = {
    "manifest.json": {
        "": "format format_version program batch as_of members",
        "members.*": "bytes sha256",
    },
    "batch.json": {
        "": "id profile set_at eggs note stays declared closed_at numbers split_from",
        "stays": "machine since until",
        "declared": "stage at",
    },
    "profile.json": {
        "": "profile sources",
        "profile": (
            "id name scientific_name days hatch_day_first hatch_day_last lockdown_day stages still_air_offset_k egg_mass_g"
            " target_loss_pct notes rules sources"
        ),
        "profile.stages": "name from_day dry_bulb_c rh_pct wet_bulb_c",
        "profile.stages.dry_bulb_c": BAND,
        "profile.stages.wet_bulb_c": BAND,
    },
    "site.json": {
        "": "id zone unit pressure_kpa settle_s wick_coefficient_per_k machines probes rules own_rules",
        "machines": "id name kind air rules",
        "machines.rules.*": "on_delay_s limit",
        "probes": "key machine interval_s position",
        "rules": RULE,
        "own_rules.*": "limit",
    },
    "book.json": {
        "": "number at written_at who kind fact egg count tray replaces",
        "fact": (
            "laid_at stored_days length_mm breadth_mm gross_g tare_g error_g found sign text stage why into finding look_at"
        ),
    },
    "record.json": {
        "": "calibrations handlings events gaps alarms transitions notices",
        "calibrations": "probe at since due by note dry_bulb_c rh_pct",
        "calibrations.dry_bulb_c": "slope offset points",
        "calibrations.rh_pct": "slope offset points",
        "handlings": "machine since until until_mono_s by",
        "events": "at kind subject text",
        "gaps": "node boot first last lost",
        "alarms": ALARM,
        "transitions": TRANSITION,
        "notices": "notice state attempts last_detail last_at",
        "notices.notice": "id dedupe contact priority title text created alarm_number closing link",
    },
}
NAMED = {"members", "profile.rules", "profile.sources", "sources", "machines.rules", "own_rules"}


def keys_of(value: object, place: str = "") -> Iterator[tuple[str, str]]:
    """(place, key) of every key in JSON; the items of a list share its place."""
    if isinstance(value, list):
        for each in value:
            yield from keys_of(each, place)
    elif isinstance(value, dict):
        for key, inner in value.items():
            named = place in NAMED
            if not named:
                yield place, key
            yield from keys_of(inner, f"{place}.{'*' if named else key}".removeprefix("."))


def test_the_keys_are_those_of_its_version(tmp_path: Path) -> None:
    """What is written today has the keys that version 1 has always had, no more and no fewer, and in the same bytes.

    One value apart: an invented alarm of the kept file is latched, which no program has ever written, and today's writes what they did.
    """
    (old,) = archives()
    found = read_archive(old)
    new = tmp_path / "new.zip"
    write_archive(new, found.archive, program=found.program, kept=found.kept, sources=load_sources())
    for path in (old, new):
        manifest, members = unpack(path)
        for name, keys in KEYS.items():
            data = manifest if name == "manifest.json" else json.loads(members[name])
            wanted = {(place, key) for place, each in keys.items() for key in each.split()}
            assert set(keys_of(data)) == wanted, name
    manifest, members = unpack(old)
    assert members["record.json"].count(b'"latched": true') == 1
    record = members["record.json"].replace(b'"latched": true', b'"latched": false')
    listed = {"bytes": len(record), "sha256": hashlib.sha256(record).hexdigest()}
    listing = dict(cast("dict[str, object]", manifest["members"])) | {"record.json": listed}
    assert unpack(new) == (manifest | {"members": listing}, members | {"record.json": record})


def test_what_an_earlier_file_lacks_has_its_meaning(tmp_path: Path) -> None:
    """Files from before eggs could be split off say nothing of numbers: theirs run from 1, and the batch is its own clutch."""
    batch = BatchMember.of(read_archive(archives()[0]).archive.batch)
    data = {key: value for key, value in asdict(batch).items() if key not in ("numbers", "split_from")}
    back = TypeAdapter(BatchMember).validate_python(data).back()
    assert (back.numbers, back.split_from, back.clutch) == ((), "", "quail-1")


def test_what_a_profile_says_beyond_the_first_files_comes_back() -> None:
    """Its kind, what begins its lockdown, the clock of its target, its lethal heat and what is not known of it are in the file."""
    profile = read_archive(archives()[0]).archive.site.profiles["japanese-quail"]
    more = replace(
        profile,
        kind="fowl",
        lockdown_by="draw-down",
        target_loss_to=15.0,
        lethal_heat=(40.6, 30.0),
        unknown=("What it sings.",),
    )
    reader = TypeAdapter(ProfileMember)
    for each, added in (
        (profile, set[str]()),
        (more, {"kind", "lockdown_by", "target_loss_to", "lethal_heat", "unknown"}),
    ):
        data = json.loads(reader.dump_json(ProfileMember(ArchivedProfile.of(each), {})))
        assert set(data["profile"]) - set(KEYS["profile.json"]["profile"].split()) == added
        assert reader.validate_json(json.dumps(data)).profile.back() == each
    assert (profile.lockdown_sign, profile.target_loss_to) == (None, "internal pip")  # what a file of before means


def test_each_format_version_has_an_archive_kept() -> None:
    """A new format version comes with an archive of its own, and those of before stay."""
    assert [path.name for path in archives()] == [f"archive-{n}.zip" for n in range(1, FORMAT_VERSION + 1)]
    for number, path in enumerate(archives(), 1):
        manifest, members = unpack(path)
        assert manifest["format_version"] == number
        assert len(json.loads(members["book.json"])) > 20
    assert (KEPT / "README.md").exists()
