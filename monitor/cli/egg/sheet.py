"""`eggroom egg sheet`: what became of one egg, its life on one drawing, and how sure that is."""

from __future__ import annotations

from pathlib import Path

from monitor.adapters.tables.causes import shipped_causes
from monitor.cli.frame import PROGRAM, Wrong, check_files, columns, show_or_written, write_file
from monitor.cli.record import Reported, looked_at
from monitor.cli.record import sheet as found_sheet
from monitor.domain.eggs.book import knows
from monitor.domain.fixed import fixed
from monitor.shown.form import Shown
from monitor.shown.sheet.report import Made, sheet_html, sheet_json, sheet_text


@fixed(kw_only=True)
class Sheeted(Reported):
    """egg sheet"""

    egg: int
    html: Path | None
    sure: bool


def sheet(options: Sheeted) -> int:
    """The sheet as text, values or a page. Raises Wrong and Failed."""
    check_files((options.html,), json_wanted=options.json, sure=options.sure)
    catalogue = shipped_causes()
    with looked_at(options) as looked:
        if not knows(looked.history.book(looked.batch), options.egg):
            raise Wrong(f"batch {looked.batch.id}: egg {options.egg}, expected {looked.batch.numbers_words}")
        found = found_sheet(looked, options.egg, catalogue)
    shown = Shown(looked.site.zone, looked.site.unit)
    made = Made(PROGRAM, shown.time(looked.now))
    if options.html is not None:
        write_file(options.html, sheet_html(found, catalogue, shown, made=made))
    return show_or_written(
        options.json,
        [options.html],
        data=sheet_json(found, catalogue, shown),
        text=lambda: sheet_text(found, catalogue, shown, columns=columns(), made=made).rstrip(),
    )
