"""Hazards of the chosen materials: said where they are chosen."""

from __future__ import annotations

from pinseat.case.model import Chain
from pinseat.ledger.findings import Finding
from pinseat.reference import value

HIGH_FUSING = ("nickel chromium", "cobalt chromium", "high palladium")


def hazards(chain: Chain) -> tuple[Finding, ...]:
    """Findings on what the chosen investment and alloy can do to lungs and casting.

    Parameters
    ----------
    chain : Chain

    Returns
    -------
    tuple of Finding
        Gypsum with a high-fusing alloy stops the work; nickel and ammonia are cautions.
    """
    found = []
    if chain.investment == "gypsum bonded" and chain.alloy in HIGH_FUSING:
        found.append(_sulfur(chain))
    if chain.alloy == "nickel chromium":
        found.append(_nickel())
    if chain.investment == "phosphate bonded":
        found.append(_ammonia())
    return tuple(found)


def _sulfur(chain: Chain) -> Finding:
    needed, limit = (
        value("alloy.high_fusing.mould_temperature_degC"),
        value("investment.gypsum_bonded.mould_limit_degC"),
    )
    return Finding(
        code="casting.sulfur",
        where=f"{chain.alloy} in gypsum-bonded investment",
        says="This alloy needs a mould hotter than gypsum stands: it breaks down and gives off sulfur gases.",
        verdict="stop",
        value=needed.value,
        uncertainty=needed.uncertainty,
        unit="degC",
        limit=limit.value,
        limit_source=limit.cited,
        do="take a phosphate-bonded investment",
    )


def _nickel() -> Finding:
    limit, air = value("hazard.beryllium_in_alloy_percent"), value("hazard.beryllium_in_air_ug_m3")
    return Finding(
        code="casting.nickel",
        where="nickel chromium",
        says="Nickel sensitises; some of these alloys hold beryllium, whose dust and fumes harm the lungs.",
        verdict="caution",
        unit="% beryllium",
        limit=limit.value,
        limit_source=f"{limit.cited}; in the air {air.value:g} ug/m3, {air.reference}",
        do="take an alloy free of beryllium, ask the patient about nickel, grind under extraction",
    )


def _ammonia() -> Finding:
    return Finding(
        code="casting.ammonia",
        where="phosphate-bonded investment",
        says="The ring gives off ammonia while it burns out.",
        verdict="caution",
        limit_source="dental materials textbooks, as remembered (from memory); no figure stated",
        do="burn out under extraction and keep your face away from the open furnace",
    )
