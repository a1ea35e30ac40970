"""Setting pages as PDF: the same type, the same look and the same bytes for every document."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping, Sequence
from functools import lru_cache
from importlib.resources import files
from pathlib import Path
from typing import Any, cast

import matplotlib
import typst
from matplotlib.figure import Figure

from pinseat.case.files import atomic_write, plainly
from pinseat.errors import ReportError
from pinseat.report import style
from pinseat.report.pages import tidy


def template(name: str) -> bytes:
    """A document's template behind the part that all documents share."""
    here = files("pinseat.report")
    return here.joinpath("page.typ").read_bytes() + here.joinpath(name).read_bytes()


def set_within(
    name: str, plain: dict[str, Any], root: Path, *, pages: int, tighter: Sequence[Mapping[str, float]]
) -> bytes:
    """Set a document as PDF; it gets tighter until it fits its pages.

    Parameters
    ----------
    name : str
        File of the template.
    plain : dict
        Words and numbers for it.
    root : Path
        Folder that holds ``figures``.
    pages : int
        Most pages.
    tighter : sequence of mapping of str to float
        What the template calls ``size`` (type, in points), ``most`` (longest list) and so on, tried in turn.

    Raises
    ------
    ReportError
        If it cannot be set, or does not fit.
    """
    data = json.dumps(plain, ensure_ascii=True, sort_keys=True)
    compiler = typst.Compiler(root=root, font_paths=_fonts())
    try:
        for step in tighter:
            inputs = {"data": data, **{key: str(value) for key, value in step.items()}}
            pdf = cast(bytes, compiler.compile(template(name), format="pdf", sys_inputs=inputs, timestamp=0))
            if page_count(pdf) <= pages:
                return pdf
    except typst.TypstError as error:
        raise ReportError("the report cannot be set", value=error.message) from error
    raise ReportError(
        "the report does not fit its pages", limit=f"{pages} {'pages' if pages > 1 else 'page'}"
    )


def write_page(
    folder: Path,
    name: str,
    words: dict[str, Any],
    charts: Mapping[str, Callable[[], Figure]],
    *,
    template: str = "",
    pages: int = 1,
    tighter: Sequence[Mapping[str, float]],
) -> tuple[Path, ...]:
    """Write ``results/<name>.pdf`` and its charts into a case folder.

    Parameters
    ----------
    folder : Path
        The case folder.
    name : str
    words : dict
        For the template.
    charts : mapping of str to callable
        Name of each chart in ``results/figures``, and what draws it.
    template : str
        ``<name>_sheet.typ`` when left out.
    pages, tighter
        See :func:`set_within`.

    Returns
    -------
    tuple of Path
        The PDF, then the charts.

    Raises
    ------
    ReportError
        If the page cannot be set.
    CaseError
        If the folder cannot be written.
    """
    results = folder / "results"
    with plainly(results):
        (results / "figures").mkdir(parents=True, exist_ok=True)
    written: list[Path] = []
    with style.look():
        for stem, draw in charts.items():
            written += style.write(draw(), results / "figures" / stem)
    pdf = results / f"{name}.pdf"
    plain = tidy(words)
    atomic_write(
        pdf, set_within(template or f"{name}_sheet.typ", plain, results, pages=pages, tighter=tighter)
    )
    return (pdf, *written)


def page_count(pdf: bytes) -> int:
    """How many pages a PDF has, by its page objects (ISO 32000-1, table 30)."""
    return len(re.findall(rb"/Type\s*/Page(?![A-Za-z])", pdf))


@lru_cache(maxsize=1)
def _fonts() -> typst.Fonts:
    """Only fonts that come with the packages: the same pages on every machine."""
    return typst.Fonts(
        include_system_fonts=False,
        include_embedded_fonts=True,
        font_paths=[Path(matplotlib.get_data_path()) / "fonts" / "ttf"],
    )
