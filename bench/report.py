"""What `make bench` says beside the timings: the closed loop, and ratios between ways of computing."""

from __future__ import annotations

import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from benched_log import CARS as CLUB
from benched_log import ENTRIES, car_id, fill
from closed_loop import demo_car, measure

from rollwright.bench.fold import fold
from rollwright.bench.store import Store
from rollwright.car import parse_car
from rollwright.geometry.many import dimension_values, stances
from rollwright.geometry.stance import stance
from rollwright.scenario.club import file_text
from rollwright.setup.advice import advise
from rollwright.setup.readings import parse_readings
from rollwright.workbench.log_gates import next_moves

CARS = 500
MANY = 1_000_000
PART = 50_000


def _median(function: Callable[[], object], times: int) -> float:
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        function()
        taken.append(time.perf_counter() - start)
    return statistics.median(taken)


def _start(*arguments: str) -> float:
    command = [sys.executable, "-m", "rollwright", *arguments]
    return _median(lambda: subprocess.run(command, check=True, capture_output=True), 9)  # noqa: S603


def speeds() -> None:
    """Print how fast one car, many cars and the command are, in one run on this machine."""
    car = parse_car(file_text("lark.toml"))
    readings = parse_readings(file_text("lark-readings.toml")).readings
    one = _median(lambda: stance(car), 300)
    advice = _median(lambda: advise(car, readings), 30)
    found = stance(car)
    seats = {station: at.seat.seat for station, at in found.stations.items()}
    rng = np.random.default_rng(1)
    values = dimension_values(car)
    start = time.perf_counter()
    for _ in range(MANY // PART):
        stances(car, values + 1e-5 * rng.standard_normal((PART, len(values))), seats=seats)
    rate = MANY / (time.perf_counter() - start)
    say = sys.stdout.write
    say("\nSpeed on this machine\n")
    say(f"  stance, one car, plain         {one * 1e3:8.3f} ms   (wanted: under 1 ms)\n")
    say(f"  next, one car                  {advice * 1e3:8.1f} ms   (wanted: under 50 ms)\n")
    say(f"  stance, a million varied cars  {rate:8.0f} cars/s, {rate * one:.0f} times the plain function\n")
    for arguments in (("--help",), ("stance", "--help")):
        command = f"rollwright {' '.join(arguments)}"
        say(f"  start: {command:<24}{_start(*arguments):8.3f} s    (wanted: under 0.3 s)\n")


def logs() -> None:
    """Print how fast a log of many cars takes an entry in and says what to do next."""
    say = sys.stdout.write
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "club.log"
        median, slow = np.percentile(fill(path), [50.0, 99.0]) * 1e3
        with Store.open(path) as store:
            entries = list(store.events(car_id(0)))
        folded = _median(lambda: fold(entries), 5)
        told = _median(lambda: next_moves(path, car_id(0)), 5)
    say(f"\nA log of {CLUB} cars with {ENTRIES} entries each\n")
    say(f"  append, half of the entries    {median:8.2f} ms\n")
    say(f"  append, 99 of 100              {slow:8.2f} ms\n")
    say(f"  fold of one car                {folded:8.3f} s    (wanted: under 0.5 s)\n")
    say(f"  next for one car               {told:8.3f} s\n")


def loop() -> None:
    """Print the share of simulated cars inside tolerance after each round, by method."""
    say = sys.stdout.write
    say(f"\nClosed loop: {CARS} simulated cars like {demo_car().name}, noisy readings, imperfect hands\n")
    start = time.perf_counter()
    for name, shares in measure(CARS).items():
        say(f"\n  moves found {name}: share truly inside tolerance\n")
        say("                 level  steer  centre  all three\n")
        for number, row in enumerate(shares):
            when = ("as built", "one round", "two rounds")[number]
            level, steer, centre, every = (f"{100.0 * float(part):.0f} %" for part in row)
            say(f"    {when:<11}{level:>7}{steer:>7}{centre:>8}{every:>11}\n")
    say(f"\n  ({time.perf_counter() - start:.0f} s)\n")


if __name__ == "__main__":
    speeds()
    logs()
    loop()
