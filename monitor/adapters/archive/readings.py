"""A probe's readings as a table, and back, with every bit the same.

CSV, and not numpy's own format: a spreadsheet, or any program in ten years, reads it without a library and without being told how, and
pressed in a ZIP it is hardly larger. Python writes the shortest decimals that give the same float again, so nothing is lost.
"""

from __future__ import annotations

import io
import itertools
from collections.abc import Iterator, Sequence

import numpy as np
import numpy.typing as npt

from monitor.service.ports import Series

COLUMNS = ("at_ms", "dry_bulb_c", "rh_pct", "flag", "rh_flag")
_HEAD = ",".join(COLUMNS).encode() + b"\n"
MAX_ROWS = 27_000_000  # as many lines of 20 bytes, which are the shortest of this century, as an archive may have bytes
PIECE_BYTES = 4 * 1024 * 1024
_TYPES = np.dtype(list(zip(COLUMNS, (np.int64, np.float64, np.float64, np.int64, np.int64), strict=True)))


def to_csv(pieces: Sequence[Series]) -> bytes:
    """A header and a line for each reading; a quantity that is missing is empty."""
    rows = itertools.chain.from_iterable(
        zip(*(getattr(piece, name).tolist() for name in COLUMNS), strict=True) for piece in pieces
    )
    lines = (f"{at},{'' if t != t else repr(t)},{'' if h != h else repr(h)},{f},{g}\n" for at, t, h, f, g in rows)
    return _HEAD + "".join(lines).encode()


def _pieces(data: bytes) -> Iterator[bytes]:
    """The lines below the header, so many bytes of whole lines at a time: reading takes ten times what is read."""
    start = len(_HEAD)
    while start < len(data):
        end = start + PIECE_BYTES
        end = len(data) if end >= len(data) else data.rfind(b"\n", start, end) + 1
        if end <= start:
            raise ValueError("a line without end")
        yield data[start:end]
        start = end


def _rows(lines: bytes) -> npt.NDArray[np.void]:
    for _ in range(2):  # two that are missing stand side by side
        lines = lines.replace(b",,", b",nan,")
    return np.loadtxt(io.StringIO(lines.decode("ascii")), _TYPES, comments=None, delimiter=",", ndmin=1)


def of_csv(data: bytes) -> Series:
    """The readings that `to_csv` gave, as one series. Raises ValueError for what is no such table."""
    if not data.startswith(_HEAD):
        raise ValueError(f"its first line is not {_HEAD.decode().strip()}")
    if b"\n\n" in data or data.count(b"\n") > MAX_ROWS:
        raise ValueError(f"an empty line, or more than {MAX_ROWS} readings")
    rows = np.concatenate([np.empty(0, _TYPES), *map(_rows, _pieces(data))])
    if np.any(rows["at_ms"][1:] < rows["at_ms"][:-1]) or any(np.isinf(rows[q]).any() for q in COLUMNS[1:3]):
        raise ValueError("readings out of order, or without end")
    return Series(*(np.ascontiguousarray(rows[name]) for name in COLUMNS))
