"""Settings shared by all tests."""

from __future__ import annotations

import os

from hypothesis import settings

settings.register_profile("ci", derandomize=True)
if os.environ.get("CI"):  # the same examples each time; at the desk new ones are tried
    settings.load_profile("ci")
