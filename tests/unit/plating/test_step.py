"""The step as a whole on coarse cells: the map, its checks, and what not knowing the bath costs."""

import math
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from pinseat.case.model import Abutment, Case
from pinseat.case.plating import Bath, Piece, Plating
from pinseat.ledger.findings import Finding
from pinseat.ledger.handover import Handover
from pinseat.plating.baths import bath_of
from pinseat.plating.cells import prepare
from pinseat.plating.checks import film_finding
from pinseat.plating.field import solve_cells
from pinseat.plating.ideal import geometry_of
from pinseat.plating.mapping import least
from pinseat.plating.model import Drive
from pinseat.plating.pieces import oval, pieces_of
from pinseat.plating.plan import BEYOND, electrolyte_of
from pinseat.plating.result import PlatingResult
from pinseat.plating.solve import Fineness, Map, filmed
from pinseat.plating.step import solved

COARSE = Fineness(metal_mm=0.6, coarse_mm=0.8, steps=3)


def case_of(pieces: tuple[Piece, ...], **plating: Any) -> Case:
    abutment = Abutment(tooth=11, pins=2, hole_diameter_mm=0.7, hole_depth_mm=2.0, cast_pin_diameter_mm=0.6)
    return Case(
        number="invented-6", missing=(21,), abutments=(abutment,), plating=Plating(pieces=pieces, **plating)
    )


def plate(**plating: Any) -> tuple[PlatingResult, Map]:
    ring = tuple((float(x), float(y)) for x, y in oval(7.0, 7.0))
    pieces = (
        Piece(name="deep", outline_mm=ring, depth_mm=5.0),
        Piece(name="shallow", outline_mm=ring, depth_mm=2.0),
    )
    given = {"pieces": pieces, **plating}
    return solved(case_of(**given), Handover(), fineness=COARSE)


@pytest.fixture(scope="module")
def both() -> tuple[PlatingResult, Map]:
    return plate()


def found(findings: tuple[Finding, ...], code: str) -> Finding:
    (one,) = [f for f in findings if f.code == code]
    return one


def test_the_floor_of_the_deep_cup_is_thinnest(both: tuple[PlatingResult, Map]) -> None:
    plated, made = both
    assert plated.map is not None
    assert plated.map.thinnest_piece == "deep"
    assert made.thinnest[2] < -3.5
    deep, shallow = plated.map.pieces
    assert deep.floor_mm < deep.wall_mm < deep.rim_mm
    assert deep.floor_mm < shallow.floor_mm
    assert deep.minimum_mm <= deep.floor_mm
    assert made.growth.thinnest_piece == "deep"


def test_its_mean_is_that_of_the_balance(both: tuple[PlatingResult, Map]) -> None:
    """By Faraday the map ends at 1.15 of the stop, on the areas that were stated."""
    plated, _ = both
    assert plated.map is not None
    last = plated.map.mean_mm[-1]
    stated, seen = plated.pool.area_mm2, sum(piece.area_mm2 for piece in plated.map.pieces)
    assert last * seen == pytest.approx(BEYOND * plated.aim.stop_mean_mm * stated, rel=0.01)
    assert (np.diff(plated.map.mean_mm) > 0.0).all()
    assert (np.diff(plated.map.minimum_mm) > 0.0).all()
    assert plated.map.at(0.0)[:2] == (0.0, 0.0)
    beyond = plated.map.hours_to_mean(1.1 * last)
    assert beyond > plated.map.hours[-1]
    assert plated.map.hours_to_mean(last) == pytest.approx(plated.map.hours[-1])


def test_currents_add_up_and_the_density_is_checked(both: tuple[PlatingResult, Map]) -> None:
    plated, _ = both
    assert plated.map is not None
    assert sum(piece.current_mA for piece in plated.map.pieces) == pytest.approx(20.0, rel=1e-4)
    assert plated.map.residual < 1e-5
    assert plated.map.voltage_V > 0.0
    assert found(plated.findings, "plating.burning").value is not None


def test_less_polarisation_is_worse_and_the_range_is_told(both: tuple[PlatingResult, Map]) -> None:
    """A high exchange current or a poor conductor leaves the floor thinner; both ends enclose the middle."""
    plated, _ = both
    assert plated.map is not None
    exchange, conductivity = plated.map.spreads
    assert exchange.minimum_low_mm > exchange.minimum_high_mm
    assert conductivity.minimum_low_mm < conductivity.minimum_high_mm
    low, high = plated.map.minimum_range_mm
    assert low < plated.map.minimum_mm[-1] < high
    thin = found(plated.findings, "plating.thinnest")
    assert thin.verdict in ("stop", "cannot tell")
    assert thin.uncertainty is not None
    assert thin.where in ("floor of deep", "wall of deep")  # the corner between the two
    assert "plating.mean" not in {f.code for f in plated.findings}


def test_a_bath_that_is_known_leaves_no_range() -> None:
    known = Bath(conductivity_S_m=15, u_conductivity_S_m=0.1, exchange_current_A_m2=10, efficiency_percent=97)
    plated, made = plate(bath=known, pieces=(Piece(name="one", area_mm2=60, depth_mm=2.0),), mean_mm=0.4)
    assert plated.map is not None
    assert plated.map.spreads == ()
    low, high = plated.map.minimum_range_mm
    assert low == high == plated.map.minimum_mm[-1]
    assert plated.aim.mean_mm == 0.4
    thin = found(plated.findings, "plating.thinnest")
    assert thin.verdict == "stop"
    assert thin.value is not None
    assert thin.value < thin.limit == 0.5
    assert np.isfinite(made.thickness_mm).any()
    assert np.isnan(made.thickness_mm).any()
    assert math.isclose(float(np.nanmin(made.thickness_mm)), plated.map.pieces[0].minimum_mm, rel_tol=0.3)


def test_a_resistive_film_keeps_the_start_current_from_far_places() -> None:
    """The same cup with good metal and with 300 ohm a square: less reaches the far side, and it is told."""
    (piece,) = pieces_of(case_of((Piece(name="one", area_mm2=90, depth_mm=4.0),)))
    lead = {"one": np.array([4.0, 0.0, 0.0])}
    plain = geometry_of([piece], Plating(), 0.8)
    bath, drive = electrolyte_of(bath_of(Bath(), "silver plated")), Drive(current_mA=5.0)
    good, bare = (
        least(solve_cells(prepare(filmed(plain, ohm, lead)), bath, drive, bare=True).field)
        for ohm in (0.0, 300.0)
    )
    assert bare < 0.5 * good
    assert filmed(plain, 0.0, lead) is plain
    one = film_finding(SimpleNamespace(start_least=bare), 300.0)  # type: ignore[arg-type]
    assert one is not None
    assert (one.verdict, one.value) == ("caution" if bare < 0.2 else "clear", pytest.approx(100 * bare))
    assert film_finding(SimpleNamespace(start_least=good), 0.0) is None  # type: ignore[arg-type]
