"""Every page of a case in one PDF, behind one that says how each step stands."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from pinseat.case.files import atomic_write
from pinseat.case.model import Case
from pinseat.report.pages import Plain, case_words, tidy
from pinseat.report.setting import page_count, set_within
from pinseat.report.titles import step_title

NAME = "whole-report.pdf"
_TIGHTER = tuple({"size": size, "most": 0} for size in (10.0, 9.4, 8.8, 8.2, 7.6))


@dataclass(frozen=True)
class Part:
    """How one step stands.

    Attributes
    ----------
    step : str
    state : {"holds", "older", "none"}
        ``older``: it was made from what has changed since.
    verdict : str
        Of the finding that matters most; empty without findings.
    says : str
        That finding, or why there is none.
    pages : tuple of str
        Names of its PDFs in ``results``, in order; only those of a step that holds.
    """

    step: str
    state: str
    verdict: str
    says: str
    pages: tuple[str, ...]


def write_bound(folder: Path, case: Case, parts: Sequence[Part], meta: dict[str, str]) -> Path:
    """Write ``results/whole-report.pdf``: a page of contents, then the pages of each step as they are.

    Parameters
    ----------
    folder : Path
        The case folder.
    case : Case
    parts : sequence of Part
        In the order in which they are to be bound.
    meta : dict of str to str
        Label and value of each version and hash to print.

    Returns
    -------
    Path

    Raises
    ------
    ReportError
        If the pages cannot be set.
    CaseError
        If the folder cannot be written.
    """
    results = folder / "results"
    counts = {name: page_count((results / name).read_bytes()) for part in parts for name in part.pages}
    words = bound_words(case, parts, counts, meta)
    data = set_within("bound.typ", tidy(words), results, pages=1 + sum(counts.values()), tighter=_TIGHTER)
    atomic_write(results / NAME, data)
    return results / NAME


def bound_words(case: Case, parts: Sequence[Part], counts: dict[str, int], meta: dict[str, str]) -> Plain:
    """The page of contents in words, and which page of which file follows.

    Parameters
    ----------
    case : Case
    parts : sequence of Part
    counts : dict of str to int
        Pages of each file.
    meta : dict of str to str
    """
    rows, at = [], 2
    for part in parts:
        first, at = at, at + sum(counts[name] for name in part.pages)
        rows.append(
            {
                "title": step_title(part.step),
                "verdict": part.verdict if part.state == "holds" else "",
                "says": part.says,
                "pages": "" if at == first else f"{first}" if at == first + 1 else f"{first} to {at - 1}",
            }
        )
    words = case_words(case)
    return {
        **words,
        "heading": f"Whole report, case {case.number}",
        "footer": f"pinseat · case {case.number} · whole report · not a medical device",
        "rows": rows,
        "meta": "; ".join(f"{key} {value}" for key, value in meta.items()),
        "follow": [[f"/{name}", n + 1] for part in parts for name in part.pages for n in range(counts[name])],
    }
