"""A case end to end, as a person works on it."""

from __future__ import annotations

import io
import json
import shutil
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from playwright.sync_api import Page, expect

from pinseat.case import log
from pinseat.case.document import load_case
from tests.serving import Served

pytestmark = pytest.mark.browser
expect.set_options(timeout=60_000)
Open = Callable[..., Page]
Keep = Callable[[Page, str], None]
PIN = '[data-place=\'["abutments", {}, "cast_pin_diameter_mm"]\']'


def drawn(page: Page) -> None:
    """Wait for the first picture of the scan, and for the tree that answers clicks."""
    page.wait_for_selector("#stage[data-drawn][data-tree]")


def on_screen(page: Page, name: str) -> tuple[float, float]:
    """Where the end of a pin is in the window, by the drawing's own camera."""
    at = page.evaluate(
        """(name) => {
        const v = pinseatViewer, pin = v.held.pins.find((p) => p.name === name);
        const end = pin.foot.map((x, k) => x + pin.axis[k] * pin.protrusion_mm);
        v.frame();
        const p = v.target.clone().fromArray(end).project(v.camera), r = v.canvas.getBoundingClientRect();
        return [r.left + (p.x + 1) / 2 * r.width, r.top + (1 - p.y) / 2 * r.height];
    }""",
        name,
    )
    return at[0], at[1]


def test_a_case_is_read_at_a_glance(page_of: Open, keep: Keep) -> None:
    page = page_of()
    drawn(page)
    expect(page.locator("#bar .verdict")).to_have_text("goes home")
    expect(page.locator("#bar .chance")).to_contain_text("within 120 µm")
    expect(page.locator("#strip")).to_contain_text("Pins and draw")
    expect(page.locator("#ledger tbody tr")).to_have_count(5)
    expect(page.locator("#tags .pin-tag")).to_have_count(5)
    shot = page.locator("#stage").screenshot()
    keep(page, "bench-light")
    with Image.open(io.BytesIO(shot)) as seen:
        picture = np.asarray(seen.convert("RGB"), float)
    copper = (picture[..., 0] > 1.5 * picture[..., 2]) & (picture[..., 0] > 110) & (picture[..., 1] < 130)
    assert copper.sum() > 150  # the pins are seen
    assert picture.std() > 15.0  # and so is the scan
    page.locator("#light").click()
    keep(page, "bench-dark")
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(23, 25, 27)"


def test_a_thinner_pin_changes_the_verdict(page_of: Open, case: Path, keep: Keep) -> None:
    page = page_of()
    before = page.locator("#bar .chance").inner_text()
    for i in (0, 1):
        page.fill(PIN.format(i), "0,67")
        page.press(PIN.format(i), "Tab")
        expect(page.locator(PIN.format(i))).to_have_value("0.67")
    assert [a.cast_pin_diameter_mm for a in load_case(case).abutments] == [0.67, 0.67]
    expect(page.locator("#bar .stale")).to_be_visible()
    page.click("#run")
    expect(page.locator("#stop")).to_be_visible()
    keep(page, "bench-running")
    page.reload()
    expect(page.locator("#stop")).to_be_visible()  # a reload loses nothing
    expect(page.locator("#bar .chance")).not_to_have_text(before)
    expect(page.locator("#bar .verdict")).to_have_text("will bind")
    if page.locator("#stop").is_visible():
        page.click("#stop")
    expect(page.locator("#run")).to_be_visible()
    assert not list((case / "results").rglob(".*.part"))
    page.click("#undo")
    expect(page.locator(PIN.format(1))).to_have_value("0.6")
    page.click("#redo")
    expect(page.locator(PIN.format(1))).to_have_value("0.67")
    page.fill(PIN.format(0), "9")
    page.press(PIN.format(0), "Tab")
    expect(page.get_by_role("alert").filter(has_text="less than 3")).to_be_visible()
    assert load_case(case).abutments[0].cast_pin_diameter_mm == 0.67


def test_two_tabs_lose_no_update(page_of: Open, served: Served, case: Path, keep: Keep) -> None:
    one, two = page_of(), page_of()
    two.locator(PIN.format(0)).click()
    two.locator(PIN.format(0)).fill("0.61")  # typed, and not yet sent
    one.fill(PIN.format(0), "0.62")
    one.press(PIN.format(0), "Tab")
    expect(one.locator("#undo")).to_be_enabled()
    two.locator(PIN.format(0)).press("Tab")
    told = two.locator(".notice", has_text="somebody else put 0.62")
    expect(told).to_be_visible()
    keep(two, "bench-two-tabs")
    assert load_case(case).abutments[0].cast_pin_diameter_mm == 0.62
    told.get_by_role("button", name="Put 0.61 all the same").click()
    expect(one.locator(PIN.format(0))).to_have_value("0.61")
    assert load_case(case).abutments[0].cast_pin_diameter_mm == 0.61
    one.fill(PIN.format(1), "0.59")  # another place than the one the other tab changes: nobody is asked
    two.fill("[data-place='[\"title\"]']", "two at once")
    one.press(PIN.format(1), "Tab")
    two.press("[data-place='[\"title\"]']", "Tab")
    expect(one.locator("[data-place='[\"title\"]']")).to_have_value("two at once")
    expect(two.locator(PIN.format(1))).to_have_value("0.59")
    assert two.locator(".notice").count() == 0
    seen = "(hidden) => { Object.defineProperty(document, 'hidden', { value: hidden, configurable: true });"
    seen += " document.dispatchEvent(new Event('visibilitychange')); }"
    with one.expect_event("requestfailed", lambda asked: asked.url.endswith("/events")):
        one.evaluate(seen, True)  # a page nobody sees gives its connection back: a browser has six
    two.fill(PIN.format(0), "0.6")
    two.press(PIN.format(0), "Tab")
    served.until(lambda: load_case(case).abutments[0].cast_pin_diameter_mm == 0.6)
    expect(one.locator(PIN.format(0))).to_have_value("0.61")
    one.evaluate(seen, False)
    expect(one.locator(PIN.format(0))).to_have_value("0.6")


def test_the_drawing_tells_numbers(page_of: Open, keep: Keep) -> None:
    page = page_of()
    drawn(page)
    page.select_option("#map", "undercut")
    expect(page.locator("#legend .limit")).to_contain_text("limit")
    expect(page.locator("#tags .worst")).to_contain_text("largest")
    page.click('[data-view="draw"]')
    x, y = on_screen(page, "11-1")
    page.mouse.move(x, y)
    expect(page.locator("#probe")).to_contain_text("µm")
    keep(page, "bench-undercut")
    page.check("#cut")
    page.select_option("#cut-along", "x")
    page.click('[data-view="right"]')
    keep(page, "bench-cut")
    page.uncheck("#cut")
    with page.expect_download() as picture:
        page.click("#picture")
    with Image.open(picture.value.path()) as made:
        assert made.size[0] > 500
    page.click('[data-view="draw"]')
    page.click('[data-tool="measure"]')
    for name in ("11-1", "22-2"):
        x, y = on_screen(page, name)
        page.mouse.click(x, y)
    said = page.locator("#tags .measure").inner_text()
    true = page.evaluate(
        """() => { const p = pinseatViewer.held.pins, e = (n) => { const q = p.find((o) => o.name === n);
        return q.foot.map((x, k) => x + q.axis[k] * q.protrusion_mm); };
        const a = e('11-1'), b = e('22-2'); return Math.hypot(...a.map((x, k) => x - b[k])); }"""
    )
    assert float(said.split()[0]) == pytest.approx(true, abs=0.7)  # a click lies within a pin's width


def test_a_contact_and_a_pin_are_marked(page_of: Open, case: Path, keep: Keep) -> None:
    page = page_of()
    drawn(page)
    count = len(load_case(case).contacts)
    page.click('[data-tool="mark"]')
    page.select_option("#what", label="contact: ledge")
    x, y = on_screen(page, "22-1")
    page.mouse.click(x + 12, y + 25)
    expect(page.locator("#prompt")).to_contain_text("is stated")
    contacts = load_case(case).contacts
    assert len(contacts) == count + 1
    assert (contacts[-1].kind, contacts[-1].tooth) == ("ledge", 22)
    keep(page, "bench-marked")
    # with the keyboard alone: the middle of the drawing is clicked
    page.click("button.pin[data-pin='11-2']")
    page.locator("#canvas").press("1")
    page.select_option("#what", label="pin")
    page.locator("#canvas").focus()
    page.keyboard.press("Enter")
    page.keyboard.press("Shift+ArrowUp")
    page.keyboard.press("Enter")
    expect(page.locator("#prompt")).to_contain_text("is stated")
    pins = load_case(case).pins
    assert (pins[-1].action, pins[-1].tooth) == ("add", 11)
    page.keyboard.press("u")
    expect(page.locator("#redo")).to_be_enabled()
    assert load_case(case).pins == ()


def test_a_plating_is_stopped_and_a_tray_made(page_of: Open, case: Path, keep: Keep) -> None:
    page = page_of()
    drawn(page)
    page.locator("#sheet-plating").get_by_role("button", name="Run as far as this").click()
    expect(page.locator("#progress")).to_be_visible()
    expect(page.locator("#doing")).not_to_have_text("starting")
    page.click("#stop")
    expect(page.locator("#bar")).to_contain_text("Stopped")
    assert not (case / "results" / "plating.json").exists()
    page.locator("#sheet-tray").get_by_role("button", name="Run as far as this").click()
    link = page.locator("#sheet-tray").get_by_role("link", name="tray.stl")
    expect(link).to_be_visible(timeout=300_000)
    with page.expect_download() as got:
        link.click()
    tray = Path(got.value.path()).read_bytes()
    triangles = int.from_bytes(tray[80:84], "little")
    assert len(tray) == 84 + 50 * triangles
    assert triangles > 1000
    page.locator("#sheet-tray").get_by_role("button", name="Show in the drawing").first.click()
    box = page.locator('#layers [data-layer="results/tray.stl"]')
    expect(box).to_be_checked()
    page.wait_for_timeout(300)
    page.locator("#sheet-tray h2").scroll_into_view_if_needed()
    keep(page, "bench-tray")


def test_log_ticket_and_way_back(page_of: Open, case: Path, tmp_path: Path, keep: Keep) -> None:
    page = page_of()
    form = page.get_by_role("form", name="plating entry")
    form.locator("[name='reading current']").fill("25,5")
    form.locator("[name='instrument']").fill("ammeter 2")
    form.get_by_role("button", name="Enter").click()
    expect(page.locator("table.log")).to_contain_text("current 25.5 mA")
    form.locator("[name='reading outage']").fill("12")
    form.locator("[name='reading current']").fill("25")
    form.locator("[name='note']").fill("power cut")
    form.get_by_role("button", name="Enter").click()
    expect(page.locator("table.log")).to_contain_text("power cut")
    expect(page.locator("#plating-clock")).to_contain_text("On for")
    page.locator("#sheet-log").scroll_into_view_if_needed()
    keep(page, "bench-log")
    last = log.read(case).entries
    assert any(one.note == "power cut" and one.instrument == "ammeter 2" for one in last)
    page.get_by_role("button", name="Make the ticket").click()
    link = page.locator("#sheet-handover").get_by_role("link", name="work-ticket.json")
    with page.expect_download() as got:
        link.click()
    ticket = json.loads(Path(got.value.path()).read_bytes())
    assert ticket["returns"]["readings"][0]["value"] is None
    ticket["returns"] |= {"acknowledges": ticket["hash"][:12], "by": "lab"}
    ticket["returns"]["readings"][0]["value"] = "1,98"
    (tmp_path / "back.json").write_text(json.dumps(ticket))
    page.set_input_files("#returns-file", tmp_path / "back.json")
    expect(page.locator(".notice")).to_contain_text("It answers the present ticket")
    expect(page.locator("table.log")).to_contain_text("1.98 mm")
    page.locator("#sheet-handover").scroll_into_view_if_needed()
    keep(page, "bench-handover")


def test_a_case_starts_with_a_dropped_scan(page_of: Open, case: Path, tmp_path: Path, keep: Keep) -> None:
    shutil.copy(case / "scans" / "upper.stl", tmp_path / "new.stl")
    page = page_of("/")
    expect(page.locator("table.cases")).to_contain_text("F-010")
    page.fill("#search", "nothing such")
    expect(page.locator("#cases")).to_contain_text("No case fits")
    page.fill("#search", "F-01 training")
    expect(page.locator("table.cases")).to_contain_text("goes home")
    keep(page, "cases")
    page.fill("#number", "26-014")
    page.set_input_files("#new-scan", tmp_path / "new.stl")
    page.wait_for_url("**/case/26-014/")
    drawn(page)
    expect(page.locator("#sheet-bridge .needs")).to_contain_text("still to fill in")
    page.select_option('[data-place=\'["scan", "unit"]\']', "mm")
    page.select_option("[data-place='[\"notation\"]']", "FDI")
    page.fill("[data-place='[\"missing\"]']", "21")
    page.press("[data-place='[\"missing\"]']", "Tab")
    for i, tooth in enumerate((11, 22)):
        for key, text in (
            ("tooth", str(tooth)),
            ("pins", "2"),
            ("hole_diameter_mm", "0,7"),
            ("hole_depth_mm", "2"),
            ("cast_pin_diameter_mm", "0,6"),
        ):
            place = f'[data-place=\'["abutments", {i}, "{key}"]\']'
            page.fill(place, text)
            page.press(place, "Tab")
    expect(page.locator("#sheet-bridge .needs")).to_have_count(0)
    expect(page.locator("#run")).to_be_enabled()
    keep(page, "bench-new")
    case = load_case(case.parent / "26-014")
    assert case.scan is not None
    assert case.scan.unit == "mm"


def test_the_chair_card_needs_no_touch(page_of: Open, keep: Keep) -> None:
    page = page_of("chair")
    expect(page.locator("#word")).to_have_text("goes home")
    expect(page.locator("#number")).to_contain_text("µm")
    page.keyboard.press("Space")
    expect(page.locator("#clock")).not_to_have_text("0:00")
    for _ in range(3):
        page.keyboard.press("Space")
    expect(page.locator("#count")).to_have_text("pins 3 of 5")
    page.keyboard.press("Backspace")
    expect(page.locator("#count")).to_have_text("pins 2 of 5")
    keep(page, "chair")
    high = page.evaluate("parseFloat(getComputedStyle(document.getElementById('word')).fontSize)")
    assert high / 900 > 0.12  # a word an eighth of the screen high is read across a room
    page.reload()
    expect(page.locator("#count")).to_have_text("pins 2 of 5")
    page.keyboard.press("Escape")
    page.wait_for_url("**/test_the_chair_card_needs_no_touch/")


def test_a_file_changed_under_the_page_is_seen(
    page_of: Open, case: Path, front: Path, tmp_path: Path, complaints: list[str]
) -> None:
    page = page_of()
    expect(page.locator("#bar h1")).to_have_text("F-0107")
    path = case / "case.toml"
    path.write_text(path.read_text(encoding="utf-8").replace("F-0107", "F-0108"), encoding="utf-8")
    expect(page.locator("#bar h1")).to_have_text("F-0108")
    shutil.copytree(front, tmp_path / "own")
    server = Served.start(tmp_path / "own")
    page.goto(server.address)
    expect(page.locator("#bar h1")).to_have_text("F-0107")
    server.kill()
    expect(page.locator("#lost")).to_be_visible()
    page.context.close()
    complaints.clear()  # the browser says that nobody answers
