"""Several arrays as one run of bytes that a browser can use without copying."""

from __future__ import annotations

import json
import struct
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

_KINDS = {"float32": "f4", "uint32": "u4", "int8": "i1", "uint8": "u1"}


def pack(arrays: Mapping[str, NDArray[Any]], said: Mapping[str, Any] | None = None) -> bytes:
    """Arrays one after another behind a head that names them.

    Parameters
    ----------
    arrays : mapping of str to array
        float32, uint32, int8 or uint8.
    said : mapping, optional
        Plain JSON values to go along.

    Returns
    -------
    bytes
        Length of the head (4 bytes, little-endian), the head as JSON padded with spaces to a multiple of 8,
        then each array, little-endian, padded to a multiple of 8.

    Examples
    --------
    >>> data = pack({"a": np.arange(3, dtype=np.uint8)}, {"unit": "mm"})
    >>> unpack(data)[0]["a"].tolist(), unpack(data)[1]
    ([0, 1, 2], {'unit': 'mm'})
    """
    listed: dict[str, Any] = {}
    body, at = [], 0
    for name, array in arrays.items():
        data = np.ascontiguousarray(array).astype(array.dtype.newbyteorder("<"), copy=False).tobytes()
        kind = _KINDS[array.dtype.name]
        listed[name] = {"kind": kind, "at": at, "count": int(array.size)}
        body.append(data + b"\0" * (-len(data) % 8))
        at += len(body[-1])
    head = json.dumps({"arrays": listed, "said": dict(said or {})}, allow_nan=False).encode()
    head += b" " * (-(len(head) + 4) % 8)
    return struct.pack("<I", len(head)) + head + b"".join(body)


def unpack(data: bytes) -> tuple[dict[str, NDArray[Any]], dict[str, Any]]:
    """The way back: flat arrays by name, and what was said with them."""
    (length,) = struct.unpack_from("<I", data)
    head = json.loads(data[4 : 4 + length])
    start = 4 + length
    arrays = {
        name: np.frombuffer(data, "<" + one["kind"], one["count"], start + one["at"])
        for name, one in head["arrays"].items()
    }
    return arrays, head["said"]
