from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pinseat.errors import PlatingError
from pinseat.plating.bodies import Bar, Solid
from pinseat.plating.cups import Cup, ideal_cups
from pinseat.plating.field import solve
from pinseat.plating.growth import grow
from pinseat.plating.model import Drive, Electrode, Electrolyte, Field, Geometry, Kinetics, Stage
from pinseat.plating.pieces import oval

COARSE = {"metal_mm": 0.8, "rubber_mm": 0.8, "tank_mm": 20.0}


def cup(**setting: float) -> Geometry:
    return ideal_cups([Cup("cup", 4.0, 6.0)], **{**COARSE, **setting})


def shares(field: Field) -> tuple[float, float]:
    mean = field.mean_A_m2("cup")
    return field.mean_A_m2("cup", "floor") / mean, field.mean_A_m2("cup", "rim") / mean


def test_current_goes_in_where_it_came_from_and_more_polarisation_evens_it():
    deeper = []
    for exchange in (100.0, 10.0, 1.0):
        law = Kinetics("butler-volmer", exchange_A_m2=exchange)
        field = solve(cup(), Electrolyte(15.0, law, law), Drive(current_mA=10.0))
        assert field.current_mA["cup"] == pytest.approx(10.0, rel=1e-5)
        assert field.residual <= 1e-6
        deeper.append(shares(field)[0])
    assert deeper[0] < deeper[1] < deeper[2] < 1.0


def test_voltage_and_current_are_two_ways_to_the_same():
    one = solve(cup(), Electrolyte(), Drive(current_mA=10.0))
    other = solve(cup(), Electrolyte(), Drive(voltage_V=one.voltage_V))
    assert other.current_mA["cup"] == pytest.approx(10.0, rel=1e-5)
    assert shares(other) == pytest.approx(shares(one), rel=1e-5)


def test_turning_and_shifting_the_whole_bath_changes_little():
    """Cells do not turn with it, so the shares stray by what the cells are coarse."""
    ring = oval(6.0, 6.0)
    one = ideal_cups([Cup("cup", 4.0, outline_mm=ring)], **COARSE)
    moved = ideal_cups([Cup("cup", 4.0, outline_mm=ring, at_mm=(0.37, -0.21))], **COARSE)
    a, b = (solve(g, Electrolyte(), Drive(current_mA=10.0)) for g in (one, moved))
    assert shares(a) == pytest.approx(shares(b), rel=0.06)


def test_own_channels_share_out_as_they_are_told():
    two = ideal_cups([Cup("a", 4.0, 6.0, at_mm=(-4.0, 0.0)), Cup("b", 2.0, 6.0, at_mm=(4.0, 0.0))], **COARSE)
    field = solve(two, Electrolyte(), Drive(own_mA={"a": 7.0, "b": 3.0}))
    assert field.current_mA == pytest.approx({"anode": 10.0, "a": 7.0, "b": 3.0}, rel=1e-5)
    together = solve(two, Electrolyte(), Drive(current_mA=10.0))
    assert sum(together.current_mA[n] for n in "ab") == pytest.approx(10.0, rel=1e-5)


def test_a_bare_tail_takes_current_from_its_cup():
    tail = Bar(np.array([5.0, 5.0, 4.0]), np.array([0.0, 0.0, 1.0]), 10.0, 1.6, 2)
    with_tail = ideal_cups(
        [Cup("cup", 4.0, 6.0)], extra=[(Electrode("tail", "cathode", with_="cup"), tail)], **COARSE
    )
    field = solve(with_tail, Electrolyte(), Drive(current_mA=10.0))
    assert field.current_mA["tail"] > 1.0
    assert field.current_mA["tail"] + field.current_mA["cup"] == pytest.approx(10.0, rel=1e-5)
    assert field.potential_V["tail"] == field.potential_V["cup"] == 0.0


def test_cups_that_are_not_open_to_the_bath_are_named():
    shut = cup()
    lid = Solid(lambda p: np.abs(p[:, 2] - 1.6) - 0.8)
    with pytest.raises(PlatingError, match="cup: the cup is not open to the bath"):
        solve(replace(shut, bodies=(*shut.bodies, lid)), Electrolyte(), Drive(current_mA=10.0))


def test_a_mask_over_everything_leaves_no_metal():
    covered = cup(mask_mm=9.0)
    with pytest.raises(PlatingError, match="cup: no bare metal is left in the bath"):
        solve(covered, Electrolyte(), Drive(current_mA=10.0))


@pytest.mark.parametrize(
    ("electrodes", "drive", "says"),
    [
        ((Electrode("anode", "anode"), Electrode("cup", "anode")), Drive(current_mA=1.0), "no cathode"),
        ((Electrode("anode", "cathode"), Electrode("cup", "cathode")), Drive(current_mA=1.0), "no anode"),
        (None, Drive(), "set to nothing, or to two things"),
        (None, Drive(current_mA=1.0, voltage_V=1.0), "set to nothing, or to two things"),
        (None, Drive(current_mA=1.0, own_mA={"lid": 1.0}), "no electrode of this name"),
    ],
)
def test_what_cannot_be_driven_is_refused(electrodes, drive, says):
    made = cup()
    with pytest.raises(PlatingError, match=says):
        solve(replace(made, electrodes=electrodes or made.electrodes), Electrolyte(), drive)


def test_a_solve_that_does_not_converge_is_an_error_with_its_residual(monkeypatch):
    monkeypatch.setattr("pinseat.numerics.electrode._MOST_NEWTON", 1)
    with pytest.raises(PlatingError, match=r"did not converge.*residual \S+ of the current after 1 steps"):
        solve(cup(), Electrolyte(2.0), Drive(current_mA=300.0))


@pytest.mark.parametrize("current_mA", [0.1, 30.0, 300.0])
def test_from_a_trickle_to_far_too_much(current_mA):
    field = solve(cup(), Electrolyte(2.0), Drive(current_mA=current_mA))
    assert field.current_mA["cup"] == pytest.approx(current_mA, rel=1e-5)
    assert np.isfinite(field.density_A_m2).all()


def test_the_same_bytes_each_time():
    one, other = (solve(cup(), Electrolyte(), Drive(current_mA=10.0)) for _ in range(2))
    assert one.density_A_m2.tobytes() == other.density_A_m2.tobytes()


def test_growth_of_a_cup_keeps_its_metal_and_its_places():
    told: list[float] = []
    grown = grow(
        cup(metal_mm=0.4, rubber_mm=0.8),
        Electrolyte(),
        [Stage(1.0, Drive(current_mA=4.0), "start"), Stage(7.0, Drive(current_mA=10.0))],
        steps=6,
        wanted_mm=0.3,
        progress=lambda what, part: told.append(part),
    )
    assert abs(grown.closure) < 1e-3
    assert grown.charge_C == pytest.approx(3.6 * (4.0 + 70.0), rel=1e-5)
    assert grown.mass_g == pytest.approx(1.117975e-3 * grown.charge_C, rel=1e-3)
    assert grown.wasted_g == 0.0
    assert grown.minimum_mm[-1] < grown.mean_mm[-1] < grown.rim_mm[-1]
    assert grown.thinnest_piece == "cup"
    assert grown.hours_95 <= grown.hours_100
    assert (np.diff(grown.thickness_mm, axis=0) >= 0.0).all()
    assert told == sorted(told)
    assert told[-1] == 1.0
