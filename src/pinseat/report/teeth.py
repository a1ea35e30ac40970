"""Teeth as they are written in the report: FDI first, Universal in brackets."""

from __future__ import annotations

_CHILD = "ABCDEFGHIJKLMNOPQRST"


def universal(tooth: int) -> str:
    """The Universal name of an FDI tooth.

    Permanent teeth run 1 to 32 from the upper right third molar clockwise round to the lower right one;
    deciduous teeth A to T likewise (ISO 3950 for the FDI side).

    Parameters
    ----------
    tooth : int
        FDI two-digit number.

    Examples
    --------
    >>> universal(11), universal(22), universal(38), universal(41), universal(55)
    ('8', '10', '17', '25', 'A')
    """
    quadrant, place = divmod(tooth, 10)
    size = 8 if quadrant <= 4 else 5
    turn = (quadrant - 1) % 4
    count = turn * size + (size + 1 - place if turn in (0, 2) else place)
    return str(count) if quadrant <= 4 else _CHILD[count - 1]


def both(tooth: int) -> str:
    """FDI with Universal in brackets.

    Examples
    --------
    >>> both(11)
    '11 (8)'
    """
    return f"{tooth} ({universal(tooth)})"


def place_along_arch(tooth: int) -> int:
    """Place from the patient's right (negative) over the midline to the left (positive).

    Examples
    --------
    >>> [place_along_arch(tooth) for tooth in (13, 11, 21, 44, 33)]
    [-3, -1, 1, -4, 3]
    """
    quadrant, place = divmod(tooth, 10)
    return -place if quadrant in (1, 4, 5, 8) else place
