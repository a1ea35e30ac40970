"""Tray: from the survey to a body that prints, proven clear, and to a plan for one made by hand."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pinseat.case.model import Case
from pinseat.errors import TrayError
from pinseat.ledger.findings import Finding
from pinseat.ledger.handover import Handover, Progress, quiet
from pinseat.mesh.model import Mesh
from pinseat.tray import build, checks
from pinseat.tray.ask import asked_of
from pinseat.tray.frame import Frame, frame_of
from pinseat.tray.hand import hand_plan
from pinseat.tray.handle import lines_of
from pinseat.tray.model import Asked, HandPlan, StopPlace, TrayResult
from pinseat.tray.shape import Shape
from pinseat.tray.teeth import pockets_of, prepared_teeth, u_of_pins

Float = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Tray:
    """The result, with the meshes that are too large for it.

    Attributes
    ----------
    result : TrayResult
    mesh : Mesh or None
        The tray in the scan's coordinates, mm; None when there is nothing to print.
    cast : Mesh or None
        The scan without crumbs, in its own coordinates; None without a scan.
    relief_mm : (n,) array or None
        At each vertex of `cast` the distance to the tray; not a number where the tray does not cover it.
    block_out_mm : (n,) array or None
        At each vertex of `cast` the depth of the undercut filled there.
    """

    result: TrayResult
    mesh: Mesh | None = None
    cast: Mesh | None = None
    relief_mm: Float | None = None
    block_out_mm: Float | None = None


def run(case: Case, upstream: Handover, progress: Progress = quiet, *, mesh: Mesh | None = None) -> Tray:
    """Make the tray of a case.

    Parameters
    ----------
    case : Case
    upstream : Handover
        Needs the pins and the draw of survey.
    progress : callable
    mesh : Mesh, optional
        The working scan in mm. Without it there is a plan for a tray made by hand, and no file to print.

    Returns
    -------
    Tray

    Raises
    ------
    TrayError
        Without surveyed pins, when sheets are given without their thickness, when a drawn border or a picked
        stop lies off the scan, or when the scan is too small for any tray.
    """
    if upstream.field is None or upstream.draw is None:
        raise TrayError("the pins have not been surveyed yet", do="run survey first")
    asked = asked_of(case.tray)
    field, draw = upstream.field, np.asarray(upstream.draw, float)
    frame = frame_of(mesh.vertices if mesh is not None else np.array([p.foot for p in field.pins]), draw)
    pockets = pockets_of(field, frame, asked)
    if mesh is None:
        plan = hand_plan(case.tray, asked, field, pockets, frame, case.abutments, None, None)
        return Tray(_by_hand(asked, draw, plan))
    prepared = prepared_teeth(case.abutments, field, upstream.faces, frame)
    drawn, picked = ([frame.local(p) for p in given] for given in (case.tray.border, case.tray.stops))
    shape = build.shape_of(frame.turned(mesh), drawn, picked, pockets, prepared, asked, progress)
    before = list(_before(shape, asked))
    cast = frame.turned_back(shape.cast.mesh)
    refused = any(found.verdict == "stop" and found.code != "tray.stops_steady" for found in before)
    with ThreadPoolExecutor(1) as pool:
        filling = pool.submit(build.block_out, shape)
        progress("making the tray", 0.4)
        made = None if refused else build.body_of(shape, asked, case.tray, case.number, pockets)
        depth, fill_mm3 = filling.result()
    plan = hand_plan(case.tray, asked, field, pockets, frame, case.abutments, shape, fill_mm3)
    if made is None:
        result = _not_made(asked, draw, shape, frame, plan, before)
        return Tray(result, None, cast, None, depth)
    progress("proving the tray", 0.6)
    proof = build.prove(shape, made, asked, pockets, u_of_pins(field))
    relief = build.relief_map(shape, made)
    doses = build.measured_doses(shape, made, asked, prepared)
    after = _after(case, made, proof, asked, plan)
    result = TrayResult(
        made=True,
        why_not="",
        asked=asked,
        draw=draw,
        border=shape.border.source,
        handle=made.seat.words if made.seat else "none",
        stops=_stops(shape, frame, proof.stop_gaps),
        pins=proof.pins,
        gaps=proof.gaps,
        sound=proof.sound,
        doses=doses,
        deepest_block_out_mm=float(depth.max()),
        block_out_cm3=1e-3 * fill_mm3,
        hand=plan,
        files=(),
        findings=(*before, *after),
    )
    progress("proving the tray", 1.0)
    return Tray(result, frame.turned_back(made.mesh), cast, relief, depth)


def _before(shape: Shape, asked: Asked) -> Iterator[Finding]:
    """What can be told before the body is made."""
    for found in (checks.too_thin(asked), checks.hole_finding(shape.cast.holes)):
        if found is not None:
            yield found
    yield from checks.stop_findings(len(shape.stops), shape.on_prepared, shape.in_pocket, shape.steady)
    yield checks.border_finding(shape.border)


def _after(
    case: Case, made: build.Body, proof: build.Proof, asked: Asked, plan: HandPlan
) -> Iterator[Finding]:
    """What the finished body shows."""
    yield from checks.sound_findings(proof.sound, asked)
    yield from checks.pin_findings(proof.pins, asked)
    yield from checks.gap_findings(proof.gaps)
    yield from checks.touch_findings(proof.stop_gaps)
    numbered = checks.number_finding(lines_of(case.number)[1]) if made.seat else None
    for found in (checks.handle_finding(case.tray.handle, made.seat), numbered):
        if found is not None:
            yield found
    yield from checks.hand_findings(plan, asked, binding=False)


def _stops(shape: Shape, frame: Frame, gaps: tuple[float, ...]) -> tuple[StopPlace, ...]:
    known: tuple[float | None, ...] = gaps or (None,) * len(shape.stops)
    return tuple(
        StopPlace(frame.world(stop.at), stop.kind, gap) for stop, gap in zip(shape.stops, known, strict=True)
    )


def _not_made(
    asked: Asked, draw: Float, shape: Shape, frame: Frame, plan: HandPlan, found: list[Finding]
) -> TrayResult:
    why = next(one.says for one in found if one.verdict == "stop")
    return TrayResult(
        made=False,
        why_not=f"{why} No file to print was written.",
        asked=asked,
        draw=draw,
        border=shape.border.source,
        handle="none",
        stops=_stops(shape, frame, ()),
        pins=(),
        gaps=(),
        sound=None,
        doses=None,
        deepest_block_out_mm=None,
        block_out_cm3=None,
        hand=plan,
        files=(),
        findings=(*found, *checks.hand_findings(plan, asked, binding=True)),
    )


def _by_hand(asked: Asked, draw: Float, plan: HandPlan) -> TrayResult:
    """A case from callipers: pins are known, the teeth round them are not."""
    return TrayResult(
        made=False,
        why_not="There is no scan, so there is no file to print: the teeth between the pins are not known. "
        "The plan for a tray made by hand is all there is.",
        asked=asked,
        draw=draw,
        border="left to the hand: without a scan the gum line is not known",
        handle="left to the hand, on the line of pull",
        stops=(),
        pins=(),
        gaps=(),
        sound=None,
        doses=None,
        deepest_block_out_mm=None,
        block_out_cm3=None,
        hand=plan,
        files=(),
        findings=tuple(checks.hand_findings(plan, asked, binding=True)),
    )
