"""Who may import whom, what a command may load before it answers, and that every public name explains itself.

Import statements are read, not run, so that one inside a function or under `TYPE_CHECKING` counts as well.
"""

from __future__ import annotations

import ast
import importlib
import inspect
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

import rollwright
from rollwright.scenario.club import file_text

SOURCE = Path(rollwright.__file__).parent

ROWS = (
    ("errors",),
    ("units",),
    ("quantity",),
    ("car",),
    ("geometry", "judge"),
    ("run",),
    ("setup",),
    ("scenario", "bench", "draw"),
    ("workbench",),
    ("web",),
    ("cli",),
)
"""From the bottom up: a file imports its own part, or parts of the rows below it."""

PURE_PARTS = ("geometry", "judge", "run")
PURE_FILES = ("car.model", "car.dimensions", "car.assumed", "car.keys")
WORLD = frozenset({"os", "pathlib", "sqlite3", "time", "datetime", "click", "logging"})
TOUCHES = frozenset({"open", "print", "input"})

FILE_READERS = frozenset({"load_toml", "parse_toml", "parse_car", "read_car", "save_text", "updated_text"})
FILE_PARTS = frozenset({"car.file", "car.toml_file", "car.write"})
MAY_READ_FILES = frozenset({"setup.readings", "setup.hand", "setup.pockets_file"})

CLI_MAY_IMPORT = ("workbench", "units", "quantity", "errors", "car.model", "judge.verdict", "cli")
WEB_MAY_IMPORT = ("workbench", "units", "quantity", "errors", "car.model", "judge.verdict", "web")
OPENS_THE_BENCH = frozenset({"cli.bench_command", "cli.bench_verbs"})
"""The only files of the command line that know of the pages."""

HEAVY = frozenset(
    {"ezdxf", "jinja2", "numpy", "reportlab", "resvg_py", "scipy", "segno", "starlette", "tomlkit"}
    | {"uncertainties", "uvicorn"}
)


def _modules() -> dict[str, str]:
    """Return the source of every file of the package by its name below it; the public face is left out."""
    found = {}
    for path in sorted(SOURCE.rglob("*.py")):
        parts = path.relative_to(SOURCE).with_suffix("").parts
        name = ".".join(parts[:-1] if parts[-1] == "__init__" else parts)
        if name not in {"", "__main__"}:
            found[name] = path.read_text(encoding="utf-8")
    return found


MODULES = _modules()


def _imported(source: str) -> Iterator[str]:
    """Return the dotted names that a source's import statements ask for, wherever they stand."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            yield from (name.name for name in node.names)
        elif isinstance(node, ast.ImportFrom):
            if node.level:
                yield "." * node.level + (node.module or "")
                continue
            yield from (f"{node.module}.{name.name}" for name in node.names)


def _inner(source: str) -> list[str]:
    """Return what is imported from the package itself, named below it."""
    return [name.removeprefix("rollwright.") for name in _imported(source) if name.startswith("rollwright.")]


def _part(name: str) -> str:
    return name.partition(".")[0]


def _row(part: str) -> int:
    # The public face itself lies above all rows.
    return next((number for number, row in enumerate(ROWS) if part in row), len(ROWS))


def _is_or_in(name: str, allowed: str) -> bool:
    return name == allowed or name.startswith(f"{allowed}.")


def breaches(module: str, source: str) -> list[str]:
    """Return the import statements of a file that its place in the package does not allow."""
    wrong = [name for name in _imported(source) if name.startswith(".") or name == "rollwright"]
    here = _part(module)
    wrong += [name for name in _inner(source) if _part(name) != here and _row(_part(name)) >= _row(here)]
    if here in PURE_PARTS or module in PURE_FILES:
        wrong += [name for name in _imported(source) if _part(name) in WORLD]
        wrong += [
            f"{node.func.id}()"
            for node in ast.walk(ast.parse(source))
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in TOUCHES
        ]
    if here == "setup" and module not in MAY_READ_FILES:
        wrong += [
            name
            for name in _inner(source)
            if name in FILE_PARTS or (_part(name) == "car" and name.rpartition(".")[2] in FILE_READERS)
        ]
        wrong += [name for name in _imported(source) if _part(name) in WORLD]
    if here == "cli":
        wrong += [
            name
            for name in _inner(source)
            if not any(_is_or_in(name, allowed) for allowed in CLI_MAY_IMPORT)
            and not (module in OPENS_THE_BENCH and _is_or_in(name, "web"))
        ]
    if here == "web":
        wrong += [
            name for name in _inner(source) if not any(_is_or_in(name, allowed) for allowed in WEB_MAY_IMPORT)
        ]
    return wrong


def test_every_file_belongs_to_a_row() -> None:
    known = {part for row in ROWS for part in row}
    assert {_part(module) for module in MODULES} <= known


@pytest.mark.parametrize("module", MODULES)
def test_a_file_imports_only_what_lies_below_it(module: str) -> None:
    assert breaches(module, MODULES[module]) == []


@pytest.mark.parametrize(
    ("module", "source"),
    [
        ("units", "from rollwright.quantity import Quantity"),
        ("car.model", "from rollwright.geometry import stance"),
        ("car.model", "import pathlib"),
        ("car.keys", "def f():\n    print(1)"),
        ("geometry.rail", "def f():\n    from rollwright.setup.hand import Hand"),
        ("geometry.rail", "from rollwright.judge import judge"),
        ("geometry.rail", "import os.path"),
        ("geometry.rail", "from . import axle"),
        ("geometry.rail", "from rollwright.run.track import Track"),
        ("run.track", "from rollwright.setup.hand import Hand"),
        ("run.track_file", "from pathlib import Path"),
        ("judge.verdict", "if TYPE_CHECKING:\n    from datetime import date"),
        ("setup.estimate", "from rollwright.car import read_car"),
        ("setup.estimate", "from rollwright.car.toml_file import load_toml"),
        ("setup.estimate", "from rollwright.car import toml_file"),
        ("setup.estimate", "from rollwright.setup.readings import Path\nimport os"),
        ("setup.estimate", "from rollwright import workbench"),
        ("setup.estimate", "from rollwright import Car"),
        ("workbench", "from rollwright.cli.page import Page"),
        ("workbench", "import rollwright"),
        ("cli.page", "from rollwright.geometry.stance import Stance"),
        ("cli.page", "from rollwright.setup.hand import Hand"),
        ("cli.page", "from rollwright.car import read_car"),
        ("cli.page", "from rollwright.web.settings import Settings"),
        ("web.bench", "from rollwright.cli.page import Page"),
        ("web.pages.car", "from rollwright.bench.fold import Folded"),
    ],
)
def test_a_breach_is_seen(module: str, source: str) -> None:
    assert breaches(module, source)


def _loaded(
    *arguments: str | Path, code: str = "from rollwright.cli import main; main(sys.argv[1:])"
) -> set[str]:
    """Return the top-level packages that a fresh interpreter holds after running some code."""
    tell = "import atexit, sys; atexit.register(lambda: sys.stderr.write('\\n'.join(sys.modules))); "
    done = subprocess.run(
        [sys.executable, "-c", tell + code, *map(str, arguments)],
        capture_output=True,
        check=True,
        env={**os.environ, "PYTHONIOENCODING": "utf-8"},
        encoding="utf-8",
    )
    return {_part(name) for name in done.stderr.splitlines()}


@pytest.fixture
def lark(tmp_path: Path) -> Path:
    target = tmp_path / "lark.toml"
    target.write_text(file_text("lark.toml"), encoding="utf-8")
    return target


def test_the_command_and_its_helps_start_without_heavy_libraries() -> None:
    for arguments in ((), ("--help",), ("--version",), *((name, "--help") for name in ("stance", "next"))):
        loaded = _loaded(*arguments)
        assert "click" in loaded
        assert not loaded & HEAVY, arguments


@pytest.mark.parametrize("more", [(), ("--json",), ("--units", "in")])
def test_a_stance_is_told_without_heavy_libraries(lark: Path, more: tuple[str, ...]) -> None:
    loaded = _loaded("stance", lark, *more)
    assert "rollwright" in loaded
    assert not loaded & HEAVY


def test_a_new_file_is_written_without_heavy_libraries(tmp_path: Path) -> None:
    assert not _loaded("new", tmp_path / "wren.toml") & HEAVY


def test_a_stance_in_python_comes_without_heavy_libraries(lark: Path) -> None:
    code = "import rollwright as rw; rw.stance(rw.read_car(sys.argv[1]))"
    assert not _loaded(lark, code=code) & {*HEAVY, "click"}


def test_what_is_loaded_is_seen(lark: Path) -> None:
    loaded = _loaded("next", lark)
    assert "numpy" in loaded
    assert not loaded & {"uncertainties", "tomlkit"}


@pytest.mark.parametrize("name", rollwright.__all__)
def test_a_public_name_is_there_and_explains_itself(name: str) -> None:
    found = getattr(rollwright, name)
    text = inspect.getdoc(found) or ""
    assert text.strip()
    # A dataclass without a docstring is given its own signature for one.
    assert not text.startswith(f"{name}(")


def test_the_names_that_a_type_checker_sees_are_those_that_are_there() -> None:
    tree = ast.parse((SOURCE / "__init__.py").read_text(encoding="utf-8"))
    (checked,) = (node for node in tree.body if isinstance(node, ast.If))
    seen = {
        name.name: node.module
        for node in checked.body
        if isinstance(node, ast.ImportFrom)
        for name in node.names
    }
    assert sorted(seen) == rollwright.__all__
    for name, home in seen.items():
        assert home is not None
        assert hasattr(importlib.import_module(home), name), name


def test_no_public_name_is_also_that_of_a_part() -> None:
    # Whoever imports a part puts it into the package's own names, where it would hide a function.
    parts = {_part(module) for module in MODULES}
    assert parts.isdisjoint(rollwright.__all__)


def test_a_name_that_is_not_public_is_refused() -> None:
    with pytest.raises(AttributeError, match="no attribute 'stanse'"):
        getattr(rollwright, "stanse")  # noqa: B009 - a type checker would refuse the plain form


Documented = ast.FunctionDef | ast.ClassDef


def _public(tree: ast.Module | ast.ClassDef, prefix: str) -> Iterator[tuple[str, Documented]]:
    for node in tree.body:
        if isinstance(node, Documented) and not node.name.startswith("_"):
            yield f"{prefix}.{node.name}", node
            if isinstance(node, ast.ClassDef):
                yield from _public(node, f"{prefix}.{node.name}")


def _returns_nothing(node: ast.FunctionDef) -> bool:
    return node.returns is None or (isinstance(node.returns, ast.Constant) and node.returns.value is None)


@pytest.mark.parametrize("module", MODULES)
def test_everything_public_is_explained(module: str) -> None:
    tree = ast.parse(MODULES[module])
    assert ast.get_docstring(tree), module
    silent = []
    for name, node in _public(tree, module):
        text = ast.get_docstring(node) or ""
        takes_but_gives_nothing = (
            isinstance(node, ast.FunctionDef)
            and "\nArgs:\n" in text
            and "\nReturns:\n" not in text
            and not _returns_nothing(node)
        )
        if not text or takes_but_gives_nothing:
            silent.append(name)
    assert silent == []
