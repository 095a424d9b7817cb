"""Made `bench.log` and `bench.jsonl` beside it, once, with the first version of the log.

They are never made again: later versions of the program must read them as they are. Another version of the
format gets a folder of its own.
"""

from __future__ import annotations

import hashlib
import sys
from datetime import datetime, timedelta, timezone
from pathlib import Path

from rollwright.bench.events import (
    Bend,
    CarStarted,
    Clearance,
    DaylightCheck,
    Event,
    Fitted,
    HoleDrilled,
    Note,
    PartFitted,
    PartLeftOff,
    Photo,
    Plane,
    ReadingTaken,
    Retired,
    Sand,
    ScaleReading,
    Seen,
    Shim,
    Size,
    SlowRoll,
    SlowRollSeen,
    StartedFrom,
    Turn,
    Washer,
    Weighed,
    Withdrawn,
)
from rollwright.bench.exchange import export_lines
from rollwright.bench.store import Store
from rollwright.car.model import Seat, Station
from rollwright.setup.reading_keys import ReadingKind

HERE = Path(__file__).parent
PICTURE = b"\x89PNG\r\n\x1a\n not a real picture"
CAR_FILE = """\
# Plover, a car of the Tannery Lane Gravity Club (an invented club).
format = 1
name = "Plover"

[body]
width = 47.6   # µ-meter: 47,6 mm
"""
LEFT = Station.FRONT_LEFT

# Every kind of event, every kind of reading, and texts as builders type them.
EVENTS_OF_PLOVER: tuple[Event, ...] = (
    CarStarted(source=StartedFrom.FILE, car_file=CAR_FILE, class_name="open class", source_car="LARK"),
    HoleDrilled(
        station=Station.REAR_LEFT, hole_height=0.009, cant=0.0436, sweep=0.0, instrument="drill press, jig 2"
    ),
    HoleDrilled(station=Station.FRONT_RIGHT),
    DaylightCheck(station=Station.REAR_LEFT, plane=Plane.CANT, seen=Seen.NONE, uncertainty=0.00005),
    DaylightCheck(station=Station.REAR_LEFT, plane=Plane.SWEEP, seen=Seen.SEEN, note="a hair, forward"),
    DaylightCheck(
        station=Station.REAR_RIGHT,
        plane=Plane.CANT,
        seen=Seen.FEELER,
        size=-0.00015,
        distance=0.03,
        uncertainty=0.00003,
        instrument="feelers",
        written="-0.15 mm",
    ),
    DaylightCheck(station=LEFT, plane=Plane.SWEEP, seen=Seen.ANGLE, size=0.0035, uncertainty=0.001),
    PartFitted(
        part=Fitted.WHEEL,
        name="club",
        station=LEFT,
        sizes=(
            Size(name="diameter", value=0.0321, uncertainty=0.00003),
            Size(name="hub_projection", value=0.00055),
            Size(name="inertia", value=3.5e-7),
        ),
        instrument="caliper",
    ),
    PartFitted(part=Fitted.AXLE, name="steering", station=LEFT, sizes=(Size(name="bend", value=0.045),)),
    PartFitted(part=Fitted.WASHER, name="nylon", station=LEFT, sizes=(Size(name="thickness", value=0.0005),)),
    PartFitted(
        part=Fitted.WEIGHT,
        name="slug",
        pocket="rear pocket",
        sizes=(Size(name="mass", value=0.031, uncertainty=0.0001), Size(name="x", value=0.018)),
    ),
    PartFitted(part=Fitted.SHIELD, name="mudguard", station=Station.REAR_LEFT),
    PartLeftOff(part=Fitted.SHIELD, reason="the class forbids a second one", station=Station.REAR_RIGHT),
    PartLeftOff(part=Fitted.WEIGHT, reason="heavy enough", pocket="nose pocket"),
    Bend(station=LEFT, asked=0.01, done=0.0125, uncertainty=0.002, instrument="bending pliers"),
    Turn(station=LEFT, asked=-0.0873),
    Sand(station=LEFT, asked=0.0003, done=0.0002, note="four strokes,\nthen the gauge again"),
    Washer(station=LEFT, done=-0.0005),
    Shim(station=Station.REAR_LEFT, asked=0.0003),
    Bend(station=LEFT, note="slipped; no idea how far"),
    ReadingTaken(
        reading=ReadingKind.HEIGHT_DIFFERENCE,
        values=(-0.00021,),
        uncertainty=0.00004,
        common=0.00002,
        set_up="Tuesday",
        instrument="screw gauge",
        written="−0,21",
    ),
    ReadingTaken(
        reading=ReadingKind.DRIFT,
        values=(-0.112, -0.109, -0.111),
        uncertainty=0.0025,
        distance=1.0,
        written="112 mm right, 109 mm right, 111 mm right",
    ),
    ReadingTaken(reading=ReadingKind.DRIFT, trace=((0.0, 0.0), (0.5, -0.03), (1.0, -0.11))),
    ReadingTaken(reading=ReadingKind.RAIL_OFFSET, values=(0.00091,), uncertainty=0.00004),
    ReadingTaken(
        reading=ReadingKind.BLOCK_OFFSET, values=(-0.0001,), thickness=0.012, width=0.046, seat=Seat.HEAD
    ),
    ReadingTaken(reading=ReadingKind.RAIL_CLEARANCE, values=(0.0018,), station=Station.REAR_RIGHT),
    ReadingTaken(reading=ReadingKind.TIP_SWEEP, values=(0.0026,), station=LEFT, distance=0.028),
    ReadingTaken(
        reading=ReadingKind.DAYLIGHT,
        values=(0.0004,),
        station=Station.REAR_LEFT,
        plane=Plane.CANT,
        against=0.0436,
        distance=0.03,
    ),
    ReadingTaken(reading=ReadingKind.SIZE, values=(0.0476, 0.04762), dimension="body.width"),
    ScaleReading(where=Weighed.WHOLE, mass=0.1405, uncertainty=0.0001, instrument="scale", written="140,5 g"),
    ScaleReading(where=Weighed.FRONT_LEFT, mass=0.0331),
    SlowRoll(
        seen=SlowRollSeen.TAIL_RIGHT,
        clearances=(Clearance(station=LEFT, gap=0.0), Clearance(station=Station.REAR_RIGHT, gap=0.0009)),
        lane="lane 3",
    ),
    Note(text="Smurt med «grafitt» \U0001f6de\u00a0– 12\u00a0µm igjen"),
    Photo(sha256=hashlib.sha256(PICTURE).hexdigest(), media_type="image/png", caption="left front"),
    Withdrawn(entry=f"{17:032x}", reason="that was the other car"),
    Retired(reason="given to a cousin"),
)


def time_of(number: int) -> datetime:
    """Return the time of an entry: two minutes apart, at +02:00, the clock an hour back at the tenth."""
    time = datetime(2026, 5, 4, 19, 0, 0, 250_000, tzinfo=timezone(timedelta(hours=2)))
    return time + timedelta(minutes=2 * number) - timedelta(hours=number == 10)


def make(folder: Path) -> None:
    """Write both files.

    Args:
        folder: where; files that are there already are left alone.
    """
    with Store.open(folder / "bench.log", create=True, program="0.1.0") as store:
        for number, event in enumerate(EVENTS_OF_PLOVER, start=1):
            store.append(
                event,
                event_id=f"{number:032x}",
                car="PLOVER-1",
                time=time_of(number),
                author="Åse",
                device="bench tablet" if number % 2 else "",
                photo=PICTURE if isinstance(event, Photo) else None,
            )
        with (folder / "bench.jsonl").open("x", encoding="utf-8", newline="\n") as file:
            file.writelines(f"{line}\n" for line in export_lines(store))


if __name__ == "__main__":
    if (HERE / "bench.log").exists():
        sys.exit("bench.log is there already and is never made again")
    make(HERE)
