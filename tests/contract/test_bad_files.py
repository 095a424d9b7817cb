"""Every wrong file gives one line that names the file, the place and the mend."""

from __future__ import annotations

from pathlib import Path

import pytest

from rollwright.errors import InputError
from rollwright.workbench import next_moves

from .bad_files import BAD_FILES, GOOD_CAR, BadFile


def test_the_good_car_is_good(tmp_path: Path) -> None:
    (tmp_path / "car.toml").write_text(GOOD_CAR, encoding="utf-8")
    assert next_moves(tmp_path / "car.toml").car.name == "Wren"


def test_names_tell_the_cases_apart() -> None:
    names = [bad.name for bad in BAD_FILES]
    assert len(set(names)) == len(names)


@pytest.mark.parametrize("bad", BAD_FILES, ids=[bad.name for bad in BAD_FILES])
def test_one_line_says_what_is_wrong_and_how_to_mend_it(
    bad: BadFile, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    car, readings = bad.write(tmp_path)
    monkeypatch.chdir(tmp_path)
    with pytest.raises(InputError) as caught:
        next_moves(car, [] if readings is None else [readings])
    line = str(caught.value)
    assert len(line.splitlines()) == 1
    assert line.isprintable()
    assert len(line) < 400
    assert line.startswith(f"{bad.file}: ")
    assert caught.value.exit_code == 2
    assert caught.value.mend in line
    for part in bad.expected:
        assert part in line
    # What a builder did not write must not look as if it came from the file.
    assert "Traceback" not in line
    assert "rollwright." not in line


def test_a_long_path_still_shows_the_name_of_its_file(tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        next_moves(tmp_path / ("folder" * 10) / "wren.toml")
    assert "wren.toml: there is no such file" in str(caught.value)
