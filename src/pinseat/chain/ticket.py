"""The work ticket as a step: from the verdict and every mesh made before it."""

from __future__ import annotations

from dataclasses import dataclass

from pinseat.chain.work import Work
from pinseat.ledger.findings import Finding


@dataclass(frozen=True)
class Ticket:
    """The ticket: one page and one machine file with the same hash.

    Attributes
    ----------
    hash : str
        Of everything it states.
    files : tuple of str
        The page, the machine file, then the figures.
    findings : tuple of Finding
        None of its own.
    """

    hash: str
    files: tuple[str, ...]
    findings: tuple[Finding, ...] = ()


def make(work: Work) -> Ticket:
    """Set the page and write the machine file."""
    import json

    from pinseat.report.ticket import write_ticket

    written = write_ticket(
        work.folder,
        work.case,
        survey=work.result("survey"),
        casting=work.result("casting"),
        seating=work.result("seating"),
        scan_sha256=work.scan_hash,
        meta=work.meta,
        progress=work.progress,
    )
    ticket = json.loads(written[1].read_bytes())
    return Ticket(ticket["hash"], tuple(path.relative_to(work.folder).as_posix() for path in written))
