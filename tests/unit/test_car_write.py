"""Writing a car file back: what changed changes, everything else stays byte for byte."""

from __future__ import annotations

import math
import os
import stat
import sys
from pathlib import Path

import pytest

from rollwright.car.dimensions import dimension_of, with_dimensions
from rollwright.car.file import parse_car
from rollwright.car.model import Station
from rollwright.car.starter import starter_text
from rollwright.car.write import save_text, updated_text
from rollwright.errors import FileUnreadable, FileUnwritable, InputError, OutOfRange
from rollwright.quantity import Quantity, Source
from rollwright.units import Kind

F = "format = 1\n"
FILE = """# Wren, drilled on the bench press
format = 1
name = "Wren"   # after the bird

[body]
width = 48    # before sanding
length = "7 1/4 in" # rule

# The nose weight sits here.
[weights.nose]
mass = 12
position = [96, 0, 8]

[stations.front_left]
relief = "12 thou"   # by the block
washer = { value = 0.1, uncertainty = 0.02 } # one
# play is not read yet

[stations.rear_left]
cant = -1.5\t# drilled
"""


def measured(value: float, uncertainty: float = 5e-5) -> Quantity:
    return Quantity(value=value, uncertainty=uncertainty, source=Source.MEASURED)


def changed(text: str, kind: Kind = Kind.LENGTH, **values: float) -> str:
    """Return the text with some keys changed; a double underscore stands for a dot."""
    changes = {key.replace("__", "."): measured(value) for key, value in values.items()}
    return updated_text(text, changes, kinds=dict.fromkeys(changes, kind))


def differing(before: str, after: str) -> list[tuple[str, str]]:
    old, new = before.splitlines(keepends=True), after.splitlines(keepends=True)
    assert len(old) == len(new)
    return [(a, b) for a, b in zip(old, new, strict=True) if a != b]


def test_nothing_to_change_changes_nothing() -> None:
    assert updated_text(FILE, {}, kinds={}) == FILE


def test_one_value_changes_one_line_and_keeps_its_remark() -> None:
    ((before, after),) = differing(FILE, changed(FILE, body__width=0.0475))
    assert before == "width = 48    # before sanding\n"
    assert after == 'width = {value = 47.5, uncertainty = 0.05, from = "measured"}    # before sanding\n'


def test_an_inline_table_keeps_its_shape_and_remark() -> None:
    ((_, after),) = differing(FILE, changed(FILE, stations__front_left__washer=0.00015))
    assert after.startswith("washer = { value = 0.15, uncertainty = 0.05, from")
    assert after.endswith("# one\n")


@pytest.mark.parametrize(
    ("written", "value", "expected"),
    [
        ('"1 3/4 in"', 0.0381, '"1.5 in"'),
        ("'1.75\"'", 0.0381, '"1.5 in"'),
        ("'1.75 inches'", 0.0381, '"1.5 inches"'),
        ('"1750 thou"', 0.0381, '"1500 thou"'),
        ('"48 mm"', 0.0381, '"38.1 mm"'),
        ('"48 millimetres"', 0.0381, '"38.1 millimetres"'),
        ('"4.8 cm"', 0.0381, '"3.81 cm"'),
        ('"0.048 m"', 0.0381, '"0.0381 m"'),
        ('"48000 microns"', 0.0381, '"38100 microns"'),
        ("48", 0.0381, "38.1"),
        ('"48"', 0.0381, "38.1"),
        ('{ value = "1 3/4 in", uncertainty = 0.1 }', 0.0381, '"1.5 in"'),
    ],
)
def test_the_builders_unit_stays(written: str, value: float, expected: str) -> None:
    after = changed(f"{F}[body]\nwidth = {written}\n", body__width=value)
    assert f"value = {expected}," in after.replace("value=", "value = ")
    assert parse_car(after).body.width.value == pytest.approx(value, rel=1e-12)
    # 50 micrometres, whatever unit they are written in.
    assert parse_car(after).body.width.uncertainty == pytest.approx(5e-5, rel=2e-3)


def test_angles_and_masses_keep_theirs() -> None:
    after = changed(f'{F}[stations.rear_left]\ncant = "1.5°"\n', Kind.ANGLE, stations__rear_left__cant=0.04)
    assert '°"' in after
    assert parse_car(after).corners[Station.REAR_LEFT].cant.value == pytest.approx(0.04, abs=1e-7)
    after = changed(f'{F}[body]\nmass = "3 oz"\n', Kind.MASS, body__mass=0.1)
    assert ' oz"' in after
    assert parse_car(after).body.mass.value == pytest.approx(0.1, abs=1e-6)


def test_a_new_key_joins_its_own_table_and_not_the_next_ones_remark() -> None:
    after = changed(FILE, body__wheelbase=0.125)
    lines = after.splitlines()
    at = lines.index('wheelbase = {value = 125.0, uncertainty = 0.05, from = "measured"}')
    assert lines[at - 1] == 'length = "7 1/4 in" # rule'
    assert lines[at + 2 :] == FILE.splitlines()[at + 1 :]


def test_a_new_table_goes_to_the_end() -> None:
    after = changed(FILE, stations__rear_right__relief=0.0002, stations__rear_right__washer=0.0001)
    assert after.startswith(FILE)
    added = after.removeprefix(FILE).strip().splitlines()
    assert added[0] == "[stations.rear_right]"
    assert [line.split(" = ")[0] for line in added[1:]] == ["relief", "washer"]


@pytest.mark.parametrize(
    "text",
    [
        F + "stations.front_left.relief = 0.2 # x\nrail.width = 45\n",
        F + "stations = { front_left = { relief = 0.2 } }\nrail = { width = 45 }\n",
        F + "[stations]\nfront_left.relief = 0.2\nrear_left.relief = 0.2\n[rail]\nwidth = 45\n",
        F + "[stations.front_left]\nrelief = 0.2\n[rail]\nwidth = 45\n[stations.rear_left]\nrelief = 0.1",
        F + "[ stations . front_left ] # odd\nrelief = 0.2\n",
        F + '["stations"."front_left"]\nrelief = 0.2\n',
        F + "[stations.front_left.relief]\nvalue = 0.2\n[board]\nlength = 900\n",
        F + "# only a remark \u2028 with a separator\n",
        F,
        starter_text(),
    ],
)
def test_every_layout_that_is_read_can_be_changed(text: str) -> None:
    values = {
        "stations.front_left.relief": 0.001,
        "stations.front_left.washer": 0.002,
        "stations.rear_left.relief": 0.003,
        "rail.width": 0.044,
        "axles.standard.bend_at": 0.004,
    }
    after = updated_text(
        text,
        {key: measured(value) for key, value in values.items()},
        kinds=dict.fromkeys(values, Kind.LENGTH),
    )
    found = parse_car(after)
    front, rear = found.corners[Station.FRONT_LEFT], found.corners[Station.REAR_LEFT]
    read = [front.relief, front.washer, rear.relief, found.rail.width, found.axles["standard"].bend_at]
    assert [quantity.value for quantity in read] == pytest.approx(list(values.values()))
    assert {quantity.source for quantity in read} == {Source.MEASURED}
    for line in text.splitlines():
        if line.startswith("#"):
            assert line in after


def test_line_ends_of_other_systems_stay() -> None:
    text = FILE.replace("\n", "\r\n")
    after = changed(text, body__width=0.047, body__wheelbase=0.125, rail__width=0.045)
    assert after.replace("\r\n", "").count("\n") == 0
    assert after.count("\r\n") == text.count("\r\n") + 4


def test_a_name_with_dots_and_quotes() -> None:
    text = F + '[wheels."disc 31.5"]\nbore = 2.6\n'
    found = parse_car(changed(text, Kind.LENGTH, **{"wheels__disc 31.5__bore": 0.0027}))
    assert found.wheels["disc 31.5"].bore.value == pytest.approx(0.0027)
    text = F + '[axles."the \\"good\\" one"]\n'
    found = parse_car(changed(text, Kind.ANGLE, **{'axles__the "good" one__bend': 0.02}))
    assert found.axles['the "good" one'].bend.value == pytest.approx(0.02, abs=1e-7)


def test_a_tiny_uncertainty_does_not_become_none() -> None:
    quantity = Quantity(value=0.047, uncertainty=1e-10, source=Source.MEASURED)
    after = updated_text(F, {"body.width": quantity}, kinds={"body.width": Kind.LENGTH})
    assert parse_car(after).body.width.uncertainty == pytest.approx(1e-10)


def test_a_change_that_makes_no_car_is_refused() -> None:
    with pytest.raises(OutOfRange) as caught:
        updated_text(FILE, {"body.width": measured(9.0)}, kinds={"body.width": Kind.LENGTH}, file="wren.toml")
    assert caught.value.file == "wren.toml"
    assert caught.value.key == "body.width"
    with pytest.raises(InputError):
        changed(FILE, body__colour=0.1)


def test_a_layout_that_would_be_spoilt_is_refused() -> None:
    # The new line would land inside the list, which has a blank line in it.
    text = F + "[weights.nose]\nposition = [96,\n\n0, 8]\nmass = 3\n[body]\ncentre_of_mass = [\n\n48, 0, 9]\n"
    with pytest.raises(FileUnreadable) as caught:
        changed(text, body__width=0.047)
    assert "cannot be changed line by line" in caught.value.problem


class TestSaving:
    """A file is written whole or not at all."""

    def test_a_new_file(self, tmp_path: Path) -> None:
        path = tmp_path / "wren.toml"
        save_text(path, "name = 'Zaunkönig'\r\n")
        assert path.read_bytes() == "name = 'Zaunkönig'\r\n".encode()
        assert list(tmp_path.iterdir()) == [path]

    def test_an_old_file_is_not_overwritten(self, tmp_path: Path) -> None:
        path = tmp_path / "wren.toml"
        path.write_text("old", encoding="utf-8")
        with pytest.raises(FileUnwritable) as caught:
            save_text(path, "new")
        assert str(caught.value).startswith("wren.toml: this file is there already")
        assert path.read_text(encoding="utf-8") == "old"
        assert list(tmp_path.iterdir()) == [path]

    def test_unless_that_is_asked_for(self, tmp_path: Path) -> None:
        path = tmp_path / "wren.toml"
        path.write_text("old", encoding="utf-8")
        save_text(path, "new", overwrite=True)
        assert path.read_text(encoding="utf-8") == "new"

    @pytest.mark.parametrize("step", ["replace", "fsync"])
    def test_a_failure_leaves_the_old_file_whole_and_nothing_behind(
        self, step: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        path = tmp_path / "wren.toml"
        path.write_text("old", encoding="utf-8")

        def fail(*_: object) -> None:
            raise OSError(28, "No space left on device")

        monkeypatch.setattr(os, step, fail)
        with pytest.raises(FileUnwritable) as caught:
            save_text(path, "new", overwrite=True)
        monkeypatch.undo()
        assert "no space left" in str(caught.value)
        assert path.read_text(encoding="utf-8") == "old"
        assert list(tmp_path.iterdir()) == [path]

    def test_an_interruption_leaves_nothing_behind(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        def interrupt(*_: object) -> None:
            raise KeyboardInterrupt

        monkeypatch.setattr(os, "replace", interrupt)
        with pytest.raises(KeyboardInterrupt):
            save_text(tmp_path / "wren.toml", "new")
        assert list(tmp_path.iterdir()) == []

    @pytest.mark.parametrize("name", ["no folder/wren.toml", "a\0b.toml", "x" * 300])
    def test_a_place_that_cannot_be_written(self, name: str, tmp_path: Path) -> None:
        with pytest.raises(FileUnwritable) as caught:
            save_text(tmp_path / name, "new")
        assert len(str(caught.value).splitlines()) == 1
        assert list(tmp_path.iterdir()) == []

    def test_a_folder_in_its_place(self, tmp_path: Path) -> None:
        (tmp_path / "wren.toml").mkdir()
        with pytest.raises(FileUnwritable):
            save_text(tmp_path / "wren.toml", "new", overwrite=True)
        assert [path.name for path in tmp_path.iterdir()] == ["wren.toml"]

    def test_a_text_that_is_no_text(self, tmp_path: Path) -> None:
        with pytest.raises(FileUnwritable):
            save_text(tmp_path / "wren.toml", "\ud800")
        assert list(tmp_path.iterdir()) == []

    @pytest.mark.skipif(sys.platform == "win32", reason="permissions and links are those of POSIX")
    def test_permissions_and_links_stay(self, tmp_path: Path) -> None:
        path, link = tmp_path / "wren.toml", tmp_path / "best.toml"
        path.write_text("old", encoding="utf-8")
        path.chmod(0o640)
        link.symlink_to(path)
        save_text(link, "new", overwrite=True)
        assert link.is_symlink()
        assert path.read_text(encoding="utf-8") == "new"
        assert stat.S_IMODE(path.stat().st_mode) == 0o640

    @pytest.mark.skipif(sys.platform == "win32", reason="permissions are those of POSIX")
    def test_a_new_file_is_as_readable_as_any_other(self, tmp_path: Path) -> None:
        (tmp_path / "other").write_text("", encoding="utf-8")
        save_text(tmp_path / "wren.toml", "new")
        assert (tmp_path / "wren.toml").stat().st_mode == (tmp_path / "other").stat().st_mode


def test_a_part_that_bears_another_stations_name_is_not_changed_with_it() -> None:
    # The name that a front left axle gets when it is changed, but fitted at the rear.
    names = {station: "front_left axle" if station is Station.REAR_LEFT else "pin" for station in Station}
    text = F + '[axles."front_left axle"]\n[axles.pin]\n'
    text += "".join(f'[stations.{station.value}]\naxle = "{name}"\n' for station, name in names.items())
    bent = with_dimensions(parse_car(text), {"front_left.bend": measured(math.radians(2.0))})
    assert dimension_of(bent, "front_left.bend").value == pytest.approx(math.radians(2.0))
    assert dimension_of(bent, "rear_left.bend").value == 0.0
