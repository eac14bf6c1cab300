"""The rules of an archive: their numbers and words as they stood. What each judges is not written there, for its name says it.

The table is that of the names that archives have; it stays as it is, whatever the rules are called one day.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from monitor.domain.needs.rules import Rule, checked

_ABOUT = ("quantity", "side", "level", "foretells")
_JUDGED: dict[str, tuple[str, str, str | None, str | None]] = {
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


def plain_rule(rule: Rule) -> dict[str, Any]:
    """A rule as an archive has it."""
    return {name: value for name, value in asdict(rule).items() if name not in _ABOUT}


def rule_from(given: Mapping[str, Any], where: str) -> Rule:
    """A rule out of an archive, with what it judges. Raises RuleError; TypeError for a field that no rule has."""
    quantity, side, level, foretells = _JUDGED.get(str(given.get("id")), (None, None, None, None))
    return checked(Rule(**given, quantity=quantity, side=side, level=level, foretells=foretells), where)
