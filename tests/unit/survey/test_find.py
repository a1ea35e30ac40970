"""Pins found in small scans made from closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from pinseat.errors import SurveyError
from pinseat.ledger.pins import frame
from pinseat.mesh.model import Mesh
from pinseat.survey.find import Expected, Standing, find_pins
from pinseat.survey.surface import Surface

EXPECTED = Expected((0.5, 0.8), (1.5, 6.0))


def nearest(pins: list[Standing], foot: np.ndarray) -> Standing:
    return min(pins, key=lambda pin: float(np.linalg.norm(pin.foot - foot)))


def test_every_pin_is_found_within_its_uncertainty_and_the_cusp_is_not_a_pin(made):
    pins, rejected = find_pins(Surface(made.mesh), EXPECTED)
    assert len(pins) == 3
    for true in made.trio:
        pin = nearest(pins, true.foot)
        tilt = frame(pin.axis) @ true.axis
        assert np.all(np.abs(tilt) < 4.0 * np.sqrt(np.diag(pin.covariance)[2:]))
        at = true.foot + true.axis * (pin.axis @ (pin.foot - true.foot)) / (pin.axis @ true.axis)
        assert np.all(np.abs(frame(pin.axis) @ (at - pin.foot)) < 4.0 * np.sqrt(np.diag(pin.covariance)[:2]))
        assert abs(pin.diameter_mm - true.diameter_mm) < 4.0 * pin.u_diameter_mm
        assert abs(pin.protrusion_mm - true.protrusion_mm) < 4.0 * pin.u_protrusion_mm
        assert pin.coverage > 0.9
        assert 0.008 < pin.residual_mm < 0.012
    assert any("cusp" in one.reason for one in rejected)


def test_pins_thinner_or_lower_than_wanted_are_refused_with_the_number(made):
    pins, rejected = find_pins(Surface(made.mesh), Expected((0.7, 0.8), (1.5, 6.0)))
    assert pins == []
    assert any("too thin: 0.65 mm" in one.reason for one in rejected)
    pins, rejected = find_pins(Surface(made.mesh), Expected((0.5, 0.8), (2.7, 6.0)))
    assert len(pins) == 2
    assert any("too low: it stands 2.4" in one.reason for one in rejected)


def test_a_square_post_is_not_round(made):
    plain = made.scan_of(made.trio[:1], edge_mm=0.13)
    squashed = plain.vertices.copy()
    high = squashed[:, 2] > 0.3
    squashed[high, 0] = -2.0 + 1.35 * (squashed[high, 0] + 2.0)
    pins, rejected = find_pins(Surface(Mesh(squashed, plain.faces)), EXPECTED)
    assert pins == []
    assert any("not round" in one.reason for one in rejected)


def test_a_crumb_in_the_air_hides_no_pin_and_is_none(made):
    tip = made.trio[0].foot + 6.0 * np.array([0.0, 0.0, 1.0])
    crumb = tip + 0.3 * np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1.0]])
    faces = np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [2, 0, 3]]) + len(made.mesh.vertices)
    mesh = Mesh(
        np.concatenate([made.mesh.vertices, crumb]),
        np.concatenate([made.mesh.faces, faces.astype(np.int32)]),
    )
    assert len(find_pins(Surface(mesh), EXPECTED)[0]) == 3


def test_a_spike_is_not_a_pin(made):
    vertices = made.scan_of([], edge_mm=0.13).vertices.copy()
    mesh = made.scan_of([], edge_mm=0.13)
    vertices[int(np.argmin(np.linalg.norm(vertices[:, :2] - [-2.0, 0.0], axis=1))), 2] += 3.0
    pins, rejected = find_pins(Surface(Mesh(vertices, mesh.faces)), EXPECTED)
    assert pins == []
    assert any("speck or spike" in one.reason for one in rejected)


def test_a_closed_surface_looks_no_way():
    box = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1.0]])
    faces = np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [2, 0, 3]], dtype=np.int32)
    with pytest.raises(SurveyError, match="closed"):
        find_pins(Surface(Mesh(box, faces)), EXPECTED)


@settings(max_examples=6, deadline=None)
@given(st.integers(0, 10_000), st.booleans())
def test_pose_order_and_mirror_change_no_pin(made, seed, mirrored):
    """Moved, mirrored and shuffled, the same pins come out: to a small part of their uncertainty."""
    rng = np.random.default_rng(seed)
    turn = Rotation.random(random_state=seed).as_matrix() @ np.diag([1.0, -1.0 if mirrored else 1.0, 1.0])
    shift = rng.uniform(-40.0, 40.0, 3)
    order = rng.permutation(len(made.mesh.vertices))
    place = np.argsort(order)
    faces = place[made.mesh.faces][rng.permutation(len(made.mesh.faces))].astype(np.int32)
    moved = Mesh((made.mesh.vertices @ turn.T + shift)[order], faces[:, ::-1].copy() if mirrored else faces)
    before, _ = find_pins(Surface(made.mesh), EXPECTED)
    after, _ = find_pins(Surface(moved), EXPECTED)
    assert len(after) == len(before)
    for pin in before:
        same = nearest(after, turn @ pin.foot + shift)
        u_foot, u_tilt = np.sqrt(np.diag(pin.covariance)[[0, 2]])
        assert np.linalg.norm(same.foot - turn @ pin.foot - shift) < 0.5 * (u_foot + pin.u_foot_depth_mm)
        assert np.linalg.norm(same.axis - turn @ pin.axis) < 0.5 * u_tilt
