import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pinseat.tray.distance import Grid
from pinseat.tray.hand import outlines
from pinseat.tray.pocket import Pocket
from pinseat.tray.sheets import line_area, patches, pile, sheets_for, stock

LENGTH = st.floats(0.5, 9.0)


@settings(max_examples=60, deadline=None)
@given(projection=LENGTH, sheet=st.floats(0.2, 2.0), gap=st.floats(0.2, 3.0))
def test_as_many_sheets_as_needed_clear_the_pin_and_one_fewer_do_not(
    projection: float, sheet: float, gap: float
) -> None:
    needed = pile("11-1", projection, sheet_mm=sheet, gap_mm=gap)
    assert needed.sheets == needed.sheets_needed
    assert needed.gap_mm >= gap - 1e-6
    fewer = pile("11-1", projection, sheet_mm=sheet, gap_mm=gap, sheets=needed.sheets - 1)
    assert fewer.gap_mm < gap
    assert fewer.sheets_needed == needed.sheets


def test_a_pin_that_sheets_meet_exactly_needs_no_more() -> None:
    assert pile("11-1", 2.5, sheet_mm=0.7, gap_mm=1.0).sheets_needed == 5


def test_sheets_nearest_to_a_relief() -> None:
    assert [sheets_for(2.6, t) for t in (1.3, 0.7, 0.9, 5.0)] == [2, 4, 3, 1]


def test_the_stock_has_a_thickness_and_a_basis_each() -> None:
    assert len(stock()) >= 3
    assert all(0.3 < sheet.value < 2.0 and sheet.unit == "mm" and sheet.reference for sheet in stock())


def test_close_pins_share_a_patch_and_far_ones_do_not() -> None:
    up = np.array([0.0, 0.0, 1.0])
    places = ((0.0, 0.0), (3.0, 0.0), (20.0, 0.0))
    pins = [Pocket(f"11-{i}", np.array([x, y, 0.0]), up, 3.0, 0.3) for i, (x, y) in enumerate(places)]
    piles = [
        pile(p.name, 3.0 + i, sheet_mm=1.0, gap_mm=1.0, radius_mm=0.3, shift_mm=0.3)
        for i, p in enumerate(pins)
    ]
    lines, counts = patches(pins, piles, np.array(places))
    assert counts == (5, 6)
    assert len(lines) == 2
    assert line_area(lines[1]) == pytest.approx(np.pi * piles[2].side_mm ** 2, rel=0.01)
    for line in lines:
        assert np.allclose(line[0], line[-1])


def test_outline_of_a_ring_is_two_lines_of_the_right_area() -> None:
    grid = Grid(np.array([-20.0, -20.0, 0.0]), (161, 161, 1), 0.25)
    x, y = np.meshgrid(grid.nodes(0), grid.nodes(1), indexing="ij")
    ring = (np.hypot(x, y) < 15.0) & (np.hypot(x, y) > 8.0)
    areas = sorted(line_area(line) for line in outlines(ring, grid))
    assert areas == pytest.approx([np.pi * 64.0, np.pi * 225.0], rel=0.02)
