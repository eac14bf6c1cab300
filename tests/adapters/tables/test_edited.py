"""A configuration that the program changes: what is meant, and nothing beside it."""

from __future__ import annotations

import os
import re
import stat
import tomllib
from pathlib import Path
from typing import Any

import pytest

from monitor.adapters.tables.edited import (
    EditError,
    put_back,
    with_other_machine,
    with_other_node,
    with_other_probe,
    write_whole,
)

ROOT = Path(__file__).parents[3]
TEXT = """\
# the back room
[site]
id = "home"   # as on the nodes

[[machine]]
id = "setter-1"
name = "The old one"

[machine.rules.dry-bulb-high-alarm]
delay_s = 120

[[machine]]
id = "hatcher-1"

[[probe]]  # by the fan
node = "node-a"
probe = "top"
machine = "setter-1"

[[probe]]
node = "node-a"
probe = "egg/1"
machine = "setter-1"

[[probe]]
node = "node-b"
probe = "top"
machine = "hatcher-1"

[[switch]]
node = "node-a"
name = "door"
of = "door"
machine = "setter-1"
"""
IN_ONE_LINE = 'machine = [{id = "setter-1"}]\nprobe = [{node = "node-a", probe = "top", machine = "setter-1"}] # all\n'


def probes(text: str) -> list[tuple[str, str, str]]:
    return [(p["node"], p["probe"], p["machine"]) for p in tomllib.loads(text)["probe"]]


def lines_changed(before: str, after: str) -> list[tuple[str, str]]:
    was, now = before.splitlines(), after.splitlines()
    assert len(was) == len(now)
    return [pair for pair in zip(was, now, strict=True) if pair[0] != pair[1]]


def test_another_probe_takes_the_place_of_one() -> None:
    """Two lines are otherwise; comments, blanks and all other tables are as they were."""
    assert lines_changed(TEXT, with_other_probe(TEXT, "node-a/egg/1", "node-c/top")) == [
        ('node = "node-a"', 'node = "node-c"'),
        ('probe = "egg/1"', 'probe = "top"'),
    ]


def test_two_probes_change_places() -> None:
    """Each looks at the other's machine."""
    text = with_other_probe(TEXT, "node-a/top", "node-b/top")
    assert probes(text) == [
        ("node-b", "top", "setter-1"),
        ("node-a", "egg/1", "setter-1"),
        ("node-a", "top", "hatcher-1"),
    ]
    assert with_other_probe(text, "node-b/top", "node-a/top") == TEXT


def test_another_node_has_all_that_was_on_one() -> None:
    """Its probes and switches; one that is there already changes places with it."""
    text = with_other_node(TEXT, "node-a", "node-b")
    assert [node for node, _, _ in probes(text)] == ["node-b", "node-b", "node-a"]
    assert tomllib.loads(text)["switch"][0]["node"] == "node-b"
    assert with_other_node(text, "node-a", "node-b") == TEXT


def test_another_machine_has_the_probes_of_one() -> None:
    """And its own rules; the name of the other it has not, unless one is said."""
    data = tomllib.loads(with_other_machine(TEXT, "setter-1", "setter-9", air="still"))
    assert data["machine"][0] == {
        "id": "setter-9",
        "air": "still",
        "rules": {"dry-bulb-high-alarm": {"delay_s": 120}},
    }
    assert [p["machine"] for p in data["probe"]] == ["setter-9", "setter-9", "hatcher-1"]
    assert data["switch"][0]["machine"] == "setter-9"
    named = tomllib.loads(with_other_machine(TEXT, "setter-1", "setter-1", name="The new one"))
    assert named["machine"][0]["name"] == "The new one"


@pytest.mark.parametrize(
    "shape",
    [TEXT, TEXT.replace("\n", "\r\n"), TEXT.replace('"', "'"), TEXT.replace(" = ", "="), TEXT.rstrip("\n")],
    ids=["as usual", "dos", "other quotes", "close", "no last line end"],
)
def test_however_it_is_written(shape: str) -> None:
    """Also with lines that end as another system ends them."""
    text = with_other_probe(shape, "node-a/top", "node-z/top")
    before, after = tomllib.loads(shape), tomllib.loads(text)
    before["probe"][0]["node"] = "node-z"
    assert after == before
    assert ("\r\n" in text) == ("\r\n" in shape)


def test_what_stands_in_one_line_is_left_to_people() -> None:
    """Nothing is guessed: the text is as meant, or not changed at all."""
    with pytest.raises(EditError, match="a line for each setting; or do it by hand"):
        with_other_probe(IN_ONE_LINE, "node-a/top", "node-z/top")


def test_tables_stay_in_their_order() -> None:
    """Many write each machine with its probes below it."""
    tables = re.split(r"(?m)^(?=\[\[)", TEXT)
    mixed = "".join([tables[0], tables[1], tables[3], tables[4], tables[2], tables[5], tables[6]])
    assert lines_changed(mixed, with_other_node(mixed, "node-b", "node-z")) == [('node = "node-b"', 'node = "node-z"')]


def test_the_sample_of_the_installation_can_be_changed() -> None:
    """Its many comments stay."""
    sample = (ROOT / "deploy" / "eggroom.toml").read_text(encoding="utf-8")
    first: dict[str, Any] = tomllib.loads(sample)["probe"][0]
    changed = lines_changed(sample, with_other_node(sample, first["node"], "node-spare"))
    assert changed
    assert all("node-spare" in now for _, now in changed)


@pytest.mark.parametrize(
    "change",
    [
        lambda text: with_other_probe(text, "node-z/top", "node-a/top"),
        lambda text: with_other_node(text, "node-z", "node-y"),
        lambda text: with_other_machine(text, "setter-7", "setter-8"),
    ],
)
def test_what_is_not_in_it_cannot_be_replaced(change: Any) -> None:
    """Also where what is to take its place is there."""
    with pytest.raises(EditError, match="not in the configuration"):
        change(TEXT)


def test_a_file_is_written_whole_and_can_be_put_back(tmp_path: Path) -> None:
    """With its mode; through a link to where it lies; what was before is beside it."""
    real, link = tmp_path / "real.toml", tmp_path / "eggroom.toml"
    real.write_text("one")
    real.chmod(0o640)
    link.symlink_to(real)
    before = write_whole(link, "two")
    assert (link.is_symlink(), real.read_text(), before.read_text()) == (True, "two", "one")
    assert [stat.S_IMODE(path.stat().st_mode) for path in (real, before)] == [0o640, 0o640]
    put_back(link)
    assert (real.read_text(), sorted(p.name for p in tmp_path.iterdir())) == ("one", ["eggroom.toml", "real.toml"])


def test_a_card_that_fails_leaves_the_file_as_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing half-written lies about."""
    file = tmp_path / "eggroom.toml"
    file.write_text("one")

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OSError, match="No space"):
        write_whole(file, "two")
    assert [(p.name, p.read_text()) for p in tmp_path.iterdir()] == [("eggroom.toml", "one")]
