"""The request `calibrate`: what is kept, what it answers, what follows for the readings; each wrong one's line, and that nothing changes."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from monitor.domain.alarms.alarm import NORMAL, RETURNED, UNACKNOWLEDGED
from monitor.domain.needs.bands import DRY_BULB, RH
from monitor.domain.needs.rules import DISAGREE
from monitor.domain.readings.agreement import Pairs
from monitor.domain.readings.calibration import SALTS, Calibration, Point, by_offset, by_points, by_salts
from monitor.domain.signs.heading import Window
from monitor.domain.signs.opening import Watch
from monitor.domain.state.record import Group
from monitor.domain.state.remembering import remember
from tests.asking import perform
from tests.domain.house import T0, Story, batch, probes, site, there
from tests.service.watch.test_commands import ask, refused
from tests.told import event_words

PROBE = "node-a/top"


def stamp(seconds: float) -> str:
    """So many seconds after the story's beginning, on the wire."""
    return (T0 + timedelta(seconds=seconds)).isoformat()


def house() -> Story:
    """A house an hour along."""
    story = Story()
    story.at_s = 3_600.0
    return story


def test_the_first_holds_from_the_beginning() -> None:
    """It is kept in the state and for the record, noted as an event, and its answer says what changes from now on."""
    story = house()
    out = Group()
    answer = perform(story.state, story.site, {"do": "calibrate", "probe": PROBE, "dry_bulb_c": {"offset": 0.3}, "by": "Ada", "note": "bath"}, story.now(), out)  # fmt: skip
    kept = Calibration(PROBE, story.now().utc, None, None, "Ada", "bath", by_offset(DRY_BULB, 0.3))
    assert story.state.probe(PROBE).calibrations == (kept,)
    assert out.calibrations == [kept]
    assert [(e.kind, e.subject, event_words(e)) for e in out.events] == [
        ("calibration", PROBE, "temperature +0.30 K by Ada")
    ]
    assert (answer["since"], answer["in_force"], answer["what"]) == (None, True, "temperature +0.30 K")
    assert answer["changes"] == [{"quantity": "dry_bulb_c", "reading": None, "by": 0.3}]
    assert json.loads(json.dumps(answer)) == answer


def test_a_later_one_holds_from_when_it_was_made() -> None:
    """The second of a quantity leaves the record before it alone; its answer tells the change against the first."""
    story = house()
    ask(story, "calibrate", probe=PROBE, dry_bulb_c={"offset": 0.3}, at=stamp(60))
    answer = ask(story, "calibrate", probe=PROBE, dry_bulb_c={"offset": 0.2}, at=stamp(1800))
    assert answer["changes"] == [{"quantity": "dry_bulb_c", "reading": None, "by": -0.1}]
    first, second = story.state.probe(PROBE).calibrations
    assert (first.since, second.since) == (None, T0 + timedelta(seconds=1800))
    humid = ask(story, "calibrate", probe=PROBE, rh_pct={"offset": 1.5})
    assert humid["since"] is None  # the first of the humidity
    assert humid["changes"] == [{"quantity": "rh_pct", "reading": None, "by": 1.5}]


@pytest.mark.parametrize(("since", "kept"), [("start", None), (stamp(600), T0 + timedelta(seconds=600))])
def test_a_person_may_say_from_when_it_holds(since: str, kept: Any) -> None:
    """The beginning, or a time; whatever was there before."""
    story = house()
    ask(story, "calibrate", probe=PROBE, dry_bulb_c={"offset": 0.3}, since=stamp(30))
    ask(story, "calibrate", probe=PROBE, dry_bulb_c={"offset": 0.2}, since=since)
    assert [c.since for c in story.state.probe(PROBE).calibrations] == [T0 + timedelta(seconds=30), kept]


def test_one_that_a_later_one_covers_changes_nothing_now() -> None:
    """For the record before another's `since`: the answer says that it is not in force, and that nothing changes now."""
    story = house()
    ask(story, "calibrate", probe=PROBE, dry_bulb_c={"offset": 0.3}, since=stamp(30))
    answer = ask(story, "calibrate", probe=PROBE, dry_bulb_c={"offset": 0.2}, since="start")
    assert (answer["in_force"], answer["changes"]) == (False, [{"quantity": "dry_bulb_c", "reading": None, "by": 0.0}])


def test_lines_tell_their_change_at_their_points() -> None:
    """Two points are a line; the change is told at each of them, and where an offset takes a line's place, at the usual air."""
    story = house()
    answer = ask(story, "calibrate", probe=PROBE, dry_bulb_c={"points": [[30, 30.5], [40.0, 40.1]]})
    assert answer["changes"] == [
        {"quantity": "dry_bulb_c", "reading": 30.0, "by": 0.5},
        {"quantity": "dry_bulb_c", "reading": 40.0, "by": 0.1},
    ]
    assert story.state.probe(PROBE).calibrations[0].dry_bulb_c == by_points(
        DRY_BULB, [Point(30, 30.5), Point(40, 40.1)]
    )
    answer = ask(story, "calibrate", probe=PROBE, dry_bulb_c={"offset": 0.0})
    assert answer["changes"] == [{"quantity": "dry_bulb_c", "reading": 37.5, "by": -0.2}]


def test_salts() -> None:
    """Humidity over one or two salts at the jar's temperature; due and times are kept to the millisecond, as the record keeps them."""
    story = house()
    salts = {"salts": [["sodium-chloride", 73.1], ["magnesium-chloride", 34]], "temperature_c": 25}
    ask(story, "calibrate", probe=PROBE, rh_pct=salts, at="2026-03-06T09:00:00.123456Z", due="2027-03-06T00:00:00Z")
    (kept,) = story.state.probe(PROBE).calibrations
    assert kept.rh_pct == by_salts([("sodium-chloride", 73.1), ("magnesium-chloride", 34.0)], 25.0)
    assert kept.at.microsecond == 123_000
    assert kept.due is not None
    assert kept.due.isoformat() == "2027-03-06T00:00:00+00:00"


def test_what_was_learnt_of_the_probe_begins_anew() -> None:
    """A step of its readings that is ours must not look like air that moves, nor like a probe that drifts."""
    story = house()
    watch, windows = Watch(learnt_s=600.0), (Window(((1.0, 37.5),)), Window(((1.0, 37.5),)))

    def learn() -> None:
        lately = {PROBE: (1.0, 37.5, None), "node-q/other": (1.0, 37.5, None)}
        story.state.machine("setter-1").pairs = Pairs({}, lately)
        story.state.machine("setter-1").watch, story.state.machine("setter-1").windows = watch, windows

    learn()
    out = Group()
    perform(
        story.state, story.site, {"do": "calibrate", "probe": PROBE, "dry_bulb_c": {"offset": 0.3}}, story.now(), out
    )
    assert out.memory == remember(story.look())  # so that the next run begins anew, too
    assert list(there(story.state.machine("setter-1").pairs).lately) == ["node-q/other"]
    assert story.state.machine("setter-1").watch is None
    assert story.state.machine("setter-1").windows is None
    learn()
    long_ago = stamp(-7200)
    ask(
        story, "calibrate", probe=PROBE, dry_bulb_c={"offset": 0.3}, at=long_ago
    )  # which changes nothing, and says nothing of now
    assert list(there(story.state.machine("setter-1").pairs).lately) == [PROBE, "node-q/other"]
    assert (story.state.machine("setter-1").watch, story.state.machine("setter-1").windows) == (watch, windows)
    ask(story, "calibrate", probe=PROBE, dry_bulb_c={"offset": 0.3})
    assert list(there(story.state.machine("setter-1").pairs).lately) == ["node-q/other"]
    assert (story.state.machine("setter-1").watch, story.state.machine("setter-1").windows) == (watch, windows)


def test_a_probe_that_was_hung_elsewhere_is_found_right() -> None:
    """Its difference from the other is another from then on, which is asked about as a fan's; held against a reference and found right, that is
    over, and what it differs by now is the usual: what comes later is told from there."""
    keys = (PROBE, "node-b/low")
    story = Story(site=site(probes(*((key, "setter-1") for key in keys))), batches=(batch(),))

    def hang(low_c: float, hours: float) -> str:
        story.air = {PROBE: (37.5, 52.0), keys[1]: (low_c, 52.0)}
        story.run(minutes=hours * 60.0)
        return story.state_of(DISAGREE)

    assert hang(37.4, 2.0) == NORMAL
    assert hang(37.1, 1.0) == UNACKNOWLEDGED
    ask(story, "calibrate", probe=keys[1], dry_bulb_c={"offset": 0.0})
    assert hang(37.1, 2.0) == RETURNED
    assert hang(36.8, 1.0) == UNACKNOWLEDGED


def test_readings_are_judged_corrected() -> None:
    """A probe that reads half a degree low is judged by the truth from its next reading on."""
    story = Story(air={PROBE: (37.5, 52.0)})
    story.run(minutes=2)
    assert there(story.state.probe(PROBE).heard).dry_bulb_c == pytest.approx(37.5, abs=0.02)
    ask(story, "calibrate", probe=PROBE, dry_bulb_c={"offset": 0.5}, rh_pct={"offset": -2.0})
    story.run(minutes=2)
    heard = there(story.state.probe(PROBE).heard)
    assert (heard.dry_bulb_c, heard.rh_pct) == pytest.approx((38.0, 50.0), abs=0.1)


FIRST = {"dry_bulb_c": {"offset": 0.3}}


@pytest.mark.parametrize(
    ("request_", "line"),
    [
        ({"probe": "node-z/top", **FIRST}, "probe 'node-z/top': no such probe, nearest node-a/top, expected one of: "),
        ({"probe": PROBE}, f"{PROBE}: nothing to correct, expected a temperature or a humidity"),
        ({"probe": PROBE, "dry_bulb_c": {"offset": 6}}, "temperature: +6.00 K off, expected at most 5"),
        ({"probe": PROBE, "dry_bulb_c": {"offset": "0.3"}}, "dry_bulb_c: offset: '0.3', expected a number"),
        ({"probe": PROBE, "dry_bulb_c": {"offset": True}}, "dry_bulb_c: offset: True, expected a number"),
        ({"probe": PROBE, "dry_bulb_c": {"offset": float("nan")}}, "dry_bulb_c: offset: nan, expected a number"),
        ({"probe": PROBE, "dry_bulb_c": {"offset": 0.1, "points": []}}, "dry_bulb_c: {'offset': 0.1, 'points': []}, expected an offset or points"),
        ({"probe": PROBE, "dry_bulb_c": {"salts": [], "temperature_c": 25}}, "dry_bulb_c: {'salts': [], 'temperature_c': 25}, expected an offset or points"),
        ({"probe": PROBE, "dry_bulb_c": 0.3}, "dry_bulb_c: 0.3, expected an offset or points"),
        ({"probe": PROBE, "dry_bulb_c": {"points": "36"}}, "dry_bulb_c: points: '36', expected pairs of reading and reference"),
        ({"probe": PROBE, "dry_bulb_c": {"points": [[36.0]]}}, "dry_bulb_c: points: [[36.0]], expected pairs of reading and reference"),
        ({"probe": PROBE, "rh_pct": {"salts": [["sugar", 70]], "temperature_c": 25}}, f"salt 'sugar': not in the table, expected one of: {', '.join(SALTS)}"),
        ({"probe": PROBE, "rh_pct": {"salts": [["sodium-chloride", 70]], "temperature_c": 5}}, "sodium-chloride: 5 °C, expected 20 to 40 °C"),
        ({"probe": PROBE, **FIRST, "at": stamp(4000)}, "at: 2026-03-10T09:06:40Z is in the future, expected now or before"),
        ({"probe": PROBE, **FIRST, "since": stamp(4000)}, "since: 2026-03-10T09:06:40Z is in the future, expected now or before"),
        ({"probe": PROBE, **FIRST, "since": "yesterday"}, "since: 'yesterday', expected a time such as"),
        ({"probe": PROBE, **FIRST, "due": stamp(3600)}, "expected a later day"),
        ({"probe": PROBE, **FIRST, "by": 7}, "by: 7, expected a text"),
    ],
)  # fmt: skip
def test_each_wrong_request_has_its_line(request_: dict[str, Any], line: str) -> None:
    """One line says what came and what was expected; nothing is kept and nothing written."""
    story = house()
    assert line in refused(story, "calibrate", **request_)


def test_a_clock_that_is_not_set_is_named() -> None:
    """A time in the future of a clock that is wrong says so: it is the clock that is to be put right."""
    story = house()
    now = replace(story.now(), clock_ok=False)
    with pytest.raises(ValueError, match=r"is in the future, .* \(the clock here is not set, it says "):
        perform(story.state, story.site, {"do": "calibrate", "probe": PROBE, **FIRST, "at": stamp(9999)}, now, Group())


def test_quantities_are_named_as_everywhere() -> None:
    """The request's keys are the quantities' own names."""
    assert (DRY_BULB, RH) == ("dry_bulb_c", "rh_pct")
