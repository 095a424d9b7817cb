"""Who enters something, when, and under which id."""

from __future__ import annotations

import re
from datetime import datetime

from starlette.requests import Request

from rollwright.web.asked import BadRequest
from rollwright.web.bench import Bench, device_of
from rollwright.workbench.log_enter import Stamp

__all__ = ["event_id_of", "stamp_for"]

_ID = re.compile(r"[0-9a-f]{32}")


def event_id_of(text: str) -> str:
    """Return an id that a device made; raise `BadRequest` where it is none."""
    if not _ID.fullmatch(text):
        raise BadRequest(
            "the id is not 32 hexadecimal digits", mend="make a new one of 128 random bits", key="id"
        )
    return text


def stamp_for(bench: Bench, request: Request, event_id: str) -> Stamp:
    """Return who enters something now: the device by its name, this machine's own browser by the login name.

    Args:
        bench: where it is entered.
        request: which device asks.
        event_id: id that the device made for the entry.

    Returns:
        The stamp.

    Raises:
        BadRequest: the id is none.
    """
    return Stamp(
        time=datetime.now().astimezone(),
        author=device_of(request).name or bench.settings.author,
        event_id=event_id_of(event_id),
    )
