"""The motion of cars side by side, compiled; `motion` says how."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rollwright.run.chassis import PARAMETERS
from rollwright.run.lanes import LANES, compiled, growth, inlined, mark_of, rows
from rollwright.run.lanes_car import lay_out, line_of, prepare, rows_of, stands_as_given
from rollwright.run.lanes_way import MOST_TURN, acts_on, along, chord, lay
from rollwright.run.losses import LOSS_NAMES

__all__ = ["FIXED", "LAID_OUT", "LINE", "MOST_GROWTH", "MOST_TURN", "finish"]

Numbers = NDArray[np.float64]
Indices = NDArray[np.int64]

FIXED, LINE, LAID_OUT = 0, 1, 2
"""What varies of the track: nothing, its finish, or the sizes that it was laid out from."""
MOST_GROWTH = 6.0
"""Largest exponent that the series for e^t takes."""

_MISJUDGED = 0.15

_AT = {name: place for place, name in enumerate(PARAMETERS)}
_MASS, _INERTIA, _SPIN_R, _SPIN_F = (
    _AT[name] for name in ("mass", "pitch_inertia", "rear_spin", "front_spin")
)
_RADIUS_R, _RADIUS_F, _AHEAD = (_AT[name] for name in ("rear_radius", "front_radius", "ahead"))
_MASS_X, _MASS_Z, _NOSE_X, _NOSE_Z = (_AT[name] for name in ("mass_x", "mass_z", "nose_x", "nose_z"))
_AIR, _GRAVITY = _AT["air"], _AT["gravity"]
_FIRST = len(PARAMETERS) - 4 * (len(LOSS_NAMES) - 1)

# What the lanes hold of each car, in rows.
(_L_TX, _L_TZ, _L_QX, _L_QZ, _L_HX, _L_HZ, _L_HEIGHT) = rows(0, 7)
(_L_MOVING, _L_STILL, _L_GROWING, _L_PACE, _L_DISTANCE) = rows(7, 5)
(_L_BEND_PIECE, _L_SINE, _L_COSINE, _L_X, _L_Z) = rows(12, 5)
(_L_BEND_F, _L_SINE_F, _L_COSINE_F, _L_GX, _L_GZ) = rows(17, 5)
(_L_BEND_R, _L_CONTACT_R, _L_CONTACT_F) = rows(22, 3)
(_L_MASS, _L_INERTIA, _L_SPIN_R, _L_SPIN_F, _L_RADIUS_R, _L_RADIUS_F) = rows(25, 6)
(_L_GRAVITY, _L_AIR, _L_APART, _L_LENGTHWISE, _L_ACROSS) = rows(31, 5)
(_L_PIN_RR, _L_PIN_RF, _L_PIN_FR, _L_PIN_FF, _L_WAY_RR, _L_WAY_RF) = rows(36, 6)
(_L_WAY_FR, _L_WAY_FF, _L_TOP_RR, _L_TOP_RF, _L_TOP_FR, _L_TOP_FF) = rows(42, 6)
(_L_TOP, _L_PUSHED, _L_MOVES, _L_LOST, _L_TIME) = rows(48, 5)
(_L_START, _L_LENGTH, _L_SHARE, _L_GROWN, _L_SUM, _L_MOST) = rows(53, 6)
(_L_DRAIN, _L_SOURCE, _L_STRIDE, _L_GAINED, _L_MOVED, _L_FACTOR) = rows(59, 6)
_ROWS = 65


@inlined
def _rubs(car: Numbers, measure: int, part: int) -> float:
    """Return the rubbing per load of all losses that are measured alike; see `forces._MEASURE`."""
    place = _FIRST + part
    found: float = car[place + 16]
    if measure == 0:
        found = car[place] + car[place + 4]
    elif measure == 1:
        found = car[place + 8] + car[place + 12]
    return found


@inlined
def _load_car(car: Numbers, lanes: Numbers, lane: int) -> None:
    """Put a car's figures into a lane, as `acts_on` wants them."""
    radius_r, radius_f, ahead = car[_RADIUS_R], car[_RADIUS_F], car[_AHEAD]
    apart = math.sqrt(ahead * ahead + (radius_f - radius_r) ** 2)
    rise, level = (radius_f - radius_r) / apart, ahead / apart
    x, z = car[_MASS_X], car[_MASS_Z] - radius_r
    lanes[_L_MASS + lane] = car[_MASS]
    lanes[_L_INERTIA + lane] = car[_INERTIA]
    lanes[_L_SPIN_R + lane] = car[_SPIN_R]
    lanes[_L_SPIN_F + lane] = car[_SPIN_F]
    lanes[_L_RADIUS_R + lane] = radius_r
    lanes[_L_RADIUS_F + lane] = radius_f
    lanes[_L_GRAVITY + lane] = car[_GRAVITY]
    lanes[_L_AIR + lane] = car[_AIR]
    lanes[_L_APART + lane] = apart
    lanes[_L_LENGTHWISE + lane] = x * level + z * rise
    lanes[_L_ACROSS + lane] = z * level - x * rise
    for measure in range(3):
        for part in range(4):
            lanes[_L_PIN_RR + (4 * measure + part) * LANES + lane] = _rubs(car, measure, part)


@inlined
def _stand(
    distance: float, rear: tuple[float, ...], front: tuple[float, ...], radius_r: float, apart: float
) -> tuple[float, ...]:
    """Return ways of the rear and the front centre, the chord, and the rear centre's height."""
    curvature, sine, cosine, x, z = rear
    bend_f, sine_f, cosine_f, gx, gz = front
    px, pz, tx, tz = along(distance, curvature, sine, cosine, x, z)
    cx, cz = px - radius_r * tz, pz + radius_r * tx
    hx, hz, qx, qz = chord(cx, cz, gx, gz, sine_f, cosine_f, bend_f, apart * apart, apart)
    return tx, tz, qx, qz, hx, hz, cz


@inlined
def _point(lanes: Numbers) -> None:
    """Fill in where the cars of all lanes stand, with the height of the centre of mass last."""
    for lane in range(LANES):
        tx, tz, qx, qz, hx, hz, cz = _stand(
            lanes[_L_DISTANCE + lane],
            (
                lanes[_L_BEND_PIECE + lane],
                lanes[_L_SINE + lane],
                lanes[_L_COSINE + lane],
                lanes[_L_X + lane],
                lanes[_L_Z + lane],
            ),
            (
                lanes[_L_BEND_F + lane],
                lanes[_L_SINE_F + lane],
                lanes[_L_COSINE_F + lane],
                lanes[_L_GX + lane],
                lanes[_L_GZ + lane],
            ),
            lanes[_L_RADIUS_R + lane],
            lanes[_L_APART + lane],
        )
        lanes[_L_TX + lane] = tx
        lanes[_L_TZ + lane] = tz
        lanes[_L_QX + lane] = qx
        lanes[_L_QZ + lane] = qz
        lanes[_L_HX + lane] = hx
        lanes[_L_HZ + lane] = hz
        lanes[_L_HEIGHT + lane] = cz + lanes[_L_LENGTHWISE + lane] * hz + lanes[_L_ACROSS + lane] * hx


@inlined
def _forces(lanes: Numbers) -> None:
    """Fill in moving mass, losses at rest and over u, and pace for all lanes."""
    for lane in range(LANES):
        moving, still, growing, pace = acts_on(
            (
                lanes[_L_MASS + lane],
                lanes[_L_INERTIA + lane],
                lanes[_L_SPIN_R + lane],
                lanes[_L_SPIN_F + lane],
                lanes[_L_RADIUS_R + lane],
                lanes[_L_RADIUS_F + lane],
                lanes[_L_GRAVITY + lane],
                lanes[_L_AIR + lane],
                lanes[_L_APART + lane],
                lanes[_L_LENGTHWISE + lane],
                lanes[_L_ACROSS + lane],
            ),
            (
                lanes[_L_PIN_RR + lane],
                lanes[_L_PIN_RF + lane],
                lanes[_L_PIN_FR + lane],
                lanes[_L_PIN_FF + lane],
                lanes[_L_WAY_RR + lane],
                lanes[_L_WAY_RF + lane],
                lanes[_L_WAY_FR + lane],
                lanes[_L_WAY_FF + lane],
                lanes[_L_TOP_RR + lane],
                lanes[_L_TOP_RF + lane],
                lanes[_L_TOP_FR + lane],
                lanes[_L_TOP_FF + lane],
            ),
            (
                lanes[_L_TX + lane],
                lanes[_L_TZ + lane],
                lanes[_L_QX + lane],
                lanes[_L_QZ + lane],
                lanes[_L_HX + lane],
                lanes[_L_HZ + lane],
            ),
            (
                lanes[_L_BEND_R + lane],
                lanes[_L_BEND_F + lane],
                lanes[_L_CONTACT_R + lane],
                lanes[_L_CONTACT_F + lane],
            ),
        )
        lanes[_L_MOVING + lane] = moving
        lanes[_L_STILL + lane] = still
        lanes[_L_GROWING + lane] = growing
        lanes[_L_PACE + lane] = pace


@inlined
def _stretch(tracks: Numbers, step: int, place: int, store: Any, lanes: Numbers) -> bool:
    """Load a stretch into the lanes, and return whether any car has a way to go on it."""
    _, ends, rears, fronts, shares = store
    any_way = False
    for lane in range(LANES):
        track = tracks[step * lane]
        rear, front = rears[place, lane], fronts[place, lane]
        first = ends[place, lane]
        length = ends[place + 1, lane] - first
        any_way = any_way or length > 0.0
        radius_r, radius_f = lanes[_L_RADIUS_R + lane], lanes[_L_RADIUS_F + lane]
        lanes[_L_START + lane] = first - track[0, rear]
        lanes[_L_LENGTH + lane] = length
        lanes[_L_SHARE + lane] = shares[place, lane]
        lanes[_L_BEND_PIECE + lane] = track[1, rear]
        lanes[_L_SINE + lane] = track[2, rear]
        lanes[_L_COSINE + lane] = track[3, rear]
        lanes[_L_X + lane] = track[4, rear]
        lanes[_L_Z + lane] = track[5, rear]
        contact_r = 1.0 / (1.0 - track[1, rear] * radius_r)
        contact_f = 1.0 / (1.0 - track[1, front] * radius_f)
        lanes[_L_CONTACT_R + lane] = contact_r
        lanes[_L_CONTACT_F + lane] = contact_f
        lanes[_L_BEND_R + lane] = track[1, rear] * contact_r
        lanes[_L_BEND_F + lane] = track[1, front] * contact_f
        lanes[_L_SINE_F + lane] = track[2, front]
        lanes[_L_COSINE_F + lane] = track[3, front]
        lanes[_L_GX + lane] = track[4, front] + radius_f * track[2, front]
        lanes[_L_GZ + lane] = track[5, front] + radius_f * track[3, front]
    return any_way


@inlined
def _begin(push: float, lanes: Numbers) -> None:
    """Put the cars at the gate."""
    for lane in range(LANES):
        lanes[_L_DISTANCE + lane] = lanes[_L_START + lane]
    _point(lanes)
    _forces(lanes)
    for lane in range(LANES):
        lanes[_L_TOP + lane] = lanes[_L_HEIGHT + lane]
        lanes[_L_PUSHED + lane] = 0.5 * lanes[_L_MOVING + lane] * push * push
        lanes[_L_MOVES + lane] = 1.0
        lanes[_L_LOST + lane] = 0.0
        lanes[_L_TIME + lane] = 0.0


@inlined
def _gained(lanes: Numbers, lane: int) -> float:
    """Return the energy that a car has without losses."""
    fallen = lanes[_L_TOP + lane] - lanes[_L_HEIGHT + lane]
    found: float = lanes[_L_PUSHED + lane] + lanes[_L_MASS + lane] * lanes[_L_GRAVITY + lane] * fallen
    return found


@inlined
def _nodes(x: Numbers, lanes: Numbers, work: Numbers) -> None:
    """Fill in what acts at a stretch's nodes: drain and source per node's variable, stride, energy, mass."""
    for node in range(len(x)):
        at = x[node]
        for lane in range(LANES):
            share = lanes[_L_SHARE + lane]
            grown = (2.0 * share + (1.0 - 2.0 * share) * at) * at
            lanes[_L_DISTANCE + lane] = lanes[_L_START + lane] + lanes[_L_LENGTH + lane] * grown
        _point(lanes)
        _forces(lanes)
        for lane in range(LANES):
            share = lanes[_L_SHARE + lane]
            faster = 2.0 * share + 2.0 * (1.0 - 2.0 * share) * at
            stride = lanes[_L_LENGTH + lane] / lanes[_L_CONTACT_R + lane] * faster
            drain = 2.0 * lanes[_L_GROWING + lane] / lanes[_L_MOVING + lane] * stride
            gained = _gained(lanes, lane)
            lanes[_L_DRAIN + lane] = drain
            lanes[_L_SOURCE + lane] = stride * lanes[_L_STILL + lane] + drain * gained
            lanes[_L_STRIDE + lane] = stride
            lanes[_L_GAINED + lane] = gained
            lanes[_L_MOVED + lane] = lanes[_L_MOVING + lane]
        base = 5 * node * LANES
        for place in range(5 * LANES):
            work[base + place] = lanes[_L_DRAIN + place]


@inlined
def _added(factors: Numbers, row: int, lanes: Numbers, work: Numbers) -> None:
    """Fill in a weighted sum over the nodes of one of their figures."""
    for lane in range(LANES):
        lanes[_L_SUM + lane] = 0.0
    for node in range(len(factors)):
        factor, base = factors[node], (5 * node + row) * LANES
        for lane in range(LANES):
            lanes[_L_SUM + lane] += factor * work[base + lane]


@inlined
def _factors(matrix: Numbers, lanes: Numbers, work: Numbers, width: int) -> None:
    """Multiply the sources at a stretch's nodes by the integrating factor, and keep its inverse."""
    nodes = len(matrix)
    for node in range(nodes):
        _added(matrix[node], 0, lanes, work)
        kept, base = (5 * nodes + node) * LANES, (5 * node + 1) * LANES
        for lane in range(width):
            factor = growth(lanes[_L_SUM + lane])
            lanes[_L_SUM + lane] = factor
            lanes[_L_FACTOR + lane] = 1.0 / factor
        for lane in range(width):
            work[base + lane] *= lanes[_L_SUM + lane]
        for lane in range(width):
            work[kept + lane] = lanes[_L_FACTOR + lane]


@inlined
def _march(rule: tuple[Numbers, Numbers, Numbers], lanes: Numbers, work: Numbers, width: int) -> None:
    """Take the cars over a stretch: the work lost by its integrating factor, then the time."""
    x, weights, matrix = rule
    nodes = len(x)
    _nodes(x, lanes, work)
    _added(weights, 0, lanes, work)
    for lane in range(width):
        lanes[_L_GROWN + lane] = growth(lanes[_L_SUM + lane])
        lanes[_L_MOST + lane] = max(lanes[_L_MOST + lane], abs(lanes[_L_SUM + lane]))
    _factors(matrix, lanes, work, width)
    for node in range(nodes):
        _added(matrix[node], 1, lanes, work)
        kept, base = (5 * nodes + node) * LANES, (5 * node + 2) * LANES
        weight = weights[node]
        for lane in range(width):
            lanes[_L_FACTOR + lane] = work[kept + lane]
        for place in range(3 * LANES):
            lanes[_L_STRIDE + place] = work[base + place]
        for lane in range(width):
            lost = (lanes[_L_LOST + lane] + lanes[_L_SUM + lane]) * lanes[_L_FACTOR + lane]
            energy = lanes[_L_GAINED + lane] - lost
            moves = energy > 0.0
            lanes[_L_MOVES + lane] = lanes[_L_MOVES + lane] if moves else 0.0
            per_u = 0.5 * lanes[_L_MOVED + lane] / (energy if moves else 1.0)
            lanes[_L_TIME + lane] += weight * lanes[_L_STRIDE + lane] * math.sqrt(per_u)
    _added(weights, 1, lanes, work)
    for lane in range(width):
        lanes[_L_LOST + lane] = (lanes[_L_LOST + lane] + lanes[_L_SUM + lane]) / lanes[_L_GROWN + lane]
        lanes[_L_DISTANCE + lane] = lanes[_L_START + lane] + lanes[_L_LENGTH + lane]
    _point(lanes)


@inlined
def _run(
    tracks: Numbers,
    step: int,
    push: float,
    rule: tuple[Numbers, Numbers, Numbers],
    store: Any,
    lanes: Numbers,
    work: Numbers,
    energies: Numbers,
    width: int,
) -> None:
    """Run the cars of all lanes; keeps the energies at the ends of the stretches."""
    stretches = len(store[1]) - 1
    for place in range(stretches):
        any_way = _stretch(tracks, step, place, store, lanes)
        if place == 0:
            _begin(push, lanes)
            for lane in range(LANES):
                energies[0, lane] = lanes[_L_PUSHED + lane]
        if any_way:
            _march(rule, lanes, work, width)
        for lane in range(LANES):
            energy = _gained(lanes, lane) - lanes[_L_LOST + lane]
            energies[place + 1, lane] = energy
            if any_way and not energy > 0.0:
                lanes[_L_MOVES + lane] = 0.0
    _forces(lanes)


@inlined
def _misjudged(energies: Numbers, shares: Numbers) -> bool:
    """Lay the nodes of some cars again by the speeds that they were found to have; `motion.path_of`."""
    any_car = False
    for lane in range(LANES):
        moves, worst = True, 0.0
        for again in range(2):
            for place in range(len(shares)):
                moves = moves and energies[place + 1, lane] > 0.0
                if not moves:
                    break
                speed, after = math.sqrt(energies[place, lane]), math.sqrt(energies[place + 1, lane])
                better = speed / (speed + after)
                if again == 0:
                    worst = max(worst, abs(better - shares[place, lane]))
                else:
                    shares[place, lane] = better
            if not moves or worst <= _MISJUDGED:
                break
            any_car = True
    return any_car


@inlined
def _vary(inputs: Numbers, given: Numbers, places: Indices, start: int) -> None:
    """Put the inputs that vary into the lanes; the last car fills lanes that are left over."""
    last = given.shape[1] - 1
    for number in range(len(places)):
        for lane in range(LANES):
            inputs[places[number] + lane] = given[number, min(start + lane, last)]


@inlined
def _end(inputs: Numbers, lane: int, tracks: Numbers, line: float, kind: int) -> float:
    """Return where a car's finish is; lays its track out where that varies."""
    if kind == LINE:
        return line_of(inputs, lane)
    if kind == LAID_OUT:
        return line + lay_out(inputs, lane, tracks[lane])
    return line


@inlined
def _tell(lanes: Numbers, lane: int, energy: float, found: Any, row: int) -> None:
    """Write a car's time and speed down."""
    moves = lanes[_L_MOVES + lane] > 0.0
    u = 2.0 * energy / lanes[_L_MOVING + lane] if moves else math.nan
    found[0][row] = lanes[_L_TIME + lane] if moves else math.nan
    found[1][row] = math.sqrt(u) * lanes[_L_PACE + lane]


# What is kept on the disk is looked up by the source of this file alone, but it holds these too.
_PARTS = ("lanes", "lanes_car", "lanes_way", "lanes_run", "chassis", "inputs", "losses")
_MARK = mark_of(*(f"rollwright.run.{name}" for name in _PARTS), "rollwright.car.dimensions")


def _finish_of(mark: int) -> Callable[..., float]:
    """Return the compiled loop; it is kept together with every number that it encloses, hence the mark."""

    @compiled
    def finish(
        given: Numbers,
        places: Indices,
        model: tuple[Numbers, tuple[Numbers, Indices, Numbers], int],
        way: tuple[Numbers, float, int, float],
        rule: tuple[Numbers, Numbers, Numbers],
        found: tuple[Numbers, Numbers, NDArray[np.bool_]],
    ) -> float:
        """Fill in when and how fast cars finish, and whether they stand as the first one does.

        Args:
            given: inputs that vary [SI], (k, n).
            places: where in a row of lanes each of them goes, (k,).
            model: the rows of lanes of the car as given, what `lanes_car.prepare` takes, and the
                number of weights.
            way: the surface as start, curvature, sine, cosine, x and z, (6, pieces); arc length of the finish
                [m]; `FIXED`, `LINE` where the finish varies, or `LAID_OUT` where the surface does, and then
                the length is what the finish has over the end of the flat; speed at the start [m/s].
            rule: nodes, weights and matrix of the quadrature, from `motion.rule`.
            found: to fill: times [s], NaN after a stall, speeds of the centre of mass [m/s], and who stands.

        Returns:
            The largest exponent that drag led to; beyond `MOST_GROWTH` the results are not good.
        """
        start_lanes, shape, weights = model
        surface, line, kind, push = way
        stands = found[2]
        count = given.shape[1]
        stretches = 2 * surface.shape[1] - 1
        width = len(start_lanes) // rows_of(weights)
        inputs = start_lanes.copy()
        cars = np.zeros((LANES, len(PARAMETERS)))
        tracks = np.zeros((LANES, *surface.shape))
        lanes = np.zeros(_ROWS * LANES)
        work = np.zeros(6 * len(rule[0]) * LANES)
        energies = np.zeros((stretches + 1, LANES))
        shares = np.zeros((stretches, LANES))
        ends = np.zeros((stretches + 1, LANES))
        rears = np.zeros((stretches, LANES), dtype=np.int64)
        fronts = np.zeros((stretches, LANES), dtype=np.int64)
        store = (np.zeros(surface.shape[1] - 1), ends, rears, fronts, shares)
        step = 1 if kind == LAID_OUT else 0
        tracks[0] = surface
        for lane in range(LANES):
            lanes[_L_MOST + lane] = 0.0
        for start in range(0, count, LANES):
            _vary(inputs, given, places, start)
            prepare(inputs, shape, weights, cars)
            for lane in range(LANES):
                _load_car(cars[lane], lanes, lane)
                end = _end(inputs, lane, tracks, line, kind)
                lay(cars[lane], tracks[step * lane], end, push, store, lane)
            for again in range(2):
                _run(tracks, step, push, rule, store, lanes, work, energies, width)
                if again == 1 or not _misjudged(energies, shares):
                    break
            for lane in range(min(LANES, count - start)):
                _tell(lanes, lane, energies[stretches, lane], found, start + lane)
                stands[start + lane] = stands_as_given(inputs, lane)
        most = 0.0 * mark
        for lane in range(LANES):
            most = max(most, lanes[_L_MOST + lane])
        return most

    return finish


finish = _finish_of(_MARK)
