"""What an invented builder does with one car: drill, look, fit, read, move, roll and show it."""

from __future__ import annotations

import hashlib
import shlex
import struct
import zlib
from collections.abc import Callable, Generator, Iterator
from dataclasses import dataclass, replace
from functools import cache
from itertools import count

from rollwright.bench import (
    Adjustment,
    ClassChosen,
    Event,
    Fitted,
    Note,
    PartFitted,
    PartLeftOff,
    Photo,
    Plane,
    Retired,
    Size,
    Weighed,
    Withdrawn,
)
from rollwright.bench.drilled import drill_items
from rollwright.bench.fold import Folded, Gate
from rollwright.bench.gates import Item
from rollwright.bench.trim import listed_parts
from rollwright.car.model import Station
from rollwright.judge.class_rules import Rule
from rollwright.judge.verdict import State
from rollwright.quantity import Quantity
from rollwright.scenario.club import file_text
from rollwright.setup.advice import Advice, advise
from rollwright.setup.outcome import MoveKind
from rollwright.setup.readings import ReadingKind
from rollwright.setup.stop import Stop, stopping
from rollwright.units import Kind, System
from rollwright.workbench.log_step import READINGS, Step, step_of, to_read
from rollwright.workbench.season_bench import Bench, Body, amount
from rollwright.workbench.season_gauges import (
    inspected,
    pin_checked,
    read,
    read_by_block,
    read_by_trace,
    rolled_slowly,
    weighed,
)

__all__ = ["Story", "built", "raced"]

_MOST_LOOKS = 2
_MOST_ROUNDS = 60
_JIG = "drill press and jig"


@dataclass(frozen=True, slots=True, kw_only=True)
class Story:
    """What is particular about one car: which readings are taken how, and what goes wrong.

    Attributes:
        id: what its bodies' ids begin with.
        text: its file.
        class_file: file of its class, one of the club's.
        source: id of the car whose recipe its file is, or empty.
        left_off: a weight that is left off on purpose, or empty.
        trace: whether its first drift is read as a trace.
        block: whether its first rail offset is read on the centring block.
        early_roll: whether it is rolled before it is centred.
        slip: whether its first turn is entered the wrong way round, and taken back.
        photo: whether a picture is taken of it.
        front: whether it is weighed as it is fitted, whole and at the front.
        measured: whether a protractor is put on each bend.
        moves: after how many moves the summer comes.
    """

    id: str
    text: str
    class_file: str
    source: str = ""
    left_off: str = ""
    trace: bool = False
    block: bool = False
    early_roll: bool = False
    slip: bool = False
    photo: bool = False
    front: bool = False
    measured: bool = False
    moves: int = 20


def built(bench: Bench, story: Story, *, first: int = 1) -> Generator[None, None, Body]:
    """Drill bodies until one is good, and set that one up.

    Args:
        bench: whose.
        story: what is particular about the car.
        first: number of the first body.

    Yields:
        At the end of each evening.

    Returns:
        The body: finished, given up, or as the summer leaves it.
    """
    for number in count(first):
        yield from bench.pause()
        body = bench.start(f"{story.id}-{number}", story.text, source=story.source)
        bad = _drilled_off(bench, body)
        if not bad:
            break
        bench.enter(body, Retired(reason=f"drilled off: {bad}"), minutes=1)
    # The body is painted, and the paint dries for a week.
    yield from bench.go_home()
    bench.enter(body, ClassChosen(class_file=file_text(story.class_file)), minutes=1)
    yield from _tuned(bench, body, story)
    return body


def raced(bench: Bench, body: Body) -> Iterator[None]:
    """A finished car races, and its drift is read again afterwards; yields at the end of the evening."""
    bench.enter(
        body, Note(text="Raced at the club's evening: four heats, and it held the rail in all of them.")
    )
    bench.enter(body, read(bench, body, ReadingKind.DRIFT))
    yield from bench.go_home()


def _drilled_off(bench: Bench, body: Body) -> str:
    """Drill a body, the rear pair first, and look at its holes; return what is bad, or nothing."""
    dominant = body.car.dominant
    for stations in ((Station.REAR_LEFT, Station.REAR_RIGHT), (dominant, body.car.raised)):
        bench.drill(body, stations, instrument=_JIG)
        looks: dict[str, int] = {}
        while True:
            items = drill_items(bench.log.of(body.id), body.car)
            here = [item for item in items if item.name.startswith((stations[0].words[:5], "rear"))]
            bad = next((item.name for item in here if item.state is State.FAIL), "")
            if bad:
                return bad
            open_ = next((item for item in here if _wanted(item) and not item.passed), None)
            if open_ is None:
                break
            looks[open_.name] = looks.get(open_.name, 0) + 1
            if looks[open_.name] > _MOST_LOOKS:
                return f"{open_.name} is too near the limit to build on"
            bench.enter(body, pin_checked(bench, body, *_hole_of(open_.name, looks[open_.name])), minutes=2)
    return ""


def _wanted(item: Item) -> bool:
    return item.needed or item.state is not None


def _hole_of(name: str, look: int) -> tuple[Station, Plane]:
    """Return where to look for a line of the drill gate, the left and the right hole in turn for a pair."""
    place, _, plane = name.rpartition(" ")
    if plane == "heading":
        return (Station.REAR_LEFT if look % 2 else Station.REAR_RIGHT), Plane.SWEEP
    return Station(place.replace(" ", "_")), Plane(plane)


def _advice(found: Folded, system: System) -> Advice:
    advice = advise(found.known.car, found.readings, hand=found.hand, prior=found.known.prior, system=system)
    return replace(advice, read={gate.value: not to_read(found.gates[gate]) for gate in READINGS})


def _tuned(bench: Bench, body: Body, story: Story) -> Iterator[None]:
    """Do what the bench says is next until the car is finished, given up, or the summer comes."""
    done: set[str] = set()
    for _ in range(_MOST_ROUNDS):
        found = bench.found(body)
        advice = cache(lambda found=found: _advice(found, bench.builder.system))
        step = step_of(body.id, found, advice=advice, drilled=True, system=bench.builder.system)
        if _told(found):
            reason = _hopeless(advice(), step)
            if reason:
                bench.enter(body, Retired(reason=f"will not come good: {reason}"))
                return
            if story.early_roll and "early roll" not in done:
                done.add("early roll")
                _rolled_early(bench, body)
                continue
        if step.kind == "none" or (step.kind == "move" and body.moved >= story.moves):
            return
        # A set of moves is made in one go, and read before anyone goes home.
        last = bench.log.of(body.id)[-1].event
        if step.kind in {"fit", "inspect"} or (step.kind == "move" and not isinstance(last, Adjustment)):
            yield from bench.pause()
        _done(bench, body, story, step, found, advice, done)


def _done(
    bench: Bench,
    body: Body,
    story: Story,
    step: Step,
    found: Folded,
    advice: Callable[[], Advice],
    done: set[str],
) -> None:
    """Do one step; `done` says what was done with this car before."""
    if step.kind == "read":
        bench.enter(body, _first_or_again(bench, body, story, _kind_of(step, found), done))
    elif step.kind == "move":
        _moved(bench, body, story, advice(), done)
    elif step.kind == "fit":
        _fit(bench, body, story)
    elif step.kind == "roll":
        bench.enter(body, rolled_slowly(bench, body, felt=True, lane="lane 2"))
    elif step.kind == "inspect":
        _inspected(bench, body, found)
    else:
        raise AssertionError(step.text)


def _told(found: Folded) -> bool:
    """Return whether all three were read as the car is now, and not all passed."""
    states = [found.gates[gate] for gate in READINGS]
    return not any(to_read(state) for state in states) and not all(state.passed for state in states)


def _hopeless(advice: Advice, step: Step) -> str:
    """Return why a body will not come good, or nothing."""
    told = stopping(advice, passed=False)
    if told.stop is not Stop.WILL_NOT_COME_GOOD and step.kind != "stuck":
        return ""
    reason = told.reason.partition(". ")[0].rstrip(".")
    return f"{reason[:1].lower()}{reason[1:]}"


def _kind_of(step: Step, found: Folded) -> ReadingKind:
    """Return what a step says is to be read; where it names no gauge, the first gate that is not passed."""
    words = shlex.split(step.command)
    gate = next((gate for gate in READINGS if not found.gates[gate].passed), Gate.STEER)
    return ReadingKind(words[4] if words else READINGS[gate][1])


def _inspected(bench: Bench, body: Body, found: Folded) -> None:
    """Measure and look at whatever the class has a rule about that is not yet passed."""
    for verdict in found.inspection:
        if not verdict.passed:
            each = tuple(Station) if verdict.rule is Rule.WHEEL_DIAMETER else (None,)
            for station in each:
                bench.enter(body, inspected(bench, body, verdict.rule, station), minutes=2)


def _rolled_early(bench: Bench, body: Body) -> None:
    """Roll a car that still stands off the rail, and say what is to be done about its tail."""
    bench.enter(body, rolled_slowly(bench, body, felt=True, lane="lane 1"))
    text = "Rolled it too soon: the dominant wheel stands off the rail. Centre first, then roll again."
    bench.enter(body, Note(text=text), minutes=1)


def _first_or_again(bench: Bench, body: Body, story: Story, kind: ReadingKind, done: set[str]) -> Event:
    """Return a reading; the first drift and the first rail offset of some cars are read in another way."""
    again = kind.value in done
    done.add(kind.value)
    if kind is ReadingKind.DRIFT and story.trace and not again:
        return read_by_trace(bench, body)
    if kind is ReadingKind.RAIL_OFFSET and story.block and not again:
        return read_by_block(bench, body)
    return read(bench, body, kind)


def _moved(bench: Bench, body: Body, story: Story, advice: Advice, done: set[str]) -> None:
    """Make the first of the advised moves and enter it, once the wrong way round where that is told."""
    first = advice.plan.moves[0]
    if first.kind is MoveKind.SHIM:
        # The rear axles are shimmed both or not at all.
        for move in (move for move in advice.plan.moves if move.kind is MoveKind.SHIM):
            bench.enter(body, bench.made(body, move), minutes=6)
        return
    if story.slip and first.kind is MoveKind.TURN and "slip" not in done:
        done.add("slip")
        wrong = bench.enter(body, bench.event_of(first, asked=-bench.asked(first)), minutes=8)
        bench.enter(body, Withdrawn(entry=wrong.id, reason="entered the wrong way round"), minutes=1)
    bench.enter(body, bench.made(body, first, measured=story.measured), minutes=8)


def _fit(bench: Bench, body: Body, story: Story) -> None:
    """Fit what the car's file lists; weights are weighed as they go in."""
    weights = dict(body.truth.car.weights)
    for (part, place), _ in sorted(
        listed_parts(body.car).items(), key=lambda each: list(Fitted).index(each[0][0])
    ):
        if part is not Fitted.WEIGHT:
            bench.enter(body, _on(body, part, Station(place)), minutes=1)
        elif place == story.left_off:
            reason = "heavy enough without it"
            bench.enter(body, PartLeftOff(part=part, reason=reason, name=place), minutes=1)
            del weights[place]
        else:
            true = weights[place].mass.value + bench.noise(0.3e-3)
            weights[place] = replace(weights[place], mass=Quantity(value=true, uncertainty=0.05e-3))
            mass = amount((true + bench.noise(0.05e-3)) * 1e3, "g", kind=Kind.MASS, digits=1)[1]
            size = Size(name="mass", value=mass, uncertainty=amount(0.1, "g", kind=Kind.MASS, digits=1)[1])
            fitted = PartFitted(part=part, name=place, pocket=place, sizes=(size,), instrument="club scale")
            bench.enter(body, fitted, minutes=3)
    body.truth = replace(body.truth, car=replace(body.truth.car, weights=weights))
    if story.photo:
        picture = _picture()
        shown = hashlib.sha256(picture).hexdigest()
        bench.log.photos[shown] = picture
        caption = "ready for the board"
        bench.enter(body, Photo(sha256=shown, media_type="image/png", caption=caption), minutes=1)
    if story.front:
        bench.enter(body, weighed(bench, body, Weighed.WHOLE), minutes=2)
        bench.enter(body, weighed(bench, body, Weighed.FRONT), minutes=2)


def _on(body: Body, part: Fitted, station: Station) -> PartFitted:
    corner = body.car.corners[station]
    name = {Fitted.WHEEL: corner.wheel, Fitted.AXLE: corner.axle}.get(part, "washers")
    return PartFitted(part=part, name=name, station=station)


_SHAPE = (
    "................................",
    "................................",
    "......................####......",
    "................##########......",
    "......###################.......",
    "...######################.......",
    "..########################......",
    "..########################......",
    "..##....############....##......",
    "...######..........######.......",
    "...##..##..........##..##.......",
    "...##..##..........##..##.......",
    "....####............####........",
    "................................",
    "################################",
    "................................",
)


def _picture() -> bytes:
    """Return a tiny picture of a car as PNG: one bit to a point, and nothing compressed."""
    rows = b"".join(
        b"\0" + int(row.replace("#", "0").replace(".", "1"), 2).to_bytes(len(row) // 8, "big")
        for row in _SHAPE
    )
    stored = b"\x78\x01\x01" + struct.pack("<HH", len(rows), len(rows) ^ 0xFFFF) + rows
    parts = (
        (b"IHDR", struct.pack(">IIBBBBB", len(_SHAPE[0]), len(_SHAPE), 1, 0, 0, 0, 0)),
        (b"IDAT", stored + struct.pack(">I", zlib.adler32(rows))),
        (b"IEND", b""),
    )
    chunks = (
        struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))
        for name, data in parts
    )
    return b"\x89PNG\r\n\x1a\n" + b"".join(chunks)
