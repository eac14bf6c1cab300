"""Sensor frames to whole numbers, or to a named fault.

Pure and without floats: the node's chip has single-precision floats only, and those spoil a reading's last digits.
Every decoder answers `(t_milli, rh_milli, fault)`: thousandths of a degree Celsius, thousandths of a per cent, and a
word from FAULTS; what could not be measured is None. The same file runs under MicroPython and CPython.

Sources: Sensirion, Datasheet SHT3x-DIS, version 7 (2022); Sensirion, Datasheet SHT4x; Analog Devices (Maxim),
Datasheet DS18B20; for the look-alikes of the DS18B20, github cpetrich/counterfeit_DS18B20.
"""

# What can be wrong with a read. A place in this tuple is what the ring keeps, so new words go at the end.
FAULTS = (
    None,
    "crc",  # the frame came, but not as it was sent
    "short",  # too few bytes came
    "range",  # the checksum is right, the value is outside what the sensor can measure
    "line-low",  # every byte 0: the data line is held low
    "power-up",  # the sensor's start value: it lost power, or was read before it had measured
    "weak-supply",  # the supply sagged while the sensor measured
    "config",  # not the kind of sensor that the settings name
    "absent",  # nobody answers on the wire
    "bus",  # the bus itself failed (no acknowledge, time-out)
)

# An SHT4x runs a little past 0 and 100 % in normal use: cropped when no further than this (our choice), else a fault.
_RH_SPILL_MILLI = 3000


def crc8_sensirion(data):
    """CRC-8 of SHT3x and SHT4x: x^8+x^5+x^4+1 (0x31), start 0xFF, most significant bit first; BE EF gives 92."""
    crc = 0xFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc << 1) ^ 0x131 if crc & 0x80 else crc << 1
    return crc


def crc8_maxim(data):
    """CRC-8 of the 1-Wire family: the same polynomial reflected (0x8C), start 0, least significant bit first."""
    crc = 0
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc >> 1) ^ 0x8C if crc & 1 else crc >> 1
    return crc


def decode_sht3x(frame):
    """Six bytes of an SHT3x: T = -45 + 175 S/65535, RH = 100 S/65535."""
    return _decode_sht(frame, 0, 100000)


def decode_sht4x(frame):
    """Six bytes of an SHT4x: T as above, RH = -6 + 125 S/65535, cropped to 0..100.

    The wrong one of the two RH formulas reads smooth, plausible and some 6 % off: the driver checks who answers.
    """
    return _decode_sht(frame, -6000, 125000)


def decode_ds18b20(pad):
    """Nine bytes of a DS18B20 scratchpad; there is no humidity.

    An all-zero pad passes its own CRC, so it is tested first. A pad of 85 degrees is the power-up value when byte 6 is
    0C as well; byte 6 alone says nothing (any x.25 degrees has it). Half a thousandth is rounded up.
    """
    if len(pad) != 9:
        return None, None, "short"
    if not any(pad):
        return None, None, "line-low"
    if crc8_maxim(pad[:8]) != pad[8]:
        return None, None, "crc"
    if pad[4] & 0x9F != 0x1F:  # byte 4 is 0 R1 R0 1 1 1 1 1 in this family
        return None, None, "config"
    raw = pad[0] | pad[1] << 8
    if raw == 0x0550 and pad[6] == 0x0C:
        return None, None, "power-up"
    if raw == 0x07FF:  # 127.9375
        return None, None, "weak-supply"
    undefined_bits = 3 - (pad[4] >> 5)
    sixteenths = (raw - 0x10000 if raw & 0x8000 else raw) >> undefined_bits << undefined_bits
    if not -55 * 16 <= sixteenths <= 125 * 16:
        return None, None, "range"
    return (sixteenths * 125 + 1) // 2, None, None


def _decode_sht(frame, rh_lowest, rh_span):
    if len(frame) != 6:
        return None, None, "short"
    if crc8_sensirion(frame[0:2]) != frame[2] or crc8_sensirion(frame[3:5]) != frame[5]:
        return None, None, "crc"
    t_milli = -45000 + _share(175000, frame[0] << 8 | frame[1])
    rh_milli = rh_lowest + _share(rh_span, frame[3] << 8 | frame[4])
    if not -40000 <= t_milli <= 125000:
        return None, None, "range"
    if not -_RH_SPILL_MILLI <= rh_milli <= 100000 + _RH_SPILL_MILLI:
        return t_milli, None, "range"  # the temperature has a word and a checksum of its own, and the eggs need it
    return t_milli, min(max(rh_milli, 0), 100000), None


def _share(span, word):
    """span * word / 65535, to the nearest whole number."""
    return (span * word + 32767) // 65535
