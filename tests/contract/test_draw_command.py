"""`rollwright draw` at the terminal: lists, files, one-line refusals, and nothing half-written."""

from __future__ import annotations

import io
import json
import re
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from ezdxf.filemanagement import readfile
from pypdf import PdfReader

from rollwright.car.write import save_bytes
from rollwright.cli.app import _run
from rollwright.draw.gauges import GAUGES
from rollwright.draw.views import VIEWS
from rollwright.errors import FileUnwritable
from rollwright.scenario.club import file_text
from rollwright.workbench import drawings
from rollwright.workbench.drawings import GROUPS, NAMES
from tests.contract.test_docs import _all_keys, _listed
from tests.contract.test_imports import HEAVY

MARKED = ("--id", "LARK-2", "--revision", "3", "--date", "2026-03-07")


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
    for name in ("lark.toml", "heron.toml", "bittern.toml"):
        (tmp_path / name).write_text(file_text(name), encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.delenv("ROLLWRIGHT_UNITS", raising=False)

    def ask(*words: str, car: str = "lark.toml") -> Result:
        code = _run(["draw", car, *words])
        captured = capsys.readouterr()
        return Result(code, captured.out, captured.err)

    return ask


def made(folder: Path = Path()) -> list[str]:
    """Return the names of all files but the cars'."""
    return sorted(path.name for path in folder.iterdir() if path.suffix != ".toml" and path.is_file())


def refusal(found: Result) -> str:
    """Return the one line of a refusal that left nothing behind."""
    assert found.code == 2
    assert found.out == ""
    assert found.err.count("\n") == 1
    assert "Traceback" not in found.err
    return found.err


def pages(path: Path) -> list[str]:
    return [page.extract_text() for page in PdfReader(path).pages]


def test_without_a_wish_it_says_what_can_be_drawn_and_why_not_the_rest(ask: Ask) -> None:
    found = ask(car="heron.toml")
    assert found.code == 0
    can, _, cannot = found.words.partition("Not of this car:")
    for name in ("sheet", *VIEWS, "guide-block"):
        assert f"- {name}: " in can
    assert "bend-gauge: Heron is built for a class without bent axles" in cannot
    assert "relief-gauge: no relief is planned" in cannot
    assert "rollwright draw heron.toml sheet" in cannot
    assert made() == []
    data = ask("--json", car="heron.toml").data
    assert [part["what"] for part in data["can"]] + [part["what"] for part in data["cannot"]] != []
    assert sorted(part["what"] for part in (*data["can"], *data["cannot"])) == sorted(NAMES)
    assert {part["what"] for part in data["cannot"]} == {"bend-gauge", "relief-gauge", "washer-shims"}


def test_every_name_can_be_asked_for_and_belongs_to_a_group() -> None:
    assert set(NAMES) == {"sheet", *VIEWS, *GAUGES}
    assert GROUPS["all"] == NAMES
    assert set(GROUPS["views"]) | set(GROUPS["gauges"]) | {"sheet"} == set(NAMES)


def test_all_is_drawn_and_what_makes_no_sense_is_left_out_with_its_reason(ask: Ask) -> None:
    found = ask("all", *MARKED)
    assert found.code == 0
    assert made() == sorted(
        [
            "lark-set-up-sheet.pdf",
            *(f"lark-{view}-view.svg" for view in VIEWS),
            *(
                f"lark-{name}.pdf"
                for name in (
                    "bend-gauge",
                    "board-scale",
                    "centring-block",
                    "drill-template",
                    "guide-block",
                    "height-comparator",
                )
            ),
        ]
    )
    assert "12 files written" in found.words
    assert "Left out, relief-gauge: no relief is planned" in found.words
    assert "100 mm across, 50 mm up" in found.words
    assert "--printer" in found.words
    assert "At the drill: eye protection on" in found.words


def test_every_page_says_which_car_and_which_drawing(ask: Ask) -> None:
    data = ask("sheet", "gauges", *MARKED, "--json").data
    assert len(data["files"]) == 7
    for file in data["files"]:
        path = Path(file["file"])
        assert (file["format"], file["size"], file["true_size"]) == ("pdf", path.stat().st_size, True)
        said = pages(path)
        assert len(said) == file["pages"]
        for page in said:
            assert "Lark" in page
            assert "LARK-2" in page
            assert re.search(r"rev(ision)?\s+3", page)
            assert "2026-03-07" in page
            assert file["hash"] in page
            assert "100 mm across" in page
    created = PdfReader(Path("lark-set-up-sheet.pdf")).metadata
    assert created is not None
    assert created.creation_date is not None
    assert created.creation_date.date().isoformat() == "2026-03-07"


@pytest.mark.parametrize(("paper", "size"), [("a4", (210.0, 297.0)), ("letter", (215.9, 279.4))])
def test_the_sheet_is_one_page_of_the_paper_that_is_asked_for(
    ask: Ask, paper: str, size: tuple[float, float]
) -> None:
    assert ask("sheet", "--paper", paper).code == 0
    (page,) = PdfReader(Path("lark-set-up-sheet.pdf")).pages
    found = (float(page.mediabox.width) / 72.0 * 25.4, float(page.mediabox.height) / 72.0 * 25.4)
    assert found == pytest.approx(size, abs=1e-3)


def test_each_kind_of_file_can_be_read_again(ask: Ask) -> None:
    for form in ("svg", "dxf", "png", "pdf"):
        assert ask("bend-gauge", "top", "--as", form).code == 0
    svg = Path("lark-bend-gauge.svg").read_text(encoding="utf-8")
    width, box = re.search(r'width="([\d.]+)mm"', svg), re.search(r'viewBox="0 0 ([\d.]+) ', svg)
    assert width is not None
    assert box is not None
    assert width[1] == box[1]
    assert "prefers-color-scheme" in Path("lark-top-view.svg").read_text(encoding="utf-8")
    document = readfile("lark-bend-gauge.dxf")
    assert (document.header["$INSUNITS"], document.header["$MEASUREMENT"]) == (4, 1)
    assert {"CUT-OUTER", "SCALE", "TEXT"} <= {entity.dxf.layer for entity in document.modelspace()}
    for name in ("lark-bend-gauge.png", "lark-top-view.png"):
        data = Path(name).read_bytes()
        assert data.startswith(b"\x89PNG")
    # 180 mm at 200 to the inch.
    assert int.from_bytes(data[16:20], "big") == pytest.approx(180.0 / 25.4 * 200.0, abs=1.0)
    assert len(pages(Path("lark-top-view.pdf"))) == 1


def test_the_same_wish_gives_the_same_bytes(ask: Ask) -> None:
    for folder in ("one", "other"):
        for form in ("svg", "dxf", "pdf"):
            assert ask("bend-gauge", "board", "--as", form, "--to", folder, *MARKED).code == 0
        assert ask("sheet", "--to", folder, *MARKED).code == 0
    names = made(Path("one"))
    assert len(names) == 7
    assert names == made(Path("other"))
    for name in names:
        assert Path("one", name).read_bytes() == Path("other", name).read_bytes(), name


def test_nothing_is_overwritten_unless_it_is_forced(ask: Ask) -> None:
    Path("lark-bend-gauge.pdf").write_bytes(b"mine")
    said = refusal(ask("sheet", "bend-gauge", "guide-block"))
    assert "lark-bend-gauge.pdf: this file is there already" in said
    assert "--force" in said
    assert made() == ["lark-bend-gauge.pdf"]
    assert Path("lark-bend-gauge.pdf").read_bytes() == b"mine"
    assert ask("bend-gauge", "--force").code == 0
    assert Path("lark-bend-gauge.pdf").read_bytes().startswith(b"%PDF")


def test_if_one_cannot_be_written_none_is_left(ask: Ask, monkeypatch: pytest.MonkeyPatch) -> None:
    Path("lark-bend-gauge.pdf").write_bytes(b"mine")
    real = save_bytes

    def full(path: Path, data: bytes, *, overwrite: bool) -> None:
        if path.name == "lark-guide-block.pdf":
            raise FileUnwritable("no space left on device", mend="make room", file=path.name)
        real(path, data, overwrite=overwrite)

    monkeypatch.setattr(drawings, "save_bytes", full)
    assert "no space left" in refusal(ask("sheet", "bend-gauge", "guide-block", "--force"))
    # What was there before is whole, the old or the new one; what was not is not.
    assert made() == ["lark-bend-gauge.pdf"]
    assert Path("lark-bend-gauge.pdf").read_bytes().startswith(b"%PDF")


@pytest.mark.parametrize(
    ("wish", "said"),
    [
        (("spoon",), "there is no drawing called 'spoon'; choose from sheet, top"),
        (("relief-gauge", "top"), "lark.toml: stations.front_left.relief: no relief is planned"),
        (("sheet", "--date", "7 March"), "--date: '7 March' is no day; write it as year, month, day"),
        (("sheet", "--date", "2026-02-30"), "--date: '2026-02-30' is no day"),
        (("sheet", "--date", "20260307"), "--date: '20260307' is no day"),
        (("sheet", "--id", "X" * 25), "--id: "),
        (("sheet", "--revision", "a\tb"), "--revision: "),
        (("top", "--exaggeration", "0"), "--exaggeration: angles cannot be drawn 0 times"),
        (("top", "--exaggeration", "nan"), "--exaggeration: "),
        (("bend-gauge", "--cut-width", "9 mm"), "--cut-width: a cut 9 mm wide"),
        (("bend-gauge", "--cut-width", "wide"), "--cut-width: "),
        (("top", "--cut-width", "0.2"), "--cut-width: nothing of this is cut"),
        (("sheet", "--printer", "94", "50"), "--printer: the 100 mm of the scale box measure 94 mm across"),
        (("sheet", "--printer", "99", "40"), "--printer: the 50 mm of the scale box measure 40 mm up"),
        (("top", "--printer", "99", "50"), "--printer: only a PDF is put right"),
        (("sheet", "--as", "dxf"), "--as: the set-up sheet is for reading"),
        (("sheet", "--as", "gif"), "'gif' is not one of"),
        (("sheet", "--paper", "a3"), "'a3' is not one of"),
        (("sheet", "--to", "lark.toml"), "lark.toml: file exists"),
    ],
)
def test_what_cannot_be_done_is_refused_in_one_line(ask: Ask, wish: tuple[str, ...], said: str) -> None:
    assert said in refusal(ask(*wish))
    assert made() == []


def test_a_car_that_is_not_there_is_refused(ask: Ask) -> None:
    for wish in ((), ("sheet",)):
        assert "gone.toml" in refusal(ask(*wish, car="gone.toml"))


def test_a_printer_is_put_right_and_the_sheet_says_so(ask: Ask) -> None:
    assert ask("bend-gauge", "--printer", "99.2 mm", "49.7 mm").code == 0
    (page,) = pages(Path("lark-bend-gauge.pdf"))
    assert "Printed with the factors 1.0081 across, 1.0060 up." in page


def test_a_cut_width_moves_the_outline_and_is_told(ask: Ask) -> None:
    assert ask("bend-gauge", "--as", "dxf", "--to", "none").code == 0
    data = ask("bend-gauge", "--as", "dxf", "--to", "some", "--cut-width", "0.15 mm", "--json").data
    assert data["files"][0]["notes"][0].startswith("Full width of the cut 0.15 mm")

    def widest(folder: str) -> float:
        space = readfile(Path(folder, "lark-bend-gauge.dxf")).modelspace()
        outlines = [
            [(float(x), float(y)) for x, y in entity.get_points("xy")]  # type: ignore[attr-defined] # only polylines are asked
            for entity in space.query("LWPOLYLINE[layer=='CUT-OUTER']")
        ]
        return max(max(x for x, _ in points) - min(x for x, _ in points) for points in outlines)

    assert widest("some") - widest("none") == pytest.approx(0.15, abs=1e-4)


def test_inches_are_written_where_they_are_asked_for(ask: Ask) -> None:
    assert ask("sheet", "drill-template", "--units", "in", car="bittern.toml").code == 0
    assert "2.750 ± 0.375 in left" in " ".join(pages(Path("bittern-set-up-sheet.pdf")))
    assert "4.875 in" in " ".join(pages(Path("bittern-drill-template.pdf")))


def test_a_group_leaves_out_what_is_not_cut_and_a_name_counts_once(ask: Ask) -> None:
    data = ask("all", "bend-gauge", "top", "--as", "dxf", "--json").data
    names = [file["what"] for file in data["files"]]
    assert len(names) == len(set(names)) == 11
    assert "sheet" in [part["what"] for part in data["left_out"]]
    assert not any(name.endswith(".pdf") for name in made())


def test_a_name_that_makes_no_file_name_is_made_into_one(ask: Ask) -> None:
    text = file_text("lark.toml").replace('name = "Lark"', 'name = "../Größe & Söhne/№ 7"')
    Path("odd.toml").write_text(text, encoding="utf-8")
    assert ask("top", car="odd.toml").code == 0
    assert made() == ["groe-sohne-no-7-top-view.svg"]


def test_words_that_no_printer_has_are_refused_before_anything_is_written(ask: Ask) -> None:
    text = file_text("lark.toml").replace('name = "Lark"', 'name = "雲雀"')
    Path("odd.toml").write_text(text, encoding="utf-8")
    assert "Latin letters" in refusal(ask("top", "sheet", car="odd.toml"))
    assert made() == []
    assert ask("sheet", "--as", "svg", car="odd.toml").code == 0


def test_help_loads_nothing_heavy(ask: Ask) -> None:
    assert callable(ask)
    tell = "import atexit, sys; atexit.register(lambda: sys.stderr.write('\\n'.join(sys.modules))); "
    code = tell + "from rollwright.cli import main; main(sys.argv[1:])"
    for words in (("draw", "--help"), ("draw", "lark.toml")):
        done = subprocess.run(
            [sys.executable, "-c", code, *words], capture_output=True, check=True, encoding="utf-8"
        )
        loaded = {name.partition(".")[0] for name in io.StringIO(done.stderr).read().splitlines()}
        assert not loaded & HEAVY, words


def test_the_keys_of_the_json_are_those_that_are_listed(ask: Ask) -> None:
    answers = [ask("--json", car="heron.toml").data, ask("gauges", "--json").data]
    assert set(_listed("draw")) == _all_keys(answers)
