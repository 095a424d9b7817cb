"""Devices as data: one is paired, chooses its units, lists the others and sends one away."""

from __future__ import annotations

from io import BytesIO

from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from rollwright.units import System
from rollwright.web.asked import BadRequest, NotFound, json_of, text_in
from rollwright.web.bench import Bench, device_of
from rollwright.web.devices import ABSOLUTE, plain_name
from rollwright.web.guard.session import cookie_name
from rollwright.web.pairing import Wait

__all__ = ["choose", "devices", "invite", "me", "pair", "qr_svg", "revoke"]

_LOOPBACK = frozenset({"127.0.0.1", "::1"})


async def pair(bench: Bench, request: Request) -> Response:
    """Pair the device that asks, by the token of a link or by the code."""
    said = await json_of(request)
    token, code = text_in(said, "token", default=""), text_in(said, "code", default="")
    asker = request.client.host if request.client else ""
    local = asker in _LOOPBACK
    found = bench.pairing.accept(token=token, code="".join(code.split()), asker=asker, local=local)
    if isinstance(found, Wait):
        told = {"error": "too many wrong tries", "mend": f"wait {found.seconds:.0f} s and try again"}
        return JSONResponse(told, status_code=429, headers={"Retry-After": f"{found.seconds:.0f}"})
    if not found:
        bench.settings.tell(f"A pairing was refused ({asker}).")
        told = {
            "error": "this link or code does not work any more" if token else "this is not the code",
            "mend": "a link works once and for ten minutes; make a new one at the bench",
        }
        return JSONResponse(told, status_code=403)
    name = plain_name(text_in(said, "name", default=""))
    named = name or (bench.settings.author if local else "a phone")
    device, key = await bench.run(lambda: bench.devices.add(named, units=bench.settings.units))
    bench.settings.tell(f"Paired: {device.name}.")
    answer = JSONResponse({"device": device.as_json()}, status_code=201)
    answer.set_cookie(
        cookie_name(bench.settings.port),
        key,
        max_age=int(ABSOLUTE),
        path="/",
        secure=request.url.scheme == "https",
        httponly=True,
        samesite="strict",
    )
    return answer


async def me(bench: Bench, request: Request) -> Response:
    """Answer which device asks."""
    del bench
    return JSONResponse({"device": device_of(request).as_json()})


async def choose(bench: Bench, request: Request) -> Response:
    """Choose in which units this device shows everything."""
    said = await json_of(request)
    words = {"mm": System.METRIC, "in": System.INCH}
    units = words.get(text_in(said, "units"))
    if units is None:
        raise BadRequest("units are mm or in", mend="choose one of the two", key="units")
    device = device_of(request)
    await bench.run(lambda: bench.devices.choose(device.id, units=units))
    return JSONResponse({"units": said["units"]})


async def devices(bench: Bench, request: Request) -> Response:
    """Answer which devices are paired."""
    own = device_of(request).id
    found = await bench.run(bench.devices.every)
    return JSONResponse({"devices": [{**each.as_json(), "this": each.id == own} for each in found]})


async def invite(bench: Bench, request: Request) -> Response:
    """Make a link for one more device, which works once and for ten minutes."""
    await json_of(request)
    base = bench.settings.local_urls[0] if bench.settings.local_urls else str(request.base_url).rstrip("/")
    url = f"{base}/pair#t={bench.pairing.link_token()}"
    return JSONResponse({"url": url, "qr": qr_svg(url), "lan": bench.settings.lan}, status_code=201)


async def revoke(bench: Bench, request: Request) -> Response:
    """Send a device away."""
    await json_of(request)
    if not await bench.run(lambda: bench.devices.revoke(request.path_params["device"])):
        raise NotFound("there is no such device", mend="load the list again", key="device")
    bench.settings.tell("A device was sent away.")
    return JSONResponse({"revoked": request.path_params["device"]})


def qr_svg(url: str) -> str:
    """Return a link as a QR symbol, as the text of an SVG."""
    import segno  # noqa: PLC0415 - slow to import

    out = BytesIO()
    segno.make(url, error="m").save(
        out,
        kind="svg",
        xmldecl=False,
        svgns=True,
        nl=False,
        scale=4,
        dark="#000",
        light="#fff",
        omitsize=True,
    )
    return out.getvalue().decode()
