"""What a bath can do to people, said where it is chosen. No recipe is given anywhere."""

from __future__ import annotations

from pinseat.ledger.findings import Finding
from pinseat.plating.baths import Bath
from pinseat.reference import value

GENERAL = (
    "Qualified people only, under local law; the maker's sheets of bath and metal decide. Isolated, "
    "current-limited low-voltage supply; local exhaust; gloves, eye protection; no food or drink.",
    "Rinse an impression that was disinfected with hypochlorite long under running water before it meets "
    "any bath: with acid it gives chlorine, with cyanide a poisonous gas.",
    "Spent bath and rinse water are waste for a licensed handler, never for the drain; silver goes to a "
    "refiner.",
)
"""For every bath."""
CYANIDE = (
    "Cyanide: deadly by mouth, skin and breath; any acid frees its gas, which many people cannot smell. No "
    "acid in the room, not even a pickling or copper bath; two people, gas alarm, antidote under medical "
    "direction, separate drains and stores. A set without cyanide is the default."
)
ACID = (
    "Acid copper bath: acid burns; it must never come near cyanide, nor a piece that was in a cyanide bath. "
    "Pour acid into water, never the reverse."
)
FREE = "Free of cyanide is not harmless: silver salts stain and burn, and the maker's sheet names the rest."


def cautions_of(bath: Bath) -> tuple[str, ...]:
    """The cautions that belong on a sheet for a bath, the gravest first.

    Parameters
    ----------
    bath : Bath

    Returns
    -------
    tuple of str
    """
    first = {"silver cyanide": CYANIDE, "acid copper": ACID, "silver cyanide-free": FREE}[bath.name]
    return (first, *GENERAL)


def hazard_findings(bath: Bath) -> tuple[Finding, ...]:
    """Findings on the bath that was chosen; none for the set without cyanide: its sheet has its cautions.

    Parameters
    ----------
    bath : Bath

    Returns
    -------
    tuple of Finding
    """
    if bath.name == "silver cyanide":
        air = value("hazard.hydrogen_cyanide_ppm")
        return (
            Finding(
                code="plating.cyanide",
                where="silver cyanide bath",
                says="This bath can kill: acid of any kind frees a gas that many people cannot smell.",
                verdict="caution",
                unit="ppm",
                limit=air.value,
                limit_source=f"{air.reference} for hydrogen cyanide in the air ({air.basis})",
                do="work only as qualified people under local law, with no acid in the room; or take the set "
                'without cyanide: [plating.bath] name = "silver cyanide-free"',
            ),
        )
    if bath.name == "acid copper":
        return (
            Finding(
                code="plating.acid",
                where="acid copper bath",
                says="The acid burns, frees chlorine from hypochlorite and a deadly gas from cyanide.",
                verdict="caution",
                limit_source="common practice, no source",
                do="rinse disinfected impressions long before; keep every cyanide out of the room",
            ),
        )
    return ()
