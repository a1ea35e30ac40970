"""Meshes as the bytes of a file; whoever owns the folder writes them there."""

from __future__ import annotations

import struct
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pinseat.mesh.model import Mesh
from pinseat.mesh.topology import face_normals


def stl_bytes(mesh: Mesh) -> bytes:
    """Binary STL, in mm.

    Parameters
    ----------
    mesh : Mesh

    Returns
    -------
    bytes
        84 + 50 m of them; coordinates rounded to single precision (about 3 nm at 50 mm).
    """
    record = np.zeros(
        len(mesh.faces), np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("spare", "<u2")])
    )
    record["normal"] = face_normals(mesh)
    record["corners"] = mesh.vertices[mesh.faces]
    return b"binary STL, mm".ljust(80) + struct.pack("<I", len(record)) + record.tobytes()


def ply_bytes(mesh: Mesh, colours: NDArray[np.uint8] | None = None) -> bytes:
    """Binary little-endian PLY, in mm, with a colour at each vertex if wanted.

    Parameters
    ----------
    mesh : Mesh
    colours : (n, 3) uint8 array, optional

    Returns
    -------
    bytes
        Coordinates in double precision.
    """
    columns: list[tuple[str, str, str, NDArray[Any]]] = [
        (name, "<f8", "double", mesh.vertices[:, i]) for i, name in enumerate("xyz")
    ]
    if colours is not None:
        columns += [(name, "u1", "uchar", colours[:, i]) for i, name in enumerate(("red", "green", "blue"))]
    points = np.zeros(len(mesh.vertices), np.dtype([(name, kind) for name, kind, _, _ in columns]))
    for name, _, _, values in columns:
        points[name] = values
    triangles = np.zeros(len(mesh.faces), np.dtype([("corners", "u1"), ("index", "<i4", 3)]))
    triangles["corners"], triangles["index"] = 3, mesh.faces
    header = [
        "ply",
        "format binary_little_endian 1.0",
        "comment lengths in mm",
        f"element vertex {len(points)}",
        *(f"property {word} {name}" for name, _, word, _ in columns),
        f"element face {len(triangles)}",
        "property list uchar int vertex_indices",
        "end_header\n",
    ]
    return "\n".join(header).encode() + points.tobytes() + triangles.tobytes()
