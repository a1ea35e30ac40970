"""Bring an older ``case.toml`` to the present layout; the file itself is left as it is."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from pinseat.errors import CaseError

SCHEMA = 1
"""The present layout."""

Document = dict[str, Any]


def migrate(document: Mapping[str, Any]) -> Document:
    """The document in the present layout.

    Parameters
    ----------
    document : mapping
        As read; its ``schema`` says which layout it has, the present one when there is none.

    Returns
    -------
    dict

    Raises
    ------
    CaseError
        For a layout that is not known: made by a later release, or not a number.
    """
    version = document.get("schema", SCHEMA)
    if not isinstance(version, int) or isinstance(version, bool) or version < 0:
        limit = f"a whole number up to {SCHEMA}"
        raise CaseError("schema says nothing that is known", where="schema", value=repr(version), limit=limit)
    if version > SCHEMA:
        raise CaseError(
            "this case was written by a later pinseat",
            where="schema",
            value=str(version),
            limit=f"at most {SCHEMA}",
            do="update pinseat",
        )
    new = dict(document)
    for step in STEPS[version:]:
        new = step(new)
    return new


def from_0(document: Mapping[str, Any]) -> Document:
    """Schema 0, before the first release: short names without a unit, and no table for the scan.

    Parameters
    ----------
    document : mapping

    Returns
    -------
    dict
        In the layout of schema 1.
    """
    new = _renamed(
        document, {"case": "number", "gap": "missing", "abutment": "abutments", "materials": "chain"}
    )
    new["schema"] = 1
    if isinstance(new.get("abutments"), list):
        new["abutments"] = [
            _renamed(a, _ABUTMENT_0) if isinstance(a, Mapping) else a for a in new["abutments"]
        ]
    if isinstance(new.get("scan"), str):
        new["scan"] = {"file": new["scan"]}
        if "scan_unit" in new:
            new["scan"]["unit"] = new.pop("scan_unit")
    if "limit" in new:
        new["seat"] = {"limit_um": new.pop("limit")}
    return new


_ABUTMENT_0 = {
    "hole_mm": "hole_diameter_mm",
    "depth_mm": "hole_depth_mm",
    "pin_mm": "cast_pin_diameter_mm",
    "relief_mm": "floor_relief_mm",
}


def _renamed(table: Mapping[str, Any], names: Mapping[str, str]) -> Document:
    return {names.get(key, key): value for key, value in table.items()}


STEPS: tuple[Callable[[Mapping[str, Any]], Document], ...] = (from_0,)
"""One step a layout: the first brings schema 0 to 1, and so on."""
