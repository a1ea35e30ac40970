"""The thickness map as a picture, and as PLY and GLB for any viewer."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from matplotlib.figure import Figure

from pinseat.case.files import atomic_write, plainly
from pinseat.ledger.pins import frame
from pinseat.mesh.colour import ramp
from pinseat.mesh.glb import glb_bytes
from pinseat.mesh.model import Float, Mesh
from pinseat.mesh.shade import shade
from pinseat.mesh.write import ply_bytes
from pinseat.report.arch import LEAN_OF_VIEW_DEG, WIDTH_PX, label
from pinseat.report.style import look, write

WIDTH_MM = 84.0
ROUND_MM = 4.0
"""How much is shown round what is plated."""
FILES = (
    "results/plating.glb",
    "results/plating.ply",
    "results/figures/thickness.png",
    "results/figures/thickness.svg",
)
"""What is written, inside the case folder."""
COLOURS = "Pale: thinner than the minimum; dark: thicker, the darker the thicker; grey: not plated."


@dataclass(frozen=True, eq=False)
class Coloured:
    """A surface with a thickness at each vertex.

    Attributes
    ----------
    mesh : Mesh
    thickness_mm : (n,) array
        Not a number where nothing is plated.
    minimum_mm : float
        Wanted: the step of the colours.
    up : (3,) array
        Off the teeth, or out of the cups.
    across : (3,) array or None
        Upwards on the page; chosen when None.
    thinnest : (3,) array
        Where the picture points to.
    """

    mesh: Mesh
    thickness_mm: Float
    minimum_mm: float
    up: Float
    across: Float | None
    thinnest: Float


def write_thickness(folder: Path, shown: Coloured, meta: Mapping[str, str]) -> tuple[str, ...]:
    """Write the thickness map.

    Parameters
    ----------
    folder : Path
        The case folder.
    shown : Coloured
    meta : mapping of str to str
        Versions and hashes to keep in the file.

    Returns
    -------
    tuple of str
        :data:`FILES`.

    Raises
    ------
    CaseError
        If the folder cannot be written.
    """
    with plainly(folder / "results"):
        (folder / "results" / "figures").mkdir(parents=True, exist_ok=True)
    colours = ramp(shown.thickness_mm, shown.minimum_mm)
    extras = {**meta, "colours": COLOURS, "minimum": f"{shown.minimum_mm:g} mm"}
    data = glb_bytes(shown.mesh, colours, name="thickness", up=shown.up, extras=extras)
    atomic_write(folder / FILES[0], data)
    atomic_write(folder / FILES[1], ply_bytes(shown.mesh, colours))
    with look():
        write(thickness_picture(shown), (folder / FILES[2]).with_suffix(""))
    return FILES


def thickness_picture(shown: Coloured) -> Figure:
    """Shaded picture of what is plated and a little round it, with a line to the thinnest spot.

    Parameters
    ----------
    shown : Coloured

    Returns
    -------
    Figure
    """
    mesh, thickness = _near(shown)
    across = frame(shown.up)[1] if shown.across is None else shown.across
    angle = np.radians(LEAN_OF_VIEW_DEG)
    towards_eye = np.cos(angle) * shown.up - np.sin(angle) * across
    colours = ramp(thickness, shown.minimum_mm)
    picture = shade(mesh, towards_eye, up=across, width_px=WIDTH_PX, colours=colours)
    return label(picture, ["thinnest"], picture.to_pixel(shown.thinnest[None]), WIDTH_MM)


def _near(shown: Coloured) -> tuple[Mesh, Float]:
    """The part of the mesh round what is plated, with its thickness."""
    plated = np.isfinite(shown.thickness_mm)
    if not plated.any():
        return shown.mesh, shown.thickness_mm
    low = shown.mesh.vertices[plated].min(axis=0) - ROUND_MM
    high = shown.mesh.vertices[plated].max(axis=0) + ROUND_MM
    inside = ((shown.mesh.vertices >= low) & (shown.mesh.vertices <= high)).all(axis=1)
    faces = shown.mesh.faces[inside[shown.mesh.faces].all(axis=1)]
    used = np.unique(faces)
    place = np.zeros(len(inside), np.int32)
    place[used] = np.arange(len(used), dtype=np.int32)
    return Mesh(shown.mesh.vertices[used], place[faces]), shown.thickness_mm[used]
