"""The facts of a notice in a row, and back."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.adapters.store.connection import open_writer
from monitor.adapters.store.facts import facts_of_text, facts_text
from monitor.adapters.store.ledger import SqliteLedger
from monitor.domain.alarms.notice import Facts, Told
from monitor.domain.needs.profile import Band
from monitor.domain.readings.reading import from_ms
from monitor.domain.state.record import Group
from tests.told import WORDS, about

T0 = datetime(2026, 3, 1, 6, 0, tzinfo=UTC)
WHOLE = Facts(
    "batch hen-1 egg 7", "dry-bulb-low-alarm", still=True, over=True, unjudged="no eggs in it", quantity="dry_bulb_c",
    value=0.0, worst=-1.5, limit=36.25, band=Band(low_alarm=36.0, target=37.5), since=T0, ended=T0 + timedelta(minutes=3),
    about="weak, put back “in”", batches=(Told("hen-1", 0, "setter"), Told("hen-2", 18, "lockdown")), place="setter-1", doubtful=True,
)  # fmt: skip


@pytest.mark.parametrize("facts", [WHOLE, Facts("site", "all-silent"), None])
def test_facts_come_back_as_they_were(facts: Facts | None) -> None:
    """Every field, full or empty, a nought as a nought; none as none."""
    assert facts_of_text(facts_text(facts)) == facts


@given(st.floats(-100, 100), st.integers(0, 4 * 10**12))
def test_figures_keep_every_bit_and_times_their_millisecond(value: float, at_ms: int) -> None:
    """Values come back exactly; times are those of the record, whole milliseconds."""
    facts = Facts("setter-1", "dry-bulb-high-alarm", quantity="dry_bulb_c", value=value, since=from_ms(at_ms))
    assert facts_of_text(facts_text(facts)) == facts


@pytest.mark.parametrize(
    "text",
    [
        "",
        "[]",
        "7",
        "{}",
        "not json",
        '{"version": 2, "subject": "setter-1", "rule": "no-data"}',
        '{"subject": "setter-1", "rule": "no-data"}',
        '{"version": 1, "rule": "no-data"}',
        '{"version": 1, "subject": "setter-1", "rule": "no-data", "smell": "odd"}',
        '{"version": 1, "subject": "setter-1", "rule": "no-data", "since": "yesterday"}',
        '{"version": 1, "subject": "setter-1", "rule": "no-data", "since": 1e30}',
        '{"version": 1, "subject": "setter-1", "rule": "no-data", "band": {"top": 3}}',
        '{"version": 1, "subject": "setter-1", "rule": "no-data", "batches": [3]}',
    ],
)
def test_what_is_not_understood_is_none(text: str) -> None:
    """Another version's, a damaged one, one with something that is not known: none of it may keep the notice from being sent."""
    assert facts_of_text(text) is None


def test_the_form_is_held() -> None:
    """What was written once is read for ever: the names and units of version 1."""
    assert json.loads(facts_text(WHOLE) or "") == {
        "version": 1, "subject": "batch hen-1 egg 7", "rule": "dry-bulb-low-alarm", "still": True, "over": True,
        "unjudged": "no eggs in it", "quantity": "dry_bulb_c", "value": 0.0, "worst": -1.5, "limit": 36.25,
        "band": {"low_alarm": 36.0, "low_warning": None, "target": 37.5, "high_warning": None, "high_alarm": None},
        "since": 1772344800000, "ended": 1772344980000, "about": "weak, put back “in”",
        "batches": [{"batch": "hen-1", "day": 0, "stage": "setter"}, {"batch": "hen-2", "day": 18, "stage": "lockdown"}],
        "place": "setter-1", "doubtful": True,
    }  # fmt: skip


def test_what_a_restart_finds_unsent_is_joined_like_any_other(tmp_path: Path) -> None:
    """Six alarms that no phone has heard of are, for the next run, the same one message: its count, its first, its advice."""
    six = [about(n, f"Setter {n}", after_s=n) for n in range(1, 7)]
    opened = open_writer(tmp_path / "eggroom.db")
    SqliteLedger(opened.connection).commit(Group(notices=six))
    opened.close()
    opened = open_writer(tmp_path / "eggroom.db")
    waiting = SqliteLedger(opened.connection).load().waiting
    opened.close()
    assert list(waiting) == six
    told = WORDS.join(waiting)
    assert told == WORDS.join(six)
    assert told.title == "6 machines too hot: first Setter 1 at 02:14"
