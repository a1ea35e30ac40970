"""A small invented model with closed forms: a row of blunt teeth on a ridge, two pins in one of them."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from skimage.measure import marching_cubes

from pinseat.case.model import Abutment, Case
from pinseat.ledger.handover import Handover
from pinseat.ledger.pins import Pin, PinField
from pinseat.mesh.model import Mesh
from pinseat.tray.step import Tray, run

TEETH_MM = (-18.0, -9.0, 0.0, 9.0, 18.0)
"""Middles of the teeth along x; the one at 0 is prepared."""
DRAW = np.array([0.0, 0.0, 1.0])


def field_at(p: np.ndarray) -> np.ndarray:
    """Distance-like field of gum and teeth, negative inside: boxes with round edges, wider in the middle."""
    x, y, z = p[..., 0], p[..., 1], p[..., 2]
    gum = np.maximum(np.hypot(np.maximum(np.abs(x) - 21.0, 0.0), y) - 6.0 + 0.35 * (z + 4.0), z)
    out = gum
    for at in TEETH_MM:
        high = 6.5 if at else 4.0
        bulge = 0.35 * np.exp(-(((z - 3.0) / 1.2) ** 2))
        q = np.stack(
            (np.abs(x - at) - 3.3 - bulge, np.abs(y) - 3.0 - bulge, np.abs(z - 0.5 * high) - 0.5 * high), -1
        )
        tooth = (
            np.linalg.norm(np.maximum(q + 1.0, 0.0), axis=-1) + np.minimum((q + 1.0).max(axis=-1), 0.0) - 1.0
        )
        if at:
            side = np.sign(y) * 1.8
            cusp = np.linalg.norm(p - np.stack((0 * x + at, side, 0 * x + high - 0.4), -1), axis=-1) - 1.1
            tooth = np.minimum(tooth, cusp)
        out = np.minimum(out, tooth)
    return np.asarray(out)


def pins() -> PinField:
    """Two pins on the prepared tooth, one leaning by 3 deg."""
    lean = np.radians(3.0)
    made = tuple(
        Pin(11, i + 1, np.array([x, 0.0, 4.0]), axis, 0.6, 3.0, 0.01, 0.005, 0.01)
        for i, (x, axis) in enumerate(
            ((-1.5, np.array([0.0, 0.0, 1.0])), (1.5, np.array([np.sin(lean), 0.0, np.cos(lean)])))
        )
    )
    return PinField(made, np.diag([1e-4, 1e-4, 1e-6, 1e-6] * 2), "scan")


def model(step: float = 0.3, field: Callable[[np.ndarray], np.ndarray] = field_at) -> Mesh:
    """The model's surface above its base, open below, with the pins standing on it."""
    low, high = np.array([-30.0, -11.0, -9.0]), np.array([30.0, 11.0, 9.0])
    ticks = [np.arange(a, b + step, step) for a, b in zip(low, high, strict=True)]
    p = np.stack(np.meshgrid(*ticks, indexing="ij"), axis=-1)
    values = field(p)
    for pin in pins().pins:
        q = p - pin.foot
        along = np.clip(q @ pin.axis, -1.0, pin.protrusion_mm - 0.3)
        values = np.minimum(values, np.linalg.norm(q - along[..., None] * pin.axis, axis=-1) - 0.3)
    vertices, faces, _, _ = marching_cubes(values, 0.0, allow_degenerate=False)
    return Mesh(low + step * vertices.astype(float), np.ascontiguousarray(faces.astype(np.int32)))


def case_of(**tray: object) -> Case:
    """A case round the model."""
    return Case(
        number="T-1",
        missing=(21,),
        abutments=(
            Abutment(tooth=11, pins=2, hole_diameter_mm=0.7, hole_depth_mm=2.5, cast_pin_diameter_mm=0.62),
        ),
        tray=tray,
    )


def handover() -> Handover:
    return Handover(field=pins(), draw=DRAW)


@pytest.fixture(scope="session")
def scan() -> Mesh:
    return model(0.4)


@pytest.fixture(scope="session")
def made(scan: Mesh) -> Tray:
    """A tray on a coarse grid."""
    return run(case_of(grid_mm=0.4), handover(), mesh=scan)
