"""Crown and root sizes against measurements in people and against the proportions of sound dentitions."""

import pytest

from pinseat.reference import value, values


def width(tooth: int) -> float:
    return value(f"crown.{tooth}.mesiodistal_mm").value


def test_teeth_are_the_fdi_codes() -> None:
    """ISO 3950: quadrants 1 to 4 of the permanent dentition; teeth 1 to 7 (no third molars in the table)."""
    stored = {int(v.name.split(".")[1]) for v in values("crown.") if v.name.startswith("crown.")}
    assert stored == {10 * quadrant + tooth for quadrant in (1, 2, 3, 4) for tooth in range(1, 8)}


@pytest.mark.parametrize("tooth", [11, 12, 13])
@pytest.mark.parametrize("size", ["mesiodistal_mm", "length_mm"])
def test_front_crowns_agree_with_a_population(tooth: int, size: str) -> None:
    """J Prosthet Dent 2015;113:565, 412 adults. Plausibility only: the textbook rounds to half a millimetre.

    Half a millimetre is allowed, about one standard deviation between people (from memory).
    """
    table, people = value(f"crown.{tooth}.{size}"), value(f"population.{tooth}.{size}")
    assert table.value == pytest.approx(people.value, abs=0.5)


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


@pytest.mark.parametrize(("tooth", "within"), [(43, 0.05), (45, 0.40), (44, 0.40)])
def test_root_areas_agree_with_a_newer_paper_where_they_do(tooth: int, within: float) -> None:
    """J Periodontol 2002;73:1095 against Jepsen 1963: the canine within 5 %; the premolars 31 and 40 % apart.

    This is the reason why root areas carry their source and can be swapped.
    """
    old, new = value(f"crown.{tooth}.root_area_mm2").value, value(f"population.{tooth}.root_area_mm2").value
    assert old == pytest.approx(new, rel=within)
    assert (abs(new / old - 1.0) > 0.25) is (tooth != 43)


def test_canines_have_the_longest_roots() -> None:
    """Anatomy, common knowledge of the trade: in either jaw no root is longer than the canine's."""
    for jaw in (10, 40):
        roots = {t: value(f"crown.{jaw + t}.root_mm").value for t in range(1, 8)}
        assert max(roots, key=lambda t: roots[t]) == 3
