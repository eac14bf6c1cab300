"""`python -m tests.planted [--homes N] [--seasons N] [--room WORDS] [--innocent] [--recorded N]`: how often the review is right about planted causes in four kinds of house, and
how often anything is said to go together across batches, where nothing does and where something does. --innocent asks every question of batches whose fault lies elsewhere; --recorded plays so many of the
demo's seasons through a record. Exits with 1 where a bar is missed."""

from __future__ import annotations

import argparse
import sys

from tests.planted import innocent, recorded
from tests.planted.houses import CURVED, HOUSES
from tests.planted.judged import SIZES, Null, Room, null, played

LEAST_FIRST, MOST_WRONGLY, MOST_NULL = 0.8, 0.05, 0.05


def main() -> int:
    """Both, with their bars."""
    parser = argparse.ArgumentParser(prog="python -m tests.planted", description=__doc__)
    parser.add_argument("--homes", type=int, default=12, help="houses of each kind; 0 for none")
    parser.add_argument("--seasons", type=int, default=200, help="seasons of hatches for each cost; 0 for none")
    parser.add_argument("--room", default="", help="only the kinds of house with these words in their name")
    parser.add_argument(
        "--innocent", action="store_true", help="only: how often an innocent cause is called supported (ten minutes)"
    )
    parser.add_argument(
        "--recorded", type=int, default=0, help="only: seasons of the demo through a record (six minutes for 200)"
    )
    options = parser.parse_args()
    if options.innocent or options.recorded:
        if options.innocent:
            innocent.tell()
        if options.recorded:
            recorded.tell(options.recorded)
        return 0
    met = True
    for house in HOUSES if options.homes else ():
        if options.room in house.name:
            room = played(house, options.homes)
            tell(house.name, room)
            met &= met_by(room)
    if options.seasons:
        told = null(options.seasons)
        tell_null(told)
        met &= told.by_ranks.share <= MOST_NULL
    return 0 if met else 1


def met_by(room: Room) -> bool:
    """Whether a kind of house keeps its bars."""
    return room.first.share >= LEAST_FIRST and room.wrongly.share <= MOST_WRONGLY and room.shown.count == room.shown.of


def tell(name: str, room: Room) -> None:
    """What came of one kind of house."""
    print(f"\n{name}")
    print(f"  planted cause first, beyond twice the sensors' error: {room.first}, at least {100 * LEAST_FIRST:g} %")
    print(f"  anything supported where nothing showed: {room.wrongly}, at most {100 * MOST_WRONGLY:g} %", end="; ")
    print(f"of unseen causes {room.unseen}, of chance {room.chance}")
    print(f"  heat or cold beyond a published exposure shown: {room.shown}, all")
    worst = sorted(room.missed.items(), key=lambda each: -each[1].share)[:4]
    print(f"  most often missed: {'; '.join(f'{fault} {share}' for fault, share in worst if share.count)}")
    print(f"  share first, by size in sensor errors   {''.join(f'{size:>6g}' for size in SIZES)}")
    for fault in CURVED:
        shares = [room.curve.get((fault.name, size)) for size in SIZES]
        print(f"    {fault.name:36}  {''.join('     -' if s is None else f'{100 * s.share:6.0f}' for s in shares)}")


def tell_null(told: Null) -> None:
    """What goes together across batches."""
    print("\nseasons of 20 batches, 9 things looked at, corrected (Holm)")
    print(
        f"  anything said to go together where nothing does: by ranks {told.by_ranks}, by the cut {told.by_cut}; at most 5 %"
    )
    for cost, (ranks, cut) in told.found.items():
        print(
            f"  found, where it costs {cost:g} of a hundred fertile eggs in three of ten batches: by ranks {ranks}, by the cut {cut}"
        )


if __name__ == "__main__":
    sys.exit(main())
