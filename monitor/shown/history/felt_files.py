"""Doses, estimated eggs and what was done, as programs read them; see `files`."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import tzinfo

from monitor.analysis.history.felt import Doubt, Felt, Happening, SideDose
from monitor.domain.needs.bands import DRY_BULB, EGG
from monitor.domain.published.exposure import ABOVE, SOURCES, Match
from monitor.shown.history.exposures import match_words
from monitor.shown.history.felt import what_words
from monitor.shown.plain import Record, exact, figures_record, span_record, utc_ms, value


def felt_record(felt: Felt) -> Record:
    """What a stage of the JSON has beside its figures."""
    return {
        "dose": [_dose(side) for side in felt.doses],
        "egg_c": {
            "estimate": True,
            "tau_s": [round(tau_s, 1) for tau_s in felt.tau_s],
            **_egg_record(felt),
            **{f"{name}_range": _range(record_c, doubt_k) for name, record_c, doubt_k in _egg_values(felt)},
        },
        "deficit_kpa": _deficit(felt),
        "openings": felt.openings,
        "openings_per_day": exact(felt.openings_per_day),
    }


def felt_rows(felt: Felt) -> Iterator[Record]:
    """The rows of a stage in the CSV, beside its figures."""
    yield {"kind": "figures", "quantity": EGG, **_egg_record(felt)}
    yield {"kind": "figures", "quantity": "deficit_kpa", **span_record(felt), **_deficit(felt)}
    for side in felt.doses:
        yield {"kind": "dose", "quantity": DRY_BULB, **span_record(felt), **_dose_row(side)}


def _egg_values(felt: Felt) -> Iterator[tuple[str, float | None, Doubt]]:
    egg = felt.egg_c
    yield from zip(("mean", "min", "max"), (egg.mean, egg.min, egg.max), felt.doubts_k, strict=True)


def _egg_record(felt: Felt) -> Record:
    """The figures of the egg; an estimate with one decimal, which is all that it is worth."""
    sd = felt.egg_c.sd
    rounded = {name: None if c is None else round(c, 1) for name, c, _ in _egg_values(felt)}
    return figures_record(felt.egg_c) | rounded | {"sd": None if sd is None else round(sd, 1)}


def _range(egg_c: float | None, doubt_k: Doubt) -> list[float] | None:
    """Between which temperatures it may be."""
    return None if egg_c is None else [round(egg_c - doubt_k[0], 1), round(egg_c + doubt_k[1], 1)]


def _deficit(felt: Felt) -> Record:
    return {"mean": value(felt.deficit_kpa), "hours_covered": exact(felt.deficit_hours)}


def _dose(side: SideDose) -> Record:
    dose = side.dose
    return {
        "side": dose.side,
        "limits_c": [value(c) for c in side.limits_c],
        "hours": exact(dose.hours),
        "degree_hours": exact(dose.degree_h),
        "stays": side.stays,
        "peak_c": value(dose.peak_c),
        "peak_at": utc_ms(side.peak_at_ms),
        "share_of_term": value(side.share_of_term),
        "published": [_published(match, side) for match in side.published],
    }


def _published(match: Match, side: SideDose) -> Record:
    """A published exposure and the hours here at or beyond its temperature, None where it gives none."""
    each, none = match.exposure, match.exposure.temp_c is None
    return {
        "id": each.id,
        "standing": match.standing,
        "temp_c": each.temp_c,
        "hours": each.hours,
        "hen_day": None if each.day is None else list(each.day),
        "eggs": each.eggs,
        "harm": each.harm,
        "result": each.told("C"),
        "source": each.source,
        "citation": SOURCES[each.source],
        "hours_here": None if none or each.hours is None else exact(side.dose.hours_at(each.temp_c or 0.0)),
        "longest_here": None if none or each.hours is None else exact(side.longest_h(each.temp_c or 0.0)),
        "words": match_words(match, whose="All of it here"),
    }


def _dose_row(side: SideDose) -> Record:
    above = side.dose.side == ABOVE
    return {
        "side": side.dose.side,
        "limit": value(side.limits_c[0]) if len(side.limits_c) == 1 else None,
        "hours_above" if above else "hours_below": exact(side.dose.hours),
        "degree_hours_above" if above else "degree_hours_below": exact(side.dose.degree_h),
        "excursions": side.stays,
        "peak": value(side.dose.peak_c),
        "peak_at": utc_ms(side.peak_at_ms),
    }


def happening_record(each: Happening, zone: tzinfo) -> Record:
    """One thing that was done, in JSON and CSV alike. zone: of the days and times in what was written."""
    return {
        "kind": each.kind,
        "machine": each.machine,
        "since": utc_ms(each.at_ms),
        "until": utc_ms(each.until_ms),
        "what": what_words(each, zone),
        "by": each.by,
    }
