"""A history in short: the answer first, each stage with its figures, how often and how far it was off target, and where the rest is."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from monitor.analysis.history.environment import history_of
from monitor.domain.needs.bands import WET_BULB
from monitor.shown.history.brief import REST, brief_text
from monitor.shown.history.report import to_text
from tests.analysis.air import readings, stretch
from tests.shown.history.test_report import CALIBRATIONS, HEADER, ZONE, history


def told(text: str) -> str:
    return " ".join(text.split())


def test_the_answer_comes_first_and_is_that_of_the_whole() -> None:
    """The same words stand before the title of both."""
    short, whole = (form(history(), HEADER, zone=ZONE, unit="C") for form in (brief_text, to_text))
    assert short.startswith("On target: temperature ")
    assert short.partition("\n\n")[0] == whole.partition("\n\n")[0]
    assert told(short).endswith(REST)
    assert "DOSES" not in short
    assert "mean (covered)" not in short


def test_each_stage_and_what_was_off_target() -> None:
    """Ten hot minutes of two hours, then a dry hour: mean, range, share on target, and the stays, as the whole has them.

    2 h with 10 min of gap; over 38 for 590 + 10.9 s, 91.6 % of the time on record.
    """
    text = brief_text(history(), HEADER, zone=ZONE, unit="C")
    assert "INCUBATION in setter-a, 2026-05-28 22:26 to 2026-05-29 00:26\n" in text
    assert "WHOLE" not in text
    words = told(text)
    assert "temperature 37.60 °C on average, 37.50 to 38.60; 91.6 % of the time on record, 90.8 % of that on" in words
    assert "temperature above: once, 10 min from 2026-05-28 22:56, to 38.60 °C at 2026-05-28 22:56" in words
    assert "humidity below: once, 1 h 0 min from 2026-05-29 00:26, to 50.0 %RH at" in words
    assert "; still so at the end" in words
    assert "Gaps in the record: 1, the longest 10 min." in words
    assert "calibration" not in words
    assert "wet bulb" not in words
    corrected = brief_text(replace(history(), calibrations=CALIBRATIONS), HEADER, zone=ZONE, unit="C")
    assert "Corrected by calibrations: 2." in corrected


def test_of_several_stays_the_longest_and_the_farthest() -> None:
    """A long mild one, and a short one that goes farther; in a house of °F in its unit."""
    at = np.arange(0, 7201, 10)
    warm = np.where((at >= 600) & (at < 3600), 38.3, np.where((at >= 5400) & (at < 5700), 39.4, 37.5))
    air = readings(at, warm, 50.0)
    words = told(brief_text(history_of([stretch(air, hours=2.0)]), HEADER, zone=ZONE, unit="F"))
    assert "temperature above: 2 times, the longest 50 min from 2026-05-28 22:36, the farthest 102.92 °F at" in words


def test_humidity_is_told_as_the_profile_gives_it_and_a_stay_by_what_was_beyond() -> None:
    """Of a species of which a wet bulb is wanted its stays are of that; the longest is what was off target the longest, not what took longest."""
    at = np.arange(0, 21_601, 10)
    often = (at < 7200) & (at % 600 < 60)  # two hours of a minute in each ten
    warm = np.where(often | ((at >= 14_400) & (at < 18_000)), 38.3, 37.5)
    life = [stretch(readings(at, warm, 40.0), hours=6.0)]
    words = told(brief_text(replace(history_of(life), given=WET_BULB), HEADER, zone=ZONE, unit="C"))
    assert "temperature above: 2 times, the longest 1 h 0 min from" in words
    assert "wet bulb below: once, 6 h 0 min from" in words
    assert "humidity below" not in words


def test_nothing_on_record_is_not_on_target() -> None:
    """Neither a mean nor a stay is made up."""
    words = told(brief_text(history_of([stretch()]), HEADER, zone=ZONE, unit="C"))
    assert words.startswith("Whether it was on target cannot be said: 0.0 % of the time is on record.")
    assert "temperature: nothing on record" in words
    assert "OFF TARGET" not in words
    calm = history_of([stretch(readings(range(0, 3601, 10), 37.5, 50.0))])
    assert "OFF TARGET: never, in the time that is on record" in told(brief_text(calm, HEADER, zone=ZONE, unit="C"))


def test_of_one_stage_the_whole_is_not_told_again() -> None:
    """In text its figures stand once; they were word for word the same."""
    one = to_text(history_of([stretch(readings(range(0, 3601, 10), 37.5, 50.0))]), HEADER, zone=ZONE, unit="C")
    assert "INCUBATION in setter-a" in one
    assert "WHOLE" not in one
    assert "WHOLE in setter-a, hatcher-b" in to_text(history(), HEADER, zone=ZONE, unit="C")
