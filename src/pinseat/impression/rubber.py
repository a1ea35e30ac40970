"""What the chosen rubber does: shrinkage, cooling, times, recovery; each figure with its source."""

from __future__ import annotations

import math
from dataclasses import dataclass

from pinseat.case.model import Case
from pinseat.errors import ImpressionError
from pinseat.reference import value
from pinseat.reference.model import Value


@dataclass(frozen=True)
class Strain:
    """Free linear shrinkage of the rubber from set in the mouth to copied on the bench.

    Attributes
    ----------
    cooling_percent, u_cooling_percent : float
        Positive = smaller: expansion times the fall in temperature.
    setting_percent, u_setting_percent : float
        Positive = smaller: between nothing and the whole 24 h change.
    source : str
    """

    cooling_percent: float
    u_cooling_percent: float
    setting_percent: float
    u_setting_percent: float
    source: str

    @property
    def percent(self) -> float:
        """Both together."""
        return self.cooling_percent + self.setting_percent

    @property
    def u_percent(self) -> float:
        """Standard uncertainty of both together."""
        return math.hypot(self.u_cooling_percent, self.u_setting_percent)


def spoken(name: str) -> Value:
    """A reference value that must carry an uncertainty.

    Raises
    ------
    ImpressionError
        If it has none.
    """
    found = value(name)
    if found.uncertainty is None:
        raise ImpressionError(
            "the impression needs an uncertainty here", where=f"{found.file}, {name}", value="none"
        )
    return found


def u_of(found: Value) -> float:
    """Standard uncertainty of a value; 0 where none is stated."""
    return found.uncertainty or 0.0


def name_of(case: Case) -> str:
    """The rubber as reference values name it: ``addition_silicone``."""
    return case.chain.impression.replace(" ", "_")


def fall_degC(case: Case) -> tuple[float, float]:
    """How far the set rubber cools from the mouth to the room, and its standard uncertainty."""
    mouth, room = spoken("impression.temperature_in_mouth_degC"), spoken("impression.room_error_degC")
    return mouth.value - case.impression.room_degC, math.hypot(u_of(mouth), u_of(room))


def free_strain(case: Case) -> Strain:
    """Free shrinkage of this case's rubber.

    ``a dT`` for cooling (two independent factors, JCGM 100, 5.1.2); for setting anything between nothing and
    the published 24 h change, whose middle is half of it.

    Parameters
    ----------
    case : Case

    Returns
    -------
    Strain
    """
    rubber = name_of(case)
    expansion, change = (
        spoken(f"impression.{rubber}.expansion_per_K"),
        spoken(f"impression.{rubber}.change_24h_percent"),
    )
    fall, u_fall = fall_degC(case)
    half = -change.value / 2.0
    return Strain(
        cooling_percent=100.0 * expansion.value * fall,
        u_cooling_percent=100.0 * math.hypot(u_of(expansion) * fall, expansion.value * u_fall),
        setting_percent=half,
        u_setting_percent=math.hypot(half / math.sqrt(3.0), u_of(change)),
        source=f"expansion: {expansion.cited}; 24 h change: {change.cited}",
    )
