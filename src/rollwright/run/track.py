"""A track: the running surface as a chain of arcs, the air over it, and what the file says of its losses.

The surface is a curve in the upright plane along the track, told by its arc length s: 0 at the gate, under
the nose of the waiting car, and growing down the track. x is level and forward, 0 at the gate; z is up, 0 at
the end of the surface. Every piece has one curvature, so places and angles along it are exact.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from rollwright.errors import MissingReference, OutOfRange, echo
from rollwright.quantity import Quantity

__all__ = ["LaneChange", "Piece", "Place", "Places", "Track", "joined", "places", "ramp_arc_flat"]

# Pieces are chained by closed forms, so that only rounding may part them.
_GAP = 1e-9
# An arc that turns by less than this [rad] is as good as straight to begin a search from.
_NEARLY_STRAIGHT = 1e-4
_STEEPEST = math.radians(89.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where on the running surface a point lies, and which way the surface runs there.

    Attributes:
        x: level distance from the gate, forward [m].
        z: height above the end of the surface [m].
        angle: how far the surface dips below the level [rad]; positive where it goes downhill, negative where
            it climbs.
        curvature: one over the radius [1/m]; positive where the surface turns upward, as from a ramp into the
            flat; negative over a crest.
    """

    x: float
    z: float
    angle: float
    curvature: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Places:
    """Many places at once; each attribute is an array as long as the list of arc lengths asked for.

    Attributes:
        x: level distance from the gate, forward [m].
        z: height above the end of the surface [m].
        angle: how far the surface dips below the level [rad], positive downhill.
        curvature: one over the radius [1/m], positive where the surface turns upward.
    """

    x: Any
    z: Any
    angle: Any
    curvature: Any


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """A stretch of the running surface with one curvature: a straight or an arc of a circle.

    Attributes:
        start: arc length at which it begins [m].
        length: its length along the surface [m].
        curvature: one over the radius [1/m]; positive where the surface turns upward, negative over a crest.
        angle: how far the surface dips below the level at the start [rad]; positive downhill, negative
            uphill.
        x0: level distance of the start from the gate [m].
        z0: height of the start above the end of the surface [m].
    """

    start: float
    length: float
    curvature: float
    angle: float
    x0: float
    z0: float

    @property
    def end(self) -> float:
        """Arc length at which it ends [m]."""
        return self.start + self.length

    def at(self, distance: float) -> Place:
        """Return the place at a distance into the piece.

        Args:
            distance: arc length from the piece's start [m]; outside it, the arc is carried on.

        Returns:
            The place. The chord of an arc that turns by `2 h` over a length `t` is `t sin(h)/h` long and lies
            along the mean of its end directions, which holds for a straight too.
        """
        half = 0.5 * self.curvature * distance
        chord = distance * _sinc(half)
        mean = self.angle - half
        return Place(
            x=self.x0 + chord * math.cos(mean),
            z=self.z0 - chord * math.sin(mean),
            angle=mean - half,
            curvature=self.curvature,
        )


def _sinc(angle: float) -> float:
    return math.sin(angle) / angle if angle else 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LaneChange:
    """What is different on one lane.

    Attributes:
        finish: how much further down the track its finish lies [m]; positive makes the lane longer, negative
            shorter.
        factors: by what a loss of the whole track is multiplied here [1], by the loss's name.
    """

    finish: Quantity
    factors: Mapping[str, Quantity] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Track:
    """A track as the run needs it.

    Attributes:
        name: what it is called.
        pieces: the running surface from the gate on, in order and joined without a gap or a kink.
        finish: arc length of the finish line [m]; time stops when the nose's foot reaches it.
        air: density of the air [kg/m3].
        losses: coefficients that the track's file gives, by their names there [SI]; what it leaves out is not
            in here.
        splits: name and arc length [m] of timing points on the way, in the order they are passed.
        lanes: what is different on a lane, by the lane's name.
        assumed: dotted keys of values that nobody gave.
        profile: the sizes that the surface was laid out from, by their names in the file [SI]; empty for a
            surveyed surface.

    Raises:
        OutOfRange: there is no piece, the pieces do not join, one stands on end, or the finish or a split
            does not lie on the track.
    """

    name: str
    pieces: tuple[Piece, ...]
    finish: float
    air: Quantity
    losses: Mapping[str, Quantity] = field(default_factory=dict)
    splits: tuple[tuple[str, float], ...] = ()
    lanes: Mapping[str, LaneChange] = field(default_factory=dict)
    assumed: tuple[str, ...] = ()
    profile: Mapping[str, Quantity] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Refuse a surface that no car could run on."""
        _check_joined(self.pieces)
        if not 0.0 < self.finish < math.inf:
            raise OutOfRange(
                f"a finish {self.finish:g} m from the gate is not down the track",
                mend="put it at more than 0 m",
            )
        before = 0.0
        for name, distance in self.splits:
            if not before <= distance <= self.finish or distance == 0.0:
                raise OutOfRange(
                    f"a split {distance:g} m from the gate is not between the one before it and the finish, "
                    f"{self.finish:g} m",
                    mend="put the splits in order, between the gate and the finish",
                    key=f"splits.{name}",
                )
            before = distance

    @property
    def end(self) -> float:
        """Arc length at which the last piece ends [m]; beyond it the surface is taken to run on straight."""
        return self.pieces[-1].end

    def at(self, s: float) -> Place:
        """Return the place at an arc length.

        Args:
            s: arc length from the gate [m], positive down the track. Behind the gate and beyond the last
                piece the surface is carried on straight, because a car has a length.

        Returns:
            The place; where two pieces meet, the curvature is that of the one that begins there.
        """
        if s < 0.0:
            return replace(self.pieces[0], curvature=0.0).at(s)
        last = self.pieces[-1]
        if s >= last.end:
            beyond = last.at(last.length)
            piece = Piece(
                start=last.end, length=math.inf, curvature=0.0, angle=beyond.angle, x0=beyond.x, z0=beyond.z
            )
            return piece.at(s - last.end)
        piece = self.pieces[bisect_right(self.pieces, s, key=_start) - 1]
        return piece.at(s - piece.start)

    def drop(self, a: float, b: float) -> float:
        """Return how far the surface falls from one arc length to another.

        Args:
            a: the first arc length [m].
            b: the second arc length [m].

        Returns:
            Height at `a` minus height at `b` [m]; positive where `b` lies lower, negative where it lies
            higher.
        """
        return self.at(a).z - self.at(b).z

    def length_to_x(self, x: float) -> float:
        """Return the arc length at which the surface is a level distance from the gate.

        Args:
            x: level distance from the gate [m], positive down the track.

        Returns:
            The arc length [m], negative behind the gate; `at(length_to_x(x)).x` is x but for rounding.
        """
        first = self.pieces[0]
        if x < 0.0:
            return (x - first.x0) / math.cos(first.angle)
        end = self.at(self.end)
        if x >= end.x:
            return self.end + (x - end.x) / math.cos(end.angle)
        piece = self.pieces[bisect_right(self.pieces, x, key=_forward) - 1]
        return piece.start + _length_along(piece, x - piece.x0)

    def on_lane(self, name: str) -> Track:
        """Return the track as it is on one lane.

        Args:
            name: the lane's name.

        Returns:
            A track without lanes: the finish moved, and each loss that the lane has a factor for multiplied
            by it, the uncertainties of both combined (JCGM 100:2008, 5.1.2).

        Raises:
            MissingReference: there is no such lane, or it has a factor for a loss that the track does not
                give.
            OutOfRange: the lane's finish would lie behind the gate or before a split.
        """
        if name not in self.lanes:
            known = f"write one of {', '.join(self.lanes)}" if self.lanes else "this track has none"
            raise MissingReference(f"there is no lane {echo(name)}", mend=known, key="lanes")
        change = self.lanes[name]
        losses = dict(self.losses)
        for loss, factor in change.factors.items():
            if loss not in losses:
                raise MissingReference(
                    "there is a factor for a loss that the track does not give",
                    mend=f"write {loss} under [losses] too",
                    key=f"lanes.{name}.factors.{loss}",
                )
            losses[loss] = _times(losses[loss], factor)
        return replace(self, finish=self.finish + change.finish.value, losses=losses, lanes={})


def _start(piece: Piece) -> float:
    return piece.start


def _forward(piece: Piece) -> float:
    return piece.x0


def _times(quantity: Quantity, factor: Quantity) -> Quantity:
    uncertainty = math.hypot(quantity.uncertainty * factor.value, quantity.value * factor.uncertainty)
    return replace(quantity, value=quantity.value * factor.value, uncertainty=uncertainty, repeats=())


def _length_along(piece: Piece, x: float) -> float:
    """Return how far along a piece its surface is a level distance from its start."""
    length = x / math.cos(piece.angle)
    if abs(piece.curvature * length) > _NEARLY_STRAIGHT:
        # sin(angle) - sin(angle - k t) = k x, from the closed form of the arc.
        sine = math.sin(piece.angle) - piece.curvature * x
        length = (piece.angle - math.asin(max(-1.0, min(1.0, sine)))) / piece.curvature
    # What the arc's closed form loses in rounding, or the straight's in bending, Newton's steps bring back.
    for _ in range(3):
        place = piece.at(length)
        length -= (place.x - piece.x0 - x) / math.cos(place.angle)
    return length


def _check_joined(pieces: tuple[Piece, ...]) -> None:
    if not pieces:
        raise OutOfRange("a track without a running surface", mend="give at least one piece")
    here, start = Place(x=0.0, z=pieces[0].z0, angle=pieces[0].angle, curvature=0.0), 0.0
    for number, piece in enumerate(pieces, start=1):
        if not (0.0 < piece.length < math.inf and math.isfinite(piece.curvature)):
            raise OutOfRange(
                f"piece {number} of the running surface is {piece.length:g} m long with a curvature of "
                f"{piece.curvature:g} 1/m",
                mend="give every piece a length of more than 0 m and a curvature",
            )
        gaps = (piece.start - start, piece.x0 - here.x, piece.z0 - here.z, piece.angle - here.angle)
        if not max(map(abs, gaps)) <= _GAP:
            raise OutOfRange(
                f"piece {number} of the running surface does not begin where the one before it ends",
                mend="join the pieces without a gap or a kink, the first at x = 0",
            )
        here, start = piece.at(piece.length), piece.end
        if not max(abs(piece.angle), abs(here.angle)) <= _STEEPEST:
            raise OutOfRange(
                f"piece {number} of the running surface stands at {math.degrees(here.angle):.0f} degrees",
                mend=f"keep it under {math.degrees(_STEEPEST):.0f} degrees",
            )


def joined(*, angle: float, stretches: Iterable[tuple[float, float]]) -> tuple[Piece, ...]:
    """Return pieces that follow each other without a gap or a kink.

    Args:
        angle: how far the surface dips below the level at the gate [rad]; positive downhill, negative uphill.
        stretches: length [m] and curvature [1/m] of each piece in order; curvature is positive where the
            surface turns upward, negative over a crest. A stretch of no length is left out.

    Returns:
        The pieces, x being 0 at the gate and z 0 at their end.
    """
    pieces: list[Piece] = []
    here, start = Place(x=0.0, z=0.0, angle=angle, curvature=0.0), 0.0
    for length, curvature in stretches:
        if length == 0.0:
            continue
        pieces.append(
            Piece(start=start, length=length, curvature=curvature, angle=here.angle, x0=here.x, z0=here.z)
        )
        here, start = pieces[-1].at(length), start + length
    return tuple(replace(piece, z0=piece.z0 - here.z) for piece in pieces)


def ramp_arc_flat(
    *, ramp_angle: float, ramp_length: float, arc_radius: float, flat_length: float
) -> tuple[Piece, ...]:
    """Return the running surface of a straight ramp that an arc leads into a level flat.

    Args:
        ramp_angle: how far the ramp dips below the level [rad], more than 0 and less than a quarter turn.
        ramp_length: from the gate to the start of the arc, along the slope [m], 0 or more.
        arc_radius: radius of the running surface [m], more than 0.
        flat_length: from the end of the arc to the finish [m], 0 or more.

    Returns:
        The pieces. The arc is `arc_radius ramp_angle` long; the surface falls by
        `ramp_length sin(ramp_angle) + arc_radius (1 - cos(ramp_angle))`.

    Raises:
        OutOfRange: a size is not a possible one.
    """
    if not 0.0 < ramp_angle <= _STEEPEST:
        raise OutOfRange(
            f"a ramp at {math.degrees(ramp_angle):g} degrees does not lead down to the flat",
            mend=f"give it more than 0 and up to {math.degrees(_STEEPEST):.0f} degrees",
            key="ramp_angle",
        )
    for name, size, least in (
        ("ramp_length", ramp_length, "0 or more"),
        ("arc_radius", arc_radius, "more than 0"),
        ("flat_length", flat_length, "0 or more"),
    ):
        if not 0.0 <= size < math.inf or (size == 0.0 and name == "arc_radius"):
            raise OutOfRange(f"{size:g} m cannot be", mend=f"give {least} metres", key=name)
    return joined(
        angle=ramp_angle,
        stretches=((ramp_length, 0.0), (arc_radius * ramp_angle, 1.0 / arc_radius), (flat_length, 0.0)),
    )


def places(track: Track, s: Any) -> Places:
    """Return many places at once.

    Args:
        track: the track.
        s: array of arc lengths from the gate [m], of any shape; `Track.at` says what lies off the pieces.

    Returns:
        Arrays of the same shape, equal to `Track.at` for each arc length but for rounding.
    """
    import numpy as np  # noqa: PLC0415 - costs start-up time, one place at a time does without it

    s = np.asarray(s, dtype=float)
    end = track.at(track.end)
    first = track.pieces[0]
    rows = [
        (0.0, 0.0, first.angle, first.x0, first.z0),
        *((piece.start, piece.curvature, piece.angle, piece.x0, piece.z0) for piece in track.pieces),
        (track.end, 0.0, end.angle, end.x, end.z),
    ]
    start, curvature, angle, x0, z0 = np.array(rows).T
    index = np.where(s < 0.0, 0, np.clip(np.searchsorted(start[1:], s, side="right"), 1, len(rows) - 1))
    distance = s - start[index]
    half = 0.5 * curvature[index] * distance
    chord = distance * np.sinc(half / np.pi)
    mean = angle[index] - half
    return Places(
        x=x0[index] + chord * np.cos(mean),
        z=z0[index] - chord * np.sin(mean),
        angle=mean - half,
        curvature=curvature[index] + 0.0 * s,
    )
