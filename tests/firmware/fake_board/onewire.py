"""Stands where the board's `onewire` module stands: one DS18B20 at 37.5 degrees, read after its conversion."""

import time

ROM = bytes((0x28, 0x13, 0x9B, 0xBB, 0x0B, 0x00, 0x00, 0x1F))
POWER_UP = bytes((0x50, 0x05, 0x4B, 0x46, 0x7F, 0xFF, 0x0C, 0x10, 0x1C))
AT_37_5 = bytes((0x58, 0x02, 0x4B, 0x46, 0x7F, 0xFF, 0x08, 0x10, 0xBE))


class OneWire:
    def __init__(self, pin):
        pin.init(pin.OPEN_DRAIN, pin.PULL_UP)
        self._converted = None
        self._written = b""

    def scan(self):
        return [bytearray(ROM)]

    def reset(self, required=False):
        self._written = b""
        return True

    def writebyte(self, byte):
        self._written += bytes((byte,))
        if self._written in (b"\xcc\x44", b"\x55" + ROM + b"\x44"):
            self._converted = time.ticks_ms()

    def readinto(self, pad):
        ready = self._converted is not None and time.ticks_diff(time.ticks_ms(), self._converted) >= 750
        pad[:] = AT_37_5 if ready else POWER_UP
