"""What the tray gives."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pinseat.ledger.findings import Finding

Float = NDArray[np.float64]


@dataclass(frozen=True)
class Asked:
    """What was asked of the tray, as stated or by default; lengths in mm.

    Attributes
    ----------
    relief_mm, pin_relief_mm : float
        Room over the teeth, and round everything that a pin can reach.
    pin_gap_mm : float
        Least clearance of a pin.
    pin_gap_source : str
        Who wants it: the case, or the reference value.
    wobble_deg, wobble_mm : float
    wall_mm, past_gum_mm, stop_diameter_mm, grid_mm : float
    waste_share : float
    """

    relief_mm: float
    pin_relief_mm: float
    pin_gap_mm: float
    pin_gap_source: str
    wobble_deg: float
    wobble_mm: float
    wall_mm: float
    past_gum_mm: float
    stop_diameter_mm: float
    grid_mm: float
    waste_share: float


@dataclass(frozen=True, eq=False)
class StopPlace:
    """A stop.

    Attributes
    ----------
    at : (3,) array, mm
        Where it touches, in the scan's coordinates.
    kind : str
        ``cusp``, ``ridge`` or ``picked``.
    gap_mm : float or None
        Between the finished stop and the cast; None when the tray was not made.
    """

    at: Float
    kind: str
    gap_mm: float | None


@dataclass(frozen=True)
class PinRoom:
    """The room of one pin in the finished tray.

    Attributes
    ----------
    name : str
        ``11-2``.
    sweep_mm : float
        How far its free end strays under the wobble.
    rest_mm : float
        Least distance from the pin as it stands to the tray.
    swept_mm : float
        Least distance to the tray from everything the pin reaches on the way, with wobble.
    u_mm : float
        Standard uncertainty of both: of the pin's place, direction, diameter and length.
    """

    name: str
    sweep_mm: float
    rest_mm: float
    swept_mm: float
    u_mm: float


@dataclass(frozen=True)
class Gap:
    """Gap between the finished tray and the blocked-out cast, in one zone, against what was asked.

    Attributes
    ----------
    zone : str
        ``teeth`` or ``pins``.
    asked_mm : float
    percentiles_mm : tuple of float
        1st, 50th and 99th.
    points : int
        Corners of the finished mesh that were measured.
    """

    zone: str
    asked_mm: float
    percentiles_mm: tuple[float, float, float]
    points: int


@dataclass(frozen=True)
class Soundness:
    """What was counted on the finished mesh.

    Attributes
    ----------
    triangles : int
    open_edges, wrong_edges : int
        Edges with one triangle, and edges with more than two or wound against each other.
    twins : int
        Corners at the place of another one: whoever reads the file would join them.
    parts, genus, genus_designed : int
    volume_mm3 : float
        Positive when it is wound outward.
    collisions : int
        Lines along the draw that meet both cast and tray the wrong way round.
    thinnest_mm : float
        Thinnest wall, away from the rounded border.
    second_opinion : str
        What the boolean library says of the file as written.
    """

    triangles: int
    open_edges: int
    wrong_edges: int
    twins: int
    parts: int
    genus: int
    genus_designed: int
    volume_mm3: float
    collisions: int
    thinnest_mm: float
    second_opinion: str


@dataclass(frozen=True)
class Doses:
    """What to mix and weigh.

    Attributes
    ----------
    tray_cm3, tray_g : float
        Of the body of the tray.
    light_cm3, heavy_cm3 : float
        Rubber round the prepared teeth, and in the rest of the gap; without waste.
    waste_share : float
    adhesive_cm2 : float
        Inside, and outside for as far as adhesive is painted over the border.
    """

    tray_cm3: float
    tray_g: float
    light_cm3: float
    heavy_cm3: float
    waste_share: float
    adhesive_cm2: float


@dataclass(frozen=True)
class Pile:
    """Sheets over one pin, laid by hand.

    Attributes
    ----------
    name : str
        ``11-2``.
    projection_mm, u_projection_mm : float
        How far the pin stands out of the tooth along the draw.
    sheets, sheets_needed : int
        Laid, and needed for the gap wanted.
    height_mm : float
        Of the sheets laid.
    gap_mm : float
        From the pin's end to the tray over the sheets; negative is a collision.
    side_mm : float
        Half-width that the sheets must have beside the axis: radius, lateral sweep under the wobble, and gap.
    sweep_mm : float
        The lateral sweep alone.
    """

    name: str
    projection_mm: float
    u_projection_mm: float
    sheets: int
    sheets_needed: int
    height_mm: float
    gap_mm: float
    side_mm: float
    sweep_mm: float


@dataclass(frozen=True, eq=False)
class HandPlan:
    """The tray made by hand over sheets of relief.

    Attributes
    ----------
    sheet_mm, u_sheet_mm : float
        Thickness of a sheet.
    stock : str
        What it is.
    sheets : int
        Over the teeth.
    piles : tuple of Pile
        One a pin.
    outline : tuple of (k, 2) array, mm
        Closed lines to cut the general sheets along, seen along the draw with the teeth towards the eye.
    patches : tuple of (k, 2) array, mm
        Closed lines to cut the sheets over the pins along.
    patch_sheets : tuple of int
        Sheets in all, of each patch.
    openings : tuple of (k, 2) array, mm
        Holes for the stops, through every sheet.
    feet : (n, 2) array, mm
        Feet of the pins, in order.
    axes : (2, 3) array
        Directions of the plan's x and y in the scan's coordinates.
    filler_cm3 : float or None
        Wax or clay to fill undercuts with before the sheets go on; None without a scan.
    sheet_area_cm2 : float
        Of all the sheets together.
    """

    sheet_mm: float
    u_sheet_mm: float
    stock: str
    sheets: int
    piles: tuple[Pile, ...]
    outline: tuple[Float, ...]
    patches: tuple[Float, ...]
    patch_sheets: tuple[int, ...]
    openings: tuple[Float, ...]
    feet: Float
    axes: Float
    filler_cm3: float | None
    sheet_area_cm2: float


@dataclass(frozen=True, eq=False)
class TrayResult:
    """The tray of a case.

    Attributes
    ----------
    made : bool
        Whether there is a file to print.
    why_not : str
        In words, when there is none.
    asked : Asked
    draw : (3,) array
        Unit vector that the tray comes off along.
    border : str
        Where the border comes from.
    handle : str
        Where it stands, in words.
    stops : tuple of StopPlace
    pins : tuple of PinRoom
    gaps : tuple of Gap
    sound : Soundness or None
    doses : Doses or None
    deepest_block_out_mm, block_out_cm3 : float or None
        Deepest undercut that was filled, across the draw, and the volume of the fill.
    hand : HandPlan
    files : tuple of str
        Inside the case folder.
    findings : tuple of Finding
    """

    made: bool
    why_not: str
    asked: Asked
    draw: Float
    border: str
    handle: str
    stops: tuple[StopPlace, ...]
    pins: tuple[PinRoom, ...]
    gaps: tuple[Gap, ...]
    sound: Soundness | None
    doses: Doses | None
    deepest_block_out_mm: float | None
    block_out_cm3: float | None
    hand: HandPlan
    files: tuple[str, ...]
    findings: tuple[Finding, ...]
