"""What is said of a tray, in words and rounded numbers."""

from __future__ import annotations

from collections.abc import Iterator

from pinseat.tray.model import HandPlan, TrayResult


def console_lines(result: TrayResult) -> Iterator[tuple[str, str]]:
    """Head and words of each line for the command line."""
    asked = result.asked
    yield (
        "tray",
        f"made; relief {asked.relief_mm:.1f} mm, wall {asked.wall_mm:.1f} mm, border {result.border}"
        if result.made
        else result.why_not,
    )
    if result.pins:
        rest, swept = min(p.rest_mm for p in result.pins), min(p.swept_mm for p in result.pins)
        yield (
            "pins",
            f"{len(result.pins)}; clearance at least {rest:.2f} mm at rest, {swept:.2f} mm on the way with "
            f"{asked.wobble_deg:g}° and {asked.wobble_mm:g} mm of wobble; wanted {asked.pin_gap_mm:.1f} mm",
        )
    for gap in result.gaps:
        low, middle, high = gap.percentiles_mm
        where = "gap, teeth" if gap.zone == "teeth" else "gap, pins"
        yield (
            where,
            f"{middle:.2f} mm (1st and 99th percentile {low:.2f}, {high:.2f}), asked {gap.asked_mm:.2f}",
        )
    if result.sound:
        yield (
            "mesh",
            f"{result.sound.triangles} triangles, {result.sound.second_opinion}; thinnest wall "
            f"{result.sound.thinnest_mm:.2f} mm; {result.sound.collisions} collisions along the draw",
        )
        yield "handle", result.handle
    if result.doses:
        doses = result.doses
        more = 1.0 + doses.waste_share
        yield (
            "doses",
            f"light body {doses.light_cm3 * more:.1f} cm³, heavy body {doses.heavy_cm3 * more:.1f} cm³, "
            f"{100 * doses.waste_share:.0f} % of waste in them; adhesive on {doses.adhesive_cm2:.0f} cm²",
        )
    yield "by hand", hand_words(result.hand)


def hand_words(plan: HandPlan) -> str:
    """The sheets of a tray made by hand, in one sentence."""
    most = max((pile.sheets for pile in plan.piles), default=0)
    return (
        f"{plan.sheets} {'sheet' if plan.sheets == 1 else 'sheets'} of {plan.sheet_mm:g} mm ({plan.stock}) "
        f"over the teeth, {most} in all over the pins"
    )
