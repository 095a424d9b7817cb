"""A fault of ours is told as one clear line to whoever asked, and to whoever runs the bench."""

from __future__ import annotations

from collections.abc import Callable

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from rollwright.web.guard.answers import refusal

__all__ = ["Crash"]


class Crash:
    """Answers for what failed in a way that nobody foresaw.

    Args:
        app: what answers else.
        tell: says a line to whoever runs the bench.
    """

    def __init__(self, app: ASGIApp, *, tell: Callable[[str], None]) -> None:
        self.app = app
        self._tell = tell

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        started = False

        async def sent(message: Message) -> None:
            nonlocal started
            started = True
            await send(message)

        try:
            await self.app(scope, receive, sent)
        except Exception as error:  # noqa: BLE001 - whatever it is, a page must answer and the bench go on
            # Neither headers nor the query are told: they could hold a key.
            where = f"{scope.get('method', '')} {scope.get('path', '')}".strip()
            self._tell(f"A page failed ({where}): {type(error).__name__}: {error}")
            if scope["type"] == "http" and not started:
                answer = refusal(
                    scope,
                    500,
                    "this page failed, and nothing was entered by it",
                    "load it again; the terminal of the bench says more",
                )
                await answer(scope, receive, send)
