"""Crowns have the sizes of the reference table and the features by which one knows them."""

from __future__ import annotations

import numpy as np
import pytest

from pinseat.demo.arch import UPPER
from pinseat.demo.surface import isosurface
from pinseat.demo.teeth import Crown, crown
from pinseat.reference import value


def points(c: Crown) -> np.ndarray:
    """Vertices of the crown above its neck."""

    def field(p: np.ndarray) -> np.ndarray:
        q = np.ascontiguousarray(p.T)
        return c.closed(q, c.body(q))

    low, high = np.array([-7.0, -7.0, 0.3]), np.array([7.0, 7.0, 12.0])
    return isosurface(field, lambda p: np.full(len(p), 9.0), low, high, 0.25).vertices


@pytest.mark.parametrize("tooth", UPPER[7:])
def test_sizes_are_those_of_the_table(tooth: int) -> None:
    c = crown(tooth)
    found = points(c)
    spread = found.max(axis=0) - found.min(axis=0)
    assert spread[0] == pytest.approx(value(f"crown.{tooth}.mesiodistal_mm").value, abs=0.1)
    assert spread[1] == pytest.approx(value(f"crown.{tooth}.faciolingual_mm").value, abs=0.1)
    assert found[:, 2].max() == pytest.approx(value(f"crown.{tooth}.length_mm").value, abs=0.1)


@pytest.mark.parametrize(("tooth", "cusps"), [(23, 1), (24, 2), (26, 4)])
def test_cusps_are_counted_right(tooth: int, cusps: int) -> None:
    """Marginal ridges are peaks too, but lie lower."""
    c = crown(tooth)
    step = 0.25
    x, y = np.meshgrid(np.arange(-6.0, 6.1, step), np.arange(-6.0, 6.1, step), indexing="ij")
    z = np.arange(0.4 * c.length_mm, c.length_mm + 0.6, 0.05)
    q = np.stack([np.repeat(v.ravel(), len(z)) for v in (x, y)] + [np.tile(z, x.size)])
    solid = (c.closed(q, c.body(q)) < 0.0).reshape(*x.shape, len(z))
    top = np.where(solid.any(axis=2), z[len(z) - 1 - np.argmax(solid[:, :, ::-1], axis=2)], 0.0)
    around = [np.roll(top, (i, j), (0, 1)) for i in range(-3, 4) for j in range(-3, 4) if (i, j) != (0, 0)]
    peaks = (top > c.length_mm - 1.25) & (top >= np.max(around, axis=0))
    places = np.stack([x[peaks], y[peaks]], axis=1)
    apart: list[np.ndarray] = []
    for place in places:
        if all(np.linalg.norm(place - other) > 1.2 for other in apart):
            apart.append(place)
    assert len(apart) == cusps


def test_the_edge_of_an_incisor_is_thin_and_its_lingual_side_hollow() -> None:
    c = crown(11)
    height = np.array([0.25, 0.6, 0.95]) * c.length_mm
    _, _, centre, half, _ = c.sections(height)
    assert 2.0 * half[2] < 2.0 < 2.0 * half[0]
    lingual = centre - half
    assert lingual[1] > 0.5 * (lingual[0] + lingual[2])
