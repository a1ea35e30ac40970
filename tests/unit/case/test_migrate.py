import tomllib
from pathlib import Path

import pytest

from pinseat.case.document import load_case
from pinseat.case.migrate import SCHEMA, STEPS, from_0, migrate
from pinseat.errors import CaseError

STORED = Path(__file__).parent / "stored"


def test_each_layout_has_its_stored_file() -> None:
    assert [p.name for p in sorted(STORED.glob("schema-*.toml"))] == [
        f"schema-{n}.toml" for n in range(SCHEMA)
    ]
    assert len(STEPS) == SCHEMA


def test_schema_0_is_read_as_if_it_had_been_written_today(tmp_path: Path) -> None:
    (tmp_path / "scans").mkdir()
    (tmp_path / "scans" / "upper.stl").write_bytes(b"any")
    old = (STORED / "schema-0.toml").read_bytes()
    (tmp_path / "case.toml").write_bytes(old)
    case = load_case(tmp_path)
    assert case.schema_ == 1
    assert (case.number, case.title, case.missing) == ("invented 12", "one incisor, invented", (21,))
    assert case.scan is not None
    assert (case.scan.file, case.scan.unit) == ("scans/upper.stl", "mm")
    first, second = case.abutments
    assert (first.hole_diameter_mm, first.hole_depth_mm, first.cast_pin_diameter_mm) == (0.7, 2.5, 0.62)
    assert (first.floor_relief_mm, second.floor_relief_mm) == (0.12, 0.10)
    assert (case.chain.impression, case.chain.die, case.seat.limit_um) == (
        "polyether",
        "copper plated",
        100.0,
    )
    assert (tmp_path / "case.toml").read_bytes() == old


def test_a_migration_leaves_what_it_was_given_alone() -> None:
    document = tomllib.loads((STORED / "schema-0.toml").read_text())
    again = tomllib.loads((STORED / "schema-0.toml").read_text())
    from_0(document)
    assert document == again


def test_a_present_document_passes_unchanged() -> None:
    assert migrate({"number": "7"}) == {"number": "7"}
    assert migrate({"schema": 1, "gap": [21]}) == {"schema": 1, "gap": [21]}


def test_an_unknown_old_key_is_still_refused(tmp_path: Path) -> None:
    text = (STORED / "schema-0.toml").read_text().replace("depth_mm", "dept_mm")
    (tmp_path / "case.toml").write_text(text)
    with pytest.raises(CaseError, match="dept_mm"):
        load_case(tmp_path)


@pytest.mark.parametrize("version", ["1", True, -1, 1.0, None])
def test_a_version_that_is_none_is_refused(version: object) -> None:
    with pytest.raises(CaseError, match="schema says nothing that is known"):
        migrate({"schema": version})


def test_a_later_version_is_refused() -> None:
    with pytest.raises(CaseError, match=r"later pinseat \(2; expected at most 1\); update pinseat"):
        migrate({"schema": 2})


def test_odd_shapes_in_an_old_file_are_left_for_the_reader_to_refuse() -> None:
    assert from_0({"schema": 0, "abutment": [3], "scan": 4}) == {"schema": 1, "abutments": [3], "scan": 4}
