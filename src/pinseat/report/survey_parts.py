"""What the survey sheet shows besides pins and draw, by the shape of it: the survey's own types fit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from pinseat.ledger.findings import Verdict

Float = NDArray[np.float64]


class Undercut(Protocol):
    """Undercut of a scan along its best draw."""

    @property
    def depth_mm(self) -> Float:
        """At each vertex, 0 where it is free; (n,)."""

    @property
    def face_area_mm2(self) -> Float:
        """Undercut part of each triangle; (m,)."""

    @property
    def face_volume_mm3(self) -> Float:
        """Block-out under each triangle; (m,). Only sums mean something."""


class RegionUndercut(Protocol):
    """Undercut of one region along the draw."""

    @property
    def deepest_mm(self) -> float:
        """Depth that all but single points keep within."""

    @property
    def area_mm2(self) -> float:
        """Undercut area."""

    @property
    def volume_mm3(self) -> float:
        """Block-out."""


@dataclass(frozen=True, eq=False)
class UndercutPart:
    """An undercut with the depth that decides.

    Attributes
    ----------
    map : Undercut
    limit_mm : float
        Deeper than this counts as too deep; larger than 0.
    limit_source : str
        Where the limit comes from.
    regions : sequence of RegionUndercut
        One for each region on the sheet.
    """

    map: Undercut
    limit_mm: float
    limit_source: str
    regions: Sequence[RegionUndercut] = ()


class Region(Protocol):
    """A surface that matters: a prepared surface, a wall, a groove, a neighbour's side; they may overlap."""

    @property
    def kind(self) -> str:
        """``wall``, ``groove`` and so on."""

    @property
    def tooth(self) -> int:
        """FDI two-digit (ISO 3950)."""

    @property
    def faces(self) -> NDArray[np.integer]:
        """Its triangles; (k,)."""

    @property
    def area_mm2(self) -> float:
        """Its area."""

    @property
    def doubt(self) -> str:
        """Why it cannot be used as it is; empty when it can."""


class Measure(Protocol):
    """A distance or a taper beside its limit."""

    @property
    def code(self) -> str:
        """Stable, dotted, for machines."""

    @property
    def where(self) -> str:
        """Tooth, pin or region in words."""

    @property
    def says(self) -> str:
        """What was measured, in one sentence."""

    @property
    def value(self) -> float:
        """In its unit."""

    @property
    def u(self) -> float:
        """One standard uncertainty."""

    @property
    def unit(self) -> str:
        """``mm``, ``deg``."""

    @property
    def limit(self) -> float | None:
        """None where the trade states none."""

    @property
    def at_least(self) -> bool:
        """Whether the limit is the least that will do, not the most."""

    @property
    def verdict(self) -> Verdict | None:
        """None without a limit."""
