"""The forms that a log entry's fields take: each checks a value, writes it as JSON and reads it back.

A field names its form in its type, as in `Annotated[float, LENGTH]`. A field that may be left out has
None, an empty text or an empty tuple as its default; what is empty is not written.
"""

from __future__ import annotations

import dataclasses
import json
import math
import re
from abc import ABC, abstractmethod
from dataclasses import dataclass
from enum import Enum
from typing import Any, ClassVar, get_type_hints

from rollwright.bench.refusals import EntryUnreadable
from rollwright.errors import OutOfRange, UnknownKey, WrongType, echo
from rollwright.units import Kind

__all__ = [
    "ANGLE",
    "GAUGE",
    "HASH",
    "IDENTITY",
    "LENGTH",
    "LINES",
    "MASS",
    "NAME",
    "NUMBER",
    "SIZE",
    "Checked",
    "Event",
    "Form",
    "Many",
    "Number",
    "Record",
    "Text",
    "Word",
    "canonical",
]

_UNSHOWABLE = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u2028\u2029\ud800-\udfff]")
_BREAKS = re.compile("[\t\n\r]")


def canonical(plain: object) -> str:
    """Return the one JSON text that stands for plain data.

    Args:
        plain: texts, numbers, lists and tables with text keys.

    Returns:
        JSON with sorted keys, no spaces, and characters beyond ASCII written as themselves. A float is its
        shortest decimal that reads back as the same float.

    Raises:
        ValueError: a number is not finite.
    """
    return json.dumps(plain, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)


class Form(ABC):
    """How one field is checked, written and read."""

    @abstractmethod
    def check(self, value: Any, key: str) -> Any:
        """Return the value as it is kept.

        Args:
            value: what was given.
            key: dotted name of the field, for messages.

        Returns:
            The value in its one form.

        Raises:
            InputError: it is of the wrong type or not a possible value.
        """

    def encode(self, value: Any) -> Any:
        """Return a checked value as plain data."""
        return value

    def decode(self, written: Any, key: str) -> Any:  # noqa: ARG002 - others say where they stumbled
        """Return plain data as a value still to be checked; raise `InputError` where it cannot be one."""
        return written


@dataclass(frozen=True, slots=True)
class Number(Form):
    """A finite number in SI units from `low` to `high`; `low` itself is not allowed if `above` is set."""

    kind: Kind
    low: float
    high: float
    above: bool = False

    def check(self, value: Any, key: str) -> float:
        """Return the number as a float; minus zero becomes zero, so that equal entries look alike."""
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise WrongType(f"{echo(value)} is not a number", mend="give one number in SI units", key=key)
        if not self.low <= value <= self.high or (self.above and value == self.low):
            unit = f" {self.kind.si}".rstrip()
            allowed = (
                f"more than {self.low:g} and at most {self.high:g}{unit}"
                if self.above
                else f"{self.low:g} to {self.high:g}{unit}"
            )
            shown = f"{value:g}{unit}" if isinstance(value, float) else f"{echo(value)}{unit}"
            raise OutOfRange(
                f"{shown} is outside what is allowed: {allowed}",
                mend="check the digits and the unit",
                key=key,
            )
        return float(value) + 0.0


@dataclass(frozen=True, slots=True)
class Text(Form):
    """A text of up to `longest` characters, on one line unless `lines`, and as `pattern` if there is one."""

    longest: int
    lines: bool = False
    pattern: str = ""
    example: str = ""

    def check(self, value: Any, key: str) -> str:
        """Return the text as it is."""
        if not isinstance(value, str):
            raise WrongType(f"{echo(value)} is not a text", mend="give a text", key=key)
        if not value.strip():
            raise OutOfRange("the text is empty", mend="write something, or leave it out", key=key)
        if len(value) > self.longest:
            raise OutOfRange(
                f"the text has {len(value)} characters", mend=f"keep it to {self.longest}", key=key
            )
        if _UNSHOWABLE.search(value) or (not self.lines and _BREAKS.search(value)):
            raise OutOfRange(
                f"{echo(value)} holds characters that cannot be shown", mend="type it afresh", key=key
            )
        if self.pattern and not re.fullmatch(self.pattern, value):
            raise OutOfRange(f"{echo(value)} is not of the right form", mend=f"write {self.example}", key=key)
        return value


@dataclass(frozen=True, slots=True)
class Word(Form):
    """One member of an enumeration, written as its value."""

    choices: type[Enum]

    def check(self, value: Any, key: str) -> Enum:
        """Return the member as it is."""
        if not isinstance(value, self.choices):
            raise WrongType(f"{echo(value)} is not one of the words allowed", mend=self._mend(), key=key)
        return value

    def encode(self, value: Enum) -> Any:
        """Return the member's word."""
        return value.value

    def decode(self, written: Any, key: str) -> Enum:
        """Return the member with that word."""
        for choice in self.choices:
            if choice.value == written:
                return choice
        raise OutOfRange(f"{echo(written)} is not a word known here", mend=self._mend(), key=key)

    def _mend(self) -> str:
        return f"write {', '.join(str(choice.value) for choice in self.choices)}"


@dataclass(frozen=True, slots=True)
class Many(Form):
    """Up to `most` values of one form, in order; exactly `exactly` of them if that is set."""

    item: Form
    most: int = 1000
    exactly: int = 0

    def check(self, value: Any, key: str) -> tuple[Any, ...]:
        """Return the values as a tuple."""
        if not isinstance(value, list | tuple):
            raise WrongType(f"{echo(value)} is not a list", mend="give a list of values", key=key)
        if len(value) > self.most or (self.exactly and len(value) != self.exactly):
            allowed = f"exactly {self.exactly}" if self.exactly else f"up to {self.most}"
            raise OutOfRange(f"{len(value)} values stand here", mend=f"give {allowed}", key=key)
        return tuple(self.item.check(part, f"{key}[{index}]") for index, part in enumerate(value))

    def encode(self, value: tuple[Any, ...]) -> list[Any]:
        """Return the values as a list."""
        return [self.item.encode(part) for part in value]

    def decode(self, written: Any, key: str) -> tuple[Any, ...]:
        """Return the list's values."""
        if not isinstance(written, list):
            raise WrongType(f"{echo(written)} is not a list", mend="write a list", key=key)
        return tuple(self.item.decode(part, f"{key}[{index}]") for index, part in enumerate(written))


@dataclass(frozen=True, slots=True, kw_only=True)
class Checked:
    """A frozen record whose fields name their forms and are checked when it is made."""

    kind: ClassVar[str] = ""

    def __post_init__(self) -> None:
        """Check every field, then the record as a whole."""
        for name, form, default in forms_of(type(self)):
            value = getattr(self, name)
            if default is dataclasses.MISSING or not _is_empty(value):
                object.__setattr__(self, name, form.check(value, self.key(name)))
            else:
                # An empty list and an empty tuple are the same absence.
                object.__setattr__(self, name, default)
        self.check_whole()

    def check_whole(self) -> None:
        """Refuse fields that are each possible and not together; a record that has such overrides this."""

    def key(self, name: str) -> str:
        """Return the dotted name of a field, for messages."""
        return f"{self.kind}.{name}"

    def as_plain(self) -> dict[str, Any]:
        """Return the fields as plain data in SI units, without those that are empty."""
        plain = {}
        for name, form, default in forms_of(type(self)):
            value = getattr(self, name)
            if default is dataclasses.MISSING or not _is_empty(value):
                plain[name] = form.encode(value)
        return plain

    @classmethod
    def from_plain(cls, plain: Any) -> Any:
        """Return the record that plain data stand for.

        Args:
            plain: what `as_plain` returned.

        Returns:
            The checked record.

        Raises:
            EntryUnreadable: it is not a table, or a field is missing.
            UnknownKey: a field is not known.
            InputError: a field's value is not a possible one.
        """
        at = cls.kind
        if not isinstance(plain, dict):
            raise EntryUnreadable(f"{echo(plain)} is not a table", mend="write its fields in braces", key=at)
        values = {}
        known = {name: (form, default) for name, form, default in forms_of(cls)}
        for name, written in plain.items():
            if name not in known:
                raise UnknownKey(
                    f"{echo(name)} is not a field of this version",
                    mend=f"known here: {', '.join(known)}",
                    key=at,
                )
            values[name] = known[name][0].decode(written, f"{at}.{name}")
        missing = [name for name, (_, default) in known.items() if default is dataclasses.MISSING]
        for name in missing:
            if name not in values:
                raise EntryUnreadable(f"{name} is missing", mend="write every field that must be", key=at)
        return cls(**values)


def _is_empty(value: Any) -> bool:
    return value is None or (isinstance(value, str | tuple | list) and not value)


_FORMS: dict[type[Checked], tuple[tuple[str, Form, Any], ...]] = {}


def forms_of(record: type[Checked]) -> tuple[tuple[str, Form, Any], ...]:
    """Return a record's fields: name, form and default (`dataclasses.MISSING` where there is none)."""
    if record not in _FORMS:
        hints = get_type_hints(record, include_extras=True)
        _FORMS[record] = tuple(
            (field.name, hints[field.name].__metadata__[0], field.default)
            for field in dataclasses.fields(record)
        )
    return _FORMS[record]


@dataclass(frozen=True, slots=True, kw_only=True)
class Event(Checked):
    """Something that happened to a car: the base of every kind, which is never itself recorded."""

    version: ClassVar[int] = 1


@dataclass(frozen=True, slots=True)
class Record(Form):
    """A record inside a record."""

    record: type[Checked]

    def check(self, value: Any, key: str) -> Checked:
        """Return the record as it is."""
        if not isinstance(value, self.record):
            raise WrongType(f"{echo(value)} is not a {self.record.__name__}", mend="give one", key=key)
        return value

    def encode(self, value: Checked) -> dict[str, Any]:
        """Return its fields."""
        return value.as_plain()

    def decode(self, written: Any, key: str) -> Any:  # noqa: ARG002 - the record says where it stumbled
        """Return the record that the fields make."""
        return self.record.from_plain(written)


# Generous on purpose: they catch a slip of the unit and must never make an old log unreadable.
LENGTH = Number(Kind.LENGTH, -20.0, 20.0)
SIZE = Number(Kind.LENGTH, 0.0, 20.0, above=True)
ANGLE = Number(Kind.ANGLE, -math.pi, math.pi)
MASS = Number(Kind.MASS, 0.0, 100.0, above=True)
GAUGE = Number(Kind.RATIO, 0.0, 20.0, above=True)
NUMBER = Number(Kind.RATIO, -100.0, 100.0)
NAME = Text(80)
LINES = Text(1000, lines=True)
IDENTITY = Text(32, pattern="[0-9a-f]{32}", example="128 random bits as 32 digits 0 to 9 and a to f")
HASH = Text(64, pattern="[0-9a-f]{64}", example="the SHA-256 of the bytes as 64 digits 0 to 9 and a to f")
