"""Use cases that enter what the hands fit and drill and what the eyes find, beside readings and moves."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from rollwright.bench import DaylightCheck, HoleDrilled, Inspected, Plane, ScaleReading, Seen, Weighed
from rollwright.car.keys import BODY_KEYS, STATION_KEYS, WHEEL_KEYS, Key
from rollwright.car.model import Station
from rollwright.car.table import in_range
from rollwright.errors import OutOfRange, ReadingUnusable
from rollwright.judge.class_rules import LOOKS, NONE, Rule
from rollwright.units import Kind
from rollwright.workbench.log import class_chosen
from rollwright.workbench.log_enter import Entered, EnteredAll, Stamp, enter, enter_all
from rollwright.workbench.log_past import withdrawals

if TYPE_CHECKING:
    from rollwright.bench import Event, Recorded
    from rollwright.bench.fold import Folded

__all__ = [
    "LOOKS",
    "NONE",
    "Plane",
    "Rule",
    "Seen",
    "Weighed",
    "choose_class",
    "drill",
    "inspect",
    "pin",
    "weigh",
]


def _key(name: str, kind: Kind, low: float, high: float) -> Key:
    return Key(name=name, kind=kind, low=low, high=high, default=None, drawing=0.0, guess=0.0, help="")


_STATION = {key.name: key for key in STATION_KEYS}
_BODY = {key.name: key for key in BODY_KEYS}
_ON_A_SCALE = {
    True: _key("mass", Kind.MASS, 0.010, 5.0),
    False: _key("mass", Kind.MASS, 0.0, 5.0),
}
"""What a scale can show of a whole car, and of an end or a wheel of it."""
# Wide on purpose: they catch a wrong unit or a slipped digit, and leave the judgement to the class.
_INSPECTED = {
    Rule.LENGTH: _BODY["length"],
    Rule.WIDTH: _BODY["width"],
    Rule.WHEELBASE: _BODY["wheelbase"],
    Rule.GROUND_CLEARANCE: _key("ground_clearance", Kind.LENGTH, 0.0, 0.2),
    Rule.WHEEL_DIAMETER: next(key for key in WHEEL_KEYS if key.name == "diameter"),
    Rule.WEIGHT_BEHIND: _key("weight_behind", Kind.LENGTH, -0.5, 0.5),
    Rule.WEIGHT_BELOW: _key("weight_below", Kind.LENGTH, -0.2, 0.2),
}
_Log = str | os.PathLike[str]


def choose_class(log: _Log, car: str, class_file: str | os.PathLike[str], *, stamp: Stamp) -> Entered:
    """Enter for which class a car is built, in place of any chosen before.

    Args:
        log: path of the log.
        car: the car's id.
        class_file: file of the class's rules, whose whole text is kept.
        stamp: who and when.

    Returns:
        The entry, and how the gates stand after it.

    Raises:
        InputError: the file cannot be used, or the log cannot be written; nothing was entered.
    """
    chosen, _ = class_chosen(class_file)
    return enter(log, car, chosen, stamp=stamp)


def drill(
    log: _Log,
    car: str,
    stations: Sequence[Station],
    *,
    aims: Mapping[str, float] | None = None,
    instrument: str = "",
    remark: str = "",
    stamp: Stamp,
) -> EnteredAll:
    """Enter that holes were drilled.

    Args:
        log: path of the log.
        car: the car's id.
        stations: where, one entry each.
        aims: what was aimed at, where it is not what the car file says: `hole_height` above the underside
            [m]; `cant` [rad], outer end up positive, down negative; `sweep` [rad], outer end forward
            positive, backward negative.
        instrument: jig, bit and machine.
        remark: a remark.
        stamp: who and when.

    Returns:
        The entries, and how the gates stand after them.

    Raises:
        InputError: an aim is no possible hole, or the log cannot be written; nothing was entered.
    """
    said = {} if aims is None else dict(aims)
    for name, value in said.items():
        in_range(value, key=_STATION[name], at=f"--{name.removeprefix('hole_')}", bare=False)
    events = [
        HoleDrilled(
            station=station,
            hole_height=said.get("hole_height"),
            cant=said.get("cant"),
            sweep=said.get("sweep"),
            instrument=instrument,
            note=remark,
        )
        for station in stations
    ]
    return enter_all(log, car, lambda *_: events, stamp=stamp)


def pin(
    log: _Log,
    car: str,
    station: Station,
    plane: Plane,
    seen: Seen,
    *,
    size: float | None = None,
    distance: float | None = None,
    against: float | None = None,
    uncertainty: float | None = None,
    instrument: str = "",
    written: str = "",
    remark: str = "",
    stamp: Stamp,
) -> Entered:
    """Enter what a pin in a hole showed against a straight-edge.

    Args:
        log: path of the log.
        car: the car's id.
        station: which hole.
        plane: which way it was looked at.
        seen: what showed.
        size: a feeler's gap [m] or an angle [rad], where one was measured; positive: outer end up or forward,
            negative: outer end down or backward.
        distance: side face to where it was read [m], or None.
        against: angle at which the straight-edge stood [rad], signed like the size; None for as the hole
            was meant to be.
        uncertainty: standard uncertainty of the size, or of the judgement that there is no gap; or None.
        instrument: with what.
        written: the size as the builder wrote it.
        remark: a remark.
        stamp: who and when.

    Returns:
        The entry, and how the gates stand after it.

    Raises:
        InputError: the parts do not belong together, or the log cannot be written; nothing was entered.
    """
    gap = seen in {Seen.NONE, Seen.FEELER}
    if distance is not None and not gap:
        raise ReadingUnusable(
            "only a gap is read at a distance", mend="leave the distance out", key="--distance"
        )
    if against is not None and seen is Seen.ANGLE:
        raise ReadingUnusable(
            "an angle is read by itself and against no straight-edge", mend="leave it out", key="--against"
        )
    if uncertainty is not None and seen is Seen.SEEN:
        raise ReadingUnusable(
            "daylight that was not measured has no uncertainty", mend="leave it out", key="--uncertainty"
        )

    def made(entries: Sequence[Recorded], before: Folded) -> list[Event]:
        stood = against
        if stood is None and seen is not Seen.ANGLE:
            from rollwright.bench.drilled import meant_of  # noqa: PLC0415 - brings numpy

            gone = withdrawals(entries)
            counting = [entry for entry in entries if entry.seq not in gone]
            stood = meant_of(counting, before.filed, station, plane.value)
        check = DaylightCheck(
            station=station,
            plane=plane,
            seen=seen,
            size=size,
            distance=distance,
            against=stood or None,
            uncertainty=uncertainty,
            instrument=instrument,
            written=written,
            note=remark,
        )
        return [check]

    return enter_all(log, car, made, stamp=stamp).last


def _check_known(value: float, uncertainty: float | None) -> None:
    """Refuse an uncertainty under which a number says nothing: its unit or a digit is wrong."""
    if uncertainty is not None and uncertainty >= abs(value):
        raise OutOfRange(
            "the uncertainty is as large as what was read",
            mend="check the digits and the unit",
            key="--uncertainty",
        )


def weigh(
    log: _Log,
    car: str,
    where: Weighed,
    mass: float,
    *,
    uncertainty: float | None = None,
    instrument: str = "",
    written: str = "",
    remark: str = "",
    stamp: Stamp,
) -> Entered:
    """Enter what a scale showed.

    Args:
        log: path of the log.
        car: the car's id.
        where: what stood on the scale.
        mass: what it showed [kg].
        uncertainty: standard uncertainty of the scale [kg], or None.
        instrument: which scale.
        written: the mass as the builder wrote it.
        remark: a remark.
        stamp: who and when.

    Returns:
        The entry, and how the gates stand after it.

    Raises:
        InputError: no car weighs that, or the log cannot be written; nothing was entered.
    """
    bare = not any(letter.isalpha() for letter in written)
    in_range(mass, key=_ON_A_SCALE[where is Weighed.WHOLE], at="MASS", bare=bare)
    _check_known(mass, uncertainty)
    event = ScaleReading(
        where=where,
        mass=mass,
        uncertainty=uncertainty,
        instrument=instrument,
        written=written,
        note=remark,
    )
    return enter(log, car, event, stamp=stamp)


def inspect(
    log: _Log,
    car: str,
    rule: Rule,
    *,
    value: float | None = None,
    found: str = "",
    station: Station | None = None,
    uncertainty: float | None = None,
    instrument: str = "",
    written: str = "",
    remark: str = "",
    stamp: Stamp,
) -> Entered:
    """Enter what was measured or seen of something that a class may have a rule about.

    Args:
        log: path of the log.
        car: the car's id.
        rule: what it is about; not the mass, which is weighed.
        value: a size [m]; of a weight's reach positive past the line, negative short of it.
        found: what was seen, where it is no size.
        station: which wheel, for a wheel's diameter.
        uncertainty: standard uncertainty of the gauge [m], or None.
        instrument: with what.
        written: the size as the builder wrote it.
        remark: a remark.
        stamp: who and when.

    Returns:
        The entry, and how the gates stand after it.

    Raises:
        InputError: it is no possible size, the parts do not belong together, or the log cannot be written;
            nothing was entered.
    """
    if value is not None and rule in _INSPECTED:
        bare = not any(letter.isalpha() or letter in "\"″'′" for letter in written)
        in_range(value, key=_INSPECTED[rule], at=rule.words, bare=bare)
        if not rule.is_reach:
            _check_known(value, uncertainty)
    event = Inspected(
        rule=rule,
        value=value,
        found=found,
        station=station,
        uncertainty=uncertainty,
        instrument=instrument,
        written=written,
        note=remark,
    )
    return enter(log, car, event, stamp=stamp)
