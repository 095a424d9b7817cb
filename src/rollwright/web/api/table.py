"""Everything that can be asked as data, in one table."""

from __future__ import annotations

from collections.abc import Mapping
from importlib.metadata import PackageNotFoundError, version
from typing import Any

from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from rollwright.web.api import cars, people
from rollwright.web.api.entries import entry_schema, post_entry
from rollwright.web.bench import Bench
from rollwright.web.operations import Operation, openapi
from rollwright.web.settings import Verb

__all__ = ["operations"]

_TEXT = {"type": "string"}
_PAGE = {"bench": _TEXT, "version": {"type": "integer"}}


def _object(needed: Mapping[str, Any], **more: Any) -> dict[str, Any]:
    return {"type": "object", "properties": {**needed, **more}, "required": list(needed)}


def _installed() -> str:
    try:
        return version("rollwright")
    except PackageNotFoundError:
        return "unknown"


def operations(verbs: Mapping[str, Verb]) -> list[Operation]:
    """Return the table.

    Args:
        verbs: what can be entered.

    Returns:
        The operations, the description of all of them the last.
    """
    table = [
        Operation(
            method="POST",
            path="/api/pair",
            name="pair",
            summary="Pair a device by the token of a link or by the code",
            handler=people.pair,
            body=_object({}, token=_TEXT, code=_TEXT, name=_TEXT),
            answers={201: "paired; the cookie is set", 403: "the link or code does not work"},
        ),
        Operation(method="GET", path="/api/me", name="me", summary="Which device asks", handler=people.me),
        Operation(
            method="POST",
            path="/api/me",
            name="choose",
            summary="Choose the units of this device",
            handler=people.choose,
            body=_object({"units": {"enum": ["mm", "in"]}}),
        ),
        Operation(
            method="GET",
            path="/api/devices",
            name="devices",
            summary="Which devices are paired",
            handler=people.devices,
        ),
        Operation(
            method="POST",
            path="/api/devices/invite",
            name="invite",
            summary="Make a link for one more device",
            handler=people.invite,
            body=_object({}),
            answers={201: "the link, and the same as a QR symbol"},
        ),
        Operation(
            method="POST",
            path="/api/devices/{device}/revoke",
            name="revoke",
            summary="Send a device away",
            handler=people.revoke,
            body=_object({}),
            answers={200: "it is gone", 404: "there is no such device"},
        ),
        Operation(
            method="GET",
            path="/api/files",
            name="files",
            summary="Car files in the bench's folder",
            handler=cars.files,
        ),
        Operation(
            method="GET", path="/api/cars", name="cars", summary="How every car stands", handler=cars.cars
        ),
        Operation(
            method="POST",
            path="/api/cars",
            name="start",
            summary="Start a car from a file of the folder",
            handler=cars.start,
            body=_object({"id": _TEXT, **_PAGE, "file": _TEXT}, **{"as": _TEXT}),
            answers={201: "it is in the log", 404: "there is no such file", 409: "load the page again"},
        ),
        Operation(
            method="GET",
            path="/api/cars/{car}",
            name="car",
            summary="How a car stands, as `rollwright log where --json` tells it",
            handler=cars.one_car,
            answers={200: "gates and next step", 404: "there is no such car", 422: "it cannot be told"},
        ),
        Operation(
            method="GET",
            path="/api/cars/{car}/entries",
            name="entries",
            summary="What was entered after an entry",
            handler=cars.entries,
            query={"after": {"type": "integer", "minimum": 0}},
            answers={200: "entries in their order, 200 at most", 400: "no number", 404: "no such car"},
        ),
        Operation(
            method="POST",
            path="/api/cars/{car}/entries",
            name="enter",
            summary="Enter something, once, however often it is sent",
            handler=post_entry,
            body=entry_schema(verbs),
            answers={
                201: "it is in the log and on the disk",
                200: "it was entered before; the first answer again",
                404: "there is no such car",
                409: "the id stands for something else, or the page must be loaded again",
            },
        ),
        Operation(
            method="POST",
            path="/api/echo",
            name="echo",
            summary="How a written size is understood; enters nothing",
            handler=cars.echo,
            body=_object({"kind": _TEXT, "values": {"type": "array", "items": _TEXT}}, car=_TEXT),
        ),
    ]

    async def described(bench: Bench, request: Request) -> Response:
        del bench, request
        return JSONResponse(openapi(table, version=_installed()))

    table.append(
        Operation(
            method="GET",
            path="/api/openapi.json",
            name="openapi",
            summary="This description",
            handler=described,
        )
    )
    return table
