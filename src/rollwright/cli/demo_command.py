"""`rollwright demo`: the invented club's files, and the main job on one of its cars."""

from __future__ import annotations

import click

from rollwright import workbench
from rollwright.cli.next_command import show_advice
from rollwright.cli.options import called, json_option, print_json, system_of, units_option
from rollwright.cli.page import Page
from rollwright.cli.stance_command import show_stance

__all__ = ["command"]


@click.command(name="demo")
@click.argument("folder", type=click.Path(), default="tannery-lane")
@units_option
@json_option
def command(folder: str, units: str, *, as_json: bool) -> None:
    """Write the invented demo club's files and work through one of its cars.

    FOLDER is where the Tannery Lane Gravity Club's files go [default: tannery-lane]; files that are there
    already are kept as they are.
    """
    found = workbench.demo(folder, system=system_of(units))
    if as_json:
        print_json(
            {
                "folder": str(found.folder),
                "written": [path.name for path in found.written],
                "kept": [path.name for path in found.kept],
                "stance": found.stood.as_json(),
                "next": found.advised.as_json(),
            }
        )
        return
    page = Page(system=system_of(units))
    page.prose(
        f"The Tannery Lane Gravity Club is invented; its files are in {found.folder}. One of its builders "
        "has drilled a body, bent the front axle and asks where the car sits:"
    )
    page.gap()
    page.line(f"$ {called()} stance {found.car_file}")
    page.gap()
    show_stance(page, found.stood)
    page.gap()
    page.prose("Then the car is read at the bench, and the question is what to do next:")
    page.gap()
    page.line(f"$ {called()} next {found.car_file} -r {found.readings_file}")
    page.gap()
    show_advice(page, found.advised)
    page.gap()
    page.prose(
        f"Now a car of your own: {called()} new CAR.toml, fill in what you have measured, and ask the same "
        "two questions."
    )
    page.print()
