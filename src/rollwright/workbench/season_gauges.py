"""What the gauges of the demo club show of a hidden true car, as its builder writes it down."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from rollwright.bench import (
    Clearance,
    DaylightCheck,
    Inspected,
    Plane,
    ReadingTaken,
    ScaleReading,
    Seen,
    SlowRoll,
    SlowRollSeen,
    Weighed,
)
from rollwright.car.dimensions import dimension_names, dimension_of
from rollwright.car.model import Seat, Station
from rollwright.geometry.ledger import ledger_of
from rollwright.geometry.many import drift_along, wheels_of
from rollwright.geometry.stance import stance
from rollwright.judge.class_rules import NONE, Rule
from rollwright.quantity import Quantity
from rollwright.setup.balance import balance_of
from rollwright.setup.predict import ReadingModel, rolled
from rollwright.setup.readings import Reading, ReadingKind
from rollwright.units import Kind, System, as_inch_fraction, parse
from rollwright.workbench.log_reading import reading_event
from rollwright.workbench.season_bench import Bench, Body, amount

if TYPE_CHECKING:
    from rollwright.bench import Event

__all__ = ["inspected", "pin_checked", "read", "read_by_block", "read_by_trace", "rolled_slowly", "weighed"]

_MM = 1e-3
_INDEX = {name: index for index, name in enumerate(dimension_names())}
_STATIONS = tuple(Station)

_STRAIGHT_EDGE = "40 mm"
"""Side face to where daylight is read."""
_NO_DAYLIGHT = 0.07 * _MM
"""Gap under which the eye sees none."""
_LEANS = math.radians(0.5)
"""Angle from which a hole is meant to lean, and is read with a protractor."""
_FEELER = 0.03 * _MM
_PROTRACTOR = math.radians(0.06)
_GAP = 0.04 * _MM
_BLOCK = 0.05 * _MM
_BOARD = 2.5 * _MM
_FROM_RUN_TO_RUN = 1.0 * _MM
_POINT = 1.0 * _MM
_PEN = (250, 500, 750, 1000)
"""Where a trace's points are read off the board [mm]."""
_TAIL = 0.8 * _MM
"""Tail that the eye sees."""
_SCALE = 0.05e-3
_REPEATS = 3
_INSTRUMENTS = {
    ReadingKind.HEIGHT_DIFFERENCE: "screw gauge",
    ReadingKind.DRIFT: "tuning board",
    ReadingKind.RAIL_OFFSET: "rail gauge and feelers",
    ReadingKind.BLOCK_OFFSET: "centring block",
}


def pin_checked(bench: Bench, body: Body, station: Station, plane: Plane) -> DaylightCheck:
    """Return what a pin in a hole shows: an angle where the hole is meant to lean, else daylight.

    Args:
        bench: who looks.
        body: at what.
        station: at which hole.
        plane: which way.

    Returns:
        The entry.
    """
    name = f"{station.value}.{plane.value}"
    true = float(body.truth.values[_INDEX[name]])
    ways = ("up", "down") if plane is Plane.CANT else ("forward", "backward")
    if abs(dimension_of(body.car, name).value) > _LEANS:
        shown = true + bench.noise(_PROTRACTOR)
        nearest = 0.05 * round(math.degrees(abs(shown)) / 0.05)
        text, size = amount(nearest, "deg", kind=Kind.ANGLE)
        return DaylightCheck(
            station=station,
            plane=plane,
            seen=Seen.ANGLE,
            size=math.copysign(size, shown),
            uncertainty=parse("0.06 deg", kind=Kind.ANGLE),
            instrument="protractor",
            written=f"{text} {ways[shown < 0.0]}",
        )
    distance = parse(_STRAIGHT_EDGE, kind=Kind.LENGTH)
    gap = distance * math.tan(true) + bench.noise(_FEELER)
    if abs(gap) < _NO_DAYLIGHT:
        return DaylightCheck(station=station, plane=plane, seen=Seen.NONE, distance=distance)
    text, size = amount(abs(gap) / _MM, "mm")
    return DaylightCheck(
        station=station,
        plane=plane,
        seen=Seen.FEELER,
        size=math.copysign(size, gap),
        distance=distance,
        uncertainty=parse("0.03 mm", kind=Kind.LENGTH),
        instrument="straight-edge and feelers",
        written=f"{text} {ways[gap < 0.0]}",
    )


def _shown(body: Body, reading: Reading) -> float:
    """Return what a gauge without any error would show [m]."""
    model = ReadingModel(body.truth.car, body.truth.seats(), [reading])
    return float(model.predict(body.truth.values[None, :])[0, 0])


def _plain(kind: ReadingKind, *, seat: Seat | None = None) -> Reading:
    quantity = Quantity(value=0.0, uncertainty=_GAP)
    return Reading(kind=kind, quantity=quantity, where=kind.words, thickness=12.0 * _MM, seat=seat)


def _sided(bench: Bench, value: float) -> str:
    """Return a drift as it is read off the board, to a millimetre or a sixteenth of an inch."""
    side = "left" if value > 0.0 else "right"
    if bench.builder.system is System.INCH:
        return f"{as_inch_fraction(abs(value), denominator=16)} in {side}"
    return f"{abs(value) / _MM:.0f} mm {side}"


def _small(bench: Bench, value: float) -> str:
    """Return a gap or a height as it is read off its gauge, to a hundredth or a thousandth of an inch."""
    if bench.builder.system is System.INCH:
        return amount(value / 25.4e-6, "thou", digits=0)[0]
    return amount(value / _MM, "mm")[0]


def read(bench: Bench, body: Body, kind: ReadingKind) -> ReadingTaken:
    """Return a reading of a height difference, a drift with its repeats, or a rail offset.

    Args:
        bench: who reads.
        body: what is read.
        kind: what is read of it.

    Returns:
        The entry.
    """
    true = _shown(body, _plain(kind))
    inches = bench.builder.system is System.INCH
    if kind is ReadingKind.DRIFT:
        # The board's own error is in every run alike.
        middle = true + bench.noise(_BOARD)
        values = [_sided(bench, middle + bench.noise(_FROM_RUN_TO_RUN)) for _ in range(_REPEATS)]
        uncertainty = "0.1 in" if inches else "2.5 mm"
    else:
        values = [_small(bench, true + bench.noise(_GAP))]
        uncertainty = "1.6 thou" if inches else "0.04 mm"
    keys = {"uncertainty": uncertainty, "instrument": _INSTRUMENTS[kind]}
    return reading_event(kind.value, values, keys)


def read_by_block(bench: Bench, body: Body) -> ReadingTaken:
    """Return a reading of the rail offset on the centring block, the wheel held against the body."""
    kind = ReadingKind.BLOCK_OFFSET
    shown = _shown(body, _plain(kind, seat=Seat.BODY)) + bench.noise(_BLOCK)
    keys = {"uncertainty": "0.05 mm", "thickness": "12 mm", "seat": "body", "instrument": _INSTRUMENTS[kind]}
    return reading_event(kind.value, [_small(bench, shown)], keys)


def read_by_trace(bench: Bench, body: Body) -> ReadingTaken:
    """Return a drift as the points that a pen left on the board, the car set down a little askew."""
    found = body.stands()
    down = np.array([0, *_PEN]) * _MM
    path = drift_along(
        curvature=found.curvature[:, None],
        rear_steer=found.rear_steer[:, None],
        watched=found.watched[:, None],
        board=down[None, :],
    )[0]
    start, askew = bench.noise(1.0 * _MM), bench.noise(0.003)
    trace = []
    for x, y in zip(down, path, strict=True):
        shown = float(y) + start + askew * float(x) + bench.noise(_POINT)
        trace.append(f"{x / _MM:.0f} mm {_sided(bench, shown)}")
    keys = {"uncertainty": "1 mm", "instrument": "pen on the tuning board"}
    return reading_event(ReadingKind.DRIFT.value, [], keys, trace=trace)


def weighed(bench: Bench, body: Body, where: Weighed) -> ScaleReading:
    """Return what the club's scale shows of the car, or of one end of it."""
    balance = balance_of(ledger_of(body.truth.car), stance(body.truth.car))
    if where is Weighed.WHOLE:
        true = balance.mass.value + body.heavier
    else:
        front = where is Weighed.FRONT
        true = math.fsum(load.value for at, load in balance.loads.items() if at.is_front is front)
    text, mass = amount((true + bench.noise(_SCALE)) * 1e3, "g", kind=Kind.MASS, digits=1)
    return ScaleReading(
        where=where,
        mass=mass,
        uncertainty=parse("0.1 g", kind=Kind.MASS),
        instrument="club scale",
        written=text,
    )


def rolled_slowly(bench: Bench, body: Body, *, felt: bool, lane: str) -> SlowRoll:
    """Return what the car does on a slow roll.

    Args:
        bench: who watches.
        body: what rolls.
        felt: whether the gaps at the rail are felt where the tail runs to one side.
        lane: on which lane.

    Returns:
        The entry.
    """
    on_rail = rolled(body.truth.car, body.truth.values[None, :], seats=body.truth.seats())
    tail = float(on_rail.tail[0])
    if abs(tail) < _TAIL:
        return SlowRoll(seen=SlowRollSeen.HOLDS, lane=lane)
    seen = SlowRollSeen.TAIL_LEFT if tail > 0.0 else SlowRollSeen.TAIL_RIGHT
    gaps = []
    for station in (Station.REAR_LEFT, Station.REAR_RIGHT):
        true = float(on_rail.gap[_STATIONS.index(station), 0]) + bench.noise(0.1 * _MM)
        gaps.append(Clearance(station=station, gap=amount(max(0.0, true) / _MM, "mm", digits=1)[1]))
    return SlowRoll(
        seen=seen,
        clearances=tuple(gaps) if felt else (),
        lane=lane,
        instrument="feelers" if felt else "",
    )


def inspected(bench: Bench, body: Body, rule: Rule, station: Station | None) -> Event:
    """Return what is measured or looked at for one rule of the car's class.

    Args:
        bench: who looks.
        body: at what.
        rule: for which rule.
        station: at which wheel, for a wheel's diameter.

    Returns:
        The entry.
    """
    looks: dict[Rule, str] = {
        Rule.LUBRICANT: "dry powder",
        Rule.BENT_AXLES: "straight",
        Rule.AERODYNAMIC_PARTS: "none",
    }
    if rule is Rule.MASS:
        return weighed(bench, body, Weighed.WHOLE)
    if rule.is_reach and not body.truth.car.weights:
        looks[rule] = NONE
    if rule in looks:
        return Inspected(rule=rule, found=looks[rule])
    true, noise, digits, instrument = _inspected_size(body, rule, station)
    inches = bench.builder.system is System.INCH
    value = (true + bench.noise(noise)) / (25.4 * _MM if inches else _MM)
    text, size = amount(value, "in" if inches else "mm", digits=3 if inches else digits)
    uncertainty = amount(2.0 * noise / _MM, "mm")[1]
    return Inspected(
        rule=rule, value=size, station=station, uncertainty=uncertainty, instrument=instrument, written=text
    )


def _inspected_size(body: Body, rule: Rule, station: Station | None) -> tuple[float, float, int, str]:
    """Return a true size [m], the gauge's error [m], the decimals that it shows and what it is."""
    found, values = body.stands(), body.truth.values
    if rule is Rule.WHEEL_DIAMETER and station is not None:
        return float(values[_INDEX[f"{station.value}.diameter"]]), 0.01 * _MM, 2, "caliper"
    sizes: Mapping[Rule, tuple[float, float, int, str]] = {
        Rule.LENGTH: (body.car.body.length.value, 0.1 * _MM, 1, "steel rule"),
        Rule.WIDTH: (_width(body), 0.05 * _MM, 1, "caliper"),
        Rule.WHEELBASE: (float(values[_INDEX["body.wheelbase"]]), 0.05 * _MM, 1, "caliper"),
        Rule.GROUND_CLEARANCE: (min(float(found.front[0]), float(found.rear[0])), 0.02 * _MM, 2, "feelers"),
        Rule.WEIGHT_BELOW: (-0.6 * _MM, 0.05 * _MM, 1, "depth rod"),
        Rule.WEIGHT_BEHIND: (-3.0 * _MM, 0.1 * _MM, 1, "steel rule"),
    }
    return sizes[rule]


def _width(body: Body) -> float:
    """Return the width over the wheels, pushed out [m]."""
    seats = dict.fromkeys(Station, Seat.HEAD)
    wheels = wheels_of(body.truth.values[None, :], seats)
    side = np.array([station.side for station in Station], dtype=np.float64)[:, None]
    reach = side * wheels.cy + wheels.half * np.abs(wheels.uy) + wheels.radius * np.sqrt(1.0 - wheels.uy**2)
    left, right = reach[side[:, 0] > 0.0].max(), reach[side[:, 0] < 0.0].max()
    return float(left + right)
