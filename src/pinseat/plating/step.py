"""Plating: from masked cups to a thickness map against the clock, with what the bench has to do."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from pinseat.case.model import Case
from pinseat.errors import PlatingError
from pinseat.ledger.findings import Finding
from pinseat.ledger.handover import Handover, Progress, quiet
from pinseat.mesh.model import Mesh
from pinseat.plating import checks
from pinseat.plating.baths import Bath, bath_of
from pinseat.plating.calibration import Calibration, calibrate, calibrated
from pinseat.plating.covering import covering
from pinseat.plating.hazards import hazard_findings
from pinseat.plating.mapping import thickness_map
from pinseat.plating.pieces import Piece, pieces_of
from pinseat.plating.plan import (
    aim_of,
    electrolyte_of,
    main_current_mA,
    part_of,
    stages_of,
    steps_charge_mAh,
)
from pinseat.plating.result import Aim, PlatingResult, Suggestion, ThicknessMap
from pinseat.plating.shares import pool
from pinseat.plating.solve import Fineness, Map, lay_out, map_of
from pinseat.plating.suggest import Trials, suggestions
from pinseat.reference import value

PLATED = ("silver plated", "copper plated")
"""Dies that are plated."""


def applies(case: Case) -> bool:
    """Whether the die of a case is plated."""
    return case.chain.die in PLATED


def run(
    case: Case, upstream: Handover, progress: Progress = quiet, *, mesh: Mesh | None = None
) -> PlatingResult:
    """Plan the plating of a case.

    Parameters
    ----------
    case : Case
    upstream : Handover
        With a scan, needs the pins and the draw of survey.
    progress : callable
    mesh : Mesh, optional
        The working scan; pieces are idealised cups without it.

    Returns
    -------
    PlatingResult

    Raises
    ------
    PlatingError
        For a die that is not plated, and when the field cannot be solved.
    """
    return solved(case, upstream, progress, mesh=mesh)[0]


def solved(
    case: Case,
    upstream: Handover,
    progress: Progress = quiet,
    *,
    mesh: Mesh | None = None,
    fineness: Fineness | None = None,
) -> tuple[PlatingResult, Map]:
    """The same, and the map as the solver left it, for pictures and files.

    Parameters
    ----------
    case, upstream, progress, mesh
        As for :func:`run`.
    fineness : Fineness, optional

    Returns
    -------
    PlatingResult
    Map
    """
    plain = by_areas(case)
    pieces, bath, current = pieces_of(case), plain.bath, plain.pool.current_mA
    checks.check_current(plain.pool, pieces, bath)
    progress("cutting the cups out", 0.0)
    laid = lay_out(case, pieces, upstream, mesh, fineness)
    there = laid.shown(pieces)
    (begin, *_) = part_of(stages_of(case.plating, plain.aim, pieces, bath, current), pieces, there)
    covered = covering(laid.coarse, electrolyte_of(bath), begin.drive, begin.hours, progress)
    starts = max(len(covered), 1)
    stages = part_of(stages_of(case.plating, plain.aim, pieces, bath, current, starts), pieces, there)
    part = sum(piece.area_mm2 for piece in there) / sum(piece.area_mm2 for piece in pieces)
    trials = Trials(laid.coarse, case.plating, there, laid.stands, bath, part * current, part)
    made = map_of(
        laid,
        electrolyte_of(bath),
        stages,
        wanted_mm=plain.aim.minimum_mm,
        upstream=upstream,
        mesh=mesh,
        progress=progress,
    )
    progress("asking what the bath hides", 0.0)
    found = thickness_map(made.growth, bath, stages, trials.solve, laid.notes)
    found = replace(found, thinnest_mm=made.thinnest)
    tried = suggestions(trials, plain.aim, made.growth, stages, progress)
    aim = aim_of(case.plating, found if checks.trusted(found) else None, plain.aim.mean_mm)
    if mesh is not None:
        pieces = as_scanned(pieces, found)
    whole, shares = pool(pieces, bath, current, aim.mean_mm)
    bench = _bench_findings(case, bath, plain.calibration, pieces, current, aim.mean_mm)
    films = (checks.film_finding(found, case.plating.film_ohm), checks.bare_finding(covered))
    findings = (*_map_findings(found, aim, bath, tried), *(one for one in films if one), *bench)
    plated = replace(plain, aim=aim, pool=whole, shares=shares, map=found, suggestions=tried)
    return replace(plated, findings=findings, covering=covered), made


def as_scanned(pieces: Sequence[Piece], found: ThicknessMap) -> tuple[Piece, ...]:
    """Pieces with the areas that the scan has, where nobody stated one."""
    seen = {piece.name: piece.area_mm2 for piece in found.pieces}
    u = (value("piece.scanned_area_percent").uncertainty or 0.0) / 100.0
    return tuple(
        replace(piece, area_mm2=seen[piece.name], u_area_mm2=u * seen[piece.name], basis="from the scan")
        if piece.name in seen and piece.basis not in ("area stated", "read with a ruler")
        else piece
        for piece in pieces
    )


def _map_findings(found: ThicknessMap, aim: Aim, bath: Bath, tried: Sequence[Suggestion]) -> list[Finding]:
    """What the field says at the end of the programme."""
    hours = found.hours_to_mean(aim.mean_mm)
    rim = checks.rim_finding(found, aim, hours)
    return [
        checks.thin_finding(found, aim, hours, tried[0] if tried else None),
        *([rim] if rim is not None else []),
        *checks.field_findings(found, found.pieces, bath),
    ]


def by_areas(case: Case) -> PlatingResult:
    """The same from areas and Faraday's law alone, without a field: at once, and blind to floors and rims."""
    check_die(case)
    bath, told = bath_known(case)
    pieces = pieces_of(case)
    current = main_current_mA(case.plating, pieces)
    area = sum(piece.area_mm2 for piece in pieces)
    by_steps = steps_charge_mAh(case.plating) * bath.growth_mm3_mAh / area if case.plating.steps else None
    aim = aim_of(case.plating, by_steps_mm=by_steps)
    whole, shares = pool(pieces, bath, current, aim.mean_mm)
    return PlatingResult(
        bath=bath,
        calibration=told,
        aim=aim,
        pool=whole,
        shares=shares,
        map=None,
        suggestions=(),
        findings=(
            *_bench_findings(case, bath, told, pieces, current, aim.mean_mm),
            checks.mean_finding(whole),
        ),
    )


def check_die(case: Case) -> None:
    """Refuse a die that is not plated.

    Raises
    ------
    PlatingError
    """
    if not applies(case):
        limit = " or ".join(PLATED)
        raise PlatingError("this die is not plated", where="chain.die", value=case.chain.die, limit=limit)


def bath_known(case: Case) -> tuple[Bath, Calibration | None]:
    """The bath of a case, and what its small cell told, if there is one."""
    stated = case.plating
    bath = bath_of(stated.bath, case.chain.die, mouth=stated.mouth)
    if stated.cell is None and stated.two_plates is None:
        return bath, None
    told = calibrate(bath, stated.cell, stated.two_plates)
    return calibrated(bath, told), told


def _bench_findings(
    case: Case,
    bath: Bath,
    told: Calibration | None,
    pieces: tuple[Piece, ...],
    current_mA: float,
    mean_mm: float,
) -> list[Finding]:
    """What can be said from areas, currents and the bath, before any field."""
    whole, shares = pool(pieces, bath, current_mA, mean_mm)
    found = checks.density_findings(shares, pieces, bath, current_mA)
    if (split := checks.split_finding(whole, shares)) is not None:
        found.append(split)
    if (metal := checks.metal_finding(bath, case.chain.die)) is not None:
        found.append(metal)
    return [*hazard_findings(bath), *found, *checks.calibration_findings(told, bath)]
