from collections.abc import Callable
from pathlib import Path

import pytest

from pinseat.case.document import load_case
from pinseat.case.notation import split_pin
from pinseat.errors import CaseError

from .conftest import BENCH, FRONT

Write = Callable[..., Path]
UNSTATED = ('notation = "FDI"\n', "")


def refusal(folder: Path) -> str:
    with pytest.raises(CaseError) as caught:
        load_case(folder)
    return str(caught.value)


def test_numbers_that_could_be_either_are_asked_about_in_words(write: Write) -> None:
    assert refusal(write(FRONT, UNSTATED)).endswith(
        'missing[1]: these tooth numbers could be FDI or Universal (21); state notation = "FDI" if 21 is the '
        'upper left central incisor, or notation = "Universal" if it is the lower left first premolar'
    )


def test_one_number_that_can_only_be_universal_decides(write: Write) -> None:
    stated = write(FRONT, ("FDI", "Universal"), ("[21]", "[9]"), ("= 11", "= 8"), ("= 22", "= 10"))
    case = load_case(stated)
    assert (case.missing, [a.tooth for a in case.abutments]) == ((21,), [11, 22])
    assert load_case(write(FRONT, UNSTATED, ("[21]", "[9]"), ("= 11", "= 8"), ("= 22", "= 10"))) == case
    assert case == load_case(write(FRONT))


def test_one_number_that_can_only_be_fdi_decides(write: Write) -> None:
    case = load_case(write(FRONT, UNSTATED, ("[21]", "[32, 33]"), ("= 11", "= 31"), ("= 22", "= 34")))
    assert case.missing == (32, 33)


def test_mixed_numbers_are_refused(write: Write) -> None:
    line = refusal(write(FRONT, UNSTATED, ("[21]", "[9]"), ("= 22", "= 45")))
    assert "45 is only an FDI number and 9 only a Universal one" in line


def test_a_number_of_the_other_notation_is_told_in_words(write: Write) -> None:
    line = refusal(write(FRONT, ("[21]", "[9]")))
    assert "in Universal numbers it would be the upper left central incisor (FDI 21)" in line
    line = refusal(write(FRONT, ('"FDI"', '"Universal"'), ("[21]", "[45]")))
    assert "in FDI numbers it would be the lower right second premolar" in line
    assert "this is no FDI tooth number (99" in refusal(write(FRONT, UNSTATED, ("[21]", "[99]")))
    only_fdi = (("[21]", "[99]"), ("= 22", "= 33"))
    assert "missing[1]: this is no FDI tooth number (99" in refusal(write(FRONT, UNSTATED, *only_fdi))
    only_universal = (("[21]", "[99]"), ("= 22", "= 9"))
    line = refusal(write(FRONT, UNSTATED, *only_universal))
    assert "missing[1]: this is no Universal tooth number (99" in line


def test_layout_readings_edits_and_contacts_are_renumbered_too(write: Write) -> None:
    changes = [("FDI", "Universal"), ("[21]", "[9]")]
    changes += [("tooth = 11", "tooth = 8")] * 3 + [("tooth = 22", "tooth = 10")] * 2
    changes += [('"11-1", "22-1"', '"8-1", "10-1"')] * 2
    case = load_case(write(BENCH, *changes))
    assert case == load_case(write(BENCH))
    edits = (
        '[[pins]]\naction = "reject"\ntooth = 8\nnumber = 1\n'
        '[[contacts]]\nkind = "ledge"\ntooth = 10\npoint = [1, 2, 3]\n[scan]'
    )
    scanned = load_case(write(FRONT, *changes[:2], ("= 11", "= 8"), ("= 22", "= 10"), ("[scan]", edits)))
    assert (scanned.pins[0].tooth, scanned.contacts[0].tooth) == (11, 22)


def test_messages_keep_the_numbers_that_were_typed(write: Write) -> None:
    universal = [("FDI", "Universal"), ("[21]", "[9]"), ("= 11", "= 8"), ("= 22", "= 10")]
    assert "abutments[2].cast_pin_diameter_mm (tooth 10)" in refusal(
        write(FRONT, *universal, ("0.60", "0.80"))
    )


@pytest.mark.parametrize("name", ["", "11", "11-", "-1", "11-1-1", "11_1", "x-1", "¹¹-1"])
def test_a_pin_is_named_by_tooth_and_number(name: str) -> None:
    with pytest.raises(CaseError, match="no name of a pin"):
        split_pin(name)
