"""Which car, which revision and which drawing: what a sheet says of itself, as words and as a code."""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass, fields
from datetime import date
from enum import Enum

from rollwright.draw.drawing import Drawing, Mark, Polyline, Tone
from rollwright.errors import OutOfRange, echo

__all__ = ["HASH_LENGTH", "Identity", "code_text", "content_hash", "hash_words", "qr_marks"]

HASH_LENGTH = 10
"""How many hexadecimal digits of a drawing's hash are told: enough to tell two prints apart."""

_LONGEST = 24
_TOLD = re.compile(r"\bdrawing [0-9a-f]{10}\b")
_QUIET = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Identity:
    """What a sheet is marked with; what is not given is left to be written in by hand.

    Attributes:
        id: what the car is called for short, such as `LARK-2`; empty: the car's name stands for it.
        revision: which state of the car, such as `3`; empty: not given.
        day: the day of the sheet; None: not given.
    """

    id: str = ""
    revision: str = ""
    day: date | None = None

    def __post_init__(self) -> None:
        """Refuse what would not fit on a label."""
        for what, text in (("an id", self.id), ("a revision", self.revision)):
            if len(text) > _LONGEST or not text.isprintable() or text != text.strip():
                raise OutOfRange(
                    f"{echo(text)} is no use as {what}",
                    mend=f"give up to {_LONGEST} letters, digits and dashes, such as LARK-2",
                )

    @property
    def parts(self) -> tuple[str, ...]:
        """What is given, such as `LARK-2`, `rev 3` and `2026-03-07`."""
        revision = f"rev {self.revision}" if self.revision else ""
        return tuple(filter(None, (self.id, revision, "" if self.day is None else self.day.isoformat())))


def code_text(name: str, identity: Identity) -> str:
    """Return the plain words of a car's code.

    Args:
        name: the car's name.
        identity: its id and revision.

    Returns:
        Such as `rollwright car LARK-2 rev 3`.
    """
    revision = f" rev {identity.revision}" if identity.revision else ""
    return f"rollwright car {identity.id or name}{revision}"


def qr_marks(text: str, *, left: float, low: float, size: float) -> tuple[Mark, ...]:
    """Return a QR code (ISO/IEC 18004:2015, error correction M) as filled rectangles, one for each run.

    Args:
        text: what it says.
        left: left edge of the room it takes, its quiet zone of four modules included [mm].
        low: lower edge of it [mm].
        size: how wide and tall that is [mm].

    Returns:
        The dark runs of its rows, from the top row down.
    """
    import segno  # noqa: PLC0415 - only sheets have codes

    matrix = segno.make(text, error="m", micro=False, boost_error=False).matrix
    module = size / (len(matrix) + 2 * _QUIET)
    marks = []
    for number, row in enumerate(matrix):
        top = low + size - (_QUIET + number) * module
        column = 0
        while column < len(row):
            run = column
            while run < len(row) and row[run]:
                run += 1
            if run > column:
                a, b = (left + (_QUIET + end) * module for end in (column, run))
                corners = ((a, top - module), (b, top - module), (b, top), (a, top))
                marks.append(Polyline(points=corners, closed=True, pen=None, tone=Tone.INK))
            column = run + 1
    return tuple(marks)


def hash_words(digest: str) -> str:
    """Return how a hash is told on a sheet, such as `drawing 3fa9c1d2e0`."""
    return f"drawing {digest}"


def content_hash(drawing: Drawing) -> str:
    """Return a short hash of what is drawn, by which two prints can be told apart.

    Args:
        drawing: the drawing; a hash that it already tells of itself counts as ten dots, so a sheet has the
            hash that stands on it.

    Returns:
        The first ten hexadecimal digits of the SHA-256 (FIPS 180-4) of its size and its marks in order,
        numbers to a ten-thousandth of a millimetre.
    """
    told = [f"{drawing.width:.4f} {drawing.height:.4f}", *map(_told, drawing.marks)]
    text = _TOLD.sub(f"drawing {'.' * HASH_LENGTH}", "\n".join(told))
    return hashlib.sha256(text.encode("utf-8", "backslashreplace")).hexdigest()[:HASH_LENGTH]


def _told(mark: Mark) -> str:
    values = (_plain(getattr(mark, field.name)) for field in fields(mark))
    return f"{type(mark).__name__} {' '.join(values)}"


def _plain(value: object) -> str:
    if isinstance(value, float):
        # Minus zero is zero.
        return f"{round(value, 4) + 0.0:.4f}"
    if isinstance(value, tuple):
        return ",".join(map(_plain, value))
    return str(value.value) if isinstance(value, Enum) else str(value)
