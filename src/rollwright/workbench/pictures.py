"""Pictures into files: an SVG as it is, or a PNG made of it for where nothing else can be shown."""

from __future__ import annotations

import os
import re
from pathlib import Path

from rollwright.car.write import save_bytes
from rollwright.errors import FileUnwritable

__all__ = ["as_png", "check_picture", "save_picture"]

_KINDS = (".svg", ".png")
_ZOOM = 2.0
"""Pixels of a PNG for each unit of the drawing, so that it is sharp on a dense screen and in print."""
_DARK = re.compile(r"@media \(prefers-color-scheme: dark\) \{.*?\n  \}", re.DOTALL)
_GIVEN = re.compile(r"(--[a-z-]+): *([^;}]+);")
_USED = re.compile(r"var\((--[a-z-]+)\)")


def check_picture(path: str | os.PathLike[str], *, overwrite: bool = False) -> None:
    """Refuse a name that no picture can be written under, before anything long is worked out for it.

    Args:
        path: where the picture is to go.
        overwrite: whether a file that is there already may be replaced.

    Raises:
        FileUnwritable: it ends neither in .svg nor in .png, or a file is there already.
    """
    name, ending = Path(path).name, Path(path).suffix.casefold()
    if ending not in _KINDS:
        raise FileUnwritable(
            f"a picture is written as .svg or .png, not {ending or 'without an ending'}",
            mend="name it so; any browser shows and prints both",
            file=name,
        )
    if not overwrite and os.path.lexists(path):
        raise FileUnwritable(
            "this file is there already and stays as it is",
            mend="choose another name, or add --force to replace it",
            file=name,
        )


def save_picture(path: str | os.PathLike[str], svg: str, *, overwrite: bool = False) -> None:
    """Write a picture whole or not at all.

    Args:
        path: where; its ending says whether it becomes an SVG or a PNG.
        svg: the picture as the text of an SVG file.
        overwrite: whether a file that is there already may be replaced.

    Raises:
        FileUnwritable: the ending is another, a file is there already, or it cannot be written.
    """
    check_picture(path, overwrite=overwrite)
    data = as_png(svg) if Path(path).suffix.casefold() == ".png" else svg.encode("utf-8")
    save_bytes(path, data, overwrite=overwrite)


def as_png(svg: str) -> bytes:
    """Return an SVG picture as the bytes of a PNG file, in its light colours.

    Args:
        svg: the picture as the text of an SVG file; colours may be named once in its style sheet.

    Returns:
        The PNG, two pixels for each unit of the drawing.
    """
    import resvg_py  # noqa: PLC0415 - rarely asked

    # The renderer knows neither named colours nor which theme a reader has: both are settled before.
    light = _DARK.sub("", svg)
    colours = dict(_GIVEN.findall(light))
    plain = _USED.sub(lambda used: colours.get(used[1], used[0]), light)
    return resvg_py.svg_to_bytes(
        svg_string=plain, zoom=_ZOOM, font_family="DejaVu Sans", sans_serif_family="DejaVu Sans"
    )
