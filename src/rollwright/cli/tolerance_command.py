"""`rollwright tolerance`: where care pays, how many bodies are good, and how good a drill that takes."""

from __future__ import annotations

import click

from rollwright.cli.options import force_option, json_option, print_json, system_of, units_option
from rollwright.cli.page import Page
from rollwright.cli.tolerance_words import show_tolerance
from rollwright.workbench import tolerance
from rollwright.workbench.pictures import check_picture

__all__ = ["command"]


@click.command(name="tolerance")
@click.argument("car", type=click.Path())
@click.option("--runs", default=tolerance.RUNS, show_default=True, help="How many bodies to draw.")
@click.option(
    "--seed", default=1, show_default=True, help="Of the random numbers; the same, the same answer."
)
@click.option(
    "--share",
    default=tolerance.SHARE,
    show_default=True,
    help='Share of your drilled bodies that was good, or a count as in "5 of 20".',
)
@click.option("--wanted", default=tolerance.WANTED, show_default=True, help="Share that you want to be good.")
@click.option("--plot", type=click.Path(), help="Draw the answer into this file, an .svg or a .png.")
@force_option
@units_option
@json_option
def command(
    car: str,
    runs: int,
    seed: int,
    share: str,
    wanted: str,
    plot: str | None,
    units: str,
    *,
    force: bool,
    as_json: bool,
) -> None:
    """Say where care pays, and how many drilled bodies are good.

    CAR is a car file. Each dimension is put off alone until a gate is missed; bodies are drawn with the
    scatter that the file gives the holes, and counted at the drill, straight off the drill, and once the
    bench has adjusted them; and a share of good bodies is turned back into the scatter of the drill.
    """
    if plot is not None:
        check_picture(plot, overwrite=force)
    found = tolerance.tolerate(car, runs=runs, seed=seed, share=share, wanted=wanted)
    if plot is not None:
        tolerance.draw(found, plot, overwrite=force)
    if as_json:
        print_json(found.as_json())
        return
    page = Page(system=system_of(units))
    show_tolerance(page, found)
    if plot is not None:
        page.gap()
        page.prose(f"Drawn in {plot}.")
    page.print()
