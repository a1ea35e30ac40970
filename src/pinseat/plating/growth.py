"""Thickness against the clock: the surface moves into the liquid as metal grows on it.

The signed distance at the corners of the cells falls at the rate at which the nearest wall grows, so the
cells are cut anew at each step while the octree stays. At a wax edge the metal creeps over as far as it is
thick. Places on the bare surface ride along and tell how thick the metal is on them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial import KDTree

from pinseat.errors import PlatingError
from pinseat.ledger.handover import Progress, quiet
from pinseat.numerics.cutcell import Cut, cut
from pinseat.plating.bodies import waxed
from pinseat.plating.cells import Cells, Grown, electrode_at, prepare
from pinseat.plating.field import Solved, solve_cells
from pinseat.plating.model import BANDS, RUBBER, Electrolyte, Float, Geometry, Growth, Int, Stage, Surface

CLOSURE = 1e-3
"""Metal by geometry and metal by charge may differ by this share."""
_AWAY = 0.25
_NEIGHBOURS = 4
_MOST_STRETCHES, _MOST_STRETCH = 10, 2.0
_RIM_MEANS = 5.0


@dataclass(frozen=True, eq=False)
class _Rate:
    """How fast the wall grows, anywhere near it."""

    tree: KDTree
    mm_per_h: Float
    normal: Float
    room_mm: float

    def at(self, points: Float) -> tuple[Float, Float]:
        """Rate, mm/h, and the normal of the nearest wall."""
        found = self.tree.query(points, k=_NEIGHBOURS, workers=-1)
        far, which = np.asarray(found[0], float), np.asarray(found[1], np.int64)
        weight = 1.0 / (far**2 + self.room_mm**2)
        weight /= weight.sum(axis=1, keepdims=True)
        return np.einsum("ij,ij->i", weight, self.mm_per_h[which]), self.normal[which[:, 0]]


def grow(
    geometry: Geometry,
    electrolyte: Electrolyte,
    stages: Sequence[Stage],
    *,
    steps: int = 30,
    wanted_mm: float = 0.5,
    progress: Progress = quiet,
) -> Growth:
    """Plate by a programme.

    Parameters
    ----------
    geometry : Geometry
        Its `band_mm` is set here.
    electrolyte : Electrolyte
    stages : sequence of Stage
    steps : int
        In all, at least one a stage; each is one solution.
    wanted_mm : float
        Thickness to be reached everywhere.
    progress : callable

    Returns
    -------
    Growth

    Raises
    ------
    PlatingError
        As :func:`pinseat.plating.field.solve`; when no time is given.

    Notes
    -----
    Rates are carried on to the middle of each step from this one and the last (Adams and Bashforth), and each
    step is stretched until the liquid displaced is the metal that the charge gives. `correction` tells by how
    much.
    """
    hours = sum(stage.hours for stage in stages)
    if not hours > 0.0:
        raise PlatingError("the programme takes no time", value=f"{hours:g} h", limit="more than 0 h")
    start = _start(geometry, electrolyte, stages)
    run = _Run(start, electrolyte, wanted_mm)
    done = 0.0
    for stage in stages:
        count = max(1, round(steps * stage.hours / hours))
        for _ in range(count):
            progress("growing the metal", done / hours)
            run.step(stage, stage.hours / count)
            done += stage.hours / count
    run.solve(stages[-1])
    progress("growing the metal", 1.0)
    return run.result()


def _start(geometry: Geometry, electrolyte: Electrolyte, stages: Sequence[Stage]) -> Cells:
    """Cells fine as far as the deposit is thick on the mean, and ready to be cut five times as far."""
    coarse = replace(geometry, metal_mm=2.0 * geometry.metal_mm, rubber_mm=2.0 * geometry.rubber_mm)
    field = solve_cells(prepare(coarse), electrolyte, stages[-1].drive).field
    area = sum(field.area_mm2[e.name] for e in geometry.electrodes if e.role == "cathode")
    charge = sum(3600.0 * stage.hours for stage in stages) * 1e-3 * _cathodic_mA(field.current_mA, geometry)
    mean = charge * electrolyte.deposit_mm3_per_C / area
    return prepare(replace(geometry, band_mm=mean), reach_mm=_RIM_MEANS * mean + geometry.metal_mm)


def _cathodic_mA(current: dict[str, float], geometry: Geometry) -> float:
    return sum(current[e.name] for e in geometry.electrodes if e.role == "cathode")


class _Run:
    """The state of a growing deposit."""

    def __init__(self, cells: Cells, electrolyte: Electrolyte, wanted_mm: float) -> None:
        self.cells, self.electrolyte, self.wanted = cells, electrolyte, wanted_mm
        self.solved: Solved | None = None
        self.first: Solved | None = None
        self.bare: Solved | None = None
        self.clock = [0.0]
        self.thickness: list[Float] = []
        self.density: list[Float] = []
        self.charge, self.correction = 0.0, 0.0
        self.mass = np.zeros(len(cells.geometry.electrodes))
        self.last_rate: tuple[Float, Float, float] | None = None
        self.wax_mm = 0.0
        self.covered, self.covered_place = np.empty(0, bool), np.empty(0, bool)
        self.watched, self.near = np.empty(0, np.int64), np.empty(0, np.int64)
        self.place, self.points = np.empty((0, 3)), np.empty((0, 3))
        self.start = np.empty((0, 3))
        self.body, self.metal = np.empty(0), np.empty(0)
        self.volume = self.begin = float(_cut(cells).volume_mm3.sum())

    def solve(self, stage: Stage) -> Solved:
        """Current distribution of this moment; the first one fixes the places to be watched."""
        if self.first is not None and stage.wax_mm > self.wax_mm:
            self._cover(stage.wax_mm)
        self.solved = solve_cells(self.cells, self.electrolyte, stage.drive, self.solved, stage.bare)
        if self.first is None:
            self._watch(self.solved)
        rate = self._rate(self.solved)
        mm_per_h = np.where(self.covered_place, 0.0, rate.at(self.place)[0])
        self.density.append(mm_per_h / (3.6e-3 * self.electrolyte.deposit_mm3_per_C))
        return self.solved

    def step(self, stage: Stage, hours: float) -> None:
        """Solve, then let the surface move."""
        solved = self.solve(stage)
        rate = self._rate(solved)
        field, _ = rate.at(self.points)
        watched, normal = rate.at(self.place)
        field, watched = np.where(self.covered, 0.0, field), np.where(self.covered_place, 0.0, watched)
        current = np.bincount(
            solved.elements.electrode,
            1e-6 * solved.elements.area_mm2 * solved.field.density_A_m2,
            minlength=len(self.mass),
        )
        cathode = np.array([e.role == "cathode" for e in self.cells.geometry.electrodes])
        charge = 3600.0 * hours * np.where(cathode, current, 0.0)
        speed = self._carried_on(field, watched, hours, float(charge.sum()) / hours)
        stretch = self._move(speed[0] * hours, float(charge.sum()) * self.electrolyte.deposit_mm3_per_C)
        self.charge += float(charge.sum())
        self.mass += 1e-3 * self.electrolyte.density_g_cm3 * self.electrolyte.deposit_mm3_per_C * charge
        self.correction = max(self.correction, abs(stretch - 1.0))
        grown = stretch * hours * speed[1]
        self.place = self.place + grown[:, None] * normal
        self.thickness.append(self.thickness[-1] + grown)
        self.clock.append(self.clock[-1] + hours)

    def _watch(self, solved: Solved) -> None:
        self.first = solved
        geometry, found = self.cells.geometry, solved.elements
        piece = np.array([e.piece for e in geometry.electrodes])[found.electrode]
        self.watched = np.flatnonzero(piece)
        self.place = self.start = found.point[self.watched]
        self.thickness.append(np.zeros(len(self.watched)))
        self.near = np.flatnonzero(self.cells.corners.row >= 0)
        self.points = np.concatenate((self.cells.tree.centre[self.near], self.cells.corners.point))
        cathode = np.array([e.role == "cathode" for e in geometry.electrodes])[found.electrode]
        metal = np.flatnonzero(cathode)
        tree = KDTree(found.point[metal])
        self.body = np.concatenate((self.cells.centre_mm[self.near], self.cells.corner_mm))
        above = electrode_at(geometry, self.points)
        own = (above != RUBBER) & np.isin(above, found.electrode[metal])
        self.metal = np.where(own, self.body, np.maximum(tree.query(self.points)[0], self.body))
        grown = Grown(tree, found.electrode[metal], _AWAY * geometry.metal_mm)
        self.cells = replace(self.cells, grown=grown, edges=None)
        self.covered, self.covered_place = np.zeros(len(self.points), bool), np.zeros(len(self.watched), bool)

    def _cover(self, wax_mm: float) -> None:
        """Cover a further band with wax: what is nearest to it stands still from now on."""
        zone, grown = self.cells.geometry.zone, self.cells.grown
        assert zone is not None
        assert grown is not None
        self.wax_mm = wax_mm
        under = zone.from_edge_mm(grown.tree.data) < wax_mm
        self.covered = under[grown.tree.query(self.points)[1]]
        self.covered_place = under[grown.tree.query(self.start)[1]]
        electrode = np.where(under, RUBBER, grown.electrode)
        geometry = waxed(self.cells.geometry, wax_mm)
        self.cells = replace(self.cells, geometry=geometry, grown=replace(grown, electrode=electrode))
        self.last_rate = None

    def _rate(self, solved: Solved) -> _Rate:
        """Rates of the metal; wax and rubber stand still."""
        found = solved.elements
        cathode = np.array([e.role == "cathode" for e in self.cells.geometry.electrodes])[found.electrode]
        on = found.on_wall & cathode
        per_h = 3.6e-3 * self.electrolyte.deposit_mm3_per_C * solved.field.density_A_m2
        room = 0.5 * self.cells.geometry.metal_mm
        return _Rate(KDTree(found.point[on]), per_h[on], found.normal[on], room)

    def _carried_on(self, field: Float, watched: Float, hours: float, current: float) -> tuple[Float, Float]:
        """Rates in the middle of the step, as they have changed for the same current."""
        before, self.last_rate = self.last_rate, (field / current, watched / current, hours)
        if before is None:
            return field, watched
        part = 0.5 * hours / before[2]
        carried = (
            field + part * (field - current * before[0]),
            watched + part * (watched - current * before[1]),
        )
        return np.maximum(carried[0], 0.0), np.maximum(carried[1], 0.0)

    def _move(self, by_mm: Float, metal_mm3: float) -> float:
        """Move the surface so that it displaces as much liquid as metal has grown."""
        split, stretch = len(self.near), 1.0
        for _ in range(_MOST_STRETCHES):
            metal = self.metal - stretch * by_mm
            now = np.minimum(self.body, metal)
            centre = self.cells.centre_mm.copy()
            centre[self.near] = now[:split]
            moved = replace(self.cells, centre_mm=centre, corner_mm=now[split:])
            grown = self.volume - float(_cut(moved).volume_mm3.sum())
            if abs(grown - metal_mm3) <= 0.05 * CLOSURE * metal_mm3 or not grown > 0.0:
                break
            stretch = float(np.clip(stretch * metal_mm3 / grown, 1.0 / _MOST_STRETCH, _MOST_STRETCH))
        self.cells, self.metal, self.volume = moved, metal, self.volume - grown
        return stretch

    def result(self) -> Growth:
        """Everything to be told."""
        assert self.first is not None
        assert self.solved is not None
        e, f, on = self.cells.geometry.electrodes, self.first.field, self.watched
        surface = Surface(*(getattr(f.surface, name)[on] for name in vars(f.surface)))
        thickness, density = np.array(self.thickness), np.array(self.density)
        clock = np.array(self.clock)
        told = surface.band >= 0 if (surface.band >= 0).any() else np.full(len(on), True)
        area = np.where(told, surface.area_mm2, 0.0)
        rim = np.where(surface.band == BANDS.index("rim"), surface.area_mm2, 0.0)
        thin = int(np.argmin(np.where(told, thickness[-1], np.inf)))
        per_h = 3.6e-3 * self.electrolyte.deposit_mm3_per_C * density[-1]
        when = _reached(clock, thickness, per_h, self.wanted)
        wasted = float(sum(m for m, one in zip(self.mass, e, strict=True) if not one.piece))
        return Growth(
            surface=surface,
            hours=clock,
            thickness_mm=thickness,
            density_A_m2=density,
            first=f,
            last=self.solved.field,
            minimum_mm=thickness[:, told].min(axis=1),
            mean_mm=thickness @ area / area.sum(),
            rim_mm=thickness @ rim / rim.sum() if rim.sum() > 0.0 else np.full(len(clock), np.nan),
            thinnest=surface.point[thin],
            thinnest_piece=e[int(surface.electrode[thin])].name,
            hours_95=_share_reached(when[told], surface.area_mm2[told], 0.95),
            hours_100=float(when[told].max()),
            wanted_mm=self.wanted,
            charge_C=self.charge,
            grown_mm3=self.begin - self.volume,
            expected_mm3=self.charge * self.electrolyte.deposit_mm3_per_C,
            mass_g=float(self.mass.sum()),
            wasted_g=wasted,
            mass_by_g={
                one.name: float(m) for m, one in zip(self.mass, e, strict=True) if one.role == "cathode"
            },
            correction=self.correction,
        )


def _cut(cells: Cells) -> Cut:
    return cut(cells.tree, cells.faces, cells.corners, cells.centre_mm, cells.corner_mm)


def _reached(clock: Float, thickness: Float, per_h: Float, wanted: float) -> Float:
    """When each place has a thickness, h; carried on at the last rate, infinite where nothing grows."""
    over = thickness >= wanted
    row = np.argmax(over, axis=0)
    place = np.arange(thickness.shape[1])
    before = np.maximum(row - 1, 0)
    low, high = thickness[before, place], thickness[row, place]
    part = (wanted - low) / np.where(high > low, high - low, 1.0)
    inside = clock[before] + part * (clock[row] - clock[before])
    with np.errstate(divide="ignore"):
        beyond = clock[-1] + (wanted - thickness[-1]) / np.maximum(per_h, 0.0)
    return np.where(over.any(axis=0), inside, beyond)


def _share_reached(when: Float, area: Float, share: float) -> float:
    order = np.argsort(when, kind="stable")
    total = np.cumsum(area[order])
    return float(when[order][int(np.searchsorted(total, share * total[-1]))])


def at_vertices(growth: Growth, points: Float) -> tuple[Float, Int]:
    """Thickness at the end at points (n, 3) on the bare surface, and the row of the nearest place."""
    which = KDTree(growth.surface.point).query(points)[1]
    return growth.thickness_mm[-1][which], np.asarray(which, np.int64)
