"""What other programs do to a log while a test watches: each function runs in a process of its own."""

from __future__ import annotations

import multiprocessing
import os
import signal
import sqlite3
from collections.abc import Callable
from datetime import UTC, datetime
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from rollwright.bench import opening, place
from rollwright.bench import store as store_module
from rollwright.bench.events import CarStarted, Event, Note, StartedFrom
from rollwright.bench.store import Store
from rollwright.errors import InputError

NOBODY = 65_534
START = CarStarted(source=StartedFrom.PLAN, car_file="format = 1\n")
CONTEXT: Any = multiprocessing.get_context("forkserver" if os.name == "posix" else "spawn")
if os.name == "posix":
    # Otherwise each of hundreds of processes would import everything anew.
    CONTEXT.set_forkserver_preload(["rollwright.bench"])


def put(store: Store, number: str, event: Event, car: str = "LARK", photo: bytes | None = None) -> str:
    """Enter an event, and return its id once it is acknowledged."""
    done = store.append(event, event_id=number, car=car, time=datetime.now(UTC), author="Ada", photo=photo)
    return done.id


def begin(target: Callable[..., None], *args: object) -> tuple[Any, Connection]:
    """Start a function in a process of its own; return the process and our end of a pipe to it."""
    ours, theirs = CONTEXT.Pipe(duplex=False)
    process = CONTEXT.Process(target=target, args=(*args, theirs), daemon=True)
    process.start()
    theirs.close()
    return process, ours


def said(process: Any, pipe: Connection) -> list[str]:
    """Return everything that a process said until it ended, also what it said just before its end."""
    lines = []
    with pipe:
        while True:
            try:
                lines.append(pipe.recv_bytes().decode())
            except (EOFError, OSError):
                break
    process.join()
    return lines


def write_until_killed(path: str, first: int, pipe: Connection) -> None:
    """Enter notes for ever, and acknowledge each one once it is recorded."""
    with Store.open(path, create=True) as store:
        if not store.cars():
            pipe.send_bytes(put(store, f"{first:032x}", START).encode())
        while True:
            first += 1
            # Long enough to need more than one page now and then, so that a kill can fall between pages.
            note = Note(text="x" * (1 + first * 379 % 1000))
            pipe.send_bytes(put(store, f"{first:032x}", note).encode())


def write_many(path: str, car: str, first: int, count: int, pipe: Connection) -> None:
    """Enter a car and many notes as fast as possible; say what was refused."""
    try:
        with Store.open(path, create=True) as store:
            put(store, f"{first:032x}", START, car)
            for number in range(first + 1, first + count):
                put(store, f"{number:032x}", Note(text=str(number)), car)
    except InputError as error:
        pipe.send_bytes(str(error).encode())


class _Killed:
    """Kills its own process at the n-th thing that is about to happen, whatever that is."""

    def __init__(self, left: int) -> None:
        self.left = left

    def __call__(self, *_: object) -> None:
        self.left -= 1
        if self.left == 0:
            os.kill(os.getpid(), signal.SIGKILL)

    def before(self, function: Callable[..., Any]) -> Callable[..., Any]:
        def counted(*args: Any, **more: Any) -> Any:
            self()
            return function(*args, **more)

        return counted


def work_until_point(folder: str, point: int, pipe: Connection) -> None:
    """Make a log, write to it, back it up; die before the n-th SQL statement or call to the disk."""
    killed = _Killed(point)
    real_connect = opening.connect

    def traced(*args: Any, **more: Any) -> sqlite3.Connection:
        connection = real_connect(*args, **more)
        connection.set_trace_callback(killed)
        return connection

    opening.connect = traced
    store_module.connect = traced  # type: ignore[attr-defined]
    for module, names in ((os, ("link", "fsync", "replace", "unlink")), (place, ("publish",))):
        for name in names:
            setattr(module, name, killed.before(getattr(module, name)))
    opening.publish = place.publish  # type: ignore[attr-defined]
    store_module.publish = place.publish  # type: ignore[attr-defined]
    with Store.open(f"{folder}/bench.log", create=True) as store:
        pipe.send_bytes(put(store, f"{1:032x}", START).encode())
        pipe.send_bytes(put(store, f"{2:032x}", Note(text="x" * 1000)).encode())
        store.backup(f"{folder}/backup.log")
        pipe.send_bytes(b"backup")
        pipe.send_bytes(put(store, f"{3:032x}", Note(text="after")).encode())
    pipe.send_bytes(b"end")


def write_with_little_room(folder: str, room: int, pipe: Connection) -> None:
    """Let no file grow beyond some bytes, then enter notes and make a backup; say how each ended."""
    import resource  # noqa: PLC0415 - not on every system

    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    with Store.open(f"{folder}/bench.log") as store:
        resource.setrlimit(resource.RLIMIT_FSIZE, (room, room))
        for number in range(10, 40):
            try:
                pipe.send_bytes(put(store, f"{number:032x}", Note(text="x" * 900)).encode())
            except InputError as error:
                pipe.send_bytes(f"refused {error}".encode())
        try:
            store.backup(f"{folder}/backup.log")
            pipe.send_bytes(b"backup")
        except InputError as error:
            pipe.send_bytes(f"refused {error}".encode())


def use_without_rights(folder: str, pipe: Connection) -> None:
    """Read, write, make and back up logs as somebody who may only read the folder."""
    # Nobody may not read the installed packages either, so the program's version is given, not looked up.
    if os.getuid() == 0:
        os.setgid(NOBODY)
        os.setuid(NOBODY)
    base = Path(folder)
    with Store.open(base / "bench.log", program="0") as store:
        pipe.send_bytes(f"read {len(list(store.events()))} {len(store.check())}".encode())
        for act in (
            lambda: put(store, f"{9:032x}", Note(text="a")),
            lambda: store.backup(base / "backup.log"),
            lambda: Store.open(base / "new.log", create=True, program="0"),
        ):
            try:
                act()
                pipe.send_bytes(b"done")
            except InputError as error:
                pipe.send_bytes(str(error).encode())
