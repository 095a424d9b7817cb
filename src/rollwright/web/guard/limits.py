"""No request is too large, too frequent or too long: one device cannot keep the others from the bench."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from rollwright.web.guard.answers import header_of, refusal

__all__ = ["LARGEST_BODY", "LARGEST_HEADERS", "LONGEST", "MOST_A_SECOND", "Limits", "TooLarge"]

LARGEST_BODY = 64 * 1024
"""Greatest size of what is posted [bytes]."""
LARGEST_HEADERS = 8 * 1024
"""Greatest size of a request's headers [bytes]."""
MOST_A_SECOND = 50.0
"""Requests that one address may make in a second, with as many again in store."""
LONGEST = 10.0
"""Time after which a request is given up [s]."""
_MOST_ASKERS = 1000


class TooLarge(Exception):
    """A body turned out to be larger than it may be, whatever its headers said."""


class Limits:
    """Refuses what is too large or too frequent, and gives up what takes too long.

    Args:
        app: what answers.
        clock: gives a time that only goes forward [s].
        longest: time for one request [s].
        rate: requests that one address may make in a second.
    """

    def __init__(
        self,
        app: ASGIApp,
        *,
        clock: Callable[[], float] = time.monotonic,
        longest: float = LONGEST,
        rate: float = MOST_A_SECOND,
    ) -> None:
        self.app = app
        self._clock = clock
        self._longest = longest
        self._rate = rate
        self._left: dict[str, tuple[float, float]] = {}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        refused = self._refused(scope)
        if refused is not None:
            status, problem, mend = refused
            await refusal(scope, status, problem, mend)(scope, receive, send)
            return
        started = False

        async def sent(message: Message) -> None:
            nonlocal started
            started = True
            await send(message)

        try:
            async with asyncio.timeout(self._longest):
                await self.app(scope, _counted(receive), sent)
        except TooLarge:
            answer = refusal(scope, 413, *LARGE)
        except TimeoutError:
            answer = refusal(scope, 503, "the bench took too long to answer", "try again in a moment")
        else:
            return
        if not started:
            await answer(scope, receive, send)

    def _refused(self, scope: Scope) -> tuple[int, str, str] | None:
        if sum(len(name) + len(value) + 4 for name, value in scope["headers"]) > LARGEST_HEADERS:
            return 431, "the request's headers are too large", "delete the cookies of this address"
        told = header_of(scope, "content-length")
        if told is not None and (not told.isascii() or not told.isdigit() or int(told) > LARGEST_BODY):
            return 413, *LARGE
        if not self._has_one_left(scope["client"][0] if scope.get("client") else ""):
            return 429, "too many requests at once", "wait a second and try again"
        return None

    def _has_one_left(self, asker: str) -> bool:
        now = self._clock()
        left, then = self._left.pop(asker, (self._rate, now))
        left = min(self._rate, left + (now - then) * self._rate)
        self._left[asker] = (max(left - 1.0, 0.0), now)
        while len(self._left) > _MOST_ASKERS:
            self._left.pop(next(iter(self._left)))
        return left >= 1.0


LARGE = ("this is more than the bench takes at once", "send less; an entry has a few hundred letters")


def _counted(receive: Receive) -> Receive:
    """Return the same, with a body that may not be larger than it should be, whatever its headers say."""
    count = 0

    async def counted() -> Message:
        nonlocal count
        message = await receive()
        if message["type"] == "http.request":
            count += len(message.get("body", b""))
            if count > LARGEST_BODY:
                raise TooLarge
        return message

    return counted
