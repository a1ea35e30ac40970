from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pinseat.report.charts import opening_histogram, shares_chart
from pinseat.report.plan import pin_plan
from pinseat.report.style import look
from pinseat.report.window import draw_map


def heights(seating) -> np.ndarray:
    with look():
        axes = opening_histogram(seating).axes[0]
        return np.array([patch.get_height() for patch in axes.patches])


@pytest.mark.parametrize("name", ["home", "binds", "twelve"])
def test_the_bars_add_up_to_every_bridge(name: str, request) -> None:
    assert heights(request.getfixturevalue(name).seating).sum() == pytest.approx(100.0, abs=0.1)


def test_bridges_that_cannot_enter_stand_in_their_own_bar(binds) -> None:
    assert heights(binds.seating)[-1] == pytest.approx(35.0)


def test_a_long_tail_is_gathered_in_one_bar(home) -> None:
    edges = np.arange(0.0, 1001.0, 10.0)
    seating = replace(
        home.seating, histogram_um=edges, histogram_count=np.full(100, 396), limit_um=120.0, trials=40000
    )
    tall = heights(seating)
    assert tall[:-2].sum() == pytest.approx(0.36 * 99.0)
    assert tall[-2] == pytest.approx(0.64 * 99.0)


def test_both_limits_are_drawn(home) -> None:
    with look():
        axes = opening_histogram(home.seating).axes[0]
    assert sorted(line.get_xdata()[0] for line in axes.lines) == [50.0, 120.0]


def test_shares_are_drawn_largest_first(home) -> None:
    with look():
        axes = shares_chart(home.seating).axes[0]
    widths = [patch.get_width() for patch in axes.patches]
    assert widths == pytest.approx([share.total_index for share in home.seating.shares])
    assert axes.yaxis.get_inverted()


def test_no_share_at_all_can_be_drawn(home) -> None:
    with look():
        assert len(shares_chart(replace(home.seating, shares=())).axes[0].patches) == 0


@pytest.mark.parametrize("name", ["home", "binds", "unknown", "twelve", "many", "single"])
def test_every_pin_has_its_name_inside_the_map(name: str, request) -> None:
    survey = request.getfixturevalue(name).survey
    with look():
        figures = (draw_map(survey), pin_plan(survey))
    for figure in figures:
        axes = figure.axes[0]
        (left, right), (bottom, top) = axes.get_xlim(), axes.get_ylim()
        named = {t.get_text(): t.get_position() for t in axes.texts if "-" in t.get_text()}
        assert set(named) == {pin.name for pin in survey.field.pins}
        assert all(left < x < right and bottom < y < top for x, y in named.values())
