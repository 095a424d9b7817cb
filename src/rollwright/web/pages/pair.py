"""The page that lets a device in: it trades the link's token for a cookie, or takes the code by hand."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from rollwright.web.bench import Bench
from rollwright.web.templating import render

__all__ = ["routes"]


def routes(bench: Bench) -> list[Route]:
    """Return the page's routes."""

    async def page(request: Request) -> Response:
        return render(bench, request, "pair.html", lan=bench.settings.lan)

    return [Route("/pair", page, methods=["GET"], name="pair_page")]
