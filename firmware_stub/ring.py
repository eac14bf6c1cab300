"""What the node has measured and nobody has stored yet: a ring of samples, allocated once, in as few bytes as lose nothing.

Records are numbered from 0 in the order they come, and that number is the message's `seq`. The ring holds the numbers
from `first` up to, not including, `next`. When it is full the oldest record makes room and is counted: after a long
outage the present matters most.

A record is whole numbers: `up` in seconds (0 to 2**32 - 1); t, rh and fault of each probe (thousandths of a degree from
-100 to 162.142, thousandths of a per cent from 0 to 131.07, a place from 0 to 31, and NOTHING for a t or rh that could
not be measured); then 0 or 1 of each switch. It takes 4 bytes, 5 for each probe and 1 for each eight switches: twelve
hours at 10 s are 39 kB with one probe and 82 kB with three.
"""

import gc

NOTHING = -0x80000000  # no such value in this sample
BLOCK = 64  # records in one piece of memory: a board's is in shreds after a while, and no large piece is left

_free = getattr(gc, "mem_free", lambda: 1 << 30)  # Python on a computer knows no such bound
_LOWEST_T = -100001  # kept is how far above it, so that nought is free for NOTHING
_LOWEST_RH = -1


class Ring:
    """Up to `capacity` records of so many probes and switches; fewer, in whole blocks, where so many leave less than `spare` bytes of memory."""

    def __init__(self, capacity, probes, switches=0, spare=0):
        self._probes = probes
        self._switches = switches
        self._width = 4 + 5 * probes + (switches + 7) // 8
        self._blocks = []
        self.capacity = 0
        left = capacity
        try:
            while left > 0:
                self._blocks.append(bytearray(min(BLOCK, left) * self._width))
                left -= BLOCK
        except MemoryError:
            for _ in range(spare // (BLOCK * self._width) + 1):  # what free() says may lie in shreds
                if len(self._blocks) > 1:
                    self._blocks.pop()
        gc.collect()
        while len(self._blocks) > 1 and _free() < spare:
            self._blocks.pop()
            gc.collect()
        if not self._blocks:
            raise MemoryError("no room for %d samples" % min(BLOCK, capacity))
        self.capacity = min(capacity, BLOCK * len(self._blocks))
        self.first = 0
        self.next = 0
        self.dropped = 0

    def __len__(self):
        return self.next - self.first

    def push(self, record):
        """Keep a record; answers its number. A value that no record may have is a ValueError, and nothing is kept."""
        kept = [record[0]]
        for i in range(1, 1 + 3 * self._probes, 3):
            kept.append(_above(record[i], _LOWEST_T, 0x3FFFF))
            kept.append(_above(record[i + 1], _LOWEST_RH, 0x1FFFF))
            kept.append(record[i + 2])
        self._write(self.next, kept, record[1 + 3 * self._probes :])
        if len(self) == self.capacity:
            self.first += 1
            self.dropped += 1
        self.next += 1
        return self.next - 1

    def read(self, number):
        """The record of that number, which must be held, as a list."""
        if not self.first <= number < self.next:
            raise IndexError("ring: %d, expected %d to %d" % (number, self.first, self.next - 1))
        block, at = self._place(number)
        record = [block[at] | block[at + 1] << 8 | block[at + 2] << 16 | block[at + 3] << 24]
        at += 4
        for _ in range(self._probes):
            high = block[at + 4]
            t = block[at] | block[at + 1] << 8 | high >> 6 << 16
            rh = block[at + 2] | block[at + 3] << 8 | (high >> 5 & 1) << 16
            record.append(t + _LOWEST_T if t else NOTHING)
            record.append(rh + _LOWEST_RH if rh else NOTHING)
            record.append(high & 31)
            at += 5
        for i in range(self._switches):
            record.append(block[at + i // 8] >> i % 8 & 1)
        return record

    def forget(self, through):
        """Let go of every record up to and including that number."""
        self.first = min(max(self.first, through + 1), self.next)

    def _write(self, number, kept, switches):
        block, at = self._place(number)
        for i in range(4):
            block[at + i] = kept[0] >> 8 * i & 255
        at += 4
        for i in range(1, len(kept), 3):
            t, rh, fault = kept[i], kept[i + 1], kept[i + 2]
            block[at], block[at + 1] = t & 255, t >> 8 & 255
            block[at + 2], block[at + 3] = rh & 255, rh >> 8 & 255
            block[at + 4] = t >> 16 << 6 | rh >> 16 << 5 | fault
            at += 5
        for i in range(self._switches):
            if i % 8 == 0:
                block[at + i // 8] = 0
            block[at + i // 8] |= switches[i] << i % 8

    def _place(self, number):
        """The block of that number, and where it begins there."""
        slot = number % self.capacity
        return self._blocks[slot // BLOCK], slot % BLOCK * self._width


def _above(value, lowest, most):
    if value == NOTHING:
        return 0
    above = value - lowest
    if not 0 < above <= most:
        raise ValueError("ring: %d, expected %d to %d" % (value, lowest + 1, lowest + most))
    return above
