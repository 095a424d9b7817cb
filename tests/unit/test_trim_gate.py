"""The trim gate: what will race is fitted or left off on purpose, and what that does to all else."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rollwright.bench.events import (
    Bend,
    Event,
    Fitted,
    Note,
    PartFitted,
    PartLeftOff,
    Sand,
    ScaleReading,
    Size,
    Washer,
    Weighed,
    Withdrawn,
)
from rollwright.bench.fold import Folded, Gate, Standing, State
from rollwright.bench.trim import first_fittings, listed_parts, trim_items
from rollwright.car.dimensions import dimension_names
from rollwright.car.file import parse_car
from rollwright.car.model import Station
from rollwright.geometry.ledger import ledger_of
from rollwright.scenario.club import file_text
from tests.unit.fold_bench import DEG, FRONT_LEFT, FRONT_RIGHT, MM, evening, folded, ident, log, started

TEXT = file_text("lark.toml")
LARK = parse_car(TEXT)
WASHERED = TEXT.replace("washer = 0\n", "washer = 0.3\n")
"""Lark with washers at the dominant wheel."""
ON = {
    **{(Fitted.WHEEL, station): "club" for station in Station},
    **{(Fitted.AXLE, station): "straight" for station in Station},
    (Fitted.AXLE, FRONT_LEFT): "steering",
}
ALL_MASS, SLUG = 137.6, 31.0
"""Of Lark as its file describes it, and of its weight [g]: 93.4 + 4 (2.7 + 0.6) + 31."""
NUMBERED = (Gate.LEVEL, Gate.STEER, Gate.CENTRE)


def fit(part: Fitted, station: Station, name: str | None = None, **sizes: float) -> PartFitted:
    """Fit a part at a station, by the name that the file has for it unless another is given."""
    said = ON.get((part, station), "washers") if name is None else name
    measured = tuple(Size(name=key, value=value) for key, value in sizes.items())
    return PartFitted(part=part, name=said, station=station, sizes=measured)


def weight(name: str = "slug", *, pocket: str = "tail", **sizes: float) -> PartFitted:
    measured = tuple(Size(name=key, value=value) for key, value in sizes.items())
    return PartFitted(part=Fitted.WEIGHT, name=name, pocket=pocket, sizes=measured)


def off(part: Fitted = Fitted.WEIGHT, **where: object) -> PartLeftOff:
    return PartLeftOff(part=part, reason="not wanted", **where)  # type: ignore[arg-type]


WHEELS_AND_AXLES: list[Event] = [
    fit(part, station) for part in (Fitted.WHEEL, Fitted.AXLE) for station in Station
]
ALL = [*WHEELS_AND_AXLES, weight()]


def grams(found: Folded) -> float:
    return ledger_of(found.known.car).mass.value * 1e3


def words(*events: Event) -> dict[str, str]:
    return {item.name: item.words for item in trim_items(log(*events), LARK)}


def test_the_file_lists_four_wheels_four_axles_and_each_weight() -> None:
    assert list(listed_parts(LARK).values()) == [
        f"{place} {part}"
        for place in ("rear left", "rear right", "front left", "front right")
        for part in ("wheel", "axle")
    ] + ["weight slug"]


def test_washers_are_listed_where_the_file_has_any() -> None:
    assert set(listed_parts(parse_car(WASHERED))) - set(listed_parts(LARK)) == {(Fitted.WASHER, "front_left")}


def test_nothing_entered_is_never_read_and_everything_entered_passes() -> None:
    never = folded().gates[Gate.TRIM]
    assert never.standing is Standing.NEVER_READ
    assert {item.words for item in never.items} == {"not entered yet"}
    state = folded(*ALL).gates[Gate.TRIM]
    assert state.passed
    assert state.read_at == 10
    assert {item.state for item in state.items} == {State.PASS}


@pytest.mark.parametrize("missing", range(len(ALL)))
def test_one_part_that_nobody_speaks_of_keeps_it_open(missing: int) -> None:
    state = folded(*ALL[:missing], *ALL[missing + 1 :]).gates[Gate.TRIM]
    assert state.verdict is not None
    assert state.verdict.state is State.UNCLEAR
    assert not state.passed
    (open_,) = [item for item in state.items if item.state is None]
    assert open_.name == list(listed_parts(LARK).values())[[0, 2, 4, 6, 1, 3, 5, 7, 8][missing]]


@pytest.mark.parametrize(
    "left",
    [off(name="slug"), off(Fitted.WEIGHT), off(pocket="slug", name="slug")],
    ids=["by name", "all of its kind", "by pocket and name"],
)
def test_what_is_left_off_on_purpose_is_not_waited_for(left: PartLeftOff) -> None:
    state = folded(*WHEELS_AND_AXLES, left).gates[Gate.TRIM]
    assert state.passed
    (item,) = [item for item in state.items if item.name == "weight slug"]
    assert item.words == "left off: not wanted"


def test_a_part_left_off_at_one_wheel_leaves_the_others_waiting() -> None:
    said = words(off(Fitted.AXLE, station=FRONT_RIGHT))
    assert said["front right axle"] == "left off: not wanted"
    assert said["front left axle"] == "not entered yet"
    assert said["front right wheel"] == "not entered yet"


def test_what_was_entered_last_of_a_part_counts() -> None:
    wheel = fit(Fitted.WHEEL, FRONT_LEFT)
    assert words(wheel, off(Fitted.WHEEL, station=FRONT_LEFT))["front left wheel"].startswith("left off")
    assert words(off(Fitted.WHEEL, station=FRONT_LEFT), wheel)["front left wheel"] == "fitted: club"
    assert words(wheel, fit(Fitted.WHEEL, FRONT_LEFT, "spare"))["front left wheel"] == "fitted: spare"


def test_a_weight_in_anothers_pocket_replaces_it() -> None:
    said = words(weight(), weight("plug"))
    assert said["weight slug"] == "replaced by plug"
    assert said["weight plug"] == "fitted: plug"
    assert words(weight(), weight("plug", pocket="nose"))["weight slug"] == "fitted: slug"
    # It had moved on before the other came.
    moved = words(weight(), weight(pocket="nose"), weight("plug"))
    assert moved["weight slug"] == "fitted: slug"


def test_a_pocket_that_stays_empty_speaks_of_the_weight_that_was_in_it() -> None:
    said = words(weight("plug", pocket="nose"), off(pocket="nose"))
    assert said["weight plug"] == "left off: not wanted"
    assert "weight nose" not in said
    assert words(off(pocket="nose"))["weight nose"] == "left off: not wanted"


def test_a_withdrawn_fitting_does_not_count() -> None:
    state = folded(*ALL, Withdrawn(entry=ident(10), reason="it fell out")).gates[Gate.TRIM]
    assert not state.passed
    assert state == folded(*ALL[:-1]).gates[Gate.TRIM]


@pytest.mark.parametrize("gate", [Gate.STEER, Gate.CENTRE])
def test_a_reading_taken_before_the_last_part_came_is_marked(gate: Gate) -> None:
    before = folded(*WHEELS_AND_AXLES, *evening(), weight()).gates[gate]
    assert before.before_trim == ("weight slug",)
    # The mark is no verdict: what the weight did to the number was reckoned.
    assert before.passed
    after = folded(*ALL, *evening()).gates[gate]
    assert after.before_trim == ()


def test_the_mark_goes_with_a_new_reading_of_the_same_gate() -> None:
    found = folded(*evening(), *ALL, evening()[1])
    assert found.gates[Gate.STEER].before_trim == ()
    assert len(found.gates[Gate.CENTRE].before_trim) == 9


def test_level_is_read_before_trim_and_never_marked_and_what_was_not_read_is_not_either() -> None:
    found = folded(*evening(), *ALL)
    assert found.gates[Gate.LEVEL].before_trim == ()
    assert folded(*ALL[:3]).gates[Gate.STEER].before_trim == ()


def test_to_fit_what_the_file_describes_changes_nothing_that_is_known() -> None:
    before, after = folded(*evening()), folded(*evening(), *WHEELS_AND_AXLES)
    assert after.changes == ()
    assert before.estimate is not None
    assert after.estimate is not None
    assert np.array_equal(after.estimate.values, before.estimate.values)
    for gate in NUMBERED:
        assert after.gates[gate].standing is Standing.HOLDS
        assert after.gates[gate].verdict == before.gates[gate].verdict


def test_the_same_is_true_of_an_axle_that_was_bent_before() -> None:
    moved = (*evening(), Bend(station=FRONT_LEFT, asked=1.0 * DEG))
    assert len(folded(*moved, fit(Fitted.AXLE, FRONT_LEFT)).changes) == 1


@pytest.mark.parametrize(
    "event",
    [
        fit(Fitted.AXLE, FRONT_LEFT, "another"),
        fit(Fitted.AXLE, FRONT_LEFT, shank=2.37 * MM),
        fit(Fitted.WHEEL, FRONT_LEFT, diameter=31.9 * MM),
    ],
    ids=["of another name", "measured axle", "measured wheel"],
)
def test_a_first_part_that_is_not_as_the_file_says_is_a_change(event: PartFitted) -> None:
    found = folded(*evening(), event)
    assert [change.seq for change in found.changes] == [5]
    assert found.gates[Gate.LEVEL].standing is not Standing.HOLDS


def test_a_second_axle_is_a_new_one_and_steer_and_level_must_be_read_again() -> None:
    found = folded(*evening(), fit(Fitted.AXLE, FRONT_LEFT), fit(Fitted.AXLE, FRONT_LEFT))
    assert [change.words for change in found.changes] == ["axle steering fitted at front left"]
    # Nobody says which way its bend points, and that turns the wheel.
    assert found.gates[Gate.STEER].standing is Standing.READ_AGAIN
    assert found.gates[Gate.LEVEL].standing is Standing.READ_AGAIN


def test_a_second_wheel_on_the_raised_corner_moves_no_gate() -> None:
    found = folded(*evening(), fit(Fitted.WHEEL, FRONT_RIGHT), fit(Fitted.WHEEL, FRONT_RIGHT))
    assert len(found.changes) == 1
    assert {found.gates[gate].standing for gate in NUMBERED} == {Standing.HOLDS}


def test_washers_of_the_file_are_on_as_it_says_and_others_are_news() -> None:
    washers = fit(Fitted.WASHER, FRONT_LEFT)
    start = log(washers, start=started(WASHERED))
    assert first_fittings(start, parse_car(WASHERED)) == {2}
    assert folded(*evening(), washers, start=started(WASHERED)).changes == ()
    # The file has none, so that nobody knows how thick they are.
    found = folded(*evening(), washers)
    assert len(found.changes) == 1
    assert found.gates[Gate.CENTRE].standing is Standing.READ_AGAIN
    assert found.gates[Gate.LEVEL].standing is not Standing.READ_AGAIN


def test_a_weight_of_the_file_that_is_entered_later_was_not_in_before() -> None:
    assert grams(folded(*evening())) == pytest.approx(ALL_MASS)
    assert grams(folded(*evening(), weight())) == pytest.approx(ALL_MASS)
    whole = ScaleReading(where=Weighed.WHOLE, mass=(ALL_MASS - SLUG) * 1e-3)
    # Weighed without the slug; with it the scale will show 31 g more.
    assert grams(folded(whole, weight())) == pytest.approx(ALL_MASS, abs=0.01)
    # Without the entry the slug was on the scale by the log, and no wood is 31 g lighter than its file says.
    odd = folded(whole)
    assert odd.agreement < 0.01
    assert grams(odd) == pytest.approx(ALL_MASS)


def test_a_weight_without_which_the_car_could_not_stand_was_in_from_the_start() -> None:
    behind = TEXT.replace("[47, 0, 11]", "[-6, 0, 11]").replace("[18, 0, 8]", "[110, 0, 8]")
    found = folded(*evening(), weight(), start=started(behind))
    assert found.trouble == ""
    assert grams(found) == pytest.approx(ALL_MASS)
    assert found.gates[Gate.LEVEL].standing is Standing.HOLDS


def test_the_files_weight_moves_no_gate_while_the_same_wheels_carry() -> None:
    found = folded(*evening(), weight())
    (change,) = found.changes
    assert not change.moves(0, 1, 2)
    assert {found.gates[gate].standing for gate in NUMBERED} == {Standing.HOLDS}


def test_the_files_weight_opens_every_gate_where_it_makes_another_wheel_carry() -> None:
    there = TEXT.replace("[18, 0, 8]", "[118, -10, 8]")
    found = folded(*evening(), weight(), start=started(there))
    (change,) = found.changes
    assert "other wheels carry" in change.words
    assert {found.gates[gate].standing for gate in NUMBERED} == {Standing.READ_AGAIN}


def test_a_weight_that_is_left_off_takes_its_mass_out() -> None:
    assert grams(folded(off(name="slug"))) == pytest.approx(ALL_MASS - SLUG)
    found = folded(weight(), off(name="slug"))
    assert grams(found) == pytest.approx(ALL_MASS - SLUG)
    assert [change.words for change in found.changes] == ["weight slug fitted", "weight slug left off"]


@pytest.mark.parametrize("how", [off(pocket="tail"), off()], ids=["by its pocket", "all weights"])
def test_a_weight_is_left_off_by_its_pocket_or_with_all_others(how: PartLeftOff) -> None:
    assert grams(folded(weight(), how)) == pytest.approx(ALL_MASS - SLUG)
    assert grams(folded(weight(), weight("plug", pocket="nose", mass=5e-3), how)) == pytest.approx(
        ALL_MASS - SLUG + (5.0 if how.pocket else 0.0)
    )


def test_a_weight_that_goes_back_in_weighs_what_it_did() -> None:
    found = folded(*evening(), weight(), off(name="slug"), weight())
    assert grams(found) == pytest.approx(ALL_MASS)
    assert found.changes[-1].unsaid == ""
    assert found.gates[Gate.LEVEL].standing is Standing.HOLDS


def test_what_is_left_off_and_was_never_on_changes_nothing() -> None:
    for event in (off(Fitted.WHEEL, station=FRONT_RIGHT), off(Fitted.SHIELD), off(pocket="nose")):
        found = folded(*evening(), event)
        assert found.changes == ()
        assert grams(found) == pytest.approx(ALL_MASS)


def test_a_shield_that_comes_off_takes_its_mass_along() -> None:
    shield = PartFitted(
        part=Fitted.SHIELD,
        name="fender",
        station=FRONT_LEFT,
        sizes=(Size(name="mass", value=2e-3), Size(name="x", value=0.12), Size(name="y", value=0.02)),
    )
    assert grams(folded(shield)) == pytest.approx(ALL_MASS + 2.0)
    for how in (off(Fitted.SHIELD, name="fender"), off(Fitted.SHIELD, station=FRONT_LEFT)):
        assert grams(folded(shield, how)) == pytest.approx(ALL_MASS)
    # The weights stay where only shields are left off.
    assert grams(folded(weight(), shield, off(Fitted.SHIELD))) == pytest.approx(ALL_MASS)


@settings(max_examples=25, deadline=None)
@given(st.permutations([*ALL, Note(text="oiled"), evening()[0]]))
def test_the_order_in_which_parts_are_entered_does_not_matter(events: list[Event]) -> None:
    found, usual = folded(*events), folded(*ALL, Note(text="oiled"), evening()[0])
    assert found.gates[Gate.TRIM].passed
    assert grams(found) == pytest.approx(grams(usual))
    assert found.gates[Gate.LEVEL].standing is Standing.HOLDS
    assert found.estimate is not None
    assert usual.estimate is not None
    assert found.estimate.values == pytest.approx(usual.estimate.values, abs=1e-9)


@settings(max_examples=15, deadline=None)
@given(
    st.lists(
        st.sampled_from([*ALL, off(name="slug"), Washer(station=FRONT_LEFT, asked=0.1 * MM)]), max_size=6
    )
)
def test_undoing_the_last_entry_gives_the_fold_without_it(events: list[Event]) -> None:
    last = Sand(station=FRONT_LEFT, asked=0.2 * MM)
    undone = folded(*evening(), *events, last, Withdrawn(entry=ident(len(events) + 5), reason="a slip"))
    plain = folded(*evening(), *events)
    assert undone.gates[Gate.TRIM] == plain.gates[Gate.TRIM]
    assert grams(undone) == grams(plain)
    assert undone.estimate is not None
    assert plain.estimate is not None
    index = dimension_names().index("front_left.relief")
    assert undone.estimate.values[index] == plain.estimate.values[index]
