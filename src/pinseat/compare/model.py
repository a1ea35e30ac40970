"""What compare takes and what it gives."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from pinseat.ledger.findings import Finding
from pinseat.ledger.pins import PinField
from pinseat.mesh.model import Mesh

Float = NDArray[np.float64]
Copy = Literal["impression", "die", "pattern", "investment", "alloy"]
Error = Literal["scale", "position", "tilt", "depth"]


@dataclass(frozen=True, eq=False)
class Side:
    """One of the two scans.

    Attributes
    ----------
    name : str
        Of the file or case, in words.
    mesh : Mesh
        Its working copy, mm.
    pins : PinField or None
        As surveyed on it, in its own coordinates; None when none were.
    """

    name: str
    mesh: Mesh
    pins: PinField | None = None


@dataclass(frozen=True, eq=False)
class Laid:
    """How the second scan lies on the first; see :class:`pinseat.mesh.registration.Registration`.

    Attributes
    ----------
    rotation, shift : (3, 3) and (3,) arrays
        From the second scan's coordinates to the first's, mm.
    u_shift_um : float
        Standard uncertainty of the pose in the middle of the shared surface, all directions together.
    u_worst_um : float
        The same at its least certain place.
    u_turn_deg : float
    spread_um : float
        Robust standard deviation of the distances taken as unchanged.
    shared_share, agreeing_share : float
        Share of the second scan that lies over the first, and share of that within 0.1 mm.
    negative : bool
        The second scan is a negative (an impression) and was turned over.
    """

    rotation: Float
    shift: Float
    u_shift_um: float
    u_worst_um: float
    u_turn_deg: float
    spread_um: float
    shared_share: float
    agreeing_share: float
    negative: bool


@dataclass(frozen=True)
class ScaleChange:
    """Linear change from the first scan to the second; positive = the second is larger.

    Attributes
    ----------
    basis : str
        ``"shared surface"`` or ``"pins"``.
    change_percent, u_percent : float
    """

    basis: Literal["shared surface", "pins"]
    change_percent: float
    u_percent: float


@dataclass(frozen=True)
class Span:
    """Distance between two abutments, by the surface of each tooth laid by itself.

    Attributes
    ----------
    teeth : (int, int)
        FDI.
    first_mm, second_mm : float
        Between the middles of their pins' feet, on either scan.
    change_um, u_um : float
        Second less first.
    by_scale_um : float
        What the scale of the shared surface alone would change.
    """

    teeth: tuple[int, int]
    first_mm: float
    second_mm: float
    change_um: float
    u_um: float
    by_scale_um: float


@dataclass(frozen=True, eq=False)
class PinChange:
    """What happened to one pin against its own tooth.

    Attributes
    ----------
    name : str
        As on the first scan: ``11-2``.
    shift_um, u_shift_um : float
        Across the axis at the foot.
    tilt_deg, u_tilt_deg : float
    depth_um, u_depth_um : float or None
        Positive: the pin stands farther out of the tooth. On a negative: farther out of the impression than
        its length leaves; None when its length is not known.
    diameter_um, u_diameter_um : float
        Positive: thicker.
    change : (6,) array
        Shift (u, v in mm) and tilt (u, v in rad) in the frame of the first scan's axis, depth (mm),
        diameter (mm).
    covariance : (6, 6) array
    whole : (4,) array
        Shift and tilt (u, v) in the common pose, the tooth's own motion with them.
    certain : tuple of str
        What changed beyond doubt: ``moved``, ``bent``, ``farther out``, ``farther in``, ``thicker``,
        ``thinner``.
    """

    name: str
    shift_um: float
    u_shift_um: float
    tilt_deg: float
    u_tilt_deg: float
    depth_um: float | None
    u_depth_um: float | None
    diameter_um: float
    u_diameter_um: float
    change: Float
    covariance: Float
    whole: Float
    certain: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class ChangedPlace:
    """A patch of surface beyond the limit.

    Attributes
    ----------
    place : (3,) array, mm
        Its farthest point, in the first scan's coordinates.
    area_mm2 : float
    mean_um, farthest_um : float
        Positive: the second scan stands out beyond the first.
    at : str
        The pin it lies at; empty elsewhere.
    """

    place: Float
    area_mm2: float
    mean_um: float
    farthest_um: float
    at: str


@dataclass(frozen=True)
class MeasuredRow:
    """An entry of the fit ledger as measured here, to paste into ``case.toml``.

    Attributes
    ----------
    copy, error : str
    mean, u : float
        % for scale, um for position and depth, deg for tilt.
    how : str
    """

    copy: Copy
    error: Error
    mean: float
    u: float
    how: str


@dataclass(frozen=True, eq=False)
class Deviation:
    """The map: one number a vertex of the second scan; not stored with the result.

    Attributes
    ----------
    mesh : Mesh
        The second scan in the first's coordinates, wound as the first.
    distance_mm : (n,) array
        Signed distance from the first scan, positive beyond it; not a number where it has no counterpart.
    calm_mm : (n,) array
        The same, averaged over two rings of neighbours.
    """

    mesh: Mesh
    distance_mm: Float
    calm_mm: Float


@dataclass(frozen=True, eq=False)
class CompareResult:
    """Everything compare found.

    Attributes
    ----------
    first, second : str
        Names of the two scans.
    laid : Laid
    scales : tuple of ScaleChange
    spans : tuple of Span
    pins : tuple of PinChange
    unpaired : tuple of str
        Pins that stand on one scan only, in words.
    places : tuple of ChangedPlace
        The largest first.
    limit_um : float
        Of the map's colours and of the places.
    within_share : float
        Share of the compared surface within the limit.
    rows : tuple of MeasuredRow
    findings : tuple of Finding
    files : tuple of str
    """

    first: str
    second: str
    laid: Laid
    scales: tuple[ScaleChange, ...]
    spans: tuple[Span, ...]
    pins: tuple[PinChange, ...]
    unpaired: tuple[str, ...]
    places: tuple[ChangedPlace, ...]
    limit_um: float
    within_share: float
    rows: tuple[MeasuredRow, ...]
    findings: tuple[Finding, ...]
    files: tuple[str, ...] = ()
