"""`eggroom rules` and `eggroom profiles`: the rules in force, and what each species needs."""

from __future__ import annotations

from pathlib import Path

from monitor.adapters.tables.profiles import load_profiles, load_sources
from monitor.cli.frame import Asked, Parsers, Wrong, columns, command, show
from monitor.cli.record import house_of, opened
from monitor.domain.fixed import fixed
from monitor.domain.needs.profile import ProfileError
from monitor.domain.refusal import one_of
from monitor.shown.needs.rules import rules_text, rules_view
from monitor.shown.needs.species import profile_table, profile_text, profile_view


@fixed(kw_only=True)
class Profiles(Asked):
    """profiles"""

    profile: str | None
    own: Path | None


@fixed(kw_only=True)
class Rules(Asked):
    """rules"""

    machine: str | None


def add(parsers: Parsers) -> None:
    """Say what both take."""
    profiles = command(parsers["profiles"], _profiles, Profiles)
    profiles.add_argument("profile", nargs="?")
    profiles.add_argument("--own", type=Path, default=None, metavar="FILE", help="your own profiles")
    command(parsers["rules"], _rules, Rules).add_argument("machine", nargs="?")


def _profiles(options: Profiles) -> int:
    """Of the house, whose own birds are among them, where there is one; what is shown is then what is in force."""
    try:
        of_house = options.own is None and options.config.is_file()
        profiles = house_of(options.config).site.profiles if of_house else load_profiles(options.own)
    except ProfileError as error:
        raise Wrong(str(error)) from error
    if options.profile is None:
        return show(options.json, [profile_view(p) for p in profiles.values()], profile_table(profiles.values()))
    if options.profile not in profiles:
        raise Wrong(f"profile {options.profile!r}: no such species, {one_of(options.profile, sorted(profiles))}")
    profile = profiles[options.profile]
    return show(options.json, profile_view(profile), profile_text(profile, load_sources(), columns=columns()))


def _rules(options: Rules) -> int:
    house = house_of(options.config)
    machines = house.site.machines
    if options.machine is not None and options.machine not in machines:
        raise Wrong(f"machine {options.machine!r}: no such machine, {one_of(options.machine, machines)}")
    asked = [machines[options.machine]] if options.machine is not None else list(machines.values())
    with opened(house) as history:
        view = rules_view(house.site, history.batches(), options.utc(), machines=asked)
    return show(options.json, view, rules_text(view, house.site, columns=columns()))
