"""`eggroom history`: of a batch and of one egg, in every form, out of the record and out of an archive."""

from __future__ import annotations

import csv
import json
from dataclasses import replace
from pathlib import Path

import icalendar
import pytest

from monitor.adapters.store.connection import open_writer
from monitor.adapters.store.ledger import SqliteLedger
from monitor.domain.eggs.entry import Entry, LookAgain
from monitor.domain.needs.batch import Batch, Stay
from monitor.domain.needs.then import site_then
from monitor.domain.state.record import Group
from monitor.settings import load_house
from tests.archived import CONFIG, closed_batch, day, fill, open_batch
from tests.cli.commands import GOOD_C, HOT_C, Capture, ok, told
from tests.running import typed


@pytest.fixture(scope="module", params=["open", "closed"])
def house(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A record with a batch of 24 and its book, open or closed; eggs 4 and the batch are to be looked at again."""
    folder = tmp_path_factory.mktemp(request.param)
    (folder / "eggroom.toml").write_text(CONFIG, encoding="utf-8")
    (folder / "record").mkdir()
    opened = open_writer(folder / "record" / "eggroom.db")
    ledger = SqliteLedger(opened.connection)
    fill(ledger, open_batch() if request.param == "open" else closed_batch())
    looks = [
        Entry(day(21), day(21), "Ada", LookAgain(day(30), "the air cell"), egg=4, number=50),
        Entry(day(21), day(21), "Ada", LookAgain(day(31)), number=51),
        Entry(day(21), day(21), "Ada", LookAgain(day(32)), egg=3, number=52),
    ]
    ledger.commit(Group(entries=[("hen-1", look) for look in looks]))
    opened.close()
    return folder / "eggroom.toml"


def said(capsys: Capture, *arguments: str, config: Path | None = None) -> str:
    code, out, err = typed(capsys, *arguments, config=config)
    assert (code, err) == (0, ""), err
    return out


def test_every_form(capsys: Capture, house: Path, tmp_path: Path) -> None:
    """Text, JSON, CSV and page say the same of egg 2: dead on day 20.5, where its record ends, with its weighings and its candling."""
    page, table = tmp_path / "egg.html", tmp_path / "egg.csv"
    files = said(capsys, "history", "hen-1", "--egg", "2", "--html", str(page), "--csv", str(table), config=house)
    assert files.splitlines() == [f"{table}: written", f"{page}: written"]
    text = said(capsys, "history", "hen-1", "--egg", "2", config=house)
    data = json.loads(said(capsys, "history", "hen-1", "--egg", "2", "--json", config=house))
    assert text.startswith("On target: ")
    assert "\n\nEnvironment history of egg 2 of hen-1\n" in text
    assert "\ndead (late) 2026-03-22 07:00, day 20.5: its record ends there;" in text
    assert data["egg"]["until"] == data["whole"]["dry_bulb_c"]["until"] == "2026-03-22T06:00:00.250Z"
    kinds = [done["kind"] for done in data["happenings"]]
    assert {"move", "opening", "handling", "stage", "weighing", "candling", "size", "dead"} <= set(kinds)
    with table.open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert [row["kind"] for row in rows if row["entry in the book"]] == [d["kind"] for d in data["happenings"] if "entry" in d]  # fmt: skip
    whole = next(row for row in rows if (row["stage"], row["quantity"]) == ("whole", "rh_pct"))
    assert float(whole["mean (C, %RH or kPa)"]) == data["whole"]["rh_pct"]["mean"]
    html = page.read_text(encoding="utf-8")
    assert "<h1>Environment history of egg 2 of hen-1</h1>" in html
    assert 'class="losses"' in html
    batch = json.loads(said(capsys, "history", "hen-1", "--json", config=house))
    assert "egg" not in batch
    assert batch["whole"]["rh_pct"]["hours_total"] > data["whole"]["rh_pct"]["hours_total"]


def test_an_egg_of_which_nothing_is_written(capsys: Capture, house: Path) -> None:
    """Egg 20 has the figures of its batch, byte for byte where the batch is closed."""
    own = json.loads(said(capsys, "history", "hen-1", "--egg", "20", "--json", config=house))
    batch = json.loads(said(capsys, "history", "hen-1", "--json", config=house))
    if house.parent.name.startswith("closed"):
        assert own["whole"] == batch["whole"]
        assert own["stages"] == batch["stages"]
    assert own["stages"][0] == batch["stages"][0]
    assert own["egg"]["end"] is None
    assert [e["kind"] for e in own["egg"]["entries"]] == ["look-again"]  # of the whole batch


def test_a_number_beyond_the_batch(capsys: Capture, house: Path, tmp_path: Path) -> None:
    """One line, exit 2, and nothing is written."""
    for egg in ("25", "0"):
        code, out, err = typed(capsys, "history", "hen-1", "--egg", egg, "--csv", str(tmp_path / "x"), config=house)
        assert (code, out, err) == (2, "", f"eggroom: batch hen-1: egg {egg}, expected 1 to 24\n")
    code, _, err = typed(capsys, "history", "hen-1", "--egg", "2", "--exposures", config=house)
    assert (code, err) == (2, "eggroom: history: --exposures is of a species, expected it without --egg\n")
    assert list(tmp_path.iterdir()) == []


def test_out_of_an_archive(capsys: Capture, house: Path, tmp_path: Path) -> None:
    """Where there is only the file, text, JSON, CSV and page are byte for byte those of the record; a number beyond it is one line."""
    file = tmp_path / "hen-1.zip"
    said(capsys, "archive", "hen-1", str(file), config=house)
    for form in ("csv", "html"):
        a, b = tmp_path / f"a.{form}", tmp_path / f"b.{form}"
        said(capsys, "history", "hen-1", "--egg", "2", f"--{form}", str(a), config=house)
        said(capsys, "history", "--egg", "2", f"--{form}", str(b), "--archive", str(file))
        assert a.read_bytes() == b.read_bytes()
    for as_json in (("--json",), ()):
        there = said(capsys, "history", "hen-1", "--egg", "2", *as_json, config=house)
        assert said(capsys, "history", "--egg", "2", *as_json, "--archive", str(file)) == there
    code, _, err = typed(capsys, "history", "--egg", "25", "--archive", str(file))
    assert (code, err) == (2, "eggroom: batch hen-1: egg 25, expected 1 to 24\n")


def test_what_is_due_for_an_egg(capsys: Capture, house: Path, tmp_path: Path) -> None:
    """Its batch's calendar with the same UIDs, and the times to look at it or at the batch again; of an egg that has ended one line, exit 1."""
    own, whole = tmp_path / "egg.ics", tmp_path / "batch.ics"
    said(capsys, "history", "hen-1", "--egg", "4", "--ics", str(own), config=house)
    said(capsys, "history", "hen-1", "--ics", str(whole), config=house)
    events = {str(e["UID"]): e for e in icalendar.Calendar.from_ical(own.read_bytes()).walk("VEVENT")}
    batch = {str(e["UID"]) for e in icalendar.Calendar.from_ical(whole.read_bytes()).walk("VEVENT")}
    more = {uid: e for uid, e in events.items() if uid not in batch}
    assert batch < set(events)
    assert [(str(e["SUMMARY"]), str(e["DESCRIPTION"]), e.decoded("DTSTART")) for e in more.values()] == [
        ("hen-1 egg 4: look again", "the air cell", day(30).replace(microsecond=0)),
        ("hen-1: look again", "", day(31).replace(microsecond=0)),
    ]
    again = tmp_path / "again.ics"
    code, out, err = typed(capsys, "history", "hen-1", "--egg", "2", "--ics", str(again), config=house)
    assert (code, out) == (1, "")
    assert err == "eggroom: batch hen-1: egg 2: dead, so nothing is due, expected it without --ics\n"
    assert not again.exists()


def test_history(capsys: Capture, running: Path, tmp_path: Path) -> None:
    """`history` gives the same figures as text, as JSON and in a file for a spreadsheet."""
    assert "Environment history of batch hen-1" in ok(capsys, "history", "hen-1", config=running)
    file = tmp_path / "hen-1.csv"
    history = told(capsys, "history", "hen-1", "--csv", str(file), config=running)
    whole = history["whole"]["dry_bulb_c"]
    assert (whole["samples"], whole["max"], whole["min"]) == (20, HOT_C, GOOD_C)
    rows = [
        row
        for row in csv.DictReader(file.open(newline=""))
        if (row["kind"], row["stage"], row["quantity"]) == ("figures", "whole", "dry_bulb_c")
    ]
    assert [(row["good readings"], float(row["max (C or %RH)"])) for row in rows] == [("20", HOT_C)]


def test_history_as_a_page_and_a_calendar(capsys: Capture, running: Path, tmp_path: Path) -> None:
    """`history --html` writes the page, `--ics` what is due, and both say so; neither leaves anything half written."""
    page, due = tmp_path / "hen-1.html", tmp_path / "hen-1.ics"
    said = ok(capsys, "history", "hen-1", "--html", str(page), "--ics", str(due), config=running)
    assert said.splitlines() == [f"{due}: written", f"{page}: written"]
    html = page.read_text(encoding="utf-8")
    assert html.startswith("<!doctype html>")
    assert "<h1>Environment history of batch hen-1</h1>" in html
    assert html.count("<svg") >= 5
    assert "DOSES" in ok(capsys, "history", "hen-1", "--full", config=running)
    events = icalendar.Calendar.from_ical(due.read_bytes()).walk("VEVENT")
    assert [str(event["SUMMARY"]) for event in events] == [
        "hen-1: weigh",
        "hen-1: candle and weigh",
        "hen-1: candle and weigh",
        "hen-1: weigh",
        "hen-1: lockdown",
        "hen-1: hatch",
    ]
    assert sorted(path.name for path in tmp_path.iterdir()) == ["hen-1.html", "hen-1.ics"]


def test_a_calendar_before_there_is_any_air(capsys: Capture, config: Path, tmp_path: Path) -> None:
    """Eggs that are in no machine yet have no history, and a calendar all the same."""
    ok(capsys, "batch", "add", "later-1", "--species", "chicken", config=config)
    due = tmp_path / "later-1.ics"
    assert ok(capsys, "history", "later-1", "--ics", str(due), config=config) == f"{due}: written\n"
    assert len(icalendar.Calendar.from_ical(due.read_bytes()).walk("VEVENT")) == 6
    code, _, err = typed(capsys, "history", "later-1", config=config)
    assert code == 1
    assert "in no machine yet" in err


def test_history_exposures(capsys: Capture, running: Path, tmp_path: Path) -> None:
    """`history --exposures` prints the published table for the species, with both sides; as values with --json; not into a file."""
    text = ok(capsys, "history", "hen-1", "--exposures", config=running)
    assert text.startswith("Published exposures of eggs to heat and cold, for Chicken (21 days)\n")
    assert "\n    but " in text
    views = told(capsys, "history", "hen-1", "--exposures", config=running)
    assert {"id", "temp_c", "hours", "day", "harm", "citation", "disagrees_with"} <= set(views[0])
    code, _, err = typed(capsys, "history", "hen-1", "--exposures", "--csv", str(tmp_path / "x"), config=running)
    assert (code, err) == (
        2,
        "eggroom: history: --exposures is a table of its own, expected it without --csv and --html\n",
    )


def test_a_profile_that_is_a_file_no_longer(capsys: Capture, tmp_path: Path) -> None:
    """The record has it as it was: history and archive of its batch are told all the same; one that was never written down is asked for."""
    (tmp_path / "eggroom.toml").write_text(CONFIG, encoding="utf-8")
    config = tmp_path / "eggroom.toml"
    site = load_house(config).site
    own = replace(site.profiles["chicken"], id="own-hen", name="Own hen")
    then = replace(site_then(site, ["chicken"], None), profiles={"own-hen": own})
    stays = (Stay("setter-1", day(0)),)
    batches = {
        id_: Batch(id_, profile, day(0), 6, stays=stays, closed_at=day(3))
        for id_, profile in (("a", "own-hen"), ("b", "lost-hen"))
    }
    (tmp_path / "record").mkdir()
    opened = open_writer(tmp_path / "record" / "eggroom.db")
    SqliteLedger(opened.connection).commit(Group(batches=batches, sites=[then]))
    opened.close()
    assert "Environment history of batch a" in said(capsys, "history", "a", config=config)
    archived = said(capsys, "archive", "a", str(tmp_path / "a.zip"), config=config)
    assert "read back, and its figures are the same" in archived
    assert "Environment history of batch a" in said(capsys, "history", "--archive", str(tmp_path / "a.zip"))
    for command in (("history", "b"), ("archive", "b", str(tmp_path / "b.zip"))):
        code, _, err = typed(capsys, *command, config=config)
        assert code == 1
        assert "profile 'lost-hen' is not among the profiles, expected its file" in err
