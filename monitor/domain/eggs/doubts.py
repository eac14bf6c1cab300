"""What should be asked before an entry is written: not impossible, but as a rule a slip of the pen or of the scale.

Nothing here refuses. The caller shows the lines and asks; if the breeder holds to it, the entry is written as it came.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime, timedelta
from itertools import pairwise

from monitor.domain.eggs.book import EggBook, hoyt, identity, last_size, numbers, outcome, standing, typed_error_g
from monitor.domain.eggs.entry import (
    AFTER_HATCH,
    ALIVE,
    CLEAR,
    CRACKED,
    DEAD,
    DRAW_DOWN,
    EARLY_DEAD,
    EXTERNAL_PIP,
    FERTILE,
    LATE,
    MIDDLE,
    OF_CHICK,
    SIGNS,
    AirCell,
    Attached,
    Brooded,
    Candling,
    ChickMass,
    Dead,
    Entry,
    Hatched,
    Identity,
    Laid,
    Removed,
    Sign,
    SignedOff,
    Size,
    Split,
    Turning,
    TurningStopped,
    Weighing,
)
from monitor.domain.needs.batch import DAY_S, LOCKDOWN, Batch, day_words
from monitor.domain.needs.profile import Profile
from monitor.domain.published.timings import until_hatch
from monitor.domain.refusal import Words

# The quickest loss published for a whole egg is about 1 % a day (turkey under hens, 24 % in 24 days: Mussehl & Ackerson
# 1934); a small finch's 15 % in 12 days is 1.3. What is lost quicker than this was not lost through the shell.
FAST_PCT_D = 3.0
# And least: a quarter of the slowest target that any source gives, 10 % in an emu's 51 days (judgement).
SLOW_PCT_D = 0.05
# 3 sd of what masses scatter beside a good scale: a thousandth of the egg (`analysis/water/loss.py`).
SCATTER_SHARE = 0.003
ODD_SIZE_SHARE = 0.15  # mass and measures farther apart than the form of any egg explains
ODD_MASS = (0.5, 1.5)  # of the profile's lowest and highest fresh mass
OVERLAP = timedelta(hours=2)  # two counts a day are not written at the same minute of each
AHEAD = timedelta(minutes=10)  # a person's watch and the daemon's clock may differ by so much
EARLY_SHARE = 0.9  # of the first normal day of the hatch: sooner than this it is a wrong date as a rule
LATE_DAYS = 5.0  # a hatch later than the last normal day by more is a wrong date as a rule
STORED_LONG_DAYS = 28.0  # four weeks are long for any egg (common practice)
# Of the term, where the third begins in which such a death lies as people say it; with EARLY_SHARE it is a wrong date as a rule (judgement).
DIED_FROM = {MIDDLE: 1.0 / 3.0, LATE: 2.0 / 3.0}
CELL_SHRINKS_MM = 1.5  # an air cell grows; two outlines of one differ by about a pencil's line (judgement)
# What a candling found that speaks against what another finds later.
AGAINST = {
    CLEAR: (FERTILE, ALIVE, EARLY_DEAD, DEAD),
    FERTILE: (CLEAR, EARLY_DEAD, DEAD),
    ALIVE: (CLEAR, EARLY_DEAD, DEAD),
}
NO_LIFE = (CLEAR, EARLY_DEAD, DEAD)
# Of the egg as it was weighed last: a chick within a day of its hatch weighs less, and hardly less than this (about two thirds in hens; judgement).
HATCH_SHARE, HATCH_DAYS = 0.4, 1.0
# Of the mass before: the quickest nestlings double in a day or two, and a full crop is a good part of a chick (judgement).
QUICK_TIMES, DAILY_TIMES, SHRUNK_SHARE = 1.3, 2.0, 0.7
STORED_ODD_DAYS = 1.5  # people count the days of a store in more than one way


def doubts(book: EggBook, entry: Entry, profile: Profile | None = None) -> tuple[Words, ...]:
    """What should be asked before the entry is written, one line each; none when nothing is odd.

    profile: of the batch, for what depends on the species. The entry must be one that `add` takes.
    """
    others = [e for e in standing(book) if e.number != entry.replaces]
    return tuple(_doubts(book.batch, entry, others, profile=profile))


def _doubts(batch: Batch, entry: Entry, others: list[Entry], *, profile: Profile | None) -> Iterator[Words]:
    where = entry.where
    about = [e for e in others if e.same_subject(entry)]
    if entry.at > entry.written_at + AHEAD:
        yield (f"{where}: at ", entry.at, ", which is still to come")
    if any(e.at == entry.at and e.fact == entry.fact for e in about):
        yield (f"{where}: written already",)
    if isinstance(entry.fact, Weighing):
        yield from _weighing_doubts(entry, about, profile)
    elif isinstance(entry.fact, Size):
        yield from _size_doubts(entry, entry.fact, [e for e in about if isinstance(e.fact, Weighing)], profile=profile)
    elif isinstance(entry.fact, Candling):
        yield from _candling_doubts(entry, entry.fact.found, about)
    elif isinstance(entry.fact, Sign):
        yield from _sign_doubts(entry, [e for e in about if isinstance(e.fact, Sign)])
        if profile is not None:
            yield from _early_doubts(entry, entry.fact.sign, batch.day(entry.at), profile=profile)
    elif isinstance(entry.fact, Laid):
        yield from _store_doubts(where, entry.fact, batch.set_at)
    elif isinstance(entry.fact, Hatched) and profile is not None:
        day, first, last = batch.day(entry.at), profile.hatch_day_first, profile.hatch_day_last
        if not EARLY_SHARE * first <= day <= last + LATE_DAYS:
            yield (f"{where}: on day {day_words(day)}, {_hatches(profile)}",)
    elif isinstance(entry.fact, Dead) and profile is not None:
        yield from _death_doubts(entry, entry.fact.stage, batch.day(entry.at), profile=profile)
    if entry.egg is not None:
        yield from _order_doubts(entry, about)
        yield from _ring_doubts(entry, about)
        yield from _air_cell_doubts(entry, about)
        yield from _chick_doubts(entry, about)
    yield from _identity_doubts(entry, about)
    yield from _file_doubts(entry, about)
    yield from _turning_doubts(entry, about)


def shared(book: EggBook, new: Sequence[Entry]) -> tuple[Words, ...]:
    """What should be asked about what was said of several eggs, beside all others: one label, ring or place on two of them, and a name that is
    spelled in two ways. book: with the new entries in it."""
    said = [(e, e.fact) for e in new if isinstance(e.fact, Identity)]
    if not said:
        return ()
    who = {egg: found for egg in numbers(book) if (found := identity(book, egg)) is not None}
    lie = {
        egg: (one.tray, one.place) for egg, one in who.items() if one.place is not None and outcome(book, egg) is None
    }
    asked: dict[Words, None] = {}
    for entry, fact in said:
        for name in ("label", "ring"):
            value = getattr(fact, name)
            others = [egg for egg, one in who.items() if egg != entry.egg and getattr(one, name) == value]
            if value is not None and others:
                asked[(f"{entry.where}: {name} {value}, which egg {others[0]} has",)] = None
        if entry.egg in lie and (fact.place or fact.tray):
            others = [egg for egg, at in lie.items() if egg != entry.egg and at == lie[entry.egg]]
            if others:
                tray = f"tray {lie[entry.egg][0]} " if lie[entry.egg][0] else ""
                asked[(f"{entry.where}: {tray}place {lie[entry.egg][1]}, where egg {others[0]} lies",)] = None
        for name in ("pair", "cock", "hen", "clutch", "tray"):
            value = getattr(fact, name)
            for e in standing(book) if value is not None else ():
                other = getattr(e.fact, name) if isinstance(e.fact, Identity) and e.number != entry.number else None
                if other is not None and other != value and _folded(other) == _folded(value):
                    asked[(f"{entry.where}: {name} {value}, and {name} {other} is written before",)] = None
                    break
    return tuple(asked)


def _folded(name: str) -> str:
    return "".join(name.casefold().split())


def _file_doubts(entry: Entry, about: list[Entry]) -> Iterator[Words]:
    """One file twice."""
    for e in about if isinstance(entry.fact, Attached) else ():
        if isinstance(entry.fact, Attached) and isinstance(e.fact, Attached) and e.fact.sha256 == entry.fact.sha256:
            yield (f"{entry.where}: the same file is entry {e.number} already",)


def _identity_doubts(entry: Entry, about: list[Entry]) -> Iterator[Words]:
    """A ring without a chick, and an egg that is still under its bird."""
    fact = entry.fact
    if not isinstance(fact, Identity):
        return
    if fact.taken_at is not None and fact.taken_at > entry.written_at + AHEAD:
        yield (f"{entry.where}: under a bird until ", fact.taken_at, ", which is still to come")
    if fact.ring is None:
        return
    hatched = [e for e in about if isinstance(e.fact, Hatched)]
    if not hatched:
        yield (f"{entry.where}: ring {fact.ring}, and no hatch of it is written",)
    elif entry.at < hatched[0].at:
        yield (f"{entry.where}: ring {fact.ring}, before it hatched (", hatched[0].at, ")")


def _ring_doubts(entry: Entry, about: list[Entry]) -> Iterator[Words]:
    """The same the other way: how an egg ended that has a ring already."""
    for e in about:
        if not isinstance(e.fact, Identity) or e.fact.ring is None:
            continue
        if isinstance(entry.fact, Hatched) and e.at < entry.at:
            yield (f"{entry.where}: and had ring {e.fact.ring} before (", e.at, ")")
        elif isinstance(entry.fact, Dead | Removed) and _is_end(entry) and not _has_hatched(about):
            yield (f"{entry.where}: and has ring {e.fact.ring} (", e.at, ")")


def _air_cell_doubts(entry: Entry, about: list[Entry]) -> Iterator[Words]:
    """An air cell grows, and lies within its egg: of those before and after it, and of the size, whichever is written first."""
    if not isinstance(entry.fact, AirCell | Size):
        return
    every = sorted((*about, entry), key=lambda e: e.at)
    cells = [(e, e.fact) for e in every if isinstance(e.fact, AirCell)]
    for (first, before), (second, after) in pairwise(cells):
        if entry in (first, second) and after.deepest_mm < before.deepest_mm - CELL_SHRINKS_MM:
            yield (
                f"{entry.where}: {after.deepest_mm:g} mm at ",
                second.at,
                f", {before.deepest_mm:g} mm at ",
                first.at,
            )
    size = last_size(every)
    for e, cell in cells if size is not None else ():
        assert size is not None
        if entry is not e and not isinstance(entry.fact, Size):
            continue
        if cell.deepest_mm > size.length_mm:
            yield (f"{entry.where}: an air cell to {cell.deepest_mm:g} mm, in an egg {size.length_mm:g} mm long",)
        if cell.across_mm is not None and cell.across_mm > size.breadth_mm:
            yield (f"{entry.where}: an air cell {cell.across_mm:g} mm across, in an egg {size.breadth_mm:g} mm broad",)


def _turning_doubts(entry: Entry, about: list[Entry]) -> Iterator[Words]:
    """Turned after it was said that turning had stopped, and a time that is counted twice; whichever is written first."""
    counts = [(e, e.fact) for e in about if isinstance(e.fact, Turning) and e.fact.times]
    if isinstance(entry.fact, TurningStopped):
        for e, _ in counts:
            if e.at > entry.at:
                yield (f"{entry.where}: and turned after that (", e.at, ")")
    if not isinstance(entry.fact, Turning):
        return
    for e in about:
        if entry.fact.times and isinstance(e.fact, TurningStopped) and e.at < entry.at:
            yield (f"{entry.where}: turned after turning had stopped (", e.at, ")")
    since = entry.at - timedelta(hours=entry.fact.hours) + OVERLAP
    for e, count in counts:
        if e.at > since and entry.at > e.at - timedelta(hours=count.hours) + OVERLAP:
            yield (f"{entry.where}: counted already, {count.times:g} times in the {count.hours:g} h to ", e.at)


def _chick_doubts(entry: Entry, about: list[Entry]) -> Iterator[Words]:
    """What is said of a chick beside its hatch and its end, in whichever order it is written."""
    where, later = entry.where, [e for e in about if isinstance(e.fact, OF_CHICK) and e.at > entry.at]
    if isinstance(entry.fact, OF_CHICK):
        hatched = [e for e in about if isinstance(e.fact, Hatched)]
        if not hatched:
            yield (f"{where}: no hatch of it is written",)
        elif entry.at < hatched[0].at:
            yield (f"{where}: before it hatched (", hatched[0].at, ")")
        for e in about:
            if e.at < entry.at and (isinstance(e.fact, SignedOff) or (e.ends and not isinstance(e.fact, Hatched))):
                yield (f"{where}: after it was {_told(e)} (", e.at, ")")
    elif isinstance(entry.fact, Hatched):
        before = next((e for e in about if isinstance(e.fact, OF_CHICK) and e.at < entry.at), None)
        if before is not None:
            yield (f"{where}: and {_told(before)} before (", before.at, ")")
    elif entry.ends and not _has_hatched(about) and any(isinstance(e.fact, OF_CHICK) for e in about):
        yield (f"{where}: and has a chick in the book",)
    if later and (isinstance(entry.fact, SignedOff) or (isinstance(entry.fact, Dead) and _has_hatched(about))):
        yield (f"{where}: and {_told(later[0])} after that (", later[0].at, ")")
    yield from _chick_mass_doubts(entry, about)


def _chick_mass_doubts(entry: Entry, about: list[Entry]) -> Iterator[Words]:
    """A chick beside its egg, and beside what it weighed before and after."""
    every = sorted((*about, entry), key=lambda e: e.at)
    chicks = [(e, e.fact.mass_g) for e in every if isinstance(e.fact, ChickMass)]
    for (first, before_g), (second, after_g) in pairwise(chicks) if isinstance(entry.fact, ChickMass) else ():
        days = (second.at - first.at).total_seconds() / DAY_S
        if (
            entry in (first, second)
            and not SHRUNK_SHARE * before_g <= after_g <= QUICK_TIMES * DAILY_TIMES**days * before_g
        ):
            yield (f"{entry.where}: {after_g:.4g} g at ", second.at, f", {before_g:.4g} g at ", first.at)
    hatched = next((e.at for e in every if isinstance(e.fact, Hatched)), None)
    eggs = [e for e in every if isinstance(e.fact, Weighing) and hatched is not None and e.at <= hatched]
    if not chicks or not eggs or hatched is None or entry not in (chicks[0][0], eggs[-1]):
        return
    (first, chick_g), (egg_g, _) = chicks[0], eggs[-1].each_g()
    young = first.at <= hatched + timedelta(days=HATCH_DAYS)
    if young and not HATCH_SHARE * egg_g <= chick_g <= egg_g:
        yield (f"{entry.where}: the chick {chick_g:.4g} g, its egg {egg_g:.4g} g at ", eggs[-1].at)


def _has_hatched(about: list[Entry]) -> bool:
    return any(isinstance(e.fact, Hatched) for e in about)


def _store_doubts(where: str, fact: Laid, set_at: datetime) -> Iterator[Words]:
    laid, stored = fact.laid_at, fact.stored_days
    days = None if laid is None else (set_at - laid).total_seconds() / DAY_S
    if days is not None and days > STORED_LONG_DAYS:
        yield (f"{where}: laid {days:.0f} days before it was set",)
    elif days is None and stored is not None and stored > STORED_LONG_DAYS:
        yield (f"{where}: {stored:g} days stored, four weeks are long for any egg",)
    if days is not None and stored is not None and abs(days - stored) > STORED_ODD_DAYS:
        yield (f"{where}: {stored:g} days stored, laid {days:.1f} days before it was set",)


def _death_doubts(entry: Entry, stage: str, day: float, *, profile: Profile) -> Iterator[Words]:
    """A death of a later third of the term than its day, as far as that is no matter of words; one in the pip as for the pip."""
    if stage in SIGNS:
        yield from _early_doubts(entry, stage, day, profile=profile)
    elif day < EARLY_SHARE * DIED_FROM.get(stage, 0.0) * profile.hatch_day_first:
        yield (f"{entry.where}: {stage} on day {day_words(day)}, {_hatches(profile)}",)


def _order_doubts(entry: Entry, about: list[Entry]) -> Iterator[Words]:
    """What was found, and what came of it, of one egg, in whichever order it is written: life after an end, and after a candling without any."""
    fact, where = entry.fact, entry.where
    if _is_end(entry):
        later = next(
            (e for e in about if e.at > entry.at and isinstance(e.fact, Candling | Sign | Weighing | AirCell)), None
        )
        if later is not None:
            yield (f"{where}: and {_told(later)} after that (", later.at, ")")
    elif isinstance(fact, Sign | AirCell):
        yield from (
            (f"{where}: seen after it was {e.word} (", e.at, ")") for e in about if _is_end(e) and e.at < entry.at
        )
    if isinstance(fact, Sign | Hatched):
        lifeless = (e for e in about if isinstance(e.fact, Candling) and e.fact.found in NO_LIFE and e.at < entry.at)
        yield from ((f"{where}: and was {_told(e)} before (", e.at, ")") for e in lifeless)
    if isinstance(fact, Candling):
        for e in about:
            if e.at <= entry.at:
                continue
            alive = isinstance(e.fact, Sign | Hatched) and fact.found in NO_LIFE
            if alive or (isinstance(e.fact, Candling) and fact.found in AGAINST.get(e.fact.found, ())):
                yield (f"{where}: {fact.found}, and {_told(e)} later (", e.at, ")")


_OF_CHICK: Mapping[type, str] = {
    ChickMass: "its chick was weighed",
    Brooded: "its chick was in a brooder",
    SignedOff: "signed off",
}


def _is_end(entry: Entry) -> bool:
    """Whether it ends the life in the shell; not where the egg only went on elsewhere, nor a chick that died."""
    return (
        entry.ends
        and not isinstance(entry.fact, Split)
        and not (isinstance(entry.fact, Dead) and entry.fact.stage == AFTER_HATCH)
    )


def _told(entry: Entry) -> str:
    fact = entry.fact
    if isinstance(fact, Candling):
        return f"candled {fact.found}"
    if isinstance(fact, AirCell):
        return "its air cell was drawn"
    if isinstance(fact, OF_CHICK):
        return _OF_CHICK[type(fact)]
    return fact.sign if isinstance(fact, Sign) else "weighed" if isinstance(fact, Weighing) else entry.word


def _weighing_doubts(entry: Entry, about: list[Entry], profile: Profile | None) -> Iterator[Words]:
    weighed = [e for e in about if isinstance(e.fact, Weighing)]
    own_g = typed_error_g((*weighed, entry))
    mass_g, error_g = entry.each_g(own_g)
    before = next((e for e in reversed(weighed) if e.at <= entry.at), None)
    # Two scales differ by more than either scatters, so each is held against itself, whatever was shown by another between.
    same = [e for e in weighed if _scale(e) == _scale(entry)]
    cracks = [e.at for e in about if isinstance(e.fact, Candling) and e.fact.found == CRACKED]
    last = _to_hold_against([e for e in same if e.at <= entry.at], entry, own_g=own_g, cracks=cracks)
    following = next((e for e in same if e.at > entry.at), None)
    for first, second in pairwise([e for e in (last, entry, following) if e is not None]):
        if first.eggs == second.eggs:
            yield from _loss_doubts(entry.where, first, second, own_g=own_g)
    if entry.egg is None and weighed and weighed[0].eggs != entry.eggs:
        yield (f"{entry.where}: {entry.eggs} eggs, the first time {weighed[0].eggs}",)
    for e in about:
        if e.at < entry.at and entry.egg is not None and (e.ends or e.pipped):
            yield (f"{entry.where}: weighed after it was {e.word} (", e.at, ")")
    size = last_size(about)
    if size is not None and entry.egg is not None:
        yield from _against_size(entry.where, mass_g, hoyt(size.length_mm, size.breadth_mm).mass_g)
    elif profile is not None and profile.egg_mass_g is not None and before is None:
        low_g, high_g = profile.egg_mass_g
        if not ODD_MASS[0] * low_g - error_g <= mass_g <= ODD_MASS[1] * high_g + error_g:
            yield (f"{entry.where}: {mass_g:.4g} g an egg, {profile.name} lays {low_g:g} to {high_g:g} g",)


def _to_hold_against(earlier: list[Entry], entry: Entry, *, own_g: float, cracks: Sequence[datetime]) -> Entry | None:
    """The newest weighing that counts; None where there is none. One that does not follow from the one before it, nor this one from it, was a slip of the
    pen; but what an egg lost that had cracked was lost."""

    def odd(first: Entry, second: Entry) -> bool:
        return first.eggs == second.eggs and any(_loss_doubts("", first, second, own_g=own_g))

    while len(earlier) > 1:
        *before, last = earlier
        cracked = any(at <= last.at for at in cracks)
        if cracked or not (odd(before[-1], last) and odd(last, entry)):
            break
        earlier = before
    return earlier[-1] if earlier else None


def _loss_doubts(where: str, first: Entry, second: Entry, *, own_g: float) -> Iterator[Words]:
    (before_g, before_error_g), (after_g, after_error_g) = first.each_g(own_g), second.each_g(own_g)
    # Weighings of one scale differ by dew, draughts, and the way that an egg lies.
    slack_g = 3.0 * (before_error_g**2 + after_error_g**2) ** 0.5 + SCATTER_SHARE * before_g
    days = (second.at - first.at).total_seconds() / DAY_S
    lost_pct = 100.0 * (before_g - after_g) / before_g
    least_g = SLOW_PCT_D / 100.0 * days * before_g
    if after_g > before_g + max(0.0, slack_g - least_g):
        scale = "" if _scale(first) is None else f" on {_scale(first)}"
        yield (f"{where}: {after_g:.4g} g at ", second.at, f", heavier than before ({before_g:.4g} g{scale})")
    elif lost_pct - 100.0 * slack_g / before_g > FAST_PCT_D * days:
        yield (f"{where}: {lost_pct:.1f} % lost in {days:.1f} days, an egg loses about 0.5 to 1 % a day",)


def _scale(entry: Entry) -> str | None:
    return entry.fact.scale if isinstance(entry.fact, Weighing) else None


def _sign_doubts(entry: Entry, seen: list[Entry]) -> Iterator[Words]:
    """Signs of one egg come once, and in their order."""
    for e in seen if entry.egg is not None else ():
        (earlier, _), (later, _) = sorted(((_sign(e), e.at), (_sign(entry), entry.at)), key=lambda pair: pair[1])
        if _sign(e) == _sign(entry):
            yield (f"{entry.where}: {_sign(e)} was seen already, at ", e.at)
        elif e.at != entry.at and SIGNS.index(later) < SIGNS.index(earlier):
            yield (f"{entry.where}: {earlier} before {later}, expected {later} first",)


def _early_doubts(entry: Entry, sign: str, day: float, *, profile: Profile) -> Iterator[Words]:
    """A sign longer before the first normal day of the hatch than any source has it before the chick, and a tenth of the term besides."""
    longest_days = until_hatch(profile.kind, sign).high_h / 24.0
    first = EARLY_SHARE * profile.hatch_day_first - longest_days
    if day < first:
        yield (f"{entry.where}: {sign} on day {day_words(day)}, {_hatches(profile)}",)


def early_stage(batch: Batch, stage: str, at: datetime, *, profile: Profile) -> Words:
    """What should be asked before a stage is declared: the same of the sign that begins it, and a tenth before its day besides; () when nothing is odd.

    stage: lockdown or hatch. The profile must be the batch's own.
    """
    day, (begins_day, first_day) = batch.day(at), (profile.begins_day(stage), profile.hatch_day_first)
    longest_days = until_hatch(profile.kind, DRAW_DOWN if stage == LOCKDOWN else EXTERNAL_PIP).high_h / 24.0
    if day >= min(EARLY_SHARE * begins_day, EARLY_SHARE * first_day - longest_days):
        return ()
    return (f"{stage} on day {day_words(day)}, {_hatches(profile)}",)


def _hatches(profile: Profile) -> str:
    return f"{profile.name} hatches on day {profile.hatch_day_first:g} to {profile.hatch_day_last:g}"


def _sign(entry: Entry) -> str:
    assert isinstance(entry.fact, Sign)
    return entry.fact.sign


def _size_doubts(entry: Entry, size: Size, weighed: list[Entry], *, profile: Profile | None) -> Iterator[Words]:
    by_size_g = hoyt(size.length_mm, size.breadth_mm).mass_g
    if weighed:
        mass_g, _ = weighed[0].each_g()
        yield from _against_size(entry.where, mass_g, by_size_g)
    elif profile is not None and profile.egg_mass_g is not None:
        low_g, high_g = profile.egg_mass_g
        if not ODD_MASS[0] * low_g <= by_size_g <= ODD_MASS[1] * high_g:
            measures = f"{size.length_mm:g} x {size.breadth_mm:g} mm lead to {by_size_g:.2g} g"
            yield (f"{entry.where}: {measures}, {profile.name} lays {low_g:g} to {high_g:g} g",)


def _against_size(where: str, mass_g: float, by_size_g: float) -> Iterator[Words]:
    # An egg has lost up to a fifth at the end of its term, so only the heavier side is held to the narrow share.
    if not (1.0 - 2.0 * ODD_SIZE_SHARE) * by_size_g <= mass_g <= (1.0 + ODD_SIZE_SHARE) * by_size_g:
        yield (f"{where}: weighs {mass_g:.4g} g, its length and breadth lead to {by_size_g:.4g} g",)


def _candling_doubts(entry: Entry, found: str, about: list[Entry]) -> Iterator[Words]:
    if entry.egg is None:
        return
    for e in about:
        if isinstance(e.fact, Candling) and e.at < entry.at and e.fact.found in AGAINST.get(found, ()):
            yield (f"{entry.where}: {found}, and was {e.fact.found} before (", e.at, ")")
        elif e.ends and e.at < entry.at:
            yield (f"{entry.where}: candled after it was {e.word} (", e.at, ")")
