"""Teeth as they are written in the report: FDI first, Universal in brackets."""

from __future__ import annotations

from pinseat.case.teeth import to_universal


def both(tooth: int) -> str:
    """FDI with Universal in brackets.

    Examples
    --------
    >>> both(11)
    '11 (8)'
    """
    return f"{tooth} ({to_universal(tooth)})"
