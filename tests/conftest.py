"""What all tests share: hypothesis without a clock, and the same examples at every run of the gate."""

from __future__ import annotations

import os

from hypothesis import settings

settings.register_profile("here", deadline=None)
settings.register_profile("gate", deadline=None, derandomize=True)
settings.load_profile("gate" if os.environ.get("CI") else "here")
