"""A case as one zip file: out of the folder, and back into a new one."""

from __future__ import annotations

import io
import secrets
import shutil
import zipfile
from collections.abc import Iterator
from pathlib import Path, PurePosixPath

from pinseat.case.document import NAME
from pinseat.case.files import atomic_write, inside, plainly, sync_folder
from pinseat.errors import CaseError

LARGEST_BYTES = 2_000_000_000
"""Most that an imported case may hold, unpacked."""
MOST_FILES = 5_000
_EPOCH = (1980, 1, 1, 0, 0, 0)
_LEFT_OUT = ("drawing",)
"""Folders that are made again from the rest."""


def zip_bytes(folder: Path) -> bytes:
    """A case as a zip: everything a person wrote and every result.

    Parameters
    ----------
    folder : Path
        The case folder.

    Returns
    -------
    bytes
        The same for the same files: sorted, without dates.

    Raises
    ------
    CaseError
        When a file cannot be read.
    """
    memory = io.BytesIO()
    with plainly(folder), zipfile.ZipFile(memory, "w", zipfile.ZIP_DEFLATED, compresslevel=3) as archive:
        for path in sorted(_kept(folder)):
            member = zipfile.ZipInfo(path.relative_to(folder).as_posix(), _EPOCH)
            member.compress_type = zipfile.ZIP_DEFLATED
            member.external_attr = 0o644 << 16
            archive.writestr(member, path.read_bytes())
    return memory.getvalue()


def _kept(folder: Path) -> Iterator[Path]:
    for path in folder.rglob("*"):
        parts = path.relative_to(folder).parts
        hidden = any(part.startswith(".") for part in parts)
        if path.is_file() and not path.is_symlink() and not hidden and not set(parts) & set(_LEFT_OUT):
            yield path


def unzip(archive_path: Path, into: Path) -> Path:
    """Unpack a zipped case into a new folder; nothing is there until all of it is.

    Parameters
    ----------
    archive_path : Path
    into : Path
        The new folder; must not exist.

    Returns
    -------
    Path
        The new folder.

    Raises
    ------
    CaseError
        When it is no zip, holds no ``case.toml``, a name leads out of the folder, it unpacks to more than
        2 GB or 5,000 files, or the folder exists.
    """
    if into.exists():
        raise CaseError("there is a folder of this name already", where=str(into), do="choose another name")
    part = into.with_name(f".{into.name}.{secrets.token_hex(4)}.part")
    try:
        with plainly(archive_path), zipfile.ZipFile(archive_path) as archive:
            members, root = _examined(archive, archive_path)
            part.mkdir()
            for member in members:
                _unpack(archive, member, root, part)
        with plainly(into):
            part.rename(into)
            sync_folder(into.parent)
    except (zipfile.BadZipFile, EOFError, NotImplementedError, RuntimeError) as error:
        raise CaseError(
            "this is no zip that can be read", where=archive_path.name, value=str(error)
        ) from None
    finally:
        shutil.rmtree(part, ignore_errors=True)
    return into


def _examined(archive: zipfile.ZipFile, path: Path) -> tuple[list[zipfile.ZipInfo], str]:
    """The files of the zip, and the folder inside it that holds the case; empty for the top."""
    members = [member for member in archive.infolist() if not member.is_dir()]
    size = sum(member.file_size for member in members)
    if size > LARGEST_BYTES or len(members) > MOST_FILES:
        raise CaseError(
            "this zip is too large for a case",
            where=path.name,
            value=f"{size / 1e6:.0f} MB in {len(members)} files",
            limit=f"at most {LARGEST_BYTES / 1e6:.0f} MB in {MOST_FILES} files",
        )
    tops = sorted(
        (m.filename for m in members if PurePosixPath(m.filename).name == NAME), key=lambda n: n.count("/")
    )
    if not tops:
        raise CaseError(f"there is no {NAME} in this zip", where=path.name, do="choose a zip of a case")
    root = tops[0][: -len(NAME)]
    return [m for m in members if m.filename.startswith(root)], root


def _unpack(archive: zipfile.ZipFile, member: zipfile.ZipInfo, root: str, part: Path) -> None:
    target = inside(part, member.filename[len(root) :])
    if (member.external_attr >> 16) & 0o170000 == 0o120000:
        raise CaseError("there is a link in this zip", where=member.filename, do="zip the case folder itself")
    with archive.open(member) as file:
        data = file.read(member.file_size + 1)
    if len(data) > member.file_size:
        raise CaseError("this zip holds more than it says", where=member.filename)
    target.parent.mkdir(parents=True, exist_ok=True)
    atomic_write(target, data)
