"""How a plan is told: what to drill, bend and sand, what comes of it, and what stands in the way."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from rollwright.car.model import Station, Target
from rollwright.cli.page import Page, listed
from rollwright.cli.stance_command import show_assumed
from rollwright.units import System

if TYPE_CHECKING:
    from rollwright.workbench.planning import Blocked, Bushing, Planned

__all__ = ["show_plan"]

_TIED = "\N{NO-BREAK SPACE}"
_INCH = 0.0254
_LEAST = 5e-6
"""Shortest length, and half the smallest angle [rad] over, that are told as more than none."""

_ROUGH = 0.01
_SQUARE = math.radians(0.005)
_GATES = ("height_difference", "drift", "rail_offset")
_SAYS = ("level", "drift", "rail")
_AT_THE_DRILL = (
    "At the drill: glasses on, the body clamped and not held, sleeves and hair tied back, no gloves.",
    "An adult stands at the switch. Try each bushing on scrap first.",
)
_AT_THE_VICE = "Bend the pin in a vice, out of the body, glasses on."
_ELSE = (
    "Sand on a flat block, mask on.",
    "The machine's manual, your club's rules and the law where you live come before all this.",
)


def show_plan(page: Page, found: Planned, *, saved: str | None, class_file: str | None, name: str) -> None:
    """Add a plan to a page: the answer, then the work in its order, then what comes of it and why.

    Args:
        page: where to add it.
        found: the plan.
        saved: name of the file that it was written to, or None.
        class_file: name of the class's file, or None.
        name: how the command is called from here.
    """
    _answer(page, found)
    page.gap()
    _drill(page, found)
    page.gap()
    _bend_and_trim(page, found)
    page.gap()
    _bushings(page, found)
    page.gap()
    _comes(page, found)
    page.gap()
    _room(page, found)
    show_assumed(page, found.assumed, found.weights)
    page.gap()
    page.prose("Mind", bold=True)
    for caution in (*_AT_THE_DRILL, *([_AT_THE_VICE] if found.plan.bent else []), *_ELSE):
        page.prose(caution, first="- ", rest="  ")
    page.gap()
    _next(
        page,
        saved,
        f"{name} draw",
        f"{name} log start",
        "" if class_file is None else f" --class {class_file}",
    )


def _answer(page: Page, found: Planned) -> None:
    blocked = found.plan.blocked
    whom = found.car.name
    if not blocked:
        page.prose(f"{whom}: it can be had. Drill, bend and trim as below.", bold=True)
    else:
        many = {1: "one thing stands", 2: "two things stand", 3: "three things stand"}
        count = many.get(len(blocked), f"{len(blocked)} things stand")
        page.prose(f"{whom}: {count} in the way. The plan is the nearest.", bold=True)
    how = (
        f"the {found.car.dominant.words} axle" if found.plan.bent else f"the {found.car.dominant.words} hole"
    )
    line = f"Steered by {how}"
    if found.rules is not None:
        line += f", for the {found.rules.name}"
    page.prose(f"{line}; chosen for {found.plan.wish.preference.words}.")
    drift = found.plan.figures.drift
    if drift is not None and drift * found.car.dominant.side > 0.0:
        side = "right" if found.car.dominant.side > 0 else "left"
        page.prose(
            f"This steers the {found.car.dominant.words} wheel away from the rail, and a car follows "
            f'the rail only if that wheel heads into it. Say the side: --drift "... mm {side}".',
            first="! ",
            bold=True,
        )
    for each in blocked:
        _blocked(page, each)


def _blocked(page: Page, each: Blocked) -> None:
    by = ""
    if math.isfinite(each.by) and each.by > _LEAST:
        by = f" Missed by {page.quantity(each.kind, each.by)}."
    page.gap()
    page.prose(f"{_upper(each.why)}.{by}", first="! ", rest="  ", bold=True)
    page.prose(f"To mend it: {each.mend}.", first="  ", rest="  ")


def _upper(text: str) -> str:
    return text[:1].upper() + text[1:]


def _size(page: Page, value: float) -> str:
    """Return a length as it is set at the bench: hundredths of a millimetre or tenths of a thou."""
    if page.system is System.INCH:
        thou = abs(value) < 0.1 * _INCH
        text = f"{value / _INCH * 1e3:.1f} thou" if thou else f"{value / _INCH:.4f} in"
    else:
        text = f"{value * 1e3:.2f} mm"
    return text.replace("-", "−").replace(" ", _TIED)


def _far(page: Page, value: float) -> str:
    """Return a length that nobody needs to a tenth of a millimetre."""
    if page.system is System.INCH or abs(value) < _ROUGH:
        return page.length(value)
    return f"{value * 1e3:.0f}{_TIED}mm"


def _left(page: Page, value: float) -> str:
    return f"{_far(page, value)} more" if value > _LEAST else "none"


def _number(page: Page, value: float) -> str:
    """Return the same without its unit, for a table: always in millimetres or in inches."""
    inch = page.system is System.INCH
    text = f"{value / _INCH:.3f}" if inch else f"{value * 1e3:.2f}"
    return (text if text.strip("-0.") else text.lstrip("-")).replace("-", "−")


def _angle(value: float) -> str:
    """Return an angle without its sign, with no more digits than it was rounded to."""
    text = f"{abs(math.degrees(value)):.2f}"
    return f"{text.removesuffix('0')}°"


def _drill(page: Page, found: Planned) -> None:
    page.prose("Drill", bold=True)
    fine = {each.station: each for each in found.rounded.bushings}
    left, right = fine[Station.REAR_LEFT], fine[Station.REAR_RIGHT]
    number = 1
    same = abs(left.height_at_face - right.height_at_face) < _LEAST and _slant(left) == _slant(right)
    rears = (
        [("Both rear holes", left)]
        if same
        else [(f"{_upper(e.station.words)} hole", e) for e in (left, right)]
    )
    front, raised = fine[found.car.dominant], fine[found.car.raised]
    rows = [
        *rears,
        (f"{_upper(front.station.words)} hole, the one that steers", front),
        (f"{_upper(raised.station.words)} hole, of the raised wheel", raised),
    ]
    for number, (words, each) in enumerate(rows, start=1):
        page.prose(
            f"{words}: {_size(page, each.height_at_face)} up, {_slant(each)}.",
            first=f"{number}. ",
            rest="   ",
        )
    page.prose("Up: from the underside to the hole's middle, at the side face before any wood is gone.")
    at_relief = found.rounded.value(f"{front.station.value}.hole_height")
    if abs(at_relief - front.height_at_face) > _LEAST:
        page.prose(
            f"The car file says {_size(page, at_relief)} for the {front.station.words} hole: the same hole "
            "where the sanded face cuts it."
        )


def _slant(each: Bushing) -> str:
    cant = f"canted {_angle(each.cant)}, outer end {'up' if each.cant > 0.0 else 'down'}"
    sweep = f"swept {_angle(each.sweep)}, outer end {'forward' if each.sweep > 0.0 else 'backward'}"
    parts = [text for text, angle in ((cant, each.cant), (sweep, each.sweep)) if abs(angle) > _SQUARE]
    return listed(parts) if parts else "square to the side"


def _bend_and_trim(page: Page, found: Planned) -> None:
    front = found.car.dominant
    value = {
        name: found.rounded.value(f"{front.value}.{name}") for name in ("bend", "clock", "relief", "washer")
    }
    number = 4 if found.rounded.bushings[0].height_at_face == found.rounded.bushings[1].height_at_face else 5
    if found.plan.bent:
        page.prose("Bend", bold=True)
        place = found.rounded.car.axle_at(front).bend_at.value
        where = f"{_size(page, place)} outside the wood" if place > _LEAST else "where it leaves the wood"
        page.prose(
            f"Bend the {front.words} axle {_angle(value['bend'])}, {where}.",
            first=f"{number}. ",
            rest="   ",
        )
        number += 1
        page.prose(f"{_clock(front, value['clock'])}", first=f"{number}. ", rest="   ")
        number += 1
    else:
        page.prose(f"Bend nothing: the {front.words} axle stays straight.")
    page.gap()
    page.prose("Trim", bold=True)
    done = False
    if value["relief"] > _LEAST:
        page.prose(
            f"Sand {_size(page, value['relief'])} off the side beside the {front.words} wheel. Stop a little "
            "short, then read.",
            first=f"{number}. ",
            rest="   ",
        )
        number, done = number + 1, True
    if value["washer"] > _LEAST:
        page.prose(
            f"Put {_size(page, value['washer'])} of washers between body and {front.words} wheel.",
            first=f"{number}. ",
            rest="   ",
        )
        done = True
    if not done:
        page.prose(f"No wood goes beside the {front.words} wheel, and no washer comes.")


def _clock(front: Station, clock: float) -> str:
    if abs(clock) < _SQUARE:
        return "Press it in with its outer end straight down."
    way = "forward" if clock > 0.0 else "backward"
    # Seen from outside the left side of the car, forward is to the viewer's left.
    turn = "clockwise" if clock * front.side > 0.0 else "counter-clockwise"
    return (
        f"Press it in with its outer end straight down, then turn it {_angle(clock)} {turn}, seen from "
        f"outside the wheel: its end goes {way}."
    )


def _bushings(page: Page, found: Planned) -> None:
    block = found.plan.wish.block
    page.prose(f"Bushings, in a block {_size(page, block)} thick", bold=True)
    rows = [
        (
            each.station.words,
            _number(page, each.height_at_face),
            _number(page, each.height_at_block),
            _number(page, each.forward_at_block),
            _angle(each.askew),
        )
        for each in found.rounded.bushings
    ]
    unit = "in" if page.system is System.INCH else "mm"
    page.table(rows, head=(f"up, {unit}", "face", "outer", "ahead", "askew"))
    page.prose(
        "Up at the body's face and at the block's outer face; ahead of its hole line there; askew: out of "
        "square to the side."
    )
    bits: dict[str, list[str]] = {}
    for station, bit in found.bits.items():
        said = "none from 1 to 4 mm"
        if bit is not None:
            size = bit.size(page.system)
            said = (bit.name if bit.name.endswith("mm") else f"{bit.name} ({size})").replace(" ", _TIED)
        bits.setdefault(said, []).append(station.words)
    told = [said if len(bits) == 1 else f"{said} for {listed(where)}" for said, where in bits.items()]
    page.prose(f"Nearest drill to the pins: {listed(told)}. Try its grip on scrap.")


def _comes(page: Page, found: Planned) -> None:
    page.prose("How it will stand", bold=True)
    figures = found.rounded.figures
    drift = "too sharp for the board" if figures.drift is None else page.drift(figures.drift)
    rail = "above the rail" if figures.rail_offset is None else page.rail(figures.rail_offset)
    for says, gate, text in zip(
        _SAYS, _GATES, (page.level(figures.height_difference), drift, rail), strict=True
    ):
        tolerance = getattr(found.car.targets, gate).tolerance
        band = page.band(Target(value=found.wanted(gate), tolerance=tolerance), sided=gate == "drift")
        page.prose(f"{says:<6}{text}; wanted {band}", first="  ", rest="        ")
    page.prose(
        f"Underside {_size(page, figures.ride_height)} high at the rear holes, "
        f"{_size(page, figures.front_height)} at the front, {_size(page, figures.ground_clearance)} at its "
        f"lowest: {_size(page, abs(figures.rail_clearance))} "
        f"{'above' if figures.rail_clearance >= 0.0 else 'below'} the top of the rail.",
        first="- ",
        rest="  ",
    )
    page.prose(
        f"The raised {found.car.raised.words} wheel hangs {_size(page, figures.raise_height)} clear; "
        f"{page.length(figures.wheel_width)} over the wheels.",
        first="- ",
        rest="  ",
    )
    costs = found.rounded.costs
    worst = max(found.rounded.shares)
    page.prose(
        f"Rounded to what a caliper and an angle gauge show. That moves level {_size(page, costs[0])}, "
        f"drift {page.length(costs[1])} and rail {_size(page, costs[2])}: {_part(worst)} of a tolerance at "
        "most.",
        first="- ",
        rest="  ",
    )


def _part(share: float) -> str:
    return f"under 1{_TIED}%" if share < 0.01 else f"{100.0 * share:.0f}{_TIED}%"


def _room(page: Page, found: Planned) -> None:
    room = found.plan.adjustment
    front = found.car.dominant
    page.prose("Room left once it is drilled", bold=True)
    if found.plan.bent:
        page.prose(
            f"drift: {_left(page, room.drift_left)} left, {_left(page, room.drift_right)} right. "
            f"1° of turn is {page.length(abs(math.radians(found.plan.turn_drift)))}.",
            first="- ",
            rest="  ",
        )
        page.prose(
            f"nose: {_left(page, room.height_up)} up, {_left(page, room.height_down)} down, by bending, with "
            "the drift held.",
            first="- ",
            rest="  ",
        )
    else:
        slope = abs(found.rounded.slopes[f"{front.value}.sweep"][1]) * math.radians(0.1)
        off = abs(found.rounded.slopes[f"{front.value}.sweep"][1]) * found.car.drill.sweep.value
        told = f" Your drill may be {_angle(found.car.drill.sweep.value)} off: {_far(page, off)}."
        page.prose(
            f"drift and nose: none, the hole is all there is. 0.1° of sweep is {page.length(slope)} of "
            f"drift.{told if off > found.car.targets.drift.tolerance else ''}",
            first="- ",
            rest="  ",
        )
    page.prose(
        f"wheel: {_left(page, room.inward)} in, by sanding; {_left(page, room.outward)} out, by washers.",
        first="- ",
        rest="  ",
    )


def _next(page: Page, saved: str | None, draw: str, start: str, of_class: str) -> None:
    page.prose("Next", bold=True)
    if saved is None:
        page.prose("Add --save-as PLANNED.toml, and the car file as planned is written there.")
    else:
        page.prose(f"The car as planned is written to {saved}.")
    file = saved or "PLANNED.toml"
    page.prose(f"{draw} {file}", first="  ", rest="    ")
    page.prose("for jigs and a sheet; then, to keep its log,")
    page.prose(f"{start} {file} --plan{of_class}", first="  ", rest="    ")
