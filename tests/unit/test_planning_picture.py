"""The picture of a plan: what it says, where its lines and marks lie, and that it stays within its frame."""

from __future__ import annotations

import re
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from rollwright.scenario.club import club_files
from rollwright.workbench import planning
from rollwright.workbench.pictures import as_png
from rollwright.workbench.planning_picture import picture

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(autouse=True)
def in_the_club(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name, text in club_files().items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    monkeypatch.chdir(tmp_path)


def drawn(found: planning.Planned) -> ET.Element:
    return ET.fromstring(picture(found))  # noqa: S314 - our own picture


def texts(root: ET.Element) -> str:
    said = " ".join(each.text or "" for each in root.iter(f"{SVG}text"))
    return said.replace("\N{NO-BREAK SPACE}", " ")


def points(line: ET.Element) -> list[tuple[float, float]]:
    return [(float(x), float(y)) for x, y in re.findall(r"([\d.-]+),([\d.-]+)", line.get("points", ""))]


def of_kind(root: ET.Element, tag: str, kind: str) -> list[ET.Element]:
    return [each for each in root.iter(f"{SVG}{tag}") if kind in each.get("class", "").split()]


def curves(root: ET.Element) -> list[list[tuple[float, float]]]:
    return [points(line) for line in root.iter(f"{SVG}polyline")]


def test_the_sentence_stands_above_the_charts() -> None:
    root = drawn(planning.make("lark.toml"))
    said = texts(root)
    assert said.startswith("Lark: what the bend trades off Chosen for most adjustment: 3.0° of bend")
    for words in (
        "0.74 mm of wood to go",
        "mm more drift left",
        "wood to sand away, mm",
        "drift that could still be had, mm",
        "nose height that could still be had, mm",
        "more left",
        "nose down",
        "bend of the front axle, degrees",
        "chosen: 3.0°",
    ):
        assert words in said, words
    title = root.find(f"{SVG}title")
    assert title is not None
    assert title.text is not None
    assert title.text.startswith("Lark: Chosen for most adjustment")


def test_lines_run_as_the_trade_off_does() -> None:
    found = planning.make("lark.toml")
    wood, left, right, up, down = curves(drawn(found))
    assert len(wood) == len(found.trade)
    # Down the page is less: wood, drift and room to lift the nose fall with the bend, room to drop it grows.
    for line, falls in ((wood, True), (left, True), (right, True), (up, True), (down, False)):
        assert [x for x, _ in line] == sorted(x for x, _ in line)
        ys = [y for _, y in line]
        assert ys == sorted(ys, reverse=not falls)


def test_the_chosen_plan_lies_on_its_lines() -> None:
    root = drawn(planning.make("lark.toml"))
    dots = [
        (float(each.get("cx", "nan")), float(each.get("cy", "nan")))
        for each in of_kind(root, "circle", "dot")
    ]
    assert len(dots) == 5
    assert len({x for x, _ in dots}) == 1
    marks = of_kind(root, "line", "mark")
    assert {mark.get("x1") for mark in marks} == {f"{dots[0][0]:.1f}"}
    for (x, y), line in zip(dots, curves(root), strict=True):
        right = next(number for number, (there, _) in enumerate(line) if there >= x)
        (x1, y1), (x2, y2) = line[right - 1], line[right]
        assert y == pytest.approx(y1 + (y2 - y1) * (x - x1) / (x2 - x1), abs=2.0)


def test_plans_that_are_not_allowed_lie_in_grey_and_have_no_room() -> None:
    found = planning.make("lark.toml", asked={"most_relief": "0.5 mm"}, prefer="least-relief")
    root = drawn(found)
    allowed = sum(point.allowed for point in found.trade)
    assert 0 < allowed < len(found.trade)
    wood, *rooms = curves(root)
    assert len(wood) == len(found.trade)
    assert {len(line) for line in rooms} == {allowed}
    grey = of_kind(root, "rect", "shut")
    assert len(grey) == 3 * (len(found.trade) - allowed)
    assert max(float(r.get("x", "0")) + float(r.get("width", "0")) for r in grey) < rooms[0][0][0]
    assert "grey: more wood or washers than allowed" in texts(root)
    assert "grey" not in texts(drawn(planning.make("lark.toml")))


def test_a_straight_axle_shows_how_its_hole_slants() -> None:
    root = drawn(planning.make("heron.toml", class_file="class-straight.toml"))
    said = texts(root)
    assert "Heron: what the slant of the front hole trades off" in said
    assert "a straight axle leaves nothing to turn" in said
    assert "how the front hole slants, degrees" in said
    assert len(curves(root)) == 3


def test_a_narrow_body_shows_its_washers_below_zero() -> None:
    text = Path("lark.toml").read_text(encoding="utf-8").replace("48.06", "46.4")
    Path("narrow.toml").write_text(text, encoding="utf-8")
    said = texts(drawn(planning.make("narrow.toml")))
    assert "below 0: washers" in said
    assert "−" in said


def test_a_single_plan_says_that_there_is_nothing_to_choose() -> None:
    found = planning.make("lark.toml", asked={"drift": "400 mm right", "most_bend": "1 deg"})
    assert len(found.trade) == 1
    root = drawn(found)
    assert "nothing to choose" in texts(root)
    assert curves(root) == []


@pytest.mark.parametrize(
    ("car", "asked"),
    [("lark", {}), ("heron", {}), ("bittern", {}), ("lark", {"most_relief": "0.5 mm", "most_bend": "8 deg"})],
)
def test_everything_stays_within_the_frame(car: str, asked: dict[str, str | None]) -> None:
    root = drawn(planning.make(f"{car}.toml", asked=asked))
    width, height = (float(part) for part in root.get("viewBox", "").split()[2:])
    for line in curves(root):
        for x, y in line:
            assert 0.0 < x < width
            assert 0.0 < y < height
    for each in root.iter(f"{SVG}text"):
        x, y, long = float(each.get("x", "nan")), float(each.get("y", "nan")), 7.6 * len(each.text or "")
        kind = each.get("class", "").split()
        begin = x - long if "end" in kind else x - long / 2 if "middle" in kind else x
        assert begin > 0.0, each.text
        assert begin + long < width, each.text
        assert y < height


def test_it_becomes_a_png() -> None:
    assert as_png(picture(planning.make("bittern.toml"))).startswith(b"\x89PNG")
