"""Bytes of a scan file to a checked mesh. Runs in a process of its own: see :mod:`pinseat.mesh.child`."""

from __future__ import annotations

import io
import re
import warnings
import zipfile
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pinseat.errors import ScanError
from pinseat.mesh.content import FORMATS, looks_like
from pinseat.mesh.model import Float, Int
from pinseat.mesh.stl import read_stl

LARGEST_COORDINATE = 1e7
"""Larger numbers are damage: an arch measured in micrometres spans some 60,000."""
MOST_UNPACKED_BYTES = 1_000_000_000
_AGAIN = "export the scan again, as binary STL if you can"
_UNITS_OF_3MF = {
    "micron": "um", "millimeter": "mm", "millimeters": "mm", "centimeter": "cm", "meter": "m", "inch": "in",
}  # fmt: skip


@dataclass(frozen=True, eq=False)
class Parsed:
    """A mesh in the unit of its file.

    Attributes
    ----------
    vertices : (n, 3) float64 array
        Every corner once, each used by a triangle.
    faces : (m, 3) int32 array
    unit : str
        What the file itself says; empty when it says nothing.
    notes : tuple of str
        What was met on the way.
    """

    vertices: Float
    faces: Int
    unit: str
    notes: tuple[str, ...]


def parse(data: bytes, kind: str) -> Parsed:
    """Read a scan file.

    Parameters
    ----------
    data : bytes
        The whole file.
    kind : str
        One of :data:`~pinseat.mesh.content.FORMATS`, from the name of the file.

    Returns
    -------
    Parsed

    Raises
    ------
    ScanError
        Whatever is wrong with the file.
    """
    if not data.strip(b"\x00 \t\r\n"):
        raise ScanError("the file is empty", do="export the scan again")
    looked = looks_like(data)
    if looked != kind:
        _refuse(kind, looked)
    if kind == "STL":
        corners, notes = read_stl(data)
        vertices, faces, unit = corners.reshape(-1, 3), np.arange(3 * len(corners)).reshape(-1, 3), ""
    else:
        vertices, faces, unit = _through_library(data, kind)
        notes = ()
    _check(vertices, faces)
    joined, index = join_identical(vertices[faces.ravel()])
    unused = len(vertices) - len(np.unique(faces)) if kind != "STL" else 0
    if unused:
        notes = (*notes, f"{unused:,} points that belong to no triangle were left out")
    return Parsed(joined, index.reshape(-1, 3), unit, notes)


def join_identical(corners: Float) -> tuple[Float, Int]:
    """Give corners with the same three numbers one index, as files without shared corners mean it.

    Parameters
    ----------
    corners : (k, 3) float64 array

    Returns
    -------
    vertices : (n, 3) float64 array
        In the order in which they first appear.
    index : (k,) int32 array
    """
    corners = np.ascontiguousarray(corners) + 0.0  # -0.0 and 0.0 are one place
    bits = corners.view(np.uint64)
    with np.errstate(over="ignore"):
        key = bits[:, 0] * np.uint64(0x9E3779B97F4A7C15)
        key = (key ^ (key >> np.uint64(29)) ^ bits[:, 1]) * np.uint64(0xBF58476D1CE4E5B9)
        key = (key ^ (key >> np.uint64(32)) ^ bits[:, 2]) * np.uint64(0x94D049BB133111EB)
    _, first, inverse = np.unique(key, return_index=True, return_inverse=True)
    if not np.array_equal(corners[first[inverse]], corners):  # two places with one key: take the slow way
        _, first, inverse = np.unique(corners, axis=0, return_index=True, return_inverse=True)
    order = np.argsort(first)
    rank = np.empty(len(first), np.int32)
    rank[order] = np.arange(len(first), dtype=np.int32)
    return corners[first[order]], rank[inverse.ravel()]


def _refuse(kind: str, looked: str) -> None:
    if looked in FORMATS:
        raise ScanError(
            f"the name says {kind}, but the content looks like {looked}",
            do=f"let the name end in .{looked.lower()}, or export the scan again",
        )
    if looked:
        raise ScanError(
            f"the name says {kind}, but the content looks like {looked}", do="choose the scan itself"
        )
    raise ScanError(f"the content does not look like {kind}", do=_AGAIN)


def _check(vertices: Float, faces: NDArray[Any]) -> None:
    if not len(faces):
        what = "the file holds points but no triangles" if len(vertices) else "the file holds no triangles"
        raise ScanError(what, do="export the scan as a surface")
    low, high = int(faces.min()), int(faces.max())
    if low < 0 or high >= len(vertices):
        raise ScanError(
            "a triangle names a corner that is not in the file",
            value=f"corner {high if high >= len(vertices) else low:,}",
            limit=f"0 to {len(vertices) - 1:,}",
            do=_AGAIN,
        )
    used = vertices[np.unique(faces)] if len(vertices) < 3 * len(faces) else vertices
    bad = np.asarray(~np.isfinite(used).all(axis=1))
    if bad.any():
        value = f"{int(bad.sum()):,} of {len(bad):,} corners"
        raise ScanError("a coordinate is not a finite number", value=value, do=_AGAIN)
    largest = float(np.abs(used).max())
    if largest > LARGEST_COORDINATE:
        raise ScanError(
            "a coordinate is too large for any scan",
            value=f"{largest:.3g}",
            limit=f"at most {LARGEST_COORDINATE:.0e}",
            do=_AGAIN,
        )


def _through_library(data: bytes, kind: str) -> tuple[Float, NDArray[Any], str]:
    """Read with trimesh, which may open nothing else; look before at what it would take on trust."""
    _BEFORE[kind](data)
    import trimesh

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        warnings.filterwarnings("error", message="string or file could not be read")
        try:
            scene = trimesh.load_scene(
                io.BytesIO(data), file_type=kind.lower(), process=False, skip_materials=True
            )
            parts = [scene.graph[name] for name in scene.graph.nodes_geometry]
            placed = [_placed(scene.geometry[name], matrix) for matrix, name in parts]
        except (ScanError, MemoryError):
            raise
        except Exception as error:
            if re.search("memory|unknown error", str(error).lower()):  # how the XML reader says it ran out
                raise MemoryError from None
            raise ScanError(f"the {kind} file is damaged and cannot be read", do=_AGAIN) from None
    if kind == "3MF":
        _all_placed(data, len(placed))
    if not placed:
        raise ScanError("the file holds no triangles", do="export the scan as a surface")
    offsets = np.cumsum([0] + [len(v) for v, _ in placed])
    faces = np.concatenate([f + at for (_, f), at in zip(placed, offsets, strict=False)])
    unit = _unit_of_3mf(scene.metadata) if kind == "3MF" else ""
    return np.concatenate([v for v, _ in placed]), faces, unit


def _placed(geometry: Any, matrix: Float) -> tuple[Float, NDArray[np.int64]]:
    vertices = np.asarray(geometry.vertices, np.float64).reshape(-1, 3)
    faces = np.asarray(getattr(geometry, "faces", np.empty((0, 3))), np.int64).reshape(-1, 3)
    if len(faces):
        _check(vertices, faces)
    if not np.array_equal(matrix, np.eye(4)):
        vertices = vertices @ matrix[:3, :3].T + matrix[:3, 3]
        if np.linalg.det(matrix[:3, :3]) < 0.0:
            faces = faces[:, ::-1]
    return vertices, faces


def _unit_of_3mf(metadata: dict[str, Any]) -> str:
    said = str(metadata.get("units", "millimeter"))
    if said not in _UNITS_OF_3MF:
        raise ScanError(
            "the 3MF file is measured in a unit that no scan has", value=said, do="export it in mm"
        )
    return _UNITS_OF_3MF[said]


def _promise(kind: str, promised: int, name: str, most: int) -> None:
    if promised > most or promised < 0:
        raise ScanError(
            f"the {kind} file is cut short, or its header is damaged",
            value=f"room for at most {most:,} {name}",
            limit=f"{promised:,} as the header promises",
            do=_AGAIN,
        )


_PLY_BYTES = {"char": 1, "uchar": 1, "int8": 1, "uint8": 1, "short": 2, "ushort": 2, "int16": 2, "uint16": 2,
              "int": 4, "uint": 4, "int32": 4, "uint32": 4, "float": 4, "float32": 4, "double": 8,
              "float64": 8}  # fmt: skip


def _before_ply(data: bytes) -> None:
    end = re.search(rb"end_header\r?\n?", data[:65536])
    if not end:
        raise ScanError("the PLY file is cut short: its header has no end", do=_AGAIN)
    header = data[: end.start()].decode("latin-1")
    text, body = "format ascii" in header, data[end.end() :]
    room, total = len(body), 0
    for name, count, rest in re.findall(r"element\s+(\S+)\s+(-?\d+)(.*?)(?=element\s|\Z)", header, re.DOTALL):
        kinds = re.findall(r"property\s+(?:list\s+)?(\w+)", rest)
        size = sum(2 if text else _PLY_BYTES.get(kind, 1) for kind in kinds)
        name = {"vertex": "points", "face": "triangles"}.get(name, f"of {name}")
        _promise("PLY", int(count), name, (room + text) // max(size, 1))
        room, total = room - int(count) * size, total + int(count)
    if text:
        _promise("PLY", total, "lines", sum(1 for line in body.splitlines() if line.strip()))


def _before_off(data: bytes) -> None:
    lines = [line for line in re.sub(rb"#[^\n]*", b"", data).split(b"\n") if line.strip()]
    counts = re.search(rb"OFF\s+(-?\d+)\s+(-?\d+)", b"\n".join(lines[:3]))
    if not counts:
        raise ScanError("the OFF file does not say how many points and faces it holds", do=_AGAIN)
    heads = 1 if len(lines[0].split()) > 1 else 2
    _promise("OFF", int(counts[1]) + int(counts[2]), "lines", len(lines) - heads)


def _before_obj(data: bytes) -> None:
    if re.search(rb"^f[ \t]+\S+(?:[ \t]+\S+)?[ \t]*\r?$", data, re.MULTILINE):
        raise ScanError("the OBJ file is damaged: a face has fewer than three corners", do=_AGAIN)
    if re.search(rb"^f[^\n]*[ \t]0+(?:[/ \t\r\n]|\Z)", data, re.MULTILINE):
        raise ScanError("a face of the OBJ file names corner 0, but corners count from 1", do=_AGAIN)
    backwards = re.search(rb"^f[^\n]*[ \t]-", data, re.MULTILINE)
    if backwards and re.search(rb"^v[ \t]", data[backwards.start() :], re.MULTILINE):
        raise ScanError("the OBJ file counts corners backwards from the middle of the file", do=_AGAIN)


def _before_3mf(data: bytes) -> None:
    try:
        archive = zipfile.ZipFile(io.BytesIO(data))
        entries = archive.infolist()
        unpacked = sum(entry.file_size for entry in entries)
        if unpacked > MOST_UNPACKED_BYTES:
            raise ScanError(
                "the 3MF file grows too large when it is unpacked",
                value=f"{unpacked / 1e9:.1f} GB",
                limit=f"at most {MOST_UNPACKED_BYTES / 1e9:.0f} GB",
                do=_AGAIN,
            )
        models = [entry for entry in entries if entry.filename.lower().endswith(".model")]
        if not any("3d/3dmodel.model" in entry.filename.lower() for entry in models):
            raise ScanError("this archive holds no 3MF model", do="unpack it and choose the scan inside")
        for entry in models:
            _plain_xml(archive.read(entry))
    except (
        zipfile.BadZipFile,
        zipfile.LargeZipFile,
        zlib.error,
        NotImplementedError,
        RuntimeError,
        EOFError,
        ValueError,
        OSError,
    ):
        raise ScanError("the 3MF file is damaged or locked and cannot be unpacked", do=_AGAIN) from None


def _plain_xml(data: bytes) -> None:
    """Refuse document type definitions, as the packaging standard does (ECMA-376 part 2; from memory)."""
    declared = re.match(rb"\s*<\?xml[^>]*encoding=[\"']([^\"']+)", data.removeprefix(b"\xef\xbb\xbf"))
    if b"\x00" in data[:64] or (declared and declared[1].lower() != b"utf-8"):
        raise ScanError("the 3MF file is written in an unusual encoding", limit="UTF-8", do=_AGAIN)
    if b"<!DOCTYPE" in data or b"<!ENTITY" in data:
        raise ScanError("the 3MF file refers to things outside itself", do=_AGAIN)


def _all_placed(data: bytes, found: int) -> None:
    """Make sure that no part of a 3MF file was passed over: the library gives up on deep nesting."""
    archive = zipfile.ZipFile(io.BytesIO(data))
    name = next(n for n in archive.namelist() if "3d/3dmodel.model" in n.lower())
    inside: dict[bytes, list[bytes]] = {}
    items: list[bytes] = []
    holder: list[bytes] = []
    for tag, attributes in re.findall(rb"<(?:\w+:)?(object|component|item)\s([^>]*)>", archive.read(name)):
        number = re.search(rb"\b(?:object)?id\s*=\s*[\"']([^\"']*)", attributes)
        identity = number[1] if number else b""
        if tag == b"object":
            holder = inside.setdefault(identity, [])
        elif tag == b"component":
            holder.append(identity)
        else:
            items.append(identity)
    count: dict[bytes, int] = {}

    def parts(identity: bytes) -> int:
        if identity not in count:
            held = inside.get(identity, [])
            count[identity] = sum(parts(other) for other in held) if held else 1
        return count[identity]

    try:
        whole = sum(parts(item) for item in items) == found
    except RecursionError:  # a part that holds itself
        whole = False
    if not whole:
        raise ScanError("the 3MF file is put together from too many parts of parts", do=_AGAIN)


_BEFORE: dict[str, Callable[[bytes], None]] = {
    "PLY": _before_ply, "OBJ": _before_obj, "OFF": _before_off, "3MF": _before_3mf,
}  # fmt: skip
