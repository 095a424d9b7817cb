"""Studies: many bodies drawn from what the files leave open; they can be stopped and taken up again."""

from __future__ import annotations

import multiprocessing
import os
import signal
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from multiprocessing.context import BaseContext
from pathlib import Path
from typing import TYPE_CHECKING

from rollwright.car.file import load_toml, parse_car
from rollwright.car.model import Car
from rollwright.errors import InputError
from rollwright.workbench.study_json import optimum_json, shares_json, tightening_json
from rollwright.workbench.study_saved import Saved, check_writable, load, store

if TYPE_CHECKING:
    from rollwright.run.track import Track
    from rollwright.setup.study import Found, Gate, Plan
    from rollwright.setup.study_case import Case
    from rollwright.setup.study_optimum import Candidate, Optimum
    from rollwright.setup.study_sobol import Shares
    from rollwright.setup.study_sums import Sums
    from rollwright.setup.study_tighten import Between, Tightening
    from rollwright.setup.study_times import Checked, Surface

__all__ = [
    "RUNS",
    "Asked",
    "Candidate",
    "Checked",
    "Found",
    "Gate",
    "Optimum",
    "Shares",
    "Studied",
    "Tightening",
    "study",
]

RUNS = 100_000
"""Runs of a study where nobody says how many."""

Progress = Callable[[int, int], None]

_WORKERS = 2
_WORTH_SHARING = 8
_SAVE_EVERY = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What is asked of a study.

    Attributes:
        runs: how many bodies.
        seed: of the random numbers.
        lane: name of a lane; empty takes the track as it is.
        sobol: whether to share out the variance of the finish time.
        tighten: whether to halve every drawing tolerance in turn.
        optimum: whether to look for the best steer, balance and weight.
        limit: the most the car may weigh [kg], for the optimum; None leaves the weight as it is.
        resume: file of partial sums to go on from, or None.
        save: file to keep partial sums in, or None; where one is resumed, that one is kept.
    """

    runs: int = RUNS
    seed: int = 1
    lane: str = ""
    sobol: bool = False
    tighten: bool = False
    optimum: bool = False
    limit: float | None = None
    resume: str | os.PathLike[str] | None = None
    save: str | os.PathLike[str] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Studied:
    """A study's results.

    Attributes:
        car: the car.
        track: the track.
        asked: what was asked.
        found: what the runs say.
        between: how bodies differ on one track, or None.
        checked: how the surface that was used anywhere but in the optimum compares with full runs, or None.
        nominal: finish time of the car exactly as its file gives it [s]; None where it stalls.
        inputs: how many inputs were drawn.
        cut: mean [SI] of each input whose mean is moved because it cannot be negative.
        stopped: whether the builder stopped it before all runs were done.
        tightening: what halving tolerances would do, or None.
        shares: of the variance of the finish time, or None.
        optimum: the best steer, balance and weight, or None.
        assumed: keys that nobody gave.
    """

    car: Car
    track: Track
    asked: Asked
    found: Found
    between: Between | None
    checked: Checked | None
    nominal: float | None
    inputs: int
    cut: dict[str, float]
    stopped: bool
    tightening: Tightening | None
    shares: Shares | None
    optimum: Optimum | None
    assumed: tuple[str, ...]

    def as_json(self) -> dict[str, object]:
        """Return it as plain data in SI units."""
        found = self.found
        return {
            "name": self.car.name,
            "track": self.track.name,
            "lane": self.asked.lane,
            "seed": self.asked.seed,
            "runs": found.runs,
            "stopped": self.stopped,
            "inputs": self.inputs,
            "nominal_s": self.nominal,
            "time": {
                "mean_s": found.mean,
                "mean_error_s": found.mean_error,
                "deviation_s": found.deviation,
                "deviation_error_s": found.deviation_error,
                "least_s": found.least,
                "most_s": found.most,
                "quantiles": [
                    {"share": rank.share, "time_s": rank.time, "error_s": rank.error} for rank in found.ranks
                ],
                "histogram": {"edges_s": list(found.histogram[0]), "counts": list(found.histogram[1])},
            },
            "between_bodies": None
            if self.between is None
            else {"deviation_s": self.between.deviation, "error_s": self.between.error},
            "gates": {
                gate.name: {
                    "inside": gate.inside,
                    "inside_error": gate.error,
                    "inside_if_centred": gate.centred,
                    "mean": gate.mean,
                    "deviation": gate.deviation,
                    "correlation_with_time": gate.correlation,
                    "faster_inside_s": gate.gain,
                }
                for gate in found.gates
            },
            "all_gates": {
                "inside": found.joint,
                "inside_error": found.joint_error,
                "inside_if_centred": found.joint_centred,
            },
            "finishes": found.timed,
            "stalls": found.stalls,
            "stands_otherwise": found.falls,
            "method": {
                "in_full": found.full,
                "checked_runs": None if self.checked is None else self.checked.runs,
                "mean_off_s": None if self.checked is None else self.checked.mean,
                "rms_off_s": None if self.checked is None else self.checked.rms,
                "most_off_s": None if self.checked is None else self.checked.worst,
            },
            "cut_at_zero": [{"name": name, "mean": mean} for name, mean in self.cut.items()],
            "tighten": None if self.tightening is None else tightening_json(self.tightening),
            "sobol": None if self.shares is None else shares_json(self.shares),
            "optimum": None if self.optimum is None else optimum_json(self.optimum),
            "assumed": list(self.assumed),
        }


def study(
    car_file: str | os.PathLike[str],
    track_file: str | os.PathLike[str],
    asked: Asked,
    *,
    progress: Progress | None = None,
    workers: int | None = None,
) -> Studied:
    """Return what becomes of many bodies drawn from a car's and a track's files.

    Args:
        car_file: the car's file.
        track_file: the track's file.
        asked: what is wanted.
        progress: told runs done and wanted, now and then.
        workers: processes; left out, two where there are as many processors and enough to do. The results
            do not depend on it.

    Returns:
        The results. After Ctrl-C they are those of the runs done by then.

    Raises:
        InputError: a file cannot be used, the car cannot stand, or what is asked is not possible.
    """
    from rollwright.run.once import run  # noqa: PLC0415 - brings numpy
    from rollwright.run.track_file import parse_track  # noqa: PLC0415
    from rollwright.setup.study import CHUNK, found_of, plan_of  # noqa: PLC0415
    from rollwright.setup.study_case import case_of  # noqa: PLC0415
    from rollwright.setup.study_sums import nothing  # noqa: PLC0415
    from rollwright.setup.study_tighten import between_bodies  # noqa: PLC0415

    track = parse_track(load_toml(track_file, what="track file"), file=Path(track_file).name)
    car = parse_car(load_toml(car_file, what="car file"), file=Path(car_file).name)
    keep = asked.save if asked.save is not None else asked.resume
    if asked.save is not None:
        check_writable(asked.save)
    try:
        case = case_of(car, track, lane=asked.lane)
        alone = run(car, track, lane=asked.lane, prices=False)
        fingerprint = case.fingerprint(seed=asked.seed, nominal=alone.finish_time or 0.0)
        if asked.resume is None:
            plan = plan_of(case, runs=asked.runs, seed=asked.seed)
            begun = Saved(plan=plan, sums=nothing(plan.scale), chunks=0)
        else:
            begun = load(asked.resume, runs=asked.runs, seed=asked.seed, fingerprint=fingerprint, chunk=CHUNK)
    except InputError as error:
        blame = track_file if "lane" in error.key else car_file
        raise (error if error.key.startswith("--") else error.at(file=Path(blame).name)) from None

    def save(saved: Saved) -> None:
        if keep is not None:
            store(keep, saved, fingerprint=fingerprint, chunk=CHUNK)

    sums, stopped = _all_runs(case, begun, save=save, progress=progress, workers=workers)
    found = found_of(sums, begun.plan)
    wanted = asked if not stopped else replace(asked, tighten=False, sobol=False, optimum=False)
    surface = _surface(case, begun.plan, wanted)
    more = _more(case, surface, wanted)
    return Studied(
        car=car,
        track=track,
        asked=asked,
        found=found,
        between=between_bodies(case, surface, seed=asked.seed),
        checked=None if surface is None else surface.checked,
        nominal=alone.finish_time,
        inputs=len(case.free),
        cut=dict(case.moved_by_cutting),
        stopped=stopped,
        tightening=more[0],
        shares=more[1],
        optimum=more[2],
        assumed=case.inputs.assumed,
    )


def _surface(case: Case, plan: Plan, asked: Asked) -> Surface | None:
    """Return the surface for further questions: few runs need none, but these ask for many."""
    if plan.surface is not None or not (asked.tighten or asked.sobol):
        return plan.surface
    from rollwright.setup.study_times import fitted  # noqa: PLC0415

    surface = fitted(case, seed=asked.seed)
    return surface if surface is not None and surface.checked.good else None


def _more(
    case: Case, surface: Surface | None, asked: Asked
) -> tuple[Tightening | None, Shares | None, Optimum | None]:
    tightening = shares = optimum = None
    if asked.tighten:
        from rollwright.setup.study_tighten import tighten  # noqa: PLC0415

        tightening = tighten(case, surface, seed=asked.seed)
    if asked.sobol:
        from rollwright.setup.study_sobol import time_shares  # noqa: PLC0415

        shares = time_shares(case, surface, seed=asked.seed)
    if asked.optimum:
        from rollwright.setup.study_optimum import best  # noqa: PLC0415

        optimum = best(case, seed=asked.seed, limit=asked.limit)
    return tightening, shares, optimum


def _all_runs(
    case: Case,
    begun: Saved,
    *,
    save: Callable[[Saved], None],
    progress: Progress | None,
    workers: int | None,
) -> tuple[Sums, bool]:
    """Return the sums over all chunks, in their order, and whether it was stopped before the last."""
    from rollwright.setup.study import CHUNK, chunks  # noqa: PLC0415

    plan, runs = begun.plan, begun.plan.runs
    # Only whole chunks are kept in a file: the last one may be longer when more runs are asked for.
    state = (begun.sums, begun.chunks)
    last: Sums | None = None
    stopped = False
    kept = time.monotonic()
    try:
        with _parts(case, plan, range(begun.chunks, chunks(runs)), workers) as parts:
            for part in parts:
                if part.runs == CHUNK:
                    state = (state[0] + part, state[1] + 1)
                else:
                    last = part
                if progress is not None:
                    progress(state[0].runs + (0 if last is None else last.runs), runs)
                if time.monotonic() - kept > _SAVE_EVERY:
                    save(Saved(plan=plan, sums=state[0], chunks=state[1]))
                    kept = time.monotonic()
    except KeyboardInterrupt:
        stopped = last is None
    save(Saved(plan=plan, sums=state[0], chunks=state[1]))
    if stopped and state[0].runs == 0:
        raise KeyboardInterrupt
    return (state[0] if last is None else state[0] + last), stopped and state[0].runs < runs


_SHARED: dict[str, tuple[Case, Plan]] = {}


def _begin(case: Case, plan: Plan) -> None:
    """Take up a study in a worker; Ctrl-C is the parent's to answer, and so is all that is said."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    sys.stderr = Path(os.devnull).open("w", encoding="utf-8")  # noqa: SIM115 - as long as the worker lives
    _SHARED["study"] = (case, plan)


def _one(chunk: int) -> Sums:
    from rollwright.setup.study import chunk_sums  # noqa: PLC0415

    return chunk_sums(*_SHARED["study"], chunk)


@contextmanager
def _parts(case: Case, plan: Plan, numbers: range, workers: int | None) -> Iterator[Iterator[Sums]]:
    """Give the sums of chunks in their order, from this process or from several."""
    from rollwright.setup.study import chunk_sums  # noqa: PLC0415

    if workers is None:
        workers = min(_WORKERS, os.cpu_count() or 1) if len(numbers) >= _WORTH_SHARING else 1
    if workers == 1:
        yield (chunk_sums(case, plan, number) for number in numbers)
        return
    with _context().Pool(workers, initializer=_begin, initargs=(case, plan)) as pool:
        yield pool.imap(_one, numbers)


def _context() -> BaseContext:
    # A fork needs no second start of the interpreter, but is only safe while there are no other threads.
    if sys.platform == "linux" and threading.active_count() == 1:
        return multiprocessing.get_context("fork")
    return multiprocessing.get_context("spawn")
