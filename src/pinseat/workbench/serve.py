"""Start the workbench: one server on this machine, for this machine."""

from __future__ import annotations

import secrets
import socket
import webbrowser
from pathlib import Path
from types import FrameType

import uvicorn

from pinseat.case.document import NAME
from pinseat.errors import WorkbenchError
from pinseat.workbench.app import make_app
from pinseat.workbench.desk import Desk
from pinseat.workbench.guard import Door
from pinseat.workbench.kit import find_kit

LOOPBACK = "127.0.0.1"


def serve(place: Path, port: int = 0, *, browser: bool = True) -> None:
    """Serve a case, or a folder of cases, until it is stopped.

    Parameters
    ----------
    place : Path
        A case folder, or a folder of case folders.
    port : int
        0 takes a free one.
    browser : bool
        Open the page as well.

    Raises
    ------
    WorkbenchError
        When there is no such folder, the port is taken, or a part of the page is missing.
    """
    if not place.is_dir():
        raise WorkbenchError(
            "there is no such folder", where=str(place), do=f"start a case: pinseat new {place}"
        )
    kit = find_kit()
    held = _listen(port)
    door = Door(held.getsockname()[1], secrets.token_urlsafe(24))
    address = f"http://{LOOPBACK}:{door.port}/?key={door.token}"
    what = "case" if (place / NAME).is_file() else "cases"
    print(f"The workbench serves the {what} in {place}. Open:\n  {address}", flush=True)
    print("Only this machine can reach it. Ctrl-C ends it.", flush=True)
    desk = Desk(place)
    config = uvicorn.Config(
        make_app(desk, kit, door),
        log_level="warning",
        access_log=False,
        server_header=False,
        ws="none",
        timeout_graceful_shutdown=1,
        timeout_keep_alive=30,
    )
    if browser:
        webbrowser.open(address)
    _Server(config, desk).run(sockets=[held])


class _Server(uvicorn.Server):
    """A server that lets go of the open pages' streams when it is told to stop, so that it stops at once."""

    def __init__(self, config: uvicorn.Config, desk: Desk) -> None:
        super().__init__(config)
        self._desk = desk

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        """End the streams, then the server."""
        self._desk.part()
        super().handle_exit(sig, frame)


def _listen(port: int) -> socket.socket:
    """A socket on the loopback address alone, taken before the address is printed."""
    held = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    held.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        held.bind((LOOPBACK, port))
        held.listen(64)
    except OSError:
        held.close()
        raise WorkbenchError(
            "this port is taken", value=str(port), do="leave --port out, or name another"
        ) from None
    return held
