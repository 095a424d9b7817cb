"""`rollwright draw`: the set-up sheet, the views, and gauges and guides in true size."""

from __future__ import annotations

from typing import Literal

import click

from rollwright.cli.draw_words import show_drawable, show_drawn
from rollwright.cli.options import called, force_option, json_option, print_json, system_of, units_option
from rollwright.cli.page import Page

__all__ = ["command"]


@click.command(name="draw")
@click.argument("car", type=click.Path())
@click.argument("what", nargs=-1, metavar="[WHAT]...")
@click.option(
    "--as",
    "form",
    type=click.Choice(("svg", "dxf", "pdf", "png")),
    help="Kind of file; pdf for the sheet and gauges, svg for views if you do not say.",
)
@click.option(
    "--paper", type=click.Choice(("a4", "letter")), default="a4", show_default=True, help="What you print on."
)
@click.option(
    "--to", "folder", type=click.Path(), default=".", help="Folder for the files; here if not given."
)
@click.option("--cut-width", metavar="TEXT", help='Full width of the cut to allow for, such as "0.15 mm".')
@click.option(
    "--printer",
    nargs=2,
    metavar="ACROSS UP",
    help='The scale box as your printer made it, such as "99.2 mm" "49.7 mm".',
)
@click.option("--revision", default="", metavar="TEXT", help="Which state of the car; blank if not given.")
@click.option(
    "--date", "day", default="", metavar="YYYY-MM-DD", help="Day on the drawing; blank if not given."
)
@click.option("--id", "car_id", default="", metavar="TEXT", help="Short id of the car, such as LARK-2.")
@click.option(
    "--exaggeration", type=float, metavar="N", help="How much larger than life views draw angles; 1 is true."
)
@force_option
@units_option
@json_option
def command(
    car: str,
    what: tuple[str, ...],
    form: str | None,
    paper: str,
    folder: str,
    cut_width: str | None,
    printer: tuple[str, str] | None,
    revision: str,
    day: str,
    car_id: str,
    exaggeration: float | None,
    units: Literal["mm", "in"],
    *,
    force: bool,
    as_json: bool,
) -> None:
    """Draw a car: its set-up sheet, its views, and gauges and guides in true size.

    CAR is a car file. WHAT is sheet, a view (top, side, front, rear, board), a gauge by its name, or one of
    views, gauges and all; without it you are told what can be drawn of this car, and what each is for.
    """
    from rollwright.workbench import drawings  # noqa: PLC0415 - help needs none of it

    page = Page(system=system_of(units))
    if not what:
        listed = drawings.drawable(car)
        if as_json:
            print_json(listed.as_json())
            return
        show_drawable(page, listed, told=f"{called()} draw {car}")
        page.print()
        return
    drawn = drawings.draw_files(
        car,
        what,
        drawings.Wishes(
            form=form,
            paper=paper,
            cut_width=cut_width,
            printer=printer,
            revision=revision,
            day=day,
            id=car_id,
            exaggeration=exaggeration,
            units=units,
        ),
        folder=folder,
        overwrite=force,
    )
    if as_json:
        print_json(drawn.as_json())
        return
    show_drawn(page, drawn)
    page.print()
