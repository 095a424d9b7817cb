"""How the motion from side to side is said at the terminal."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from rollwright.cli.page import Page, listed, not_given
from rollwright.workbench.lateral import long_off

if TYPE_CHECKING:
    from rollwright.workbench.lateral import Held, Holding, SteerCurve, Steered, Touch

__all__ = ["show_holding"]


def show_holding(page: Page, found: Holding) -> None:
    """Add the answer to a page: whether the car holds, what it does, what that costs, and how it is known.

    Args:
        page: where to.
        found: the motion.
    """
    held = found.held
    lane = f", lane {found.lane}" if found.lane else ""
    verdict = "holds the rail" if held.holds else "does not hold the rail"
    page.prose(f"{found.car.name} {verdict} on {found.track.name}{lane}{_why(held)}.", bold=True)
    if held.run.stalled_at is not None:
        page.prose(f"It stalls {found.end:.2f} m from the gate; this is as far as it comes.")
    else:
        _cost_said(page, held)
    page.gap()
    for line in _did(page, held):
        page.prose(line, first="- ", rest="  ")
    page.gap()
    _costs(page, held)
    if found.curve is not None:
        page.gap()
        _curve(page, found.curve)
    page.gap()
    rough = held.roughness
    page.prose(
        f"The rail of this lane strays by {page.length(rough.waves)} and its joints step by half of that, "
        f"one standard deviation each, drawn from seed {rough.seed}; another seed is another lane, and "
        "another answer.",
        first="- ",
        rest="  ",
    )
    page.prose(
        f"A wheel that knocks on the rail comes off it {held.restitution:g} times as fast. Nobody measured "
        "that, nor how stiffly a tread grips.",
        first="- ",
        rest="  ",
    )
    page.prose(not_given(len(found.assumed)), first="- ", rest="  ")


def _ms(seconds: float) -> str:
    return f"{1e3 * seconds:.1f}".replace("-", "−")


def _degrees(angle: float) -> str:
    return f"{math.degrees(angle):.2f}".replace("-", "−").removesuffix("0")


def _why(held: Held) -> str:
    if held.first is None:
        return ": its dominant wheel never reaches it"
    if held.strays:
        named = listed([_wheel(touch, held) for touch in held.strays])
        return f": its {named} touch{'es' if len(held.strays) == 1 else ''} it"
    if held.longest is not None and held.longest.lasts > long_off():
        return f": it is off it for {held.longest.lasts:.2f} s at a time"
    if held.longest is None:
        return " all the way"
    return f", never off it for longer than {held.longest.lasts:.2f} s"


def _wheel(touch: Touch, held: Held) -> str:
    raised = touch.station is held.sideways.car.raised
    return "raised wheel" if raised else f"{touch.station.words} wheel"


def _cost_said(page: Page, held: Held) -> None:
    more = held.cost.more
    side = "more" if more > 0.0 else "less"
    page.prose(
        f"Rail and wheels askew cost it {_ms(held.cost.whole)} ms, {_ms(abs(more))} ms {side} than its "
        "straight run says."
    )


def _did(page: Page, held: Held) -> list[str]:
    lines = []
    if held.first is None:
        lines.append("The dominant wheel is never nearer to the rail than a sheet of paper.")
    else:
        first = f"after {held.first:.2f} s" if held.first > 0.0 else "from the start"
        lines.append(
            f"On the rail {first}, then {100.0 * held.on_rail:.0f} % of the time."
            if held.longest is not None
            else f"On the rail {first}, and it never leaves it."
        )
    if held.longest is not None:
        off = held.longest
        lines.append(
            f"Longest off it: {off.lasts:.2f} s, from {off.distance:.2f} m on, by up to "
            f"{page.length(off.widest)}."
        )
    lines += [
        f"The {_wheel(touch, held)} touches first at {touch.distance:.2f} m, at "
        f"{1e3 * touch.approach:.0f} mm/s sideways."
        for touch in held.strays
    ]
    rears = [touch for touch in held.strays if not touch.station.is_front]
    if not rears:
        lines.append("No rear wheel touches.")
    knocks = sorted((touch for touch in held.touches if touch.lost > 0.0), key=lambda each: -each.lost)
    if knocks:
        worst = knocks[0]
        lines.append(
            f"{len(knocks)} touches with a knock; the hardest at {worst.distance:.2f} m, at "
            f"{1e3 * worst.approach:.0f} mm/s sideways, takes {1e6 * worst.lost:.0f} microjoules."
        )
    lines.append(
        f"At the end it leans on the rail with {1e3 * held.steady_force:.0f} mN on average; its straight run "
        f"has {1e3 * held.straight_force:.0f} mN."
    )
    if _degrees(abs(held.steady_yaw)) == "0.0":
        lines.append("Its body heads straight there.")
    else:
        side = "left" if held.steady_yaw > 0.0 else "right"
        lines.append(f"Its body heads {_degrees(abs(held.steady_yaw))}° {side} there.")
    return lines


def _costs(page: Page, held: Held) -> None:
    cost = held.cost
    rows = [
        ("rail", _ms(cost.straight_rail), _ms(cost.rail)),
        ("wheels askew", _ms(cost.straight_scrub), _ms(cost.scrub)),
        ("knocks", "0.0", _ms(cost.knocks)),
    ]
    page.table(rows, head=("ms lost to", "straight", "here"))


def _curve(page: Page, curve: SteerCurve) -> None:
    best = curve.best
    if best is None:
        page.prose("No steer holds this lane: it is the lane, or the room beside the rail.", bold=True)
    elif best.least is best.most:
        page.prose(f"Best steer: about {_steer(page, best.least)}.", bold=True)
    else:
        page.prose(f"Best steer: {_steer(page, best.least)} to {_steer(page, best.most)}.", bold=True)
    page.prose(f"Each steer on {curve.here.of} lanes; the wheel alone is turned, nothing else changes.")
    page.gap()
    rows = [_row(page, point) for point in curve.points]
    rows.append(("as it is", *_row(page, curve.here)[1:]))
    page.table(rows, head=("steer", "drift", "holds", "off, s", "ms"))
    page.gap()
    if best is not None:
        saved = curve.here.cost - best.least.cost
        side = "less" if saved > 0.0 else "more"
        page.prose(f"The least that holds costs {_ms(abs(saved))} ms {side} than the car as it is.")
    least, most = (math.degrees(angle) for angle in curve.trade_askew)
    shown = [page.drift(drift) for drift in curve.trade if drift is not None]
    board = f", here a drift of {' to '.join(shown)}" if len(shown) == 2 else ""
    page.prose(
        f"The trade's usual steer, 3 1/2 to 4 in over a board of 48 in, is {least:.2f} to {most:.2f}°{board} "
        "(common practice, no source)."
    )
    page.prose(
        "All of this hangs on how stiffly the treads grip, which nobody measured unless your track's file "
        "says so: the softer the grip, the more steer it takes."
    )


def _steer(page: Page, point: Steered) -> str:
    drift = "" if point.drift is None else f" ({page.drift(point.drift)} of drift)"
    return f"{_degrees(point.askew)}°{drift}"


def _row(page: Page, point: Steered) -> tuple[str, str, str, str, str]:
    drift = "none" if point.drift is None else page.drift(point.drift)
    return (
        f"{_degrees(point.askew)}°",
        drift,
        f"{100.0 * point.share:.0f} %",
        f"{point.longest:.2f}",
        f"{1e3 * point.cost:.0f}",
    )
