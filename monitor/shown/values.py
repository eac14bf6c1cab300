"""Numbers with their units, and one subject, in words: what messages, tables and pages call them."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from monitor.domain.air.units import celsius_to_fahrenheit, k_to_fahrenheit_difference
from monitor.domain.alarms.alarm import (
    ACKNOWLEDGED,
    NORMAL,
    OUT_OF_SERVICE,
    RETURNED,
    SHELVED,
    SUPPRESSED,
    UNACKNOWLEDGED,
)
from monitor.domain.needs.bands import DRY_BULB, EGG, RH, WET_BULB
from monitor.domain.needs.batch import subject_words
from monitor.domain.needs.profile import HATCH, INTERNAL_PIP, Band
from monitor.domain.needs.rules import LETHAL, Rule
from monitor.domain.needs.site import Probe, Site
from monitor.domain.needs.target import Target
from monitor.domain.wall import printable

if TYPE_CHECKING:  # messages are put into words without numpy
    from monitor.analysis.water.loss import Interval

DRAW_DOWN_WORDS = "draw-down may begin"  # of birds that go by the egg, where others have their lockdown's day
# ANSI/ISA-18.2's words stand in the record and are what programs read; these are for people.
STATES = {
    NORMAL: "over",
    UNACKNOWLEDGED: "new",
    ACKNOWLEDGED: "seen",
    RETURNED: "over, not seen",
    SHELVED: "quiet",
    SUPPRESSED: "not judged",
    OUT_OF_SERVICE: "out of service",
}
# For people; the record, and programs, have the other: a setter is a machine.
STAGE_WORDS = {"setter": "incubation"}
QUANTITIES = ((DRY_BULB, "temperature"), (RH, "humidity"), (WET_BULB, "wet bulb"))  # what a band can be of

PLACE_WIDE = 16  # characters of a probe's place that a title still has room for; of a longer one its key is told
MOST_FINER = 2
NO_MORE = 1e-6  # a limit that has no further decimals


def state_words(state: str) -> str:
    """A state as people call it: `new`, `seen`, `over, not seen`."""
    return STATES.get(state, state)


def stage_words(stage: str) -> str:
    """A stage as people call it: `incubation`, `lockdown`, `hatch`."""
    return STAGE_WORDS.get(stage, stage)


def subject_name(subject: str, site: Site) -> str:
    """What people call it: a machine's name, a probe by its place in its machine, a node, a batch or an egg of it, or the room as a whole."""
    machine = site.machines.get(subject)
    if machine is not None:
        return machine.name
    probe = site.probes.get(subject)
    if probe is not None:
        return f"{site.machines[probe.machine].name} {_place(probe, site) or f'({subject})'}"
    if (switch := site.switches.get(subject)) is not None:
        return f"{site.machines[switch.machine].name if switch.machine else 'All machines'} ({subject})"
    if subject in site.by_node:
        machines = sorted({site.machines[p.machine].name for p in site.by_node[subject]})
        return f"{', '.join(machines)} ({subject})"
    return "All machines" if subject == "site" else subject_words(subject) or subject


def probe_words(key: str, site: Site) -> str:
    """The same of a probe that somebody looks for among cables: `Hatcher middle (node-e/top)`."""
    name = subject_name(key, site)
    return name if key in name else f"{name} ({key})"


def _place(probe: Probe, site: Site) -> str:
    """Where it hangs, as the house calls it, where that is short and its own."""
    alike = [p for p in site.probes.values() if p.machine == probe.machine and p.position == probe.position]
    return printable(probe.position) if len(alike) == 1 and len(probe.position) <= PLACE_WIDE else ""


def show_figure(quantity: str, value: float, unit: str, *, finer: int = 0) -> str:
    """A value with its unit, as precise as it is worth: 37.8 °C, 100.0 °F, 55 %RH. finer: so many more decimals."""
    if quantity == RH:
        return f"{value:.{finer}f} %RH"
    figure = f"{celsius_to_fahrenheit(value) if unit == 'F' else value:.{1 + finer}f}"
    return f"{figure} °F" if unit == "F" else f"{figure} °C"


def show_value(quantity: str, value: float, unit: str, *, finer: int = 0) -> str:
    """The same, with a word where it is not the air's temperature or humidity: wet bulb 29.4 °C, egg about 38.2 °C."""
    shown = show_figure(quantity, value, unit, finer=finer)
    if quantity == EGG:
        return f"egg about {shown}"
    return f"wet bulb {shown}" if quantity == WET_BULB else shown


def show_estimate(egg_c: float, range_c: tuple[float, float], unit: str) -> str:
    """What an egg feels, with its doubt: `egg about 38.4 °C (37.9 to 39.0)`."""
    low, high = (f"{celsius_to_fahrenheit(each) if unit == 'F' else each:.1f}" for each in range_c)
    return f"{show_value(EGG, egg_c, unit)} ({low} to {high})"


def finer_beside(quantity: str, value: float, band: Band, *, unit: str) -> int:
    """How many more decimals a value needs beside its band, so that none that is out of it reads as if it were within; at most two, which is all
    that a sensor tells."""
    low, high = band.calm
    scale, offset = (1.8, 32.0) if unit == "F" and quantity != RH else (1.0, 0.0)
    usual = 0 if quantity == RH else 1
    for finer in range(MOST_FINER):
        shown = round(value * scale + offset, usual + finer)
        under = low is not None and value < low and shown >= round(low * scale + offset, usual + finer)
        over = high is not None and value > high and shown <= round(high * scale + offset, usual + finer)
        if not (under or over):
            return finer
    return MOST_FINER


def show_band(quantity: str, band: Band, unit: str, *, finer: int = 0) -> str:
    """The band a person aims for, its warning limits (else its alarm limits): `37.5 to 38.1`. finer: so many more decimals, where a limit has them."""
    low, high = band.calm

    def figure(value: float) -> str:
        shown = celsius_to_fahrenheit(value) if unit == "F" and quantity != RH else value
        usual = 0 if quantity == RH else 1
        needed = usual if abs(shown - round(shown, usual)) < NO_MORE else usual + finer
        return f"{shown:.{needed}f}"

    if low is None and high is None:
        return "none"
    if low is None:
        return f"under {figure(high)}" if high is not None else "none"
    return f"over {figure(low)}" if high is None else f"{figure(low)} to {figure(high)}"


def harm_words(rule: Rule, of_hens: bool) -> str:
    """What a rule's alarm does if nobody acts; of_hens: that its limit is deadly is published of hens alone, which is said."""
    return f"{rule.consequence[:-1]} (known of hens)." if of_hens and rule.level == LETHAL else rule.consequence


def per_cent(share: float) -> str:
    """Rounded down, so that only what is whole is called 100 %; the billionth is rounding in sums of hours."""
    return f"{math.floor((share + 1e-9) * 1000.0) / 10.0:.1f} %"


def show_interval(found: Interval, unit: str = "%", digits: int = 1) -> str:
    """A value with the bounds that hold it (95 %): `12.8 % (12.1 to 13.5)`."""
    return f"{found.value:z.{digits}f} {unit} ({found.low:z.{digits}f} to {found.high:z.{digits}f})"


def show_window(window_pct: tuple[float, float]) -> str:
    """A loss from low to high, without its per cent: `13 to 16`, `12.6 to 13.7`."""
    low, high = (f"{each:.1f}".removesuffix(".0") for each in window_pct)
    return f"{low} to {high}"


def target_words(target: Target) -> str:
    """A target loss as its source gives it, and by the other clocks: `12 to 13 % by day 18, which is 12.6 to 13.6 by pip (day 18.9) and 14 to 15.2 by hatch`."""
    pip = f"pip (day {target.pip_day:.1f})"
    own = {INTERNAL_PIP: pip, HATCH: HATCH}[target.to] if isinstance(target.to, str) else f"day {target.to:g}"
    clocks = {pip: target.by_pip_pct, HATCH: target.by_hatch_pct}
    others = [f"{show_window(pct)} by {clock}" for clock, pct in clocks.items() if clock != own]
    return f"{show_window(target.given_pct)} % by {own}, which is {' and '.join(others)}"


def target_view(target: Target | None) -> dict[str, object] | None:
    """The same to programs: per cent of the mass at set, by the source's own clock, by pip and by hatch."""
    if target is None:
        return None
    return {
        "given_pct": list(target.given_pct),
        "to": target.to,
        "by_pip_pct": [round(each, 3) for each in target.by_pip_pct],
        "pip_day": round(target.pip_day, 2),
        "by_hatch_pct": [round(each, 3) for each in target.by_hatch_pct],
        "hatch_day": target.hatch_day,
    }


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
