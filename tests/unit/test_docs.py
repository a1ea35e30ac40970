"""The generated pages are those that the code would make now; links lead somewhere."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from docs.build import pages

ROOT = Path(__file__).parents[2]
TEXTS = sorted([*ROOT.glob("*.md"), *ROOT.glob("docs/**/*.md")])


@pytest.mark.parametrize("path", pages(), ids=lambda p: p.name)
def test_generated_page_is_fresh(path: Path) -> None:
    assert path.read_text(encoding="utf-8") == pages()[path], "run: make docs"


@pytest.mark.parametrize("path", TEXTS, ids=lambda p: p.name)
def test_links_within_the_repository_lead_somewhere(path: Path) -> None:
    for target in re.findall(r"\]\((?!https?:|#)([^)#\s]+)", path.read_text(encoding="utf-8")):
        assert (path.parent / target).exists(), f"{path.name} links to {target}"
