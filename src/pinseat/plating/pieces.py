"""What is plated when no scan shows it: each piece as a cup with an outline, a depth and an area."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from pinseat.case.model import Case
from pinseat.case.plating import Piece as StatedPiece
from pinseat.case.plating import Preparation
from pinseat.case.plating_checks import piece_name
from pinseat.case.teeth import arch, arch_position
from pinseat.reference import value

Float = NDArray[np.float64]
Form = Literal["cup", "saddle"]
CORNERS = 32
"""Corners of the outline of a round or oval cup."""


@dataclass(frozen=True, eq=False)
class Piece:
    """One thing that is plated.

    Attributes
    ----------
    name : str
    tooth : int or None
    form : {"cup", "saddle"}
    area_mm2, u_area_mm2 : float
        Metallised area inside the margin, and its standard uncertainty.
    outline_mm : (n, 2) array
        Mouth of the idealised cup, counter-clockwise about its own centre.
    depth_mm : float
        Its depth; floor and walls together have the area.
    basis : str
        How the size was found.
    """

    name: str
    tooth: int | None
    form: Form
    area_mm2: float
    u_area_mm2: float
    outline_mm: Float
    depth_mm: float
    basis: str


def pieces_of(case: Case) -> tuple[Piece, ...]:
    """Every piece of a case, by what is stated, or by the abutments and the ridges between them.

    Parameters
    ----------
    case : Case

    Returns
    -------
    tuple of Piece
        In the order stated.
    """
    if case.plating.pieces:
        return tuple(_piece(p, piece_name(p, i), case) for i, p in enumerate(case.plating.pieces))
    cups = [_by_tooth(str(a.tooth), a.tooth, "pin ledge") for a in case.abutments]
    return (*cups, *(_ridge(run) for run in runs(case.missing)))


def runs(missing: Sequence[int]) -> list[tuple[int, ...]]:
    """Missing teeth that stand side by side, together: one ridge each.

    Examples
    --------
    >>> runs((12, 11, 21, 24))
    [(12, 11, 21), (24,)]
    """
    found: list[list[int]] = []
    for tooth in sorted(missing, key=lambda t: (arch(t), arch_position(t))):
        if found and arch(found[-1][-1]) == arch(tooth) and _place(tooth) - _place(found[-1][-1]) == 1:
            found[-1].append(tooth)
        else:
            found.append([tooth])
    return [tuple(run) for run in found]


def _place(tooth: int) -> int:
    """Place along the arch without a gap at the middle line."""
    position = arch_position(tooth)
    return position if position < 0 else position - 1


def _piece(stated: StatedPiece, name: str, case: Case) -> Piece:
    if stated.outline_mm:
        return _by_ruler(stated, name)
    form: Form = "saddle" if stated.preparation == "saddle" else "cup"
    if stated.area_mm2 is not None:
        outline, depth = _cup_with_area(stated.area_mm2, form, stated.depth_mm)
        u = 0.05 * stated.area_mm2
        return Piece(name, stated.tooth, form, stated.area_mm2, u, outline, depth, "area stated")
    assert stated.tooth is not None
    if form == "saddle":
        return _ridge((stated.tooth,), name)
    return _by_tooth(name, stated.tooth, stated.preparation or "pin ledge", stated.depth_mm)


def _by_ruler(stated: StatedPiece, name: str) -> Piece:
    corners = np.array(stated.outline_mm, np.float64)
    depth = stated.depth_mm or 0.0
    ruler = value("piece.ruler_mm").uncertainty or 0.0
    outline = _centred(corners)
    floor, around = area_of(outline), perimeter_of(outline)
    u = math.hypot(around * ruler / 2.0, around * ruler if depth else 0.0)
    form: Form = "saddle" if stated.preparation == "saddle" else "cup"
    return Piece(name, stated.tooth, form, floor + around * depth, u, outline, depth, "read with a ruler")


def _by_tooth(name: str, tooth: int, cut: Preparation, depth_mm: float | None = None) -> Piece:
    """A cup from the average crown and how it was cut."""
    wide, thick, high = (
        value(f"crown.{tooth}.{length}_mm").value for length in ("mesiodistal", "faciolingual", "length")
    )
    key = f"piece.{cut.replace(' ', '_').replace('-', '_')}"
    across = wide * value(f"{key}.{'length' if cut == 'inlay' else 'width'}_share").value
    if cut == "pin ledge":
        along = high * value(f"{key}.length_share").value
    else:
        along = thick * value(f"{key}.{'width' if cut == 'inlay' else 'length'}_share").value
    if cut in ("pin ledge", "inlay"):
        usual = value(f"{key}.depth_mm").value
    else:
        usual = high * value(f"{key}.depth_share").value
    depth = usual if depth_mm is None else depth_mm
    outline = oval(across, along)
    area = area_of(outline) + perimeter_of(outline) * depth
    u = area * (value("piece.area_spread_percent").uncertainty or 0.0) / 100.0
    return Piece(name, tooth, "cup", area, u, outline, depth, f"average crown, cut as {cut}")


def _ridge(run: tuple[int, ...], name: str = "") -> Piece:
    """The ridge under the pontics that replace a run of teeth."""
    across = sum(value(f"crown.{tooth}.mesiodistal_mm").value for tooth in run)
    breadth, depth = value("piece.saddle.breadth_mm").value, value("piece.saddle.depth_mm").value
    outline = oval(across, breadth)
    area = area_of(outline) + perimeter_of(outline) * depth
    u = area * (value("piece.area_spread_percent").uncertainty or 0.0) / 100.0
    called = f"ridge {run[0]}" if len(run) == 1 else f"ridge {run[0]} to {run[-1]}"
    return Piece(
        name or called, run[0], "saddle", area, u, outline, depth, "average width of the missing teeth"
    )


def _cup_with_area(area_mm2: float, form: Form, depth_mm: float | None) -> tuple[Float, float]:
    """A round cup whose floor and wall together have an area: its outline and depth."""
    if form == "saddle" and depth_mm is None:
        depth_mm = value("piece.saddle.depth_mm").value
    if depth_mm is None:
        slender = value("piece.length_to_width_ratio").value
        diameter = math.sqrt(area_mm2 / (math.pi * (0.25 + slender)))
        depth = slender * diameter
    else:
        depth = depth_mm
        diameter = 2.0 * (math.sqrt(depth**2 + area_mm2 / math.pi) - depth)
    outline = oval(diameter, diameter)
    wanted = area_mm2
    scale = scale_to(outline, depth, wanted)
    return outline * scale, depth


def scale_to(outline: Float, depth_mm: float, area_mm2: float) -> float:
    """Factor on an outline so that floor and wall have an area: ``s^2 floor + s around depth = area``."""
    floor, wall = area_of(outline), perimeter_of(outline) * depth_mm
    return (math.sqrt(wall**2 + 4.0 * floor * area_mm2) - wall) / (2.0 * floor)


def oval(across_mm: float, along_mm: float) -> Float:
    """Corners of an ellipse, counter-clockwise, shape (n, 2)."""
    turn = 2.0 * np.pi * np.arange(CORNERS) / CORNERS
    return np.column_stack([0.5 * across_mm * np.cos(turn), 0.5 * along_mm * np.sin(turn)])


def area_of(outline: Float) -> float:
    """Area inside a closed outline, positive when its corners run counter-clockwise.

    Examples
    --------
    >>> area_of(np.array([[0.0, 0.0], [4.0, 0.0], [4.0, 3.0], [0.0, 3.0]]))
    12.0
    """
    x, y = outline.T
    return float(0.5 * np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))


def perimeter_of(outline: Float) -> float:
    """Length of a closed outline."""
    return float(np.linalg.norm(np.roll(outline, -1, axis=0) - outline, axis=1).sum())


def _centred(corners: Float) -> Float:
    outline = corners - corners.mean(axis=0)
    return outline if area_of(outline) > 0.0 else outline[::-1].copy()
