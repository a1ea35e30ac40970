"""The cups of a case as its scan shows them: what is plated, the pins in it, what else hangs in the bath."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pinseat.case.model import Case
from pinseat.case.plating import Plating, Rod
from pinseat.case.teeth import arch, arch_position
from pinseat.errors import PlatingError
from pinseat.ledger.pins import Pin, PinField, frame
from pinseat.mesh.model import Mesh
from pinseat.mesh.smoothing import smoothed_normals
from pinseat.plating.bodies import Bar
from pinseat.plating.growth import at_vertices
from pinseat.plating.model import RUBBER, Body, Electrode, Float, Growth
from pinseat.plating.pieces import Piece, runs
from pinseat.plating.scan import ScannedCups, Standing, cups_from_scan, faces_of_tooth
from pinseat.reference import value

RIDGE_SHARE = 0.5
"""Share of the way from one pin to the next across a gap that is ridge: the rest is the teeth themselves."""
RIDGE_HALF_MM = 3.0
"""Half the width of a ridge, across the arch."""
TAIL_ABOVE_MM = 6.0


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
    """

    cups: ScannedCups
    regions: dict[str, NDArray[np.intp]]
    left_out: tuple[str, ...]
    notes: tuple[str, ...]


def scanned_cups(
    case: Case, pieces: Sequence[Piece], mesh: Mesh, field: PinField, draw: Float, metal_mm: float = 0.2
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

    Returns
    -------
    Scanned

    Raises
    ------
    PlatingError
        When the scan shows none of the pieces.
    """
    plating = case.plating
    regions = _regions(case, pieces, mesh, field, np.asarray(draw, float))
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
        mask_mm=plating.mask_mm,
        flange_mm=flange,
        anode_mm=plating.anode.distance_mm,
        metal_mm=metal_mm,
        rubber_mm=2.0 * metal_mm,
    )
    notes = [
        "where the metal ends on a tooth was taken from its pins and its width, not from a margin line",
        *(f"{name} is not on the scan and was left out of the map" for name in left_out),
    ]
    if cups.closed_mm2 > 0.0:
        notes.append(f"gaps of {cups.closed_mm2:.1f} mm2 in the scan were closed over")
    return Scanned(_with_extras(cups, plating, mesh, regions), regions, left_out, tuple(notes))


def thickness_on(scanned: Scanned, growth: Growth, mesh: Mesh) -> Float:
    """Thickness at the end at each vertex of the scan, mm; not a number where nothing is plated."""
    plated = np.zeros(len(mesh.vertices), bool)
    for faces in scanned.regions.values():
        plated[mesh.faces[faces]] = True
    thickness = np.full(len(mesh.vertices), np.nan)
    thickness[plated] = at_vertices(growth, scanned.cups.from_scan(mesh.vertices[plated]))[0]
    return thickness


def _regions(
    case: Case, pieces: Sequence[Piece], mesh: Mesh, field: PinField, draw: Float
) -> dict[str, NDArray[np.intp]]:
    feet = {tooth: np.array([p.foot for p in field.pins if p.tooth == tooth]) for tooth in _teeth(field)}
    found: dict[str, NDArray[np.intp]] = {}
    for piece in pieces:
        if piece.form == "cup" and piece.tooth in feet:
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
    inside = (np.abs(along - 0.5) < 0.5 * RIDGE_SHARE) & (aside < RIDGE_HALF_MM)
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


def _with_extras(
    cups: ScannedCups, plating: Plating, mesh: Mesh, regions: dict[str, NDArray[np.intp]]
) -> ScannedCups:
    """Tails and rods, in the frame of the cups."""
    geometry = cups.geometry
    electrodes, bodies = list(geometry.electrodes), list(geometry.bodies)
    first = next(e.name for e in electrodes if e.piece)
    up = np.array([0.0, 0.0, 1.0])
    for number, tail in enumerate(plating.tails, start=1):
        foot = np.array([0.0, 3.0 * number, TAIL_ABOVE_MM])
        bodies.append(Bar(foot, up, tail.length_mm, tail.diameter_mm, len(electrodes)))
        electrodes.append(Electrode(f"tail {number}", "cathode", with_=first))
    for rod in plating.rods:
        bodies.append(_rod(rod, cups, mesh, regions, len(electrodes)))
        electrodes.append(Electrode(f"rod in {rod.piece}", "anode", with_="anode"))
    return replace(cups, geometry=replace(geometry, bodies=tuple(bodies), electrodes=tuple(electrodes)))


def _rod(rod: Rod, cups: ScannedCups, mesh: Mesh, regions: dict[str, NDArray[np.intp]], number: int) -> Body:
    """A rod let down over the middle of its piece."""
    where = f"rod in {rod.piece}"
    if rod.piece not in regions:
        raise PlatingError("the scan does not show this piece", where=where, do="leave the rod out")
    place = cups.from_scan(mesh.vertices[np.unique(mesh.faces[regions[rod.piece]])])
    middle = place.mean(axis=0)
    near = np.linalg.norm(place[:, :2] - middle[:2], axis=1) < max(rod.diameter_mm, 1.0)
    floor = float(place[near, 2].min() if near.any() else middle[2])
    end = floor + rod.above_floor_mm
    length = max(rod.bare_mm, 0.1) + 8.0
    foot = np.array([middle[0], middle[1], end + length])
    bar = Bar(foot, np.array([0.0, 0.0, -1.0]), length, rod.diameter_mm, number, length - rod.bare_mm)
    for body in cups.geometry.bodies:
        if isinstance(body, Bar) and body.metal != RUBBER and _touch(bar, body):
            raise PlatingError("the rod touches a pin", where=where, do="let it down less deep")
    return bar


def _touch(one: Bar, other: Bar) -> bool:
    """Whether two bars come closer than their radii."""
    along = np.linspace(0.0, 1.0, 41)[:, None]
    points = other.foot + along * other.length_mm * other.axis
    return bool((one.distance(points) < 0.5 * other.diameter_mm).any())
