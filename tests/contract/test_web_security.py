"""What keeps strangers and strange pages out, on every route that the router has.

The routes are taken from the application itself, so that a new page is covered without being named here.
"""

from __future__ import annotations

import asyncio
import json
import re
import socket
import time
from pathlib import Path

import pytest
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Mount, Route
from starlette.testclient import TestClient

from rollwright.errors import OutOfRange
from rollwright.scenario.club import file_text
from rollwright.web import server
from rollwright.web.asked import BadRequest
from rollwright.web.guard.headers import CSP
from rollwright.web.guard.limits import LARGEST_BODY, LARGEST_HEADERS, MOST_A_SECOND
from rollwright.web.guard.session import PUBLIC, is_public
from rollwright.web.operations import openapi
from rollwright.web.server import PortTaken, listen
from tests.unit.web.web_bench import HERE, PORT, WebBench, ada, web

__all__ = ["ada", "web"]


def routes(app: Starlette) -> list[tuple[str, str]]:
    """Return method and path of every route, its parameters filled in."""
    found = []
    for route in app.routes:
        if isinstance(route, Route):
            path = re.sub(r"\{\w+\}", "lark", route.path)
            found += [(method, path) for method in sorted(route.methods or ()) if method != "HEAD"]
        elif isinstance(route, Mount):
            found += [("GET", f"{route.path}/bench.css"), ("GET", f"{route.path}/none.css")]
    return found


@pytest.fixture(scope="module")
def every(tmp_path_factory: pytest.TempPathFactory) -> list[tuple[str, str]]:
    made = WebBench(tmp_path_factory.mktemp("routes"))
    found = routes(made.app)
    made.bench.state.close()
    assert len(found) > 15
    return found


def ask(client: TestClient, method: str, path: str, **more: object) -> Response:
    usual: dict[str, object] = {"json": {}} if method != "GET" and "content" not in more else {}
    return client.request(method, path, **usual, **more)  # type: ignore[arg-type, return-value]


def test_without_its_cookie_nothing_is_told(web: WebBench, every: list[tuple[str, str]]) -> None:
    stranger = web.stranger()
    for method, path in every:
        web.clock.now += 60.0
        if is_public(path):
            continue
        answer = ask(stranger, method, path)
        assert answer.status_code == 401, (method, path)
        page = ask(stranger, method, path, headers={"Accept": "text/html"})
        is_page = method == "GET" and not path.startswith("/api/")
        assert page.status_code == (303 if is_page else 401), (method, path)
        if is_page:
            assert page.headers["location"] == "/pair"


def test_only_pairing_and_the_programs_own_files_are_open() -> None:
    assert {"/pair", "/api/pair"} == PUBLIC
    for path in ("/pairs", "/api/pair/", "/api/pairing", "/statics", "/static", "/api/static/", "//static/"):
        assert not is_public(path), path


def test_a_wrong_key_is_no_key(web: WebBench, ada: TestClient) -> None:
    key = ada.cookies["rollwright_8573"]
    for wrong in (key[:-1], key + "a", key.swapcase(), "", "'; DROP TABLE device; --"):
        stranger = web.stranger()
        assert stranger.get("/api/me", headers={"Cookie": f"rollwright_8573={wrong}"}).status_code == 401
    assert web.stranger().get("/api/me", headers={"Cookie": f"rollwright_8574={key}"}).status_code == 401


def test_every_answer_has_the_headers(web: WebBench, ada: TestClient, every: list[tuple[str, str]]) -> None:
    stranger = web.stranger()
    foreign = TestClient(web.app, base_url="http://evil.example", follow_redirects=False)
    for method, path in every:
        for client in (ada, stranger, foreign):
            answer = ask(client, method, path)
            headers = answer.headers
            assert headers["content-security-policy"] == CSP, (method, path)
            assert headers["x-content-type-options"] == "nosniff"
            assert headers["referrer-policy"] == "same-origin"
            assert headers["cross-origin-resource-policy"] == "same-origin"
            assert not [name for name in headers if name.startswith("access-control-")]
            if not path.startswith("/static/"):
                assert headers["cache-control"] == "no-store", (method, path)
        web.bench.devices.add("other", units=web.settings.units)


def test_the_policy_allows_nothing_inside_a_page() -> None:
    assert "unsafe" not in CSP
    for part in ("default-src 'self'", "object-src 'none'", "base-uri 'none'", "frame-ancestors 'none'"):
        assert part in CSP
    assert "http" not in CSP


def test_no_page_holds_script_or_style_inside_itself(ada: TestClient) -> None:
    for path in (
        "/",
        "/cars/lark",
        "/devices",
        "/pair",
        *(f"/cars/lark?view={v}" for v in ("side", "board")),
    ):
        text = ada.get(path).text
        assert "<!doctype html>" in text
        assert not re.search(r"<style|\sstyle=|\son\w+=|javascript:", text), path
        assert re.findall(r"<script(?![^>]*\ssrc=\"/static/)", text) == [], path
        assert not re.findall(r'(?:src|href)="(?!/|\?|#)', text), path


@pytest.mark.parametrize(
    ("host", "status"),
    [
        (f"127.0.0.1:{PORT}", 200),
        (f"localhost:{PORT}", 200),
        (f"LOCALHOST:{PORT}", 200),
        (f"[::1]:{PORT}", 200),
        ("127.0.0.1", 421),
        ("127.0.0.1:80", 421),
        (f"evil.example:{PORT}", 421),
        (f"localhost.:{PORT}", 421),
        (f"localhost.evil.example:{PORT}", 421),
        (f"evil-localhost:{PORT}", 421),
        (f"192.168.1.7:{PORT}", 421),
        (f"127.0.0.1:{PORT}@evil.example", 421),
        ("", 421),
    ],
)
def test_only_our_own_names_are_answered(ada: TestClient, host: str, status: int) -> None:
    answer = ada.get("/api/me", headers={"Host": host})
    assert answer.status_code == status
    if status == 421:
        assert "--name" in answer.json()["mend"]
        assert "evil" not in answer.text


def test_a_name_that_points_here_passes_no_guard(ada: TestClient) -> None:
    # As after DNS rebinding: host and origin agree, and neither is ours.
    evil = {"Host": f"evil.example:{PORT}", "Origin": f"http://evil.example:{PORT}"}
    assert ada.post("/api/me", json={"units": "in"}, headers=evil).status_code == 421
    page = ada.get("/", headers={**evil, "Accept": "text/html"})
    assert page.status_code == 421
    assert "lark" not in page.text.lower()


_NONE = "(none)"


@pytest.mark.parametrize(
    ("origin", "site", "status"),
    [
        (HERE, None, 200),
        (HERE, "same-origin", 200),
        (HERE, "same-site", 403),
        (HERE, "cross-site", 403),
        (HERE, "none", 403),
        (_NONE, None, 403),
        ("null", None, 403),
        ("null", "same-origin", 403),
        (f"http://127.0.0.1:{PORT + 1}", None, 403),
        ("http://127.0.0.1", None, 403),
        (f"https://127.0.0.1:{PORT}", None, 403),
        (f"http://localhost:{PORT}", None, 403),
        (f"{HERE}.evil.example", None, 403),
        ("http://evil.example", "cross-site", 403),
    ],
)
def test_only_our_own_pages_change_anything(
    ada: TestClient, origin: str, site: str | None, status: int
) -> None:
    headers = {} if site is None else {"Sec-Fetch-Site": site}
    if origin == _NONE:
        del ada.headers["Origin"]
    else:
        headers["Origin"] = origin
    assert ada.post("/api/me", json={"units": "mm"}, headers=headers).status_code == status


def test_every_unsafe_route_refuses_another_origin_and_anything_but_json(
    web: WebBench, ada: TestClient, every: list[tuple[str, str]]
) -> None:
    unsafe = [(method, path) for method, path in every if method != "GET"]
    assert unsafe
    assert {method for method, _ in unsafe} == {"POST"}
    for method, path in unsafe:
        other = ask(ada, method, path, headers={"Origin": f"http://127.0.0.1:{PORT + 1}"})
        assert other.status_code == 403, path
        for media in (
            "text/plain",
            "application/x-www-form-urlencoded",
            "multipart/form-data; boundary=x",
            "",
        ):
            plain = ada.request(method, path, content="{}", headers={"Content-Type": media})
            assert plain.status_code == 415, (path, media)
    assert web.bench.head() == 1


def test_asking_changes_nothing(web: WebBench, ada: TestClient, every: list[tuple[str, str]]) -> None:
    before = web.log.read_bytes()
    names = web.bench.state.rows("SELECT id, name, units FROM device")
    for method, path in every:
        if method == "GET":
            ada.get(path)
    assert web.log.read_bytes() == before
    assert web.bench.state.rows("SELECT id, name, units FROM device") == names


def test_a_body_that_is_too_large_is_refused_however_it_is_sent(ada: TestClient) -> None:
    large = json.dumps({"text": "x" * LARGEST_BODY})
    headers = {"Content-Type": "application/json"}
    assert ada.post("/api/echo", content=large, headers=headers).status_code == 413
    pieces = (large[at : at + 4096].encode() for at in range(0, len(large), 4096))
    assert ada.post("/api/echo", content=pieces, headers=headers).status_code == 413
    assert ada.get("/api/me").status_code == 200


def test_headers_that_are_too_large_are_refused(ada: TestClient) -> None:
    assert ada.get("/api/me", headers={"X-Much": "x" * LARGEST_HEADERS}).status_code == 431
    assert ada.get("/api/me").status_code == 200


def test_too_many_requests_are_refused_and_the_bench_goes_on(tmp_path: Path) -> None:
    assert MOST_A_SECOND == 50.0
    made = WebBench(tmp_path, rate=10.0)
    client = made.paired()
    found = [client.get("/static/icon.svg").status_code for _ in range(60)]
    assert 429 in found
    time.sleep(0.3)
    assert client.get("/api/me").status_code == 200
    made.bench.state.close()


def test_what_takes_too_long_is_given_up(tmp_path: Path) -> None:
    made = WebBench(tmp_path, longest=0.2)
    client = made.paired()

    async def slow(request: Request) -> Response:
        del request
        await asyncio.sleep(5.0)
        return PlainTextResponse("late")

    made.app.router.routes.append(Route("/slow", slow))
    began = time.monotonic()
    assert client.get("/slow").status_code == 503
    assert time.monotonic() - began < 2.0
    made.bench.state.close()


def test_a_fault_of_ours_is_one_clear_line(web: WebBench) -> None:
    def broken(request: Request) -> Response:
        del request
        raise RuntimeError("a secret thing")

    client = web.paired()
    web.app.router.routes.append(Route("/broken", broken))
    answer = client.get("/broken")
    assert answer.status_code == 500
    assert "secret" not in answer.text
    assert "Traceback" not in answer.text
    assert any("/broken" in line for line in web.told)
    assert answer.headers["content-security-policy"] == CSP


def test_a_page_that_is_not_there_says_so(ada: TestClient) -> None:
    for path in ("/nothing", "/cars/wren", "/static/../app.py", "/static/%2e%2e/app.py", "/cars/lark/"):
        answer = ada.get(path, headers={"Accept": "text/html"})
        assert answer.status_code == 404, path
        assert "import" not in answer.text
    answer = ada.get("/cars/wren", headers={"Accept": "text/html"})
    assert "There is no such car in this log." in answer.text
    assert ada.put("/api/me", json={}).status_code == 405


_ODD = ("<script>alert(1)</script>", '"><img src=x onerror=alert(1)>', "\u202eksuot", "x" * 900, "{{ 7*7 }}")


@pytest.mark.parametrize("odd", _ODD)
def test_what_was_entered_is_shown_as_text(web: WebBench, ada: TestClient, odd: str) -> None:
    answer = ada.post("/api/cars/lark/entries", json=web.body("note", odd))
    assert answer.status_code in {201, 422}
    page = ada.get("/cars/lark").text
    assert "<script>alert" not in page
    assert "<img src=x" not in page
    if "{" in odd:
        assert "49" not in re.findall(r"note: [^<]*", page)[0]


def test_a_cars_name_is_shown_as_text(web: WebBench) -> None:
    client = web.paired()
    text = file_text("lark.toml").replace('name = "Lark"', 'name = "<b onclick=x>Lark</b>"')
    (web.folder / "odd.toml").write_text(text, encoding="utf-8")
    body = {"id": "1" * 32, "bench": web.bench.id, "version": 1, "file": "odd.toml", "as": "odd"}
    assert client.post("/api/cars", json=body).status_code == 201
    for path in ("/", "/cars/odd", *(f"/cars/odd?view={view}" for view in ("side", "front", "board"))):
        text = client.get(path).text
        assert "<b onclick" not in text, path
        assert "&lt;b onclick" in text


def test_the_table_of_operations_describes_every_route_of_data(
    web: WebBench, ada: TestClient, every: list[tuple[str, str]]
) -> None:
    told = ada.get("/api/openapi.json").json()
    described = {
        (method.upper(), re.sub(r"\{\w+\}", "lark", path))
        for path, methods in told["paths"].items()
        for method in methods
    }
    assert described == {(method, path) for method, path in every if path.startswith("/api/")}
    names = [each["operationId"] for methods in told["paths"].values() for each in methods.values()]
    assert len(set(names)) == len(names)
    assert openapi([], version="1")["paths"] == {}
    assert web.told


def test_a_port_is_taken_at_one_address_alone() -> None:
    (first,) = listen(0, ["127.0.0.1"])
    try:
        address, port = first.getsockname()
        assert address == "127.0.0.1"
        with pytest.raises(PortTaken, match="in use"):
            listen(port, ["127.0.0.1"])
        with socket.socket() as probe:
            probe.settimeout(1.0)
            assert probe.connect_ex(("127.0.0.1", port)) == 0
            # The same machine by another of its addresses is not answered.
            assert probe.getsockname()[0] == "127.0.0.1"
        with socket.socket() as probe:
            probe.settimeout(1.0)
            assert probe.connect_ex(("127.0.0.2", port)) != 0
    finally:
        first.close()


def test_several_addresses_have_one_port() -> None:
    found = listen(0, ["127.0.0.1", "127.0.0.2"])
    try:
        assert len({each.getsockname()[1] for each in found}) == 1
        assert [each.getsockname()[0] for each in found] == ["127.0.0.1", "127.0.0.2"]
    finally:
        for each in found:
            each.close()


def test_without_a_house_there_is_no_lan(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(server, "private_addresses", lambda: ())
    told: list[str] = []
    asked = server.Asked(
        log=tmp_path / "bench.log",
        folder=tmp_path,
        state=tmp_path / "state",
        port=0,
        lan=True,
        entry_words=lambda entry, _: entry.event.kind,
        units=WebBench(tmp_path).settings.units,
        author="Ada",
        tell=told.append,
    )
    with pytest.raises(OutOfRange, match="private address"):
        server.serve(asked)
    assert told == []


def test_a_refusal_is_an_error_with_its_mend() -> None:
    assert (
        str(BadRequest("this is not JSON", mend="send one", key="body")) == "body: this is not JSON; send one"
    )
