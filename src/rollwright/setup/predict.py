"""What each reading would show on a given car: the forward models of the bench."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rollwright.car.dimensions import dimension_names
from rollwright.car.model import Car, Seat, Station
from rollwright.errors import ReadingUnusable
from rollwright.geometry.many import Stances, drift_along, inset_of, stances, wheels_of
from rollwright.setup.readings import Reading, ReadingKind

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = [
    "GATE_QUANTITIES",
    "GATE_READINGS",
    "ReadingModel",
    "Rolled",
    "derivatives",
    "gate_values",
    "rolled",
]

GATE_QUANTITIES = ("height_difference", "drift", "rail_offset")
GATE_READINGS = (
    frozenset({ReadingKind.HEIGHT_DIFFERENCE}),
    frozenset({ReadingKind.DRIFT}),
    frozenset({ReadingKind.RAIL_OFFSET, ReadingKind.BLOCK_OFFSET}),
)
"""The kinds of readings that speak for each gate quantity themselves, in the same order."""

_ROLLED = frozenset({ReadingKind.ROLL_CLEARANCE, ReadingKind.TAIL_OFFSET})
_INDEX = {name: index for index, name in enumerate(dimension_names())}
_STATIONS = tuple(Station)
_STEP = 2e-6
_IMPOSSIBLE = 1e3


def gate_values(found: Stances) -> NDArray[np.float64]:
    """Return height difference, drift and rail offset of each car [m], shape (n, 3).

    NaN stands where a car shows no such thing: a wheel above the rail, a turn too sharp for the board, and
    all three where no three wheels hold the car.
    """
    values = np.stack((found.height_difference, found.drift, found.rail_offset), axis=1)
    return np.where(found.carrying[:, None] >= 0, values, np.nan)


@dataclass(frozen=True, slots=True)
class Rolled:
    """How n cars stand on the rail that they follow.

    Attributes:
        gap: from the rail to the inner edge of each wheel in the order of `Station` [m], (4, n); 0 at the
            dominant wheel, negative where a wheel would have to be inside the rail, NaN above it.
        tail: how far left of the rail's centre line the body's centre line stands at the rear hole line [m],
            (n,): positive, the tail runs to the left; negative, to the right.
    """

    gap: NDArray[np.float64]
    tail: NDArray[np.float64]


def rolled(
    car: Car, values: NDArray[np.float64], *, seats: Mapping[Station, Seat], found: Stances | None = None
) -> Rolled:
    """Return how many variations of one car stand on the rail while they follow it.

    Two plain cases: rear wheels that head left in the body (dr > 0) turn the nose to the right, and the tail
    runs to the left; a left dominant wheel that stands off lets the whole body, tail and all, to the right.

    Args:
        car: says which front wheel is dominant.
        values: dimensions of each variation, (n, p), columns in the order of `dimension_names`.
        seats: where in its play each wheel runs.
        found: their stances, where they are known already.

    Returns:
        The gaps and the tail. A car that keeps to the rail does not turn, so its rear pair rolls straight
        down the lane: the body is yawed by `-dr`, dr the rear pair's mean steer. It lies over so far that the
        innermost point of the dominant wheel, in that attitude, is at the rail's face. With x_c how far that
        point lies ahead of the rear hole line, s the dominant wheel's side (+1 left) and o its rail offset,
        `tail = x_c sin(dr) - s o`, but for what the yaw does to the wheel's innermost point, which is
        counted. Holds where the steer keeps the wheel on the rail, at a slow roll, without slip of the rear
        pair, and where no other wheel meets the rail; from the kinematics of a rolling axle (R. Rajamani,
        Vehicle Dynamics and Control, ch. 2), and the rear pair's mean as for the drift.
    """
    found = stances(car, values, seats=seats) if found is None else found
    w = wheels_of(values, seats)
    with np.errstate(invalid="ignore"):
        _, cy, cz = _yawed(found, w.cx, w.cy, w.cz)
        ux, uy, uz = _yawed(found, w.ux, w.uy, w.uz)
        height, half_rail = values[:, _INDEX["rail.height"]], 0.5 * values[:, _INDEX["rail.width"]]
        inset = inset_of(
            cy=cy, cz=cz + found.rear, ux=ux, uy=uy, uz=uz, radius=w.radius, half=w.half, low=0.0, high=height
        )
    tail = car.dominant.side * (half_rail - inset[_STATIONS.index(car.dominant)])
    side = np.array([station.side for station in _STATIONS], dtype=np.float64)[:, None]
    return Rolled(gap=inset + side * tail - half_rail, tail=tail)


def _yawed(
    found: Stances, x: NDArray[np.float64], y: NDArray[np.float64], z: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Turn body-frame directions into their stance, Ry(pitch) Rx(roll), then by -dr about the vertical."""
    level = np.cos(found.roll) * y - np.sin(found.roll) * z
    above = np.sin(found.roll) * y + np.cos(found.roll) * z
    along = np.cos(found.pitch) * x - np.sin(found.pitch) * above
    cosine, sine = np.cos(found.rear_steer), np.sin(found.rear_steer)
    return (
        cosine * along + sine * level,
        cosine * level - sine * along,
        np.sin(found.pitch) * x + np.cos(found.pitch) * above,
    )


def _trace_basis(reading: Reading) -> NDArray[np.float64]:
    """Return contrasts of a trace's points that its free start and heading cannot change, (k - 2, k)."""
    x = np.array([point[0] for point in reading.trace])
    free = np.stack((np.ones_like(x), x / np.ptp(x)), axis=1)
    whole, _ = np.linalg.qr(free, mode="complete")
    return np.ascontiguousarray(whole[:, 2:].T)


@dataclass(frozen=True, slots=True)
class ReadingModel:
    """A car on the bench with the readings taken of it.

    Attributes:
        car: gives masses and which front wheel is dominant.
        seats: where in its play each wheel runs.
        readings: the readings.
    """

    car: Car
    seats: Mapping[Station, Seat]
    readings: Sequence[Reading]

    def observed(self) -> NDArray[np.float64]:
        """Return what was read, one number a channel, shape (m,); a trace of k points has k - 2 channels."""
        parts = [
            _trace_basis(reading) @ np.array([point[1] for point in reading.trace])
            if reading.trace
            else np.array([reading.quantity.value])
            for reading in self.readings
        ]
        return np.concatenate(parts) if parts else np.zeros(0)

    def owners(self) -> tuple[Reading, ...]:
        """Return the reading that each channel belongs to."""
        return tuple(
            reading
            for reading in self.readings
            for _ in range(len(reading.trace) - 2 if reading.trace else 1)
        )

    def noise(self) -> NDArray[np.float64]:
        """Return the covariance of the channels, (m, m): own errors, and those shared within a set-up."""
        owners = self.owners()
        covariance = np.diag([owner.quantity.uncertainty**2 for owner in owners])
        for row, first in enumerate(owners):
            for column, second in enumerate(owners):
                if first.set_up and first.set_up == second.set_up and not (first.trace or second.trace):
                    covariance[row, column] += first.common * second.common
        return covariance

    def predict(self, values: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return what each channel would show on each of n cars.

        Args:
            values: dimensions, shape (n, p), columns in the order of `dimension_names`.

        Returns:
            Shape (n, m); an absurdly large number where a car could not show that reading at all.
        """
        found = stances(self.car, values, seats=self.seats)
        on_rail = None
        if any(reading.kind in _ROLLED for reading in self.readings):
            on_rail = rolled(self.car, values, seats=self.seats, found=found)
        columns = [self._channels(reading, values, found, on_rail) for reading in self.readings]
        out = np.concatenate(columns, axis=1) if columns else np.zeros((len(values), 0))
        out[found.carrying < 0] = _IMPOSSIBLE
        return np.nan_to_num(out, nan=_IMPOSSIBLE)

    def check(self, values: NDArray[np.float64]) -> None:
        """Refuse readings that the car, as it is described, could not show.

        Args:
            values: its dimensions, shape (p,).

        Raises:
            ReadingUnusable: a reading is impossible on this car.
        """
        for reading in self.readings:
            run = values[_INDEX["board.length"]] if reading.distance is None else reading.distance
            if reading.kind is ReadingKind.DRIFT and not reading.trace and abs(reading.quantity.value) >= run:
                raise ReadingUnusable(
                    "the car drifts no less than it runs",
                    mend="check the reading's unit, and board.length in the car file",
                    key=reading.where,
                )
        shown = self.predict(values[None, :])[0]
        for reading, channel in zip(self.owners(), shown, strict=True):
            if channel == _IMPOSSIBLE:
                raise ReadingUnusable(
                    "the car that the file describes cannot show this reading: the wheel stands above the "
                    "rail or the block, or the car turns too sharply for the board",
                    mend="check the heights, the rail and the bend in the car file",
                    key=reading.where,
                )

    def _channels(
        self, reading: Reading, values: NDArray[np.float64], found: Stances, on_rail: Rolled | None
    ) -> NDArray[np.float64]:
        kind = reading.kind
        if kind is ReadingKind.DRIFT:
            return _drift(reading, values, found)
        if kind is ReadingKind.HEIGHT_DIFFERENCE:
            one = found.height_difference
        elif kind is ReadingKind.RAIL_OFFSET:
            one = found.rail_offset
        elif kind is ReadingKind.BLOCK_OFFSET:
            one = self._block_offset(reading, values)
        elif kind is ReadingKind.RAIL_CLEARANCE:
            one = self._rail_clearance(reading, found)
        elif on_rail is not None and kind is ReadingKind.ROLL_CLEARANCE:
            one = on_rail.gap[_STATIONS.index(reading.station or self.car.dominant)]
        elif on_rail is not None and kind is ReadingKind.TAIL_OFFSET:
            one = on_rail.tail
        else:
            one = self._direct(reading, values)
        return one[:, None]

    def _rail_clearance(self, reading: Reading, found: Stances) -> NDArray[np.float64]:
        """Inner edge to rail with the car moved over until its dominant wheel touches the rail."""
        station = reading.station or self.car.dominant
        gap = found.rail_gap[_STATIONS.index(station)]
        # Moving the dominant wheel in by its offset takes as much from its own side as it gives the other.
        toward = 1.0 if station.side != self.car.dominant.side else -1.0
        moved: NDArray[np.float64] = gap + toward * found.rail_offset
        return moved

    def _block_offset(self, reading: Reading, values: NDArray[np.float64]) -> NDArray[np.float64]:
        """The dominant wheel against a block under the body: it hangs, and the hand sets its seat."""
        seats = dict(self.seats)
        if reading.seat is not None:
            seats[self.car.dominant] = reading.seat
        w = wheels_of(values, seats, hangs=True)
        inset = inset_of(
            cy=w.cy,
            cz=w.cz,
            ux=w.ux,
            uy=w.uy,
            uz=w.uz,
            radius=w.radius,
            half=w.half,
            low=-reading.thickness,
            high=0.0,
        )[_STATIONS.index(self.car.dominant)]
        width = values[:, _INDEX["rail.width"]] if reading.width is None else reading.width
        offset: NDArray[np.float64] = inset - 0.5 * width
        return offset

    def _direct(self, reading: Reading, values: NDArray[np.float64]) -> NDArray[np.float64]:
        """Readings of a single dimension: tip sweep, daylight, size."""
        if reading.kind is ReadingKind.SIZE:
            return values[:, _INDEX[reading.dimension]]
        station = reading.station or self.car.dominant
        distance = reading.distance or 0.0
        if reading.kind is ReadingKind.TIP_SWEEP:
            # The tip of a pin rolled on its straight part swings as far above the axis as below it.
            swing: NDArray[np.float64] = 2.0 * distance * np.sin(values[:, _INDEX[f"{station.value}.bend"]])
            return swing
        angle = values[:, _INDEX[f"{station.value}.{reading.plane}"]]
        gap: NDArray[np.float64] = distance * (np.tan(angle) - np.tan(reading.against))
        return gap

    def block_correction(
        self, values: NDArray[np.float64], root: NDArray[np.float64], reading: Reading
    ) -> tuple[float, float]:
        """Return the rail offset less the block offset that the model gives for the same car [m].

        Args:
            values: the car's dimensions, shape (p,).
            root: what is not known of them, (p, q).
            reading: the reading on the block.

        Returns:
            What must be added to the reading on the block to have the rail offset, and its standard
            uncertainty.
        """

        def correction(rows: NDArray[np.float64]) -> NDArray[np.float64]:
            rail = stances(self.car, rows, seats=self.seats).rail_offset
            difference: NDArray[np.float64] = rail - self._block_offset(reading, rows)
            return difference[:, None]

        value, slopes = derivatives(correction, values, root.T)
        return float(value[0]), float(np.sqrt(np.sum(slopes**2)))


def _drift(reading: Reading, values: NDArray[np.float64], found: Stances) -> NDArray[np.float64]:
    if reading.trace:
        x = np.array([point[0] for point in reading.trace])
        path = drift_along(
            curvature=found.curvature[:, None],
            rear_steer=found.rear_steer[:, None],
            watched=found.watched[:, None],
            board=np.broadcast_to(x, (len(values), len(x))),
        )
        contrasts: NDArray[np.float64] = path @ _trace_basis(reading).T
        return contrasts
    if reading.distance is None:
        return found.drift[:, None]
    return drift_along(
        curvature=found.curvature,
        rear_steer=found.rear_steer,
        watched=found.watched,
        board=np.full(len(values), reading.distance),
    )[:, None]


def derivatives(
    function: Callable[[NDArray[np.float64]], NDArray[np.float64]],
    values: NDArray[np.float64],
    directions: NDArray[np.float64],
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return results and their directional derivatives by central differences, all in one batch.

    Args:
        function: maps rows of dimensions, (n, p), to rows of results, (n, m).
        values: where to take them, shape (p,).
        directions: shape (q, p); each row is a change of the dimensions [m, rad].

    Returns:
        The results at `values`, (m,), and the change of each along each direction, (m, q). The
        largest move of any dimension is 2 micrometres or microradians, where the geometry's own
        curvature is far below rounding error. On the edge of what a car can show the difference is taken
        to the side that it can; NaN where neither side can.
    """
    size = np.abs(directions).max(axis=1)
    step = _STEP / np.where(size > 0.0, size, 1.0)
    moved = directions * step[:, None]
    count = len(directions)
    found = function(np.concatenate((values + moved, values - moved, values[None, :])))
    here = found[-1]
    ahead, behind = (np.where(side == _IMPOSSIBLE, np.nan, side) for side in (found[:count], found[count:-1]))
    no_step_ahead, no_step_behind = np.isnan(ahead), np.isnan(behind)
    both = np.where(no_step_ahead | no_step_behind, 1.0, 2.0)
    change = np.where(no_step_ahead, here, ahead) - np.where(no_step_behind, here, behind)
    change = np.where(no_step_ahead & no_step_behind, np.nan, change)
    slopes: NDArray[np.float64] = (change / (both * step[:, None])).T
    return here, slopes
