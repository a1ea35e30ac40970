"""The main current, the stages the field is solved for, and what the shells should have in the end."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from pinseat.case.plating import Plating
from pinseat.plating.baths import STATED, Bath
from pinseat.plating.faraday import hours
from pinseat.plating.hung import drive_of
from pinseat.plating.model import Drive, Electrolyte, Kinetics, Stage
from pinseat.plating.pieces import Piece
from pinseat.plating.result import Aim, ThicknessMap
from pinseat.reference import value

BEYOND = 1.05
"""How far past the stop the field is followed, so that the chart shows where it lies."""


def main_current_mA(stated: Plating, pieces: Sequence[Piece]) -> float:
    """The current for all pieces together: as stated, the highest of the steps, or so much for each piece."""
    if stated.steps:
        return max(step.current_mA for step in stated.steps)
    if stated.current_mA is not None:
        return stated.current_mA
    return len(pieces) * value("plating.current_for_a_piece_mA").value


def aim_of(stated: Plating, found: ThicknessMap | None = None, by_steps_mm: float | None = None) -> Aim:
    """What the shells should have.

    Parameters
    ----------
    stated : pinseat.case.plating.Plating
    found : ThicknessMap, optional
        With it, and no mean stated, the mean is that at which the thinnest spot has the minimum.
    by_steps_mm : float, optional
        The mean that the stated steps give.

    Returns
    -------
    Aim
    """
    usual, ratio = value("plating.minimum_mm"), value("plating.rim_to_stop_ratio")
    minimum = stated.minimum_mm or usual.value
    stop = stated.stop_mean_mm or value("plating.stop_mean_mm").value
    rim = stated.rim_limit_mm or stop * ratio.value
    given = by_steps_mm if stated.steps else stated.mean_mm
    mean = given or stop
    if given is None and found is not None and found.hours_100 <= found.hours[-1]:
        mean = min(found.at(found.hours_100)[1], stop)
    return Aim(
        minimum,
        stop,
        mean,
        given is not None,
        rim,
        minimum_source=STATED if stated.minimum_mm else usual.cited,
        rim_source=STATED
        if stated.rim_limit_mm
        else f"{ratio.value:g} times the mean at the stop: {ratio.cited}",
    )


def stages_of(
    stated: Plating, aim: Aim, pieces: Sequence[Piece], bath: Bath, current_mA: float, starts: int = 1
) -> tuple[Stage, ...]:
    """Start current until the first look, then the steps stated, or the main current until past the stop.

    Parameters
    ----------
    stated : pinseat.case.plating.Plating
    aim : Aim
    pieces : sequence of Piece
    bath : Bath
    current_mA : float
        Main.
    starts : int
        Stretches of the start current, the film coated again before each but the first.

    Returns
    -------
    tuple of Stage
    """
    first, share = value("plating.look_h").value, value("plating.start_share").value
    low = share * (stated.steps[0].current_mA if stated.steps else current_mA)
    begin = Stage(first, drive_of(stated, low, current_mA), "start", bare=True)
    begins = (begin, *(replace(begin, bare=False) for _ in range(starts - 1)))
    if stated.steps:
        return (
            *begins,
            *(
                Stage(one.hours, drive_of(stated, one.current_mA, current_mA), "main", wax_mm=one.wax_mm)
                for one in stated.steps
            ),
        )
    area = sum(piece.area_mm2 for piece in pieces)
    wanted = BEYOND * max(aim.mean_mm, aim.stop_mean_mm)
    main = max(hours(wanted, area, current_mA, bath.growth_mm3_mAh) - starts * share * first, first)
    return (*begins, Stage(main, drive_of(stated, current_mA, current_mA), "main"))


def part_of(stages: Sequence[Stage], pieces: Sequence[Piece], there: Sequence[Piece]) -> tuple[Stage, ...]:
    """Stages with the current of the pieces in the map alone, shared by area; rods give what they give.

    Parameters
    ----------
    stages : sequence of Stage
    pieces : sequence of Piece
        All of them.
    there : sequence of Piece
        Those that are in the map.

    Returns
    -------
    tuple of Stage
    """
    part = sum(piece.area_mm2 for piece in there) / sum(piece.area_mm2 for piece in pieces)

    def less(drive: Drive) -> Drive:
        rods = sum(drive.own_mA.values())
        plate = part * ((drive.current_mA or 0.0) + rods) - rods
        return replace(drive, current_mA=max(plate, 0.0))

    return tuple(replace(stage, drive=less(stage.drive)) for stage in stages)


def steps_charge_mAh(stated: Plating) -> float:
    """Through the supply in the start stage and the steps that are stated."""
    first, share = value("plating.look_h").value, value("plating.start_share").value
    start = share * first * stated.steps[0].current_mA
    return start + sum(step.current_mA * step.hours for step in stated.steps)


def electrolyte_of(bath: Bath) -> Electrolyte:
    """The bath as the field solver takes it."""
    kelvin = bath.temperature_degC + 273.15
    cathode = Kinetics(
        "butler-volmer",
        exchange_A_m2=bath.exchange_A_m2,
        cathodic=bath.cathodic,
        anodic=bath.anodic,
        temperature_K=kelvin,
    )
    return Electrolyte(
        conductivity_S_m=bath.conductivity_S_m,
        cathode=cathode,
        anode=cathode,
        deposit_mm3_per_C=bath.growth_mm3_mAh / 3.6,
        density_g_cm3=bath.density_g_cm3,
        limiting_A_m2=bath.limiting_A_m2,
    )


def highest_current_mA(pieces: Sequence[Piece], bath: Bath) -> float:
    """The current, split equally, at which the smallest piece reaches the highest density of the bath."""
    return 1e-3 * bath.density_limit_A_m2 * min(piece.area_mm2 for piece in pieces) * len(pieces)
