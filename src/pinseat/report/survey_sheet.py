"""Write the survey sheet, one page, and the coloured scan."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from matplotlib.figure import Figure

from pinseat.case.files import atomic_write, plainly
from pinseat.case.model import Case
from pinseat.errors import ReportError
from pinseat.ledger.findings import Finding
from pinseat.ledger.handover import Progress, quiet
from pinseat.mesh.glb import glb_bytes
from pinseat.mesh.model import Mesh
from pinseat.mesh.write import ply_bytes
from pinseat.report.inputs import ScanPart
from pinseat.report.pages import Plain, tidy
from pinseat.report.plan import pin_plan
from pinseat.report.setting import set_within
from pinseat.report.style import look, write
from pinseat.report.survey_parts import Float, Measure, Region, UndercutPart
from pinseat.report.survey_picture import survey_colours, survey_picture
from pinseat.report.survey_words import sheet_words
from pinseat.report.window import draw_map
from pinseat.survey.model import SurveyResult

_TIGHTER = tuple(
    {"size": size, "most": most, "high": high}
    for size, most, high in (
        (9.2, 1000, 96),
        (8.8, 1000, 90),
        (8.4, 1000, 82),
        (8.0, 1000, 74),
        (7.6, 16, 68),
        (7.2, 10, 62),
        (6.8, 7, 56),
        (6.6, 4, 48),
        (6.4, 2, 40),
    )
)
"""Type size in points, longest list, picture's height in mm: tried in turn until one page holds all."""


def write_survey_sheet(
    folder: Path,
    case: Case,
    *,
    scan: ScanPart | None,
    mesh: Mesh | None,
    survey: SurveyResult,
    meta: dict[str, str],
    undercut: UndercutPart | None = None,
    contour: Sequence[Float] = (),
    regions: Sequence[Region] = (),
    measures: Sequence[Measure] = (),
    findings: Sequence[Finding] = (),
    progress: Progress = quiet,
) -> tuple[Path, ...]:
    """Write ``results/survey-sheet.pdf``, its figures, and the coloured scan as PLY and GLB.

    Parameters
    ----------
    folder : Path
        The case folder.
    case : Case
    scan : ScanPart or None
        None when the case was measured with callipers.
    mesh : Mesh or None
        The working copy of the scan, mm; without it a plan of the pins is drawn and no coloured scan written.
    survey : SurveyResult
    meta : dict of str to str
        Label and value of each version and hash to print, such as ``{"input": "3fa9..."}``.
    undercut : UndercutPart, optional
        Along the survey's best draw, on the same mesh; colours the scan.
    contour : sequence of (k, 3) arrays, mm
        Height of contour, drawn into the GLB.
    regions : sequence of Region, optional
        On the same mesh; outlined and lettered, with a table.
    measures : sequence of Measure, optional
        Distances and tapers for a table.
    findings : sequence of Finding
        Of the closer look; those on undercut are listed, those on measures stand in their table.
    progress : callable

    Returns
    -------
    tuple of Path
        The PDF, the PLY and the GLB where there is a scan, then the figures.

    Raises
    ------
    ReportError
        If undercut or regions do not belong to the mesh, or the page cannot be set.
    CaseError
        If the folder cannot be written.
    """
    _check(mesh, undercut, regions)
    results = folder / "results"
    with plainly(results):
        (results / "figures").mkdir(parents=True, exist_ok=True)
    plain = sheet_words(case, scan, survey, meta, mesh, undercut, regions, measures, findings)
    written: list[Path] = []
    with look():
        progress("drawing the survey", 0.0)
        if mesh is None:
            first = pin_plan(survey)
            caption = "Plan of the pins along the draw, to scale; arrows: how far each leans, and where to."
        else:
            colours = survey_colours(mesh, survey, undercut, regions)
            first, shown = survey_picture(mesh, survey, colours, undercut, regions)
            caption = _caption(undercut, regions, shown)
            said = {key: str(value) for key, value in meta.items()}
            said["colours"] = caption
            for name, data in (
                ("survey.ply", ply_bytes(mesh, colours)),
                ("survey.glb", glb_bytes(mesh, colours, lines=contour, up=survey.window.centre, extras=said)),
            ):
                atomic_write(results / name, data)
                written.append(results / name)
        plain["picture"] = {"caption": caption, "alt": caption}
        progress("drawing the survey", 0.5)
        written += _figures(results, plain, first, draw_map(survey))
    progress("setting the survey sheet", 0.7)
    data = set_within("survey_sheet.typ", tidy(plain), results, pages=1, tighter=_TIGHTER)
    atomic_write(results / "survey-sheet.pdf", data)
    progress("setting the survey sheet", 1.0)
    return (results / "survey-sheet.pdf", *written)


def _figures(results: Path, plain: Plain, picture: Figure, window: Figure) -> list[Path]:
    written: list[Path] = []
    for part, figure in (("picture", picture), ("window", window)):
        stem = f"survey-{part}"
        written += write(figure, results / "figures" / stem)
        plain[part]["file"] = f"/figures/{stem}.svg"
    return written


def _caption(undercut: UndercutPart | None, regions: Sequence[Region], shown: tuple[bool, ...]) -> str:
    said = ["Pins in copper, by name. The patient's right is on the left."]
    if regions:
        said.append("Regions outlined, by letter.")
    hidden = shown.count(False)
    if hidden:
        said.append(f"{hidden} {'region is' if hidden == 1 else 'regions are'} out of sight from here.")
    if undercut is not None:
        said.append("Blue: undercut along the draw; dashed: beyond the limit.")
    return " ".join(said)


def _check(mesh: Mesh | None, undercut: UndercutPart | None, regions: Sequence[Region]) -> None:
    """Refuse colours and regions of another mesh: they would be shown in the wrong places."""
    points, triangles = (len(mesh.vertices), len(mesh.faces)) if mesh is not None else (0, 0)
    fits = undercut is None or (
        len(undercut.map.depth_mm) == points
        and len(undercut.map.face_area_mm2) == len(undercut.map.face_volume_mm3) == triangles
    )
    if not fits or any(region.faces.max(initial=-1) >= triangles for region in regions):
        raise ReportError(
            "undercut or regions belong to another scan",
            where="survey sheet",
            limit=f"{points} points and {triangles} triangles",
            do="survey the scan again",
        )
