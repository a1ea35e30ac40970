"""Cautions printed where the hazard is: only those that this case's chain meets."""

from __future__ import annotations

from pinseat.case.model import Case

ALWAYS = (
    "Not a medical device. Decision support for licensed people, who follow local codes, the makers' sheets "
    "and their own judgement.",
    "Pinholes weaken the tooth and may come close to the pulp: a surface scan shows neither. Never press a "
    "bridge that binds; a wedged pin splits the tooth.",
    "Loose pins can be swallowed or inhaled: secure them, and count them at each visit.",
)

_PLATED = (
    "Plating: only an isolated low-voltage supply; gloves, eye protection, licensed disposal. Rinse an "
    "impression disinfected with hypochlorite long under running water before any bath."
)
_ACID = "Acid copper baths burn, free chlorine from hypochlorite, and must never come near cyanide."
_CYANIDE = (
    "Silver cyanide baths: only by qualified people under local law, never near acid. Cyanide-free silver "
    "baths are offered."
)
_PICKLE = (
    "Pickling acid: pour acid into water, never the reverse; no hot casting into it; keep everything from a "
    "cyanide bath away from it."
)
_INVESTMENT = "Investment powder holds silica: extraction and a fitted mask, also when devesting."
_LINER = (
    "Never asbestos: ceramic or wet cellulose as ring liner, wax sheet as relief. A wet liner adds "
    "expansion: the expansion stated must be that with your liner."
)
_BURNOUT = "Burnout gives harmful fumes: extraction over the furnace."
_BASE_METAL = {
    "nickel chromium": "Nickel chromium: nickel sensitises, so ask for allergies; take a beryllium-free "
    "alloy and grind under extraction.",
    "cobalt chromium": "Cobalt chromium: take a nickel- and beryllium-free alloy and grind under extraction.",
}


def cautions(case: Case) -> tuple[str, ...]:
    """The cautions that apply to a case.

    Parameters
    ----------
    case : Case

    Returns
    -------
    tuple of str
        General ones first, then in the order of the work.
    """
    chain = case.chain
    said = list(ALWAYS)
    if chain.die in ("silver plated", "copper plated"):
        said.append(_PLATED)
    if chain.die == "silver plated":
        said.append(_CYANIDE)
    if chain.die == "copper plated":
        said.append(_ACID)
    said.extend((_INVESTMENT, _LINER, _BURNOUT))
    said.append(_BASE_METAL.get(chain.alloy, _PICKLE))
    return tuple(said)
