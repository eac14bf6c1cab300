"""The drivers over a bus made of bytes: right commands, right waits, and an answer for every failure."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from tests.firmware.port import firmware

drivers = firmware("drivers")
sensors = firmware("sensors")

SERIAL = bytes.fromhex("BEEF92BEEF92")
SHT4X_FRAME = bytes.fromhex("78AF5F7CED83")
SHT3X_FRAME = bytes.fromhex("78AF5F8CCC2C")
GOOD = (37500, 55000, None)


class FakeSht:
    """An SHT at address 0x44: knows its own commands, and does not acknowledge while it is busy."""

    def __init__(self, answers: dict[bytes, bytes], busy_ms: dict[bytes, int]) -> None:
        self.answers = answers
        self.busy_ms = busy_ms
        self.now_ms = 0
        self.ready_ms = 0
        self.pending = b""
        self.heard: list[bytes] = []
        self.dead = False

    def sleep_ms(self, ms: int) -> None:
        self.now_ms += ms

    def writeto(self, address: int, command: bytes) -> None:
        if self.dead or address != 0x44 or command not in self.answers:
            raise OSError(19)
        self.heard.append(command)
        self.pending = self.answers[command]
        self.ready_ms = self.now_ms + self.busy_ms.get(command, 1)

    def readfrom(self, address: int, count: int) -> bytes:
        if self.dead or self.now_ms < self.ready_ms or not self.pending:
            raise OSError(19)
        frame, self.pending = self.pending[:count], b""
        return frame


def sht4x() -> tuple[FakeSht, Any]:
    chip = FakeSht({b"\x94": b"", b"\x89": SERIAL, b"\xfd": SHT4X_FRAME}, {b"\xfd": 9})
    return chip, drivers.SHT4x(chip, 0x44, chip.sleep_ms)


def sht3x() -> tuple[FakeSht, Any]:
    status = b"\x80\x10\xe1"
    assert sensors.crc8_sensirion(status[:2]) == status[2]
    chip = FakeSht({b"\x30\xa2": b"", b"\xf3\x2d": status, b"\x24\x00": SHT3X_FRAME}, {b"\x24\x00": 15, b"\x30\xa2": 2})
    return chip, drivers.SHT3x(chip, 0x44, chip.sleep_ms)


@pytest.mark.parametrize(("make", "reset", "identify", "measure"), [
    (sht4x, b"\x94", b"\x89", b"\xfd"),
    (sht3x, b"\x30\xa2", b"\xf3\x2d", b"\x24\x00"),
])  # fmt: skip
def test_sht_is_met_once_then_only_measured(
    make: Callable[[], tuple[FakeSht, Any]], reset: bytes, identify: bytes, measure: bytes
) -> None:
    """The first read resets and identifies the chip, later ones only measure; the wait is long enough."""
    chip, driver = make()
    assert [driver.read() for _ in range(3)] == [GOOD] * 3
    assert chip.heard == [reset, identify, measure, measure, measure]


@pytest.mark.parametrize("make", [sht4x, sht3x])
def test_sht_that_falls_silent_and_comes_back(make: Callable[[], tuple[FakeSht, Any]]) -> None:
    """A silent chip is a bus fault each time, never the last value; back again it is reset and identified."""
    chip, driver = make()
    assert driver.read() == GOOD
    chip.dead = True
    assert [driver.read() for _ in range(2)] == [(None, None, "bus")] * 2
    chip.dead = False
    chip.heard.clear()
    assert driver.read() == GOOD
    assert len(chip.heard) == 3


def test_sht_of_the_other_kind_is_never_read_with_the_wrong_formula() -> None:
    """A driver for one kind before a chip of the other answers with a fault, not a believable humidity."""
    for make, other in ((sht4x, drivers.SHT3x), (sht3x, drivers.SHT4x)):
        chip, _ = make()
        t_milli, rh_milli, fault = other(chip, 0x44, chip.sleep_ms).read()
        assert (t_milli, rh_milli) == (None, None)
        assert fault in ("bus", "config")


@pytest.mark.parametrize(("make", "command", "identity", "fault"), [
    (sht4x, b"\x89", "FFFFFFFFFFFF", "config"),
    (sht4x, b"\x89", "000000000000", "config"),
    (sht4x, b"\x89", "BEEF92BEEF93", "config"),
    (sht4x, b"\x89", "", "bus"),
    (sht3x, b"\xf3\x2d", "FFFFFF", "config"),
    (sht3x, b"\xf3\x2d", "FFFFAC", "config"),
    (sht3x, b"\xf3\x2d", "000000", "config"),
    (sht3x, b"\xf3\x2d", "", "bus"),
])  # fmt: skip
def test_sht_whose_identity_is_noise(
    make: Callable[[], tuple[FakeSht, Any]], command: bytes, identity: str, fault: str
) -> None:
    """An identity that fails its checksum, or a status word that no chip has, keeps the readings out."""
    chip, driver = make()
    chip.answers[command] = bytes.fromhex(identity)
    assert driver.read() == (None, None, fault)


def test_sht_read_too_early_is_a_fault() -> None:
    """A chip that takes longer than the datasheet allows is a bus fault, not an old or empty value."""
    chip, driver = sht4x()
    chip.busy_ms[b"\xfd"] = 11
    assert driver.read() == (None, None, "bus")


class FakeWire:
    """A 1-Wire line with DS18B20 probes; on a convert the next of `measured` goes into the scratchpad."""

    def __init__(self, **pads: str) -> None:
        self.power_up = {rom: bytes.fromhex(pad) for rom, pad in pads.items()}
        self.measured: dict[str, list[str]] = {rom: [] for rom in pads}
        self.chosen: list[str] = []
        self.written = bytearray()
        self.present = True
        self.converts = 0

    def reset(self) -> bool:
        self.written.clear()
        return self.present

    def writebyte(self, byte: int) -> None:
        self.written.append(byte)
        if self.written[0] == 0xCC:
            self.chosen = list(self.power_up)
        elif len(self.written) == 9:
            rom = self.written[1:9].hex()
            self.chosen = [rom] if rom in self.power_up else []
        whole = (self.written[0] == 0xCC and len(self.written) == 2) or len(self.written) == 10
        if whole and byte == 0x44:
            self.converts += 1
            for rom in self.chosen:
                if self.measured[rom]:
                    self.power_up[rom] = bytes.fromhex(self.measured[rom].pop(0))

    def readinto(self, pad: bytearray) -> None:
        for i in range(9):
            pad[i] = 0xFF  # several at once pull the line down together
            for rom in self.chosen:
                pad[i] &= self.power_up[rom][i]


ROM_A, ROM_B = "28139bbb0b00001f", "28ab9cb133140181"
POWER_UP = "50054B467FFF0C101C"
AT_37 = "50024B467FFF10100E"
AT_38 = "60024B467FFF1010F2"
slept: list[int] = []


def probe(wire: FakeWire, rom: str | None) -> Any:
    slept.clear()
    return drivers.DS18B20(wire, rom, slept.append)


def test_ds18b20_reads_its_own_probe() -> None:
    """Two probes on one line are told apart by code, and both measure during one wait of 750 ms or more."""
    wire = FakeWire(**{ROM_A: POWER_UP, ROM_B: POWER_UP})
    wire.measured = {ROM_A: [AT_37], ROM_B: [AT_38]}
    a, b = probe(wire, ROM_A), probe(wire, ROM_B)
    a.start()
    b.start()
    assert a.fetch() == (37000, None, None)
    assert b.fetch() == (38000, None, None)
    assert a.wait_ms >= 750


def test_ds18b20_alone_on_the_line_needs_no_code() -> None:
    """Without a code the only probe is read."""
    wire = FakeWire(**{ROM_A: POWER_UP})
    wire.measured[ROM_A] = [AT_37]
    assert probe(wire, None).read() == (37000, None, None)
    assert sum(slept) >= 750


def test_ds18b20_that_never_measured_is_not_85() -> None:
    """The power-up value is a fault, as often as it comes."""
    wire = FakeWire(**{ROM_A: POWER_UP})
    assert [probe(wire, ROM_A).read() for _ in range(3)] == [(None, None, "power-up")] * 3


def test_ds18b20_absent_or_unknown() -> None:
    """No presence pulse is 'absent'; a code that nobody has reads as an idle line and fails the checksum."""
    wire = FakeWire(**{ROM_A: AT_37})
    assert probe(wire, ROM_B).read() == (None, None, "crc")
    wire.present = False
    assert probe(wire, ROM_A).read() == (None, None, "absent")


def test_ds18b20_that_wakes_at_25_is_measured_again() -> None:
    """25.0 from a probe just met is measured again before it is believed; later 25.0 is taken as it comes."""
    at_25 = bytes.fromhex("90014B467FFF1010")
    pad_25 = (at_25 + bytes([sensors.crc8_maxim(at_25)])).hex()
    wire = FakeWire(**{ROM_A: pad_25})
    wire.measured[ROM_A] = [pad_25, AT_37, pad_25]
    driver = probe(wire, ROM_A)
    assert driver.read() == (37000, None, None)
    assert wire.converts == 2
    assert driver.read() == (25000, None, None)
    assert wire.converts == 3


@pytest.mark.parametrize(
    "rom", ["", "28", "28139bbb0b00001e", "10139bbb0b00001f", "zz139bbb0b00001f", "28139bbb0b00001f00"]
)
def test_a_mistyped_code_is_named(rom: str) -> None:
    """A code of the wrong length, family or checksum is refused with the code in the message."""
    with pytest.raises(ValueError, match=f"rom {rom}: expected"):
        drivers.rom_code(rom)


def test_scripted_sensor_keeps_its_last_reading() -> None:
    """The scripted sensor gives its readings in order and then the last one for ever."""
    sensor = drivers.ScriptedSensor(((1, 2, None), (None, None, "crc")))
    assert [sensor.fetch() for _ in range(3)] == [(1, 2, None), (None, None, "crc"), (None, None, "crc")]


class FakePin:
    OPEN_DRAIN = "open drain"

    def __init__(self) -> None:
        self.seen: list[int] = []

    def init(self, mode: str, *, value: int) -> None:
        assert mode == self.OPEN_DRAIN
        self.seen.append(value)

    def value(self, level: int) -> None:
        self.seen.append(level)


def test_a_stuck_bus_is_clocked_free() -> None:
    """At start and after a bus error the clock gives nine pulses, data let go, and the bus is built anew."""
    chip, _ = sht4x()
    scl, sda, made = FakePin(), FakePin(), []

    def make() -> FakeSht:
        made.append(1)
        return chip

    bus = drivers.I2CBus(make, scl, sda, sleep_ms=chip.sleep_ms)
    driver = drivers.SHT4x(bus, 0x44, chip.sleep_ms)
    assert driver.read() == GOOD
    assert (scl.seen, sda.seen, len(made)) == ([1] + [0, 1] * 9, [1], 1)
    chip.dead = True
    assert driver.read() == (None, None, "bus")
    chip.dead = False
    assert driver.read() == GOOD
    assert (len(scl.seen), sda.seen, len(made)) == (2 * 19, [1, 1], 2)
