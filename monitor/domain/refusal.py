"""Why something is refused, in words that carry their moments as moments: whoever reads them is told each on the clock he goes by."""

from __future__ import annotations

from collections.abc import Callable, Collection
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


NEAR = 0.7  # of what two words have in common, as difflib counts it: one letter of three that is wrong is another name
FEW = 12  # names that are told one by one where one of them is near enough to be the one that was meant


def one_of(word: str, known: Collection[str], none: str = "none yet") -> str:
    """What was expected in place of a word that is none of the known, the nearest of them first: `nearest hen-1, expected one of: hen-1, hen-2`.
    none: in place of an empty list."""
    import difflib  # with the first mistake

    folded = {name.lower(): name for name in reversed(list(known))}
    near = [folded[name] for name in difflib.get_close_matches(word.lower(), folded, n=2, cutoff=NEAR)]
    every = f"expected one of: {', '.join(known) or none}"
    if not near:
        return every
    return f"nearest {' or '.join(near)}, {every if len(known) <= FEW else f'expected one of {len(known)}'}"
