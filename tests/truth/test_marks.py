"""What a life came to is marked by the truth alone: a world made by hand, in which air, sensors and words are what they are said to be."""

from __future__ import annotations

import math
import random

import pytest

from monitor.domain.needs.profile import Band
from monitor.domain.needs.site import Machine, Probe
from tests.truth.bars import bars
from tests.truth.cabin import Cabin, RoomAir, Sensor
from tests.truth.ear import Rung, Silent
from tests.truth.families import HOME, Story
from tests.truth.judges import REAL, Told
from tests.truth.lives import Node, World
from tests.truth.machines import Bands
from tests.truth.marks import Lived, first_named, marked, night, true_word
from tests.truth.not_yet import key_of
from tests.truth.test_cabin import PLAIN
from tests.truth.world import site_of

ONSET_S = 3600.0
HOURS = 12


def world(airs: dict[int, tuple[float, float]], *, rh_pct: float = 55.0) -> World:
    """A machine whose true air was in those spans from that minute on, and 37.8 °C before."""
    machine = Machine(HOME, "Machine 1")
    bands = Bands(Band(36.7, 37.5, 37.8, 38.1, 38.9), "rh_pct", Band(40.0, 45.0, 55.0, 60.0, 70.0))
    site = site_of({HOME: machine}, {"node-a/top": Probe("node-a/top", HOME, 10)})
    sensor = Sensor(random.Random(1))
    made = World(
        site, machine, {HOME: Cabin(PLAIN, [sensor], 37.8, 50.0, 5.0)}, RoomAir(20.0, 0.0, 1.2),
        {"node-a": Node("node-a", {"top": sensor}, random.Random(1), 10.0, 0.0)}, bands, Silent(), random.Random(1),
        0.0, ONSET_S + HOURS * 3600.0, ONSET_S, [],
    )  # fmt: skip
    span = (37.8, 37.8)
    for minute in range(int(made.lasts_s / 60.0)):
        span = airs.get(minute, span)
        made.trail.rows.append((60.0 * minute, span[0], span[1], sum(span) / 2.0, rh_pct, 37.8, 37.8, 0.0))
    return made


def told(minute: float, rule: str, priority: str = "high", *, number: int = 1, subject: str = HOME) -> Told:
    """A word at that minute."""
    return Told(60.0 * minute, subject, rule, priority, number)


def lived(made: World, *words: Told, family: str = "heater on", wants: tuple[tuple[str, ...], ...] = ()) -> Lived:
    """The marks of it, each word rung at once by itself."""
    made.ear.said = [*words]
    made.ear.rang_s = [w.at_s for w in words]
    made.ear.rung = [Rung(w.at_s, w.priority, w.rule, "", w.rule, w.subject) for w in words]
    return marked(Story(family, 1, made, "by hand", wants), REAL)


def test_a_hot_word_is_true_of_hot_air_and_of_nothing_else() -> None:
    """Of air at 39 °C; not of a probe that is off in air at 37.8."""
    assert true_word(world({70: (38.8, 39.2)}), told(72, "dry-bulb-high-alarm"))
    assert not true_word(world({}), told(72, "dry-bulb-high-alarm"))
    assert not true_word(world({70: (38.8, 39.2)}), told(72, "dry-bulb-low-alarm"))


def test_a_forecast_is_true_when_its_limit_is_passed_in_three_hours() -> None:
    """Passed after two, or after four."""
    word = told(70, "dry-bulb-high-heading")
    assert true_word(world({190: (39.0, 39.0)}), word)
    assert not true_word(world({310: (39.0, 39.0)}), word)
    rows = [lived(world({at: (39.0, 39.0)}), word).forecasts for at in (190, 310)]
    assert [f.came_true for row in rows for f in row] == [True, False]


def test_disagreement_is_true_of_layers_and_of_a_sensor_that_is_off() -> None:
    """And of neither it is not."""
    made = world({})
    word = told(70, "probes-disagree")
    assert not true_word(made, word)
    made.blind = True
    assert true_word(made, word)
    layered = world({})
    layered.trail.rows = [(*row[:7], 1.5) for row in layered.trail.rows]
    assert true_word(layered, word)


def test_words_are_counted_once_an_episode() -> None:
    """A reminder and a closing message are no further words."""
    again = Told(5400.0, HOME, "dry-bulb-high-alarm", "high", 1, again=True)
    over = Told(6000.0, HOME, "dry-bulb-high-alarm", "low", 1, closing=True)
    row = lived(
        world({70: (39.0, 39.0)}),
        told(72, "dry-bulb-high-alarm"),
        again,
        over,
        told(80, "dry-bulb-lethal", "critical", number=2),
    )
    assert (row.count("high"), row.count("critical"), row.count("low")) == (1, 1, 0)
    assert row.messages == 4


def test_what_was_mild_first_and_became_urgent_is_what_woke() -> None:
    """Sensors that disagree were told as low, a second later as high: that rang, and not the untrue heat of hours later."""
    row = lived(
        world({}),
        told(70, "probes-disagree", "low", number=1),
        told(71, "probes-disagree", "high", number=1),
        told(300, "dry-bulb-high-alarm", number=2),
        family="probe drifting",
    )
    assert (row.first_word, row.wake_s) == (f"probes-disagree of {HOME}", 660.0)
    assert (row.count("low"), row.count("high")) == (1, 1)


def test_a_share_is_of_the_time_to_harm_and_never_after_it() -> None:
    """Rung after 10 of 60 min; and after the harm."""
    for minute, share in ((70.0, 1.0 / 6.0), (130.0, math.inf)):
        made = world({65: (39.5, 40.0)})
        made.limits.harm_s, made.limits.why = ONSET_S + 3600.0, "egg too hot"
        row = lived(made, told(minute, "dry-bulb-high-alarm"))
        assert row.share == pytest.approx(share)
    assert lived(made).right is False  # harm, and nothing told


def test_dry_air_has_to_be_told_from_when_an_hour_of_it_was_dry() -> None:
    """42 %RH where the warning is 45, from the onset on: the hour counts; nothing was dry of 44, within the sensor's error."""
    dry, damp = world({}, rh_pct=42.0), world({}, rh_pct=44.0)
    words = ("humidity-low-warning",)
    row = lived(dry, told(140, words[0], "low"), family="dry pan", wants=(words,))
    assert row.found_s == [pytest.approx(1200.0)]
    assert lived(dry, family="dry pan", wants=(words,)).found_s == [math.inf]
    assert lived(damp, family="dry pan", wants=(words,)).found_s == []


def test_slow_heat_is_foreseen_ten_minutes_before() -> None:
    """Not five."""
    for minute, foreseen in ((80, True), (96, False)):
        made = world({100: (39.0, 39.0)})
        row = lived(made, told(minute, "dry-bulb-high-heading"), family="slow heat of the room")
        assert (row.crossed, row.foreseen) == (True, foreseen)


def test_the_cause_that_is_named_first_counts() -> None:
    """As today of every silence: the mains."""
    assert first_named(Rung(0.0, "critical", "Every node silent", "Check the mains, then the network.")) == "mains"
    assert first_named(Rung(0.0, "critical", "The broker on this Pi has stopped", "Not the mains.")) == "broker"
    assert first_named(Rung(0.0, "high", "Too hot", "")) == ""


def test_nights_are_from_ten_to_seven() -> None:
    """A story begins at 6 h."""
    made = world({})
    assert [night(made, h * 3600.0) for h in (0.5, 1.5, 15.5, 16.5)] == [True, False, False, True]


def test_hot_and_cold_of_one_machine_within_the_hour() -> None:
    """Of two machines, or three hours apart, it is not."""
    hot = told(70, "dry-bulb-high-warning", "low")
    assert lived(world({}), hot, told(80, "dry-bulb-low-alarm", number=2)).both
    assert not lived(world({}), hot, told(80, "dry-bulb-low-alarm", number=2, subject="m-2")).both
    assert not lived(world({}), hot, told(300, "dry-bulb-low-alarm", number=2)).both


def test_the_bars_can_be_met_and_missed() -> None:
    """Twelve messages for an unanswered fault are few enough, forty are not."""
    for minutes, met in ((12, True), (40, False)):
        made = world({65: (39.0, 39.0)})
        words = [told(70 + i, "dry-bulb-high-alarm", number=i + 1) for i in range(minutes)]
        found = {key_of(bar): bar.met for bar in bars([lived(made, *words)])}
        assert found["messages for one unanswered fault in 12 h, at most"] is met
        assert found["first waking word with the right cause"]
