"""Cups: idealised ones by outline and depth, for work without a scan and for tests."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from pinseat.errors import PlatingError
from pinseat.plating.bodies import outline_distance
from pinseat.plating.model import BANDS, RUBBER, Body, Electrode, Float, Geometry, Int

RIM_MM = 1.0
"""How far down the rim band reaches; a third of the depth at most."""
FLOOR_MM = 0.25
"""How far up from the floor a wall still counts as floor: the rounding of the corner in cells."""


@dataclass(frozen=True, eq=False)
class Cup:
    """A cup with upright walls and a flat floor; its mouth lies at z = 0 and the bath is above.

    Attributes
    ----------
    name : str
    depth_mm : float
    diameter_mm : float
        Of a round cup; 0 when an outline is given.
    outline_mm : (k, 2) array or None
        Closed polygon about the cup's own centre.
    at_mm : (float, float)
        Where that centre lies.
    """

    name: str
    depth_mm: float
    diameter_mm: float = 0.0
    outline_mm: Float | None = None
    at_mm: tuple[float, float] = (0.0, 0.0)

    def inside(self, points: Float) -> Float:
        """How far points (n, 3) lie inside the outline, mm, seen along z; negative outside."""
        flat = points[:, :2] - np.asarray(self.at_mm)
        if self.outline_mm is None:
            return np.asarray(0.5 * self.diameter_mm - np.hypot(flat[:, 0], flat[:, 1]))
        return outline_distance(self.outline_mm, flat)

    @property
    def reach_mm(self) -> float:
        """Largest distance of the outline from the centre."""
        if self.outline_mm is None:
            return 0.5 * self.diameter_mm
        return float(np.linalg.norm(self.outline_mm, axis=1).max())


@dataclass(frozen=True, eq=False)
class Block:
    """Rubber with cups in it, metallised inside, and on a ring about each mouth.

    Attributes
    ----------
    cups : tuple of Cup
    metal : tuple of int
        Electrode of each cup.
    mask_mm : float
        Band below each margin that is covered with wax.
    ring_mm : float
        How far bare metal reaches past each margin onto the flat rubber.
    ring_metal : tuple of int
        Electrode of each ring.
    """

    cups: tuple[Cup, ...]
    metal: tuple[int, ...]
    mask_mm: float = 0.0
    ring_mm: float = 0.0
    ring_metal: tuple[int, ...] = ()

    def distance(self, points: Float) -> Float:
        """See :class:`pinseat.plating.model.Body`."""
        far = points[:, 2].copy()
        for cup in self.cups:
            np.maximum(far, np.minimum(cup.inside(points), points[:, 2] + cup.depth_mm), out=far)
        return far

    def electrode(self, points: Float) -> Int:
        """See :class:`pinseat.plating.model.Body`."""
        found = np.full(len(points), RUBBER, np.int64)
        z = points[:, 2]
        for place, cup in enumerate(self.cups):
            inside = cup.inside(points)
            deep = -z > np.maximum(-inside, 0.0)
            bare = deep & (z < -self.mask_mm) & (inside > -0.5 * cup.reach_mm)
            found[bare] = self.metal[place]
            if self.ring_mm > 0.0:
                found[~deep & (inside > -self.ring_mm) & (inside <= 0.0)] = self.ring_metal[place]
        return found

    def metal_distance(self, points: Float) -> Float:
        """See :class:`pinseat.plating.model.Body`."""
        best = np.full(len(points), np.inf)
        z = points[:, 2]
        for cup in self.cups:
            inside = cup.inside(points)
            wall = np.hypot(inside, np.maximum(np.maximum(z + self.mask_mm, -cup.depth_mm - z), 0.0))
            floor = np.hypot(z + cup.depth_mm, np.maximum(-inside, 0.0))
            np.minimum(best, np.minimum(wall, floor), out=best)
            if self.ring_mm > 0.0:
                beyond = np.maximum(np.maximum(inside, -self.ring_mm - inside), 0.0)
                np.minimum(best, np.hypot(z, beyond), out=best)
        return best


@dataclass(frozen=True, eq=False)
class CupBands:
    """Floor, wall and rim of idealised cups; nothing within a cell of the wax edge.

    Attributes
    ----------
    cups : tuple of Cup
    metal : tuple of int
    last_mm : float
        What is closer to the wax edge than this is in no band.
    mask_mm : float
    """

    cups: tuple[Cup, ...]
    metal: tuple[int, ...]
    last_mm: float
    mask_mm: float = 0.0

    def from_edge_mm(self, points: Float) -> Float:
        """See :class:`pinseat.plating.model.Zone`."""
        return -points[:, 2] - self.mask_mm

    def for_cells(self, metal_mm: float) -> CupBands:
        """See :class:`pinseat.plating.model.Zone`."""
        return replace(self, last_mm=metal_mm)

    def __call__(self, points: Float, electrode: Int) -> Int:
        """See :class:`pinseat.plating.model.Zone`."""
        band = np.full(len(points), -1, np.int64)
        z = points[:, 2] + self.mask_mm
        for cup, metal in zip(self.cups, self.metal, strict=True):
            mine = electrode == metal
            depth = cup.depth_mm - self.mask_mm
            rim = min(RIM_MM, depth / 3.0)
            floor = z < -depth + min(FLOOR_MM, depth / 4.0)
            band[mine & (z < -self.last_mm)] = BANDS.index("wall")
            band[mine & (z < -self.last_mm) & (z >= -rim)] = BANDS.index("rim")
            band[mine & floor] = BANDS.index("floor")
        return band


def ideal_cups(
    cups: Sequence[Cup],
    *,
    mask_mm: float = 0.0,
    ring_mm: float = 0.0,
    extra: Sequence[tuple[Electrode | None, Body]] = (),
    anode_mm: float = 30.0,
    tank_mm: float = 40.0,
    metal_mm: float = 0.2,
    rubber_mm: float = 0.4,
    bath_mm: float = 3.2,
    band_mm: float = 0.0,
) -> Geometry:
    """Cups in a flat block under a plane anode, in a square tank.

    Parameters
    ----------
    cups : sequence of Cup
        One piece each.
    mask_mm : float
        Band below each margin that is covered.
    ring_mm : float
        Bare metal past each margin (no piece: ``"ring 21"``).
    extra : sequence of (Electrode or None, Body)
        Rods, wires, thieves, pins, shields; a body's own electrode number must be 1 + 2 cups + its place, or
        that of a cup.
    anode_mm : float
        From the mouths to the anode.
    tank_mm : float
        Side of the tank; at least the cups and 5 mm about them.
    metal_mm, rubber_mm, bath_mm, band_mm : float
        See :class:`pinseat.plating.model.Geometry`.

    Returns
    -------
    Geometry
        Electrode 0 is the anode, 1 to n the cups, n + 1 to 2 n the rings when there are any.

    Raises
    ------
    PlatingError
        Without a cup, or when two overlap.
    """
    if not cups:
        raise PlatingError("there is no cathode", do="state a piece")
    _apart(cups)
    numbers = tuple(range(1, len(cups) + 1))
    rings = tuple(n + len(cups) for n in numbers) if ring_mm > 0.0 else ()
    block = Block(tuple(cups), numbers, mask_mm, ring_mm, rings)
    electrodes = [Electrode("anode", "anode"), *(Electrode(c.name, "cathode", piece=True) for c in cups)]
    electrodes += [Electrode(f"ring {c.name}", "cathode", with_=c.name) for c in cups if rings]
    electrodes += [electrode for electrode, _ in extra if electrode is not None]
    spread = max(max(abs(c.at_mm[0]), abs(c.at_mm[1])) + c.reach_mm for c in cups) + 5.0
    half = bath_mm * np.ceil(max(0.5 * tank_mm, spread) / bath_mm)
    top = anode_mm
    deep = max(c.depth_mm for c in cups) + 2.0 * metal_mm
    low = np.array([-half, -half, top - bath_mm * np.ceil((top + deep) / bath_mm)])
    return Geometry(
        low,
        np.array([half, half, top]),
        (block, *(body for _, body in extra)),
        tuple(electrodes),
        (RUBBER, RUBBER, RUBBER, RUBBER, RUBBER, 0),
        None,
        metal_mm,
        rubber_mm,
        bath_mm,
        band_mm,
        CupBands(tuple(cups), numbers, metal_mm, mask_mm),
    )


def _apart(cups: Sequence[Cup]) -> None:
    for i, one in enumerate(cups):
        for other in cups[:i]:
            gap = float(np.hypot(one.at_mm[0] - other.at_mm[0], one.at_mm[1] - other.at_mm[1]))
            if gap < one.reach_mm + other.reach_mm:
                raise PlatingError(
                    "two cups overlap", where=f"{other.name} and {one.name}", value=f"{gap:.3g} mm apart"
                )
