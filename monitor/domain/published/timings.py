"""How long from a sign in the egg to the chick, as published: for hens, for parrots, for penguins.

Keys of sources as in `monitor/data/profiles/SOURCES.toml`, and two that speak of hens: PW, "The beautiful mystery of hatching", Poultry World;
HATSIG, Hatchery Signals, a trade handbook (extracts). NSW-SP speaks of parrots. (memory): recalled, no page was found.
"""

from __future__ import annotations

from monitor.domain.fixed import fixed

# The signs of an egg, by the words that they have in its book and in a profile.
DRAW_DOWN, INTERNAL_PIP, EXTERNAL_PIP = "draw-down", "internal pip", "external pip"
FOWL, PARROT, PENGUIN = "fowl", "parrot", "penguin"


@fixed
class Span:
    """Hours from a sign until the chick is out, the fewest and the most. source: where from. own: False where it is of other birds."""

    low_h: float
    high_h: float
    source: str
    own: bool = True


_SPANS = {
    # About 36 to 48 h in hens (memory).
    (FOWL, DRAW_DOWN): Span(36.0, 48.0, "memory"),
    # 24 to 26 h before the hatch (HATSIG); on the mean at 19 d 12 h of 21 days, which is 36 h (PW).
    (FOWL, INTERNAL_PIP): Span(24.0, 36.0, "HATSIG, PW"),
    # About half a day of rest, then an hour of cutting (HATSIG); 12 to 24 h (memory).
    (FOWL, EXTERNAL_PIP): Span(12.0, 24.0, "HATSIG, memory"),
    # 24 to 48 h to the pip (EPV), and 24 to 72 h from there (NSW-SP).
    (PARROT, DRAW_DOWN): Span(48.0, 120.0, "EPV, NSW-SP"),
    # 24 to 48 h, sometimes 12, to the external pip, and 24 to 72 h from there (NSW-SP).
    (PARROT, INTERNAL_PIP): Span(36.0, 120.0, "NSW-SP"),
    (PARROT, EXTERNAL_PIP): Span(24.0, 72.0, "NSW-SP"),
    # 48 to 50 h (HRB-P).
    (PENGUIN, EXTERNAL_PIP): Span(48.0, 50.0, "HRB-P"),
}


def until_hatch(kind: str | None, sign: str) -> Span:
    """From a sign until the chick is out. kind: of bird; one of which nobody says it has the span of hens and parrots together.

    Raises KeyError for a sign that is none.
    """
    own = _SPANS.get((kind or "", sign))
    if own is not None:
        return own
    hen, parrot = _SPANS[FOWL, sign], _SPANS[PARROT, sign]
    low_h, high_h = min(hen.low_h, parrot.low_h), max(hen.high_h, parrot.high_h)
    return Span(low_h, high_h, f"{hen.source}, {parrot.source}", own=False)
