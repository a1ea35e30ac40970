"""What is said of a comparison, on the page and on the screen."""

from __future__ import annotations

from collections.abc import Iterator

from pinseat.compare.model import CompareResult, PinChange
from pinseat.compare.rows import toml_text
from pinseat.ledger.findings import Finding
from pinseat.mesh.colour import two_way
from pinseat.report.advice import sentence, worst_first
from pinseat.report.pages import Plain, finding_lists, number_text, pairs
from pinseat.report.rounding import column, fixed, with_u

UNCHANGED = "no change seen"


def sheet_words(result: CompareResult, meta: dict[str, str], basis: list[list[str]]) -> Plain:
    """Everything the page says, without its picture.

    Parameters
    ----------
    result : CompareResult
    meta : dict of str to str
        Label and value of each version and hash to print.
    basis : list of [what, words]
        The limits that were used, with where they come from.

    Returns
    -------
    dict
    """
    findings = worst_first(result.findings)
    return {
        "heading": "Comparison of two scans",
        "footer": "pinseat · comparison of two scans · not a medical device",
        "first": result.first,
        "second": result.second,
        "verdict": headline(findings),
        "lay": lay_words(result),
        "pins": _pin_rows(result),
        "spans": _span_rows(result),
        "findings": finding_lists(findings),
        "rows": [block.split("\n") for block in toml_text(result.rows).split("\n\n")] if result.rows else [],
        "legend": _legend(result),
        "made": [*basis, *([label, value] for label, value in meta.items())],
    }


def headline(findings: tuple[Finding, ...]) -> Plain:
    """The worst verdict with its reason and number, and what to do about it."""
    worst = findings[0]
    if worst.verdict == "clear":
        return {
            "word": "clear",
            "why": "Nothing changed beyond what the two scans' own noise explains.",
            "next": "Nothing needs doing.",
        }
    number = number_text(worst)
    why = f"{worst.says.rstrip('.')} ({worst.where}){f': {number}' if number else ''}"
    do = next((f.do for f in findings if f.verdict == worst.verdict and f.do), "")
    return {"word": worst.verdict, "why": sentence(why), "next": sentence(do or "look at the table")}


def lay_words(result: CompareResult) -> str:
    """How well the scans lie on each other, in a sentence or two."""
    laid = result.laid
    negative = " The second scan is a negative and was turned over." if laid.negative else ""
    return (
        f"{fixed(100.0 * laid.shared_share, 0)} % of the second scan lies over the first; "
        f"{fixed(100.0 * laid.agreeing_share, 0)} % of that within 0.1 mm. Pose known to "
        f"{fixed(laid.u_shift_um, 1)} um and {fixed(laid.u_turn_deg, 3)} deg, "
        f"{fixed(laid.u_worst_um, 0)} um at the far end. What is unchanged scatters by "
        f"{fixed(laid.spread_um, 0)} um.{negative}"
    )


def pin_words(pin: PinChange) -> str:
    """One pin in a line: what changed, with its numbers."""
    said = " and ".join(pin.certain) or UNCHANGED
    depth = "" if pin.depth_um is None else f", depth {with_u(pin.depth_um, pin.u_depth_um, 'um')}"
    return (
        f"{said}: shift {with_u(pin.shift_um, pin.u_shift_um, 'um')}, "
        f"tilt {with_u(pin.tilt_deg, pin.u_tilt_deg, 'deg')}{depth}"
    )


def screen_lines(result: CompareResult) -> Iterator[tuple[str, str]]:
    """What ``pinseat compare`` prints: a short head and words for each line."""
    yield "first", result.first
    yield "second", result.second
    yield "laid", lay_words(result)
    for scale in result.scales:
        yield "scale", f"{with_u(scale.change_percent, scale.u_percent, '%')} by the {scale.basis}"
    for span in result.spans:
        yield (
            f"{span.teeth[0]} to {span.teeth[1]}",
            f"{with_u(span.change_um, span.u_um, 'um')} over {fixed(span.first_mm, 1)} mm; "
            f"the scale alone would make {fixed(span.by_scale_um, 0)} um",
        )
    for pin in result.pins:
        yield f"pin {pin.name}", pin_words(pin)
    share = f"{fixed(100.0 * result.within_share, 1)} % of the compared surface"
    yield "surface", f"{share} within {fixed(result.limit_um, 0)} um"
    for place in [place for place in result.places if not place.at][:3]:
        yield (
            "",
            f"{fixed(place.farthest_um, 0)} um at the farthest, {fixed(place.area_mm2, 1)} mm², "
            f"at ({', '.join(fixed(float(x), 1) for x in place.place)}) mm",
        )


def _pin_rows(result: CompareResult) -> list[Plain]:
    pins = result.pins
    shift = pairs([(pin.shift_um, pin.u_shift_um) for pin in pins], 1)
    tilt = pairs([(pin.tilt_deg, pin.u_tilt_deg) for pin in pins], 2)
    diameter = pairs([(pin.diameter_um, pin.u_diameter_um) for pin in pins], 1)
    known = [(i, pin) for i, pin in enumerate(pins) if pin.depth_um is not None]
    cells = pairs([(float(pin.depth_um or 0.0), pin.u_depth_um) for _, pin in known], 1)
    depth = {i: cell for (i, _), cell in zip(known, cells, strict=True)}
    return [
        {
            "pin": pin.name,
            "shift": shift[i],
            "tilt": tilt[i],
            "depth": depth.get(i),
            "diameter": diameter[i],
            "said": " and ".join(pin.certain) or UNCHANGED,
            "changed": bool(pin.certain),
        }
        for i, pin in enumerate(pins)
    ]


def _span_rows(result: CompareResult) -> list[Plain]:
    rows = [
        {
            "what": "scale, surface" if scale.basis == "shared surface" else "scale, pins",
            "change": with_u(scale.change_percent, scale.u_percent, "%"),
            "scale": "",
        }
        for scale in result.scales
    ]
    by_scale = column([fixed(span.by_scale_um, 0) for span in result.spans])
    rows += [
        {
            "what": f"{span.teeth[0]} to {span.teeth[1]}, {fixed(span.first_mm, 2)} mm",
            "change": with_u(span.change_um, span.u_um, "um"),
            "scale": f"{cell[1]} um",
        }
        for span, cell in zip(result.spans, by_scale, strict=True)
    ]
    return rows


def _legend(result: CompareResult) -> Plain:
    limit = result.limit_um
    near = limit * (1.0 + 1e-9)
    shades = two_way([-2.0 * limit, -near, -limit, 0.0, limit, near, 2.0 * limit], limit)
    return {
        "shades": shades.tolist(),
        "ticks": [f"{fixed(x * limit, 0)}" for x in (-2, -1, 0, 1, 2)],
        "note": "µm; blue: the second scan stands out beyond the first; brown: it lies below; "
        "grey: not compared. Averaged over two rings of neighbours.",
    }
