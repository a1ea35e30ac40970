"""``pinseat report``: every page of a case in one PDF."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

from cyclopts import Parameter


def report(case: Path, /, *, json: Annotated[bool, Parameter(negative=())] = False) -> None:
    """Bind the pages of every step that holds into one PDF, behind a page that says how each step stands.

    The way to the verdict is computed where it has changed; the other steps are taken as they are.

    Parameters
    ----------
    case
        Folder of the case.
    json
        Print one JSON object and nothing else.
    """
    from pinseat.chain.bind import bind
    from pinseat.cli.show import compute

    outcome = compute(case, "report")
    bound = bind(case)
    if json:
        from dataclasses import asdict
        from json import dumps

        steps = [asdict(part) for part in bound.parts]
        print(dumps({"file": str(bound.path), "steps": steps}, ensure_ascii=False))
        return
    from rich.console import Console

    from pinseat.report.console import step_summary
    from pinseat.report.titles import step_title

    lines = ((one.verdict, f"{step_title(one.step)}: {one.says}".rstrip(": ")) for one in bound.parts)
    text = step_summary(outcome.case, lines, (), [str(bound.path)])
    Console(highlight=False, soft_wrap=True).print(text)
