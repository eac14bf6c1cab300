"""What the eggs in a machine feel, batch by batch, and whether that is too hot or too cold for them. An estimate; see `domain/eggs/temperature`."""

from __future__ import annotations

from monitor.domain.alarms.alarm import BETWEEN, IN, OUT, Judgement
from monitor.domain.eggs.temperature import COLD_C, DAY_S
from monitor.domain.needs.bands import EGG
from monitor.domain.needs.rules import EGG_COLD, EGG_HOT
from monitor.domain.state.known import Look, Plan
from monitor.domain.state.memory import EggFelt
from monitor.domain.watch.deciding import judge
from monitor.domain.watch.intake import Fresh

# So much colder than what they were to be cooled to is told (judgement: what the estimate is good for).
COOLED_K = 1.0
_Worst = tuple[float, float, float, float]  # how far beyond its limit, the egg, the limit, where the egg is going


def judge_eggs(look: Look, plan_: Plan, air_c: float, reading: Fresh, held: bool) -> None:  # noqa: PLR0917 - with each reading
    """Move each batch's eggs on by this air, and judge those that are worst off. held: a door is open, so cold waits."""
    hot: list[_Worst] = []
    cold: list[_Worst] = []
    state, now = look.state, look.now
    standing = not plan_.keys.isdisjoint(state.alarms)
    for eggs in plan_.eggs:
        model, day = eggs.model, state.batches[eggs.batch].day(now.utc)
        if day < 0.0:
            day = 0.0
        offset_k = model.offset_k(day)
        settles_c = model.settled(air_c, offset_k)
        egg_c, felt = settles_c, state.eggs.get(eggs.batch)
        if felt is not None:
            seconds = now.mono_s - felt.mono_s
            seconds = seconds if seconds > 0.0 else 0.0
            egg_c = model.approach(felt.egg_c, (felt.air_c, day - seconds / DAY_S), settles_c, seconds)
        state.eggs[eggs.batch] = EggFelt(now.mono_s, egg_c, air_c)
        if eggs.judged and (standing or day >= model.late_day or not COLD_C <= egg_c <= model.hot_c):
            hot_c = model.hot_limit_c(eggs.target_c, offset_k, day)  # which is never less before that day
            if standing or not COLD_C <= egg_c <= hot_c:
                hot.append((egg_c - hot_c, egg_c, hot_c, settles_c))
                cold.append((COLD_C - egg_c, egg_c, COLD_C, settles_c))
    if not hot:
        return
    machine = plan_.needs.machine
    for rule_id, (excess_k, egg_c, limit_c, settles_c), side in ((EGG_HOT, max(hot), 1.0), (EGG_COLD, max(cold), -1.0)):
        key = (machine, rule_id)
        if excess_k <= 0.0 and key not in look.state.alarms:
            continue
        deadband_k = plan_.rules[rule_id].deadband
        # Eggs on their way back need nobody: what was to be done has been done.
        coming_back = (egg_c - settles_c) * side > deadband_k and (settles_c - limit_c) * side < 0.0
        verdict = OUT if excess_k > 0.0 and not coming_back else IN if excess_k < -deadband_k else BETWEEN
        judge(look, key, Judgement(verdict, reading.at, egg_c, limit_c, EGG), held=held and side < 0.0)


def eggs_are_cold(look: Look, plan_: Plan) -> bool:
    """Whether every egg there is colder than it should be, as far as is known: then there are some, and heat warms them."""
    state = look.state
    for eggs in plan_.eggs:
        felt = state.eggs.get(eggs.batch)
        day = max(0.0, state.batches[eggs.batch].day(look.now.utc))
        if felt is None or not eggs.judged or felt.egg_c >= eggs.model.start(eggs.target_c, day):
            return False
    return bool(plan_.eggs)


def eggs_below(look: Look, plan_: Plan, to_c: float) -> bool:
    """Whether any eggs there are estimated to be colder by COOLED_K than what they are cooled to."""
    felt = (look.state.eggs.get(eggs.batch) for eggs in plan_.eggs if eggs.judged)
    return any(each is not None and each.egg_c < to_c - COOLED_K for each in felt)
