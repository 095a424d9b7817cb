"""Tables of times: any column names, commas and units; what cannot be used is named and set aside."""

from __future__ import annotations

from pathlib import Path

import pytest

from rollwright.errors import FileUnreadable, InputError, MissingReference, OutOfRange, WrongType
from rollwright.scenario.club import file_text
from rollwright.scenario.trial_day import CHANGE, TRIALS, trials_text
from rollwright.workbench.trials import compare
from rollwright.workbench.trials_csv import read_times, table_of

PLAIN = "heat,lane,car,time\n1,1,A,2.61\n1,2,B,2.60\n2,1,B,2.62\n2,2,A,2.63\n"


def _reasons(text: str) -> dict[int, str]:
    return {each.row: each.reason for each in table_of(text).set_aside}


def test_a_plain_table() -> None:
    found = table_of(PLAIN)
    assert found.times.times == (2.61, 2.60, 2.62, 2.63)
    assert found.times.configurations == ("A", "B", "B", "A")
    assert found.times.lanes == ("1", "2", "1", "2")
    assert found.times.heats == ("1", "1", "2", "2")
    assert found.times.rows == (2, 3, 4, 5)
    assert (found.set_aside, found.notes, found.unit) == ((), (), "s")


@pytest.mark.parametrize(
    "text",
    [
        PLAIN.replace(",", ";"),
        PLAIN.replace(",", "\t"),
        PLAIN.replace(",", ";").replace(".", ","),
        PLAIN.replace("\n", "\r\n"),
        "\ufeff" + PLAIN,
        PLAIN.replace("heat,lane,car,time", "Heat , LANE,Config, Time (s)"),
        PLAIN.replace("heat,lane,car,time", "Durchgang,Bahn,Wagen,Zeit"),
        PLAIN.replace("time", "time [ms]")
        .replace("2.61", "2610")
        .replace("2.60", "2600")
        .replace("2.62", "2620")
        .replace("2.63", "2630"),
        PLAIN.replace("2.61", '"2,61"'),
        PLAIN.replace("2.61", "2.61 s").replace("2.60", "2600 ms"),
        "\n" + PLAIN.replace("2,1,B", "\n2,1,B"),
    ],
    ids=["semicolon", "tab", "comma", "crlf", "bom", "capitals", "german", "ms", "quoted", "cells", "blank"],
)
def test_the_same_table_written_otherwise(text: str) -> None:
    found = table_of(text.removeprefix("\ufeff"))
    assert found.set_aside == ()
    assert found.times.times == pytest.approx((2.61, 2.60, 2.62, 2.63))
    assert found.times.configurations == ("A", "B", "B", "A")


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "cp1252"])
def test_letters_as_spreadsheets_write_them(tmp_path: Path, encoding: str) -> None:
    path = tmp_path / "zeiten.csv"
    path.write_bytes(PLAIN.replace("A", "Möwe").encode(encoding))
    assert read_times(path).times.configurations == ("Möwe", "B", "B", "Möwe")


def test_columns_of_any_name_by_map() -> None:
    text = "Wer;Wo;Wie lang\nA;1;2,61\nB;2;2,60\n"
    with pytest.raises(MissingReference, match=r"no column is called time; .*Wie lang"):
        table_of(text)
    found = table_of(text, columns={"time": "wie lang", "configuration": "Wer", "lane": "Wo"})
    assert found.times.lanes == ("1", "2")
    with pytest.raises(MissingReference, match="no column 'Zeit'"):
        table_of(text, columns={"time": "Zeit"})
    with pytest.raises(WrongType, match="'speed' is no kind of column"):
        table_of(text, columns={"speed": "Wo"})


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("3,1,A,", "no time"),
        ("3,1,A,DNF", "'DNF' is no time"),
        ("3,1,A,2.6?", "'2.6?' is no time"),
        ("3,1,A,nan", "'nan' is no time"),
        ("3,1,A,inf", "'inf' is no time"),
        ("3,1,A,-2.6", "'-2.6' is no finish time"),
        ("3,1,A,0", "'0' is no finish time"),
        ("3,1,A,1_000", "'1_000' is no time"),
        ("3,1,A,2.613.4", "is no time"),
        ("3,1,A,26.1", "26.1 s where the others take about 2.6"),
        ("3,1,,2.6", "no car or configuration"),
        ("3,,A,2.6", "no lane"),
        (",1,A,2.6", "no heat"),
        ("3,1,A,2,61", "5 cells under 4 names"),
        ("3,1", "no time"),
        ("1,1,A,2.61", "the same run as row 2"),
    ],
)
def test_a_bad_row_is_named_and_set_aside(row: str, said: str) -> None:
    found = table_of(PLAIN + row + "\n")
    assert [each.row for each in found.set_aside] == [6]
    assert said in found.set_aside[0].reason
    assert len(found.times.times) == 4


@pytest.mark.parametrize("mark", ["false start", "jump", "DNF", "x"])
def test_a_marked_run_is_set_aside_with_its_mark(mark: str) -> None:
    text = f"heat,car,time,flag\n1,A,2.61,\n1,B,2.60,ok\n2,A,2.62,{mark}\n2,B,2.63,-\n"
    found = table_of(text)
    assert {each.row: each.reason for each in found.set_aside} == {4: f"marked '{mark}'"}
    assert len(found.times.times) == 3


def test_a_marked_heat_is_set_aside_whole() -> None:
    text = "heat,car,time,mark\n1,A,2.61,\n1,B,2.60,\n2,A,2.62,heat: false start\n2,B,2.63,\n"
    assert _reasons(text) == {
        4: "marked 'heat: false start'",
        5: "its heat is marked 'heat: false start'",
    }


def test_no_row_is_lost() -> None:
    found = table_of(trials_text())
    assert len(found.times.times) + len(found.set_aside) == len(trials_text().splitlines()) - 1


def test_names_differing_in_capitals_and_spaces_are_one() -> None:
    text = "car,time\nNew  Steer,2.61\nnew steer,2.62\nOLD,2.6\nold ,2.6\n"
    assert table_of(text).times.configurations == ("New Steer", "New Steer", "OLD", "OLD")


def test_names_can_be_shown_on_a_terminal() -> None:
    found = table_of(PLAIN.replace("A,", "A\x1b[31m,") + f"3,1,{'N' * 70},2.6\n")
    assert found.times.configurations == ("A?[31m", "B", "B", "A?[31m")
    assert _reasons(PLAIN + f"3,1,{'N' * 70},2.6\n")[6].endswith(
        "longer than 60 characters, which no car is called"
    )


def test_the_same_heat_on_another_day_is_another() -> None:
    text = "date,heat,car,time\n2031-04-11,1,A,2.6\n2031-04-18,1,A,2.6\n"
    assert len(set(table_of(text).times.heats)) == 2


def test_two_in_one_lane_are_noted() -> None:
    (note,) = table_of(PLAIN + "2,2,B,2.64\n").notes
    assert note == "row 6: a second run in heat 2, lane 2; both are counted"


def test_milliseconds_are_not_taken_for_seconds() -> None:
    text = "car,time\nA,2610\nB,2600\n"
    with pytest.raises(OutOfRange, match="too long for a track; add --unit ms"):
        table_of(text)
    assert table_of(text, unit="ms").times.times == pytest.approx((2.61, 2.60))
    with pytest.raises(WrongType, match="'h' is no unit"):
        table_of(text, unit="h")


@pytest.mark.parametrize(
    ("raw", "said"),
    [
        (b"", "the file is empty"),
        (b"\n\n", "the file is empty"),
        (b"car,time\n", "no row can be used"),
        (b"car,time\nA,x\n", "no row can be used.*'x' is no time"),
        (b"car,time\nA,2.6\0\n", "line 2: this is not plain text"),
        (b"\x89PNG\r\n\x1a\n\0\0", "this is not plain text"),
        (b'car,time\n"A,2.6\nB,2.6\n', "a quotation mark is opened and not closed"),
        (b'car,time\n"A"x,2.6\n', "a quotation mark"),
        (b"car,time" + b",x" * 1_000_000 + b"\n", "more than 200 columns"),
        (b"car,time\nA," + b"9" * 300_000 + b"\n", "cannot be read"),
        (b"\xff\xfec", "no whole UTF-16"),
        (b"2.6,2.7\n2.6,2.7\n", "no column is called time"),
        (b"car,time\n" + b"".join(b"%d,2.6\n" % n for n in range(99)), "99 different configurations"),
    ],
    ids=lambda value: value[:12] if isinstance(value, bytes) else "",
)
def test_a_hostile_file_gives_one_line(tmp_path: Path, raw: bytes, said: str) -> None:
    path = tmp_path / "times.csv"
    path.write_bytes(raw)
    with pytest.raises(InputError, match=said) as caught:
        compare(path)
    assert "\n" not in str(caught.value)
    assert len(str(caught.value)) < 300


def test_a_huge_file_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "times.csv"
    with path.open("wb") as stream:
        stream.truncate(50_000_001)
    with pytest.raises(FileUnreadable, match="more than 50 MB"):
        read_times(path)


def test_what_is_no_file_is_refused(tmp_path: Path) -> None:
    with pytest.raises(FileUnreadable, match="folder"):
        read_times(tmp_path)
    with pytest.raises(FileUnreadable, match="no such file"):
        read_times(tmp_path / "gone.csv")


def test_the_clubs_file_is_made_from_its_seed_and_tells_the_change() -> None:
    assert file_text(TRIALS) == trials_text()
    assert trials_text(3) != trials_text()


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_change_that_was_put_in_comes_out(tmp_path: Path, seed: int) -> None:
    path = tmp_path / "times.csv"
    path.write_text(trials_text(seed), encoding="utf-8")
    (effect,) = compare(path).found.effects
    # One of a thousand intervals so wide misses; the seeds are three.
    assert abs(effect.difference - CHANGE) < 4.2 * effect.error
    assert effect.error < 1.2e-3
