"""Headers on every answer: what a browser may do with it.

Nothing is loaded from elsewhere and nothing inside a page runs or paints by itself, so that a name with a
script in it stays a name. `Referrer-Policy: same-origin` and not `no-referrer`: the latter makes a browser
send `Origin: null` from our own pages, which the origin guard must refuse.
"""

from __future__ import annotations

from starlette.datastructures import MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

__all__ = ["CSP", "Headers"]

CSP = (
    "default-src 'self'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
    "object-src 'none'; base-uri 'none'; frame-ancestors 'none'; form-action 'self'"
)
_ALWAYS = {
    "Content-Security-Policy": CSP,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=()",
}


class Headers:
    """Adds them to every answer, those of refusals and errors included.

    Args:
        app: what answers.
    """

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return

        async def sent(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in _ALWAYS.items():
                    headers[name] = value
                # Only files of the program may be kept; what is said of a car never is.
                headers.setdefault("Cache-Control", "no-store")
            await send(message)

        await self.app(scope, receive, sent)
