"""`rollwright log fit` and `leave-off`: which parts are on the car."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

import click

from rollwright.car.model import Station
from rollwright.cli.complete import car_ids, offer, places
from rollwright.cli.log_options import (
    TakesNegative,
    because_option,
    entering_options,
    instrument_option,
    note_option,
    stamp_of,
    tell,
    tell_all,
)
from rollwright.cli.log_part_words import PART_SIZES, choice_of, part_size_of, place_of
from rollwright.workbench import log_parts

__all__ = ["add_part_commands"]

_Command = TypeVar("_Command", bound=Callable[..., Any])
_ALL = "all"
_PARTS = [part.value for part in log_parts.Fitted]
_SIZE_HELP = {
    "diameter": "Wheel: diameter of the tread.",
    "tread_width": "Wheel: width of the running surface.",
    "hub_projection": "Wheel: hub's inner end to the tread's inner edge.",
    "bore": "Wheel: hole that the axle runs in.",
    "shank": "Axle: diameter of the pin.",
    "bend": "Axle: angle between its two straight parts.",
    "bend_at": "Axle: distance of the bend from the side face.",
    "thickness": "Washer: total thickness between side face and hub.",
    "mass": "What it weighs; not of a washer.",
    "inertia": "Wheel: moment of inertia about its own axle.",
    "x": "Weight or shield: its centre, forward of the rear hole line.",
    "y": "Weight or shield: its centre, left of the centre line.",
    "z": "Weight or shield: its centre, above the underside.",
}


def _size_options(command: _Command) -> _Command:
    for name in reversed(list(PART_SIZES)):
        command = click.option(f"--{name.replace('_', '-')}", help=_SIZE_HELP[name])(command)
    return command


@click.command(name="fit", cls=TakesNegative)
@click.argument("car_id", metavar="ID", shell_complete=car_ids)
@click.argument("part", shell_complete=offer([*_PARTS, _ALL]))
@click.argument("where", metavar="[WHERE]", required=False, shell_complete=places)
@click.argument("name", metavar="[NAME]", required=False)
@_size_options
@instrument_option
@note_option
@entering_options
def _fit(
    car_id: str,
    part: str,
    where: str | None,
    name: str | None,
    instrument: str,
    note: str,
    log: str,
    by: str | None,
    units: str,
    *,
    as_json: bool,
    **sizes: str | None,
) -> None:
    """Enter that a part was fitted, in place of whatever was there.

    ID is the car's. PART is wheel, axle, washer, weight or shield. WHERE is the wheel it belongs to, such
    as front_left; for a weight its pocket, and for a shield either. NAME is what the part is called; left
    out, it is what the car file calls it. PART may be all: every part that the car file lists, as the
    file describes it, but for those that were fitted or left off already. A measured size may say how
    well it is known: "32.1 ± 0.02 mm".
    """
    measured = {each: part_size_of(each, text) for each, text in sizes.items() if text is not None}
    if part.strip().casefold() == _ALL:
        if where is not None or measured:
            raise click.UsageError(
                "All parts are fitted as the car file says; leave out where, name and sizes."
            )
        every = log_parts.fit_all(log, car_id, remark=note, stamp=stamp_of(by))
        tell_all(
            every,
            units,
            as_json=as_json,
            nothing="Nothing to enter: every part that the car's file lists is fitted or left off already.",
        )
        return
    which = choice_of(part, log_parts.Fitted, key="PART", what="a kind of part, or all")
    found = log_parts.fit(
        log,
        car_id,
        which,
        where=_place(which, where, needed=True),
        name=name or "",
        sizes=measured,
        instrument=instrument,
        remark=note,
        stamp=stamp_of(by),
    )
    tell(found, units, as_json=as_json)


def _place(part: log_parts.Fitted, written: str | None, *, needed: bool) -> Station | str | None:
    if written is None and needed and part is not log_parts.Fitted.WEIGHT:
        either = "the wheel or the pocket" if part is log_parts.Fitted.SHIELD else "the wheel"
        raise click.UsageError(f"A {part.value} needs its place; say {either} behind it.")
    return place_of(part.value, written)


@click.command(name="leave-off")
@click.argument("car_id", metavar="ID", shell_complete=car_ids)
@click.argument("part", shell_complete=offer(_PARTS))
@click.argument("where", metavar="[WHERE]", required=False, shell_complete=places)
@click.option("--name", default="", metavar="TEXT", help="What the car file calls it.")
@because_option
@entering_options
def _leave_off(
    car_id: str,
    part: str,
    where: str | None,
    name: str,
    because: str,
    log: str,
    by: str | None,
    units: str,
    *,
    as_json: bool,
) -> None:
    """Enter that a part is left off on purpose, so that nothing waits for it.

    ID is the car's. PART is wheel, axle, washer, weight or shield. WHERE is the wheel it would have been
    at, such as front_left, or the pocket of a weight; left out, it is all of the kind.
    """
    which = choice_of(part, log_parts.Fitted, key="PART", what="a kind of part")
    found = log_parts.leave_off(
        log,
        car_id,
        which,
        where=_place(which, where, needed=False),
        name=name,
        reason=because,
        stamp=stamp_of(by),
    )
    # Only a weight takes its mass along.
    tell(found, units, as_json=as_json, only=() if which is log_parts.Fitted.WEIGHT else ("trim",))


def add_part_commands(group: click.Group) -> None:
    """Add the commands that enter which parts are on the car.

    Args:
        group: the log's group.
    """
    for each in (_fit, _leave_off):
        group.add_command(each)
