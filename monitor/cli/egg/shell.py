"""`eggroom egg air-cell` and `egg turned`: how the air cell lies in an egg, and how often eggs were turned."""

from __future__ import annotations

from collections.abc import Mapping

from monitor.cli.egg import written as write
from monitor.cli.egg.given import Cell, Turn
from monitor.cli.frame import Wrong
from monitor.cli.record import house_of
from monitor.cli.typed import typed_egg, typed_mm, typed_span_s

STOPPED = "stopped"
COLUMNS = ("near_mm", "far_mm", "across_mm")


def air_cell(options: Cell) -> int:
    """The outline of an air cell, of one egg or out of a table."""
    house = house_of(options.config)
    if options.csv is not None:
        if options.words or options.across is not None:
            raise Wrong("air-cell: --csv, expected nothing beside it but --at, --by and --sure")
        return write.from_table(options, house, options.csv, columns=(*COLUMNS, "at"), least=COLUMNS[:1], facts=_cell)
    egg, *edges = write.words_of(options, ("EGG", "NEAR", "[FAR]"))
    given = dict(zip(COLUMNS, edges, strict=False)) | ({} if options.across is None else {"across_mm": options.across})
    fact = {name: typed_mm(value, "air-cell") for name, value in given.items()}
    return write.write_one(options, "air-cell", fact=fact, about={"egg": typed_egg(egg)}, house=house)


def _cell(cells: Mapping[str, str]) -> list[tuple[str, dict[str, object]]]:
    given = {name: cells[name] for name in COLUMNS if name in cells}
    if given and "near_mm" not in given:
        raise Wrong(f"{next(iter(given))} alone, expected near_mm beside it")
    return [("air-cell", {name: typed_mm(value, name) for name, value in given.items()})] if given else []


def turned(options: Turn) -> int:
    """How often, or no more."""
    *eggs, times = write.words_of(options, ("[EGGS]", "TIMES"))
    about = write.about_of(options, eggs)
    if times.lower() == STOPPED:
        if options.over is not None:
            raise Wrong("turned stopped: --over, expected it with a count only")
        return write.write_one(options, "turning-stopped", fact={"text": options.note}, about=about)
    if options.note:
        raise Wrong("turned: --note, expected it with stopped only; for anything else see eggroom egg note")
    if not times.isascii() or not times.isdigit():
        raise Wrong(f"turned: {times[:40]!r}, expected how often, a whole number, or {STOPPED}")
    hours = {} if options.over is None else {"hours": typed_span_s(options.over) / 3600.0}
    return write.write_one(options, "turned", fact={"times": int(times[:9]), **hours}, about=about)
