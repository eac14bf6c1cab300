"""Lines that break: a crack, a repair, another scale, and a kink that nobody wrote, each against made-up eggs whose loss is known."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from monitor.analysis.water.loss import SCATTER_SHARE, LossLine, ScalesApart, line_of, pooled_offset
from monitor.domain.eggs.book import EggBook, Mass, ShellBreak, add, shell_breaks
from monitor.domain.eggs.entry import CRACKED, FERTILE, Candling, Entry, Fact, Sealed
from monitor.domain.needs.batch import Batch
from tests.analysis.weighed import SEA_KPA, SET, SET_MS, constant, line, rows

MASS_G, ERROR_G = 20.0, 0.01
WHOLE = 0.0018  # of its mass lost for each kPa d: 13.1 % by day 24.3 at 3 kPa
PIP = 24.3
Pace = Callable[[float], float]  # the share of its mass that was lost by a day


def bent(at: float, times: float) -> Pace:
    """An egg that loses so many times as much from a day on."""
    return lambda day: WHOLE * 3.0 * (min(day, at) + times * max(0.0, day - at))


def fitted(
    masses: Sequence[tuple[float, float]],
    breaks: Sequence[ShellBreak] = (),
    scales: Sequence[str] = (),
    offsets_g: dict[str, tuple[float, float]] | None = None,
) -> LossLine:
    """The line of weighings (day, g), each on its scale, at a deficit of 3 kPa."""
    made = [
        Mass(i + 1, SET + timedelta(days=day), g, ERROR_G, scale=scales[i] if scales else "")
        for i, (day, g) in enumerate(masses)
    ]
    found = line_of(made, constant(3.0), set_ms=SET_MS, pressure_kpa=SEA_KPA, breaks=breaks, offsets_g=offsets_g or {})
    assert isinstance(found, LossLine)
    return found


def weighed(rng: np.random.Generator, days: Sequence[float], pace: Pace) -> list[tuple[float, float]]:
    """(day, g) of an egg that loses at that pace, on a scale of ERROR_G, with the scatter that masses have."""
    error_g = float(np.hypot(ERROR_G, SCATTER_SHARE * MASS_G))
    return [(day, MASS_G * (1.0 - pace(day)) + float(rng.normal(0.0, error_g))) for day in days]


def on(day: float) -> ShellBreak:
    return ShellBreak(SET + timedelta(days=day), sealed=False)


@pytest.mark.parametrize(
    ("crack", "days"), [(9.0, (0, 3, 6, 9, 12, 15)), (9.5, (0, 4, 8, 10, 12)), (9.0, (0, 5, 9, 14))]
)
def test_a_crack_that_was_written_ends_a_line(crack: float, days: tuple[float, ...]) -> None:
    """Of 300 eggs that lose 1.3 to 3 times as much from a crack on, the loss by pip lies in the interval 93 to 100 times in a hundred; one line through
    all would miss it mostly."""
    rng, hits, straight = np.random.default_rng(1), 0, 0
    for _ in range(300):
        pace = bent(crack, rng.uniform(1.3, 3.0))
        masses = weighed(rng, days, pace)
        told = fitted(masses, [on(crack)]).loss_pct(3.0 * PIP)
        hits += told.low <= 100.0 * pace(PIP) <= told.high
        plain = line(masses[:], constant(3.0), ERROR_G).loss_pct(3.0 * PIP)
        straight += plain.low <= 100.0 * pace(PIP) <= plain.high
    assert hits >= 0.93 * 300
    assert straight < hits


def test_until_it_is_weighed_again_a_cracked_egg_is_uncertain() -> None:
    """With no weighing since the crack the loss so far is told as before, and that by pip with a doubt of many points, which one weighing takes away."""
    whole = [(d, MASS_G * (1.0 - bent(99.0, 1.0)(d))) for d in (0.0, 4.0, 8.0)]
    cracked, after = (
        fitted(whole, [on(8.0)]),
        fitted([*whole, (12.0, MASS_G * (1.0 - bent(8.0, 2.0)(12.0)))], [on(8.0)]),
    )
    now, by_pip = cracked.loss_pct(24.0), cracked.loss_pct(3.0 * PIP)
    assert now.high - now.low < 1.0
    assert by_pip.high - by_pip.low > 10.0
    then = after.loss_pct(3.0 * PIP)
    assert then.high - then.low < 0.35 * (by_pip.high - by_pip.low)
    assert then.low < 100.0 * bent(8.0, 2.0)(PIP) < then.high
    again = cracked.weighed_again(36.0).loss_pct(3.0 * PIP)
    assert again.high - again.low < 0.35 * (by_pip.high - by_pip.low)


def test_a_repair_weighs_something_and_is_not_lost_water() -> None:
    """Of 300 eggs cracked on day 6 and sealed on day 10 with 0.02 to 0.15 g of wax, the water lost by pip lies in the interval 93 to 100 times in a hundred."""
    rng, hits = np.random.default_rng(2), 0
    for _ in range(300):
        times, wax_g = rng.uniform(1.5, 3.0), rng.uniform(0.02, 0.15)

        def pace(day: float, times: float = times) -> float:
            return WHOLE * 3.0 * (day + (times - 1.0) * (min(max(day, 6.0), 10.0) - 6.0))

        masses = [(d, g + (wax_g if d > 10.0 else 0.0)) for d, g in weighed(rng, (0, 3, 6, 8, 9.9, 10.1, 13, 16), pace)]
        found = fitted(masses, [on(6.0), ShellBreak(SET + timedelta(days=10.0), sealed=True)])
        told = found.loss_pct(3.0 * PIP)
        hits += told.low <= 100.0 * pace(PIP) <= told.high
    assert hits >= 0.93 * 300


def test_after_a_repair_one_weighing_tells_as_much_as_wax_may_weigh() -> None:
    """Sealed on day 10 and weighed once since, on day 13: what the wax weighs (half a hundredth of the egg, 1 sd) and what was lost since (as much as
    before, give or take as much again) make one figure, so the loss is known no better than the nearer of the two, and no worse."""
    masses = [(d, MASS_G * (1.0 - bent(99.0, 1.0)(d))) for d in (0.0, 3.0, 6.0, 9.0, 13.0)]

    def doubt_pct(*breaks: ShellBreak) -> float:
        found = fitted(masses, breaks)
        told = found.loss_pct(3.0 * 13.0)
        return (told.high - told.low) / 2.0 / found.reach

    wax_pct, since_pct = 0.5 * masses[2][1] / MASS_G, 100.0 * WHOLE * 3.0 * (13.0 - 10.0)
    shared_pct = (wax_pct**-2 + since_pct**-2) ** -0.5
    seal = ShellBreak(SET + timedelta(days=10.0), sealed=True)
    assert doubt_pct(seal) == pytest.approx(np.hypot(shared_pct, doubt_pct()), rel=0.02)
    assert doubt_pct(on(10.0)) < 0.3 * doubt_pct(seal)  # a crack weighs nothing


def scaled(rng: np.random.Generator, offset_g: float) -> tuple[list[tuple[float, float]], list[str]]:
    """An egg weighed on one scale up to day 8, and on another from then on, which shows so much more."""
    days = (0, 4, 8, 10, 13)
    masses = weighed(rng, days, bent(99.0, 1.0))
    return [(d, g + (offset_g if d > 8 else 0.0)) for d, g in masses], ["old" if d <= 8 else "new" for d in days]


def test_another_scale_is_an_offset_and_not_a_loss() -> None:
    """Of 300 eggs whose second scale shows 0.1 to 0.3 g more, the loss by pip lies in the interval 93 to 100 times in a hundred, and the offset too."""
    rng, hits, offsets = np.random.default_rng(3), 0, 0
    for _ in range(300):
        offset_g = float(rng.uniform(0.1, 0.3))
        masses, scales = scaled(rng, offset_g)
        found = fitted(masses, scales=scales)
        told, (value, sd) = found.loss_pct(3.0 * PIP), found.offsets_g["new"]
        hits += told.low <= 100.0 * bent(99.0, 1.0)(PIP) <= told.high
        offsets += abs(value - offset_g) <= found.reach * sd
        assert found.kink is None
    assert hits >= 0.93 * 300
    assert offsets >= 0.93 * 300


def test_one_weighing_on_another_scale_says_what_the_line_leaves_open() -> None:
    """Three weighings on one scale and one on another: two scales differ by a hundredth of the egg (1 sd), and the line says where the fourth should be
    to its own doubt; both together are what is known of the offset."""
    days = np.array([0.0, 4.0, 8.0])
    masses = [(float(d), MASS_G - 0.12 * float(d)) for d in (*days, 12.0)]
    _, sd = fitted(masses, scales=["old", "old", "old", "new"]).offsets_g["new"]
    each_g = float(np.hypot(ERROR_G, SCATTER_SHARE * 19.3))
    drawn_on = 1.0 / 3.0 + (12.0 - days.mean()) ** 2 / float(((days - days.mean()) ** 2).sum())
    said_g = each_g * (1.0 + drawn_on) ** 0.5
    assert sd == pytest.approx(((0.01 * 19.3) ** -2 + said_g**-2) ** -0.5, rel=0.02)


def test_eggs_weighed_on_both_scales_say_it_together() -> None:
    """What ten other eggs say of a scale is within 0.02 g of the truth, certain as they are together, and narrows the loss of an egg by a third or more."""
    rng, narrower, hits = np.random.default_rng(4), 0, 0
    for _ in range(40):
        others = [scaled(rng, 0.2) for _ in range(10)]
        said = [ScalesApart("old", fitted(masses, scales=scales).offsets_g, MASS_G) for masses, scales in others]
        value, sd = pooled_offset(said, MASS_G, scale="new", than="old")
        hits += abs(value - 0.2) <= 2.2 * sd
        assert sd < 0.6 * said[0].offsets_g["new"][1]
        masses, scales = scaled(rng, 0.2)
        own, helped = fitted(masses, scales=scales), fitted(masses, scales=scales, offsets_g={"new": (value, sd)})
        widths = [each.loss_pct(3.0 * PIP).high - each.loss_pct(3.0 * PIP).low for each in (own, helped)]
        narrower += widths[1] < 0.8 * widths[0]
    assert hits >= 0.9 * 40
    assert narrower >= 0.9 * 40
    assert pooled_offset([], MASS_G, scale="new", than="old") == pytest.approx((0.0, 0.01 * MASS_G))


def test_who_began_on_the_new_scale_says_the_same_the_other_way_round() -> None:
    """An egg of another mass that was weighed on the new scale first, and then on the old; one of other scales says nothing."""
    there, back = ScalesApart("old", {"new": (0.2, 0.05)}, 60.0), ScalesApart("new", {"old": (-0.2, 0.05)}, 60.0)
    found = [pooled_offset([each], 20.0, scale="new", than="old") for each in (there, back)]
    assert found[0] == found[1]
    assert found[0][0] == pytest.approx(0.2, abs=0.02)
    nothing = ScalesApart("kitchen", {"old": (1.0, 0.01)}, 60.0)
    assert pooled_offset([there, nothing], 20.0, scale="new", than="old") == found[0]


@pytest.mark.parametrize(("days", "named"), [((0, 3, 6, 9, 12, 15, 18), 0.95), ((0, 2, 4, 6, 8, 10, 12, 14), 0.95)])
def test_a_kink_is_found(days: tuple[float, ...], named: float) -> None:
    """Of 200 eggs that lose twice as much from day 9 on, and nobody wrote why, the break is found at the weighing after it, and the loss by pip told with it."""
    rng, found_at, hits = np.random.default_rng(5), 0, 0
    first = next(i for i, d in enumerate(days) if d > 9) + 1
    for _ in range(200):
        pace = bent(9.0, 2.0)
        found = fitted(weighed(rng, days, pace))
        told = found.loss_pct(3.0 * PIP)
        if found.kink is None:
            continue
        found_at += abs(found.kink.entry - first) <= 1
        assert found.left_out == ()
        hits += told.low <= 100.0 * pace(PIP) <= told.high
    assert found_at >= named * 200
    assert hits >= 0.85 * found_at


@pytest.mark.parametrize(("days", "found_at"), [(range(0, 16, 2), 0.75), (range(0, 24, 3), 0.85)])
def test_a_third_more_is_found(days: Sequence[float], found_at: float) -> None:
    """Of 200 eggs of 20 g that lose 1.3 times as much from day 7 on, weighed eight times on a scale of 0.01 g, most are asked about."""
    rng = np.random.default_rng(11)
    asked = [fitted(weighed(rng, days, bent(7.0, 1.3)), scales=["fine"] * len(days)).kink for _ in range(200)]
    assert len([kink for kink in asked if kink is not None]) >= found_at * 200
    assert sum(kink is not None and kink.times is not None and kink.times < 1.0 for kink in asked) <= 2


@pytest.mark.parametrize("days", [range(18), range(0, 18, 2), (0, 2, 4, 5, 7, 8, 10, 12, 14)])
def test_a_crack_that_was_repaired_is_two_breaks(days: Sequence[float]) -> None:
    """Three times as much from day 5 to day 8, and nobody wrote either: of 100 eggs most are asked about the first, where they began to lose more; and
    once the crack is written, about the second, where they lose less."""

    def pace(day: float) -> float:
        return WHOLE * 3.0 * (min(day, 5.0) + 3.0 * max(0.0, min(day, 8.0) - 5.0) + max(0.0, day - 8.0))

    rng, more, less, hits = np.random.default_rng(12), 0, 0, 0
    for _ in range(100):
        masses = weighed(rng, days, pace)
        found = fitted(masses)
        more += found.kink is not None and found.kink.times is not None and found.kink.times > 1.0
        told = found.loss_pct(3.0 * PIP)
        hits += told.low <= 100.0 * pace(PIP) <= told.high
        then = fitted(masses, [on(5.0)]).kink
        less += then is not None and then.times is not None and then.times < 1.0
    assert more >= 75
    assert less >= 75
    assert hits >= 80


@pytest.mark.parametrize("seen", [7.5, 9.0, 14.5])
def test_a_crack_that_is_seen_later_answers_what_was_asked(seen: float) -> None:
    """It began at day 7 and was found on day 7.5, or when somebody looked because of the question, or after the last weighing: of 100 eggs
    that were asked about it few are asked again (0 to 2; by the day that was written alone 87 to 100), and where it leads is told."""
    rng, days, asked, again, hits = np.random.default_rng(14), (0, 2, 4, 6, 8, 10, 12, 14), 0, 0, 0
    for _ in range(100):
        masses = weighed(rng, days, bent(7.0, 2.0))
        if fitted(masses).kink is None:
            continue
        asked += 1
        then = fitted(masses, [on(seen)])
        again += then.kink is not None
        told = then.loss_pct(3.0 * PIP)
        hits += told.low <= 100.0 * bent(7.0, 2.0)(PIP) <= told.high
    assert asked >= 90
    assert again <= 0.05 * asked
    assert hits >= 0.8 * asked


def test_a_crack_before_the_break_does_not_answer_it() -> None:
    """Written on day 3, sealed on day 4; a break on day 8 is another one, and so is one before a seal."""
    rng, days = np.random.default_rng(15), (0, 2, 4, 6, 8, 10, 12, 14)
    sealed = ShellBreak(SET + timedelta(days=11.0), sealed=True)
    for breaks in ([on(3.0), replace(sealed, at=SET + timedelta(days=4.0))], [sealed]):
        asked = [fitted(weighed(rng, days, bent(7.0, 3.0)), breaks).kink for _ in range(50)]
        assert sum(kink is not None for kink in asked) >= 40


def test_a_scale_that_nobody_named_is_a_step() -> None:
    """0.4 g heavier at once from the fifth of eight weighings on: a step is found there, of that size."""
    rng, days = np.random.default_rng(6), (0, 2, 4, 6, 8, 10, 12, 14)
    for _ in range(50):
        masses = [(d, g + (0.4 if d > 7 else 0.0)) for d, g in weighed(rng, days, bent(99.0, 1.0))]
        kink = fitted(masses).kink
        assert kink is not None
        assert kink.entry == 5
        assert kink.step_g == pytest.approx(0.4, abs=0.1)


@pytest.mark.parametrize(
    ("days", "after"),
    [
        ((0, 3, 6, 9, 12), 4),  # three weighings before and two since
        ((0, 3, 6, 9), None),  # one since
        ((0, 6, 9, 12), None),  # two before
        (
            (0, 3, 6, 6.1, 6.2),
            None,
        ),  # two since, within hours of the one before: nearer than 1 kPa d they are one weighing
        ((0, 3, 6, 6.2, 6.4), 4),
    ],
)
def test_how_many_weighings_a_kink_needs(days: tuple[float, ...], after: int | None) -> None:
    """An egg that loses ten times as much from day 6 on, weighed without error, is asked about at the first weighing since, once there are enough."""
    kink = fitted([(float(d), MASS_G * (1.0 - bent(6.0, 10.0)(float(d)))) for d in days]).kink
    assert (None if kink is None else kink.entry) == after


def test_a_whole_egg_has_no_kink() -> None:
    """Of 600 whole eggs, weighed six to twelve times, hardly one is asked about: at most one in a hundred; and none of one bad weighing."""
    rng, asked = np.random.default_rng(7), 0
    for _ in range(600):
        days = sorted(rng.choice(np.arange(0, 22), int(rng.integers(6, 13)), replace=False).tolist())
        asked += fitted(weighed(rng, days, bent(99.0, 1.0))).kink is not None
    assert asked <= 6
    for wrong in range(8):
        masses = weighed(rng, range(0, 16, 2), bent(99.0, 1.0))
        masses[wrong] = (masses[wrong][0], masses[wrong][1] * 1.08)
        assert fitted(masses).kink is None


def test_the_amazon_has_no_kink() -> None:
    """An amazon that hatched by itself (HRB-K), weighed daily: no break is found in its line, with the air of its days taken as even."""
    masses = [(float(r["day"]), float(r["mass_g"])) for r in rows("amazon.csv") if r["mass_g"]]
    assert line(masses, constant(3.0), 0.01).kink is None
    assert line(masses, None, 0.01).kink is None


def test_other_air_is_a_kink_where_no_humidity_was_recorded() -> None:
    """Over days alone a machine that is set drier bends the line: the piece since then is what leads to pip."""
    masses = [(float(d), MASS_G * (1.0 - bent(8.0, 2.0)(float(d)))) for d in range(0, 17, 2)]
    found = line(masses, None, ERROR_G)
    assert found.by_days
    assert found.kink is not None
    assert found.loss_pct(PIP).value == pytest.approx(100.0 * bent(8.0, 2.0)(PIP), abs=0.3)


def test_what_was_written_of_a_shell() -> None:
    """A crack counts once until it is sealed; other candlings are none."""
    book = EggBook(Batch("b", "chicken", SET))
    facts: tuple[tuple[int, Fact], ...] = (
        (1, Candling(FERTILE)),
        (3, Candling(CRACKED)),
        (5, Candling(CRACKED)),
        (6, Sealed("wax")),
        (8, Candling(CRACKED)),
    )
    for day, fact in facts:
        at = SET + timedelta(days=day)
        book = add(book, Entry(at, at, "ada", fact, egg=1))
    assert [((b.at - SET).days, b.sealed) for b in shell_breaks(book, 1)] == [(3, False), (6, True), (8, False)]
    assert shell_breaks(book, 2) == ()
