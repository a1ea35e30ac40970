"""Simulated faults: what one thing gone wrong does to a bridge, on its die and on the teeth.

Every bridge has the ordinary errors of all copies, and one fault on top or none. What happened before the die
(impression and die) the die shares with the casting; what happened after it shows on the die too.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

from pinseat.ledger.rows import Row
from pinseat.reference import value
from pinseat.seating.assembly import Assembly

Float = NDArray[np.float64]
Int = NDArray[np.int64]
Cause = Literal["ordinary", "long pin", "proud seat", "span", "splay", "speck", "margin"]
CAUSES: tuple[Cause, ...] = get_args(Cause)
WORDS: dict[Cause, str] = {
    "ordinary": "nothing but the ordinary errors of the copies",
    "long pin": "a cast pin longer than its hole in the die",
    "proud seat": "an impression pin that stood proud: die hole and cast pin too long",
    "span": "the span of the casting, too long or too short",
    "splay": "a pin that points off its hole",
    "speck": "a speck in a hole or on a ledge, or a bead on the casting",
    "margin": "a margin that was bent away or cast short",
}
BEFORE = ("impression", "die")
"""Copies whose errors the die shares with the casting."""
NOWHERE = -1


@dataclass(frozen=True, eq=False)
class Errors:
    """Errors of `k` bridges against what they are tried in, in mm and rad.

    Attributes
    ----------
    scale : (k,) array
    position, tilt : (k, n, 2) array
        Across each pin, in the frame of its axis.
    depth : (k, n) array
        Positive = pin too long.
    surface : (k, F) array
        Positive = away from the tooth.
    speck : (k, n + F) array
        Height of what lies under each pin's tip, and on each face.
    """

    scale: Float
    position: Float
    tilt: Float
    depth: Float
    surface: Float
    speck: Float

    def __getitem__(self, which: Int | NDArray[np.bool_]) -> Errors:
        return Errors(*(getattr(self, name)[which] for name in self.__dataclass_fields__))

    @classmethod
    def joined(cls, one: Errors, other: Errors) -> Errors:
        """One after the other."""
        return cls(*(np.concatenate([getattr(one, k), getattr(other, k)]) for k in cls.__dataclass_fields__))

    def and_(self, other: Errors) -> Errors:
        """Both, one after the other: scales multiply, the rest adds."""
        return Errors(
            (1.0 + self.scale) * (1.0 + other.scale) - 1.0,
            self.position + other.position,
            self.tilt + other.tilt,
            self.depth + other.depth,
            self.surface + other.surface,
            self.speck + other.speck,
        )


@dataclass(frozen=True, eq=False)
class Faults:
    """What went wrong with each of `k` bridges.

    Attributes
    ----------
    cause, place : (k,) int array
        Number in :data:`CAUSES`; the pin, or the face after all pins, or -1 where a fault has no place.
    early : (k,) bool array
        Whether it happened before the die.
    size : (k,) array
        In um, % or deg; 0 for ordinary.
    """

    cause: Int
    place: Int
    early: NDArray[np.bool_]
    size: Float

    def __len__(self) -> int:
        return len(self.cause)


@dataclass(frozen=True, eq=False)
class Cells:
    """All faults that are reckoned with, cut into equally probable cells within each cause.

    Attributes
    ----------
    cause, place : (c,) int array
    early : (c,) bool array
    low, high : (c,) array
        Sizes.
    """

    cause: Int
    place: Int
    early: NDArray[np.bool_]
    low: Float
    high: Float

    def __len__(self) -> int:
        return len(self.cause)

    @property
    def prior(self) -> Float:
        """Probability of each cell within its cause, (c,)."""
        return np.asarray(1.0 / np.bincount(self.cause)[self.cause])

    def draw(self, cell: Int, rng: np.random.Generator) -> Faults:
        """A fault from each of the given cells, its size drawn evenly."""
        size = rng.uniform(self.low[cell], self.high[cell])
        return Faults(self.cause[cell], self.place[cell], self.early[cell], size)


def all_cells(assembly: Assembly, bins: int = 12) -> Cells:
    """The faults that this bridge can have.

    Parameters
    ----------
    assembly : Assembly
    bins : int
        Classes of size.

    Returns
    -------
    Cells
    """
    n, counted = len(assembly.names), _counted(assembly)
    pins, margins = range(n), [n + int(face) for face in counted]
    where: dict[Cause, tuple[list[int], tuple[bool, ...]]] = {
        "long pin": ([*pins], (False,)),
        "proud seat": ([*pins], (True,)),
        "span": ([NOWHERE], (True, False)),
        "splay": ([*pins], (True, False)),
        "speck": ([*pins, *margins], (True, False)),
        "margin": (margins, (False,)),
    }
    made = [(CAUSES.index("ordinary"), NOWHERE, True, 0.0, 0.0)]
    for cause, (places, times) in where.items():
        edges = _edges(cause, bins)
        for place in places:
            for early in times:
                made += [(CAUSES.index(cause), place, early, low, high) for low, high in edges]
    cause_, place_, early_, low_, high_ = zip(*made, strict=True)
    return Cells(np.array(cause_), np.array(place_), np.array(early_), np.array(low_), np.array(high_))


def _edges(cause: Cause, bins: int) -> list[tuple[float, float]]:
    """Classes of size, evenly over the range; both ways for a span."""
    found = value(f"fault.{cause.replace(' ', '_')}_{_UNIT[cause]}")
    half = math.sqrt(3.0) * (found.uncertainty or 0.0)
    edge = np.linspace(found.value - half, found.value + half, bins + 1).tolist()
    up = list(pairwise(edge))
    return up + [(-high, -low) for low, high in up] * (cause == "span")


_UNIT: dict[Cause, str] = {
    "long pin": "um",
    "proud seat": "um",
    "span": "percent",
    "splay": "deg",
    "speck": "um",
    "margin": "um",
}


@dataclass(frozen=True, eq=False)
class Sample:
    """Simulated bridges.

    Attributes
    ----------
    cause, place : (k,) int array
        Number in :data:`CAUSES`; the pin, or the face after all pins, or -1 where a fault has no place.
    size : (k,) array
        In um, % or deg; 0 for ordinary.
    before, after : Errors
        Up to the die, and from the die to the casting. A speck in the tooth counts as before: the die has
        none.
    radius : (k, 2 n) array
        Errors of the radial clearances on the teeth, and on the die, mm.
    survey : (k, 2 n) array
        Errors of the surveyed axes, rad.
    plain : Errors
        Of the casting against the teeth without the fault.
    """

    cause: Int
    place: Int
    size: Float
    before: Errors
    after: Errors
    radius: Float
    survey: Float
    plain: Errors

    def __len__(self) -> int:
        return len(self.cause)

    def held_by_ordinary(self, which: NDArray[np.bool_]) -> Sample:
        """Some bridges called ordinary: their ordinary errors alone hold them up, fault or none."""
        return replace(
            self,
            cause=np.where(which, CAUSES.index("ordinary"), self.cause),
            place=np.where(which, NOWHERE, self.place),
            size=np.where(which, 0.0, self.size),
        )

    def __getitem__(self, which: Int | NDArray[np.bool_]) -> Sample:
        return Sample(*(getattr(self, name)[which] for name in self.__dataclass_fields__))

    @classmethod
    def joined(cls, one: Sample, other: Sample) -> Sample:
        """One after the other."""
        both = {
            name: np.concatenate([getattr(one, name), getattr(other, name)])
            for name in ("cause", "place", "size", "radius", "survey")
        }
        return cls(
            before=Errors.joined(one.before, other.before),
            after=Errors.joined(one.after, other.after),
            plain=Errors.joined(one.plain, other.plain),
            **both,
        )


def spoiled(assembly: Assembly, faults: Faults, rng: np.random.Generator) -> Sample:
    """Bridges with their ordinary errors, and one stated fault each.

    Parameters
    ----------
    assembly : Assembly
    faults : Faults
    rng : Generator

    Returns
    -------
    Sample
    """
    k, n, f = len(faults), len(assembly.names), len(assembly.faces)
    before, after = (
        ordinary([row for row in assembly.rows if (row.copy in BEFORE) is early], k, n, f, rng)
        for early in (True, False)
    )
    turn, plain = rng.uniform(0.0, 2.0 * np.pi, k), before.and_(after)
    for number, cause in enumerate(CAUSES):
        for errors, early in ((before, True), (after, False)):
            which = np.flatnonzero((faults.cause == number) & (faults.early == early))
            _write(errors, cause, which, faults, turn, assembly)
    u = np.repeat([math.hypot(assembly.u_hole_mm, assembly.u_pin_mm), assembly.u_pin_mm], n) / 2.0
    root = np.linalg.eigh(assembly.tilt_covariance)
    spread = root.eigenvectors * np.sqrt(np.maximum(root.eigenvalues, 0.0))
    return Sample(
        faults.cause,
        faults.place,
        faults.size,
        before,
        after,
        rng.standard_normal((k, 2 * n)) * u,
        rng.standard_normal((k, 2 * n)) @ spread.T,
        plain,
    )


def _write(errors: Errors, cause: Cause, which: Int, faults: Faults, turn: Float, assembly: Assembly) -> None:
    """Add faults of one cause to the errors of the bridges that have them."""
    place, size, n = faults.place[which], faults.size[which], len(assembly.names)
    if cause == "span":
        errors.scale[which] = (1.0 + errors.scale[which]) * (1.0 + size / 100.0) - 1.0
    elif cause in ("long pin", "proud seat"):
        errors.depth[which, place] += size / 1000.0
    elif cause == "splay":
        way = np.stack([np.cos(turn[which]), np.sin(turn[which])], axis=1)
        errors.tilt[which, place] += np.radians(size)[:, None] * way
    elif cause == "speck":
        errors.speck[which, place] = size / 1000.0
    elif cause == "margin":
        errors.surface[which] += size[:, None] / 1000.0 * _bent(assembly)[place - n]


def ordinary(rows: Sequence[Row], k: int, n: int, f: int, rng: np.random.Generator) -> Errors:
    """What some copies do when nothing goes wrong: independent, by their means and uncertainties.

    Parameters
    ----------
    rows : sequence of Row
    k, n, f : int
        Bridges, pins, faces.
    rng : Generator

    Returns
    -------
    Errors
    """
    position, tilt, depth = (
        math.hypot(0.0, *(getattr(row, kind).u for row in rows)) for kind in ("position", "tilt", "depth")
    )
    scale = np.ones(k)
    for row in rows:
        scale *= 1.0 + (row.scale.mean + row.scale.u * rng.standard_normal(k)) / 100.0
    proud = math.fsum(row.depth.mean for row in rows)
    return Errors(
        scale - 1.0,
        rng.standard_normal((k, n, 2)) * position / 1000.0,
        rng.standard_normal((k, n, 2)) * math.radians(tilt),
        (proud + depth * rng.standard_normal((k, n))) / 1000.0,
        rng.standard_normal((k, f)) * position / 1000.0,
        np.zeros((k, n + f)),
    )


def _counted(assembly: Assembly) -> Int:
    return np.flatnonzero([face.kind in ("margin", "ledge") for face in assembly.faces])


def _bent(assembly: Assembly) -> Float:
    """How much of a bend at one margin is seen at the others of its tooth: it fades out, (F, F)."""
    point = np.array([face.point for face in assembly.faces])
    tooth = np.array([face.tooth for face in assembly.faces])
    apart = np.linalg.norm(point[:, None] - point[None], axis=2)
    fades = np.exp(-0.5 * (apart / value("fault.margin_reach_mm").value) ** 2)
    counted = np.isin(np.arange(len(tooth)), _counted(assembly))
    return np.where((tooth[:, None] == tooth[None]) & counted[None], fades, 0.0)


def cleaned(sample: Sample) -> Sample:
    """The same bridges with every speck and bead taken away.

    Parameters
    ----------
    sample : Sample

    Returns
    -------
    Sample
    """
    return replace(
        sample,
        before=replace(sample.before, speck=np.zeros_like(sample.before.speck)),
        after=replace(sample.after, speck=np.zeros_like(sample.after.speck)),
    )
