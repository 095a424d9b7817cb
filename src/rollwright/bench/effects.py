"""What an event changes in what is known of a car: a shift of the dimensions, and what a hand leaves open."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

from rollwright.bench.as_readings import reading_of
from rollwright.bench.events import (
    Adjustment,
    Bend,
    Event,
    Fitted,
    HoleDrilled,
    PartFitted,
    PartLeftOff,
    Sand,
    Shim,
    Size,
    Turn,
    Washer,
)
from rollwright.bench.known import KEYS, Known, Revision, carrying_of
from rollwright.car.dimensions import dimension_of, free_deviations, with_dimensions
from rollwright.car.model import Car, Station, Weight
from rollwright.errors import CarCannotRest
from rollwright.quantity import Quantity, Source
from rollwright.setup.hand import Hand
from rollwright.setup.reading_keys import DEFAULT_UNCERTAINTY, DEFAULT_UNCERTAINTY_OF_ANGLE, ReadingKind

__all__ = ["Known", "known_after", "reading_of", "taken_off"]

_WHEEL = ("diameter", "tread_width", "hub_projection", "bore")
_AXLE = ("shank", "bend", "bend_at")
_HOLE = ("hole_height", "cant", "sweep", "offset")
_OF_A_PART = {Fitted.WHEEL: _WHEEL, Fitted.AXLE: _AXLE}
_BLIND = 5.0
"""How many times a hand's usual miss stands for a change that nobody says the size of."""
_BLIND_BEND = math.radians(1.0)
_BLIND_TURN = math.radians(30.0)
_BLIND_DEPTH = 0.5e-3
_BLIND_WASHER = 0.3e-3
_WEIGHED = 0.2e-3
"""Standard uncertainty of a part's mass that does not say its own [kg]: a kitchen scale."""
_PLACED = 1e-3
"""Standard uncertainty of a weight's place that does not say its own [m]."""


def known_after(known: Known, event: Event, *, hand: Hand) -> Known:
    """Return what is known of a car after an event.

    Args:
        known: what was known before.
        event: what happened; a reading or a remark changes nothing here.
        hand: how closely the builder's hand hits what is asked.

    Returns:
        What is known afterwards; the root keeps its columns in their order, new errors behind them. An
        amount that was measured counts as measured, to half of what a hand usually misses by unless its
        uncertainty is said; one that was only asked for counts as asked, to what a hand misses by; one that
        nobody says is wide open. What was not said of a new part or hole is what the car file says of it, to
        within the tolerance of a drawing.
    """
    car, places, doubt = known.car, known.places, ""
    change = Revision(known.prior, _source_of(event))
    if isinstance(event, Adjustment):
        _adjust(change, event, car, hand)
    elif isinstance(event, HoleDrilled):
        _drill(change, event, car, hand)
    elif isinstance(event, PartFitted) and event.part in {Fitted.WEIGHT, Fitted.SHIELD}:
        car, places, doubt = _ballast(known, event)
    elif isinstance(event, PartFitted):
        car = _fit(change, event, car)
    elif isinstance(event, PartLeftOff) and (gone := taken_off(known, event)):
        car = replace(car, weights={name: each for name, each in car.weights.items() if name not in gone})
        places = {at: name for at, name in places.items() if name not in gone}
    else:
        return known
    return Known(car=car, prior=change.done(), places=places, doubt=doubt)


def taken_off(known: Known, event: PartLeftOff) -> frozenset[str]:
    """Return what an entry takes off a car.

    Args:
        known: what is known of the car before it.
        event: what is left off.

    Returns:
        Names of the weights or shields that were on; none for other parts, or where none of them was on.
    """
    if event.part not in {Fitted.WEIGHT, Fitted.SHIELD}:
        return frozenset()
    kind = f"{event.part.value} "
    placed = {at: name for at, name in known.places.items() if at.startswith(kind)}
    there = set(placed.values())
    if event.part is Fitted.WEIGHT:
        there |= set(known.car.weights) - set(known.places.values())
    if event.name:
        return frozenset(there & {event.name})
    where = event.pocket or ("" if event.station is None else event.station.words)
    return frozenset(there & {placed.get(kind + where, "")} if where else there)


def _source_of(event: Event) -> str:
    if isinstance(event, PartFitted | PartLeftOff):
        return f"{event.part.value} {event.name}"
    station = getattr(event, "station", None)
    words = event.kind.replace("_", " ")
    return words if station is None else f"{words} at {station.words}"


def _amount(event: Adjustment, hand: Hand, kind: str, blind: float) -> tuple[float, float]:
    """Return by how much something was changed and how well that is known."""
    usual = float(getattr(hand, kind))
    if event.done is not None:
        return event.done, usual / 2.0 if event.uncertainty is None else event.uncertainty
    if event.asked is not None:
        return event.asked * hand.factor(kind).value, hand.spread(kind, event.asked)
    return 0.0, max(_BLIND * usual, blind)


def _adjust(change: Revision, event: Adjustment, car: Car, hand: Hand) -> None:
    at = event.station.value
    if isinstance(event, Bend):
        if change.exact(f"{at}.clock"):
            # Where a straight pin's bend would point mattered to nobody, and now it does.
            for name in ("clock", "bend_at"):
                known = dimension_of(car, f"{at}.{name}").uncertainty
                change.replace(f"{at}.{name}", change.value(f"{at}.{name}"), known)
        change.shift(f"{at}.bend", *_amount(event, hand, "bend", _BLIND_BEND))
        # A pin that was out of its hole to be bent goes back no truer than it can be turned.
        change.add_error(f"{at}.clock", hand.turn)
    elif isinstance(event, Turn):
        change.shift(f"{at}.clock", *_amount(event, hand, "turn", _BLIND_TURN))
    elif isinstance(event, Sand):
        change.shift(f"{at}.relief", *_amount(event, hand, "relief", _BLIND_DEPTH))
    elif isinstance(event, Washer):
        by, size = _amount(event, hand, "washer", _BLIND_WASHER)
        if by < 0.0 and change.value(f"{at}.washer") + by <= hand.washer:
            # No washer is as thin as what would be left: all are out, whatever they measured.
            change.replace(f"{at}.washer", 0.0, 0.0)
        else:
            change.shift(f"{at}.washer", by, size)
    elif isinstance(event, Shim):
        by, size = _amount(event, hand, "shim", _BLIND_DEPTH)
        change.shift(f"{at}.hole_height", -by, size)


def _drill(change: Revision, event: HoleDrilled, car: Car, hand: Hand) -> None:
    at = event.station.value
    aimed = {"hole_height": event.hole_height, "cant": event.cant, "sweep": event.sweep}
    for name in _HOLE:
        value = aimed.get(name)
        meant = dimension_of(car, f"{at}.{name}").value if value is None else value
        change.replace(f"{at}.{name}", meant, KEYS[name].drawing)
    for name in ("cant", "sweep"):
        change.add_error(f"{at}.{name}", _crooked(car, event.station))
    # The pin was out as well, and its depth in the hole is what the play hangs on.
    change.add_error(f"{at}.clock", hand.turn)
    change.replace(f"{at}.play", dimension_of(car, f"{at}.play").value, KEYS["play"].drawing)


def _crooked(car: Car, station: Station) -> float:
    """Return by how much a straight pin's crookedness counts as cant and sweep [rad]; 0 for a bent one."""
    name = f"{station.value}.cant"
    with_pin = free_deviations(car).get(name, 0.0)
    return math.sqrt(max(0.0, with_pin**2 - dimension_of(car, name).uncertainty ** 2))


def _spread_of(size: Size) -> float:
    """Return how well a part's measured size is known."""
    if size.uncertainty is not None:
        return size.uncertainty
    gauge = DEFAULT_UNCERTAINTY_OF_ANGLE if size.name == "bend" else DEFAULT_UNCERTAINTY[ReadingKind.SIZE]
    return min(gauge, KEYS["washer" if size.name == "thickness" else size.name].drawing)


def _fit(change: Revision, event: PartFitted, car: Car) -> Car:
    """Forget the sizes of the wheel, axle or washers that were there."""
    if event.station is None:
        return car
    at = event.station.value
    sizes = {size.name: size for size in event.sizes}
    if event.part is Fitted.WASHER:
        thickness = sizes.get("thickness")
        value = change.value(f"{at}.washer") if thickness is None else thickness.value
        change.replace(f"{at}.washer", value, _BLIND_WASHER if thickness is None else _spread_of(thickness))
        return car
    for name in _OF_A_PART[event.part]:
        size = sizes.get(name)
        value = dimension_of(car, f"{at}.{name}").value if size is None else size.value
        change.replace(f"{at}.{name}", value, KEYS[name].drawing if size is None else _spread_of(size))
    # Play is what is left between hub, washers and head, so that it is another with another part.
    change.replace(f"{at}.play", dimension_of(car, f"{at}.play").value, KEYS["play"].drawing)
    if event.part is Fitted.AXLE and "bend" not in sizes and dimension_of(car, f"{at}.bend").value == 0.0:
        # Meant straight: no bend that points anywhere, but a pin that is crooked in its own way.
        change.replace(f"{at}.bend", 0.0, 0.0)
        change.replace(f"{at}.clock", change.value(f"{at}.clock"), 0.0)
        for name in ("cant", "sweep"):
            change.add_error(f"{at}.{name}", _crooked(car, event.station))
    elif event.part is Fitted.AXLE:
        # Nobody says which way the new pin's bend points.
        change.replace(f"{at}.clock", change.value(f"{at}.clock"), _BLIND_TURN)
    return _with_part(car, event, sizes.get("mass"))


def _with_part(car: Car, event: PartFitted, mass: Size | None) -> Car:
    """Return the car with a wheel or axle of another mass; its other sizes stand in the prior."""
    if mass is None or event.station is None:
        return car
    quantity = Quantity(
        value=mass.value, uncertainty=mass.uncertainty or _WEIGHED, source=Source.MEASURED, label=event.name
    )
    # Setting one of its dimensions makes the part the station's own.
    name = f"{event.station.value}.{_OF_A_PART[event.part][0]}"
    own = with_dimensions(car, {name: dimension_of(car, name)})
    corner = own.corners[event.station]
    if event.part is Fitted.WHEEL:
        return replace(
            own, wheels={**own.wheels, corner.wheel: replace(own.wheel_at(event.station), mass=quantity)}
        )
    return replace(own, axles={**own.axles, corner.axle: replace(own.axle_at(event.station), mass=quantity)})


def _ballast(known: Known, event: PartFitted) -> tuple[Car, Mapping[str, str], str]:
    """Return the car with a weight or shield in its place, the places, and why its effect cannot be told."""
    where = event.pocket or ("" if event.station is None else event.station.words)
    place = f"{event.part.value} {where}"
    weights = dict(known.car.weights)
    before = weights.pop(event.name, None)
    replaced = known.places.get(place)
    if replaced not in {None, event.name}:
        weights.pop(str(replaced), None)
    places = {there: name for there, name in known.places.items() if name != event.name}
    places[place] = event.name
    bare = replace(known.car, weights=weights)
    sizes = {size.name: size for size in event.sizes}

    def quantity(name: str, old: Quantity | None, usual: float) -> Quantity | None:
        size = sizes.get(name)
        if size is None:
            return old
        spread = usual if size.uncertainty is None else size.uncertainty
        return Quantity(value=size.value, uncertainty=spread, source=Source.MEASURED, label=event.name)

    mass = quantity("mass", None if before is None else before.mass, _WEIGHED)
    if mass is None:
        return bare, places, "its mass is not said"
    # A weight that moves to another pocket takes its mass along and leaves its place behind.
    stays = all(there == place for there, name in known.places.items() if name == event.name)
    old = before.position if before is not None and stays else (None, None, None)
    found = [quantity(name, old[axis], _PLACED) for axis, name in enumerate("xyz")]
    position = _somewhere(bare, event.name)
    placed = (found[0] or position[0], found[1] or position[1], found[2] or position[2])
    car = replace(bare, weights={**weights, event.name: Weight(mass=mass, position=placed)})
    if found[0] is not None and found[1] is not None:
        return car, places, ""
    doubt = _may_tip_elsewhere(car, known, event.name)
    return car, places, "its place is not said" if doubt else ""


def _somewhere(car: Car, name: str) -> tuple[Quantity, Quantity, Quantity]:
    """Return the middle of the body as the place of a weight that may be anywhere in it."""
    body = car.body
    length, width = body.length.value, body.width.value
    middle = (0.5 * length - body.rear_overhang.value, 0.0, body.centre_of_mass[2].value)
    # A place between two limits: half of their distance over the square root of three.
    spreads = (length / math.sqrt(12.0), width / math.sqrt(12.0), body.centre_of_mass[2].uncertainty)
    x, y, z = (
        Quantity(value=value, uncertainty=spread, source=Source.ASSUMED, label=name)
        for value, spread in zip(middle, spreads, strict=True)
    )
    return x, y, z


def _may_tip_elsewhere(car: Car, known: Known, name: str) -> bool:
    """Return whether a weight that may be anywhere in the body could make other wheels carry.

    The centres of mass that it can lead to fill a rectangle. The triangle of three wheels is convex, so
    they all lie in it if the corners do.
    """
    weight = car.weights[name]
    half = (0.5 * car.body.length.value, 0.5 * car.body.width.value)
    x, y, z = _somewhere(car, name)
    try:
        usual = carrying_of(known.car, known.prior.mean)
        for fore in (-1.0, 1.0):
            for side in (-1.0, 1.0):
                corner = (
                    replace(x, value=x.value + fore * half[0]),
                    replace(y, value=y.value + side * half[1]),
                    z,
                )
                there = replace(weight, position=corner)
                if carrying_of(replace(car, weights={**car.weights, name: there}), known.prior.mean) != usual:
                    return True
    except CarCannotRest:
        return True
    return False
