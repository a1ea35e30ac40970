"""The handle: a grip on the line of pull, so that the tray comes off along the draw and does not tip."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt, label, map_coordinates
from skimage.measure import marching_cubes

from pinseat.mesh.model import Mesh
from pinseat.tray import lettering
from pinseat.tray.body import OFF_NODE_MM
from pinseat.tray.distance import Field, Grid

Float = NDArray[np.float64]

GRIP_WIDTH_MM, GRIP_THICK_MM, GRIP_HIGH_MM = 15.0, 5.0, 17.0
STRAP_WIDTH_MM, STRAP_THICK_MM = 8.0, 4.0
LETTER_MM, PEN_MM, RAISED_MM = 2.6, 0.34, 0.5
LETTERS_A_LINE, MOST_LINES = 10, 2
SMALLEST_MM2 = 250.0
"""A tray that covers less has no room for a grip."""
_ROUND_MM = 1.5
_TEXT_MM = 4.4
"""Height of the middle of the lowest line of letters over the strap's middle."""
_STEP_MM = 0.25
_ON_BODY_MM = 4.5
_LONGEST_MM = 45.0
_LUG_MM = 14.0
_DIRECTIONS = 36
_OFF_INSIDE_MM, _OFF_WALL_MM = 0.4, 0.6
_OPENING_MM2 = 40.0


@dataclass(frozen=True, eq=False)
class Seat:
    """Where the grip stands and what holds it, in the frame of the tray.

    Attributes
    ----------
    kind : {"post", "strap", "lug"}
        On the body itself; on a strap from side to side; on a lug that reaches out from one side.
    base : (3,) array, mm
        Middle of the grip's foot.
    along : (2,) array
        Unit vector along the strap, and along the grip's broad faces.
    ends : (2, 3) array, mm
        Of the strap or lug.
    off_pull_mm : float
        From the line of pull to the grip.
    """

    kind: Literal["post", "strap", "lug"]
    base: Float
    along: Float
    ends: Float
    off_pull_mm: float

    @property
    def genus(self) -> int:
        """Holes that it adds to the body."""
        return 1 if self.kind == "strap" else 0

    @property
    def words(self) -> str:
        """Where it stands, for a person."""
        place = (
            "on the line of pull"
            if self.off_pull_mm < 0.5
            else f"{self.off_pull_mm:.1f} mm off the line of pull"
        )
        on = {"post": "the body", "strap": "a strap from side to side", "lug": "a lug"}[self.kind]
        return f"grip on {on}, {place}"


def pull_line(covered: NDArray[np.bool_], grid: Grid) -> Float:
    """Where the line of pull meets the plane across the draw: the middle of what the tray covers; (2,), mm.

    The rubber holds on everywhere alike, so the middle of the covered area is where a pull does not tip it.
    """
    x, y = np.nonzero(covered)
    return np.asarray(grid.low[:2] + grid.step_mm * np.array([x.mean(), y.mean()]))


def seat_of(
    covered: NDArray[np.bool_], top_mm: Float, grid: Grid, pull: Float, wall_mm: float
) -> Seat | None:
    """Find a place for the grip.

    Parameters
    ----------
    covered : (nx, ny) bool array
        Columns that hold some of the body.
    top_mm : (nx, ny) array
        Height of the body's outside in each.
    grid : Grid
    pull : (2,) array, mm
    wall_mm : float

    Returns
    -------
    Seat or None
        None when the tray is too small for a grip.
    """
    inside = np.asarray(distance_transform_edt(covered)) * grid.step_mm
    if covered.sum() * grid.step_mm**2 < SMALLEST_MM2 or inside.max() < _ON_BODY_MM:
        return None
    if _at(inside, grid, pull) >= _ON_BODY_MM:
        return _post(covered, top_mm, grid, pull)
    best: tuple[float, Seat] | None = None
    for turn in np.arange(_DIRECTIONS) * np.pi / _DIRECTIONS:
        along = np.array([np.cos(turn), np.sin(turn)])
        first, second = (_crossing(inside, top_mm, grid, pull, way) for way in (along, -along))
        if first is None or second is None:
            continue
        ends = np.array([first, second]) - [0.0, 0.0, 0.5 * wall_mm]
        if _opening_mm2(covered, grid, ends) < _OPENING_MM2:
            continue
        far = np.linalg.norm(ends[:, :2] - pull, axis=1)
        share = far[0] / far.sum()
        base = ends[0] + share * (ends[1] - ends[0])
        cost = float(far.sum() + abs(far[0] - far[1]) + 2.0 * abs(ends[0, 2] - ends[1, 2]))
        if best is None or cost < best[0]:
            best = cost, Seat("strap", np.array([*pull, base[2]]), along, ends, 0.0)
    return best[1] if best else _lug(inside, top_mm, grid, pull, wall_mm)


def openings(covered: NDArray[np.bool_]) -> tuple[int, NDArray[np.int64]]:
    """How many openings an area has that it surrounds, and their sizes in cells."""
    parts, number = label(~np.pad(covered, 1))
    size = np.bincount(parts.ravel(), minlength=number + 1)
    size[[0, parts[0, 0]]] = 0
    return int((size > 0).sum()), size[size > 0]


def _opening_mm2(covered: NDArray[np.bool_], grid: Grid, ends: Float) -> float:
    """Area, along the draw, of the one opening that a strap closes; 0 when it closes none, or several."""
    x, y = np.meshgrid(grid.nodes(0), grid.nodes(1), indexing="ij")
    at, way = np.stack((x, y), axis=-1) - ends[0, :2], ends[1, :2] - ends[0, :2]
    share = np.clip(at @ way / max(float(way @ way), 1e-9), 0.0, 1.0)
    strap = np.linalg.norm(at - share[..., None] * way, axis=-1) < 0.5 * STRAP_WIDTH_MM
    before, _ = openings(covered)
    after, sizes = openings(covered | strap)
    return float(sizes.max()) * grid.step_mm**2 if after == before + 1 else 0.0


def _post(covered: NDArray[np.bool_], top_mm: Float, grid: Grid, at: Float) -> Seat:
    x, y = np.nonzero(covered)
    flat = grid.low[:2] + grid.step_mm * np.column_stack((x, y))
    near = np.linalg.norm(flat - at, axis=1) < 0.5 * GRIP_WIDTH_MM
    spread = flat[near] - flat[near].mean(axis=0)
    along = np.linalg.eigh(spread.T @ spread)[1][:, -1]
    base = np.array([*at, float(np.median(top_mm[x[near], y[near]]))])
    return Seat("post", base, along, np.array([base, base]), 0.0)


def _lug(inside: Float, top_mm: Float, grid: Grid, pull: Float, wall_mm: float) -> Seat:
    """From the nearest firm place of the body out to the line of pull, or as far as a lug may reach."""
    x, y = np.nonzero(inside >= min(_ON_BODY_MM, 0.9 * float(inside.max())))
    flat = grid.low[:2] + grid.step_mm * np.column_stack((x, y))
    far = np.linalg.norm(flat - pull, axis=1)
    nearest = int(np.argmin(far))
    root, reach = flat[nearest], min(float(far[nearest]), _LUG_MM)
    way = (pull - root) / max(float(far[nearest]), 1e-9)
    high = float(top_mm[x[nearest], y[nearest]]) - 0.5 * wall_mm
    end = root + reach * way
    ends = np.array([[*root, high], [*end, high]])
    return Seat("lug", ends[1], way, ends, float(far[nearest]) - reach)


def _crossing(inside: Float, top_mm: Float, grid: Grid, start: Float, way: Float) -> Float | None:
    """The firmest place where a ray from `start` first crosses the body; (3,), mm."""
    far = np.arange(0.0, _LONGEST_MM, grid.step_mm)
    at = np.rint((start + far[:, None] * way - grid.low[:2]) / grid.step_mm).astype(int)
    on = ((at >= 0) & (at < inside.shape)).all(axis=1)
    depth = np.zeros(len(far))
    depth[on] = inside[at[on, 0], at[on, 1]]
    hits = np.flatnonzero(depth > 0.0)
    if not len(hits):
        return None
    gone = np.flatnonzero(depth[hits[0] :] == 0.0)
    last = hits[0] + int(gone[0]) if len(gone) else len(far)
    best = hits[0] + int(np.argmax(depth[hits[0] : last]))
    if depth[best] < _ON_BODY_MM - 1.0:
        return None
    return np.array([*(start + far[best] * way), float(top_mm[at[best, 0], at[best, 1]])])


def _at(field: Float, grid: Grid, xy: Float) -> float:
    i, j = np.rint((xy - grid.low[:2]) / grid.step_mm).astype(int)
    return float(field[i, j]) if 0 <= i < field.shape[0] and 0 <= j < field.shape[1] else 0.0


def lines_of(number: str) -> tuple[list[str], bool]:
    """A case number in lines for the grip, and whether all of it is there and in its own letters.

    Examples
    --------
    >>> lines_of("26-014"), lines_of("CLINIC-2026-0000123-B")
    ((['26-014'], True), (['CLINIC-202', '6-0000123-'], False))
    """
    text = lettering.drawable(number)
    parts = [text[i : i + LETTERS_A_LINE] for i in range(0, len(text), LETTERS_A_LINE)]
    whole = text == number.upper() and len(parts) <= MOST_LINES
    return parts[:MOST_LINES], whole


def handle_mesh(seat: Seat, grid: Grid, inside: Field, wall_mm: float, number: str) -> Mesh:
    """Strap and grip with arrow and case number raised on both faces, as one closed mesh in the frame.

    A grip on a lug keeps off the wall beside it: where it only touched, there would be openings between.

    Parameters
    ----------
    seat : Seat
    grid : Grid
    inside : array
        Inside field of the tray: the handle never enters the room for the rubber.
    wall_mm : float
    number : str
        Of the case.
    """
    lines, _ = lines_of(number)
    wide = max(GRIP_WIDTH_MM, max(lettering.text_width_mm(len(x), LETTER_MM) for x in lines) + 3.0)
    across = np.array([-seat.along[1], seat.along[0]])
    to_local = np.array([[*seat.along, 0.0], [*across, 0.0], [0.0, 0.0, 1.0]])
    ends = (seat.ends - seat.base) @ to_local.T
    half = 0.5 * np.array([wide, max(GRIP_THICK_MM, STRAP_WIDTH_MM), 0.0]) + RAISED_MM + 2.0 * _STEP_MM
    low = np.minimum(ends.min(axis=0) - STRAP_WIDTH_MM, [-half[0], -half[1], -4.0])
    high = np.maximum(ends.max(axis=0) + STRAP_WIDTH_MM, [half[0], half[1], GRIP_HIGH_MM + 3.0])
    low[1], high[1] = -half[1] - 0.5, half[1] + 0.5
    ticks = [np.arange(a, b + _STEP_MM, _STEP_MM) for a, b in zip(low, high, strict=True)]
    p = np.stack(np.meshgrid(*ticks, indexing="ij"), axis=-1)
    near = np.flatnonzero(np.abs(ticks[0]) < 0.5 * wide + 1.0)
    part = slice(int(near[0]), int(near[-1]) + 1)
    world = p.reshape(-1, 3) @ to_local + seat.base
    at = grid.cells(world).T.astype(np.float32)
    room = map_coordinates(inside, at, order=1, mode="constant", cval=9.0).reshape(p.shape[:3])
    grip = _grip(p[part], wide, lines, seat.kind == "post")
    if seat.kind == "lug":
        grip = np.maximum(grip, _OFF_WALL_MM - (room[part] - wall_mm))
    field = _strap(p, ends) if seat.kind != "post" else np.full(p.shape[:3], 9.0)
    field[part] = np.minimum(field[part], grip)
    field = np.maximum(field, _OFF_INSIDE_MM - room)
    for axis in range(3):
        for end in (0, -1):
            np.moveaxis(field, axis, 0)[end] = np.maximum(np.moveaxis(field, axis, 0)[end], 0.01)
    field = np.where(np.abs(field) < OFF_NODE_MM, np.copysign(OFF_NODE_MM, field), field)
    vertices, faces, _, _ = marching_cubes(field.astype(np.float32), 0.0, allow_degenerate=False)
    local = np.array([t[0] for t in ticks]) + _STEP_MM * vertices.astype(np.float64)
    return Mesh(local @ to_local + seat.base, np.ascontiguousarray(faces.astype(np.int32)))


def _grip(p: Float, wide: float, lines: Sequence[str], post: bool) -> Float:
    """Distance-like field of the grip and what is raised on it."""
    low, high = -3.5 if post else -1.0, GRIP_HIGH_MM
    middle = 0.5 * (low + high)
    body = _rounded_box(p - [0.0, 0.0, middle], np.array([wide, GRIP_THICK_MM, high - low]) / 2.0)
    face = 0.5 * GRIP_THICK_MM
    rows = [x for x in range(p.shape[1]) if face - 0.6 < abs(float(p[0, x, 0, 1])) < face + RAISED_MM + 0.5]
    flat, drawing = p[:, 0][..., [0, 2]].reshape(-1, 2), _drawing(lines)
    near = (np.abs(flat[:, 0]) < 0.5 * wide) & (flat[:, 1] > 0.0)
    pen = np.full((2, len(flat)), 9.0)
    for side, sign in enumerate((1.0, -1.0)):
        pen[side, near] = lettering.pen_distance(flat[near] * [sign, 1.0], drawing) - PEN_MM
    for row in rows:
        y = float(p[0, row, 0, 1])
        raised = np.maximum(pen[int(y > 0.0)].reshape(body[:, row].shape), abs(y) - face - RAISED_MM)
        body[:, row] = np.minimum(body[:, row], np.maximum(raised, face - 0.8 - abs(y)))
    return body


def _drawing(lines: Sequence[str]) -> Float:
    """Arrow above, number below; to the right and up, seen from outside."""
    pitch = 1.5 * LETTER_MM
    parts = []
    for i, line in enumerate(lines):
        up = np.array([0.0, _TEXT_MM + pitch * (len(lines) - 1 - i)])
        parts.append(lettering.strokes(line, LETTER_MM) + up)
    foot = _TEXT_MM + pitch * (len(lines) - 1) + 0.5 * LETTER_MM + 1.0
    high = GRIP_HIGH_MM - 1.6 - foot
    parts.append(lettering.arrow(high) + np.array([0.0, foot + 0.5 * high]))
    return np.concatenate(parts)


def _strap(p: Float, ends: Float) -> Float:
    """A rounded bar from end to end."""
    way = ends[1] - ends[0]
    length = float(np.linalg.norm(way))
    along = way / max(length, 1e-9)
    side = np.array([0.0, 1.0, 0.0])
    up = np.cross(along, side)
    up = up / np.linalg.norm(up)
    q = p - 0.5 * (ends[0] + ends[1])
    local = np.stack([q @ along, q @ side, q @ up], axis=-1)
    return _rounded_box(local, np.array([0.5 * length + 2.5, 0.5 * STRAP_WIDTH_MM, 0.5 * STRAP_THICK_MM]))


def _rounded_box(p: Float, half: Float) -> Float:
    q = np.abs(p) - (half - _ROUND_MM)
    most = np.maximum(np.maximum(q[..., 0], q[..., 1]), q[..., 2])
    np.maximum(q, 0.0, out=q)
    return np.asarray(np.sqrt(np.einsum("...i,...i->...", q, q)) + np.minimum(most, 0.0) - _ROUND_MM)
