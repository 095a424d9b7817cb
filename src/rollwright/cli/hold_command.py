"""`rollwright hold`: whether a car holds the rail, and how much steer it needs."""

from __future__ import annotations

import click

from rollwright.cli.hold_words import show_holding
from rollwright.cli.options import force_option, json_option, print_json, system_of, units_option
from rollwright.cli.page import Page
from rollwright.workbench import lateral
from rollwright.workbench.pictures import check_picture

__all__ = ["command"]


@click.command(name="hold")
@click.argument("car", type=click.Path())
@click.option("--track", required=True, type=click.Path(), help="File of the track.")
@click.option("--lane", default="", help="Which lane; the track as it is if you do not say.")
@click.option(
    "--seed", default=1, show_default=True, help="Of the lane's roughness; the same, the same lane."
)
@click.option(
    "--roughness", default="", help='How far the rail strays, as in "0.2 mm"; assumed if not given.'
)
@click.option(
    "--tilt", default="0", show_default=True, help='Of the lane, left side up positive, as in "0.3 deg".'
)
@click.option(
    "--start-offset", default="", help='Where the car is staged, as in "0.5 mm left" of the middle.'
)
@click.option(
    "--start-heading", default="0", show_default=True, help='Its heading there, as in "0.3 deg right".'
)
@click.option("--steer-curve", is_flag=True, help="Try a range of steer on many lanes.")
@click.option("--lanes", default=lateral.SEEDS, show_default=True, help="Lanes that each steer is tried on.")
@click.option("--plot", type=click.Path(), help="Draw it into this file, an .svg or a .png.")
@force_option
@units_option
@json_option
@click.pass_context
def command(
    ctx: click.Context,
    car: str,
    track: str,
    lane: str,
    seed: int,
    roughness: str,
    tilt: str,
    start_offset: str,
    start_heading: str,
    lanes: int,
    plot: str | None,
    units: str,
    *,
    steer_curve: bool,
    force: bool,
    as_json: bool,
) -> None:
    """Say whether a car holds the rail.

    CAR is a car file. The car is followed from side to side down the track, at the speed that its run has
    there, over a rail with waves and joints that are drawn from the seed. Exit code 1: it does not hold the
    rail.
    """
    if plot is not None:
        check_picture(plot, overwrite=force)
    asked = lateral.Asked(
        lane=lane,
        seed=seed,
        roughness=roughness,
        tilt=tilt,
        start_offset=start_offset,
        start_heading=start_heading,
        steer_curve=steer_curve,
        lanes=lanes,
    )
    found = lateral.hold(car, track, asked)
    if plot is not None:
        lateral.draw(found, plot, overwrite=force)
    if as_json:
        print_json(found.as_json())
    else:
        page = Page(system=system_of(units))
        show_holding(page, found)
        if plot is not None:
            page.gap()
            page.prose(f"Drawn in {plot}.")
        page.print()
    ctx.exit(0 if found.held.holds else 1)
