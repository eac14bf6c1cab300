"""Text for the terminal: one screen wide, times on the wall clock of the site, the unit of the site. Values in, text out."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from monitor.domain.alarms.alarm import ACKNOWLEDGED, CAME_BACK, SHELF_ENDED, SHELVED, TAKEN_OUT
from monitor.domain.needs.batch import Batch, day_words
from monitor.domain.needs.profile import Profile
from monitor.domain.needs.rules import EGG_COLD, EGG_HOT
from monitor.domain.needs.site import HATCHER, Site
from monitor.domain.wall import WIDTH, filled, printable, utc_text, wall_time
from monitor.service.ports import Event, RefusedRow, TransitionRow, Unknown
from monitor.shown.entries import eggs_words
from monitor.shown.happened import happened_words
from monitor.shown.report.text import block_lines
from monitor.shown.report.tree import Column, Listing
from monitor.shown.values import DRAW_DOWN_WORDS, stage_words, state_words, subject_name

if TYPE_CHECKING:
    from monitor.domain.watch.view import BatchView


def local(at: datetime | str, site: Site, now: datetime | str | None = None, *, seconds: bool = False) -> str:
    """A time on the wall clock of the site: `24 Nov 02:14`, with its year where that is not the one of now."""
    return wall_time(_instant(at), site.zone, None if now is None else _instant(now), seconds=seconds)


def _instant(at: datetime | str) -> datetime:
    return datetime.fromisoformat(at) if isinstance(at, str) else at


def transition_view(row: TransitionRow) -> dict[str, object]:
    """One transition as a plain mapping; an estimate with one decimal, which is all that it is worth."""
    digits = 1 if row.rule in (EGG_HOT, EGG_COLD) else None
    value, worst, limit = (
        each if each is None or digits is None else round(each, digits) for each in (row.value, row.worst, row.limit)
    )
    return {
        "at": utc_text(row.at),
        "number": row.number,
        "subject": row.subject,
        "rule": row.rule,
        "from": row.state_before,
        "to": row.state,
        "cause": row.cause,
        "value": value,
        "worst": worst,
        "limit": limit,
        "who": row.who or None,
    }


def transition_table(rows: Sequence[TransitionRow], site: Site) -> str:
    """Every transition, oldest first."""
    if not rows:
        return "nothing in the record yet"
    lines = []
    for row in rows:
        rule = site.rules.get(row.rule)
        words = rule.words if rule is not None else row.rule
        name, at = subject_name(row.subject, site), local(row.at, site, seconds=True)
        lines.append(f"{at}  No. {row.number} {name}: {words}: {_turn(row)}")
    return "\n".join(lines)


# Causes, as the record has them in ISA-18.2's words, to people; what the state says already is left out.
_CAUSES = {
    ACKNOWLEDGED: "",
    CAME_BACK: "came back before it was seen",
    SHELF_ENDED: "its quiet time is over",
    "unshelved": "quiet no longer",
    TAKEN_OUT: "",
}
_BEFORE = {"shelved ": "", "suppressed: ": "", "chattering: ": "comes and goes: "}


def _turn(row: TransitionRow) -> str:
    """`new (beyond its limit)`, `seen by sam`, `quiet for 20 min by sam`."""
    state, why = state_words(row.state), printable(row.cause)
    why = _CAUSES.get(why, why)
    for before, words in _BEFORE.items():
        if why.startswith(before):
            why = f"{words}{why.removeprefix(before)}"
    by = f" by {printable(row.who)}" if row.who else ""
    if row.state == SHELVED and row.cause.startswith("shelved "):
        return f"{state} {why}{by}"
    if not why:
        seen = ", seen" if row.cause == ACKNOWLEDGED != row.state else ""
        return f"{state}{seen}{by}"
    return f"{state} ({why}{by})"


def event_view(event: Event) -> dict[str, object]:
    """One event as a plain mapping."""
    return {"at": utc_text(event.at), "kind": event.kind, "subject": event.subject, "text": event.text}


def event_table(events: Sequence[Event], site: Site) -> str:
    """What happened besides alarms, oldest first."""
    if not events:
        return "nothing in the record yet"
    lines = []
    for event in events:
        name = "" if event.subject == "site" else f" {subject_name(event.subject, site)}"
        text = event.text if event.what is None else happened_words(event.what, site.unit, site.zone)
        lines.append(f"{local(event.at, site, seconds=True)}  {event.kind}{name}: {printable(text)}")
    return "\n".join(lines)


_OF_BATCHES = Listing(
    (
        Column("batch", 16, gap=0),
        Column("species", 18, gap=1),
        Column("day", 5, right=True, gap=1),
        Column("stage", 10),
        Column("eggs", 5, right=True, gap=1),
        Column("machine"),
    ),
    (),
    folds=False,
)


def batch_table(views: Sequence[BatchView], site: Site, now: datetime, *, columns: int = WIDTH) -> str:
    """The batches, one a line; where that is too wide, a sentence each."""
    if not views:
        return "no batch yet: eggroom batch add NAME --species SPECIES --machine MACHINE"
    rows = []
    for view in views:
        profile = site.profiles.get(view["profile"])
        stage = "closed" if view["closed_at"] else stage_words(_stage(view, profile, now))
        eggs = "-" if view["eggs"] is None else str(view["eggs"])
        rows.append((view["id"], view["profile"], day_words(view["day"]), stage, eggs, view["machine"] or "-"))
    return "\n".join(block_lines(replace(_OF_BATCHES, rows=tuple(rows)), columns))


def in_no_machine(batches: Sequence[Batch], now: datetime) -> list[Batch]:
    """Those that are not closed and lie nowhere that eggroom looks at."""
    return [b for b in batches if b.closed_at is None and b.stay_at(b.not_before(now)) is None]


def unplaced_words(ids: Sequence[str]) -> str:
    """`lost-1 is in no machine: nobody watches it. Put it in one: eggroom batch move lost-1 MACHINE`; empty where there is none."""
    if not ids:
        return ""
    is_, it = ("is", "it") if len(ids) == 1 else ("are", "them")
    move = f"eggroom batch move {ids[0]} MACHINE"
    return f"{', '.join(ids)} {is_} in no machine: nobody watches {it}. Put {it} in one: {move}"


def batch_text(
    batch: Batch, site: Site, now: datetime, *, store_h: tuple[float, float] = (0.0, 0.0), columns: int = WIDTH
) -> str:
    """One batch: where it was, and what comes when; so many columns wide. store_h: by how much days in store delay its hatch."""
    profile = site.profiles.get(batch.profile)
    eggs = "" if batch.eggs is None else f", {eggs_words(batch.eggs)}"
    over = batch.closed_at is not None
    day = (
        f"closed on day {day_words(batch.day(batch.closed_at or now))}" if over else f"day {day_words(batch.day(now))}"
    )
    lines = [f"{batch.id}: {batch.profile}{eggs}, set {local(batch.set_at, site, now)}, {day}"]
    if batch.numbers:
        lines += textwrap.wrap(
            f"egg{'s' if len(batch.numbers) > 1 else ''} {batch.numbers_words}",
            columns,
            initial_indent="  ",
            subsequent_indent="  ",
        )
    if batch.note:
        lines.append(f"  {printable(batch.note)}")
    for stay in batch.stays:
        until = "now" if stay.until is None else local(stay.until, site, now)
        lines.append(f"  in {stay.machine} from {local(stay.since, site, now)} to {until}")
    lines += [f"  {stage_words(d.stage)} declared {local(d.at, site, now)}" for d in batch.declared]
    if batch.closed_at is not None:
        lines.append(f"  closed {local(batch.closed_at, site, now)}")
    elif profile is not None:
        lockdown = batch.set_at + timedelta(days=profile.lockdown_day)
        first = batch.set_at + timedelta(days=profile.hatch_day_first, hours=store_h[0])
        last = batch.set_at + timedelta(days=profile.hatch_day_last, hours=store_h[1])
        window = f"hatch {local(first, site, now)} to {local(last, site, now)}"
        begins = "lockdown" if profile.lockdown_sign is None else DRAW_DOWN_WORDS
        lines.append(f"  {window}" if batch.declared else f"  {begins} {local(lockdown, site, now)}, {window}")
    return "\n".join(filled(line, columns) for line in lines)


def moved_lines(answer: BatchView, site: Site) -> list[str]:
    """What is to be known after a batch that goes by the egg was brought to a hatcher; nothing of any other."""
    profile, machine = site.profiles.get(answer["profile"]), site.machines.get(answer["machine"] or "")
    if profile is None or machine is None or profile.lockdown_sign is None or machine.kind != HATCHER:
        return []
    began = next((d["at"] for d in answer["declared"] if d["stage"] != "setter"), None)
    if began is not None:
        return [f"in lockdown since {local(began, site)}"]
    return [
        f"no sign is written yet, so its air is judged as in incubation; when one is seen: eggroom egg event {answer['id']} {_sign_word(profile)}"
    ]


def _sign_word(profile: Profile) -> str:
    return (profile.lockdown_sign or "").replace(" ", "-")


def refused_view(total: int, rows: Sequence[RefusedRow], unknown: Sequence[Unknown]) -> dict[str, object]:
    """What was not understood, as a plain mapping."""
    return {
        "refused_total": total,
        "newest": [
            {
                "at": utc_text(r.at),
                "topic": r.refused.topic,
                "reason": r.refused.reason,
                "payload": r.refused.payload.decode("utf-8", "backslashreplace"),
            }
            for r in rows
        ],
        "unknown_probes": [
            {"probe": u.probe, "first_at": utc_text(u.first_at), "last_at": utc_text(u.last_at), "count": u.count}
            for u in unknown
        ],
    }


def refused_text(total: int, rows: Sequence[RefusedRow], unknown: Sequence[Unknown], *, site: Site) -> str:
    """What was not understood, and who is not known, with the lines that would make them known."""
    lines = [f"{total} messages refused" + (", newest first:" if rows else "")]
    for row in rows:
        start = row.refused.payload[:60].decode("utf-8", "backslashreplace")
        dotted = "".join(c if c.isprintable() else "·" for c in start)
        where = printable(f"{row.refused.topic}: {row.refused.reason}")
        lines += [f"  {local(row.at, site, seconds=True)} {where}", f"      {dotted}"]
    if unknown:
        lines += ["", "probes that nobody configured; to watch one, put this into the configuration:"]
    for u in unknown:
        node, _, probe = u.probe.partition("/")
        lines.append(f"  # heard {u.count} times, last {local(u.last_at, site, seconds=True)}")
        lines.append(f'  [[probe]]\n  node = "{node}"\n  probe = "{probe}"\n  machine = "..."')
    return "\n".join(lines)


def _stage(view: BatchView, profile: Profile | None, now: datetime) -> str:
    if profile is None:
        return "unknown"
    set_at = datetime.fromisoformat(view["set_at"])
    declared = tuple(
        (d["stage"], (datetime.fromisoformat(d["at"]) - set_at).total_seconds() / 86_400) for d in view["declared"]
    )
    # Not the view's: cut off, it can lie before what was declared just now.
    day = (now - set_at).total_seconds() / 86_400
    return profile.stage_at(max(0.0, day), declared).name
