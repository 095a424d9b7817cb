"""`rollwright log`: keep a car's log."""

from __future__ import annotations

import click

from rollwright.car.model import Station
from rollwright.cli.complete import (
    amounts,
    car_ids,
    dimensions,
    entry_numbers,
    kinds,
    offer,
    planes,
    seats,
    stations,
)
from rollwright.cli.log_again import add_again_commands, show_retired, show_way_back, started_by
from rollwright.cli.log_entry import add_entry_commands
from rollwright.cli.log_entry_words import entry_words
from rollwright.cli.log_files import add_file_commands, log_option
from rollwright.cli.log_inspect import add_list_command
from rollwright.cli.log_options import (
    TakesNegative,
    because_option,
    by_option,
    entering_options,
    instrument_option,
    note_option,
    stamp_of,
    tell,
    tell_all,
    tell_shortly,
)
from rollwright.cli.log_page import ROLLED, LogPage
from rollwright.cli.log_part_words import gap_of
from rollwright.cli.log_parts import add_part_commands
from rollwright.cli.log_photos import add_photo_commands
from rollwright.cli.log_show import show_entered, show_forbidden, show_history, show_outlook, show_where
from rollwright.cli.log_words import MOVES, amount_of, size_of, station_of
from rollwright.cli.options import json_option, print_json, system_of, units_option
from rollwright.cli.page import listed
from rollwright.workbench import log as logs
from rollwright.workbench import log_past

__all__ = ["command"]

_GATE_OF = {
    "height_difference": ("level",),
    "drift": ("steer",),
    "rail_offset": ("centre",),
    "block_offset": ("centre",),
}
_NUMBERED = ("level", "steer", "centre")
_MOVED = (*_NUMBERED, "roll", "inspect")
"""The gates that a move can make stale."""
_SEEN = ("holds", "leaves", "tail_left", "tail_right")


_ORDER = (
    *("start", "class", "drill", "pin", "fit", "leave-off", "read", "did", "weigh", "roll", "inspect"),
    *("where", "gate", "next", "show", "undo", "note", "photo", "photos", "retire"),
)
"""The commands in the order of the work; others stand behind them as they come."""


class _InOrder(click.Group):
    """A group that lists its commands in the order of the work."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the commands in their order."""
        del ctx
        behind = len(_ORDER)
        return sorted(self.commands, key=lambda name: _ORDER.index(name) if name in _ORDER else behind)


@click.group(name="log", cls=_InOrder, no_args_is_help=False, invoke_without_command=True)
@click.pass_context
def command(ctx: click.Context) -> None:
    """Keep a car's log: enter what you read and did, and see which gates still hold.

    The log is one file that only grows. A mistake is taken back by a new entry, and both stay.
    """
    if ctx.invoked_subcommand is None:
        click.echo(ctx.get_help())


@command.command(name="start")
@click.argument("car", type=click.Path(), required=False)
@click.option("--as", "car_id", metavar="ID", help="Id for the car; made from its name if you do not say.")
@click.option(
    "--class", "class_file", metavar="FILE", type=click.Path(), help="Rules of the class it is built for."
)
@click.option(
    "--recipe",
    metavar="ID",
    help="Start from a car of the log as it was built, and leave CAR out.",
    shell_complete=car_ids,
)
@click.option("--name", metavar="TEXT", help="With --recipe: what the next car is called.")
@click.option("--plan", "planned", is_flag=True, help="CAR is a plan of a car that is not built yet.")
@entering_options
def start(
    car: str | None,
    car_id: str | None,
    class_file: str | None,
    recipe: str | None,
    name: str | None,
    log: str,
    by: str | None,
    units: str,
    *,
    planned: bool,
    as_json: bool,
) -> None:
    """Enter a car in the log, and make the log if there is none.

    CAR is a car file; its whole text is kept, so that the log stands on its own.
    """
    found = started_by(
        log, car, recipe, name=name, car_id=car_id, class_file=class_file, planned=planned, by=by
    )
    if as_json:
        print_json(found.as_json())
        return
    page = LogPage(system=system_of(units))
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
    if found.chosen is not None:
        page.prose(f"Entry {found.chosen.seq}: {entry_words(page, found.chosen)}.", bold=True)
    show_forbidden(page, found.forbidden)
    page.prose(f"Next: rollwright log where {found.entry.car}")
    page.print()


@command.command(name="read", cls=TakesNegative)
@click.argument("car_id", metavar="ID", shell_complete=car_ids)
@click.argument("kind", shell_complete=kinds)
@click.argument("value", nargs=-1, metavar="[VALUE]...")
@click.option(
    "--trace",
    multiple=True,
    metavar="POINT",
    help="Drift: a point of its path, in place of VALUE; at least three of them.",
)
@click.option("--uncertainty", help="Standard uncertainty of the gauge.")
@click.option("--station", help="At which wheel.", shell_complete=stations)
@click.option("--thickness", help="Thickness of the centring block.")
@click.option("--width", help="Width of the centring block.")
@click.option(
    "--seat", help="Where the hand held the wheel on the block: body, middle or head.", shell_complete=seats
)
@click.option("--distance", help="How far the car ran, or where the gap or the tip was read.")
@click.option("--plane", help="Which way daylight was read: cant or sweep.", shell_complete=planes)
@click.option("--against", help="Angle at which the straight-edge stood.")
@click.option("--dimension", help="Which size was read, such as body.width.", shell_complete=dimensions)
@click.option("--set-up", help="Name of the set-up; readings of one set-up share its error.")
@click.option("--common", help="Standard uncertainty of the error that the set-up's readings share.")
@click.option("--instrument", help="What it was read with, for your own memory.")
@click.option("--note", help="A remark, for your own memory.")
@log_option
@by_option
@units_option
@json_option
def read(
    car_id: str,
    kind: str,
    value: tuple[str, ...],
    trace: tuple[str, ...],
    log: str,
    by: str | None,
    units: str,
    *,
    as_json: bool,
    **keys: str | None,
) -> None:
    """Enter a reading, and see what it means.

    ID is the car's, KIND what was read: height_difference, drift, rail_offset, block_offset,
    rail_clearance, roll_clearance, tail_offset, tip_sweep, daylight or size; level, steer and centre are
    short for the first three. Each VALUE is one repeat in quotes, such as "97 mm right" for a drift. Words
    and units are those of a readings file. Each POINT of a drift's path is said by how far down the board
    and how far to which side: --trace "600 mm 12.5 mm right".
    """
    from rollwright.workbench.log_reading import read as enter_reading  # noqa: PLC0415 - not always needed

    said = {name: text for name, text in keys.items() if text is not None}
    found = enter_reading(log, car_id, kind, value, said, trace=trace, stamp=stamp_of(by))
    what = found.entry.event.as_plain()["reading"]
    tell(found, units, as_json=as_json, only=_GATE_OF.get(what, _NUMBERED))


@command.command(name="did", cls=TakesNegative)
@click.argument("car_id", metavar="ID", shell_complete=car_ids)
@click.argument("move", type=click.Choice(MOVES), metavar="MOVE")
@click.argument("station", shell_complete=stations)
@click.argument("amount", nargs=-1, required=True, metavar="AMOUNT", shell_complete=amounts)
@click.option("--measured", is_flag=True, help="The amount was measured afterwards, not only asked for.")
@click.option("--uncertainty", help="Standard uncertainty of the measured amount.")
@note_option
@log_option
@by_option
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
    "0.25 mm added" or "removed" for washers; "0.3 mm" for a shim that raises the body, STATION then also
    front or rear for both axles of that end. An amount of "unknown" says that nobody knows.
    """
    end = station.strip().casefold()
    both = [each for each in Station if move == "shim" and each.value.startswith(f"{end}_")]
    places = both if end in {"front", "rear"} and both else [station_of(station)]
    at = places[0]
    by_how_much = amount_of(move, " ".join(amount), station=at)
    if uncertainty is not None and (not measured or by_how_much is None):
        raise click.UsageError("--uncertainty is that of a measured amount; add --measured, or leave it out.")
    if measured and by_how_much is None:
        raise click.UsageError("What was measured is not unknown; write the amount, or leave --measured out.")
    found = logs.did_all(
        log,
        car_id,
        move,
        places,
        amount=by_how_much,
        measured=measured,
        uncertainty=None if uncertainty is None else size_of(move, uncertainty),
        remark=note,
        stamp=stamp_of(by),
    )
    if len(places) > 1:
        tell_all(found, units, as_json=as_json)
    else:
        tell(found.last, units, as_json=as_json, only=_MOVED)


@command.command(name="roll")
@click.argument("car_id", metavar="ID", shell_complete=car_ids)
@click.argument("seen", type=click.Choice(_SEEN), metavar="SEEN", shell_complete=offer(ROLLED))
@click.option(
    "--gap",
    "gaps",
    multiple=True,
    metavar="TEXT",
    help='What a feeler showed between a wheel and the rail, as in "rear_left 0.4 mm"; may be repeated.',
)
@click.option("--lane", default="", metavar="TEXT", help="On which lane or track.")
@instrument_option
@note_option
@log_option
@by_option
@units_option
@json_option
def roll(
    car_id: str,
    seen: str,
    gaps: tuple[str, ...],
    lane: str,
    instrument: str,
    note: str,
    log: str,
    by: str | None,
    units: str,
    *,
    as_json: bool,
) -> None:
    """Enter what the car did, rolled slowly down a lane.

    ID is the car's. SEEN is holds (it held the rail), leaves (it left the rail), tail_left or tail_right
    (its tail swung out).
    """
    felt = [gap_of(text) for text in gaps]
    stations = [station for station, _ in felt]
    for station in stations:
        if stations.count(station) > 1:
            raise click.UsageError(f"The {station.words} wheel has two gaps; give each once.")
    found = logs.roll(
        log, car_id, seen, gaps=felt, lane=lane, instrument=instrument, remark=note, stamp=stamp_of(by)
    )
    tell(found, units, as_json=as_json, only=("roll",))


@command.command(name="where")
@click.argument("car_id", metavar="ID", shell_complete=car_ids)
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
    if found.found.retired and (retired := log_past.retired_by(log, car_id)) is not None:
        show_way_back(page, retired)
    page.print()


@command.command(name="next")
@click.argument("car_id", metavar="ID", shell_complete=car_ids)
@click.option("--track", type=click.Path(), help="File of a track, to say what the moves are worth on it.")
@log_option
@units_option
@json_option
@click.pass_context
def next_(ctx: click.Context, car_id: str, track: str | None, log: str, units: str, *, as_json: bool) -> None:
    """Say all the next moves for a car, and by how much.

    ID is the car's. The answer is that of rollwright next, from everything the log knows; a car that is
    retired gets none. Exit code 1: a target cannot be met by the moves that are allowed.
    """
    from rollwright.cli.next_command import show_advice, show_worth  # noqa: PLC0415 - only this needs it
    from rollwright.workbench import log_gates, timing  # noqa: PLC0415 - brings numpy

    retired = log_past.retired_by(log, car_id)
    if retired is not None and not as_json:
        page = LogPage(system=system_of(units))
        show_retired(page, retired)
        page.print()
        return
    found = log_gates.next_moves(log, car_id, system=system_of(units))
    worth = None if track is None else timing.saving(found.advised, track)
    if as_json:
        told = found.as_json() | {"retired": found.found.retired or None}
        print_json(told if track is None else {**told, **timing.worth_json(worth)})
    else:
        page = LogPage(system=system_of(units))
        if found.held:
            page.prose(
                f"Something has to be settled before anything is moved: rollwright log where {found.car}",
                first="! ",
                bold=True,
            )
            page.gap()
        elif found.unread:
            gates = listed([state.gate.value for state in found.unread])
            guess = (
                "is a guess until you read it"
                if len(found.unread) == 1
                else "are guesses until you read them"
            )
            again = " again" if len(found.stale) == len(found.unread) else ""
            page.prose(
                f"{gates.capitalize()} {guess}{again}. Sand nothing yet. What to do first: rollwright log "
                f"where {found.car}",
                first="! ",
                bold=True,
            )
            page.gap()
        show_advice(page, found.advised, stale=found.stale)
        show_outlook(page, found)
        if track is not None:
            show_worth(page, worth)
        page.print()
    ctx.exit(1 if found.advised.advice.missed else 0)


@command.command(name="show")
@click.argument("car_id", metavar="[ID]", required=False, shell_complete=car_ids)
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
    page = LogPage(system=system_of(units), as_written=False)
    show_history(page, found, cars=car_id is None)
    page.print()


@command.command(name="undo")
@click.argument("car_id", metavar="ID", shell_complete=car_ids)
@click.argument("number", type=int, required=False, shell_complete=entry_numbers)
@because_option
@log_option
@by_option
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
    found = log_past.undo(log, car_id, number, reason=because, stamp=stamp_of(by))
    if as_json:
        print_json(found.as_json())
        return
    page = LogPage(system=system_of(units))
    if found.about is not None:
        page.prose(f"Withdrawn: entry {found.about.seq}, {entry_words(page, found.about)}.")
    show_entered(page, found)
    page.print()


@command.command(name="note")
@click.argument("car_id", metavar="ID", shell_complete=car_ids)
@click.argument("text")
@entering_options
def note(car_id: str, text: str, log: str, by: str | None, units: str, *, as_json: bool) -> None:
    """Enter a remark.

    ID is the car's, TEXT the remark, in quotes.
    """
    tell_shortly(logs.note(log, car_id, text, stamp=stamp_of(by)), units, as_json=as_json)


@command.command(name="retire")
@click.argument("car_id", metavar="ID", shell_complete=car_ids)
@because_option
@entering_options
def retire(car_id: str, because: str, log: str, by: str | None, units: str, *, as_json: bool) -> None:
    """Enter that a car is no longer worked on.

    ID is the car's. Everything about it stays in the log.
    """
    tell_shortly(logs.retire(log, car_id, because, stamp=stamp_of(by)), units, as_json=as_json)


for add_commands in (
    *(add_entry_commands, add_part_commands, add_photo_commands),
    *(add_list_command, add_again_commands, add_file_commands),
):
    add_commands(command)
