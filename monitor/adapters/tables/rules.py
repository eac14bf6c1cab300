"""The rules from `monitor/data/rules.toml`, and someone's own numbers for them: of the configuration, or of a file to be tried."""

from __future__ import annotations

import functools
from collections.abc import Mapping
from importlib import resources
from typing import Annotated

from pydantic import Field, WrapValidator

from monitor.adapters.tables.refused import Table, TableError, one_of, read, read_each, within
from monitor.adapters.tables.toml import read_toml
from monitor.domain.needs.rules import (
    CHANGEABLE,
    GROUPS,
    JUDGED,
    LOW,
    MATRIX,
    PRIORITIES,
    SPANS,
    Rule,
    RuleError,
    check_together,
    checked,
    worked_out,
)

# A whole number stays one: the program shows what was written.
_Number = Annotated[float, WrapValidator(lambda value, check: (check(value), value)[1])]


class Numbers(Table):
    """[rules.ID]: what is given stands over what there was. The range of a limit is its rule's (`changed`)."""

    priority: Annotated[str, one_of(PRIORITIES)] = LOW
    limit: _Number = 0.0
    on_delay_s: Annotated[_Number, within(*SPANS["on_delay_s"])] = 0.0
    off_delay_s: Annotated[_Number, within(*SPANS["off_delay_s"])] = 0.0
    deadband: Annotated[_Number, within(*SPANS["deadband"])] = 0.0
    re_alarm_s: Annotated[_Number, within(*SPANS["re_alarm_s"])] = 0.0
    respond_min: Annotated[_Number, within(*SPANS["respond_min"])] = 0.0

    def given(self) -> dict[str, object]:
        """Those that are given, by name."""
        return {name: getattr(self, name) for name in CHANGEABLE if name in self.model_fields_set}


class MachineNumbers(Table):
    """[machine.ID]"""

    rules: dict[str, Numbers] = Field(default_factory=dict)


class Tried(Table):
    """A file of rules to be tried on a recording: [rules.NAME] and [machine.ID.rules.NAME]."""

    rules: dict[str, Numbers] = Field(default_factory=dict)
    machine: dict[str, MachineNumbers] = Field(default_factory=dict)


class _Rule(Table):
    """One rule as it ships."""

    words: str
    over: str
    unit: str
    severity: Annotated[str, one_of(MATRIX)]
    group: Annotated[str, one_of(GROUPS)]
    on_delay_s: Annotated[_Number, within(*SPANS["on_delay_s"])]
    off_delay_s: Annotated[_Number, within(*SPANS["off_delay_s"])]
    deadband: Annotated[_Number, within(*SPANS["deadband"])]
    re_alarm_s: Annotated[_Number | None, within(*SPANS["re_alarm_s"])] = None
    respond_min: Annotated[_Number, within(*SPANS["respond_min"])]
    cause: str
    consequence: str
    first_act: str
    limit: _Number | None = None
    quantity: Annotated[str, one_of(JUDGED["quantity"])] | None = None
    side: Annotated[str, one_of(JUDGED["side"])] | None = None
    level: Annotated[str, one_of(JUDGED["level"])] | None = None
    foretells: str | None = None
    over_s: Annotated[_Number, within(0.0, 604_800.0)] = 0.0
    sensor_error: Annotated[_Number, within(0.0, 10.0)] = 0.0
    change: Annotated[_Number, within(0.0, 100.0)] = 0.0

    def value(self, id_: str) -> Rule:
        fields = {name: getattr(self, name) for name in type(self).model_fields}
        return Rule(id=id_, priority=worked_out(self.severity, self.respond_min), **fields)


@functools.cache
def shipped_rules() -> dict[str, Rule]:
    """The rules that come with the package."""
    file = resources.files("monitor").joinpath("data", "rules.toml")
    return read_rules(read_toml(file, file.name, "the shipped rules"), file.name)


def read_rules(data: Mapping[str, object], where: str) -> dict[str, Rule]:
    """Rules by id from the shipped table. Raises RuleError with one line for the first thing that is missing, unknown or wrong."""
    try:
        found = read_each(_Rule, data, where)
    except TableError as error:
        first = error.complaints[0]
        raise RuleError.of(first) from None
    rules = {id_: checked(each.value(id_), where) for id_, each in found.items()}
    check_together(rules, where)
    return rules


def read_tried(data: Mapping[str, object], where: str) -> Tried:
    """A file of rules to be tried. Raises TableError with every complaint."""
    return read(Tried, data, where)


def given(rules: Mapping[str, Numbers]) -> dict[str, dict[str, object]]:
    """Someone's own numbers by rule and name."""
    return {id_: numbers.given() for id_, numbers in rules.items()}
