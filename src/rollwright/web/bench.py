"""One bench as its pages see it: settings, devices, and cars, worked out once for each state of the log."""

from __future__ import annotations

import os
import threading
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeVar

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request

from rollwright.errors import InputError
from rollwright.units import System
from rollwright.web.devices import Device, Devices
from rollwright.web.pairing import Pairing
from rollwright.web.settings import Settings, bench_id
from rollwright.web.state import State
from rollwright.workbench import log_past
from rollwright.workbench.log_enter import open_log

if TYPE_CHECKING:
    from rollwright.workbench.log_gates import Where

__all__ = ["Bench", "Stood", "device_of", "units_of"]

_Found = TypeVar("_Found")
_MOST_KEPT = 400


@dataclass(frozen=True, slots=True, kw_only=True)
class Stood:
    """How a car stands: its `id`, what was `found` of it, or the `trouble` that keeps it from being told."""

    id: str
    found: Where | None
    trouble: str = ""


class Bench:
    """What the pages share.

    Args:
        settings: of this bench.
        state: devices and answers.
        devices: the paired ones.
        pairing: how new ones are let in.
    """

    def __init__(self, settings: Settings, *, state: State, devices: Devices, pairing: Pairing) -> None:
        self.settings = settings
        self.state = state
        self.devices = devices
        self.pairing = pairing
        self.id = bench_id(settings.log)
        self.entering = threading.Lock()
        self._kept: OrderedDict[tuple[str, System, int], Stood] = OrderedDict()
        self._lock = threading.Lock()

    async def run(self, work: Callable[[], _Found]) -> _Found:
        """Return what some work gives that would hold up every other request if it were done here."""
        return await run_in_threadpool(work)

    @property
    def is_begun(self) -> bool:
        """Whether there is a log."""
        return os.path.lexists(self.settings.log)

    def cars(self) -> tuple[str, ...]:
        """Return the ids of the cars in the log, none where there is no log yet."""
        return log_past.car_ids(self.settings.log) if self.is_begun else ()

    def head(self) -> int:
        """Return the number of the log's last entry."""
        if not self.is_begun:
            return 0
        with open_log(self.settings.log) as log:
            return log.head()[0]

    def where(self, car: str, system: System) -> Where:
        """Return how a car stands; raise `InputError` where there is no such car or it cannot be told."""
        from rollwright.workbench import log_gates  # noqa: PLC0415 - brings numpy

        kept = self.stood(car, system)
        if kept.found is None:
            # Asked again, for the refusal itself.
            return log_gates.where(self.settings.log, car, system=system)
        return kept.found

    def every(self, system: System) -> list[Stood]:
        """Return how every car stands, in the order in which they were started."""
        head = self.head()
        return [self.stood(car, system, head=head) for car in self.cars()]

    def stood(self, car: str, system: System, *, head: int | None = None) -> Stood:
        """Return how a car stands, worked out once for each state of the log.

        Args:
            car: the car's id.
            system: units of the words.
            head: number of the log's last entry, where it was just looked up.

        Returns:
            How it stands.
        """
        from rollwright.workbench import log_gates  # noqa: PLC0415 - brings numpy

        # What one car's moves teach of the hand counts for the others, so that any entry may change any car.
        key = (car.casefold(), system, self.head() if head is None else head)
        with self._lock:
            if key in self._kept:
                self._kept.move_to_end(key)
                return self._kept[key]
        try:
            found = Stood(id=car, found=log_gates.where(self.settings.log, car, system=system))
        except InputError as error:
            found = Stood(id=car, found=None, trouble=f"{error.problem}; {error.mend}")
        with self._lock:
            self._kept[key] = found
            while len(self._kept) > _MOST_KEPT:
                self._kept.popitem(last=False)
        return found

    def warm(self, system: System) -> None:
        """Work out how every car stands before someone asks."""
        try:
            self.every(system)
        except InputError:
            # Whoever asks is told.
            return


def device_of(request: Request) -> Device:
    """Return the device that asks; only behind the session guard."""
    found: Device = request.state.device
    return found


def units_of(request: Request) -> System:
    """Return the units that a page is shown in."""
    return device_of(request).units
