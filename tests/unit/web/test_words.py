"""What is said back, which ring stands for what, and what the first answer enters."""

from __future__ import annotations

import re
from typing import cast

import pytest
from starlette.testclient import TestClient

from rollwright.units import System
from rollwright.web.addresses import is_in_the_house
from rollwright.web.answers import answer_to, view_for
from rollwright.web.echo import echo_of
from rollwright.web.livery import swatch
from rollwright.web.marks import ring
from rollwright.web.words import told
from rollwright.workbench.log_step import Step
from tests.unit.web.web_bench import WebBench, ada, web

__all__ = ["ada", "web"]


@pytest.mark.parametrize(
    ("kind", "written", "shown", "also"),
    [
        ("length", "12,7", "12.7 mm", "0.500 in"),
        ("length", "12.7", "12.7 mm", "0.500 in"),
        ("length", "1/2 in", "12.7 mm", "0.500 in"),
        ("height_difference", "−0,05", "0.05 mm nose low", "2.0 thou nose low"),
        ("drift", "97 mm right", "97.0 mm right", "3.819 in right"),
        ("rail_offset", "12 thou", "12 thou off the rail", "0.30 mm off the rail"),
        ("mass", "141,2", "141.2 g", "4.98 oz"),
        ("angle", "1,5 deg", "1.5°", ""),
    ],
)
def test_a_written_size_is_said_back(kind: str, written: str, shown: str, also: str) -> None:
    told_back = echo_of(kind, [written], system=System.METRIC)
    (value,) = cast("list[dict[str, str]]", told_back["values"])
    zeros = re.compile(r"(\.\d*?)0+(?=\D|$)")
    # How many noughts stand behind is the printer's affair.
    assert zeros.sub(r"\1", value["shown"]) == zeros.sub(r"\1", shown)
    assert value["also"] == also


def test_a_size_without_its_unit_that_could_mean_two_things_is_asked_about() -> None:
    told_back = echo_of("length", [" .5 "], system=System.METRIC)
    assert told_back["ok"] is False


def test_repeats_have_a_mean_and_a_reach() -> None:
    summary = echo_of("drift", ["97 mm right", "95 mm right", "99 mm right"], system=System.METRIC)["summary"]
    assert summary == "3 readings: mean 97.0 mm right, each ± 2.0 mm, apart by up to 4.0 mm"


def test_a_mix_up_of_units_is_named(web: WebBench, ada: TestClient) -> None:
    body = {"kind": "drift", "values": ["90 in right"], "car": "lark"}
    asked = ada.post("/api/echo", json=body).json()["ask"]
    assert "inches where millimetres" in asked
    assert ada.post("/api/echo", json={**body, "values": ["90 mm right"]}).json()["ask"] == ""
    wrong_way = ada.post("/api/echo", json={**body, "values": ["250 mm left"]}).json()["ask"]
    assert "The model expects" in wrong_way
    assert web.told == ["Paired: Ada."]


def test_a_size_of_no_kind_is_refused(ada: TestClient) -> None:
    assert ada.post("/api/echo", json={"kind": "time", "values": ["3 s"]}).status_code == 400


def test_a_quantity_comes_in_parts() -> None:
    drift = told("steer", -0.0613, 0.0026, system=System.METRIC)
    assert (drift.number, drift.spread, drift.unit, drift.way) == ("61.3", "2.6", "mm", "right")
    assert told("level", 0.0, 0.00003, system=System.METRIC).way == ""
    assert str(told("centre", -0.0004, None, system=System.METRIC)) == "0.40 mm too far in"


@pytest.mark.parametrize(
    ("command", "verb", "words", "choices", "asks"),
    [
        (
            'did lark turn front_left "1.5 deg clockwise"',
            "did",
            ("turn", "front_left", "1.5 deg clockwise"),
            (),
            "",
        ),
        ("read lark drift VALUE", "read", ("drift",), (), "value"),
        ("fit lark all", "fit", ("all",), (), ""),
        (
            "roll lark holds|leaves|tail_left|tail_right",
            "roll",
            (),
            ("holds", "leaves", "tail_left", "tail_right"),
            "",
        ),
        (
            'pin lark rear_left cant none|seen|"0.15 mm up"',
            "pin",
            ("rear_left", "cant"),
            ("none", "seen"),
            "value",
        ),
        ("weigh lark whole MASS", "weigh", ("whole",), (), "value"),
        ("inspect lark lubricant KIND", "inspect", ("lubricant",), (), "text"),
        ("undo lark 7 --because TEXT", "undo", ("7",), (), "text"),
    ],
)
def test_the_first_answer_enters_what_the_command_would(
    command: str, verb: str, words: tuple[str, ...], choices: tuple[str, ...], asks: str
) -> None:
    step = Step(kind="any", text="", command=f"rollwright log {command}")
    found = answer_to(step, verbs=("did", "read", "fit", "roll", "pin", "weigh", "inspect", "undo"))
    assert found is not None
    assert (found.verb, found.words, found.choices, found.asks) == (verb, words, choices, asks)


def test_what_a_page_cannot_enter_is_left_to_the_command_line() -> None:
    step = Step(kind="none", text="", command="rollwright log class lark CLASS.toml")
    found = answer_to(step, verbs=("read",))
    assert found is not None
    assert found.verb == ""
    assert answer_to(Step(kind="none", text="Leave it."), verbs=("read",)) is None


def test_a_reason_that_is_given_is_sent_along() -> None:
    step = Step(kind="scrap", text="", command='rollwright log retire lark --because "drilled off"')
    found = answer_to(step, verbs=("retire",))
    assert found is not None
    assert found.options == (("because", "drilled off"),)
    assert found.asks == ""


def test_a_step_is_seen_where_the_hand_meets_it() -> None:
    for command, view in (
        ("read lark height_difference VALUE", "side"),
        ("did lark sand front_left x", "front"),
    ):
        assert view_for(Step(kind="any", text="", command=f"rollwright log {command}")) == view


def test_each_mark_is_another_shape_and_a_chance_is_an_arc() -> None:
    marks = [ring(mark) for mark in ("pass", "fail", "unclear", "again", "never")]
    assert len({mark.partition("</svg>")[0].partition(">")[2] for mark in marks}) == 5
    assert 'class="chance"' in ring("pass", 0.5)
    assert 'class="chance"' not in ring("pass")


def test_no_two_cars_look_alike() -> None:
    inside = {str(swatch(place)).replace(f"hatch-{place}", "") for place in range(64)}
    assert len(inside) == 64


def test_only_the_house_is_listened_on() -> None:
    for address in ("10.1.2.3", "172.16.0.1", "172.31.255.1", "192.168.4.4"):
        assert is_in_the_house(address)
    for address in ("172.32.0.1", "8.8.8.8", "169.254.1.1", "127.0.0.1", "100.64.0.1", "::1", "", "10.1"):
        assert not is_in_the_house(address)
