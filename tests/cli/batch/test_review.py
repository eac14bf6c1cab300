"""`eggroom review` and `eggroom outcomes` as a person types them, on a record of five made-up batches, without a daemon."""

from __future__ import annotations

import json
import re
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest

from monitor.adapters.store.connection import open_writer
from monitor.adapters.store.ledger import SqliteLedger
from monitor.adapters.tables.profiles import load_profiles
from monitor.domain.eggs.book import EggBook
from monitor.domain.state.record import Group
from tests.cli.commands import asleep
from tests.running import configure, typed
from tests.seasons import batch_of, ended, five_seasons, group, two_setters

Capture = pytest.CaptureFixture[str]


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """b-0 to b-3 went well; b-4 in damp air has wet chicks in eggs 9 and 10, and egg 11 dead early."""
    return filled(tmp_path_factory.mktemp("seasons"), five_seasons())


@pytest.fixture(scope="module")
def two(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Sixteen batches in two setters: five in damp air, all in setter-2, went badly, four of them with wet chicks, and one dry one has."""
    return filled(tmp_path_factory.mktemp("two"), two_setters(), ("setter-1", "hatcher-1", "setter-2"))


def filled(folder: Path, group: Group, machines: Sequence[str] = ("setter-1", "hatcher-1")) -> Path:
    path = configure(folder, 1, site={"zone": "UTC"}, machines=machines)
    (folder / "record").mkdir()
    opened = open_writer(folder / "record" / "eggroom.db", busy_timeout_ms=500)
    SqliteLedger(opened.connection).commit(group)
    opened.close()
    return path


def ok(capsys: Capture, *arguments: str, config: Path) -> str:
    code, out, err = asleep(capsys, *arguments, config=config)
    assert (code, err) == (0, ""), err
    assert max(map(len, out.splitlines())) <= 80 or "--json" in arguments
    return out


def told(capsys: Capture, *arguments: str, config: Path) -> Any:
    return json.loads(ok(capsys, *arguments, "--json", config=config))


def words(text: str) -> str:
    return " ".join(text.split())


def wrong(capsys: Capture, *arguments: str, config: Path, code: int = 2) -> str:
    came, out, err = typed(capsys, *arguments, config=config)
    assert (came, out, err.count("\n")) == (code, "", 1), err
    return err.strip()


def test_review(capsys: Capture, house: Path, tmp_path: Path) -> None:
    """What was found, the supported cause first with its figure, the same as values and as a page; the file is whole."""
    page = tmp_path / "b-4.html"
    assert ok(capsys, "review", "b-4", "--html", str(page), config=house) == f"{page}: written\n"
    short = ok(capsys, "review", "b-4", config=house)
    text = ok(capsys, "review", "b-4", "--full", config=house)
    assert short.partition("\n\n")[0] == text.partition("\n\n")[0]
    assert "NOT SUPPORTED" not in short
    assert short.endswith("the same with --full.\n")
    assert "\n\nReview of batch b-4\n" in text
    assert "  wet chick, excess fluid, soft or oedematous: 2 of 12 eggs (9, 10)\n" in text
    supported = text[text.index("SUPPORTED: the record shows") : text.index("CANNOT SAY")]
    assert "Too high? The record shows mean humidity over the incubation stage: 71.0 %RH," in " ".join(
        supported.split()
    )
    assert "Batches that went well: 57.0 %RH (4)." in supported
    assert "avian\n    veterinarian" in text
    data = told(capsys, "review", "b-4", config=house)
    assert [(r["finding"], r["eggs"]) for r in data["reviews"]] == [("wet-chick", [9, 10]), ("dead-first-third", [11])]
    assert data["reviews"][0]["verdicts"][0]["value"] == 71.0
    html = page.read_text(encoding="utf-8")
    assert html.startswith("<!doctype html>")
    assert "mean humidity over the incubation stage: 71.0 %RH" in html
    assert [path.name for path in tmp_path.iterdir()] == ["b-4.html"]


def test_review_of_an_egg_of_which_nothing_was_found(capsys: Capture, house: Path) -> None:
    """That is said of this egg, and what was found in the others, as values too."""
    text = ok(capsys, "review", "b-4", "--egg", "1", config=house)
    assert text.startswith("Nothing found is written about egg 1, so there is nothing to review.\n")
    words = " ".join(text.split())
    assert "Written about the batch: wet chick, excess fluid, soft or oedematous of 2 of 12 eggs (9, 10); " in words
    data = told(capsys, "review", "b-4", "--egg", "1", config=house)
    assert (data["egg"], data["reviews"], len(data["found_in_others"])) == (1, [], 2)


def test_review_of_one_egg_or_one_finding(capsys: Capture, house: Path) -> None:
    """--egg and --finding narrow it; a finding that nobody wrote is reviewed and told as such; --good asks more of the good batches."""
    assert [r["finding"] for r in told(capsys, "review", "b-4", "--egg", "11", config=house)["reviews"]] == [
        "dead-first-third"
    ]
    (one,) = told(capsys, "review", "b-4", "--egg", "3", "--finding", "late-hatch", config=house)["reviews"]
    assert (one["subject"], one["written"]) == ("egg 3", False)
    assert told(capsys, "review", "b-4", "--good", "100", config=house)["went_well"] == ["b-3", "b-1"]


def test_review_where_nothing_was_found(capsys: Capture, house: Path) -> None:
    """It says how to write a finding, with the list, and ends with 0; as values there is no review."""
    assert "  eggroom egg finding b-1 7 sticky-chick\n" in ok(capsys, "review", "b-1", config=house)
    assert told(capsys, "review", "b-1", config=house)["reviews"] == []


def test_wrong_lines_of_review(capsys: Capture, house: Path) -> None:
    """An unknown batch, finding or egg, and a share that is none: one line each, and what was expected."""
    assert "no such batch, expected one of: b-0, b-1" in wrong(capsys, "review", "b-9", config=house)
    assert "finding 'sad': expected one of the trade's list; " in wrong(
        capsys, "review", "b-4", "--finding", "sad", config=house
    )
    assert wrong(capsys, "review", "b-4", "--egg", "13", config=house) == "eggroom: batch b-4: egg 13, expected 1 to 12"
    assert "--good 0: expected above 0 to 100" in wrong(capsys, "review", "b-4", "--good", "0", config=house)
    assert "nan" in wrong(capsys, "outcomes", "--good", "nan", config=house)
    assert "expected a file that can be written" in wrong(
        capsys, "review", "b-4", "--html", "/nowhere/b-4.html", config=house, code=1
    )


def test_outcomes(capsys: Capture, house: Path) -> None:
    """The rates with their intervals, losses by stage, and in plain words that five batches are too few to compare."""
    text = ok(capsys, "outcomes", config=house)
    assert "HOW 5 BATCHES ENDED" in text
    assert "  fertile            55 of 60, 92 % (95 % interval 82 to 96 %)\n" in text
    assert "  lost, early        1 of 55, 2 % " in text
    assert "So few batches cannot tell anything: even the clearest split of them could be chance." in words(text)
    assert "    too humid in incubation: 1 of 1, otherwise 0 of 4\n" in text
    data = told(capsys, "outcomes", config=house)
    assert (data["all"]["hatch_of_set"]["count"], data["all"]["hatch_of_set"]["of"]) == (48, 60)
    assert all(each["too_few"] for each in data["together"])


def test_outcomes_by_what(capsys: Capture, house: Path) -> None:
    """By machine, species or season; of one species; of one that no batch is of there is nothing yet, of one that is none, one line."""
    assert list(told(capsys, "outcomes", "--by", "machine", config=house)["groups"]) == ["setter-1"]
    assert list(told(capsys, "outcomes", "--by", "species", config=house)["groups"]) == ["chicken"]
    seasons = told(capsys, "outcomes", "--by", "season", "--species", "chicken", config=house)["groups"]
    assert {name: group["batches"] for name, group in seasons.items()} == {"Dec to Feb": 2, "Mar to May": 3}
    assert "No closed batch has its outcome written yet." in ok(
        capsys, "outcomes", "--species", "japanese-quail", config=house
    )
    assert "species 'dodo': no such profile, expected one of: chicken" in wrong(
        capsys, "outcomes", "--species", "dodo", config=house
    )


def test_outcomes_by_machine(capsys: Capture, two: Path) -> None:
    """The damp air, setter-1 against setter-2, and the damp air within setter-2 alone, corrected together; the rest in one line."""
    text = words(ok(capsys, "outcomes", "--by", "machine", config=two))
    assert "- too humid in incubation: 5 of 5 batches ended badly, otherwise 0 of 11." in text
    assert "ONE MACHINE AGAINST THE OTHERS" in text
    assert "- set in setter-1 rather than setter-2: 0 of 8 batches ended badly, otherwise 5 of 8." in text
    assert "- too humid in incubation, setter-2 alone: 5 of 5 batches ended badly, otherwise 0 of 3." in text
    assert "17 more have too few batches to tell" in text
    assert "28 comparisons were made; 3 could tell something" in text
    data = told(capsys, "outcomes", "--by", "machine", config=two)
    assert (data["by"], data["compared"], len(data["within"])) == ("machine", 28, 18)
    (member,) = data["against_others"]
    assert (member["other_bad"], member["looked_at"], member["p_corrected"]) == (5, 3, round(224 / 4368, 6))
    assert "All counted batches are of one species: nothing to compare." in ok(
        capsys, "outcomes", "--by", "species", config=two
    )


def test_outcomes_of_a_finding(capsys: Capture, two: Path) -> None:
    """How many eggs of how many batches had it, and its published causes against whether it was written; nothing of good or bad."""
    text = ok(capsys, "outcomes", "--finding", "wet-chick", config=two)
    assert "HOW OFTEN wet-chick WAS WRITTEN\n" in text
    assert "  eggs with it       9 of 192, 5 % (95 % interval 2 to 9 %)\n" in text
    assert "  batches with it    5 of 16, 31 % (95 % interval 14 to 56 %)\n" in text
    text = words(text)
    assert "Looked at: 4 things, all that its published causes name and a sensor sees." in text
    assert "- too humid in incubation: 4 of 5 batches had wet-chick written, otherwise 1 of 11." in text
    assert "badly" not in text
    assert "go well" not in text
    data = told(capsys, "outcomes", "--finding", "wet-chick", config=two)
    assert (data["finding"]["eggs_with_it"]["count"], data["went_well_share"]) == (9, None)
    first = data["together"][0]
    assert (first["id"], first["exposed_written"], first["other_not_written"]) == ("humidity-high-setter", 4, 10)
    assert "for all of them or for none" in words(ok(capsys, "outcomes", "--finding", "late-hatch", config=two))
    assert "No sensor sees anything" in ok(capsys, "outcomes", "--finding", "rotten", config=two)


def test_outcomes_of_what_the_breeder_chose(capsys: Capture, two: Path) -> None:
    """Only that, by its id; the list has every id, and marks the usual ones."""
    chosen = ("--exposure", "humidity-high-setter")
    text = words(ok(capsys, "outcomes", *chosen, config=two))
    assert "Looked at: 1 thing that you chose." in text
    assert "too dry" not in text
    more = told(capsys, "outcomes", *chosen, "--exposure", "heat-6h-43.3-late", config=two)
    assert [each["id"] for each in more["looked_at"]] == ["humidity-high-setter", "heat-6h-43.3-late"]
    by_stage = ("--exposure", "humidity-high-incubation", "--exposure", "heat-6h-43.3-late")
    assert told(capsys, "outcomes", *by_stage, config=two) == more
    each_alone = ok(capsys, "outcomes", *chosen, "--finding", "wet-chick", "--by", "machine", config=two)
    assert "  1 more has too few batches to tell" in each_alone
    of_finding = told(capsys, "outcomes", *chosen, "--finding", "wet-chick", config=two)
    assert [row["p"] == row["p_corrected"] < 0.05 for row in of_finding["together"]] == [True]
    listed = ok(capsys, "outcomes", "--exposure", "list", config=two)
    assert "humidity-high-incubation * too humid in incubation" in words(listed)
    assert "-setter" not in listed
    assert "-hatcher" not in listed
    assert "humidity-high-whole too humid over the whole incubation" in words(listed)
    values = told(capsys, "outcomes", "--exposure", "list", config=two)
    assert {"id": "humidity-high-setter", "words": "too humid in incubation"} in values
    assert all(each["words"] in words(listed) for each in values)


def test_wrong_lines_of_outcomes(capsys: Capture, two: Path) -> None:
    """A finding or an exposure that is none, and a share beside a finding: one line each, with what is possible."""
    assert "finding 'sad': expected one of the trade's list; " in wrong(
        capsys, "outcomes", "--finding", "sad", config=two
    )
    line = wrong(capsys, "outcomes", "--exposure", "loss-low-whole", "--exposure", "moonlight", config=two)
    assert line.startswith("eggroom: exposure 'moonlight', expected one of: cold-12h-24-incubation, ")
    assert line.endswith(", temperature-low-whole, list")
    mistyped = wrong(capsys, "outcomes", "--exposure", "los-low-whole", config=two)
    assert mistyped.startswith("eggroom: exposure 'los-low-whole', nearest loss-low-whole")
    assert "--good and --finding: expected one of them" in wrong(
        capsys, "outcomes", "--finding", "wet-chick", "--good", "80", config=two
    )


def test_the_hatch_by_the_record(capsys: Capture, house: Path) -> None:
    """`batch show` and `history` tell the hatch window that the record leads to, with its doubt; both have it as values."""
    shown, history = (ok(capsys, *words, "b-4", config=house) for words in (("batch", "show"), ("history",)))
    # A page that is kept has dates that can be sorted.
    for printed, date in ((shown, r"\d\d May 2025 "), (history, "2025-05-")):
        text = " ".join(printed.split())
        assert re.search(rf"Hatch by the record \(estimate\): {date}", text)
        assert "with its doubt " in text
        assert "Embryos, by the air's temperature: about " in text
    one, other = (
        told(capsys, *words, "b-4", config=house)["development"] for words in (("batch", "show"), ("history",))
    )
    assert one == other
    assert one["lag_low_h"] < one["lag_h"] < one["lag_high_h"]
    assert one["hatch"]["first"]["at"] < one["hatch"]["usual"]["at"] < one["hatch"]["last"]["at"]


def test_before_there_is_a_record(capsys: Capture, tmp_path: Path) -> None:
    """Both say that there is none yet, with 1."""
    path = configure(tmp_path, 1)
    for words in (("review", "b-4"), ("outcomes",)):
        assert "record" in wrong(capsys, *words, config=path, code=1)


def test_outcomes_need_no_library_that_is_not_installed_with_the_rest(
    capsys: Capture, two: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where scipy is not installed, batches are compared all the same."""
    before = ok(capsys, "outcomes", "--by", "machine", config=two)
    for name in [name for name in sys.modules if name.partition(".")[0] == "scipy"]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setitem(sys.modules, "scipy", None)
    assert ok(capsys, "outcomes", "--by", "machine", config=two) == before


def test_a_draft_is_written_once_and_read_before_it_is_shown(capsys: Capture, tmp_path: Path) -> None:
    """Printed, or into a new file; never over one, nor under a name that a profile has; where there is nothing to draft, one line with 1."""
    books = [ended(EggBook(batch_of(n)), 11) for n in range(3)]
    config = filled(tmp_path, group(books, dict.fromkeys(range(3), -11.0)))
    code, out, err = asleep(capsys, "draft", "chicken", config=config)
    assert (code, err) == (0, "")
    assert out.startswith("# Drafted by eggroom on ")
    assert "Read it before you use it" in out
    file = tmp_path / "hens.toml"
    out = ok(capsys, "draft", "chicken", str(file), "--id", "hens", "--json", config=config)
    kept = file.read_text(encoding="utf-8")
    assert json.loads(out)["toml"] == kept
    assert load_profiles(file)["hens"].sources["stage.setter.rh_pct.target"] == "own"
    assert "there already, expected a new file" in wrong(capsys, "draft", "chicken", str(file), config=config)
    assert file.read_text(encoding="utf-8") == kept
    assert "--id chicken: there already" in wrong(capsys, "draft", "chicken", "--id", "chicken", config=config)
    assert "no such profile" in wrong(capsys, "draft", "dodo", config=config)
    assert "0 that went well" in wrong(capsys, "draft", "pekin-duck", config=config, code=1)
    assert "nothing was written" in wrong(capsys, "draft", "chicken", "--id", "Not An Id", config=config, code=1)
    assert sorted(p.name for p in tmp_path.glob("*.toml")) == ["eggroom.toml", "hens.toml"]
