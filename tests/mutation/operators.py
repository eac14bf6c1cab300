"""The mistakes that are planted: each a small change of one node of a module's syntax tree."""

from __future__ import annotations

import ast
import copy
from collections.abc import Callable, Iterator
from dataclasses import dataclass

COMPARED: dict[type[ast.cmpop], tuple[type[ast.cmpop], ...]] = {
    ast.Lt: (ast.LtE, ast.GtE),
    ast.LtE: (ast.Lt, ast.Gt),
    ast.Gt: (ast.GtE, ast.LtE),
    ast.GtE: (ast.Gt, ast.Lt),
    ast.Eq: (ast.NotEq,),
    ast.NotEq: (ast.Eq,),
    ast.Is: (ast.IsNot,),
    ast.IsNot: (ast.Is,),
    ast.In: (ast.NotIn,),
    ast.NotIn: (ast.In,),
}
CALCULATED: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.FloorDiv: ast.Mult,
    ast.Mod: ast.Mult,
    ast.BitOr: ast.BitAnd,
    ast.BitAnd: ast.BitOr,
}
OTHER_CALL = {"min": "max", "max": "min", "any": "all", "all": "any", "floor": "ceil", "ceil": "floor"}
# Dropped: what they wrap stays.
WRAPPERS = {"escape", "quote", "abs", "sorted", "reversed", "plain", "printable", "one_line"}
UNSAID = {"Literal", "cast", "TypeVar", "NewType"}  # calls and subscripts that only say types


@dataclass(frozen=True, slots=True)
class Mistake:
    """A change of one module. path: below the package; where: the function it is in, "" for the module's own lines; was and now:
    source text; place: which of the module's mistakes it is."""

    path: str
    line: int
    where: str
    was: str
    now: str
    nth: int  # of several with the same was and now in that function
    place: int

    @property
    def key(self) -> tuple[str, str, str, str, int]:
        """By content: other lines may come and go above it."""
        return self.path, self.where, self.was, self.now, self.nth


def mistakes(source: str, path: str) -> list[Mistake]:
    """Every mistake that can be planted in a module, in the order of its tree."""
    found: list[Mistake] = []
    seen: dict[tuple[str, str, str], int] = {}
    for place, (node, change, where, _) in enumerate(_planted(ast.parse(source))):
        was, now = _said(node), "(nothing)" if isinstance(change, ast.Pass) else _said(change)
        if was != now:
            nth = seen[where, was, now] = seen.get((where, was, now), -1) + 1
            found.append(Mistake(path, node.lineno, where, was, now, nth, place))
    return found


def mistaken(source: str, mistake: Mistake) -> str:
    """The module with that mistake in it."""
    tree = ast.parse(source)
    for place, (_, change, _, put) in enumerate(_planted(tree)):
        if place == mistake.place:
            put(change)
            break
    return ast.unparse(ast.fix_missing_locations(tree))


def _planted(
    tree: ast.Module,
) -> Iterator[tuple[ast.expr | ast.stmt, ast.AST, str, Callable[[ast.AST], None]]]:
    for node, where, put in _nodes(tree):
        for change in _changes(node):
            yield node, change, where, put


def _said(node: ast.AST) -> str:
    """Of a condition its question alone, without what depends on it."""
    return ast.unparse(node.test if isinstance(node, ast.If | ast.While) else node)


def _nodes(tree: ast.Module) -> Iterator[tuple[ast.expr | ast.stmt, str, Callable[[ast.AST], None]]]:
    """(a node, the function it is in, how to put another in its place), without types, docstrings, imports and `__slots__`."""

    def walk(node: ast.AST, where: str) -> Iterator[tuple[ast.expr | ast.stmt, str, Callable[[ast.AST], None]]]:
        for field, value in ast.iter_fields(node):
            if field in ("annotation", "returns", "decorator_list", "type_comment", "bases", "keywords") and not (
                field == "keywords" and isinstance(node, ast.Call)
            ):
                continue
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef) and field == "name":
                continue
            for place, child in enumerate(value) if isinstance(value, list) else ((None, value),):
                if not isinstance(child, ast.AST) or isinstance(child, ast.Import | ast.ImportFrom):
                    continue
                if isinstance(child, ast.If) and ast.unparse(child.test) == "TYPE_CHECKING":
                    continue
                if isinstance(child, ast.Subscript | ast.Call) and _name(child) in UNSAID:
                    continue
                if isinstance(child, ast.Assign) and _is_alias(child):
                    continue
                named = isinstance(child, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef)
                inner = f"{where}.{child.name}".lstrip(".") if named else where  # type: ignore[attr-defined]
                if isinstance(child, ast.expr | ast.stmt):
                    yield child, where, _putter(node, field, place)
                yield from walk(child, inner)

    yield from walk(tree, "")


def _putter(node: ast.AST, field: str, place: int | None) -> Callable[[ast.AST], None]:
    def put(new: ast.AST) -> None:
        if place is None:
            setattr(node, field, new)
        else:
            getattr(node, field)[place] = new

    return put


def _name(node: ast.Subscript | ast.Call) -> str:
    called = node.value if isinstance(node, ast.Subscript) else node.func
    return getattr(called, "id", getattr(called, "attr", ""))


def _is_alias(node: ast.Assign) -> bool:
    """`Pair = tuple[str, str]`, `X = A | B`: a type's other name."""
    value = node.value
    return (
        isinstance(value, ast.Subscript)
        and _name(value) in {"dict", "list", "tuple", "Callable", "Mapping", "Sequence", "ndarray"}
    ) or (isinstance(value, ast.BinOp) and isinstance(value.op, ast.BitOr) and isinstance(value.left, ast.Name))


def _changes(node: ast.expr | ast.stmt) -> Iterator[ast.AST]:
    """What a slip of the hand could have written instead."""

    def changed(**fields: object) -> ast.AST:
        new = copy.copy(node)
        for name, value in fields.items():
            setattr(new, name, value)
        return new

    match node:
        case ast.Compare(ops=ops):
            for place, op in enumerate(ops):
                for other in COMPARED[type(op)]:
                    yield changed(ops=[*ops[:place], other(), *ops[place + 1 :]])
        case ast.BinOp(op=op) if type(op) in CALCULATED:
            yield changed(op=CALCULATED[type(op)]())
        case ast.BoolOp(op=op, values=values):
            yield changed(op=ast.Or() if isinstance(op, ast.And) else ast.And())
            yield from (values[0], values[-1])
        case ast.UnaryOp(op=ast.Not() | ast.USub(), operand=operand):
            yield operand
        case ast.Constant(value=bool(value)):
            yield ast.Constant(not value)
        case ast.Constant(value=int(value)):
            yield ast.Constant(value + 1)
        case ast.Constant(value=float(value)):
            yield ast.Constant(value * 1.25 if value else 1.0)
        case ast.IfExp(body=body, orelse=orelse):
            yield from (body, orelse)
        case ast.If(test=test) | ast.While(test=test) if not isinstance(test, ast.Compare):
            yield changed(test=ast.UnaryOp(ast.Not(), test))
        case ast.Call(func=ast.Name(id=name) | ast.Attribute(attr=name) as func, args=args):
            if name in OTHER_CALL:
                swapped = copy.copy(func)
                setattr(swapped, "id" if isinstance(swapped, ast.Name) else "attr", OTHER_CALL[name])
                yield changed(func=swapped)
            if name in WRAPPERS and args:
                yield args[0] if name != "sorted" else ast.Call(ast.Name("list", ast.Load()), [args[0]], [])
            if name == "get" and len(args) == 2:
                yield changed(args=args[:1])
        case ast.Return(value=value) if value is not None and ast.unparse(value) not in ("None", "True", "False"):
            yield changed(value=ast.Constant(None))
        case ast.Expr(value=ast.Call() | ast.Yield() | ast.YieldFrom() | ast.Await()) | ast.AugAssign() | ast.Delete():
            yield ast.Pass()
        case ast.Assign(targets=[ast.Attribute() | ast.Subscript()]):
            yield ast.Pass()
        case ast.Raise():
            yield ast.Pass()
        case ast.Break():
            yield ast.Continue()
        case ast.Continue():
            yield ast.Pass()
