"""A measured quantity beside its limit, ready to become a finding."""

from __future__ import annotations

from dataclasses import dataclass

from pinseat.ledger.findings import Verdict
from pinseat.ledger.verdict import against
from pinseat.reference import Value


@dataclass(frozen=True)
class Measure:
    """One quantity read off the scan.

    Attributes
    ----------
    code : str
        Stable, dotted, for machines: ``survey.thickness``.
    where : str
        Tooth, pin or region in words.
    says : str
        What was measured, in one sentence.
    value, u : float
        In `unit`; `u` is one standard uncertainty (JCGM 100).
    unit : str
    limit : float or None
        In `unit`; None where the trade states none.
    at_least : bool
        Whether the limit is the least that will do, not the most.
    limit_source : str
        Where the limit comes from, with its basis.

    Examples
    --------
    >>> thin = Measure("survey.thickness", "pin 11-2", "tooth left", 0.6, 0.05, "mm", 1.0, True, "a textbook")
    >>> thin.verdict, round(thin.spare, 3)
    ('stop', -0.4)
    """

    code: str
    where: str
    says: str
    value: float
    u: float
    unit: str
    limit: float | None = None
    at_least: bool = True
    limit_source: str = ""

    @property
    def spare(self) -> float | None:
        """What is left before the limit, negative beyond it; None without a limit."""
        if self.limit is None:
            return None
        return self.value - self.limit if self.at_least else self.limit - self.value

    @property
    def verdict(self) -> Verdict | None:
        """Verdict with the guard band of :func:`pinseat.ledger.verdict.against`; None without a limit."""
        spare = self.spare
        return None if spare is None else against(spare, self.u)


def source(limit: Value) -> str:
    """Where a limit comes from, with its basis and what it holds for."""
    return f"{limit.conditions}: {limit.cited}"
