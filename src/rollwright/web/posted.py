"""What was posted and what was answered, so that the same post sent again changes nothing.

A phone that was out of reach does not know whether its post arrived, and sends it again. The log refuses a
second entry under one id; this table also knows what was asked under it, so that the first answer is given
again word for word, and something else under the same id is refused. A row is written before the entry
and its answer after it: whatever happens between the two is found out from the log.
"""

from __future__ import annotations

import hashlib
import json
import time
from collections.abc import Callable, Mapping
from typing import Any

from rollwright.errors import InputError
from rollwright.web.state import State

__all__ = ["AnotherBody", "once"]

Answer = Mapping[str, object]
_KEPT = 400 * 86_400.0
"""Time for which answers are kept [s]: longer than any device is paired."""


class AnotherBody(InputError):
    """Something else was posted under an id that was used before."""


def once(
    state: State,
    event_id: str,
    said: Mapping[str, Any],
    *,
    enter: Callable[[], Answer],
    entered: Callable[[], Answer | None],
) -> tuple[Answer, bool]:
    """Return the answer to a post, which is given effect at most once; called by one thread at a time.

    Args:
        state: where answers are kept.
        event_id: id that the device made for it.
        said: what was posted.
        enter: gives it effect and returns the answer.
        entered: returns the answer for what the log already has under this id, or None.

    Returns:
        The answer, and whether it was given effect just now.

    Raises:
        AnotherBody: something else was posted under this id.
        InputError: it was refused; the id is free again then.
    """
    digest = hashlib.sha256(json.dumps(said, sort_keys=True).encode()).hexdigest()
    rows = state.rows("SELECT digest, answer FROM posted WHERE id = ?", event_id)
    if rows and rows[0][0] != digest:
        raise AnotherBody(
            "something else was entered under this id", mend="make a new id for each entry", key="id"
        )
    if rows and rows[0][1] is not None:
        answer: Answer = json.loads(rows[0][1])
        return answer, False
    kept = entered()
    if kept is not None:
        if not rows:
            # Entered by the command line or before this table was lost; what was posted is not known.
            raise AnotherBody("an entry has this id already", mend="make a new id for each entry", key="id")
        _keep(state, event_id, digest, kept)
        return kept, False
    state.rows("INSERT OR REPLACE INTO posted VALUES (?, ?, NULL, ?)", event_id, digest, time.time())
    try:
        answer = enter()
    except InputError:
        if entered() is None:
            state.rows("DELETE FROM posted WHERE id = ?", event_id)
        raise
    _keep(state, event_id, digest, answer)
    return answer, True


def _keep(state: State, event_id: str, digest: str, answer: Answer) -> None:
    now = time.time()
    state.rows("INSERT OR REPLACE INTO posted VALUES (?, ?, ?, ?)", event_id, digest, json.dumps(answer), now)
    state.rows("DELETE FROM posted WHERE at < ?", now - _KEPT)
