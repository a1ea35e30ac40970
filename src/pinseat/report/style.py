"""How the figures look, and how they are written: no dates, no program names, the same bytes each time."""

from __future__ import annotations

import io
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from numpy.typing import NDArray

from pinseat.case.files import atomic_write

Array = NDArray[np.float64]

INK = "#23272b"
GREY = "#6f747a"
HAIR = "#c8c4bb"
TINT = "#f3efe6"
ACCENT = "#9c3f1f"
"""One accent, dark enough to print in grey; shapes and words carry every meaning, never colour alone."""

MM = 1.0 / 25.4
PIXELS_PER_INCH = 240

_LOOK: dict[Any, Any] = {
    "font.family": ["STIXGeneral", "DejaVu Sans"],
    "font.size": 9.0,
    "text.parse_math": False,
    "axes.unicode_minus": True,
    "axes.edgecolor": GREY,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.6,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "xtick.color": GREY,
    "ytick.color": GREY,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "xtick.major.width": 0.6,
    "ytick.major.width": 0.6,
    "xtick.major.size": 3.0,
    "ytick.major.size": 3.0,
    "hatch.linewidth": 0.6,
    "svg.hashsalt": "pinseat",
    "svg.fonttype": "path",
}


@contextmanager
def look() -> Iterator[None]:
    """The report's look for every figure made inside, whatever a user's own settings say."""
    with matplotlib.rc_context():
        matplotlib.rcdefaults()
        matplotlib.rcParams.update(_LOOK)
        yield


def sheet(width_mm: float, height_mm: float) -> Figure:
    """An empty figure of a stated size."""
    figure = Figure(figsize=(width_mm * MM, height_mm * MM), dpi=PIXELS_PER_INCH)
    FigureCanvasAgg(figure)
    return figure


def plain_axes(figure: Figure, box: tuple[float, float, float, float]) -> Axes:
    """Axes in `box` (left, bottom, width, height as fractions)."""
    return figure.add_axes(box)


def write(figure: Figure, stem: Path) -> tuple[Path, Path]:
    """Write a figure as PNG and SVG.

    Parameters
    ----------
    figure : Figure
    stem : Path
        Without ending.

    Returns
    -------
    tuple of Path
        The PNG and the SVG.
    """
    png, svg = stem.with_suffix(".png"), stem.with_suffix(".svg")
    memory = io.BytesIO()
    figure.savefig(memory, format="png", metadata={"Software": None}, pil_kwargs={"compress_level": 3})
    atomic_write(png, memory.getvalue())
    memory = io.BytesIO()
    figure.savefig(memory, format="svg", metadata={"Date": None, "Creator": None})
    atomic_write(svg, memory.getvalue())
    return png, svg
