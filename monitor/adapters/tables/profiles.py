"""Profiles from TOML files: those shipped with the package, then the breeder's own.

An own profile with the id of a shipped one takes its place; any other id is added. It may start from a
shipped one (`based_on = "chicken"`) and give only what differs: tables are merged, stages by name, notes are
added to, and any other value that is given replaces the one there was. In an own file a value may stand
alone (`days = 20`); its source is then "own". It may also change the numbers of rules (`[rules.dry-bulb-low-alarm]`).
"""

from __future__ import annotations

import functools
from collections.abc import Collection, Iterator, Mapping
from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Any

from monitor.adapters.tables.refused import Complaint, TableError
from monitor.adapters.tables.rules import shipped_rules
from monitor.adapters.tables.toml import lines_of, numbered, read_toml
from monitor.domain.needs.profile import Profile, ProfileError
from monitor.domain.refusal import sought

SOURCES_FILE = "SOURCES.toml"
OWN_SOURCE = "own"

Table = dict[str, Any]


class Profiles(Mapping[str, Profile]):
    """Profiles by id: the shipped ones, each read from its file when it is first asked for, and the breeder's own over them.

    A house needs a few of them. Asking for one raises KeyError where there is none, and ProfileError, one line, where its file cannot be
    read or holds no sound profile.
    """

    def __init__(self, shipped: Collection[str], own: Mapping[str, Profile]) -> None:
        self._ids = list(dict.fromkeys([*shipped, *own]))
        self._shipped = frozenset(shipped)
        self._read = dict(own)

    def __getitem__(self, id_: str) -> Profile:
        found = self._read.get(id_)
        if found is None:
            if id_ not in self._shipped:
                raise KeyError(id_)
            found = self._read[id_] = _read_profile(_shipped_table(id_), f"{id_}.toml", None)
        return found

    def __iter__(self) -> Iterator[str]:
        return iter(self._ids)

    def __len__(self) -> int:
        return len(self._ids)


def load_profiles(own: Path | None = None) -> Profiles:
    """All profiles: shipped, then `own`, a TOML file or a folder of them (in the order of their names), which is read at once.

    Raises ProfileError, one line, for a file of one's own that cannot be read, is not TOML (with its line), or holds no
    sound profile.
    """
    shipped = _shipped_ids()
    mine: dict[str, Profile] = {}
    files: dict[str, str] = {}
    for path in _own_files(own):
        table = _read(path)
        try:
            profile = _own_profile(table, path.name, shipped)
            if profile.id in files:
                raise ProfileError(f"{path.name}: id", repr(profile.id), f"an id not used in {files[profile.id]}")
        except ProfileError as error:
            raise _on_its_line(error, path) from None
        files[profile.id] = path.name
        mine[profile.id] = profile
    return Profiles(shipped, mine)


@functools.cache
def load_sources() -> dict[str, str]:
    """Full citation by source key, as shipped."""
    return _read(_shipped_folder() / SOURCES_FILE)


def _read_profile(table: Table, where: str, plain_source: str | None) -> Profile:
    # Loaded with the first profile that is read: a start without eggs reads none, and its models would lengthen it.
    from monitor.adapters.tables.profile import read_profile

    keys, rules = load_sources().keys(), shipped_rules()
    return read_profile(table, where, source_keys=keys, plain_source=plain_source, rules=rules)


def _shipped_table(id_: str) -> Table:
    """One shipped table; what it is based on is in it."""
    table = _read(_shipped_folder() / f"{id_}.toml")
    base = table.pop("based_on", None)
    return table if base is None else _merged(_shipped_table(base), table)


def _own_profile(table: Table, where: str, shipped: Collection[str]) -> Profile:
    if "based_on" in table:
        base = table.pop("based_on")
        if not isinstance(base, str) or base not in shipped:
            near, known = sought(str(base), sorted(shipped))
            raise ProfileError(f"{where}: based_on", f"{base!r}{near}", known)
        if "id" not in table:
            raise ProfileError(f"{where}: id", "missing", f"text ({base!r} replaces the shipped)")
        table = _merged(_shipped_table(base), table)
    return _read_profile(table, where, OWN_SOURCE)


def _on_its_line(error: ProfileError, path: Path) -> ProfileError:
    """The same with the line of the file that it is about, where that is known."""
    key = "".join(part for part in error.where if isinstance(part, str)).removeprefix(path.name).removeprefix(": ")
    found = Complaint(path.name, *([key] if key else []), came=error.came, expected=error.expected)
    return ProfileError.of(numbered(found, lines_of(path.read_text(encoding="utf-8-sig"))))


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


def _shipped_ids() -> list[str]:
    """Those of the shipped profiles, in the order of their files, each of which bears its id."""
    files = (file.name for file in _shipped_folder().iterdir())
    return sorted(name.removesuffix(".toml") for name in files if name.endswith(".toml") and name != SOURCES_FILE)


def _own_files(own: Path | None) -> list[Path]:
    if own is None:
        return []
    try:
        if own.is_dir():
            return sorted(path for path in own.iterdir() if path.suffix == ".toml")
        if own.exists():
            return [own]
    except OSError as error:
        raise ProfileError(str(own), f"{error.strerror}", "a TOML file or a folder of them") from None
    raise ProfileError(str(own), "no such file or folder", "a TOML file or a folder of them")


def _read(file: Traversable) -> Table:
    try:
        return read_toml(file, file.name, "a file that can be read")
    except TableError as error:
        found = error.complaints[0]
        raise ProfileError.of(found) from None
