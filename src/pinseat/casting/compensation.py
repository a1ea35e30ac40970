"""The recipe of the mould: which mix leaves no net error, how sure that is, and what it weighs."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri, stdtrit

from pinseat.case.casting import Bar
from pinseat.case.model import Case
from pinseat.casting.allowance import across, all_enter, largest_scale
from pinseat.casting.model import Compensation, LotEffect, Mix, PinCount
from pinseat.casting.mould import MouldLaw, axis_of, law_of, logarithm, percent
from pinseat.casting.regression import Student, at, within
from pinseat.casting.scale import span_error_um
from pinseat.casting.span import spans
from pinseat.ledger.pins import PinField
from pinseat.ledger.rows import Entry, Row
from pinseat.reference import value

Float = NDArray[np.float64]

LINE = 41
"""Points of the line on the chart."""
BAR_MM = 30.0
"""Length of the test bar that is suggested."""
COUNTS = (2, 4, 6)
"""Numbers of pins for which the chance is shown, besides those of the case."""


def compensate(case: Case, rows: Sequence[Row], field: PinField, draw: Float | None) -> Compensation:
    """Find the mix for no net error, and what it and the stated mix would do to this case's span.

    Parameters
    ----------
    case : Case
    rows : sequence of Row
        The ledger from reference values and readings, before any law of the mould was put into it.
    field : PinField
    draw : (3,) array or None
        The pins' mean axis is taken when None.

    Returns
    -------
    Compensation
    """
    law = law_of(case.casting, axis_of(case.chain.investment), rows)
    pairs = spans(case, field)
    worst = max(pairs, key=lambda s: s.length_mm / max(s.clearance_um, 1e-9), default=None)
    span, play = (worst.length_mm, worst.clearance_um) if worst else (0.0, 0.0)
    allowance = _allowance_um(case, field, draw, span)
    rest = others(law, rows)
    best, unbounded = recommended_mix(case, law, rows)
    stated = getattr(case.casting, law.axis)

    def made(mix: float | None) -> Mix | None:
        return None if mix is None else _mix(case, law, rest, mix, span, allowance)

    chosen = made(best if law.placed else None)
    mixes = np.linspace(*law.reach, LINE)
    mixes = mixes[mixes != law.read_at]  # there stands the reading, which does not scatter
    students = [law.change(float(mix), case.casting.lot) for mix in mixes]
    half = [s.scale * float(stdtrit(s.degrees, 0.975)) for s in students]
    slope = at(law.belief, np.eye(len(law.belief.mean))[1])
    return Compensation(
        axis=law.axis,
        label=law.label,
        basis=law.basis,
        covers=law.covers,
        evidence=law.evidence,
        mixes=mixes,
        line_percent=np.array([percent(s.centre) for s in students]),
        low_percent=np.array([percent(s.centre - h) for s, h in zip(students, half, strict=True)]),
        high_percent=np.array([percent(s.centre + h) for s, h in zip(students, half, strict=True)]),
        slope=slope.centre,
        u_slope=slope.u,
        wanted_percent=percent(-rest.centre),
        reach=law.reach,
        recommended=chosen,
        stated=made(stated),
        unbounded=unbounded,
        after_one_more=_after_one_more(case, rows, law, best, span, allowance),
        lots=_lots(case, law),
        span_mm=span,
        play_um=play,
        allowance_um=allowance,
        pin_counts=_pin_counts(case, rows, law, rest, best, field, span, play) if law.placed else (),
    )


def recommended_mix(case: Case, law: MouldLaw, rows: Sequence[Row]) -> tuple[float, float]:
    """The mix for no net error as far as it lies within reach, and where it would lie without limits."""
    rest = others(law, rows)
    slope = float(law.belief.mean[1])
    at_centre = law.change(law.centre, case.casting.lot).centre
    if slope == 0.0:
        return law.centre, math.inf
    wanted = law.centre - (at_centre + rest.centre) / slope
    return min(max(wanted, law.reach[0]), law.reach[1]), wanted


def others(law: MouldLaw, rows: Sequence[Row]) -> Student:
    """The copies that the law does not cover, together, in 100 ln; taken as normal."""
    left = [row.scale for row in rows if row.copy not in law.covers]
    centre = math.fsum(logarithm(entry.mean) for entry in left)
    return Student(centre, math.hypot(*(e.u / (1.0 + e.mean / 100.0) for e in left), 0.0), math.inf)


def with_law(case: Case, rows: Sequence[Row]) -> tuple[Row, ...]:
    """The ledger with what sheet and test castings say in place of the reference figure of the investment.

    It holds for the mix that the case states, or else for the recommended one. Where test castings show
    several copies together, their means are kept and the whole doubt stands with the investment.

    Parameters
    ----------
    case : Case
    rows : sequence of Row

    Returns
    -------
    tuple of Row
        As given when there is neither sheet nor casting, or the expansion is stated as measured.
    """
    mould = next(row for row in rows if row.copy == "investment")
    known = case.casting.sheet or case.casting.bars
    if not known or mould.scale.basis == "measured here":
        return tuple(rows)
    law = law_of(case.casting, axis_of(case.chain.investment), rows)
    stated = getattr(case.casting, law.axis)
    mix = recommended_mix(case, law, rows)[0] if stated is None else stated
    change = law.change(mix, case.casting.lot)
    shared = [row for row in rows if row.copy in law.covers and row.copy != "investment"]
    mean = percent(change.centre - math.fsum(logarithm(row.scale.mean) for row in shared))
    how = f"{law.label}, at {mix_words(law.axis, mix)}" + (
        "" if stated is not None else ", the recommended mix"
    )
    entry = Entry(mean, change.u * (1.0 + mean / 100.0), "%", law.basis, how)
    done = []
    for row in rows:
        if row.copy == "investment":
            row = replace(row, scale=entry)
        elif row.copy in law.covers:
            counted = replace(
                row.scale, u=0.0, basis=law.basis, source="counted with the investment: " + law.label
            )
            row = replace(row, scale=counted)
        done.append(row)
    return tuple(done)


def mix_words(axis: str, mix: float) -> str:
    """A mix in words.

    Examples
    --------
    >>> mix_words("liquid_percent", 62.4), mix_words("water_powder", 0.3812)
    ('62 % special liquid', '0.381 ml water to 1 g')
    """
    return f"{mix:.0f} % special liquid" if axis == "liquid_percent" else f"{mix:.3f} ml water to 1 g"


def _allowance_um(case: Case, field: PinField, draw: Float | None, span_mm: float) -> float:
    play = {a.tooth: a.hole_diameter_mm - a.cast_pin_diameter_mm for a in case.abutments}
    if len(field.pins) < 2:
        return 0.0
    axis = draw if draw is not None else np.mean([pin.axis for pin in field.pins], axis=0)
    feet = across(np.array([pin.foot for pin in field.pins]), axis / np.linalg.norm(axis))
    limit = largest_scale(feet, np.array([play[pin.tooth] for pin in field.pins]))
    return 1000.0 * limit * span_mm if math.isfinite(limit) else 0.0


def _mix(case: Case, law: MouldLaw, rest: Student, mix: float, span: float, allowance: float) -> Mix:
    change = law.change(mix, case.casting.lot)
    net = change.centre + rest.centre
    factor = 1.0 + percent(net) / 100.0
    u_net = factor * math.hypot(change.u, rest.scale)
    limit = allowance / span / 10.0 if span > 0.0 else math.inf
    special, water = _millilitres(case, mix)
    return Mix(
        mix=mix,
        powder_g=case.casting.powder_g,
        special_g=special * value("recipe.special_liquid_density_g_ml").value,
        special_ml=special,
        water_g=water * value("recipe.water_density_g_ml").value,
        water_ml=water,
        change_percent=percent(change.centre),
        u_change_percent=change.u * (1.0 + percent(change.centre) / 100.0),
        net_percent=percent(net),
        u_net_percent=u_net,
        error_um=span_error_um(percent(net), span),
        u_error_um=span_error_um(u_net, span),
        probability=within(change, rest.centre, rest.scale, logarithm(limit)) if span > 0.0 else 1.0,
    )


def _millilitres(case: Case, mix: float) -> tuple[float, float]:
    """Special liquid and water for the ring's powder."""
    powder = case.casting.powder_g
    if case.chain.investment == "gypsum bonded":
        return 0.0, mix * powder
    stated = case.casting.liquid_ml_per_100g
    whole = powder * (stated / 100.0 if stated is not None else value("recipe.liquid_powder_ml_g").value)
    return whole * mix / 100.0, whole * (1.0 - mix / 100.0)


def _after_one_more(
    case: Case, rows: Sequence[Row], law: MouldLaw, mix: float, span: float, allowance: float
) -> float:
    """What probability one more casting at this mix may be expected to give, the mix then set by it.

    The spread of a conjugate regression depends on where readings lie; that this one falls where it is
    expected is taken for the scatter only.
    """
    if span <= 0.0:
        return 1.0
    metal = 0.0 if "alloy" in law.covers else logarithm(next(r.scale.mean for r in rows if r.copy == "alloy"))
    expected = math.exp((law.change(mix, case.casting.lot).centre + metal) / 100.0)
    told = {"lot": case.casting.lot, law.axis: mix, "before_mm": BAR_MM, "after_mm": BAR_MM * expected}
    bar = Bar.model_construct(**told)  # type: ignore[arg-type]
    more = case.casting.model_copy(update={"bars": (*case.casting.bars, bar)})
    after = law_of(more, law.axis, rows)
    student, rest = after.change(mix, case.casting.lot), others(after, rows)
    return within(replace(student, centre=0.0), 0.0, rest.scale, logarithm(allowance / span / 10.0))


def _lots(case: Case, law: MouldLaw) -> tuple[LotEffect, ...]:
    found = []
    for i, lot in enumerate(law.lots):
        effect = at(law.belief, np.eye(len(law.belief.mean))[2 + i])
        count = sum(point.kind == "bar" and point.lot == lot for point in law.evidence)
        found.append(LotEffect(lot, count, percent(effect.centre), effect.u))
    return tuple(found)


def _pin_counts(
    case: Case,
    rows: Sequence[Row],
    law: MouldLaw,
    rest: Student,
    mix: float,
    field: PinField,
    span: float,
    play: float,
) -> tuple[PinCount, ...]:
    """The chance along the span for several numbers of pins, the ledger's errors of position on each pin."""
    if span <= 0.0:
        return ()
    change = law.change(mix, case.casting.lot)
    node = (np.arange(16) + 0.5) / 16.0
    students = change.centre + change.scale * stdtrit(change.degrees, node)
    normals = rest.centre + rest.scale * ndtri(node)
    net = (students[:, None] + normals[None, :]).ravel()
    error = 10.0 * span * 100.0 * np.expm1(net / 100.0)
    u_pin = math.hypot(*(row.position.u for row in rows))
    weight = np.full(len(error), 1.0 / len(error))
    counts = sorted({*COUNTS, max(len(field.pins), 2)})
    return tuple(PinCount(n, all_enter(error, weight, u_pin, play, n)) for n in counts)
