import pytest
from hypothesis import given
from hypothesis import strategies as st

from pinseat.case.teeth import (
    DECIDUOUS,
    FDI,
    UNIVERSAL,
    arch,
    arch_position,
    check_tooth,
    from_universal,
    neighbours,
    side,
    to_universal,
    tooth_in_words,
)
from pinseat.errors import CaseError

tooth = st.sampled_from(sorted(FDI))


@given(st.sampled_from(sorted(UNIVERSAL)))
def test_there_and_back_is_the_same_tooth(number: int) -> None:
    assert to_universal(from_universal(number)) == number


@given(tooth)
def test_neighbours_are_mutual_and_one_place_away(number: int) -> None:
    beside = neighbours(number)
    assert len(beside) == (1 if number % 10 == 8 else 2)
    for other in beside:
        assert number in neighbours(other)
        assert arch(other) == arch(number)
    if len(beside) == 2:
        assert arch_position(beside[0]) < arch_position(number) < arch_position(beside[1])


@given(tooth)
def test_the_mirror_tooth_stands_opposite(number: int) -> None:
    mirror = {1: 2, 2: 1, 3: 4, 4: 3}[number // 10] * 10 + number % 10
    assert arch_position(mirror) == -arch_position(number)
    assert side(mirror) != side(number)


@given(tooth)
def test_universal_runs_along_the_upper_arch_and_back_along_the_lower(number: int) -> None:
    """Beside each other in the arch is beside each other in the count."""
    assert {abs(to_universal(n) - to_universal(number)) for n in neighbours(number)} == {1}


def test_every_tooth_has_its_own_name() -> None:
    assert len({tooth_in_words(t) for t in FDI}) == 32
    assert tooth_in_words(48) == "lower right third molar"


@given(st.integers(-5, 120))
def test_only_permanent_teeth_pass(number: int) -> None:
    if number in FDI:
        assert check_tooth(number) == number
    else:
        says = "deciduous" if number in DECIDUOUS else "no FDI tooth number"
        with pytest.raises(CaseError, match=says):
            check_tooth(number)


@given(st.integers(-5, 120))
def test_universal_numbers_are_checked(number: int) -> None:
    if number in UNIVERSAL:
        assert from_universal(number) in FDI
    else:
        with pytest.raises(CaseError):
            from_universal(number)
