"""How much metal to weigh: the pattern's volume in metal, with the button."""

from __future__ import annotations

import math

from pinseat.case.model import Case
from pinseat.casting.model import Metal
from pinseat.reference import value


def metal_of(case: Case) -> Metal | None:
    """Weigh the melt from the pattern.

    ``m = m_pattern rho_alloy / rho_pattern + button``. While it freezes, the casting loses about a twentieth
    of its volume; sprue and button must feed that.

    Parameters
    ----------
    case : Case

    Returns
    -------
    Metal or None
        None when the pattern has not been weighed.
    """
    pattern = case.casting.pattern_g
    if pattern is None:
        return None
    wax = value(f"pattern.{case.chain.pattern.replace(' ', '_')}.density_g_cm3")
    usual = value(f"alloy.{case.chain.alloy.replace(' ', '_')}.density_g_cm3")
    stated = case.casting.alloy_density_g_cm3
    density, u_density = (stated, 0.0) if stated is not None else (usual.value, usual.uncertainty or 0.0)
    casting = pattern * density / wax.value
    shares = (case.casting.u_pattern_g / pattern, u_density / density, (wax.uncertainty or 0.0) / wax.value)
    volume = 1000.0 * pattern / wax.value
    button = case.casting.button_g
    if button is None:
        button = value("casting.button_volume_mm3").value * density / 1000.0
    loss = value("alloy.gold.freezing_volume_shrinkage_percent").value / 100.0
    return Metal(
        pattern_g=pattern,
        u_pattern_g=case.casting.u_pattern_g,
        volume_mm3=volume,
        density_g_cm3=density,
        casting_g=casting,
        button_g=button,
        melt_g=casting + button,
        u_melt_g=casting * math.hypot(*shares),
        feed_mm3=volume * loss / (1.0 - loss),
    )
