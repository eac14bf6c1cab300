"""Why something is refused: moments stay moments until somebody is told."""

from __future__ import annotations

import json
import pickle
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from monitor.domain.needs.batch import Batch, BatchError, Stay, closed, declared, moved
from monitor.domain.refusal import Refusal, Sure, in_words, joined, one_of, sought
from monitor.domain.wall import sheet_time
from monitor.service.watch.requests import RequestError

AT = datetime(2026, 7, 1, 22, 30, 15, 250000, tzinfo=UTC)


def test_as_text_its_moments_are_those_for_programs() -> None:
    """RFC 3339, UTC, to the second; the texts are as they were given."""
    refused = Refusal("batch hen-1", ("move at ", AT, " is before it came to setter-1"))
    assert str(refused) == "batch hen-1: move at 2026-07-01T22:30:15Z is before it came to setter-1"
    assert refused.words[1] == AT


def test_who_is_told_has_each_moment_on_his_own_clock() -> None:
    """The same words, said on the wall of a house in another zone; a text that looks like a moment stays as it is."""
    words = ("note 2026-07-01T22:30:15Z: ", AT, " is in the future")
    zone = ZoneInfo("Europe/Vienna")
    assert (
        in_words(words, lambda at: sheet_time(at, zone))
        == "note 2026-07-01T22:30:15Z: 2026-07-02 00:30 is in the future"
    )


@pytest.mark.parametrize(
    ("refused", "line"),
    [
        (Refusal("egg 7", "dead already", "one that lives"), "egg 7: dead already, expected one that lives"),
        (Refusal("egg 7", "dead already"), "egg 7: dead already"),
        (Refusal("alarm 7x", "", "a number"), "alarm 7x: expected a number"),
        (Refusal("", "two bands came", "one"), "two bands came, expected one"),
        (Refusal("", (AT, " is late")), "2026-07-01T22:30:15Z is late"),
        (Refusal("nothing else"), "nothing else"),
    ],
)
def test_one_form_of_sentence(refused: Refusal, line: str) -> None:
    """Where, what came, what was expected; what is not said leaves nothing behind."""
    assert str(refused) == line


def test_a_hint_comes_last() -> None:
    """A request is refused for the same reason, with where, what came and what was expected kept apart."""
    for expected in ("", "a later day"):
        hinted = RequestError.of(Refusal("batch hen-1", "closed", expected), (" (the clock says ", AT, ")"))
        assert (hinted.where, hinted.came[0]) == (("batch hen-1",), "closed")
        said = f"batch hen-1: closed{f', expected {expected}' if expected else ''}"
        assert str(hinted) == f"{said} (the clock says 2026-07-01T22:30:15Z)"


def test_what_is_only_odd_is_said_by_a_fact() -> None:
    """Whoever asks about it himself leaves it out, wherever it stands; a text with the same words is a text."""
    plain = "egg 7: 600 g, expected --sure to write it all the same"
    odd = Refusal("egg 7", joined([("600 g", Sure("write")), ("line 2",)]))
    assert str(odd) == f"{plain}\nline 2"
    assert RequestError.of(odd).answer()["words"] == ["egg 7: 600 g", {"sure": "write"}, "\nline 2"]
    note = Refusal("egg 7", plain.removeprefix("egg 7: "))
    assert str(note) == plain
    assert RequestError.of(note).answer()["words"] == [plain]


def test_a_refusal_of_one_kind_becomes_one_of_another() -> None:
    """With where, what came and what was expected apart."""
    found = BatchError.of(Refusal("hens.toml: eggs", AT, "a number"))
    assert (type(found), found.where, found.came, found.expected) == (
        BatchError,
        ("hens.toml: eggs",),
        (AT,),
        ("a number",),
    )


def test_several_are_one_with_a_text_between() -> None:
    """Lines keep their order and their moments; of one nothing is added."""
    assert joined([("a ", AT), ("b",), (AT,)]) == ("a ", AT, "\n", "b", "\n", AT)
    assert joined([("a",)], "; ") == ("a",)
    assert joined([]) == ()


def test_it_survives_a_copy() -> None:
    """An error that crosses to another process says the same there."""
    copied = pickle.loads(pickle.dumps(Refusal("x", AT, "a later one")))
    assert (str(copied), copied.words) == (
        "x: 2026-07-01T22:30:15Z, expected a later one",
        ("x: ", AT, ", expected a later one"),
    )
    assert (copied.where, copied.came, copied.expected) == (("x",), (AT,), ("a later one",))


@pytest.mark.parametrize("wrong", ["move", "declare", "close", "close twice"])
def test_a_batch_hands_its_moments_on(wrong: str) -> None:
    """Each refusal of a batch that is about a time has that time as a moment."""
    batch = Batch("hen-1", "chicken", AT, 10, stays=(Stay("setter-1", AT),))
    early = datetime(2026, 6, 30, tzinfo=UTC)
    acts = {
        "move": lambda: moved(batch, "setter-2", early),
        "declare": lambda: declared(batch, "lockdown", early),
        "close": lambda: closed(batch, early),
        "close twice": lambda: closed(closed(batch, AT), AT),
    }
    with pytest.raises(BatchError) as caught:
        acts[wrong]()
    assert (AT if wrong == "close twice" else early) in caught.value.words


def test_the_answer_of_a_request_holds_both() -> None:
    """`error` for programs as ever; `words` with each moment apart, so that nobody need find it in a sentence."""
    answer = json.loads(json.dumps(RequestError("at", (AT, " is in the future")).answer()))
    assert answer == {
        "error": "at: 2026-07-01T22:30:15Z is in the future",
        "words": ["at: ", {"at": "2026-07-01T22:30:15.250Z"}, " is in the future"],
    }


def test_a_part_of_a_name_finds_it() -> None:
    """Who types `duck` is told of the ducks; a word that is no part of any name is told of none."""
    known = ["chicken", "pekin-duck", "muscovy-duck", "goose", *(f"bird-{n}" for n in range(20))]
    assert sought("duck", known) == (", nearest pekin-duck or muscovy-duck", f"one of {len(known)}")
    assert sought("Pekin ducks", known)[0] == ", nearest pekin-duck"
    assert sought("emu", known)[0] == sought("du", known)[0] == ""
    assert sought("my duck of ours", ["goose", "duck"])[0] == ", nearest duck"  # it is made of that name's word


def test_a_part_has_three_letters() -> None:
    """Two are too few to say which name is meant."""
    assert sought("lac", ["house-du-lac", "goose"])[0] == ", nearest house-du-lac"
    assert sought("du", ["house-du-lac", "goose"])[0] == ""


def test_how_many_names_are_told() -> None:
    """At most two that are near, or four that a word is a part of; each by its name while there are twelve at most, else how many there are."""
    assert sought("hen-9", [f"hen-{n}" for n in range(1, 6)])[0].count(" or ") == 1
    ducks = [f"duck-of-the-house-number-{n}" for n in range(6)]
    assert sought("duck", ducks)[0] == ", nearest " + " or ".join(ducks[:4])
    twelve = ["chicken", *(f"bird-{n}" for n in range(11))]
    assert sought("chiken", twelve) == (", nearest chicken", "one of: " + ", ".join(twelve))
    assert sought("chiken", [*twelve, "goose"]) == (", nearest chicken", "one of 13")
    assert sought("emu", [*twelve, "goose"]) == ("", "one of: " + ", ".join([*twelve, "goose"]))
    assert sought("emu", []) == ("", "one of: none yet")
    assert one_of("CHICKEN", ["chicken"]) == "nearest chicken, expected one of: chicken"
    assert one_of("emu", [], "nobody") == "expected one of: nobody"
