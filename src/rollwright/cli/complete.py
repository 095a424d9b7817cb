"""What a shell offers at a place of a command: its words, and the cars and entries of the log.

Each of these can be given to click as `shell_complete`. A builder who presses the tab key
wants no message: whatever goes wrong, nothing is offered and nothing is said.
"""

from __future__ import annotations

import os
import textwrap
import tomllib
from collections.abc import Callable, Collection, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from rollwright.car.model import Seat, Station

if TYPE_CHECKING:
    from click.shell_completion import CompletionItem

    Find = Callable[[click.Context, str], list[CompletionItem]]
    Completer = Callable[[click.Context, click.Parameter, str], list[CompletionItem]]

__all__ = [
    "amounts",
    "car_ids",
    "dimensions",
    "entry_numbers",
    "findings",
    "holes",
    "kinds",
    "offer",
    "pins",
    "places",
    "planes",
    "seats",
    "stations",
    "weights",
]

_HINT_WIDTH = 70
_STATIONS = {station.value: f"{station.words} wheel" for station in Station}
_SEATS = {
    Seat.BODY.value: "its hub against the body",
    Seat.MIDDLE.value: "midway",
    Seat.HEAD.value: "its hub at the axle's head",
}


def _offered(words: Collection[str], incomplete: str) -> list[CompletionItem]:
    """Return those of some words that begin as written, whatever the capitals and hyphens.

    Args:
        words: the words; of a mapping, each with a hint for shells that show one.
        incomplete: what is written so far.

    Returns:
        What a shell is to offer.
    """
    from click.shell_completion import CompletionItem  # noqa: PLC0415 - only a completing shell needs it

    begun = _plain(incomplete)
    hints = words if isinstance(words, Mapping) else dict.fromkeys(words, "")
    return [
        CompletionItem(word, help=_one_line(hint) or None)
        for word, hint in hints.items()
        if _plain(word).startswith(begun)
    ]


def _plain(word: str) -> str:
    return word.casefold().replace("-", "_")


def _one_line(hint: str) -> str:
    # Shells take one line for each item; a remark in a log may hold anything.
    text = "".join(c if c.isprintable() else " " for c in hint)
    return textwrap.shorten(text, _HINT_WIDTH, placeholder=" ...")


def _choices(words: Collection[str], incomplete: str) -> list[CompletionItem]:
    """Return what `_offered` does, but no single word that nobody began: a shell would enter it unasked."""
    return _offered(words, incomplete) if incomplete or len(words) > 1 else []


def _quiet(find: Find) -> Completer:
    """Return a completer that offers what a function finds, and nothing where that goes wrong."""

    def complete(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
        del param
        try:
            return find(ctx, incomplete)
        except Exception:  # noqa: BLE001 - whatever it was, a half-written line is no place for a message
            return []

    return complete


def offer(words: Collection[str]) -> Completer:
    """Return a completer of words that are always the same.

    Args:
        words: the words; of a mapping, each with a hint for shells that show one.

    Returns:
        The completer.
    """
    return _quiet(lambda _, incomplete: _offered(words, incomplete))


stations = offer(_STATIONS)
"""The four wheels."""

holes = offer({**_STATIONS, "all": "the four of them"})
"""The holes of the four wheels, and all of them."""

planes = offer({"cant": "out of level", "sweep": "out of square"})
"""Which way a hole or a pin is looked at."""

seats = offer(_SEATS)
"""Where a wheel can run on its axle."""


def _path(written: str) -> Path:
    # The shell hands the words over as they are written, with a ~ still in them.
    return Path(os.path.expandvars(written)).expanduser()


@_quiet
def car_ids(ctx: click.Context, incomplete: str) -> list[CompletionItem]:
    """Return the cars of the log that the line, the environment or the folder says."""
    from rollwright.workbench import log_past  # noqa: PLC0415 - not every command has a log

    return _offered(log_past.car_ids(_path(ctx.params["log"])), incomplete)


@_quiet
def entry_numbers(ctx: click.Context, incomplete: str) -> list[CompletionItem]:
    """Return the entries of a car that can be undone, newest first, each with what it was."""
    from rollwright.cli.log_entry_words import entry_words  # noqa: PLC0415 - rarely needed
    from rollwright.cli.log_page import LogPage  # noqa: PLC0415
    from rollwright.cli.options import system_of  # noqa: PLC0415
    from rollwright.workbench import log_past  # noqa: PLC0415

    page = LogPage(system=system_of(ctx.params.get("units") or "mm"))
    entries = log_past.entry_hints(_path(ctx.params["log"]), ctx.params["car_id"])
    return _offered({str(entry.seq): entry_words(page, entry) for entry in entries}, incomplete)


@_quiet
def kinds(ctx: click.Context, incomplete: str) -> list[CompletionItem]:
    """Return the kinds of reading."""
    from rollwright.workbench import log_choices  # noqa: PLC0415 - not needed at start-up

    del ctx
    return _offered(log_choices.reading_kinds(), incomplete)


@_quiet
def dimensions(ctx: click.Context, incomplete: str) -> list[CompletionItem]:
    """Return the dimensions of a car whose size can be read."""
    from rollwright.workbench import log_choices  # noqa: PLC0415 - not needed at start-up

    del ctx
    return _offered(log_choices.dimensions(), incomplete)


def _behind_size(ways: Collection[str], written: Sequence[str], incomplete: str) -> list[CompletionItem]:
    """Return the words that can stand behind a size.

    Args:
        ways: the words.
        written: what the argument has so far.
        incomplete: its last word; in quotes the whole of it is one word to the shell.

    Returns:
        Each way, led by what stands before it in the quotes; none behind what is no size.
    """
    before, space, last = incomplete.rpartition(" ")
    words = [*written, *before.casefold().split()]
    if not words or not words[0][:1].isdigit() or {*words} & {*ways}:
        return []
    return _offered([f"{before}{space}{way}" for way in ways if way.startswith(last.casefold())], incomplete)


@_quiet
def amounts(ctx: click.Context, incomplete: str) -> list[CompletionItem]:
    """Return what can stand in the amount of a move: its direction, or that nobody knows."""
    from rollwright.cli.log_words import direction_of  # noqa: PLC0415 - not needed at start-up

    move, written = ctx.params["move"], ctx.params["amount"] or ()
    if not written and " " not in incomplete:
        return _choices({"unknown": "nobody knows by how much"}, incomplete)
    # Wood that is gone does not come back.
    signs = (1.0,) if move == "sand" else (1.0, -1.0)
    ways = [direction_of(move, sign, station=Station.FRONT_LEFT) for sign in signs]
    return _behind_size(ways, written, incomplete)


@_quiet
def pins(ctx: click.Context, incomplete: str) -> list[CompletionItem]:
    """Return what a pin can show against a straight-edge."""
    from rollwright.cli.log_part_words import WAYS  # noqa: PLC0415 - not needed at start-up

    written = ctx.params["seen"] or ()
    if not written and " " not in incomplete:
        return _offered({"none": "no daylight", "seen": "some that was not measured"}, incomplete)
    ways = [way for way in WAYS[_plain(ctx.params["plane"])] if not way.endswith("s")]
    return _behind_size(ways, written, incomplete)


@_quiet
def findings(ctx: click.Context, incomplete: str) -> list[CompletionItem]:
    """Return what can be found of what a rule is about."""
    from rollwright.workbench import log_entry  # noqa: PLC0415 - not needed at start-up

    rule, written = log_entry.Rule(_plain(ctx.params["rule"])), ctx.params["value"] or ()
    if written or " " in incomplete:
        return _behind_size(("past", "short"), written, incomplete) if rule.is_reach else []
    if rule.is_size and not rule.is_reach:
        return []
    return _choices(log_entry.LOOKS.get(rule, (log_entry.NONE,)), incomplete)


@_quiet
def places(ctx: click.Context, incomplete: str) -> list[CompletionItem]:
    """Return where a part can be: at a wheel, or in a pocket, of which only the builder knows the name."""
    return [] if _plain(ctx.params["part"]) in {"weight", "all"} else _offered(_STATIONS, incomplete)


@_quiet
def weights(ctx: click.Context, incomplete: str) -> list[CompletionItem]:
    """Return the weights that a car file names."""
    # Behind an option that still waits for its value click leaves the arguments as they stand.
    file = _path(ctx.params["car"] or ctx.args[0])
    if not file.is_file():
        return []
    return _offered(list(tomllib.loads(file.read_text(encoding="utf-8"))["weights"]), incomplete)
