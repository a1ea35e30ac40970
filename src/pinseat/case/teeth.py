"""Tooth numbers: FDI two-digit (ISO 3950), Universal, and places along the arch."""

from __future__ import annotations

from typing import Literal

from pinseat.errors import CaseError

Notation = Literal["FDI", "Universal"]

FDI = frozenset(10 * quadrant + place for quadrant in (1, 2, 3, 4) for place in range(1, 9))
"""The 32 permanent teeth (ISO 3950): quadrant 1 to 4 from the patient's upper right, place 1 to 8 from the
midline."""
DECIDUOUS = frozenset(10 * quadrant + place for quadrant in (5, 6, 7, 8) for place in range(1, 6))
"""The 20 deciduous teeth (ISO 3950): quadrant 5 to 8, place 1 to 5."""
UNIVERSAL = frozenset(range(1, 33))
"""Universal numbers of the permanent teeth."""

_QUADRANTS = {1: "upper right", 2: "upper left", 3: "lower left", 4: "lower right"}
_PLACES = (
    "central incisor",
    "lateral incisor",
    "canine",
    "first premolar",
    "second premolar",
    "first molar",
    "second molar",
    "third molar",
)


def check_tooth(number: int, notation: Notation = "FDI") -> int:
    """Refuse a number that names no permanent tooth.

    Parameters
    ----------
    number : int
    notation : {"FDI", "Universal"}

    Returns
    -------
    int
        The same number.

    Raises
    ------
    CaseError
        With the reason for a deciduous tooth, and the other notation's tooth where there is one.
    """
    if number in (FDI if notation == "FDI" else UNIVERSAL):
        return number
    if number in DECIDUOUS:
        raise CaseError(
            "this is a deciduous tooth",
            value=str(number),
            do="state permanent teeth only: a milk tooth has a large pulp and will be shed",
        )
    if notation == "FDI":
        do = ""
        if number in UNIVERSAL:
            there = from_universal(number)
            do = f"in Universal numbers it would be the {tooth_in_words(there)} (FDI {there})"
        limit = "11 to 18, 21 to 28, 31 to 38 or 41 to 48"
        raise CaseError("this is no FDI tooth number", value=str(number), limit=limit, do=do)
    do = f"in FDI numbers it would be the {tooth_in_words(number)}" if number in FDI else ""
    raise CaseError("this is no Universal tooth number", value=str(number), limit="1 to 32", do=do)


def from_universal(number: int) -> int:
    """FDI number of a Universal number.

    Universal counts 1 to 16 along the upper arch from the patient's right third molar to the left one, then
    17 to 32 along the lower arch from left to right.

    Parameters
    ----------
    number : int
        1 to 32.

    Returns
    -------
    int

    Raises
    ------
    CaseError
        When there is no such tooth.

    Examples
    --------
    >>> [from_universal(n) for n in (1, 8, 9, 16, 17, 24, 25, 32)]
    [18, 11, 21, 28, 38, 31, 41, 48]
    """
    check_tooth(number, "Universal")
    quadrant, step = divmod(number - 1, 8)
    return 10 * (quadrant + 1) + (8 - step if quadrant in (0, 2) else step + 1)


def to_universal(tooth: int) -> int:
    """Universal number of an FDI number.

    Parameters
    ----------
    tooth : int
        FDI.

    Returns
    -------
    int
        1 to 32.

    Raises
    ------
    CaseError
        When there is no such permanent tooth.

    Examples
    --------
    >>> [to_universal(t) for t in (18, 11, 21, 28, 38, 31, 41, 48)]
    [1, 8, 9, 16, 17, 24, 25, 32]
    """
    quadrant, place = divmod(check_tooth(tooth), 10)
    return 8 * (quadrant - 1) + (9 - place if quadrant in (1, 3) else place)


def tooth_in_words(tooth: int) -> str:
    """A tooth's name.

    Parameters
    ----------
    tooth : int
        FDI.

    Examples
    --------
    >>> tooth_in_words(11)
    'upper right central incisor'
    """
    quadrant, place = divmod(check_tooth(tooth), 10)
    return f"{_QUADRANTS[quadrant]} {_PLACES[place - 1]}"


def arch(tooth: int) -> Literal["upper", "lower"]:
    """The arch an FDI tooth stands in.

    Examples
    --------
    >>> arch(23), arch(41)
    ('upper', 'lower')
    """
    return "upper" if check_tooth(tooth) < 30 else "lower"


def side(tooth: int) -> Literal["right", "left"]:
    """The patient's side on which an FDI tooth stands.

    Examples
    --------
    >>> side(41), side(31)
    ('right', 'left')
    """
    return "right" if check_tooth(tooth) // 10 in (1, 4) else "left"


def arch_position(tooth: int) -> int:
    """Place along the arch, from -8 (the patient's right third molar) to 8 (the left one); there is no 0.

    Sorting the teeth of one arch by it puts them in the order in which they stand.

    Examples
    --------
    >>> sorted([22, 11, 13, 21], key=arch_position)
    [13, 11, 21, 22]
    """
    place = check_tooth(tooth) % 10
    return -place if side(tooth) == "right" else place


def neighbours(tooth: int) -> tuple[int, ...]:
    """The teeth beside an FDI tooth in its arch: the one towards the patient's right first.

    Examples
    --------
    >>> neighbours(11), neighbours(28)
    ((12, 21), (27,))
    """
    at = arch_position(tooth)
    row = sorted((t for t in FDI if arch(t) == arch(tooth)), key=arch_position)
    return tuple(t for t in row if abs(row.index(t) - row.index(tooth)) == 1 and arch_position(t) != at)
