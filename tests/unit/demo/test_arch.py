from __future__ import annotations

import numpy as np
import pytest

from pinseat.demo.arch import HALF_WIDTH_MM, LENGTH_MM, UPPER, Arch, Curve, arch
from pinseat.demo.bridge import bridge
from pinseat.demo.generate import surface
from pinseat.demo.plans import FRONT, SPAN, Plan
from pinseat.demo.surface import edges_of
from pinseat.reference import value


@pytest.fixture(scope="module")
def whole() -> Arch:
    return arch(UPPER, (21,))


def test_contacts_lie_a_crown_width_apart() -> None:
    curve = Curve(HALF_WIDTH_MM, LENGTH_MM)
    widths = [value(f"crown.{tooth}.mesiodistal_mm").value for tooth in UPPER]
    places = curve.at(curve.contacts(widths, middle=7))
    assert np.linalg.norm(np.diff(places, axis=0), axis=1) == pytest.approx(widths, abs=1e-6)


def test_coordinates_along_the_curve_undo_points_beside_it() -> None:
    curve = Curve(HALF_WIDTH_MM, LENGTH_MM)
    along = np.linspace(-50.0, 50.0, 41)
    tangent = curve.tangent(along)
    beside = curve.at(along) + 2.5 * np.stack([-tangent[:, 1], tangent[:, 0]], axis=1)
    found, out = curve.coordinates(beside.T)
    assert found == pytest.approx(along, abs=0.02)
    assert out == pytest.approx(2.5, abs=0.02)


def test_left_and_right_are_mirror_images_where_both_stand(whole: Arch) -> None:
    for right, left in ((16, 26), (14, 24), (13, 23)):
        a, b = whole.placed(right), whole.placed(left)
        assert a.origin * np.array([-1.0, 1.0, 1.0]) == pytest.approx(b.origin, abs=1e-6)
        assert a.axes * np.array([-1.0, 1.0, 1.0]) == pytest.approx(b.axes, abs=1e-6)


def test_gum_is_high_between_teeth_and_low_over_the_gap(whole: Arch) -> None:
    """Height of the surface along the curve: edge of a tooth, between two teeth, ridge."""

    def height(along: float) -> float:
        z = np.arange(-14.0, 2.0, 0.05)
        xy = whole.curve.at(np.array(along))
        inside = whole.distance(np.column_stack([np.tile(xy, (len(z), 1)), z])) < 0.0
        return float(z[inside].max())

    assert height(-4.25) > -1.5
    assert height(-4.25) > height(-8.45) > -8.0
    assert height(4.25) < -9.0


def test_a_missing_tooth_is_not_there(whole: Arch) -> None:
    assert 21 not in [t.crown.tooth for t in whole.teeth]
    with pytest.raises(StopIteration):
        whole.placed(21)


@pytest.mark.parametrize("plan", [FRONT, SPAN], ids=["front", "span"])
def test_a_whole_arch_is_one_sheet_without_tunnels(plan: Plan) -> None:
    """Papillae close the gaps under the contacts, pins stand free: a sheet has Euler characteristic 1."""
    rng = np.random.Generator(np.random.Philox(plan.seed))
    model = bridge(plan.teeth, plan.missing, plan.retainers, plan.pins, rng)
    mesh = surface(model, 0.10, rng)
    edges, of_face = edges_of(mesh.faces)
    assert np.bincount(of_face.ravel()).max() == 2
    assert len(mesh.vertices) - len(edges) + len(mesh.faces) == 1
