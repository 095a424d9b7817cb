"""What can be drawn of a car, and what was drawn, as plain data."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rollwright.workbench.drawings import Drawable, Drawn

__all__ = ["drawable_json", "drawn_json"]


def drawable_json(found: Drawable) -> dict[str, object]:
    """Return what can be drawn of a car as plain data.

    Args:
        found: all choices.

    Returns:
        The car's name, what can be drawn with what it is for, and what cannot with the reason.
    """
    return {
        "name": found.car.name,
        "can": [{"what": each.name, "for": each.purpose} for each in found.choices if not each.why_not],
        "cannot": [
            {"what": each.name, "for": each.purpose, "why_not": each.why_not}
            for each in found.choices
            if each.why_not
        ],
    }


def drawn_json(found: Drawn) -> dict[str, object]:
    """Return what was drawn as plain data.

    Args:
        found: the files.

    Returns:
        The car's name, one entry for each file, and what was left out with the reason.
    """
    return {
        "name": found.car.name,
        "paper": found.paper,
        "files": [
            {
                "what": each.what,
                "file": str(each.path),
                "format": each.form,
                "size": each.size,
                "pages": each.pages,
                "hash": each.digest,
                "true_size": each.true_size,
                "notes": list(each.notes),
                "cautions": list(each.cautions),
            }
            for each in found.files
        ],
        "left_out": [{"what": each.name, "why_not": each.why_not} for each in found.left_out],
    }
