"""The track file: what is read of it, every way it can be wrong, its page, and the club's own two."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from pathlib import Path

import pytest

from rollwright.errors import InputError
from rollwright.quantity import Source
from rollwright.run.air import air_density, standard_atmosphere
from rollwright.run.track import Track
from rollwright.run.track_file import parse_track
from rollwright.run.track_keys import AIR_KEYS, LOSS_KEYS, PROFILE_KEYS, SURVEY_UNCERTAINTY
from rollwright.scenario.club import file_text
from rollwright.units import Kind, parse

PAGE = Path(__file__).parents[2] / "docs" / "track-file.md"
TOP = 'format = 1\nname = "Loft"\n'
SIZES = "ramp_angle = 23\nramp_length = 2100\narc_radius = 1420\nflat_length = 4850\n"
PROFILE = f"{TOP}[profile]\n{SIZES}"
POINTS = "[[0, 400], [200, 300], [400, 200], [600, 100], [800, 0]]"


def track(lines: str = "") -> Track:
    return parse_track(PROFILE + lines)


def test_a_laid_out_surface_is_read_in_millimetres_and_degrees() -> None:
    found = track()
    assert found.name == "Loft"
    assert found.at(0.0).angle == pytest.approx(math.radians(23.0))
    assert [piece.length for piece in found.pieces] == pytest.approx([2.1, 1.42 * math.radians(23.0), 4.85])
    assert found.pieces[1].curvature == pytest.approx(1.0 / 1.42)
    assert found.finish == found.end
    assert found.profile["ramp_length"].value == pytest.approx(2.1)
    assert found.profile["ramp_length"].source is Source.NOMINAL
    assert found.assumed == ("air.temperature", "air.pressure", "air.humidity")
    assert (found.losses, found.splits, found.lanes) == ({}, (), {})


def test_units_and_uncertainties_are_those_that_are_written() -> None:
    found = parse_track(
        TOP + "[profile]\n"
        'ramp_angle = { value = "0.4 rad", uncertainty = "2 mrad", from = "measured" }\n'
        'ramp_length = { value = "7 ft", from = "assumed" }\narc_radius = "1.42 m"\nflat_length = 0\n'
    )
    angle, ramp = found.profile["ramp_angle"], found.profile["ramp_length"]
    assert (angle.value, angle.uncertainty) == pytest.approx((0.4, 0.002))
    assert angle.source is Source.MEASURED
    assert ramp.value == pytest.approx(2.1336)
    assert ramp.uncertainty == pytest.approx(0.01)
    assert found.assumed[0] == "profile.ramp_length"
    assert len(found.pieces) == 2


def test_measured_without_saying_how_well_is_as_good_as_a_drawing() -> None:
    found = track('[losses]\nrolling = { value = 0.002, from = "measured" }\n')
    assert found.losses["rolling"].uncertainty == pytest.approx(0.0002)
    assert found.losses["rolling"].source is Source.MEASURED


def test_points_are_read_with_their_uncertainty() -> None:
    bare = parse_track(f"{TOP}[profile]\npoints = {POINTS}")
    assert bare.finish == pytest.approx(math.hypot(0.8, 0.4))
    assert bare.assumed[0] == "profile.points.uncertainty"
    assert bare.profile == {}
    said = parse_track(f'{TOP}[profile]\npoints = {{ value = {POINTS}, uncertainty = "20 thou" }}')
    assert "profile.points.uncertainty" not in said.assumed
    guessed = parse_track(f'{TOP}[profile]\npoints = {{ value = {POINTS}, from = "assumed" }}')
    assert "profile.points" in guessed.assumed


@pytest.mark.parametrize(
    ("lines", "expected"),
    [
        ("temperature = 18\npressure = 990\nhumidity = 0.4", (291.15, 99_000.0, 0.4)),
        ('temperature = "68 °F"\npressure = "99 kPa"\nhumidity = "40 %"', (293.15, 99_000.0, 0.4)),
        ('temperature = "300 K"\npressure = "95000 Pa"\nhumidity = 1', (300.0, 95_000.0, 1.0)),
        ('temperature = "18 c"\npressure = "0.99 bar"\nhumidity = 0', (291.15, 99_000.0, 0.0)),
        ('pressure = "29.5 inHg"', (293.15, 29.5 * 3386.389, 0.5)),
        ('pressure = "750 mmHg"', (293.15, 750.0 * 133.322387, 0.5)),
        ("altitude = 700", (293.15, standard_atmosphere(altitude=700.0).pressure, 0.5)),
        ('altitude = "1000 ft"', (293.15, standard_atmosphere(altitude=304.8).pressure, 0.5)),
    ],
)
def test_the_airs_density_comes_from_what_is_given(lines: str, expected: tuple[float, float, float]) -> None:
    temperature, pressure, humidity = expected
    assert track(f"[air]\n{lines}\n").air.value == pytest.approx(
        air_density(temperature=temperature, pressure=pressure, humidity=humidity), rel=2e-7
    )


def test_a_density_needs_nothing_else_and_nothing_is_assumed() -> None:
    found = track('[air]\ndensity = { value = "1180 g/m³", uncertainty = "4 g/m³" }\n')
    assert (found.air.value, found.air.uncertainty) == pytest.approx((1.18, 0.004))
    assert found.assumed == ()


def test_an_uncertain_temperature_shifts_no_uncertainty() -> None:
    kelvin, fahrenheit = (
        track(
            f'[air]\npressure = 1000\nhumidity = 0.5\ntemperature = {{ value = 20, uncertainty = "{each}" }}'
        )
        for each in ("1 K", "1.8 °F")
    )
    assert kelvin.air.uncertainty == pytest.approx(fahrenheit.air.uncertainty, rel=1e-9)
    # 1 part in 293 for the temperature, 2 in 1000 for the pressure.
    assert kelvin.air.uncertainty / kelvin.air.value == pytest.approx(math.hypot(1 / 293, 0.002), rel=0.1)


def test_an_altitude_knows_the_pressure_less_well_than_a_barometer() -> None:
    high, read = (
        track(f"[air]\ntemperature = 20\nhumidity = 0.5\n{each}")
        for each in ("altitude = 0", "pressure = 1013")
    )
    assert high.air.uncertainty > 2.0 * read.air.uncertainty
    assert high.assumed == ()


def test_losses_splits_and_lanes_are_read() -> None:
    found = track(
        '[losses]\nrail_friction = "20 %"\nrolling = 0\n'
        'drag_area = { value = "9 cm2", uncertainty = "1 cm2" }\n'
        '[splits]\nlate = "6 m"\n"foot of the ramp" = { value = 2100, uncertainty = 5 }\n'
        "[lanes.left]\n[lanes.right]\nfinish = -2\nfactors = { rail_friction = 1.5 }\n"
    )
    assert {name: loss.value for name, loss in found.losses.items()} == pytest.approx(
        {"rail_friction": 0.2, "rolling": 0.0, "drag_area": 9e-4}
    )
    assert found.losses["rolling"].uncertainty == 0.0
    assert found.losses["drag_area"].uncertainty == pytest.approx(1e-4)
    assert found.losses["drag_area"].label == "losses.drag_area"
    assert found.splits == (("foot of the ramp", 2.1), ("late", 6.0))
    assert found.on_lane("left").finish == found.finish
    assert found.on_lane("right").finish == pytest.approx(found.finish - 0.002)
    assert found.on_lane("right").losses["rail_friction"].value == pytest.approx(0.3)


SURVEY = f"{TOP}[profile]\npoints = "
WRONG: Mapping[str, tuple[str, tuple[str, ...]]] = {
    "empty": ("", ("format", "write format = 1")),
    "newer format": ("format = 2\n", ("format 2", "update rollwright")),
    "not TOML": (f"{TOP}[profile]\nramp_length = 7 ft", ("line 4", "quotes")),
    "car file": (
        file_text("lark.toml"),
        ("this is a car file, not a track file", "name the file with the track"),
    ),
    "readings file": (file_text("lark-readings.toml"), ("this is a readings file",)),
    "class file": (file_text("class-open.toml"), ("this is a class file",)),
    "pockets file": (file_text("lark-pockets.toml"), ("this is a pockets file",)),
    "name that is a number": (f"format = 1\nname = 3\n[profile]\n{SIZES}", ("name", "quotes")),
    "no profile": (TOP, ("profile: the track has no profile", "ramp_angle", "points")),
    "profile that is a list": (f"{TOP}profile = []", ("profile: []", "[profile]")),
    "key above its heading": (
        TOP + SIZES,
        ("ramp_angle: this key does not stand under", "[profile] above it"),
    ),
    "unknown heading": (f"{PROFILE}[loses]\nrolling = 0", ("loses", 'did you mean "losses"')),
    "unknown key": (PROFILE + "ramp_height = 900", ("profile.ramp_height", "did you mean")),
    "size missing": (
        PROFILE.replace("arc_radius = 1420\n", ""),
        ("profile.arc_radius: this is missing", "write arc_radius"),
    ),
    "points beside sizes": (f"{PROFILE}points = {POINTS}", ("profile.points", "beside ramp_angle")),
    "metres for millimetres": (
        PROFILE.replace("2100", "2.1"),
        ("profile.ramp_length", 'metres write "2.1 m"', 'feet "2.1 ft"'),
    ),
    "metres inside a table": (
        PROFILE.replace("4850", "{ value = 16, uncertainty = 0.1 }"),
        ("profile.flat_length", '"16 ft"'),
    ),
    "slipped digit": (PROFILE.replace("1420", "142000"), ("profile.arc_radius", "50.000 m", "digits")),
    "ramp that climbs": (PROFILE.replace("23", "-23"), ("profile.ramp_angle", "1.00° to 75.00°")),
    "angle in another unit": (PROFILE.replace("23", '"23 mm"'), ("profile.ramp_angle", "an angle")),
    "huge number": (PROFILE.replace("2100", "1" * 390), ("profile.ramp_length: 1111", "too large")),
    "not finite": (PROFILE.replace("2100", "inf"), ("profile.ramp_length", "finite")),
    "yes for a size": (PROFILE.replace("2100", "true"), ("profile.ramp_length", "True")),
    "negative uncertainty": (
        PROFILE.replace("2100", "{ value = 2100, uncertainty = -1 }"),
        ("profile.ramp_length.uncertainty", "negative"),
    ),
    "table without a value": (
        PROFILE.replace("2100", '{ from = "measured" }'),
        ("ramp_length", "value is missing"),
    ),
    "unknown source": (
        PROFILE.replace("2100", '{ value = 2100, from = "guessed" }'),
        ("ramp_length.from", "measured"),
    ),
    "points that are a number": (
        f"{SURVEY}3",
        ("profile.points: 3 is not a list of points", "[forward, up]"),
    ),
    "points without a value": (f"{SURVEY}{{ uncertainty = 1 }}", ("profile.points", "not a list of points")),
    "point of three": (f"{SURVEY}[[0, 1, 2]]", ("profile.points[0]", "is not a point")),
    "point that is no number": (f'{SURVEY}[[0, 100], [200, "low"]]', ("profile.points[1][1]", "'low'")),
    "point too far": (f"{SURVEY}[[0, 100], [300000, 0]]", ("profile.points[1][0]", "200.000 m")),
    "too few points": (f"{SURVEY}[[0, 100], [200, 0]]", ("profile.points: 2 points are not 5",)),
    "points in metres": (
        f"{SURVEY}[[0, 0.4], [0.2, 0.3], [0.4, 0.2], [0.6, 0.1], [0.8, 0]]",
        ("span only", "metres"),
    ),
    "points backward": (f"{SURVEY}[[8, 4], [6, 3], [4, 2], [2, 1], [0, 0]]", ("profile.points", "backward")),
    "point out of order": (
        f"{SURVEY}[[0, 400], [200, 300], [150, 200], [600, 100], [800, 0]]",
        ("point 3, 150.0 mm",),
    ),
    "points uphill": (
        f"{SURVEY}[[0, 0], [200, 100], [400, 200], [600, 300], [800, 400]]",
        ("400.0 mm above the first",),
    ),
    "survey of unknown source": (
        f'{SURVEY}{{ value = {POINTS}, from = "tape" }}',
        ("profile.points.from", "'tape'"),
    ),
    "survey of listed source": (f"{SURVEY}{{ value = {POINTS}, from = [] }}", ("profile.points.from", "[]")),
    "survey without error": (
        f"{SURVEY}{{ value = {POINTS}, uncertainty = 0 }}",
        ("profile.points.uncertainty", "0.01 mm"),
    ),
    "unknown key of a survey": (
        f"{SURVEY}{{ value = {POINTS}, error = 1 }}",
        ("profile.points.error", "known here"),
    ),
    "Fahrenheit for Celsius": (f"{PROFILE}[air]\ntemperature = 66", ("air.temperature: 66 °C", '"66 °F"')),
    "kelvin for Celsius": (f"{PROFILE}[air]\ntemperature = 293", ("air.temperature", '"293 K"')),
    "pascals for hectopascals": (f"{PROFILE}[air]\npressure = 99100", ("air.pressure", '"99100 Pa"')),
    "inches of mercury": (f"{PROFILE}[air]\npressure = 29.4", ("air.pressure", '"29.4 inHg"')),
    "per cent for a part": (
        f"{PROFILE}[air]\nhumidity = 55",
        ("air.humidity: 55 is outside 0 to 1", '"55 %"'),
    ),
    "temperature in per cent": (
        f'{PROFILE}[air]\ntemperature = "20 %"',
        ("air.temperature", "bare number in °C"),
    ),
    "unit of another kind": (
        f'{PROFILE}[air]\npressure = "20 °C"',
        ("air.pressure", "is not a pressure", "kPa"),
    ),
    "uncertainty of another kind": (
        f'{PROFILE}[air]\ntemperature = {{ value = 20, uncertainty = "1 hPa" }}',
        ("air.temperature.uncertainty", "is not a temperature"),
    ),
    "nothing in quotes": (f'{PROFILE}[air]\npressure = ""', ("air.pressure", "''")),
    "air not a number": (f"{PROFILE}[air]\npressure = [990]", ("air.pressure", "[990]")),
    "density beside a temperature": (
        f"{PROFILE}[air]\ndensity = 1.2\ntemperature = 20",
        ("air.density", "beside a temperature"),
    ),
    "altitude beside a pressure": (
        f"{PROFILE}[air]\naltitude = 300\npressure = 980",
        ("air.altitude", "beside a pressure"),
    ),
    "too high": (f"{PROFILE}[air]\naltitude = 9000", ("air.altitude: 9000 m is outside -400 to 4000 m",)),
    "unknown air": (f"{PROFILE}[air]\nwind = 2", ("air.wind", "known here: temperature")),
    "unknown loss": (
        f"{PROFILE}[losses]\nbearing = 0.1",
        ("losses.bearing", 'did you mean "bearing_friction"'),
    ),
    "negative loss": (f"{PROFILE}[losses]\nrolling = -0.1", ("losses.rolling: -0.1 is outside 0 to 0.1",)),
    "area in square centimetres": (f"{PROFILE}[losses]\ndrag_area = 9", ("losses.drag_area", '"9 cm2"')),
    "split beyond the finish": (f"{PROFILE}[splits]\nlate = 9000", ("splits.late", "beyond the finish")),
    "split at the gate": (f"{PROFILE}[splits]\ngate = 0", ("splits.gate", "1.00 mm")),
    "split that is a name": (f'{PROFILE}[splits]\nfoot = "late"', ("splits.foot", "a length")),
    "splits by the hundred": (
        f"{PROFILE}[splits]\n" + "\n".join(f"s{n} = {n + 1}" for n in range(99)),
        ("99 splits",),
    ),
    "lanes that are numbers": (f"{PROFILE}[lanes]\nleft = 2", ("lanes.left", "[lanes.standard]")),
    "unknown key of a lane": (
        f"{PROFILE}[lanes.left]\nlength = 2",
        ("lanes.left.length", "known here: finish"),
    ),
    "lane moved too far": (f"{PROFILE}[lanes.left]\nfinish = 7000", ("lanes.left.finish", "1000")),
    "lane shorter than a split": (
        f"{PROFILE}[splits]\nlate = 7510\n[lanes.left]\nfinish = -50",
        ("lanes.left.finish", "before a split"),
    ),
    "factor of an unknown loss": (
        f"{PROFILE}[lanes.left.factors]\nrail = 2",
        ("lanes.left.factors.rail", "known here: bearing_friction"),
    ),
    "factor without its loss": (
        f"{PROFILE}[lanes.left.factors]\nrolling = 2",
        ("lanes.left.factors.rolling", "write rolling under [losses] too"),
    ),
    "factor too large": (
        f"{PROFILE}[losses]\nrolling = 0.002\n[lanes.left.factors]\nrolling = 11",
        ("lanes.left.factors.rolling", "0 to 10"),
    ),
}


@pytest.mark.parametrize("case", WRONG)
def test_a_wrong_file_is_refused_in_one_line_that_says_where_and_what_to_do(case: str) -> None:
    text, parts = WRONG[case]
    with pytest.raises(InputError) as refused:
        parse_track(text, file="loft.toml")
    said = str(refused.value)
    assert said.startswith("loft.toml: ")
    assert "\n" not in said
    assert len(said) < 320
    for part in parts:
        assert part in said


def test_the_clubs_tracks_are_read() -> None:
    hall = parse_track(file_text("track-tannery.toml"))
    assert set(hall.lanes) == {"left", "middle", "right"}
    assert hall.assumed == ()
    for lane in hall.lanes:
        assert abs(hall.on_lane(lane).finish - hall.finish) < 0.003
    # The split is written to a millimetre: the arc ends there.
    assert hall.splits[0][1] == pytest.approx(hall.pieces[1].end, abs=0.5e-3)
    yard = parse_track(file_text("track-surveyed.toml"))
    assert yard.assumed == ("air.humidity",)
    assert 0.9 < yard.drop(0.0, yard.finish) < 0.92
    assert math.degrees(yard.at(0.0).angle) == pytest.approx(25.4, abs=0.4)


def rows(heading: str) -> list[list[str]]:
    """Return the cells of the rows of the table that comes first after some words of the page."""
    text = PAGE.read_text(encoding="utf-8")
    table = re.search(r"(?:^\|.*\n)+", text[text.index(heading) :], flags=re.MULTILINE)
    assert table is not None
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in table[0].splitlines()[2:]]


def limits(cell: str) -> tuple[float, float]:
    low, _, high = cell.replace("0, or 100", "0").partition(" to ")
    return float(low), float(high)


def test_the_pages_examples_are_read_and_the_first_is_complete() -> None:
    first, *others = re.findall(
        r"^```toml\n(.*?)^```$", PAGE.read_text(encoding="utf-8"), re.DOTALL | re.MULTILINE
    )
    found = parse_track(first)
    assert set(found.losses) == {key.name for key in LOSS_KEYS}
    assert set(found.profile) == {key.name for key in PROFILE_KEYS}
    assert found.splits
    assert found.lanes["right"].factors
    assert found.assumed == ()
    assert others
    for block in others:
        assert parse_track(block).pieces


def test_the_page_has_a_row_for_every_size_with_its_range_and_uncertainty() -> None:
    table = rows("The running surface, under")
    assert [cells[0].strip("`") for cells in table] == [key.name for key in PROFILE_KEYS]
    for (_, text, unit, span, uncertainty), key in zip(table, PROFILE_KEYS, strict=True):
        assert (text, unit) == (key.help, key.kind.bare)
        assert limits(span) == pytest.approx(
            [
                parse(f"{each!r} {key.kind.si}", kind=key.kind) / parse(1, kind=key.kind)
                for each in (key.low, key.high)
            ]
        )
        assert parse(uncertainty, kind=key.kind) == pytest.approx(key.drawing)
    assert f"{SURVEY_UNCERTAINTY * 1e3:g} mm is assumed" in PAGE.read_text(encoding="utf-8")


def test_the_page_has_a_row_for_every_key_of_the_air() -> None:
    table = rows("The air, under")
    assert [cells[0].strip("`") for cells in table] == [key.name for key in AIR_KEYS]
    for (_, text, unit, span, default, uncertainty), key in zip(table, AIR_KEYS, strict=True):
        assert (text, unit) == (key.help, key.unit)
        assert limits(span) == (key.low, key.high)
        assert default == ("not used" if key.default is None else f"{key.default:g} ± {key.guess:g}")
        stated = parse(uncertainty, kind=Kind.RATIO)
        assert stated == pytest.approx(key.share or key.uncertainty)


def test_the_page_has_a_row_for_every_loss() -> None:
    table = rows("The coefficients, under")
    assert [cells[0].strip("`") for cells in table] == [key.name for key in LOSS_KEYS]
    for (_, text, unit, span, uncertainty), key in zip(table, LOSS_KEYS, strict=True):
        assert (text, unit) == (key.help, key.unit)
        assert limits(span) == (key.low, key.high)
        assert parse(uncertainty, kind=Kind.RATIO) == pytest.approx(key.share)
