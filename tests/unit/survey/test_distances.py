"""Distances of pins: their uncertainty, their limits and what they refuse."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from pinseat.case.model import Abutment
from pinseat.errors import SurveyError
from pinseat.ledger.pins import Pin, PinField
from pinseat.mesh.model import Mesh
from pinseat.survey.distances import pin_spacing, pin_to_margin, thickness
from pinseat.survey.margin import margin
from pinseat.survey.terrain import Terrain
from tests.unit.survey.shapes import noisy, revolved

UP = np.array([0.0, 0.0, 1.0])
HOLE = {"hole_diameter_mm": 0.7, "hole_depth_mm": 2.0, "cast_pin_diameter_mm": 0.6}
TEETH = (Abutment(tooth=11, pins=2, **HOLE), Abutment(tooth=22, pins=1, **HOLE))


def pin(x: float, y: float, *, tooth: int = 11, number: int = 1, axis: np.ndarray = UP) -> Pin:
    return Pin(tooth, number, np.array([x, y, 0.0]), axis / np.linalg.norm(axis), 0.65, 3.0, 0.01, 0.01, 0.01)


def field(*pins: Pin, foot_mm: float = 0.01, tilt_deg: float = 0.2) -> PinField:
    each = [foot_mm**2] * 2 + [np.radians(tilt_deg) ** 2] * 2
    return PinField(pins, np.diag(each * len(pins)), "scan")


@pytest.fixture(scope="module")
def stump() -> Terrain:
    """A round tooth of radius 3.5 mm, flat at z = 0."""
    return Terrain(noisy(revolved([(0.0, 0.0), (3.5, 0.0), (3.5, -5.0)], 0.12), 0.005))


def test_spacing_is_between_pins_of_one_tooth_only() -> None:
    pins = field(pin(0, 0), pin(2.5, 0, number=2), pin(9, 0, tooth=22))
    (only,) = pin_spacing(pins, TEETH)
    assert only.where == "pins 11-1 and 11-2"
    assert only.value == pytest.approx(2.5, abs=1e-12)
    assert (only.limit, only.verdict) == (2.0, "clear")
    assert "common practice" in only.limit_source


def test_spacing_of_parallel_pins_has_the_uncertainty_of_their_feet() -> None:
    """At the mouth, where the distance is read, tilt does nothing: sqrt(2) x 0.01 mm."""
    (only,) = pin_spacing(field(pin(0, 0), pin(1.5, 0, number=2)), TEETH)
    assert only.u == pytest.approx(np.sqrt(2.0) * 0.01, rel=1e-9)
    assert only.verdict == "stop"


def test_spacing_of_converging_holes_is_read_at_their_floors() -> None:
    """Each leans 5 deg, so the floors, 2 mm down, are 4 sin 5 deg closer; there tilt counts 2 mm deep."""
    lean = np.array([np.tan(np.radians(5.0)), 0.0, 1.0])
    pins = field(pin(0, 0, axis=lean * [-1, 1, 1]), pin(2.2, 0, number=2, axis=lean))
    (only,) = pin_spacing(pins, TEETH)
    assert only.value == pytest.approx(2.2 - 4.0 * np.sin(np.radians(5.0)), abs=1e-9)
    expected = np.sqrt(2.0) * np.hypot(0.01, 2.0 * np.radians(0.2))
    assert only.u == pytest.approx(expected * np.cos(np.radians(5.0)), rel=1e-6)


def test_correlated_feet_that_move_together_keep_their_spacing() -> None:
    pins = field(pin(0, 0), pin(2.5, 0, number=2))
    together = pins.covariance.copy()
    together[0, 4] = together[4, 0] = together[1, 5] = together[5, 1] = 0.01**2
    (only,) = pin_spacing(dataclasses.replace(pins, covariance=together), TEETH)
    assert only.u == pytest.approx(0.0, abs=1e-9)


def test_margin_distance_is_from_the_hole_to_the_nearest_piece_of_the_line(stump: Terrain) -> None:
    """A square margin of half side 2: a hole at (0.5, 0.2) is 1.5 mm from the side x = 2, less its radius."""
    line = margin(stump, [(2, -2, 0), (2, 2, 0), (-2, 2, 0), (-2, -2, 0)], tooth=11)
    pins = field(pin(0.5, 0.2), pin(0, 0, tooth=22))
    (only,) = pin_to_margin(stump, pins, [line], TEETH)
    assert only.where == "pin 11-1"
    assert only.value == pytest.approx(1.5 - 0.35, abs=0.02)
    assert only.u == pytest.approx(np.hypot(0.01, 0.12 / np.sqrt(12.0)), rel=0.2)
    assert only.verdict == "clear"


def test_thickness_is_read_from_the_wall_not_from_the_flat_round_the_hole(stump: Terrain) -> None:
    found = thickness(stump, field(pin(2.0, 0.0), pin(-2.7, 0.0, number=2)), TEETH)
    assert [one.least.value for one in found] == [
        pytest.approx(3.5 - 2.0 - 0.35, abs=0.03),
        pytest.approx(3.5 - 2.7 - 0.35, abs=0.03),
    ]
    assert [one.least.verdict for one in found] == ["clear", "stop"]
    assert found[0].place[0] == pytest.approx(3.5, abs=0.05)
    assert 0.5 <= found[0].depth_mm <= 2.0
    assert "enamel" in found[0].least.limit_source


def test_standing_pins_are_no_surface_of_the_tooth() -> None:
    """A post where the pin stands: without setting it aside its own wall would be the nearest surface."""
    post = [(0.0, 3.0), (0.325, 3.0), (0.325, 0.0), (3.0, 0.0), (3.0, -5.0)]
    terrain = Terrain(noisy(revolved(post, 0.1), 0.005))
    (found,) = thickness(terrain, field(pin(0.0, 0.0)), TEETH)
    assert found.least.value == pytest.approx(3.0 - 0.35, abs=0.03)


def test_uncertainty_holds_foot_tilt_drill_and_noise(stump: Terrain) -> None:
    """Read at the floor of a hole that leans outward; drill +-15 um rectangular on the diameter."""
    lean = np.array([-np.tan(np.radians(8.0)), 0.0, 1.0])
    (found,) = thickness(stump, field(pin(1.5, 0.0, axis=lean)), TEETH)
    assert found.depth_mm == pytest.approx(2.0, abs=1e-9)
    parts = [0.01, 2.0 * np.radians(0.2), 0.0075 / np.sqrt(3.0), stump.noise_mm]
    assert found.least.u == pytest.approx(np.linalg.norm(parts), rel=0.02)


def test_tooth_that_is_no_abutment_is_named(stump: Terrain) -> None:
    with pytest.raises(SurveyError, match=r"pin 13-1: .*no abutment"):
        thickness(stump, field(pin(0, 0, tooth=13)), TEETH)


def test_scan_without_the_outer_surface_is_refused(stump: Terrain) -> None:
    flat = stump.face_normals[:, 2] > 0.99
    lid = Terrain(Mesh(stump.mesh.vertices, stump.mesh.faces[flat]))
    with pytest.raises(SurveyError, match="no outer surface"):
        thickness(lid, field(pin(0.0, 0.0)), TEETH)
