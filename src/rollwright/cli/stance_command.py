"""`rollwright stance`: where a car sits."""

from __future__ import annotations

import math
from collections.abc import Mapping

import click

from rollwright import workbench
from rollwright.car.model import Station
from rollwright.cli.options import json_option, print_json, system_of, units_option
from rollwright.cli.page import Page, listed, not_given, percent

__all__ = ["command", "show_stance"]

_LEVEL = 1e-5
_TELLING = 0.03


@click.command(name="stance")
@click.argument("car", type=click.Path())
@units_option
@json_option
def command(car: str, units: str, *, as_json: bool) -> None:
    """Say where a car sits, how it drifts and how it meets the rail.

    CAR is a car file. Everything comes from the file alone; the uncertainty is what the file's own
    uncertainties leave. To bring in what you read at the bench, use: rollwright next
    """
    found = workbench.stand(car)
    if as_json:
        print_json(found.as_json())
        return
    page = Page(system=system_of(units))
    show_stance(page, found)
    page.print()


def show_stance(page: Page, found: workbench.Stood) -> None:
    """Add a stance to a page: the three answers, then the reasons, then the table.

    Args:
        page: where to add it.
        found: the stance.
    """
    at = found.stance
    dominant = found.car.dominant
    spread = {name: part.uncertainty for name, part in found.spread.items()}
    page.line(found.car.name, bold=True)
    page.prose(page.level(at.height_difference, spread.get("height_difference")), first="level  ")
    board = page.length(at.drift.distance)
    if at.drift.lateral is None:
        page.prose(f"turns too sharply to run the {board} board to its end", first="drift  ")
    else:
        page.prose(f"{page.drift(at.drift.lateral, spread.get('drift'))} over {board}", first="drift  ")
    if at.rail_offset is None:
        page.prose(f"{dominant.words} wheel stands above the rail", first="rail   ")
    else:
        page.prose(
            f"{dominant.words} {page.rail(at.rail_offset, spread.get('rail_offset'))}", first="rail   "
        )
    page.gap()
    _attitude(page, found)
    page.gap()
    _wheels(page, found)
    _reasons(page, found)


def _attitude(page: Page, found: workbench.Stood) -> None:
    at = found.stance
    pitch = f"nose {'up' if at.pitch > 0 else 'down'} {page.angle(abs(at.pitch))}"
    roll = f"{'left' if at.roll > 0 else 'right'} side up {page.angle(abs(at.roll))}"
    words = [
        pitch if abs(at.pitch) > _LEVEL else "level along",
        roll if abs(at.roll) > _LEVEL else "level across",
    ]
    high = max(at.rear, at.front)
    page.prose(
        f"Underside {page.length(at.rear, like=high)} high at the rear holes, "
        f"{page.length(at.front, like=high)} at the front; "
        f"{', '.join(words)}."
    )
    (spare,) = (station for station in Station if station not in at.carrying)
    carried = listed([station.words for station in at.carrying])
    clear = page.length(max(0.0, at.stations[spare].hanging_clearance))
    page.prose(f"Carried by {carried}; {spare.words} hangs {clear} clear.")
    if found.car.dominant not in at.carrying:
        page.prose(
            f"The dominant {found.car.dominant.words} wheel does not carry: drift and rail mean little.",
            bold=True,
        )


def _wheels(page: Page, found: workbench.Stood) -> None:
    rows = []
    widest = max((at.rail_gap or 0.0 for at in found.stance.stations.values()), default=0.0)
    for station, at in found.stance.stations.items():
        camber, steer = math.degrees(at.camber), math.degrees(at.steer)
        gap = "above" if at.rail_gap is None else page.length(at.rail_gap, like=widest)
        rows.append([station.words, _way(camber, "out", "in"), _way(steer, "L", "R"), gap])
    page.table(rows, head=["wheel", "camber", "steer", "rail gap"])
    page.gap()
    page.prose(
        "Camber out: the top leans outward. Steer L, R: it heads left, right. Rail gap: its innermost "
        "point to the rail, the car centred."
    )


def _way(degrees: float, positive: str, negative: str) -> str:
    text = f"{abs(degrees):.2f}°"
    if not text.strip("0.°"):
        return text
    return f"{text} {positive if degrees > 0 else negative}"


def _reasons(page: Page, found: workbench.Stood) -> None:
    page.gap()
    where = {"body": "against the body", "middle": "midway", "head": "at the axle's head"}
    for station, at in found.stance.stations.items():
        close = " (not clear: watch it roll and give its seat)" if at.seat.close else ""
        page.prose(
            f"{station.words} runs {where[at.seat.seat.value]}: {at.seat.reason}{close}.",
            first="- ",
            rest="  ",
        )
    for name, words in (("drift", "drift"), ("rail_offset", "rail"), ("height_difference", "level")):
        spread = found.spread.get(name)
        if spread is None or not spread.budget:
            continue
        leaders = [
            f"{part.name.replace('_', ' ').replace('.', ' ')} {percent(part.share)}"
            for part in spread.budget[:2]
            if part.share > 0.05
        ]
        if leaders:
            page.prose(f"What leaves the {words} open: {', '.join(leaders)}.", first="- ", rest="  ")
    show_assumed(page, found.assumed, found.weights)


def show_assumed(page: Page, assumed: tuple[str, ...], weights: Mapping[str, float]) -> None:
    """Add the assumed values that a result rests on, those that matter most by name.

    Args:
        page: where to add them.
        assumed: their keys.
        weights: largest share that each key has in what a result leaves open.
    """
    if not assumed:
        return
    page.gap()
    leading = sorted(
        (key for key in assumed if weights.get(key, 0.0) >= _TELLING), key=lambda key: -weights[key]
    )
    page.prose(not_given(len(assumed), "size", leading=[_spoken(key) for key in leading[:4]]))


def _spoken(key: str) -> str:
    """Return a key as it is said: `front left sweep`, `body width`."""
    return (
        key.removeprefix("stations.")
        .removeprefix("wheels.")
        .removeprefix("axles.")
        .replace(".", " ")
        .replace("_", " ")
    )
