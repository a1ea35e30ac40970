"""The scan made fit to work on; the scan itself stays as it came."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import KDTree

from pinseat.mesh.health import duplicate_faces
from pinseat.mesh.model import Mesh
from pinseat.mesh.orient import outside, wind_alike
from pinseat.mesh.topology import components, edges, face_areas

WELD_MM = 0.001
"""Corners on open edges closer than this are one: a tenth of a scanner's noise, and far above rounding."""
SPECK_SHARE = 0.001
"""Loose parts with a smaller share of the whole area are taken for specks.

A thousandth of an arch scan is 3 to 5 mm2. A pin 0.6 mm thick that stands 3 mm out has 6 mm2, so one that was
scanned without its foot is kept.
"""


@dataclass(frozen=True, eq=False)
class WorkingCopy:
    """A cleaned mesh and what was done to get it.

    Attributes
    ----------
    mesh : Mesh
        Wound outward; every vertex used.
    did : tuple of str
        One sentence for each thing done, or left undone for a reason. Empty for a sound scan.
    """

    mesh: Mesh
    did: tuple[str, ...]


def working_copy(mesh: Mesh) -> WorkingCopy:
    """Weld, clean and orient a scan.

    Corners on open edges closer than 1 um become one. Triangles with a corner twice or stored twice go; those
    without area stay, or the surface would gape. Loose parts with less than 0.1 % of the area go.
    Neighbours are wound alike, and each part outward where its outside can be told. No point is moved,
    smoothed or thinned out.

    Parameters
    ----------
    mesh : Mesh
        In mm. It is not changed.

    Returns
    -------
    WorkingCopy
    """
    did: list[str] = []
    for step in (_drop_repeated, _weld, _drop_repeated, _drop_specks, _orient):
        mesh, says = step(mesh)
        did += says
    return WorkingCopy(_compact(mesh), tuple(did))


def _weld(mesh: Mesh) -> tuple[Mesh, list[str]]:
    """Only corners on open edges can be two of one: inside a surface every corner is shared already."""
    found = edges(mesh)
    rim = np.unique(found.ends[found.count == 1])
    if not len(rim):
        return mesh, []
    pairs = rim[KDTree(mesh.vertices[rim]).query_pairs(WELD_MM, output_type="ndarray")]
    if not len(pairs):
        return mesh, []
    size = len(mesh.vertices)
    graph = coo_array((np.ones(len(pairs), np.int8), (pairs[:, 0], pairs[:, 1])), shape=(size, size)).tocsr()
    _, first, inverse = np.unique(
        connected_components(graph, directed=False)[1], return_index=True, return_inverse=True
    )
    joined = size - len(first)
    faces = first[inverse][mesh.faces].astype(np.int32)
    return Mesh(mesh.vertices, faces), [f"{_were(joined, 'corner')} joined to one closer than 1 um."]


def _drop_repeated(mesh: Mesh) -> tuple[Mesh, list[str]]:
    says = []
    a, b, c = mesh.faces.T
    collapsed = (a == b) | (b == c) | (c == a)
    if collapsed.any() and not collapsed.all():
        says.append(f"{_were(int(collapsed.sum()), 'triangle')} removed: two corners were one.")
        mesh = Mesh(mesh.vertices, mesh.faces[~collapsed])
    again = duplicate_faces(mesh)
    if again.any():
        says.append(f"{_were(int(again.sum()), 'triangle')} removed: stored twice.")
        mesh = Mesh(mesh.vertices, mesh.faces[~again])
    return mesh, says


def _drop_specks(mesh: Mesh) -> tuple[Mesh, list[str]]:
    part = components(mesh)
    area = np.bincount(part, face_areas(mesh))
    speck = area < SPECK_SHARE * area.sum()
    if not speck.any() or speck.all():
        return mesh, []
    gone = speck[part]
    sentence = (
        f"{_were(int(speck.sum()), 'loose speck')} removed, {int(gone.sum()):,} triangles in all, "
        f"the largest {area[speck].max():.2g} mm2."
    )
    return Mesh(mesh.vertices, mesh.faces[~gone]), [sentence]


def _orient(mesh: Mesh) -> tuple[Mesh, list[str]]:
    says = []
    wound = wind_alike(mesh)
    turned = int(wound.turned.sum())
    if turned:
        says.append(f"{_were(turned, 'triangle')} turned over to match the triangles beside.")
    if wound.clashes:
        says.append(f"{_were(wound.clashes, 'edge')} left where neighbours cannot be made to lie alike.")
    mesh = Mesh(mesh.vertices, wound.faces)
    side = outside(mesh, wound.part)
    inward = (side < 0)[wound.part]
    if inward.any():
        says.append(f"{_were(int(inward.sum()), 'triangle')} turned over: the back showed outward.")
    unsure = (side == 0)[wound.part]
    area = face_areas(mesh)
    if area[unsure].sum() >= SPECK_SHARE * area.sum() > 0.0:
        says.append(
            f"{_were(int(unsure.sum()), 'triangle')} left alone: "
            "the shape does not tell which side is the outside."
        )
    faces = np.where(inward[:, None], mesh.faces[:, ::-1], mesh.faces)
    return Mesh(mesh.vertices, faces), says


def _compact(mesh: Mesh) -> Mesh:
    """Leave out vertices that no triangle uses, keeping the order of the others."""
    used = np.zeros(len(mesh.vertices), bool)
    used[mesh.faces] = True
    index = np.cumsum(used, dtype=np.int32) - np.int32(1)
    return Mesh(mesh.vertices[used], np.ascontiguousarray(index[mesh.faces]))


def _were(number: int, name: str) -> str:
    return f"1 {name} was" if number == 1 else f"{number:,} {name}s were"
