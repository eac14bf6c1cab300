"""A profile drafted from batches that went well, on made-up houses: always too dry, always as published, always too warm."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC
from pathlib import Path

import pytest

from monitor.adapters.tables.causes import shipped_causes
from monitor.adapters.tables.profiles import load_profiles
from monitor.analysis.review.house import habits_of
from monitor.analysis.review.judged import Figure, Record
from monitor.domain.eggs.book import EggBook
from monitor.domain.eggs.entry import Found
from monitor.domain.needs.profile import Profile
from monitor.domain.needs.site import Site
from monitor.domain.published.causes import HIGH, HUMIDITY, LOSS, LOW, SETTER, TEMPERATURE, WHOLE
from monitor.service.across.beside import Beside
from monitor.service.across.draft import NoDraft, draft_of
from monitor.service.across.review import batch_review
from monitor.shown.form import Shown
from monitor.shown.review.house import draft_toml
from monitor.shown.review.whole import brief_text, whole_json, whole_text
from tests.fakes import MemoryStore
from tests.seasons import air, batch_of, ended, group, make_site, put, set_at

CATALOGUE = shipped_causes()
NOW = set_at(60)


@pytest.fixture(scope="module")
def site() -> Site:
    return make_site()


def house(damp: Mapping[int, float], hatched: int = 11, batches: int = 5) -> MemoryStore:
    """So many batches of twelve, of which so many hatched; damp: by number, how much damper its setter was than 57 %RH."""
    store = MemoryStore()
    store.commit(group([ended(EggBook(batch_of(n)), hatched) for n in range(batches)], damp))
    return store


def warm(by_k: float) -> MemoryStore:
    books = [ended(EggBook(batch_of(n)), 11) for n in range(4)]
    given = group(books)
    given.readings = [each for n in range(4) for each in air(n, warmer_k=by_k)]
    store = MemoryStore()
    store.commit(given)
    return store


def read(text: str, folder: Path) -> Profile:
    path = folder / "own.toml"
    path.write_text(text, encoding="utf-8")
    return load_profiles(path)["hens-own"]


def drafted(store: MemoryStore, site: Site, folder: Path) -> tuple[str, Profile]:
    draft = draft_of(store, site, "chicken", catalogue=CATALOGUE, now=NOW)
    text = draft_toml(draft, "hens-own", now=NOW, unit="C")
    return text, read(text, folder)


def test_a_house_that_is_always_dry(site: Site, tmp_path: Path) -> None:
    """Its own middle becomes the target, the warnings lie as far from it as published and hold each batch; all else is as it was."""
    text, own = drafted(house({0: -11.0, 1: -10.5, 2: -10.0, 3: -9.5, 4: -6.0}), site, tmp_path)
    published = load_profiles()["chicken"]
    setter, lockdown = own.stages[0], own.stages[1]
    assert setter.wet_bulb_c is None
    assert setter.rh_pct is not None
    assert setter.rh_pct.target == pytest.approx(47.0, abs=0.2)  # 57 less the middle one of these
    assert (setter.rh_pct.low_warning or 99.0) <= 46.0
    assert (setter.rh_pct.high_warning or 0.0) >= 51.0
    assert setter.dry_bulb_c == published.stages[0].dry_bulb_c
    assert lockdown == published.stages[1]
    assert (own.unknown, own.days, own.target_loss_pct) == (
        published.unknown,
        published.days,
        published.target_loss_pct,
    )
    assert own.sources["stage.setter.rh_pct.target"] == "own"
    assert "own observation: 5 batches, 60 eggs" in text
    assert "the farthest of your good batches" in text
    assert "READ IT BEFORE YOU USE IT" in text
    assert "b-0, b-1, b-2, b-3, b-4" in text
    assert all(f"Not known of this bird, as in chicken: {each}" in text for each in published.unknown)
    assert own.notes[: len(published.notes)] == published.notes
    assert "60 eggs were set in them." in own.notes[-1]


def test_a_house_that_is_as_published_needs_none(site: Site) -> None:
    """Batches inside their bands, fewer than three, or such as went badly: one line, and no draft."""
    for store, why in (
        (house({}), "your good batches lie inside its bands"),
        (house({0: -11.0, 1: -11.0}, batches=2), "2 that went well, with their air on record, expected 3 or more"),
        (house(dict.fromkeys(range(5), -11.0), hatched=3), "0 that went well"),
    ):
        with pytest.raises(NoDraft, match=why):
            draft_of(store, site, "chicken", catalogue=CATALOGUE, now=NOW)


def test_alarm_limits_of_temperature_stay(site: Site, tmp_path: Path) -> None:
    """A kelvin warmer: the target moves, the warning stops at the alarm limit; beyond that nothing is drafted."""
    text, own = drafted(warm(1.0), site, tmp_path)
    band = own.stages[0].dry_bulb_c
    assert (band.low_alarm, band.high_alarm) == (36.7, 38.9)
    assert band.target == pytest.approx(38.6)
    assert band.high_warning == 38.9
    assert "held at the alarm limit of chicken" in text
    with pytest.raises(NoDraft, match="beyond its alarm limits"):
        draft_of(warm(1.6), site, "chicken", catalogue=CATALOGUE, now=NOW)


def record(name: str, loss: float, humid: float, coverage: float = 1.0) -> Record:
    return Record(
        name,
        {
            (LOSS, WHOLE): Figure(loss, 11.0, 14.0),
            (HUMIDITY, SETTER): Figure(humid, 50.0, 58.0, coverage=coverage),
            (TEMPERATURE, SETTER): Figure(37.8, None, 38.1),
        },
    )


def test_outside_is_the_middle_beyond_what_a_sensor_tells() -> None:
    """Three of five beyond by more than the margin of 2 %RH are; by less, two of five, or a band without an end are not."""

    def sides(losses: Sequence[float], humid: Sequence[float], coverage: float = 1.0) -> dict[tuple[str, str], str]:
        records = [record(str(n), *each, coverage) for n, each in enumerate(zip(losses, humid, strict=True))]
        return {(h.check.id, h.window): h.side for h in habits_of(CATALOGUE, records)}

    assert sides([9.0] * 5, [60.5, 60.5, 60.5, 55.0, 55.0]) == {(HUMIDITY, SETTER): HIGH, (LOSS, WHOLE): LOW}
    assert sides([10.5] * 5, [59.5] * 5) == {(HUMIDITY, SETTER): "", (LOSS, WHOLE): ""}
    assert sides([12.0] * 5, [60.5, 60.5, 55.0, 55.0, 55.0])[HUMIDITY, SETTER] == ""
    assert sides([12.0] * 2, [60.5] * 2) == {}
    assert sides([12.0] * 3, [60.5] * 3, coverage=0.5) == {(LOSS, WHOLE): ""}


def test_the_loss_of_a_house_is_drafted_to_pip(site: Site, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A house whose eggs lose three points more: the window moves by so much, and goes by internal pip."""
    published = load_profiles()["chicken"]
    records = [record(str(n), 15.5, 55.0) for n in range(3)]
    monkeypatch.setattr(Beside, "went_well", lambda *_: [batch_of(n) for n in range(3)])
    monkeypatch.setattr(Beside, "record", lambda _, batch: records[int(batch.id[2:])])
    _, own = drafted(MemoryStore(), site, tmp_path)
    assert own.target_loss_to == "internal pip"
    low, high = own.target_loss_pct or (0.0, 0.0)
    assert (low + high) / 2.0 == pytest.approx(12.6 + 3.0, abs=0.1)  # 11 to 13 % by day 18 is 11.55 to 13.65 by pip
    assert published.target_loss_pct == (11.0, 13.0)


def test_a_review_says_that_the_good_batches_lie_outside(site: Site) -> None:
    """In words and as values, with the command that drafts; of a house as published nothing."""
    bad = put(ended(EggBook(batch_of(5)), 4, late=4), 20.5, Found("wet-chick"), 9)
    books = [ended(EggBook(batch_of(n)), 11) for n in range(5)]
    for by, said in ((-11.0, True), (0.0, False)):
        store = MemoryStore()
        store.commit(group([*books, bad], dict.fromkeys(range(6), by)))
        whole = batch_review(store, site, replace(batch_of(5)), now=NOW, catalogue=CATALOGUE)
        for told in (brief_text, whole_text):
            words = " ".join(told(whole, CATALOGUE, Shown(UTC, "C")).split())
            assert ("Your good batches lie outside this band: humidity in incubation 46 %RH" in words) is said
            assert ("`eggroom draft chicken` drafts one from them" in words) is said
        values = whole_json(whole, CATALOGUE)["went_well_outside"]
        assert [each["side"] for each in values] == (["low"] if said else [])  # type: ignore[attr-defined]
