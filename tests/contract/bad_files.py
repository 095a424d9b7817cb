"""Wrong car and readings files, each with what the one line about it must say."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from pathlib import Path
from typing import Literal

__all__ = ["BAD_FILES", "GOOD_CAR", "BadFile", "Special"]

F = "format = 1\n"

GOOD_CAR = (
    F
    + """name = "Wren"
[axles.standard]
[axles.front_left]
bend = 2.4
[stations.rear_left]
hole_height = 10
[stations.rear_right]
hole_height = 10
[stations.front_left]
hole_height = 9.5
[stations.front_right]
hole_height = 12
"""
)


class Special(Enum):
    """What stands at the file's place when it is no file."""

    MISSING = "missing"
    FOLDER = "folder"


@dataclass(frozen=True, slots=True, kw_only=True)
class BadFile:
    """One wrong file.

    Attributes:
        name: what is wrong with it.
        kind: which of the two files is the wrong one; the other is in order.
        content: what the wrong file holds.
        expected: parts that the one line must have.
        car: the car file that a wrong readings file goes with.
    """

    name: str
    kind: Literal["car", "readings"]
    content: str | bytes | Special
    expected: tuple[str, ...]
    car: str = GOOD_CAR

    @property
    def file(self) -> str:
        """Name of the wrong file, which its line must begin with."""
        return f"{self.kind}.toml"

    def write(self, folder: Path) -> tuple[Path, Path | None]:
        """Write the files into an empty folder.

        Args:
            folder: where.

        Returns:
            The car file and, for a wrong readings file, that one; names only, to be used from the folder.
        """
        wrong = folder / self.file
        if self.content is Special.FOLDER:
            wrong.mkdir()
        elif not isinstance(self.content, Special):
            raw = self.content.encode() if isinstance(self.content, str) else self.content
            wrong.write_bytes(raw)
        if self.kind == "car":
            return Path(self.file), None
        (folder / "car.toml").write_text(self.car, encoding="utf-8")
        return Path("car.toml"), Path(self.file)


def _car(name: str, content: str | bytes | Special, *expected: str) -> BadFile:
    return BadFile(name=name, kind="car", content=content, expected=expected)


def _readings(name: str, content: str | bytes | Special, *expected: str, car: str = GOOD_CAR) -> BadFile:
    return BadFile(name=name, kind="readings", content=content, expected=expected, car=car)


def _reading(name: str, lines: str, *expected: str, car: str = GOOD_CAR) -> BadFile:
    return _readings(name, f"{F}[[reading]]\n{lines}\n", *expected, car=car)


_FILES = (
    _car("missing", Special.MISSING, "no such file", "rollwright new"),
    _car("folder", Special.FOLDER, "folder", "name the car file in it"),
    _car("binary", b"\x7fELF\x02\x01\x00\x00\xff\xfe", "line 1", "not plain text", "UTF-8"),
    _car("NUL in a value", b'format = 1\nname = "a\x00b"\n', "line 2", "not plain text"),
    _car("not UTF-8", 'format = 1\nname = "Müller"\n'.encode("latin-1"), "line 2", "save the file as UTF-8"),
    _car("UTF-16", "format = 1\n".encode("utf-16"), "UTF-16", "save the file as UTF-8"),
    _car("UTF-16 without its mark", "format = 1\n".encode("utf-16-le"), "line 1", "not plain text"),
    _car("empty", "", "format", "write format = 1"),
    _car("ten megabytes", b"# remark\n" * 1_200_000, "more than 1 MB", "check the name"),
    _car("no format", "[body]\nwidth = 48\n", "format", "not said", "write format = 1"),
    _car("newer format", "format = 2\n", "format 2", "update rollwright"),
    _car("format in quotes", 'format = "1"\n', "'1'", "write format = 1"),
    _car("format with hundreds of digits", "format = 0x" + "f" * 5000, "format", "digits"),
    _car("format with thousands of digits", "format = " + "9" * 5000, "digits"),
)

_SYNTAX = (
    _car("inches without quotes", F + "[body]\nwidth = 1 3/4 in\n", "line 3", "quotes", '"1 3/4 in"'),
    _car("word without quotes", F + "name = Wren\n", "line 2", "quotes"),
    _car("no equals sign", F + "[body]\nwidth 48\n", "line 3", "=", "write it as key = value"),
    _car("heading not closed", F + "[body\nwidth = 48\n", "line 2", "heading", "[body]"),
    _car("text not closed", F + 'name = "Wren\n', "line 2", "not closed", "closing quotes"),
    _car("list not closed", F + "[body]\ncentre_of_mass = [48, 0, 11\n", "line 3", "not closed"),
    _car("deeply nested brackets", F + "a = " + "[" * 50_000, "nested too deeply"),
    _car("deeply nested tables", F + "body." + "a." * 60 + "b = 1\n", "nested too deeply"),
    _car("duplicate key", F + "[body]\nwidth = 48\nwidth = 47\n", "line 4", "twice", "keep one"),
    _car("duplicate key, then more", F + "[body]\nwidth = 48\nwidth = 47\nmass = 3\n", "line 4", "twice"),
    _car("duplicate table", F + "[rail]\n[body]\n[rail]\nwidth = 46\n", "line 4", "twice", "one heading"),
    _car("line separator in a name", F + '"wi\\u2028dth" = 48\n', "\\u2028", "short name"),
    _car("endless name", F + "a" * 5000 + " = 48\n", "aaa", "short name"),
    _car("control character in a heading", F + '[wheels."a\\u001bb"]\n', "wheels", "short name"),
)

_KEYS = (
    _car("unknown key, near miss", F + "[body]\nwidht = 48\n", "body.widht", 'did you mean "width"'),
    _car("unknown key, nothing near", F + "[body]\ncolour = 3\n", "body.colour", "known here", "wheelbase"),
    _car("unknown heading", F + "[axels.a]\n", "axels", 'did you mean "axles"'),
    _car("unknown station", F + "[stations.left_rear]\ncant = 1\n", "stations.left_rear", "rear_left"),
    _car("value in place of a table", F + "body = 48\n", "body", "48", "write [body]"),
    _car("wheels without a name", F + "[wheels]\ndiameter = 32\n", "wheels.diameter", "[wheels.standard]"),
    _car("list of weights", F + "[[weights]]\nmass = 5\n", "weights", "[weights.nose]"),
    _car("text where a list is wanted", F + '[body]\ncentre_of_mass = "48"\n', "centre_of_mass", "[forward"),
    _car(
        "two coordinates", F + "[body]\ncentre_of_mass = [48, 0]\n", "centre_of_mass", "[forward, left, up]"
    ),
    _car("yes where a number is wanted", F + "[body]\nwidth = true\n", "body.width", "True", "44 mm"),
    _car("date where a number is wanted", F + "[body]\nwidth = 2020-01-01\n", "body.width", "2020-01-01"),
    _car("flag in words", F + '[setup]\nbent_axles = "yes"\n', "setup.bent_axles", "'yes'", "true or false"),
    _car("name that is a number", F + "name = 7\n", "name", "7", "quotes"),
    _car("empty name", F + 'name = " "\n', "name", "short name"),
    _car("no weight in a weight", F + "[weights.nose]\nposition = [9, 0, 8]\n", "weights.nose.mass", "grams"),
    _car("no place for a weight", F + "[weights.nose]\nmass = 9\n", "weights.nose.position", "[forward"),
    _car("missing wheel", F + '[stations.rear_left]\nwheel = "fast"\n', "rear_left.wheel", "[wheels.fast]"),
    _car("which of two axles", F + "[axles.a]\n[axles.b]\n", "stations.rear_left.axle", 'axle = "a"'),
    _car("readings in place of a car", F + "[[reading]]\n", "this is a readings file", "first"),
    _car(
        "wheel that is no name", F + "[stations.rear_left]\nwheel = [1]\n", "rear_left.wheel", "[1]", "quotes"
    ),
    _car("dominant rear wheel", F + '[setup]\ndominant = "rear_left"\n', "setup.dominant", "front_left"),
    _car("unknown seat", F + '[stations.rear_left]\nseat = "hub"\n', "rear_left.seat", "'hub'", "body"),
)

_NUMBERS = (
    _car("unit of another kind", F + '[body]\nwidth = "48 g"\n', "body.width", "mass", "mm"),
    _car("unknown unit", F + '[body]\nwidth = "48 mn"\n', "body.width", "'mn'", "did you mean"),
    _car("thousands comma", F + '[board]\nlength = "1,200"\n', "board.length", "comma", "1200"),
    _car("no unit on a fraction", F + '[body]\nwidth = "1 3/4"\n', "body.width", '"1 3/4 in"'),
    _car("point first, no unit", F + '[stations.rear_left]\nrelief = ".5"\n', "relief", ".5 in", "0.5 mm"),
    _car("side where none is", F + '[body]\nwidth = "48 mm left"\n', "body.width", "without left or right"),
    _car("not a number", F + "[body]\nwidth = nan\n", "body.width", "nan", "finite"),
    _car("infinity", F + "[body]\nwidth = inf\n", "body.width", "inf", "finite"),
    _car("too large a number", F + "[body]\nwidth = 1e999\n", "body.width", "finite"),
    _car("inches for millimetres", F + "[body]\nwheelbase = 4.5\n", "body.wheelbase", '"4.5 in"'),
    _car("slipped digit", F + "[body]\nwidth = 4800\n", "body.width", "8.00 mm to 500", "check the digits"),
    _car("negative mass", F + "[wheels.a]\nmass = -2\n", "wheels.a.mass", "outside"),
    _car("negative uncertainty", F + "[body]\nwidth = { value = 48, uncertainty = -1 }\n", "negative"),
    _car("endless uncertainty", F + "[body]\nwidth = { value = 48, uncertainty = 1e9 }\n", "wider"),
    _car("bad source", F + '[body]\nwidth = { value = 48, from = "guess" }\n', "body.width.from", "assumed"),
    _car("source that is a list", F + "[body]\nwidth = { value = 48, from = [1] }\n", "from", "measured"),
    _car("no value", F + "[body]\nwidth = { uncertainty = 0.1 }\n", "body.width", "value is missing"),
    _car(
        "unknown part of a value", F + "[body]\nwidth = { value = 48, error = 1 }\n", "width.error", "known"
    ),
    _car("tolerance of nothing", F + "[targets]\ndrift = { tolerance = 0 }\n", "drift.tolerance", "zero"),
    _car("endless tolerance", F + "[targets]\ndrift = { tolerance = 1e300 }\n", "targets.drift", "unit"),
    _car("target too far", F + "[targets]\ndrift = 70000\n", "targets.drift", "check the unit"),
    _car("bore under shank", F + "[wheels.a]\nbore = 2.0\n", "wheels.a.bore", "2.00 mm", "shank"),
    _car("relief too deep", F + "[stations.rear_left]\nrelief = 30\n", "rear_left.relief", "24.0 mm"),
    _car("wheelbase beyond the body", F + "[body]\nwheelbase = 200\n", "body.wheelbase", "186"),
    _car(
        "bent axle where none may be",
        F + "[setup]\nbent_axles = false\n[axles.a]\nbend = 2\n",
        "axles.a.bend",
        "bent_axles",
    ),
    _car("car that tips over", F + "[body]\ncentre_of_mass = [300, 0, 11]\n", "centre_of_mass", "tips over"),
    _car(
        "car that weighs nothing",
        F + "[body]\nmass = 0\n[wheels.a]\nmass = 0\n[axles.a]\nmass = 0\n",
        "body.mass",
        "weighs nothing",
    ),
)

_DRIFT = 'kind = "drift"\n'
_UNREADABLE = (
    _car(
        "dominant wheel above the rail",
        # The dominant front wheel is the one in the air, far above so low a rail.
        GOOD_CAR.replace("hole_height = 9.5", "hole_height = 20") + "[rail]\nheight = 0.5\n",
        "rail.height",
        "stands above the rail",
        "hole heights",
    ),
    _car(
        "car that turns on the spot",
        GOOD_CAR.replace("[stations.front_left]\n", "[stations.front_left]\nsweep = 20\n"),
        "stations.front_left",
        "turns too sharply",
        "sweep",
    ),
)

_READINGS = (
    _readings("readings missing", Special.MISSING, "no such file", "check the name"),
    _readings("readings a folder", Special.FOLDER, "folder", "readings file"),
    _readings("readings empty", "", "write format = 1"),
    _readings("car file in place of readings", GOOD_CAR, "this is a car file", "first"),
    _readings("single brackets", F + '[reading]\nkind = "drift"\n', "reading", "[[reading]]"),
    _readings("reading without a table", F + "reading = [1, 2]\n", "reading", "[[reading]]"),
    _readings("car that is no name", F + "car = 5\n", "car", "quotes"),
    _reading("no kind", "value = 3", "reading 1", "kind", "height_difference"),
    _reading("unknown kind", 'kind = "drfit"\nvalue = 3', "reading 1", "'drfit'", 'did you mean "drift"'),
    _reading("kind that is a list", "kind = [1]\nvalue = 3", "reading 1", "[1]"),
    _reading("no value at all", _DRIFT, "reading 1 (drift)", "no value", "trace"),
    _reading("two values", _DRIFT + "value = 3\nvalues = [3, 4]", "reading 1 (drift)", "exactly one"),
    _reading("no repeats", _DRIFT + "values = []", "(drift).values", "[1.2, 1.3, 1.2]"),
    _reading("repeat that is no number", _DRIFT + "values = [3, nan]", "values[1]", "finite"),
    _reading("side twice", _DRIFT + 'value = "3 mm left right"', "(drift).value", "twice"),
    _reading("sign and side", _DRIFT + 'value = "-3 mm right"', "(drift).value", "sign"),
    _reading("trace of two points", _DRIFT + "trace = [[0, 0], [500, 3]]", "(drift).trace", "three"),
    _reading("trace that is no list", _DRIFT + "trace = 4", "(drift).trace", "[[down the board"),
    _reading(
        "trace before the start",
        _DRIFT + "trace = [[-5, 0], [500, 3], [900, 4]]",
        "trace",
        "before the start",
    ),
    _reading("trace with a distance", _DRIFT + "trace = [[0, 0], [5, 3], [9, 4]]\ndistance = 9", "distance"),
    _reading("drift beyond its run", _DRIFT + "value = 950\ndistance = 900", "(drift).value", "distance"),
    _reading("endless drift", _DRIFT + "value = 1e300", "(drift).value", "20 m", "unit"),
    _reading("zero uncertainty", _DRIFT + "value = 3\nuncertainty = 0", "uncertainty", "more than zero"),
    _reading("tiny uncertainty", _DRIFT + "value = 3\nuncertainty = 1e-300", "uncertainty", "unit"),
    _reading("common without a set-up", _DRIFT + "value = 3\ncommon = 1", "common", "set_up"),
    _reading("set-up that is a list", _DRIFT + "value = 3\nset_up = [1]", "set_up", "[1]", "quotes"),
    _reading("note that is a number", _DRIFT + "value = 3\nnote = 4", "note", "quotes"),
    _reading("key of another kind", _DRIFT + "value = 3\nthickness = 9", "(drift).thickness", "known here"),
    _reading("clearance without a station", 'kind = "rail_clearance"\nvalue = 1', "station", "rear_left"),
    _reading(
        "clearance at no station",
        'kind = "rail_clearance"\nvalue = 1\nstation = "rear"',
        "station",
        "'rear'",
        "rear_left",
    ),
    _reading("size of what", 'kind = "size"\nvalue = 48', "dimension", "body.width"),
    _reading(
        "size of nothing known",
        'kind = "size"\nvalue = 48\ndimension = "body.widht"',
        "dimension",
        'did you mean "body.width"',
    ),
    _reading(
        "size in inches",
        'kind = "size"\nvalue = 4.5\ndimension = "body.wheelbase"',
        "(size).value",
        '"4.5 in"',
    ),
    _reading(
        "way that is a list",
        'kind = "daylight"\nvalue = 0.1\nstation = "rear_left"\nplane = [1]',
        "plane",
        "[1]",
        "cant or sweep",
    ),
    _reading(
        "steep straight-edge",
        'kind = "daylight"\nvalue = 0.1\nstation = "rear_left"\nagainst = 80',
        "against",
        "45 deg",
    ),
    _reading("negative sweep", 'kind = "tip_sweep"\nvalue = -1', "(tip sweep).value", "never negative"),
    _reading("height of a hand", 'kind = "height_difference"\nvalue = 150', "value", "100", "unit"),
    _reading("unknown seat of the hand", 'kind = "block_offset"\nvalue = 0\nseat = "rim"', "seat", "'rim'"),
    _readings("unknown move of the hand", F + "[hand]\nbned = 1\n", "hand.bned", 'did you mean "bend"'),
    _readings("hand that never errs", F + "[hand]\nbend = 0\n", "hand.bend", "more than zero"),
    _readings("hand that errs without end", F + "[hand]\nbend = 1e300\n", "hand.bend", "no spread"),
    _readings(
        "ten thousand readings",
        F + '[[reading]]\nkind = "rail_offset"\nvalue = 0.1\n' * 10_000,
        "reading",
        "10000 readings are more than 500",
    ),
    _reading(
        "trace of ten thousand points",
        f'kind = "drift"\ntrace = [{", ".join(f"[{number}, 1]" for number in range(10_000))}]',
        "trace",
        "10000 points are more than 500",
    ),
    _reading(
        "reading impossible on this car",
        'kind = "rail_clearance"\nvalue = 0.1\nstation = "front_right"',
        "reading 1 (rail clearance)",
        "cannot show this reading",
        "car file",
        # The raised wheel hangs above so low a rail.
        car=GOOD_CAR + "[rail]\nheight = 0.5\n",
    ),
)

BAD_FILES = (*_FILES, *_SYNTAX, *_KEYS, *_NUMBERS, *_UNREADABLE, *_READINGS)
"""Every wrong file."""
