"""`eggroom egg chick`: what the chick of an egg weighs, where it is, and that it is signed off."""

from __future__ import annotations

from collections.abc import Mapping

from monitor.cli.egg import written as write
from monitor.cli.egg.given import Raise
from monitor.cli.frame import Wrong
from monitor.cli.record import house_of
from monitor.cli.typed import typed_egg, typed_number
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

    def facts(cells: Mapping[str, str]) -> list[tuple[str, dict[str, object]]]:
        if "mass_g" not in cells:
            return []  # not weighed that day
        mass_g = typed_number(cells["mass_g"], "mass_g", unit="g")
        return [("chick-mass", {"mass_g": mass_g, "scale": options.scale, "error_g": options.error})]

    return write.from_table(options, house, options.csv, columns=("mass_g", "at"), least=("mass_g",), facts=facts)
