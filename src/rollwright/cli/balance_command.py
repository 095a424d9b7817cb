"""`rollwright balance`: what a car weighs, and where its mass is."""

from __future__ import annotations

import click

from rollwright.car.model import Station
from rollwright.cli.complete import stations
from rollwright.cli.options import json_option, print_json, system_of, units_option
from rollwright.cli.page import Page, percent
from rollwright.errors import UnreadableQuantity
from rollwright.judge.verdict import State
from rollwright.quantity import Quantity
from rollwright.units import Kind, parse, show
from rollwright.workbench import weigh

__all__ = ["command"]

_SAID = {State.PASS: "under", State.FAIL: "over", State.UNCLEAR: "cannot tell yet"}


def _mass(written: str, key: str) -> float:
    try:
        return parse(written, kind=Kind.MASS)
    except UnreadableQuantity as error:
        raise error.at(key=key) from None


@click.command(name="balance")
@click.argument("car", type=click.Path())
@click.option("--whole", help='What the scale showed of the whole car, as in "137.8 g" or "4.86 oz".')
@click.option("--front", help="What it showed under the front, the rear standing level beside it.")
@click.option("--rear", help="What it showed under the rear, the front standing level beside it.")
@click.option(
    "--wheel",
    nargs=2,
    multiple=True,
    metavar="STATION MASS",
    help="What it showed under one wheel, as in --wheel rear_left 31.5",
    shell_complete=stations,
)
@click.option("--scale", help="Standard uncertainty of the scale; 0.1 g if you do not say.")
@click.option("--limit", help="The most the car may weigh.")
@units_option
@json_option
@click.pass_context
def command(
    ctx: click.Context,
    car: str,
    whole: str | None,
    front: str | None,
    rear: str | None,
    wheel: tuple[tuple[str, str], ...],
    scale: str | None,
    limit: str | None,
    units: str,
    *,
    as_json: bool,
) -> None:
    """Say what a car weighs, and where its mass is.

    CAR is a car file. Its ledger of body, wheels, axles and weights is brought together with what a
    scale showed of the whole car, of an end or of a wheel. Bare numbers are grams. Exit code 1: the car is
    over the limit.
    """
    shown = {
        name: _mass(written, f"--{name}")
        for name, written in (("whole", whole), ("front", front), ("rear", rear))
        if written is not None
    }
    known = [station.value for station in Station]
    for station, written in wheel:
        if station not in known:
            raise click.UsageError(f'"{station}" is not a wheel; write one of {", ".join(known)}.')
        shown[station] = _mass(written, f"--wheel {station}")
    found = weigh.weigh(
        car,
        shown,
        scale=weigh.SCALE if scale is None else _mass(scale, "--scale"),
        limit=None if limit is None else _mass(limit, "--limit"),
    )
    if as_json:
        print_json(found.as_json())
    else:
        page = Page(system=system_of(units))
        _show(page, found, weighed=bool(shown))
        page.print()
    ctx.exit(1 if found.verdict is not None and found.verdict.state is State.FAIL else 0)


def _show(page: Page, found: weigh.Weighed, *, weighed: bool) -> None:
    def mass(quantity: Quantity) -> str:
        shown = show(quantity.value, kind=Kind.MASS, system=page.system, uncertainty=quantity.uncertainty)
        return str(shown).replace(" ", "\N{NO-BREAK SPACE}")

    balance = found.balance
    page.prose(f"{found.car.name} weighs {mass(balance.mass)}.", bold=True)
    if found.verdict is not None and found.limit is not None and found.room is not None:
        limit = show(found.limit, kind=Kind.MASS, system=page.system)
        room = show(abs(found.room), kind=Kind.MASS, system=page.system)
        advice = f"add up to {room}" if found.room > 0.0 else f"take {room} out"
        page.verdict(
            found.verdict.state.value,
            f"{_SAID[found.verdict.state]}: the limit is {limit} ({percent(found.verdict.probability)} to be "
            f"under it). To be under it with 95 %, {advice}.",
        )
    page.gap()
    x, y, z = balance.centre
    end = "ahead of" if x.value >= 0.0 else "behind"
    aside = page.drift(y.value, y.uncertainty)
    aside += " of" if aside.endswith(("left", "right")) else " off"
    page.prose(
        f"Its mass lies {page.length(abs(x.value), x.uncertainty)} {end} the rear hole line, "
        f"{aside} the centre line and "
        f"{page.length(z.value, z.uncertainty)} above the underside."
    )
    if balance.misfit_probability < 0.01:
        page.gap()
        page.prose(
            "Scale and file disagree more than their uncertainties allow: check the scale's zero and unit, "
            "and the masses in the file.",
            first="! ",
            bold=True,
        )
    page.gap()
    page.table(
        [[station.words, mass(load)] for station, load in balance.loads.items()],
        head=["on the wheels", "load"],
    )
    page.gap()
    page.table(
        [
            [item.name, mass(item.mass), str(page.length(item.position[0].value))]
            for item in found.ledger.items
        ],
        head=["in the file", "mass", "ahead"],
    )
    if not weighed:
        page.gap()
        page.prose("This is the file alone. Weigh the car, and its front or rear, to know better.")
