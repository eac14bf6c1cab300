"""The egg book and the water of its eggs as text for the terminal, and as plain values for programs."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from datetime import datetime, timedelta, tzinfo
from typing import Any

from monitor.analysis.history.figures import Figures
from monitor.analysis.water.ahead import EggLoss, Mend
from monitor.analysis.water.batch import OFF_TRACK, ON_TRACK, UNSURE, BatchLoss, Track
from monitor.analysis.water.loss import FarOff, Interval, Kink, LossLine
from monitor.domain.air.units import show_temperature
from monitor.domain.eggs.book import EggBook, history, identity, looks, numbers, of_egg, standing, went_on
from monitor.domain.eggs.chicks import chicks
from monitor.domain.eggs.entry import (
    AirCell,
    Attached,
    ChickMass,
    Entry,
    Identity,
    Laid,
    LookAgain,
    Note,
    Size,
    Split,
    Turning,
    TurningStopped,
    Weighing,
    fields_of,
)
from monitor.domain.eggs.hatching import expected
from monitor.domain.eggs.undo import Undoing
from monitor.domain.eggs.view import entry_view
from monitor.domain.needs.bands import DRY_BULB, RH
from monitor.domain.needs.batch import Batch, counted, day_words
from monitor.domain.needs.site import Site
from monitor.domain.wall import WIDTH, printable, utc_text, wall_day, wall_time
from monitor.service.reports.chick import Grown, Raised
from monitor.service.reports.turning import Turned
from monitor.service.reports.weighed import Water, Weighed
from monitor.shown.about import again_words, losing_words, projection_words, setting_words
from monitor.shown.entries import NAMED, eggs_words, identity_words, numbers_words, said, times_words
from monitor.shown.report import text
from monitor.shown.report.tree import (
    HANGING,
    INSET,
    INSET_HANGING,
    Block,
    Column,
    Labelled,
    Listing,
    Paragraph,
    Report,
    Section,
    plain,
)
from monitor.shown.values import show_figure, show_interval, show_window, target_view, target_words
from monitor.shown.weighings import left_out_words, unknown_words

HOUR_MS = 3_600_000.0
DAY, HOUR = timedelta(days=1), timedelta(hours=1)
_LAST_WIDE = 25  # characters of what was seen last, in a line of the table
EXPECTED_SHOWN = 8  # eggs of a batch whose chicks are told of
_OF_EGGS = (
    Column("egg", 7, gap=0),
    Column("weighed", 7, right=True, gap=1),
    Column("last g", 8, right=True, gap=1),
    Column("lost", 6, right=True, gap=1),
    Column("by pip (95 %)", 20),
    Column("seen last", gap=1),
)
# Kinds that are no word for a thing; the others are.
_THING = {
    "laid": "day of laying",
    "helped": "help",
    "sealed": "seal",
    "hatched": "end",
    "dead": "end",
    "removed": "end",
    "look-again": "time to look again",
    "chick-mass": "mass of a chick",
    "signed-off": "sign-off",
    "air-cell": "outline of the air cell",
    "file": "file",
    "turned": "count of turns",
    "turning-stopped": "end of turning",
}
_OF_WHO = (
    Column("egg", 7, gap=0),
    Column("parents", 14),
    Column("clutch", 6),
    Column("label", 10),
    Column("tray, place", 14),
    Column("ring"),
)
_OF_CHICKS = (
    Column("chick", 7, gap=0),
    Column("hatched", 17),
    Column("first g", 8, right=True),
    Column("last g", 8, right=True),
    Column("in"),
)
_OF_GROWTH = (
    Column("when", 17, gap=0),
    Column("day", 4, right=True),
    Column("g", 8, right=True),
    Column("% a day", 7, right=True),
    Column("air before"),
)
_OF_ENTRIES = (Column("entry", 5, right=True, gap=0), Column("when", 17), Column("what"))


def written_text(batch: str, entries: Sequence[Entry], site: Site) -> str:
    """What was written, one line an entry; of many at once how many, and of which eggs."""
    if len(entries) > NAMED:
        first, last = entries[0], entries[-1]
        which = numbers_words(sorted({e.egg for e in entries if e.egg is not None}))
        about = f" of eggs {which}" if which else ""
        return f"{batch}: {len(entries)} entries{about} ({first.number} to {last.number})"
    return "\n".join(f"{batch} {_about(e)}: {said(e, site.zone)} (entry {e.number})" for e in entries)


def undone_text(last: Sequence[Undoing], book: EggBook, site: Site) -> str:
    """What was taken back, one line an entry, and what stands now in its place; of many eggs at once how many. book: as it is now."""
    if len(last) > NAMED:
        first, *_, end = [each.stands for each in last]
        return f"undone: {len(last)} entries, {_about(first)} to {_about(end)}; now as before them"
    return "\n".join(_undone(each, book, site) for each in last)


def _undone(undoing: Undoing, book: EggBook, site: Site) -> str:
    entry, again = undoing.stands, undoing.again
    words = f"undone: {book.batch.id} {_about(entry)}: {said(entry, site.zone)} (entry {entry.number}); "
    if again is not None:
        return f"{words}{_about(again)} is {said(again, site.zone)} again"
    same = [e for e in standing(book) if e.fact.kind == entry.fact.kind and e.same_subject(entry)]
    if not same:
        return f"{words}no {_THING.get(entry.fact.kind, entry.fact.kind)} of {_about(entry)} stands now"
    return f"{words}now {said(same[-1], site.zone)} of {wall_time(same[-1].at, site.zone)}"


def book_text(
    book: EggBook, water: Water, site: Site, *, now: datetime, turned: Turned | None = None, columns: int = WIDTH
) -> str:
    """The book of a batch for people, so many columns wide."""
    return text.drawn(book_report(book, water, site, now=now, turned=turned), columns=columns).removesuffix("\n")


def egg_text(
    book: EggBook,
    egg: int,
    water: Water,
    *,
    site: Site,
    raised: Raised | None = None,
    turned: Turned | None = None,
    columns: int = WIDTH,
) -> str:
    """One egg of it."""
    report = egg_report(book, egg, water, site=site, raised=raised, turned=turned)
    return text.drawn(report, columns=columns).removesuffix("\n")


def book_report(book: EggBook, water: Water, site: Site, *, now: datetime, turned: Turned | None = None) -> Report:
    """A batch: what each egg loses and is heading for, the batch together, and the humidity that serves most."""
    eggs = "" if book.batch.eggs is None else f", {eggs_words(book.batch.eggs)}"
    head = [
        Paragraph(f"{book.batch.id}: {book.batch.profile}{eggs}, {_where(book, water, site)}"),
        *_common(water, site),
    ]
    told: list[list[Block]] = [[*head, *_turned(turned, book.batch, site)]]
    rows = [(str(egg), w, _last(of_egg(book, egg), site)) for egg, w in water.eggs.items()]
    rows += [(printable(name) or "-", w, "") for name, w in water.trays.items()]
    if rows:
        told.append([_listing(rows, water.window_pct)])
        if any(_outside(w, water.window_pct) for _, w, _ in rows):
            told[-1].append(Paragraph("!: outside the target, and its whole interval too"))
        if any(w.by_pip_pct is not None for _, w, _ in rows):
            words = f"lost: up to its end, its pip or now; by pip: up to day {water.pip_day:.1f}, as the target"
            told[-1].append(Paragraph(words))
        told[-1] += _why(rows, book)
    else:
        told[-1].append(Paragraph("nothing written about any egg by number yet"))
    told += _who(book, site)
    told += _chicks(book, site)
    if water.together is not None and len(water.together.eggs) > 1:
        told.append(list(_together(water.together, water, site)))
    for name, w in water.trays.items():
        if w.loss is not None:
            which = f"tray {printable(name)}" if name else "weighed together"
            told.append([Paragraph(f"{which}: {_judged(w, site)}", HANGING)])
    others = [e for e in standing(book) if e.egg is None and not isinstance(e.fact, Weighing)]
    if others:
        told.append([_entries(book, others, site)])
    again = [f"to look at again: {_about(e)}, {said(e, site.zone)}{_over(e, now)}" for e in looks(book)]
    told[-1] += [Paragraph(words, HANGING) for words in again]
    return Report("", sections=tuple(Section(None, tuple(blocks)) for blocks in told))


def egg_report(
    book: EggBook,
    egg: int,
    water: Water,
    *,
    site: Site,
    raised: Raised | None = None,
    turned: Turned | None = None,
) -> Report:
    """One egg: its loss so far, where that leads, what would mend it, its chick, and everything written about it."""
    into = went_on(book, egg)
    where, common = (
        (_where(book, water, site), _common(water, site)) if into is None else (f"went on as batch {into}", iter(()))
    )
    told: list[list[Block]] = [[Paragraph(f"{book.batch.id} egg {egg}: {book.batch.profile}, {where}"), *common]]
    who = identity(book, egg)
    if who is not None:
        told[-1].append(Paragraph(identity_words(who, site.zone), INSET_HANGING))
    weighed = water.eggs.get(egg, Weighed(()))
    if weighed.loss is None:
        told.append([Paragraph(f"loss: {_reason(weighed, book) or 'nothing written about this egg yet'}", HANGING)])
    else:
        told.append(list(_loss_lines(weighed, weighed.loss, water, site=site)))
    profile = site.profiles.get(book.batch.profile)
    due = None if profile is None or book.batch.closed_at is not None else expected(book, egg, profile)
    if due is not None:
        told[-1].append(Paragraph(_expected_words(due.sign, (due.earliest, due.latest), site, own=due.own), HANGING))
    told[0] += _turned(turned, book.batch, site)
    if raised is not None:
        told.append(list(growth_blocks(raised, site)))
    entries = of_egg(book, egg)
    if entries:
        told.append([_entries(book, entries, site)])
    return Report("", sections=tuple(Section(None, tuple(blocks)) for blocks in told))


def signs_lines(signs: Mapping[str, Any], batch: Batch, site: Site) -> Iterator[str]:
    """What follows from signs that were just written (`service/watch/signs.py`): the lockdown, when to expect the chicks, and what to do
    with eggs that are before the others."""
    profile, alone = site.profiles[batch.profile], signs["alone"]
    if signs["lockdown"] is not None:
        yield f"lockdown has begun ({wall_time(_instant(signs['lockdown']), site.zone)}): from now on the air is judged by it"
        if signs.get("move_to") is not None:
            yield f"first {_to_be_moved(signs['move_to'], batch, site)}"
    hatch = signs["hatch"]
    span = _instant(hatch["earliest"]), _instant(hatch["latest"])
    yield _expected_words(hatch["sign"], span, site, own=hatch["own"])
    if alone is None:
        return
    eggs = ",".join(str(egg) for egg in alone["eggs"]) or f"--count {alone['count']}"
    who = _eggs(alone["eggs"]) if alone["eggs"] else eggs_words(alone["count"])
    to = alone["would_do"][0] if alone["would_do"] else "MACHINE"
    command = f"eggroom batch split {batch.id} {eggs} --to {to}"
    if profile.lockdown_sign is None or not alone["eggs"]:
        command += " --stage lockdown"
    one = len(alone["eggs"]) == 1 or alone["count"] == 1
    yield f"{who} {'is' if one else 'are'} before the others: {_move_words(alone['would_do'], site)}"
    yield f"  {command}"


def expected_lines(book: EggBook, site: Site, now: datetime) -> Iterator[str]:
    """When the chicks are expected whose eggs have shown a sign, one line an egg, as many as EXPECTED_SHOWN; dates as beside what is now."""
    profile = site.profiles.get(book.batch.profile)
    if profile is None or book.batch.closed_at is not None:
        return
    found = [(egg, due) for egg in numbers(book) if (due := expected(book, egg, profile)) is not None]
    for egg, due in found[:EXPECTED_SHOWN]:
        yield f"egg {egg} {_expected_words(due.sign, (due.earliest, due.latest), site, own=due.own, now=now)}"
    if len(found) > EXPECTED_SHOWN:
        yield f"and {len(found) - EXPECTED_SHOWN} more eggs with a sign: eggroom egg show {book.batch.id} EGG"


def _to_be_moved(would_do: Sequence[str], batch: Batch, site: Site) -> str:
    if not would_do:
        return f"move {batch.id} to a machine of its own, before the air here is made moister"
    return f"move {batch.id} to {site.machines[would_do[0]].name}: eggroom batch move {batch.id} {would_do[0]}"


def _move_words(would_do: Sequence[str], site: Site) -> str:
    if not would_do:
        return "no other machine here suits, one of its own would; split off and move:"
    return f"split off, and move to {site.machines[would_do[0]].name}:"


def _expected_words(
    sign: str, span: tuple[datetime, datetime], site: Site, *, own: bool, now: datetime | None = None
) -> str:
    earliest, latest = (wall_time(at, site.zone, now) for at in span)
    words = f"expected by its {sign}: out from {earliest} to {latest}"
    return words if own else f"{words} (by hens and parrots: nobody says it of this bird)"


def _instant(text: str) -> datetime:
    return datetime.fromisoformat(text)


def verdict_text(about: Collection[tuple[int | None, str]], water: Water) -> str:
    """What a weighing says, in a line before all else: `egg 7: off track`; of several what wants attention first; empty while nothing can be said."""
    states: dict[str, list[str]] = {}
    for egg, tray in sorted(about, key=lambda each: (each[0] or 0, each[1])):
        weighed = water.trays.get(tray, Weighed(())) if egg is None else water.eggs.get(egg, Weighed(()))
        if weighed.track is not None:
            name = f"egg {egg}" if egg is not None else f"tray {printable(tray)}" if tray else "weighed together"
            states.setdefault(weighed.track.state, []).append(name)
    told = [(state, states[state]) for state in (OFF_TRACK, UNSURE, ON_TRACK) if state in states]
    if len(about) == 1:
        return "".join(f"{names[0]}: {state}" for state, names in told)
    return "; ".join(
        f"{len(names)} {state}{'' if state == ON_TRACK else f': {_named(names)}'}" for state, names in told
    )


def _named(names: Sequence[str]) -> str:
    return ", ".join(names[:NAMED]) + (f" and {len(names) - NAMED} more" if len(names) > NAMED else "")


def weighed_text(about: Collection[tuple[int | None, str]], water: Water, site: Site, *, columns: int = WIDTH) -> str:
    """What it comes to after a weighing: of one egg or tray its own loss; of several the batch's together."""
    blocks = _after_weighing(about, water, site)
    return "\n".join(f"  {line}" for block in blocks for line in text.block_lines(block, columns))


def _after_weighing(about: Collection[tuple[int | None, str]], water: Water, site: Site) -> Iterator[Block]:
    if len(about) == 1:
        ((egg, tray),) = about
        weighed = water.trays.get(tray, Weighed(())) if egg is None else water.eggs.get(egg, Weighed(()))
        if weighed.loss is None:
            yield Paragraph(_reason(weighed))
        else:
            yield from _ahead_lines(weighed, weighed.loss, water, site=site, target=True)
    elif water.together is not None:
        yield from _together(water.together, water, site, target=True)
    else:
        yield from plain(dict.fromkeys(_unknown(w) for w in water.eggs.values()))
    for egg, _ in about if len(about) > 1 else ():
        weighed = water.eggs.get(egg, Weighed(())) if egg is not None else Weighed(())
        if weighed.loss is not None and weighed.loss.line.kink is not None:
            yield Paragraph(f"egg {egg}, a break: {kink_words(weighed.loss.line, site)}", HANGING)
        for words in _left_out(weighed, site):
            yield Paragraph(f"egg {egg}, left out: {words}", HANGING)


def _ahead_lines(weighed: Weighed, loss: EggLoss, water: Water, *, site: Site, target: bool = False) -> Iterator[Block]:
    """Where an egg's loss leads; target: with the target beside it, where no head has said it."""
    by_pip = weighed.by_pip_pct
    until = "" if weighed.until is None else f", until {wall_time(weighed.until, site.zone)}"
    if by_pip is not None:
        yield Labelled("by pip", f"{show_interval(by_pip)}{_target(water)}")
    yield Labelled("lost in all" if until else "lost so far", f"{show_interval(loss.now_pct)}{until}")
    if weighed.until is None and by_pip is None:
        yield Labelled(
            "by pip",
            f"{show_interval(loss.pip_pct)}, day {water.pip_day:.1f}{_target(water) if target else ''}{_state(weighed.track)}",
        )
    if weighed.until is None:
        yield Labelled("by hatch", f"{show_interval(loss.hatch_pct)}, as if the shell stayed whole")
    if weighed.until is None and loss.line.by_days:
        again = (
            ""
            if not _unsure(weighed) or weighed.track is None
            else f"; {again_words(weighed.track.where_to.again, site)}"
        )
        yield Labelled("to set", f"no humidity was recorded, so none can be told{again}")
    elif weighed.until is None and weighed.track is not None and by_pip is None:
        yield Labelled("to set", _to_set(weighed.track, loss, water, site=site))
    for words in _left_out(weighed, site):
        yield Labelled("left out", words)
    if loss.line.kink is not None and weighed.until is None:
        yield Labelled("a break", kink_words(loss.line, site))


def _left_out(weighed: Weighed, site: Site) -> Iterator[str]:
    """Weighings that say nothing of the loss, for they are far off the line of the others."""
    numbers = () if weighed.loss is None else weighed.loss.line.left_out
    for mass in weighed.masses:
        if mass.entry in numbers:
            at = wall_time(mass.at, site.zone)
            yield f"entry {mass.entry}, {mass.mass_g:.2f} g on {at}: {left_out_words(FarOff())}"


def kink_words(line: LossLine, site: Site) -> str:
    """What the weighings show and nobody wrote, and what may have been: the breeder is asked; empty where they show nothing."""
    kink = line.kink
    if kink is None:
        return ""
    if kink.step_g is not None:
        way = f"{abs(kink.step_g):.2f} g {'heavier' if kink.step_g > 0.0 else 'lighter'} at once"
        which = f"{_of_step(kink)}?{_COUNTED if kink.lost and not kink.sure else ''}"
    else:
        more = kink.times is None or kink.times > 1.0
        way = f"{kink.times:.1f} times as much a day" if kink.times is not None else "another loss a day"
        air = f", or the air {'drier' if more else 'damper'}" if line.by_days else ""
        which = f"{'cracked (egg candle, cracked)' if more else 'sealed (egg event, sealed)'}{air}?"
    return f"from entry {kink.entry}, {wall_time(kink.at, site.zone)}, on {way}: {which} A new line begins there"


_COUNTED = " It is counted as lost, and the range holds that it was not."


def _of_step(kink: Kink) -> str:
    """What may have made a step, the likeliest first: where it is counted as lost, the shell."""
    if kink.step_g is not None and kink.step_g > 0.0:
        return "another scale (egg correct, scale=ID), sealed (egg event, sealed), or another egg (egg withdraw)"
    shell = "cracked, and sealed since (egg candle, cracked; egg event, sealed)"
    if kink.sure:
        return shell
    scale, egg = "another scale (egg correct, scale=ID)", "another egg (egg withdraw)"
    return f"{shell}, {egg}, or {scale}" if kink.lost else f"{scale}, {shell}, or {egg}"


def _unsure(weighed: Weighed) -> bool:
    return weighed.track is not None and weighed.track.where_to.unsure


def _to_set(track: Track, loss: EggLoss, water: Water, *, site: Site) -> str:
    """What is to be done with the machine for an egg: nothing while it is on track, and nothing yet while nobody can say."""
    if track.where_to.unsure:
        return f"nothing yet: {again_words(track.where_to.again, site)}"
    if track.off:
        return setting_words(track.where_to.setting, site)
    if loss.mend is None or loss.mend.do_pct is None:
        return "nothing"
    low, high = loss.mend.do_pct
    # What may be set ends at the band's warnings, and an egg may be on track in air beyond them: then the range would speak against that.
    if water.lately_rh_pct is not None and not low <= water.lately_rh_pct <= high:
        return "nothing"
    return f"nothing: {low:.0f} to {high:.0f} % RH from now on will do"


def _loss_lines(weighed: Weighed, loss: EggLoss, water: Water, *, site: Site) -> Iterator[Block]:
    yield from _ahead_lines(weighed, loss, water, site=site)
    line = loss.line
    yield Labelled("mass at set", show_interval(line.mass_at_set_g, "g", 2))
    if line.conductance_mg_d_kpa is not None:
        yield Labelled("conductance", show_interval(line.conductance_mg_d_kpa, "mg a day and kPa"))
        yield Labelled("on record", f"{100.0 * line.recorded:.0f} % of the time up to the last weighing")


def _who(book: EggBook, site: Site) -> Iterator[list[Block]]:
    """Who the eggs are: what all have in common in a line, and a table of those of which more is written."""
    whole = identity(book, None)
    if whole is not None:
        yield [Paragraph(f"all: {identity_words(whole, site.zone)}", HANGING)]
    rows: list[tuple[str, ...]] = []
    for egg in numbers(book):
        if any(isinstance(e.fact, Identity) for e in of_egg(book, egg)) and (who := identity(book, egg)) is not None:
            lies = ", ".join(each for each in (who.tray, who.place) if each is not None)
            rows.append((str(egg), who.parents, who.clutch or "", who.label or "", lies, who.ring or ""))
    if rows:
        yield [Listing(_OF_WHO, tuple(rows))]


def _turned(turned: Turned | None, batch: Batch, site: Site) -> Iterator[Paragraph]:
    return (Paragraph(words, INSET_HANGING) for words in turned_lines(turned, batch, site.zone))


def turned_lines(turned: Turned | None, batch: Batch, zone: tzinfo) -> Iterator[str]:
    """How often the eggs were turned, and since when no more."""
    if turned is None:
        return
    counted = turned.by_switch
    if counted is not None:
        often = f"turned {times_words(counted.times)}" if counted.times else "no turn"
        words = f"{often} by its switch in {counted.over / DAY:.1f} days"
        if counted.times:
            until = (
                ", up to now" if counted.longest_until is None else f", up to {wall_time(counted.longest_until, zone)}"
            )
            words += f", {counted.times * DAY / counted.over:.1f} a day" if counted.over >= DAY else ""
            words += f"; longest without {counted.longest / HOUR:.1f} h{until}"
        if counted.none_before is not None:
            words += f"; none counted before {wall_time(counted.none_before, zone)}, day {day_words(batch.day(counted.none_before))}"
        yield words
    if turned.by_hand is not None:
        times, over = turned.by_hand
        yield f"turned as written: {times_words(times)} in {over / HOUR:g} h, {times * DAY / over:.1f} a day"
    if turned.stopped_at is not None:
        day = day_words(batch.day(turned.stopped_at))
        who = "as its switch says" if turned.stopped is None else f"as {printable(turned.stopped.who)} wrote"
        yield f"stopped turning {wall_time(turned.stopped_at, zone)}, day {day}, {who}"


def _chicks(book: EggBook, site: Site) -> Iterator[list[Block]]:
    """Each chick in a line."""
    rows: list[tuple[str, ...]] = []
    for each in chicks(book):
        hatched = "" if each.hatched_at is None else wall_time(each.hatched_at, site.zone)
        masses = [f"{e.fact.mass_g:.2f}" for e in each.weighed if isinstance(e.fact, ChickMass)]
        if each.end is not None:
            where = f"{said(each.end, site.zone).removeprefix('chick ')}, {wall_time(each.end.at, site.zone)}"
        else:
            where = _machine_name(each.stays[-1].machine, site) if each.stays else "no machine"
        rows.append((str(each.egg), hatched, masses[0] if masses else "", masses[-1] if masses else "", where))
    if rows:
        yield [Listing(_OF_CHICKS, tuple(rows))]


def growth_blocks(raised: Raised, site: Site) -> Iterator[Block]:
    """What a chick weighed, and the air that it was in."""
    hatched = raised.chick.hatched_at
    yield Paragraph(
        "chick: "
        + ("no hatch is written" if hatched is None else f"hatched {wall_time(hatched, site.zone)}")
        + (
            ""
            if raised.chick.end is not None or not raised.chick.stays
            else f", in {_machine_name(raised.chick.stays[-1].machine, site)}"
        )
    )
    rows = tuple(
        (
            wall_time(each.entry.at, site.zone),
            "" if each.days is None else day_words(each.days),
            "" if each.mass_g is None else f"{each.mass_g:.2f}",
            "" if each.gain_pct_d is None else f"{each.gain_pct_d:+.1f}",
            _grown_words(each, site),
        )
        for each in raised.lines
    )
    if rows:
        yield Listing(_OF_GROWTH, rows)


def _grown_words(each: Grown, site: Site) -> str:
    """`Brooder 1: 34.8 °C (33.9 to 35.6), 52 %RH, 98 % of the time on record`."""
    end = "" if each.mass_g is not None else said(each.entry, site.zone).removeprefix("chick ")
    if each.air is None:
        return end or "in no machine"
    warm, humid = each.air.dry_bulb_c, each.air.rh_pct
    names = ", ".join(_machine_name(machine, site) for machine in each.machines)
    if warm.mean is None or warm.min is None or warm.max is None:
        air = f"{names}: nothing on record"
    else:
        low, high = (show_figure(DRY_BULB, value, site.unit).partition(" ")[0] for value in (warm.min, warm.max))
        rh = "" if humid.mean is None else f", {show_figure(RH, humid.mean, site.unit)}"
        share = 100.0 * warm.hours_covered * HOUR_MS / (warm.until_ms - warm.since_ms)
        air = f"{names}: {show_figure(DRY_BULB, warm.mean, site.unit)} ({low} to {high}){rh}, {share:.0f} % on record"
    return f"{end}; {air}" if end else air


def _machine_name(machine: str, site: Site) -> str:
    known = site.machines.get(machine)
    return machine if known is None else known.name


def _together(found: BatchLoss, water: Water, site: Site, *, target: bool = False) -> Iterator[Block]:
    by_pip = f"{show_interval(found.pip_pct)} by pip{_target(water) if target else ''}"
    yield Paragraph(f"together: {show_interval(found.now_pct)} lost, {by_pip}{_state(water.track)}", HANGING)
    yield Paragraph(f"spread {found.sd_pct:.1f} (sd), from {found.low_pct:.1f} to {found.high_pct:.1f} %", INSET)
    if found.outliers:
        yield Paragraph(f"unlike the rest: {_eggs(found.outliers)}", INSET_HANGING)
    if water.track is not None and water.track.where_to.unsure:
        yield Paragraph(f"nothing to set yet: {again_words(water.track.where_to.again, site)}", INSET_HANGING)
        return
    serving = found.serving
    if serving is None:
        return
    now = "" if water.lately_rh_pct is None else f", {water.lately_rh_pct:.0f} % now"
    wet = show_temperature(serving.wet_bulb_c, site.unit)
    if serving.served:
        most = f"{serving.rh_pct:.0f} % RH (wet bulb {wet}) from now on{now}"
        words = f"{most}: serves {len(serving.served)} of {len(found.eggs)} eggs"
    else:
        words = f"no humidity that a machine can hold brings any of {len(found.eggs)} eggs to the target"
    yield Paragraph(words, INSET)
    for eggs, want in ((serving.drier, "drier"), (serving.wetter, "damper")):
        if eggs:
            yield Paragraph(f"better {want}: {_eggs(eggs)}", INSET_HANGING)


def _listing(rows: Sequence[tuple[str, Weighed, str]], window_pct: tuple[float, float] | None) -> Listing:
    told = tuple(_row(name, weighed, last, window_pct=window_pct) for name, weighed, last in rows)
    return Listing(_OF_EGGS, told, folds=False)


def _row(name: str, weighed: Weighed, last: str, *, window_pct: tuple[float, float] | None) -> tuple[str, ...]:
    loss, last_g = weighed.loss, f"{weighed.masses[-1].mass_g:.2f}" if weighed.masses else "-"
    lost = "-" if loss is None else f"{loss.now_pct.value:.1f} %"
    at_pip, mark = _at_pip(weighed), "! " if _outside(weighed, window_pct) else ""
    pip = "" if at_pip is None else f"{mark}{at_pip.value:.1f} ({at_pip.low:.1f} to {at_pip.high:.1f})"
    return name[:7], str(len(weighed.masses)), last_g, lost, pip, last


def _at_pip(weighed: Weighed) -> Interval | None:
    """What it had lost at pip, or is heading for; None where neither is known, and of an egg that ended before."""
    if weighed.loss is None or (weighed.until is not None and weighed.by_pip_pct is None):
        return None
    return weighed.by_pip_pct or weighed.loss.pip_pct


def _outside(weighed: Weighed, window_pct: tuple[float, float] | None) -> bool:
    """Whether that misses the target, its whole interval too."""
    at_pip = _at_pip(weighed)
    return at_pip is not None and window_pct is not None and at_pip.outside(*window_pct)


def _common(water: Water, site: Site) -> Iterator[Paragraph]:
    """What all of its eggs have in common."""
    return (Paragraph(words, INSET_HANGING) for words in _common_words(water, site))


def _common_words(water: Water, site: Site) -> Iterator[str]:
    if water.lately_c is not None:
        air = show_temperature(water.lately_c, site.unit)
        humid = "humidity not known" if water.lately_rh_pct is None else f"{water.lately_rh_pct:.0f} % RH"
        yield f"air of the last day: {air}, {humid}"
    if water.target is None:
        yield "no target loss: no source gives one for this species"
    else:
        yield f"target: {target_words(water.target)}"
        if 0.0 < water.day < water.pip_day:
            low, high = water.target.by(water.day)
            yield f"the line there: {low:.1f} to {high:.1f} % of the mass at set by day {day_words(water.day)}"


def _where(book: EggBook, water: Water, site: Site) -> str:
    if book.batch.closed_at is not None:
        return f"closed on day {day_words(water.day)}, {wall_day(book.batch.closed_at, site.zone)}"
    machine = site.machines.get(water.machine)
    place = machine.name if machine is not None else water.machine
    return f"day {day_words(water.day)}" + (f", in {place}" if place else ", in no machine")


def _judged(weighed: Weighed, site: Site) -> str:
    return (
        ""
        if weighed.loss is None
        else projection_words(weighed.track.where_to, site)
        if weighed.track
        else show_interval(weighed.loss.pip_pct)
    )


def _entries(book: EggBook, entries: Sequence[Entry], site: Site) -> Listing:
    several = len({e.fact.scale for e in entries if isinstance(e.fact, Weighing)}) > 1
    return Listing(_OF_ENTRIES, tuple(_entry_row(book, entry, site, scales=several) for entry in entries))


def _entry_row(book: EggBook, entry: Entry, site: Site, *, scales: bool) -> tuple[str, ...]:
    """scales: whether the weighings beside it are of several, so that each has to say of which."""
    # Of what it replaced only the last is named: the rest is in --json.
    before = [_not(entry, e, site) for e in history(book, entry)[1:2]]
    scale = entry.fact.scale if scales and isinstance(entry.fact, Weighing) else None
    on = "" if scale is None else f" on {printable(scale)}"
    words = f"{said(entry, site.zone).strip()}{on}{''.join(before)} ({printable(entry.who)})"
    return str(entry.number), wall_time(entry.at, site.zone), words


def _last(entries: Sequence[Entry], site: Site) -> str:
    """How it ended; until then what was seen of it last."""
    seen = [
        e
        for e in entries
        if not isinstance(
            e.fact, Weighing | Size | Laid | LookAgain | Note | Identity | AirCell | Turning | TurningStopped | Attached
        )
    ]
    ends = [e for e in seen if e.ends]
    last = (ends or seen)[-1] if seen else None
    words = "" if last is None else f"now {last.fact.into}" if isinstance(last.fact, Split) else said(last, site.zone)
    return words if len(words) <= _LAST_WIDE else f"{words[: _LAST_WIDE - 1]}…"


def _not(entry: Entry, before: Entry, site: Site) -> str:
    """In what an entry was put right."""
    old = said(before, site.zone)
    if old != said(entry, site.zone):
        return f", not {old}"
    if before.at != entry.at:
        return f", not at {wall_time(before.at, site.zone)}"
    return "" if before.same_subject(entry) else f", not of {_about(before)}"


def _why(rows: Sequence[tuple[str, Weighed, str]], book: EggBook) -> Iterator[Paragraph]:
    """Why nothing can be told of eggs that were weighed, each reason once."""
    names: dict[str, list[str]] = {}
    for name, weighed, _ in rows:
        if weighed.loss is None and weighed.masses:
            names.setdefault(_reason(weighed, book), []).append(name)
    for reason, of in names.items():
        yield Paragraph(f"{', '.join(of)}: {reason}", INSET_HANGING)


def _reason(weighed: Weighed, book: EggBook | None = None) -> str:
    """Why its loss cannot be told; where the egg or its batch ended without what is expected, for it is too late for that."""
    if weighed.until is None and (book is None or book.batch.closed_at is None):
        return _unknown(weighed)
    return _unknown(weighed, too_late=True)


def _unknown(weighed: Weighed, *, too_late: bool = False) -> str:
    return "" if weighed.unknown is None else unknown_words(weighed.unknown, too_late=too_late)


def _about(entry: Entry) -> str:
    if entry.egg is not None:
        return f"egg {entry.egg}"
    return f"tray {printable(entry.tray)}" if entry.tray else "batch"


def _over(look: Entry, now: datetime) -> str:
    assert isinstance(look.fact, LookAgain)
    return " (its time has come)" if look.fact.look_at <= now else ""


def _target(water: Water) -> str:
    """`, target 13 to 16 %`."""
    return "" if water.window_pct is None else f", target {show_window(water.window_pct)} %"


def _state(track: Track | None) -> str:
    return "" if track is None else f": {track.state}"


def _eggs(eggs: Sequence[int]) -> str:
    told = numbers_words(sorted(eggs)) if len(eggs) > NAMED else ", ".join(map(str, eggs))
    return f"{'egg' if len(eggs) == 1 else 'eggs'} {told}"


# --- plain values


def water_view(water: Water, site: Site) -> dict[str, object]:
    """The water of a batch: per cent of the mass at set, °C and %RH whatever the site shows; None for what is not known."""
    return {
        "at": utc_text(water.at),
        "day": counted(water.day, 3),
        "machine": water.machine or None,
        "pip_day": round(water.pip_day, 2),
        "window_pct": None if water.window_pct is None else [_rounded(each) for each in water.window_pct],
        "target": target_view(water.target),
        "line_pct": _line_pct(water),
        "lately": {"dry_bulb_c": _rounded(water.lately_c), "rh_pct": _rounded(water.lately_rh_pct)},
        "eggs": {str(egg): weighed_view(w) for egg, w in water.eggs.items()},
        "trays": {name: weighed_view(w) for name, w in water.trays.items()},
        "together": None if water.together is None else _together_view(water.together, water.track),
        "off_track": water.off,
        "about": None if water.about is None else losing_words(water.about, site),
    }


def _line_pct(water: Water) -> list[float | None] | None:
    """What should have been lost by now on the way to the target; None without one, before the set and after pip."""
    if water.target is None or not 0.0 <= water.day <= water.pip_day:
        return None
    return [_rounded(each) for each in water.target.by(water.day)]


def weighed_view(weighed: Weighed) -> dict[str, object]:
    """The water of one egg, or of a tray as one egg of it."""
    masses = [
        {
            "entry": m.entry,
            "at": utc_text(m.at),
            "mass_g": round(m.mass_g, 4),
            "eggs": m.eggs,
            "left_out": None if m.left_out is None else left_out_words(m.left_out),
        }
        for m in weighed.masses
    ]
    until = None if weighed.until is None else utc_text(weighed.until)
    base: dict[str, object] = {"masses": masses, "until": until, "reason": _unknown(weighed) or None, "loss": None}
    loss = weighed.loss
    if loss is None:
        return base
    line, going = loss.line, weighed.until is None
    return base | {
        "loss": {
            "now_pct": _interval_view(loss.now_pct),
            "pip_pct": _interval_view(loss.pip_pct) if going else None,
            "by_pip_pct": _interval_view(weighed.by_pip_pct),
            "hatch_pct": _interval_view(loss.hatch_pct) if going else None,
            "track": weighed.track.state if going and weighed.track is not None else None,
            "mend": _mend_view(loss.mend) if going and not _unsure(weighed) and loss.mend is not None else None,
            "weigh_again": _again(weighed.track) if going else None,
            "mass_at_set_g": _interval_view(line.mass_at_set_g),
            "conductance_mg_d_kpa": _interval_view(line.conductance_mg_d_kpa),
            "conductance_sea_level_mg_d_kpa": _interval_view(line.conductance_sea_level_mg_d_kpa),
            "by_days": line.by_days,
            "recorded": round(line.recorded, 4),
            "left_out": line.left_out,
            "kink": None if line.kink is None else _kink_view(line.kink),
        }
    }


def who_view(book: EggBook, egg: int | None = None) -> dict[str, object]:
    """Who an egg is, or (None) what all have in common and who each is, as far as anything is written; else nothing."""
    found: dict[str, object] = {} if (whole := identity(book, egg)) is None else {"who": _who_view(whole)}
    if egg is None:
        each = {str(n): who for n in numbers(book) if (who := identity(book, n)) is not None}
        found |= {"who_by_egg": {n: _who_view(who) for n, who in each.items()}} if each else {}
    return found


def _who_view(who: Identity) -> dict[str, object]:
    told = {name: utc_text(v) if isinstance(v, datetime) else v for name, v in fields_of(who).items()}
    return {**told, "parents": who.parents or None}


def chicks_view(book: EggBook) -> dict[str, object]:
    """Each chick of which anything is written, by its egg; else nothing."""
    found = {
        str(each.egg): {
            "hatched_at": None if each.hatched_at is None else utc_text(each.hatched_at),
            "masses": [
                {"at": utc_text(e.at), "mass_g": e.fact.mass_g} for e in each.weighed if isinstance(e.fact, ChickMass)
            ],
            "stays": [
                {
                    "machine": s.machine,
                    "since": utc_text(s.since),
                    "until": None if s.until is None else utc_text(s.until),
                }
                for s in each.stays
            ],
            "end": None if each.end is None else entry_view(each.end),
        }
        for each in chicks(book)
    }
    return {"chicks": found} if found else {}


def turned_view(turned: Turned | None) -> dict[str, object]:
    """How often the eggs were turned; nothing where nobody counted."""
    if turned is None:
        return {}
    counted, by_hand = turned.by_switch, turned.by_hand
    return {
        "turning": {
            "by_switch": None
            if counted is None
            else {
                "times": counted.times,
                "hours": _rounded(counted.over / HOUR),
                "longest_without_h": _rounded(counted.longest / HOUR),
                "longest_until": None if counted.longest_until is None else utc_text(counted.longest_until),
                "none_before": None if counted.none_before is None else utc_text(counted.none_before),
                "last": None if counted.last is None else utc_text(counted.last),
            },
            "by_hand": None if by_hand is None else {"times": by_hand[0], "hours": _rounded(by_hand[1] / HOUR)},
            "stopped_at": None if turned.stopped_at is None else utc_text(turned.stopped_at),
            "stopped_entry": None if turned.stopped is None else turned.stopped.number,
        }
    }


def _air_view(found: Figures) -> dict[str, float | None]:
    """°C or %RH, and how much of the time is on record, 0 to 1."""
    covered = found.hours_covered * HOUR_MS / (found.until_ms - found.since_ms)
    return {
        "mean": _rounded(found.mean),
        "min": _rounded(found.min),
        "max": _rounded(found.max),
        "coverage": _rounded(covered),
    }


def raised_view(raised: Raised | None) -> dict[str, object]:
    """A chick's lines with the air of each; else nothing."""
    if raised is None:
        return {}
    lines = [
        {
            "at": utc_text(each.entry.at),
            "kind": each.entry.fact.kind,
            "days": _rounded(each.days),
            "mass_g": each.mass_g,
            "gain_pct_d": _rounded(each.gain_pct_d),
            "machines": list(each.machines),
            "air": None if each.air is None else {name: _air_view(found) for name, found in each.air.figures()},
        }
        for each in raised.lines
    ]
    return {"chick": {"lines": lines}}


def book_view(book: EggBook, egg: int | None = None) -> list[dict[str, object]]:
    """Every entry ever written, of the batch or of one egg, with whether it still counts."""
    counts = {e.number for e in standing(book)}
    return [entry_view(e) | {"stands": e.number in counts} for e in book.entries if egg in (None, e.egg)]


def _together_view(found: BatchLoss, track: Track | None) -> dict[str, object]:
    serving = found.serving
    return {
        "eggs": found.eggs,
        "now_pct": _interval_view(found.now_pct),
        "pip_pct": _interval_view(found.pip_pct),
        "sd_pct": _rounded(found.sd_pct),
        "low_pct": _rounded(found.low_pct),
        "high_pct": _rounded(found.high_pct),
        "conductance_cv": _rounded(found.conductance_cv),
        "outliers": found.outliers,
        "track": None if track is None else track.state,
        "weigh_again": _again(track),
        "serving": None
        if serving is None
        else {
            "rh_pct": _rounded(serving.rh_pct),
            "wet_bulb_c": _rounded(serving.wet_bulb_c),
            "served": serving.served,
            "drier": serving.drier,
            "wetter": serving.wetter,
        },
    }


def _kink_view(kink: Kink) -> dict[str, object]:
    """A break that nobody wrote: the first weighing after it, and of what kind it is."""
    return {
        "entry": kink.entry,
        "at": utc_text(kink.at),
        "times": _rounded(kink.times),
        "step_g": _rounded(kink.step_g),
        "lost": kink.lost,
    }


def _again(track: Track | None) -> str | None:
    """When to weigh again, where nobody can say yet."""
    return None if track is None or track.where_to.again is None else utc_text(track.where_to.again)


def _mend_view(mend: Mend) -> dict[str, object]:
    return {
        "reachable": mend.reachable,
        "rh_pct": _rounded(mend.rh_pct),
        "wet_bulb_c": _rounded(mend.wet_bulb_c),
        "loss_pct": _rounded(mend.loss_pct),
        "rh_low_pct": _rounded(mend.rh_low_pct),
        "rh_high_pct": _rounded(mend.rh_high_pct),
        "do_pct": None if mend.do_pct is None else [_rounded(each) for each in mend.do_pct],
        "until_d": _rounded(mend.until_d),
    }


def _interval_view(found: Interval | None) -> dict[str, float | None] | None:
    if found is None:
        return None
    return {"value": _rounded(found.value), "low": _rounded(found.low), "high": _rounded(found.high)}


def _rounded(value: float | None) -> float | None:
    return None if value is None or value != value or value in (float("inf"), float("-inf")) else round(value, 3)
