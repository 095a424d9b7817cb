"""Options that several commands share, and how every command prints."""

from __future__ import annotations

import json
import math
import shutil
import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, TypeVar

import click

from rollwright.units import System

__all__ = ["called", "force_option", "json_option", "print_json", "system_of", "units_option"]

_Command = TypeVar("_Command", bound=Callable[..., Any])

_SYSTEMS = {"mm": System.METRIC, "in": System.INCH}


def json_option(command: _Command) -> _Command:
    """Add `--json` to a command."""
    return click.option("--json", "as_json", is_flag=True, help="Print one JSON object in SI units.")(command)


def force_option(command: _Command) -> _Command:
    """Add `--force` to a command that writes files."""
    return click.option("--force", is_flag=True, help="Replace a file that is there already.")(command)


def units_option(command: _Command) -> _Command:
    """Add `--units` to a command."""
    return click.option(
        "--units",
        type=click.Choice(sorted(_SYSTEMS)),
        default="mm",
        envvar="ROLLWRIGHT_UNITS",
        show_default=True,
        help="Units to print: millimetres, or inches and thousandths. "
        "Your choice can stand in ROLLWRIGHT_UNITS.",
    )(command)


def system_of(units: str) -> System:
    """Return the unit system that an option's word means."""
    return _SYSTEMS[units]


def _plain(value: object) -> object:
    """Return a value with every number that JSON cannot write as null."""
    if isinstance(value, float) and not math.isfinite(value):
        return None
    if isinstance(value, Mapping):
        return {key: _plain(part) for key, part in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(part) for part in value]
    return value


def called() -> str:
    """Return how this command is called from where the builder stands: by name if the shell finds it."""
    if shutil.which("rollwright") is not None or Path(sys.argv[0]).name != "rollwright":
        return "rollwright"
    try:
        return str(Path(sys.argv[0]).absolute().relative_to(Path.cwd()))
    except ValueError:
        return sys.argv[0]


def print_json(found: Mapping[str, object]) -> None:
    """Print one JSON object and nothing else.

    Args:
        found: plain data; what is not a number is written as null.
    """
    click.echo(json.dumps(_plain(found), indent=2, allow_nan=False))
