"""The commands. Heavy parts are imported inside them, so that help and refusals come at once."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

from cyclopts import App, Parameter, validators

from pinseat import __version__
from pinseat.cli.cast import cast
from pinseat.cli.compare import compare
from pinseat.cli.diagnose import diagnose
from pinseat.cli.impression import impression
from pinseat.cli.log import log
from pinseat.cli.open import open_workbench
from pinseat.cli.plate import plate
from pinseat.cli.report import report
from pinseat.cli.seat import seat
from pinseat.cli.survey import readings, survey
from pinseat.cli.ticket import ticket
from pinseat.cli.tray import tray

Step = Literal[
    "scan",
    "survey",
    "tray",
    "impression",
    "survey_sheet",
    "readings",
    "plating",
    "programme",
    "casting",
    "recipe",
    "seating",
    "seat",
    "diagnosis",
    "ticket",
    "report",
]
"""The names in :data:`pinseat.chain.STEPS`, spelled out: help need not import them. A test compares."""
DemoName = Literal["front", "span", "bench"]
Flag = Parameter(negative=())
Threads = Annotated[int | None, Parameter(validator=validators.Number(gte=1))]

app = App(
    name="pinseat",
    version=__version__,
    help="Will a bridge on parallel pins go home, how open will its margins stand, "
    "and which copy loses the fit?\n\n"
    "Decision support for licensed people; not a medical device.",
    help_format="plaintext",
    suppress_keyboard_interrupt=False,
)


@app.command
def new(folder: Path, /, *, number: str | None = None) -> None:
    """Start a case: a folder with a case.toml to fill in.

    Parameters
    ----------
    folder
        Folder to make; it must not exist or be empty.
    number
        Your own case number; the folder's name when left out. Never a patient's name.
    """
    from pinseat.case.files import new_case

    new_case(folder, number=number or folder.resolve().name)
    print(f"{folder}: put the scan into scans/, fill in case.toml, then: pinseat run {folder}")


@app.command
def run(
    case: Path,
    /,
    *,
    until: Step = "report",
    json: Annotated[bool, Flag] = False,
    threads: Threads = None,
) -> None:
    """Compute a case step by step; what has not changed is not computed again.

    Parameters
    ----------
    case
        Folder of the case.
    until
        Last step to run.
    json
        Print one JSON object and nothing else.
    threads
        Threads for the virtual bridges; all cores when left out. The answer does not depend on it.
    """
    from pinseat.cli.show import run_and_show

    run_and_show(case, until=until, as_json=json, threads=threads)


@app.command
def demo(
    name: DemoName = "front",
    /,
    *,
    out: Path | None = None,
    json: Annotated[bool, Flag] = False,
    threads: Threads = None,
) -> None:
    """Write an invented case with known truth and run it.

    Parameters
    ----------
    name
        front: one incisor missing. span: four incisors missing. bench: callipers only.
    out
        Folder to write; ./NAME when left out.
    json
        Print one JSON object and nothing else.
    threads
        Threads for the virtual bridges; all cores when left out.
    """
    from pinseat.cli.show import run_and_show
    from pinseat.demo.cases import write

    folder = out or Path(name)
    write(name, folder)
    run_and_show(folder, until="report", as_json=json, threads=threads)


@app.command
def reference(filter: str = "", /) -> None:
    """Show reference values with basis and source.

    Parameters
    ----------
    filter
        Part of a name, such as crown.11 or polyether.
    """
    from pinseat.cli.show import show_reference

    show_reference(filter)


@app.command
def schema() -> None:
    """Print the JSON Schema of case.toml, for editors."""
    import json

    from pinseat.case.schema import case_schema

    print(json.dumps(case_schema(), indent=2, ensure_ascii=False))


@app.command
def doctor() -> None:
    """Show versions, compile the kernels and test them against two outside values."""
    from pinseat.cli.doctor import examine

    examine()


app.command(impression)
app.command(cast)
app.command(compare)
app.command(diagnose)
app.command(plate)
app.command(seat)
app.command(log)
app.command(survey)
app.command(readings)


app.command(ticket)
app.command(report)
app.command(open_workbench, name="open")
app.command(tray)
