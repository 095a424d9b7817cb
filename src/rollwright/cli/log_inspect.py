"""The gates of a log that are lists, shown line by line; and the inspection with its verdict."""

from __future__ import annotations

import click

from rollwright.cli.complete import car_ids
from rollwright.cli.log_lists import item_line, list_line
from rollwright.cli.log_page import LogPage
from rollwright.cli.options import print_json, system_of
from rollwright.judge.verdict import State

__all__ = ["LISTS", "show_inspection", "show_list"]

LISTS = ("drill", "trim", "inspect")
_TITLES = {
    "drill": "Holes against what was meant",
    "trim": "What will race",
    "inspect": "The class's rules",
}


def show_inspection(log: str, car_id: str, *, units: str, as_json: bool) -> int:
    """Print how a car stands to each rule of its class; return 1 if it breaks one, else 0."""
    return show_list(log, car_id, "inspect", units=units, as_json=as_json)


def show_list(log: str, car_id: str, gate: str, *, units: str, as_json: bool) -> int:
    """Print every line of a gate that is a list.

    Args:
        log: path of the log.
        car_id: the car's id.
        gate: `drill`, `trim` or `inspect`.
        units: `mm` or `in`.
        as_json: whether to print JSON.

    Returns:
        Exit code: 1 if something in it fails, else 0.
    """
    from rollwright.workbench import log_gates  # noqa: PLC0415 - brings numpy

    found = log_gates.where(log, car_id, system=system_of(units))
    state = next(state for each, state in found.found.gates.items() if each.value == gate)
    failed = any(item.state is State.FAIL for item in state.items)
    if as_json:
        print_json(
            {"car": found.car, "gate": gate, **log_gates.gate_json(state), **log_gates.class_json(found)}
        )
        return 1 if failed else 0
    page = LogPage(system=system_of(units))
    rules = found.found.rules
    of = f": {rules.name}" if gate == "inspect" and rules is not None else ""
    page.prose(f"{found.found.known.car.name}. {_TITLES[gate]}{of}", bold=True)
    page.marked(*list_line(page, state, chosen=rules is not None))
    page.gap()
    for item in state.items:
        page.marked(*item_line(page, item, margin=gate == "inspect"))
    if gate == "inspect" and rules is None:
        page.prose(f"Choose the class that it will race in: rollwright log class {found.car} CLASS.toml")
    page.print()
    return 1 if failed else 0


def add_list_command(group: click.Group) -> None:
    """Add the command that shows a list."""
    from rollwright.cli.log_files import log_option  # noqa: PLC0415 - the group is still being made
    from rollwright.cli.options import json_option, units_option  # noqa: PLC0415

    @group.command(name="gate")
    @click.argument("car_id", metavar="ID", shell_complete=car_ids)
    @click.argument("gate", type=click.Choice(LISTS), metavar="GATE")
    @log_option
    @units_option
    @json_option
    @click.pass_context
    def gate_(ctx: click.Context, car_id: str, gate: str, log: str, units: str, *, as_json: bool) -> None:
        """Show every line of a gate that is a list.

        ID is the car's. GATE is drill (each hole against what was meant), trim (what will race, fitted or
        left off) or inspect (each rule of the class). Exit code 1: something in it fails.
        """
        ctx.exit(show_list(log, car_id, gate, units=units, as_json=as_json))
