"""`rollwright next`: what to do next with a car, and by how much."""

from __future__ import annotations

from collections.abc import Collection

import click

from rollwright import workbench
from rollwright.car.model import Station
from rollwright.cli.options import json_option, print_json, system_of, units_option
from rollwright.cli.page import Page, listed, percent
from rollwright.cli.stance_command import show_assumed
from rollwright.judge.verdict import State, Verdict
from rollwright.workbench import timing

__all__ = ["command", "show_advice", "show_worth"]

_GATES = ("level", "steer", "centre")
_SAYS = {"level": "level", "steer": "drift", "centre": "rail"}
"""What the text calls the quantity that a gate judges, as `rollwright stance` does."""
_READ_AGAIN = {"height_difference": "height difference", "drift": "drift", "rail_offset": "rail offset"}


@click.command(name="next")
@click.argument("car", type=click.Path())
@click.argument("readings", nargs=-1, type=click.Path(), metavar="[READINGS]...")
@click.option(
    "--readings",
    "-r",
    "named",
    multiple=True,
    type=click.Path(),
    help="File of readings taken at the bench; may be given more than once.",
)
@click.option(
    "--save-as",
    type=click.Path(),
    help="Also write the car file as it will be once the moves are made.",
)
@click.option("--track", type=click.Path(), help="File of a track, to say what the moves are worth on it.")
@units_option
@json_option
@click.pass_context
def command(
    ctx: click.Context,
    car: str,
    readings: tuple[str, ...],
    named: tuple[str, ...],
    save_as: str | None,
    track: str | None,
    units: str,
    *,
    as_json: bool,
) -> None:
    """Say what to do next with a car, and by how much.

    CAR is a car file. READINGS are files of readings, with or without --readings before them. They say
    where the car really is; bend, turn and trim are then solved together, in the order in which your hand
    makes them. Exit code 1: a target cannot be met by the moves that are allowed.
    """
    found = workbench.next_moves(car, (*named, *readings), system=system_of(units))
    if save_as is not None:
        workbench.save_after(found, save_as)
    worth = None if track is None else timing.saving(found, track)
    if as_json:
        print_json(found.as_json() if track is None else {**found.as_json(), **timing.worth_json(worth)})
    else:
        page = Page(system=system_of(units))
        show_advice(page, found)
        if track is not None:
            show_worth(page, worth)
        if save_as is not None:
            page.gap()
            page.prose(f"The car as it will be then is written to {save_as}.")
        page.print()
    ctx.exit(1 if found.advice.missed else 0)


def show_worth(page: Page, worth: timing.Saved | None) -> None:
    """Add what moves are worth on a track; None where the car stalls on it."""
    page.gap()
    if worth is None:
        page.prose("The car stalls on this track, so that no time can be told.", first="- ", rest="  ")
        return
    gained, spread = 1e3 * (worth.before - worth.after), 1e3 * worth.uncertainty
    if worth.before == worth.after:
        page.prose(f"As it is: {worth.before:.4f} s on {worth.track}.", first="- ", rest="  ")
        return
    text = (
        f"On {worth.track} these moves are worth {gained:.1f} ± {spread:.1f} ms ".replace("-", "−")
        + f"({worth.before:.4f} s to {worth.after:.4f} s)."
    )
    if gained < -2.0 * spread:
        text += (
            " They make it slower on paper: steer that holds the rail has its price, and this sum does not "
        )
        text += "know what leaving the rail costs."
    elif gained < 2.0 * spread:
        text += " That is no more than can be told."
    page.prose(text, first="- ", rest="  ")


def show_advice(page: Page, found: workbench.Advised, *, stale: Collection[str] = ()) -> None:
    """Add advice to a page: the moves, then where the car is now, then what is expected.

    Args:
        page: where to add it.
        found: the advice.
        stale: gates that were read once, whose reading no longer holds.
    """
    advice = found.advice
    _headline(page, found)
    for warning in advice.warnings:
        page.gap()
        page.prose(warning, first="! ", bold=True)
    for each in advice.plan.cannot:
        page.gap()
        how = "cannot be met" if each.gate in advice.missed else "cannot be met by bending alone"
        page.prose(f"{_SAYS[each.gate].capitalize()} {how}: {each.reason}.", first="! ", bold=True)
        page.prose(f"To change that: {each.change}.", first="  ")
    _moves(page, found)
    page.gap()
    _now(page, found, stale)
    if advice.plan.moves:
        page.gap()
        _then(page, found)
    page.gap()
    for note in (*advice.plan.notes, *advice.estimate.notes):
        page.prose(note, first="- ", rest="  ")
    for where, (correction, spread) in advice.block_corrections.items():
        page.prose(
            f"{where}: {page.length(correction, spread)} was added to turn it into a rail offset (on the "
            "block the wheels hang, and they touch anywhere on its height).",
            first="- ",
            rest="  ",
        )
    page.prose(f"To know more: {_lower(advice.measure_next.text)}", first="- ", rest="  ")
    show_assumed(page, advice.assumed, found.weights)


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:]


def _headline(page: Page, found: workbench.Advised) -> None:
    advice = found.advice
    count = len({move.kind for move in advice.plan.moves})
    if count:
        todo = "one move" if count == 1 else f"{_words(count)} moves, in this order"
        if advice.suspects:
            first = listed(advice.suspects)
            page.prose(f"{found.car.name}: check {first} first. If it is right: {todo}.", bold=True)
        else:
            page.prose(f"{found.car.name}: {todo}, then read again.", bold=True)
    elif all(verdict.state is State.PASS for verdict in advice.verdicts.values()):
        unread = [gate for gate in _GATES if not advice.read[gate]]
        if unread:
            # A gate is passed by a reading, never by a file's say-so.
            named = listed([_SAYS[gate] for gate in unread])
            said = f"move nothing. By the file all three are inside; read {named} to be sure."
        else:
            said = "leave it as it is. All three are inside."
        page.prose(f"{found.car.name}: {said}", bold=True)
    elif advice.missed:
        page.prose(f"{found.car.name}: no allowed move brings it to its targets.", bold=True)
    else:
        page.prose(f"{found.car.name}: move nothing yet. Read first.", bold=True)


def _words(count: int) -> str:
    return ("no", "one", "two", "three", "four", "five")[count]


def _moves(page: Page, found: workbench.Advised) -> None:
    number, said = 0, ""
    for move, told in zip(found.advice.plan.moves, found.advice.instructions, strict=True):
        if told.text == said:
            # One instruction speaks for both rear axles.
            continue
        number, said = number + 1, told.text
        page.gap()
        if move.kind.value == "relief" and (number > 1 or not found.advice.read["centre"]):
            page.prose(
                "Before you sand, better read the rail offset again and ask anew: the less is open, the less "
                "it has to stop short.",
                first="   ",
            )
        page.prose(told.text, first=f"{number}. ", rest="   ", bold=True)
        if told.ask:
            page.prose(told.ask, first="   ", bold=True)
        page.prose(f"{told.effect} {told.check}", first="   ")
        expected = (page.level, page.drift, page.rail)[move.gate](
            float(move.after.means[move.gate]), float(move.after.deviations[move.gate])
        )
        probability = move.after.probabilities[move.gate]
        # A step on the way is not there yet, and its chance alone would read like a failure.
        chance = (
            f"; {percent(probability)} to be inside" if probability > 0.2 else ", for the next move to finish"
        )
        page.prose(f"Expect {_SAYS[_GATES[move.gate]]} {expected}{chance}.", first="   ")
        if told.caution:
            page.prose(f"Mind: {told.caution}", first="   ")
    if number:
        again: dict[str, None] = {}
        for told in found.advice.instructions:
            again |= dict.fromkeys(told.read_again)
        page.gap()
        page.prose(
            f"Then read again: {listed([_READ_AGAIN[kind] for kind in again])}. Leave {_untouched(found)} "
            "alone meanwhile."
        )


def _untouched(found: workbench.Advised) -> str:
    """Return the axles that no move touches, as they are said."""
    touched = {move.station for move in found.advice.plan.moves}
    left = [station for station in Station if station not in touched]
    fronts = [station for station in left if station.is_front]
    rears = [station for station in left if not station.is_front]
    both_fronts, both_rears = ["both front wheels"], ["both rear axles"]
    return listed(
        [
            *(both_fronts if len(fronts) == 2 else [f"the {at.words} wheel" for at in fronts]),
            *(both_rears if len(rears) == 2 else [f"the {at.words} axle" for at in rears]),
        ]
    )


def _now(page: Page, found: workbench.Advised, stale: Collection[str]) -> None:
    advice = found.advice
    page.line("Where it is", bold=True)
    for (gate, verdict), say in zip(
        advice.verdicts.items(), (page.level, page.drift, page.rail), strict=True
    ):
        unread = "" if advice.read[gate] else ", read it again" if gate in stale else ", not read yet"
        page.verdict(
            verdict.state.value,
            f"{_SAYS[gate]:<5} {say(verdict.value, verdict.uncertainty)}: {_said(verdict)}{unread}",
        )
    wanted = found.car.targets
    page.prose(
        f"Wanted: level {page.band(wanted.height_difference)}; drift {page.band(wanted.drift, sided=True)}; "
        f"rail {page.band(wanted.rail_offset)}.",
        first="  ",
    )


def _said(verdict: Verdict) -> str:
    if verdict.state is State.UNCLEAR:
        return f"cannot tell yet ({percent(verdict.probability)} inside)"
    return "inside" if verdict.state is State.PASS else "outside"


def _then(page: Page, found: workbench.Advised) -> None:
    outcome = found.advice.plan.outcome
    page.line("Where it should be then", bold=True)
    for index, (gate, say) in enumerate(zip(_GATES, (page.level, page.drift, page.rail), strict=True)):
        page.prose(
            f"{_SAYS[gate]:<5} {say(float(outcome.means[index]), float(outcome.deviations[index]))} "
            f"({percent(outcome.probabilities[index])} inside)",
            first="  ",
            rest="        ",
        )
    page.prose(f"All three inside at once: {percent(outcome.joint)}.", first="  ")
