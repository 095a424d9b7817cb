"""Readings in the words that are printed: `7.9 thou nose low`, `0.4 mm off the rail`."""

from __future__ import annotations

import re
from typing import Any

from rollwright.errors import UnreadableQuantity, echo
from rollwright.setup.reading_keys import ReadingKind

__all__ = ["with_sign"]

_SIGNS = {
    ReadingKind.HEIGHT_DIFFERENCE: re.compile(
        r"\s*(?:nose|front)?\s*(?:(high|up)|(low|down))\s*$", re.IGNORECASE
    ),
    ReadingKind.RAIL_OFFSET: re.compile(r"\s*(?:(off(?: the rail)?)|(too far in|in))\s*$", re.IGNORECASE),
}
_SIGNS[ReadingKind.BLOCK_OFFSET] = _SIGNS[ReadingKind.RAIL_OFFSET]


def with_sign(written: Any, kind: ReadingKind) -> Any:
    """Return a text such as `7.9 thou nose low` with its sign in front, as the other numbers have it.

    Args:
        written: what the builder wrote, of any type.
        kind: what was read; a height difference has high and low, a rail or block offset has off and in.

    Returns:
        The text with a sign in place of the word; anything else as it is.

    Raises:
        UnreadableQuantity: it has both a sign and a word for it.
    """
    pattern = _SIGNS.get(kind)
    if pattern is None or not isinstance(written, str):
        return written
    match = pattern.search(written)
    before = "" if match is None else written[: match.start()].strip()
    # "12 in" is twelve inches: the last word is a unit where nothing but a number stands before it.
    if match is None or not re.search(r"[a-zA-Z\"′″'°]", before):
        return written
    if before[:1] in "+-−":
        raise UnreadableQuantity(
            f"{echo(written)} has a sign and a word for it", mend="write the one or the other"
        )
    return before if match[1] else f"-{before}"
