"""The three pages: the cases, the bench sheet, the chair card."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from markupsafe import Markup

from pinseat.case.index import cases
from pinseat.report.rounding import fixed
from pinseat.workbench import chair
from pinseat.workbench.html import page, tag
from pinseat.workbench.sheet import part_hash, parts
from pinseat.workbench.view import View


def cases_page(practice: Path) -> str:
    """The folder of cases: search, start one, take one in."""
    return page(
        f"Cases in {practice.name}",
        ["/static/cases.js"],
        tag("header", tag("h1", "Cases"), _light(), class_="top"),
        tag(
            "main",
            tag(
                "div",
                tag(
                    "label",
                    tag("span", "Search by number or title", class_="label"),
                    tag("input", type="search", id="search", autocomplete="off"),
                ),
                class_="row",
            ),
            tag("div", case_rows(practice, ""), id="cases"),
            _start(),
            _take_in(),
            class_="cases",
        ),
        kind="list",
    )


def _start() -> Markup:
    return tag(
        "section",
        tag("h2", "Start a case", id="head-new"),
        tag("p", "Your own case number, never a patient's name. Drop the scan, or start without one."),
        tag(
            "div",
            tag(
                "label",
                tag("span", "case number", class_="label"),
                tag("input", type="text", id="number", autocomplete="off"),
            ),
            tag(
                "label",
                tag("span", "Drop a scan here, or choose a file", class_="label"),
                tag("input", type="file", id="new-scan", accept=".stl,.ply,.obj,.off,.3mf"),
                class_="drop",
                id="drop",
            ),
            tag("button", "Start without a scan", type="button", id="new"),
            class_="row",
        ),
        tag("p", id="says", role="status"),
        aria_labelledby="head-new",
    )


def _take_in() -> Markup:
    return tag(
        "section",
        tag("h2", "Take in a zipped case", id="head-import"),
        tag(
            "label",
            tag("span", "Zip of a case folder", class_="label"),
            tag("input", type="file", id="zip", accept=".zip"),
            class_="drop",
        ),
        aria_labelledby="head-import",
    )


def case_rows(practice: Path, search: str) -> Markup:
    """The cases as a table, newest first."""
    found = cases(practice, search)
    if not found:
        return tag("p", "No case fits." if search else "No case yet.", class_="none")
    rows = [
        tag(
            "tr",
            tag("th", tag("a", one.number or one.folder, href=f"/case/{one.folder}/"), scope="row"),
            tag("td", one.title or one.trouble),
            tag("td", one.verdict or "not computed", class_="word"),
            tag("td", "" if one.chance is None else f"{fixed(100.0 * one.chance, 1)} %", class_="num"),
            tag("td", datetime.fromtimestamp(one.changed, UTC).strftime("%Y-%m-%d %H:%M")),
        )
        for one in found
    ]
    heads = ("case", "title", "verdict", "chance", "changed (UTC)")
    return tag(
        "table",
        tag("caption", "Cases, newest first", class_="unseen"),
        tag("thead", tag("tr", [tag("th", word, scope="col") for word in heads])),
        tag("tbody", rows),
        class_="cases",
    )


def bench_page(view: View, *, single: bool, stamp: str) -> str:
    """The bench sheet with its drawing; `stamp` says what it was made from."""
    made = dict(parts(view))

    def part(name: str, kind: str = "div", **more: object) -> Markup:
        return tag(kind, made[name], id=name, class_="part", data_hash=part_hash(made[name]), **more)

    sheets = [part(name) for name in made if name.startswith("sheet-")]
    ledger = part("ledger", tabindex="0", role="group", aria_label="fit ledger")
    return page(
        f"Case {view.draft.document.get('number', view.name)}",
        ["/static/bench.js"],
        tag("a", "To the sheet", href="#sheet", class_="skip"),
        tag(
            "header",
            None if single else tag("a", "All cases", href="/", class_="home"),
            part("bar"),
            _light(),
            class_="top",
        ),
        part("strip", "nav", aria_label="steps"),
        tag(
            "main",
            tag("div", id="notices", aria_live="polite"),
            sheets,
            id="sheet",
            tabindex="-1",
            data_revision=view.draft.revision,
            data_stamp=stamp,
        ),
        tag(
            "aside",
            _drawing(),
            tag(
                "button",
                "Fit ledger",
                type="button",
                id="ledger-toggle",
                aria_expanded="false",
                aria_controls="ledger",
            ),
            ledger,
            aria_label="drawing and fit ledger",
            class_="board",
        ),
        kind="bench",
        ahead=(
            "/kit/three.js",
            "/static/board.js",
            "/static/viewer.js",
            "/static/tree.js",
            "/static/common.js",
        ),
    )


def _light() -> Markup:
    return tag("button", "Light or dark", type="button", id="light", class_="quiet")


_VIEWS = (
    ("draw", "Along the draw", "1"),
    ("cheek", "From the front", "2"),
    ("tongue", "From behind", "3"),
    ("right", "From the right", "4"),
    ("left", "From the left", "5"),
)
_TOOLS = (
    ("turn", "Turn", "Drag to turn, with Shift to move, wheel to come closer."),
    ("measure", "Measure", "Click two places."),
    ("mark", "Mark", "Click a pin, a contact, a margin on the scan."),
)


def _drawing() -> Markup:
    """The drawing with its controls; everything works from the keyboard as well."""
    stage = tag(
        "div",
        tag(
            "canvas",
            id="canvas",
            tabindex="0",
            role="img",
            aria_label="Drawing of the scan with its pins. Arrows turn it, plus and minus come closer, "
            "1 to 5 choose a view, S cuts it, P saves a picture.",
        ),
        tag("div", id="tags", aria_hidden="true"),
        tag("p", "Reading the scan", id="waiting", role="status"),
        tag("p", id="probe"),
        tag("div", id="legend", hidden=True),
        class_="stage",
        id="stage",
    )
    return tag("div", stage, _hands(), _looks(), _KEYS, class_="drawing")


def _hands() -> list[Markup]:
    """What a click does."""
    tools = [
        tag(
            "button",
            words,
            type="button",
            data_tool=name,
            aria_pressed="true" if name == "turn" else "false",
            title=about,
        )
        for name, words, about in _TOOLS
    ]
    marking = tag(
        "span",
        tag("select", id="what", aria_label="what is marked"),
        tag("label", "on ", tag("select", id="tooth")),
        tag("button", "End it", type="button", id="finish"),
        id="marking",
        hidden=True,
    )
    prompt = tag("p", id="prompt", role="status")
    return [
        tag(
            "div",
            tools,
            marking,
            prompt,
            class_="tools first",
            role="group",
            aria_label="what a click does",
        )
    ]


def _looks() -> list[Markup]:
    """How it is looked at."""
    views = [
        tag("button", words, type="button", data_view=name, title=f"key {key}") for name, words, key in _VIEWS
    ]
    ways = (("z", "across the draw"), ("y", "front to back"), ("x", "side to side"))
    cutting = tag(
        "span",
        tag(
            "select",
            [tag("option", words, value=way) for way, words in ways],
            id="cut-along",
            aria_label="direction of the cut",
        ),
        tag("input", type="range", id="cut-at", min=0, max=1000, value=500, aria_label="place of the cut"),
        id="cutting",
        hidden=True,
    )
    return [
        tag("div", views, class_="tools", role="group", aria_label="views"),
        tag(
            "div",
            tag("label", "Shown on it ", tag("select", tag("option", "plaster", value=""), id="map")),
            tag("label", tag("input", type="checkbox", id="cut"), "Cut"),
            cutting,
            tag("span", id="layers", class_="layers", role="group", aria_label="layers"),
            tag("button", "Save picture", type="button", id="picture"),
            class_="tools",
        ),
    ]


_KEYS = tag(
    "details",
    tag("summary", "Keys"),
    tag(
        "p",
        "With the drawing in focus: arrows turn, with Shift they move. Plus and minus come closer and back. "
        "1 to 5 views, 0 all of it. S cuts, [ and ] move the cut. M measures, N marks, Enter clicks in the "
        "middle, E ends a line, Escape puts the tool away. U undoes. P saves a picture.",
    ),
    id="keys",
    class_="hint",
)


def chair_page(view: View) -> str:
    """The chair card: one word, one number, one thing to do, and the clock."""
    return page(
        f"Chair card {view.draft.document.get('number', view.name)}",
        ["/static/chair.js"],
        chair.card(view),
        kind="chair",
    )
