"""How sure a verdict must be: the guard band of ISO 14253-1."""

from __future__ import annotations

from scipy.special import ndtr, ndtri

from pinseat.ledger.findings import Verdict
from pinseat.reference import value


def sure() -> float:
    """Probability at which a limit counts as kept, or as broken."""
    return value("verdict.conformance_probability").value


def one_sided() -> float:
    """Standard uncertainties between a value and its limit before either is called: 1.645 for 0.95."""
    return float(ndtri(sure()))


def against(spare: float, u: float) -> Verdict:
    """Verdict on what is left before a limit.

    Parameters
    ----------
    spare : float
        Limit less value: positive = within.
    u : float
        Its standard uncertainty.

    Returns
    -------
    {"clear", "stop", "cannot tell"}

    Examples
    --------
    >>> against(0.5, 0.1), against(-0.5, 0.1), against(0.1, 0.1)
    ('clear', 'stop', 'cannot tell')
    """
    guard = one_sided() * u
    if spare >= guard and spare >= 0.0:
        return "clear"
    return "stop" if spare <= -guard else "cannot tell"


def of_chance(probability: float) -> Verdict:
    """Verdict on the probability that a limit is kept: sure, surely not, rather not, or nobody can tell.

    Examples
    --------
    >>> [of_chance(p) for p in (0.99, 0.7, 0.2, 0.01)]
    ['clear', 'cannot tell', 'caution', 'stop']
    """
    if probability >= sure():
        return "clear"
    if probability <= 1.0 - sure():
        return "stop"
    return "caution" if probability < 0.5 else "cannot tell"


def chance_words(over: float, u: float) -> str:
    """Chance that a true value lies over its limit, for a normal error; never told as certain.

    Parameters
    ----------
    over : float
        Value less limit.
    u : float
        Its standard uncertainty.

    Examples
    --------
    >>> chance_words(0.524, 0.27), chance_words(3.0, 0.1)
    ('97.4 %', 'over 99.9 %')
    """
    chance = 100.0 * float(ndtr(over / u)) if u > 0.0 else 100.0
    return f"{chance:.1f} %" if chance <= 99.9 else "over 99.9 %"


def rule_words() -> str:
    """The rule in words, for the source of a limit."""
    rule = value("verdict.conformance_probability")
    return f"decided at {rule.value:.0%} by {rule.cited}"
