"""What has changed beyond doubt, and what that means: findings.

Each pin is checked four times: shift and tilt by their square over their covariance (chi-square, two degrees
of freedom), depth and diameter by their ratio to their uncertainty. The checks of all pins share one false
alarm rate by Holm's rule: the smallest chance must fall below ``alpha / m``, the next below
``alpha / (m - 1)``, and so on until one does not.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
from scipy.special import chdtrc, ndtri

from pinseat.compare.model import ChangedPlace, Laid, PinChange, ScaleChange, Span
from pinseat.ledger.cautions import STANDS_PROUD
from pinseat.ledger.findings import Finding, Verdict
from pinseat.ledger.verdict import one_sided
from pinseat.reference import value


def with_certain(pins: Sequence[PinChange]) -> tuple[PinChange, ...]:
    """Say of each pin what has changed beyond doubt.

    Parameters
    ----------
    pins : sequence of PinChange

    Returns
    -------
    tuple of PinChange
    """
    checks = [(chance, i, word) for i, pin in enumerate(pins) for chance, word in _checks(pin)]
    checks.sort(key=lambda check: check[0])
    alpha = value("compare.false_alarm_share").value
    certain: list[list[str]] = [[] for _ in pins]
    for k, (chance, i, word) in enumerate(checks):
        if chance > alpha / (len(checks) - k):
            break
        certain[i].append(word)
    return tuple(replace(pin, certain=tuple(words)) for pin, words in zip(pins, certain, strict=True))


def _checks(pin: PinChange) -> Iterator[tuple[float, str]]:
    for part, word in ((slice(0, 2), "moved"), (slice(2, 4), "bent")):
        square = pin.change[part] @ np.linalg.solve(pin.covariance[part, part], pin.change[part])
        yield float(chdtrc(2.0, square)), word
    depth, diameter = pin.change[4:]
    if pin.depth_um is not None:
        square = depth**2 / pin.covariance[4, 4]
        yield float(chdtrc(1.0, square)), "farther out" if depth > 0.0 else "farther in"
    yield float(chdtrc(1.0, diameter**2 / pin.covariance[5, 5])), "thicker" if diameter > 0.0 else "thinner"


def judged(change: float, u: float, limit: float, certain: bool) -> Verdict:
    """Beyond the limit by more than its guard band: stop; changed beyond doubt: caution; within the limit by
    its guard band: clear; else nobody can tell.

    Examples
    --------
    >>> judged(80.0, 4.0, 50.0, True), judged(30.0, 4.0, 50.0, True), judged(3.0, 4.0, 50.0, False)
    ('stop', 'caution', 'clear')
    >>> judged(30.0, 40.0, 50.0, False)
    'cannot tell'
    """
    guard = one_sided() * u
    if certain:
        return "stop" if abs(change) - guard > limit else "caution"
    return "clear" if abs(change) + guard <= limit else "cannot tell"


def pin_findings(pins: Sequence[PinChange], negative: bool) -> Iterator[Finding]:
    """One finding for each pin: what weighs most of what happened to it."""
    order: tuple[Verdict, ...] = ("stop", "caution", "cannot tell", "clear")
    for pin in pins:
        worst = min(_of_pin(pin, negative), key=lambda one: order.index(one.verdict))
        yield worst if worst.verdict != "clear" else _clear(pin)
    if any(pin.depth_um is None for pin in pins):
        yield Finding(
            code="compare.pin_depth",
            where="pins",
            says="How deep the pins stand in the impression is not seen: their whole length is not stated.",
            verdict="cannot tell",
            do="state impression_pin_length_mm of each abutment",
        )


def _clear(pin: PinChange) -> Finding:
    seen = "place, direction or thickness" if pin.depth_um is None else "place, direction, depth or thickness"
    return Finding(
        code="compare.pin",
        where=f"pin {pin.name}",
        says=f"No change of {seen} against its own tooth",
        verdict="clear",
    )


def _of_pin(pin: PinChange, negative: bool) -> Iterator[Finding]:
    asked = [
        ("depth", pin.depth_um, pin.u_depth_um, "um", ("farther out", "farther in")),
        ("tilt", pin.tilt_deg, pin.u_tilt_deg, "deg", ("bent",)),
        ("shift", pin.shift_um, pin.u_shift_um, "um", ("moved",)),
        ("diameter", pin.diameter_um, pin.u_diameter_um, "um", ("thicker", "thinner")),
    ]
    for what, change, u, unit, words in asked:
        if change is None or u is None:
            continue
        limit = value(f"compare.{what}_limit_{unit}")
        said = [word for word in words if word in pin.certain]
        verdict = judged(change, u, limit.value, bool(said))
        yield Finding(
            code=f"compare.pin_{what}",
            where=f"pin {pin.name}",
            says=_says(what, said, negative),
            verdict=verdict,
            value=change,
            uncertainty=u,
            unit=unit,
            limit=limit.value,
            limit_source=limit.cited,
            do=_do(said[0] if said else what, verdict, negative),
        )


_WORDS = {
    "farther out": "The pin stands farther out than before",
    "farther in": "The pin stands farther in than before",
    "bent": "The pin leans otherwise than before",
    "moved": "The pin stands beside its place",
    "thicker": "The pin is thicker than before",
    "thinner": "The pin is thinner than before",
}
_DO = {
    "farther out": f"{STANDS_PROUD}; then scan again",
    "farther in": "measure how far it stands out; look whether it is the same pin in the same hole",
    "bent": "try a straight pin in this hole",
    "moved": "look at the hole's mouth and the foot of the pin",
    "thicker": "look for a film or flash on the pin, or for another pin in its place",
    "thinner": "look whether another pin stands in its place",
}
_OF_NEGATIVE = {
    "farther out": "press the pin home in the impression, or take as much off the cast pin",
    "farther in": "the cast pin will be shorter by as much: see whether enough is left, or set it again",
    "bent": "set a straight pin in its place in the impression",
    "moved": "take the pin out and look whether the rubber around it is torn",
}
_ALIKE = {"depth": "depth", "tilt": "direction", "shift": "place", "diameter": "thickness"}


def _says(what: str, said: Sequence[str], negative: bool) -> str:
    if said and negative and what == "depth":
        way = "far" if said[0] == "farther out" else "little"
        return f"The pin stands too {way} out of the impression for its length."
    if said:
        return f"{_WORDS[said[0]]}, against its own tooth."
    return f"Whether its {_ALIKE[what]} changed is not seen well enough."


def _do(what: str, verdict: Verdict, negative: bool) -> str:
    if verdict == "clear":
        return ""
    if verdict == "cannot tell":
        return "scan this pin again, from all round"
    if negative and what in _OF_NEGATIVE:
        return _OF_NEGATIVE[what]
    return _DO[what]


def pose_finding(laid: Laid) -> Finding:
    """How well the two scans lie on each other."""
    loose = value("compare.loose_pose_um")
    sure = laid.u_worst_um <= loose.value
    return Finding(
        code="compare.pose",
        where="both scans",
        says="How well the second scan lies on the first, where it is known least."
        if sure
        else "The surface that the two scans share fixes how they lie only loosely.",
        verdict="clear" if sure else "caution",
        value=laid.u_worst_um,
        unit="um",
        limit=loose.value,
        limit_source=f"{loose.note} ({loose.basis})",
        do="" if sure else "take the map as a hint at most; scan more of the teeth around",
    )


def scale_findings(scales: Sequence[ScaleChange], size_mm: float) -> Iterator[Finding]:
    """Whether one scan is larger than the other, judged by what that makes over the shared surface."""
    limit = value("compare.span_limit_um")
    for scale in scales:
        per = 10.0 * size_mm  # um over the surface for one per cent
        certain = abs(scale.change_percent) > _sure() * scale.u_percent
        if scale.basis == "pins" and not certain:
            continue  # the surface tells more; the pins are heard when they contradict it
        verdict = judged(per * scale.change_percent, per * scale.u_percent, limit.value, certain)
        yield Finding(
            code=f"compare.scale_{scale.basis.replace(' ', '_')}",
            where="both scans",
            says=f"Scale of the second scan by the {scale.basis}.",
            verdict=verdict,
            value=scale.change_percent,
            uncertainty=scale.u_percent,
            unit="%",
            limit=limit.value / per,
            limit_source=f"{limit.value:g} um over {size_mm:.0f} mm, {limit.cited}",
            do=_do_span(verdict),
        )


def span_findings(spans: Sequence[Span]) -> Iterator[Finding]:
    """Whether the abutments stand as far from each other as before."""
    limit = value("compare.span_limit_um")
    for span in spans:
        certain = abs(span.change_um) > _sure() * span.u_um
        verdict = judged(span.change_um, span.u_um, limit.value, certain)
        yield Finding(
            code="compare.span",
            where=f"{span.teeth[0]} to {span.teeth[1]}",
            says="Distance between the abutments, each laid by its own surface.",
            verdict=verdict,
            value=span.change_um,
            uncertainty=span.u_um,
            unit="um",
            limit=limit.value,
            limit_source=limit.cited,
            do=_do_span(verdict),
        )


def _sure() -> float:
    """Standard uncertainties beyond which one check alone cries wolf as seldom as stated."""
    return float(-ndtri(0.5 * value("compare.false_alarm_share").value))


def _do_span(verdict: Verdict) -> str:
    if verdict == "clear":
        return ""
    if verdict == "cannot tell":
        return "measure the distance with callipers on both"
    return "measure the distance with callipers on both, and enter the scale under [[measured]]"


def surface_finding(
    places: Sequence[ChangedPlace], within_share: float, limit_um: float, scatter_um: float
) -> Finding:
    """Whether the teeth themselves are the same."""
    limit = value("compare.deviation_limit_um")
    off = [place for place in places if not place.at]
    worst = max(off, key=lambda place: abs(place.farthest_um), default=None)
    where = "" if worst is None else f"at ({', '.join(f'{x:.1f}' for x in worst.place)}) mm".replace("-", "−")
    return Finding(
        code="compare.surface",
        where=where or "teeth and gum",
        says=f"{len(off)} {'place lies' if len(off) == 1 else 'places lie'} beyond the limit; "
        "the farthest is given."
        if worst
        else "No place away from the pins lies beyond the limit.",
        verdict="caution" if worst else "clear",
        value=worst.farthest_um if worst else 100.0 * within_share,
        uncertainty=scatter_um if worst else None,
        unit="um" if worst else "%",
        limit=limit_um if worst else None,
        limit_source=limit.cited if limit_um == limit.value else "four times the scatter of the two scans",
        do="look at the map there" if worst else "",
    )


def unseen_finding(shown: str, lacking: str) -> Finding:
    """Pins that could be found on one of the scans only."""
    return Finding(
        code="compare.pins_unseen",
        where=lacking,
        says=f"Its pins could not be found, those of {shown} could: pins are not compared.",
        verdict="cannot tell",
        do="scan it again with every pin in sight from all round",
    )


def alone_findings(unpaired: Sequence[str]) -> Iterator[Finding]:
    """Pins that only one scan shows."""
    for words in unpaired:
        yield Finding(
            code="compare.unpaired",
            where=words,
            says="The other scan shows no pin within a millimetre of this one.",
            verdict="cannot tell",
            do="look whether the pin is missing, or scan again",
        )
