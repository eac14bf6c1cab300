"""A file of rules to be tried on a recording: TOML with the tables [rules.NAME] and [machine.ID.rules.NAME], whose keys are those of the
configuration's own. Every complaint is one line: file, key, what came, what was expected.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from monitor.adapters.tables.refused import Complaint, TableError
from monitor.adapters.tables.rules import Numbers, Tried, read_tried
from monitor.adapters.tables.toml import read_toml
from monitor.settings import House, SettingsError, build_house, check_machines_numbers, with_numbers

_EXPECTED = "[rules.NAME] or [machine.ID.rules.NAME]"


def with_rules(house: House, path: Path) -> House:
    """The house with the numbers of a file over its own: [rules.NAME] and [machine.ID.rules.NAME]. Raises SettingsError."""
    tried = _read(path, house)
    machines = {id_: own.rules for id_, own in tried.machine.items()}
    settings = house.settings.model_copy(
        update={
            "rules": _over(house.settings.rules, tried.rules),
            "machine": tuple(
                m.model_copy(update={"rules": _over(m.rules, machines.get(m.id, {}))}) for m in house.settings.machine
            ),
        }
    )
    return build_house(settings, house.site.profiles, house.path)


def _read(path: Path, house: House) -> Tried:
    """The file, checked against the house. Raises SettingsError with every complaint."""
    try:
        tried = read_tried(read_toml(path, str(path), "a file of rules"), str(path))
    except TableError as error:
        raise SettingsError(error.complaints) from None
    wrong: list[Complaint] = []
    with_numbers(house.site.rules, tried.rules, (str(path), "rules"), wrong=wrong)
    for id_, own in tried.machine.items():
        if id_ not in house.site.machines:
            known = f"one of: {', '.join(house.site.machines)}"
            wrong.append(Complaint(str(path), f"machine.{id_}", came="no such machine", expected=known))
        elif not own.rules:
            expected = f"[machine.{id_}.rules.NAME]"
            wrong.append(Complaint(str(path), f"machine.{id_}", came="no rules", expected=expected))
        check_machines_numbers(house.site.rules, own.rules, (str(path), f"machine.{id_}.rules"), wrong=wrong)
    if not tried.rules and not tried.machine:
        wrong.append(Complaint(str(path), came="no rules", expected=_EXPECTED))
    if wrong:
        raise SettingsError(wrong)
    return tried


def _over(under: Mapping[str, Numbers], numbers: Mapping[str, Numbers]) -> dict[str, Numbers]:
    """Some numbers over others, rule by rule."""
    both = {id_: [own[id_].given() for own in (under, numbers) if id_ in own] for id_ in {**under, **numbers}}
    return {
        id_: Numbers.model_validate({name: v for own in each for name, v in own.items()}) for id_, each in both.items()
    }
