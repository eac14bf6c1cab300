"""How a batch ended in a line and on its page: ends by day, who its eggs were, each sensor and the good batches beside its own line."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest

from monitor.analysis.history.ended import Ended, ended_of
from monitor.cli.main import main
from monitor.domain.readings.reading import DAY_MS
from monitor.shown.form import Shown
from monitor.shown.history.ended import EggsPart, eggs_section, ended_line
from monitor.shown.report.tree import Listing
from tests.fakes import MemoryStore
from tests.shown.sheet.accident import day, house_in, made, write_house

SHOWN = Shown(house_in(Path()).site.zone, "C")
NONE = Ended(
    eggs=12, hatched=0, dead={}, removed={}, chicks_dead=0, went_on=0, hatched_at=None, days=(), closed=False
)  # fmt: skip


@pytest.fixture(scope="module")
def store() -> MemoryStore:
    found = MemoryStore()
    found.commit(made())
    return found


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> str:
    folder = tmp_path_factory.mktemp("house")
    write_house(folder)
    out = folder / "attic-4.html"
    assert main(["history", "attic-4", "--html", str(out), "--good", "--config", str(folder / "eggroom.toml")]) == 0
    return out.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("ended", "words"),
    [
        (NONE, "None of its eggs has an end yet."),
        (replace(NONE, closed=True), "How it ended is not written."),
        (
            replace(NONE, hatched=7, dead={"early": 1, "late": 2}, removed={"clear": 1}, went_on=1, hatched_at=(day(21.0), day(22.5)), closed=True),
            "7 of 12 eggs hatched, 23 Feb to 24 Feb; 3 died (2 late and 1 early); 1 taken out (1 clear); 1 went on in other batches.",
        ),
        (
            replace(NONE, eggs=None, hatched=2, chicks_dead=1, hatched_at=(day(21.0), day(21.0)), days=(), went_on=1),
            "2 eggs hatched, 23 Feb; 1 went on in other batches; 1 of the chicks died.",
        ),
        (replace(NONE, dead={"early": 2}, went_on=1), "None of 12 eggs hatched; 2 died (2 early); 1 went on in other batches; 9 go on."),
        (replace(NONE, hatched=9, hatched_at=(day(21.0), day(21.0)), went_on=1, closed=True), "9 of 12 eggs hatched, 23 Feb; 1 went on in other batches; of 2 no end is written."),
    ],
)  # fmt: skip
def test_how_it_ended_in_a_line(ended: Ended, words: str) -> None:
    """As many as there are of each, with the days of the hatch; nothing where nothing is written."""
    assert ended_line(ended, SHOWN) == words


def test_the_page_says_first_how_it_ended(page: str) -> None:
    """Under its title, before anything else; and in text it is the first line."""
    told = re.findall(r"<p[^>]*>([^<]*)</p>", page)
    assert told[1] == "7 of 10 eggs hatched, 23 Feb; 3 died (3 middle)."


def test_ends_stand_on_their_days(page: str) -> None:
    """Three deaths found on day 14, seven hatches on day 21: as high as they are many, and where these days lie."""
    titles = re.findall(r"<title>(day \d+: \d+ (?:hatched|found dead|taken out)[^<]*)</title>", page)
    assert titles == ["day 14: 3 found dead", "day 21: 7 hatched"]
    (died,) = re.findall(r'<rect class="died" x="([0-9.]+)" y="[0-9.]+" width="([0-9.]+)" height="([0-9.]+)"', page)
    (hatched,) = re.findall(
        r'<rect class="hatched" x="([0-9.]+)" y="[0-9.]+" width="([0-9.]+)" height="([0-9.]+)"', page
    )
    assert float(died[2]) / float(hatched[2]) == pytest.approx(3.0 / 7.0, abs=0.01)
    share = (14.15 * DAY_MS) / (22.2 * DAY_MS)
    assert float(died[0]) / 900.0 == pytest.approx(share, abs=0.005)


def test_who_the_eggs_were(store: MemoryStore) -> None:
    """What all have in common once, of each what is its own, with its air cell, its end and what its chick weighed."""
    (batch,) = [b for b in store.batches() if b.id == "attic-4"]
    book = store.book(batch)
    section = eggs_section(EggsPart(book, ended_of(book, day(60.0)), None), SHOWN)
    (table,) = [each for each in section.blocks if isinstance(each, Listing)]
    seven, eight = table.rows[6], table.rows[7]
    assert seven == ("7", "label A7, tray B place 7", "12 to 16 mm, day 14.0", "dead (middle), day 14.1", "")
    assert eight == ("8", "label A8, tray B place 8", "", "hatched, day 21.3", "39.1, 40.3 g")
    assert "pair P3, clutch 2" in next(iter(section.blocks)).words  # type: ignore[union-attr]  # a paragraph


def test_a_batch_of_which_nothing_is_written_has_no_table(store: MemoryStore) -> None:
    """And a column in which nothing stands is left out."""
    (batch,) = [b for b in store.batches() if b.id == "attic-2"]
    book = store.book(batch)
    section = eggs_section(EggsPart(book, ended_of(book, day(60.0)), None), SHOWN)
    (table,) = [each for each in section.blocks if isinstance(each, Listing)]
    assert [column.head for column in table.columns] == ["egg", "ended"]


def test_the_page_has_turns_alarms_sensors_and_good_batches(page: str) -> None:
    """As the sheet of one egg: lanes over the same days, with their dates."""
    assert re.search(r"<title>day 3: 12</title>", page)
    assert page.count('<rect class="rang"') == 1
    assert len(re.findall(r'<path class="probe[ b]*" d="M\d', page)) == 5  # two sensors, two quantities, and the key
    assert page.count('<path class="ribbon" d="M') == 2
    assert "where 3 batches of yours lay that went well" in page
    assert "02 Feb" in page


def test_what_only_touches_the_limit_is_not_shaded(page: str) -> None:
    """The thermostat's swing dips under the target each few minutes, and nothing of temperature is shaded for it but the one accident; of humidity
    what lasted for hours is."""
    warm, humid = (page.index(f"<figcaption>{name}") for name in ("Temperature", "Humidity"))
    assert len(re.findall(r'<rect class="out ', page[warm:humid])) == 1
    lasted = re.findall(
        r'<rect class="out below" x="([0-9.]+)" y="0.0" width="([0-9.]+)"', page[humid : page.index("<figcaption>Wet")]
    )
    assert lasted
    least = 900.0 * 2.0 / 24.0 / 22.2
    assert all(float(width) >= least * 0.8 for _, width in lasted)


def test_good_batches_are_asked_for(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A page without them is that which an archive makes; with them it takes the record, and a page."""
    write_house(tmp_path)
    config, out, file = ["--config", str(tmp_path / "eggroom.toml")], tmp_path / "a.html", tmp_path / "a.zip"
    assert main(["history", "attic-4", "--html", str(out), *config]) == 0
    alone = out.read_text(encoding="utf-8")
    assert 'ribbon" d=' not in alone
    assert alone.count('<rect class="rang"') == 1
    assert main(["archive", "attic-4", str(file), *config]) == 0
    assert main(["history", "--archive", str(file), "--html", str(out), "--sure"]) == 0
    assert out.read_text(encoding="utf-8") == alone
    capsys.readouterr()
    for more in (["attic-4", *config], ["--archive", str(file), "--html", str(out), "--sure"]):
        assert main(["history", "--good", *more]) == 2
        assert capsys.readouterr().err.startswith("eggroom: history: --good, expected it with --html")
