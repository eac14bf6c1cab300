"""Starts the node: builds the parts for this board from settings.py and runs the loop of node.py for ever."""

import os
import sys
import time

import settings
from drivers import DS18B20, I2CBus, ScriptedSensor, SHT3x, SHT4x, rom_code
from mqtt import Client
from node import Node, Uptime

_OURS = ("t", "rh", "fault", "signal", "battery")  # what records of the node itself are called
_LETTERS = "abcdefghijklmnopqrstuvwxyz0123456789-"


class UnixBoard:
    """No hardware: for trying the node on a computer, under MicroPython's Unix port."""

    i2c = wire = None

    def buzzer(self, on):
        pass

    def feed(self):
        pass

    def link(self):
        return True

    def switch(self, pin, true_at):
        """On a computer there is no contact: `pin` is a file that holds 1 or 0, or is missing (0)."""

        def read():
            try:
                with open(str(pin)) as file:
                    level = file.read(1)
            except OSError:
                level = "0"
            return 1 if level == str(true_at) else 0

        return read

    def facts(self):
        return ()

    def unix_s(self):
        return int(time.time()) if settings.CLOCK else None


class Esp32Board:
    """An ESP32 under MicroPython: pins, Wi-Fi, clock and watchdog."""

    def __init__(self, uptime):
        import machine
        import network

        self._machine = machine
        self._uptime = uptime
        kinds = [probe[1] for probe in settings.PROBES]
        self.i2c = self._make_i2c() if "sht3x" in kinds or "sht4x" in kinds else None
        self.wire = self._make_wire() if "ds18b20" in kinds else None
        pin = settings.BUZZER_PIN
        self._buzzer = None if pin is None else machine.Pin(pin, machine.Pin.OUT, value=0)
        self._wlan = network.WLAN(network.STA_IF)
        self._wlan.active(True)
        self._join_ms = 0
        self._clock_set = False
        self._clock_ms = 0
        self._epoch_s = 946684800 if time.gmtime(0)[0] == 2000 else 0  # some builds count from 2000
        self._watchdog = None
        pin = settings.BATTERY_PIN
        self._battery = None if pin is None else machine.ADC(machine.Pin(pin), atten=machine.ADC.ATTN_11DB)

    def _make_i2c(self):
        scl, sda = self._machine.Pin(settings.SCL_PIN), self._machine.Pin(settings.SDA_PIN)
        return I2CBus(lambda: self._machine.SoftI2C(scl=scl, sda=sda, freq=50000), scl, sda, sleep_ms=time.sleep_ms)

    def _make_wire(self):
        import onewire

        wire = onewire.OneWire(self._machine.Pin(settings.WIRE_PIN))
        for rom in wire.scan():
            print("wire found rom=%s" % "".join(["%02x" % byte for byte in rom]))
        return wire

    def buzzer(self, on):
        if self._buzzer:
            self._buzzer.value(1 if on else 0)

    def feed(self):
        if settings.WATCHDOG_MS is None:
            return
        if self._watchdog is None:
            self._watchdog = self._machine.WDT(timeout=settings.WATCHDOG_MS)
        self._watchdog.feed()

    def switch(self, pin, true_at):
        """What a contact says: it closes its pin to GND."""
        level = self._machine.Pin(pin, self._machine.Pin.IN, self._machine.Pin.PULL_UP)
        return lambda: 1 if level.value() == true_at else 0

    def link(self):
        """True while there is Wi-Fi; asks for it anew every 30 s while there is none."""
        if self._wlan.isconnected():
            return True
        if self._uptime.ms() >= self._join_ms:
            self._join_ms = self._uptime.ms() + 30000
            try:
                self._wlan.disconnect()
                self._wlan.connect(settings.WIFI_NAME, settings.WIFI_PASSWORD)
            except OSError as error:
                print("wifi failed reason=%r" % error)
        return False

    def facts(self):
        """How strong the Wi-Fi is, in dBm, and the battery's voltage, in thousandths; what this board cannot say is left out."""
        said = []
        try:
            if settings.SIGNAL and self._wlan.isconnected():
                said.append(("signal", "dBm", 1000 * self._wlan.status("rssi")))
            if self._battery:
                said.append(("battery", "V", settings.BATTERY_TIMES * self._battery.read_uv() // 1000))
        except (OSError, ValueError) as error:
            print("facts failed reason=%r" % error)
        return said

    def unix_s(self):
        """Unix seconds, or None while the clock is not set. Set again every 12 h; tried every 10 min until then."""
        if not settings.CLOCK:
            return None
        if self._uptime.ms() >= self._clock_ms:
            import ntptime

            ntptime.host = settings.NTP_HOST
            try:
                ntptime.settime()
                self._clock_set = True
                self._clock_ms = self._uptime.ms() + 43200000
            except (OSError, OverflowError) as error:
                self._clock_ms = self._uptime.ms() + 600000
                print("clock failed reason=%r" % error)
        return int(time.time()) + self._epoch_s if self._clock_set else None


def make_sensor(board, kind, where):
    if kind == "sht4x":
        return SHT4x(board.i2c, where, time.sleep_ms)
    if kind == "sht3x":
        return SHT3x(board.i2c, where, time.sleep_ms)
    if kind == "ds18b20":
        return DS18B20(board.wire, where, time.sleep_ms)
    return ScriptedSensor(where)


def check_settings():
    """A ValueError in one line for what would only fail later, or quietly."""
    names = [probe[0] for probe in settings.PROBES]
    for name in [settings.SITE, settings.NODE] + names:
        if not 1 <= len(name) <= 32 or name.strip(_LETTERS):
            raise ValueError("id %s: expected 1 to 32 of a-z, 0-9 and -" % name)
    if not names or len(set(names)) != len(names):
        raise ValueError("PROBES: expected one or more, each with a name of its own")
    for _, kind, where in settings.PROBES:
        if kind not in ("sht4x", "sht3x", "ds18b20", "scripted"):
            raise ValueError("kind %s: expected sht4x, sht3x, ds18b20 or scripted" % kind)
        if kind == "ds18b20" and where is not None:
            rom_code(where)
    for name, _, true_at in settings.SWITCHES:
        if not 1 <= len(name) <= 32 or name.strip(_LETTERS) or name in _OURS:
            raise ValueError("switch %s: expected 1 to 32 of a-z, 0-9 and -, and none of %s" % (name, ", ".join(_OURS)))
        if true_at not in (0, 1):
            raise ValueError("switch %s: %r, expected 1 or 0" % (name, true_at))
    if settings.BOARD not in ("esp32", "unix"):
        raise ValueError("BOARD %s: expected esp32 or unix" % settings.BOARD)


def random_below(limit):
    return int.from_bytes(os.urandom(4), "big") % limit


def build():
    uptime = Uptime(time.ticks_ms, time.ticks_diff)
    board = Esp32Board(uptime) if settings.BOARD == "esp32" else UnixBoard()
    sensors = [make_sensor(board, kind, where) for _, kind, where in settings.PROBES]

    def make_client(will, on_message, idle):
        return Client(
            settings.BROKER_HOST,
            settings.BROKER_PORT,
            settings.SITE + "-" + settings.NODE,
            keepalive_s=settings.KEEPALIVE_S,
            will=will,
            user=settings.BROKER_USER,
            password=settings.BROKER_PASSWORD,
            timeout_ms=settings.TIMEOUT_MS,
            now_ms=uptime.ms,
            idle=idle,
            on_message=on_message,
        )

    boot = random_below(0x80000000)
    print("start node=%s boot=%d" % (settings.NODE, boot))
    return Node(
        settings,
        sensors,
        make_client,
        uptime=uptime,
        boot=boot,
        buzzer=board.buzzer,
        link=board.link,
        unix_s=board.unix_s,
        feed=board.feed,
        jitter_ms=lambda limit: random_below(limit + 1),
        sleep_ms=time.sleep_ms,
        switches=[(name, board.switch(pin, true_at)) for name, pin, true_at in settings.SWITCHES],
        facts=board.facts,
    )


def run():
    try:
        check_settings()
    except ValueError as error:  # starting anew would not help: say it and stop
        print("settings:", error)
        sys.exit(2)
    try:
        node = build()
        while True:
            node.step()
    except Exception as error:  # our own mistake: say it and begin anew
        sys.print_exception(error)
        time.sleep_ms(1000)
        restart()


def restart():
    if settings.BOARD == "esp32":
        import machine

        machine.reset()
    sys.exit(1)


if __name__ == "__main__":
    run()
