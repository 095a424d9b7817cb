"""How drawings are told: what can be drawn, what was written, and how to prove the print."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rollwright.cli.page import Page

if TYPE_CHECKING:
    from rollwright.workbench.drawings import Drawable, Drawn, DrawnFile

__all__ = ["show_drawable", "show_drawn"]

_PAPER = {"a4": "A4", "letter": "Letter"}


def show_drawable(page: Page, found: Drawable, *, told: str) -> None:
    """Add to a page what can be drawn of a car, and what not and why.

    Args:
        page: where to add it.
        found: all choices.
        told: how the command is called for this car.
    """
    page.prose(f"{found.car.name}: this can be drawn.", bold=True)
    for each in found.choices:
        if not each.why_not:
            page.prose(f"{each.name}: {each.purpose}", first="- ", rest="  ")
    not_now = [each for each in found.choices if each.why_not]
    if not_now:
        page.gap()
        page.prose("Not of this car:", bold=True)
        for each in not_now:
            page.prose(f"{each.name}: {each.why_not}", first="- ", rest="  ")
    page.gap()
    able = [each.name for each in found.choices if not each.why_not]
    if able:
        page.prose(f"Draw one or several, or all: {told} {able[0]}")


def show_drawn(page: Page, found: Drawn) -> None:
    """Add to a page which files were written, and what to do with them first.

    Args:
        page: where to add it.
        found: the files.
    """
    count = len(found.files)
    page.prose(f"{found.car.name}: {count} {'file' if count == 1 else 'files'} written.", bold=True)
    for each in found.files:
        page.prose(f"{each.path}: {_made(each, found.paper)}", first="- ", rest="  ")
    for left in found.left_out:
        page.prose(f"Left out, {left.name}: {left.why_not}.", first="! ", rest="  ")
    page.gap()
    printed = any(each.form == "pdf" and each.true_size for each in found.files)
    cut = any(each.form != "pdf" and each.true_size for each in found.files)
    if printed:
        page.prose(
            "Print at 100 % (actual size), fit to page turned off. Measure the scale box before you trust "
            "a page: 100 mm across, 50 mm up. If it is off, draw again with --printer and both lengths as "
            "you measured them."
        )
    if cut:
        page.prose(
            "Open the file in your cutter's or drawing program and measure the scale box there: 100 mm "
            "across, 50 mm up. If it is off, set the program's units to millimetres."
        )
    cautions = dict.fromkeys(text for each in found.files for text in each.cautions)
    for text in cautions:
        page.prose(text, first="! ", rest="  ")


def _made(each: DrawnFile, paper: str) -> str:
    words = f"drawing {each.digest}"
    if each.form != "pdf":
        return words
    return f"{each.pages} {'page' if each.pages == 1 else 'pages'} {_PAPER[paper]}, {words}"
