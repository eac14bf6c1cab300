"""The rules in force as a person reads them: machine by machine, each number with whose it is."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from monitor.domain.air.units import Unit
from monitor.domain.needs.bands import needs_of
from monitor.domain.needs.batch import Batch, closed
from monitor.domain.needs.rules import changed
from monitor.domain.needs.site import Site
from monitor.domain.watch.plan import plan_of
from monitor.service.watch.commands import batch_view
from monitor.shown.needs.rules import CAPPED, OF_BAND, rules_text, rules_view
from tests.domain.house import MACHINES, PROFILES, RULES, T0, batch, site

HIGH, LOW = "dry-bulb-high-alarm", "dry-bulb-low-alarm"


def shown(of: Site, *batches: Batch, machine: str = "setter-1") -> dict[str, Any]:
    """The rules of one machine, by id."""
    view = rules_view(of, batches, T0, machines=[of.machines[machine]])
    json.dumps(view, allow_nan=False)
    return {row["rule"]: row for row in view["machines"][0]["rules"]}


def own(numbers: Mapping[str, Mapping[str, Any]], **changes: Any) -> Site:
    """The house whose setter-1 has these numbers of its own."""
    machines = {**MACHINES, "setter-1": replace(MACHINES["setter-1"], rules=numbers)}
    return site(machines=machines, **changes)


def test_a_batchs_day_is_that_of_every_other_list() -> None:
    """For programs, too, a day has as many digits here as where batches are listed."""
    laid = batch(day=17.99849)
    (row,) = rules_view(site(), [laid], T0, machines=[MACHINES["setter-1"]])["machines"][0]["batches"]
    assert row["day"] == batch_view(laid, T0)["day"] == 17.998


@pytest.mark.parametrize("rules", [{}, {HIGH: {"limit": 38.6}, "humidity-low-alarm": {"limit": 33.0}}])
@pytest.mark.parametrize(
    "batches",
    [
        (batch(),),
        (batch(day=18.5),),
        (batch(profile_id="wet-hen"),),
        (batch(), batch("wet-1", "wet-hen")),
        (batch(), batch("cold-1", "cold-bird")),
        (batch(), batch("dry-1", "desert-bird")),
    ],
    ids=["one", "lockdown", "wet", "mixed", "too cold a bird", "too dry a bird"],
)
@pytest.mark.parametrize("machine", ["setter-1", "still-1"])
def test_what_is_shown_is_what_is_judged(
    batches: tuple[Batch, ...], rules: Mapping[str, Mapping[str, Any]], machine: str
) -> None:
    """Limit, way back and delays of the table are those that readings are compared with."""
    stays = tuple(replace(b, stays=tuple(replace(s, machine=machine) for s in b.stays)) for b in batches)
    house = own(rules)
    judged = plan_of(needs_of(house.machines[machine], stays, house, at=T0), house, frozenset(b.id for b in batches))
    rows = shown(house, *stays, machine=machine)
    assert judged.limits
    for limit in judged.limits:
        row = rows[limit.rule.id]
        if row["quantity"] != "rh_pct" or judged.humid == "rh_pct":  # a person's %RH is judged as wet bulb there
            assert row["limit"] == pytest.approx(limit.limit)
        assert row["deadband"] == pytest.approx(abs(limit.limit - limit.back))
        assert (row["on_delay_s"], row["priority"]) == (limit.rule.on_delay_s, limit.rule.priority)
    with_limit = {id_ for id_, row in rows.items() if row["quantity"] is not None and row["limit"] is not None}
    assert with_limit == {limit.rule.id for limit in judged.limits} - {"humidity-not-raised"}


def test_a_limit_names_the_batch_it_comes_from() -> None:
    """Of two batches each limit is the one's that is the stricter; where both have it, it is both's."""
    gentle = replace(
        PROFILES["hen"],
        id="gentle",
        stages=tuple(replace(s, dry_bulb_c=replace(s.dry_bulb_c, high_alarm=38.5)) for s in PROFILES["hen"].stages),
    )
    house = site(profiles={**PROFILES, "gentle": gentle})
    rows = shown(house, batch(), batch("gentle-1", "gentle"))
    assert (rows[HIGH]["limit"], rows[HIGH]["limit_from"]) == (38.5, ["gentle-1"])
    assert rows[LOW]["limit_from"] == ["hen-1", "gentle-1"]
    assert rows[HIGH]["origins"]["limit"] == OF_BAND
    text = rules_text(
        rules_view(house, [batch(), batch("gentle-1", "gentle")], T0, machines=[house.machines["setter-1"]]), house
    )
    assert "40.6 °C a" in text  # what kills, of both
    assert "38.5 °C b" in text
    assert "  b of gentle-1: gentle, incubation, day 5\n" in text
    assert "  a of hen-1: hen, incubation, day 5; gentle-1: gentle, incubation, day 5\n" in text


def test_a_limit_of_ones_own_is_nobodys_band() -> None:
    """A machine's own limit stands in the place of the band's, and a line below the rule says whose it is."""
    house = own({HIGH: {"limit": 38.6, "on_delay_s": 30}})
    rows = shown(house, batch())
    assert (rows[HIGH]["limit"], rows[HIGH]["limit_from"]) == (38.6, [])
    assert rows[HIGH]["origins"]["limit"] == "machine setter-1"
    lines = rules_text(rules_view(house, [batch()], T0, machines=[house.machines["setter-1"]]), house).splitlines()
    at = next(n for n, line in enumerate(lines) if line.startswith(f"  {HIGH}"))
    assert lines[at + 1] == "      limit: machine setter-1; on: machine setter-1"


def test_a_narrow_band_makes_the_deadband_smaller() -> None:
    """The deadband shown is the one used, and marked where it is not the rule's."""
    wide = replace(RULES[HIGH], deadband=1.0)
    house = site(rules={**RULES, HIGH: wide})
    row = shown(house, batch())[HIGH]
    assert (row["deadband"], row["origins"]["deadband"]) == (0.25, CAPPED)
    assert " 0.25* " in rules_text(rules_view(house, [batch()], T0, machines=[house.machines["setter-1"]]), house)
    assert shown(house)[HIGH]["deadband"] == 1.0


def test_an_empty_machine_has_no_limits_of_the_air() -> None:
    """Nothing is judged there, which is said; a batch that is closed, or elsewhere, is not in it."""
    house = own({LOW: {"limit": 35.5}})
    rows = shown(house, batch(machine="hatcher-1"), closed(batch("old-1"), T0 - timedelta(hours=1)))
    assert rows[HIGH]["limit"] is None
    assert (rows[LOW]["limit"], rows[LOW]["quantity"]) == (35.5, "dry_bulb_c")  # as soon as eggs come
    view = rules_view(house, [], T0, machines=house.machines.values())
    text = rules_text(view, house)
    assert "Setter 1 (empty: its air has no limits)" in text
    assert "Room (watched only)" in text
    assert {row["rule"] for row in view["site"]} == {
        "node-offline", "all-silent", "record-damaged", "not-recorded", "was-away", "keeps-stopping", "mains-lost", "switch-doubtful", "node-restarts",
    }  # fmt: skip
    assert "settling" not in text


def test_settling_is_told() -> None:
    """While the humidity of lockdown is still expected to rise, the limits are told to be settling."""
    house = site()
    late = batch(day=18.0 + 0.5 / 24)
    text = rules_text(rules_view(house, [late], T0, machines=[house.machines["setter-1"]]), house)
    assert "hen-1: hen, lockdown, day 18, humidity settling" in text


@pytest.mark.parametrize("unit", ["C", "F"])
def test_it_fits_a_terminal(unit: Unit) -> None:
    """No line is longer than 80 characters, whatever is in the machines and whoever changed what."""
    everything = {
        "priority": "critical", "on_delay_s": 86_399, "off_delay_s": 5_400, "deadband": 0.333, "re_alarm_s": 3_601,
        "respond_min": 61,
    }  # fmt: skip
    numbers = {id_: everything for id_, rule in RULES.items() if rule.group not in ("node", "room")}
    house = own(numbers, unit=unit, rules={id_: changed(rule, {"on_delay_s": 7}, "x") for id_, rule in RULES.items()})
    house = replace(house, own_rules={id_: {"on_delay_s": 7} for id_ in RULES})
    batches = [batch(), batch("a-batch-with-quite-a-long-name-01", "wet-hen"), batch("third", "cold-bird", day=19.0)]
    text = rules_text(rules_view(house, batches, T0, machines=house.machines.values()), house)
    assert max(len(line) for line in text.splitlines()) <= 80
    assert ("102.2 °F" if unit == "F" else "39.0 °C") in rules_text(
        rules_view(site(unit=unit), [batch()], T0, machines=[house.machines["setter-1"]]), site(unit=unit)
    )
