"""The checks of a map: thin spots with their doubt, rims, dense spots, stray metal, growth that leaks."""

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from pinseat.case.plating import Bath as StatedBath
from pinseat.plating import checks
from pinseat.plating.baths import bath_of
from pinseat.plating.plan import aim_of
from pinseat.plating.result import Aim, MappedPiece, Suggestion, ThicknessMap

BATH = bath_of(StatedBath(), "silver plated")
AIM = Aim(0.5, 0.75, 0.75, False, 1.5, minimum_source="common practice, no source", rim_source="assumed")
ROD = Suggestion("insulated rod", 11.0, 0.52, 1.1)


def made(**changed: Any) -> ThicknessMap:
    """Everything grows evenly for 20 h: to 0.6 at the thinnest, 0.9 on the mean, 1.4 at the rim."""
    part = np.linspace(0.0, 1.0, 21)
    piece = MappedPiece("11", 80.0, 10.0, 0.9, 0.6, 1.5, 0.7, 0.8, 1.4, math.nan, 40.0, 20.0)
    plain = ThicknessMap(
        pieces=(piece,),
        hours=20.0 * part,
        minimum_mm=0.6 * part,
        mean_mm=0.9 * part,
        rim_mm=1.4 * part,
        hours_95=15.0,
        hours_100=50.0 / 3.0,
        thinnest_piece="11",
        thinnest_band="floor",
        thinnest_mm=np.zeros(3),
        spreads=(),
        minimum_range_mm=(0.6, 0.6),
        voltage_V=0.4,
        start_least=0.8,
        wasted_g=0.0,
        mass_g=1.0,
        closure=0.0,
        correction=0.0,
        residual=1e-9,
        cells=1000,
        notes=(),
    )
    return replace(plain, **changed)


@pytest.mark.parametrize(
    ("ends", "hours", "verdict"),
    [
        ((0.6, 0.6), 20.0, "clear"),
        ((0.5, 0.8), 20.0, "clear"),
        ((0.4, 0.8), 20.0, "cannot tell"),
        ((0.4, 0.65), 10.0, "stop"),
        ((0.4, 1.1), 10.0, "cannot tell"),
    ],
)
def test_a_thin_spot_is_judged_with_its_doubt(ends: tuple[float, float], hours: float, verdict: str) -> None:
    """The range is that of the end of the map; at half time it is half as thick."""
    one = checks.thin_finding(made(minimum_range_mm=ends), AIM, hours, ROD)
    assert one.verdict == verdict
    assert one.value == pytest.approx(0.6 * hours / 20.0)
    assert one.uncertainty == pytest.approx((ends[1] - ends[0]) * hours / 20.0 / math.sqrt(12.0))
    assert one.where == "floor of 11"
    assert ("insulated rod; thinnest then 0.52 mm" in one.do) == (verdict != "clear")


def test_rims_that_overgrow() -> None:
    rim = checks.rim_finding(made(), AIM, 20.0)
    assert rim is not None
    assert (rim.verdict, rim.value) == ("clear", pytest.approx(1.4))
    over = checks.rim_finding(made(), replace(AIM, rim_mm=1.2), 20.0)
    assert over is not None
    assert over.verdict == "caution"
    assert checks.rim_finding(made(rim_mm=np.full(21, np.nan)), AIM, 20.0) is None


def codes(found: ThicknessMap) -> dict[str, str]:
    return {f.code: f.verdict for f in checks.field_findings(found, found.pieces, BATH)}


def test_a_sound_map_has_nothing_to_say() -> None:
    assert codes(made()) == {"plating.burning": "clear"}
    assert checks.trusted(made())


@pytest.mark.parametrize(
    ("changed", "code", "verdict"),
    [
        ({"closure": 0.002}, "plating.closure", "stop"),
        ({"closure": -0.002}, "plating.closure", "stop"),
        ({"correction": 0.3}, "plating.stretch", "caution"),
        ({"wasted_g": 0.2}, "plating.stray", "caution"),
    ],
)
def test_what_is_wrong_with_a_map_is_told(changed: dict[str, float], code: str, verdict: str) -> None:
    assert codes(made(**changed))[code] == verdict
    assert checks.trusted(made(**changed)) == (code == "plating.stray")


def test_dense_spots_burn_and_starve() -> None:
    """The bath's highest density is 200 A/m2; three tenths of its limiting current come first."""
    hot = replace(made().pieces[0], highest_A_m2=0.35 * BATH.limiting_A_m2)
    assert codes(made(pieces=(hot,)))["plating.lean"] == "caution"
    burnt = replace(hot, highest_A_m2=210.0)
    assert codes(made(pieces=(burnt,)))["plating.burning"] == "caution"


def test_the_aim_is_where_the_thinnest_spot_has_the_minimum_and_never_past_the_stop() -> None:
    from pinseat.case.plating import Plating

    assert aim_of(Plating(), made()).mean_mm == pytest.approx(0.75)
    assert aim_of(Plating(stop_mean_mm=0.7), made()).mean_mm == pytest.approx(0.7)
    assert aim_of(Plating(mean_mm=0.6), made()).mean_mm == 0.6
    never = made(hours_100=math.inf)
    assert aim_of(Plating(), never).mean_mm == aim_of(Plating()).stop_mean_mm == 0.75
    early = made(hours_100=10.0)
    assert aim_of(Plating(), early).mean_mm == pytest.approx(0.45)


def test_every_limit_says_where_it_comes_from() -> None:
    """One source each: stated, or the reference value by its basis; never "stated or"."""
    from pinseat.case.plating import Plating

    usual, own = aim_of(Plating()), aim_of(Plating(minimum_mm=0.4, rim_limit_mm=1.2))
    assert usual.minimum_source == "common practice, no source"
    assert usual.rim_source == "2 times the mean at the stop: assumed by this project"
    assert own.minimum_source == own.rim_source == "stated in the case"
    everything = made(closure=0.1, correction=0.9, wasted_g=0.9, start_least=0.01)
    hot = replace(everything.pieces[0], highest_A_m2=1e4)
    told = [
        checks.thin_finding(everything, own, 20.0, None),
        checks.rim_finding(everything, own, 20.0),
        checks.film_finding(everything, 30.0),
        *checks.field_findings(everything, [hot], BATH),
        *checks.calibration_findings(None, BATH),
    ]
    assert len(told) == 9
    for one in told:
        assert one is not None
        assert one.limit is not None
        assert one.limit_source
        assert "stated or" not in one.limit_source
