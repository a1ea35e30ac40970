from collections.abc import Callable
from pathlib import Path

import pytest

FRONT = """\
schema = 1
number = "invented 7"
notation = "FDI"
missing = [21]

[scan]
file = "scans/upper.stl"
unit = "mm"

[[abutments]]
tooth = 11
pins = 3
hole_diameter_mm = "0,70"
hole_depth_mm = 2.5
cast_pin_diameter_mm = 0.62

[[abutments]]
tooth = 22
pins = 2
hole_diameter_mm = 0.70
hole_depth_mm = 2.2
cast_pin_diameter_mm = 0.60
"""

BENCH = """\
number = "invented 8"
notation = "FDI"
missing = [21]

[[abutments]]
tooth = 11
pins = 2
hole_diameter_mm = 0.70
hole_depth_mm = 2.5
cast_pin_diameter_mm = 0.62

[[abutments]]
tooth = 22
pins = 1
hole_diameter_mm = 0.70
hole_depth_mm = 2.2
cast_pin_diameter_mm = 0.60

[callipers]
layout = [
  { tooth = 11, number = 1, x_mm = -4.0, y_mm = 0.0, guide_length_mm = 8.0 },
  { tooth = 11, number = 2, x_mm = "-1,5", y_mm = 2.0, guide_length_mm = 8.0 },
  { tooth = 22, number = 1, x_mm = 14.0, y_mm = 0.5, guide_length_mm = 8.0 },
]

[[callipers.readings]]
kind = "base"
pins = ["11-1", "22-1"]
mm = ["18,42", 18.44]

[[callipers.readings]]
kind = "tip to base"
pins = ["11-1", "22-1"]
mm = [19.7]
"""

Write = Callable[..., Path]


@pytest.fixture
def write(tmp_path: Path) -> Write:
    """Write a case folder from a text with replacements; each must be found in it."""

    def _write(text: str, *changes: tuple[str, str]) -> Path:
        for old, new in changes:
            assert old in text
            text = text.replace(old, new, 1)
        (tmp_path / "scans").mkdir(exist_ok=True)
        (tmp_path / "scans" / "upper.stl").write_bytes(b"any")
        (tmp_path / "case.toml").write_bytes(text.encode("utf-8"))
        return tmp_path

    return _write
