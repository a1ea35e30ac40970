"""What survey gives."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pinseat.ledger.faces import Face, MarginLine
from pinseat.ledger.findings import Finding
from pinseat.ledger.pins import PinField

Float = NDArray[np.float64]


@dataclass(frozen=True)
class PinFit:
    """How well one pin's cylinder was seen.

    Attributes
    ----------
    name : str
        ``11-2``.
    residual_um : float
        Robust standard deviation of wall points about the fitted cylinder.
    coverage : float
        Fraction (0 to 1) of the wall, around and along, that holds points.
    points : int
        Wall points used.
    edge_mm : float
        Median edge length around the pin.
    u_tilt_deg : float
        Standard uncertainty of the axis, larger of the two directions.
    stated : bool
        True when a person added or moved the pin in ``case.toml``.
    """

    name: str
    residual_um: float
    coverage: float
    points: int
    edge_mm: float
    u_tilt_deg: float
    stated: bool


@dataclass(frozen=True, eq=False)
class Rejected:
    """Something that stood up from the surface but is not a pin.

    Attributes
    ----------
    place : (3,) array, mm
    reason : str
        In trade words, with the number that decided.
    """

    place: Float
    reason: str


@dataclass(frozen=True, eq=False)
class DrawWindow:
    """The draws that serve every pin, and every wall, groove and neighbour that the case picks.

    Attributes
    ----------
    centre : (3,) array
        Best draw: unit vector off the teeth, the centre of the window.
    size_deg : float
        How far the draw may lean from the centre, in its worst direction, before something binds;
        negative when no draw serves all: what each that bounds it lacks.
    u_size_deg : float
    outline_deg : (k, 2) array
        Border of the window as leans two ways from the centre; empty when there is no window.
    limited_by : tuple of str
        What bounds it: pins (``11-2``), walls, grooves, neighbours; what matters most first.
    allowance_deg : dict of str to float
        For each pin the angle its hole allows: atan(clearance / engaged length).
    short_deg : float
        How many degrees it is short, if one surface gave way alone; 0 where there is a window.
    borders_deg : dict of str to (k, 2) array
        The stretches of the border that belong to walls, grooves and neighbours, as leans; stretches of
        one surface are parted by a row that is not a number.
    """

    centre: Float
    size_deg: float
    u_size_deg: float
    outline_deg: Float
    limited_by: tuple[str, ...]
    allowance_deg: dict[str, float]
    short_deg: float
    borders_deg: dict[str, Float]


@dataclass(frozen=True)
class RegionNote:
    """A surface that the case picks, as it was grown.

    Attributes
    ----------
    name : str
        ``wall 2 of tooth 11``.
    kind : str
    tooth : int
    area_mm2 : float
    doubt : str
        Why it was not used; empty when it was.
    """

    name: str
    kind: str
    tooth: int
    area_mm2: float
    doubt: str


@dataclass(frozen=True, eq=False)
class SurveyResult:
    """Everything survey found; the same whether it came from a scan or from callipers.

    Attributes
    ----------
    field : PinField
    fits : tuple of PinFit
    rejected : tuple of Rejected
    window : DrawWindow
    regions : tuple of RegionNote
    faces : tuple of Face
    blind : tuple of str
        What the readings cannot see, in words.
    findings : tuple of Finding
    margins : tuple of MarginLine
        As given or traced on the scan.
    """

    field: PinField
    fits: tuple[PinFit, ...]
    rejected: tuple[Rejected, ...]
    window: DrawWindow
    regions: tuple[RegionNote, ...]
    faces: tuple[Face, ...]
    blind: tuple[str, ...]
    findings: tuple[Finding, ...]
    margins: tuple[MarginLine, ...] = ()
