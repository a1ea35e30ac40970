"""What survey found, checked one by one."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from pinseat.case.model import Abutment, Reading
from pinseat.ledger.findings import Finding, Verdict
from pinseat.ledger.pins import PinField, frame
from pinseat.reference import value
from pinseat.survey.callipers import NextReading, Sight, Solved, describe
from pinseat.survey.draw import angles_to
from pinseat.survey.model import DrawWindow, PinFit, Rejected
from pinseat.survey.verdict import against, one_sided, rule_words

Float = NDArray[np.float64]

BETTER_SCAN = "scan again in finer detail, or with longer pins in the holes"
PLAY = "hole less cast pin over the engaged length, from the case"


def draw_finding(window: DrawWindow, better: str = BETTER_SCAN) -> Finding:
    """Does one draw serve all pins?

    Parameters
    ----------
    window : DrawWindow
    better : str
        What to do when it cannot be told.

    Returns
    -------
    Finding
        `value` is the size of the window in deg, negative = degrees short; the limit is 0.
    """
    verdict = against(window.size_deg, window.u_size_deg)
    limiting = _listed(window.limited_by)
    return Finding(
        code="survey.draw",
        where=f"{'pin' if len(window.limited_by) == 1 else 'pins'} {limiting}",
        says={
            "clear": "One draw serves all pins.",
            "stop": "No single draw serves all pins.",
            "cannot tell": "Whether one draw serves all pins cannot be told from what was measured.",
        }[verdict],
        verdict=verdict,
        value=window.size_deg,
        uncertainty=window.u_size_deg,
        unit="deg",
        limit=0.0,
        limit_source=f"{PLAY}; {rule_words()}",
        do={
            "clear": "",
            "stop": f"ream the holes of {limiting} or thin their cast pins, or recut the one that leans",
            "cannot tell": better,
        }[verdict],
    )


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

    def lacking(pair: tuple[int, int]) -> float:
        splay, u, play = _splay(field, window, *pair)
        return splay + one_sided() * u - play

    i, j = max(combinations(range(len(field.pins)), 2), key=lacking)
    splay, u, play = _splay(field, window, i, j)
    verdict = against(play - splay, u)
    names = f"pins {field.pins[i].name} and {field.pins[j].name}"
    return Finding(
        code="survey.splay",
        where=names,
        says={
            "clear": "The two pins that lean most against each other still go in together.",
            "stop": "These two pins lean more against each other than their holes take up.",
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
            "stop": f"ream one of the holes of {names}, or thin its cast pin",
            "cannot tell": better,
        }[verdict],
    )


def _splay(field: PinField, window: DrawWindow, i: int, j: int) -> tuple[float, float, float]:
    """Angle between two pins, its uncertainty, and the play of both, deg."""
    a, b = field.pins[i].axis, field.pins[j].axis
    angle = float(angles_to(a, b[None])[0])
    turn = np.zeros((2, len(field.covariance)))
    common = frame(a)
    turn[:, 4 * i + 2 : 4 * i + 4] = common @ frame(a).T
    turn[:, 4 * j + 2 : 4 * j + 4] = -common @ frame(b).T
    spread = turn @ field.covariance @ turn.T
    apart = common @ (a - b)
    size = float(np.linalg.norm(apart))
    largest = float(np.linalg.eigvalsh(spread)[-1])
    variance = float(apart @ spread @ apart) / size**2 if size * size > largest else largest
    play = window.allowance_deg[field.pins[i].name] + window.allowance_deg[field.pins[j].name]
    return math.degrees(angle), math.degrees(math.sqrt(variance)), play


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
    do = "" if proud == "clear" else f"press {where} home, or gauge its hole and correct hole_depth_mm"
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


def reading_findings(readings: Sequence[Reading], solved: Solved) -> list[Finding]:
    """Readings that disagree with their own repeats, or with everything else.

    Parameters
    ----------
    readings : sequence of Reading
    solved : Solved

    Returns
    -------
    list of Finding
        Caution for a repeat that stands alone; stop for the reading that contradicts the others most.
    """
    worst = value("survey.repeat_spread_ratio")
    found = [one for one in (_repeat_finding(reading) for reading in readings) if one is not None]
    misfit = np.abs(solved.misfit)
    if len(misfit) and misfit.max() > worst.value:
        k = int(np.argmax(misfit))
        found.append(
            Finding(
                code="survey.reading",
                where=f"reading {describe(readings[k])}",
                says="This reading contradicts the others and the layout.",
                verdict="stop",
                value=float(misfit[k]),
                unit="standard uncertainties",
                limit=worst.value,
                limit_source=f"{worst.conditions} ({worst.basis})",
                do=f"take the reading {describe(readings[k])} again",
            )
        )
    return found


def _repeat_finding(reading: Reading) -> Finding | None:
    """The repeat farthest from the median of its reading, when too far."""
    repeats = np.array(reading.mm)
    away = np.abs(repeats - np.median(repeats))
    worst = value("survey.repeat_spread_ratio").value * reading.u_mm
    k = int(np.argmax(away))
    if len(repeats) == 2:
        away, worst = np.full(2, np.ptp(repeats)), worst * math.sqrt(2.0)
    if away[k] <= worst:
        return None
    return Finding(
        code="survey.repeat",
        where=f"reading {describe(reading)}",
        says="The repeats of this reading disagree.",
        verdict="caution",
        value=float(away[k]),
        uncertainty=reading.u_mm,
        unit="mm",
        limit=worst,
        limit_source=f"{value('survey.repeat_spread_ratio').value:g} times the uncertainty of one reading",
        do=f"repeat the reading {describe(reading)} and strike the one that was wrong",
    )


def sight_finding(sights: Sequence[Sight], blind: Sequence[Sight], following: NextReading | None) -> Finding:
    """Do the readings see every splay that matters?

    Parameters
    ----------
    sights, blind : sequences of Sight
        All, and those not seen.
    following : NextReading or None

    Returns
    -------
    Finding
    """
    worst = max(sights, key=lambda one: one.u_deg / max(one.play_deg, 1e-9))
    where = f"pins {worst.pins[0]} and {worst.pins[1]}"
    verdict: Verdict = "cannot tell" if blind else "clear"
    if not blind:
        says, do = "The readings see every splay that matters.", ""
    elif following is not None:
        says = f"The readings cannot see {worst.words}."
        do = f"take one more reading {following.words}"
    else:
        says = f"The readings cannot see {worst.words}, and no calliper reading would."
        do = f"scan the pins, or set one more long guide pin well off the line of {where} and read to its end"
    return Finding(
        code="survey.sight",
        where=where,
        says=says,
        verdict=verdict,
        value=worst.u_deg,
        unit="deg",
        limit=worst.play_deg / one_sided(),
        limit_source=f"uncertainty at which the play of both holes could still be told; {PLAY}",
        do=do,
    )
