"""Why something is refused, in words that carry their moments as moments: whoever reads them is told each on the clock he goes by."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

from monitor.domain.wall import utc_text

Words = tuple[str | datetime, ...]  # texts and aware moments, in the order in which they are read


class Refusal(ValueError):
    """What cannot be done: where, what came, what was expected. As text, its moments are those for programs, to the second."""

    def __init__(self, *words: str | datetime) -> None:
        super().__init__(*words)
        self.words: Words = words

    def __str__(self) -> str:
        return in_words(self.words, lambda at: utc_text(at, "seconds"))


def in_words(words: Words, moment: Callable[[datetime], str]) -> str:
    """The words as one text, each moment as `moment` says it."""
    return "".join(part if isinstance(part, str) else moment(part) for part in words)


def joined(lines: list[Words], between: str = "\n") -> Words:
    """Several in one, with a text between them."""
    return tuple(part for number, line in enumerate(lines) for part in ((between, *line) if number else line))
