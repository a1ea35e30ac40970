import struct

import numpy as np
import pytest

from pinseat.errors import ScanError
from pinseat.mesh.stl import read_stl
from pinseat.mesh.write import stl_bytes

ASCII = b"""solid tooth
facet normal 0 0 1
 outer loop
  vertex 0 0 0
  vertex 1.5e+00 0 0
  vertex 0 -2.25 1E-3
 endloop
endfacet
endsolid tooth
"""


def test_binary_file_that_begins_with_solid(cube):
    data = b"solid from a scanner".ljust(80) + stl_bytes(cube())[80:]
    corners, notes = read_stl(data)
    np.testing.assert_array_equal(corners, cube().vertices[cube().faces])
    assert notes == ()


def test_trailing_bytes_are_ignored_and_told(cube):
    corners, notes = read_stl(stl_bytes(cube()) + b"colour=xyz")
    assert len(corners) == 12
    assert notes == ("10 bytes behind the last triangle were ignored",)


def test_solid_header_and_trailing_bytes_together(cube):
    corners, _ = read_stl(b"solid".ljust(80) + stl_bytes(cube())[80:] + b"\0")
    assert len(corners) == 12


@pytest.mark.parametrize("end", [b"\n", b"\r\n", b"\r"])
@pytest.mark.parametrize("change", [bytes, bytes.upper])
def test_text(end, change):
    corners, notes = read_stl(change(ASCII).replace(b"\n", end))
    np.testing.assert_array_equal(corners, [[[0, 0, 0], [1.5, 0, 0], [0, -2.25, 1e-3]]])
    assert notes == ("written as text",)


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "cut short"),
        (b"\0" * 83, "cut short"),
        (b"\0" * 84, "no triangles"),
        (b"\0" * 80 + struct.pack("<I", 2**32 - 1) + b"\0" * 50, "4,294,967,295"),
        (b"solid empty\nendsolid empty\n", "no triangles"),
        (ASCII[:-20], "closing line"),
        (ASCII.replace(b"1.5e+00", b"1,5"), "three corners"),
        (ASCII.replace(b"1.5e+00", b"one"), "three corners"),
        (ASCII.replace(b"1.5e+00 0 0", b"1.5 0"), "three corners"),
        (ASCII.replace(b"  vertex 0 0 0\n", b""), "three corners"),
    ],
)
def test_damage_is_told(data, says):
    with pytest.raises(ScanError, match=says):
        read_stl(data)


def test_every_cut_of_a_binary_file_is_noticed(cube):
    data = stl_bytes(cube())
    for length in range(len(data)):
        with pytest.raises(ScanError):
            read_stl(data[:length])
