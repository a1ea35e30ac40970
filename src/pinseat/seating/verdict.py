"""Goes home, will bind, or cannot tell: decided with the error of counting in hand."""

from __future__ import annotations

from collections.abc import Sequence

from pinseat.ledger.findings import SeatVerdict
from pinseat.seating.model import Chance

GUARD = 2.0
"""A limit counts as passed when it is this many standard errors of counting away (95 %, two-sided)."""
EVEN = 0.5
"""Below this the bridge is called binding."""


def above(chance: Chance, limit: float) -> bool:
    """Whether a probability is above a limit, counting error in hand."""
    return chance.probability - GUARD * chance.standard_error >= limit


def below(chance: Chance, limit: float) -> bool:
    """Whether a probability is below a limit, counting error in hand."""
    return chance.probability + GUARD * chance.standard_error < limit


def settled(chance: Chance, wanted: float) -> bool:
    """Whether more bridges could not change the verdict: the probability is clear of both borders.

    Parameters
    ----------
    chance : Chance
    wanted : float
    """
    return all(above(chance, border) or below(chance, border) for border in (EVEN, wanted))


def decide(
    home: Chance, down: Chance, *, wanted: float, limit_um: float, blind: Sequence[str] = ()
) -> tuple[SeatVerdict, str]:
    """The verdict and its reason.

    Missing readings can only concern the directions of the holes, and these only matter as the pins enter.
    So a bridge that mostly cannot come down even when it is entered `will bind` whatever they would show;
    any other with readings missing cannot be told.

    Parameters
    ----------
    home : Chance
        Of entering and coming within the limit.
    down : Chance
        Of coming within the limit, however it was entered.
    wanted, limit_um : float
    blind : sequence of str
        What the readings cannot see.

    Returns
    -------
    verdict : {"goes home", "will bind", "cannot tell"}
    why : str

    Examples
    --------
    >>> decide(Chance(0.97, 0.002), Chance(0.97, 0.002), wanted=0.9, limit_um=120.0)
    ('goes home', '97.0 % of the virtual bridges come within 120 um, 90 % wanted')
    >>> decide(Chance(0.6, 0.002), Chance(0.97, 0.002), wanted=0.9, limit_um=120.0, blind=["splay"])[0]
    'cannot tell'
    """
    share = f"{100.0 * home.probability:.1f} % of the virtual bridges come within {limit_um:g} um"
    if blind:
        if below(down, EVEN):
            seen = f"{100.0 * down.probability:.1f} % of the virtual bridges come within {limit_um:g} um"
            return "will bind", f"only {seen}, whatever the missing readings would show"
        return "cannot tell", f"readings are missing: {'; '.join(blind)} (with that left open, {share})"
    if above(home, wanted):
        return "goes home", f"{share}, {100.0 * wanted:g} % wanted"
    if below(home, EVEN):
        return "will bind", f"only {share}"
    return "cannot tell", f"the probability lies between: {share}, {100.0 * wanted:g} % wanted"
