"""Heights of a surface in columns beside each other: how much of it faces outward, over a column's width."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pinseat.ledger.pins import frame
from pinseat.survey.terrain import Terrain

Float = NDArray[np.float64]
Index = NDArray[np.int64]

COLUMN_MM = 0.5
"""Height and length are read column by column, each this wide."""


def straight_columns(
    terrain: Terrain, faces: Index, along: Float, outward: Float, width_mm: float, part: float = 1.0
) -> Float:
    """Length of a surface in each column of it, mm; the columns lie beside each other in its middle part."""
    spot = terrain.mesh.vertices[terrain.mesh.faces[faces]] @ along
    low, high = np.quantile(spot, (0.01, 0.99))
    count = int(part * (high - low) / width_mm)
    start = 0.5 * (low + high - count * width_mm)
    borders = np.asarray(start + width_mm * np.arange(count + 1), np.float64)
    return _shared(terrain.face_vectors[faces] @ outward, spot, borders) / width_mm


def round_columns(terrain: Terrain, faces: Index, d: Float) -> Float:
    """Height of a wall in each column round its middle, mm."""
    x, y = frame(d)
    area = terrain.face_area[faces]
    centre = np.average(terrain.middles[faces], axis=0, weights=area)
    offset = terrain.middles[faces] - centre
    offset -= np.outer(offset @ d, d)
    rho = np.linalg.norm(offset, axis=1)
    weight = np.einsum("ij,ij->i", terrain.face_vectors[faces], offset) / rho**2
    turn = np.arctan2(offset @ y, offset @ x)
    corner = terrain.mesh.vertices[terrain.mesh.faces[faces]] - centre
    spot = np.arctan2(corner @ y, corner @ x)
    width = COLUMN_MM / float(np.average(rho, weights=area))
    ordered = np.sort(turn)
    gaps = np.diff(np.append(ordered, ordered[0] + 2.0 * np.pi))
    start, length = -np.pi, 2.0 * np.pi
    if gaps.max() > width:
        start = ordered[(np.argmax(gaps) + 1) % len(ordered)]
        length -= gaps.max()
    turn = (turn - start) % (2.0 * np.pi)
    spot = turn[:, None] + (spot - start - turn[:, None] + np.pi) % (2.0 * np.pi) - np.pi
    count = max(int(length / width), 1)
    if gaps.max() <= width:  # all round: what reaches over the seam counts on both sides of it
        weight, spot = np.tile(weight, 3), np.concatenate((spot, spot - 2.0 * np.pi, spot + 2.0 * np.pi))
        width = length / count
    borders = np.asarray(width * np.arange(count + 1), np.float64)
    return _shared(weight, spot, borders) / width


def _shared(weight: Float, spot: Float, borders: Float) -> Float:
    """Sum of weights between borders, each spread evenly from its lowest to its highest place; (k,), (k, 3),
    (b,).
    """
    low, high = spot.min(axis=1), spot.max(axis=1)
    size = np.maximum(high - low, 1e-12)
    below = [float(weight @ np.clip((border - low) / size, 0.0, 1.0)) for border in borders]
    return np.diff(below)
