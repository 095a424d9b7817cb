"""Paired devices: who may ask, for how long, and how one is sent away.

A device holds 256 random bits; we hold their SHA-256 only, so that whoever reads our file gets in nowhere.
Bits of that length need no slow hash. It ends after 30 days without use and after 180 days in any case.
"""

from __future__ import annotations

import hashlib
import secrets
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime

from rollwright.units import System
from rollwright.web.state import State

__all__ = ["ABSOLUTE", "IDLE", "Device", "Devices", "plain_name"]

IDLE = 30 * 86_400.0
"""Time without use after which a device must be paired again [s]."""
ABSOLUTE = 180 * 86_400.0
"""Time after which a device must be paired again in any case [s]."""
_SEEN_EVERY = 60.0
"""Shortest time between two notes of when a device was seen [s]; each is a write to the disk."""
_LONGEST_NAME = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class Device:
    """A paired device: its `id`, its `name`, the `units` it shows, and when it was `made` and `seen` [s]."""

    id: str
    name: str
    units: System
    made: float
    seen: float

    def as_json(self) -> dict[str, object]:
        """Return it as plain data."""
        return {
            "id": self.id,
            "name": self.name,
            "units": self.units.value,
            "paired": datetime.fromtimestamp(self.made, UTC).isoformat(timespec="seconds"),
            "seen": datetime.fromtimestamp(self.seen, UTC).isoformat(timespec="seconds"),
        }


def plain_name(text: str) -> str:
    """Return a name for a device as it may be shown and stand in the log as an author."""
    shown = " ".join("".join(c if c.isprintable() else " " for c in text).split())
    return shown[:_LONGEST_NAME].strip()


class Devices:
    """The devices of one bench.

    Args:
        state: where they are kept.
        clock: gives the time [s since 1970].
    """

    def __init__(self, state: State, *, clock: Callable[[], float] = time.time) -> None:
        self._state = state
        self._clock = clock

    def add(self, name: str, *, units: System) -> tuple[Device, str]:
        """Pair a device.

        Args:
            name: what it is called.
            units: those it shows at first.

        Returns:
            The device, and the key that only it will hold.
        """
        key, now = secrets.token_urlsafe(32), self._clock()
        device = Device(id=secrets.token_hex(8), name=name, units=units, made=now, seen=now)
        self._state.rows(
            "INSERT INTO device VALUES (?, ?, ?, ?, ?, ?)",
            *(device.id, name, _hashed(key), units.value, now, now),
        )
        return device, key

    def of(self, key: str) -> Device | None:
        """Return the device that holds a key, None for a key of no device or of one whose time is over."""
        # Looked up by its hash: how long that takes tells nothing about a key that is close.
        rows = self._state.rows(
            "SELECT id, name, units, made, seen FROM device WHERE key_hash = ?", _hashed(key)
        )
        if not rows:
            return None
        device, now = _device(rows[0]), self._clock()
        if now - device.seen > IDLE or now - device.made > ABSOLUTE:
            self.revoke(device.id)
            return None
        if now - device.seen > _SEEN_EVERY:
            self._state.rows("UPDATE device SET seen = ? WHERE id = ?", now, device.id)
        return device

    def every(self) -> list[Device]:
        """Return all devices, the last seen first."""
        rows = self._state.rows("SELECT id, name, units, made, seen FROM device ORDER BY seen DESC")
        return [_device(row) for row in rows]

    def revoke(self, device_id: str) -> bool:
        """Send a device away; return whether there was one."""
        return bool(self._state.rows("DELETE FROM device WHERE id = ? RETURNING id", device_id))

    def choose(self, device_id: str, *, units: System) -> None:
        """Note in which units a device shows everything."""
        self._state.rows("UPDATE device SET units = ? WHERE id = ?", units.value, device_id)


def _hashed(key: str) -> str:
    return hashlib.sha256(key.encode()).hexdigest()


def _device(row: tuple[str, str, str, float, float]) -> Device:
    identity, name, units, made, seen = row
    return Device(id=identity, name=name, units=System(units), made=made, seen=seen)
