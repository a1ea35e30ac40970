from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import Any

import pytest

from pinseat.case import log
from pinseat.case.returns import TICKET, take_in, ticket_hash
from pinseat.errors import CaseError


def _ticket(number: str = "7") -> dict[str, Any]:
    stated = {"kind": "pinseat work ticket", "case": {"number": number}, "draw": [0.1, -1e-9, "µ"]}
    returns = {
        "acknowledges": "",
        "by": "lab",
        "lots": {"alloy": "A-7", "rubber": ""},
        "readings": [
            {"what": "depth of hole 11-1", "unit": "mm", "value": None, "instrument": "", "calibrated": ""},
            {"what": "mass", "unit": "g", "value": "3,41", "instrument": "balance", "calibrated": "May"},
        ],
        "note": "",
    }
    return {"hash": ticket_hash(stated), **stated, "returns": returns}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "results").mkdir()
    (tmp_path / TICKET).write_text(json.dumps(_ticket()))
    return tmp_path


def _sent(ticket: dict[str, Any]) -> bytes:
    return json.dumps(ticket).encode()


def test_the_hash_is_plain_sha256_over_sorted_json() -> None:
    """Anyone can check it: FIPS 180-4 over the JSON with sorted keys and no spaces, ASCII escapes."""
    text = '{"a":1,"b":[0.5,"\\u00b5"]}'
    assert ticket_hash({"b": [0.5, "µ"], "a": 1, "hash": "x"}) == hashlib.sha256(text.encode()).hexdigest()


def test_what_was_measured_is_entered_and_blank_stays_not_measured(folder: Path) -> None:
    ticket = _ticket()
    ticket["returns"]["acknowledges"] = ticket["hash"][:12]
    told = take_in(folder, _sent(ticket))
    assert "the present ticket" in told[0]
    assert told[1] == "1 readings entered in the bench log, 1 not measured."
    first, second = log.read(folder).entries
    assert (first.kind, first.lot, first.who) == ("ticket returned", "alloy A-7", "lab")
    assert first.note.startswith("acknowledges")
    assert second.reading is not None
    assert (second.reading.value, second.reading.unit, second.instrument) == (3.41, "g", "balance")


def test_an_older_ticket_is_taken_in_and_said_to_be_one(folder: Path) -> None:
    newer = _ticket() | {"draw": [1]}
    newer["hash"] = ticket_hash(newer)
    (folder / TICKET).write_text(json.dumps(newer))
    assert "not the present one" in take_in(folder, _sent(_ticket()))[0]


@pytest.mark.parametrize(
    ("spoil", "told"),
    [
        (lambda t: t | {"draw": [0.2]}, "changed outside"),
        (lambda t: t | {"hash": "0" * 64}, "changed outside"),
        (lambda t: t | {"kind": "letter"}, "no machine file"),
        (lambda t: [t], "no machine file"),
        (lambda t: _ticket("8"), "another case"),
        (lambda t: t | {"returns": {**t["returns"], "acknowledges": "abc"}}, "another ticket"),
        (lambda t: t | {"returns": {**t["returns"], "extra": 1}}, "cannot be used"),
        (
            lambda t: (
                t | {"returns": {**t["returns"], "readings": [{"what": "m", "unit": "g", "value": "much"}]}}
            ),
            "not a number",
        ),
    ],
)
def test_what_does_not_fit_is_refused_and_nothing_is_entered(folder: Path, spoil: Any, told: str) -> None:
    with pytest.raises(CaseError, match=told):
        take_in(folder, _sent(spoil(_ticket())))
    assert log.read(folder).entries == ()
    with pytest.raises(CaseError, match="no machine file"):
        take_in(folder, b"\xff{")
