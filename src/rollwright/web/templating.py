"""Pages from templates: everything is escaped, and what every page needs is there by itself."""

from __future__ import annotations

import hashlib
from functools import cache
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from starlette.requests import Request
from starlette.responses import HTMLResponse

from rollwright.units import System
from rollwright.web.bench import Bench
from rollwright.web.livery import swatch
from rollwright.web.marks import ring
from rollwright.web.settings import API_VERSION

__all__ = ["STATIC", "render", "static_version"]

_HERE = Path(__file__).parent
STATIC = _HERE / "static"
"""Folder of the program's own files for pages."""


@cache
def _environment() -> Environment:
    found = Environment(
        loader=FileSystemLoader(_HERE / "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    found.globals.update(ring=ring, swatch=swatch, version=API_VERSION, static=static_version())
    return found


@cache
def static_version() -> str:
    """Return what changes whenever one of the program's own files for pages does."""
    digest = hashlib.sha256()
    for path in sorted(STATIC.iterdir()):
        digest.update(path.read_bytes())
    return digest.hexdigest()[:12]


def render(
    bench: Bench, request: Request, template: str, *, status: int = 200, **more: object
) -> HTMLResponse:
    """Return a page.

    Args:
        bench: whose page it is.
        request: what asked for it.
        template: name of the template.
        status: HTTP status.
        more: what the template shows beside what every page has.

    Returns:
        The page.
    """
    device = request.state.device
    units = bench.settings.units if device is None else device.units
    text = (
        _environment()
        .get_template(template)
        .render(
            bench=bench.id,
            units="in" if units is System.INCH else "mm",
            paired=device is not None,
            log_name=bench.settings.log.name,
            **more,
        )
    )
    return HTMLResponse(text, status_code=status)
