"""A batch's calendar: what is due when, by the rules of RFC 5545, and as another library reads it."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import icalendar
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.adapters.tables.profiles import load_profiles
from monitor.domain.eggs.dates import TASK
from monitor.domain.needs.batch import Batch, declared
from monitor.domain.needs.profile import Profile
from monitor.shown.calendar import LINE_OCTETS, due_of, to_ics

SET = datetime(2026, 3, 1, 18, 0, tzinfo=UTC)
NOW = datetime(2026, 3, 2, 7, 30, 15, tzinfo=UTC)
PROFILES = load_profiles(None)
HEN = Batch("hen-1", "chicken", SET, 24)


def day(days: float) -> datetime:
    return SET + timedelta(days=days)


def read(text: str) -> dict[str, icalendar.Component]:
    """The events by their UID, as the library reads them."""
    calendar = icalendar.Calendar.from_ical(text)
    return {str(event["UID"]): event for event in calendar.walk("VEVENT")}


def named(name: str) -> Profile:
    return replace(PROFILES["chicken"], name=name)


def test_what_is_due_for_hens() -> None:
    """Weighing at the set, candling and weighing on days 7 and 14, a last weighing before lockdown, that on day 18, the hatch from day 20 to 22, each from the hour of the set."""
    due = due_of(HEN, PROFILES["chicken"])
    assert [(d.key, d.since) for d in due] == [
        ("weigh-set", day(0)), ("candle-1", day(7)), ("candle-2", day(14)),
        ("weigh-lockdown", day(18) - TASK), ("lockdown", day(18)), ("hatch", day(20)),
    ]  # fmt: skip
    assert due[-1].until == day(22)
    assert all(d.until > d.since for d in due)
    assert "Common practice" in due[0].about
    assert "A custom" in due[1].about
    assert due[4].about == "24 eggs of Chicken, day 18."


@pytest.mark.parametrize("species", sorted(PROFILES))
def test_each_species_has_its_days(species: str) -> None:
    """Every shipped profile: its own lockdown and hatch days, candling before lockdown, in order."""
    profile = PROFILES[species]
    due = {d.key: d for d in due_of(replace(HEN, profile=species), profile)}
    assert due["lockdown"].since == day(profile.lockdown_day)
    assert (due["hatch"].since, due["hatch"].until) == (day(profile.hatch_day_first), day(profile.hatch_day_last))
    assert SET < due["candle-1"].since < due["candle-2"].since < due["lockdown"].since


def test_a_declared_lockdown_stands_at_its_own_time() -> None:
    """Declared on day 16.5 it is no longer due on day 18."""
    due = {d.key: d for d in due_of(declared(HEN, "lockdown", day(16.5)), PROFILES["chicken"])}
    assert due["lockdown"].since == day(16.5)
    assert due["lockdown"].summary == "hen-1: lockdown, declared"
    assert "declared on day 16.5" in due["lockdown"].about


def test_a_library_reads_the_same() -> None:
    """The `icalendar` library finds four events without a complaint, with our times in UTC, summaries and descriptions."""
    text = to_ics(HEN, PROFILES["chicken"], site_id="home", now=NOW)
    events = read(text)
    due = due_of(HEN, PROFILES["chicken"])
    assert list(events) == [f"hen-1-{d.key}@home.eggroom.invalid" for d in due]
    for event, wanted in zip(events.values(), due, strict=True):
        assert not event.errors
        assert (event.decoded("DTSTART"), event.decoded("DTEND")) == (wanted.since, wanted.until)
        assert event.decoded("DTSTAMP") == NOW
        assert (str(event["SUMMARY"]), str(event["DESCRIPTION"])) == (wanted.summary, wanted.about)
    calendar = icalendar.Calendar.from_ical(text)
    assert (str(calendar["VERSION"]), not calendar.errors) == ("2.0", True)


def test_read_again_it_replaces_itself() -> None:
    """A lockdown declared later keeps its UID, so the calendar moves the entry and has no second one."""
    before = read(to_ics(HEN, PROFILES["chicken"], site_id="home", now=NOW))
    after = read(
        to_ics(declared(HEN, "lockdown", day(16.5)), PROFILES["chicken"], site_id="home", now=NOW + timedelta(days=16))
    )
    assert set(before) == set(after)
    uid = "hen-1-lockdown@home.eggroom.invalid"
    assert (before[uid].decoded("DTSTART"), after[uid].decoded("DTSTART")) == (day(18), day(16.5))
    assert after[uid].decoded("DTSTAMP") > before[uid].decoded("DTSTAMP")


def rules_of_the_standard(text: str) -> list[str]:
    """The content lines, unfolded; asserts what RFC 5545 asks of the stream (3.1, 3.4, 3.6, 3.6.1)."""
    assert text.endswith("\r\n")
    assert "\n" not in text.replace("\r\n", "")
    assert "\r" not in text.replace("\r\n", "")
    physical = text[:-2].split("\r\n")
    assert all(0 < len(line.encode("utf-8")) <= LINE_OCTETS for line in physical)
    lines = text[:-2].replace("\r\n ", "").split("\r\n")
    assert (lines[0], lines[-1]) == ("BEGIN:VCALENDAR", "END:VCALENDAR")
    assert lines.count("VERSION:2.0") == 1
    assert sum(line.startswith("PRODID:") for line in lines) == 1
    for line in lines:
        name, _, value = line.partition(":")
        assert re.fullmatch(r"[A-Z0-9-]+", name), line
        assert not any(ord(c) < 0x20 or ord(c) == 0x7F for c in value), line
        if name in ("DTSTAMP", "DTSTART", "DTEND"):
            assert re.fullmatch(r"\d{8}T\d{6}Z", value), line
        if name in ("SUMMARY", "DESCRIPTION"):
            assert not re.search(r"(?<!\\)(?:\\\\)*[;,]", value), line
            assert not re.search(r"(?<!\\)(?:\\\\)*\\[^\\;,nN]", value), line
    events = "\n".join(lines).split("BEGIN:VEVENT\n")[1:]
    assert all(event.split("\n").count("END:VEVENT") == 1 for event in events)
    for event in events:
        for name in ("UID:", "DTSTAMP:", "DTSTART:"):
            assert sum(line.startswith(name) for line in event.split("\n")) == 1
    return lines


def test_it_keeps_to_the_standard() -> None:
    """Lines end with CRLF, none is longer than 75 octets, what must be there is there once, times are UTC."""
    lines = rules_of_the_standard(to_ics(HEN, PROFILES["chicken"], site_id="home", now=NOW))
    assert "DTSTART:20260319T180000Z" in lines
    local = NOW.astimezone(timezone(timedelta(hours=5, minutes=30)))
    assert to_ics(HEN, PROFILES["chicken"], site_id="home", now=local) == to_ics(
        HEN, PROFILES["chicken"], site_id="home", now=NOW
    )


@given(st.text(max_size=120).filter(lambda name: "\r" not in name))
def test_any_name_comes_through(name: str) -> None:
    """Whatever a breeder calls a species, with commas, backslashes, line breaks and other scripts: folded by octets, read back whole."""
    text = to_ics(HEN, named(name), site_id="home", now=NOW)
    rules_of_the_standard(text)
    about = "".join(c if c.isprintable() or c == "\n" else " " for c in f"24 eggs of {name}, day 18.")
    assert str(read(text)["hen-1-lockdown@home.eggroom.invalid"]["DESCRIPTION"]) == about


def test_a_file_that_a_calendar_opens(tmp_path: Path) -> None:
    """Written as bytes and read as bytes, as a phone gets it."""
    file = tmp_path / "hen-1.ics"
    file.write_bytes(to_ics(HEN, named("Huhn, 鶏 \\ ; " * 8), site_id="home", now=NOW).encode("utf-8"))
    assert len(icalendar.Calendar.from_ical(file.read_bytes()).walk("VEVENT")) == 6


def test_a_bird_that_goes_by_the_egg_has_no_day_of_lockdown() -> None:
    """Its calendar says that draw-down may begin (HRB-K puts only that at 85 % of the term), until a lockdown is declared."""
    grey, eggs = PROFILES["african-grey"], Batch("grey-1", "african-grey", SET, 4)
    due = {d.key: d for d in due_of(eggs, grey)}["lockdown"]
    assert (due.since, due.summary) == (day(grey.lockdown_day), "grey-1: draw-down may begin, candle")
    assert due.about.endswith("Lockdown begins when internal pip is seen, not by the day.")
    begun = declared(eggs, "lockdown", day(25.5))
    due = {d.key: d for d in due_of(begun, grey)}["lockdown"]
    assert (due.since, due.summary) == (day(25.5), "grey-1: lockdown, declared")


def test_days_in_store_shift_the_hatch() -> None:
    """By their hours, and the entry says so; without any it is as it was."""
    due = {d.key: d for d in due_of(HEN, PROFILES["chicken"], (2.0, 10.0))}["hatch"]
    assert (due.since, due.until) == (day(20) + timedelta(hours=2), day(22) + timedelta(hours=10))
    assert due.about.endswith("Days in store make it up to 10 h later (common practice).")
    text = to_ics(HEN, PROFILES["chicken"], site_id="home", now=NOW, store_h=(2.0, 10.0))
    assert f"DTEND:{day(22) + timedelta(hours=10):%Y%m%dT%H%M%SZ}" in text
