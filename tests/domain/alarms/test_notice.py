"""What a notice carries."""

from __future__ import annotations

from dataclasses import MISSING, fields, replace
from datetime import timedelta

import pytest

from monitor.domain.alarms.alarm import NORMAL, RETURNED, STILL_STANDING, SUPPRESSED, UNACKNOWLEDGED, Alarm, Transition
from monitor.domain.alarms.notice import Answered, Facts, Notice, Standing, Task, Today, Told, facts_of
from monitor.domain.needs.bands import DRY_BULB, EGG, RH, WET_BULB, Needs, Occupant
from tests.domain.house import DRY_RH, DRY_WET, T0, WARM

HOT = Alarm(
    "setter-1", "dry-bulb-high-alarm", 12, 1, condition=True, acknowledged=False, since=T0, value=39.6, worst=40.2, limit=39.0,
    about=DRY_BULB,
)  # fmt: skip
NEEDS = Needs("setter-1", (Occupant("hen-1", "hen", 5.9, "setter", None),), WARM, DRY_RH)


def transition(alarm: Alarm, state: str, cause: str = "beyond its limit") -> Transition:
    return Transition(alarm, NORMAL, state, cause, T0 + timedelta(minutes=2), 1.0)


def test_what_stands_is_told_with_all_that_is_known() -> None:
    """Machine, rule, quantity, value, worst, limit, band, since when, and which batches on which whole day."""
    assert facts_of(transition(HOT, UNACKNOWLEDGED), NEEDS) == Facts(
        "setter-1", "dry-bulb-high-alarm", quantity=DRY_BULB, value=39.6, worst=40.2, limit=39.0, band=WARM, since=T0,
        batches=(Told("hen-1", 5, "setter"),),
    )  # fmt: skip


def test_what_stands_is_new_still_over_or_no_longer_judged() -> None:
    """By the transition: a reminder says still; an end is over; what was suppressed says why, and neither of the other two."""
    over = replace(HOT, condition=False, ended=T0)
    quiet = replace(over, suppressed="no eggs in it")

    def said(alarm: Alarm, state: str, cause: str = "") -> tuple[bool, bool, str]:
        facts = facts_of(transition(alarm, state, cause), NEEDS)
        return facts.still, facts.over, facts.unjudged

    assert said(HOT, UNACKNOWLEDGED) == (False, False, "")
    assert said(HOT, UNACKNOWLEDGED, STILL_STANDING) == (True, False, "")
    assert said(over, RETURNED, STILL_STANDING) == (False, True, "")
    assert said(quiet, SUPPRESSED) == (False, False, "no eggs in it")
    assert said(replace(HOT, suppressed="no eggs in it"), SUPPRESSED, STILL_STANDING) == (False, False, "no eggs in it")
    assert said(quiet, RETURNED) == (False, True, "")  # suppressed, and that is not what is told


def test_how_often_it_came_is_told_while_it_stands_and_comes_and_goes() -> None:
    """From the third time on; of what came once or twice, and at its end, no count is told."""
    for times, condition, told in ((1, True, 0), (2, True, 0), (3, True, 3), (3, False, 0)):
        assert facts_of(transition(replace(HOT, times=times, condition=condition), UNACKNOWLEDGED), NEEDS).times == told


@pytest.mark.parametrize(
    ("about", "band"), [(DRY_BULB, WARM), (RH, DRY_RH), (WET_BULB, DRY_WET), (EGG, None), ("3 nodes", None)]
)
def test_a_band_is_that_of_the_quantity(about: str, band: object) -> None:
    """Each quantity has its own band, an estimate none; what is about no quantity keeps what it is about."""
    needs = replace(NEEDS, wet_bulb_c=DRY_WET)
    facts = facts_of(transition(replace(HOT, about=about), UNACKNOWLEDGED), needs)
    assert facts.band == band
    assert (facts.quantity, facts.about) == (("", about) if about == "3 nodes" else (about, ""))


def test_only_of_a_batch_the_machine_is_told_as_its_place() -> None:
    """An alarm of a machine names itself; one of a batch or its egg tells where it is, if it is in one."""
    for subject, place in (("setter-1", ""), ("batch hen-1", "setter-1"), ("batch hen-1 egg 7", "setter-1")):
        assert facts_of(transition(replace(HOT, subject=subject), UNACKNOWLEDGED), NEEDS).place == place
    assert facts_of(transition(replace(HOT, subject="batch hen-1"), UNACKNOWLEDGED), None).place == ""


def test_a_value_is_told_of_air_and_eggs_alone() -> None:
    """Not of what is about something in words, nor of what is no longer judged."""
    assert facts_of(transition(HOT, UNACKNOWLEDGED), NEEDS).tells_value
    for other in ({"value": None}, {"quantity": ""}, {"unjudged": "no eggs in it"}):
        assert not replace(facts_of(transition(HOT, UNACKNOWLEDGED), NEEDS), **other).tells_value


def test_a_notice_is_a_plain_value() -> None:
    """Two notices with the same facts are equal."""
    first = Notice(1, "1/1/sam", "sam", "low", "t", "x", T0, 1)
    assert first == replace(first)
    assert not first.closing
    assert not first.late
    assert first.facts is None


@pytest.mark.parametrize("kind", [Facts, Notice, Answered, Today], ids=lambda kind: kind.__name__)
def test_what_is_not_said_in_a_notice_is_not_so(kind: type) -> None:
    """An older program's notice tells of no doubt, no end and no count that it did not have."""
    for field in fields(kind):
        assert field.default is MISSING or not field.default, f"{kind.__name__}.{field.name}"
    assert not facts_of(transition(HOT, UNACKNOWLEDGED), NEEDS).doubtful


def test_a_day_with_something_to_do_or_to_tell_is_told() -> None:
    """Either is enough; a day with neither is no message."""
    task, standing = Task("lockdown", "hen-1", T0), Standing(7, Facts("setter-1", "humidity-low-warning"))
    assert Today((task,))
    assert Today((), (standing,))
    assert not Today((task,), (standing,)).without([7]).standing
    assert Today((task,), (standing,)).without([7])
    assert not Today((), (standing,)).without([7])
