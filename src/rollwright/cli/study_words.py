"""How a study is told: the times, the gates, what to tighten, whose doing it is, and the best design."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from rollwright.cli.page import Page, listed, not_given, percent
from rollwright.units import System

if TYPE_CHECKING:
    from rollwright.workbench.study import (
        Candidate,
        Checked,
        Found,
        Gate,
        Optimum,
        Shares,
        Studied,
        Tightening,
    )

__all__ = ["named", "show_study"]

_LISTED = 5
_SHARES_LISTED = 8
_PLACES = {"x": "forward", "y": "left", "z": "up"}
_TELLING = 0.3
_RARE = 5e-4
_SURE = 3.0
_NOTICED = 0.5e-3
_TIED = "\N{NO-BREAK SPACE}"


def named(name: str) -> str:
    """Return an input as it is said: `rear left hole height`."""
    head, _, last = name.removeprefix("losses.").removeprefix("profile.").partition(".")
    parts = [_PLACES.get(part, part) for part in (head, *last.split("."))]
    return " ".join(part.replace("_", " ") for part in parts if part)


def _ms(seconds: float, error: float | None = None) -> str:
    """Return a time in milliseconds, with no more digits than its error earns."""
    if not math.isfinite(seconds):
        return "none"
    digits = 1
    if error is not None and error > 0.0:
        digits = min(3, max(0, -math.floor(math.log10(1e3 * error))))
    return f"{1e3 * seconds:.{digits}f} ms".replace("-", "−").replace(" ", _TIED)


def _seconds(seconds: float, error: float) -> str:
    digits = 4 if not error > 0.0 else min(6, max(3, -math.floor(math.log10(error))))
    return f"{seconds:.{digits}f} s".replace(" ", _TIED)


def _share(share: float, error: float) -> str:
    if 0.0 < share < 1.0 and error > 0.0 and 0.01 < share < 0.99:
        digits = 1 if error < 2e-3 else 0
        return f"{100.0 * share:.{digits}f} %".replace(" ", _TIED)
    return percent(share)


def show_study(page: Page, found: Studied, *, kept: str | None) -> None:
    """Add a study to a page: the answer, then the tables, then the reasons.

    Args:
        page: where to add it.
        found: the study.
        kept: file in which its partial sums are, or None.
    """
    _times(page, found, kept)
    page.gap()
    _gates(page, found)
    if found.tightening is not None:
        page.gap()
        _tightening(page, found.tightening)
    if found.shares is not None:
        page.gap()
        _shares(page, found.shares)
    if found.optimum is not None:
        page.gap()
        _optimum(page, found.optimum)
    page.gap()
    _rests(page, found)


def _times(page: Page, found: Studied, kept: str | None) -> None:
    result = found.found
    lane = f", lane {found.asked.lane}" if found.asked.lane else ""
    page.prose(
        f"{found.car.name} on {found.track.name}{lane}: {_seconds(result.mean, result.mean_error)}, "
        f"give or take {_ms(result.deviation, result.deviation_error)}.",
        bold=True,
    )
    if found.stopped:
        again = f"; go on with --resume {kept}" if kept else ""
        page.prose(f"Stopped after {result.runs} of {found.asked.runs} bodies{again}.", first="! ", bold=True)
    nominal = "" if found.nominal is None else f" Exactly as in the file it takes {found.nominal:.4f} s."
    page.prose(
        f"{result.runs} bodies, {found.inputs} figures drawn for each, seed {found.asked.seed}.{nominal}"
    )
    if found.between is not None:
        page.prose(
            "Raced on one track on one day they differ by "
            f"{_ms(found.between.deviation, found.between.error)}; what comes on top nobody has measured of "
            "losses and track, and it is the same for all."
        )
    page.gap()
    page.table(
        [
            (percent(rank.share), _seconds(rank.time, rank.error), "± " + _ms(rank.error, rank.error))
            for rank in result.ranks
        ],
        head=("of them under", "time", ""),
    )
    lost = [
        f"{percent(share)} {words}"
        for share, words in (
            (result.stalls, "stall before the finish"),
            (result.falls, "stand on other wheels than they should"),
        )
        if share > 0.0
    ]
    if lost:
        page.prose(f"{' and '.join(lost)}; they are in no time.".replace("over 99", "nearly all, over 99"))


def _gates(page: Page, found: Studied) -> None:
    result = found.found
    rows = [
        (
            gate.name,
            _share(gate.inside, gate.error),
            percent(gate.centred),
            "none" if math.isnan(gate.correlation) else f"{gate.correlation:+.2f}".replace("-", "−"),
        )
        for gate in result.gates
    ]
    rows.append(("all three", _share(result.joint, result.joint_error), percent(result.joint_centred), ""))
    page.table(rows, head=("gate", "inside", "centred", "with time"))
    page.gap()
    page.prose(
        "Inside: as the file has it, before anything is set at the bench. Centred: were its middle "
        "on target, so that only the scatter counts. With time: correlation of "
        "reading and time, −1 to 1."
    )
    for gate in result.gates:
        _gate(page, gate, result)


def _gate(page: Page, gate: Gate, result: Found) -> None:
    reading = {"level": page.level, "drift": page.drift, "rail": page.rail}[gate.name]
    if not math.isfinite(gate.mean):
        page.prose(f"{gate.name}: no reading.", first="- ", rest="  ")
        return
    gain = ""
    share = gate.inside
    error = result.deviation / math.sqrt(max(1.0, result.runs * share * (1.0 - share)))
    if abs(gate.gain) > max(_SURE * error, _NOTICED):
        faster = "faster" if gate.gain > 0.0 else "slower"
        gain = f"; those inside are {_ms(abs(gate.gain))} {faster}"
    page.prose(f"{gate.name}: {reading(gate.mean, gate.deviation)}{gain}.", first="- ", rest="  ")


def _tightening(page: Page, found: Tightening) -> None:
    page.prose("What to tighten first", bold=True)
    now = percent(found.inside)
    for each in found.by_gates[:_LISTED]:
        page.prose(
            f"halve the scatter of the {named(each.name)}: {now} → {percent(each.inside)} inside",
            first="- ",
            rest="  ",
        )
    if not found.by_gates:
        page.prose(
            f"No single figure, halved, surely brings more than the {now} inside.", first="- ", rest="  "
        )
    page.gap()
    page.prose(f"For the time, of which bodies now differ by {_ms(found.spread)}:")
    for each in found.by_time[:_LISTED]:
        page.prose(f"halve that of the {named(each.name)}: {_ms(each.spread)}", first="- ", rest="  ")
    if not found.by_time:
        page.prose("no single figure, halved, surely narrows it.", first="- ", rest="  ")
    page.prose(
        f"Inside: all gates at once, centred. {found.bodies} bodies, the same ones each time, on a track "
        "and with losses as in the file."
    )


def _shares(page: Page, found: Shares) -> None:
    page.prose("Whose doing the spread of the time is", bold=True)
    shown = [*found.shares[:_SHARES_LISTED]]
    rest = [each for each in found.shares[_SHARES_LISTED:] if each.name != "all others"]
    page.table(
        [(named(each.name), _percents(each.first), _percents(each.total)) for each in shown],
        head=("of it", "alone", "in all"),
    )
    left = found.others + len(rest)
    page.prose(
        f"Alone: what the figure does by itself. In all: with what it does together with others, so "
        f"that these sum to more than 100 %. {left} more figures matter less; --json lists "
        "them with standard errors."
    )


def _percents(share: float) -> str:
    return f"{max(0.0, 100.0 * share):.0f} %".replace(" ", _TIED)


def _optimum(page: Page, found: Optimum) -> None:
    page.prose("The best design, as far as this model can tell", bold=True)
    if found.best is None:
        page.prose(
            "No design looked at has 95 % of its bodies heading into the rail, standing and finishing.",
            first="! ",
            bold=True,
        )
    else:
        best = found.best
        saved = found.present.score - best.score
        page.prose(
            f"Drift {_whole(page, best.drift)}, centre of mass {page.length(best.balance)} ahead of the rear "
            f"hole line, {page.mass(best.mass)}: {best.mean:.4f} s, give or take {_ms(best.deviation)}."
        )
        page.prose(
            f"Set as now: drift {_whole(page, found.present.drift)}, {page.length(found.present.balance)}, "
            f"{page.mass(found.present.mass)}: {found.present.mean:.4f} s, give or take "
            f"{_ms(found.present.deviation)}. The best is {_ms(saved)} better in mean and scatter together."
        )
    page.gap()
    if len(found.steer) > 1:
        _line(page, found.steer, found.best)
        page.gap()
    _honest(page, found)


def _line(page: Page, line: Sequence[Candidate], best: Candidate | None) -> None:
    page.table(
        [
            (
                _whole(page, each.drift) + (" ←" if each is best else ""),
                "none" if math.isnan(each.mean) else f"{each.mean:.4f}",
                _ms(each.deviation),
                percent(each.into_rail),
            )
            for each in line
        ],
        head=("drift", "time, s", "±", "to rail"),
    )


def _whole(page: Page, drift: float) -> str:
    """Return a drift of the grid in whole millimetres or tenths of an inch."""
    metric = page.system is System.METRIC
    number = f"{abs(drift) * 1e3:.0f} mm" if metric else f"{abs(drift) / 0.0254:.1f} in"
    side = "" if drift == 0.0 else (" left" if drift > 0.0 else " right")
    return f"{number}{side}".replace(" ", _TIED)


def _honest(page: Page, found: Optimum) -> None:
    if found.less_steer_is_faster:
        page.prose(
            "Less steer is always faster here. What sets the limit is whether the car holds the rail, and "
            "that this model does not know: it only asks that 95 % of bodies made alike head into the rail. "
            "Go no lower than what holds the rail on your track.",
            first="! ",
            rest="  ",
        )
    if found.back_is_faster:
        page.prose(
            "Mass farther back is always faster here, as far as was looked. A front too light to hold the "
            "rail or that hops is not in this model.",
            first="! ",
            rest="  ",
        )
    for note in found.notes:
        page.prose(f"{note[:1].upper()}{note[1:]}.", first="- ", rest="  ")


def _rests(page: Page, found: Studied) -> None:
    result, checked = found.found, found.checked
    said = "" if checked is None else _off(checked)
    if result.checked is None:
        more = f" What else was asked, by a second-order surface: {said}." if said else ""
        page.prose(f"Every run was worked out in full.{more}", first="- ", rest="  ")
    else:
        page.prose(
            f"The motion by a second-order surface, the wheels' rubbing exactly: {said}. "
            f"{_rare(result.full)} of the bodies lay beyond it and were run in full.",
            first="- ",
            rest="  ",
        )
    if found.optimum is not None and found.optimum.checked is not None:
        page.prose(
            f"The designs by another such surface: {_off(found.optimum.checked)}.", first="- ", rest="  "
        )
    if found.cut:
        names = [named(name) for name in found.cut]
        page.prose(
            f"So uncertain that a part would be negative, which cannot be: {listed(names)}; that part was "
            "not drawn, and their means are a little higher for it.",
            first="- ",
            rest="  ",
        )
    page.prose(
        "Each wheel runs at the seat that the file's own car has; equal parts scatter independently.",
        first="- ",
        rest="  ",
    )
    if found.assumed:
        page.prose(
            not_given(len(found.assumed)),
            first="- ",
            rest="  ",
        )


def _off(checked: Checked) -> str:
    return (
        f"against {checked.runs} full runs it is off by {_ms(checked.rms, checked.rms)} rms, "
        f"{_ms(checked.worst, checked.worst)} at most"
    )


def _rare(share: float) -> str:
    return f"{100.0 * share:.1f} %".replace(" ", _TIED) if share > _RARE else "Hardly any"
