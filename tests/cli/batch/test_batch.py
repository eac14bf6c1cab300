"""`eggroom batch ...` on the record itself, while no daemon runs."""

from __future__ import annotations

import io
import re
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from monitor.cli import frame
from monitor.domain.needs.batch import Batch, declared
from monitor.service.watch.commands import batch_view
from monitor.settings import load_house
from monitor.shown.terminal import batch_table
from tests.cli.commands import Capture, ok, told
from tests.running import ROOT, query, set_days_ago, typed


def test_a_batch_from_setting_to_closing(capsys: Capture, config: Path) -> None:
    """Without a daemon a batch is set, moved, declared, listed, shown and closed on the record itself."""
    add = [
        "batch",
        "add",
        "hen-1",
        "--species",
        "chicken",
        "--machine",
        "setter-1",
        "--set",
        set_days_ago(17),
        "--eggs",
        "24",
    ]
    assert (
        ok(capsys, *add, "--note", "from the old hens", config=config)
        == "batch hen-1: chicken, day 17.0, in setter-1\n"
    )
    moved = told(capsys, "batch", "move", "hen-1", "hatcher-1", config=config)
    assert (moved["machine"], len(moved["stays"])) == ("hatcher-1", 2)
    assert (
        ok(capsys, "batch", "stage", "hen-1", "lockdown", config=config) == "batch hen-1: lockdown declared, day 17.0\n"
    )
    rows = told(capsys, "batch", "list", config=config)
    assert [row.keys() for row in rows] == [
        {
            "id",
            "profile",
            "set_at",
            "day",
            "eggs",
            "numbers",
            "split_from",
            "note",
            "machine",
            "stays",
            "declared",
            "closed_at",
        }
    ]
    assert "hen-1            chicken             17.0  lockdown      24  hatcher-1" in ok(
        capsys, "batch", "list", config=config
    )
    shown = ok(capsys, "batch", "show", "hen-1", config=config)
    assert "from the old hens" in shown
    assert shown.count("lockdown") == 1  # that it was declared; the day that the profile gives is past
    assert "  lockdown declared" in shown
    one = told(capsys, "batch", "show", "hen-1", config=config)
    assert one.pop("development")["hours_recorded"] == 0.0
    assert one | {"day": 0} == rows[0] | {"day": 0}
    assert (
        ok(capsys, "batch", "close", "hen-1", "--sure", config=config)
        == "batch hen-1: closed on day 17.0; its record stays\n"
    )
    assert "no open batch" in ok(capsys, "batch", "list", config=config)
    assert [row["id"] for row in told(capsys, "batch", "list", "--all", config=config)] == ["hen-1"]
    assert ok(capsys, "alarms", config=config) == "Nothing stood.\n"
    assert told(capsys, "alarms", config=config) == []


@pytest.mark.parametrize("second", [0, 1, 20, 41, 42, 43])
def test_a_stage_shows_as_soon_as_it_is_declared(second: int) -> None:
    """`batch list` shows a declared stage from its very second on, at whatever fraction of a day that is."""
    at = datetime(2026, 3, 18, 6, 0, second, tzinfo=UTC)
    batch = declared(Batch("hen-1", "chicken", datetime(2026, 3, 1, 6, 0, tzinfo=UTC)), "lockdown", at)
    site = load_house(ROOT / "deploy" / "eggroom.toml").site
    assert " lockdown " in batch_table([batch_view(batch, at)], site, at)


def test_the_wall_clock_is_that_of_the_site(capsys: Capture, config: Path) -> None:
    """What a person reads off the wall in the house's zone is what `batch add` takes and `batch show` shows."""
    wall = (datetime.now(ZoneInfo("Europe/Berlin")) - timedelta(days=3)).replace(second=0, microsecond=0)
    set_at = wall.replace(tzinfo=None).isoformat(timespec="minutes")
    batch = told(capsys, "batch", "add", "b", "--species", "chicken", "--set", set_at, config=config)
    assert datetime.fromisoformat(batch["set_at"]) == wall
    assert f"set {wall:%d %b %H:%M}, day 3.0" in ok(capsys, "batch", "show", "b", config=config)


def test_a_closed_batch_is_as_old_as_it_became(capsys: Capture, config: Path) -> None:
    """`batch show` tells on which day a batch was closed, not how old it would be today."""
    now = datetime.now(UTC)
    at, end = (f"{now - timedelta(days=days):%Y-%m-%dT%H:%MZ}" for days in (9, 5))
    told(capsys, "batch", "add", "b", "--species", "chicken", "--set", at, config=config)
    told(capsys, "batch", "close", "b", "--at", end, config=config)
    assert "closed on day 4.0" in ok(capsys, "batch", "show", "b", config=config).splitlines()[0]


def test_what_was_said_by_mistake(capsys: Capture, config: Path) -> None:
    """A stage is taken back, a closed batch opened again, each in one line; what there is nothing of to unsay is refused."""
    told(capsys, "batch", "add", "b", "--species", "chicken", "--machine", "setter-1", config=config)
    ok(capsys, "batch", "stage", "b", "lockdown", "--sure", config=config)
    assert (
        ok(capsys, "batch", "stage", "b", "lockdown", "--take-back", config=config)
        == "batch b: lockdown taken back, day 0.0\n"
    )
    ok(capsys, "batch", "close", "b", config=config)
    assert ok(capsys, "batch", "reopen", "b", config=config) == "batch b: open again, day 0.0, in setter-1\n"
    code, _, err = typed(capsys, "batch", "reopen", "b", config=config)
    assert (code, err) == (2, "eggroom: batch b: open, expected a closed batch\n")


def test_now_is_now(capsys: Capture, config: Path) -> None:
    """Without --set, and with `--set now`, incubation begins now."""
    for name, more in (("a", []), ("b", ["--set", "now"])):
        set_at = told(capsys, "batch", "add", name, "--species", "chicken", *more, config=config)["set_at"]
        assert abs(datetime.now(UTC) - datetime.fromisoformat(set_at)) < timedelta(seconds=10)


def test_closed_batches_are_not_said_to_be_missing(capsys: Capture, config: Path) -> None:
    """Where every batch is closed `batch list` says so, and how to see them."""
    ok(capsys, "batch", "add", "hen-1", "--species", "chicken", "--machine", "setter-1", config=config)
    ok(capsys, "batch", "close", "hen-1", config=config)
    assert "no open batch; 1 closed: eggroom batch list --all" in ok(capsys, "batch", "list", config=config)
    assert "hen-1" in ok(capsys, "batch", "list", "--all", config=config)


def test_a_bird_that_goes_by_the_egg(capsys: Capture, config: Path) -> None:
    """Where others have their lockdown stands when draw-down may begin; not yet is written into the book; a sign in one egg says what to
    do with it, by the very command; brought to a hatcher the batch is in lockdown, and brought there early it is not."""
    about = ("--species", "african-grey", "--machine", "setter-1", "--eggs", "3")
    ok(capsys, "batch", "add", "grey-1", *about, "--set", set_days_ago(24), config=config)
    shown = ok(capsys, "batch", "show", "grey-1", config=config)
    assert "draw-down may begin" in shown
    assert "lockdown" not in shown
    assert "no draw-down yet; to look again" in ok(capsys, "batch", "not-yet", "grey-1", "--for", "12h", config=config)
    assert "no draw-down yet: candle" in " ".join(ok(capsys, "egg", "show", "grey-1", config=config).split())
    one = " ".join(ok(capsys, "egg", "event", "grey-1", "3", "internal-pip", config=config).split())
    assert "expected by its internal pip: out from " in one
    assert "egg 3 is before the others: split off, and move to " in one
    assert "eggroom batch split grey-1 3 --to hatcher-1" in one
    assert "expected by its internal pip" in ok(capsys, "egg", "show", "grey-1", "3", config=config)
    shown = " ".join(ok(capsys, "batch", "show", "grey-1", config=config).split())
    assert re.search(
        r"egg 3 expected by its internal pip: out from \d\d \w{3}( \d{4})? \d\d:\d\d to \d\d \w{3}( \d{4})? \d\d:",
        shown,
    )
    assert f" {datetime.now(ZoneInfo('Europe/Berlin')).year} " not in shown  # as the other dates there
    split = ok(capsys, "batch", "split", "grey-1", "3", "--to", "hatcher-1", config=config)
    assert "in lockdown" in split
    assert "expected by its internal pip" in ok(capsys, "egg", "show", "grey-1-b", "3", config=config)
    rest = ok(capsys, "egg", "event", "grey-1", "external-pip", config=config)
    assert "lockdown has begun" in rest
    assert "before the others" not in rest
    ok(capsys, "batch", "add", "grey-2", *about, "--set", set_days_ago(10), config=config)
    early = " ".join(ok(capsys, "batch", "move", "grey-2", "hatcher-1", config=config).split())
    assert "no sign is written yet" in early
    assert "eggroom egg event grey-2 internal-pip" in early
    ok(capsys, "batch", "add", "grey-3", *about, "--set", set_days_ago(24), config=config)
    assert "in lockdown since" in ok(capsys, "batch", "move", "grey-3", "hatcher-1", config=config)
    late = ("--species", "african-grey", "--machine", "hatcher-1", "--set", set_days_ago(24))
    assert "in lockdown since" in ok(capsys, "batch", "add", "grey-4", *late, config=config)


def test_not_yet_is_an_answer_to_what_was_asked(capsys: Capture, config: Path) -> None:
    """Of a bird that goes by the calendar, of a batch in lockdown, and where a sign is written of each egg still in it nobody asks for
    draw-down: one line, and nothing is written. One egg without a sign is enough to be asked about."""

    def not_yet(name: str) -> str:
        code, out, err = typed(capsys, "batch", "not-yet", name, "--for", "12h", config=config)
        assert (code, out, err.count("\n"), err.endswith(hint)) == (2, "", 1, True)
        return err.removesuffix(hint)

    hint = " (any eggs are looked at again by: eggroom egg look-again)\n"
    for name, species, days in (
        ("turkey-1", "turkey", 24),
        ("grey-1", "african-grey", 25),
        ("grey-2", "african-grey", 25),
    ):
        about = ("--species", species, "--machine", "setter-1", "--eggs", "2", "--set", set_days_ago(days))
        ok(capsys, "batch", "add", name, *about, config=config)
    calendar = "eggroom: batch turkey-1: turkey goes by the calendar, expected a bird that goes by the egg"
    assert not_yet("turkey-1") == calendar
    ok(capsys, "egg", "event", "grey-1", "1", "draw-down", config=config)
    assert "no draw-down yet" in ok(capsys, "batch", "not-yet", "grey-1", "--for", "12h", config=config)
    ok(capsys, "egg", "event", "grey-1", "2", "draw-down", config=config)
    written = ok(capsys, "egg", "show", "grey-1", config=config)
    signs = "eggroom: batch grey-1: a sign is written of each egg still in it, expected one without"
    assert not_yet("grey-1") == signs
    assert ok(capsys, "egg", "show", "grey-1", config=config) == written
    ok(capsys, "egg", "event", "grey-1", "internal-pip", config=config)
    assert not_yet("grey-1") == "eggroom: batch grey-1: in lockdown already, expected one before its lockdown"
    ok(capsys, "batch", "stage", "grey-2", "lockdown", "--sure", config=config)
    assert not_yet("grey-2") == "eggroom: batch grey-2: in lockdown already, expected one before its lockdown"


def test_days_in_store_show_in_what_comes_when(capsys: Capture, config: Path) -> None:
    """Three weeks in store: the last normal hatch is told 14 h later than without (an hour a day after the first week, common practice)."""
    about = ("--species", "chicken", "--machine", "setter-1", "--eggs", "3", "--set", set_days_ago(2))
    ok(capsys, "batch", "add", "hen-9", *about, config=config)
    before = told(capsys, "batch", "show", "hen-9", config=config)["development"]["hatch"]
    ok(capsys, "egg", "laid", "hen-9", "--stored", "21", config=config)
    after = told(capsys, "batch", "show", "hen-9", config=config)["development"]["hatch"]
    for name in ("first", "usual", "last"):
        then, now = (datetime.fromisoformat(each[name]["at"]) for each in (before, after))
        assert now - then == timedelta(hours=14)
    text = ok(capsys, "batch", "show", "hen-9", config=config)
    assert text.count("hatch ") == 1  # by the calendar alone it is told once, and in one form of a date
    assert "Hatch by the calendar" not in text
    assert re.search(r"\d{4}-\d\d-\d\d", text) is None


def test_a_slip_is_removed(capsys: Capture, config: Path) -> None:
    """A batch that nothing was written about goes, where that is said to be sure; that it was there stays; its name is free again."""
    add = ["batch", "add", "hen-1", "--species", "chicken", "--machine", "setter-1", "--eggs", "24"]
    ok(capsys, *add, config=config)
    code, out, err = typed(capsys, "batch", "remove", "hen-1", config=config)
    assert (code, out) == (2, "")
    assert re.fullmatch(r"eggroom: hen-1: chicken, 24 eggs, set .*, day 0.0, expected --sure to remove hen-1\n", err)
    said = ok(capsys, "batch", "remove", "hen-1", "--sure", "--by", "sam", config=config)
    assert said == "batch hen-1: removed; that it was there stays among the events\n"
    assert told(capsys, "batch", "list", "--all", config=config) == []
    for table in ("batch", "stay", "declared"):
        assert query(config, f"SELECT count(*) FROM {table}") == [(0,)]
    when = r"\d\d \w{3} \d{4} \d\d:\d\d"  # on the wall, as all that people are told
    assert re.search(f"removed by sam: chicken, 24 eggs, set {when}\n", ok(capsys, "events", config=config))
    ok(capsys, *add, config=config)
    for words, why in (
        (["egg", "note", "hen-1", "7", "quiet"], "something is written about its eggs"),
        (["batch", "close", "hen-1", "--sure"], "closed"),
    ):
        ok(capsys, *words, config=config)
        code, _, err = typed(capsys, "batch", "remove", "hen-1", "--sure", config=config)
        assert (code, err) == (
            2,
            f"eggroom: batch hen-1: {why}, expected one that was set by mistake and no more; it can be closed\n",
        )


def test_closing_asks_about_eggs_without_an_end(capsys: Capture, config: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """At a terminal; no leaves it open. Where nobody can be asked it is refused unless --sure says so. A batch closed already is said to be."""
    ok(capsys, "batch", "add", "hen-1", "--species", "chicken", "--machine", "setter-1", "--eggs", "5", config=config)
    ok(capsys, "egg", "outcome", "hen-1", "2,4", "removed", config=config)
    why = "batch hen-1: eggs 1, 3, 5 without an end, which counts as not hatched"
    close = ("batch", "close", "hen-1")
    assert typed(capsys, *close, config=config) == (
        2, "", f"eggroom: {why}, expected --sure to close hen-1 all the same\n"
    )  # fmt: skip
    with monkeypatch.context() as terminal:
        terminal.setattr(frame, "at_terminal", lambda: True)
        for typed_there, code in (("no\n", 1), ("y\n", 0), ("y\n", 2)):
            terminal.setattr(sys, "stdin", io.StringIO(typed_there))
            came, _, err = typed(capsys, *close, config=config)
            assert came == code
            assert err.startswith(f"{why}; close hen-1 all the same? [y/N] ") == (code != 2)
        assert err.startswith("eggroom: batch hen-1: closed already, ")
    ok(capsys, "batch", "reopen", "hen-1", config=config)
    ok(capsys, *close, "--sure", config=config)
    ok(capsys, "batch", "reopen", "hen-1", config=config)
    ok(capsys, "egg", "outcome", "hen-1", "1,3,5", "removed", config=config)
    assert typed(capsys, *close, config=config)[0] == 0


def test_a_batch_in_no_machine_is_told_first(capsys: Capture, config: Path) -> None:
    """Wherever one looks, until it is put into one; a closed one is not."""
    said = ok(capsys, "batch", "add", "lost-1", "--species", "chicken", "--set", "-5d", config=config)
    words = "lost-1 is in no machine: nobody watches it. Put it in one: eggroom batch move\n"
    assert said.splitlines()[0] == "batch lost-1: chicken, day 5.0, in no machine"
    assert said.splitlines()[1].startswith("  lost-1 is in no machine: nobody watches it.")
    for looks in (["batch", "show", "lost-1"], ["batch", "list"], ["now"]):
        assert ok(capsys, *looks, config=config).startswith(words), looks
    assert told(capsys, "now", config=config)["in_no_machine"] == ["lost-1"]
    ok(capsys, "batch", "add", "lost-2", "--species", "chicken", config=config)
    assert ok(capsys, "now", config=config).startswith("lost-1, lost-2 are in no machine: nobody watches them.")
    ok(capsys, "batch", "close", "lost-2", config=config)
    ok(capsys, "batch", "move", "lost-1", "setter-1", config=config)
    for looks in (["batch", "show", "lost-1"], ["batch", "list"], ["batch", "list", "--all"], ["now"]):
        assert "nobody watches" not in ok(capsys, *looks, config=config), looks
