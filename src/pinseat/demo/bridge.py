"""Bridges to be: which teeth are prepared how, in parts of their crowns, and the arch that results."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pinseat.demo.arch import Arch, Placed, arch
from pinseat.demo.preparation import CHAMFER_WIDTH_MM, Groove, Ledge, Preparation, StandingPin
from pinseat.demo.solids import Profiles
from pinseat.ledger.faces import FaceKind
from pinseat.ledger.pins import frame

Float = NDArray[np.float64]
Part = tuple[float, float, float]


@dataclass(frozen=True)
class Retainer:
    """How one abutment is to be prepared.

    Attributes
    ----------
    tooth : int
        FDI two-digit number.
    pins : tuple of (x, y, z)
        Places as parts of half the width, half the depth and the length of the crown.
    groove : bool
        Whether a groove stands in the mesial face.
    """

    tooth: int
    pins: tuple[Part, ...]
    groove: bool = False


CENTRAL = Retainer(11, ((0.5, 0.0, 0.61), (0.0, -0.52, 0.34), (-0.5, 0.0, 0.61)))
LATERAL = Retainer(22, ((0.05, -0.54, 0.34), (0.4, -0.02, 0.56)), groove=True)
_FOUR = ((0.48, -0.02, 0.64), (0.34, -0.50, 0.38), (-0.48, -0.02, 0.64), (-0.30, -0.48, 0.38))
CANINES = (Retainer(13, _FOUR), Retainer(23, _FOUR[::-1]))
"""Pins are listed from the patient's right to the left, as the survey numbers them."""


@dataclass(frozen=True)
class PinSet:
    """Measures of the impression pins, each with how far single pins stray from it.

    Attributes
    ----------
    diameter_mm, protrusion_mm, tilt_deg : (float, float)
        Middle and largest deviation; for the tilt off the draw, smallest and largest.
    shift_mm : float
        How far the places stray from the plan.
    """

    diameter_mm: tuple[float, float] = (0.65, 0.0)
    protrusion_mm: tuple[float, float] = (3.0, 0.02)
    tilt_deg: tuple[float, float] = (0.1, 0.3)
    shift_mm: float = 0.1


def bridge(
    teeth: Sequence[int],
    missing: Sequence[int],
    retainers: Sequence[Retainer],
    pins: PinSet,
    rng: np.random.Generator,
) -> Arch:
    """Prepare the abutments of an upper arch, or of a stretch of one, for one common draw.

    Parameters
    ----------
    teeth, missing : sequences of int
        See :func:`pinseat.demo.arch.arch`.
    retainers : sequence of Retainer
    pins : PinSet
    rng : numpy.random.Generator

    Returns
    -------
    Arch
    """
    bare = arch(teeth, missing)
    placed = [bare.placed(r.tooth) for r in retainers]
    draw = np.sum([p.axes[2] for p in placed], axis=0)
    draw /= np.linalg.norm(draw)
    cut = {r.tooth: _prepare(r, p, p.axes @ draw, pins, rng) for r, p in zip(retainers, placed, strict=True)}
    return bare.prepared(cut)


def _prepare(r: Retainer, placed: Placed, draw: Float, pins: PinSet, rng: np.random.Generator) -> Preparation:
    c = placed.crown
    size = np.array([0.5 * c.width_mm, 0.5 * c.depth_mm, c.length_mm])
    standing = []
    for number, part in enumerate(r.pins, start=1):
        foot = np.array(part) * size + pins.shift_mm * rng.uniform(-1.0, 1.0, size=3)
        lean, turn = np.radians(rng.uniform(*pins.tilt_deg)), rng.uniform(0.0, 2.0 * np.pi)
        across = np.array([np.cos(turn), np.sin(turn)]) @ frame(draw)
        axis = np.cos(lean) * draw + np.sin(lean) * across
        diameter, protrusion = (
            middle + stray * rng.uniform(-1.0, 1.0)
            for middle, stray in (pins.diameter_mm, pins.protrusion_mm)
        )
        standing.append(StandingPin(number, foot, axis, diameter, protrusion))
    high = [p.foot for p in standing if p.foot[2] > 0.5 * c.length_mm]
    sides = (min(-0.35, *(f[0] - 0.4 for f in high)), max(f[0] + 0.4 for f in high))
    ledge = Ledge(
        height_mm=float(max(f @ draw for f in high)),
        wall_mm=float(np.mean([f[1] for f in high])) + 0.4,
        sides_mm=(float(sides[0]), float(sides[1])),
    )
    finish = 0.14 * c.length_mm + 0.6
    slice_mm = 0.3 if r.groove else 0.2
    foot = np.array([-size[0] + slice_mm + 0.15, -0.1 * size[1], finish + 2.0])
    grooves = (Groove(foot, 0.45),) if r.groove else ()
    across = np.linspace(-1.2 * size[0], 1.2 * size[0], 200)
    edge = Profiles.through(across, c.edge(across))
    middle = Profiles(c.sections.start_mm, c.sections.step_mm, c.sections.table[2:3])
    return Preparation(
        draw, tuple(standing), 0.72, ledge, finish, 0.45, slice_mm, size[0], middle, edge, grooves
    )


def picks(model: Arch) -> list[tuple[FaceKind, int, Float]]:
    """Where a person would point to margins, ledges, walls and grooves, near the surface.

    Parameters
    ----------
    model : Arch

    Returns
    -------
    list of (kind, tooth, point)
        Points in the frame of the tooth's crown.
    """
    found: list[tuple[FaceKind, int, Float]] = []
    for placed in model.teeth:
        prep, c = placed.preparation, placed.crown
        if prep is None:
            continue
        found.extend((kind, c.tooth, place) for kind, place in _places(placed, prep))
    return found


def _places(placed: Placed, prep: Preparation) -> list[tuple[FaceKind, Float]]:
    c = placed.crown
    w = 0.5 * c.width_mm
    wall = prep.ledge.wall_mm
    floor = (prep.ledge.height_mm - wall * prep.draw[1]) / prep.draw[2]
    places: list[tuple[FaceKind, Float]] = []
    for part in (-0.5, 0.0, 0.5):
        low = np.array([part * w, -c.depth_mm, prep.finish_mm + 1.2 * part * part + 0.5 * CHAMFER_WIDTH_MM])
        places.append(("margin", _first(placed, prep, low, np.array([0.0, 1.0, 0.0]))))
    for x in _clear_of_niches(prep):
        high = np.array([x, 0.0, c.length_mm + 2.0])
        high[1] = prep.bevel(high[:, None])[0] - 0.28
        places.append(("margin", _first(placed, prep, high, np.array([0.0, 0.0, -1.0]))))
    places.append(("ledge", np.array([0.0, wall - 0.45, floor])))
    places.append(("wall", np.array([0.0, wall, floor + 0.9])))
    for groove in prep.grooves:
        places.append(("groove", groove.foot + prep.draw + np.array([groove.radius_mm, 0.0, 0.0])))
    return places


def _clear_of_niches(prep: Preparation) -> tuple[float, float]:
    """The two outermost places along the edge where no niche cuts into its bevel, mm from the middle."""
    along = prep.half_width_mm * np.linspace(-0.6, 0.6, 121)
    away = np.min([np.abs(along - pin.foot[0]) for pin in prep.pins if pin.foot[1] > -1.0], axis=0)
    clear = along[away > prep.niche_mm + 0.15]
    return float(clear[0]), float(clear[-1])


def _first(placed: Placed, prep: Preparation, start: Float, direction: Float) -> Float:
    """Where a straight line first meets the prepared tooth."""
    q = start[:, None] + direction[:, None] * np.linspace(0.0, 10.0, 2001)
    inside = prep.apply(q, placed.crown.closed(q, placed.crown.body(q))) < 0.0
    return np.asarray(q[:, int(np.argmax(inside))])
