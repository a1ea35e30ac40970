from __future__ import annotations

import numpy as np
import pytest

from pinseat.errors import ReportError
from pinseat.report.chair_card import write_chair_card
from pinseat.report.chair_picture import injection_picture
from pinseat.report.chair_words import card_words, clock_text, console_lines, cost_words, signed_mm
from pinseat.report.pages import tidy
from pinseat.report.setting import page_count
from pinseat.report.style import look
from tests.unit.impression.conftest import SIX, THREE, case_of, computed, field_of, projections

META = {"code": "0.1.0", "case": "5d1f3c77"}

CARD = "results/chair-card.pdf"


LINE = "Leans 1.0° towards +x from +z"


def written(tmp_path, field, case, mesh=None):
    result = computed(field, case)
    names = write_chair_card(tmp_path, case, result=result, field=field, line=LINE, mesh=mesh, meta=META)
    return result, names


@pytest.fixture(scope="module")
def read():
    case = case_of(THREE, projections=projections(p11_1=2.34, p11_2=2.10))
    return case, computed(THREE, case)


def test_one_page_with_the_picture_beside(tmp_path):
    _, names = written(tmp_path, SIX, case_of(SIX, projections=projections(p11_1=2.34, p22_3=1.9)))
    assert names[0] == CARD
    assert all((tmp_path / name).is_file() for name in names)
    assert page_count((tmp_path / CARD).read_bytes()) == 1


def test_the_same_case_gives_the_same_bytes(tmp_path):
    case = case_of(SIX)
    for name in ("a", "b"):
        written(tmp_path / name, SIX, case)
    assert (tmp_path / "a" / CARD).read_bytes() == (tmp_path / "b" / CARD).read_bytes()


def test_a_full_bridge_still_fits_one_page(tmp_path):
    places = {
        f"{tooth}-{k}": (8.0 * i + k, 3.0 * (k % 2))
        for i, tooth in enumerate((13, 11, 21, 23))
        for k in range(1, 7)
    }
    many = field_of(places)
    every = [{"pin": pin.name, "mm": [2.34]} for pin in many.pins]
    written(tmp_path, many, case_of(many, projections=every))
    assert page_count((tmp_path / CARD).read_bytes()) == 1


def test_signs_words_and_numbers_say_the_same(read):
    case, result = read
    words = card_words(case, result, LINE, META)
    assert [row["sign"] for row in words["pins"]] == ["proud", "fine", "not read"]
    assert [row["out"] for row in words["pins"]] == ["+0.24", "0.00", ""]
    assert words["tally"] == {"home": "1", "pins": "3", "words": "pins home, 1 not read"}
    assert words["verdict"]["word"] == "stop"
    assert "stands open by" in words["pins"][0]["cost"]
    assert "2.340 ± 0.020 mm" in words["pins"][0]["read"]


def test_nothing_said_of_an_opening_that_is_none(read):
    _, result = read
    assert cost_words(result.projections[1]) == ""


def test_the_card_says_the_caution_where_the_hazard_is(read):
    case, result = read
    words = card_words(case, result, LINE, META)
    assert "swallowed or inhaled" in " ".join(words["cautions"])
    assert "dentine may crack" in words["pull"]["load"]
    assert "factor of two" in words["pull"]["load"]


def test_hostile_words_are_set_as_words(tmp_path):
    case = case_of(SIX).model_copy(update={"number": '#panic() $x$ "q" \\', "title": "*b* = <a> @c"})
    written(tmp_path, SIX, case)
    assert tidy({"a": "x\ny"}) == {"a": "x y"}


def test_times_as_a_stopwatch_shows_them():
    assert [clock_text(t) for t in (0.0, 0.75, 19.99, 60.0, 240.0)] == [
        "0:00",
        "0:45",
        "20:00",
        "60 min",
        "4 h",
    ]
    assert signed_mm(-0.004) == "0.00"


def test_the_screen_holds_every_pin_and_part(read):
    _, result = read
    heads = [head for head, _ in console_lines(result)]
    assert {
        "11-1",
        "11-2",
        "11-3",
        "bulk",
        "rubber",
        "tray",
        "put back",
        "play in hole",
        "pull",
        "clock",
    } <= set(heads)


def test_the_picture_shows_only_what_is_near(tmp_path):
    from pinseat.mesh.model import Mesh

    side = np.linspace(-30.0, 40.0, 71)
    x, y = np.meshgrid(side, side, indexing="ij")
    points = np.column_stack([x.ravel(), y.ravel(), np.zeros(x.size)])
    at = np.arange(x.size).reshape(x.shape)
    a, b, c, d = (part.ravel() for part in (at[:-1, :-1], at[1:, :-1], at[1:, 1:], at[:-1, 1:]))
    plain = Mesh(
        points, np.concatenate([np.column_stack([a, b, c]), np.column_stack([a, c, d])]).astype(np.int32)
    )
    result = computed(SIX, case_of(SIX))
    with look():
        figure = injection_picture(plain, SIX, result)
    numbers = {text.get_text() for text in figure.axes[0].texts}
    assert {str(one.number) for one in result.order} <= numbers
    _, names = written(tmp_path, SIX, case_of(SIX), mesh=plain)
    assert names[0] == CARD


def test_a_card_that_cannot_be_set_is_refused(tmp_path, monkeypatch):
    from pinseat.report import chair_card

    monkeypatch.setattr(chair_card, "_TIGHTER", ({"size": 60.0, "most": 1000, "high": 200},))
    with pytest.raises(ReportError, match="does not fit"):
        written(tmp_path, SIX, case_of(SIX))
