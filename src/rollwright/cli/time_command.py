"""`rollwright time`: how long a car takes down a track, where the time goes, and what errors cost."""

from __future__ import annotations

import click

from rollwright.cli.options import force_option, json_option, print_json, system_of, units_option
from rollwright.cli.page import Page, not_given
from rollwright.units import Kind, System
from rollwright.workbench import timing
from rollwright.workbench.pictures import check_picture
from rollwright.workbench.time_picture import LOSS_WORDS

__all__ = ["command"]

_BAR = 24
_LISTED = 8


@click.command(name="time")
@click.argument("car", type=click.Path())
@click.option("--track", required=True, type=click.Path(), help="File of the track.")
@click.option("--lane", default="", help="Which lane; the track as it is if you do not say.")
@click.option("--vs", "other", type=click.Path(), help="File of another car, to compare with.")
@click.option("--plot", type=click.Path(), help="Also draw the run into this file, an .svg or a .png.")
@force_option
@units_option
@json_option
@click.pass_context
def command(
    ctx: click.Context,
    car: str,
    track: str,
    lane: str,
    other: str | None,
    plot: str | None,
    units: str,
    *,
    force: bool,
    as_json: bool,
) -> None:
    """Say how long a car takes down a track, where the time goes, and what errors cost.

    CAR is a car file. The time is that of the model: its losses rest on coefficients that are assumed until
    you have fitted them, and differences between two cars are far better known than either time. Exit code
    1: the car stalls before the finish.
    """
    if plot is not None:
        check_picture(plot, overwrite=force)
    found = timing.time_it(car, track, lane=lane, other_file=other)
    if plot is not None:
        timing.draw(found, plot, overwrite=force)
    if as_json:
        print_json(found.as_json())
    else:
        page = Page(system=system_of(units))
        _show(page, found)
        if plot is not None:
            page.gap()
            page.prose(f"Drawn in {plot}.")
        page.print()
    ctx.exit(1 if found.run.finish_time is None else 0)


def _show(page: Page, found: timing.Timed) -> None:
    run = found.run
    lane = f", lane {run.lane}" if run.lane else ""
    if run.finish_time is None or run.finish_speed is None:
        stall = run.stalled_at
        where = "" if stall is None else f" {stall.distance:.2f} m from the gate"
        page.prose(f"{run.car} stalls{where} on {run.track}{lane}.", bold=True)
        return
    spread = "" if run.uncertainty is None else f" ± {1e3 * run.uncertainty:.0f} ms"
    page.prose(
        f"{run.car} on {run.track}{lane}: {run.finish_time:.4f} s{spread}, {run.finish_speed:.2f} m/s at the "
        "finish.",
        bold=True,
    )
    for name, at in run.splits.items():
        page.prose(f"{name}: {at:.4f} s", first="  ")
    page.gap()
    _budget(page, found)
    page.gap()
    _prices(page, found)
    page.gap()
    _rests(page, found)
    if found.other_run is not None:
        page.gap()
        _beside(page, found)


def _budget(page: Page, found: timing.Timed) -> None:
    run = found.run
    if run.loss_free_time is None or run.finish_time is None:
        return
    lost = run.finish_time - run.loss_free_time
    page.prose(f"Without any loss it would take {run.loss_free_time:.4f} s. The other {1e3 * lost:.1f} ms:")
    most = max((abs(part) for part in run.budget.values()), default=1.0) or 1.0
    for name, part in sorted(run.budget.items(), key=lambda item: -item[1]):
        bar = "█" * round(min(_BAR, page.width - 30) * max(0.0, part) / most)
        page.line(f"  {LOSS_WORDS.get(name, name):<15}{1e3 * part:>7.1f} ms  {bar}".rstrip())


def _prices(page: Page, found: timing.Timed) -> None:
    page.prose("What an error costs, the dearest first:")
    rows = [
        (
            _named(price.name),
            page.quantity(price.kind, step),
            _signed(1e3 * price.cost * step / price.step, 2),
        )
        for price in found.prices[:_LISTED]
        for step in [_round_step(page, price)]
    ]
    page.table(rows, head=("more of", "by", "costs"))


def _round_step(page: Page, price: timing.Price) -> float:
    """Return the error to price as a builder who measures in inches would say it [SI]."""
    if page.system is System.INCH:
        return {Kind.LENGTH: 5 * 25.4e-6, Kind.MASS: 0.05 * 28.349523125e-3}.get(price.kind, price.step)
    return price.step


def _signed(milliseconds: float, digits: int) -> str:
    return f"{milliseconds:+.{digits}f} ms".replace("-", "−")


def _named(name: str) -> str:
    head, _, last = name.partition(".")
    places = {"x": "forward", "y": "left", "z": "up"}
    parts = [places.get(part, part) for part in (head, *last.split("."))]
    return " ".join(part.replace("_", " ") for part in parts if part)


def _rests(page: Page, found: timing.Timed) -> None:
    run = found.run
    for note in run.notes:
        page.prose(note[:1].upper() + note[1:] + ".", first="! ", bold=True)
    if run.lifts_at is not None:
        page.prose(f"An axle lifts {run.lifts_at:.2f} m down; beyond it the time means little.", first="! ")
    if run.contributors:
        names = ", ".join(_named(line.name) for line in run.contributors[:3])
        page.prose(
            f"What is known least: {names}. Coefficients and track are the same for two cars, so that their "
            "difference is known better than either time.",
            first="- ",
            rest="  ",
        )
    if run.assumed:
        page.prose(not_given(len(run.assumed)), first="- ", rest="  ")


def _beside(page: Page, found: timing.Timed) -> None:
    other = found.other_run
    if other is None or found.other is None:
        return
    if other.finish_time is None or found.faster_by is None or found.faster_uncertainty is None:
        page.prose(f"{other.car} stalls, so there is nothing to compare.", bold=True)
        return
    word = "faster" if found.faster_by >= 0.0 else "slower"
    apart = f"{1e3 * abs(found.faster_by):.1f} ± {1e3 * found.faster_uncertainty:.1f} ms"
    page.prose(f"{found.run.car} is {apart} {word} than {other.car} ({other.finish_time:.4f} s).", bold=True)
    for name in found.run.budget:
        gained = other.budget.get(name, 0.0) - found.run.budget[name]
        page.line(f"  {LOSS_WORDS.get(name, name):<15}{_signed(1e3 * gained, 1):>10}")
