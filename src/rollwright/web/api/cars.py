"""The cars as data: which there are, how one stands, what was entered, and what a written size means."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from rollwright.errors import InputError
from rollwright.units import System
from rollwright.web.asked import BadRequest, NotFound, json_of, of_this_bench, text_in, texts_in
from rollwright.web.bench import Bench, units_of
from rollwright.web.echo import echo_of
from rollwright.web.stamps import stamp_for
from rollwright.workbench.log_enter import entry_json, known_car, open_log

if TYPE_CHECKING:
    from rollwright.workbench.log_enter import Recorded

__all__ = ["car_files", "cars", "echo", "entries", "entry_answer", "files", "known", "one_car", "start"]

PAGE_ROWS = 200
"""Most entries that one answer holds."""


async def cars(bench: Bench, request: Request) -> Response:
    """Answer which cars there are, and how each stands."""
    units = units_of(request)
    found = await bench.run(lambda: bench.every(units))
    told = [
        {
            "car": each.id,
            "name": each.id if each.found is None else each.found.found.known.car.name,
            "retired": None if each.found is None else each.found.found.retired or None,
            "gates": None
            if each.found is None
            else {gate.value: state.passed for gate, state in each.found.found.gates.items()},
            "next": None if each.found is None else each.found.step.text,
            "trouble": each.trouble or None,
        }
        for each in found
    ]
    return JSONResponse({"cars": told, "head": await bench.run(bench.head)})


def known(bench: Bench, car: str) -> str:
    """Return a car's id as the log writes it; raise `NotFound` for no car."""
    for each in bench.cars():
        if each.casefold() == car.casefold():
            return each
    raise NotFound("there is no such car in this log", mend="choose one in the garage", key="car")


async def one_car(bench: Bench, request: Request) -> Response:
    """Answer how a car stands, as `rollwright log where --json` does."""
    units, asked = units_of(request), request.path_params["car"]

    def work() -> dict[str, object]:
        car = known(bench, asked)
        return bench.where(car, units).as_json()

    return JSONResponse(await bench.run(work))


def entry_answer(
    bench: Bench, entry: Recorded, system: System, *, withdrawn_by: int | None = None
) -> dict[str, object]:
    """Return an entry as data and in words."""
    words = bench.settings.entry_words(entry, system).replace("\N{NO-BREAK SPACE}", " ")
    return {**entry_json(entry), "words": words, "withdrawn_by": withdrawn_by}


async def entries(bench: Bench, request: Request) -> Response:
    """Answer what was entered of a car after an entry, for pages that ask again and again."""
    units, asked = units_of(request), request.path_params["car"]
    try:
        after = int(request.query_params.get("after", "0"))
    except ValueError:
        raise BadRequest("after is no whole number", mend="give an entry's number", key="after") from None

    def work() -> dict[str, object]:
        if not bench.is_begun:
            raise NotFound("there is no log yet", mend="start a car in the garage", key="car")
        with open_log(bench.settings.log) as log:
            car = known_car(log, known(bench, asked))
            new: list[Recorded] = []
            for entry in log.events(car, after=max(0, min(after, 2**53))):
                if len(new) == PAGE_ROWS:
                    break
                new.append(entry)
            head = log.head()[0]
        more = len(new) == PAGE_ROWS
        return {
            "car": car,
            "entries": [entry_answer(bench, each, units) for each in new],
            "head": new[-1].seq if more else head,
            "more": more,
        }

    return JSONResponse(await bench.run(work))


def car_files(folder: Path) -> list[str]:
    """Return the names of the files of a folder that look like those of cars."""
    from rollwright.workbench.car_files import cars_in  # noqa: PLC0415 - only this needs it

    return [each.name for each in cars_in(folder)]


async def files(bench: Bench, request: Request) -> Response:
    """Answer which car files lie in the bench's folder."""
    del request
    return JSONResponse({"files": await bench.run(lambda: car_files(bench.settings.folder))})


async def start(bench: Bench, request: Request) -> Response:
    """Enter a car of a file in the folder, as `rollwright log start` does."""
    said = await json_of(request)
    if (refused := of_this_bench(bench, said)) is not None:
        return refused
    file, car = text_in(said, "file"), text_in(said, "as", default="")
    stamp = stamp_for(bench, request, text_in(said, "id"))

    def work() -> dict[str, object]:
        from rollwright.workbench import log as logs  # noqa: PLC0415 - only this needs it

        # What was sent is looked up among the names that are there, and never used as a path itself.
        found = next((each for each in car_files(bench.settings.folder) if each == file), None)
        if found is None:
            raise NotFound("there is no such car file", mend="choose one of the folder's", key="file")
        with bench.entering:
            started = logs.start(
                bench.settings.log, bench.settings.folder / found, car=car or None, stamp=stamp
            )
        return started.as_json()

    return JSONResponse(await bench.run(work), status_code=201)


async def echo(bench: Bench, request: Request) -> Response:
    """Answer how a written size is understood, without entering anything."""
    said = await json_of(request)
    kind, values = text_in(said, "kind"), texts_in(said, "values")
    car, units = text_in(said, "car", default=""), units_of(request)

    def work() -> dict[str, object]:
        where = None
        if car:
            try:
                where = bench.where(known(bench, car), units)
            except InputError:
                where = None
        return echo_of(kind, _trimmed(values), system=units, where=where)

    return JSONResponse(await bench.run(work))


def _trimmed(values: Sequence[str]) -> list[str]:
    return [each for each in values if each.strip()]
