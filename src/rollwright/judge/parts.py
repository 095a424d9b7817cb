"""Grading loose parts: is a wheel or a pin fit to race, and what has to be measured to know.

A part is judged by what was measured of it alone. The limits are judgement, or common practice without a
source: they say where a look or another measurement pays, not what the part costs on a track.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from itertools import pairwise

from rollwright.errors import OutOfRange
from rollwright.judge.verdict import State, judge
from rollwright.quantity import Quantity

__all__ = [
    "ALIKE",
    "LIMITS",
    "MEASURES",
    "Check",
    "Grade",
    "Pair",
    "clearance_of",
    "closest_pairs",
    "disc_inertia",
    "doubts_of",
    "fit_to_race",
    "grade_axle",
    "grade_wheel",
    "inertia_factor",
    "ring_inertia",
    "wobble_of",
]


class Check(Enum):
    """What a part is judged by, in the order in which it is said."""

    CLEARANCE = "clearance"
    RUN_OUT = "run_out"
    FRICTION = "friction"
    WOBBLE = "wobble"
    INERTIA = "inertia"
    STRAIGHTNESS = "straightness"

    @property
    def words(self) -> str:
        """The check as it is said: `run-out`."""
        return {"run_out": "run-out"}.get(self.value, self.value)


LIMITS: dict[Check, tuple[float, float]] = {
    Check.CLEARANCE: (0.03e-3, 0.25e-3),
    Check.RUN_OUT: (-math.inf, 0.08e-3),
    Check.FRICTION: (-math.inf, 0.20),
    Check.WOBBLE: (-math.inf, math.radians(1.5)),
    Check.INERTIA: (0.0, 1.0),
    Check.STRAIGHTNESS: (-math.inf, 0.03e-3),
}
"""Between what a part is fit to race [m, 1, rad].

Clearance of bore over pin, run-out and straightness: common practice, no source. Wobble: judgement. Friction:
judgement, twice what the run takes where nobody measured (acetal on steel has 0.1 to 0.3: J. F. Shackelford,
W. Alexander, CRC Materials Science and Engineering Handbook, 3rd ed. (2001), table 399). Inertia is over
`mass radius^2`, which no wheel can exceed: all its mass would have to lie on the rim.
"""

MEASURES: dict[Check, str] = {
    Check.CLEARANCE: "gauge its bore with plug pins",
    Check.RUN_OUT: "turn it on a true pin under a dial gauge and read its run-out",
    Check.FRICTION: "spin it down and fit its friction",
    Check.WOBBLE: "measure its hub's length",
    Check.INERTIA: "weigh it and swing it again",
    Check.STRAIGHTNESS: "roll it on a flat plate with a feeler and read its straightness",
}
"""What to measure where a check is open."""

ALIKE = 0.05e-3
"""How far two wheels of one axle line may differ in diameter [m] (common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Grade:
    """One check of one part.

    Attributes:
        check: what was judged.
        state: pass, fail or unclear; None where nothing was measured.
        value: what was judged [m, 1, rad], or None.
        uncertainty: its standard uncertainty, or None.
        probability: that the true value lies within the limits, or None.
        stale: whether the part was worked on after it was measured, so that the reading is of the past.
    """

    check: Check
    state: State | None
    value: float | None = None
    uncertainty: float | None = None
    probability: float | None = None
    stale: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """Two wheels of nearly one diameter.

    Attributes:
        first: the larger.
        second: the smaller.
        difference: of their diameters [m], 0 or more.
        uncertainty: standard uncertainty of it [m].
        state: whether they are alike within `ALIKE`.
    """

    first: str
    second: str
    difference: float
    uncertainty: float
    state: State


def disc_inertia(*, mass: float, diameter: float) -> float:
    """Return the moment of inertia of a uniform disc about its axis.

    Args:
        mass: [kg].
        diameter: [m].

    Returns:
        `m r^2 / 2` [kg m2] (F. P. Beer, E. R. Johnston, Vector Mechanics for Engineers: Dynamics, inside back
        cover, thin disc).
    """
    return 0.125 * mass * diameter**2


def ring_inertia(*, mass: float, outer: float, inner: float) -> float:
    """Return the moment of inertia of a uniform ring about its axis.

    Args:
        mass: [kg].
        outer: outer diameter [m].
        inner: inner diameter [m]; equal to the outer one: a thin hoop.

    Returns:
        `m (a^2 + b^2) / 2` with the two radii [kg m2]: a disc of the outer size less one of the inner.

    Raises:
        OutOfRange: the inner diameter is larger than the outer one.
    """
    if not 0.0 <= inner <= outer:
        raise OutOfRange(
            f"a ring of {outer:g} m outside cannot be {inner:g} m inside", mend="give the outer size first"
        )
    return 0.125 * mass * (outer**2 + inner**2)


def inertia_factor(*, inertia: Quantity, mass: Quantity, diameter: Quantity) -> tuple[float, float]:
    """Return a wheel's inertia over `mass radius^2`, and its standard uncertainty.

    Args:
        inertia: about its own axle [kg m2].
        mass: [kg].
        diameter: [m].

    Returns:
        The factor [1]: 0.5 for a disc, 1 for a thin hoop; first-order propagation (JCGM 100:2008, 5.1.6).
    """
    size = 0.25 * mass.value * diameter.value**2
    if size <= 0.0:
        return math.inf, math.inf
    factor = inertia.value / size
    parts = [
        inertia.uncertainty / size,
        factor * mass.uncertainty / mass.value,
        2.0 * factor * diameter.uncertainty / diameter.value,
    ]
    return factor, math.hypot(*parts)


def clearance_of(*, bore: Quantity, shank: Quantity) -> tuple[float, float]:
    """Return how much wider a bore is than a pin, on the diameter, and its standard uncertainty [m]."""
    return bore.value - shank.value, math.hypot(bore.uncertainty, shank.uncertainty)


def wobble_of(*, clearance: float, hub_length: float) -> float:
    """Return how far a wheel can lean on its pin either way from one end of its hub to the other.

    Args:
        clearance: bore less shank [m].
        hub_length: [m].

    Returns:
        `atan(clearance / hub_length)` [rad]: pin and hub touch at opposite ends.
    """
    return math.atan2(max(0.0, clearance), hub_length)


def _grade(check: Check, value: float, uncertainty: float, *, stale: bool = False) -> Grade:
    low, high = LIMITS[check]
    found = judge(value=value, uncertainty=uncertainty, low=low, high=high)
    return Grade(
        check=check,
        state=found.state,
        value=value,
        uncertainty=uncertainty,
        probability=found.probability,
        stale=stale,
    )


def grade_wheel(
    *,
    bore: Quantity,
    shanks: Sequence[Quantity],
    diameter: Quantity,
    mass: Quantity,
    run_out: Quantity | None = None,
    hub_length: Quantity | None = None,
    inertia: Quantity | None = None,
    friction: Quantity | None = None,
    worked_on_since: bool = False,
) -> tuple[Grade, ...]:
    """Return how fit a wheel is to race.

    Args:
        bore: [m].
        shanks: of the pins at hand [m]; the wheel is judged on the one whose clearance suits it best.
        diameter: [m].
        mass: [kg].
        run_out: radial, of the tread about the bore, from least to greatest [m], or None.
        hub_length: [m], or None.
        inertia: about its own axle [kg m2], or None.
        friction: in its bore by a spin-down [1], or None.
        worked_on_since: whether the wheel was worked on after that.

    Returns:
        One grade for each check, in the order of `Check`. The inertia is judged only where it was given, the
        clearance and the wobble only where there is a pin.
    """
    grades = []
    if shanks:
        low, high = LIMITS[Check.CLEARANCE]
        middle = 0.5 * (low + high)
        gap, spread = min(
            (clearance_of(bore=bore, shank=shank) for shank in shanks), key=lambda each: abs(each[0] - middle)
        )
        grades.append(_grade(Check.CLEARANCE, gap, spread))
    grades.append(
        Grade(check=Check.RUN_OUT, state=None)
        if run_out is None
        else _grade(Check.RUN_OUT, run_out.value, run_out.uncertainty)
    )
    grades.append(
        Grade(check=Check.FRICTION, state=None)
        if friction is None
        else _grade(Check.FRICTION, friction.value, friction.uncertainty, stale=worked_on_since)
    )
    if shanks and hub_length is not None:
        grades.append(
            _grade(
                Check.WOBBLE,
                wobble_of(clearance=gap, hub_length=hub_length.value),
                math.hypot(spread, gap * hub_length.uncertainty / hub_length.value) / hub_length.value,
            )
        )
    if inertia is not None:
        grades.append(_grade(Check.INERTIA, *inertia_factor(inertia=inertia, mass=mass, diameter=diameter)))
    return tuple(grades)


def grade_axle(*, straightness: Quantity | None = None) -> tuple[Grade, ...]:
    """Return how fit a pin is to race.

    Args:
        straightness: how far each of its straight parts bows [m], or None.

    Returns:
        Its one grade.
    """
    if straightness is None:
        return (Grade(check=Check.STRAIGHTNESS, state=None),)
    return (_grade(Check.STRAIGHTNESS, straightness.value, straightness.uncertainty),)


def fit_to_race(grades: Sequence[Grade]) -> bool:
    """Return whether nothing that was measured speaks against a part: no check fails."""
    return all(grade.state is not State.FAIL for grade in grades)


def doubts_of(grades: Sequence[Grade]) -> tuple[Grade, ...]:
    """Return the checks that leave a part doubtful: failed, unclear, stale, or never measured."""
    return tuple(grade for grade in grades if grade.state is not State.PASS or grade.stale)


def closest_pairs(diameters: dict[str, Quantity]) -> tuple[Pair, ...]:
    """Return the wheels in pairs of nearly one diameter, the closest first, each wheel once.

    Args:
        diameters: by the wheels' names [m].

    Returns:
        The pairs; the closest two of all, then the closest of the rest, and so on. A wheel may be left over.
    """
    left = sorted(diameters, key=lambda name: (-diameters[name].value, name))
    pairs = []
    while len(left) > 1:
        gaps = [diameters[a].value - diameters[b].value for a, b in pairwise(left)]
        at = gaps.index(min(gaps))
        first, second = left[at], left[at + 1]
        spread = math.hypot(diameters[first].uncertainty, diameters[second].uncertainty)
        found = judge(value=gaps[at], uncertainty=spread, low=-ALIKE, high=ALIKE)
        pairs.append(
            Pair(first=first, second=second, difference=gaps[at], uncertainty=spread, state=found.state)
        )
        del left[at : at + 2]
    return tuple(pairs)
