"""State is changed only from our own pages: `Origin` must be exactly ours, and the body must be JSON.

The cookie alone does not do: a page on another port of the same host gets it sent along, as ports do not
part sites. And no page elsewhere can post JSON without asking first, which we never answer.
"""

from __future__ import annotations

from starlette.types import ASGIApp, Receive, Scope, Send

from rollwright.web.guard.answers import header_of, refusal

__all__ = ["SAFE", "Origin"]

SAFE = frozenset({"GET", "HEAD", "OPTIONS"})
"""Methods that change nothing here."""


class Origin:
    """Refuses unsafe requests that do not come from a page of this bench; stands behind `Hosts`.

    Args:
        app: what answers the others.
    """

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http" or scope["method"] in SAFE:
            await self.app(scope, receive, send)
            return
        ours = f"{scope['scheme']}://{(header_of(scope, 'host') or '').lower()}"
        fetch_site = header_of(scope, "sec-fetch-site")
        media = (header_of(scope, "content-type") or "").partition(";")[0].strip().lower()
        if header_of(scope, "origin") != ours or fetch_site not in {None, "same-origin"}:
            answer = refusal(
                scope, 403, "this did not come from a page of this bench", "enter it on the bench's own page"
            )
        elif media != "application/json":
            answer = refusal(scope, 415, "only JSON is taken", "send it as application/json")
        else:
            await self.app(scope, receive, send)
            return
        await answer(scope, receive, send)
