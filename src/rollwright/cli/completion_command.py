"""`rollwright completion`: the script that lets a shell complete the command."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from click.shell_completion import ShellComplete

__all__ = ["command"]

_NAME, _ASKED_BY = "rollwright", "_ROLLWRIGHT_COMPLETE"
_KEEP = {
    "bash": ("~/.local/share/bash-completion/completions/rollwright", ""),
    "zsh": ("~/.zfunc/_rollwright", "and in ~/.zshrc, before compinit is called: fpath+=(~/.zfunc)"),
    "fish": ("~/.config/fish/completions/rollwright.fish", ""),
}
"""Where each shell looks for such a script, and what else it wants to be told."""


@click.command(name="completion")
@click.argument("shell", type=click.Choice(tuple(_KEEP)), metavar="SHELL")
def command(shell: str) -> None:
    """Print the script that completes the command at the tab key.

    SHELL is bash, zsh or fish. Keep the script where your shell looks for it, make the folder first if it
    is not there, and open a new terminal:

    \b
      rollwright completion bash \\
        > ~/.local/share/bash-completion/completions/rollwright
      rollwright completion zsh > ~/.zfunc/_rollwright
      rollwright completion fish > ~/.config/fish/completions/rollwright.fish

    Commands, options, files and the words of a command are completed, and the cars and entries of the log.
    """  # noqa: D301 - \b keeps click from joining the lines
    file, more = _KEEP[shell]
    # Behind the script, for zsh reads the script's first line.
    lines = [f"# Turn it on with: {_NAME} completion {shell} > {file}", *([f"# {more}"] if more else [])]
    click.echo("\n".join([_script(shell).rstrip("\n"), "", *lines]))


def _script(shell: str) -> str:
    """Return click's script for a shell."""
    from click.shell_completion import get_completion_class  # noqa: PLC0415 - only this needs it

    from rollwright.cli.app import cli  # noqa: PLC0415 - it imports this module by name

    kind: type[ShellComplete] | None = get_completion_class(shell)
    if kind is None:
        raise click.UsageError(f"This click knows no {shell}; update click.")
    return kind(cli, {}, _NAME, _ASKED_BY).source()
