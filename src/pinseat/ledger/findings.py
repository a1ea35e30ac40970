"""A finding: one thing that was checked, with its number, its limit and what to do about it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Verdict = Literal["clear", "caution", "stop", "cannot tell"]
SeatVerdict = Literal["goes home", "will bind", "cannot tell"]


@dataclass(frozen=True)
class Finding:
    """One checked quantity.

    Attributes
    ----------
    code : str
        Stable, dotted, for machines: ``survey.splay``.
    where : str
        Tooth, pin or zone in words: ``pin 11-2``; empty when it is the whole case.
    says : str
        One sentence for the person, without the numbers repeated.
    verdict : {"clear", "caution", "stop", "cannot tell"}
    value, uncertainty : float or None
        In `unit`; the uncertainty is one standard uncertainty (JCGM 100).
    unit : str
    limit : float or None
        In `unit`.
    limit_source : str
        Where the limit comes from, with its basis.
    do : str
        What to do; empty when nothing is needed.
    """

    code: str
    where: str
    says: str
    verdict: Verdict
    value: float | None = None
    uncertainty: float | None = None
    unit: str = ""
    limit: float | None = None
    limit_source: str = ""
    do: str = ""
