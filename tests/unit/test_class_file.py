"""The class file: what is read of it, every way it can be wrong, and the club's own three."""

from __future__ import annotations

import contextlib
import math
import re
from collections.abc import Mapping
from pathlib import Path

import pytest

from rollwright.car import parse_car
from rollwright.car.model import Car, Station
from rollwright.errors import InputError, OutOfRange, WrongType
from rollwright.geometry.mass import mass_of
from rollwright.geometry.stance import stance
from rollwright.judge.class_file import parse_class
from rollwright.judge.class_rules import Allowed, ClassRules, Kinds, Limit, Rule
from rollwright.judge.inspection import DEFAULT_GAUGES, Found, RuleState, inspect, overall
from rollwright.judge.verdict import State
from rollwright.scenario.club import CLASS_FILES, club_files, file_text
from rollwright.units import Kind, parse

PAGE = Path(__file__).parents[2] / "docs" / "class-file.md"
TOP = 'format = 1\nname = "Wrens"\n'
INF = math.inf


def asked(lines: str, rule: Rule) -> Limit | Allowed | Kinds:
    return parse_class(TOP + lines).rules[rule]


@pytest.mark.parametrize(
    ("lines", "rule", "least", "most"),
    [
        ("[rules.mass]\nmost = 131.5", Rule.MASS, -INF, 0.1315),
        ('[rules.mass]\nleast = "4 oz"\nmost = "0.12 kg"', Rule.MASS, 0.1133980925, 0.12),
        ('[rules.length]\nmost = "6 1/2 in"', Rule.LENGTH, -INF, 0.1651),
        ("[rules]\nwidth = { least = 60, most = 72 }", Rule.WIDTH, 0.060, 0.072),
        ("[rules.wheelbase]\nleast = 110", Rule.WHEELBASE, 0.110, INF),
        ('[rules.ground_clearance]\nleast = "250 thou"', Rule.GROUND_CLEARANCE, 0.00635, INF),
        ("[rules.wheel_diameter]\nleast = 31\nmost = 33", Rule.WHEEL_DIAMETER, 0.031, 0.033),
        ("[rules.weight_behind]\nmost = -5", Rule.WEIGHT_BEHIND, -INF, -0.005),
        ("[rules.weight_below]\nmost = 0", Rule.WEIGHT_BELOW, -INF, 0.0),
    ],
)
def test_a_size_is_read_in_millimetres_grams_or_its_own_unit(
    lines: str, rule: Rule, least: float, most: float
) -> None:
    found = asked(lines, rule)
    assert isinstance(found, Limit)
    assert found.least == pytest.approx(least, rel=1e-15)
    assert found.most == pytest.approx(most, rel=1e-15)


def test_looks_kinds_and_notes_are_read() -> None:
    rules = parse_class(
        TOP + '[rules.lubricant]\nkinds = ["dry powder"]\n'
        '[rules.bent_axles]\nallowed = false\nnote = " rolled on the plate "\n'
        "[rules.aerodynamic_parts]\nallowed = true\n"
    )
    assert rules == ClassRules(
        name="Wrens",
        rules={
            Rule.BENT_AXLES: Allowed(allowed=False, note="rolled on the plate"),
            Rule.AERODYNAMIC_PARTS: Allowed(allowed=True),
            Rule.LUBRICANT: Kinds(kinds=("dry powder",)),
        },
    )


def test_rules_come_in_their_own_order_and_only_those_that_are_asked() -> None:
    rules = parse_class(
        TOP + "[rules.lubricant]\nkinds = []\n[rules.length]\nmost = 180\n[rules.mass]\nmost = 130"
    )
    assert list(rules.rules) == [Rule.MASS, Rule.LENGTH, Rule.LUBRICANT]


WRONG: Mapping[str, tuple[str, tuple[str, ...]]] = {
    "empty": ("", ("format", "write format = 1")),
    "newer format": ("format = 2\n", ("format 2", "update rollwright")),
    "not TOML": (TOP + "[rules.mass]\nmost = 5 oz", ("line 4", "quotes")),
    "rule twice": (TOP + "[rules.mass]\nmost = 130\n[rules.mass]\n", ("line 5", "twice")),
    "no name": ("format = 1\n[rules.mass]\nmost = 130", ("name: the class has no name", 'name = "..."')),
    "name that is a number": ("format = 1\nname = 3\n[rules.mass]\nmost = 130", ("name", "3", "quotes")),
    "empty name": ('format = 1\nname = " "\n[rules.mass]\nmost = 130', ("name", "short name")),
    "unknown heading": (TOP + "[rule.mass]\nmost = 130", ("rule", 'did you mean "rules"')),
    "rule without rules": (TOP + "[mass]\nmost = 130", ("mass", "write [rules.mass]")),
    "no rules": (TOP, ("rules: the class has no rules", "[rules.mass]")),
    "empty rules": (TOP + "[rules]\n", ("rules: the class has no rules", "[rules.mass]")),
    "rules that are a text": (TOP + 'rules = "open"\n', ("rules: 'open'", "[rules]")),
    "list of rules": (TOP + "[[rules]]\nmost = 130", ("rules: a list", "[rules.mass]")),
    "unknown rule, near miss": (
        TOP + "[rules.weelbase]\nmost = 130",
        ("rules.weelbase", 'did you mean "wheelbase"'),
    ),
    "unknown rule, nothing near": (
        TOP + "[rules.colour]\nallowed = false",
        ("rules.colour", "known here: mass, length"),
    ),
    "bare number": (TOP + "[rules]\nmass = 130", ("rules.mass: 130", "[rules.mass]", "least or most")),
    "bare flag": (
        TOP + "[rules]\nbent_axles = false",
        ("rules.bent_axles: False", "allowed = true or false"),
    ),
    "bare list": (TOP + '[rules]\nlubricant = ["oil"]', ("rules.lubricant", 'kinds = ["dry powder"]')),
    "list of limits": (TOP + "[[rules.mass]]\nmost = 130", ("rules.mass", "[rules.mass]")),
    "no limit": (TOP + "[rules.mass]\n", ("rules.mass: it has no limit", "a mass")),
    "no limit but a note": (TOP + '[rules.length]\nnote = "short"', ("rules.length", "no limit", "a length")),
    "unknown key": (TOP + "[rules.mass]\nmax = 130", ("rules.mass.max", "known here: least, most, note")),
    "key near miss": (TOP + "[rules.mass]\nmosst = 130", ("rules.mass.mosst", 'did you mean "most"')),
    "limit on a look": (
        TOP + "[rules.bent_axles]\nmost = 0",
        ("rules.bent_axles.most", "known here: allowed"),
    ),
    "flag on a size": (TOP + "[rules.mass]\nallowed = true", ("rules.mass.allowed", "known here: least")),
    "crossed": (
        TOP + "[rules.length]\nleast = 182\nmost = 172",
        ("rules.length", "182.0 mm", "172.0 mm", "smaller"),
    ),
    "least that is the most": (
        TOP + "[rules.length]\nleast = 172\nmost = 172",
        ("rules.length", "nothing lies"),
    ),
    "negative": (TOP + "[rules.mass]\nmost = -130", ("rules.mass.most", "-130 is negative", "positive")),
    "negative clearance": (TOP + '[rules.ground_clearance]\nleast = "-6 mm"', ("'-6 mm' is negative",)),
    "text without a number": (TOP + '[rules.mass]\nmost = "heavy"', ("rules.mass.most", "'heavy'", "a mass")),
    "yes where a number is wanted": (TOP + "[rules.mass]\nmost = true", ("rules.mass.most", "True")),
    "list where a number is wanted": (TOP + "[rules.mass]\nmost = [1, 2]", ("rules.mass.most", "[1, 2]")),
    "unit of another kind": (
        TOP + '[rules.mass]\nmost = "5 in"',
        ("rules.mass.most", "is a length", "a mass"),
    ),
    "unknown unit": (TOP + '[rules.length]\nmost = "180 mn"', ("rules.length.most", "did you mean")),
    "fraction without a unit": (TOP + '[rules.length]\nmost = "6 1/2"', ("length.most", '"6 1/2 in"')),
    "not finite": (TOP + "[rules.length]\nmost = inf", ("rules.length.most", "finite")),
    "ounces for grams": (TOP + "[rules.mass]\nmost = 4", ("rules.mass.most", "ounces", '"4 oz"')),
    "inches for millimetres": (TOP + "[rules.length]\nmost = 6.5", ("length.most", "inches", '"6.5 in"')),
    "slipped digit": (TOP + "[rules.length]\nmost = 1800", ("rules.length.most", "50.0 mm to 500", "digits")),
    "least of a reach": (
        TOP + "[rules.weight_behind]\nleast = 0",
        ("rules.weight_behind.least", "no least", "negative most"),
    ),
    "wheelbase longer than the car": (
        TOP + "[rules.length]\nmost = 172\n[rules.wheelbase]\nleast = 180",
        ("rules.wheelbase.least", "180.0 mm", "172.0 mm"),
    ),
    "flag left out": (
        TOP + '[rules.bent_axles]\nnote = "no"',
        ("rules.bent_axles", "allowed = true or false"),
    ),
    "flag in words": (
        TOP + '[rules.bent_axles]\nallowed = "no"',
        ("bent_axles.allowed", "'no'", "true or false"),
    ),
    "kinds left out": (TOP + "[rules.lubricant]\n", ("rules.lubricant", "kinds = []")),
    "kinds not a list": (
        TOP + '[rules.lubricant]\nkinds = "oil"',
        ("lubricant.kinds", "'oil'", "in brackets"),
    ),
    "kind that is a number": (TOP + "[rules.lubricant]\nkinds = [3]", ("kinds[0]", "3", "quotes")),
    "empty kind": (TOP + '[rules.lubricant]\nkinds = ["oil", " "]', ("kinds[1]", "short name")),
    "kind twice": (TOP + '[rules.lubricant]\nkinds = ["Light oil", "light  OIL"]', ("kinds[1]", "twice")),
    "kind of none": (TOP + '[rules.lubricant]\nkinds = ["None"]', ("kinds[0]", "no kind", "kinds = []")),
    "endless kinds": (TOP + f"[rules.lubricant]\nkinds = {[str(n) for n in range(51)]}", ("51 kinds", "50")),
    "note that is a number": (TOP + "[rules.mass]\nmost = 130\nnote = 5", ("rules.mass.note", "5", "quotes")),
    "note of two lines": (TOP + '[rules.mass]\nmost = 130\nnote = "a\\nb"', ("rules.mass.note", "one line")),
    "endless note": (TOP + f'[rules.mass]\nmost = 130\nnote = "{"a" * 300}"', ("rules.mass.note", "200")),
    "car in place of a class": ("format = 1\n[body]\nwidth = 48", ("this is a car file",)),
    "readings in place of a class": ("format = 1\n[[reading]]\n", ("this is a readings file",)),
    "track in place of a class": ("format = 1\n[profile]\n", ("this is a track file",)),
}


@pytest.mark.parametrize("name", WRONG)
def test_a_wrong_file_is_answered_in_one_line(name: str) -> None:
    text, expected = WRONG[name]
    with pytest.raises(InputError) as caught:
        parse_class(text, file="wrens.toml")
    line = str(caught.value)
    assert line.startswith("wrens.toml: ")
    assert line.isprintable()
    assert len(line) < 250
    for part in expected:
        assert part in line


def test_rules_made_in_python_are_checked_as_well() -> None:
    with pytest.raises(OutOfRange, match="no rules"):
        ClassRules(name="Wrens", rules={})
    with pytest.raises(WrongType, match="mass asks for Allowed; give it Limit"):
        ClassRules(name="Wrens", rules={Rule.MASS: Allowed(allowed=True)})
    with pytest.raises(WrongType, match="lubricant asks for Allowed; give it Kinds"):
        ClassRules(name="Wrens", rules={Rule.LUBRICANT: Allowed(allowed=True)})
    with pytest.raises(OutOfRange, match="smaller"):
        Limit(least=0.2, most=0.1)
    with pytest.raises(OutOfRange, match="smaller"):
        Limit(least=math.nan)


@pytest.mark.parametrize("rule", Rule)
def test_a_rule_is_a_mass_a_length_or_a_look(rule: Rule) -> None:
    kind = Kind.MASS if rule is Rule.MASS else Kind.LENGTH
    assert rule.kind is (kind if rule.is_size else Kind.RATIO)
    assert not rule.is_reach or rule.is_size


# The trade's usual figures, which none of the club's may be [mm and g] (common practice, no source).
USUAL = {Kind.MASS: (141.7, 142.0), Kind.LENGTH: (177.8, 178.0, 69.85, 70.0, 111.1, 44.45, 9.5, 30.0, 6.35)}


@pytest.mark.parametrize("name", CLASS_FILES)
def test_the_clubs_classes_are_metric_and_its_own(name: str) -> None:
    assert club_files()[name] == file_text(name)
    text = re.sub(r"#.*|\".*\"", "", file_text(name))
    assert not re.search(r"\b(in|oz|thou)\b", text)
    for rule, limit in parse_class(file_text(name)).rules.items():
        if isinstance(limit, Limit):
            for value in (limit.least, limit.most):
                assert all(abs(value * 1e3 - usual) > 0.05 for usual in USUAL[rule.kind]), rule


def found_on(car: Car, *, weight: float | None = None, axles: str = "straight") -> list[Found]:
    """Return what perfect eyes and the usual gauges would find on a car that is as its file says."""
    stood = stance(car)
    sides: dict[int, float] = {}
    for station, wheel in stood.stations.items():
        radius = car.wheel_at(station).diameter.value / 2.0
        half = car.wheel_at(station).tread_width.value / 2.0
        # A leaning cylinder reaches out by its tilted rim as well as by its width.
        out = (
            abs(wheel.centre[1])
            + half * abs(wheel.axis[1])
            + radius * math.hypot(wheel.axis[0], wheel.axis[2])
        )
        sides[station.side] = max(sides.get(station.side, 0.0), out)
    sizes = {
        Rule.MASS: mass_of(car) if weight is None else weight,
        Rule.LENGTH: car.body.length.value,
        Rule.WIDTH: sum(sides.values()),
        Rule.WHEELBASE: car.body.wheelbase.value,
        Rule.GROUND_CLEARANCE: min(stood.front, stood.rear),
    }
    found = [Found(rule=rule, value=value, at=at) for at, (rule, value) in enumerate(sizes.items(), start=1)]
    found += [
        Found(
            rule=Rule.WHEEL_DIAMETER,
            value=car.wheel_at(station).diameter.value,
            station=station,
            at=10 + index,
        )
        for index, station in enumerate(Station)
    ]
    looks = {
        Rule.WEIGHT_BEHIND: "none",
        Rule.WEIGHT_BELOW: "none",
        Rule.BENT_AXLES: axles,
        Rule.AERODYNAMIC_PARTS: "none",
        Rule.LUBRICANT: "none",
    }
    return found + [Found(rule=rule, words=word, at=20 + at) for at, (rule, word) in enumerate(looks.items())]


def states(class_name: str, found: list[Found]) -> dict[Rule, RuleState]:
    verdicts = inspect(parse_class(file_text(f"class-{class_name}.toml")), found)
    return {verdict.rule: verdict.state for verdict in verdicts}


LARK, HERON, BITTERN = (parse_car(file_text(f"{name}.toml")) for name in ("lark", "heron", "bittern"))


def test_the_gauges_find_the_sizes_that_the_files_imply() -> None:
    # By hand, from Lark's file: 93.4 + 31 + 4 (2.7 + 0.6) g; and over the rear wheels, without their lean,
    # 48.06 + 2 (0.6 + 0.55 + 8.6) mm, to which 2.5 degrees of lean add 2 (16.05 sin 2.5) and take cosines.
    by_rule = {one.rule: one.value for one in found_on(LARK)}
    assert by_rule[Rule.MASS] == pytest.approx(0.1376, rel=1e-12)
    lean = math.radians(2.5)
    over = 48.06 + 2.0 * ((0.6 + 0.55 + 8.6) * math.cos(lean) + 16.05 * math.sin(lean))
    # The bore's slack lifts the wheel across its leaning pin, 0.06 mm at most, and the roll is slight.
    assert by_rule[Rule.WIDTH] == pytest.approx(over * 1e-3, abs=0.02e-3)


def test_lark_passes_the_open_class_when_brought_to_weight_and_no_further() -> None:
    rules = parse_class(file_text("class-open.toml"))
    assert overall(inspect(rules, found_on(LARK, weight=0.1397, axles="bent"))) is State.PASS
    assert overall(inspect(rules, found_on(LARK, weight=0.1399, axles="bent"))) is State.UNCLEAR
    assert overall(inspect(rules, found_on(LARK, weight=0.1402, axles="bent"))) is State.FAIL


def test_bittern_may_visit_the_open_class() -> None:
    assert (
        overall(inspect(parse_class(file_text("class-open.toml")), found_on(BITTERN, axles="bent")))
        is State.PASS
    )


@pytest.mark.parametrize("name", ["straight", "plain"])
def test_heron_passes_the_classes_of_straight_axles(name: str) -> None:
    assert set(states(name, found_on(HERON)).values()) == {RuleState.PASS}


@pytest.mark.parametrize("name", ["straight", "plain"])
def test_lark_and_bittern_fail_them_by_their_axles_and_their_size(name: str) -> None:
    for car in (LARK, BITTERN):
        found = states(name, found_on(car, axles="bent"))
        failed = {rule for rule, state in found.items() if state is RuleState.FAIL}
        too_heavy = {Rule.MASS} if name == "plain" and car is LARK else set()
        assert failed == {Rule.LENGTH, Rule.WHEELBASE, Rule.BENT_AXLES} | too_heavy


def toml_blocks() -> list[str]:
    return re.findall(
        r"^```toml\n(.*?)^```$", PAGE.read_text(encoding="utf-8"), flags=re.DOTALL | re.MULTILINE
    )


def test_the_pages_examples_are_read_and_the_first_is_complete() -> None:
    first, *others = toml_blocks()
    assert set(parse_class(first).rules) == set(Rule)
    for block in others:
        assert parse_class(block if "format" in block else TOP + block).rules


SAMPLE = {
    Rule.MASS: 100,
    Rule.LENGTH: 180,
    Rule.WIDTH: 70,
    Rule.WHEELBASE: 120,
    Rule.GROUND_CLEARANCE: 6,
    Rule.WHEEL_DIAMETER: 32,
    Rule.WEIGHT_BEHIND: 3,
    Rule.WEIGHT_BELOW: 3,
}


def test_the_page_has_a_row_for_every_rule_with_the_keys_and_the_range_it_takes() -> None:
    rows = re.findall(
        r"^\| `\[rules\.(\w+)\]` \|[^|]*\|[^|]*\| ([^|]*) \| ([^|]*) \|$",
        PAGE.read_text(encoding="utf-8"),
        flags=re.MULTILINE,
    )
    assert [name for name, _, _ in rows] == [rule.value for rule in Rule]
    for name, keys, span in rows:
        taken = set()
        for key in ("least", "most", "allowed", "kinds"):
            value = {"allowed": "true", "kinds": "[]"}.get(key, SAMPLE.get(Rule(name)))
            with contextlib.suppress(InputError):
                asked(f"[rules.{name}]\n{key} = {value}", Rule(name))
                taken.add(key)
        assert taken == set(re.findall(r"`(\w+)`", keys)), name
        if Rule(name).is_size:
            low, high = map(float, span.split(" to "))
            for inside in (low, high):
                assert isinstance(asked(f"[rules.{name}]\nmost = {inside}", Rule(name)), Limit)
            for outside in (low - 0.5, high + 0.5):
                with pytest.raises(OutOfRange):
                    asked(f"[rules.{name}]\nmost = {outside}", Rule(name))


def test_the_page_names_the_gauges_that_are_assumed() -> None:
    text = PAGE.read_text(encoding="utf-8")
    for rule, gauge in DEFAULT_GAUGES.items():
        row = re.search(rf"^\| {rule.words} \| (.*) \| (.*) \|$", text, flags=re.MULTILINE)
        assert row is not None, rule
        assert row[1] == gauge.words
        assert parse(row[2], kind=rule.kind) == pytest.approx(gauge.uncertainty, rel=1e-12)
    assert set(DEFAULT_GAUGES) == {rule for rule in Rule if rule.is_size}
