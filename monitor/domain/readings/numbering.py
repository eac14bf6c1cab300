"""Which messages of a boot have come: what makes a message safe to repeat, and a gap visible until it is filled.

Messages are numbered from 0 in each boot. `contiguous` is the highest number below which nothing is missing (or was given
up); `above` are the stretches that came out of order. A hole that stays open for HOLE_S although the node is being heard is
given up: a node's ring has room for so many messages, and what it dropped will never come. It stays in the record as a gap,
and a late filler is still taken.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from monitor.domain.fixed import fixed

HOLE_S = 600.0  # a node sends again after 30 s, oldest first: ten minutes are twenty chances
MAX_STRETCHES = 64  # more holes than this at once: the oldest is given up at once


@fixed
class Numbering:
    """What has come of one (node, boot). lost: the newest holes that were given up, and may still be filled."""

    contiguous: int = -1
    above: tuple[tuple[int, int], ...] = ()
    hole_since_mono_s: float | None = None
    lost: tuple[tuple[int, int], ...] = ()


@fixed
class Gap:
    """Messages first..last of a boot that are missing; lost when the node is no longer expected to bring them."""

    node: str
    boot: int
    first: int
    last: int
    lost: bool


def has(numbering: Numbering, seq: int) -> bool:
    """Whether this number has come before."""
    if seq <= numbering.contiguous:
        return not any(first <= seq <= last for first, last in numbering.lost)
    return any(first <= seq <= last for first, last in numbering.above)


def take(numbering: Numbering, seq: int, mono_s: float) -> Numbering:
    """The numbering with one more number; of one that has come before, the same numbering itself."""
    if seq == numbering.contiguous + 1 and not numbering.above:
        return Numbering(seq, (), None, numbering.lost)
    if has(numbering, seq):
        return numbering
    if seq <= numbering.contiguous:
        return replace(numbering, lost=tuple(_without(numbering.lost, seq)))
    merged = _with(numbering.above, seq)
    contiguous = numbering.contiguous
    if merged and merged[0][0] == contiguous + 1:
        contiguous = merged[0][1]
        merged = merged[1:]
    since = None
    if merged:
        filled = contiguous != numbering.contiguous
        since = mono_s if filled or numbering.hole_since_mono_s is None else numbering.hole_since_mono_s
    return Numbering(contiguous, merged, since, numbering.lost)


def give_up(numbering: Numbering, mono_s: float) -> tuple[Numbering, tuple[int, int] | None]:
    """The numbering past its lowest hole, and that hole, once it has stood open too long; else unchanged and None."""
    if not numbering.above or numbering.hole_since_mono_s is None:
        return numbering, None
    if mono_s - numbering.hole_since_mono_s < HOLE_S and len(numbering.above) <= MAX_STRETCHES:
        return numbering, None
    first, last = numbering.above[0]
    rest = numbering.above[1:]
    hole = (numbering.contiguous + 1, first - 1)
    lost = (*numbering.lost, hole)[-MAX_STRETCHES:]
    return Numbering(last, rest, mono_s if rest else None, lost), hole


def holes(numbering: Numbering) -> tuple[tuple[int, int], ...]:
    """The stretches that are missing below what has come."""
    result = []
    low = numbering.contiguous
    for first, last in numbering.above:
        result.append((low + 1, first - 1))
        low = last
    return tuple(result)


def _without(stretches: tuple[tuple[int, int], ...], seq: int) -> Iterator[tuple[int, int]]:
    for first, last in stretches:
        if not first <= seq <= last:
            yield first, last
            continue
        if first < seq:
            yield first, seq - 1
        if seq < last:
            yield seq + 1, last


def _with(stretches: tuple[tuple[int, int], ...], seq: int) -> tuple[tuple[int, int], ...]:
    merged: list[tuple[int, int]] = []
    first, last = seq, seq
    for low, high in stretches:
        if high < first - 1:
            merged.append((low, high))
        elif low > last + 1:
            merged.append((first, last))
            first, last = low, high
        else:
            first, last = min(first, low), max(last, high)
    merged.append((first, last))
    return tuple(merged)
