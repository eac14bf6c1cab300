"""Entries about eggs: what cannot be written at all, and the way into a store and back."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.domain.eggs.entry import (
    CANDLED,
    DEATHS,
    FACTS,
    REMOVED,
    SIGNS,
    AirCell,
    Attached,
    Brooded,
    Candling,
    ChickMass,
    Dead,
    EggError,
    Entry,
    Fact,
    Found,
    Hatched,
    Helped,
    Identity,
    Laid,
    LookAgain,
    Note,
    Removed,
    Sealed,
    Sign,
    SignedOff,
    Size,
    Split,
    Turning,
    TurningStopped,
    Weighing,
    Withdrawn,
    fact_of,
    plain,
)
from monitor.domain.published.findings import FINDING, FINDINGS

AT = datetime(2026, 3, 5, 9, 0, tzinfo=UTC)


def entry(fact: Fact, **other: object) -> Entry:
    return Entry(AT, AT, "Mo", fact, **other)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("make", "complaint"),
    [
        (lambda: Weighing(-3.0), "weighing: mass in g -3, expected 0.1 to 500000"),
        (lambda: Weighing(float("nan")), "weighing: mass in g nan, expected 0.1 to 500000"),
        (lambda: Weighing(300.0, 300.0), "weighing: tare 300 g, expected below the mass, 300 g"),
        (lambda: Weighing(20.0, error_g=0.0), "weighing: error in g 0, expected 0.0001 to 1000"),
        (lambda: Size(30.0, 40.0), "size: breadth in mm 40, expected 2.5 to 30"),
        (lambda: Size(4.1, 3.2), "size: length in mm 4.1, expected 5 to 250"),
        (lambda: Candling("good"), "candling: 'good', expected one of clear, fertile, alive"),
        (lambda: Sign("pip"), "sign: 'pip', expected one of draw-down, internal pip, external pip"),
        (lambda: Dead("young"), "dead: 'young', expected one of early, middle, late"),
        (lambda: Split(""), "split: no batch, expected the name of the one it went on in"),
        (lambda: Removed("sold"), "removed: 'sold', expected one of clear, broken"),
        (lambda: Found("sad"), "finding: 'sad', expected one of the trade list (clear, "),
        (lambda: Note("  "), "note: empty, expected words"),
        (lambda: Note("x" * 501), "note: 501 characters, expected at most 500"),
        (lambda: Split("x" * 501), "split: 501 characters, expected at most 500"),
        (lambda: Helped("x" * 501), "helped: 501 characters, expected at most 500"),
        (lambda: Sealed("x" * 501), "sealed: 501 characters, expected at most 500"),
        (lambda: LookAgain(AT, "x" * 501), "look-again: 501 characters, expected at most 500"),
        (lambda: Withdrawn("x" * 501), "withdrawn: 501 characters, expected at most 500"),
        (lambda: Entry(AT, AT, "x" * 501, Hatched()), "who: 501 characters, expected at most 500"),
        (lambda: entry(Weighing(900.0), tray="x" * 501, count=9), "tray: 501 characters, expected at most 500"),
        (
            lambda: Entry(AT, AT.replace(tzinfo=None), "Mo", Hatched()),
            "written_at 2026-03-05T09:00:00, expected a time",
        ),
        (lambda: Laid(AT.replace(tzinfo=None)), "laid: laid_at 2026-03-05T09:00:00, expected a time with its zone"),
        (lambda: Weighing(20.0, scale="x" * 33), "weighing: scale 'xxxxx"),
        (lambda: Weighing(20.0, scale=""), "weighing: scale '', expected the id of one, 1 to 32 characters"),
        (lambda: Weighing(20.0, digit_g=0.0), "weighing: last digit in g 0, expected 0.0001 to 1000"),
        (lambda: Weighing(20.0, -0.1), "weighing: tare in g -0.1, expected 0 to 500000"),
        (lambda: entry(Hatched(), egg=3, tray="A"), "egg 3: a count or a tray came with it, expected one egg or some"),
        (
            lambda: LookAgain(AT.replace(tzinfo=None)),
            "look-again: look_at 2026-03-05T09:00:00, expected a time with its zone",
        ),
        (lambda: Laid(), "laid: neither laid_at nor stored_days came, expected one of them"),
        (lambda: Laid(stored_days=90.0), "laid: days in store 90, expected 0 to 60"),
        (
            lambda: Identity(),
            "identity: nothing is said, expected one of pair, cock, hen, clutch, label, taken_at, tray, place",
        ),
        (lambda: Attached("a/b", "0f" * 32, 1), "file: name 'a/b', expected 1 to 120 characters, without /"),
        (lambda: Attached(" ", "0f" * 32, 1), "file: name ' ', expected 1 to 120 characters"),
        (lambda: Attached("a", "0F" * 32, 1), "file: sha256 '0F0F0F0F0F0F0F0F0F0F', expected 64 of 0-9 and a-f"),
        (lambda: Attached("a", "0f" * 31, 1), "file: sha256 '0f"),
        (lambda: Attached("a", "0f" * 32, 0), "file: 0 bytes, expected 1 to 4194304"),
        (lambda: Attached("a", "0f" * 32, 1.5), "file: a part of a number, expected whole numbers"),
        (lambda: Attached("a", "0f" * 32, 1, "x" * 501), "file: 501 characters, expected at most 500"),
        (lambda: AirCell(0.4), "air-cell: near in mm 0.4, expected 0.5 to 120"),
        (lambda: AirCell(9.0, 8.9), "air-cell: far in mm 8.9, expected 9 to 240"),
        (lambda: AirCell(9.0, across_mm=0.1), "air-cell: across in mm 0.1, expected 0.5 to 240"),
        (lambda: Turning(-1), "turned: -1 times, expected a whole number from 0 to 500"),
        (lambda: Turning(501), "turned: 501 times, expected a whole number from 0 to 500"),
        (lambda: Turning(2.5), "turned: 2.5 times, expected a whole number from 0 to 500"),
        (lambda: Turning(float("inf")), "turned: inf times, expected a whole number from 0 to 500"),
        (lambda: Turning(5, 0.0), "turned: hours 0, expected 0.1 to 240"),
        (lambda: TurningStopped("x" * 501), "turning-stopped: 501 characters, expected at most 500"),
        (lambda: ChickMass(0.0), "chick-mass: mass in g 0, expected 0.1 to 50000"),
        (lambda: ChickMass(40.0, error_g=0.0), "chick-mass: error in g 0, expected 0.0001 to 1000"),
        (lambda: ChickMass(40.0, scale=""), "chick-mass: scale '', expected the id of one, 1 to 32 characters"),
        (lambda: Brooded(""), "brooder: '', expected the id of a machine, 1 to 32 characters"),
        (lambda: SignedOff("x" * 501), "signed-off: 501 characters, expected at most 500"),
        (lambda: Identity(pair=" "), "identity: pair: ' ', expected 1 to 60 characters"),
        (lambda: Identity(ring="x" * 61), "identity: ring: 'xxx"),
        (
            lambda: Identity(taken_at=AT.replace(tzinfo=None)),
            "identity: taken_at 2026-03-05T09:00:00, expected a time with",
        ),
        (lambda: Entry(AT.replace(tzinfo=None), AT, "Mo", Hatched()), "at 2026-03-05T09:00:00, expected a time"),
        (lambda: Entry(AT, AT, " ", Hatched()), "who: empty, expected the name of who writes this"),
        (lambda: entry(Hatched(), egg=3, count=2), "egg 3: a count or a tray came with it, expected one egg or some"),
        (lambda: entry(Weighing(900.0), tray="A"), "tray A: no count, expected how many eggs lie on it"),
    ],
)
def test_what_cannot_be_written(make: Callable[[], object], complaint: str) -> None:
    """Nonsense is refused when it is made, in one line: where, what came, what was expected."""
    with pytest.raises(EggError) as raised:
        make()
    assert str(raised.value).startswith(complaint)
    assert "\n" not in str(raised.value)


def test_the_longest_that_can_be_written() -> None:
    """A text of 500 characters, a scale's id of 32, a store of 60 days, the lightest and the heaviest egg and tray."""
    assert Note("x" * 500).text == Split("x" * 500).into == "x" * 500
    assert Weighing(20.0, scale="x" * 32).scale == "x" * 32
    assert Laid(stored_days=60.0).stored_days == 60.0
    assert Weighing(500_000.0, 499_999.9).net_g == pytest.approx(0.1)
    assert (Size(250.0, 250.0).length_mm, Size(5.0, 2.5).breadth_mm) == (250.0, 2.5)


FACTS_MADE: tuple[Fact, ...] = (
    Laid(AT, 3.5),
    Laid(stored_days=2.0),
    Identity("P3", "A12", "B7", "2", "x7", AT, "B", "3", "17"),
    Identity(label="x7"),
    Size(38.1, 29.5),
    Weighing(319.4, 300.1, 0.05),
    Weighing(58.4, scale="fine", digit_g=0.01),
    Candling("alive"),
    Sign("draw-down"),
    Helped("a drop of oil"),
    Sealed("wax"),
    Hatched(),
    Dead("internal pip"),
    Removed("clear"),
    Split("hen-1-b"),
    Attached("photo.jpg", "0f" * 32, 2_500_000, "blood ring", 31),
    AirCell(9.0, 14.0, 26.0),
    Turning(5),
    TurningStopped("lockdown"),
    ChickMass(38.2, 0.05, "fine"),
    Brooded("brooder-1"),
    SignedOff("aviary"),
    Found("wet-chick"),
    Note("thin shell"),
    LookAgain(AT, "vessels?"),
    Withdrawn("wrong batch"),
)


@pytest.mark.parametrize("fact", FACTS_MADE, ids=lambda fact: fact.kind)
def test_into_a_store_and_back(fact: Fact) -> None:
    """Every kind of fact goes through JSON and comes back equal, times with their zone."""
    assert fact_of(fact.kind, json.loads(json.dumps(plain(fact)))) == fact


def test_every_kind_is_known() -> None:
    """The kinds made in these tests are all there are, each under its own word."""
    assert {fact.kind for fact in FACTS_MADE} == set(FACTS)
    assert all(FACTS[kind].kind == kind for kind in FACTS)


TIME_WORDS = "expected a time such as 2026-03-01T18:00:00Z"


@pytest.mark.parametrize(
    ("kind", "data", "said"),
    [
        ("egg", {}, "entry: kind 'egg', expected one of laid, identity, size,"),
        ("identity", {"pair": 3}, "identity: pair 3, expected a text"),
        ("identity", {"taken_at": "soon"}, f"identity: taken_at 'soon', {TIME_WORDS}"),
        ("weighing", {}, "weighing: no gross_g, expected a number"),
        ("weighing", {"gross_g": None}, "weighing: gross_g empty, expected its value"),
        ("weighing", {"gross_g": "x"}, "weighing: gross_g 'x', expected a number"),
        ("weighing", {"gross_g": 10**400}, f"weighing: gross_g 1{'0' * 39}, expected a number"),
        ("weighing", {"gross_g": 60.0, "gras": 1.0}, "weighing: no field 'gras', expected gross_g, tare_g, error_g"),
        ("note", {"text": 3.0}, "note: text 3.0, expected a text"),
        ("look-again", {"look_at": "soon"}, f"look-again: look_at 'soon', {TIME_WORDS}"),
        ("look-again", {"look_at": 5}, f"look-again: look_at 5, {TIME_WORDS}"),
        ("laid", {"laid_at": "9999-12-31T23:59:59-14:00"}, f"laid: laid_at '9999-12-31T23:59:59-14:00', {TIME_WORDS}"),
        ("hatched", {"x": 1.0}, "hatched: no field 'x', expected none"),
    ],
)
def test_a_row_that_makes_no_fact(kind: str, data: dict[str, str | float | None], said: str) -> None:
    """An unknown kind, a missing, unknown or malformed field is an EggError in the words of the record, never another exception."""
    with pytest.raises(EggError) as raised:
        fact_of(kind, data)
    assert str(raised.value).startswith(said)


@given(st.text(max_size=30))
def test_only_the_listed_words_are_taken(word: str) -> None:
    """Whatever is typed, a candling, sign, death, removal or finding is one of its list or refused."""
    for make, known in ((Candling, CANDLED), (Sign, SIGNS), (Dead, DEATHS), (Removed, REMOVED), (Found, FINDING)):
        if word not in known:
            with pytest.raises(EggError):
                make(word)


@pytest.mark.parametrize(
    ("who", "parents", "clutch"),
    [
        (Identity(pair="P3", cock="A12", clutch="2"), "P3", "P3, clutch 2"),
        (Identity(cock="A12", hen="B7", clutch="2"), "A12 x B7", "A12 x B7, clutch 2"),
        (Identity(hen="B7"), "? x B7", ""),
        (Identity(clutch="2", label="x"), "", "clutch 2"),
    ],
)
def test_whose_an_egg_is(who: Identity, parents: str, clutch: str) -> None:
    """A pair by its name, or by its birds; a clutch counts within its pair."""
    assert (who.parents, who.clutch_of) == (parents, clutch)


def test_what_an_entry_says_of_itself() -> None:
    """Where it belongs, how many eggs it is about, whether it ends an egg's story, and the mass it gives one egg."""
    assert entry(Hatched(), egg=4).where == "egg 4 hatched"
    assert entry(Candling("clear"), count=3).where == "3 eggs candling"
    assert entry(Note("cold night")).where == "batch note"
    tray = entry(Weighing(6300.0, 300.0, 1.0), count=100, tray="A")
    assert tray.where == "tray A weighing"
    assert tray.each_g() == pytest.approx((60.0, 0.01))
    assert entry(Weighing(20.0), egg=1).each_g(0.05) == (20.0, 0.05)
    assert (tray.eggs, entry(Hatched(), egg=4).eggs, entry(Note("x")).eggs) == (100, 1, 0)
    assert entry(Hatched(), egg=4).ends
    assert not tray.ends
    assert entry(Sign("internal pip"), egg=4).word == "pipped"
    assert entry(Split("hen-1-b"), egg=4).word == "moved to batch hen-1-b"
    assert entry(Removed("clear"), egg=4).word == "removed"


def test_the_trade_list() -> None:
    """Each finding has its own id that can be typed, words, a place where it is seen, and its source; ids do not repeat."""
    assert len(FINDING) == len(FINDINGS) == 33
    for finding in FINDINGS:
        assert finding.id.replace("-", "").isalpha()
        assert finding.id == finding.id.lower()
        assert len(finding.words) > 8 or finding.id == "runt"
        assert finding.seen_at
        assert finding.source.endswith((", seen", ", from memory"))
