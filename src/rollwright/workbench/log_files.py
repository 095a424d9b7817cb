"""Use cases of a log as a file: exported, imported, backed up and looked over."""

from __future__ import annotations

import os
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path

from rollwright.bench import (
    Finding,
    Imported,
    Level,
    Store,
    export_lines,
    import_lines,
    rescued_lines,
)
from rollwright.bench.place import publish, temporary_beside
from rollwright.car.write import save_text
from rollwright.errors import FileUnreadable, FileUnwritable
from rollwright.workbench.log import open_log

__all__ = ["backup", "bring_in", "check", "export"]


def export(log: str | os.PathLike[str], path: str | os.PathLike[str], *, rescue: bool = False) -> int:
    """Write a log as a text file.

    Args:
        log: path of the log.
        path: where to write; a file that is there already is left alone.
        rescue: whether to write what a damaged log still tells.

    Returns:
        How many entries were written.

    Raises:
        InputError: the log cannot be read or the file cannot be written; there is no file then.
    """
    with open_log(log, rescue=rescue) as store:
        lines = list(rescued_lines(store) if rescue else export_lines(store))
    save_text(path, "\n".join(lines) + "\n")
    return sum(1 for line in lines if '"hash":"' in line[-80:])


def bring_in(log: str | os.PathLike[str], path: str | os.PathLike[str]) -> tuple[Imported, bool]:
    """Add the entries of an exported log, all or none; the log is made if there is none.

    Args:
        log: path of the log.
        path: the exported file.

    Returns:
        What was added, and whether the log is new.

    Raises:
        InputError: the file or the log cannot be used; nothing was added and no log was made.
    """
    name = Path(path).name
    try:
        with Path(path).open(encoding="utf-8", newline="\n") as lines:
            if os.path.lexists(log):
                with open_log(log) as store:
                    return import_lines(store, lines, file=name), False
            return _into_new(log, lines, file=name), True
    except FileExistsError:
        raise FileUnwritable(
            "another program made a log of this name meanwhile", mend="try again", file=Path(log).name
        ) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "it cannot be opened"
        raise FileUnreadable(str(reason).lower(), mend="check the name", file=name) from None


def _into_new(log: str | os.PathLike[str], lines: Iterable[str], *, file: str) -> Imported:
    """Make a log from an exported one; it gets its name only once everything is in it."""
    target = Path(os.path.realpath(log))
    if not target.parent.is_dir():
        raise FileUnwritable(
            "there is no such folder", mend="make it first, or check --log", file=str(target.parent)
        )
    temporary = temporary_beside(target)
    try:
        with Store.open(temporary, create=True) as store:
            done = import_lines(store, lines, file=file)
        publish(temporary, target)
    finally:
        for leftover in (temporary, temporary.with_name(f"{temporary.name}-journal")):
            with suppress(OSError):
                leftover.unlink()
    return done


def backup(log: str | os.PathLike[str], path: str | os.PathLike[str]) -> Path:
    """Copy a log as it is at one moment, while it may be in use.

    Args:
        log: path of the log.
        path: where; what is there already is left alone.

    Returns:
        Where the copy is.

    Raises:
        InputError: the log cannot be read or the copy cannot be written; there is no copy then.
    """
    with open_log(log) as store:
        return store.backup(path)


def check(log: str | os.PathLike[str]) -> tuple[tuple[Finding, ...], bool]:
    """Look a log over from end to end.

    Args:
        log: path of the log.

    Returns:
        What was found, and whether any of it is wrong rather than only worth knowing.

    Raises:
        InputError: the log cannot even be opened.
    """
    with open_log(log, rescue=True) as store:
        found = store.check()
    return found, any(finding.level is Level.WRONG for finding in found)
