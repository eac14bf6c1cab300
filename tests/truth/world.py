"""A scenario lived through: the simulated room, its messages to every judge, and the truth that no judge sees.

The driver's choice of ticks: each judge is given the time at every reading (the engine ticks then, if a second has
passed) and each `tick_s` in between. Alarms of the air are only ever completed by a reading, so this delays nothing but silence, by
less than tick_s, which counts against the judge.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, timedelta
from functools import cache
from typing import Any

from monitor.adapters.link.wire import decode
from monitor.adapters.tables.rules import shipped_rules
from monitor.domain.needs.bands import needs_of
from monitor.domain.needs.batch import Batch, Stay
from monitor.domain.needs.rules import Rule
from monitor.domain.needs.site import Machine, Probe, Site, grouped
from monitor.rehearse.cabinet import CabinetSpec, ProbeSpec
from monitor.rehearse.room import MachineSpec, Room
from tests.truth.faults import DAY_S, HOUR_S, MACHINE, OTHER, OTHER_PROBE, profiles
from tests.truth.harm import Corners, Limits, corner_airs_c, own_heat_k
from tests.truth.judges import Judge
from tests.truth.machines import KPA, LEFT_K, LEFT_S, Bands, Unfit, outside
from tests.truth.scenarios import T0, Scenario, draw, now_at

SITE = "truth"
CONTACT = "phone"
ATTEMPTS = 30  # at drawing a machine that can keep its band in its room
LEFT_RH_PCT, LEFT_WET_K = 1.0, 0.2  # so far beyond a warning the true humidity has left its band
BESIDE = CabinetSpec(60.0, heater_w=45.0, humidifier_g_h=40.0, eggs=20, age_days=8.0, control="proportional")


@dataclass(slots=True)
class Truth:
    """What really happened. left_s: when the true air left its band, for good minutes; lived_s: how long the story went on."""

    limits: Limits
    bands: Bands
    unheated_c: float  # the egg's normal less its own heat, which grows by the day
    left_s: float | None = None
    left_temperature_s: float | None = None
    lived_s: float = 0.0
    trail: list[tuple[float, float, float, float]] = field(default_factory=list)  # s, air °C, %RH, hottest egg °C
    _since: dict[str, float | None] = field(default_factory=lambda: {"t": None, "h": None})


@cache
def rules() -> dict[str, Rule]:
    """Those shipped."""
    return shipped_rules()


def site_of(machines: dict[str, Machine], probes: dict[str, Probe]) -> Site:
    """A site with the shipped profiles and rules, and one phone."""
    return Site(
        SITE, UTC, "C", KPA, machines, probes, profiles(), rules(), (CONTACT,),
        by_machine=grouped(probes, "machine"), by_node=grouped(probes, "node"),
    )  # fmt: skip


def built(name: str, seed: int) -> tuple[Scenario, Room, Site, Truth]:
    """The first attempt at a scenario whose machine keeps its band. Raises Unfit when none of them does."""
    for attempt in range(ATTEMPTS):
        scenario = draw(name, seed, attempt)
        try:
            return scenario, *settled(scenario)
        except Unfit:
            continue
    raise Unfit(f"{name} #{seed}: no machine of {ATTEMPTS} keeps its band")


def settled(scenario: Scenario) -> tuple[Room, Site, Truth]:
    """The room, run in and trimmed as a breeder trims it: until the probe reads the targets. Raises Unfit."""
    machine = Machine(MACHINE, "Machine 1", scenario.kind)
    keys = {key: Probe(key, MACHINE, scenario.interval_s) for key in scenario.probes}
    machines, specs = {MACHINE: machine}, [MachineSpec(MACHINE, scenario.kind, scenario.cabinet, scenario.probes)]
    if scenario.other:
        machines[OTHER] = Machine(OTHER, "Machine 2")
        keys[OTHER_PROBE] = Probe(OTHER_PROBE, OTHER, scenario.interval_s)
        specs.append(MachineSpec(OTHER, "setter", BESIDE, {OTHER_PROBE: ProbeSpec(height=0.5)}))
    site = site_of(machines, keys)
    room = Room(
        specs, site=SITE, seed=f"{scenario.name}/{scenario.seed}", interval_s=scenario.interval_s,
        dry_bulb_c=scenario.room_c,
        rh_pct=scenario.room_rh_pct, script=scenario.script,
    )  # fmt: skip
    bands = bands_of(scenario.profile, scenario.day, machine, site)
    trim(room, MACHINE, bands)
    if scenario.other:
        trim(room, OTHER, bands_of("chicken", 8.0, machines[OTHER], site))
    cabinet = room.cabinets[MACHINE]
    return room, site, Truth(Limits(cabinet.egg_c), bands, cabinet.egg_c - own_heat_k(cabinet))


def bands_of(profile: str, day: float, machine: Machine, site: Site) -> Bands:
    """What a batch on that day needs: its dry bulb, and its humidity as what it is given in."""
    set_at = T0 - timedelta(days=day)
    needs = needs_of(machine, [Batch("first", profile, set_at, stays=(Stay(machine.id, set_at),))], site, at=T0)
    assert needs.dry_bulb_c is not None
    kind, band = needs.humidity or ("", None)
    return Bands(needs.dry_bulb_c, kind, band)


def trim(room: Room, machine: str, bands: Bands) -> None:
    """Run in, set the set points so that the first probe reads the targets, run in, and see that it stays calm."""
    dry, humid = bands.dry, bands.humid
    cabinet = room.cabinets[machine]
    probe = cabinet.probes[0].spec
    assert dry.target is not None
    rh_pct = bands.target_rh_pct()
    if rh_pct is not None:
        cabinet.rh_set_pct = rh_pct
    cabinet.dry_bulb_set_c = dry.target
    room.settle(2 * HOUR_S)
    for _ in range(2):
        airs = observed(room, machine)
        mean_c = sum(c for c, _ in airs) / len(airs)
        cabinet.dry_bulb_set_c += dry.target - mean_c - probe.offset_k
        if rh_pct is not None:
            cabinet.rh_set_pct += rh_pct - sum(rh for _, rh in airs) / len(airs) - probe.rh_offset_pct
        room.settle(HOUR_S)
    for air_c, rh in observed(room, machine):
        if outside(dry, air_c + probe.offset_k, -0.05):
            raise Unfit
        if humid is not None and outside(
            humid, bands.humidity(air_c, rh), -LEFT_RH_PCT if bands.kind == "rh_pct" else -0.15
        ):
            raise Unfit


def observed(room: Room, machine: str) -> list[tuple[float, float]]:
    """Air where the first probe hangs, and humidity, each 10 s for 20 min."""
    cabinet = room.cabinets[machine]
    place = cabinet.probes[0].spec
    result = []
    for _ in range(120):
        room.settle(10.0)
        result.append((cabinet.air_at(place.height, place.side)[0], cabinet.rh_pct))
    return result


def play(name: str, seed: int, judges: Sequence[Judge], at_most_s: float = math.inf) -> tuple[Scenario, Truth]:
    """Live through a scenario until its truth is known; every judge hears all of it. Raises Unfit.

    at_most_s: not longer than so, however long the story.
    """
    scenario, room, site, truth = built(name, seed)
    for judge in judges:
        judge.begin(site, now_at(0.0))
    requests = [
        (0.0, batch_set("first", scenario.profile, scenario.day, machine=MACHINE, eggs=scenario.cabinet.eggs, at_s=0.0))
    ]
    if scenario.other:
        requests.append((0.0, batch_set("beside", "chicken", 8.0, machine=OTHER, eggs=20, at_s=0.0)))
    for at_s, request in scenario.requests:
        given = dict(request)
        if given["do"] == "batch-add":
            given = batch_set(
                given["batch"], given["profile"], given["day"], machine=MACHINE, eggs=given["eggs"], at_s=at_s
            )
        requests.append((at_s, given))
    requests.sort(key=lambda r: r[0])
    cabinet, corners = room.cabinets[MACHINE], Corners()
    next_s = 0.0
    while truth.lived_s < min(scenario.until_s, at_most_s) and truth.limits.harm_s is None:
        room.step(scenario.look_s)
        truth.lived_s = room.now_s
        _look(truth, scenario, cabinet, corners)
        for message in room.packs(room.now_s):
            next_s = _ticks(judges, next_s, message.at_s, scenario.tick_s)
            while requests and requests[0][0] <= message.at_s:
                for judge in judges:
                    judge.ask(now_at(message.at_s), requests[0][1])
                requests.pop(0)
            decoded = decode(message.topic, message.payload.encode(), root="eggroom", site=SITE, retained=False)
            for judge in judges:
                judge.hear(now_at(message.at_s), decoded)
        next_s = _ticks(judges, next_s, room.now_s, scenario.tick_s)
    for judge in judges:
        judge.end(now_at(room.now_s))
    return scenario, truth


def _ticks(judges: Sequence[Judge], next_s: float, until_s: float, tick_s: float) -> float:
    while next_s <= until_s:
        for judge in judges:
            judge.tick(now_at(next_s))
        next_s += tick_s
    return next_s


def _look(truth: Truth, scenario: Scenario, cabinet: Any, corners: Corners) -> None:
    """Take the true state of the machine down."""
    at_s, dt_s = truth.lived_s, scenario.look_s
    corners.follow(dt_s, cabinet)
    airs = corner_airs_c(cabinet)
    hottest_c, coldest_c = corners.eggs_c(cabinet)
    truth.limits.normal_c = truth.unheated_c + own_heat_k(cabinet)
    truth.limits.look(at_s, dt_s, hottest_c, coldest_c, max(airs))
    rh_pct = cabinet.rh_pct
    if at_s % 60.0 < dt_s:
        truth.trail.append((at_s, cabinet.air_c, rh_pct, hottest_c))
    if at_s <= scenario.onset_s:
        return
    bands = truth.bands
    away = {"t": outside(bands.dry, max(airs), LEFT_K) or outside(bands.dry, min(airs), LEFT_K), "h": False}
    if bands.humid is not None:
        margin = LEFT_RH_PCT if bands.kind == "rh_pct" else LEFT_WET_K
        away["h"] = outside(bands.humid, bands.humidity(cabinet.air_c, rh_pct), margin)
    for quantity, out in away.items():
        began_s = truth._since[quantity]
        truth._since[quantity] = (at_s if began_s is None else began_s) if out else None
        if out and began_s is not None and at_s - began_s >= LEFT_S:
            truth.left_s = began_s if truth.left_s is None else min(truth.left_s, began_s)
            if quantity == "t" and truth.left_temperature_s is None:
                truth.left_temperature_s = began_s


def batch_set(id_: str, profile: str, day: float, *, machine: str, eggs: int, at_s: float) -> dict[str, Any]:
    """What a person asks who sets eggs that are on their day so long after the clocks' beginning."""
    set_at = T0 + timedelta(seconds=at_s - day * DAY_S)
    return {
        "do": "batch-add", "batch": id_, "profile": profile, "set_at": set_at.isoformat(),
        "machine": machine, "eggs": eggs,
    }  # fmt: skip
