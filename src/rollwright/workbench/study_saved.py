"""The partial sums of a study in a file, so that it can be taken up again."""

from __future__ import annotations

import json
import os
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rollwright.car.file import load_toml
from rollwright.car.write import save_text
from rollwright.errors import FileUnreadable, FileUnwritable, OutOfRange, WrongType

if TYPE_CHECKING:
    from rollwright.setup.study import Plan
    from rollwright.setup.study_sums import Sums

__all__ = ["Saved", "check_writable", "load", "store"]

_WHAT = "rollwright study"
_VERSION = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Saved:
    """A study as far as it came: its `plan`, the `sums` over whole `chunks` from the first on."""

    plan: Plan
    sums: Sums
    chunks: int


def _read(path: str | os.PathLike[str]) -> dict[str, Any]:
    name = Path(path).name
    text = load_toml(path, what="study file")
    try:
        data = json.loads(text)
    except (ValueError, RecursionError):
        data = None
    if not isinstance(data, dict) or data.get("file") != _WHAT:
        raise WrongType("this is not a file of partial sums", mend="name one that --save wrote", file=name)
    return data


def check_writable(path: str | os.PathLike[str]) -> None:
    """Refuse a file to save to that holds something else.

    Args:
        path: where a study is to be saved.

    Raises:
        FileUnwritable: a file is there that is no study's, or its folder is not.
    """
    name = Path(path).name
    if not Path(path).absolute().parent.is_dir():
        raise FileUnwritable("there is no such folder", mend="make it first", file=str(path))
    if not Path(path).exists():
        return
    try:
        _read(path)
    except (WrongType, FileUnreadable):
        raise FileUnwritable(
            "this file is there already and holds no study", mend="choose another name", file=name
        ) from None


def store(path: str | os.PathLike[str], saved: Saved, *, fingerprint: str, chunk: int) -> None:
    """Write a study as far as it came, whole or not at all.

    Args:
        path: where.
        saved: the study.
        fingerprint: of car, track and seed.
        chunk: runs of one chunk.

    Raises:
        FileUnwritable: it cannot be written.
    """
    data = {
        "file": _WHAT,
        "version": _VERSION,
        "fingerprint": fingerprint,
        "chunk": chunk,
        "chunks": saved.chunks,
        "plan": saved.plan.as_json(),
        "sums": saved.sums.as_json(),
    }
    save_text(path, json.dumps(data, allow_nan=False) + "\n", overwrite=True)


def load(path: str | os.PathLike[str], *, runs: int, seed: int, fingerprint: str, chunk: int) -> Saved:
    """Return a study as far as it came.

    Args:
        path: what `store` wrote.
        runs: how many are wanted in all.
        seed: of the study.
        fingerprint: of car, track and seed as they are now.
        chunk: runs of one chunk.

    Returns:
        The study.

    Raises:
        FileUnreadable: there is no such file.
        WrongType: it is no study, or one of another version.
        OutOfRange: it is of another car, track, lane or seed, or holds more runs than are wanted.
    """
    from rollwright.setup.study import Plan  # noqa: PLC0415 - brings numpy
    from rollwright.setup.study_sums import Sums  # noqa: PLC0415

    name = Path(path).name
    data = _read(path)
    if data.get("version") != _VERSION or data.get("chunk") != chunk:
        raise WrongType(
            "this study was saved by another version", mend="start it anew without --resume", file=name
        )
    if data.get("fingerprint") != fingerprint:
        raise OutOfRange(
            "this study is of another car, track, lane or seed, or one of them was changed since",
            mend="name the files and the seed it was begun with, or start anew without --resume",
            file=name,
        )
    try:
        sums = Sums.from_json(data.get("sums") or {})
        plan = Plan.from_json(data.get("plan") or {}, runs=runs, seed=seed, scale=sums.scale)
    except OutOfRange as error:
        raise error.at(file=name) from None
    chunks = data.get("chunks")
    if not isinstance(chunks, int) or chunks * chunk != sums.runs:
        raise OutOfRange("its chunks and its runs do not agree", mend="start the study anew", file=name)
    if sums.runs > runs:
        raise OutOfRange(
            f"this study has {sums.runs} runs already",
            mend=f"ask for {sums.runs} or more with --runs",
            file=name,
        )
    return Saved(plan=plan, sums=sums, chunks=chunks)
