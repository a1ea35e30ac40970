from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest

from pinseat.case.returns import take_in, ticket_hash
from pinseat.case.teeth import to_universal
from pinseat.report.setting import page_count
from pinseat.report.teeth_chart import teeth_chart
from pinseat.report.ticket import draw_words, machine_file, write_ticket


def _write(made, folder: Path) -> tuple[Path, ...]:
    return write_ticket(
        folder,
        made.case,
        survey=made.survey,
        casting=made.casting,
        seating=made.seating,
        scan_sha256="a" * 64 if made.scan else "",
        meta={"code": "1", "reference": "2", "case": "3"},
    )


@pytest.mark.parametrize("name", ["home", "binds", "unknown", "twelve", "single"])
def test_one_page_and_one_file_with_one_hash(
    name: str, request: pytest.FixtureRequest, tmp_path: Path
) -> None:
    made = request.getfixturevalue(name)
    page, file, *_ = _write(made, tmp_path)
    assert page_count(page.read_bytes()) == 1
    ticket = json.loads(file.read_bytes())
    assert ticket["hash"] == ticket_hash(ticket)
    again = [path.read_bytes() for path in _write(made, tmp_path)[:2]]
    assert [page.read_bytes(), file.read_bytes()] == again
    assert len(ticket["pins"]) == len(made.survey.field.pins)
    for pin in ticket["pins"]:
        assert pin["universal"] == to_universal(pin["fdi"])
    told = take_in(tmp_path, file.read_bytes())
    assert "the present ticket" in told[0]


def test_what_nobody_measured_is_null_and_never_nought(unknown) -> None:
    ticket = machine_file(unknown.case, unknown.survey, unknown.casting, unknown.seating, "", {})
    assert ticket["scan_sha256"] is None
    assert {one["value"] for one in ticket["returns"]["readings"]} == {None}
    asked = [one["what"] for one in ticket["returns"]["readings"]]
    for pin in unknown.survey.field.pins:
        assert any(pin.name in what for what in asked)


def test_the_two_angles_give_the_draw_back(home) -> None:
    said = draw_words(home.survey)
    x, y = (math.tan(math.radians(said[key])) for key in ("lean_to_x_deg", "lean_to_y_deg"))
    back = np.array([x, y, 1.0]) / math.sqrt(1.0 + x * x + y * y)
    assert back == pytest.approx(home.survey.window.centre, abs=1e-12)


def test_the_chart_carries_both_numbers_of_every_tooth_of_the_arch(home) -> None:
    """FDI by ISO 3950; Universal 1 to 16 from the patient's upper right (as in case/teeth, from memory)."""
    figure = teeth_chart(home.case)
    texts = [text.get_text() for text in figure.axes[0].texts]
    for tooth in (18, 17, 11, 21, 28):
        assert str(tooth) in texts
    assert {str(number) for number in range(1, 17)} <= set(texts)
    outside = [text for text in figure.axes[0].texts if text.get_fontsize() == 8.0]
    at = {text.get_text(): text.get_position() for text in outside}
    assert at["18"][0] < at["11"][0] < at["21"][0] < at["28"][0]  # the patient's right on the left
