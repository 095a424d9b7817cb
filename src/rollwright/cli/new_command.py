"""`rollwright new`: a commented starter file."""

from __future__ import annotations

import shlex
from pathlib import Path

import click

from rollwright import workbench
from rollwright.cli.options import called, json_option, print_json

__all__ = ["command"]


@click.command(name="new")
@click.argument("car", type=click.Path())
@click.option("--name", default="", help="What the car is called; left out, the file's own name.")
@json_option
def command(car: str, name: str, *, as_json: bool) -> None:
    """Write a commented starter file for a car of your own.

    CAR is the file to write; one that is there already is never touched. Fill in what you have
    measured and leave the rest: what nobody gave is assumed, and named wherever it matters.
    """
    title = name or Path(car).stem.replace("_", " ").replace("-", " ").strip().capitalize() or "My car"
    workbench.new_car(car, name=title)
    if as_json:
        print_json({"written": str(car), "name": title})
        return
    click.echo(f"Wrote {car}. Fill in what you have measured, then: {called()} stance {shlex.quote(car)}")
