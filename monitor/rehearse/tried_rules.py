"""A file of rules to be tried on a recording: TOML with the tables [rules.NAME] and [machine.ID.rules.NAME], whose keys are those of the
configuration's own. Every complaint is one line: file, key, what came, what was expected.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from monitor.domain.needs.rules import SITE_WIDE, RuleError, changed
from monitor.settings import House, SettingsError, build_house

Own = dict[str, dict[str, Any]]  # numbers by rule and name


def with_rules(house: House, path: Path) -> House:
    """The house with the numbers of a file over its own: [rules.NAME] and [machine.ID.rules.NAME]. Raises SettingsError."""
    site, machines = _read(path, house)
    settings = house.settings.model_copy(
        update={
            "rules": _over(house.settings.rules, site),
            "machine": tuple(
                m.model_copy(update={"rules": _over(m.rules, machines.get(m.id, {}))}) for m in house.settings.machine
            ),
        }
    )
    return build_house(settings, house.site.profiles, house.path)


def _read(path: Path, house: House) -> tuple[Own, dict[str, Own]]:
    """(the site's numbers, each machine's) of a file, checked. Raises SettingsError with every complaint."""
    try:
        data = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise SettingsError([f"{path}: {error.strerror}, expected a file of rules"]) from error
    except UnicodeDecodeError as error:
        line = error.object.count(b"\n", 0, error.start) + 1
        raise SettingsError([f"{path}: line {line}: bytes that are not UTF-8, expected text"]) from error
    except tomllib.TOMLDecodeError as error:
        raise SettingsError([f"{path}: {error}, expected TOML"]) from error
    expected = "[rules.NAME] or [machine.ID.rules.NAME]"
    wrong = [f"{path}: {key}: unknown, expected {expected}" for key in data if key not in ("rules", "machine")]
    site = _tables(data.get("rules", {}), f"{path}: rules", house, wrong)
    machines: dict[str, Own] = {}
    given = data.get("machine", {})
    if not isinstance(given, dict):
        wrong.append(f"{path}: machine: a list, expected {expected}")
        given = {}
    for id_, table in given.items():
        if id_ not in house.site.machines:
            wrong.append(f"{path}: machine.{id_}: no such machine, expected one of: {', '.join(house.site.machines)}")
        elif not isinstance(table, dict) or set(table) != {"rules"}:
            wrong.append(f"{path}: machine.{id_}: expected [machine.{id_}.rules.NAME] and nothing else")
        else:
            machines[id_] = _tables(table["rules"], f"{path}: machine.{id_}.rules", house, wrong, machine=True)
    if not wrong and not site and not any(machines.values()):
        wrong.append(f"{path}: no rules, expected {expected}")
    if wrong:
        raise SettingsError(wrong)
    return site, machines


def _tables(given: object, where: str, house: House, wrong: list[str], *, machine: bool = False) -> Own:
    """The numbers by rule, those that can be used; what cannot goes to `wrong`."""
    if not isinstance(given, dict):
        wrong.append(f"{where}: {given!r}, expected tables")
        return {}
    own: Own = {}
    for id_, numbers in given.items():
        rule = house.site.rules.get(id_)
        if rule is None:
            wrong.append(f"{where}.{id_}: no such rule, expected one of: {', '.join(house.site.rules)}")
        elif not isinstance(numbers, dict):
            wrong.append(f"{where}.{id_}: {numbers!r}, expected a table")
        elif machine and rule.group in SITE_WIDE:
            wrong.append(f"{where}.{id_}: a rule of the whole site, expected it in [rules.{id_}]")
        else:
            try:
                changed(rule, numbers, where)
            except RuleError as error:
                wrong.append(str(error))
            own[id_] = numbers
    return own


def _over(under: Mapping[str, Mapping[str, Any]], numbers: Own) -> Own:
    """Some numbers over others, rule by rule."""
    return {id_: {**under.get(id_, {}), **numbers.get(id_, {})} for id_ in {**under, **numbers}}
