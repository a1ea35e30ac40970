"""How far each pin leans from the draw, with its uncertainty."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pinseat.ledger.pins import PinField, frame

Float = NDArray[np.float64]


def lean_deg(field: PinField, draw: Float) -> Float:
    """Lean of each pin from the draw as two angles in the frame of the draw.

    Parameters
    ----------
    field : PinField
    draw : (3,) array
        Unit vector off the teeth.

    Returns
    -------
    (n, 2) array, deg
    """
    across = frame(draw)
    rows = [np.degrees(np.arctan2(across @ pin.axis, draw @ pin.axis)) for pin in field.pins]
    return np.array(rows).reshape(-1, 2)


def lean_covariance_deg2(field: PinField, draw: Float) -> Float:
    """Covariance of :func:`lean_deg`, pin by pin.

    Parameters
    ----------
    field : PinField
    draw : (3,) array

    Returns
    -------
    (n, 2, 2) array, deg^2
    """
    across, whole = frame(draw), field.tilt_covariance
    blocks = []
    for i, pin in enumerate(field.pins):
        turn = across @ frame(pin.axis).T
        tilt = whole[2 * i : 2 * i + 2, 2 * i : 2 * i + 2]
        blocks.append(turn @ tilt @ turn.T)
    return np.array(blocks).reshape(-1, 2, 2) * np.degrees(1.0) ** 2


def lean_size_deg(field: PinField, draw: Float) -> tuple[Float, Float]:
    """Angle between each pin and the draw, and its standard uncertainty along the direction of the lean.

    A pin whose lean is smaller than its uncertainty has no known direction: the larger of the two
    uncertainties is taken then.

    Parameters
    ----------
    field : PinField
    draw : (3,) array

    Returns
    -------
    lean, u_lean : (n,) arrays, deg
    """
    lean, spread = lean_deg(field, draw), lean_covariance_deg2(field, draw)
    size = np.hypot(lean[:, 0], lean[:, 1])
    largest = np.sqrt(np.linalg.eigvalsh(spread)[:, -1]) if len(lean) else np.zeros(0)
    unit = lean / np.where(size > 0.0, size, 1.0)[:, None]
    along = np.sqrt(np.einsum("ni,nij,nj->n", unit, spread, unit))
    return size, np.where(size > largest, along, largest)
