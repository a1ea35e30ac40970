"""What the report needs to know about the scan."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class ScanPart:
    """The scan in words, for the page.

    Attributes
    ----------
    file : str
        Path inside the case folder.
    format : str
        ``binary STL``, ``PLY`` and so on.
    unit : str
        Unit of the file, as stated or agreed.
    triangles : int
        In the file as received.
    health : tuple of str
        What was noticed about the surface, one sentence each.
    working_copy : tuple of str
        What was changed to make the working copy, one sentence each.
    """

    file: str
    format: str
    unit: str
    triangles: int
    health: tuple[str, ...] = ()
    working_copy: tuple[str, ...] = ()
