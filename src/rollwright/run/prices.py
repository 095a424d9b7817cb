"""Prices: how much later the car finishes for each unit that a dimension, a mass or a coefficient is off.

Exact derivatives of the run itself, by complex steps (W. Squire, G. Trapp, Using complex variables to
estimate derivatives of real functions, SIAM Review 40 (1998) 110): no differences of nearly equal times are
taken, so that nothing is lost to rounding. First the inputs' effects on the few dozen figures that the motion
depends on, then those figures' effects on the time, and the chain rule.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from rollwright.quantity import Contribution, budget_from_sensitivities
from rollwright.run.chassis import Frame, chassis
from rollwright.run.inputs import Inputs
from rollwright.run.motion import integrate, path_of
from rollwright.run.surface import Surface, surface_from_profile

__all__ = ["contributors_of", "prices_of"]

_STEP = 1e-30
# Arrays that fit the processor's nearest memory are worked through several times faster.
_PIECES_AT_ONCE = 120


def prices_of(
    frame: Frame,
    inputs: Inputs,
    *,
    rows: NDArray[np.float64],
    surface: Surface,
    finish: float,
    push: float,
) -> Mapping[str, float]:
    """Return the derivative of the finish time with respect to every input.

    Args:
        frame: what all variations of the car share.
        inputs: their names and values.
        rows: the car's parameters, (1, len(PARAMETERS)).
        surface: the running surface.
        finish: arc length of the finish line [m].
        push: speed at the start [m/s].

    Returns:
        Derivative by input [s per SI unit]; positive where more of it makes the car slower. It holds while
        the same wheels carry the car, at the same seats and rims. NaN everywhere where the car stalls.
    """
    values = inputs.values
    count = len(values)
    varied = np.tile(values.astype(np.complex128), (count, 1))
    varied[np.arange(count), np.arange(count)] += 1j * _STEP
    effects = chassis(frame, varied)[0].imag / _STEP
    felt = np.flatnonzero(np.any(effects != 0.0, axis=0))
    cars = np.tile(rows.astype(np.complex128), (len(felt), 1))
    cars[np.arange(len(felt)), felt] += 1j * _STEP
    profile = [index for index, name in enumerate(inputs.names) if name.startswith("profile.")]
    times = _times(cars, inputs, profile, rows=rows, surface=surface, finish=finish, push=push)
    slopes = effects[:, felt] @ times[: len(felt)]
    if profile:
        slopes[profile] += times[len(felt) :]
    else:
        slopes[inputs.at("finish")] += times[-1]
    return dict(zip(inputs.names, slopes.tolist(), strict=True))


def _times(
    cars: NDArray[np.complex128],
    inputs: Inputs,
    profile: list[int],
    *,
    rows: NDArray[np.float64],
    surface: Surface,
    finish: float,
    push: float,
) -> NDArray[np.float64]:
    """Return the derivatives of the time by the cars' varied parameters, then by the track's."""
    whole = np.concatenate((cars, np.tile(rows, (len(profile) or 1, 1))), dtype=np.complex128)
    if profile:
        sizes = np.tile(inputs.values[profile].astype(np.complex128), (len(whole), 1))
        last = np.arange(len(profile))
        sizes[len(cars) + last, last] += 1j * _STEP
        surface = surface_from_profile(sizes)
        # A lane may end before or beyond where the flat does; that distance stays.
        ends = finish + 1j * (sizes[:, 1] + sizes[:, 2] * sizes[:, 0] + sizes[:, 3]).imag
    else:
        ends = np.full(len(whole), finish, dtype=np.complex128)
        ends[-1] += 1j * _STEP
    slopes = []
    count = max(2, _PIECES_AT_ONCE // surface.start.shape[1])
    for first in range(0, len(whole), count):
        part = slice(first, first + count)
        motion = integrate(
            path_of(surface.rows(part), whole[part], finish=ends[part], push=push),
        )
        slopes.append(motion.time.imag)
    return np.concatenate(slopes) / _STEP


def contributors_of(inputs: Inputs, prices: Mapping[str, float]) -> tuple[Contribution, ...]:
    """Return what the inputs' uncertainties add to that of the finish time.

    Args:
        inputs: their standard uncertainties.
        prices: derivative of the finish time by input [s per SI unit].

    Returns:
        One line for each input that adds anything, largest first; first-order propagation of independent
        inputs (JCGM 100:2008, 5.1.2).
    """
    lines = budget_from_sensitivities(
        inputs.names,
        sensitivities=[prices[name] for name in inputs.names],
        uncertainties=inputs.deviations.tolist(),
    )
    return tuple(line for line in lines if line.contribution > 0.0)
