"""The page that the bench log is shown on: marks of its gates, and quantities with their signs in words."""

from __future__ import annotations

import sys
import textwrap

import click

from rollwright.cli.page import Page, tied
from rollwright.judge.verdict import State
from rollwright.units import Kind, System, show, show_entered

__all__ = ["AGAIN", "MARKS", "NEVER", "ROLLED", "TIED", "LogPage"]

AGAIN, NEVER = "◌", "·"
"""Marks of a gate that must be read again, and of one that never was."""
MARKS = {State.PASS: "✓", State.FAIL: "⊂", State.UNCLEAR: "◐"}
ROLLED = {
    "holds": "it held the rail",
    "leaves": "it left the rail",
    "tail_left": "its tail swung to the left",
    "tail_right": "its tail swung to the right",
}
"""What a slow roll showed, in words."""
TIED = "\N{NO-BREAK SPACE}"

_AGAIN_PLAIN = "o"
_COLOURS = {"✓": "green", "⊂": "red", "◐": "yellow", AGAIN: "yellow", NEVER: "white"}


class LogPage(Page):
    """A page that also knows the marks of the gates that nothing speaks for.

    Args:
        system: units to print.
        as_written: whether what was entered keeps the unit that it was written in, where it would lose digits
            in the other.
    """

    def __init__(self, *, system: System, as_written: bool = True) -> None:
        super().__init__(system=system)
        self.as_written = as_written

    def print(self) -> None:
        """Print everything, in plain letters where the terminal knows no others."""
        encoding = getattr(sys.stdout, "encoding", None) or "ascii"
        try:
            AGAIN.encode(encoding)
        except (UnicodeEncodeError, LookupError):
            self._lines = [line.replace(AGAIN, _AGAIN_PLAIN) for line in self._lines]
        super().print()

    def marked(self, mark: str, text: str) -> None:
        """Add a paragraph led by a mark; never by colour alone."""
        wrapped = textwrap.wrap(tied(text), self.width - 2, subsequent_indent=" " * 8, break_on_hyphens=False)
        for number, line in enumerate(wrapped):
            lead = click.style(mark, fg=_COLOURS[mark], bold=True) if number == 0 else " "
            self.line(f"{lead} {line}")

    def struck(self, text: str, *, first: str) -> None:
        """Add a paragraph that no longer counts, struck through where the terminal can."""
        for line in textwrap.wrap(tied(text), self.width - len(first), break_on_hyphens=False):
            self.line(f"{first}{click.style(line, strikethrough=True)}")

    def entered(self, value: float, *, kind: Kind, uncertainty: float | None = None) -> str:
        """Return what was entered with every digit that was written, its parts tied together."""
        shown = show_entered(
            value, kind=kind, system=self.system, uncertainty=uncertainty, as_written=self.as_written
        )
        return str(shown).replace(" ", TIED)

    def entered_gate(self, gate: str, value: float) -> str:
        """Return a reading of a gate's quantity as it was entered, with its sign in words."""
        shown = show_entered(
            abs(value),
            kind=Kind.LENGTH,
            system=self.system,
            sided=gate == "steer",
            as_written=self.as_written,
        )
        ways = {
            "level": (" nose high", " nose low"),
            "steer": (" left", " right"),
            "centre": (" off the rail", " too far in"),
        }[gate]
        if shown.number.strip("0."):
            word = ways[0] if value > 0.0 else ways[1]
        else:
            word = ", touching" if gate == "centre" else ""
        # Which way it is off the rail may stand on the next line; the words are long.
        return str(shown).replace(" ", TIED) + (word if gate == "centre" else word.replace(" ", TIED))

    def amount(self, value: float, *, move: str) -> str:
        """Return the amount of a move as it was entered, without its direction."""
        return self.entered(abs(value), kind=Kind.ANGLE if move in {"bend", "turn"} else Kind.LENGTH)

    def gate(self, gate: str, value: float, uncertainty: float | None = None) -> str:
        """Return a gate's quantity with its sign in words."""
        say = {"level": self.level, "steer": self.drift, "centre": self.rail}[gate]
        return say(value, uncertainty)

    def shift(self, gate: str, value: float) -> str:
        """Return a change of a gate's quantity with its direction in words."""
        shown = show(abs(value), kind=Kind.LENGTH, system=self.system)
        if not shown.number.strip("0."):
            return "next to nothing"
        ways = {
            "level": ("nose up", "nose down"),
            "steer": ("to the left", "to the right"),
            "centre": ("away from the rail", "towards the rail"),
        }[gate]
        return f"{shown} {ways[0] if value > 0.0 else ways[1]}".replace(" ", TIED)
