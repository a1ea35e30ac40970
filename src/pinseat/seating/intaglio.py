"""The inside of a pattern or casting let down on its tooth: where it touches first, and how high it stands.

Two scanned surfaces cannot pass through each other. The casting comes down along the draw under a finger
until no small motion brings the pressed point lower: a linear programme in six motions at each step, with the
distances of both surfaces taken anew after it. Points of the inside are held against the tooth and points of
the tooth against the inside, so that edges of either count.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pinseat.errors import SeatingError
from pinseat.mesh.model import Mesh
from pinseat.mesh.nearest import Nearest
from pinseat.mesh.topology import vertex_normals
from pinseat.numerics.contact import Contact, face_rows, solve_opening

Float = NDArray[np.float64]
Bool = NDArray[np.bool_]
REACH_MM = 2.0
"""Surfaces farther from each other than this are not looked at."""
START_MM, STEP_MM = 1.0, 0.5
"""How high it is held at first, and the largest first motion."""
MOST_STEPS, STILL_MM, THROUGH_MM = 80, 5e-5, 2e-4
"""Steps at most; it lies still when it moves by less, and no surface may be deeper in the other than this."""
ROOM = 15.0
"""How far it may move to come out again, for what it is through: walls are steep."""
MOST_PLACES, ADDED = 1900, 150
"""Places that are held in one programme at most, and added at a time."""
ABOVE_MM, TOUCH_MM = 20.0, 0.003


@dataclass(frozen=True, eq=False)
class Pose:
    """Where a body is: ``x -> turn (x - origin) + origin + shift``."""

    turn: Float
    shift: Float
    origin: Float

    def apply(self, points: Float) -> Float:
        """Points of the body where they are now."""
        return np.asarray((points - self.origin) @ self.turn.T + self.origin + self.shift)

    def back(self, points: Float) -> Float:
        """Places in space as the body would have them."""
        return np.asarray((points - self.origin - self.shift) @ self.turn + self.origin)

    def moved(self, motion: Float) -> Pose:
        """After a further small motion about the origin."""
        angle = float(np.linalg.norm(motion[3:]))
        turned = self.turn
        if angle > 0.0:
            x, y, z = motion[3:] / angle
            cross = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
            step = np.eye(3) + np.sin(angle) * cross + (1.0 - np.cos(angle)) * cross @ cross
            turned = step @ self.turn
            return Pose(turned, step @ self.shift + motion[:3], self.origin)
        return Pose(turned, self.shift + motion[:3], self.origin)


@dataclass(frozen=True, eq=False)
class Rest:
    """A casting at rest on its tooth.

    Attributes
    ----------
    pose : Pose
        From where it was laid to where it rests.
    lift_mm : float
        How much higher the pressed point is than as laid; negative = lower.
    touches : (m, 3) array, mm
        Places where the surfaces meet, within 3 um.
    through_mm : float
        How deep one surface is still in the other: what is left of the error of the steps.
    steps : int
    """

    pose: Pose
    lift_mm: float
    touches: Float
    through_mm: float
    steps: int


@dataclass(frozen=True, eq=False)
class Surfaces:
    """Tooth and inside, ready to be held against each other.

    Attributes
    ----------
    tooth, inside : Nearest
        Of the whole surfaces; wound so that normals point out of tooth and out of metal.
    tooth_points, inside_points : (k, 3) array
        Points that are held.
    tooth_patch, inside_patch : (k,) int array
        Points of one number are held as one, by their mean.
    """

    tooth: Nearest
    inside: Nearest
    tooth_points: Float
    inside_points: Float
    tooth_patch: NDArray[np.int64]
    inside_patch: NDArray[np.int64]


def surfaces(tooth: Mesh, inside: Mesh, *, patch_mm: float = 0.0, left_out: Bool | None = None) -> Surfaces:
    """Make two meshes ready.

    Parameters
    ----------
    tooth, inside : Mesh
    patch_mm : float
        A scan has noise: single points would touch far too early. Their mean over a patch does not.
    left_out : (n,) bool array, optional
        Vertices of the tooth that are not held, such as those of pins that stand in the scan.

    Returns
    -------
    Surfaces

    Raises
    ------
    SeatingError
        When the two do not lie over each other.
    """
    near, of_inside = Nearest(tooth), Nearest(inside)
    held = np.ones(len(tooth.vertices), dtype=bool) if left_out is None else ~left_out
    mine = near.search(inside.vertices, within_mm=REACH_MM).counted
    theirs = of_inside.search(tooth.vertices, within_mm=REACH_MM).counted & held
    if mine.sum() + theirs.sum() < 10:
        raise SeatingError(
            "the scan of the inside does not lie over the scan of the teeth",
            value=f"{int(mine.sum() + theirs.sum())} points within {REACH_MM:g} mm",
            limit="at least 10",
            do="lay one over the other first and save it in the coordinates of the teeth",
        )
    return Surfaces(
        near,
        of_inside,
        tooth.vertices[theirs],
        inside.vertices[mine],
        _patches(tooth, theirs, patch_mm),
        _patches(inside, mine, patch_mm),
    )


def _patches(mesh: Mesh, held: Bool, patch_mm: float) -> NDArray[np.int64]:
    """Number of the patch of each held point: a cell of space and the way it faces; else its own."""
    if patch_mm == 0.0:
        return np.arange(int(held.sum()))
    normal = vertex_normals(mesh)[held]
    most = np.argmax(np.abs(normal), axis=1)
    facing = 2 * most + (normal[np.arange(len(normal)), most] > 0.0)
    cell = np.floor(mesh.vertices[held] / patch_mm).astype(np.int64)
    _, number = np.unique(np.column_stack([cell, facing]), axis=0, return_inverse=True)
    return np.asarray(number.ravel())


def settle(held: Surfaces, draw: Float, pressed: Float) -> Rest:
    """Let the casting down.

    Parameters
    ----------
    held : Surfaces
    draw : (3,) array
        Unit vector off the teeth.
    pressed : (3,) array
        Point of the casting, as laid, that the finger presses along the draw.

    Returns
    -------
    Rest

    Raises
    ------
    SeatingError
        When it does not come to rest: nothing holds it, or the surfaces cross.

    Examples
    --------
    A flat inside 0.03 mm too low over a flat tooth comes to rest on it:

    >>> def flat(a, z, up):
    ...     corners = np.array([[x, y, z] for x in (-a, 0.0, a) for y in (-a, 0.0, a)])
    ...     faces = [[0, 3, 1], [1, 3, 4], [1, 4, 2], [2, 4, 5], [3, 6, 4], [4, 6, 7], [4, 7, 5], [5, 7, 8]]
    ...     return Mesh(corners, np.array([f if up else f[::-1] for f in faces], np.int32))
    >>> laid = surfaces(flat(3.0, 0.0, True), flat(2.0, -0.03, False))
    >>> rest = settle(laid, np.array([0.0, 0.0, 1.0]), np.zeros(3))
    >>> round(rest.lift_mm, 6)
    0.03
    """
    origin = held.inside_points.mean(axis=0)
    pose = Pose(np.eye(3), START_MM * draw, origin)
    reach = max(1.0, float(np.linalg.norm(held.inside_points - origin, axis=1).max()))
    step = STEP_MM
    still = 0
    distance, rows = _places(held, pose, step)
    for number in range(1, MOST_STEPS + 1):
        finger = face_rows(pose.apply(pressed[None]), draw[None], origin)[0]
        motion = _lower(distance, rows, finger, origin, step, reach)
        size = float(np.linalg.norm(motion[:3]) + reach * np.linalg.norm(motion[3:]))
        trial = pose.moved(motion)
        after, there = _places(held, trial, step)
        before_through, through = (max(0.0, -float(d.min())) for d in (distance, after))
        if through > max(0.8 * before_through, 0.2 * size, THROUGH_MM):
            if step < STILL_MM:
                break
            step *= 0.4  # the surfaces bend too much for a motion as large as this
            continue
        pose, distance, rows = trial, after, there
        step = max(min(max(3.0 * size, 20.0 * STILL_MM), step), ROOM * through)
        still = still + 1 if abs(float(motion @ finger)) <= STILL_MM else 0
        if through <= THROUGH_MM and (size <= STILL_MM or still == 3):
            lift = float((pose.apply(pressed[None])[0] - pressed) @ draw)
            return Rest(pose, lift, rows[distance <= TOUCH_MM, 3:], through, number)
    raise SeatingError(
        "the casting does not come to rest on the tooth",
        value=f"still {1000.0 * through:.2f} um through",
        do="look whether both scans are closed where they meet, and whether they are laid over each other",
    )


def _places(held: Surfaces, pose: Pose, step: float) -> tuple[Float, Float]:
    """All that could meet in a step: distance, and normal against which the casting moves with the place."""
    inside = pose.apply(held.inside_points)
    mine = held.tooth.search(inside, within_mm=REACH_MM)
    seen = mine.counted
    theirs = held.inside.search(pose.back(held.tooth_points), within_mm=REACH_MM)
    counted = theirs.counted
    distance = np.concatenate([mine.distance_mm[seen], theirs.distance_mm[counted]])
    normal = np.vstack([mine.normal[seen], -theirs.normal[counted] @ pose.turn.T])
    place = np.vstack([inside[seen], held.tooth_points[counted]])
    patch = np.concatenate(
        [held.inside_patch[seen], held.inside_patch.max(initial=0) + 1 + held.tooth_patch[counted]]
    )
    distance, normal, place = _patched(distance, normal, place, patch)
    if not len(distance):
        raise SeatingError("the casting has left the tooth", do="lay the scan of the inside over the teeth")
    near = distance <= distance.min() + 4.0 * step
    return distance[near], np.hstack([normal, place])[near]


def _patched(
    distance: Float, normal: Float, place: Float, patch: NDArray[np.int64]
) -> tuple[Float, Float, Float]:
    """Means over patches; those with few points, at borders, are too noisy and left out."""
    number, which, count = np.unique(patch, return_inverse=True, return_counts=True)
    if len(number) == len(patch):
        return distance, normal, place

    def mean(of: Float) -> Float:
        return np.asarray(np.bincount(which.ravel(), of) / count)

    normals = np.column_stack([mean(normal[:, k]) for k in range(3)])
    places = np.column_stack([mean(place[:, k]) for k in range(3)])
    full = 2 * count >= np.median(count)
    normals = normals / np.linalg.norm(normals, axis=1)[:, None]
    return mean(distance)[full], normals[full], places[full]


def _lower(distance: Float, rows: Float, finger: Float, origin: Float, step: float, reach: float) -> Float:
    """The motion of at most `step` that brings the pressed point lowest without meeting anything, (6,).

    Not all places are held at once: those that a motion would push through are added until none is.
    """
    every = face_rows(rows[:, 3:], rows[:, :3], origin)
    gaps = np.maximum(distance, -0.5 * step)
    order = np.argsort(distance, kind="stable")
    held = np.zeros(len(every), dtype=bool)
    held[order[:ADDED]] = held[order[:: max(1, len(order) // ADDED)]] = True
    for part in (1.0, 0.25, 0.0):  # deeper than one step can mend: come out a little at a time
        room = np.where(distance < 0.0, gaps * part, distance)
        while True:
            motion = _free(every[held], room[held], finger, step, reach)
            if motion is None:
                break
            through = np.where(held, np.inf, room + every @ motion)
            worst = np.argsort(through, kind="stable")[:ADDED]
            worst = worst[through[worst] < -THROUGH_MM / 10.0]
            if not len(worst) or np.count_nonzero(held) + len(worst) > MOST_PLACES:
                return motion
            held[worst] = True
    raise SeatingError(
        "the casting is caught: no motion frees it",
        do="look whether the scan of the inside is wound outward and laid over the teeth",
    )


def _free(faces: Float, gaps: Float, finger: Float, step: float, reach: float) -> Float | None:
    """Lowest motion within the faces; the middle of two opposite ones, so that nothing spins or slides."""
    size = np.zeros((6, 2, 6))
    size[np.arange(6), 0, np.arange(6)] = np.append(np.ones(3), np.full(3, reach))
    rows = np.vstack([faces, finger[None]])
    counted = np.arange(len(rows)) == len(rows) - 1
    y = np.concatenate([np.zeros(12), np.full(6, step), gaps, [ABOVE_MM]])[None]
    one = solve_opening(Contact(size, rows, counted), y)[1][0]
    if not np.all(np.isfinite(one)):
        return None
    other = -solve_opening(Contact(-size, -rows, counted), y)[1][0]
    return np.asarray((one + other) / 2.0)
