"""What is asked of the tray: what the case states, else the reference values."""

from __future__ import annotations

from pinseat.case.tray import Tray
from pinseat.reference import value
from pinseat.tray.model import Asked
from pinseat.tray.sheets import need_thickness

_STATED = "pin_gap_mm under [tray], as stated"


def asked_of(stated: Tray) -> Asked:
    """Measures of the tray.

    Parameters
    ----------
    stated : Tray
        Of the case.

    Returns
    -------
    Asked

    Raises
    ------
    TrayError
        When a number of sheets is given without the thickness of one.

    Examples
    --------
    >>> asked_of(Tray()).relief_mm, asked_of(Tray(relief_sheets=3, sheet_mm=1.3)).relief_mm
    (2.6, 3.9000000000000004)
    """
    need_thickness(stated.relief_sheets, stated.sheet_mm, "tray.relief_sheets")
    need_thickness(stated.pin_sheets, stated.sheet_mm, "tray.pin_sheets")
    relief = stated.relief_mm
    if relief is None and stated.relief_sheets is not None and stated.sheet_mm is not None:
        relief = stated.relief_sheets * stated.sheet_mm
    relief = _or(relief, "tray.relief_mm")
    return Asked(
        relief_mm=relief,
        pin_relief_mm=relief + _or(stated.pin_extra_mm, "tray.pin_extra_mm"),
        pin_gap_mm=_or(stated.pin_gap_mm, "tray.pin_gap_mm"),
        pin_gap_source=value("tray.pin_gap_mm").cited if stated.pin_gap_mm is None else _STATED,
        wobble_deg=_or(stated.wobble_deg, "tray.wobble_deg"),
        wobble_mm=_or(stated.wobble_mm, "tray.wobble_mm"),
        wall_mm=_or(stated.wall_mm, "tray.wall_mm"),
        past_gum_mm=_or(stated.past_gum_mm, "tray.past_gum_mm"),
        stop_diameter_mm=_or(stated.stop_diameter_mm, "tray.stop_diameter_mm"),
        grid_mm=_or(stated.grid_mm, "tray.grid_mm"),
        waste_share=_or(stated.waste_share, "tray.waste_share"),
    )


def _or(stated: float | None, name: str) -> float:
    return value(name).value if stated is None else stated
