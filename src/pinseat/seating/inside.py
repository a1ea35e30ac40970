"""The scanned inside of a pattern or casting on the scanned teeth: how high it stands, where it touches."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pinseat.ledger.findings import Finding
from pinseat.mesh.model import Mesh
from pinseat.mesh.nearest import Nearest
from pinseat.reference import value
from pinseat.seating.assembly import Assembly
from pinseat.seating.intaglio import REACH_MM, settle, surfaces

Float = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Inside:
    """A scanned inside at rest.

    Attributes
    ----------
    of : str
        ``pattern`` or ``casting``.
    lift_um : float
        How much higher it rests than it was laid; negative = lower.
    opening_um : (F,) array
        From each margin or ledge to the nearest place of the inside; nan where none is within 2 mm.
    touches : (m, 3) array, mm
        Where the surfaces meet.
    through_um : float
        What is left of the error of the steps.
    """

    of: str
    lift_um: float
    opening_um: Float
    touches: Float
    through_um: float


def rest_inside(assembly: Assembly, teeth: Mesh, inside: Mesh, of: str) -> Inside:
    """Let a scanned inside down on the scanned teeth, along the draw, pressed at the middle of the margins.

    Places on pins that stand in the scan of the teeth are left out: pins and holes are reckoned with by their
    axes. Single points of a scan carry its noise, so means over patches are held against each other.

    Parameters
    ----------
    assembly : Assembly
    teeth, inside : Mesh
        In the same coordinates, mm.
    of : str
        ``pattern`` or ``casting``.

    Returns
    -------
    Inside

    Raises
    ------
    SeatingError
        When the two scans do not lie over each other, or nothing holds the inside.
    """
    pins = np.zeros(len(teeth.vertices), dtype=bool)
    around = value("seat.round_pin_mm").value
    for mouth, axis, hole in zip(assembly.mouths, assembly.axes, assembly.hole_mm, strict=True):
        off = teeth.vertices - mouth
        across = np.linalg.norm(off - (off @ axis)[:, None] * axis, axis=1)
        pins |= (across < hole / 2.0 + around) & (off @ axis > -1.0)
    bare = Mesh(teeth.vertices, teeth.faces[~pins[teeth.faces].any(axis=1)])
    patch = value("seat.contact_patch_mm").value
    held = surfaces(bare, inside, patch_mm=patch, left_out=pins)
    points = np.array([f.point for f in assembly.faces if f.kind in ("margin", "ledge")])
    rest = settle(held, assembly.draw, points.mean(axis=0))
    found = Nearest(inside).search(rest.pose.back(points), within_mm=REACH_MM)
    opening = np.where(found.face >= 0, found.distance_mm, np.nan)
    return Inside(of, 1000.0 * rest.lift_mm, 1000.0 * opening, rest.touches, 1000.0 * rest.through_mm)


def inside_finding(inside: Inside, assembly: Assembly) -> Finding:
    """How wide the widest margin stands open with the scanned inside at rest."""
    seen = np.isfinite(inside.opening_um)
    limit = 1000.0 * assembly.limit_mm
    if not seen.any():
        return Finding(
            "seat.inside",
            inside.of,
            "The scan of the inside does not reach any margin.",
            "cannot tell",
            do="scan the inside out to its margins",
        )
    faces = [face for face in assembly.faces if face.kind in ("margin", "ledge")]
    widest = int(np.nanargmax(inside.opening_um))
    open_um = float(inside.opening_um[widest])
    noise = value("scanner.noise_max_um")
    return Finding(
        "seat.inside",
        f"tooth {faces[widest].tooth}",
        f"Let down on the scanned teeth, the scanned {inside.of} stands open by this at its widest margin.",
        "clear" if open_um <= limit else "stop",
        open_um,
        noise.value,
        "um",
        limit,
        "stated in the case; the uncertainty is the noise of a scan",
        "" if open_um <= limit else "look where the surfaces meet, relieve it there, and never press",
    )
