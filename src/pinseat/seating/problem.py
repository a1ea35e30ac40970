"""From an assembly to contact problems with random errors: the bridge seated, and as its pins enter.

A pin's offset, a radius and a gap depend on every error to first order, so a virtual bridge is one vector
``y = mean + factor @ xi`` with standard normals `xi`; :mod:`pinseat.numerics.contact` says how `y` is laid
out.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pinseat.ledger.pins import frame
from pinseat.ledger.rows import Row
from pinseat.numerics.contact import Contact, disc_rows, face_rows
from pinseat.numerics.yielding import Extra
from pinseat.reference import value
from pinseat.seating.assembly import Assembly
from pinseat.seating.yields import further_motions

Float = NDArray[np.float64]
KINDS = ("scale", "position", "tilt", "depth", "surface", "diameter", "survey")
"""Kinds of error: net scale; pins across, in direction and along themselves; the fit of margins and other
faces;
diameters of hole and pin; the surveyed axes."""
DIAMETERS, SURVEY = "hole and pin diameters", "survey of the holes"
SAME_DEPTH_MM = 0.02
"""Pins that reach their mouths within this much lift of each other are taken to enter together."""

FREE_MM = 1000.0
"""Radius about a pin that no hole holds yet."""


@dataclass(frozen=True, eq=False)
class Pose:
    """One contact problem and what each kind of error does to it.

    Attributes
    ----------
    contact : Contact
    nominal : (m,) array
        ``[disc offsets 2 D | disc radii D | face gaps F]`` without errors, mm.
    effect : dict of str to (m, k) array
        For each of :data:`KINDS` the change of that vector per unit of each of its `k` errors
        (scale as a fraction, angles in rad, the rest in mm).
    extra : Extra or None
        Further motions, of what yields.
    """

    contact: Contact
    nominal: Float
    effect: dict[str, Float]
    extra: Extra | None = None


@dataclass(frozen=True, eq=False)
class Problem:
    """The seated pose, the poses at which pins enter, and the errors of all copies together.

    Attributes
    ----------
    seat : Pose
    entries : tuple of Pose
    rows : tuple of Row
    u_radius_mm : float
        Standard uncertainty of each radial clearance.
    tilt_root : (2 n, 2 n) array
        Square root of the covariance of the surveyed axes.
    spare : int
        How many of the last pins have their errors after all others.
    """

    seat: Pose
    entries: tuple[Pose, ...]
    rows: tuple[Row, ...]
    u_radius_mm: float
    tilt_root: Float
    spare: int = 0

    def mean(self, pose: Pose) -> Float:
        """Mean of `y` at a pose, (m,): nominal, net scale and mean depth errors."""
        depth = math.fsum(row.depth.mean for row in self.rows) / 1000.0
        net = net_factor(self.rows) - 1.0
        return pose.nominal + net * pose.effect["scale"][:, 0] + depth * pose.effect["depth"].sum(axis=1)

    @property
    def u_tilt_rad(self) -> float:
        """Standard uncertainty of each pin's direction, all copies in quadrature."""
        return math.radians(math.hypot(0.0, *(row.tilt.u for row in self.rows)))

    def factor(self, pose: Pose) -> Float:
        """Factor of the covariance at a pose, (m, r), all copies added in quadrature.

        The columns mean the same errors at every pose and for every changed assembly with as many pins.
        """
        sizes = [_sizes(row, self.rows) for row in self.rows]
        total = {kind: math.hypot(0.0, *(size[kind] for size in sizes)) for kind in KINDS[:5]}
        blocks = [pose.effect[kind] * total[kind] for kind in KINDS[:5]]
        return np.hstack([*blocks, *self._own(pose)])[:, self._order()]

    def _order(self) -> NDArray[np.intp]:
        """Columns of :meth:`factor` with those of added pins last, so that nobody else's number changes."""
        wide = [self.seat.effect[kind].shape[1] for kind in KINDS]
        late = []
        for kind, width in zip(KINDS, wide, strict=True):
            each = {"position": 2, "tilt": 2, "survey": 2, "depth": 1, "diameter": 1}.get(kind, 0)
            late.append(np.arange(width) >= width - each * self.spare)
        return np.argsort(np.concatenate(late), kind="stable")

    def factor_by_copy(self, pose: Pose) -> Float:
        """As :meth:`factor`, with columns of their own for each copy; see :meth:`labels`."""
        blocks = []
        for row in self.rows:
            size = _sizes(row, self.rows)
            blocks += [pose.effect[kind] * size[kind] for kind in KINDS[:5]]
        return np.hstack([*blocks, *self._own(pose)])

    def labels(self) -> list[tuple[str, str]]:
        """Group and kind of each column of :meth:`factor_by_copy`."""
        wide = {kind: self.seat.effect[kind].shape[1] for kind in KINDS}
        named = [(row.copy, kind) for row in self.rows for kind in KINDS[:5]]
        named += [(DIAMETERS, "diameter"), (SURVEY, "survey")]
        return [(group, kind) for group, kind in named for _ in range(wide[kind])]

    def _own(self, pose: Pose) -> list[Float]:
        return [pose.effect["diameter"] * self.u_radius_mm, pose.effect["survey"] @ self.tilt_root]


def net_factor(rows: Sequence[Row]) -> float:
    """Length of the casting over that of the tooth: the product of all ``1 + s``."""
    return math.prod(1.0 + row.scale.mean / 100.0 for row in rows)


def nil_expansion_percent(rows: Sequence[Row]) -> float:
    """Scale of the investment, in %, that would bring the net scale to nil, the other copies unchanged."""
    return 100.0 * (1.0 / net_factor([row for row in rows if row.copy != "investment"]) - 1.0)


def _sizes(row: Row, rows: Sequence[Row]) -> dict[str, float]:
    """Standard uncertainty each kind of error has in one copy (fraction, rad, mm).

    Nobody states how well a copy keeps the surface at a margin; its position entry is taken for it.
    """
    return {
        "scale": row.scale.u / 100.0 * net_factor(rows) / (1.0 + row.scale.mean / 100.0),
        "position": row.position.u / 1000.0,
        "tilt": math.radians(row.tilt.u),
        "depth": row.depth.u / 1000.0,
        "surface": row.position.u / 1000.0,
    }


def build(assembly: Assembly) -> Problem:
    """Set up the contact problems of an assembly.

    Parameters
    ----------
    assembly : Assembly

    Returns
    -------
    Problem
    """
    root = np.linalg.eigh(assembly.tilt_covariance)
    return Problem(
        seat=seated(assembly),
        entries=entering(assembly),
        rows=assembly.rows,
        u_radius_mm=math.hypot(assembly.u_hole_mm, assembly.u_pin_mm) / 2.0,
        tilt_root=root.eigenvectors * np.sqrt(np.maximum(root.eigenvalues, 0.0)) @ root.eigenvectors.T,
        spare=assembly.spare,
    )


def seated(assembly: Assembly) -> Pose:
    """The bridge all the way down: each pin at the mouth and at its tip, floors, and the faces.

    The bridge copies the holes as they are, leaning or not, so every nominal offset is zero. Margins and
    ledges touch; walls and grooves are relieved.

    Parameters
    ----------
    assembly : Assembly

    Returns
    -------
    Pose
        Discs: all mouths, then all tips. Faces: all floors, then those of the assembly.
    """
    n = len(assembly.names)
    relieved = value("seat.wall_relief_um").value / 1000.0
    stops = [face.kind in ("margin", "ledge") for face in assembly.faces]
    gaps = [0.0 if stop else relieved for stop in stops]
    tips = assembly.mouths - assembly.length_mm[:, None] * assembly.axes
    discs = _Discs(
        assembly,
        pins=np.tile(np.arange(n), 2),
        along=np.concatenate([np.full(n, -assembly.bevel_mm), -assembly.length_mm]),
        across=np.tile(_frames(assembly), (2, 1, 1)),
        lift=np.zeros(2 * n),
        held=np.ones(2 * n, dtype=bool),
    )
    return _pose(
        discs,
        points=np.vstack([tips, [face.point for face in assembly.faces]]),
        normals=np.vstack([assembly.axes, [face.normal for face in assembly.faces]]),
        gap=np.concatenate([assembly.relief_mm, gaps]),
        counted=np.array([False] * n + stops),
    )


def entering(assembly: Assembly) -> tuple[Pose, ...]:
    """The bridge lifted along the draw to where pins reach their mouths, one pose for each depth.

    Pin `i` reaches its mouth, below any bevel, at the lift ``(length_i - bevel) / (a_i . d)``. At each
    distinct lift, the pins that reach it are held: a longer pin at its tip and where it passes its mouth, a
    pin just reaching at its tip. Shorter pins hang free. A pose with a single pin always can be entered and
    is left out.

    What counts is where a point of the pin crosses its level of the hole, not when. So offsets are taken
    along the draw onto the plane across the hole, ``u - (u . d) / (a . d) a`` in place of ``u``: lifting
    the bridge a little more or less changes nothing.

    Parameters
    ----------
    assembly : Assembly

    Returns
    -------
    tuple of Pose
        Without faces; the pose where all pins are held comes first.
    """
    slope = assembly.axes @ assembly.draw
    reach = (assembly.length_mm - assembly.bevel_mm) / slope
    frames = _frames(assembly)
    oblique = frames - ((frames @ assembly.draw) / slope[:, None])[:, :, None] * assembly.axes[:, None, :]
    poses = []
    for lift in _distinct(reach[assembly.present]):
        held, through = reach >= lift, np.flatnonzero(reach > lift + SAME_DEPTH_MM)
        if np.count_nonzero(held & assembly.present) < 2:
            continue
        tips = np.where(reach > lift + SAME_DEPTH_MM, lift, reach)
        pins = np.concatenate([np.arange(len(reach)), through])
        discs = _Discs(
            assembly,
            pins=pins,
            along=np.concatenate([-assembly.length_mm, -assembly.bevel_mm - lift * slope[through]]),
            across=oblique[pins],
            lift=np.concatenate([tips, np.full(len(through), lift)]),
            held=np.concatenate([held, np.ones(len(through), dtype=bool)]),
        )
        poses.append(_pose(discs, np.zeros((0, 3)), np.zeros((0, 3)), np.zeros(0), np.zeros(0, dtype=bool)))
    return tuple(poses)


def _distinct(reach: Float) -> list[float]:
    lifts: list[float] = []
    for lift in np.sort(reach).tolist():
        if not lifts or lift > lifts[-1] + SAME_DEPTH_MM:
            lifts.append(lift)
    return lifts


def _frames(assembly: Assembly) -> Float:
    return np.array([frame(axis) for axis in assembly.axes])


@dataclass(frozen=True, eq=False)
class _Discs:
    """Places along pins (0 at the mouth, negative into the hole), held by a hole or still free."""

    assembly: Assembly
    pins: NDArray[np.intp]
    along: Float
    across: Float
    lift: Float
    held: NDArray[np.bool_]


def _pose(discs: _Discs, points: Float, normals: Float, gap: Float, counted: NDArray[np.bool_]) -> Pose:
    """Contact, nominal vector and effects of discs and faces; floors come first among the faces."""
    assembly, pins, across = discs.assembly, discs.pins, discs.across
    n, d, f = len(assembly.names), len(pins), len(points)
    origin = assembly.mouths[: n - assembly.spare].mean(axis=0)
    at = assembly.mouths[pins] + discs.along[:, None] * assembly.axes[pins]
    floors = n if f else 0
    slope = (assembly.axes @ assembly.draw)[pins]
    moved = [np.einsum("dij,dj->di", across, at - origin).ravel(), np.zeros(d)]
    effect = {
        "scale": np.concatenate([*moved, np.einsum("fj,fj->f", normals, points - origin)])[:, None],
        "position": _offsets(pins, np.ones(d), n, f),
        "tilt": _offsets(pins, discs.along - assembly.pivot_mm[pins], n, f),
        "depth": _gaps(d, f, 0, n, -1.0, floors),
        "surface": _gaps(d, f, floors, len(assembly.faces), 1.0, f - floors),
        "diameter": _radii(pins, n, f),
        "survey": _offsets(pins, -discs.lift * slope, n, f),
    }
    straight = _frames(assembly)[pins]
    offset = discs.lift[:, None] * (straight @ assembly.draw)
    play = (assembly.hole_mm[pins] - assembly.diameter_at(pins, discs.along)) / 2.0
    clearance = np.where(discs.held, play, FREE_MM)
    contact = Contact(disc_rows(at, across, origin), face_rows(points, normals, origin), counted)
    extra = further_motions(assembly, pins, at, across, points, normals)
    pose = Pose(contact, np.concatenate([offset.ravel(), clearance, gap]), effect, extra)
    floors_there = np.concatenate([assembly.present[:floors], np.ones(f - floors, dtype=bool)])
    return _only(pose, assembly.present[pins], floors_there)


def _only(pose: Pose, discs: NDArray[np.bool_], faces: NDArray[np.bool_]) -> Pose:
    """A pose with some discs and faces left out; the errors keep their columns."""
    if discs.all() and faces.all():
        return pose
    rows = np.concatenate([np.repeat(discs, 2), discs, faces])
    contact = pose.contact
    return Pose(
        Contact(contact.discs[discs], contact.faces[faces], contact.counted[faces]),
        pose.nominal[rows],
        {kind: effect[rows] for kind, effect in pose.effect.items()},
        None if pose.extra is None else pose.extra.only(discs, faces),
    )


def _offsets(pins: NDArray[np.intp], per_unit: Float, n: int, f: int) -> Float:
    """Two errors a pin that move its discs across by `per_unit`."""
    d = len(pins)
    made = np.zeros((3 * d + f, 2 * n))
    for across in (0, 1):
        made[2 * np.arange(d) + across, 2 * pins + across] = per_unit
    return made


def _radii(pins: NDArray[np.intp], n: int, f: int) -> Float:
    d = len(pins)
    made = np.zeros((3 * d + f, n))
    made[2 * d + np.arange(d), pins] = 1.0
    return made


def _gaps(d: int, f: int, first: int, wide: int, per_unit: float, count: int) -> Float:
    """`wide` errors of which the first `count` change the gaps from face `first` on."""
    made = np.zeros((3 * d + f, wide))
    made[3 * d + first + np.arange(count), np.arange(count)] = per_unit
    return made
