"""A car's dimensions turned into what its run needs, compiled; `chassis` and `geometry.many_wheels` say how.

Wheels go by their role: the two of the pair that share an axle, the third that carries, the raised one.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from rollwright.car.dimensions import GLOBAL_DIMENSIONS, STATION_DIMENSIONS
from rollwright.run.chassis import PARAMETERS
from rollwright.run.inputs import PROFILE
from rollwright.run.lanes import LANES, inlined, rows, sine_and_cosine
from rollwright.run.losses import COEFFICIENTS, LOSS_NAMES

__all__ = [
    "BLOCK",
    "OTHER",
    "OTHERS",
    "ROLES",
    "WEIGHTS",
    "WHEEL",
    "lay_out",
    "line_of",
    "prepare",
    "rows_of",
    "stands_as_given",
]

Numbers = NDArray[np.float64]
Indices = NDArray[np.int64]

WHEEL = (*STATION_DIMENSIONS, "wheel_mass", "axle_mass", "wheel_inertia")
OTHERS = (
    *GLOBAL_DIMENSIONS,
    *(f"body.{name}" for name in ("length", "rear_overhang", "mass")),
    *(f"body.centre_of_mass.{axis}" for axis in "xyz"),
    "wheel_inertia_factor",
    "pitch_inertia_factor",
    *(f"losses.{name}" for name in COEFFICIENTS),
    "air.density",
    "gravity",
    *(f"profile.{name}" for name in PROFILE),
    "finish",
)

ROLES = 4
_FOUND = 16
_STEPS = 12
_SETTLED = 1e-14
_ON_THE_GROUND = 1e-12

# Each wheel's inputs, then what is found of it, one wheel after the other; rows of other inputs come last.
BLOCK = (len(WHEEL) + _FOUND) * LANES
(_HOLE, _CANT, _SWEEP, _OFFSET, _RELIEF, _WASHER, _PLAY, _CLOCK) = rows(0, 8)
(_SHANK, _BEND, _BEND_AT, _DIAMETER, _TREAD, _HUB, _BORE) = rows(8, 7)
(_WHEEL_MASS, _AXLE_MASS, _WHEEL_INERTIA) = rows(15, 3)
(_CX, _CY, _CZ, _UX, _UY, _UZ, _HOLE_X, _HOLE_Y) = rows(len(WHEEL), 8)
(_PX, _PY, _PZ, _SPIN, _STEER, _AX, _AY, _AZ) = rows(len(WHEEL) + 8, 8)
_FIRST, _SECOND, _ALONE, _RAISED = range(0, ROLES * BLOCK, BLOCK)
OTHER = ROLES * (len(WHEEL) + _FOUND)
(_WIDTH, _BASE, _RAIL_WIDTH, _RAIL_HEIGHT, _BOARD, _LENGTH, _OVERHANG, _BODY) = rows(OTHER, 8)
(_BODY_X, _BODY_Y, _BODY_Z, _INERTIA_FACTOR, _PITCH_FACTOR) = rows(OTHER + 8, 5)
(_BEARING, _HUB_FRICTION, _RAIL_FRICTION, _TREAD_FRICTION, _CREEP, _ROLLING) = rows(OTHER + 13, 6)
(_DRAG, _DRAG_PITCH, _DRAG_HEIGHT, _DENSITY, _GRAVITY) = rows(OTHER + 19, 5)
(_ANGLE, _RAMP, _RADIUS, _FLAT, _FINISH) = rows(OTHER + 24, 5)
_MORE = OTHER + len(OTHERS)
(_UP_X, _UP_Y, _UP_Z, _OFF, _TOTAL, _MX, _MY, _MZ, _INERTIA) = rows(_MORE, 9)
(_SHARE_1, _SHARE_2, _SHARE_3, _LIFT, _STANDS, _TILT, _REST) = rows(_MORE + 9, 7)
_OUT = _MORE + 16
(_O_MASS, _O_INERTIA, _O_SPIN_R, _O_SPIN_F, _O_RADIUS_R, _O_RADIUS_F, _O_AHEAD) = rows(_OUT, 7)
(_O_X, _O_Z, _O_NOSE_X, _O_NOSE_Z, _O_AIR, _O_GRAVITY, _O_RUBS) = rows(_OUT + 7, 7)
# A weight has its mass and three coordinates.
WEIGHTS = _OUT + len(PARAMETERS)


@inlined
def _wheel(lanes: Numbers, at: int, side: float, front: float, share: float) -> None:
    """Find where a wheel is; `geometry.many_wheels.wheels_of`."""
    for lane in range(LANES):
        sin_cant, cos_cant = sine_and_cosine(lanes[at + _CANT + lane])
        sin_sweep, cos_sweep = sine_and_cosine(lanes[at + _SWEEP + lane])
        straight_x, straight_y = sin_sweep * cos_cant, side * cos_sweep * cos_cant
        sin_bend, cos_bend = sine_and_cosine(lanes[at + _BEND + lane])
        sin_clock, cos_clock = sine_and_cosine(lanes[at + _CLOCK + lane])
        down, forward = sin_bend * cos_clock, sin_bend * sin_clock
        sideways = sin_cant * down
        ux = straight_x * cos_bend + sin_sweep * sideways + cos_sweep * forward
        uy = straight_y * cos_bend + side * (cos_sweep * sideways - sin_sweep * forward)
        uz = sin_cant * cos_bend - cos_cant * down
        hole_x = front * lanes[_BASE + lane] + lanes[at + _OFFSET + lane]
        hole_y = side * (0.5 * lanes[_WIDTH + lane] - lanes[at + _RELIEF + lane])
        bend_at = lanes[at + _BEND_AT + lane]
        past = lanes[at + _WASHER + lane] + share * lanes[at + _PLAY + lane] + lanes[at + _HUB + lane]
        past += 0.5 * lanes[at + _TREAD + lane] - bend_at
        rise = 0.5 * (lanes[at + _BORE + lane] - lanes[at + _SHANK + lane]) / math.sqrt(ux * ux + uy * uy)
        past -= uz * rise
        lanes[at + _CX + lane] = hole_x + straight_x * bend_at + ux * past
        lanes[at + _CY + lane] = hole_y + straight_y * bend_at + uy * past
        lanes[at + _CZ + lane] = lanes[at + _HOLE + lane] + sin_cant * bend_at + uz * past + rise
        lanes[at + _UX + lane] = ux
        lanes[at + _UY + lane] = uy
        lanes[at + _UZ + lane] = uz
        lanes[at + _HOLE_X + lane] = hole_x
        lanes[at + _HOLE_Y + lane] = hole_y


@inlined
def _contact(lanes: Numbers, at: int, rim: float) -> None:
    """Find a wheel's lowest point in the body frame; `chassis._contacts`."""
    for lane in range(LANES):
        up_x, up_y, up_z = lanes[_UP_X + lane], lanes[_UP_Y + lane], lanes[_UP_Z + lane]
        ux, uy, uz = lanes[at + _UX + lane], lanes[at + _UY + lane], lanes[at + _UZ + lane]
        tilt = ux * up_x + uy * up_y + uz * up_z
        down = 0.5 * lanes[at + _DIAMETER + lane] / math.sqrt(1.0 - tilt * tilt)
        along = rim * 0.5 * lanes[at + _TREAD + lane] + down * tilt
        lanes[at + _PX + lane] = lanes[at + _CX + lane] + ux * along - up_x * down
        lanes[at + _PY + lane] = lanes[at + _CY + lane] + uy * along - up_y * down
        lanes[at + _PZ + lane] = lanes[at + _CZ + lane] + uz * along - up_z * down


@inlined
def _level(lanes: Numbers) -> float:
    """Lay a plane through the three lowest points, and return how far it turned; `chassis._upward`."""
    for lane in range(LANES):
        x, y, z = lanes[_FIRST + _PX + lane], lanes[_FIRST + _PY + lane], lanes[_FIRST + _PZ + lane]
        x1, y1 = lanes[_SECOND + _PX + lane] - x, lanes[_SECOND + _PY + lane] - y
        x2, y2 = lanes[_ALONE + _PX + lane] - x, lanes[_ALONE + _PY + lane] - y
        z1, z2 = lanes[_SECOND + _PZ + lane] - z, lanes[_ALONE + _PZ + lane] - z
        nx, ny, nz = y1 * z2 - z1 * y2, z1 * x2 - x1 * z2, x1 * y2 - y1 * x2
        per = math.copysign(1.0 / math.sqrt(nx * nx + ny * ny + nz * nz), nz)
        nx, ny, nz = nx * per, ny * per, nz * per
        off = max(abs(nx - lanes[_UP_X + lane]), abs(ny - lanes[_UP_Y + lane]))
        lanes[_OFF + lane] = max(off, abs(nz - lanes[_UP_Z + lane]))
        lanes[_UP_X + lane] = nx
        lanes[_UP_Y + lane] = ny
        lanes[_UP_Z + lane] = nz
    worst = 0.0
    for lane in range(LANES):
        worst = max(worst, lanes[_OFF + lane])
    return worst


@inlined
def _turned(lanes: Numbers, lane: int, x: float, y: float, z: float) -> tuple[float, float, float]:
    """Rotate body-frame coordinates into the track frame; `chassis._turned`."""
    up_x, up_y, up_z = lanes[_UP_X + lane], lanes[_UP_Y + lane], lanes[_UP_Z + lane]
    cosine = math.sqrt(1.0 - up_x * up_x)
    per = 1.0 / cosine
    cos_roll, sin_roll = up_z * per, up_y * per
    return (
        cosine * x - up_x * (sin_roll * y + cos_roll * z),
        cos_roll * y - sin_roll * z,
        up_x * x + up_y * y + up_z * z,
    )


@inlined
def _turn_wheel(lanes: Numbers, at: int, own: bool) -> None:  # noqa: FBT001 - compiled calls take no keywords
    """Take a wheel's contact and axis into the track frame, and find what its spin weighs."""
    for lane in range(LANES):
        x, y, z = _turned(lanes, lane, lanes[at + _PX + lane], lanes[at + _PY + lane], lanes[at + _PZ + lane])
        lanes[at + _PX + lane], lanes[at + _PY + lane], lanes[at + _PZ + lane] = x, y, z
        x, y, z = _turned(lanes, lane, lanes[at + _UX + lane], lanes[at + _UY + lane], lanes[at + _UZ + lane])
        lanes[at + _AX + lane], lanes[at + _AY + lane], lanes[at + _AZ + lane] = x, y, z
        radius = 0.5 * lanes[at + _DIAMETER + lane]
        given = lanes[at + _WHEEL_INERTIA + lane] / (radius * radius)
        usual = lanes[_INERTIA_FACTOR + lane] * lanes[at + _WHEEL_MASS + lane]
        lanes[at + _SPIN + lane] = given if own else usual


@inlined
def _gather(lanes: Numbers, mass: int, x: int, y: int, z: int) -> None:
    """Add a mass at a place to the sums."""
    for lane in range(LANES):
        weighs = lanes[mass + lane]
        lanes[_TOTAL + lane] += weighs
        lanes[_MX + lane] += weighs * lanes[x + lane]
        lanes[_MY + lane] += weighs * lanes[y + lane]
        lanes[_MZ + lane] += weighs * lanes[z + lane]


@inlined
def _swing(lanes: Numbers, mass: int, x: int, z: int) -> None:
    """Add a mass's inertia in pitch about the centre of mass."""
    for lane in range(LANES):
        off_x, off_z = lanes[x + lane] - lanes[_MX + lane], lanes[z + lane] - lanes[_MZ + lane]
        lanes[_INERTIA + lane] += lanes[mass + lane] * (off_x * off_x + off_z * off_z)


@inlined
def _masses(lanes: Numbers, weights: int) -> None:
    """Find mass, centre of mass in the body frame and inertia in pitch; `chassis._masses`."""
    for lane in range(LANES):
        lanes[_TOTAL + lane] = 0.0
        lanes[_MX + lane] = 0.0
        lanes[_MY + lane] = 0.0
        lanes[_MZ + lane] = 0.0
    _gather(lanes, _BODY, _BODY_X, _BODY_Y, _BODY_Z)
    for role in range(ROLES):
        at = role * BLOCK
        _gather(lanes, at + _WHEEL_MASS, at + _CX, at + _CY, at + _CZ)
        _gather(lanes, at + _AXLE_MASS, at + _HOLE_X, at + _HOLE_Y, at + _HOLE)
    for number in range(weights):
        at = (WEIGHTS + 4 * number) * LANES
        _gather(lanes, at, at + LANES, at + 2 * LANES, at + 3 * LANES)
    for lane in range(LANES):
        per = 1.0 / lanes[_TOTAL + lane]
        lanes[_MX + lane] *= per
        lanes[_MY + lane] *= per
        lanes[_MZ + lane] *= per
        length, height = lanes[_LENGTH + lane], lanes[_BODY_Z + lane]
        box = lanes[_BODY + lane] * (length * length + 4.0 * height * height) / 12.0
        lanes[_INERTIA + lane] = lanes[_PITCH_FACTOR + lane] * box
    _swing(lanes, _BODY, _BODY_X, _BODY_Z)
    for role in range(ROLES):
        at = role * BLOCK
        _swing(lanes, at + _WHEEL_MASS, at + _CX, at + _CZ)
        _swing(lanes, at + _AXLE_MASS, at + _HOLE_X, at + _HOLE)
    for number in range(weights):
        at = (WEIGHTS + 4 * number) * LANES
        _swing(lanes, at, at + LANES, at + 3 * LANES)


@inlined
def _stance(lanes: Numbers, pair_at_rear: bool) -> None:  # noqa: FBT001 - compiled calls take no keywords
    """Fill in the masses' and the axles' columns, and the shares of the weight; `chassis.chassis`."""
    for lane in range(LANES):
        lift = -lanes[_FIRST + _PZ + lane]
        mass_x, mass_y, mass_z = _turned(lanes, lane, lanes[_MX + lane], lanes[_MY + lane], lanes[_MZ + lane])
        xa, ya = lanes[_FIRST + _PX + lane], lanes[_FIRST + _PY + lane]
        xb, yb = lanes[_SECOND + _PX + lane], lanes[_SECOND + _PY + lane]
        xc, yc = lanes[_ALONE + _PX + lane], lanes[_ALONE + _PY + lane]
        per = 1.0 / ((xb - xa) * (yc - ya) - (xc - xa) * (yb - ya))
        second = ((mass_x - xa) * (yc - ya) - (xc - xa) * (mass_y - ya)) * per
        alone = ((xb - xa) * (mass_y - ya) - (mass_x - xa) * (yb - ya)) * per
        first = 1.0 - second - alone
        lanes[_SHARE_1 + lane], lanes[_SHARE_2 + lane], lanes[_SHARE_3 + lane] = first, second, alone
        part = first / (first + second)
        pair_x = part * xa + (1.0 - part) * xb
        pair_radius = (
            part * lanes[_FIRST + _DIAMETER + lane] + (1.0 - part) * lanes[_SECOND + _DIAMETER + lane]
        )
        pair_spin = lanes[_FIRST + _SPIN + lane] + lanes[_SECOND + _SPIN + lane]
        rear_x, front_x = (pair_x, xc) if pair_at_rear else (xc, pair_x)
        alone_radius, alone_spin = lanes[_ALONE + _DIAMETER + lane], lanes[_ALONE + _SPIN + lane]
        lanes[_O_RADIUS_R + lane] = 0.5 * (pair_radius if pair_at_rear else alone_radius)
        lanes[_O_RADIUS_F + lane] = 0.5 * (alone_radius if pair_at_rear else pair_radius)
        lanes[_O_SPIN_R + lane] = pair_spin if pair_at_rear else alone_spin
        lanes[_O_SPIN_F + lane] = alone_spin if pair_at_rear else pair_spin
        nose = lanes[_LENGTH + lane] - lanes[_OVERHANG + lane]
        nose_x, _, nose_z = _turned(lanes, lane, nose, 0.0, 0.0)
        lanes[_LIFT + lane] = lift
        lanes[_O_MASS + lane] = lanes[_TOTAL + lane]
        lanes[_O_INERTIA + lane] = lanes[_INERTIA + lane]
        lanes[_O_AHEAD + lane] = front_x - rear_x
        lanes[_O_X + lane] = mass_x - rear_x
        lanes[_O_Z + lane] = mass_z + lift
        lanes[_O_NOSE_X + lane] = nose_x - rear_x
        lanes[_O_NOSE_Z + lane] = nose_z + lift
        lanes[_O_GRAVITY + lane] = lanes[_GRAVITY + lane]
        # How the pair shares its own load and that of the third wheel, so that the car does not roll.
        apart = 1.0 / (ya - yb)
        lanes[_TILT + lane] = (mass_y - yb) * apart
        lanes[_REST + lane] = (mass_y - yc) * apart
        clear = lanes[_RAISED + _PZ + lane] + lift >= -_ON_THE_GROUND
        level = min(lanes[_SECOND + _PZ + lane], lanes[_ALONE + _PZ + lane]) + lift >= -_ON_THE_GROUND
        stands = clear and level and first >= 0.0 and second >= 0.0 and alone >= 0.0
        lanes[_STANDS + lane] = 1.0 if stands else 0.0


@inlined
def _angles(lanes: Numbers, sides: Numbers, acts: Indices) -> None:
    """Fill in how the carrying wheels head, and what the air does: the angles that need the library."""
    for lane in range(LANES):
        for role in range(3):
            at = role * BLOCK
            side = sides[role]
            lanes[at + _STEER + lane] = -side * math.atan(
                lanes[at + _AX + lane] / (side * lanes[at + _AY + lane])
            )
        up_x = lanes[_UP_X + lane]
        height = lanes[_LIFT + lane] + 0.5 * up_x * lanes[_BASE + lane]
        area = lanes[_DRAG + lane] + lanes[_DRAG_PITCH + lane] * math.asin(up_x)
        area += lanes[_DRAG_HEIGHT + lane] * height
        lanes[_O_AIR + lane] = 0.5 * lanes[_DENSITY + lane] * area if acts[5] else 0.0


@inlined
def _slip(lanes: Numbers, lane: int, at: int, side: float, rail: int) -> float:
    """Return how far the steered wheel's rim slides on the rail for each metre; `chassis._slip`."""
    ax, ay, az = lanes[at + _AX + lane], lanes[at + _AY + lane], lanes[at + _AZ + lane]
    flat = math.sqrt(ax * ax + ay * ay)
    down_y, level_y = az * ay / flat, -ax / flat
    per = 1.0 / (0.5 * lanes[at + _DIAMETER + lane] * flat)
    _, _, centre = _turned(
        lanes, lane, lanes[at + _CX + lane], lanes[at + _CY + lane], lanes[at + _CZ + lane]
    )
    z0 = centre + lanes[_LIFT + lane] - 0.5 * lanes[at + _TREAD + lane] * az
    turn = -side * down_y / math.sqrt(down_y * down_y + level_y * level_y + 1e-300)
    edge = z0 * per if rail == 1 else (z0 - lanes[_RAIL_HEIGHT + lane]) * per
    cosine = turn if rail == 3 else edge
    return math.sqrt(max(2.0 * (1.0 - cosine), 0.0))


@inlined
def _brakes(lanes: Numbers, at: int, side: float, rail: int, acts: Indices) -> None:
    """Put over a wheel's contact, which is not needed any more, how much of its load each loss brakes with.

    `chassis._rubbing`; the five losses take the rows of the contact, the spin, the steer and the axis's x.
    """
    bearing, hub, rails = float(acts[0]), float(acts[1]), float(acts[2])
    scrub, rolling = float(acts[3]), float(acts[4])
    for lane in range(LANES):
        rear = lanes[_OFF + lane]
        skew = lanes[at + _STEER + lane] - rear
        pull = min(lanes[_CREEP + lane] * abs(skew), lanes[_TREAD_FRICTION + lane])
        signed = pull if skew > 0.0 else (-pull if skew < 0.0 else 0.0)
        outward = 0.0 if rail > 0 else side * signed
        az = lanes[at + _AZ + lane]
        flat = math.sqrt(1.0 - az * az)
        along, across = abs(az + outward * flat), flat - outward * az
        per = 1.0 / lanes[at + _DIAMETER + lane]
        slip = _slip(lanes, lane, at, side, rail) if rail > 0 else 0.0
        sine, _ = sine_and_cosine(abs(skew))
        lanes[at + _PX + lane] = bearing * lanes[_BEARING + lane] * across * lanes[at + _SHANK + lane] * per
        lanes[at + _PY + lane] = hub * lanes[_HUB_FRICTION + lane] * along * lanes[at + _BORE + lane] * per
        lanes[at + _PZ + lane] = rails * lanes[_RAIL_FRICTION + lane] * pull * slip
        lanes[at + _SPIN + lane] = scrub * pull * sine
        lanes[at + _STEER + lane] = rolling * lanes[_ROLLING + lane]


@inlined
def _rub(lanes: Numbers, pair_at_rear: bool) -> None:  # noqa: FBT001 - compiled calls take no keywords
    """Fill in the columns of rubbing: by axle that brakes, then by axle that is loaded."""
    for loss in range(len(LOSS_NAMES) - 1):
        row, out = _PX + loss * LANES, _O_RUBS + 4 * loss * LANES
        own, other = (0, 1) if pair_at_rear else (3, 2)
        for lane in range(LANES):
            first, second = lanes[_FIRST + row + lane], lanes[_SECOND + row + lane]
            tilt = lanes[_TILT + lane]
            lanes[out + own * LANES + lane] = first * tilt + second * (1.0 - tilt)
            lanes[out + other * LANES + lane] = (first - second) * lanes[_REST + lane]
            lanes[out + (3 - own) * LANES + lane] = lanes[_ALONE + row + lane]
            lanes[out + (3 - other) * LANES + lane] = 0.0


@inlined
def prepare(lanes: Numbers, shape: tuple[Numbers, Indices, Numbers], weights: int, cars: Numbers) -> None:
    """Fill in the columns of `chassis.PARAMETERS` for the cars in the lanes.

    Args:
        lanes: the cars' inputs in their rows.
        shape: what all the cars share: side, front, share of play and rim by role, (4, 4); whether the
            pair is at the rear, the role of the wheel on the rail or -1, which edge meets the rail, then
            which losses act (6) and which wheels have their own inertia (4); the upward vector to begin from.
        weights: how many weights there are.
        cars: to fill, (LANES, len(PARAMETERS)).
    """
    roles, kinds, upward = shape
    _wheel(lanes, _FIRST, roles[0, 0], roles[1, 0], roles[2, 0])
    _wheel(lanes, _SECOND, roles[0, 1], roles[1, 1], roles[2, 1])
    _wheel(lanes, _ALONE, roles[0, 2], roles[1, 2], roles[2, 2])
    _wheel(lanes, _RAISED, roles[0, 3], roles[1, 3], roles[2, 3])
    for lane in range(LANES):
        lanes[_UP_X + lane], lanes[_UP_Y + lane], lanes[_UP_Z + lane] = upward[0], upward[1], upward[2]
    for step in range(_STEPS):
        _contact(lanes, _FIRST, roles[3, 0])
        _contact(lanes, _SECOND, roles[3, 1])
        _contact(lanes, _ALONE, roles[3, 2])
        off = _level(lanes)
        if step > 0 and off < _SETTLED:
            break
    _contact(lanes, _FIRST, roles[3, 0])
    _contact(lanes, _SECOND, roles[3, 1])
    _contact(lanes, _ALONE, roles[3, 2])
    _contact(lanes, _RAISED, roles[3, 3])
    _masses(lanes, weights)
    for role in range(ROLES):
        _turn_wheel(lanes, role * BLOCK, kinds[9 + role] > 0)
    pair_at_rear = kinds[0] > 0
    _stance(lanes, pair_at_rear)
    _angles(lanes, roles[0], kinds[3:9])
    for lane in range(LANES):
        one, two = lanes[_SHARE_1 + lane], lanes[_SHARE_2 + lane]
        pair = (one * lanes[_FIRST + _STEER + lane] + two * lanes[_SECOND + _STEER + lane]) / (one + two)
        lanes[_OFF + lane] = pair if pair_at_rear else lanes[_ALONE + _STEER + lane]
    for role in range(3):
        _brakes(lanes, role * BLOCK, roles[0, role], kinds[2] if kinds[1] == role else 0, kinds[3:9])
    _rub(lanes, pair_at_rear)
    for lane in range(LANES):
        for place in range(len(PARAMETERS)):
            cars[lane, place] = lanes[(_OUT + place) * LANES + lane]


@inlined
def lay_out(lanes: Numbers, lane: int, track: Numbers) -> float:
    """Fill in a ramp, arc and flat, (6, 3), and return how long they are; `surface.surface_from_profile`."""
    angle, ramp = lanes[_ANGLE + lane], lanes[_RAMP + lane]
    radius, flat = lanes[_RADIUS + lane], lanes[_FLAT + lane]
    sine, cosine = math.sin(angle), math.cos(angle)
    foot = radius * (1.0 - cosine)
    track[0, 0], track[0, 1], track[0, 2] = 0.0, ramp, ramp + radius * angle
    track[1, 0], track[1, 1], track[1, 2] = 0.0, 1.0 / radius, 0.0
    track[2, 0], track[2, 1], track[2, 2] = sine, sine, 0.0
    track[3, 0], track[3, 1], track[3, 2] = cosine, cosine, 1.0
    track[4, 0], track[4, 1], track[4, 2] = 0.0, ramp * cosine, ramp * cosine + radius * sine
    track[5, 0], track[5, 1], track[5, 2] = ramp * sine + foot, foot, 0.0
    length: float = ramp + radius * angle + flat
    return length


@inlined
def rows_of(weights: int) -> int:
    """Return how many rows of lanes a car with some weights takes."""
    return WEIGHTS + 4 * weights


@inlined
def line_of(lanes: Numbers, lane: int) -> float:
    """Return where a surveyed track's finish is."""
    found: float = lanes[_FINISH + lane]
    return found


@inlined
def stands_as_given(lanes: Numbers, lane: int) -> bool:
    """Return whether a car stands on the same three wheels as the car as given, with the fourth up."""
    stands: bool = lanes[_STANDS + lane] > 0.5
    return stands
