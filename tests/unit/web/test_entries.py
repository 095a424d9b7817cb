"""What is posted to be entered: once, in the words of the command line, and refused with a reason."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import pytest
from starlette.testclient import TestClient

from rollwright.workbench import log_gates, log_past
from rollwright.workbench.log import open_log
from tests.unit.web.web_bench import WebBench, ada, web

__all__ = ["ada", "web"]

PLACE = "/api/cars/lark/entries"


def count(web: WebBench) -> int:
    with open_log(web.log) as log:
        return log.head()[0]


def test_a_reading_is_entered_and_answered_once_it_is_in_the_log(web: WebBench, ada: TestClient) -> None:
    body = web.body("read", "drift", "97 mm right", "95 mm right")
    answer = ada.post(PLACE, json=body)
    assert answer.status_code == 201, answer.text
    told = answer.json()
    assert told["entry"] == 2
    assert told["id"] == body["id"]
    assert told["author"] == "Ada"
    assert told["fields"]["values"] == pytest.approx([-0.097, -0.095], abs=1e-12)
    assert "97.0 mm right" in told["words"]


def test_a_replay_gets_the_first_answer_and_changes_nothing(web: WebBench, ada: TestClient) -> None:
    body = web.body("read", "level", "0.3 mm")
    first, second = ada.post(PLACE, json=body), ada.post(PLACE, json=body)
    assert (first.status_code, second.status_code) == (201, 200)
    assert first.json() == second.json()
    assert count(web) == 2


def test_an_undo_may_be_sent_twice(web: WebBench, ada: TestClient) -> None:
    ada.post(PLACE, json=web.body("read", "level", "0.3 mm"))
    body = web.body("undo", options={"because": "wrong side"})
    assert ada.post(PLACE, json=body).status_code == 201
    assert ada.post(PLACE, json=body).status_code == 200
    assert len(log_past.history(web.log, "lark").withdrawn) == 1


def test_another_body_under_the_same_id_is_refused(web: WebBench, ada: TestClient) -> None:
    body = web.body("read", "level", "0.3 mm")
    ada.post(PLACE, json=body)
    other = ada.post(PLACE, json={**body, "words": ["level", "0.4 mm"]})
    assert other.status_code == 409
    assert "reload" not in other.json()
    assert count(web) == 2


def test_twenty_replays_at_once_make_one_entry(web: WebBench, ada: TestClient) -> None:
    body = web.body("read", "level", "0.3 mm")
    with ThreadPoolExecutor(20) as pool:
        answers = list(pool.map(lambda _: ada.post(PLACE, json=body), range(20)))
    assert sorted(each.status_code for each in answers) == [200] * 19 + [201]
    assert len({each.text for each in answers}) == 1
    assert count(web) == 2


def test_a_replay_after_a_restart_is_still_known(web: WebBench, ada: TestClient) -> None:
    body = web.body("read", "level", "0.3 mm")
    first = ada.post(PLACE, json=body)
    again = WebBench(web.folder)
    client = again.paired("phone")
    assert client.post(PLACE, json=body).json() == first.json()
    assert client.post(PLACE, json={**body, "verb": "note"}).status_code == 409
    again.bench.state.close()


def test_an_entry_whose_answer_was_lost_is_found_in_the_log(web: WebBench, ada: TestClient) -> None:
    body = web.body("read", "level", "0.3 mm")
    ada.post(PLACE, json=body)
    # As if the machine had stopped between the entry and its answer.
    web.bench.state.rows("UPDATE posted SET answer = NULL WHERE id = ?", body["id"])
    answer = ada.post(PLACE, json=body)
    assert answer.status_code == 200
    assert answer.json()["entry"] == 2
    assert count(web) == 2


def test_what_is_refused_leaves_its_id_free(web: WebBench, ada: TestClient) -> None:
    body = web.body("read", "level", "three")
    refused = ada.post(PLACE, json=body)
    assert refused.status_code == 422
    assert refused.json()["mend"]
    assert ada.post(PLACE, json={**body, "words": ["level", "0.3 mm"]}).status_code == 201


@pytest.mark.parametrize(
    ("verb", "words", "options"),
    [
        ("did", ["turn", "front_left", "1.5 deg clockwise"], {}),
        ("did", ["shim", "rear", "0.3 mm"], {}),
        ("did", ["sand", "front_left", "0.2 mm"], {"measured": "yes", "uncertainty": "0.05 mm"}),
        ("roll", ["holds"], {"lane": "2"}),
        ("fit", ["all"], {}),
        ("weigh", ["whole", "141,2 g"], {}),
        ("inspect", ["length", "186 mm"], {}),
        ("inspect", ["bent_axles", "straight"], {}),
        ("pin", ["rear_left", "cant", "none"], {}),
        ("note", ["the left wheel hums"], {}),
        ("retire", [], {"because": "worn out"}),
    ],
)
def test_the_words_of_the_command_line_are_taken(
    web: WebBench, ada: TestClient, verb: str, words: list[str], options: dict[str, str]
) -> None:
    answer = ada.post(PLACE, json=web.body(verb, *words, options=options))
    assert answer.status_code == 201, answer.text
    assert count(web) > 1


@pytest.mark.parametrize(
    ("change", "status"),
    [
        ({"id": "7"}, 400),
        ({"id": "G" * 32}, 400),
        ({"verb": "export"}, 400),
        ({"verb": 3}, 400),
        ({"words": "drift"}, 400),
        ({"words": [1]}, 400),
        ({"options": {"log": "other.log"}}, 400),
        ({"more": 1}, 400),
        ({"words": []}, 422),
        ({"version": 0}, 409),
        ({"bench": "another"}, 409),
    ],
)
def test_what_has_not_the_right_form_is_refused(
    web: WebBench, ada: TestClient, change: dict[str, object], status: int
) -> None:
    answer = ada.post(PLACE, json={**web.body("read", "level", "0.3 mm"), **change})
    assert answer.status_code == status, answer.text
    assert answer.json()["error"]
    assert count(web) == 1


def test_a_page_of_another_version_is_told_to_load_itself_again(web: WebBench, ada: TestClient) -> None:
    answer = ada.post(PLACE, json={**web.body("note", "hm"), "version": 99})
    assert answer.status_code == 409
    assert answer.json()["reload"] is True


@pytest.mark.parametrize("text", ["", "[]", "7", "{", "[" * 60000, '{"id": NaN}'])
def test_what_is_no_object_is_refused(ada: TestClient, text: str) -> None:
    answer = ada.post(PLACE, content=text, headers={"Content-Type": "application/json"})
    assert answer.status_code == 400


def test_a_car_that_is_not_there_is_said_to_be_missing(web: WebBench, ada: TestClient) -> None:
    assert ada.post("/api/cars/wren/entries", json=web.body("note", "hm")).status_code == 404
    assert ada.get("/api/cars/wren").status_code == 404
    assert ada.get("/api/cars/wren/entries").status_code == 404


def test_another_device_sees_what_was_entered(web: WebBench, ada: TestClient) -> None:
    phone = web.paired("Odo's phone")
    before = ada.get(f"{PLACE}?after=0").json()["head"]
    phone.post(PLACE, json=web.body("note", "the rail is damp"))
    new = ada.get(f"{PLACE}?after={before}").json()
    assert [each["author"] for each in new["entries"]] == ["Odo's phone"]
    assert "the rail is damp" in new["entries"][0]["words"]
    assert new["head"] == before + 1


def test_how_a_car_stands_is_what_the_command_line_says(web: WebBench, ada: TestClient) -> None:
    assert ada.get("/api/cars/LARK").json() == log_gates.where(web.log, "lark").as_json()


def test_only_files_of_the_folder_can_be_started(web: WebBench, ada: TestClient) -> None:
    (web.folder / "deeper").mkdir()
    (web.folder / "deeper" / "wren.toml").write_bytes((web.folder / "lark.toml").read_bytes())
    assert ada.get("/api/files").json() == {"files": ["lark.toml"]}
    for name in ("deeper/wren.toml", "../lark.toml", "/etc/passwd", "class-open.toml", "lark.toml/", ""):
        body = {"id": "0" * 32, "bench": web.bench.id, "version": 1, "file": name}
        assert ada.post("/api/cars", json=body).status_code == 404, name
