"""The recipe: mould, metal, span, day and cement of this case."""

from __future__ import annotations

from pinseat.case.model import Case
from pinseat.casting.beam import beam_of
from pinseat.casting.cement_checks import cement_findings
from pinseat.casting.cementing import cement
from pinseat.casting.compensation import compensate
from pinseat.casting.copies import ledger_rows
from pinseat.casting.day import day_of
from pinseat.casting.metal import metal_of
from pinseat.casting.model import RecipeResult
from pinseat.casting.recipe_checks import beam_findings, day_findings, metal_findings, mould_findings
from pinseat.errors import CastingError
from pinseat.ledger.handover import Handover, Progress, quiet


def run(case: Case, upstream: Handover, progress: Progress = quiet) -> RecipeResult:
    """Work out the recipe of a case.

    Parameters
    ----------
    case : Case
    upstream : Handover
        Needs the pins of survey; takes its draw when there is one.
    progress : callable

    Returns
    -------
    RecipeResult
        Without files; whoever sets the card adds them.

    Raises
    ------
    CastingError
        Without surveyed pins, or when the readings of the case contradict each other.
    """
    field = upstream.field
    if field is None:
        raise CastingError("the pins have not been surveyed yet", do="run survey first")
    progress("working out the recipe", 0.0)
    mould = compensate(case, ledger_rows(case, upstream.impression), field, upstream.draw)
    metal, beam, day = metal_of(case), beam_of(case), day_of(case)
    progress("working out the recipe", 0.6)
    cementing = cement(case, field)
    progress("working out the recipe", 1.0)
    return RecipeResult(
        mould=mould,
        metal=metal,
        beam=beam,
        day=day,
        cement=cementing,
        findings=(
            *mould_findings(case, mould),
            *metal_findings(case, metal),
            *beam_findings(case, beam),
            *day_findings(day),
            *cement_findings(case, cementing),
        ),
    )
