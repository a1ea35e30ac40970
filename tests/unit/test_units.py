import pytest
from hypothesis import given
from hypothesis import strategies as st

from pinseat.errors import PinseatError, UnitError
from pinseat.units import length_in_mm, reading


@pytest.mark.parametrize(("text", "number"), [("18,42", 18.42), ("18.42", 18.42), (" -0,5 ", -0.5), (3, 3.0)])
def test_reading_takes_comma_and_point(text: str | float, number: float) -> None:
    assert reading(text) == number


@pytest.mark.parametrize(
    "text", ["1,234.5", "1,2,3", "1_8", "", "12 mm", "nan", "inf", float("nan"), float("-inf")]
)
def test_reading_refuses_what_is_not_one_number(text: str | float) -> None:
    with pytest.raises(UnitError, match=r"number"):
        reading(text)


@given(st.floats(-1e6, 1e6))
def test_reading_gives_back_what_was_typed(x: float) -> None:
    assert reading(repr(x).replace(".", ",")) == x


def test_inch_is_exact() -> None:
    # International yard and pound agreement of 1959: 1 in = 25.4 mm exactly (also NIST SP 811, appendix B).
    assert length_in_mm(1.0, "in") == 25.4


def test_unknown_unit_names_the_known_ones() -> None:
    with pytest.raises(UnitError, match=r"'ft'.*mm"):
        length_in_mm(1.0, "ft")


def test_error_is_one_sentence_with_place_value_limit_and_remedy() -> None:
    text = str(PinseatError("too long", where="pin 11-1", value="2.4 mm", limit="2.1 mm", do="trim it"))
    assert text == "pin 11-1: too long (2.4 mm; expected 2.1 mm); trim it"
