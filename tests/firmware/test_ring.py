"""The ring buffer against a plain list (its long walk under MicroPython is in on_both.py)."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.firmware.port import firmware

ring_module = firmware("ring")
NOTHING = ring_module.NOTHING

PROBE = st.tuples(
    st.just(NOTHING) | st.integers(-100_000, 162_142), st.just(NOTHING) | st.integers(0, 131_070), st.integers(0, 31)
)


@st.composite
def walks(draw: st.DrawFn) -> tuple[int, int, int, list[list[int] | int]]:
    """A capacity, how many probes and switches, and what is done: a record that is pushed, or a number up to which all is forgotten."""
    capacity, probes, switches = draw(st.integers(1, 9)), draw(st.integers(1, 4)), draw(st.integers(0, 17))
    record = st.builds(
        lambda up, each, said: [up, *(value for probe in each for value in probe), *said],
        st.integers(0, 2**32 - 1),
        st.lists(PROBE, min_size=probes, max_size=probes),
        st.lists(st.integers(0, 1), min_size=switches, max_size=switches),
    )
    return capacity, probes, switches, draw(st.lists(record | st.integers(-2, 60), max_size=60))


@given(walks())
def test_ring_is_a_list_that_drops_its_oldest(walk: tuple[int, int, int, list[list[int] | int]]) -> None:
    """After any pushes and forgets the ring holds what a list would, by number and to the last digit, and has counted each drop."""
    capacity, probes, switches, steps = walk
    ring = ring_module.Ring(capacity, probes, switches)
    held: dict[int, list[int]] = {}
    pushed = dropped = 0
    for step in steps:
        if isinstance(step, list):
            held[pushed] = step
            assert ring.push(step) == pushed
            pushed += 1
            if len(held) > capacity:
                del held[min(held)]
                dropped += 1
        else:
            ring.forget(step)
            held = {number: record for number, record in held.items() if number > step}
        assert {number: ring.read(number) for number in range(ring.first, ring.next)} == held
        assert (len(ring), ring.next, ring.dropped) == (len(held), pushed, dropped)


def test_what_is_not_held_cannot_be_read() -> None:
    """A number that was forgotten, dropped or never given is an IndexError, never another record."""
    ring = ring_module.Ring(3, 0)
    for value in range(5):
        ring.push([value])
    ring.forget(2)
    for number in (-1, 0, 1, 2, 5):
        with pytest.raises(IndexError):
            ring.read(number)
    assert [ring.read(number)[0] for number in (3, 4)] == [3, 4]


@pytest.mark.parametrize("record", [[0, -100_001, 0, 0], [0, 162_143, 0, 0], [0, 0, -1, 0], [0, 0, 131_071, 0]])
def test_what_no_sensor_says_is_refused(record: list[int]) -> None:
    """It would be read back as another value; what the ring held stays, in a full one too."""
    ring = ring_module.Ring(1, 1)
    ring.push([7, 37_500, 55_000, 0])
    with pytest.raises(ValueError, match="expected"):
        ring.push(record)
    assert (ring.read(0), ring.next, ring.dropped) == ([7, 37_500, 55_000, 0], 1, 0)


@pytest.mark.parametrize(("probes", "bytes_"), [(1, 38_880), (2, 60_480), (3, 82_080)])
def test_twelve_hours_are_so_many_bytes(probes: int, bytes_: int) -> None:
    """At 10 s, as shipped; no piece is larger than 2 kB, for a board's memory is in shreds."""
    ring = ring_module.Ring(firmware("settings").RING, probes)
    assert ring.capacity * firmware("settings").INTERVAL_MS == 12 * 3_600_000
    assert sum(len(block) for block in ring._blocks) == bytes_
    assert max(len(block) for block in ring._blocks) < 2_048


@pytest.mark.parametrize(("spare", "capacity"), [(1, 192), (575, 192), (576, 128), (10**6, 64)])
def test_a_heap_that_is_used_up_is_given_some_of_it_back(
    monkeypatch: pytest.MonkeyPatch, spare: int, capacity: int
) -> None:
    """Of the four blocks of 576 bytes that the heap holds, as many as what is to be spare takes; never the last."""
    heap: list[int] = []

    def taken(count: int) -> bytearray:
        if len(heap) == 4:
            raise MemoryError
        heap.append(count)
        return bytearray(count)

    monkeypatch.setattr(ring_module, "bytearray", taken, raising=False)
    assert ring_module.Ring(4_320, 1, 0, spare).capacity == capacity


def test_what_is_spare_is_left(monkeypatch: pytest.MonkeyPatch) -> None:
    """A heap that takes all samples, and then has too little left, has blocks taken away until it has enough."""
    free = iter([100, 20_000, 30_000])
    monkeypatch.setattr(ring_module, "_free", lambda: next(free))
    assert ring_module.Ring(4_320, 1, 0, 30_000).capacity == 4_320 + 32 - 2 * 64


def test_no_room_at_all_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without a single block there is no node."""

    def full(_: int) -> bytearray:
        raise MemoryError

    monkeypatch.setattr(ring_module, "bytearray", full, raising=False)
    with pytest.raises(MemoryError, match="no room for 64 samples"):
        ring_module.Ring(4_320, 1, 0, 30_000)
