"""A class of a club from the text of its file."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from rollwright.car.keys import Key
from rollwright.car.table import check_names, in_range, nearest, read_flag, read_text, table_at
from rollwright.car.toml_file import parse_toml
from rollwright.errors import InputError, OutOfRange, UnreadableQuantity, WrongType, echo
from rollwright.judge.class_rules import NONE, Allowed, Asked, ClassRules, Kinds, Limit, Rule
from rollwright.units import Kind, parse, show

__all__ = ["parse_class"]

_MM = 1e-3
_G = 1e-3
_LONGEST_NOTE = 200
_MOST_KINDS = 50
_OTHER_FILES = ({"body", "wheels", "axles", "stations"}, {"reading", "hand"}, {"profile", "losses"})
_NOT_A_CLASS = ("a car file", "a readings file", "a track file")
# Wide on purpose: they catch a wrong unit or a slipped digit, and leave the judgement to the club.
_RANGES: Mapping[Rule, tuple[float, float]] = {
    Rule.MASS: (20.0 * _G, 2000.0 * _G),
    Rule.LENGTH: (50.0 * _MM, 500.0 * _MM),
    Rule.WIDTH: (20.0 * _MM, 200.0 * _MM),
    Rule.WHEELBASE: (30.0 * _MM, 400.0 * _MM),
    Rule.GROUND_CLEARANCE: (1.0 * _MM, 50.0 * _MM),
    Rule.WHEEL_DIAMETER: (10.0 * _MM, 80.0 * _MM),
    Rule.WEIGHT_BEHIND: (-200.0 * _MM, 200.0 * _MM),
    Rule.WEIGHT_BELOW: (-50.0 * _MM, 50.0 * _MM),
}


def parse_class(text: str, *, file: str = "class.toml") -> ClassRules:
    """Read the rules of a class from the text of its file.

    Args:
        text: TOML text, `format = 1`, with a `name` and one table such as `[rules.mass]` for each rule. Bare
            numbers are millimetres and grams.
        file: the file's name, for messages.

    Returns:
        The rules [SI], in the order of `Rule`.

    Raises:
        InputError: the text cannot be used; the message names the file, the key and the mend.
    """
    try:
        top = parse_toml(text, file=file)
        _check_top(top)
        name = read_text(top, "name", at="", default="")
        rules = _tables(top)
        found = {rule: _asked(rules[rule.value], rule) for rule in Rule if rule.value in rules}
        _check_together(found)
        return ClassRules(name=name, rules=found)
    except InputError as error:
        raise error.at(file=file) from None


def _check_top(top: Mapping[str, Any]) -> None:
    for headings, what in zip(_OTHER_FILES, _NOT_A_CLASS, strict=True):
        if not headings.isdisjoint(top):
            raise WrongType(f"this is {what}, not a class file", mend="name the file with the class's rules")
    for name in top:
        if name in {rule.value for rule in Rule}:
            raise WrongType(
                "this rule does not stand under rules", mend=f"write [rules.{name}] above its keys", key=name
            )
    check_names(top, ("format", "name", "rules"), at="")
    if "name" not in top:
        raise WrongType("the class has no name", mend='write name = "..." under the format', key="name")


def _tables(top: Mapping[str, Any]) -> Mapping[str, Any]:
    if isinstance(top.get("rules"), list):
        raise WrongType(
            "a list stands where named rules are wanted",
            mend="write a heading for each rule, as in [rules.mass]",
            key="rules",
        )
    rules = table_at(top, "rules")
    if not rules:
        raise WrongType(
            "the class has no rules",
            mend="write at least one, as in [rules.mass] and most = 140",
            key="rules",
        )
    known = [rule.value for rule in Rule]
    for name in rules:
        if name not in known:
            raise WrongType("this rule is not known", mend=nearest(name, known), key=f"rules.{name}")
    return rules


def _asked(written: Any, rule: Rule) -> Asked:
    at = f"rules.{rule.value}"
    if not isinstance(written, Mapping):
        raise WrongType(
            f"{echo(written)} does not say what it asks for",
            mend=f"write [{at}] and under it {_keys_of(rule)}",
            key=at,
        )
    if rule.is_size:
        return _limit(written, rule, at=at)
    if rule is Rule.LUBRICANT:
        check_names(written, ("kinds", "note"), at=at)
        return Kinds(kinds=_kinds(written, at=at), note=_note(written, at=at))
    check_names(written, ("allowed", "note"), at=at)
    if "allowed" not in written:
        raise WrongType("it does not say whether they may be", mend="write allowed = true or false", key=at)
    return Allowed(allowed=read_flag(written, "allowed", at=at, default=False), note=_note(written, at=at))


def _keys_of(rule: Rule) -> str:
    """Return what may stand under a rule's heading, for messages."""
    if rule.is_reach:
        return "most = a length"
    if rule.is_size:
        return f"least or most, or both, each {rule.kind.phrase}"
    return 'kinds = ["dry powder"]' if rule is Rule.LUBRICANT else "allowed = true or false"


def _limit(table: Mapping[str, Any], rule: Rule, *, at: str) -> Limit:
    check_names(table, ("least", "most", "note"), at=at)
    if rule.is_reach and "least" in table:
        # Whoever writes least = 0 here means the opposite of what it would ask.
        raise WrongType(
            "how far a weight reaches has no least",
            mend="write most; a negative most keeps it short of the line",
            key=f"{at}.least",
        )
    if "least" not in table and "most" not in table:
        raise WrongType("it has no limit", mend=f"write {_keys_of(rule)}", key=at)
    least = _size(table, "least", rule, at=at)
    most = _size(table, "most", rule, at=at)
    if least is not None and most is not None and least >= most:
        low, high = show(least, kind=rule.kind), show(most, kind=rule.kind)
        raise OutOfRange(
            f"nothing lies between a least of {low} and a most of {high}",
            mend="write a least that is smaller than the most",
            key=at,
        )
    return Limit(
        least=-math.inf if least is None else least,
        most=math.inf if most is None else most,
        note=_note(table, at=at),
    )


def _size(table: Mapping[str, Any], name: str, rule: Rule, *, at: str) -> float | None:
    if name not in table:
        return None
    written, full = table[name], f"{at}.{name}"
    try:
        value = parse(written, kind=rule.kind)
    except UnreadableQuantity as error:
        raise error.at(key=full) from None
    if value < 0.0 and not rule.is_reach:
        raise OutOfRange(f"{echo(written)} is negative", mend="write a positive size", key=full)
    low, high = _RANGES[rule]
    key = Key(
        name=name, kind=rule.kind, low=low, high=high, default=None, drawing=0.0, guess=0.0, help=rule.words
    )
    return in_range(value, key=key, at=full, bare=not isinstance(written, str))


def _kinds(table: Mapping[str, Any], *, at: str) -> tuple[str, ...]:
    full = f"{at}.kinds"
    if "kinds" not in table:
        raise WrongType(
            "it does not say which kinds are allowed",
            mend='write kinds = ["dry powder"], or kinds = [] for none',
            key=at,
        )
    written = table["kinds"]
    if not isinstance(written, list):
        raise WrongType(
            f"{echo(written)} is not a list of kinds",
            mend='write it in brackets, as in ["dry powder"]',
            key=full,
        )
    if len(written) > _MOST_KINDS:
        raise WrongType(
            f"{len(written)} kinds are more than {_MOST_KINDS}", mend="name those that are allowed", key=full
        )
    found: list[str] = []
    for index, part in enumerate(written):
        word = read_text({f"kinds[{index}]": part}, f"kinds[{index}]", at=at, default="")
        if Kinds(kinds=()).allows(word):
            raise WrongType(
                f'"{NONE}" is no kind; a car without any conforms anyway',
                mend="write kinds = [] if no kind is allowed",
                key=f"{full}[{index}]",
            )
        if Kinds(kinds=tuple(found)).allows(word):
            raise WrongType(f"{echo(word)} stands twice", mend="keep one of the two", key=f"{full}[{index}]")
        found.append(word)
    return tuple(found)


def _note(table: Mapping[str, Any], *, at: str) -> str:
    note = table.get("note", "")
    if not isinstance(note, str) or len(note) > _LONGEST_NOTE or not note.isprintable():
        raise WrongType(
            f"{echo(note)} is not a text on one line of up to {_LONGEST_NOTE} characters",
            mend="write a short note in quotes",
            key=f"{at}.note",
        )
    return note.strip()


def _check_together(found: Mapping[Rule, Asked]) -> None:
    """Refuse a wheelbase that no allowed length holds: one of the two has a wrong unit or digit."""
    wheelbase, length = found.get(Rule.WHEELBASE), found.get(Rule.LENGTH)
    if isinstance(wheelbase, Limit) and isinstance(length, Limit) and wheelbase.least >= length.most:
        base, most = show(wheelbase.least, kind=Kind.LENGTH), show(length.most, kind=Kind.LENGTH)
        raise OutOfRange(
            f"a wheelbase of {base} does not fit into a length of {most}",
            mend="check both limits",
            key=f"rules.{Rule.WHEELBASE.value}.least",
        )
