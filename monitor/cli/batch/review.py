"""`eggroom review` and `eggroom outcomes`: what was found in a batch's eggs, and what goes together across batches."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path

from monitor.adapters.tables.causes import shipped_causes
from monitor.analysis.across.looked_at import USUAL, LookedAt, every_one
from monitor.cli.frame import (
    Asked,
    Failed,
    Parsers,
    Wrong,
    check_files,
    columns,
    command,
    show,
    show_or_written,
    write_file,
)
from monitor.cli.record import Reported, add_archive_option, archived, house_of, one_batch, opened, profile_of
from monitor.cli.typed import typed_amount, typed_finding, typed_whole
from monitor.domain.eggs.book import EggBook, went_on
from monitor.domain.fixed import fixed
from monitor.domain.refusal import one_of
from monitor.domain.wall import filled, printable
from monitor.service.across.outcomes import WENT_WELL_SHARE
from monitor.service.across.review import batch_review
from monitor.service.across.together import BY, across_batches
from monitor.service.reports.batch import NoRecord
from monitor.shown.form import Shown
from monitor.shown.outcomes import Told, looked_at_words, outcomes_json, outcomes_text
from monitor.shown.review.whole import brief_text, whole_html, whole_json, whole_text

LIST = "list"
STAGES = {"-setter": "-incubation", "-hatcher": "-lockdown"}


@fixed(kw_only=True)
class Review(Reported):
    """review"""

    egg: int | None
    finding: str | None
    html: Path | None
    good: float | None
    full: bool
    sure: bool


@fixed(kw_only=True)
class Outcomes(Asked):
    """outcomes"""

    species: str | None
    by: str | None
    finding: str | None
    exposure: list[str]
    good: float | None


def add(parsers: Parsers) -> None:
    """Say what both take."""
    review = command(parsers["review"], _review, Review)
    review.add_argument("batch", nargs="?", default=None)
    add_archive_option(review)
    review.add_argument("--egg", type=typed_whole, default=None, metavar="N", help="only what was found in this one")
    review.add_argument("--finding", default=None, metavar="F", help="only this one, written or not")
    review.add_argument("--html", type=Path, default=None, metavar="FILE", help="a page to read and to print")
    review.add_argument("--full", action="store_true", help="every cause, with its figures and its source")
    review.add_argument("--sure", action="store_true", help="write over a file that is there")
    outcomes = command(parsers["outcomes"], _outcomes, Outcomes)
    outcomes.add_argument("--species", default=None, metavar="PROFILE", help="only this one; see eggroom profiles")
    outcomes.add_argument("--by", choices=BY, default=None, help="each of them by itself, and against the others")
    help_ = "what goes together with this one, in place of how batches ended"
    outcomes.add_argument("--finding", default=None, metavar="F", help=help_)
    help_ = f"only this is looked at in the air; more than once for more; {LIST} shows all"
    outcomes.add_argument("--exposure", action="append", default=[], metavar="E", help=help_)
    help_ = "of the fertile eggs, from which on a batch went well (default: 75)"
    for each in (review, outcomes):
        each.add_argument("--good", type=typed_amount, default=None, metavar="PERCENT", help=help_)


def _review(options: Review) -> int:
    check_files((options.html,), json_wanted=options.json, sure=options.sure)
    if options.archive is not None:
        return _kept_review(options, options.archive)
    if options.batch is None:
        raise Wrong("review: no batch, expected BATCH or --archive FILE")
    house, catalogue = house_of(options.config), shipped_causes()
    site, shown = house.site, Shown(house.site.zone, house.site.unit)
    with opened(house) as history:
        batch = one_batch(history, options.batch)
        profile_of(site, batch)
        if options.finding is not None:
            typed_finding(options.finding)
        if options.egg is not None:
            _check_egg(history.book(batch), options.egg)
        share = _share(options.good)
        try:
            whole = batch_review(
                history, site, batch, now=options.utc(), catalogue=catalogue,
                finding=options.finding, egg=options.egg, good_share=share,
            )  # fmt: skip
        except NoRecord as error:
            raise Failed(str(error)) from error
    if options.html is not None:
        write_file(options.html, whole_html(whole, catalogue, shown))
    data, told = whole_json(whole, catalogue), whole_text if options.full else brief_text
    return show_or_written(
        options.json,
        [options.html],
        data=data,
        text=lambda: told(whole, catalogue, shown, columns=columns()).rstrip(),
    )


def _kept_review(options: Review, file: Path) -> int:
    """Print the review that the archive brings, as `eggroom review` printed it when the archive was made. Raises Wrong.

    It is not worked out anew: the batches that stood beside this one are not in its archive.
    """
    if any(x is not None for x in (options.egg, options.finding, options.good)):
        raise Wrong(
            "review: --archive brings one review, as it was made, expected nothing beside it but --json and --html"
        )
    kept = archived(file, options.batch).kept
    try:
        data = json.loads(kept["review.json"])
    except (ValueError, RecursionError) as error:
        raise Wrong(f"{file}: review.json: {error}, expected what `eggroom archive` writes") from error
    if options.html is not None:
        write_file(options.html, kept["review.html"])
    lines = kept["review.txt"].removesuffix("\n").split("\n")  # it comes from anywhere
    return show_or_written(options.json, [options.html], data=data, text=lambda: "\n".join(map(printable, lines)))


def _check_egg(book: EggBook, egg: int) -> None:
    batch, into = book.batch, went_on(book, egg)
    if into is not None:
        raise Wrong(f"batch {batch.id}: egg {egg} went on as batch {into}, expected that batch")
    if not batch.has(egg):
        raise Wrong(f"batch {batch.id}: egg {egg}, expected {batch.numbers_words}")


def _outcomes(options: Outcomes) -> int:
    house, share, catalogue = house_of(options.config), _share(options.good), shipped_causes()
    every = every_one(catalogue)
    if LIST in options.exposure:
        return show(options.json, *_exposures(every, house.site.unit))
    chosen = _chosen(options, every)
    with opened(house) as history:
        species = {b.profile for b in history.batches()}
        if options.species is not None and options.species not in {*house.site.profiles, *species}:
            raise Wrong(f"species {options.species!r}: no such profile, {one_of(options.species, sorted(species))}")
        across = across_batches(
            history, house.site, catalogue=catalogue, now=options.utc(), species=options.species,
            by=options.by, finding=options.finding, exposures=chosen, good_share=share,
        )  # fmt: skip
    told = Told.of(across, house.site.unit, house.site.zone)
    return show(options.json, outcomes_json(told), outcomes_text(told, columns=columns()).rstrip())


def _exposures(every: Mapping[str, LookedAt], unit: str) -> tuple[list[dict[str, str]], str]:
    """All that can be looked at, as values and as text."""
    width = max(len(_called(id_)) for id_ in every)
    told = {id_: looked_at_words(each, unit) for id_, each in every.items()}
    lines = [f"  {_called(id_):<{width}}{'*' if id_ in USUAL else ' '} {words}" for id_, words in told.items()]
    text = "\n".join(["WHAT CAN BE LOOKED AT (* unless --exposure or --finding says otherwise)", *map(filled, lines)])
    return [{"id": id_, "words": words} for id_, words in told.items()], text


def _called(id_: str) -> str:
    """What is looked at as people type it, by the stage's name; the record and programs have a machine's."""
    for of_machine, of_stage in STAGES.items():
        if id_.endswith(of_machine):
            return id_.removesuffix(of_machine) + of_stage
    return id_


def _chosen(options: Outcomes, every: Mapping[str, LookedAt]) -> list[str]:
    """What is looked at, as the record calls it. Raises Wrong for a finding or an exposure that is none, and for a share that would play no part."""
    if options.finding is not None:
        typed_finding(options.finding)
    if options.finding is not None and options.good is not None:
        raise Wrong("--good and --finding: expected one of them; with a finding no batch went well or not")
    called = {_called(id_): id_ for id_ in every}
    for each in options.exposure:
        if each not in called and each not in every:
            raise Wrong(f"exposure {each!r:.60}, {one_of(each, [*called, LIST])}")
    return [called.get(each, each) for each in options.exposure]


def _share(good_pct: float | None) -> float:
    if good_pct is None:
        return WENT_WELL_SHARE
    if not 0.0 < good_pct <= 100.0:
        raise Wrong(f"--good {good_pct:g}: expected above 0 to 100, per cent of the fertile eggs")
    return good_pct / 100.0
