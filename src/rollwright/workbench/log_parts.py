"""Use cases that enter which parts are on the car, and which are left off on purpose."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from rollwright.bench import (
    CarStarted,
    Event,
    Fitted,
    PartFitted,
    PartLeftOff,
    Recorded,
    Size,
    Washer,
    Withdrawn,
)
from rollwright.car.file import parse_car
from rollwright.car.keys import AXLE_KEYS, STATION_KEYS, WEIGHT_KEYS, WHEEL_KEYS, Key
from rollwright.car.model import Car, Station
from rollwright.car.table import in_range, nearest
from rollwright.errors import MissingReference, OutOfRange, echo
from rollwright.units import Kind, show
from rollwright.workbench.log_enter import Entered, EnteredAll, Stamp, enter_all
from rollwright.workbench.log_past import withdrawals

if TYPE_CHECKING:
    from rollwright.bench.fold import Folded

__all__ = ["Fitted", "fit", "fit_all", "leave_off"]

_PLACE = {
    name: Key(
        name=name,
        kind=Kind.LENGTH,
        low=-1.0,
        high=1.0,
        default=None,
        drawing=0.0,
        guess=0.0,
        help="of its centre",
    )
    for name in "xyz"
}
_WEIGHT = {key.name: key for key in WEIGHT_KEYS if not key.point} | _PLACE
_SIZES: Mapping[Fitted, Mapping[str, Key]] = {
    Fitted.WHEEL: {key.name: key for key in WHEEL_KEYS},
    Fitted.AXLE: {key.name: key for key in AXLE_KEYS},
    Fitted.WASHER: {"thickness": next(key for key in STATION_KEYS if key.name == "washer")},
    Fitted.WEIGHT: _WEIGHT,
    Fitted.SHIELD: _WEIGHT,
}
_PLURAL = {Fitted.WASHER: "washers"}
_Log = str | os.PathLike[str]


def _counting(entries: Sequence[Recorded]) -> list[Recorded]:
    gone = withdrawals(entries)
    return [entry for entry in entries if entry.seq not in gone and not isinstance(entry.event, Withdrawn)]


def _described(counting: Sequence[Recorded]) -> Car:
    """Return the car as its file in the log describes it."""
    return next(parse_car(each.event.car_file) for each in counting if isinstance(each.event, CarStarted))


def _sizes(part: Fitted, sizes: Mapping[str, tuple[float, float | None]]) -> tuple[Size, ...]:
    known, found = _SIZES[part], []
    for name, (value, uncertainty) in sizes.items():
        option = f"--{name.replace('_', '-')}"
        if name not in known:
            options = ", ".join(f"--{each.replace('_', '-')}" for each in known)
            raise OutOfRange(f"a {part.value} has no {option}", mend=f"known here: {options}", key=option)
        in_range(value, key=known[name], at=option, bare=False)
        found.append(Size(name=name, value=value, uncertainty=uncertainty))
    return tuple(found)


def fit(
    log: _Log,
    car: str,
    part: Fitted,
    *,
    where: Station | str | None,
    name: str = "",
    sizes: Mapping[str, tuple[float, float | None]],
    instrument: str = "",
    remark: str = "",
    stamp: Stamp,
) -> Entered:
    """Enter that a part was fitted, in place of whatever was there.

    Args:
        log: path of the log.
        car: the car's id.
        part: what kind of part.
        where: at which wheel, or in which pocket; None for the pocket of the one weight that the file has.
        name: what the part is called; empty: as the car file calls the part that belongs there.
        sizes: what was measured of it [SI], by the car file's names, each with its standard uncertainty or
            None; of washers `thickness`, of a weight or a shield `x`, `y`, `z` of its centre too.
        instrument: with what it was measured.
        remark: a remark.
        stamp: who and when.

    Returns:
        The entry, and how the gates stand after it.

    Raises:
        InputError: the part has no such size, its name cannot be told, or the log cannot be written; nothing
            was entered.
    """
    measured = _sizes(part, sizes)

    def made(entries: Sequence[Recorded], before: Folded) -> list[Event]:
        del before
        described = _described(_counting(entries))
        pocket = where if isinstance(where, str) else ""
        if where is None:
            pocket = _only_weight(described)
        return [
            PartFitted(
                part=part,
                name=name or _name_in(described, part, where if isinstance(where, Station) else pocket),
                station=where if isinstance(where, Station) else None,
                pocket=pocket,
                sizes=measured,
                instrument=instrument,
                note=remark,
            )
        ]

    return enter_all(log, car, made, stamp=stamp).last


def _only_weight(described: Car) -> str:
    names = list(described.weights)
    if len(names) != 1:
        raise MissingReference(
            f"the car's file lists {len(names)} weights" if names else "the car's file lists no weight",
            mend=f"say which: {', '.join(names)}" if names else "say the pocket and the weight's name",
            key="WHERE",
        )
    return names[0]


def _name_in(described: Car, part: Fitted, where: Station | str) -> str:
    """Return what a car's file calls the part that belongs in a place."""
    if isinstance(where, Station):
        corner = described.corners[where]
        return {Fitted.WHEEL: corner.wheel, Fitted.AXLE: corner.axle}.get(part, _PLURAL.get(part, part.value))
    if part is Fitted.SHIELD or where in described.weights:
        return part.value if part is Fitted.SHIELD else where
    known = ", ".join(described.weights)
    names = f", such as one of the file's: {known}" if known else ""
    raise MissingReference(
        f"{echo(where)} is no weight of the car's file",
        mend=f"say the weight's name behind its pocket{names}",
        key="NAME",
    )


def fit_all(log: _Log, car: str, *, remark: str = "", stamp: Stamp) -> EnteredAll:
    """Enter that every part which the car's file lists is fitted as the file describes it.

    What is fitted already, or left off on purpose, is not entered again, so that this can be repeated.
    Washers that a hand changed meanwhile are entered with their present total in the remark, or as left off
    where none are left.

    Args:
        log: path of the log.
        car: the car's id.
        remark: a remark, the same in each entry.
        stamp: who and when.

    Returns:
        The entries: wheels, axles, washers where the file has any, and weights; perhaps none.

    Raises:
        InputError: the log cannot be written; nothing was entered.
    """
    from rollwright.bench.trim import listed_parts, trim_items  # noqa: PLC0415 - brings numpy

    def made(entries: Sequence[Recorded], before: Folded) -> list[Event]:
        counting = _counting(entries)
        described = _described(counting)
        events: list[Event] = []
        # The gate's own lines come first, in the order of the parts that the file lists.
        parts = listed_parts(described)
        for (part, place), item in zip(parts, trim_items(counting, described), strict=False):
            if item.state is None:
                station = None if part is Fitted.WEIGHT else Station(place)
                if part is Fitted.WASHER and station and _changed(counting, station):
                    events.append(_washers(before, station, _name_in(described, part, station), remark))
                    continue
                events.append(
                    PartFitted(
                        part=part,
                        name=_name_in(described, part, station or place),
                        station=station,
                        pocket="" if station else place,
                        note=remark,
                    )
                )
        return sorted(events, key=lambda event: list(Fitted).index(event.part))  # type: ignore[attr-defined]

    return enter_all(log, car, made, stamp=stamp)


def _changed(counting: Sequence[Recorded], station: Station) -> bool:
    """Return whether a hand changed the washers of a wheel."""
    return any(isinstance(each.event, Washer) and each.event.station is station for each in counting)


def _washers(before: Folded, station: Station, name: str, remark: str) -> PartFitted | PartLeftOff:
    """Return that washers are on as a hand left them; no size, for nothing was measured and none is reset."""
    from rollwright.bench.known import INDEX  # noqa: PLC0415 - brings numpy

    total = float(before.known.prior.mean[INDEX[f"{station.value}.washer"]])
    if not total > 0.0:
        return PartLeftOff(part=Fitted.WASHER, station=station, reason="taken out before")
    told = f"{show(total, kind=Kind.LENGTH)} in all, as changed before"
    return PartFitted(
        part=Fitted.WASHER, name=name, station=station, note=f"{remark}; {told}" if remark else told
    )


def leave_off(
    log: _Log,
    car: str,
    part: Fitted,
    *,
    where: Station | str | None,
    name: str = "",
    reason: str,
    stamp: Stamp,
) -> Entered:
    """Enter that a part is left off on purpose.

    Args:
        log: path of the log.
        car: the car's id.
        part: what kind of part.
        where: at which wheel or in which pocket it would have been; None for all of its kind.
        name: what the car file calls it; empty: the weight of the pocket's name, or whatever would be there.
        reason: why.
        stamp: who and when.

    Returns:
        The entry, and how the gates stand after it.

    Raises:
        InputError: the car's file lists no such part, or the log cannot be written; nothing was entered.
    """

    def made(entries: Sequence[Recorded], before: Folded) -> list[Event]:
        del before
        described = _described(_counting(entries))
        pocket = where if isinstance(where, str) else ""
        called = name
        if part is Fitted.WEIGHT and not called:
            # All weights at once would leave none to say which pocket each was for.
            called = pocket if pocket in described.weights else ("" if pocket else _only_weight(described))
        known = {
            Fitted.WHEEL: described.wheels,
            Fitted.AXLE: described.axles,
            Fitted.WEIGHT: described.weights,
        }.get(part)
        if called and known is not None and called not in known:
            raise MissingReference(
                f"{echo(called)} is no {part.value} of the car's file",
                mend=nearest(called, known) if known else "leave the entry out: nothing waits for it",
                key="--name",
            )
        return [
            PartLeftOff(
                part=part,
                reason=reason,
                station=where if isinstance(where, Station) else None,
                pocket=pocket,
                name=called,
            )
        ]

    return enter_all(log, car, made, stamp=stamp).last
