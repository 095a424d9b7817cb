"""Text for a terminal: wrapped to its width, forty columns will do, colour only on a terminal."""

from __future__ import annotations

import re
import shutil
import sys
import textwrap
from collections.abc import Sequence

import click

from rollwright.car.model import Target
from rollwright.units import Kind, Shown, System, show, show_sided

__all__ = ["Page", "listed", "not_given", "percent", "tied"]

_NARROWEST, _WIDEST = 40, 78
_ASCII = str.maketrans(
    {"−": "-", "±": "+/-", "°": " deg", "✓": "Y", "⊂": "N", "◐": "?", "·": ".", "…": "..."}
)
_TIED = "\N{NO-BREAK SPACE}"
_UNITS = (
    *("mm", "cm", "m", "km", "um", "µm", "thou", "in", "ft"),
    *("deg", "°", "rad", "mrad", "g", "kg", "mg", "oz", "lb", "g·mm²"),
    *("s", "ms", "m/s", "mm/m", "%"),
)
_BEFORE_A_UNIT = re.compile(rf"(?<=\d) (?=(?:{'|'.join(map(re.escape, _UNITS))})(?![\w/²]))")
_BEFORE_A_SPREAD = re.compile(r"(?<=[\d°]) (?=±)")
_AFTER_A_SIGN = re.compile(r"(?<=±) (?=[\d.∞])")
_COLOURS = {"pass": "green", "fail": "red", "unclear": "yellow"}
_MARKS = {"pass": "✓", "fail": "⊂", "unclear": "◐"}


class Page:
    """Collects lines and prints them; knows the terminal's width, letters and units.

    Args:
        system: units to print.
    """

    def __init__(self, *, system: System) -> None:
        self.system = system
        self.width = max(_NARROWEST, min(_WIDEST, shutil.get_terminal_size((_WIDEST, 24)).columns))
        self._lines: list[str] = []

    def line(self, text: str = "", *, bold: bool = False) -> None:
        """Add one line as it is."""
        self._lines.append(click.style(text, bold=True) if bold else text)

    def prose(self, text: str, *, first: str = "", rest: str | None = None, bold: bool = False) -> None:
        """Add a paragraph, wrapped, its first line and the others led by what is given."""
        wrapped = textwrap.wrap(
            tied(text),
            self.width,
            initial_indent=first,
            subsequent_indent=" " * len(first) if rest is None else rest,
            break_on_hyphens=False,
        )
        for line in wrapped:
            self.line(line, bold=bold)

    def gap(self) -> None:
        """Add an empty line, never two."""
        if self._lines and self._lines[-1]:
            self._lines.append("")

    def table(self, rows: Sequence[Sequence[str]], *, head: Sequence[str]) -> None:
        """Add a table: first column to the left, the others to the right."""
        every = [list(head), *(list(row) for row in rows)]
        widths = [max(len(row[column]) for row in every) for column in range(len(head))]
        gap = "  " if sum(widths) + 2 * len(widths) - 2 <= self.width else " "
        for number, row in enumerate(every):
            cells = [row[0].ljust(widths[0])]
            cells += [cell.rjust(width) for cell, width in zip(row[1:], widths[1:], strict=True)]
            text = gap.join(cells).rstrip()
            self.line(click.style(text, dim=True) if number == 0 else text)

    def verdict(self, state: str, text: str) -> None:
        """Add a line led by a verdict's mark; never by colour alone."""
        mark = click.style(_MARKS[state], fg=_COLOURS[state], bold=True)
        wrapped = textwrap.wrap(tied(text), self.width - 2, subsequent_indent="  ")
        for number, line in enumerate(wrapped):
            self.line(f"{mark} {line}" if number == 0 else f"  {line}")

    def length(self, value: float, uncertainty: float | None = None, *, like: float = 0.0) -> str:
        """Return a length in the reader's units, its parts tied together; `like` others beside it."""
        return _kept_together(
            show(value, kind=Kind.LENGTH, system=self.system, uncertainty=uncertainty, like=like)
        )

    def angle(self, value: float, uncertainty: float | None = None) -> str:
        """Return an angle in degrees."""
        return _kept_together(show(value, kind=Kind.ANGLE, system=self.system, uncertainty=uncertainty))

    def mass(self, value: float, uncertainty: float | None = None) -> str:
        """Return a mass in the reader's units, its parts tied together."""
        return _kept_together(show(value, kind=Kind.MASS, system=self.system, uncertainty=uncertainty))

    def quantity(self, kind: Kind, value: float, uncertainty: float | None = None) -> str:
        """Return a quantity of any kind in the reader's units, its parts tied together."""
        return _kept_together(show(value, kind=kind, system=self.system, uncertainty=uncertainty))

    def level(self, value: float, uncertainty: float | None = None) -> str:
        """Return a height difference with its sign in words: `0.35 ± 0.04 mm nose high`."""
        shown = show(abs(value), kind=Kind.LENGTH, system=self.system, uncertainty=uncertainty)
        word = "" if not shown.number.strip("0.") else (" nose high" if value > 0.0 else " nose low")
        return f"{shown}{word}".replace(" ", _TIED)

    def drift(self, value: float, uncertainty: float | None = None) -> str:
        """Return a drift with its side: `94 ± 3 mm right`."""
        return show_sided(value, system=self.system, uncertainty=uncertainty).replace(" ", _TIED)

    def rail(self, value: float, uncertainty: float | None = None) -> str:
        """Return a rail offset with its sign in words: `0.40 mm off the rail`."""
        shown = show(abs(value), kind=Kind.LENGTH, system=self.system, uncertainty=uncertainty)
        if not shown.number.strip("0."):
            return f"{_kept_together(shown)}, touching"
        return f"{_kept_together(shown)} {'off the rail' if value > 0.0 else 'too far in'}"

    def band(self, target: Target, *, sided: bool = False) -> str:
        """Return a target with its tolerance, as the builder set them: `0 ± 0.15 mm`, `70 ± 10 mm right`."""
        scale, unit = 1e3, "mm"
        if self.system is System.INCH:
            thou = max(abs(target.value), target.tolerance) < 2.54e-3
            scale, unit = (1.0 / 25.4e-6, "thou") if thou else (1.0 / 0.0254, "in")
        value = abs(target.value) if sided else target.value
        side = "" if not sided or target.value == 0.0 else (" left" if target.value > 0.0 else " right")
        plain = [f"{round(part * scale, 3):g}".replace("-", "−") for part in (value, target.tolerance)]
        return f"{plain[0]} ± {plain[1]} {unit}{side}".replace(" ", _TIED)

    def print(self) -> None:
        """Print everything, in plain letters where the terminal knows no others."""
        text = "\n".join(self._lines).rstrip("\n").replace(_TIED, " ")
        encoding = getattr(sys.stdout, "encoding", None) or "ascii"
        try:
            text.encode(encoding)
        except (UnicodeEncodeError, LookupError):
            text = text.translate(_ASCII).encode("ascii", "replace").decode()
        click.echo(text)


def tied(text: str) -> str:
    """Return a text that no line break can part within a quantity: number, uncertainty and unit.

    Args:
        text: what is to be wrapped.

    Returns:
        The same, with no-break spaces between a number and its unit and around `±`; printed as plain spaces.
    """
    for place in (_BEFORE_A_UNIT, _BEFORE_A_SPREAD, _AFTER_A_SIGN):
        text = place.sub(_TIED, text)
    return text


def _kept_together(shown: Shown) -> str:
    """Return a printed quantity that a line break cannot part from its unit."""
    return str(shown).replace(" ", _TIED)


def percent(probability: float) -> str:
    """Return a probability as a builder says it: `97 %`, `under 1 %`, `over 99 %`."""
    if probability < 0.01:
        text = "under 1 %"
    elif probability > 0.99:
        text = "over 99 %"
    else:
        text = f"{100.0 * probability:.0f} %"
    return text.replace(" ", _TIED)


def listed(words: Sequence[str]) -> str:
    """Return words as a list in a sentence: `a, b and c`."""
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} and {words[-1]}"


def not_given(count: int, what: str = "value", *, leading: Sequence[str] = ()) -> str:
    """Return how many values a result rests on that were not given, as a sentence.

    Args:
        count: how many.
        what: what they are called, one of them.
        leading: those that matter most, as they are said.

    Returns:
        Such as `18 sizes were not given and are assumed, first of all the wheelbase; --json lists them.`
    """
    named = f", first of all {listed(leading)}" if leading else ""
    if count == 1:
        return f"1 {what} was not given and is assumed{named}; --json lists it."
    return f"{count} {what}s were not given and are assumed{named}; --json lists them."
