"""The schema of an exported log's lines: as committed, and it takes what is written and nothing else."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from jsonschema import Draft202012Validator

import rollwright
from rollwright.bench.codec import body_of
from rollwright.bench.events import Event
from rollwright.bench.log_schema import log_schema
from rollwright.car.schema import json_text
from tests.properties.test_log_properties import lasting, photos, starts, withdrawals

FILE = Path(rollwright.__file__).parent / "bench" / "log.schema.json"
GOLDEN = Path(__file__).parent.parent / "golden" / "log_v1" / "bench.jsonl"
LINES = [json.loads(line) for line in GOLDEN.read_text(encoding="utf-8").splitlines()]
VALIDATOR = Draft202012Validator(log_schema())
ENTRY = next(line for line in LINES if "body" in line)


def test_the_shipped_schema_is_the_one_that_is_made() -> None:
    Draft202012Validator.check_schema(log_schema())
    assert FILE.read_text(encoding="utf-8") == json_text(log_schema())


def test_every_line_of_an_old_export_fulfils_it() -> None:
    assert len(LINES) > 20
    for line in LINES:
        VALIDATOR.validate(line)


@given(event=starts | lasting | withdrawals | photos)
@settings(max_examples=150)
def test_whatever_can_be_entered_fulfils_it(event: Event) -> None:
    VALIDATOR.validate({**ENTRY, "body": json.loads(body_of(event))})


@pytest.mark.parametrize(
    "line",
    [
        {"format": "rollwright-log", "version": 2},
        {"format": "another-log", "version": 1},
        {**ENTRY, "seq": 0},
        {**ENTRY, "hash": "ab"},
        {**ENTRY, "time": "yesterday"},
        {**ENTRY, "colour": "red"},
        {key: value for key, value in ENTRY.items() if key != "author"},
        {**ENTRY, "body": {"event": "sing", "version": 1}},
        {**ENTRY, "body": {"event": "note", "version": 1}},
        {**ENTRY, "body": {"event": "note", "text": "x", "version": 2}},
        {**ENTRY, "body": {"event": "bend", "station": "middle", "version": 1}},
        {**ENTRY, "body": {"event": "scale_reading", "mass": 0, "version": 1, "where": "whole"}},
        {**ENTRY, "body": {"event": "reading", "reading": "drift", "values": ["far"], "version": 1}},
        {"bytes": "?", "photo": "ab" * 32},
        {"entries": -1, "head": "ab" * 32},
        [],
    ],
)
def test_what_no_export_holds_is_refused(line: Any) -> None:
    assert not VALIDATOR.is_valid(line)
