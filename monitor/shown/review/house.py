"""A house whose good batches lie outside a band: what they had, in words and as values, and the profile that is drafted from them, as a file."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from datetime import datetime

from monitor.analysis.review.house import Habit
from monitor.domain.needs.bands import DRY_BULB, RH
from monitor.domain.published.causes import HATCHER, HUMIDITY, LOSS, SETTER, TEMPERATURE
from monitor.service.across.draft import AS_FAR, FARTHEST, HELD, SEEN, Draft, Drafted, Limit
from monitor.shown.values import show_figure, stage_words

_WHAT = {
    (TEMPERATURE, SETTER): "temperature in incubation",
    (TEMPERATURE, HATCHER): "temperature in lockdown and hatch",
    (HUMIDITY, SETTER): "humidity in incubation",
    (HUMIDITY, HATCHER): "humidity in lockdown and hatch",
}
_LOSS = "water loss to pip"
_HOW = {
    AS_FAR: "as far from the target as in {}",
    FARTHEST: "the farthest of your good batches",
    HELD: "held at the alarm limit of {}",
}


def habit_words(habit: Habit, unit: str) -> str:
    """`humidity in incubation 48 %RH in the middle of 7 (46 to 49), target 51 to 58 %RH`; unit: C or F."""
    shown = _shown(habit, unit)
    least, most = habit.ends
    return (
        f"{what_words(habit.check.id, habit.window)} {shown(habit.middle)} in the middle of {len(habit.values)} ({shown(least)} to"
        f" {shown(most)}), target {shown(habit.band[0])} to {shown(habit.band[1])}"
    )


def what_words(check: str, window: str) -> str:
    """What it is of, and when."""
    return _WHAT.get((check, window), _LOSS)


def outside_words(habits: Sequence[Habit], species: str, unit: str) -> str:
    """That a house's good batches lie outside their band, and what to do; empty where none do."""
    if not habits:
        return ""
    had = "; ".join(habit_words(habit, unit) for habit in habits)
    return (
        f"Your good batches lie outside this band: {had}. If that is how you incubate, write your own profile: `eggroom draft {species}` drafts"
        " one from them, for you to read."
    )


def habit_json(habit: Habit) -> dict[str, object]:
    """As plain values, in the units of the record."""
    return {
        "check": habit.check.id,
        "window": habit.window,
        "side": habit.side,
        "middle": round(habit.middle, 4),
        "band": [round(each, 4) for each in habit.band],
        "batches": {name: round(value, 4) for name, value in habit.values},
    }


def _shown(habit: Habit, unit: str) -> Callable[[float], str]:
    if habit.check.id == LOSS:
        return lambda value: f"{value:.1f} %"
    quantity = RH if habit.check.id == HUMIDITY else DRY_BULB
    return lambda value: show_figure(quantity, value, unit)


def draft_toml(draft: Draft, id_: str, *, now: datetime, unit: str) -> str:
    """The draft as a file of one's own: each number with how it was come by, and what was left as it is published. unit: in its words."""
    base, batches = draft.profile, draft.batches
    eggs = sum(draft.eggs.values())
    lines = [
        f"# Drafted by eggroom on {now:%Y-%m-%d} from {len(batches)} batches of this house that went well"
        f" ({100.0 * draft.good_share:g} % or more of the fertile eggs hatched): {eggs} eggs.",
        f"# {', '.join(batch.id for batch in batches)}.",
        "#",
        "# READ IT BEFORE YOU USE IT. It is what these batches had, no proof that it is best, and no source but this house's own observation.",
        "# Nothing takes effect by this file: put it among your profiles, run `eggroom check`, and set a batch with it.",
        "#",
        *(f"# As published, and so had your good batches: {habit_words(h, unit)}." for h in draft.kept),
        *(f"# As published, for too few of your good batches tell it: {what_words(*key)}." for key in draft.untold),
        *(
            f"# As published, for your good batches lie beyond the alarm limits of {base.id}: {habit_words(h, unit)}."
            for h in draft.left
        ),
        f"# As published, for no batch tells it: days, lockdown, alarm limits of temperature, and all else of {base.id}.",
        *(f"# Not known of this bird, as in {base.id}: {each}" for each in base.unknown),
        "",
        f'id = "{id_}"',
        f'based_on = "{base.id}"',
        f'name = "{_quoted(base.name)}, as in this house"',
        "notes = [",
        *(f'    "{_quoted(_note(draft, each, unit))}",' for each in draft.bands),
        "]",
    ]
    for each in (band for band in draft.bands if not band.stage):
        low, high = each.limits["low_warning"], each.limits["high_warning"]
        lines += [
            f"target_loss_pct = [{low.value:.1f}, {high.value:.1f}]  # {_seen(draft, each)}",
            'target_loss_to = "internal pip"',
        ]
    for stage in dict.fromkeys(band.stage for band in draft.bands if band.stage):
        lines += ["", "[[stage]]", f'name = "{stage}"']
        for each in (band for band in draft.bands if band.stage == stage):
            lines += ["", f"[stage.{each.name}]", *_limits(draft, each)]
    return "\n".join(lines) + "\n"


def _limits(draft: Draft, each: Drafted) -> Iterator[str]:
    for name, limit in each.limits.items():
        finer = 2 if each.name == "dry_bulb_c" else 1
        yield f"{name} = {limit.value:.{finer}f}  # {_how(draft, each, limit)}"


def _how(draft: Draft, each: Drafted, limit: Limit) -> str:
    return _seen(draft, each) if limit.how == SEEN else _HOW[limit.how].format(draft.profile.id)


def _seen(draft: Draft, each: Drafted) -> str:
    return f"own observation: {len(each.habit.values)} batches, {draft.eggs_of(each.habit)} eggs"


def _note(draft: Draft, each: Drafted, unit: str) -> str:
    of = f", {stage_words(each.stage)}" if each.stage else ""
    return f"Own observation{of}: {habit_words(each.habit, unit)}; {draft.eggs_of(each.habit)} eggs were set in them."


def _quoted(words: str) -> str:
    return words.replace("\\", "\\\\").replace('"', '\\"')
