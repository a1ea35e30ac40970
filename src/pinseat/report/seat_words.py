"""What is said of changes, of hold against seating, and of a bridge that does not seat."""

from __future__ import annotations

from collections.abc import Iterator

from pinseat.report.rounding import chance, fixed, with_u
from pinseat.seating.diagnosis import Diagnosis, Ranked
from pinseat.seating.model import COSTS, Lever
from pinseat.seating.plan import SeatPlan
from pinseat.seating.tradeoff import Option


def plan_lines(plan: SeatPlan) -> Iterator[tuple[str, str]]:
    """What ``pinseat seat`` prints.

    Parameters
    ----------
    plan : SeatPlan

    Yields
    ------
    head, words : str
    """
    yield (
        "chance",
        f"{chance(plan.now, plan.trials)} go home as it stands, wanted {fixed(100.0 * plan.wanted, 0)} %",
    )
    for i, lever in enumerate(plan.levers[:5], 1):
        yield f"change {i}", f"{lever.in_full}; {gain_words(lever)}"
    for i, lever in enumerate(plan.pairs[:2], 1):
        yield f"pair {i}", f"{lever.in_full}; {gain_words(lever)}"
    worst = plan.levers[-1] if plan.levers else None
    if worst is not None and worst.gain < 0.0:
        yield "worst", f"{worst.change}; {gain_words(worst)}"
    for option in plan.choose:
        yield "pins", option_words(option, plan)
    yield (
        "enter",
        "; then ".join(f"{', '.join(s.pins)} at {fixed(s.lift_mm, 2)} mm" for s in plan.stages),
    )
    yield (
        "tilt pivot",
        f"about the mouth {chance(plan.pivot_mouth, plan.trials)}, "
        f"about the middle of the pin {chance(plan.pivot_middle, plan.trials)} go home",
    )
    if plan.inside is not None:
        lift = fixed(plan.inside.lift_um, 1)
        yield "inside", f"the scanned {plan.inside.of} comes to rest {lift} µm above where it was laid"
    if plan.rigid is not None:
        yield "if nothing yields", f"{chance(plan.rigid, plan.trials)} go home"


def gain_words(lever: Lever) -> str:
    """What a change gains, with its error and what it costs."""
    points = with_u(100.0 * lever.gain, 100.0 * lever.u_gain, "", 1)
    return (
        f"chance {points} points, {fixed(lever.gain_lacking_um, 0)} µm clearance, {COSTS[lever.cost]}"
        if (lever.cost)
        else f"chance {points} points"
    )


def option_words(option: Option, plan: SeatPlan) -> str:
    """One way to make the pins."""
    hold = with_u(option.hold_N, option.u_hold_N, "N", 0)
    return (
        f"{option.words}: {chance(option.chance, plan.trials)} go home, hold {hold} (cement, common practice)"
    )


def diagnosis_lines(diagnosis: Diagnosis) -> Iterator[tuple[str, str]]:
    """What ``pinseat diagnose`` prints.

    Parameters
    ----------
    diagnosis : Diagnosis

    Yields
    ------
    head, words : str
    """
    yield "never", "press, tap or bite it home"
    for i, cause in enumerate(diagnosis.causes[:4], 1):
        yield f"cause {i}", cause_words(cause)
    for i, check in enumerate(diagnosis.checks[:3], 1):
        yield (
            f"check {i}",
            f"{check.words} (tells {fixed(check.bits, 2)} bit, {fixed(check.minutes, 0)} min)",
        )
    if diagnosis.first is not None:
        first = diagnosis.first
        home = with_u(100.0 * first.probability, 100.0 * first.u_probability, "%", 0)
        yield "remedy", f"{first.in_full} ({home} of bridges like this then go home; {COSTS[first.cost]})"
    yield (
        "reckoned",
        f"{diagnosis.seen} things seen; every cause taken as equally probable before; "
        f"as if {fixed(diagnosis.effective_bridges, 0)} simulated bridges looked just like it",
    )


def cause_words(cause: Ranked) -> str:
    """A cause with its probability, place and size."""
    p = with_u(100.0 * cause.probability, 100.0 * cause.u_probability, "%", 0)
    words = f"{p} {cause.words}"
    if cause.cause == "ordinary" or cause.probability < 0.005:
        return words
    places = 0 if cause.unit == "um" else 1
    size = with_u(cause.size, cause.u_size, cause.unit, places)
    where = f"{cause.where}, {fixed(100.0 * cause.where_probability, 0)} % of that, " if cause.where else ""
    return f"{words} ({where}{size})"
