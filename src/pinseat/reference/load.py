"""Read the data files: one file a source, every field filled, every name once.

A data file holds ``[[value]]`` records. Fields that are the same for a whole source stand once under
``[common]``; ``[mirror]`` repeats every name that begins with one prefix under others (left and right teeth
have the same sizes). After that each value must have all its fields: a blank is refused.
"""

from __future__ import annotations

import difflib
import functools
import hashlib
import math
import re
import tomllib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from importlib import resources
from typing import Any, get_args

from pinseat.errors import ReferenceValueError
from pinseat.reference.model import Basis, Value

FIELDS = ("name", "value", "unit", "uncertainty", "conditions", "basis", "reference", "note")
WORDS_FOR_NO_UNCERTAINTY = ("none", "not stated")
NAME = re.compile(r"[a-z0-9_]+(\.[A-Za-z0-9_]+)+")
RECTANGULAR = re.compile(r"rectangular (\d+(?:\.\d+)?)")


def value(name: str) -> Value:
    """Look up one value.

    Parameters
    ----------
    name : str
        For example ``crown.11.mesiodistal_mm``.

    Returns
    -------
    Value

    Raises
    ------
    ReferenceValueError
        If there is no such value; the message offers the nearest names.

    Examples
    --------
    >>> width = value("crown.11.mesiodistal_mm")
    >>> width.value, width.unit, width.basis
    (8.5, 'mm', 'published')
    """
    known = _store()
    try:
        found = known[name]
    except KeyError:
        near = difflib.get_close_matches(name, known, n=3, cutoff=0.6)
        do = f"did you mean {' or '.join(near)}?" if near else "list them with: pinseat reference"
        raise ReferenceValueError(
            "there is no reference value of this name", value=repr(name), do=do
        ) from None
    if (used := _used.get()) is not None:
        used.add(name)
    return found


_used: ContextVar[set[str] | None] = ContextVar("names looked up", default=None)


@contextmanager
def recording() -> Iterator[set[str]]:
    """Note the names that :func:`value` gives while the block runs, so that a report can list what was used.

    Yields
    ------
    set of str

    Examples
    --------
    >>> with recording() as used:
    ...     width = value("crown.11.mesiodistal_mm")
    >>> used
    {'crown.11.mesiodistal_mm'}
    """
    used: set[str] = set()
    token = _used.set(used)
    try:
        yield used
    finally:
        _used.reset(token)


def values(filter: str = "") -> tuple[Value, ...]:
    """All values whose name, source or conditions hold `filter`, sorted by name.

    Parameters
    ----------
    filter : str
        Any part of a word, upper or lower case; empty gives all.

    Returns
    -------
    tuple of Value

    Examples
    --------
    >>> [v.name for v in values("crown.11.m")], len(values("crown.11."))
    (['crown.11.mesiodistal_mm'], 3)
    """
    wanted = filter.lower()
    return tuple(
        v for v in _store().values() if wanted in f"{v.name} {v.reference} {v.conditions} {v.note}".lower()
    )


@functools.cache
def version() -> str:
    """Fingerprint of the data files; it goes into every result.

    Returns
    -------
    str
        First 12 hexadecimal digits of the SHA-256 of all files, names and content, in order of name.
    """
    digest = hashlib.sha256()
    for name, text in _files().items():
        digest.update(f"{name}\n{len(text)}\n{text}".encode())
    return digest.hexdigest()[:12]


@functools.cache
def _files() -> dict[str, str]:
    folder = resources.files("pinseat.reference") / "data"
    found = [item for item in folder.iterdir() if item.name.endswith(".toml")]
    return {f.name: f.read_text("utf-8").replace("\r\n", "\n") for f in sorted(found, key=lambda f: f.name)}


@functools.cache
def _store() -> dict[str, Value]:
    return read_files(_files())


def read_files(files: Mapping[str, str]) -> dict[str, Value]:
    """Turn the text of data files into values.

    Parameters
    ----------
    files : mapping of file name to TOML text

    Returns
    -------
    dict of str to Value
        Sorted by name.

    Raises
    ------
    ReferenceValueError
        For a blank or missing field, an unknown key, a name given twice, or a number that is none.
    """
    store: dict[str, Value] = {}
    for file, text in files.items():
        for found in _values_of(file, text):
            if found.name in store:
                first = store[found.name].file
                raise ReferenceValueError(
                    "this reference value is given twice",
                    where=f"{file}, {found.name}",
                    value=f"also in {first}",
                )
            store[found.name] = found
    return dict(sorted(store.items()))


def _values_of(file: str, text: str) -> Iterator[Value]:
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise ReferenceValueError("the data file cannot be read", where=file, value=str(error)) from None
    _refuse_unknown(document, ("common", "mirror", "value"), file)
    common, mirror = document.get("common", {}), document.get("mirror", {})
    _refuse_unknown(common, FIELDS, f"{file}, common")
    for record in document.get("value", []):
        where = f"{file}, {record.get('name') or 'a value without a name'}"
        _refuse_unknown(record, FIELDS, where)
        one = _check(file, where, {**common, **record})
        yield one
        for prefix, others in mirror.items():
            if not one.name.startswith(prefix):
                continue
            rest = one.name.removeprefix(prefix)
            for other in others:
                yield _check(file, where, {**common, **record, "name": other + rest})


def _refuse_unknown(table: Mapping[str, Any], known: tuple[str, ...], where: str) -> None:
    for key in table:
        if key not in known:
            raise ReferenceValueError(
                "this key is not known", where=where, value=repr(key), limit=", ".join(known)
            )


def _check(file: str, where: str, fields: Mapping[str, Any]) -> Value:
    for key in FIELDS:
        given = fields.get(key)
        if given is None or (isinstance(given, str) and not given.strip()):
            raise ReferenceValueError(
                f"the field {key} is blank", where=where, do='write "none" or "not stated" where that is so'
            )
        if key not in ("value", "uncertainty") and not isinstance(given, str):
            raise ReferenceValueError(f"the field {key} must be words", where=where, value=repr(given))
    if not NAME.fullmatch(fields["name"]):
        raise ReferenceValueError(
            "a name is small letters, digits and dots", where=where, value=fields["name"]
        )
    if fields["basis"] not in get_args(Basis):
        known = ", ".join(get_args(Basis))
        raise ReferenceValueError("this basis is not known", where=where, value=fields["basis"], limit=known)
    return Value(
        **{key: fields[key] for key in ("name", "unit", "conditions", "basis", "reference", "note")},
        value=_number(fields["value"], "value", where),
        uncertainty=_uncertainty(fields["uncertainty"], where),
        uncertainty_stated=str(fields["uncertainty"]),
        file=file,
    )


def _uncertainty(given: Any, where: str) -> float | None:
    """Standard uncertainty; half-width over sqrt(3) for a rectangular band (JCGM 100, 4.3.7)."""
    if given in WORDS_FOR_NO_UNCERTAINTY:
        return None
    if isinstance(given, str) and (band := RECTANGULAR.fullmatch(given)):
        return float(band[1]) / math.sqrt(3.0)
    number = _number(given, "uncertainty", where)
    if number < 0.0:
        raise ReferenceValueError("an uncertainty cannot be negative", where=where, value=repr(given))
    return number


def _number(given: Any, key: str, where: str) -> float:
    if isinstance(given, bool) or not isinstance(given, int | float) or not math.isfinite(given):
        limit = "a number" if key == "value" else 'a number, "rectangular 0.2", "not stated" or "none"'
        raise ReferenceValueError(
            f"the field {key} is not a number", where=where, value=repr(given), limit=limit
        )
    return float(given)
