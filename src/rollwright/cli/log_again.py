"""`rollwright log recipe` and `compare`: what was built, for the next car and beside another."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from rollwright.cli.complete import car_ids
from rollwright.cli.log_files import log_option
from rollwright.cli.log_options import stamp_of
from rollwright.cli.log_page import TIED, LogPage
from rollwright.cli.options import json_option, print_json, system_of, units_option
from rollwright.cli.page import listed
from rollwright.units import show, show_sided
from rollwright.workbench import log as logs

if TYPE_CHECKING:
    from rollwright.workbench.log import Recorded
    from rollwright.workbench.log_compare import Compared, Comparison
    from rollwright.workbench.log_recipe import Cooked

__all__ = ["add_again_commands", "show_retired", "show_way_back", "started_by"]

_CLEAR = "*"
"""Mark of a clear difference, in letters that every terminal knows."""
_NAMES = {"height_difference": "level", "rail_offset": "rail"}


@click.command(name="recipe")
@click.argument("car_id", metavar="ID", shell_complete=car_ids)
@click.argument("file", type=click.Path())
@click.option("--name", help="What the next car is called; the same as the first if you do not say.")
@log_option
@units_option
@json_option
def _recipe(car_id: str, file: str, name: str | None, log: str, units: str, *, as_json: bool) -> None:
    """Write a car file with everything as it was built, for the next car.

    ID is the car's, FILE the file to write; one that is there already is never touched. What was drilled,
    bent, sanded and fitted stands in it as it came out, rounded to what a builder can make.
    """
    from rollwright.workbench import log_recipe  # noqa: PLC0415 - brings numpy

    found = log_recipe.recipe(log, car_id, file, name=name)
    if as_json:
        print_json(found.as_json())
        return
    page = LogPage(system=system_of(units))
    _show_recipe(page, found)
    page.print()


def _words(key: str) -> str:
    """Return a key of the car file as it is said: `front left relief`, `weight slug mass`."""
    head, _, rest = key.partition(".")
    part = {"wheels": "wheel ", "axles": "axle ", "weights": "weight ", "body": "body "}.get(head, "")
    return part + rest.replace("_", " ").replace(".", " ")


def _show_recipe(page: LogPage, found: Cooked) -> None:
    recipe = found.recipe
    page.prose(f"Wrote {found.written}: {found.name} as built, by entry {recipe.entry}.", bold=True)
    if found.open_gates:
        page.prose(
            f"Not all its gates are passed: {listed(found.open_gates)}. The recipe is of {found.name} as it "
            "is, all the same.",
            first="! ",
            bold=True,
        )
    if found.doubts:
        page.prose(
            f"What was entered of it contradicts itself: {'; '.join(found.doubts)}. The recipe is no better "
            f"than that; settle it first, see: rollwright log where {found.car}",
            first="! ",
            bold=True,
        )
    page.gap()
    rows = [
        [_words(each.key), page.quantity(each.kind, each.planned), page.quantity(each.kind, each.built)]
        for each in recipe.built
    ]
    if rows:
        page.table(rows, head=["", "planned", "built"])
        page.gap()
    level, drift, rail = (float(each) for each in recipe.gates)
    page.prose(
        f"By this file alone: level {page.level(level)}, drift {page.drift(drift)}, rail {page.rail(rail)}."
    )
    for words in _notes(found):
        page.prose(words, first="- ", rest="  ")
    page.gap()
    page.prose(f"Next: rollwright log start {found.written}, or start the next car from the log itself:")
    page.prose(f"rollwright log start --recipe {found.car}", first="  ")


def _notes(found: Cooked) -> list[str]:
    recipe = found.recipe
    notes = []
    if recipe.own:
        tables = listed([f"[{name}]" for name in recipe.own])
        notes.append(f"Has its own now, since the wheels that shared it differ: {tables}.")
    if recipe.added:
        notes.append(f"Weights that were added: {listed(recipe.added)}.")
    if recipe.left_off:
        notes.append(f"Weights that were left off, and are taken out: {listed(recipe.left_off)}.")
    if recipe.unplaced:
        notes.append(f"Nobody said where these weights are; write their places: {listed(recipe.unplaced)}.")
    if recipe.anew:
        notes.append(
            f"Measured on {found.name}'s own body, so measure anew on the next: "
            f"{listed([_words(key) for key in recipe.anew])}."
        )
    return notes


@click.command(name="compare")
@click.argument("first", shell_complete=car_ids)
@click.argument("second", shell_complete=car_ids)
@click.option("--all", "every", is_flag=True, help="List everything, also what is the same.")
@log_option
@units_option
@json_option
def _compare(first: str, second: str, log: str, units: str, *, every: bool, as_json: bool) -> None:
    """Say what differs between two cars, or of one car between two times.

    FIRST and SECOND are ids of cars. lark@9 is the car lark as it was after entry 9. The difference is the
    second less the first.
    """
    from rollwright.workbench import log_compare  # noqa: PLC0415 - brings numpy

    found = log_compare.compare(log, first, second)
    if as_json:
        print_json(found.as_json())
        return
    page = LogPage(system=system_of(units))
    _show_comparison(page, found, every=every)
    page.print()


def _show_comparison(page: LogPage, found: Comparison, *, every: bool) -> None:
    first, second = found.first, found.second
    names = (first.label, second.label)
    title = first.name if found.same_car else f"{first.name} and {second.name}"
    page.line(f"{title}: {names[0]} and {names[1]}", bold=True)
    page.gap()
    rows = [row for row in found.rows if every or found.named(row)]
    cells = [[_name(row), *_values(page, row), _difference(page, row)] for row in rows]
    head = ["", *names, "difference"]
    widths = [max(map(len, column)) for column in zip(head, *cells, strict=True)]
    if sum(widths) + len(widths) - 1 <= page.width:
        page.table(cells, head=head)
    else:
        for name, one, two, difference in cells:
            page.prose(name)
            page.prose(f"{one} → {two}", first="  ")
            page.prose(difference, first="  ")
    page.gap()
    for words in _said(found, rows):
        page.prose(words)


def _name(row: Compared) -> str:
    name = _NAMES.get(row.name, row.name.replace(".", " ").replace("_", " "))
    return f"{_CLEAR if row.clear else ' '} {name}"


def _values(page: LogPage, row: Compared) -> list[str]:
    like = max(abs(row.first), abs(row.second))
    if row.name == "drift":
        return [_tied(show_sided(value, system=page.system)) for value in (row.first, row.second)]
    return [
        _tied(show(value, kind=row.kind, system=page.system, like=like)) for value in (row.first, row.second)
    ]


def _difference(page: LogPage, row: Compared) -> str:
    if row.touched is False:
        return "not touched"
    if row.name == "drift":
        return _tied(show_sided(row.difference, system=page.system, uncertainty=row.uncertainty))
    return _tied(
        show(row.difference, kind=row.kind, system=page.system, uncertainty=row.uncertainty, signed=True)
    )


def _tied(shown: object) -> str:
    """Return a printed quantity that a line break cannot part."""
    return str(shown).replace(" ", TIED)


def _said(found: Comparison, shown: list[Compared]) -> list[str]:
    """Return what the table leaves out, and how it is to be read."""
    rest = [row for row in found.rows if row not in shown]
    still = sum(row.touched is False for row in rest)
    lines = []
    if any(row.clear for row in shown):
        lines.append(
            f"{_CLEAR} A clear difference: more than 1.96 times its uncertainty (two-sided, 95 %). Of what "
            "is truly the same, one in twenty is marked by chance."
        )
    if len(rest) > still:
        lines.append(f"{_others(len(rest) - still)} the same within what is known.")
    if still:
        lines.append(
            f"{_others(still)} not touched between the two: the same wood and wire, only known better."
        )
    if rest:
        lines.append("--all lists them.")
    lines.append("Plus is nose up for the level, off the rail for the rail, and else as in the car file.")
    if any(row.touched for row in found.rows):
        lines.append(
            "These uncertainties are upper bounds: an error that stands in both times only makes the "
            "difference surer."
        )
    if found.first.dominant is not found.second.dominant:
        lines.append(
            f"{found.first.label} is steered at {found.first.dominant.words}, {found.second.label} at "
            f"{found.second.dominant.words}: what is left on the one is right on the other."
        )
    return lines


def _others(count: int) -> str:
    return "One other is" if count == 1 else f"{count} others are"


def started_by(
    log: str,
    car: str | None,
    recipe: str | None,
    *,
    name: str | None,
    car_id: str | None,
    class_file: str | None,
    planned: bool,
    by: str | None,
) -> logs.Started:
    """Enter a car from its file or from the recipe of another, whichever was said.

    Args:
        log: path of the log.
        car: the car file, or None.
        recipe: id of the car that was built, or None.
        name: what the next car is called, with a recipe.
        car_id: id for the car, or None.
        class_file: file of the rules of its class, or None.
        planned: whether the file is a plan of a car that is not built yet.
        by: who enters it, or None.

    Returns:
        The car's first entry.

    Raises:
        click.UsageError: both were said or neither, a name for a car that has its own file, or a plan of a
            car that was built.
    """
    if recipe is None:
        if car is None:
            raise click.UsageError("Say the car's file, or a car of the log to start from: --recipe ID.")
        if name is not None:
            raise click.UsageError("--name goes with --recipe; a car file has its own name.")
        return logs.start(log, car, car=car_id, class_file=class_file, planned=planned, stamp=stamp_of(by))
    if planned:
        raise click.UsageError("--plan says what CAR is; a recipe is of a car that was built.")
    if car is not None:
        raise click.UsageError("Say the car's file or --recipe, not both.")
    from rollwright.workbench import log_recipe  # noqa: PLC0415 - rarely needed

    return log_recipe.start_from(
        log, recipe, car=car_id, name=name, class_file=class_file, stamp=stamp_of(by)
    )


def show_retired(page: LogPage, entry: Recorded) -> None:
    """Add that a car is retired, by which entry, and how to go on with it all the same.

    Args:
        page: where to add it.
        entry: the entry that retired it.
    """
    reason = str(entry.event.as_plain()["reason"])
    end = "" if reason.endswith((".", "!", "?")) else "."
    page.prose(f"{entry.car} is retired (entry{TIED}{entry.seq}): {reason}{end} No move is due.", bold=True)
    show_way_back(page, entry)


def show_way_back(page: LogPage, entry: Recorded) -> None:
    """Add how to work on a retired car again, from the entry that retired it."""
    page.prose(f"To work on it again: rollwright log undo {entry.car} {entry.seq} --because TEXT")


def add_again_commands(group: click.Group) -> None:
    """Add the commands that look at what was built.

    Args:
        group: the log's group.
    """
    for each in (_recipe, _compare):
        group.add_command(each)
