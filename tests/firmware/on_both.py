"""What the node's pure functions answer, one line each: runs under CPython and MicroPython alike.

As a script (`micropython on_both.py FOLDER`) it prints the lines; the tests compare the two interpreters.
Keeps to what both know: no csv module, no type hints.
"""

import sys

from node import Uptime, decimal, pack
from ring import Ring
from sensors import crc8_maxim, crc8_sensirion, decode_ds18b20, decode_sht3x, decode_sht4x

NOTHING = -0x80000000


def rows(folder, name):
    with open(folder + "/" + name) as file:
        return [line.strip().split(",") for line in file][1:]


def to_bytes(digits):
    return bytes([int(digits[i : i + 2], 16) for i in range(0, len(digits), 2)])


def with_crc(word):
    return word + bytes([crc8_sensirion(word)])


def reference_lines(folder):
    """One line per row of the reference tables: the input, then the answer."""
    for row in rows(folder, "sht_words.csv"):
        yield f"word {row[0]} {crc8_sensirion(to_bytes(row[0])):02X}"
    for row in rows(folder, "sht_frames.csv"):
        decode = decode_sht3x if row[0] == "sht3x" else decode_sht4x
        yield f"frame {row[0]} {row[1]} {decode(to_bytes(row[1]))!r}"
    for row in rows(folder, "ds18b20_pads.csv"):
        yield f"pad {row[0]} {decode_ds18b20(to_bytes(row[0]))!r}"
    for row in rows(folder, "ds18b20_temperatures.csv"):
        msb, lsb = to_bytes(row[0])
        pad = bytes([lsb, msb, 0x4B, 0x46, 0x7F, 0xFF, 0x10, 0x10])
        yield f"temperature {row[0]} {decode_ds18b20(pad + bytes([crc8_maxim(pad)]))!r}"
    for row in rows(folder, "ds18b20_roms.csv"):
        yield f"rom {row[0]} {crc8_maxim(to_bytes(row[0])):02X}"


def sweep_lines():
    """Every word an SHT can send, in checksums that a single wrong digit would change."""
    for decode in (decode_sht3x, decode_sht4x):
        total = 0
        for word in range(0, 0x10000, 7):
            frame = with_crc(bytes([word >> 8, word & 0xFF]))
            t_milli, rh_milli, _ = decode(frame + frame)
            total = (total * 31 + (t_milli or 0) * 7 + (rh_milli or 0)) % 1000000007
        yield f"sweep {total}"


class Ticks:
    """A tick counter that wraps at 2**30, as the board's does."""

    def __init__(self, value):
        self.value = value

    def ms(self):
        return self.value

    def diff(self, new, old):
        return ((new - old + 0x20000000) & 0x3FFFFFFF) - 0x20000000

    def pass_by(self, ms):
        self.value = (self.value + ms) & 0x3FFFFFFF


def uptime_lines():
    """A year in steps of seven hours, from just before a wrap: about 29 wraps."""
    ticks = Ticks(0x3FFFFFFF)
    uptime = Uptime(ticks.ms, ticks.diff)
    for _ in range(1252):
        ticks.pass_by(25200000)
        uptime.ms()
    ticks.pass_by(1)
    yield f"uptime {uptime.ms()}"


def ring_lines():
    """A long walk of pushes and forgets, against a plain list of what should be held."""
    ring = Ring(7, 1, 9)
    held = []
    dropped = 0
    state = 12345
    for number in range(5000):
        state = (state * 1103515245 + 12345) & 0x7FFFFFFF
        switches = [number >> i & 1 for i in range(9)]
        record = [number << 12, 37500 - number, NOTHING if number % 3 else number, number % 10]
        record.extend(switches)
        held.append((number, record))
        if len(held) > 7:
            held.pop(0)
            dropped += 1
        assert ring.push(record) == number
        if state % 5 == 0:
            through = number - (state >> 8) % 9
            ring.forget(through)
            held = [record for record in held if record[0] > through]
        assert [(n, ring.read(n)) for n in range(ring.first, ring.next)] == held
        assert ring.dropped == dropped
    yield f"ring {ring.first} {ring.next} {ring.dropped}"


def pack_lines():
    for milli in (0, 1, -1, 9, 10, 100, 999, 1000, -500, -62, 37500, 37520, 100000, -55000, 123456):
        yield f"decimal {milli} {decimal(milli)}"
    names = ["top", "egg"]
    both_sound = [18040, 37520, 52400, 0, 37562, NOTHING, 0]
    one_failed = [7, NOTHING, NOTHING, 9, 37562, NOTHING, 0]
    damp_failed = [7, 37520, NOTHING, 3, NOTHING, NOTHING, 1]
    for record in (both_sound, one_failed, damp_failed):
        for started_unix_s in (None, 1800000000):
            text = pack("node-a", names, record, boot=2147483647, seq=1804, started_unix_s=started_unix_s)
            yield "pack " + str(text, "utf-8")


def lines(folder):
    for part in (reference_lines(folder), sweep_lines(), uptime_lines(), ring_lines(), pack_lines()):
        yield from part


if __name__ == "__main__":
    for answer in lines(sys.argv[1]):
        print(answer)
