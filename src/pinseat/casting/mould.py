"""How the change of length depends on the mix: what sheet, readings and own castings say of it together.

Worked in ``100 ln(casting / pattern)``, so that factors which multiply become terms which add; converted back
to per cent exactly.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from pinseat.case.casting import Bar, Casting, SheetPoint
from pinseat.casting.model import Evidence
from pinseat.casting.regression import Belief, Student, at, update
from pinseat.ledger.copies import reference_row
from pinseat.ledger.rows import Basis, Row
from pinseat.reference import value

Float = NDArray[np.float64]
Axis = Literal["liquid_percent", "water_powder"]
NO_LOT = "not stated"
"""What bars without a lot number are counted under."""
LEAST_WATER = 0.05
"""Water to powder (ml/g) below which nothing flows."""
LEAST_SHARE = 0.1
"""No prior is surer than this share of what is assumed of scatter and slope."""
_SQRT3 = math.sqrt(3.0)


@dataclass(frozen=True, eq=False)
class MouldLaw:
    """Change of length against mix.

    Attributes
    ----------
    axis : {"liquid_percent", "water_powder"}
        What steers the mould.
    centre : float
        Mix at which the level holds.
    reach : tuple of float
        Thinnest to richest mix (in the number of the axis) within which the straight line is trusted.
    belief : Belief
        Level at the centre (100 ln), slope, one effect for each lot, and last that of a lot never seen.
    lots : tuple of str
        Lots of the test castings, the oldest first.
    covers : tuple of str
        Copies of the ledger whose changes are in it together.
    label : str
        What it rests on, in words.
    basis : str
    evidence : tuple of Evidence
        The points it was made from.
    placed : bool
        False when it is not known at which mix the level was measured.
    read_at : float or None
        Mix at which this very mould was measured: a casting from it does not scatter about the line.
    """

    axis: Axis
    centre: float
    reach: tuple[float, float]
    belief: Belief
    lots: tuple[str, ...]
    covers: tuple[str, ...]
    label: str
    basis: Basis
    evidence: tuple[Evidence, ...]
    placed: bool
    read_at: float | None = None

    def row(self, mix: float, lot: str = "") -> Float:
        """Coefficients of the belief for a mix in a lot; a lot without castings counts as never seen."""
        row = np.zeros(len(self.belief.mean))
        row[:2] = 1.0, mix - self.centre
        row[2 + self.lots.index(lot) if lot in self.lots else -1] = 1.0
        return row

    def change(self, mix: float, lot: str = "") -> Student:
        """What one casting from this mix will do, in 100 ln."""
        row = self.row(mix, lot)
        if self.read_at is not None:
            row[-1] = 0.0  # the reading was of this very lot
        return at(self.belief, row, 0.0 if mix == self.read_at else 1.0)


def axis_of(investment: str) -> Axis:
    """What steers the expansion of an investment."""
    return "water_powder" if investment == "gypsum bonded" else "liquid_percent"


def law_of(casting: Casting, axis: Axis, rows: Sequence[Row]) -> MouldLaw:
    """Put together what the case knows of its mould.

    Prior: the line through the points of the maker's sheet, its level as unsure as the standard lets a
    product be, its slope as unsure as assumed; without a sheet, the ledger's figure and an assumed slope.
    Readings: the test castings, each with its own measuring uncertainty, and a measured expansion where the
    case has one.

    Parameters
    ----------
    casting : Casting
    axis : {"liquid_percent", "water_powder"}
    rows : sequence of Row
        The ledger from reference values and readings.

    Returns
    -------
    MouldLaw
    """
    by_copy = {row.copy: row for row in rows}
    covers = _covers(casting)
    law = _from_sheet(casting, axis) if casting.sheet else _from_ledger(casting, axis, by_copy["investment"])
    law = _with_reading(casting, replace(law, covers=covers), by_copy["investment"])
    if casting.bars:
        law = _with_bars(casting, law, [by_copy[copy] for copy in covers if copy != "investment"])
    return law


def expansion(point: SheetPoint) -> float:
    """Whole expansion at a point of the sheet, in 100 ln: setting and thermal factors multiply.

    Examples
    --------
    >>> round(expansion(SheetPoint(setting_percent=0.5, thermal_percent=1.0)), 5)
    1.49379
    """
    if point.total_percent is not None:
        return logarithm(point.total_percent)
    setting = point.hygroscopic_percent if point.setting_percent is None else point.setting_percent
    return logarithm(setting or 0.0) + logarithm(point.thermal_percent or 0.0)


def logarithm(percent: float) -> float:
    """A change in % as 100 ln of its factor."""
    return 100.0 * math.log1p(percent / 100.0)


def percent(log: float) -> float:
    """A change given as 100 ln of its factor, in %."""
    return 100.0 * math.expm1(log / 100.0)


def _covers(casting: Casting) -> tuple[str, ...]:
    if not casting.bars:
        return ("investment",)
    return ("investment", "alloy", *(("pattern",) if casting.bars_against == "die" else ()))


def _prior(level: float, u_level: float, slope: float, u_slope: float) -> Belief:
    """Level, slope and the lot never seen, each with the standard uncertainty given; scatter as assumed."""
    s = value("recipe.bar_repeat_percent").value
    worth = value("recipe.bar_repeat_worth_castings").value
    spread = value("recipe.lot_spread_percent").value
    ratio = np.diag([max(u_level, LEAST_SHARE * s) ** 2, u_slope**2, spread**2]) / s**2
    return Belief(np.array([level, slope, 0.0]), ratio, s * math.sqrt((worth - 2.0) / worth), worth)


def _from_sheet(casting: Casting, axis: Axis) -> MouldLaw:
    sheet = casting.sheet
    mix = np.array([getattr(point, axis) for point in sheet], dtype=float)
    grown = np.array([expansion(point) for point in sheet])
    centre, level = float(mix.mean()), float(grown.mean())
    spread = float(((mix - centre) ** 2).sum())
    slope, u_slope = _assumed_slope(axis)
    if spread > 0.0:
        slope = float(((mix - centre) * grown).sum()) / spread
        u_slope = max(abs(slope) * value("recipe.slope_doubt_percent").value / 100.0, LEAST_SHARE * u_slope)
    bend = float(np.sqrt(np.mean((grown - level - slope * (mix - centre)) ** 2))) if spread > 0.0 else 0.0
    tolerance = value("investment.expansion_tolerance_percent").value / 100.0 * abs(level) / _SQRT3
    words = f"{len(sheet)} points of the maker's sheet" if len(sheet) > 1 else "a single factory figure"
    return MouldLaw(
        axis,
        centre,
        _reach(casting, axis, mix),
        _prior(level, math.hypot(tolerance, bend), slope, u_slope),
        (),
        (),
        f"{words}, no casting of your own",
        "published",
        tuple(
            Evidence(float(x), percent(float(y)), 0.0, "sheet", "") for x, y in zip(mix, grown, strict=True)
        ),
        True,
    )


def _from_ledger(casting: Casting, axis: Axis, mould: Row) -> MouldLaw:
    entry = reference_row("investment", mould.route).scale
    wet = axis == "water_powder"
    centre = value("investment.gypsum_bonded.water_powder_ml_g").value if wet else 100.0
    slope, u_slope = _assumed_slope(axis)
    level, u = logarithm(entry.mean), entry.u / (1.0 + entry.mean / 100.0)
    bars = np.array([getattr(bar, axis) for bar in casting.bars], dtype=float)
    return MouldLaw(
        axis,
        centre,
        _reach(casting, axis, np.append(bars, centre)),
        _prior(level, u, slope, u_slope),
        (),
        (),
        "a single figure of another product, no sheet and no casting of your own",
        entry.basis,
        (),
        True,
    )


def _assumed_slope(axis: Axis) -> tuple[float, float]:
    """Change for one of the axis, with its uncertainty, when neither sheet nor bars tell."""
    wet = axis == "water_powder"
    name, step = ("gypsum_bonded.more_water", 0.1) if wet else ("phosphate_bonded.more_liquid", 10.0)
    found = value(f"investment.{name}_percent")
    return found.value / step, (found.uncertainty or 0.0) / step


def _reach(casting: Casting, axis: Axis, mix: Float) -> tuple[float, float]:
    """Between the thinnest and the richest mix that sheet or bars speak of, and a little beyond."""
    seen = np.append(mix, [getattr(bar, axis) for bar in casting.bars])
    low, high = float(seen.min()), float(seen.max())
    if axis == "water_powder":
        room = value("investment.gypsum_bonded.water_powder_reach_ml_g").value if low == high else 0.0
        more = room + (high - low) * value("recipe.reach_beyond_percent").value / 100.0
        return max(low - more, LEAST_WATER), high + more
    if low == high:
        return 0.0, 100.0
    more = (high - low) * value("recipe.reach_beyond_percent").value / 100.0
    return max(low - more, 0.0), min(high + more, 100.0)


def _with_reading(casting: Casting, law: MouldLaw, mould: Row) -> MouldLaw:
    """An expansion stated as measured takes the place of the level, at the mix the case states."""
    if mould.scale.basis != "measured here":
        return law
    mix = getattr(casting, law.axis)
    where = law.centre if mix is None else mix
    u = max(mould.scale.u / (1.0 + mould.scale.mean / 100.0), 1e-4)
    mean, ratio = law.belief.mean.copy(), law.belief.ratio.copy()
    mean[0], ratio[0, 0] = logarithm(mould.scale.mean), (u / law.belief.scatter) ** 2
    shown = Evidence(where, mould.scale.mean, mould.scale.u, "reading", "")
    return replace(
        law,
        centre=where,
        belief=replace(law.belief, mean=mean, ratio=ratio),
        label=f"your own reading of this mould, slope from {_slope_words(casting, law.axis)}",
        basis="measured here",
        evidence=(*law.evidence, shown),
        placed=mix is not None,
        read_at=where,
    )


def _slope_words(casting: Casting, axis: Axis) -> str:
    mixes = {getattr(point, axis) for point in casting.sheet}
    return "the maker's sheet" if len(mixes) > 1 else "an assumption"


def _with_bars(casting: Casting, law: MouldLaw, others: Sequence[Row]) -> MouldLaw:
    """Add the alloy (and the pattern) to the prior, a column for each lot, and the readings."""
    bars = casting.bars
    lots = tuple(dict.fromkeys(_lot(bar) for bar in bars))
    shift = sum(logarithm(row.scale.mean) for row in others)
    variance = sum((row.scale.u / (1.0 + row.scale.mean / 100.0)) ** 2 for row in others)
    prior = _with_lots(law.belief, len(lots), shift, variance)
    widened = replace(law, belief=prior, lots=lots, read_at=None)
    design = np.stack([widened.row(getattr(bar, law.axis), _lot(bar)) for bar in bars])
    readings = np.array([100.0 * math.log(bar.after_mm / bar.before_mm) for bar in bars])
    u = np.array([_u_change(bar) for bar in bars])
    belief = update(prior, design, readings, 1.0 + (u / prior.scatter) ** 2)
    counted = f"{len(bars)} test casting{'s' if len(bars) > 1 else ''}"
    counted += f" of {len(lots)} lots" if len(lots) > 1 else f", lot {lots[0]}"
    under = "the maker's sheet" if casting.sheet else "assumptions"
    shown = tuple(
        Evidence(getattr(bar, law.axis), percent(float(y)), float(ui), "bar", _lot(bar))
        for bar, y, ui in zip(bars, readings, u, strict=True)
    )
    return replace(
        widened,
        belief=belief,
        label=f"{counted} of your own, with {under} behind them",
        basis="measured here",
        evidence=tuple(_moved(point, shift) for point in law.evidence) + shown,
    )


def _lot(bar: Bar) -> str:
    return bar.lot or NO_LOT


def _with_lots(belief: Belief, count: int, shift: float, variance: float) -> Belief:
    """The level moved, and room for one effect a lot before that of the lot never seen."""
    mean = np.concatenate([belief.mean[:2], np.zeros(count + 1)])
    mean[0] += shift
    spread = np.full(count + 1, belief.ratio[2, 2])
    ratio = np.diag(np.concatenate([np.zeros(2), spread]))
    ratio[:2, :2] = belief.ratio[:2, :2]
    ratio[0, 0] += variance / belief.scatter**2
    return replace(belief, mean=mean, ratio=ratio)


def _moved(point: Evidence, shift: float) -> Evidence:
    """A point of the mould alone, as it stands among castings: with the shrinkage of the alloy."""
    return replace(point, change_percent=percent(logarithm(point.change_percent) + shift))


def _u_change(bar: Bar) -> float:
    """Standard uncertainty of a measured change, in 100 ln: both lengths with the same instrument."""
    return 100.0 * bar.u_mm * math.hypot(1.0 / bar.before_mm, 1.0 / bar.after_mm)
