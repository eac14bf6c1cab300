"""The ring buffer against a plain list (its long walk under MicroPython is in on_both.py)."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.firmware.port import firmware

ring_module = firmware("ring")

INT32 = st.integers(-(2**31), 2**31 - 1)
PUSH = st.tuples(st.just("push"), INT32)
FORGET = st.tuples(st.just("forget"), st.integers(-2, 60))
STEPS = st.lists(PUSH | FORGET, max_size=120)


@given(capacity=st.integers(1, 9), steps=STEPS)
def test_ring_is_a_list_that_drops_its_oldest(capacity: int, steps: list[tuple[str, int]]) -> None:
    """After any pushes and forgets the ring holds what a list would, by number, and has counted each drop."""
    ring = ring_module.Ring(capacity, 2)
    held: dict[int, tuple[int, int]] = {}
    pushed = dropped = 0
    for act, value in steps:
        if act == "push":
            held[pushed] = (value, pushed)
            assert ring.push((value, pushed)) == pushed
            pushed += 1
            if len(held) > capacity:
                del held[min(held)]
                dropped += 1
        else:
            ring.forget(value)
            held = {number: record for number, record in held.items() if number > value}
        assert {number: tuple(ring.read(number)) for number in range(ring.first, ring.next)} == held
        assert (len(ring), ring.next, ring.dropped) == (len(held), pushed, dropped)


def test_what_is_not_held_cannot_be_read() -> None:
    """A number that was forgotten, dropped or never given is an IndexError, never another record."""
    ring = ring_module.Ring(3, 1)
    for value in range(5):
        ring.push((value,))
    ring.forget(2)
    for number in (-1, 0, 1, 2, 5):
        with pytest.raises(IndexError):
            ring.read(number)
    assert [ring.read(number)[0] for number in (3, 4)] == [3, 4]
