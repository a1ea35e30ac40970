"""What each step is called, and the question it answers, in plain words."""

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
"""For each step: what it is called, and the question it answers; in the order of the work."""


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
