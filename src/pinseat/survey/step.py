"""Survey: from a scan or from calliper readings to pins, their common draw and the contact faces."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from pinseat.case.model import Abutment, Callipers, Case, Scan
from pinseat.errors import SurveyError
from pinseat.ledger.faces import MarginLine
from pinseat.ledger.findings import Finding
from pinseat.ledger.handover import Handover, Progress, quiet
from pinseat.ledger.pins import Pin, PinField
from pinseat.mesh.model import Mesh
from pinseat.reference import value
from pinseat.survey import checks
from pinseat.survey.assign import number_pins, teeth_of_pins
from pinseat.survey.callipers import field_of, network, sights
from pinseat.survey.contacts import faces_of
from pinseat.survey.contradictions import contradictions, mirrored, missing, solve_or_name
from pinseat.survey.draw import allowance_rad, window_of
from pinseat.survey.edits import Named, apply_edits
from pinseat.survey.find import Expected, Standing, find_pins
from pinseat.survey.model import PinFit, RegionNote, Rejected, SurveyResult
from pinseat.survey.plan import best_after, plan_for
from pinseat.survey.surface import Surface

Float = NDArray[np.float64]


def run(
    case: Case, upstream: Handover, progress: Progress = quiet, *, mesh: Mesh | None = None
) -> SurveyResult:
    """Survey a case.

    Parameters
    ----------
    case : Case
    upstream : Handover
        Survey comes first and needs nothing of it.
    progress : callable
    mesh : Mesh, optional
        The working scan in mm, neither smoothed nor thinned; calliper readings are used when left out.

    Returns
    -------
    SurveyResult

    Raises
    ------
    SurveyError
        Without scan and readings, without any pin, or when the scan cannot tell the teeth apart.
    """
    if not any(abutment.pins for abutment in case.abutments):
        raise SurveyError(
            "no abutment of this case has a pin", where="abutments", do="state pins = ... for each"
        )
    if mesh is not None:
        return _from_scan(case, mesh, progress)
    if case.callipers is not None:
        return _from_callipers(case, case.callipers, progress)
    raise SurveyError(
        "there is neither a scan nor a calliper reading", do="give [scan] or [callipers] in case.toml"
    )


def expected_pins(abutments: Sequence[Abutment]) -> Expected:
    """What the case says of the pins in the scan.

    With the impression pin's diameter a pin may be a tenth thinner or thicker; without it, anything from half
    the narrowest hole to a fifth over the widest. With its length, half to twice the expected protrusion.

    Parameters
    ----------
    abutments : sequence of Abutment
        Those that hold pins.

    Returns
    -------
    Expected
    """
    thin = [a.impression_pin_diameter_mm or 0.55 * a.hole_diameter_mm for a in abutments]
    thick = [a.impression_pin_diameter_mm or 1.1 * a.hole_diameter_mm for a in abutments]
    low, high = [], []
    for abutment in abutments:
        expected = checks.expected_protrusion(abutment)
        unknown = expected is None or expected <= 0.0
        low.append(1.2 * abutment.hole_diameter_mm if unknown or expected is None else 0.5 * expected)
        high.append(8.0 if unknown or expected is None else 2.0 * expected)
    return Expected((0.9 * min(thin), 1.1 * max(thick)), (min(low), max(high)))


def _from_scan(case: Case, mesh: Mesh, progress: Progress) -> SurveyResult:
    with_pins = [abutment for abutment in case.abutments if abutment.pins]
    surface, expected = Surface(mesh), expected_pins(with_pins)
    progress("finding the pins", 0.0)
    standing, rejected = find_pins(surface, expected, sum(abutment.pins for abutment in with_pins))
    progress("finding the pins", 0.7)
    named = _name(standing, teeth_of_pins(standing, with_pins, surface), case)
    kept, struck = apply_edits(named, case, surface, expected)
    if not kept:
        raise SurveyError(
            "no pin was found in this scan",
            value="; ".join(one.reason for one in rejected[:3]) or "nothing stands up from the surface",
            do='check the diameters in the case, or add the pins under [[pins]] with action = "add"',
        )
    field = _field(kept, _u_turn_rad(case))
    fits = tuple(_fit(one) for one in kept)
    found = [checks.pin_finding(fit) for fit in fits]
    found += checks.protrusion_findings(field, case.abutments)
    rejected = [*rejected, *struck]
    progress("cutting the draw window", 0.9)
    result = _finish(case, field, fits, rejected, surface, found)
    progress("cutting the draw window", 1.0)
    return result


def _name(standing: Sequence[Standing], teeth: Sequence[int], case: Case) -> list[Named]:
    """Pins with tooth and number."""
    feet = np.array([pin.foot for pin in standing]).reshape(-1, 3)
    numbers = number_pins(feet, teeth, case.abutments, _mean_axis(standing))
    return [Named(*number, pin) for number, pin in zip(numbers, standing, strict=True)]


def _mean_axis(standing: Sequence[Standing]) -> Float:
    total = np.sum([pin.axis for pin in standing], axis=0) if standing else np.array([0.0, 0.0, 1.0])
    return np.asarray(total / np.linalg.norm(total))


def _u_turn_rad(case: Case) -> float:
    """How far the scanner's form error turns a tooth: its trueness over the length in which it changes."""
    scan = case.scan or Scan(file="")
    ends = [value(f"scanner.{scan.scanner}_trueness_{end}_um").value for end in ("min", "max")]
    trueness_um = sum(ends) / 2.0 if scan.trueness_um is None else scan.trueness_um
    return 1e-3 * trueness_um / value("scanner.form_length_mm").value


def _field(named: Sequence[Named], u_turn_rad: float) -> PinField:
    covariance = np.zeros((4 * len(named), 4 * len(named)))
    for i, one in enumerate(named):
        covariance[4 * i : 4 * i + 4, 4 * i : 4 * i + 4] = one.pin.covariance
    pins = tuple(
        Pin(
            tooth=one.tooth,
            number=one.number,
            foot=one.pin.foot,
            axis=one.pin.axis,
            diameter_mm=one.pin.diameter_mm,
            protrusion_mm=one.pin.protrusion_mm,
            u_foot_depth_mm=one.pin.u_foot_depth_mm,
            u_diameter_mm=one.pin.u_diameter_mm,
            u_protrusion_mm=one.pin.u_protrusion_mm,
        )
        for one in named
    )
    return PinField(pins, covariance, "scan", u_turn_rad)


def _fit(one: Named) -> PinFit:
    pin = one.pin
    return PinFit(
        name=f"{one.tooth}-{one.number}",
        residual_um=1e3 * pin.residual_mm,
        coverage=pin.coverage,
        points=pin.points,
        edge_mm=pin.edge_mm,
        u_tilt_deg=math.degrees(math.sqrt(float(np.linalg.eigvalsh(pin.covariance[2:, 2:])[-1]))),
        stated=pin.stated,
    )


def _from_callipers(case: Case, callipers: Callipers, progress: Progress) -> SurveyResult:
    progress("adjusting the readings", 0.0)
    by_tooth = {abutment.tooth: abutment for abutment in case.abutments}
    for pin in callipers.layout:
        if pin.tooth not in by_tooth or pin.number > by_tooth[pin.tooth].pins:
            raise SurveyError(
                "the layout shows a pin that the case does not state",
                where="callipers.layout",
                value=f"{pin.tooth}-{pin.number}",
                limit=", ".join(f"{a.pins} in {a.tooth}" for a in case.abutments),
            )
    net = network(callipers)
    solved = solve_or_name(net, callipers.readings)
    field = field_of(net, solved, callipers.layout, case.abutments)
    play = {name: allowance_rad(by_tooth[int(name.split("-")[0])]) for name in net.names}
    seen = sights(net, solved, play)
    blind = sorted((one for one in seen if one.blind), key=lambda one: -one.u_deg / max(one.play_deg, 1e-9))
    found = contradictions(net, callipers.readings, solved)
    better = "take each reading once more, or set longer guide pins"
    if seen:
        following = best_after(callipers, net, play, callipers.readings, solved)
        rest = plan_for(callipers, net, play, callipers.readings)
        found.append(checks.sight_finding(seen, blind, following, rest.unseen))
        better = found[-1].do or better
        if following is not None:
            better = f"take one more reading {following.words}"
            found += [one for one in [missing(rest, len(callipers.readings))] if one is not None]
    unseen = [one.words for one in blind]
    two_ways = mirrored(net, solved, play)
    if two_ways is not None:
        found.append(two_ways)
        unseen.append(f"on which side of the line of the others {two_ways.where} stands")
    result = _finish(case, field, (), [], None, found, tuple(unseen), better)
    progress("adjusting the readings", 1.0)
    return result


def _finish(
    case: Case,
    field: PinField,
    fits: tuple[PinFit, ...],
    rejected: Sequence[Rejected],
    surface: Surface | None,
    found: Sequence[Finding],
    blind: tuple[str, ...] = (),
    better: str = checks.BETTER_SCAN,
) -> SurveyResult:
    """What scan and readings share: draw window, contact faces, findings."""
    window = window_of(field, case.abutments)
    regions: tuple[RegionNote, ...] = ()
    margins: tuple[MarginLine, ...] = ()
    grown: list[Finding] = []
    cut = ""
    if surface is not None and (case.regions or case.margins):
        from pinseat.survey.guides import narrowed  # most cases pick none: they start without it

        window, regions, margins, grown, cut = narrowed(case, surface.mesh, field, window)
    counted = checks.count_findings(field, case.abutments, rejected)
    if any(finding.verdict == "stop" for finding in counted):
        blind = (*blind, "all the pins the case states")
    splay = checks.splay_finding(field, window, better)
    draw = checks.draw_finding(window, better, splay, cut)
    return SurveyResult(
        field=field,
        fits=fits,
        rejected=tuple(rejected),
        window=window,
        regions=regions,
        faces=faces_of(case, field, window.centre, surface),
        blind=blind,
        findings=(
            draw,
            *([splay] if splay is not None else []),
            *counted,
            *grown,
            *found,
        ),
        margins=margins,
    )
