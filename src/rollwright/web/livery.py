"""A car's own hatch and colour: the same on every page and every day, given by its place in the log."""

from __future__ import annotations

from markupsafe import Markup

__all__ = ["swatch"]

_COLOURS = ("#2f6f8f", "#7a5c1e", "#4f7a3a", "#7d3f6b", "#35616b", "#8a4b2f", "#4a5a94", "#5f6b2a")
"""Clear on both grounds, and none of them that of the next move."""
_HATCHES = (
    '<path d="M-2 8 L8 -2 M0 14 L14 0 M6 16 L16 6"/>',
    '<path d="M-2 4 L10 16 M0 -2 L14 12 M6 -4 L18 8"/>',
    '<path d="M0 3.5 H14 M0 10.5 H14"/>',
    '<path d="M3.5 0 V14 M10.5 0 V14"/>',
    '<path d="M0 7 H14 M7 0 V14"/>',
    '<path d="M0 14 L14 0 M0 0 L14 14"/>',
    '<path d="M0 10 L7 3 L14 10"/>',
    '<circle cx="7" cy="7" r="3"/>',
)


def swatch(place: int) -> Markup:
    """Return a car's hatch on its colour.

    Args:
        place: how many cars were started in the log before it. No two of the first 64 look alike, and what
            was started first never changes.

    Returns:
        The SVG; the name beside it says which car it is.
    """
    count = len(_COLOURS)
    colour, hatch = place % count, (place + place // count) % len(_HATCHES)
    name = f"hatch-{place}"
    return Markup(  # noqa: S704 - of our own shapes and of figures
        f'<svg class="swatch" viewBox="0 0 42 42" aria-hidden="true"><defs><pattern id="{name}" width="14" '
        f'height="14" patternUnits="userSpaceOnUse"><g fill="none" stroke="#fff" stroke-width="2">'
        f'{_HATCHES[hatch]}</g></pattern></defs><rect width="42" height="42" fill="{_COLOURS[colour]}"/>'
        f'<rect width="42" height="42" fill="url(#{name})"/></svg>'
    )
