"""`eggroom review` and `eggroom outcomes`: reads arguments, calls one function, prints."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator, Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from monitor.cli import main as cli
from monitor.cli.archive import add_archive_option, print_kept_review
from monitor.cli.main import Failed, Wrong
from monitor.cli.typed import typed_amount, typed_finding, typed_whole

if TYPE_CHECKING:
    from monitor.analysis.across.looked_at import LookedAt

_BY = ("machine", "species", "season")
LIST = "list"


def add_review_commands(commands: Any) -> None:
    """Add both to the command line."""
    help_ = "what was found in a batch's eggs, each published cause of it asked of the record"
    review = cli._command(commands, "review", _review, help_)
    review.add_argument("batch", nargs="?", default=None)
    add_archive_option(review)
    review.add_argument("--egg", type=typed_whole, default=None, metavar="N", help="only what was found in this one")
    review.add_argument("--finding", default=None, metavar="F", help="only this one, written or not")
    review.add_argument("--html", type=Path, default=None, metavar="FILE", help="a page to read and to print")
    help_ = "how the closed batches ended, and what their air goes together with"
    outcomes = cli._command(commands, "outcomes", _outcomes, help_)
    outcomes.add_argument("--species", default=None, metavar="PROFILE", help="only this one; see eggroom profiles")
    outcomes.add_argument("--by", choices=_BY, default=None, help="each of them by itself, and against the others")
    help_ = "what goes together with this one, in place of how batches ended"
    outcomes.add_argument("--finding", default=None, metavar="F", help=help_)
    help_ = f"only this is looked at in the air; more than once for more; {LIST} shows all"
    outcomes.add_argument("--exposure", action="append", default=[], metavar="E", help=help_)
    for each in (review, outcomes):
        each.add_argument(
            "--good", type=typed_amount, default=None, metavar="PERCENT",
            help="of the fertile eggs, from which on a batch went well (default: 75)",
        )  # fmt: skip


def _review(options: Any) -> int:
    from monitor.analysis.review.judged import shipped_causes
    from monitor.service.reports.batch import NoRecord
    from monitor.service.reports.review import batch_review
    from monitor.shown.form import Shown
    from monitor.shown.review.whole import whole_json, whole_text

    if options.archive is not None or options.batch is None:
        return print_kept_review(options)
    house = cli._house(options)
    batch = cli._one_batch(house, options.batch)
    if batch.profile not in house.site.profiles:
        raise Failed(f"batch {batch.id}: profile {batch.profile!r} is not among the profiles, expected its file")
    if options.finding is not None:
        typed_finding(options.finding)
    if options.egg is not None:
        _check_egg(house, batch, options.egg)
    catalogue, shown = shipped_causes(), Shown(house.site.zone, house.site.unit)
    asked = {"finding": options.finding, "egg": options.egg, "good_share": _share(options)}
    try:
        with _history(house) as history:
            whole = batch_review(history, house.site, batch, datetime.now(UTC), catalogue, **asked)
    except NoRecord as error:
        raise Failed(str(error)) from error
    if options.html is not None:
        from monitor.shown.review.whole import whole_html

        cli._write(options.html, whole_html(whole, catalogue, shown))
    data = whole_json(whole, catalogue)
    cli.print_or_written(options, [options.html], data, lambda: whole_text(whole, catalogue, shown).rstrip())
    return cli.DONE


def _check_egg(house: Any, batch: Any, egg: int) -> None:
    from monitor.domain.eggs.book import went_on

    with _history(house) as history:
        into = went_on(history.book(batch), egg)
    if into is not None:
        raise Wrong(f"batch {batch.id}: egg {egg} went on as batch {into}, expected that batch")
    if not batch.has(egg):
        raise Wrong(f"batch {batch.id}: egg {egg}, expected {batch.numbers_words}")


def _outcomes(options: Any) -> int:
    from monitor.analysis.across.looked_at import every_one
    from monitor.analysis.review.judged import shipped_causes
    from monitor.service.reports.together import across_batches
    from monitor.shown.outcomes import outcomes_json, outcomes_text

    house, share, catalogue = cli._house(options), _share(options), shipped_causes()
    every = every_one(catalogue, house.site.unit)
    if LIST in options.exposure:
        cli._print(options, *_exposures(every))
        return cli.DONE
    _known(options, every)
    asked = {"by": options.by, "finding": options.finding, "exposures": options.exposure, "good_share": share}
    with _history(house) as history:
        species = {b.profile for b in history.batches()}
        if options.species is not None and options.species not in {*house.site.profiles, *species}:
            raise Wrong(
                f"species {options.species!r}: no such profile, expected one of: {', '.join(sorted(species)) or 'none yet'}"
            )
        now = datetime.now(UTC)
        across = across_batches(history, house.site, catalogue, now, species=options.species, **asked)
    cli._print(options, outcomes_json(across), outcomes_text(across).rstrip())
    return cli.DONE


def _exposures(every: Mapping[str, LookedAt]) -> tuple[list[dict[str, str]], str]:
    """All that can be looked at, as values and as text."""
    from monitor.analysis.across.looked_at import USUAL
    from monitor.domain.wall import filled

    width = max(map(len, every))
    lines = [f"  {each.id:<{width}}{'*' if each.id in USUAL else ' '} {each.words}" for each in every.values()]
    text = "\n".join(["WHAT CAN BE LOOKED AT (* unless --exposure or --finding says otherwise)", *map(filled, lines)])
    return [{"id": each.id, "words": each.words} for each in every.values()], text


def _known(options: Any, every: Mapping[str, LookedAt]) -> None:
    """Raises Wrong for a finding or an exposure that is none, and for a share that would play no part."""
    if options.finding is not None:
        typed_finding(options.finding)
    if options.finding is not None and options.good is not None:
        raise Wrong("--good and --finding: expected one of them; with a finding no batch went well or not")
    for each in options.exposure:
        if each not in every:
            raise Wrong(f"exposure {each!r:.60}: expected {LIST}, or one of: {', '.join(every)}")


def _share(options: Any) -> float:
    from monitor.service.reports.outcomes import WENT_WELL_SHARE

    if options.good is None:
        return WENT_WELL_SHARE
    if not 0.0 < options.good <= 100.0:
        raise Wrong(f"--good {options.good:g}: expected above 0 to 100, per cent of the fertile eggs")
    return float(options.good) / 100.0


@contextlib.contextmanager
def _history(house: Any) -> Iterator[Any]:
    """The record, closed afterwards; what it cannot do is one line."""
    from monitor.service.ports import StoreFailure

    try:
        with contextlib.closing(cli._history_of(house)) as history:
            yield history
    except StoreFailure as error:
        raise Failed(str(error)) from error
