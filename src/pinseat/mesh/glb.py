"""Binary glTF 2.0 (ISO/IEC 12113:2022): a coloured scan that any viewer of 3D models opens."""

from __future__ import annotations

import json
import struct
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pinseat.errors import ScanError
from pinseat.mesh.colour import Colours, linear
from pinseat.mesh.model import Float, Mesh
from pinseat.mesh.topology import vertex_normals

_FLOAT, _UNSIGNED_INT, _UNSIGNED_BYTE = 5126, 5125, 5121
_VERTICES, _INDICES = 34962, 34963
_LINES, _TRIANGLES = 1, 4


def glb_bytes(
    mesh: Mesh,
    colours: Colours | None = None,
    *,
    lines: Sequence[Float] = (),
    name: str = "scan",
    up: ArrayLike = (0.0, 0.0, 1.0),
    extras: Mapping[str, str] | None = None,
) -> bytes:
    """Binary glTF of a mesh, with a colour at each vertex if wanted.

    Coordinates stay in mm, as in the scan; the node that holds the mesh scales them to the metres of glTF
    and turns `up` to its +Y. Colours are stored as light, which is what glTF asks for; the material neither
    shines nor hides the surface's back. Normals are stored, or a viewer would show every facet of the noise.

    Parameters
    ----------
    mesh : Mesh
        With at least one triangle.
    colours : (n, 3) uint8 array, sRGB, optional
    lines : sequence of (k, 3) arrays, mm
        Drawn on the mesh in dark, such as the height of contour.
    name : str
        Of the node and the mesh.
    up : (3,) array
        What shall point upwards on the screen, such as the draw; any length but zero.
    extras : mapping of str to str, optional
        Words to keep in the file, such as versions and hashes.

    Returns
    -------
    bytes
        The same for the same arguments.

    Raises
    ------
    ScanError
        For a mesh without triangles or with a coordinate that is no number, or colours that do not fit it.

    Notes
    -----
    Coordinates are rounded to single precision (about 4 nm at 50 mm), colours to 8 bits of light: an sRGB
    level comes back within 1.5 of 255 from level 50 upwards, within 6 where it is nearly black.
    """
    _check(mesh, colours)
    upwards = np.asarray(up, np.float64) / np.linalg.norm(np.asarray(up, np.float64))
    parts = _parts(mesh, colours, upwards)
    last = len(parts) - 1
    said = {"unit": "coordinates in mm; this node scales them to metres", **(extras or {})}
    node = {"name": name, "mesh": 0, "rotation": _turn(upwards), "scale": [0.001] * 3, "extras": said}
    primitive = {
        "attributes": {part.word: i for i, part in enumerate(parts[:-1])},
        "indices": last,
        "material": 0,
        "mode": _TRIANGLES,
    }
    primitives: list[dict[str, Any]] = [primitive]
    pieces = [np.stack((line[:-1], line[1:]), axis=1).reshape(-1, 3) for line in lines if len(line) > 1]
    if pieces:
        parts.append(_positions(np.concatenate(pieces)))
        primitives.append({"attributes": {"POSITION": last + 1}, "material": 1, "mode": _LINES})
    dull = {"metallicFactor": 0.0, "roughnessFactor": 0.9}
    tree = {
        "asset": {"version": "2.0", "generator": "pinseat"},
        "scene": 0,
        "scenes": [{"nodes": [0]}],
        "nodes": [node],
        "meshes": [{"name": name, "primitives": primitives}],
        "materials": [
            {"name": "plaster", "doubleSided": True, "pbrMetallicRoughness": dull},
            {"name": "line", "pbrMetallicRoughness": {**dull, "baseColorFactor": [0.02, 0.02, 0.03, 1.0]}},
        ][: len(primitives)],
        **_stored(parts),
    }
    return _container(tree, b"".join(part.data.tobytes() for part in parts))


@dataclass(frozen=True, eq=False)
class _Part:
    """One stretch of the binary chunk: what it is for, its numbers, and how they are to be read."""

    word: str
    data: NDArray[Any]
    kind: dict[str, Any]


def _parts(mesh: Mesh, colours: Colours | None, up: Float) -> list[_Part]:
    """Attributes of the vertices, then the triangles; every element a multiple of 4 bytes."""
    normals = vertex_normals(mesh)
    normals[~normals.any(axis=1)] = up
    parts = [
        _positions(mesh.vertices),
        _Part("NORMAL", normals.astype("<f4"), {"componentType": _FLOAT, "type": "VEC3"}),
    ]
    if colours is not None:
        light = np.full((len(colours), 4), 255, np.uint8)
        light[:, :3] = np.rint(255.0 * linear(colours))
        kind = {"componentType": _UNSIGNED_BYTE, "normalized": True, "type": "VEC4"}
        parts.append(_Part("COLOR_0", light, kind))
    corners = mesh.faces.astype("<u4").ravel()
    return [*parts, _Part("", corners, {"componentType": _UNSIGNED_INT, "type": "SCALAR"})]


def _positions(points: Float) -> _Part:
    at = points.astype("<f4")
    box = {"min": at.min(axis=0).tolist(), "max": at.max(axis=0).tolist()}
    return _Part("POSITION", at, {"componentType": _FLOAT, "type": "VEC3", **box})


def _stored(parts: Sequence[_Part]) -> dict[str, Any]:
    """Where each part lies in the binary chunk, and how to read it."""
    sizes = [part.data.nbytes for part in parts]
    starts = [sum(sizes[:i]) for i in range(len(parts))]
    return {
        "accessors": [
            {"bufferView": i, "count": len(part.data), **part.kind} for i, part in enumerate(parts)
        ],
        "bufferViews": [
            {
                "buffer": 0,
                "byteOffset": start,
                "byteLength": size,
                "target": _VERTICES if part.word else _INDICES,
            }
            for part, start, size in zip(parts, starts, sizes, strict=True)
        ],
        "buffers": [{"byteLength": sum(sizes)}],
    }


def _check(mesh: Mesh, colours: Colours | None) -> None:
    if not len(mesh.faces):
        raise ScanError("there is no triangle to write", where="GLB")
    if not np.isfinite(mesh.vertices).all():
        raise ScanError("a coordinate of the scan is no number", where="GLB")
    if colours is not None and colours.shape != (len(mesh.vertices), 3):
        raise ScanError(
            "the colours do not fit the scan",
            where="GLB",
            value=f"{len(colours)} colours",
            limit=f"one for each of {len(mesh.vertices)} points",
        )


def _turn(up: Float) -> list[float]:
    """Unit quaternion (x, y, z, w) of the shortest turn that takes `up` to +Y; about x where it is -Y."""
    if up[1] <= -1.0 + 1e-12:
        return [1.0, 0.0, 0.0, 0.0]
    turn = np.array([-up[2], 0.0, up[0], 1.0 + up[1]])
    return [float(x) for x in turn / np.linalg.norm(turn)]


def _container(tree: dict[str, Any], data: bytes) -> bytes:
    """Header, JSON chunk padded with spaces, binary chunk padded with zeros, each to 4 bytes."""
    text = json.dumps(tree, separators=(",", ":"), ensure_ascii=False, allow_nan=False).encode()
    chunks = b""
    for body, kind, filler in ((text, b"JSON", b" "), (data, b"BIN\0", b"\0")):
        padded = body + filler * (-len(body) % 4)
        chunks += struct.pack("<I4s", len(padded), kind) + padded
    return struct.pack("<4sII", b"glTF", 2, 12 + len(chunks)) + chunks
