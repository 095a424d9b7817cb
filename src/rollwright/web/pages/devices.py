"""The page of the paired devices: which there are, one more, and one sent away."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from rollwright.web.bench import Bench, device_of
from rollwright.web.templating import render

__all__ = ["routes"]


def routes(bench: Bench) -> list[Route]:
    """Return the page's routes."""

    async def page(request: Request) -> Response:
        found = await bench.run(bench.devices.every)
        told = [{**each.as_json(), "this": each.id == device_of(request).id} for each in found]
        return render(bench, request, "devices.html", devices=told, lan=bench.settings.lan)

    return [Route("/devices", page, methods=["GET"], name="devices_page")]
