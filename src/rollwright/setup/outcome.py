"""What a set of moves is expected to lead to, and the chance that it lands inside tolerance."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from enum import Enum
from functools import cache
from typing import TYPE_CHECKING

import numpy as np

from rollwright.car.dimensions import dimension_names
from rollwright.car.model import Station, Targets
from rollwright.judge.verdict import conformity
from rollwright.setup.predict import GATE_QUANTITIES, derivatives

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from rollwright.setup.hand import Hand
    from rollwright.setup.knobs import AdjustableCar, Setting

__all__ = ["MoveKind", "Outcome", "hand_directions", "known_after", "outcome_of", "targets_of"]

_DRAWS = 4096
_INDEX = {name: index for index, name in enumerate(dimension_names())}


class MoveKind(Enum):
    """A kind of move, in the words of the command line's output."""

    SHIM = "shim"
    BEND = "bend"
    TURN = "turn"
    WASHER = "washer"
    RELIEF = "relief"


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What is expected of height difference, drift and rail offset, in that order.

    Attributes:
        means: expected values [m], (3,).
        covariance: of what the estimate does not know and the hand does not hit, (3, 3).
        probabilities: chance of each lying inside its tolerance, (3,).
        joint: chance of all three together, from a fixed set of 4,096 normal draws (within about 0.01).
    """

    means: NDArray[np.float64]
    covariance: NDArray[np.float64]
    probabilities: tuple[float, float, float]
    joint: float

    @property
    def deviations(self) -> NDArray[np.float64]:
        """Standard uncertainty of each, (3,)."""
        found: NDArray[np.float64] = np.sqrt(np.diag(self.covariance))
        return found


@cache
def _draws() -> NDArray[np.float64]:
    """Return fixed normal draws, mirrored so that their mean is exactly zero."""
    half = np.random.default_rng(20_250).standard_normal((_DRAWS // 2, 3))
    return np.concatenate((half, -half))


def targets_of(targets: Targets) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return wanted values and tolerances [m] of the gate quantities, each (3,)."""
    each = [getattr(targets, name) for name in GATE_QUANTITIES]
    return np.array([one.value for one in each]), np.array([one.tolerance for one in each])


def hand_directions(
    bench: AdjustableCar,
    hand: Hand,
    moved: Collection[MoveKind],
    setting: Setting,
    *,
    values: NDArray[np.float64],
) -> list[NDArray[np.float64]]:
    """Return one change of the dimensions for each independent error of the hand, one deviation long.

    Args:
        bench: the car.
        hand: how closely the hand hits what is asked.
        moved: the kinds of moves that are made.
        setting: says which axles are shimmed.
        values: dimensions after the moves, (p,); what is not known of the hand's factor grows with the move.

    Returns:
        Changes of the dimensions, each (p,).
    """
    count = len(bench.values)

    def along(index: int, size: float) -> NDArray[np.float64]:
        direction = np.zeros(count)
        direction[index] = size
        return direction

    def missed(kind: MoveKind, index: int) -> NDArray[np.float64]:
        by = float(values[index] - bench.values[index]) if kind in moved else 0.0
        return along(index, hand.spread(kind.value, hand.asked_for(kind.value, by)))

    found = []
    if MoveKind.BEND in moved:
        found.append(missed(MoveKind.BEND, bench.column("bend")))
    if MoveKind.BEND in moved or MoveKind.TURN in moved:
        # An axle that was out of its hole to be bent goes back no truer than it can be turned.
        found.append(missed(MoveKind.TURN, bench.column("clock")))
    if MoveKind.WASHER in moved:
        found.append(missed(MoveKind.WASHER, bench.column("washer")))
    if MoveKind.RELIEF in moved:
        found.append(missed(MoveKind.RELIEF, bench.column("relief")))
    if MoveKind.SHIM in moved:
        stations = (
            (Station.REAR_LEFT, Station.REAR_RIGHT) if setting.rear_shim >= 0.0 else (bench.car.dominant,)
        )
        found += [missed(MoveKind.SHIM, _INDEX[f"{station.value}.hole_height"]) for station in stations]
    return found


def known_after(
    bench: AdjustableCar,
    *,
    root: NDArray[np.float64],
    moved: Collection[MoveKind],
    values: NDArray[np.float64],
) -> tuple[NDArray[np.float64], frozenset[MoveKind]]:
    """Return what is not known of the dimensions once moves are made, and which of them a hand can miss by.

    Args:
        bench: the car.
        root: what was not known before, (p, q).
        moved: the kinds of moves.
        values: dimensions after them, (p,).

    Returns:
        The root, (p, q), and the kinds of moves. Where all washers have been taken out none are left for
        certain, whatever they measured.
    """
    column = bench.column("washer")
    if MoveKind.WASHER not in moved or values[column] != 0.0:
        return root, frozenset(moved)
    left = root.copy()
    left[column] = 0.0
    return left, frozenset(moved) - {MoveKind.WASHER}


def outcome_of(
    bench: AdjustableCar,
    setting: Setting,
    *,
    root: NDArray[np.float64],
    hand: Hand,
    moved: Collection[MoveKind],
) -> Outcome | None:
    """Return what is expected once a setting is made.

    Args:
        bench: the car and where it is.
        setting: the setting that is asked for.
        root: what is not known of the dimensions, (p, q).
        hand: how closely the hand hits what is asked.
        moved: the kinds of moves that lead there.

    Returns:
        The outcome, or None where the car could not be read at all in that setting.
    """
    there = bench.moved(setting)
    root, missed = known_after(bench, root=root, moved=moved, values=there)
    directions = [
        root.T,
        *(row[None, :] for row in hand_directions(bench, hand, missed, setting, values=there)),
    ]
    means, slopes = derivatives(bench.gates, there, np.concatenate(directions))
    if not (np.all(np.isfinite(means)) and np.all(np.isfinite(slopes))):
        return None
    covariance = slopes @ slopes.T
    wanted, tolerance = targets_of(bench.car.targets)
    spread = np.sqrt(np.diag(covariance))
    height, drift, rail = (
        conformity(
            value=float(means[index]),
            uncertainty=float(spread[index]),
            low=float(wanted[index] - tolerance[index]),
            high=float(wanted[index] + tolerance[index]),
        )
        for index in range(3)
    )
    scaled = np.linalg.cholesky(covariance / np.outer(tolerance, tolerance) + 1e-12 * np.eye(3))
    landed = np.abs((means - wanted) / tolerance + _draws() @ scaled.T) <= 1.0
    return Outcome(
        means=means,
        covariance=covariance,
        probabilities=(height, drift, rail),
        joint=float(np.mean(np.all(landed, axis=1))),
    )
