"""A narrow terminal, forty columns wide: no line is wider, no word is lost, and nothing of one line stands in another."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import TYPE_CHECKING

import pytest

from monitor.adapters.tables.profiles import load_profiles, load_sources
from monitor.domain.eggs.book import EggBook
from monitor.domain.needs.batch import Batch, Stay
from monitor.domain.watch.view import machine_view
from monitor.service.reports.weighed import water_at
from monitor.service.watch.commands import batch_view
from monitor.shown.eggs import book_text
from monitor.shown.history.brief import brief_text
from monitor.shown.history.exposures import exposure_text
from monitor.shown.history.report import to_text
from monitor.shown.needs.rules import rules_text, rules_view
from monitor.shown.needs.species import profile_text
from monitor.shown.now.room import room_text
from monitor.shown.report.text import block_lines, drawn
from monitor.shown.report.tree import Column, Heading, Labelled, Listing, Report, Row, Section, Table
from monitor.shown.terminal import batch_table, batch_text
from tests.domain.house import T0, Story, probes, site
from tests.shown.history.test_report import HEADER, ZONE, history

if TYPE_CHECKING:
    from monitor.domain.watch.view import RoomView

NARROW = 40
SITE = site()
HEN = Batch("hen-1", "hen", T0 - timedelta(days=10), 12, stays=(Stay("setter-1", T0 - timedelta(days=10)),))


def room(columns: int) -> str:
    """A machine with eggs that is too cold, told for as long as it takes."""
    story = Story(SITE)
    story.put(HEN)
    story.air = {"node-a/top": (34.0, 45.0)}
    story.run(minutes=30)
    view: RoomView = {"machines": [machine_view(story.look(), "setter-1", str)], "others": []}
    return room_text(view, SITE, columns=columns)


def book(columns: int) -> str:
    kept = EggBook(HEN)
    return book_text(kept, water_at(SITE, kept, T0, stretches=[]), SITE, now=T0, columns=columns)


SCREENS: dict[str, Callable[[int], str]] = {
    "room": room,
    "a history": lambda columns: to_text(history(), HEADER, zone=ZONE, unit="C", columns=columns),
    "a history in short": lambda columns: brief_text(history(), HEADER, zone=ZONE, unit="C", columns=columns),
    "exposures": lambda columns: exposure_text("Hen", 21.0, "C", columns=columns),
    "a species": lambda columns: profile_text(load_profiles()["chicken"], load_sources(), columns=columns),
    "rules": lambda columns: rules_text(
        rules_view(SITE, [HEN], T0, machines=SITE.machines.values()), SITE, columns=columns
    ),
    "a batch": lambda columns: batch_text(HEN, SITE, T0, columns=columns),
    "an egg book": book,
}


@pytest.mark.parametrize("name", SCREENS)
def test_every_screen(name: str) -> None:
    """Forty columns, and each word that stands in eighty, but for the heads of tables that are told otherwise."""
    wide, narrow = (SCREENS[name](columns) for columns in (80, NARROW))
    assert max(map(len, narrow.split("\n"))) <= NARROW
    words = {word.strip(":;,") for word in narrow.split()}
    lost = {word.strip(":;,") for line in wide.split("\n")[1:] for word in line.split()} - words
    assert {word for word in lost if len(word) < NARROW - 4} <= {"-", "", "rule", "priority"}  # an address is broken


def test_what_stands_under_a_full_line_stays_a_line_of_its_own() -> None:
    """An alarm's words fill their line nearly, and the first figure of the probe below begins a new one."""
    lines = room(NARROW).split("\n")
    assert any(line.startswith("  temperature ") for line in lines)
    assert not any("." in line and "temperature" in line.partition(". ")[2] for line in lines)


def test_a_table_is_told_column_by_column() -> None:
    """Each figure beside its word, what belongs to it set in below; what is empty is left out."""
    table = Table(
        (
            Row("", ("temperature °C", "humidity %RH")),
            Row("lowest", ("37.2", "-")),
            Row("at", ("12:00", "-"), under=True),
            Row("gaps", ("0", "2")),
        )
    )
    assert list(block_lines(table, NARROW)) == [
        "temperature °C",
        "  lowest: 37.2",
        "    at: 12:00",
        "  gaps: 0",
        "humidity %RH",
        "  gaps: 2",
    ]
    assert list(block_lines(table))[1] == "lowest".ljust(14) + "37.2".rjust(22) + "-".rjust(22)


def test_a_listing_is_told_row_by_row() -> None:
    """Each row one sentence, its cells with their heads; an egg of which nothing is written is its number alone."""
    listing = Listing(
        (
            Column("egg", 7, gap=0),
            Column("weighed", 7, right=True),
            Column("last g", 8, right=True),
            Column("seen last"),
        ),
        (("7", "2", "58.42", "candled: fertile, and then quite a few words more"), ("8", "", "-", "")),
    )
    assert list(block_lines(listing, NARROW)) == [
        "egg 7: weighed 2; last g 58.42; seen",
        "    last candled: fertile, and then",
        "    quite a few words more",
        "egg 8",
    ]


def test_words_under_a_label_that_leaves_no_room() -> None:
    """What is folded beside its label in a wide terminal goes on under it where that would be a column of single words."""
    block = Labelled("conductance", "2.1 mg a day and torr, of 3 weighings")
    assert list(block_lines(block, 30)) == [
        "conductance   2.1 mg a day",
        "              and torr, of",
        "              3 weighings",
    ]
    assert list(block_lines(block, 20)) == ["conductance", "    2.1 mg a day", "    and torr, of", "    3 weighings"]


def test_a_report_is_as_wide_as_it_is_asked_for() -> None:
    """Set in or not."""
    report = Report("A title", sections=(Section(Heading("part"), (Labelled("label", "word " * 30),)),))
    for inset in (True, False):
        assert max(map(len, drawn(report, inset, NARROW).split("\n"))) <= NARROW


def test_the_first_line_of_the_room_names_three() -> None:
    """Of ten things that want somebody the three worst stand in the first line, and how many more there are; each stands with its machine as well."""
    story = Story(SITE)
    story.put(HEN)
    story.air = {"node-a/top": (34.0, 45.0)}
    story.run(minutes=30)
    view = machine_view(story.look(), "setter-1", str)
    (cold,) = view["alarms"]
    many = {**view, "alarms": [cold | {"number": number} for number in range(1, 6)]}
    rooms: list[RoomView] = [{"machines": [each], "others": []} for each in (view, many)]  # type: ignore[list-item]
    first = [room_text(each, SITE).split("\n\n")[0] for each in rooms]
    assert first[0] == "Setter 1: too cold (No. 1)."
    assert " ".join(first[1].split()).endswith("(No. 3). And 2 more.")
    assert first[1].count("too cold") == 3


def test_the_worst_machine_and_its_worst_alarm_come_first() -> None:
    """Not by name: what is high and new stands before what is quiet, machine by machine and within one."""
    story = Story(SITE)
    story.put(HEN)
    story.air = {"node-a/top": (34.0, 45.0)}
    story.run(minutes=30)
    view = machine_view(story.look(), "setter-1", str)
    (cold,) = view["alarms"]
    quiet = cold | {"number": 7, "state": "shelved", "rule": "dry-bulb-low-warning"}
    calm = {**view, "name": "Aviary", "alarms": [quiet]}
    both = {**view, "alarms": [quiet, cold]}
    text = room_text({"machines": [calm, both], "others": []}, SITE)  # type: ignore[list-item]
    assert text.index("Setter 1: hen-1") < text.index("HIGH No. 1") < text.index("No. 7") < text.index("Aviary: hen-1")


@pytest.mark.parametrize(("every_s", "said"), [(60.0, False), (300.0, True)])
def test_a_machine_says_what_its_probe_is_too_slow_for(every_s: float, said: bool) -> None:
    """Heat may come two of its intervals late; of one that speaks each minute nothing is said."""
    slow = site(probes(("node-a/top", "setter-1"), interval_s=every_s))
    story = Story(slow)
    story.put(HEN)
    story.air = {"node-a/top": (37.5, 45.0)}
    story.run(minutes=30)
    view: RoomView = {"machines": [machine_view(story.look(), "setter-1", str)], "others": []}
    text = room_text(view, slow, full=True)
    assert ('  speaks each 300 s: "too hot" may come 10 min late' in text.splitlines()) is said


def test_batches_in_a_narrow_terminal() -> None:
    """A sentence each, every figure beside its word."""
    (line,) = batch_table([batch_view(HEN, T0)], SITE, T0, columns=NARROW).split("\n\n")
    assert " ".join(line.split()) == "batch hen-1: species hen; day 10.0; stage incubation; eggs 12; machine setter-1"
    assert max(map(len, line.splitlines())) <= NARROW
    assert batch_table([batch_view(HEN, T0)], SITE, T0).splitlines()[0].split() == [
        "batch",
        "species",
        "day",
        "stage",
        "eggs",
        "machine",
    ]
