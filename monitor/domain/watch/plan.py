"""A machine's needs turned into limits, ready to be compared with a reading.

And which of its eggs should go to another machine, and to which.

The limits hold until the needs change (a stage, a move, the end of settling) or until the lockdown humidity is first reached.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace

from monitor.domain.air.psychrometrics import wet_bulb_c
from monitor.domain.alarms.about import Moving
from monitor.domain.eggs.temperature import model_of
from monitor.domain.needs.bands import (
    SENSOR_ERROR_K,
    SENSOR_ERROR_RH_PCT,
    SENSOR_ERROR_WET_K,
    WET_BULB,
    Needs,
    Occupant,
    needs_of,
)
from monitor.domain.needs.places import places_of
from monitor.domain.needs.profile import Band
from monitor.domain.needs.rulebook import rules_of
from monitor.domain.needs.rules import (
    ABOVE,
    ALARM,
    BELOW,
    DRY_BULB,
    EGG_COLD,
    EGG_HOT,
    HUMIDITY,
    LETHAL,
    NOT_RAISED,
    WARNING,
    Rule,
)
from monitor.domain.needs.site import HATCHER, STILL, Site
from monitor.domain.signs.heading import calm_until
from monitor.domain.signs.lately import BRIEF_S, EVERY_SHARE, LEAST_READINGS, USUAL_S, Span
from monitor.domain.state.known import Eggs, Limit, Look, Plan

SITE_SUBJECT = "site"

HATCH = "hatch"  # the stage in which there is a chick, and no longer an egg whose temperature could be reckoned
BAND_SHARE = 0.25  # a deadband of more than this share of the band would leave hardly a place where the alarm can go
USUAL_C = 37.5  # what a machine is taken to be set to where no profile says it: most species' eggs within 0.5 K
_SHARE_OF_WET_BULB = SENSOR_ERROR_WET_K / SENSOR_ERROR_RH_PCT  # K of wet bulb for one %RH
_SAME = 1e-6  # K or %RH: a limit went through a sum or two

# Alarm limits come before warnings: a warning is not told while the alarm of its side stands.
_LEVELS = ((ABOVE, ALARM), (BELOW, ALARM), (ABOVE, WARNING), (BELOW, WARNING))


def plan_of(needs: Needs, site: Site, reached: frozenset[str]) -> Plan:
    """The limits of one machine. reached: the batches whose lockdown humidity was reached since it became due."""
    rules = rules_of(site, needs.machine, tuple(o.profile for o in needs.occupants))
    limits: list[Limit] = []
    headings: tuple[Limit, ...] = ()
    if needs.dry_bulb_c is not None:
        limits.extend(_lethal(needs, needs.dry_bulb_c, rules, site))
        limits.extend(_limits(needs.machine, needs.dry_bulb_c, DRY_BULB, place=0, rules=rules, site=site))
        if needs.dry_bulb_c.target is not None:
            headings = tuple(_headings(limits, rules))
    low_c = max((limit.limit for limit in limits if limit.side < 0), default=None)
    awaited: tuple[str, ...] = ()
    kind = ""
    if needs.humidity is not None:
        kind, band = needs.humidity
        due = [o for o in needs.occupants if o.lockdown_since is not None and not o.settling]
        awaited = tuple(o.batch for o in due if o.batch not in reached)
        if (
            awaited and band.low_warning is not None and "humidity" not in needs.conflict
        ):  # which says what is to be done
            rule = rules[NOT_RAISED]
            error = error_of(rule, band.low_warning, band.low_alarm, kind=kind)
            limits.append(
                _limit(needs.machine, rule, quantity=1, side=-1, value=band.low_warning, band=band, error=error)
            )
        band_c = needs.dry_bulb_c.target if kind == WET_BULB and needs.dry_bulb_c is not None else None
        limits.extend(
            _limits(needs.machine, band, HUMIDITY, place=1, rules=rules, site=site, kind=kind, at_c=band_c or USUAL_C)
        )
    eggs = _eggs(needs, site)
    keys = {limit.key for limit in (*limits, *headings)}
    if any(e.judged for e in eggs):
        keys |= {(needs.machine, EGG_HOT), (needs.machine, EGG_COLD)}
    limits, headings, spans = _over_spans(
        limits, headings, kind=kind, least_s=LEAST_READINGS * _slowest_s(needs.machine, site)
    )
    within = (*_within(limits, 0), *_within(limits, 1))
    off_c = _off_target_c(headings, None if needs.dry_bulb_c is None else needs.dry_bulb_c.target)
    cold_c = max(
        (li.limit for li in limits if li.side < 0 and li.quantity == 0 and li.rule.level == ALARM), default=None
    )
    return Plan(
        needs, tuple(limits), kind, awaited, rules, low_c, eggs, headings, frozenset(keys), within, off_c, spans, cold_c
    )


def _over_spans(
    limits: Iterable[Limit], headings: Iterable[Limit], *, kind: str, least_s: float
) -> tuple[list[Limit], tuple[Limit, ...], tuple[Span, ...]]:
    """Limits and headings, each with the span that its value is the mean over; and those spans, then those in which a change is seen.

    least_s: shorter no mean is that a warning is judged by; a forecast asks it again and again, and is of the shape of many.
    """
    by_span: dict[tuple[int, float], list[Limit]] = {}

    def placed(limit: Limit, *judges: Limit) -> Limit:
        over_s = limit.rule.over_s
        if over_s <= 0.0:
            return limit
        if judges:
            over_s = max(over_s, least_s)
        key = limit.quantity, over_s
        by_span.setdefault(key, []).extend(judges)
        return replace(limit, span=list(by_span).index(key))

    both = [placed(limit, limit) for limit in limits], tuple(placed(heading) for heading in headings)
    spans: list[Span] = []
    sudden: list[Span] = []
    for (quantity, over_s), of_it in by_span.items():
        least = max((limit.limit for limit in of_it if limit.side < 0), default=-math.inf)
        most = min((limit.limit for limit in of_it if limit.side > 0), default=math.inf)
        doubted = [limit for limit in of_it if limit.edge != limit.limit]
        edge_low = max((limit.edge for limit in doubted if limit.side < 0), default=math.inf)
        edge_high = min((limit.edge for limit in doubted if limit.side > 0), default=-math.inf)
        values = tuple(limit.limit for limit in of_it)
        error = SENSOR_ERROR_K if quantity == 0 else SENSOR_ERROR_WET_K if kind == WET_BULB else SENSOR_ERROR_RH_PCT
        every_s = EVERY_SHARE * over_s
        span = Span(quantity, over_s, least, most, values, edge_low, edge_high, every_s, error=error)
        change = min((limit.rule.change for limit in of_it if limit.rule.change), default=0.0)
        if change:
            change *= _SHARE_OF_WET_BULB if quantity == 1 and kind == WET_BULB else 1.0
            span = replace(span, change=change, brief=len(by_span) + len(sudden))
            each = replace(span, change=0.0, brief=-1, edge_low=math.inf, edge_high=-math.inf)
            sudden.append(replace(each, over_s=BRIEF_S, every_s=EVERY_SHARE * BRIEF_S))
            sudden.append(replace(each, over_s=USUAL_S, every_s=EVERY_SHARE * USUAL_S, usual=True))
        spans.append(span)
    return *both, (*spans, *sudden)


def _slowest_s(machine: str, site: Site) -> float:
    """How often the slowest of a machine's probes speaks, s; 0 without one."""
    return max((probe.interval_s for probe in site.by_machine.get(machine, ())), default=0.0)


def _within(limits: Iterable[Limit], quantity: int) -> tuple[float, float]:
    """Between which values no limit of a quantity is passed."""
    of_it = [limit for limit in limits if limit.quantity == quantity]
    low = max((limit.limit for limit in of_it if limit.side < 0), default=-math.inf)
    return low, min((limit.limit for limit in of_it if limit.side > 0), default=math.inf)


def _off_target_c(headings: tuple[Limit, ...], target_c: float | None) -> tuple[float, float]:
    """Between which temperatures the air is on its way to no limit."""
    if target_c is None:
        return -math.inf, math.inf
    if any((limit.limit - target_c) * limit.side <= 0.0 for limit in headings):
        return math.inf, -math.inf  # somebody's own limit lies beyond the target: no air is far from it
    low_c = max((calm_until(limit.limit, target_c) for limit in headings if limit.side < 0), default=-math.inf)
    return low_c, min((calm_until(limit.limit, target_c) for limit in headings if limit.side > 0), default=math.inf)


def _limits(
    machine: str, band: Band, quantity: str, *, place: int, rules: Mapping[str, Rule], site: Site,
    kind: str = "", at_c: float = USUAL_C,
) -> list[Limit]:  # fmt: skip
    result = []
    for side, level in _LEVELS:
        value: float | None = getattr(band, f"{side}_{level}")
        rule = rules.get(site.by_limit.get((quantity, side, level), ""))
        if rule is not None and rule.limit is not None:
            value = rule.limit  # the breeder's own; of humidity it is given as %RH
            if kind == WET_BULB:
                value = float(wet_bulb_c(at_c, value, site.pressure_kpa))
        if value is not None and rule is not None:
            error = error_of(rule, value, getattr(band, f"{side}_{ALARM}"), kind=kind)
            sign = 1 if side == ABOVE else -1
            result.append(_limit(machine, rule, quantity=place, side=sign, value=value, band=band, error=error))
    return result


def error_of(rule: Rule, value: float, alarm: float | None, *, kind: str) -> float:
    """So far beyond a band's limit a sound sensor may be: that is no news; but the alarm behind it is. Nothing of a breeder's own limit."""
    if rule.limit is not None:
        return 0.0
    error = rule.sensor_error * (_SHARE_OF_WET_BULB if kind == WET_BULB else 1.0)
    return error if alarm is None else min(error, abs(alarm - value))


def _lethal(needs: Needs, band: Band, rules: Mapping[str, Rule], site: Site) -> Iterator[Limit]:  # noqa: PLR0917 - once for each plan
    """The limit of what kills, before the band's."""
    rule = rules.get(site.by_limit.get((DRY_BULB, ABOVE, LETHAL), ""))
    if rule is None or needs.lethal_c is None:  # a house of before there was such a rule
        return
    value_c = needs.lethal_c if rule.limit is None else rule.limit
    yield _limit(needs.machine, rule, quantity=0, side=1, value=value_c, band=band)


def _limit(
    machine: str, rule: Rule, *, quantity: int, side: int, value: float, band: Band, error: float = 0.0
) -> Limit:
    """error: so far beyond the value it is passed; it is back by half of that, or by the deadband, whichever is more."""
    deadband = rule.deadband
    low, high = band.calm
    if low is not None and high is not None:
        deadband = min(deadband, BAND_SHARE * (high - low))
    limit = value + side * error
    return Limit((machine, rule.id), rule, quantity, side, limit, limit - side * max(deadband, error / 2.0), value)


def _headings(limits: Iterable[Limit], rules: Mapping[str, Rule]) -> Iterator[Limit]:
    """The same limits, under the rules that say beforehand that they will be reached."""
    foretelling = {rule.foretells: rule for rule in rules.values() if rule.foretells}
    for limit in limits:
        rule = foretelling.get(limit.rule.id)
        if rule is not None:
            yield replace(limit, key=(limit.key[0], rule.id), rule=rule)


def _eggs(needs: Needs, site: Site) -> tuple[Eggs, ...]:
    """What the temperature of each batch's eggs is reckoned with."""
    machine = site.machines[needs.machine]
    shared_c = None if needs.dry_bulb_c is None else needs.dry_bulb_c.target
    result = []
    for occupant in needs.occupants:
        profile = site.profiles[occupant.profile]
        target_c = shared_c
        if target_c is None:
            target_c = profile.stage_at(occupant.day).dry_bulb_c.target or USUAL_C
            target_c += (profile.still_air_offset_k or 0.0) if machine.air == STILL else 0.0
        model = model_of(profile, machine.air)
        result.append(Eggs(occupant.batch, model, target_c, occupant.stage != HATCH))
    return tuple(result)


def occupants(look: Look, needs: Needs) -> tuple[Occupant, ...]:
    """The batches in a machine on the day that it is now: their needs may have been worked out days ago."""
    batches, now = look.state.batches, look.now.utc
    return tuple(
        replace(o, day=b.day(b.not_before(now))) if (b := batches.get(o.batch)) is not None else o
        for o in needs.occupants
    )


def sets_limit(look: Look, machine: str, batch: str, *, limit: float) -> bool:
    """Whether a limit in force in a machine is of this batch's own band."""
    alone = needs_of(look.site.machines[machine], [look.state.batches[batch]], look.site, at=look.now.utc)
    bands = (alone.dry_bulb_c, alone.rh_pct, alone.wet_bulb_c)
    return any(abs(value - limit) < _SAME for band in bands if band is not None for _, value in band.limits())


def places(look: Look, batch: str) -> tuple[str, ...]:
    """The other machines in which a batch would do now."""
    batches = look.state.batches
    return places_of(batches[batch], batches.values(), look.site, at=look.now.utc)


def moving(look: Look, machine: str) -> Moving | None:
    """What is to be moved before the humidity of a lockdown is raised: the batches that await it, to a hatcher, or away from others that want
    it dry; in a hatcher those others. None where raising it is right."""
    plan_ = look.state.plan_of(machine)
    if plan_ is None or not plan_.awaited:
        return None
    others = tuple(o.batch for o in plan_.needs.occupants if o.lockdown_since is None)
    if look.site.machines[machine].kind == HATCHER:
        who = others
    else:
        a_hatcher = any(m.kind == HATCHER for m in look.site.machines.values())
        who = plan_.awaited if others or a_hatcher else ()
    if not who:
        return None
    first, *rest = [places(look, each) for each in who]
    return Moving(who, next((to for to in first if all(to in others_of for others_of in rest)), ""))
