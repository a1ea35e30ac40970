"""Write the report: figures first, then the pages."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from pinseat.case.files import atomic_write, plainly
from pinseat.case.model import Case
from pinseat.casting.model import CastingResult
from pinseat.ledger.handover import Progress, quiet
from pinseat.mesh.model import Mesh
from pinseat.reference import Value
from pinseat.report.arch import arch_picture
from pinseat.report.charts import opening_histogram, shares_chart
from pinseat.report.inputs import ScanPart
from pinseat.report.pages import Plain, content, tidy
from pinseat.report.plan import pin_plan
from pinseat.report.setting import set_within
from pinseat.report.style import look, write
from pinseat.report.window import draw_map
from pinseat.seating.model import SeatingResult
from pinseat.survey.model import SurveyResult

MOST_PAGES = 4

_TIGHTER = tuple(
    {"size": size, "most": most}
    for size, most in ((9.4, 1000), (8.8, 1000), (8.2, 1000), (8.2, 24), (8.2, 14), (7.6, 8))
)
"""Type size in points and longest list, tried in turn until the report fits its pages."""


def write_report(
    folder: Path,
    case: Case,
    *,
    scan: ScanPart | None,
    mesh: Mesh | None,
    survey: SurveyResult,
    casting: CastingResult,
    seating: SeatingResult,
    meta: dict[str, str],
    used: Sequence[Value] = (),
    progress: Progress = quiet,
) -> tuple[Path, ...]:
    """Write ``results/report.pdf`` and ``results/figures/*`` into a case folder.

    Parameters
    ----------
    folder : Path
        The case folder.
    case : Case
    scan : ScanPart or None
        None when the case was measured with callipers.
    mesh : Mesh or None
        The working copy for the picture of the arch; without it a plan of the pins is drawn.
    survey, casting, seating : the results of the three steps
    meta : dict of str to str
        Label and value of each version and hash to print, such as ``{"input hash": "3fa9..."}``.
    used : sequence of Value
        Reference values that the steps looked up.
    progress : callable

    Returns
    -------
    tuple of Path
        The PDF, then the figures.

    Raises
    ------
    ReportError
        If the pages cannot be set.
    CaseError
        If the folder cannot be written.
    """
    results = folder / "results"
    with plainly(results):
        (results / "figures").mkdir(parents=True, exist_ok=True)
    plain = content(case, scan, survey, casting, seating, meta, used)
    written = _figures(results, plain, mesh, survey, seating, progress)
    progress("setting the report", 0.7)
    atomic_write(results / "report.pdf", set_pages(tidy(plain), results))
    progress("setting the report", 1.0)
    return (results / "report.pdf", *written)


def _figures(
    results: Path,
    plain: Plain,
    mesh: Mesh | None,
    survey: SurveyResult,
    seating: SeatingResult,
    progress: Progress,
) -> list[Path]:
    written: list[Path] = []
    with look():
        progress("drawing the pins", 0.0)
        if mesh is not None:
            first, name = arch_picture(mesh, survey.field, survey.window.centre), "arch"
            caption = "The scan, with the pins as they were found. The patient's right is on the left."
        else:
            first, name = pin_plan(survey), "pins"
            caption = (
                "Plan of the pins along the draw, to scale; arrows show how far each leans, and where to."
            )
        plain["picture"] = {"caption": caption, "alt": caption}
        drawn = (
            ("picture", name, first),
            ("window", "draw-window", draw_map(survey)),
            ("opening", "opening", opening_histogram(seating)),
            ("shares", "shares", shares_chart(seating)),
        )
        for i, (part, stem, figure) in enumerate(drawn):
            progress("drawing the figures", 0.2 + 0.1 * i)
            written += write(figure, results / "figures" / stem)
            plain[part]["file"] = f"/figures/{stem}.svg"
    return written


def set_pages(plain: Plain, results: Path) -> bytes:
    """Set the report as PDF; the type shrinks a little, then long lists are cut, until four pages hold it.

    Parameters
    ----------
    plain : dict
        What :func:`pinseat.report.pages.content` gave, with the pictures' places.
    results : Path
        Folder that holds ``figures``.

    Raises
    ------
    ReportError
    """
    return set_within("report.typ", plain, results, pages=MOST_PAGES, tighter=_TIGHTER)
