"""Something wrong at one place of the case document, and how it is told."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from types import UnionType
from typing import Any, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError

from pinseat.case.lines import Place, line_of
from pinseat.case.model import Case
from pinseat.errors import CaseError

UNFILLED = "?"
"""What the template holds where a person still has to write something."""


@dataclass(frozen=True)
class Trouble:
    """One thing that is wrong.

    Attributes
    ----------
    place : tuple of str and int
        Keys and list places (counted from 0) from the top of the document.
    what, value, limit, do : str
        As in :class:`pinseat.errors.PinseatError`.
    """

    place: Place
    what: str
    value: str = ""
    limit: str = ""
    do: str = ""


def field_name(place: Place, document: Mapping[str, Any]) -> str:
    """A place in words: list items counted from 1, with their tooth where they have one.

    Examples
    --------
    >>> field_name(("abutments", 1, "hole_depth_mm"), {"abutments": [{"tooth": 11}, {"tooth": 22}]})
    'abutments[2].hole_depth_mm (tooth 22)'
    """
    words, tooth = "", ""
    at: Any = document
    for part in place:
        words += f"[{part + 1}]" if isinstance(part, int) else f".{part}" if words else part
        try:
            at = at[part]
        except (KeyError, IndexError, TypeError):
            at = None
        if isinstance(at, Mapping) and isinstance(at.get("tooth"), int):
            tooth = f" (tooth {at['tooth']})"
    return words + ("" if place and place[-1] == "tooth" else tooth)


def told(
    troubles: Iterable[Trouble], path: Path, document: Mapping[str, Any], places: Mapping[Place, int]
) -> list[tuple[int | None, CaseError]]:
    """Every trouble as its line number and an error of one line, in the order of the file.

    Parameters
    ----------
    troubles : iterable of Trouble
    path : Path
        Of the file.
    document : mapping
        What was read from it.
    places : mapping
        From :func:`pinseat.case.lines.lines_of`.

    Returns
    -------
    list of tuple
        The line is None when it cannot be told.
    """
    lined = [(line_of(places, t.place), t) for t in troubles]
    lined.sort(key=lambda pair: pair[0] or 0)
    errors = []
    for line, trouble in lined:
        where = [str(path), f"line {line}" if line else "", field_name(trouble.place, document)]
        error = CaseError(
            trouble.what,
            where=", ".join(part for part in where if part),
            value=trouble.value,
            limit=trouble.limit,
            do=trouble.do,
        )
        errors.append((line, error))
    return errors


def from_validation(error: ValidationError) -> list[Trouble]:
    """What pydantic found, in plain words.

    Parameters
    ----------
    error : ValidationError
        Of a :class:`~pinseat.case.model.Case`.

    Returns
    -------
    list of Trouble
        One a place: the rest of what is said about it is left out.
    """
    items = error.errors(include_url=False)
    strays = [item["loc"] for item in items if item["type"] == "extra_forbidden"]
    meant = {_meant(place)[0] for place in strays}
    found: dict[Place, Trouble] = {}
    for item in items:
        place, kind = item["loc"], item["type"]
        misplaced = kind == "missing" and place[-1] in meant
        hollow = kind == "too_short" and any(
            other["loc"][: len(place)] == place for other in items if other is not item
        )  # items that could not be read are not counted
        if not (misplaced or hollow):
            found.setdefault(place, _from_item(dict(item)))
    return list(found.values())


def unfilled(document: Any, place: Place = ()) -> list[Trouble]:
    """Every place where the template's question mark still stands.

    Parameters
    ----------
    document : object
        What was read, or a part of it.
    place : tuple of str and int
        Where that part stands.

    Returns
    -------
    list of Trouble
    """
    if document == UNFILLED:
        return [Trouble(place, _with_meaning("this is still to be filled in", place))]
    inner: list[tuple[str | int, Any]] = []
    if isinstance(document, dict):
        inner = list(document.items())
    if isinstance(document, list):
        inner = list(enumerate(document))
    return [trouble for key, value in inner for trouble in unfilled(value, (*place, key))]


def _from_item(item: Mapping[str, Any]) -> Trouble:
    place, kind, given = item["loc"], item["type"], item["input"]
    context = item.get("ctx", {})
    limit = _limit(kind, context, str(place[-1]))
    if kind == "extra_forbidden":
        return Trouble(place, "this key is not known", do=_meant(place)[1])
    if kind == "missing":
        if isinstance(place[-1], int):
            wanted = f"{len(get_args(_hint(place[:-1])))} values"
            return Trouble(place[:-1], "there are too few values", _shown(given), wanted)
        return Trouble(place, _with_meaning("this is missing", place), do="add it")
    if kind == "too_long":
        numbers = str not in get_args(_hint(place))
        do = 'write decimal commas in quotes, such as "18,42"' if numbers else ""
        return Trouble(place, "there are too many values", _shown(given), limit, do)
    what = context.get("what") or _WHAT.get(kind, "this cannot be used here")
    do = context.get("do", "")
    if kind == "number" and isinstance(given, list):
        what, do = "this is a list where one number belongs", 'write a decimal comma in quotes, as "2,5"'
    return Trouble(place, what, _shown(given), limit, do)


_WHAT = {
    "greater_than": "this is too small",
    "greater_than_equal": "this is too small",
    "less_than": "this is too large",
    "less_than_equal": "this is too large",
    "int_type": "this is not a whole number",
    "int_parsing": "this is not a whole number",
    "int_from_float": "this is not a whole number",
    "literal_error": "this is not one of the choices",
    "string_type": "this must be words in quotes",
    "string_too_short": "this is empty",
    "too_short": "there are too few values",
    "too_long": "there are too many values",
    "tuple_type": "this must be a list in [ ]",
    "model_type": "this must be a table of keys",
}


def _limit(kind: str, context: Mapping[str, Any], key: str) -> str:
    unit = next((f" {u}" for u in ("mm", "um") if key.endswith(f"_{u}")), "")
    match kind:
        case "greater_than":
            return f"more than {context['gt']:g}{unit}"
        case "greater_than_equal":
            return f"at least {context['ge']:g}{unit}"
        case "less_than":
            return f"less than {context['lt']:g}{unit}"
        case "less_than_equal":
            return f"at most {context['le']:g}{unit}"
        case "number":
            return 'one number, such as 18.42 or "18,42"'
        case "tuple_type":
            return "a list such as [11, 22]"
        case "literal_error":
            return str(context["expected"]).replace("'", '"')
        case "too_short":
            return f"at least {context['min_length']}"
        case "too_long":
            return f"{context['max_length']} values"
        case _:
            return ""


def _shown(value: Any) -> str:
    if isinstance(value, Mapping):
        return "a table"
    text = str(value).lower() if isinstance(value, bool) else repr(value)
    text = text.replace("'", '"')
    return text if len(text) <= 60 else text[:57] + "..."


def _with_meaning(what: str, place: Place) -> str:
    """The sentence, with what belongs at the place."""
    model = _model(place[:-1])
    for name, field in model.model_fields.items() if model else ():
        if place[-1] in (name, field.alias) and field.description:
            return f"{what}: {field.description}"
    return what


def _meant(place: Place) -> tuple[str, str]:
    """The key that was probably meant by an unknown one, and what to say about it."""
    key = str(place[-1])
    model = _model(place[:-1])
    known = _keys(model) if model else []
    close = difflib.get_close_matches(key, known, 1, 0.6)
    if close:
        return close[0], f"did you mean {close[0]}?"
    if len(place) > 1 and key in _keys(Case):
        return key, "it belongs at the top of the file, above the first [table]"
    for name, field in Case.model_fields.items():
        part = _part(field.annotation)
        if part and key in _keys(part):
            return key, f"it belongs to {name}"
    return "", f"the keys here are {', '.join(known)}"


def _keys(model: type[BaseModel]) -> list[str]:
    return [field.alias or name for name, field in model.model_fields.items()]


def _hint(place: Place) -> Any:
    """The type of the field at a place, ``None`` set aside."""
    model = _model(place[:-1])
    for name, field in model.model_fields.items() if model else ():
        if place[-1] in (name, field.alias):
            return _some(field.annotation)
    return None


def _some(hint: Any) -> Any:
    if get_origin(hint) in (Union, UnionType):
        return next(a for a in get_args(hint) if a is not type(None))
    return hint


def _part(hint: Any) -> type[BaseModel] | None:
    hint = _some(hint)
    if get_origin(hint) is tuple:
        hint = get_args(hint)[0]
    return hint if isinstance(hint, type) and issubclass(hint, BaseModel) else None


def _model(place: Place) -> type[BaseModel] | None:
    """The class that describes the table at a place."""
    model: type[BaseModel] | None = Case
    for key in place:
        if isinstance(key, str) and model is not None:
            field = next((f for n, f in model.model_fields.items() if key in (n, f.alias)), None)
            model = _part(field.annotation) if field else None
    return model
