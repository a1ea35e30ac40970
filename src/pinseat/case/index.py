"""A folder of cases: what each is called and how it stands, in a small database made from them.

The database (SQLite) only saves time. It is made again whenever it is missing, damaged or of another layout,
and a case whose files have changed is read again.
"""

from __future__ import annotations

import contextlib
import json
import sqlite3
from dataclasses import dataclass
from pathlib import Path

from pinseat.case.document import NAME
from pinseat.case.results import read_result
from pinseat.case.toml import read_toml
from pinseat.errors import CaseError

INDEX = ".pinseat-index.sqlite"
_LAYOUT = 1


@dataclass(frozen=True)
class Listed:
    """One case of a folder of cases.

    Attributes
    ----------
    folder : str
        Name of its folder.
    number, title : str
        As stated; empty when they cannot be read.
    verdict : str
        Of the last seating, empty when there was none.
    chance : float or None
        Of going home, 0 to 1.
    changed : float
        When a file of it was last written, seconds since 1970.
    trouble : str
        Why it cannot be read; empty when it can.
    """

    folder: str
    number: str
    title: str
    verdict: str
    chance: float | None
    changed: float
    trouble: str


def cases(practice: Path, search: str = "") -> tuple[Listed, ...]:
    """The cases of a folder whose number, title or folder contains the words, newest first.

    Parameters
    ----------
    practice : Path
        Folder of case folders.
    search : str

    Returns
    -------
    tuple of Listed
    """
    found = _up_to_date(practice)
    wanted = search.casefold().split()
    hits = [
        one
        for one in found
        if all(word in f"{one.number} {one.title} {one.folder}".casefold() for word in wanted)
    ]
    return tuple(sorted(hits, key=lambda one: (-one.changed, one.folder)))


def _up_to_date(practice: Path) -> list[Listed]:
    stamps = {
        folder.name: _stamp(folder)
        for folder in practice.iterdir()
        if not folder.name.startswith(".") and (folder / NAME).is_file()
    }
    try:
        return _from_index(practice, stamps)
    except (sqlite3.Error, OSError, ValueError, TypeError):
        with contextlib.suppress(OSError):
            (practice / INDEX).unlink()
    try:
        return _from_index(practice, stamps)
    except (sqlite3.Error, OSError):  # the folder cannot be written: read every case
        return [_read(practice / name, stamp) for name, stamp in stamps.items()]


def _stamp(folder: Path) -> str:
    """Times and sizes of the files that a listing is made from."""
    said = []
    for name in (NAME, "results/seating.json"):
        try:
            state = (folder / name).stat()
            said.append([name, state.st_mtime_ns, state.st_size])
        except OSError:
            continue
    return json.dumps(said)


def _from_index(practice: Path, stamps: dict[str, str]) -> list[Listed]:
    with contextlib.closing(sqlite3.connect(practice / INDEX, timeout=2.0)) as base, base:
        if base.execute("PRAGMA user_version").fetchone()[0] != _LAYOUT:
            base.execute("DROP TABLE IF EXISTS cases")
            base.execute("CREATE TABLE cases (folder TEXT PRIMARY KEY, stamp TEXT, listed TEXT)")
            base.execute(f"PRAGMA user_version = {_LAYOUT}")
        known = {row[0]: (row[1], row[2]) for row in base.execute("SELECT * FROM cases")}
        for gone in known.keys() - stamps.keys():
            base.execute("DELETE FROM cases WHERE folder = ?", (gone,))
        found = []
        for name, stamp in stamps.items():
            if name in known and known[name][0] == stamp:
                found.append(Listed(**json.loads(known[name][1])))
                continue
            listed = _read(practice / name, stamp)
            base.execute(
                "INSERT OR REPLACE INTO cases VALUES (?, ?, ?)", (name, stamp, json.dumps(listed.__dict__))
            )
            found.append(listed)
        return found


def _read(folder: Path, stamp: str) -> Listed:
    number = title = verdict = trouble = ""
    chance = None
    try:
        document, _ = read_toml(folder / NAME)
        number, title = str(document.get("number", "")), str(document.get("title", ""))
    except CaseError as error:
        trouble = error.what
    try:
        seat = read_result(folder, "seating").payload
        verdict, chance = str(seat["verdict"]), float(seat["chance"]["probability"])
    except (CaseError, KeyError, TypeError, ValueError):
        pass  # not seated yet
    changed = max((entry[1] for entry in json.loads(stamp)), default=0) / 1e9
    return Listed(folder.name, number, title, verdict, chance, changed, trouble)
