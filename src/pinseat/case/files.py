"""Files of the case folder: written whole or not at all, and never outside the folder."""

from __future__ import annotations

import errno
import hashlib
import json
import os
import secrets
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path, PureWindowsPath

from pinseat.errors import CaseError

_WHY = {
    errno.ENOSPC: ("the disk is full", "make room and run it again"),
    errno.EDQUOT: ("your share of the disk is used up", "make room and run it again"),
    errno.EACCES: ("this may not be opened or written", "ask for the right to this folder"),
    errno.EPERM: ("this may not be opened or written", "ask for the right to this folder"),
    errno.EROFS: ("this disk is read-only", "copy the case folder to a disk that can be written"),
    errno.ENOENT: ("this is not there", "check the name"),
    errno.ENOTDIR: ("this is a file where a folder was expected", "choose another name"),
    errno.EEXIST: ("this is a file where a folder was expected", "choose another name"),
    errno.EISDIR: ("this is a folder where a file was expected", "choose another name"),
}


@contextmanager
def plainly(path: Path) -> Iterator[None]:
    """Turn what the system says about a file into one line of plain words.

    Parameters
    ----------
    path : Path
        Named in the line.

    Raises
    ------
    CaseError
        In place of any :class:`OSError` of the body.
    """
    try:
        yield
    except OSError as error:
        told = (error.strerror or str(error), "nothing was changed")
        what, do = _WHY.get(error.errno or 0, told)
        raise CaseError(what, where=str(path), do=do) from error


def atomic_write(path: Path, data: bytes) -> None:
    """Write a file so that it is there whole or, after any failure, as it was before.

    The bytes go to a new file in the same folder, are forced to the disk, and take the name in one step; then
    the folder is forced to the disk too.

    Parameters
    ----------
    path : Path
        In a folder that exists.
    data : bytes

    Raises
    ------
    CaseError
        When the disk is full, the folder may not be written, and so on; nothing is left behind.
    """
    part = path.with_name(f".{path.name}.{secrets.token_hex(4)}.part")
    with plainly(path):
        try:
            handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o666)
            try:
                write_all(handle, data)
                os.fsync(handle)
            finally:
                os.close(handle)
            os.replace(part, path)
        except BaseException:
            with suppress(OSError):
                part.unlink(missing_ok=True)
            raise
        sync_folder(path.parent)


def write_all(handle: int, data: bytes) -> None:
    """Write every byte to an open file, however many calls the system wants for it.

    Parameters
    ----------
    handle : int
        An open file descriptor.
    data : bytes
    """
    rest = memoryview(data)
    while rest:
        rest = rest[os.write(handle, rest) :]


def sync_folder(folder: Path) -> None:
    """Force a folder's list of names to the disk, where the system can."""
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def sha256_of(path: Path) -> str:
    """Content hash of a file.

    Parameters
    ----------
    path : Path

    Returns
    -------
    str
        64 hexadecimal digits (SHA-256, FIPS 180-4).

    Raises
    ------
    CaseError
        When the file cannot be read.
    """
    with plainly(path), path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def inside(folder: Path, name: str) -> Path:
    """The path of a file that must lie inside the case folder.

    Parameters
    ----------
    folder : Path
    name : str
        Relative, with ``/`` between the parts.

    Returns
    -------
    Path
        ``folder / name``; whether it exists is not looked at.

    Raises
    ------
    CaseError
        For an absolute name, a backslash, a ``..`` or a link that leads out of the folder.
    """
    do = "copy the file into the case folder and name it from there, such as scans/upper.stl"
    bad = {"value": f'"{name}"', "limit": "a path inside the case folder", "do": do}
    if not name.strip() or "\0" in name:
        raise CaseError("this names no file", **bad)
    windows = PureWindowsPath(name)
    if name.startswith(("/", "\\")) or windows.drive or ".." in windows.parts:
        raise CaseError("this file lies outside the case folder", **bad)
    if "\\" in name:
        raise CaseError("this path has a backslash", value=f'"{name}"', do="write / between its parts")
    path = folder / name
    if not Path(os.path.realpath(path)).is_relative_to(os.path.realpath(folder)):
        raise CaseError("a link leads out of the case folder", **bad)
    return path


def new_case(folder: Path, number: str) -> None:
    """Start a case folder: a ``case.toml`` to fill in, ``scans``, ``results`` and an empty log.

    Parameters
    ----------
    folder : Path
        Made when it is not there; must be empty when it is.
    number : str
        The case number to write into it.

    Raises
    ------
    CaseError
        When the folder is not empty or cannot be written; nothing is left behind.
    """
    if not number.strip() or not number.isprintable():
        raise CaseError("a case number must be one line of plain text", value=repr(number))
    template = Path(__file__).with_name("template.toml").read_text(encoding="utf-8")
    text = template.replace('number = "?"', f"number = {json.dumps(number, ensure_ascii=False)}")
    with plainly(folder), ExitStack() as undo:
        if folder.is_dir() and any(folder.iterdir()):
            do = "choose a new name; nothing was changed"
            raise CaseError("this folder is not empty", where=str(folder), do=do)
        for made in (*reversed(folder.parents), folder, folder / "scans", folder / "results"):
            if not made.is_dir():
                made.mkdir()
                undo.callback(_forget, made.rmdir)
        for name, data in (("log.jsonl", b""), ("case.toml", text.encode())):
            atomic_write(folder / name, data)
            undo.callback(_forget, (folder / name).unlink)
        undo.pop_all()


def _forget(remove: Callable[[], None]) -> None:
    with suppress(OSError):
        remove()
