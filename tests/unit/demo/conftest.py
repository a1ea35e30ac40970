"""Scans shared by the tests of the generator; each takes about a second to make."""

from __future__ import annotations

import pytest

from pinseat.demo.cases import Scenario, patch
from pinseat.demo.scanner import Scanner


@pytest.fixture(scope="session")
def exact() -> Scenario:
    """Without noise, warp, damage or pose."""
    return patch(4, scanner=Scanner(noise_um=0.0, warp_um=0.0, holes=0, speck=False, posed=False))


@pytest.fixture(scope="session")
def scanned() -> Scenario:
    return patch(4)
