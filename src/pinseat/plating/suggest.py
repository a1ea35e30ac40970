"""What to change at the bench: a few arrangements and currents tried, the shortest good programme first."""

from __future__ import annotations

from collections.abc import Sequence

from pinseat.case.model import Case
from pinseat.case.plating import Rod
from pinseat.errors import PlatingError
from pinseat.ledger.handover import Handover, Progress, quiet
from pinseat.mesh.model import Mesh
from pinseat.plating.baths import Bath
from pinseat.plating.model import Geometry
from pinseat.plating.pieces import Piece
from pinseat.plating.plan import electrolyte_of
from pinseat.plating.result import Aim, Suggestion
from pinseat.plating.search import Setup, Trial, search
from pinseat.plating.solve import coarse_of

SETUPS = (Setup(), Setup(mask_mm=0.5), Setup(rod_above_mm=3.0))
"""What is tried: as it is, the rim covered, a rod in each cup."""
SHARES = (0.25, 0.5, 1.0)
"""Currents that are tried, over the planned one."""
MOST = 5
"""Longest list."""


def suggestions(
    case: Case,
    pieces: Sequence[Piece],
    bath: Bath,
    aim: Aim,
    current_mA: float,
    *,
    upstream: Handover,
    mesh: Mesh | None = None,
    metal_mm: float | None = None,
    progress: Progress = quiet,
) -> tuple[Suggestion, ...]:
    """Try arrangements and currents on coarse cells.

    Parameters
    ----------
    case : Case
    pieces : sequence of Piece
    bath : Bath
    aim : Aim
    current_mA : float
        Planned main current.
    upstream : Handover
    mesh : Mesh, optional
        The working scan.
    metal_mm : float, optional
        Cell edge at metal.
    progress : callable

    Returns
    -------
    tuple of Suggestion
        Programmes that reach the minimum everywhere without passing the rim's limit, those that no other
        beats in both time and evenness, the shortest first. Empty when there is none.
    """
    trials: list[Trial] = []
    for i, setup in enumerate(SETUPS):
        progress("trying arrangements", i / len(SETUPS))

        def make(wanted: Setup) -> Geometry:
            return coarse_of(arranged(case, pieces, wanted), pieces, upstream, mesh, metal_mm)

        try:
            trials += search(
                make,
                electrolyte_of(bath),
                (setup,),
                [share * current_mA for share in SHARES],
                wanted_mm=aim.minimum_mm,
                rim_limit_mm=max(aim.rim_mm, 1.01 * aim.minimum_mm),
                density_limit_A_m2=bath.density_limit_A_m2,
            )
        except PlatingError:
            continue  # a rod that meets a pin, a mask that leaves no metal: not a change that can be made
    good = sorted((t for t in trials if t.steps), key=lambda t: (t.hours, t.rim_mm))
    kept = [t for t in good if not any(_beats(other, t) for other in good)]
    return tuple(Suggestion(t.what, t.hours, t.minimum_mm, t.rim_mm) for t in kept[:MOST])


def arranged(case: Case, pieces: Sequence[Piece], setup: Setup) -> Case:
    """The case with another mask or rods; what it states stays unless the setup changes it."""
    changes: dict[str, object] = {}
    if setup.mask_mm > 0.0:
        changes["mask_mm"] = setup.mask_mm
    if setup.rod_above_mm is not None:
        changes["rods"] = tuple(
            Rod(piece=piece.name, bare_mm=setup.rod_bare_mm, above_floor_mm=setup.rod_above_mm)
            for piece in pieces
            if piece.form == "cup"
        )
    return case.model_copy(update={"plating": case.plating.model_copy(update=changes)})


def _beats(one: Trial, other: Trial) -> bool:
    """Whether a programme is no longer and no less even than another, and better in one of the two."""
    if one is other:
        return False
    at_least = one.hours <= other.hours and one.rim_mm <= other.rim_mm
    return at_least and (one.hours < other.hours or one.rim_mm < other.rim_mm)
