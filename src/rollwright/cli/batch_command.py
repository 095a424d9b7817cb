"""`rollwright batch`: is my jig any good? What a batch of drilled bodies says of it."""

from __future__ import annotations

import click

from rollwright.cli.batch_words import show_batch
from rollwright.cli.options import force_option, json_option, print_json, system_of, units_option
from rollwright.cli.page import Page
from rollwright.workbench import batch, batch_picture
from rollwright.workbench.pictures import check_picture

__all__ = ["command"]


@click.command(name="batch")
@click.argument("file", type=click.Path(), required=False)
@click.option("--log", "log", type=click.Path(), help="Take the bodies of this bench log in place of a file.")
@click.option("--car", type=click.Path(), help="Car file with the tolerances of its holes.")
@click.option("--set-up", "set_up", help="Which set-up of the jig; the last one if you do not say.")
@click.option("--vs", "versus", help="Set-up to compare it with.")
@click.option("--good", type=int, help="How many good bodies you want in all.")
@click.option("--plot", type=click.Path(), help="Draw the charts into this file, an .svg or a .png.")
@force_option
@units_option
@json_option
def command(
    file: str | None,
    log: str | None,
    car: str | None,
    set_up: str | None,
    versus: str | None,
    good: int | None,
    plot: str | None,
    units: str,
    *,
    force: bool,
    as_json: bool,
) -> None:
    """Say whether a drill jig is any good, from the bodies that it drilled.

    FILE is a batch file: the bodies in the order of drilling, each with what was read of its holes. The
    answer is the share that pass, how many more to drill, and for each hole whether a bias can be shimmed
    away or the scatter is too wide, and whether bit or bushing began to wander.
    """
    if (file is None) == (log is None):
        raise click.UsageError("Give a batch file, or a log with --log; not both and not neither.")
    if plot is not None:
        check_picture(plot, overwrite=force)
    if file is not None:
        found = batch.batch(file, car=car, set_up=set_up, versus=versus, good=good)
    else:
        found = batch.batch_in_log(str(log), car=car, set_up=set_up, versus=versus, good=good)
    if plot is not None:
        batch_picture.save(plot, found, overwrite=force)
    if as_json:
        print_json(found.as_json())
        return
    page = Page(system=system_of(units))
    show_batch(page, found)
    if plot is not None:
        page.gap()
        page.prose(f"Drawn in {plot}.")
    page.print()
