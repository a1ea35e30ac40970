"""The span as a beam against a table and against beam elements."""

import numpy as np
import pytest

from pinseat.casting.beam import height_for_mm, sag_mm, stress_MPa


@pytest.mark.parametrize(("ends", "sag", "moment"), [("free", 48.0, 4.0), ("fixed", 192.0, 8.0)])
def test_table_of_beams(ends: str, sag: float, moment: float) -> None:
    """Load at mid-span: P L^3/(48 E I) and P L/4; both ends built in: P L^3/(192 E I) and P L/8.

    Young and Budynas, Roark's Formulas for Stress and Strain, table 8.1, cases 1e and 1d (from memory).
    """
    inertia, modulus = 2.5 * 3.0**3 / 12.0, 90.0
    assert sag_mm(100.0, 20.0, modulus, 2.5, 3.0, ends) == pytest.approx(
        100.0 * 20.0**3 / (sag * 90e3 * inertia), rel=1e-12
    )
    assert stress_MPa(100.0, 20.0, 2.5, 3.0, ends) == pytest.approx(
        100.0 * 20.0 / moment * 1.5 / inertia, rel=1e-12
    )


@pytest.mark.parametrize("ends", ["free", "fixed"])
def test_beam_elements_give_the_same_sag_and_moment(ends: str) -> None:
    """Two cubic elements, exact for a load at a node; assembled here from the element matrix."""
    load, span, modulus, width, height = 256.0, 30.0, 90.0, 2.5, 3.0
    rigidity, length = 1000.0 * modulus * width * height**3 / 12.0, span / 2.0
    a = length
    element = (
        rigidity
        / a**3
        * np.array(
            [
                [12.0, 6 * a, -12.0, 6 * a],
                [6 * a, 4 * a * a, -6 * a, 2 * a * a],
                [-12.0, -6 * a, 12.0, -6 * a],
                [6 * a, 2 * a * a, -6 * a, 4 * a * a],
            ]
        )
    )
    whole = np.zeros((6, 6))
    whole[:4, :4] += element
    whole[2:, 2:] += element
    free = [1, 2, 3, 5] if ends == "free" else [2, 3]
    force = np.zeros(6)
    force[2] = load
    moved = np.zeros(6)
    moved[free] = np.linalg.solve(whole[np.ix_(free, free)], force[free])
    inner = element @ moved[:4]
    assert sag_mm(load, span, modulus, width, height, ends) == pytest.approx(moved[2], rel=1e-10)
    largest = max(abs(inner[1]), abs(inner[3]))
    assert stress_MPa(load, span, width, height, ends) == pytest.approx(
        6.0 * largest / (width * height**2), rel=1e-10
    )


def test_smyds_rules_of_the_connector() -> None:
    """Sag goes with the cube of the span and the inverse cube of the height, and with the inverse width.

    Smyd, as taught for bridges (Shillingburg, from memory): twice the span bends eight times as far, half the
    height eight times as far, half the width twice as far.
    """
    plain = sag_mm(100.0, 10.0, 90.0, 3.0, 3.0, "free")
    assert sag_mm(100.0, 20.0, 90.0, 3.0, 3.0, "free") == pytest.approx(8.0 * plain)
    assert sag_mm(100.0, 30.0, 90.0, 3.0, 3.0, "free") == pytest.approx(27.0 * plain)
    assert sag_mm(100.0, 10.0, 90.0, 3.0, 1.5, "free") == pytest.approx(8.0 * plain)
    assert sag_mm(100.0, 10.0, 90.0, 1.5, 3.0, "free") == pytest.approx(2.0 * plain)


def test_needed_height_is_the_height_at_which_the_stress_is_reached() -> None:
    height = height_for_mm(314.0, 30.0, 2.5, 270.0)
    assert stress_MPa(314.0, 30.0, 2.5, height, "free") == pytest.approx(270.0, rel=1e-12)
