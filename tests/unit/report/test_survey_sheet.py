from __future__ import annotations

import json
import math
from dataclasses import dataclass, replace

import numpy as np
import pytest
import typst

from pinseat.errors import ReportError
from pinseat.ledger.findings import Finding
from pinseat.mesh.colour import PLASTER, ramp
from pinseat.mesh.glb import glb_bytes
from pinseat.mesh.write import ply_bytes
from pinseat.report.advice import worst_first
from pinseat.report.arch import COPPER, label, seen, tips
from pinseat.report.pages import clean, tidy
from pinseat.report.setting import page_count, template
from pinseat.report.style import look
from pinseat.report.survey_parts import UndercutPart
from pinseat.report.survey_picture import letter, survey_colours, survey_picture
from pinseat.report.survey_sheet import write_survey_sheet
from pinseat.report.survey_words import draw_words, headline, sheet_words
from pinseat.survey.measure import Measure

META = {"code": "0.1.0", "input": "5d1f3c77"}
HOSTILE = '#panic() $x$ *b* _i_ "q" \\ <a> @b // = Überbrückung Мост γέφυρα ' + "y" * 230


@dataclass(frozen=True, eq=False)
class Map:
    depth_mm: np.ndarray
    face_area_mm2: np.ndarray
    face_volume_mm3: np.ndarray


@dataclass(frozen=True, eq=False)
class Patch:
    kind: str
    tooth: int
    faces: np.ndarray
    area_mm2: float
    doubt: str = ""


@dataclass(frozen=True)
class Under:
    deepest_mm: float
    area_mm2: float
    volume_mm3: float


def reading(where, says, value, u, unit, limit=None, at_least=True) -> Measure:
    return Measure("survey." + says.split()[0], where, says, value, u, unit, limit, at_least, "a bench rule")


def judged(measures) -> list[Finding]:
    return [
        Finding(m.code, m.where, m.says, m.verdict, m.value, m.u, m.unit, m.limit, m.limit_source)
        for m in measures
        if m.verdict is not None
    ]


def undercut_of(mesh) -> UndercutPart:
    """Deeper the farther to the right; 0.1 mm2 and 0.01 mm3 under each triangle there."""
    depth = np.clip(mesh.vertices[:, 0] / 100.0, 0.0, None)
    under = depth[mesh.faces].min(axis=1) > 0.0
    return UndercutPart(Map(depth, 0.1 * under, 0.01 * under), 0.1, "a bench rule")


def patch(mesh, tooth: int, low: float, high: float, doubt: str = "") -> Patch:
    across = mesh.vertices[mesh.faces, 0].mean(axis=1)
    faces = np.flatnonzero((across > low) & (across < high))
    return Patch("wall", tooth, faces, 0.5 * len(faces), doubt)


def extras(mesh) -> dict[str, object]:
    regions = [patch(mesh, 11, -12.0, -4.0), patch(mesh, 22, 4.0, 25.0, "its border leaks")]
    measures = [
        reading("11", "usable wall height", 2.94, 0.1, "mm"),
        reading("11", "convergence of the walls", 7.2, 0.9, "deg", 10.0, False),
        reading("pin 11-2", "tooth left beside the pin", 0.83, 0.06, "mm", 1.0),
    ]
    under = (Under(0.0, 0.0, 0.0), Under(0.25, 12.5, 1.25))
    return {
        "undercut": replace(undercut_of(mesh), regions=under),
        "regions": regions,
        "measures": measures,
        "findings": judged(measures),
    }


def run(folder, made, **more):
    return write_survey_sheet(
        folder, made.case, scan=made.scan, mesh=made.mesh, survey=made.survey, meta=META, **more
    )


def words(made, **more):
    given = {"undercut": None, "regions": (), "measures": (), **more}
    given["closer"] = given.pop("findings", ())
    return sheet_words(made.case, made.scan, made.survey, META, made.mesh, **given)


@pytest.mark.parametrize("name", ["home", "binds", "unknown", "twelve", "many", "single"])
def test_one_page_whatever_the_case(name: str, request, tmp_path) -> None:
    made = request.getfixturevalue(name)
    written = run(tmp_path, made)
    pdf = written[0].read_bytes()
    assert written[0] == tmp_path / "results" / "survey-sheet.pdf"
    assert pdf.startswith(b"%PDF-")
    assert page_count(pdf) == 1
    assert sorted(p for p in (tmp_path / "results").rglob("*") if p.is_file()) == sorted(written)


def test_one_page_with_more_than_fits(twelve, tmp_path) -> None:
    more = extras(twelve.mesh)
    crowd = {
        "undercut": replace(more["undercut"], regions=more["undercut"].regions * 20),
        "regions": more["regions"] * 20,
        "measures": more["measures"] * 20,
        "findings": more["findings"] * 20,
    }
    assert page_count(run(tmp_path, twelve, **crowd)[0].read_bytes()) == 1


def test_the_same_case_gives_the_same_bytes(home, tmp_path) -> None:
    first, second = (run(tmp_path / name, home, **extras(home.mesh)) for name in "ab")
    assert [p.name for p in first] == [p.name for p in second]
    assert [p.read_bytes() for p in first] == [p.read_bytes() for p in second]


def test_the_scan_is_written_in_the_colours_of_the_picture(home, tmp_path) -> None:
    written = {p.name: p for p in run(tmp_path, home, **extras(home.mesh))}
    more = extras(home.mesh)
    colours = survey_colours(home.mesh, home.survey, more["undercut"], more["regions"])
    assert written["survey.ply"].read_bytes() == ply_bytes(home.mesh, colours)
    plain = glb_bytes(home.mesh, colours, up=home.survey.window.centre)
    assert written["survey.glb"].read_bytes()[-1000:] == plain[-1000:]
    assert b'"input":"5d1f3c77"' in written["survey.glb"].read_bytes()


def test_callipers_get_a_plan_and_no_scan(unknown, tmp_path) -> None:
    names = [p.name for p in run(tmp_path, unknown)]
    assert names[0] == "survey-sheet.pdf"
    assert not {"survey.ply", "survey.glb"} & set(names)


@pytest.mark.parametrize("spoilt", ["depth", "triangles", "region", "no scan"])
def test_parts_of_another_scan_are_refused(spoilt: str, home, unknown, tmp_path) -> None:
    more = extras(home.mesh)
    found = more["undercut"].map
    if spoilt == "depth":
        more["undercut"] = UndercutPart(replace(found, depth_mm=found.depth_mm[1:]), 0.1, "")
    if spoilt == "triangles":
        more["undercut"] = UndercutPart(replace(found, face_area_mm2=found.face_area_mm2[1:]), 0.1, "")
    if spoilt == "region":
        more["regions"] = [Patch("wall", 11, np.array([len(home.mesh.faces)]), 1.0)]
    with pytest.raises(ReportError, match="another scan"):
        run(tmp_path, unknown if spoilt == "no scan" else home, **more)
    assert not list(tmp_path.iterdir())


def test_colours_tell_depth_and_pins(home) -> None:
    made, part = home, undercut_of(home.mesh)
    colours = survey_colours(made.mesh, made.survey, part, ())
    copper = (colours == COPPER).all(axis=1)
    np.testing.assert_array_equal(colours[~copper], ramp(part.map.depth_mm, 0.1)[~copper])


def test_without_undercut_regions_are_tinted(home) -> None:
    region = patch(home.mesh, 11, -12.0, -4.0)
    colours = survey_colours(home.mesh, home.survey, None, [region])
    inside = np.zeros(len(colours), bool)
    inside[home.mesh.faces[region.faces]] = True
    copper = (colours == COPPER).all(axis=1)
    plaster = (colours == PLASTER).all(axis=1)
    assert plaster[~inside & ~copper].all()
    assert not plaster[inside].any()


def test_picture_has_a_name_for_each_pin_and_a_letter_for_each_region_in_sight(home) -> None:
    low = int(np.argmin(home.mesh.vertices[home.mesh.faces, 0].mean(axis=1)))
    hidden = Patch("wall", 11, np.zeros(0, int), 0.0)
    regions = [patch(home.mesh, 11, -12.0, -4.0), hidden, Patch("groove", 22, np.arange(low, low + 40), 2.0)]
    with look():
        colours = survey_colours(home.mesh, home.survey, None, regions)
        figure, shown = survey_picture(home.mesh, home.survey, colours, None, regions)
    assert shown == (True, False, True)
    names = [pin.name for pin in home.survey.field.pins]
    assert [text.get_text() for text in figure.axes[0].texts] == [*names, "A", "C"]


def test_letters_lie_inside_their_regions(home) -> None:
    region = patch(home.mesh, 22, 4.0, 12.0)
    with look():
        figure, _ = survey_picture(
            home.mesh, home.survey, np.full((len(home.mesh.vertices), 3), 200, np.uint8), None, [region]
        )
        picture = seen(
            home.mesh,
            home.survey.field,
            home.survey.window.centre,
            np.full((len(home.mesh.vertices), 3), 200, np.uint8),
        )
    x, y = figure.axes[0].lines[-1].get_xydata()[0]
    corners = picture.to_pixel(home.mesh.vertices[home.mesh.faces[region.faces]].reshape(-1, 3))
    assert corners[:, 0].min() < x < corners[:, 0].max()
    row, column = round(2.0 * y), round(2.0 * x)
    assert picture.field.face[row, column] in region.faces


def test_the_limit_is_outlined_only_where_it_is_passed(home) -> None:
    mesh, part = home.mesh, undercut_of(home.mesh)
    colours = survey_colours(mesh, home.survey, part, ())
    with look():
        over, _ = survey_picture(mesh, home.survey, colours, part, ())
        under, _ = survey_picture(mesh, home.survey, colours, replace(part, limit_mm=5.0), ())
    assert len(over.axes[0].collections) == 1
    assert len(under.axes[0].collections) == 0


@pytest.mark.parametrize("name", ["home", "twelve", "many"])
@pytest.mark.parametrize("width_mm", [104.0, 166.0])
def test_names_do_not_cover_each_other(name: str, width_mm: float, request) -> None:
    made = request.getfixturevalue(name)
    field = made.survey.field
    colours = np.full((len(made.mesh.vertices), 3), 200, np.uint8)
    with look():
        picture = seen(made.mesh, field, made.survey.window.centre, colours)
        figure = label(picture, [pin.name for pin in field.pins], picture.to_pixel(tips(field)), width_mm)
        figure.canvas.draw()
        boxes = [text.get_window_extent() for text in figure.axes[0].texts]
    assert not any(a.overlaps(b) for i, a in enumerate(boxes) for b in boxes[:i])


def test_letters_go_on_after_z() -> None:
    many = [letter(i) for i in range(60)]
    assert len(set(many)) == 60
    assert not any(set(word) & set("IO") for word in many)


def test_region_table_holds_each_region_against_the_limit(home) -> None:
    rows = words(home, **extras(home.mesh))["regions"]
    assert [(row["letter"], row["name"]) for row in rows] == [("A", "11 (8) wall"), ("B", "22 (10) wall")]
    inner, outer = rows
    assert (inner["under"][1], outer["under"][1], outer["fill"][1]) == ("0.0", "12.5", "1.2")
    assert (inner["against"], outer["against"]) == ("within", "beyond")
    assert outer["deepest"][1] == "250"
    assert outer["doubt"] == "its border leaks"


def test_undercut_says_its_limit_and_its_totals(home) -> None:
    part = undercut_of(home.mesh)
    said = words(home, undercut=part)["undercut"]
    assert said["ticks"] == ["0 µm ", "100 µm limit", "200 µm or more"]
    assert said["source"] == "a bench rule"
    assert f"{part.map.face_area_mm2.sum():.0f} mm² undercut" in said["total"]
    assert said["shades"] == [list(c) for c in ramp([0.0, 0.1, 0.10001, 0.2], 0.1).tolist()]
    assert words(home)["undercut"] is None


def test_measures_beyond_their_limit_come_first(home) -> None:
    rows = words(home, **extras(home.mesh))["measures"]
    assert [(row["verdict"], row["value"], row["limit"]) for row in rows] == [
        ("stop", "0.830 ± 0.060 mm", "at least 1 mm"),
        ("clear", "7.20 ± 0.90°", "at most 10°"),
        ("", "2.94 ± 0.10 mm", "none stated"),
    ]


def test_the_worst_leads(home, binds) -> None:
    assert words(home)["verdict"] == {
        "word": "caution",
        "why": "The wall was seen from one side only (pin 22-2): 0.44, limit 0.5.",
        "next": "Scan this pin once more from the tongue side.",
    }
    assert words(binds)["verdict"]["word"] == "stop"
    assert words(binds)["verdict"]["next"] == "Widen the hole of pin 11-1 or recut it along the draw."
    measured = words(home, **extras(home.mesh))["verdict"]
    assert measured["word"] == "stop"
    assert measured["why"] == "Tooth left beside the pin (pin 11-2): 0.830 ± 0.060 mm, limit 1 mm."


def test_all_clear_says_go_on_and_nothing_checked_says_so() -> None:
    clear = Finding("a.b", "", "One draw serves all pins", "clear", 1.0, 0.1, "deg")
    assert headline((clear,)) == {
        "word": "clear",
        "why": "One draw serves all pins.",
        "next": "Nothing needs changing. Go on with the impression.",
    }
    assert headline(())["word"] == "cannot tell"


def test_worst_first_keeps_the_order_within_a_verdict() -> None:
    found = [
        Finding(str(i), "", "x", verdict) for i, verdict in enumerate(("clear", "caution", "stop", "clear"))
    ]
    assert [f.code for f in worst_first(found)] == ["2", "1", "0", "3"]


def along(made, draw, u_deg: float = 0.01):
    unit = np.array(draw) / np.linalg.norm(draw)
    window = replace(made.survey.window, centre=unit, u_size_deg=u_deg)
    return draw_words(replace(made.survey, window=window))


@pytest.mark.parametrize(
    ("draw", "said"),
    [
        (
            (math.tan(math.radians(3.0)), -math.tan(math.radians(7.0)), 1.0),
            ("3.00", "+x", "7.00", "−y", "+z"),
        ),
        ((-1.0, 0.0, math.tan(math.radians(12.5))), ("0.00", "+y", "12.50", "+z", "−x")),
    ],
)
def test_draw_as_two_angles(home, draw, said) -> None:
    first, towards, second, then, stands = said
    words_ = along(home, draw)
    assert words_["angles"] == f"Leans {first}° towards {towards} and {second}° towards {then} from {stands}"
    assert [view["angle"] for view in words_["views"]] == [f"{first}°", f"{second}°"]
    assert [view["up"] for view in words_["views"]] == [stands, stands]


def test_views_are_drawn_larger_when_angles_are_small(home) -> None:
    small = along(home, (math.tan(math.radians(0.5)), 0.0, 1.0))
    assert small["times"] == "Angles drawn 20 times as large."
    assert [view["turn"] for view in small["views"]] == pytest.approx([10.0, 0.0])
    steep = along(home, (math.tan(math.radians(30.0)), 0.0, 1.0))
    assert steep["times"] == "Angles drawn as they are."


def test_angles_have_the_digits_that_the_window_knows(home, unknown) -> None:
    draw = (math.tan(math.radians(3.21)), 0.0, 1.0)
    assert along(home, draw, 1.8)["angles"].startswith("Leans 3.2° ")
    assert along(home, draw, 14.0)["angles"].startswith("Leans 3° ")
    assert along(home, draw, math.inf)["angles"].startswith("Leans 3.21° ")
    assert "of the sketch" in along(unknown, draw)["words"]
    assert "of the scan" in along(home, draw)["words"]


def test_origin_is_the_middle_of_the_feet(home) -> None:
    middle = np.mean([pin.foot for pin in home.survey.field.pins], axis=0)
    shown = ", ".join(f"{x:.2f}".replace("-", "−") for x in middle)
    assert f"({shown}) mm" in draw_words(home.survey)["words"]


def test_words_of_a_person_are_never_read_as_markup(home, tmp_path) -> None:
    hostile = home.case.model_copy(update={"title": HOSTILE, "number": "#7 $"})
    made = replace(home, case=hostile)
    more = extras(home.mesh)
    more["measures"] = [reading(HOSTILE, HOSTILE, 1.0, 0.1, "mm", 2.0)]
    more["findings"] = judged(more["measures"])
    run(tmp_path, made, **more)
    plain = tidy(words(made, **more))
    plain["picture"] = {"file": "/figures/survey-picture.svg", "alt": HOSTILE, "caption": HOSTILE}
    plain["window"]["file"] = "/figures/survey-window.svg"
    inputs = {"data": json.dumps(plain), "size": "7", "most": "9", "high": "40"}
    found = typst.query(
        template("survey_sheet.typ"),
        "heading",
        root=tmp_path / "results",
        sys_inputs=inputs,
        ignore_system_fonts=True,
    )
    bodies = [item["body"] for item in json.loads(found)]
    said = ["".join(p.get("text", " ") for p in body.get("children", [body])).strip() for body in bodies]
    assert said == [
        "Pins",
        "Regions",
        "Distances and tapers",
        "Findings",
        "Draw",
        "How this was made",
    ]
    assert clean(HOSTILE) in plain["case"]["title"]
