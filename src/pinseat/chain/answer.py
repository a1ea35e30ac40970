"""The one object that ``--json`` prints."""

from __future__ import annotations

from typing import Any

from pinseat.case.results import to_plain
from pinseat.chain.run import Outcome


def answer(outcome: Outcome) -> dict[str, Any]:
    """Gather a run into one plain object.

    Parameters
    ----------
    outcome : Outcome

    Returns
    -------
    dict
        ``case``, ``steps``, ``findings`` (of all steps, in the order of the work), ``ledger`` and ``seat``;
        the last two are None when their step was not run. Holds no times, paths or thread counts: same input,
        seed and version give the same object.
    """
    steps = {name: to_plain(result) for name, result in outcome.results.items() if name != "report"}
    findings = [{"step": name, **found} for name, step in steps.items() for found in step.pop("findings")]
    return {
        "case": {**outcome.case.model_dump(mode="json", by_alias=True), "meta": dict(outcome.meta)},
        "steps": steps,
        "findings": findings,
        "ledger": steps["casting"]["fit"] if "casting" in steps else None,
        "seat": steps.get("seating"),
    }
