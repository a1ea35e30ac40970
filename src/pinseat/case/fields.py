"""What every part of ``case.toml`` is made of: typed numbers, points, and parts that refuse unknown keys."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict
from pydantic_core import PydanticCustomError

from pinseat.errors import UnitError
from pinseat.units import reading


def _typed(value: Any) -> float:
    """A number as typed; what cannot be one is told to pydantic, so that it can say where it stands."""
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        raise _no_number("this is not a number")
    try:
        return reading(value)
    except OverflowError:
        raise _no_number("this number is too large") from None
    except UnitError as error:
        raise _no_number(error.what, error.do) from None


def _no_number(what: str, do: str = "") -> PydanticCustomError:
    return PydanticCustomError("number", "{what}", {"what": what, "do": do})


def _whole(value: Any) -> Any:
    if isinstance(value, bool):
        raise PydanticCustomError("int_type", "this is not a whole number")
    return value


Number = Annotated[float, BeforeValidator(_typed)]
"""A typed number; ``"18,42"`` is as good as ``18.42``."""
Whole = Annotated[int, BeforeValidator(_whole)]
Point = tuple[Number, Number, Number]

TOOTH = "number of the abutment tooth, in the notation of the case: FDI two-digit (ISO 3950) or Universal"
"""Description of every field that names an abutment."""


class Part(BaseModel):
    """Shared settings: frozen, and unknown keys are refused."""

    model_config = ConfigDict(frozen=True, extra="forbid")
