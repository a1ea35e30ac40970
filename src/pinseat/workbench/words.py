"""Plain words for the case's parts, and where each stands on the sheet."""

from __future__ import annotations

HOMES = {
    "scan": ("scan", "callipers"),
    "survey": ("pins", "regions", "margins", "contacts"),
    "casting": ("chain", "measured"),
    "recipe": ("casting",),
    "seating": ("seat", "cement"),
    "seat": ("mechanics",),
    "diagnosis": ("tryin",),
}
"""Parts of the case whose facts stand beside a step that is called otherwise."""

BRIDGE = ("number", "title", "notation", "missing", "abutments")
"""Parts that stand first: which bridge it is."""

NO_FACT = ("schema",)

MARKS = {"clear": "○", "caution": "▲", "stop": "■", "cannot tell": "?", "": "·"}
"""A shape for each verdict: colour alone tells nothing."""

ORDER = {"stop": 0, "cannot tell": 1, "caution": 2, "clear": 3}


def home(part: str, steps: list[str]) -> str:
    """The step beside which a part of the case stands; empty for the bridge itself.

    Parameters
    ----------
    part : str
        A key at the top of ``case.toml``.
    steps : list of str
        Names of the steps, in the order of the work.
    """
    if part in BRIDGE:
        return ""
    for step, parts in HOMES.items():
        if part in parts and step in steps:
            return step
    return part if part in steps else ""


def plain(key: str) -> str:
    """A key in words, its unit left off.

    Examples
    --------
    >>> plain("cast_pin_diameter_mm"), plain("u_span_error_um"), plain("limit_um")
    ('cast pin diameter', 'u span error', 'limit')
    """
    stem, _, unit = key.rpartition("_")
    return (stem if stem and unit in UNITS else key).replace("_", " ")


UNITS = {
    "mm": "mm",
    "um": "µm",
    "deg": "°",
    "degC": "°C",
    "mA": "mA",
    "A": "A",
    "V": "V",
    "h": "h",
    "min": "min",
    "s": "s",
    "g": "g",
    "mg": "mg",
    "ml": "ml",
    "N": "N",
    "MPa": "MPa",
    "GPa": "GPa",
    "mm2": "mm²",
    "mm3": "mm³",
    "cm2": "cm²",
    "percent": "%",
    "C": "C",
    "Ah": "Ah",
    "mAh": "mAh",
    "per": "per",
}
"""Endings of keys, and how the unit is written."""


def unit_of(key: str) -> str:
    """The unit a key ends in; empty when it ends in none.

    Examples
    --------
    >>> unit_of("limit_um"), unit_of("tooth"), unit_of("mm")
    ('µm', '', 'mm')
    """
    stem, _, unit = key.rpartition("_")
    if key in ("mm", "um", "deg"):
        return UNITS[key]
    return UNITS.get(unit, "") if stem else ""


def css_word(verdict: str) -> str:
    """A verdict as a class of the style sheet.

    Examples
    --------
    >>> css_word("cannot tell")
    'cannot-tell'
    """
    return verdict.replace(" ", "-")
