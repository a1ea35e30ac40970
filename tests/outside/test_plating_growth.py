"""Growth inside a cylinder and a sphere against what the volume of the metal leaves of the radius.

With a constant current all round, the metal has the volume of Faraday's law (silver, 10.50 g/cm3:
0.383306 mm3 per mAh, from CODATA F and the standard atomic weight) and grows evenly: in a cylinder
``R - sqrt(R^2 - V / pi L)``, in a hemisphere ``R - cbrt(R^3 - 3 V / 2 pi)``. Radius 3.5 mm, length 8 mm,
10 mA, 8 h: 0.17887 and 0.45498 mm.
"""

from __future__ import annotations

import numpy as np
import pytest

from pinseat.plating.bodies import Solid
from pinseat.plating.front import CLOSURE
from pinseat.plating.growth import grow
from pinseat.plating.model import RUBBER, Drive, Electrode, Electrolyte, Geometry, Growth, Kinetics, Stage

MM3_PER_MAH = 0.383306


def round_cup(axes: int, current_mA: float, hours: float, steps: int) -> Growth:
    """A quarter of a cylinder 1.6 mm long (2 axes) or of a hemisphere (3), with a bar or ball amid it."""
    outer = Solid(lambda p: 3.5 - np.linalg.norm(p[:, :axes], axis=1), 0)
    inner = Solid(lambda p: np.linalg.norm(p[:, :axes], axis=1) - 0.6, 1)
    electrodes = (Electrode("cup", "cathode", piece=True), Electrode("anode", "anode"))
    high = np.array([4.8, 4.8, 4.8 if axes == 3 else 1.6])
    geometry = Geometry(np.zeros(3), high, (outer, inner), electrodes, (RUBBER,) * 6, None, 0.2, 0.2, 0.4)
    polarised = Kinetics("linear", resistance_ohm_m2=5e-3)
    bath = Electrolyte(15.0, polarised, Kinetics("linear", resistance_ohm_m2=1e-5), MM3_PER_MAH / 3.6)
    return grow(geometry, bath, [Stage(hours, Drive(current_mA=current_mA))], steps=steps)


@pytest.mark.parametrize(("axes", "share", "wanted"), [(2, 0.25 * 1.6 / 8.0, 0.17887), (3, 0.25, 0.45498)])
def test_cylinder_and_hemisphere(axes, share, wanted):
    grown = round_cup(axes, 10.0 * share, 8.0, 8)
    thick = grown.thickness_mm[-1]
    mean = float(thick @ grown.surface.area_mm2 / grown.surface.area_mm2.sum())
    assert mean == pytest.approx(wanted, rel=1e-3)
    np.testing.assert_allclose(thick, wanted, rtol=2e-3)
    assert grown.expected_mm3 == pytest.approx(10.0 * share * 8.0 * MM3_PER_MAH, rel=1e-6)
    assert abs(grown.closure) < CLOSURE
    assert grown.correction < 0.02


def test_shorter_steps_need_less_stretching():
    """The step looks ahead with the last two rates: halving it leaves about a quarter of what it misses."""
    long, short = (round_cup(3, 2.5, 8.0, steps).correction for steps in (4, 8))
    assert short < 0.6 * long
