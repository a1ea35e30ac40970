"""What the pages on the case folder show can be typed as it stands."""

import re
import tomllib
from pathlib import Path

import pytest

from pinseat.case.document import load_case, problems
from pinseat.case.model import Case

DOCS = Path(__file__).parents[3] / "docs"
MINIMAL = """
number = "7"
missing = [21]
[[abutments]]
tooth = 11
pins = 1
hole_diameter_mm = 0.7
hole_depth_mm = 2.5
cast_pin_diameter_mm = 0.6
"""


def blocks(page: str, language: str = "toml") -> list[str]:
    text = (DOCS / page).read_text(encoding="utf-8")
    return re.findall(rf"```{language}\n(.*?)```", text, flags=re.DOTALL)


def test_the_whole_case_loads(tmp_path: Path) -> None:
    (whole,) = blocks("reference/case-folder.md")
    (tmp_path / "scans").mkdir()
    (tmp_path / "scans" / "upper.stl").write_bytes(b"any")
    (tmp_path / "case.toml").write_text(whole, encoding="utf-8")
    assert load_case(tmp_path).abutments[0].hole_diameter_mm == 0.7


@pytest.mark.parametrize("block", blocks("how-to/edit-a-case.md"))
def test_each_edit_fits_into_a_case(block: str) -> None:
    before, after = ("", block) if block.startswith("[") else (block, "")
    document = tomllib.loads(before + MINIMAL + after)
    plain = Case.model_validate(tomllib.loads(MINIMAL))
    assert Case.model_validate(document) != plain


def test_every_part_of_a_case_is_on_the_page() -> None:
    page = (DOCS / "reference" / "case-folder.md").read_text(encoding="utf-8")
    names = [field.alias or name for name, field in Case.model_fields.items()]
    assert [name for name in names if not re.search(rf"\[{name}\]|`{name}`", page)] == []


@pytest.mark.parametrize(
    ("row", "slip"),
    [
        (0, ("cast_pin_diameter_mm = 0.62", "cast_pin_diametr_mm = 0.62")),
        (1, ("hole_depth_mm = 2.5", "hole_depth_mm = 2,5")),
    ],
)
def test_the_lines_on_the_page_are_those_its_case_gives(
    tmp_path: Path, row: int, slip: tuple[str, str]
) -> None:
    (whole,), (shown,) = blocks("reference/case-folder.md"), blocks("reference/case-folder.md", "text")
    (tmp_path / "case.toml").write_text(whole.replace(*slip, 1), encoding="utf-8")
    assert [said.replace(str(tmp_path), "front") for said in problems(tmp_path)] == [shown.splitlines()[row]]
