"""A finding: one thing that was checked, with its number, its limit and what to do about it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from pinseat.case.results import INFINITE

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


def stored_findings(payload: Mapping[str, Any]) -> list[Finding]:
    """Findings as they stand in a stored result; one that another release wrote in another shape is left out.

    Parameters
    ----------
    payload : mapping
        The result's own fields, plain.

    Examples
    --------
    >>> plain = {"code": "a.b", "where": "", "says": "Long.", "verdict": "stop", "value": "infinite"}
    >>> stored_findings({"findings": [plain, {"code": "old"}]})[0].value
    inf
    """
    known = {words: number for number, words in INFINITE.items()}
    found = []
    for plain in payload.get("findings", []):
        numbers = {
            key: known.get(plain.get(key), plain.get(key)) for key in ("value", "uncertainty", "limit")
        }
        try:
            found.append(Finding(**{**plain, **numbers}))
        except TypeError:
            continue
    return found
