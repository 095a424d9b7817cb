"""Which single further reading would narrow the verdicts most."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rollwright.car.dimensions import dimension_kind
from rollwright.car.model import Station
from rollwright.quantity import Quantity, Source
from rollwright.setup.estimate import Estimate
from rollwright.setup.predict import GATE_QUANTITIES, ReadingModel, derivatives
from rollwright.setup.readings import DEFAULT_UNCERTAINTY, Reading, ReadingKind
from rollwright.units import Kind, System

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["NextReading", "next_reading"]

_WORDS = {"height_difference": "height difference", "drift": "drift", "rail_offset": "rail offset"}
_TIP = 0.030


@dataclass(frozen=True, slots=True, kw_only=True)
class NextReading:
    """The reading worth taking next.

    Attributes:
        kind: what to read.
        station: at which wheel, or None where the kind needs none.
        dimension: which size, for a size.
        quantity: the gate quantity that it narrows most.
        before: standard uncertainty of that quantity now [m].
        after: standard uncertainty with one such reading more [m].
        text: the same in one sentence.
    """

    kind: ReadingKind
    station: Station | None
    dimension: str
    quantity: str
    before: float
    after: float
    text: str

    def as_json(self) -> dict[str, object]:
        """Return it as plain data in SI units."""
        return {
            "kind": self.kind.value,
            "station": None if self.station is None else self.station.value,
            "dimension": self.dimension or None,
            "quantity": self.quantity,
            "uncertainty_now": self.before,
            "uncertainty_then": self.after,
            "text": self.text,
        }


def _candidates(found: Estimate) -> list[Reading]:
    """Return one of each reading that a builder could take next, as good as those taken so far."""
    known = {
        reading.kind: reading.quantity.uncertainty
        for reading in found.readings
        if not reading.dimension or dimension_kind(reading.dimension) is Kind.LENGTH
    }
    dominant = found.car.dominant

    def one(kind: ReadingKind, **more: object) -> Reading:
        uncertainty = known.get(kind, DEFAULT_UNCERTAINTY[kind])
        quantity = Quantity(value=0.0, uncertainty=uncertainty, source=Source.MEASURED)
        return Reading(kind=kind, quantity=quantity, where=kind.words, **more)  # type: ignore[arg-type]

    at = dominant.value
    sizes = ["body.width", "rail.width", f"{at}.hub_projection", f"{at}.washer"]
    return [
        one(ReadingKind.HEIGHT_DIFFERENCE),
        one(ReadingKind.DRIFT),
        one(ReadingKind.RAIL_OFFSET),
        one(ReadingKind.TIP_SWEEP, station=dominant, distance=_TIP),
        *(one(ReadingKind.RAIL_CLEARANCE, station=station) for station in Station if station is not dominant),
        *(one(ReadingKind.SIZE, dimension=name) for name in sizes),
    ]


def next_reading(
    found: Estimate, *, weights: NDArray[np.float64], system: System = System.METRIC
) -> NextReading:
    """Return the single further reading that would narrow the verdicts most.

    Args:
        found: what is known now.
        weights: worth of a smaller variance of each gate quantity [1/m2], (3,).
        system: units of its words.

    Returns:
        The reading whose expected drop in weighted variance is largest: a reading with slope h and
        noise s takes `(g h)^2 / (h h + s^2)` off the variance of a gate with slope g (linear
        Gaussian update).
    """
    candidates = _candidates(found)
    bench = ReadingModel(found.car, found.seats, candidates)
    _, slopes = derivatives(bench.predict, found.values, found.root.T)
    # A reading that the car cannot show has an absurd slope or none; neither helps.
    slopes = np.where(np.abs(slopes) < 1.0, slopes, 0.0)
    noise = np.array([candidate.quantity.uncertainty for candidate in candidates])
    taken = (found.gate_root @ slopes.T) ** 2 / (np.sum(slopes**2, axis=1) + noise**2)
    best = int(np.argmax(weights @ taken))
    gate = int(np.argmax(weights * taken[:, best]))
    before = float(np.sum(found.gate_root[gate] ** 2))
    after = max(0.0, before - float(taken[gate, best]))
    chosen = candidates[best]
    return NextReading(
        kind=chosen.kind,
        station=chosen.station,
        dimension=chosen.dimension,
        quantity=GATE_QUANTITIES[gate],
        before=float(np.sqrt(before)),
        after=float(np.sqrt(after)),
        text=_text(chosen, found, gate, before**0.5, after**0.5, system),
    )


def _text(chosen: Reading, found: Estimate, gate: int, before: float, after: float, system: System) -> str:
    again = any(reading.kind is chosen.kind for reading in found.readings)
    where = "" if chosen.station is None else f" at the {chosen.station.words} wheel"
    if chosen.kind is ReadingKind.SIZE:
        place, _, last = chosen.dimension.partition(".")
        what = f"Measure the {place.replace('_', ' ')} {last.replace('_', ' ')} with a caliper"
    elif chosen.kind is ReadingKind.TIP_SWEEP:
        axle = (chosen.station or found.car.dominant).words
        what = f"Roll the {axle} axle on a plate and read its tip's swing"
    else:
        what = f"Read the {chosen.kind.words}{where}{' once more, set up afresh' if again else ''}"
    now, then, unit = _alike(before, after, system)
    return f"{what}: it would narrow the {_WORDS[GATE_QUANTITIES[gate]]} from ± {now} to ± {then} {unit}."


def _alike(before: float, after: float, system: System) -> tuple[str, str, str]:
    """Return two uncertainties in one unit, each with the digits that an uncertainty earns."""
    scale, unit = (1e3, "mm") if system is System.METRIC else (1.0 / 25.4e-6, "thou")
    if system is System.INCH and before >= 2.54e-3:
        scale, unit = 1.0 / 0.0254, "in"
    now, then = (_two_digits(value * scale) for value in (before, after))
    return now, then, unit


def _two_digits(value: float) -> str:
    if value <= 0.0:
        return "0"
    return f"{value:.{max(0, 1 - math.floor(math.log10(value)))}f}"
