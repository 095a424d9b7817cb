"""`rollwright parts`: what lies in the box, what is fit to race, and which parts belong on a car."""

from __future__ import annotations

from collections.abc import Mapping

import click

from rollwright.cli.options import force_option, json_option, print_json, system_of, units_option
from rollwright.cli.page import Page
from rollwright.cli.parts_words import show_box, show_set
from rollwright.workbench import parts
from rollwright.workbench.pictures import check_picture

__all__ = ["command"]


@click.command(name="parts")
@click.argument("box", type=click.Path())
@click.option("--car", type=click.Path(), help="Car file: which parts go on it, and where?")
@click.option("--track", type=click.Path(), help="File of the track that the parts are priced on.")
@click.option("--lane", default="", help="Which lane; the track as it is if you do not say.")
@click.option("--class", "class_file", type=click.Path(), help="Class file, for its wheel diameter.")
@click.option(
    "--lubricant", help="Which spin-downs count; those with what most wheels were spun with if left out."
)
@click.option("--save-as", type=click.Path(), help="Write the car with its new parts to this file.")
@click.option("--plot", type=click.Path(), help="Draw what each wheel costs into this .svg or .png.")
@force_option
@units_option
@json_option
def command(
    box: str,
    car: str | None,
    track: str | None,
    lane: str,
    class_file: str | None,
    lubricant: str | None,
    save_as: str | None,
    plot: str | None,
    units: str,
    *,
    force: bool,
    as_json: bool,
) -> None:
    """Say which loose parts are fit to race, and which belong on a car.

    BOX is a parts file. Alone, its wheels and axles are graded, with what to measure where one is in
    doubt. With --car and --track the four wheels and axles are named that cost the least time, where each
    goes, and what that is worth against the average of the box.
    """
    _check_together(car, track, {"--lane": lane, "--class": class_file, "--save-as": save_as, "--plot": plot})
    if plot is not None:
        check_picture(plot, overwrite=force)
    if car is None or track is None:
        found = parts.look_through(box, lubricant=lubricant)
    else:
        found = parts.match(
            box, car_file=car, track_file=track, lane=lane, class_file=class_file, lubricant=lubricant
        )
        if save_as is not None:
            parts.save(found, car, save_as, overwrite=force)
        if plot is not None:
            parts.draw(found, plot, overwrite=force)
    if as_json:
        print_json(found.as_json())
        return
    page = Page(system=system_of(units))
    if found.found is None:
        show_box(page, found)
    else:
        show_set(page, found)
    _say_written(page, {"Written to": save_as, "Drawn in": plot})
    page.print()


def _check_together(car: str | None, track: str | None, wanting: Mapping[str, str | None]) -> None:
    """Refuse half of what a set needs, and what only a set has."""
    if (car is None) != (track is None):
        raise click.UsageError("A set is for a car on a track: give both --car and --track, or neither.")
    given = next((option for option, value in wanting.items() if value), None)
    if car is None and given is not None:
        raise click.UsageError(f"{given} goes with a set: give --car and --track as well.")


def _say_written(page: Page, written: Mapping[str, str | None]) -> None:
    for said, path in written.items():
        if path is not None:
            page.gap()
            page.prose(f"{said} {path}.")
