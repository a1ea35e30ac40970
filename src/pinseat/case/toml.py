"""Read a TOML file, and say in plain words where and why it cannot be read."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

from pinseat.case.files import plainly
from pinseat.errors import CaseError

_LARGEST = 1_000_000
_PLACE = re.compile(r"\(at line (\d+), column (\d+)\)")
_BARE_COMMA = re.compile(r"[=\[,]\s*([+-]?\d+),(\d+)")
_CAUSES = (
    (r"^Cannot overwrite a value", "a key above it stands twice", "keep one of the two"),
    (
        r"^Cannot (declare|mutate)",
        "this table stands twice",
        "keep one, or write [[name]] for a list of them",
    ),
    (
        r"^Invalid value",
        "there is no value that can be read after the =",
        'put words in quotes, such as "FDI"',
    ),
    (r"^Unterminated string|^Illegal character", "this text is not closed", 'put a " at both of its ends'),
    (r"Expected '\]'|Unclosed array", "a [ is not closed", "put a ] after the last value"),
    (r"^Expected '=' after a key", "there is no = after the key", "write it as key = value"),
)


def read_toml(path: Path) -> tuple[dict[str, Any], str]:
    """Read a UTF-8 TOML file; a byte order mark is tolerated.

    Parameters
    ----------
    path : Path

    Returns
    -------
    dict
        The tables.
    str
        The text, for finding lines.

    Raises
    ------
    CaseError
        With the line and column of what cannot be read.
    """
    with plainly(path):
        size = path.stat().st_size
        if size > _LARGEST:
            raise CaseError(
                "this is too large for a case file",
                where=str(path),
                value=f"{size / 1e6:.1f} MB",
                limit=f"at most {_LARGEST / 1e6:.0f} MB",
                do="scans belong in the folder scans",
            )
        data = path.read_bytes()
    try:
        text = data.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise CaseError(
            "this is not UTF-8 text",
            where=f"{path}, line {line}",
            do="save it from your editor as UTF-8",
        ) from None
    try:
        return tomllib.loads(text), text
    except (ValueError, RecursionError) as error:
        raise _explained(path, text, str(error)) from None


def _explained(path: Path, text: str, told: str) -> CaseError:
    place = _PLACE.search(told)
    lines = text.split("\n")
    line = int(place[1]) if place else len(lines)
    where = f"{path}, line {line}" + (f", column {place[2]}" if place else " (the end)")
    shown = lines[line - 1].split("#")[0].strip()
    value = shown if len(shown) <= 60 else shown[:57] + "..."
    comma = _BARE_COMMA.search(shown)
    if comma:
        number = f"{comma[1]},{comma[2]}"
        do = f'write "{number}" in quotes, or {comma[1]}.{comma[2]}'
        return CaseError("a decimal comma needs quotes here", where=where, value=value, do=do)
    if "\\" in shown:
        do = "write / between the parts of a path"
        return CaseError("this text has a backslash", where=where, value=value, do=do)
    for pattern, what, do in _CAUSES:
        if re.search(pattern, told):
            return CaseError(what, where=where, value=value, do=do)
    do = "write one key = value on a line, words in quotes"
    return CaseError("this line cannot be read as TOML", where=where, value=value, do=do)
