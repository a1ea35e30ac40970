"""STL, binary and text, as it comes out of scanners and not only as it is written down.

The format: 80 bytes of header, a little-endian count, 50 bytes a triangle (normal, three corners, two spare
bytes); or text with ``facet``, ``vertex`` and ``endfacet`` lines. From memory; there is no standard to cite.
"""

from __future__ import annotations

import re
import struct
import warnings

import numpy as np

from pinseat.errors import ScanError
from pinseat.mesh.content import is_text
from pinseat.mesh.model import Float

_AGAIN = "export the scan again"
_RECORD = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("spare", "<u2")])


def read_stl(data: bytes) -> tuple[Float, tuple[str, ...]]:
    """Corners of the triangles of an STL file.

    A binary file may begin with "solid" and may carry bytes behind the last triangle. The stored normals are
    left alone: the winding says the same, and exporters often get them wrong.

    Parameters
    ----------
    data : bytes
        The whole file.

    Returns
    -------
    corners : (m, 3, 3) float64 array
        In the unit of the file.
    notes : tuple of str
        What was met on the way.

    Raises
    ------
    ScanError
        If it is cut short, holds no triangle, or is not STL.
    """
    if len(data) >= 84 and len(data) == 84 + 50 * _count(data):
        return _binary(data)
    if data[:512].lstrip()[:5].lower() == b"solid" and is_text(data[:4096]):
        return _text(data)
    return _binary(data)


def _count(data: bytes) -> int:
    return int(struct.unpack_from("<I", data, 80)[0])


def _binary(data: bytes) -> tuple[Float, tuple[str, ...]]:
    if len(data) < 84:
        raise ScanError("the STL file is cut short: it ends within its header", do=_AGAIN)
    promised, held = _count(data), (len(data) - 84) // 50
    if promised == 0:
        raise ScanError("the STL file holds no triangles", do=_AGAIN)
    if promised > held:
        raise ScanError(
            "the STL file is cut short, or is none",
            value=f"it holds {held:,} triangles",
            limit=f"{promised:,} as its header promises",
            do=_AGAIN,
        )
    records = np.frombuffer(data, _RECORD, promised, 84)
    trailing = len(data) - 84 - 50 * promised
    notes = (f"{trailing:,} bytes behind the last triangle were ignored",) if trailing else ()
    return records["corners"].astype(np.float64), notes


def _text(data: bytes) -> tuple[Float, tuple[str, ...]]:
    if not re.search(rb"endsolid", data[-4096:], re.IGNORECASE):
        raise ScanError("the STL file is cut short: its closing line is missing", do=_AGAIN)
    lines = re.findall(rb"vertex[ \t]+([^\r\n]+)", data) or re.findall(rb"VERTEX[ \t]+([^\r\n]+)", data)
    if not lines:
        raise ScanError("the STL file holds no triangles", do=_AGAIN)
    loops = data.count(b"endloop") or data.count(b"ENDLOOP")
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            numbers = np.fromstring(b" ".join(lines), np.float64, sep=" ")
        except (DeprecationWarning, ValueError):
            numbers = np.empty(0)
    if len(numbers) != 9 * loops or len(lines) != 3 * loops:
        raise ScanError(
            "the STL file is damaged: not every triangle has three corners of three numbers", do=_AGAIN
        )
    return numbers.reshape(-1, 3, 3), ("written as text",)
