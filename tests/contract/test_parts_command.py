"""`rollwright parts` at the bench: answers, one-line errors, forty columns, keys, files and the picture."""

from __future__ import annotations

import json
import re
import xml.etree.ElementTree as ET
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from rollwright.cli.app import _run
from rollwright.scenario.club import file_text
from rollwright.scenario.parts_box import BOX
from tests.contract.test_docs import _listed

ON_THE_TRACK = ("--car", "lark.toml", "--track", "track-tannery.toml")
FILES = (BOX, "lark.toml", "heron.toml", "bittern.toml", "track-tannery.toml", "class-open.toml")
STATIONS = ("rear_left", "rear_right", "front_left", "front_right")


@dataclass(frozen=True)
class Result:
    code: int
    out: str
    err: str

    @property
    def words(self) -> str:
        """What was printed, with its line breaks taken out."""
        return re.sub(r"\s+", " ", self.out)

    @property
    def data(self) -> dict[str, Any]:
        found: dict[str, Any] = json.loads(self.out)
        return found


Ask = Callable[..., Result]


@pytest.fixture
def ask(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Ask:
    for name in FILES:
        (tmp_path / name).write_text(file_text(name), encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "78")
    monkeypatch.delenv("ROLLWRIGHT_UNITS", raising=False)

    def ask(*options: str, box: str = BOX) -> Result:
        code = _run(["parts", box, *options])
        captured = capsys.readouterr()
        return Result(code, captured.out, captured.err)

    return ask


def test_a_box_is_graded_with_what_to_measure(ask: Ask) -> None:
    found = ask()
    assert (found.code, found.err) == (0, "")
    assert found.words.startswith("Tannery Lane parts box: 13 of 14 wheels and 9 of 10 axles are fit to race")
    for said in (
        "w09: run-out",
        "a5: straightness",
        "never spun down with dry powder",
        "Spin it down again",
        "Pairs alike within 0.05 mm",
        "In stock: 16 washers thin, 0.10 mm",
        "no source",
    ):
        assert said in found.words, said


def test_a_set_says_its_worth_first_and_then_where_each_goes(ask: Ask) -> None:
    found = ask(*ON_THE_TRACK)
    data = ask(*ON_THE_TRACK, "--json").data
    assert found.code == 0
    assert re.match(r"Lark: this set is worth \d+\.\d ± \d\.\d ms against the average set\.", found.words)
    for station, parts in data["set"].items():
        assert f"{station.replace('_', ' ')} {parts['wheel']} {parts['axle']}" in found.words
    assert f"{1e3 * data['worth_s']:.1f} ± {1e3 * data['uncertainty_s']:.1f} ms" in found.words
    for said in (
        "The best with",
        "Level:",
        "read level, steer and centre again",
        "Left out for a failed check",
    ):
        assert said in found.words, said


def test_parts_that_cannot_be_told_apart_are_said_to_be(ask: Ask, tmp_path: Path) -> None:
    blurred = re.sub(r"(friction = .*uncertainty = )0\.006", r"\g<1>0.3", file_text(BOX))
    (tmp_path / "blurred.toml").write_text(blurred, encoding="utf-8")
    found = ask(*ON_THE_TRACK, box="blurred.toml")
    assert "these parts cannot be told apart" in found.words
    assert not ask(*ON_THE_TRACK, "--json", box="blurred.toml").data["told_apart"]


@pytest.mark.parametrize("options", [(), ON_THE_TRACK, (*ON_THE_TRACK, "--units", "in")])
def test_forty_columns_do(ask: Ask, monkeypatch: pytest.MonkeyPatch, options: tuple[str, ...]) -> None:
    monkeypatch.setenv("COLUMNS", "40")
    found = ask(*options)
    assert max(len(line) for line in found.out.splitlines()) <= 40


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--car", "lark.toml"), "give both --car and --track"),
        (("--track", "track-tannery.toml"), "give both --car and --track"),
        (("--save-as", "x.toml"), "--save-as goes with a set"),
        (("--plot", "x.svg"), "--plot goes with a set"),
        (("--lane", "left"), "--lane goes with a set"),
        (("--class", "class-open.toml"), "--class goes with a set"),
        (("--lubricant", "soap"), "no wheel was spun down with 'soap'"),
        ((*ON_THE_TRACK, "--lane", "far"), "there is no lane 'far'"),
        ((*ON_THE_TRACK, "--plot", "x.pdf"), "written as .svg or .png"),
        (("--car", BOX, "--track", "track-tannery.toml"), BOX),
        ((*ON_THE_TRACK, "--save-as", "lark.toml"), "there already"),
    ],
)
def test_what_cannot_be_asked_gets_one_line(ask: Ask, options: tuple[str, ...], said: str) -> None:
    found = ask(*options)
    assert (found.code, found.out) == (2, "")
    assert said in found.err
    assert found.err.count("\n") == 1


def test_another_file_is_no_parts_file(ask: Ask) -> None:
    found = ask(box="lark.toml")
    assert found.code == 2
    assert "lark.toml: this is a car file, not a parts file" in found.err
    assert "there is no such file" in ask(box="gone.toml").err


def test_the_new_car_is_one_that_other_commands_read(ask: Ask, tmp_path: Path) -> None:
    found = ask(*ON_THE_TRACK, "--save-as", "new.toml")
    assert "Written to new.toml." in found.words
    text = (tmp_path / "new.toml").read_text(encoding="utf-8")
    assert "# drilled high: this wheel is raised" in text
    data = ask(*ON_THE_TRACK, "--json").data
    assert _run(["stance", "new.toml"]) == 0
    for station in STATIONS:
        part = data["set"][station]
        assert f'wheel = "{part["wheel"]}"' in text
        assert f"[wheels.{part['wheel']}]" in text
        assert f"[axles.{part['axle']}]" in text


def test_the_picture_says_what_colour_says(ask: Ask, tmp_path: Path) -> None:
    data = ask(*ON_THE_TRACK, "--json").data
    assert ask(*ON_THE_TRACK, "--plot", "cost.svg").code == 0
    drawn = ET.fromstring((tmp_path / "cost.svg").read_text(encoding="utf-8"))  # noqa: S314 - our own file
    words = [text for text in ("".join(each.itertext()) for each in drawn.iter()) if text]
    for station in STATIONS:
        assert station.replace("_", " ") in words
        assert data["set"][station]["wheel"] in words
    names = "{http://www.w3.org/2000/svg}"
    marks = [each for each in drawn.iter(f"{names}circle") if each.get("class") == "now"]
    assert len(marks) == len(STATIONS)
    dots = {
        each.get("y"): "".join(each.itertext())
        for each in drawn.iter(f"{names}text")
        if each.get("class") in {"end", "end chosen"}
    }
    assert set(dots.values()) == {wheel["name"] for wheel in data["wheels"] if wheel["cost_s"] is not None}
    assert ask(*ON_THE_TRACK, "--plot", "cost.svg").code == 2
    assert ask(*ON_THE_TRACK, "--plot", "cost.svg", "--force").code == 0
    assert ask(*ON_THE_TRACK, "--plot", "cost.png").code == 0
    assert (tmp_path / "cost.png").read_bytes().startswith(b"\x89PNG")


def _keys(found: object, path: str = "") -> Iterator[str]:
    """Return the dotted keys of JSON, `<station>` for stations and `[]` for each of a list."""
    if isinstance(found, Mapping) and found:
        for key, value in found.items():
            shown = "<station>" if key in STATIONS else str(key)
            yield from _keys(value, f"{path}.{shown}" if path else shown)
    elif isinstance(found, list) and any(isinstance(part, Mapping) for part in found):
        for part in found:
            yield from _keys(part, f"{path}[]")
    else:
        yield path


def test_every_key_of_the_json_is_listed(ask: Ask) -> None:
    answers = [
        ask("--json").data,
        *(
            ask("--car", f"{car}.toml", "--track", "track-tannery.toml", "--json").data
            for car in ("lark", "heron", "bittern")
        ),
    ]
    keys = {key for answer in answers for key in _keys(answer)}
    keys = {key for key in keys if not any(other.startswith((f"{key}[]", f"{key}.")) for other in keys)}
    listed = _listed("parts")
    assert len(set(listed)) == len(listed)
    assert set(listed) == keys


def test_the_same_box_gives_the_same_answer(ask: Ask) -> None:
    assert ask(*ON_THE_TRACK, "--json").out == ask(*ON_THE_TRACK, "--json").out
