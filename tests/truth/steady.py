"""A value that sits on a limit and trembles by half a deadband for a day: it must not ring again and again."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta

from monitor.domain.needs.bands import needs_of
from monitor.domain.needs.batch import Batch, Stay
from monitor.domain.needs.site import Machine, Probe, Site
from monitor.domain.readings.reading import Pack, Sample
from monitor.domain.watch.plan import plan_of
from tests.truth.faults import DAY_S, MACHINE, profiles
from tests.truth.judges import Judge
from tests.truth.scenarios import T0, now_at
from tests.truth.world import site_of

PROFILE = "african-grey"  # its humidity is judged as relative humidity, its bands are the narrowest shipped
LIMITS = tuple(
    (f"{quantity}-{side}-{level}", name, f"{side}_{level}")
    for quantity, name in (("dry-bulb", "dry_bulb_c"), ("humidity", "rh_pct"))
    for side in ("high", "low")
    for level in ("alarm", "warning")
)
CHATTER, CHATTER_S = 3, 60.0  # an alarm that comes three times in a minute chatters (EEMUA 191, from memory)


@dataclass(frozen=True, slots=True)
class Sat:
    """How often one alarm came in a day on its limit."""

    judge: str
    rule: str
    interval_s: int
    activations: int
    chattered: bool


def sat(judge: Judge, rule: str, interval_s: int, seed: int) -> Sat:
    """A day on that rule's limit."""
    _, quantity, level = next(limit for limit in LIMITS if limit[0] == rule)
    stage = profiles()[PROFILE].stages[0]
    dry, humid = stage.dry_bulb_c, stage.rh_pct
    assert humid is not None
    band = dry if quantity == "dry_bulb_c" else humid
    limit = float(getattr(band, level))
    assert dry.target is not None
    assert humid.target is not None
    machine = Machine(MACHINE, "Machine 1")
    site = site_of({MACHINE: machine}, {"node-a/top": Probe("node-a/top", MACHINE, interval_s)})
    set_at = (T0 - timedelta(days=8)).isoformat()
    judge.begin(site, now_at(0.0))
    judge.ask(
        now_at(0.0), {"do": "batch-add", "batch": "first", "profile": PROFILE, "set_at": set_at, "machine": MACHINE}
    )
    rng = random.Random(f"steady/{rule}/{interval_s}/{seed}")
    for at_s, trembling in _trembling(rng, limit, deadband(rule, site) / 2.0, interval_s):
        sound = (round(rng.gauss(dry.target, 0.02), 2), round(rng.gauss(humid.target, 0.1), 2))
        values = (trembling, sound[1]) if quantity == "dry_bulb_c" else (sound[0], trembling)
        number = int(at_s // interval_s)
        judge.hear(now_at(at_s), Pack("node-a", (Sample("top", *values),), 7, number, int(at_s)))
    judge.end(now_at(DAY_S))
    times = [t.at_s for t in judge.told if t.rule == rule and not t.closing and not t.again]
    chattered = any(b - a <= CHATTER_S for a, b in zip(times, times[CHATTER - 1 :], strict=False))
    return Sat(judge.name, rule, interval_s, len(times), chattered)


def deadband(rule: str, site: Site) -> float:
    """The deadband in force: in a narrow band it is less than the rule's own."""
    set_at = T0 - timedelta(days=8)
    batch = Batch("first", PROFILE, set_at, stays=(Stay(MACHINE, set_at),))
    limits = plan_of(needs_of(site.machines[MACHINE], [batch], site, at=T0), site, frozenset()).limits
    limit = next(limit for limit in limits if limit.key == (MACHINE, rule))
    return abs(limit.limit - limit.back)


def _trembling(rng: random.Random, limit: float, sigma: float, interval_s: int) -> Iterator[tuple[float, float]]:
    for k in range(int(DAY_S // interval_s)):
        yield float(k * interval_s + 1), round(limit + rng.gauss(0.0, sigma), 2)
