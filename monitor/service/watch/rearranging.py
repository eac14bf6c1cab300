"""What somebody changed in the house, written down by the run that ends with it: the next one reads the configuration that says so."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from monitor.domain.needs.batch import BatchError, moved
from monitor.domain.needs.site import Site
from monitor.domain.readings.reading import from_ms, to_ms
from monitor.domain.state.known import Look
from monitor.domain.state.site_kept import keep_change, keep_site
from monitor.domain.wall import utc_text
from monitor.service.ports import Words
from monitor.service.watch.commands import perform
from monitor.service.watch.requests import Move, Rearrange, RequestError


def rearrange(look: Look, request: Rearrange, *, site: Site, words: Words) -> Mapping[str, object]:
    """Write down that the site is as `site` has it since `request.at`, and bring the batches of a machine to the one that took its place.

    Raises RequestError, and then nothing was changed.
    """
    state, now = look.state, look.now
    at = now.utc if request.at is None else from_ms(to_ms(request.at))
    if not now.clock_ok:
        raise RequestError("the clock here is not set", ("it says ", now.utc), "the time of day")
    if at > now.utc:
        raise RequestError("at", (at, " is in the future"), "now or before")
    keep_site(look)  # what is so now, if the run is too young to have seen to that
    before = None if state.site_kept is None else state.site_kept.since
    if before is not None and at <= before:
        raise RequestError("at", at, ("after ", before, ", when what looks at which machine was last changed"))
    there = replace(site, machines={**look.site.machines, **site.machines})  # for whoever moves, both are there
    names = []
    for batch in state.batches.values():
        stay = batch.stay_at(now.utc)
        if batch.closed_at is None and stay is not None and stay.machine == request.was:
            try:
                moved(batch, request.now, at)  # all of them can, before the first does
            except BatchError as error:
                raise RequestError.of(error) from error
            names.append(batch.id)
    for name in names:
        perform(replace(look, site=there), Move(batch=name, machine=request.now, at=request.at), words)
    keep_change(look, site, at)
    return {"since": utc_text(at), "moved": names}
