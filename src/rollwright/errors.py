"""One exception per reason; every message is one line that says what is wrong and how to mend it."""

from __future__ import annotations

import re
from typing import Self

__all__ = [
    "CarCannotRest",
    "DriftUndefined",
    "FileUnreadable",
    "FileUnwritable",
    "InputError",
    "MissingReference",
    "OutOfRange",
    "ReadingUnusable",
    "RollwrightError",
    "UnknownKey",
    "UnreadableQuantity",
    "WrongType",
]

_LONGEST_ECHO = 60


def echo(value: object) -> str:
    """Return a value as it may be shown inside a one-line message: printable, quoted, never long.

    Args:
        value: what the user wrote, of any type.

    Returns:
        One line of at most about sixty characters, without control characters.
    """
    try:
        text = repr(value) if isinstance(value, str) else str(value)
    except ValueError:
        # Python refuses to write out whole numbers of thousands of digits, alone or inside a list.
        text = "a number of thousands of digits"
    text = re.sub(r"\s+", " ", "".join(c if c.isprintable() else "?" for c in text))
    return text if len(text) <= _LONGEST_ECHO else text[: _LONGEST_ECHO - 1] + "…"


class RollwrightError(Exception):
    """Base of every error that rollwright raises on purpose."""

    exit_code = 2


class InputError(RollwrightError):
    """The input is wrong; says where, what, and how to mend it.

    Args:
        problem: what is wrong, naming the value and what is allowed; no full stop.
        mend: what to do about it; no full stop.
        file: name of the file, if the input came from one.
        key: dotted name of the key or the line (`"line 7"`), if known.
    """

    def __init__(self, problem: str, *, mend: str, file: str = "", key: str = "") -> None:
        super().__init__(problem)
        self.problem = problem
        self.mend = mend
        self.file = file
        self.key = key

    def at(self, *, file: str = "", key: str = "") -> Self:
        """Return the same error with the place filled in where it was still unknown.

        Args:
            file: name of the file.
            key: dotted name of the key.

        Returns:
            A new error of the same class.
        """
        return type(self)(self.problem, mend=self.mend, file=self.file or file, key=self.key or key)

    def __str__(self) -> str:
        """Return the whole message on one line: place, problem, mend."""
        place = "".join(f"{part}: " for part in (self.file, self.key) if part)
        return " ".join(f"{place}{self.problem}; {self.mend}".splitlines())


class UnreadableQuantity(InputError):
    """A written quantity cannot be read as a number with a unit of the kind that is wanted."""


class FileUnreadable(InputError):
    """A file is missing, is a folder, is not text, or is not TOML."""


class FileUnwritable(InputError):
    """A file cannot be written, or would overwrite something of the user's."""


class UnknownKey(InputError):
    """A file holds a key that this version does not know."""


class WrongType(InputError):
    """A key holds a value of another type than it should."""


class OutOfRange(InputError):
    """A value is a proper number but not a possible one."""


class MissingReference(InputError):
    """A key names a wheel, an axle or a station that is not there."""


class CarCannotRest(InputError):
    """No three wheels hold the centre of mass between them with the fourth at or above the ground."""


class DriftUndefined(InputError):
    """The car turns so sharply that it never runs the board's length."""


class ReadingUnusable(InputError):
    """A reading lacks what its kind needs, or contradicts the car it is taken on."""
