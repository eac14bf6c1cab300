"""`eggroom batch ...`: set, move, split, declare, list and close. Reads arguments, asks, prints."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from monitor.cli import main as cli
from monitor.cli.egg import AnyOrder, add_split_command, judge_anew


def add_batch_commands(commands: Any) -> None:
    """Add `batch` and its verbs to the command line."""
    batch = commands.add_parser("batch", help="set, move, split, list and close batches")
    verbs = batch.add_subparsers(dest="verb", required=True, metavar="VERB", parser_class=AnyOrder)
    add = cli._command(verbs, "add", _batch_add, "eggs set together")
    add.add_argument("batch", metavar="NAME", help="a-z, 0-9 and -, such as hen-1")
    add.add_argument("--species", required=True, metavar="PROFILE", help="see eggroom profiles")
    add.add_argument("--machine", default=None)
    add.add_argument("--set", dest="set_at", default="now", metavar="TIME", help="when incubation began (default: now)")
    add.add_argument("--eggs", type=int, default=None)
    add.add_argument("--note", default="")
    listing = cli._command(verbs, "list", _batch_list, "the batches")
    listing.add_argument("--all", action="store_true", help="closed ones too")
    show = cli._command(verbs, "show", _batch_show, "one batch")
    show.add_argument("batch")
    move = cli._command(verbs, "move", _batch_move, "to another machine")
    move.add_argument("batch")
    move.add_argument("machine")
    move.add_argument("--at", default="now", metavar="TIME")
    add_split_command(verbs)
    stage = cli._command(verbs, "stage", _batch_stage, "declare a stage early: draw-down or pip seen")
    stage.add_argument("batch")
    stage.add_argument("stage", choices=("lockdown", "hatch"))
    stage.add_argument("--at", default="now", metavar="TIME")
    stage.add_argument("--take-back", action="store_true", help="it was declared by mistake: it comes on its day")
    close = cli._command(verbs, "close", _batch_close, "the hatch is over")
    close.add_argument("batch")
    close.add_argument("--at", default="now", metavar="TIME")
    reopen = cli._command(verbs, "reopen", _batch_reopen, "it was closed by mistake: back where it was")
    reopen.add_argument("batch")


def _batch_add(options: Any) -> int:
    house = cli._house(options)
    request = {
        "do": "batch-add", "batch": options.batch, "profile": options.species, "machine": options.machine,
        "set_at": cli._when(options.set_at, house.site.zone), "eggs": options.eggs, "note": options.note,
    }  # fmt: skip
    return cli._did(options, house, request, "batch {id}: {profile}, day {day}, in {machine}")


def _batch_move(options: Any) -> int:
    house = cli._house(options)
    at = cli._when(options.at, house.site.zone)
    request = {"do": "move", "batch": options.batch, "machine": options.machine, "at": at}
    return cli._did(options, house, request, "batch {id}: now in {machine}, day {day}")


def _batch_stage(options: Any) -> int:
    house = cli._house(options)
    at = cli._when(options.at, house.site.zone)
    request = {"do": "stage", "batch": options.batch, "stage": options.stage, "at": at, "back": options.take_back}
    did = "taken back" if options.take_back else "declared"
    return cli._did(options, house, request, f"batch {{id}}: {options.stage} {did}, day {{day}}")


def _batch_close(options: Any) -> int:
    house = cli._house(options)
    request = {"do": "close", "batch": options.batch, "at": cli._when(options.at, house.site.zone)}
    return cli._did(options, house, request, "batch {id}: closed on day {day}; its record stays")


def _batch_reopen(options: Any) -> int:
    house = cli._house(options)
    request = {"do": "reopen", "batch": options.batch}
    done = cli._did(options, house, request, "batch {id}: open again, day {day}, in {machine}")
    judge_anew(house, options.batch)  # the alarm of its weights ended when it was closed
    return done


def _batch_list(options: Any) -> int:
    from monitor.service.watch.commands import batch_view
    from monitor.shown.terminal import batch_table

    house = cli._house(options)
    now = datetime.now(UTC)
    known = list(cli._history_of(house).batches())
    batches = [b for b in known if options.all or b.closed_at is None]
    views = [batch_view(b, now) for b in batches]
    text = batch_table(views, house.site, now)
    if known and not batches:
        text = f"no open batch; {len(known)} closed: eggroom batch list --all"
    cli._print(options, views, text)
    return cli.DONE


def _batch_show(options: Any) -> int:
    from monitor.domain.wall import filled
    from monitor.service.reports.batch import batch_development
    from monitor.service.watch.commands import batch_view
    from monitor.shown.form import Shown
    from monitor.shown.history.development import development_lines, development_record
    from monitor.shown.terminal import batch_text

    house = cli._house(options)
    now = datetime.now(UTC)
    batch = cli._one_batch(house, options.batch)
    found = batch_development(cli._history_of(house), house.site, batch, now)
    view = batch_view(batch, now) | {"development": None if found is None else development_record(found)}
    lines = [] if found is None else development_lines(found, Shown(house.site.zone, house.site.unit))
    text = "\n".join([batch_text(batch, house.site, now), *(filled(f"  {line}") for line in lines)])
    cli._print(options, view, text)
    return cli.DONE
