"""The `rollwright` command: its subcommands are imported only when they run."""

from __future__ import annotations

import importlib
import os
import sys
from typing import TYPE_CHECKING, Any

import click

from rollwright.errors import RollwrightError, echo

if TYPE_CHECKING:
    from click.shell_completion import CompletionItem

__all__ = ["cli", "main"]

_COMMANDS = {
    "balance": "Say what a car weighs, and where its mass is.",
    "bench": "Open the bench in a browser, at this machine and on a phone beside it.",
    "ballast": "Say which weights go in which pockets.",
    "batch": "Say whether a drill jig is any good, from the bodies that it drilled.",
    "completion": "Print the script that completes the command at the tab key.",
    "demo": "Write the invented demo club's files and work through one of its cars.",
    "draw": "Draw a car: its set-up sheet, its views, and gauges and guides in true size.",
    "fit": "Find what brakes a car, from what was timed.",
    "hold": "Say whether a car holds the rail.",
    "log": "Keep a car's log: enter what you read and did, and see which gates still hold.",
    "new": "Write a commented starter file for a car of your own.",
    "next": "Say what to do next with a car, and by how much.",
    "parts": "Say which loose parts are fit to race, and which belong on a car.",
    "plan": "Say what to drill and bend before any wood is cut.",
    "time": "Say how long a car takes down a track, where the time goes, and what errors cost.",
    "study": "Say what becomes of many bodies made alike.",
    "stance": "Say where a car sits, how it drifts and how it meets the rail.",
    "trials": "Say from times on the track whether a change really helped.",
    "tolerance": "Say where care pays, and how many drilled bodies are good.",
}


class _Lazy(click.Group):
    """A group that knows its commands' names and one-line helps, and imports one only to run it."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the commands in alphabetical order."""
        del ctx
        return sorted(_COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Return a command, importing its module."""
        del ctx
        if cmd_name not in _COMMANDS:
            return None
        module = importlib.import_module(f"rollwright.cli.{cmd_name}_command")
        command: click.Command = module.command
        return command

    def shell_complete(self, ctx: click.Context, incomplete: str) -> list[CompletionItem]:
        """Return what a shell may complete here without importing any of the commands."""
        from click.shell_completion import CompletionItem  # noqa: PLC0415 - only a completing shell needs it

        names = [name for name in self.list_commands(ctx) if name.startswith(incomplete)]
        found = [CompletionItem(name, help=_COMMANDS[name]) for name in names]
        return [*found, *click.Command.shell_complete(self, ctx, incomplete)]

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the list of commands without importing any of them."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, _COMMANDS[name]) for name in self.list_commands(ctx)])


def _version(ctx: click.Context, param: click.Parameter, value: bool) -> None:  # noqa: FBT001 - click's own form
    del param
    if value:
        from importlib.metadata import version  # noqa: PLC0415 - rarely asked

        click.echo(f"rollwright {version('rollwright')}")
        ctx.exit()


@click.group(
    cls=_Lazy,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80},
    no_args_is_help=False,
    invoke_without_command=True,
)
@click.option(
    "--version", is_flag=True, is_eager=True, expose_value=False, callback=_version, help="Print the version."
)
@click.pass_context
def cli(ctx: click.Context) -> None:
    """A bench partner for builders of gravity-raced wooden block cars.

    Describe a car in a file, read it at the bench, and be told what to do next and by how much.

    \b
    Start here:
      rollwright demo            see it work on an invented club's car
      rollwright new CAR.toml    begin with a car of your own
    """  # noqa: D301 - \b keeps click from joining the lines
    if ctx.invoked_subcommand is None:
        click.echo(ctx.get_help())


def _say(message: str) -> None:
    text = f"rollwright: {message}"
    try:
        click.echo(text, err=True)
    except UnicodeEncodeError:
        click.echo(text.encode("ascii", "replace").decode(), err=True)


def main(arguments: list[str] | None = None) -> None:
    """Run the command line and leave the process: 0 done, 1 the car fails what was asked, 2 wrong input.

    Args:
        arguments: words after the command's name; left out, the process's own.
    """
    sys.exit(_run(arguments))


def _run(arguments: list[str] | None) -> int:
    try:
        result: Any = cli.main(arguments, prog_name="rollwright", standalone_mode=False)
    except click.UsageError as error:
        where = error.ctx.command_path if error.ctx is not None else "rollwright"
        _say(f"{_one_line(error.format_message())} See: {where} --help")
        return 2
    except click.ClickException as error:
        _say(_one_line(error.format_message()))
        return 2
    except (click.Abort, KeyboardInterrupt):
        _say("stopped")
        return 1
    except RollwrightError as error:
        _say(str(error))
        return error.exit_code
    except BrokenPipeError:
        # Whoever read our output has seen enough; keep the interpreter from complaining at exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    return result if isinstance(result, int) else 0


def _one_line(message: str) -> str:
    text = " ".join(message.split())
    shown = echo(text).strip("'\"") if len(text) > 300 else text
    return shown if shown.endswith((".", "?", "!")) else f"{shown}."
