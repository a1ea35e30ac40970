"""The impression's ledger row, made of what acts on it: rubber, tray, the hand, play of the pins."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from pinseat.case.model import Case
from pinseat.impression.model import PinDrift, PinPlay, PinProjection
from pinseat.impression.rubber import Strain, fall_degC, spoken, u_of
from pinseat.ledger.copies import reference_row
from pinseat.ledger.parts import nothing
from pinseat.ledger.rows import Entry, Row

RUBBER, TRAY, HAND, PLAY = "rubber", "tray", "put back", "play in hole"


def rubber_part(
    drifts: Sequence[PinDrift], scale_percent: float, u_scale_percent: float, strain: Strain, basis: str
) -> Row:
    """Shrinkage and cooling of the rubber, all pins together.

    A row knows no direction: the root mean square of the computed shifts and tilts counts as their standard
    deviation in each direction, beside their own uncertainty.

    Parameters
    ----------
    drifts : sequence of PinDrift
    scale_percent, u_scale_percent : float
    strain : Strain
    basis : str
        What the thickness was taken from.
    """
    source = f"computed from the rubber between teeth and tray ({basis}); {strain.source}"
    shift = math.hypot(_rms([one.shift_um for one in drifts]), _rms([one.u_shift_um for one in drifts]))
    tilt = math.hypot(_rms([one.tilt_deg for one in drifts]), _rms([one.u_tilt_deg for one in drifts]))
    proud = np.array([one.proud_um for one in drifts])
    u_proud = math.hypot(float(proud.std()), _rms([one.u_proud_um for one in drifts]))
    return Row(
        "impression",
        RUBBER,
        Entry(scale_percent, u_scale_percent, "%", "assumed", source),
        Entry(0.0, shift, "um", "assumed", source),
        Entry(0.0, tilt, "deg", "assumed", source),
        Entry(float(proud.mean()), u_proud, "um", "assumed", source),
    )


def _rms(values: Sequence[object]) -> float:
    flat = np.array(values, float).ravel()
    return float(np.sqrt(np.mean(flat * flat))) if flat.size else 0.0


def tray_part(case: Case) -> Row:
    """The tray cools with the rubber, and the distances between the pins follow it.

    Parameters
    ----------
    case : Case
    """
    expands = spoken(
        "tray.stock_expansion_per_K" if case.impression.tray == "stock" else "tray.resin_expansion_per_K"
    )
    settles = spoken("tray.resin_settling_percent")
    fall, u_fall = fall_degC(case)
    scale = Entry(
        mean=-100.0 * expands.value * fall + settles.value,
        u=math.hypot(100.0 * u_of(expands) * fall, 100.0 * expands.value * u_fall, u_of(settles)),
        unit="%",
        basis="assumed",
        source=f"tray cools by {fall:g} K: {expands.cited}; {settles.conditions} ({settles.basis})",
    )
    return Row("impression", TRAY, scale, nothing("position"), nothing("tilt"), nothing("depth"))


def hand_part(case: Case, pins: Sequence[PinProjection]) -> Row:
    """Pins put back into their beds by hand: as assumed, or their depth as read.

    Read is the depth of all pins or of none: a reading of some says little of the others. What was read
    holds what the rubber did to the bed as well.

    Parameters
    ----------
    case : Case
    pins : sequence of PinProjection
    """
    assumed = reference_row("impression", case.chain.impression)
    depth = read_depth(pins) or assumed.depth
    return Row("impression", HAND, nothing("scale"), assumed.position, assumed.tilt, depth)


def read_depth(pins: Sequence[PinProjection]) -> Entry | None:
    """Depth error of the impression as read; None unless every pin was."""
    read = [pin.stages[1] for pin in pins]
    out = [1000.0 * one.out_mm for one in read if one.out_mm is not None]
    u = [1000.0 * one.u_mm for one in read if one.u_mm is not None]
    if not pins or len(out) < len(pins):
        return None
    spread = float(np.std(out, ddof=1)) if len(out) > 1 else 0.0
    return Entry(
        mean=float(np.mean(out)),
        u=math.hypot(spread, _rms(u)),
        unit="um",
        basis="measured here",
        source=f"projection of {len(out)} pins read in the impression",
    )


def play_part(play: Sequence[PinPlay]) -> Row:
    """Each impression pin stands anywhere in its play: position and tilt about its middle.

    About the middle the two are uncorrelated, as the ledger takes them to be. About the mouth they are not:
    tilting about the mouth with these figures would move the tip by 1.7 times what the play allows.

    Parameters
    ----------
    play : sequence of PinPlay
    """
    sources = ", ".join(dict.fromkeys(one.pin_source for one in play))
    source = (
        "pin anywhere in the play of its hole, mouth and tip each for itself (assumed); bound: half the "
        f"clearance at either end; diameter of the pin {sources}"
    )
    return Row(
        "impression",
        PLAY,
        nothing("scale"),
        Entry(0.0, _rms([one.u_middle_um for one in play]), "um", "assumed", source),
        Entry(0.0, _rms([one.u_tilt_deg for one in play]), "deg", "assumed", source),
        nothing("depth"),
    )
