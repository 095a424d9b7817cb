"""Newton's method on the exact geometry, for many plans of one body at once."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from rollwright.car.dimensions import dimension_names
from rollwright.car.model import Car, Seat, Station
from rollwright.geometry.many import Stances, dimension_values, stances
from rollwright.geometry.many_wheels import SIDES, wheels_of
from rollwright.geometry.seat import SEAT_ROUNDS, infer_seat

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = [
    "CUT",
    "DOWN",
    "DRIFT",
    "FORWARD",
    "FRONT",
    "HEIGHT",
    "RAIL",
    "REAR",
    "RIDE",
    "TRIM",
    "Blank",
    "Tie",
    "steadied",
]

REAR, FRONT, DOWN, FORWARD, TRIM, CUT = range(6)
"""Columns of a row of settings: rear and dominant hole heights [m]; how far the dominant shank is carried
down and forward out of square [rad]; how far its wheel is moved out by washers, or in by relief [m]; and the
relief that is cut already and does not come back, so that washers make up for it [m]."""

HEIGHT, DRIFT, RAIL, RIDE = range(4)
"""Columns of a row of figures: height difference, drift, rail offset and rear underside height [m]."""

_INDEX = {name: index for index, name in enumerate(dimension_names())}
_STATIONS = tuple(Station)
_STEPS = 16
_SETTLED = 1e-11
_GOOD = 3e-10
_PROBE = 1e-6
_LONGEST = np.array([5e-3, 5e-3, 0.1, 0.1, 5e-3, 5e-3])
_SEAT_ROUNDS = 4
_CLEAR = 5e-3
_STEADY_MASS = 1e3


@dataclass(frozen=True, slots=True)
class Tie:
    """Holds the size of the bend: `bend` [rad] of each row, NaN where it is free.

    `way` is None where its downward part follows the forward one; else the forward part follows, with the
    sign that `way` holds for each row.
    """

    bend: NDArray[np.float64]
    way: NDArray[np.float64] | None = None

    def apply(self, x: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return rows of settings with the size of the bend restored."""
        out = x.copy()
        lead, follow = (FORWARD, DOWN) if self.way is None else (DOWN, FORWARD)
        part = np.clip(out[..., lead], -self.bend, self.bend)
        rest = np.sqrt(np.maximum(self.bend**2 - part**2, 0.0))
        # A row without a size to hold keeps both its parts.
        held = ~np.isnan(self.bend)
        out[..., lead] = np.where(held, part, x[..., lead])
        out[..., follow] = np.where(held, rest if self.way is None else self.way * rest, x[..., follow])
        return out

    def of(self, rows: NDArray[np.intp]) -> Tie:
        """Return the same for some of the rows."""
        return Tie(self.bend[rows], None if self.way is None else self.way[rows])


def steadied(car: Car) -> Car:
    """Return the car with its mass above the middle of the three wheels that are meant to carry it.

    Args:
        car: the car.

    Returns:
        The same car in every dimension that stance depends on; its weights are gone.
    """
    x, y, _ = car.body.centre_of_mass
    third = car.body.wheelbase.value / 3.0
    aside = car.dominant.side * car.body.width.value / 6.0
    body = replace(
        car.body,
        mass=replace(car.body.mass, value=_STEADY_MASS),
        centre_of_mass=(replace(x, value=third), replace(y, value=aside), replace(x, value=0.0)),
    )
    return replace(car, body=body, weights={})


@dataclass(frozen=True, slots=True, kw_only=True)
class Blank:
    """A body before its holes are settled.

    Attributes:
        car: with its mass where the intended three wheels surely carry it.
        base: its dimensions, (p,); what a setting sets is overwritten.
        bent: whether a bent axle steers; False: the dominant hole is drilled askew.
    """

    car: Car
    base: NDArray[np.float64]
    bent: bool

    @classmethod
    def of(cls, car: Car, *, bent: bool) -> Blank:
        """Return the blank of a car, its raised hole well out of the way."""
        steady = steadied(car)
        base = dimension_values(steady)
        heights = [_INDEX[f"{station.value}.hole_height"] for station in Station]
        base[_INDEX[f"{car.raised.value}.hole_height"]] = base[heights].max() + _CLEAR
        if not bent:
            for name in ("bend", "clock"):
                base[_INDEX[f"{car.dominant.value}.{name}"]] = 0.0
        return cls(car=steady, base=base, bent=bent)

    def column(self, name: str) -> int:
        """Return the column of one of the dominant station's dimensions."""
        return _INDEX[f"{self.car.dominant.value}.{name}"]

    def start(self) -> NDArray[np.float64]:
        """Return the setting that a search starts from, (6,): all holes as high as the rear ones."""
        rear = 0.5 * sum(
            float(self.base[_INDEX[f"{station.value}.hole_height"]])
            for station in (Station.REAR_LEFT, Station.REAR_RIGHT)
        )
        return np.array([rear, rear, 0.0, 0.0, 0.0, 0.0])

    def values(self, x: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the dimensions of rows of settings, (n, p).

        A bent pin's two parts are the size and the clock of its bend; without one they are the hole's own
        cant, turned down, and its sweep.
        """
        out = np.repeat(self.base[None, :], len(x), axis=0)
        for station in (Station.REAR_LEFT, Station.REAR_RIGHT):
            out[:, _INDEX[f"{station.value}.hole_height"]] = x[:, REAR]
        out[:, self.column("hole_height")] = x[:, FRONT]
        # The raised hole rides along, so that its wheel stays clear of the ground during a search.
        raised = _INDEX[f"{self.car.raised.value}.hole_height"]
        out[:, raised] += np.maximum(x[:, REAR], x[:, FRONT]) - self.base[self.column("hole_height")]
        if self.bent:
            out[:, self.column("bend")] = np.hypot(x[:, DOWN], x[:, FORWARD])
            out[:, self.column("clock")] = np.arctan2(x[:, FORWARD], x[:, DOWN])
        else:
            out[:, self.column("cant")], out[:, self.column("sweep")] = -x[:, DOWN], x[:, FORWARD]
        relief = np.maximum(np.maximum(-x[:, TRIM], x[:, CUT]), 0.0)
        out[:, self.column("relief")] = relief
        out[:, self.column("washer")] = np.maximum(x[:, TRIM] + relief, 0.0)
        return out

    def stances(self, x: NDArray[np.float64], seats: Mapping[Station, Seat]) -> Stances:
        """Return where the rows stand."""
        return stances(self.car, self.values(x), seats=seats)

    def figures(self, x: NDArray[np.float64], seats: Mapping[Station, Seat]) -> NDArray[np.float64]:
        """Return height difference, drift, rail offset and ride height of rows [m], (n, 4)."""
        return _figures(self.stances(x, seats))

    def stand(self, x: NDArray[np.float64]) -> tuple[list[tuple[Seat, ...] | None], NDArray[np.float64]]:
        """Return how rows stand whose wheels run where they will.

        Args:
            x: rows of settings, (n, 6).

        Returns:
            Where in its play each row's wheels run, in the order of `Station`, None where it cannot rest; and
            the figures, (n, 4). As `geometry.stance` infers the seats: from the body lying flat, then from
            the stance that they lead to.
        """
        seats = self.first_seats(x)
        out = np.full((len(x), 4), np.nan)
        todo = set(range(len(x)))
        for _ in range(SEAT_ROUNDS):
            last, todo = todo, set()
            for each, rows in _groups([one if row in last else None for row, one in enumerate(seats)]):
                found = self.stances(x[rows], dict(zip(_STATIONS, each, strict=True)))
                out[rows] = _figures(found)
                for row, new, three in zip(
                    rows.tolist(), self._inferred(found.axis), found.carrying.tolist(), strict=True
                ):
                    if three != 0:
                        seats[row] = None
                    elif new != each:
                        seats[row] = new
                        todo.add(row)
            if not todo:
                break
        return seats, out

    def first_seats(self, x: NDArray[np.float64]) -> list[tuple[Seat, ...] | None]:
        """Return where each row's wheels would run were its body level, in the order of `Station`."""
        axis = wheels_of(self.values(x), dict.fromkeys(_STATIONS, Seat.MIDDLE)).axis
        return list(self._inferred(axis))

    def _inferred(self, axis: NDArray[np.float64]) -> Iterator[tuple[Seat, ...]]:
        """Yield the seats that follow from the shanks' directions (3, 4, n), save those that are given."""
        slope = np.arcsin(np.clip(axis[2], -1.0, 1.0)).T.tolist()
        toe_in = np.arctan2(axis[0], SIDES * axis[1]).T.tolist()
        given = [self.car.corners[station].seat for station in _STATIONS]
        carried = [station is not self.car.raised for station in _STATIONS]
        for slopes, toes in zip(slope, toe_in, strict=True):
            yield tuple(
                one or infer_seat(slope=up, toe_in=toe, carried=bears).seat
                for one, up, toe, bears in zip(given, slopes, toes, carried, strict=True)
            )

    def figures_of(self, x: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the figures of rows whose wheels run where they will, (n, 4)."""
        return self.stand(x)[1]

    def solve(
        self,
        start: NDArray[np.float64],
        *,
        free: Sequence[int],
        goals: Mapping[int, float | NDArray[np.float64]],
        tie: Tie | None = None,
        settled: float = _SETTLED,
    ) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
        """Return the settings at which figures meet their goals.

        Args:
            start: rows of settings to begin at, (n, 6).
            free: columns that may change, as many as there are goals.
            goals: wanted figures by column [m], the same for all rows or one for each.
            tie: holds the size of the bend.
            settled: how near a goal is near enough [m].

        Returns:
            The settings and whether each row was found. Where the wheels run in their play is inferred anew
            from the settings that it leads to, until they agree.
        """
        wanted = np.stack(
            [np.broadcast_to(np.asarray(goal), (len(start),)) for goal in goals.values()], axis=1
        )
        x = start.copy() if tie is None else tie.apply(start)
        done = np.zeros(len(x), dtype=np.bool_)
        good = np.zeros(len(x), dtype=np.bool_)
        seats = self.first_seats(x)
        for _ in range(_SEAT_ROUNDS):
            for each, rows in _groups([None if end else one for one, end in zip(seats, done, strict=True)]):
                x[rows], off = self._newton(
                    x[rows], free, list(goals), wanted[rows], tie and tie.of(rows), each, settled
                )
                good[rows] = off <= max(_GOOD, settled)
            todo = np.flatnonzero(~done)
            anew, _ = self.stand(x[todo])
            for row, new in zip(todo.tolist(), anew, strict=True):
                done[row] = new == seats[row] or not good[row]
                seats[row] = new
            if done.all():
                break
        # Rows whose seats never agree have no answer: wherever a wheel is taken to run, it runs elsewhere.
        return x, good & done

    def _newton(
        self,
        start: NDArray[np.float64],
        free: Sequence[int],
        columns: Sequence[int],
        wanted: NDArray[np.float64],
        tie: Tie | None,
        seats: Sequence[Seat],
        settled: float,
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Return the best settings found for fixed seats and how far each is off [m]."""
        by_station = dict(zip(_STATIONS, seats, strict=True))
        n, k = len(start), len(free)
        x = best = start
        least = np.full(n, np.inf)
        step = np.zeros_like(x)
        for _ in range(_STEPS):
            probes = np.repeat(x[None], k + 1, axis=0)
            for number, column in enumerate(free):
                probes[number + 1, :, column] += _PROBE
            tied = probes if tie is None else tie.apply(probes)
            found = self.figures(tied.reshape(-1, 6), by_station)[:, columns].reshape(k + 1, n, k)
            off = np.abs(wanted - found[0]).max(axis=1)
            lost = np.isnan(found.sum(axis=(0, 2)))
            better = ~lost & (off < least)
            gained = np.where(better, least - off, 0.0)
            best = np.where(better[:, None], x, best)
            least = np.where(better, off, least)
            # Close to the end rounding decides; a row that no longer gains there is as good as it gets.
            if np.all((least < settled) | ((least < _GOOD) & (gained < 0.5 * least))):
                break
            slopes = np.moveaxis((found[1:] - found[0]) / _PROBE, 0, 2)
            slopes[lost] = np.eye(k)
            error = np.where(lost[:, None], 0.0, wanted - found[0])
            wish = np.zeros_like(x)
            wish[:, free] = _solved(slopes, error)
            wish /= np.maximum(1.0, (np.abs(wish) / _LONGEST).max(axis=1))[:, None]
            # A row that has left what a car can show goes back most of its last step.
            wish[lost] = -0.75 * step[lost]
            step = np.where(lost[:, None], 0.25 * step, wish)
            x = x + wish if tie is None else tie.apply(x + wish)
        return best, least


def _figures(found: Stances) -> NDArray[np.float64]:
    out = np.stack((found.height_difference, found.drift, found.rail_offset, found.rear), axis=1)
    return np.where(found.carrying[:, None] == 0, out, np.nan)


def _solved(slopes: NDArray[np.float64], error: NDArray[np.float64]) -> NDArray[np.float64]:
    try:
        return np.asarray(np.linalg.solve(slopes, error[:, :, None])[:, :, 0], dtype=np.float64)
    except np.linalg.LinAlgError:
        # One flat slope among many rows must not stop the others.
        return np.asarray(np.einsum("nij,nj->ni", np.linalg.pinv(slopes), error), dtype=np.float64)


def _groups(
    seats: Sequence[tuple[Seat, ...] | None],
) -> list[tuple[tuple[Seat, ...], NDArray[np.intp]]]:
    """Return the rows that share their seats; rows without any are left out."""
    found: dict[tuple[Seat, ...], list[int]] = {}
    for row, each in enumerate(seats):
        if each is not None:
            found.setdefault(each, []).append(row)
    return [(each, np.array(rows, dtype=np.intp)) for each, rows in found.items()]
