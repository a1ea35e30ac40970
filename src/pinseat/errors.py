"""One root for everything that stops the work, one subclass a step.

A failed check on a case (a pin that binds, a margin that stands open) is a *finding*, never an exception:
see :mod:`pinseat.ledger.findings`. An exception means that no result can be given.
"""

from __future__ import annotations


class PinseatError(Exception):
    """What is wrong, in trade words, with the place, the value, the limit and what to do.

    Parameters
    ----------
    what : str
        One sentence, without a full stop: what is wrong.
    where : str, optional
        File, line, dotted field, tooth or pin.
    value : str, optional
        The offending value with its unit.
    limit : str, optional
        What was expected, with its source.
    do : str, optional
        What the person should do next.

    Examples
    --------
    >>> print(PinseatError("the hole is too narrow", where="pin 11-2", value="0.58 mm",
    ...                    limit="more than 0.60 mm", do="give the drill's diameter"))
    pin 11-2: the hole is too narrow (0.58 mm; expected more than 0.60 mm); give the drill's diameter
    """

    def __init__(self, what: str, *, where: str = "", value: str = "", limit: str = "", do: str = "") -> None:
        super().__init__(what)
        self.what, self.where, self.value, self.limit, self.do = what, where, value, limit, do

    def __str__(self) -> str:
        shown = [self.value] if self.value else []
        if self.limit:
            shown.append(f"expected {self.limit}")
        head = f"{self.where}: " if self.where else ""
        middle = f" ({'; '.join(shown)})" if shown else ""
        tail = f"; {self.do}" if self.do else ""
        return f"{head}{self.what}{middle}{tail}"


class UnitError(PinseatError):
    """A typed number or unit cannot be read."""


class ScanError(PinseatError):
    """A scan file cannot be read or does not hold a surface."""


class CaseError(PinseatError):
    """The case folder or its ``case.toml`` is wrong."""


class ReferenceValueError(PinseatError):
    """A reference value is missing or its record is incomplete."""


class SurveyError(PinseatError):
    """The pins cannot be surveyed."""


class TrayError(PinseatError):
    """No tray can be made."""


class ImpressionError(PinseatError):
    """The impression cannot be computed."""


class PlatingError(PinseatError):
    """The plating cannot be computed, or its solution did not converge."""


class CompareError(PinseatError):
    """Two scans cannot be compared."""


class CastingError(PinseatError):
    """The chain of copies cannot be put together."""


class SeatingError(PinseatError):
    """The seating cannot be computed."""


class WorkbenchError(PinseatError):
    """The workbench cannot be served."""


class ReportError(PinseatError):
    """The report cannot be set or written."""
