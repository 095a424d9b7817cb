"""Three small operations on 3-vectors as tuples; plain Python keeps the one-car path free of numpy."""

from __future__ import annotations

import math

__all__ = ["Vector", "cross", "dot", "rotate", "unit"]

Vector = tuple[float, float, float]


def dot(a: Vector, b: Vector) -> float:
    """Return the scalar product of two vectors."""
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


def cross(a: Vector, b: Vector) -> Vector:
    """Return the vector product of two vectors, right-handed."""
    return (
        a[1] * b[2] - a[2] * b[1],
        a[2] * b[0] - a[0] * b[2],
        a[0] * b[1] - a[1] * b[0],
    )


def unit(a: Vector) -> Vector:
    """Return the vector of length one along a vector that is not zero."""
    size = math.sqrt(dot(a, a))
    return (a[0] / size, a[1] / size, a[2] / size)


def rotate(rows: tuple[Vector, Vector, Vector], a: Vector) -> Vector:
    """Return a vector multiplied by a matrix given by its rows."""
    return (dot(rows[0], a), dot(rows[1], a), dot(rows[2], a))
