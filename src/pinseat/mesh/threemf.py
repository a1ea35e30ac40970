"""3MF: a solid with its unit and name, in one archive (3MF Core Specification 1.3, ISO/IEC 25422:2025)."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Mapping
from xml.sax.saxutils import escape, quoteattr

import numpy as np
from numpy.typing import NDArray

from pinseat.errors import ScanError
from pinseat.mesh.model import Mesh

_CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
_TYPES = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
    '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/>'
    "</Types>\n"
)
_RELATIONS = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
    '<Relationship Id="model" Target="/3D/3dmodel.model" '
    'Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>\n'
)
_WELL_KNOWN = ("Title", "Designer", "Description", "Copyright", "LicenseTerms", "Application")
_DAY = (1980, 1, 1, 0, 0, 0)


def threemf_bytes(mesh: Mesh, *, name: str, said: Mapping[str, str] | None = None) -> bytes:
    """A mesh as a 3MF archive, in millimetres.

    Parameters
    ----------
    mesh : Mesh
        Closed, wound outward.
    name : str
        Of the object, and the title of the file.
    said : mapping of str to str, optional
        Further words, under names that the specification knows: ``Description``, ``Application`` and so on.

    Returns
    -------
    bytes
        The same for the same arguments. Coordinates are rounded to 0.1 um.

    Raises
    ------
    ScanError
        For a mesh without triangles or with a coordinate that is no number, or words under an unknown name.
    """
    if not len(mesh.faces) or not np.isfinite(mesh.vertices).all():
        raise ScanError("there is no solid to write", where="3MF")
    words = {"Title": name, **(said or {})}
    for word in words:
        if word not in _WELL_KNOWN:
            raise ScanError("3MF knows no such word", where="3MF", value=word, limit=", ".join(_WELL_KNOWN))
    head = "".join(
        f"<metadata name={quoteattr(word)}>{escape(_plain(text))}</metadata>" for word, text in words.items()
    )
    model = (
        f'<?xml version="1.0" encoding="UTF-8"?>\n<model unit="millimeter" xml:lang="en" xmlns="{_CORE}">'
        f'{head}<resources><object id="1" type="model" name={quoteattr(_plain(name))}><mesh><vertices>'
        f"{_vertices(mesh.vertices)}</vertices><triangles>{_triangles(mesh.faces)}</triangles></mesh></object>"
        '</resources><build><item objectid="1"/></build></model>\n'
    )
    memory = io.BytesIO()
    with zipfile.ZipFile(memory, "w", zipfile.ZIP_DEFLATED, compresslevel=4) as archive:
        for part, text in (
            ("[Content_Types].xml", _TYPES),
            ("_rels/.rels", _RELATIONS),
            ("3D/3dmodel.model", model),
        ):
            archive.writestr(zipfile.ZipInfo(part, _DAY), text, zipfile.ZIP_DEFLATED, 4)
    return memory.getvalue()


def _plain(text: str) -> str:
    """Text that XML can hold."""
    return "".join(x if x.isprintable() else " " for x in text)


def _vertices(points: NDArray[np.float64]) -> str:
    flat = tuple(np.round(points, 4).ravel().tolist())
    return ('<vertex x="%.4f" y="%.4f" z="%.4f"/>' * len(points)) % flat


def _triangles(faces: NDArray[np.int32]) -> str:
    return ('<triangle v1="%d" v2="%d" v3="%d"/>' * len(faces)) % tuple(faces.ravel().tolist())
