"""Tooth numbers against the published tables.

Sources: ISO 3950:2016, designation system for teeth (FDI two-digit codes), the codes from memory; the chart
of both systems as in Wheeler's Dental Anatomy, from memory. Ends of the Universal count from Mosby's Medical
Dictionary, 8th edition, as quoted elsewhere: 1 is the maxillary right third molar, 32 the mandibular one.
"""

import pytest

from pinseat.case.teeth import DECIDUOUS, FDI, from_universal, to_universal, tooth_in_words

# Each arch as the chart prints it: the patient's right on the left-hand side.
UPPER_FDI = [18, 17, 16, 15, 14, 13, 12, 11, 21, 22, 23, 24, 25, 26, 27, 28]
LOWER_FDI = [48, 47, 46, 45, 44, 43, 42, 41, 31, 32, 33, 34, 35, 36, 37, 38]
UPPER_UNIVERSAL = [1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16]
LOWER_UNIVERSAL = [32, 31, 30, 29, 28, 27, 26, 25, 24, 23, 22, 21, 20, 19, 18, 17]
CHILD_FDI = [55, 54, 53, 52, 51, 61, 62, 63, 64, 65, 85, 84, 83, 82, 81, 71, 72, 73, 74, 75]

CHART = list(zip(UPPER_FDI + LOWER_FDI, UPPER_UNIVERSAL + LOWER_UNIVERSAL, strict=True))


def test_codes_of_the_permanent_and_deciduous_teeth() -> None:
    assert set(UPPER_FDI + LOWER_FDI) == FDI
    assert set(CHILD_FDI) == DECIDUOUS


@pytest.mark.parametrize(("fdi", "universal"), CHART)
def test_universal_number_of_each_tooth(fdi: int, universal: int) -> None:
    assert to_universal(fdi) == universal
    assert from_universal(universal) == fdi


@pytest.mark.parametrize(
    ("universal", "name"),
    [
        (1, "upper right third molar"),
        (32, "lower right third molar"),
        (17, "lower left third molar"),
        (30, "lower right first molar"),
        (8, "upper right central incisor"),
        (11, "upper left canine"),
    ],
)
def test_names_of_universal_numbers(universal: int, name: str) -> None:
    assert tooth_in_words(from_universal(universal)) == name
