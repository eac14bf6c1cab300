"""A series corrected in whole arrays is the same as its readings corrected one by one."""

from __future__ import annotations

import math
from datetime import timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.analysis.history.environment import history_of
from monitor.analysis.line.calibrated import corrected_air
from monitor.domain.needs.bands import DRY_BULB, RH
from monitor.domain.readings.calibration import Calibration, Point, by_offset, by_points, by_salts, corrected
from monitor.domain.readings.reading import from_ms
from tests.analysis.air import T0, readings, sampled, stretch

START = from_ms(T0)
DRY = [
    None,
    by_offset(DRY_BULB, 0.3),
    by_offset(DRY_BULB, -1.25),
    by_points(DRY_BULB, [Point(30, 30.5), Point(40, 40.1)]),
]
HUMID = [None, by_offset(RH, 20.0), by_salts([("sodium-chloride", 73.1), ("magnesium-chloride", 34.0)], 25.0)]
SECONDS = st.integers(-50, 450)
KNOWN = st.builds(
    lambda at, since, dry, humid: Calibration(
        "node-a/top",
        START + timedelta(seconds=at),
        None if since is None else START + timedelta(seconds=since),
        dry_bulb_c=dry,
        rh_pct=humid,
    ),
    SECONDS,
    st.none() | SECONDS,
    st.sampled_from(DRY),
    st.sampled_from(HUMID),
)


@given(st.lists(KNOWN, max_size=6), st.data())
def test_in_whole_arrays_as_one_by_one(known: list[Calibration], data: st.DataObject) -> None:
    """For any calibrations and readings, with humidity or without, both forms give the same values; flags stay."""
    rows = data.draw(
        st.lists(st.tuples(SECONDS, st.floats(-20, 80), st.none() | st.floats(0, 104)), min_size=1, max_size=30)
    )
    air = readings([r[0] for r in rows], [r[1] for r in rows], [math.nan if r[2] is None else r[2] for r in rows], 2, 3)
    right = corrected_air(air, known)
    expected = [corrected(known, START + timedelta(seconds=at), dry, humid) for at, dry, humid in rows]
    assert right.dry_bulb_c.tolist() == pytest.approx([dry for dry, _ in expected], abs=1e-9)
    assert right.rh_pct.tolist() == pytest.approx(
        [math.nan if humid is None else humid for _, humid in expected], abs=1e-9, nan_ok=True
    )
    assert right.at_ms is air.at_ms
    assert (right.flag.tolist(), right.rh_flag.tolist()) == (air.flag.tolist(), air.rh_flag.tolist())


def test_without_a_calibration_it_is_the_same_air() -> None:
    """Nothing is copied where nothing is to be corrected."""
    air = sampled(lambda t: 37.5 + 0 * t, 1.0)
    assert corrected_air(air, ()) is air


def test_an_offset_moves_every_figure_by_just_that() -> None:
    """Mean, lowest and highest differ by the offset, the spread and the cover do not; the raw readings are left as they are."""
    air = sampled(lambda t: 37.5 + 0.4 * np.sin(t / 300.0), 1.0)
    before_c = air.dry_bulb_c.copy()
    right = corrected_air(air, [Calibration("p", START, dry_bulb_c=by_offset(DRY_BULB, 0.3))])
    raw, mended = (history_of([stretch(a)]).whole.dry_bulb_c for a in (air, right))
    for name in ("mean", "min", "max"):
        assert getattr(mended, name) - getattr(raw, name) == pytest.approx(0.3, abs=1e-9)
    assert mended.sd == pytest.approx(raw.sd, abs=1e-9)
    assert (mended.coverage, mended.samples) == (raw.coverage, raw.samples)
    assert (air.dry_bulb_c == before_c).all()
