"""Findings on the cementing: room for the cement, time, force."""

from __future__ import annotations

import math

from pinseat.case.model import Case
from pinseat.casting.model import Cementing
from pinseat.ledger.findings import Finding, Verdict
from pinseat.ledger.verdict import rule_words, sure
from pinseat.reference import value

NEVER_FORCE = (
    "Never force a bridge that stands open: lift it off, clean both, find the cause and begin again."
)


def cement_findings(case: Case, cementing: Cementing | None) -> tuple[Finding, ...]:
    """Findings on the cementing.

    Parameters
    ----------
    case : Case
    cementing : Cementing or None

    Returns
    -------
    tuple of Finding
    """
    if cementing is None:
        return ()
    return (_room(cementing), _pressure(cementing), _time(cementing), *_force(case))


def press_words(cementing: Cementing) -> str:
    """How to press, in words.

    Full force from the beginning only where that is harmless.
    """
    if cementing.gentle_N >= cementing.force_N:
        return f"at most {math.floor(cementing.force_N)} N, steady"
    left = cementing.gentle_until_um / 1000.0
    return (
        f"at most {math.floor(cementing.gentle_N)} N until {left:.1f} mm are left, "
        f"then at most {cementing.force_N:.0f} N and only while it still closes"
    )


def _pressure(cementing: Cementing) -> Finding:
    """Tension in the dentine round a hole full of cement."""
    most = value("dentine.fatigue_stress_MPa")
    posts = value("cement.post_pressure_MPa")
    gently = cementing.wall_MPa > most.value
    return Finding(
        code="cement.pressure",
        where="dentine round the holes",
        says="Pressed home at once, the cement in the holes strains the dentine: pins are pistons."
        if gently
        else "The pressure of the cement in the blind holes is harmless to the dentine round them.",
        verdict="caution" if gently else "clear",
        value=cementing.wall_MPa,
        unit="MPa",
        limit=most.value,
        limit_source=f"{most.conditions}, {most.cited}; force over the area of the tips, "
        f"thick tube (Lame); up to {posts.value:.0f} MPa of pressure measured round posts ({posts.basis})",
        do=f"press with {press_words(cementing)}" if gently else "",
    )


def _room(cementing: Cementing) -> Finding:
    """Radial room against the film the cement can make, and the room it flows well in."""
    narrow = min(cementing.pins, key=lambda pin: pin.room_um)
    film = value("cement.film_max_um")
    easy = value("cement.space_resin_um" if cementing.kind == "resin" else "cement.space_zinc_phosphate_um")
    doubt = value("cement.bore_doubt_um").value
    verdict: Verdict = "clear"
    if narrow.room_um < easy.value:
        verdict = "caution"
    grains = narrow.room_um < cementing.film_um + doubt
    return Finding(
        code="cement.room",
        where=f"pin {narrow.pin}",
        says="The room round this pin is no wider than the cement's film: grains can jam before it is home."
        if grains
        else "The cement has less room round this pin than it seats best with."
        if verdict == "caution"
        else "The cement has the room it seats best with.",
        verdict=verdict,
        value=narrow.room_um,
        uncertainty=doubt,
        unit="um",
        limit=cementing.film_um if grains else easy.value,
        limit_source=f"on one side; film of a luting cement at most {film.value:g} um, {film.reference}; "
        f"room for best seating {easy.value:g} um, {easy.cited}",
        do=""
        if verdict == "clear"
        else "take a pin 0.05 mm thinner if it holds well enough, or cut a groove along it as a vent",
    )


def _time(cementing: Cementing) -> Finding:
    verdict: Verdict = "clear" if cementing.probability >= sure() else "caution"
    if cementing.probability <= 1.0 - sure():
        verdict = "stop"
    return Finding(
        code="cement.time",
        where=f"set on at {cementing.start_min:g} min",
        says="The cement leaves holes and margins within its working time."
        if verdict == "clear"
        else "The cement may stiffen before the bridge is home.",
        verdict=verdict,
        value=cementing.time_s,
        uncertainty=cementing.time_s * (cementing.u_factor - 1.0),
        unit="s",
        limit=60.0 * (cementing.working_min - cementing.start_min),
        limit_source=f"what is left of the working time; probability {cementing.probability:.0%}, "
        + rule_words(),
        do="" if verdict == "clear" else "cool the slab, set on sooner, vent the pins; " + NEVER_FORCE,
    )


def _force(case: Case) -> tuple[Finding, ...]:
    most = value("cement.force_most_N")
    if case.cement.force_N <= most.value:
        return ()
    return (
        Finding(
            code="cement.force",
            where="bridge",
            says="This is more than a steady finger: a pin that is wedged splits the tooth.",
            verdict="stop",
            value=case.cement.force_N,
            unit="N",
            limit=most.value,
            limit_source=f"{most.cited}: {most.note}",
            do=NEVER_FORCE,
        ),
    )
