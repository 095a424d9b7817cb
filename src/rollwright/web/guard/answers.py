"""Short answers of the guards: one clear line and its mend, as data or as a plain page."""

from __future__ import annotations

from html import escape

from starlette.responses import HTMLResponse, JSONResponse, Response
from starlette.types import Scope

__all__ = ["header_of", "refusal", "wants_page"]


def header_of(scope: Scope, name: str) -> str | None:
    """Return a header of a request, None where there is none or more than one."""
    found = [value for key, value in scope["headers"] if key == name.encode()]
    return found[0].decode("latin-1") if len(found) == 1 else None


def wants_page(scope: Scope) -> bool:
    """Return whether a person's browser asks for a page, and not a program for data."""
    is_data = str(scope.get("path", "")).startswith("/api/")
    return not is_data and "text/html" in (header_of(scope, "accept") or "")


def refusal(scope: Scope, status: int, problem: str, mend: str, **more: object) -> Response:
    """Return a refusal.

    Args:
        scope: the request.
        status: HTTP status.
        problem: what is wrong, without a full stop.
        mend: what to do, without a full stop.
        more: further keys of the data.

    Returns:
        A plain page for a person, data for a program.
    """
    if wants_page(scope):
        text = f"{problem[:1].upper()}{problem[1:]}."
        return HTMLResponse(
            f'<!doctype html><html lang="en"><meta charset="utf-8"><meta name="viewport" '
            f'content="width=device-width"><title>rollwright</title><h1>{escape(text)}</h1>'
            f"<p>{escape(mend[:1].upper() + mend[1:])}.</p></html>",
            status_code=status,
        )
    return JSONResponse({"error": problem, "mend": mend, **more}, status_code=status)
