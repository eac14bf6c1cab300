"""What is told of a loss, and what may be set in a machine, case by case, without a record."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import pytest

from monitor.analysis.water.batch import FEWEST, UNSURE
from monitor.analysis.water.loss import ScalesApart, pooled_offset
from monitor.domain.air.psychrometrics import rh_from_wet_bulb_pct
from monitor.domain.alarms.about import Losing, Projection, Setting, Weighed
from monitor.domain.needs.bands import RH, WET_BULB
from monitor.domain.needs.profile import Band
from monitor.service.reports import weighed as module
from tests.seasons import batch_of, make_site, set_at

FOUND = Projection(15.0, 14.5, 15.5, (11.0, 14.0), False)


@pytest.mark.parametrize(
    ("pip_pct", "low_pct", "high_pct", "back"),
    [
        (12.5, 11.5, 13.5, True),
        (11.0, 10.0, 12.0, True),
        (14.0, 13.0, 15.0, True),
        (10.99, 10.0, 12.0, False),
        (14.01, 13.0, 15.0, False),
        (12.5, 9.5, 15.5, True),  # as wide as two windows
        (12.5, 9.5, 15.51, False),
        (12.5, 9.5, 14.0, True),
    ],
)
def test_what_ends_an_alarm(pip_pct: float, low_pct: float, high_pct: float, back: bool) -> None:
    """A value in the window, its edges with it, whose interval is at most twice as wide as the window."""
    assert module._back(Projection(pip_pct, low_pct, high_pct, (11.0, 14.0), False)) is back


def test_it_is_told_as_precisely_as_it_is_said() -> None:
    """Losses to a tenth, humidities to whole per cents, the wet bulb to a tenth of the unit that it is told in; what is not known stays so."""
    setting = Setting(62.6, 30.86, 41.4, 14.46, do_pct=(44.6, 58.4))
    found = Projection(15.04, 14.46, 15.66, (11.0, 14.0), False, setting)
    told = module._as_told(found, "C")
    assert (told.pip_pct, told.low_pct, told.high_pct, told.window_pct) == (15.0, 14.5, 15.7, (11.0, 14.0))
    assert told.setting == Setting(63, 30.9, 41, 14.5, do_pct=(45, 58))
    in_f = module._as_told(found, "F").setting
    assert in_f is not None
    assert in_f.wet_bulb_c == pytest.approx((87.5 - 32.0) / 1.8)  # 30.86 °C is 87.548 °F
    bare = replace(found, setting=Setting(62.6, 30.86, served=3, eggs=4))
    assert module._as_told(bare, "C").setting == Setting(63, 30.9, served=3, eggs=4)
    assert module._as_told(replace(found, setting=None), "C").setting is None


@pytest.mark.parametrize(("pip_pct", "miss"), [(9.0, 2.0), (11.0, 0.0), (12.0, -1.0), (14.0, 0.0), (17.5, 3.5)])
def test_how_far_off_a_loss_is(pip_pct: float, miss: float) -> None:
    """By how much its value lies outside the window, on either side."""
    loss: Any = SimpleNamespace(pip_pct=SimpleNamespace(value=pip_pct))
    assert module._miss(loss, (11.0, 14.0)) == pytest.approx(miss)


class Case:
    """A batch's water as far as a verdict looks at it."""

    def __init__(self) -> None:
        self.eggs: dict[int, Any] = {}
        self.trays: dict[str, Any] = {}
        self.together: Any = None
        self.track: Any = None
        self.window_pct: tuple[float, float] | None = (11.0, 14.0)

    def weighed(self, pip_pct: float, *, off: bool = False, state: str = "", wide: float = 1.0) -> Any:
        to = Projection(pip_pct, pip_pct - wide, pip_pct + wide, (11.0, 14.0), not off)
        return SimpleNamespace(
            track=SimpleNamespace(off=off, state=state, where_to=to),
            loss=SimpleNamespace(pip_pct=SimpleNamespace(value=pip_pct)),
        )

    def goes(self, *eggs: int, outliers: tuple[int, ...] = ()) -> None:
        self.together = SimpleNamespace(eggs=eggs, outliers=outliers)

    def verdict(self) -> tuple[bool | None, Losing | None]:
        water: Any = self
        return module._verdict(water, "C")


def whole(pip_pct: float, *, off: bool) -> Any:
    return Case().weighed(pip_pct, off=off).track


@pytest.mark.parametrize("eggs", [2, FEWEST, FEWEST + 3])
def test_a_batch_that_is_off_is_told_as_one(eggs: int) -> None:
    """From two eggs on, where the middle is off; nothing of single ones beside it."""
    case = Case()
    case.eggs = {egg: case.weighed(17.0, off=True) for egg in range(1, eggs + 1)}
    case.goes(*case.eggs)
    case.track = whole(17.0, off=True)
    assert case.verdict() == (True, Losing(Weighed(), case.track.where_to))


def test_one_egg_is_told_by_its_number() -> None:
    """Where it is the only one its middle is itself."""
    case = Case()
    case.eggs = {7: case.weighed(17.0, off=True)}
    case.goes(7)
    case.track = whole(17.0, off=True)
    assert case.verdict() == (True, Losing(Weighed(egg=7), case.track.where_to))


@pytest.mark.parametrize(("eggs", "told"), [(FEWEST - 1, True), (FEWEST, False)])
def test_single_eggs_are_told_where_they_are_too_few_for_a_middle(eggs: int, told: bool) -> None:
    """One that is off among few is told; among enough only one that stands apart."""
    case = Case()
    case.eggs = {egg: case.weighed(12.5) for egg in range(1, eggs + 1)}
    case.eggs[2] = case.weighed(15.0, off=True)
    case.goes(*case.eggs)
    case.track = whole(12.6, off=False)
    assert case.verdict()[0] is told
    case.goes(*case.eggs, outliers=(2,))
    assert case.verdict() == (True, Losing(Weighed(egg=2), case.eggs[2].track.where_to))


def test_the_farthest_leads() -> None:
    """Trays and eggs by how far they are off, on either side; those that are not off are not named."""
    case = Case()
    case.trays = {"A": case.weighed(16.0, off=True), "B": case.weighed(12.0)}
    case.eggs = {1: case.weighed(7.0, off=True), 2: case.weighed(14.5, off=True), 3: case.weighed(12.0)}
    case.goes(1, 2, 3)
    assert case.verdict() == (
        True,
        Losing(Weighed(egg=1), case.eggs[1].track.where_to, (Weighed(tray="A"), Weighed(egg=2))),
    )


@pytest.mark.parametrize(
    ("state", "pip_pct", "wide", "off"),
    [
        (UNSURE, 14.5, 1.0, None),  # across the edge
        (UNSURE, 13.5, 1.0, False),  # back by its value
        (UNSURE, 13.5, 3.1, None),  # so wide that it says nothing
        ("on track", 14.5, 1.0, False),
    ],
)
def test_one_that_is_unsure_keeps_what_stands(state: str, pip_pct: float, wide: float, off: bool | None) -> None:
    """Neither off nor back: nobody can say; of an egg, of a tray and of all together."""
    one = Case().weighed(pip_pct, state=state, wide=wide)
    egg, tray, middle = Case(), Case(), Case()
    egg.eggs = {1: one}
    egg.goes(1)
    tray.trays = {"A": one}
    middle.eggs = {n: Case().weighed(12.5) for n in range(1, FEWEST + 1)}
    middle.goes(*middle.eggs)
    middle.track = one.track
    for case in (egg, tray, middle):
        assert case.verdict() == (off, None)


def test_nothing_to_judge() -> None:
    """Without a window nobody can say; where nothing goes on, nothing is off; what has no loss is not looked at."""
    case = Case()
    assert case.verdict() == (False, None)
    case.trays = {"A": SimpleNamespace(track=None, loss=None)}
    assert case.verdict() == (False, None)
    case.trays = {"A": case.weighed(17.0, off=True)}
    case.window_pct = None
    assert case.verdict() == (None, None)


@pytest.mark.parametrize(
    ("band", "may_be"),
    [
        (None, (15.0, 85.0)),  # what a machine holds
        (Band(), (15.0, 85.0)),
        (Band(low_alarm=40.0, low_warning=45.0, high_warning=55.0, high_alarm=60.0), (45.0, 55.0)),
        (
            Band(low_alarm=40.0, low_warning=49.0, high_warning=50.8, high_alarm=60.0),
            (40.0, 60.0),
        ),  # as much as sensors err by
        (Band(low_alarm=40.0, low_warning=49.0, high_warning=50.9, high_alarm=60.0), (49.0, 50.9)),
        (Band(low_warning=49.0, high_warning=50.0), (49.0, 50.0)),  # no alarms to go to
        (Band(low_alarm=40.0, high_warning=55.0, high_alarm=60.0), (40.0, 55.0)),
        (Band(low_warning=45.0, high_warning=55.0), (45.0, 55.0)),
        (Band(low_alarm=40.0), (40.0, 85.0)),
        (Band(high_alarm=60.0), (15.0, 60.0)),
        (Band(low_alarm=10.0, high_alarm=95.0), (15.0, 85.0)),
        (Band(low_alarm=50.0, high_alarm=50.0), (50.0, 50.0)),
        (Band(low_alarm=90.0), (15.0, 85.0)),  # more than it holds: nothing in common
    ],
)
def test_what_may_be_set(monkeypatch: pytest.MonkeyPatch, band: Band | None, may_be: tuple[float, float]) -> None:
    """From 15 to 85 % RH, and up to the warnings of the band; to its alarms where it has none, or none between which air can be held."""
    humidity = None if band is None else (RH, band)
    monkeypatch.setattr(module, "needs_of", lambda *_, **__: SimpleNamespace(humidity=humidity, conflict=()))
    site = make_site()
    found = module._may_be_set(site, site.machines["setter-1"], (batch_of(0),), at=set_at(0), dry_bulb_c=37.5)
    assert found == may_be


def test_what_may_be_set_by_a_wet_bulb(monkeypatch: pytest.MonkeyPatch) -> None:
    """A band of the wet bulb is turned into humidity at this air; one above the dry bulb is saturated, which no machine holds."""
    site = make_site()
    for high_c, expected in ((31.0, rh_from_wet_bulb_pct(37.5, 31.0, site.pressure_kpa)), (39.0, 85.0), (None, 85.0)):
        humidity = (WET_BULB, Band(low_alarm=27.0, high_alarm=high_c))
        monkeypatch.setattr(module, "needs_of", lambda *_, h=humidity, **__: SimpleNamespace(humidity=h, conflict=()))
        found = module._may_be_set(site, site.machines["setter-1"], (batch_of(0),), at=set_at(0), dry_bulb_c=37.5)
        assert found == pytest.approx((rh_from_wet_bulb_pct(37.5, 27.0, site.pressure_kpa), expected))


@pytest.mark.parametrize(
    ("together", "conflict"), [(Band(low_alarm=90.0), ()), (Band(20.0, 30.0, None, 80.0, 84.0), ("humidity",))]
)
def test_where_the_batches_have_nothing_in_common_the_first_counts(
    monkeypatch: pytest.MonkeyPatch, together: Band, conflict: tuple[str, ...]
) -> None:
    """All of them where they can; else the batch that is asked for, and not those beside it: what is out of every band of a conflict is none to steer by."""
    site = make_site()
    asked: list[int] = []

    def needs_of(machine: object, present: tuple[object, ...], *_: object, **__: object) -> object:
        asked.append(len(present))
        if len(present) == 1:
            return SimpleNamespace(humidity=(RH, Band(low_alarm=40.0, high_alarm=60.0)), conflict=())
        return SimpleNamespace(humidity=(RH, together), conflict=conflict)

    monkeypatch.setattr(module, "needs_of", needs_of)
    batches = (batch_of(0), batch_of(1), batch_of(2))
    found = module._may_be_set(site, site.machines["setter-1"], batches, at=set_at(0), dry_bulb_c=37.5)
    assert (found, asked) == ((40.0, 60.0), [3, 1])


def test_whose_scales_say_what_a_new_one_shows_more() -> None:
    """The other eggs that were weighed on both, of this batch and of others, never the egg itself; where no other egg is, its own line alone."""

    def egg(mass_g: float, first: str, **offsets_g: tuple[float, float]) -> Any:
        line = SimpleNamespace(offsets_g=offsets_g, mass_at_set_g=SimpleNamespace(value=mass_g))
        masses = (SimpleNamespace(scale=""), SimpleNamespace(scale=first), SimpleNamespace(scale="new"))
        return SimpleNamespace(loss=SimpleNamespace(line=line), masses=masses)

    def of(*said: ScalesApart, mass_g: float) -> dict[str, tuple[float, float]]:
        return {"new": pooled_offset(said, mass_g, scale="new", than="old")}

    one, two = egg(60.0, "old", new=(0.3, 0.1)), egg(61.0, "old", new=(0.2, 0.1))
    bare: Any = SimpleNamespace(loss=None, masses=())
    assert module._offsets({1: one, 9: bare}) == {}
    elsewhere = ScalesApart("old", {"new": (0.25, 0.02)}, 30.0)
    assert module._offsets({1: one, 9: bare}, [elsewhere]) == {1: of(elsewhere, mass_g=60.0)}
    said_one, said_two = (ScalesApart("old", {"new": (g, 0.1)}, mass_g) for g, mass_g in ((0.3, 60.0), (0.2, 61.0)))
    found = module._offsets({1: one, 2: two, 4: egg(63.0, "old"), 9: bare})
    assert found == {1: of(said_two, mass_g=60.0), 2: of(said_one, mass_g=61.0)}
