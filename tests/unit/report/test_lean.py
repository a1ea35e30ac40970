import numpy as np
import pytest

from pinseat.ledger.pins import Pin, PinField, frame
from pinseat.report.lean import lean_covariance_deg2, lean_deg, lean_size_deg

DRAW = np.array([0.0, 0.0, 1.0])


def one_pin(axis: list[float], spread_deg: tuple[float, float]) -> PinField:
    unit = np.array(axis) / np.linalg.norm(axis)
    pin = Pin(11, 1, np.zeros(3), unit, 0.65, 3.0, 0.0, 0.0, 0.0)
    return PinField((pin,), np.diag([0.0, 0.0, *np.radians(spread_deg) ** 2]), "scan")


def test_lean_is_the_angle_in_each_plane_of_the_draw() -> None:
    field = one_pin([np.tan(np.radians(2.0)), np.tan(np.radians(-1.0)), 1.0], (0.1, 0.1))
    assert lean_deg(field, DRAW)[0] == pytest.approx([2.0, -1.0])


def test_uncertainty_of_the_tilt_is_taken_along_the_lean() -> None:
    field = one_pin([np.tan(np.radians(3.0)), 0.0, 1.0], (0.1, 0.4))
    along = frame(field.pins[0].axis) @ np.array([1.0, 0.0, 0.0])
    expected = 0.1 if abs(along[0]) > abs(along[1]) else 0.4
    lean, u = lean_size_deg(field, DRAW)
    assert lean[0] == pytest.approx(3.0)
    assert u[0] == pytest.approx(expected, rel=2e-3)


def test_a_pin_without_a_clear_lean_gets_the_larger_uncertainty() -> None:
    lean, u = lean_size_deg(one_pin([0.0, 0.0, 1.0], (0.1, 0.4)), DRAW)
    assert lean[0] == 0.0
    assert u[0] == pytest.approx(0.4)


def test_covariance_turns_with_the_draw() -> None:
    """The variances along the principal directions do not depend on how the draw's frame is laid."""
    field = one_pin([0.01, 0.02, 1.0], (0.1, 0.4))
    values = np.linalg.eigvalsh(lean_covariance_deg2(field, field.pins[0].axis)[0])
    assert np.sqrt(values) == pytest.approx([0.1, 0.4])
