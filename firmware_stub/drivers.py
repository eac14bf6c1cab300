"""One class per sensor, all with the same three steps, over a bus that is handed in.

    start()   ask the sensor to measure; `wait_ms` later the result is there
    fetch()   read the result: (t_milli, rh_milli, fault), as in sensors.py
    read()    both, with the wait between

The node starts all sensors, waits once and fetches all, so that one sample is one instant. A failure is an answer,
never an exception, and never the last good value again.
"""

from binascii import unhexlify

from sensors import crc8_maxim, crc8_sensirion, decode_ds18b20, decode_sht3x, decode_sht4x


class Sensor:
    """What all sensors share: the sensor's state between start and fetch is one fault word or None."""

    wait_ms = 0

    def __init__(self, sleep_ms):
        self._sleep_ms = sleep_ms
        self._fault = None
        self._met = False  # False until a good read, and again after every fault

    def start(self):
        try:
            self._fault = self._start()
        except OSError:
            self._fault = "bus"

    def fetch(self):
        answer = None, None, self._fault
        if self._fault is None:
            try:
                answer = self._fetch()
            except OSError:
                answer = None, None, "bus"
        self._met = answer[2] is None
        return answer

    def read(self):
        self.start()
        self._sleep_ms(self.wait_ms)
        return self.fetch()


class _Sht(Sensor):
    """SHT3x and SHT4x: same frame and CRC, other commands and another RH formula.

    After power-up and after each fault the sensor is reset (which also ends a heater pulse, whose hot reading must not
    get into the record) and asked who it is: the two kinds share an address, and the wrong formula gives a
    believable lie.
    """

    def __init__(self, bus, address, sleep_ms):
        Sensor.__init__(self, sleep_ms)
        self._bus = bus
        self._address = address

    def _start(self):
        if not self._met:
            self._write(self.RESET)
            self._sleep_ms(2)
            self._write(self.IDENTIFY)
            self._sleep_ms(2)
            if not self._identified():
                return "config"
        self._write(self.MEASURE)
        return None

    def _fetch(self):
        return self._decode(self._bus.readfrom(self._address, 6))

    def _write(self, command):
        self._bus.writeto(self._address, command)


class SHT3x(_Sht):
    wait_ms = 16  # 15 ms at most at high repeatability; read sooner, it does not acknowledge
    RESET = b"\x30\xa2"
    IDENTIFY = b"\xf3\x2d"  # the status word, which the other kind does not have
    MEASURE = b"\x24\x00"

    def _identified(self):
        status = self._bus.readfrom(self._address, 3)
        return crc8_sensirion(status[:2]) == status[2] and status[:2] != b"\xff\xff"

    def _decode(self, frame):
        return decode_sht3x(frame)


class SHT4x(_Sht):
    wait_ms = 10  # 8.3 ms at most at high precision
    RESET = b"\x94"
    IDENTIFY = b"\x89"  # the serial number
    MEASURE = b"\xfd"

    def _identified(self):
        serial = self._bus.readfrom(self._address, 6)
        return crc8_sensirion(serial[:2]) == serial[2] and crc8_sensirion(serial[3:5]) == serial[5]

    def _decode(self, frame):
        return decode_sht4x(frame)


class DS18B20(Sensor):
    """A probe on a 1-Wire line with three leads (its own supply; supply over the data line is not served).

    `rom` is its 64-bit code as 16 hex digits, or None for the only probe on the line.
    """

    wait_ms = 760  # 750 ms at most at 12 bit

    def __init__(self, wire, rom, sleep_ms):
        Sensor.__init__(self, sleep_ms)
        self._wire = wire
        self._rom = None if rom is None else rom_code(rom)

    def _start(self):
        return self._command(0x44)

    def _fetch(self):
        answer = self._scratchpad()
        if answer[0] == 25000 and not self._met:
            # Some look-alikes wake at 25.0 instead of 85, inside any room's range: measured again, then believed.
            self._start()
            self._sleep_ms(self.wait_ms)
            answer = self._scratchpad()
        return answer

    def _scratchpad(self):
        fault = self._command(0xBE)
        if fault:
            return None, None, fault
        pad = bytearray(9)
        self._wire.readinto(pad)
        return decode_ds18b20(pad)

    def _command(self, command):
        if not self._wire.reset():  # the stock driver's match-ROM step does not look for a presence pulse
            return "absent"
        if self._rom is None:
            self._wire.writebyte(0xCC)
        else:
            self._wire.writebyte(0x55)
            for byte in self._rom:
                self._wire.writebyte(byte)
        self._wire.writebyte(command)
        return None


class ScriptedSensor(Sensor):
    """For a node without hardware: gives the readings it was handed in order, then the last one for ever."""

    def __init__(self, readings):
        Sensor.__init__(self, None)
        self._readings = readings
        self._at = 0

    def _start(self):
        return None

    def _fetch(self):
        reading = self._readings[self._at]
        self._at = min(self._at + 1, len(self._readings) - 1)
        return reading


class I2CBus:
    """An I2C bus that frees itself: a sensor cut off in mid-byte holds the data line low until it is clocked on.

    `make()` builds the bus from the two pins; it is called at first use and after every error.
    """

    def __init__(self, make, scl, sda, *, sleep_ms):
        self._make = make
        self._scl = scl
        self._sda = sda
        self._sleep_ms = sleep_ms
        self._bus = None

    def writeto(self, address, data):
        return self._guarded("writeto", address, data)

    def readfrom(self, address, count):
        return self._guarded("readfrom", address, count)

    def _guarded(self, act, address, argument):
        if self._bus is None:
            self._clock_out()
            self._bus = self._make()
        try:
            return getattr(self._bus, act)(address, argument)
        except OSError:
            self._bus = None  # the next call starts with a freed line
            raise

    def _clock_out(self):
        self._sda.init(self._sda.OPEN_DRAIN, value=1)
        self._scl.init(self._scl.OPEN_DRAIN, value=1)
        for _ in range(9):  # nine pulses with the data line let go (Sensirion, Datasheet SHT3x-DIS)
            self._scl.value(0)
            self._sleep_ms(1)
            self._scl.value(1)
            self._sleep_ms(1)


def rom_code(text):
    """The eight bytes of a DS18B20's code, or a ValueError that says what is wrong with it."""
    try:
        rom = unhexlify(text)
    except ValueError:
        rom = b""
    if len(rom) != 8 or rom[0] != 0x28 or crc8_maxim(rom[:7]) != rom[7]:
        raise ValueError("rom %s: expected 16 hex digits that begin with 28, as printed at start" % text)
    return rom
