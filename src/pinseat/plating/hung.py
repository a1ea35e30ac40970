"""What hangs in the bath besides the pieces: bare tails, rods, shields, thieves; and the anode's plate."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from pinseat.case.plating import Plating, Rod, Shield, Thief
from pinseat.errors import PlatingError
from pinseat.plating import bodies
from pinseat.plating.bodies import Bar, Ring, Solid
from pinseat.plating.model import Body, Drive, Electrode, Float, Geometry

UP = np.array([0.0, 0.0, 1.0])
TAIL_ABOVE_MM, TAIL_APART_MM = 6.0, 3.0
"""Where tails hang: so far above the mouths, and from each other."""
ROOM_MM = 0.2
"""Least room between a rod and the wall or a pin."""
_STEP_MM = 0.4


@dataclass(frozen=True, eq=False)
class Stand:
    """Where a piece is, in the frame of the geometry.

    Attributes
    ----------
    middle : (2,) array, mm
        Of its mouth, seen along z.
    lowest_mm, mouth_mm : float
        Heights of its lowest and its highest metal.
    reach_mm : float
        Largest distance of its metal from the middle, seen along z.
    """

    middle: Float
    lowest_mm: float
    mouth_mm: float
    reach_mm: float


def rod_name(rod: Rod) -> str:
    """What a rod is called among the electrodes."""
    return f"rod in {rod.piece}"


def drive_of(plating: Plating, current_mA: float, main_mA: float) -> Drive:
    """How the supplies are set while so much flows in all, of a main current.

    Parameters
    ----------
    plating : pinseat.case.plating.Plating
    current_mA : float
        Into all pieces together; rods on supplies of their own give the same share of it as of the main one.
    main_mA : float

    Returns
    -------
    Drive

    Raises
    ------
    PlatingError
        When the rods alone give more than the main current.
    """
    own = {rod_name(rod): rod.current_mA * current_mA / main_mA for rod in plating.rods if rod.current_mA}
    left = current_mA - sum(own.values())
    if left < 0.0:
        raise PlatingError(
            "the rods give more than the whole current",
            where="plating.rods",
            value=f"{sum(own.values()) * main_mA / current_mA:g} mA",
            limit=f"{main_mA:g} mA",
            do="lower their current_mA, or raise plating.current_mA",
        )
    return Drive(current_mA=left, own_mA=own)


def clear_mm(plating: Plating) -> float:
    """Distance from the mouths to the anode: as stated, or so far that no tail touches it."""
    longest = max((tail.length_mm for tail in plating.tails), default=0.0)
    return max(plating.anode.distance_mm, longest + TAIL_ABOVE_MM + 4.0 if plating.tails else 0.0)


def hang(geometry: Geometry, plating: Plating, stands: Mapping[str, Stand], beside_mm: float) -> Geometry:
    """Put everything into the bath that a case states besides its pieces.

    Parameters
    ----------
    geometry : Geometry
        With the pieces alone.
    plating : pinseat.case.plating.Plating
        Tails, rods, shields, thieves, and the anode's plate.
    stands : mapping of str to Stand
        Every piece that is there.
    beside_mm : float
        Where the first tail hangs, along y from the origin.

    Returns
    -------
    Geometry

    Raises
    ------
    PlatingError
        When a piece is not there, or a rod has no room.
    """
    electrodes, found = list(geometry.electrodes), list(geometry.bodies)
    first = next(e.name for e in electrodes if e.piece)
    mouth = max(stand.mouth_mm for stand in stands.values())
    for number, tail in enumerate(plating.tails):
        foot = np.array([0.0, beside_mm + TAIL_APART_MM * number, mouth + TAIL_ABOVE_MM])
        found.append(Bar(foot, UP, tail.length_mm, tail.diameter_mm, len(electrodes)))
        electrodes.append(Electrode(f"tail {number + 1}", "cathode", with_=first))
    found += [_shield(shield, _stand(stands, shield.piece, "shield over")) for shield in plating.shields]
    for thief in plating.thieves:
        found.append(_thief(thief, _stand(stands, thief.piece, "thief about"), len(electrodes)))
        electrodes.append(Electrode(f"thief about {thief.piece}", "cathode"))
    whole = replace(
        geometry, bodies=tuple(found), electrodes=tuple(electrodes), window=_plate(geometry, plating)
    )
    return with_rods(whole, plating.rods, stands)


def with_rods(geometry: Geometry, rods: Sequence[Rod], stands: Mapping[str, Stand]) -> Geometry:
    """The same with rods let down into cups.

    Raises
    ------
    PlatingError
        When a piece is not there, or a rod has no room.
    """
    electrodes, found = list(geometry.electrodes), list(geometry.bodies)
    for rod in rods:
        stand = _stand(stands, rod.piece, "rod in")
        found.append(_rod(rod, geometry.bodies, stand, len(electrodes)))
        electrodes.append(Electrode(rod_name(rod), "anode", with_="" if rod.current_mA else "anode"))
    return replace(geometry, bodies=tuple(found), electrodes=tuple(electrodes))


def _stand(stands: Mapping[str, Stand], piece: str, what: str) -> Stand:
    if piece not in stands:
        do = "leave it out, or state the piece by its size without the scan"
        raise PlatingError("the scan does not show this piece", where=f"{what} {piece}", do=do)
    return stands[piece]


def _plate(geometry: Geometry, plating: Plating) -> tuple[Float, Float] | None:
    """The anode's plate in the upper side of the box; None when it covers all of it."""
    half = 0.5 * np.array([plating.anode.width_mm, plating.anode.height_mm])
    middle = 0.5 * (geometry.low + geometry.high)[:2]
    if (half >= 0.5 * (geometry.high - geometry.low)[:2]).all():
        return None
    return np.array([*(middle - half), -np.inf]), np.array([*(middle + half), np.inf])


def _shield(shield: Shield, stand: Stand) -> Body:
    height = stand.mouth_mm + shield.above_mm + 0.5 * shield.thickness_mm
    return bodies.Shield(
        np.array([*stand.middle, height]), shield.hole_mm, shield.width_mm, shield.thickness_mm
    )


def _thief(thief: Thief, stand: Stand, number: int) -> Body:
    x, y = (float(c) for c in stand.middle)
    height = stand.mouth_mm + thief.above_mm + 0.5 * thief.diameter_mm
    return Solid(Ring((x, y, height), stand.reach_mm + thief.beside_mm, thief.diameter_mm), number)


def _rod(rod: Rod, standing: tuple[Body, ...], stand: Stand, number: int) -> Body:
    """An insulated rod, bare at its end, let down as near the middle of its cup as there is room."""
    place, floor = _room(standing, stand, rod)
    end = floor + rod.above_floor_mm
    top = max(end + rod.bare_mm, stand.mouth_mm) + 5.0
    foot = np.array([*place, top])
    return Bar(foot, -UP, top - end, rod.diameter_mm, number, top - end - rod.bare_mm)


def _room(standing: tuple[Body, ...], stand: Stand, rod: Rod) -> tuple[Float, float]:
    """Where a rod can be let down without touching anything, and the floor under it."""
    side = np.arange(0.0, stand.reach_mm, _STEP_MM)
    side = np.concatenate((-side[:0:-1], side))
    x, y = (a.ravel() for a in np.meshgrid(side, side, indexing="ij"))
    order = np.argsort(np.hypot(x, y), kind="stable")
    order = order[np.hypot(x, y)[order] <= stand.reach_mm]
    across = stand.middle + np.column_stack((x, y))[order]
    height = np.arange(stand.mouth_mm + 1.0, stand.lowest_mm - 0.5 * _STEP_MM, -0.25 * _STEP_MM)
    column = np.repeat(across, len(height), axis=0)
    points = np.column_stack((column, np.tile(height, len(across))))
    far = bodies.nearest(standing, points)[0].reshape(len(across), len(height))
    open_ = np.logical_and.accumulate(far > 0.0, axis=1)
    floor = np.where(open_[:, 0], height[np.maximum(open_.sum(axis=1) - 1, 0)], np.inf)
    beside = height[None] >= (floor + rod.above_floor_mm + 0.5 * rod.diameter_mm)[:, None]
    least = np.where(beside, far, np.inf).min(axis=1)
    fits = (least >= 0.5 * rod.diameter_mm + ROOM_MM) & (floor < stand.mouth_mm)
    if not fits.any():
        raise PlatingError(
            "there is no room for the rod",
            where=rod_name(rod),
            value=f"{rod.diameter_mm:g} mm thick, {rod.above_floor_mm:g} mm above the floor",
            do="take a thinner rod, or let it down less deep",
        )
    best = int(np.argmax(fits))
    return across[best], float(floor[best])
