"""Crown sizes against measurements in people and against the proportions of sound dentitions."""

import pytest

from pinseat.reference import value, values


def width(tooth: int) -> float:
    return value(f"crown.{tooth}.mesiodistal_mm").value


def test_teeth_are_the_fdi_codes() -> None:
    """ISO 3950: quadrants 1 to 4 of the permanent dentition; teeth 1 to 7 (no third molars in the table)."""
    stored = {int(v.name.split(".")[1]) for v in values("crown.") if v.name.startswith("crown.")}
    assert stored == {10 * quadrant + tooth for quadrant in (1, 2, 3, 4) for tooth in range(1, 8)}


@pytest.mark.parametrize(
    ("tooth", "width_mm", "length_mm"), [(11, 8.71, 10.23), (12, 6.75, 8.59), (13, 7.81, 9.93)]
)
def test_front_crowns_agree_with_a_population(tooth: int, width_mm: float, length_mm: float) -> None:
    """J Prosthet Dent 2015;113:565, 412 adults. Plausibility only: the textbook rounds to half a millimetre.

    Half a millimetre is allowed, about one standard deviation between people (from memory).
    """
    assert width(tooth) == pytest.approx(width_mm, abs=0.5)
    assert value(f"crown.{tooth}.length_mm").value == pytest.approx(length_mm, abs=0.5)


def test_front_teeth_keep_the_anterior_ratio() -> None:
    """Bolton 1958 (from memory): lower six over upper six front teeth 77.2 %, standard deviation 1.65 %."""
    ratio = (
        100.0
        * sum(width(t) for t in (31, 32, 33, 41, 42, 43))
        / sum(width(t) for t in (11, 12, 13, 21, 22, 23))
    )
    assert ratio == pytest.approx(77.2, abs=1.65)


def test_all_teeth_keep_the_overall_ratio() -> None:
    """Bolton 1958 (from memory): lower twelve over upper twelve teeth 91.3 %, standard deviation 1.91 %."""
    lower = sum(width(10 * q + t) for q in (3, 4) for t in range(1, 7))
    upper = sum(width(10 * q + t) for q in (1, 2) for t in range(1, 7))
    assert 100.0 * lower / upper == pytest.approx(91.3, abs=1.91)
