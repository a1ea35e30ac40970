"""The report: one document a person would sign, and the same result in one screen of text."""

from pinseat.report.console import summary
from pinseat.report.inputs import ScanPart
from pinseat.report.write import write_report

__all__ = ["ScanPart", "summary", "write_report"]
