"""Results as plain JSON files: what was computed, from what, and by which version."""

from __future__ import annotations

import dataclasses
import hashlib
import json
import math
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
from pydantic import BaseModel

from pinseat.case.files import atomic_write, inside, plainly
from pinseat.errors import CaseError

SCHEMA = 1
"""Layout of a stored result."""

OLDER = "older"
"""Folder inside ``results`` for pages of a run before one that was refused."""

INFINITE = {math.inf: "infinite", -math.inf: "minus infinite"}
"""How JSON, which knows no infinity, tells of one. Not a number becomes null: not measured."""


@dataclasses.dataclass(frozen=True)
class Stored:
    """A result as it was stored.

    Attributes
    ----------
    step : str
    meta : dict of str to str
        ``code``, ``reference``, ``case`` and ``input``: the versions and content hashes it was made from.
    payload : object
        Plain JSON values; :func:`pinseat.case.rebuild.rebuild` makes the step's own type of it.
    """

    step: str
    meta: dict[str, str]
    payload: Any


def to_plain(obj: Any) -> Any:
    """Turn a result into what JSON can hold; numbers keep every digit.

    Parameters
    ----------
    obj : object
        Dataclasses, pydantic models, arrays, tuples, lists, dicts with words as keys, paths, numbers, words.

    Returns
    -------
    dict, list, str, int, float, bool or None
        Fields in the order of their class. Infinity becomes ``"infinite"`` or ``"minus infinite"``, not a
        number becomes None.

    Raises
    ------
    TypeError
        For anything else, such as a set, which has no order.

    Examples
    --------
    >>> to_plain((np.float64(0.5), math.inf, np.arange(2)))
    [0.5, 'infinite', [0, 1]]
    """
    if obj is None or isinstance(obj, str | bool | int):
        return obj
    if isinstance(obj, np.ndarray | np.generic):
        return to_plain(obj.tolist())
    if isinstance(obj, float):
        return None if math.isnan(obj) else INFINITE.get(obj, obj)
    if isinstance(obj, list | tuple):
        return [to_plain(item) for item in obj]
    if isinstance(obj, Mapping):
        return {_word(key): to_plain(value) for key, value in obj.items()}
    if isinstance(obj, BaseModel):
        return to_plain(obj.model_dump(by_alias=True))
    if dataclasses.is_dataclass(obj) and not isinstance(obj, type):
        return {f.name: to_plain(getattr(obj, f.name)) for f in dataclasses.fields(obj)}
    if isinstance(obj, Path):
        return obj.as_posix()
    raise TypeError(f"a {type(obj).__name__} cannot be stored as JSON")


def _word(key: Any) -> str:
    if not isinstance(key, str):
        raise TypeError(f"a key must be a word, not {key!r}")
    return key


def json_text(obj: Any) -> str:
    """A result as JSON text: the same bytes for the same values, with a line end.

    Parameters
    ----------
    obj : object
        As for :func:`to_plain`.

    Returns
    -------
    str

    Examples
    --------
    >>> json_text({"wide_um": (8.0, 12.5)})
    '{"wide_um": [8.0, 12.5]}\\n'
    """
    return json.dumps(to_plain(obj), ensure_ascii=False, allow_nan=False) + "\n"


def input_hash(*parts: Any) -> str:
    """Content hash of what a result depends on; the order of keys does not matter, that of parts does.

    Parameters
    ----------
    *parts : object
        As for :func:`to_plain`.

    Returns
    -------
    str
        64 hexadecimal digits (SHA-256).
    """
    text = json.dumps(to_plain(parts), sort_keys=True, ensure_ascii=True, allow_nan=False)
    return hashlib.sha256(text.encode()).hexdigest()


def write_result(folder: Path, step: str, payload: Any, meta: Mapping[str, str]) -> Path:
    """Store the result of a step as ``results/<step>.json``, whole or not at all.

    Parameters
    ----------
    folder : Path
        The case folder; ``results`` is made when it is not there.
    step : str
    payload : object
        As for :func:`to_plain`.
    meta : mapping of str to str
        Versions and content hashes.

    Returns
    -------
    Path
        Of the file.

    Raises
    ------
    CaseError
        When it cannot be written.
    """
    path = _path(folder, step)
    data = json_text({"schema": SCHEMA, "step": step, "meta": dict(meta), "result": payload})
    with plainly(path.parent):
        path.parent.mkdir(exist_ok=True)
    atomic_write(path, data.encode())
    return path


def read_result(folder: Path, step: str) -> Stored:
    """Read a stored result.

    Parameters
    ----------
    folder : Path
        The case folder.
    step : str

    Returns
    -------
    Stored

    Raises
    ------
    CaseError
        When there is none, or it is damaged or of another layout: the step has to run again.
    """
    path = _path(folder, step)
    with plainly(path):
        data = path.read_bytes()
    try:
        held = json.loads(data)
        if held["schema"] != SCHEMA or held["step"] != step or not isinstance(held["meta"], dict):
            raise ValueError("another layout")
        return Stored(step, held["meta"], held["result"])
    except (ValueError, KeyError, TypeError, RecursionError):
        raise CaseError(
            "this stored result cannot be read", where=str(path), do="delete it and run the case again"
        ) from None


def set_aside(folder: Path, step: str) -> None:
    """Move the files of a result that no longer holds into ``results/older``, out of the way of new ones.

    Parameters
    ----------
    folder : Path
        The case folder.
    step : str
        Nothing happens when it has no result, or one without files.
    """
    try:
        names = read_result(folder, step).payload.get("files", [])
    except (CaseError, AttributeError):
        return
    for name in names:
        page = inside(folder, name)
        if name.startswith("results/") and page.is_file():
            older = folder / "results" / OLDER / name.removeprefix("results/")
            with plainly(older):
                older.parent.mkdir(parents=True, exist_ok=True)
                page.replace(older)


def _path(folder: Path, step: str) -> Path:
    if not re.fullmatch(r"[a-z][a-z_]*", step):
        raise CaseError("this is no name of a step", value=f'"{step}"', limit="small letters")
    return folder / "results" / f"{step}.json"
