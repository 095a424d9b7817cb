"""What a class of a club asks of a car: its rules as data, in SI units."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum
from types import MappingProxyType

from rollwright.errors import OutOfRange, WrongType
from rollwright.units import Kind

__all__ = ["LOOKS", "NONE", "Allowed", "Asked", "ClassRules", "Kinds", "Limit", "Rule"]

NONE = "none"
"""What is said of a lubricant or of aerodynamic parts where there are none."""


class Rule(Enum):
    """Something that a class can have a rule about."""

    MASS = "mass"
    LENGTH = "length"
    WIDTH = "width"
    WHEELBASE = "wheelbase"
    GROUND_CLEARANCE = "ground_clearance"
    WHEEL_DIAMETER = "wheel_diameter"
    WEIGHT_BEHIND = "weight_behind"
    WEIGHT_BELOW = "weight_below"
    BENT_AXLES = "bent_axles"
    AERODYNAMIC_PARTS = "aerodynamic_parts"
    LUBRICANT = "lubricant"

    @property
    def words(self) -> str:
        """The rule as it is said: `ground clearance`."""
        return self.value.replace("_", " ")

    @property
    def is_size(self) -> bool:
        """Whether a gauge or a scale decides it, and not a look."""
        return self not in {Rule.BENT_AXLES, Rule.AERODYNAMIC_PARTS, Rule.LUBRICANT}

    @property
    def is_reach(self) -> bool:
        """Whether it is how far a weight reaches past a line, and so may be negative: short of the line."""
        return self in {Rule.WEIGHT_BEHIND, Rule.WEIGHT_BELOW}

    @property
    def kind(self) -> Kind:
        """What sort of quantity a size is: a mass or a length; a plain number for a look."""
        if not self.is_size:
            return Kind.RATIO
        return Kind.MASS if self is Rule.MASS else Kind.LENGTH


LOOKS: Mapping[Rule, tuple[str, str]] = MappingProxyType(
    {Rule.BENT_AXLES: ("straight", "bent"), Rule.AERODYNAMIC_PARTS: (NONE, "fitted")}
)
"""What a look at a car can find, by rule: first what every class takes, then what a class may forbid."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """A least or a most that a size must keep, or both.

    Attributes:
        least: smallest that conforms [kg or m]; minus infinity: there is no least.
        most: largest that conforms [kg or m]; infinity: there is no most.
        note: the club's own words on it.
    """

    least: float = -math.inf
    most: float = math.inf
    note: str = ""

    def __post_init__(self) -> None:
        """Refuse limits that leave nothing between them."""
        if not self.least < self.most:
            raise OutOfRange(
                f"nothing lies between a least of {self.least:g} and a most of {self.most:g}",
                mend="give a least that is smaller than the most",
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Allowed:
    """Whether something may be on a car.

    Attributes:
        allowed: whether it may.
        note: the club's own words on it.
    """

    allowed: bool
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Kinds:
    """Which kinds of something may be on a car.

    Attributes:
        kinds: those that may; empty: none may.
        note: the club's own words on it.
    """

    kinds: tuple[str, ...]
    note: str = ""

    def allows(self, kind: str) -> bool:
        """Return whether a kind may be on a car.

        Args:
            kind: its name; capitals and spacing do not matter. `none` conforms to every rule.

        Returns:
            Whether it is none, or one of those that are named.
        """
        return _plain(kind) in {NONE, *map(_plain, self.kinds)}


Asked = Limit | Allowed | Kinds
"""What one rule asks."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ClassRules:
    """The rules of one class of a club.

    Attributes:
        name: what the class is called.
        rules: what each rule asks; a rule that is not in it is not asked.
    """

    name: str
    rules: Mapping[Rule, Asked]

    def __post_init__(self) -> None:
        """Refuse a class without rules, and a rule that asks what cannot be asked of it."""
        if not self.rules:
            raise OutOfRange("the class has no rules", mend="give it at least one")
        for rule, asked in self.rules.items():
            wanted = _asked_by(rule)
            if not isinstance(asked, wanted):
                raise WrongType(
                    f"{rule.words} asks for {type(asked).__name__}", mend=f"give it {wanted.__name__}"
                )


def _asked_by(rule: Rule) -> type[Limit | Allowed | Kinds]:
    if rule.is_size:
        return Limit
    return Kinds if rule is Rule.LUBRICANT else Allowed


def _plain(word: str) -> str:
    return " ".join(word.casefold().split())
