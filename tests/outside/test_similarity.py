"""The closed-form fit of matched points against a measured plate, Horn's quaternion, and two libraries."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation
from skimage.transform import estimate_transform

from pinseat.numerics.similarity import best_similarity, rotation_of, turn_of

PLATE = np.array(
    [
        [11.650, -10.184, 11.610, -10.090, -0.002, 0.009],
        [-0.079, 162.760, -0.207, 162.841, -0.002, 0.001],
        [5.070, 185.377, 4.921, 185.449, -0.012, -0.011],
        [210.257, 72.308, 210.177, 72.484, -0.001, -0.010],
        [316.010, 71.483, 315.925, 71.719, -0.008, -0.004],
        [-132.308, -296.354, -132.201, -296.356, 0.001, -0.012],
        [-178.579, -236.239, -178.504, -236.258, 0.000, -0.006],
        [-235.190, -186.346, -235.142, -186.389, -0.001, -0.002],
    ]
)
"""Nominal x, y; measured x, y; published residual x, y, mm. Eight of the holes of drilled plate 8131,
measured on a coordinate measuring machine on 2014-10-14: public repository csayres/fitPlugPlateMeas."""
OFFSET_MM, SCALE, TURN_DEG, RMS_MM = (-0.044, 0.079), 1.000007, 0.029, 0.0083
"""Published similarity fit over all holes of that plate, same source."""


def flat(columns: np.ndarray) -> np.ndarray:
    return np.column_stack([columns, np.zeros(len(columns))])


def test_the_published_fit_carried_out_here_leaves_the_published_residuals():
    """Offset, angle and residuals are printed to 0.001 mm, 0.001 deg (5 um at 300 mm) and 0.001 mm."""
    turn = rotation_of([0.0, 0.0, np.radians(TURN_DEG)])
    fitted = SCALE * flat(PLATE[:, :2]) @ turn.T + [*OFFSET_MM, 0.0]
    assert np.abs(PLATE[:, 2:4] - fitted[:, :2] - PLATE[:, 4:]).max() < 0.0011


def test_eight_holes_give_the_published_fit_within_their_own_uncertainty():
    found = best_similarity(flat(PLATE[:, :2]), flat(PLATE[:, 2:4]))
    u = np.sqrt(np.diag(found.covariance))
    assert abs(found.scale - SCALE) < 2.0 * u[6]
    assert abs(turn_of(found.rotation)[2] - np.radians(TURN_DEG)) < 2.0 * np.hypot(u[5], np.radians(0.0003))
    published = SCALE * rotation_of([0.0, 0.0, np.radians(TURN_DEG)]) @ flat(PLATE[:, :2]).mean(axis=0)
    off = found.middle[:2] - (published[:2] + OFFSET_MM)
    assert np.all(np.abs(off) < 2.5 * u[:2])
    rms_mm = float(np.sqrt(np.mean(np.sum(found.residual**2, axis=1))))
    assert rms_mm == pytest.approx(RMS_MM, rel=0.3)  # chi of 16 - 4 readings: 20 %, once and a half
    assert not found.mirrored


def horn(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Rotation as the top eigenvector of Horn's 4 x 4 matrix (J. Opt. Soc. Am. A 4 (1987) 629; from
    memory).
    """
    s = (x - x.mean(axis=0)).T @ (y - y.mean(axis=0))
    n = np.empty((4, 4))
    n[0, 0] = np.trace(s)
    n[0, 1:] = n[1:, 0] = [s[1, 2] - s[2, 1], s[2, 0] - s[0, 2], s[0, 1] - s[1, 0]]
    n[1:, 1:] = s + s.T - np.trace(s) * np.eye(3)
    w, *v = np.linalg.eigh(n)[1][:, -1]
    return Rotation.from_quat([*v, w]).as_matrix()


@pytest.mark.parametrize("seed", range(6))
def test_horn_s_quaternion_and_two_libraries_give_the_same(seed):
    rng = np.random.default_rng(seed)
    x = rng.normal(0.0, 10.0, (9, 3))
    y = 1.01 * x @ rotation_of(rng.normal(size=3)).T + rng.normal(size=3) + rng.normal(0.0, 0.3, x.shape)
    found = best_similarity(x, y)
    assert found.rotation == pytest.approx(horn(x, y), abs=1e-12)
    aligned, _ = Rotation.align_vectors(y - y.mean(axis=0), x - x.mean(axis=0))
    assert found.rotation == pytest.approx(aligned.as_matrix(), abs=1e-9)
    umeyama = estimate_transform("similarity", x, y).params
    assert found.scale * found.rotation == pytest.approx(umeyama[:3, :3], abs=1e-10)
    assert found.shift == pytest.approx(umeyama[:3, 3], abs=1e-9)
