"""The drawings of the frame-and-sign page are those that the geometry makes today."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

ROOT = Path(__file__).parents[2]
PAGE = ROOT / "docs" / "frame-and-signs.md"
COMMITTED = sorted((ROOT / "docs" / "drawings").glob("*.svg"))
NAMES = {
    "axes",
    "cant",
    "sweep",
    "bend",
    "clock",
    "camber",
    "steer",
    "height",
    "roll",
    "drift",
    "rail",
    "seat",
    "trim",
}
SVG = "{http://www.w3.org/2000/svg}"
POSITIVE = "#b3390f"


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("drawings")
    subprocess.run([sys.executable, "-m", "docs.draw_signs", str(folder)], cwd=ROOT, check=True)
    return folder


def test_every_drawing_is_there_and_on_the_page() -> None:
    shown = re.findall(r"\]\(drawings/(\w+)\.svg\)", PAGE.read_text(encoding="utf-8"))
    assert {path.stem for path in COMMITTED} >= NAMES
    assert sorted(shown) == sorted(NAMES)


@pytest.mark.parametrize("name", sorted(NAMES))
def test_a_drawing_is_the_one_that_the_geometry_makes(name: str, made: Path) -> None:
    kept = (ROOT / "docs" / "drawings" / f"{name}.svg").read_text(encoding="utf-8")
    assert kept == (made / f"{name}.svg").read_text(encoding="utf-8"), "run: python -m docs.draw_signs"


@pytest.mark.parametrize("name", sorted(NAMES))
def test_a_drawing_is_well_formed_legible_and_inside_its_paper(name: str) -> None:
    root = ET.fromstring((ROOT / "docs" / "drawings" / f"{name}.svg").read_text(encoding="utf-8"))  # noqa: S314 - our own file
    assert root.tag == f"{SVG}svg"
    _, _, wide, high = (float(part) for part in root.attrib["viewBox"].split())
    assert 340 <= wide <= 400
    assert root.findtext(f"{SVG}title")
    assert root.findtext(f"{SVG}desc")
    ground = root.find(f"{SVG}rect")
    assert ground is not None
    assert (float(ground.attrib["width"]), float(ground.attrib["height"])) == (wide, high)
    assert float(root.attrib["font-size"]) >= 12
    for text in root.iter(f"{SVG}text"):
        # Seven and a half pixels a letter is the widest of the usual faces at this size.
        length = 7.5 * len(text.text or "")
        start = (
            float(text.attrib["x"])
            - {"start": 0.0, "middle": 0.5, "end": 1.0}[text.attrib["text-anchor"]] * length
        )
        assert start >= -6.0, text.text
        assert start + length <= wide + 6.0, text.text
        assert 12.0 <= float(text.attrib["y"]) <= high
    for path in root.iter(f"{SVG}path"):
        numbers = [float(part) for part in re.findall(r"-?\d+\.\d", path.attrib["d"])]
        assert all(0.0 <= x <= wide for x in numbers[::2])
        assert all(0.0 <= y <= high for y in numbers[1::2])


@pytest.mark.parametrize("name", sorted(NAMES - {"seat"}))
def test_the_positive_way_is_drawn_in_its_colour_and_nothing_else_is(name: str) -> None:
    text = (ROOT / "docs" / "drawings" / f"{name}.svg").read_text(encoding="utf-8")
    assert POSITIVE in text
    assert not [line for line in text.splitlines() if POSITIVE in line and line.startswith("<text")]
