"""Only names that are ours: a request must ask for this bench by an address that it is known to have.

A page elsewhere can let its own name point at this machine (DNS rebinding). Its requests then come from the
same origin as far as a browser can tell, and only the name in `Host` gives them away.
"""

from __future__ import annotations

from collections.abc import Callable, Collection

from starlette.types import ASGIApp, Receive, Scope, Send

from rollwright.web.guard.answers import header_of, refusal

__all__ = ["Hosts"]


class Hosts:
    """Refuses every request whose `Host` is no name of this bench.

    Args:
        app: what answers the others.
        allowed: gives the names and addresses, without a port; asked each time, as a network may change.
        port: the one that is listened on.
    """

    def __init__(self, app: ASGIApp, *, allowed: Callable[[], Collection[str]], port: int) -> None:
        self.app = app
        self._allowed = allowed
        self._port = port

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] == "http" and not self._is_ours(header_of(scope, "host")):
            # The name that was asked for is not repeated: it is someone else's text.
            answer = refusal(
                scope,
                421,
                "this bench is not known by that name",
                "open it by the address that it printed, or start it with --name and the name that you use",
            )
            await answer(scope, receive, send)
            return
        await self.app(scope, receive, send)

    def _is_ours(self, host: str | None) -> bool:
        if host is None:
            return False
        plain = host.lower()
        return any(
            plain == f"{name}:{self._port}" or (self._port == 80 and plain == name)
            for name in self._allowed()
        )
