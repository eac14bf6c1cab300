"""What the node has measured and nobody has stored yet: a ring of whole numbers, allocated once.

Records are numbered from 0 in the order they come, and that number is the message's `seq`. The ring holds the numbers
from `first` up to, not including, `next`. When it is full the oldest record makes room and is counted: after a long
outage the present matters most.
"""

from array import array


class Ring:
    """`capacity` records of `width` 32-bit integers each: 4 * capacity * width bytes."""

    def __init__(self, capacity, width):
        self._capacity = capacity
        self._width = width
        self._cells = array("i", range(capacity * width))  # of known length, so RAM never holds a second copy
        self.first = 0
        self.next = 0
        self.dropped = 0

    def __len__(self):
        return self.next - self.first

    def push(self, record):
        """Keep a record; answers its number."""
        if len(self) == self._capacity:
            self.first += 1
            self.dropped += 1
        start = self._start(self.next)
        for i in range(self._width):
            self._cells[start + i] = record[i]
        self.next += 1
        return self.next - 1

    def read(self, number):
        """The record of that number, which must be held."""
        if not self.first <= number < self.next:
            raise IndexError("ring: %d, expected %d to %d" % (number, self.first, self.next - 1))
        start = self._start(number)
        return self._cells[start : start + self._width]

    def forget(self, through):
        """Let go of every record up to and including that number."""
        self.first = min(max(self.first, through + 1), self.next)

    def _start(self, number):
        return number % self._capacity * self._width
