"""Requests as they come over the wire: what is read, and that what is no request is refused in one sentence."""

from __future__ import annotations

import json
import subprocess
import sys
from datetime import UTC, datetime
from typing import Any, get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.adapters.requests import MAX_ROWS, BadRequest, read_request
from monitor.domain.eggs.entry import CANDLED, FACTS, Identity, Sign, Weighing
from monitor.service.watch.requests import (
    Acknowledge,
    BatchAdd,
    BySalts,
    Calibrate,
    LookFacts,
    Request,
    RequestError,
    Shelve,
    SplitOff,
    Write,
    WriteTable,
    WriteWeighings,
)

AT = datetime(2026, 3, 8, 8, 0, 0, 123000, tzinfo=UTC)
ADD = {"do": "batch-add", "batch": "b", "profile": "hen", "set_at": "2026-03-08T10:00:00.123456+02:00"}
WRITE = {"do": "entry", "batch": "b", "kind": "weighing", "by": "ada"}


def refused(**asked: Any) -> str:
    with pytest.raises(RequestError) as raised:
        read_request(asked)
    assert isinstance(raised.value, BadRequest)
    ((where,), (came,), (expected,)) = raised.value.where, raised.value.came, raised.value.expected
    assert str(raised.value) == f"{where}: {came}, expected {expected}"
    return str(raised.value)


@pytest.mark.parametrize(
    ("asked", "request_"),
    [
        (ADD, BatchAdd(batch="b", profile="hen", set_at=AT)),
        (ADD | {"eggs": 24, "machine": None}, BatchAdd(batch="b", profile="hen", set_at=AT, eggs=24)),
        ({"do": "acknowledge", "alarm": 3, "by": "sam"}, Acknowledge(alarm=3, by="sam")),
        ({"do": "shelve", "alarm": 3, "for_s": 600}, Shelve(alarm=3, for_s=600.0)),
        ({"do": "split", "batch": "b", "eggs": [7, 3], "count": None}, SplitOff(batch="b", eggs=(7, 3))),
        ({"do": "facts"}, LookFacts()),
        (
            WRITE | {"fact": {"gross_g": 60, "error_g": None}, "egg": 7, "sure": True},
            Write(batch="b", by="ada", fact=Weighing(60.0), egg=7, sure=True),
        ),
        (
            {"do": "weighings", "batch": "b", "rows": [[2, 7, 60, None], ["3", 8, 61.5, ADD["set_at"]]]},
            WriteWeighings(batch="b", rows=((2, 7, 60.0, None), ("3", 8, 61.5, AT))),
        ),
        (
            {
                "do": "table",
                "batch": "b",
                "rows": [
                    [2, 7, "identity", {"pair": "P3", "hen": None}, None],
                    [2, 7, "sign", {"sign": "draw-down"}, ADD["set_at"]],
                ],
            },
            WriteTable(batch="b", rows=((2, 7, Identity(pair="P3"), None), (2, 7, Sign("draw-down"), AT))),
        ),
        (
            {
                "do": "calibrate",
                "probe": "n/p",
                "since": "start",
                "rh_pct": {"salts": [["a", 73]], "temperature_c": 25},
            },
            Calibrate(probe="n/p", since="start", rh_pct=BySalts(salts=(("a", 73.0),), temperature_c=25.0)),
        ),
        ({"do": "calibrate", "probe": "n/p", "since": ADD["set_at"]}, Calibrate(probe="n/p", since=AT)),
    ],
)
def test_a_request_is_read(asked: dict[str, Any], request_: Request) -> None:
    """Its verb says which it is; moments become aware UTC to the millisecond, lists become frozen, and null is as if not given."""
    read = read_request(asked)
    assert read == request_
    assert read_request(json.loads(json.dumps(asked))) == request_


@pytest.mark.parametrize(
    ("asked", "line"),
    [
        (ADD | {"machin": "setter-1"}, "batch-add: no key 'machin', expected machine"),
        (ADD | {"zzzz": 1}, "batch-add: no key 'zzzz', expected batch, profile, set_at, eggs, machine, note"),
        ({"do": "room", "batch": "b"}, "room: no key 'batch', expected none"),
        (ADD | {"set_at": "1700000000"}, "set_at: '1700000000', expected a time such as 2026-03-01T18:00:00Z"),
        (ADD | {"set_at": "start"}, "set_at: 'start', expected a time such as 2026-03-01T18:00:00Z"),
        (ADD | {"note": "a\x1b[2J"}, "note: 'a\\x1b[2J', expected text in one line, without control characters"),
        (ADD | {"note": "x" * 501}, f"note: '{'x' * 59}, expected a text of at most 500 characters"),
        (ADD | {"eggs": "24"}, "eggs: '24', expected a whole number"),
        (ADD | {"eggs": 10**30 + 0.5}, "eggs: 1e+30, expected a whole number"),
        ({"do": "acknowledge", "alarm": 3}, "by: None, expected a text of at most 500 characters"),
        (WRITE | {"fact": {"a\nb": 1}}, "fact: 'a\\nb': 'a\\nb', expected text in one line, without control characters"),
        (WRITE | {"fact": {"gross_g": 60, "gross": 1}}, "weighing: no field 'gross', expected gross_g, tare_g, error_g, scale, digit_g"),
        (WRITE | {"kind": "found", "fact": {}}, f"entry: kind 'found', expected one of {', '.join(FACTS)}"),
        (WRITE | {"kind": "sign", "fact": {}}, "sign: no sign, expected a text"),
        (WRITE | {"kind": "candling", "fact": {"found": "blue"}}, f"candling: 'blue', expected one of {', '.join(CANDLED)}"),
        (WRITE | {"fact": {"a": [[[[[1]]]]]}}, "fact: a: 0: 0: a value nested deeper, expected at most 4 levels"),
        ({"do": "weighings", "batch": "b", "rows": [[2, 7, "60", None]]}, "line 2: gross_g: '60', expected a number"),
        ({"do": "weighings", "batch": "b", "rows": [[2, 7]]}, "rows: row 1: [2, 7], expected line, egg, gross_g, at (a time or null)"),
        ({"do": "table", "batch": "b", "rows": [[2, "7", "note", {"text": "x"}, None]]}, "line 2: egg: '7', expected a whole number"),
        ({"do": "table", "batch": "b", "rows": [[2, 7]]}, "rows: row 1: [2, 7], expected line, egg, kind, fact, at (a time or null)"),
        ({"do": "weighings", "batch": "b", "rows": []}, f"rows: 0 of them, expected 1 to {MAX_ROWS}"),
        ({"do": "split", "batch": "b", "eggs": [1] * 1001}, f"eggs: 1001 of them, expected at most {MAX_ROWS}"),
        ({"do": "calibrate", "probe": "n/p", "rh_pct": {"offset": "x"}}, "rh_pct: offset: 'x', expected a number"),
        ({"do": "calibrate", "probe": "n/p", "rh_pct": {"off": 1}}, "rh_pct: {'off': 1}, expected an offset or points or salts and temperature_c"),
        ({"do": "calibrate", "probe": "n/p", "since": "soon"}, "since: 'soon', expected a time such as 2026-03-01T18:00:00Z or 'start'"),
    ],
)  # fmt: skip
def test_what_is_no_request(asked: dict[str, Any], line: str) -> None:
    """Where, what came, what was expected; a key that is not known is answered with the nearest."""
    assert refused(**asked) == line


VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=4), inner, max_size=3),
    max_leaves=8,
)
KEYS = sorted({name for kind in get_args(Request) for name in kind.__dataclass_fields__} - {"do"})


@given(
    st.sampled_from(["entry", "weighings", "calibrate", "split", "batch-add"]),
    st.dictionaries(st.sampled_from(KEYS), VALUES),
)
def test_whatever_comes_is_read_or_refused(do: str, asked: dict[str, Any]) -> None:
    """No JSON breaks the reader, and a refusal can be sent back."""
    try:
        read_request({"do": do} | asked)
    except BadRequest as error:
        json.dumps(str(error)).encode()


def test_a_row_of_a_table_that_is_no_entry() -> None:
    """Each is named by its line, ten of them at most."""
    rows = [[line, 7, "identity", {"pare": "P3"}, None] for line in range(2, 14)]
    with pytest.raises(BadRequest) as raised:
        read_request({"do": "table", "batch": "b", "rows": [*rows, [14, 7, "note", {"text": "x"}, None]]})
    lines = str(raised.value).splitlines()
    assert lines[0].startswith("line 2: identity: no field 'pare', expected pair, cock, hen,")
    assert (len(lines), lines[-1]) == (11, "and 2 more")


def test_the_kinds_are_put_together_with_the_first_request() -> None:
    """A start does not pay for it: loading the module loads no pydantic."""
    code = "import sys, monitor.adapters.requests; sys.exit('pydantic' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
