"""`rollwright log class`, `drill`, `pin`, `weigh` and `inspect`: what was drilled, weighed and looked at."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, TypeVar

import click

from rollwright.car.model import Station
from rollwright.cli.complete import car_ids, findings, holes, offer, pins, planes, stations
from rollwright.cli.log_options import (
    TakesNegative,
    entering_options,
    instrument_option,
    note_option,
    stamp_of,
    tell,
    tell_all,
)
from rollwright.cli.log_part_words import (
    aim_of,
    choice_of,
    daylight_of,
    positive_of,
    reach_of,
    standard_of,
)
from rollwright.cli.log_words import station_of
from rollwright.units import Kind
from rollwright.workbench import log_entry
from rollwright.workbench.log import Entered

__all__ = ["add_entry_commands"]

_Command = TypeVar("_Command", bound=Callable[..., Any])
_AT_THE_DRILL = (
    "At the drill: eye protection on; clamp the body, never hold it by hand; no gloves or loose sleeves at "
    "the spindle; an adult runs the machine; follow its manual."
)
_ALL = "all"
_NEVER_EMPTY = {"station", "uncertainty"}
_RULES = [rule.value for rule in log_entry.Rule if rule is not log_entry.Rule.MASS]
"""What is entered by an inspection; the mass is entered by the scale."""


def _uncertainty_option(command: _Command) -> _Command:
    return click.option("--uncertainty", help="Standard uncertainty of the gauge.")(command)


@click.command(name="class")
@click.argument("car_id", metavar="ID", shell_complete=car_ids)
@click.argument("class_file", metavar="CLASS", type=click.Path())
@entering_options
def _class(car_id: str, class_file: str, log: str, by: str | None, units: str, *, as_json: bool) -> None:
    """Enter for which class a car is built.

    ID is the car's. CLASS is a file of the class's rules, whose whole text is kept; it replaces the class
    that was chosen before.
    """
    found = log_entry.choose_class(log, car_id, class_file, stamp=stamp_of(by))
    tell(found, units, as_json=as_json, only=("inspect",))


@click.command(name="drill", cls=TakesNegative)
@click.argument("car_id", metavar="ID", shell_complete=car_ids)
@click.argument("station", shell_complete=holes)
@click.option("--height", help="Aim: the hole's centre above the underside.")
@click.option("--cant", help='Aim: how far out of level, as in "2.5 deg up"; outer end up is positive.')
@click.option(
    "--sweep", help='Aim: how far out of square, as in "1 deg forward"; outer end forward is positive.'
)
@instrument_option
@note_option
@entering_options
def _drill(
    car_id: str,
    station: str,
    height: str | None,
    cant: str | None,
    sweep: str | None,
    instrument: str,
    note: str,
    log: str,
    by: str | None,
    units: str,
    *,
    as_json: bool,
) -> None:
    """Enter that a hole was drilled.

    ID is the car's. STATION is the hole, such as front_left, or all for the four of them, aimed as the
    car file says. What is left out of an aim is what the car file says.
    """
    every = station.strip().casefold() == _ALL
    said = {"hole_height": height, "cant": cant, "sweep": sweep}
    aims = {name: aim_of(name, text) for name, text in said.items() if text is not None}
    if every and aims:
        raise click.UsageError("All four holes are not aimed alike; leave the aims out, or drill one by one.")
    found = log_entry.drill(
        log,
        car_id,
        list(Station) if every else [station_of(station)],
        aims=aims,
        instrument=instrument,
        remark=note,
        stamp=stamp_of(by),
    )
    tell_all(found, units, as_json=as_json, one=not every, caution=_AT_THE_DRILL)


@click.command(name="pin", cls=TakesNegative)
@click.argument("car_id", metavar="ID", shell_complete=car_ids)
@click.argument("station", shell_complete=stations)
@click.argument("plane", shell_complete=planes)
@click.argument("seen", nargs=-1, required=True, metavar="SEEN...", shell_complete=pins)
@click.option("--distance", help="Side face to where the gap was read; 30 mm if you do not say.")
@click.option(
    "--against", help="Angle at which the straight-edge stood; as the hole was meant if you do not say."
)
@_uncertainty_option
@instrument_option
@note_option
@entering_options
def _pin(
    car_id: str,
    station: str,
    plane: str,
    seen: tuple[str, ...],
    distance: str | None,
    against: str | None,
    uncertainty: str | None,
    instrument: str,
    note: str,
    log: str,
    by: str | None,
    units: str,
    *,
    as_json: bool,
) -> None:
    """Enter what a pin in a hole showed against a straight-edge.

    ID is the car's, STATION the hole. PLANE is cant, out of level, or sweep, out of square. The
    straight-edge stands as the hole was meant to be, unless --against says otherwise: 0 is level or square,
    a positive angle has its outer end up or forward. SEEN is none, for no daylight; seen, for some that was
    not measured; a feeler's gap with the way the outer end is off, "0.15 mm up" or down, forward or backward;
    or the hole's own angle as a protractor shows it, "2.4 deg up".
    """
    at = station_of(station)
    which = choice_of(plane, log_entry.Plane, key="PLANE", what="a way to look at a hole")
    written = " ".join(seen).replace("\N{MINUS SIGN}", "-")
    showed = daylight_of(which.value, written)
    found = log_entry.pin(
        log,
        car_id,
        at,
        which,
        log_entry.Seen(showed.seen),
        size=showed.size,
        distance=None if distance is None else positive_of(distance, Kind.LENGTH, key="--distance"),
        against=None if against is None else aim_of(which.value, against, key="--against"),
        uncertainty=standard_of(uncertainty, showed.kind),
        instrument=instrument,
        written=written if showed.size is not None else "",
        remark=note,
        stamp=stamp_of(by),
    )
    tell(found, units, as_json=as_json, only=("drill",))


@click.command(name="weigh", cls=TakesNegative)
@click.argument("car_id", metavar="ID", shell_complete=car_ids)
@click.argument("where", shell_complete=offer([each.value for each in log_entry.Weighed]))
@click.argument("mass", nargs=-1, required=True, metavar="MASS")
@click.option("--uncertainty", help="Standard uncertainty of the scale.")
@instrument_option
@note_option
@entering_options
def _weigh(
    car_id: str,
    where: str,
    mass: tuple[str, ...],
    uncertainty: str | None,
    instrument: str,
    note: str,
    log: str,
    by: str | None,
    units: str,
    *,
    as_json: bool,
) -> None:
    """Enter what a scale showed.

    ID is the car's. WHERE is what stood on the scale: whole, front, rear or a wheel such as rear_left,
    the rest of the car level beside it. MASS is what it showed, such as "141.2 g" or "4.98 oz"; bare
    numbers are grams.
    """
    written = " ".join(mass).replace("\N{MINUS SIGN}", "-")
    found = log_entry.weigh(
        log,
        car_id,
        choice_of(where, log_entry.Weighed, key="WHERE", what="a part of the car to weigh"),
        positive_of(written, Kind.MASS, key="MASS"),
        uncertainty=standard_of(uncertainty, Kind.MASS),
        instrument=instrument,
        written=written,
        remark=note,
        stamp=stamp_of(by),
    )
    tell(found, units, as_json=as_json, only=("inspect",))


@click.command(name="inspect", cls=TakesNegative)
@click.argument("car_id", metavar="ID", shell_complete=car_ids)
@click.argument("rule", metavar="[RULE]", required=False, shell_complete=offer(_RULES))
@click.argument("value", nargs=-1, metavar="[VALUE]...", shell_complete=findings)
@click.option("--station", help="Which wheel, for its diameter.", shell_complete=stations)
@_uncertainty_option
@instrument_option
@note_option
@entering_options
def _inspect(
    car_id: str,
    rule: str | None,
    value: tuple[str, ...],
    log: str,
    by: str | None,
    units: str,
    *,
    as_json: bool,
    **keys: str | None,
) -> None:
    """Enter what was measured or seen at an inspection; without more, show the whole inspection.

    ID is the car's. RULE is what it is about: length, width, wheelbase, ground_clearance, wheel_diameter,
    weight_behind, weight_below, bent_axles, aerodynamic_parts or lubricant; the mass is entered with
    rollwright log weigh. VALUE is the size with its unit, or what was seen: bent_axles straight or bent;
    aerodynamic_parts none or fitted; lubricant none or its kind. A weight that reaches past the rear hole
    line or the underside is positive, one that ends short of it negative, or "3 mm short"; none says that
    there is no weight. Exit code of the whole inspection: 1 if the car fails a rule.
    """
    # An empty remark is none; an empty size is a slip.
    said = {name: text for name, text in keys.items() if text or (text is not None and name in _NEVER_EMPTY)}
    if rule is None:
        if said:
            raise click.UsageError("This says nothing without its rule; name the rule and what was found.")
        from rollwright.cli.log_inspect import show_inspection  # noqa: PLC0415 - brings numpy

        click.get_current_context().exit(show_inspection(log, car_id, units=units, as_json=as_json))
    which = choice_of(rule, log_entry.Rule, key="RULE", what="something that a class has a rule about")
    found = _inspected(log, car_id, which, value, said, by=by)
    tell(found, units, as_json=as_json, only=("inspect",))


def _inspected(
    log: str,
    car_id: str,
    rule: log_entry.Rule,
    value: tuple[str, ...],
    said: Mapping[str, str],
    *,
    by: str | None,
) -> Entered:
    """Enter what was found about a rule, its words checked."""
    if rule is log_entry.Rule.MASS:
        raise click.UsageError(f"The mass is read by a scale: rollwright log weigh {car_id} whole MASS")
    written = " ".join(" ".join(value).split()).replace("\N{MINUS SIGN}", "-")
    if not written:
        example = "its size" if rule.is_size else "what was seen"
        raise click.UsageError(f"Nothing is said of the {rule.words}; say {example} behind it.")
    is_wheel = rule is log_entry.Rule.WHEEL_DIAMETER
    if is_wheel != ("station" in said):
        raise click.UsageError(
            "A wheel's diameter needs its wheel; say --station."
            if is_wheel
            else "Only a wheel's diameter is that of one wheel; leave --station out."
        )
    size, seen = None, ""
    if not rule.is_size:
        seen = _seen(rule, written)
    elif rule.is_reach and written.casefold() == log_entry.NONE:
        seen = log_entry.NONE
    else:
        size = (reach_of if rule.is_reach else _size)(written, key=rule.words)
    if size is None and "uncertainty" in said:
        raise click.UsageError("Nothing was measured; leave --uncertainty out.")
    return log_entry.inspect(
        log,
        car_id,
        rule,
        value=size,
        found=seen,
        station=station_of(said["station"]) if is_wheel else None,
        uncertainty=standard_of(said.get("uncertainty"), Kind.LENGTH),
        instrument=said.get("instrument", ""),
        written=written if size is not None else "",
        remark=said.get("note", ""),
        stamp=stamp_of(by),
    )


def _size(written: str, *, key: str) -> float:
    return positive_of(written, Kind.LENGTH, key=key)


def _seen(rule: log_entry.Rule, written: str) -> str:
    """Return what was seen of what is looked at, as the log writes it."""
    looks = log_entry.LOOKS.get(rule)
    plain = written.casefold()
    if looks is None:
        return log_entry.NONE if plain == log_entry.NONE else written
    if plain not in looks:
        raise click.UsageError(f"Of {rule.words} one can see {' or '.join(looks)}; write one of the two.")
    return plain


def add_entry_commands(group: click.Group) -> None:
    """Add the commands that enter what the hands fit and drill and what the eyes find.

    Args:
        group: the log's group.
    """
    for each in (_class, _drill, _pin, _weigh, _inspect):
        group.add_command(each)
