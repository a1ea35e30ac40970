import pytest

from pinseat.report.teeth import both


@pytest.mark.parametrize(
    ("tooth", "text"), [(11, "11 (8)"), (22, "22 (10)"), (36, "36 (19)"), (48, "48 (32)")]
)
def test_both_names(tooth: int, text: str) -> None:
    assert both(tooth) == text
