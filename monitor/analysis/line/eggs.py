"""The eggs' temperature along a batch's record: estimated from the air of each machine, carried through moves, and not over gaps.

The air is the line that the history shows (of two probes the mean, of more the median). Where it runs on, so does the egg, from
machine to machine. After a silence longer than allowed nobody knows how warm the egg has become: the estimate begins anew at what
that air would make of it, and is taken for known only KNOWN_AFTER time constants later, when what it began with has shrunk to
0.25 %. So it is at the beginning, too: eggs are put in cool. It is never measured; see `domain/eggs/temperature` for how far to trust it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from monitor.analysis.line.stretch import Stretch, dry_bulb_samples
from monitor.analysis.line.trace import Floats, Trace, trace_of
from monitor.domain.eggs.temperature import EggModel, run
from monitor.domain.readings.reading import DAY_MS

KNOWN_AFTER = 6.0  # time constants


@dataclass(frozen=True, slots=True)
class _Carried:
    """An egg where the line of the air ended: when, how warm, and how many time constants lay under an unbroken line."""

    at_ms: float
    egg_c: float
    passed: float


def egg_lines(stretches: Sequence[Stretch], models: Mapping[str, EggModel], set_ms: int) -> list[Trace]:
    """The estimated egg temperature in each stretch, straight between readings; there is no line while it is not known.

    Parameters
        stretches: of the batch, one after another, as for the environment history.
        models: the egg in each machine, by `Stretch.egg_in`. set_ms: day 0 of the embryo's heat.
    Raises
        ValueError: a machine with air and no model.
    """
    lines, carried = [], None
    for stretch in stretches:
        if stretch.air and stretch.egg_in not in models:
            raise ValueError(f"{stretch.where}: no model of its egg, expected one")
        length_ms, max_gap_ms = stretch.until_ms - stretch.since_ms, stretch.max_gap_s * 1000.0
        air = trace_of(dry_bulb_samples(stretch), max_gap_ms=max_gap_ms, length_ms=length_ms)
        pieces = []
        for at_ms, air_c in _unbroken(air, max_gap_ms):
            model, absolute_ms = models[stretch.egg_in], stretch.since_ms + at_ms
            if carried is not None and absolute_ms[0] - carried.at_ms > max_gap_ms:
                carried = None
            egg_c, known_ms, carried = _run_on(model, absolute_ms, air_c, set_ms=set_ms, carried=carried)
            pieces.append(_known(at_ms, egg_c, known_ms - stretch.since_ms))
        lines.append(_trace(pieces, length_ms))
    return lines


def _unbroken(air: Trace, max_gap_ms: float) -> list[tuple[Floats, Floats]]:
    """The corners of the line, (ms, °C), in runs without a gap; two at one time where a probe came or went."""
    if air.empty:
        return []
    heads = np.concatenate(([0], 1 + np.flatnonzero(air.start_ms[1:] - air.end_ms[:-1] > max_gap_ms)))
    tails = np.append(heads[1:], air.start_ms.size)
    runs = []
    for head, tail in zip(heads.tolist(), tails.tolist(), strict=True):
        piece = slice(head, tail)
        at = np.stack((air.start_ms[piece], air.end_ms[piece]), axis=1).ravel()
        value = np.stack((air.first[piece], air.last[piece]), axis=1).ravel()
        new = np.append(True, (at[1:] != at[:-1]) | (value[1:] != value[:-1]))
        runs.append((at[new], value[new]))
    return runs


def _run_on(
    model: EggModel, at_ms: Floats, air_c: Floats, *, set_ms: int, carried: _Carried | None
) -> tuple[Floats, float, _Carried]:
    """(egg at each corner, from when on it is known, where it ends)."""
    day = (float(at_ms[0]) - set_ms) / DAY_MS
    egg_c = run(model, (at_ms - at_ms[0]) / 1000.0, air_c, day0=day)
    tau_ms, passed = model.tau_s * 1000.0, 0.0
    if carried is not None:
        air, waited_ms = float(air_c[0]), float(at_ms[0]) - carried.at_ms
        begins_c = model.advance(carried.egg_c, air, air, seconds=waited_ms / 1000.0, day=day)
        # The model is linear: what it begins with only fades, whatever the air does meanwhile.
        egg_c += (begins_c - float(egg_c[0])) * np.exp(-(at_ms - at_ms[0]) / tau_ms)
        passed = carried.passed + waited_ms / tau_ms
    known_ms = float(at_ms[0]) + math.ceil(max(0.0, KNOWN_AFTER - passed) * tau_ms)
    passed += float(at_ms[-1] - at_ms[0]) / tau_ms
    return egg_c, known_ms, _Carried(float(at_ms[-1]), float(egg_c[-1]), passed)


def _known(at_ms: Floats, egg_c: Floats, known_ms: float) -> tuple[Floats, Floats]:
    """The corners from known_ms on, the first of them cut out of the line there."""
    later = at_ms > known_ms
    if later.all() or not later.any():
        return at_ms[later], egg_c[later]
    first = np.interp(known_ms, at_ms, egg_c)
    return np.concatenate(([known_ms], at_ms[later])), np.concatenate(([first], egg_c[later]))


def _trace(pieces: Sequence[tuple[Floats, Floats]], length_ms: int) -> Trace:
    lasting = [(at, egg, np.diff(at) > 0) for at, egg in pieces if at.size > 1]
    if not lasting:
        none = np.empty(0)
        return Trace(none, none, none, none, length_ms)
    return Trace(
        np.concatenate([at[:-1][long] for at, _, long in lasting]),
        np.concatenate([at[1:][long] for at, _, long in lasting]),
        np.concatenate([egg[:-1][long] for _, egg, long in lasting]),
        np.concatenate([egg[1:][long] for _, egg, long in lasting]),
        length_ms,
    )
