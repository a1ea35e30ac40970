"""Numbers as a person reads them: rounded to their uncertainty, with a true minus sign and a unit."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence

from pinseat.seating.model import Chance

MINUS = "\u2212"
NOT_KNOWN = "not known"

Cell = tuple[str, str, str]
"""Invisible digits before, what is printed, invisible digits after: so that decimal points stand in line."""


def stopwatch(seconds: int) -> str:
    """A time as a stopwatch shows it.

    Examples
    --------
    >>> stopwatch(255)
    '4:15'
    """
    return f"{seconds // 60}:{seconds % 60:02d}"


def decimals(u: float) -> int:
    """How many decimals show two significant digits of an uncertainty (JCGM 100, 7.2.6).

    Parameters
    ----------
    u : float
        Standard uncertainty, positive and finite.

    Returns
    -------
    int
        Negative when tens or hundreds are rounded.

    Examples
    --------
    >>> decimals(0.0123), decimals(3.6), decimals(0.0996), decimals(1234.0)
    (3, 1, 2, -2)
    """
    places = 1 - math.floor(math.log10(u))
    return places - 1 if round(u, places) >= 10.0 ** (2 - places) else places


def fixed(value: float, places: int) -> str:
    """A number with a given count of decimals, a true minus sign and no negative zero.

    Examples
    --------
    >>> fixed(-3.14159, 2), fixed(-0.001, 1), fixed(1234.5, -2)
    ('−3.14', '0.0', '1200')
    """
    if not math.isfinite(value):
        return NOT_KNOWN
    rounded = round(value, places) + 0.0
    return f"{abs(rounded):.{max(places, 0)}f}" if rounded >= 0 else f"{MINUS}{-rounded:.{max(places, 0)}f}"


def pair(value: float, u: float | None, places: int = 2) -> tuple[str, str]:
    """A value and its standard uncertainty, the uncertainty to two significant digits.

    Parameters
    ----------
    value : float
    u : float or None
        None or 0: the value is shown with `places` decimals and the second text is empty.
    places : int
        Decimals when there is no uncertainty.

    Examples
    --------
    >>> pair(0.70345, 0.0123), pair(93.4, 12.3), pair(-2.0, None, 1)
    (('0.703', '0.012'), ('93', '12'), ('−2.0', ''))
    """
    if u is None or not math.isfinite(u) or u <= 0.0 or not math.isfinite(value):
        return fixed(value, places), ""
    shown = decimals(u)
    return fixed(value, shown), fixed(u, shown)


def with_u(value: float, u: float | None, unit: str, places: int = 2) -> str:
    """The same in one line: ``0.703 ± 0.012 mm``.

    Examples
    --------
    >>> with_u(0.70345, 0.0123, "mm"), with_u(-0.2, None, "deg", 1)
    ('0.703 ± 0.012 mm', '−0.2°')
    """
    shown, spread = pair(value, u, places)
    if shown == NOT_KNOWN:
        return NOT_KNOWN
    text = f"{shown} ± {spread}" if spread else shown
    return text + unit_mark(unit)


def unit_mark(unit: str) -> str:
    """A unit as it is printed after a number, with its space.

    Examples
    --------
    >>> unit_mark("um"), unit_mark("deg"), unit_mark(""), unit_mark("A/dm2")
    (' µm', '°', '', ' A/dm²')
    """
    marks = {"": "", "um": " µm", "deg": "°", "degC": " °C"}
    return marks.get(unit, _raised(f" {unit}"))


def typeset(text: str) -> str:
    """Units in words as they are printed, and each number on one line with its uncertainty and unit.

    Examples
    --------
    >>> typeset("leans 1.9 deg, 94 ± 3 um wide, 2 A/dm2").replace("\\u00a0", "_")
    'leans 1.9°, 94_±_3_µm wide, 2 A/dm²'
    """
    text = re.sub(r"(?<=\d) deg\b", "°", re.sub(r"(?<=\d) degC\b", " °C", text))
    text = _raised(re.sub(r"(?<=\d) u(?=(m|g/m3)\b)", " µ", text))
    return re.sub(r"(?<=\d) (?=(±|%|°C|(µm|mm)\b))|(?<=±) |(?<=[<>]) (?=\d)", "\u00a0", text)


def _raised(text: str) -> str:
    """Squares and cubes of lengths, after a number or below a stroke, with their exponents raised."""
    return re.sub(r"(^ |(?<=\d )|(?<=/))([cdm]?m)([23])\b", lambda m: m[1] + m[2] + "²³"[int(m[3]) - 2], text)


def column(texts: Sequence[str]) -> list[Cell]:
    """Give each number of a column the hidden digits that line its decimal point up with the others.

    Examples
    --------
    >>> column(["1.25", "−12", "0.5"])
    [('00', '1.25', ''), ('', '−12', '.00'), ('00', '0.5', '0')]
    """
    heads = [len(text.partition(".")[0]) for text in texts]
    tails = [len(text) - head for text, head in zip(texts, heads, strict=True)]
    widest, longest = max(heads, default=0), max(tails, default=0)
    point = "." + "0" * longest
    return [
        ("0" * (widest - head), text, point[tail:longest])
        for text, head, tail in zip(texts, heads, tails, strict=True)
    ]


def chance(of: Chance, trials: int) -> str:
    """A probability in per cent with the Monte Carlo standard error.

    When every bridge passed, or none did, counting gives no error; the 95 % bound 3 / trials is shown then.

    Examples
    --------
    >>> chance(Chance(0.9623, 0.0012), 20000), chance(Chance(1.0, 0.0), 20000)
    ('96.23 ± 0.12 %', '> 99.985 %')
    """
    bound = 300.0 / trials
    places = max(decimals(bound), 0)
    if of.probability >= 1.0:
        return f"> {fixed(100.0 - bound, places)} %"
    if of.probability <= 0.0:
        return f"< {fixed(bound, places)} %"
    return with_u(100.0 * of.probability, 100.0 * of.standard_error, "%")


def whole(count: int) -> str:
    """A count with thin spaces between thousands.

    Examples
    --------
    >>> whole(301224)
    '301\u202f224'
    """
    return f"{count:,}".replace(",", "\u202f")
