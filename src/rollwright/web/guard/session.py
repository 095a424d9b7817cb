"""Who asks: every request but those of the pairing page needs the key of a paired device, in its cookie.

The cookie's name holds the port, as a browser shares cookies between the ports of a host. `Secure` would keep
it from plain HTTP, which is all that a house offers without certificates; it is set where HTTPS is used.
"""

from __future__ import annotations

from http.cookies import CookieError, SimpleCookie

from starlette.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse
from starlette.types import ASGIApp, Receive, Scope, Send

from rollwright.web.devices import Devices
from rollwright.web.guard.answers import header_of, refusal, wants_page

__all__ = ["PUBLIC", "Session", "cookie_name"]

PUBLIC = frozenset({"/pair", "/api/pair"})
"""Paths that a device needs before it is paired, beside the program's own files under /static/."""


def cookie_name(port: int) -> str:
    """Return the cookie's name."""
    return f"rollwright_{port}"


def is_public(path: str) -> bool:
    """Return whether a path is open to a device that is not paired; nothing of a log is there."""
    return path in PUBLIC or path.startswith("/static/")


class Session:
    """Lets paired devices through, and tells what answers who it is.

    Args:
        app: what answers; finds the device in `scope["state"]["device"]`.
        devices: the paired ones.
        port: the one that is listened on.
    """

    def __init__(self, app: ASGIApp, *, devices: Devices, port: int) -> None:
        self.app = app
        self._devices = devices
        self._name = cookie_name(port)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        key = _cookie(header_of(scope, "cookie") or "", self._name)
        device = await run_in_threadpool(self._devices.of, key) if key else None
        scope.setdefault("state", {})["device"] = device
        if device is not None or is_public(scope["path"]):
            await self.app(scope, receive, send)
        elif wants_page(scope):
            await RedirectResponse("/pair", status_code=303)(scope, receive, send)
        else:
            answer = refusal(
                scope, 401, "this device is not paired", "pair it: open /pair and follow what is said there"
            )
            await answer(scope, receive, send)


def _cookie(header: str, name: str) -> str:
    try:
        found = SimpleCookie(header).get(name)
    except CookieError:
        return ""
    return found.value if found is not None else ""
