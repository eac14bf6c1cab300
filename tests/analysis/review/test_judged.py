"""The review: what the record says to each published cause, both ways, and what it must never do."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.adapters.tables.causes import shipped_causes
from monitor.analysis.history.felt import SideDose
from monitor.analysis.review.beyond import Beyond
from monitor.analysis.review.judged import (
    ALIKE,
    BETWEEN,
    CANNOT_SAY,
    COMMON,
    COVERAGE,
    GAP,
    MISSING,
    NEAR,
    NO_BAND,
    NOT_MEASURED,
    NOT_SUPPORTED,
    PART,
    SHORT,
    SUPPORTED,
    UNLIKE,
    VERDICTS,
    Figure,
    Record,
    Verdict,
    exposure_of,
    review,
    shows,
)
from monitor.analysis.review.judged import asked as asked_of
from monitor.domain.published.causes import DOSE, HIGH, LEVEL, LOW, MEAN, THIRDS, WINDOWS, Cause, Check
from monitor.domain.published.exposure import ABOVE, BELOW, LEVELS_C, Dose
from monitor.domain.published.findings import ASKED_OF_HEAT
from monitor.domain.readings.reading import DAY_MS
from tests.planted.innocent import FAULTS, Tally, seasons, total_of, worst

CATALOGUE = shipped_causes()
BANDS = {"temperature": (37.5, 38.1), "humidity": (52.0, 59.0), "loss": (11.0, 14.0)}


class Asked(NamedTuple):
    """One question of one finding."""

    finding: str
    cause: Cause

    @property
    def check(self) -> Check:
        return CATALOGUE.checks[self.cause.check]

    @property
    def key(self) -> tuple[str, str]:
        return self.cause.variable, self.cause.window

    def figure(self, exposure: float, share: float = 1.0) -> Figure:
        """A figure as far out as that in the cause's direction; 1 is just supported."""
        if self.check.kind != MEAN:
            return Figure(exposure * self.cause.levels(self.check)[1])
        low, high = BANDS[self.cause.check]
        sign = 1.0 if self.cause.direction == HIGH else -1.0
        half = (high - low) / 2.0
        value = (low + high) / 2.0 + sign * exposure * (half + self.check.margin)
        above, below = (share, 0.0) if sign > 0 else (0.0, share)
        return Figure(value, low, high, share_below=below, share_above=above)

    def verdict(self, figure: Figure | None, good: tuple[Record, ...] = ()) -> Verdict:
        record = Record("x", {} if figure is None else {self.key: figure})
        return self.of(review(CATALOGUE, self.finding, record, siblings=(), good=good))

    def of(self, verdicts: Sequence[Verdict]) -> Verdict:
        """The one verdict that its cause has."""
        (found,) = (verdict for verdict in verdicts if self.cause in verdict.causes)
        return found

    @property
    def either_way(self) -> bool:
        """Whether its cause is named in both directions, by one source in the same words."""
        rows = [row for row in CATALOGUE.findings[self.finding].causes if row.check == self.cause.check]
        return len({r.direction for r in rows if (r.words, r.source) == (self.cause.words, self.cause.source)}) == 2

    def good(self, *exposures: float) -> tuple[Record, ...]:
        return tuple(Record(f"good-{i}", {self.key: self.figure(x)}) for i, x in enumerate(exposures))


def asked() -> Iterator[Asked]:
    for id_, finding in CATALOGUE.findings.items():
        yield from (Asked(id_, cause) for cause in finding.causes if cause.check)


EVERY = list(asked())
NAMES = [f"{a.finding}-{a.cause.variable}-{a.cause.direction}-{a.cause.window}-{a.cause.source}" for a in EVERY]
MEANS = [a for a in EVERY if a.check.kind == MEAN]
OTHERS = [a for a in EVERY if a.check.kind != MEAN]
DOSES = [a for a in EVERY if a.check.kind == DOSE]


def first_of(finding: str, check: str, direction: str = "") -> Asked:
    return next(a for a in EVERY if (a.finding, a.cause.check, a.cause.direction) == (finding, check, direction))


@pytest.mark.parametrize("one", EVERY, ids=NAMES)
def test_each_cause_is_told_both_ways(one: Asked) -> None:
    """Far out in its direction it is supported; in the band, or with none of it, it is not; without the figure nothing is said."""
    assert one.verdict(one.figure(1.5)).verdict == SUPPORTED
    assert one.verdict(one.figure(0.0)).verdict == NOT_SUPPORTED
    missing = one.verdict(None)
    assert (missing.verdict, missing.reason) == (CANNOT_SAY, MISSING)


@pytest.mark.parametrize(
    "one", MEANS, ids=lambda a: f"{a.finding}-{a.cause.check}-{a.cause.direction}-{a.cause.window}"
)
def test_the_opposite_of_a_cause_does_not_support_it(one: Asked) -> None:
    """Air too humid speaks against air too dry, and so on for every mean; but where its source names either, both support it."""
    opposite = replace(one.figure(-1.5), share_below=1.0, share_above=1.0)
    assert one.verdict(opposite).verdict == (SUPPORTED if one.either_way else NOT_SUPPORTED)


@pytest.mark.parametrize(
    "one", MEANS, ids=lambda a: f"{a.finding}-{a.cause.check}-{a.cause.direction}-{a.cause.window}"
)
def test_a_mean_is_not_told_from_too_little(one: Asked) -> None:
    """Too little coverage, no band, less beyond it than a sensor can tell, and a mean carried by short stays: cannot say, and why."""
    far = one.figure(1.5)
    assert one.verdict(replace(far, coverage=0.79)).reason == COVERAGE
    assert one.verdict(replace(far, coverage=0.8)).verdict == SUPPORTED
    assert one.verdict(replace(far, low=None, high=None)).reason == NO_BAND
    assert one.verdict(one.figure(0.999)).reason == NEAR
    assert one.verdict(one.figure(1.5, share=0.24)).reason == SHORT
    assert one.verdict(one.figure(1.5, share=0.25)).verdict == SUPPORTED
    for verdict in (one.verdict(replace(far, coverage=0.0)), one.verdict(one.figure(1.5, share=0.1))):
        assert verdict.verdict == CANNOT_SAY


@pytest.mark.parametrize("one", OTHERS, ids=lambda a: f"{a.finding}-{a.cause.variable}-{a.cause.window}")
def test_between_what_is_borne_and_what_harms_nothing_is_said(one: Asked) -> None:
    """Up to the lower number not supported, from the upper supported, between the two: cannot say."""
    clear_at, supported_at = one.cause.levels(one.check)
    assert one.verdict(Figure(clear_at)).verdict == NOT_SUPPORTED
    assert one.verdict(Figure((clear_at + supported_at) / 2.0)).reason == BETWEEN
    assert one.verdict(Figure(supported_at)).verdict == SUPPORTED


@pytest.mark.parametrize("one", DOSES, ids=lambda a: f"{a.finding}-{a.cause.variable}-{a.cause.window}")
def test_a_gap_can_hide_a_dose_but_not_unsee_one(one: Asked) -> None:
    """None was seen and a gap is as long as what is asked about: cannot say. It was seen: supported, whatever else is missing."""
    clear_at, supported_at = one.cause.levels(one.check)
    assert one.verdict(Figure(0.0, coverage=0.95, longest_gap_h=clear_at * 1.1)).reason == GAP
    assert one.verdict(Figure(0.0, coverage=0.95, longest_gap_h=clear_at * 0.9)).verdict == NOT_SUPPORTED
    assert one.verdict(Figure(supported_at, coverage=0.1, longest_gap_h=400.0)).verdict == SUPPORTED


@pytest.mark.parametrize("one", EVERY, ids=NAMES)
def test_what_batches_that_went_well_had_too_sets_this_one_apart_no_longer(one: Asked) -> None:
    """Half of three or more had as much: cannot say. Fewer had, or there are only two: it stays supported. Farther out: again."""
    far = one.figure(1.5)
    assert one.verdict(far, one.good(1.6, 1.7, 0.0)).reason == COMMON
    assert one.verdict(far, tuple(Record(f"same-{i}", {one.key: far}) for i in range(3))).reason == COMMON
    assert one.verdict(far, one.good(1.6, 1.7)).verdict == SUPPORTED
    assert one.verdict(far, one.good(1.6, 0.0, 0.0)).verdict == SUPPORTED
    assert one.verdict(one.figure(2.6), one.good(1.6, 1.7, 0.0)).verdict == SUPPORTED
    poor = tuple(Record(r.name, {k: replace(f, coverage=0.1) for k, f in r.figures.items()}) for r in one.good(2, 2, 2))
    assert one.verdict(far, poor).verdict == SUPPORTED


def test_each_record_is_judged_by_its_own_band() -> None:
    """A batch of other birds that went well in its own, drier band is no excuse for air too dry for these."""
    one = first_of("dead-unpipped", "humidity", LOW)
    desert = tuple(Record(f"d-{i}", {one.key: Figure(40.0, 35.0, 45.0)}) for i in range(4))
    assert one.verdict(one.figure(1.5), desert).verdict == SUPPORTED
    assert one.verdict(one.figure(1.5), desert).good == (40.0,) * 4


@pytest.mark.parametrize("finding", CATALOGUE.findings)
def test_what_no_sensor_sees_is_listed(finding: str) -> None:
    """Whatever the record holds, every published cause stands in some verdict, the unseen ones as not measured."""
    for record in (Record("empty", {}), Record("full", {a.key: a.figure(1.5) for a in EVERY})):
        verdicts = review(CATALOGUE, finding, record)
        told = [cause for verdict in verdicts for cause in verdict.causes]
        assert sorted(map(repr, told)) == sorted(map(repr, CATALOGUE.findings[finding].causes))
        unseen = {c for v in verdicts if v.verdict == NOT_MEASURED for c in v.causes}
        assert unseen == {c for c in CATALOGUE.findings[finding].causes if c.unseen}


def test_verdicts_come_in_order() -> None:
    """Supported before cannot say before not supported before not measured, and the strongest first."""
    one = first_of("dead-unpipped", "humidity", HIGH)
    figures = {
        a.key: a.figure(1.2 if a.cause.check == "temperature" else 0.0) for a in MEANS if a.cause.direction == HIGH
    }
    del figures["loss", "whole"]
    verdicts = review(CATALOGUE, "dead-unpipped", Record("x", {**figures, one.key: one.figure(2.0)}))
    places = [VERDICTS.index(v.verdict) for v in verdicts]
    assert places == sorted(places)
    assert one.cause in verdicts[0].causes
    strengths = [v.strength for v in verdicts if v.verdict == SUPPORTED]
    assert strengths == sorted(strengths, reverse=True)
    assert len(strengths) == 2


@pytest.mark.parametrize(
    ("setter", "hatcher", "window"), [(3.0, 0.0, "setter"), (0.0, 3.0, "hatcher"), (3.0, 3.0, "whole")]
)
def test_a_fault_is_strongest_in_the_window_it_fills(setter: float, hatcher: float, window: str) -> None:
    """Eighteen days of one thing and three of another: the window that the fault fills ranks first, as with a matched filter."""
    low = Asked("x", Cause("", "", "", "whole", "humidity", LOW))
    shares = {name: WINDOWS[name][1] for name in ("whole", "setter", "hatcher")}
    exposures = {"setter": setter, "hatcher": hatcher}
    exposures["whole"] = setter * shares["setter"] + hatcher * shares["hatcher"]
    causes = tuple(Cause(name, "MSU-TS", "seen", name, "humidity", LOW) for name in ("hatcher", "whole", "setter"))
    published = replace(CATALOGUE.findings["dead-unpipped"], causes=causes)
    catalogue = replace(CATALOGUE, findings={"dead-unpipped": published})
    record = Record("x", {("humidity", name): low.figure(x) for name, x in exposures.items()})
    verdicts = review(catalogue, "dead-unpipped", record)
    strongest, second, _ = sorted(verdicts, key=lambda v: -v.strength)
    assert strongest.first.window == window
    assert strongest.strength > 1.05 * second.strength


def test_rows_that_ask_the_same_are_one_verdict_and_a_dispute_is_marked() -> None:
    """Sources that agree stand together; where others name the opposite direction, each says so."""
    verdicts = review(CATALOGUE, "dead-unpipped", Record("x", {}))
    dry = next(v for v in verdicts if (v.first.check, v.first.direction, v.first.window) == ("humidity", LOW, "whole"))
    assert {c.source for c in dry.causes} == {"MSU-TS", "VDPOL-13"}
    assert dry.disputed
    verdicts = review(CATALOGUE, "early-hatch", Record("x", {}))
    assert not any(v.disputed for v in verdicts)


def test_other_eggs_are_shown_and_change_nothing() -> None:
    """What this batch's other eggs had stands beside the figure; the verdict is that of the egg."""
    one = first_of("shrink-wrapped", "loss", HIGH)
    record = Record("egg 3", {one.key: one.figure(1.5)})
    siblings = tuple(Record(f"egg {i}", {one.key: Figure(v, 11.0, 14.0)}) for i, v in ((1, 12.0), (2, 19.0)))
    verdict = next(v for v in review(CATALOGUE, one.finding, record, siblings=siblings) if one.cause in v.causes)
    assert verdict.siblings == (12.0, 19.0)
    assert verdict.verdict == SUPPORTED


def test_a_finding_off_the_list_is_refused() -> None:
    """One line says what may be asked."""
    with pytest.raises(ValueError, match="finding 'sad', expected one of clear, "):
        review(CATALOGUE, "sad", Record("x", {}))


# --- what always holds ---------------------------------------------------------------------------------------------

exposures = st.floats(-3.0, 5.0)
shares = st.floats(0.0, 1.0)


@given(
    st.sampled_from([one for one in EVERY if not one.either_way]),
    exposures,
    st.floats(0.0, 3.0),
    shares,
    shares,
    shares,
    st.lists(exposures, max_size=6),
)
def test_more_of_an_exposure_never_takes_support_away(
    one: Asked, exposure: float, more: float, share: float, more_share: float, coverage: float, good: list[float]
) -> None:
    """With all else equal, farther out and for longer: what was supported stays so, and what was not supported was so before."""
    if one.check.kind != MEAN:
        exposure, good = abs(exposure), [abs(x) for x in good]
    gap_h = 50.0 * (1.0 - coverage)
    little = replace(one.figure(exposure, share), coverage=coverage, longest_gap_h=gap_h)
    much = replace(one.figure(exposure + more, max(share, more_share)), coverage=coverage, longest_gap_h=gap_h)
    before, after = (one.verdict(figure, one.good(*good)).verdict for figure in (little, much))
    if before == SUPPORTED:
        assert after == SUPPORTED
    if after == NOT_SUPPORTED:
        assert before == NOT_SUPPORTED


@given(st.sampled_from(EVERY), exposures)
def test_an_exposure_is_read_back_from_its_figure(one: Asked, exposure: float) -> None:
    """The scale on which 1 is just supported is that of the figure, in both directions."""
    if one.check.kind == LEVEL or one.check.kind == DOSE:
        exposure = abs(exposure)
    assert exposure_of(one.cause, one.check, one.figure(exposure)) == pytest.approx(exposure, abs=1e-9)


@given(st.sampled_from([one for one in MEANS if not one.either_way]), exposures, st.floats(0.5, 10.0))
def test_a_band_with_one_limit_is_judged_by_that_limit(one: Asked, exposure: float, half: float) -> None:
    """What lies inside the limit is not supported, what lies a margin beyond it is, whatever the other side would be."""
    figure = one.figure(exposure)
    bare = replace(figure, low=None) if one.cause.direction == HIGH else replace(figure, high=None)
    assert one.verdict(bare).verdict == one.verdict(figure).verdict


# --- heat and cold that a mean hides -----------------------------------------------------------------------------------


def spell(side: str, temp_c: float, hours: float, day: float = 3.0) -> Figure:
    """So long at one temperature, from that day of a hen's term on, in one stay."""
    limit_c = 38.9 if side == ABOVE else 36.7
    stay = round(day * DAY_MS), round((day + hours / 24.0) * DAY_MS)
    dose = Dose(side, limit_c).add(temp_c, temp_c, hours * 3600.0)
    levels = {
        c: (stay,) for c, spent in zip(LEVELS_C[side], dose.at_levels, strict=bool(dose.at_levels)) if spent > 0.0
    }
    found = SideDose(dose, (limit_c,), stays=1, spans=(stay,), levels=levels) if hours else SideDose(dose, (limit_c,))
    return Figure(hours, beyond=Beyond(found, 0, 21.0))


HOT, COOL, CALM = spell(ABOVE, 43.5, 4.0), spell(BELOW, 24.0, 30.0, 12.0), spell(ABOVE, 38.0, 0.0)


def test_a_mean_that_a_spell_alone_moves_is_no_standing_fault() -> None:
    """Set at the edge of its band, half of the time below it: two days at 22 °C take the mean out, and the cold is what is told. Without the
    part beyond the alarm limit the mean would be 37.45 °C; a machine that is too cool besides is still too cool, by what is left."""
    cold = spell(BELOW, 22.0, 48.0, 8.0)
    moved_k = 48.0 * (36.7 - 22.0) / (21.0 * 24.0)
    window = {"days": (0.0, 21.0), "share_below": 0.6}
    for steady_c, verdict in ((37.45, CANNOT_SAY), (37.0, SUPPORTED)):
        mean = Figure(steady_c - moved_k, 37.5, 38.1, **window)  # type: ignore[arg-type]
        one = first_of("late-hatch", "temperature", LOW)
        figures = {(one.cause.check, one.cause.window): mean, ("chill", one.cause.window): cold}
        record = Record("x", figures)
        told = asked_of(CATALOGUE, replace(one.cause, lasting=True), record)
        assert told.verdict == verdict
        assert shows(CATALOGUE, one.cause, record) is (True if verdict == SUPPORTED else None)
        if verdict == CANNOT_SAY:
            assert told.reason == SHORT
        else:
            assert told.strength == pytest.approx(((37.5 - 37.0) + 0.3) / 0.4 * WINDOWS[one.cause.window][1] ** 0.5)
    bare = Record("x", {key: f for key, f in figures.items() if key[0] == "temperature"})
    assert shows(CATALOGUE, one.cause, bare) is True


def test_air_that_stands_beyond_the_alarm_limit_is_a_standing_fault() -> None:
    """39.5 °C all through: too warm by all of it, and not by what lies below the alarm limit."""
    one = first_of("early-hatch", "temperature", HIGH)
    mean = Figure(39.5, 37.5, 38.1, share_above=1.0, days=(0.0, 21.0))
    figures = {("temperature", one.cause.window): mean, ("overheat", one.cause.window): spell(ABOVE, 39.5, 500.0, 0.0)}
    told = asked_of(CATALOGUE, one.cause, Record("x", figures))
    share = WINDOWS[one.cause.window][1] ** 0.5
    assert told.verdict == SUPPORTED
    assert told.strength == pytest.approx((39.5 - 38.1 + 0.3) / 0.4 * share)


def test_four_hours_at_43_degrees_support_too_hot_though_the_mean_lies_in_the_band() -> None:
    """Blood rings: who names heat then is supported, by the time beyond the alarm limit and not by the mean; cold is not."""
    figures = {("temperature", "early"): Figure(37.9, 37.5, 38.1), ("overheat", "early"): HOT}
    verdicts = review(CATALOGUE, "blood-ring", Record("x", figures))
    first = verdicts[0]
    assert (first.verdict, first.by_beyond, first.beyond) == (SUPPORTED, True, HOT.beyond)
    assert {c.source for c in first.causes} == {"UF-CIR1112", "UIUC-TS"}
    assert [v.verdict for v in verdicts if v.asked.direction == LOW and v.check is not None] == [NOT_SUPPORTED]
    near = {**figures, ("temperature", "early"): Figure(38.15, 37.5, 38.1, share_above=0.4)}
    assert review(CATALOGUE, "blood-ring", Record("x", near))[0].verdict == SUPPORTED
    calm = {**figures, ("overheat", "early"): CALM}
    assert all(v.verdict != SUPPORTED for v in review(CATALOGUE, "blood-ring", Record("x", calm)))


def test_thirty_hours_at_24_degrees_are_shown_though_no_source_names_them() -> None:
    """Dead in the middle third: no cause names cold, and that of its third stands first, marked as named by nobody."""
    record = Record("x", {("chill", "middle"): COOL, ("chill", "early"): spell(BELOW, 24.0, 0.0)})
    first, *others = review(CATALOGUE, "dead-middle-third", record)
    assert (first.verdict, first.named, first.asked.check, first.asked.window) == (SUPPORTED, False, "chill", "middle")
    assert first.causes == ()
    assert [v.verdict for v in others if not v.named] == [NOT_SUPPORTED]


@pytest.mark.parametrize("finding", sorted(ASKED_OF_HEAT))
@pytest.mark.parametrize(("side", "check", "direction"), [(ABOVE, "overheat", HIGH), (BELOW, "chill", LOW)])
@pytest.mark.parametrize("third", THIRDS)
def test_heat_and_cold_of_each_third_are_asked_of_every_death(
    finding: str, side: str, check: str, direction: str, third: str
) -> None:
    """A spell that did harm elsewhere supports something in whichever third it was: a cause that names it, or what no source names."""
    day = {"early": 3.0, "middle": 10.0, "late": 17.0}[third]
    harm = spell(side, 46.1 if side == ABOVE else 4.0, 40.0, day)
    windows = {key for key in CATALOGUE.wanted([finding]) if key[0] == check and day / 21.0 in _share_of(key[1])}
    told = review(CATALOGUE, finding, Record("x", dict.fromkeys(windows, harm) | _means(finding)))
    shown = [v for v in told if v.verdict == SUPPORTED and (v.by_beyond or not v.named)]
    assert shown
    assert all(v.asked.direction == direction if v.named else v.asked.check == check for v in shown)


class _share_of:
    def __init__(self, window: str) -> None:
        self.low, self.high = {
            "early": (0.0, 1 / 3), "middle": (1 / 3, 2 / 3), "late": (2 / 3, 1.0), "whole": (0.0, 1.0), "setter": (0.0, 6 / 7),
            "hatcher": (6 / 7, 1.0), "to-middle": (0.0, 16 / 21),
        }[window]  # fmt: skip

    def __contains__(self, share: float) -> bool:
        return self.low <= share < self.high


def _means(finding: str) -> dict[tuple[str, str], Figure]:
    """A temperature in the middle of its band in every window that is asked."""
    return {key: Figure(37.8, 37.5, 38.1) for key in CATALOGUE.wanted([finding]) if key[0] == "temperature"}


def test_a_source_that_speaks_of_an_average_is_not_supported_by_a_spell() -> None:
    """Dead after the pip: `temperature too low on average` is about the mean; the cold is asked beside it, as named by no source."""
    figures = {("temperature", "whole"): Figure(37.6, 37.5, 38.1), ("chill", "whole"): COOL, ("chill", "middle"): COOL}
    told = review(CATALOGUE, "pipped-dead", Record("x", figures))
    named = next(v for v in told if v.asked.check == "temperature")
    assert (named.verdict, named.beyond) == (NOT_SUPPORTED, None)
    assert [v.asked.words for v in told if v.verdict == SUPPORTED] == ["cold in the middle third"]


def test_a_spell_that_good_batches_had_too_sets_nothing_apart() -> None:
    """Three good batches with as much: cannot say. With less: supported."""
    key, record = ("overheat", "early"), Record("x", {("overheat", "early"): HOT} | _means("blood-ring"))
    for hours, verdict in ((4.0, CANNOT_SAY), (0.1, SUPPORTED)):
        good = [Record(f"g-{i}", {key: spell(ABOVE, 43.5, hours)} | _means("blood-ring")) for i in range(3)]
        told = next(v for v in review(CATALOGUE, "blood-ring", record, good=good) if v.asked.direction == HIGH)
        assert (told.verdict, told.reason) == (verdict, COMMON if verdict == CANNOT_SAY else "")


@pytest.mark.parametrize(
    ("hours", "verdict", "reason"),
    [(0.5, SUPPORTED, ""), (0.49, CANNOT_SAY, BETWEEN), (0.25, CANNOT_SAY, BETWEEN), (0.24, NOT_SUPPORTED, "")],
)
def test_half_of_what_did_harm_is_between(hours: float, verdict: str, reason: str) -> None:
    """40.6 °C for half an hour is published to harm: from half of that on nothing is said, of what is named and of what is not."""
    figure = spell(ABOVE, 40.6, hours)
    named = review(CATALOGUE, "blood-ring", Record("x", {("overheat", "early"): figure} | _means("blood-ring")))
    told = next(v for v in named if v.asked.direction == HIGH)
    assert (told.verdict, told.reason) == (verdict, reason)
    (told,) = (
        v for v in review(CATALOGUE, "dead-internal-pip", Record("x", {("overheat", "early"): figure})) if not v.named
    )
    assert (told.verdict, told.reason) == (verdict, reason)


def test_a_time_beyond_a_limit_of_which_no_more_is_known_says_nothing() -> None:
    """Hours without what made them: the mean stands alone, and of what no source names it cannot say."""
    bare = Figure(9.0)
    told = review(CATALOGUE, "blood-ring", Record("x", {("overheat", "early"): bare} | _means("blood-ring")))
    assert all(v.beyond is None and v.verdict != SUPPORTED for v in told)
    (anyway,) = (
        v for v in review(CATALOGUE, "dead-internal-pip", Record("x", {("overheat", "early"): bare})) if not v.named
    )
    assert (anyway.verdict, anyway.reason) == (CANNOT_SAY, MISSING)


@pytest.mark.parametrize(("gap_h", "reason"), [(0.25, ""), (0.26, GAP)])
def test_how_long_a_gap_can_hide_a_spell(gap_h: float, reason: str) -> None:
    """Half of the shortest that did harm: less is told as none."""
    record = Record("x", {("overheat", "early"): replace(CALM, longest_gap_h=gap_h)})
    (told,) = (v for v in review(CATALOGUE, "dead-internal-pip", record) if not v.named)
    assert told.reason == reason


def test_a_gap_can_hide_a_spell() -> None:
    """None was seen, and a gap is long enough for what did harm elsewhere: of what no source names it cannot say."""
    hidden = replace(CALM, longest_gap_h=1.0)
    record = Record("x", {("overheat", "early"): hidden})
    (told,) = (v for v in review(CATALOGUE, "dead-internal-pip", record) if not v.named)
    assert (told.verdict, told.reason) == (CANNOT_SAY, GAP)


# --- a margin to the batches that went well -----------------------------------------------------------------------------

DRY = next(a for a in EVERY if (a.finding, a.cause.check, a.cause.direction) == ("shrink-wrapped", "humidity", LOW))


def house(*rh_pct: float) -> tuple[Record, ...]:
    """Batches that went well, at these humidities."""
    return tuple(Record(f"g-{i}", {DRY.key: Figure(v, 50.0, 60.0, share_below=1.0)}) for i, v in enumerate(rh_pct))


@pytest.mark.parametrize(
    ("rh_pct", "good", "verdict", "reason"),
    [
        (48.5, (48.6, 48.7, 48.6, 48.8, 48.5), CANNOT_SAY, NEAR),
        (45.0, (45.1, 45.2, 45.0, 45.3, 45.1), CANNOT_SAY, ALIKE),  # as far out as ever, by a tenth more
        (41.0, (45.1, 45.2, 45.0, 45.3, 45.1), SUPPORTED, ""),
        (41.0, (45.0, 52.0, 48.0, 55.0, 42.0), CANNOT_SAY, ALIKE),  # a room that differs by as much from batch to batch
        (41.0, (57.0, 57.0), SUPPORTED, ""),  # two batches set nothing apart
        (41.0, (57.0, 57.0, 57.0), SUPPORTED, ""),
        (51.0, (59.0, 59.2, 58.9, 59.1), UNLIKE, ""),  # the band is kept, and none of them was ever so dry
        (49.0, (59.0, 59.2, 58.9, 59.1), UNLIKE, ""),  # beyond it by less than a sensor can tell
        (51.0, (52.9, 52.8, 52.7), NOT_SUPPORTED, ""),  # less than sensors err by
        (51.0, (59.0, 55.0, 51.5, 57.0), NOT_SUPPORTED, ""),
        (51.0, (59.0, 59.2), NOT_SUPPORTED, ""),
    ],
)
def test_supported_needs_a_margin_to_the_house_s_own_good_batches(
    rh_pct: float, good: tuple[float, ...], verdict: str, reason: str
) -> None:
    """Beyond the band, and beyond them by more than sensors and their spread can tell; within the band it is then unlike them."""
    told = DRY.verdict(Figure(rh_pct, 50.0, 60.0, share_below=1.0), house(*good))
    assert (told.verdict, told.reason) == (verdict, reason)


def test_the_other_way_is_not_unlike() -> None:
    """Damper than all of them is nothing to a cause that names dry air."""
    assert DRY.verdict(Figure(59.0, 50.0, 60.0), house(51.0, 51.1, 50.9)).verdict == NOT_SUPPORTED


@pytest.mark.parametrize(("centre", "spread"), [(48.0, 0.1), (47.0, 0.5), (45.0, 1.5), (40.0, 3.0)])
def test_a_batch_like_all_others_of_a_dry_room_is_seldom_supported(centre: float, spread: float) -> None:
    """In a room that is always below the band a batch drawn as the good ones are is supported in one of twenty at most, and never
    unlike them more often."""
    rng, count = np.random.default_rng(5), 600
    told = Counter(
        DRY.verdict(
            Figure(rng.normal(centre, spread), 50.0, 60.0, share_below=1.0), house(*rng.normal(centre, spread, 6))
        ).verdict
        for _ in range(count)
    )
    assert told[SUPPORTED] + told[UNLIKE] <= 0.05 * count


# --- what is measured decides, and a cause has one verdict ---------------------------------------------------------------

DAMP = Figure(70.0, 52.0, 59.0, share_above=1.0)


def test_a_weighed_loss_decides_over_the_humidity() -> None:
    """Damp air, and eggs that lost what they should: not supported, with the humidity beside it. They lost too little: supported by that."""
    one = first_of("wet-chick", "humidity", HIGH)
    for loss_pct, verdict in ((12.5, NOT_SUPPORTED), (8.0, SUPPORTED), (17.0, NOT_SUPPORTED)):
        told = one.of(
            review(
                CATALOGUE, "wet-chick", Record("x", {one.key: DAMP, ("loss", "whole"): Figure(loss_pct, 11.0, 14.0)})
            )
        )
        assert (told.verdict, told.asked.check, told.asked.direction) == (verdict, "loss", LOW)
        assert [(v.asked.check, v.figure) for v in told.beside] == [("humidity", DAMP)]
    assert one.verdict(DAMP).asked.check == "humidity"


def test_in_the_hatcher_the_air_itself_decides() -> None:
    """Dry air there dries membranes, and no loss to pip tells of it."""
    one = next(
        a for a in EVERY if (a.finding, a.cause.check, a.cause.window) == ("shrink-wrapped", "humidity", "hatcher")
    )
    dry = Figure(30.0, 65.0, 75.0, share_below=1.0)
    told = one.of(
        review(CATALOGUE, one.finding, Record("x", {one.key: dry, ("loss", "whole"): Figure(12.5, 11.0, 14.0)}))
    )
    assert (told.verdict, told.asked.check) == (SUPPORTED, "humidity")


@pytest.mark.parametrize(
    ("days", "verdict", "reason"), [(3.0, NOT_SUPPORTED, ""), (10.0, CANNOT_SAY, BETWEEN), (15.0, SUPPORTED, "")]
)
def test_written_days_in_store_decide(days: float, verdict: str, reason: str) -> None:
    """`stored too long` is asked of what was written, and is seen by nobody where nothing was."""
    told = written("fertile-undeveloped", "stored too long", {("stored", "before set"): Figure(days)})
    assert (told.verdict, told.reason) == (verdict, reason)
    assert written("fertile-undeveloped", "stored too long", {}).verdict == NOT_MEASURED


def test_what_is_written_clears_only_what_it_is_about() -> None:
    """Eggs stored for three days: not too long, but whether the climate was wrong nobody saw."""
    told = written("clear", "eggs stored too long", {("stored", "before set"): Figure(3.0)})
    assert (told.verdict, told.reason) == (CANNOT_SAY, PART)
    assert written("clear", "eggs stored too long", {("stored", "before set"): Figure(20.0)}).verdict == SUPPORTED


@pytest.mark.parametrize(
    ("stored", "mass", "verdict", "asked"),
    [
        (3.0, 100.0, NOT_SUPPORTED, "stored"),
        (3.0, 130.0, SUPPORTED, "mass"),
        (20.0, 100.0, SUPPORTED, "stored"),
        (10.0, 116.0, CANNOT_SAY, "stored"),  # between what is harmless and what harms; the mass is usual, if only just
        (20.0, None, SUPPORTED, "stored"),
        (None, 130.0, SUPPORTED, "mass"),
        (None, None, NOT_MEASURED, ""),
    ],
)
def test_old_or_large_is_either_of_two_things_written(
    stored: float | None, mass: float | None, verdict: str, asked: str
) -> None:
    """Whichever shows it; one verdict, also where one of them was not written."""
    figures = {}
    if stored is not None:
        figures["stored", "before set"] = Figure(stored)
    if mass is not None:
        figures["mass", "before set"] = Figure(mass, 83.3, 116.7)
    told = written("late-hatch", "eggs old or large", figures)
    assert (told.verdict, told.asked.written if asked else "") == (verdict, asked)


def written(finding: str, words: str, figures: dict[tuple[str, str], Figure]) -> Verdict:
    """The one verdict on the cause that begins with these words."""
    (told,) = (
        v for v in review(CATALOGUE, finding, Record("x", figures)) if any(c.words.startswith(words) for c in v.causes)
    )
    return told


@given(st.sampled_from([id_ for id_ in CATALOGUE.findings if CATALOGUE.wanted([id_])]), st.data())
def test_a_cause_has_one_verdict(finding: str, data: st.DataObject) -> None:
    """Whatever the record holds, the words of one source stand in one place, and every row of the list in some."""
    keys = sorted(CATALOGUE.wanted([finding]))
    some = data.draw(st.lists(st.sampled_from(keys), unique=True))
    figures = {key: _some_figure(key, data.draw(exposures)) for key in some}
    verdicts = review(CATALOGUE, finding, Record("x", figures))
    places: dict[tuple[str, str], set[int]] = {}
    for place, verdict in enumerate(verdicts):
        for row in verdict.causes:
            places.setdefault((row.words, row.source), set()).add(place)
    assert all(len(where) == 1 for where in places.values())
    assert sorted(repr(row) for v in verdicts for row in v.causes) == sorted(
        map(repr, CATALOGUE.findings[finding].causes)
    )


def _some_figure(key: tuple[str, str], far: float) -> Figure:
    variable = key[0]
    if variable in ("overheat", "chill"):
        side = ABOVE if variable == "overheat" else BELOW
        return spell(side, 43.5 if side == ABOVE else 20.0, abs(far))
    low, high = BANDS.get(variable, (83.3, 116.7))
    middle, half = (low + high) / 2.0, (high - low) / 2.0
    return Figure(middle + far * half, low, high) if variable in (*BANDS, "mass") else Figure(abs(far) * 5.0)


# --- over seasons --------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def tallies() -> list[Tally]:
    """Four seasons of each fault; `python -m tests.planted --innocent` runs forty, and harder ones."""
    return [seasons(fault, 4) for fault in FAULTS]


def test_the_planted_fault_comes_out_first(tallies: list[Tally]) -> None:
    """Over seasons with every kind of fault, the planted one is supported and ranked first in at least nine of ten."""
    total = total_of(tallies)
    assert total.seasons == 4 * len(FAULTS)
    assert total.first >= 0.9 * total.seasons
    for fault, tally in zip(FAULTS, tallies, strict=True):
        assert tally.first >= 2, fault.name


def test_an_innocent_cause_is_seldom_called_supported(tallies: list[Tally]) -> None:
    """Of the questions whose figure the fault left alone, at most one in twenty is called supported, the worst of them included."""
    total = total_of(tallies)
    assert total.innocent.total() > 1000
    assert total.wrongly.total() <= 0.05 * total.innocent.total()
    assert worst(total)[0] <= 0.05


@pytest.mark.parametrize("one", EVERY, ids=NAMES)
def test_whether_a_record_shows_it(one: Asked) -> None:
    """Across batches the same question has three answers: shown, not shown, and none where the figure is missing or too poor."""
    shown = [shows(CATALOGUE, one.cause, Record("b", {one.key: one.figure(far)})) for far in (1.5, 0.0)]
    assert shown == [True, False]
    assert shows(CATALOGUE, one.cause, Record("b", {})) is None
    poor = replace(one.figure(0.0), coverage=0.5, longest_gap_h=90.0)
    assert shows(CATALOGUE, one.cause, Record("b", {one.key: poor})) is None


def test_what_no_sensor_sees_is_never_shown() -> None:
    """A cause without a check has no figure to be shown by."""
    unseen = next(c for f in CATALOGUE.findings.values() for c in f.causes if c.unseen)
    assert shows(CATALOGUE, unseen, Record("b", {("", unseen.window): Figure(1.0)})) is None
