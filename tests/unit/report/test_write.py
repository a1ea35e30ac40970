from __future__ import annotations

import json
import struct

import pytest
import typst

from pinseat.errors import ReportError
from pinseat.report.pages import clean, content, tidy
from pinseat.report.setting import page_count, template
from pinseat.report.write import _figures, set_pages, write_report

HOSTILE = '#panic() $x$ *b* _i_ "q" \\ <a> @b // = Überbrückung Мост γέφυρα גשר جسر 桥 ' + "y" * 230
META = {"code version": "0.1.0", "input hash": "5d1f3c77"}


def run(folder, made):
    return write_report(folder, made.case, mesh=made.mesh, meta=META, **made.results())


@pytest.mark.parametrize("name", ["home", "binds", "unknown", "twelve", "many", "single"])
def test_at_most_four_pages_whatever_the_case(name: str, request, tmp_path) -> None:
    written = run(tmp_path, request.getfixturevalue(name))
    pdf = written[0].read_bytes()
    assert written[0] == tmp_path / "results" / "report.pdf"
    assert pdf.startswith(b"%PDF-")
    assert 2 <= page_count(pdf) <= 4
    assert all(path.stat().st_size > 1000 for path in written)
    assert {path.suffix for path in written[1:]} == {".png", ".svg"}
    assert sorted(p for p in (tmp_path / "results").rglob("*") if p.is_file()) == sorted(written)


def test_the_same_case_gives_the_same_bytes(home, tmp_path) -> None:
    first, second = run(tmp_path / "a", home), run(tmp_path / "b", home)
    assert [p.name for p in first] == [p.name for p in second]
    assert [p.read_bytes() for p in first] == [p.read_bytes() for p in second]


def test_figures_carry_no_date_and_are_as_wide_as_meant(home, tmp_path) -> None:
    written = {path.name: path for path in run(tmp_path, home)}
    width, _ = struct.unpack(">II", written["arch.png"].read_bytes()[16:24])
    assert 1500 <= width <= 1700
    assert b"date" not in written["opening.svg"].read_bytes().lower()


def test_callipers_get_a_plan_instead_of_a_picture(unknown, tmp_path) -> None:
    names = {path.name for path in run(tmp_path, unknown)}
    assert "pins.svg" in names
    assert "arch.svg" not in names


def pages_of(made, folder):
    (folder / "figures").mkdir(parents=True)
    plain = content(made.case, made.scan, made.survey, made.casting, made.seating, META)
    _figures(folder, plain, made.mesh, made.survey, made.seating, lambda doing, fraction: None)
    return tidy(plain)


def found(plain, folder, selector: str) -> list[dict[str, object]]:
    inputs = {"data": json.dumps(plain), "size": "9", "most": "99"}
    return json.loads(
        typst.query(
            template("report.typ"), selector, root=folder, sys_inputs=inputs, ignore_system_fonts=True
        )
    )


def headings(plain, folder) -> list[str]:
    bodies = [item["body"] for item in found(plain, folder, "heading")]
    return [
        "".join(part.get("text", " ") for part in body.get("children", [body])).strip() for body in bodies
    ]


def test_words_of_a_person_are_never_read_as_markup(unknown, tmp_path) -> None:
    plain = pages_of(unknown, tmp_path / "plain")
    hostile = unknown.case.model_copy(update={"title": HOSTILE, "number": "#7 $"})
    changed = tidy(
        content(hostile, unknown.scan, unknown.survey, unknown.casting, unknown.seating, {"#a": HOSTILE})
    )
    changed |= {part: plain[part] for part in ("picture", "window", "opening", "shares")}
    assert headings(changed, tmp_path / "plain") == headings(plain, tmp_path / "plain")
    assert found(changed, tmp_path / "plain", "<case-title>")[0]["child"]["text"] == clean(HOSTILE)
    assert page_count(set_pages(changed, tmp_path / "plain")) <= 4


def test_sections_stand_in_their_order(home, tmp_path) -> None:
    assert headings(pages_of(home, tmp_path / "r"), tmp_path / "r") == [
        "Pins",
        "Draw window",
        "Fit ledger: what each copy does",
        "How wide the margins stand open",
        "What loses the fit",
        "What to change",
        "Findings",
        "Assumptions",
        "Cautions",
        "How this was made",
    ]


def test_page_count_agrees_with_the_pages_drawn(home, tmp_path) -> None:
    plain = pages_of(home, tmp_path / "r")
    inputs = {"data": json.dumps(plain), "size": "14", "most": "99"}
    drawn = typst.Compiler(root=tmp_path / "r", ignore_system_fonts=True)
    pictures = drawn.compile(template("report.typ"), format="png", ppi=10, sys_inputs=inputs)
    assert (
        page_count(drawn.compile(template("report.typ"), format="pdf", sys_inputs=inputs))
        == len(pictures)
        > 4
    )


def test_pages_that_cannot_be_set_say_so(home, tmp_path) -> None:
    plain = pages_of(home, tmp_path / "r")
    plain["picture"]["file"] = "/figures/none.svg"
    with pytest.raises(ReportError, match="cannot be set"):
        set_pages(plain, tmp_path / "r")
