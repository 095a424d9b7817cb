"""Pictures into files: which names are taken, what is left alone, and what a PNG holds."""

from __future__ import annotations

import re
import struct
import zlib
from pathlib import Path

import pytest

from rollwright.errors import FileUnwritable
from rollwright.workbench.pictures import as_png, check_picture, save_picture

SQUARE = """<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 30 20" width="30" height="20">
<style>
  :root { --ground: #ff8000; --ink: #000000; }
  @media (prefers-color-scheme: dark) {
    :root { --ground: #0000ff; --ink: #ffffff; }
  }
  .ground { fill: var(--ground); }
</style>
<rect class="ground" width="30" height="20"/>
</svg>
"""


def first_pixel(png: bytes) -> tuple[int, ...]:
    """Return the first pixel of a PNG of eight bits a channel (ISO/IEC 15948: IDAT, filter byte first)."""
    data, at = b"", 8
    while at < len(png):
        (length,) = struct.unpack(">I", png[at : at + 4])
        if png[at + 4 : at + 8] == b"IDAT":
            data += png[at + 8 : at + 8 + length]
        at += 12 + length
    # In the first row whichever filter is used leaves the first pixel as it is.
    return tuple(zlib.decompress(data)[1:4])


def test_a_png_is_twice_as_large_and_in_the_light_colours() -> None:
    png = as_png(SQUARE)
    assert png.startswith(b"\x89PNG\r\n\x1a\n")
    assert struct.unpack(">II", png[16:24]) == (60, 40)
    assert first_pixel(png) == (0xFF, 0x80, 0x00)


def test_the_ending_says_what_is_written(tmp_path: Path) -> None:
    save_picture(tmp_path / "a.svg", SQUARE)
    assert (tmp_path / "a.svg").read_text(encoding="utf-8") == SQUARE
    save_picture(tmp_path / "a.PNG", SQUARE)
    assert (tmp_path / "a.PNG").read_bytes() == as_png(SQUARE)


@pytest.mark.parametrize("name", ["a.jpg", "a", "a.svgz"])
def test_other_endings_are_refused_with_what_is_allowed(tmp_path: Path, name: str) -> None:
    with pytest.raises(FileUnwritable, match=re.escape("a picture is written as .svg or .png")):
        save_picture(tmp_path / name, SQUARE)
    assert not list(tmp_path.iterdir())


def test_a_picture_that_is_there_is_replaced_only_if_that_is_said(tmp_path: Path) -> None:
    there = tmp_path / "a.svg"
    there.write_text("mine", encoding="utf-8")
    with pytest.raises(FileUnwritable, match="--force"):
        check_picture(there)
    with pytest.raises(FileUnwritable, match="--force"):
        save_picture(there, SQUARE)
    assert there.read_text(encoding="utf-8") == "mine"
    save_picture(there, SQUARE, overwrite=True)
    assert there.read_text(encoding="utf-8") == SQUARE
