"""One sourced value."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Basis = Literal["published", "from memory", "common practice", "assumed"]


@dataclass(frozen=True)
class Value:
    """A number of the trade with everything needed to judge it.

    Attributes
    ----------
    name : str
        Dotted; ends in its unit: ``crown.11.mesiodistal_mm``.
    value : float
        In `unit`.
    unit : str
    uncertainty : float or None
        One standard uncertainty (JCGM 100), in `unit`; None when the source states none or the number is a
        limit by definition (`uncertainty_stated` says which).
    uncertainty_stated : str
        The uncertainty as written in the data file: a number, ``rectangular 0.2``, ``not stated`` or
        ``none``.
    conditions : str
        What the number holds for.
    basis : {"published", "from memory", "common practice", "assumed"}
    reference : str
        Where it comes from.
    note : str
        Confidence, argument, limits of use.
    file : str
        Data file that holds it.
    """

    name: str
    value: float
    unit: str
    uncertainty: float | None
    uncertainty_stated: str
    conditions: str
    basis: Basis
    reference: str
    note: str
    file: str

    @property
    def cited(self) -> str:
        """Where it comes from, with its basis."""
        return self.reference if self.basis in self.reference else f"{self.reference} ({self.basis})"
