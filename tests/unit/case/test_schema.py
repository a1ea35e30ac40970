import json
import math
import tomllib
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pinseat.case.model import Case
from pinseat.case.schema import case_schema
from pinseat.errors import UnitError
from pinseat.units import reading

from .conftest import BENCH, FRONT

PAGE = Path(__file__).parents[3] / "docs" / "reference" / "case.schema.json"
SCHEMA = case_schema()
CHECK = jsonschema.Draft202012Validator(SCHEMA)


def test_it_is_a_draft_2020_12_schema() -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    assert SCHEMA["$schema"] == "https://json-schema.org/draft/2020-12/schema"


def test_the_page_in_the_docs_is_fresh() -> None:
    made = json.dumps(SCHEMA, indent=2, ensure_ascii=False) + "\n"
    assert PAGE.read_text(encoding="utf-8") == made, "run: make docs"


@pytest.mark.parametrize("text", [FRONT, BENCH])
def test_good_cases_pass(text: str) -> None:
    CHECK.validate(tomllib.loads(text))


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("cast_pin_diameter_mm = 0.62", "cast_pin_diametr_mm = 0.62"),
        ("pins = 3", "pins = 9"),
        ("hole_depth_mm = 2.5", "hole_depth_mm = 25"),
        ("hole_depth_mm = 2.5", 'hole_depth_mm = "deep"'),
        ('unit = "mm"', 'unit = "ft"'),
        ("pins = 3", "pins = 3\nat = [1, 2]"),
        ("pins = 3", "pins = 3\nimpression_pin_diameter_mm = 4"),
        ("schema = 1", "schema = 2"),
        ("missing = [21]\n", ""),
    ],
)
def test_bad_cases_fail(old: str, new: str) -> None:
    assert old in FRONT
    assert not CHECK.is_valid(tomllib.loads(FRONT.replace(old, new, 1)))


@given(
    st.from_regex(
        SCHEMA["$defs"]["TypedNumber"]["pattern"], fullmatch=True, alphabet=st.characters(codec="ascii")
    )
)
def test_every_typed_number_the_schema_lets_through_can_be_read(text: str) -> None:
    value = float(text.replace(",", "."))
    if math.isfinite(value):
        assert reading(text) == value
    else:  # 1e999
        with pytest.raises(UnitError, match="a finite number"):
            reading(text)


def objects(node: Any) -> list[dict[str, Any]]:
    if isinstance(node, list):
        return [o for item in node for o in objects(item)]
    if not isinstance(node, dict):
        return []
    return [node, *(o for value in node.values() for o in objects(value))]


def test_every_key_has_a_title_a_description_and_its_unit() -> None:
    for table in (o for o in objects(SCHEMA) if o.get("type") == "object"):
        for key, field in table["properties"].items():
            assert field["title"], key
            assert field["description"], key
            if key.endswith("_mm"):
                assert field["unit"] == "mm"
            if key.endswith("_um"):
                assert field["unit"] == "um"


def test_examples_fit_their_own_fields() -> None:
    seen = 0
    for node in objects(SCHEMA):
        for example in node.get("examples", ()):
            jsonschema.Draft202012Validator({"$defs": SCHEMA["$defs"], **node}).validate(example)
            seen += 1
    assert seen >= 6


def test_a_read_case_written_out_again_passes() -> None:
    case = Case.model_validate(tomllib.loads(FRONT))
    CHECK.validate(case.model_dump(mode="json", by_alias=True, exclude_none=True))
