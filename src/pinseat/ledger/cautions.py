"""Cautions that more than one step has to give, in one wording."""

from __future__ import annotations

from pinseat.reference import value


def dentine_caution() -> str:
    """What stands wherever a hole is widened or a tooth is cut again.

    Returns
    -------
    str
        With the least dentine wanted round a hole and towards the pulp, from the reference values.

    Examples
    --------
    >>> dentine_caution().startswith("only where 1 mm of dentine is left all round and 1 mm to the pulp")
    True
    """
    around, pulp = value("pin.dentine_around_min_mm").value, value("pin.dentine_to_pulp_min_mm").value
    return (
        f"only where {around:g} mm of dentine is left all round and {pulp:g} mm to the pulp, "
        "by a radiograph: no scan shows it"
    )


PULL = (
    "pull straight along the line of pull, both sides together, the free hand steadying the teeth beside; "
    "never rock, peel or lever"
)
"""How a tray comes off."""
STANDS_PROUD = (
    "lift it out, clean its hole and let it down again without force: a wedged pin splits the tooth; "
    "else gauge its hole"
)
"""What to do with a pin that stands too far out of its tooth."""
