"""What is entered of a car: the same words as on the command line, once, however often they are sent."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from rollwright.web.api.cars import entry_answer, known
from rollwright.web.asked import BadRequest, json_of, of_this_bench, text_in, texts_in
from rollwright.web.bench import Bench, units_of
from rollwright.web.posted import AnotherBody, once
from rollwright.web.settings import Verb
from rollwright.web.stamps import stamp_for
from rollwright.workbench.log_enter import open_log

__all__ = ["entry_schema", "post_entry"]


def entry_schema(verbs: Mapping[str, Verb]) -> dict[str, Any]:
    """Return the schema of what is posted to enter something."""
    return {
        "type": "object",
        "properties": {
            "id": {"type": "string", "pattern": "^[0-9a-f]{32}$", "description": "made by the device"},
            "bench": {"type": "string", "description": "which bench the page belongs to"},
            "version": {"type": "integer", "description": "of the page"},
            "verb": {"enum": sorted(verbs)},
            "words": {
                "type": "array",
                "items": {"type": "string"},
                "description": "as behind the command: "
                + "; ".join(f"{name}: {verb.words or 'none'}" for name, verb in sorted(verbs.items())),
            },
            "options": {"type": "object", "additionalProperties": {"type": "string"}},
        },
        "required": ["id", "bench", "version", "verb"],
        "additionalProperties": False,
    }


async def post_entry(bench: Bench, request: Request) -> Response:
    """Enter something, and answer when it is on the disk."""
    said = await json_of(request)
    if (refused := of_this_bench(bench, said)) is not None:
        return refused
    stamp = stamp_for(bench, request, text_in(said, "id"))
    name, words = text_in(said, "verb"), texts_in(said, "words")
    verb = bench.settings.verbs.get(name)
    if verb is None:
        known_verbs = ", ".join(sorted(bench.settings.verbs))
        raise BadRequest("this cannot be entered here", mend=f"one of {known_verbs} can", key="verb")
    options = _options(said, verb)
    if extra := set(said) - {"id", "bench", "version", "verb", "words", "options"}:
        raise BadRequest("there is a key too many", mend="leave it out", key=min(map(str, extra)))
    units, asked = units_of(request), request.path_params["car"]

    def work() -> tuple[Mapping[str, object], bool]:
        car = known(bench, asked)

        def entered() -> Mapping[str, object] | None:
            with open_log(bench.settings.log) as log:
                kept = log.entry(stamp.event_id)
                if kept is None:
                    return None
                entry = log.recorded(kept, before="")
            return entry_answer(bench, entry, units)

        def enter() -> Mapping[str, object]:
            told = verb.enter(bench.settings.log, car, words, options, stamp)
            return {**(entered() or {}), **told}

        with bench.entering:
            body = {"car": car, "verb": name, "words": words, "options": options}
            return once(bench.state, stamp.event_id, body, enter=enter, entered=entered)

    try:
        answer, is_new = await bench.run(work)
    except AnotherBody as error:
        return JSONResponse({"error": error.problem, "mend": error.mend}, status_code=409)
    return JSONResponse(answer, status_code=201 if is_new else 200)


def _options(said: Mapping[str, Any], verb: Verb) -> dict[str, str]:
    found = said.get("options", {})
    if not isinstance(found, dict):
        raise BadRequest("options are no object", mend="write them by their names", key="options")
    for each in found:
        if each not in verb.options:
            mend = f"it has {', '.join(verb.options)}" if verb.options else "leave it out"
            raise BadRequest("there is no such option", mend=mend, key=str(each)[:40])
    return {name: text_in(found, name) for name in found}
