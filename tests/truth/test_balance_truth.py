"""Weight and balance against statics worked by a general-purpose dynamics engine, and by hand."""

from __future__ import annotations

import mujoco
import numpy as np
import pytest

from rollwright.car import Station, parse_car
from rollwright.geometry.ledger import ledger_of
from rollwright.geometry.stance import stance
from rollwright.quantity import Quantity
from rollwright.scenario.club import SEEDS, file_text
from rollwright.setup.balance import Pan, ScaleReading, balance_of

G = 9.80665


@pytest.mark.parametrize("name", SEEDS)
def test_wheel_loads_are_those_of_a_body_at_rest_in_a_dynamics_engine(name: str) -> None:
    """MuJoCo: a rigid body on three small balls; its contact forces once it has come to rest."""
    car = parse_car(file_text(f"{name}.toml"))
    found, ledger = stance(car), ledger_of(car)
    balance = balance_of(ledger, found)
    radius = 1e-4
    feet = "".join(
        f'<geom name="{station.value}" type="sphere" size="{radius}" '
        f'pos="{found.stations[station].contact[0]} {found.stations[station].contact[1]} {radius}"/>'
        for station in found.carrying
    )
    at = " ".join(str(part.value) for part in ledger.centre)
    model = mujoco.MjModel.from_xml_string(
        f"""<mujoco><option timestep="0.0005" gravity="0 0 {-G}"/>
        <default><geom solref="0.002 1" solimp="0.99 0.99 0.0001" condim="1"/></default>
        <worldbody><geom type="plane" size="0 0 1"/>
        <body><freejoint/><inertial pos="{at}" mass="{ledger.mass.value}" diaginertia="1e-4 1e-4 1e-4"/>
        {feet}</body></worldbody></mujoco>"""
    )
    data = mujoco.MjData(model)
    for _ in range(2000):
        mujoco.mj_step(model, data)
    loads = dict.fromkeys(found.carrying, 0.0)
    force = np.zeros(6)
    for number in range(data.ncon):
        mujoco.mj_contactForce(model, data, number, force)
        geom = max(data.contact[number].geom)
        loads[Station(mujoco.mj_id2name(model, mujoco.mjtObj.mjOBJ_GEOM, geom))] += force[0]
    for station, load in loads.items():
        assert balance.loads[station].value * G == pytest.approx(load, abs=2e-4 * ledger.mass.value * G)


def test_a_lever_worked_by_hand() -> None:
    """Law of the lever: on supports 124 mm apart 93 g at 31 mm press with 23.25 g in front."""
    text = """format = 1
[body]
wheelbase = 124
mass = 93
centre_of_mass = [31, 2, 10]
[wheels.a]
mass = 0
[axles.a]
mass = 0
[stations.front_right]
hole_height = 12
"""
    car = parse_car(text)
    balance = balance_of(ledger_of(car), stance(car))
    front = balance.loads[Station.FRONT_LEFT].value
    # The contacts lie a little behind the holes' lines where the car is not level; here it is.
    assert front == pytest.approx(0.093 * 31.0 / 124.0, rel=1e-6)
    assert sum(load.value for load in balance.loads.values()) == pytest.approx(0.093, rel=1e-12)


def test_ounces_and_grams_come_to_the_same() -> None:
    """International yard and pound agreement 1959: one ounce is 28.349523125 g; 5 oz are 141.747615625 g."""
    car = parse_car(file_text("bittern.toml"))
    shown = Quantity(value=0.141747615625, uncertainty=1e-9)
    balance = balance_of(ledger_of(car), stance(car), [ScaleReading(pan=Pan.WHOLE, mass=shown)])
    assert balance.mass.value / 0.028349523125 == pytest.approx(5.0, abs=1e-6)
