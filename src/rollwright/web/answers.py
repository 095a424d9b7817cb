"""The three answers to the next step: what each enters, read from the command that enters it."""

from __future__ import annotations

import re
import shlex
from collections.abc import Collection
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rollwright.workbench.log_gates import Step

__all__ = ["Answer", "answer_to", "view_for"]

_PLACE = re.compile(r"[A-Z]{3,}")
"""What stands in a command for something that only a hand can tell: VALUE, SIZE, MASS, TEXT."""
_LABELS = {
    "did": "Done as asked",
    "fit": "All of it is fitted",
    "read": "Enter the reading",
    "roll": "Enter what it did",
    "weigh": "Enter the weight",
    "undo": "Take it back",
    "retire": "Retire it",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """The first answer to a step.

    Attributes:
        label: on its button.
        verb: what it enters, or empty where nothing can be entered here.
        words: its words, as behind the command, without what is still open.
        options: its options.
        choices: words of which one is still open, for a hand to choose.
        asks: what is still to be typed: `value`, `text`, or empty.
        command: the same on the command line.
    """

    label: str
    verb: str = ""
    words: tuple[str, ...] = ()
    options: tuple[tuple[str, str], ...] = ()
    choices: tuple[str, ...] = ()
    asks: str = ""
    command: str = ""


def answer_to(step: Step, *, verbs: Collection[str]) -> Answer | None:
    """Return the first answer to a step.

    Args:
        step: the next step.
        verbs: what can be entered on a page.

    Returns:
        The answer, or None where the step asks for nothing that can be entered.
    """
    if not step.command:
        return None
    try:
        parts = shlex.split(step.command)
    except ValueError:
        return None
    if len(parts) < 4 or parts[:2] != ["rollwright", "log"] or parts[2] not in verbs:
        return Answer(label="At the command line", command=step.command)
    verb, rest = parts[2], parts[4:]
    words: list[str] = []
    options: list[tuple[str, str]] = []
    choices: tuple[str, ...] = ()
    asks = ""
    while rest:
        part = rest.pop(0)
        if part.startswith("--"):
            value = rest.pop(0) if rest else ""
            # A reason is asked for only where the command does not give it.
            if _PLACE.fullmatch(value):
                asks = "text"
            else:
                options.append((part[2:], value))
        elif "|" in part:
            every = part.split("|")
            choices = tuple(each for each in every if not re.search(r"\d", each))
            asks = "value" if len(choices) < len(every) else ""
        elif _PLACE.fullmatch(part):
            asks = "text" if part in {"TEXT", "KIND"} else "value"
        else:
            words.append(part)
    return Answer(
        label=_LABELS.get(verb, "Enter what you found"),
        verb=verb,
        words=tuple(words),
        options=tuple(options),
        choices=choices,
        asks=asks,
        command=step.command,
    )


def view_for(step: Step) -> str:
    """Return the view in which the hand meets a step."""
    command = step.command
    for words, view in (
        ("height_difference", "side"),
        (" shim ", "side"),
        ("drift", "top"),
        ("rail_offset", "front"),
        ("front_", "front"),
        ("rear_", "rear"),
    ):
        if words in command:
            return view
    return "top"
