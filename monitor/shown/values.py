"""Numbers with their units, and one subject, in words: what messages, tables and pages call them."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from monitor.domain.air.units import celsius_to_fahrenheit, k_to_fahrenheit_difference
from monitor.domain.needs.bands import EGG, RH, WET_BULB
from monitor.domain.needs.batch import subject_words
from monitor.domain.needs.profile import Band
from monitor.domain.needs.site import Site

if TYPE_CHECKING:  # messages are put into words without numpy
    from monitor.analysis.water.loss import Interval


def subject_name(subject: str, site: Site) -> str:
    """What people call it: a machine's name, a probe in its machine, a node, a batch or an egg of it, or the room as a whole."""
    machine = site.machines.get(subject)
    if machine is not None:
        return machine.name
    probe = site.probes.get(subject)
    if probe is not None:
        return f"{site.machines[probe.machine].name} ({subject})"
    if subject in site.by_node:
        machines = sorted({site.machines[p.machine].name for p in site.by_node[subject]})
        return f"{', '.join(machines)} ({subject})"
    return "All machines" if subject == "site" else subject_words(subject) or subject


def show_figure(quantity: str, value: float, unit: str) -> str:
    """A value with its unit, as precise as it is worth: 37.8 °C, 100.0 °F, 55 %RH."""
    if quantity == RH:
        return f"{value:.0f} %RH"
    return f"{celsius_to_fahrenheit(value):.1f} °F" if unit == "F" else f"{value:.1f} °C"


def show_value(quantity: str, value: float, unit: str) -> str:
    """The same, with a word where it is not the air's temperature or humidity: wet bulb 29.4 °C, egg about 38.2 °C."""
    shown = show_figure(quantity, value, unit)
    if quantity == EGG:
        return f"egg about {shown}"
    return f"wet bulb {shown}" if quantity == WET_BULB else shown


def show_band(quantity: str, band: Band, unit: str) -> str:
    """The band a person aims for, its warning limits (else its alarm limits): `37.5 to 38.1`."""
    low = band.low_warning if band.low_warning is not None else band.low_alarm
    high = band.high_warning if band.high_warning is not None else band.high_alarm

    def figure(value: float) -> str:
        if quantity == RH:
            return f"{value:.0f}"
        return f"{celsius_to_fahrenheit(value) if unit == 'F' else value:.1f}"

    if low is None and high is None:
        return "none"
    if low is None:
        return f"under {figure(high)}" if high is not None else "none"
    return f"over {figure(low)}" if high is None else f"{figure(low)} to {figure(high)}"


def per_cent(share: float) -> str:
    """Rounded down, so that only what is whole is called 100 %; the billionth is rounding in sums of hours."""
    return f"{math.floor((share + 1e-9) * 1000.0) / 10.0:.1f} %"


def show_interval(found: Interval, unit: str = "%", digits: int = 1) -> str:
    """A value with the bounds that hold it (95 %): `12.8 % (12.1 to 13.5)`."""
    return f"{found.value:.{digits}f} {unit} ({found.low:.{digits}f} to {found.high:.{digits}f})"


def show_checked(of: str, value: float, unit: str) -> str:
    """A figure of a review, of whose unit its check says; unit: C or F, of temperatures."""
    if of in ("C", "K"):
        shown = (
            value if unit == "C" else celsius_to_fahrenheit(value) if of == "C" else k_to_fahrenheit_difference(value)
        )
        return f"{shown:.2f} {'°F' if unit == 'F' else '°C' if of == 'C' else 'K'}"
    if of == "h":
        return f"{value:.2g} h" if value < 1.0 else f"{value:.1f} h"
    return f"{100.0 * value:.0f} %" if of == "share" else f"{value:.1f} {of}"
