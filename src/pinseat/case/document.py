"""Read a case: the one way from ``case.toml`` to a :class:`~pinseat.case.model.Case`."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from pinseat.case.checks import disagreements
from pinseat.case.lines import lines_of
from pinseat.case.migrate import migrate
from pinseat.case.model import Case
from pinseat.case.notation import decide, in_fdi
from pinseat.case.toml import read_toml
from pinseat.case.trouble import Trouble, from_validation, told, unfilled
from pinseat.errors import CaseError

NAME = "case.toml"
Errors = list[tuple[int | None, CaseError]]


def load_case(where: Path) -> Case:
    """Read and check a case.

    Parameters
    ----------
    where : Path
        The case folder, or its ``case.toml``.

    Returns
    -------
    Case
        With teeth and pins in FDI numbers, whichever way the file numbers them.

    Raises
    ------
    CaseError
        One line about the first thing that is wrong, and on which lines more is.
    """
    case, errors = _read(where)
    if case is None or errors:
        raise _first(errors)
    return case


def problems(where: Path) -> list[str]:
    """Everything that keeps a case from being read, one line each, in the order of the file.

    Parameters
    ----------
    where : Path
        The case folder, or its ``case.toml``.

    Returns
    -------
    list of str
        Empty when the case can be read.
    """
    try:
        _, errors = _read(where)
    except CaseError as error:
        return [str(error)]
    return [str(error) for _, error in errors]


def problems_of(path: Path, document: Mapping[str, Any]) -> tuple[Trouble, ...]:
    """What keeps a document that was read from being a case.

    Parameters
    ----------
    path : Path
        Of its file; the scan must lie in the same folder.
    document : mapping

    Returns
    -------
    tuple of Trouble
        Empty when it is a case.
    """
    return tuple(_examined(path, document)[1])


def _read(where: Path) -> tuple[Case | None, Errors]:
    path = _file(where)
    document, text = read_toml(path)
    case, troubles = _examined(path, document)
    return case, told(troubles, path, document, lines_of(text))


def _examined(path: Path, document: Mapping[str, Any]) -> tuple[Case | None, list[Trouble]]:
    try:
        document = migrate(document)
    except CaseError as error:
        return None, [Trouble(("schema",), error.what, error.value, error.limit, error.do)]
    if blank := unfilled(document):
        return None, blank
    try:
        case = Case.model_validate(document)
    except ValidationError as error:
        return None, from_validation(error)
    notation = decide(case)
    if isinstance(notation, Trouble):
        return None, [notation]
    found = disagreements(case, path.parent, notation)
    if found:
        return None, found
    return (in_fdi(case) if notation == "Universal" else case.model_copy(update={"notation": "FDI"})), []


def _file(where: Path) -> Path:
    path = where if where.name == NAME else where / NAME
    if os.path.isfile(path):
        return path
    if not os.path.lexists(where):
        raise CaseError(
            "there is no such case folder", where=str(where), do=f"start one: pinseat new {where}"
        )
    raise CaseError(f"there is no {NAME} in it", where=str(where), do="name the folder of a case")


def _first(errors: Errors) -> CaseError:
    """The first error, with a word on the others."""
    first, more = errors[0][1], len(errors) - 1
    if more == 0:
        return first
    lines = sorted({line for line, _ in errors[1:] if line})
    at = ", ".join(map(str, lines[:5])) + (" and after" if len(lines) > 5 else "")
    rest = f"{more} more thing{'s' if more > 1 else ''} to mend"
    rest += f" on line{'s' if len(lines) > 1 else ''} {at}" if lines else ""
    do = f"{first.do}; {rest}" if first.do else rest
    return CaseError(first.what, where=first.where, value=first.value, limit=first.limit, do=do)
