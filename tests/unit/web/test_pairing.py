"""Links, codes and devices: what lets someone in, for how long, and how guessing is slowed."""

from __future__ import annotations

import math
import re
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from rollwright.units import System
from rollwright.web.devices import ABSOLUTE, IDLE, Devices, plain_name
from rollwright.web.pairing import CODE_TRIES, LIFETIME, Pairing, Wait
from rollwright.web.state import State
from tests.unit.web.web_bench import Clock, WebBench, ada, web

__all__ = ["ada", "web"]

_WRONG = "x"


def test_a_link_works_once() -> None:
    pairing = Pairing()
    token = pairing.link_token()
    assert pairing.accept(token=token, asker="a", local=True) is True
    assert pairing.accept(token=token, asker="a", local=True) is False


def test_a_link_ends() -> None:
    clock = Clock()
    pairing = Pairing(clock=clock)
    token = pairing.link_token()
    clock.now += LIFETIME
    assert pairing.accept(token=token, asker="a", local=True) is False


def test_a_token_holds_at_least_128_bits() -> None:
    tokens = {Pairing().link_token() for _ in range(200)}
    assert len(tokens) == 200
    # Base64 of the URL's kind carries 6 bits in a letter.
    assert all(len(token) * 6 >= 128 and re.fullmatch(r"[\w-]+", token) for token in tokens)


def test_a_code_has_eight_digits_works_once_and_is_told() -> None:
    told: list[str] = []
    pairing = Pairing(tell=told.append)
    code = pairing.new_code()
    assert re.fullmatch(r"\d{8}", code)
    assert code[:4] in told[0]
    assert pairing.accept(code=code, asker="a", local=True) is True
    assert pairing.accept(code=code, asker="a", local=True) is False


def test_after_five_wrong_tries_the_code_is_another() -> None:
    told: list[str] = []
    pairing = Pairing(tell=told.append)
    code = pairing.new_code()
    wrong = f"{(int(code) + 1) % 10**8:08d}"
    for _ in range(CODE_TRIES):
        assert pairing.accept(code=wrong, asker="a", local=True) is False
    assert len(told) == 2
    assert pairing.accept(code=code, asker="a", local=True) is False


def test_guessing_is_slowed_and_never_forbidden_for_good() -> None:
    clock = Clock()
    pairing = Pairing(clock=clock)
    waits = []
    for _ in range(8):
        assert pairing.accept(token=_WRONG, asker="10.0.0.7", local=False) is False
        held = pairing.accept(token=_WRONG, asker="10.0.0.7", local=False)
        assert isinstance(held, Wait)
        waits.append(held.seconds)
        clock.now += held.seconds
    assert waits == [1, 2, 4, 8, 16, 30, 30, 30]
    assert pairing.accept(token=pairing.link_token(), asker="10.0.0.7", local=False) is True


def test_another_address_and_this_machine_do_not_wait() -> None:
    pairing = Pairing()
    for asker in ("10.0.0.7", "10.0.0.8"):
        assert pairing.accept(token=_WRONG, asker=asker, local=False) is False
    for _ in range(20):
        assert pairing.accept(token=_WRONG, asker="127.0.0.1", local=True) is False


@pytest.fixture
def state(tmp_path: Path) -> State:
    return State(tmp_path / "state", bench="b")


def test_a_device_ends_without_use_and_in_any_case(state: State) -> None:
    clock = Clock()
    devices = Devices(state, clock=clock)
    _, idle = devices.add("phone", units=System.METRIC)
    clock.now += IDLE - 1.0
    assert devices.of(idle) is not None
    clock.now += IDLE + 1.0
    assert devices.of(idle) is None
    _, used = devices.add("phone", units=System.METRIC)
    for _ in range(math.ceil(ABSOLUTE / (IDLE / 2)) - 1):
        clock.now += IDLE / 2
        assert devices.of(used) is not None
    clock.now += IDLE / 2 + 1.0
    assert devices.of(used) is None


def test_no_key_lies_on_the_disk(state: State) -> None:
    _, key = Devices(state).add("phone", units=System.METRIC)
    state.close()
    assert key.encode() not in state.path.read_bytes()
    assert state.path.stat().st_mode & 0o077 == 0


def test_a_name_is_short_and_printable() -> None:
    assert plain_name("  Ada\u202e\n's\x00 phone ") == "Ada 's phone"
    assert len(plain_name("x" * 500)) == 40


def test_the_cookie_is_for_this_port_and_for_no_script(web: WebBench) -> None:
    answer = web.stranger().post("/api/pair", json={"token": web.pairing.link_token()})
    cookie = answer.headers["set-cookie"]
    assert cookie.startswith("rollwright_8573=")
    assert {"HttpOnly", "Path=/", "SameSite=strict"} <= set(cookie.split("; "))
    assert "Secure" not in cookie


def test_a_token_and_a_key_are_never_told(web: WebBench) -> None:
    token = web.pairing.link_token()
    client = web.stranger()
    client.post("/api/pair", json={"token": "wrong"})
    client.post("/api/pair", json={"token": token})
    key = client.cookies["rollwright_8573"]
    pages = [client.get(path).text for path in ("/", "/devices", "/pair", "/api/devices", "/api/me")]
    for secret in (token, key):
        assert not any(secret in text for text in (*web.told, *pages))
    assert any("refused" in each for each in web.told)


def test_a_device_that_is_sent_away_is_out_at_once(web: WebBench) -> None:
    ada, phone = web.paired(), web.paired("phone")
    (other,) = [each for each in ada.get("/api/devices").json()["devices"] if not each["this"]]
    assert other["name"] == "phone"
    assert phone.get("/api/me").status_code == 200
    assert ada.post(f"/api/devices/{other['id']}/revoke", json={}).status_code == 200
    assert phone.get("/api/me").status_code == 401
    assert ada.post(f"/api/devices/{other['id']}/revoke", json={}).status_code == 404


def test_the_units_of_a_device_are_those_of_all_its_pages(web: WebBench, ada: TestClient) -> None:
    assert 'data-units="mm" aria-pressed="true"' in ada.get("/cars/lark").text
    assert ada.post("/api/me", json={"units": "in"}).status_code == 200
    page = ada.get("/cars/lark").text
    assert 'data-units="in" aria-pressed="true"' in page
    assert "sizes in inches" in page or "sizes in in" in page
    assert 'data-units="mm" aria-pressed="true"' in web.paired("phone").get("/cars/lark").text
    assert ada.post("/api/me", json={"units": "feet"}).status_code == 400


def test_a_link_for_one_more_device_works(web: WebBench, ada: TestClient) -> None:
    told = ada.post("/api/devices/invite", json={}).json()
    url, token = told["url"].split("#t=")
    assert url == "http://127.0.0.1:8573/pair"
    assert told["qr"].startswith("<svg")
    assert web.stranger().post("/api/pair", json={"token": token}).status_code == 201
