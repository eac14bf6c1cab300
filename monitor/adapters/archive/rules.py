"""The rules of an archive, as format version 1 has them: their numbers and words as they stood. What each judges is not written there,
for its name says it.

As in `house`, these names belong to files that people keep; the table is that of the rules' names in them, and stays as it is, whatever
the rules are called one day.
"""

from __future__ import annotations

from dataclasses import dataclass

from monitor.adapters.kept.site import Number
from monitor.domain.needs.rules import Rule, checked

_JUDGED: dict[str, tuple[str, str, str | None, str | None]] = {
    "dry-bulb-lethal": ("dry_bulb_c", "high", "lethal", None),
    "dry-bulb-high-alarm": ("dry_bulb_c", "high", "alarm", None),
    "dry-bulb-high-warning": ("dry_bulb_c", "high", "warning", None),
    "dry-bulb-high-heading": ("dry_bulb_c", "high", None, "dry-bulb-high-alarm"),
    "dry-bulb-low-alarm": ("dry_bulb_c", "low", "alarm", None),
    "dry-bulb-low-warning": ("dry_bulb_c", "low", "warning", None),
    "dry-bulb-low-heading": ("dry_bulb_c", "low", None, "dry-bulb-low-alarm"),
    "egg-too-hot": ("egg_c", "high", None, None),
    "egg-too-cold": ("egg_c", "low", None, None),
    "humidity-high-alarm": ("humidity", "high", "alarm", None),
    "humidity-high-warning": ("humidity", "high", "warning", None),
    "humidity-low-alarm": ("humidity", "low", "alarm", None),
    "humidity-low-warning": ("humidity", "low", "warning", None),
    "humidity-not-raised": ("humidity", "low", None, None),
    "lockdown-overdue": ("days", "high", None, None),
    "hatch-overdue": ("days", "high", None, None),
}

# Over how long the value is a mean, s; what a sensor may be off, and which change counts sooner, in the rule's unit.
_LATELY: dict[str, tuple[float, float, float]] = {
    "dry-bulb-high-warning": (1200, 0.0, 0.0),
    "dry-bulb-high-heading": (1200, 0.0, 0.0),
    "dry-bulb-low-warning": (1200, 0.0, 0.0),
    "dry-bulb-low-heading": (1200, 0.0, 0.0),
    "humidity-high-warning": (21600, 2.5, 6),
    "humidity-low-warning": (21600, 2.5, 6),
    "humidity-not-raised": (0.0, 2.5, 0.0),
}


@dataclass(frozen=True, slots=True)
class ArchivedRule:
    """A rule of the alarms, with the site's numbers."""

    id: str
    words: str
    over: str
    unit: str
    priority: str
    severity: str
    group: str
    on_delay_s: Number
    off_delay_s: Number
    deadband: Number
    re_alarm_s: Number | None
    respond_min: Number
    cause: str
    consequence: str
    first_act: str
    limit: Number | None = None

    @classmethod
    def of(cls, rule: Rule) -> ArchivedRule:
        """A rule as it is kept."""
        return cls(
            id=rule.id,
            words=rule.words,
            over=rule.over,
            unit=rule.unit,
            priority=rule.priority,
            severity=rule.severity,
            group=rule.group,
            on_delay_s=rule.on_delay_s,
            off_delay_s=rule.off_delay_s,
            deadband=rule.deadband,
            re_alarm_s=rule.re_alarm_s,
            respond_min=rule.respond_min,
            cause=rule.cause,
            consequence=rule.consequence,
            first_act=rule.first_act,
            limit=rule.limit,
        )

    def back(self) -> Rule:
        """The rule, with what it judges. Raises ValueError for one that cannot be."""
        quantity, side, level, foretells = _JUDGED.get(self.id, (None, None, None, None))
        over_s, sensor_error, change = _LATELY.get(self.id, (0.0, 0.0, 0.0))
        rule = Rule(
            id=self.id,
            words=self.words,
            over=self.over,
            unit=self.unit,
            priority=self.priority,
            severity=self.severity,
            group=self.group,
            on_delay_s=self.on_delay_s,
            off_delay_s=self.off_delay_s,
            deadband=self.deadband,
            re_alarm_s=self.re_alarm_s,
            respond_min=self.respond_min,
            cause=self.cause,
            consequence=self.consequence,
            first_act=self.first_act,
            limit=self.limit,
            quantity=quantity,
            side=side,
            level=level,
            foretells=foretells,
            over_s=over_s,
            sensor_error=sensor_error,
            change=change,
        )
        return checked(rule, "rules")
