"""What can be entered from a page: the words of the log's commands, read as those commands read them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from rollwright.car.model import Station
from rollwright.cli.log_part_words import (
    aim_of,
    choice_of,
    daylight_of,
    gap_of,
    positive_of,
    reach_of,
    standard_of,
)
from rollwright.cli.log_words import MOVES, amount_of, size_of, station_of
from rollwright.errors import ReadingUnusable
from rollwright.units import Kind
from rollwright.web.settings import Verb
from rollwright.workbench import log as logs
from rollwright.workbench import log_entry, log_parts, log_past
from rollwright.workbench.log_reading import read as enter_reading

__all__ = ["VERBS"]

Words = Sequence[str]
Options = Mapping[str, str]
Answer = Mapping[str, object]
_SEEN = ("holds", "leaves", "tail_left", "tail_right")
_REMARKS = ("instrument", "note")


def _need(words: Words, count: int, usage: str) -> None:
    if len(words) < count:
        raise ReadingUnusable("something is left out", mend=f"say {usage}", key="words")


def _read(log: Path, car: str, words: Words, options: Options, stamp: logs.Stamp) -> Answer:
    _need(words, 2, "what was read, and the reading or its repeats")
    said = {name.replace("-", "_"): text for name, text in options.items() if text}
    return enter_reading(log, car, words[0], list(words[1:]), said, stamp=stamp).as_json()


def _did(log: Path, car: str, words: Words, options: Options, stamp: logs.Stamp) -> Answer:
    _need(words, 3, "the move, the wheel and the amount")
    move, place, amount = words[0], words[1].strip().casefold(), " ".join(words[2:])
    if move not in MOVES:
        raise ReadingUnusable("this is no move", mend=f"one of {', '.join(MOVES)} is", key="words")
    both = [each for each in Station if move == "shim" and each.value.startswith(f"{place}_")]
    places = both if place in {"front", "rear"} and both else [station_of(place)]
    value = amount_of(move, amount, station=places[0])
    measured = options.get("measured", "") == "yes" and value is not None
    uncertainty = options.get("uncertainty", "") if measured else ""
    found = logs.did_all(
        log,
        car,
        move,
        places,
        amount=value,
        measured=measured,
        uncertainty=size_of(move, uncertainty) if uncertainty else None,
        remark=options.get("note", ""),
        stamp=stamp,
    )
    return found.last.as_json()


def _roll(log: Path, car: str, words: Words, options: Options, stamp: logs.Stamp) -> Answer:
    _need(words, 1, f"what it did: {', '.join(_SEEN)}")
    if words[0] not in _SEEN:
        raise ReadingUnusable("this is nothing that a car does", mend=f"one of {', '.join(_SEEN)} is")
    return logs.roll(
        log,
        car,
        words[0],
        gaps=[gap_of(each) for each in words[1:]],
        lane=options.get("lane", ""),
        instrument=options.get("instrument", ""),
        remark=options.get("note", ""),
        stamp=stamp,
    ).as_json()


def _undo(log: Path, car: str, words: Words, options: Options, stamp: logs.Stamp) -> Answer:
    number = words[0] if words else ""
    if number and not (number.isascii() and number.isdigit() and len(number) < 10):
        raise ReadingUnusable("this is no entry's number", mend="give a whole number", key="words")
    reason = options.get("because", "") or "entered by mistake"
    return log_past.undo(log, car, int(number) if number else None, reason=reason, stamp=stamp).as_json()


def _note(log: Path, car: str, words: Words, options: Options, stamp: logs.Stamp) -> Answer:
    del options
    _need(words, 1, "the remark")
    return logs.note(log, car, " ".join(words), stamp=stamp).as_json()


def _retire(log: Path, car: str, words: Words, options: Options, stamp: logs.Stamp) -> Answer:
    reason = options.get("because", "") or " ".join(words)
    return logs.retire(log, car, reason, stamp=stamp).as_json()


def _fit(log: Path, car: str, words: Words, options: Options, stamp: logs.Stamp) -> Answer:
    if list(words) != ["all"]:
        raise ReadingUnusable(
            "here only all of it can be fitted at once", mend="say all, or use rollwright log fit"
        )
    return log_parts.fit_all(log, car, remark=options.get("note", ""), stamp=stamp).as_json()


def _weigh(log: Path, car: str, words: Words, options: Options, stamp: logs.Stamp) -> Answer:
    _need(words, 2, "what stood on the scale, and what it showed")
    written = " ".join(words[1:])
    return log_entry.weigh(
        log,
        car,
        choice_of(words[0], log_entry.Weighed, key="WHERE", what="a part of the car to weigh"),
        positive_of(written, Kind.MASS, key="MASS"),
        uncertainty=standard_of(options.get("uncertainty") or None, Kind.MASS),
        instrument=options.get("instrument", ""),
        written=written,
        remark=options.get("note", ""),
        stamp=stamp,
    ).as_json()


def _inspect(log: Path, car: str, words: Words, options: Options, stamp: logs.Stamp) -> Answer:
    _need(words, 2, "what it is about, and what was found")
    rule = choice_of(words[0], log_entry.Rule, key="RULE", what="something that a class has a rule about")
    written = " ".join(words[1:])
    size, seen = None, ""
    if not rule.is_size:
        seen = written.casefold() if rule in log_entry.LOOKS or written.casefold() == "none" else written
        looks = log_entry.LOOKS.get(rule)
        if looks is not None and seen not in looks:
            raise ReadingUnusable("this cannot be seen of it", mend=f"one of {', '.join(looks)} can")
    elif rule.is_reach and written.casefold() == log_entry.NONE:
        seen = log_entry.NONE
    elif rule.is_reach:
        size = reach_of(written, key=rule.words)
    else:
        size = positive_of(written, Kind.LENGTH, key=rule.words)
    station = options.get("station", "")
    return log_entry.inspect(
        log,
        car,
        rule,
        value=size,
        found=seen,
        station=station_of(station) if station else None,
        uncertainty=standard_of(options.get("uncertainty") or None, Kind.LENGTH)
        if size is not None
        else None,
        instrument=options.get("instrument", ""),
        written=written if size is not None else "",
        remark=options.get("note", ""),
        stamp=stamp,
    ).as_json()


def _pin(log: Path, car: str, words: Words, options: Options, stamp: logs.Stamp) -> Answer:
    _need(words, 3, "the hole, cant or sweep, and what showed")
    plane = choice_of(words[1], log_entry.Plane, key="PLANE", what="a way to look at a hole")
    written = " ".join(words[2:]).replace("\N{MINUS SIGN}", "-")
    showed = daylight_of(plane.value, written)
    distance, against = options.get("distance", ""), options.get("against", "")
    return log_entry.pin(
        log,
        car,
        station_of(words[0]),
        plane,
        log_entry.Seen(showed.seen),
        size=showed.size,
        distance=positive_of(distance, Kind.LENGTH, key="distance") if distance else None,
        against=aim_of(plane.value, against, key="against") if against else None,
        uncertainty=standard_of(options.get("uncertainty") or None, showed.kind),
        instrument=options.get("instrument", ""),
        written=written if showed.size is not None else "",
        remark=options.get("note", ""),
        stamp=stamp,
    ).as_json()


VERBS: Mapping[str, Verb] = {
    "read": Verb(
        summary="A reading or its repeats",
        words="KIND VALUE...",
        options=(
            *("uncertainty", "station", "thickness", "width", "seat", "distance", "plane", "against"),
            *("dimension", "set-up", "common", *_REMARKS),
        ),
        enter=_read,
    ),
    "did": Verb(
        summary="A move that a hand made",
        words="MOVE STATION AMOUNT",
        options=("measured", "uncertainty", "note"),
        enter=_did,
    ),
    "roll": Verb(
        summary="What the car did on a slow roll",
        words="SEEN [STATION GAP]...",
        options=("lane", *_REMARKS),
        enter=_roll,
    ),
    "fit": Verb(summary="Everything is fitted", words="all", options=("note",), enter=_fit),
    "weigh": Verb(
        summary="What a scale showed", words="WHERE MASS", options=("uncertainty", *_REMARKS), enter=_weigh
    ),
    "inspect": Verb(
        summary="What was measured or seen at an inspection",
        words="RULE VALUE",
        options=("station", "uncertainty", *_REMARKS),
        enter=_inspect,
    ),
    "pin": Verb(
        summary="What a pin in a hole showed",
        words="STATION PLANE SEEN",
        options=("distance", "against", "uncertainty", *_REMARKS),
        enter=_pin,
    ),
    "undo": Verb(summary="An entry is taken back", words="[NUMBER]", options=("because",), enter=_undo),
    "note": Verb(summary="A remark", words="TEXT", enter=_note),
    "retire": Verb(summary="The car is no longer worked on", words="", options=("because",), enter=_retire),
}
"""What can be entered, by the names of the log's commands."""
