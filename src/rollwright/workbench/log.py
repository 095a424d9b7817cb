"""Use cases of the bench log: a car is entered, read and moved, and the log says how its gates stand."""

from __future__ import annotations

import os
import re
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from rollwright.bench import (
    Adjustment,
    Bend,
    CarStarted,
    ClassChosen,
    Clearance,
    Note,
    Recorded,
    Retired,
    Sand,
    Shim,
    SlowRoll,
    SlowRollSeen,
    StartedFrom,
    Store,
    Turn,
    Washer,
    synced_folder,
)
from rollwright.car.file import load_toml, parse_car
from rollwright.car.model import Station
from rollwright.errors import InputError, OutOfRange
from rollwright.units import Kind, show
from rollwright.workbench.log_enter import (
    Entered,
    EnteredAll,
    Stamp,
    append,
    append_all,
    enter,
    enter_all,
    entry_json,
    folded,
    gates_json,
    known_car,
    open_log,
    proposed,
    rolled_in,
    stamps,
)

if TYPE_CHECKING:
    from rollwright.bench import Event
    from rollwright.bench.fold import Folded as Folded  # noqa: PLC0414 - shown to the command line by name

__all__ = [
    "MOVES",
    "Entered",
    "EnteredAll",
    "Recorded",
    "Stamp",
    "Started",
    "append",
    "class_chosen",
    "did",
    "did_all",
    "enter",
    "enter_all",
    "entry_json",
    "folded",
    "gates_json",
    "known_car",
    "note",
    "open_log",
    "proposed",
    "retire",
    "roll",
    "rolled_in",
    "start",
]

_LONGEST_ID = 24

_THINNEST = 0.05e-3
"""Less than the thinnest washer [m]: by so much what came out may be misread."""

MOVES: Mapping[str, type[Adjustment]] = {kind.kind: kind for kind in (Bend, Turn, Sand, Washer, Shim)}
"""The moves of a hand that the log takes, by the word for each."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Started:
    """A car is in the log.

    Attributes:
        entry: its first entry.
        name: what its file calls it.
        log: path of the log.
        made: whether the log is new.
        synced: folder that a service seems to copy, if the new log lies in one.
        chosen: the entry of its class, if one was chosen with the start.
        forbidden: bends of its axles [rad] by their stations, where no axle may be bent.
    """

    entry: Recorded
    name: str
    log: str
    made: bool
    synced: Path | None
    chosen: Recorded | None = None
    forbidden: Mapping[Station, float] = field(default_factory=dict)

    def as_json(self) -> dict[str, object]:
        """Return it as plain data in SI units."""
        return {
            "log": self.log,
            "made": self.made,
            "synced_folder": None if self.synced is None else str(self.synced),
            "name": self.name,
            **entry_json(self.entry),
            **({} if self.chosen is None else {"class_entry": self.chosen.seq}),
            "forbidden_bends": [
                {"station": station.value, "bend": bend} for station, bend in self.forbidden.items()
            ],
        }


def id_from(name: str) -> str:
    """Return an id made from a car's name: lower case, with safe characters only; empty if none are left."""
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9_]+", "-", plain).strip("-_")[:_LONGEST_ID].strip("-_")


def class_chosen(class_file: str | os.PathLike[str]) -> tuple[ClassChosen, str]:
    """Return the choice of the class of a file, and what the class is called.

    Args:
        class_file: file of the class's rules, whose whole text is kept.

    Returns:
        The event and the name.

    Raises:
        InputError: the file cannot be used.
    """
    from rollwright.judge.class_file import parse_class  # noqa: PLC0415 - rarely needed

    text = load_toml(class_file, what="class file")
    return ClassChosen(class_file=text), parse_class(text, file=Path(class_file).name).name


def start(
    log: str | os.PathLike[str],
    car_file: str | os.PathLike[str],
    *,
    car: str | None,
    class_file: str | os.PathLike[str] | None = None,
    planned: bool = False,
    stamp: Stamp,
) -> Started:
    """Enter a car in the log; the log is made if there is none.

    Args:
        log: path of the log.
        car_file: the car's file, whose whole text is kept.
        car: id for the car; None makes one from its name.
        class_file: file of the rules of the class that it is built for; None chooses no class yet.
        planned: whether the file is a plan of a car that is not built yet.
        stamp: who and when.

    Returns:
        The first entry of the car, and that of its class.

    Raises:
        InputError: a file or the id cannot be used, or the log cannot be written; nothing was made.
    """
    text = load_toml(car_file, what="car file")
    file = Path(car_file).name
    described = parse_car(text, file=file)
    chosen, class_name = (None, "") if class_file is None else class_chosen(class_file)
    source = StartedFrom.PLAN if planned else StartedFrom.FILE
    event = CarStarted(source=source, car_file=text, class_name=class_name)
    return begin(log, event, chosen, name=described.name, car=car, file=file, stamp=stamp)


def begin(
    log: str | os.PathLike[str],
    event: CarStarted,
    chosen: ClassChosen | None,
    *,
    name: str,
    car: str | None,
    file: str,
    stamp: Stamp,
) -> Started:
    """Enter the start of a car and the choice of its class; the log is made if there is none.

    Args:
        log: path of the log.
        event: the start.
        chosen: the class, or None.
        name: what the car is called.
        car: id for the car; None makes one from its name.
        file: where its description came from, for messages.
        stamp: who and when.

    Returns:
        The first entry of the car, and that of its class.

    Raises:
        InputError: the description or the id cannot be used, or the log cannot be written; nothing was made.
    """
    given = id_from(name) if car is None else car
    if not given:
        raise OutOfRange(
            "no id can be made from the car's name", mend="say one with --as", file=file, key="name"
        )
    events = [event] if chosen is None else [event, chosen]
    trials = [
        proposed(each, car=given, stamp=one, seq=number)
        for number, (each, one) in enumerate(zip(events, stamps(stamp, len(events)), strict=True), start=1)
    ]
    from rollwright.bench.fold import fold  # noqa: PLC0415 - brings numpy

    try:
        found = fold(trials)
    except InputError as error:
        raise error.at(file=file) from None
    made = not os.path.lexists(log)
    with Store.open(log, create=made) as store:
        entries = append_all(store, events, car=given, stamp=stamp)
    return Started(
        entry=entries[0],
        chosen=entries[1] if chosen is not None else None,
        name=name,
        log=str(log),
        made=made,
        synced=synced_folder(log) if made else None,
        forbidden=found.forbidden,
    )


def did(
    log: str | os.PathLike[str],
    car: str,
    move: str,
    station: Station,
    *,
    amount: float | None,
    measured: bool = False,
    uncertainty: float | None = None,
    remark: str = "",
    stamp: Stamp,
) -> Entered:
    """Enter what a hand did.

    Args:
        log: path of the log.
        car: the car's id.
        move: one of `MOVES`.
        station: where.
        amount: the change [rad or m], signed as the events of the log are; None if nobody knows.
        measured: whether it was measured afterwards; otherwise it is what was asked for.
        uncertainty: standard uncertainty of a measured amount.
        remark: a remark.
        stamp: who and when.

    Returns:
        The entry, and how the gates stand after it.

    Raises:
        InputError: the move is impossible on this car, or the log cannot be written; nothing was entered.
    """
    return did_all(
        log,
        car,
        move,
        (station,),
        amount=amount,
        measured=measured,
        uncertainty=uncertainty,
        remark=remark,
        stamp=stamp,
    ).last


def did_all(
    log: str | os.PathLike[str],
    car: str,
    move: str,
    stations: Sequence[Station],
    *,
    amount: float | None,
    measured: bool = False,
    uncertainty: float | None = None,
    remark: str = "",
    stamp: Stamp,
) -> EnteredAll:
    """Enter what a hand did alike in several places, all or none; arguments and errors as for `did`.

    Returns:
        The entries, and how the gates stand after them.
    """
    events = [
        MOVES[move](
            station=station,
            asked=None if measured else amount,
            done=amount if measured else None,
            uncertainty=uncertainty,
            note=remark,
        )
        for station in stations
    ]

    def checked(_: Sequence[Recorded], before: Folded) -> Sequence[Event]:
        if move == Washer.kind and amount is not None and amount < 0.0:
            for station in stations:
                _check_washers(before, station, taken=-amount)
        return events

    return enter_all(log, car, checked, stamp=stamp)


def _check_washers(before: Folded, station: Station, *, taken: float) -> None:
    """Refuse to take out washers that are not there."""
    if before.estimate is None:
        return
    there = before.estimate.dimension(f"{station.value}.washer")
    if taken <= there.value + max(_THINNEST, 3.0 * there.uncertainty):
        return
    present, wanted = (show(each, kind=Kind.LENGTH) for each in (there.value, taken))
    raise OutOfRange(
        f"{wanted} of washers cannot come out at {station.words}: {present} is in there",
        mend="enter what came out, or first what was in: rollwright log fit ID washer STATION",
        key="amount",
    )


def roll(
    log: str | os.PathLike[str],
    car: str,
    seen: str,
    *,
    gaps: Sequence[tuple[Station, float]] = (),
    lane: str = "",
    instrument: str = "",
    remark: str = "",
    stamp: Stamp,
) -> Entered:
    """Enter what a car did on a slow roll: `seen` is holds, leaves, tail_left or tail_right.

    Args:
        log: path of the log.
        car: the car's id.
        seen: what it did.
        gaps: what a feeler showed between a wheel and the rail [m], each station once.
        lane: on which lane or track.
        instrument: with what the gaps were felt.
        remark: a remark.
        stamp: who and when.

    Returns:
        The entry, and how the gates stand after it.

    Raises:
        InputError: two gaps are of one station, or the log cannot be written; nothing was entered.
    """
    event = SlowRoll(
        seen=SlowRollSeen(seen),
        clearances=tuple(Clearance(station=station, gap=gap) for station, gap in gaps),
        lane=lane,
        instrument=instrument,
        note=remark,
    )
    return enter(log, car, event, stamp=stamp)


def note(log: str | os.PathLike[str], car: str, text: str, *, stamp: Stamp) -> Entered:
    """Enter a remark; see `enter`."""
    return enter(log, car, Note(text=text), stamp=stamp, retired=True)


def retire(log: str | os.PathLike[str], car: str, reason: str, *, stamp: Stamp) -> Entered:
    """Enter that a car is no longer worked on, and why; see `enter`."""
    return enter(log, car, Retired(reason=reason), stamp=stamp)
