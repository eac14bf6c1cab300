"""Requests as they come over the wire, in tests: read, then done."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from monitor.adapters.requests import read_request
from monitor.domain.needs.site import Site
from monitor.domain.readings.reading import Now
from monitor.domain.state.known import Look, State
from monitor.domain.state.record import Group
from monitor.service.watch import commands
from monitor.service.watch.requests import LookFacts, Rearrange
from monitor.shown.phone.joined import NoticeWords


def perform(state: State, site: Site, request: Mapping[str, Any], now: Now, out: Group) -> dict[str, Any]:
    """Do what a JSON object asks. Raises RequestError, for one that is no request too."""
    read = read_request(request)
    assert not isinstance(read, LookFacts | Rearrange)
    return dict(commands.perform(Look(state, site, now, out), read, NoticeWords(site)))
