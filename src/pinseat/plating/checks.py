"""What is checked of a planned plating."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from pinseat.ledger.findings import Finding
from pinseat.plating.baths import STATED, Bath
from pinseat.plating.calibration import Calibration
from pinseat.plating.pieces import Piece
from pinseat.plating.plan import highest_current_mA
from pinseat.plating.result import Aim, MappedPiece, Suggestion, ThicknessMap
from pinseat.plating.shares import Pool, Share

CLOSURE = 1e-3
"""Largest difference between charge in and metal grown, as a share."""
DEPLETED = 0.3
"""Share of the limiting current from which the map may be too even."""
STRETCH = 0.2
"""Largest stretch of a growth step that leaves local thickness trustworthy."""
UNEVEN = 1.2
"""Thickest over thinnest piece from which an equal split is worth changing."""
FAR = 0.2
"""Share of the mean density at the start below which a place may stay bare."""
STRAY = 0.1
"""Share of the metal on tails and flange from which masking pays."""


def thin_finding(found: ThicknessMap, aim: Aim, hours: float, best: Suggestion | None) -> Finding:
    """Whether the thinnest spot has the minimum when the programme ends.

    Parameters
    ----------
    found : ThicknessMap
    aim : Aim
    hours : float
        At which the programme ends.
    best : Suggestion or None
        What would help most.

    Returns
    -------
    Finding
        ``cannot tell`` when the bath is not known well enough to decide.
    """
    minimum, mean, _ = found.at(hours)
    low, high = found.minimum_range_mm
    share = minimum / max(found.minimum_mm[-1], 1e-12)
    low, high = low * share, high * share
    where = f"{found.thinnest_band} of {found.thinnest_piece}"
    says = f"The thinnest spot, not the mean of {mean:.2f} mm, decides whether the shell tears."
    told = Finding(
        code="plating.thinnest",
        where=where,
        says=says,
        verdict="clear",
        value=minimum,
        uncertainty=(high - low) / math.sqrt(12.0),
        unit="mm",
        limit=aim.minimum_mm,
        limit_source="stated or common practice, no source",
    )
    help_ = "nothing that was tried (currents, a covered rim, rods) brings it there: handle that spot as thin"
    if best is not None:
        help_ = f"{best.what}; thinnest then {best.minimum_mm:.2f} mm"
    if low >= aim.minimum_mm:
        return told
    if high < aim.minimum_mm:
        return replace(told, says=f"{says} It stays too thin.", verdict="stop", do=help_)
    tell = f"Not knowing the bath leaves it between {low:.2f} and {high:.2f} mm."
    do = f"calibrate the bath in a two-distance cell; or {help_}"
    return replace(told, says=f"{says} {tell}", verdict="cannot tell", do=do)


def rim_finding(found: ThicknessMap, aim: Aim, hours: float) -> Finding | None:
    """Whether the rim overgrows the margin; None where there is no rim."""
    rim = found.at(hours)[2]
    if math.isnan(rim):
        return None
    over = rim > aim.rim_mm
    return Finding(
        code="plating.rim",
        where="rims",
        says="The rim grows over the margin." if over else "The rims stay within bounds.",
        verdict="caution" if over else "clear",
        value=rim,
        unit="mm",
        limit=aim.rim_mm,
        limit_source="stated or assumed by this project",
        do="cover the rim with a band of wax, or lower the current" if over else "",
    )


def density_findings(
    shares: Sequence[Share], pieces: Sequence[Piece], bath: Bath, current_mA: float
) -> list[Finding]:
    """Whether the current burns a piece: mean density of each against the highest of the bath."""
    most = highest_current_mA(pieces, bath)
    found = []
    for share in shares:
        if share.density_A_m2 > bath.density_limit_A_m2:
            do = f"set at most {most:.0f} mA for all together, or give this piece {share.even_mA:.1f} mA"
            found.append(
                _density(share.name, share, bath, "stop", "The current is too high for this piece.", do)
            )
    if not found:
        densest = max(shares, key=lambda share: share.density_A_m2)
        found.append(
            _density(densest.name, densest, bath, "clear", "The mean density stays within the bath's.", "")
        )
    return found


def _density(where: str, share: Share, bath: Bath, verdict: str, says: str, do: str) -> Finding:
    source = bath.basis["limit"]
    return Finding(
        code="plating.density",
        where=where,
        says=says,
        verdict="stop" if verdict == "stop" else "clear",
        value=share.density_A_m2 / 100.0,
        uncertainty=share.density_A_m2 / 100.0 * share.u_area_mm2 / share.area_mm2 or None,
        unit="A/dm2",
        limit=bath.density_limit_A_m2 / 100.0,
        limit_source=source if source == STATED else f"reference set {bath.name}, {source}",
        do=do,
    )


def split_finding(pool: Pool, shares: Sequence[Share]) -> Finding | None:
    """How uneven an equal split leaves the pieces; None for one piece alone."""
    if len(shares) < 2:
        return None
    low, high = (pick(shares, key=lambda share: share.mean_mm) for pick in (min, max))
    uneven = high.mean_mm > UNEVEN * low.mean_mm
    each = ", ".join(f"{share.name} {share.even_mA:.1f}" for share in shares)
    return Finding(
        code="plating.split",
        where="pieces",
        says=f"Each with the same current, the pieces have {low.mean_mm:.2f} to {high.mean_mm:.2f} mm on the "
        f"mean when all together have {pool.mean_mm:.2f}; the thinnest spots have less.",
        verdict="caution" if uneven else "clear",
        value=high.mean_mm / low.mean_mm,
        unit="times",
        limit=UNEVEN,
        limit_source="assumed by this project",
        do=f"share the current by area, in mA: {each}" if uneven else "",
    )


def mean_finding(pool: Pool) -> Finding:
    """Said when no field was solved: a mean is no minimum."""
    return Finding(
        code="plating.mean",
        where="every cup",
        says="A mean over all surfaces: floors and inner edges have less, in a deep cup a third of its rim.",
        verdict="caution",
        value=pool.mean_mm,
        uncertainty=pool.mean_mm * pool.u_area_mm2 / pool.area_mm2,
        unit="mm",
        limit_source="mean by Faraday's law",
        do="give outline and depth of each cup, or a scan, and look at the floors",
    )


def field_findings(found: ThicknessMap, pieces: Sequence[MappedPiece], bath: Bath) -> list[Finding]:
    """What the field says besides thickness: closure, burning rims, lean liquid, stray metal."""
    out = [one for one in (_closure(found), _correction(found)) if one is not None]
    hottest = max(pieces, key=lambda piece: piece.highest_A_m2)
    out.append(_local(hottest, bath))
    if (lean := _lean(hottest, bath)) is not None:
        out.append(lean)
    stray = found.wasted_g / found.mass_g if found.mass_g > 0.0 else 0.0
    if stray > STRAY:
        out.append(
            Finding(
                code="plating.stray",
                where="tails and flange",
                says="So much of the metal goes where it is not wanted.",
                verdict="caution",
                value=100.0 * stray,
                unit="%",
                limit=100.0 * STRAY,
                limit_source="assumed by this project",
                do="cover tails and flange with wax or varnish, up to the margin",
            )
        )
    return out


def trusted(found: ThicknessMap) -> bool:
    """Whether the growth holds its metal, so that the programme may go by its hours."""
    return abs(found.closure) <= CLOSURE and found.correction <= STRETCH


def _closure(found: ThicknessMap) -> Finding | None:
    """Whether as much metal has grown as the charge gives."""
    if abs(found.closure) <= CLOSURE:
        return None
    return Finding(
        code="plating.closure",
        where="the computed growth",
        says="Charge in and metal grown differ: do not use this map.",
        verdict="stop",
        value=100.0 * found.closure,
        unit="%",
        limit=100.0 * CLOSURE,
        limit_source="this project's own bound",
        do="go by areas and the balance, and look at floors and inner edges",
    )


def _correction(found: ThicknessMap) -> Finding | None:
    """Whether the growth had to be stretched so much that thickness in one place is not to be trusted."""
    if found.correction <= STRETCH:
        return None
    return Finding(
        code="plating.stretch",
        where="the computed growth",
        says="A growth step was stretched this much to hold the metal: a cup is nearly full, the map rough.",
        verdict="caution",
        value=100.0 * found.correction,
        unit="%",
        limit=100.0 * STRETCH,
        limit_source="this project's own bound",
        do="trust the early hours of the map more than the late ones, and measure at the thinnest spots",
    )


def _local(hottest: MappedPiece, bath: Bath) -> Finding:
    over = hottest.highest_A_m2 > bath.density_limit_A_m2
    return Finding(
        code="plating.burning",
        where=f"rim of {hottest.name}",
        says="The densest spot passes the bath's highest density: it may burn or grow nodules."
        if over
        else "No spot passes the bath's highest density.",
        verdict="caution" if over else "clear",
        value=hottest.highest_A_m2 / 100.0,
        unit="A/dm2",
        limit=bath.density_limit_A_m2 / 100.0,
        limit_source=f"reference set {bath.name}, {bath.basis['limit']}",
        do="lower the current, or cover the rim with a band of wax" if over else "",
    )


def _lean(hottest: MappedPiece, bath: Bath) -> Finding | None:
    share = hottest.highest_A_m2 / bath.limiting_A_m2
    if share <= DEPLETED:
        return None
    return Finding(
        code="plating.lean",
        where=hottest.name,
        says="At the densest spot the liquid may run out of metal; the map does not see that.",
        verdict="caution",
        value=100.0 * share,
        unit="% of the limiting current",
        limit=100.0 * DEPLETED,
        limit_source="assumed by this project; the limiting current is an estimate to a factor of two",
        do="mouths upwards, move the bath into the cups, or lower the current",
    )


def film_finding(found: ThicknessMap, film_ohm: float) -> Finding | None:
    """Whether the bare film lets the start current reach every place; None for a film that conducts well."""
    if film_ohm <= 0.0:
        return None
    far = found.start_least < FAR
    return Finding(
        code="plating.film",
        where="the first hour",
        says="While the film is bare, little of the start current reaches the places farthest from the lead."
        if far
        else "The start current reaches every place of the bare film.",
        verdict="caution" if far else "clear",
        value=100.0 * found.start_least,
        unit="% of the mean density",
        limit=100.0 * FAR,
        limit_source="assumed by this project",
        do="bring a second lead to the far side, coat once more, or start with less" if far else "",
    )


def calibration_findings(found: Calibration | None, bath: Bath) -> list[Finding]:
    """Whether the cell's readings hang together, and whether the bath is known at all."""
    if found is not None and found.misfit > 2.0:
        return [
            Finding(
                code="plating.calibration",
                where="the small cell",
                says="The readings in the small cell contradict each other by more than their uncertainty.",
                verdict="caution",
                value=found.misfit,
                unit="times their uncertainty",
                limit=2.0,
                limit_source="95 % of a normal spread",
                do="read again: plates parallel, fully covered, voltage at the plates",
            )
        ]
    low, high = bath.exchange_range_A_m2
    if high > 4.0 * low:
        return [
            Finding(
                code="plating.unknown_bath",
                where=bath.name,
                says=f"The exchange current is only known to lie between {low:g} and {high:g} A/m2; the map "
                "shows what that costs.",
                verdict="cannot tell",
                value=bath.exchange_A_m2,
                unit="A/m2",
                limit_source=bath.basis["exchange"],
                do="read currents and voltages in a two-distance cell of the same bath",
            )
        ]
    return []


def metal_finding(bath: Bath, die: str) -> Finding | None:
    """Whether the bath plates the metal the die is said to be of."""
    if die.split()[0] == bath.metal:
        return None
    return Finding(
        code="plating.metal",
        where="bath",
        says=f"The die is stated as {die}, the bath deposits {bath.metal}.",
        verdict="stop",
        limit_source="the case",
        do="correct chain.die or plating.bath.name",
    )
