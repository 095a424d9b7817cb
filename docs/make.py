"""Make again what is made: drawings, schemas, key tables, and the output that the pages show.

Run it with `make docs` after a change of keys, geometry or wording, then read the difference before it
is committed. The tests compare all of it, so a page that lies cannot land.
"""

from __future__ import annotations

import contextlib
import io
import os
import re
import shlex
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

from docs.draw_signs import main as draw
from rollwright.bench.log_schema import log_schema
from rollwright.car.schema import car_schema, json_text, key_table_markdown
from rollwright.cli.app import _run
from rollwright.scenario.club import club_files
from rollwright.setup.readings_schema import readings_schema, readings_table_markdown

DOCS = Path(__file__).parent
PACKAGE = DOCS.parent / "src" / "rollwright"
COLUMNS = "78"
_TABLES = re.compile(r"(?<=-->\n\n).*?(?=\n\n<!-- Here the made tables end. -->)", re.DOTALL)
_BLOCK = re.compile(r"^```([^\n]*)\n(.*?)^```$", re.DOTALL | re.MULTILINE)


def _schemas() -> None:
    (PACKAGE / "car" / "car.schema.json").write_text(json_text(car_schema()), encoding="utf-8")
    (PACKAGE / "bench" / "log.schema.json").write_text(json_text(log_schema()), encoding="utf-8")
    (PACKAGE / "setup" / "readings.schema.json").write_text(json_text(readings_schema()), encoding="utf-8")


def _table(page: Path, made: str) -> None:
    text = page.read_text(encoding="utf-8")
    page.write_text(_TABLES.sub(lambda _: made.rstrip("\n"), text, count=1), encoding="utf-8")


def _said(words: list[str], code: int) -> tuple[int, str]:
    if words == ["echo", "$?"]:
        return code, f"{code}\n"
    raw = io.BytesIO()
    shown = io.TextIOWrapper(raw, encoding="utf-8", write_through=True)
    with contextlib.redirect_stdout(shown), contextlib.redirect_stderr(shown):
        code = _run(words[1:])
    shown.flush()
    return code, raw.getvalue().decode()


def _console(text: str) -> str:
    """Return a console block with its output made again, but where it is shortened by a line of dots."""
    parts = re.split(r"^\$ (.*)$", text, flags=re.MULTILINE)
    lines: list[str] = []
    code = 0
    for command, shown in zip(parts[1::2], parts[2::2], strict=True):
        code, printed = _said(shlex.split(command), code)
        kept = "\n...\n" in f"{shown}\n"
        lines += [f"$ {command}", *(shown.strip("\n") if kept else printed.rstrip()).split("\n")]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _page(page: Path) -> None:
    """Run a page from top to bottom in the demo club's folder and write down what it prints."""
    names: dict[str, Any] = {"__name__": "__main__"}
    printed = ""

    def made(block: re.Match[str]) -> str:
        nonlocal printed
        words, text = block[1].split(), block[2]
        if words[:1] == ["console"]:
            return f"```{block[1]}\n{_console(text)}```"
        if words == ["python"] and not text.lstrip().startswith(">>>"):
            out = io.StringIO()
            with contextlib.redirect_stdout(out):
                exec(compile(text, str(page), "exec"), names)  # noqa: S102 - the project's own pages
            printed = out.getvalue()
        if words == ["text", "output"]:
            return f"```{block[1]}\n{printed.rstrip()}\n```"
        return block[0]

    page.write_text(_BLOCK.sub(made, page.read_text(encoding="utf-8")), encoding="utf-8")


def _in_the_club(job: Callable[[Path], None], page: Path) -> None:
    with tempfile.TemporaryDirectory() as folder, contextlib.chdir(folder):
        for name, text in club_files().items():
            Path(name).write_text(text, encoding="utf-8")
        job(page)


def main() -> None:
    """Make everything."""
    os.environ["COLUMNS"] = COLUMNS
    os.environ.pop("ROLLWRIGHT_UNITS", None)
    draw(DOCS / "drawings")
    _schemas()
    _table(DOCS / "car-file.md", key_table_markdown())
    _table(DOCS / "readings-file.md", readings_table_markdown())
    for name in (
        "command-line.md",
        "python.md",
        "log.md",
        "log-repeat.md",
        "season.md",
        "drawings.md",
        "fits.md",
        "studies.md",
        "batches.md",
        "tolerance.md",
        "side-to-side.md",
        "parts.md",
        "trials.md",
        "plan.md",
    ):
        _in_the_club(_page, (DOCS / name).resolve())


if __name__ == "__main__":
    main()
