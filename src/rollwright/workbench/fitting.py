"""Use case: find what brakes a car from what was timed, and write it into a track file."""

from __future__ import annotations

import os
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rollwright.car.file import read_car
from rollwright.car.model import Car
from rollwright.car.toml_file import load_toml, parse_toml
from rollwright.car.write import save_text
from rollwright.errors import FileUnreadable, InputError, WrongType

if TYPE_CHECKING:
    from rollwright.quantity import Quantity
    from rollwright.run.track import Track
    from rollwright.setup.run_fits_file import FitFile
    from rollwright.setup.run_fits_result import Rates, RunFit

__all__ = ["MISFIT", "NAMES", "Fitted", "find_losses", "updated_track_text"]

NAMES: Mapping[str, tuple[str, float, str]] = {
    "bearing_friction": ("bearing friction", 1.0, ""),
    "hub_friction": ("hub friction", 1.0, ""),
    "rail_friction": ("rail friction", 1.0, ""),
    "tread_friction": ("tread friction", 1.0, ""),
    "creep_stiffness": ("creep stiffness", 1.0, "per rad"),
    "rolling": ("rolling resistance", 1.0, ""),
    "drag_area": ("drag area", 1e4, "cm2"),
    "drag_area_per_pitch": ("drag area per pitch", 1e4 * 0.017453292519943295, "cm2 per degree"),
    "drag_area_per_height": ("drag area per height", 10.0, "cm2 per mm"),
}
"""The coefficients in words, with the factor from SI to the unit that they are shown in, and that unit."""

MISFIT = 0.01
"""Chance of a misfit below which the builder is warned."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitted:
    """What was found from the readings of a fit file.

    Attributes:
        file: what the file holds.
        fit: what was found.
        doubts: in words, what the readings cannot tell and what would.
        inputs: in words, what adds most to each coefficient's uncertainty, empty where nothing stands out.
        saved: path of the track file that was written, or None.
        written: coefficients that stand in it as measured now.
    """

    file: FitFile
    fit: RunFit
    doubts: tuple[str, ...]
    inputs: tuple[str, ...]
    saved: str | None
    written: tuple[str, ...]

    def as_json(self) -> dict[str, object]:
        """Return it as plain data in SI units."""
        fit = self.fit
        return {
            "name": self.file.name,
            "readings": fit.readings,
            "found": [
                {
                    "name": each.name,
                    "value": each.value,
                    "uncertainty": each.uncertainty,
                    "prior": None
                    if each.prior is None
                    else {"value": each.prior[0], "uncertainty": each.prior[1]},
                    "told": each.told,
                    "known": each.known,
                    "at_bound": each.at_bound,
                    "largest_input": each.largest_input,
                    "largest_share": each.largest_share,
                }
                for each in fit.found
            ],
            "covariance": [list(row) for row in fit.covariance],
            "correlation": [list(row) for row in fit.correlation],
            "singular_values": list(fit.singular_values),
            "directions": [list(each.values()) for each in fit.directions],
            "misfit": {
                "chi_squared": fit.chi_squared,
                "dof": fit.dof,
                "probability": fit.misfit_probability,
            },
            "doubts": [
                {"names": list(doubt.names), "helps": doubt.helps, "input": doubt.input, "text": text}
                for doubt, text in zip(fit.doubts, self.doubts, strict=True)
            ],
            "alone": [_rates(each) for each in fit.rates],
            "pulls": [{"name": name, "value": value} for name, value in fit.pulls.items()],
            "saved": self.saved,
            "written": list(self.written),
        }


def _rates(rates: Rates) -> dict[str, object]:
    return {
        "name": rates.name,
        "start": rates.start,
        "terms": [
            {
                "name": name,
                "value": each.value,
                "uncertainty": each.uncertainty,
                "seen": name in rates.seen,
            }
            for name, each in rates.terms.items()
        ],
        "tied": list(rates.tied),
        "misfit_probability": rates.misfit_probability,
    }


def find_losses(path: str | os.PathLike[str], *, save_as: str | os.PathLike[str] | None = None) -> Fitted:
    """Return what brakes the car of a fit file, and write it into a new track file if that is wanted.

    Args:
        path: the fit file; cars and tracks are looked for beside it.
        save_as: where to write the file's track with `[losses]` brought up to date; only coefficients that
            the readings tell as well as they were known before are changed.

    Returns:
        What was found.

    Raises:
        InputError: a file cannot be used or written, or the readings do not fit the cars and tracks.
    """
    from rollwright.run.track_file import parse_track  # noqa: PLC0415 - fits bring numpy and scipy
    from rollwright.setup.run_fits import fit_losses  # noqa: PLC0415
    from rollwright.setup.run_fits_file import fit_file  # noqa: PLC0415
    from rollwright.setup.run_fits_tell import doubt_words, input_words  # noqa: PLC0415

    file, folder = Path(path).name, Path(path).parent

    @cache
    def car_of(name: str) -> Car:
        return read_car(folder / name)

    @cache
    def track_of(name: str) -> Track:
        return parse_track(load_toml(folder / name, what="track file"), file=name)

    text = load_toml(path, what="fit file")
    try:
        found = fit_file(parse_toml(text, file=file), car_of=car_of, track_of=track_of)
        fit = fit_losses(
            found.fitted,
            spin_downs=found.spin_downs,
            coast_downs=found.coast_downs,
            timed_runs=found.timed_runs,
            priors=found.priors,
        )
    except InputError as error:
        raise error.at(file=file) from None
    known = {each.name: each.quantity for each in fit.found if each.known}
    if save_as is not None and known:
        if not found.track:
            raise WrongType(
                "no track is named, so there is none to write anew",
                mend='write track = "FILE.toml" at the top',
                file=file,
                key="track",
            )
        old = load_toml(folder / found.track, what="track file")
        save_text(save_as, updated_track_text(old, known, file=found.track))
    return Fitted(
        file=found,
        fit=fit,
        doubts=tuple(map(doubt_words, fit.doubts)),
        inputs=tuple(input_words(each.largest_input) for each in fit.found),
        saved=os.fspath(save_as) if save_as is not None and known else None,
        written=tuple(known) if save_as is not None else (),
    )


def updated_track_text(text: str, losses: Mapping[str, Quantity], *, file: str = "track.toml") -> str:
    """Return a track file's text with some losses changed and everything else left as it stands.

    Args:
        text: the file's present text.
        losses: new coefficients by name [SI].
        file: the file's name, for messages.

    Returns:
        The new text; it has been read back and checked.

    Raises:
        InputError: the present text, or the text with its changes, is not a usable track file.
    """
    import tomlkit  # noqa: PLC0415 - only writing needs it, and it costs start-up time
    from tomlkit.exceptions import TOMLKitError  # noqa: PLC0415

    from rollwright.run.track_file import parse_track  # noqa: PLC0415

    parse_track(text, file=file)
    wanted = tomllib.loads(text)
    try:
        document = tomlkit.parse(text)
        if "losses" not in document:
            document["losses"] = tomlkit.table()
        place: Any = document["losses"]
        for name, quantity in losses.items():
            written = _written(quantity)
            wanted.setdefault("losses", {})[name] = written
            inline = tomlkit.inline_table()
            inline.update(written)
            old = place.get(name)
            if old is not None and hasattr(old, "trivia"):
                # The remark at the end of the line belongs to the key, so it stays with the new value.
                inline.trivia.comment_ws = old.trivia.comment_ws
                inline.trivia.comment = old.trivia.comment
            place[name] = inline
        new = tomlkit.dumps(document)
        sound = tomllib.loads(new) == wanted
    except (TOMLKitError, RecursionError, tomllib.TOMLDecodeError):
        sound = False
    if not sound:
        raise FileUnreadable(
            "this file is laid out in a way that cannot be changed line by line",
            mend="write each table under one heading of its own",
            file=file,
        )
    parse_track(new, file=file)
    return new


def _written(quantity: Quantity) -> dict[str, float | str]:
    # Three figures of an uncertainty are more than anyone knows; the value goes as far.
    uncertainty = float(f"{quantity.uncertainty:.3g}")
    places = 3 - len(f"{uncertainty:.0e}".partition("e")[0]) - int(f"{uncertainty:.0e}".partition("e")[2])
    return {
        "value": round(quantity.value, max(places, 0)),
        "uncertainty": uncertainty,
        "from": quantity.source.value,
    }
