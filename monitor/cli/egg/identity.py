"""`eggroom egg identity`: who eggs are, of one, of several, of all of a batch, or out of a table."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from datetime import tzinfo

from monitor.cli.egg import written as write
from monitor.cli.egg.given import Identify
from monitor.cli.frame import Utc, Wrong
from monitor.cli.record import house_of
from monitor.cli.typed import typed_digit, typed_mm, typed_number, typed_when
from monitor.domain.eggs.entry import Identity

NAMES = tuple(each.name for each in fields(Identity) if each.name != "taken_at")
UNTIL = "under_bird_until"
COLUMNS = (*NAMES, UNTIL, "laid", "stored_days", "length_mm", "breadth_mm", "mass_g", "at")


def identity(options: Identify) -> int:
    """Who eggs are."""
    house = house_of(options.config)
    given = {name: value for name in (*NAMES, UNTIL) if (value := getattr(options, name)) is not None}
    if options.csv is not None:
        if options.words or given:
            raise Wrong("identity: --csv, expected nothing beside it but --at, --by and --sure")
        zone = house.site.zone
        return write.from_table(
            options, house, options.csv, columns=COLUMNS, facts=lambda cells: _facts(cells, zone, options.utc)
        )
    eggs = write.words_of(options, ("[EGGS]",))
    if not given:
        options_ = ", ".join(f"--{name.replace('_', '-')}" for name in (*NAMES, UNTIL))
        raise Wrong(f"identity: nothing is said, expected one of {options_} or --csv")
    fact = _identity(given, house.site.zone, options.utc)
    return write.write_one(options, "identity", fact=fact, about=write.about_of(options, eggs), house=house)


def _identity(given: Mapping[str, str], zone: tzinfo, utc: Utc) -> dict[str, object]:
    """The fields of an identity. Raises Wrong."""
    fact: dict[str, object] = {name: " ".join(given[name].split()) for name in NAMES if name in given}
    if UNTIL in given:
        fact["taken_at"] = typed_when(given[UNTIL], zone, utc).isoformat()
    return fact


def _facts(cells: Mapping[str, str], zone: tzinfo, utc: Utc) -> list[tuple[str, dict[str, object]]]:
    found: list[tuple[str, dict[str, object]]] = []
    if cells.keys() & {"laid", "stored_days"}:
        laid = typed_when(cells["laid"], zone, utc).isoformat() if "laid" in cells else None
        stored = typed_number(cells["stored_days"], "stored_days") if "stored_days" in cells else None
        found.append(("laid", {"laid_at": laid, "stored_days": stored}))
    if fact := _identity(cells, zone, utc):
        found.append(("identity", fact))
    if cells.keys() & {"length_mm", "breadth_mm"}:
        for name, other in (("length_mm", "breadth_mm"), ("breadth_mm", "length_mm")):
            if name not in cells:
                raise Wrong(f"{other} alone, expected {name} beside it")
        found.append(("size", {name: typed_mm(cells[name], name) for name in ("length_mm", "breadth_mm")}))
    if "mass_g" in cells:
        mass = cells["mass_g"]
        found.append(("weighing", {"gross_g": typed_number(mass, "mass_g", unit="g"), "digit_g": typed_digit(mass)}))
    return found
