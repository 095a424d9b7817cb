"""Many runs at once, compiled, for studies; `once.run_many` is the reference."""

from __future__ import annotations

from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor

import numpy as np
from numpy.typing import NDArray

from rollwright.car.model import Car
from rollwright.errors import MissingReference, OutOfRange, echo
from rollwright.quantity import Quantity
from rollwright.run.chassis import Frame
from rollwright.run.inputs import GRAVITY, PROFILE, Inputs
from rollwright.run.losses import Losses
from rollwright.run.motion import FEW, NODES, NODES_OF_MANY, rule
from rollwright.run.once import made_ready, push_speed, run_many
from rollwright.run.result import Runs
from rollwright.run.surface import surface_of
from rollwright.run.track import Track

__all__ = ["run_fast"]

# Variations that one thread takes at a time: their inputs fit the second-level cache.
_PART = 2048
_PROFILE = tuple(f"profile.{name}" for name in PROFILE)


def run_fast(
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
    """Return the runs of many variations of one car and track, as `run_many` does, compiled.

    The equations and the quadrature are those of `run_many`, and the times agree to rounding where it lays
    nodes alike. The first call on a machine compiles for some seconds; the outcome is kept. Without numba,
    with pieces that turn by more than 1.6 rad, or with drag that brakes within centimetres, `run_many` itself
    is asked.

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
    ready_track, ready_losses, inputs, frame = made_ready(car, track, losses, lane, gravity)
    speed = push_speed(push)
    columns = {name: np.atleast_1d(np.asarray(values, dtype=np.float64)) for name, values in varied.items()}
    lengths = {len(values) for values in columns.values()} or {1}
    if len(lengths) > 1:
        raise OutOfRange("the varied inputs are not equally many", mend="give as many values of each")
    for name in columns:
        if name not in inputs.names:
            raise MissingReference(
                f"there is no input named {echo(name)}", mend="write a name that the prices have"
            )
    found = _compiled(ready_track, inputs, frame, columns, count=lengths.pop(), push=speed, nodes=nodes)
    if found is not None:
        return found
    return run_many(car, ready_track, varied, losses=ready_losses, gravity=gravity, push=push, nodes=nodes)


def _compiled(
    track: Track,
    inputs: Inputs,
    frame: Frame,
    columns: Mapping[str, NDArray[np.float64]],
    *,
    count: int,
    push: float,
    nodes: int | None,
) -> Runs | None:
    """Return the runs, or None where the compiled loops cannot be had or do not hold."""
    try:
        # Loading the compiler takes most of a second: only studies pay for it.
        from rollwright.run import lanes_model, lanes_run  # noqa: PLC0415
        from rollwright.run.lanes import threads  # noqa: PLC0415
    except (ImportError, RuntimeError):  # no numba, or no folder where it may keep what it compiled
        return None
    surface = surface_of(track)
    lasts = np.array([piece.length * piece.curvature for piece in track.pieces])
    laid_out = any(name in columns for name in _PROFILE)
    turns = columns.get(_PROFILE[0], np.abs(lasts))
    if not np.all(np.abs(turns) < lanes_run.MOST_TURN):
        return None
    kind, line = lanes_run.FIXED, track.finish
    if laid_out:
        kind, line = lanes_run.LAID_OUT, track.finish - track.end
    elif "finish" in columns:
        kind = lanes_run.LINE
    every = (surface.start, surface.curvature, surface.sine, surface.cosine, surface.x, surface.z)
    pieces = np.concatenate(every)
    if nodes is None:
        nodes = NODES if pieces.shape[1] <= FEW else NODES_OF_MANY
    way = (np.zeros((6, 3)) if laid_out else pieces, float(line), kind, push)
    quadrature = tuple(np.ascontiguousarray(part) for part in rule(nodes))
    model = lanes_model.model_of(frame, inputs.values)
    places = np.array([lanes_model.place_of(frame, name) for name in columns], dtype=np.int64)
    times, speeds, stands = np.empty(count), np.empty(count), np.empty(count, dtype=np.bool_)

    def part(first: int) -> float:
        last = min(first + _PART, count)
        given = np.empty((len(columns), last - first))
        for row, values in zip(given, columns.values(), strict=True):
            row[:] = values[first:last]
        found = (times[first:last], speeds[first:last], stands[first:last])
        return float(lanes_run.finish(given, places, model, way, quadrature, found))

    firsts = range(0, count, _PART)
    if len(firsts) == 1:
        most = part(0)
    else:
        with ThreadPoolExecutor(threads()) as pool:
            most = max(pool.map(part, firsts))
    if not most < lanes_run.MOST_GROWTH:
        return None
    return Runs(finish_time=times, finish_speed=speeds, stands=stands)
