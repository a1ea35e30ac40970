"""What is checked of a planned plating."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from pinseat.errors import PlatingError
from pinseat.ledger.findings import Finding
from pinseat.plating.baths import STATED, Bath
from pinseat.plating.calibration import Calibration
from pinseat.plating.covering import Round
from pinseat.plating.pieces import Piece
from pinseat.plating.plan import highest_current_mA
from pinseat.plating.result import Aim, MappedPiece, Suggestion, ThicknessMap
from pinseat.plating.shares import Pool, Share
from pinseat.reference import value


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
        limit_source=aim.minimum_source,
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
        limit_source=aim.rim_source,
        do="cover the rim with a band of wax, or lower the current" if over else "",
    )


def check_current(pool: Pool, pieces: Sequence[Piece], bath: Bath) -> None:
    """Refuse a current that cannot be meant.

    Raises
    ------
    PlatingError
        When the mean density of all pieces together is several times the bath's highest.
    """
    density = 1e3 * pool.current_mA / pool.area_mm2
    if density > value("plating.meant_density_ratio").value * bath.density_limit_A_m2:
        raise PlatingError(
            "this current is far above what the bath takes",
            where="plating.current_mA",
            value=f"{pool.current_mA:g} mA, {density / 100.0:.1f} A/dm² on the mean",
            limit=f"{bath.density_limit_A_m2 / 100.0:g} A/dm², {limit_source(bath)}",
            do=f"set at most {highest_current_mA(pieces, bath):.0f} mA for all pieces together",
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
    return Finding(
        code="plating.density",
        where=where,
        says=says,
        verdict="stop" if verdict == "stop" else "clear",
        value=share.density_A_m2 / 100.0,
        uncertainty=share.density_A_m2 / 100.0 * share.u_area_mm2 / share.area_mm2 or None,
        unit="A/dm2",
        limit=bath.density_limit_A_m2 / 100.0,
        limit_source=limit_source(bath),
        do=do,
    )


def limit_source(bath: Bath) -> str:
    """Where the highest density of a bath comes from."""
    source = bath.basis["limit"]
    return source if source == STATED else f"reference set {bath.name}, {source}"


def split_finding(pool: Pool, shares: Sequence[Share]) -> Finding | None:
    """How uneven an equal split leaves the pieces; None for one piece alone."""
    if len(shares) < 2:
        return None
    low, high = (pick(shares, key=lambda share: share.mean_mm) for pick in (min, max))
    most = value("plating.uneven_ratio")
    uneven = high.mean_mm > most.value * low.mean_mm
    each = ", ".join(f"{share.name} {share.even_mA:.1f}" for share in shares)
    return Finding(
        code="plating.split",
        where="pieces",
        says=f"Each with the same current, the pieces have {low.mean_mm:.2f} to {high.mean_mm:.2f} mm on the "
        f"mean when all together have {pool.mean_mm:.2f}; the thinnest spots have less.",
        verdict="caution" if uneven else "clear",
        value=high.mean_mm / low.mean_mm,
        unit="times",
        limit=most.value,
        limit_source=most.cited,
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
    stray = 100.0 * found.wasted_g / found.mass_g if found.mass_g > 0.0 else 0.0
    most = value("plating.stray_percent")
    if stray > most.value:
        out.append(
            Finding(
                code="plating.stray",
                where="tails and flange",
                says="So much of the metal goes where it is not wanted.",
                verdict="caution",
                value=stray,
                unit="%",
                limit=most.value,
                limit_source=most.cited,
                do="cover tails and flange with wax or varnish, up to the margin",
            )
        )
    return out


def trusted(found: ThicknessMap) -> bool:
    """Whether the growth holds its metal, so that the programme may go by its hours."""
    return _closure(found) is None and _correction(found) is None


def _closure(found: ThicknessMap) -> Finding | None:
    """Whether as much metal has grown as the charge gives."""
    most = value("plating.closure_percent")
    if 100.0 * abs(found.closure) <= most.value:
        return None
    return Finding(
        code="plating.closure",
        where="the computed growth",
        says="Charge in and metal grown differ: do not use this map.",
        verdict="stop",
        value=100.0 * found.closure,
        unit="%",
        limit=most.value,
        limit_source=most.cited,
        do="go by areas and the balance, and look at floors and inner edges",
    )


def _correction(found: ThicknessMap) -> Finding | None:
    """Whether the growth had to be stretched so much that thickness in one place is not to be trusted."""
    most = value("plating.stretch_percent")
    if 100.0 * found.correction <= most.value:
        return None
    return Finding(
        code="plating.stretch",
        where="the computed growth",
        says="A growth step was stretched this much to hold the metal: a cup is nearly full, the map rough.",
        verdict="caution",
        value=100.0 * found.correction,
        unit="%",
        limit=most.value,
        limit_source=most.cited,
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
        limit_source=limit_source(bath),
        do="lower the current, or cover the rim with a band of wax" if over else "",
    )


def _lean(hottest: MappedPiece, bath: Bath) -> Finding | None:
    share = 100.0 * hottest.highest_A_m2 / bath.limiting_A_m2
    most = value("plating.depleted_percent")
    if share <= most.value:
        return None
    return Finding(
        code="plating.lean",
        where=hottest.name,
        says="At the densest spot the liquid may run out of metal; the map does not see that.",
        verdict="caution",
        value=share,
        unit="% of the limiting current",
        limit=most.value,
        limit_source=f"{most.cited}; the limiting current is an estimate to a factor of two",
        do="mouths upwards, move the bath into the cups, or lower the current",
    )


def film_finding(found: ThicknessMap, film_ohm: float) -> Finding | None:
    """Whether the bare film lets the start current reach every place; None for a film that conducts well."""
    if film_ohm <= 0.0:
        return None
    least, share = value("plating.film_share_percent"), 100.0 * found.start_least
    far = share < least.value
    return Finding(
        code="plating.film",
        where="the first hour",
        says="While the film is bare, little of the start current reaches the places farthest from the lead."
        if far
        else "The start current reaches every place of the bare film.",
        verdict="caution" if far else "clear",
        value=share,
        unit="% of the mean density",
        limit=least.value,
        limit_source=least.cited,
        do="bring a second lead to the far side, coat once more, or start with less" if far else "",
    )


def bare_finding(rounds: Sequence[Round]) -> Finding | None:
    """Whether metal covers the film by the first look; None for a film that conducts well."""
    if not rounds:
        return None
    most, first, last = value("plating.bare_percent"), rounds[0], rounds[-1]
    told = Finding(
        code="plating.bare",
        where=", ".join(first.where) or "pieces",
        says="Metal covers the whole film by the first look.",
        verdict="clear",
        value=first.bare_percent,
        unit="% of the surface bare",
        limit=most.value,
        limit_source=most.cited,
    )
    if first.bare_percent <= most.value:
        return told
    if last.bare_percent > most.value:
        says = f"Part of the film is bare at the first look, and {last.bare_mm2:.0f} mm2 after coating it "
        do = "bring a second lead to the bare places, or take a film that conducts better"
        return replace(told, says=f"{says}again {len(rounds) - 1} times.", verdict="stop", do=do)
    says = f"Of the film {first.bare_mm2:.0f} mm2 are bare at the first look; the programme coats it again."
    do = "coat the bare places again and repeat the start current, or bring a second lead to them"
    return replace(told, says=says, verdict="caution", do=do)


def calibration_findings(found: Calibration | None, bath: Bath) -> list[Finding]:
    """Whether the cell's readings hang together, and whether the bath is known at all."""
    most = value("plating.calibration_misfit_ratio")
    if found is not None and found.misfit > most.value:
        return [
            Finding(
                code="plating.calibration",
                where="the small cell",
                says="The readings in the small cell contradict each other by more than their uncertainty.",
                verdict="caution",
                value=found.misfit,
                unit="times their uncertainty",
                limit=most.value,
                limit_source=most.cited,
                do="read again: plates parallel, fully covered, voltage at the plates",
            )
        ]
    low, high = bath.exchange_range_A_m2
    known = value("plating.exchange_known_ratio")
    if high > known.value * low:
        return [
            Finding(
                code="plating.unknown_bath",
                where=bath.name,
                says=f"The exchange current is only known to lie between {low:g} and {high:g} A/m2 "
                f"({bath.basis['exchange']}); the map shows what that costs.",
                verdict="cannot tell",
                value=high / low,
                unit="times the lowest",
                limit=known.value,
                limit_source=known.cited,
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
