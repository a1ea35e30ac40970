from __future__ import annotations

import tomllib

import numpy as np
import pytest

from pinseat.case.model import Measured
from pinseat.casting.copies import measured_entry
from pinseat.compare.model import MeasuredRow, PinChange, ScaleChange
from pinseat.compare.rows import measured_rows, toml_text

SCALES = (ScaleChange("shared surface", 0.12, 0.02),)


def some_pins(seed: int, shift_mm: float, tilt_rad: float, depth_mm: float, count: int) -> list[PinChange]:
    rng = np.random.default_rng(seed)
    u = np.array([0.002, 0.002, 0.001, 0.001, 0.003, 0.001])
    pins = []
    for i in range(count):
        true = np.array([*rng.normal(0.0, shift_mm, 2), *rng.normal(0.0, tilt_rad, 2), depth_mm, 0.0])
        change = true + rng.normal(size=6) * u
        pins.append(
            PinChange(
                f"11-{i}", 0.0, 0.0, 0.0, 0.0, 1e3 * change[4], 3.0, 0.0, 0.0,
                change, np.diag(u**2), change[:4], (),
            )
        )  # fmt: skip
    return pins


def rows_of(pins, copy="die", negative=False):
    arms = np.zeros((len(pins), 2))
    return {
        row.error: row
        for row in measured_rows(copy, SCALES, pins, (0.0, arms, np.zeros(len(pins))), "x", negative)
    }


def test_the_scatter_put_in_comes_out():
    """20 um and 0.3 deg in each direction: root mean square lengths are sqrt(2) times as large."""
    rows = rows_of(some_pins(1, 0.02, np.radians(0.3), 0.0, 400))
    assert rows["position"].mean == pytest.approx(20.0 * np.sqrt(2.0), rel=0.1)
    assert rows["tilt"].mean == pytest.approx(0.3 * np.sqrt(2.0), rel=0.1)
    assert rows["scale"].mean == 0.12


def test_noise_alone_makes_no_error():
    rows = rows_of(some_pins(2, 0.0, 0.0, 0.0, 400))
    assert rows["position"].mean < 1.5
    assert rows["tilt"].mean < 0.05


def test_the_sign_of_depth_is_that_of_the_ledger():
    """A pin farther out of a die's hole means a hole too shallow; out of an impression, a hole too deep."""
    pins = some_pins(3, 0.0, 0.0, 0.03, 50)
    assert rows_of(pins)["depth"].mean == pytest.approx(-30.0, abs=2.0)
    assert rows_of(pins, "impression", negative=True)["depth"].mean == pytest.approx(30.0, abs=2.0)


def test_the_scale_is_taken_out_of_the_positions():
    pins = some_pins(4, 0.0, 0.0, 0.0, 8)
    arms = np.random.default_rng(5).uniform(-15.0, 15.0, (8, 2))
    grown = [
        PinChange(**{**p.__dict__, "whole": p.whole + np.array([*(0.002 * arm), 0.0, 0.0])})
        for p, arm in zip(pins, arms, strict=True)
    ]
    found = {
        row.error: row for row in measured_rows("die", SCALES, grown, (0.002, arms, np.zeros(8)), "x", False)
    }
    assert found["position"].mean < 3.0


def test_what_the_pose_leaves_open_is_no_error_of_the_pins():
    """All pins 6 um off in one direction, and a pose known to 6 um: nothing is left."""
    pins = [
        PinChange(**{**p.__dict__, "whole": p.whole + np.array([0.006, 0.0, 0.0, 0.0])})
        for p in some_pins(7, 0.0, 0.0, 0.0, 8)
    ]
    known = np.full(8, 0.006)
    rows = measured_rows("die", SCALES, pins, (0.0, np.zeros((8, 2)), known), "x", False)
    assert rows[1].mean < 3.0 < rows_of(pins)["position"].mean


def test_without_pins_only_the_scale():
    assert list(rows_of([])) == ["scale"]


def test_the_text_goes_into_a_case_as_it_stands():
    pins = some_pins(6, 0.01, 0.003, 0.02, 5)
    rows = measured_rows("die", SCALES, pins, (0.0, np.zeros((5, 2)), np.zeros(5)), 'a "b"', False)
    read = tomllib.loads(toml_text(rows))["measured"]
    assert [one["error"] for one in read] == ["scale", "position", "tilt", "depth"]
    for one in read:
        entry = measured_entry(Measured.model_validate(one))
        assert entry.basis == "measured here"
        assert entry.source == 'a "b"'


def test_rounding_keeps_three_decimals_of_a_scale():
    assert "mean = 0.046\n" in toml_text([MeasuredRow("die", "scale", 0.0456, 0.01, "x")])
