"""What was seen of a door, read from the words that older records and every archive have of it."""

from __future__ import annotations

import pytest

from monitor.domain.signs.seen import LATE, NOT_CLIMBING, NOT_TURNED, NotBack, Opened, Seen, seen_of_words


@pytest.mark.parametrize(
    ("text", "seen"),
    [
        ("opened for about 12 min, lowest 34.5 °C", Opened(12.0, 34.5)),
        ("opened for about 3 min, lowest -1.5 °C", Opened(3.0, -1.5)),
        ("not coming back after an opening: not back in time", NotBack(LATE)),
        ("not coming back after an opening: not back within 10 min", NotBack(LATE)),
        ("not coming back after an opening: the temperature has not turned", NotBack(NOT_TURNED)),
        ("not coming back after an opening: the temperature does not come back", NotBack(NOT_CLIMBING)),
        ("not coming back after an opening: something else", NotBack("something else")),
        ("opened for about 12 min, lowest 34.5 °C, and more", None),
        ("somebody works at it", None),
    ],
)
def test_the_words_of_an_opening_are_read_back(text: str, seen: Seen | None) -> None:
    """As they were written; a reason that nobody knows stays as it is, and other words are none of an opening."""
    assert seen_of_words(text) == seen
