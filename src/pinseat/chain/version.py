"""The code version that goes into every stored result."""

from __future__ import annotations

import hashlib
from functools import cache
from pathlib import Path

import pinseat


@cache
def code_version() -> str:
    """Release number and a digest of the package's own source, such as ``0.1.0+3f9a61c2``.

    The digest makes a stored result stale as soon as any line that could have made it has changed.

    Returns
    -------
    str
    """
    root = Path(pinseat.__file__).parent
    digest = hashlib.sha256()
    for path in sorted(root.rglob("*")):
        if path.suffix in {".py", ".toml", ".typ", ".json"}:
            digest.update(path.relative_to(root).as_posix().encode())
            digest.update(path.read_bytes())
    return f"{pinseat.__version__}+{digest.hexdigest()[:8]}"
