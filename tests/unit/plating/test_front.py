"""The books of the growing metal: rough rubber never becomes metal, and sites hold what they are given."""

from __future__ import annotations

import numpy as np
import pytest

from pinseat.plating.cells import cut_open, prepare
from pinseat.plating.cups import Cup, ideal_cups
from pinseat.plating.field import solve_cells
from pinseat.plating.front import Front, facets_of
from pinseat.plating.model import Drive, Electrolyte


def started() -> tuple[Front, Electrolyte]:
    cup = ideal_cups([Cup("cup", 3.0, 6.0)], mask_mm=1.0, tank_mm=20.0, metal_mm=0.8, rubber_mm=1.6)
    cells = prepare(cup, reach_mm=1.0)
    return Front(cells, solve_cells(cells, Electrolyte(), Drive(current_mA=5.0))), Electrolyte()


def area_mm2(front: Front) -> float:
    found = cut_open(front.cells)[1]
    return float(found.area_mm2[found.electrode == 1].sum())


def test_a_hair_of_metal_makes_no_cathode_of_the_wax():
    """Metal spreads by its thickness along the wax edge (pi 6 mm long), not to whatever wall strays."""
    front, bath = started()
    facets = facets_of(front.cells, solve_cells(front.cells, bath, Drive(current_mA=5.0)), 1e-3)
    before = area_mm2(front)
    metal = front.on_sites(facets, facets.area_mm2)
    metal *= 0.02 * before / metal.sum()
    front.advance(facets, 1.0, metal, np.ones(len(metal)))
    assert before * 0.9 < area_mm2(front) < before + 6.0 * np.pi * 0.8
    assert front.grown_mm3() == pytest.approx(metal.sum(), rel=1e-4)
    assert front.grown_by_mm3()["cup"] == pytest.approx(front.grown_mm3(), rel=1e-9)


def test_what_is_covered_stands_still():
    front, bath = started()
    front.cover(1.0)
    facets = facets_of(front.cells, solve_cells(front.cells, bath, Drive(current_mA=5.0)), 1e-3)
    metal = front.on_sites(facets, facets.area_mm2)
    assert front.covered.any()
    assert not front.covered.all()
    metal *= 1.0 / metal.sum()
    front.advance(facets, 1.0, metal, np.ones(len(metal)))
    swept = front.swept_mm3
    assert swept.sum() == pytest.approx(1.0, rel=1e-4)
    assert abs(swept[front.covered]).sum() < 0.05 * swept.sum()
