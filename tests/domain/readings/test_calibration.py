"""Corrections worked by hand, salts against the published tables, and which calibration holds when."""

from __future__ import annotations

import csv
import itertools
import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from monitor.domain.needs.bands import DRY_BULB, RH
from monitor.domain.readings.calibration import (
    MAX_OFFSET,
    MIN_APART,
    RANGE,
    SALT_C,
    SALTS,
    SLOPES,
    TAKEN_BACK,
    Calibration,
    CalibrationError,
    Correction,
    Point,
    applied,
    by_offset,
    by_points,
    by_salts,
    by_time,
    check,
    corrected,
    due_after,
    in_force,
    overdue,
    salt_rh_pct,
    since_by_default,
    standing,
    taken_back,
)
from monitor.domain.readings.view import calibration_view

REFERENCE = Path(__file__).parents[2] / "reference" / "psychrometrics" / "salts.csv"
ROWS = list(csv.DictReader(REFERENCE.read_text(encoding="utf-8").splitlines()))
T0 = datetime(2026, 3, 1, 18, 0, tzinfo=UTC)


def day(days: float) -> datetime:
    return T0 + timedelta(days=days)


def offset(
    k: float | None = None, pct: float | None = None, at: float = 0.0, since: float | None = None
) -> Calibration:
    """A calibration by offsets, made and holding so many days after T0 (None: from the beginning)."""
    return Calibration(
        "node-a/top",
        day(at),
        None if since is None else day(since),
        dry_bulb_c=None if k is None else by_offset(DRY_BULB, k),
        rh_pct=None if pct is None else by_offset(RH, pct),
    )


# --- salts


@pytest.mark.parametrize("row", [r for r in ROWS if r["source"].startswith("greenspan1977")], ids=str)
def test_a_salts_humidity_is_greenspans(row: dict[str, str]) -> None:
    """At the table's own temperatures the value is Greenspan's, to its last digit."""
    assert salt_rh_pct(row["salt"], float(row["t_c"])) == pytest.approx(float(row["rh_pct"]), abs=1e-9)


# What the standard itself has by average, or by misprint; see tests/reference/psychrometrics/README.md.
ODD = {("lithium-chloride", "20"): 0.7, ("potassium-chloride", "25"): 0.16}


@pytest.mark.parametrize("row", [r for r in ROWS if r["source"] == "oiml_r121_t1"], ids=str)
def test_a_salts_humidity_is_the_standards(row: dict[str, str]) -> None:
    """The printed standard, another compilation with one decimal, agrees within its rounding and that of the values."""
    within = ODD.get((row["salt"], row["t_c"]), 0.06)
    assert salt_rh_pct(row["salt"], float(row["t_c"])) == pytest.approx(float(row["rh_pct"]), abs=within)


@pytest.mark.parametrize("row", [r for r in ROWS if r["source"].startswith("crc")], ids=str)
def test_a_salts_humidity_is_near_the_handbooks_formula(row: dict[str, str]) -> None:
    """A third, coarse formula agrees within the 2 % that it claims, or 3.5 % at the ends where it is known to leave its own bound."""
    beyond = {"magnesium-chloride": 35, "magnesium-nitrate": 35, "sodium-bromide": 35}.get(row["salt"], 99)
    share = 0.02 if float(row["t_c"]) < beyond else 0.035
    assert salt_rh_pct(row["salt"], float(row["t_c"])) == pytest.approx(float(row["rh_pct"]), rel=share)


def test_every_salt_is_in_the_published_tables() -> None:
    """No salt is offered that the tables do not have, and none at a temperature that they do not have."""
    published = {(r["salt"], float(r["t_c"])) for r in ROWS if r["source"].startswith("greenspan1977")}
    assert published == {(salt, t) for salt, values in SALTS.items() for t, _ in zip(SALT_C, values, strict=False)}


@pytest.mark.parametrize("salt", SALTS)
def test_between_the_temperatures(salt: str) -> None:
    """Between two temperatures the line stays within 0.04 %RH of the parabola through three."""
    values = SALTS[salt]
    for place in range(len(values) - 2):
        a, b, c = values[place : place + 3]
        for share in (0.25, 0.5, 0.75):
            parabola = a + share * (b - a) + share * (share - 1.0) / 2.0 * (a - 2.0 * b + c)
            assert salt_rh_pct(salt, SALT_C[place] + 5.0 * share) == pytest.approx(parabola, abs=0.04)


def test_a_salt_by_hand() -> None:
    """Sodium chloride at 22 °C lies two fifths of the way from 75.48 to 75.30."""
    assert salt_rh_pct("sodium-chloride", 22.0) == pytest.approx(75.48 - 0.4 * 0.18)


@pytest.mark.parametrize(
    ("salt", "temperature_c", "line"),
    [
        ("sodium-chloride", 19.9, "sodium-chloride: 19.9 °C, expected 20 to 40 °C"),
        ("sodium-chloride", 40.5, "sodium-chloride: 40.5 °C, expected 20 to 40 °C"),
        ("potassium-carbonate", 35.0, "potassium-carbonate: 35 °C, expected 20 to 30 °C"),
        ("sodium-chloride", math.nan, "sodium-chloride: nan °C, expected 20 to 40 °C"),
        ("sugar", 25.0, f"salt 'sugar': not in the table, expected one of: {', '.join(SALTS)}"),
    ],
)
def test_what_the_table_does_not_have(salt: str, temperature_c: float, line: str) -> None:
    """A salt or a temperature outside the table is refused with one line that says what it has."""
    with pytest.raises(CalibrationError) as raised:
        salt_rh_pct(salt, temperature_c)
    assert str(raised.value) == line


# --- corrections


def test_an_offset_by_hand() -> None:
    """A probe that reads 37.2 where 37.5 is true is 0.3 K low, everywhere."""
    assert by_offset(DRY_BULB, 0.3).of(37.2) == pytest.approx(37.5)
    assert by_points(DRY_BULB, [Point(37.2, 37.5)]).of(20.0) == pytest.approx(20.3)


def test_a_line_by_hand() -> None:
    """Ice bath 0.4 for 0.0 and 37.9 for 37.5 is 0.4 K high at both, so it reads 25.4 at 25; a slope shows between two others."""
    same = by_points(DRY_BULB, [Point(0.4, 0.0), Point(37.9, 37.5)])
    assert (same.slope, same.of(25.4)) == pytest.approx((1.0, 25.0))
    # Half a degree low, a tenth low: 0.04 K less each degree.
    line = by_points(DRY_BULB, [Point(30.0, 30.5), Point(40.0, 40.1)])
    assert line.slope == pytest.approx(0.96)
    assert line.of(35.0) == pytest.approx(35.3)
    assert line.of(20.0) == pytest.approx(20.9)


def test_two_salts_by_hand() -> None:
    """34.0 over magnesium chloride (32.79 at 25 °C) and 73.1 over sodium chloride (75.30): 42.51 %RH for each 39.1 it reads."""
    line = by_salts([("sodium-chloride", 73.1), ("magnesium-chloride", 34.0)], 25.0)
    assert line.slope == pytest.approx(42.51 / 39.1)
    assert line.of(53.55) == pytest.approx(54.045)  # half-way
    assert line.points == (Point(34.0, 32.79, "magnesium-chloride"), Point(73.1, 75.3, "sodium-chloride"))
    assert by_salts([("sodium-chloride", 73.1)], 25.0).of(50.0) == pytest.approx(52.2)


QUANTITIES = (DRY_BULB, RH)


@given(st.sampled_from(QUANTITIES), st.data())
def test_the_references_come_out_at_the_points(quantity: str, data: st.DataObject) -> None:
    """Whatever two points make a correction, each reading becomes its reference, and all between lies between."""
    low, high = RANGE[quantity]
    off = st.floats(-MAX_OFFSET[quantity], MAX_OFFSET[quantity])
    readings = data.draw(st.lists(st.floats(low, high), min_size=1, max_size=2))
    points = [Point(r, r + data.draw(off)) for r in readings]
    try:
        correction = by_points(quantity, points)
    except CalibrationError:
        assume(False)
    for point in points:
        assert correction.of(point.reading) == pytest.approx(point.reference, abs=1e-9)
    if len(points) == 2:
        middle = sum(readings) / 2.0
        assert correction.of(middle) == pytest.approx((points[0].reference + points[1].reference) / 2.0, abs=1e-9)


@given(st.sampled_from(QUANTITIES), st.data())
def test_no_correction_is_wild(quantity: str, data: st.DataObject) -> None:
    """What is accepted moves no reading in the working range (30 to 42 °C, 20 to 90 %RH) by more than the slope's bound allows."""
    low, high = RANGE[quantity]
    off = st.floats(-MAX_OFFSET[quantity], MAX_OFFSET[quantity])
    points = [Point(r, r + data.draw(off)) for r in data.draw(st.lists(st.floats(low, high), min_size=2, max_size=2))]
    try:
        correction = by_points(quantity, points)
    except CalibrationError:
        assume(False)
    assert correction.slope > 0.0
    work = (30.0, 42.0) if quantity == DRY_BULB else (20.0, 90.0)
    farthest = max(abs(w - p.reading) for w in work for p in points)
    bound = MAX_OFFSET[quantity] + farthest * (0.25 if quantity == DRY_BULB else 1.0)
    assert all(abs(correction.of(w) - w) <= bound + 1e-9 for w in work)


@pytest.mark.parametrize(
    ("quantity", "points", "line"),
    [
        (DRY_BULB, [(36.0, 41.5)], "temperature: +5.50 K off, expected at most 5: a probe so far off is broken"),
        (RH, [(50.0, 29.0)], "humidity: -21.00 %RH off, expected at most 20: a probe so far off is broken"),
        (DRY_BULB, [(36.8, 37.0), (37.4, 37.6)], "temperature: points 36.8=37 and 37.4=37.6 are too close together, expected 1 or more apart"),
        (DRY_BULB, [(36.8, 37.0), (37.9, 37.5)], "temperature: points 36.8=37 and 37.9=37.5 are too close together, expected 1 or more apart"),
        (RH, [(73.1, 75.3), (73.2, 75.3)], "humidity: points 73.1=75.3 and 73.2=75.3 are too close together, expected 10 or more apart"),
        (DRY_BULB, [(36.0, 36.0), (38.0, 39.0)], "temperature: points 36=36 and 38=39 give a slope of 1.50, expected 0.8 to 1.25"),
        (DRY_BULB, [(36.0, 38.0), (38.0, 36.0)], "temperature: points 36=38 and 38=36 give a slope of -1.00, expected 0.8 to 1.25"),
        (DRY_BULB, [(98.2, 98.6)], "temperature 98.2, expected -5 to 80 °C"),
        (RH, [(110.0, 104.0)], "humidity 110, expected 0 to 104 %RH"),
        (RH, [(50.0, math.nan)], "humidity nan, expected 0 to 104 %RH"),
        (DRY_BULB, [], "temperature: 0 points, expected one or two"),
        (DRY_BULB, [(30.0, 30.0), (35.0, 35.0), (40.0, 40.0)], "temperature: 3 points, expected one or two"),
    ],
)  # fmt: skip
def test_points_that_make_no_sense(quantity: str, points: list[tuple[float, float]], line: str) -> None:
    """Each is refused with one line: what came, and what was expected."""
    with pytest.raises(CalibrationError) as raised:
        by_points(quantity, [Point(*point) for point in points])
    assert str(raised.value) == line


@pytest.mark.parametrize("k", [5.01, -5.01, math.inf, math.nan])
def test_an_offset_too_far_off(k: float) -> None:
    """An offset beyond the bound, or no number, is refused; the bound itself is not."""
    with pytest.raises(CalibrationError, match=r"temperature: \S+ K off, expected at most 5"):
        by_offset(DRY_BULB, k)
    assert by_offset(DRY_BULB, math.copysign(5.0, k)).offset == math.copysign(5.0, k)


def test_the_least_distance_is_enough() -> None:
    """Points exactly as far apart as is asked for are taken."""
    for quantity in QUANTITIES:
        assert by_points(quantity, [Point(30.0, 30.0), Point(30.0 + MIN_APART[quantity], 30.0 + MIN_APART[quantity])])


def test_a_calibration_that_is_none() -> None:
    """One that corrects nothing, or is due before it was made, is refused."""
    with pytest.raises(CalibrationError, match="nothing to correct, expected a temperature or a humidity"):
        check(offset())
    with pytest.raises(CalibrationError) as raised:
        check(replace(offset(0.3), due=T0))
    assert raised.value.words == ("node-a/top: made ", T0, ", due ", T0, ", expected a later day")
    check(replace(offset(0.3), due=day(1)))


@pytest.mark.parametrize(
    ("at", "months", "due"),
    [
        ("2026-03-01", 12, "2027-03-01"),
        ("2026-01-31", 1, "2026-02-28"),
        ("2028-02-29", 12, "2029-02-28"),
        ("2026-12-15", 1, "2027-01-15"),
        ("2026-11-30", 3, "2027-02-28"),
    ],
)
def test_due_after_months(at: str, months: int, due: str) -> None:
    """Calendar months later, on the last day of a month too short."""
    assert due_after(datetime.fromisoformat(at), months) == datetime.fromisoformat(due)


# --- what holds when


def test_without_a_calibration_nothing_changes() -> None:
    """The values come back as they are."""
    assert corrected((), T0, 37.5, 52.0) == (37.5, 52.0)
    assert corrected((), T0, 37.5, None) == (37.5, None)
    assert corrected((offset(0.3, since=1.0),), T0, 37.5, 104.5) == (37.5, 104.5)


def test_each_quantity_has_its_own() -> None:
    """A later calibration of the humidity alone leaves the temperature's correction in force."""
    known = (offset(0.3), offset(pct=-2.0, at=5, since=5))
    assert corrected(known, day(1), 37.0, 50.0) == pytest.approx((37.3, 50.0))
    assert corrected(known, day(6), 37.0, 50.0) == pytest.approx((37.3, 48.0))
    dry_bulb_c, rh_pct = corrected(known, day(6), 37.0, None)
    assert dry_bulb_c == pytest.approx(37.3)
    assert rh_pct is None


def test_the_newest_since_holds() -> None:
    """Each holds from its `since` until the next begins, to the instant, in whatever order they were added; of equals the newest made."""
    known = [offset(0.1), offset(0.2, at=10, since=10), offset(0.3, at=20, since=5), offset(0.4, at=30, since=10)]
    for order in itertools.permutations(known):
        says = [round(corrected(order, day(d), 0.0, None)[0], 9) for d in (-900, 4.999, 5, 9.999, 10, 99)]
        assert says == [0.1, 0.1, 0.3, 0.3, 0.4, 0.4]


def test_of_two_made_at_once_the_last_added_holds() -> None:
    """A slip that is put right at the same instant is put right."""
    assert corrected((offset(0.1), offset(0.2)), T0, 37.0, None)[0] == pytest.approx(37.2)


def test_a_corrected_humidity_stays_a_humidity() -> None:
    """It never lies outside of what a sensor may say, 0 to 104 %: whoever judges or averages counts over 100 as 100, as always."""
    high, low = (offset(pct=15.0),), (offset(pct=-15.0),)
    assert corrected(high, T0, 37.0, 88.0) == (37.0, 103.0)
    assert corrected(high, T0, 37.0, 95.0) == (37.0, 104.0)
    assert corrected(low, T0, 37.0, 9.0) == (37.0, 0.0)


def test_from_when_the_first_and_the_later_hold() -> None:
    """The first of a quantity holds from the beginning of the record, a later one from when it was made."""
    first = offset(0.3, at=2)
    assert since_by_default(first, ()) is None
    assert since_by_default(offset(0.2, at=9), (first,)) == day(9)
    assert since_by_default(offset(pct=1.0, at=9), (first,)) is None
    assert since_by_default(offset(0.2, 1.0, at=9), (first,)) == day(9)


SINCE = st.none() | st.integers(-5, 5).map(float)
KNOWN = st.lists(
    st.tuples(st.integers(-5, 5), SINCE, st.sampled_from([(0.5, None), (None, 2.0), (0.25, -1.0)])).map(
        lambda row: offset(*row[2], at=row[0], since=row[1])
    ),
    max_size=6,
)


@given(KNOWN, st.integers(-60, 60).map(lambda n: n / 10.0))
def test_by_time_tells_the_same_as_in_force(known: list[Calibration], when: float) -> None:
    """In the order of `by_time` the last that has begun is the one in force; what stands is one for each quantity."""
    for quantity in QUANTITIES:
        begun = [c for c in by_time(known, quantity) if c.since is None or c.since <= day(when)]
        assert in_force(known, quantity, day(when)) is (begun[-1] if begun else None)
    found = standing(known, day(when))
    assert {id(c) for c in found} == {id(c) for q in QUANTITIES if (c := in_force(known, q, day(when))) is not None}


@given(KNOWN, st.integers(-60, 60), st.integers(1, 40))
def test_what_applied_in_a_window(known: list[Calibration], first: int, length: int) -> None:
    """Those that applied in a window are those in force at any of its instants; the steps here lie on whole days."""
    since, until = first / 10.0, (first + length) / 10.0
    instants = [n / 10.0 for n in range(first, first + length)]
    seen = {id(c) for when in instants for c in standing(known, day(when))}
    assert {id(c) for c in applied(known, day(since), day(until))} == seen


def test_overdue() -> None:
    """From its due time on, and never where none was set."""
    assert not overdue(offset(0.3), day(9999))
    assert [overdue(replace(offset(0.3), due=day(10)), day(d)) for d in (9.9, 10.0, 11.0)] == [False, True, True]


@given(st.floats(-20.0, 80.0), st.floats(0.0, 104.0), st.floats(-5.0, 5.0), st.floats(-20.0, 20.0))
def test_an_offset_moves_by_just_that(dry_bulb_c: float, rh_pct: float, k: float, pct: float) -> None:
    """Before and after differ by exactly the offset, but where a humidity would leave its range."""
    dry, humid = corrected((offset(k, pct),), T0, dry_bulb_c, rh_pct)
    assert dry - dry_bulb_c == pytest.approx(k, abs=1e-9)
    assert humid == pytest.approx(min(max(rh_pct + pct, 0.0), 104.0), abs=1e-9)


def test_the_parts_of_a_correction() -> None:
    """A plain offset has no points; a calibration names the quantities it corrects."""
    assert by_offset(RH, 1.5) == Correction(1.0, 1.5, ())
    assert [quantity for quantity, _ in offset(0.3, 1.0).corrections()] == [DRY_BULB, RH]
    assert [quantity for quantity, _ in offset(pct=1.0).corrections()] == [RH]


# Edges: what belongs to a limit, and what is beyond it.


def test_the_numbers_of_a_calibration() -> None:
    """How far off a probe may be, how far apart two points must lie, how steep a line may be, and where a reference can be."""
    assert MAX_OFFSET == {DRY_BULB: 5.0, RH: 20.0}
    assert MIN_APART == {DRY_BULB: 1.0, RH: 10.0}
    assert SLOPES == {DRY_BULB: (0.8, 1.25), RH: (0.5, 2.0)}
    assert RANGE == {DRY_BULB: (-5.0, 80.0), RH: (0.0, 104.0)}
    assert SALT_C == (20.0, 25.0, 30.0, 35.0, 40.0)


@pytest.mark.parametrize(
    ("quantity", "points", "fine"),
    [
        (DRY_BULB, [(-5.0, -5.0)], True),
        (DRY_BULB, [(-5.1, -5.0)], False),
        (DRY_BULB, [(-5.0, -5.1)], False),
        (DRY_BULB, [(80.0, 80.0)], True),
        (DRY_BULB, [(80.0, 80.1)], False),
        (DRY_BULB, [(80.1, 80.0)], False),
        (RH, [(0.0, 0.0)], True),
        (RH, [(104.0, 104.0)], True),
        (RH, [(104.5, 104.0)], False),
        (DRY_BULB, [(30.0, 35.0)], True),
        (DRY_BULB, [(30.0, 35.1)], False),
        (DRY_BULB, [(35.0, 30.0)], True),
        (DRY_BULB, [(35.1, 30.0)], False),
        (RH, [(30.0, 50.0)], True),
        (RH, [(30.0, 50.1)], False),
        (DRY_BULB, [(30.0, 30.0), (31.0, 31.0)], True),
        (DRY_BULB, [(30.0, 30.0), (30.9, 31.0)], False),
        (DRY_BULB, [(30.0, 30.0), (31.0, 30.9)], False),
        (DRY_BULB, [(30.0, 30.0), (31.0, 29.0)], False),  # it falls where the other rises
        (DRY_BULB, [(32.0, 32.0), (36.0, 37.0)], True),  # a slope of 1.25
        (DRY_BULB, [(32.0, 32.0), (36.0, 37.1)], False),
        (DRY_BULB, [(32.0, 32.0), (37.0, 36.0)], True),  # of 0.8
        (DRY_BULB, [(32.0, 32.0), (37.0, 35.9)], False),
        (DRY_BULB, [], False),
        (DRY_BULB, [(30.0, 30.0), (32.0, 32.0), (34.0, 34.0)], False),
    ],
)
def test_which_points_make_a_correction(quantity: str, points: list[tuple[float, float]], fine: bool) -> None:
    """Each limit belongs to what is allowed."""
    made = [Point(*point) for point in points]
    if fine:
        by_points(quantity, made)
    else:
        with pytest.raises(CalibrationError):
            by_points(quantity, made)


@pytest.mark.parametrize(("offset", "fine"), [(5.0, True), (-5.0, True), (5.01, False), (-5.01, False)])
def test_how_far_off_a_probe_may_be(offset: float, fine: bool) -> None:
    """Five kelvin either way."""
    if fine:
        assert by_offset(DRY_BULB, offset) == Correction(1.0, offset)
    else:
        with pytest.raises(CalibrationError):
            by_offset(DRY_BULB, offset)


def test_a_line_goes_through_both_points() -> None:
    """Whichever is given first: 0 reads 0.5 and 10 reads 10.0, so it is 0.95 of the reading, and half a degree."""
    for points in ([Point(0.0, 0.5), Point(10.0, 10.0)], [Point(10.0, 10.0), Point(0.0, 0.5)]):
        made = by_points(DRY_BULB, points)
        assert (made.slope, made.offset) == pytest.approx((0.95, 0.5))
        assert made.points == (Point(0.0, 0.5), Point(10.0, 10.0))
        assert made.of(20.0) == pytest.approx(19.5)


def test_at_the_ends_of_a_salts_table() -> None:
    """20 and 40 °C are in it, potassium carbonate's ends at 30; between 20 and 25 °C it is straight."""
    assert (salt_rh_pct("sodium-chloride", 20.0), salt_rh_pct("sodium-chloride", 40.0)) == (75.48, 74.69)
    assert salt_rh_pct("sodium-chloride", 22.0) == pytest.approx(75.48 - 0.4 * 0.18)
    assert salt_rh_pct("sodium-chloride", 25.0) == pytest.approx(75.30)
    assert salt_rh_pct("potassium-carbonate", 30.0) == 43.18
    for salt, c in (("sodium-chloride", 19.9), ("sodium-chloride", 40.1), ("potassium-carbonate", 30.1)):
        with pytest.raises(CalibrationError):
            salt_rh_pct(salt, c)


# --- taking one back


def taken(*earlier: Calibration, at: float = 9.0) -> Calibration:
    """What takes the place of the last of these."""
    return taken_back("node-a/top", earlier, at=day(at), by="kim")


def test_a_calibration_that_is_taken_back_leaves_what_was_in_force_before() -> None:
    """From when on it held itself, of the quantities that it corrected and no other; nothing before is no correction."""
    first, second = offset(0.5, 2.0, at=1.0), offset(0.7, at=3.0, since=3.0)
    back = taken(first, second)
    assert (back.dry_bulb_c, back.rh_pct) == (first.dry_bulb_c, None)
    assert (back.at, back.since, back.by, back.note) == (day(9.0), day(3.0), "kim", TAKEN_BACK)
    none = taken(first)
    assert (none.dry_bulb_c, none.rh_pct, none.since) == (Correction(1.0, 0.0), Correction(1.0, 0.0), None)
    humid = taken(offset(0.5, at=1.0), offset(None, 3.0, at=3.0))
    assert (humid.dry_bulb_c, humid.rh_pct) == (None, Correction(1.0, 0.0))


def test_what_is_taken_back_is_measured_by_what_held_when_it_began() -> None:
    """Of two before it the one that it took the place of, not one that holds only from later on; and it is never older than what it replaces."""
    early, late, slip = offset(0.1, at=1.0), offset(0.3, at=2.0, since=8.0), offset(0.9, at=6.0, since=5.0)
    assert taken(early, late, slip).dry_bulb_c == early.dry_bulb_c
    assert corrected((early, late, slip, taken(early, late, slip)), day(6.0), 37.0, None)[0] == pytest.approx(37.1)
    assert corrected((early, late, slip, taken(early, late, slip)), day(8.0), 37.0, None)[0] == pytest.approx(37.3)
    assert taken(early, slip, at=5.5).at == slip.at  # under a clock that went back


def test_only_once_and_only_what_there_is_can_be_taken_back() -> None:
    """A probe that was never calibrated has none; a second undo would bring back what the first took away."""
    with pytest.raises(CalibrationError, match="node-a/top: never calibrated, expected a calibration to take back"):
        taken()
    first = offset(0.5, at=1.0)
    with pytest.raises(CalibrationError, match="taken back already"):
        taken(first, taken(first))


# --- as a mapping


def test_a_calibration_for_programs() -> None:
    """Times as RFC 3339 or null, a quantity that was not calibrated is null, and no digit that nobody measured."""
    points = (Point(33.0, 32.812345, "MgCl2"), Point(75.5, 75.1))
    made = Calibration(
        "node-a/top", T0, day(1.0), day(365.0), "sam", "yearly", rh_pct=Correction(0.98765432, -0.12345678, points)
    )
    assert calibration_view(made, "humidity, by two points") == {
        "probe": "node-a/top",
        "at": "2026-03-01T18:00:00.000Z",
        "since": "2026-03-02T18:00:00.000Z",
        "due": "2027-03-01T18:00:00.000Z",
        "by": "sam",
        "note": "yearly",
        "what": "humidity, by two points",
        "dry_bulb_c": None,
        "rh_pct": {
            "slope": 0.987654,
            "offset": -0.123457,
            "points": [
                {"reading": 33.0, "reference": 32.8123, "salt": "MgCl2"},
                {"reading": 75.5, "reference": 75.1, "salt": None},
            ],
        },
    }
    plain = calibration_view(offset(0.5), "temperature")
    assert (plain["since"], plain["due"]) == (None, None)
    assert plain["dry_bulb_c"] == {"slope": 1.0, "offset": 0.5, "points": []}
