"""What unit a scan is likely to be in, from its size alone. Asked about, never applied."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pinseat.mesh.model import Mesh
from pinseat.units import LENGTH_IN_MM

SMALLEST_MM, LARGEST_MM = 12.0, 110.0
"""Longest side of what gets scanned for a bridge: from two neighbouring teeth to a whole arch on its base.

Basis: two lower incisors side by side are 10.5 mm wide (mean mesiodistal widths 5.0 and 5.5 mm: Wheeler and
Ash, from memory), and no scan ends at their edge; an adult arch is 50 to 70 mm across, on a trimmed base
about 100 mm at most (common practice, no source).
"""
_TRIMMED = 0.001
_IN_WORDS = {"um": "micrometres", "mm": "millimetres", "cm": "centimetres", "m": "metres", "in": "inches"}


@dataclass(frozen=True)
class UnitGuess:
    """A guess, its reason, and what to ask when there is doubt.

    Attributes
    ----------
    unit : str or None
        The one unit that makes the scan as large as teeth; None when several do, or none.
    reason : str
    question : str
        Empty only when the guess is mm: whatever else is likely is asked about.
    """

    unit: str | None
    reason: str
    question: str


def guess_unit(mesh: Mesh) -> UnitGuess:
    """Guess the unit of a scan from its longest side.

    A unit is likely when the longest side then lies between 12 and 110 mm; see :data:`SMALLEST_MM`. The
    outermost 0.1 % of the points are left out, so that a speck far away does not count.

    Parameters
    ----------
    mesh : Mesh
        In the file's own numbers; or in mm, to check a stated unit (then anything but ``mm`` is a doubt).

    Returns
    -------
    UnitGuess

    Examples
    --------
    >>> def wide(size):
    ...     return Mesh(size * np.eye(3), np.array([[0, 1, 2]], np.int32))
    >>> guess_unit(wide(58.0)).unit, guess_unit(wide(58.0)).question
    ('mm', '')
    >>> print(guess_unit(wide(0.06)).question)
    Is this scan in metres? It is 0.06 wide, which would be 60 mm. Say so with unit = "m" in the case.
    """
    low, high = np.quantile(mesh.vertices, [_TRIMMED, 1.0 - _TRIMMED], axis=0, method="nearest")
    size = float(f"{np.max(high - low):.3g}")
    likely = [name for name, mm in LENGTH_IN_MM.items() if SMALLEST_MM <= size * mm <= LARGEST_MM]
    shown = {name: f"{size * LENGTH_IN_MM[name]:.3g} mm" for name in LENGTH_IN_MM}
    span = f"{SMALLEST_MM:g} to {LARGEST_MM:g} mm"
    if likely == ["mm"]:
        return UnitGuess("mm", f"its longest side is {shown['mm']}, as of teeth ({span})", "")
    if not likely:
        reason = f"its longest side is {size:g}, which is not the size of teeth ({span}) in any unit"
        return UnitGuess(None, reason, f"What unit is this scan in? It is {size:g} wide. {_say('mm')}")
    options = " or ".join(_IN_WORDS[name] for name in likely)
    sizes = " or ".join(shown[name] for name in likely)
    reason = f"its longest side is {size:g}: {sizes} in {options}"
    question = f"Is this scan in {options}? It is {size:g} wide, which would be {sizes}. {_say(*likely)}"
    return UnitGuess(likely[0] if len(likely) == 1 else None, reason, question)


def _say(*units: str) -> str:
    return "Say so with " + " or ".join(f'unit = "{unit}"' for unit in units) + " in the case."
