"""`rollwright study`: what becomes of many bodies drawn from what the files leave open."""

from __future__ import annotations

import os
import sys

import click

from rollwright.cli.options import force_option, json_option, print_json, system_of, units_option
from rollwright.cli.page import Page
from rollwright.cli.study_words import show_study
from rollwright.errors import UnreadableQuantity
from rollwright.units import Kind, parse
from rollwright.workbench import study, study_picture
from rollwright.workbench.pictures import check_picture

__all__ = ["command"]

_STOPPED = 1


@click.command(name="study")
@click.argument("car", type=click.Path())
@click.option("--track", required=True, type=click.Path(), help="File of the track.")
@click.option("--lane", default="", help="Which lane; the track as it is if you do not say.")
@click.option("--runs", default=study.RUNS, show_default=True, help="How many bodies to draw.")
@click.option(
    "--seed", default=1, show_default=True, help="Of the random numbers; the same, the same answer."
)
@click.option("--tighten", is_flag=True, help="Say which scatter to halve first.")
@click.option("--sobol", is_flag=True, help="Share out the spread of the time among its causes.")
@click.option("--optimum", is_flag=True, help="Look for the best steer, balance and weight.")
@click.option("--limit", help='The most the car may weigh, as in "140 g"; for --optimum.')
@click.option("--save", type=click.Path(), help="Keep the partial sums in this file.")
@click.option("--resume", type=click.Path(), help="Go on from such a file, and keep it up to date.")
@click.option("--plot", type=click.Path(), help="Draw the answer into this file, an .svg or a .png.")
@force_option
@units_option
@json_option
@click.pass_context
def command(
    ctx: click.Context,
    car: str,
    track: str,
    lane: str,
    runs: int,
    seed: int,
    limit: str | None,
    save: str | None,
    resume: str | None,
    plot: str | None,
    units: str,
    *,
    tighten: bool,
    sobol: bool,
    optimum: bool,
    force: bool,
    as_json: bool,
) -> None:
    """Say what becomes of many bodies made alike.

    CAR is a car file. Bodies are drawn from everything that it and the track's file leave open, each is stood
    on the bench and run down the track, and the answer says how their times and gates come out. Ctrl-C
    stops early and answers from the runs done by then. Exit code 1: it was stopped, or no design does.
    """
    if limit is not None and not optimum:
        raise click.UsageError("--limit is for --optimum; give both or neither.")
    if plot is not None:
        check_picture(plot, overwrite=force)
    # Its threads would only get into each other's way: the work is shared out among processes.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    asked = study.Asked(
        runs=runs,
        seed=seed,
        lane=lane,
        sobol=sobol,
        tighten=tighten,
        optimum=optimum,
        limit=None if limit is None else _mass(limit),
        resume=resume,
        save=save,
    )
    found = study.study(car, track, asked, progress=_progress if sys.stderr.isatty() else None)
    if plot is not None:
        study_picture.save(plot, found, overwrite=force)
    if as_json:
        print_json(found.as_json())
    else:
        page = Page(system=system_of(units))
        show_study(page, found, kept=save or resume)
        page.print()
    nothing_does = found.optimum is not None and found.optimum.best is None
    ctx.exit(_STOPPED if found.stopped or nothing_does else 0)


def _mass(written: str) -> float:
    try:
        return parse(written, kind=Kind.MASS)
    except UnreadableQuantity as error:
        raise error.at(key="--limit") from None


def _progress(done: int, wanted: int) -> None:
    """Keep one line on the terminal up to date."""
    text = f"{_spaced(done)} of {_spaced(wanted)} bodies"
    sys.stderr.write(f"\r{text}" if done < wanted else f"\r{' ' * len(text)}\r")
    sys.stderr.flush()


def _spaced(number: int) -> str:
    return f"{number:,}".replace(",", " ")
