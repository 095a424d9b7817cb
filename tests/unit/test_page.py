"""The page for a terminal: no quantity is parted, what was entered keeps its digits, and words for counts."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rollwright.cli.log_page import LogPage
from rollwright.cli.page import Page, not_given, tied
from rollwright.units import Kind, System, parse

TIED = "\N{NO-BREAK SPACE}"
QUANTITIES = (
    "0.4 mm",
    "0.30 ± 0.05 mm",
    "± 4.99 mm",
    "12.3 ± 0.4 thou",
    "2.5 ± 0.1°",
    "97 %",
    "3.967 oz",
    "2.0 s",
)


def printed(page: Page, capsys: pytest.CaptureFixture[str]) -> list[str]:
    page.print()
    return capsys.readouterr().out.splitlines()


@pytest.mark.parametrize("quantity", QUANTITIES)
@pytest.mark.parametrize("before", range(20, 45))
def test_no_line_break_parts_a_quantity(
    quantity: str, before: int, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("COLUMNS", "40")
    text = f"{'x' * (before // 2)} {'x' * (before - before // 2)} {quantity} and so on"
    page = LogPage(system=System.METRIC)
    page.prose(text)
    page.marked("✓", text)
    page.struck(text, first="   ")
    page.verdict("pass", text)
    lines = printed(page, capsys)
    assert all(len(line) <= 40 for line in lines)
    assert sum(quantity in line for line in lines) == 4


def test_what_is_no_quantity_may_be_parted() -> None:
    for text in ("entry 14 moved it", "3 masses", "6 of 7 inside", "2 more grams", "wheels ± axles", "5 s2"):
        assert TIED not in tied(text)


@given(st.text())
def test_tying_changes_nothing_but_spaces(text: str) -> None:
    assert tied(text).replace(TIED, " ") == text.replace(TIED, " ")
    assert tied(tied(text)) == tied(text)


@pytest.mark.parametrize(
    ("gate", "written", "metric", "inch"),
    [
        ("level", "0.305 mm", "0.305 mm nose high", "0.305 mm nose high"),
        ("level", "-31.5 thou", "31.5 thou nose low", "31.5 thou nose low"),
        ("steer", "97 mm", "97.0 mm left", "97.0 mm left"),
        ("steer", "-1.25 in", "31.75 mm right", "1.250 in right"),
        ("centre", "-0.125 mm", "0.125 mm too far in", "0.125 mm too far in"),
        ("centre", "0.40 mm", "0.40 mm off the rail", "0.40 mm off the rail"),
        ("centre", "0 mm", "0.00 mm, touching", "0.0 thou, touching"),
        ("level", "0 mm", "0.00 mm", "0.0 thou"),
    ],
)
def test_a_reading_is_echoed_as_it_was_entered(gate: str, written: str, metric: str, inch: str) -> None:
    value = parse(written, kind=Kind.LENGTH)
    for system, said in ((System.METRIC, metric), (System.INCH, inch)):
        assert LogPage(system=system).entered_gate(gate, value).replace(TIED, " ") == said


def test_a_move_is_echoed_as_it_was_entered() -> None:
    page = LogPage(system=System.INCH)
    assert page.amount(-math.radians(21.125), move="turn") == "21.125°"
    assert page.amount(parse("12.5 thou", kind=Kind.LENGTH), move="shim") == f"12.5{TIED}thou"
    assert page.entered(parse("0.1 g", kind=Kind.MASS), kind=Kind.MASS) == f"0.1{TIED}g"


def test_what_was_not_given_is_counted() -> None:
    assert not_given(1) == "1 value was not given and is assumed; --json lists it."
    assert not_given(23, "size") == "23 sizes were not given and are assumed; --json lists them."
    named = not_given(2, leading=["body width", "rear left cant"])
    assert named.startswith("2 values were not given and are assumed, first of all body width and rear left ")
    assert named.endswith("cant; --json lists them.")
