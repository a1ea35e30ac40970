"""``pinseat log``: an entry for the bench log, on the disk before it is acknowledged."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from cyclopts import Parameter

if TYPE_CHECKING:
    from pinseat.case.log import Entry

_FLAG = Parameter(negative=())


def log(
    case: Path,
    /,
    *,
    current: str | None = None,
    voltage: str | None = None,
    temperature: str | None = None,
    before: str | None = None,
    after: str | None = None,
    outage_min: str | None = None,
    elsewhere: str | None = None,
    off: Annotated[bool, _FLAG] = False,
    seen: str = "",
    piece: str = "",
    at: str = "",
    who: str = "",
    instrument: str = "",
    calibrated: str = "",
    lot: str = "",
    note: str = "",
) -> None:
    """Log what was read or done at the plating bench, and show how it stands; without options only show.

    Parameters
    ----------
    case
        Folder of the case.
    current
        Of all pieces together, mA, as read now; decimal commas are welcome. 0: the supply was found off.
    voltage
        At the supply, V.
    temperature
        Of the bath, degC.
    before
        Weight before plating, g; of one piece with --piece, else of all together.
    after
        Weight after, g.
    outage_min
        Minutes for which the supply was off since the reading before.
    elsewhere
        Current that goes elsewhere than onto the pieces, mA.
    off
        The supply is being switched off now.
    seen
        What a look found: covered, bare, powdery, burnt, nodules or torn.
    piece
        Which piece it is about.
    at
        When it was, by the clock on the wall: 16:05 or "2026-03-02 16:05"; now when left out.
    who
        Initials of whoever read it.
    instrument
        What it was read with.
    calibrated
        When and against what that was checked.
    lot
        Lot number of bath or salt.
    note
        Anything else.
    """
    typed = {
        "current": current,
        "voltage": voltage,
        "temperature": temperature,
        "weight before": before,
        "weight after": after,
        "outage": outage_min,
        "elsewhere": elsewhere,
    }
    words = {"who": who, "instrument": instrument, "calibrated": calibrated, "lot": lot, "note": note}
    if any(value is not None for value in typed.values()) or off or seen or any(words.values()):
        _write(case, typed, piece, seen, off, at, words)
    _show(case)


def _write(
    folder: Path,
    typed: dict[str, str | None],
    piece: str,
    seen: str,
    off: bool,
    at: str,
    words: dict[str, str],
) -> None:
    """Add the entry and acknowledge it, before anything else is read or computed."""
    from pinseat.case.document import NAME, load_case
    from pinseat.case.log import append
    from pinseat.plating.entries import entry_of
    from pinseat.plating.pieces import pieces_of

    if piece or not (folder / NAME).is_file():
        names = [one.name for one in pieces_of(load_case(folder))]
    else:
        names = []  # a slip in the case must not keep a reading from being logged
    entry = entry_of(typed, names, piece=piece, seen=seen, switched_off=off, at=at, words=words)
    print(f"logged: {_told(append(folder, entry))}")
    sys.stdout.flush()


def _told(entry: Entry) -> str:
    readings = ", ".join(f"{one.what} {one.value:g} {one.unit}" for one in entry.readings)
    about = f" of {entry.piece}" if entry.piece else ""
    said = "; ".join(part for part in (readings, entry.seen, entry.note) if part)
    return f"{entry.at or entry.time[:19] + 'Z'}{about}: {said}"


def _show(folder: Path) -> None:
    from rich.console import Console

    from pinseat.chain.plating import bench
    from pinseat.report.console import step_summary
    from pinseat.report.plating_words import bench_lines

    stand = bench(folder)
    lines = bench_lines(stand.plated, stand.programme, stand.basis, stand.torn)
    text = step_summary(stand.case, lines, stand.programme.findings, [])
    Console(highlight=False, soft_wrap=True).print(text)
