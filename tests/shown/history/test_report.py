"""The page of text: what a breeder reads, in the site's zone and unit, at most 80 columns wide."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from monitor.analysis.history.environment import BatchHistory, history_of
from monitor.analysis.history.felt_figures import felt_of
from monitor.domain.needs.bands import DRY_BULB, RH, WET_BULB
from monitor.domain.needs.profile import Band
from monitor.domain.readings.calibration import Calibration, by_offset, by_salts
from monitor.domain.wall import WIDTH
from monitor.shown.form import duration
from monitor.shown.history.files import to_csv, to_json
from monitor.shown.history.report import LISTED, Header, to_html, to_text
from tests.analysis.air import HOUR, T0, readings, stretch
from tests.analysis.lived import MODELS, TERM_DAYS

ZONE = timezone(timedelta(hours=2), "north")
DAMP = Band(low_warning=65.0)
HEADER = Header("hen-1", "fowl", 24, datetime(2026, 5, 1, 6, 0, tzinfo=UTC))


def history() -> BatchHistory:
    """Two hours in the setter with ten hot minutes and ten minutes' gap, then one in the hatcher, too dry.

    From 37.5 to 38.6 in 10 s, 590 s there, and back: over 38 for 590 + 2·10·0.6/1.1 s, an area of 0.6·(590 + 10·0.6/1.1) K·s.
    """
    at = np.array([*range(0, 3001, 10), *range(3600, 10801, 10)])
    warm = np.where((at >= 1800) & (at < 2400), 38.6, 37.5)
    air = readings(at, warm, 50.0, np.where(at == 100, 4, 1))
    return history_of(
        [
            stretch(air, hours=2.0, wet_bulb_c=None),
            stretch(air, since_s=7200, machine="hatcher-b", stage="lockdown", rh_pct=DAMP, wet_bulb_c=None),
        ]
    )


def text(unit: str = "C") -> str:
    """The history in the made-up zone."""
    return to_text(history(), HEADER, zone=ZONE, unit=unit)


def row(block: str, label: str) -> list[str]:
    """The three cells of the first row with this label in a block."""
    line = next(line for line in block.splitlines() if line[:14].strip() == label)
    return [line[14:36].strip(), line[36:58].strip(), line[58:].strip()]


def blocks(shown: str) -> dict[str, str]:
    """The blocks of the page by their first word."""
    return {block.split()[0].rstrip(":"): block for block in shown.split("\n\n")}


def test_no_line_is_wider_than_80_columns() -> None:
    """Whatever the names, the zone and the unit."""
    long = Header("b" * 32, "p" * 32, None, HEADER.set_at)
    wide = history_of([stretch(readings(range(0, 3601, 10), 39.0, 20.0), machine="m" * 32, stage="lockdown")])
    for shown in (text("C"), text("F"), to_text(wide, long, zone=ZoneInfo("CET"), unit="F")):
        assert max(len(line) for line in shown.splitlines()) <= WIDTH


def test_the_heading_says_which_batch_and_what_the_words_mean() -> None:
    """Batch, profile, eggs and set time; that times are local, and that the limits are the warning ones."""
    head = " ".join(text().split("INCUBATION")[0].split())
    assert "Environment history of batch hen-1" in head
    assert "profile fowl, 24 eggs, set 2026-05-01 08:00" in head
    assert "Times are local (north)" in head
    assert "warning limits of the target" in head
    assert "eggs not recorded" in to_text(history(), replace(HEADER, eggs=None), zone=ZONE, unit="C")


def test_the_answer_comes_first() -> None:
    """Before any table: how much of the time it was on target, and of how much that can be said."""
    answer = " ".join(blocks(text())["On"].split())
    assert re.match(
        r"On target: temperature \d+\.\d %, humidity \d+\.\d % of the time; \d+\.\d % of it is on record\.", answer
    )


def test_what_was_on_record_of_each_is_told_where_it_is_not_the_same() -> None:
    """A humidity of three quarters of the time is no share of all of it."""
    at = range(0, 7201, 10)
    air = readings(at, 37.5, np.where(np.arange(0, 7201, 10) < 5400, 55.0, np.nan))
    answer = " ".join(
        to_text(history_of([stretch(air, hours=2.0)]), HEADER, zone=ZONE, unit="C").split("Times are")[0].split()
    )
    assert "temperature 100.0 % of the time (100.0 % on record)" in answer
    assert re.search(r"humidity \d+\.\d % of the time \(7[45]\.\d % on record\)", answer)


def test_of_too_little_on_record_it_is_not_said_whether_it_was_on_target() -> None:
    """58 minutes of two hours say nothing of the rest, nor that it was never too warm, but what they were themselves; 62 say it."""
    for minutes, said in ((58, "cannot be said: of temperature 4"), (62, "100.0 %")):
        life = [stretch(readings(range(0, 60 * minutes + 1, 10), 37.5, 50.0), hours=2.0, wet_bulb_c=None)]
        few = replace(history_of(life), felt=felt_of(life, MODELS, set_ms=T0, term_days=TERM_DAYS))
        answer = " ".join(to_text(few, HEADER, zone=ZONE, unit="C").split("Times are local")[0].split())
        assert said in answer
        assert minutes > 60 or "of that on target; of humidity 4" in answer
        assert ("On target" in answer) == ("Never beyond" in answer) == (minutes > 60), answer


@pytest.mark.parametrize(("unit", "span"), [("C", "51.00 to 60.00 °C"), ("F", "123.80 to 140.00 °F")])
def test_what_is_doubtful_is_told_in_the_answer_and_beside_the_figures(unit: str, span: str) -> None:
    """How long, how far, by which test; in the text, the JSON, the table, and on the page. Where nothing is doubtful no word of it."""
    at = np.arange(0, 7201, 10)
    dry = np.where((at >= 600) & (at < 1200), 51.0 + 9.0 * (at - 600) / 590.0, 37.5)
    found = history_of([stretch(readings(at, dry, 50.0, flag=np.where(dry > 50.0, 3, 1), rh_flag=1), hours=2.0)])
    shown = " ".join(to_text(found, HEADER, zone=ZONE, unit=unit).split())
    said = f"f the temperature 10 min are doubtful, {span} (beyond what a machine can be), and counted as they came"
    assert shown.index(said) < shown.index("INCUBATION")
    assert shown.count(said) == 2  # the answer, and the one stage, which is the whole
    assert "of the humidity" not in shown
    assert "doubtful" not in text()
    whole = to_json(found, HEADER)["whole"]
    assert isinstance(whole, dict)
    hours = pytest.approx(1 / 6, rel=1e-5)
    assert whole["dry_bulb_c"]["doubtful"] == {"hours": hours, "by": {"range": hours}, "low": 51.0, "high": 60.0}
    assert "doubtful" not in whole["rh_pct"]
    rows = [line.split(",") for line in to_csv(found, HEADER).splitlines() if line.startswith("doubtful")]
    assert len(rows) == 4  # temperature and wet bulb, of the stage and the whole
    assert said in " ".join(to_html(found, (), HEADER, zone=ZONE, unit=unit).split())


def test_each_stage_is_a_block_and_the_whole_comes_after() -> None:
    """In the order in which the eggs lived them, with machine and local times."""
    shown = text()
    assert list(blocks(shown)) == [
        "On",
        "Environment",
        "Times",
        "INCUBATION",
        "LOCKDOWN",
        "WHOLE",
        "TEMPERATURE",
        "HUMIDITY",
        "GAPS",
        "CALIBRATIONS",
    ]
    # T0 is 2026-05-28 20:26:40 UTC.
    assert blocks(shown)["INCUBATION"].splitlines()[:2] == [
        "INCUBATION in setter-a",
        "2026-05-28 22:26 to 2026-05-29 00:26, 0.1 days",
    ]
    assert "WHOLE in setter-a, hatcher-b" in shown


def test_coverage_stands_beside_every_mean() -> None:
    """Ten minutes' gap in two hours: 91.6 %, rounded down; only what is whole is called 100 %."""
    found = blocks(text())
    assert row(found["INCUBATION"], "mean (covered)")[1] == "50.0 (91.6 %)"
    assert all(cell.endswith(" (91.6 %)") for cell in row(found["INCUBATION"], "mean (covered)"))
    assert row(found["LOCKDOWN"], "mean (covered)")[0] == "37.50 (100.0 %)"
    nothing = history_of([stretch()])
    assert (
        row(blocks(to_text(nothing, HEADER, zone=ZONE, unit="C"))["INCUBATION"], "mean (covered)") == ["- (0.0 %)"] * 3
    )


def test_figures_are_those_of_the_history() -> None:
    """Band, hours and areas, gaps and flagged readings, each in its column; what is not judged says so."""
    found = blocks(text())["INCUBATION"]
    assert row(found, "") == ["temperature °C", "humidity %RH", "wet bulb °C"]
    assert row(found, "target") == ["37.00 to 38.00", "45.0 to 55.0", "not judged"]
    assert row(found, "above") == ["0.2 h", "0.0 h", "-"]
    assert row(found, "area") == ["0.10 K·h", "0.00 %RH·h", "-"]
    assert row(found, "gaps") == ["1", "1", "1"]
    assert row(found, "longest gap") == ["10 min"] * 3
    assert row(found, "from") == ["2026-05-28 23:16"] * 3
    assert row(found, "left out") == ["1 flagged"] * 3
    assert row(found, "not judged") == ["0.0 h", "0.0 h", "1.8 h"]
    assert row(blocks(text())["LOCKDOWN"], "target")[1] == "over 65.0"


def test_a_band_that_changes_is_listed_below_the_table() -> None:
    """In the whole, humidity has two bands; each is told with the time from which it stood."""
    found = blocks(text())["WHOLE"]
    assert row(found, "target")[1] == "changes, see below"
    assert found.splitlines()[-2:] == [
        "humidity from 2026-05-28 22:26: 45.0 to 55.0",
        "humidity from 2026-05-29 00:26: over 65.0",
    ]


def test_fahrenheit_shifts_values_and_only_stretches_differences() -> None:
    """37.5 °C is 99.5 °F, a limit of 38 °C is 100.4 °F, and 0.099 K·h is 0.179 °F·h, without the 32."""
    found = blocks(text("F"))
    assert row(found["LOCKDOWN"], "mean (covered)")[0] == "99.50 (100.0 %)"
    assert row(found["INCUBATION"], "target")[0] == "98.60 to 100.40"
    assert row(found["INCUBATION"], "area")[:2] == ["0.18 °F·h", "0.00 %RH·h"]
    in_k = float(row(blocks(text("C"))["INCUBATION"], "spread (sd)")[0])
    assert float(row(found["INCUBATION"], "spread (sd)")[0]) == pytest.approx(1.8 * in_k, abs=0.015)
    assert row(found["INCUBATION"], "mean (covered)")[1] == "50.0 (91.6 %)"
    assert "peak 101.48 at" in found["TEMPERATURE"]
    with pytest.raises(ValueError, match="unit 'K', expected C or F"):
        text("K")


def test_what_was_off_target_comes_by_its_area_with_day_and_local_times() -> None:
    """Of each quantity its own: the ten hot minutes, and the dry hour; each with its day, place, limit, peak and area, and its caveats."""
    found = to_text(history(), HEADER, zone=ZONE, unit="C").splitlines()
    begin = found.index("TEMPERATURE OFF TARGET: 1, the largest first")
    assert found[begin : begin + 9] == [
        "TEMPERATURE OFF TARGET: 1, the largest first",
        "day 27.6: above 38.00 °C, area 0.10 K·h, 10 min",
        "  2026-05-28 22:56 to 2026-05-28 23:06, incubation in setter-a",
        "  peak 38.60 at 2026-05-28 22:56",
        "",
        "HUMIDITY OFF TARGET: 1, the largest first",
        "day 27.6: below 65.0 %RH, area 15.00 %RH·h, 1 h 0 min",
        "  2026-05-29 00:26 to 2026-05-29 01:26, lockdown in hatcher-b",
        "  peak 50.0 at 2026-05-29 00:26, still outside at the end",
    ]


def test_of_humidity_and_wet_bulb_the_one_is_told_that_the_profile_gives() -> None:
    """The other is worked out from it, and would say the same again."""
    life = history_of(
        [stretch(readings(range(0, 3601, 10), 37.5, 20.0), rh_pct=DAMP, wet_bulb_c=Band(low_warning=30.0))]
    )
    for given, told, untold in ((RH, "HUMIDITY", "WET BULB"), (WET_BULB, "WET BULB", "HUMIDITY")):
        shown = to_text(replace(life, given=given), HEADER, zone=ZONE, unit="C")
        assert f"\n{told} OFF TARGET: 1" in shown
        assert f"{untold} OFF TARGET" not in shown


def test_crossings_of_a_swing_are_one_stay() -> None:
    """Forty crossings two minutes apart, ten minutes of calm and one more: two stays, with how much of each was beyond, and how often."""
    at = np.arange(0, 7201, 10)
    warm = np.where((at < 4800) & (at % 120 < 60), 38.5, 37.5)
    warm[(at >= 5600) & (at < 5700)] = 38.3
    found = to_text(history_of([stretch(readings(at, warm), hours=2.0)]), HEADER, zone=ZONE, unit="C").splitlines()
    begin = found.index("TEMPERATURE OFF TARGET: 2, the largest first")
    assert found[begin + 1].endswith("1 h 19 min, 40 times")
    assert re.match(
        r"day 27\.6: above 38\.00 °C, area \d\.\d\d K·h, 40 min of 1 h 19 min, 40 times$", found[begin + 1]
    ), found[begin + 1]
    assert found[begin + 4].endswith(", 2 min")
    assert row("\n".join(found), "excursions")[0] == "2"


def test_caveats_are_told() -> None:
    """Outside when the record starts, cut by a gap, and never seen to come back."""
    air = readings([*range(0, 1801, 10), *range(2400, 3601, 10)], 39.0)
    shown = " ".join(to_text(history_of([stretch(air)]), HEADER, zone=ZONE, unit="C").split())
    assert "peak 39.00 at 2026-05-28 22:26, outside from the start, cut by a gap" in shown
    assert "peak 39.00 at 2026-05-28 23:06, cut by a gap, still outside at the end" in shown


def test_many_stays_and_gaps_end_in_a_count() -> None:
    """The largest are listed, the rest are counted with the area of the largest among them."""
    at, dry_bulb, start = [], [], 0
    for length in range(30, 0, -1):
        at += [start, start + 10 * length]
        dry_bulb += [39.0, 39.0]
        start += 1000
    air = readings(at, dry_bulb)
    found = to_text(history_of([stretch(air, hours=9.0, max_gap_s=300.0)]), HEADER, zone=ZONE, unit="C")
    assert "\nTEMPERATURE OFF TARGET: 30, the largest first\n" in found
    assert f"\nand {30 - LISTED} more, none of more than 0.03 K·h\n" in found
    assert len(blocks(found)["GAPS"].splitlines()) == 1 + LISTED + 1


def test_gaps_are_shown_with_what_was_missing() -> None:
    """One line for a time that several quantities miss together, another where only humidity is missing."""
    at = np.arange(0, 3601, 10)
    air = readings(at, 37.5, np.where((at > 600) & (at < 900), np.nan, 50.0), np.where((at > 1800) & (at < 2400), 9, 1))
    assert blocks(to_text(history_of([stretch(air)]), HEADER, zone=ZONE, unit="C"))["GAPS"].splitlines() == [
        "GAPS: 2, longest first",
        "10 min: 2026-05-28 22:56 to 2026-05-28 23:06, temperature, humidity, wet bulb",
        "5 min: 2026-05-28 22:36 to 2026-05-28 22:41, humidity, wet bulb",
    ]


def test_a_calm_record_says_none() -> None:
    """No excursions and no gaps are told in so many words."""
    shown = to_text(history_of([stretch(readings(range(0, 3601, 10), 37.5, 50.0))]), HEADER, zone=ZONE, unit="C")
    assert "TEMPERATURE OFF TARGET: none" in shown
    assert shown.endswith("GAPS: none\n\nCALIBRATIONS: none, readings are as the probes sent them\n")


CALIBRATIONS = (
    Calibration("node-a/top", datetime(2026, 5, 1, 5, 0, tzinfo=UTC), dry_bulb_c=by_offset(DRY_BULB, 0.3)),
    Calibration(
        "node-a/top",
        datetime(2026, 5, 20, 5, 0, tzinfo=UTC),
        datetime(2026, 5, 20, 5, 0, tzinfo=UTC),
        datetime(2027, 5, 20, 5, 0, tzinfo=UTC),
        "Ada",
        rh_pct=by_salts([("sodium-chloride", 73.1), ("magnesium-chloride", 34.0)], 25.0),
    ),
)


def test_the_calibrations_that_corrected_it_are_told() -> None:
    """Each with what it corrects, when it was made and by whom, from when on it holds, and when it is due again."""
    told = " ".join(
        blocks(to_text(replace(history(), calibrations=CALIBRATIONS), HEADER, zone=ZONE, unit="C"))[
            "CALIBRATIONS"
        ].split()
    )
    assert told == (
        "CALIBRATIONS: 2 node-a/top: temperature +0.30 K made 2026-05-01 07:00, holds from the beginning of the record "
        "node-a/top: humidity 34.0 is 32.8 %RH (magnesium-chloride), 73.1 is 75.3 %RH (sodium-chloride) "
        "made 2026-05-20 07:00 by Ada, holds from 2026-05-20 07:00, due again 2027-05-20 07:00"
    )
    shown = to_text(replace(history(), calibrations=CALIBRATIONS), HEADER, zone=ZONE, unit="F")
    assert "node-a/top: temperature +0.54 °F" in shown
    assert max(len(line) for line in shown.splitlines()) <= WIDTH


def test_the_hour_that_summer_time_brings_twice_is_told_apart() -> None:
    """On 25 October 2026 in Central Europe 02:30 comes twice: both carry their offset, 01:30 does not."""
    first = datetime(2026, 10, 25, 0, 30, tzinfo=UTC)
    shown = [
        to_text(history(), replace(HEADER, set_at=first + timedelta(hours=hours)), zone=ZoneInfo("CET"), unit="C")
        for hours in (-1, 0, 1, 2)
    ]
    assert [text.partition(", set ")[2].splitlines()[0] for text in shown] == [
        "2026-10-25 01:30",
        "2026-10-25 02:30+0200",
        "2026-10-25 02:30+0100",
        "2026-10-25 03:30",
    ]


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (0.4, "0 s"),
        (59.4, "59 s"),
        (59.6, "1 min"),
        (3569.0, "59 min"),
        (3590.0, "1 h 0 min"),
        (4320.0, "1 h 12 min"),
        (172_800.0, "2 d 0 h"),
        (273_600.0, "3 d 4 h"),
    ],
)
def test_a_duration_is_told_as_people_say_it(seconds: float, words: str) -> None:
    """Never 60 s, 60 min or 24 h where the next unit is meant."""
    assert duration(seconds) == words


def test_times_shown_are_those_of_the_record() -> None:
    """The made-up zone is two hours ahead of UTC; T0 is where these tests begin."""
    assert datetime.fromtimestamp(T0 / 1000, UTC) == datetime(2026, 5, 28, 20, 26, 40, tzinfo=UTC)
    assert HOUR == 3_600_000
