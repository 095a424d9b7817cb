"""Use cases of the motion from side to side: whether a car holds the rail, and how much steer it needs."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from rollwright.car.file import load_toml, parse_car
from rollwright.car.model import Car
from rollwright.errors import InputError, UnreadableQuantity
from rollwright.run.track_file import parse_track
from rollwright.units import Kind, parse, parse_sided

if TYPE_CHECKING:
    from rollwright.run.lateral_result import Cost, Held, Off, Touch
    from rollwright.run.lateral_steer import Band, SteerCurve, Steered
    from rollwright.run.track import Track

__all__ = [
    "SEEDS",
    "Asked",
    "Band",
    "Cost",
    "Held",
    "Holding",
    "Off",
    "SteerCurve",
    "Steered",
    "Touch",
    "draw",
    "hold",
    "long_off",
]

SEEDS = 40
"""Lanes that each steer of a curve is tried on."""

_CURVE_STEP = 1e-3


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What is asked; sizes as a builder writes them.

    Attributes:
        lane: name of a lane; empty takes the track as it is.
        seed: of the lane's roughness.
        roughness: standard deviation of the rail's waves, such as `0.2 mm`; a joint's step is half as large.
            Empty takes the assumed one.
        tilt: of the lane, left side up positive, such as `0.3 deg`.
        start_offset: where the car is staged, such as `0.5 mm left`; empty, as near the middle as it goes.
        start_heading: heading of the staged car, such as `0.3 deg right`.
        steer_curve: whether to try a range of steer.
        lanes: how many lanes each steer is tried on.
    """

    lane: str = ""
    seed: int = 1
    roughness: str = ""
    tilt: str = "0"
    start_offset: str = ""
    start_heading: str = "0"
    steer_curve: bool = False
    lanes: int = SEEDS


@dataclass(frozen=True, slots=True, kw_only=True)
class Holding:
    """Whether a car holds the rail.

    Attributes:
        car: the car.
        track: the track.
        lane: name of the lane, or empty.
        held: the motion.
        curve: over a range of steer, or None.
        assumed: keys that nobody gave and that it rests on.
    """

    car: Car
    track: Track
    lane: str
    held: Held
    curve: SteerCurve | None
    assumed: tuple[str, ...]

    @property
    def end(self) -> float:
        """How far the rear wheels come [m]."""
        return float(self.held.distance[-1])

    def as_json(self) -> dict[str, object]:
        """Return it as plain data in SI units."""
        from rollwright.workbench.lateral_json import holding_json  # noqa: PLC0415 - rarely asked

        return holding_json(self)


def long_off() -> float:
    """Return how long the dominant wheel may be off the rail without having lost it [s]."""
    from rollwright.run.lateral_result import LONG_OFF  # noqa: PLC0415 - brings numpy

    return LONG_OFF


def hold(car_file: str | os.PathLike[str], track_file: str | os.PathLike[str], asked: Asked) -> Holding:
    """Return how a car moves from side to side down a track.

    Args:
        car_file: the car's file.
        track_file: the track's file.
        asked: what is asked.

    Returns:
        The motion, and the steer curve where it is asked for.

    Raises:
        InputError: a file or an option cannot be used, the car cannot stand, or it cannot be staged so.
    """
    from rollwright.run.lateral import course_of, follow  # noqa: PLC0415 - brings numpy
    from rollwright.run.lateral_car import sideways_of  # noqa: PLC0415 - likewise
    from rollwright.run.lateral_lane import ROUGHNESS, Roughness  # noqa: PLC0415 - likewise
    from rollwright.run.lateral_steer import steer_curve  # noqa: PLC0415 - likewise

    track = parse_track(load_toml(track_file, what="track file"), file=Path(track_file).name)
    car = parse_car(load_toml(car_file, what="car file"), file=Path(car_file).name)
    waves = _read(asked.roughness, Kind.LENGTH, "--roughness") if asked.roughness else ROUGHNESS
    heading = _sided(asked.start_heading, Kind.ANGLE, "--start-heading")
    offset = _sided(asked.start_offset, Kind.LENGTH, "--start-offset") if asked.start_offset else None
    tilt = _read(asked.tilt, Kind.ANGLE, "--tilt")
    try:
        rough = Roughness(waves=waves, tilt=tilt, seed=asked.seed)
        course = course_of(car, track, lane=asked.lane)
        sideways = sideways_of(car)
        held = follow(course, sideways, roughness=rough, start_offset=offset, start_heading=heading)
        curve = None
        if asked.steer_curve:
            curve = steer_curve(
                course_of(car, track, lane=asked.lane, step=_CURVE_STEP),
                sideways,
                roughness=rough,
                seeds=asked.lanes,
                start_offset=offset,
                start_heading=heading,
            )
    except InputError as error:
        option = error.key.replace("_", "-")
        if option in {"roughness", "tilt", "seed", "start-offset", "start-heading", "seeds"}:
            name = "lanes" if option == "seeds" else option
            raise type(error)(error.problem, mend=error.mend, key=f"--{name}") from None
        raise error.at(file=Path(track_file if "lane" in error.key else car_file).name) from None
    assumed = [*held.run.assumed, "body.yaw_inertia", "restitution", "rail.joints"]
    if not asked.roughness:
        assumed.append("rail.roughness")
    return Holding(
        car=car, track=track, lane=asked.lane, held=held, curve=curve, assumed=tuple(dict.fromkeys(assumed))
    )


def draw(found: Holding, path: str | os.PathLike[str], *, overwrite: bool = False) -> None:
    """Draw a motion into a file.

    Args:
        found: the motion.
        path: where; its ending says whether it becomes an SVG or a PNG.
        overwrite: whether a file that is there already may be replaced.

    Raises:
        FileUnwritable: the ending is another, a file is there already, or it cannot be written.
    """
    from rollwright.workbench.lateral_picture import picture  # noqa: PLC0415 - rarely asked
    from rollwright.workbench.pictures import save_picture  # noqa: PLC0415 - rarely asked

    save_picture(path, picture(found), overwrite=overwrite)


def _read(written: str, kind: Kind, option: str) -> float:
    try:
        return parse(written, kind=kind)
    except UnreadableQuantity as error:
        raise error.at(key=option) from None


def _sided(written: str, kind: Kind, option: str) -> float:
    try:
        return parse_sided(written, kind=kind)
    except UnreadableQuantity as error:
        raise error.at(key=option) from None
