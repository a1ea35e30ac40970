"""What every step shows alike: findings, figures, files."""

from __future__ import annotations

from collections.abc import Sequence

from markupsafe import Markup

from pinseat.ledger.findings import Finding
from pinseat.report.rounding import typeset, with_u
from pinseat.workbench import numbers
from pinseat.workbench.html import tag
from pinseat.workbench.view import View
from pinseat.workbench.words import MARKS, css_word


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
        tag("span", MARKS[one.verdict], class_=f"mark {css_word(one.verdict)}", aria_hidden="true"),
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
