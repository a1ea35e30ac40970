"""The JSON Schema of ``case.toml``, made from the classes that read it."""

from __future__ import annotations

import re
from typing import Any

from pinseat.case.model import Case

_TYPED = {
    "description": "a number in quotes, with a decimal comma or point",
    "examples": ["18,42"],
    "pattern": "^ *[+-]?([0-9]+([.,][0-9]*)?|[.,][0-9]+)([eE][+-]?[0-9]+)? *$",
    "title": "TypedNumber",
    "type": "string",
}
_LIMITS = {"gt": "exclusiveMinimum", "ge": "minimum", "lt": "exclusiveMaximum", "le": "maximum"}
_UNITS = {"mm": "mm", "um": "um", "deg": "deg"}


def case_schema() -> dict[str, Any]:
    """The layout of ``case.toml`` for editors and other programs.

    Returns
    -------
    dict
        JSON Schema, draft 2020-12. Numbers may be typed as words with a decimal comma. Keys that end in a
        unit carry it as ``unit``, an annotation.

    Examples
    --------
    >>> case_schema()["required"]
    ['number', 'missing', 'abutments']
    """
    schema = Case.model_json_schema(by_alias=True)
    plain: dict[str, Any] = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": "urn:pinseat:case:1",
        **_readable(schema),
    }
    plain["title"] = "case.toml"
    plain["$defs"] = {**plain["$defs"], "TypedNumber": _TYPED}
    return plain


def _readable(node: Any) -> Any:
    if isinstance(node, list):
        return [_readable(item) for item in node]
    if not isinstance(node, dict):
        return node
    out: dict[str, Any] = {}
    for name, value in node.items():
        if name == "properties":
            out[name] = {k: _described(_readable(v), k) for k, v in value.items()}
        elif name == "description" and isinstance(value, str):
            out[name] = _first_paragraph(value)
        elif name in ("title", "default"):
            out[name] = value
        else:
            out[str(_LIMITS.get(name, name))] = _readable(value)
    if out.get("type") == "number":
        return _number(out)
    return _without_null(out)


def _number(node: dict[str, Any]) -> dict[str, Any]:
    """A number, or the same typed with a decimal comma."""
    limits = {k: v for k, v in node.items() if k in ("type", *_LIMITS.values())}
    rest = {k: v for k, v in node.items() if k not in limits}
    return {**rest, "anyOf": [limits, {"$ref": "#/$defs/TypedNumber"}]}


def _without_null(node: dict[str, Any]) -> dict[str, Any]:
    """TOML knows no null: a key that may be left out is just left out."""
    choices = node.get("anyOf")
    if choices is None or {"type": "null"} not in choices:
        return node
    kept = [c for c in choices if c != {"type": "null"}]
    rest = {k: v for k, v in node.items() if k != "anyOf" and (k, v) != ("default", None)}
    return {**rest, **kept[0]} if len(kept) == 1 else {**rest, "anyOf": kept}


def _described(node: dict[str, Any], key: str) -> dict[str, Any]:
    stem, _, unit = key.rpartition("_")
    words = stem if unit in _UNITS and stem else key
    titled = {**node, "title": words.replace("_", " ")}
    if unit in _UNITS and stem:
        titled["unit"] = _UNITS[unit]
    return titled


def _first_paragraph(text: str) -> str:
    return re.sub(r"\s+", " ", text.split("\n\n")[0]).replace("``", "").strip()
