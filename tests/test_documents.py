"""README.md and DEVELOPERS.md say what is true: each command, setting and rule is described, and what they name is there. So is what
the code names in its docstrings and comments, and what stands beside the check tables.
"""

from __future__ import annotations

import ast
import csv
import importlib.util
import io
import re
import subprocess
import sys
import tokenize
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any, get_origin

import pytest
from pydantic import BaseModel

from monitor.adapters.tables.profiles import load_sources
from monitor.adapters.tables.rules import shipped_rules
from monitor.domain.needs.rules import CHANGEABLE
from monitor.settings import Settings
from tests.cli.commands import COMMANDS

ROOT = Path(__file__).resolve().parents[1]
README, DEVELOPERS = (ROOT / name for name in ("README.md", "DEVELOPERS.md"))
BESIDE_TABLES = sorted((ROOT / "tests" / "reference").glob("**/README.md"))
KEYED = sorted(
    path
    for path in (ROOT / "tests" / "reference").glob("**/*.csv")
    if "source_key" in path.read_text("utf-8").split("\n", 1)[0]
)

# When each rule speaks, in a breeder's words; its numbers come from the rules themselves.
WHEN = {
    "dry-bulb-lethal": "temperature of which a source says that it kills within the hour",
    "dry-bulb-high-alarm": "temperature over the high alarm limit",
    "dry-bulb-high-warning": "temperature over the band, in the mean of about 20 minutes, and of 20 readings at least",
    "dry-bulb-high-heading": "if it goes on so, the high alarm limit within two hours",
    "dry-bulb-low-alarm": "temperature under the low alarm limit",
    "dry-bulb-low-warning": "temperature under the band, in the mean of about 20 minutes, and of 20 readings at least",
    "dry-bulb-low-heading": "if it goes on so, the low alarm limit within two hours",
    "egg-too-hot": "what the eggs feel, by a model of the egg, over what they bear",
    "egg-too-cold": "what the eggs feel, by a model of the egg, so cold that growth stands still",
    "humidity-high-alarm": "humidity over the high alarm limit",
    "humidity-high-warning": "humidity over the band by more than a sensor may be off (2.5 %RH), in the mean of about six hours; of half an hour where it is 6 %RH away from what the machine held over the last day",
    "humidity-low-alarm": "humidity under the low alarm limit",
    "humidity-low-warning": "humidity under the band by more than a sensor may be off (2.5 %RH), in the mean of about six hours; of half an hour where it is 6 %RH away from what the machine held over the last day",
    "humidity-not-raised": "humidity under the lockdown band when `settle_min` is over; of eggs that are to be moved first, half a day, "
    'unless "lockdown overdue" says it',
    "handling-over": "declared work at a machine is over, and its air is beyond an alarm limit",
    "lockdown-overdue": "still in a setter half a day after the lockdown day, where there is a hatcher; of birds that go by the egg half a day after the sign, beside eggs that want it dry",
    "draw-down-due": "the day on which draw-down may begin, in a bird that goes by the egg; told once",
    "cooled-each-day": "its eggs were open to the room, or too cold, for ten minutes and more at about the same hour, three days running, and no cooling is declared; told once, with the command",
    "hatch-overdue": "a batch still open a day after the last normal day of its hatch; days in store count",
    "weight-off-track": "weighings, and the air since, say that the loss at pip will be outside the target; judged at each entry and once a day",
    "look-again": "the time you gave with `eggroom egg look-again`, and nothing was written since",
    "bands-in-conflict": "batches in one machine whose bands have no more in common than sensors err by (0.2 °C, 1.8 %RH)",
    "bands-missing": "a batch whose profile or machine is no longer configured",
    "no-data": "a sensor silent for three of its intervals, at least 30 s; or (`readings not usable`) its messages come, and nothing in them can be judged",
    "no-humidity": "a sensor whose temperature comes and whose humidity no longer does",
    "sensor-failed": "a sensor that sends what cannot be, or that it failed; or (`sensor lost power`) the value that its chip starts with, 85 °C, or that its supply sagged",
    "sensor-suspect": "a sensor that sends what can hardly be",
    "probes-disagree": "sensors of one machine too far apart (high while the air at one is beyond an alarm limit, or out of its band with 0.8 °C between them), or, with a fan,"
    " otherwise than in its last hours within minutes (high)",
    "sensor-drift": "a sensor that moves 0.25 °C away from its neighbours over hours or days (0.3 in still air)",
    "node-offline": "the broker says that a node is gone",
    "node-restarts": "a node that has started four times within two hours, and has not run on since",
    "all-silent": "no node is heard any more, of two or more",
    "mains-lost": "a switch says so; low once every machine has stayed in its band for half an hour all the same",
    "door-open": "a door's contact says so, and nobody declared work at it; low as above",
    "water-low": "a float in the water says so",
    "switch-doubtful": "a switch that says nothing, turns all the time, or is contradicted by the air",
    "record-damaged": "its file was damaged and set aside, and a new one begun; or (`the record was gone`, `was exchanged`, `lacked its newest part`) somebody, or the card, took it away, and it was put back as far as can be; or (`the record cannot be read`) at a start it could neither be written nor read",
    "not-recorded": "for ten seconds nothing could be written down: the card is full, can only be read, or does not answer; it watches and tells from memory meanwhile",
    "keeps-stopping": "its third start within five minutes, or its fourth within two hours, each after a run that was cut off; over when it has run on for half an hour",
    "was-away": "eggroom was cut off for ten minutes and more: told once when it is back, with what the eggs felt",
}


def rules_table() -> str:
    """The table of README: every rule of monitor/data/rules.toml, in its order. `python -m tests.test_documents` prints it."""
    lines = [
        "| what it says | when | how long it waits | priority | `[rules.NAME]` |",
        "| --- | --- | --- | --- | --- |",
    ]
    for id_, rule in shipped_rules().items():
        lines.append(f"| {rule.words} | {WHEN.get(id_, '?')} | {waits(rule.on_delay_s)} | {rule.priority} | `{id_}` |")
    return "\n".join(lines) + "\n"


def waits(on_delay_s: float) -> str:
    """A delay in words."""
    if on_delay_s == 0:
        return "not at all"
    return f"{on_delay_s:g} s" if on_delay_s < 60 else f"{on_delay_s / 60:g} min"


def paragraph(table: str) -> str:
    """The paragraph of README about one table of the configuration."""
    found = re.search(rf"^\*\*`{re.escape(table)}`\*\*.*?(?=\n\n)", README.read_text(encoding="utf-8"), re.M | re.S)
    assert found is not None, f"README.md: no paragraph begins with {table}"
    return found[0]


def settings() -> Iterator[tuple[str, str]]:
    """(table, key) of every setting."""
    for name, field in Settings.model_fields.items():
        inner: Any = next(
            (
                a
                for a in (field.annotation, *getattr(field.annotation, "__args__", ()))
                if isinstance(a, type) and issubclass(a, BaseModel)
            ),
            None,
        )
        assert inner is not None
        if name == "rules":  # its keys are those that a rule lets be changed
            assert set(inner.model_fields) == set(CHANGEABLE)
        made = get_origin(field.annotation)
        written = f"[[{name}]]" if made is tuple else f"[{name}.NAME]" if made is dict else f"[{name}]"
        yield from ((written, key) for key in inner.model_fields)


@pytest.mark.parametrize(("table", "key"), list(settings()))
def test_each_setting_is_described(table: str, key: str) -> None:
    """The paragraph of README about its table names the setting."""
    assert f"`{key}`" in paragraph(table)


@pytest.mark.parametrize("table", sorted({table for table, _ in settings()}))
def test_no_setting_is_described_that_is_none(table: str) -> None:
    """What stands in code type at the head of a list of settings is a setting: README promises none that is not there."""
    known = {key for other, key in settings() if other == table}
    outside = re.sub(r"\([^()]*\)", "", paragraph(table).partition("**:")[2] or paragraph(table).partition("**,")[2])
    promised = {word for word in re.findall(r"`([a-z_]+)`", outside) if "_" in word}
    assert promised <= known


@pytest.mark.parametrize("command", COMMANDS)
def test_each_command_is_described(command: str) -> None:
    """README shows the command as it is typed."""
    assert re.search(rf"(^    |`)eggroom {command}\b", README.read_text(encoding="utf-8"), re.M)


def test_the_rules_are_those_of_the_program() -> None:
    """README's table of what it wakes you for is the program's own, with its delays and priorities."""
    told = README.read_text(encoding="utf-8").splitlines()
    expected = rules_table().splitlines()
    assert [row for row in expected if row not in told] == []
    assert [row for row in told if row.startswith("| ") and row.count("|") == 6 and row not in expected] == []
    assert WHEN.keys() == shipped_rules().keys()


@pytest.mark.parametrize("table", KEYED, ids=lambda p: p.name)
def test_each_key_of_a_source_is_spelled_out(table: Path) -> None:
    """What a table of published figures names by a key stands in the README beside it, or in the program's own lists of sources."""
    beside = set(re.findall(r"\b[\w-]+", (table.parent / "README.md").read_text(encoding="utf-8")))
    with table.open(encoding="utf-8", newline="") as file:
        keys = {key for row in csv.DictReader(file) for key in row["source_key"].split()}
    causes = tomllib.loads((ROOT / "monitor" / "data" / "causes.toml").read_text(encoding="utf-8"))["source"]
    assert keys - beside - load_sources().keys() - causes.keys() == set()


@pytest.mark.parametrize("document", [README, DEVELOPERS, *BESIDE_TABLES], ids=lambda p: str(p.relative_to(ROOT)))
def test_each_file_that_is_named_is_there(document: Path) -> None:
    """Every relative path, file name and Python module that the document names exists."""
    text = document.read_text(encoding="utf-8")
    endings = "py|toml|md|sh|service|timer|conf|acl|timeline|txt|csv"
    named = set(re.findall(rf"(?<![\w/.*<>-])[\w.-]+(?:/[\w.-]+)*\.(?:{endings})\b", text))
    named |= set(re.findall(r"`((?:[\w-]+/)+)`", text))
    assert named
    everywhere = {path.name for path in files()}
    missing = [
        name
        for name in sorted(named)
        if not any((folder / name).exists() for folder in (ROOT, ROOT / "monitor", ROOT / "tests", document.parent))
        and not ("/" not in name and name in everywhere)
    ]
    assert missing == []
    modules = set(re.findall(r"python -m ((?:monitor|tests)[\w.]*)", text))
    assert [name for name in modules if importlib.util.find_spec(name) is None] == []


FILE = r"(?<![\w/.`*<>{}-])((?:[\w-]+/)*[\w-]+\.(?:py|toml|md|csv))\b"  # named without backticks
NAMES = re.compile(rf"#.*(?:`|{FILE})")


def statements(node: ast.AST) -> Iterator[ast.AST]:
    """A module and what it is made of, down to the statements: what is within those has no docstring."""
    yield node
    for inner in ast.iter_child_nodes(node):
        if isinstance(inner, ast.stmt | ast.excepthandler | ast.match_case):
            yield from statements(inner)


def prose(path: Path) -> Iterator[tuple[int, str]]:
    """(line, text) of each docstring of a module, and of each comment where one may name something."""
    source = path.read_text(encoding="utf-8")
    for node in statements(ast.parse(source)):
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef):
            text = ast.get_docstring(node, clean=False)
            if text is not None:
                yield node.body[0].lineno, text
    if not NAMES.search(source):
        return  # to take the comments out is most of the work
    for token in tokenize.generate_tokens(io.StringIO(source).readline):
        if token.type == tokenize.COMMENT:
            yield token.start[0], token.string


def words_of_code(paths: list[Path]) -> set[str]:
    """Every name that code has, and every word of its short texts, but for docstrings and comments: what a name in prose can stand for."""
    words: set[str] = set()
    for path in paths:
        code = re.sub(r'(?s:""".*?""")|#.*', "", path.read_text(encoding="utf-8"))
        words |= {*path.with_suffix("").relative_to(ROOT).parts, *re.findall(r"\w+", code)}
    return words


TOPICS = {"service/alive"}  # not everything with a stroke in it is a file


class Known:
    """What there is to be named. there: every file and folder, each as a path that begins with a stroke. words: names that code has."""

    def __init__(self, there: set[str], words: set[str]) -> None:
        self.rooms = {name for each in there for name in [each.rsplit("/", 1)[1]] if "." not in name}
        self.ends = {each[at:] for each in there for at, char in enumerate(each) if char == "/"}
        self.words = words


def stale(text: str, known: Known) -> list[str]:
    """What a text names between backticks, or as a file, and is not there: `folder/module`, `folder.module.name`, `module.py`, `name`."""
    rooms, ends = known.rooms, known.ends
    named = set(re.findall(r"`([\w./-]+)`", text)) - TOPICS
    named |= set(re.findall(FILE, text))
    gone = []
    for name in sorted(named):
        first, *more = re.split(r"[./]", name.strip("/"))
        if re.search(r"\.(?:py|toml|md|csv)$", name) or ("/" in name and first in rooms):
            found = f"/{name.strip('/')}" in ends or f"/{name}.py" in ends
        elif "/" in name or not re.fullmatch(r"(?!__)[a-z_]+(?:\.[A-Za-z_]+)*", name):
            continue
        elif more and first in rooms:
            whole, inside = "/".join((first, *more)), "/".join((first, *more[:-1]))
            found = f"/{whole}" in ends or f"/{whole}.py" in ends or f"/{inside}.py" in ends
        else:
            found = known.words.issuperset((first, *more))
        if not found:
            gone.append(name)
    return gone


def test_what_code_says_of_code_is_there() -> None:
    """Each module, file and name that a docstring or a comment names exists: who follows it arrives."""
    paths = [path for path in files() if path.suffix == ".py"]
    there = {f"/{each.relative_to(ROOT)}" for path in files() for each in (path, *path.parents) if ROOT in each.parents}
    known = Known(there, words_of_code(paths))
    found = [
        f"{path.relative_to(ROOT)}:{line}: {name}"
        for path in paths
        for line, text in prose(path)
        for name in stale(text, known)
        if path != Path(__file__)
    ]
    assert found == []


def test_a_stale_name_is_seen() -> None:
    """A module under another name, a file in another folder and a name that nothing has are found; what is there, and topics, are not."""
    there = {"/monitor", "/monitor/domain", "/monitor/domain/eggs", "/monitor/domain/eggs/book.py", "/tests/a.csv"}
    known = Known(there, {"book", "add", "egg", "eggs"})
    for sound in (
        "`book.add`",
        "`domain/eggs/book`",
        "domain/eggs/book.py",
        "`domain.eggs.book.add`",
        "`a.csv`",
        "`node/probe`",
        "`eggs`",
    ):
        assert stale(f"See {sound}.", known) == [], sound
    for gone in ("egg_book", "domain.egg", "domain/egg", "domain/book.py", "b.csv", "egg_book.add"):
        assert stale(f"See `{gone}`.", known) == [gone]
    assert stale("See domain/book.py, line 3.", known) == ["domain/book.py"]


def test_the_map_names_every_room() -> None:
    """DEVELOPERS shows each folder of the program that holds code, and where the sentence that says what the program does is found."""
    told = DEVELOPERS.read_text(encoding="utf-8")
    inside = ROOT / "monitor"
    rooms = {str(path.parent.relative_to(inside)) for path in inside.rglob("*.py")} - {"."}
    rooms -= {"analysis", "domain", "service"}  # floors, each told by its rooms
    assert [room for room in sorted(rooms) if f"`{room}/`" not in told] == []


def decisions() -> str:
    """What DEVELOPERS.md says was decided: its last part."""
    return DEVELOPERS.read_text(encoding="utf-8").partition("\n## Decisions\n")[2]


def test_each_decision_says_when_and_what_it_costs() -> None:
    """Each has its date, what it costs and what would make us go back, and is short enough to be read in a minute."""
    entries = re.findall(r"^- \*\*.*?(?=\n- |\n\n|\Z)", decisions(), re.M | re.S)
    assert len(entries) > 30
    for entry in entries:
        assert re.search(r"\(2026-\d\d-\d\d[;)]", entry), entry[:80]
        assert "Cost: " in entry, entry[:80]
        assert re.search(r"\bBack[:,]", entry), entry[:80]
        assert len(entry.split()) <= 200, entry[:80]


def test_each_room_of_decisions_is_reached_from_the_head() -> None:
    """The first paragraph leads to every room, in their order, and outside rooms nothing is decided."""
    head, *rooms = re.split(r"^### ", decisions(), flags=re.M)
    anchors = [re.sub(r"[^a-z -]", "", room.splitlines()[0].lower()).replace(" ", "-") for room in rooms]
    assert re.findall(r"\]\(#([^)]+)\)", head) == anchors
    assert "- **" not in head


def test_lines_can_be_read_beside_the_code() -> None:
    """Prose is as wide as code, 120 characters; tables and what is typed are as wide as they are."""
    lines = DEVELOPERS.read_text(encoding="utf-8").splitlines()
    assert [line for line in lines if len(line) > 120 and not line.startswith(("|", "    "))] == []


def test_a_picture_is_there() -> None:
    """What README shows is in the repository, and small enough for a poor line."""
    pictures = re.findall(r"!\[[^]]+\]\(([^)]+)\)", README.read_text(encoding="utf-8"))
    assert pictures
    for name in pictures:
        assert 1_000 < (ROOT / name).stat().st_size < 200_000


def files() -> list[Path]:
    """Every file of the repository: what is tracked, and what is about to be."""
    listed = subprocess.run(
        ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT,
        capture_output=True,
        check=False,
    )
    if listed.returncode == 0:
        return [path for name in listed.stdout.decode().split("\0") if name and (path := ROOT / name).is_file()]
    hidden = {".venv", ".git", "__pycache__", ".mypy_cache", ".ruff_cache", ".pytest_cache", ".hypothesis"}
    return [path for path in ROOT.rglob("*") if path.is_file() and hidden.isdisjoint(path.parts)]


# Written in pieces, so that this file does not hold what it looks for.
PRIVATE = re.compile(
    "/wo" + "rk(?![a-z])|/tmp/br" + r"ief|iss" + "ue #|py" + r"pi\.|python" + "hosted|registry" + r"\.npm|go" + "proxy",
    re.I,
)


def test_nothing_private_is_in_the_repository() -> None:
    """No file tells of the machine it was written on, of a tracker's numbers or of a package registry."""
    found = [
        f"{path.relative_to(ROOT)}: {match[0]}"
        for path in files()
        for match in [PRIVATE.search(path.read_bytes().decode("utf-8", "replace"))]
        if match is not None
    ]
    assert found == []


if __name__ == "__main__":
    sys.stdout.write(rules_table())
