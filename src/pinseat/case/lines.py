"""Find the line on which a value of a TOML file stands.

The standard reader gives values without places. This walks the lines once and notes where each key begins; a
place that cannot be told (several values on one line) falls back to the nearest thing around it.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

Place = tuple[str | int, ...]

_KEY = r"""(?:[\w-]+|"[^"\n]*"|'[^'\n]*')"""
_DOTTED = rf"{_KEY}(?:\s*\.\s*{_KEY})*"
_HEADER = re.compile(rf"^\s*(\[\[?)\s*({_DOTTED})\s*\]")
_PAIR = re.compile(rf"^\s*({_DOTTED})\s*=\s*(.*)$")
_STRING = re.compile(r'"(?:[^"\\]|\\.)*"|\'[^\']*\'')


def lines_of(text: str) -> dict[Place, int]:
    """Where each table, key and list item begins.

    Parameters
    ----------
    text : str
        A TOML document that can be read.

    Returns
    -------
    dict of tuple to int
        Line number, counted from 1, of each place such as ``("abutments", 1, "tooth")``.

    Examples
    --------
    >>> lines_of('number = "7"\\n[[abutments]]\\ntooth = 11\\n')[("abutments", 0, "tooth")]
    3
    """
    found: dict[Place, int] = {}
    counts: dict[Place, int] = {}
    table: Place = ()
    key: Place = ()
    depth = item = 0
    closing = ""
    for number, line in enumerate(text.split("\n"), start=1):
        if closing:
            closing = "" if closing in line else closing
            continue
        if depth > 0:
            if line.lstrip().startswith("{"):
                found.setdefault((*key, item), number)
                item += 1
        elif header := _HEADER.match(line):
            table = _table(header[2], header[1] == "[[", counts, found, number)
            found.setdefault(table, number)
            continue
        elif pair := _PAIR.match(line):
            key, item = (*table, *_parts(pair[1])), 0
            found.setdefault(key, number)
            closing = _opened(pair[2])
            line = pair[2]
        if not closing:
            bare = _STRING.sub("", line).split("#")[0]
            depth = max(0, depth + bare.count("[") - bare.count("]"))
    return found


def line_of(places: Mapping[Place, int], place: Place) -> int | None:
    """The line of a place or, when it cannot be told, of the nearest thing around it.

    Parameters
    ----------
    places : mapping
        From :func:`lines_of`.
    place : tuple of str and int

    Returns
    -------
    int or None
        None when not even the outermost key is in the file.
    """
    for end in range(len(place), 0, -1):
        if place[:end] in places:
            return places[place[:end]]
    return None


def _table(
    dotted: str, repeated: bool, counts: dict[Place, int], found: dict[Place, int], number: int
) -> Place:
    path: Place = ()
    parts = _parts(dotted)
    for i, part in enumerate(parts):
        path = (*path, part)
        found.setdefault(path, number)
        if repeated and i == len(parts) - 1:
            counts[path] = counts.get(path, -1) + 1
        if path in counts:
            path = (*path, counts[path])
    return path


def _parts(dotted: str) -> list[str]:
    return [part.strip("\"'") for part in re.findall(_KEY, dotted)]


def _opened(value: str) -> str:
    """The closing mark of a text that runs over several lines; empty when there is none."""
    for mark in ('"""', "'''"):
        if value.startswith(mark) and mark not in value[3:]:
            return mark
    return ""
