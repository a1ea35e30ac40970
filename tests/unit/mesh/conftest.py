"""Bodies whose every property is known."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from pinseat.mesh.model import Float, Mesh

Body = Callable[..., Mesh]


def grid(x: Float, y: Float, z: Float) -> Mesh:
    """A surface over a rectangular grid of points, its front towards larger z."""
    rows, columns = z.shape
    index = np.arange(rows * columns, dtype=np.int32).reshape(rows, columns)
    a, b, c, d = (part.ravel() for part in (index[:-1, :-1], index[:-1, 1:], index[1:, 1:], index[1:, :-1]))
    faces = np.concatenate((np.column_stack((a, b, c)), np.column_stack((a, c, d))))
    return Mesh(np.column_stack((x.ravel(), y.ravel(), z.ravel())), faces)


def _sheet(height: Callable[[Float, Float], Float], width: float = 40.0, step: float = 0.5) -> Mesh:
    side = np.arange(-width / 2, width / 2 + step / 2, step)
    x, y = np.meshgrid(side, side)
    return grid(x, y, height(x, y))


def _cube(side: float = 2.0) -> Mesh:
    corner = np.array([[x, y, z] for x in (0, 1) for y in (0, 1) for z in (0, 1)], float) * side
    quads = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
    faces = [f for a, b, c, d in quads for f in ((a, b, c), (a, c, d))]
    return Mesh(corner, np.array(faces, np.int32))


def _ball(radius: float = 10.0, times: int = 4) -> Mesh:
    """An octahedron split `times` times and blown up to a ball."""
    corner = np.array([[1, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0], [0, 0, 1], [0, 0, -1]], float)
    tips = [(0, 2), (2, 1), (1, 3), (3, 0)]
    faces = np.array([(a, b, 4) for a, b in tips] + [(b, a, 5) for a, b in tips])
    for _ in range(times):
        sides = np.sort(np.concatenate((faces[:, :2], faces[:, 1:], faces[:, ::2])), axis=1)
        pairs, where = np.unique(sides, axis=0, return_inverse=True)
        middle = corner[pairs].mean(axis=1)
        middle /= np.linalg.norm(middle, axis=1)[:, None]
        ab, bc, ca = len(corner) + where.reshape(3, -1)
        a, b, c = faces.T
        corner = np.concatenate((corner, middle))
        faces = np.concatenate(
            [np.column_stack(three) for three in ((a, ab, ca), (b, bc, ab), (c, ca, bc), (ab, bc, ca))]
        )
    return Mesh(radius * corner, faces.astype(np.int32))


def _arch(palate_mm: float = 0.0, step: float = 0.4) -> Mesh:
    """A horseshoe of humps on a gum that falls away, with a vault between its legs if wanted."""
    x, y = np.meshgrid(np.arange(-34, 34, step), np.arange(-25, 43, step))
    across = np.hypot(x / 26, (y + 25) / 60)
    away = np.abs(across - 1) * 28
    along = np.arctan2(x / 26, (y + 25) / 60)
    gum = np.where(across < 1, -palate_mm * np.sqrt(np.clip(away / 12, 0, 1)), -6 * np.clip(away / 6, 0, 1))
    crown = (7 + np.cos(28 * along)) * np.clip(1 - (away / 4) ** 4, 0, None)
    mesh = grid(x, y, gum + crown)
    keep = (away < 8) | ((across < 1) if palate_mm else np.zeros(x.shape, bool))
    return Mesh(mesh.vertices, mesh.faces[keep.ravel()[mesh.faces].all(axis=1)])


@pytest.fixture(scope="session")
def sheet() -> Body:
    return _sheet


@pytest.fixture(scope="session")
def cube() -> Body:
    return _cube


@pytest.fixture(scope="session")
def ball() -> Body:
    return _ball


@pytest.fixture(scope="session")
def arch() -> Body:
    return _arch
