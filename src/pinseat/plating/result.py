"""What plating gives: the map with its programme, and what the bench log makes of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pinseat.ledger.findings import Finding
from pinseat.plating.baths import Bath
from pinseat.plating.calibration import Calibration
from pinseat.plating.clock import Finish
from pinseat.plating.covering import Round
from pinseat.plating.reconcile import LogState
from pinseat.plating.shares import Pool, Share

Float = NDArray[np.float64]


@dataclass(frozen=True)
class Aim:
    """What is wanted of the shells.

    Attributes
    ----------
    minimum_mm : float
        Thinnest spot anywhere on the working surface.
    stop_mean_mm : float
        Mean at which to stop in any case.
    mean_mm : float
        Mean to plate to: as stated, or as the map wants it for the minimum, at most the one at which to stop.
    stated : bool
        Whether that mean was stated.
    rim_mm : float
        Thickest rim.
    minimum_source, rim_source : str
        Where these two come from.
    """

    minimum_mm: float
    stop_mean_mm: float
    mean_mm: float
    stated: bool
    rim_mm: float
    minimum_source: str
    rim_source: str


@dataclass(frozen=True)
class MappedPiece:
    """One piece in the field.

    Attributes
    ----------
    name : str
    area_mm2 : float
        As the solver sees it.
    current_mA : float
        What it takes of the main current when all hang on one supply.
    mean_mm, minimum_mm, maximum_mm : float
        At the end of the map; the mean is that of the balance.
    floor_mm, wall_mm, rim_mm, pin_mm : float
        Means of the bands; NaN where there is none.
    highest_A_m2 : float
        Largest local density with the main current, the last cells at the wax edge left out.
    density_A_m2 : float
        Mean density on the piece at the end.
    """

    name: str
    area_mm2: float
    current_mA: float
    mean_mm: float
    minimum_mm: float
    maximum_mm: float
    floor_mm: float
    wall_mm: float
    rim_mm: float
    pin_mm: float
    highest_A_m2: float
    density_A_m2: float


@dataclass(frozen=True)
class Spread:
    """What not knowing the bath costs: the thinnest spot at the end, at both ends of one quantity.

    Attributes
    ----------
    what : str
        In words.
    low, high : float
        Ends of the quantity, in `unit`.
    unit : str
    minimum_low_mm, minimum_high_mm : float
        Thinnest spot there.
    """

    what: str
    low: float
    high: float
    unit: str
    minimum_low_mm: float
    minimum_high_mm: float


@dataclass(frozen=True)
class Suggestion:
    """A change at the bench and what it would do.

    Attributes
    ----------
    what : str
        In bench words.
    hours : float
        Until the thinnest spot has the minimum; infinite when it never has.
    minimum_mm, rim_mm : float
        Thinnest and thickest spot then.
    toml : str
        What to put into ``case.toml`` to have it mapped and set on the sheet.
    grown : bool
        Whether the deposit was grown through it, on coarse cells; else by the rates of the bare cups.
    """

    what: str
    hours: float
    minimum_mm: float
    rim_mm: float
    toml: str = ""
    grown: bool = False


@dataclass(frozen=True, eq=False)
class ThicknessMap:
    """What the field says.

    Attributes
    ----------
    pieces : tuple of MappedPiece
    hours, minimum_mm, mean_mm, rim_mm : (k,) arrays
        Over all pieces, from the start. The mean is that of the balance, metal over area, with what grows
        over the margin; the rim is NaN where there is none.
    hours_95, hours_100 : float
        Until 95 % and 100 % of the working surface have the minimum; infinite when not reached.
    thinnest_piece, thinnest_band : str
        Where the minimum is at the end.
    thinnest_mm : (3,) array
        The place, in the frame of the scan, or from the middle of the mouths.
    spreads : tuple of Spread
    minimum_range_mm : tuple of float
        Thinnest spot at the end, over everything that is not known.
    voltage_V : float
        At the main current.
    start_least : float
        Smallest local density at the start over the mean; small when the bare film keeps the current from
        far places.
    wasted_g, mass_g : float
        On tails and flange; on everything.
    closure : float
        Metal by geometry over metal by charge, minus 1.
    correction : float
        Largest stretch of a growth step that made metal and charge agree, less 1.
    residual : float
        Largest imbalance of current left by the solver, over the whole current.
    cells : int
    notes : tuple of str
    """

    pieces: tuple[MappedPiece, ...]
    hours: Float
    minimum_mm: Float
    mean_mm: Float
    rim_mm: Float
    hours_95: float
    hours_100: float
    thinnest_piece: str
    thinnest_band: str
    thinnest_mm: Float
    spreads: tuple[Spread, ...]
    minimum_range_mm: tuple[float, ...]
    voltage_V: float
    start_least: float
    wasted_g: float
    mass_g: float
    closure: float
    correction: float
    residual: float
    cells: int
    notes: tuple[str, ...]

    def at(self, hours: float) -> tuple[float, float, float]:
        """Minimum, mean and rim at an hour, mm."""
        curves = (self.minimum_mm, self.mean_mm, self.rim_mm)
        low, mean, rim = (float(np.interp(hours, self.hours, curve)) for curve in curves)
        return low, mean, rim

    def hours_to_mean(self, mean_mm: float) -> float:
        """Hours until the mean has a thickness, the last rate held beyond the end of the map."""
        if mean_mm <= self.mean_mm[-1]:
            return float(np.interp(mean_mm, self.mean_mm, self.hours))
        rate = (self.mean_mm[-1] - self.mean_mm[-2]) / (self.hours[-1] - self.hours[-2])
        return float(self.hours[-1] + (mean_mm - self.mean_mm[-1]) / rate)


@dataclass(frozen=True)
class Row:
    """One line of the programme.

    Attributes
    ----------
    what : str
        ``start``, ``look``, ``main``, ``stop``.
    from_h, hours : float
    current_mA : float
    charge_mAh : float
        Through the supply in this line.
    do : str
        What the person does.
    """

    what: str
    from_h: float
    hours: float
    current_mA: float
    charge_mAh: float
    do: str


@dataclass(frozen=True, eq=False)
class PlatingResult:
    """Plating as planned.

    Attributes
    ----------
    bath : Bath
        After calibration.
    calibration : Calibration or None
    aim : Aim
    pool : Pool
        All pieces together at the main current, for the mean that is aimed at.
    shares : tuple of Share
        Each piece under an equal split.
    map : ThicknessMap or None
        None only when the field was not asked for.
    suggestions : tuple of Suggestion
    findings : tuple of Finding
    files : tuple of str
        Names inside the case folder.
    covering : tuple of Round
        Stretches of the start current, each to its look, until the bare film is covered; empty for a film
        that conducts well.
    """

    bath: Bath
    calibration: Calibration | None
    aim: Aim
    pool: Pool
    shares: tuple[Share, ...]
    map: ThicknessMap | None
    suggestions: tuple[Suggestion, ...]
    findings: tuple[Finding, ...]
    files: tuple[str, ...] = ()
    covering: tuple[Round, ...] = ()


@dataclass(frozen=True)
class ProgrammeResult:
    """What the bench does, and how far it has got.

    Attributes
    ----------
    rows : tuple of Row
    hours : float
        From switching on to the end, by the plan.
    finish : Finish or None
        By the clock on the wall; None when no start is stated and nothing is logged.
    starts : tuple of str
        Stretches of the day in which to start so that somebody is there at the end; empty when it does not
        matter or there is none.
    log : LogState
    minimum_now_mm : float
        Thinnest spot by the map at the mean that is there now; NaN without a map.
    remaining_h : tuple of float
        Hours still wanted at the present current, least and most.
    ends : tuple of str
        When that is, by the clock on the wall; empty while the supply is off.
    findings : tuple of Finding
    files : tuple of str
    """

    rows: tuple[Row, ...]
    hours: float
    finish: Finish | None
    starts: tuple[str, ...]
    log: LogState
    minimum_now_mm: float
    remaining_h: tuple[float, ...]
    ends: tuple[str, ...]
    findings: tuple[Finding, ...]
    files: tuple[str, ...] = ()
