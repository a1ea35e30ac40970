"""``pinseat compare``: what changed between two scans."""

from __future__ import annotations

from json import dumps
from pathlib import Path
from typing import Annotated, Literal

from cyclopts import Parameter

Flag = Parameter(negative=())
Copy = Literal["impression", "die", "pattern", "investment", "alloy"]
Unit = Literal["um", "mm", "cm", "m", "in"]


def compare(
    first: Path,
    second: Path,
    /,
    *,
    copy: Copy | None = None,
    first_unit: Unit | None = None,
    second_unit: Unit | None = None,
    out: Path | None = None,
    json: Annotated[bool, Flag] = False,
) -> None:
    """Lay one scan on another in whatever pose and say what changed: pins, spans, scale, surface.

    Parameters
    ----------
    first
        What it should be: a case folder, or a scan file.
    second
        What it is: a second scan, an impression, a die or a casting; a scan file or a case folder.
    copy
        Which copy the second scan is of the first; then rows to paste into case.toml are printed.
    first_unit
        Unit of the first scan file, when its size does not tell.
    second_unit
        Unit of the second scan file, when its size does not tell.
    out
        Folder to write; the results of the case, or ./compare when the first is a file.
    json
        Print one JSON object and nothing else.
    """
    from pinseat.chain.compare import compare as compare_scans
    from pinseat.cli.show import bar

    with bar() as shown:
        task = shown.add_task("reading the scans", total=1.0)
        compared = compare_scans(
            first,
            second,
            first_unit=first_unit,
            second_unit=second_unit,
            copy=copy,
            out=out,
            progress=lambda doing, done: shown.update(task, description=doing, completed=done),
        )
    if json:
        print(dumps(compared.answer(), ensure_ascii=False, allow_nan=False))
        return
    from rich.console import Console

    from pinseat.compare.rows import toml_text
    from pinseat.report.compare_words import screen_lines
    from pinseat.report.console import screen

    result = compared.result
    files = [str(compared.folder / name) for name in result.files]
    title = f"{result.second} against {result.first}"
    text = screen(title, screen_lines(result), result.findings, files)
    Console(highlight=False, soft_wrap=True).print(text)
    if result.rows:
        print("To paste into case.toml, in place of what is assumed:\n")
        print(toml_text(result.rows))
