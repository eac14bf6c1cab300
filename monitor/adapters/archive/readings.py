"""A probe's readings as a table, and back, with every bit the same.

CSV, and not numpy's own format: a spreadsheet, or any program in ten years, reads it without a library and without being told how, and
pressed in a ZIP it is hardly larger. Python writes the shortest decimals that give the same float again, so nothing is lost.
"""

from __future__ import annotations

import io
import itertools
from collections.abc import Sequence

import numpy as np

from monitor.service.ports import Series

COLUMNS = ("at_ms", "dry_bulb_c", "rh_pct", "flag", "rh_flag")
_HEAD = ",".join(COLUMNS).encode() + b"\n"
_TYPES = np.dtype(list(zip(COLUMNS, (np.int64, np.float64, np.float64, np.int64, np.int64), strict=True)))


def to_csv(pieces: Sequence[Series]) -> bytes:
    """A header and a line for each reading; a quantity that is missing is empty."""
    rows = itertools.chain.from_iterable(
        zip(*(getattr(piece, name).tolist() for name in COLUMNS), strict=True) for piece in pieces
    )
    lines = (f"{at},{'' if t != t else repr(t)},{'' if h != h else repr(h)},{f},{g}\n" for at, t, h, f, g in rows)
    return _HEAD + "".join(lines).encode()


def of_csv(data: bytes) -> Series:
    """The readings that `to_csv` gave, as one series. Raises ValueError for what is no such table."""
    if not data.startswith(_HEAD):
        raise ValueError(f"its first line is not {_HEAD.decode().strip()}")
    body = data[len(_HEAD) :]
    for _ in range(2):  # two that are missing stand side by side
        body = body.replace(b",,", b",nan,")
    rows = np.empty(0, _TYPES)
    if body:
        rows = np.loadtxt(io.StringIO(body.decode("ascii")), _TYPES, comments=None, delimiter=",", ndmin=1)
    if np.any(rows["at_ms"][1:] < rows["at_ms"][:-1]) or any(np.isinf(rows[q]).any() for q in COLUMNS[1:3]):
        raise ValueError("readings out of order, or without end")
    return Series(*(np.ascontiguousarray(rows[name]) for name in COLUMNS))
