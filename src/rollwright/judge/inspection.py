"""Inspection: what was found on a car against the rules of its class."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import Enum
from types import MappingProxyType

from rollwright.car.model import Station
from rollwright.errors import ReadingUnusable, echo
from rollwright.judge.class_rules import LOOKS, NONE, Allowed, Asked, ClassRules, Kinds, Limit, Rule
from rollwright.judge.verdict import State, Verdict, acceptance_limits, judge
from rollwright.quantity.value import not_negative

__all__ = ["DEFAULT_GAUGES", "Found", "Gauge", "RuleState", "RuleVerdict", "inspect", "overall"]

_MM = 1e-3
_G = 1e-3


@dataclass(frozen=True, slots=True, kw_only=True)
class Gauge:
    """What a size is usually read with at an inspection.

    Attributes:
        words: what it is.
        uncertainty: its standard uncertainty [kg or m].
    """

    words: str
    uncertainty: float


DEFAULT_GAUGES: Mapping[Rule, Gauge] = MappingProxyType(
    {
        # One count of the display: zero, tare and levelling together cost more than its rounding.
        Rule.MASS: Gauge(words="pocket scale that shows 0.1 g", uncertainty=0.1 * _G),
        # Longer than the usual caliper. Two ends, each within half a division of 0.5 mm, evenly spread.
        Rule.LENGTH: Gauge(words="steel rule with 0.5 mm divisions", uncertainty=0.2 * _MM),
        # The wheels slide in their play and lean, so the jaws do not find the same width twice.
        Rule.WIDTH: Gauge(words="caliper over the wheels", uncertainty=0.1 * _MM),
        # Pins that lean in their holes: the distance at the body's side is not that at the wheels.
        Rule.WHEELBASE: Gauge(words="caliper over the axles", uncertainty=0.1 * _MM),
        # Feelers or slips pushed under the body by hand.
        Rule.GROUND_CLEARANCE: Gauge(words="feelers or slips under the body", uncertainty=0.05 * _MM),
        # A digital caliper is commonly good to 0.02 mm on a hard round thing.
        Rule.WHEEL_DIAMETER: Gauge(words="digital caliper", uncertainty=0.02 * _MM),
        # From the edge of a weight to a line squared across the body.
        Rule.WEIGHT_BEHIND: Gauge(words="steel rule with 0.5 mm divisions", uncertainty=0.2 * _MM),
        # A depth rod on wood and lead, neither of them flat.
        Rule.WEIGHT_BELOW: Gauge(words="caliper's depth rod", uncertainty=0.05 * _MM),
    }
)
"""The gauge that is assumed where a reading does not say how good its own was.

The figures are common practice, no source; the steel rule's is the spread of two even distributions by
JCGM 100:2008, 4.3.7.
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """What was last found on a car about one rule.

    Attributes:
        rule: what it is about.
        at: number of the log's entry that it comes from.
        value: what the gauge or the scale showed [kg or m]; None for a look. A weight's reach is negative
            where the weight ends short of the line, positive where it reaches past it.
        uncertainty: its standard uncertainty [kg or m]; None: not said, so the usual gauge's is assumed.
        words: what a look found: `straight` or `bent`, `none` or `fitted`, or the kind of lubricant; of a
            weight's reach `none`, in place of a value, where the car has no weight.
        station: at which wheel, for a wheel's diameter.
        fresh: whether it still holds; False where what was done since could have changed it too much.
        shift: predicted change since it was read [kg or m], positive where it has grown, negative where it
            has shrunk.
        shift_uncertainty: standard uncertainty of that change [kg or m].
    """

    rule: Rule
    at: int
    value: float | None = None
    uncertainty: float | None = None
    words: str = ""
    station: Station | None = None
    fresh: bool = True
    shift: float = 0.0
    shift_uncertainty: float = 0.0


class RuleState(Enum):
    """How a car stands to one rule: decided, not to be told at this uncertainty, or not looked at."""

    PASS = "pass"  # noqa: S105 - a verdict, not a password
    FAIL = "fail"
    UNCLEAR = "unclear"
    NOT_READ = "not_read"
    READ_AGAIN = "read_again"

    @property
    def words(self) -> str:
        """The state as it is said: `read again`."""
        return self.value.replace("_", " ")


@dataclass(frozen=True, slots=True, kw_only=True)
class RuleVerdict:
    """How a car stands to one rule of its class.

    Attributes:
        rule: the rule.
        asked: what it asks.
        state: pass, fail, unclear, not read, or read again.
        found: what it rests on; for the wheels' diameter the wheel that decides. None: nothing was read, or
            nothing need be, because the rule allows what it is about.
        verdict: the judgement of the reading as shifted; for a look the probability is 1 or 0. It stands
            also where the state is `read again`: it is then what would hold if nothing had changed more
            than predicted. None where nothing was read.
        margin: distance to the nearer limit [kg or m], positive inside, negative outside; None for a look.
        guard: the part of a margin that the uncertainty takes at 95 % [kg or m]; None likewise.
        assumed: whether the uncertainty is that of the usual gauge because the reading said none.
        missing: wheels whose diameter was not read.
    """

    rule: Rule
    asked: Asked
    state: RuleState
    found: Found | None = None
    verdict: Verdict | None = None
    margin: float | None = None
    guard: float | None = None
    assumed: bool = False
    missing: tuple[Station, ...] = ()

    @property
    def passed(self) -> bool:
        """Whether the rule is kept, and that is sure enough."""
        return self.state is RuleState.PASS

    @property
    def least(self) -> float | None:
        """Smallest size that conforms [kg or m]; None where there is none."""
        return self.asked.least if isinstance(self.asked, Limit) and self.asked.least > -math.inf else None

    @property
    def most(self) -> float | None:
        """Largest size that conforms [kg or m]; None where there is none."""
        return self.asked.most if isinstance(self.asked, Limit) and self.asked.most < math.inf else None

    @property
    def allowed(self) -> bool | None:
        """Whether what the rule is about may be on a car; None where the rule asks something else."""
        return self.asked.allowed if isinstance(self.asked, Allowed) else None

    @property
    def kinds(self) -> tuple[str, ...] | None:
        """Kinds that may be on a car; None where the rule asks something else."""
        return self.asked.kinds if isinstance(self.asked, Kinds) else None

    @property
    def note(self) -> str:
        """The club's own words on the rule."""
        return self.asked.note


# Of four wheels the first of these decides: a failed one stays failed whatever the others turn out to be.
_WORST_FIRST = (
    RuleState.FAIL,
    RuleState.NOT_READ,
    RuleState.READ_AGAIN,
    RuleState.UNCLEAR,
    RuleState.PASS,
)


def inspect(rules: ClassRules, found: Sequence[Found]) -> tuple[RuleVerdict, ...]:
    """Return how a car stands to each rule of a class.

    A size passes when the probability that it conforms is at least 95 %, and fails when it is at most 5 %
    (ISO 14253-1, decision rules; JCGM 106:2012, 7.3, 7.4 and 8.3.2). The value judged is the reading and the
    predicted change since, its uncertainty the root of the sum of their squares. All four wheels must be
    read, and the worst of them decides.

    Args:
        rules: the class.
        found: what was found on the car; of two about the same thing the later entry counts, of two
            from the same entry the one given later. What the class does not ask is passed over.

    Returns:
        One verdict for each rule of the class, in the order of `Rule`.

    Raises:
        ReadingUnusable: a size was found without its value, a look without its words, or a wheel's
            diameter without its station.
        OutOfRange: a value is not finite, or an uncertainty is negative or not finite.
    """
    verdicts = []
    for rule in Rule:
        asked = rules.rules.get(rule)
        if asked is None:
            continue
        about = sorted((one for one in found if one.rule is rule), key=lambda one: one.at)
        if rule is Rule.WHEEL_DIAMETER:
            verdicts.append(_wheels(asked, about))
        else:
            verdicts.append(_one(rule, asked, about[-1] if about else None))
    return tuple(verdicts)


def overall(verdicts: Sequence[RuleVerdict]) -> State:
    """Return whether a car passes its inspection.

    Args:
        verdicts: how it stands to each rule.

    Returns:
        Fail if it fails any rule; pass if it passes every one; else, or without any, unclear.
    """
    states = {verdict.state for verdict in verdicts}
    if RuleState.FAIL in states:
        return State.FAIL
    return State.PASS if states == {RuleState.PASS} else State.UNCLEAR


def _wheels(asked: Asked, about: Sequence[Found]) -> RuleVerdict:
    latest: dict[Station | None, Found] = {one.station: one for one in about}
    if None in latest:
        raise ReadingUnusable(
            f"entry {latest[None].at}: a wheel's diameter was read and not at which wheel",
            mend="say the station, such as rear_left",
        )
    missing = tuple(station for station in Station if station not in latest)
    each = [_one(Rule.WHEEL_DIAMETER, asked, latest.get(station)) for station in Station]
    return replace(min(each, key=_how_bad), missing=missing)


def _how_bad(one: RuleVerdict) -> tuple[int, float, float]:
    """Return what puts the worst wheel first: its state, then the chance it conforms, then its margin."""
    probability = 1.0 if one.verdict is None else one.verdict.probability
    margin = math.inf if one.margin is None else one.margin
    return _WORST_FIRST.index(one.state), probability, margin


def _one(rule: Rule, asked: Asked, found: Found | None) -> RuleVerdict:
    if isinstance(asked, Limit):
        return _size(rule, asked, found)
    conforms = _conforms(rule, asked, found)
    if conforms is None:
        return RuleVerdict(rule=rule, asked=asked, state=RuleState.NOT_READ)
    # What is allowed anyway needs no second look either.
    fresh = found is None or found.fresh or (isinstance(asked, Allowed) and asked.allowed)
    return _look(rule, asked, found, conforms=conforms, fresh=fresh)


def _look(rule: Rule, asked: Asked, found: Found | None, *, conforms: bool, fresh: bool) -> RuleVerdict:
    verdict = judge(value=float(conforms), uncertainty=0.0, low=1.0)
    state = _state(verdict, fresh=fresh)
    return RuleVerdict(rule=rule, asked=asked, state=state, found=found, verdict=verdict)


def _conforms(rule: Rule, asked: Allowed | Kinds, found: Found | None) -> bool | None:
    """Return whether what was seen conforms; None where nothing was seen and something had to be."""
    if found is None:
        return True if isinstance(asked, Allowed) and asked.allowed else None
    word = found.words.strip().casefold()
    if isinstance(asked, Kinds):
        if not word:
            raise ReadingUnusable(
                f"entry {found.at}: the {rule.words} was looked at and not what it is",
                mend="say its kind, or none",
            )
        return asked.allows(word)
    if word not in LOOKS[rule]:
        raise ReadingUnusable(
            f"entry {found.at}: {echo(found.words)} is nothing that a look at {rule.words} finds",
            mend=f"say {' or '.join(LOOKS[rule])}",
        )
    return asked.allowed or word == LOOKS[rule][0]


def _size(rule: Rule, asked: Limit, found: Found | None) -> RuleVerdict:
    if found is None:
        return RuleVerdict(rule=rule, asked=asked, state=RuleState.NOT_READ)
    if found.value is None and rule.is_reach and found.words.strip().casefold() == NONE:
        return _look(rule, asked, found, conforms=True, fresh=found.fresh)
    if found.value is None:
        raise ReadingUnusable(
            f"entry {found.at}: the {rule.words} was read and has no value", mend="say what the gauge showed"
        )
    assumed = found.uncertainty is None
    read = DEFAULT_GAUGES[rule].uncertainty if found.uncertainty is None else found.uncertainty
    spread = math.hypot(
        not_negative(read, what="a reading's uncertainty"),
        not_negative(found.shift_uncertainty, what="a shift's uncertainty"),
    )
    verdict = judge(value=found.value + found.shift, uncertainty=spread, low=asked.least, high=asked.most)
    return RuleVerdict(
        rule=rule,
        asked=asked,
        state=_state(verdict, fresh=found.fresh),
        found=found,
        verdict=verdict,
        margin=min(verdict.value - asked.least, asked.most - verdict.value),
        guard=acceptance_limits(uncertainty=spread, low=0.0)[0],
        assumed=assumed,
    )


def _state(verdict: Verdict, *, fresh: bool) -> RuleState:
    return RuleState(verdict.state.value) if fresh else RuleState.READ_AGAIN
