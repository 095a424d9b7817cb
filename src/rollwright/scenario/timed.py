"""The demo club's fit files: a wheel that spun down, a car that coasted and ran, made from a seed.

The true coefficients are invented. Readings come from the closed forms and from the run, with noise.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from rollwright.car import parse_car
from rollwright.quantity import Quantity
from rollwright.run.losses import losses_of, without
from rollwright.run.once import run
from rollwright.run.track_file import parse_track
from rollwright.scenario.club import file_text
from rollwright.setup.run_fits_decay import coast_time, time_between
from rollwright.setup.run_fits_flat import flat_model

__all__ = ["COAST", "RUNS", "SEED", "TRUTH", "fit_texts"]

SEED = 4
"""Of the files that are shipped."""

TRUTH: Mapping[str, float] = {"bearing_friction": 0.126, "rolling": 0.0023, "drag_area": 7.2e-4}
"""What the readings were made with [SI]."""

COAST, RUNS = "coast-tannery.toml", "runs-tannery.toml"

_TURN = 2.0 * np.pi
_SPIN_SPEEDS = (24.0, 20.0, 16.0, 12.0, 8.0, 4.0, 2.0)
_GREASE = 0.008
_LINES = (0, 2000, 4000, 6000, 8000, 10000, 12000)
_FALL = 0.15e-3
_SPIN_NOISE, _COAST_NOISE, _RUN_NOISE, _TIMER = 0.04, 0.001, 0.0015, 0.0002

_COAST_TEXT = """\
# Lark's wheel and Lark itself, timed at the Tannery Lane Gravity Club (an invented club).
# Plain numbers are seconds, millimetres and turns a second.
format = 1
name = "Lark on the hall floor"
car = "lark.toml"
track = "track-tannery.toml"
fit = ["bearing_friction", "rolling", "drag_area"]

[[spin_down]]                        # spun with an air hose, filmed beside a painted spoke
wheel = "rear_left"
speeds = {spin_speeds}
times = {spin_times}
time_uncertainty = 0.04

[[coast_down]]                       # pushed by hand along the hall, light gates every two metres
on_rail = false
floor = "hall"
distances = {lines}
times = {first}
time_uncertainty = 0.001

[[coast_down]]                       # the same way back, slower
on_rail = false
floor = "hall"
back = true
distances = {lines}
times = {second}
time_uncertainty = 0.001
"""

_RUNS_TEXT = """\
# Lark on the hall track of the Tannery Lane Gravity Club (an invented club). Plain numbers are seconds.
format = 1
name = "Lark on the hall track"
car = "lark.toml"
track = "track-tannery.toml"
fit = ["rolling", "drag_area"]

[[timed_run]]
lane = "middle"
times = {middle}
timer_uncertainty = 0.0005
[timed_run.splits]
"foot of the ramp" = {middle_foot}
"half the flat" = {middle_half}

[[timed_run]]
lane = "right"
times = {right}
timer_uncertainty = 0.0005
"""


def _written(values: Sequence[float] | np.ndarray[tuple[int], np.dtype[np.float64]], places: int) -> str:
    return f"[{', '.join(f'{float(value):.{places}f}' for value in values)}]"


def fit_texts(seed: int = SEED) -> Mapping[str, str]:
    """Return the texts of the club's fit files.

    Args:
        seed: of the noise.

    Returns:
        Name to text; for `SEED` those that are shipped.
    """
    noise = np.random.default_rng(seed)
    car, track = parse_car(file_text("lark.toml")), parse_track(file_text("track-tannery.toml"))
    true = {**track.losses, **{name: Quantity(value=value) for name, value in TRUTH.items()}}

    # mu m g d / (2 I) with I = 0.6 m r^2, the club's wheel and pin as drawn.
    falls = TRUTH["bearing_friction"] * 2.0 * 9.80665 * 2.38e-3 / (0.6 * 32.1e-3**2)
    speeds = _TURN * np.array(_SPIN_SPEEDS)
    spun = time_between(
        start=float(speeds[0]), speeds=speeds, terms=np.array([falls, _GREASE, 0.0])
    ).values + noise.normal(0.0, _SPIN_NOISE, len(speeds))

    losses = without(replace(losses_of(true), tread_friction=Quantity(value=0.0)), ("rail", "scrub"))
    slows = flat_model(car, track, losses=losses).at({}, names=[])
    lines = np.array(_LINES, dtype=np.float64) / 1000.0
    coasted = [
        coast_time(
            start=start,
            distances=lines,
            terms=np.array([slows.constant + sign * slows.downhill * _FALL, 0.0, slows.quadratic]),
        ).values
        + noise.normal(0.0, _COAST_NOISE, len(lines))
        for start, sign in ((3.1, -1.0), (1.85, 1.0))
    ]

    late = noise.normal(0.0, _TIMER)
    laned = {}
    for lane in ("middle", "right"):
        found = run(car, replace(track, losses=true), lane=lane, prices=False)
        for point, time in {**found.splits, "": found.finish_time or 0.0}.items():
            laned[lane, point] = _written(time + late + noise.normal(0.0, _RUN_NOISE, 6), 4)
    return {
        COAST: _COAST_TEXT.format(
            spin_speeds=_written(_SPIN_SPEEDS, 0),
            spin_times=_written(spun, 2),
            lines=_written(_LINES, 0),
            first=_written(coasted[0], 3),
            second=_written(coasted[1], 3),
        ),
        RUNS: _RUNS_TEXT.format(
            middle=laned["middle", ""],
            middle_foot=laned["middle", "foot of the ramp"],
            middle_half=laned["middle", "half the flat"],
            right=laned["right", ""],
        ),
    }
