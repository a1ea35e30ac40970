"""Units at the edge: millimetres and radians inside, whatever a person types outside."""

from __future__ import annotations

import math

from pinseat.errors import UnitError

LENGTH_IN_MM = {"um": 1e-3, "mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4}
"""Length units accepted for scans and readings, as millimetres (exact by definition)."""


def length_in_mm(value: float, unit: str) -> float:
    """Convert a length to millimetres.

    Parameters
    ----------
    value : float
        The length in `unit`.
    unit : str
        One of ``um``, ``mm``, ``cm``, ``m``, ``in``.

    Returns
    -------
    float
        The length in mm.

    Raises
    ------
    UnitError
        If the unit is not known.

    Examples
    --------
    >>> length_in_mm(0.024, "in")
    0.6096
    """
    try:
        return value * LENGTH_IN_MM[unit]
    except KeyError:
        known = ", ".join(LENGTH_IN_MM)
        raise UnitError("this length unit is not known", value=repr(unit), limit=known) from None


def reading(text: str | float) -> float:
    """Read a typed number; a decimal comma is as good as a point.

    Parameters
    ----------
    text : str or float
        For example ``"18,42"``, ``"18.42"`` or ``18.42``.

    Returns
    -------
    float

    Raises
    ------
    UnitError
        If it is not one finite number. ``"1,234.5"`` is refused: a thousands separator is ambiguous.

    Examples
    --------
    >>> reading("18,42")
    18.42
    """
    if isinstance(text, str):
        plain = text.strip()
        if "," in plain and ("." in plain or plain.count(",") > 1):
            raise UnitError(
                "this number mixes commas and points",
                value=repr(text),
                do="write it without a thousands mark",
            )
        try:
            number = float(plain.replace(",", ".").replace("_", " "))  # Python would read 1_8 as 18
        except ValueError:
            raise UnitError(
                "this is not a number", value=repr(text), limit="a number such as 18,42"
            ) from None
    else:
        number = float(text)
    if not math.isfinite(number):
        raise UnitError("a reading must be a finite number", value=repr(text))
    return number
