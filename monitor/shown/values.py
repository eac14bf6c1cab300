"""One value, one band and one subject in words: what messages, tables and pages call them."""

from __future__ import annotations

from monitor.domain.air.units import celsius_to_fahrenheit
from monitor.domain.needs.bands import EGG, RH, WET_BULB
from monitor.domain.needs.batch import subject_words
from monitor.domain.needs.profile import Band
from monitor.domain.needs.site import Site


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
