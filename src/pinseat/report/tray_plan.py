"""The plan for a tray made by hand: words on the first page, the cut-out at 1:1 on the second."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pinseat.case.files import atomic_write
from pinseat.case.model import Case
from pinseat.errors import ReportError
from pinseat.ledger.pins import PinField
from pinseat.mesh.model import Mesh
from pinseat.report.orientation import upwards
from pinseat.report.pages import tidy
from pinseat.report.setting import set_within
from pinseat.report.tray_words import plan_words
from pinseat.tray.model import HandPlan, TrayResult

Float = NDArray[np.float64]

PAGE_MM = (174.0, 170.0)
"""Room for the drawing on the second page."""
_TIGHTER = tuple({"size": size, "most": most} for size, most in ((9.6, 40), (9.0, 30), (8.4, 24), (7.6, 14)))


def write_tray_plan(
    folder: Path, case: Case, result: TrayResult, field: PinField, cast: Mesh | None, meta: dict[str, str]
) -> Path:
    """Write ``results/tray-plan.pdf``.

    Parameters
    ----------
    folder : Path
        The case folder, with ``results`` in it.
    case : Case
    result : TrayResult
    field : PinField
    cast : Mesh or None
    meta : dict of str to str
        Label and value of each version and hash to print.

    Returns
    -------
    Path

    Raises
    ------
    ReportError
        If the drawing does not fit a page at 1:1, or the page cannot be set.
    CaseError
        If the folder cannot be written.
    """
    results = folder / "results"
    plain: dict[str, Any] = tidy(plan_words(case, result, meta))
    plain["drawing"] = drawing(result.hand, up_of(result, field, cast))
    atomic_write(
        results / "tray-plan.pdf", set_within("tray_plan.typ", plain, results, pages=2, tighter=_TIGHTER)
    )
    return results / "tray-plan.pdf"


def up_of(result: TrayResult, field: PinField, cast: Mesh | None) -> Float:
    """Which way is up on the plan, in its own x and y; (2,)."""
    mesh = cast or Mesh(np.array([pin.foot for pin in field.pins]), np.zeros((0, 3), np.int32))
    flat = result.hand.axes @ upwards(mesh, field, result.draw)
    return np.asarray(flat / np.linalg.norm(flat))


def drawing(plan: HandPlan, up: Float) -> dict[str, Any]:
    """Lines of the plan in mm from the upper left corner of its drawing, to the right and down.

    Parameters
    ----------
    plan : HandPlan
    up : (2,) array
        What lies towards the top of the page.

    Returns
    -------
    dict
        ``outline``, ``patches``, ``openings``: lists of lines; ``feet``: points; ``names``, ``width``,
        ``height``.

    Raises
    ------
    ReportError
        If it does not fit at 1:1.
    """
    turn = np.array([[up[1], -up[0]], [-up[0], -up[1]]])
    groups = [[line @ turn.T for line in lines] for lines in (plan.outline, plan.patches, plan.openings)]
    feet = plan.feet @ turn.T
    every = np.concatenate([feet, *(line for lines in groups for line in lines)])
    low = every.min(axis=0)
    wide, high = (every.max(axis=0) - low).tolist()
    if wide > PAGE_MM[0] or high > PAGE_MM[1]:
        raise ReportError(
            "the plan does not fit a page at 1:1",
            where="tray plan",
            value=f"{wide:.0f} x {high:.0f} mm",
            limit=f"{PAGE_MM[0]:.0f} x {PAGE_MM[1]:.0f} mm",
            do="draw a tighter border under [tray]",
        )
    names = ("outline", "patches", "openings")
    lines = {
        name: [np.round(line - low, 3).tolist() for line in group]
        for name, group in zip(names, groups, strict=True)
    }
    return {
        **lines,
        "feet": np.round(feet - low, 3).tolist(),
        "names": [pile.name for pile in plan.piles],
        "width": round(wide, 3),
        "height": round(high, 3),
    }
