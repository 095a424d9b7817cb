"""The pages, one module each; a module is registered by its name in `PAGES` and has `routes(bench)`."""

from __future__ import annotations

from rollwright.web.pages import car, devices, garage, pair

__all__ = ["PAGES"]

PAGES = (pair, garage, car, devices)
"""The modules of all pages. A new page is one module with `routes(bench: Bench) -> list[Route]`."""
