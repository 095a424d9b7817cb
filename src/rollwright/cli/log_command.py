"""`rollwright log`: keep a car's log."""

from __future__ import annotations

import getpass
import re
import secrets
from collections.abc import Callable
from datetime import datetime
from typing import Any, TypeVar

import click

from rollwright.cli.log_files import add_file_commands, log_option
from rollwright.cli.log_show import LogPage, entry_words, show_entered, show_history, show_where
from rollwright.cli.log_words import MOVES, amount_of, size_of, station_of
from rollwright.cli.options import json_option, print_json, system_of, units_option
from rollwright.workbench import log as logs
from rollwright.workbench import log_past

__all__ = ["command"]

_Command = TypeVar("_Command", bound=Callable[..., Any])
_GATE_OF = {
    "height_difference": ("level",),
    "drift": ("steer",),
    "rail_offset": ("centre",),
    "block_offset": ("centre",),
}
_NUMBERED = ("level", "steer", "centre")
_SEEN = ("holds", "leaves", "tail_left", "tail_right")


class _InOrder(click.Group):
    """A group that lists its commands in the order of the work."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the commands as they were defined."""
        del ctx
        return list(self.commands)


class _TakesNegative(click.Command):
    """A command whose words may be negative numbers, which would otherwise be taken for options."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Write the sign of negative numbers as a true minus sign first."""
        return super().parse_args(ctx, [re.sub(r"^-(?=\s*[\d.,½¼¾⅛⅜⅝⅞⅓⅔])", "\u2212", arg) for arg in args])


def _by_option(command: _Command) -> _Command:
    return click.option("--by", help="Who enters it; your login name if you do not say.")(command)


def _because_option(command: _Command) -> _Command:
    return click.option("--because", required=True, metavar="TEXT", help="Why, in your own words.")(command)


def _note_option(command: _Command) -> _Command:
    return click.option("--note", default="", metavar="TEXT", help="A remark, for your own memory.")(command)


def _stamp(by: str | None) -> logs.Stamp:
    return logs.Stamp(
        time=datetime.now().astimezone(),
        author=_login() if by is None else by,
        event_id=secrets.token_hex(16),
    )


def _login() -> str:
    try:
        return getpass.getuser() or "someone"
    except (KeyError, OSError, ImportError):
        # A machine may know no name for whoever is logged in.
        return "someone"


@click.group(name="log", cls=_InOrder, no_args_is_help=False, invoke_without_command=True)
@click.pass_context
def command(ctx: click.Context) -> None:
    """Keep a car's log: enter what you read and did, and see which gates still hold.

    The log is one file that only grows. A mistake is taken back by a new entry, and both stay.
    """
    if ctx.invoked_subcommand is None:
        click.echo(ctx.get_help())


@command.command(name="start")
@click.argument("car", type=click.Path())
@click.option("--as", "car_id", metavar="ID", help="Id for the car; made from its name if you do not say.")
@log_option
@_by_option
@json_option
def start(car: str, car_id: str | None, log: str, by: str | None, *, as_json: bool) -> None:
    """Enter a car in the log, and make the log if there is none.

    CAR is a car file; its whole text is kept, so that the log stands on its own.
    """
    found = logs.start(log, car, car=car_id, stamp=_stamp(by))
    if as_json:
        print_json(found.as_json())
        return
    page = LogPage(system=system_of("mm"))
    if found.made:
        page.prose(f"Made the log {log}.")
    if found.synced is not None:
        page.prose(
            f"{found.synced} seems to be copied by a service or over a network, which can spoil a log. Keep "
            "the log elsewhere, and put backups there: rollwright log backup FILE",
            first="! ",
            bold=True,
        )
    page.prose(f"Entry {found.entry.seq}: {found.name} is in the log as {found.entry.car}.", bold=True)
    page.prose(f"Next: rollwright log where {found.entry.car}")
    page.print()


@command.command(name="read", cls=_TakesNegative)
@click.argument("car_id", metavar="ID")
@click.argument("kind")
@click.argument("value", nargs=-1, required=True, metavar="VALUE...")
@click.option("--uncertainty", help="Standard uncertainty of the gauge.")
@click.option("--station", help="At which wheel.")
@click.option("--thickness", help="Thickness of the centring block.")
@click.option("--width", help="Width of the centring block.")
@click.option("--seat", help="Where the hand held the wheel on the block: body, middle or head.")
@click.option("--distance", help="How far the car ran, or where the gap or the tip was read.")
@click.option("--plane", help="Which way daylight was read: cant or sweep.")
@click.option("--against", help="Angle at which the straight-edge stood.")
@click.option("--dimension", help="Which size was read, such as body.width.")
@click.option("--set-up", help="Name of the set-up; readings of one set-up share its error.")
@click.option("--common", help="Standard uncertainty of the error that the set-up's readings share.")
@click.option("--instrument", help="What it was read with, for your own memory.")
@click.option("--note", help="A remark, for your own memory.")
@log_option
@_by_option
@units_option
@json_option
def read(
    car_id: str,
    kind: str,
    value: tuple[str, ...],
    log: str,
    by: str | None,
    units: str,
    *,
    as_json: bool,
    **keys: str | None,
) -> None:
    """Enter a reading, and see what it means.

    ID is the car's, KIND what was read: height_difference, drift, rail_offset, block_offset,
    rail_clearance, tip_sweep, daylight or size. Each VALUE is one repeat in quotes, such as "97 mm right"
    for a drift. Words and units are those of a readings file.
    """
    from rollwright.workbench.log_reading import read as enter_reading  # noqa: PLC0415 - not always needed

    said = {name: text for name, text in keys.items() if text is not None}
    found = enter_reading(log, car_id, kind, value, said, stamp=_stamp(by))
    what = found.entry.event.as_plain()["reading"]
    _tell(found, units, as_json=as_json, only=_GATE_OF.get(what, _NUMBERED))


@command.command(name="did", cls=_TakesNegative)
@click.argument("car_id", metavar="ID")
@click.argument("move", type=click.Choice(MOVES), metavar="MOVE")
@click.argument("station")
@click.argument("amount", nargs=-1, required=True, metavar="AMOUNT")
@click.option("--measured", is_flag=True, help="The amount was measured afterwards, not only asked for.")
@click.option("--uncertainty", help="Standard uncertainty of the measured amount.")
@_note_option
@log_option
@_by_option
@units_option
@json_option
def did(
    car_id: str,
    move: str,
    station: str,
    amount: tuple[str, ...],
    uncertainty: str | None,
    note: str,
    log: str,
    by: str | None,
    units: str,
    *,
    measured: bool,
    as_json: bool,
) -> None:
    """Enter a move that you made, and see which gates it made stale.

    ID is the car's. MOVE is bend, turn, sand, washer or shim, STATION the wheel, such as front_left.
    AMOUNT says the direction: "1.25 deg more" or "less" for a bend; "14.5 deg clockwise" or
    "counter-clockwise", seen from outside the wheel, for a turn; "0.46 mm" for wood sanded off;
    "0.25 mm added" or "removed" for washers; "0.3 mm" for a shim that raises the body. An amount of
    "unknown" says that nobody knows.
    """
    at = station_of(station)
    by_how_much = amount_of(move, " ".join(amount), station=at)
    if uncertainty is not None and (not measured or by_how_much is None):
        raise click.UsageError("--uncertainty is that of a measured amount; add --measured, or leave it out.")
    if measured and by_how_much is None:
        raise click.UsageError("What was measured is not unknown; write the amount, or leave --measured out.")
    found = logs.did(
        log,
        car_id,
        move,
        at,
        amount=by_how_much,
        measured=measured,
        uncertainty=None if uncertainty is None else size_of(move, uncertainty),
        remark=note,
        stamp=_stamp(by),
    )
    _tell(found, units, as_json=as_json)


@command.command(name="roll")
@click.argument("car_id", metavar="ID")
@click.argument("seen", type=click.Choice(_SEEN), metavar="SEEN")
@_note_option
@log_option
@_by_option
@units_option
@json_option
def roll(car_id: str, seen: str, note: str, log: str, by: str | None, units: str, *, as_json: bool) -> None:
    """Enter what the car did, rolled slowly down a lane.

    ID is the car's. SEEN is holds (it held the rail), leaves (it left the rail), tail_left or tail_right
    (its tail swung out).
    """
    found = logs.roll(log, car_id, seen, remark=note, stamp=_stamp(by))
    _tell(found, units, as_json=as_json, only=("roll",))


def _tell(found: logs.Entered, units: str, *, as_json: bool, only: tuple[str, ...] = ()) -> None:
    if as_json:
        print_json(found.as_json())
        return
    page = LogPage(system=system_of(units))
    show_entered(page, found, only=only)
    page.print()


@command.command(name="where")
@click.argument("car_id", metavar="ID")
@log_option
@units_option
@json_option
def where(car_id: str, log: str, units: str, *, as_json: bool) -> None:
    """Say how the gates of a car stand, and the one next step.

    ID is the car's. A gate is passed by a reading, and a later move makes it stale only so far as it can
    have moved it. The exit code is 0 whatever the gates say.
    """
    from rollwright.workbench import log_gates  # noqa: PLC0415 - brings numpy

    found = log_gates.where(log, car_id, system=system_of(units))
    if as_json:
        print_json(found.as_json())
        return
    page = LogPage(system=system_of(units))
    show_where(page, found)
    page.print()


@command.command(name="next")
@click.argument("car_id", metavar="ID")
@log_option
@units_option
@json_option
@click.pass_context
def next_(ctx: click.Context, car_id: str, log: str, units: str, *, as_json: bool) -> None:
    """Say all the next moves for a car, and by how much.

    ID is the car's. The answer is that of rollwright next, from everything the log knows. Exit code 1: a
    target cannot be met by the moves that are allowed.
    """
    from rollwright.cli.next_command import show_advice  # noqa: PLC0415 - only this needs it
    from rollwright.workbench import log_gates  # noqa: PLC0415 - brings numpy

    found = log_gates.next_moves(log, car_id, system=system_of(units))
    if as_json:
        print_json(found.as_json())
    else:
        page = LogPage(system=system_of(units))
        if found.unread:
            gates = ", ".join(state.gate.value for state in found.unread)
            page.prose(
                f"This rests on the model where nothing read still holds: {gates}. See: "
                f"rollwright log where {found.car}",
                first="! ",
                bold=True,
            )
            page.gap()
        show_advice(page, found.advised)
        page.print()
    ctx.exit(1 if found.advised.advice.plan.cannot else 0)


@command.command(name="show")
@click.argument("car_id", metavar="[ID]", required=False)
@log_option
@units_option
@json_option
def show(car_id: str | None, log: str, units: str, *, as_json: bool) -> None:
    """Show what was entered, newest last.

    ID is the car's; without it all cars are shown. Withdrawn entries stay, struck through.
    """
    found = log_past.history(log, car_id)
    if as_json:
        print_json(found.as_json())
        return
    page = LogPage(system=system_of(units))
    show_history(page, found, cars=car_id is None)
    page.print()


@command.command(name="undo")
@click.argument("car_id", metavar="ID")
@click.argument("number", type=int, required=False)
@_because_option
@log_option
@_by_option
@units_option
@json_option
def undo(
    car_id: str,
    number: int | None,
    because: str,
    log: str,
    by: str | None,
    units: str,
    *,
    as_json: bool,
) -> None:
    """Take an entry back; both it and the undoing stay in the log.

    ID is the car's, NUMBER the entry's; without it the last one that counts is taken back.
    """
    found = log_past.undo(log, car_id, number, reason=because, stamp=_stamp(by))
    if as_json:
        print_json(found.as_json())
        return
    page = LogPage(system=system_of(units))
    if found.about is not None:
        page.prose(f"Withdrawn: entry {found.about.seq}, {entry_words(page, found.about)}.")
    show_entered(page, found)
    page.print()


@command.command(name="note")
@click.argument("car_id", metavar="ID")
@click.argument("text")
@log_option
@_by_option
@json_option
def note(car_id: str, text: str, log: str, by: str | None, *, as_json: bool) -> None:
    """Enter a remark.

    ID is the car's, TEXT the remark, in quotes.
    """
    _tell_shortly(logs.note(log, car_id, text, stamp=_stamp(by)), as_json=as_json)


@command.command(name="retire")
@click.argument("car_id", metavar="ID")
@_because_option
@log_option
@_by_option
@json_option
def retire(car_id: str, because: str, log: str, by: str | None, *, as_json: bool) -> None:
    """Enter that a car is no longer worked on.

    ID is the car's. Everything about it stays in the log.
    """
    _tell_shortly(logs.retire(log, car_id, because, stamp=_stamp(by)), as_json=as_json)


def _tell_shortly(found: logs.Entered, *, as_json: bool) -> None:
    if as_json:
        print_json(found.as_json())
        return
    page = LogPage(system=system_of("mm"))
    page.prose(f"Entry {found.entry.seq}: {entry_words(page, found.entry)}.", bold=True)
    page.print()


add_file_commands(command)
