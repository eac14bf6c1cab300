"""A machine that someone has opened: handling that was declared, and an opening that shows in the air.

An opened door has a shape that no failure has. Dry bulb and vapour pressure fall together, within a minute, towards the
room's air, because air is exchanged; then both come back along the machine's usual curve. A dead heater lets the air cool
while its vapour leaves only by the vents; a dry humidifier takes the vapour alone; a sensor that fails jumps alone, or is
back at the next reading. Vapour pressure is judged, not relative humidity: that also moves when only the temperature does.

`watch` takes one reading of one machine at a time and says when to hold back alarms about air that is too cold. Half an hour of
cooling eggs bear, and it is done on purpose (BORNE_S); after that the hold goes on only along the machine's usual curve, and in any
case no longer than MAX_HOLD_S after a visit's first fall; it begins again only after the air was back. Vapour that a door let out takes
longer to come back, and its want harms over days: `settles` says for how long dry air waits, with the same bound; what is usual is
learnt anew where it is not back by then. A contact at the door says when it is open, and so what is a fall; it holds nothing for longer.
Times in seconds are those of the forward clock.
"""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import datetime, timedelta
from typing import NamedTuple

from monitor.domain.air.psychrometrics import saturation_vapour_kpa
from monitor.domain.fixed import fixed
from monitor.domain.readings.reading import Now
from monitor.domain.refusal import Refusal
from monitor.domain.signs.seen import LATE, NOT_CLIMBING, NOT_TURNED

MAX_HANDLING_S = 3600.0  # candling a large machine takes half an hour; who needs more says so again
# From the first fall. Half an hour of cooling three times a week did muscovy eggs good (HARUN-01), and a candling takes as long; 3 to 4 h
# at 32.2 °C only slow growth (MSU-HMG), so half of that is left when the longest hold ends.
BORNE_S = 1800.0
MAX_HOLD_S = 5400.0

AT_WORK, AWAITED, BACK, NOT_BACK = "at work", "awaited", "back", "not back"
QUIET, OPENING, RECOVERING, NOT_RECOVERING, ENDED = "quiet", "opening", "recovering", "not recovering", "ended"
_SUSPECTED, _RELEASED = "suspected", "released"

# What the numbers do is measured on the cabinet model: `python -m tests.domain.signs.opening_figures`.
LEARN_S = 600.0  # time constant of the usual level, and how long it is learnt before anything is recognised
# The air is undisturbed so near its usual level (share: of the usual vapour pressure).
USUAL_K, USUAL_SHARE = 0.15, 0.03
USUAL_RIPPLES = 3.0  # or within so many ripples, for a machine whose thermostat swings widely
FALL_K, FALL_RIPPLES = 0.4, 4.0  # a smaller fall alarms nobody
# With the humidifier dead and the room dry, ten changes of air an hour take 11 % of the vapour in a minute; a door takes a
# fifth or more in 20 s. So the share that must be gone grows with the time it took.
FALL_SHARE, FALL_SHARE_S, FALL_FREE_S = 0.12, 0.0015, 30.0
SURE_SHARE = 0.25  # in two minutes no vent takes so much, however the humidifier swings
DEEP_K, DEEP_SHARE = 2.0, 0.7  # a room that is damp itself leaves more of it: so much is enough with a fall as deep
# From undisturbed to fallen: no longer than this, or two intervals and their jitter.
FALL_S, FALL_INTERVALS = 120.0, 2.2
SAME_RH_PCT = 2.0  # a falsely low temperature with a steady humidity makes the vapour pressure look lower too
BACK_SHARE = 0.2  # of a fall; what has come back to less at the next reading was no air
HOME_FALL_K = 1.0  # below the usual level again, after it was reached: another opening
BACK_K, BACK_VAPOUR_SHARE = 0.3, 0.06  # so near the usual level the opening is over
TURN_K, TURN_SHARE = 0.15, 0.05  # the air has turned when it is this far, or this share of its fall, above its lowest
# Five minutes of candling and the probe's lag; after that, and after BORNE_S, the door was forgotten.
TURN_S, TURN_INTERVALS = 360.0, 2.0
REOPEN_SHARE, REOPEN_S = 0.08, 30.0  # of the usual vapour pressure, lost within about so long on the way back
# Within this the air must make a step on its way back: walls and eggs have cooled, too.
STALL_S, STALL_INTERVALS = 600.0, 3.0
STALL_SHARE, STALL_K = 0.1, 0.05  # the step: this share of what the usual curve would give
RECOVERY_S = 120.0  # time constant of the usual curve, before one was seen
RECOVERY_S_LOW, RECOVERY_S_HIGH = 30.0, 600.0
RECOVERY_SHARE = 0.25  # how much of its time constant one opening teaches
RELEARN_S = 7200.0  # air that stays away so long has a new usual level
SETTLE_S = 2700.0  # after the door was shut: a pan takes half an hour and more to make the air moist again (judgement)
HOME_SHARE = 0.5  # of the vapour that was gone: with so much of it back the rest only takes its time
# And with so much of it back what makes the air moist works, and another opening is one of its own (judgement).
MOIST_SHARE = 0.75
# What a controller that was cold goes too far, and for how long: so much more than it did after its last doors is as usual (judgement).
OVER_MORE, OVER_MORE_K = 1.25, 0.3
# So soon after such a fall a controller goes too far also where the room is as moist as the machine (judgement). A swing goes two ripples down.
DIP_K, DIP_RIPPLES, DIP_S = 0.7, 2.5, 300.0
# Of what was longer, or higher, for each time that it was not: a machine swings several times after a door, and may be opened twenty times a day
# (judgement).
OVER_FADE = 0.002
# Eggs that are cooled each day: so long at least, on one of so many days before, so near to the same hour; then so much longer is no news.
COOLED_S, COOLED_DAYS, COOLED_NEAR_S, COOLED_MORE_S = 600.0, 2, 3600.0, 900.0
LONGEST_COOLED_S = 3600.0  # as long as may be declared: signs/cooling.py
KEPT_VISITS, DAY_S = 8, 86_400.0


class HandlingError(Refusal):
    """A handling that cannot be declared; the message is one line for a person."""


@fixed
class Handling:
    """A declared stretch of work at an open machine; since and until are labels, until_mono_s counts."""

    machine: str
    since: datetime
    until: datetime
    until_mono_s: float
    by: str


def declare(machine: str, *, for_s: float, by: str, now: Now) -> Handling:
    """Handling from now on. Raises HandlingError unless for_s is above 0 and at most MAX_HANDLING_S."""
    if not 0.0 < for_s <= MAX_HANDLING_S:
        longest = MAX_HANDLING_S / 60.0
        raise HandlingError(f"handling {machine}", f"{for_s / 60.0:g} min", f"more than 0 and at most {longest:g} min")
    return Handling(machine, now.utc, now.utc + timedelta(seconds=for_s), now.mono_s + for_s, by)


def finish(handling: Handling, now: Now) -> Handling:
    """The work is done before its time; done later, this changes nothing."""
    if now.mono_s >= handling.until_mono_s:
        return handling
    return replace(handling, until=now.utc, until_mono_s=now.mono_s)


def resume(handling: Handling, now: Now) -> Handling:
    """The handling after a restart, when its labels are all that is left: no longer than one declared now, whatever they say."""
    left_s = (handling.until - now.utc).total_seconds()
    return replace(handling, until_mono_s=now.mono_s + min(max(0.0, left_s), MAX_HANDLING_S))


def outcome(handling: Handling, now: Now, outside: bool, *, awaited: bool) -> str:
    """What to do about a handling, with a fresh reading of its machine's air.

    outside: whether any low or high limit of the machine is passed. awaited: whether that is what a door does, and may wait. AT_WORK:
    its time runs. BACK: forget it. AWAITED: the air is coming back as usual. NOT_BACK: a person is told.
    """
    if now.mono_s < handling.until_mono_s:
        return AT_WORK
    if not outside:
        return BACK
    return AWAITED if awaited else NOT_BACK


@fixed
class Episode:
    """What is followed from a fall on. since_s: when the air was last undisturbed; the hold counts from there.

    first_k, first_kpa: the fall at its first reading. deepest_c: of the whole episode; lowest_c, lowest_s: since the door was
    last opened. step_c, step_s: the last step on the way back. held_s, released_s: when the hold began, and when it was given up.
    home_s: when its temperature was last back, while vapour was still awaited. worked: whether somebody said that they work there.
    """

    phase: str
    since_s: float
    first_k: float
    first_kpa: float
    deepest_c: float
    lowest_c: float
    lowest_s: float
    turn_by_s: float
    last_kpa: float
    step_c: float = 0.0
    step_s: float = 0.0
    held_s: float = math.inf
    released_s: float | None = None
    home_s: float = -math.inf
    worked: bool = False


@fixed
class Watch:
    """What is known of one machine, whatever its age: the usual level of both quantities, and their mean distance from it.

    near_s: when the air was last undisturbed. learnt_s: how long the level was learnt, up to LEARN_S. recovery_s: time constant
    of the usual curve. opened_s: when the door was last seen open; first_s: when it first was, since the air was undisturbed.
    visit_s: the first fall of those that somebody's being there explains: eggs are candled tray by tray. last_kpa: of the newest
    readings that showed no door. driest_kpa: since the door was last seen open. above_s, above_k: since when, and how far at most, it has been
    warmer than usual after a door; over_s, over_k: for how long and how far it goes too far then, as learnt. visits: when the last long
    openings began, and how long the door stood open, s; or when it was too cold, and for how long, of what came back by itself and no door
    was seen. cold_s: since when that is so now; cooled_s: when it last was for no longer than usual at its hour.
    dipped_s: when the temperature was last well below its usual level, whatever the vapour said.
    """

    newest_s: float = -math.inf
    near_s: float = -math.inf
    learnt_s: float = 0.0
    usual_c: float = 0.0
    ripple_k: float = 0.0
    usual_kpa: float = 0.0
    ripple_kpa: float = 0.0
    recovery_s: float = RECOVERY_S
    episode: Episode | None = None
    opened_s: float = -math.inf
    visit_s: float = -math.inf
    last_kpa: float = 0.0
    first_s: float = -math.inf
    driest_kpa: float = math.inf
    above_s: float = math.inf
    above_k: float = 0.0
    over_s: float = 0.0
    over_k: float = 0.0
    visits: tuple[tuple[float, float], ...] = ()
    cold_s: float = math.inf
    cooled_s: float = -math.inf
    dipped_s: float = -math.inf


@fixed
class Opening:
    """A recognised opening, to be recorded. hold_s: for how long alarms were held back; back: whether the air came back."""

    since_s: float
    until_s: float
    deepest_c: float
    hold_s: float
    back: bool


@fixed
class Verdict:
    """What one reading says. why: of the NOT_RECOVERING that gives a hold up. opening: of ENDED, what to record."""

    kind: str
    why: str = ""
    opening: Opening | None = None


def holds(state: Watch, mono_s: float) -> bool:
    """Whether low alarms are held back at this instant, also between readings and when none come any more."""
    episode = state.episode
    if episode is None or episode.phase not in (OPENING, RECOVERING):
        return False
    return mono_s < state.visit_s + MAX_HOLD_S


def settles(state: Watch, mono_s: float) -> bool:
    """Whether the machine was open so lately that its air may still be dry from that."""
    if mono_s >= state.first_s + MAX_HOLD_S:
        return False
    # After its time only what is on its way home has more.
    gone_kpa, home_kpa = state.usual_kpa - state.driest_kpa, state.last_kpa - state.driest_kpa
    return mono_s < max(state.opened_s, state.cooled_s) + SETTLE_S or home_kpa >= HOME_SHARE * gone_kpa > 0.0


def overshoots(state: Watch, mono_s: float) -> bool:
    """Whether the machine was open so lately that its controller may still go too far, or began to while it was."""
    return mono_s < state.opened_s + SETTLE_S or state.above_s < math.inf


def dipped(state: Watch, mono_s: float) -> bool:
    """Whether its temperature fell so lately that its controller may go too far for a moment, though no door was seen. Not while it is low at the
    probe that is watched: what is hot then is another, where the air does not mix."""
    return state.dipped_s < state.newest_s and mono_s < state.dipped_s + DIP_S


def usual_overshoot(state: Watch, mono_s: float) -> tuple[bool, float]:
    """Whether it has been warmer than usual for no longer than after its last doors; and up to which temperature it then went, °C.

    Of air that is not warmer than usual the first is not so: it is another probe that is too hot."""
    as_long = 0.0 <= mono_s - state.above_s <= OVER_MORE * state.over_s
    return as_long, state.usual_c + OVER_MORE * state.over_k + OVER_MORE_K


def cold_as_usual(state: Watch, mono_s: float) -> bool:
    """Whether it is too cold at an hour at which it was lately, and for no longer than then, when it came back by itself: eggs are cooled each day in
    machines, too, whose door lets out too little vapour to be seen."""
    since_s = state.cold_s
    return since_s < math.inf and mono_s - since_s < _each_day_s(state.visits, since_s)


class _Air(NamedTuple):
    mono_s: float
    dry_bulb_c: float
    vapour_kpa: float
    interval_s: float
    band_low_c: float
    cold_c: float
    at_work: bool
    door_open: bool


_NOTHING = Verdict(QUIET)
_STANDING = {
    _SUSPECTED: _NOTHING,
    OPENING: Verdict(OPENING),
    RECOVERING: Verdict(RECOVERING),
    _RELEASED: Verdict(NOT_RECOVERING),
}


def watch(  # noqa: PLR0917 - with each reading
    state: Watch,
    mono_s: float,
    dry_bulb_c: float,
    vapour_kpa: float,
    *,
    interval_s: float,
    band_low_c: float | None = None,
    cold_c: float | None = None,
    at_work: bool = False,
    door_open: bool = False,
) -> tuple[Watch, Verdict]:
    """One reading of the machine's air: dry bulb, °C, and vapour pressure, kPa, on the forward clock.

    interval_s: how often such readings come. band_low_c: the highest low limit that is judged; air above it needs no hold. cold_c: the one
    below which it is too cold; no opening is over before.
    at_work: somebody said that they work at the machine: then whatever falls is an opening, and none of that time is the machine's own.
    door_open: a contact says that the door is open, or was a moment ago: then whatever falls is an opening, too, and has an opening's time.
    A reading that is not newer than the last changes nothing. Raises ValueError for a value that is not finite.
    """
    if not (math.isfinite(dry_bulb_c) and math.isfinite(vapour_kpa)):
        raise ValueError(f"opening: dry_bulb_c {dry_bulb_c}, vapour_kpa {vapour_kpa}, expected finite numbers")
    episode = state.episode
    if mono_s <= state.newest_s:
        return state, _NOTHING if episode is None else _STANDING[episode.phase]
    if overshoots(state, mono_s):
        state = _above(state, mono_s, dry_bulb_c)
    if cold_c is not None and (dry_bulb_c < cold_c or state.cold_s < math.inf):
        # What began is over a little above the limit: at its edge it is one cold, and no new one at each reading.
        state = _below(state, mono_s, cold=dry_bulb_c < cold_c + BACK_K)
    if episode is None and state.usual_c - dry_bulb_c < FALL_K:  # as nearly always
        return _learn(state, mono_s, dry_bulb_c, vapour_kpa, interval_s, door_open), _NOTHING
    if state.usual_c - dry_bulb_c >= max(DIP_K, DIP_RIPPLES * state.ripple_k) and state.learnt_s >= LEARN_S:
        state = replace(state, dipped_s=mono_s)
    least_c = -math.inf if band_low_c is None else band_low_c
    cold_c = -math.inf if cold_c is None else cold_c
    air = _Air(mono_s, dry_bulb_c, vapour_kpa, interval_s, least_c, cold_c, at_work, door_open)
    if episode is None:
        return _look(state, air)
    if episode.phase == _SUSPECTED:
        return _confirm(state, episode, air)
    if episode.phase == _RELEASED:
        return _await(state, episode, air)
    return _follow(state, episode, air)


def _above(state: Watch, mono_s: float, dry_bulb_c: float) -> Watch:
    """After a door: how far, and for how long, it is warmer than usual; what came back by itself is learnt."""
    above_k, since_s = dry_bulb_c - state.usual_c, state.above_s
    if above_k > USUAL_K:
        if mono_s - since_s > MAX_HOLD_S:  # this is no overshoot any more
            return replace(state, above_s=math.inf, above_k=0.0, opened_s=-math.inf)
        return replace(state, above_s=min(mono_s, since_s), above_k=max(above_k, state.above_k))
    if since_s == math.inf:
        return state
    over_s, over_k = _grown(state.over_s, mono_s - since_s), _grown(state.over_k, state.above_k)
    return replace(state, above_s=math.inf, above_k=0.0, over_s=over_s, over_k=over_k)


def _below(state: Watch, mono_s: float, *, cold: bool) -> Watch:
    """Too cold without a door that is seen: since when, and once it is over, for how long it was."""
    if state.episode is not None:
        return replace(state, cold_s=math.inf)  # whose end says it
    if cold:
        state = state if state.cold_s < math.inf else replace(state, cold_s=mono_s)
        if not cold_as_usual(state, mono_s):
            return state
        # For its vapour it is a door; that it is one nobody saw, and heat after it may be a thermostat that fails.
        return replace(state, cooled_s=mono_s, first_s=_first_open_s(state, mono_s))
    since_s, visits = state.cold_s, state.visits
    if COOLED_S <= mono_s - since_s <= MAX_HOLD_S:
        visits = (*visits, (since_s, mono_s - since_s))[-KEPT_VISITS:]
    return replace(state, cold_s=math.inf, visits=visits)


def _grown(learnt: float, seen: float) -> float:
    """What was more is learnt at once, what was less by and by."""
    return seen if seen > learnt else learnt + OVER_FADE * (seen - learnt)


def _look(state: Watch, air: _Air) -> tuple[Watch, Verdict]:
    """Undisturbed so far: learn what is usual, unless this reading has fallen."""
    seen = _visited(state, air) or _let_out_lately(state, air)
    explained = state.learnt_s >= LEARN_S and seen and not _is_usual(state, air)
    if not (_fallen(state, air) or explained):
        door_open, interval_s = air.door_open, air.interval_s
        return _learn(
            state, air.mono_s, air.dry_bulb_c, air.vapour_kpa, interval_s=interval_s, door_open=door_open
        ), _NOTHING
    episode = Episode(
        _SUSPECTED,
        since_s=state.near_s,
        first_k=state.usual_c - air.dry_bulb_c,
        first_kpa=state.usual_kpa - air.vapour_kpa,
        deepest_c=air.dry_bulb_c,
        lowest_c=air.dry_bulb_c,
        lowest_s=air.mono_s,
        turn_by_s=state.near_s + TURN_S + TURN_INTERVALS * air.interval_s,
        last_kpa=air.vapour_kpa,
    )
    return replace(state, newest_s=air.mono_s, episode=episode), _NOTHING


def _first(state: Watch, mono_s: float, dry_bulb_c: float, vapour_kpa: float) -> Watch:  # noqa: PLR0917 - with each reading
    """Nothing is usual yet but this one reading."""
    return Watch(
        mono_s,
        mono_s,
        usual_c=dry_bulb_c,
        usual_kpa=vapour_kpa,
        recovery_s=state.recovery_s,
        last_kpa=vapour_kpa,
        over_s=state.over_s,
        over_k=state.over_k,
        visits=state.visits,
        cold_s=state.cold_s,
    )


def _visited(state: Watch, air: _Air) -> bool:
    """Whether somebody's being there explains whatever falls."""
    return air.at_work or air.door_open or air.mono_s < state.visit_s + BORNE_S


def _fallen(state: Watch, air: _Air) -> bool:
    """Whether the air fell as exchanged air does: both quantities, far enough, fast enough."""
    drop_k = state.usual_c - air.dry_bulb_c
    if drop_k < FALL_K or drop_k < FALL_RIPPLES * state.ripple_k or state.learnt_s < LEARN_S:
        return False
    if not _let_out(state, air.mono_s, air.vapour_kpa, air.interval_s, drop_k):
        return False
    return _is_another_air(state, air)


def _let_out_lately(state: Watch, air: _Air) -> bool:
    """Whether the vapour has just shown an open door, which a machine that swings widely hides in its temperature."""
    return air.mono_s < min(state.opened_s + TURN_S, state.first_s + BORNE_S) and _is_another_air(state, air)


def _is_another_air(state: Watch, air: _Air) -> bool:
    """Whether its humidity is another one, too: a falsely low temperature alone makes the vapour look lower."""
    usual_pct = 100.0 * state.usual_kpa / saturation_vapour_kpa(state.usual_c)
    return abs(100.0 * air.vapour_kpa / saturation_vapour_kpa(air.dry_bulb_c) - usual_pct) > SAME_RH_PCT


def _let_out(state: Watch, mono_s: float, vapour_kpa: float, interval_s: float, fell_k: float = 0.0) -> bool:  # noqa: PLR0917 - with each fall
    """Whether so much vapour is gone, so soon, as only an open door lets out. A strong heater keeps the air warm meanwhile."""
    if state.learnt_s < LEARN_S:
        return False
    took_s, gone_kpa = mono_s - state.near_s, state.usual_kpa - vapour_kpa
    soon_s, passed_s = max(FALL_S, FALL_INTERVALS * interval_s), mono_s - state.newest_s
    if took_s > soon_s and state.near_s > state.first_s and passed_s <= FALL_INTERVALS * interval_s:
        # It has gone away from its usual level by itself since it was back: from where it was by now.
        took_s, gone_kpa = passed_s + REOPEN_S, state.last_kpa - vapour_kpa
    share = FALL_SHARE + FALL_SHARE_S * max(0.0, took_s - FALL_FREE_S)
    if fell_k >= DEEP_K:
        share *= DEEP_SHARE
    ripple_kpa = min(FALL_RIPPLES * state.ripple_kpa, SURE_SHARE * state.usual_kpa)
    return took_s <= soon_s and 0.0 < max(share * state.usual_kpa, ripple_kpa) <= gone_kpa


def _learn(  # noqa: PLR0917 - with each reading
    state: Watch, mono_s: float, dry_bulb_c: float, vapour_kpa: float, interval_s: float, door_open: bool
) -> Watch:
    """The usual level after one more reading, which counts for no more than the edge of what is usual."""
    if state.near_s <= state.first_s and not settles(state, mono_s):
        if not state.learnt_s:
            return _first(state, mono_s, dry_bulb_c, vapour_kpa)
        # Not back by now: another vapour is usual. Of the temperature that says nothing.
        state = replace(state, near_s=mono_s, usual_kpa=vapour_kpa, ripple_kpa=0.0, first_s=-math.inf)
    passed_s, most_s = mono_s - state.newest_s, 3.0 * interval_s  # silence teaches nothing
    if passed_s > most_s:
        passed_s = most_s
    learnt_s, usual_c, usual_kpa = state.learnt_s, state.usual_c, state.usual_kpa
    ripple_k, ripple_kpa = state.ripple_k, state.ripple_kpa
    weight = passed_s / (passed_s + learnt_s)  # a plain mean at first, then a fading one
    near_k, near_kpa = USUAL_RIPPLES * ripple_k, USUAL_RIPPLES * ripple_kpa
    if near_k < USUAL_K:
        near_k = USUAL_K
    if near_kpa < USUAL_SHARE * usual_kpa:
        near_kpa = USUAL_SHARE * usual_kpa
    away_k, away_kpa = dry_bulb_c - usual_c, vapour_kpa - usual_kpa
    warm = away_k >= -near_k
    near = warm and away_kpa >= -near_kpa
    weight_kpa, driest_kpa = weight, math.inf
    opened_s, first_s = state.opened_s, state.first_s
    last_kpa = _lately(state.last_kpa, vapour_kpa, mono_s - state.newest_s)
    if away_kpa < -USUAL_SHARE * usual_kpa:
        again = False
        if settles(state, mono_s):
            weight_kpa = 0.0  # what a door let out says nothing of what is usual
            again = state.last_kpa - vapour_kpa >= REOPEN_SHARE * usual_kpa
            driest_kpa = min(state.driest_kpa, vapour_kpa)
        said = door_open and learnt_s >= LEARN_S
        if again or said or _let_out(state, mono_s, vapour_kpa, interval_s):
            opened_s, first_s = mono_s, _first_open_s(state, mono_s)
    if not (near and away_k <= near_k and away_kpa <= near_kpa):
        if not -near_k <= away_k <= near_k and (state.above_s < math.inf or settles(state, mono_s)):
            weight = 0.0  # nor does what the controller makes of it
        elif away_k > near_k and mono_s < state.dipped_s + DIP_S:
            weight = 0.0  # nor what it makes of a door that nobody saw
        away_k, away_kpa = min(max(away_k, -near_k), near_k), min(max(away_kpa, -near_kpa), near_kpa)
    learnt_s += passed_s
    near = near and away_kpa >= -BACK_VAPOUR_SHARE * usual_kpa
    if not near and warm and _moist_again(state, vapour_kpa):
        near, first_s = True, max(first_s, opened_s)  # what is still missing is the last door's
    return Watch(
        mono_s,
        # A slow fall makes the ripple wide, and would be near the usual all the way: then its end looked as sudden as a door.
        mono_s if near else state.near_s,
        learnt_s if learnt_s < LEARN_S else LEARN_S,
        usual_c + weight * away_k,
        ripple_k + weight * (abs(away_k) - ripple_k),
        usual_kpa + weight_kpa * away_kpa,
        ripple_kpa + weight_kpa * (abs(away_kpa) - ripple_kpa),
        state.recovery_s,
        None,
        opened_s,
        state.visit_s,
        last_kpa,
        first_s,
        driest_kpa,
        state.above_s,
        state.above_k,
        state.over_s,
        state.over_k,
        state.visits,
        state.cold_s,
        state.cooled_s,
        state.dipped_s,
    )


def _lately(before_kpa: float, vapour_kpa: float, passed_s: float) -> float:
    """The most vapour of the last half minute or so: a sensor's own lag draws a fall over several readings."""
    if vapour_kpa >= before_kpa:
        return vapour_kpa
    return vapour_kpa + (before_kpa - vapour_kpa) * REOPEN_S / (REOPEN_S + passed_s)


def _first_open_s(state: Watch, mono_s: float) -> float:
    """Of a door that is open now: when it first was, since the air was undisturbed."""
    return mono_s if state.near_s > state.first_s else state.first_s


def _moist_again(state: Watch, vapour_kpa: float) -> bool:
    """Whether most of the vapour that a door let out has come back by itself."""
    gone_kpa = state.usual_kpa - state.driest_kpa
    return vapour_kpa - state.driest_kpa >= MOIST_SHARE * gone_kpa > 0.0


def _confirm(state: Watch, episode: Episode, air: _Air) -> tuple[Watch, Verdict]:
    """The reading after a fall: air stays down or comes back slowly; only a sensor is back at once."""
    drop_k, drop_kpa = state.usual_c - air.dry_bulb_c, state.usual_kpa - air.vapour_kpa
    # Of a fall that somebody explains the vapour needs no shape: a damp room may even add some.
    seen = _visited(state, air) or _let_out_lately(state, air)
    as_air = seen or drop_kpa >= BACK_SHARE * episode.first_kpa
    if drop_k < BACK_SHARE * episode.first_k or not as_air:
        return _look(replace(state, episode=None), air)
    if air.mono_s >= state.visit_s + BORNE_S:
        state = replace(state, visit_s=episode.since_s)
    # A strong heater may have it on its way home by now: it was open when it fell.
    fell_s = state.newest_s
    state = replace(state, opened_s=max(fell_s, state.opened_s), first_s=_first_open_s(state, fell_s))
    return _follow(state, replace(episode, phase=OPENING, held_s=air.mono_s), air)


def _follow(state: Watch, episode: Episode, air: _Air) -> tuple[Watch, Verdict]:
    """While the hold lasts: down, up, back; or not, and then the hold ends once it is longer than eggs are cooled on purpose."""
    if _is_back(state, air):
        return _end(state, episode, air, back=True)
    # The next reading may come too late to be told by.
    if air.mono_s + air.interval_s > state.visit_s + MAX_HOLD_S and not air.at_work:
        return _give_up(state, episode, air, why=LATE)
    borne = air.at_work or air.mono_s < _borne_until_s(state, episode)
    turn_by_s = air.mono_s + TURN_S + TURN_INTERVALS * air.interval_s
    if air.at_work:  # when the work is over nothing is borne any more that is not on its way back
        state = replace(state, visit_s=air.mono_s - BORNE_S)
        episode = replace(episode, turn_by_s=turn_by_s, worked=True)
    if episode.phase == RECOVERING:
        again = episode.last_kpa - air.vapour_kpa >= REOPEN_SHARE * state.usual_kpa
        if episode.home_s > episode.lowest_s and (again or _fell_from_home(state, air)):
            if air.mono_s >= state.visit_s + BORNE_S:
                state = replace(state, visit_s=air.mono_s)  # somebody came again; till then only vapour was awaited
        elif not again:
            return _climb(state, episode, air, borne)
        episode = replace(episode, phase=OPENING, lowest_c=air.dry_bulb_c, lowest_s=air.mono_s, turn_by_s=turn_by_s)
    turn_k = max(TURN_K, TURN_SHARE * (state.usual_c - episode.lowest_c))
    if air.dry_bulb_c >= episode.lowest_c + turn_k:
        return _go_on(state, replace(episode, phase=RECOVERING, step_c=air.dry_bulb_c, step_s=air.mono_s), air)
    if air.mono_s >= episode.turn_by_s and not borne:
        return _give_up(state, episode, air, why=NOT_TURNED)
    return _go_on(state, episode, air)


def _borne_until_s(state: Watch, episode: Episode) -> float:
    """Until when an opening may last: of work that was declared, which moves the visit along, by its hour from its own first fall."""
    began_s = episode.since_s if episode.worked else state.visit_s
    return max(state.visit_s + BORNE_S, began_s + _each_day_s(state.visits, began_s))


def _each_day_s(visits: tuple[tuple[float, float], ...], began_s: float) -> float:
    """How long what began then may last, as on the last days, where it came at about this hour; 0 where it did not."""
    lately_s = 0.0
    for since_s, lasted_s in visits:
        ago = (began_s - since_s) / DAY_S
        if 1 <= round(ago) <= COOLED_DAYS and abs(ago - round(ago)) * DAY_S <= COOLED_NEAR_S:
            lately_s = max(lately_s, lasted_s)
    return min(lately_s + COOLED_MORE_S, LONGEST_COOLED_S) if lately_s else 0.0


def _climb(state: Watch, episode: Episode, air: _Air, borne: bool) -> tuple[Watch, Verdict]:  # noqa: PLR0917 - one step
    """On the way back: each stretch of time must bring a step of what the usual curve would bring. borne: or no longer than eggs bear."""
    if _within(state, air) and state.usual_c - air.dry_bulb_c <= _back_k(state):
        # Only the vapour is awaited, and that may use all of the hold.
        return _go_on(state, replace(episode, home_s=air.mono_s, step_s=air.mono_s), air)
    stretch_s = max(STALL_S, STALL_INTERVALS * air.interval_s)
    usual_k = (state.usual_c - episode.step_c) * (1.0 - math.exp(-stretch_s / state.recovery_s))
    if air.dry_bulb_c >= episode.step_c + max(STALL_K, STALL_SHARE * usual_k):
        return _go_on(state, replace(episode, step_c=air.dry_bulb_c, step_s=air.mono_s), air)
    if air.mono_s - episode.step_s < stretch_s:
        return _go_on(state, episode, air)
    if not borne:
        return _give_up(state, episode, air, why=NOT_CLIMBING)
    return _go_on(state, replace(episode, phase=OPENING, lowest_c=air.dry_bulb_c, lowest_s=air.mono_s), air)


def _go_on(state: Watch, episode: Episode, air: _Air) -> tuple[Watch, Verdict]:
    if air.dry_bulb_c < episode.lowest_c:
        episode = replace(episode, lowest_c=air.dry_bulb_c, lowest_s=air.mono_s)
    last_kpa = _lately(episode.last_kpa, air.vapour_kpa, air.mono_s - state.newest_s)
    episode = replace(episode, deepest_c=min(episode.deepest_c, air.dry_bulb_c), last_kpa=last_kpa)
    if episode.phase == OPENING or air.door_open:
        state = replace(state, opened_s=air.mono_s, first_s=_first_open_s(state, air.mono_s))
    driest_kpa = min(state.driest_kpa, air.vapour_kpa)
    state = replace(state, newest_s=air.mono_s, episode=episode, last_kpa=last_kpa, driest_kpa=driest_kpa)
    return state, _STANDING[episode.phase]


def _give_up(state: Watch, episode: Episode, air: _Air, *, why: str) -> tuple[Watch, Verdict]:
    """The hold is over. Air within its band is no trouble, and then neither is the opening."""
    if air.dry_bulb_c >= air.band_low_c:
        return _end(state, episode, air, back=False)
    state, _ = _go_on(state, replace(episode, phase=_RELEASED, released_s=air.mono_s), air)
    return state, Verdict(NOT_RECOVERING, why)


def _await(state: Watch, episode: Episode, air: _Air) -> tuple[Watch, Verdict]:
    """After the hold: nothing is held again before the air was back, or has a new usual level."""
    if _is_back(state, air):
        return _end(state, episode, air, back=True)
    if air.mono_s < episode.since_s + RELEARN_S:
        return _go_on(state, episode, air)
    state, verdict = _end(state, episode, air, back=False)
    since_s = episode.since_s  # whatever it was, it is no new cold
    return Watch(
        recovery_s=state.recovery_s, over_s=state.over_s, over_k=state.over_k, visits=state.visits, cold_s=since_s
    ), verdict


def _end(state: Watch, episode: Episode, air: _Air, *, back: bool) -> tuple[Watch, Verdict]:
    recovery_s, back_k = state.recovery_s, _back_k(state)
    fall_k = state.usual_c - episode.lowest_c
    if back and episode.phase == RECOVERING and fall_k > 2.0 * back_k:
        seen_s = (air.mono_s - episode.lowest_s) / math.log(fall_k / back_k)
        recovery_s += RECOVERY_SHARE * (min(max(seen_s, RECOVERY_S_LOW), RECOVERY_S_HIGH) - recovery_s)
    released_s = air.mono_s if episode.released_s is None else episode.released_s
    hold_s = max(0.0, min(released_s, state.visit_s + MAX_HOLD_S) - episode.held_s)
    opening = Opening(episode.since_s, air.mono_s, min(episode.deepest_c, air.dry_bulb_c), hold_s, back)
    near_s = air.mono_s if back else state.near_s
    driest_kpa, first_s = state.driest_kpa, state.first_s
    if back and _is_moist(state, air.vapour_kpa):
        driest_kpa = math.inf
    elif back:
        first_s = max(first_s, state.opened_s)  # the rest is the last door's
    visits = state.visits
    began_s = episode.since_s if episode.worked else state.visit_s  # work moves the visit along
    lasted_s = episode.lowest_s - began_s
    if back and lasted_s >= COOLED_S:
        # Tray by tray, it is one; and what is declared for each day begins before its time, too.
        visits = (*(v for v in visits if v[0] != began_s), (began_s, lasted_s))[-KEPT_VISITS:]
    state = replace(
        state,
        newest_s=air.mono_s,
        near_s=near_s,
        recovery_s=recovery_s,
        episode=None,
        last_kpa=air.vapour_kpa,
        first_s=first_s,
        driest_kpa=driest_kpa,
        visits=visits,
    )
    return state, Verdict(ENDED, opening=opening)


def _is_usual(state: Watch, air: _Air) -> bool:
    moist = _is_moist(state, air.vapour_kpa) or _moist_again(state, air.vapour_kpa)
    return moist and state.usual_c - air.dry_bulb_c <= _back_k(state)


def _is_moist(state: Watch, vapour_kpa: float) -> bool:
    back_kpa = max(BACK_VAPOUR_SHARE * state.usual_kpa, USUAL_RIPPLES * state.ripple_kpa)
    return state.usual_kpa - vapour_kpa <= back_kpa


def _is_back(state: Watch, air: _Air) -> bool:
    return _within(state, air) and _is_usual(state, air)


def _within(state: Watch, air: _Air) -> bool:
    """Whether it is no longer too cold, as at its usual level: a machine that swings widely is near that before."""
    return air.dry_bulb_c >= min(air.cold_c, state.usual_c)


def _fell_from_home(state: Watch, air: _Air) -> bool:
    return state.usual_c - air.dry_bulb_c >= max(HOME_FALL_K, FALL_RIPPLES * state.ripple_k)


def _back_k(state: Watch) -> float:
    return max(BACK_K, USUAL_RIPPLES * state.ripple_k)
