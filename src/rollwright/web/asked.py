"""What a request says, checked: its JSON, the page that it comes from, and the refusals of the workbench."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from rollwright.errors import FileUnwritable, InputError
from rollwright.web.bench import Bench
from rollwright.web.guard.answers import refusal
from rollwright.web.settings import API_VERSION

__all__ = ["BadRequest", "NotFound", "answer_of", "json_of", "of_this_bench", "text_in", "texts_in"]

_LONGEST_TEXT = 2000


class BadRequest(InputError):
    """What was posted does not have the form that it should."""


class NotFound(InputError):
    """What was asked for is not there."""


async def json_of(request: Request) -> dict[str, Any]:
    """Return the object that was posted; raise `BadRequest` where it is none."""
    body = await request.body()
    try:
        found = json.loads(body, parse_constant=_no_constant)
    except (ValueError, RecursionError):
        raise BadRequest("this is not JSON", mend="send one JSON object") from None
    if not isinstance(found, dict):
        raise BadRequest("this is not a JSON object", mend="send one, in braces")
    return found


def _no_constant(name: str) -> float:
    raise ValueError(name)


def of_this_bench(bench: Bench, said: Mapping[str, Any]) -> Response | None:
    """Return the refusal for a page of another program or another log; it is told to load itself again.

    Args:
        bench: this one.
        said: what was posted; its `bench` and `version` are those of the page.

    Returns:
        The refusal, or None where the page belongs here.
    """
    if said.get("version") != API_VERSION:
        reason = "this page is of another version of the program"
    elif said.get("bench") != bench.id:
        reason = "this page belongs to another log than the one that is open here"
    else:
        return None
    told = {"error": reason, "mend": "load the page again; what waits on it is kept", "reload": True}
    return JSONResponse(told, status_code=409)


def text_in(said: Mapping[str, Any], name: str, *, default: str | None = None) -> str:
    """Return a text of what was posted; raise `BadRequest` where it is none."""
    found = said.get(name, default)
    if not isinstance(found, str) or len(found) > _LONGEST_TEXT or "\0" in found:
        raise BadRequest(f"{name} is no text of up to {_LONGEST_TEXT} letters", mend="write it so", key=name)
    return found


def texts_in(said: Mapping[str, Any], name: str, *, most: int = 50) -> list[str]:
    """Return a list of texts of what was posted, empty where there is none; raise `BadRequest` otherwise."""
    found = said.get(name, [])
    if not isinstance(found, list) or len(found) > most:
        raise BadRequest(f"{name} is no list of up to {most} texts", mend="write it so", key=name)
    return [text_in({name: each}, name) for each in found]


def answer_of(request: Request, error: Exception) -> Response:
    """Return the answer for something that the workbench refuses, in its own words."""
    assert isinstance(error, InputError)  # noqa: S101 - it is registered for these alone
    status = 422
    if isinstance(error, NotFound):
        status = 404
    elif isinstance(error, BadRequest):
        status = 400
    elif isinstance(error, FileUnwritable) or type(error).__name__ == "LogBusy":
        # Nothing was entered and the same may go through later.
        status = 503
    more = {"key": error.key} if error.key else {}
    return refusal(request.scope, status, error.problem, error.mend, **more)
