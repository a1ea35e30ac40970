"""Charge, metal and thickness against CODATA, IUPAC and published trade tables."""

import math

import pytest

from pinseat.plating.faraday import (
    FARADAY_C_MOL,
    cylinder_thickness_mm,
    density_A_m2,
    hours,
    mass_per_charge_mg_C,
    thickness_mm,
    volume_per_charge_mm3_mAh,
)
from pinseat.reference import value

SILVER, COPPER = 107.8682, 63.546


def test_faraday_constant_is_codata() -> None:
    """CODATA 2018, exact since the SI of 2019: e N_A = 1.602176634e-19 x 6.02214076e23."""
    assert pytest.approx(1.602176634e-19 * 6.02214076e23, rel=1e-12) == FARADAY_C_MOL
    assert pytest.approx(96485.33212331, abs=1e-8) == FARADAY_C_MOL


def test_molar_masses_are_iupacs() -> None:
    """IUPAC standard atomic weights: silver 107.8682(2), copper 63.546(3)."""
    assert value("metal.silver.molar_mass_g_mol").value == SILVER
    assert value("metal.copper.molar_mass_g_mol").value == COPPER


@pytest.mark.parametrize(
    ("mass", "electrons", "density", "g_Ah", "um_min"),
    [(SILVER, 1, 10.50, 4.02, 0.639), (COPPER, 2, 8.92, 1.186, 0.222), (COPPER, 1, 8.92, 2.37, 0.443)],
)
def test_trade_tutorial(mass: float, electrons: int, density: float, g_Ah: float, um_min: float) -> None:
    """A published trade tutorial, table of deposition rates: g/Ah, and um/min at 1 A/dm2.

    Its last digit, and 0.01 % for the atomic weights it took: with 63.55 copper is 1.1856, printed 1.186.
    """
    digit = 10.0 ** -len(str(g_Ah).partition(".")[2])
    assert 3.6 * mass_per_charge_mg_C(mass, electrons) == pytest.approx(g_Ah, abs=0.5 * digit + 1e-4 * g_Ah)
    mAh_for_a_minute = 1000.0 / 60.0
    um = 1e3 * thickness_mm(mAh_for_a_minute, 1e4, volume_per_charge_mm3_mAh(mass, electrons, density))
    assert um == pytest.approx(um_min, abs=6e-4)


def test_makers_data_sheet() -> None:
    """Open data sheet of a silver process: 0.067 g/A min, 100 g in 25 Ah, 5 um in 7.5 min at 1 A/dm2."""
    assert 60e-3 * mass_per_charge_mg_C(SILVER, 1) == pytest.approx(0.067, abs=5e-4)
    assert 25 * 3.6 * mass_per_charge_mg_C(SILVER, 1) == pytest.approx(100, abs=1.0)
    growth = volume_per_charge_mm3_mAh(SILVER, 1, 10.5)
    assert 60 * hours(5e-3, 1e4, 1000.0, growth) == pytest.approx(7.5, abs=0.5)


def test_handbook_ampere_hours() -> None:
    """Handbook (from memory): silver 6.2 Ah for a square foot and 0.001 inch, copper 17.7.

    The density is not stated there: 8.89 to 8.96 g/cm3 for copper moves its figure from 17.70 to 17.84.
    """
    foot2_mm2, mil_mm = 304.8**2, 0.0254
    for mass, electrons, density, ampere_hours in ((SILVER, 1, 10.5, 6.2), (COPPER, 2, 8.89, 17.7)):
        growth = volume_per_charge_mm3_mAh(mass, electrons, density)
        assert hours(mil_mm, foot2_mm2, 1000.0, growth) == pytest.approx(ampere_hours, abs=0.06)


@pytest.mark.parametrize(
    ("area", "density", "after_8h", "after_12h", "half", "three_quarters"),
    [
        (60.0, 166.7, 0.511, 0.767, 7.83, 11.74),
        (100.0, 100.0, 0.307, 0.460, 13.04, 19.57),
        (150.0, 66.7, 0.204, 0.307, 19.57, 29.35),
    ],
)
def test_ten_milliamperes(
    area: float, density: float, after_8h: float, after_12h: float, half: float, three_quarters: float
) -> None:
    """Worked by hand from CODATA and IUPAC: 10 mA of silver (10.50 g/cm3) is 3.83306 mm3/h."""
    growth = volume_per_charge_mm3_mAh(SILVER, 1, 10.50)
    assert 10 * growth == pytest.approx(3.83306, abs=5e-6)
    assert density_A_m2(10.0, area) == pytest.approx(density, abs=0.05)
    assert thickness_mm(80.0, area, growth) == pytest.approx(after_8h, abs=5e-4)
    assert thickness_mm(120.0, area, growth) == pytest.approx(after_12h, abs=5e-4)
    assert hours(0.5, area, 10.0, growth) == pytest.approx(half, abs=5e-3)
    assert hours(0.75, area, 10.0, growth) == pytest.approx(three_quarters, abs=5e-3)


@pytest.mark.parametrize(("volume", "inside"), [(30.6645, 0.17887), (45.9967, 0.27202)])
def test_a_bore_grows_thicker_than_a_plate(volume: float, inside: float) -> None:
    """Closed form of a ring of metal in a bore of 3.5 mm, 8 mm long; volumes of 8 and 12 h at 10 mA."""
    assert cylinder_thickness_mm(volume, 3.5, 8.0) == pytest.approx(inside, abs=5e-6)
    post = cylinder_thickness_mm(volume, -3.5, 8.0)
    assert math.pi * 8.0 * ((3.5 + post) ** 2 - 3.5**2) == pytest.approx(volume, rel=1e-12)
    assert post < volume / (2 * math.pi * 3.5 * 8.0) < inside
    assert math.isnan(cylinder_thickness_mm(400.0, 3.5, 8.0))
