"""The cups of a case as its scan shows them: what is plated, the pins in it, what else hangs in the bath."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pinseat.case.model import Case
from pinseat.case.teeth import arch, arch_position
from pinseat.errors import PlatingError
from pinseat.ledger.faces import MarginLine
from pinseat.ledger.pins import Pin, PinField, frame
from pinseat.mesh.model import Mesh
from pinseat.mesh.smoothing import smoothed_normals
from pinseat.plating.growth import at_vertices
from pinseat.plating.hung import Stand, clear_mm, hang
from pinseat.plating.model import Float, Growth
from pinseat.plating.pieces import Piece, runs
from pinseat.plating.scan import ScannedCups, Standing, cups_from_scan, faces_of_tooth, faces_within
from pinseat.reference import value


@dataclass(frozen=True, eq=False)
class Scanned:
    """The cups with what was taken for granted.

    Attributes
    ----------
    cups : ScannedCups
    regions : dict of str to index array
        Triangles of each piece.
    left_out : tuple of str
        Pieces that the scan does not show.
    notes : tuple of str
    stands : dict of str to Stand
        Where each piece is, in the frame of the cups.
    """

    cups: ScannedCups
    regions: dict[str, NDArray[np.intp]]
    left_out: tuple[str, ...]
    notes: tuple[str, ...]
    stands: dict[str, Stand]


def scanned_cups(
    case: Case,
    pieces: Sequence[Piece],
    mesh: Mesh,
    field: PinField,
    draw: Float,
    metal_mm: float = 0.2,
    margins: Sequence[MarginLine] = (),
) -> Scanned:
    """Cups of a case from its scan.

    Parameters
    ----------
    case : Case
    pieces : sequence of Piece
        Those on a tooth with pins, and the ridges between two such teeth, are cut from the scan.
    mesh : Mesh
        The working scan.
    field : PinField
        From survey.
    draw : (3,) array
        From survey.
    metal_mm : float
        Cell edge at metal.
    margins : sequence of MarginLine
        From survey. Where a tooth has a closed one, its metal ends there; elsewhere it is taken from the pins
        and the width of the tooth.

    Returns
    -------
    Scanned

    Raises
    ------
    PlatingError
        When the scan shows none of the pieces, or as :func:`pinseat.plating.hung.hang`.
    """
    plating = case.plating
    lines = {line.tooth: line.points for line in margins if line.closed}
    regions = _regions(case, pieces, mesh, field, np.asarray(draw, float), lines)
    left_out = tuple(piece.name for piece in pieces if piece.name not in regions)
    if not regions:
        told = ", ".join(left_out)
        raise PlatingError("the scan shows none of the pieces", value=told, do="take them by size")
    flange = 0.0 if plating.mask_mm > 0.0 else plating.flange_mm
    cups = cups_from_scan(
        mesh,
        regions,
        draw,
        pins=_standing(case, pieces, field, regions),
        margins=[line.points for line in margins],
        mask_mm=plating.mask_mm,
        patches=[(np.array(mask.at), mask.radius_mm) for mask in plating.masks],
        flange_mm=flange,
        anode_mm=clear_mm(plating),
        metal_mm=metal_mm,
        rubber_mm=2.0 * metal_mm,
    )
    stands = _stands(cups, mesh, regions)
    cups = replace(cups, geometry=hang(cups.geometry, plating, stands, beside_mm=3.0))
    guessed = [p.name for p in pieces if p.name in regions and p.form == "cup" and p.tooth not in lines]
    return Scanned(cups, regions, left_out, _notes(cups, guessed, left_out), stands)


def _notes(cups: ScannedCups, guessed: Sequence[str], left_out: Sequence[str]) -> tuple[str, ...]:
    """What was taken for granted."""
    notes = [f"{name} is not on the scan and was left out of the map" for name in left_out]
    if guessed:
        how = "was taken from its pins and its width, not from a margin line"
        notes.insert(0, f"where the metal ends on {', '.join(guessed)} {how}")
    if cups.closed_mm2 > 0.0:
        notes.append(f"gaps of {cups.closed_mm2:.1f} mm² in the scan were closed over")
    return tuple(notes)


def thickness_on(scanned: Scanned, growth: Growth, mesh: Mesh) -> Float:
    """Thickness at the end at each vertex of the scan, mm; not a number where nothing is plated."""
    plated = np.zeros(len(mesh.vertices), bool)
    for faces in scanned.regions.values():
        plated[mesh.faces[faces]] = True
    thickness = np.full(len(mesh.vertices), np.nan)
    thickness[plated] = at_vertices(growth, scanned.cups.from_scan(mesh.vertices[plated]))[0]
    return thickness


def _regions(
    case: Case,
    pieces: Sequence[Piece],
    mesh: Mesh,
    field: PinField,
    draw: Float,
    margins: Mapping[int, Float],
) -> dict[str, NDArray[np.intp]]:
    feet = {tooth: np.array([p.foot for p in field.pins if p.tooth == tooth]) for tooth in _teeth(field)}
    found: dict[str, NDArray[np.intp]] = {}
    for piece in pieces:
        if piece.form == "cup" and piece.tooth is not None and piece.tooth in margins:
            found[piece.name] = faces_within(mesh, margins[piece.tooth], draw)
        elif piece.form == "cup" and piece.tooth in feet:
            reach = 0.5 * value(f"crown.{piece.tooth}.mesiodistal_mm").value
            found[piece.name] = faces_of_tooth(mesh, feet[piece.tooth], draw, reach)
    taken = np.zeros(len(mesh.faces), bool)
    for faces in found.values():
        taken[faces] = True
    ridges = [piece for piece in pieces if piece.form == "saddle"]
    gaps = [gap for run in runs(case.missing) if (gap := _across(run, feet, draw)) is not None]
    for piece, (a, b) in zip(ridges, gaps, strict=False):
        faces = _between(mesh, a, b, draw)
        found[piece.name] = faces[~taken[faces]]
    return {name: faces for name, faces in found.items() if len(faces)}


def _teeth(field: PinField) -> tuple[int, ...]:
    return tuple(dict.fromkeys(pin.tooth for pin in field.pins))


def _across(run: tuple[int, ...], feet: dict[int, Float], draw: Float) -> tuple[Float, Float] | None:
    """The feet nearest to each other across a gap; None where a tooth with pins is missing on a side."""
    same = [tooth for tooth in feet if arch(tooth) == arch(run[0])]
    before = [tooth for tooth in same if arch_position(tooth) < arch_position(run[0])]
    after = [tooth for tooth in same if arch_position(tooth) > arch_position(run[-1])]
    if not before or not after:
        return None
    first, second = feet[max(before, key=arch_position)], feet[min(after, key=arch_position)]
    gap = np.linalg.norm(first[:, None] - second[None], axis=2)
    i, j = np.unravel_index(int(np.argmin(gap)), gap.shape)
    return first[i], second[j]


def _between(mesh: Mesh, a: Float, b: Float, draw: Float) -> NDArray[np.intp]:
    """Triangles of the ridge between two feet, seen along the draw, that face it."""
    across = frame(draw)
    middle = mesh.vertices[mesh.faces].mean(axis=1)
    start, way = across @ a, across @ (b - a)
    long = float(np.linalg.norm(way))
    offset = middle @ across.T - start
    along = offset @ way / long**2
    aside = np.abs(offset @ np.array([-way[1], way[0]])) / long
    wide, share = value("piece.saddle.breadth_mm").value, value("piece.ridge_share").value
    inside = (np.abs(along - 0.5) < 0.5 * share) & (aside < 0.5 * wide)
    low = middle @ draw < min(a @ draw, b @ draw) + 1.0
    facing = smoothed_normals(mesh)[mesh.faces].mean(axis=1) @ draw > 0.3
    return np.flatnonzero(inside & low & facing)


def _standing(
    case: Case, pieces: Sequence[Piece], field: PinField, regions: dict[str, NDArray[np.intp]]
) -> list[Standing]:
    """The pins as they stand in the cups: as deep as their holes."""
    depth = {a.tooth: a.hole_depth_mm for a in case.abutments}
    on = {piece.tooth: piece.name for piece in pieces if piece.name in regions and piece.form == "cup"}
    metal = case.plating.pins == "metal"

    def one(pin: Pin) -> Standing:
        return Standing(pin, depth[pin.tooth], on[pin.tooth], metal)

    return [one(pin) for pin in field.pins if pin.tooth in on and pin.tooth in depth]


def _stands(cups: ScannedCups, mesh: Mesh, regions: dict[str, NDArray[np.intp]]) -> dict[str, Stand]:
    """Where the pieces are, in the frame of the cups."""
    found = {}
    for name, faces in regions.items():
        place = cups.from_scan(mesh.vertices[np.unique(mesh.faces[faces])])
        middle = place[:, :2].mean(axis=0)
        reach = float(np.linalg.norm(place[:, :2] - middle, axis=1).max())
        found[name] = Stand(middle, float(place[:, 2].min()), float(place[:, 2].max()), reach)
    return found
