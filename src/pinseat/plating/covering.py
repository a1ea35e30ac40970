"""From bare film to metal: what the start current covers by each look, and how often to coat again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from pinseat.ledger.handover import Progress, quiet
from pinseat.plating.cells import Cells, prepare
from pinseat.plating.field import solve_cells
from pinseat.plating.model import Drive, Electrode, Electrolyte, Float, Geometry, Int
from pinseat.reference import value

PARTS = 4
"""Solutions for each stretch of the start current."""
MOST = 3
"""Stretches after which what is still bare is told as staying bare."""


@dataclass(frozen=True)
class Round:
    """One stretch of the start current, from film to the look after it.

    Attributes
    ----------
    hours : float
    bare_mm2, bare_percent : float
        Film that has no metal to speak of at the look, and its share of the pieces.
    where : tuple of str
        Pieces with bare spots, the worst first.
    """

    hours: float
    bare_mm2: float
    bare_percent: float
    where: tuple[str, ...]


def covering(
    geometry: Geometry, electrolyte: Electrolyte, drive: Drive, hours: float, progress: Progress = quiet
) -> tuple[Round, ...]:
    """Follow the start current over the bare film, coating again what is bare at each look.

    A few hundredths of a millimetre change no shape, so the cells stay. Where metal is thick enough to
    conduct it counts as touched by the lead, metal that stands alone in bare film too: it errs on the bright
    side.

    Parameters
    ----------
    geometry : Geometry
        With films on its pieces; coarse cells will do.
    electrolyte : Electrolyte
    drive : Drive
        Start current.
    hours : float
        Until each look.
    progress : callable

    Returns
    -------
    tuple of Round
        Until nothing is bare, at most three; empty when the film conducts well.

    Raises
    ------
    PlatingError
        As :func:`pinseat.plating.field.solve`.
    """
    if not any(electrode.sheet_ohm > 0.0 for electrode in geometry.electrodes):
        return ()
    cells, thick = prepare(geometry), np.zeros(0)
    enough, accepted = 1e-3 * value("plating.covered_um").value, value("plating.bare_percent").value
    rounds: list[Round] = []
    while len(rounds) < MOST and (not rounds or rounds[-1].bare_percent > accepted):
        for part in range(PARTS):
            progress("covering the film", (len(rounds) + part / PARTS) / MOST)
            found = solve_cells(cells, electrolyte, drive, bare=True)
            on, density = found.elements, found.field.density_A_m2
            grown = 3.6e-3 * electrolyte.deposit_mm3_per_C * density * hours / PARTS
            thick = thick + grown if len(thick) else grown
            cells = _covered(cells, on.point, on.electrode, thick >= enough)
        rounds.append(_look(geometry.electrodes, on.electrode, on.area_mm2, thick < enough, hours))
    return tuple(rounds)


def _covered(cells: Cells, point: Float, electrode: Int, covered: np.ndarray) -> Cells:
    """The same, with metal on the film of some elements."""
    electrodes = tuple(
        replace(e, covered=point[covered & (electrode == number)]) if e.sheet_ohm > 0.0 else e
        for number, e in enumerate(cells.geometry.electrodes)
    )
    return replace(cells, geometry=replace(cells.geometry, electrodes=electrodes))


def _look(
    electrodes: Sequence[Electrode], electrode: Int, area_mm2: Float, bare: np.ndarray, hours: float
) -> Round:
    filmed = [number for number, e in enumerate(electrodes) if e.sheet_ohm > 0.0]
    whole = float(area_mm2[np.isin(electrode, filmed)].sum())
    left = {electrodes[n].name: float(area_mm2[bare & (electrode == n)].sum()) for n in filmed}
    bare_mm2 = sum(left.values())
    where = tuple(sorted((name for name in left if left[name] > 0.0), key=lambda name: -left[name]))
    return Round(hours, bare_mm2, 100.0 * bare_mm2 / whole, where)
