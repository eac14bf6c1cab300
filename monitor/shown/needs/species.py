"""Species for the terminal: the list of them, and the page of one, each value with the key of its source. Values in, text out."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from monitor.domain.needs.bands import RH
from monitor.domain.needs.profile import Band, Profile
from monitor.domain.needs.target import target_of
from monitor.domain.wall import WIDTH, filled
from monitor.shown.values import QUANTITIES, stage_words, target_words

_EVIDENCE = {"memory": "memory", "judgement": "judgement", "common-practice": "judgement", "own": "own"}
_EVIDENCE_WORDS = {"published": "published", "memory": "from memory", "judgement": "judgement", "own": "your own"}
_MARGIN = 2  # columns that stay free at the end of a line


def profile_view(profile: Profile) -> dict[str, object]:
    """One profile as a plain mapping, each value's source beside it."""
    return {
        "id": profile.id,
        "name": profile.name,
        "scientific_name": profile.scientific_name,
        "kind": profile.kind,
        "days": profile.days,
        "hatch_days": [profile.hatch_day_first, profile.hatch_day_last],
        "lockdown_by": profile.lockdown_by,
        "lockdown_day": profile.lockdown_day,
        "egg_mass_g": profile.egg_mass_g,
        "target_loss_pct": profile.target_loss_pct,
        "target_loss_to": profile.target_loss_to,
        "lethal_heat": profile.lethal_heat,
        "still_air_offset_k": profile.still_air_offset_k,
        "stages": [
            {"name": s.name, "from_day": s.from_day}
            | {q: dict(band.limits()) for q, _ in QUANTITIES if (band := getattr(s, q)) is not None}
            for s in profile.stages
        ],
        "rules": {id_: dict(numbers) for id_, numbers in profile.rules.items()},
        "notes": list(profile.notes),
        "unknown": list(profile.unknown),
        "limits_from": _limits_from(profile),
        "sources": dict(profile.sources),
    }


def profile_table(profiles: Iterable[Profile]) -> str:
    """The species, one a line."""
    lines = [f"{'species':<24} {'days':>5} {'lockdown':>9}  name"]
    lines += [
        f"{p.id:<24} {p.days:>5g} {p.lockdown_day:>9g}{'*' if p.lockdown_sign else ' '} {p.name}" for p in profiles
    ]
    by_egg = "* by the egg: draw-down may begin then, and lockdown begins with a sign in it"
    return "\n".join([*lines, "", by_egg, "one of them with its sources: eggroom profiles SPECIES"])


def profile_text(profile: Profile, citations: Mapping[str, str], *, columns: int = WIDTH) -> str:
    """One species: stages, bands, notes, each value with the key of its source, the sources in full, and what is not known of it."""
    lines = [*_needs_lines(profile), *_stage_lines(profile)]
    for rule, numbers in profile.rules.items():
        for name, value in numbers.items():
            lines.append(f"  {rule:<24} {name:<13} {value:>6}      {_key(profile, f'rules.{rule}.{name}')}")
    lines += ["", f"  {_limits_from_words(_limits_from(profile))}"]
    for note in profile.notes:
        lines += ["", f"  {note}"]
    lines += ["", "  sources"]
    for source in sorted(set(profile.sources.values())):
        lines.append(f"  {source}: {citations.get(source, 'your own file')}")
    if profile.unknown:
        lines += ["", "  not known of this bird"]
        lines += [f"  - {each}" for each in profile.unknown]
    return "\n".join(filled(line, columns - _MARGIN) for line in lines)


def _key(profile: Profile, *paths: str) -> str:
    """The keys of the sources of these values, each once."""
    return ", ".join(dict.fromkeys(profile.sources[path] for path in paths if path in profile.sources))


def _needs_lines(profile: Profile) -> list[str]:
    """What holds for the whole of its incubation."""

    def key(*paths: str) -> str:
        return _key(profile, *paths)

    lines = [
        f"{profile.name} ({profile.scientific_name}), {profile.id}" + (f", {profile.kind}" if profile.kind else ""),
        f"  {profile.days:g} days  {key('days')}",
        f"  hatch day {profile.hatch_day_first:g} to {profile.hatch_day_last:g}  {key('hatch_day_first', 'hatch_day_last')}",
    ]
    if profile.lockdown_sign is None:
        lines.append(f"  lockdown on day {profile.lockdown_day:g}  {key('lockdown_day')}")
    else:
        lines.append(f"  goes by the egg: lockdown begins at {profile.lockdown_sign}  {key('lockdown_by')}")
        lines.append(f"  from day {profile.lockdown_day:g} on draw-down may begin: candle  {key('lockdown_day')}")
    target = target_of(profile)
    if target is not None:
        source, clock = key("target_loss_pct"), key("target_loss_to")
        meant = f", by the clock of {clock}" if clock not in ("", source) else ""
        lines.append(f"  weight loss {target_words(target)}  {source}{meant}")
    if profile.egg_mass_g is not None:
        lines.append("  eggs of {:g} to {:g} g  ".format(*profile.egg_mass_g) + key("egg_mass_g"))
    if profile.still_air_offset_k is not None:
        lines.append(f"  in still air {profile.still_air_offset_k:g} K more, at egg top  {key('still_air_offset_k')}")
    if profile.lethal_heat is not None:
        temp_c, minutes = profile.lethal_heat
        lines.append(f"  eggs are harmed or die at {temp_c:g} °C for {minutes:g} min  {key('lethal_heat')}")
    return lines


def _stage_lines(profile: Profile) -> list[str]:
    """Its bands, limit by limit."""
    lines = []
    for stage in profile.stages:
        sign = profile.lockdown_sign if stage.name == "lockdown" else None
        lines.append(f"  {stage_words(stage.name)} from {sign or f'day {stage.from_day:g}'}")
        for quantity, words in QUANTITIES:
            band: Band | None = getattr(stage, quantity)
            if band is None:
                continue
            for name, value in band.limits():
                unit = "%RH" if quantity == RH else "°C"
                source = _key(profile, f"stage.{stage.name}.{quantity}.{name}")
                lines.append(f"    {words:<12} {name.replace('_', ' '):<13} {value:>6.2f} {unit:<4} {source}")
    return lines


def _limits_from(profile: Profile) -> dict[str, int]:
    """How many limits of the bands come from where, by kind of source; of each kind, none or more."""
    counted = dict.fromkeys(("published", "memory", "judgement", "own"), 0)
    for path, source in profile.sources.items():
        if path.startswith("stage.") and not path.endswith(".from_day"):
            counted[_EVIDENCE.get(source, "memory" if source.endswith("-memory") else "published")] += 1
    return counted


def _limits_from_words(counted: Mapping[str, int]) -> str:
    """`Of the 20 limits above 11 are published, 4 from memory, 5 judgement (25 %).`"""
    whole = sum(counted.values())
    parts = [f"{n} {_EVIDENCE_WORDS[kind]}" for kind, n in counted.items() if n or kind == "judgement"]
    parts[0] = parts[0].replace(" ", " are ", 1)
    return f"Of the {whole} limits above {', '.join(parts)}.".replace(
        "judgement", f"judgement ({100 * counted['judgement'] / whole:.0f} %)"
    )
