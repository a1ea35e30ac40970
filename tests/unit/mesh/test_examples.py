import doctest
import importlib

import pytest


@pytest.mark.parametrize("name", ["content", "raster", "topology", "unit_guess"])
def test_the_examples_in_the_docstrings(name):
    result = doctest.testmod(importlib.import_module(f"pinseat.mesh.{name}"))
    assert result.attempted > 0
    assert result.failed == 0
