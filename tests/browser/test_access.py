"""For everyone: axe finds no serious fault, nothing needs a mouse, nothing runs over a small screen."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from pinseat.case.document import load_case

pytestmark = pytest.mark.browser
expect.set_options(timeout=60_000)
Open = Callable[..., Page]
Keep = Callable[[Page, str], None]


def faults(page: Page) -> list[str]:
    """What axe (axe-core, MPL 2.0) calls serious or critical: its rule, and where."""
    found = Axe().run(page).response["violations"]
    return [
        f"{one['id']}: {node['target'][0]}"
        for one in found
        if one["impact"] in ("serious", "critical")
        for node in one["nodes"]
    ]


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_axe_finds_nothing_serious(page_of: Open, keep: Keep, dark: bool) -> None:
    light = "dark" if dark else "light"
    page = page_of(dark=dark)
    page.wait_for_selector("#stage[data-drawn][data-tree]")
    page.select_option("#map", "undercut")
    expect(page.locator("#legend")).to_be_visible()
    for summary in page.locator("#sheet details.more > summary").all()[:4]:
        summary.click()
    assert faults(page) == []
    page.set_viewport_size({"width": 400, "height": 850})
    wide = page.evaluate("[document.documentElement.scrollWidth, innerWidth]")
    assert wide[0] <= wide[1]
    expect(page.locator("#bar .verdict")).to_be_visible()
    expect(page.locator("#canvas")).to_be_visible()
    expect(page.locator("#ledger tfoot")).to_be_visible()
    keep(page, f"narrow-{light}")
    assert faults(page) == []
    page.goto(page.url.rsplit("/case/", 1)[0] + "/")
    assert faults(page) == []
    keep(page, f"cases-{light}")
    page.go_back()
    page.goto(page.url + "chair")
    assert faults(page) == []


def test_everything_is_done_without_a_mouse(page_of: Open, case: Path, keep: Keep) -> None:
    page = page_of()
    page.wait_for_selector("#stage[data-drawn][data-tree]")
    page.keyboard.press("Tab")
    expect(page.get_by_role("link", name="To the sheet")).to_be_focused()
    page.keyboard.press("Enter")
    wanted = '["abutments", 1, "cast_pin_diameter_mm"]'
    for _ in range(80):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.dataset.place || ''") == wanted:
            break
    page.keyboard.press("Control+A")
    page.keyboard.type("0,58")
    page.keyboard.press("Tab")
    expect(page.locator("#undo")).to_be_enabled()
    assert load_case(case).abutments[1].cast_pin_diameter_mm == 0.58
    here = page.evaluate("document.activeElement.dataset.place || document.activeElement.tagName")
    assert here != "BODY"  # the focus stays where the person is when the sheet is shown anew
    page.locator("#canvas").focus()
    before = page.evaluate("pinseatViewer.turn.toArray().concat(pinseatViewer.span)")
    for key in ("ArrowLeft", "ArrowUp", "+"):
        page.keyboard.press(key)
    after = page.evaluate("pinseatViewer.turn.toArray().concat(pinseatViewer.span)")
    assert all(abs(a - b) > 1e-4 for a, b in zip(before[::4], after[::4], strict=True))
    page.keyboard.press("m")
    expect(page.locator("#prompt")).to_contain_text("Click two places")
    page.keyboard.press("Escape")
    page.keyboard.press("s")
    expect(page.locator("#cut")).to_be_checked()
    page.keyboard.press("u")
    expect(page.locator("#redo")).to_be_enabled()
    assert load_case(case).abutments[1].cast_pin_diameter_mm == 0.6
    keep(page, "keyboard")
