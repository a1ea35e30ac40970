"""The bench log: one line for each thing done or read, added and never changed.

``log.jsonl`` holds one JSON object a line. Each carries the hash of the line before, so a line that was
changed or taken out shows; the last line has none after it to vouch for it. A line is on the disk before
:func:`append` returns. A last line that a power cut tore off is put aside in a file of its own, and the log
says so.
"""

from __future__ import annotations

import hashlib
import json
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from pydantic import Field, ValidationError

from pinseat.case.fields import Number, Part
from pinseat.case.files import atomic_write, plainly, sync_folder, write_all
from pinseat.errors import CaseError

NAME = "log.jsonl"
FIRST = "0" * 64
"""What the first line carries in place of a hash."""


_TIME = r"^(\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?Z)?$"


class RawReading(Part):
    """A raw reading: what the instrument showed, before any correction."""

    value: Number
    unit: str


class NamedReading(RawReading):
    """One of several raw readings that were taken together."""

    what: str = Field(min_length=1)


class Entry(Part):
    """One thing done or read at the bench.

    Attributes
    ----------
    kind : str
        ``run``, ``reading``, ``batch``, ...
    who, instrument, calibrated, lot, note : str
        Empty when not stated. `calibrated` says when and against what.
    reading : RawReading or None
        None when nothing was measured.
    readings : tuple of NamedReading
        What was read together: current, voltage, temperature, weights, ...
    piece : str
        Which of several pieces it is about.
    seen : str
        What an inspection found.
    time : str
        ISO 8601, UTC, such as ``2026-03-01T09:30:00Z``; the present when left out. When the line was written.
    at : str
        When it was done or read, where that was not at once; same form.
    """

    kind: str = Field(min_length=1)
    who: str = ""
    instrument: str = ""
    calibrated: str = ""
    lot: str = ""
    reading: RawReading | None = None
    readings: tuple[NamedReading, ...] = ()
    piece: str = ""
    seen: str = ""
    note: str = ""
    time: str = Field("", pattern=_TIME)
    at: str = Field("", pattern=_TIME)


@dataclass(frozen=True)
class BenchLog:
    """A log as read.

    Attributes
    ----------
    entries : tuple of Entry
        In the order in which they were added.
    torn : str
        What there is of a last line that was never finished; empty when there is none. It is kept.
    """

    entries: tuple[Entry, ...]
    torn: str


def append(folder: Path, entry: Entry) -> Entry:
    """Add a line; when this returns, it is on the disk.

    A torn last line is first put aside as ``log-torn-<line>.txt``, and a line of kind ``torn`` tells of it.

    Parameters
    ----------
    folder : Path
        The case folder.
    entry : Entry

    Returns
    -------
    Entry
        With its time.

    Raises
    ------
    CaseError
        When it cannot be written; the log is then as it was.
    """
    path = folder / NAME
    timed = entry if entry.time else entry.model_copy(update={"time": _now()})
    new = not path.exists()
    with plainly(path), _locked(path) as handle:
        whole, torn = _split(_contents(handle))
        if torn:
            aside = _set_aside(folder, len(whole) + 1, torn)
            os.ftruncate(handle, sum(len(line) + 1 for line in whole))
            note = f"an unfinished line of {len(torn)} bytes was put aside in {aside.name}"
            whole.append(_add(handle, whole, Entry(kind="torn", note=note, time=timed.time)))
        _add(handle, whole, timed)
    if new:
        with plainly(folder):
            sync_folder(folder)
    return timed


def read(folder: Path) -> BenchLog:
    """Read the log and check that each line follows from the one before.

    Parameters
    ----------
    folder : Path
        The case folder.

    Returns
    -------
    BenchLog
        Empty when there is no log yet.

    Raises
    ------
    CaseError
        With the number of the first line that was changed, or follows one that was changed or taken out.
    """
    path = folder / NAME
    with plainly(path):
        data = b""
        if path.exists():
            with _locked(path, alone=False) as handle:
                data = _contents(handle)
    whole, torn = _split(data)
    entries, before = [], FIRST
    for number, line in enumerate(whole, start=1):
        where = f"{path}, line {number}"
        held = _object(line)
        if held is None:
            raise CaseError("this line of the log cannot be read", where=where, do=_KEEP)
        if held.pop("before", None) != before:
            raise CaseError("this line does not follow from the one before it", where=where, do=_KEEP)
        try:
            entries.append(Entry.model_validate(held))
        except ValidationError as error:
            key = ".".join(map(str, error.errors()[0]["loc"]))
            raise CaseError("this line holds what no log holds", where=where, value=key, do=_KEEP) from None
        before = _hash(line)
    return BenchLog(tuple(entries), torn.decode("utf-8", "backslashreplace"))


_KEEP = "it or a line beside it was changed: compare with a copy of the case"


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def _hash(line: bytes) -> str:
    return hashlib.sha256(line).hexdigest()


def _object(line: bytes) -> dict[str, Any] | None:
    try:
        held = json.loads(line)
    except (ValueError, RecursionError):
        return None
    return held if isinstance(held, dict) else None


def _split(data: bytes) -> tuple[list[bytes], bytes]:
    """The finished lines, and what there is of a last one that was torn."""
    *whole, torn = data.split(b"\n")
    if not torn and whole and _object(whole[-1]) is None:
        torn = whole.pop() + b"\n"
    return whole, torn


def _add(handle: int, whole: list[bytes], entry: Entry) -> bytes:
    held = {"before": _hash(whole[-1]) if whole else FIRST, **entry.model_dump(mode="json")}
    line = json.dumps(held, ensure_ascii=False, allow_nan=False).encode()
    end = os.lseek(handle, 0, os.SEEK_END)
    try:
        write_all(handle, line + b"\n")
        os.fsync(handle)
    except BaseException:
        os.ftruncate(handle, end)
        raise
    return line


def _contents(handle: int) -> bytes:
    os.lseek(handle, 0, os.SEEK_SET)
    parts = []
    while part := os.read(handle, 1 << 20):
        parts.append(part)
    return b"".join(parts)


def _set_aside(folder: Path, line: int, torn: bytes) -> Path:
    aside = folder / f"log-torn-{line}.txt"
    again = 2
    while aside.exists():
        aside = folder / f"log-torn-{line}-{again}.txt"
        again += 1
    atomic_write(aside, torn)
    return aside


@contextmanager
def _locked(path: Path, alone: bool = True) -> Iterator[int]:
    """The log, open for one writer alone, or for readers; where the system can lock a file."""
    mode = os.O_RDWR | os.O_CREAT if alone else os.O_RDONLY
    handle = os.open(path, mode | getattr(os, "O_BINARY", 0), 0o666)
    try:
        if sys.platform != "win32":
            import fcntl

            fcntl.flock(handle, fcntl.LOCK_EX if alone else fcntl.LOCK_SH)
        yield handle
    finally:
        os.close(handle)
