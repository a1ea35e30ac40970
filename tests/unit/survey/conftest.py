"""Small scans with known truth, made here from closed forms: nothing of ours is needed for them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pytest
from skimage.measure import marching_cubes

from pinseat.case.model import Abutment, Case
from pinseat.mesh.model import Mesh


@dataclass(frozen=True, eq=False)
class TruePin:
    """A capped cylinder."""

    foot: np.ndarray
    axis: np.ndarray
    diameter_mm: float
    protrusion_mm: float


def lump(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """A curved, sloping tooth surface."""
    return 0.25 * x + 0.1 * y - 0.05 * x * x - 0.03 * y * y


def standing(
    x: float, y: float, lean_deg: tuple[float, float], diameter_mm: float, protrusion_mm: float
) -> TruePin:
    """A pin whose foot lies on the lump."""
    axis = np.array([*np.tan(np.radians(lean_deg)), 1.0])
    foot = np.array([x, y, float(lump(np.array(x), np.array(y)))])
    return TruePin(foot, axis / np.linalg.norm(axis), diameter_mm, protrusion_mm)


def distance(pins: list[TruePin], points: np.ndarray) -> np.ndarray:
    """Distance-like function, negative inside lump or pins; near any wall it is the distance."""
    x, y, z = points[..., 0], points[..., 1], points[..., 2]
    gap = (z - lump(x, y)) / 1.05
    gap = np.minimum(gap, cusp(points))
    for pin in pins:
        q = points - pin.foot
        along = q @ pin.axis
        rho = np.sqrt(np.maximum(np.einsum("...i,...i->...", q, q) - along**2, 0.0))
        side, end = rho - pin.diameter_mm / 2.0, np.maximum(along - pin.protrusion_mm, -along - 1.0)
        outside = np.hypot(np.maximum(side, 0.0), np.maximum(end, 0.0))
        gap = np.minimum(gap, outside + np.minimum(np.maximum(side, end), 0.0))
    return gap


def cusp(points: np.ndarray) -> np.ndarray:
    """A blunt cone beside the pins: narrow at the top, but no pin."""
    q = points - np.array([2.7, 0.4, 2.6])
    rho = np.hypot(q[..., 0], q[..., 1])
    return (np.hypot(rho, 0.2) + 0.42 * q[..., 2]) / np.hypot(1.0, 0.42)


def scan_of(
    pins: list[TruePin],
    *,
    edge_mm: float = 0.10,
    noise_mm: float = 0.010,
    seed: int = 1,
    half_mm: float = 4.6,
) -> Mesh:
    """Open shell of the lump with its pins: vertices on the true surface, then noise along the normals."""
    step = edge_mm  # marching cubes gives a median edge of about its step
    x = np.arange(-half_mm, half_mm, step)
    z = np.arange(-4.0, 5.2, step)
    grid = np.stack(np.meshgrid(x, x, z, indexing="ij"), axis=-1)
    vertices, faces, _, _ = marching_cubes(distance(pins, grid), 0.0, spacing=(step, step, step))
    vertices = vertices.astype(np.float64) + np.array([x[0], x[0], z[0]])
    for _ in range(3):
        vertices = vertices - _gradient(pins, vertices) * distance(pins, vertices)[:, None]
    normals = _gradient(pins, vertices)
    normals /= np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-9)
    shift = np.random.default_rng(seed).normal(0.0, noise_mm, len(vertices))
    mesh = Mesh(vertices + normals * shift[:, None], faces.astype(np.int32))
    corner = mesh.vertices[mesh.faces]
    area = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]).sum(axis=0)
    return mesh if area[2] > 0.0 else Mesh(mesh.vertices, mesh.faces[:, ::-1].copy())


def _gradient(pins: list[TruePin], points: np.ndarray, h: float = 1e-5) -> np.ndarray:
    sides = [distance(pins, points + h * e) - distance(pins, points - h * e) for e in np.eye(3)]
    return np.stack(sides, axis=-1) / (2.0 * h)


TRIO = [
    standing(-2.0, 0.2, (4.0, -3.0), 0.65, 3.0),
    standing(0.3, 1.6, (-2.0, 6.0), 0.65, 3.0),
    standing(0.6, -1.8, (12.0, 9.0), 0.65, 2.4),
]


@dataclass(frozen=True, eq=False)
class Made:
    """What the tests take from here."""

    scan_of: Callable[..., Mesh]
    standing: Callable[..., TruePin]
    trio: list[TruePin]
    mesh: Mesh
    case: Callable[..., Case]
    abutment: Callable[..., Abutment]


def abutment(tooth: int = 11, pins: int = 3, **more: object) -> Abutment:
    """A usual abutment."""
    usual = {"hole_diameter_mm": 0.70, "hole_depth_mm": 2.5, "cast_pin_diameter_mm": 0.60}
    return Abutment.model_validate({"tooth": tooth, "pins": pins, **usual, **more})


def case(*abutments: Abutment, **more: object) -> Case:
    """A case with these abutments; one with the three pins of the scan when none is given."""
    given = abutments or (abutment(impression_pin_diameter_mm=0.65, impression_pin_length_mm=5.5),)
    return Case.model_validate({"number": "T-1", "missing": [21], "abutments": list(given), **more})


@pytest.fixture(scope="session")
def made() -> Made:
    return Made(scan_of, standing, TRIO, scan_of(TRIO, edge_mm=0.13), case, abutment)
