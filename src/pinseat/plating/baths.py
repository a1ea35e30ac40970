"""A bath as the bench knows it: a set of reference values, with what a person knows better in their place."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from scipy import constants

from pinseat.case.plating import Bath as StatedBath
from pinseat.case.plating import BathName
from pinseat.plating.faraday import FARADAY_C_MOL, mass_per_charge_mg_C, volume_per_charge_mm3_mAh
from pinseat.reference import value

Metal = Literal["silver", "copper"]
_ELECTRONS: dict[Metal, int] = {"silver": 1, "copper": 2}
STATED = "stated in the case"
CALIBRATED = "calibrated here"


@dataclass(frozen=True)
class Bath:
    """What is known about a bath.

    Attributes
    ----------
    name : str
    metal : {"silver", "copper"}
    electrons : int
    molar_mass_g_mol, density_g_cm3, u_density_g_cm3 : float
        Of the metal.
    conductivity_S_m, u_conductivity_S_m : float
    exchange_A_m2 : float
        Exchange current density.
    exchange_range_A_m2 : tuple of float
        Its lowest and highest; equal to it when it was stated without doubt.
    cathodic, anodic : float
        Transfer coefficients times the electrons of the step.
    temperature_degC : float
    efficiency, u_efficiency : float
        Share of the charge that becomes metal, 0 to 1.
    density_limit_A_m2 : float
        Highest current density.
    limiting_A_m2 : float
        Density at which the ions at the surface run out: an estimate.
    basis : dict of str to str
        Where each of ``conductivity``, ``exchange``, ``efficiency``, ``limit``, ``temperature`` comes from.
    """

    name: BathName
    metal: Metal
    electrons: int
    molar_mass_g_mol: float
    density_g_cm3: float
    u_density_g_cm3: float
    conductivity_S_m: float
    u_conductivity_S_m: float
    exchange_A_m2: float
    exchange_range_A_m2: tuple[float, float]
    cathodic: float
    anodic: float
    temperature_degC: float
    efficiency: float
    u_efficiency: float
    density_limit_A_m2: float
    limiting_A_m2: float
    basis: dict[str, str]

    @property
    def growth_mm3_mAh(self) -> float:
        """Metal for each mAh, efficiency included."""
        return self.efficiency * volume_per_charge_mm3_mAh(
            self.molar_mass_g_mol, self.electrons, self.density_g_cm3
        )

    @property
    def mass_mg_C(self) -> float:
        """Metal for each coulomb at full efficiency."""
        return mass_per_charge_mg_C(self.molar_mass_g_mol, self.electrons)


def bath_name(stated: StatedBath, die: str) -> BathName:
    """Which set a case takes; without a word on it, never the one with cyanide.

    Examples
    --------
    >>> bath_name(StatedBath(), "silver plated"), bath_name(StatedBath(), "copper plated")
    ('silver cyanide-free', 'acid copper')
    """
    return stated.name or ("acid copper" if die == "copper plated" else "silver cyanide-free")


def bath_of(stated: StatedBath, die: str, *, mouth: str = "up") -> Bath:
    """The bath of a case.

    Parameters
    ----------
    stated : pinseat.case.plating.Bath
    die : str
        Route of the die: ``silver plated`` or ``copper plated``.
    mouth : {"up", "down", "sideways"}
        Where the cups open to; with the stirring it decides how thick the depleted layer is.

    Returns
    -------
    Bath
    """
    name = bath_name(stated, die)
    key = name.replace(" ", "_").replace("-", "_")
    metal: Metal = "copper" if name == "acid copper" else "silver"
    conductivity, u_conductivity = _conductivity(stated, key)
    efficiency = value(f"bath.{key}.efficiency_percent")
    limit = value(f"bath.{key}.density_limit_A_dm2")
    exchange, ends = _exchange(stated, key)
    temperature = stated.temperature_degC
    own = stated.efficiency_percent
    density = value(f"metal.{metal}.density_g_cm3")
    return Bath(
        name=name,
        metal=metal,
        electrons=_ELECTRONS[metal],
        molar_mass_g_mol=value(f"metal.{metal}.molar_mass_g_mol").value,
        density_g_cm3=density.value,
        u_density_g_cm3=density.uncertainty or 0.0,
        conductivity_S_m=conductivity,
        u_conductivity_S_m=u_conductivity,
        exchange_A_m2=exchange,
        exchange_range_A_m2=ends,
        cathodic=value(f"bath.{key}.cathodic_transfer_ratio").value,
        anodic=value(f"bath.{key}.anodic_transfer_ratio").value,
        temperature_degC=value(f"bath.{key}.temperature_degC").value if temperature is None else temperature,
        efficiency=(efficiency.value if own is None else own) / 100.0,
        u_efficiency=(efficiency.uncertainty or 0.0) / 100.0 if own is None else 0.0,
        density_limit_A_m2=100.0 * (stated.density_limit_A_dm2 or limit.value),
        limiting_A_m2=limiting_A_m2(key, _ELECTRONS[metal], stirred=stated.stirred, mouth=mouth),
        basis=_basis(stated, key),
    )


def limiting_A_m2(key: str, electrons: int, *, stirred: bool, mouth: str) -> float:
    """Limiting current density: ``n F D c / delta``, an estimate to a factor of two or three.

    Parameters
    ----------
    key : str
        Name of the set inside the reference data, such as ``silver_cyanide``.
    electrons : int
    stirred : bool
    mouth : {"up", "down", "sideways"}
        A mouth that looks down traps the depleted, lighter liquid: stirring then counts for nothing.

    Returns
    -------
    float
        A/m2.
    """
    still = "stirred" if stirred and mouth != "down" else "still"
    layer_mm = value(f"plating.diffusion_layer_{still}_mm").value
    ions, diffusivity = value(f"bath.{key}.ion_mol_m3").value, value(f"bath.{key}.diffusivity_m2_s").value
    return electrons * FARADAY_C_MOL * diffusivity * ions / (1e-3 * layer_mm)


def _conductivity(stated: StatedBath, key: str) -> tuple[float, float]:
    found = value(f"bath.{key}.conductivity_S_m")
    if stated.conductivity_S_m is None:
        return found.value, found.uncertainty or 0.0
    if stated.u_conductivity_S_m is not None:
        return stated.conductivity_S_m, stated.u_conductivity_S_m
    share = value("plating.conductivity_meter_percent").uncertainty or 0.0
    return stated.conductivity_S_m, share / 100.0 * stated.conductivity_S_m


def _exchange(stated: StatedBath, key: str) -> tuple[float, tuple[float, float]]:
    own = stated.exchange_current_A_m2
    if own is not None:
        return own, (own, own)
    low, middle, high = (
        value(f"bath.{key}.exchange_current{end}_A_m2").value for end in ("_low", "", "_high")
    )
    return middle, (low, high)


def _basis(stated: StatedBath, key: str) -> dict[str, str]:
    def of(own: float | None, name: str) -> str:
        if own is not None:
            return STATED
        found = value(f"bath.{key}.{name}")
        return f"{found.basis}: {found.reference}" if found.basis == "published" else found.basis

    return {
        "conductivity": of(stated.conductivity_S_m, "conductivity_S_m"),
        "exchange": of(stated.exchange_current_A_m2, "exchange_current_A_m2"),
        "efficiency": of(stated.efficiency_percent, "efficiency_percent"),
        "limit": of(stated.density_limit_A_dm2, "density_limit_A_dm2"),
        "temperature": of(stated.temperature_degC, "temperature_degC"),
    }


def thermal_V(temperature_degC: float) -> float:
    """``RT / F``, in V.

    Examples
    --------
    >>> round(thermal_V(25.0), 5)
    0.02569
    """

    return float(constants.R * (273.15 + temperature_degC) / FARADAY_C_MOL)
