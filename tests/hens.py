"""A hen whose target loss is fixed, for tests of what is made of a target and not of which one is shipped."""

from __future__ import annotations

from dataclasses import replace

from monitor.domain.needs.profile import INTERNAL_PIP
from monitor.domain.needs.site import Site

WINDOW_PCT = (11.0, 14.0)  # by internal pip, of a house's own


def with_window(site: Site) -> Site:
    """The house, its chicken with that target."""
    hen = replace(site.profiles["chicken"], target_loss_pct=WINDOW_PCT, target_loss_to=INTERNAL_PIP)
    return replace(site, profiles={**site.profiles, "chicken": hen})
