"""The planting of mistakes, in short: what is planted, that the tree stays as it is, and a handful that must be noticed."""

from __future__ import annotations

import ast
import subprocess
from collections.abc import Iterator, Sequence
from pathlib import Path

import pytest

from tests.mutation.__main__ import equals, main, outcomes, reach_of
from tests.mutation.operators import Mistake, mistaken, mistakes
from tests.mutation.reach import Reach, reaching, together
from tests.mutation.rooms import PACKAGE, ROOMS, ROOT, asked_in, planted_in
from tests.mutation.trial import ALIVE, HUNG, NOTICED, UNREACHED, Bench, Outcome, chosen, rest, tried

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


def test_the_mirroring_file_has_half_of_the_time_and_then_each_file_its_turn() -> None:
    """Ten of twenty seconds are its own; of the rest each file beside it gives one, then the others, the quickest first; what comes too
    late is left for those that live."""
    quick = {f"tests/domain/a/test_b.py::t{n:02}": 1.5 for n in range(10)}
    beside = {"tests/domain/a/test_c.py::t1": 1.0, "tests/domain/a/test_c.py::t2": 1.1}
    far = {"tests/cli/test_x.py::t1": 0.5, "tests/cli/test_x.py::t2": 0.6}
    took_s = {**quick, **beside, **far}
    reach = Reach(took_s, {"domain/a/b.py::f": [*took_s]}, [], [])
    asked, left, seconds = chosen(reach, Mistake("domain/a/b.py", 1, "f", "", "", 0, 0))
    first, then = [f"tests/domain/a/test_b.py::t{n:02}" for n in range(6)], [*beside]
    assert asked == [*first, then[0], "tests/cli/test_x.py::t1", then[1], "tests/cli/test_x.py::t2", *[*quick][6:10]]
    assert (left, round(seconds, 3)) == (0, 18.2)
    one_more = "tests/domain/a/test_b.py::t99"
    reach = Reach({**took_s, one_more: 1.9}, {"domain/a/b.py::f": [*took_s, one_more]}, [], [])
    assert chosen(reach, Mistake("domain/a/b.py", 1, "f", "", "", 0, 0))[:2] == (asked, 1)


class Played(Bench):
    """A bench whose runs are given: what each ends with, and what was asked while something was planted."""

    def __init__(self, *codes: int | None) -> None:
        self.codes, self.planted = [*codes], False
        self.asked: list[list[str]] = []

    def run(self, arguments: Sequence[str], timeout_s: float, plugins: Sequence[object] = ()) -> int | None:
        """The next that was given."""
        assert self.planted
        self.asked.append([argument for argument in arguments if argument.startswith("tests/")])
        return self.codes.pop(0)

    def plant(self, mistake: Mistake) -> None:
        """From now."""
        self.planted = True

    def mend(self, mistake: Mistake) -> None:
        """No more."""
        self.planted = False


QUICK, SLOW = "tests/domain/a/test_b.py::quick", "tests/domain/a/test_b.py::slow"


@pytest.mark.parametrize(
    ("codes", "slow", "verdict", "asked"),
    [
        ([1], True, NOTICED, [[QUICK]]),
        ([0, 1], True, NOTICED, [[QUICK], [SLOW]]),
        ([0, 0], True, ALIVE, [[QUICK], [SLOW]]),
        ([0, None], True, HUNG, [[QUICK], [SLOW]]),
        ([None], True, HUNG, [[QUICK]]),
        ([0], False, ALIVE, [[QUICK]]),
    ],
)
def test_the_slow_are_asked_of_what_the_quick_let_pass(
    codes: list[int | None], slow: bool, verdict: str, asked: list[list[str]]
) -> None:
    """And only then, and not at all if they are not to be; nothing stays planted."""
    reach = Reach({QUICK: 0.1, SLOW: 9.0}, {"domain/a/b.py::f": [QUICK, SLOW]}, [], [])
    bench = Played(*codes)
    outcome = tried(bench, Mistake("domain/a/b.py", 1, "f", "", "", 0, 0), reach, slow=slow)
    assert (outcome.verdict, bench.asked, bench.planted) == (verdict, asked, False)
    assert (outcome.tests, outcome.left) == (sum(map(len, asked)), 2 - sum(map(len, asked)))


def test_where_no_test_comes_nothing_is_run() -> None:
    """It is told as unreached."""
    bench = Played()
    outcome = tried(
        bench, Mistake("domain/a/b.py", 1, "f", "", "", 0, 0), Reach({QUICK: 0.1}, {"domain/a/b.py::f": []}, [], [])
    )
    assert (outcome.verdict, outcome.tests, bench.asked) == (UNREACHED, 0, [])


@pytest.mark.parametrize(
    ("noticed", "code", "said"), [(True, 1, "1 of 1 that are named equal are not"), (False, 0, "0 of 1 that are named")]
)
def test_what_is_named_equal_is_planted_alone(
    noticed: bool, code: int, said: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """`--equal`: an entry that a test notices is told, and ends the run with 1."""
    planted = next(m for m in planted_in("domain/readings") if m.where == "holes")
    monkeypatch.setattr(
        "tests.mutation.__main__.equals", lambda: {planted.key: "changes nothing that anyone could see"}
    )
    monkeypatch.setattr("tests.mutation.__main__.reach_of", lambda tests: Reach({QUICK: 0.1}, {}, [], []))
    given: list[Mistake] = []

    def came(mistakes: list[Mistake], reach: Reach, processes: int, *, slow: bool) -> Iterator[Outcome]:
        assert not slow
        given.extend(mistakes)
        yield Outcome(planted, NOTICED if noticed else ALIVE, 1, 0)

    monkeypatch.setattr("tests.mutation.__main__.outcomes", came)
    assert main(["--equal", "--only", "domain/readings"]) == code
    assert given == [planted]
    out = capsys.readouterr().out
    assert said in out
    assert (f"noticed monitor/{planted.path}" in out) is noticed


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
