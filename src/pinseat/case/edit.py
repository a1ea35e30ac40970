"""Change ``case.toml`` from a page: nothing lost when two edit at once, every change can be taken back.

A change names the revision it was made on: the content hash of the file that the person saw. When the file
has changed since, the change is refused and what stands there now is told; the person decides. Remarks and
the order of the file stay. What stood before goes into ``history``: one file a text, named by its hash, and
``edits.jsonl``, a line for each change, added and never altered.
"""

from __future__ import annotations

import hashlib
import json
import os
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Literal

import tomlkit
from tomlkit.exceptions import TOMLKitError

from pinseat.case.document import NAME, problems_of
from pinseat.case.files import atomic_write, plainly, write_all
from pinseat.case.lines import Place
from pinseat.case.toml import read_toml
from pinseat.case.trouble import Trouble, field_name, unfilled
from pinseat.errors import CaseError

HISTORY = "history"
_EDITS = "edits.jsonl"


@dataclass(frozen=True)
class Change:
    """One change at one place.

    Attributes
    ----------
    place : tuple of str and int
        Keys and list places, counted from 0; one past the end of a list adds to it.
    value : object
        Numbers, words, lists, tables; None takes the place out.
    """

    place: Place
    value: Any


@dataclass(frozen=True)
class Draft:
    """A case file as it stands, whether or not it can be run.

    Attributes
    ----------
    revision : str
        Content hash of the file.
    document : dict
        What is in it.
    troubles : tuple of Trouble
        What keeps it from being run; empty when nothing does.
    """

    revision: str
    document: dict[str, Any]
    troubles: tuple[Trouble, ...]


class ConflictError(CaseError):
    """The file has changed since the person looked at it.

    Parameters
    ----------
    now : Draft
        What stands there now.
    """

    def __init__(self, now: Draft) -> None:
        super().__init__(
            "this case was changed in the meantime",
            where=NAME,
            do="look at what stands there now, and decide",
        )
        self.now = now


@dataclass(frozen=True)
class _Line:
    """One line of ``edits.jsonl``."""

    time: str
    did: Literal["edit", "undo", "redo", "outside"]
    what: str
    before: str
    after: str


def read_draft(folder: Path) -> Draft:
    """Read a case file for showing and editing.

    Parameters
    ----------
    folder : Path
        The case folder.

    Returns
    -------
    Draft

    Raises
    ------
    CaseError
        When the file is not there or is no TOML.
    """
    path = folder / NAME
    with plainly(path):
        revision = _hash(path.read_bytes())
    document, _ = read_toml(path)
    return Draft(revision, document, problems_of(path, document))


def change(folder: Path, revision: str, changes: Sequence[Change], what: str = "") -> Draft:
    """Make changes, all of them or none.

    Parameters
    ----------
    folder : Path
        The case folder.
    revision : str
        Of the :class:`Draft` that the person saw.
    changes : sequence of Change
    what : str
        In words, for the history; the first place when left out.

    Returns
    -------
    Draft
        With the new revision; when this returns, it is on the disk.

    Raises
    ------
    ConflictError
        When the file has another revision by now.
    CaseError
        When the new value cannot be used at its place, or spoils a case that could be run.
    """
    with _alone(folder):
        before, now = _present(folder, revision)
        try:
            document = tomlkit.parse(before.decode("utf-8-sig"))
            for one in changes:
                _put(document, one)
            after = tomlkit.dumps(document).encode()
            plain = document.unwrap()
        except (TOMLKitError, KeyError, IndexError, TypeError, ValueError) as error:
            place = field_name(changes[0].place, now.document) if changes else ""
            raise CaseError("there is no such place in the case", where=place, value=str(error)) from None
        troubles = problems_of(folder / NAME, plain)
        _refuse(troubles, now, changes, plain)
        _store(folder, "edit", what or field_name(changes[0].place, plain), before, after)
        return Draft(_hash(after), plain, troubles)


def undo(folder: Path, revision: str) -> Draft:
    """Take the last change back.

    Parameters
    ----------
    folder : Path
    revision : str
        Of the :class:`Draft` that the person saw.

    Raises
    ------
    ConflictError
        When the file has another revision by now.
    CaseError
        When there is nothing to take back.
    """
    return _turn(folder, revision, "undo")


def redo(folder: Path, revision: str) -> Draft:
    """Make the change again that was taken back last; as :func:`undo`."""
    return _turn(folder, revision, "redo")


def can_turn(folder: Path) -> tuple[str, str]:
    """What :func:`undo` and :func:`redo` would turn, in words; empty where there is nothing.

    Parameters
    ----------
    folder : Path

    Returns
    -------
    tuple of str
    """
    done, undone = _stacks(_lines(folder))
    return (done[-1].what if done else "", undone[-1].what if undone else "")


def _turn(folder: Path, revision: str, did: Literal["undo", "redo"]) -> Draft:
    with _alone(folder):
        before, _ = _present(folder, revision)
        done, undone = _stacks(_lines(folder))
        stack = done if did == "undo" else undone
        if not stack:
            raise CaseError(f"there is nothing to {did}", where=NAME)
        last = stack[-1]
        target = last.before if did == "undo" else last.after
        kept = folder / HISTORY / f"{target[:16]}.toml"
        with plainly(kept):
            text = kept.read_bytes()
        if _hash(text) != target:
            raise CaseError("this kept text was altered", where=str(kept), do="edit the case by hand")
        _store(folder, did, last.what, before, text)
    return read_draft(folder)


def _present(folder: Path, revision: str) -> tuple[bytes, Draft]:
    """The file as it stands; a change made outside, since the last one here, is noted first."""
    path = folder / NAME
    with plainly(path):
        data = path.read_bytes()
    now = read_draft(folder)
    lines = _lines(folder)
    if lines and lines[-1].after != now.revision:
        _note(folder, _Line(_now(), "outside", "changed outside the page", lines[-1].after, now.revision))
        _keep(folder, data)
    if now.revision != revision:
        raise ConflictError(now)
    return data, now


def _refuse(troubles: tuple[Trouble, ...], now: Draft, changes: Sequence[Change], plain: Any) -> None:
    """Refuse a value that is wrong where it stands, and anything that spoils a sound case.

    What is only still to be filled in is no fault: the case says that it needs it.
    """
    blank = {trouble.place for trouble in unfilled(plain)}
    for trouble in troubles:
        if trouble.place in blank:
            continue
        here = any(
            one.value is not None and trouble.place[: len(one.place)] == one.place for one in changes
        ) and not any(old.place == trouble.place and old.what == trouble.what for old in now.troubles)
        if here or not now.troubles:
            raise CaseError(
                trouble.what,
                where=field_name(trouble.place, plain),
                value=trouble.value,
                limit=trouble.limit,
                do=trouble.do,
            )


def _put(document: Any, one: Change) -> None:
    *way, last = one.place
    at = document
    for i, key in enumerate(way):
        if isinstance(key, str) and key not in at:
            if one.value is None:
                return
            following = one.place[i + 1]
            at[key] = tomlkit.aot() if isinstance(following, int) else tomlkit.table()
        at = at[key]
    if one.value is None:
        if isinstance(last, int) or last in at:
            del at[last]
    elif isinstance(last, int) and last == len(at):
        at.append(_item(one.value))
    else:
        at[last] = _item(one.value)


def _item(value: Any) -> Any:
    if isinstance(value, dict):
        table = tomlkit.table()
        for key, inner in value.items():
            if inner is not None:
                table[key] = inner
        return table
    return value


def _store(
    folder: Path, did: Literal["edit", "undo", "redo"], what: str, before: bytes, after: bytes
) -> None:
    """The text before is safe first, then the file changes, then the history tells of it."""
    _keep(folder, before)
    _keep(folder, after)
    atomic_write(folder / NAME, after)
    _note(folder, _Line(_now(), did, what, _hash(before), _hash(after)))


def _keep(folder: Path, text: bytes) -> None:
    history = folder / HISTORY
    with plainly(history):
        history.mkdir(exist_ok=True)
    path = history / f"{_hash(text)[:16]}.toml"
    if not path.exists():
        atomic_write(path, text)


def _note(folder: Path, line: _Line) -> None:
    path = folder / HISTORY / _EDITS
    with plainly(path):
        path.parent.mkdir(exist_ok=True)
        handle = os.open(path, os.O_RDWR | os.O_CREAT | os.O_APPEND, 0o666)
        try:
            size = os.fstat(handle).st_size
            torn = size > 0 and os.pread(handle, 1, size - 1) != b"\n"
            text = json.dumps(asdict(line), ensure_ascii=False)
            write_all(handle, (("\n" if torn else "") + text + "\n").encode())
            os.fsync(handle)
        finally:
            os.close(handle)


def _lines(folder: Path) -> list[_Line]:
    path = folder / HISTORY / _EDITS
    if not path.exists():
        return []
    found = []
    with plainly(path):
        text = path.read_text(encoding="utf-8", errors="replace")
    for line in text.splitlines():
        try:
            found.append(_Line(**json.loads(line)))
        except (ValueError, TypeError):
            continue  # a line that a power cut tore; the file itself is safe
    return found


def _stacks(lines: Sequence[_Line]) -> tuple[list[_Line], list[_Line]]:
    """What can be undone and redone, last first to go at the end of each."""
    done: list[_Line] = []
    undone: list[_Line] = []
    for line in lines:
        if line.did == "undo" and done:
            undone.append(done.pop())
        elif line.did == "redo" and undone:
            done.append(undone.pop())
        elif line.did in ("edit", "outside"):
            done.append(line)
            undone.clear()
    return done, undone


@contextmanager
def _alone(folder: Path) -> Iterator[None]:
    """One editor at a time, where the system can lock a file."""
    path = folder / HISTORY / ".lock"
    with plainly(path):
        path.parent.mkdir(exist_ok=True)
        handle = os.open(path, os.O_RDWR | os.O_CREAT, 0o666)
    try:
        if sys.platform != "win32":
            import fcntl

            fcntl.flock(handle, fcntl.LOCK_EX)
        yield
    finally:
        os.close(handle)


def _hash(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
