"""One run is like another: property tests draw the same examples until somebody asks for new ones.

`ROLLWRIGHT_EXPLORE=1 make test` draws new ones; what it finds becomes a test of its own.
"""

from __future__ import annotations

import os

from hypothesis import settings

settings.register_profile("same", derandomize=True)
settings.register_profile("explore", derandomize=False)
settings.load_profile("explore" if os.environ.get("ROLLWRIGHT_EXPLORE") else "same")
