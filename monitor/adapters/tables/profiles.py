"""Profiles from TOML files: those shipped with the package, then the breeder's own.

An own profile with the id of a shipped one takes its place; any other id is added. It may start from a
shipped one (`based_on = "chicken"`) and give only what differs: tables are merged, stages by name, notes are
added to, and any other value that is given replaces the one there was. In an own file a value may stand
alone (`days = 20`); its source is then "own". It may also change the numbers of rules (`[rules.dry-bulb-low-alarm]`).
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Any

from monitor.adapters.tables.refused import TableError
from monitor.adapters.tables.rules import shipped_rules
from monitor.adapters.tables.toml import read_toml
from monitor.domain.needs.profile import Profile, ProfileError, parse_profile
from monitor.domain.needs.rules import Rule

SOURCES_FILE = "SOURCES.toml"
OWN_SOURCE = "own"

Table = dict[str, Any]


def load_profiles(own: Path | None = None) -> dict[str, Profile]:
    """All profiles by id: shipped, then `own`, a TOML file or a folder of them (in the order of their names).

    Raises ProfileError, one line, for a file that cannot be read, is not TOML (with its line), or holds no
    sound profile.
    """
    source_keys, rules = load_sources().keys(), shipped_rules()
    profiles: dict[str, Profile] = {}
    shipped = _shipped_tables()
    for id_, table in shipped.items():
        profiles[id_] = parse_profile(table, f"{id_}.toml", source_keys=source_keys, rules=rules)

    own_ids: dict[str, str] = {}
    for path in _own_files(own):
        profile = _own_profile(_read(path), path.name, shipped, source_keys, rules)
        if profile.id in own_ids:
            taken = own_ids[profile.id]
            raise ProfileError(f"{path.name}: id: {profile.id!r}, expected an id not used in {taken}")
        own_ids[profile.id] = path.name
        profiles[profile.id] = profile
    return profiles


def load_sources() -> dict[str, str]:
    """Full citation by source key, as shipped."""
    return _read(_shipped_folder() / SOURCES_FILE)


def _shipped_tables() -> dict[str, Table]:
    """The shipped tables by id, in the order of their files, each of which bears its id; what one is based on is in it."""
    tables = {file.name.removesuffix(".toml"): _read(file) for file in _shipped_files()}
    for id_, table in tables.items():
        if "based_on" in table:
            tables[id_] = _merged(tables[table.pop("based_on")], table)
    return tables


def _own_profile(
    table: Table, where: str, shipped: dict[str, Table], source_keys: Collection[str], rules: Mapping[str, Rule]
) -> Profile:
    if "based_on" in table:
        base = table.pop("based_on")
        if not isinstance(base, str) or base not in shipped:
            raise ProfileError(f"{where}: based_on: {base!r}, expected one of {', '.join(sorted(shipped))}")
        if "id" not in table:
            raise ProfileError(f"{where}: id: missing, expected text ({base!r} replaces the shipped)")
        table = _merged(shipped[base], table)
    return parse_profile(table, where, source_keys=source_keys, plain_source=OWN_SOURCE, rules=rules)


def _merged(base: Table, change: Table) -> Table:
    """`base` with what `change` gives; what is of a wrong kind goes in as it is, for the parser to refuse."""
    merged = base | change
    for key in base.keys() & change.keys():
        old, new = base[key], change[key]
        if isinstance(old, dict) and isinstance(new, dict):
            merged[key] = _merged(old, new)
        elif key == "stage" and isinstance(new, list) and all(isinstance(each, dict) for each in new):
            merged[key] = _merged_stages(old, new)
        elif key == "notes" and isinstance(new, list):
            merged[key] = old + new
    if "target_loss_pct" in change and "target_loss_to" not in change:
        merged.pop("target_loss_to", None)  # the base's clock is of the base's target
    for kind, other in (("rh_pct", "wet_bulb_c"), ("wet_bulb_c", "rh_pct")):
        if kind in change and other not in change:
            merged.pop(other, None)  # a stage has one kind of humidity band: the breeder's stands
    return merged


def _merged_stages(base: list[Table], change: list[Table]) -> list[Table]:
    """Each stage with the change of its name; what is left (a new stage, or one named twice) comes after."""
    rest = list(change)
    stages = []
    for stage in base:
        mine = next((each for each in rest if each.get("name") == stage["name"]), None)
        if mine is not None:
            rest.remove(mine)
        stages.append(_merged(stage, mine or {}))
    return stages + rest


def _shipped_folder() -> Traversable:
    return resources.files("monitor") / "data" / "profiles"


def _shipped_files() -> list[Traversable]:
    files = [file for file in _shipped_folder().iterdir() if file.name.endswith(".toml")]
    return sorted((file for file in files if file.name != SOURCES_FILE), key=lambda file: file.name)


def _own_files(own: Path | None) -> list[Path]:
    if own is None:
        return []
    try:
        if own.is_dir():
            return sorted(path for path in own.iterdir() if path.suffix == ".toml")
        if own.exists():
            return [own]
    except OSError as error:
        raise ProfileError(f"{own}: {error.strerror}, expected a TOML file or a folder of them") from None
    raise ProfileError(f"{own}: no such file or folder, expected a TOML file or a folder of them")


def _read(file: Traversable) -> Table:
    try:
        return read_toml(file, file.name, "a file that can be read")
    except TableError as error:
        raise ProfileError(str(error)) from None
