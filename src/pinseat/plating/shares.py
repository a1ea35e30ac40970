"""What a current does to pieces on one supply, by their areas alone; the field comes after."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pinseat.plating.baths import Bath
from pinseat.plating.faraday import density_A_m2, hours, thickness_mm
from pinseat.plating.pieces import Piece


@dataclass(frozen=True)
class Share:
    """One piece under an equal split: each piece on a channel of its own, or behind a resistor of its own.

    Attributes
    ----------
    name : str
    form : str
    area_mm2, u_area_mm2, depth_mm : float
    basis : str
        How the area was found.
    current_mA : float
        Equal split.
    density_A_m2 : float
        At that current.
    mean_mm, u_mean_mm : float
        Mean thickness when all pieces together have reached theirs.
    hours_alone : float
        Until this piece has the wanted mean at that current.
    even_mA : float
        The part of the whole current by area: with it all pieces are ready together.
    """

    name: str
    form: str
    area_mm2: float
    u_area_mm2: float
    depth_mm: float
    basis: str
    current_mA: float
    density_A_m2: float
    mean_mm: float
    u_mean_mm: float
    hours_alone: float
    even_mA: float


@dataclass(frozen=True)
class Pool:
    """All pieces together.

    Attributes
    ----------
    current_mA : float
    area_mm2, u_area_mm2 : float
    mean_mm : float
        Wanted.
    hours, u_hours : float
        Until the whole area has it on the mean, at the full current from the beginning.
    mass_g, u_mass_g : float
        Metal on the pieces then.
    """

    current_mA: float
    area_mm2: float
    u_area_mm2: float
    mean_mm: float
    hours: float
    u_hours: float
    mass_g: float
    u_mass_g: float


def pool(
    pieces: Sequence[Piece], bath: Bath, current_mA: float, mean_mm: float
) -> tuple[Pool, tuple[Share, ...]]:
    """Hours and metal for a mean thickness, and how uneven an equal split leaves the pieces.

    Parameters
    ----------
    pieces : sequence of Piece
    bath : Bath
    current_mA : float
        For all together.
    mean_mm : float

    Returns
    -------
    Pool
    tuple of Share
        In the order of the pieces.
    """
    growth = bath.growth_mm3_mAh
    area = sum(piece.area_mm2 for piece in pieces)
    u_area = sum(piece.u_area_mm2**2 for piece in pieces) ** 0.5
    time = hours(mean_mm, area, current_mA, growth)
    spread = ((u_area / area) ** 2 + (bath.u_efficiency / bath.efficiency) ** 2) ** 0.5
    mass = 1e-3 * mean_mm * area * bath.density_g_cm3
    whole = Pool(current_mA, area, u_area, mean_mm, time, spread * time, mass, mass * u_area / area)
    each = current_mA / len(pieces)
    return whole, tuple(_share(piece, bath, each, whole) for piece in pieces)


def _share(piece: Piece, bath: Bath, current_mA: float, whole: Pool) -> Share:
    growth = bath.growth_mm3_mAh
    mean = thickness_mm(current_mA * whole.hours, piece.area_mm2, growth)
    return Share(
        name=piece.name,
        form=piece.form,
        area_mm2=piece.area_mm2,
        u_area_mm2=piece.u_area_mm2,
        depth_mm=piece.depth_mm,
        basis=piece.basis,
        current_mA=current_mA,
        density_A_m2=density_A_m2(current_mA, piece.area_mm2),
        mean_mm=mean,
        u_mean_mm=mean * piece.u_area_mm2 / piece.area_mm2,
        hours_alone=hours(whole.mean_mm, piece.area_mm2, current_mA, growth),
        even_mA=whole.current_mA * piece.area_mm2 / whole.area_mm2,
    )
