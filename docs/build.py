"""Make the reference pages that come from the code: ``python -m docs.build`` (``make docs``)."""

from __future__ import annotations

import json
from pathlib import Path

from pinseat import reference
from pinseat.case.schema import case_schema

HERE = Path(__file__).parent / "reference"


def values_page() -> str:
    """All reference values as one table."""
    lines = [
        "# Reference values",
        "",
        "Made by `make docs` from `src/pinseat/reference/data`; edit there. `u` is one standard uncertainty.",
        "",
        "| name | value | unit | u | conditions | basis | source | note |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for v in reference.values():
        cells = [f"`{v.name}`", f"{v.value:g}", v.unit, v.uncertainty_stated]
        cells += [v.conditions, v.basis, v.reference, v.note]
        lines.append("| " + " | ".join(c.replace("|", "/") for c in cells) + " |")
    return "\n".join(lines) + "\n"


def pages() -> dict[Path, str]:
    """Every generated page with its text."""
    return {
        HERE / "values.md": values_page(),
        HERE / "case.schema.json": json.dumps(case_schema(), indent=2, ensure_ascii=False) + "\n",
    }


def main() -> None:
    """Write the pages that have changed."""
    for path, text in pages().items():
        if not path.exists() or path.read_text(encoding="utf-8") != text:
            path.write_text(text, encoding="utf-8")
            print(f"wrote {path.relative_to(HERE.parent)}")


if __name__ == "__main__":
    main()
