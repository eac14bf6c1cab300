"""One quantity of one probe as it goes: jumps, stillness and noise, from a track of fixed size. See `quality` for the whole.

A jump is held for one sample. The next one confirms it, or shows it to have been a spike. Of two readings in a row at least one is
believed, so danger waits one interval at most.
"""

from __future__ import annotations

from dataclasses import replace

from monitor.domain.fixed import fixed
from monitor.domain.readings.reading import FAIL, NOT_EVALUATED, PASS, SUSPECT

SAME = 1e-6  # values closer than this are one value: the rounding of sums
FINEST = 0.002  # no probe has finer steps than a 16-bit temperature chip, 0.0027 K


@fixed
class Scale:
    """The limits of one quantity, in its unit.

    jump: a step beyond this is held. back: so near its start a jump has come back. noise: three times so much to and fro is
    nobody's concern. fine, coarse: for each `coarse` by which a probe's steps are over `fine`, stillness says less; unseen: what they may be
    of one that never moved. rise, fall:
    per minute, faster than which no air is believed to be without a sign from the other quantity. brief: so far it falls in the
    shortest opening.
    """

    jump: float
    back: float
    noise: float
    fine: float
    coarse: float
    unseen: float
    rise: float
    fall: float
    brief: float


@fixed
class Limits:
    """Every number that the tests turn on. "Measured": on the cabinet model, see tests/domain/readings/quality_figures.py."""

    # jump: QARTOD's spike test, with the steps that weather stations ask again for. fine, coarse: a DS18B20's step, 0.0625 K, is
    # waited for five times as long. rise and fall, measured: a heater stuck on 3 K/min, home from an opening 5 K/min, humidity
    # after a refill 20 %RH/min.
    dry_bulb: Scale = Scale(
        jump=0.5, back=0.25, noise=0.04, fine=0.02, coarse=0.01, unseen=0.1, rise=5.0, fall=3.0, brief=2.5
    )
    humidity: Scale = Scale(
        jump=5.0, back=2.0, noise=0.3, fine=0.1, coarse=0.05, unseen=1.0, rise=30.0, fall=10.0, brief=40.0
    )
    jump_levels: float = 8.0  # of a noisy probe's own level: thrice the spread of what it usually steps
    # What a thermostat swings a slow sampling cuts into jumps and noise. A sine's peak is 1.6 times its mean distance from the middle, a heater's
    # that is on for a fifth of the time 2.5 times; from peak to peak is twice a sine's. Learnt over hours, for a swing drifts through its samples; after
    # the first one slowly, or noise that begins would teach that it is one.
    swing_reach: float = 2.5
    swing_noise: float = 3.2
    swing_s: float = 21_600.0
    # Or all but so much of it is back: of a 10 s opening more is left a minute later (measured).
    back_share: float = 0.05
    brief_s: float = 45.0  # in less than this no opened door comes and goes
    spikes_an_hour: float = 3.0  # one odd sample is nothing, more than so many are a loose wire (judgement)
    rate_s: float = 30.0  # a rate over less is noise: thrice the lag of a probe
    answer_pct_k: float = 1.0  # air warmed by 1 K loses 3 %RH, less where it is controlled (measured: 1.4 at 3 K/min)
    # Of air that nothing controls: with each 1 K that it warms its humidity falls by so much.
    follows_pct_k: float = 3.0
    answer_k_pct: float = 0.008  # an opening moves 0.08 K with each %RH, a slow probe at first a tenth of it (measured)
    event_k: float = 0.3  # air may be exchanged when it fell by so much within the time of a rate, and still comes home while either moves by it
    event_pct: float = 3.0
    event_s: float = 600.0  # and is still coming home so long after it last moved
    flat_s: tuple[float, float] = (900.0, 3600.0)  # suspect, fail: a thermostat's ripple moves any sensor
    flat_longest_s: tuple[float, float] = (43_200.0, 86_400.0)  # where that is usual: half a day has an opening in it
    flat_readings: int = 15  # fewer equal ones come by chance
    flat_times: tuple[float, float] = (7.0, 14.0)  # of the usual stillness: by chance 1 run in a million lasts 7 times
    usual_s: float = 86_400.0  # the usual stillness is that of a day
    # Of the longest stillness that was shown to be of the air, while the other quantity moved, and while none did; it fails at twice that
    # (judgement). alone_times: of what it may be, for which one counts of a probe without another quantity; after so many times the longest
    # that it came out of, it has failed, and in its first week is doubted again; after that week, after alone_doubt_times.
    long_times: tuple[float, float] = (4.0, 4.0)
    alone_times: float = 4.0
    alone_doubt_times: float = 1.5
    # So long stands a room without anybody (judgement).
    long_longest_s: tuple[float, float] = (3 * 86_400.0, 6 * 86_400.0)
    # A chip that is coarse in one quantity is so in the other; either of such a pair is waited for the longest.
    # What is coarse, how long that is, and after what time a stillness counts for nothing is all our judgement.
    coarse_k: float = 0.5
    coarse_pct: float = 1.0
    # Once it was watched for a week: so many times the longest in that week in which neither moved, and at least as long as one of
    # `coarse_pct` by itself.
    neither_times: float = 1.5
    # Another probe of the same machine moved by so much more than one step of this one, K, while this stood still for the time that a fine
    # one may: places of one machine may differ by so much (judgement); or by so many times what this one was once left behind by, in a day
    # of that kind which faded as `long_fade_s`.
    behind_k: float = 0.3
    behind_times: float = 2.0
    # After which a stillness in which nothing moved counts for nothing (a week's end is over by Tuesday), and one in which the other moved.
    both_fade_s: float = 2 * 86_400.0
    # One such, if it was over before it had failed by its steps, is waited for as two are, for a week: a room asks once a week.
    once_fade_s: float = 7 * 86_400.0
    long_fade_s: float = 28 * 86_400.0
    noise_s: float = 600.0  # over which the present to and fro is taken, and at least over so many readings:
    noise_readings: float = 30.0
    noise_times: tuple[float, float] = (3.0, 6.0)  # of this probe's own level: suspect, fail
    noise_clip: float = 12.0  # one turn of the air counts for no more than so many levels
    level_s: float = 7 * 86_400.0  # the level is that of a week, and known after an hour
    level_least_s: float = 3600.0
    odd_rh_pct: tuple[float, float] = (5.0, 99.0)  # beyond these for so long, a sensor is wet, cut off or spent
    odd_rh_s: float = 1800.0
    gap_intervals: float = 3.0  # readings further apart than so many intervals, and a minute, are no neighbours
    gap_s: float = 60.0


LIMITS = Limits()


@fixed
class Stillness:
    """What long stillnesses taught, and what moved around the present one: nothing, of nearly all probes at nearly all times.

    long_s: the longest beyond what its steps and its day allow, while the other quantity moved, or there is none: it was of the air;
    both_s: the second longest in which nothing moved, once_s the longest. All fade. beside: the least and the most of the other quantity while
    this one stands still. around: what the temperature of the machine's other probes surely reached meanwhile, least and most; behind: the
    most that they once moved by before this one did, fading. neither_s, neither_at_s: of a temperature, the longest of a week for which
    neither it nor its humidity moved, and when that was over.
    """

    long_s: float = 0.0
    both_s: float = 0.0
    once_s: float = 0.0
    beside: tuple[float, float] | None = None
    around: tuple[float, float] | None = None
    behind: float = 0.0
    neither_s: float = 0.0
    neither_at_s: float = 0.0


UNTAUGHT = Stillness()


@fixed
class Track:
    """What is kept of one quantity. value: the newest that was believed; change: what it moved by.

    held: a jump not believed yet. run_s, run_value, run_readings: since when, where and how often it stands still; usual_s: for
    how long it does at an instant taken by chance. step: the finest seen. noise, level: to and fro now, and as it is used to;
    learnt_s: for how long that was looked at. spikes: of the last hour, fading. middle, swing: what it goes to and fro about in the last
    hours, and how far from it, on average, whether believed or held. stillness: of long ones, in one value, for a track is made
    with each reading.
    """

    mono_s: float
    value: float
    run_s: float
    run_value: float
    run_readings: int = 1
    change: float = 0.0
    held: float | None = None
    usual_s: float = 0.0
    step: float | None = None
    noise: float = 0.0
    level: float = 0.0
    learnt_s: float = 0.0
    spikes: float = 0.0
    middle: float | None = None
    swing: float = 0.0
    stillness: Stillness = UNTAUGHT


# When a reading was taken (forward clock, s), over how long the to and fro of now is taken (s), in what steps they come unless known
# better, by what limits they are judged, and how far apart (s) two are no neighbours any more. This and the next are plain tuples: two of them are made for each
# reading, and a named one costs several times as much.
Pace = tuple[float, float, float, Limits, float]

# A track after a reading; what became of the jump that was held, 0 without one; whether this reading is a jump that was not
# confirmed, and whether it is held; how far it is from the last that was believed before it, across a held one.
Step = tuple[Track | None, int, bool, bool, float]


def step(track: Track | None, value: float | None, scale: Scale, together: bool | None, pace: Pace) -> Step:  # noqa: PLR0917 - with each reading
    """The next value, taken into the track or held.

    value None: it cannot be used. together: whether the held jump was a door's air, None when no other quantity could tell.
    """
    mono_s, _, _, _, gap_s = pace
    if value is not None and track is not None and track.held is None and mono_s - track.mono_s <= gap_s:
        moved = value - track.value
        if -scale.jump <= moved <= scale.jump:  # as nearly all are: no limit is under the scale's
            return gone_on(track, value, scale, pace), 0, False, False, moved
    if value is None:
        if track is None or track.held is None:
            return track, 0, False, False, 0.0
        return replace(track, held=None), SUSPECT, False, False, 0.0  # nobody will know
    if track is None:
        return Track(mono_s, value, mono_s, value), 0, False, False, 0.0
    if mono_s - track.mono_s > (gap_s if track.held is None else 2.0 * gap_s):
        return _begin_again(track, value, mono_s), 0 if track.held is None else SUSPECT, False, False, 0.0
    was, moved = 0, value - track.value
    if track.held is not None:
        track, was = _settle(track, track.held, value, scale, together, pace)
    jumped = _jumps(track, value, scale, pace)
    if jumped and not was:
        return replace(track, held=value), 0, True, True, moved
    return gone_on(track, value, scale, pace), was, jumped and was == FAIL, False, moved


def still(track: Track, other: Track | None, *, scale: Scale, pace: Pace) -> int:
    """FLAT: for how long it has been one value, against the rule's times and what this probe is used to.

    To be asked once it is one for `flat_readings`. other: the probe's other quantity.
    """
    mono_s = pace[0]
    suspect_s, fail_s = _flat_limits_s(track, other, scale=scale, pace=pace)
    run_s = mono_s - track.run_s
    if run_s < suspect_s:
        return SUSPECT if _left_behind(track, scale, pace) else PASS
    if _seen(track, scale) <= scale.fine:
        return FAIL if run_s >= fail_s else SUSPECT
    # Air may well stay within one coarse step, for ever where a thermostat holds it. So such a sensor has failed when it once moved
    # and nothing of it does any more; and where its other quantity moved since, it is by that one that it is known to be alive. Of a
    # probe that has no other, only a day says how it is used to stand, or a week where it was doubted by mistake; what it came out of
    # once it may come out of again, and half a day of it is a place where stillness says nothing.
    moved = track.step is not None
    if other is None:
        limits = pace[3]
        known_s = limits.level_s if track.stillness.long_s else limits.usual_s
        known = moved and track.learnt_s >= known_s and track.stillness.long_s < limits.flat_longest_s[0]
        return FAIL if known and run_s >= max(fail_s, limits.alone_times * track.stillness.long_s) else SUSPECT
    if moved and mono_s - max(track.run_s, other.run_s) >= fail_s:
        return FAIL
    seen = track.stillness.beside
    alive = seen is not None and seen[0] < seen[1]
    if not alive or _should_move(track, other, scale=scale, pace=pace):
        return SUSPECT
    return SUSPECT if _left_behind(track, scale, pace) else PASS


def beside(track: Track, other: float) -> Track:
    """The track, while it stands still, with what its other quantity is now."""
    seen = track.stillness.beside
    low, high = seen or (other, other)
    if seen is not None and low <= other <= high:
        return track
    return replace(track, stillness=replace(track.stillness, beside=(min(low, other), max(high, other))))


def around(track: Track, others_c: float, step_k: float) -> Track:
    """The track of a temperature, while it stands still, with where the other probes of its machine are now, smoothed; step_k: in what steps
    they come, so that the air is known to half of one."""
    half_k = step_k / 2.0
    here = (others_c + half_k, others_c - half_k)
    known = track.stillness.around
    if known is not None:
        here = (min(known[0], here[0]), max(known[1], here[1]))
    return track if here == known else replace(track, stillness=replace(track.stillness, around=here))


def _moved_around(track: Track) -> float:
    """By how much, at least, the other probes' air moved while this one stood still."""
    known = track.stillness.around
    return 0.0 if known is None else known[1] - known[0]


def _left_behind(track: Track, scale: Scale, pace: Pace) -> bool:
    """Whether the other probes of its machine moved, while it stood still, by more than one step of it hides."""
    _, _, _, limits, _ = pace
    moved = _moved_around(track)
    if moved <= limits.behind_k or pace[0] - track.run_s < limits.flat_s[1]:
        return False
    hides = limits.coarse_k if track.step is None else track.step
    return moved > max(hides + limits.behind_k, limits.behind_times * track.stillness.behind)


def followed(track: Track, before: Track, *, scale: Scale, pace: Pace) -> Track:
    """The track after a stillness in which it was left behind, and which is over: its place is one that others do not speak for."""
    if not _left_behind(before, scale, pace):
        return track
    _, _, _, limits, _ = pace
    faded = max(0.0, 1.0 - (before.mono_s - before.run_s) / limits.long_fade_s) * track.stillness.behind
    return replace(track, stillness=replace(track.stillness, behind=max(faded, _moved_around(before))))


def _should_move(track: Track, other: Track, *, scale: Scale, pace: Pace) -> bool:
    """Whether the other quantity moved, while this one stood still, by more than its own noise and what one step of this one brings.

    Air held by a good thermostat, told in tenths, stands still for days while the humidity's last digit flickers.
    """
    if track.stillness.beside is None:
        return False
    _, _, _, limits, _ = pace
    low, high = track.stillness.beside
    of_humidity = scale is limits.humidity
    brings = _seen(track, scale) * (1.0 / limits.answer_pct_k if of_humidity else limits.follows_pct_k)
    return high - low > brings + 2.0 * _level(other, limits.dry_bulb if of_humidity else limits.humidity, pace)


def moved_again(track: Track, before: Track, other: Track | None, *, scale: Scale, pace: Pace) -> tuple[Track, float]:
    """What a stillness teaches that is over, and by how much it was longer than this probe's may be; 0 where that says nothing of the room.

    track, before: with and without the reading that ended it. other: the probe's other quantity before that reading. Where that moved
    meanwhile the sensor was alive, and the air stood still. Where it did not, one that is longer than twice what it may be proves nothing;
    two do. Of a probe that has no other quantity, one counts for up to four times; if it is coarse, all of it does, for a month.
    """
    _, _, _, limits, _ = pace
    lasted_s, limit_s = before.mono_s - before.run_s, _learnt_limits_s(before, other, scale=scale, pace=pace)[0]
    if lasted_s <= limit_s:
        return track, 0.0
    known = track.stillness
    long_s = max(0.0, 1.0 - lasted_s / limits.long_fade_s) * known.long_s
    if _alive(before, other, before.mono_s):
        known = replace(known, long_s=max(long_s, lasted_s))
        return replace(track, stillness=known), lasted_s / _own_limits_s(before, scale, pace)[0]
    shown_s = lasted_s
    if other is None:
        shown_s, long_s = min(lasted_s, limits.alone_times * limit_s), max(long_s, lasted_s)
    elif lasted_s > 2.0 * limit_s:
        shown_s = min(lasted_s, known.once_s)
    both_s, once_s = max(known.both_s, shown_s), max(known.once_s, lasted_s)
    return replace(track, stillness=replace(known, long_s=long_s, both_s=both_s, once_s=once_s)), 0.0


def neither_moved(dry: Track, before: Track, humid: Track, *, limits: Limits) -> Track:
    """The temperature's track, where it or its humidity moved again: for how long neither had. before, humid: up to that reading."""
    lasted_s = before.mono_s - max(before.run_s, humid.run_s)
    known = dry.stillness
    known_s = known.neither_s if before.mono_s - known.neither_at_s < limits.level_s else 0.0
    if lasted_s <= max(known_s, limits.flat_s[0]):
        return dry
    return replace(dry, stillness=replace(known, neither_s=lasted_s, neither_at_s=before.mono_s))


def in_a_quiet_room(track: Track, by: float, *, scale: Scale, pace: Pace) -> Track:
    """The track, after the other quantity stood still for `by` times what its steps allow, in air that did: so may this one."""
    long_s = max(track.stillness.long_s, by * _own_limits_s(track, scale, pace)[0])
    return replace(track, stillness=replace(track.stillness, long_s=long_s))


def _alive(track: Track, other: Track | None, now_s: float) -> bool:
    """Whether the other quantity moved when this one had stood still for half its time: then the sensor was alive."""
    return other is not None and 2.0 * (now_s - other.run_s) < now_s - track.run_s


def noisy(track: Track, scale: Scale, pace: Pace) -> int:
    """NOISE: to and fro of the last minutes against this probe's own week, and the swing of its air. To be asked where it is over the scale's."""
    _, _, _, limits, _ = pace
    if track.learnt_s < limits.level_least_s:
        return PASS
    suspect, fail = limits.noise_times
    most = max(suspect * _level(track, scale, pace), limits.swing_noise * track.swing)
    return FAIL if track.noise > fail / suspect * most else SUSPECT if track.noise > most else PASS


def _begin_again(track: Track, value: float, mono_s: float) -> Track:
    """After a gap: what was learnt stays, where the value was says nothing any more."""
    return replace(
        track,
        mono_s=mono_s,
        value=value,
        run_s=mono_s,
        run_value=value,
        run_readings=1,
        change=0.0,
        held=None,
        stillness=_by_itself(track.stillness),
    )


def _jump(track: Track, scale: Scale, pace: Pace) -> float:
    """What counts as a jump: more than coarse steps and this probe's noise can be."""
    _, _, _, limits, _ = pace
    return max(scale.jump, 3.0 * _step_of(track, pace), limits.jump_levels * track.level)


def _jumps(track: Track, value: float, scale: Scale, pace: Pace) -> bool:  # noqa: PLR0917 - with each reading
    """Whether the value jumps, rather than going on in the direction it was moving in."""
    by = value - track.value
    limit = _jump(track, scale, pace)
    if abs(by) <= limit or _within_swing(track, value, pace):
        return False
    going = by * track.change > 0.0 and abs(track.change) >= limit / 2.0
    return not (going and abs(by) <= abs(track.change) + limit)


def _within_swing(track: Track, value: float, pace: Pace) -> bool:
    """Whether the air goes there all the time."""
    return track.middle is not None and abs(value - track.middle) <= pace[3].swing_reach * track.swing


def _swung(track: Track, value: float, dt_s: float, scale: Scale, limits: Limits) -> tuple[float, float]:  # noqa: PLR0917 - with each reading
    """The middle and the swing after a value that may be far out; an alternation of which each jump is held is one, and no row of spikes."""
    middle, swing, learnt_s = track.middle, track.swing, track.learnt_s
    if middle is None:
        middle = track.value
    most = scale.jump if learnt_s < limits.level_least_s else 2.0 * scale.noise
    if most < limits.swing_reach * swing:
        most = limits.swing_reach * swing
    away = value - middle
    if not -most <= away <= most:
        away = most if away > 0.0 else -most
    weight = dt_s / (dt_s + (learnt_s if learnt_s < limits.swing_s else limits.swing_s))
    return middle + weight * away, swing + weight * ((away if away >= 0.0 else -away) - swing)


def _settle(  # noqa: PLR0917 - with each reading
    track: Track, held: float, value: float, scale: Scale, together: bool | None, pace: Pace
) -> tuple[Track, int]:
    """What became of a held jump: the track goes on from it, or forgets it."""
    mono_s, _, _, limits, _ = pace
    jump, left = held - track.value, value - track.value
    near = max(scale.back / scale.jump * _jump(track, scale, pace), limits.back_share * abs(jump))
    if together or (abs(left) > near and left * jump > 0.0):
        return replace(track, held=None, value=held, change=jump), PASS
    slow = mono_s - track.mono_s > limits.brief_s
    if together is None and slow and -scale.brief < jump < 0.0:
        return replace(track, held=None), NOT_EVALUATED  # a spike, or a door between two readings: nobody can know
    middle, swing = _swung(track, held, mono_s - track.mono_s, scale, limits)
    return replace(track, held=None, spikes=track.spikes + 1.0, middle=middle, swing=swing), FAIL


def gone_on(track: Track, value: float, scale: Scale, pace: Pace) -> Track:  # noqa: PLR0917 - with each reading
    """The track, gone on to a value that is believed. Done for each reading, and so without a call, nor anything read twice."""
    mono_s, window_s, own_step, limits, _ = pace
    newest_s, before, finest = track.mono_s, track.change, track.step
    dt_s = mono_s - newest_s
    change = value - track.value
    size = change if change >= 0.0 else -change
    half_step = (own_step if finest is None else finest) / 2.0
    if (finest is None or size < finest) and size > SAME:
        finest = size if size >= FINEST else FINEST
    run_s, run_value, run_readings = track.run_s, track.run_value, track.run_readings + 1
    usual_s, stillness = track.usual_s, track.stillness
    within = half_step + SAME
    if not -within <= value - run_value <= within:
        lasted_s = newest_s - run_s
        if stillness is not UNTAUGHT or lasted_s > limits.flat_s[1]:  # under which no limit is
            lasted_s, stillness = _over(track, lasted_s, scale, pace)
        usual_s += lasted_s / (limits.usual_s + lasted_s) * (lasted_s - usual_s)
        run_s, run_value, run_readings = mono_s, value, 1
    own, noise, learnt_s = track.level, track.noise, track.learnt_s
    level = own if own > scale.noise else scale.noise
    if half_step > level:
        level = half_step
    turn = 0.0
    if change * before < 0.0:
        turn = before if before >= 0.0 else -before
        if size < turn:
            turn = size
        clip = limits.noise_clip * level
        if clip < turn:
            turn = clip
    noise += (dt_s / window_s if dt_s < window_s else 1.0) * (turn - noise)
    most = limits.noise_times[0] * level
    middle, swing = track.middle, track.swing
    young, quiet = learnt_s < limits.level_least_s, noise <= most
    if young or quiet or noise <= limits.swing_noise * swing:  # as `_swung` has it
        about = track.value if middle is None else middle
        far, reach = scale.jump if young else 2.0 * scale.noise, limits.swing_reach * swing
        if far < reach:
            far = reach
        off = away = value - about
        if away < 0.0:
            away = -away
        if away > far:
            off, away = far if off > 0.0 else -far, far
        weight = dt_s / (dt_s + (learnt_s if learnt_s < limits.swing_s else limits.swing_s))
        middle, swing = about + weight * off, swing + weight * (away - swing)
    if young or quiet:
        learnt_s += dt_s
        learnt_s = learnt_s if learnt_s < limits.level_s else limits.level_s
        own += dt_s / learnt_s * ((turn if turn < most else most) - own)
    return Track(
        mono_s,
        value,
        run_s,
        run_value,
        run_readings,
        change,
        None,
        usual_s,
        finest,
        noise,
        own,
        learnt_s,
        track.spikes and track.spikes * max(0.0, 1.0 - dt_s / 3600.0),
        middle,
        swing,
        stillness,
    )


def _over(track: Track, lasted_s: float, scale: Scale, pace: Pace) -> tuple[float, Stillness]:  # noqa: PLR0917 - with each reading
    """What a stillness that is over counts for, where it was long or something is known of such; and that, with those in which nothing moved faded."""
    limits, known = pace[3], track.stillness
    if lasted_s > limits.flat_s[1]:
        # A sensor that hung and came back must not pass for one that is still by nature: no run teaches more than its limit.
        lasted_s = min(lasted_s, _learnt_limits_s(track, None, scale=scale, pace=pace)[1])
    if known.once_s:
        both_s = max(0.0, 1.0 - lasted_s / limits.both_fade_s) * known.both_s
        once_s = max(0.0, 1.0 - lasted_s / limits.once_fade_s) * known.once_s
        known = replace(known, both_s=both_s, once_s=once_s)
    return lasted_s, _by_itself(known)


def _by_itself(known: Stillness) -> Stillness:
    """What was learnt, without what moved around a stillness that is over."""
    if known.beside is None and known.around is None:
        return known
    return replace(known, beside=None, around=None)


def _step_of(track: Track, pace: Pace) -> float:
    _, _, resolution, _, _ = pace
    return resolution if track.step is None else track.step


def _level(track: Track, scale: Scale, pace: Pace) -> float:
    """What this probe is used to, and never less than half a step: a steady air between two steps goes to and fro."""
    return max(track.level, scale.noise, _step_of(track, pace) / 2.0)


def _seen(track: Track, scale: Scale) -> float:
    """Its step, or what that may be of one that never moved."""
    return scale.unseen if track.step is None else track.step


def _coarse(track: Track, scale: Scale) -> float:
    """How many times longer its steps let it stand still."""
    return 1.0 + max(0.0, _seen(track, scale) - scale.fine) / scale.coarse


def _own_limits_s(track: Track, scale: Scale, pace: Pace) -> tuple[float, float]:
    """Suspect and fail, as its steps and its usual stillness have it."""
    _, _, _, limits, _ = pace
    coarse = _coarse(track, scale)
    suspect_s = max(limits.flat_s[0] * coarse, limits.flat_times[0] * track.usual_s)
    fail_s = max(limits.flat_s[1] * coarse, limits.flat_times[1] * track.usual_s)
    return min(suspect_s, limits.flat_longest_s[0]), min(fail_s, limits.flat_longest_s[1])


def _flat_limits_s(track: Track, other: Track | None, *, scale: Scale, pace: Pace) -> tuple[float, float]:
    """The same, what was learnt of long ones, and what one that was doubted lately came out of before it had failed: it may again that week."""
    suspect_s, fail_s = _learnt_limits_s(track, other, scale=scale, pace=pace)
    once_s, limits = track.stillness.once_s, pace[3]
    if not once_s or once_s >= _own_limits_s(track, scale, pace)[1] or (other is None and _coarse(track, scale) > 1.0):
        return suspect_s, fail_s
    again_s = limits.long_times[1] * once_s
    longest_s, fail_longest_s = limits.long_longest_s
    return max(suspect_s, min(again_s, longest_s)), max(fail_s, min(2.0 * again_s, fail_longest_s))


def _learnt_limits_s(track: Track, other: Track | None, *, scale: Scale, pace: Pace) -> tuple[float, float]:
    """Suspect and fail by its steps and its usual stillness, and by what was learnt of long ones."""
    mono_s, _, _, limits, _ = pace
    suspect_s, fail_s = _own_limits_s(track, scale, pace)
    coarse = _coarse(track, scale)
    if other is None and coarse > 1.0:
        first_week = track.learnt_s < limits.level_s
        if first_week and suspect_s > coarse * limits.flat_s[0]:
            fail_s = limits.flat_longest_s[1]  # a room that is used to it
        again_s = (limits.alone_times if first_week else limits.alone_doubt_times) * track.stillness.long_s
        return max(suspect_s, min(again_s, limits.long_longest_s[0])), fail_s
    times, both_times = limits.long_times
    long_s = both_times * track.stillness.both_s
    if track.stillness.long_s and _alive(track, other, mono_s):
        long_s = max(long_s, times * track.stillness.long_s)
    if other is not None:
        suspect_s, fail_s = _of_a_pair(track, other, (suspect_s, fail_s), scale=scale, limits=limits)
    if not long_s:
        return suspect_s, fail_s
    longest_s, fail_longest_s = limits.long_longest_s
    return max(suspect_s, min(long_s, longest_s)), max(fail_s, min(2.0 * long_s, fail_longest_s))


def _of_a_pair(
    track: Track, other: Track, own_s: tuple[float, float], *, scale: Scale, limits: Limits
) -> tuple[float, float]:
    """The same, where the other quantity says more of the chip: one that is coarse in one is so in the other."""
    dry, humid = (other, track) if scale is limits.humidity else (track, other)
    if dry.step is not None:
        coarse = dry.step >= limits.coarse_k
    elif humid.step is not None:
        coarse = humid.step >= limits.coarse_pct
    else:  # neither has moved: all that is known are the last digits
        coarse = dry.value % limits.coarse_k == 0.0 and humid.value % limits.coarse_pct == 0.0
    if not coarse:
        return own_s
    longest_s, fail_s = limits.flat_longest_s
    if dry.learnt_s >= limits.level_s:
        least_s = limits.flat_s[0] * (1.0 + (limits.coarse_pct - limits.humidity.fine) / limits.humidity.coarse)
        longest_s = min(longest_s, max(least_s, limits.neither_times * dry.stillness.neither_s))
    return longest_s, fail_s
