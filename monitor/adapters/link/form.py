"""A node says the same for ever, but for the numbers: a pack that differs from the last two of its node in its values, `seq` and `up`
alone is read by their form.

The form of a pack is its text, with a pattern in the place of each such number. The patterns take less than a pack may have (values below
a million, counts of nine digits), so that nothing is left to be checked. What does not fit is read as any pack is (`wire`); what
fits gives what it would give there.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence

from monitor.domain.fixed import fixed
from monitor.domain.readings.reading import Pack, Sample

MAX_BYTES = 2_048  # of a pack whose form is kept: with every number at its longest it would still be read
MAX_NODES = 256

_LABELS = {"bn", "n", "u", "v", "boot", "seq", "up"}
_SENT_UNITS = {"Cel", "%RH"}
_numbers = re.compile(rb'"(v|seq|up)"\s*:\s*(-?[0-9.]+)(?=\s*[,}])').finditer  # whole, and so none with an exponent
# As JSON writes a number, without an exponent; and not -0, which it takes as a whole number, and so without a sign.
_VALUE = rb"(-?(?:0|[1-9][0-9]{0,5})\.[0-9]{1,15}|-?[1-9][0-9]{0,5}|0)"
_COUNT = rb"(0|[1-9][0-9]{0,8})"


@fixed
class _Form:
    """fits: matches a payload. seq, up, and t and rh of the samples: places among its numbers, -1 for none."""

    fits: Callable[[bytes], re.Match[bytes] | None]
    boot: int | None
    seq: int
    up: int
    samples: tuple[tuple[str, int, int], ...]


class Forms:
    """The form of each node's packs, learnt when a second one of it comes."""

    def __init__(self) -> None:
        self._last: dict[str, bytes] = {}  # the pattern of the last pack of a node that was read in full
        self._forms: dict[str, _Form] = {}

    def read(self, node: str, payload: bytes, retained: bool) -> Pack | None:
        """The pack; None where it is not of the form of those before it."""
        form = self._forms.get(node)
        if form is None or (match := form.fits(payload)) is None:
            return None
        numbers = match.groups()
        samples = [
            Sample(probe, None if t < 0 else float(numbers[t]), None if rh < 0 else float(numbers[rh]))
            for probe, t, rh in form.samples
        ]
        return Pack(node, tuple(samples), form.boot, int(numbers[form.seq]), int(numbers[form.up]), retained)

    def learn(self, pack: Pack, payload: bytes, records: Sequence[dict[str, object]]) -> None:
        """Note how a pack was written that was read in full."""
        if not _is_plain(pack, payload, records):
            return
        pattern, end, labels = b"", 0, []
        for number in _numbers(payload):
            labels.append(number[1])
            pattern += re.escape(payload[end : number.start(2)]) + (_VALUE if number[1] == b"v" else _COUNT)
            end = number.end()
        pattern += re.escape(payload[end:])
        if self._last.get(pack.node) != pattern:
            if pack.node in self._last or len(self._last) < MAX_NODES:
                self._last[pack.node] = pattern
            return
        if len(labels) == len(records) + 2:
            places = dict(zip(_names(records), [i for i, label in enumerate(labels) if label == b"v"], strict=True))
            samples = [(s.probe, places.get(f"{s.probe}/t", -1), places.get(f"{s.probe}/rh", -1)) for s in pack.samples]
            fits = re.compile(pattern).fullmatch
            self._forms[pack.node] = _Form(fits, pack.boot, labels.index(b"seq"), labels.index(b"up"), tuple(samples))


def _is_plain(pack: Pack, payload: bytes, records: Sequence[dict[str, object]]) -> bool:
    """Whether it holds values of now, sent in our units, and nothing else."""
    return (
        len(payload) <= MAX_BYTES
        and b"\\" not in payload
        and not pack.others
        and all(record.keys() <= _LABELS and "v" in record and record.get("u") in _SENT_UNITS for record in records)
    )


def _names(records: Sequence[dict[str, object]]) -> list[str]:
    """Probe and quantity of each record, of which it is known that they are good."""
    names, base = [], ""
    for record in records:
        base = str(record.get("bn", base))
        names.append(f"{base}{record.get('n', '')}".partition("/")[2])
    return names
