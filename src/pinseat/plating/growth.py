"""Thickness against the clock: each step of a programme is one solution and one move of the front.

Places on the bare surface ride along on the front and tell how thick the metal is on them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from scipy.spatial import KDTree

from pinseat.errors import PlatingError
from pinseat.ledger.handover import Progress, quiet
from pinseat.plating.cells import Cells, prepare
from pinseat.plating.field import solve_cells
from pinseat.plating.front import Facets, Front, Near, facets_of
from pinseat.plating.model import BANDS, Electrolyte, Float, Geometry, Growth, Int, Stage, Surface

_RIM_MEANS = 5.0
"""How many times the mean a rim may grow."""
_LATER = 1.5
"""The clock goes with this power of the number of steps."""
_MOST_CHANGE = 2.0
"""Within half a step the current about a place is taken to change by this factor at most."""


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
    The metal of a step is booked where the current goes, as it will have changed by the middle of the step
    (Adams and Bashforth), and the front is held to the books, see :mod:`pinseat.plating.front`. Steps grow
    longer with the clock, since the metal first spreads over the wax edge. The errors fall with the square of
    the number of steps.
    """
    hours = sum(stage.hours for stage in stages)
    if not hours > 0.0:
        raise PlatingError("the programme takes no time", value=f"{hours:g} h", limit="more than 0 h")
    run = _Run(_start(geometry, electrolyte, stages), electrolyte, stages[0], wanted_mm)
    done = 0.0
    for stage, spans in zip(stages, _spans(stages, steps), strict=True):
        for span in spans:
            progress("growing the metal", done / hours)
            run.step(stage, float(span))
            done += float(span)
    run.look(stages[-1])
    progress("growing the metal", 1.0)
    return run.result()


def _spans(stages: Sequence[Stage], steps: int) -> list[Float]:
    """Lengths of the steps of each stage, h: short at first, while the metal spreads over the wax edge."""
    ends = np.cumsum([0.0, *(stage.hours for stage in stages)])
    root = (ends / ends[-1]) ** (1.0 / _LATER)
    counts = np.maximum(1, np.rint(steps * np.diff(root)).astype(int))
    return [
        np.diff(ends[-1] * np.linspace(a, b, n + 1) ** _LATER)
        for a, b, n in zip(root[:-1], root[1:], counts, strict=True)
    ]


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

    def __init__(self, cells: Cells, electrolyte: Electrolyte, stage: Stage, wanted_mm: float) -> None:
        self.electrolyte, self.wanted = electrolyte, wanted_mm
        self.mm_per_h = 3.6e-3 * electrolyte.deposit_mm3_per_C
        self.first = self.solved = solve_cells(cells, electrolyte, stage.drive, None, stage.bare)
        self.front = Front(cells, self.first)
        found, electrodes = self.first.elements, cells.geometry.electrodes
        self.watched = np.flatnonzero(np.array([e.piece for e in electrodes])[found.electrode])
        self.place = found.point[self.watched].copy()
        self.sites = self.front.sites(self.place)
        self.clock, self.correction = [0.0], 0.0
        self.thickness, self.density = [np.zeros(len(self.place))], list[Float]()
        self.charge = np.zeros(len(electrodes))
        self.before: tuple[Float, Float, float] | None = None

    def look(self, stage: Stage) -> tuple[Facets, Near]:
        """Where metal grows now, and how fast at the places that are watched."""
        if self.density:
            if stage.wax_mm > self.front.wax_mm:
                self.front.cover(stage.wax_mm)
                self.before = None
            self.solved = solve_cells(
                self.front.cells, self.electrolyte, stage.drive, self.solved, stage.bare
            )
        facets = facets_of(self.front.cells, self.solved, self.mm_per_h)
        at = facets.about(self.place)
        bare = ~self.front.covered[self.sites.which[:, 0]]
        self.density.append(bare * at.of(facets.mm_per_h) / self.mm_per_h)
        return facets, at

    def step(self, stage: Stage, hours: float) -> None:
        """Solve, then let the front move."""
        facets, at = self.look(stage)
        current_mA = self.solved.field.current_mA
        electrodes = self.front.cells.geometry.electrodes
        charge = np.array([current_mA[e.name] * (e.role == "cathode") for e in electrodes]) * 3.6 * hours
        share, ahead = self._carried_on(facets, hours)
        metal = share * (float(charge.sum()) * self.electrolyte.deposit_mm3_per_C / share.sum())
        factor, missed = self.front.advance(facets, hours, metal, ahead)
        grown = hours * self.mm_per_h * self.density[-1] * self.sites.of(factor)
        self.place = self.place + grown[:, None] * facets.normal[at.which[:, 0]]
        self.charge += charge
        self.correction = max(self.correction, abs(missed))
        self.thickness.append(self.thickness[-1] + grown)
        self.clock.append(self.clock[-1] + hours)

    def _carried_on(self, facets: Facets, hours: float) -> tuple[Float, Float]:
        """Metal on each site in the middle of the step, and how much faster than now it grows thick there.

        The part of a site in the whole, and how thick its part would be on the metal about it, change on as
        they have changed.
        """
        share = self.front.on_sites(facets, facets.area_mm2 * facets.mm_per_h)
        part = self.front.about(share) / share.sum()
        thick = part / np.maximum(self.front.about(self.front.on_sites(facets, facets.area_mm2)), 1e-30)
        before, self.before = self.before, (part, thick, hours)
        if before is None:
            return share, np.ones(len(share))

        def change(now: Float, then: Float) -> Float:
            change = 1.0 + 0.5 * hours / before[2] * (1.0 - then / np.maximum(now, 1e-30))
            return np.clip(change, 1.0 / _MOST_CHANGE, _MOST_CHANGE)

        return share * change(part, before[0]), change(thick, before[1])

    def result(self) -> Growth:
        """Everything to be told."""
        electrodes, field, on = self.solved.field.electrodes, self.first.field, self.watched
        surface = Surface(*(getattr(field.surface, name)[on] for name in vars(field.surface)))
        thickness, density, clock = np.array(self.thickness), np.array(self.density), np.array(self.clock)
        told = surface.band >= 0 if (surface.band >= 0).any() else np.full(len(on), True)
        area = np.where(told, surface.area_mm2, 0.0)
        rim = np.where(surface.band == BANDS.index("rim"), surface.area_mm2, 0.0)
        thin = int(np.argmin(np.where(told, thickness[-1], np.inf)))
        mm3_per_C = self.electrolyte.deposit_mm3_per_C
        when = _reached(clock, thickness, self.mm_per_h * density[-1], self.wanted)
        mass = 1e-3 * self.electrolyte.density_g_cm3 * mm3_per_C * self.charge
        return Growth(
            surface=surface,
            hours=clock,
            thickness_mm=thickness,
            density_A_m2=density,
            first=field,
            last=self.solved.field,
            minimum_mm=thickness[:, told].min(axis=1),
            mean_mm=thickness @ area / area.sum(),
            rim_mm=thickness @ rim / rim.sum() if rim.sum() > 0.0 else np.full(len(clock), np.nan),
            thinnest=surface.point[thin],
            thinnest_piece=electrodes[int(surface.electrode[thin])].name,
            hours_95=_share_reached(when[told], surface.area_mm2[told], 0.95),
            hours_100=float(when[told].max()),
            wanted_mm=self.wanted,
            charge_C=float(self.charge.sum()),
            grown_mm3=self.front.grown_mm3(),
            expected_mm3=float(self.charge.sum()) * mm3_per_C,
            mass_g=float(mass.sum()),
            wasted_g=float(mass @ np.array([not e.piece for e in electrodes])),
            mass_by_g={
                e.name: float(m) for e, m in zip(electrodes, mass, strict=True) if e.role == "cathode"
            },
            grown_by_mm3=self.front.grown_by_mm3(),
            correction=self.correction,
        )


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
