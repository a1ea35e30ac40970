"""Values of the trade, each with its source: ``value("crown.11.mesiodistal_mm")``."""

from pinseat.reference.load import recording, value, values, version
from pinseat.reference.model import Basis, Value

__all__ = ["Basis", "Value", "recording", "value", "values", "version"]
