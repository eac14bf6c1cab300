"""Whose numbers a rule has: as shipped, then the site's, the profile's and the machine's own; each later one stands over those before.

Several profiles in one machine: of each number the stricter, which is the one that speaks sooner, more often or more urgently.
A profile that says nothing of a number has the site's, and that counts among them. Limits of the air are the bands' affair
(`bands`): a profile gives none here; a site's or a machine's own stands in the place of the band's.

Rules of the whole site (a node, the room) have the site's numbers: neither machine nor profile can change them, which is seen to
when they are read.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from monitor.domain.fixed import fixed
from monitor.domain.needs.rules import BELOW, CHANGEABLE, PRIORITIES, Rule, changed
from monitor.domain.needs.site import Site

SHIPPED, OF_SITE, WORKED_OUT = "shipped", "site", "worked out"
_NEVER_S = float("inf")  # an alarm that never asks again

Own = Mapping[str, Mapping[str, Any]]  # numbers by rule and name


@fixed
class InForce:
    """One rule as it stands, and where each changeable number comes from.

    origins: `shipped`, `site`, `profile chicken`, `machine setter-1`; and `worked out` for a priority that nobody gave.
    """

    rule: Rule
    origins: Mapping[str, str]


def rules_of(site: Site, machine: str | None, profiles: Sequence[str]) -> Mapping[str, Rule]:
    """The rules for a machine with these profiles in it; the site's own mapping where neither changes anything.

    machine: its id, or None for what belongs to none. profiles: their ids; one that is not known changes nothing.
    """
    layers = _layers(site, machine, profiles)
    touched = {id_ for _, own in layers for id_ in own if id_ in site.rules}
    if not touched:
        return site.rules
    return dict(site.rules) | {id_: _in_force(site, id_, layers).rule for id_ in touched}


def in_force(site: Site, machine: str | None, profiles: Sequence[str]) -> Mapping[str, InForce]:
    """The same, each number with its origin."""
    layers = _layers(site, machine, profiles)
    return {id_: _in_force(site, id_, layers) for id_ in site.rules}


def _layers(site: Site, machine: str | None, profiles: Sequence[str]) -> list[tuple[str, Own]]:
    """(origin, own numbers): one for each profile there is, in the order of their ids, then the machine's."""
    known = sorted({id_ for id_ in profiles if id_ in site.profiles})
    layers: list[tuple[str, Own]] = [(f"profile {id_}", site.profiles[id_].rules) for id_ in known]
    layers.append((f"machine {machine}", {} if machine is None else site.machines[machine].rules))
    return layers


def _in_force(site: Site, id_: str, layers: list[tuple[str, Own]]) -> InForce:
    own = site.own_rules.get(id_, {})
    origins = {name: OF_SITE if name in own else SHIPPED for name in CHANGEABLE}
    if "priority" not in own:
        origins["priority"] = WORKED_OUT
    base = InForce(site.rules[id_], origins)
    *profiles, machine = layers
    versions = [_over(base, origin, numbers.get(id_, {})) for origin, numbers in profiles]
    shared = versions[0] if versions else base
    for version in versions[1:]:
        shared = stricter(shared, version)
    return _over(shared, machine[0], machine[1].get(id_, {}))


def _over(under: InForce, origin: str, numbers: Mapping[str, Any]) -> InForce:
    """The rule with these numbers over those it had; a priority that someone gave stays, one worked out is worked out anew."""
    if not numbers:
        return under
    given = under.origins["priority"] != WORKED_OUT
    kept = {"priority": under.rule.priority} if given else {}
    return InForce(
        changed(under.rule, {**kept, **numbers}, origin), {**under.origins, **dict.fromkeys(numbers, origin)}
    )


def stricter(one: InForce, other: InForce) -> InForce:
    """The stricter of each number, with its origin; where they are equal, the first."""
    taken, origins = {}, {}
    for name in CHANGEABLE:
        stricter_of = min((one, other), key=lambda version: _strictness(version.rule, name))
        taken[name], origins[name] = getattr(stricter_of.rule, name), stricter_of.origins[name]
    return InForce(replace(one.rule, **taken), origins)


def _strictness(rule: Rule, name: str) -> float:
    """The lower, the stricter."""
    return _LOWER_IS_STRICTER[name](rule)


def _limit(rule: Rule) -> float:
    if rule.limit is None:
        return _NEVER_S
    return -rule.limit if rule.side == BELOW else rule.limit


_LOWER_IS_STRICTER: Mapping[str, Callable[[Rule], float]] = {
    "priority": lambda rule: -PRIORITIES.index(rule.priority),
    "limit": _limit,
    "on_delay_s": lambda rule: rule.on_delay_s,
    "off_delay_s": lambda rule: rule.off_delay_s,
    "deadband": lambda rule: rule.deadband,
    "re_alarm_s": lambda rule: _NEVER_S if rule.re_alarm_s is None else rule.re_alarm_s,
    "respond_min": lambda rule: rule.respond_min,
}
