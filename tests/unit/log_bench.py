"""A bench log for the tests of the store."""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from rollwright.bench.codec import Recorded
from rollwright.bench.events import (
    CarStarted,
    Event,
    Photo,
    StartedFrom,
)
from rollwright.bench.store import Store

NOON = datetime(2026, 5, 4, 12, 0, tzinfo=UTC)
START = CarStarted(source=StartedFrom.FILE, car_file='format = 1\nname = "Lark"\n')
PICTURE = b"\xff\xd8 a picture of the dominant wheel"
SHOWN = Photo(sha256=hashlib.sha256(PICTURE).hexdigest(), media_type="image/jpeg")


def log_id(number: int) -> str:
    return f"{number:032x}"


def put(store: Store, number: int, event: Event, car: str = "LARK", **more: Any) -> Recorded:
    usual: dict[str, Any] = {"time": NOON + timedelta(seconds=number), "author": "Ada"}
    return store.append(event, event_id=log_id(number), car=car, **usual | more)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "bench.log"


@pytest.fixture
def store(path: Path) -> Iterator[Store]:
    with Store.open(path, create=True, program="0.1.0") as opened:
        put(opened, 1, START)
        yield opened


def raw(path: Path) -> closing[sqlite3.Connection]:
    """Open the file as any other program would, with SQLite's own settings."""
    return closing(sqlite3.connect(path, isolation_level=None))


def everything(store: Store) -> list[list[tuple[Any, ...]]]:
    return [
        store.rows("SELECT * FROM entry"),
        store.rows("SELECT * FROM photo"),
        store.rows("SELECT * FROM step"),
    ]
