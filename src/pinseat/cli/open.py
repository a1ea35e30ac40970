"""``pinseat open``: the workbench."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

from cyclopts import Parameter


def open_workbench(
    folder: Path = Path(),
    /,
    *,
    port: int = 0,
    no_browser: Annotated[bool, Parameter(negative=())] = False,
) -> None:
    """Open a case, or a folder of cases, as a page on this machine.

    Parameters
    ----------
    folder
        Folder of a case, or one that holds case folders; the present one when left out.
    port
        Port on the loopback address; a free one when left out.
    no_browser
        Print the address and do not open it.
    """
    from pinseat.workbench.serve import serve

    serve(folder, port, browser=not no_browser)
