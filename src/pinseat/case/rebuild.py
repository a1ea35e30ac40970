"""Read a stored result back into the type that wrote it.

:mod:`pinseat.case.results` turns frozen dataclasses with arrays into plain JSON; this is the way back, led by
the type hints, so that a step whose inputs have not changed need not run again.
"""

from __future__ import annotations

import dataclasses
import math
import types
from typing import Any, Literal, TypeVar, Union, get_args, get_origin, get_type_hints

import numpy as np

from pinseat.case.results import INFINITE

T = TypeVar("T")
_INFINITE = {word: value for value, word in INFINITE.items()}


def rebuild(kind: type[T], plain: Any) -> T:
    """Make a `kind` from plain JSON values.

    Parameters
    ----------
    kind : type
        A frozen dataclass whose fields are numbers, words, arrays, tuples, dicts or other such dataclasses.
    plain : object
        What ``json.loads`` gave.

    Returns
    -------
    kind

    Raises
    ------
    TypeError, ValueError, KeyError
        When the stored text does not fit the type: an older or damaged file, to be computed afresh.

    Examples
    --------
    >>> from pinseat.seating.model import Chance
    >>> rebuild(Chance, {"probability": 0.97, "standard_error": 0.001})
    Chance(probability=0.97, standard_error=0.001)
    """
    value: T = _value(kind, plain)
    return value


def _value(hint: Any, plain: Any) -> Any:
    origin = get_origin(hint)
    if origin is np.ndarray:
        return _array(hint, plain)
    if origin in (Union, types.UnionType):
        inner = [a for a in get_args(hint) if a is not type(None)]
        return None if plain is None and len(inner) < len(get_args(hint)) else _value(inner[0], plain)
    if origin is tuple:
        inner_hints = get_args(hint)
        return tuple(_value(inner_hints[0], item) for item in plain)
    if origin is dict:
        return {key: _value(get_args(hint)[1], item) for key, item in plain.items()}
    if origin is Literal:
        if plain not in get_args(hint):
            raise ValueError(f"{plain!r} is not one of {get_args(hint)}")
        return plain
    if dataclasses.is_dataclass(hint) and isinstance(hint, type):
        hints = get_type_hints(hint)
        return hint(**{f.name: _value(hints[f.name], plain[f.name]) for f in dataclasses.fields(hint)})
    return _number(plain) if hint is float else hint(plain)


def _number(plain: Any) -> float:
    if isinstance(plain, str):
        return _INFINITE[plain]
    return math.nan if plain is None else float(plain)


def _array(hint: Any, plain: Any) -> Any:
    dtype = get_args(get_args(hint)[1])[0]

    def walk(item: Any) -> Any:
        return [walk(i) for i in item] if isinstance(item, list) else _number(item)

    return np.array(walk(plain), dtype=dtype)
