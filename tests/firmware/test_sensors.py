"""Frames to numbers and faults, judged by the sensors' datasheets, under CPython and under MicroPython."""

from __future__ import annotations

import ast
import csv
import importlib
from fractions import Fraction
from pathlib import Path

import pytest

from tests.firmware.port import FIRMWARE, REFERENCE, firmware, run_micropython

sensors = firmware("sensors")


def table(name: str) -> list[dict[str, str]]:
    with (REFERENCE / name).open(newline="") as file:
        return list(csv.DictReader(file))


def sht_frame(t_word: int, rh_word: int) -> bytes:
    words = t_word.to_bytes(2, "big"), rh_word.to_bytes(2, "big")
    return b"".join(word + bytes([sensors.crc8_sensirion(word)]) for word in words)


def ds18b20_pad(raw: int, config: int = 0x7F, byte_6: int = 0x10) -> bytes:
    pad = (raw & 0xFFFF).to_bytes(2, "little") + bytes([0x4B, 0x46, config, 0xFF, byte_6, 0x10])
    return pad + bytes([sensors.crc8_maxim(pad)])


def assert_near(milli: int | None, printed: str, half_last_digit: str) -> None:
    """Ours and the printed value differ by both roundings at most: half of 0.001, half the last digit."""
    if not printed:
        assert milli is None
    else:
        assert milli is not None
        allowed = Fraction("0.0005") + Fraction(half_last_digit)
        assert abs(Fraction(milli, 1000) - Fraction(printed)) <= allowed


@pytest.mark.parametrize("row", table("sht_words.csv"), ids=lambda row: row["word"])
def test_sht_words(row: dict[str, str]) -> None:
    """A word's checksum, temperature and both kinds' humidity are those of the table."""
    word = int(row["word"], 16)
    assert sensors.crc8_sensirion(bytes.fromhex(row["word"])) == int(row["crc"], 16)
    if row["t_c"] and -40 <= float(row["t_c"]) <= 125:
        assert_near(sensors.decode_sht3x(sht_frame(word, 0x8000))[0], row["t_c"], "0.00005")
    if row["rh_sht3x_pct"]:
        assert_near(sensors.decode_sht3x(sht_frame(0x78AF, word))[1], row["rh_sht3x_pct"], "0.0005")
    if row["rh_sht4x_pct"]:
        humidity = Fraction(row["rh_sht4x_pct"])
        expected = str(float(min(max(humidity, Fraction(0)), Fraction(100)))) if -3 <= humidity <= 103 else ""
        assert_near(sensors.decode_sht4x(sht_frame(0x78AF, word))[1], expected, "0.0005")


@pytest.mark.parametrize("row", table("sht_frames.csv"), ids=lambda row: row["kind"] + "-" + row["frame"])
def test_sht_frames(row: dict[str, str]) -> None:
    """A whole frame gives the table's temperature and humidity, or the table's fault."""
    decode = sensors.decode_sht3x if row["kind"] == "sht3x" else sensors.decode_sht4x
    t_milli, rh_milli, fault = decode(bytes.fromhex(row["frame"]))
    assert (fault or "") == row["fault"]
    assert_near(t_milli, row["t_c"], "0.00005")
    assert_near(rh_milli, row["rh_pct"], "0.0005")


@pytest.mark.parametrize("row", table("ds18b20_pads.csv"), ids=lambda row: row["pad"])
def test_ds18b20_pads(row: dict[str, str]) -> None:
    """A scratchpad gives the table's temperature or fault, and its checksum holds when the table says so."""
    pad = bytes.fromhex(row["pad"])
    if len(pad) == 9:
        assert (sensors.crc8_maxim(pad[:8]) == pad[8]) == (row["crc_holds"] == "y")
    t_milli, rh_milli, fault = sensors.decode_ds18b20(pad)
    assert (fault or "") == row["fault"]
    assert rh_milli is None
    assert_near(t_milli, row["t_c"], "0")


@pytest.mark.parametrize("row", table("ds18b20_temperatures.csv"), ids=lambda row: row["data"])
def test_ds18b20_temperatures(row: dict[str, str]) -> None:
    """Each line of the datasheet's temperature table is read as printed, below zero too."""
    t_milli, _, fault = sensors.decode_ds18b20(ds18b20_pad(int(row["data"], 16)))
    assert fault is None
    assert_near(t_milli, row["t_c"], "0")


@pytest.mark.parametrize("row", table("ds18b20_roms.csv"), ids=lambda row: row["rom"])
def test_ds18b20_roms(row: dict[str, str]) -> None:
    """The checksum of printed ROM codes holds."""
    assert sensors.crc8_maxim(bytes.fromhex(row["rom"])) == 0


def test_every_sht_word_is_rounded_to_the_nearest_thousandth() -> None:
    """No word of 65 536 is off by more than half a thousandth from the exact formula, for either kind."""
    worst = Fraction(0)
    for word in range(0x10000):
        exact_t = Fraction(-45000) + Fraction(175000 * word, 65535)
        exact_3x = Fraction(100000 * word, 65535)
        exact_4x = Fraction(-6000) + Fraction(125000 * word, 65535)
        frame = sht_frame(word, word)
        t_milli, rh_milli, fault = sensors.decode_sht3x(frame)
        if -40000 <= round(exact_t) <= 125000:
            assert fault is None
            worst = max(worst, abs(t_milli - exact_t), abs(rh_milli - exact_3x))
        else:
            assert fault == "range"
        t_milli, rh_milli, fault = sensors.decode_sht4x(frame)
        if fault is None:
            worst = max(worst, abs(rh_milli - min(max(exact_4x, Fraction(0)), Fraction(100000))))
    assert Fraction(4, 10) < worst <= Fraction(1, 2)


def test_every_ds18b20_word() -> None:
    """All 65 536 words: exact to half a thousandth from -55 to 125 °C, else a fault; 85 stands without 0C."""
    for raw in range(0x10000):
        signed = raw - 0x10000 if raw & 0x8000 else raw
        t_milli, _, fault = sensors.decode_ds18b20(ds18b20_pad(raw))
        if -880 <= signed <= 2000:
            assert fault is None
            assert 0 <= t_milli - Fraction(signed * 1000, 16) <= Fraction(1, 2)
        else:
            assert fault == ("weak-supply" if raw == 0x07FF else "range")
    assert sensors.decode_ds18b20(ds18b20_pad(0x0550, byte_6=0x0C))[2] == "power-up"
    assert sensors.decode_ds18b20(ds18b20_pad(0x0254, byte_6=0x0C)) == (37250, None, None)


def test_ds18b20_lower_resolutions_drop_the_undefined_bits() -> None:
    """At 9, 10 and 11 bit the lowest 3, 2 and 1 bits are undefined and do not reach the value."""
    for config, step in ((0x1F, 8), (0x3F, 4), (0x5F, 2), (0x7F, 1)):
        for raw in (0x025F, 0xFF5F):
            signed = raw - 0x10000 if raw & 0x8000 else raw
            expected = Fraction(signed // step * step * 1000, 16)
            t_milli = sensors.decode_ds18b20(ds18b20_pad(raw, config))[0]
            assert 0 <= t_milli - expected <= Fraction(1, 2)


@pytest.mark.parametrize("config", [0x00, 0xFF, 0x7E, 0x10])
def test_a_pad_of_another_kind_of_chip(config: int) -> None:
    """A configuration byte that a DS18B20 cannot have is a fault, not a temperature."""
    assert sensors.decode_ds18b20(ds18b20_pad(0x0258, config)) == (None, None, "config")


def test_any_single_bit_error_is_caught() -> None:
    """One turned bit anywhere in a good frame is a fault in all three kinds."""
    frames = (
        (sensors.decode_sht3x, bytes.fromhex("78AF5F8CCC2C")),
        (sensors.decode_sht4x, bytes.fromhex("78AF5F7CED83")),
        (sensors.decode_ds18b20, bytes.fromhex("58024B467FFF0810BE")),
    )
    for decode, frame in frames:
        for bit in range(8 * len(frame)):
            broken = bytearray(frame)
            broken[bit // 8] ^= 1 << bit % 8
            assert decode(bytes(broken)) == (None, None, "crc")


def test_both_interpreters_agree() -> None:
    """Every answer of the pure functions is the same under MicroPython as under CPython."""
    firmware("node")  # with what it imports: the script below finds them by their bare names
    on_both = importlib.import_module("tests.firmware.on_both")
    assert on_both.__file__ is not None
    here = [*on_both.lines(str(REFERENCE))]
    there = run_micropython(Path(on_both.__file__), str(REFERENCE)).splitlines()
    assert len(here) > 70
    assert there == here


def test_no_float_in_the_firmware() -> None:
    """No float constant, true division or float() stands in the node's program (single precision there)."""
    for file in sorted(FIRMWARE.glob("*.py")):
        for entry in ast.walk(ast.parse(file.read_text())):
            where = f"{file.name}:{getattr(entry, 'lineno', 0)}"
            assert not (isinstance(entry, ast.Constant) and isinstance(entry.value, float | complex)), where
            assert not (isinstance(entry, ast.Name) and entry.id == "float"), where
            divides = isinstance(entry, ast.BinOp | ast.AugAssign) and isinstance(entry.op, ast.Div)
            assert not divides, where
