"""Taking the tray off: how far it may lean before a pin binds, and what a side load does to pin and tooth."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from pinseat.case.model import Abutment, Case
from pinseat.errors import ImpressionError
from pinseat.impression.bulk import Around, facing, thickness_at
from pinseat.impression.model import Float, PinPlay, Removal, Squeeze, Undercuts
from pinseat.impression.play import peel_radius_mm, rattle_rad, u_lean_rad, u_offset_mm
from pinseat.impression.rubber import name_of, spoken, u_of
from pinseat.ledger.pins import Pin, PinField
from pinseat.reference import value

STEPS = 9
"""Places along the travel at which the allowed lean is told."""
NEAR_PIN_MM = 6.0
"""Undercut this near a pin belongs to the prepared teeth."""
LEAST_DEPTH_MM = 0.05
"""Undercut below this is the scanner's noise and the rubber's own surface."""
PREPARED = "teeth round the pins"
FEW = 20
"""Fewer undercut points than this are specks."""


def abutment_of(pin: Pin, case: Case) -> Abutment:
    """The abutment a pin stands in.

    Raises
    ------
    ImpressionError
        If the case has no such abutment.
    """
    for abutment in case.abutments:
        if abutment.tooth == pin.tooth:
            return abutment
    raise ImpressionError(
        "this pin's tooth is not among the abutments",
        where=f"pin {pin.name}",
        limit=", ".join(str(a.tooth) for a in case.abutments),
        do="add the tooth under [[abutments]] or reject the pin",
    )


def plays(field: PinField, case: Case) -> tuple[PinPlay, ...]:
    """Play of each impression pin in its hole.

    The pin's diameter is the stated one, else the one seen on the scan; with callipers and nothing stated,
    the pin is taken to be 0.05 mm under the hole, as impression pins are (from memory).

    Parameters
    ----------
    field : PinField
    case : Case

    Returns
    -------
    tuple of PinPlay
    """
    return tuple(_play(pin, abutment_of(pin, case), field.basis) for pin in field.pins)


def _play(pin: Pin, abutment: Abutment, basis: str) -> PinPlay:
    hole, engaged = abutment.hole_diameter_mm, abutment.hole_depth_mm
    width, source, u_pin = _pin_mm(pin, abutment, basis)
    u_hole = u_of(spoken("seat.hole_diameter_error_um")) / 1000.0
    largest = rattle_rad(width, hole, engaged)
    wider = rattle_rad(width, hole + 1e-4, engaged) - rattle_rad(width, hole - 1e-4, engaged)
    end = u_offset_mm(width, hole)
    return PinPlay(
        name=pin.name,
        pin_mm=width,
        hole_mm=hole,
        engaged_mm=engaged,
        pin_source=source,
        largest_deg=math.degrees(largest),
        u_largest_deg=math.degrees(wider / 2e-4 * math.hypot(u_hole, u_pin)),
        u_mouth_um=1000.0 * end,
        u_middle_um=1000.0 * end / math.sqrt(2.0),
        u_tilt_deg=math.degrees(u_lean_rad(width, hole, engaged)),
    )


def _pin_mm(pin: Pin, abutment: Abutment, basis: str) -> tuple[float, str, float]:
    if abutment.impression_pin_diameter_mm is not None:
        u = u_of(spoken("seat.cast_pin_diameter_error_um")) / 1000.0
        return abutment.impression_pin_diameter_mm, "stated in the case", u
    if basis == "scan":
        return min(pin.diameter_mm, abutment.hole_diameter_mm), "fitted to the scan", pin.u_diameter_mm
    under = spoken("pin.impression_under_hole_mm")
    return abutment.hole_diameter_mm - under.value, f"{under.conditions} ({under.basis})", u_of(under)


def standing_mm(pin: Pin, abutment: Abutment, basis: str) -> tuple[float, float]:
    """How far the impression pin stands out of the tooth, and its standard uncertainty.

    As the scan shows it; with callipers its length less the depth of the hole, else an assumed figure: the
    guide pins that were read are longer and not those of the impression.
    """
    if basis == "scan":
        return pin.protrusion_mm, pin.u_protrusion_mm
    if abutment.impression_pin_length_mm is not None:
        return abutment.impression_pin_length_mm - abutment.hole_depth_mm, 0.05
    usual = spoken("pin.impression_protrusion_mm")
    return usual.value, u_of(usual)


def removal(
    field: PinField, draw: Float, case: Case, play: Sequence[PinPlay], squeezes: tuple[Squeeze, ...]
) -> Removal:
    """How the tray comes off along the draw.

    A pin that already leans from the draw has that much less to give. As the tray comes up by *s* the engaged
    length falls to ``L - s`` and the allowed lean grows, up to where the pin is free.

    Parameters
    ----------
    field : PinField
    draw : (3,) array
        Unit vector off the teeth.
    case : Case
    play : sequence of PinPlay
        Pin by pin.
    squeezes : tuple of Squeeze

    Returns
    -------
    Removal
    """
    leans = [_angle(pin.axis, draw) for pin in field.pins]
    start = [math.radians(one.largest_deg) - lean for one, lean in zip(play, leans, strict=True)]
    first = int(np.argmin(start))
    longest = max(one.engaged_mm for one in play)
    travel = np.linspace(0.0, longest, STEPS)
    allowed = [
        min(
            rattle_rad(one.pin_mm, one.hole_mm, max(one.engaged_mm - s, 0.0)) - lean
            for one, lean in zip(play, leans, strict=True)
        )
        for s in travel
    ]
    bends, cracks = _loads(field.pins, case, play, field.basis)
    return Removal(
        pull=draw,
        lean_deg=max(math.degrees(start[first]), 0.0),
        u_lean_deg=play[first].u_largest_deg,
        limited_by=play[first].name,
        travel_mm=travel,
        lean_at_deg=np.clip(np.degrees(allowed), 0.0, 90.0),
        free_after_mm=longest,
        pivot_mm=max(peel_radius_mm(one.pin_mm, one.hole_mm, one.engaged_mm) for one in play),
        bends_at_N=bends[0],
        u_bends_at_N=bends[1],
        cracks_at_N=cracks[0],
        u_cracks_at_N=cracks[1],
        squeezes=squeezes,
    )


def _angle(a: Float, b: Float) -> float:
    return math.atan2(float(np.linalg.norm(np.cross(a, b))), float(a @ b))


def bending_load_N(yield_MPa: float, diameter_mm: float, arm_mm: float) -> float:
    """Side load at which a round pin clamped at its hole's mouth begins to yield: ``s pi d^3 / (32 a)``.

    Parameters
    ----------
    yield_MPa, diameter_mm : float
    arm_mm : float
        From the mouth to where the load acts.

    Examples
    --------
    >>> round(bending_load_N(60.0, 0.65, 1.5), 2)
    1.08
    """
    return yield_MPa * math.pi * diameter_mm**3 / (32.0 * arm_mm)


def bearing_load_N_mm(force_N: float, arm_mm: float, engaged_mm: float) -> float:
    """Load on the wall of a hole at its mouth, per length, from a side load on the stiff pin in it.

    A linear distribution that balances force and moment: ``F / L (4 + 6 a / L)``.

    Examples
    --------
    >>> bearing_load_N_mm(1.0, 1.5, 2.0)
    4.25
    """
    return force_N / engaged_mm * (4.0 + 6.0 * arm_mm / engaged_mm)


def cracking_load_N(
    strength_MPa: float, diameter_mm: float, hole_mm: float, arm_mm: float, engaged_mm: float, wall_mm: float
) -> float:
    """Side load at which the dentine round a hole comes to a tension it no longer surely stands.

    The bearing load spread over the pin's diameter is taken as a pressure *p* inside a ring of dentine
    (Lame): the hoop stress at the hole is ``p (b^2 + a^2) / (b^2 - a^2)``. An estimate: a pin bears on one
    side, and teeth have cracks.

    Parameters
    ----------
    strength_MPa, diameter_mm, hole_mm : float
    arm_mm, engaged_mm : float
        Of the load above the mouth; of the pin in the hole.
    wall_mm : float
        Dentine round the hole.
    """
    inner, outer = hole_mm / 2.0, hole_mm / 2.0 + wall_mm
    hoop = (outer**2 + inner**2) / (outer**2 - inner**2)
    return strength_MPa * diameter_mm / (bearing_load_N_mm(1.0, arm_mm, engaged_mm) * hoop)


def _loads(
    pins: Sequence[Pin], case: Case, play: Sequence[PinPlay], basis: str
) -> tuple[tuple[float, float], tuple[float, float]]:
    """Least side load that yields a pin, and that puts dentine at risk, each with its uncertainty."""
    strong = spoken(f"pin.{case.impression.pin_material}.yield_MPa")
    dentine, wall = value("dentine.fatigue_stress_MPa"), value("pin.dentine_around_min_mm").value
    bends, cracks = [], []
    for pin, one in zip(pins, play, strict=True):
        arm = standing_mm(pin, abutment_of(pin, case), basis)[0] / 2.0
        bends.append(bending_load_N(strong.value, one.pin_mm, arm))
        cracks.append(cracking_load_N(dentine.value, one.pin_mm, one.hole_mm, arm, one.engaged_mm, wall))
    model = u_of(spoken("removal.crack_model_ratio"))
    return (
        (min(bends), min(bends) * u_of(strong) / strong.value),
        (min(cracks), min(cracks) * model),
    )


def squeezed(field: PinField, around: Around, under: Undercuts | None, case: Case) -> tuple[Squeeze, ...]:
    """Strain of the rubber past the undercuts of the prepared teeth, and of the others under the tray.

    ``depth / thickness`` at each place; of each part the 99th percentile, so that a speck of noise does not
    decide.

    Parameters
    ----------
    field : PinField
    around : Around
    under : Undercuts or None
        None without a scan: then nothing is known of them.
    case : Case

    Returns
    -------
    tuple of Squeeze
        Parts that have undercut.
    """
    if under is None:
        return ()
    counts = under.depth_mm > LEAST_DEPTH_MM
    counts[counts] = facing(around, under.points[counts], under.outward[counts])
    points, depth = under.points[counts], under.depth_mm[counts]
    feet = np.array([pin.foot for pin in field.pins])
    thickness, u = thickness_at(around, points)
    near = (np.linalg.norm(points[:, None, :] - feet[None], axis=2) < NEAR_PIN_MM).any(axis=1)
    recovery = value(f"impression.{name_of(case)}.elastic_recovery_percent")
    found = []
    for where, part in ((PREPARED, near), ("other teeth under the tray", ~near)):
        if np.count_nonzero(part) < FEW:
            continue
        share = depth[part] / np.maximum(thickness[part], 0.1)
        order = np.argsort(share, kind="stable")
        at = order[min(int(0.99 * len(order)), len(order) - 1)]
        d, t = float(depth[part][at]), float(thickness[part][at])
        found.append(
            Squeeze(
                where=where,
                depth_mm=d,
                thickness_mm=t,
                strain_percent=100.0 * float(share[at]),
                u_strain_percent=100.0 * float(share[at]) * math.hypot(u / max(t, 0.1), 0.03),
                set_um=10.0 * d * (100.0 - recovery.value),
                covered=around.wall is not None or where == PREPARED,
            )
        )
    return tuple(found)
