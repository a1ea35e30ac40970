"""Fields in which every fact of a case can be stated, made from the case's own schema.

A field is an input with its place in ``case.toml``; nothing here knows what the fields mean.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from functools import cache
from typing import Any

from markupsafe import Markup

from pinseat.case.lines import Place
from pinseat.case.schema import case_schema
from pinseat.case.trouble import UNFILLED
from pinseat.errors import CaseError, UnitError
from pinseat.units import reading
from pinseat.workbench.html import tag
from pinseat.workbench.words import plain, unit_of

Node = Mapping[str, Any]


@cache
def schema() -> dict[str, Any]:
    """The schema of a case, made once."""
    return case_schema()


def node_at(place: Place) -> Node:
    """The schema of a place.

    Raises
    ------
    CaseError
        When no case has such a place.
    """
    node: Node = schema()
    for key in place:
        node = resolved(node)
        if isinstance(key, int):
            inner = node.get("prefixItems", [])
            node = inner[key] if key < len(inner) else node.get("items", {})
        else:
            node = node.get("properties", {}).get(key, {})
        if not node:
            raise CaseError("no case has such a place", value=".".join(map(str, place)))
    return resolved(node)


def resolved(node: Node) -> Node:
    """A schema node with what it refers to."""
    while "$ref" in node:
        held = schema()["$defs"][str(node["$ref"]).rsplit("/", 1)[1]]
        node = {**held, **{k: v for k, v in node.items() if k != "$ref"}}
    return node


def kind_of(node: Node) -> str:
    """``number``, ``integer``, ``choice``, ``yes``, ``words``, ``list``, ``table`` or ``tables``."""
    node = resolved(node)
    if "enum" in node or "const" in node:
        return "choice"
    if node.get("type") == "array":
        inner = resolved(node.get("items", {}))
        return "tables" if inner.get("type") == "object" else "list"
    if node.get("type") == "object":
        return "table"
    if "anyOf" in node:
        kinds = [kind_of(one) for one in node["anyOf"]]
        return "number" if "number" in kinds else kinds[0]
    return {"integer": "integer", "number": "number", "boolean": "yes"}.get(str(node.get("type")), "words")


def typed(place: Place, text: str) -> Any:
    """What a person typed at a place, as it goes into the file; None when it was emptied.

    Parameters
    ----------
    place : tuple of str and int
    text : str
        Numbers with comma or point; lists with spaces or semicolons between.

    Raises
    ------
    CaseError
        When it cannot be read as what belongs there.

    Examples
    --------
    >>> typed(("missing",), "12 11"), typed(("seat", "limit_um"), "80,5"), typed(("title",), " ")
    ([12, 11], 80.5, None)
    """
    node, text = node_at(place), text.strip()
    if not text:
        return None
    kind = kind_of(node)
    if kind == "list":
        inner = node.get("prefixItems", [])
        parts = text.replace(";", " ").replace("[", " ").replace("]", " ").split()
        if inner and len(parts) != len(inner):
            raise CaseError("this needs several values", value=text, limit=f"{len(inner)} of them")
        return [_one(inner[i] if inner else node.get("items", {}), part) for i, part in enumerate(parts)]
    return _one(node, text)


def _one(node: Node, text: str) -> Any:
    kind = kind_of(node)
    if kind == "number":
        return _number(text)
    if kind == "integer":
        value = _number(text)
        if value != int(value):
            raise CaseError("this is not a whole number", value=text)
        return int(value)
    if kind == "yes":
        return text.casefold() in ("yes", "true", "1", "on")
    if kind == "choice" and all(isinstance(one, int) for one in resolved(node).get("enum", [""])):
        return int(_number(text))
    return text


def _number(text: str) -> float:
    try:
        return reading(text)
    except UnitError as error:
        raise CaseError(error.what, value=error.value, limit=error.limit, do=error.do) from None


def part(key: str, document: Mapping[str, Any]) -> Markup:
    """All facts of one part of a case.

    Parameters
    ----------
    key : str
        At the top of ``case.toml``.
    document : mapping
        The whole document.
    """
    node = node_at((key,))
    return _fact((key,), node, document.get(key))


def _fact(place: Place, node: Node, held: Any) -> Markup:
    kind = kind_of(node)
    if kind == "table":
        return _table(place, node, held if isinstance(held, Mapping) else None)
    if kind == "tables":
        return _tables(place, node, held if isinstance(held, Sequence) and not isinstance(held, str) else [])
    return _row(place, node, [(place, held)])


def _table(place: Place, node: Node, held: Mapping[str, Any] | None) -> Markup:
    properties = node.get("properties", {})
    rows = [_fact((*place, key), resolved(inner), (held or {}).get(key)) for key, inner in properties.items()]
    return tag(
        "fieldset",
        tag("legend", str(node.get("title", plain(str(place[-1])))).capitalize()),
        tag("p", _sentence(node), class_="hint") if node.get("description") else None,
        tag("div", rows, class_="facts"),
        _taking_out(place, f"Take {plain(str(place[-1]))} out", in_words=True)
        if held is not None and len(place) == 1 and default_free(place)
        else None,
        class_="fact-table",
    )


def _tables(place: Place, node: Node, held: Sequence[Any]) -> Markup:
    inner = resolved(node.get("items", {}))
    properties = inner.get("properties", {})
    items = [item if isinstance(item, Mapping) else {} for item in held]
    words = plain(str(place[-1]))
    head = [
        tag(
            "th",
            _item_name(item, i),
            _taking_out((*place, i), f"Take {_item_name(item, i)} out of {words}"),
            scope="col",
        )
        for i, item in enumerate(items)
    ]
    rows = [_row_of(place, key, resolved(field), items) for key, field in properties.items() if len(items)]
    table = tag(
        "div",
        tag(
            "table",
            tag("caption", f"{words}, side by side", class_="unseen"),
            tag("thead", tag("tr", tag("td"), head)),
            tag("tbody", rows),
            class_="side",
        ),
        class_="wide",
        tabindex="0",
        role="group",
        aria_label=f"{words}, side by side",
    )
    return tag(
        "fieldset",
        tag("legend", words.capitalize()),
        tag("p", _sentence(node), class_="hint") if node.get("description") else None,
        table if items else tag("p", "None stated.", class_="none"),
        _adding(place, inner, len(items), words),
        class_="fact-table",
    )


def _item_name(item: Mapping[str, Any], i: int) -> str:
    if "tooth" in item and item["tooth"] != UNFILLED:
        number = f"-{item['number']}" if "number" in item else ""
        return f"{item['tooth']}{number}" + (f" {item['kind']}" if "kind" in item else "")
    for key in ("copy", "name", "kind"):
        if isinstance(item.get(key), str) and item[key] != UNFILLED:
            return str(item[key])
    return str(i + 1)


def _row_of(place: Place, key: str, node: Node, items: Sequence[Mapping[str, Any]]) -> Markup:
    """One field of every item, side by side."""
    inner = kind_of(node)
    cells = []
    for i, item in enumerate(items):
        where = (*place, i, key)
        held = item.get(key)
        if inner in ("table", "tables"):
            cells.append(tag("td", _nested(held), class_="small"))
        else:
            cells.append(
                tag("td", _input(where, node, held, f"{_label(where, node)}, {_item_name(item, i)}"))
            )
    label = _label((*place, key), node)
    unit = unit_of(key)
    return tag(
        "tr",
        tag("th", label, tag("span", f" {unit}", class_="unit") if unit else None, _about(node), scope="row"),
        cells,
    )


def _nested(held: Any) -> str:
    if held is None:
        return "not stated"
    return f"{len(held)} stated; edit case.toml" if isinstance(held, list) else "stated; edit case.toml"


def _row(place: Place, node: Node, cells: Sequence[tuple[Place, Any]]) -> Markup:
    label = _label(place, node)
    unit = unit_of(str(place[-1]))
    inputs = [_input(where, node, held, label) for where, held in cells]
    return tag(
        "div",
        tag("div", tag("span", label.capitalize(), class_="label"), _about(node), class_="what"),
        tag("div", inputs, tag("span", unit, class_="unit") if unit else None, class_="entry"),
        class_="fact",
    )


def _label(place: Place, node: Node) -> str:
    return plain(str(place[-1])) if not node.get("title") else str(node["title"]).replace("_", " ")


def _input(place: Place, node: Node, held: Any, label: str) -> Markup:
    kind = kind_of(node)
    named = json.dumps(list(place))
    shown = "" if held is None or held == UNFILLED else _shown(held)
    default = node.get("default")
    missing = held == UNFILLED
    attributes: dict[str, Any] = {
        "aria_label": label,
        "data_place": named,
        "data_was": shown,
        "class_": "missing" if missing else ("given" if held is not None else "left"),
        "aria_invalid": "true" if missing else None,
    }
    if kind in ("choice", "yes"):
        choices = (
            ["yes", "no"] if kind == "yes" else [str(one) for one in node.get("enum", [node.get("const")])]
        )
        left = _shown(default) if default is not None else "not stated"
        blank = tag(
            "option",
            "choose" if missing else f"{left} (not stated)" if default is not None else left,
            value="",
            selected=not shown,
        )
        options = [tag("option", one, value=one, selected=one == shown) for one in choices]
        return tag("select", blank, options, **attributes)
    hint = _shown(default) if default not in (None, (), []) else ("to be filled in" if missing else "")
    numeric = kind in ("number", "integer", "list")
    return tag(
        "input",
        type="text",
        value=shown,
        placeholder=hint or None,
        inputmode="decimal" if kind in ("number", "integer") else None,
        autocomplete="off",
        spellcheck="false",
        size={"number": 8, "integer": 5, "list": 18}.get(kind, 22) if numeric else 22,
        **attributes,
    )


def _shown(held: Any) -> str:
    if isinstance(held, bool):
        return "yes" if held else "no"
    if isinstance(held, float):
        return f"{held:.6g}"
    if isinstance(held, list | tuple):
        return " ".join(_shown(one) for one in held if one != UNFILLED)
    return str(held)


def _about(node: Node) -> Markup | None:
    """What the field means, and what is taken when it is left out."""
    said = _sentence(node)
    default = node.get("default")
    if default not in (None, (), []) and not isinstance(default, dict):
        said += f" Taken when not stated: {_shown(default)}."
    limits = _limits(node)
    if limits:
        said += f" {limits}"
    if not said:
        return None
    return tag("details", tag("summary", "i", aria_label="what this means"), tag("p", said), class_="about")


def _limits(node: Node) -> str:
    bounds = next((one for one in node.get("anyOf", [node]) if "type" in one), node)
    said = []
    for key, words in (
        ("minimum", "at least"),
        ("exclusiveMinimum", "more than"),
        ("maximum", "at most"),
        ("exclusiveMaximum", "less than"),
    ):
        if key in bounds:
            said.append(f"{words} {bounds[key]:g}")
    return f"Accepted: {', '.join(said)}." if said else ""


def _sentence(node: Node) -> str:
    words = str(node.get("description", "")).strip()
    return words[:1].upper() + words[1:] + ("" if not words or words.endswith((".", "?")) else ".")


def default_free(place: Place) -> bool:
    """Whether a part is there only because somebody stated it."""
    return "default" not in node_at(place) or node_at(place)["default"] is None


def _taking_out(place: Place, label: str, *, in_words: bool = False) -> Markup:
    return tag(
        "button",
        label if in_words else "×",
        type="button",
        class_="out",
        data_out=json.dumps(list(place)),
        aria_label=label,
        title=label,
    )


def _adding(place: Place, inner: Node, count: int, words: str) -> Markup:
    """A button that adds an item whose needed fields are still to be filled in."""
    needed = dict.fromkeys(inner.get("required", []), UNFILLED)
    return tag(
        "button",
        f"Add to {words}",
        type="button",
        class_="add",
        data_add=json.dumps([*place, count]),
        data_item=json.dumps(needed),
    )
