"""Impression: what the rubber does to this case's pins, how to take it, and whether each pin is back home."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from pinseat.case.model import Case
from pinseat.errors import ImpressionError
from pinseat.impression import checks
from pinseat.impression.bulk import Around, assumed, from_tray, uniform
from pinseat.impression.cost import seat_of
from pinseat.impression.drift import Shape, face_drifts, moved, pin_drifts
from pinseat.impression.injection import stations
from pinseat.impression.mixup import mixup_finding
from pinseat.impression.model import (
    ImpressionResult,
    PinPlay,
    PinProjection,
    TrayCompared,
    Undercuts,
)
from pinseat.impression.projections import follow, projection_findings, tally
from pinseat.impression.removal import plays, removal, squeezed
from pinseat.impression.rows import hand_part, play_part, read_depth, rubber_part, tray_part
from pinseat.impression.rubber import Strain, free_strain
from pinseat.impression.timetable import timetable
from pinseat.ledger.faces import Face
from pinseat.ledger.findings import Finding
from pinseat.ledger.handover import Handover, Progress, quiet
from pinseat.ledger.parts import joined, nothing
from pinseat.ledger.pins import PinField
from pinseat.ledger.rows import Row
from pinseat.mesh.model import Mesh


@dataclass(frozen=True, eq=False)
class Tray:
    """The tray as a mesh.

    Attributes
    ----------
    mesh : Mesh
        In the coordinates of the scan, mm.
    name : str
        Its file.
    """

    mesh: Mesh
    name: str


def run(
    case: Case,
    upstream: Handover,
    progress: Progress = quiet,
    *,
    teeth: Mesh | None = None,
    tray: Tray | None = None,
    undercuts: Undercuts | None = None,
) -> ImpressionResult:
    """Reckon with the impression of a case.

    Parameters
    ----------
    case : Case
    upstream : Handover
        Needs the pins, faces and draw of survey.
    progress : callable
    teeth : Mesh, optional
        The working scan; needed for a tray.
    tray : Tray, optional
        Else the bulk is the one stated in the case, or assumed for its kind of tray.
    undercuts : Undercuts, optional
        Along the draw.

    Returns
    -------
    ImpressionResult

    Raises
    ------
    ImpressionError
        Without surveyed pins, or when the tray does not lie over the teeth.
    """
    field, draw = upstream.field, upstream.draw
    if field is None or draw is None or not field.pins:
        raise ImpressionError("the pins have not been surveyed yet", do="run survey first")
    progress("measuring the rubber", 0.0)
    around = uniform(case) if tray is None or teeth is None else from_tray(teeth, tray.mesh, field, tray.name)
    strain = free_strain(case)
    progress("moving the pins", 0.3)
    shape = moved(field, upstream.faces, draw, around, case)
    drifts, scale, u_scale = pin_drifts(field, shape, strain)
    faces = face_drifts(upstream.faces, shape, strain)
    stock = moved(field, upstream.faces, draw, Around(assumed("stock")), case)
    trays = (
        _tray(f"this tray: {around.bulk.basis}", upstream.faces, shape, strain),
        _tray("stock tray", upstream.faces, stock, strain),
    )
    play = plays(field, case)
    progress("taking it off", 0.6)
    off = removal(field, draw, case, play, squeezed(field, around, undercuts, case))
    progress("following the pins", 0.8)
    pins, ignored = follow(field, case, seat_of(field, upstream.faces, case))
    parts = _parts(case, rubber_part(drifts, scale, u_scale, strain, around.bulk.basis), pins, play)
    progress("following the pins", 1.0)
    made = ImpressionResult(
        rubber=case.chain.impression,
        bulk=around.bulk,
        shrinkage_percent=strain.percent,
        u_shrinkage_percent=strain.u_percent,
        drifts=drifts,
        faces=faces,
        trays=trays,
        play=play,
        parts=parts,
        row=joined("impression", case.chain.impression, parts[:-1]),
        row_with_play=joined("impression", case.chain.impression, parts),
        removal=off,
        timetable=timetable(case),
        order=stations(field, upstream.faces, draw),
        projections=pins,
        tally=tally(pins),
        ignored_opening_um=ignored,
        findings=(),
    )
    return replace(made, findings=tuple(_findings(made, field, case)))


def _findings(made: ImpressionResult, field: PinField, case: Case) -> Iterator[Finding]:
    yield from projection_findings(made.projections, made.tally)
    yield mixup_finding(field, case, made.play)
    yield checks.bulk_finding(made.bulk, made.trays)
    yield from checks.drift_findings(field, made.drifts, case, made.trays[-1])
    yield checks.play_finding(made.play)
    yield from checks.strain_findings(made.removal, case)
    yield from checks.removal_findings(made.removal, case)
    yield checks.time_finding(made.timetable, case)


def _parts(
    case: Case, rubber: Row, pins: tuple[PinProjection, ...], play: tuple[PinPlay, ...]
) -> tuple[Row, ...]:
    """What acts on the impression, play last; a depth that was read holds the rubber's part already."""
    if read_depth(pins) is not None:
        rubber = Row(rubber.copy, rubber.route, rubber.scale, rubber.position, rubber.tilt, nothing("depth"))
    return rubber, tray_part(case), hand_part(case, pins), play_part(play)


def _tray(name: str, faces: tuple[Face, ...], shape: Shape, strain: Strain) -> TrayCompared:
    margins = [f for f in face_drifts(faces, shape, strain) if f.kind == "margin"]
    count = max(len(margins), 1)
    return TrayCompared(
        tray=name,
        unevenness_um=10.0 * abs(strain.percent) * shape.uneven_mm,
        margin_um=sum(f.out_um for f in margins) / count,
        u_margin_um=sum(f.u_out_um for f in margins) / count,
    )
