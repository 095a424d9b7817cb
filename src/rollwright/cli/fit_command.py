"""`rollwright fit`: what brakes a car, found from what was timed."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from rollwright.cli.options import json_option, print_json
from rollwright.cli.page import Page, listed, percent
from rollwright.units import Kind, System, show
from rollwright.workbench import fitting

if TYPE_CHECKING:
    from rollwright.workbench.fitting import Fitted

__all__ = ["command"]

_NARROW = 64
_UNITS = {
    ("spin", "constant"): "rad/s2",
    ("spin", "linear"): "1/s",
    ("spin", "quadratic"): "1/rad",
    ("coast", "constant"): "m/s2",
    ("coast", "quadratic"): "1/m",
}


@click.command(name="fit")
@click.argument("fit", type=click.Path())
@click.option(
    "--save-as",
    type=click.Path(),
    metavar="TRACK",
    help="A new track file: the fit's own, its losses as they were found.",
)
@json_option
@click.pass_context
def command(ctx: click.Context, fit: str, save_as: str | None, *, as_json: bool) -> None:
    """Find what brakes a car, from what was timed.

    FIT is a file of spin-downs, coast-downs and timed runs; the car and track files that it names lie
    beside it. Exit code 1: nothing was found well enough to be written where --save-as asks for it.
    """
    found = fitting.find_losses(fit, save_as=save_as)
    if as_json:
        print_json(found.as_json())
    else:
        page = Page(system=System.METRIC)
        _show(page, found, asked=save_as is not None)
        page.print()
    ctx.exit(1 if save_as is not None and found.saved is None else 0)


def _number(value: float, uncertainty: float, unit: str) -> str:
    shown = show(value, kind=Kind.RATIO, uncertainty=uncertainty)
    return f"{shown} {unit}".rstrip()


def _called(name: str) -> str:
    return fitting.NAMES[name][0]


def _shown(name: str, value: float, uncertainty: float) -> str:
    _, factor, unit = fitting.NAMES[name]
    return _number(value * factor, uncertainty * factor, unit)


def _show(page: Page, found: Fitted, *, asked: bool) -> None:
    fit = found.fit
    page.prose(f"{found.file.name}: {fit.readings} readings.", bold=True)
    page.gap()
    rows = [
        [
            _called(each.name),
            _shown(each.name, each.value, each.uncertainty),
            "nothing" if each.prior is None else _shown(each.name, *each.prior),
            "found" if each.known else "not yet",
        ]
        for each in fit.found
    ]
    if page.width < _NARROW:
        for name, now, before, state in rows:
            page.prose(f"{name}: {now}, before {before}; {state}.", first="- ")
    else:
        page.table(rows, head=["", "now", "before", ""])
    for text in found.doubts:
        page.gap()
        page.prose(text, first="- ")
    for each, most in zip(fit.found, found.inputs, strict=True):
        if each.at_bound:
            page.gap()
            page.prose(
                f"{_called(each.name)} came out at nothing, and less cannot be: the readings want something "
                "else that is not to be found.",
                first="- ",
            )
        told_already = any(doubt.input and each.name in doubt.names for doubt in fit.doubts)
        if most and not told_already:
            page.gap()
            page.prose(
                f"{percent(each.largest_share)} of what is left open of {_called(each.name)} is {most}.",
                first="- ",
            )
    if fit.misfit_probability < fitting.MISFIT:
        page.gap()
        page.prose(
            "Readings and files disagree more than their uncertainties allow: check the units, the lanes and "
            "what was in the car, and whether the uncertainties are as small as you say.",
            first="! ",
            bold=True,
        )
    if fit.rates:
        page.gap()
        page.line("Each by itself:")
        _show_rates(page, found)
    page.gap()
    _show_saved(page, found, asked=asked)


def _show_rates(page: Page, found: Fitted) -> None:
    spins = {each.name for each in found.file.spin_downs}
    for rates in found.fit.rates:
        kind = "spin" if rates.name in spins else "coast"
        parts = [
            f"{name} {_number(each.value, each.uncertainty, _UNITS[kind, name])}"
            + ("" if name in rates.seen else ", not seen")
            for name, each in rates.terms.items()
        ]
        page.prose(f"{rates.name}: {'; '.join(parts)}.", first="- ")
        if rates.tied:
            page.prose(
                f"Something {' or '.join(rates.tied)} is there, but these times cannot tell which.",
                first="  ",
            )
    if found.file.coast_downs:
        page.prose(
            "A coast-down's constant part is rolling resistance and bearing friction together, and the "
            "floor's fall; alone it cannot part them."
        )


def _show_saved(page: Page, found: Fitted, *, asked: bool) -> None:
    left = [_called(each.name) for each in found.fit.found if not each.known]
    if found.saved is not None:
        page.prose(
            f"Written to {found.saved}: {listed([_called(name) for name in found.written])}."
            + (f" Left as it was: {listed(left)}." if left else "")
        )
        if len(found.written) > 1:
            page.prose("Their errors are tied to each other, which a track file cannot hold.")
    elif asked:
        page.prose("Nothing was found well enough to be written.", bold=True)
    elif any(each.known for each in found.fit.found):
        page.prose("To keep what was found in a new track file, add --save-as TRACK.toml.")
