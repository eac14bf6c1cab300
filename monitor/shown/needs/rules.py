"""The rules in force: for each machine, with what is in it now, every number and whose it is. Values in, a mapping or text out.

A limit of the air is the band's of a batch (its profile, its stage), or of what kills the published one, unless a site or a machine gives
its own. The deadband shown is the one that is used: a narrow band makes it smaller.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any

from monitor.domain.needs.bands import DRY_BULB, RH, WET_BULB, Needs, needs_of
from monitor.domain.needs.batch import Batch, counted, whole_day
from monitor.domain.needs.profile import Band
from monitor.domain.needs.rulebook import SHIPPED, WORKED_OUT, InForce, in_force
from monitor.domain.needs.rules import ABOVE, ALARM, CHANGEABLE, LETHAL, SITE_WIDE, Rule
from monitor.domain.needs.site import HOLDS_EGGS, Machine, Site
from monitor.domain.wall import WIDTH, filled, utc_text
from monitor.domain.watch.plan import BAND_SHARE, error_of
from monitor.shown.form import short_span
from monitor.shown.values import show_figure, stage_words

# Origins that only a machine with eggs in it has.
OF_BAND, CAPPED, PUBLISHED, OF_HENS = "band", "a quarter of the band", "published", "published, of hens alone"
_ROUNDING = 1e-9  # by which two ways to reckon one limit may differ

_HEAD = f"  {'rule':<21} {'priority':<8} {'limit':>10}   {'dead':>4}  {'on':>4} {'off':>4} {'again':>5} {'respond':>7}"
_TOLD = {
    "priority": "priority", "limit": "limit", "deadband": "dead", "on_delay_s": "on", "off_delay_s": "off",
    "re_alarm_s": "again", "respond_min": "respond",
}  # fmt: skip
_LEGEND = """\
on, off: how long it must last to come, and to go. again: when it is told again.
dead: how far inside its limit it must be to go.
respond: from the alarm to the harm; with the severity it makes the priority.
Humidity that is dry or humid: beyond the band by what a sensor may be off.
*: a quarter of the band, as that is less. Days (d) of an overdue rule: after the due day.
What is not as shipped has a line below it that says whose it is."""


def rules_view(site: Site, batches: Iterable[Batch], at: datetime, *, machines: Iterable[Machine]) -> dict[str, Any]:
    """What is in force at `at`, as a plain mapping: machine by machine, then the rules of the whole site.

    Temperatures °C, humidity %RH, times s, respond_min minutes; `quantity` says what a limit is of, wet bulb too. `limit_from`
    names the batches whose band a limit is.
    """
    open_ = [batch for batch in batches if batch.closed_at is None]
    whole = in_force(site, None, ())
    return {
        "at": utc_text(at),
        "machines": [_machine_view(site, machine, open_, at=at) for machine in machines],
        "site": [_row(found) for found in whole.values() if found.rule.group in SITE_WIDE],
    }


def _machine_view(site: Site, machine: Machine, batches: list[Batch], *, at: datetime) -> dict[str, Any]:
    needs = needs_of(machine, batches, site, at=at)
    alone = {o.batch: needs_of(machine, [b for b in batches if b.id == o.batch], site, at=at) for o in needs.occupants}
    found = in_force(site, machine.id, [o.profile for o in needs.occupants])
    return {
        "machine": machine.id,
        "name": machine.name,
        "kind": machine.kind,
        "batches": [
            {"batch": o.batch, "profile": o.profile, "stage": o.stage, "day": counted(o.day, 3), "settling": o.settling}
            for o in needs.occupants
        ],
        "rules": [
            _row(each) | (_of_band(each, needs, alone) if each.rule.of_band else {})
            for each in found.values()
            if each.rule.group not in SITE_WIDE
        ],
    }


def _row(found: InForce) -> dict[str, Any]:
    rule = found.rule
    numbers = {name: getattr(rule, name) for name in CHANGEABLE}
    return {
        "rule": rule.id, "words": rule.words, "severity": rule.severity, "group": rule.group, "unit": rule.unit,
        "quantity": None, **numbers, "limit_from": [], "origins": dict(found.origins),
    }  # fmt: skip


def _of_band(found: InForce, needs: Needs, alone: Mapping[str, Needs]) -> dict[str, Any]:
    """What a rule of the air has from the band it judges by: its limit, and at most a share of its width for a deadband."""
    rule, origins = found.rule, dict(found.origins)
    judged = _judged(needs, rule)
    if judged is None:  # nothing in there is judged by it yet
        return {"quantity": None if rule.limit is None else DRY_BULB if rule.quantity == DRY_BULB else RH}
    (quantity, band), limit, batches, error = judged, rule.limit, [], 0.0
    if limit is None:
        limit = _limit_of(needs, band, rule)
        origins["limit"] = SHIPPED if limit is None else _published(needs) if rule.level == LETHAL else OF_BAND
        batches = _whose(rule, quantity, limit, alone=alone)
        if limit is not None and rule.sensor_error:
            alarm: float | None = getattr(band, f"{rule.side}_{ALARM}")
            error = error_of(rule, limit, alarm, kind=quantity)
            limit += error if rule.side == ABOVE else -error
    elif quantity == WET_BULB:
        quantity = RH  # in which a person gives it
    deadband = max(_deadband(rule, band), error / 2.0)
    if deadband < rule.deadband:
        origins["deadband"] = CAPPED
    return {
        "quantity": quantity, "limit": limit, "deadband": deadband, "limit_from": batches, "origins": origins,
    }  # fmt: skip


def _judged(needs: Needs, rule: Rule) -> tuple[str, Band] | None:
    """The quantity that a rule of the air judges in a machine, and its band."""
    if rule.quantity != DRY_BULB:
        return needs.humidity
    return None if needs.dry_bulb_c is None else (DRY_BULB, needs.dry_bulb_c)


def _limit_of(needs: Needs, band: Band, rule: Rule) -> float | None:
    """The band's limit for a rule: of side `high` and level `alarm` its high_alarm; or the heat that kills what is in there."""
    value: float | None = needs.lethal_c if rule.level == LETHAL else getattr(band, f"{rule.side}_{rule.level}")
    return value


def _published(needs: Needs) -> str:
    return OF_HENS if needs.of_hens else PUBLISHED


def _whose(rule: Rule, quantity: str, limit: float | None, *, alone: Mapping[str, Needs]) -> list[str]:
    """The batches whose own band has this limit; all of them where it is none's, as of a band brought to another quantity."""
    if limit is None:
        return []
    found = []
    for batch, needs in alone.items():
        own = _judged(needs, rule)
        value = None if own is None or own[0] != quantity else _limit_of(needs, own[1], rule)
        if value is not None and abs(value - limit) < _ROUNDING:
            found.append(batch)
    return found or list(alone)


def _deadband(rule: Rule, band: Band) -> float:
    low, high = band.calm
    return rule.deadband if low is None or high is None else min(rule.deadband, BAND_SHARE * (high - low))


def rules_text(view: Mapping[str, Any], site: Site, *, columns: int = WIDTH) -> str:
    """The same for a person: a table for each machine, so many columns wide, in the unit of the site."""
    lines: list[str] = []
    for machine in view["machines"]:
        lines += [*_machine_lines(machine, site.unit, wide=columns >= WIDTH), ""]
    lines += ["The whole site", *_row_lines(view["site"], {}, site.unit, wide=columns >= WIDTH), ""]
    lines += _LEGEND.splitlines()
    return "\n".join(filled(line, columns) for line in lines)


def _machine_lines(machine: Mapping[str, Any], unit: str, *, wide: bool) -> list[str]:
    batches = {b["batch"]: b for b in machine["batches"]}
    letters: dict[tuple[str, ...], str] = {}
    for row in machine["rules"]:
        if row["limit_from"]:
            letters.setdefault(tuple(row["limit_from"]), chr(ord("a") + len(letters)))
    empty = "watched only" if machine["kind"] not in HOLDS_EGGS else "empty: its air has no limits"
    lines = [
        f"{machine['name']} ({', '.join(batches) or empty})",
        *_row_lines(machine["rules"], letters, unit, wide=wide),
    ]
    for names, letter in letters.items():
        whose = "; ".join(_whose_words(batches[name]) for name in names)
        lines.append(f"  {letter} of {whose}")
    return lines


def _whose_words(batch: Mapping[str, Any]) -> str:
    settling = ", humidity settling" if batch["settling"] else ""
    return (
        f"{batch['batch']}: {batch['profile']}, {stage_words(batch['stage'])}, day {whole_day(batch['day'])}{settling}"
    )


def _row_lines(
    rows: Sequence[Mapping[str, Any]], letters: Mapping[tuple[str, ...], str], unit: str, *, wide: bool
) -> list[str]:
    """Each rule a line under one head; in a narrow terminal each with its own words."""
    lines = [_HEAD] if wide else []
    for row in rows:
        mark = letters.get(tuple(row["limit_from"]), " ")
        star = "*" if row["origins"]["deadband"] == CAPPED else " "
        on, off, again = (short_span(row[name]) for name in ("on_delay_s", "off_delay_s", "re_alarm_s"))
        limit, dead, respond = _limit(row, unit), _deadband_words(row, unit), short_span(row["respond_min"] * 60)
        if wide:
            lines.append(
                f"  {row['rule']:<21} {row['priority']:<8} {limit:>10} {mark} {dead:>4}{star} {on:>4} {off:>4} {again:>5} {respond:>7}"
            )
        else:
            beyond = "" if limit == "-" else f", limit {limit} {mark}".rstrip()
            lines.append(f"  {row['rule']}: {row['priority']}{beyond}")
            lines.append(f"    dead {dead}{star}".rstrip() + f", on {on}, off {off}, again {again}, respond {respond}")
        own = [
            f"{_TOLD[name]}: {origin}"
            for name, origin in row["origins"].items()
            if origin not in (SHIPPED, WORKED_OUT, OF_BAND, CAPPED, PUBLISHED)
        ]
        lines += [f"      {'; '.join(own)}"] if own else []
    return lines


def _limit(row: Mapping[str, Any], unit: str) -> str:
    if row["limit"] is None:
        return "-"
    if row["quantity"] is None:
        return f"{row['limit']:g} d"
    figure = show_figure(row["quantity"], row["limit"], unit)
    return f"wb {figure}" if row["quantity"] == WET_BULB else figure


def _deadband_words(row: Mapping[str, Any], unit: str) -> str:
    """A difference, in the unit of the limit: °F are smaller."""
    of_temperature = row["quantity"] in (DRY_BULB, WET_BULB) or row["unit"] == "C"
    return f"{round(row['deadband'] * (1.8 if unit == 'F' and of_temperature else 1.0), 2):g}"
