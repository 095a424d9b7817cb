"""The motion: kinetic energy along the way by an integrating factor, and time by quadrature.

With W the work of the losses so far, `W' = f + D (G - W)`, D being twice the losses' part that grows with u
over the moving mass, and G the energy that the car would have without losses. On each stretch between two
changes of curvature the coefficients are smooth, and Gauss-Legendre nodes integrate to far below what can
be measured. Nodes are laid evenly in the speed that a falling body would have, so that the start
from rest, where the speed grows as a square root, needs no special care.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rollwright.run.forces import Forces, forces
from rollwright.run.pose import column, front_breaks, front_piece, nose_at, pose
from rollwright.run.surface import Surface, along

__all__ = ["FEW", "NODES", "NODES_OF_MANY", "Motion", "Path", "integrate", "path_of", "rule"]

Array = NDArray[Any]

NODES = 10
"""Gauss-Legendre nodes on each stretch of a track of a few pieces."""
NODES_OF_MANY = 6
"""The same where the surface is made of many short pieces."""

FEW = 8
"""As many pieces as a laid-out track has at most; one of more is surveyed."""

_MISJUDGED = 0.15


@cache
def rule(count: int) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Return nodes on 0 to 1, weights, and the matrix that integrates from 0 to each node."""
    x, weights = np.polynomial.legendre.leggauss(count)
    # Legendre polynomials of the nodes, their integrals from -1, and the discrete transform between.
    values = np.polynomial.legendre.legvander(x, count)
    integrals = np.empty((count, count))
    integrals[:, 0] = x + 1.0
    for k in range(1, count):
        integrals[:, k] = (values[:, k + 1] - values[:, k - 1]) / (2 * k + 1)
    transform = (values[:, :count] * weights[:, None]).T * (np.arange(count)[:, None] + 0.5)
    return 0.5 * (x + 1.0), 0.5 * weights, 0.5 * integrals @ transform


@dataclass(frozen=True, slots=True, kw_only=True)
class Path:
    """The way from the gate to the finish in stretches, with what acts at their nodes.

    Attributes:
        s: arc length of the rear contact [m], (n, segments, nodes + 2); the last two are each stretch's ends.
        stride: how far the rear centre moves per unit of the node's variable [m], (n, segments, nodes).
        acts: the forces at `s`.
        falls: energy gained without losses since the start [J], in the shape of `s`.
        push: kinetic energy at the start [J], (n,).
        splits: index of the stretch at whose end each split is passed.
    """

    s: Array
    stride: Array
    acts: Forces
    falls: Array
    push: Array
    splits: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Motion:
    """How cars move along a path.

    Attributes:
        energy: kinetic energy in the shape of `Path.s` [J]; not positive from where a car stalls.
        u: speed of the rear centre squared [m2/s2], in the same shape.
        rate: time per unit of the node's variable [s], (n, segments, nodes).
        lasts: how long each stretch takes [s], (n, segments).
        time: to the finish [s], (n,); NaN where the car stalls.
    """

    energy: Array
    u: Array
    rate: Array
    lasts: Array
    time: Array


def path_of(
    surface: Surface,
    rows: Array,
    *,
    finish: float | Array,
    splits: tuple[float, ...] = (),
    push: float = 0.0,
    nodes: int | None = None,
) -> Path:
    """Return the way of cars in stretches.

    Args:
        surface: the running surface.
        rows: parameters of the cars, (n, len(PARAMETERS)).
        finish: arc length of the finish line [m], one for all or one for each.
        splits: arc lengths of timing lines on the way [m].
        push: speed of the rear axle's centre at the start [m/s].
        nodes: on each stretch; left out, `NODES` or `NODES_OF_MANY`.

    Returns:
        The path, its nodes laid for the speed that the fall of the surface would give. It is laid again where
        the losses make the speeds quite different.
    """
    breaks = front_breaks(surface, rows)
    begin = nose_at(surface, rows, breaks, 0.0)
    end = nose_at(surface, rows, breaks, finish)
    lines = [nose_at(surface, rows, breaks, split) for split in splits]
    starts = np.broadcast_to(surface.start[:, 1:], breaks.shape)
    every = np.concatenate((starts, breaks, np.stack(lines, axis=1) if lines else breaks[:, :0]), axis=1)
    low, high = begin[:, None], end[:, None]
    every = np.where(every.real < low.real, low, np.where(every.real > high.real, high, every))
    ends = np.concatenate((low, np.sort(every, axis=1), high), axis=1)
    ends = ends[:, [0, *(1 + np.flatnonzero(np.any(np.diff(ends.real, axis=1) > 0.0, axis=0)))]]
    where = tuple(
        int(np.argmin(np.abs(ends[0, 1:].real - line[0].real)))  # each line is one of the ends
        for line in lines
    )
    middle = 0.5 * (ends[:, 1:] + ends[:, :-1])
    rear = surface.piece_at(middle)
    front = front_piece(breaks, middle)
    if nodes is None:
        nodes = NODES if surface.start.shape[1] <= FEW else NODES_OF_MANY
    laid = _Laid(surface, rows, ends, rear, front, where, push, nodes)
    share = _speed_share(_fall(surface, rows, ends.real, push=push))
    path = laid.path(share)
    energy = integrate(path).energy[..., -1].real
    known = np.concatenate((path.push[:, None].real, energy), axis=1)
    if np.all(known[:, 1:] > 0.0):
        better = _speed_share(known)
        if np.abs(better - share).max() > _MISJUDGED:
            path = laid.path(better)
    return path


@dataclass(frozen=True, slots=True)
class _Laid:
    """A path but for where its nodes are."""

    surface: Surface
    rows: Array
    ends: Array
    rear: NDArray[np.int64]
    front: NDArray[np.int64]
    splits: tuple[int, ...]
    push: float
    nodes: int

    def path(self, share: NDArray[np.float64]) -> Path:
        x, _, _ = rule(self.nodes)
        share = share[..., None]
        length = np.diff(self.ends, axis=1)[..., None]
        grown = 2.0 * share * x + (1.0 - 2.0 * share) * x * x
        first, last = self.ends[:, :-1, None], self.ends[:, 1:, None]
        s = np.concatenate((first + length * grown, first, last), axis=2)
        at = pose(self.surface, self.rows, s, rear=self.rear, front=self.front)
        acts = forces(self.rows, at)
        weight = column(self.rows, "mass", 3) * column(self.rows, "gravity", 3)
        starting = len(x)
        push = 0.5 * acts.moving[:, 0, starting] * self.push**2
        return Path(
            s=s,
            stride=length / at.contact_rates[0] * (2.0 * share + 2.0 * (1.0 - 2.0 * share) * x),
            acts=acts,
            falls=weight * (acts.height[:, :1, starting : starting + 1] - acts.height),
            push=push,
            splits=self.splits,
        )


def _fall(surface: Surface, rows: Array, s: Array, *, push: float) -> NDArray[np.float64]:
    """Return about what kinetic energy the rear contact's fall gives, over the mass."""
    real = Surface(
        start=surface.start.real,
        curvature=surface.curvature.real,
        sine=surface.sine.real,
        cosine=surface.cosine.real,
        x=surface.x.real,
        z=surface.z.real,
    )
    z = along(real.parts(real.piece_at(s)), s)[1]
    gravity = column(rows, "gravity", 2).real
    found: NDArray[np.float64] = np.maximum(0.5 * push * push + gravity * (z[:, :1] - z), 0.0)
    return found


def _speed_share(energy: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return, for each stretch, the speed at its start over the sum of those at both ends."""
    speed = np.sqrt(energy)
    total = speed[:, :-1] + speed[:, 1:]
    return np.where(total > 0.0, speed[:, :-1] / np.where(total > 0.0, total, 1.0), 0.5)


def integrate(path: Path, *, acting: NDArray[np.float64] | None = None) -> Motion:
    """Return how cars move along a path.

    Args:
        path: the path, with its forces.
        acting: how strongly each loss acts [1], (m, 6); left out, all act fully. Only for a path of one car,
            of which m motions come back.

    Returns:
        The motion.
    """
    acts, nodes = path.acts, path.stride.shape[-1]
    _, weights, matrix = rule(nodes)
    braking, braking_u = acts.braking(acting)
    gained = path.push[:, None, None] + path.falls
    drain = 2.0 * braking_u / acts.moving
    inner = slice(0, nodes)
    damped = drain[..., inner] * path.stride
    grows_to = damped @ matrix.T
    grows = damped @ weights
    before = np.cumsum(grows, axis=1) - grows
    factor = np.exp(before[..., None] + grows_to)
    source = factor * path.stride * (braking[..., inner] + drain[..., inner] * gained[..., inner])
    adds = source @ weights
    total = np.cumsum(adds, axis=1)
    lost = ((total - adds)[..., None] + source @ matrix.T) / factor
    lost_at_end = total * np.exp(-(before + grows))
    lost_at_start = np.concatenate((np.zeros_like(lost_at_end[:, :1]), lost_at_end[:, :-1]), axis=1)
    lost = np.concatenate((lost, lost_at_start[..., None], lost_at_end[..., None]), axis=2)
    energy = gained - lost
    u = 2.0 * energy / acts.moving
    moves = energy[..., inner].real > 0.0
    rate = path.stride / np.sqrt(np.where(moves, u[..., inner], 1.0))
    lasts = rate @ weights
    stalls = ~(np.all(moves, axis=(1, 2)) & np.all(energy[..., -1].real > 0.0, axis=1))
    time = np.where(stalls, np.nan, lasts.sum(axis=1))
    return Motion(energy=energy, u=u, rate=rate, lasts=lasts, time=time)
