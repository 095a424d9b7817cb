"""Options that the commands of the bench log share, and how they answer."""

from __future__ import annotations

import getpass
import re
import secrets
from collections.abc import Callable
from datetime import datetime
from typing import Any, TypeVar

import click

from rollwright.cli.log_entry_words import entry_words
from rollwright.cli.log_files import log_option
from rollwright.cli.log_page import LogPage
from rollwright.cli.log_show import show_entered
from rollwright.cli.options import json_option, print_json, system_of, units_option
from rollwright.workbench import log as logs

__all__ = [
    "TakesNegative",
    "because_option",
    "by_option",
    "entering_options",
    "instrument_option",
    "note_option",
    "stamp_of",
    "tell",
    "tell_all",
    "tell_shortly",
]

_Command = TypeVar("_Command", bound=Callable[..., Any])


class TakesNegative(click.Command):
    """A command whose words may be negative numbers, which would otherwise be taken for options."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Write the sign of negative numbers as a true minus sign first."""
        return super().parse_args(ctx, [re.sub(r"^-(?=\s*[\d.,½¼¾⅛⅜⅝⅞⅓⅔])", "\u2212", arg) for arg in args])


def by_option(command: _Command) -> _Command:
    """Add `--by` to a command."""
    return click.option("--by", help="Who enters it; your login name if you do not say.")(command)


def because_option(command: _Command) -> _Command:
    """Add `--because` to a command."""
    return click.option("--because", required=True, metavar="TEXT", help="Why, in your own words.")(command)


def note_option(command: _Command) -> _Command:
    """Add `--note` to a command."""
    return click.option("--note", default="", metavar="TEXT", help="A remark, for your own memory.")(command)


def instrument_option(command: _Command) -> _Command:
    """Add `--instrument` to a command."""
    return click.option("--instrument", default="", metavar="TEXT", help="With what, for your own memory.")(
        command
    )


def entering_options(command: _Command) -> _Command:
    """Add `--log`, `--by`, `--units` and `--json` to a command, in the order in which help shows them."""
    for option in (json_option, units_option, by_option, log_option):
        command = option(command)
    return command


def stamp_of(by: str | None) -> logs.Stamp:
    """Return who enters something now; None stands for the login name."""
    return logs.Stamp(
        time=datetime.now().astimezone(),
        author=_login() if by is None else by,
        event_id=secrets.token_hex(16),
    )


def _login() -> str:
    try:
        return getpass.getuser() or "someone"
    except (KeyError, OSError, ImportError):
        # A machine may know no name for whoever is logged in.
        return "someone"


def tell(found: logs.Entered, units: str, *, as_json: bool, only: tuple[str, ...] = ()) -> None:
    """Print what was entered and how the gates stand.

    Args:
        found: the entry.
        units: word for the units to print.
        as_json: whether to print data instead.
        only: names of the gates to print; none prints all.
    """
    if as_json:
        print_json(found.as_json())
        return
    page = LogPage(system=system_of(units))
    show_entered(page, found, only=only)
    page.print()


def tell_all(
    found: logs.EnteredAll,
    units: str,
    *,
    as_json: bool,
    one: bool = False,
    nothing: str = "",
    caution: str = "",
) -> None:
    """Print the entries of one command, and how the gates stand after them.

    Args:
        found: the entries.
        units: word for the units to print.
        as_json: whether to print data instead.
        one: whether only one was asked for, so that its data have the form of one.
        nothing: what to say where there are none.
        caution: what can hurt, or empty.
    """
    if as_json:
        print_json(found.last.as_json() if one else found.as_json())
        return
    page = LogPage(system=system_of(units))
    if not found.entries:
        page.prose(nothing)
        page.print()
        return
    for entry in found.entries[:-1]:
        page.prose(f"Entry {entry.seq}: {entry_words(page, entry)}.", bold=True)
    show_entered(page, found.last)
    if len(found.entries) > 1:
        page.prose("Each of these entries is undone by its own number.")
    if caution:
        page.prose(caution, first="! ", bold=True)
    page.print()


def tell_shortly(found: logs.Entered, units: str, *, as_json: bool) -> None:
    """Print what was entered, which says nothing about a gate.

    Args:
        found: the entry.
        units: word for the units to print.
        as_json: whether to print data instead.
    """
    if as_json:
        print_json(found.as_json())
        return
    page = LogPage(system=system_of(units))
    page.prose(f"Entry {found.entry.seq}: {entry_words(page, found.entry)}.", bold=True)
    page.print()
