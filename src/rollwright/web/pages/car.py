"""A car at the bench: which car, its drawing, the one next step with three answers, gates and history."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from starlette.requests import Request
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.routing import Route

from rollwright.errors import InputError
from rollwright.units import System
from rollwright.web.answers import answer_to, view_for
from rollwright.web.api.cars import entry_answer, known
from rollwright.web.bench import Bench, units_of
from rollwright.web.templating import render
from rollwright.web.words import gate_lines
from rollwright.workbench import log_past
from rollwright.workbench.pictures_of_car import VIEWS, Picture, car_picture, picture_style

if TYPE_CHECKING:
    from rollwright.workbench.log import Folded

__all__ = ["routes"]

_WIDTH = 100.0
"""Width of a drawing [mm]: about that of a phone, so that its words can be read there."""
_SHOWN = 60
"""Entries that the page shows."""
_VIEW_WORDS = {"top": "above", "side": "side", "front": "front", "rear": "rear", "board": "board"}


def routes(bench: Bench) -> list[Route]:
    """Return the page's routes."""

    async def page(request: Request) -> Response:
        units, asked = units_of(request), request.path_params["car"]
        wanted = request.query_params.get("view", "")
        car = await bench.run(lambda: known(bench, asked))
        if car != asked:
            return RedirectResponse(request.url_for("car_page", car=car).path, status_code=303)
        told = await bench.run(lambda: _told(bench, car, wanted, units))
        return render(bench, request, "car.html", **told)

    async def style(request: Request) -> Response:
        del request
        return PlainTextResponse(
            picture_style(), media_type="text/css", headers={"Cache-Control": "public, max-age=3600"}
        )

    return [
        Route("/cars/{car}", page, methods=["GET"], name="car_page"),
        Route("/static/drawing.css", style, methods=["GET"], name="drawing_style"),
    ]


def _told(bench: Bench, car: str, wanted: str, units: System) -> dict[str, Any]:
    past = log_past.history(bench.settings.log, car)
    entries = [
        {
            **entry_answer(bench, each, units, withdrawn_by=past.withdrawn.get(each.seq)),
            "can_undo": each.seq not in past.withdrawn
            and each.event.kind not in {"car_started", "withdrawn"},
            "at": each.time.astimezone().strftime("%d %b %H:%M"),
        }
        for each in reversed(past.entries[-_SHOWN:])
    ]
    found = {
        "car": car,
        "place": bench.cars().index(car),
        "entries": entries,
        "head": bench.head(),
        "more": len(past.entries) > _SHOWN,
    }
    stood = bench.stood(car, units)
    if stood.found is None:
        return {
            **found,
            "name": car,
            "trouble": stood.trouble,
            "step": None,
            "answer": None,
            "gates": [],
            "picture": None,
            "view": "",
            "views": [],
            "retired": "",
            "causes": [],
        }
    where = stood.found
    view = wanted if wanted in VIEWS else view_for(where.step)
    return {
        **found,
        "name": where.found.known.car.name,
        "trouble": "",
        "step": where.step,
        "answer": answer_to(where.step, verbs=bench.settings.verbs),
        "gates": gate_lines(where, units),
        "picture": _picture(where.found, view, units),
        "view": view,
        "views": [(each, _VIEW_WORDS[each]) for each in VIEWS],
        "retired": where.found.retired,
        "causes": [each.words for each in where.causes[:2]] if where.rolled else [],
    }


def _picture(found: Folded, view: str, units: System) -> Picture | str:
    try:
        return car_picture(found, view, width=_WIDTH, system=units)
    except InputError as error:
        return f"It cannot be drawn: {error.problem}; {error.mend}."
