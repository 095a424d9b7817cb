"""One table of everything that can be asked as data: the routes and their description come from it."""

from __future__ import annotations

import re
from collections.abc import Awaitable, Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from rollwright.web.bench import Bench

__all__ = ["Operation", "openapi", "routes_of"]

Handler = Callable[[Bench, Request], Awaitable[Response]]
Schema = Mapping[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Operation:
    """One thing that can be asked.

    Attributes:
        method: of HTTP.
        path: with its parameters in braces.
        name: a name of its own, for programs.
        summary: what it does, in one line.
        handler: answers it.
        body: schema of what is posted, or None.
        query: what may stand behind the path, each with its schema.
        answers: statuses and what each means.
    """

    method: str
    path: str
    name: str
    summary: str
    handler: Handler
    body: Schema | None = None
    query: Mapping[str, Schema] = field(default_factory=dict)
    answers: Mapping[int, str] = field(default_factory=lambda: {200: "the answer"})


_COMMON = {
    401: "the device is not paired",
    413: "too large",
    421: "asked by a name that is not this bench's",
    429: "too many requests at once",
    503: "busy; the same may go through later",
}
_UNSAFE = {
    400: "not the form that it should have",
    403: "it did not come from a page of this bench",
    415: "not JSON",
    422: "refused, with the reason and the mend",
}
_ERROR = {
    "type": "object",
    "properties": {"error": {"type": "string"}, "mend": {"type": "string"}},
    "required": ["error", "mend"],
}


def routes_of(bench: Bench, operations: Sequence[Operation]) -> list[Route]:
    """Return the routes of operations.

    Args:
        bench: what answers them.
        operations: the table.

    Returns:
        One route for each.
    """

    def bound(operation: Operation) -> Callable[[Request], Awaitable[Response]]:
        async def endpoint(request: Request) -> Response:
            return await operation.handler(bench, request)

        return endpoint

    return [Route(each.path, bound(each), methods=[each.method], name=each.name) for each in operations]


def openapi(operations: Sequence[Operation], *, version: str) -> dict[str, Any]:
    """Return the description of operations as OpenAPI 3.1.

    Args:
        operations: the table.
        version: of the program.

    Returns:
        The document.
    """
    paths: dict[str, dict[str, Any]] = {}
    for each in operations:
        places = [
            {"name": name, "in": "path", "required": True, "schema": {"type": "string"}}
            for name in re.findall(r"\{(\w+)\}", each.path)
        ]
        asked = [{"name": name, "in": "query", "schema": dict(form)} for name, form in each.query.items()]
        answers = {**each.answers, **_COMMON, **({} if each.method == "GET" else _UNSAFE)}
        described: dict[str, Any] = {
            "operationId": each.name,
            "summary": each.summary,
            "parameters": [*places, *asked],
            "responses": {
                str(status): {"description": text, **(_content(_ERROR) if status >= 400 else {})}
                for status, text in sorted(answers.items())
            },
        }
        if each.body is not None:
            described["requestBody"] = {"required": True, **_content(each.body)}
        paths.setdefault(each.path, {})[each.method.lower()] = described
    return {
        "openapi": "3.1.0",
        "info": {"title": "rollwright bench", "version": version},
        "paths": paths,
    }


def _content(schema: Schema) -> dict[str, Any]:
    return {"content": {"application/json": {"schema": dict(schema)}}}
