"""A machine's needs turned into limits, ready to be compared with a reading.

The limits hold until the needs change (a stage, a move, the end of settling) or until the lockdown humidity is first reached.
"""

from __future__ import annotations

from monitor.domain.bands import Needs
from monitor.domain.profile import Band
from monitor.domain.rules import Rule
from monitor.domain.site import Site
from monitor.domain.state import Limit, Plan

NOT_RAISED = "humidity-not-raised"
CONFLICT, MISSING = "bands-in-conflict", "bands-missing"
NO_DATA, NO_HUMIDITY, NODE_OFFLINE, ALL_SILENT = "no-data", "no-humidity", "node-offline", "all-silent"
RECORD_DAMAGED = "record-damaged"
SITE_SUBJECT = "site"

DRY_BULB_PREFIX, HUMIDITY_PREFIX = "dry-bulb", "humidity"
BAND_SHARE = 0.25  # a deadband of more than this share of the band would leave hardly a place where the alarm can go

# Alarm limits come before warnings: a warning is not told while the alarm of its side stands.
_LEVELS = (("high_alarm", "high-alarm", 1), ("low_alarm", "low-alarm", -1), ("high_warning", "high-warning", 1), ("low_warning", "low-warning", -1))  # fmt: skip


def plan_of(needs: Needs, site: Site, reached: frozenset[str]) -> Plan:
    """The limits of one machine. reached: the batches whose lockdown humidity was reached since it became due."""
    limits: list[Limit] = []
    if needs.dry_bulb_c is not None:
        limits.extend(_limits(needs.machine, needs.dry_bulb_c, DRY_BULB_PREFIX, 0, site))
    low_c = max((limit.limit for limit in limits if limit.side < 0), default=None)
    humid = needs.humidity
    if humid is None:
        return Plan(needs, tuple(limits), "", (), low_c)
    kind, band = humid
    due = [o for o in needs.occupants if o.lockdown_since is not None and not o.settling]
    awaited = tuple(o.batch for o in due if o.batch not in reached)
    if awaited and band.low_warning is not None:
        limits.append(_limit(needs.machine, site.rules[NOT_RAISED], 1, -1, band.low_warning, band))
    limits.extend(_limits(needs.machine, band, HUMIDITY_PREFIX, 1, site))
    return Plan(needs, tuple(limits), kind, awaited, low_c)


def _limits(machine: str, band: Band, prefix: str, quantity: int, site: Site) -> list[Limit]:
    result = []
    for name, suffix, side in _LEVELS:
        value: float | None = getattr(band, name)
        rule = site.rules.get(f"{prefix}-{suffix}")
        if value is not None and rule is not None:
            result.append(_limit(machine, rule, quantity, side, value, band))
    return result


def _limit(machine: str, rule: Rule, quantity: int, side: int, value: float, band: Band) -> Limit:
    deadband = rule.deadband
    low = band.low_warning if band.low_warning is not None else band.low_alarm
    high = band.high_warning if band.high_warning is not None else band.high_alarm
    if low is not None and high is not None:
        deadband = min(deadband, BAND_SHARE * (high - low))
    return Limit((machine, rule.id), rule, quantity, side, value, value - side * deadband)
