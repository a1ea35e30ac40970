"""What a dentist at the chair must be told: three pins, one too far out, one right, one too deep."""

from __future__ import annotations

import pytest

from pinseat.report.chair_words import _row, verdict
from tests.unit.impression.conftest import THREE, case_of, computed, projections


@pytest.fixture(scope="module")
def read():
    case = case_of(THREE, projections=projections(p11_1=2.34, p11_2=2.10, p11_3=1.95))
    return computed(THREE, case)


def test_each_pin_is_told_in_words_and_signs(read):
    rows = {row["pin"]: row for row in map(_row, read.projections)}
    assert (rows["11-1"]["sign"], rows["11-1"]["out"]) == ("proud", "+0.24")
    assert rows["11-1"]["do"] == "Re-seat now, or later trim the cast pin by 0.24 mm"
    assert (rows["11-2"]["sign"], rows["11-2"]["out"], rows["11-2"]["do"]) == (
        "fine",
        "0.00",
        "Nothing to do",
    )
    assert (rows["11-3"]["sign"], rows["11-3"]["out"]) == ("low", "−0.15")
    assert "eats with a shorter pin" in rows["11-3"]["do"]
    assert [pin.stages[1].verdict for pin in read.projections] == ["stop", "clear", "clear"]


def test_the_tally_is_complete_only_when_every_pin_is_home(read):
    assert (read.tally.home, read.tally.read, read.tally.pins, read.tally.complete) == (2, 3, 3, False)
    assert verdict(read) == {"word": "stop", "next": "Re-seat 11-1 and read again."}
    seated = case_of(THREE, projections=projections(p11_1=2.11, p11_2=2.10, p11_3=1.95))
    again = computed(THREE, seated)
    assert again.tally.complete
    assert verdict(again)["word"] == "clear"


def test_ignored_it_opens_the_bridge_by_what_the_relief_does_not_take(read):
    # Parallel pins that lock the tilt: 0.24 mm too long on 0.10 mm of relief.
    proud, fine, low = read.projections
    assert 70.0 < proud.opening_um <= 140.0 + 1e-6
    assert (fine.opening_um, low.opening_um) == pytest.approx((0.0, 0.0), abs=1e-6)
    assert read.ignored_opening_um == pytest.approx(proud.opening_um, abs=1e-6)


def test_the_reading_becomes_the_ledgers_depth(read):
    depth = read.row.depth
    assert depth.basis == "measured here"
    assert depth.mean == pytest.approx(1000 * (0.24 + 0.0 - 0.15) / 3, abs=1e-6)
