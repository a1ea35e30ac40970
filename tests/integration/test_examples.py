"""Each example runs and says what its text promises."""

from __future__ import annotations

import runpy
from pathlib import Path

import pytest

EXAMPLES = Path(__file__).parents[2] / "examples"
PROMISES = {"seat_from_python.py": ["span error -44 um", "cannot tell", "mould's expansion"]}


def test_no_example_is_left_out() -> None:
    assert {path.name for path in EXAMPLES.glob("*.py")} == set(PROMISES)


@pytest.mark.parametrize("name", PROMISES)
def test_example(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    runpy.run_path(str(EXAMPLES / name), run_name="__main__")
    said = capsys.readouterr().out
    for words in PROMISES[name]:
        assert words in said
