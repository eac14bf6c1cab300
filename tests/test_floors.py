"""The arrows between the floors point down: shown by reading the import lines, those inside functions as well."""

from __future__ import annotations

import ast
import builtins
import collections
import re
import sys
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

from monitor.cli import main

ROOT = Path(__file__).parents[1] / "monitor"
FILES = sorted(ROOT.rglob("*.py"))
# Folder -> what it may import of ours, beside itself. A folder stands for itself alone, `folder/*` for it and all that is in it.
MAY_IMPORT: dict[str, tuple[str, ...]] = {
    "domain": (),  # `wall`: how a moment is said; `refusal`: why something cannot be; `fixed`: values that are quick to make
    "domain/air": ("domain",),
    "domain/published": ("domain", "domain/air"),
    "domain/needs": ("domain", "domain/air", "domain/published"),
    "domain/readings": ("domain", "domain/air", "domain/needs"),
    "domain/signs": ("domain", "domain/air", "domain/readings"),
    "domain/eggs": ("domain", "domain/needs", "domain/published"),
    "domain/alarms": ("domain", "domain/eggs", "domain/needs", "domain/readings"),
    "domain/state": ("domain", "domain/alarms", "domain/eggs", "domain/needs", "domain/readings", "domain/signs"),
    "domain/watch": ("domain/*",),
    "analysis/line": ("domain/*",),
    "analysis/water": ("analysis/line", "domain/*"),
    "analysis/history": ("analysis/line", "analysis/water", "domain/*"),
    "analysis/review": ("analysis/history", "domain/*"),
    "service": ("domain/*",),  # `ports`; `keeping`: which batch is to be archived
    "analysis/across": ("analysis/review", "domain/*"),
    "service/chores": ("domain/*",),
    "service/watch": ("service", "service/chores", "domain/*"),
    "service/reports": ("service", "analysis/*", "domain/*"),
    "service/across": ("service", "service/reports", "analysis/*", "domain/*"),
    "adapters": ("service", "service/watch", "domain/*"),
    "adapters/link": ("service", "domain/*"),
    "adapters/tables": ("domain/*",),
    "adapters/kept": ("domain/*",),  # forms that are read for ever, of the record and of archives
    "adapters/store": ("service", "adapters/kept", "domain/*"),
    "adapters/archive": ("service", "service/reports", "adapters/kept", "domain/*"),
    "shown": ("shown/report", "service", "service/reports", "service/across", "analysis/*", "domain/*"),
    "shown/report": ("domain",),
    "shown/phone": ("shown", "domain/*"),
    "shown/history": ("shown", "shown/report", "service/reports", "analysis/*", "domain/*"),
    "shown/needs": ("shown", "domain/*"),
    "shown/now": ("shown", "service", "domain/*"),
    "shown/review": ("shown", "shown/history", "shown/report", "service/across", "analysis/*", "domain/*"),
    "shown/sheet": (
        "shown",
        "shown/history",
        "shown/report",
        "shown/review",
        "service/reports",
        "service/across",
        "analysis/*",
        "domain/*",
    ),
    "settings": ("adapters", "adapters/tables", "service", "domain/*"),
    "app": ("settings", "shown/phone", "adapters/*", "service/*", "domain/*"),
    "rehearse": ("app", "settings", "shown/*", "adapters/*", "service/*", "analysis/*", "domain/*"),
    "cli": ("__init__", "app", "settings", "shown/now", "adapters/*", "service/*", "domain/*"),
    "cli/batch": ("cli", "app", "settings", "shown/*", "adapters/*", "service/*", "analysis/*", "domain/*"),
    "cli/egg": ("cli", "settings", "shown", "shown/sheet", "adapters/tables", "domain/*"),
    "cli/room": ("cli", "settings", "shown", "shown/needs", "shown/now", "adapters/tables", "service", "domain/*"),
    "cli/house": (
        "__init__",
        "cli",
        "app",
        "settings",
        "shown/now",
        "adapters",
        "adapters/archive",
        "adapters/tables",
        "service",
        "domain/*",
    ),
    "cli/tried": ("cli", "rehearse", "settings", "shown", "domain/*"),
    "__main__": ("cli",),
    "__init__": (),
}
FLOORS = ("domain", "analysis", "service", "adapters", "shown", "rehearse", "cli")
ANALYSIS_LIBRARIES = {"numpy", "matplotlib"}
PARTS_OF = {"requests": "apprise"}  # the library that Apprise itself sends with, and that comes with it


class Import:
    """One imported module: whole name, line, and whether it is only for the type checker or only when a function runs."""

    def __init__(self, module: str, line: int, names: tuple[str, ...] = (), *, typing_only: bool, lazy: bool) -> None:
        self.module, self.line, self.names, self.typing_only, self.lazy = module, line, names, typing_only, lazy

    @property
    def own(self) -> bool:
        return self.module.split(".")[0] == "monitor"

    @property
    def room(self) -> str:
        """The folder of what is imported; on the top floor the module itself."""
        whole = ROOT.parent / Path(*self.module.split("."))
        return "__init__" if whole == ROOT else room_of(whole if whole.is_dir() else whole.with_suffix(".py"))


def room_of(path: Path) -> str:
    """The folder that a file is in, or a folder itself; on the top floor the module's own name."""
    within = path.relative_to(ROOT)
    if path.is_dir():
        return str(within)
    return str(within.parent) if len(within.parts) > 1 else within.stem


def floor_of(path: Path) -> str:
    first = path.relative_to(ROOT).parts[0]
    return first if first in FLOORS else "top"


def allowed(here: str, there: str) -> bool:
    """Whether a file in one folder may import from another."""
    return here == there or any(
        there == may or (may.endswith("/*") and (there + "/").startswith(may.removesuffix("*")))
        for may in MAY_IMPORT[here]
    )


@cache
def tree_of(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


def imports(path: Path) -> tuple[Import, ...]:
    """Every import of a file, with relative ones written out."""

    def walk(node: ast.AST, typing_only: bool, lazy: bool) -> Iterator[Import]:
        if isinstance(node, ast.If) and ast.unparse(node.test) in ("TYPE_CHECKING", "typing.TYPE_CHECKING"):
            for inside in node.body:
                yield from walk(inside, True, lazy)
            for inside in node.orelse:
                yield from walk(inside, typing_only, lazy)
            return
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield Import(alias.name, node.lineno, typing_only=typing_only, lazy=lazy)
        elif isinstance(node, ast.ImportFrom):
            package = ("monitor", *path.relative_to(ROOT).parent.parts)
            base = ".".join(package[: len(package) + 1 - node.level]) if node.level else ""
            module = ".".join(part for part in (base, node.module or "") if part)
            for alias in node.names:
                # `from monitor.domain import units` imports a module; `from monitor.domain.air.units import X` does not.
                name = f"{module}.{alias.name}"
                whole = name if (ROOT.parent / Path(*name.split("."))).with_suffix(".py").exists() else module
                yield Import(whole, node.lineno, (alias.name,), typing_only=typing_only, lazy=lazy)
        inner = lazy or isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda)
        for child in ast.iter_child_nodes(node):
            yield from walk(child, typing_only, inner)

    return tuple(walk(tree_of(path), False, False))


def name(path: Path) -> str:
    return str(path.relative_to(ROOT.parent))


def library(found: Import) -> str | None:
    """The library that an import is of; None for the standard library and for ourselves."""
    first = found.module.split(".")[0]
    if first in sys.stdlib_module_names or first == "monitor":
        return None
    return PARTS_OF.get(first, first)


@pytest.mark.parametrize("path", FILES, ids=name)
def test_a_folder_imports_what_the_table_allows(path: Path) -> None:
    """A file imports from its own folder and from those that the table names; type hints and imports in functions count as well."""
    here = room_of(path)
    assert [
        f"{name(path)}:{i.line} imports {i.module}" for i in imports(path) if i.own and not allowed(here, i.room)
    ] == []


def test_the_table_names_every_folder_and_has_no_circle() -> None:
    """Each folder has a line, each line a folder; following the arrows from any folder never leads back to it."""
    assert set(MAY_IMPORT) == {room_of(path) for path in FILES if path.name != "__init__.py"} | {"__init__"}
    needs = {here: {there for there in MAY_IMPORT if there != here and allowed(here, there)} for here in MAY_IMPORT}
    while needs:
        free = {here for here, there in needs.items() if not there & needs.keys()}
        assert free, f"a circle among {sorted(needs)}"
        needs = {here: there for here, there in needs.items() if here not in free}


def test_no_arrow_of_the_table_is_idle() -> None:
    """What the table allows is used, so that it tells what is and not what might be."""
    used = {(room_of(path), i.room) for path in FILES for i in imports(path) if i.own}
    for here, mays in MAY_IMPORT.items():
        for may in mays:
            assert any(
                a == here and (may == b or (may.endswith("/*") and (b + "/").startswith(may[:-1]))) for a, b in used
            ), f"{here} -> {may}"


@pytest.mark.parametrize("path", [p for p in FILES if floor_of(p) == "domain"], ids=name)
def test_the_ground_floor_stands_on_the_standard_library(path: Path) -> None:
    """The domain imports the standard library and itself; numpy only for type hints, and when the first array comes."""
    for found in imports(path):
        came = library(found)
        assert came in (None, "numpy"), f"{name(path)}:{found.line} imports {found.module}"
        if came == "numpy":
            assert found.typing_only or found.lazy, f"{name(path)}:{found.line} loads numpy at once"
            assert path.stem in ("psychrometrics", "units", "temperature"), (
                f"{name(path)} has no arrays to load numpy for"
            )


FORBIDDEN_BELOW = {"socket", "sqlite3", "subprocess", "requests", "urllib", "http", "asyncio", "random", "logging"}
CLOCKS = {"time", "monotonic", "now", "utcnow", "today", "sleep", "perf_counter"}


@pytest.mark.parametrize("path", [p for p in FILES if floor_of(p) == "domain"], ids=name)
def test_the_ground_floor_does_nothing_but_answer(path: Path) -> None:
    """No socket, log, chance or clock on the ground floor: neither the modules for it, nor a call that asks the time or opens a file."""
    for found in imports(path):
        assert found.module.split(".")[0] not in FORBIDDEN_BELOW | {"time", "os", "pathlib"}, (
            f"{name(path)}:{found.line}"
        )
    for node in ast.walk(tree_of(path)):
        if isinstance(node, ast.Call):
            called = ast.unparse(node.func)
            assert called not in ("open", "print", "input"), f"{name(path)}:{node.lineno} calls {called}"
            clock = called.split(".")[-1] in CLOCKS and called.split(".")[0] in ("datetime", "date", "time")
            assert not clock, f"{name(path)}:{node.lineno} asks the machine for the time"


@pytest.mark.parametrize("path", [p for p in FILES if floor_of(p) == "service"], ids=name)
def test_the_middle_floor_uses_no_library(path: Path) -> None:
    """The order of work needs the standard library alone; numpy is named for type hints."""
    for found in imports(path):
        assert library(found) is None or found.typing_only, f"{name(path)}:{found.line} imports {found.module}"


@pytest.mark.parametrize("path", [p for p in FILES if floor_of(p) == "analysis"], ids=name)
def test_the_side_floor_counts_with_its_libraries(path: Path) -> None:
    """Analysis uses the libraries for figures and plots, and no other."""
    for found in imports(path):
        assert library(found) in (None, *ANALYSIS_LIBRARIES), f"{name(path)}:{found.line} imports {found.module}"


READS_WORDS = {  # module -> what it reads by a regular expression
    "monitor/domain/air/units.py": "a temperature, as a person types it",
    "monitor/domain/signs/seen.py": "our own words, of an opening: in records of before they had facts, and in every archive, whose form has none",
    "monitor/service/watch/commands.py": "an id, as a person types it",
    "monitor/adapters/delivery.py": "an address that a person typed, and what a service answers",
    "monitor/adapters/link/form.py": "numbers, as a node sends them",
    "monitor/adapters/link/mapping.py": "a topic and a pointer, as a person types them",
    "monitor/adapters/link/wire.py": "ids and names, as a node sends them",
    "monitor/adapters/tables/edited.py": "a setting and its value, in a file as a person wrote it",
    "monitor/adapters/tables/toml.py": "on which line a table or a key stands, in a file as a person wrote it",
    "monitor/cli/frame.py": "an option that is a negative number, as a person types it",
    "monitor/cli/room/calibrate.py": "figures and months, as a person types them",
    "monitor/cli/typed.py": "eggs, days, spans and decimals, as a person types them",
}


def test_no_regular_expression_reads_our_own_words() -> None:
    """Only what a person typed, a node sent or a service answered is read by a regular expression, and the words of what is kept without facts."""
    using = {name(p) for p in FILES for i in imports(p) if i.module == "re"}
    assert using == set(READS_WORDS)


# Module -> what it says of its own, below the floor where words are made. A refusal, a log line and a name (at a module's top) are no such words.
SAYS_BELOW = {
    "monitor/adapters/archive/container.py": "refusals, in parts",
    "monitor/adapters/archive/contents.py": "refusals, in parts, by pydantic's leave",
    "monitor/adapters/delivery.py": "what came of an attempt, for the record and the log; and a refusal, in parts",
    "monitor/adapters/door.py": "refusals, in parts",
    "monitor/adapters/link/mapping.py": "refusals, in parts",
    "monitor/adapters/link/mqtt.py": "a refusal, in parts; and why there is no connection, where the system does not say",
    "monitor/adapters/link/strict_json.py": "refusals, in parts",
    "monitor/adapters/link/wire.py": "refusals, in parts",
    "monitor/adapters/requests.py": "refusals, in parts",
    "monitor/adapters/secret.py": "a refusal, in parts",
    "monitor/adapters/store/connection.py": "what is wrong with a file, where SQLite does not say; and in parts",
    "monitor/adapters/store/egg_rows.py": "an entry of a later version, which is kept as a note",
    "monitor/adapters/tables/causes.py": "where a refusal is about our own file",
    "monitor/adapters/tables/profiles.py": "a refusal, in parts",
    "monitor/adapters/tables/refused.py": "refusals, by pydantic's leave",
    "monitor/adapters/tables/rules.py": "where a refusal is about our own file",
    "monitor/analysis/history/environment.py": "a mistake of the caller's, in parts",
    "monitor/analysis/line/stretch.py": "a mistake of the caller's, in parts",
    "monitor/domain/eggs/doubts.py": "what is odd about an entry, which is refused until somebody is sure",
    "monitor/domain/eggs/entry.py": "refusals, in parts",
    "monitor/domain/eggs/temperature.py": "a mistake of the caller's, in parts",
    "monitor/domain/needs/batch.py": "refusals, in parts",
    "monitor/domain/needs/profile.py": "a refusal, in parts",
    "monitor/domain/needs/rules.py": "a refusal, in parts",
    "monitor/domain/refusal.py": "how every refusal ends",
    "monitor/domain/watch/telling.py": "what came of a notice that nobody is told: for the record and the log",
    "monitor/service/across/draft.py": "refusals, in parts",
    "monitor/service/watch/commands.py": "refusals, in parts",
    "monitor/service/watch/dispatcher.py": "what came of a notice: for the record and the log",
    "monitor/service/watch/egg_requests.py": "refusals, in parts",
    "monitor/service/watch/outbox.py": "what came of a notice that nobody is told: for the record and the log",
}
_WORDS = re.compile(r"[a-z]{2,}[,;:]? [a-z]{2,}|[a-z]{2,}: ?$")
_REFUSES = re.compile(r"(Error|Failure|Refusal|Refused|Expected|Unreadable|Account|Closed)$")
_SQL = re.compile(r"\s*(SELECT|INSERT|UPDATE|DELETE|CREATE|ALTER|AND)\b")


def words_said(path: Path) -> Iterator[tuple[int, str]]:
    """(line, text) of each text of several words in a function, but for documentation, refusals, mistakes of ours, log lines and SQL."""

    def walk(node: ast.AST, named: bool) -> Iterator[tuple[int, str]]:
        if isinstance(node, ast.Raise | ast.Assert) or (
            isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
        ):
            return
        if isinstance(node, ast.Call):
            called = ast.unparse(node.func)
            if called.startswith("_log.") or _REFUSES.search(called):
                return
        if isinstance(node, ast.Constant | ast.JoinedStr):
            parts = node.values if isinstance(node, ast.JoinedStr) else [node]
            text = "".join(str(p.value) if isinstance(p, ast.Constant) else "{}" for p in parts)
            if not named and _WORDS.search(text) and not _SQL.match(text):
                yield node.lineno, text
            return
        for child in ast.iter_child_nodes(node):
            yield from walk(child, named and not isinstance(child, ast.FunctionDef))

    yield from walk(tree_of(path), True)


@pytest.mark.parametrize(
    "path", [p for p in FILES if floor_of(p) in ("domain", "analysis", "service", "adapters")], ids=name
)
def test_words_are_made_last(path: Path) -> None:
    """Below `shown` nothing is put into words for people: facts go up. What is an exception says in the table what it is, and none is idle."""
    found = list(words_said(path))
    assert bool(found) == (name(path) in SAYS_BELOW), found


def test_the_reader_of_words_sees_them(tmp_path: Path) -> None:
    """A sentence, and one with a value in it; not a name at the top, a refusal, a log line, a mistake of ours, SQL or documentation."""
    path = tmp_path / "m.py"
    path.write_text(
        'GONE = "no longer there"\ndef f(n):\n    "Documentation of it."\n    _log.info("so it is")\n    many("SELECT a FROM b")\n'
        '    assert n, "that is wrong"\n    raise EggError("it is so", f"{n} is not")\n'
        'class A:\n    B = "not this one"\n    def g(self, n):\n        did = f"moved to {n}"\n        return "it was moved"\n'
    )
    assert list(words_said(path)) == [(11, "moved to {}"), (12, "it was moved")]


CLI = ROOT / "cli"


def in_one_text(path: Path) -> Iterator[tuple[int, str]]:
    """(line, text) of what is raised with what was expected in one text with the rest, but for the library's own errors, which tell a mistake of
    ours."""
    for node in ast.walk(tree_of(path)):
        if isinstance(node, ast.Raise) and isinstance(node.exc, ast.Call):
            texts = [n.value for n in ast.walk(node.exc) if isinstance(n, ast.Constant) and isinstance(n.value, str)]
            if not hasattr(builtins, ast.unparse(node.exc.func)) and any(", expected " in text for text in texts):
                yield node.lineno, ast.unparse(node.exc)


@pytest.mark.parametrize("path", [p for p in FILES if CLI not in p.parents], ids=name)
def test_errors_carry_what_was_expected_apart(path: Path) -> None:
    """Below what a person types an error carries where, what came and what was expected as fields; `domain/refusal.py` makes the line."""
    assert list(in_one_text(path)) == []


def test_the_reader_of_errors_sees_them(tmp_path: Path) -> None:
    """One in a text, or in one with a value in it; not one in fields, nor the library's own."""
    path = tmp_path / "m.py"
    path.write_text(
        'def f(n):\n    raise EggError("red, expected blue")\n    raise EggError(f"{n}, expected {n}")\n'
        '    raise EggError("egg", "red", "blue")\n    raise ValueError("red, expected blue")\n'
    )
    assert [line for line, _ in in_one_text(path)] == [2, 3]


SHARED = {"frame", "typed", "record", "watching"}  # what every noun of the command line may use
NOUNS = {noun for noun, _ in main.COMMANDS.values()}  # `folder.noun`; a file beside it that is no noun is a part


def in_cli(path: Path) -> str:
    """The name of a file of the command line, as the table in `main` says it."""
    return ".".join(path.relative_to(CLI).with_suffix("").parts)


@pytest.mark.parametrize(
    "path", [p for p in FILES if CLI in p.parents and p.stem != "__init__" and in_cli(p) != "main"], ids=name
)
def test_nouns_do_not_know_each_other(path: Path) -> None:
    """A noun of the command line imports what all share, and parts in its own folder; what all share knows no noun, and no part of one."""
    for found in imports(path):
        if found.module.startswith("monitor.cli"):
            other = found.module.removeprefix("monitor.cli.")
            part = path.parent != CLI and found.room == room_of(path) and other not in NOUNS
            assert other in SHARED or part, f"{name(path)}:{found.line} imports {found.module}"


def test_every_noun_is_in_the_table() -> None:
    """Each file of the command line is shared, a noun that the table in `main` names, or a part of one; the table names no other."""
    files = {in_cli(p) for p in FILES if CLI in p.parents and p.stem != "__init__"} - SHARED - {"main"}
    assert files >= NOUNS
    used = {i.module.removeprefix("monitor.cli.") for p in FILES if CLI in p.parents for i in imports(p)}
    assert files - NOUNS <= used


def test_a_folder_can_be_taken_in_at_a_glance() -> None:
    """No folder of the program lists more than fourteen modules."""
    held = collections.Counter(room_of(path) for path in FILES if path.parent != ROOT and path.stem != "__init__")
    assert {room: many for room, many in held.items() if many > 14} == {}


def private_uses(path: Path) -> Iterator[str]:
    """Each use of another module's private name: imported, or reached for on something imported."""
    tree = tree_of(path)
    imported: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            imported |= {alias.asname or alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            for alias in node.names:
                if alias.name.startswith("_") and not alias.name.startswith("__"):
                    yield f"{path.name}:{node.lineno} imports {alias.name}"
                imported.add(alias.asname or alias.name)
    for node in ast.walk(tree):
        if not isinstance(node, ast.Attribute) or not node.attr.startswith("_") or node.attr.startswith("__"):
            continue
        if ast.unparse(node.value) in imported:
            yield f"{path.name}:{node.lineno} uses {ast.unparse(node)}"


@pytest.mark.parametrize("path", FILES, ids=name)
def test_a_private_name_stays_in_its_module(path: Path) -> None:
    """Another module's private name is neither imported nor reached for: what begins with an underscore can be changed without asking."""
    assert list(private_uses(path)) == []


def test_the_reader_of_private_names_sees_them(tmp_path: Path) -> None:
    """It finds both ways, under another name too, and leaves a class's own and the double underscores alone."""
    path = tmp_path / "m.py"
    path.write_text(
        "import monitor.app\nfrom monitor.cli import main as cli\nfrom monitor.app import _log, run\nfrom monitor import __version__\n"
        "cli._x\nmonitor.app._y\ndef f():\n    import json as j\n    j._z\nclass A:\n    def m(self):\n        return self._own\n"
    )
    assert list(private_uses(path)) == [
        "m.py:3 imports _log", "m.py:5 uses cli._x", "m.py:6 uses monitor.app._y", "m.py:9 uses j._z",
    ]  # fmt: skip


def rooms() -> dict[str, list[Path]]:
    """The adapters: a module, or a folder of modules, each."""
    found: dict[str, list[Path]] = {}
    for path in FILES:
        parts = path.relative_to(ROOT).parts
        if parts[0] == "adapters" and parts[-1] != "__init__.py":
            found.setdefault(parts[1].removesuffix(".py"), []).append(path)
    return found


@pytest.mark.parametrize("room", rooms())
def test_adapters_do_not_know_each_other(room: str) -> None:
    """An adapter imports none of the others: the top hands each what it needs. The forms that are read for ever are nobody's own."""
    for path in rooms()[room]:
        for found in imports(path):
            if found.own and found.module.startswith("monitor.adapters."):
                assert found.module.split(".")[2] in (room, "kept"), f"{name(path)}:{found.line} imports {found.module}"


@pytest.mark.parametrize("room", rooms())
def test_an_adapter_has_one_library(room: str) -> None:
    """An adapter is for one outside thing, so it uses one library beside numpy's arrays, or none."""
    used = {library(found) for path in rooms()[room] for found in imports(path)} - {None, "numpy"}
    assert len(used) <= 1, f"{room} uses {sorted(used, key=str)}"


def test_no_two_modules_need_each_other_to_load() -> None:
    """There is no circle among the imports that run when a module is loaded."""
    needs = {
        ".".join(path.relative_to(ROOT.parent).with_suffix("").parts): {
            i.module for i in imports(path) if i.own and not i.lazy and not i.typing_only
        }
        for path in FILES
    }
    done: set[str] = set()

    def visit(module: str, trail: tuple[str, ...]) -> None:
        assert module not in trail, f"a circle: {' -> '.join((*trail[trail.index(module) :], module))}"
        if module not in done:
            for needed in needs.get(module, ()):
                visit(needed, (*trail, module))
            done.add(module)

    for module in needs:
        visit(module, ())


def test_the_reader_sees_what_it_should() -> None:
    """The test's own reader finds imports in functions, in conditions and by relative name; a reader that finds nothing would pass all."""
    found = {(i.module, i.lazy, i.typing_only) for i in imports(ROOT / "app.py")}
    assert ("monitor.service.reports.water", True, False) in found
    assert ("monitor.adapters.tables.profiles", False, False) in {
        (i.module, i.lazy, i.typing_only) for i in imports(ROOT / "settings.py")
    }
    assert any(i.typing_only and i.module == "numpy" for i in imports(ROOT / "service" / "ports.py"))
    assert any(i.lazy and i.module == "numpy" for i in imports(ROOT / "domain" / "air" / "psychrometrics.py"))
    assert len(FILES) > 40
    assert {floor_of(path) for path in FILES} == {*FLOORS, "top"}
