"""What the commands work on: the configuration, the record, the running daemon behind its door, and an archive in the record's place."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import field
from datetime import datetime, tzinfo
from pathlib import Path
from typing import TYPE_CHECKING

from monitor.adapters.door import DoorClosed, DoorSilent, ask_door, check_door
from monitor.adapters.store.connection import OlderRecord
from monitor.app import Offline, StartError, door_path, open_history, store_path
from monitor.cli.frame import Asked, Failed, Parser, Utc, Wrong, agreed, at_terminal, columns, tell
from monitor.domain.fixed import fixed
from monitor.domain.needs.batch import Batch, day_words
from monitor.domain.needs.profile import Profile
from monitor.domain.needs.site import Site
from monitor.domain.refusal import Sure, one_of, sure_words
from monitor.domain.wall import filled, sheet_time
from monitor.service.ports import Answer as Answer
from monitor.service.ports import Contact, StoreFailure
from monitor.settings import House, SettingsError, load_house, load_house_and_contacts

if TYPE_CHECKING:
    from monitor.adapters.archive.history import ArchivedHistory
    from monitor.adapters.store.history import SqliteHistory
    from monitor.domain.eggs.book import EggBook
    from monitor.domain.published.causes import Catalogue
    from monitor.service.across.sheet import Sheet
    from monitor.service.reports.chick import Raised
    from monitor.service.reports.turning import Turned
    from monitor.service.reports.weighed import Water


def house_of(config: Path) -> House:
    """The configuration. Raises Wrong with a line for each complaint."""
    try:
        return load_house(config)
    except SettingsError as error:
        raise Wrong(str(error)) from error


def house_and_contacts_of(config: Path) -> tuple[House, tuple[Contact, ...]]:
    """The configuration, and whom to tell with their secret addresses. Raises Wrong with a line for each complaint."""
    try:
        return load_house_and_contacts(config)
    except SettingsError as error:
        raise Wrong(str(error)) from error


# --- the record

OF_BEFORE = "The daemon that runs is of before the upgrade: sudo systemctl restart eggroom. Nothing was written."


@contextlib.contextmanager
def opened(house: House) -> Iterator[SqliteHistory]:
    """The record, closed afterwards; what it cannot do is one line. Raises Failed."""
    try:
        with contextlib.closing(open_history(house)) as history:
            yield history
    except StoreFailure as error:
        first = "" if begun(house) else ": sudo systemctl start eggroom"
        raise Failed(f"{error}{first}") from error


def begun(house: House) -> bool:
    """Whether there is a record; before the first start and the first thing written there is none."""
    try:
        return store_path(house).exists()
    except OSError:  # a folder that is not for us to look into
        return True


def one_batch(history: SqliteHistory, name: str) -> Batch:
    """The batch of that name. Raises Wrong."""
    return _named(history.batches(), name)


def _named(batches: Sequence[Batch], name: str) -> Batch:
    for batch in batches:
        if batch.id == name:
            return batch
    raise Wrong(f"batch {name!r}: no such batch, {one_of(name, [b.id for b in batches])}")


def site_of(site: Site, history: SqliteHistory, batch: Batch, *, now: datetime) -> Site:
    """The site that knows what the batch's eggs needed: where their profile is a file no longer, as the record has it."""
    if batch.profile in site.profiles:
        return site
    from monitor.service.reports.batch import (
        site_at_end,  # here, and not above: hardly ever needed, and with it comes numpy
    )

    return site_at_end(history, site, batch, now=now)


def profile_of(site: Site, batch: Batch) -> Profile:
    """What the batch's eggs need. Raises Failed."""
    if batch.profile not in site.profiles:
        raise Failed(f"batch {batch.id}: profile {batch.profile!r} is not among the profiles, expected its file")
    return site.profiles[batch.profile]


# --- one batch to report on, out of the record or of an archive


@fixed(kw_only=True)
class Reported(Asked):
    """What a report on one batch is given."""

    command: str
    batch: str | None
    archive: Path | None


@fixed
class Looked:
    """One batch to report on: out of the record now, or out of an archive as it was. kept: the reports that the archive brings, by name. batches: of the whole record."""

    site: Site
    history: SqliteHistory | ArchivedHistory
    batch: Batch
    now: datetime
    kept: Mapping[str, str] = field(default_factory=dict)
    program: str = ""
    batches: Sequence[Batch] = ()


def add_archive_option(parser: Parser) -> None:
    """Add --archive to a command that reports on one batch."""
    help_ = "read from a file that `eggroom archive` wrote; no configuration is needed"
    parser.add_argument("--archive", type=Path, default=None, metavar="FILE", help=help_)


@contextlib.contextmanager
def looked_at(options: Reported) -> Iterator[Looked]:
    """The batch that is asked for, its record closed afterwards. Raises Wrong and Failed."""
    if options.archive is not None:
        looked = archived(options.archive, options.batch)
        with _whole(options.archive):
            yield looked
        return
    if options.batch is None:
        raise Wrong(f"{options.command}: no batch, expected BATCH or --archive FILE")
    house = house_of(options.config)
    with opened(house) as history:
        batches, now = history.batches(), options.utc()
        batch = _named(batches, options.batch)
        yield Looked(site_of(house.site, history, batch, now=now), history, batch, now, batches=batches)


@contextlib.contextmanager
def _whole(file: Path) -> Iterator[None]:
    """What a report says of an archive of which each part is right and the whole cannot be, such as eggs in two machines at once. No program
    writes one; a person may, under right checksums. Raises Wrong."""
    try:
        yield
    except (
        ArithmeticError,
        AssertionError,
        AttributeError,
        LookupError,
        TypeError,
        ValueError,
        RecursionError,
    ) as error:
        why = " ".join(f"{type(error).__name__}: {error}".split())[:160]
        raise Wrong(f"{file}: its parts do not go together ({why}), expected what `eggroom archive` writes") from error
    except MemoryError as error:
        raise Failed(f"{file}: more than there is memory for") from error


def archived(file: Path, name: str | None) -> Looked:
    """The batch of an archive, which must be that of the name, if one is given. Raises Wrong."""
    # Here, and not above: only reports out of an archive need it, and with it comes numpy.
    from monitor.adapters.archive.container import ArchiveError
    from monitor.adapters.archive.contents import read_archive
    from monitor.adapters.archive.history import ArchivedHistory

    try:
        found = read_archive(file)
    except ArchiveError as error:
        raise Wrong(str(error)) from error
    archive = found.archive
    if name not in (None, archive.batch.id):
        raise Wrong(f"{file}: the archive of {archive.batch.id}, expected that of {name}")
    return Looked(
        site=archive.site,
        history=ArchivedHistory(archive),
        batch=archive.batch,
        now=archive.as_of,
        kept=found.kept,
        program=found.program,
    )


# --- the daemon


class Hangs(Failed):
    """A daemon has the record, and does not answer: whatever else it is asked takes as long."""


def ask(house: House, request: Mapping[str, object], *, said_so: bool = False) -> Answer:
    """Ask the running daemon; where none runs, do it on the record itself, and say that nobody is watching. What is refused only as long as
    nobody said that it is sure is asked of the person at the terminal. For what is only looked at see `watching.ask_daemon`. Raises Wrong for a
    no, Failed when it cannot be done.

    Parameters
        said_so: whether it has been said already that nobody is watching.
    """
    answer, alone = _answered(house, request)
    words = answer.get("words", [])
    known = [part for part in words if not (isinstance(part, dict) and "sure" in part)]  # that is asked about here
    if known != words and request.get("sure") is False and at_terminal():
        tell(_said_no({**answer, "words": known}, house.site.zone))
        if not agreed("do it all the same?"):
            raise Failed("nothing was changed")
        answer, alone = _answered(house, {**request, "sure": True})
    done(answer, house.site.zone)
    if alone and not said_so:
        from monitor.shown.now.alarms import WRITTEN_ALONE  # here, and not above: as below

        tell(filled(WRITTEN_ALONE, columns()))
    return answer


def _same_program(house: House) -> None:
    """See, before anything is asked for, that the daemon that runs is not of before an upgrade: it would write, and what it wrote could not be read.
    Raises Failed."""
    try:
        open_history(house).close()
    except OlderRecord as error:
        with contextlib.suppress(DoorClosed):
            check_door(door_path(house))
            raise Failed(f"{OF_BEFORE}\n({error})") from error
    except StoreFailure:
        pass  # whoever needs it says so


def _answered(house: House, request: Mapping[str, object]) -> tuple[Answer, bool]:
    """(the answer, whether it was done without a daemon)."""
    _same_program(house)
    try:
        return ask_door(door_path(house), request), False
    except DoorSilent as error:
        from monitor.shown.now.alarms import HANGS  # here, and not above: hardly ever needed

        raise Hangs(f"{HANGS}\nwhether this was written is not known: see when it runs again") from error
    except DoorClosed:
        try:
            with Offline(house) as offline:
                return offline.ask(request), True
        except (StoreFailure, StartError) as error:
            raise Failed(str(error)) from error


def said(answer: Answer, words: str) -> str:
    """An answer put into words with places for its values."""
    values = {k: "no machine" if v is None else v for k, v in answer.items()}
    if "day" in answer:
        values["day"] = day_words(answer["day"])
    return words.format(**values)


def done(answer: Answer, zone: tzinfo) -> Answer:
    """The answer. A no is in words, and its times are those on the wall, as they were typed."""
    if "error" in answer:
        raise (Failed if answer.get("failed") else Wrong)(_said_no(answer, zone))
    return answer


def _said_no(answer: Answer, zone: tzinfo) -> str:
    return "".join(_on_the_wall(part, zone) for part in answer.get("words", [answer["error"]]))


def _on_the_wall(part: str | Mapping[str, str], zone: tzinfo) -> str:
    if isinstance(part, str):
        return part
    if "sure" in part:
        return sure_words(Sure(part["sure"]))
    try:
        return sheet_time(datetime.fromisoformat(part["at"]), zone)
    except (ValueError, OverflowError):  # at the end of the calendar a zone may lead beyond it
        return part["at"]


# --- what the weighings say, and having it judged


def book_and_water(looked: Looked, *, only_book: bool = False) -> tuple[EggBook, Water | None]:
    """(book, water) of a batch; the water only where it is asked for and the batch's species is known. Raises Failed."""
    # Here, and not above: with it comes numpy, which most commands do without.
    from monitor.service.reports.water import water_of
    from monitor.service.reports.weighed import NoWater

    try:
        book = looked.history.book(looked.batch)
        if only_book:
            return book, None
        return book, water_of(looked.history, looked.site, book, now=looked.now, batches=looked.batches)
    except NoWater:
        return book, None
    except StoreFailure as error:
        raise Failed(str(error)) from error


def grown(looked: Looked, book: EggBook, egg: int) -> Raised | None:
    """What became of the chick of an egg, with the air of its brooder. Raises Failed."""
    from monitor.service.reports.chick import raised  # here, and not above: with it comes numpy

    try:
        return raised(looked.history, looked.site, book, egg=egg)
    except StoreFailure as error:
        raise Failed(str(error)) from error


def turns(looked: Looked, book: EggBook, egg: int | None = None) -> Turned | None:
    """How often the eggs were turned. Raises Failed."""
    from monitor.service.reports.turning import turned  # here, and not above: as above

    try:
        return turned(looked.history, looked.site, book, now=looked.now, egg=egg)
    except StoreFailure as error:
        raise Failed(str(error)) from error


def sheet(looked: Looked, egg: int, catalogue: Catalogue) -> Sheet:
    """All that the sheet of an egg shows. Out of the record alone: an archive brings no alarms and no other batches along. Raises Failed."""
    from monitor.adapters.store.history import SqliteHistory
    from monitor.service.across.sheet import sheet_of  # here, and not above: as above
    from monitor.service.reports.batch import NoRecord

    assert isinstance(looked.history, SqliteHistory)
    try:
        return sheet_of(looked.history, looked.site, looked.batch, egg=egg, now=looked.now, catalogue=catalogue)
    except (NoRecord, StoreFailure) as error:
        raise Failed(str(error)) from error


def weighed_now(house: House, name: str, utc: Utc, *, only_book: bool = False) -> tuple[EggBook, Water | None]:
    """The same of a batch by its name, as the record is now. Raises Wrong and Failed."""
    with opened(house) as history:
        batches = history.batches()
        looked = Looked(house.site, history, _named(batches, name), utc(), batches=batches)
        return book_and_water(looked, only_book=only_book)
