"""Show what a run gave, and how far it has got."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import TYPE_CHECKING

from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn
from rich.table import Table

if TYPE_CHECKING:
    from pinseat.chain import Outcome


def run_and_show(folder: Path, *, until: str, as_json: bool, threads: int | None) -> None:
    """Run a case and print its summary, or one JSON object.

    Parameters
    ----------
    folder : Path
    until : str
        Last step.
    as_json : bool
    threads : int or None
    """
    outcome = compute(folder, until, threads)
    if as_json:
        _print_json(outcome)
        return
    from pinseat.report.console import summary

    text = summary(
        outcome.case,
        outcome.scan.part if outcome.scan else None,
        outcome.survey,
        outcome.casting,
        outcome.seating,
        report=str(outcome.files[0]) if outcome.files else "",
    )
    Console(highlight=False, soft_wrap=True).print(text)


def run_step(
    folder: Path,
    step: str,
    *,
    as_json: bool,
    lines: Callable[[Outcome], Iterable[tuple[str, str]]],
    also: tuple[str, ...] = (),
) -> None:
    """Run a case up to one step and print what that step says, or one JSON object.

    Parameters
    ----------
    folder : Path
    step : str
        A name in :data:`pinseat.chain.STEPS`.
    as_json : bool
    lines : callable
        Makes a short head and words for each line, of what the run gave.
    also : tuple of str
        Earlier steps whose findings are shown too.
    """
    outcome = compute(folder, step)
    if as_json:
        _print_json(outcome)
        return
    from pinseat.report.console import step_summary

    result = outcome.results[step]
    files = [str(folder / name) for name in getattr(result, "files", ())]
    findings = [found for name in (*also, step) for found in outcome.results[name].findings]
    text = step_summary(outcome.case, lines(outcome), findings, files)
    Console(highlight=False, soft_wrap=True).print(text)


def compute(folder: Path, until: str, threads: int | None = None) -> Outcome:
    """Run a case up to a step behind a bar that says how far it has got."""
    from pinseat import chain

    with bar() as shown:
        task = shown.add_task("reading the case", total=1.0)
        return chain.run(
            folder,
            until=until,
            threads=threads,
            progress=lambda doing, done: shown.update(task, description=doing, completed=done),
        )


def _print_json(outcome: Outcome) -> None:
    from pinseat import chain

    print(json.dumps(chain.answer(outcome), ensure_ascii=False, allow_nan=False))


def bar() -> Progress:
    """A bar on standard error that leaves nothing behind; nothing at all when nobody is looking."""
    return Progress(
        TextColumn("{task.description}"),
        BarColumn(bar_width=24),
        TimeElapsedColumn(),
        console=Console(stderr=True),
        transient=True,
        disable=not sys.stderr.isatty(),
    )


def show_reference(filter: str) -> None:
    """Print reference values whose name contains the filter, with basis and source.

    Parameters
    ----------
    filter : str
    """
    from pinseat import reference
    from pinseat.errors import ReferenceValueError

    found = reference.values(filter)
    if not found:
        raise ReferenceValueError(
            "no reference value has this in its name", value=repr(filter), do="try less of it"
        )
    table = Table(box=None, pad_edge=False, header_style="bold")
    for heading in ("value", "", "unit", "u", "basis", "source"):
        table.add_column(heading, overflow="fold", justify="right" if heading in ("", "u") else "left")
    for v in found:
        spread = "" if v.uncertainty is None else f"{v.uncertainty:g}"
        table.add_row(v.name, f"{v.value:g}", v.unit, spread, v.basis, v.reference)
    Console(highlight=False).print(table)
