"""Plain words for the steps and the case's parts; what is not named here gets its own name."""

from __future__ import annotations

STEPS = {
    "scan": ("The scan", "Is the surface sound, and in which unit was it written?"),
    "survey": ("Pins and draw", "Where each pin stands, and the line that serves them all."),
    "survey_sheet": ("A closer look", "Undercut, walls and distances along that line."),
    "readings": ("Readings to take", "Which distances the callipers should take next."),
    "tray": ("The tray", "A tray that clears every pin on its way off."),
    "impression": ("The impression", "What the rubber does to each pin, and how long there is."),
    "plating": ("Plating", "Where the metal goes, and when every spot has enough."),
    "programme": ("Plating programme", "Current against time, and when to look."),
    "compare": ("Copy beside original", "What a second scan says about the copy."),
    "casting": ("The copies", "What the copies do to the fit, from tooth to casting."),
    "recipe": ("Casting recipe", "Liquid, powder and alloy for a casting that fits."),
    "seating": ("Will it seat?", "Virtual bridges, each seated by contact alone."),
    "seat": ("What to change", "Every change that helps, joined, with its cost and its caution."),
    "diagnosis": ("Try-in", "What was seen at the try-in, and what explains it best."),
    "ticket": ("Work ticket", "What goes to the laboratory, on one page and in one file."),
    "report": ("Report", "All of it on paper."),
}
"""For each step: what it is called, and the question it answers."""

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


def step_title(name: str) -> str:
    """What a step is called.

    Examples
    --------
    >>> step_title("survey"), step_title("second_look")
    ('Pins and draw', 'Second look')
    """
    return STEPS[name][0] if name in STEPS else name.replace("_", " ").capitalize()


def step_question(name: str) -> str:
    """The question a step answers; empty when it has none here."""
    return STEPS[name][1] if name in STEPS else ""


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
