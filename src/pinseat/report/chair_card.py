"""Write the chair card: one page to stand beside the patient, with figures to be read from a metre."""

from __future__ import annotations

from pathlib import Path

from matplotlib.figure import Figure

from pinseat.case.model import Case
from pinseat.impression.model import ImpressionResult
from pinseat.ledger.handover import Progress, quiet
from pinseat.ledger.pins import PinField
from pinseat.mesh.model import Mesh
from pinseat.report.chair_picture import injection_picture, injection_plan
from pinseat.report.chair_words import card_words
from pinseat.report.setting import write_page

_TIGHTER = tuple(
    {"size": size, "most": 1000, "high": high}
    for size, high in (
        (19, 58),
        (18, 52),
        (17, 46),
        (16, 42),
        (15, 38),
        (14, 34),
        (12.5, 30),
        (11, 26),
        (9.5, 22),
    )
)
"""Type size in points, picture's height in mm: tried in turn until one page holds all."""


def write_chair_card(
    folder: Path,
    case: Case,
    *,
    result: ImpressionResult,
    field: PinField,
    line: str,
    mesh: Mesh | None,
    meta: dict[str, str],
    progress: Progress = quiet,
) -> tuple[str, ...]:
    """Write ``results/chair-card.pdf`` and its picture.

    Parameters
    ----------
    folder : Path
        The case folder.
    case : Case
    result : ImpressionResult
    field : PinField
        The pins as surveyed.
    line : str
        The pull line in the coordinates of the scan, in words.
    mesh : Mesh or None
        The working scan; None when the case was measured with callipers.
    meta : dict of str to str
        Label and value of each version and hash to print.
    progress : callable

    Returns
    -------
    tuple of str
        Names inside the case folder, the card first.

    Raises
    ------
    ReportError
        If the card cannot be set.
    CaseError
        If the folder cannot be written.
    """
    words = card_words(case, result, line, meta)
    alt = "; ".join(one["words"] for one in words["order"])
    words["picture"] = {"file": "/figures/injection.svg", "alt": alt}

    def injection() -> Figure:
        return injection_plan(field, result) if mesh is None else injection_picture(mesh, field, result)

    progress("setting the chair card", 0.0)
    charts = {"injection": injection}
    written = write_page(folder, "chair-card", words, charts, template="chair_card.typ", tighter=_TIGHTER)
    progress("setting the chair card", 1.0)
    return tuple(path.relative_to(folder).as_posix() for path in written)
