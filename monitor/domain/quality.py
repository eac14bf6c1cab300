"""Whether a reading is fit to be judged: named tests, flags of IOOS QARTOD (real-time quality control).

Only the gross range test stands so far. A failed reading is stored with its flag and judged by nobody; a probe that sends
nothing else is soon "no reading", so a broken sensor is never silence. A suspect one is judged like any other: a flag must not
silence danger.
"""

from __future__ import annotations

from monitor.domain.reading import FAIL, MISSING, PASS, SUSPECT

# Outside this no sensor in a hatching room speaks the truth: below a deep freezer, above a kettle's steam, or a humidity beyond
# what saturation and a sensor's own error can give.
DRY_BULB_C_FAIL = (-20.0, 80.0)
RH_PCT_FAIL = (0.0, 104.0)
# Outside this a room or a machine can be only when something is badly wrong, with it or with the sensor.
DRY_BULB_C_SUSPECT = (5.0, 50.0)
# What chips and libraries give in place of a reading: a DS18B20's power-up value, a weak supply.
SENTINELS_C = (85.0, 127.9375)


def flag_of(dry_bulb_c: float | None, rh_pct: float | None) -> int:
    """The flag of one reading, from its own values alone."""
    if dry_bulb_c is None:
        return MISSING
    if not DRY_BULB_C_FAIL[0] <= dry_bulb_c <= DRY_BULB_C_FAIL[1] or dry_bulb_c in SENTINELS_C:
        return FAIL
    if rh_pct is not None and not RH_PCT_FAIL[0] <= rh_pct <= RH_PCT_FAIL[1]:
        return FAIL
    if not DRY_BULB_C_SUSPECT[0] <= dry_bulb_c <= DRY_BULB_C_SUSPECT[1]:
        return SUSPECT
    return PASS
