"""The impression as a step: tray, undercut and pins of the case brought together."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pinseat.case import files
from pinseat.chain.work import Work
from pinseat.impression import step
from pinseat.impression.model import ImpressionResult, Undercuts
from pinseat.mesh.files import read_scan

TRAY_MADE = "results/tray.stl"
"""Where the tray step leaves its tray."""


def tray_of(work: Work) -> str:
    """File of the tray, inside the case folder; empty when there is none, or no scan it could lie on."""
    if work.case.scan is None:
        return ""
    stated = work.case.impression.tray_file
    if stated is not None:
        return stated
    if work.case.impression.tray == "custom" and work.case.impression.bulk_mm is None:
        return TRAY_MADE if files.inside(work.folder, TRAY_MADE).is_file() else ""
    return ""


def also(work: Work) -> str:
    """Content of the tray's file, on which the result depends."""
    name = tray_of(work)
    return files.sha256_of(files.inside(work.folder, name)) if name else ""


def undercuts_of(work: Work) -> Undercuts | None:
    """Undercut of the scan along the draw; None without a scan."""
    if work.working is None:
        return None
    from pinseat.survey.undercut import Surveyed, undercut_map

    surveyed = Surveyed(work.working.mesh)
    found = undercut_map(surveyed, work.result("survey").window.centre)
    hidden = np.flatnonzero(found.depth_mm > 0.0)
    return Undercuts(surveyed.surface.vertices[hidden], surveyed.normals[hidden], found.depth_mm[hidden])


def make(work: Work) -> ImpressionResult:
    """Compute the impression and set the chair card."""
    work.progress("measuring the rubber", 0.0)
    name, teeth = tray_of(work), work.working.mesh if work.working else None
    tray = step.Tray(read_scan(files.inside(work.folder, name), "mm").mesh, name) if name else None
    result = step.run(
        work.case,
        work.handover(),
        work.progress,
        teeth=teeth,
        tray=tray,
        undercuts=undercuts_of(work),
    )
    from pinseat.report.chair_card import write_chair_card
    from pinseat.report.survey_words import draw_words

    survey = work.result("survey")
    files_written = write_chair_card(
        work.folder,
        work.case,
        result=result,
        field=survey.field,
        line=draw_words(survey)["angles"],
        mesh=teeth,
        meta=work.meta,
        progress=work.progress,
    )
    return replace(result, files=files_written)
