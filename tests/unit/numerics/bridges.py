"""A bridge with random places, as the contact kernel sees it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pinseat.ledger.pins import frame
from pinseat.numerics.contact import Contact, disc_rows, face_rows

Float = NDArray[np.float64]


@dataclass
class Bridge:
    """Places in space and one vector of errors, kept apart so that a test can move them."""

    points: Float
    frames: Float
    face_points: Float
    normals: Float
    counted: NDArray[np.bool_]
    origin: Float
    offset: Float
    radius: Float
    gap: Float

    @property
    def contact(self) -> Contact:
        discs = disc_rows(self.points, self.frames, self.origin)
        return Contact(discs, face_rows(self.face_points, self.normals, self.origin), self.counted)

    @property
    def y(self) -> Float:
        return np.concatenate([self.offset.ravel(), self.radius, self.gap])[None]


def bridge(seed: int, pins: int = 5, margins: int = 6, walls: int = 2) -> Bridge:
    rng = np.random.default_rng(seed)
    side = np.where(np.arange(pins) % 2 == 0, -9.0, 9.0)
    mouth = np.column_stack([side, np.zeros((pins, 2))]) + rng.uniform(-2, 2, (pins, 3))
    axis = rng.normal([0, 0, 1], 0.01, (pins, 3))
    axis /= np.linalg.norm(axis, axis=1)[:, None]
    tip = mouth - 2.5 * axis
    frames = np.array([frame(a) for a in axis])
    normals = np.vstack(
        [axis, rng.normal([0, 0, 1], 0.3, (margins, 3)), rng.normal([0, 0, 0.2], 1, (walls, 3))]
    )
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    return Bridge(
        points=np.vstack([mouth, tip]),
        frames=np.concatenate([frames, frames]),
        face_points=np.vstack([tip, rng.uniform([-12, -4, -2], [12, 4, 1], (margins + walls, 3))]),
        normals=normals,
        counted=np.array([False] * pins + [True] * margins + [False] * walls),
        origin=mouth.mean(axis=0),
        offset=rng.normal(0, 0.02, (2 * pins, 2)),
        radius=rng.normal(0.05, 0.003, 2 * pins),
        gap=rng.normal(0.03, 0.02, pins + margins + walls),
    )
