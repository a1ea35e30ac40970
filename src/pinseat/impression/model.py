"""What impression takes and gives."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from pinseat.case.impression import Stage
from pinseat.ledger.findings import Finding, Verdict
from pinseat.ledger.rows import Row

Float = NDArray[np.float64]
Sign = Literal["proud", "fine", "low", "not read"]


@dataclass(frozen=True, eq=False)
class Undercuts:
    """Undercut along the draw, as survey maps it, at points of the teeth.

    Attributes
    ----------
    points : (n, 3) array, mm
    outward : (n, 3) array
        Unit normals out of the teeth.
    depth_mm : (n,) array
        0 where the point is free.
    """

    points: Float
    outward: Float
    depth_mm: Float


@dataclass(frozen=True)
class Bulk:
    """Thickness of rubber between teeth and tray.

    Attributes
    ----------
    basis : str
        In words: the tray's mesh, as stated, or assumed.
    thin_mm, middle_mm, thick_mm : float
        5th, 50th and 95th percentile over the teeth under the tray.
    u_mm : float
        Standard uncertainty of one thickness.
    """

    basis: str
    thin_mm: float
    middle_mm: float
    thick_mm: float
    u_mm: float


@dataclass(frozen=True, eq=False)
class PinDrift:
    """What shrinkage and cooling do to one pin's bed.

    Attributes
    ----------
    name : str
    over_tip_mm, beside_mm : float
        Rubber between the pin's free end and the tray along the pin, and shortest way from its middle to the
        tray; infinite where there is no wall.
    shift_um : (2,) array
        Of the bed at the tooth, across the pin (frame of :func:`pinseat.ledger.pins.frame`), once the best
        common motion and scale of all pins are taken out.
    u_shift_um : float
        In each direction.
    tilt_deg : (2,) array
    u_tilt_deg : float
    proud_um, u_proud_um : float
        How much shallower the bed gets: the pin stands out farther by it.
    scale_percent, u_scale_percent : float
        Change of the bed's length.
    """

    name: str
    over_tip_mm: float
    beside_mm: float
    shift_um: Float
    u_shift_um: float
    tilt_deg: Float
    u_tilt_deg: float
    proud_um: float
    u_proud_um: float
    scale_percent: float
    u_scale_percent: float


@dataclass(frozen=True)
class FaceDrift:
    """How far the copy of one contact face moves along its normal; positive = the die grows there."""

    kind: str
    tooth: int
    out_um: float
    u_out_um: float


@dataclass(frozen=True)
class TrayCompared:
    """One tray's figures, to set beside those of another.

    Attributes
    ----------
    tray : str
    unevenness_um : float
        Standard uncertainty of a pin's shift across, in each direction, from the unevenness of the bulk.
    margin_um, u_margin_um : float
        Mean movement of the margins along their normals.
    """

    tray: str
    unevenness_um: float
    margin_um: float
    u_margin_um: float


@dataclass(frozen=True)
class PinPlay:
    """The impression pin's play in its own hole.

    Attributes
    ----------
    name : str
    pin_mm, hole_mm, engaged_mm : float
    pin_source : str
        Where the pin's diameter comes from.
    largest_deg : float
        Angle at which it binds.
    u_largest_deg : float
    u_mouth_um : float
        Standard deviation of mouth and of tip, in each direction, independent of each other.
    u_middle_um, u_tilt_deg : float
        The same about the middle of the pin, where position and tilt are uncorrelated.
    """

    name: str
    pin_mm: float
    hole_mm: float
    engaged_mm: float
    pin_source: str
    largest_deg: float
    u_largest_deg: float
    u_mouth_um: float
    u_middle_um: float
    u_tilt_deg: float


@dataclass(frozen=True)
class Squeeze:
    """How much the rubber is squeezed past the undercuts of one part of the arch.

    Attributes
    ----------
    where : str
    depth_mm, thickness_mm : float
        At the place of the largest strain that counts (99th percentile of the undercut points).
    strain_percent, u_strain_percent : float
    set_um : float
        What the rubber keeps of it: depth times what elastic recovery lacks of 100 %.
    covered : bool
        Whether the tray is known to lie over it.
    """

    where: str
    depth_mm: float
    thickness_mm: float
    strain_percent: float
    u_strain_percent: float
    set_um: float
    covered: bool


@dataclass(frozen=True, eq=False)
class Removal:
    """How the tray comes off.

    Attributes
    ----------
    pull : (3,) array
        Unit vector off the teeth.
    lean_deg, u_lean_deg : float
        How far the tray may lean off it before the first pin binds, at the start.
    limited_by : str
    travel_mm : (k,) array
        How far the tray has come up.
    lean_at_deg : (k,) array
        How far it may lean there.
    free_after_mm : float
        From there on every pin is out of its hole (or the hole out of its pin).
    pivot_mm : float
        A tray that is peeled off from one end must turn about a place at least this far from every pin.
    bends_at_N, u_bends_at_N : float
        Side load, at half the height of the standing pin, at which the first pin yields.
    cracks_at_N, u_cracks_at_N : float
        Side load, likewise, from which the dentine round the first hole is at risk.
    squeezes : tuple of Squeeze
    """

    pull: Float
    lean_deg: float
    u_lean_deg: float
    limited_by: str
    travel_mm: Float
    lean_at_deg: Float
    free_after_mm: float
    pivot_mm: float
    bends_at_N: float
    u_bends_at_N: float
    cracks_at_N: float
    u_cracks_at_N: float
    squeezes: tuple[Squeeze, ...]


@dataclass(frozen=True)
class Moment:
    """One line of the timetable.

    Attributes
    ----------
    at_min, u_min : float
        From the start of mixing.
    do : str
    note : str
    """

    at_min: float
    u_min: float
    do: str
    note: str


@dataclass(frozen=True, eq=False)
class Station:
    """One place of the injection, in order.

    Attributes
    ----------
    number, tooth : int
    kind : {"groove", "pin", "margin"}
    name : str
    start, end : (3,) array, mm
        From the closed end outward.
    words : str
    """

    number: int
    tooth: int
    kind: Literal["groove", "pin", "margin"]
    name: str
    start: Float
    end: Float
    words: str


@dataclass(frozen=True)
class Projected:
    """One pin at one stage.

    Attributes
    ----------
    stage : {"hole", "impression", "die", "casting"}
    expected_mm : float
    measured_mm, u_mm : float or None
        None = not measured.
    out_mm : float or None
        Measured less expected: positive = proud, too long.
    since_mm : float or None
        What the copy from the stage before did; None when either was not measured.
    sign : {"proud", "fine", "low", "not read"}
    verdict : {"clear", "caution", "stop", "cannot tell"}
    source : str
    """

    stage: Stage
    expected_mm: float
    measured_mm: float | None
    u_mm: float | None
    out_mm: float | None
    since_mm: float | None
    sign: Sign
    verdict: Verdict
    source: str


@dataclass(frozen=True)
class PinProjection:
    """One pin, followed from hole to casting.

    Attributes
    ----------
    name : str
    stages : tuple of Projected
        The four, in order.
    home : bool
        Whether it counts in the tally: read in the impression, and fine or low enough to be safe.
    says, remedy : str
        In words, for the last stage read.
    opening_um : float
        What the worst margin or ledge opens by if this is ignored, all else true; infinite when the pins
        would not let the bridge come down.
    opening_at : str
        Where, in words: own tooth and the rest.
    """

    name: str
    stages: tuple[Projected, ...]
    home: bool
    says: str
    remedy: str
    opening_um: float
    opening_at: str


@dataclass(frozen=True)
class Tally:
    """How many pins are known to be in place in the impression."""

    home: int
    read: int
    pins: int

    @property
    def complete(self) -> bool:
        """Only when each pin is."""
        return self.home == self.pins


@dataclass(frozen=True, eq=False)
class ImpressionResult:
    """Everything about the impression of this case.

    Attributes
    ----------
    rubber : str
    bulk : Bulk
    shrinkage_percent, u_shrinkage_percent : float
        Free linear shrinkage to the time of copying, cooling included.
    drifts : tuple of PinDrift
    faces : tuple of FaceDrift
    trays : tuple of TrayCompared
        This one, then a stock tray.
    play : tuple of PinPlay
    parts : tuple of Row
        What the row is made of, each with its own name as `route`: the rubber, the tray, putting back by
        hand, and the play of the pins in their holes, which is not in the row.
    row : Row
        The ledger row of the impression computed here, play left out.
    row_with_play : Row
        The same with the play, about the middle of the pins.
    removal : Removal
    timetable : tuple of Moment
    order : tuple of Station
    projections : tuple of PinProjection
    tally : Tally
    ignored_opening_um : float
        What the worst margin opens by when all pins stay as last read.
    findings : tuple of Finding
    files : tuple of str
        Written by the chain, names inside the case folder.
    """

    rubber: str
    bulk: Bulk
    shrinkage_percent: float
    u_shrinkage_percent: float
    drifts: tuple[PinDrift, ...]
    faces: tuple[FaceDrift, ...]
    trays: tuple[TrayCompared, ...]
    play: tuple[PinPlay, ...]
    parts: tuple[Row, ...]
    row: Row
    row_with_play: Row
    removal: Removal
    timetable: tuple[Moment, ...]
    order: tuple[Station, ...]
    projections: tuple[PinProjection, ...]
    tally: Tally
    ignored_opening_um: float
    findings: tuple[Finding, ...]
    files: tuple[str, ...] = ()
