"""Plating: from masked cups to a thickness map against the clock, with what the bench has to do."""

from __future__ import annotations

from pinseat.case.model import Case
from pinseat.errors import PlatingError
from pinseat.ledger.findings import Finding
from pinseat.ledger.handover import Handover, Progress, quiet
from pinseat.mesh.model import Mesh
from pinseat.plating import checks
from pinseat.plating.baths import Bath, bath_of
from pinseat.plating.calibration import Calibration, calibrate, calibrated
from pinseat.plating.hazards import hazard_findings
from pinseat.plating.pieces import Piece, pieces_of
from pinseat.plating.plan import aim_of, main_current_mA
from pinseat.plating.result import PlatingResult
from pinseat.plating.shares import pool

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
    return by_areas(case)


def by_areas(case: Case) -> PlatingResult:
    """The same from areas and Faraday's law alone, without a field: at once, and blind to floors and rims."""
    check_die(case)
    bath, told = bath_known(case)
    pieces = pieces_of(case)
    current = main_current_mA(case.plating, pieces)
    aim = aim_of(case.plating)
    whole, shares = pool(pieces, bath, current, aim.mean_mm)
    return PlatingResult(
        bath=bath,
        calibration=told,
        aim=aim,
        pool=whole,
        shares=shares,
        map=None,
        suggestions=(),
        findings=(*_bench_findings(case, bath, told, pieces, current), checks.mean_finding(whole)),
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
    case: Case, bath: Bath, told: Calibration | None, pieces: tuple[Piece, ...], current_mA: float
) -> list[Finding]:
    """What can be said from areas, currents and the bath, before any field."""
    whole, shares = pool(pieces, bath, current_mA, aim_of(case.plating).mean_mm)
    found = checks.density_findings(shares, pieces, bath, current_mA)
    if (split := checks.split_finding(whole, shares)) is not None:
        found.append(split)
    if (metal := checks.metal_finding(bath, case.chain.die)) is not None:
        found.append(metal)
    return [*hazard_findings(bath), *found, *checks.calibration_findings(told, bath)]
