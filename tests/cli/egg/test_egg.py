"""`eggroom egg ...` as a person types it: each verb, each wrong line, and the messages that come of it from a running daemon."""

from __future__ import annotations

import csv
import io
import json
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from monitor.adapters.store.history import SqliteHistory
from monitor.cli import frame, record
from monitor.cli.egg import written as write
from monitor.cli.egg.given import FOUND, SEEN, STAGES, WHY
from monitor.domain.eggs.entry import CANDLED, DEATHS, REMOVED, SIGNS
from monitor.domain.needs.batch import Batch
from monitor.domain.wall import filled
from monitor.shown.now.alarms import WRITTEN_ALONE
from tests.cli.commands import asleep
from tests.receivers import HttpReceiver
from tests.running import Running, configure, query, set_days_ago, typed, until
from tests.servers import Mosquitto

Capture = pytest.CaptureFixture[str]


@pytest.fixture
def config(tmp_path: Path, capsys: Capture) -> Path:
    """A house with hen-1: 24 chicken eggs on day 10 in setter-1; no daemon runs."""
    path = configure(tmp_path, 1, site={"zone": "UTC"})
    add_batch(capsys, path)
    return path


def add_batch(capsys: Capture, path: Path, days: float = 10.0) -> None:
    about = ("--species", "chicken", "--machine", "setter-1", "--eggs", "24", "--set", set_days_ago(days))
    assert typed(capsys, "batch", "add", "hen-1", *about, config=path)[0] == 0


def ok(capsys: Capture, *arguments: str, config: Path) -> str:
    code, out, err = asleep(capsys, "egg", *arguments, config=config)
    assert (code, err) == (0, ""), err
    return out


def told(capsys: Capture, *arguments: str, config: Path) -> Any:
    return json.loads(ok(capsys, *arguments, "--json", config=config))


def wrong(capsys: Capture, *arguments: str, config: Path, lines: int = 1) -> str:
    """What a wrong request says; it ends with 2, prints nothing else, and writes nothing."""
    before = entries(config)
    code, out, err = asleep(capsys, "egg", *arguments, config=config)
    assert (code, out, err.count("\n")) == (2, "", lines), err
    assert entries(config) == before
    return err.strip()


def entries(config: Path) -> list[tuple[Any, ...]]:
    return query(config, "SELECT number, kind, egg, count, tray, replaces, who FROM entry ORDER BY number")


def weigh(capsys: Capture, config: Path, egg: int, *masses: tuple[float, float]) -> str:
    """Weighings (days ago, g); what the last one said."""
    said = ""
    for days, mass_g in masses:
        said = ok(
            capsys,
            "weigh",
            "hen-1",
            str(egg),
            str(mass_g),
            "--at",
            set_days_ago(days),
            "--error",
            "0.01",
            config=config,
        )
    return said


# --- each verb


def test_a_weighing(capsys: Capture, config: Path) -> None:
    """The first says that a second is needed; the second says the loss so far and where it leads; a comma is as good as a point."""
    assert ok(
        capsys, "weigh", "hen-1", "7", "60,12", "--by", "ada", "--at", set_days_ago(9.9), config=config
    ).splitlines() == [
        "hen-1 egg 7: 60.12 g (entry 1)",
        "  weighed once, expected again some days later, or length and breadth",
    ]
    said = ok(capsys, "weigh", "hen-1", "7", "55.9", "--by", "ada", config=config).splitlines()
    assert said[:2] == ["egg 7: unsure", "hen-1 egg 7: 55.90 g (entry 2)"]
    heads = [line.split("  ")[1].strip() for line in said[2:]]
    assert [head for head in heads if head] == ["lost so far", "by pip", "by hatch", "to set"]
    assert "no humidity was recorded, so none can be told; " in " ".join(said)
    assert entries(config) == [(1, "weighing", 7, None, "", None, "ada"), (2, "weighing", 7, None, "", None, "ada")]


@pytest.mark.parametrize(
    "words",
    [
        ("--tray", "A", "--count", "40", "2310.5"),
        ("2310.5", "--tray", "A", "--count", "40"),
        ("--count", "40", "2310.5", "--tray", "A"),
    ],
)
def test_a_tray_in_any_order(capsys: Capture, tmp_path: Path, words: tuple[str, ...]) -> None:
    """Words and options come in any order, before the batch too."""
    path = configure(tmp_path, 1, site={"zone": "UTC"})
    typed(capsys, "batch", "add", "b", "--species", "chicken", "--set", set_days_ago(3), config=path)
    assert ok(capsys, "weigh", "b", *words, config=path).startswith("b tray A: 40 eggs, 57.76 g each (entry 1)\n")


def test_a_table(capsys: Capture, config: Path, tmp_path: Path) -> None:
    """A whole tray at once, with a column of times or not, with ; and commas as a spreadsheet of the continent has it."""
    file = tmp_path / "tray.csv"
    file.write_text(f"egg,mass_g,at\n1,60.0,{set_days_ago(9)}\n2,59.5,{set_days_ago(9)}\n")
    assert "weighed once" in ok(capsys, "weigh", "hen-1", "--csv", str(file), config=config)
    file.write_text("﻿egg;mass_g\n1;56,2\n2;56,1\n")
    said = ok(capsys, "weigh", "hen-1", "--csv", str(file), "--tare", "0.5", config=config)
    assert said.splitlines()[:3] == ["1 off track: egg 1; 1 unsure: egg 2", "hen-1 egg 1: 55.70 g (56.2 less 0.5 of the tray) (entry 3)", "hen-1 egg 2: 55.60 g (56.1 less 0.5 of the tray) (entry 4)"]  # fmt: skip
    assert "  together: " in said


def test_a_table_with_bad_lines(capsys: Capture, config: Path, tmp_path: Path) -> None:
    """Every bad line with its number: those that cannot be read first, then those that cannot be true or are odd; nothing is written."""
    file = tmp_path / "tray.csv"
    file.write_text("egg,mass_g,at\n1,60,\nx,60,\n3,heavy,\n4,60,someday\n5,60\n6,60,,\n")
    said = wrong(capsys, "weigh", "hen-1", "--csv", str(file), config=config, lines=6).splitlines()
    assert [line.split(": ")[2] for line in said[1:]] == ["line 3", "line 4", "line 5", "line 6", "line 7"]
    assert said[0] == f"eggroom: {file}: 5 lines that cannot be read, nothing was written"
    file.write_text("egg,mass_g\n1,60\n2,5\n25,60\n")
    said = wrong(capsys, "weigh", "hen-1", "--csv", str(file), config=config, lines=3).splitlines()
    assert said[0] == f"eggroom: {file}: batch hen-1: 2 of 3 lines are wrong, nothing was written"
    assert said[1].startswith(f"eggroom: {file}: line 3: egg 2 weighing: 5 g an egg, Chicken lays 50 to 70 g")
    assert said[2].startswith(f"eggroom: {file}: line 4: batch hen-1: egg 25, expected 1 to 24")
    file.write_text("egg,mass_g\n1,60\n2,5\n")
    ok(capsys, "weigh", "hen-1", "--csv", str(file), "--sure", config=config)
    for text, complaint in (
        ("", "empty, expected a table"),
        ("egg,mass\n", "columns 'egg,mass'"),
        ("egg,mass_g\n", "no line under its head"),
    ):
        file.write_text(text)
        assert complaint in wrong(capsys, "weigh", "hen-1", "--csv", str(file), config=config)
    file.write_bytes(b"\xff\xfe")
    assert "not text in UTF-8, expected a table" in wrong(capsys, "weigh", "hen-1", "--csv", str(file), config=config)
    assert "No such file" in wrong(capsys, "weigh", "hen-1", "--csv", str(tmp_path / "none.csv"), config=config)


def test_candling_many_at_once(capsys: Capture, config: Path) -> None:
    """Eggs as 7, 1-6 or 1-6,9, so many without numbers, or the one word with a hyphen."""
    said = ok(capsys, "candle", "hen-1", "1-3,9,3", "fertile", "--by", "ada", config=config)
    assert said.splitlines() == [
        f"hen-1 egg {egg}: candled: fertile (entry {n})" for n, egg in enumerate((1, 2, 3, 9), 1)
    ]
    assert (
        ok(capsys, "candle", "hen-1", "--count", "5", "clear", config=config)
        == "hen-1 batch: 5 eggs candled: clear (entry 5)\n"
    )
    assert "candled: early dead" in ok(capsys, "candle", "hen-1", "4", "early-dead", config=config)
    data = told(capsys, "candle", "hen-1", "10-11", "not-sure", config=config)
    assert [(e["egg"], e["fact"]["found"]) for e in data["entries"]] == [(10, "not sure"), (11, "not sure")]


def test_many_at_once_are_written_together_or_not_at_all(capsys: Capture, config: Path) -> None:
    """Each that cannot be is named, and nothing is written, so that the same can be typed again put right."""
    code, out, err = typed(capsys, "egg", "candle", "hen-1", "23-26", "fertile", config=config)
    assert (code, out) == (2, "")
    assert err.splitlines() == [
        "eggroom: batch hen-1: egg 25, expected 1 to 24",
        "eggroom: batch hen-1: egg 26, expected 1 to 24",
        "eggroom: batch hen-1: nothing was written about any of 4 eggs",
    ]
    assert entries(config) == []
    assert ok(capsys, "candle", "hen-1", "23-24", "fertile", config=config).count("\n") == 2
    assert [egg for _, _, egg, *_ in entries(config)] == [23, 24]


def test_every_other_verb(capsys: Capture, config: Path) -> None:
    """Signs, help, ends, findings, measures, lay and notes: each is written as what it says."""
    for words, said in (
        (("event", "7", "draw-down", "--sure"), "egg 7: draw-down"),
        (("event", "7", "internal-pip", "--sure"), "egg 7: internal pip"),
        (("event", "7", "helped", "--note", "shell moistened"), "egg 7: assisted: shell moistened"),
        (("event", "7", "sealed", "--note", "wax"), "egg 7: sealed: wax"),
        (("outcome", "7", "hatched", "--sure"), "egg 7: hatched"),
        (("outcome", "8", "dead", "--stage", "internal-pip", "--sure"), "egg 8: dead (internal pip)"),
        (("outcome", "9", "removed", "--why", "given-away"), "egg 9: removed: given away"),
        (("outcome", "--count", "2", "dead", "--stage", "early"), "batch: 2 eggs dead (early)"),
        (("finding", "8", "sticky-chick"), "egg 8: sticky chick, smeared with egg contents"),
        (("size", "10", "57.2", "43,1"), "egg 10: 57.2 x 43.1 mm"),
        (("laid", "--stored", "5"), "batch: stored 5 days"),
        (("laid", "10", "--on", set_days_ago(12)[:10]), "egg 10: laid "),
        (("note", "10", "quiet"), "egg 10: quiet"),
        (("note", "all quiet"), "batch: all quiet"),
        (("look-again", "10", "--in", "2d"), "egg 10: look again "),
        (("look-again", "put it right", "--in", "90m"), "batch: look again "),
        (("look-again", "10", "weak", "--when", (datetime.now(UTC) + timedelta(days=3)).isoformat()), "egg 10: look again "),
    ):  # fmt: skip
        verb, *rest = words
        assert f"hen-1 {said}" in ok(capsys, verb, "hen-1", *rest, config=config)


def test_the_words_of_the_trade_are_all_there() -> None:
    """Every value that the book knows can be typed, with hyphens for blanks."""
    for typed_, known in ((FOUND, CANDLED), (SEEN, SIGNS), (STAGES, DEATHS), (WHY, REMOVED)):
        assert typed_ == tuple(word.replace(" ", "-") for word in known)


@pytest.mark.parametrize(
    ("words", "complaint"),
    [
        ("weigh hen-1", "weigh: nothing after hen-1, expected EGG GRAMS"),
        ("weigh hen-1 7", "weigh: '7', expected EGG GRAMS"),
        ("weigh hen-1 x 60", "egg 'x', expected its number"),
        ("weigh hen-1 7 heavy", "weigh: 'heavy', expected a number, such as 26.49"),
        ("weigh hen-1 7 nan", "weigh: 'nan', expected a number"),
        ("weigh hen-1 7 60 --tray A", "weigh: --tray, expected --count with it"),
        ("weigh hen-1 7 60 --csv t.csv", "weigh: --csv, expected nothing beside it"),
        ("weigh hen-9 7 60", "batch 'hen-9': no such batch"),
        ("weigh hen-1 7 60 --at someday", "time 'someday': expected now"),
        ("candle hen-1 7 rosy", "candle: 'rosy', expected one of: clear, fertile"),
        ("candle hen-1 6-3 clear", "candle: eggs 6-3, expected rising"),
        ("candle hen-1 1-9999 clear", "expected rising, and at most 1000 at once"),
        ("candle hen-1 egg clear", "candle: eggs 'egg', expected such as 7, 1-6 or 1-6,9"),
        ("candle hen-1 7 clear --count 3", "candle: eggs '7' and --count, expected one of them"),
        ("candle hen-1 clear", "of which eggs is not said"),
        ("event hen-1 7 hatched", "event: 'hatched', expected one of: draw-down"),
        ("event hen-1 7 zp", "event: 'zp', nearest zip, expected one of: draw-down"),
        ("outcome hen-1 7 quitr", "outcome: 'quitr', nearest quitter, expected one of: hatched"),
        ("outcome hen-1 7 quitter", "outcome quitter: --stage: nothing, expected one of early, middle"),
        ("outcome hen-1 7 assisted", "expected it as an event: eggroom egg event hen-1 EGG assisted"),
        ("candle hen-1 7 infertil", "candle: 'infertil', nearest infertile or fertile, expected one of: clear"),
        ("event hen-1 7 draw-down --note x", "event: --note, expected it with assisted or sealed only"),
        ("outcome hen-1 7 dead", "outcome dead: --stage: nothing, expected one of early"),
        ("outcome hen-1 7 hatched --stage early", "outcome hatched: --stage, expected it with dead only"),
        (
            "finding hen-1 7 sad",
            "finding 'sad': expected one of the trade's list; all of them: eggroom egg finding list",
        ),
        (
            "finding hen-1 7 sticky",
            "finding 'sticky': expected such as sticky-chick; all of them: eggroom egg finding list",
        ),
        ("note hen-1 7", "note: '7' and no text, expected [EGGS] TEXT"),
        ("weigh hen-1 --tray A 360", "weigh: --tray, expected --count with it"),
        ("weigh hen-1 7 60 --tare 1,5x", "argument --tare: '1,5x', expected a number, such as 1.5"),
        ("candle hen-1 --count x alive", "argument --count: 'x', expected a whole number"),
        ("laid hen-1", "laid: expected --on TIME, --stored DAYS, or both"),
        ("look-again hen-1 7", "look-again: expected either --in TIME or --when TIME"),
        ("look-again hen-1 7 --in soon", "time 'soon': expected a number and its unit, such as 12h, 90m or 2d"),
        ("look-again hen-1 7 a b --in 3h", "a text of several words in quotes"),
        ("correct hen-1 1", "correct: expected ENTRY NAME=VALUE"),
        ("correct hen-1 1 egg=3", "batch hen-1: entry '1', expected none, for nothing is written yet"),
        ("withdraw hen-1", "withdraw: expected ENTRY [TEXT]"),
        ("show hen-1 25", "batch hen-1: egg 25, expected 1 to 24"),
        ("show hen-9", "batch 'hen-9': no such batch"),
    ],
)
def test_what_is_wrong(capsys: Capture, config: Path, words: str, complaint: str) -> None:
    """One line that says where, what came and what was expected; nothing is written."""
    assert complaint in wrong(capsys, *words.split(), config=config)


def test_what_is_odd_needs_to_be_sure(capsys: Capture, config: Path) -> None:
    """A slip of the pen is asked first, and written as it came with --sure."""
    weigh(capsys, config, 7, (5, 60.0))
    said = wrong(capsys, "weigh", "hen-1", "7", "61.0", config=config)
    assert "heavier than before (60 g), expected --sure to write it all the same" in said
    assert "hen-1 egg 7: 61.00 g (entry 2)" in ok(capsys, "weigh", "hen-1", "7", "61.0", "--sure", config=config)


def test_a_correction(capsys: Capture, config: Path) -> None:
    """A corrected entry stands in the old one's place, at its time; the old one stays in the record, and is named."""
    weigh(capsys, config, 7, (9, 60.0), (5, 58.1))
    assert (
        ok(capsys, "correct", "hen-1", "2", "gross_g=58.2", config=config)
        .removeprefix("egg 7: unsure\n")
        .startswith("hen-1 egg 7: 58.20 g (entry 3)\n")
    )
    assert "58.20 g, not 58.10 g" in ok(capsys, "show", "hen-1", "7", config=config)
    ok(capsys, "correct", "hen-1", "3", "egg=8", f"at={set_days_ago(4)}", config=config)
    data = told(capsys, "show", "hen-1", config=config)
    assert [(e["number"], e["egg"], e["replaces"], e["stands"]) for e in data["entries"]] == [
        (1, 7, None, True), (2, 7, None, False), (3, 7, 2, False), (4, 8, 3, True),
    ]  # fmt: skip
    for entry, typed_g, digit_g in ((4, "58", 1.0), (5, "58.24", 0.01)):  # as finely as it is typed now
        ok(capsys, "correct", "hen-1", str(entry), f"gross_g={typed_g}", config=config)
        fact = told(capsys, "show", "hen-1", config=config)["entries"][-1]["fact"]
        assert (fact["gross_g"], fact["digit_g"]) == (float(typed_g), digit_g)
    assert "NAME=VALUE with gross_g, tare_g, error_g, scale, digit_g, egg, count, tray, at" in wrong(
        capsys, "correct", "hen-1", "6", "mass=5", config=config
    )


def test_a_withdrawal(capsys: Capture, config: Path) -> None:
    """A withdrawn entry no longer counts, once."""
    weigh(capsys, config, 7, (9, 60.0), (5, 58.1))
    assert ok(capsys, "withdraw", "hen-1", "2", "typed twice", config=config).startswith(
        "hen-1 egg 7: withdrawn: typed twice (entry 3)"
    )
    assert "entry 3 replaced" in wrong(capsys, "withdraw", "hen-1", "2", config=config)
    assert told(capsys, "show", "hen-1", "7", config=config)["water"]["reason"].startswith("weighed once")


def test_the_book_of_a_closed_batch(capsys: Capture, config: Path) -> None:
    """A batch that was closed is still written into, from its last number on, and shown."""
    ok(capsys, "outcome", "hen-1", "7", "hatched", "--sure", config=config)
    typed(capsys, "batch", "close", "hen-1", "--sure", config=config)
    assert (
        ok(capsys, "finding", "hen-1", "7", "runt", config=config)
        == "hen-1 egg 7: runt seen at 3 to 4 weeks (entry 2)\n"
    )
    assert "runt seen" in ok(capsys, "show", "hen-1", "7", config=config)


def test_what_the_weighings_say_is_judged(capsys: Capture, config: Path) -> None:
    """Too quick a loss begins the alarm of the batch; correcting it ends it; closing ends it as well."""
    weigh(capsys, config, 7, (9.9, 60.0), (5, 56.0), (0, 52.0))
    (alarm,) = stands(capsys, config)
    assert (alarm["subject"], alarm["rule"]) == ("batch hen-1", "weight-off-track")
    assert alarm["about"].startswith("egg 7: loss by pip 25.")
    ok(capsys, "withdraw", "hen-1", "2", config=config)
    ok(capsys, "correct", "hen-1", "3", "gross_g=56.0", config=config)
    assert [a["state"] for a in stands(capsys, config)] == ["returned to normal, unacknowledged"]


def test_weights_off_track_in_a_batch_opened_again(capsys: Capture, config: Path) -> None:
    """The alarm that a closing by mistake ended stands again at once, without another weighing."""
    weigh(capsys, config, 7, (9.9, 60.0), (5, 56.0), (0, 52.0))
    typed(capsys, "batch", "close", "hen-1", "--sure", config=config)
    assert "returned" in stands(capsys, config)[0]["state"]
    assert typed(capsys, "batch", "reopen", "hen-1", config=config)[0] == 0
    (alarm,) = stands(capsys, config)
    assert (alarm["rule"], alarm["state"], alarm["number"]) == ("weight-off-track", "unacknowledged", 2)


def off_track(capsys: Capture, config: Path) -> list[str]:
    return [a["subject"] for a in stands(capsys, config) if a["state"] == "unacknowledged"]


def stands(capsys: Capture, config: Path) -> list[dict[str, Any]]:
    code, out, err = asleep(capsys, "alarms", "--json", config=config)
    assert (code, err) == (0, "")
    return list(json.loads(out))


# --- with a daemon


def test_the_phone_is_told(capsys: Capture, tmp_path: Path) -> None:
    """Through a running daemon: weights off track are an alarm with what would mend them, a restart keeps it, and a reminder
    whose time came while no daemon ran is told by the next one; writing what was seen ends it.
    """
    with Mosquitto() as broker, HttpReceiver() as phone:
        path = configure(tmp_path, broker.port, contact=phone.url(), site={"zone": "UTC"})
        with Running(path) as daemon:
            add_batch(capsys, path)
            weigh(capsys, path, 7, (9.9, 60.0), (5, 56.0), (0, 52.0))
            until(
                lambda: "weight-off-track" in {a["rule"] for a in stands(capsys, path)},
                "the weight was not judged",
            )  # it is low: the phone hears of it in the day's summary
            soon = (datetime.now(UTC) + timedelta(seconds=3)).isoformat()
            ok(capsys, "look-again", "hen-1", "7", "weak", "--when", soon, config=path)
            ok(capsys, "event", "hen-1", "8", "draw-down", "--sure", config=path)
            assert daemon.terminate() == 0
            until(lambda: datetime.now(UTC).isoformat() > soon, "time stands still")
            daemon.start()
            until(lambda: any("look again" in r["title"] for r in phone.got), "the phone was not told to look again")
            rules = {a["rule"]: a for a in stands(capsys, path)}
            assert rules["weight-off-track"]["state"] == "unacknowledged"
            assert rules["look-again"]["about"] == "weak. Seen last: 52.00 g at " + rules["look-again"]["about"][-5:]
            ok(capsys, "candle", "hen-1", "7", "alive", config=path)
            assert {a["rule"] for a in stands(capsys, path)} == {"weight-off-track"}
            assert daemon.terminate() == 0


def test_weights_that_nobody_judged(capsys: Capture, tmp_path: Path) -> None:
    """A process that was killed between the entry and the judgement: the daemon that starts next judges it, and it stays judged."""
    with Mosquitto() as broker:
        path = configure(tmp_path, broker.port, site={"zone": "UTC"})
        add_batch(capsys, path)
        stuck = "import monitor.app, time; monitor.app.verdict_of = lambda house, batch, now: time.sleep(3600)"
        with Running(path, prelude=stuck) as daemon:
            weigh(capsys, path, 7, (9.9, 60.0), (5, 56.0), (0, 52.0))
            assert daemon.ask(do="room")["others"] == []
            daemon.kill()
        assert len(entries(path)) == 3
        assert stands(capsys, path) == []
        with Running(path) as daemon:
            until(lambda: off_track(capsys, path) == ["batch hen-1"], "what was written is not judged")
            assert daemon.terminate() == 0
        (alarm,) = stands(capsys, path)
        assert alarm["about"].startswith("egg 7: loss by pip 25.")


# --- eggs that go another way


def test_split(capsys: Capture, config: Path) -> None:
    """Two eggs go to the hatcher: their weighings go along, and the loss is told from the whole record under the new name only."""
    for egg in (3, 7, 8):
        weigh(capsys, config, egg, (9.9, 60.0), (5.0, 58.0))
    code, out, err = asleep(capsys, "batch", "split", "hen-1", "3,7", "--to", "hatcher-1", "--stage", "lockdown", "--sure", "--by", "ada", config=config)  # fmt: skip
    assert (code, err) == (0, "")
    assert out.splitlines() == [
        "batch hen-1-b: eggs 3,7 of hen-1, day 10.0, in hatcher-1, lockdown declared; 22",
        "  stay in hen-1",
        "from now on write about these eggs under hen-1-b",
    ]
    said = ok(capsys, "weigh", "hen-1-b", "3", "56.0", config=config).splitlines()
    assert said[:2] == ["egg 3: on track", "hen-1-b egg 3: 56.00 g (entry 5)"]
    shown = ok(capsys, "show", "hen-1-b", config=config)
    assert shown.splitlines()[0].startswith("hen-1-b: chicken, 2 eggs")
    left = ok(capsys, "show", "hen-1", "7", config=config)
    assert "went on as batch hen-1-b" in left
    assert "to set" not in left
    err = wrong(capsys, "weigh", "hen-1", "7", "55.0", config=config)
    assert err == "eggroom: batch hen-1: egg 7 went on as batch hen-1-b, expected that batch"
    assert wrong(capsys, "weigh", "hen-1-b", "8", "55", config=config).endswith("egg 8, expected 3, 7")
    assert left.startswith("hen-1 egg 7: chicken, went on as batch hen-1-b\n")
    assert "now hen-1-b\n" in ok(capsys, "show", "hen-1", config=config)
    ok(capsys, "finding", "hen-1-b", "3", "wet-chick", config=config)
    refused = typed(capsys, "review", "hen-1", "--egg", "3", config=config)
    assert refused == (2, "", "eggroom: batch hen-1: egg 3 went on as batch hen-1-b, expected that batch\n")
    code, out, _ = asleep(capsys, "batch", "show", "hen-1-b", config=config)
    assert [line.strip() for line in out.splitlines()[1:3]] == ["eggs 3, 7", "split off hen-1"]


def test_an_alarm_about_weight_goes_along(capsys: Capture, tmp_path: Path) -> None:
    """The egg that loses too much moves to another machine: the alarm of its old batch ends, and its new one has it, after a restart too."""
    with Mosquitto() as broker:
        path = configure(tmp_path, broker.port, site={"zone": "UTC"})
        with Running(path) as daemon:
            add_batch(capsys, path)
            weigh(capsys, path, 7, (9.9, 60.0), (5, 56.0), (0, 52.0))
            until(lambda: off_track(capsys, path) == ["batch hen-1"], "its old batch has no alarm")
            assert typed(capsys, "batch", "split", "hen-1", "7", "--to", "hatcher-1", config=path)[0] == 0
            until(lambda: off_track(capsys, path) == ["batch hen-1-b"], "the alarm did not go along")
            assert daemon.terminate() == 0
            daemon.start()
            assert [a["subject"] for a in stands(capsys, path) if a["state"] == "unacknowledged"] == ["batch hen-1-b"]
            assert ok(capsys, "weigh", "hen-1-b", "7", "51.9", config=path).startswith(
                "egg 7: off track\nhen-1-b egg 7: 51.90 g"
            )
            assert daemon.terminate() == 0


def test_the_words_of_a_split_come_in_any_order(capsys: Capture, config: Path) -> None:
    """With one hand at the machine the eggs are typed last as easily as first."""
    code, out, err = asleep(capsys, "batch", "split", "--to", "hatcher-1", "hen-1", "--by", "ada", "3", config=config)
    assert (code, err) == (0, "")
    assert out.startswith("batch hen-1-b: egg 3 of hen-1, day 10.0, in hatcher-1; 23 stay in hen-1\n")


def test_split_asks_for_a_reason(capsys: Capture, config: Path) -> None:
    """Eggs that go on in the same machine at the same stage need no batch of their own."""
    code, _, err = typed(capsys, "batch", "split", "hen-1", "3", config=config)
    assert (code, err.count("\n")) == (2, 1)
    assert "expected --to MACHINE or --stage" in err
    code, _, err = typed(capsys, "batch", "split", "hen-1", "3", "--to", "setter-1", config=config)
    assert (code, err) == (2, "eggroom: batch hen-1: in setter-1 already, expected another machine or a stage\n")
    code, out, err = asleep(capsys, "batch", "split", "hen-1", "--count", "4", "--to", "hatcher-1", "--name", "early", config=config)  # fmt: skip
    assert (code, err) == (0, "")
    assert out.startswith("batch early: 4 eggs of hen-1, day 10.0, in hatcher-1; 20 stay in hen-1\n")


# --- what helps to put it right


def test_times_in_a_complaint_are_those_on_the_wall(capsys: Capture, tmp_path: Path) -> None:
    """What was typed as 18:00 on the wall of the house comes back as 18:00, not as another zone's time."""
    path = configure(tmp_path, 1, site={"zone": "Asia/Kathmandu"})
    about = ("--species", "chicken", "--eggs", "24", "--set", "2026-11-10T18:00")
    assert typed(capsys, "batch", "add", "hen-1", *about, config=path)[0] == 0
    said = wrong(capsys, "candle", "hen-1", "7", "alive", "--at", "2026-11-09T18:00", config=path)
    assert said == "eggroom: batch hen-1: egg 7 candling: 2026-11-09 18:00, before it was set (2026-11-10 18:00)"


def test_a_correction_without_a_value(capsys: Capture, config: Path) -> None:
    """It says which value is missing."""
    ok(capsys, "weigh", "hen-1", "7", "60", config=config)
    assert wrong(capsys, "correct", "hen-1", "1", "gross_g=", config=config).endswith(
        "weighing: gross_g empty, expected its value"
    )


def test_a_note_in_one_line(capsys: Capture, config: Path) -> None:
    """What a terminal would act on is not taken in."""
    said = wrong(capsys, "note", "hen-1", "7", "red \x1b[31m", config=config)
    assert said.endswith("expected text in one line, without control characters")


def test_the_list_of_findings(capsys: Capture, config: Path) -> None:
    """Every finding with its words, from the command that takes them."""
    assert "sticky-chick          sticky chick, smeared with egg contents\n" in ok(
        capsys, "finding", "list", config=config
    )
    assert len(told(capsys, "finding", "list", config=config)) == 33


def test_the_list_of_batches_is_read_once(capsys: Capture, config: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Which batch is meant and which others share its machines come out of one reading of the list, in a report and after a weighing."""
    read: list[SqliteHistory] = []
    batches = SqliteHistory.batches

    def counted(history: SqliteHistory) -> list[Batch]:
        read.append(history)
        return batches(history)

    monkeypatch.setattr(SqliteHistory, "batches", counted)
    ok(capsys, "show", "hen-1", config=config)
    assert len(read) == 1
    read.clear()
    ok(capsys, "weigh", "hen-1", "7", "60.1", config=config)
    assert len(read) == len({id(history) for history in read})


KINDS = {"candled": "candling", "external": "sign", "assisted": "helped", "dead": "dead", "removed": "removed"}


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("candle hen-1 7 infertile", "candled: clear"),
        ("candle hen-1 7 Quitter", "candled: dead"),
        ("event hen-1 7 pip --sure", "external pip"),
        ("event hen-1 7 assisted --note wet", "assisted: wet"),
        ("event hen-1 7 helped", "assisted"),
        ("outcome hen-1 7 quitter --stage early", "dead (early)"),
        ("outcome hen-1 7 dead-in-shell --sure", "dead (late)"),
        ("outcome hen-1 7 infertile", "removed: clear"),
        ("outcome hen-1 7 Infertile", "removed: clear"),
        ("outcome hen-1 7 Dead-in-shell --sure", "dead (late)"),
    ],
)
def test_the_words_of_the_trade_are_understood(capsys: Capture, config: Path, words: str, said: str) -> None:
    """And told as ours; what the record has keeps its name."""
    assert ok(capsys, *words.split(), config=config).splitlines()[0] == f"hen-1 egg 7: {said} (entry 1)"
    assert [row[1] for row in entries(config)] == [KINDS[said.split(" ")[0].strip(":")]]


def test_a_zip_is_kept_as_what_was_seen(capsys: Capture, config: Path) -> None:
    """With the pip that it proves where none is written; else beside it, and the pip keeps its time. Of several eggs each for itself."""
    said = ok(capsys, "event", "hen-1", "7", "zip", "--sure", config=config).splitlines()
    assert said[:2] == ["hen-1 egg 7: external pip (entry 1)", "hen-1 egg 7: zip (entry 2)"]
    assert [row[1] for row in entries(config)] == ["sign", "note"]
    ok(capsys, "event", "hen-1", "8", "pip", "--sure", config=config)
    said = ok(capsys, "event", "hen-1", "7-9", "Zip", "--sure", config=config).splitlines()
    told = ["9: external pip (entry 4)", "7: zip (entry 5)", "8: zip (entry 6)", "9: zip (entry 7)"]
    assert said[:4] == [f"hen-1 egg {each}" for each in told]
    assert "--note" in wrong(capsys, "event", "hen-1", "7", "zip", "--note", "big", "--sure", config=config)


def test_a_zip_is_one_writing(capsys: Capture, config: Path) -> None:
    """What is written of it at once goes by one undo, and nothing of it is written where any of it cannot be."""
    ok(capsys, "event", "hen-1", "8", "pip", "--sure", config=config)
    ok(capsys, "event", "hen-1", "7-9", "zip", "--sure", config=config)
    undone = ok(capsys, "undo", "hen-1", config=config).splitlines()
    assert [line.partition(";")[0] for line in undone] == [
        *(f"undone: hen-1 egg {egg}: external pip (entry {number})" for egg, number in ((7, 2), (9, 3))),
        *(f"undone: hen-1 egg {egg}: zip (entry {egg - 3})" for egg in (7, 8, 9)),
    ]
    assert [row[1] for row in entries(config)] == ["sign"] * 3 + ["note"] * 3 + ["withdrawn"] * 5
    early = wrong(capsys, "event", "hen-1", "zip", "--count", "3", config=config)  # a pip on its first day
    assert "expected --sure" in early
    assert len(entries(config)) == 11


def test_a_zip_of_the_whole_batch(capsys: Capture, config: Path) -> None:
    """The pip of each egg that has none; what was seen is of the batch."""
    ok(capsys, "event", "hen-1", "1-23", "pip", "--sure", config=config)
    said = ok(capsys, "event", "hen-1", "zip", "--sure", config=config).splitlines()
    assert said[:2] == ["hen-1 egg 24: external pip (entry 24)", "hen-1 batch: zip (entry 25)"]


def test_a_zip_of_eggs_without_numbers(capsys: Capture, config: Path) -> None:
    """Which of them had pipped nobody knows: that so many did is written, and what was seen of them of the batch."""
    said = ok(capsys, "event", "hen-1", "zip", "--count", "3", "--sure", config=config)
    assert said.splitlines()[:2] == ["hen-1 batch: 3 eggs external pip (entry 1)", "hen-1 batch: zip: 3 eggs (entry 2)"]


def test_undo(capsys: Capture, config: Path) -> None:
    """What was written last goes, of several eggs at once all of it; then what was written before it; each time it is said what stands now."""
    ok(capsys, "candle", "hen-1", "2", "fertile", "--at", "-2d", config=config)
    ok(capsys, "weigh", "hen-1", "7", "58.42", config=config)
    ok(capsys, "candle", "hen-1", "1-3", "fertile", config=config)
    said = ok(capsys, "undo", "hen-1", config=config).splitlines()
    gone = [f"undone: hen-1 egg {egg}: candled: fertile (entry {egg + 2}); " for egg in (1, 2, 3)]
    assert [said[0], said[2]] == [f"{gone[egg - 1]}no candling of egg {egg} stands now" for egg in (1, 3)]
    assert said[1].startswith(f"{gone[1]}now candled: fertile of ")
    assert ok(capsys, "undo", "hen-1", config=config) == (
        "undone: hen-1 egg 7: 58.42 g (entry 2); no weighing of egg 7 stands now\n"
    )
    ok(capsys, "undo", "hen-1", config=config)
    assert "nothing is written that stands" in wrong(capsys, "undo", "hen-1", config=config)
    assert "expected BATCH alone" in wrong(capsys, "undo", "hen-1", "7", config=config)
    assert len(query(config, "SELECT kind FROM entry WHERE kind = 'withdrawn'")) == 5


@pytest.mark.parametrize(
    ("words", "thing"),
    [
        ("outcome hen-1 3 removed --why other", "end"),
        ("outcome hen-1 3 dead --stage late --sure", "end"),
        ("event hen-1 3 assisted", "help"),
        ("event hen-1 3 sealed", "seal"),
        ("laid hen-1 3 --stored 4", "day of laying"),
        ("look-again hen-1 3 --in 3h", "time to look again"),
        ("size hen-1 3 56 43", "size"),
    ],
)
def test_undo_names_what_is_no_more(capsys: Capture, config: Path, words: str, thing: str) -> None:
    """By a word for a thing, whatever its kind is called in the record."""
    ok(capsys, *words.split(), config=config)
    assert ok(capsys, "undo", "hen-1", config=config).endswith(f"; no {thing} of egg 3 stands now\n")


def test_undo_of_many_at_once_is_counted(capsys: Capture, config: Path) -> None:
    ok(capsys, "candle", "hen-1", "1-20", "fertile", config=config)
    assert ok(capsys, "undo", "hen-1", config=config) == "undone: 20 entries, egg 1 to egg 20; now as before them\n"


def test_undo_of_a_correction(capsys: Capture, config: Path) -> None:
    """What stood before it stands again, at its own time; undone once more goes what was written before the correction."""
    ok(capsys, "weigh", "hen-1", "6", "58.11", "--at", "-3d", config=config)
    ok(capsys, "weigh", "hen-1", "7", "60.11", "--at", "-2d", config=config)
    ok(capsys, "correct", "hen-1", "1", "gross_g=58.00", config=config)
    ok(capsys, "correct", "hen-1", "3", "gross_g=57.90", config=config)
    said = ok(capsys, "undo", "hen-1", config=config)
    assert said == "undone: hen-1 egg 6: 57.90 g (entry 4); egg 6 is 58.00 g again\n"
    said = ok(capsys, "undo", "hen-1", config=config)
    assert said == "undone: hen-1 egg 6: 58.00 g (entry 5); egg 6 is 58.11 g again\n"
    kept = query(config, "SELECT replaces, at_ms FROM entry WHERE egg = 6 ORDER BY number")
    assert [replaces for replaces, _ in kept] == [None, 1, 3, 4, 5]
    assert kept[0][1] == kept[-1][1]
    assert "58.11 g" in ok(capsys, "show", "hen-1", "6", config=config)
    said = ok(capsys, "undo", "hen-1", config=config)
    assert said == "undone: hen-1 egg 7: 60.11 g (entry 2); no weighing of egg 7 stands now\n"
    said = ok(capsys, "undo", "hen-1", config=config)
    assert said == "undone: hen-1 egg 6: 58.11 g (entry 6); no weighing of egg 6 stands now\n"
    assert "nothing is written that stands" in wrong(capsys, "undo", "hen-1", config=config)


def test_undo_after_a_withdrawal(capsys: Capture, config: Path) -> None:
    """What was withdrawn by its number is gone already; what was written before it is undone."""
    ok(capsys, "weigh", "hen-1", "7", "60.11", config=config)
    ok(capsys, "note", "hen-1", "7", "pale", config=config)
    ok(capsys, "withdraw", "hen-1", "2", "slip", config=config)
    assert ok(capsys, "undo", "hen-1", config=config).startswith("undone: hen-1 egg 7: 60.11 g (entry 1)")


def test_a_reason_beside_a_word_that_says_it(capsys: Capture, config: Path) -> None:
    assert "infertile: --why 'rotten', expected none" in wrong(
        capsys, "outcome", "hen-1", "7", "infertile", "--why", "rotten", config=config
    )


def test_a_session_at_the_scale(capsys: Capture, config: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each egg that is still in is asked for; what is no weight is said and asked again; an empty line leaves an egg out, `<` goes back."""
    ok(capsys, "outcome", "hen-1", "2", "removed", config=config)
    ok(capsys, "weigh", "hen-1", "1", "58.40", "--at", "-5d", config=config)
    monkeypatch.setattr(write, "at_terminal", lambda: True)
    monkeypatch.setattr(sys, "stdin", io.StringIO("57,1\nheavy\n\n<\n60.21\n59\n.\n"))
    code, out, err = typed(capsys, "egg", "weigh", "hen-1", config=config)
    assert code == 0
    assert [line.partition(" (entry")[0] for line in out.splitlines()[:4]] == [
        "1 off track: egg 1",
        "hen-1 egg 1: 57.10 g", "hen-1 egg 3: 60.21 g", "hen-1 egg 4: 59.00 g",
    ]  # fmt: skip
    first, _, asked = err.partition("\n")
    assert first.startswith("hen-1, 23 eggs: grams and Enter.")
    keys = "< goes back to put one right, . ends"
    assert asked == (
        f"egg 1 (last 58.40 g): {filled(WRITTEN_ALONE)}\n"  # once, not of each
        f"egg 3: egg 3: 'heavy', expected a number, such as 26.49; {keys}\n"
        "egg 3: egg 4: egg 3: egg 4: egg 5: "
    )
    monkeypatch.setattr(sys, "stdin", io.StringIO(""))
    assert typed(capsys, "egg", "weigh", "hen-1", config=config)[:2] == (0, "nothing was written\n")


def test_going_back_at_the_scale_puts_right(capsys: Capture, config: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What is typed after going back stands in place of what was typed; Enter alone leaves it; the egg has one weighing."""
    monkeypatch.setattr(write, "at_terminal", lambda: True)
    monkeypatch.setattr(sys, "stdin", io.StringIO("58.4\n<\n58,3 g\n57\nback\n\n.\n"))
    code, out, err = typed(capsys, "egg", "weigh", "hen-1", config=config)
    assert code == 0
    said = [line for line in out.splitlines() if "(entry" in line]
    assert said == ["hen-1 egg 1: 58.30 g (entry 2)", "hen-1 egg 2: 57.00 g (entry 3)"]
    assert "too close" not in out
    assert "egg 2: egg 1 (now 58.40 g): egg 2: egg 3: egg 2 (now 57.00 g): egg 3: " in err
    assert [row[5] for row in entries(config)] == [None, 1, None]


def test_figures_with_their_units(capsys: Capture, config: Path) -> None:
    """As people type them; a size in cm without saying so is asked about, and is another egg's."""
    assert "58.30 g" in ok(capsys, "weigh", "hen-1", "1", "58.3g", "--tare", "0g", config=config)
    assert "58.10 g" in ok(capsys, "correct", "hen-1", "1", "gross_g=58.1 g", config=config)
    for measured in (("57", "43mm"), ("5.7cm", "4,3 cm")):
        assert "57 x 43 mm" in ok(capsys, "size", "hen-1", "2", *measured, "--sure", config=config)
    assert "56 x 43 mm" in ok(capsys, "correct", "hen-1", "3", "length_mm=5.6cm", config=config)
    assert "56 x 42 mm" in ok(capsys, "correct", "hen-1", "5", "breadth_mm=42 mm", config=config)
    line = wrong(capsys, "size", "hen-1", "4", "12", "9", config=config)
    assert "egg 4 size: 12 x 9 mm lead to 0.53 g, Chicken lays 50 to 70 g" in line
    line = wrong(capsys, "size", "hen-1", "4", "5.7", "4.3", config=config)
    assert "egg 4 size: 5.7 x 4.3 mm lead to 0.058 g, Chicken lays 50 to 70 g" in line
    ok(capsys, "size", "hen-1", "4", "12", "9", "--sure", config=config)


def test_a_table_of_many_eggs_is_counted(capsys: Capture, config: Path, tmp_path: Path) -> None:
    """Of a good one how many were written, and of which eggs; of one on a wrong day the answer first, ten complaints, and the count."""
    file = tmp_path / "tray.csv"
    file.write_text("egg,mass_g\n" + "".join(f"{egg},{60 + egg / 100}\n" for egg in range(1, 21)))
    said = ok(capsys, "weigh", "hen-1", "--csv", str(file), "--at", "-5d", config=config).splitlines()
    assert "hen-1: 20 entries of eggs 1-20 (1 to 20)" in said
    assert not any(line.startswith("hen-1 egg") for line in said)
    said = wrong(
        capsys, "weigh", "hen-1", "--csv", str(file), "--at", "-20d", "--tare", "58", config=config, lines=12
    ).splitlines()
    assert said[0].startswith(f"eggroom: {file}: batch hen-1: 20 of 20 lines are ")
    assert said[-1] == f"eggroom: {file}: batch hen-1: and 10 more"
    file.write_text("egg,mass_g\n" + "x,60\n" * 30)
    said = wrong(capsys, "weigh", "hen-1", "--csv", str(file), config=config, lines=12).splitlines()
    assert said[0] == f"eggroom: {file}: 30 lines that cannot be read, nothing was written"
    assert said[-1] == f"eggroom: {file}: and 20 more"


def test_what_is_odd_is_asked_about_at_a_terminal(
    capsys: Capture, config: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In words, without the option that says so elsewhere."""
    monkeypatch.setattr(record, "at_terminal", lambda: True)
    monkeypatch.setattr(frame, "at_terminal", lambda: True)
    monkeypatch.setattr(sys, "stdin", io.StringIO("n\n"))
    code, _, err = typed(capsys, "egg", "weigh", "hen-1", "7", "600", config=config)
    assert (code, "600 g an egg" in err, "--sure" in err) == (1, True, False)
    assert "do it all the same? [y/N]" in err
    monkeypatch.setattr(sys, "stdin", io.StringIO("y\n"))
    code, _, err = typed(capsys, "egg", "weigh", "hen-1", "7", "600", config=config)
    assert (code, "--sure" in err) == (0, False)


# --- who the eggs are


EGGS_CSV = """Egg;Pair;Clutch;Label;Laid;Under bird until;Tray;Place;Length_mm;Breadth_mm;Mass_g;Colour;;
1;P1;1;A1;{laid};;A;1;57,2;43,1;58,42;brown;;
3;P2;1;B1;{laid};{until};A;3;;;60,0;;;
;;;;;;;;;;;;;
4;P2;1;B2;;;;;;;;;;
"""


def test_who_the_eggs_are_out_of_a_spreadsheet(capsys: Capture, config: Path, tmp_path: Path) -> None:
    """One table brings pair, label, day of laying, size and mass; blank cells and rows are nothing, and a column nobody asks for is named."""
    table = tmp_path / "eggs.csv"
    table.write_text(EGGS_CSV.format(laid=set_days_ago(14), until=set_days_ago(12)))
    code, out, err = asleep(
        capsys, "egg", "identity", "hen-1", "--csv", str(table), "--at", set_days_ago(9), config=config
    )
    assert (code, err) == (0, "left out, for nothing here asks for it: colour\n")
    kinds = [(egg, kind) for _, kind, egg, *_ in entries(config)]
    assert kinds == [
        (1, "laid"), (1, "identity"), (1, "size"), (1, "weighing"), (3, "laid"), (3, "identity"), (3, "weighing"), (4, "identity"),
    ]  # fmt: skip
    assert "hen-1 egg 3: pair P2, clutch 1, label B1, under a bird until" in out
    shown = ok(capsys, "show", "hen-1", config=config)
    assert "1        P1              1       A1          A, 1\n" in shown
    view = told(capsys, "show", "hen-1", "3", config=config)
    assert (view["who"]["parents"], view["who"]["label"], view["who"]["tray"]) == ("P2", "B1", "A")


def test_who_the_eggs_are_by_hand(capsys: Capture, config: Path) -> None:
    """Of all, of several, of one; blanks are as in one name; a correction and an undo are as of any entry."""
    assert "hen-1 batch: cock Red 12, hen B7 (entry 1)" in ok(
        capsys, "identity", "hen-1", "--cock", "Red  12", "--hen", "B7", config=config
    )
    ok(capsys, "identity", "hen-1", "1-3", "--clutch", "2", config=config)
    assert "all: cock Red 12, hen B7" in ok(capsys, "show", "hen-1", config=config)
    assert "cock Red 12, hen B7, clutch 2" in ok(capsys, "show", "hen-1", "2", config=config)
    ok(capsys, "correct", "hen-1", "2", "clutch=3", "label=x", config=config)
    assert "clutch 3, label x, not clutch 2" in ok(capsys, "show", "hen-1", "1", config=config)
    ok(capsys, "undo", "hen-1", config=config)
    assert told(capsys, "show", "hen-1", "1", config=config)["who"]["clutch"] == "2"


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("", "empty, expected a table with columns of egg,pair,cock,hen,clutch,label,tray,place,ring,under_bird_until,laid,"),
        ("pair,clutch\nP1,1\n", "line 1: columns 'pair,clutch', expected egg among them, of egg,pair,"),
        ("egg,pair,Pair\n1,P1,P1\n", "line 1: column 'pair' twice, expected each once"),
        ("egg\tpair\n", "no line under its head, expected one for each egg"),
        ("egg,pair\n1,P1,x\n", "1 line that cannot be read, nothing was written\nFILE: line 2: 'x' beyond the last column, expected 2 columns"),
        ("egg,pair\n,P1\n", "1 line that cannot be read, nothing was written\nFILE: line 2: no egg, expected its number"),
        ("egg,length_mm\n1,57\n", "1 line that cannot be read, nothing was written\nFILE: line 2: length_mm alone, expected breadth_mm beside it"),
        ("egg,laid\n1,soon\n", "1 line that cannot be read, nothing was written\nFILE: line 2: time 'soon': expected now"),
        ("egg,colour\n1,brown\n", "nothing about any egg, expected columns of egg,pair,"),
        ("egg,pair\n99,P1\n", "batch hen-1: 1 of 1 lines are wrong, nothing was written\nFILE: line 2: batch hen-1: egg 99, expected 1 to 24"),
        ("egg,label\n1,x\n2,x\n", "batch hen-1: egg 1 identity: label x, which egg 2 has\nFILE: batch hen-1: egg 2 identity: label x, which egg 1 has, expected --sure"),
        ("egg,pair\n1," + "x" * 61 + "\n", "line 2: identity: pair: 'xxx"),
    ],
)  # fmt: skip
def test_a_table_of_eggs_that_is_wrong(capsys: Capture, config: Path, tmp_path: Path, text: str, line: str) -> None:
    """Nothing of it is written, and each line that is wrong is named."""
    table = tmp_path / "eggs.csv"
    table.write_text(text)
    said = wrong(capsys, "identity", "hen-1", "--csv", str(table), config=config, lines=1 + line.count("\n"))
    assert said.replace("eggroom: ", "").replace(str(table), "FILE").startswith(f"FILE: {line}")


def test_nothing_said_of_who_an_egg_is(capsys: Capture, config: Path) -> None:
    """It is told what can be."""
    assert "identity: nothing is said, expected one of --pair, --cock," in wrong(
        capsys, "identity", "hen-1", "7", config=config
    )
    assert "--csv, expected nothing beside it" in wrong(
        capsys, "identity", "hen-1", "7", "--csv", "x.csv", config=config
    )


def test_the_book_as_a_table(capsys: Capture, config: Path, tmp_path: Path) -> None:
    """Each entry a line, also those that count no more; nothing in it is a formula, and a file that is there is asked about."""
    ok(capsys, "identity", "hen-1", "1-2", "--label", "=1+1", "--sure", config=config)
    ok(capsys, "weigh", "hen-1", "2", "58.4", config=config)
    ok(capsys, "withdraw", "hen-1", "3", config=config)
    table = tmp_path / "book.csv"
    assert ok(capsys, "show", "hen-1", "--csv", str(table), config=config) == f"{table}: written\n"
    rows = list(csv.DictReader(table.open(newline="")))
    assert [(r["number"], r["kind"], r["egg"], r["label"], r["gross_g"], r["stands"]) for r in rows] == [
        ("1", "identity", "1", "'=1+1", "", "yes"),
        ("2", "identity", "2", "'=1+1", "", "yes"),
        ("3", "weighing", "2", "", "58.4", "no"),
        ("4", "withdrawn", "2", "", "", "no"),
    ]
    assert len(ok(capsys, "show", "hen-1", "1", "--csv", "-", config=config).splitlines()) == 2
    assert "there already" in wrong(capsys, "show", "hen-1", "--csv", str(table), config=config)
    assert "egg 99, expected 1 to 24" in wrong(capsys, "show", "hen-1", "99", "--csv", "-", config=config)


# --- after the hatch


def test_a_chick_until_it_is_signed_off(capsys: Capture, tmp_path: Path) -> None:
    """Its mass by hand and out of a table, on the house's scale; its brooder; and that it is signed off. The book tells each chick in a line."""
    more = '[[scale]]\nid = "fine"\nerror_g = 0.02\n'
    config = configure(tmp_path, 1, site={"zone": "UTC"}, machines=("setter-1", "brooder-1"), more=more)
    add_batch(capsys, config, days=28.0)
    ok(capsys, "outcome", "hen-1", "7-8", "hatched", "--at", set_days_ago(7), config=config)
    ok(capsys, "chick", "hen-1", "7", "38,2g", "--at", set_days_ago(7), config=config)
    ok(capsys, "chick", "hen-1", "7-8", "--brooder", "brooder-1", "--at", set_days_ago(6.5), config=config)
    table = tmp_path / "chicks.csv"
    table.write_text(f"egg;Mass_g;At\n7;42,4;{set_days_ago(5)}\n8;41;{set_days_ago(5)}\n9;;\n")
    assert "hen-1 egg 8: chick 41.00 g" in ok(capsys, "chick", "hen-1", "--csv", str(table), config=config)
    assert "chick signed off: aviary 2" in ok(capsys, "chick", "hen-1", "8", "--signed-off", "aviary 2", config=config)
    facts = [
        json.loads(fact)
        for (fact,) in query(config, "SELECT fact FROM entry WHERE kind = 'chick-mass' ORDER BY number")
    ]
    assert [(f["mass_g"], f["scale"], f["error_g"]) for f in facts] == [
        (38.2, "fine", 0.02),
        (42.4, "fine", 0.02),
        (41.0, "fine", 0.02),
    ]
    shown = ok(capsys, "show", "hen-1", config=config)
    assert "38.20     42.40  Brooder 1\n" in shown
    assert "41.00     41.00  signed off: aviary 2," in shown
    one = ok(capsys, "show", "hen-1", "7", config=config)
    assert ", in Brooder 1" in one
    assert "+5.5  Brooder 1: nothing on record" in one
    view = told(capsys, "show", "hen-1", "7", config=config)
    assert [line["mass_g"] for line in view["chick"]["lines"]] == [38.2, 42.4]
    assert set(told(capsys, "show", "hen-1", config=config)["chicks"]) == {"7", "8"}
    ok(capsys, "undo", "hen-1", config=config)
    assert told(capsys, "show", "hen-1", config=config)["chicks"]["8"]["end"] is None


@pytest.mark.parametrize(
    ("words", "line"),
    [
        (
            ("7", "40"),
            "batch hen-1: egg 7 chick-mass: no hatch of it is written, expected --sure to write it all the same",
        ),
        (("7",), "chick: nothing is said of it, expected EGG and one of grams, --brooder, --signed-off or --csv"),
        (("7-8", "40"), "egg '7-8', expected its number"),
        (("7", "x"), "chick: 'x', expected a number, such as 26.49"),
        (("7", "40", "--brooder", "setter-1"), "chick: several things at once, expected one of grams,"),
        (
            ("7", "--signed-off", "out", "--brooder", "setter-1"),
            "chick: several things at once, expected one of grams,",
        ),
        (
            ("7", "--brooder", "seter-1"),
            "brooder: no machine 'seter-1', nearest setter-1, expected one of: setter-1, hatcher-1",
        ),
        (("7", "--brooder", "setter-1", "--scale", "x"), "chick: --scale or --error, expected them with grams only"),
        (("7", "40", "--scale", "x"), "chick-mass: scale 'x', expected one of: none yet"),
        (("--brooder", "setter-1"), "chick: nothing after hen-1, expected EGGS"),
        (("7", "--csv", "x.csv"), "chick: --csv, expected nothing beside it but --at,"),
    ],
)
def test_a_chick_that_is_wrong(capsys: Capture, config: Path, words: tuple[str, ...], line: str) -> None:
    """One line, and nothing is written."""
    assert wrong(capsys, "chick", "hen-1", *words, config=config).removeprefix("eggroom: ").startswith(line)


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("egg,at\n7,now\n", "FILE: line 1: columns 'egg,at', expected mass_g among them, of egg,mass_g,at"),
        ("egg,mass_g\n7,\n", "FILE: nothing about any egg, expected columns of egg,mass_g,at"),
        (
            "egg,mass_g\n7,x\n",
            "FILE: 1 line that cannot be read, nothing was written\nFILE: line 2: mass_g: 'x', expected a number",
        ),
    ],
)
def test_a_table_of_chicks_that_is_wrong(capsys: Capture, config: Path, tmp_path: Path, text: str, line: str) -> None:
    """Each line that is wrong is named."""
    table = tmp_path / "chicks.csv"
    table.write_text(text)
    said = wrong(capsys, "chick", "hen-1", "--csv", str(table), config=config, lines=1 + line.count("\n"))
    assert said.removeprefix("eggroom: ").replace("\neggroom: ", "\n").replace(str(table), "FILE").startswith(line)


# --- the air cell, and turning


def test_an_air_cell(capsys: Capture, config: Path, tmp_path: Path) -> None:
    """Of one egg, in mm or cm, and out of a table."""
    assert "air cell 4.5 mm (entry 1)" in ok(
        capsys, "air-cell", "hen-1", "7", "4,5", "--at", set_days_ago(5), config=config
    )
    assert "air cell 9 to 14 mm, 26 mm across" in ok(
        capsys, "air-cell", "hen-1", "7", "9mm", "1.4cm", "--across", "26", config=config
    )
    table = tmp_path / "cells.csv"
    table.write_text("egg;near mm;far mm\n8;5,5;\n9;;\n")
    assert (
        ok(capsys, "air-cell", "hen-1", "--csv", str(table), config=config)
        == "hen-1 egg 8: air cell 5.5 mm (entry 3)\n"
    )
    assert "far_mm alone, expected near_mm beside it" in wrong(
        capsys, "air-cell", "hen-1", "--csv", str(_written(table, "egg,near_mm,far_mm\n9,,5\n")), config=config, lines=2
    )
    ok(capsys, "correct", "hen-1", "2", "far_mm=1.5cm", config=config)
    assert "air cell 9 to 15 mm, 26 mm across, not air cell 9 to 14 mm" in " ".join(
        ok(capsys, "show", "hen-1", "7", config=config).split()
    )


def _written(path: Path, text: str) -> Path:
    path.write_text(text)
    return path


def test_turning_by_hand(capsys: Capture, config: Path) -> None:
    """Counts come to so many a day; that it stopped is told with its day and who wrote it."""
    ok(capsys, "turned", "hen-1", "5", "--at", set_days_ago(4), config=config)
    ok(capsys, "turned", "hen-1", "4", "--over", "12h", "--at", set_days_ago(3), config=config)
    ok(capsys, "turned", "hen-1", "stopped", "--note", "broken", "--at", set_days_ago(2), "--by", "ada", config=config)
    shown = ok(capsys, "show", "hen-1", config=config)
    assert "  turned as written: 9 times in 36 h, 6.0 a day\n" in shown
    assert ", day 8.0, as ada wrote\n" in shown
    assert told(capsys, "show", "hen-1", "3", config=config)["turning"]["stopped_entry"] == 3


@pytest.mark.parametrize(
    ("words", "line"),
    [
        (("turned", "hen-1", "many"), "turned: 'many', expected how often, a whole number, or stopped"),
        (("turned", "hen-1", "501"), "turned: 501 times, expected a whole number from 0 to 500"),
        (("turned", "hen-1", "5", "--over", "11d"), "turned: hours 264, expected 0.1 to 240"),
        (("turned", "hen-1", "stopped", "--over", "3h"), "turned stopped: --over, expected it with a count only"),
        (("turned", "hen-1", "5", "--note", "x"), "turned: --note, expected it with stopped only;"),
        (("air-cell", "hen-1", "7"), "air-cell: '7', expected EGG NEAR [FAR]"),
        (("air-cell", "hen-1", "7", "9", "8"), "air-cell: far in mm 8, expected 9 to 240"),
        (("air-cell", "hen-1", "7", "--csv", "x"), "air-cell: --csv, expected nothing beside it but"),
    ],
)
def test_a_shell_that_is_wrong(capsys: Capture, config: Path, words: tuple[str, ...], line: str) -> None:
    """One line, and nothing is written."""
    assert wrong(capsys, *words, config=config).removeprefix("eggroom: ").startswith(line)


# --- files


def test_a_photograph_beside_an_entry(capsys: Capture, config: Path, tmp_path: Path) -> None:
    """It is told with its entry, and comes out again as it went in, out of the record and of an archive; kept once."""
    photo, back = tmp_path / "photo.jpg", tmp_path / "back.jpg"
    photo.write_bytes(bytes(range(256)) * 4000)
    ok(capsys, "candle", "hen-1", "7", "dead", config=config)
    assert "egg 7: file photo.jpg, 1.0 MB, beside entry 1: ring (entry 2)" in ok(
        capsys, "file", "hen-1", str(photo), "ring", "--entry", "1", config=config
    )
    assert "batch: file photo.jpg, 1.0 MB (entry 3)" in ok(capsys, "file", "hen-1", str(photo), config=config)
    assert query(config, "SELECT count(*), sum(length(content)) FROM file") == [(1, 1_024_000)]
    assert "candled: dead\n" in ok(capsys, "show", "hen-1", config=config)  # a file is nothing that was seen
    assert ok(capsys, "save", "hen-1", "2", str(back), config=config) == f"{back}: photo.jpg, 1.0 MB\n"
    assert back.read_bytes() == photo.read_bytes()
    file = tmp_path / "hen-1.zip"
    assert typed(capsys, "archive", "hen-1", str(file), config=config)[0] == 0
    assert "there already" in wrong(capsys, "save", "3", str(back), "--archive", str(file), config=config)
    back.unlink()
    assert told(capsys, "save", "3", str(back), "--archive", str(file), config=config)["bytes"] == 1_024_000
    assert back.read_bytes() == photo.read_bytes()


@pytest.mark.parametrize(
    ("words", "line"),
    [
        (("file", "hen-1"), "file: expected [EGG] FILE [TEXT], a text of several words in quotes"),
        (("file", "hen-1", "7", "DIR/none.jpg"), "DIR/none.jpg: No such file or directory, expected a file"),
        (("file", "hen-1", "7", "DIR"), "DIR: Is a directory, expected a file"),
        (("file", "hen-1", "7", "DIR/empty"), "DIR/empty: empty, expected a file with something in it"),
        (("file", "hen-1", "7", "DIR/film"), "DIR/film: 4.2 MB, expected at most 4.2 MB: a smaller picture of it"),
        (
            ("file", "hen-1", "DIR/small", "--entry", "9"),
            "batch hen-1: entry '9', expected none, for nothing is written yet",
        ),
        (("file", "hen-1", "1-3", "DIR/small"), "egg '1-3', expected its number"),
        (("save", "hen-1", "9", "DIR/out"), "batch hen-1: entry 9 is no file, expected one of: none yet"),
    ],
)
def test_a_file_that_is_wrong(capsys: Capture, config: Path, tmp_path: Path, words: tuple[str, ...], line: str) -> None:
    """One line, and nothing is written."""
    (tmp_path / "empty").touch()
    (tmp_path / "small").write_bytes(b"x")
    (tmp_path / "film").write_bytes(bytes(4 * 1024 * 1024 + 1))
    said = wrong(capsys, *(word.replace("DIR", str(tmp_path)) for word in words), config=config)
    assert said.removeprefix("eggroom: ").replace(str(tmp_path), "DIR") == line


def test_a_file_comes_through_the_door(capsys: Capture, tmp_path: Path) -> None:
    """The longest that there may be, asked of a daemon that runs, which has it at once and after its next start."""
    photo, back = tmp_path / "photo.jpg", tmp_path / "back.jpg"
    photo.write_bytes(bytes(range(256)) * (4 * 1024 * 1024 // 256))
    with Mosquitto() as broker:
        config = configure(tmp_path, broker.port, site={"zone": "UTC"})
        with Running(config):
            add_batch(capsys, config)
            assert (
                "photo.jpg, 4.2 MB (entry 1)"
                in typed(capsys, "egg", "file", "hen-1", "7", str(photo), config=config)[1]
            )
        with Running(config):
            assert typed(capsys, "egg", "file", "hen-1", "8", str(photo), config=config)[0] == 0
            assert typed(capsys, "egg", "save", "hen-1", "2", str(back), config=config)[0] == 0
    assert back.read_bytes() == photo.read_bytes()
    assert query(config, "SELECT count(*) FROM file") == [(1,)]
