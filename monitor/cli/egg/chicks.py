"""`eggroom egg chick`: what the chick of an egg weighs, where it is, and that it is signed off."""

from __future__ import annotations

from typing import Any

from monitor.cli.egg import written as write
from monitor.cli.egg.given import Raise
from monitor.cli.egg.table import EGG, read_table, refuse
from monitor.cli.frame import Wrong, tell
from monitor.cli.record import house_of
from monitor.cli.typed import typed_egg, typed_number, typed_when
from monitor.settings import House

_ONE = "grams, --brooder, --signed-off or --csv"


def chick(options: Raise) -> int:
    """One thing about the chick of one egg, or of several."""
    house = house_of(options.config)
    said = [options.brooder is not None, options.signed_off is not None, options.csv is not None]
    if options.csv is not None and (options.words or sum(said) > 1):
        raise Wrong("chick: --csv, expected nothing beside it but --at, --scale, --error, --by and --sure")
    if options.csv is not None:
        return _table(options, house)
    if sum(said) > 1 or (any(said) and len(options.words) > 1):
        raise Wrong(f"chick: several things at once, expected one of {_ONE}")
    if any(said) and (options.scale is not None or options.error is not None):
        raise Wrong("chick: --scale or --error, expected them with grams only")
    if options.brooder is not None:
        (eggs,) = write.words_of(options, ("EGGS",))
        return write.write_one(
            options, "brooder", fact={"machine": options.brooder}, about=write.about_of(options, [eggs]), house=house
        )
    if options.signed_off is not None:
        (eggs,) = write.words_of(options, ("EGGS",))
        return write.write_one(
            options, "signed-off", fact={"text": options.signed_off}, about=write.about_of(options, [eggs]), house=house
        )
    if len(options.words) < 2:
        raise Wrong(f"chick: nothing is said of it, expected EGG and one of {_ONE}")
    egg, grams = write.words_of(options, ("EGG", "GRAMS"))
    fact = {"mass_g": typed_number(grams, "chick", unit="g"), "scale": options.scale, "error_g": options.error}
    return write.write_one(options, "chick-mass", fact=fact, about={"egg": typed_egg(egg)}, house=house)


def _table(options: Raise, house: House) -> int:
    assert options.csv is not None
    table = read_table(options.csv, ("mass_g", "at"), least=("mass_g",))
    rows: list[list[Any]] = []
    wrong: list[str] = []
    for line, cells in table.rows:
        try:
            if "mass_g" not in cells:
                continue  # not weighed that day
            at = typed_when(cells["at"], house.site.zone, options.utc).isoformat() if "at" in cells else None
            fact = {
                "mass_g": typed_number(cells["mass_g"], "mass_g", unit="g"),
                "scale": options.scale,
                "error_g": options.error,
            }
            rows.append([line, typed_egg(cells[EGG]), "chick-mass", fact, at])
        except Wrong as error:
            wrong.append(f"line {line}: {error}")
    refuse(options.csv, wrong)
    if not rows:
        raise Wrong(f"{options.csv}: no mass in any line, expected columns egg,mass_g[,at]")
    code = write.tabled(options, house, rows=rows, where=f"{options.csv}: ")
    if table.left_out:
        tell(f"left out, for nothing here asks for it: {', '.join(table.left_out)[:200]}")
    return code
