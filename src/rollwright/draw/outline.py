"""Room for the width of a cut: outlines are drawn larger and holes smaller, so that both come out true.

The width is the whole of what the tool takes away, from one side of the cut to the other. The middle of the
tool follows the drawn line, so each line moves by half of it.
"""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import combinations

from rollwright.draw.drawing import Circle, Drawing, Layer, Mark, Point, Polyline, Text
from rollwright.draw.ink import layer_of
from rollwright.errors import OutOfRange

__all__ = ["WIDEST_CUT", "effect", "with_cut_width"]

WIDEST_CUT = 5.0
"""The widest cut that is believed [mm]; a coarse saw takes about 3 mm (common practice, no source)."""

_CUTS = frozenset({Layer.CUT_OUTER, Layer.CUT_INNER})
# Below this, two edges turn back on each other so sharply that their offset corner runs far away.
_SHARPEST = 1e-3
_SAME = 1e-9


def _checked(cut_width: float) -> float:
    if not 0.0 <= cut_width <= WIDEST_CUT:
        raise OutOfRange(
            f"a cut {cut_width:g} mm wide cannot be allowed for: it has to be 0 to {WIDEST_CUT:g} mm",
            mend="cut one straight line through scrap and measure how wide the gap is, in full",
        )
    return cut_width


def _shown(length: float) -> str:
    text = f"{length:.3f}".rstrip("0")
    return f"{text}0" if text.endswith(".") else text


def effect(*, cut_width: float, hole: float = 3.0, piece: float = 60.0) -> str:
    """Return one sentence that tells what a cut's width does to the drawing.

    Args:
        cut_width: full width of the cut [mm].
        hole: diameter of a hole to tell it by [mm].
        piece: length of a piece to tell it by [mm].

    Returns:
        A sentence such as "Full width of the cut 0.15 mm: a hole of 3.0 mm is drawn 2.85 mm, ...".

    Raises:
        OutOfRange: the width is negative, wider than `WIDEST_CUT`, or not a number.
    """
    width = _checked(cut_width)
    if width == 0.0:
        return (
            "Full width of the cut 0 mm: everything is drawn in its own size, nothing is allowed for a cut."
        )
    return (
        f"Full width of the cut {_shown(width)} mm: "
        f"a hole of {_shown(hole)} mm is drawn {_shown(hole - width)} mm, "
        f"a piece of {_shown(piece)} mm is drawn {_shown(piece + width)} mm."
    )


def with_cut_width(drawing: Drawing, *, cut_width: float) -> Drawing:
    """Return a drawing whose cut lines leave room for the width of the cut.

    Outer outlines grow and inner ones shrink by half the width all round: circles in their radius, corners
    along their mitre. Everything else, the scale box above all, stays.

    Args:
        drawing: as the piece is to be.
        cut_width: full width of the cut [mm].

    Returns:
        The drawing along which the middle of the tool goes; the same one for a width of zero.

    Raises:
        OutOfRange: the width is negative, wider than `WIDEST_CUT`, or not a number; a cut is as wide as the
            hole or notch it runs in; or a cut line is not closed, so that nobody can tell its outside.
    """
    half = _checked(cut_width) / 2.0
    if half == 0.0:
        return drawing
    return replace(drawing, marks=tuple(_widened(mark, half) for mark in drawing.marks))


def _widened(mark: Mark, half: float) -> Mark:
    layer = layer_of(mark)
    if layer not in _CUTS or isinstance(mark, Text):
        return mark
    out = half if layer is Layer.CUT_OUTER else -half
    if isinstance(mark, Circle):
        if mark.radius + out <= 0.0:
            raise _too_wide(f"the hole of {2.0 * mark.radius:g} mm", half)
        return replace(mark, radius=mark.radius + out)
    if isinstance(mark, Polyline) and mark.closed:
        return replace(mark, points=_moved_out(mark.points, out))
    raise OutOfRange(
        "a cut line is open, so its outside is not known and no cut width can be allowed for",
        mend="draw it as a closed outline, or set the cut width to 0 mm",
    )


def _too_wide(what: str, half: float) -> OutOfRange:
    return OutOfRange(
        f"{what} is too narrow for a cut {2.0 * half:g} mm wide",
        mend="give the full width of the cut as measured in scrap, or use a tool that cuts finer",
    )


def _moved_out(points: tuple[Point, ...], out: float) -> tuple[Point, ...]:
    """Return the corners of a closed outline moved outward by `out`, inward if it is negative [mm]."""
    corners = [
        p for p, before in zip(points, points[-1:] + points[:-1], strict=True) if math.dist(p, before) > _SAME
    ]
    edges = list(zip(corners, corners[1:] + corners[:1], strict=True))
    doubled_area = sum(a[0] * b[1] - b[0] * a[1] for a, b in edges)
    side = math.copysign(1.0, doubled_area)
    normals = [
        (side * (b[1] - a[1]) / math.dist(a, b), side * (a[0] - b[0]) / math.dist(a, b)) for a, b in edges
    ]
    moved = []
    for corner, before, after in zip(corners, normals[-1:] + normals[:-1], normals, strict=True):
        share = 1.0 + before[0] * after[0] + before[1] * after[1]
        if share < _SHARPEST:
            raise _too_wide(f"the corner at {corner[0]:g}, {corner[1]:g} mm", abs(out))
        moved.append(
            (
                corner[0] + out * (before[0] + after[0]) / share,
                corner[1] + out * (before[1] + after[1]) / share,
            )
        )
    after_edges = list(zip(moved, moved[1:] + moved[:1], strict=True))
    turned = any(
        (b[0] - a[0]) * (d[0] - c[0]) + (b[1] - a[1]) * (d[1] - c[1]) <= 0.0
        for (a, b), (c, d) in zip(edges, after_edges, strict=True)
    )
    if len(corners) < 3 or turned or _crosses_itself(after_edges):
        where = edges[0][0]
        name = "the hole or slot" if out < 0.0 else "a notch in the outline"
        raise _too_wide(f"{name} at {where[0]:g}, {where[1]:g} mm", abs(out))
    return tuple(moved)


def _crosses_itself(edges: list[tuple[Point, Point]]) -> bool:
    def left_of(a: Point, b: Point, c: Point) -> bool:
        return (b[0] - a[0]) * (c[1] - a[1]) > (b[1] - a[1]) * (c[0] - a[0])

    return any(
        left_of(a, b, c) != left_of(a, b, d) and left_of(c, d, a) != left_of(c, d, b)
        for (one, (a, b)), (other, (c, d)) in combinations(enumerate(edges), 2)
        # Neighbours share a corner and do not count as crossing there.
        if other - one not in {1, len(edges) - 1}
    )
