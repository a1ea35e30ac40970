"""A scan with its edges and with normals that do not follow the noise; regions and undercut start from it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from pinseat.mesh.model import Mesh
from pinseat.mesh.smoothing import smoothed_normals
from pinseat.mesh.topology import Edges, edge_lengths, edges, unit

Float = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Smoothed:
    """A scan and its smoothed normals, made once for all that is asked of it.

    Attributes
    ----------
    mesh : Mesh
        A working copy: welded and wound outward.
    """

    mesh: Mesh

    @cached_property
    def edges(self) -> Edges:
        """Edges of the mesh."""
        return edges(self.mesh)

    @cached_property
    def edge_mm(self) -> float:
        """Median edge length."""
        return float(np.median(edge_lengths(self.mesh, self.edges)))

    @cached_property
    def normals(self) -> Float:
        """Smoothed unit normals at the vertices, (n, 3)."""
        return smoothed_normals(self.mesh, self.edges)

    @cached_property
    def face_normals(self) -> Float:
        """Smoothed unit normals of the triangles, (m, 3)."""
        return unit(self.normals[self.mesh.faces].sum(axis=1))
