"""What comes back from the laboratory with a ticket: read, checked against the ticket, entered in the log.

The machine file of a ticket carries a block ``returns`` that is filled in and sent back. Its hash covers all
but that block, so it tells which ticket is answered, and whether anything else was changed on the way.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from pydantic import Field, ValidationError

from pinseat.case import log
from pinseat.case.fields import Number, Part
from pinseat.case.files import plainly
from pinseat.errors import CaseError, UnitError
from pinseat.units import reading

TICKET = "results/work-ticket.json"
_KIND = "pinseat work ticket"


class Returned(Part):
    """One reading of the block; ``value`` is empty or null where nothing was measured."""

    what: str = Field(min_length=1)
    unit: str = Field(min_length=1)
    value: Number | str | None = None
    instrument: str = ""
    calibrated: str = ""


class Returns(Part):
    """The block as it comes back."""

    acknowledges: str = ""
    by: str = ""
    lots: dict[str, str] = Field(default_factory=dict)
    readings: tuple[Returned, ...] = ()
    note: str = ""


def ticket_hash(ticket: Mapping[str, Any]) -> str:
    """Hash of everything a ticket states: all but ``hash`` and ``returns``.

    Parameters
    ----------
    ticket : mapping

    Returns
    -------
    str
        64 hexadecimal digits (SHA-256) over JSON with sorted keys and no spaces.

    Examples
    --------
    >>> ticket_hash({"a": 1}) == ticket_hash({"a": 1, "hash": "x", "returns": {"by": "me"}})
    True
    """
    stated = {key: value for key, value in ticket.items() if key not in ("hash", "returns")}
    text = json.dumps(stated, sort_keys=True, ensure_ascii=True, separators=(",", ":"), allow_nan=False)
    return hashlib.sha256(text.encode()).hexdigest()


def take_in(folder: Path, data: bytes) -> tuple[str, ...]:
    """Enter what came back in the bench log.

    Parameters
    ----------
    folder : Path
        The case folder.
    data : bytes
        The machine file with its filled-in block.

    Returns
    -------
    tuple of str
        What was done and noticed, one sentence each.

    Raises
    ------
    CaseError
        When it is no such file, belongs to another case, was changed outside its block, or a reading cannot
        be read; nothing is entered then.
    """
    ticket = _ticket(data)
    returns = _returns(ticket)
    told = [_about_version(folder, ticket)]
    entries = list(_entries(ticket, returns))
    for entry in entries:
        log.append(folder, entry)
    filled = sum(entry.kind == "returned" for entry in entries)
    blank = len(returns.readings) - filled
    told.append(f"{filled} readings entered in the bench log, {blank} not measured.")
    return tuple(told)


def _ticket(data: bytes) -> dict[str, Any]:
    try:
        ticket = json.loads(data)
    except (ValueError, RecursionError):
        raise CaseError(
            "this is no machine file of a ticket", do="send the .json that came with it"
        ) from None
    if not isinstance(ticket, dict) or ticket.get("kind") != _KIND:
        raise CaseError("this is no machine file of a ticket", do="send the .json that came with it")
    if ticket.get("hash") != ticket_hash(ticket):
        raise CaseError(
            "this ticket was changed outside its block of returns",
            value=str(ticket.get("hash", "no hash"))[:12],
            limit=ticket_hash(ticket)[:12],
            do="fill in only the block returns of the file as it was sent",
        )
    return ticket


def _returns(ticket: Mapping[str, Any]) -> Returns:
    try:
        return Returns.model_validate(ticket.get("returns", {}))
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        place = ".".join(map(str, first["loc"]))
        raise CaseError("this cannot be used in returns", where=place, value=str(first["input"])) from None


def _about_version(folder: Path, ticket: Mapping[str, Any]) -> str:
    path = folder / TICKET
    if not path.is_file():
        raise CaseError("this case has no ticket that could be answered", do="make one first: pinseat ticket")
    with plainly(path):
        present = json.loads(path.read_bytes())
    if present.get("case", {}).get("number") != ticket.get("case", {}).get("number"):
        raise CaseError(
            "this ticket is of another case",
            value=str(ticket.get("case", {}).get("number")),
            limit=str(present.get("case", {}).get("number")),
        )
    short = str(ticket["hash"])[:12]
    if present.get("hash") != ticket["hash"]:
        return f"It answers ticket {short}, which is not the present one ({str(present.get('hash'))[:12]})."
    return f"It answers the present ticket, {short}."


def _entries(ticket: Mapping[str, Any], returns: Returns) -> list[log.Entry]:
    short = str(ticket["hash"])[:12]
    claimed = returns.acknowledges.strip()
    if claimed and not str(ticket["hash"]).startswith(claimed):
        raise CaseError(
            "another ticket is acknowledged than the one that came back", value=claimed, limit=short
        )
    said = f"acknowledges ticket {short}" if claimed else f"returned ticket {short}, not acknowledged"
    lots = "; ".join(f"{name} {lot}" for name, lot in returns.lots.items() if lot.strip())
    note = f"{said}; {returns.note}" if returns.note.strip() else said
    entries = [log.Entry(kind="ticket returned", who=returns.by, lot=lots, note=note)]
    for one in returns.readings:
        if one.value is None or (isinstance(one.value, str) and not one.value.strip()):
            continue
        try:
            raw = log.RawReading(value=reading(one.value), unit=one.unit)
        except UnitError as error:
            raise CaseError(error.what, where=one.what, value=error.value, limit=error.limit) from None
        entries.append(
            log.Entry(
                kind="returned",
                who=returns.by,
                instrument=one.instrument,
                calibrated=one.calibrated,
                reading=raw,
                note=f"{one.what}, ticket {short}",
            )
        )
    return entries
