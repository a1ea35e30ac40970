"""A bridge held up on teeth or die by a finger: where it settles, and what is seen."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pinseat.numerics.contact import Contact, face_rows, solve_lacking, solve_least, solve_opening
from pinseat.seating.assembly import Assembly
from pinseat.seating.bridges import NOTHING_MM
from pinseat.seating.faults import Errors, Sample
from pinseat.seating.problem import FREE_MM, Pose, entering, seated

Float = NDArray[np.float64]
Bool = NDArray[np.bool_]
TOUCH_MM = 0.003
"""What comes nearer than this leaves a mark."""
ABOVE_MM = 20.0
"""The finger presses a point this far off the tooth, so that its height never reaches nil."""
LET_MM = 0.0005
"""By how much a bridge may be higher than the least while its pins are centred."""
HALF_WAY = 0.5
"""A bridge that enters but cannot come down is taken to stand at this part of its pins' length."""


@dataclass(frozen=True, eq=False)
class Tried:
    """What is seen of `k` bridges.

    Attributes
    ----------
    opening_mm : (k, F) array
        At every face, along its normal.
    starts, rubs, bottoms : (k, n) bool array
        Pins that find their holes, touch at their side, touch at their tip.
    home : (k,) bool array
        Every counted face within the limit.
    """

    opening_mm: Float
    starts: Bool
    rubs: Bool
    bottoms: Bool
    home: Bool

    @classmethod
    def joined(cls, one: Tried, other: Tried) -> Tried:
        """One after the other."""
        return cls(*(np.concatenate([getattr(one, k), getattr(other, k)]) for k in cls.__dataclass_fields__))


def vectors(pose: Pose, errors: Errors, radius: Float, survey: Float) -> Float:
    """One vector a bridge for the contact programmes, (k, m).

    Parameters
    ----------
    pose : Pose
    errors : Errors
    radius : (k, n) array
        Errors of the radial clearances, mm.
    survey : (k, 2 n) array
        rad.
    """
    k, n = errors.depth.shape
    effect = pose.effect
    speck_on = errors.surface - errors.speck[:, n:]
    return (
        pose.nominal
        + errors.scale[:, None] * effect["scale"][:, 0]
        + errors.position.reshape(k, -1) @ effect["position"].T
        + errors.tilt.reshape(k, -1) @ effect["tilt"].T
        + (errors.depth + errors.speck[:, :n]) @ effect["depth"].T
        + speck_on @ effect["surface"].T
        + radius @ effect["diameter"].T
        + survey @ effect["survey"].T
    )


def on_teeth(assembly: Assembly, sample: Sample) -> Tried:
    """Bridges tried on the teeth.

    Parameters
    ----------
    assembly : Assembly
    sample : Sample

    Returns
    -------
    Tried
    """
    n = len(assembly.names)
    return hold_up(assembly, sample.before.and_(sample.after), sample.radius[:, :n], sample.survey)


def on_die(assembly: Assembly, sample: Sample, die_hole_mm: Float) -> Tried:
    """The same bridges on their dies: only what happened after the die is seen.

    Parameters
    ----------
    assembly : Assembly
        As on the teeth.
    sample : Sample
    die_hole_mm : (n,) array
        Diameter of the holes in the die.

    Returns
    -------
    Tried
    """
    n = len(assembly.names)
    die = replace(assembly, hole_mm=die_hole_mm, bevel_mm=0.0)
    return hold_up(die, sample.after, sample.radius[:, n:], np.zeros_like(sample.survey))


def hold_up(assembly: Assembly, errors: Errors, radius: Float, survey: Float) -> Tried:
    """Enter bridges, let them down under a finger, and look.

    The finger presses along the draw at the middle of margins and ledges, and the bridge comes to the least
    height of that point. Of all ways to be so low, the one is taken in which the pins are held most in their
    middle: what touches then, must touch.

    Parameters
    ----------
    assembly : Assembly
    errors : Errors
    radius, survey : arrays
        See :func:`vectors`.

    Returns
    -------
    Tried
    """
    pose, entries = seated(assembly), entering(assembly)
    k, n = errors.depth.shape
    counted = np.flatnonzero(pose.contact.counted)
    starts, enters = np.ones((k, n), dtype=bool), np.ones(k, dtype=bool)
    for i, entry in enumerate(entries):
        y = vectors(entry, errors, radius, survey)
        lacking, motion = solve_lacking(entry.contact, y, 0.0)
        enters &= lacking <= NOTHING_MM
        if i == 0:
            starts = _beyond(entry.contact, y, motion)[:, :n] <= NOTHING_MM
    y = vectors(pose, errors, radius, survey)
    fingers = _pressed(assembly, pose.contact)
    low, _ = solve_opening(fingers, _with_finger(y, 0.0))
    down = enters & np.isfinite(low)
    motion = np.zeros((k, 6))
    free = np.flatnonzero(down)
    lifted = _with_finger(y[free], -(low[free] - ABOVE_MM) - LET_MM)
    _, motion[free] = solve_least(fingers, lifted, (1.0, 0.0, 0.0), ABOVE_MM)
    stuck = np.flatnonzero(enters & ~np.isfinite(low))
    if len(stuck):
        _, motion[stuck] = solve_lacking(pose.contact, y[stuck], 1.0)
    gaps = motion @ pose.contact.faces.T + y[:, 3 * len(pose.contact.discs) :]
    beyond = _beyond(pose.contact, y, motion)
    rubs = (np.maximum(beyond[:, :n], beyond[:, n:]) >= -TOUCH_MM) & enters[:, None]
    bottoms = (gaps[:, :n] <= TOUCH_MM) & down[:, None]
    gaps[:, n:] += errors.speck[:, n:]  # what stands on a speck is open by its height
    reach = float((assembly.length_mm / (assembly.axes @ assembly.draw)).min())
    slope = np.array([face.normal @ assembly.draw for face in assembly.faces])
    opening = np.where(down[:, None], gaps[:, n:], np.where(enters, HALF_WAY, 1.0)[:, None] * reach * slope)
    home = down & (gaps[:, counted] <= assembly.limit_mm + NOTHING_MM).all(axis=1)
    return Tried(opening, starts, rubs, bottoms, home)


def _beyond(contact: Contact, y: Float, motion: Float) -> Float:
    """How far each disc is left, negative within it, (k, D)."""
    d = len(contact.discs)
    off = np.einsum("dcj,kj->kdc", contact.discs, motion) + y[:, : 2 * d].reshape(-1, d, 2)
    radius = y[:, 2 * d : 3 * d]
    return np.where(radius < FREE_MM / 2.0, np.linalg.norm(off, axis=2) - radius, -math.inf)


def _pressed(assembly: Assembly, contact: Contact) -> Contact:
    """Every face only stops; one more is counted: the height of the point that the finger presses."""
    points = np.array([f.point for f in assembly.faces if f.kind in ("margin", "ledge")])
    origin = assembly.mouths[: len(assembly.names) - assembly.spare].mean(axis=0)
    finger = face_rows(points.mean(axis=0)[None], assembly.draw[None], origin)
    faces = np.vstack([contact.faces, finger])
    return Contact(contact.discs, faces, np.arange(len(faces)) == len(faces) - 1)


def _with_finger(y: Float, lower_mm: float | Float) -> Float:
    return np.column_stack([y, np.full(len(y), ABOVE_MM) + lower_mm])
