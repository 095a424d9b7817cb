"""The forces along the way: gravity, what moves, the loads on the axles, and each loss.

Everything is told for each metre that the rear axle's centre moves, and every force is a constant part and a
part that grows with `u`, the square of that centre's speed.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rollwright.run.chassis import PARAMETERS
from rollwright.run.pose import Pose, column

__all__ = ["Forces", "forces"]

Array = NDArray[Any]
_FIRST = len(PARAMETERS) - 20
# Per metre of the rear axle: how far a pin turns in its bore, how far a wheel goes, how far its contact.
_MEASURE = np.array([0, 0, 1, 1, 2])
# Rubbing that adds nearly as much to itself throws the car over its front wheels; it is as good as held.
_TIPPING, _HELD = 0.999, 1000.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Forces:
    """What acts on cars at many places; arrays of shape (n, segments, nodes).

    Attributes:
        height: of the centre of mass [m].
        moving: kinetic energy over `u / 2` [kg]: the car, its pitching and its wheels' spin.
        pace: speed of the centre of mass over that of the rear axle's centre.
        loads: of a car that is not braked, on the rear and on the front axle: at rest [N], and what grows
            with `u` [kg/m].
        leaning: how the loads on rear and front change for each newton of rubbing [1].
        rubbing: force that each loss of `LOSS_NAMES` but the air would have under those loads [N],
            (5, n, segments, nodes).
        rubbing_u: what grows with `u` of it [kg/m], likewise.
        rubbing_more: how it changes for each newton that all of them have together [1], likewise.
        drag: force of the air over `u` [kg/m].
    """

    height: Array
    moving: Array
    pace: Array
    loads: tuple[tuple[Array, Array], tuple[Array, Array]]
    leaning: tuple[Array, Array]
    rubbing: Array
    rubbing_u: Array
    rubbing_more: Array
    drag: Array

    def braking(self, acting: NDArray[np.float64] | None = None) -> tuple[Array, Array]:
        """Return the force of all losses together.

        Args:
            acting: how strongly each loss of `LOSS_NAMES` acts [1], (m, 6), for forces of one car; left out,
                all act fully.

        Returns:
            What stays [N] and what grows with `u` [kg/m], (n or m, segments, nodes). Rubbing leans the car on
            its front wheels, and they rub more: with `b` the force under the loads of a car that is not
            braked and `l` what is added for each newton, the whole is `b / (1 - l)`.
        """
        parts = (self.rubbing, self.rubbing_u, self.rubbing_more)
        if acting is None:
            still, growing, more = (part.sum(axis=0) for part in parts)
            drag = self.drag
        else:
            shape = (len(acting), *self.drag.shape[1:])
            still, growing, more = (
                (acting[:, :-1] @ part.reshape(len(part), -1)).reshape(shape) for part in parts
            )
            drag = acting[:, -1:, None] * self.drag
        held = np.where(more.real < _TIPPING, 1.0 / (1.0 - np.where(more.real < _TIPPING, more, 0.0)), _HELD)
        return still * held, growing * held + drag

    def each(self) -> tuple[Array, Array]:
        """Return the force of each loss of `LOSS_NAMES`, (6, n, segments, nodes) [N] and [kg/m]."""
        still, growing = self.braking()
        drag = self.drag[None]
        return (
            np.concatenate((self.rubbing + self.rubbing_more * still, 0.0 * drag)),
            np.concatenate((self.rubbing_u + self.rubbing_more * (growing - self.drag), drag)),
        )

    def axle_loads(self) -> tuple[tuple[Array, Array], tuple[Array, Array]]:
        """Return the loads on the rear and on the front axle of the braked car, each [N] and [kg/m]."""
        still, growing = self.braking()
        growing = growing - self.drag
        (rear, rear_u), (front, front_u) = self.loads
        back, ahead = self.leaning
        return (
            (rear + back * still, rear_u + back * growing),
            (front + ahead * still, front_u + ahead * growing),
        )


def _dot(a: tuple[Array, Array], b: tuple[Array, Array]) -> Array:
    found: Array = a[0] * b[0] + a[1] * b[1]
    return found


def _cross(a: tuple[Array, Array], b: tuple[Array, Array]) -> Array:
    """Return the moment of b at arm a; positive turns the nose up."""
    found: Array = a[0] * b[1] - a[1] * b[0]
    return found


def forces(rows: Array, at: Pose) -> Forces:
    """Return what acts on cars along the way.

    Args:
        rows: parameters of the cars, (n, len(PARAMETERS)).
        at: where they stand.

    Returns:
        The forces. With C the centre of mass, phi the body's angle, sigma the rear centre's way and sigma_f
        the front centre's: `M = m C'^2 + I phi'^2 + J_r + J_f sigma_f'^2`. The loads come from Newton's and
        Euler's equations of the whole car. Rubbing is taken to brake at the track's surface below both
        axles alike, the air at the centre of mass.
    """
    mass, inertia, spin_r, spin_f, radius_r, radius_f, ahead, mass_x, mass_z, gravity, air = (
        column(rows, name, 3)
        for name in (
            "mass",
            "pitch_inertia",
            "rear_spin",
            "front_spin",
            "rear_radius",
            "front_radius",
            "ahead",
            "mass_x",
            "mass_z",
            "gravity",
            "air",
        )
    )
    hx, hz = at.chord
    rise, level = (radius_f - radius_r) / at.apart, ahead / at.apart
    lengthwise = mass_x * level + (mass_z - radius_r) * rise
    across = (mass_z - radius_r) * level - mass_x * rise
    arm = (lengthwise * hx - across * hz, lengthwise * hz + across * hx)
    swing = (-arm[1], arm[0])
    way = (at.rear_way[0] + at.turn * swing[0], at.rear_way[1] + at.turn * swing[1])
    square = at.turn * at.turn
    way_2 = tuple(
        at.rear_bend * normal + at.turn_2 * swung - square * off
        for normal, swung, off in zip((-at.rear_way[1], at.rear_way[0]), swing, arm, strict=True)
    )
    pace_2 = _dot(way, way)
    moving = mass * pace_2 + inertia * square + spin_r + spin_f * at.front_rate * at.front_rate
    changing = (
        mass * (way[0] * way_2[0] + way[1] * way_2[1])
        + inertia * at.turn * at.turn_2
        + spin_f * at.front_rate * at.front_rate_2
    )
    rear, front = _loads(
        at,
        arm=arm,
        way=way,
        way_2=(way_2[0], way_2[1]),
        pull=(-mass * gravity * way[1] / moving, -changing / moving, -1.0 / moving),
        figures=(mass, inertia, spin_r, spin_f, radius_r, radius_f, gravity),
    )
    measures = (
        np.stack((1.0 + radius_r * at.turn, np.ones_like(at.turn), at.contact_rates[0] + 0.0 * at.turn)),
        np.stack((at.front_rate + radius_f * at.turn, at.front_rate, at.contact_rates[1])),
    )
    pace = np.sqrt(pace_2)
    still, growing, more = (_rubbing(rows, measures, rear=rear[k], front=front[k]) for k in (0, 1, 2))
    return Forces(
        height=at.rear[1] + arm[1],
        moving=moving,
        pace=pace,
        loads=((rear[0], rear[1]), (front[0], front[1])),
        leaning=(rear[2], front[2]),
        rubbing=still,
        rubbing_u=growing,
        rubbing_more=more,
        drag=air * pace_2 * pace,
    )


def _loads(
    at: Pose,
    *,
    arm: tuple[Array, Array],
    way: tuple[Array, Array],
    way_2: tuple[Array, Array],
    pull: tuple[Array, Array, Array],
    figures: tuple[Array, ...],
) -> tuple[list[Array], list[Array]]:
    """Return loads on rear and front: at rest, over u, and over a newton that rubbing takes off the way."""
    mass, inertia, spin_r, spin_f, radius_r, radius_f, gravity = figures
    hx, hz = at.chord
    tr, tf = at.rear_way, at.front_way
    nr, nf = (-tr[1], tr[0]), (-tf[1], tf[0])
    up = (-hz, hx)
    from_rear = (-arm[0] - radius_r * nr[0], -arm[1] - radius_r * nr[1])
    from_front = (
        at.apart * hx - arm[0] - radius_f * nf[0],
        at.apart * hz - arm[1] - radius_f * nf[1],
    )
    lift_r, lift_f = _dot(nr, up), _dot(nf, up)
    turn_r, turn_f = _cross(from_rear, nr), _cross(from_front, nf)
    pull_r, pull_f = _cross(from_rear, tr), _cross(from_front, tf)
    determinant = turn_r * lift_f - turn_f * lift_r
    # What spins a wheel up, [kg] times its acceleration, comes from the ground below it.
    spun_r, spun_f = spin_r * (pull_r - radius_r), spin_f * (pull_f - radius_f)
    weight = mass * gravity * up[1]
    brake = (0.5 * (pull_r + pull_f), 0.5 * (_dot(tr, up) + _dot(tf, up)))
    rear, front_loads = [], []
    nothing = np.zeros_like(weight)
    outer = ((nothing, weight), (nothing, nothing), brake)
    for speeding, along, (turning, lifting) in zip(pull, (0.0, 1.0, 0.0), outer, strict=True):
        front = at.front_rate * speeding + at.front_rate_2 * along
        moment = inertia * (at.turn * speeding + at.turn_2 * along) + spun_r * speeding + spun_f * front
        moment = moment + turning
        force = (
            mass * (_dot(way, up) * speeding + _dot(way_2, up) * along)
            + lifting
            + spin_r * _dot(tr, up) * speeding
            + spin_f * _dot(tf, up) * front
        )
        rear.append((moment * lift_f - turn_f * force) / determinant)
        front_loads.append((turn_r * force - lift_r * moment) / determinant)
    return rear, front_loads


def _rubbing(rows: Array, measures: tuple[Array, Array], *, rear: Array, front: Array) -> Array:
    """Return the force of each rubbing loss, (5, n, segments, nodes)."""
    shares = rows[:, _FIRST:].T.reshape(5, 2, 2, -1, 1, 1)
    by_rear, by_front = measures[0][_MEASURE], measures[1][_MEASURE]
    force: Array = by_rear * (shares[:, 0, 0] * rear + shares[:, 0, 1] * front)
    force += by_front * (shares[:, 1, 0] * rear + shares[:, 1, 1] * front)
    return force
