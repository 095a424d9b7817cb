"""What brakes a car on the flat: a constant part and one that grows with the square of the speed.

The model is that of the run. On the flat nothing in it depends on the place, so two numbers say all.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rollwright.car.model import Car
from rollwright.run.chassis import PARAMETERS, Frame, chassis, frame_of
from rollwright.run.inputs import GRAVITY, Inputs, inputs_of
from rollwright.run.losses import Losses
from rollwright.run.track import Track

__all__ = ["Flat", "FlatModel", "flat_model"]

_STEP = 1e-30
_SHARES = len(PARAMETERS) - 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Flat:
    """How a car slows down on the flat.

    Attributes:
        names: of everything that it depends on, as in `Inputs`.
        deviations: standard uncertainties of that [SI], (p,).
        constant: constant part of the slowing down [m/s2].
        quadratic: part over the speed squared [1/m].
        downhill: by how much a floor that falls by 1 m in each metre would speed it up [m/s2].
        constant_by: derivatives of the constant part by all that it depends on, (p,).
        quadratic_by: of the quadratic part, (p,).
    """

    names: tuple[str, ...]
    deviations: NDArray[np.float64]
    constant: float
    quadratic: float
    downhill: float
    constant_by: NDArray[np.float64]
    quadratic_by: NDArray[np.float64]

    def at(self, name: str) -> int:
        """Return the place of an input."""
        return self.names.index(name)


def _parts(rows: NDArray[Any]) -> tuple[NDArray[Any], NDArray[Any], NDArray[Any]]:
    """Return constant part, quadratic part and what a falling floor adds, of cars, each (n,)."""
    of = {name: rows[:, index] for index, name in enumerate(PARAMETERS)}
    moving = of["mass"] + of["rear_spin"] + of["front_spin"]
    weight = of["mass"] * of["gravity"]
    front = weight * of["mass_x"] / of["ahead"]
    # Braking leans the car forward: its own inertia at its height, its wheels' by their radius.
    leans = of["mass"] * of["mass_z"]
    leans = leans + of["rear_spin"] * of["rear_radius"] + of["front_spin"] * of["front_radius"]
    shift = leans / (moving * of["ahead"])
    shares = rows[:, _SHARES:].T.reshape(5, 2, 2, -1).sum(axis=(0, 1))
    still = shares[0] * (weight - front) + shares[1] * front
    more = shift * (shares[1] - shares[0])
    return still / (1.0 - more) / moving, of["air"] / moving, weight / moving


@dataclass(frozen=True, slots=True, kw_only=True)
class FlatModel:
    """A car on the flat whose coefficients may still change.

    Attributes:
        inputs: everything that it depends on.
        frame: what all variations of the car share.
    """

    inputs: Inputs
    frame: Frame

    def at(self, coefficients: Mapping[str, float], *, names: Sequence[str] | None = None) -> Flat:
        """Return how the car slows down.

        Args:
            coefficients: of the losses, where they are others than the model was made with [SI].
            names: inputs whose derivatives are wanted; all if left out. The others' are given as 0.

        Returns:
            Both parts, and their derivatives by complex steps (W. Squire, G. Trapp, SIAM Review 40 (1998)
            110).
        """
        inputs = self.inputs
        values = inputs.values.astype(np.complex128)
        for name, value in coefficients.items():
            values[inputs.at(f"losses.{name}")] = value
        wanted = range(len(inputs.names)) if names is None else [inputs.at(name) for name in names]
        varied = np.tile(values, (len(wanted) + 1, 1))
        for row, place in enumerate(wanted):
            varied[row, place] += 1j * _STEP
        constant, quadratic, downhill = _parts(chassis(self.frame, varied)[0])
        by = np.zeros((2, len(inputs.names)))
        by[:, list(wanted)] = np.stack((constant, quadratic))[:, :-1].imag / _STEP
        return Flat(
            names=inputs.names,
            deviations=inputs.deviations,
            constant=float(constant[-1].real),
            quadratic=float(quadratic[-1].real),
            downhill=float(downhill[-1].real),
            constant_by=by[0],
            quadratic_by=by[1],
        )


def flat_model(car: Car, track: Track, *, losses: Losses) -> FlatModel:
    """Return a car on the flat.

    Args:
        car: the car.
        track: for its air.
        losses: coefficients of the losses, and which of them act.

    Returns:
        The model. What the air's push shifts between the axles is left out, as it is in the run.

    Raises:
        CarCannotRest: no three wheels hold the centre of mass between them.
        DriftUndefined: the steered wheel touches beside the rear pair.
    """
    inputs = inputs_of(car, track, losses=losses, gravity=GRAVITY)
    return FlatModel(inputs=inputs, frame=frame_of(car, inputs.names, losses=losses))
