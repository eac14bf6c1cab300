"""What falls due in a batch by its days."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from monitor.adapters.tables.profiles import load_profiles
from monitor.domain.eggs.dates import candling_day, dates_of
from monitor.domain.needs.batch import Batch, declared
from monitor.domain.needs.profile import Profile
from tests.domain.house import PROFILES, T0

HEN = PROFILES["hen"]  # 21 days, locked down on day 18, hatches on day 20 to 22
SET = Batch("hen-1", "hen", T0, 12)
HALF_HOUR = timedelta(minutes=30)


def at(days: float) -> datetime:
    return T0 + timedelta(days=days)


def dated(
    batch: Batch, profile: Profile, store_h: tuple[float, float] = (0.0, 0.0)
) -> list[tuple[str, str, datetime, datetime]]:
    return [(each.key, each.kind, each.since, each.until) for each in dates_of(batch, profile, store_h)]


def test_what_falls_due_in_a_hens_batch() -> None:
    """Weighed at the set and just before lockdown, candled on days 7 and 14, locked down on day 18, and hatching from day 20 to 22: in order of time, and
    what takes no time is half an hour long."""
    assert dated(SET, HEN) == [
        ("weigh-set", "weigh", at(0), at(0) + HALF_HOUR),
        ("candle-1", "candle", at(7), at(7) + HALF_HOUR),
        ("candle-2", "candle", at(14), at(14) + HALF_HOUR),
        ("weigh-lockdown", "weigh", at(18) - HALF_HOUR, at(18)),
        ("lockdown", "lockdown", at(18), at(18) + HALF_HOUR),
        ("hatch", "hatch", at(20), at(22)),
    ]


def test_a_lockdown_that_was_declared_stands_at_its_time() -> None:
    """With the weighing before it, sooner than the second candling where it was; a stage of the hatch moves nothing."""
    early = dated(declared(SET, "lockdown", at(13.5)), HEN)
    assert [each[0] for each in early] == ["weigh-set", "candle-1", "weigh-lockdown", "lockdown", "candle-2", "hatch"]
    assert early[2:4] == [
        ("weigh-lockdown", "weigh", at(13.5) - HALF_HOUR, at(13.5)),
        ("lockdown", "lockdown declared", at(13.5), at(13.5) + HALF_HOUR),
    ]
    assert dated(declared(SET, "hatch", at(13.5)), HEN) == dated(SET, HEN)


def test_of_a_bird_that_goes_by_the_egg_the_day_reminds_of_draw_down() -> None:
    """Until somebody declares the lockdown."""
    parrot = replace(HEN, lockdown_by="internal pip")
    assert ("lockdown", "draw-down", at(18), at(18) + HALF_HOUR) in dated(SET, parrot)
    said = declared(SET, "lockdown", at(19))
    assert ("lockdown", "lockdown declared", at(19), at(19) + HALF_HOUR) in dated(said, parrot)


def test_days_in_store_make_the_hatch_late() -> None:
    """Its first hour by those that were stored the shortest, its last by the longest."""
    assert dated(SET, HEN, (3.0, 12.0))[-1][2:] == (at(20) + timedelta(hours=3), at(22) + timedelta(hours=12))


def test_a_hatch_of_one_day_is_drawn() -> None:
    """Where first and last normal day are one, it is half an hour long."""
    sharp = replace(HEN, days=21.0, hatch_day_first=21.0, hatch_day_last=21.0)
    assert dated(SET, sharp)[-1][2:] == (at(21), at(21) + HALF_HOUR)


@pytest.mark.parametrize(("bird", "days"), [("chicken", (7, 14)), ("goose", (10, 21)), ("ostrich", (14, 28))])
def test_candled_at_thirds_of_the_term(bird: str, days: tuple[int, int]) -> None:
    """The hen's days 7 and 14 of 21, on the nearest whole day of another term: a goose's 31, an ostrich's 42."""
    profile = load_profiles(None)[bird]
    assert tuple(candling_day(profile, third) for third in (1, 2)) == days
