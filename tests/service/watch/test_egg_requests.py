"""What is asked to be written into the egg book: what is taken, what is refused or questioned, and what follows from it."""

from __future__ import annotations

import base64
import copy
import hashlib
import json
import math
import time
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.adapters.requests import MAX_ROWS
from monitor.domain.alarms.alarm import NORMAL, UNACKNOWLEDGED
from monitor.domain.eggs.book import EggBook, masses, standing
from monitor.domain.eggs.entry import FILE_BYTES, LookAgain, Weighing, fact_of, plain
from monitor.domain.needs.batch import subject_of
from monitor.domain.needs.rules import LOOK_AGAIN
from monitor.domain.state.record import Group
from monitor.service.watch import egg_requests
from monitor.service.watch.requests import RequestError
from tests.asking import perform
from tests.domain.house import Story, batch, site
from tests.service.watch.test_commands import ask, refused

WEIGHED: dict[str, Any] = {"batch": "hen-1", "by": "ada", "kind": "weighing", "fact": {"gross_g": 60.0}, "egg": 7}


def house() -> Story:
    """Twelve hen's eggs on day 5, and no sensor that could ring."""
    story = Story(site=site({}), batches=(batch(),))
    story.tick()
    return story


def written(story: Story, do: str = "entry", **request: Any) -> tuple[Mapping[str, Any], Group]:
    """A request's answer, and what the record takes in."""
    out = Group()
    return perform(story.state, story.site, {"do": do, **request}, story.now(), out), out


def test_an_entry_is_numbered_and_told_back() -> None:
    """The answer is what was stored, with its number and the time of now; the next has the next number."""
    story = house()
    answer, out = written(story, **WEIGHED)
    assert answer["did"] == "written"
    assert (answer["batch"], answer["number"], answer["egg"], answer["by"]) == ("hen-1", 1, 7, "ada")
    assert answer["at"] == answer["written_at"] == "2026-03-10T08:00:00.000Z"
    assert fact_of(answer["kind"], answer["fact"]) == Weighing(60.0)
    assert out.entries == [("hen-1", story.state.books["hen-1"].entries[0])]
    assert json.loads(json.dumps(answer)) == answer
    assert written(story, **WEIGHED | {"egg": 8})[0]["number"] == 2


def test_a_time_is_kept_to_the_millisecond() -> None:
    """What the state holds is what the record gives back: whole milliseconds, UTC, whatever came."""
    story = house()
    answer, _ = written(story, **WEIGHED, at="2026-03-09T10:00:00.123456+02:00")
    assert answer["at"] == "2026-03-09T08:00:00.123Z"
    look = {"look_at": "2026-03-10T12:00:00.123456+02:00", "text": ""}
    written(story, batch="hen-1", by="ada", kind="look-again", fact=look, egg=7)
    fact = story.state.books["hen-1"].entries[-1].fact
    assert isinstance(fact, LookAgain)
    assert fact.look_at.isoformat(timespec="microseconds") == "2026-03-10T10:00:00.123000+00:00"


def test_what_is_odd_is_asked() -> None:
    """A mass that no egg reaches in a day is refused with its doubt; said to be sure, the same request is taken."""
    story = house()
    ask(story, "entry", **WEIGHED, at="2026-03-09T08:00:00Z")
    line = refused(story, "entry", **WEIGHED | {"fact": {"gross_g": 50.0}})
    assert line.startswith("batch hen-1: egg 7 weighing: 16.7 % lost in 1.0 days")
    assert line.endswith(", expected --sure to write it all the same")
    assert ask(story, "entry", **WEIGHED | {"fact": {"gross_g": 50.0}, "sure": True})["number"] == 2
    assert [m.mass_g for m in masses(story.state.books["hen-1"], 7)] == [60.0, 50.0]


@pytest.mark.parametrize(
    ("change", "complaint"),
    [
        ({"batch": "nobody"}, "batch 'nobody': no such batch"),
        ({"egg": 13}, "batch hen-1: egg 13, expected 1 to 12"),
        ({"egg": 0}, "batch hen-1: egg 0, expected a whole number from 1"),
        ({"egg": True}, "egg: True, expected a whole number"),
        ({"egg": 1.5}, "egg: 1.5, expected a whole number"),
        ({"egg": None}, "batch weighing: of which eggs is not said"),
        ({"by": ""}, "who: empty"),
        ({"by": 5}, "by: 5, expected a text"),
        ({"by": "\ud800"}, "by: '\\ud800', expected text in UTF-8"),
        ({"at": "2026-03-10"}, "at: '2026-03-10', expected a time"),
        ({"at": 5}, "at: 5, expected a time"),
        ({"at": "0001-01-01T00:00:00+14:00"}, "at: '0001-01-01T00:00:00+14:00', expected a time"),
        ({"kind": "weight"}, "entry: kind 'weight', expected one of laid, identity, size, weighing"),
        ({"kind": None}, "kind: None, expected a text"),
        ({"fact": []}, "fact: [], expected fields that are each a text, a number or null"),
        ({"fact": {"gross_g": None}}, "weighing:"),
        ({"fact": {"gross_g": True}}, "fact: gross_g: True, expected a text, a number or null"),
        ({"fact": {"gross_g": [60]}}, "fact: gross_g: [60], expected a text, a number or null"),
        ({"fact": {"gross_g": math.nan}}, "fact: gross_g: nan, expected a text, a number or null"),
        ({"fact": {"gross_g": math.inf}}, "fact: gross_g: inf, expected"),
        ({"fact": {"gross_g": 60.0, "mass": 1}}, "weighing:"),
        ({"replaces": 9}, "replaces entry 9, expected one that is in the book"),
        ({"kind": "note", "fact": {"text": "\udfff"}}, "fact: text: '\\udfff', expected text in UTF-8"),
        ({"kind": "note", "fact": {"text": "x" * 501}}, "note: 501 characters, expected at most 500"),
        ({"kind": "look-again", "fact": {"look_at": "2026-03-10T08:00:00Z"}}, "expected a time to come"),
        ({"kind": "look-again", "fact": {"look_at": "2026-03-11T08:00:00"}}, "expected a time with its zone"),
    ],
)
def test_what_cannot_be_written(change: dict[str, Any], complaint: str) -> None:
    """Each wrong request is one line that says where, what came and what was expected; nothing changes."""
    assert complaint in refused(house(), "entry", **WEIGHED | change)


def test_an_answer_to_a_reminder() -> None:
    """What is written about the egg of a standing reminder ends it in the same group."""
    story = house()
    look = {"look_at": "2026-03-10T09:00:00Z", "text": "weak"}
    ask(story, "entry", batch="hen-1", by="ada", kind="look-again", fact=look, egg=7)
    story.at_s = 3_660.0
    story.tick()
    assert story.state_of(LOOK_AGAIN, subject_of("hen-1", 7)) == UNACKNOWLEDGED
    _, out = written(story, batch="hen-1", by="ada", kind="candling", fact={"found": "alive"}, egg=7)
    assert [t.who for t in out.transitions] == ["ada", ""]
    assert story.state_of(LOOK_AGAIN, subject_of("hen-1", 7)) == NORMAL
    assert out.notices == []


def test_a_closed_batch_has_a_late_finding() -> None:
    """After its end a batch is still written about, and no reminder comes of it."""
    story = house()
    ask(story, "close", batch="hen-1")
    assert (
        ask(story, "entry", batch="hen-1", by="ada", kind="finding", fact={"finding": "runt"}, count=1)["number"] == 1
    )
    look = {"look_at": "2026-03-10T09:00:00Z", "text": ""}
    ask(story, "entry", batch="hen-1", by="ada", kind="look-again", fact=look)
    story.at_s = 7_200.0
    story.tick()
    assert story.notices == []


def test_a_moved_batch_keeps_its_book() -> None:
    """A move, a stage and a closing change the batch in its book, and not what was written."""
    story = house()
    ask(story, "entry", **WEIGHED)
    before = story.state.books["hen-1"].entries
    ask(story, "move", batch="hen-1", machine="hatcher-1")
    assert story.state.books["hen-1"] == EggBook(story.state.batches["hen-1"], before)


# --- a table


def rows(*values: tuple[Any, ...]) -> list[list[Any]]:
    return [[line, *value] for line, value in enumerate(values, 2)]


def test_a_table() -> None:
    """Every row an entry, numbered on from what is there, at the time of the table or its own."""
    story = house()
    ask(story, "entry", **WEIGHED, at="2026-03-06T08:00:00Z")
    table = rows((7, 58.5, None), (8, 61, "2026-03-09T08:00:00Z"), (1, 55.25, None))
    answer, out = written(
        story, "weighings", batch="hen-1", by="ada", rows=table, tare_g=1.5, at="2026-03-10T07:00:00Z"
    )
    assert [(e["number"], e["egg"], e["at"]) for e in answer["entries"]] == [
        (2, 7, "2026-03-10T07:00:00.000Z"),
        (3, 8, "2026-03-09T08:00:00.000Z"),
        (4, 1, "2026-03-10T07:00:00.000Z"),
    ]
    assert [e for _, e in out.entries] == list(story.state.books["hen-1"].entries[1:])
    assert [m.mass_g for m in masses(story.state.books["hen-1"], 7)] == [60.0, 57.0]


def test_a_table_is_all_or_nothing() -> None:
    """One odd row and one that cannot be: each told by its line, nothing written; sure of the odd one, the other still stops all."""
    story = house()
    ask(story, "entry", **WEIGHED, at="2026-03-09T08:00:00Z")
    table = rows((8, 60.0, None), (7, 50.0, None), (13, 60.0, None))
    line = refused_lines(story, batch="hen-1", by="ada", rows=table)
    assert [text.partition(":")[0] for text in line] == ["batch hen-1", "line 3", "line 4"]
    assert "lost in 1.0 days" in line[1]
    assert "expected 1 to 12" in line[2]
    assert line[0] == "batch hen-1: 2 of 3 lines are wrong, nothing was written"
    line = refused_lines(story, batch="hen-1", by="ada", rows=table, sure=True)
    assert [text.partition(":")[0] for text in line] == ["batch hen-1", "line 4"]
    assert ask(story, "weighings", batch="hen-1", by="ada", rows=table[:2], sure=True)["did"] == "written"


def test_a_row_that_cannot_be_is_told_once() -> None:
    """A row that is no weighing, the first or one between others, is complained of by its own line alone."""
    for table in (rows((7, -1.0, None), (8, 60.0, None)), rows((7, 60.0, None), (8, -1.0, None), (9, 60.0, None))):
        (wrong,) = (line for line, _, gross_g, _ in table if gross_g < 0)
        said = refused_lines_of_new(table)
        assert [text.partition(":")[0] for text in said] == ["batch hen-1", f"line {wrong}"]
        assert f"1 of {len(table)} lines" in said[0]


def test_of_many_complaints_ten_are_said() -> None:
    """A request about eggs that are not there: a screen holds ten complaints, and the rest are counted."""
    for count, said, more in ((10, 10, []), (11, 10, [": and 1 more"]), (13, 10, [": and 3 more"])):
        story = house()
        request = {name: value for name, value in WEIGHED.items() if name != "egg"}
        with pytest.raises(ValueError, match="nothing was written") as raised:
            written(story, "entry", **request, eggs=list(range(13, 13 + count)))
        lines = str(raised.value).splitlines()
        assert sum("expected 1 to 12" in line for line in lines) == said
        assert [line.partition("hen-1")[2] for line in lines if line.endswith("more")] == more


def test_nobody_is_asked_to_be_sure_of_what_cannot_be() -> None:
    """Eggs that are odd may be written all the same; where one of them is not there at all, to be sure is no help."""
    request = {name: value for name, value in WEIGHED.items() if name != "egg"}
    for eggs, asked in (([7, 8], True), ([7, 13], False), ([13, 7], False)):
        story = house()
        for egg in (7, 8):
            written(story, **{**WEIGHED, "egg": egg})
        with pytest.raises(ValueError, match="nothing was written") as raised:
            written(story, "entry", **{**request, "fact": {"gross_g": 70.0}}, eggs=eggs)
        assert ("sure" in str(raised.value)) is asked


def refused_lines(story: Story, **request: Any) -> list[str]:
    before = list(story.state.books["hen-1"].entries)
    with pytest.raises(ValueError, match="line") as raised:
        written(story, "weighings", **request)
    assert list(story.state.books["hen-1"].entries) == before
    return str(raised.value).splitlines()


def test_the_same_egg_twice_in_a_table() -> None:
    """A later row is compared with an earlier one of the same table, as if they had been written one by one."""
    line = refused_lines_of_new(rows((7, 60.0, None), (7, 70.0, None)))
    assert line[0].endswith("1 of 2 lines are odd, nothing was written, expected --sure to write it all the same")
    assert "heavier than before" in line[1]


def refused_lines_of_new(table: list[list[Any]]) -> list[str]:
    with pytest.raises(ValueError, match="line") as raised:
        written(house(), "weighings", batch="hen-1", by="ada", rows=table)
    return str(raised.value).splitlines()


@pytest.mark.parametrize(
    "table", [None, [], "rows", [[1, 2, 60.0, None]] * (MAX_ROWS + 1), [5], [[1, 2]], [[1, 2, 3, 4, 5]]]
)
def test_what_is_no_table(table: Any) -> None:
    """Rows that are none are refused in one line."""
    assert "row" in refused(house(), "weighings", batch="hen-1", by="ada", rows=table)


@pytest.mark.parametrize(
    "row", [(None, 60.0, None), ("7", 60.0, None), (7, "60", None), (7, None, None), (7, True, None), (7, 60.0, "x")]
)
def test_what_is_no_row(row: tuple[Any, ...]) -> None:
    """A row with a wrong value is told by its line."""
    assert refused_lines_of_new(rows(row))[0].startswith("line 2: ")


def test_a_table_as_entries_one_by_one() -> None:
    """A table makes the same book as its rows asked one after another."""
    one, other = house(), house()
    table = rows(*((egg, 60.0 - egg * 0.25, f"2026-03-0{6 + day}T08:00:00Z") for day in (0, 1, 2) for egg in (1, 2, 3)))
    table = [[line, egg, mass - 0.3 * (n // 3), at] for n, (line, egg, mass, at) in enumerate(table)]
    ask(one, "weighings", batch="hen-1", by="ada", rows=table)
    for _, egg, mass, at in table:
        ask(other, "entry", **WEIGHED | {"egg": egg, "fact": {"gross_g": mass}, "at": at})
    assert one.state.books == other.state.books


def test_a_large_table_holds_nothing_up() -> None:
    """A thousand rows into a book of six thousand entries take about as long as a row each, not as the book each: under 2 s here."""
    story = Story(site=site({}), batches=(batch(),))
    story.state.batches["hen-1"] = hen = batch_of_many()
    story.state.books["hen-1"] = EggBook(hen)
    for day in range(6):
        table = [[egg + 1, egg, 60.0 - 0.3 * day, f"2026-03-0{day + 1}T08:00:00Z"] for egg in range(1, 1001)]
        ask(story, "weighings", batch="hen-1", by="ada", rows=table)
    table = [[egg + 1, egg, 57.9, None] for egg in range(1, 1001)]
    began = time.perf_counter()
    ask(story, "weighings", batch="hen-1", by="ada", rows=table)
    took = time.perf_counter() - began
    assert len(standing(story.state.books["hen-1"])) == 7000
    assert took < 2.0, f"{took:.2f} s"


def batch_of_many() -> Any:
    from dataclasses import replace
    from datetime import timedelta

    hen = batch(day=12.0)
    return replace(hen, eggs=1000, set_at=hen.set_at - timedelta(days=1))


WORDS = [
    "hen-1",
    "ada",
    "A",
    "",
    "weighing",
    "note",
    "laid",
    "look-again",
    "hatched",
    "dead",
    "withdrawn",
    "x",
    "\ud800",
]
TIMES = ["2026-03-09T08:00:00Z", "2026-03-20T08:00:00Z", "0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-14:00"]
PARTS = st.sampled_from([*WORDS, *TIMES, 1, 7, 12, 60.0, True, None])
VALUES = PARTS | st.integers(-(10**30), 10**30) | st.floats() | st.text(max_size=5)
FIELDS = [
    "gross_g",
    "tare_g",
    "error_g",
    "text",
    "stage",
    "look_at",
    "laid_at",
    "stored_days",
    "length_mm",
    "breadth_mm",
]


@given(
    st.sampled_from(["entry", "weighings"]),
    st.dictionaries(
        st.sampled_from(["by", "kind", "egg", "count", "tray", "at", "replaces", "sure", "tare_g"]),
        VALUES,
    ),
    st.dictionaries(st.sampled_from(FIELDS), VALUES, max_size=3) | VALUES,
    st.lists(st.lists(VALUES, min_size=3, max_size=5) | VALUES, max_size=3) | VALUES,
)
@settings(max_examples=500, deadline=None)
def test_no_request_breaks_the_book(do: str, request: dict[str, Any], fact: Any, table: Any) -> None:
    """Whatever is asked, there is an answer that is JSON, or a refusal and nothing changed; what is written can be read back."""
    story, out = house(), Group()
    before = copy.deepcopy(story.state)
    asked = {"do": do, "batch": "hen-1", "fact": fact, "rows": table} | request
    try:
        answer = perform(story.state, story.site, asked, story.now(), out)
    except RequestError as error:
        json.dumps(str(error))
        assert story.state == before
        assert out.empty()
        return
    json.dumps(answer, allow_nan=False)
    for _, entry in out.entries:
        plainly = json.loads(json.dumps(plain(entry.fact), allow_nan=False))
        assert fact_of(entry.fact.kind, plainly) == entry.fact


SCALES = {"fine": 0.01, "kitchen": 1.0}


def weighing_house() -> Story:
    """The same house, with two scales."""
    story = Story(site=replace(site({}), scales=SCALES), batches=(batch(),))
    story.tick()
    return story


def test_a_scale_of_the_house_is_used_unless_told_otherwise() -> None:
    """The first with its error; another by its id; an error of one's own without a scale; each weighing keeps both."""
    story = weighing_house()

    def came(**fact: Any) -> tuple[str | None, float | None]:
        answer, _ = written(story, **WEIGHED | {"fact": {"gross_g": 60.0, **fact}}, sure=True)
        told = fact_of(answer["kind"], answer["fact"])
        assert isinstance(told, Weighing)
        return told.scale, told.error_g

    assert came() == ("fine", 0.01)
    assert came(scale="kitchen") == ("kitchen", 1.0)
    assert came(scale="kitchen", error_g=0.5) == ("kitchen", 0.5)
    assert came(error_g=0.05) == (None, 0.05)
    rows = [[1, 7, 60.0, None], [2, 8, 61.0, None]]
    answer, _ = written(story, "weighings", batch="hen-1", by="ada", rows=rows, scale="kitchen", sure=True)
    assert [each["fact"]["scale"] for each in answer["entries"]] == ["kitchen", "kitchen"]
    with pytest.raises(RequestError, match="scale 'barn', expected one of: fine, kitchen"):
        written(story, **WEIGHED | {"fact": {"gross_g": 60.0, "scale": "barn"}})


def test_a_house_without_scales_writes_what_it_wrote() -> None:
    """No scale is made up, and one that is named is refused with where it would come from; a correction keeps the scale that was."""
    story = house()
    answer, _ = written(story, **WEIGHED)
    assert "scale" not in answer["fact"]
    with pytest.raises(
        RequestError, match=r"scale 'fine', expected one of: none yet: \[\[scale\]\] in the configuration"
    ):
        written(story, **WEIGHED | {"fact": {"gross_g": 60.0, "scale": "fine"}})
    other = weighing_house()
    number = written(other, **WEIGHED | {"fact": {"gross_g": 60.0, "error_g": 0.2}})[0]["number"]
    answer, _ = written(other, **WEIGHED | {"fact": {"gross_g": 59.0, "error_g": 0.2}}, replaces=number)
    assert fact_of(answer["kind"], answer["fact"]) == Weighing(59.0, error_g=0.2)


# --- files, tables, chicks


PICTURE = b"\x00\xffpicture"


def attach(story: Story, content: bytes = PICTURE, **more: Any) -> tuple[Mapping[str, Any], Group]:
    request = {"batch": "hen-1", "by": "ada", "name": "p.jpg", "content": base64.b64encode(content).decode(), **more}
    return written(story, "attach", **request)


def test_a_file_is_kept_once() -> None:
    """By what is in it, whatever it is called and whichever egg it is beside; the second time the record takes in no bytes."""
    story = house()
    answer, out = attach(story, egg=7)
    sha256 = hashlib.sha256(PICTURE).hexdigest()
    assert (answer["kind"], answer["egg"], answer["fact"]["sha256"], answer["fact"]["size"]) == ("file", 7, sha256, 9)
    assert out.files == {sha256: PICTURE}
    assert story.state.files == {sha256: 9}
    again, out = attach(story, egg=8, name="q.jpg", beside=None)
    assert (again["number"], out.files, len(out.entries)) == (2, {}, 1)


@pytest.mark.parametrize(
    ("change", "line"),
    [
        ({"content": "no base64!"}, "batch hen-1: file 'p.jpg': its content is no base64, expected that of a file"),
        ({"content": ""}, "content: '', expected a file in base64"),
        (
            {"content": base64.b64encode(bytes(FILE_BYTES + 1)).decode()},
            "batch hen-1: file 'p.jpg': 4194305 bytes, expected 1 to 4194304",
        ),
        ({"name": "a/b"}, "file: name 'a/b', expected 1 to 120 characters, without /"),
        ({"name": "a\x1b"}, "name: 'a\\x1b', expected text in one line, without control characters"),
        ({"beside": 9}, "batch hen-1: egg 7 file: beside entry 9, expected one that is in the book"),
        ({"egg": 99}, "batch hen-1: egg 99, expected 1 to 12"),
        ({"content": 5}, "content: 5, expected a file in base64"),
    ],
)
def test_a_file_that_cannot_be_kept(change: dict[str, Any], line: str) -> None:
    """One line, and neither the record nor the state has anything of it."""
    story = house()
    out = Group()
    request = {
        "do": "attach",
        "batch": "hen-1",
        "by": "ada",
        "name": "p.jpg",
        "content": base64.b64encode(PICTURE).decode(),
        "egg": 7,
    }
    with pytest.raises(RequestError) as raised:
        perform(story.state, story.site, request | change, story.now(), out)
    assert str(raised.value) == line
    assert (out.files, out.entries, story.state.files) == ({}, [], {})


def test_so_much_and_no_more(monkeypatch: pytest.MonkeyPatch) -> None:
    """So many files of a batch, so many bytes of it, and of the record; what is there already is never too much."""
    story = house()
    for number in range(3):
        attach(story, bytes([number]) * 100)
    for name, most, line in (
        ("BATCH_FILES", 3, "3 files are in this batch, expected at most 3"),
        ("BATCH_BYTES", 399, "100 bytes beside 300 in this batch, expected at most 399 together"),
        ("RECORD_BYTES", 399, "100 bytes beside 300 in the record, expected at most 399 together"),
    ):
        with monkeypatch.context() as bound:
            bound.setattr(egg_requests, name, most)
            with pytest.raises(RequestError, match=f"batch hen-1: file 'p.jpg': {line}"):
                attach(story, b"x" * 100)
            attach(story, bytes([1]) * 100, egg=5, sure=True)
    attach(story, b"x" * 100)


def lines_of(story: Story, rows: list[Any]) -> list[str]:
    """What is said of a table that is refused."""
    with pytest.raises(RequestError) as raised:
        perform(
            story.state, story.site, {"do": "table", "batch": "hen-1", "by": "ada", "rows": rows}, story.now(), Group()
        )
    return str(raised.value).splitlines()


def test_a_file_that_the_record_has_not_cannot_be_written_of() -> None:
    """Nobody names a content that never came."""
    story = house()
    fact = {"name": "p", "sha256": "0f" * 32, "size": 9}
    line = "file: 0f0f0f0f0f0f of 9 bytes is not in the record, expected one that is"
    assert refused(story, do="entry", **WEIGHED | {"kind": "file", "fact": fact}) == line
    assert lines_of(story, [[2, 7, "file", fact, None]])[1] == f"line 2: {line}"
    answer, _ = attach(story, egg=7)
    fact = {**answer["fact"], "text": "ring"}
    assert written(story, **WEIGHED | {"kind": "file", "fact": fact, "replaces": 1})[0]["fact"]["text"] == "ring"


def test_a_table_of_several_kinds() -> None:
    """All of it or nothing; its signs begin a lockdown as any do; each line that is wrong is named once."""
    story = house()
    rows: list[Any] = [
        [2, 7, "identity", {"pair": "P1"}, None],
        [2, 7, "weighing", {"gross_g": 60.0}, None],
        [3, 8, "identity", {"pair": "P2"}, "2026-03-09T08:00:00Z"],
    ]
    answer, out = written(story, "table", batch="hen-1", by="ada", rows=rows)
    assert [(e["number"], e["egg"], e["kind"]) for e in answer["entries"]] == [
        (1, 7, "identity"),
        (2, 7, "weighing"),
        (3, 8, "identity"),
    ]
    assert answer["entries"][2]["at"] == "2026-03-09T08:00:00.000Z"
    assert len(out.entries) == 3
    rows = [
        [2, 99, "note", {"text": "x"}, None],
        [2, 98, "note", {"text": "y"}, None],
        [3, 8, "note", {"text": "z"}, None],
    ]
    lines = lines_of(story, rows)
    assert lines[0] == "batch hen-1: 1 of 2 lines are wrong, nothing was written"
    assert lines[1] == "line 2: batch hen-1: egg 99, expected 1 to 12"
    assert len(story.state.books["hen-1"].entries) == 3


def test_a_chick_in_no_machine_of_the_house() -> None:
    """By hand and in a table."""
    story = house()
    line = "brooder: no machine 'setter-9', nearest setter-1, expected one of: "
    assert refused(story, do="entry", **WEIGHED | {"kind": "brooder", "fact": {"machine": "setter-9"}}).startswith(line)
    assert lines_of(story, [[2, 7, "brooder", {"machine": "setter-9"}, None]])[1].startswith(f"line 2: {line}")
