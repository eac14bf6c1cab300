"""An archive of one batch: what it holds, that it comes back to the bit, and what is refused."""

from __future__ import annotations

import hashlib
import io
import json
import os
import stat
import tracemalloc
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import fields, replace
from datetime import timedelta
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from monitor.adapters.archive import container, readings
from monitor.adapters.archive.container import ArchiveError, unpack
from monitor.adapters.archive.contents import members_of, read_archive, write_archive
from monitor.adapters.archive.history import ArchivedHistory
from monitor.adapters.archive.readings import of_csv, to_csv
from monitor.adapters.store.connection import open_reader, open_writer
from monitor.adapters.store.history import SqliteHistory
from monitor.adapters.store.ledger import SqliteLedger
from monitor.adapters.tables.profiles import load_sources
from monitor.domain.needs.batch import Batch
from monitor.domain.needs.rulebook import in_force
from monitor.domain.needs.site import Site
from monitor.domain.state.record import Event, Group
from monitor.service import ports
from monitor.service.ports import BatchRecord, Series
from monitor.service.reports.archive import Archive, archive_of
from monitor.service.reports.batch import batch_charts
from monitor.service.reports.water import water_of
from monitor.settings import build_house, parse_settings
from monitor.shown.about import about_words
from monitor.shown.eggs import book_view, water_view
from monitor.shown.history.files import to_csv as figures_csv
from monitor.shown.history.files import to_json
from monitor.shown.history.report import Header
from tests.archived import PROFILES, SECRET, closed_batch, day, fill, make_site, open_batch
from tests.fakes import MemoryStore
from tests.ports import (
    PROBE,
    STAYING,
    UNTIL,
    BatchRecordSuite,
    Telling,
    at,
    everything,
    full_group,
    notice,
    raised,
    series_rows,
)

NOW = day(19.3)
LATER = day(60)


@pytest.fixture(scope="module")
def site() -> Site:
    return make_site()


@pytest.fixture(scope="module")
def record(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ports.Record]:
    """The record of the open batch, in a SQLite store."""
    path = tmp_path_factory.mktemp("record") / "eggroom.db"
    opened = open_writer(path)
    fill(SqliteLedger(opened.connection), open_batch())
    history = SqliteHistory(open_reader(path))
    yield history
    history.close()
    opened.close()


@pytest.fixture(scope="module")
def archive(record: ports.Record, site: Site) -> Archive:
    return archive_of(record, site, open_batch(), now=NOW, say=str)


KEPT = {"history.json": "{}\n", "review.json": "{}\n", "review.txt": "né, 鳥\n", "review.html": "<p>鳥\n"}


def write(path: Path, archive: Archive) -> Path:
    write_archive(path, archive, program="eggroom 0.0", kept=KEPT, sources=load_sources())
    return path


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory, archive: Archive) -> Path:
    return write(tmp_path_factory.mktemp("file") / "hen-1.zip", archive)


def reports(history: BatchRecord, site: Site, batch: Batch, now: Any) -> list[str]:
    """Every report of a batch, as text: figures in both forms, drawings, the egg book, the water of the eggs, what is in force."""
    figures, charts = batch_charts(history, site, batch, now=now)
    header, book = Header(batch.id, batch.profile, batch.eggs, batch.set_at), history.book(batch)
    rules = [in_force(site, machine, [batch.profile]) for machine in ("setter-1", "setter-2", "hatcher-1", None)]
    data: list[Any] = [to_json(figures, header), figures_csv(figures, header), book_view(book)]
    return [json.dumps(each) for each in [*data, water_view(water_of(history, site, book, now=now), site)]] + [repr(charts), repr(rules)]  # fmt: skip


def test_every_report_is_the_same_to_the_byte(record: ports.Record, site: Site, file: Path) -> None:
    """Out of the file, without the record, each report gives the bytes that it gave from the record: with moves, gaps, a calibration."""
    assert read_archive(file).kept == KEPT
    found = read_archive(file).archive
    assert found.as_of == NOW
    there = reports(record, site, open_batch(), NOW)
    assert reports(ArchivedHistory(found), found.site, found.batch, found.as_of) == there
    figures = json.loads(there[0])
    assert (len(figures["stages"]), len(figures["calibrations"])) == (2, 2)
    assert [stage["machines"] for stage in figures["stages"]] == [["setter-1", "setter-2"], ["setter-1", "hatcher-1"]]
    assert len(figures["gaps"]) > 1
    assert {h["kind"] for h in figures["happenings"]} == {"move", "stage", "opening", "handling"}
    assert len(json.loads(there[3])["eggs"]) == 4


def test_an_archive_that_lacks_a_reading_is_seen(record: ports.Record, site: Site, archive: Archive) -> None:
    """The comparison above can fail: one reading's last bit, in a window that counts, changes a report of the egg's water or the air."""
    key = "node-a/top"
    (piece,) = archive.readings[key]
    dry = piece.dry_bulb_c.copy()
    dry[1200] += 0.5
    other = replace(archive, readings={**archive.readings, key: (replace(piece, dry_bulb_c=dry),)})
    assert reports(ArchivedHistory(other), other.site, other.batch, NOW) != reports(record, site, open_batch(), NOW)


def test_a_closed_batch_is_as_it_was_closed(site: Site, tmp_path: Path) -> None:
    """The archive of a closed batch is the same bytes whenever it is made, and its reports are those of the record."""
    store, batch = MemoryStore(), closed_batch()
    fill(store, batch)
    first = write(tmp_path / "a.zip", archive_of(store, site, batch, now=LATER, say=str))
    again = write(tmp_path / "b.zip", archive_of(store, site, batch, now=LATER + timedelta(days=9), say=str))
    assert first.read_bytes() == again.read_bytes()
    found = read_archive(first).archive
    there = reports(store, site, batch, LATER)
    assert reports(ArchivedHistory(found), found.site, found.batch, found.as_of) == there


def test_the_same_export_is_the_same_bytes(record: ports.Record, site: Site, file: Path, tmp_path: Path) -> None:
    """Made twice, and made again out of what was read back, the file is the same."""
    assert (
        write(tmp_path / "again.zip", archive_of(record, site, open_batch(), now=NOW, say=str)).read_bytes()
        == file.read_bytes()
    )
    assert write(tmp_path / "copy.zip", read_archive(file).archive).read_bytes() == file.read_bytes()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["again.zip", "copy.zip"]


def test_what_belongs_to_the_batch(record: ports.Record, file: Path, site: Site) -> None:
    """Everything of its machines in its time is there; nothing of another machine, another batch, or another time."""
    found = read_archive(file).archive
    history = ArchivedHistory(found)
    assert found.batch == open_batch()
    assert history.book(open_batch()) == record.book(open_batch())
    assert history.book(replace(open_batch(), id="other")).entries == ()
    assert [c.probe for c in history.calibrations()] == ["node-a/top", "node-a/low"]
    assert history.calibrations() == [c for c in record.calibrations() if c.probe != "node-z/top"]
    assert [h.machine for h in history.handlings()] == ["setter-1"]
    assert [(e.kind, e.subject, e.text) for e in history.events()] == [
        ("batch", "hen-1", "set"), ("opening", "setter-1", "opened, 3 min"), ("node", "node-a", "came online"),
    ]  # fmt: skip
    assert [g.node for g in found.gaps] == ["node-a"]
    assert [t.number for t in found.transitions] == [12, 14]
    assert list(found.transitions) == [t for t in record.transitions() if t.number in (12, 14)]
    assert list(found.alarms) == [a for a in record.alarms() if a.number in (12, 14)]
    assert [(n.notice.id, n.state) for n in found.notices] == [(14, "waiting"), (12, "sent")]
    assert set(found.site.machines) == {"setter-1", "setter-2", "hatcher-1"}
    assert found.site.profiles == {"chicken": site.profiles["chicken"]}
    assert (found.site.zone, found.site.pressure_kpa, found.site.unit) == (site.zone, site.pressure_kpa, "F")
    assert found.site.rules == site.rules
    assert found.site.own_rules == site.own_rules


def test_what_is_about_the_batch_belongs_to_it_afterwards_too(site: Site) -> None:
    """Of after its end only what is about the batch itself: its alarm's return, its being written of. Of its machines nothing more."""
    store, batch = MemoryStore(), closed_batch()
    fill(store, batch)
    later = [(raised(n, subject), day(d)) for n, subject, d in ((20, "setter-1", 21.0), (14, "batch hen-1", 23.0), (21, "hatcher-1", 24.0), (22, "batch other", 25.0))]  # fmt: skip
    store.commit(
        Group(
            transitions=[replace(transition, at=when) for transition, when in later],
            notices=[notice(n, alarm_number=n) for n in (20, 21, 22)],
            events=[
                Event(day(21.5), "opening", "hatcher-1", "opened"),
                Event(day(22), "opening", "hatcher-1", "opened at its very end"),
                Event(day(22.5), "batch", "hen-1", "closed"),
                Event(day(22.6), "opening", "hatcher-1", "opened afterwards"),
                Event(day(22.7), "batch", "other", "closed"),
            ],
        )
    )
    found = archive_of(store, site, batch, now=LATER, say=str)
    assert [(t.number, t.at) for t in found.transitions] == [(12, day(2.5)), (14, day(12)), (14, day(23))]
    assert [n.notice.id for n in found.notices] == [14, 12]
    assert [e.text for e in found.events][-3:] == ["opened", "opened at its very end", "closed"]


def test_readings_come_back_as_they_were(record: ports.Record, file: Path) -> None:
    """Every reading of the stays and of the margin round them, to the bit; none of long before, and none of a machine it was not in."""
    history = ArchivedHistory(read_archive(file).archive)
    margin = timedelta(seconds=2 * 2700)  # twice the silence that is allowed to the slower of two probes
    for probe, since, until in (
        ("node-a/top", day(0) - margin, day(17.6) + margin),
        ("node-a/low", day(3.123), day(5)),
        ("node-c/top", day(17.6), NOW),
    ):
        ours, theirs = history.series(probe, since, until), record.series(probe, since, until)
        assert ours.at_ms.size > 50
        for name in (each.name for each in fields(Series)):
            np.testing.assert_array_equal(getattr(ours, name), getattr(theirs, name))
            assert getattr(ours, name).dtype == getattr(theirs, name).dtype
    assert history.series("node-a/top", day(-9), day(-0.1)).at_ms.size == 0
    assert history.series("node-a/top", day(9), day(8)).at_ms.size == 0
    assert history.series("node-z/top", day(0), NOW).at_ms.size == 0


def site_of_the_suite() -> Site:
    probes = [{"node": key[:6], "probe": key[7:], "machine": "setter-1"} for key in (PROBE, "node-a/low", "node-b/low")]
    settings = parse_settings({"site": {"id": "home"}, "machine": [{"id": "setter-1"}], "probe": probes}, "test")
    return build_house(settings, PROFILES, Path("test.toml")).site


class TestBatchRecord(BatchRecordSuite):
    @pytest.fixture
    def told(self, tmp_path: Path) -> Telling:
        def tell(*groups: Group) -> BatchRecord:
            store = MemoryStore()
            for group in (Group(batches={STAYING.id: STAYING}), *groups):
                store.commit(group)
            file = write(tmp_path / "spring-1.zip", archive_of(store, site_of_the_suite(), STAYING, now=UNTIL, say=str))
            return ArchivedHistory(read_archive(file).archive)

        return tell


def test_it_keeps_what_any_record_tells(tmp_path: Path) -> None:
    """What the record of the ports' suite tells of a batch's time comes back whole; of a message its words alone, and of
    an alarm the words of what it is about, without when it would have come back into service: that is no history."""
    group, store = full_group(), MemoryStore()
    say = partial(about_words, site=site_of_the_suite())
    group.batches, group.sites = {STAYING.id: STAYING}, []  # these have tests of their own
    store.commit(group)
    file = write(tmp_path / "spring-1.zip", archive_of(store, site_of_the_suite(), STAYING, now=at(100), say=say))
    there, found = everything(store), read_archive(file).archive
    for row in there["notices"]:
        assert row.notice.link or row.last_detail
    unlinked = [replace(r, notice=replace(r.notice, link="", facts=None), last_detail="") for r in there["notices"]]
    assert list(found.notices) == unlinked
    there["alarms"] = [replace(a, about=say(a.about), out_until=None) for a in there["alarms"]]
    assert "None of 3 nodes is heard" in {a.about for a in found.alarms}
    for name in ("alarms", "transitions", "gaps", "events", "calibrations", "handlings"):
        assert list(getattr(found, name)) == there[name], name
        assert there[name], name
    assert found.book.entries == there["book"].entries != ()
    history = ArchivedHistory(found)
    assert {probe: series_rows(history, probe) for probe in there["series"]} == there["series"]


def test_odd_floats_and_missing_ones_come_back() -> None:
    """A table keeps the last bit, the sign of zero, and which of two quantities is missing; an empty one stays empty."""
    dry = np.array([0.1 + 0.2, -0.0, np.nan, 5e-324, 1e22, np.nan])
    humid = np.array([np.nan, 100.0, 1 / 3, 0.0, 52.0, np.nan])
    flags = np.array([1, 3, 9, 4, 2, 9])
    series = Series(np.array([-5, 0, 0, 1, 2**53 + 1, 2**53 + 1]), dry, humid, flags, flags[::-1].copy())
    again = of_csv(to_csv([series]))
    for name in (each.name for each in fields(Series)):
        assert getattr(again, name).tobytes() == np.ascontiguousarray(getattr(series, name)).tobytes(), name
    assert of_csv(to_csv([])).at_ms.size == 0
    assert to_csv([series]).splitlines()[3] == b"0,,0.3333333333333333,9,4"


def test_no_secret_is_in_it(file: Path) -> None:
    """Neither a contact's address, nor a link, nor what the phone's service answered stands anywhere in the file."""
    _, members = unpack(file)
    text = b"\n".join(members.values()).decode()
    assert "s3cr3t" in SECRET
    assert "s3cr3t" not in text
    assert "tgram" not in text
    assert "No. 12" in text


def test_another_program_can_read_it(file: Path) -> None:
    """An ordinary ZIP with a note for people, JSON and CSV; the profile brings its sources in full; each checksum is SHA-256."""
    with zipfile.ZipFile(file) as opened:
        assert opened.testzip() is None
        names = opened.namelist()
        manifest = json.loads(opened.read("manifest.json"))
        assert {n: hashlib.sha256(opened.read(n)).hexdigest() for n in names[1:]} == {
            n: about["sha256"] for n, about in manifest["members"].items()
        }
        profile = json.loads(opened.read("profile.json"))
        note = opened.read("README.txt").decode()
        table = opened.read("readings/node-a/low.csv").decode().splitlines()
    assert names[0] == "manifest.json"
    assert (manifest["format"], manifest["format_version"], manifest["program"]) == ("eggroom batch archive", 1, "eggroom 0.0")  # fmt: skip
    assert all(name.split("/")[0] in note for name in names if name != "README.txt")
    assert set(profile["profile"]["sources"].values()) - set(profile["sources"]) <= {"definition"}
    assert table[0] == "at_ms,dry_bulb_c,rh_pct,flag,rh_flag"
    assert len(table) > 500


# --- what is refused


def again(path: Path, file: Path, change: Callable[[dict[str, bytes]], None], compression: int = zipfile.ZIP_DEFLATED) -> Path:  # fmt: skip
    """The file's members, changed, as a new ZIP."""
    with zipfile.ZipFile(file) as opened:
        members = {name: opened.read(name) for name in opened.namelist()}
    change(members)
    with zipfile.ZipFile(path, "w", compression) as made:
        for name, data in members.items():
            made.writestr(name, data)
    return path


def manifest(parts: dict[str, bytes], **changes: Any) -> None:
    parts["manifest.json"] = json.dumps(json.loads(parts["manifest.json"]) | changes).encode()


def refused(path: Path, words: str) -> None:
    with pytest.raises(ArchiveError) as raised:
        read_archive(path)
    assert words in str(raised.value)
    assert str(raised.value).startswith(f"{path}: ")
    assert "expected" in str(raised.value)
    assert "\n" not in str(raised.value)


def test_a_changed_member_is_refused(file: Path, tmp_path: Path) -> None:
    """Any member that is not as it was written is named, whichever it is; so is one too many, and one too few."""
    with zipfile.ZipFile(file) as opened:
        names = [name for name in opened.namelist() if name != "manifest.json"]
    for name in names:
        changed = again(tmp_path / "x.zip", file, lambda m, name=name: m.update({name: m[name] + b" "}))  # type: ignore[misc]
        refused(changed, f"{name}: its checksum is wrong")
    refused(again(tmp_path / "x.zip", file, lambda m: m.update({"more.txt": b""})), "its parts are not those")
    refused(again(tmp_path / "x.zip", file, lambda m: m.__delitem__("book.json")), "its parts are not those")


def test_what_is_no_archive(file: Path, tmp_path: Path) -> None:
    """No file, no ZIP, an empty file, another ZIP, a manifest that is none: each is one line."""
    x = tmp_path / "x.zip"
    refused(tmp_path / "none.zip", "No such file")
    refused(tmp_path, "Is a directory")
    for data in (b"", b"PK\x05\x06", b"hen-1" * 100, file.read_bytes()[:-1], file.read_bytes() + b"\0"):
        x.write_bytes(data)
        refused(x, "not an archive of a batch")
    refused(again(x, file, lambda m: m.__delitem__("manifest.json")), "without manifest.json")
    refused(again(x, file, lambda m: m.update({"manifest.json": b"[" * 9000})), "not JSON")
    refused(again(x, file, lambda m: m.update({"manifest.json": b"[]"})), "of something else")
    refused(again(x, file, lambda m: manifest(m, members=[])), "its parts are not those")
    refused(again(x, file, lambda m: None, zipfile.ZIP_BZIP2), "pressed in another way")


def test_it_replaces_a_file_and_nothing_else(archive: Archive, tmp_path: Path) -> None:
    """A folder, here or elsewhere, and a device are refused in one line and stay what they were; an older file is replaced."""
    device = tmp_path / "fifo"
    os.mkfifo(device)
    for path in (tmp_path, Path(), Path("/"), tmp_path / "..", device):
        with pytest.raises(ArchiveError, match="not a file, expected one that can be written"):
            write(path, archive)
    assert stat.S_ISFIFO(device.stat().st_mode)
    with pytest.raises(FileNotFoundError):
        write(tmp_path / "none" / "x.zip", archive)
    old = tmp_path / "old.zip"
    old.write_text("old")
    assert read_archive(write(old, archive)).archive.batch == archive.batch
    assert sorted(p.name for p in tmp_path.iterdir()) == ["fifo", "old.zip"]


def test_files_come_back_and_are_what_they_are_called(archive: Archive, tmp_path: Path) -> None:
    """Once each, byte for byte; an archive without any has no word of them, and one whose file is another than its name says is refused."""
    picture = bytes(range(256))
    name = hashlib.sha256(picture).hexdigest()
    file = write(tmp_path / "a.zip", replace(archive, files={name: picture}))
    found = read_archive(file).archive
    assert found.files == {name: picture}
    assert ArchivedHistory(found).file(name) == picture
    assert ArchivedHistory(found).file("0" * 64) is None
    _, parts = unpack(file)
    assert "files/" in parts["README.txt"].decode()
    assert "files/" not in unpack(write(tmp_path / "b.zip", archive))[1]["README.txt"].decode()

    def other(parts: dict[str, bytes]) -> None:
        parts[f"files/{name}"] = b"another"
        members = json.loads(parts["manifest.json"])["members"]
        members[f"files/{name}"] = {"bytes": 7, "sha256": hashlib.sha256(b"another").hexdigest()}
        manifest(parts, members=members)

    refused(again(tmp_path / "c.zip", file, other), f"files/: '{name}' is not called by what is in it")


def test_another_format_version(file: Path, tmp_path: Path) -> None:
    """An archive of another version says which it is, and which can be read; of a newer one, that a newer program reads it."""
    for version in (0, -1, "1", 1.5, True, None, [2]):
        x = again(tmp_path / "x.zip", file, lambda m, v=version: manifest(m, format_version=v))  # type: ignore[misc]
        refused(x, f"format version {version!r}, by eggroom 0.0, expected 1")
    for version in (2, 10**30):
        x = again(tmp_path / "x.zip", file, lambda m, v=version: manifest(m, format_version=v))  # type: ignore[misc]
        refused(x, f"format version {version!r:.20}, by eggroom 0.0, expected at most 1: a newer eggroom made it")


def test_damage_anywhere_is_one_line(file: Path, tmp_path: Path) -> None:
    """A byte changed or a part lost, wherever it lies: the file is refused in one line, or was read as it was."""
    whole, x = file.read_bytes(), tmp_path / "x.zip"
    _, there = unpack(file)
    lines: list[str] = []
    for place in range(0, len(whole), max(1, len(whole) // 97)):
        for data in (whole[:place] + bytes([whole[place] ^ 0x55]) + whole[place + 1 :], whole[:place]):
            x.write_bytes(data)
            try:
                found = read_archive(x)
            except ArchiveError as error:
                lines.append(str(error))
            else:  # a byte that no reader looks at, such as the time of a member in the ZIP
                assert members_of(found.archive, found.kept, load_sources()) == there
    assert len(lines) > 150
    assert not [line for line in lines if "\n" in line]


def test_wrong_contents_under_right_checksums(file: Path, tmp_path: Path) -> None:
    """Members that fit their checksums and hold no batch, no profile, or no readings are refused by name."""

    def put(name: str, data: bytes) -> Path:
        def change(members: dict[str, bytes]) -> None:
            listed = json.loads(members["manifest.json"])["members"]
            listed[name] = {"bytes": len(data), "sha256": hashlib.sha256(data).hexdigest()}
            members[name] = data
            manifest(members, members=listed)

        return again(tmp_path / "x.zip", file, change)

    refused(put("batch.json", b"{}"), "batch.json: ")
    refused(put("batch.json", b"[[[[["), "batch.json: not JSON (")
    refused(put("profile.json", b'{"profile": 1, "sources": {}}'), "profile.json: ")
    refused(put("book.json", b'[{"number": 1}]'), "book.json: 0.at: missing, expected a value")
    head = b"at_ms,dry_bulb_c,rh_pct,flag,rh_flag\n"
    for table in (b"", b"x", head + b"1,2,3\n", head + b"2,1,1,1,1\n1,1,1,1,1\n", head + b"1,inf,1,1,1\n", head + b"\xff,,,1,1\n"):  # fmt: skip
        refused(put("readings/node-a/top.csv", table), "readings/node-a/top.csv: ")
    _, members = unpack(file)
    batch = json.loads(members["batch.json"])
    refused(put("batch.json", json.dumps(batch | {"id": 5}).encode()), "batch.json: id: 5, expected a valid string")
    refused(
        put("batch.json", json.dumps(batch | {"set_at": "2026-03-01T18:00:00"}).encode()),
        "batch.json: set_at: '2026-03-01T18:00:00', expected a time with its zone",
    )
    record = json.loads(members["record.json"])
    record["calibrations"] = [{**each, "at": each["at"][:19]} for each in record["calibrations"]]
    assert record["calibrations"]
    refused(put("record.json", json.dumps(record).encode()), "record.json: calibrations.0.at: ")
    site = json.loads(members["site.json"])
    refused(put("site.json", json.dumps(site | {"zone": "../../etc/passwd"}).encode()), "site.json: ")
    site["probes"].append(site["probes"][0] | {"key": "node-q/top"})
    refused(put("site.json", json.dumps(site).encode()), "'readings/node-q/top.csv' is missing")


def test_what_would_take_gigabytes_as_values_is_refused_before(file: Path, tmp_path: Path) -> None:
    """Under right checksums: more values than a batch can have, or a mistake a million times, end in one line and in little time and memory."""

    def put(name: str, data: bytes) -> Path:
        def change(members: dict[str, bytes]) -> None:
            listed = json.loads(members["manifest.json"])["members"]
            listed[name] = {"bytes": len(data), "sha256": hashlib.sha256(data).hexdigest()}
            members[name] = data
            manifest(members, members=listed)

        return again(tmp_path / "x.zip", file, change)

    _, members = unpack(file)
    batch = json.loads(members["batch.json"])
    head, rows = b"at_ms,dry_bulb_c,rh_pct,flag,rh_flag\n", b"1,,,1,1\n"
    refused(put("book.json", b"[" + b"1," * 4_000_000 + b"1]"), "book.json: 4000001 values, expected at most 4000000")
    refused(put("book.json", b"[" * 4_000_001), "values, expected at most")
    refused(put("book.json", b"[" * 100_000), "book.json: not JSON (")
    refused(
        put("batch.json", json.dumps({**batch, "note": [1e308] * 3}).replace("1e+308", "1e999").encode()),
        "1e999 is no number",
    )
    refused(put("batch.json", json.dumps({**batch, "note": float("nan")}).encode()), "NaN is no number")
    many = json.dumps({**batch, "note": {str(n): 1 for n in range(5_001)}}).encode()
    refused(put("batch.json", many), "5001 names in one place, at most 5000")
    wrong = put("batch.json", json.dumps({**batch, "stays": [{}] * 1_000_000}).encode())
    tracemalloc.start()
    refused(
        wrong, "batch.json: stays.0.machine: missing, expected a value"
    )  # and not three million complaints, of a kilobyte each
    assert tracemalloc.get_traced_memory()[1] < 200_000_000
    tracemalloc.stop()
    refused(put("readings/node-a/top.csv", head + rows * 10 + b"\n" * 2), "an empty line")
    refused(put("readings/node-a/top.csv", head + b"1" * 9_000_000), "a line without end")


def test_a_table_is_read_in_pieces(monkeypatch: pytest.MonkeyPatch) -> None:
    """Wherever a piece ends, the readings are those that were written; the last line may lack its end."""
    whole = Series(np.arange(500), np.arange(500) / 3.0, np.full(500, np.nan), np.ones(500, np.int64), np.full(500, 9))
    for size in (40, 97, 1000, 1_000_000):
        monkeypatch.setattr(readings, "PIECE_BYTES", size)
        for data in (to_csv((whole,)), to_csv((whole,))[:-1]):
            found = of_csv(data)
            for name in readings.COLUMNS:
                np.testing.assert_array_equal(getattr(found, name), getattr(whole, name))
    assert of_csv(to_csv(())).at_ms.size == 0


def test_a_member_of_another_size_than_was_said_is_refused(file: Path, tmp_path: Path) -> None:
    """Its checksum may be right: what the manifest says of it is not."""

    def change(members: dict[str, bytes]) -> None:
        listed = json.loads(members["manifest.json"])["members"]
        listed["book.json"]["bytes"] += 1
        manifest(members, members=listed)

    refused(again(tmp_path / "x.zip", file, change), "book.json: its size is wrong")


def test_an_instant_beyond_the_calendar_is_refused(file: Path, tmp_path: Path) -> None:
    """`as_of` of a file made by hand may lie where no clock does."""
    for moment in ("0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-14:00"):
        x = again(tmp_path / "x.zip", file, lambda m, as_of=moment: manifest(m, as_of=as_of))  # type: ignore[misc]
        refused(x, "manifest.json: ")


def test_a_batch_of_millennia_is_refused(file: Path, tmp_path: Path) -> None:
    """A stay from the year 100 on, or to the year 9000: reports would look at each hour of it."""

    def put(**more: Any) -> Path:
        def change(members: dict[str, bytes]) -> None:
            data = json.dumps(json.loads(members["batch.json"]) | more).encode()
            listed = json.loads(members["manifest.json"])["members"]
            listed["batch.json"] = {"bytes": len(data), "sha256": hashlib.sha256(data).hexdigest()}
            members["batch.json"] = data
            manifest(members, members=listed)

        return again(tmp_path / "x.zip", file, change)

    early, late = "0100-01-01T00:00:00Z", "9000-01-01T00:00:00Z"
    stay = {"machine": "setter-1", "since": early, "until": "2026-03-02T00:00:00Z"}
    for change in ({"set_at": early}, {"stays": [stay]}, {"closed_at": late}, {"stays": [{**stay, "since": "2026-03-01T00:00:00Z", "until": late}]}):  # fmt: skip
        refused(put(**change), "batch.json: from ")
    refused(put(set_at="2006-01-01T00:00:00Z"), "batch.json: from 2006 to 2026, at most 20 years")
    assert read_archive(put(set_at="2007-01-01T00:00:00Z")).archive.batch.set_at.year == 2007


def test_a_bomb_is_not_unpacked(file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A small file that would become too much, or has too many parts, is refused before any of it is read."""
    x = tmp_path / "bomb.zip"
    again(x, file, lambda m: m.update({f"{n}": bytes(64 * 1024 * 1024) for n in range(9)}))
    assert x.stat().st_size < 2_000_000
    read: list[str] = []
    monkeypatch.setattr(zipfile.ZipFile, "read", lambda *_: read.append("read"))
    monkeypatch.setattr(zipfile.ZipFile, "open", lambda *_: read.append("open"))
    refused(x, "MB when unpacked, expected at most 512 MB")
    assert read == []
    monkeypatch.undo()
    again(x, file, lambda m: m.update({f"{n}": b"" for n in range(300)}))
    refused(x, "at most 256 can be")
    again(x, file, lambda m: m.update({"manifest.json": b" " * 100_000}))
    refused(x, "manifest.json of 100000 bytes")
    monkeypatch.setattr(container, "MAX_FILE", 1000)
    refused(file, "MB, expected at most")


def test_a_member_that_lies_about_its_size(file: Path, tmp_path: Path) -> None:
    """A ZIP whose list promises less than a member holds gives no more than was promised, and is refused."""
    data = bytearray(again(tmp_path / "x.zip", file, lambda m: m.update({"README.txt": b"a" * 5_000_000})).read_bytes())
    with zipfile.ZipFile(io.BytesIO(bytes(data))) as opened:
        wanted = opened.getinfo("README.txt")
    for place in (data.find(b"README.txt") - 30 + 22, data.rfind(b"README.txt") - 46 + 24):
        assert int.from_bytes(data[place : place + 4], "little") == wanted.file_size
        data[place : place + 4] = (100).to_bytes(4, "little")
    (tmp_path / "x.zip").write_bytes(data)
    refused(tmp_path / "x.zip", "damaged")


def test_what_is_too_big_is_not_written(archive: Archive, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A batch that nobody could read back is refused when it is written, and leaves no file; so does one that cannot be written."""
    monkeypatch.setattr(container, "MAX_UNPACKED", 10_000)
    with pytest.raises(ArchiveError, match="expected at most"):
        write(tmp_path / "hen-1.zip", archive)
    monkeypatch.undo()
    monkeypatch.setattr(container, "MAX_FILE", 10_000)
    with pytest.raises(ArchiveError, match="expected at most"):
        write(tmp_path / "hen-1.zip", archive)
    assert list(tmp_path.iterdir()) == []
    with pytest.raises(OSError, match="No such file"):
        write(tmp_path / "no" / "hen-1.zip", archive)
