"""Stands where the board's `network` module stands: Wi-Fi that joins half a second after it is asked."""

import time

STA_IF = 0


class WLAN:
    def __init__(self, interface):
        self._asked = None

    def active(self, on):
        pass

    def isconnected(self):
        return self._asked is not None and time.ticks_diff(time.ticks_ms(), self._asked) > 500

    def disconnect(self):
        pass

    def connect(self, name, password):
        print(f"wifi asked name={name}")
        self._asked = time.ticks_ms()

    def status(self, what):
        return -61
