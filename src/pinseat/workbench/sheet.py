"""The bench sheet of one case as parts of a page: what is stated, what was computed, what to do."""

from __future__ import annotations

import contextlib
import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any

from markupsafe import Markup

from pinseat.case import edit, results
from pinseat.case.edit import Draft
from pinseat.case.results import Stored
from pinseat.case.teeth import to_universal
from pinseat.case.trouble import field_name
from pinseat.errors import CaseError, PinseatError
from pinseat.ledger.findings import Finding
from pinseat.report.rounding import typeset, with_u
from pinseat.workbench import forms, numbers
from pinseat.workbench.bench_log import bench_log
from pinseat.workbench.hands import Run
from pinseat.workbench.html import tag
from pinseat.workbench.words import BRIDGE, MARKS, NO_FACT, ORDER, STEPS, home, step_question, step_title

Part = tuple[str, Markup]


@dataclass(frozen=True)
class View:
    """One case as it stands.

    Attributes
    ----------
    name : str
        Of its folder, as in the page's address.
    folder : Path
    standing : sequence of mapping, or None
        From :func:`pinseat.chain.look.look`; None while that is not known.
    run : Run or None
    plating : mapping or None
        How the plating stands by the bench log.
    trouble : str
        Why it is not known how the steps stand.
    """

    name: str
    folder: Path
    standing: Sequence[Mapping[str, Any]] | None = None
    run: Run | None = None
    plating: Mapping[str, Any] | None = None
    trouble: str = ""
    _read: dict[str, Stored | None] = field(default_factory=dict)

    @cached_property
    def draft(self) -> Draft:
        """What is stated."""
        return edit.read_draft(self.folder)

    @cached_property
    def steps(self) -> list[str]:
        """The steps of this case in the order of the work."""
        if self.standing is not None:
            return [one["step"] for one in self.standing]
        found = (path.stem for path in (self.folder / "results").glob("*.json"))
        there = {stem for stem in found if stem.replace("_", "").isalpha()}
        known = [name for name in STEPS if name in there or name in ("survey", "casting", "seating")]
        return known + sorted(there - set(STEPS))

    def stored(self, step: str) -> Stored | None:
        """The result of a step as it lies there."""
        if step not in self._read:
            try:
                self._read[step] = results.read_result(self.folder, step)
            except CaseError:
                self._read[step] = None
        return self._read[step]

    def payload(self, step: str) -> Mapping[str, Any] | None:
        """The step's own fields."""
        stored = self.stored(step)
        return stored.payload if stored is not None and isinstance(stored.payload, Mapping) else None

    def state(self, step: str) -> str:
        """``holds``, ``older``, ``none``, or ``unknown`` while it is being looked up."""
        if self.standing is None:
            return "unknown" if self.stored(step) is not None else "none"
        return next((str(one["state"]) for one in self.standing if one["step"] == step), "none")

    def needs(self, step: str) -> list[str]:
        """Steps it waits for: those it takes that have no result that holds."""
        if self.standing is None:
            return []
        mine = next((one["needs"] for one in self.standing if one["step"] == step), ())
        return [name for name in mine if self.state(name) != "holds"]

    def findings(self, step: str) -> list[Finding]:
        """Findings of a step, the worst first."""
        payload = self.payload(step)
        found = []
        for plain in (payload or {}).get("findings", []):
            try:
                found.append(Finding(**{**plain, **_finite(plain)}))
            except TypeError:
                continue  # written by another release
        return sorted(found, key=lambda one: ORDER.get(one.verdict, 9))

    @property
    def running(self) -> bool:
        """Whether it is being computed now."""
        return self.run is not None and self.run.state == "running"

    def files(self, step: str) -> list[str]:
        """Files of a step that are there."""
        named = (self.payload(step) or {}).get("files", [])
        return [name for name in named if isinstance(name, str) and (self.folder / name).is_file()]


def _finite(plain: Mapping[str, Any]) -> dict[str, Any]:
    known = {"infinite": float("inf"), "minus infinite": float("-inf")}
    return {
        key: known[plain[key]] if isinstance(plain.get(key), str) else plain.get(key)
        for key in ("value", "uncertainty", "limit")
    }


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
    seat = view.payload("seating")
    state = view.state("seating")
    if seat is None:
        verdict = tag("span", "not computed yet", class_="verdict none")
        number: Any = tag("span", _still_needed(view) or "Run the case to see.", class_="why")
    else:
        verdict = tag("span", seat["verdict"], class_=f"verdict {_word(seat['verdict'])}")
        number = [
            tag("span", numbers.chance_line(seat), class_="chance"),
            tag("span", typeset(seat["why"]), class_="why"),
        ]
    back, again = edit.can_turn(view.folder)
    return tag(
        "div",
        tag(
            "div",
            tag("h1", str(document.get("number", view.name))),
            tag("p", str(document.get("title", "")), class_="title"),
            class_="who",
        ),
        tag(
            "div",
            tag("p", verdict, number, class_="says", role="status"),
            tag("p", "Older than what is stated now: run it again.", class_="stale")
            if seat is not None and state == "older"
            else None,
            class_="what",
        ),
        tag(
            "div",
            running(view),
            tag(
                "button",
                "Undo",
                type="button",
                id="undo",
                disabled=not back,
                title=f"Undo: {back}" if back else None,
            ),
            tag(
                "button",
                "Redo",
                type="button",
                id="redo",
                disabled=not again,
                title=f"Redo: {again}" if again else None,
            ),
            tag("a", "Chair card", href="chair", class_="button"),
            class_="acts",
        ),
        class_="bar",
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


def _word(verdict: str) -> str:
    return verdict.replace(" ", "-")


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
                        class_=f"mark {_word(verdict) or 'none'}",
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


def findings_list(found: Sequence[Finding]) -> Markup | None:
    """Open findings in full; those that are clear in one line each."""
    if not found:
        return None
    rows = [_finding(one) for one in found if one.verdict != "clear"]
    clear = [_finding(one) for one in found if one.verdict == "clear"]
    return tag(
        "div",
        tag("ul", rows, class_="findings") if rows else None,
        tag(
            "details",
            tag("summary", f"{len(clear)} clear"),
            tag("ul", clear, class_="findings"),
            class_="clear",
            open=not rows,
        )
        if clear
        else None,
    )


def _finding(one: Finding) -> Markup:
    number = limit = None
    if one.value is not None:
        words = (
            with_u(one.value, one.uncertainty, one.unit)
            if one.uncertainty
            else numbers.short(one.value, one.unit)
        )
        number = tag("span", words, class_="value")
    if one.limit is not None:
        limit = tag("span", f"limit {numbers.short(one.limit, one.unit)}", class_="limit")
    figures_ = None
    if number or limit or one.limit_source:
        figures_ = tag("div", number, limit, numbers.basis("computed", one.limit_source), class_="figures")
    return tag(
        "li",
        tag("span", MARKS[one.verdict], class_=f"mark {_word(one.verdict)}", aria_hidden="true"),
        tag(
            "div",
            tag("p", tag("strong", one.verdict), f" · {one.where}" if one.where else None),
            tag("p", typeset(one.says)),
            tag("p", _sentence(one.do), class_="do") if one.do else None,
        ),
        figures_,
        class_="finding",
        data_where=one.where or None,
    )


def _sentence(words: str) -> str:
    return words[:1].upper() + words[1:] + ("" if words.endswith((".", "!", "?")) else ".")


def figures(view: View, step: str) -> Markup | None:
    """Drawings of the step, on paper whatever the light."""
    shown = [name for name in view.files(step) if name.endswith(".svg")]
    if not shown:
        return None
    return tag(
        "div",
        [
            tag(
                "figure",
                tag("img", src=f"file/{name}", alt=_figure_words(name), loading="lazy"),
                tag("figcaption", _figure_words(name)),
            )
            for name in shown
        ],
        class_="figures-row",
    )


def _figure_words(name: str) -> str:
    return name.rsplit("/", 1)[-1].rsplit(".", 1)[0].replace("-", " ").replace("_", " ").capitalize()


def downloads(view: View, step: str) -> Markup | None:
    """Files to take along; a mesh can be laid into the drawing."""
    names = [name for name in view.files(step) if not name.endswith((".svg", ".png"))]
    if not names:
        return None
    items = []
    for name in names:
        size = (view.folder / name).stat().st_size
        short = name.rsplit("/", 1)[-1]
        items.append(
            tag(
                "li",
                tag("a", short, href=f"file/{name}", download=f"{view.name}-{short}"),
                tag("span", f" {numbers.size_words(size)}", class_="hint"),
                tag("button", "Show in the drawing", type="button", data_layer=name)
                if name.endswith(".stl")
                else None,
            )
        )
    return tag("ul", items, class_="files")


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


def pieces_of(view: View) -> list[str]:
    """Names of the plated pieces: as the plating has them, else the abutments."""
    shares = (view.payload("plating") or {}).get("shares", [])
    if shares:
        return [str(one["name"]) for one in shares]
    abutments = view.draft.document.get("abutments", [])
    return [str(item["tooth"]) for item in abutments if isinstance(item, Mapping) and "tooth" in item]


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
