"""Surfaces and numbers on them, made ready for the drawing on the page.

Everything here is made from the scan and the results, is kept in ``results/drawing`` and can be deleted.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from pinseat.case import files, results
from pinseat.case.document import load_case
from pinseat.case.files import atomic_write, plainly
from pinseat.case.rebuild import rebuild
from pinseat.errors import CaseError, ScanError
from pinseat.mesh.colour import NOT_MEASURED, ramp
from pinseat.mesh.files import read_scan
from pinseat.mesh.model import Mesh
from pinseat.mesh.topology import vertex_normals
from pinseat.mesh.working_copy import working_copy
from pinseat.survey.model import SurveyResult
from pinseat.survey.undercut import Surveyed, undercut_map
from pinseat.workbench.pack import pack
from pinseat.workbench.shelf import name_of, path_of, scan_file, scan_state, undercut_limit

COARSE = 16_000
"""Triangles of the copy that is shown while the drawing moves."""
LAYER = 60_000
"""Triangles of a surface that is laid over the scan: it is looked through, not measured on."""
_RAMP = 256


class Draughtsman:
    """Makes what the page draws; keeps the mesh it looked at last, for the next question about it."""

    def __init__(self) -> None:
        self._held: tuple[str, Mesh, Surveyed | None] | None = None

    def make(self, folder: Path, what: str) -> str:
        """Make one thing to draw, unless it lies there already.

        Parameters
        ----------
        folder : Path
            The case folder.
        what : str
            ``scan``, ``undercut``, the name of a mesh file inside the case folder, or that of a coloured one
            (binary glTF).

        Returns
        -------
        str
            Name of the file in ``results/drawing``.

        Raises
        ------
        PinseatError
            When there is nothing to make it from.
        """
        name = name_of(folder, what)
        path = path_of(folder, name)
        if not path.is_file():
            with plainly(path.parent):
                path.parent.mkdir(parents=True, exist_ok=True)
            data = self._made(folder, what)
            stem = name.rsplit(".", 2)[0]
            for old in path.parent.glob(f"{stem}.*.bin"):
                old.unlink(missing_ok=True)
            atomic_write(path, data)
        return name

    def _made(self, folder: Path, what: str) -> bytes:
        if what == "scan":
            return surface(self._mesh(folder))
        if what == "undercut":
            return self._undercut(folder)
        if what.endswith(".glb"):
            return painted(files.inside(folder, what))
        return layer(read_scan(files.inside(folder, what), "mm").mesh)

    def _mesh(self, folder: Path) -> Mesh:
        key = scan_state(folder)
        if self._held is None or self._held[0] != key:
            self._held = (key, _working(folder), None)
        return self._held[1]

    def _undercut(self, folder: Path) -> bytes:
        mesh = self._mesh(folder)
        assert self._held is not None
        surveyed = self._held[2] or Surveyed(mesh)
        self._held = (self._held[0], mesh, surveyed)
        found = rebuild(SurveyResult, results.read_result(folder, "survey").payload)
        depth = undercut_map(surveyed, found.window.centre).depth_mm
        limit_um, source = undercut_limit(folder)
        said = {
            "title": "Undercut along the draw",
            "unit": "um",
            "limit": limit_um,
            "limit_source": source,
            "worst": "largest",
        }
        return numbers(1e3 * depth, said, limit_um)


def surface(mesh: Mesh) -> bytes:
    """A mesh with its coarse copy.

    Parameters
    ----------
    mesh : Mesh

    Returns
    -------
    bytes
        Packed: ``position``, ``normal``, ``index`` of the mesh and ``coarse_position``, ``coarse_normal``,
        ``coarse_index``, ``coarse_from`` (the vertex of the mesh nearest to each of the copy).
    """
    arrays = _arrays(mesh)
    coarse = _coarse(mesh, COARSE)
    arrays |= {f"coarse_{key}": data for key, data in _arrays(coarse).items()}
    nearest = np.asarray(cKDTree(mesh.vertices).query(coarse.vertices)[1])
    arrays["coarse_from"] = nearest.astype(np.uint32)
    return pack(arrays, {"triangles": len(mesh.faces)})


def layer(mesh: Mesh) -> bytes:
    """A surface to lay over the scan, thinned for looking through it."""
    return pack(_arrays(_coarse(mesh, LAYER)), {"triangles": len(mesh.faces)})


def painted(path: Path) -> bytes:
    """A surface in the colours that a step has given it, with its coarse copy.

    Parameters
    ----------
    path : Path
        Binary glTF as :func:`pinseat.mesh.glb.glb_bytes` writes it.

    Returns
    -------
    bytes
        Packed as by :func:`surface`, with ``paint`` and ``coarse_paint`` (sRGB); what the file says of itself
        goes along.

    Raises
    ------
    ScanError
        When it holds no colours.
    """
    with plainly(path):
        data = path.read_bytes()
    length = int.from_bytes(data[12:16], "little")
    tree, start = json.loads(data[20 : 20 + length]), 28 + length
    primitive = tree["meshes"][0]["primitives"][0]
    if "COLOR_0" not in primitive["attributes"]:
        raise ScanError("this surface has no colours", where=path.name)

    def stored(which: int, kind: str, wide: int) -> NDArray[Any]:
        accessor = tree["accessors"][which]
        at = start + tree["bufferViews"][accessor["bufferView"]]["byteOffset"]
        return np.frombuffer(data, kind, accessor["count"] * wide, at).reshape(-1, wide)

    points = stored(primitive["attributes"]["POSITION"], "<f4", 3).astype(np.float64)
    mesh = Mesh(points, stored(primitive["indices"], "<u4", 1).reshape(-1, 3).astype(np.int32))
    light = stored(primitive["attributes"]["COLOR_0"], "u1", 4)[:, :3] / 255.0
    shown = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1.0 / 2.4) - 0.055)
    paint = np.rint(255.0 * shown).astype(np.uint8)
    coarse = _coarse(mesh, COARSE)
    nearest = np.asarray(cKDTree(mesh.vertices).query(coarse.vertices)[1])
    arrays = {**_arrays(mesh), "paint": paint.ravel(), "coarse_paint": paint[nearest].ravel()}
    arrays |= {f"coarse_{key}": made for key, made in _arrays(coarse).items()}
    said = tree["nodes"][0].get("extras", {})
    return pack(arrays, {"extras": {str(key): str(value) for key, value in said.items()}})


def numbers(per_vertex: NDArray[np.float64], said: dict[str, Any], limit: float) -> bytes:
    """A number at each vertex, with the colours it is shown in.

    Parameters
    ----------
    per_vertex : (n,) array
        Not a number where there is none.
    said : dict
        ``title``, ``unit``, ``limit``, ``limit_source``.
    limit : float
        Colours run to twice this, with a step at it.
    """
    colours = ramp(np.linspace(0.0, 2.0 * limit, _RAMP), limit)
    return pack(
        {"value": per_vertex.astype(np.float32), "ramp": colours.astype(np.uint8).ravel()},
        {**said, "top": 2.0 * limit, "none": list(NOT_MEASURED)},
    )


def _arrays(mesh: Mesh) -> dict[str, NDArray[Any]]:
    normals = np.zeros((len(mesh.vertices), 4), np.int8)
    normals[:, :3] = np.rint(127.0 * vertex_normals(mesh))
    return {
        "position": mesh.vertices.astype(np.float32).ravel(),
        "normal": normals.ravel(),
        "index": mesh.faces.astype(np.uint32).ravel(),
    }


def _coarse(mesh: Mesh, triangles: int) -> Mesh:
    import fast_simplification

    share = 1.0 - triangles / max(len(mesh.faces), 1)
    if share <= 0.1:
        return mesh
    points, faces = fast_simplification.simplify(
        mesh.vertices.astype(np.float32), mesh.faces.astype(np.int32), share, agg=7
    )
    return Mesh(points.astype(np.float64), faces.astype(np.int32))


def _working(folder: Path) -> Mesh:
    """The mesh the steps work on: same points, same order, so that their numbers fit it."""
    case = load_case(folder) if _sound(folder) else None
    if case is not None and case.scan is not None:
        scan = read_scan(files.inside(folder, case.scan.file), case.scan.unit)
        return working_copy(scan.mesh).mesh
    return working_copy(read_scan(scan_file(folder), None).mesh).mesh


def _sound(folder: Path) -> bool:
    try:
        load_case(folder)
    except CaseError:
        return False
    return True
