"""`rollwright bench`: the bench in a browser, at this machine and on a phone beside it."""

from __future__ import annotations

import getpass
import os
from pathlib import Path
from typing import TYPE_CHECKING

import click

from rollwright.cli.log_files import log_option
from rollwright.cli.options import system_of, units_option

if TYPE_CHECKING:
    from rollwright.units import System
    from rollwright.workbench.log import Recorded

__all__ = ["command"]

_PORT = 8573
"""Always the same, as what waits on a phone belongs to the address that it was typed at."""


@click.command(name="bench")
@log_option
@click.option(
    "--folder",
    default=".",
    show_default=True,
    type=click.Path(file_okay=False),
    help="Where your car files lie.",
)
@click.option(
    "--port",
    default=_PORT,
    show_default=True,
    type=click.IntRange(0, 65535),
    help="Port to listen on; 0 takes any that is free.",
)
@click.option("--lan", is_flag=True, help="Let a phone in the same network in, once it is paired.")
@click.option(
    "--name", "names", multiple=True, metavar="TEXT", help="A further name of this machine; may be repeated."
)
@click.option("--no-browser", is_flag=True, help="Open no browser; a link is printed instead.")
@units_option
def command(
    log: str, folder: str, port: int, names: tuple[str, ...], units: str, *, lan: bool, no_browser: bool
) -> None:
    """Open the bench in a browser, at this machine and on a phone beside it.

    Your cars, the next step of each, and a keypad for readings. It answers this machine alone. With --lan a
    phone in the same network can be paired by pointing its camera at what is printed. Nothing is fetched
    from elsewhere and nothing is sent there. Ctrl-C ends it.
    """
    from rollwright.cli.bench_verbs import VERBS  # noqa: PLC0415 - only this needs it
    from rollwright.web.server import Asked, serve  # noqa: PLC0415 - heavy
    from rollwright.web.settings import state_folder  # noqa: PLC0415

    serve(
        Asked(
            log=Path(log),
            folder=Path(folder),
            state=state_folder(),
            port=port,
            lan=lan,
            names=names,
            browser=not no_browser,
            verbs=VERBS,
            entry_words=said,
            units=system_of(units),
            author=_login(),
            tell=click.echo,
        )
    )


def said(entry: Recorded, system: System) -> str:
    """Return an entry in a builder's words, as the command line says it."""
    from rollwright.cli.log_entry_words import entry_words  # noqa: PLC0415 - only this needs it
    from rollwright.cli.log_page import LogPage  # noqa: PLC0415

    return entry_words(LogPage(system=system), entry)


def _login() -> str:
    try:
        return getpass.getuser() or "someone"
    except (KeyError, OSError, ImportError):
        # A machine may know no name for whoever is logged in.
        return os.environ.get("USERNAME") or "someone"
