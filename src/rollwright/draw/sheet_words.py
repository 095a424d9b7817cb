"""Words on a printed sheet: how wide they run, where a line is broken, and what they shrink to in a cell."""

from __future__ import annotations

from collections.abc import Iterable

from rollwright.draw.drawing import Anchor, Mark, Pen, Point, Text

__all__ = ["LEADING", "fitted", "paragraphs", "rows_of", "wide"]

LEADING = 1.32
"""From baseline to baseline over the size of the type [1]."""

_BREADTHS = {
    # Breadth over the size of the type, by kind of letter, as common sans serifs have it.
    0.25: "ijlI'|",
    0.30: " ftr.,:;()[]/!·",
    0.36: '-‐°“”"',
    0.50: "ckszvxyJ",
    0.60: "±×+−=",
    0.68: "ABEFKPSTVXYZ",
    0.75: "CDGHNOQRUwm",
    0.88: "MW@%",
}
_BREADTH = {letter: breadth for breadth, letters in _BREADTHS.items() for letter in letters}
_OTHER = 0.56
_BOLD = 1.08


def wide(text: str, height: float, *, strong: bool = False) -> float:
    """Return how wide a line of words is set [mm].

    Args:
        text: the words.
        height: the size of the type [mm].
        strong: whether they are bold.

    Returns:
        The width by common breadths of letters, a few hundredths on the wide side.
    """
    breadth = sum(_BREADTH.get(letter, _OTHER) for letter in text)
    return breadth * height * (_BOLD if strong else 1.0)


def rows_of(text: str, height: float, *, room: float) -> list[str]:
    """Return a sentence broken into lines.

    Args:
        text: the words.
        height: the size of the type [mm].
        room: how long a line may be [mm].

    Returns:
        The lines; a single word longer than a line is cut.
    """
    rows = [""]
    for word in text.split():
        longer = f"{rows[-1]} {word}".strip()
        if rows[-1] and wide(longer, height) > room:
            rows.append(word)
        else:
            rows[-1] = longer
        while wide(rows[-1], height) > room and len(rows[-1]) > 1:
            fits = next(
                n for n in range(len(rows[-1]) - 1, 0, -1) if n == 1 or wide(rows[-1][:n], height) <= room
            )
            rows[-1:] = [rows[-1][:fits], rows[-1][fits:]]
    return rows


def paragraphs(
    sentences: Iterable[str], *, at: Point, room: float, height: float = 2.8
) -> tuple[tuple[Mark, ...], float]:
    """Return sentences set below each other, each led by a dash.

    Args:
        sentences: what is said.
        at: left end of the first line's top [mm].
        room: how long a line may be [mm].
        height: the size of the type [mm].

    Returns:
        The marks, and how far down they reach from the top [mm].
    """
    x, y = at
    y -= 0.8 * height
    inset = 0.9 * height
    marks: list[Mark] = []
    for sentence in sentences:
        marks.append(Text(at=(x, y), text="–", height=height))
        for row in rows_of(sentence, height, room=room - inset):
            marks.append(Text(at=(x + inset, y), text=row, height=height))
            y -= LEADING * height
        y -= 0.25 * height
    return tuple(marks), at[1] - y - 0.8 * height


def fitted(
    text: str,
    *,
    at: Point,
    room: float,
    height: float,
    anchor: Anchor = Anchor.START,
    strong: bool = False,
    pen: Pen = Pen.OUTLINE,
) -> Text:
    """Return one line of words that stays inside its room: set smaller, down to two thirds, and then cut.

    Args:
        text: the words.
        at: where the baseline's anchor lies [mm].
        room: how long the line may be [mm].
        height: the size of the type where there is room [mm].
        anchor: which end lies there.
        strong: whether it is bold.
        pen: its colour.

    Returns:
        The text.
    """
    long = wide(text, height, strong=strong)
    size = height if long <= room else max(height * room / long, 2.0 / 3.0 * height)
    while len(text) > 1 and wide(text, size, strong=strong) > room + 1e-9:
        text = f"{text.rstrip('…')[:-1].rstrip()}…"
    return Text(at=at, text=text, height=size, anchor=anchor, strong=strong, pen=pen)
