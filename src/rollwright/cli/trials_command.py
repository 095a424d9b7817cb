"""`rollwright trials`: did that change really help, what to run next time, and how a season went."""

from __future__ import annotations

import re

import click

from rollwright.cli.options import force_option, json_option, print_json
from rollwright.cli.page import Page
from rollwright.cli.trials_words import show_compared, show_planned, show_seasons
from rollwright.units import System
from rollwright.workbench import trials
from rollwright.workbench.pictures import check_picture

__all__ = ["command"]


class _Trials(click.Group):
    """A group whose first word may also be a file of times, which is then compared."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Put `compare` before what names no command."""
        if args and args[0] not in {*self.commands, *ctx.help_option_names}:
            args = ["compare", *args]
        return super().parse_args(ctx, args)

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the commands in the order of the work."""
        del ctx
        return ["compare", "plan", "season"]


@click.group(
    name="trials",
    cls=_Trials,
    no_args_is_help=False,
    invoke_without_command=True,
    subcommand_metavar="TIMES.csv | COMMAND ...",
)
@click.pass_context
def command(ctx: click.Context) -> None:
    """Say from times on the track whether a change really helped.

    `rollwright trials TIMES.csv` is short for `rollwright trials compare TIMES.csv`.
    """
    if ctx.invoked_subcommand is None:
        click.echo(ctx.get_help())


@command.command(name="compare")
@click.argument("times", type=click.Path())
@click.option(
    "--map",
    "columns",
    multiple=True,
    metavar="WHAT=COLUMN,...",
    help="Which column is what, as in time=Zeit,lane=Bahn; others are guessed by name.",
)
@click.option("--unit", metavar="s|ms", help="Unit of the times; else by the column's name, or seconds.")
@click.option("--a", "first", metavar="NAME", help="The one before; else all are compared.")
@click.option("--b", "second", metavar="NAME", help="The one after; else all are compared.")
@click.option(
    "--matters", default=trials.MATTERS, show_default=True, help="The smallest difference that matters."
)
@click.option(
    "--risk", default=trials.RISK, show_default=True, help="Risk of a wrong answer; 0.1 is nine in ten right."
)
@click.option("--peek", is_flag=True, help="Keep to that risk although you look after every heat.")
@click.option(
    "--forecast", nargs=2, type=click.Path(), metavar="CAR CAR", help="Files of both cars: what the run says."
)
@click.option("--track", type=click.Path(), help="File of the track, for --forecast.")
@click.option("--plot", type=click.Path(), help="Draw the answer into this file, an .svg or a .png.")
@force_option
@json_option
def compare(
    times: str,
    columns: tuple[str, ...],
    unit: str | None,
    first: str | None,
    second: str | None,
    matters: str,
    risk: float,
    forecast: tuple[str, str] | None,
    track: str | None,
    plot: str | None,
    *,
    peek: bool,
    force: bool,
    as_json: bool,
) -> None:
    """Say whether a change helped, by how much, and how sure that is.

    TIMES is a table as text (CSV) with a row for each run: its time, what ran, and best also lane and heat.
    """
    if (forecast is None) != (track is None):
        raise click.UsageError("--forecast and --track go together; give both or neither.")
    if plot is not None:
        check_picture(plot, overwrite=force)
    found = trials.compare(
        times,
        columns=_columns(columns),
        unit=unit,
        a=first,
        b=second,
        matters=trials.time_of(matters, key="--matters"),
        risk=risk,
        peek=peek,
        forecast=forecast or (),
        track=track,
    )
    if plot is not None:
        trials.draw(found, plot, overwrite=force)
    if as_json:
        print_json(found.as_json())
        return
    page = Page(system=System.METRIC)
    show_compared(page, found)
    if plot is not None:
        page.gap()
        page.prose(f"Drawn in {plot}.")
    page.print()


@command.command(name="plan")
@click.argument("configurations", nargs=-1, required=True)
@click.option(
    "--lanes", default="4", show_default=True, help="How many lanes, or their names with commas between."
)
@click.option("--runs", type=int, help="Runs of each; else what --noise asks for, or four in every lane.")
@click.option("--seed", default=1, show_default=True, help="Of the lot; the same, the same plan.")
@click.option("--alone", is_flag=True, help="One car at a time, as where one car is changed back and forth.")
@click.option(
    "--noise", metavar="NOISE|FILE", help='Scatter of one run as in "2 ms", or a file of earlier times.'
)
@click.option(
    "--matters", default=trials.MATTERS, show_default=True, help="The smallest difference that matters."
)
@click.option("--risk", default=trials.RISK, show_default=True, help="Risk of a false alarm, and of a miss.")
@click.option("--save", type=click.Path(), help="Write a sheet to fill in with times into this file.")
@force_option
@json_option
def plan(
    configurations: tuple[str, ...],
    lanes: str,
    runs: int | None,
    seed: int,
    noise: str | None,
    matters: str,
    risk: float,
    save: str | None,
    *,
    alone: bool,
    force: bool,
    as_json: bool,
) -> None:
    """Draw up heats in which all have the same lanes equally often.

    CONFIGURATIONS are the names of the cars or set-ups, two or more.
    """
    found = trials.plan(
        configurations,
        lanes=lanes,
        runs=runs,
        seed=seed,
        alone=alone,
        noise=noise,
        matters=trials.time_of(matters, key="--matters"),
        risk=risk,
    )
    if save is not None:
        trials.save_sheet(found, save, overwrite=force)
    if as_json:
        print_json(found.as_json())
        return
    page = Page(system=System.METRIC)
    show_planned(page, found)
    if save is not None:
        page.gap()
        page.prose(f"A sheet to fill in stands in {save}.")
    page.print()


@command.command(name="season")
@click.argument("files", nargs=-1, required=True, type=click.Path())
@click.option(
    "--map",
    "columns",
    multiple=True,
    metavar="WHAT=COLUMN,...",
    help="Which column is what, as in time=Zeit,lane=Bahn; others are guessed by name.",
)
@click.option("--unit", metavar="s|ms", help="Unit of the times; else by the column's name, or seconds.")
@click.option(
    "--matters", default=trials.MATTERS, show_default=True, help="The smallest difference that matters."
)
@click.option(
    "--risk", default=trials.RISK, show_default=True, help="Risk of a wrong answer; 0.1 is nine in ten right."
)
@json_option
def season(
    files: tuple[str, ...],
    columns: tuple[str, ...],
    unit: str | None,
    matters: str,
    risk: float,
    *,
    as_json: bool,
) -> None:
    """Say of each car which changes paid, and its last good set-up.

    FILES are tables of times, best with columns for car, configuration and date.
    """
    from rollwright.workbench import trials_season  # noqa: PLC0415 - only this command needs it

    found = trials_season.season(
        files,
        columns=_columns(columns),
        unit=unit,
        matters=trials.time_of(matters, key="--matters"),
        risk=risk,
    )
    if as_json:
        print_json(found.as_json())
        return
    page = Page(system=System.METRIC)
    show_seasons(page, found)
    page.print()


def _columns(written: tuple[str, ...]) -> dict[str, str]:
    """Return which column is what, from `time=Zeit,lane=Bahn`; a column's name may hold commas."""
    found = {}
    for part in (part for text in written for part in re.split(r",(?=\s*\w+\s*=)", text)):
        what, mark, column = part.partition("=")
        if not mark or not what.strip() or not column.strip():
            raise click.UsageError(f"--map wants WHAT=COLUMN, not {part[:40]!r}, as in --map time=Zeit.")
        found[what.strip().casefold()] = column.strip()
    return found
