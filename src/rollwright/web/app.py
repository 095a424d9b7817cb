"""The bench as one application: its guards, its data and its pages."""

from __future__ import annotations

import threading
from collections.abc import AsyncIterator, Callable, Collection
from contextlib import asynccontextmanager

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Mount
from starlette.staticfiles import StaticFiles
from starlette.types import Scope

from rollwright.errors import InputError
from rollwright.web.api.table import operations
from rollwright.web.asked import NotFound, answer_of
from rollwright.web.bench import Bench
from rollwright.web.devices import Devices
from rollwright.web.guard.answers import refusal, wants_page
from rollwright.web.guard.crash import Crash
from rollwright.web.guard.headers import Headers
from rollwright.web.guard.hosts import Hosts
from rollwright.web.guard.limits import LARGE, LONGEST, MOST_A_SECOND, Limits, TooLarge
from rollwright.web.guard.origin import Origin
from rollwright.web.guard.session import Session
from rollwright.web.operations import routes_of
from rollwright.web.pages import PAGES
from rollwright.web.pairing import Pairing
from rollwright.web.settings import Settings, bench_id
from rollwright.web.state import State
from rollwright.web.templating import STATIC, render

__all__ = ["make_app"]


class _Files(StaticFiles):
    """The program's own files: a browser asks each time whether they changed."""

    async def get_response(self, path: str, scope: Scope) -> Response:
        answer = await super().get_response(path, scope)
        answer.headers["Cache-Control"] = "no-cache"
        return answer


def make_app(
    settings: Settings,
    *,
    pairing: Pairing | None = None,
    hosts: Callable[[], Collection[str]] | None = None,
    longest: float = LONGEST,
    rate: float = MOST_A_SECOND,
) -> Starlette:
    """Return the application of a bench.

    Args:
        settings: of the bench.
        pairing: how devices are let in; left out, a new one that tells no codes.
        hosts: gives the names and addresses of this bench, asked at each request; left out, the settings'.
        longest: time for one request [s].
        rate: requests that one address may make in a second.

    Returns:
        The application; `app.state.bench` is what its pages share.

    Raises:
        FileUnwritable: the list of paired devices cannot be kept.
    """
    state = State(settings.state, bench=bench_id(settings.log))
    devices = Devices(state)
    bench = Bench(settings, state=state, devices=devices, pairing=pairing or Pairing())

    @asynccontextmanager
    async def lifespan(app: Starlette) -> AsyncIterator[None]:
        del app
        threading.Thread(target=bench.warm, args=(settings.units,), daemon=True).start()
        yield
        state.close()

    async def refused(request: Request, error: Exception) -> Response:
        if not wants_page(request.scope) or not isinstance(error, InputError):
            return answer_of(request, error)
        status = 404 if isinstance(error, NotFound) else 422
        return _trouble(bench, request, status, f"{error.problem}", error.mend)

    async def not_there(request: Request, error: Exception) -> Response:
        status = error.status_code if isinstance(error, HTTPException) else 500
        problem, mend = {
            404: ("there is no such page", "go back to the garage"),
            405: ("this is not asked in that way", "go back to the garage"),
        }.get(status, ("this cannot be answered", "go back to the garage"))
        if wants_page(request.scope):
            return _trouble(bench, request, status, problem, mend)
        return refusal(request.scope, status, problem, mend)

    async def too_large(request: Request, error: Exception) -> Response:
        del error
        return refusal(request.scope, 413, *LARGE)

    every = hosts or (lambda: settings.hosts)
    app = Starlette(
        routes=[
            *routes_of(bench, operations(settings.verbs)),
            *(route for page in PAGES for route in page.routes(bench)),
            Mount("/static", _Files(directory=STATIC), name="static"),
        ],
        # The outermost comes first: nothing is looked at before its host is ours.
        middleware=[
            Middleware(Headers),
            Middleware(Crash, tell=settings.tell),
            Middleware(Hosts, allowed=every, port=settings.port),
            Middleware(Limits, longest=longest, rate=rate),
            Middleware(Origin),
            Middleware(Session, devices=devices, port=settings.port),
        ],
        exception_handlers={InputError: refused, HTTPException: not_there, TooLarge: too_large},
        lifespan=lifespan,
    )
    app.router.redirect_slashes = False
    app.state.bench = bench
    return app


def _trouble(bench: Bench, request: Request, status: int, problem: str, mend: str) -> Response:
    line = f"{problem[:1].upper()}{problem[1:]}."
    return render(
        bench, request, "trouble.html", status=status, problem=line, mend=f"{mend[:1].upper()}{mend[1:]}."
    )
