"""The recipe as a step: worked out from the case, then set as a card for the bench and one for the chair."""

from __future__ import annotations

from dataclasses import replace

from pinseat.casting import recipe
from pinseat.casting.model import RecipeResult
from pinseat.chain.work import Work
from pinseat.reference import recording, value


def make(work: Work) -> RecipeResult:
    """Work out the recipe and set its cards."""
    with recording() as names:
        result = recipe.run(work.case, work.handover(), work.progress)
    used = [value(name) for name in sorted(names)]
    from pinseat.report.recipe_sheet import write_cards

    work.progress("setting the cards", 0.0)
    written = write_cards(work.folder, work.case, result, work.result("casting"), work.meta, used)
    return replace(result, files=tuple(path.relative_to(work.folder).as_posix() for path in written))
