"""The commands that enter holes, parts, weights, looks and photos, as a builder meets them."""

from __future__ import annotations

import json
import math
import shlex
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from rollwright.bench.events import EVENTS
from rollwright.cli.app import _run
from rollwright.scenario.club import club_files

DEG = math.pi / 180.0
JPEG = b"\xff\xd8\xff\xe0" + b"a picture of a car" * 9


@dataclass(frozen=True)
class Result:
    code: int
    out: str
    err: str

    @property
    def said(self) -> str:
        return " ".join(self.out.split())

    @property
    def data(self) -> dict[str, Any]:
        found: dict[str, Any] = json.loads(self.out)
        return found


Run = Callable[..., Result]


@pytest.fixture
def run(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Run:
    """Run `rollwright log` with words as a shell would split them, where Lark is in the log already."""
    for name, text in club_files().items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    (tmp_path / "axle.jpg").write_bytes(JPEG)
    (tmp_path / "empty.jpg").write_bytes(b"")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "78")
    for name in ("ROLLWRIGHT_LOG", "ROLLWRIGHT_UNITS"):
        monkeypatch.delenv(name, raising=False)

    def run(words: str) -> Result:
        code = _run(["log", *shlex.split(words)])
        captured = capsys.readouterr()
        return Result(code, captured.out, captured.err)

    assert run("start lark.toml").code == 0
    return run


@pytest.mark.parametrize(
    ("words", "fields"),
    [
        (
            "drill lark front_left --cant '1 deg down' --sweep '0.9 forward' --height 9.4 --instrument jig",
            {
                "station": "front_left",
                "cant": -1.0 * DEG,
                "sweep": 0.9 * DEG,
                "hole_height": 9.4e-3,
                "instrument": "jig",
            },
        ),
        (
            "pin lark rear_left cant none --uncertainty 0.03 --distance '1 1/4 in'",
            {
                "station": "rear_left",
                "plane": "cant",
                "seen": "none",
                "uncertainty": 0.03e-3,
                "distance": 31.75e-3,
                "against": 2.5 * DEG,
            },
        ),
        (
            "pin lark rear_left sweep seen --note 'hard to see'",
            {"station": "rear_left", "plane": "sweep", "seen": "seen", "note": "hard to see"},
        ),
        (
            "pin lark rear_right sweep 0.15 mm backward --distance 40",
            {
                "station": "rear_right",
                "plane": "sweep",
                "seen": "feeler",
                "size": -0.15e-3,
                "distance": 40e-3,
                "written": "0.15 mm backward",
            },
        ),
        (
            "pin lark rear_right cant '0.4 deg up' --uncertainty '0.1 deg'",
            {
                "station": "rear_right",
                "plane": "cant",
                "seen": "angle",
                "size": 0.4 * DEG,
                "uncertainty": 0.1 * DEG,
                "written": "0.4 deg up",
            },
        ),
        (
            "fit lark wheel rear_left 'club 7' --diameter '32.08 ± 0.02 mm' --bore 2.51",
            {
                "part": "wheel",
                "name": "club 7",
                "station": "rear_left",
                "sizes": [
                    {"name": "diameter", "value": 32.08e-3, "uncertainty": 0.02e-3},
                    {"name": "bore", "value": 2.51e-3},
                ],
            },
        ),
        (
            "fit lark axle front_left --bend '2.6 deg' --bend-at 0",
            {
                "part": "axle",
                "name": "steering",
                "station": "front_left",
                "sizes": [{"name": "bend", "value": 2.6 * DEG}, {"name": "bend_at", "value": 0.0}],
            },
        ),
        (
            "fit lark washer front_left --thickness '10 thou'",
            {
                "part": "washer",
                "name": "washers",
                "station": "front_left",
                "sizes": [{"name": "thickness", "value": 0.254e-3}],
            },
        ),
        (
            "fit lark weight nose putty --mass '1 oz' --x 110 --y -4 --z '9 mm'",
            {
                "part": "weight",
                "name": "putty",
                "pocket": "nose",
                "sizes": [
                    {"name": "mass", "value": 28.349523125e-3},
                    {"name": "x", "value": 0.110},
                    {"name": "y", "value": -0.004},
                    {"name": "z", "value": 0.009},
                ],
            },
        ),
        (
            "fit lark shield front_right",
            {"part": "shield", "name": "shield", "station": "front_right"},
        ),
        (
            "leave-off lark weight slug --because 'it is heavy enough'",
            {"part": "weight", "name": "slug", "pocket": "slug", "reason": "it is heavy enough"},
        ),
        ("leave-off lark washer --because bare", {"part": "washer", "reason": "bare"}),
        (
            "weigh lark whole 4.98 oz --uncertainty '0.1 g' --instrument 'kitchen scale'",
            {
                "where": "whole",
                "mass": 4.98 * 28.349523125e-3,
                "uncertainty": 0.1e-3,
                "instrument": "kitchen scale",
                "written": "4.98 oz",
            },
        ),
        ("weigh lark rear-left 34", {"where": "rear_left", "mass": 34e-3, "written": "34"}),
        (
            "inspect lark length '7 in' --uncertainty 0.2",
            {"rule": "length", "value": 0.1778, "uncertainty": 0.2e-3, "written": "7 in"},
        ),
        (
            "inspect lark 'wheel diameter' 32.1 --station rear_left",
            {"rule": "wheel_diameter", "value": 32.1e-3, "station": "rear_left", "written": "32.1"},
        ),
        ("inspect lark weight_below -0.5", {"rule": "weight_below", "value": -0.5e-3, "written": "-0.5"}),
        (
            "inspect lark weight_behind 3 mm short",
            {"rule": "weight_behind", "value": -3e-3, "written": "3 mm short"},
        ),
        ("inspect lark weight_behind none", {"rule": "weight_behind", "found": "none"}),
        ("inspect lark bent_axles Straight", {"rule": "bent_axles", "found": "straight"}),
        ("inspect lark lubricant dry powder", {"rule": "lubricant", "found": "dry powder"}),
        (
            "roll lark tail_left --gap 'rear_left 1.1 mm' --gap 'rear_right 30 thou' --lane 2",
            {
                "seen": "tail_left",
                "clearances": [
                    {"station": "rear_left", "gap": 1.1e-3},
                    {"station": "rear_right", "gap": 0.762e-3},
                ],
                "lane": "2",
            },
        ),
        (
            "read lark drift --trace '300 8 right' --trace '600 mm 30 mm right' --trace '36 in 3 in right'",
            {
                "reading": "drift",
                "trace": [[0.3, -0.008], [0.6, -0.03], [0.9144, -0.0762]],
                "written": "300 8 right; 600 mm 30 mm right; 36 in 3 in right",
            },
        ),
    ],
)
def test_what_is_said_is_entered_in_si(run: Run, words: str, fields: dict[str, Any]) -> None:
    result = run(f"{words} --units in --by Ada --json")
    assert result.code == 0, result.err
    found = result.data
    assert (found["entry"], found["car"], found["author"]) == (2, "lark", "Ada")
    assert set(found["fields"]) == set(fields)
    _alike(found["fields"], fields)
    assert "gates" in found
    assert run("check").code == 0


def _alike(found: Any, wanted: Any) -> None:
    if isinstance(wanted, dict):
        assert set(found) == set(wanted)
        for key, each in wanted.items():
            _alike(found[key], each)
    elif isinstance(wanted, list):
        assert len(found) == len(wanted)
        for one, each in zip(found, wanted, strict=True):
            _alike(one, each)
    else:
        assert found == (pytest.approx(wanted, rel=1e-12) if isinstance(wanted, float) else wanted)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("drill lark nose", "write one of"),
        ("drill lark", "Missing argument"),
        ("drill lark all --cant '1 deg up'", "leave the aims out"),
        ("drill lark rear_left --cant '-1 deg up'", "sign"),
        ("drill lark rear_left --cant '1 deg forward'", "--cant"),
        ("drill lark rear_left --cant '31 deg up'", "--cant"),
        ("drill lark rear_left --height 9 deg", "unexpected extra argument"),
        ("drill lark rear_left --height '9 deg'", "--height"),
        ("drill lark rear_left --height '1 m'", "--height"),
        ("drill larc rear_left", "did you mean"),
        ("pin lark rear_left cant", "Missing argument"),
        ("pin lark rear_left camber none", "cant, sweep"),
        ("pin lark rear_left cant 0.15 mm", "which way"),
        ("pin lark rear_left cant 0.15 mm forward", "which way"),
        ("pin lark rear_left sweep 0.15 mm up", "0.15 mm forward"),
        ("pin lark rear_left cant 0.15 up", "a gap or an angle"),
        ("pin lark rear_left cant -0.15 mm up", "sign"),
        ("pin lark rear_left cant -0.15 mm", "which way"),
        ("pin lark rear_left cant 0 mm up", "write none"),
        ("pin lark rear_left cant 25 mm up", "20 mm"),
        ("pin lark rear_left cant 40 deg up", "30 deg"),
        ("pin lark rear_left cant 3 oz up", "a length"),
        ("pin lark rear_left cant some", "none, seen"),
        ("pin lark rear_left cant seen --uncertainty 0.1", "--uncertainty"),
        ("pin lark rear_left cant seen --distance 30", "--distance"),
        ("pin lark rear_left cant 0.4 deg up --uncertainty '0.1 mm'", "--uncertainty"),
        ("pin lark rear_left cant none --distance 0", "--distance"),
        ("pin lark rear_left cant 2 deg up --against 0", "--against"),
        ("fit lark rim rear_left", "wheel, axle, washer"),
        ("fit lark wheel", "say the wheel behind it"),
        ("fit lark wheel club rear_left", "WHERE"),
        ("fit lark wheel rear_left --shank 2.4", "--diameter"),
        ("fit lark wheel rear_left --diameter 0", "--diameter"),
        ("fit lark wheel rear_left --diameter -32", "--diameter"),
        ("fit lark wheel rear_left --diameter '32 in'", "--diameter"),
        ("fit lark wheel rear_left --diameter '32 ± 0'", "--diameter"),
        ("fit lark wheel rear_left --diameter '32 ± 1 ± 1'", "twice"),
        ("fit lark wheel rear_left --mass '2.7 mm'", "--mass"),
        ("fit lark axle front_left --bend '-2 deg'", "--bend"),
        ("fit lark axle front_left --bend '2 mm'", "--bend"),
        ("fit lark weight nose", "slug"),
        ("fit lark weight nose putty --x '2 m'", "--x"),
        ("fit lark shield", "the wheel or the pocket"),
        ("fit lark all rear_left", "leave out"),
        ("fit lark all --mass 3", "leave out"),
        ("fit lark", "Missing argument"),
        ("fit lark wheel rear_left club again", "unexpected extra argument"),
        ("leave-off lark weight slug", "--because"),
        ("leave-off lark weight nose --name slag --because x", "did you mean"),
        ("leave-off lark wheel nose --because x", "WHERE"),
        ("leave-off lark weight slug --because ''", "reason"),
        ("leave-off lark rim --because x", "PART"),
        ("weigh lark nose 40", "whole, front, rear"),
        ("weigh lark whole", "Missing argument"),
        ("weigh lark whole 4.98", 'if it is in ounces write "4.98 oz"'),
        ("weigh lark whole -140", "more than zero"),
        ("weigh lark whole 0", "more than zero"),
        ("weigh lark whole 140 mm", "MASS"),
        ("weigh lark whole 140 kg", "MASS"),
        ("weigh lark whole 140 --uncertainty fine", "--uncertainty"),
        ("weigh lark whole 140 --uncertainty '1 kg'", "--uncertainty"),
        ("inspect lark length 180 --uncertainty '1 m'", "--uncertainty"),
        ("inspect lark mass 140", "rollwright log weigh lark whole MASS"),
        ("inspect lark lenght 180", "RULE"),
        ("inspect lark length", "say its size"),
        ("inspect lark lubricant", "say what was seen"),
        ("inspect lark length 7", 'if it is in inches write "7 in"'),
        ("inspect lark length -180", "more than zero"),
        ("inspect lark length none", "length"),
        ("inspect lark length 180 --station rear_left", "--station"),
        ("inspect lark wheel_diameter 32", "--station"),
        ("inspect lark wheel_diameter 32 --station nose", "write one of"),
        ("inspect lark bent_axles crooked", "straight or bent"),
        ("inspect lark aerodynamic_parts yes", "none or fitted"),
        ("inspect lark bent_axles straight --uncertainty 1", "--uncertainty"),
        ("inspect lark length 180 --uncertainty ''", "--uncertainty"),
        ("inspect lark weight_behind '-3 mm short'", "sign"),
        ("inspect lark weight_behind '2 m'", "weight behind"),
        ("inspect lark --station rear_left", "rule"),
        ("photo lark gone.jpg", "no such file"),
        ("photo lark empty.jpg", "empty"),
        ("photo lark lark.toml", "JPEG"),
        ("photo lark .", "folder"),
        ("photo larc axle.jpg", "did you mean"),
        ("photos larc out", "did you mean"),
        ("class lark gone.toml", "no such file"),
        ("class lark lark.toml", "class file"),
        ("class lark", "Missing argument"),
        ("start heron.toml --class lark.toml", "class file"),
        ("start heron.toml --class gone.toml", "no such file"),
        ("roll lark holds --gap 0.4", "rear_left 0.4 mm"),
        ("roll lark holds --gap 'rear_left'", "rear_left 0.4 mm"),
        ("roll lark holds --gap 'rear_left -0.4 mm'", "negative"),
        ("roll lark holds --gap 'rear_left 4 deg'", "--gap"),
        ("roll lark holds --gap 'rear_left 1 ft'", "100 mm"),
        ("roll lark holds --gap 'rear_left 1' --gap 'rear_left 2'", "two gaps"),
        ("read lark drift", "--trace"),
        ("read lark height_difference", "VALUE"),
        ("read lark drift '90 mm right' --trace '300 8 right'", "--trace"),
        ("read lark rail_offset --trace '300 8 right'", "--trace"),
        ("read lark drift --trace '300 8 right' --trace '600 20 right'", "at least three"),
        ("read lark drift --trace '300 8' --trace '600 20 right' --trace '900 40 right'", "which side"),
        ("read lark drift --trace 300 --trace '600 20 right' --trace '900 40 right'", "600 mm 12.5 mm right"),
        ("read lark drift --trace '300 8 up' --trace '600 9 right' --trace '900 9 right'", "'300 8 up'"),
    ],
)
def test_wrong_words_are_answered_in_one_line_and_leave_no_entry(run: Run, words: str, said: str) -> None:
    result = run(words)
    assert result.code == 2, result.out
    assert result.out == ""
    assert said in result.err
    assert result.err.count("\n") == 1
    assert len(run("show --json").data["entries"]) == 1
    assert run("check").code == 0


def test_a_drilled_hole_is_told_with_care_for_the_hands(run: Run) -> None:
    result = run("drill lark rear_left --cant '2.5 deg up'")
    assert "Entry 2: hole drilled at rear left, aimed at cant 2.50° outer end up." in result.said
    for care in ("eye protection", "clamp the body", "no gloves", "an adult", "manual"):
        assert care in result.said
    assert "rollwright log undo lark 2 --because" in result.said


def test_all_holes_and_all_parts_are_entered_at_once_and_parts_only_once(run: Run) -> None:
    drilled = run("drill lark all --json").data
    assert [each["fields"] for each in drilled["entries"]] == [
        {"station": station} for station in ("rear_left", "rear_right", "front_left", "front_right")
    ]
    assert "gates" in drilled
    fitted = run("fit lark all")
    assert "Entry 6: wheel club fitted at rear left." in fitted.said
    assert "Entry 14: weight slug fitted." in fitted.said
    assert "undone by its own number" in fitted.said
    again = run("fit lark all")
    assert (again.code, "Nothing to enter" in again.said) == (0, True)
    assert run("fit lark all --json").data["entries"] == []
    assert len(run("show --json").data["entries"]) == 14


def test_a_car_starts_with_its_class_in_one_command(run: Run) -> None:
    result = run("start heron.toml --class class-plain.toml")
    assert "Entry 2: Heron is in the log as heron." in result.said
    assert "Entry 3: class chosen: Tannery Lane plain-body class." in result.said
    assert run("show heron --json").data["entries"][0]["fields"]["class_name"] == (
        "Tannery Lane plain-body class"
    )
    assert run("start bittern.toml --class class-open.toml --json").data["class_entry"] == 5


def test_a_photo_goes_in_and_comes_out(run: Run, tmp_path: Path) -> None:
    assert run("photos lark pictures").said == "No photo of lark is in the log."
    result = run("photo lark axle.jpg --caption 'the bent axle'")
    assert result.said == "Entry 2: photo (JPEG): the bent axle."
    out = run("photos lark pictures")
    assert "Wrote 1 photo to pictures. lark-2.jpg" in out.said
    assert (tmp_path / "pictures" / "lark-2.jpg").read_bytes() == JPEG
    again = run("photos lark pictures --json").data
    assert again == {"car": "lark", "folder": "pictures", "written": [], "kept": ["lark-2.jpg"]}
    (tmp_path / "pictures" / "lark-2.jpg").write_bytes(b"mine")
    refused = run("photos lark pictures")
    assert refused.code == 2
    assert "stays as it is" in refused.err
    assert (tmp_path / "pictures" / "lark-2.jpg").read_bytes() == b"mine"


EVERYTHING = (
    "class lark class-plain.toml",
    "drill lark rear_left --cant '2.5 deg up' --sweep '0.2 deg backward' --height 9 --instrument 'the jig'",
    "drill lark front_right",
    "pin lark rear_left cant 2.5 deg up --uncertainty '0.2 deg'",
    "pin lark rear_left sweep 0.15 mm backward --distance 30 --instrument feelers --note 'by lamplight'",
    "pin lark rear_right sweep none",
    "pin lark rear_right cant seen",
    "fit lark all",
    "fit lark wheel rear_left 'club 7' --diameter '32.08 ± 0.02 mm' --mass 2.7 --inertia 350",
    "fit lark weight nose putty --mass '4 g' --x 110 --y -4 --z 9",
    "leave-off lark washer front_left --because 'it is centred without'",
    "leave-off lark shield --because 'none is allowed'",
    "weigh lark whole 141.2 g --uncertainty 0.1 --instrument 'kitchen scale'",
    "weigh lark rear_left 17",
    "inspect lark ground_clearance 9.5 --uncertainty 0.05",
    "inspect lark wheel_diameter 32.1 --station rear_left",
    "inspect lark weight_below 0.4 short",
    "inspect lark bent_axles bent",
    "inspect lark lubricant dry powder",
    "read lark drift --trace '300 8 right' --trace '600 30 right' --trace '900 68 right'",
    "read lark block_offset 0.7 --thickness 12 --width 46 --seat head --set-up tuesday --common 0.05",
    "read lark tip_sweep 2.7",
    "did lark sand front_left '0.3 mm' --measured --uncertainty 0.02",
    "roll lark holds --gap 'rear_left 1.6 mm' --gap 'rear_right 1.5 mm' --lane 'lane 2' --note steady",
    "photo lark axle.jpg --caption 'ready to race'",
    "undo lark --because 'wrong picture'",
    "note lark 'a good evening'",
    "retire lark --because 'it won'",
)


IN_MILLIMETRES = """\
class chosen: Tannery Lane plain-body class
aimed at height 9.00 mm, cant 2.50° outer end up and sweep 0.20° outer end backward, with the jig
hole drilled at front right, aimed as the car file says
pin at rear left, cant: 2.50° ± 0.20°, outer end up
pin at rear left, sweep: 0.15 mm, outer end backward, 30.0 mm from the side face,
against an edge at −0.20°, with feelers (by lamplight)
pin at rear right, sweep: no daylight
pin at rear right, cant: daylight that was not measured
axle steering fitted at front left
wheel club 7 fitted at rear left, diameter 32.080 ± 0.020 mm, mass 2.7 g and inertia 350 g·mm²
weight putty fitted in pocket nose, mass 4.0 g, 110.0 mm forward of the rear hole line, 4.00 mm right of the
centre line and 9.00 mm above the underside
washer at front left left off: it is centred without
every shield left off: none is allowed
whole car on the scale: 141.20 ± 0.10 g, with kitchen scale
rear left wheel on the scale: 17.0 g
inspected: ground clearance 9.50 ± 0.05 mm
inspected: wheel diameter at rear left 32.1 mm
inspected: weight below 0.40 mm short of the underside
inspected: bent axles: bent
inspected: lubricant: dry powder
drift trace of 3 points: 8.0 mm right at 300.0 mm, 30.0 mm right at 600.0 mm, 68.0 mm right at 900.0 mm
block offset 0.70 mm off the rail on a block of 12.0 mm of width 46.0 mm with the wheel at the head, set-up
tuesday, shared ± 0.05 mm
sanding at front left, 0.30 mm, measured ± 0.02 mm
slow roll on lane 2: it held the rail; gaps felt: 1.60 mm at rear left and 1.50 mm at rear right (steady)
photo (JPEG): ready to race
"""
# One inch is 25.4 mm, one ounce 28.349523125 g; an inertia is told in the same unit everywhere.
IN_INCHES = """\
sweep: 5.9 thou, outer end backward, 1.181 in from the side face
diameter 1.2630 ± 0.0008 in, mass 0.095 oz and inertia 350 g·mm²
4.331 in forward of the rear hole line, 0.157 in right of the centre line
whole car on the scale: 4.981 ± 0.004 oz
0.315 in right at 11.811 in
gaps felt: 63 thou at rear left
"""


@pytest.mark.parametrize(("units", "words"), [("mm", IN_MILLIMETRES), ("in", IN_INCHES)])
@pytest.mark.parametrize("columns", [40, 80])
def test_every_kind_of_entry_is_said_in_full(
    run: Run, units: str, words: str, columns: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    for entered in EVERYTHING:
        result = run(entered)
        assert result.code == 0, (entered, result.err)
    monkeypatch.setenv("COLUMNS", str(columns))
    result = run(f"show lark --units {units}")
    assert max(map(len, result.out.splitlines())) <= columns
    for part in (
        words.replace("\ncentre line", " centre line")
        .replace("\ntuesday", " tuesday")
        .replace("\nagainst", " against")
        .splitlines()
    ):
        assert part in result.said
    kinds = {each["event"] for each in run("show --json").data["entries"]}
    assert set(EVENTS) - kinds == {"bend", "turn", "washer", "shim"}


@pytest.mark.parametrize("units", ["mm", "in"])
def test_forty_columns_will_do_for_every_answer(
    run: Run, units: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "40")
    for entered in EVERYTHING[:-4]:
        result = run(f"{entered} --units {units}")
        assert result.code == 0, (entered, result.err)
        assert max(map(len, result.out.splitlines())) <= 40, entered
