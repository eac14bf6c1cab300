"""Values that are frozen for the type checker: they are to be what a frozen dataclass would be."""

import ast
import copy
import inspect
import pickle
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import pytest

from monitor.domain.fixed import fixed, kept

PROGRAM = Path(__file__).parents[2] / "monitor"


@fixed
class Probe:
    """With every kind of field that is used."""

    key: str
    limit_c: float | None = None
    rules: Mapping[str, float] = field(default_factory=dict, hash=False)
    secret: str = field(default="", repr=False)
    node: str = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "node", self.key.partition("/")[0])


@fixed
class One:
    """A single field."""

    value: float


@fixed
class Two:
    """Like it, with one more."""

    value: float
    other: float = 0.0


@fixed
class Nothing:
    """No field at all."""


@fixed(kw_only=True)
class Named:
    """Made by name alone."""

    name: str


@kept
class Machine:
    """What is known of something, and changes."""

    id: str
    heard_c: float | None = None
    seen: list[int] = field(default_factory=list)


def of_each_way(kind: Callable[[type], type]) -> Any:
    """A class with fields of every way to be given, or not to be, made by ours or by the library."""

    @kind
    class Mixed:
        value: float
        new: tuple[int, ...] = (1,)
        missing: list[int] = field(default_factory=list)
        unit: str = field(default="C", kw_only=True)
        node: str = field(kw_only=True)
        turns: int = field(default=3, init=False)
        seen: dict[str, int] = field(default_factory=dict, init=False)

    return Mixed


Mixed, Plain = of_each_way(fixed), of_each_way(dataclass)


def test_equal_by_the_fields_that_are_compared() -> None:
    """Two of one class are equal when their fields are; what is worked out from them is not asked."""
    assert Probe("a/b", 37.5) == Probe("a/b", 37.5)
    assert Probe("a/b", 37.5) != Probe("a/b", 37.6)
    assert Probe("a/b", rules={"x": 1.0}) != Probe("a/b", rules={"x": 2.0})
    other = Probe("a/b")
    object.__setattr__(other, "node", "elsewhere")
    assert other == Probe("a/b")


def test_never_equal_to_another_class() -> None:
    """The same figures in another class are another thing, as is a tuple of them."""
    others: list[object] = [Two(1.0), (1.0,), Nothing()]
    assert One(1.0) not in others
    assert Nothing() in others


@pytest.mark.parametrize("kind", [One, Two])
def test_a_value_is_equal_to_its_copy_even_without_a_number(kind: type[One] | type[Two]) -> None:
    """What holds one and the same nan is equal, with one field as with several: a tuple of them would be."""
    nan = float("nan")
    assert kind(nan) == kind(nan)


def test_hashed_by_the_fields_that_may_be() -> None:
    """Equal ones share a hash and a place in a set; a mapping among the fields is left out."""
    assert hash(Probe("a/b", rules={"x": 1.0})) == hash(Probe("a/b", rules={"x": 2.0}))
    assert len({Probe("a/b"), Probe("a/b"), Probe("a/c")}) == 2
    assert len({Nothing(), Nothing()}) == 1
    assert {One(1.0): "found"}[One(1.0)] == "found"


def test_shown_as_a_dataclass_shows_itself() -> None:
    """Its name and its fields, without those that are secret or worked out."""
    assert repr(Probe("a/b", 37.5, secret="word")) == "Probe(key='a/b', limit_c=37.5, rules={})"
    assert repr(Nothing()) == "Nothing()"
    assert repr(Two(1.0)) == "Two(value=1.0, other=0.0)"


def test_made_copied_replaced_and_sent_as_a_value() -> None:
    """A copy is equal, one sent to another process too, and a replaced field is worked out anew."""
    value = Probe("a/b", 37.5)
    assert copy.deepcopy(value) == pickle.loads(pickle.dumps(value)) == value
    assert replace(value, key="c/d").node == "c"
    assert Named(name="x") == Named(name="x")
    with pytest.raises(TypeError):
        Named("x")  # type: ignore[call-arg]


def test_it_takes_no_other_field() -> None:
    """With slots, a misspelt field is an error and not a new one."""
    with pytest.raises(AttributeError):
        object.__setattr__(One(1.0), "valu", 2.0)


@pytest.mark.parametrize(
    ("values", "named"),
    [
        ((1.0,), {"node": "a"}),
        ((1.0, (2,), [3]), {"node": "a", "unit": "F"}),
        ((), {"missing": [4], "node": "a", "value": 2.0}),
        ((), {"node": "a"}),
        ((1.0,), {}),
        ((1.0, (2,), [3], "F"), {"node": "a"}),
        ((1.0,), {"node": "a", "turns": 4}),
        ((1.0,), {"node": "a", "value": 4.0}),
        ((1.0,), {"node": "a", "other": 4.0}),
    ],
)
def test_it_takes_what_a_dataclass_takes(values: tuple[object, ...], named: dict[str, object]) -> None:
    """By place and by name, with the same values for what is left out, and the same words for what is wrong; the first time and later."""

    def made(kind: type[object]) -> object:
        try:
            value = kind(*values, **named)
        except TypeError as error:
            return str(error)
        return [getattr(value, name) for name in ("value", "new", "missing", "unit", "node", "turns", "seen")]

    assert made(Mixed) == made(Mixed) == made(Plain)


def test_a_default_is_made_anew_for_each_value() -> None:
    """As a dataclass does: two values share no list."""
    one, two = Mixed(1.0, node="a"), Mixed(1.0, node="a")
    assert one.missing is not two.missing
    assert one.seen is not two.seen


def test_what_is_kept_is_changed_in_place_equal_by_its_fields_and_never_hashed() -> None:
    """As a dataclass that is not frozen: nothing that changes may be looked for in a set."""
    one, two = Machine("a"), Machine("a")
    assert one == two
    one.heard_c = 37.5
    one.seen.append(1)
    assert one != two
    assert copy.deepcopy(one) == pickle.loads(pickle.dumps(one)) == one
    assert replace(one, heard_c=None).seen == [1]
    assert repr(two) == "Machine(id='a', heard_c=None, seen=[])"
    with pytest.raises(TypeError, match="unhashable"):
        hash(one)
    with pytest.raises(AttributeError):
        one.herd_c = 37.5  # type: ignore[attr-defined]


def test_init_is_written_with_the_first_value_and_stays() -> None:
    """A start puts together many classes, and makes values of few; what is made with each reading must find no detour."""

    @fixed
    class Late:
        """One."""

        value: float

    before = Late.__init__
    assert Late(1.0) == Late(1.0)
    after = Late.__init__
    assert after is not before
    assert list(inspect.signature(after).parameters) == ["self", "value"]
    assert after.__code__.co_names == ("value",)
    Late(2.0)
    assert Late.__init__ is after


def test_each_class_of_the_program_says_what_it_is() -> None:
    """The library works out a signature for a class without a docstring, at every start."""
    silent = []
    for path in sorted(PROGRAM.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not isinstance(node, ast.ClassDef) or ast.get_docstring(node) is not None:
                continue
            if any(ast.unparse(decorator).partition("(")[0] in ("fixed", "kept") for decorator in node.decorator_list):
                silent.append(f"{path.name}: {node.name}")
    assert silent == []
