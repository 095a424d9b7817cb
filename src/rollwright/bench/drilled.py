"""The drill gate: is a drilled body good enough, from what pin, straight-edge and caliper say of its holes.

It rests on direct readings alone. What the bench infers of a hole from drift or height is no check of it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations

from rollwright.bench.agreed import DOUBTFUL
from rollwright.bench.as_readings import reading_of
from rollwright.bench.codec import Recorded
from rollwright.bench.events import DaylightCheck, HoleDrilled, ReadingTaken, Seen
from rollwright.bench.gates import Item, Standing
from rollwright.car.dimensions import dimension_of
from rollwright.car.model import Car, Station, is_assumed
from rollwright.judge.verdict import State, judge
from rollwright.quantity import Quantity, scattered
from rollwright.setup.reading_keys import (
    DEFAULT_DISTANCE,
    DEFAULT_UNCERTAINTY,
    DEFAULT_UNCERTAINTY_OF_ANGLE,
)
from rollwright.setup.readings import Reading, ReadingKind
from rollwright.units import Kind

__all__ = ["drill_items", "meant_of"]

_ANGLES = ("cant", "sweep")
_PLANES = (*_ANGLES, "hole_height")
_WORDS = {"cant": "cant", "sweep": "sweep", "hole_height": "hole height"}


_NO_GAP = 0.005e-3
"""A gap at a straight-edge that is as good as none [m]: below the thinnest feeler."""
_ASSUMED = "tolerance assumed: say what your class or plan allows under [drill]"
_DAYLIGHT = "daylight shows and was not measured"
_IDLE = "its wheel does not carry"


@dataclass(frozen=True, slots=True)
class _Found:
    """How far something is off what was meant [rad or m], its standard uncertainty, and what is odd of it."""

    off: float
    uncertainty: float
    read_at: int
    remark: str = ""


@dataclass(frozen=True, slots=True)
class _Open:
    """Why what was read of something tells nothing yet."""

    why: str
    read_at: int


@dataclass(frozen=True, slots=True)
class _Told:
    """What one reading says [rad or m], and of its uncertainty what it shares with its set-up's others."""

    read_at: int
    value: float
    uncertainty: float
    common: float
    set_up: str
    scattered: bool


@dataclass(slots=True)
class _Hole:
    """One hole: what was aimed at, what was read of it since, and daylight that nobody measured."""

    aimed: dict[str, float] = field(default_factory=dict)
    read: dict[str, list[_Told]] = field(default_factory=dict)
    seen: dict[str, int] = field(default_factory=dict)

    def take(self, plane: str, told: _Told) -> None:
        """Keep a reading; it decides what daylight was seen and not measured before it."""
        self.seen.pop(plane, None)
        self.read.setdefault(plane, []).append(told)

    def see(self, plane: str, seq: int, *, against: float, distance: float) -> None:
        """Note daylight that nobody measured; where a gap was felt before, it is no news."""
        readings = self.read.get(plane, [])

        def gap(told: _Told) -> float:
            return abs(distance * (math.tan(told.value) - math.tan(against)))

        if not readings or gap(readings[-1]) < _NO_GAP:
            self.seen[plane] = seq
            # Daylight there now: whoever saw none did not look well.
            self.read[plane] = [told for told in readings if gap(told) >= _NO_GAP]

    def found(self, plane: str, meant: float) -> _Found | _Open | None:
        """Return the weighted mean of the readings less what was meant; or why they tell nothing."""
        if plane in self.seen:
            return _Open(_DAYLIGHT, self.seen[plane])
        readings = self.read.get(plane)
        if not readings:
            return None
        value, size, chance = _together(readings)
        if chance < DOUBTFUL:
            return _Open(_discord(readings), readings[-1].read_at)
        wild = [str(told.read_at) for told in readings if told.scattered]
        remark = ""
        if wild:
            remark = (
                f"the repeats of entry {' and '.join(wild)} scatter far beyond the gauge, and that counts"
            )
        return _Found(value - meant, size, readings[-1].read_at, remark)


def _mean(parts: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """Return the mean of independent values, weighted by their uncertainties, and its uncertainty."""
    weights = [size**-2 for _, size in parts]
    total = math.fsum(weights)
    mean = math.fsum(weight * value for weight, (value, _) in zip(weights, parts, strict=True))
    return mean / total, total**-0.5


def _together(readings: Sequence[_Told]) -> tuple[float, float, float]:
    """Return the weighted mean of readings, its uncertainty, and the chance of their disagreement.

    The sum of squares about the mean is `sum (x - m_s)^2 / u^2` within each set-up s and
    `sum (m_s - m)^2 / (u_s^2 + c_s^2)` among them, c what a set-up shares; it has n - 1 degrees of freedom
    (least squares with known covariance, e.g. JCGM 102:2011).
    """
    set_ups: dict[str, list[_Told]] = {}
    for one in readings:
        set_ups.setdefault(one.set_up or f"entry {one.read_at}", []).append(one)
    means, squares = [], []
    for together in set_ups.values():
        value, size = _mean([(one.value, one.uncertainty) for one in together])
        squares += [((one.value - value) / one.uncertainty) ** 2 for one in together]
        means.append((value, math.hypot(size, max(one.common for one in together))))
    value, size = _mean(means)
    if len(readings) == 1:
        return value, size, 1.0
    squares += [((each - value) / spread) ** 2 for each, spread in means]
    from scipy.special import chdtrc  # noqa: PLC0415 - costs start-up time

    return value, size, float(chdtrc(len(readings) - 1, math.fsum(squares)))


def _discord(readings: Sequence[_Told]) -> str:
    """Return which readings disagree and how to settle it: the odd one out where the others agree."""
    if len(readings) > 2:
        rests = [_together([*readings[:place], *readings[place + 1 :]]) for place in range(len(readings))]
        chances = [chance for _, _, chance in rests]
        odd = max(range(len(readings)), key=chances.__getitem__)
        # Two that agree with one each leave it open which of them is wrong.
        if chances[odd] >= DOUBTFUL and sum(chance >= DOUBTFUL for chance in chances) == 1:
            others = _listed([one.read_at for one in readings if one is not readings[odd]])
            return f"reading {readings[odd].read_at} disagrees with {others}; take it back if it is wrong"
    pairs = [(_together(pair)[2], pair) for pair in combinations(readings, 2)]
    _, (first, second) = min(pairs, key=lambda each: each[0])
    return f"readings {first.read_at} and {second.read_at} disagree; read it again"


def _listed(numbers: Sequence[int]) -> str:
    return f"{', '.join(map(str, numbers[:-1]))} and {numbers[-1]}"


def drill_items(counting: Sequence[Recorded], car: Car) -> tuple[Item, ...]:
    """Return the lines of the drill gate.

    Args:
        counting: the car's entries that count, in order.
        car: as its file describes it; the file says what was meant where no drilling says what was aimed at.

    Returns:
        For each hole its cant and sweep off what was meant, and its height where that was read; then the
        rear pair's heading, left against right and front against rear, where both sides were read. An angle
        comes from a gap g that was read at a distance L: `atan(tan(against) + g / L)`. Readings of one
        thing are independent but for what those of one set-up share; where the chance that they differ as
        much is below 1 %, they tell nothing until one is taken back. Nor does a look that found none, once
        daylight was seen there. The three holes whose wheels carry are needed; what is not as it should be
        of the fourth is said, and its line has no state, so that it fails no body.
    """
    holes = {station: _Hole() for station in Station}
    for entry in counting:
        _take(holes, entry)
    found: dict[tuple[Station, str], _Found] = {}
    items: list[Item] = []
    for station in Station:
        hole = holes[station]
        for plane in _PLANES:
            meant = hole.aimed.get(plane, dimension_of(car, f"{station.value}.{plane}").value)
            off = hole.found(plane, meant)
            needed = plane in _ANGLES and station is not car.raised
            name = f"{station.words} {_WORDS[plane]}"
            if isinstance(off, _Found):
                found[station, plane] = off
                item = _judged(name, off, getattr(car.drill, plane), needed=needed)
            elif off is not None:
                item = _untold(name, off, needed=needed)
            elif needed:
                item = Item(name=name, standing=Standing.NEVER_READ)
            else:
                continue
            items.append(_idle(item) if station is car.raised else item)
    items += [_judged(name, off, tolerance, needed=False) for name, off, tolerance in _pairs(found, car)]
    return tuple(items)


def _judged(name: str, off: _Found, tolerance: Quantity, *, needed: bool) -> Item:
    verdict = judge(value=off.off, uncertainty=off.uncertainty, low=-tolerance.value, high=tolerance.value)
    remarks = [off.remark] if off.remark else []
    if verdict.state is State.FAIL and is_assumed(tolerance):
        remarks.append(_ASSUMED)
    return Item(
        name=name,
        standing=Standing.HOLDS,
        state=verdict.state,
        words="; ".join(remarks),
        kind=Kind.LENGTH if "height" in name else Kind.ANGLE,
        verdict=verdict,
        read_at=off.read_at,
        needed=needed,
    )


def _untold(name: str, off: _Open, *, needed: bool) -> Item:
    return Item(
        name=name,
        standing=Standing.HOLDS,
        state=State.UNCLEAR,
        words=off.why,
        read_at=off.read_at,
        needed=needed,
    )


def _idle(item: Item) -> Item:
    """Return a line of the hole whose wheel does not carry: bad or not, no body is scrapped for it."""
    if item.state is State.PASS:
        return item
    why = item.words or "cannot tell yet"
    if item.state is State.FAIL:
        why = "bad"
    return replace(item, state=None, words=f"{why}, but {_IDLE}")


def _take(holes: Mapping[Station, _Hole], entry: Recorded) -> None:
    """Note what an entry says of a hole; a hole that is drilled anew forgets what was read of it."""
    event = entry.event
    if isinstance(event, HoleDrilled):
        hole = holes[event.station]
        hole.read, hole.seen = {}, {}
        aimed = {"cant": event.cant, "sweep": event.sweep, "hole_height": event.hole_height}
        hole.aimed = {plane: value for plane, value in aimed.items() if value is not None}
    elif isinstance(event, DaylightCheck) and event.seen is Seen.SEEN:
        holes[event.station].see(
            event.plane.value,
            entry.seq,
            against=event.against or 0.0,
            distance=DEFAULT_DISTANCE if event.distance is None else event.distance,
        )
    elif isinstance(event, DaylightCheck | ReadingTaken):
        reading = reading_of(event, number=entry.seq)
        told = None if reading is None else _direct(reading)
        if reading is not None and told is not None:
            station, plane, value, scale = told
            gauge = _gauge(event, reading)
            spread = scattered(reading.quantity.repeats, gauge=gauge)
            size = reading.quantity.uncertainty if spread is None else math.hypot(spread, gauge)
            one = _Told(
                read_at=entry.seq,
                value=value,
                uncertainty=scale * size,
                common=scale * reading.common,
                set_up=reading.set_up,
                scattered=spread is not None,
            )
            holes[station].take(plane, one)


def _gauge(event: DaylightCheck | ReadingTaken, reading: Reading) -> float:
    """Return the standard uncertainty of what a hole was read with [rad or m], the repeats left aside."""
    if event.uncertainty is not None:
        return event.uncertainty
    angle = reading.kind is ReadingKind.SIZE and not reading.dimension.endswith("hole_height")
    return DEFAULT_UNCERTAINTY_OF_ANGLE if angle else DEFAULT_UNCERTAINTY[reading.kind]


def _direct(reading: Reading) -> tuple[Station, str, float, float] | None:
    """Return of a reading its hole, its plane, the value [rad or m], and its slope along what was read."""
    quantity = reading.quantity
    if reading.kind is ReadingKind.SIZE:
        head, _, plane = reading.dimension.partition(".")
        if plane not in _PLANES:
            return None
        return Station(head), plane, quantity.value, 1.0
    if reading.kind is ReadingKind.DAYLIGHT and reading.station is not None and reading.distance:
        slope = math.tan(reading.against) + quantity.value / reading.distance
        return (
            reading.station,
            reading.plane,
            math.atan(slope),
            1.0 / reading.distance / (1.0 + slope * slope),
        )
    return None


def meant_of(counting: Sequence[Recorded], car: Car, station: Station, plane: str) -> float:
    """Return what a hole was meant to be.

    Args:
        counting: the car's entries that count, in order.
        car: as its file describes it.
        station: which hole.
        plane: `cant`, `sweep` or `hole_height`.

    Returns:
        What the last drilling aimed at, or else what the car file says [rad or m].
    """
    holes = {at: _Hole() for at in Station}
    for entry in counting:
        if isinstance(entry.event, HoleDrilled):
            _take(holes, entry)
    return holes[station].aimed.get(plane, dimension_of(car, f"{station.value}.{plane}").value)


def _pairs(found: Mapping[tuple[Station, str], _Found], car: Car) -> Iterator[tuple[str, _Found, Quantity]]:
    """Yield what two or three holes are off together: name, how far, and the tolerance."""
    left, right = Station.REAR_LEFT, Station.REAR_RIGHT

    def together(weights: Mapping[tuple[Station, str], float]) -> _Found | None:
        parts = [(weight, found.get(key)) for key, weight in weights.items()]
        told = [(weight, part) for weight, part in parts if part is not None]
        if len(told) < len(parts):
            return None
        return _Found(
            math.fsum(weight * part.off for weight, part in told),
            math.hypot(*(weight * part.uncertainty for weight, part in told)),
            max(part.read_at for _, part in told),
        )

    # An outer end that is swept forward turns a left wheel to the right and a right wheel to the left.
    sets = (
        ("rear pair's heading", {(left, "sweep"): -0.5, (right, "sweep"): 0.5}, car.drill.sweep),
        ("rear left against right height", _two(left, right), car.drill.hole_height),
        (
            "front against rear height",
            {
                (car.dominant, "hole_height"): 1.0,
                (left, "hole_height"): -0.5,
                (right, "hole_height"): -0.5,
            },
            car.drill.hole_height,
        ),
    )
    for name, weights, tolerance in sets:
        off = together(weights)
        if off is not None:
            yield name, off, tolerance


def _two(first: Station, second: Station) -> dict[tuple[Station, str], float]:
    return {(first, "hole_height"): 1.0, (second, "hole_height"): -1.0}
