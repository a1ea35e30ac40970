import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pinseat.report.rounding import chance, column, decimals, fixed, pair, typeset, whole, with_u
from pinseat.seating.model import Chance


@given(st.floats(1e-6, 1e6))
def test_an_uncertainty_keeps_two_significant_digits(u: float) -> None:
    shown = float(f"{round(u, decimals(u)):.12g}")
    assert shown == pytest.approx(float(f"{u:.1e}"), rel=1e-9)


@given(st.floats(-1e4, 1e4), st.floats(1e-3, 1e3))
def test_value_and_uncertainty_end_at_the_same_decimal(value: float, u: float) -> None:
    shown, spread = pair(value, u)
    assert len(shown.partition(".")[2]) == len(spread.partition(".")[2])
    assert abs(float(shown.replace("−", "-")) - value) <= 0.051 * u


@pytest.mark.parametrize(
    ("value", "places", "text"),
    [
        (-3.14159, 2, "−3.14"),
        (-0.001, 1, "0.0"),
        (0.0, 0, "0"),
        (12345.0, -2, "12300"),
        (math.inf, 1, "not known"),
    ],
)
def test_fixed(value: float, places: int, text: str) -> None:
    assert fixed(value, places) == text


def test_units_are_spaced_as_they_are_printed() -> None:
    assert with_u(-44.2, 37.0, "um") == "−44 ± 37 µm"
    assert with_u(0.84, 0.14, "deg") == "0.84 ± 0.14°"
    assert with_u(-0.24, 0.2, "%") == "−0.24 ± 0.20 %"
    assert with_u(2.0, math.nan, "mm", 1) == "2.0 mm"
    assert with_u(math.inf, 0.1, "um") == "not known"


@given(st.lists(st.floats(-999.0, 999.0).map(lambda x: f"{x:.4g}".replace("-", "−")), min_size=1))
def test_decimal_points_of_a_column_stand_in_line(texts: list[str]) -> None:
    texts = [text for text in texts if "e" not in text] or ["1"]
    cells = column(texts)
    assert [text for _, text, _ in cells] == texts
    assert len({len(head) + len(text.partition(".")[0]) for head, text, _ in cells}) == 1
    assert len({len((head + text + tail).partition(".")[2]) for head, text, tail in cells}) == 1


def test_no_failure_is_not_certainty() -> None:
    """Rule of three: with no failure in n trials the 95 % bound is 3 / n."""
    assert chance(Chance(1.0, 0.0), 10_000) == "> 99.970 %"
    assert chance(Chance(0.0, 0.0), 10_000) == "< 0.030 %"
    assert chance(Chance(0.5, 0.005), 10_000) == "50.00 ± 0.50 %"


def test_thousands_are_set_apart() -> None:
    assert whole(301224).split("\u202f") == ["301", "224"]


def test_upstream_units_are_set_as_they_are_printed() -> None:
    spaced = typeset("within 120 um, leans 1.9 deg, 700 degC, 0.2 ug/m3, 1.2 ± 0.1 mm, degree")
    assert (
        spaced.replace("\u00a0", " ") == "within 120 µm, leans 1.9°, 700 °C, 0.2 µg/m³, 1.2 ± 0.1 mm, degree"
    )
    assert "1.2\u00a0±\u00a00.1\u00a0mm" in spaced
