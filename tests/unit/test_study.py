"""Studies: sums, chunks, the surface in place of the motion, tightening, shares and the optimum."""

from __future__ import annotations

import json
import math
import xml.etree.ElementTree as ET
from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from rollwright.car import parse_car
from rollwright.errors import CarCannotRest, FileUnwritable, MissingReference, OutOfRange
from rollwright.run.once import run
from rollwright.run.track_file import parse_track
from rollwright.scenario.club import file_text
from rollwright.setup.study import CHUNK, Plan, chunk_sums, chunks, found_of, plan_of, study
from rollwright.setup.study_case import Case, case_of, drawn, inside, normals, run_in_full
from rollwright.setup.study_optimum import Optimum, best
from rollwright.setup.study_sobol import Shares, time_shares
from rollwright.setup.study_sums import Scale, Sums, at_rank, nothing, sums_of
from rollwright.setup.study_tighten import Tightening, between_bodies, bodies_alone, is_of_the_body, tighten
from rollwright.setup.study_times import Surface, fitted, outcomes_of
from rollwright.workbench import study as bench
from rollwright.workbench.study_picture import picture, save


@cache
def _case(car: str = "lark.toml", track: str = "track-tannery.toml", lane: str = "") -> Case:
    return case_of(parse_car(file_text(car)), parse_track(file_text(track)), lane=lane)


@cache
def _surface(car: str = "lark.toml") -> Surface:
    found = fitted(_case(car), seed=1)
    assert found is not None
    return found


@cache
def _tightening() -> Tightening:
    return tighten(_case(), _surface(), seed=1)


@cache
def _shares() -> Shares:
    return time_shares(_case(), _surface(), seed=1)


@cache
def _optimum() -> Optimum:
    return best(_case(), seed=1, limit=0.142)


def _plan(runs: int, *, surface: Surface | None) -> Plan:
    scale = Scale(centre=(2.6, 0.0, -0.08, 0.0008), low=2.0, high=4.0)
    return Plan(runs=runs, seed=1, surface=surface, scale=scale)


@pytest.mark.parametrize("car", ["lark.toml", "heron.toml", "bittern.toml"])
def test_the_surface_agrees_with_full_runs_that_it_never_saw(car: str) -> None:
    case, surface = _case(car), _surface(car)
    values = drawn(case, normals(case, 77, 99, rows=1500))
    fast = outcomes_of(case, values, surface)
    slow, stands, _ = run_in_full(case, values)
    assert np.array_equal(fast.stands, stands)
    assert np.array_equal(np.isnan(fast.time), np.isnan(slow))
    off = (fast.time - slow)[np.isfinite(slow)]
    spread = float(np.nanstd(slow))
    assert np.sqrt(np.mean(off**2)) < 0.005 * spread
    # What it says of itself is of the same size.
    assert np.sqrt(np.mean(off**2)) < 2.0 * surface.checked.rms
    assert surface.checked.good
    assert 0 < fast.full < 0.02 * len(values)


def test_full_runs_are_those_of_one_car_at_a_time() -> None:
    case = _case()
    time, stands, _ = run_in_full(case, case.inputs.values[None])
    assert stands[0]
    assert time[0] == pytest.approx(run(case.car, case.track, prices=False).finish_time, abs=2e-7)


def test_a_surface_survives_being_written_down() -> None:
    surface = _surface()
    assert Surface.from_json(json.loads(json.dumps(surface.as_json()))) == surface


def test_sums_survive_being_written_down() -> None:
    sums = chunk_sums(_case(), _plan(300, surface=None), 0)
    assert Sums.from_json(json.loads(json.dumps(sums.as_json()))) == sums
    empty = nothing(sums.scale)
    assert Sums.from_json(json.loads(json.dumps(empty.as_json(), allow_nan=False))) == empty
    assert empty + sums == sums


@pytest.mark.parametrize("key", ["counts", "powers", "scale", "runs", "second"])
@pytest.mark.parametrize("wrong", [None, [1, 2], "a", {}])
def test_sums_that_are_none_are_refused(key: str, wrong: object) -> None:
    data = chunk_sums(_case(), _plan(300, surface=None), 0).as_json()
    with pytest.raises(OutOfRange):
        Sums.from_json({**data, key: wrong})


def test_a_chunk_does_not_depend_on_those_before_it() -> None:
    case, plan = _case(), _plan(3 * CHUNK, surface=_surface())
    parts = [chunk_sums(case, plan, number) for number in (2, 0, 1)]
    again = [chunk_sums(case, plan, number) for number in range(3)]
    assert [parts[1], parts[2], parts[0]] == again
    assert again[0] != again[1]


def test_a_chunk_begins_alike_however_many_runs_are_asked_for() -> None:
    case = _case()
    few = chunk_sums(case, _plan(500, surface=_surface()), 0)
    z = normals(case, 1, 0, 0, rows=CHUNK)
    plan = _plan(CHUNK, surface=_surface())
    assert sums_of(case, outcomes_of(case, drawn(case, z[:500]), plan.surface), scale=plan.scale) == few
    assert (few.runs, chunks(500), chunks(CHUNK), chunks(CHUNK + 1)) == (500, 1, 1, 2)


def test_seeds_are_children_of_one_seed_as_numpy_spawns_them() -> None:
    case = _case()
    child = np.random.SeedSequence(5).spawn(3)[2]
    ours = normals(case, 5, 2, rows=4)
    assert np.array_equal(np.random.default_rng(child).standard_normal((len(case.free), 4)).T, ours)


def test_a_study_says_the_same_by_the_surface_and_in_full() -> None:
    case = _case()
    runs = 3000
    slow = found_of(chunk_sums(case, _plan(runs, surface=None), 0), _plan(runs, surface=None))
    fast = found_of(chunk_sums(case, _plan(runs, surface=_surface()), 0), _plan(runs, surface=_surface()))
    assert fast.mean == pytest.approx(slow.mean, abs=1e-5)
    assert fast.deviation == pytest.approx(slow.deviation, rel=1e-3)
    assert [gate.inside for gate in fast.gates] == [gate.inside for gate in slow.gates]
    assert (slow.full, slow.checked) == (1.0, None)
    assert 0.0 < fast.full < 0.02
    assert fast.checked == _surface().checked


def test_the_results_are_those_of_the_runs_themselves() -> None:
    case, runs = _case(), 2000
    plan = plan_of(case, runs=runs, seed=3)
    assert plan.surface is None
    found = study(case, runs=runs, seed=3)
    outcomes = outcomes_of(case, drawn(case, normals(case, 3, 0, 0, rows=CHUNK)[:runs]), None)
    time = outcomes.time
    assert found.mean == pytest.approx(time.mean(), rel=1e-12)
    assert found.deviation == pytest.approx(time.std(ddof=1), rel=1e-9)
    assert (found.least, found.most) == (time.min(), time.max())
    width = (plan.scale.high - plan.scale.low) / 8192
    for rank in found.ranks:
        assert rank.time == pytest.approx(np.quantile(time, rank.share), abs=2.0 * width + 0.3 * rank.error)
    passed = inside(case, outcomes.readings)
    assert [gate.inside for gate in found.gates] == pytest.approx(passed.mean(axis=1))
    for number, gate in enumerate(found.gates):
        expected = np.corrcoef(time, outcomes.readings[number])[0, 1]
        assert gate.correlation == pytest.approx(expected, abs=1e-9)
        good = passed[number]
        if good.any():
            assert gate.gain == pytest.approx(time[~good].mean() - time[good].mean(), abs=1e-12)
    centred = np.all(np.abs(outcomes.readings - case.nominal) <= case.tolerances, axis=0)
    assert found.joint_centred == pytest.approx(centred.mean())


def test_bodies_that_stand_otherwise_or_stall_are_in_no_time() -> None:
    case = _case()
    readings = np.zeros((3, 4))
    readings[:] = case.targets
    outcomes = replace(
        outcomes_of(case, drawn(case, normals(case, 1, 0, rows=4)), None),
        time=np.array([2.6, math.nan, math.nan, 2.7]),
        stands=np.array([True, False, True, True]),
        readings=readings,
    )
    plan = _plan(100, surface=None)
    found = found_of(sums_of(case, outcomes, scale=plan.scale), plan)
    assert (found.timed, found.stalls, found.falls) == (0.5, 0.25, 0.25)
    assert found.mean == pytest.approx(2.65)
    assert found.joint == 0.75
    assert found.gates[0].inside == 1.0


def test_a_study_of_nothing_has_no_answer() -> None:
    with pytest.raises(OutOfRange, match="no chunk"):
        found_of(nothing(_plan(100, surface=None).scale), _plan(100, surface=None))
    with pytest.raises(OutOfRange, match="different scales"):
        nothing(Scale(centre=(0.0,) * 4, low=0.0, high=1.0)) + nothing(
            Scale(centre=(0.0,) * 4, low=0.0, high=2.0)
        )


def test_a_rank_lies_on_a_line_across_its_bin() -> None:
    sums = nothing(Scale(centre=(0.0,) * 4, low=0.0, high=8192.0))
    counts = list(sums.counts)
    counts[1 + 10], counts[1 + 20] = 30, 10
    sums = replace(sums, counts=tuple(counts), timed=40, stands=40, runs=40, least=10.0, most=21.0)
    assert at_rank(sums, 0.375) == pytest.approx(10.5)
    assert at_rank(sums, 0.875) == pytest.approx(20.5)
    assert (at_rank(sums, 0.0), at_rank(sums, 1.0)) == (10.0, 21.0)


@pytest.mark.parametrize("runs", [0, 99, 10**9 + 1])
def test_too_few_and_too_many_runs_are_refused(runs: int) -> None:
    with pytest.raises(OutOfRange, match="--runs"):
        plan_of(_case(), runs=runs, seed=1)


def test_a_seed_is_a_whole_number_from_0_up() -> None:
    with pytest.raises(OutOfRange, match="--seed"):
        plan_of(_case(), runs=100, seed=-1)


def test_a_lane_that_is_not_there_is_refused() -> None:
    with pytest.raises(MissingReference):
        _case(lane="fourth")


def test_a_car_that_hardly_ever_stands_as_it_should_is_refused() -> None:
    case = _case()
    values = case.inputs.values.copy()
    # The wheel that should be raised, drilled lower than the others.
    values[case.inputs.at("front_right.hole_height")] = 8.0e-3
    loose = case.with_inputs(values=values, deviations=case.inputs.deviations)
    with pytest.raises(CarCannotRest, match="of 400 bodies"):
        plan_of(loose, runs=1000, seed=1)


def test_a_study_is_told_from_any_other() -> None:
    case = _case()
    prints = {
        case.fingerprint(seed=1, nominal=2.6),
        case.fingerprint(seed=2, nominal=2.6),
        case.fingerprint(seed=1, nominal=2.7),
        _case("heron.toml").fingerprint(seed=1, nominal=2.6),
        _case(lane="left").fingerprint(seed=1, nominal=2.6),
        _case(track="track-surveyed.toml").fingerprint(seed=1, nominal=2.6),
    }
    assert len(prints) == 6
    assert case.fingerprint(seed=1, nominal=2.6) in prints


def test_what_belongs_to_the_body_is_told_from_what_does_not() -> None:
    names = _case().names
    elsewhere = {name for name in names if not is_of_the_body(name)}
    assert "losses.bearing_friction" in elsewhere
    assert "profile.ramp_angle" in elsewhere
    assert {"front_left.sweep", "weights.slug.mass", "rear_left.wheel_mass", "body.mass"} <= set(
        names
    ) - elsewhere
    assert set(bodies_alone(_case()).names) == set(names) - elsewhere


def test_halving_a_scatter_is_a_study_with_half_of_it() -> None:
    found = _tightening()
    alone = bodies_alone(_case())
    first = found.by_time[0]
    deviations = alone.inputs.deviations.copy()
    deviations[alone.inputs.at(first.name)] *= 0.5
    halved = alone.with_inputs(values=alone.inputs.values, deviations=deviations)
    # Other random numbers, in full.
    time, _, _ = run_in_full(halved, drawn(halved, normals(halved, 31, 5, rows=4000)))
    assert first.spread == pytest.approx(time.std(), rel=5.0 / math.sqrt(2 * 4000))
    assert found.spread - first.narrower == pytest.approx(first.spread, rel=1e-9)
    assert first.narrower_error < 0.1 * first.narrower


def test_tightening_ranks_what_is_surely_of_use() -> None:
    found = _tightening()
    for ranked, by in ((found.by_gates, "more"), (found.by_time, "narrower")):
        gains = [getattr(each, by) for each in ranked]
        assert gains == sorted(gains, reverse=True)
        assert all(
            gain >= 3.0 * getattr(each, f"{by}_error") for gain, each in zip(gains, ranked, strict=True)
        )
    assert {each.name for each in found.every} == set(bodies_alone(_case()).names)
    # Sweep steers the wheel that leans on the rail; a wheel's mass hardly does anything.
    assert found.by_time[0].name == "front_left.sweep"
    assert "rear_left.wheel_mass" not in {each.name for each in (*found.by_gates, *found.by_time)}


def test_bodies_differ_less_on_one_track_than_over_all_that_is_not_known() -> None:
    found = between_bodies(_case(), _surface(), seed=1)
    assert found is not None
    whole = study(_case(), runs=2000)
    assert 0.2 * whole.deviation < found.deviation < 0.8 * whole.deviation
    assert found.deviation == pytest.approx(_tightening().spread, rel=1e-12)


def test_variance_shares_of_the_time_are_plausible_and_agree_with_another_seed() -> None:
    first = _shares()
    again = {each.name: each for each in time_shares(_case(), _surface(), seed=8).shares}
    assert first.shares[-1].name == "all others"
    assert first.others > 40
    totals = [each.total for each in first.shares[:-1]]
    assert totals == sorted(totals, reverse=True)
    assert sum(each.first for each in first.shares) == pytest.approx(0.9, abs=0.12)
    for each in first.shares:
        assert each.total > each.first - 4.0 * (each.first_error + each.total_error)
        other = again.get(each.name)
        if other is not None:
            assert each.total == pytest.approx(other.total, abs=5.0 * (each.total_error + other.total_error))
    assert first.deviation == pytest.approx(study(_case(), runs=3000).deviation, rel=0.1)


def _scores(line: Sequence[object]) -> list[float]:
    return [each.score for each in line]  # type: ignore[attr-defined]  # candidates all of them


def test_the_best_design_is_allowed_and_the_best_of_those_around_it() -> None:
    found = _optimum()
    assert found.best is not None
    assert found.best.allowed
    for line in (found.steer, found.balance, found.weight):
        assert found.best in line
        allowed = [each for each in line if each.allowed]
        assert min(allowed, key=lambda each: each.score) == found.best
    assert found.best.score < found.present.score


def test_the_optimum_says_where_the_model_knows_no_limit() -> None:
    found = _optimum()
    assert found.less_steer_is_faster
    assert _scores(found.steer) == sorted(_scores(found.steer))
    assert found.back_is_faster
    # Steer is left alone only by what still heads into the rail.
    assert found.best is not None
    below = found.steer[found.steer.index(found.best) - 1]
    assert not below.allowed
    assert below.into_rail < 0.95


def test_the_optimum_stays_under_the_limit_with_95_percent() -> None:
    found = _optimum()
    heaviest = found.weight[-1]
    assert heaviest.mass < 0.142
    # 1.645 standard uncertainties below it, which are some half a gram.
    assert 0.142 - heaviest.mass == pytest.approx(1.645 * 0.62e-3, rel=0.1)
    with pytest.raises(OutOfRange, match="over the limit"):
        best(_case(), seed=1, limit=0.1)


def test_designs_are_what_the_bench_would_set() -> None:
    found = _optimum()
    case = _case()
    assert found.present.drift == case.car.targets.drift.value
    assert found.present.balance == pytest.approx(0.0419168, abs=1e-6)
    assert found.best is not None
    assert found.best.balance < found.present.balance


def test_a_class_without_bent_axles_keeps_its_steer() -> None:
    found = best(_case("heron.toml"), seed=1)
    assert len(found.steer) == 1
    assert not found.less_steer_is_faster
    assert any("bends no axles" in note for note in found.notes)
    assert any("no weights" in note for note in found.notes)


@pytest.fixture
def files(tmp_path: Path) -> Path:
    for name in ("lark.toml", "track-tannery.toml"):
        (tmp_path / name).write_text(file_text(name), encoding="utf-8")
    return tmp_path


def _studied(files: Path, **more: object) -> bench.Studied:
    asked = bench.Asked(**{"runs": 400, **more})  # type: ignore[arg-type]  # the tests' own keys
    return bench.study(files / "lark.toml", files / "track-tannery.toml", asked)


def test_two_processes_give_what_one_gives(files: Path) -> None:
    asked = bench.Asked(runs=4 * CHUNK + 10)
    paths = (files / "lark.toml", files / "track-tannery.toml")
    one = bench.study(*paths, asked, workers=1)
    two = bench.study(*paths, asked, workers=2)
    assert json.dumps(one.as_json()) == json.dumps(two.as_json())


def test_a_stopped_study_answers_from_what_was_done(files: Path) -> None:
    def stop(done: int, wanted: int) -> None:
        assert wanted == 3 * CHUNK
        if done >= 2 * CHUNK:
            raise KeyboardInterrupt

    found = bench.study(
        files / "lark.toml",
        files / "track-tannery.toml",
        bench.Asked(runs=3 * CHUNK),
        progress=stop,
        workers=1,
    )
    assert found.stopped
    assert found.found.runs == 2 * CHUNK

    def at_once(done: int, wanted: int) -> None:
        del done, wanted
        raise KeyboardInterrupt

    # The one chunk that was done counts.
    late = bench.study(
        files / "lark.toml", files / "track-tannery.toml", bench.Asked(runs=400), progress=at_once, workers=1
    )
    assert not late.stopped
    assert late.found.runs == 400


def test_a_picture_says_in_words_what_it_draws(files: Path) -> None:
    found = replace(_studied(files), tightening=_tightening())
    text = picture(found)
    assert text.startswith("<svg")
    assert "Lark on Tannery Lane hall track" in text
    assert "Half of the bodies finish within" in text
    for label in ("5 %", "25 %", "50 %", "75 %", "95 %", "finish time, s", "now"):
        assert f">{label}</text>" in text, label
    assert "Tighten first: halve the scatter of the front left sweep" in text
    # One strong colour, for the one move.
    assert text.count('class="first"') == 1
    plain = picture(_studied(files))
    assert 'class="first"' not in plain


def test_a_picture_keeps_to_its_page(files: Path) -> None:
    text = picture(replace(_studied(files), tightening=_tightening()))
    root = ET.fromstring(text)  # noqa: S314 - our own text
    width, height = float(root.attrib["width"]), float(root.attrib["height"])
    boxes = [each for each in root.iter() if each.tag.endswith("rect")]
    assert len(boxes) > 40
    for each in boxes[1:]:
        x, y, w, h = (float(each.attrib[name]) for name in ("x", "y", "width", "height"))
        assert 0.0 <= x <= x + w <= width
        assert 0.0 <= y <= y + h <= height
    assert all(float(each.attrib["y"]) < height for each in root.iter() if each.tag.endswith("text"))


def test_a_picture_is_written_over_another_only_if_that_is_said(files: Path) -> None:
    found = _studied(files)
    (files / "study.svg").write_text("an older one", encoding="utf-8")
    with pytest.raises(FileUnwritable, match="there already"):
        save(files / "study.svg", found)
    assert (files / "study.svg").read_text(encoding="utf-8") == "an older one"
    save(files / "study.svg", found, overwrite=True)
    assert (files / "study.svg").read_text(encoding="utf-8") == picture(found)
    with pytest.raises(FileUnwritable):
        save(files / "no" / "study.svg", found)
