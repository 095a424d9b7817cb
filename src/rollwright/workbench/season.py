"""The demo club's season: an invented bench log of four months, made from a seed.

Each body has a hidden truth, drawn from its file and from what a drilling leaves open. Its builder reads it
with noise, does what the bench says is next, and misses by as much as a hand does; one of the builders bends
a fifth more than is asked. Club, builders and cars are invented.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from pathlib import Path

import numpy as np

from rollwright.bench import Photo, Recorded, Retired, Store, export_lines
from rollwright.bench.codec import entry_of
from rollwright.bench.recipe import recipe_of
from rollwright.scenario.club import file_text
from rollwright.units import System
from rollwright.workbench.season_bench import PROGRAM, Bench, Builder, Evening, Log
from rollwright.workbench.season_work import Story, built, raced

__all__ = ["BUILDERS", "SEED", "Season", "season", "season_text"]

SEED = 1
"""Of the season that is shipped."""

MAREN = Builder(name="Maren", first=date(2026, 3, 3), stream=7)
ODO = Builder(name="Odo", first=date(2026, 3, 5), stream=9, bends=1.2)
TILLY = Builder(name="Tilly", first=date(2026, 4, 10), stream=12, system=System.INCH)
BUILDERS = (MAREN, ODO, TILLY)
"""The season's invented builders; Odo bends a fifth more than is asked."""

_DRILL = """
[drill]                              # what the club lets pass on its own bench
cant = 0.4
sweep = 0.25
"""
_NOSE = """
[weights.nose]
mass = 4.2
position = [96, 0, 9]
"""
_DUNLIN = {
    "# Lark, a car": "# Dunlin, a car",
    'name = "Lark"': 'name = "Dunlin"',
    "length = 186": "length = 181",
    "value = 48.06": "value = 47.58",
    "value = 124.2": "value = 121.6",
    "value = 93.4": "value = 91.8",
    "[47, 0, 11]": "[46, 0, 11]",
    "value = 2.6": "value = 1.1",
    "clock = 22": "clock = 26",
    "mass = 31": "mass = 29",
    "[18, 0, 8]": "[16, 0, 8]",
    "\n[setup]": f"{_NOSE}\n[setup]",
}
_REDSHANK = {
    "# Lark, a car": "# Redshank, a car",
    'name = "Lark"': 'name = "Redshank"',
    "length = 186": "length = 173",
    "value = 48.06": "value = 48.41",
    "value = 124.2": "value = 117.3",
    "value = 93.4": "value = 88.6",
    "[47, 0, 11]": "[43, 0, 11]",
    "value = 2.6": "value = 1.4",
    "hole_height = 11.0": "hole_height = 10.7",
    "clock = 22": "clock = 17",
    "mass = 31": "mass = 33",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Season:
    """A made season.

    Attributes:
        entries: in their order; their hashes are given by the log that they are put into.
        photos: bytes of each photo by its hash.
        evenings: where the cars truly were when an evening with them ended.
    """

    entries: tuple[Recorded, ...]
    photos: Mapping[str, bytes]
    evenings: tuple[Evening, ...]

    def of(self, car: str) -> list[Recorded]:
        """Return the entries of one car."""
        return [entry for entry in self.entries if entry.car == car]

    def cars(self) -> list[str]:
        """Return the cars' ids in the order in which they were started."""
        return list(dict.fromkeys(entry.car for entry in self.entries))


@lru_cache(maxsize=1)
def season(seed: int = SEED) -> Season:
    """Return a season of the demo club.

    Args:
        seed: the same seed gives the same season, entry by entry.

    Returns:
        About four months of evenings of three builders, the entries in the order of their times.
    """
    log = Log(seed)
    going = {}
    for builder, tell in zip(BUILDERS, (_maren, _odo, _tilly), strict=True):
        bench = Bench(builder, log, rng=np.random.default_rng((seed, builder.stream)))
        going[bench] = tell(bench)
    while going:
        # No two builders are at the bench on one evening.
        bench = min(going, key=lambda each: each.day)
        try:
            next(going[bench])
        except StopIteration:
            del going[bench]
    return Season(entries=tuple(log.entries), photos=log.photos, evenings=tuple(log.evenings))


def season_text(made: Season) -> str:
    """Return a season as `rollwright log export` writes it; the same season always gives the same text."""
    with tempfile.TemporaryDirectory() as folder:  # noqa: SIM117 - the log is closed before its folder goes
        with Store.open(Path(folder) / "season.log", create=True, program=PROGRAM) as store:
            with store.writing():
                for each in made.entries:
                    entry = entry_of(
                        each.event,
                        event_id=each.id,
                        car=each.car,
                        time=each.time,
                        author=each.author,
                        device=each.device,
                        program=each.program,
                    )
                    shown = each.event.sha256 if isinstance(each.event, Photo) else ""
                    store.add(entry, each.event, photo=made.photos.get(shown))
            return "".join(f"{line}\n" for line in export_lines(store))


def _variation(text: str, changes: Mapping[str, str]) -> str:
    """Return a car file with some of its words replaced, each of which must be there."""
    for old, new in changes.items():
        if old not in text:
            raise ValueError(old)
        text = text.replace(old, new)
    return text


def _maren(bench: Bench) -> Iterator[None]:
    """The lark that wins nothing and teaches much, then a heron that comes good and one that does not."""
    lark = Story(
        id="lark",
        text=file_text("lark.toml") + _DRILL,
        class_file="class-open.toml",
        slip=True,
        photo=True,
        front=True,
    )
    body = yield from built(bench, lark)
    yield from bench.go_home()
    yield from raced(bench, body)
    yield from bench.go_home(weeks=5)
    heron = Story(id="heron", text=file_text("heron.toml") + _DRILL, class_file="class-straight.toml")
    body = yield from built(bench, heron)
    while isinstance(bench.log.of(body.id)[-1].event, Retired):
        yield from bench.go_home()
        body = yield from built(bench, heron, first=int(body.id.rpartition("-")[2]) + 1)
    yield from bench.go_home()
    yield from raced(bench, body)


def _odo(bench: Bench) -> Iterator[None]:
    """A dunlin, a whimbrel after its recipe, and a redshank that is not finished when the summer comes."""
    lark = file_text("lark.toml") + _DRILL
    dunlin = Story(
        id="dunlin",
        text=_variation(lark, _DUNLIN),
        class_file="class-open.toml",
        left_off="nose",
        trace=True,
        measured=True,
    )
    body = yield from built(bench, dunlin)
    recipe = recipe_of(bench.log.of(body.id), bench.found(body), name="Whimbrel")
    yield from bench.go_home(weeks=4)
    whimbrel = Story(
        id="whimbrel",
        text=recipe.text,
        class_file="class-open.toml",
        source=body.id,
        block=True,
        measured=True,
    )
    yield from built(bench, whimbrel)
    yield from bench.go_home(weeks=6)
    redshank = Story(
        id="redshank", text=_variation(lark, _REDSHANK), class_file="class-open.toml", measured=True, moves=2
    )
    yield from built(bench, redshank)
    yield from bench.go_home()


def _tilly(bench: Bench) -> Iterator[None]:
    """The visitor's bittern, in inches, rolled before its time."""
    bittern = Story(
        id="bittern",
        text=file_text("bittern.toml") + _DRILL,
        class_file="class-open.toml",
        early_roll=True,
    )
    body = yield from built(bench, bittern)
    yield from bench.go_home(weeks=8)
    yield from raced(bench, body)
