"""The trim gate: everything that will race is fitted, or left off on purpose."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from rollwright.bench.codec import Recorded
from rollwright.bench.events import Fitted, PartFitted, PartLeftOff
from rollwright.bench.gates import Item, Standing
from rollwright.car.model import Car, Station
from rollwright.judge.verdict import State

__all__ = ["first_fittings", "listed_parts", "trim_items"]

Part = tuple[Fitted, str]
"""A kind of part and the station's word or the weight's name."""


def listed_parts(car: Car) -> dict[Part, str]:
    """Return what a car's file says will race, and how it is said.

    Args:
        car: as its file describes it.

    Returns:
        A wheel and an axle at each station, washers where the file has any, and each weight; such as
        `rear left wheel` or `weight slug`.
    """
    found: dict[Part, str] = {}
    for station in Station:
        found[Fitted.WHEEL, station.value] = f"{station.words} wheel"
        found[Fitted.AXLE, station.value] = f"{station.words} axle"
        if car.corners[station].washer.value > 0.0:
            found[Fitted.WASHER, station.value] = f"{station.words} washers"
    return found | {(Fitted.WEIGHT, name): f"weight {name}" for name in car.weights}


def _place(event: PartFitted | PartLeftOff) -> str:
    if event.station is not None:
        return event.station.value
    return event.name


def trim_items(counting: Sequence[Recorded], car: Car, *, before: int | None = None) -> tuple[Item, ...]:
    """Return the lines of the trim gate.

    Args:
        counting: the car's entries that count, in order.
        car: as its file describes it.
        before: leave out this entry and those after it; None takes all.

    Returns:
        One line for each part that the file lists, and for each other part that was entered. What was
        entered last of a part counts; a part in whose pocket another was put is replaced.
    """
    listed = listed_parts(car)
    items = {
        part: Item(name=name, standing=Standing.NEVER_READ, words="not entered yet")
        for part, name in listed.items()
    }
    pockets: dict[tuple[Fitted, str], Part] = {}
    for entry in counting:
        if before is not None and entry.seq >= before:
            break
        event = entry.event
        if not isinstance(event, PartFitted | PartLeftOff):
            continue
        said = dict.fromkeys(_parts(event, listed, pockets), _said(event))
        if isinstance(event, PartFitted) and event.pocket:
            part, pocket = (event.part, event.name), (event.part, event.pocket)
            if pockets.get(pocket, part) != part:
                said[pockets[pocket]] = f"replaced by {event.name}"
            pockets = {at: other for at, other in pockets.items() if other != part} | {pocket: part}
        for part, words in said.items():
            name = listed.get(part, f"{event.part.value} {part[1].replace('_', ' ')}".rstrip())
            items[part] = Item(
                name=name,
                standing=Standing.HOLDS,
                state=State.PASS,
                words=words,
                read_at=entry.seq,
                needed=part in listed,
            )
    return tuple(items.values())


def _parts(
    event: PartFitted | PartLeftOff, listed: Mapping[Part, str], pockets: Mapping[tuple[Fitted, str], Part]
) -> list[Part]:
    """Return the parts that an entry speaks of; left off without a place means all of its kind."""
    if isinstance(event, PartLeftOff) and not event.name and event.pocket:
        return [pockets.get((event.part, event.pocket), (event.part, event.pocket))]
    place = _place(event)
    if place:
        return [(event.part, place)]
    every = dict.fromkeys([*listed, *pockets.values()])
    return [part for part in every if part[0] is event.part] or [(event.part, "")]


def _said(event: PartFitted | PartLeftOff) -> str:
    return f"fitted: {event.name}" if isinstance(event, PartFitted) else f"left off: {event.reason}"


def first_fittings(counting: Sequence[Recorded], car: Car) -> frozenset[int]:
    """Return the numbers of the entries that fit a part for the first time, as the file describes it.

    Args:
        counting: the car's entries that count, in order.
        car: as its file describes it.

    Returns:
        Those of wheels and axles that bear the file's own name, and of washers where the file has any, that
        give no sizes of their own: they say that the part is on, and nothing that the file does not say.
    """
    listed = listed_parts(car)
    seen: set[Part] = set()
    found: set[int] = set()
    for entry in counting:
        event = entry.event
        if not isinstance(event, PartFitted) or event.station is None:
            continue
        part = (event.part, event.station.value)
        corner = car.corners[event.station]
        own = {Fitted.WHEEL: corner.wheel, Fitted.AXLE: corner.axle}.get(event.part, event.name)
        if part in listed and part not in seen and not event.sizes and event.name == own:
            found.add(entry.seq)
        seen.add(part)
    return frozenset(found)
