"""`rollwright log photo` and `photos`: pictures in the log."""

from __future__ import annotations

import click

from rollwright.cli.complete import car_ids
from rollwright.cli.log_files import log_option
from rollwright.cli.log_options import entering_options, stamp_of, tell_shortly
from rollwright.cli.log_page import LogPage
from rollwright.cli.options import json_option, print_json, system_of, units_option
from rollwright.workbench import log_photos

__all__ = ["add_photo_commands"]


@click.command(name="photo")
@click.argument("car_id", metavar="ID", shell_complete=car_ids)
@click.argument("file", type=click.Path())
@click.option("--caption", default="", metavar="TEXT", help="What it shows.")
@entering_options
def _photo(
    car_id: str, file: str, caption: str, log: str, by: str | None, units: str, *, as_json: bool
) -> None:
    """Put a photo into the log.

    ID is the car's, FILE the photo: JPEG, PNG, GIF, WebP or HEIC of up to 8 MB. The whole photo is kept.
    """
    found = log_photos.photo(log, car_id, file, caption=caption, stamp=stamp_of(by))
    tell_shortly(found, units, as_json=as_json)


@click.command(name="photos")
@click.argument("car_id", metavar="ID", shell_complete=car_ids)
@click.argument("folder", type=click.Path())
@log_option
@units_option
@json_option
def _photos(car_id: str, folder: str, log: str, units: str, *, as_json: bool) -> None:
    """Write the photos of a car out of the log.

    ID is the car's, FOLDER where to write them; it is made if it is not there. Each file is named by the
    car and the number of its entry. A file that is there already is never touched, and photos that were
    withdrawn are left out.
    """
    found = log_photos.photos(log, car_id, folder)
    if as_json:
        print_json(found.as_json())
        return
    page = LogPage(system=system_of(units))
    there = f"; {len(found.kept)} there already" if found.kept else ""
    count = len(found.written)
    if found.written or found.kept:
        page.prose(f"Wrote {count} {'photo' if count == 1 else 'photos'} to {folder}{there}.")
    else:
        page.prose(f"No photo of {found.car} is in the log.")
    for name in found.written:
        page.prose(name, first="  ")
    page.print()


def add_photo_commands(group: click.Group) -> None:
    """Add the commands that put photos into the log and write them out.

    Args:
        group: the log's group.
    """
    for each in (_photo, _photos):
        group.add_command(each)
