"""What a file looks like inside, whatever its name says."""

from __future__ import annotations

import re
import struct

FORMATS = ("STL", "PLY", "OBJ", "OFF", "3MF")
"""Scan files that can be read; the name of each ends in its format."""

_BEGINNINGS = {
    b"ply": "PLY",
    b"PK\x03\x04": "3MF",
    b"PK\x05\x06": "3MF",
    b"\x89PNG": "a PNG picture",
    b"\xff\xd8\xff": "a JPEG picture",
    b"%PDF": "a PDF document",
    b"\x1f\x8b": "a gzip archive",
    b"Rar!": "a RAR archive",
    b"7z\xbc\xaf": "a 7z archive",
    b"glTF": "a glTF scene",
    b"version https://git-lfs": "a placeholder for a file kept elsewhere",
}
_OFF = re.compile(rb"(?:ST)?C?N?4?OFF(?:\s|$)")
_OBJ = re.compile(rb"^(?:v|vn|vt|f)[ \t]+[-+.\d]", re.MULTILINE)


def looks_like(data: bytes) -> str:
    """Name what the content looks like: a format of :data:`FORMATS`, something else in words, or nothing.

    Parameters
    ----------
    data : bytes
        The whole file.

    Returns
    -------
    str
        Empty when it looks like nothing known.

    Examples
    --------
    >>> looks_like(b"OFF 3 1 0 ..."), looks_like(b"%PDF-1.7"), looks_like(b"hello")
    ('OFF', 'a PDF document', '')
    """
    for beginning, name in _BEGINNINGS.items():
        if data.startswith(beginning):
            return name
    if len(data) >= 84 and len(data) == 84 + 50 * struct.unpack_from("<I", data, 80)[0]:
        return "STL"
    head = data[:4096]
    if is_text(head):
        return _text_kind(head)
    return "STL" if head.startswith(b"solid") else ""


def is_text(head: bytes) -> bool:
    """Whether the bytes hold no control characters, as text does."""
    return not re.search(rb"[\x00-\x08\x0e-\x1f]", head)


def _text_kind(head: bytes) -> str:
    words = head.lstrip(b"\xef\xbb\xbf \t\r\n")
    low = words[:512].lower()
    if low.startswith(b"solid"):
        return "STL"
    if low.startswith((b"<!doctype html", b"<html")):
        return "a web page"
    if low.startswith(b"<?xml"):
        return "an XML document"
    uncommented = re.sub(rb"#[^\n]*", b"", words).lstrip()
    if _OFF.match(uncommented):
        return "OFF"
    return "OBJ" if _OBJ.search(uncommented) or low.startswith((b"mtllib", b"o ", b"g ")) else ""
