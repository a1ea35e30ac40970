"""Which way is up when the teeth are looked at along the draw."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pinseat.case.teeth import arch, arch_position, side
from pinseat.ledger.pins import PinField, frame
from pinseat.mesh.model import Mesh

Float = NDArray[np.float64]


def upwards(mesh: Mesh, field: PinField, draw: Float) -> Float:
    """Which way is up on the page: the patient's right is on the left, as one looks at the teeth.

    Taken from the order of the teeth where two or more carry pins, else from the scan's longer side.

    Parameters
    ----------
    mesh : Mesh
    field : PinField
    draw : (3,) array

    Returns
    -------
    (3,) array
        Unit vector across the draw.
    """
    teeth = sorted({pin.tooth for pin in field.pins}, key=arch_position)
    across = frame(draw)
    if len(teeth) < 2:
        flat = mesh.vertices[:: max(len(mesh.vertices) // 5000, 1)] @ across.T
        along = np.linalg.svd(flat - flat.mean(axis=0), full_matrices=False)[2][0]
        flat_up = np.array([-along[1], along[0]])
    else:
        first, last = (
            np.mean([across @ pin.foot for pin in field.pins if pin.tooth == tooth], axis=0)
            for tooth in (teeth[0], teeth[-1])
        )
        along = last - first
        flat_up = np.array([-along[1], along[0]])
        if side(teeth[0]) == side(teeth[-1]):
            forward = -along if side(teeth[0]) == "left" else along
            flat_up = forward if arch(teeth[0]) == "upper" else -forward
    up = flat_up @ across
    return np.asarray(up / np.linalg.norm(up))
