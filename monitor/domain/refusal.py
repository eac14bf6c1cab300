"""Why something is refused, or went wrong: where, what came, what was expected. Each is words that carry their moments as moments: whoever
reads them is told each on the clock he goes by."""

from __future__ import annotations

from collections.abc import Callable, Collection
from datetime import datetime
from typing import Self, TypeAlias

from monitor.domain.fixed import fixed
from monitor.domain.wall import utc_text


@fixed
class Sure:
    """Among the words of a refusal: what it is about is odd, and is done (`write`, `declare`) once somebody says that it is sure."""

    does: str


Words = tuple[
    str | datetime | Sure, ...
]  # texts, aware moments and what is only odd, in the order in which they are read
Part: TypeAlias = str | datetime | Sure | Words


class Failure(Exception):
    """What went wrong. where: what it is about; came: what is wrong with it; expected: what would have been right. What the others say
    already is empty.

    As text it is one line, `where: came, expected what`, with the moments that are for programs, to the second.
    """

    def __init__(self, where: Part, came: Part = "", expected: Part = "") -> None:
        super().__init__(where, came, expected)
        self.where, self.came, self.expected = (_words_of(part) for part in (where, came, expected))

    @classmethod
    def of(cls, error: Failure, hint: Words = (), *, within: str = "") -> Self:
        """The same as one of this kind, with a hint at its end; within: the place that what it is about is in."""
        where = (within, ": ", *error.where) if within and error.where else (within, *error.where)
        if error.expected:
            return cls(where, error.came, (*error.expected, *hint))
        return cls(where, (*error.came, *hint))

    @property
    def words(self) -> Words:
        """All of it as it is read."""
        said: Words = (
            (*self.came, ", " if self.came else "", "expected ", *self.expected) if self.expected else self.came
        )
        return _merged((*self.where, ": ", *said) if self.where and said else (*self.where, *said))

    def __str__(self) -> str:
        return in_words(self.words, lambda at: utc_text(at, "seconds"))


class Refusal(Failure, ValueError):
    """What cannot be done as it was asked."""


def in_words(words: Words, moment: Callable[[datetime], str]) -> str:
    """The words as one text, each moment as `moment` says it."""
    return "".join(moment(part) if isinstance(part, datetime) else sure_words(part) for part in words)


def sure_words(part: str | Sure) -> str:
    """How what is only odd ends; a text as it is."""
    return f", expected --sure to {part.does} it all the same" if isinstance(part, Sure) else part


def joined(lines: list[Words], between: str = "\n") -> Words:
    """Several in one, with a text between them."""
    return tuple(part for number, line in enumerate(lines) for part in ((between, *line) if number else line))


NEAR = 0.7  # of what two words have in common, as difflib counts it: one letter of three that is wrong is another name
MOST_NEAR, PART = 4, 3  # names told of those that a word is a part of; letters that such a word has
FEW = 12  # names that are told one by one where one of them is near enough to be the one that was meant


def sought(word: str, known: Collection[str], none: str = "none yet") -> tuple[str, str]:
    """(the nearest of the known, what was expected) of a word that is none of them: `, nearest hen-1` and `one of: hen-1, hen-2`; the first is
    empty where none is near. none: in place of an empty list."""
    import difflib  # with the first mistake

    folded = {name.lower(): name for name in reversed(list(known))}
    near = [folded[name] for name in difflib.get_close_matches(word.lower(), folded, n=2, cutoff=NEAR)]
    near = near or [name for name in known if _is_part(word.lower(), name.lower())][:MOST_NEAR]
    every = f"one of: {', '.join(known) or none}"
    if not near:
        return "", every
    return f", nearest {' or '.join(near)}", every if len(known) <= FEW else f"one of {len(known)}"


def _is_part(word: str, name: str) -> bool:
    """Whether a word is one of those that a name is made of, or is made of that name's: `duck` of `pekin-duck`."""
    parts = [{*each.replace("_", "-").replace(" ", "-").split("-")} - {""} for each in (word, name)]
    return len(word) >= PART and (parts[0] <= parts[1] or parts[1] < parts[0])


def one_of(word: str, known: Collection[str], none: str = "none yet") -> str:
    """The same as the end of one text: `nearest hen-1, expected one of: hen-1, hen-2`."""
    near, expected = sought(word, known, none)
    return f"{near}, expected {expected}".removeprefix(", ")


def _words_of(part: Part) -> Words:
    return tuple(each for each in part if each) if isinstance(part, tuple) else (part,) if part else ()


def _merged(words: Words) -> Words:
    """The same with each text in one piece."""
    found: list[str | datetime | Sure] = []
    for part in words:
        before = found[-1] if found else None
        if isinstance(part, str) and isinstance(before, str):
            found[-1] = before + part
        else:
            found.append(part)
    return tuple(found)
