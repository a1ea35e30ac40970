"""Read a scan file that nobody vouches for."""

from __future__ import annotations

import hashlib
import json
import os
import stat
import subprocess
import sys
from dataclasses import dataclass
from io import BufferedReader
from pathlib import Path
from typing import Any

import numpy as np

from pinseat.errors import ScanError
from pinseat.mesh.content import FORMATS
from pinseat.mesh.model import Float, Int, Mesh
from pinseat.units import LENGTH_IN_MM, length_in_mm

MEMORY_LIMIT_BYTES = 2 * 1024**3
TIME_LIMIT_S = 60.0
_ONE_THREAD = {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1", "MKL_NUM_THREADS": "1"}


@dataclass(frozen=True, eq=False)
class Scan:
    """A scan as received.

    Attributes
    ----------
    mesh : Mesh
        In mm when `unit` is given, else in the file's own numbers. Corners with the same coordinates are one.
    unit : str or None
        The unit that the numbers of the file were taken in; None when neither file nor case says.
    sha256 : str
        Content hash of the file.
    format : str
        STL, PLY, OBJ, OFF or 3MF.
    notes : tuple of str
        What was met on the way, in words.
    """

    mesh: Mesh
    unit: str | None
    sha256: str
    format: str
    notes: tuple[str, ...]


def read_scan(
    path: Path,
    unit: str | None,
    *,
    memory_limit_bytes: int = MEMORY_LIMIT_BYTES,
    time_limit_s: float = TIME_LIMIT_S,
) -> Scan:
    """Read a scan in a process of its own, with limits on memory and time. Nothing is written anywhere.

    Parameters
    ----------
    path : Path
        An STL, PLY, OBJ, OFF or 3MF file.
    unit : str or None
        Unit of its numbers, as stated in the case. A 3MF file says its own; the two must agree.
    memory_limit_bytes, time_limit_s : int, float
        What the reading may take.

    Returns
    -------
    Scan

    Raises
    ------
    ScanError
        One line that names the file, what is wrong with it and what to do.
    """
    if unit is not None:
        length_in_mm(1.0, unit)
    kind = path.suffix[1:].upper()
    if kind not in FORMATS:
        raise ScanError(
            "this is not the name of a scan file",
            where=str(path),
            limit="a name that ends in " + ", ".join(f".{name.lower()}" for name in FORMATS),
            do="export the scan in one of these formats",
        )
    try:
        with _opened(path, memory_limit_bytes) as file:
            sha256 = hashlib.file_digest(file, "sha256").hexdigest()
            file.seek(0)
            answer = _ask_child(file, kind, memory_limit_bytes, time_limit_s)
        vertices, faces, said, notes = _understood(answer, memory_limit_bytes)
    except ScanError as error:
        raise ScanError(
            error.what, where=str(path), value=error.value, limit=error.limit, do=error.do
        ) from None
    if said and unit and said != unit:
        raise ScanError(
            "the case and the scan name different units",
            where=str(path),
            value=f"the file itself says {said}",
            limit=f"{unit} as in the case",
            do="correct the unit in the case",
        )
    taken = unit or said or None
    if taken:
        vertices *= LENGTH_IN_MM[taken]
    return Scan(Mesh(vertices, faces), taken, sha256, kind, notes)


def _opened(path: Path, memory_limit_bytes: int) -> BufferedReader:
    try:
        found = path.stat()
        if stat.S_ISDIR(found.st_mode):
            raise ScanError("this is a folder, not a scan file", do="name the file inside it")
        if not stat.S_ISREG(found.st_mode):
            raise ScanError("this is not a plain file", do="copy the scan into the case folder")
        if found.st_size > memory_limit_bytes // 4:
            raise ScanError(
                "the file is too large for a scan of teeth",
                value=f"{found.st_size / 1e6:,.0f} MB",
                limit=f"at most {memory_limit_bytes / 4e6:,.0f} MB",
                do="export it with fewer triangles",
            )
        return path.open("rb")
    except FileNotFoundError:
        raise ScanError("there is no such file", do="check the name and the folder") from None
    except PermissionError:
        raise ScanError("this file may not be read", do="give yourself the right to read it") from None
    except OSError as error:
        raise ScanError(f"this file cannot be opened: {error.strerror}", do="copy it anew") from None
    except ValueError:
        raise ScanError("this is not a file name", do="check the name and the folder") from None


def _ask_child(file: BufferedReader, kind: str, memory_limit_bytes: int, time_limit_s: float) -> bytes:
    """Start the reader; ``-P`` keeps a ``numpy.py`` in the current folder from being taken for numpy."""
    module = ["-P", "-B", "-W", "ignore", "-m", "pinseat.mesh.child"]
    command = [sys.executable, *module, kind, str(memory_limit_bytes), str(time_limit_s)]
    try:
        done = subprocess.run(
            command,
            stdin=file,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            timeout=time_limit_s,
            env={**os.environ, **_ONE_THREAD},
            check=False,
        )
    except subprocess.TimeoutExpired:
        raise ScanError(
            "reading this scan takes too long and was given up",
            limit=f"at most {time_limit_s:g} s",
            do="export it as binary STL",
        ) from None
    except OSError as error:
        raise ScanError(
            f"the reader cannot be started: {error.strerror}", do="install pinseat anew"
        ) from None
    return done.stdout


def _understood(answer: bytes, memory_limit_bytes: int) -> tuple[Float, Int, str, tuple[str, ...]]:
    """Take the child's answer apart, trusting none of it."""
    line, _, body = answer.partition(b"\n")
    head: dict[str, Any] = (
        json.loads(line) if line.startswith(b"{") and line.endswith(b"}") else {"memory": True}
    )
    if "what" in head:
        raise ScanError(head["what"], value=head["value"], limit=head["limit"], do=head["do"])
    if "memory" in head or len(body) != 24 * head["vertices"] + 12 * head["faces"]:
        raise ScanError(
            "this scan cannot be read within the memory allowed, or broke the reader",
            limit=f"at most {memory_limit_bytes / 1e9:.1f} GB",
            do="export it as binary STL, with fewer triangles",
        )
    vertices = np.frombuffer(body, np.float64, 3 * head["vertices"]).reshape(-1, 3).copy()
    faces = np.frombuffer(body, np.int32, 3 * head["faces"], 24 * head["vertices"]).reshape(-1, 3).copy()
    return vertices, faces, head["unit"], tuple(head["notes"])
