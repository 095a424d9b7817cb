"""`rollwright ballast`: which weights go in which pockets."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import click

from rollwright.cli.complete import weights
from rollwright.cli.options import json_option, print_json, system_of, units_option
from rollwright.cli.page import Page, listed, percent
from rollwright.errors import UnreadableQuantity
from rollwright.quantity import Quantity
from rollwright.units import Kind, parse, show
from rollwright.workbench import ballast
from rollwright.workbench.ballast import Demand, Obstacle, Plan

__all__ = ["command"]

_WORTH_SAYING = 0.1e-3


def _read(written: str, kind: Kind, key: str) -> float:
    try:
        return parse(written, kind=kind)
    except UnreadableQuantity as error:
        raise error.at(key=key) from None


@click.command(name="ballast")
@click.argument("car", type=click.Path())
@click.argument("pockets", type=click.Path())
@click.option("--limit", required=True, help='The most the car may weigh, as in "140 g".')
@click.option(
    "--centre", help="Where its mass should lie, ahead of the rear hole line; anywhere if left out."
)
@click.option("--within", help="How far from there is still good; 1 mm if you do not say.")
@click.option("--whole", help="What the scale showed of the car before anything is added.")
@click.option("--scale", help="Standard uncertainty of the scale; 0.1 g if you do not say.")
@click.option(
    "--without",
    multiple=True,
    metavar="NAME",
    help="A weight of the car file to take out first; repeatable.",
    shell_complete=weights,
)
@units_option
@json_option
@click.pass_context
def command(
    ctx: click.Context,
    car: str,
    pockets: str,
    limit: str,
    centre: str | None,
    within: str | None,
    whole: str | None,
    scale: str | None,
    without: tuple[str, ...],
    units: str,
    *,
    as_json: bool,
) -> None:
    """Say which weights go in which pockets.

    CAR is a car file, POCKETS a file of its pockets and of the weights at hand. The car gets as heavy as
    it may be and stay under the limit with 95 %, with its mass where you want it. Bare numbers are grams
    and millimetres. Exit code 1: it cannot be done.
    """
    if within is not None and centre is None:
        raise click.UsageError("--within says how near to --centre; give both, or neither.")
    found = ballast.fill(
        car,
        pockets,
        limit=_read(limit, Kind.MASS, "--limit"),
        centre=None if centre is None else _read(centre, Kind.LENGTH, "--centre"),
        within=ballast.WITHIN if within is None else _read(within, Kind.LENGTH, "--within"),
        whole=None if whole is None else _read(whole, Kind.MASS, "--whole"),
        scale=ballast.SCALE if scale is None else _read(scale, Kind.MASS, "--scale"),
        without=without,
    )
    if as_json:
        print_json(found.as_json())
    else:
        page = Page(system=system_of(units))
        _show(page, found)
        page.print()
    ctx.exit(0 if found.met else 1)


def _mass(page: Page, value: float, uncertainty: float | None = None) -> str:
    shown = show(value, kind=Kind.MASS, system=page.system, uncertainty=uncertainty)
    return str(shown).replace(" ", "\N{NO-BREAK SPACE}")


def _weighs(page: Page, quantity: Quantity) -> str:
    return _mass(page, quantity.value, quantity.uncertainty)


def _show(page: Page, found: ballast.Filled) -> None:
    plan, obstacle = found.choice.plan, found.choice.obstacle
    if plan is not None:
        _show_plan(page, found, plan)
    elif obstacle is not None:
        _show_obstacle(page, found, obstacle)
    if found.choice.misfit_probability < 0.01:
        page.gap()
        page.prose(
            "Scale and file disagree more than their uncertainties allow: check the scale's zero and unit, "
            "what was in the car, and the masses in the file.",
            first="! ",
            bold=True,
        )
    if not found.weighed:
        page.gap()
        page.prose(
            "This is the file alone. Weigh the car and say --whole: the less is open, the more goes in."
        )


def _show_plan(page: Page, found: ballast.Filled, plan: Plan) -> None:
    pieces = "one piece" if plan.pieces == 1 else f"{plan.pieces} pieces"
    empty = _weighs(page, found.choice.empty.mass)
    if plan.pieces:
        page.prose(
            f"{found.car.name}: {pieces}, from {empty} to {_weighs(page, plan.mass)}.",
            bold=True,
        )
    else:
        page.prose(f"{found.car.name}: nothing goes in; it stays at {empty}.", bold=True)
    limit = _mass(page, found.limit)
    page.verdict(
        plan.limit_verdict.state.value, f"under: the limit is {limit} ({percent(plan.over)} to be over it)."
    )
    if plan.centre_verdict is not None and found.centre is not None:
        page.verdict(
            plan.centre_verdict.state.value,
            f"its mass lies {_ahead(page, plan.centre[0])}; wanted: {page.band(found.centre)} "
            f"({percent(plan.centre_verdict.probability)} to be inside).",
        )
    page.gap()
    _show_pieces(page, found, plan.counts)
    x, y, z = plan.centre
    page.gap()
    where = "" if plan.centre_verdict is not None else f"{_ahead(page, x)}, "
    aside = page.drift(y.value, y.uncertainty)
    aside += " of" if aside.endswith(("left", "right")) else " off"
    page.prose(
        f"Its mass lies {where}{aside} the centre line and {page.length(z.value, z.uncertainty)} above the "
        "underside."
    )
    page.gap()
    page.prose(_room(page, found, plan))
    page.gap()
    page.table(
        [[station.words, _weighs(page, load)] for station, load in plan.loads.items()],
        head=["then on the wheels", "load"],
    )
    left = [f"{count} {name}" for name, count in found.left_over.items() if count]
    page.gap()
    page.prose(f"Left on the bench: {listed(left) or 'nothing'}.")
    if plan.pieces:
        page.gap()
        page.prose(
            "Mind: Weights are often lead or tungsten. Wash your hands after lead, and never sand, file or "
            "drill it. What may be in a car and how it must be held, your club's rules say."
        )


def _place(page: Page, x: float, uncertainty: float | None = None) -> str:
    return f"{page.length(abs(x), uncertainty)} {'ahead of' if x >= 0.0 else 'behind'}"


def _ahead(page: Page, x: Quantity) -> str:
    return f"{_place(page, x.value, x.uncertainty)} the rear hole line"


def _show_pieces(page: Page, found: ballast.Filled, counts: Mapping[str, Mapping[str, int]]) -> None:
    masses = {size.name: size.mass.value for size in found.sizes}
    for pocket in found.pockets:
        sizes = counts.get(pocket.name, {})
        if sizes:
            put = listed([f"{count} {name}" for name, count in sizes.items()])
            total = _mass(page, sum(count * masses[name] for name, count in sizes.items()))
            page.prose(f"{pocket.name}: {put}; {total}.", first="- ")
        else:
            page.prose(f"{pocket.name}: nothing.", first="- ")


def _room(page: Page, found: ballast.Filled, plan: Plan) -> str:
    said = (
        f"Room left for trimming: {_mass(page, plan.room)} more is still under the limit with 95 %. "
        f"{_mass(page, plan.kept_back)} is kept back for what is not known of the masses."
    )
    if found.choice.held_back > _WORTH_SAYING:
        said += f" But for where the mass is wanted, {_mass(page, found.choice.held_back)} more could go in."
    return said


def _show_obstacle(page: Page, found: ballast.Filled, obstacle: Obstacle) -> None:
    page.prose(f"{found.car.name}: this cannot be done.", bold=True)
    page.verdict("fail", _SAID[obstacle.demand](page, found, obstacle))
    if obstacle.plan is not None:
        page.gap()
        page.prose("What comes nearest:")
        _show_pieces(page, found, obstacle.plan.counts)
        page.prose(f"{found.car.name} then weighs {_weighs(page, obstacle.plan.mass)}.")


def _too_heavy(page: Page, found: ballast.Filled, obstacle: Obstacle) -> str:
    empty = found.choice.empty
    return (
        f"Before anything goes in it weighs {_weighs(page, empty.mass)}: to be under "
        f"{_mass(page, found.limit)} with 95 %, {_mass(page, obstacle.shortfall)} must come out."
    )


def _off_centre(page: Page, found: ballast.Filled, obstacle: Obstacle) -> str:
    assert found.centre is not None  # noqa: S101 - only a demand that was made can fail
    wanted = page.band(found.centre)
    places = [_place(page, at) for at in obstacle.reached]
    if len(places) > 1:
        way = f"comes to lie {places[0]} or {places[1]} the rear hole line, and nowhere between"
    else:
        further = "forward" if obstacle.reached[0] < found.centre.value else "back"
        way = f"gets no further {further} than {places[0]} the rear hole line"
    return (
        f"With these pockets and weights its mass {way}; wanted: {wanted}. It misses "
        f"that by {page.length(obstacle.shortfall)}."
    )


def _would_lift(page: Page, found: ballast.Filled, obstacle: Obstacle) -> str:
    del found
    assert obstacle.station is not None  # noqa: S101 - this demand is of one wheel
    load = obstacle.reached[0]
    carries = f"carry {_mass(page, load)} at most" if load > 0.0 else "carry nothing"
    return (
        f"With its mass there the {obstacle.station.words} wheel would {carries}: "
        f"{_mass(page, obstacle.shortfall)} too little to be sure that it stays on the ground."
    )


_SAID: Mapping[Demand, Callable[[Page, ballast.Filled, Obstacle], str]] = {
    Demand.MASS: _too_heavy,
    Demand.CENTRE: _off_centre,
    Demand.STANDING: _would_lift,
}
