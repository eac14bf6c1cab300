"""What is asked before it is written: slips of the pen and of the scale."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.adapters.tables.profiles import load_profiles
from monitor.domain.eggs.book import EggBook, add
from monitor.domain.eggs.doubts import doubts, early_stage
from monitor.domain.eggs.entry import (
    INTERNAL_PIP,
    SIGNS,
    Candling,
    Dead,
    Entry,
    Fact,
    Hatched,
    Laid,
    Note,
    Removed,
    Sign,
    Size,
    Weighing,
)
from monitor.domain.needs.batch import Batch
from monitor.domain.needs.profile import Band, Profile, Stage
from monitor.domain.published.timings import until_hatch
from monitor.domain.refusal import Refusal

SET = datetime(2026, 3, 1, 8, 0, tzinfo=UTC)
BATCH = Batch("b-1", "chicken", SET, 12)
WARM = Band(None, None, 37.5, None, None)
BIRD = Profile(
    "bird",
    "Bird",
    "Avis ficta",
    27.0,
    26.0,
    28.0,
    23.0,
    (Stage("setter", 0.0, WARM), Stage("lockdown", 23.0, WARM)),
    egg_mass_g=(18.0, 22.0),
)


def day(number: float) -> datetime:
    return SET + timedelta(days=number)


def entry(at: float, fact: Fact, egg: int | None = None, **other: Any) -> Entry:
    return Entry(day(at), day(at), "Mo", fact, egg, **other)


def book(*entries: Entry) -> EggBook:
    made = EggBook(Batch("b-1", "bird", SET, 10))
    for each in entries:
        made = add(made, each)
    return made


WEIGHED = entry(0, Weighing(20.0, error_g=0.02), 1)


@pytest.mark.parametrize(
    ("before", "odd", "words"),
    [
        ([WEIGHED], entry(3, Weighing(20.4, error_g=0.02), 1), "heavier than before (20 g)"),
        ([WEIGHED], entry(1, Weighing(18.0, error_g=0.02), 1), "10.0 % lost in 1.0 days"),
        ([entry(9, Weighing(19.0, error_g=0.02), 1)], entry(3, Weighing(18.0, error_g=0.02), 1), "heavier than before"),
        ([WEIGHED, entry(27, Hatched(), 1)], entry(28, Weighing(17.0), 1), "weighed after it was hatched"),
        ([WEIGHED, entry(20, Dead("late"), 1)], entry(21, Weighing(17.6), 1), "weighed after it was dead"),
        ([WEIGHED, entry(25, Sign("internal pip"), 1)], entry(26, Weighing(17.0), 1), "weighed after it was pipped"),
        ([], entry(0, Weighing(200.0), 1), "200 g an egg, Bird lays 18 to 22 g"),
        ([], entry(0, Weighing(2.0), 1), "2 g an egg, Bird lays 18 to 22 g"),
        ([entry(0, Size(40.0, 30.0), 1)], entry(0, Weighing(25.0), 1), "length and breadth lead to 19.73 g"),
        ([WEIGHED], entry(0, Size(40.0, 38.0), 1), "length and breadth lead to 31.65 g"),
        ([entry(0, Weighing(500.0, 300.0), count=10)], entry(5, Weighing(480.0, 300.0), count=9), "9 eggs, the first time 10"),
        ([WEIGHED], WEIGHED, "written already"),
        ([entry(6, Candling("alive"), 1)], entry(9, Candling("clear"), 1), "clear, and was alive before"),
        ([entry(6, Candling("early dead"), 1)], entry(9, Candling("alive"), 1), "alive, and was early dead before"),
        ([entry(6, Dead("early"), 1)], entry(9, Candling("alive"), 1), "candled after it was dead"),
        ([entry(23, Sign("draw-down"), 1)], entry(24, Sign("draw-down"), 1), "draw-down was seen already"),
        ([entry(24, Sign("internal pip"), 1)], entry(25, Sign("draw-down"), 1), "internal pip before draw-down"),
        ([entry(24, Sign("draw-down"), 1)], entry(23, Sign("external pip"), 1), "external pip before draw-down"),
        ([], entry(15, Hatched(), 1), "on day 15.0, Bird hatches on day 26 to 28"),
        ([], entry(40, Hatched(), 1), "on day 40.0, Bird hatches on day 26 to 28"),
        ([], entry(0, Laid(day(-7), 2.0), 1), "2 days stored, laid 7.0 days before it was set"),
        ([], entry(0, Laid(day(-45)), 1), "laid 45 days before it was set"),
        ([], entry(0, Laid(None, 45.0), 1), "45 days stored, four weeks are long for any egg"),
        # The same contradictions, written in the other order.
        ([entry(14, Candling("alive"), 1)], entry(4, Dead("early"), 1), "and candled alive after that"),
        ([entry(14, Weighing(19.0), 1)], entry(4, Dead("early"), 1), "and weighed after that"),
        ([entry(24, Sign("internal pip"), 1)], entry(20, Dead("late"), 1), "and internal pip after that"),
        ([entry(28, Candling("alive"), 1)], entry(27, Hatched(), 1), "and candled alive after that"),
        ([entry(14, Candling("alive"), 1)], entry(4, Removed("clear"), 1), "and candled alive after that"),
        ([entry(20, Dead("late"), 1)], entry(25, Sign("internal pip"), 1), "seen after it was dead"),
        ([entry(9, Candling("alive"), 1)], entry(6, Candling("clear"), 1), "clear, and candled alive later"),
        ([entry(9, Candling("clear"), 1)], entry(6, Candling("alive"), 1), "alive, and candled clear later"),
        ([entry(9, Candling("early dead"), 1)], entry(25, Sign("internal pip"), 1), "and was candled early dead before"),
        ([entry(9, Candling("clear"), 1)], entry(27, Hatched(), 1), "and was candled clear before"),
        ([entry(27, Hatched(), 1)], entry(9, Candling("clear"), 1), "clear, and hatched later"),
        ([entry(25, Sign("external pip"), 1)], entry(9, Candling("dead"), 1), "dead, and external pip later"),
        # A death of the last third in the first days, and one in the pip long before any.
        ([], entry(3, Dead("late"), 1), "late on day 3.0, Bird hatches on day 26 to 28"),
        ([], entry(3, Dead("middle"), 1), "middle on day 3.0, Bird hatches on day 26 to 28"),
        ([], entry(10, Dead("internal pip"), 1), "internal pip on day 10.0, Bird hatches on day 26 to 28"),
        ([], Entry(day(3), day(2), "Mo", Candling("alive"), 1), "which is still to come"),
    ],
)  # fmt: skip
def test_what_is_asked(before: list[Entry], odd: Entry, words: str) -> None:
    """Each of these is asked in one line that says what came and what it is held against; `add` takes it all the same."""
    made = book(*before)
    asked = [str(Refusal("", words)) for words in doubts(made, odd, BIRD)]
    assert [line for line in asked if words in line], asked
    assert all("\n" not in line for line in asked)
    assert len(add(made, odd).entries) == len(before) + 1


@pytest.mark.parametrize(
    ("before", "well"),
    [
        ([WEIGHED], entry(3, Weighing(19.6, error_g=0.02), 1)),
        ([WEIGHED], entry(0.01, Weighing(20.03, error_g=0.02), 1)),  # within three errors of the scale
        ([WEIGHED], entry(0.1, Weighing(19.95, error_g=0.02), 1)),
        ([WEIGHED], entry(3, Weighing(20.5, error_g=0.02), 2)),
        ([entry(0, Size(40.0, 30.0), 1)], entry(20, Weighing(17.2), 1)),
        ([entry(3, Candling("fertile"), 1)], entry(6, Candling("alive"), 1)),
        ([entry(3, Candling("clear"), count=3)], entry(6, Candling("alive"), count=7)),
        ([entry(23, Sign("draw-down"), 1)], entry(24, Sign("internal pip"), 1)),
        ([], entry(25, Hatched(), 1)),
        ([], entry(0, Laid(day(-7), 7.0), 1)),
        ([], entry(3, Note("thin shell"), 1)),
        ([entry(6, Candling("fertile"), 1)], entry(3, Candling("not sure"), 1)),
        ([entry(6, Candling("alive"), 1)], entry(9, Candling("dead"), 1)),
        ([entry(9, Candling("dead"), 1)], entry(10, Dead("middle"), 1)),
        ([entry(27, Hatched(), 1)], entry(28, Dead("after hatch"), 1)),
        ([entry(27, Hatched(), 1)], entry(25, Sign("internal pip"), 1)),
        ([entry(26, Weighing(17.0), 2)], entry(4, Dead("early"), 1)),
        ([WEIGHED], entry(0, Weighing(19.0, error_g=0.02), 1, replaces=1)),  # held against the rest, not what it replaces
    ],
)  # fmt: skip
def test_what_is_not_asked(before: list[Entry], well: Entry) -> None:
    """Ordinary entries are not questioned: a breeder who is asked each time no longer reads."""
    assert doubts(book(*before), well, BIRD) == ()


def on(scale: str | None, at: float, mass_g: float, error_g: float) -> Entry:
    return entry(at, Weighing(mass_g, error_g=error_g, scale=scale), 1)


@pytest.mark.parametrize(("fine", "kitchen"), [("fine", "kitchen"), (None, "kitchen"), ("fine", None)])
def test_each_scale_is_held_against_itself(fine: str | None, kitchen: str | None) -> None:
    """An egg never gains: 0.7 g more on the same scale is asked about, with another scale between or not; before and after what is written
    too late. What another scale showed says nothing of it: two scales differ by more than either scatters."""
    made = book(on(fine, 0.0, 20.0, 0.01), on(fine, 5.0, 19.5, 0.01), on(kitchen, 5.1, 19.9, 0.5))
    named = "" if fine is None else f" on {fine}"
    for slip, line in (
        (on(fine, 8.0, 20.2, 0.01), f"heavier than before (19.5 g{named})"),
        (on(fine, 2.0, 19.2, 0.01), f"heavier than before (19.2 g{named})"),
        (on(fine, 6.0, 17.0, 0.01), "12.8 % lost in 1.0 days"),
    ):
        (asked,) = doubts(made, slip, BIRD)
        assert line in str(Refusal("", asked))
    for well in (on(fine, 8.0, 19.2, 0.01), on(kitchen, 8.0, 19.6, 0.5), on("third", 8.0, 20.4, 0.01)):
        assert doubts(made, well, BIRD) == ()


def test_a_slip_that_was_written_all_the_same_is_not_held_against_the_next() -> None:
    """17.6 for 19.4, a day after 19.5, lighter than any egg loses; or 21.9, heavier than it was. The right 19.3 after it is not asked about, and what is
    odd is told beside the newest that counts; but an egg that had cracked may have lost so much."""
    for slip_g in (17.6, 21.9):
        made = book(on("fine", 0.0, 20.0, 0.01), on("fine", 5.0, 19.5, 0.01), on("fine", 6.0, slip_g, 0.01))
        assert doubts(made, on("fine", 7.0, 19.3, 0.01), BIRD) == ()
        (asked,) = doubts(made, on("fine", 7.0, 20.4, 0.01), BIRD)
        assert "heavier than before (19.5 g on fine)" in str(Refusal("", asked))
    low = (on("fine", 0.0, 20.0, 0.01), on("fine", 5.0, 19.5, 0.01), on("fine", 6.0, 17.6, 0.01))
    (asked,) = doubts(book(*low, entry(5.5, Candling("cracked"), 1)), on("fine", 7.0, 19.3, 0.01), BIRD)
    assert "heavier than before (17.6 g on fine)" in str(Refusal("", asked))
    followed = book(*low, on("fine", 7.0, 17.5, 0.01))  # two that agree are no slip
    (asked,) = doubts(followed, on("fine", 8.0, 19.3, 0.01), BIRD)
    assert "heavier than before (17.5 g on fine)" in str(Refusal("", asked))


@pytest.mark.parametrize(
    ("days", "mass_g", "asked"),
    [
        (0.0, 20.10, False),  # of one hour: three times both errors, and what masses scatter, 0.102 g
        (0.0, 20.11, True),
        (8.0, 20.02, False),  # eight days at the least that an egg loses are 0.08 g of that
        (8.0, 20.03, True),
        (30.0, 20.00, False),  # no gain is asked about that there was not: a sealed egg hardly loses
        (30.0, 20.01, True),
    ],
)
def test_a_gain_over_days_is_asked_about_that_could_be_scatter_within_the_hour(
    days: float, mass_g: float, asked: bool
) -> None:
    """0.05 % a day is a quarter of the slowest loss that any source wants, of an emu: 10 % in 51 days (HRB-R)."""
    found = doubts(book(on("fine", 1.0, 20.0, 0.01)), on("fine", 1.0 + days, mass_g, 0.01), BIRD)
    said = [str(Refusal("", each)) for each in found]
    assert len(said) == asked
    assert all("heavier than before" in each for each in said)


@given(st.floats(3.0, 20.0), st.floats(0.3, 1.2), st.integers(2, 12))
def test_an_ordinary_egg_is_never_questioned(step: float, pct_d: float, times: int) -> None:
    """An egg of the profile's mass that loses what eggs lose, weighed at any pace, raises no doubt at all."""
    made = book()
    for i in range(times):
        at = i * step
        if at * pct_d > 24.0:
            break
        weighing = entry(at, Weighing(20.0 * (1.0 - pct_d * at / 100.0), error_g=0.02), 1)
        assert doubts(made, weighing, BIRD) == ()
        made = add(made, weighing)


def test_a_sign_far_before_its_time_is_asked_about() -> None:
    """An internal pip on day 9 of 21 is a wrong date: hens show it 24 to 36 h before the chick (HATSIG, PW), on day 18 at the soonest. The
    same on day 19, or of a bird that is not known, is written."""
    pip = Sign(INTERNAL_PIP)
    hens = load_profiles(None)["chicken"]
    for day, asked in ((9.0, True), (16.0, True), (17.0, False), (19.5, False)):
        at = BATCH.set_at + timedelta(days=day)
        entry = Entry(at, at, "ada", pip, egg=1)
        said = ["".join(map(str, words)) for words in doubts(EggBook(BATCH), entry, hens)]
        assert said == (
            [f"egg 1 sign: internal pip on day {day:.1f}, Chicken hatches on day 20 to 22"] if asked else []
        )
        assert doubts(EggBook(BATCH), entry, None) == ()


@pytest.mark.parametrize(
    ("bird", "stage", "first"),
    [
        ("chicken", "lockdown", 0.9 * 20.0 - 2.0),  # draw-down at most 48 h before the chick (memory)
        ("chicken", "hatch", 0.9 * 18.0),  # no stage of its own: it counts as lockdown
        ("cockatiel", "lockdown", 0.9 * 18.0 - 5.0),  # 24 to 48 h to the pip (EPV) and 24 to 72 h from there (NSW-SP)
        ("pheasant", "lockdown", 0.9 * 23.0 - 2.0),
        ("bobwhite-quail", "lockdown", 0.9 * 20.0),  # by its calendar sooner than by any sign
    ],
)
def test_a_stage_far_before_its_time_is_asked_about(bird: str, stage: str, first: float) -> None:
    """As the sign that begins it is, and never within a tenth of the profile's own day."""
    profile = load_profiles(None)[bird]
    for day, asked in ((4.1, True), (first - 0.01, True), (first + 0.01, False), (profile.lockdown_day, False)):
        said = early_stage(BATCH, stage, BATCH.set_at + timedelta(days=day), profile=profile)
        assert bool(said) is asked, day
    said = early_stage(BATCH, stage, BATCH.set_at + timedelta(days=4.15), profile=profile)
    normal = f"day {profile.hatch_day_first:g} to {profile.hatch_day_last:g}"
    assert said == (f"{stage} on day 4.1, {profile.name} hatches on {normal}",)


@pytest.mark.parametrize("profile", load_profiles(None).values(), ids=lambda p: p.id)
@pytest.mark.parametrize("sign", SIGNS)
def test_no_normal_sign_is_asked_about(profile: Profile, sign: str) -> None:
    """As long before its first normal day as a source has the sign before the chick, and on its last normal day: neither is odd."""
    for day in (profile.hatch_day_first - until_hatch(profile.kind, sign).high_h / 24.0, profile.hatch_day_last):
        at = BATCH.set_at + timedelta(days=day)
        assert doubts(EggBook(BATCH), Entry(at, at, "ada", Sign(sign), egg=1), profile) == ()


NET_G = 0.548 * 4.0 * 3.0**2  # of 40 x 30 mm, by Hoyt's formula: 19.73


def fine(mass_g: float) -> Weighing:
    """On a scale of 0.02 g."""
    return Weighing(mass_g, error_g=0.02)


def until(minutes: float) -> Entry:
    """Written at day 3, of an instant so many minutes later."""
    return Entry(day(3) + timedelta(minutes=minutes), day(3), "Mo", Candling("alive"), 1)


@pytest.mark.parametrize(
    ("before", "well", "odd"),
    [
        # A watch and a clock may differ by ten minutes.
        ([], until(10.0), until(10.1)),
        # Half of the lightest egg of its species, and one and a half of the heaviest (9 to 33 g), each less or more what the scale errs by.
        ([], entry(0, fine(33.01), 1), entry(0, fine(33.03), 1)),
        ([], entry(0, Weighing(33.9, error_g=1.0), 1), entry(0, Weighing(34.1, error_g=1.0), 1)),
        ([], entry(0, fine(8.99), 1), entry(0, fine(8.97), 1)),
        ([], entry(0, Weighing(8.1, error_g=1.0), 1), entry(0, Weighing(7.9, error_g=1.0), 1)),
        # The same of what length and breadth lead to: 0.548 L B**2 in cm.
        ([], entry(0, Size(40.0, 38.7), 1), entry(0, Size(40.0, 38.9), 1)),
        ([], entry(0, Size(30.0, 23.5), 1), entry(0, Size(30.0, 23.3), 1)),
        # A whole egg is at most 15 % heavier than its measures lead to, and one that has lost its water 30 % lighter; whichever came first.
        (
            [entry(0, Size(40.0, 30.0), 1)],
            entry(9, fine(round(NET_G * 1.149, 2)), 1),
            entry(9, fine(round(NET_G * 1.151, 2)), 1),
        ),
        (
            [entry(0, Size(40.0, 30.0), 1)],
            entry(9, fine(round(NET_G * 0.701, 2)), 1),
            entry(9, fine(round(NET_G * 0.699, 2)), 1),
        ),
        ([entry(0, fine(20.0), 1)], entry(0, Size(40.0, 28.2), 1), entry(0, Size(40.0, 28.1), 1)),
        ([entry(0, fine(20.0), 1)], entry(0, Size(40.0, 36.0), 1), entry(0, Size(40.0, 36.2), 1)),
        # A tenth of the days before the first normal one (23.4 of 26), and five days after the last (33 for 28).
        ([], entry(23.41, Hatched(), 1), entry(23.39, Hatched(), 1)),
        ([], entry(33.0, Hatched(), 1), entry(33.01, Hatched(), 1)),
        # A store of four weeks; and people count its days in more than one way, to a day and a half.
        ([], entry(0, Laid(day(-28.0)), 1), entry(0, Laid(day(-28.01)), 1)),
        ([], entry(0, Laid(None, 28.0), 1), entry(0, Laid(None, 28.1), 1)),
        # Nine tenths of a third, and of two, of the 26 days to the first normal hatch.
        ([], entry(7.81, Dead("middle"), 1), entry(7.79, Dead("middle"), 1)),
        ([], entry(15.61, Dead("late"), 1), entry(15.59, Dead("late"), 1)),
        # What is of the very time of an end is not after it.
        ([entry(20, Candling("alive"), 1)], entry(20, Dead("late"), 1), entry(19.9, Dead("late"), 1)),
        ([], entry(0, Laid(day(-7.0), 5.5), 1), entry(0, Laid(day(-7.0), 5.4), 1)),
        ([], entry(0, Laid(day(-7.0), 8.5), 1), entry(0, Laid(day(-7.0), 8.6), 1)),
        # Three per cent a day, and beside it three times the error of both weighings and 0.3 % of scatter: 0.145 g of 20.
        ([WEIGHED], entry(1, fine(19.26), 1), entry(1, fine(19.25), 1)),
        ([WEIGHED], entry(2, fine(18.66), 1), entry(2, fine(18.65), 1)),
        # What was before an egg's end, or at that very time, is not after it.
        ([entry(20, Dead("late"), 1)], entry(20, Candling("alive"), 1), entry(20.1, Candling("alive"), 1)),
        ([entry(20, Dead("late"), 1)], entry(20, Weighing(17.6), 1), entry(20.1, Weighing(17.6), 1)),
        ([entry(6, Candling("early dead"), 1)], entry(6, Candling("alive"), 1), entry(6.1, Candling("alive"), 1)),
        # As many as the first time.
        (
            [entry(0, Weighing(500.0, 300.0), count=10)],
            entry(5, Weighing(492.0, 300.0), count=10),
            entry(5, Weighing(472.0, 300.0), count=9),
        ),
    ],
)  # fmt: skip
def test_how_far_nothing_is_asked(before: list[Entry], well: Entry, odd: Entry) -> None:
    """Of two entries that hardly differ the first is written as it comes, and the second is asked about."""
    made = book(*before)
    assert doubts(made, well, BIRD) == ()
    assert len(doubts(made, odd, BIRD)) == 1


@pytest.mark.parametrize(
    "fact", [Weighing(200.0), Size(40.0, 38.9), Hatched(), Sign(INTERNAL_PIP), Candling("alive")], ids=lambda f: f.kind
)
def test_of_a_bird_that_nobody_knows_nothing_is_odd(fact: Fact) -> None:
    """Without a species, or with one whose eggs nobody weighed, no mass, and without one no day, is too great or too small."""
    assert doubts(book(), entry(2.0, fact, 1), None) == ()
    if isinstance(fact, Weighing | Size):
        assert doubts(book(), entry(2.0, fact, 1), replace(BIRD, egg_mass_g=None)) == ()
