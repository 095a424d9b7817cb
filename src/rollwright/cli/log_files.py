"""`rollwright log export`, `import`, `backup` and `check`: the log as a file."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

import click

from rollwright.cli.log_page import LogPage
from rollwright.cli.options import json_option, print_json, system_of, units_option
from rollwright.cli.page import listed
from rollwright.workbench import log_files

__all__ = ["add_file_commands", "log_option"]

_Command = TypeVar("_Command", bound=Callable[..., Any])


def log_option(command: _Command) -> _Command:
    """Add `--log` to a command."""
    return click.option(
        "--log",
        "log",
        type=click.Path(),
        default="bench.log",
        envvar="ROLLWRIGHT_LOG",
        show_default=True,
        help="The log's file. Your choice can stand in ROLLWRIGHT_LOG.",
    )(command)


def _entries(count: int) -> str:
    return "1 entry" if count == 1 else f"{count} entries"


def _say(units: str, *lines: str) -> None:
    page = LogPage(system=system_of(units))
    for line in lines:
        page.prose(line)
    page.print()


@click.command(name="export")
@click.argument("file", type=click.Path())
@click.option("--rescue", is_flag=True, help="Write what a damaged log still tells.")
@log_option
@units_option
@json_option
def _export(file: str, log: str, units: str, *, rescue: bool, as_json: bool) -> None:
    """Write the log as text, for copies and other programs.

    FILE is the file to write; one that is there already is never touched.
    """
    count = log_files.export(log, file, rescue=rescue)
    if as_json:
        print_json({"log": log, "written": file, "entries": count})
        return
    _say(units, f"Wrote {_entries(count)} to {file}.")


@click.command(name="import")
@click.argument("file", type=click.Path())
@log_option
@units_option
@json_option
def _import(file: str, log: str, units: str, *, as_json: bool) -> None:
    """Add the entries of an exported log, all or none.

    FILE is what rollwright log export wrote. Entries that are there already are not added again.
    """
    done, made = log_files.bring_in(log, file)
    if as_json:
        print_json(
            {"log": log, "made": made, "added": done.added, "known": done.known, "mixed": list(done.mixed)}
        )
        return
    page = LogPage(system=system_of(units))
    if made:
        page.prose(f"Made the log {log}.")
    page.prose(f"Added {_entries(done.added)}; {done.known} there already.")
    if done.mixed:
        page.prose(
            f"Both logs had gone on with {listed(done.mixed)}: the new entries stand behind yours. Look over "
            "their order with: rollwright log show",
            first="! ",
            bold=True,
        )
    page.print()


@click.command(name="backup")
@click.argument("file", type=click.Path())
@log_option
@units_option
@json_option
def _backup(file: str, log: str, units: str, *, as_json: bool) -> None:
    """Copy the log as it is at one moment.

    FILE is the copy; one that is there already is never touched.
    """
    log_files.backup(log, file)
    if as_json:
        print_json({"log": log, "written": file})
        return
    _say(units, f"Copied {log} to {file}, checked and whole.")


@click.command(name="check")
@log_option
@units_option
@json_option
@click.pass_context
def _check(ctx: click.Context, log: str, units: str, *, as_json: bool) -> None:
    """Look the log over from end to end.

    Exit code 1: something is wrong with it.
    """
    findings, wrong = log_files.check(log)
    if as_json:
        print_json(
            {
                "log": log,
                "sound": not wrong,
                "findings": [
                    {
                        "level": each.level.value,
                        "entry": each.seq,
                        "problem": each.problem,
                        "mend": each.mend,
                    }
                    for each in findings
                ],
            }
        )
    else:
        page = LogPage(system=system_of(units))
        page.prose(f"{log} is {'not ' if wrong else ''}sound.", bold=True)
        for each in findings:
            where = "" if each.seq is None else f"entry {each.seq}: "
            page.prose(f"{where}{each.problem}; {each.mend}.", first="- ", rest="  ")
        page.print()
    ctx.exit(1 if wrong else 0)


def add_file_commands(group: click.Group) -> None:
    """Add the commands that treat the log as a file.

    Args:
        group: the log's group.
    """
    for each in (_export, _import, _backup, _check):
        group.add_command(each)
