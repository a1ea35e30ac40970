"""From the solver's surface to what the bench can use: bands, places, and what not knowing the bath costs."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pinseat.plating.baths import Bath
from pinseat.plating.model import BANDS, Band, Drive, Electrolyte, Field, Growth, Stage
from pinseat.plating.plan import electrolyte_of
from pinseat.plating.result import MappedPiece, Spread, ThicknessMap

Float = NDArray[np.float64]
Solve = Callable[[Electrolyte, Drive], Field]
"""Solves the bare cups once more with another bath."""


def thickness_map(
    growth: Growth, bath: Bath, stages: Sequence[Stage], solve: Solve, notes: Sequence[str] = ()
) -> ThicknessMap:
    """What the field says, in the bench's terms.

    Parameters
    ----------
    growth : Growth
    bath : Bath
    stages : sequence of Stage
        As grown; the last one is the main stage.
    solve : callable
        For the ends of what is not known of the bath.
    notes : sequence of str

    Returns
    -------
    ThicknessMap
    """
    names = [electrode.name for electrode in growth.last.electrodes]
    pieces = tuple(
        _piece(growth, i, name, bath)
        for i, name in enumerate(names)
        if growth.last.electrodes[i].piece and (growth.surface.electrode == i).any()
    )
    spreads = tuple(_spreads(growth, bath, stages[-1].drive, solve))
    minimum = float(growth.minimum_mm[-1])
    thinnest = int(np.argmin(np.where(growth.surface.band >= 0, growth.thickness_mm[-1], np.inf)))
    return ThicknessMap(
        pieces=pieces,
        hours=growth.hours,
        minimum_mm=growth.minimum_mm,
        mean_mm=_mean_by_mass(growth, bath, stages),
        rim_mm=growth.rim_mm,
        hours_95=growth.hours_95,
        hours_100=growth.hours_100,
        thinnest_piece=growth.thinnest_piece,
        thinnest_band=BANDS[growth.surface.band[thinnest]],
        thinnest_mm=growth.thinnest,
        spreads=spreads,
        minimum_range_mm=_range(minimum, spreads),
        voltage_V=growth.last.voltage_V,
        start_least=least(growth.first),
        wasted_g=growth.wasted_g,
        mass_g=growth.mass_g,
        closure=growth.closure,
        correction=growth.correction,
        residual=max(growth.first.residual, growth.last.residual),
        cells=growth.last.cells,
        notes=tuple(notes),
    )


def _mean_by_mass(growth: Growth, bath: Bath, stages: Sequence[Stage]) -> Float:
    """Mean thickness as the balance has it: metal on the pieces over their area, edges and all, mm.

    The mean over the reported bands is less: it leaves out what has grown over the margin.
    """
    pieces = [e.name for e in growth.last.electrodes if e.piece]
    grown = 1e3 * sum(growth.mass_by_g[name] for name in pieces) / bath.density_g_cm3
    area = sum(growth.first.area_mm2[name] for name in pieces)
    ends = np.cumsum([0.0, *(stage.hours for stage in stages)])
    mA = [(stage.drive.current_mA or 0.0) + sum(stage.drive.own_mA.values()) for stage in stages]
    charge = np.cumsum([0.0, *(stage.hours * current for stage, current in zip(stages, mA, strict=True))])
    return np.asarray(grown / area * np.interp(growth.hours, ends, charge) / charge[-1])


def _piece(growth: Growth, number: int, name: str, bath: Bath) -> MappedPiece:
    """One piece at the end: its mean as the balance has it, and means over its bands."""
    surface, thick = growth.surface, growth.thickness_mm[-1]
    mine = (surface.electrode == number) & (surface.band >= 0)
    area = surface.area_mm2

    def mean(band: Band) -> float:
        where = mine & (surface.band == BANDS.index(band))
        return float(thick[where] @ area[where] / area[where].sum()) if where.any() else float("nan")

    densest = growth.density_A_m2[:, mine].max(axis=1) if mine.any() else np.array([np.nan])
    return MappedPiece(
        name=name,
        area_mm2=growth.first.area_mm2[name],
        current_mA=growth.last.current_mA[name],
        mean_mm=1e3 * growth.mass_by_g[name] / bath.density_g_cm3 / growth.first.area_mm2[name],
        minimum_mm=float(thick[mine].min()) if mine.any() else float("nan"),
        maximum_mm=float(thick[mine].max()) if mine.any() else float("nan"),
        floor_mm=mean("floor"),
        wall_mm=mean("wall"),
        rim_mm=mean("rim"),
        pin_mm=mean("pin"),
        highest_A_m2=float(densest.max()),
        density_A_m2=growth.last.mean_A_m2(name),
    )


def _spreads(growth: Growth, bath: Bath, drive: Drive, solve: Solve) -> list[Spread]:
    """The thinnest spot at both ends of each quantity that is not known."""
    middle = least(solve(electrolyte_of(bath), drive))
    minimum = float(growth.minimum_mm[-1])
    found = []
    for what, unit, ends in _doubts(bath):
        shares = [least(solve(electrolyte_of(other), drive)) / middle for _, other in ends]
        (low, _), (high, _) = ends
        found.append(Spread(what, low, high, unit, minimum * shares[0], minimum * shares[1]))
    return found


Ends = tuple[tuple[float, Bath], tuple[float, Bath]]


def _doubts(bath: Bath) -> list[tuple[str, str, Ends]]:
    """What is not known, with its ends and the bath there; of a rectangular spread, the whole of it."""
    found: list[tuple[str, str, Ends]] = []
    low, high = bath.exchange_range_A_m2
    if high > 1.02 * low:
        ends = ((low, replace(bath, exchange_A_m2=low)), (high, replace(bath, exchange_A_m2=high)))
        found.append(("exchange current", "A/m²", ends))
    kappa, half = bath.conductivity_S_m, np.sqrt(3.0) * bath.u_conductivity_S_m
    if half > 0.02 * kappa:
        low, high = max(kappa - half, 0.1 * kappa), kappa + half
        ends = ((low, replace(bath, conductivity_S_m=low)), (high, replace(bath, conductivity_S_m=high)))
        found.append(("conductivity", "S/m", ends))
    return found


def least(found: Field) -> float:
    """Smallest local density on the pieces over their mean, the last cell at the wax edge left out."""
    pieces = [i for i, electrode in enumerate(found.electrodes) if electrode.piece]
    where = np.isin(found.surface.electrode, pieces) & (found.surface.band >= 0)
    area, density = found.surface.area_mm2[where], found.density_A_m2[where]
    return float(density.min() / (density @ area / area.sum()))


def _range(minimum: float, spreads: Sequence[Spread]) -> tuple[float, float]:
    """Ends over all that is not known: deviations added as squares, each side for itself."""
    down = sum(max(minimum - min(s.minimum_low_mm, s.minimum_high_mm), 0.0) ** 2 for s in spreads)
    up = sum(max(max(s.minimum_low_mm, s.minimum_high_mm) - minimum, 0.0) ** 2 for s in spreads)
    return max(minimum - down**0.5, 0.0), minimum + up**0.5
