"""`eggroom archive` and `backup`, and the reports that read from it: the bytes of the record's own, without record or configuration."""

from __future__ import annotations

import json
import shutil
import sqlite3
import zipfile
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from monitor.adapters import clock
from monitor.adapters.archive.container import pack, unpack
from monitor.adapters.archive.contents import read_archive
from monitor.adapters.archive.readings import of_csv
from monitor.adapters.store.connection import open_writer
from monitor.adapters.store.ledger import SqliteLedger
from monitor.cli.batch import archive as archive_commands
from monitor.cli.batch import history as history_commands
from monitor.domain.needs.batch import Batch
from monitor.domain.readings.reading import PASS, to_ms
from monitor.domain.state.record import Group, StoredReading
from monitor.shown.history import files
from tests.archived import CONFIG, closed_batch, day, fill, open_batch
from tests.cli.commands import Capture, asleep, told
from tests.running import configure, typed

CONTENTS = "monitor.adapters.archive.contents"


def record(folder: Path, batch: Batch) -> Path:
    """The configuration beside a record of the batch."""
    config = folder / "eggroom.toml"
    config.write_text(CONFIG, encoding="utf-8")
    (folder / "record").mkdir()
    opened = open_writer(folder / "record" / "eggroom.db")
    ledger = SqliteLedger(opened.connection)
    fill(ledger, batch)
    ledger.commit(
        Group(batches={"later-1": Batch("later-1", "chicken", day(1)), "odd-1": Batch("odd-1", "dodo", day(1))})
    )
    opened.close()
    return config


@pytest.fixture(scope="module")
def shut(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return record(tmp_path_factory.mktemp("shut"), closed_batch())


@pytest.fixture
def live(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A record whose batch goes on, looked at on day 19.3."""

    class Clock(datetime):
        @classmethod
        def now(cls, tz: Any = None) -> Any:
            return day(19.3).astimezone(tz)

    monkeypatch.setattr(clock, "datetime", Clock)
    (tmp_path / "live").mkdir()
    return record(tmp_path / "live", open_batch())


def said(capsys: Capture, *arguments: str, config: Path | None = None) -> str:
    code, out, err = asleep(capsys, *arguments, config=config)
    assert (code, err) == (0, ""), err
    return out


@pytest.mark.parametrize("which", ["shut", "live"])
def test_reports_out_of_the_file_are_those_of_the_record(
    which: str, request: pytest.FixtureRequest, capsys: Capture, tmp_path: Path
) -> None:
    """Where there is only the file, each report gives byte for byte what it gave from the record, of a closed batch and of one that goes on."""
    config, file = request.getfixturevalue(which), tmp_path / "hen-1.zip"
    made = json.loads(said(capsys, "archive", "hen-1", str(file), "--json", config=config))
    assert made["bytes"] == file.stat().st_size
    assert made["readings"] > 3000
    for report in (["history", "hen-1"], ["history", "hen-1", "--json"], ["egg", "show", "hen-1"], ["egg", "show", "hen-1", "--json"], ["egg", "show", "hen-1", "2", "--json"]):  # fmt: skip
        there = said(capsys, *report, config=config)
        assert said(capsys, *report, "--archive", str(file), "--config", str(tmp_path / "none.toml")) == there
    assert said(capsys, "history", "--archive", str(file), "--json") == said(capsys, "history", "hen-1", "--json", config=config)  # fmt: skip
    for how in ([], ["--json"]):
        there = said(capsys, "review", "hen-1", "--full", *how, config=config)
        assert said(capsys, "review", "--archive", str(file), *how) == there
    assert "blood-ring" in there
    pages = tmp_path / "here.html", tmp_path / "there.html"
    said(capsys, "review", "hen-1", "--html", str(pages[0]), config=config)
    said(capsys, "review", "--archive", str(file), "--html", str(pages[1]))
    assert pages[0].read_bytes() == pages[1].read_bytes()
    for form in ("csv", "html", "ics"):
        a, b = tmp_path / f"a.{form}", tmp_path / f"b.{form}"
        said(capsys, "history", "hen-1", f"--{form}", str(a), config=config)
        said(capsys, "history", f"--{form}", str(b), "--archive", str(file))
        if form != "ics" or which == "live":  # a calendar is stamped with the time at which it was made
            assert a.read_bytes() == b.read_bytes()


def test_a_chick_and_its_brooder_are_in_the_file(shut: Path, capsys: Capture, tmp_path: Path) -> None:
    """Whose air is that of a machine in which the batch never was, also after the batch was closed."""
    house = tmp_path / "house"
    shutil.copytree(shut.parent, house)
    config, file = house / "eggroom.toml", tmp_path / "hen-1.zip"
    for days, words in (
        (20.0, ("outcome", "hen-1", "5", "hatched")), (20.0, ("chick", "hen-1", "5", "40.2")), (20.2, ("chick", "hen-1", "5", "--brooder", "setter-9")),
        (21.5, ("chick", "hen-1", "5", "43.1")), (23.0, ("chick", "hen-1", "5", "--signed-off", "out")),
    ):  # fmt: skip
        said(capsys, "egg", *words, "--at", day(days).isoformat(), config=config)
    said(capsys, "archive", "hen-1", str(file), config=config)
    here = said(capsys, "egg", "show", "hen-1", "5", config=config)
    assert (
        "101.3 °F (99.9 to 102.7), 52 %RH," in here
    )  # that house shows °F, and its sensor there was found a degree low
    assert "100 % on record" in here
    assert said(capsys, "egg", "show", "5", "--archive", str(file)) == here
    assert said(capsys, "egg", "show", "--archive", str(file), "--json") == said(
        capsys, "egg", "show", "hen-1", "--json", config=config
    )


def test_the_figures_stand_in_the_file(shut: Path, capsys: Capture, tmp_path: Path) -> None:
    """The file brings the figures as they were printed, for who has no eggroom; made again, it is the same file."""
    file, again = tmp_path / "a.zip", tmp_path / "b.zip"
    text = said(capsys, "archive", "hen-1", str(file), config=shut)
    assert text.startswith(f"{file}: batch hen-1, ")
    assert text.endswith("; read back, and its figures are the same\n")
    with zipfile.ZipFile(file) as opened:
        assert opened.read("history.json").decode() == said(capsys, "history", "hen-1", "--json", config=shut)
        review = opened.read("review.json").decode()
        assert review == said(capsys, "review", "hen-1", "--json", config=shut)
        assert opened.read("review.txt").decode() == said(capsys, "review", "hen-1", "--full", config=shut)
    assert [each["finding"] for each in json.loads(review)["reviews"]] == ["blood-ring"]
    said(capsys, "archive", "hen-1", str(again), config=shut)
    assert again.read_bytes() == file.read_bytes()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.zip", "b.zip"]


def test_figures_that_another_version_counts_otherwise(
    shut: Path, capsys: Capture, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where this program's figures are not those that the file brings, they are printed, and a line says so."""
    file = tmp_path / "hen-1.zip"
    said(capsys, "archive", "hen-1", str(file), config=shut)
    monkeypatch.setattr(history_commands, "PROGRAM", "eggroom 9")
    real = files.to_json
    monkeypatch.setattr(history_commands, "to_json", lambda *given: real(*given) | {"more": 1})
    code, out, err = typed(capsys, "history", "--archive", str(file), "--json")
    assert (code, json.loads(out)["more"]) == (0, 1)
    assert err == "eggroom: these figures are by eggroom 9; those of the archive, by eggroom 0.1.0, differ (history.json in it)\n"  # fmt: skip


def test_what_is_refused(shut: Path, capsys: Capture, tmp_path: Path) -> None:
    """No batch, another batch, no archive, no machine, no such species, no such folder: one line each, and no file."""
    file = tmp_path / "hen-1.zip"
    said(capsys, "archive", "hen-1", str(file), config=shut)
    for arguments, code, words in (
        (["history"], 2, "history: no batch, expected BATCH or --archive FILE"),
        (["history", "--archive", str(shut)], 2, "not an archive of a batch"),
        (["history", "hen-2", "--archive", str(file)], 2, "the archive of hen-1, expected that of hen-2"),
        (["review"], 2, "review: no batch, expected BATCH or --archive FILE"),
        (["review", "--archive", str(file), "--egg", "2"], 2, "expected nothing beside it but --json"),
        (["egg", "show", "hen-1", "99", "--archive", str(file)], 2, "egg 99, expected 1 to 24"),
        (["archive", "hen-2", str(tmp_path / "x.zip")], 2, "no such batch"),
        (["archive", "later-1", str(tmp_path / "x.zip")], 1, "in no machine yet"),
        (["archive", "odd-1", str(tmp_path / "x.zip")], 1, "is not among the profiles"),
        (["archive", "hen-1", str(tmp_path / "no" / "x.zip")], 1, "expected a file that can be written"),
    ):
        got, out, err = typed(capsys, *arguments, config=shut)
        assert (got, out, err.count("\n")) == (code, "", 1), err
        assert words in err
    assert [path.name for path in tmp_path.iterdir()] == ["hen-1.zip"]


def test_an_archive_is_of_one_instant(
    live: Path, capsys: Capture, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A reading that is stored while the archive is made, and bears on its end, does not come between its figures and its readings."""
    real = archive_commands._figures
    came: list[Any] = []

    def figures(*given: Any, **named: Any) -> str:
        if not came:
            came.append(
                StoredReading("node-c/top", 3, to_ms(day(19.3)) - to_ms(day(-2)) + 1000, 45.0, 90.0, PASS, PASS)
            )
            opened = open_writer(live.parent / "record" / "eggroom.db")
            SqliteLedger(opened.connection).commit(Group(readings=came))
            opened.close()
        return real(*given, **named)

    before = said(capsys, "history", "hen-1", "--json", config=live)
    monkeypatch.setattr(archive_commands, "_figures", figures)
    said(capsys, "archive", "hen-1", str(tmp_path / "hen-1.zip"), config=live)
    assert said(capsys, "history", "--archive", str(tmp_path / "hen-1.zip"), "--json") == before
    assert said(capsys, "history", "hen-1", "--json", config=live) != before


def test_an_archive_that_would_lose_something_is_not_written(
    shut: Path, capsys: Capture, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What would give other figures, or does not come back from the file as it went in, is said in a line; there is no file then."""
    file = tmp_path / "hen-1.zip"
    with monkeypatch.context() as patched:
        patched.setattr("monitor.service.reports.archive._windows", lambda *_: [])
        code, out, err = typed(capsys, "archive", "hen-1", str(file), config=shut)
    assert (code, out) == (1, "")
    assert "would not give the same figures" in err
    with monkeypatch.context() as patched:
        patched.setattr(f"{CONTENTS}.of_csv", lambda data: of_csv(data.replace(b"37.", b"38.")))
        code, out, err = typed(capsys, "archive", "hen-1", str(file), config=shut)
    assert (code, out) == (1, "")
    assert "does not come back the same" in err
    assert list(tmp_path.iterdir()) == []


def test_the_book_of_an_archive_needs_no_name(capsys: Capture, shut: Path, tmp_path: Path) -> None:
    """The archive says of which batch it is: its book, or one egg's by its number alone."""
    file = tmp_path / "hen-1.zip"
    typed(capsys, "archive", "hen-1", str(file), config=shut)
    for named, bare in ((("hen-1",), ()), (("hen-1", "2"), ("2",))):
        with_name = typed(capsys, "egg", "show", *named, "--archive", str(file))
        assert with_name[0] == 0
        assert typed(capsys, "egg", "show", *bare, "--archive", str(file)) == with_name


def test_a_backup_while_it_runs(capsys: Capture, running: Path, tmp_path: Path) -> None:
    """`backup` gives one file that opens by itself, is sound and holds the rows; a second one replaces it where that was said."""
    file = tmp_path / "copy.db"
    for sure in ((), ("--sure",)):
        said = told(capsys, "backup", str(file), *sure, config=running)
        assert said == {"file": str(file), "bytes": file.stat().st_size}
        connection = sqlite3.connect(file)
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert connection.execute("SELECT count(*) FROM reading").fetchone() == (20,)
        assert connection.execute("SELECT count(*) FROM batch").fetchone() == (1,)
        connection.close()
    assert [path.name for path in tmp_path.iterdir()] == ["copy.db"]
    (tmp_path / "again" / "record").mkdir(parents=True)
    shutil.copy(file, tmp_path / "again" / "record" / "eggroom.db")
    again = configure(tmp_path / "again", 1)
    assert [row["id"] for row in told(capsys, "batch", "list", config=again)] == ["hen-1"]


def test_parts_that_do_not_go_together_are_one_line(shut: Path, capsys: Capture, tmp_path: Path) -> None:
    """Under right checksums and each of them right by itself: eggs in two machines at once, a calibration at the end of the calendar."""
    file, other = tmp_path / "hen-1.zip", tmp_path / "other.zip"
    said(capsys, "archive", "hen-1", str(file), config=shut)
    manifest, members = unpack(file)
    head = {key: str(manifest[key]) for key in ("program", "batch", "as_of")}
    batch, kept = json.loads(members["batch.json"]), json.loads(members["record.json"])
    batch["stays"][1]["since"] = batch["stays"][0]["since"]
    kept["calibrations"][0]["at"] = "9999-12-31T23:59:59.999999+00:00"
    for changed in ({"batch.json": batch}, {"record.json": kept}):
        name, value = next(iter(changed.items()))
        pack(other, head, {**members, name: json.dumps(value).encode()})
        codes = set()
        for report in (["history"], ["history", "--full"], ["history", "--json"], ["history", "--html", str(tmp_path / "x.html"), "--sure"], ["egg", "show"]):  # fmt: skip
            code, _, err = typed(capsys, *report, "--archive", str(other))
            assert code in (0, 2)
            if code:
                assert err.count("\n") == 1
                assert f"{other}: its parts do not go together (" in err
            codes.add(code)
        assert 2 in codes


def test_a_kept_review_does_nothing_to_a_terminal(shut: Path, capsys: Capture, tmp_path: Path) -> None:
    """Whoever made the file, and whatever stands in it."""
    file, other = tmp_path / "hen-1.zip", tmp_path / "other.zip"
    said(capsys, "archive", "hen-1", str(file), config=shut)
    manifest, members = unpack(file)
    head = {key: str(manifest[key]) for key in ("program", "batch", "as_of")}
    pack(other, head, {**members, "review.txt": b"one\x1b[2J\ntwo\n"})
    assert said(capsys, "review", "--archive", str(other)) == "one [2J\ntwo\n"


def test_a_review_that_fails_stops_no_archive(tmp_path: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch) -> None:
    """What is kept is the record; in place of the review it says that there is none, and why."""

    def fails(*_: object, **__: object) -> None:
        raise ValueError("max() arg is an empty sequence")

    config, file = record(tmp_path, closed_batch()), tmp_path / "a.zip"
    monkeypatch.setattr(archive_commands, "batch_review", fails)
    code, out, err = typed(capsys, "archive", closed_batch().id, str(file), config=config)
    assert (code, err) == (0, "")
    why = "the review could not be made: max() arg is an empty sequence"
    assert f"; {why}" in " ".join(out.split())
    kept = read_archive(file).kept
    assert json.loads(kept["review.json"]) == {"error": why}
    assert kept["review.txt"] == why + "\n"
    assert why in kept["review.html"]
