"""`rollwright plan`: what to drill and bend before any wood is cut."""

from __future__ import annotations

import click

from rollwright.cli.options import called, force_option, json_option, print_json, system_of, units_option
from rollwright.cli.page import Page
from rollwright.cli.plan_words import show_plan
from rollwright.workbench import planning
from rollwright.workbench.pictures import check_picture

__all__ = ["command"]


@click.command(name="plan")
@click.argument("car", type=click.Path())
@click.option(
    "--class", "class_file", metavar="FILE", type=click.Path(), help="Rules of the class it is built for."
)
@click.option("--height-difference", metavar="LENGTH", help="Front less rear underside; + is nose high.")
@click.option("--drift", metavar="LENGTH", help='On the tuning board, such as "70 mm right".')
@click.option("--rail-offset", metavar="LENGTH", help="Of the dominant wheel; + stands off the rail.")
@click.option("--ride-height", metavar="LENGTH", help="Of the underside at the rear holes.")
@click.option("--at-front", is_flag=True, help="The ride height is meant at the front holes.")
@click.option("--raise", "lift", metavar="LENGTH", help="Clearance under the raised wheel.")
@click.option("--ground-clearance", metavar="LENGTH", help="Least height of the underside.")
@click.option("--rail-clearance", metavar="LENGTH", help="Least height of it above the rail.")
@click.option("--rear-cant", metavar="ANGLE", help="Of both rear holes; + is outer end up.")
@click.option("--front-cant", metavar="ANGLE", help="Of the dominant hole; + is outer end up.")
@click.option("--most-bend", metavar="ANGLE", help="Most that the axle may be bent.  [default: 5 deg]")
@click.option("--most-relief", metavar="LENGTH", help="Most wood that may go.  [default: width / 4]")
@click.option("--most-washer", metavar="LENGTH", help="Most that washers may add.  [default: 2 mm]")
@click.option(
    "--prefer",
    type=click.Choice(planning.PREFERENCES),
    default=planning.PREFERENCES[0],
    show_default=True,
    help="What decides where the targets leave a choice.",
)
@click.option(
    "--straight/--bent",
    "straight",
    default=None,
    help="Steer by the hole, or by a bent axle; left out, as the car and the class allow.",
)
@click.option("--block", metavar="LENGTH", help="Thickness of the guide block.  [default: 20 mm]")
@click.option("--save-as", metavar="FILE", type=click.Path(), help="Write the car file as it is planned.")
@click.option("--plot", type=click.Path(), help="Draw the trade-off into this file, an .svg or a .png.")
@force_option
@units_option
@json_option
@click.pass_context
def command(
    ctx: click.Context,
    /,
    car: str,
    class_file: str | None,
    prefer: str,
    save_as: str | None,
    plot: str | None,
    units: str,
    *,
    straight: bool | None,
    at_front: bool,
    lift: str | None,
    force: bool,
    as_json: bool,
    **asked: str | None,
) -> None:
    """Say what to drill and bend before any wood is cut.

    CAR is a car file: its parts, its body and its targets. Hole heights, bend, turn and relief are solved
    together, so that level, drift and rail come out as you want them. Wishes go before the file's own
    targets. Exit code 1: something cannot be had, and the answer says what stands in the way.
    """
    if plot is not None:
        check_picture(plot, overwrite=force)
    found = planning.make(
        car,
        class_file=class_file,
        asked={**asked, "raise": lift},
        ride_at_front=at_front,
        bent=None if straight is None else not straight,
        prefer=prefer,
        system=system_of(units),
    )
    if save_as is not None:
        planning.save(found, save_as, overwrite=force)
    if plot is not None:
        planning.draw(found, plot, overwrite=force)
    if as_json:
        print_json(found.as_json())
    else:
        page = Page(system=system_of(units))
        show_plan(page, found, saved=save_as, class_file=class_file, name=called())
        if plot is not None:
            page.prose(f"Drawn in {plot}.")
        page.print()
    ctx.exit(1 if found.plan.blocked else 0)
