"""`eggroom air`: what air is, worked out from one way of saying it."""

from __future__ import annotations

from monitor.cli.frame import Given, Parsers, Wrong, command, show
from monitor.cli.typed import typed_amount, typed_percent
from monitor.domain.air.units import parse_temperature
from monitor.domain.fixed import fixed
from monitor.shown.air import air_report, air_text


@fixed(kw_only=True)
class Air(Given):
    """air"""

    json: bool
    dry_bulb: str
    rh: float | None
    wet_bulb: str | None
    dew_point: str | None
    elevation: float
    wick: float | None


def add(parsers: Parsers) -> None:
    """Say what `air` takes."""
    air = command(parsers["air"], _air, Air)
    air.add_argument("--dry-bulb", required=True, metavar="T", help="such as 37.5C or 99.5F")
    one = air.add_mutually_exclusive_group(required=True)
    one.add_argument("--rh", type=typed_percent, metavar="PERCENT")
    one.add_argument("--wet-bulb", metavar="T")
    one.add_argument("--dew-point", metavar="T")
    air.add_argument("--elevation", type=typed_amount, default=0.0, metavar="METRES")
    help_ = "per K, of an old wick thermometer"
    air.add_argument("--wick", type=float, default=None, metavar="COEFFICIENT", help=help_)


def _air(options: Air) -> int:
    try:
        report = air_report(
            dry_bulb_c=parse_temperature(options.dry_bulb),
            rh_pct=options.rh,
            wet_bulb_c=None if options.wet_bulb is None else parse_temperature(options.wet_bulb),
            dew_point_c=None if options.dew_point is None else parse_temperature(options.dew_point),
            elevation_m=options.elevation,
            wick_coefficient_per_k=options.wick,
        )
    except ValueError as error:
        raise Wrong(str(error)) from error
    return show(options.json, report, air_text(report))
