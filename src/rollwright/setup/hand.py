"""What a hand at the bench can do: how closely a move lands, and how finely it can be asked for."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any

from rollwright.car.table import check_names
from rollwright.errors import OutOfRange, UnreadableQuantity, echo
from rollwright.setup.reading_keys import HAND_KEYS, LEAST, Form
from rollwright.units import Kind, parse

__all__ = ["Factor", "Hand", "read_hand"]

_DEG = math.pi / 180.0
_MM = 1e-3
_WIDEST = {Kind.ANGLE: 45.0 * _DEG, Kind.LENGTH: 10.0 * _MM}


@dataclass(frozen=True, slots=True, kw_only=True)
class Factor:
    """By how much a hand's moves of one kind land past what was asked, or short of it.

    Attributes:
        value: achieved over asked; above 1 past it, below 1 short of it.
        uncertainty: its standard uncertainty.
        moves: how many moves it was learnt from.
    """

    value: float = 1.0
    uncertainty: float = 0.0
    moves: int = 0


_TRUE = Factor()


@dataclass(frozen=True, slots=True, kw_only=True)
class Hand:
    """What is achieved about what was asked, for each kind of move.

    The first five are standard deviations.

    Attributes:
        bend: of the angle put into an axle [rad].
        turn: of the angle an axle is turned by [rad].
        relief: of the depth of wood removed [m].
        washer: of a washer's thickness [m].
        shim: of a shim's thickness [m].
        factors: by how much moves land past what was asked, by the names of the above; a kind that is left
            out lands on it.
    """

    bend: float = 0.1 * _DEG
    turn: float = 1.0 * _DEG
    relief: float = 0.05 * _MM
    washer: float = 0.03 * _MM
    shim: float = 0.02 * _MM
    factors: Mapping[str, Factor] = field(default_factory=lambda: MappingProxyType({}))

    def factor(self, kind: str) -> Factor:
        """Return by how much moves of a kind land past what was asked."""
        return self.factors.get(kind, _TRUE)

    def asked_for(self, kind: str, wanted: float) -> float:
        """Return what to ask of the hand so that it achieves what is wanted [rad or m]."""
        return wanted / self.factor(kind).value

    def spread(self, kind: str, asked: float) -> float:
        """Return the standard deviation of what is achieved [rad or m] when something is asked [rad or m].

        The hand's own scatter and what is not known of its factor, `sqrt(s^2 + (asked u)^2)`.
        """
        return math.hypot(float(getattr(self, kind)), asked * self.factor(kind).uncertainty)


def read_hand(table: Mapping[str, Any]) -> Hand:
    """Return the hand described by the `[hand]` table of a readings file.

    Args:
        table: the table; what it leaves out keeps its default.

    Returns:
        The hand.

    Raises:
        InputError: a key is unknown, or a value is not a size that a hand's spread can have.
    """
    check_names(table, HAND_KEYS, at="hand")
    found: dict[str, Any] = {}
    for name, written in table.items():
        kind = Kind.ANGLE if HAND_KEYS[name][0] is Form.ANGLE else Kind.LENGTH
        try:
            value = parse(written, kind=kind)
        except UnreadableQuantity as error:
            raise error.at(key=f"hand.{name}") from None
        if not LEAST <= value <= _WIDEST[kind]:
            fault = "is not more than zero" if value <= 0.0 else "is no spread that a hand can have"
            raise OutOfRange(
                f"{echo(written)} {fault}",
                mend="write how far a move usually lands from what was asked",
                key=f"hand.{name}",
            )
        found[name] = value
    return Hand(**found)
