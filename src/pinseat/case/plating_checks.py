"""What the plating part of a case must agree on."""

from __future__ import annotations

from collections.abc import Iterator

from pinseat.case.lines import Place
from pinseat.case.model import Case
from pinseat.case.plating import Cell, Piece
from pinseat.case.trouble import Trouble


def piece_name(piece: Piece, place: int) -> str:
    """A piece's own name, or its tooth's number, or its place in the list counted from 1.

    Examples
    --------
    >>> piece_name(Piece(tooth=11), 0), piece_name(Piece(area_mm2=47, preparation="saddle"), 4)
    ('11', 'saddle 5')
    """
    if piece.name:
        return piece.name
    if piece.tooth is not None:
        return str(piece.tooth)
    return f"{'saddle' if piece.preparation == 'saddle' else 'piece'} {place + 1}"


def plating_disagreements(case: Case) -> Iterator[Trouble]:
    """Everything in the plating part that does not go together.

    Parameters
    ----------
    case : Case
        As stated.

    Yields
    ------
    Trouble
    """
    plating = case.plating
    names = [piece_name(piece, i) for i, piece in enumerate(plating.pieces)]
    for i, piece in enumerate(plating.pieces):
        place: Place = ("plating", "pieces", i)
        yield from _size(place, piece)
        if not names[i].isprintable() or not names[i].strip():
            yield Trouble((*place, "name"), "this must be one line of plain text", repr(names[i]))
        if names[i] in names[:i]:
            yield Trouble(
                place, "two pieces have one name", f'"{names[i]}"', do='tell them apart: name = "..."'
            )
    if not names:
        names = [str(abutment.tooth) for abutment in case.abutments]
    yield from _hung(case, names)
    for key in ("current_mA", "mean_mm"):
        if plating.steps and getattr(plating, key) is not None:
            do = "keep one of the two"
            yield Trouble(("plating", key), "this is given by the steps too", do=do)
    wide = 0.0
    for i, step in enumerate(plating.steps):
        if step.wax_mm < wide:
            said, limit = "wax that covers metal stays on to the end", f"at least {wide:g} mm"
            yield Trouble(("plating", "steps", i, "wax_mm"), said, f"{step.wax_mm:g} mm", limit)
        wide = max(wide, step.wax_mm)
    if plating.cell is not None:
        yield from _cell(plating.cell)
    plates = plating.two_plates
    if plates is not None and plates.far_mm <= plates.near_mm:
        what, limit = "the farther cathode is not the farther one", f"more than {plates.near_mm:g} mm"
        yield Trouble(("plating", "two_plates", "far_mm"), what, f"{plates.far_mm:g} mm", limit)


def _size(place: Place, piece: Piece) -> Iterator[Trouble]:
    given = [key for key in ("area_mm2", "outline_mm") if getattr(piece, key)]
    if len(given) > 1:
        what = "the size of this piece is given twice, as area and as outline"
        yield Trouble((*place, "outline_mm"), what, do="keep the one you trust more")
    if not given and piece.tooth is None:
        do = "add area_mm2, or outline_mm with depth_mm, or the tooth and how it was cut"
        yield Trouble(place, "nothing gives the size of this piece", do=do)
    if piece.outline_mm and len(piece.outline_mm) < 3:
        yield Trouble((*place, "outline_mm"), "an outline needs three corners", limit="at least 3")
    elif piece.outline_mm and _crosses(piece.outline_mm):
        yield Trouble((*place, "outline_mm"), "this outline crosses itself", do="give its corners in order")
    if piece.outline_mm and piece.depth_mm is None:
        yield Trouble(place, "an outline without depth gives no area", do="add depth_mm; 0 for a flat ridge")


def _hung(case: Case, names: list[str]) -> Iterator[Trouble]:
    """What hangs at a piece that is not there, holes wider than their plates, patches without a scan."""
    plating = case.plating
    for key, what in (("rods", "rod"), ("shields", "shield"), ("thieves", "thief")):
        for i, one in enumerate(getattr(plating, key)):
            if one.piece not in names:
                said, limit = f"there is no such piece for the {what}", f"one of {', '.join(names)}"
                yield Trouble(("plating", key, i, "piece"), said, f'"{one.piece}"', limit)
    for i, shield in enumerate(plating.shields):
        if shield.hole_mm >= shield.width_mm:
            said, limit = "the hole is as wide as the shield", f"less than {shield.width_mm:g} mm"
            yield Trouble(("plating", "shields", i, "hole_mm"), said, f"{shield.hole_mm:g} mm", limit)
    if plating.masks and case.scan is None:
        do = "without a scan, use mask_mm, the band along the margin"
        yield Trouble(("plating", "masks"), "a patch to be covered is a place on a scan", do=do)


def _cell(cell: Cell) -> Iterator[Trouble]:
    distances = {reading.distance_mm for reading in cell.readings}
    if len(distances) < 2:
        what = "one distance cannot tell the bath's resistance from that of its plates"
        do = "read the same current at a second distance"
        yield Trouble(("plating", "cell", "readings"), what, f"{len(distances)}", "at least 2 distances", do)


def _crosses(corners: tuple[tuple[float, float], ...]) -> bool:
    """Whether two sides of a closed outline that do not meet in a corner cross."""
    sides = list(zip(corners, corners[1:] + corners[:1], strict=True))
    last = len(sides) - 1
    for i, (a, b) in enumerate(sides):
        for k in range(i + 2, len(sides)):
            c, d = sides[k]
            if (i, k) == (0, last):
                continue
            if _turn(a, b, c) * _turn(a, b, d) < 0 and _turn(c, d, a) * _turn(c, d, b) < 0:
                return True
    return False


def _turn(a: tuple[float, float], b: tuple[float, float], c: tuple[float, float]) -> float:
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
