"""The ring beside every gate, small enough for a line: the same marks as in drawings and on paper.

Pass is a tick in a closed ring, fail an open ring with a gap, unclear half a ring, read again a dashed ring,
never read a dot. An outer arc, clockwise from the top, is as long as the chance is good.
"""

from __future__ import annotations

import math

from markupsafe import Markup

__all__ = ["ring"]

_RADIUS, _OUTER = 8.0, 11.2
_TURN = 2.0 * math.pi * _OUTER


def _arc(start: float, end: float) -> str:
    """Return an arc of the ring as a path, from one angle to another, degrees clockwise from the top."""
    points = [
        f"{12 + _RADIUS * math.sin(math.radians(a)):.2f} {12 - _RADIUS * math.cos(math.radians(a)):.2f}"
        for a in (start, end)
    ]
    return f'<path d="M{points[0]} A{_RADIUS} {_RADIUS} 0 {int(end - start > 180)} 1 {points[1]}"/>'


_SHAPES = {
    "pass": f'<circle cx="12" cy="12" r="{_RADIUS}"/><path d="M8.2 12.2 L11.2 15.4 L16.2 8.8"/>',
    "fail": _arc(85.0, 365.0),
    "unclear": _arc(180.0, 360.0),
    "again": f'<circle cx="12" cy="12" r="{_RADIUS}" stroke-dasharray="3.45 2.83"/>',
    "never": '<circle cx="12" cy="12" r="2.8" class="dot"/>',
}


def ring(mark: str, probability: float | None = None) -> Markup:
    """Return a ring as a picture of a page; the words beside it say the same, so it has none of its own.

    Args:
        mark: `pass`, `fail`, `unclear`, `again` or `never`.
        probability: from 0 to 1, or None for no outer arc.

    Returns:
        The SVG.
    """
    arc = ""
    if probability is not None and probability > 0.005:
        length = min(probability, 1.0) * _TURN
        arc = (
            f'<circle cx="12" cy="12" r="{_OUTER}" class="chance" transform="rotate(-90 12 12)" '
            f'stroke-dasharray="{length:.2f} {_TURN:.2f}"/>'
        )
    return Markup(  # noqa: S704 - of figures and of our own shapes
        f'<svg class="ring ring-{mark}" viewBox="0 0 24 24" aria-hidden="true">{_SHAPES[mark]}{arc}</svg>'
    )
