"""The words that a reading in the bench log can be made of, for whoever wants to list them."""

from __future__ import annotations

from collections.abc import Mapping

from rollwright.car.dimensions import dimension_names
from rollwright.setup.reading_keys import KIND_HELP

__all__ = ["dimensions", "reading_kinds"]


def reading_kinds() -> Mapping[str, str]:
    """Return the kinds of reading, each with what it is and the meaning of its sign."""
    return {kind.value: words for kind, words in KIND_HELP.items()}


def dimensions() -> tuple[str, ...]:
    """Return the names of the dimensions whose size can be read, such as `body.width`."""
    return dimension_names()
