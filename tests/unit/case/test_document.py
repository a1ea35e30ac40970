from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pinseat.case.document import load_case, problems
from pinseat.errors import CaseError

from .conftest import BENCH, FRONT

Write = Callable[..., Path]


def refusal(folder: Path) -> str:
    with pytest.raises(CaseError) as caught:
        load_case(folder)
    text = str(caught.value)
    assert "\n" not in text
    return text.replace(str(folder), "front")


def test_a_case_is_read_from_its_folder_or_its_file(write: Write) -> None:
    folder = write(FRONT)
    case = load_case(folder)
    assert case == load_case(folder / "case.toml")
    assert case.missing == (21,)
    assert [a.tooth for a in case.abutments] == [11, 22]
    assert case.abutments[0].hole_diameter_mm == 0.7
    assert problems(folder) == []


def test_a_case_from_callipers_is_read(write: Write) -> None:
    case = load_case(write(BENCH))
    assert case.callipers is not None
    assert case.callipers.layout[1].x_mm == -1.5
    assert case.callipers.readings[0].mm == (18.42, 18.44)


def test_a_byte_order_mark_and_windows_line_ends_are_tolerated(write: Write) -> None:
    folder = write(FRONT)
    plain = load_case(folder)
    (folder / "case.toml").write_bytes(b"\xef\xbb\xbf" + FRONT.replace("\n", "\r\n").encode())
    assert load_case(folder) == plain


LINES = [
    ("cast_pin_diameter_mm = 0.62", "cast_pin_diametr_mm = 0.62", "front/case.toml, line 15, "
     "abutments[1].cast_pin_diametr_mm (tooth 11): this key is not known; "
     "did you mean cast_pin_diameter_mm?"),
    ("hole_depth_mm = 2.5", "hole_depth_mm = 2,5", "front/case.toml, line 14, column 18: a decimal comma "
     'needs quotes here (hole_depth_mm = 2,5); write "2,5" in quotes, or 2.5'),
    ("hole_depth_mm = 2.5", "hole_depth_mm = [2,5]", "front/case.toml, line 14, abutments[1].hole_depth_mm "
     "(tooth 11): this is a list where one number belongs ([2, 5]; expected one number, such as 18.42 or "
     '"18,42"); write a decimal comma in quotes, as "2,5"'),
    ("hole_depth_mm = 2.5", "hole_depth_mm = 25", "front/case.toml, line 14, abutments[1].hole_depth_mm "
     "(tooth 11): this is too large (25.0; expected less than 8 mm)"),
    ("hole_depth_mm = 2.2\n", "", "front/case.toml, line 17, abutments[2].hole_depth_mm (tooth 22): this is "
     "missing: depth of the hole along its axis; add it"),
    ("0.62", "0.72", "front/case.toml, line 15, abutments[1].cast_pin_diameter_mm (tooth 11): the cast pin "
     "does not fit its hole (0.72 mm; expected less than the hole's 0.7 mm)"),
    ('unit = "mm"', 'unit = "ft"', "front/case.toml, line 8, scan.unit: this is not one of the choices "
     '("ft"; expected "um", "mm", "cm", "m" or "in")'),
    ("missing = [21]", 'missing = ["x"]', "front/case.toml, line 4, missing[1]: this is not a whole number "
     '("x")'),
    ('"scans/upper.stl"', '"scans\\upper.stl"', "front/case.toml, line 7, column 16: this text has a "
     'backslash (file = "scans\\upper.stl"); write / between the parts of a path'),
    ("schema = 1", "schema = 2", "front/case.toml, line 1, schema: this case was written by a later pinseat "
     "(2; expected at most 1); update pinseat"),
    ("tooth = 22", "tooth = 21", "front/case.toml, line 18, abutments[2].tooth: this tooth is stated as "
     "missing and as an abutment (21); take it out of one of them"),
    ("tooth = 22", "tooth = 62", "front/case.toml, line 18, abutments[2].tooth: this is a deciduous tooth "
     "(62); state permanent teeth only: a milk tooth has a large pulp and will be shed"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "line"), LINES)
def test_each_mistake_gives_one_line_that_says_where_and_what_to_do(
    write: Write, old: str, new: str, line: str
) -> None:
    assert refusal(write(FRONT, (old, new))) == line


PARTS = [
    (FRONT, "number = \"invented 7\"", "number = 7", "words in quotes (7)"),
    (FRONT, "number = \"invented 7\"", 'number = "a\\nb"', "one line of plain text"),
    (FRONT, "pins = 3", "pins = true", "this is not a whole number (true)"),
    (FRONT, "pins = 3", "pins = 2.5", "this is not a whole number (2.5)"),
    (FRONT, "hole_depth_mm = 2.5", "hole_depth_mm = true", "this is not a number (true"),
    (FRONT, "hole_depth_mm = 2.5", "hole_depth_mm = nan", "a reading must be a finite number"),
    (FRONT, "hole_depth_mm = 2.5", f"hole_depth_mm = {10**400}", "this number is too large"),
    (FRONT, "hole_depth_mm = 2.5", 'hole_depth_mm = "1.234,5"', "mixes commas and points"),
    (FRONT, "hole_depth_mm = 2.5", 'hole_depth_mm = "two"', 'this is not a number ("two"'),
    (FRONT, "hole_depth_mm = 2.5", "hole_depth_mm = {a = 1}", "this is not a number (a table"),
    (FRONT, "pins = 3", "pins = 3\nat = [1, 2]", "too few values ([1, 2]; expected 3 values)"),
    (FRONT, "pins = 3", "pins = 3\nat = [1,5, 2,5, 3,5]", 'decimal commas in quotes, such as "18,42"'),
    (FRONT, "pins = 3", "pins = 3\npins = 3", "a key above it stands twice"),
    (FRONT, "[scan]", "[scan]\nmissing = [21]", "belongs at the top of the file, above the first [table]"),
    (FRONT, "[scan]", "[scan]\nlimit_um = 50", "it belongs to seat"),
    (FRONT, "[scan]", "[scan]\nzzz = 50", "the keys here are file, unit, sha256"),
    (FRONT, '"mm"', "mm", 'put words in quotes, such as "FDI"'),
    (FRONT, "[scan]", "[scan", "a [ is not closed"),
    (FRONT, "unit = \"mm\"", "unit", "there is no = after the key"),
    (FRONT, "tooth = 22", "tooth = 11", "this abutment stands twice (11)"),
    (FRONT, "tooth = 22", "tooth = 42", "cannot stand in both arches"),
    (FRONT, "missing = [21]", "missing = [21, 21]", "this tooth stands twice (21)"),
    (FRONT, "hole_depth_mm = 2.5", "hole_depth_mm = 1.5\nfloor_relief_mm = 1.5", "leaves no pin in the hole"),
    (FRONT, "pins = 3", "pins = 3\nimpression_pin_diameter_mm = 0.8", "impression pin does not fit its hole"),
    (FRONT, "pins = 3", "pins = 3\nimpression_pin_length_mm = 2.0", "would not stand out of its hole"),
    (FRONT, "scans/upper.stl", "scans/other.stl", 'this file is not there ("scans/other.stl")'),
    (FRONT, "scans/upper.stl", "../upper.stl", "lies outside the case folder"),
    (FRONT, "[scan]", "[[pins]]\naction = \"move\"\ntooth = 12\nnumber = 1\nfoot = [0, 0, 0]\n[scan]",
     "this tooth is not an abutment (12; expected one of 11, 22)"),
    (FRONT, "[scan]", "[[pins]]\naction = \"add\"\ntooth = 11\nfoot = [0, 0, 0]\n[scan]",
     "a pin to add needs foot and tip"),
    (FRONT, "[scan]", "[[pins]]\naction = \"move\"\ntooth = 11\nnumber = 1\n[scan]",
     "needs foot, tip or both"),
    (FRONT, "[scan]", "[[pins]]\naction = \"reject\"\ntooth = 11\n[scan]", "which pin to reject is not said"),
    (FRONT, "[scan]", "[[pins]]\naction = \"add\"\ntooth = 11\nfoot = [0, 0, 1]\ntip = [0, 0, 1]\n[scan]",
     "foot and tip are the same point"),
    (FRONT, "[scan]", 2 * "[[pins]]\naction = \"reject\"\ntooth = 11\nnumber = 1\n" + "[scan]",
     "this pin is edited twice"),
    (FRONT, "[scan]", "[seat]\nwanted_probability = 1.0\n[scan]", "too large (1.0; expected less than 1)"),
    (FRONT, "[scan]", "[seat]\nlimit_um = 2000\n[scan]", "expected at most 1000 um"),
    (FRONT, "[scan]", "[seat]\nseed = -1\n[scan]", "too small (-1; expected at least 0)"),
    (FRONT, "hole_depth_mm = 2.5", "hole_depth_mm = 0.2", "too small (0.2; expected more than 0.3 mm)"),
    (FRONT, "[scan]\nfile = \"scans/upper.stl\"\nunit = \"mm\"\n", "scan = 3\n",
     "must be a table of keys (3)"),
    (FRONT, "missing = [21]", "missing = 21", "must be a list in [ ] (21; expected a list such as [11, 22])"),
    (FRONT, "number = \"invented 7\"", 'number = ""', "this is empty"),
    (FRONT, "number = \"invented 7\"", "number = {a = 1}", "words in quotes (a table"),
    (FRONT, "number = \"invented 7\"", "number = \"7\" x", "this line cannot be read as TOML"),
    (BENCH, 'pins = ["11-1", "22-1"]', 'pins = ["11-1"]', 'too few values (["11-1"]; expected 2 values)'),
    (BENCH, '["18,42", 18.44]', "[]", "too few values ([]; expected at least 1)"),
    (BENCH, '["18,42", 18.44]', '[18,"42"]', "the repeats of this reading are far apart"),
    (BENCH, 'pins = ["11-1", "22-1"]', 'pins = ["11-1", "22-1", "11-2"]', "expected 2 values)"),
    (FRONT, "[scan]", "[[contacts]]\nkind = \"wall\"\ntooth = 13\npoint = [0, 0, 0]\n[scan]",
     "not an abutment (13"),
    (FRONT, "[scan]", "[[contacts]]\nkind = \"wall\"\ntooth = 11\npoint = [1, 0, 0]\n"
     "normal = [0, 0, 0]\n[scan]",
     "this normal has no direction"),
    (FRONT, "[scan]", 2 * "[[measured]]\ncopy = \"die\"\nerror = \"scale\"\nmean = 0\nu = 1\nhow = \"x\"\n"
     + "[scan]", "the scale error of the die stands twice"),
    (BENCH, "[callipers]", "[scan]\nfile = \"scans/upper.stl\"\n[callipers]",
     "the scan or from callipers, not from both"),
    (BENCH, "pins = 1", "pins = 2",
     "does not hold each pin of tooth 22 once (1 of 2; expected numbers 1 to 2)"),
    (BENCH, "number = 2,", "number = 1,", "this pin stands twice (11-1)"),
    (BENCH, '"22-1"', '"22-2"', 'not in the layout ("22-2"; expected one of 11-1, 11-2, 22-1)'),
    (BENCH, '"22-1"', '"22/1"', 'no name of a pin ("22/1"; expected tooth and number, such as "11-2")'),
    (BENCH, '"22-1"', '"11-1"', "between two different pins"),
    (BENCH, '["18,42", 18.44]', "[18,42]", 'if you mean 18,42, write ["18,42"] with the quotes'),
    (BENCH, '["18,42", 18.44]', "[-18.4]", "a distance must be more than nothing"),
    (BENCH, '"tip to base"', '"base"', "this reading stands twice"),
    (BENCH, "x_mm = -4.0", 'x_mm = "a"', "line 21, callipers.layout[1].x_mm (tooth 11)"),
    (BENCH, "[callipers]", "[[pins]]\naction = \"reject\"\ntooth = 11\nnumber = 1\n[callipers]",
     "no scan on which to edit pins"),
    (BENCH, "[callipers]", "[[contacts]]\nkind = \"wall\"\ntooth = 11\npoint = [0, 0, 0]\n[callipers]",
     "without a scan a contact needs its normal"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "old", "new", "says"), PARTS)
def test_what_does_not_go_together_is_said(write: Write, text: str, old: str, new: str, says: str) -> None:
    assert says in refusal(write(text, (old, new)))


def test_a_case_needs_a_pin_and_somewhere_to_take_pins_from(write: Write) -> None:
    assert "no abutment has a pin" in refusal(
        write(FRONT, ("pins = 3", "pins = 0"), ("pins = 2", "pins = 0"))
    )
    scan = '[scan]\nfile = "scans/upper.stl"\nunit = "mm"\n'
    assert "neither a scan nor callipers" in refusal(write(FRONT, (scan, "")))


def test_a_link_out_of_the_folder_is_refused(write: Write, tmp_path_factory: pytest.TempPathFactory) -> None:
    folder = write(FRONT)
    outside = tmp_path_factory.mktemp("elsewhere") / "upper.stl"
    outside.write_bytes(b"any")
    (folder / "scans" / "upper.stl").unlink()
    (folder / "scans" / "upper.stl").symlink_to(outside)
    assert "a link leads out of the case folder" in refusal(folder)


def test_more_than_one_mistake_is_counted_and_each_can_be_had(write: Write) -> None:
    folder = write(FRONT, ("2.5", '"deep"'), ("pins = 2", "pins = 9"), ('"mm"', '"ft"'))
    line = refusal(folder)
    assert line.startswith("front/case.toml, line 8, scan.unit:")
    assert line.endswith("2 more things to mend on lines 14, 19")
    said = problems(folder)
    assert [text.split(", ")[1] for text in said] == ["line 8", "line 14", "line 19"]


def test_a_question_mark_means_still_to_be_filled_in(write: Write) -> None:
    line = refusal(write(FRONT, ("pins = 3", 'pins = "?"'), ('"FDI"', '"?"')))
    assert "line 3, notation: this is still to be filled in" in line
    assert line.endswith("1 more thing to mend on line 12")


def test_a_file_that_is_not_there_or_no_text_is_told(tmp_path: Path) -> None:
    assert "there is no such case folder" in refusal(tmp_path / "nowhere")
    assert "there is no case.toml in it" in refusal(tmp_path)
    (tmp_path / "case.toml").write_bytes(b'number = "7"\ntitle = "\xff"\n')
    assert "case.toml, line 2: this is not UTF-8 text" in refusal(tmp_path)
    (tmp_path / "case.toml").write_bytes(b"#" * 1_000_001)
    assert "too large for a case file" in refusal(tmp_path)
    (tmp_path / "case.toml").write_bytes(b"a = " + b"[" * 100_000)
    assert "case.toml, line 1" in refusal(tmp_path)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    at=st.integers(0, len(BENCH) - 1),
    cut=st.integers(0, 12),
    put=st.text(alphabet='[]{}"=,.\n#?-1x \\\0é', max_size=6),
    text=st.sampled_from([FRONT, BENCH]),
)
def test_whatever_is_typed_gives_a_case_or_one_line(
    write: Write, at: int, cut: int, put: str, text: str
) -> None:
    folder = write(text[:at] + put + text[at + cut :])
    said = problems(folder)
    assert all("\n" not in line and line.startswith(str(folder)) for line in said)
    if not said:
        assert load_case(folder).notation == "FDI"
