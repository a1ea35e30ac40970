"""What was acknowledged is there after a power cut, and every case opens; 200 cuts run in the benchmarks."""

from __future__ import annotations

from pathlib import Path

from tests.power_cuts import power_cuts


def test_nothing_acknowledged_is_lost(tmp_path: Path) -> None:
    found = power_cuts(tmp_path, 5, seed=1)
    assert found.acknowledged > 20
    assert (found.lost, found.broken, found.half_written) == (0, 0, 0)
