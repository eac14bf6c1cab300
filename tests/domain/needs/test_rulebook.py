"""Whose numbers a rule has: each layer over the one before, and the stricter where several profiles meet."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.domain.needs.rulebook import SHIPPED, WORKED_OUT, InForce, in_force, rules_of
from monitor.domain.needs.rulebook import stricter as stricter_in_force
from monitor.domain.needs.rules import CHANGEABLE, CRITICAL, HIGH, LOW, MEDIUM, PRIORITIES, Rule, changed
from monitor.domain.needs.site import Site
from tests.domain.house import MACHINES, PROFILES, RULES, site

Own = Mapping[str, Mapping[str, Any]]
COLD = "dry-bulb-low-alarm"


def house(*, of_site: Own | None = None, of_machine: Own | None = None, **of_profiles: Own) -> Site:
    """The house with these own numbers: the site's, those of setter-1, and of each profile (`cold_bird` is cold-bird)."""
    own = of_site or {}
    rules = {id_: changed(rule, own.get(id_, {}), "site") for id_, rule in RULES.items()}
    machines = {**MACHINES, "setter-1": replace(MACHINES["setter-1"], rules=of_machine or {})}
    named = {name.replace("_", "-"): numbers for name, numbers in of_profiles.items()}
    profiles = {id_: replace(p, rules=named.get(id_, {})) for id_, p in PROFILES.items()}
    return replace(site(rules=rules, machines=machines, profiles=profiles), own_rules=own)


def stricter(one: Rule, other: Rule) -> Rule:
    """Of two versions of one rule, wherever their numbers come from."""
    nowhere = dict.fromkeys(CHANGEABLE, "")
    return stricter_in_force(InForce(one, nowhere), InForce(other, nowhere)).rule


def test_where_nobody_changes_anything_the_mapping_is_the_sites() -> None:
    """A machine without numbers of its own has the site's rules themselves: nothing is built for it."""
    plain = house(of_site={COLD: {"on_delay_s": 60}}, of_machine={"no-data": {"on_delay_s": 60}})
    assert rules_of(plain, "hatcher-1", ("hen", "cold-bird")) is plain.rules
    assert rules_of(plain, None, ()) is plain.rules
    assert rules_of(plain, "setter-1", ()) is not plain.rules


def test_each_layer_stands_over_the_one_before() -> None:
    """Shipped, site, profile, machine: the last that gives a number is heard, and what nobody gives is as shipped."""
    shipped = RULES[COLD]
    full = house(
        of_site={COLD: {"on_delay_s": 1, "off_delay_s": 1, "deadband": 0.1}},
        hen={COLD: {"on_delay_s": 2, "off_delay_s": 2}},
        of_machine={COLD: {"on_delay_s": 3}},
    )
    found = in_force(full, "setter-1", ["hen"])[COLD]
    assert (found.rule.on_delay_s, found.rule.off_delay_s, found.rule.deadband) == (3, 2, 0.1)
    assert found.rule.re_alarm_s == shipped.re_alarm_s
    assert found.origins == {
        "priority": WORKED_OUT,
        "limit": SHIPPED,
        "on_delay_s": "machine setter-1",
        "off_delay_s": "profile hen",
        "deadband": "site",
        "re_alarm_s": SHIPPED,
        "respond_min": SHIPPED,
    }
    assert in_force(full, "hatcher-1", [])[COLD].rule == full.rules[COLD]
    assert in_force(full, None, ())[COLD].origins["on_delay_s"] == "site"


def test_a_machine_may_be_laxer_than_the_site() -> None:
    """A layer replaces: who says so of one machine is heard, also where it waits longer."""
    lax = house(
        of_site={COLD: {"on_delay_s": 60, "limit": 36.5}}, of_machine={COLD: {"on_delay_s": 600, "limit": 35.0}}
    )
    rule = rules_of(lax, "setter-1", ())[COLD]
    assert (rule.on_delay_s, rule.limit) == (600, 35.0)


def test_a_priority_follows_the_time_unless_somebody_gave_one() -> None:
    """Another time to respond works the priority out anew in every layer; a given priority stays, and says whose it is."""
    worked = in_force(house(hen={COLD: {"respond_min": 30}}), "setter-1", ["hen"])[COLD]
    assert (worked.rule.priority, worked.origins["priority"]) == (CRITICAL, WORKED_OUT)
    given_by_site = house(of_site={COLD: {"priority": LOW}}, of_machine={COLD: {"respond_min": 30}})
    kept = in_force(given_by_site, "setter-1", [])[COLD]
    assert (kept.rule.priority, kept.rule.respond_min, kept.origins["priority"]) == (LOW, 30, "site")
    over = house(hen={COLD: {"priority": MEDIUM}}, of_machine={COLD: {"priority": CRITICAL}})
    assert in_force(over, "setter-1", ["hen"])[COLD].origins["priority"] == "machine setter-1"
    both = house(hen={COLD: {"priority": MEDIUM}}, of_machine={COLD: {"respond_min": 30}})
    assert in_force(both, "setter-1", ["hen"])[COLD].rule.priority == MEDIUM


def test_of_several_profiles_the_stricter_number_counts() -> None:
    """Of each number by itself, with its origin; a profile that says nothing has the site's, and that counts too."""
    two = house(
        hen={COLD: {"on_delay_s": 60, "re_alarm_s": 1200, "respond_min": 240}, "hatch-overdue": {"limit": 3}},
        cold_bird={COLD: {"on_delay_s": 90, "re_alarm_s": 600, "priority": LOW}, "hatch-overdue": {"limit": 1}},
    )
    found = in_force(two, "setter-1", ["cold-bird", "hen"])
    cold = found[COLD]
    assert (cold.rule.on_delay_s, cold.rule.re_alarm_s, cold.rule.respond_min) == (60, 600, 180)
    assert (cold.rule.priority, cold.origins["priority"]) == (HIGH, WORKED_OUT)
    assert (cold.origins["on_delay_s"], cold.origins["re_alarm_s"], cold.origins["respond_min"]) == (
        "profile hen",
        "profile cold-bird",
        SHIPPED,
    )
    assert (found["hatch-overdue"].rule.limit, found["hatch-overdue"].origins["limit"]) == (1, "profile cold-bird")
    slow = house(hen={COLD: {"on_delay_s": 900}})
    assert rules_of(slow, "setter-1", ("hen",))[COLD].on_delay_s == 900
    assert rules_of(slow, "setter-1", ("hen", "cold-bird"))[COLD].on_delay_s == RULES[COLD].on_delay_s


def test_the_order_of_batches_is_no_matter() -> None:
    """The same profiles in another order, or twice, give the same numbers and origins; one that is not known changes nothing."""
    two = house(hen={COLD: {"on_delay_s": 60}}, cold_bird={COLD: {"on_delay_s": 60, "deadband": 0.1}})
    one = in_force(two, "setter-1", ["hen", "cold-bird"])
    assert one == in_force(two, "setter-1", ["cold-bird", "hen", "hen", "dodo"])
    assert one[COLD].origins["on_delay_s"] == "profile cold-bird"


def test_a_machine_stands_over_the_stricter_profile() -> None:
    """What somebody says of this machine is heard whatever birds are in it."""
    over = house(hen={COLD: {"on_delay_s": 60}}, of_machine={COLD: {"on_delay_s": 240}})
    assert rules_of(over, "setter-1", ("hen", "cold-bird"))[COLD].on_delay_s == 240


def test_both_answers_agree() -> None:
    """The fast mapping has the rules that the full one explains, and every rule there is."""
    full = house(
        of_site={COLD: {"limit": 36.0}}, hen={"no-data": {"on_delay_s": 5}}, of_machine={COLD: {"deadband": 0.1}}
    )
    for machine, profiles in (("setter-1", ("hen",)), ("hatcher-1", ("hen", "wet-hen")), (None, ())):
        explained = in_force(full, machine, profiles)
        assert {id_: found.rule for id_, found in explained.items()} == rules_of(full, machine, profiles)
        assert explained.keys() == RULES.keys()


def test_a_site_with_fewer_rules() -> None:
    """Numbers for a rule that the site has not are nobody's: they make no rule."""
    few = replace(house(hen={COLD: {"on_delay_s": 5}}), rules={"no-data": RULES["no-data"]})
    assert rules_of(few, "setter-1", ("hen",)) is few.rules


@pytest.mark.parametrize(
    ("id_", "one", "other", "strict"),
    [
        ("dry-bulb-high-alarm", 38.5, 39.0, 38.5),
        ("dry-bulb-low-alarm", 36.0, 36.5, 36.5),
        ("humidity-high-warning", 60, 55, 55),
        ("humidity-low-warning", 40, 45, 45),
        ("dry-bulb-low-alarm", None, 36.0, 36.0),
        ("hatch-overdue", 1.5, 1.0, 1.0),
    ],
)
def test_the_stricter_limit(id_: str, one: float | None, other: float, strict: float) -> None:
    """Of two high limits the lower, of two low ones the higher, of two times the shorter."""
    pair = [replace(RULES[id_], limit=limit) for limit in (one, other)]
    assert stricter(*pair).limit == stricter(*reversed(pair)).limit == strict


@st.composite
def versions(draw: st.DrawFn, id_: str) -> Rule:
    """A rule with any numbers that can be used."""
    seconds = st.integers(0, 604_800)
    numbers: dict[str, Any] = {
        "priority": draw(st.sampled_from(PRIORITIES)),
        "on_delay_s": draw(seconds),
        "off_delay_s": draw(seconds),
        "deadband": draw(st.floats(0, 5)),
        "re_alarm_s": draw(st.none() | st.integers(60, 604_800)),
        "respond_min": draw(st.integers(1, 10_080)),
        "limit": draw(st.none() | st.floats(20, 45)),
    }
    return changed(RULES[id_], numbers, "any")


@given(
    st.sampled_from(["dry-bulb-high-alarm", "dry-bulb-low-alarm"]).flatmap(lambda id_: st.tuples(*[versions(id_)] * 3))
)
def test_the_stricter_of_rules(three: tuple[Rule, Rule, Rule]) -> None:
    """Whatever the numbers: the same rule twice is itself, order and grouping are no matter, and nothing is laxer than either."""
    one, other, third = three
    both = stricter(one, other)
    assert stricter(one, one) == one
    assert both == stricter(other, one)
    assert stricter(both, third) == stricter(one, stricter(other, third))
    assert stricter(both, one) == both
    for name in ("on_delay_s", "off_delay_s", "deadband", "respond_min"):
        assert getattr(both, name) == min(getattr(one, name), getattr(other, name))
    assert PRIORITIES.index(both.priority) == max(PRIORITIES.index(rule.priority) for rule in (one, other))
    assert replace(both, **{name: getattr(one, name) for name in CHANGEABLE}) == one
