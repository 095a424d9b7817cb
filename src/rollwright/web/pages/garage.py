"""The garage: every car with its seven gates at a glance, and a new one from a file of the folder."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from rollwright.web.bench import Bench, Stood, units_of
from rollwright.web.templating import render
from rollwright.web.words import gate_lines
from rollwright.workbench.car_files import cars_in

__all__ = ["routes"]

_GATES = 7


def routes(bench: Bench) -> list[Route]:
    """Return the page's routes."""

    async def page(request: Request) -> Response:
        units = units_of(request)

        def told(place: int, stood: Stood) -> dict[str, object]:
            if stood.found is None:
                return {
                    "id": stood.id,
                    "place": place,
                    "name": stood.id,
                    "trouble": stood.trouble,
                    "retired": "",
                }
            return {
                "id": stood.id,
                "place": place,
                "name": stood.found.found.known.car.name,
                "retired": stood.found.found.retired,
                "gates": gate_lines(stood.found, units),
                "passed": sum(state.passed for state in stood.found.found.gates.values()),
                "next": stood.found.step.text,
                "trouble": "",
            }

        def work() -> tuple[list[dict[str, object]], list[tuple[str, str]]]:
            cars = [told(place, each) for place, each in enumerate(bench.every(units))]
            return cars, [(each.name, each.car) for each in cars_in(bench.settings.folder)]

        cars, files = await bench.run(work)
        return render(
            bench,
            request,
            "garage.html",
            # What is not finished comes first.
            cars=sorted(
                (each for each in cars if not each["retired"]), key=lambda each: each.get("passed") == _GATES
            ),
            retired=[each for each in cars if each["retired"]],
            files=files,
        )

    return [Route("/", page, methods=["GET"], name="garage_page")]
