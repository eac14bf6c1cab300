"""From a sign in the egg to the chick, as published."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from monitor.domain.needs.profile import KINDS, SIGNS
from monitor.domain.published.timings import until_hatch

REFERENCE = Path(__file__).parents[2] / "reference" / "hatch_timings.csv"


def rows(kind: str, sign: str) -> list[dict[str, str]]:
    with REFERENCE.open(newline="", encoding="utf-8") as file:
        return [row for row in csv.DictReader(file) if (row["kind"], row["sign"]) == (kind, sign)]


@pytest.mark.parametrize("sign", SIGNS)
@pytest.mark.parametrize("kind", KINDS)
def test_each_span_holds_what_its_sources_say(kind: str, sign: str) -> None:
    """The hours of a kind reach from the fewest that a source says of it to the most; where none does, over hens and parrots together."""
    own = rows(kind, sign)
    found = until_hatch(kind, sign)
    told = own or [*rows("fowl", sign), *rows("parrot", sign)]
    assert found.own is bool(own)
    assert (found.low_h, found.high_h) == (min(float(r["low_h"]) for r in told), max(float(r["high_h"]) for r in told))
    for row in told:
        assert all(key.lower() in found.source.lower() for key in row["source_key"].split())


def test_a_bird_of_no_kind_has_the_widest_span() -> None:
    """And a sign that is none has no span."""
    assert until_hatch(None, "external pip") == until_hatch("raptor", "external pip")
    with pytest.raises(KeyError):
        until_hatch("fowl", "peep")
