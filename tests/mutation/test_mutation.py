"""The planting of mistakes, in short: what is planted, that the tree stays as it is, and a handful that must be noticed."""

from __future__ import annotations

import ast
import subprocess
from pathlib import Path

import pytest

from tests.mutation.__main__ import equals, main, outcomes, reach_of
from tests.mutation.operators import Mistake, mistaken, mistakes
from tests.mutation.reach import Reach, reaching, together
from tests.mutation.rooms import PACKAGE, ROOMS, ROOT, asked_in, planted_in
from tests.mutation.trial import ALIVE, NOTICED, chosen, rest

SMALL = '''
"""Words."""
from html import escape
LIMIT: float = 4.0
def told(a: int, b: list[int]) -> str:
    """More words."""
    if a < 3 and not b:
        b.append(a)
        return escape(f"{a + 1}")
    return max(b, key=lambda x: -x)
'''


def pairs(source: str) -> set[tuple[str, str]]:
    return {(m.was, m.now) for m in mistakes(source, "small.py")}


def test_what_is_planted() -> None:
    """Limits, comparisons, arithmetic, truth, dropped steps, defaults, extremes and escapes; no words, imports or types."""
    found = pairs(SMALL)
    assert {
        ("4.0", "5.0"),
        ("a < 3", "a <= 3"),
        ("a < 3", "a >= 3"),
        ("a < 3 and (not b)", "a < 3 or not b"),
        ("not b", "b"),
        ("b.append(a)", "(nothing)"),
        ("a + 1", "a - 1"),
        ("escape(f'{a + 1}')", "f'{a + 1}'"),
        ("max(b, key=lambda x: -x)", "min(b, key=lambda x: -x)"),
        ("return max(b, key=lambda x: -x)", "return None"),
    } <= found
    assert not {was for was, _ in found} & {"int", "float", "list[int]", "str", "'Words.'", "'More words.'"}


def test_each_changes_one_thing_and_still_compiles() -> None:
    """Every mistake is a program, none is the source again, and no two of them are the same."""
    planted = mistakes(SMALL, "small.py")
    for mistake in planted:
        compile(mistaken(SMALL, mistake), mistake.path, "exec")
    assert len({mistaken(SMALL, m) for m in planted} | {ast.unparse(ast.parse(SMALL))}) == len(planted) + 1
    assert len({m.key for m in planted}) == len(planted)


def test_a_mistake_is_known_by_its_content() -> None:
    """Lines that come above it change nothing: what is named as equal stays named."""
    below = SMALL.replace("LIMIT: float", "OTHER = 1\n\n\nLIMIT: float")
    assert {m.key for m in mistakes(SMALL, "small.py")} < {m.key for m in mistakes(below, "small.py")}


def test_the_rooms_are_there_and_the_equal_ones_too() -> None:
    """Each room has what can be planted, and tests to ask; each mistake that is named as equal still can be, and has its reason."""
    for room in ROOMS:
        assert len(planted_in(room)) > 50, room
        assert all((ROOT / tests).exists() for tests in asked_in(room)), room
    known = equals()
    for path in {key[0] for key in known}:
        there = {m.key for m in mistakes((ROOT / PACKAGE / path).read_text(encoding="utf-8"), path)}
        assert {key for key in known if key[0] == path} <= there
    assert all(len(why) > 20 for why in known.values())


def test_who_is_asked() -> None:
    """The mirroring file's tests first, then the quick ones; of a module's own lines, and what is called while files are read in,
    every test; one that is slow only of what the others let pass."""
    reach = Reach(
        took_s={
            "tests/cli/test_x.py::t": 0.1,
            "tests/domain/a/test_b.py::t": 0.9,
            "tests/cli/test_y.py::t": 9.0,
            "tests/cli/test_z.py::t": 0.2,
        },
        comes={
            "domain/a/b.py::f": ["tests/cli/test_x.py::t", "tests/domain/a/test_b.py::t", "tests/cli/test_y.py::t"],
            "domain/a/b.py::g": ["tests/cli/test_z.py::t"],
        },
        early=["domain/a/b.py::g"],
        failed=[],
    )
    inside = Mistake("domain/a/b.py", 1, "f", "", "", 0, 0)
    asked = ["tests/domain/a/test_b.py::t", "tests/cli/test_x.py::t"]
    assert chosen(reach, inside) == (asked, 1, 1.0)
    assert rest(reach, inside, asked) == (["tests/cli/test_y.py::t"], 9.0)
    assert len(reaching(reach, "domain/a/b.py", "")) == len(reaching(reach, "domain/a/b.py", "g")) == 4
    other = Reach({"tests/t.py::t": 0.3}, {"domain/a/b.py::f": ["tests/t.py::t"]}, [], [])
    assert reaching(together([reach, other]), "domain/a/b.py", "f")["tests/t.py::t"] == 0.3


NUMBERING = "domain/readings/numbering.py"
MUST_DIE = {
    ("has", "not any((first <= seq <= last for first, last in numbering.lost))"),
    ("take", "merged[0][0] == contiguous + 1"),
    ("give_up", "mono_s - numbering.hole_since_mono_s"),
    ("holes", "first - 1"),
}


@pytest.mark.timeout(300)
def test_a_handful_is_planted_and_noticed() -> None:
    """Mistakes in the numbering of messages are noticed by the tests beside it; a module without one is not accused."""
    before = _told("git", "status", "--porcelain", PACKAGE)
    all_ = mistakes((ROOT / PACKAGE / NUMBERING).read_text(encoding="utf-8"), NUMBERING)
    planted = [m for m in all_ if (m.where, m.was) in MUST_DIE]
    assert len(planted) >= len(MUST_DIE)
    none = Mistake(NUMBERING, 1, "", "", "", 0, 1_000_000)
    reach = reach_of(["tests/domain/readings/test_numbering.py"])
    found = {o.mistake: o.verdict for o in outcomes([*planted, none], reach)}
    assert {m: found[m] for m in planted} == dict.fromkeys(planted, NOTICED)
    assert found[none] == ALIVE
    assert _told("git", "status", "--porcelain", PACKAGE) == before


@pytest.mark.timeout(300)
def test_tests_that_fail_by_themselves_are_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Nothing is planted where a test fails anyway: it would notice every mistake."""
    failing = tmp_path / "test_failing.py"
    failing.write_text("def test_it() -> None:\n    assert False\n")
    assert main(["--only", "domain/eggs", "--sample", "1", "--tests", str(failing)]) == 2
    assert "test_failing.py::test_it failed" in capsys.readouterr().out


def _told(*command: str) -> str:
    return subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False).stdout
