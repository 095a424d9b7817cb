"""One car, one track, one run; and many variations of it at once."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rollwright.car.model import Car
from rollwright.errors import MissingReference, OutOfRange, echo
from rollwright.quantity import Quantity
from rollwright.run.budget import shares_of, subset_times, works
from rollwright.run.chassis import PARAMETERS, Frame, chassis, frame_of
from rollwright.run.inputs import GRAVITY, PROFILE, Inputs, inputs_of
from rollwright.run.losses import Losses, losses_of
from rollwright.run.motion import Motion, Path, integrate, path_of, rule
from rollwright.run.prices import contributors_of, prices_of
from rollwright.run.result import Run, Runs, Stall, Trace
from rollwright.run.surface import surface_from_profile, surface_of
from rollwright.run.track import Track

__all__ = ["made_ready", "push_speed", "run", "run_many"]

_NOSE = PARAMETERS.index("nose_x")
_CHUNK = 64


def made_ready(
    car: Car, track: Track, losses: Losses | None, lane: str, gravity: Quantity
) -> tuple[Track, Losses, Inputs, Frame]:
    """Return what one run and many runs need alike.

    Args:
        car: the car.
        track: the track.
        losses: which losses there are; None takes the track's.
        lane: the lane by its name; empty takes the track as it is.
        gravity: free fall [m/s2].

    Returns:
        The track of that lane, the losses, the inputs by their names, and the car's frame.

    Raises:
        MissingReference: the track has no such lane.
        OutOfRange: the gravity pulls no car down.
    """
    track = track.on_lane(lane) if lane else track
    losses = losses_of(track.losses) if losses is None else losses
    if not 0.0 < gravity.value < math.inf:
        raise OutOfRange(f"gravity of {gravity.value:g} m/s2 pulls no car down", mend="give more than 0")
    inputs = inputs_of(car, track, losses=losses, gravity=gravity)
    return track, losses, inputs, frame_of(car, inputs.names, losses=losses)


def push_speed(push: float) -> float:
    """Return the speed that a car has at the gate [m/s].

    Args:
        push: that speed; 0 starts from rest.

    Returns:
        The same.

    Raises:
        OutOfRange: it is not a speed down the track.
    """
    if not 0.0 <= push < math.inf:
        raise OutOfRange(f"a push of {push:g} m/s is not down the track", mend="give 0 or more", key="push")
    return push


def run(
    car: Car,
    track: Track,
    *,
    losses: Losses | None = None,
    lane: str = "",
    gravity: Quantity = GRAVITY,
    push: float = 0.0,
    prices: bool = True,
    nodes: int | None = None,
) -> Run:
    """Return a car's run down a track.

    Args:
        car: the car.
        track: the track.
        losses: coefficients of the losses; left out, the track's own and the shipped defaults.
        lane: name of a lane; left out, the track as it is.
        gravity: acceleration of free fall [m/s2].
        push: speed of the rear axle's centre as the nose leaves the gate [m/s]; 0 for a start from rest.
        prices: whether to work out prices and uncertainty, which cost about as much again as the rest.
        nodes: of the quadrature on each stretch, for studies of its error; left out, enough of them.

    Returns:
        Times, speeds, budget, prices and energies. A car that stalls has no finish time.

    Raises:
        CarCannotRest: no three wheels hold the centre of mass between them.
        DriftUndefined: the steered wheel touches beside the rear pair.
        MissingReference: there is no such lane.
        OutOfRange: gravity or the push is not a possible one.
    """
    track, losses, inputs, frame = made_ready(car, track, losses, lane, gravity)
    rows, _ = chassis(frame, inputs.values[None])
    surface = surface_of(track)
    path = path_of(
        surface,
        rows,
        finish=track.finish,
        splits=tuple(distance for _, distance in track.splits),
        push=push_speed(push),
        nodes=nodes,
    )
    motion = integrate(path)
    present, times = subset_times(path)
    stalls = math.isnan(motion.time[0])
    slopes = (
        {}
        if stalls or not prices
        else prices_of(frame, inputs, rows=rows, surface=surface, finish=track.finish, push=push)
    )
    contributors = contributors_of(inputs, slopes) if slopes else ()
    _, weights, _ = rule(path.stride.shape[-1])
    ends = motion.lasts[0].cumsum()
    last = math.sqrt(motion.u[0, -1, -1]) * path.acts.pace[0, -1, -1] if not stalls else None
    return Run(
        car=car.name,
        track=track.name,
        lane=lane,
        finish_time=None if stalls else float(motion.time[0]),
        finish_speed=None if last is None else float(last),
        loss_free_time=None if math.isnan(times[0]) else float(times[0]),
        splits={}
        if stalls
        else {name: float(ends[at]) for (name, _), at in zip(track.splits, path.splits, strict=True)},
        budget={} if stalls else shares_of(present, times),
        prices=slopes,
        energy={}
        if stalls
        else {
            "potential": float(path.falls[0, -1, -1]),
            "push": float(path.push[0]),
            "kinetic": float(motion.energy[0, -1, -1]),
            **works(path, motion, weights),
        },
        trace=_trace(path, motion),
        stalled_at=_stall(track, path, motion, nose=float(rows[0, _NOSE])) if stalls else None,
        lifts_at=_lifts(path, motion),
        assumed=inputs.assumed,
        uncertainty=math.sqrt(math.fsum(line.contribution**2 for line in contributors)) if slopes else None,
        contributors=contributors,
        notes=_notes(frame),
    )


def _notes(frame: Frame) -> tuple[str, ...]:
    found = []
    at_rest = frame.at_rest
    dominant = at_rest.stations[frame.car.dominant]
    if not frame.rail:
        found.append("the steered wheel does not reach the rail, so the rail brakes nothing")
    elif frame.car.dominant.side * (dominant.steer - at_rest.drift.rear_steer) > 0.0:
        found.append(
            "the steered wheel heads away from the rail; it is reckoned as if it touched with the same force"
        )
    if frame.car.raised in at_rest.carrying:
        found.append("the wheel that should be raised carries the car")
    return tuple(found)


def _trace(path: Path, motion: Motion) -> Trace:
    """Return the nodes and each stretch's end in order, as far as the car comes."""
    nodes = path.stride.shape[-1]
    _, _, matrix = rule(nodes)
    keep = [*range(nodes), nodes + 1]
    energy = motion.energy[0][:, keep].ravel()
    stopped = energy <= 0.0
    count = int(np.argmax(stopped)) if stopped.any() else len(energy)
    lasts = motion.lasts[0]
    inner = (lasts.cumsum() - lasts)[:, None] + motion.rate[0] @ matrix.T
    time = np.concatenate((inner, lasts.cumsum()[:, None]), axis=1).ravel()
    u = motion.u[0]
    first = (path.s[0, 0, nodes], 0.0)

    def whole(every: NDArray[Any], start: float) -> NDArray[np.float64]:
        return np.concatenate(([start], every.ravel()[:count]))

    speed = np.sqrt(np.maximum(u, 0.0)) * path.acts.pace[0]
    loads = [constant[0] + growing[0] * u for constant, growing in path.acts.axle_loads()]
    return Trace(
        distance=whole(path.s[0][:, keep] - first[0], 0.0),
        time=whole(time, 0.0),
        speed=whole(speed[:, keep], float(speed[0, nodes])),
        rear_load=whole(loads[0][:, keep], float(loads[0][0, nodes])),
        front_load=whole(loads[1][:, keep], float(loads[1][0, nodes])),
    )


def _stall(track: Track, path: Path, motion: Motion, *, nose: float) -> Stall:
    nodes = path.stride.shape[-1]
    x, _, _ = rule(nodes)
    energy = motion.energy[0]
    bad = ~((energy[:, :nodes] > 0.0).all(axis=1) & (energy[:, -1] > 0.0))
    stretch = int(np.argmax(bad))
    values = energy[stretch, :nodes]
    series = np.polynomial.Legendre.fit(x, values, nodes - 1, domain=[0.0, 1.0])
    ways = np.polynomial.Legendre.fit(x, path.s[0, stretch, :nodes], 2, domain=[0.0, 1.0])
    low, high = 0.0, float(x[np.argmax(values <= 0.0)]) if np.any(values <= 0.0) else 1.0
    if energy[stretch, nodes] <= 0.0:
        high = 0.0
    else:
        low = max((float(at) for at in x[x < high]), default=0.0)
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if series(middle) > 0.0 else (low, middle)
    distance = max(0.0, float(ways(high)) + nose)
    return Stall(distance=distance, place=track.at(distance))


def _lifts(path: Path, motion: Motion) -> float | None:
    nodes = path.stride.shape[-1]
    u = np.maximum(motion.u[0, :, :nodes], 0.0)
    least = np.minimum(
        *(constant[0, :, :nodes] + growing[0, :, :nodes] * u for constant, growing in path.acts.axle_loads())
    )
    if not np.any(least < 0.0):
        return None
    return float(path.s[0, :, :nodes].ravel()[np.argmax(least.ravel() < 0.0)])


def run_many(
    car: Car,
    track: Track,
    varied: Mapping[str, NDArray[np.float64]],
    *,
    losses: Losses | None = None,
    lane: str = "",
    gravity: Quantity = GRAVITY,
    push: float = 0.0,
    nodes: int | None = None,
) -> Runs:
    """Return the runs of many variations of one car and track.

    Args:
        car: the car.
        track: the track.
        varied: values of some inputs [SI], by the names that `Run.prices` has, each of shape (n,); the others
            stay as they are. A car's seats and carrying wheels stay too.
        losses: coefficients of the losses; left out, the track's own and the shipped defaults.
        lane: name of a lane; left out, the track as it is.
        gravity: acceleration of free fall [m/s2].
        push: speed at the start [m/s].
        nodes: of the quadrature on each stretch; left out, enough of them.

    Returns:
        Finish times and speeds, in the order of the rows.

    Raises:
        MissingReference: a name is no input, or there is no such lane.
        OutOfRange: the arrays are not equally long, or gravity or the push is not a possible one.
        CarCannotRest: no three wheels hold the centre of mass between them.
        DriftUndefined: the steered wheel touches beside the rear pair.
    """
    track, losses, inputs, frame = made_ready(car, track, losses, lane, gravity)
    lengths = {len(np.atleast_1d(values)) for values in varied.values()} or {1}
    if len(lengths) > 1:
        raise OutOfRange("the varied inputs are not equally many", mend="give as many values of each")
    (count,) = lengths
    values = np.tile(inputs.values, (count, 1))
    for name, column in varied.items():
        if name not in inputs.names:
            raise MissingReference(
                f"there is no input named {echo(name)}", mend="write a name that the prices have"
            )
        values[:, inputs.at(name)] = column
    parts = [
        _chunk(frame, inputs, track, values[first : first + _CHUNK], push_speed(push), nodes)
        for first in range(0, count, _CHUNK)
    ]
    return Runs(
        finish_time=np.concatenate([part.finish_time for part in parts]),
        finish_speed=np.concatenate([part.finish_speed for part in parts]),
        stands=np.concatenate([part.stands for part in parts]),
    )


def _chunk(
    frame: Frame, inputs: Inputs, track: Track, values: NDArray[np.float64], push: float, nodes: int | None
) -> Runs:
    rows, stands = chassis(frame, values)
    surface, finish = surface_of(track), np.full(len(values), track.finish)
    if f"profile.{PROFILE[0]}" in inputs.names:
        sizes = values[:, [inputs.at(f"profile.{name}") for name in PROFILE]]
        if np.any(sizes != inputs.values[[inputs.at(f"profile.{name}") for name in PROFILE]]):
            surface = surface_from_profile(sizes)
            laid = sizes[:, 1] + sizes[:, 2] * sizes[:, 0] + sizes[:, 3]
            finish = finish + laid - track.end
    else:
        finish = values[:, inputs.at("finish")]
    motion_path = path_of(surface, rows, finish=finish, push=push, nodes=nodes)
    motion = integrate(motion_path)
    speed = np.sqrt(np.maximum(motion.u[:, -1, -1], 0.0)) * motion_path.acts.pace[:, -1, -1]
    return Runs(
        finish_time=motion.time,
        finish_speed=np.where(np.isnan(motion.time), np.nan, speed),
        stands=stands,
    )
