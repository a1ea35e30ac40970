"""The bench sheet of one case as parts of a page: what is stated, what was computed, what to do."""

from __future__ import annotations

import contextlib
import hashlib
from collections.abc import Mapping
from typing import Any

from markupsafe import Markup

from pinseat.case import edit
from pinseat.case.teeth import to_universal
from pinseat.case.trouble import field_name
from pinseat.errors import CaseError, PinseatError
from pinseat.report.rounding import typeset
from pinseat.report.titles import step_question, step_title
from pinseat.workbench import forms, numbers
from pinseat.workbench.bench_log import bench_log
from pinseat.workbench.chair import next_action
from pinseat.workbench.html import tag
from pinseat.workbench.step_parts import downloads, figures, findings_list
from pinseat.workbench.view import View, pieces_of
from pinseat.workbench.words import BRIDGE, MARKS, NO_FACT, css_word, home

Part = tuple[str, Markup]


def parts(view: View) -> list[Part]:
    """Every part of the sheet with its name, in the order in which they stand on the page."""
    return [
        ("bar", bar(view)),
        ("strip", strip(view)),
        ("ledger", ledger(view)),
        ("sheet-bridge", bridge(view)),
        *((f"sheet-{step}", section(view, step)) for step in view.steps),
        ("sheet-other", other(view)),
        ("sheet-log", bench_log(view.folder, view.plating, pieces_of(view))),
        ("sheet-handover", handover(view)),
    ]


def part_hash(html: Markup) -> str:
    """Tells whether a part is the one that a page shows already."""
    return hashlib.sha256(html.encode()).hexdigest()[:16]


def bar(view: View) -> Markup:
    """Case, verdict, next action and the buttons that are always at hand."""
    document = view.draft.document
    who = tag(
        "div",
        tag("h1", str(document.get("number", view.name))),
        tag("p", str(document.get("title", "")), class_="title"),
        class_="who",
    )
    return tag("div", who, _verdict(view), _acts(view), class_="bar")


def _verdict(view: View) -> Markup:
    seat = view.payload("seating")
    if seat is None:
        word = tag("span", "not computed yet", class_="verdict none")
        said = [tag("span", _still_needed(view) or "Run the case to see.", class_="why")]
    else:
        word = tag("span", seat["verdict"], class_=f"verdict {css_word(seat['verdict'])}")
        chance = tag("span", numbers.chance_line(seat), class_="chance")
        said = [chance, tag("span", typeset(next_action(view)), class_="why")]
    stale = seat is not None and view.state("seating") == "older"
    words = "Older than what is stated now: run it again."
    return tag(
        "div",
        tag("p", word, said, class_="says", role="status"),
        tag("p", words, class_="stale") if stale else None,
        class_="what",
    )


def _acts(view: View) -> Markup:
    turns = zip(("undo", "redo"), edit.can_turn(view.folder), strict=True)
    buttons = [
        tag("button", way.capitalize(), type="button", id=way, disabled=not what, title=what or None)
        for way, what in turns
    ]
    return tag(
        "div", running(view), buttons, tag("a", "Chair card", href="chair", class_="button"), class_="acts"
    )


def running(view: View) -> Markup:
    """Run or stop, with how far it has got."""
    run = view.run
    if run is not None and run.state == "running":
        share = round(100.0 * run.fraction)
        return tag(
            "span",
            tag(
                "progress",
                f"{share} %",
                max=100,
                value=share,
                id="progress",
                aria_label="progress of the run",
            ),
            tag("span", run.doing, id="doing", class_="doing"),
            tag("button", "Stop", type="button", id="stop", class_="accent"),
            class_="run",
        )
    said = None
    if run is not None and run.state == "refused":
        said = tag("span", run.says, class_="refused", role="alert")
    elif run is not None and run.state == "stopped":
        said = tag("span", "Stopped.", class_="doing")
    ready = not view.draft.troubles
    refused = run.refused if run is not None else {}
    fresh = bool(view.standing) and all(view.state(step) == "holds" or step in refused for step in view.steps)
    words = "All up to date" if fresh else "Run"
    return tag(
        "span",
        said,
        tag(
            "button",
            words,
            type="button",
            id="run",
            class_="accent",
            disabled=not ready or fresh,
            data_until="",
        ),
        class_="run",
    )


def _still_needed(view: View) -> str:
    troubles = view.draft.troubles
    if not troubles:
        return ""
    more = f", and {len(troubles) - 1} more" if len(troubles) > 1 else ""
    first = troubles[0]
    return f"{field_name(first.place, view.draft.document)}: {first.what}{more}."


def strip(view: View) -> Markup:
    """The steps in plain words, each with its verdict and its number."""
    items = [
        tag("li", tag("a", tag("span", "The bridge", class_="name"), _stated(view), href="#sheet-bridge"))
    ]
    for step in view.steps:
        state = view.state(step)
        found = view.findings(step)
        verdict = (
            found[0].verdict
            if found
            else ("clear" if state in ("holds", "unknown") and step != "report" else "")
        )
        if state == "none":
            verdict, number = "", "not yet"
        else:
            number = numbers.headline(step, view.payload(step), found)
        items.append(
            tag(
                "li",
                tag(
                    "a",
                    tag(
                        "span",
                        MARKS.get(verdict, "·"),
                        class_=f"mark {css_word(verdict) or 'none'}",
                        aria_hidden="true",
                    ),
                    tag("span", step_title(step), class_="name"),
                    tag("span", verdict or ("" if state == "none" else "done"), class_="unseen"),
                    tag("span", number, class_="number"),
                    tag("span", "older", class_="older") if state == "older" else None,
                    href=f"#sheet-{step}",
                ),
            )
        )
    for name, words in (("log", "Bench log"), ("handover", "Hand over")):
        items.append(tag("li", tag("a", tag("span", words, class_="name"), href=f"#sheet-{name}")))
    return tag("ol", items, class_="strip")


def _stated(view: View) -> Markup:
    missing = len(view.draft.troubles)
    words = f"{missing} to fill in" if missing else "stated"
    return tag("span", words, class_="number")


def ledger(view: View) -> Markup:
    """The fit ledger: what each copy does; on a small screen with the verdict above it."""
    casting, seat = view.payload("casting"), view.payload("seating")
    if casting is None:
        return tag("p", "The fit ledger fills once the copies are added up.", class_="hint")
    word = f"{seat['verdict']}: {numbers.chance_line(seat)}" if seat is not None else "not computed yet"
    return tag("div", tag("p", word, class_="verdict-line"), numbers.fit_table(casting))


def bridge(view: View) -> Markup:
    """Which bridge it is: numbers, teeth, holes and pins."""
    document = view.draft.document
    return tag(
        "section",
        tag("h2", "The bridge", id="head-bridge"),
        tag("p", "Which teeth, which holes, which pins. Change any of it at any time.", class_="question"),
        _troubles(view),
        tag("div", [forms.part(key, document) for key in BRIDGE if key != "abutments"], class_="facts"),
        forms.part("abutments", document),
        _universal(document),
        tag("div", _drop_box(view), class_="row"),
        aria_labelledby="head-bridge",
    )


def _drop_box(view: View) -> Markup:
    return tag(
        "label",
        tag("span", "Drop a scan here, or choose a file", class_="label"),
        tag("input", type="file", id="scan-file", accept=".stl,.ply,.obj,.off,.3mf"),
        class_="drop",
        id="drop",
    )


def _universal(document: Mapping[str, Any]) -> Markup | None:
    if document.get("notation") != "FDI":
        return None
    abutments = [item for item in document.get("abutments", []) if isinstance(item, Mapping)]
    teeth: list[Any] = [*(item.get("tooth") for item in abutments), *document.get("missing", [])]
    said = []
    for tooth in teeth:
        with contextlib.suppress(CaseError, TypeError):
            said.append(f"{tooth} is {to_universal(tooth)}")
    return tag("p", f"Universal numbers: {', '.join(said)}.", class_="hint") if said else None


def _troubles(view: View) -> Markup | None:
    troubles = view.draft.troubles
    if not troubles:
        return None
    listed = [
        tag(
            "li",
            tag("strong", field_name(one.place, view.draft.document)),
            f" {one.what}",
            f" ({one.value})" if one.value else None,
            f"; {one.do}" if one.do else None,
        )
        for one in troubles
    ]
    return tag(
        "div",
        tag("p", f"{len(listed)} still to fill in or mend before it can run:"),
        tag("ul", listed),
        class_="needs",
    )


def section(view: View, step: str) -> Markup:
    """One step: how it stands, its findings, its numbers, its inputs, its files."""
    found = view.findings(step)
    payload = view.payload(step)
    inputs = [key for key in forms.schema()["properties"] if home(key, view.steps) == step]
    body: list[Any] = [
        tag("h2", step_title(step), id=f"head-{step}"),
        tag("p", step_question(step), class_="question") if step_question(step) else None,
        _state_line(view, step),
    ]
    if payload is not None:
        body += [
            numbers.special(step, payload),
            findings_list(found),
            figures(view, step),
            downloads(view, step),
            numbers.all_numbers(payload),
            numbers.values_used(view.stored(step)),
        ]
    if inputs:
        body.append(tag("h3", "What is stated for it"))
        body += [forms.part(key, view.draft.document) for key in inputs]
    return tag("section", body, aria_labelledby=f"head-{step}", data_step=step)


def _state_line(view: View, step: str) -> Markup | None:
    state, needs = view.state(step), view.needs(step)
    if view.run is not None and step in view.run.refused and state != "holds":
        return tag("p", view.run.refused[step], class_="state needs", role="alert")
    if state == "none":
        if view.draft.troubles:
            words = "Not computed yet: the case still needs " + _still_needed(view)
        elif needs:
            words = "Not computed yet. It takes: " + ", ".join(step_title(n).lower() for n in needs) + "."
        else:
            words = "Not computed yet; everything it takes is there."
        return tag("p", words, _until(view, step), class_="state none")
    if state == "older":
        return tag(
            "p",
            "This result is older than what is stated now.",
            _until(view, step),
            class_="state older",
        )
    return None


def _until(view: View, step: str) -> Markup | None:
    if view.draft.troubles or view.running:
        return None
    return tag("button", "Run as far as this", type="button", data_until=step)


def other(view: View) -> Markup:
    """Parts of the case that belong to no step of it."""
    keys = [
        key
        for key in forms.schema()["properties"]
        if key not in NO_FACT and not home(key, view.steps) and key not in BRIDGE
    ]
    if not keys:
        return tag("section", hidden=True)
    return tag(
        "section",
        tag("h2", "Other facts", id="head-other"),
        [forms.part(key, view.draft.document) for key in keys],
        aria_labelledby="head-other",
    )


def handover(view: View) -> Markup:
    """Work ticket, zip, and the way back."""
    there = [
        name for name in ("work-ticket.pdf", "work-ticket.json") if (view.folder / "results" / name).is_file()
    ]
    return tag(
        "section",
        tag("h2", "Hand over", id="head-handover"),
        tag(
            "p",
            "One page and one machine file with the same hash. What comes back is read in here.",
            class_="question",
        ),
        tag(
            "div",
            tag(
                "button",
                "Make the ticket",
                type="button",
                data_until="ticket",
                class_="accent",
                disabled=bool(view.draft.troubles),
            ),
            [
                tag("a", name, href=f"file/results/{name}", download=f"{view.name}-{name}", class_="button")
                for name in there
            ],
            tag("a", "Every page as one PDF", href="whole-report", class_="button"),
            tag("a", "Whole case as zip", href="zip", download=f"{view.name}.zip", class_="button"),
            class_="row",
        ),
        tag(
            "label",
            tag("span", "Read a returned ticket file", class_="label"),
            tag("input", type="file", id="returns-file", accept=".json"),
            class_="drop",
        ),
        aria_labelledby="head-handover",
    )


def refused(error: PinseatError) -> dict[str, str]:
    """One shape for what is refused, on the page and in JSON."""
    return {
        "says": str(error),
        **{key: getattr(error, key) for key in ("what", "where", "value", "limit", "do")},
    }
