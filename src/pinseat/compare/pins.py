"""Pin by pin: what happened to each against its own tooth.

Each tooth of the second scan is laid on the first by itself (its pins left out), so that neither the pose of
the whole nor a warp of the scanner counts as a change of a pin. Then, in the frame of the pin on the first
scan, the second axis is met with the plane across the first foot: the offset there is the shift, the two
slopes are the tilt, and how much farther out the free end stands is the depth. The foot's own height does
not enter:
what lies under a pin is the same on both scans and seen on neither.

Covariance: both pins' own, plus that of the tooth's fit carried to the foot and the free end, plus what the
scanners' warp does within a tooth. A warp turns pieces of the surface against each other as much as it
strains them; the turns are seen (each piece laid by itself), so the strain is taken to be as large.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from pinseat.compare.deviation import by_pin
from pinseat.compare.model import Deviation, Float, PinChange
from pinseat.ledger.pins import Pin, PinField, frame
from pinseat.mesh.nearest import Nearest
from pinseat.mesh.registration import Registration, Settled, one_per_cell, settle
from pinseat.mesh.topology import vertex_normals
from pinseat.numerics.similarity import skew, turn_of
from pinseat.reference import value

PAIR_MM = 1.0
"""Feet farther apart than this are two pins."""
AROUND_MM = 5.0
"""How much of a tooth around its pins is laid by itself."""
CLEAR_MM = 0.4
"""What is left out around each pin."""
CELL_MM = 0.15
PIECE_MM, PIECE_CELL_MM = 10.0, 0.4
"""Pieces of the whole surface that are laid by themselves to see how it is warped."""
PRIOR_PIECES = 4
MOST_U_TURN = np.radians(0.15)
"""A piece that is known less well tells nothing."""
_MEDIAN_SQUARE = 2.366
"""Median of the chi-square distribution with three degrees of freedom."""
LEAST_U_END_MM = 0.002


@dataclass(frozen=True, eq=False)
class Paired:
    """A pin on both scans, in the common pose, with the covariance of foot and axis in space.

    Attributes
    ----------
    first, second : Pin
        The second points the same way as the first.
    spread_first, spread_second : (6, 6) arrays
        Of the foot (mm) and the axis (rad) in space.
    """

    first: Pin
    second: Pin
    spread_first: Float
    spread_second: Float


def paired(first: PinField, second: PinField, laid: Registration) -> tuple[list[Paired], list[str]]:
    """Pair pins by place.

    Parameters
    ----------
    first, second : PinField
        Each in its own scan's coordinates.
    laid : Registration

    Returns
    -------
    pairs : list of Paired
        In the order of the first scan.
    unpaired : list of str
        Pins without a partner, in words.
    """
    carried = [_carried(pin, laid) for pin in second.pins]
    apart = np.array([[np.linalg.norm(p.foot - q.foot) for q in carried] for p in first.pins])
    apart = apart.reshape(len(first.pins), len(carried))
    pairs, taken = [], set()
    alone = []
    for i, pin in enumerate(first.pins):
        j = int(np.argmin(apart[i])) if len(carried) else -1
        if j < 0 or apart[i, j] > PAIR_MM or int(np.argmin(apart[:, j])) != i:
            alone.append(f"pin {pin.name} of the first scan")
            continue
        taken.add(j)
        pairs.append(
            Paired(pin, carried[j], _in_space(first, i, np.eye(3)), _in_space(second, j, laid.rotation))
        )
    alone += [f"pin {pin.name} of the second scan" for j, pin in enumerate(second.pins) if j not in taken]
    return pairs, alone


def _carried(pin: Pin, laid: Registration) -> Pin:
    axis = laid.rotation @ pin.axis
    return replace(pin, foot=laid.apply(pin.foot[None])[0], axis=-axis if laid.turned_over else axis)


def _in_space(field: PinField, index: int, rotation: Float) -> Float:
    """Covariance of foot and axis in space, turned; (6, 6). A reversed axis changes sign in both factors."""
    across = rotation @ frame(field.pins[index].axis).T
    spread = np.zeros((6, 4))
    spread[:3, :2], spread[3:, 2:] = across, across
    block = field.covariance[4 * index : 4 * index + 4, 4 * index : 4 * index + 4]
    return np.asarray(spread @ block @ spread.T)


def settled_teeth(
    first: Nearest, found: Deviation, pairs: Sequence[Paired], fields: Sequence[PinField]
) -> dict[int, Settled]:
    """Lay each tooth that has pins by itself.

    Parameters
    ----------
    first : Nearest
    found : Deviation
    pairs : sequence of Paired
    fields : sequence of PinField
        Pins of both scans in the common pose, left out with what is beside them.

    Returns
    -------
    dict of int to Settled
        By tooth; without those that cannot be laid by themselves.
    """
    vertices, normals = found.mesh.vertices, vertex_normals(found.mesh)
    free = np.ones(len(vertices), bool)
    for field in fields:
        free &= ~by_pin(vertices, field, CLEAR_MM)
    teeth: dict[int, Settled] = {}
    for tooth in dict.fromkeys(pair.first.tooth for pair in pairs):
        feet = [pair.first.foot for pair in pairs if pair.first.tooth == tooth]
        near = free & (np.min([_far(vertices, foot) for foot in feet], axis=0) < AROUND_MM)
        piece = np.flatnonzero(near)
        if not len(piece):
            continue
        piece = piece[one_per_cell(vertices[piece], CELL_MM)]
        laid = settle(first, vertices[piece], normals[piece])
        if laid is not None:
            teeth[tooth] = laid
    return teeth


def strain_of(first: Nearest, found: Deviation) -> float:
    """How much the scanners' warp strains either surface against the other; a pure number, as of a length.

    Median over pieces of 10 mm of the square of their turn against the common pose, less what noise does. Few
    pieces tell little, so the strain that is assumed of scanners counts as four more of them.

    Parameters
    ----------
    first : Nearest
    found : Deviation

    Returns
    -------
    float
    """
    vertices, normals = found.mesh.vertices, vertex_normals(found.mesh)
    sample = one_per_cell(vertices, PIECE_CELL_MM)
    sample = sample[~np.isnan(found.distance_mm[sample])]
    block = np.unique(np.floor(vertices[sample] / PIECE_MM), axis=0, return_inverse=True)[1].ravel()
    square, noise = [], []
    for piece in (sample[block == which] for which in range(int(block.max(initial=-1)) + 1)):
        laid = settle(first, vertices[piece], normals[piece])
        if laid is not None and np.trace(laid.covariance[3:, 3:]) < MOST_U_TURN**2:
            square.append(float(np.sum(turn_of(laid.rotation) ** 2)) / _MEDIAN_SQUARE)
            noise.append(float(np.trace(laid.covariance[3:, 3:])) / 3.0)
    assumed = (1e-2 * value("compare.strain_percent").value) ** 2
    seen = max(float(np.median(square) - np.median(noise)), 0.0) if square else 0.0
    return float(np.sqrt((len(square) * seen + PRIOR_PIECES * assumed) / (len(square) + PRIOR_PIECES)))


def _far(points: Float, place: Float) -> Float:
    offset = points - place
    return np.asarray(np.sqrt(np.einsum("ij,ij->i", offset, offset)))


def field_moved(field: PinField, rotation: Float, shift: Float) -> PinField:
    """A pin field in other coordinates, covariance and all.

    Parameters
    ----------
    field : PinField
    rotation, shift : (3, 3) and (3,) arrays

    Returns
    -------
    PinField
    """
    pins = tuple(
        replace(pin, foot=rotation @ pin.foot + shift, axis=rotation @ pin.axis) for pin in field.pins
    )
    turn = np.zeros((4 * len(pins), 4 * len(pins)))
    for i, (before, after) in enumerate(zip(field.pins, pins, strict=True)):
        across = frame(after.axis) @ rotation @ frame(before.axis).T
        turn[4 * i : 4 * i + 2, 4 * i : 4 * i + 2] = turn[4 * i + 2 : 4 * i + 4, 4 * i + 2 : 4 * i + 4] = (
            across
        )
    return PinField(pins, turn @ field.covariance @ turn.T, field.basis)


def in_common_pose(field: PinField, laid: Registration) -> PinField:
    """The second scan's pins in the common pose; their covariance is not carried."""
    return PinField(tuple(_carried(pin, laid) for pin in field.pins), field.covariance, field.basis)


def change_of(
    pair: Paired, tooth: Settled, strain: float, *, negative: bool, length_mm: float | None
) -> PinChange:
    """What happened to one pin.

    Parameters
    ----------
    pair : Paired
    tooth : Settled
    strain : float
        See :func:`strain_of`.
    negative : bool
        The second scan is an impression: its pin shows the end that stood in the tooth.
    length_mm : float or None
        Whole length of the pin, for a negative.

    Returns
    -------
    PinChange
        Without `certain`: that takes all pins together.
    """
    whole = _across(pair.first, pair.second)
    moved = replace(
        pair.second, foot=tooth.apply(pair.second.foot[None])[0], axis=tooth.rotation @ pair.second.axis
    )
    across = _across(pair.first, moved)
    depth, u_end = _depth(pair.first, moved, negative, length_mm)
    change = np.array([*across, depth, moved.diameter_mm - pair.first.diameter_mm])
    covariance = _covariance(pair, moved, tooth, u_end, strain)
    u = np.sqrt(np.diag(covariance))
    known = not np.isnan(depth)
    return PinChange(
        name=pair.first.name,
        shift_um=1e3 * float(np.hypot(*across[:2])),
        u_shift_um=1e3 * _along(covariance[:2, :2], across[:2]),
        tilt_deg=float(np.degrees(np.hypot(*across[2:]))),
        u_tilt_deg=float(np.degrees(_along(covariance[2:4, 2:4], across[2:]))),
        depth_um=1e3 * depth if known else None,
        u_depth_um=1e3 * float(u[4]) if known else None,
        diameter_um=1e3 * float(change[5]),
        u_diameter_um=1e3 * float(u[5]),
        change=change,
        covariance=covariance,
        whole=whole,
        certain=(),
    )


def _across(first: Pin, second: Pin) -> Float:
    """Shift (mm) at the first foot and tilt (rad) of the second axis, in the frame of the first."""
    f = frame(first.axis)
    ahead = (first.foot - second.foot) @ first.axis / (second.axis @ first.axis)
    return np.concatenate([f @ (second.foot + ahead * second.axis - first.foot), f @ second.axis])


def _depth(first: Pin, second: Pin, negative: bool, length_mm: float | None) -> tuple[float, float]:
    """How much farther out the pin stands, and the uncertainty of both ends, mm."""
    if negative:
        u = float(np.hypot(first.u_protrusion_mm, second.u_protrusion_mm))
        if length_mm is None:
            return float("nan"), u
        return second.protrusion_mm - (length_mm - first.protrusion_mm), u
    ends = [pin.foot + pin.protrusion_mm * pin.axis for pin in (first, second)]
    u_ends = [
        np.sqrt(max(pin.u_protrusion_mm**2 - pin.u_foot_depth_mm**2, LEAST_U_END_MM**2))
        for pin in (first, second)
    ]
    return float((ends[1] - ends[0]) @ first.axis), float(np.hypot(*u_ends))


def _covariance(pair: Paired, moved: Pin, tooth: Settled, u_end: float, strain: float) -> Float:
    """Of shift (u, v), tilt (u, v), depth and diameter."""
    f = frame(pair.first.axis)
    reach = float((pair.first.foot - moved.foot) @ pair.first.axis)
    whole = np.zeros((6, 6))
    for spread, arm in ((pair.spread_first, 0.0), (pair.spread_second, reach)):
        rows = np.zeros((4, 6))
        rows[:2, :3], rows[:2, 3:], rows[2:, 3:] = f, arm * f, f
        whole[:4, :4] += rows @ spread @ rows.T
    foot, tip = moved.foot - tooth.middle, moved.foot + moved.protrusion_mm * moved.axis - tooth.middle
    lay = np.zeros((6, 6))
    lay[:2, :3], lay[:2, 3:] = f, -f @ skew(foot[None])[0]
    lay[2:4, 3:] = -f @ skew(moved.axis[None])[0]
    lay[4, :3], lay[4, 3:] = pair.first.axis, -pair.first.axis @ skew(tip[None])[0]
    whole += lay @ tooth.covariance @ lay.T
    arms = (float(foot @ foot), float(tip @ tip))
    whole += strain**2 * np.diag([arms[0], arms[0], 1.0, 1.0, arms[1], 0.0])
    whole[4, 4] += u_end**2
    whole[5, 5] += pair.first.u_diameter_mm**2 + pair.second.u_diameter_mm**2
    return whole


def _along(covariance: Float, way: Float) -> float:
    """Standard uncertainty of a length along its own direction."""
    size = float(np.hypot(*way))
    if size == 0.0:
        return float(np.sqrt(np.trace(covariance) / 2.0))
    return float(np.sqrt(way @ covariance @ way) / size)
