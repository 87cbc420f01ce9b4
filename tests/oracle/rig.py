"""The sensors on the oracle's axle and what they read.

Ends and seats are floor coordinates at ride height (mm in rig.toml, m inside). A draw-wire's column is its length in mm; an inertial
unit's are specific force (m/s², +g along up at rest) and angular rate (rad/s) in its own axes, which ideally are the vehicle's.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from scipy.interpolate import BSpline, make_interp_spline

from cases import Point
from motion import Motion
from rotation import Array, Z_AXIS, axial_vector, from_euler

GRAVITY_M_PER_S2 = 9.80665
WIRE_NOISE_MM, WIRE_QUANTUM_MM = 0.3, 0.125
ACCEL_NOISE_M_PER_S2, GYRO_NOISE_RAD_PER_S = 0.02, 0.002
# 0.061 mg and 4.375 mdps per count, as of a common six-axis unit at ±2 g and ±125 dps.
ACCEL_QUANTUM_M_PER_S2 = 0.061e-3 * 9.80665
GYRO_QUANTUM_RAD_PER_S = 4.375e-3 * np.pi / 180
MOUNT_MM = 2.0
INERTIAL_CHANNELS = ("ax", "ay", "az", "gx", "gy", "gz")

# As for a rear axle; a front axle's are turned about, so that fore-aft wires end toward the middle of the vehicle.
WIRES: dict[str, tuple[Point, Point]] = {
    "left travel": ((20, 500, 1000), (-10, 640, 470)),
    "left fore-aft": ((470, 520, 610), (10, 670, 390)),
    "right fore-aft": ((460, -540, 620), (5, -660, 400)),
    "lateral": ((-90, -480, 720), (-70, 500, 530)),
    "right travel": ((10, -510, 990), (-15, -630, 465)),
    "nose": ((430, 60, 960), (60, 20, 740)),
}
STANDARD_WIRES = 4
# Chassis and axle seats: where nothing is planted the units sit at the middle of the axle and above it.
UNIT_SEATS: dict[str, dict[str, Point]] = {
    "none": {"chassis": (0, 0, 860), "axle": (0, 0, 460)},
    "planted": {"chassis": (160, -250, 840), "axle": (20, 200, 560)},
}


@dataclass(frozen=True)
class Wire:
    """A draw-wire; ``chassis_mm``/``axle_mm`` as the rig file says, the errors as it really is. ``stagger_s`` after the row's time."""

    name: str
    chassis_mm: Point
    axle_mm: Point
    chassis_error_mm: Array = field(default_factory=lambda: np.zeros(3))
    axle_error_mm: Array = field(default_factory=lambda: np.zeros(3))
    scale_error: float = 0.0
    zero_mm: float = 0.0
    stagger_s: float = 0.0


@dataclass(frozen=True)
class Unit:
    """An inertial unit on ``body`` at ``at_mm``. ``mounting`` (3, 3) takes its own axes' vectors into the vehicle's; errors as planted."""

    name: str
    body: str
    at_mm: Point
    mounting_rpy_rad: Array = field(default_factory=lambda: np.zeros(3))
    accel_bias_m_per_s2: Array = field(default_factory=lambda: np.zeros(3))
    gyro_bias_rad_per_s: Array = field(default_factory=lambda: np.zeros(3))
    accel_scale_error: Array = field(default_factory=lambda: np.zeros(3))
    stagger_s: Array = field(default_factory=lambda: np.zeros(6))

    @property
    def mounting(self) -> Array:
        """Rotation of the unit in its body at ride height."""
        return from_euler(*self.mounting_rpy_rad)


@dataclass(frozen=True)
class Rig:
    """All sensors of a run."""

    wires: list[Wire]
    units: list[Unit]


def make_rig(kind: str, faults: str, position: str, period_s: float, rng: np.random.Generator) -> Rig:
    """The ``rich`` (six wires, two units), ``standard`` (four and two) or ``wires`` (six) set, ideal or with planted faults."""
    turn = 1.0 if position == "rear" else -1.0
    planted = faults == "planted"
    names = list(WIRES)[: STANDARD_WIRES if kind == "standard" else None]
    wires: list[Wire] = []
    for name in names:
        chassis, axle = (_turned(end, turn) for end in WIRES[name])
        if not planted:
            wires.append(Wire(name, chassis, axle))
            continue
        wires.append(
            Wire(
                name,
                chassis,
                axle,
                chassis_error_mm=rng.normal(0.0, MOUNT_MM, 3),
                axle_error_mm=rng.normal(0.0, MOUNT_MM, 3),
                scale_error=float(rng.choice([-0.005, 0.005])),
                zero_mm=float(rng.uniform(-15.0, 15.0)),
                stagger_s=float(rng.uniform(0.0, period_s / 2)),
            )
        )
    units: list[Unit] = []
    for body in ("chassis", "axle") if kind != "wires" else ():
        at = _turned(UNIT_SEATS[faults][body], turn)
        units.append(_planted_unit(body, at, period_s, rng) if planted else Unit(f"{body} unit", body, at))
    return Rig(wires, units)


def _turned(point: Point, turn: float) -> Point:
    return (turn * point[0], point[1], point[2])


def _planted_unit(body: str, at: Point, period_s: float, rng: np.random.Generator) -> Unit:
    """A unit turned by 4 degrees about the vertical, tilted by up to 3, biased, off in scale, and read channel after channel."""
    heading = rng.choice([-1.0, 1.0]) * 4.0
    tilt = rng.uniform(1.5, 3.0, 2) * rng.choice([-1.0, 1.0], 2)
    return Unit(
        f"{body} unit",
        body,
        at,
        mounting_rpy_rad=np.radians([tilt[0], tilt[1], heading]),
        accel_bias_m_per_s2=rng.uniform(0.1, 0.2, 3) * rng.choice([-1.0, 1.0], 3),
        gyro_bias_rad_per_s=np.radians(0.5) * rng.choice([-1.0, 1.0], 3),
        accel_scale_error=rng.choice([-0.005, 0.005], 3),
        stagger_s=np.sort(rng.uniform(0.0, period_s / 2, 6)),
    )


class World:
    """The motion as functions of time: quintic splines through the grid, so that rates and accelerations are exact derivatives."""

    def __init__(self, motion: Motion, centre_m: Array) -> None:
        self.centre_m = centre_m
        t = motion.t_s
        self._grid_s = t
        self._axle_world_rotation = motion.chassis_rotation @ motion.axle_rotation
        self._axle_world_m = motion.axle_centre_world_m
        self._chassis_rotation = motion.chassis_rotation
        # Where the chassis point that faces the axle centre at ride height is in the world.
        carried = np.einsum("nij,nj->ni", motion.chassis_rotation, motion.axle_q[:, :3])
        self._chassis_world_m = motion.axle_centre_world_m - carried
        self._shift = make_interp_spline(t, motion.axle_q[:, :3], k=5)
        self._rotation = make_interp_spline(t, motion.axle_rotation, k=5)

    def axle_point_in_chassis_m(self, t_s: Array, point_m: Array) -> Array:
        """Where an axle point (3,), given at ride height, is in the chassis frame at times (N,); shape (N, 3)."""
        return self._rotation(t_s) @ (point_m - self.centre_m) + self.centre_m + self._shift(t_s)

    def body_rotation(self, body: str) -> BSpline:
        """Rotation (3, 3) of ``chassis`` or ``axle`` in the world, as a function of time."""
        grid = self._chassis_rotation if body == "chassis" else self._axle_world_rotation
        return make_interp_spline(self._grid_s, grid, k=5)

    def body_point(self, body: str, point_m: Array) -> BSpline:
        """World position (3,) of a point of ``chassis`` or ``axle``, given at ride height, as a function of time."""
        if body == "chassis":
            grid = self._chassis_world_m + self._chassis_rotation @ (point_m - self.centre_m)
        else:
            grid = self._axle_world_m + self._axle_world_rotation @ (point_m - self.centre_m)
        return make_interp_spline(self._grid_s, grid, k=5)


def wire_length_mm(world: World, wire: Wire, t_s: Array) -> Array:
    """True length (mm) between the wire's true ends at times (N,)."""
    chassis = (np.asarray(wire.chassis_mm) + wire.chassis_error_mm) / 1000
    axle = (np.asarray(wire.axle_mm) + wire.axle_error_mm) / 1000
    return 1000 * np.linalg.norm(world.axle_point_in_chassis_m(t_s, axle) - chassis, axis=1)


def inertial_truth(world: World, unit: Unit, t_s: Array) -> tuple[Array, Array]:
    """Specific force (m/s²) and angular rate (rad/s) in the unit's own axes at times (N,), without errors; each (N, 3)."""
    rotation = world.body_rotation(unit.body)
    to_unit = np.swapaxes(rotation(t_s) @ unit.mounting, 1, 2)
    acceleration = world.body_point(unit.body, np.asarray(unit.at_mm) / 1000).derivative(2)(t_s)
    force = np.einsum("nij,nj->ni", to_unit, acceleration + GRAVITY_M_PER_S2 * Z_AXIS)
    spin = axial_vector(np.swapaxes(rotation(t_s), 1, 2) @ rotation.derivative(1)(t_s))
    return force, spin @ unit.mounting


def _read(truth: Array, noise: float, quantum: float, rng: np.random.Generator) -> Array:
    return quantum * np.round((truth + rng.normal(0.0, noise, truth.shape)) / quantum)


def readings(world: World, rig: Rig, row_s: Array, rng: np.random.Generator) -> dict[str, Array]:
    """Every column of the run in file units, by its name; each (N,)."""
    columns: dict[str, Array] = {}
    for wire in rig.wires:
        length = wire_length_mm(world, wire, row_s + wire.stagger_s) * (1 + wire.scale_error) + wire.zero_mm
        columns[wire.name] = _read(length, WIRE_NOISE_MM, WIRE_QUANTUM_MM, rng)
    for unit in rig.units:
        for i, channel in enumerate(INERTIAL_CHANNELS):
            force, rate = inertial_truth(world, unit, row_s + unit.stagger_s[i])
            axis = i % 3
            if i < 3:
                value = force[:, axis] * (1 + unit.accel_scale_error[axis]) + unit.accel_bias_m_per_s2[axis]
                column = _read(value, ACCEL_NOISE_M_PER_S2, ACCEL_QUANTUM_M_PER_S2, rng)
            else:
                value = rate[:, axis] + unit.gyro_bias_rad_per_s[axis]
                column = _read(value, GYRO_NOISE_RAD_PER_S, GYRO_QUANTUM_RAD_PER_S, rng)
            columns[f"{unit.name}.{channel}"] = column
    return columns


def rig_toml(rig: Rig, axle_name: str, rate_hz: float) -> str:
    """The rig as its builder believes it to be: nominal ends, CSV columns in file units, honest uncertainties."""
    lines = ["format = 1", 'units = { length = "mm", angle = "deg" }', f"rate_hz = {rate_hz:g}"]
    for wire in rig.wires:
        lines += [
            "",
            "[[sensor]]",
            f'name = "{wire.name}"',
            'kind = "draw-wire"',
            f'axle_name = "{axle_name}"',
            f"chassis = {_toml(wire.chassis_mm)}",
            f"axle = {_toml(wire.axle_mm)}",
            "scale = 1",
            f"noise = {WIRE_NOISE_MM:g}",
            f"mount = {MOUNT_MM:g}",
            "scale_u = 0.005",
            "linearity = 0.3",
            "hysteresis = 0.2",
            "range = [0, 1500]",
        ]
    for unit in rig.units:
        lines += [
            "",
            "[[sensor]]",
            f'name = "{unit.name}"',
            'kind = "inertial"',
            f'axle_name = "{axle_name}"',
            f'body = "{unit.body}"',
            f"at = {_toml(unit.at_mm)}",
            "heading_u = 3",
            "scale_u = 0.01",
            "bias_u = { accel = 0.2, gyro = 0.02 }",
            f"noise = {{ accel = {ACCEL_NOISE_M_PER_S2:g}, gyro = {GYRO_NOISE_RAD_PER_S:g} }}",
        ]
    return "\n".join(lines) + "\n"


def _toml(point: Point) -> str:
    return "[" + ", ".join(f"{value:g}" for value in point) + "]"
