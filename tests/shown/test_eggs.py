"""The egg book on the terminal: what it says, and that it fits; and the same for programs."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from monitor.adapters.tables.profiles import load_profiles
from monitor.analysis.water.loss import Kink
from monitor.domain.eggs.book import EggBook, add
from monitor.domain.eggs.entry import Candling, Dead, Found, Helped, Laid, LookAgain, Note, Sealed, Sign, Size, Weighing
from monitor.domain.needs.batch import Batch
from monitor.service.reports.turning import BySwitch, Turned
from monitor.service.reports.weighed import Water
from monitor.shown.eggs import (
    book_text,
    book_view,
    egg_text,
    kink_words,
    signs_lines,
    water_view,
    weighed_text,
    written_text,
)
from tests.domain.house import T0
from tests.domain.house import site as house_site
from tests.service.reports.test_water import DAYS, HEN, day, make_site, put, seen, weighed

SITE = make_site()
NOW = day(12)


def mixed() -> EggBook:
    """Twelve eggs of every kind, a tray, and long words."""
    book = EggBook(HEN)
    for egg in range(1, 9):
        book = weighed(SITE, book, egg, 15.5 + 0.25 * egg, DAYS)
    book = weighed(SITE, book, 9, 7.0, DAYS)
    book = put(book, 3, Weighing(80.0), 8)
    for at in (0.0, 12.0):
        book = put(book, at, Weighing(730.0 - at * 3.0, 10.0), count=12, tray="back left, under")
    book = put(put(book, 5, Candling("fertile"), 1), 6, Candling("clear"), 2)
    book = put(put(book, 7, Dead("middle"), 3), 7, Found("fertile-undeveloped"), 3)
    book = put(book, 11, Sign("internal pip"), 4)
    book = put(book, 11.5, Helped("moistened, and put back at once, " * 5), 4)
    book = put(book, 2, Size(57.25, 43.125), 10)
    book = put(book, 2, Weighing(60.0), 11)
    book = put(book, 3, Note("The room was cold this morning, the door had been left open. " * 4))
    book = put(book, 11.8, LookAgain(day(11.9), "weak"), 4)
    return put(book, 11.8, LookAgain(day(13), "all of them"))


def the_water(book: EggBook) -> Water:
    return seen(SITE, book)


@pytest.mark.parametrize("unit", ["C", "F"])
def test_everything_fits_the_terminal(unit: str) -> None:
    """No line of the batch, of any egg, or of what follows a weighing, is wider than 79 characters, in °C and °F."""
    book, site = mixed(), make_site(unit)
    water = seen(site, book)
    texts = [book_text(book, water, site, now=NOW), *(egg_text(book, egg, water, site=site) for egg in range(1, 13))]
    texts += [weighed_text([(egg, "")], water, site) for egg in range(1, 12)]
    texts += [weighed_text([(None, "back left, under")], water, site), weighed_text([(1, ""), (2, "")], water, site)]
    wide = [line for text in texts for line in text.splitlines() if len(line) > 79]
    assert wide == []
    assert all(text.strip() for text in texts)
    assert all(f"°{other}" not in text for text in texts for other in "CF" if other != unit)


def test_a_batch() -> None:
    """Each egg with its weighings, its last mass, its loss and where it leads; those off the target marked; then the batch together."""
    book = mixed()
    lines = book_text(book, the_water(book), SITE, now=NOW).splitlines()
    assert lines[:4] == [
        "hen-1: chicken, 24 eggs, day 12.0, in Setter 1",
        "  air of the last day: 37.6 °C, 50 % RH",
        "  target: 11 to 14 % by pip (day 18.9), which is 12.2 to 15.6 by hatch",
        "  the line there: 7.0 to 8.9 % of the mass at set by day 12.0",
    ]
    assert water_view(the_water(book), SITE)["line_pct"] == [6.984, 8.889]
    row = {line.split()[0]: line for line in lines[6:18]}
    assert row["1"].split()[1:5] == ["4", "54.13", "9.8", "%"]
    assert " ! 15." in row["1"]
    assert row["1"].endswith("candled: fertile")
    assert "!" not in row["2"]  # clear: nothing is projected
    assert row["3"].endswith("dead (middle)")  # more than what was found in it
    assert row["10"].split()[1:4] == ["0", "-", "-"]
    text = "\n".join(lines)
    assert "!: outside the target, and its whole interval too" in text
    assert "  11: weighed once, expected again some days later, or length and breadth" in text
    assert "together: " in text
    assert "  better drier: egg 9" in text
    assert "tray back left, under: loss by pip " in text
    assert "to look at again: egg 4, look again 13 Mar 2026 15:36: weak (its time has\n    come)\n" in text
    assert text.endswith("to look at again: batch, look again 14 Mar 2026 18:00: all of them")


def test_an_egg() -> None:
    """Loss so far, by pip and by hatch, what to set, the conductance, a weighing left out, and every entry with its number and writer."""
    book = mixed()
    lines = egg_text(book, 8, the_water(book), site=SITE).splitlines()
    heads = [line[:13].strip() for line in lines if line[:13].strip() and not line.startswith((" ", "hen-1"))]
    assert heads[:4] == ["lost so far", "by pip", "by hatch", "to set"]
    assert heads[4:8] == ["left out", "mass at set", "conductance", "on record"]
    text = "\n".join(lines)
    assert "off track" in text
    assert "% RH leads to" in " ".join(text.split())
    assert "left out entry 37, 80.00 g on 04 Mar 2026 18:00: far off the line of the others" in " ".join(text.split())
    assert "   37  04 Mar 2026 18:00  80.00 g (ada)" in text


def test_an_egg_that_ended() -> None:
    """Of a dead egg only what it lost is told; of a pipped one its loss until then, which is that by pip, and no humidity."""
    book = mixed()
    dead, pipped = (egg_text(book, egg, the_water(book), site=SITE) for egg in (3, 4))
    assert ", until 08 Mar 2026 18:00\n" in dead
    assert "\nby pip" not in dead
    assert "\nby pip        9.4 % (9.0 to 9.8), target 11 to 14 %\n" in pipped
    assert "\nby hatch" not in dead + pipped
    assert ", until 12 Mar 2026 18:00\n" in pipped
    assert "to set" not in dead + pipped


def test_a_weighing_is_answered_with_where_the_egg_is_and_its_window() -> None:
    """Its loss by pip with the interval, the target beside it and what that makes of it; when to weigh again while it is unsure."""
    water = the_water(mixed())
    for egg in (1, 5, 9):
        said = weighed_text([(egg, "")], water, SITE)
        track, loss = water.eggs[egg].track, water.eggs[egg].loss
        assert track is not None
        assert loss is not None
        found = loss.pip_pct
        assert (
            f"by pip        {found.value:.1f} % ({found.low:.1f} to {found.high:.1f}), day 18.9, target 11 to 14 %: {track.state}\n"
        ) in said
    assert "by pip, target 11 to 14 %: " in " ".join(weighed_text([(1, ""), (2, "")], water, SITE).split())
    assert "target 11 to 14 %:" not in egg_text(mixed(), 1, water, site=SITE)  # its head says it


def test_an_egg_of_which_nothing_is_written() -> None:
    """It says so, and no table follows."""
    assert (
        egg_text(EggBook(HEN), 5, the_water(EggBook(HEN)), site=SITE).splitlines()[-1]
        == "loss: nothing written about this egg yet"
    )
    assert "nothing written about any egg by number yet" in book_text(
        EggBook(HEN), the_water(EggBook(HEN)), SITE, now=NOW
    )


def test_what_was_written() -> None:
    """One line an entry: of which egg, tray or batch, what, and its number."""
    book = mixed()
    lines = written_text("hen-1", [book.entries[0], book.entries[-1], book.entries[37]], SITE).splitlines()
    assert lines == [
        "hen-1 egg 1: 60.00 g (entry 1)",
        "hen-1 batch: look again 14 Mar 2026 18:00: all of them (entry 50)",
        "hen-1 tray back left, under: 12 eggs, 60.00 g each (730 less 10 of the tray) (entry 38)",
    ]


def test_for_programs() -> None:
    """The same as plain values: JSON without NaN, every egg and tray, each entry with whether it stands."""
    book = mixed()
    view = json.loads(json.dumps(water_view(the_water(book), SITE), allow_nan=False))
    assert set(view["eggs"]) == {str(egg) for egg in range(1, 12)}
    assert set(view["trays"]) == {"back left, under"}
    one, clear, bare = view["eggs"]["1"]["loss"], view["eggs"]["2"]["loss"], view["eggs"]["11"]
    assert one["track"] == "off track"
    assert (
        one["mend"]["reachable"] is False
    )  # it leads to 15.75 of 11 to 14, and would want damper air than a hen's setter may have
    assert one["pip_pct"]["low"] < one["pip_pct"]["value"] < one["pip_pct"]["high"]
    assert (clear["pip_pct"], clear["hatch_pct"], clear["mend"], clear["track"]) == (None, None, None, None)
    assert (bare["loss"], bare["reason"][:12]) == (None, "weighed once")
    assert view["together"]["serving"]["drier"] == [9]
    assert view["off_track"] is True
    assert all(row["stands"] for row in book_view(book))
    assert len(book_view(book, 4)) == len([e for e in book.entries if e.egg == 4])


def test_a_time_to_look_that_is_yet_to_come() -> None:
    """It is marked only once its time has come."""
    book = put(EggBook(HEN), 11, LookAgain(NOW + timedelta(hours=1)), 4)
    assert "its time has come" not in book_text(book, the_water(book), SITE, now=NOW)
    assert "its time has come" in book_text(book, the_water(book), SITE, now=NOW + timedelta(hours=1))


def test_what_was_typed_moves_no_terminal() -> None:
    """Escapes and line ends in a note, a name or a look again are shown as blanks, everywhere; the words for programs keep them."""
    odd = "a\x1b[31mb\nc\x07"
    book = put(put(EggBook(HEN), 1, Note(odd), 4), 2, LookAgain(day(30), odd), 4)
    book = put(put(book, 1, Weighing(60.0), 4), 1, Weighing(600.0), count=10, tray="x\x1b[2J")
    book = put(book, 1, Note(odd))
    water = the_water(book)
    texts = [
        book_text(book, water, SITE, now=NOW),
        egg_text(book, 4, water, site=SITE),
        written_text("hen-1", book.entries, SITE),
    ]
    texts.append(weighed_text([(4, "")], water, SITE))
    assert all(line.isprintable() for text in texts for line in text.splitlines())
    assert all("a [31mb c" in text for text in texts[:3])
    rows: Any = book_view(book)
    assert [row["fact"]["text"] for row in rows if row["kind"] in ("note", "look-again")] == [odd] * 3


def test_one_reason_is_told_once_and_nothing_is_expected_of_an_egg_that_ended() -> None:
    """Three eggs weighed once share a line; a dead one was weighed once, and nobody is told to weigh it again."""
    book = EggBook(HEN)
    for egg in (1, 2, 5, 6):
        book = put(book, 1, Weighing(60.0), egg)
    book = put(book, 3, Dead("early"), 6)
    lines = book_text(book, the_water(book), SITE, now=NOW).splitlines()
    assert lines[-3:] == [
        "  1, 2, 5: weighed once, expected again some days later, or length and",
        "    breadth",
        "  6: weighed once",
    ]
    assert "loss: weighed once\n" in egg_text(book, 6, the_water(book), site=SITE)
    assert weighed_text([(6, "")], the_water(book), SITE) == "  weighed once"
    over = EggBook(replace(HEN, closed_at=day(11)), book.entries)
    assert "expected" not in book_text(over, the_water(over), SITE, now=NOW)
    assert "loss: weighed once\n" in egg_text(over, 1, the_water(over), site=SITE)


def test_a_closed_batch() -> None:
    """It is in no machine any more, and says when it was closed."""
    over = EggBook(replace(HEN, closed_at=day(21)), mixed().entries)
    water = the_water(over)
    assert book_text(over, water, SITE, now=NOW).startswith(
        "hen-1: chicken, 24 eggs, closed on day 21.0, 22 Mar 2026\n"
    )
    assert egg_text(over, 4, water, site=SITE).startswith("hen-1 egg 4: chicken, closed on day 21.0, 22 Mar 2026\n")


def test_a_loss_up_to_an_end_after_pip_is_told_apart() -> None:
    """Where an egg ended later than pip, a line says that the loss is up to its end and the target up to pip; before that, none does."""
    book = weighed(SITE, EggBook(HEN), 1, 15.5, DAYS)
    for end, told in ((15.0, False), (20.9, True)):
        late = put(book, end, Dead("late"), 1)
        water = seen(SITE, late, 22.0)
        assert ("lost: up to its end" in book_text(late, water, SITE, now=day(22))) is told


def test_seen_last() -> None:
    """What was only measured or remembered is no sight of the egg: neither its size nor when it was laid hides a pip."""
    book = put(put(EggBook(HEN), 10, Sign("internal pip"), 4), 11, Size(57.25, 43.125), 4)
    book = put(book, 11.5, Laid(day(-3), None), 4)
    (row,) = (line for line in book_text(book, the_water(book), SITE, now=NOW).splitlines() if line.startswith("4 "))
    assert row.endswith("internal pip")


@pytest.mark.parametrize(
    ("change", "said_of_it"),
    [
        ({"fact": Weighing(58.0)}, "58.00 g, not 60.00 g (ada)"),
        ({"at": day(2)}, "60.00 g, not at 02 Mar 2026 18:00 (ada)"),
        ({"egg": 5}, "60.00 g, not of egg 4 (ada)"),
        ({}, "60.00 g (ada)"),
    ],
)
def test_what_was_put_right(change: dict[str, Any], said_of_it: str) -> None:
    """A corrected entry names what was wrong in it: the value, the time, or the egg."""
    book = put(EggBook(HEN), 1, Weighing(60.0), 4)
    book = add(book, replace(book.entries[0], number=0, replaces=1, **change))
    text = egg_text(book, book.entries[-1].egg or 0, the_water(book), site=SITE)
    assert text.endswith(f"  {said_of_it}")


def test_a_weighing_left_out_is_named_in_the_answer_to_typing_it() -> None:
    """Typed 19.3 for 13.9, the answer says at once that this entry says nothing, of one egg and of a whole table."""
    book = weighed(SITE, weighed(SITE, EggBook(HEN), 1, 12.5, (0.0, 4.0, 8.0, 10.0)), 2, 12.5, DAYS)
    book = put(book, 11.0, Weighing(65.78, error_g=0.01), 1)
    number, water = book.entries[-1].number, the_water(book)
    words = f"entry {number}, 65.78 g on 12 Mar 2026 18:00: far off the line of the others"
    assert f"left out {words}" in " ".join(weighed_text([(1, "")], water, SITE).split())
    assert f"egg 1, left out: {words}" in " ".join(weighed_text([(1, ""), (2, "")], water, SITE).split())
    assert "left out" not in weighed_text([(2, "")], water, SITE)


def test_a_break_that_nobody_wrote_is_asked_about() -> None:
    """An egg that loses more than twice as much from day 6 on: the answer to weighing says from which entry on, and asks what it was; once it is written, not again."""
    book = EggBook(HEN)
    for at, mass_g in ((0.0, 60.0), (2.0, 59.2), (4.0, 58.4), (6.0, 57.6), (8.0, 55.8), (10.0, 54.0), (12.0, 52.2)):
        book = put(book, at, Weighing(mass_g, error_g=0.02), 1)
    told = " ".join(weighed_text([(1, "")], the_water(book), SITE).split())
    asked = re.search(r"a break from entry 5, 09 Mar 2026 18:00, on (\d\.\d) times as much a day: cracked \(", told)
    assert asked is not None
    assert float(asked[1]) == pytest.approx(2.25, abs=0.15)
    assert "?" in told
    assert '"kink": {"entry": 5, "at": "2026-03-09T18:00:00.000Z", "times": 2.' in json.dumps(
        water_view(the_water(book), SITE)
    )
    both = " ".join(weighed_text([(1, ""), (2, "")], the_water(book), SITE).split())
    assert "egg 1, a break: from entry 5," in both
    written = put(book, 6.5, Candling("cracked"), 1)
    assert "a break" not in weighed_text([(1, "")], the_water(written), SITE)
    sealed = put(written, 11.0, Sealed("wax"), 1)
    assert "sealed: wax" in egg_text(sealed, 1, the_water(sealed), site=SITE)


@pytest.mark.parametrize(
    ("kink", "asked", "not_asked"),
    [
        ({"times": 2.0}, "cracked (egg candle, cracked)?", ("sealed", "damper", "scale")),
        ({"times": 0.7}, "sealed (egg event, sealed)?", ("cracked", "drier", "scale")),
        (
            {"step_g": 0.4},
            "another scale (egg correct, scale=ID), sealed (egg event, sealed), or another egg (egg withdraw)?",
            ("cracked", "counted"),
        ),
        (
            {"step_g": -0.4},
            "another scale (egg correct, scale=ID), cracked, and sealed since (egg candle, cracked; egg event, sealed), or another egg (egg withdraw)?",
            ("counted",),
        ),
        (
            {"step_g": -0.4, "lost": True},
            "cracked, and sealed since (egg candle, cracked; egg event, sealed), another egg (egg withdraw), or another scale (egg correct, scale=ID)? "
            "It is counted as lost, and the range holds that it was not.",
            (),
        ),
        (
            {"step_g": -0.4, "lost": True, "sure": True},
            "cracked, and sealed since (egg candle, cracked; egg event, sealed)?",
            ("scale", "another egg", "counted"),
        ),
    ],
)
def test_what_is_asked_about_a_break_fits_it(kink: dict[str, Any], asked: str, not_asked: tuple[str, ...]) -> None:
    """More a day: a crack; less: a seal; heavier at once: another scale, wax, or another egg; lighter: a scale, an egg, or a crack that was sealed, the
    likeliest first. Over days alone: drier air, or damper."""
    book = EggBook(HEN)
    for at in DAYS:
        book = put(book, at, Weighing(60.0 - 0.4 * at, error_g=0.02), 1)
    loss = the_water(book).eggs[1].loss
    assert loss is not None
    line = replace(loss.line, kink=Kink(3, day(4), **kink), by_days=False)
    told = kink_words(line, SITE)
    assert asked in told
    assert not [word for word in not_asked if word in told]
    if "times" in kink:
        assert f"or the air {'drier' if kink['times'] > 1.0 else 'damper'}?" in kink_words(
            replace(line, by_days=True), SITE
        )


def test_the_scale_is_named_where_there_are_several() -> None:
    """27.70 g an hour after 27.28 is no gain but another scale; of one scale alone the line stays short."""
    book = put(put(EggBook(HEN), 0.0, Weighing(60.0, error_g=0.01, scale="fine"), 1), 5, Candling("fertile"), 1)
    assert "60.00 g (" in egg_text(book, 1, the_water(book), site=SITE)
    book = put(book, 5.1, Weighing(58.9, error_g=0.5, scale="kitchen"), 1)
    told = egg_text(book, 1, the_water(book), site=SITE)
    assert "60.00 g on fine (" in told
    assert "58.90 g on kitchen (" in told
    assert "candled: fertile (" in told


def test_a_scale_that_nobody_named_is_asked_about() -> None:
    """Heavier at once, with the same loss before and after: another scale, or wax."""
    book = EggBook(HEN)
    for at in (0.0, 2.0, 4.0, 6.0, 8.0, 10.0, 12.0):
        book = put(book, at, Weighing(round(60.0 - 0.4 * at + (0.9 if at > 5.0 else 0.0), 2), error_g=0.02), 1)
    told = " ".join(weighed_text([(1, "")], the_water(book), SITE).split())
    assert re.search(r"a break from entry 4, 07 Mar 2026 18:00, on 0\.[89]\d g heavier at once: another scale", told)


@pytest.mark.parametrize(
    ("species", "alone", "own", "expected"),
    [
        ("african-grey", ([3], None, ["hatcher-1"]), True, ["egg 3 is before the others: split off, and move to Hatcher:", "  eggroom batch split b-1 3 --to hatcher-1"]),
        ("african-grey", ([3, 5], None, []), True, ["eggs 3, 5 are before the others: no other machine here suits, one of its own would; split off and move:", "  eggroom batch split b-1 3,5 --to MACHINE"]),
        ("african-grey", ([], 2, ["hatcher-1"]), True, ["2 eggs are before the others: split off, and move to Hatcher:", "  eggroom batch split b-1 --count 2 --to hatcher-1 --stage lockdown"]),
        ("chicken", ([3], None, ["hatcher-1"]), False, ["egg 3 is before the others: split off, and move to Hatcher:", "  eggroom batch split b-1 3 --to hatcher-1 --stage lockdown"]),
    ],
)  # fmt: skip
def test_what_a_sign_leads_to(species: str, alone: tuple[Any, Any, Any], own: bool, expected: list[str]) -> None:
    """When the chick is expected, with whose hours; and the very command for eggs that are before the others."""
    house = replace(house_site(), profiles=load_profiles(None))
    eggs, count, would_do = alone
    signs = {
        "hatch": {"sign": "internal pip", "earliest": "2026-03-10T08:00:00Z", "latest": "2026-03-12T08:00:00Z", "source": "NSW-SP", "own": own},
        "lockdown": None,
        "alone": {"eggs": eggs, "count": count, "machine": "setter-1", "would_do": would_do},
    }  # fmt: skip
    first, *rest = signs_lines(signs, Batch("b-1", species, T0, 6), house)
    assert first.startswith("expected by its internal pip: out from 10 Mar")
    assert ("nobody says it of this bird" in first) is not own
    assert rest == expected


@pytest.mark.parametrize(
    ("turned", "lines"),
    [
        (
            Turned(BySwitch(141, timedelta(days=18), timedelta(hours=9), day(5), day(17), day(5)), (9, timedelta(hours=36)), day(17), None),
            (
                "turned 141 times by its switch in 18.0 days, 7.8 a day; longest without 9.0 h, up to ", "; none counted before ", ", day 5.0",
                "turned as written: 9 times in 36 h, 6.0 a day", "stopped turning ", ", day 17.0, as its switch says",
            ),
        ),
        (
            Turned(BySwitch(1, timedelta(hours=3), timedelta(hours=2), None, day(5)), None, None, None),
            ("turned once by its switch in 0.1 days; longest without 2.0 h, up to now",),
        ),
        (
            Turned(BySwitch(0, timedelta(days=3), timedelta(days=3), None, None), None, None, None),
            ("no turn by its switch in 3.0 days nothing written about any egg",),
        ),
    ],
)  # fmt: skip
def test_how_often_eggs_were_turned(turned: Turned, lines: tuple[str, ...]) -> None:
    """By their switch, with what nobody counted; as it was written; and since when no more. Less than a day makes no rate."""
    book = EggBook(HEN)
    for columns in (80, 40):
        text = book_text(book, the_water(book), SITE, now=NOW, turned=turned, columns=columns)
        assert max(map(len, text.splitlines())) <= columns
        said = " ".join(text.split())
        assert [line for line in lines if line not in said] == []


def test_what_will_do_holds_the_air_as_it_is() -> None:
    """An egg on track in air that the bands would not have set is told nothing to set, and no range that leaves that air out."""
    book = EggBook(HEN)
    for at in DAYS:
        book = put(book, at, Weighing(60.0 * (1.0 - 0.0066 * at), error_g=0.02, scale="fine"), 1)
    water = the_water(book)
    loss = water.eggs[1].loss
    assert loss is not None
    assert loss.mend is not None
    assert loss.mend.do_pct is not None
    low, high = loss.mend.do_pct
    for air_pct, told in (
        (low + 1.0, f"nothing: {low:.0f} to {high:.0f} % RH from now on will do\n"),
        (high + 3.0, "nothing\n"),
        (water.lately_rh_pct, "nothing\n"),  # 50 %, where the bands end at 55
    ):
        assert f"to set        {told}" in egg_text(book, 1, replace(water, lately_rh_pct=air_pct), site=SITE)
