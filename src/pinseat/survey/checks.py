"""What survey found, checked one by one."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from pinseat.case.model import Abutment
from pinseat.ledger.cautions import STANDS_PROUD, dentine_caution
from pinseat.ledger.findings import Finding, Verdict
from pinseat.ledger.pins import PinField, frame
from pinseat.ledger.verdict import against, chance_words, one_sided, rule_words
from pinseat.reference import value
from pinseat.survey.callipers import Sight
from pinseat.survey.draw import angles_to
from pinseat.survey.model import DrawWindow, PinFit, Rejected
from pinseat.survey.plan import Step, Unseen

Float = NDArray[np.float64]

BETTER_SCAN = "scan again in finer detail, or with longer pins in the holes"
PLAY = "hole less cast pin over the engaged length, from the case"


def draw_finding(
    window: DrawWindow, better: str = BETTER_SCAN, splay: Finding | None = None, cut: str = ""
) -> Finding:
    """Does one draw serve all pins, walls, grooves and neighbours?

    Where two pins lean more against each other than their holes take up, none does, however little is known
    of the others: the window is then short by at least half of what these two lack.

    Parameters
    ----------
    window : DrawWindow
    better : str
        What to do when it cannot be told.
    splay : Finding, optional
        From :func:`splay_finding`.
    cut : str
        The cheapest cut of walls that opens a draw, as something to do; empty when there is none.

    Returns
    -------
    Finding
        `value` is the size of the window in deg, negative = degrees short; the limit is 0.
    """
    verdict, size, u = against(window.size_deg, window.u_size_deg), window.size_deg, window.u_size_deg
    pins = [name for name in window.limited_by if name in window.allowance_deg]
    all_ = "all pins" if len(pins) == len(window.limited_by) and not window.borders_deg else "all surfaces"
    if splay is not None and splay.verdict == "stop" != verdict and splay.value and splay.limit is not None:
        verdict, size, u = "stop", (splay.limit - splay.value) / 2.0, (splay.uncertainty or 0.0) / 2.0
    return Finding(
        code="survey.draw",
        where=_bounds(window),
        says={
            "clear": f"One draw serves {all_}.",
            "stop": f"No single draw serves {all_}{_short(window)}.",
            "cannot tell": f"Whether one draw serves {all_} cannot be told from what was measured.",
        }[verdict],
        verdict=verdict,
        value=size,
        uncertainty=u,
        unit="deg",
        limit=0.0,
        limit_source=f"{PLAY}; {rule_words()}",
        do={
            "clear": "",
            "stop": cut
            or f"thin the cast pins of {_listed(pins or window.limited_by)}, or ream their holes, or recut "
            f"the one that leans: {dentine_caution()}",
            "cannot tell": better,
        }[verdict],
    )


def _bounds(window: DrawWindow) -> str:
    """What bounds a window, in words: ``pins 11-1 and 11-3``, ``wall of tooth 11 and pin 22-1``."""
    pins = [name for name in window.limited_by if name in window.allowance_deg]
    others = [name for name in window.limited_by if name not in window.allowance_deg]
    named = f"{'pin' if len(pins) == 1 else 'pins'} {_listed(pins)}" if pins else ""
    return _listed([*others, *([named] if named else [])])


def _short(window: DrawWindow) -> str:
    """By how much one surface alone would have to give way, where walls have a part in it."""
    pins_only = all(name in window.allowance_deg for name in window.limited_by)
    return "" if pins_only or window.short_deg <= 0.0 else f": {window.short_deg:.1f} deg short between these"


def _listed(names: Sequence[str]) -> str:
    return " and ".join([*([", ".join(names[:-1])] if len(names) > 1 else []), names[-1]])


def splay_finding(field: PinField, window: DrawWindow, better: str = BETTER_SCAN) -> Finding | None:
    """Do the two pins that lean most against each other still go in together?

    Parameters
    ----------
    field : PinField
    window : DrawWindow
    better : str
        What to do when it cannot be told.

    Returns
    -------
    Finding or None
        None with fewer than two pins.
    """
    if len(field.pins) < 2:
        return None

    leans = [lean for i, j in combinations(range(len(field.pins)), 2) for lean in _leans(field, window, i, j)]
    surest = max(leans, key=lambda one: (one.splay - one.play) / max(one.u, 1e-9))
    if against(surest.play - surest.splay, surest.u) != "stop":
        surest = max(
            (one for one in leans if one.whole), key=lambda one: one.splay + one_sided() * one.u - one.play
        )
    splay, u, play = surest.splay, surest.u, surest.play
    verdict = against(play - splay, u)
    names = f"pins {surest.pins[0]} and {surest.pins[1]}"
    return Finding(
        code="survey.splay",
        where=names,
        says={
            "clear": "The two pins that lean most against each other still go in together.",
            "stop": "These two pins lean more against each other than their holes take up; the chance of it "
            f"is {chance_words(splay - play, u)}.",
            "cannot tell": "Whether the holes of these two pins take up their lean cannot be told.",
        }[verdict],
        verdict=verdict,
        value=splay,
        uncertainty=u,
        unit="deg",
        limit=play,
        limit_source=f"play of both together: {PLAY}; {rule_words()}",
        do={
            "clear": "",
            "stop": f"thin a cast pin of {names}, or ream its hole: {dentine_caution()}",
            "cannot tell": better,
        }[verdict],
    )


@dataclass(frozen=True)
class _Lean:
    """Lean of two pins against each other, deg: the whole angle, or its part in one direction."""

    pins: tuple[str, str]
    splay: float
    u: float
    play: float
    whole: bool


def _leans(field: PinField, window: DrawWindow, i: int, j: int) -> list[_Lean]:
    """The angle between two pins, and its parts in the directions known best and worst.

    The angle is at least as large as any part of it: readings that see one direction only can still tell that
    it is too large.
    """
    a, b = field.pins[i].axis, field.pins[j].axis
    turn = np.zeros((2, 2 * len(field.pins)))
    common = frame(a)
    turn[:, 2 * i : 2 * i + 2] = common @ frame(a).T
    turn[:, 2 * j : 2 * j + 2] = -common @ frame(b).T
    spread = turn @ field.tilt_covariance @ turn.T
    apart = common @ (a - b)
    variances, ways = np.linalg.eigh(spread)
    size = float(np.linalg.norm(apart))
    known = size * size > variances[-1]
    variance = float(apart @ spread @ apart) / size**2 if known else float(variances[-1])
    names = (field.pins[i].name, field.pins[j].name)
    play = window.allowance_deg[names[0]] + window.allowance_deg[names[1]]
    angle = float(angles_to(a, b[None])[0])
    parts = [(angle, variance), *zip(np.abs(ways.T @ apart).tolist(), variances.tolist(), strict=True)]
    return [
        _Lean(names, math.degrees(part), math.degrees(math.sqrt(max(var, 0.0))), play, k == 0)
        for k, (part, var) in enumerate(parts)
    ]


def count_findings(
    field: PinField, abutments: Sequence[Abutment], rejected: Sequence[Rejected]
) -> list[Finding]:
    """Are there as many pins as the case states?

    Parameters
    ----------
    field : PinField
    abutments : sequence of Abutment
    rejected : sequence of Rejected

    Returns
    -------
    list of Finding
        One clear finding for the whole case, or one stop for each tooth that has too few or too many.
    """
    wrong = []
    for abutment in abutments:
        found = sum(pin.tooth == abutment.tooth for pin in field.pins)
        if found != abutment.pins:
            wrong.append(_wrong_count(abutment, found, rejected))
    if wrong:
        return wrong
    return [
        Finding(
            code="survey.count",
            where="",
            says="As many pins were found as the case states.",
            verdict="clear",
            value=float(len(field.pins)),
            unit="pins",
            limit=float(sum(abutment.pins for abutment in abutments)),
            limit_source="stated in the case",
        )
    ]


def _wrong_count(abutment: Abutment, found: int, rejected: Sequence[Rejected]) -> Finding:
    if found < abutment.pins:
        shown = "; ".join(one.reason for one in rejected[:2])
        seen = f" (left out: {shown})" if shown else ""
        do = f'add it in case.toml under [[pins]]: action = "add", tooth = {abutment.tooth}, foot, tip{seen}'
    else:
        do = (
            f'reject it in case.toml under [[pins]]: action = "reject", tooth = {abutment.tooth}, number; '
            "or correct the number of pins"
        )
    few = found < abutment.pins
    return Finding(
        code="survey.count",
        where=f"tooth {abutment.tooth}",
        says=f"{'Fewer' if few else 'More'} pins were found in this tooth than the case states.",
        verdict="stop",
        value=float(found),
        unit="pins",
        limit=float(abutment.pins),
        limit_source="stated in the case",
        do=do,
    )


def pin_finding(fit: PinFit) -> Finding:
    """Was this pin seen well?

    Parameters
    ----------
    fit : PinFit

    Returns
    -------
    Finding
        About its coverage when too little of its wall was scanned, else about its residual.
    """
    good, worst = value("survey.good_wall_coverage_share"), value("survey.pin_residual_um")
    where = f"pin {fit.name}"
    if fit.points == 0:
        return Finding(
            code="survey.pin",
            where=where,
            says="The scan allows no fit here; the pin is taken as stated by hand.",
            verdict="caution",
            do=f"scan pin {fit.name} again",
        )
    if fit.coverage < good.value:
        return Finding(
            code="survey.pin",
            where=where,
            says="Much of this pin's wall was not scanned.",
            verdict="caution",
            value=100.0 * fit.coverage,
            unit="%",
            limit=100.0 * good.value,
            limit_source=f"{good.conditions} ({good.basis})",
            do=f"scan pin {fit.name} from more sides",
        )
    rough = fit.residual_um > worst.value
    return Finding(
        code="survey.pin",
        where=where,
        says="The wall is not as round as a pin's." if rough else "The wall is a cylinder within the noise.",
        verdict="caution" if rough else "clear",
        value=fit.residual_um,
        uncertainty=fit.residual_um / math.sqrt(2.0 * fit.points),
        unit="um",
        limit=worst.value,
        limit_source=f"{worst.conditions} ({worst.basis})",
        do=f"clean pin {fit.name} and scan it again" if rough else "",
    )


def protrusion_findings(field: PinField, abutments: Sequence[Abutment]) -> list[Finding]:
    """Do the pins stand out as far as their length and the depth of their holes say?

    Proud and low are not equal: a cast pin as long as stated touches the floor of a hole that is shallower by
    more than the floor relief, while a deeper hole does no harm.

    Parameters
    ----------
    field : PinField
    abutments : sequence of Abutment

    Returns
    -------
    list of Finding
        One for each pin whose expected protrusion the case gives; positive = stands too far out.
    """
    by_tooth = {abutment.tooth: abutment for abutment in abutments}
    found = []
    for pin in field.pins:
        abutment = by_tooth[pin.tooth]
        expected = expected_protrusion(abutment)
        if expected is not None:
            out = pin.protrusion_mm - expected
            found.append(_protrusion(f"pin {pin.name}", out, pin.u_protrusion_mm, abutment))
    return found


def expected_protrusion(abutment: Abutment) -> float | None:
    """Length of the impression pin less the depth of its hole, mm; None when the case does not give it."""
    if abutment.impression_pin_length_mm is None:
        return None
    return abutment.impression_pin_length_mm - abutment.hole_depth_mm


def _protrusion(where: str, out: float, u: float, abutment: Abutment) -> Finding:
    low = value("survey.low_pin_mm")
    proud = against(abutment.floor_relief_mm - out, u)
    verdict: Verdict = proud
    limit, source = abutment.floor_relief_mm, "floor relief of the case"
    says = {
        "clear": "The pin stands out as far as it should.",
        "stop": "The pin stands too far out: it is not home, or its hole is shallower than stated.",
        "cannot tell": "Whether the pin is fully home cannot be told.",
    }[proud]
    do = "" if proud == "clear" else f"{STANDS_PROUD} and correct hole_depth_mm"
    if out < 0.0:
        limit, source = -low.value, f"{low.conditions} ({low.basis})"
        if against(out + low.value, u) == "stop":
            verdict = "caution"
            says = "The pin stands low: its hole is deeper than stated, or the pin is shorter."
            do = f"gauge the hole of {where} and the pin, and correct the case"
    return Finding(
        code="survey.protrusion",
        where=where,
        says=says,
        verdict=verdict,
        value=out,
        uncertainty=u,
        unit="mm",
        limit=limit,
        limit_source=f"{source}; {rule_words()}",
        do=do,
    )


def sight_finding(
    sights: Sequence[Sight], blind: Sequence[Sight], following: Step | None, unseen: Sequence[Unseen]
) -> Finding:
    """Do the readings see every splay that matters?

    Parameters
    ----------
    sights, blind : sequences of Sight
        All, and those not seen.
    following : Step or None
        The next reading to take.
    unseen : sequence of Unseen
        What no reading between the pins shows.

    Returns
    -------
    Finding
    """
    worst = max(sights, key=lambda one: one.u_deg / max(one.play_deg, 1e-9))
    shown = [one for one in blind if following is not None and one.words == following.shows]
    verdict: Verdict = "cannot tell" if blind else "clear"
    if not blind:
        says, do = "The readings see every splay that matters.", ""
    elif following is not None and shown:
        worst = shown[0]
        says = f"The readings cannot see {worst.words}."
        do = f"take one more reading {following.words}"
    else:
        says = f"The readings cannot see {worst.words}, and no calliper reading between the pins would."
        do = next((one.do for one in unseen if one.words == worst.words), "scan the pins")
    return Finding(
        code="survey.sight",
        where=f"pins {worst.pins[0]} and {worst.pins[1]}",
        says=says,
        verdict=verdict,
        value=worst.u_deg,
        unit="deg",
        limit=worst.play_deg / one_sided(),
        limit_source=f"uncertainty at which the play of both holes could still be told; {PLAY}",
        do=do,
    )
