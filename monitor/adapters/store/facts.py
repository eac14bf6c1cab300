"""The facts of a notice as a row keeps them: JSON with a version. What is not understood is None: the notice then has its words alone."""

from __future__ import annotations

import json
import logging
from dataclasses import asdict, fields

from monitor.domain.alarms.notice import Facts, Told
from monitor.domain.needs.profile import Band
from monitor.domain.readings.reading import from_ms, to_ms

VERSION = 1  # of the form below; another one's facts are not understood
_KNOWN = {field.name for field in fields(Facts)}
_log = logging.getLogger("eggroom.store")


def facts_text(facts: Facts | None) -> str | None:
    """Times are whole milliseconds, values °C and %RH; what is empty is left out."""
    if facts is None:
        return None
    kept = {
        name: value
        for name, value in asdict(facts).items()
        if value is not None and value is not False and value not in ("", ())
    }
    for name in ("since", "ended"):
        if name in kept:
            kept[name] = to_ms(kept[name])
    return json.dumps({"version": VERSION, **kept}, ensure_ascii=False)


def facts_of_text(text: str | None) -> Facts | None:
    """What `facts_text` was given; None for a row from before facts were kept, or of another form."""
    if text is None:
        return None
    try:
        kept = json.loads(text)
        if kept.pop("version") != VERSION or not kept.keys() <= _KNOWN:
            raise ValueError("another version's")
        for name in ("since", "ended"):
            if name in kept:
                kept[name] = from_ms(kept[name])
        if "band" in kept:
            kept["band"] = Band(**kept["band"])
        return Facts(**kept | {"batches": tuple(Told(**told) for told in kept.get("batches", ()))})
    except (ValueError, TypeError, KeyError, AttributeError, OverflowError) as error:
        _log.warning("facts of a notice not understood detail=%s", str(error)[:120])
        return None
